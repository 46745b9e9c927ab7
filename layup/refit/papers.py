"""The papers of a refit as content: the equipment-change sheet and the weight-and-balance report.

`papers` fills documents of `layup.report.document`, which are printed, shown and written for a spreadsheet like every
other paper. Figures stand as the record is kept, pounds also as decimals, and for a spreadsheet as numbers in one unit.
The tool prepares; a licensed person checks and signs, beside the figures that are signed for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from layup.partfile.cautions import suggested
from layup.refit.balance import Balance
from layup.refit.items import Item
from layup.refit.job import LoadCase, RefitJob, Weighing
from layup.refit.ledger import Ledger, Row
from layup.refit.loading import BallastWord, Loading
from layup.refit.model import ChordEntry, IndexEntry, LimitsEntry, Refit
from layup.refit.record_words import (
    Kept,
    arm_kept,
    change_kept,
    chord_kept,
    index_kept,
    index_note,
    mass_kept,
    moment_kept,
)
from layup.report.document import WRITE, Block, Document, Facts, Grid, Numbers, Plate, Section, Words
from layup.units import INCH, LB
from layup.words import MINUS

What = Literal["change", "balance"]
Value = str | float
"""A cell: words, or a figure in SI that its heading says how to write."""

SIGNS = {"removed": "−", "added": "+", "moved": "→"}
"""What an item does to the aircraft, in one sign."""
_KINDS = {
    "weight": "mass", "net": "mass", "holds": "mass", "change": "change", "to spare": "change",
    "arm": "arm", "CG": "arm", "forward limit": "arm", "aft limit": "arm", "arm of CG": "arm", "moment": "moment",
    "from forward": "arm", "from aft": "arm",
}  # fmt: skip
"""What stands under a heading that holds figures."""
BANNER = "OUTSIDE LIMITS: NOT TO BE FLOWN LOADED LIKE THIS"
PREPARED = "Prepared with layup; not an approval. Figures marked predicted or listed were not weighed."
_SIGN = "Checked and found correct. The tool that prepared this paper signs nothing."
_SIGNED = ("Weighed or checked by (name)", "Licence or certificate number", "Signature", "Date")


def papers(
    job: RefitJob,
    ledger: Ledger,
    loading: Loading | None,
    alarms: Iterable[str],
    kept: Kept,
    what: Iterable[What],
    *,
    by: str = "",
    method: str = "",
    date: str = "",
    drawn: bool = True,
) -> list[Document]:
    """The papers of a refit.

    Args:
        job: The refit file, read.
        ledger: As it stands, or stood.
        loading: Its load cases against the limits.
        alarms: Every limit that is broken, in words.
        kept: Units of the record.
        what: "change" for the equipment-change sheet, "balance" for the weight-and-balance report.
        by: Who prepares it, free text.
        method: How the weights were found, free text.
        date: Of the paper, year-month-day; today if empty.
        drawn: Whether the picture of the limits is wanted; a CSV holds none.

    Returns:
        One paper each.
    """
    refit = job.refit
    day = date or dt.date.today().isoformat()
    plate = (
        ("aircraft", refit.aircraft or ""),
        ("serial number", refit.serial or WRITE),
        ("date", day),
        ("supersedes", refit.supersedes or _before(ledger) or WRITE),
    )
    facts = Facts(
        tuple(
            (label, value)
            for label, value in (
                ("prepared by", by or refit.by or ""),
                ("method", method or (ledger.final or ledger.start).method),
                ("datum", refit.datum),
                ("units", "pounds and ounces, decimal pounds, inches" if kept == "lb" else "kilograms, millimetres"),
                ("as it stood", moment_words(ledger.as_of)),
            )
            if value
        ),
        2,
    )
    hand = Record(kept, refit.index, refit.chord)
    loud = tuple(line.strip("! ") for line in alarms)
    made = []
    for one in what:
        change = one == "change"
        sections = _changes(ledger, hand) if change else _report(job, ledger, loading, hand, drawn)
        end = (*_notes(ledger, hand), PREPARED)
        signed = (*hand.before_after(ledger), *(() if change else hand.limits(refit.limits, ledger)), *_signature())
        result = Section("Empty weight and centre of gravity", (facts, *signed), together=True)
        # what is signed for and the signature stand on one page: first in the report, under the sums of the changes
        ordered = (*sections, result) if change else (result, *sections)
        made.append(
            Document(
                "Equipment-change sheet" if change else "Weight-and-balance report",
                ledger.title,
                plate,
                (*ordered, Section("Notes", (Words(end),))),
                loud,
                BANNER if loud else "",
            )
        )
    return made


def _before(ledger: Ledger) -> str:
    """The record that a paper takes the place of, where the first weighing is from one."""
    return ", ".join(word for word in (ledger.start.record, ledger.start.date) if word) if ledger.start.record else ""


def moment_words(as_of: str) -> str:
    """`after entry 6`, or `at 2026-01-10`; empty for now."""
    return f"after entry {as_of}" if as_of.isdigit() else f"at {as_of}" if as_of else ""


def _signature() -> tuple[Block, ...]:
    return Words((_SIGN,)), Facts(tuple((label, WRITE) for label in _SIGNED), 2)


def _notes(ledger: Ledger, hand: Record) -> tuple[str, ...]:
    notes = ["Arms are positive aft of the datum, moments are weight times arm; what is removed counts as minus."]
    if hand.index:
        notes.append(index_note(hand.index, hand.kept))
    pending = ledger.pending()
    if pending:
        notes.append(f"{len(pending)} items of the refit file are not in the ledger as they stand here.")
    return (*notes, *(one.words for one in suggested(row.item.name for row in ledger.rows)))


class ItemWords(NamedTuple):
    """An item of the ledger as a row: for terminal and page; what only moves has its weight in brackets."""

    sign: str
    change: str
    arm: str
    moment: str
    short: str


@dataclass(frozen=True, slots=True)
class Record:
    """How this record is written.

    Attributes:
        kept: Its units.
        index: The short form of moments; None where the aircraft's papers have none.
        chord: The mean chord; None where they have none.
        decimal: Whether decimal pounds stand beside pounds and ounces.
    """

    kept: Kept
    index: IndexEntry | None = None
    chord: ChordEntry | None = None
    decimal: bool = True

    def words(self, heading: str, value: Value) -> str:
        """A cell as its heading has it."""
        if isinstance(value, str):
            return value
        if heading == "index":
            return index_kept(value, self.index, self.kept) if self.index else ""
        if heading == "chord":
            return chord_kept(value, self.chord).replace(" MAC", "")
        kind = _KINDS[heading]
        if kind == "mass" and value >= 0:
            return mass_kept(value, self.kept)
        if kind in ("mass", "change"):
            return change_kept(value, self.kept)
        return arm_kept(value, self.kept) if kind == "arm" else moment_kept(value, self.kept)

    def _unit(self, kind: str) -> tuple[float, str]:
        """What a figure is divided by for a spreadsheet, and the name of that unit."""
        if self.kept == "lb":
            return {"arm": (INCH, "in"), "moment": (LB * INCH, "lb in")}.get(kind, (LB, "decimal lb"))
        return {"arm": (1e-3, "mm"), "moment": (1.0, "kg m")}.get(kind, (1.0, "kg"))

    def grid(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[Value]],
        *,
        totals: Iterable[int] = (),
        bad: Iterable[int] = (),
    ) -> Grid:
        """A table of words and figures; pounds and ounces get a column of decimal pounds beside them.

        Args:
            head: Headings; "index" and "chord" are left out where the aircraft's papers have none.
            rows: Cells; figures in SI.
            totals: Rows that are sums.
            bad: Rows that break a limit.
        """
        names: list[str] = []
        columns: list[list[str]] = []
        numbers: dict[int, Numbers] = {}
        right: set[int] = set()
        for place, heading in enumerate(head):
            if (heading == "index" and not self.index) or (heading == "chord" and not self.chord):
                continue
            values = [row[place] for row in rows]
            names.append(heading)
            columns.append([self.words(heading, value) for value in values])
            kind = _KINDS.get(heading)
            if kind is None:
                right |= {len(names) - 1} if heading in ("index", "chord") else set()
                continue
            right.add(len(names) - 1)
            unit, name = self._unit(kind)
            figures = tuple(None if isinstance(value, str) else value / unit for value in values)
            beside = self.decimal and self.kept == "lb" and kind in ("mass", "change") and heading != "to spare"
            if beside:
                names.append("decimal lb")
                columns.append(["" if x is None else _decimal(x, kind == "change") for x in figures])
                right.add(len(names) - 1)
            numbers[len(names) - 1] = Numbers(f"{heading}, {name}", figures, alone=beside)
        return Grid(
            tuple(names),
            tuple(zip(*columns, strict=True)),
            right=frozenset(right),
            totals=frozenset(totals),
            bad=frozenset(bad),
            numbers=numbers,
        )

    def item(self, item: Item) -> ItemWords:
        """An item of the ledger in words; the short form of its moment is "" where the aircraft's papers have none."""
        moved = item.action == "moved"
        change = f"({mass_kept(item.mass, self.kept)})" if moved else change_kept(item.change, self.kept)
        moment, short = moment_kept(item.moment, self.kept), self.words("index", item.moment)
        return ItemWords(SIGNS[item.action], change, self.arms(item), moment, short)

    def arms(self, item: Item) -> str:
        """Where an item is; of one that moved, from where to where."""
        here = arm_kept(item.arm, self.kept)
        return here if item.arm_to is None else f"{here} to {arm_kept(item.arm_to, self.kept)}"

    def empty(self, ledger: Ledger) -> Grid:
        """The empty aircraft before, after, and on the final scales: for paper, terminal and page."""
        lines = [("before", ledger.start.empty), ("after these changes", ledger.now)]
        if ledger.final is not None:
            lines.append(("final weighing", ledger.final.empty))
        rows = [(name, sums.mass, sums.cg, sums.moment, sums.moment, sums.cg) for name, sums in lines]
        head = ("empty aircraft", "weight", "arm of CG", "moment", "index", "chord")
        return self.grid(head, rows, totals=range(1, len(rows)))

    def cases(self, loading: Loading, head: Sequence[str]) -> Grid:
        """Every load case against the limits, in the columns asked for: for paper, terminal and page."""
        at = loading.checked
        columns: dict[str, Sequence[Value]] = {
            "inside or not": [verdict_words(loading, case) for case in range(len(loading.names))],
            "load case": [f"{case} {name}" for case, name in enumerate(loading.names, 1)],
            "weight": at.mass.tolist(),
            "to spare": (-at.over).tolist(),
            "forward limit": (at.cg - at.forward).tolist(),
            "from forward": at.forward.tolist(),
            "CG": at.cg.tolist(),
            "aft limit": (at.cg + at.aft).tolist(),
            "from aft": at.aft.tolist(),
        }
        bad = [case for case in range(len(loading.names)) if at.faults_of(case)]
        return self.grid(head, list(zip(*(columns[name] for name in head), strict=True)), bad=bad)

    def before_after(self, ledger: Ledger) -> tuple[Block, ...]:
        """The empty aircraft before and after, and what is saved."""
        saving = ledger.saving
        notes = [f"Saved {mass_kept(saving.mean, self.kept)}."]
        if saving.p95 > saving.p05:
            notes = [
                f"Saved {mass_kept(saving.mean, self.kept)}, nine in ten {mass_kept(saving.p05, self.kept)} to "
                f"{mass_kept(saving.p95, self.kept)}: some items are predicted or listed, not weighed."
            ]
        if ledger.unexplained is not None:
            notes.append(final_text(ledger, self.kept))
        return self.empty(ledger), Words(tuple(notes))

    def limits(self, limits: LimitsEntry, ledger: Ledger) -> tuple[Block, ...]:
        """Limits in numbers, and what is left to load."""
        rows: list[tuple[Value, ...]] = [("maximum weight", limits.most.si, "", "")]
        if limits.least is not None:
            rows.append(("minimum weight", limits.least.si, "", ""))
        for name, line in (("forward limit", limits.forward), ("aft limit", limits.aft)):
            for weight, arm in line:
                rows.append((f"{name} of CG", weight.si if weight.text else "at any weight", arm.si, arm.si))
        for name, end in (("forward", limits.empty_forward), ("aft", limits.empty_aft)):
            if end is not None:
                rows.append((f"{name} limit of the empty CG", "empty", end.si, end.si))
        useful = limits.most.si - ledger.empty.mass
        rows.append(("useful load: maximum less empty weight", useful, "", ""))
        return (self.grid(("limit", "weight", "arm", "chord"), rows, totals={len(rows) - 1}),)


def _decimal(value: float, signed: bool) -> str:
    """Decimal pounds, to a hundredth: an ounce is 0.0625."""
    text = f"{abs(value):,.2f}"
    if value < 0 and float(text.replace(",", "")) != 0.0:
        return MINUS + text
    return f"+{text}" if signed and value > 0 else text


def _changes(ledger: Ledger, hand: Record) -> tuple[Section, ...]:
    sections = []
    titles = {"removed": "Taken out", "added": "Put in", "moved": "Moved"}
    for action, title in titles.items():
        rows = [row for row in ledger.rows if row.item.action == action]
        if rows:
            sections.append(Section(title, (_items(rows, hand, action == "moved"),)))
    return tuple(sections) or (Section("No change", (Words(("Nothing has been taken out, put in or moved.",)),)),)


def _items(rows: list[Row], hand: Record, moved: bool) -> Grid:
    found: list[tuple[Value, ...]] = []
    for row in rows:
        item = row.item
        found.append((
            item.name + (f" ({item.note})" if item.note else ""), item.mass if moved else item.change,
            item.arm if item.arm_to is None else hand.arms(item),
            item.moment, item.moment, known_by(row, hand.kept), ", ".join(w for w in (item.date, item.by) if w),
        ))  # fmt: skip
    change, moment = sum(r.item.change for r in rows), sum(r.item.moment for r in rows)
    found.append(("together", "" if moved else change, "", moment, moment, "", ""))
    head = ("item", "weight" if moved else "change", "arm", "moment", "index", "known by", "date, who")
    return hand.grid(head, found, totals={len(found) - 1})


def known_by(row: Row, kept: Kept) -> str:
    """How a mass is known, as it was written or with its interval."""
    item = row.item
    tail = f"; corrects entry {row.corrects}" if row.corrects and row.standing == "entered" else ""
    if item.how == "weighed":
        return f"scale: {item.mass_text}{tail}"
    if item.causes:
        ends = f"{mass_kept(item.spread.p05, kept)} to {mass_kept(item.spread.p95, kept)}"
        return f"{item.how}, nine in ten {ends}{tail}"
    return f"{item.how}: {item.mass_text}{tail}" if item.mass_text else item.how + tail


def final_text(ledger: Ledger, kept: Kept) -> str:
    """The final weighing against the ledger, in a sentence or two."""
    apart = ledger.unexplained or 0.0
    saved = mass_kept(ledger.start.empty.mass - ledger.empty.mass, kept)
    half = ledger.mass.p95 - ledger.mass.mean
    text = f"The final scales show {change_kept(apart, kept)} against the ledger; by them {saved} are saved."
    if abs(apart) > half:
        text += f" The items leave only {mass_kept(half, kept)} open: the rest is the scales, or an item not listed."
    return text


def _report(job: RefitJob, ledger: Ledger, loading: Loading | None, hand: Record, drawn: bool) -> tuple[Section, ...]:
    sections = [Section("First weighing", _weighing(ledger.start, hand))]
    if ledger.rows:
        known = ledger.known()
        words = {"weighed": "from the scale", "predicted": "predicted", "listed": "from a list"}
        told = "; ".join(f"{count} {words[how]}" for how, (count, _) in known.items() if count)
        change = Balance(ledger.now.mass - ledger.start.empty.mass, ledger.now.moment - ledger.start.empty.moment)
        row = (f"{len(ledger.rows)} items: {told}", change.mass, change.moment)
        sections.append(
            Section(
                "Changes since, item by item on the equipment-change sheet",
                (hand.grid(("items", "change", "moment"), [row]),),
            )
        )
    if ledger.final is not None:
        sections.append(Section("Final weighing", _weighing(ledger.final, hand)))
    places = _places(job.refit, hand)
    if places:
        sections.append(Section("Seats, tanks, baggage and ballast", places))
    if loading is not None:
        sections += _cases(job.loads, ledger, loading, hand, drawn)
    return tuple(sections)


def _weighing(weighing: Weighing, hand: Record) -> tuple[Block, ...]:
    rows: list[tuple[Value, ...]] = []
    for line in weighing.lines:
        words = f"{line.mass_text}; {line.note}" if line.note else line.mass_text
        rows.append((line.name, words, line.mass, line.arm, line.mass * line.arm))
    empty = weighing.empty
    rows.append(("empty", "", empty.mass, empty.cg, empty.moment))
    told = [word for word in (weighing.date, weighing.by, weighing.method, weighing.record) if word]
    grid = hand.grid(("at", "as read", "net", "arm", "moment"), rows, totals={len(rows) - 1})
    return grid, *((Words((", ".join(told),)),) if told else ())


def _places(refit: Refit, hand: Record) -> tuple[Block, ...]:
    """Where people, fuel, baggage and ballast sit."""
    rows: list[tuple[Value, ...]] = []
    for place in refit.place:
        rows.append((place.name, "seat or baggage", place.holds.si if place.holds else "", place.arm.si, place.arm.si))
    for tank in refit.tank:
        full = tank.holds.si * tank.density.si
        for level, arm in tank.arm:
            at = f", at {level.text}" if level.text else ""
            share = level.si if level.text else 1.0
            rows.append(
                (tank.name, f"tank of {tank.holds.text}, {tank.density.text}{at}", full * share, arm.si, arm.si)
            )
    for one in refit.ballast:
        there = f"ballast, {mass_kept(one.aboard.si, hand.kept)} there now" if one.aboard else "ballast, none there now"
        rows.append((one.name, there, one.holds.si if one.holds else "", one.arm.si, one.arm.si))
    return (hand.grid(("station", "what", "holds", "arm", "chord"), rows),) if rows else ()


def _cases(loads: Sequence[LoadCase], ledger: Ledger, loading: Loading, hand: Record, drawn: bool) -> list[Section]:
    kept = hand.kept
    items: list[tuple[Value, ...]] = []
    sums = set()
    for case, name in enumerate(loading.names):
        empty = ledger.empty
        items.append((f"{case + 1} empty aircraft", "", empty.mass, empty.cg, empty.moment))
        items += [(one.name, one.text, one.mass, one.arm, one.mass * one.arm) for one in loads[case].aboard]
        sums.add(len(items))
        whole = loading.sums[case]
        items.append((f"{case + 1} {name}", "", whole.mass, whole.cg, whole.moment))
    notes = tuple(ballast_text(word, kept) for word in loading.ballast)
    if loading.unsure:
        notes = (*notes, "Within the uncertainty: the interval of what is only predicted reaches over a limit.")
    head = ("load case", "weight", "to spare", "forward limit", "CG", "aft limit", "inside or not")
    blocks: list[Block] = [hand.cases(loading, head)]
    if notes:
        blocks.append(Words(notes))
    listed = hand.grid(("aboard", "as written", "weight", "arm", "moment"), items, totals=sums)
    found = [Section("Load cases", tuple(blocks)), Section("Load cases, item by item", (listed,))]
    if drawn:
        found.append(Section("Load cases against the limits", (_plate(ledger, loading, kept),)))
    return found


def verdict_words(loading: Loading, case: int) -> str:
    """Whether a load case is inside every limit, which it breaks, and whether it is the one to look at."""
    faults = loading.checked.faults_of(case)
    words = "OUTSIDE: " + ", ".join(faults) if faults else "inside"
    if case == loading.checked.worst:
        words += ", the worst" if faults else ", nearest a limit"
    return words + (", but within the uncertainty: weigh it" if case in loading.unsure else "")


def _plate(ledger: Ledger, loading: Loading, kept: Kept) -> Plate:
    from layup.refit.envelope_picture import SIZE, envelope_image

    png, svg = envelope_image(ledger, loading, kept, "png"), envelope_image(ledger, loading, kept, "svg").decode()
    says = "Weight over the arm of the centre of gravity: the limits, and every load case."
    return Plate(png, svg[svg.index("<svg") :], *SIZE, says)


def ballast_text(word: BallastWord, kept: Kept) -> str:
    """What one place for ballast says, in a sentence."""
    there = f"Ballast, {word.name} at {arm_kept(word.arm, kept)}"
    there += f", {mass_kept(word.aboard, kept)} aboard: " if word.aboard else ": "
    if word.needed is None and word.balances:
        more = mass_kept(word.balances, kept)
        return there + f"{more} more would bring every CG inside, but then a load case is outside in weight."
    if word.needed is None:
        return there + "no amount there brings every load case inside."
    if word.needed:
        tail = " MORE THAN THE PLACE HOLDS." if word.too_much else ""
        return there + f"{mass_kept(word.needed, kept)} more is needed to bring every load case inside.{tail}"
    if word.free and word.free >= word.aboard * (1 - 1e-9):
        return there + "all of it may come out, with every load case still inside."
    if word.free:
        return there + f"{mass_kept(word.free, kept)} of it may come out; then a load case is at its limit."
    return there + ("none of it may come out." if word.aboard else "none is needed.")
