"""From the weigh-ins to the shop's habits, which the next prediction uses.

- What do the weigh-ins say?           `calibrate(store)`, then `.habits` for `layup.predict(part, habits=...)`
- Leave out what was before:           `forget(store, process)`
- Use one lot of material only:        `use_lot(store, "A-117")`
- Begin with what another shop knows:  `start_from(store, other)`

Each of these is an entry in the record and can be undone. The model is `layup.learn.posterior`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from layup.errors import LayupError, nearest
from layup.laminate.process import Habit
from layup.learn.folder import shop_folder as shop_folder
from layup.learn.posterior import (
    FABRIC_SHARE,
    FORM_SHARE,
    ROOT_SHARE,
    Belief,
    Floats,
    Learnt,
    Parts,
    Start,
    chance_good,
    learn,
)
from layup.learn.store import Entry, Store, find_store, open_store
from layup.learn.weighins import TABLE

SETTING = "habit-setting"
OTHER_SHOP = 0.5
"""Share of the published spread between shops that is left between a shop and the one it starts from. The project's
choice; no source."""
_PREFERRED = {"trimmed": 0, "demoulded": 1, "finished": 2}


@dataclass(frozen=True)
class Group:
    """The weighed parts of one fabric in one process: one element of every array is one piece.

    Attributes:
        process: Root of the habit.
        form: Of the reinforcement.
        fabric: Its name.
        numbers: Of the weigh-ins that count for the pieces.
        at: When they were noted.
        pieces: Title and name of each piece.
        stages: At which stage each was weighed.
        weighed: [kg]
        expected: By published figures. [kg]
        expected_now: With the habits learnt from all of them. [kg]
        parts: As the model takes them.
        good: Chance that each entry is not a wrong one. [-]
        counted: How much each counted, against a part whose resin is known exactly. [-]
        shop_spread: Published. [-]
    """

    process: str
    form: str
    fabric: str
    numbers: tuple[int, ...]
    at: tuple[str, ...]
    pieces: tuple[tuple[str, str], ...]
    stages: tuple[str, ...]
    weighed: Floats = field(repr=False)
    expected: Floats = field(repr=False)
    expected_now: Floats = field(repr=False)
    parts: Parts = field(repr=False)
    good: Floats = field(repr=False)
    counted: Floats = field(repr=False)
    shop_spread: float

    @property
    def outliers(self) -> tuple[int, ...]:
        """Places of the entries that are more likely wrong than not."""
        return tuple(int(i) for i in np.flatnonzero(self.good < 0.5))

    @property
    def scatter(self) -> float:
        """How much the parts differ from each other, over what the published spreads allow; 1 is as published. [-]"""
        right = self.good >= 0.5
        count = int(np.count_nonzero(right))
        if count < 2:
            return 1.0
        logs = self.parts.log[right]
        variance = self.parts.part_spread[right] ** 2 + (self.parts.noise[right] / self.parts.factor[right]) ** 2
        weight = 1.0 / variance
        off = logs - float(weight @ logs) / float(weight.sum())
        return math.sqrt(float(np.sum(weight * off**2)) / (count - 1))

    @property
    def unruly(self) -> bool:
        """Whether they differ so much more that the interval is too narrow for this shop; chance does so 1 in 100."""
        count = int(np.count_nonzero(self.good >= 0.5))
        return count >= 5 and self.scatter**2 > 1 + 2.6 * math.sqrt(2 / (count - 1))


@dataclass(frozen=True, slots=True)
class Drift:
    """Whether a habit moves with time.

    Attributes:
        per_part: Change of ln take-up from one part to the next. [-]
        error: Its standard error. [-]
        parts: How many.
    """

    per_part: float
    error: float
    parts: int

    @property
    def real(self) -> bool:
        """Whether chance alone would show it less than once in a hundred shops."""
        return self.parts >= 6 and abs(self.per_part) > 2.8 * self.error


@dataclass(frozen=True)
class Settings:
    """What the shop has told the calibration.

    Attributes:
        forgotten: By process ("" for all): weigh-ins up to this number are left out.
        lot: Only weigh-ins of this lot; None for all.
        starts: By process and form: another shop's likelihood, how many parts it rests on, and where it is from.
    """

    forgotten: dict[str, int]
    lot: str | None
    starts: dict[tuple[str, str], tuple[Start, int, str]]


@dataclass(frozen=True)
class Calibration:
    """The shop's habits and what they rest on.

    Attributes:
        habits: For `layup.predict`.
        groups: The weighed parts.
        beliefs: By process: what was learnt at every level.
        settings: What the shop has told it.
    """

    habits: dict[tuple[str, ...], Habit]
    groups: tuple[Group, ...]
    beliefs: dict[str, Learnt] = field(repr=False)
    settings: Settings

    def __repr__(self) -> str:
        parts = sum(len(group.numbers) for group in self.groups)
        return f"Calibration({len(self.habits)} habits from {parts} weighed parts)"


_COLUMNS = (
    "number, at, part, piece, stage, mass, process, form, fabric, rest, resin, rest_spread, shop_spread, part_spread, "
    "cloth_spread"
)


def calibrate(store: Store) -> Calibration:
    """Learn the shop's habits from its weigh-ins.

    Args:
        store: The shop's record.

    Returns:
        The habits; empty without weigh-ins and without a start from elsewhere.
    """
    settings = read_settings(store)
    clause, values = "stands = 1 AND process IS NOT NULL", []
    if settings.lot is not None:
        clause, values = clause + " AND lot = ?", [settings.lot]
    rows = store.query(f"SELECT {_COLUMNS} FROM {TABLE} WHERE {clause} ORDER BY number", values)
    forgotten = settings.forgotten
    every = forgotten.get("", 0)
    chosen: dict[tuple[str, str], tuple[Any, ...]] = {}
    for row in rows:
        if row[0] <= every or row[0] <= forgotten.get(row[6].split(",")[0], 0):
            continue
        piece = (row[2], row[3])
        held = chosen.get(piece)
        if held is None or _PREFERRED[row[4]] <= _PREFERRED[str(held[4])]:
            chosen[piece] = row
    return learn_rows(chosen.values(), settings)


def learn_rows(rows: Iterable[tuple[Any, ...]], settings: Settings) -> Calibration:
    """Learn from weighed pieces, each as a row of the index table in the order of `_COLUMNS`."""
    groups: dict[tuple[str, str, str], list[tuple[Any, ...]]] = {}
    for row in sorted(rows, key=lambda row: int(row[0])):
        groups.setdefault((str(row[6]), str(row[7]), str(row[8])), []).append(row)
    habits: dict[tuple[str, ...], Habit] = {}
    found: list[Group] = []
    beliefs: dict[str, Learnt] = {}
    numbers = {key: np.array([row[5:6] + row[9:] for row in rows], dtype=np.float64) for key, rows in groups.items()}
    roots = dict.fromkeys([*(key[0] for key in groups), *(root for root, _ in settings.starts)])
    for root in roots:
        ours = {key: _parts(table) for key, table in numbers.items() if key[0] == root}
        starts = {form: start for (of, form), (start, _, _) in settings.starts.items() if of == root}
        spread = max((float(numbers[key][-1, 4]) for key in ours), default=0.0)
        spread = spread or _spread_of(root)
        learnt = learn({key[1:]: parts for key, parts in ours.items()}, spread, starts)
        beliefs[root] = learnt
        here = [_group(key, groups[key], numbers[key], parts, learnt, spread) for key, parts in ours.items()]
        found += here
        counts = {form: n for (of, form), (_, n, _) in settings.starts.items() if of == root}
        habits |= _habits(root, learnt, here, spread, counts)
    return Calibration(habits, tuple(found), beliefs, settings)


def _parts(table: Floats) -> Parts:
    mass, rest, resin, rest_spread, _, part_spread, cloth = table.T
    return Parts((mass - rest) / resin, rest_spread / resin, part_spread, float(np.mean(cloth)))


def _habits(
    root: str, learnt: Learnt, ours: list[Group], spread: float, counts: dict[str, int]
) -> dict[tuple[str, ...], Habit]:
    def habit(of: tuple[str, ...], belief: Belief, share: float, parts: int) -> Habit:
        variance = belief.variance + share * spread**2
        return Habit(of, belief.log_mean_factor, math.sqrt(variance), spread, parts)

    def count(start: tuple[str, ...]) -> int:
        return sum(
            len(group.numbers) - len(group.outliers)
            for group in ours
            if (group.process, group.form, group.fabric)[: len(start)] == start
        )

    found: dict[tuple[str, ...], Habit] = {}
    of: tuple[str, ...] = (root,)
    found[of] = habit(of, learnt.root, FORM_SHARE + FABRIC_SHARE, count(of) + sum(counts.values()))
    for form, belief in learnt.forms.items():
        of = (root, form)
        found[of] = habit(of, belief, FABRIC_SHARE, count(of) + counts.get(form, 0))
    for (form, fabric), belief in learnt.fabrics.items():
        of = (root, form, fabric)
        found[of] = habit(of, belief, 0.0, count(of))
    return found


def _group(
    key: tuple[str, str, str],
    rows: list[tuple[Any, ...]],
    table: Floats,
    parts: Parts,
    learnt: Learnt,
    spread: float,
) -> Group:
    belief = learnt.fabrics[key[1], key[2]]
    good = chance_good(belief, parts)
    variance = parts.part_spread**2 + (parts.noise * math.exp(-belief.mean)) ** 2
    counted = good * parts.part_spread**2 / variance
    mass, rest, resin = table[:, 0], table[:, 1], table[:, 2]
    return Group(
        *key,
        numbers=tuple(int(str(row[0])) for row in rows),
        at=tuple(str(row[1]) for row in rows),
        pieces=tuple((str(row[2]), str(row[3])) for row in rows),
        stages=tuple(str(row[4]) for row in rows),
        weighed=mass,
        expected=rest + resin,
        expected_now=rest + resin * math.exp(belief.log_mean_factor),
        parts=parts,
        good=good,
        counted=counted,
        shop_spread=spread,
    )


def _spread_of(root: str) -> float:
    """Published spread of a process that only another shop has weighed."""
    from layup.laminate.process import AS_BOUGHT
    from layup.materials import load_library

    process = load_library().get("process", root.removesuffix(AS_BOUGHT))
    bought = process.optional("spread_as_bought") if root.endswith(AS_BOUGHT) else None
    return (bought or process.figure("spread_between_shops")).value


def drift(group: Group) -> Drift | None:
    """The habit's change from part to part, entries weighed by how much they counted; None with less than four."""
    if len(group.numbers) < 4:
        return None
    x = np.arange(len(group.numbers), dtype=np.float64)
    weight = group.counted
    total = float(weight.sum())
    if total <= 0:
        return None
    x = x - float(weight @ x) / total
    y = group.parts.log
    y = y - float(weight @ y) / total
    over = float(weight @ (x * x))
    slope = float(weight @ (x * y)) / over
    rest = y - slope * x
    kept = float(np.sum(group.good))
    scatter = float(weight @ (rest * rest)) / total * kept / max(kept - 2, 1.0)
    usual = float(weight @ (group.parts.part_spread**2 + group.parts.noise**2)) / total
    error = math.sqrt(max(scatter, 0.5 * usual) * float(np.sum(weight**2 * x * x))) / over
    return Drift(slope, error, len(group.numbers))


def as_json(calibration: Calibration) -> dict[str, Any]:
    """The habits and what they rest on as scripts get them; SI units."""
    return {
        "habits": [
            {
                "of": list(habit.of),
                "weighed_parts": habit.parts,
                "resin_factor": math.exp(habit.shift),
                "spread": habit.spread,
                "published_spread": habit.published_spread,
            }
            for habit in calibration.habits.values()
        ],
        "weigh_ins": [
            {
                "entry": group.numbers[i],
                "at": group.at[i],
                "part": group.pieces[i][0],
                "piece": group.pieces[i][1],
                "process": group.process,
                "fabric": group.fabric,
                "mass_kg": float(group.weighed[i]),
                "published_kg": float(group.expected[i]),
                "resin_factor": float(group.parts.factor[i]),
                "chance_right": float(group.good[i]),
                "counted": float(group.counted[i]),
            }
            for group in calibration.groups
            for i in range(len(group.numbers))
        ],
        "lot": calibration.settings.lot,
    }


def read_settings(store: Store) -> Settings:
    """What the shop has told the calibration, the last word on each thing counting."""
    forgotten: dict[str, int] = {}
    lot: str | None = None
    starts: dict[tuple[str, str], tuple[Start, int, str]] = {}
    for entry in store.entries(SETTING):
        told = entry.payload
        if "forget" in told:
            process = str(told["forget"])
            forgotten[process] = entry.number
            for root, form in [key for key in starts if process in ("", key[0].split(",")[0])]:
                del starts[root, form]
        if "lot" in told:
            lot = told["lot"]
        for row in told.get("start", []):
            start = Start(row["mean"], row["spread"])
            starts[row["process"], row["form"]] = (start, row["parts"], told["from"])
    return Settings(forgotten, lot, starts)


def forget(store: Store, process: str = "") -> Entry:
    """Leave out, from here on, every weigh-in noted so far, of one process or of all; none is deleted.

    Args:
        store: The shop's record.
        process: Its name; all if left out.

    Returns:
        The entry; undo it, and they count again.

    Raises:
        LayupError: Nothing of this process has been weighed.
    """
    if process:
        rows = store.query(f"SELECT DISTINCT process FROM {TABLE} WHERE process IS NOT NULL")
        known = dict.fromkeys(str(row[0]).split(",")[0] for row in rows)
        if process not in known:
            hint = nearest(process, known) or f"Weighed so far: {', '.join(known) or 'nothing'}."
            raise LayupError(f'nothing made by "{process}" has been weighed. {hint}')
    return store.append(SETTING, {"forget": process})


def use_lot(store: Store, lot: str | None) -> Entry:
    """Learn only from weigh-ins of one lot of material; None for all again.

    Raises:
        LayupError: No weigh-in has this lot.
    """
    if lot is not None:
        known = [str(row[0]) for row in store.query(f"SELECT DISTINCT lot FROM {TABLE} WHERE stands = 1 AND lot <> ''")]
        if lot not in known:
            listed = ", ".join(f'"{name}"' for name in known) or "none yet: weigh with --lot"
            raise LayupError(f'no weigh-in has the lot "{lot}". Lots: {listed}')
    return store.append(SETTING, {"lot": lot})


def start_from(store: Store, other: str | Path) -> Entry:
    """Begin with what another shop has learnt, loosened by half the published spread between shops.

    Args:
        store: The shop's record.
        other: The other shop's folder, or its record, or its export as JSON or CSV.

    Returns:
        The entry.

    Raises:
        LayupError: There is no record, or it holds no weigh-in that teaches.
    """
    path = Path(other)
    theirs = _calibration_of(path)
    rows = []
    for root, learnt in theirs.beliefs.items():
        spread = next(habit.published_spread for habit in theirs.habits.values() if habit.of[0] == root)
        prior = (ROOT_SHARE + FORM_SHARE) * spread**2
        for form, belief in learnt.forms.items():
            habit = theirs.habits[root, form]
            precision = 1.0 / belief.variance - 1.0 / prior
            if precision <= 0 or habit.parts == 0:
                continue
            mean = (belief.mean / belief.variance - (-0.5 * prior) / prior) / precision
            loose = math.sqrt(1.0 / precision + (OTHER_SHOP * spread) ** 2)
            rows.append({"process": root, "form": form, "mean": mean, "spread": loose, "parts": habit.parts})
    if not rows:
        raise LayupError(f'"{path}" holds no weigh-in that says how much resin was left')
    return store.append(SETTING, {"start": rows, "from": path.name})


def _calibration_of(path: Path) -> Calibration:
    """What another shop's record, or its export, says; the other file is copied, never written to."""
    import shutil
    import tempfile

    from layup.learn.exchange import read_export
    from layup.learn.store import FILE

    with tempfile.TemporaryDirectory() as scratch:
        if path.is_dir():
            path = path / FILE
        if not path.is_file():
            raise LayupError(f'there is no record "{path}". Name a shop\'s folder, its {FILE}, or its export')
        if path.suffix in (".json", ".csv"):
            store = open_store(scratch)
            read_export(store, path)
        else:
            for name in (path.name, f"{path.name}-wal"):
                if path.with_name(name).is_file():
                    shutil.copy(path.with_name(name), Path(scratch) / name.replace(path.name, FILE))
            store = open_store(scratch)
        with store:
            return calibrate(store)


def habits_near(part: str | Path, shop: str | Path | None = None) -> dict[tuple[str, ...], Habit]:
    """The habits of the shop whose record lies in this folder, or else in the nearest one above the part file.

    Args:
        part: Path of the part file.
        shop: The shop's folder, where it is not above the part file.

    Returns:
        The habits; empty where there is no record. Nothing is made.
    """
    folder = Path(shop) if shop is not None else shop_folder(part)
    store = find_store(folder) if folder is not None else None
    if store is None:
        return {}
    with store:
        return calibrate(store).habits
