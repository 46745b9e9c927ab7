"""What the part has to do, in the words of the trade: the tables `[needs]`, `[[needs.local]]` and `[shelf]`.

The models hold SI numbers. `layup choose` reads them; every other command passes them by.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Literal, Self, get_args

from pydantic import BeforeValidator, Field, model_validator

from layup.partfile.fields import LISTED, Entry, Name, Of, Place, quantity, refuse

Rule = Literal["balanced", "a tenth across", "short runs", "one cloth", "two plies", "45 outermost"]
RULES: tuple[Rule, ...] = get_args(Rule)
"""Rules of the trade, common practice, no source: all but the last are kept where `drop_rules` does not name them."""
Supports = Literal["free", "simple", "clamped"]
Criterion = Literal["max stress", "max strain", "Tsai-Hill", "modified Tsai-Hill", "Tsai-Wu"]

Sag = Annotated[float, quantity("length", 1e-5, 1.0, "outside 0.01 mm to 1 m: check the unit")]
Pressure = Annotated[float, quantity("pressure", 0.0, 1e6, "more than 10 bar: check the unit")]
Speed = Annotated[float, quantity("speed", 0.0, 340.0, "faster than sound: the formula does not hold there")]
Height = Annotated[float, quantity("length", -500.0, 20_000.0, "outside -500 m to 20 km")]
Force = Annotated[float, quantity("force", 0.0, 1e6, "more than 1 MN: check the unit")]
Torque = Annotated[float, quantity("torque", 0.0, 1e6, "more than 1 MN m: check the unit")]
Stress = Annotated[float, quantity("stress", 1e3, 1e12, "outside 1 kPa to 1000 GPa: check the unit")]
Frequency = Annotated[float, quantity("frequency", 0.0, 1e5, "more than 100 kHz")]
Length = Annotated[float, quantity("length", 1e-4, 100.0, "outside 0.1 mm to 100 m: check the unit")]
Thickness = Annotated[float, quantity("length", 1e-5, 0.3, "outside 0.01 to 300 mm: check the unit")]
Angle = Annotated[float, quantity("angle", -90.0, 90.0, "outside -90 to 90 degrees")]
Fabric = Annotated[Name, Of("fabric")]
Plies = Annotated[int, Field(ge=1, le=60, strict=True)]
Positive = Annotated[float, Field(gt=0, le=20)]

_STIFF = re.compile(r"^(?:([0-9.]+)\s*(?:x|times)?\s*)?(?:as )?(?:stiff as )?what it replaces$")
NOT_ASKED = 0.0


def _factor(value: object) -> float:
    """A load factor: below 1 it would take load away."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 1 <= value <= 20:
        raise refuse(
            "load_factor",
            f"{value} is not a load factor from 1 to 20: it multiplies the loads, and one below 1 takes load away. "
            "Aircraft rules ask for 1.5 at least: load_factor = 1.5",
        )
    return float(value)


LoadFactor = Annotated[float, BeforeValidator(_factor)]
USUAL_LOAD_FACTOR = 1.5
"""Where none is stated: ultimate over limit load in CS-22.303, CS-VLA 303 and 14 CFR 23.2230 (from memory). [-]"""


def _times(value: object) -> float:
    """`as what it replaces` is 1, `1.5 times what it replaces` 1.5, `not asked` 0."""
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1000:
        return float(value)
    text = " ".join(str(value).casefold().split())
    if text in ("not asked", "none", "no"):
        return NOT_ASKED
    found = _STIFF.match(text)
    if found is None:
        raise refuse(
            "stiffness",
            f'"{value}" is not read. Write "as what it replaces", "1.5 times what it replaces" or "not asked"',
        )
    try:
        return float(found[1] or 1.0)
    except ValueError:
        raise refuse("stiffness", f'"{found[1]}" is not a number') from None


class Section(Entry):
    """`section` under `[needs]`: the closed section of which the part is one wall (box) or the whole (tube)."""

    shape: Literal["box", "tube"]
    width: Length | None = None
    height: Length | None = None
    diameter: Length | None = None
    length: Length | None = None
    torque: Torque | None = None
    moment: Torque | None = None

    @model_validator(mode="after")
    def _measures(self) -> Self:
        due = ("width", "height") if self.shape == "box" else ("diameter", "length")
        other = ("diameter", "length") if self.shape == "box" else ("width", "height")
        lacks = [key for key in due if getattr(self, key) is None]
        if lacks or any(getattr(self, key) is not None for key in other):
            how = (
                'section = { shape = "box", width = "200 mm", height = "90 mm", torque = "40 N m" }, between the '
                "middles of its walls, the part being one wall of that width"
                if self.shape == "box"
                else 'section = { shape = "tube", diameter = "60 mm", length = "800 mm", moment = "90 N m" }, to the '
                "middle of its wall, and between the rings or ends that hold it round"
            )
            raise refuse("section", f"a {self.shape} has {due[0]} and {due[1]} and no other measure: {how}")
        return self

    @property
    def shear_flow(self) -> float:
        """Of the torque, round the wall: T/(2 A), A within its middle line. [N/m]

        Source: Bredt 1896; Bruhn, Analysis and Design of Flight Vehicle Structures, 1973, ch. A6 (from memory).
        """
        if self.shape == "box":
            return (self.torque or 0.0) / (2 * (self.width or 1.0) * (self.height or 1.0))
        return (self.torque or 0.0) / (math.pi / 2 * (self.diameter or 1.0) ** 2)

    @property
    def bent(self) -> float:
        """Push and pull per width that the moment brings into the wall farthest out. [N/m]

        Of a box the two walls as a couple, M/(w h): right whatever its side walls are made of, and cautious where they
        help. Of a tube M/(pi r^2). Source: equilibrium; beam theory.
        """
        if self.shape == "box":
            return (self.moment or 0.0) / ((self.width or 1.0) * (self.height or 1.0))
        return (self.moment or 0.0) / (math.pi / 4 * (self.diameter or 1.0) ** 2)


class HandLoad(Entry):
    """A hand, a foot, a knee: what `[needs]` and `[[needs.local]]` share."""

    hand_load: Force | None = None
    hand_patch: tuple[Length, Length] = (0.05, 0.05)
    hand_deflection: Sag | None = None

    @model_validator(mode="after")
    def _hand(self) -> Self:
        if self.hand_deflection is not None and not self.hand_load:
            raise refuse("hand", 'hand_deflection needs its load: hand_load = "200 N"')
        return self


class Bolts(Entry):
    """`[[needs.bolts]]`: one row of bolts, screws or rivets through the laminate, and what each of them carries.

    Its holes are given, or are those of a table of `[[fasteners]]`, the widest and the nearest of them.
    """

    name: Name
    fasteners: Name | None = None
    diameter: Length | None = None
    edge: Length | None = None
    pitch: Length | None = None
    load: Force | None = None
    bearing_strength: Stress | None = None
    pull: Force | None = None
    head: Length | None = None
    through_strength: Stress | None = None

    @model_validator(mode="after")
    def _figures(self) -> Self:
        if self.load and self.bearing_strength is None:
            raise refuse("bolts", 'load needs what the laminate bears, tested on it: bearing_strength = "250 MPa"')
        if self.pull and (self.head is None or self.through_strength is None):
            raise refuse(
                "bolts",
                'pull needs the washer and a tested shear strength: head = "12 mm", through_strength = "40 MPa"',
            )
        if not (self.load or self.pull):
            raise refuse("bolts", 'bolts need what each carries: load = "600 N" in the plane, or pull = "200 N"')
        holes = (self.diameter, self.edge, self.pitch)
        if self.fasteners is None and None in holes:
            raise refuse(
                "bolts",
                'bolts need their holes: diameter, edge and pitch, or fasteners = "NAME" of a [[fasteners]]',
            )
        if self.fasteners is not None and holes != (None, None, None):
            raise refuse("bolts", "fasteners gives diameter, edge and pitch as they are on the part: leave those out")
        if self.pitch is not None and self.diameter is not None and self.pitch <= self.diameter:
            raise refuse("bolts", "pitch is from the middle of a hole to the middle of the next: more than a diameter")
        return self


class Lap(Entry):
    """`[[needs.laps]]`: the laminate bonded to one like it, over an overlap."""

    name: Name
    load: Force
    width: Length
    overlap: Length
    glue: Length
    glue_shear_modulus: Stress
    glue_modulus: Stress
    shear_strength: Stress
    peel_strength: Stress
    double: bool = False


class Insert(Entry):
    """`[[needs.inserts]]`: a potted insert through the core, pulled across the panel."""

    name: Name
    pull: Force
    diameter: Length


class LocalNeeds(HandLoad):
    """`[[needs.local]]`: a zone that may get plies of its own."""

    zone: Name
    most_plies: Plies = 3
    fabrics: list[Fabric] = []
    angles: list[Angle] | None = None


TRADE_KEYS = {
    "minimum_plies": "least_plies",
    "maximum_plies": "most_plies",
    "minimum_skin_plies": "least_skin",
    "maximum_thickness": "greatest_thickness",
    "compression_x": "push_x",
    "compression_y": "push_y",
    "tension_x": "pull_x",
    "tension_y": "pull_y",
}
"""What the trade calls some keys of `[needs]`."""


class Needs(HandLoad):
    """`[needs]`: what the part has to do."""

    stiffness: Annotated[float, BeforeValidator(_times)] = 1.0
    in_plane_stiffness: Annotated[float, BeforeValidator(_times)] | None = None
    span: Length | None = None
    pressure: Pressure | None = None
    speed: Speed | None = None
    at_altitude: Height = 0.0
    of_dynamic_pressure: Positive = 1.0
    deflection: Sag | None = None
    hand_at: tuple[Place, Place] | None = None
    frequency: Frequency | None = None
    push_x: Force | None = None
    push_y: Force | None = None
    pull_x: Force | None = None
    pull_y: Force | None = None
    shear_x: Force | None = None
    shear_y: Force | None = None
    section: Section | None = None
    load_factor: LoadFactor | None = None
    criterion: Criterion = "max stress"
    least_plies: Plies | None = None
    most_plies: Plies | None = None
    least_skin: Plies | None = None
    drop_rules: Annotated[list[Rule], LISTED] = []
    keep_rules: Annotated[list[Literal["45 outermost"]], LISTED] = []
    greatest_thickness: Thickness | None = None
    surface_ply: Fabric | None = None
    angles: list[Angle] | None = None
    symmetric: bool = True
    run_at_most: Plies | None = None
    supports: Supports | dict[Literal["left", "right", "bottom", "top"], Supports] = "simple"
    held_at: list[tuple[Place, Place]] = []
    local: list[LocalNeeds] = []
    bolts: list[Bolts] = []
    laps: list[Lap] = []
    inserts: list[Insert] = []

    @model_validator(mode="before")
    @classmethod
    def _named(cls, data: object) -> object:
        """Words of the trade for keys that have another word too, which is still read."""
        if not isinstance(data, dict):
            return data
        found = dict(data)
        for said, key in TRADE_KEYS.items():
            if said in found and key in found:
                raise refuse("key", f"{said} and {key} say the same thing: keep one")
            if said in found:
                found[key] = found.pop(said)
        return found

    @model_validator(mode="after")
    def _together(self) -> Self:
        if self.deflection is not None and not (self.pressure or self.speed):
            raise refuse("deflection", 'deflection needs what presses: pressure = "500 Pa" or speed = "200 km/h"')
        if self.hand_at is not None and not self.hand_load:
            raise refuse("hand", 'hand_at needs its load: hand_load = "200 N"')
        if self.most_plies is not None and self.most_plies < (self.least_plies or 1):
            raise refuse("plies", f"most_plies {self.most_plies} is less than least_plies {self.least_plies}")
        if self.shear_x and self.shear_y:
            raise refuse(
                "shear",
                "shear_x and shear_y are two ways to say one shear: a force along x on the edges that run along x, or "
                "along y on those that run along y. Leave one out",
            )
        across = self.pressed or self.frequency is not None or self.push_y or self.pull_y
        if self.tube is not None and (across or self.shear_x or self.shear_y or self.local):
            raise refuse(
                "section",
                "a tube is checked for torque, moment, push_x and pull_x along its axis alone. Leave out what presses "
                "across it, or give a piece of its wall a part file of its own",
            )
        return self

    @property
    def loaded(self) -> bool:
        """Whether anything presses on the panel or pushes its edges."""
        return self.pressed or self.edge_loaded

    @property
    def joined(self) -> bool:
        """Whether joints are named."""
        return bool(self.bolts or self.laps or self.inserts)

    @property
    def pressed(self) -> bool:
        """Whether anything presses across the panel."""
        return bool(self.pressure or self.speed or self.hand_load) or any(place.hand_load for place in self.local)

    @property
    def edge_loaded(self) -> bool:
        """Whether anything pushes, pulls or shears its edges."""
        round_it = self.section is not None and bool(self.section.torque or self.section.moment)
        own = self.push_x or self.push_y or self.pull_x or self.pull_y or self.shear_x or self.shear_y
        return bool(own) or round_it

    def keeps(self, rule: Rule) -> bool:
        """Whether a rule of the trade is kept: "45 outermost" where asked, the others where not dropped."""
        return rule not in self.drop_rules and (rule != "45 outermost" or rule in self.keep_rules)

    @property
    def fewest_plies(self) -> int:
        """Of the whole stack, the core not counted. [-]"""
        return self.least_plies or (min(2, self.most_plies or 2) if self.keeps("two plies") else 1)

    @property
    def fewest_on_a_side(self) -> int:
        """Of either side of a core. [-]"""
        return self.least_skin or (2 if self.keeps("two plies") else 1)

    @property
    def tube(self) -> Section | None:
        """The tube that the part is; None where it is a panel."""
        return self.section if self.section is not None and self.section.shape == "tube" else None

    @property
    def in_plane(self) -> float:
        """How many times as stiff in its own plane as what it replaces; as in bending where nothing is said. [-]"""
        return self.stiffness if self.in_plane_stiffness is None else self.in_plane_stiffness


class ShelfCore(Entry):
    """A core on the shelf, in one thickness."""

    core: Annotated[Name, Of("core")]
    thickness: Thickness | None = None


class Shelf(Entry):
    """`[shelf]`: what the shop has to choose from; what is left out is taken from the part's own plies and process."""

    fabrics: Annotated[list[Fabric], LISTED] = []
    cores: Annotated[list[ShelfCore], LISTED] = []
    processes: Annotated[list[Annotated[Name, Of("process")]], LISTED] = []
    solid: bool = True
