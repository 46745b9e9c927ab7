"""Pieces on a roll: their shapes, the roll with its bad places, and where a piece is laid."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely import Polygon


SLACK = 1e-5
"""Layouts are made with this much more gap than asked for, so that no rounding can break the gap. [m]"""


@dataclass(frozen=True, eq=False, slots=True)
class Piece:
    """One ply as it is cut.

    Attributes:
        name: What is written on it.
        shape: Its outline, the warp along +x. [m]
        turns: Whether it may be turned end for end: the cloth is the same both ways.
        flips: Whether it may be cut face down: the cloth is the same on both faces.
    """

    name: str
    shape: Polygon
    turns: bool = True
    flips: bool = False


@dataclass(frozen=True, eq=False, slots=True)
class Roll:
    """The cloth to cut from: x along the roll from its end, y across it from one edge.

    Attributes:
        width: Edge to edge. [m]
        edge: Strip along each edge that is not used. [m]
        length: What is left on the roll; None for enough. [m]
        blocked: Defects, and what was cut out before. [m]
    """

    width: float
    edge: float = 0.0
    length: float | None = None
    blocked: tuple[Polygon, ...] = ()

    @property
    def usable(self) -> float:
        """Width between the unused edges. [m]"""
        return self.width - 2 * self.edge

    def after(self, laid: Iterable[Polygon]) -> Roll:
        """The same roll with what an earlier layout laid cut out of it, `earlier.laid()`."""
        return replace(self, blocked=(*self.blocked, *laid))


@dataclass(frozen=True, eq=False, slots=True)
class Cloth:
    """A roll or a remnant of a cloth that is in the shop.

    Attributes:
        label: What is written on it.
        lot: Of its maker.
        roll: Whether it is a roll; else a remnant.
        width: Of a roll from edge to edge; of a remnant across its warp. [m]
        length: What is left on the roll; of a remnant along its warp. [m]
        outline: Of a remnant, from its lower left corner, the warp along +x. [m]
    """

    label: str
    lot: str
    roll: bool
    width: float
    length: float
    outline: Polygon | None = None

    def as_roll(self) -> Roll:
        """A remnant as a roll that ends where it ends, with what lies outside of its outline blocked."""
        import shapely

        box = shapely.box(0.0, 0.0, self.length, self.width)
        outside = () if self.outline is None else shapely.get_parts(box.difference(self.outline))
        return Roll(
            self.width, 0.0, self.length, tuple(p for p in outside if p.geom_type == "Polygon" and p.area > 1e-8)
        )


@dataclass(frozen=True, slots=True)
class Placed:
    """Where one piece lies: flipped about its warp, then turned, then moved.

    Attributes:
        piece: Its index.
        x: Along the roll. [m]
        y: Across the roll. [m]
        turned: By half a turn.
        flipped: Cut face down.
    """

    piece: int
    x: float
    y: float
    turned: bool = False
    flipped: bool = False


def lay(shape: Polygon, placed: Placed) -> Polygon:
    """An outline moved to its place."""
    from shapely import affinity

    across = -1.0 if placed.turned != placed.flipped else 1.0
    along = -1.0 if placed.turned else 1.0
    moved: Polygon = affinity.affine_transform(shape, [along, 0.0, 0.0, across, placed.x, placed.y])
    return moved


LONGEST = 300.0
"""A roll of cloth is no longer. [m]"""
