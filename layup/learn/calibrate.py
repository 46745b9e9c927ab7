"""From the weigh-ins to the shop's habits, which the next prediction uses.

- What do the weigh-ins say?           `calibrate(store)`, then `.habits` for `layup.predict(part, habits=...)`
- Leave out what was before:           `forget(store, process)`
- Use one lot of material only:        `use_lot(store, "A-117")`
- Begin with what another shop knows:  `start_from(store, other)`

Each of these is an entry in the record and can be undone. The model is `layup.learn.posterior`.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError, nearest
from layup.laminate.allowances import CLOTH_OF_SHOP
from layup.laminate.process import AS_BOUGHT, Habit, area_key
from layup.learn.folder import shop_folder as shop_folder
from layup.learn.posterior import FABRIC_SHARE, FORM_SHARE, ROOT_SHARE, Face, Floats, Learnt, Piece, Resin, Start, learn
from layup.learn.schema import Payload, Row
from layup.learn.store import Entry, Store, find_store, open_store
from layup.learn.weighins import TABLE
from layup.materials import Library

SETTING = "habit-setting"
OTHER_SHOP = 0.5
"""Share of the published spread between shops that is left between a shop and the one it starts from. The project's
choice; no source."""
_PREFERRED = {"trimmed": 0, "demoulded": 1, "finished": 2}


LEAST = 0.02
"""Least factor that the logarithm is taken of. [-]"""


@dataclass(frozen=True)
class Parts:
    """What weighed parts of one fabric show if only the resin of their plies differs, each an element of every array.

    Attributes:
        factor: (weighed - rest) / resin, the factor on the published take-up. [-]
        noise: Spread of all else over the resin. [-]
        part_spread: Published, of ln take-up between parts of one shop. [-]
    """

    factor: Floats
    noise: Floats
    part_spread: Floats

    @property
    def log(self) -> Floats:
        """Natural logarithm of the factor, kept finite."""
        return np.log(np.maximum(self.factor, LEAST))


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
        learnt: The joint posterior behind them.
        settings: What the shop has told it.
        changed: When the shop's hand changed, of the first part after it; "" where it has not.
        rebased: Fabrics whose areal weight in the tables is another than when parts of them were weighed: name, then
            and now. [kg/m^2]
    """

    habits: dict[tuple[str, ...], Habit]
    groups: tuple[Group, ...]
    learnt: Learnt = field(repr=False)
    settings: Settings
    changed: str = ""
    rebased: tuple[tuple[str, float, float], ...] = ()

    def __repr__(self) -> str:
        parts = sum(len(group.numbers) for group in self.groups)
        return f"Calibration({len(self.habits)} habits from {parts} weighed parts)"


_COLUMNS = (
    "number, at, part, piece, stage, mass, process, form, fabric, rest, resin, rest_spread, shop_spread, part_spread, "
    "cloth_spread, terms"
)


def calibrate(store: Store, library: Library | None = None, alone: bool = False) -> Calibration:
    """Learn the shop's habits from its weigh-ins.

    Args:
        store: The shop's record.
        library: The tables of today: where they give a cloth another weight than when a part of it was weighed, that
            part is taken as if it had been predicted with today's. As then, if left out.
        alone: Whether a start from elsewhere is left out.

    Returns:
        The habits; empty without weigh-ins and without a start from elsewhere.
    """
    settings = read_settings(store)
    if alone:
        settings = replace(settings, starts={})
    clause, values = "stands = 1 AND process IS NOT NULL", []
    if settings.lot is not None:
        clause, values = clause + " AND lot = ?", [settings.lot]
    rows = store.query(f"SELECT {_COLUMNS} FROM {TABLE} WHERE {clause} ORDER BY number", values)
    forgotten = settings.forgotten
    every = forgotten.get("", 0)
    chosen: dict[tuple[str, str], Row] = {}
    for row in rows:
        if row[0] <= every or row[0] <= forgotten.get(str(row[6]).removesuffix(AS_BOUGHT), 0):
            continue
        piece = (row[2], row[3])
        held = chosen.get(piece)
        if held is None or _PREFERRED[row[4]] <= _PREFERRED[str(held[4])]:
            chosen[piece] = row
    dry = store.query(f"SELECT part, piece, mass FROM {TABLE} WHERE stands = 1 AND stage = 'dry-cloth' ORDER BY number")
    return learn_rows(chosen.values(), settings, library, {(row[0], row[1]): float(row[2]) for row in dry})


def learn_rows(
    rows: Iterable[Row],
    settings: Settings,
    library: Library | None = None,
    dry: Mapping[tuple[str, str], float] | None = None,
) -> Calibration:
    """Learn from weighed pieces, each as a row of the index table in the order of `_COLUMNS`.

    Args:
        rows: The pieces.
        settings: What the shop has told it.
        library: The tables of today.
        dry: By part and piece: what its cloth weighed dry. [kg]
    """
    listed = sorted(rows, key=lambda row: int(row[0]))
    pieces, rebased = [], {}
    for row in listed:
        weighed = (dry or {}).get((str(row[2]), str(row[3])))
        if weighed is not None and row[15] and json.loads(row[15]).get("dry"):
            piece = _weighed_dry(_piece(row), json.loads(row[15]), weighed)
            moved: list[tuple[str, float, float]] = []
        else:
            piece, moved = _rebased(_piece(row), row[15], library)
        pieces.append(piece)
        rebased.update({name: (name, then, now) for name, then, now in moved})
    starts: dict[tuple[str, ...], tuple[Start, float]] = {
        key: (start, _spread_of(key[0])) for key, (start, _, _) in settings.starts.items()
    }
    learnt = learn(pieces, starts)
    places: dict[tuple[str, str, str], list[int]] = {}
    for number, row in enumerate(listed):
        places.setdefault((str(row[6]), str(row[7]), str(row[8])), []).append(number)
    groups = tuple(
        _group(key, [listed[n] for n in at], [pieces[n] for n in at], learnt, np.array(at))
        for key, at in places.items()
    )
    counts = {key: n for key, (_, n, _) in settings.starts.items()}
    changed = ""
    if learnt.step is not None:
        changed = next(str(row[1]) for row in listed if int(row[0]) >= learnt.step.number)
    return Calibration(
        _habits(learnt, pieces, counts, settings, rebased), groups, learnt, settings, changed, tuple(rebased.values())
    )


def _piece(row: Row) -> Piece:
    number, title, mass = int(row[0]), str(row[2]), float(row[5])
    process, form, fabric = (str(row[n]) for n in (6, 7, 8))
    rest, resin, rest_spread, shop, part, cloth = (float(row[n]) for n in range(9, 15))
    told = json.loads(row[15]) if row[15] else None
    if told is None:  # noted before the terms were kept: all but the main cloth's resin is noise
        one = Resin(process, form, fabric, resin, shop, cloth)
        return Piece(
            number=number, title=title, mass=mass, rest=rest, resins=(one,), faces=(), part_spread=part, own=rest_spread
        )
    resins = tuple(Resin(*entry) for entry in told["resins"])
    lot = math.sqrt((1 - CLOTH_OF_SHOP) / CLOTH_OF_SHOP) if "lots" in told else 0.0
    resins = tuple(replace(resin, lot_spread=lot * resin.cloth_spread) for resin in resins)
    own = math.sqrt(max(told["own"] ** 2 - told.get("lots", 0.0) ** 2, 0.0))
    faces = tuple(Face(tuple(key), kg, spread) for key, kg, spread in told["faces"])
    rest = rest + resin - sum(r.mass for r in resins) - sum(f.mass for f in faces)
    if "surface" in told:  # drawn anew, its area errs anew
        title = "\n".join(area_key(title, told["surface"])[1:])
    return Piece(
        number=number,
        title=title,
        mass=mass,
        rest=rest,
        resins=resins,
        faces=faces,
        part_spread=told["part_spread"],
        own=own,
        area=told["area"],
    )


def _rebased(piece: Piece, terms: str | None, library: Library | None) -> tuple[Piece, list[tuple[str, float, float]]]:
    """A piece as it would be expected with the cloth weights of today's tables, and what has changed."""
    cloth = json.loads(terms).get("cloth", {}) if terms else {}
    moved = []
    rest, resins = piece.rest, {r.fabric: r for r in piece.resins}
    for name, (fibre, then) in cloth.items():
        material = library.find("fabric", name) if library is not None else None
        now = material.figure("areal_weight").value if material is not None else then
        if abs(now / then - 1) > 1e-6:
            moved.append((name, then, now))
            rest += fibre * (now / then - 1)
            resins[name] = replace(resins[name], mass=resins[name].mass * now / then)
    if not moved:
        return piece, []
    return replace(piece, rest=rest, resins=tuple(resins[r.fabric] for r in piece.resins)), moved


def _weighed_dry(piece: Piece, terms: Payload, dry: float) -> Piece:
    """A piece whose cloth was weighed before it was laid: its tolerance and its lot are no longer open."""
    times = dry / terms["dry"]
    fibre = sum(held for held, _ in terms["cloth"].values())
    resins = tuple(replace(r, mass=r.mass * times, cloth_spread=0.0, lot_spread=0.0) for r in piece.resins)
    return replace(piece, rest=piece.rest + fibre * (times - 1), resins=resins)


def _habits(
    learnt: Learnt,
    pieces: list[Piece],
    counts: dict[tuple[str, str], int],
    settings: Settings,
    rebased: dict[str, tuple[str, float, float]],
) -> dict[tuple[str, ...], Habit]:
    shops: dict[str, float] = {root: _spread_of(root) for root, _ in settings.starts}
    shops.update({r.root: r.shop_spread for piece in pieces for r in piece.resins})
    base = {r.root: piece for piece in pieces for r in piece.resins}

    def count(of: tuple[str, ...]) -> int:
        told = sum(n for key, n in counts.items() if of == key[: len(of)])
        return told + sum(
            any(r.keys[len(of) - 1] == of for r in piece.resins)
            for piece, good in zip(pieces, learnt.good, strict=True)
            if good >= 0.5
        )

    found: dict[tuple[str, ...], Habit] = {}
    for key in learnt.keys:
        if key[0] in ("film", "bond", "lot", "step"):
            continue
        shop = shops[key[0]]
        chain = [key[:n] for n in range(1, len(key) + 1)]
        mean, spread, loads = learnt.of(*chain, ("step", key[0]))
        open_ = {1: FORM_SHARE + FABRIC_SHARE, 2: FABRIC_SHARE, 3: 0.0}[len(key)] * shop**2
        part = base[key[0]].part_spread * learnt.scatter if key[0] in base else None
        found[key] = Habit(
            of=key,
            shift=mean + 0.5 * spread**2,
            spread=math.hypot(spread, math.sqrt(open_)),
            published_spread=shop,
            parts=count(key),
            part_spread=part,
            loads=loads,
            open=math.sqrt(open_),
            rebased=rebased[key[2]][1:] if len(key) == 3 and key[2] in rebased else None,
        )
    faces = {face.key: face for piece in pieces for face in piece.faces}
    for key, face in faces.items():
        chain = [key[:2], key] if key[0] == "bond" else [key]
        mean, spread, loads = learnt.of(*chain)
        parts = sum(any(f.key == key for f in piece.faces) for piece in pieces)
        found[key] = Habit(
            of=key,
            shift=math.log(max(1 + mean, 0.05)),
            spread=spread / max(1 + mean, 0.05),
            published_spread=face.spread,
            parts=parts,
            part_spread=None,
            loads=tuple(v / max(1 + mean, 0.05) for v in loads),
        )
    for name, (hang, own) in learnt.areas.items():
        of = ("area", *name.split("\n"))
        if len(of) == 3:
            found[of] = Habit(
                of=of,
                shift=0.0,
                spread=math.hypot(own, *hang),
                published_spread=1.0,
                parts=0,
                loads=tuple(float(v) for v in hang),
                open=own,
            )
    return found


def _group(
    key: tuple[str, str, str], rows: list[Row], pieces: list[Piece], learnt: Learnt, at: NDArray[np.int64]
) -> Group:
    mass = np.array([piece.mass for piece in pieces])
    resin = np.array([sum(r.mass for r in piece.resins) for piece in pieces])
    expected = np.array([piece.expected for piece in pieces])
    shared = np.array(
        [math.hypot(piece.own, piece.area, *(f.mass * f.spread for f in piece.faces)) for piece in pieces]
    )
    part = np.array([piece.part_spread for piece in pieces])
    parts = Parts((mass - expected + resin) / resin, shared / resin, part)
    good = learnt.good[at]
    counted = np.where(good >= 0.5, part**2 / (part**2 + parts.noise**2), 0.0)
    return Group(
        *key,
        numbers=tuple(int(str(row[0])) for row in rows),
        at=tuple(str(row[1]) for row in rows),
        pieces=tuple((str(row[2]), str(row[3])) for row in rows),
        stages=tuple(str(row[4]) for row in rows),
        weighed=mass,
        expected=expected,
        expected_now=learnt.expected[at],
        parts=parts,
        good=good,
        counted=counted,
        shop_spread=next(r.shop_spread for r in pieces[0].resins),
    )


def _spread_of(root: str) -> float:
    """Published spread of a process that only another shop has weighed."""
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


def as_json(calibration: Calibration) -> Payload:
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
            if habit.of[0] != "area"
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
            forgotten[process] = int(told["since"]) - 1 if told.get("since") else entry.number
            for root, form in [key for key in starts if process in ("", key[0].removesuffix(AS_BOUGHT))]:
                del starts[root, form]
        if "lot" in told:
            lot = told["lot"]
        for row in told.get("start", []):
            start = Start(row["mean"], row["spread"], bool(told.get("pooled")))
            starts[row["process"], row["form"]] = (start, row["parts"], told["from"])
    return Settings(forgotten, lot, starts)


def forget(store: Store, process: str = "", since: int | None = None) -> Entry:
    """Leave out, from here on, every weigh-in noted so far, of one process or of all; none is deleted.

    Args:
        store: The shop's record.
        process: Its name; all if left out.
        since: Number of the first entry that counts, where the shop changed before today.

    Returns:
        The entry; undo it, and they count again.

    Raises:
        LayupError: Nothing of this process has been weighed.
    """
    if process:
        rows = store.query(f"SELECT DISTINCT process FROM {TABLE} WHERE process IS NOT NULL")
        known = dict.fromkeys(str(row[0]).removesuffix(AS_BOUGHT) for row in rows)
        if process not in known:
            hint = nearest(process, known) or f"Weighed so far: {', '.join(known) or 'nothing'}."
            raise LayupError(f'nothing made by "{process}" has been weighed. {hint}')
    return store.append(SETTING, {"forget": process, "since": since})


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

    Raises:
        LayupError: There is no record, or it holds no weigh-in that teaches.
    """
    path = Path(other)
    theirs = _calibration_of(path)
    rows = []
    for of, habit in theirs.habits.items():
        if len(of) != 2 or of[0] == "film":
            continue
        root, form = of
        spread = habit.published_spread
        prior = (ROOT_SHARE + FORM_SHARE) * spread**2
        mean, deviation, _ = theirs.learnt.of((root,), (root, form), ("step", root))
        precision = 1.0 / deviation**2 - 1.0 / prior
        if precision <= 0 or habit.parts == 0:
            continue
        mean = (mean / deviation**2 + 0.5) / precision
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


def habits_near(
    part: str | Path, shop: str | Path | None = None, library: Library | None = None
) -> dict[tuple[str, ...], Habit]:
    """The habits of the shop whose record lies in this folder, or else in the nearest one above the part file.

    Weigh-ins are taken by the tables of today, the part's own among them: a cloth whose weight was corrected since is
    not counted twice.

    Args:
        part: Path of the part file.
        shop: The shop's folder, where it is not above the part file.
        library: Those tables, where they are read already; the part file is then not opened, nor what it names.

    Returns:
        The habits; empty where there is no record. Nothing is made.
    """
    folder = Path(shop) if shop is not None else shop_folder(part)
    store = find_store(folder) if folder is not None else None
    if store is None:
        return {}
    with store:
        return calibrate(store, tables_of(part) if library is None else library).habits


def tables_of(part: str | Path) -> Library | None:
    """The tables that a part file is predicted with; None where it can't be read, which is said elsewhere."""
    from layup.materials import load_library

    path = Path(part)
    try:
        named = tomllib.loads(path.read_text(encoding="utf-8")).get("materials", [])
        return load_library([path.parent / name for name in named])
    except (OSError, ValueError, TypeError, AttributeError, LayupError):
        return None
