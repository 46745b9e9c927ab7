"""The ledger: what has come out, gone in and moved, as entries that are only ever added.

What does the ledger say now, or said then?        read_ledger
Enter what the file says and the ledger does not   enter
Note what the scale says of one item               weigh
What is out, where is the balance, how sure?       Ledger.now, saving, cg, to_go

The refit file is how an item is written; the ledger, in the shop's record, is what stands. Entering compares the two
inside one transaction: a new item is entered, a changed one is corrected by a new entry that names the old one, and one
that the file no longer has is withdrawn. Nothing is ever changed or deleted, so every earlier state can be shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Literal

from layup.errors import LayupError, nearest
from layup.learn.schema import UNDO, Payload
from layup.refit.balance import Balance, balance
from layup.refit.items import Item, around, from_payload
from layup.refit.job import Line, RefitJob, Weighing
from layup.spread import Interval
from layup.words import mass_both

if TYPE_CHECKING:
    from layup.learn.schema import Entry
    from layup.learn.store import Store
    from layup.learn.weighins import WeighIn

KIND = "ledger"
"""Kind of the ledger's entries in the shop's record."""

SAME_MASS = 1e-4
"""A prediction that moves by less than this is the same. [kg]"""
SAME_ARM = 1e-4
"""The same of where it puts a part. [m]"""

Standing = Literal["entered", "not entered", "changed in the file", "no longer in the file"]


@dataclass(frozen=True, slots=True)
class Row:
    """One item as it stands.

    Attributes:
        item: What counts now.
        standing: Against the ledger.
        number: Of its entry in the record; None if it is not entered.
        at: When that was noted, UTC.
        corrects: Number of the entry it takes the place of; None for a first entry.
        why: Of the correction.
    """

    item: Item
    standing: Standing = "entered"
    number: int | None = None
    at: str = ""
    corrects: int | None = None
    why: str = ""


@dataclass(frozen=True)
class Ledger:
    """The refit at one moment.

    Attributes:
        title: Of the refit.
        start: The empty aircraft before.
        final: Weighed at the end; None before that.
        rows: Item by item.
        as_of: The moment asked for; empty for now.
        differs: Weighings that the file gives otherwise than the ledger: "first weighing", "final weighing".
    """

    title: str
    start: Weighing
    final: Weighing | None
    rows: tuple[Row, ...]
    as_of: str = ""
    differs: tuple[str, ...] = ()

    def __repr__(self) -> str:
        saved, now = mass_both(self.saving.mean, "both"), mass_both(self.mass.mean, "both")
        return f"Ledger({self.title!r}: {len(self.rows)} items, saves {saved}, empty {now} at {self.cg.mean:.3f} m)"

    @property
    def items(self) -> list[Item]:
        """All items."""
        return [row.item for row in self.rows]

    @property
    def now(self) -> Balance:
        """The empty aircraft as the items leave it. [kg, kg m]"""
        return running(self.start.empty, self.items)

    @property
    def empty(self) -> Balance:
        """The empty aircraft that counts: the final weighing where there is one. [kg, kg m]"""
        return self.final.empty if self.final else self.now

    @property
    def mass(self) -> Interval:
        """Empty weight as the items leave it, 90 %. [kg]"""
        return around(self.now.mass, mass_causes(self.items))

    @property
    def saving(self) -> Interval:
        """Start less now, 90 %. [kg]"""
        return around(self.start.empty.mass - self.now.mass, mass_causes(self.items))

    @property
    def cg(self) -> Interval:
        """Centre of gravity as the items leave it, 90 %. [m]"""
        now = self.now
        return around(now.cg, cg_causes(self.items, now, Balance(0.0, 0.0)))

    @property
    def cg_moved(self) -> Interval:
        """How far the items have moved the centre of gravity, positive aft, 90 %. [m]"""
        cg, start = self.cg, self.start.empty.cg
        return Interval(cg.mean - start, cg.p05 - start, cg.p95 - start)

    @property
    def unexplained(self) -> float | None:
        """What the final scales show more than the ledger; None before the final weighing. [kg]"""
        return None if self.final is None else self.final.empty.mass - self.now.mass

    def known(self) -> dict[str, tuple[int, float]]:
        """How many items are weighed, predicted and listed, and the sum of their masses without sign. [kg]"""
        found = {}
        for how in ("weighed", "predicted", "listed"):
            own = [item.mass for item in self.items if item.how == how]
            found[how] = (len(own), math.fsum(own))
        return found

    def pending(self) -> list[Row]:
        """Rows on which the file and the ledger differ."""
        return [row for row in self.rows if row.standing != "entered"]


def running(start: Balance, items: Iterable[Item]) -> Balance:
    """The balance after items, in whatever order.

    Args:
        start: Before. [kg, kg m]
        items: What came out, went in and moved.

    Returns:
        After. [kg, kg m]
    """
    listed = list(items)
    return Balance(
        math.fsum([start.mass, *(item.change for item in listed)]),
        math.fsum([start.moment, *(item.moment for item in listed)]),
    )


def mass_causes(items: Iterable[Item]) -> list[tuple[str, float]]:
    """What makes the running weight stray. [kg]"""
    signs = {"removed": -1.0, "added": 1.0, "moved": 0.0}
    return [(name, signs[item.action] * value) for item in items for name, value in item.causes]


def cg_causes(items: Iterable[Item], empty: Balance, load: Balance) -> list[tuple[str, float]]:
    """What makes the centre of gravity of the loaded aircraft stray, to first order.

    Args:
        items: Of the ledger.
        empty: [kg, kg m]
        load: What is aboard, taken as certain. [kg, kg m]

    Returns:
        Causes. [m]
    """
    mass = empty.mass + load.mass
    cg = (empty.moment + load.moment) / mass
    signs = {"removed": -1.0, "added": 1.0, "moved": 0.0}
    return [
        (name, value * (item.lever - cg * signs[item.action]) / mass) for item in items for name, value in item.causes
    ]


def read_ledger(job: RefitJob, store: Store | None, as_of: int | str | None = None) -> Ledger:
    """The ledger as it stands, or as it stood.

    Args:
        job: The refit file, read.
        store: The shop's record; None where there is none yet.
        as_of: An entry's number or a time; then only what was entered by then counts.

    Returns:
        The ledger. Without `as_of`, what the file says and the ledger does not is in it and is marked.

    Raises:
        LayupError: There was no ledger of this refit at that moment, or there is no such entry yet.
    """
    reached(store, as_of)
    kept = _kept(store, job.refit.title, as_of)
    if as_of is not None:
        if kept.start is None:
            by = f"entry {as_of}" if isinstance(as_of, int) else as_of
            raise LayupError(
                f'nothing of "{job.refit.title}" was entered by {by}. `layup ledger history` lists the entries'
            )
        return Ledger(job.refit.title, kept.start, kept.final, tuple(kept.rows.values()), str(as_of))
    rows = dict(kept.rows)
    for item in job.items:
        row = kept.rows.get(item.key)
        if row is None:
            rows[item.key] = Row(item, "not entered")
        elif _differs(item, row, kept.filed.get(item.key)):
            rows[item.key] = replace(row, item=item, standing="changed in the file")
    named = {item.key for item in job.items}
    for key, row in kept.rows.items():
        if key not in named:
            rows[key] = replace(row, standing="no longer in the file")
    order = {item.key: place for place, item in enumerate(job.items)}
    listed = sorted(rows.values(), key=lambda row: order.get(row.item.key, len(order)))
    pairs = (("first weighing", kept.start, job.start), ("final weighing", kept.final, job.final))
    differs = tuple(
        what
        for what, ours, theirs in pairs
        if ours is not None and (theirs is None or _weighing_print(ours) != _weighing_print(theirs))
    )
    return Ledger(job.refit.title, job.start, job.final, tuple(listed), differs=differs)


def enter(job: RefitJob, store: Store, why: str = "") -> list[Entry]:
    """Enter what the file says and the ledger does not, in one transaction.

    Args:
        job: The refit file, read.
        store: The shop's record.
        why: Said with every correction.

    Returns:
        The new entries; none where the two agree.

    Raises:
        StoreError: Nothing was written.
    """
    title = job.refit.title
    with store.writing():
        kept = _kept(store, title, None)
        things: list[tuple[str, Mapping[str, object], str | None]] = []
        if kept.start is None or _weighing_print(kept.start) != _weighing_print(job.start):
            things.append((KIND, {"refit": title, "does": "start", "weighing": asdict(job.start), "why": why}, None))
        if job.final is not None and (kept.final is None or _weighing_print(kept.final) != _weighing_print(job.final)):
            things.append((KIND, {"refit": title, "does": "final", "weighing": asdict(job.final), "why": why}, None))
        for item in job.items:
            row = kept.rows.get(item.key)
            if row is None or _differs(item, row, kept.filed.get(item.key)):
                things.append((KIND, _item_payload(title, item, item, row, why), None))
        named = {item.key for item in job.items}
        for key, row in kept.rows.items():
            if key not in named:
                gone = {"refit": title, "does": "withdrawn", "action": key[0], "name": key[1], "corrects": row.number}
                things.append((KIND, {**gone, "why": why}, None))
        return store.append_all(things) if things else []


def weigh(
    job: RefitJob,
    store: Store,
    name: str,
    mass: float,
    text: str,
    *,
    action: str | None = None,
    by: str = "",
    method: str = "",
    date: str = "",
    why: str = "",
) -> Entry:
    """Note what the scale says of one item; it takes the place of the prediction or the list.

    Args:
        job: The refit file, read.
        store: The shop's record.
        name: Of the item.
        mass: On the scale. [kg]
        text: The mass as it was said.
        action: "removed", "added" or "moved", where the name is in more than one list.
        by: Who weighed.
        method: On what.
        date: Year-month-day.
        why: Anything to add.

    Raises:
        LayupError: There is no such item, or more than one, or the weight is not above nothing, or more than the
            whole aircraft's.
    """
    if not mass > 0.0:
        raise LayupError(f"a scale does not show {text}: write what it shows, without a sign")
    ledger = read_ledger(job, store)
    row = row_of(ledger, name, action)
    if row.item.action != "added" and mass >= ledger.start.empty.mass:
        raise LayupError(
            f"{text} is more than the empty aircraft weighs, {mass_both(ledger.start.empty.mass, 'both')}. "
            "Nothing was entered: write the weight with its right unit"
        )
    item = replace(row.item, mass=mass, how="weighed", causes=(), mass_text=text, by=by or row.item.by,
                   method=method or row.item.method, date=date or row.item.date)  # fmt: skip
    filed = next((i for i in job.items if i.key == row.item.key), row.item)
    return store.append(KIND, _item_payload(ledger.title, item, filed, row, why))


def row_of(ledger: Ledger, name: str, action: str | None = None) -> Row:
    """The one row of an item.

    Args:
        ledger: As it stands.
        name: Of the item, in capitals or not.
        action: "removed", "added" or "moved", where the name is in more than one list.

    Raises:
        LayupError: There is none, or more than one.
    """
    rows = [r for r in ledger.rows if r.item.name.casefold() == name.casefold() and action in (None, r.item.action)]
    if not rows:
        hint = nearest(name, [row.item.name for row in ledger.rows])
        raise LayupError(f'"{name}" is not in this ledger. {hint or "Add it to the refit file first."}')
    if len(rows) > 1:
        lists = " and ".join(row.item.action for row in rows)
        raise LayupError(f'"{name}" is among {lists}: say which, for example --which {rows[0].item.action}')
    return rows[0]


def reached(store: Store | None, as_of: int | str | None) -> None:
    """Refuse the number of an entry that is still to come.

    Args:
        store: The shop's record.
        as_of: An entry's number, or a time, which always is taken.

    Raises:
        LayupError: There is no such entry yet.
    """
    if not isinstance(as_of, int):
        return
    last = store.query("SELECT MAX(number) FROM entries")[0][0] or 0 if store is not None else 0
    if as_of > last:
        raise LayupError(
            f"there is no entry {as_of}: the last in the record is {last}. `layup ledger history` lists them"
        )


def on_the_scale(job: RefitJob, store: Store | None, ledger: Ledger) -> dict[tuple[str, str], WeighIn]:
    """Predicted new parts that the shop has weighed since, with the last weigh-in of each finished one.

    Returns:
        Weigh-ins by the item's key.
    """
    from layup.learn.weighins import weigh_ins

    last = {w.part: w for w in weigh_ins(store) if w.stage == "finished" and w.coupon is None} if store else {}
    found = {}
    for item in ledger.items:
        prediction = job.predictions.get(item.part_file)
        if item.action == "added" and item.how == "predicted" and prediction is not None and prediction.title in last:
            found[item.key] = last[prediction.title]
    return found


def history(store: Store | None, title: str, as_of: int | str | None = None) -> list[Entry]:
    """Every entry of a refit that stands, in the order of noting."""
    if store is None:
        return []
    return [entry for entry in store.entries(KIND, as_of) if entry.payload.get("refit") == title]


def all_entries(store: Store | None, title: str) -> list[tuple[Entry, int | None]]:
    """Every entry of a refit, the newest first; beside one that was taken back, the number of the entry that did it."""
    if store is None:
        return []
    undone = {str(undo.payload["entry"]): undo.number for undo in store.entries(UNDO)}
    numbers = store.query("SELECT number FROM entries WHERE kind = ? ORDER BY number DESC", (KIND,))
    found = (store.entry(int(row[0])) for row in numbers)
    return [(entry, undone.get(entry.key)) for entry in found if entry.payload.get("refit") == title]


def fingerprint(item: Item) -> str:
    """What the file itself says of an item; what a prediction makes of it is not in it."""
    numbers = [None if item.how == "predicted" else item.mass]
    if item.arm_text:
        numbers += [item.arm, item.arm_to, item.side, item.height]
    rounded = ["" if value is None else f"{value:.6f}" for value in numbers]
    words = [item.action, item.name, item.how, item.mass_text, item.arm_text, item.date, item.by, item.method,
             item.note, item.part_file]  # fmt: skip
    return "\x1f".join([*words, *rounded])


def _differs(item: Item, row: Row, filed: Item | None) -> bool:
    """Whether the file says something else of an item than the ledger.

    Where the scale has taken a prediction's place, a prediction that has changed since displaces nothing.
    """
    if filed is None or fingerprint(filed) != fingerprint(item):
        return True
    if item.how != "predicted" or row.item.how != "predicted":
        return False
    return abs(item.mass - row.item.mass) > SAME_MASS or abs(item.arm - row.item.arm) > SAME_ARM


@dataclass
class _Kept:
    """What the record holds of one refit."""

    start: Weighing | None
    final: Weighing | None
    rows: dict[tuple[str, str], Row]
    filed: dict[tuple[str, str], Item]


def _kept(store: Store | None, title: str, as_of: int | str | None) -> _Kept:
    return fold(history(store, title, as_of))


def fold(entries: Sequence[Entry]) -> _Kept:
    """Add entries up: of several about one item the last counts."""
    kept = _Kept(None, None, {}, {})
    for entry in entries:
        load = entry.payload
        does = load.get("does")
        if does in ("start", "final"):
            setattr(kept, does, _weighing(load["weighing"]))
        elif does == "item":
            item = from_payload(load["item"])
            kept.rows[item.key] = Row(
                item, "entered", entry.number, entry.at, load.get("corrects"), load.get("why", "")
            )
            kept.filed[item.key] = from_payload(load["filed"]) if "filed" in load else item
        elif does == "withdrawn":
            kept.rows.pop((load["action"], load["name"]), None)
            kept.filed.pop((load["action"], load["name"]), None)
    return kept


def _item_payload(title: str, item: Item, filed: Item, row: Row | None, why: str) -> dict[str, object]:
    """An item with what the file said of it then, where that is something else."""
    number = row.number if row else None
    found: dict[str, object] = {"refit": title, "does": "item", "item": item.payload(), "corrects": number, "why": why}
    if filed is not item:
        found["filed"] = filed.payload()
    return {key: value for key, value in found.items() if value not in (None, "")}


def _weighing(payload: Payload) -> Weighing:
    lines = tuple(Line(**line) for line in payload["lines"])
    return Weighing(
        lines,
        balance((line.mass, line.arm) for line in lines),
        payload["date"],
        payload["by"],
        payload["method"],
        payload["record"],
    )


def _weighing_print(weighing: Weighing) -> str:
    lines = [f"{y.name} {y.mass:.6f} {y.arm:.6f} {y.mass_text} {y.arm_text} {y.note}" for y in weighing.lines]
    return "\n".join([*lines, weighing.date, weighing.by, weighing.method, weighing.record])
