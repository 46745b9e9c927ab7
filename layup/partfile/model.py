"""The part file as a model: what a builder may write, and what each entry must be.

The models hold SI numbers (angles in degrees) and the names as written; whether a named fabric or zone exists is
checked where the file is read, in `layup.partfile`. docs/part-file.md describes every key for a reader.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from layup.errors import LayupError, UnitError
from layup.laminate.orientation import parse_stack
from layup.materials import Hand
from layup.partfile.fields import LISTED, Entry, Name, Names, Of, Place, Vector, needs, one_of, quantity, refuse
from layup.partfile.needs import Fabric, Needs, Shelf
from layup.partfile.openings import FastenersEntry, HolesEntry
from layup.units import parse

WHOLE = "whole"
"""The zone that always exists."""
OPENINGS = "openings"
"""What a ply covers that runs over every opening uncut."""


Length = Annotated[float, quantity("length", 0.0, 100.0, "more than 100 m: check the unit")]
Side = Annotated[float, quantity("length", 1e-4, 100.0, "outside 0.1 mm to 100 m: check the unit")]
Thickness = Annotated[float, quantity("length", 1e-6, 0.3, "outside 0.001 mm to 300 mm: check the unit")]
Width = Annotated[float, quantity("length", 0.0, 2.0, "more than 2 m: check the unit")]
Area = Annotated[float, quantity("area", 1e-6, 2000.0, "outside 1 mm^2 to 2000 m^2: check the unit")]
Mass = Annotated[float, quantity("mass", 0.0, 5000.0, "more than 5000 kg: check the unit")]
MassPerLength = Annotated[float, quantity("mass_per_length", 0.0, 50.0, "more than 50 kg/m: check the unit")]
ArealWeight = Annotated[float, quantity("areal_weight", 0.0, 60.0, "more than 60 kg/m^2: check the unit")]
Vacuum = Annotated[float, quantity("pressure", 100.0, 110e3, "outside 0.1 to 110 kPa: no bag holds that", gauge=True)]
Altitude = Annotated[float, quantity("length", -500.0, 6000.0, "outside -500 to 6000 m: no shop is there")]
Angle = Annotated[float, quantity("angle", -360.0, 360.0, "outside -360 to 360 degrees")]
Slope = Annotated[float, quantity("angle", 5.0, 85.0, "outside 5 to 85 degrees: 30 is usual, a 45 is steep")]
FibreFraction = Annotated[float, quantity("fraction", 0.05, 0.80, "outside 0.05 to 0.80: fibres can't pack so")]
ResinContent = Annotated[float, quantity("fraction", 0.10, 0.92, "outside 10 % to 92 %: no ply is so dry or so rich")]
Tolerance = Annotated[float, quantity("fraction", 0.0, 0.5, "outside 0 to 50 %")]
Count = Annotated[int, Field(ge=1, le=10_000, strict=True)]
PlyCount = Annotated[int, Field(ge=1, le=100, strict=True)]
Gores = Annotated[int, Field(ge=2, le=24, strict=True)]
Coats = Annotated[int, Field(ge=1, le=20, strict=True)]
Overlap = Annotated[float, quantity("length", 0.0, 0.5, "more than 500 mm: check the unit")]
Trim = Annotated[float, quantity("length", 0.0, 0.5, "more than 500 mm: check the unit")]
CoatThickness = Annotated[float, quantity("length", 1e-6, 0.05, "outside 0.001 mm to 50 mm: check the unit")]
Spot = tuple[Place, Place, Place]
Process = Annotated[Name, Of("process")]
Resin = Annotated[Name, Of("resin")]
Core = Annotated[Name, Of("core")]
Finish = Annotated[Name, Of("finish")]


Hands = Annotated[tuple[Hand, ...], LISTED]
"""How the resin is worked, one word or several."""

REPLACED = ("sheet", "fabric", "core", "covering", "finish", "areal_weight", "weighed", "mass", "each", "per_length")
"""Ways to give an item that comes off."""
SURFACE_FORMS = ("mesh", "step", "outline", "photo", "stations", "girths", "rectangle", "area")
"""The ways to give a surface."""

Point = tuple[float, float]


def _unit(info: ValidationInfo) -> object:
    """The `unit` of a table, above its points in the model; any where that one is refused itself and told already."""
    return (info.data or {}).get("unit", "mm")


def _pairs(listed: object, unit: object, what: str, example: str) -> list[Point]:
    """Pairs of lengths in metres; bare numbers are in `unit`."""
    if not isinstance(listed, list) or not listed:
        raise refuse("points", f'{what}: this is not a list. Write {example} with unit = "mm"')
    pairs = []
    for number, point in enumerate(listed, start=1):
        if not isinstance(point, list) or len(point) != 2 or any(isinstance(v, bool | list | dict) for v in point):
            raise refuse("points", f"{what}, entry {number} is not two numbers. Write {example}")
        if unit is None and any(isinstance(v, int | float) for v in point):
            raise refuse("points", f'{what} has numbers without a unit. Add unit = "mm" (or "in") to [surface]')
        try:
            x, y = (parse(v, "length", bare=unit if isinstance(unit, str) else None) for v in point)
        except UnitError as error:
            raise refuse("points", str(error)) from None
        pairs.append((x, y))
    return pairs


def _points(what: str, example: str) -> BeforeValidator:
    """A field that is the name of a file, or pairs of lengths."""

    def read(value: object, info: ValidationInfo) -> object:
        return value if isinstance(value, str) else _pairs(value, _unit(info), what, example)

    return BeforeValidator(read)


def _cutouts(value: object, info: ValidationInfo) -> object:
    if not isinstance(value, list):
        return value
    unit, example = _unit(info), "[[300, 150], [420, 150], [420, 270]]"
    return [_pairs(one, unit, f"cut-out {n}", example) for n, one in enumerate(value, 1)]


class SurfaceEntry(Entry):
    """`[surface]`: the mould side of the part."""

    mesh: Name | None = None
    step: Name | None = None
    unit: Name | None = None
    side: Name | None = None
    body: Name | int | None = None
    fill: Width | None = None
    mould: Name | None = None
    drawn: Literal["tool side", "bag side"] | None = None
    face: Name | int | None = None
    warp: Vector | None = None
    forward: Vector | None = None
    up: Vector | None = None
    drape: bool | None = None
    start: Spot | None = None
    rectangle: tuple[Side, Side] | None = None
    outline: Annotated[Name | list[Point], _points("outline", "[[0, 0], [620, 0], [620, 380]]")] | None = None
    cutouts: Annotated[list[list[Point]], BeforeValidator(_cutouts)] | None = None
    pick: Name | int | None = None
    cut: list[Name] | None = None
    gap: Width | None = None
    photo: Name | None = None
    bar: Name | None = None
    bar_along: Name | None = None
    stations: Annotated[Name | list[Point], _points("widths", "[[0, 200], [500, 340], [1000, 180]]")] | None = None
    girths: Annotated[Name | list[Point], _points("girths", "[[0, 200], [500, 340], [1000, 180]]")] | None = None
    turn: Annotated[float, quantity("angle", 1.0, 360.0, "outside 1 to 360 degrees")] | None = None
    along: Literal["axis", "skin"] | None = None
    rule: Literal["spline", "trapezoid"] | None = None
    area: Area | None = None
    edge: Length | None = None
    area_tolerance: Tolerance | None = None

    @model_validator(mode="after")
    def _shape(self) -> Self:
        form = one_of(self, SURFACE_FORMS, "a surface")
        if form not in ("mesh", "step"):
            needs(self, "mesh", ("side", "body"))
        needs(self, "mesh", ("fill",))
        needs(self, "step", ("face",))
        needs(self, "outline", ("cutouts", "pick", "cut", "gap"))
        needs(self, "photo", ("bar", "bar_along"))
        needs(self, "girths", ("turn", "along"))
        if form not in ("stations", "girths"):
            needs(self, "stations", ("rule",))
        needs(self, "area", ("edge",))
        for key in ("mould", "drawn"):
            if form in ("area", "girths") and getattr(self, key) is not None:
                raise refuse(key, f"a surface given by {form} has no shape that layers could follow")
        if form in ("area", "girths") and (self.drape or self.start is not None):
            raise refuse("drape", f"a surface given by {form} has no shape to drape a cloth over")
        if self.cutouts is not None and isinstance(self.outline, str):
            raise refuse("cutouts", "cut-outs of an outline from a file are drawn in that file")
        if not isinstance(self.outline, str):
            for key in ("pick", "cut", "gap"):
                if getattr(self, key) is not None:
                    raise refuse("outline", f"{key} belongs to an outline from a file")
        return self

    @property
    def form(self) -> str:
        """Which of the ways to give a surface this one is."""
        return next(key for key in SURFACE_FORMS if getattr(self, key) is not None)


def _drawn(value: object, info: ValidationInfo) -> object:
    """Points of two or three lengths as written, each with its unit."""
    unit, points = _unit(info), []
    for number, point in enumerate(value if isinstance(value, list) else [], start=1):
        if not isinstance(point, list) or any(isinstance(v, bool | list | dict) for v in point):
            raise refuse("points", f"inside, point {number} is not two numbers. Write a point as [620, 0]")
        if unit is None and any(isinstance(v, int | float) for v in point):
            raise refuse("points", 'inside has numbers without a unit. Add unit = "mm" (or "in") to the zone')
        points.append([v if isinstance(v, str) else f"{v} {unit}" for v in point])
    return points if isinstance(value, list) else value


class ZoneEntry(Entry):
    """`[[zone]]`: a named piece of the surface; `or`, `and` and `not` name other zones."""

    name: Name
    within: Names | None = None
    unit: Name | None = None
    inside: Annotated[list[list[str]], BeforeValidator(_drawn)] | None = None
    along: Vector | None = None
    between: Names | None = None
    group: Names | None = None
    area: Area | None = None
    any_of: Names | None = Field(default=None, alias="or")
    all_of: Names | None = Field(default=None, alias="and")
    none_of: Names | None = Field(default=None, alias="not")

    @model_validator(mode="after")
    def _place(self) -> Self:
        own = [key for key in ("within", "inside", "between", "group") if getattr(self, key) is not None]
        joined = self.joined()
        if self.area is not None and (own or joined):
            raise refuse("area", "a zone given by its area has no other place: keep one of them")
        if self.area is None and not own and not joined:
            raise refuse(
                "place",
                "a zone needs its place: one of within, inside, between, group, area; or zones under or, and, not",
            )
        needs(self, "inside", ("along", "unit"))
        if self.name.casefold() == WHOLE:
            raise PydanticCustomError("taken", "{text}", {"text": 'the name "whole" is taken: it is the whole surface'})
        return self

    def joined(self) -> dict[str, tuple[str, ...]]:
        """Names of other zones under `or`, `and` and `not`; only those that are there."""
        given = {"or": self.any_of, "and": self.all_of, "not": self.none_of}
        return {key: names for key, names in given.items() if names is not None}


class PlyEntry(Entry):
    """`[[ply]]`: one line of the layup, from the mould up: a fabric or a core."""

    fabric: Fabric | None = None
    core: Core | None = None
    thickness: Thickness | None = None
    bevel: Slope | None = None
    angle: Angle = 0.0
    count: PlyCount = 1
    zone: Name | None = None
    area: Area | None = None
    covers: Names | None = None
    overlap: Overlap | None = None
    seam: Length | None = None
    resin: Resin | None = None
    fibre_volume_fraction: FibreFraction | None = None
    resin_content: ResinContent | None = None
    start: Spot | None = None
    gores: Gores | None = None

    @model_validator(mode="after")
    def _material(self) -> Self:
        kind = one_of(self, ("fabric", "core"), "a ply")
        if kind == "core":
            for key in ("fibre_volume_fraction", "resin_content", "overlap", "seam", "start", "gores"):
                if getattr(self, key) is not None:
                    raise PydanticCustomError("core", "{text}", {"text": f"{key} belongs to a fabric, not to a core"})
        elif self.bevel is not None:
            raise refuse("fabric", "bevel is the slope at the edge of a core; a fabric has none")
        elif self.thickness is not None:
            raise PydanticCustomError(
                "fabric",
                "a fabric's thickness follows from its weight and resin; only a core has a thickness of its own",
            )
        if self.zone is not None and self.area is not None:
            raise PydanticCustomError("place", "a ply has a zone or an area of its own, not both")
        if self.gores is not None and self.area is not None:
            raise refuse("place", "a ply of an area of its own has no shape to cut gores by; give it a zone")
        if self.covers is not None and self.area is not None:
            raise PydanticCustomError("place", "a ply of an area of its own covers no openings but those in its area")
        needs(self, "overlap", ("seam",))
        if self.fibre_volume_fraction is not None and self.resin_content is not None:
            raise PydanticCustomError(
                "fraction", "fibre_volume_fraction and resin_content say the same thing: keep one"
            )
        return self

    @property
    def over(self) -> tuple[str, ...]:
        """Names of the holes that it runs over uncut, "openings" for all; empty where it is cut at every edge."""
        return self.covers or ()


class FinishEntry(Entry):
    """`[[finish]]`: primer, filler, paint, gel coat; of the library, or by a measured weight."""

    finish: Finish | None = None
    name: Name | None = None
    coats: Coats = 1
    sides: Literal[1, 2] = 1
    zone: Name | None = None
    thickness: CoatThickness | None = None
    areal_weight: ArealWeight | None = None

    @model_validator(mode="after")
    def _amount(self) -> Self:
        if self.finish is None and self.areal_weight is None:
            raise refuse("finish", 'a finish needs its name, finish = "primer, epoxy", or its areal_weight')
        if self.finish is None:
            needs(self, "finish", ("thickness",))
        return self


class ItemEntry(Entry):
    """What `[[extra]]` and `[[replaces]]` share: a thing whose mass is weighed, known, counted or by the length."""

    name: Name
    weighed: Mass | None = None
    mass: Mass | None = None
    each: Mass | None = None
    count: Count | None = None
    per_length: MassPerLength | None = None
    length: Length | None = None


class ExtraEntry(ItemEntry):
    """`[[extra]]`: fasteners, inserts, adhesive; a fillet or a core's edge of filler, by its section."""

    at: tuple[Place, Place, Place] | None = None
    filler: Finish | None = None
    radius: Thickness | None = None
    depth: Width | None = None
    thickness: Thickness | None = None

    @model_validator(mode="after")
    def _amount(self) -> Self:
        kind = one_of(self, ("weighed", "mass", "each", "per_length", "filler"), "an extra")
        if kind in ("per_length", "filler") and self.length is None:
            raise PydanticCustomError("length", f"{kind} needs length: how much of it there is")
        needs(self, "each", ("count",))
        if kind != "filler":
            needs(self, "per_length", ("length",))
        needs(self, "filler", ("radius", "depth", "thickness"))
        fillet, edge = self.radius is not None, self.depth is not None and self.thickness is not None
        if kind == "filler" and fillet == edge:
            raise refuse(
                "filler",
                "filler needs its section: the radius of a fillet, or the depth and thickness of a core's edge",
            )
        return self


class Stiffeners(Entry):
    """What stiffens a sheet of the old part: angles riveted on by one leg, or blades, side by side."""

    along: Literal["x", "y"]
    pitch: Width
    height: Width
    thickness: Thickness
    flange: Width | None = None


class ReplacesEntry(ItemEntry):
    """`[[replaces]]`: one item of the old part."""

    sheet: Annotated[Name, Of("sheet")] | None = None
    thickness: Thickness | None = None
    fabric: Fabric | None = None
    resin: Resin | None = None
    process: Process | None = None
    core: Core | None = None
    stiffeners: Annotated[list[Stiffeners], LISTED] = []
    covering: Annotated[Name, Of("covering")] | None = None
    finish: Finish | None = None
    coats: Coats | None = None
    areal_weight: ArealWeight | None = None
    area: Area | None = None
    times: Annotated[float, Field(gt=0, le=20)] | None = None
    arm: Place | None = None

    @model_validator(mode="after")
    def _amount(self) -> Self:
        kind = one_of(self, REPLACED, "a replaced item")
        if kind in ("sheet", "core") and self.thickness is None:
            raise PydanticCustomError(
                "thickness", "{text}", {"text": f'a {kind} needs its thickness: thickness = "0.032 in"'}
            )
        if kind == "fabric" and self.process is None:
            raise PydanticCustomError("process", "an old laminate needs its process: how it was laid up")
        if kind == "per_length" and self.length is None:
            raise PydanticCustomError("length", "per_length needs length: how much of it there is")
        if self.area is not None and self.times is not None:
            raise PydanticCustomError("area", "an item has an area of its own or times the new one, not both")
        if kind not in ("sheet", "core", "finish"):
            needs(self, "sheet", ("thickness",))
        if kind not in ("each", "fabric"):
            needs(self, "each", ("count",))
        needs(self, "per_length", ("length",))
        needs(self, "fabric", ("resin", "process"))
        if self.stiffeners and kind != "sheet":
            raise refuse("stiffeners", "stiffeners belong to a sheet: their weight stands in an item of its own")
        needs(self, "finish", ("coats",))
        return self

    @property
    def form(self) -> str:
        """Which of the ways to give an item this one is."""
        return next(key for key in REPLACED if getattr(self, key) is not None)


class MadeEntry(Entry):
    """`[[made]]`: a version of the part that is already on the scale."""

    process: Process
    weighed: Mass
    name: Name | None = None


Near = Annotated[list[Literal["engine", "aerial", "fuel", "dark in the sun", "nothing"]], LISTED]
"""What a part stands beside, one or several."""


class Part(Entry):
    """A whole part file."""

    title: Name
    process: Process
    resin: Resin | None = None
    vacuum: Vacuum | None = None
    altitude: Altitude | None = None
    hand: Hands = ()
    materials: list[Name] = []
    units: Literal["lb", "metric", "both"] = "both"
    arm: Place | None = None
    stack: Name | None = None
    fabric: Fabric | None = None
    trim: Trim | None = None
    mirror: Literal["x", "y", "z"] | None = None
    stages: Annotated[int, Field(ge=1, le=100, strict=True)] = 1
    control_surface: bool | None = None
    near: Near | None = None
    holds_person: bool | None = None
    surface: SurfaceEntry
    holes: list[HolesEntry] = []
    fasteners: list[FastenersEntry] = []
    zone: Annotated[list[ZoneEntry], Field(max_length=500)] = []
    ply: list[PlyEntry] = []
    finish: list[FinishEntry] = []
    extra: list[ExtraEntry] = []
    replaces: list[ReplacesEntry] = []
    made: list[MadeEntry] = []
    needs: Needs | None = None
    shelf: Shelf | None = None

    @model_validator(mode="after")
    def _layup(self) -> Self:
        if self.stack is not None:
            if self.ply:
                raise PydanticCustomError("stack", "stack and [[ply]] say the same thing: keep one")
            if self.fabric is None:
                raise PydanticCustomError("stack", 'a stack needs its fabric: fabric = "carbon plain 200"')
            try:
                parse_stack(self.stack)
            except LayupError as error:
                raise PydanticCustomError("stack", "{text}", {"text": str(error)}) from None
        elif self.fabric is not None:
            raise PydanticCustomError("stack", 'a fabric at the top of the file needs its stack: stack = "[0/45]s"')
        elif not self.ply and (self.shelf is None or not self.shelf.fabrics):
            raise PydanticCustomError("ply", "there is no ply: add a [[ply]] table with its fabric, or a stack")
        return self

    def plies(self) -> tuple[PlyEntry, ...]:
        """The layup line by line, with a `stack` written out."""
        if self.stack is None:
            return tuple(self.ply)
        return tuple(PlyEntry(fabric=self.fabric, angle=ply.angle) for ply in parse_stack(self.stack))
