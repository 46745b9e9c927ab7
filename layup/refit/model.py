"""The refit file as a model: where the aircraft starts, its limits and loads, what comes out, goes in and moves.

Quantities keep the words they were written in, so that a record prints as it was kept. Names of part files, places and
tanks are checked where the file is read, in `layup.refit.refitfile`. docs/refit.md describes every key for a reader.
"""

from __future__ import annotations

import datetime as dt
import re
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, PlainValidator, model_validator

from layup.errors import LayupError
from layup.partfile.fields import Entry, Name, Written, needs, one_of, quantity, refuse, written
from layup.partfile.model import Count, Length, MassPerLength, Thickness, Width
from layup.units import parse, parse_money

Weight = Annotated[Written, written("mass", 0.0, 5.0e5, "more than 500 t: check the unit")]
Arm = Annotated[Written, written("length", -200.0, 200.0, "more than 200 m away: check the unit")]
Chord = Annotated[float, quantity("length", 0.05, 50.0, "outside 50 mm to 50 m: check the unit")]
Volume = Annotated[Written, written("volume", 0.0, 100.0, "more than 100 m^3: check the unit")]
Density = Annotated[Written, written("density", 1.0, 2.0e4, "outside 1 to 20,000 kg/m^3: check the unit")]
Level = Annotated[float, quantity("fraction", 0.0, 1.0, "outside 0 to 100 %")]
Hours = Annotated[float, quantity("time", 0.0, 3.6e8, "more than 100,000 h: check the unit", bare="h")]
Decimals = Annotated[int, Field(ge=0, le=6, strict=True)]


def _date(value: object) -> object:
    if isinstance(value, dt.datetime) or not isinstance(value, str | dt.date):
        raise refuse("date", 'a date is due, year-month-day: "2025-11-22"')
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            raise refuse("date", f'"{value}" is not a date. Write year-month-day: "2025-11-22"') from None
    return value


Date = Annotated[dt.date, BeforeValidator(_date)]


def _money(value: object) -> object:
    if isinstance(value, tuple):
        return value
    try:
        return parse_money(value if isinstance(value, str) else str(value))
    except LayupError as error:
        raise refuse("money", str(error)) from None


Money = Annotated[tuple[float, str], BeforeValidator(_money)]

_BAR = re.compile(r"(?:(?P<away>.+?) (?P<way>aft|ahead|forward) of (?P<what>.*?),? ?(?:at )?)?station (?P<station>.+)")


def balance_point(text: object) -> Written:
    """Arm of an assembly balanced on a bar.

    Args:
        text: `station 142.5 in`, or `14 1/4 in aft of the front bolt, station 128 1/4 in`.

    Returns:
        The arm with its words. [m]

    >>> round(balance_point("14 1/4 in aft of the front bolt, station 128 1/4 in").si / 0.0254, 6)
    142.5
    """
    if isinstance(text, Written):
        return text
    match = _BAR.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise refuse("bar", 'write where the mark is: "station 142.5 in", or "14 in aft of the bolt, station 128 in"')
    try:
        arm = parse(match["station"], "length")
        if match["away"]:
            arm += parse(match["away"], "length") * (1.0 if match["way"] == "aft" else -1.0)
    except LayupError as error:
        raise refuse("bar", str(error)) from None
    return Written(arm, str(text))


BarArm = Annotated[Written, BeforeValidator(balance_point)]

_WAYS = {"aft": (0, 1), "forward": (0, -1), "ahead": (0, -1), "right": (1, 1), "left": (1, -1), "up": (2, 1),
         "down": (2, -1)}  # fmt: skip


def _axes(value: object) -> object:
    if not isinstance(value, str):
        return value
    found: dict[str, tuple[int, int]] = {}
    for piece in value.split(","):
        words = piece.split()
        if len(words) != 2 or words[0] not in "xyz" or words[1] not in _WAYS or words[0] in found:
            raise refuse("axes", 'write which way each axis of the mesh points: "x aft, y right, z up"')
        found[words[0]] = _WAYS[words[1]]
    rows = [found[axis] for axis in "xyz" if axis in found]
    if len({row[0] for row in rows}) != 3:
        raise refuse("axes", 'the three axes point along three lines: "x aft, y right, z up"')
    order = [row[0] for row in rows]
    swaps = sum(a > b for i, a in enumerate(order) for b in order[i + 1 :])
    # The aircraft's own axes, aft, right, up, make a right-handed set: aft x right = up.
    if (-1) ** swaps * rows[0][1] * rows[1][1] * rows[2][1] != 1:
        raise refuse("axes", "these axes mirror the part, left for right: turn one of them round")
    return tuple(rows)


class Placing(Entry):
    """Where the mesh of a part sits in the aircraft: its origin, and which way its axes point."""

    origin: tuple[Arm, Arm, Arm]
    axes: Annotated[tuple[tuple[int, int], tuple[int, int], tuple[int, int]], BeforeValidator(_axes)]

    def place(self, point: tuple[float, float, float]) -> tuple[float, float, float]:
        """A point of the mesh in the aircraft: arm (aft), side (right), height (up). [m]"""
        at = [corner.si for corner in self.origin]
        for value, (axis, sign) in zip(point, self.axes, strict=True):
            at[axis] += sign * value
        return at[0], at[1], at[2]


class Told(Entry):
    """What every record of the file may say besides its figures."""

    name: Name
    date: Date | None = None
    by: Name | None = None
    method: Name | None = None
    note: Name | None = None


class Massed(Told):
    """A thing whose mass is weighed, predicted from a part file, counted, or from a list."""

    weighed: Weight | None = None
    listed: Weight | None = None
    each: Weight | None = None
    count: Count | None = None
    volume: Volume | None = None
    density: Density | None = None
    level: Level | None = None
    predicted: Name | None = None
    from_list: Name | None = None
    give_or_take: Weight | None = None

    @model_validator(mode="after")
    def _mass(self) -> Self:
        kind = one_of(self, ("weighed", "listed", "each", "volume", "predicted", "from_list"), "an item")
        if kind == "each" and self.count is None:
            raise refuse("count", "each needs count: how many there are")
        if kind == "volume" and self.density is None:
            raise refuse("density", 'a volume needs the density of what is in it: density = "6.0 lb/gal"')
        needs(self, "each", ("count",))
        needs(self, "volume", ("density", "level"))
        if self.give_or_take is not None and kind not in ("listed", "each", "from_list"):
            raise refuse("spread", "give_or_take belongs to a listed mass; a scale and a prediction have their own")
        return self


class ItemEntry(Massed):
    """`[[removed]]` and `[[added]]`: one thing that comes out or goes in, with where it is."""

    arm: Arm | None = None
    balance_point: BarArm | None = None
    placed: Placing | None = None
    side: Arm | None = None
    height: Arm | None = None

    @model_validator(mode="after")
    def _arm(self) -> Self:
        given = [k for k in ("arm", "balance_point", "placed") if getattr(self, k) is not None]
        if len(given) > 1:
            raise refuse("arm", "there are " + " and ".join(given) + ": an item has one of them")
        if not given and self.predicted is None and self.from_list is None:
            raise refuse("arm", 'where it is is missing: arm = "62 in", or balance_point = "station 142.5 in"')
        if self.placed is not None and self.predicted is None:
            raise refuse("arm", "placed places a part's mesh, so it goes with predicted")
        return self


class MovedEntry(Massed):
    """`[[moved]]`: one thing that stays aboard at another place."""

    start: Arm = Field(alias="from")
    end: Arm = Field(alias="to")


class AboardEntry(Massed):
    """`[[start.aboard]]`, `[[start.missing]]`: on the scales though not of the empty weight, or the other way."""

    arm: Arm
    liquid: Name | None = None


class ScaleEntry(Entry):
    """`[[start.scale]]`: one wheel on its scale."""

    at: Name
    reading: Weight
    tare: Weight | None = None
    arm: Arm

    @model_validator(mode="after")
    def _net(self) -> Self:
        if self.tare is not None and self.tare.si > self.reading.si:
            raise refuse("tare", f"the tare of {self.tare.text} is more than the reading of {self.reading.text}")
        return self


class WeighingEntry(Entry):
    """`[start]` and `[final]`: the empty weight and its centre of gravity, from scales or from a record."""

    date: Date | None = None
    by: Name | None = None
    method: Name | None = None
    record: Name | None = None
    weight: Weight | None = None
    cg: Arm | None = None
    scale: list[ScaleEntry] = []
    aboard: list[AboardEntry] = []
    missing: list[AboardEntry] = []

    @model_validator(mode="after")
    def _one(self) -> Self:
        if self.scale and (self.weight is not None or self.cg is not None):
            raise refuse("start", "scales and a weight with its cg say the same thing: keep one")
        if not self.scale and (self.weight is None or self.cg is None):
            raise refuse("start", 'give each wheel as [[start.scale]], or weight = "1198 lb" and cg = "78 in"')
        if self.scale and len(self.scale) < 2:
            raise refuse("start", "one scale tells the weight and not the balance: give every wheel")
        return self


class ChordEntry(Entry):
    """`[chord]`: the mean aerodynamic chord."""

    leading_edge: Arm
    length: Chord


class IndexEntry(Entry):
    """`[index]`: the short form of moments: the moment over a divisor, so many digits after the point."""

    per: Annotated[float, Field(gt=0, le=1e9)]
    decimals: Decimals = 0


def _table(what: str, example: str, first: str, low: float, high: float) -> PlainValidator:
    """A field that is one arm, or rows of a first quantity and the arm there, rising."""

    def read(value: Any) -> tuple[tuple[Written, Written], ...]:
        listed = value if isinstance(value, list | tuple) else [["", value]]
        rows = []
        for row in listed:
            if not isinstance(row, list | tuple) or len(row) != 2:
                raise refuse("rows", f"{what} is one arm, or rows of two: {example}")
            try:
                head = parse(row[0], first) if row[0] != "" else 0.0
                arm = parse(row[1], "length")
            except LayupError as error:
                raise refuse("rows", str(error)) from None
            if not low <= head <= high or abs(arm) > 200.0:
                raise refuse("rows", f"{row[0]}, {row[1]} is out of range: check the units")
            rows.append((Written(head, str(row[0])), Written(arm, str(row[1]))))
        if not rows or any(b[0].si <= a[0].si for a, b in pairwise(rows)):
            raise refuse("rows", f"the rows of {what} rise from the first to the last: {example}")
        return tuple(rows)

    return PlainValidator(read)


Rows = tuple[tuple[Written, Written], ...]
Line = Annotated[Rows, _table("a limit", '[["1100 lb", "74.5 in"], ["1600 lb", "76 in"]]', "mass", 0.0, 5e5)]
TankArm = Annotated[Rows, _table("a tank's arm", '[["0 %", "88 in"], ["100 %", "90 in"]]', "fraction", 0.0, 1.0)]


class LimitsEntry(Entry):
    """`[limits]`: the maximum weight, the limits of the centre of gravity, and if there are any, those when empty."""

    most: Weight
    least: Weight | None = None
    forward: Line
    aft: Line
    empty_forward: Arm | None = None
    empty_aft: Arm | None = None

    @model_validator(mode="before")
    @classmethod
    def _named(cls, data: object) -> object:
        """`maximum` and `minimum`, as the aircraft's papers have them, for `most` and `least`."""
        if not isinstance(data, dict):
            return data
        found = dict(data)
        for said, key in (("maximum", "most"), ("minimum", "least")):
            if said in found and key in found:
                raise refuse("limit", f"{said} and {key} say the same thing: keep one")
            if said in found:
                found[key] = found.pop(said)
        return found

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.least is not None and self.least.si >= self.most.si:
            raise refuse("limit", f"least, {self.least.text}, is not below most, {self.most.text}")
        return self


class TargetEntry(Entry):
    """`[target]`: how much is to come out, or what the aircraft is to weigh empty."""

    saving: Weight | None = None
    empty: Weight | None = None
    least: Literal["cost", "hours"] = "cost"

    @model_validator(mode="after")
    def _one(self) -> Self:
        one_of(self, ("saving", "empty"), "a target")
        return self


class TankEntry(Entry):
    """`[[tank]]`: what it holds that can be used, and where; rows of a level and an arm where the arm changes."""

    name: Name
    holds: Volume
    density: Density
    arm: TankArm


class PlaceEntry(Entry):
    """`[[place]]`: a seat or a baggage space."""

    name: Name
    arm: Arm
    holds: Weight | None = None


class BallastEntry(Entry):
    """`[[ballast]]`: a place for ballast, what lies there now (it is in the empty weight) and what it may hold."""

    name: Name
    arm: Arm
    aboard: Weight | None = None
    holds: Weight | None = None


class LoadEntry(Entry):
    """`[[load]]`: one way the aircraft flies: who and what is aboard, by place and tank."""

    name: Name
    aboard: dict[str, Any]


class CandidateEntry(Entry):
    """`[[candidate]]`: a part that could be made next."""

    name: Name
    predicted: Name | None = None
    saves: Weight | None = None
    adds: Weight | None = None
    removes: Weight | None = None
    give_or_take: Weight | None = None
    arm: Arm | None = None
    placed: Placing | None = None
    old_arm: Arm | None = None
    cost: Money | None = None
    hours: Hours | None = None
    needs: list[Name] = []
    instead_of: list[Name] = []

    @model_validator(mode="after")
    def _one(self) -> Self:
        kind = one_of(self, ("predicted", "saves", "adds"), "a candidate")
        if kind != "predicted" and self.arm is None:
            raise refuse("arm", 'where it is is missing: arm = "62 in"')
        if kind == "saves":
            needs(self, "adds", ("removes",))
        if kind == "predicted" and self.give_or_take is not None:
            raise refuse("spread", "a prediction has its own spread: leave give_or_take out")
        if self.placed is not None and (kind != "predicted" or self.arm is not None):
            raise refuse("arm", "placed places a predicted part's mesh and stands in for arm")
        return self


KINDS = ("part", "seam", "lap", "fasteners", "nut plates", "sealant", "finish", "other")


class PieceEntry(Entry):
    """`[[consolidation.old]]`, `[[consolidation.new]]`: one thing of an assembly."""

    name: Name
    kind: Literal["part", "seam", "lap", "fasteners", "nut plates", "sealant", "finish", "other"] = "part"
    weighed: Weight | None = None
    listed: Weight | None = None
    each: Weight | None = None
    count: Count | None = None
    per_length: MassPerLength | None = None
    length: Length | None = None
    sheet: Name | None = None
    thickness: Thickness | None = None
    width: Width | None = None
    predicted: Name | None = None

    @model_validator(mode="after")
    def _mass(self) -> Self:
        kind = one_of(self, ("weighed", "listed", "each", "per_length", "sheet", "predicted"), "a piece")
        if kind == "each" and self.count is None:
            raise refuse("count", "each needs count: how many there are")
        if kind == "per_length" and self.length is None:
            raise refuse("length", "per_length needs length: how much of it there is")
        if kind == "sheet" and (self.thickness is None or self.width is None or self.length is None):
            raise refuse("sheet", "a lap of sheet needs its thickness, width and length")
        needs(self, "each", ("count",))
        needs(self, "sheet", ("thickness", "width"))
        if kind not in ("per_length", "sheet"):
            needs(self, "per_length", ("length",))
        return self


class ConsolidationEntry(Entry):
    """`[[consolidation]]`: several old parts with all that joins them, and the one that takes their place."""

    name: Name
    old: Annotated[list[PieceEntry], Field(min_length=1)]
    new: Annotated[list[PieceEntry], Field(min_length=1)]


class Refit(Entry):
    """A whole refit file."""

    title: Name
    aircraft: Name | None = None
    serial: Name | None = None
    supersedes: Name | None = None
    datum: Name
    units: Literal["lb", "metric"] = "lb"
    by: Name | None = None
    equipment: Name | None = None
    start: WeighingEntry
    final: WeighingEntry | None = None
    limits: LimitsEntry
    chord: ChordEntry | None = None
    index: IndexEntry | None = None
    target: TargetEntry | None = None
    tank: list[TankEntry] = []
    place: list[PlaceEntry] = []
    ballast: list[BallastEntry] = []
    load: list[LoadEntry] = []
    removed: list[ItemEntry] = []
    added: list[ItemEntry] = []
    moved: list[MovedEntry] = []
    candidate: list[CandidateEntry] = []
    consolidation: list[ConsolidationEntry] = []
