"""A weigh-in: a part on the scale at one stage of the work, kept with the part file and the prediction of that moment.

- Note one:                        `weigh_in(store, part, mass, stage, ...)`
- Is the figure believable?        `questions(mass, said, expected)`
- Those that stand:                `weigh_ins(store, as_of=None)`

One piece counts once: of two weigh-ins of a piece at one stage the later stands for it; another copy of the same part
is another piece and has a name of its own.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from layup.errors import LayupError, UnitError
from layup.laminate.process import Habits
from layup.learn.expected import STAGE_NAMES, STAGES, WHOLE_STAGES, Ground, expect, stage_mass, stage_of
from layup.learn.payloads import must_hold
from layup.learn.schema import Payload
from layup.learn.store import Entry, Store, register
from layup.partfile.job import Job
from layup.partfile.read import read_part
from layup.units import parse
from layup.weight.prediction import Prediction, predict
from layup.weight.regions import located
from layup.words import System, mass_both

KIND = "weigh-in"
TABLE = "weighins"
"""The index of all weigh-ins, for questions that must not read every prediction."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What may be noted beside the weight; all of it may be left out.

    Attributes:
        piece: Which copy of the part.
        resolution: Of the scale. [kg]
        person: Who laid it up or weighed it, as they want to be called.
        temperature: Of the shop. [K]
        vacuum: What the gauge reached. [Pa]
        lot: Of cloth or resin, as on its label.
        notes: In the shop's words.
        photo: Path of a picture.
    """

    piece: str = "1"
    resolution: float | None = None
    person: str = ""
    temperature: float | None = None
    vacuum: float | None = None
    lot: str = ""
    notes: str = ""
    photo: str = ""


NOTE, WORD = 5_000, 200
"""Letters of a note, and of all else that is noted beside a weight. [-]"""
_BESIDE = {  # dimension, least, most [SI], and what lies outside
    "scale": ("mass", 1e-6, 10.0, "a step of the scale", "0.001 g to 10 kg"),
    "temperature": ("temperature", 253.15, 333.15, "a shop", "-20 to 60 degC (0 to 140 degF)"),
    "vacuum": ("pressure", 100.0, 110e3, "a vacuum", "0.1 to 110 kPa (0.03 to 32 inHg)"),
}


def circumstances(
    *,
    piece: str = "1",
    scale: str = "",
    person: str = "",
    temperature: str = "",
    vacuum: str = "",
    lot: str = "",
    note: str = "",
    photo: str = "",
) -> Circumstances:
    """What was typed beside a weight; "" for what was not. A gauge that shows vacuum as -20 inHg is read as 20 inHg.

    Raises:
        LayupError: A copy without a name, letters that can't be kept, or a figure that can't be.
    """
    words = {"piece": piece.strip(), "person": person, "lot": lot, "note": note, "photo": photo}
    if not words["piece"]:
        raise LayupError("which copy of the part is it? The piece has no name: write --piece 2")
    for name, text in words.items():
        most = NOTE if name == "note" else WORD
        if len(text) > most:
            raise LayupError(f"the {name} has {len(text):,} letters. Write {most:,} or fewer")
        if not all(letter.isprintable() or letter in " \t\r\n" for letter in text):
            raise LayupError(f"a letter of the {name} can't be kept: {text[:40]!a}. Write plain text")
    figures: dict[str, float | None] = {"scale": None, "temperature": None, "vacuum": None}
    for name, said in (("scale", scale), ("temperature", temperature), ("vacuum", vacuum)):
        if not said:
            continue
        dimension, low, high, what, limits = _BESIDE[name]
        value = parse(said, dimension)
        value = abs(value) if name == "vacuum" else value
        if not low <= value <= high:
            raise LayupError(f'{what} of "{said}" can\'t be: {limits} is due. Check the unit')
        figures[name] = value
    return Circumstances(
        piece=words["piece"],
        resolution=figures["scale"],
        person=person,
        temperature=figures["temperature"],
        vacuum=figures["vacuum"],
        lot=lot,
        notes=note,
        photo=photo,
    )


@dataclass(frozen=True, slots=True)
class WeighIn:
    """One weigh-in as it is kept.

    Attributes:
        entry: In the record.
        part: Title of the part.
        file: Name of its part file.
        stage: One of `STAGES`.
        mass: [kg]
        said: As it was written: "2 lb 13 oz".
        expected: What was expected at this stage then, and the 90 % interval of a whole part; None at some stages. [kg]
        ground: The expected mass divided; None where the weight says nothing of the hand.
        circumstances: The rest.
        coupon: Sides of the coupon, where the piece is one. [m]
    """

    entry: Entry
    part: str
    file: str
    stage: str
    mass: float
    said: str
    expected: dict[str, float] | None
    ground: Ground | None
    circumstances: Circumstances
    coupon: Plate | None

    @property
    def piece(self) -> tuple[str, str]:
        """Which thing was on the scale."""
        return self.part, self.circumstances.piece

    @property
    def place(self) -> int:
        """Of its stage in the order of the work."""
        return STAGES.index(self.stage)


def _make_table(connection: sqlite3.Connection) -> None:
    connection.execute(
        "CREATE TABLE weighins (number INTEGER PRIMARY KEY, key TEXT NOT NULL, at TEXT NOT NULL, part TEXT NOT NULL, "
        "piece TEXT NOT NULL, stage TEXT NOT NULL, mass REAL NOT NULL, lot TEXT NOT NULL, process TEXT, form TEXT, "
        "fabric TEXT, rest REAL, resin REAL, rest_spread REAL, shop_spread REAL, part_spread REAL, cloth_spread REAL, "
        "stands INTEGER NOT NULL DEFAULT 1)"
    )
    connection.execute("CREATE INDEX weighins_by_key ON weighins (key)")
    connection.execute("CREATE INDEX weighins_by_part ON weighins (part, piece, number)")


def _index(connection: sqlite3.Connection, entry: Entry) -> None:
    told = entry.payload
    ground = told.get("ground") or {}
    terms = ground.get("terms")
    if "terms" in ground:  # a finished part whose finish nobody stated has none, and teaches nothing
        ground = ground if terms else {}
    elif _cored(connection, told):
        ground = {}
    names = ("process", "form", "fabric", "rest", "resin", "rest_spread", "shop_spread", "part_spread", "cloth_spread")
    connection.execute(
        f"INSERT OR REPLACE INTO weighins VALUES ({', '.join('?' * 19)})",
        (
            entry.number, entry.key, entry.at, told["part"], told["piece"], told["stage"], told["mass"], told["lot"],
            *(ground.get(name) for name in names), 1, json.dumps(terms) if terms else None,
        ),
    )  # fmt: skip


def _cored(connection: sqlite3.Connection, told: Payload) -> bool:
    """Whether a weighed part has a core.

    Errors of bond and core are alike in all parts of a kind, so that taken for noise they would be learnt as resin. An
    entry from before this was noted says so in the prediction kept with it.
    """
    noted = (told.get("ground") or {}).get("cored")
    if noted is not None:
        return bool(noted)
    row = connection.execute("SELECT body FROM texts WHERE digest = ?", (told.get("prediction"),)).fetchone()
    return row is not None and any(ply.get("core") for ply in json.loads(row[0]).get("plies", ()))


def _forget_cored(connection: sqlite3.Connection) -> None:
    """Version 2: what sandwiches weighed teaches nothing about the resin in the plies."""
    rows = connection.execute(
        "SELECT w.number, e.payload FROM weighins w JOIN entries e ON e.number = w.number WHERE w.process IS NOT NULL"
    ).fetchall()
    for number, payload in rows:
        if _cored(connection, json.loads(payload)):
            connection.execute("UPDATE weighins SET process = NULL WHERE number = ?", (number,))


def _index_undo(connection: sqlite3.Connection, entry: Entry) -> None:
    """Follow a chain of undos to its weigh-in and set whether that stands."""
    target, stands = str(entry.payload.get("entry", "")), 0
    seen: set[str] = set()
    while target not in seen:  # a record from outside may hold undos in a ring
        seen.add(target)
        row = connection.execute("SELECT kind, payload FROM entries WHERE key = ?", (target,)).fetchone()
        if row is None or row[0] != "undo":
            break
        target, stands = str(json.loads(row[1]).get("entry", "")), 1 - stands
    connection.execute("UPDATE weighins SET stands = ? WHERE key = ?", (stands, target))


_TERMS = "ALTER TABLE weighins ADD COLUMN terms TEXT"
"""Version 3: the expected mass by what strays alike in all parts of a kind."""
register("weigh-ins", [_make_table, _forget_cored, _TERMS], {KIND: _index, "undo": _index_undo})


def weigh_in(
    store: Store,
    part: str | Path,
    mass: float,
    stage: str,
    said: str = "",
    circumstances: Circumstances | None = None,
    prediction: Prediction | None = None,
    coupon: Plate | None = None,
    at: str | None = None,
) -> WeighIn:
    """Note that a part weighs so much, with its part file and prediction as they are at this moment.

    Args:
        store: The shop's record.
        part: Path of the part file.
        mass: [kg]
        stage: One of `STAGES`.
        said: The weight as written.
        circumstances: What else is known.
        prediction: What `predict_piece` said; by published figures alone if left out.
        coupon: Sides, where a coupon of this layup was weighed and not the part. [m]
        at: When, UTC, ISO 8601; now if left out.

    Returns:
        The weigh-in, which is on the disk.

    Raises:
        LayupError: The mass is not above zero, the stage unknown, or the part file has faults.
        StoreError: It could not be kept.
    """
    around = circumstances or Circumstances()
    if not mass > 0:
        raise LayupError(
            f"a weight of {mass_both(mass, 'both')} can't be: it must be above zero. Set the scale to zero"
        )
    if stage not in STAGES:
        raise LayupError(f'there is no stage "{stage}". Stages: {", ".join(STAGES)}')
    path = Path(part)
    prediction = prediction or predict_piece(path, None, coupon, around.vacuum)
    job = prediction.job
    published = prediction.published or prediction.weighed
    bare = coupon is not None and stage == "finished"  # nobody paints a coupon
    ground = expect(job, published, "trimmed" if bare else stage, around.resolution)
    payload: Payload = {
        "part": job.part.title, "file": path.name, "piece": around.piece, "stage": stage, "mass": float(mass),
        "said": said, "resolution": around.resolution, "person": around.person, "temperature": around.temperature,
        "vacuum": around.vacuum, "lot": around.lot, "notes": around.notes, "photo": around.photo,
        "coupon": list(coupon) if coupon else None, "expected": expected_at(prediction, stage),
        "ground": ground.as_dict() if ground else None,
    }  # fmt: skip
    with store.writing():
        payload |= _kept_files(store, path, job, prediction)
        return from_entry(store.append(KIND, payload, at))


def predict_piece(
    part: str | Path | Job,
    habits: Habits | None,
    coupon: Plate | None = None,
    vacuum: float | None = None,
) -> Prediction:
    """Predict the thing that goes on the scale.

    Args:
        part: Path of the part file, or the part file read.
        habits: What the shop knows.
        coupon: Sides, where it is a coupon of the layup. [m]
        vacuum: What the gauge reached; the part file's if left out. [Pa]
    """
    job = part if isinstance(part, Job) else read_part(part)
    if coupon is not None:
        job = coupon_of(job, *coupon)
    if vacuum is not None:
        job = replace(job, part=job.part.model_copy(update={"vacuum": vacuum}))
    return predict(job, habits=habits)


Plate = tuple[float, ...]
"""Sides of a coupon [m], and the number of plies of its first cloth where it is not the part's whole layup."""


def coupon_of(job: Job, length: float, width: float, count: float = 0) -> Job:
    """A flat coupon with the plies that lie over the whole part: no zones, finish, extras or edge to trim.

    Args:
        job: The part, read.
        length: [m]
        width: [m]
        count: Plies of the first cloth alone, for a card of two coupons; the part's layup if 0.

    Raises:
        LayupError: No ply lies over the whole part.
    """
    from layup.shape import flat

    plies = [ply for ply in job.part.plies() if ply.zone in (None, "whole") and ply.area is None]
    if not any(ply.fabric for ply in plies):
        raise LayupError("no ply of fabric lies over the whole part, so there is no layup for a coupon")
    if count:
        plies = [next(ply for ply in plies if ply.fabric).model_copy(update={"count": int(count)})]
    plain = [ply.model_copy(update={"overlap": None, "seam": None}) for ply in plies]
    surface = job.part.surface.model_copy(
        update={"mesh": None, "outline": None, "cutouts": None, "area": None, "edge": None, "unit": None, "side": None,
                "rectangle": (length, width), "area_tolerance": 0.015}
    )  # fmt: skip
    part = job.part.model_copy(
        update={"title": f"Coupon of {job.part.title}", "ply": plain, "stack": None, "fabric": None, "zone": [],
                "finish": [], "extra": [], "replaces": [], "made": [], "trim": None, "surface": surface}
    )  # fmt: skip
    return replace(job, part=part, surface=flat.rectangle(length, width), zones={}, opened=None, fasteners=())


def expected_at(prediction: Prediction, stage: str) -> dict[str, float] | None:
    """Expected mass at a stage; for a whole part with its 90 % interval. [kg]"""
    mean = stage_mass(prediction.job, prediction.weighed, stage)
    if mean is None:
        return None
    if stage not in WHOLE_STAGES:
        return {"mean": mean}
    whole = prediction.mass
    return {"mean": mean, "p05": mean + whole.p05 - whole.mean, "p95": mean + whole.p95 - whole.mean}


def _kept_files(store: Store, path: Path, job: Job, prediction: Prediction) -> Payload:
    """The part file, the shop's tables and the prediction as texts; of a mesh only what it is and measures."""
    folder = path.parent
    tables = {name: store.keep_text((folder / name).read_text(encoding="utf-8")) for name in job.part.materials}
    mesh = job.part.surface.mesh
    return {
        "part_text": store.keep_text(path.read_text(encoding="utf-8")),
        "tables": tables,
        "mesh": None if mesh is None else hashlib.sha256((folder / mesh).read_bytes()).hexdigest(),
        "measured": {
            "area": job.surface.whole.area,
            "edge": job.surface.perimeter,
            "zones": {name: place.area for name, place in job.zones.items()},
            "holes": {n: [len(h.pattern.holes), h.area, h.rim] for n, h in job.holes.items()},
            "regions": located(job).as_json(),
        },
        "prediction": store.keep_text(json.dumps(prediction.as_json(), ensure_ascii=False, sort_keys=True)),
    }


def from_entry(entry: Entry) -> WeighIn:
    """A weigh-in from its entry.

    Raises:
        LayupError: It came from outside, and is none.
    """
    must_hold(entry)
    told = entry.payload
    ground = told.get("ground")
    around = Circumstances(
        piece=told["piece"],
        resolution=told["resolution"],
        person=told["person"],
        temperature=told["temperature"],
        vacuum=told["vacuum"],
        lot=told["lot"],
        notes=told["notes"],
        photo=told["photo"],
    )
    coupon = told.get("coupon")
    return WeighIn(
        entry=entry,
        part=told["part"],
        file=told["file"],
        stage=stage_of(told["stage"]),
        mass=told["mass"],
        said=told["said"],
        expected=told.get("expected"),
        ground=Ground(**ground) if ground else None,
        circumstances=around,
        coupon=tuple(coupon) if coupon else None,
    )


def weigh_ins(store: Store, as_of: int | str | None = None) -> list[WeighIn]:
    """The weigh-ins that stand, in the order of noting."""
    return [from_entry(entry) for entry in store.entries(KIND, as_of)]


def newest(store: Store, count: int) -> list[WeighIn]:
    """The last so many that stand, the newest last; quick however long the record is."""
    rows = store.query("SELECT number FROM weighins WHERE stands = 1 ORDER BY number DESC LIMIT ?", (count,))
    return [from_entry(store.entry(row[0])) for row in reversed(rows)]


def weighed_in(store: Store) -> System:
    """The units a shop weighs in: of all its newest weigh-ins, or both where they differ or there are none."""
    metric = {re.search(r"k?g\b|gram|kilo", one.said.casefold()) is not None for one in newest(store, 50) if one.said}
    return "both" if len(metric) != 1 else "metric" if metric.pop() else "lb"


def of_piece(store: Store, part: str, piece: str | None = None) -> list[WeighIn]:
    """The weigh-ins of one part that stand, of one piece or of all."""
    sql, values = "SELECT number FROM weighins WHERE stands = 1 AND part = ?", [part]
    if piece is not None:
        sql, values = sql + " AND piece = ?", [part, piece]
    return [from_entry(store.entry(row[0])) for row in store.query(sql + " ORDER BY number", values)]


def questions(
    mass: float, said: str, expected: dict[str, float] | None, elsewhere: Mapping[str, float] | None = None
) -> tuple[str, ...]:
    """What to ask before a weight is noted; empty when it is believable.

    Args:
        mass: [kg]
        said: As written: "2813 lb".
        expected: Mass expected at this stage, with its interval if there is one. [kg]
        elsewhere: Mass expected at the other stages. [kg]

    Returns:
        Questions in words, with the unit or the stage that was likely meant.
    """
    if not expected:
        return () if mass < 500 else (f"{said} is {mass_both(mass, 'both')}. Is that right?",)
    mean = expected["mean"]
    low, high = expected.get("p05", mean) / 1.6, expected.get("p95", mean) * 1.6
    if low <= mass <= high:
        return ()
    side = f"{mass / mean:,.{1 if mass < 20 * mean else 0}f} times" if mass > mean else f"{mass / mean * 100:.2g} % of"
    asked = f"{said} is {side} what is expected ({mass_both(mean, 'both')})."
    words = said.split()
    meant = []
    if len(words) == 2:
        for unit in ("g", "kg", "oz", "lb"):
            try:
                other = parse(f"{words[0]} {unit}", "mass")
            except UnitError:
                break
            if unit != words[1] and low <= other <= high:
                meant.append(f"{words[0]} {unit}")
    if not meant:
        fits = [(abs(math.log(mass / due)), name) for name, due in (elsewhere or {}).items() if due > 0]
        near, name = min(fits, default=(1.0, ""))
        if near < math.log(1.25):
            due = mass_both((elsewhere or {})[name], "both")
            return (f"{asked} It fits {STAGE_NAMES[name]} ({due}): --at {name}?",)
    return (asked + (f" Did you mean {' or '.join(meant)}?" if meant else " Is that right?"),)


def out_of_order(
    mass: float, said: str, stage: str, before: Mapping[str, float], to_mix: float = math.inf
) -> tuple[str, ...]:
    """What to ask where a weight can't follow from those of the same piece before it.

    Args:
        mass: [kg]
        said: As written.
        stage: Of the work.
        before: Mass of the same piece at the other stages. [kg]
        to_mix: Resin that the prediction says to mix. [kg]

    Returns:
        Questions in words; none where all of them can be true.
    """
    slack = 0.01  # two readings of one scale
    for less, more, words in (
        ("trimmed", "demoulded", "of the piece off the mould"),
        ("trimmed", "finished", "of the piece finished"),
    ):
        other = more if stage == less else less if stage == more else ""
        there = before.get(other)
        if there is None:
            continue
        if stage == less and mass > there * (1 + slack):
            return (f"{said} {STAGE_NAMES[stage]} is more than the {mass_both(there, 'both')} {words}.",)
        if stage == more and mass < there * (1 - slack):
            return (f"{said} {STAGE_NAMES[stage]} is less than the {mass_both(there, 'both')} of the piece trimmed.",)
    if stage in ("left-in-cups", "bag-materials") and mass > before.get("resin-mixed", math.inf):
        return (f"{said} is more than the {mass_both(before['resin-mixed'], 'both')} of resin that was mixed.",)
    if stage == "left-in-cups" and "resin-mixed" not in before and mass > to_mix:
        return (f"{said} is more than all the resin that is to be mixed, {mass_both(to_mix, 'both')}. Is that right?",)
    return ()
