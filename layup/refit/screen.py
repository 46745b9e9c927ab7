"""What `layup ledger` shows: the running weight and balance, the items with their signed moments, the load cases."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import zip_longest

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.learn.schema import Entry
from layup.learn.weighins import WeighIn
from layup.partfile.cautions import suggested
from layup.refit.consolidate import Consolidation
from layup.refit.equipment import Listed
from layup.refit.items import from_payload
from layup.refit.job import RefitJob
from layup.refit.ledger import Ledger, Row
from layup.refit.loading import Loading
from layup.refit.model import Refit
from layup.refit.next_parts import Choice, Rank
from layup.refit.papers import Record, ballast_text, final_text, moment_words
from layup.refit.record_words import (
    Kept,
    arm_kept,
    change_kept,
    index_note,
    mass_kept,
    moment_kept,
)
from layup.report.document import Grid
from layup.report.document_text import LOUD, grid_text
from layup.spread import Interval
from layup.words import percent_words

MOST_ALARMS = 6
"""Load cases outside that are named at the head; the table shows every one."""
_MARK = {"weighed": "scale", "predicted": "predicted", "listed": "list"}
_FAULTS = {
    "forward": "AHEAD OF THE FORWARD LIMIT",
    "aft": "BEHIND THE AFT LIMIT",
    "too heavy": "TOO HEAVY",
    "too light": "TOO LIGHT",
}


def ledger_screen(
    job: RefitJob,
    ledger: Ledger,
    loading: Loading | None,
    kept: Kept,
    scaled: Mapping[tuple[str, str], WeighIn] | None = None,
) -> RenderableType:
    """The screen of `layup ledger`.

    Args:
        job: The refit file, read.
        ledger: As it stands, or stood.
        loading: The load cases against the limits; None where there are none.
        kept: Units of the record.
        scaled: Predicted parts that the shop has weighed since.
    """
    parts: list[RenderableType] = []
    alarm = alarms(loading, kept)
    if alarm:
        parts += [*(Text(f" {line} ", style=LOUD) for line in alarm), Text()]
    parts += [_head(job, ledger, kept), Text(), _items(job.refit, ledger, kept), Text(), _known(ledger, kept)]
    for (_, name), weighed in (scaled or {}).items():
        text = f'On the scale since: {name}, {weighed.said}. `layup ledger weigh {job.file} "{name}"` takes it over.'
        parts.append(Padding(Text(text), (0, 0, 0, 2)))
    if loading is not None:
        parts += [Text(), grid_text(cases_grid(loading, kept)), *_ballast(loading, kept)]
    parts += [Text(), *_small_print(job.refit, ledger, loading, kept)]
    parts += [Padding(Text(f"! {one.words}"), (0, 0, 0, 2)) for one in suggested(row.item.name for row in ledger.rows)]
    if alarm:
        parts += [Text(), *(Text(f" {line} ", style=LOUD) for line in alarm)]
    return Group(*parts)


def alarms(loading: Loading | None, kept: Kept) -> list[str]:
    """A line for every limit that is broken, in capitals and with how far; none if all is inside."""
    if loading is None:
        return []
    lines = []
    checked = loading.checked
    fine = 2 if kept == "lb" else 1
    for case in loading.outside():
        words = []
        for fault in checked.faults_of(case):
            by = {
                "forward": arm_kept(-checked.forward[case], kept, fine),
                "aft": arm_kept(-checked.aft[case], kept, fine),
                "too heavy": mass_kept(checked.over[case], kept),
                "too light": mass_kept(checked.under[case], kept),
            }[fault].lstrip("+")
            words.append(f"{by} {_FAULTS[fault]}")
        lines.append(f"!!! OUTSIDE LIMITS: {loading.names[case]}: {' and '.join(words)} !!!")
    if len(lines) > MOST_ALARMS:
        rest = len(lines) - MOST_ALARMS
        lines = [*lines[:MOST_ALARMS], f"!!! OUTSIDE LIMITS: and {rest} more of {len(loading.names)} load cases !!!"]
    if loading.empty_fault:
        lines.append(f"!!! OUTSIDE LIMITS: empty: {_FAULTS[loading.empty_fault]} !!!")
    return lines


def span_words(interval: Interval, kept: Kept) -> str:
    """Both ends of a mass."""
    return f"{mass_kept(interval.p05, kept)} to {mass_kept(interval.p95, kept)}"


def _head(job: RefitJob, ledger: Ledger, kept: Kept) -> RenderableType:
    refit = job.refit
    lines = [Text(ledger.title, style="bold")]
    if ledger.as_of:
        lines.append(Text(f"  as it stood {moment_words(ledger.as_of)}", style="bold"))
    lines.append(Text())
    text = Text("  saved so far  ")
    text.append(mass_kept(ledger.saving.mean, kept), style="bold")
    if ledger.saving.p95 > ledger.saving.p05:
        text.append(f"   nine in ten: {span_words(ledger.saving, kept)}")
    tail: list[RenderableType] = [text]
    need = need_of(refit, ledger)
    if need is not None:
        word = f"  to the target {mass_kept(need, kept)} more" if need > 0 else "  the target is reached"
        tail.append(Text(word + (f", with {mass_kept(-need, kept)} to spare" if need < 0 else "")))
    tail.append(Text(f"  CG moved      {moved_words(ledger.cg_moved, kept)}"))
    if ledger.unexplained is not None:
        tail.append(Padding(Text(final_text(ledger, kept)), (0, 0, 0, 2)))
    return Group(*lines, grid_text(balance_grid(refit, ledger, kept)), Text(), *tail)


def balance_grid(refit: Refit, ledger: Ledger, kept: Kept) -> Grid:
    """The empty aircraft before, after and on the final scales: for terminal and page."""
    return Record(kept, refit.index, refit.chord, decimal=False).empty(ledger)


def moved_words(moved: Interval, kept: Kept) -> str:
    """How far the centre of gravity has moved, which way, and the ends of that."""
    way = " (aft)" if moved.mean > 0 else " (forward)" if moved.mean < 0 else ""
    low, high = arm_kept(moved.p05, kept), arm_kept(moved.p95, kept)
    ends = f"; nine in ten: {low} to {high}" if low != high else ""
    return f"{arm_kept(moved.mean, kept)}{way}{ends}"


def need_of(refit: Refit, ledger: Ledger) -> float | None:
    """What the target still asks; negative when it is passed, None without a target. [kg]"""
    if refit.target is None:
        return None
    if refit.target.saving is not None:
        return refit.target.saving.si - (ledger.start.empty.mass - ledger.empty.mass)
    return ledger.empty.mass - refit.target.empty.si if refit.target.empty else None


def _items(refit: Refit, ledger: Ledger, kept: Kept) -> RenderableType:
    record = Record(kept, refit.index)
    rows = []
    for row in ledger.rows:
        sign, *words = record.item(row.item)
        rows.append((sign, row.item.name + _standing(row), _MARK[row.item.how], *words))
    empty, now = ledger.start.empty, ledger.now
    change, moment = change_kept(now.mass - empty.mass, kept), now.moment - empty.moment
    rows.append(("", "all of it", "", change, "", moment_kept(moment, kept), record.words("index", moment)))
    head = ("", "item", "known by", "change", "arm", "moment", "index")
    wide = len(head) if refit.index else len(head) - 1
    rows = [row[:wide] for row in rows]
    return grid_text(Grid(head[:wide], tuple(rows), right=frozenset(range(3, wide)), totals=frozenset({len(rows) - 1})))


def _standing(row: Row) -> str:
    if row.standing == "not entered":
        return " *"
    if row.standing == "entered":
        return f" (corrects entry {row.corrects})" if row.corrects else ""
    return f" [{row.standing}]"


def _known(ledger: Ledger, kept: Kept) -> RenderableType:
    return Padding(Text(known_words(ledger, kept)), (0, 0, 0, 2))


def known_words(ledger: Ledger, kept: Kept) -> str:
    """How many items are from the scale, predicted, from a list, and which are still to weigh."""
    words = {"weighed": "from the scale", "predicted": "only predicted", "listed": "only from a list"}
    parts = []
    for how, (count, mass) in ledger.known().items():
        if count:
            parts.append(f"{count} {words[how]} ({mass_kept(mass, kept)})")
    told = "Known by: " + ("; ".join(parts) or "nothing yet") + "."
    only = [row.item.name for row in ledger.rows if row.item.how == "predicted"]
    return told + (f" To weigh: {'; '.join(only)}." if only else "")


def cases_grid(loading: Loading, kept: Kept) -> Grid:
    """Every load case against the limits: for terminal and page."""
    head = ("inside or not", "load case", "weight", "to spare", "CG", "from forward", "from aft")
    return Record(kept, decimal=False).cases(loading, head)


def _ballast(loading: Loading, kept: Kept) -> Iterable[RenderableType]:
    for word in loading.ballast:
        yield Padding(Text(ballast_text(word, kept)), (0, 0, 0, 2))


def _small_print(refit: Refit, ledger: Ledger, loading: Loading | None, kept: Kept) -> Iterable[RenderableType]:
    pending = ledger.pending()
    if pending:
        count = "1 item differs" if len(pending) == 1 else f"{len(pending)} items differ"
        yield Padding(
            Text(f"! {count} between the file and the ledger: `layup ledger enter` enters them."), (0, 0, 0, 2)
        )
    for what in ledger.differs:
        text = f"! The {what} in the file is not the one in the ledger: `layup ledger enter` enters it."
        yield Padding(Text(text), (0, 0, 0, 2))
    lines = [f"Arms from {refit.datum}. A removed item ahead of the datum, at a negative arm, adds moment."]
    if refit.index:
        lines.append(index_note(refit.index, kept))
    if loading is not None and loading.unsure:
        lines.append("Inside, not surely: the interval of the predicted items reaches over a limit. Weigh them.")
    lines.append("This prepares a record. A licensed person checks it, weighs where the rules ask, and signs.")
    for line in lines:
        yield Padding(Text(line, style="dim"), (0, 0, 0, 2))


def ranking_screen(ranks: Sequence[Rank], choice: Choice | None, kept: Kept, loading: Loading | None) -> RenderableType:
    """The screen of `layup ledger next`."""
    picked = {one.name for one in choice.chosen} if choice else set()
    parts: list[RenderableType] = [grid_text(rank_grid(ranks, picked, kept))]
    if choice is not None:
        parts += [Text(), Padding(Text(choice_text(choice, kept)), (0, 0, 0, 2))]
    alarm = alarms(loading, kept)
    parts += [Text(f" {line} ", style=LOUD) for line in alarm]
    return Group(*parts)


def rank_grid(ranks: Sequence[Rank], picked: Collection[str], kept: Kept) -> Grid:
    """The candidates in their order, those of the chosen set marked: for terminal and page."""
    per, unit = ("lb", 0.45359237) if kept == "lb" else ("kg", 1.0)
    rows = tuple(
        (
            ("✓ " if one.name in picked else "") + one.name,
            mass_kept(one.saves, kept),
            span_words(one.spread, kept) if one.causes else "",
            f"{one.cost[0]:.0f} {one.cost[1]}" if one.cost else "",
            f"{row.cost_per_mass * unit:.0f}" if row.cost_per_mass is not None else "",
            f"{one.hours / 3600:.0f}" if one.hours is not None else "",
            f"{row.hours_per_mass * unit / 3600:.1f}" if row.hours_per_mass is not None else "",
            arm_kept(row.cg_shift, kept),
        )
        for row, one in ((row, row.candidate) for row in ranks)
    )
    head = ("candidate", "saves", "nine in ten", "cost", f"per {per}", "hours", f"h/{per}", "moves CG")
    chosen = frozenset(n for n, row in enumerate(ranks) if row.candidate.name in picked)
    return Grid(head, rows, right=frozenset({1, 3, 4, 5, 6, 7}), totals=chosen)


def choice_text(choice: Choice, kept: Kept) -> str:
    """The chosen set in sentences."""
    if choice.need <= 0.0:
        return "The target is reached: nothing more is needed."
    left_out = f"\nLeft out for want of a cost or hours: {'; '.join(choice.left_out)}." if choice.left_out else ""
    return _choice_text(choice, kept) + left_out


def _choice_text(choice: Choice, kept: Kept) -> str:
    if not choice.chosen:
        if not choice.proved:
            return "The search gave up before it could prove an answer: set fewer candidates."
        if choice.reachable is None:
            return "No set of these parts keeps every load case inside limits."
        most, need = mass_kept(choice.reachable, kept), mass_kept(choice.need, kept)
        return f"No set reaches the target: {need} is asked, and with every load case inside limits {most} can be had."
    if choice.reachable is not None:
        names = "; ".join(one.name for one in choice.chosen)
        return (
            f"Within that budget the target, {mass_kept(choice.need, kept)}, is out of reach. The most that can be "
            f"saved, with every load case inside limits, is {mass_kept(choice.reachable, kept)}: {names}."
        )
    amount = f"{choice.amount:.0f} {choice.currency}" if choice.objective == "cost" else f"{choice.amount / 3600:.0f} h"
    names = ", ".join(one.name for one in choice.chosen)
    text = [
        f"Least {choice.objective}, {amount}: {names}.",
        f"They save {mass_kept(choice.saving.mean, kept)} where {mass_kept(choice.need, kept)} is asked, with every "
        "load case inside limits"
        + (", and no other set does it for less (proved)." if choice.proved else "; not proved."),
    ]
    if choice.saving.p95 > choice.saving.p05:
        short = max(choice.saving.mean - choice.saving.p05, 0.0)
        text.append(
            f"At risk: one time in twenty they save {mass_kept(short, kept)} less than that or worse, "
            f"{mass_kept(choice.saving.p05, kept)}; the target is reached {percent_words(choice.chance)} of the time."
        )
    if choice.risk:
        name, share = choice.risk[0]
        text.append(f"Most of the doubt, {percent_words(share)}, is {name}.")
    return "\n".join(text)


def consolidation_screen(joined: Consolidation, kept: Kept) -> RenderableType:
    """One consolidation: old and new side by side, item by item, then kind by kind."""
    return Group(
        Text(joined.name, style="bold"), grid_text(joined_grid(joined, kept)), Text(f"  {joined_words(joined, kept)}")
    )


def joined_grid(joined: Consolidation, kept: Kept) -> Grid:
    """The old parts beside the new one, for terminal and page."""
    rows = []
    for pair in zip_longest(joined.old, joined.new):
        rows.append(tuple(w for p in pair for w in ((p.name, p.kind, mass_kept(p.mass, kept)) if p else ("", "", ""))))
    old, new = mass_kept(joined.old_mass, kept), mass_kept(joined.new_mass, kept)
    rows.append(("all of it", "", old, "", "", new))
    seams = [mass_kept(joined.joints(side), kept) for side in ("old", "new")]
    rows.append(("of it joints", "", seams[0], "", "", seams[1]))
    head = ("old", "", "weight", "new", "", "weight")
    return Grid(head, tuple(rows), right=frozenset({2, 5}), totals=frozenset({len(rows) - 2}))


def joined_words(joined: Consolidation, kept: Kept) -> str:
    """What one part in place of several saves, and how much of it held them together."""
    gain = joined.saving
    word = "saved" if gain.mean >= 0 else "added"
    text = f"{word} {mass_kept(abs(gain.mean), kept)}, {percent_words(abs(gain.mean) / joined.old_mass)} of the old"
    gone = joined.joints("old") - joined.joints("new")
    return text + f"; {mass_kept(gone, kept)} of it is seams, laps, fasteners, nut plates and sealant."


def history_screen(entries: Sequence[Entry], kept: Kept) -> RenderableType:
    """Every entry of a ledger in the order of noting."""
    head = ("entry", "noted, UTC", "what", "change", "known by", "why")
    return grid_text(Grid(head, tuple(entry_words(entry, kept) for entry in entries), right=frozenset({0, 3})))


def entry_words(entry: Entry, kept: Kept) -> tuple[str, str, str, str, str, str]:
    """One entry of a ledger: its number, when, what, the change, how that is known, and why."""
    load = entry.payload
    corrects = f", corrects {load['corrects']}" if load.get("corrects") else ""
    change, how, name = "", "", {"start": "first weighing", "final": "final weighing"}.get(load["does"], "")
    if load["does"] == "item":
        item = from_payload(load["item"])
        name, how = f"{item.action}: {item.name}{corrects}", _MARK[item.how]
        change = change_kept(item.change, kept)
    elif load["does"] == "withdrawn":
        name = f"withdrawn, {load['action']}: {load['name']}{corrects}"
    return str(entry.number), entry.at[:19].replace("T", " "), name, change, how, load.get("why", "")


def equipment_screen(listed: Sequence[Listed]) -> RenderableType:
    """An equipment list as it was read."""
    rows = tuple((str(entry.line), entry.name, entry.mass_text, entry.arm_text) for entry in listed)
    return grid_text(Grid(("row", "item", "weight", "arm"), rows, right=frozenset({0, 2, 3})))
