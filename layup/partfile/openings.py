"""Holes and fasteners as the part file gives them: `[[holes]]` and `[[fasteners]]`.

Lengths are SI, angles degrees. What they come to on the surface is worked out in `layup.partfile.holes`.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from layup.partfile.fields import Entry, Name, Place, Vector, needs, one_of, quantity, refuse

Diameter = Annotated[float, quantity("length", 1e-4, 10.0, "outside 0.1 mm to 10 m: check the unit")]
Pitch = Annotated[float, quantity("length", 1e-4, 100.0, "outside 0.1 mm to 100 m: check the unit")]
Margin = Annotated[float, quantity("length", 0.0, 0.1, "more than 100 mm: check the unit")]
Turn = Annotated[float, quantity("angle", -360.0, 360.0, "outside -360 to 360 degrees")]
Times = Annotated[float, Field(gt=0, le=20, strict=True)]
MOST = 4_000
"""Holes of one pattern, at most: more than that is a perforated sheet, which a table weighs. [-]"""
Count = Annotated[int, Field(ge=1, le=MOST, strict=True)]


def _spot(value: object) -> object:
    if not isinstance(value, list) or len(value) not in (2, 3):
        raise refuse("place", 'a place is two lengths in plan, or x, y and z: ["60 mm", "50 mm"]')
    return value


def _pitches(value: object) -> object:
    listed = value if isinstance(value, list) else [value]
    if not 1 <= len(listed) <= 2:
        raise refuse("pitch", 'one pitch, "60 mm", or two, across and up: ["60 mm", "50 mm"]')
    return listed


Spot = Annotated[list[Place], BeforeValidator(_spot)]
Pitches = Annotated[list[Pitch], BeforeValidator(_pitches)]

LAID_OUT = ("first", "centre", "layer", "file")
"""The ways to say where holes are."""


class HolesEntry(Entry):
    """`[[holes]]`: round holes that take weight out; rows, grids and rings, or as drawn or measured."""

    name: Name
    diameter: Diameter | None = None
    first: Spot | None = None
    pitch: Pitches | None = None
    count: Count | None = None
    columns: Count | None = None
    rows: Count | None = None
    staggered: bool | None = None
    angle: Turn | None = None
    centre: Spot | None = None
    ring: Pitch | None = None
    layer: Name | None = None
    file: Name | None = None
    unit: Name | None = None
    along: Vector | None = None

    @model_validator(mode="after")
    def _form(self) -> Self:
        if not any(getattr(self, key) is not None for key in LAID_OUT):
            if self.diameter is None or self.count is None:
                raise refuse(
                    "place",
                    "holes need their diameter and their place: first with count and pitch, centre with ring "
                    "and count, layer, or file",
                )
            for key in ("pitch", "columns", "rows", "ring", "angle"):
                if getattr(self, key) is not None:
                    raise refuse("place", f"{key} needs first, the middle of the first hole; or centre, for a ring")
            return self
        form = one_of(self, LAID_OUT, "a pattern of holes")
        if form in ("first", "centre") and self.diameter is None:
            raise refuse("diameter", 'diameter is missing: write diameter = "40 mm"')
        for key, owner in (
            ("pitch", "first"),
            ("columns", "first"),
            ("rows", "first"),
            ("staggered", "first"),
            ("ring", "centre"),
            ("unit", "file"),
        ):
            needs(self, owner, (key,))
        if form == "first":
            self._rows()
        if form == "centre" and (self.ring is None or self.count is None):
            raise refuse("ring", "a ring needs ring, the diameter of the circle through the middles, and count")
        if form in ("layer", "file"):
            for key in ("count", "angle"):
                if getattr(self, key) is not None:
                    raise refuse(form, f"{key} is in the {form} already")
        if form == "layer" and self.diameter is not None:
            raise refuse("layer", "holes of a drawing have the diameter they are drawn with")
        return self

    def _rows(self) -> None:
        gridded = self.columns is not None or self.rows is not None
        if self.count is not None and gridded:
            raise refuse("count", "count is for one row; columns and rows say it for a grid: keep one of them")
        if (self.columns is None) != (self.rows is None):
            raise refuse("rows", "columns and rows go together")
        if (self.columns or 1) * (self.rows or 1) > MOST:
            raise refuse("rows", f"{self.columns} columns of {self.rows} are more than {MOST:,} holes")
        if self.staggered is not None and not gridded:
            raise refuse("staggered", "staggered is for columns and rows")
        several = (self.count or 1) > 1 or (self.columns or 1) * (self.rows or 1) > 1
        if several and self.pitch is None:
            raise refuse("pitch", 'pitch is missing: from middle to middle, pitch = "60 mm"')
        if self.pitch is not None and len(self.pitch) > 1 and not gridded:
            raise refuse("pitch", "two pitches are for columns and rows; one row has one")

    @property
    def form(self) -> str:
        """Which of the ways to say where holes are; "count" where only their number is known."""
        return next((key for key in LAID_OUT if getattr(self, key) is not None), "count")


class FastenersEntry(Entry):
    """`[[fasteners]]`: an existing pattern of fastener holes that the new part has to match."""

    name: Name
    file: Name
    unit: Name | None = None
    layer: Name | None = None
    largest: Diameter | None = None
    diameter: Diameter | None = None
    match: dict[str, Spot] | None = None
    within: Margin | None = None
    along: Vector | None = None
    rule: Literal["metal", "composite"] = "composite"
    edge: Times | None = None
    pitch: Times | None = None
    margin: Margin | None = None

    @model_validator(mode="before")
    @classmethod
    def _match(cls, data: object) -> object:
        match = data.get("match") if isinstance(data, dict) else None
        if match is not None and not isinstance(match, dict):
            raise refuse("match", 'match gives places by the names of holes: match = { A1 = ["12 mm", "14 mm"], ... }')
        return data

    @model_validator(mode="after")
    def _points(self) -> Self:
        if self.match is not None and len(self.match) < 3:
            raise refuse("match", "match needs three points or more that are known on both, not all on one line")
        if self.within is not None and self.match is None:
            raise refuse("within", "within says how well matched points must fit: it belongs to match")
        if not self.file.casefold().endswith(".csv"):
            if self.diameter is not None:
                raise refuse("diameter", "a drawing has the diameter of every hole; diameter is for a list of points")
        else:
            for key in ("layer", "largest"):
                if getattr(self, key) is not None:
                    raise refuse(key, f"{key} is for a drawing, not for a list of points")
        return self
