"""A ply that is wider than the roll, cut in strips along its warp with an overlap where they join.

How many strips, and where?     splice(shape, usable, overlap)
What does the join weigh?       the overlap is laid twice: `Strips.doubled` is its area
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from layup.errors import RangeError

if TYPE_CHECKING:
    from shapely import Polygon


_SHIFTS = (0.0, *(sign * n / 6 for n in range(1, 7) for sign in (1, -1)))
"""How far the joins are moved, of what the roll has to spare; not at all first. [-]"""


@dataclass(frozen=True, eq=False, slots=True)
class Strips:
    """A ply in strips.

    Attributes:
        shapes: The strips, from the lower edge up; one where nothing had to be cut. [m]
        seam: Total length of the joins. [m]
        doubled: Area that is laid twice. [m^2]
        overlap: Width of the join. [m]
        count: How many strips; a strip may fall into several shapes.
        edges: Lower and upper edge of each join, across the warp. [m]
    """

    shapes: tuple[Polygon, ...]
    seam: float
    doubled: float
    overlap: float
    count: int = 1
    edges: tuple[tuple[float, float], ...] = ()


def splice(shape: Polygon, usable: float, overlap: float) -> Strips:
    """Cut an outline in strips along x that fit across the roll.

    They are equal unless moved joins make fewer pieces, or take less cloth.

    Args:
        shape: Outline with the warp along +x. [m]
        usable: Width of the roll that can be used. [m]
        overlap: Of neighbouring strips. [m]

    Returns:
        The strips. Where a strip falls into several pieces, each is a shape of its own.

    Raises:
        RangeError: An overlap that leaves no width.
    """
    import shapely

    low_x, low, high_x, high = shape.bounds
    if high - low <= usable + 1e-9:
        return Strips((shape,), 0.0, 0.0, overlap)
    if not 0.0 <= overlap < usable:
        raise RangeError(f"an overlap of {overlap * 1e3:g} mm on a roll of {usable * 1e3:g} mm leaves no cloth")
    count = math.ceil((high - low - overlap) / (usable - overlap) - 1e-9)
    width = (high - low + (count - 1) * overlap) / count
    best: Strips | None = None
    for share in _SHIFTS:
        joins = [low + share * (usable - width) + n * (width - overlap) for n in range(1, count)]
        ends = [low, *joins, high]
        bands = [(a, b + overlap if n < count - 1 else b) for n, (a, b) in enumerate(pairwise(ends))]
        shapes: list[Polygon] = []
        for bottom, top in bands:
            band = shapely.box(low_x - 1.0, bottom, high_x + 1.0, top)
            shapes += [p for p in _polygons(shape.intersection(band)) if p.area > 1e-8]
        lines = [shapely.LineString([(low_x - 1.0, y + overlap / 2), (high_x + 1.0, y + overlap / 2)]) for y in joins]
        seam = float(sum(line.intersection(shape).length for line in lines))
        doubled = float(sum(s.area for s in shapes) - shape.area)
        tried = Strips(tuple(shapes), seam, doubled, overlap, count, tuple((y, y + overlap) for y in joins))
        if best is None or (len(shapes), doubled) < (len(best.shapes), 0.98 * best.doubled):
            best = tried
    assert best is not None
    return best


def _polygons(shape: object) -> list[Polygon]:
    import shapely

    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
