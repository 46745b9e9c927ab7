"""The papers of a refit as content: the equipment-change sheet and the weight-and-balance report.

A `Paper` is headings, facts, tables and alarms, with no layout; `layup.refit.paper_pdf`, `paper_html` and `paper_sheet`
put it on paper, on a page and in a spreadsheet. Every figure stands as the record is kept and, for a spreadsheet, as a
number in one unit. The tool prepares; a licensed person checks and signs, and the space for that is part of the paper.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from layup.partfile.cautions import suggested
from layup.refit.balance import Balance
from layup.refit.job import RefitJob, Weighing
from layup.refit.ledger import Ledger, Row
from layup.refit.loading import BallastWord, Loading
from layup.refit.model import Refit
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
from layup.units import INCH, LB

What = Literal["change", "balance"]


FIGURES = frozenset(
    (
        "weight",
        "change",
        "arm",
        "moment",
        "index",
        "net",
        "CG",
        "to spare",
        "from forward",
        "from aft",
        "arm of CG",
        "chord",
    )
)
"""Headings of columns that hold figures and stand to the right."""


class Cell(NamedTuple):
    """One cell: its words, and its number in the unit of the column, where it has one."""

    text: str
    number: float | None = None


class Column(NamedTuple):
    """One column: its heading, and the heading of its numbers in a spreadsheet ("" for words only)."""

    heading: str
    numbers: str = ""


@dataclass(frozen=True)
class Section:
    """One table with its heading and remarks.

    Attributes:
        heading: Of the section.
        columns: Of the table.
        rows: Cells by row; a row is as long as `columns`.
        totals: Places of rows that are sums.
        bad: Places of rows that break a limit.
        notes: Below the table.
        picture: Whether the picture of the limits stands here.
    """

    heading: str
    columns: tuple[Column, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    totals: frozenset[int] = frozenset()
    bad: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()
    picture: bool = False


@dataclass(frozen=True)
class Paper:
    """One paper.

    Attributes:
        title: Of the paper.
        subject: Of the refit.
        facts: Label and value, at the head.
        alarms: Every limit that is broken, in words; printed first, last and on every page.
        sections: In order.
        notes: At the end.
        signed: Labels of the lines to fill in by hand.
    """

    title: str
    subject: str
    facts: tuple[tuple[str, str], ...]
    alarms: tuple[str, ...]
    sections: tuple[Section, ...]
    notes: tuple[str, ...]
    signed: tuple[str, ...] = field(
        default=(
            "Weighed or checked by (name)",
            "Licence or certificate number",
            "Signature",
            "Date",
        )
    )


PREPARED = "Prepared with layup; not an approval. Figures marked predicted or listed were not weighed."


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
) -> list[Paper]:
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

    Returns:
        One paper each.
    """
    refit = job.refit
    facts = [
        ("Aircraft", refit.aircraft or ""),
        ("Date", date or dt.date.today().isoformat()),
        ("Prepared by", by or refit.by or ""),
        ("Method", method or (ledger.final or ledger.start).method),
        ("Datum", refit.datum),
        ("Units", "pounds and ounces, inches" if kept == "lb" else "kilograms, millimetres"),
        ("As it stood", moment_words(ledger.as_of)),
    ]
    told = tuple((label, value) for label, value in facts if value)
    loud = tuple(line.strip("! ") for line in alarms)
    made = []
    for one in what:
        if one == "change":
            sections = _change_sections(refit, ledger, kept)
            made.append(
                Paper("Equipment-change sheet", ledger.title, told, loud, sections, _notes(refit, ledger, kept))
            )
        else:
            sections = _balance_sections(refit, ledger, loading, kept)
            made.append(
                Paper("Weight-and-balance report", ledger.title, told, loud, sections, _notes(refit, ledger, kept))
            )
    return made


def moment_words(as_of: str) -> str:
    """`after entry 6`, or `at 2026-01-10`; empty for now."""
    return f"after entry {as_of}" if as_of.isdigit() else f"at {as_of}" if as_of else ""


def _notes(refit: Refit, ledger: Ledger, kept: Kept) -> tuple[str, ...]:
    notes = ["Arms are positive aft of the datum, moments are weight times arm; what is removed counts as minus."]
    if refit.index:
        notes.append(index_note(refit.index, kept))
    pending = ledger.pending()
    if pending:
        notes.append(f"{len(pending)} items of the refit file are not in the ledger as they stand here.")
    notes += [one.words for one in suggested(row.item.name for row in ledger.rows)]
    return (*notes, PREPARED)


def mass_cell(kg: float, kept: Kept, text: str | None = None) -> Cell:
    """A mass, its number in decimal pounds or in kilograms."""
    return Cell(mass_kept(kg, kept) if text is None else text, kg / (LB if kept == "lb" else 1.0))


def change_cell(kg: float, kept: Kept) -> Cell:
    """A change of mass with its sign."""
    return Cell(change_kept(kg, kept), kg / (LB if kept == "lb" else 1.0))


def arm_cell(m: float, kept: Kept) -> Cell:
    """An arm, its number in inches or millimetres."""
    return Cell(arm_kept(m, kept), m / (INCH if kept == "lb" else 1e-3))


def moment_cell(kg_m: float, kept: Kept) -> Cell:
    """A moment, its number in lb in or kg m."""
    return Cell(moment_kept(kg_m, kept), kg_m / (LB * INCH if kept == "lb" else 1.0))


def _heads(kept: Kept, *names: str) -> tuple[Column, ...]:
    units = ("decimal lb", "in", "lb in") if kept == "lb" else ("kg", "mm", "kg m")
    numbers = {"weight": f"weight, {units[0]}", "change": f"change, {units[0]}", "arm": f"arm, {units[1]}",
               "moment": f"moment, {units[2]}", "net": f"net, {units[0]}", "CG": f"CG, {units[1]}",
               "to spare": f"to spare, {units[0]}", "from forward": f"from forward limit, {units[1]}",
               "from aft": f"from aft limit, {units[1]}", "arm of CG": f"arm of CG, {units[1]}"}  # fmt: skip
    return tuple(Column(name, numbers.get(name, "")) for name in names)


def _change_sections(refit: Refit, ledger: Ledger, kept: Kept) -> tuple[Section, ...]:
    sections = []
    titles = {"removed": "Taken out", "added": "Put in", "moved": "Moved"}
    for action, title in titles.items():
        rows = [row for row in ledger.rows if row.item.action == action]
        if rows:
            sections.append(_item_section(title, rows, refit, kept, action == "moved"))
    if not sections:
        sections.append(Section("No change", notes=("Nothing has been taken out, put in or moved.",)))
    return (*sections, _before_after(refit, ledger, kept))


def _item_section(title: str, rows: list[Row], refit: Refit, kept: Kept, moved: bool) -> Section:
    names = ["item", "weight" if moved else "change", "arm", "moment", "known by", "date, who"]
    heads = list(_heads(kept, *names))
    if refit.index:
        heads.insert(4, Column("index"))
    found = []
    for row in rows:
        item = row.item
        arm = arm_cell(item.arm, kept)
        if item.arm_to is not None:
            arm = Cell(f"{arm_kept(item.arm, kept)} to {arm_kept(item.arm_to, kept)}")
        cells = [
            Cell(item.name + (f" ({item.note})" if item.note else "")),
            mass_cell(item.mass, kept) if moved else change_cell(item.change, kept),
            arm,
            moment_cell(item.moment, kept),
            Cell(known_by(row, kept)),
            Cell(", ".join(word for word in (item.date, item.by) if word)),
        ]
        if refit.index:
            cells.insert(4, Cell(index_kept(item.moment, refit.index, kept)))
        found.append(tuple(cells))
    change, moment = sum(r.item.change for r in rows), sum(r.item.moment for r in rows)
    total = [
        Cell("together"),
        Cell("") if moved else change_cell(change, kept),
        Cell(""),
        moment_cell(moment, kept),
        Cell(""),
        Cell(""),
    ]
    if refit.index:
        total.insert(4, Cell(index_kept(moment, refit.index, kept)))
    return Section(title, tuple(heads), (*found, tuple(total)), totals=frozenset({len(found)}))


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


def _before_after(refit: Refit, ledger: Ledger, kept: Kept) -> Section:
    heads = list(_heads(kept, "empty aircraft", "weight", "arm of CG", "moment"))
    if refit.index:
        heads.append(Column("index"))
    if refit.chord:
        heads.append(Column("chord"))
    lines = [("before", ledger.start.empty), ("after these changes", ledger.now)]
    if ledger.final is not None:
        lines.append(("final weighing", ledger.final.empty))
    rows = [_sum_row(name, sums, refit, kept) for name, sums in lines]
    notes = []
    saving = ledger.saving
    if saving.p95 > saving.p05:
        notes.append(
            f"Saved {mass_kept(saving.mean, kept)}, nine in ten {mass_kept(saving.p05, kept)} to "
            f"{mass_kept(saving.p95, kept)}: some items are predicted or listed, not weighed."
        )
    else:
        notes.append(f"Saved {mass_kept(saving.mean, kept)}.")
    if ledger.unexplained is not None:
        notes.append(final_text(ledger, kept))
    return Section(
        "Empty weight and centre of gravity",
        tuple(heads),
        tuple(rows),
        notes=tuple(notes),
        totals=frozenset({len(rows) - 1}),
    )


def final_text(ledger: Ledger, kept: Kept) -> str:
    """The final weighing against the ledger, in a sentence or two."""
    apart = ledger.unexplained or 0.0
    saved = mass_kept(ledger.start.empty.mass - ledger.empty.mass, kept)
    half = ledger.mass.p95 - ledger.mass.mean
    text = f"The final scales show {change_kept(apart, kept)} against the ledger; by them {saved} are saved."
    if abs(apart) > half:
        text += f" The items leave only {mass_kept(half, kept)} open: the rest is the scales, or an item not listed."
    return text


def _sum_row(name: str, sums: Balance, refit: Refit, kept: Kept) -> tuple[Cell, ...]:
    cells = [Cell(name), mass_cell(sums.mass, kept), arm_cell(sums.cg, kept), moment_cell(sums.moment, kept)]
    if refit.index:
        cells.append(Cell(index_kept(sums.moment, refit.index, kept)))
    if refit.chord:
        cells.append(Cell(chord_kept(sums.cg, refit.chord).replace(" MAC", "")))
    return tuple(cells)


def _balance_sections(refit: Refit, ledger: Ledger, loading: Loading | None, kept: Kept) -> tuple[Section, ...]:
    sections = [_weighing("First weighing", ledger.start, kept)]
    if ledger.rows:
        known = ledger.known()
        words = {"weighed": "from the scale", "predicted": "predicted", "listed": "from a list"}
        told = "; ".join(f"{count} {words[how]}" for how, (count, _) in known.items() if count)
        change = ledger.now.mass - ledger.start.empty.mass
        moment = ledger.now.moment - ledger.start.empty.moment
        row = (Cell(f"{len(ledger.rows)} items: {told}"), change_cell(change, kept), moment_cell(moment, kept))
        sections.append(
            Section(
                "Changes since, item by item on the equipment-change sheet",
                _heads(kept, "items", "change", "moment"),
                (row,),
            )
        )
    if ledger.final is not None:
        sections.append(_weighing("Final weighing", ledger.final, kept))
    sections.append(_before_after(refit, ledger, kept))
    if loading is not None:
        sections += _case_sections(loading, kept)
    return tuple(sections)


def _weighing(title: str, weighing: Weighing, kept: Kept) -> Section:
    rows = []
    for line in weighing.lines:
        words = f"{line.mass_text}; {line.note}" if line.note else line.mass_text
        rows.append(
            (
                Cell(line.name),
                Cell(words),
                change_cell(line.mass, kept) if line.mass < 0 else mass_cell(line.mass, kept),
                arm_cell(line.arm, kept),
                moment_cell(line.mass * line.arm, kept),
            )
        )
    empty = weighing.empty
    rows.append((Cell("empty"), Cell(""), mass_cell(empty.mass, kept), arm_cell(empty.cg, kept),
                 moment_cell(empty.moment, kept)))  # fmt: skip
    told = [word for word in (weighing.date, weighing.by, weighing.method, weighing.record) if word]
    return Section(
        title,
        _heads(kept, "at", "as read", "net", "arm", "moment"),
        tuple(rows),
        totals=frozenset({len(rows) - 1}),
        notes=(", ".join(told),) if told else (),
    )


def _case_sections(loading: Loading, kept: Kept) -> list[Section]:
    checked = loading.checked
    rows = []
    bad = set()
    for case, name in enumerate(loading.names):
        faults = checked.faults_of(case)
        if faults:
            bad.add(case)
        note = "OUTSIDE: " + ", ".join(faults) if faults else "inside"
        if case == checked.worst and not faults:
            note += ", nearest a limit"
        if case in loading.unsure:
            note += ", not surely"
        rows.append(
            (
                Cell(f"{case + 1}  {name}"),
                mass_cell(checked.mass[case], kept),
                change_cell(-checked.over[case], kept),
                arm_cell(checked.cg[case], kept),
                arm_cell(checked.forward[case], kept),
                arm_cell(checked.aft[case], kept),
                Cell(note),
            )
        )
    heads = _heads(kept, "load case", "weight", "to spare", "CG", "from forward", "from aft", "limits")
    notes = tuple(ballast_text(word, kept) for word in loading.ballast)
    if loading.unsure:
        notes = (*notes, "Not surely: the interval of what is only predicted reaches over a limit.")
    return [
        Section("Load cases", heads, tuple(rows), bad=frozenset(bad), notes=notes),
        Section("Load cases against the limits", picture=True),
    ]


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
