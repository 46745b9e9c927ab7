"""A ply that is wider than the roll, cut in strips along its warp with an overlap where they join.

How many strips, and where?     splice(shape, usable, overlap)
What does the join weigh?       the overlap is laid twice: `Strips.doubled` is its area
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.errors import RangeError

if TYPE_CHECKING:
    from shapely import Polygon


@dataclass(frozen=True, eq=False, slots=True)
class Strips:
    """A ply in strips.

    Attributes:
        shapes: The strips, from the lower edge up; one where nothing had to be cut. [m]
        seam: Total length of the joins. [m]
        doubled: Area that is laid twice. [m^2]
        overlap: Width of the join. [m]
        count: How many strips; a strip may fall into several shapes.
    """

    shapes: tuple[Polygon, ...]
    seam: float
    doubled: float
    overlap: float
    count: int = 1


def splice(shape: Polygon, usable: float, overlap: float) -> Strips:
    """Cut an outline in equal strips along x that fit across the roll.

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
    shapes: list[Polygon] = []
    seam = 0.0
    for number in range(count):
        bottom = low + number * (width - overlap)
        band = shapely.box(low_x - 1.0, bottom, high_x + 1.0, bottom + width)
        shapes += [p for p in _polygons(shape.intersection(band)) if p.area > 1e-8]
        if number:
            middle = bottom + overlap / 2
            line = shapely.LineString([(low_x - 1.0, middle), (high_x + 1.0, middle)])
            seam += float(line.intersection(shape).length)
    doubled = sum(s.area for s in shapes) - shape.area
    return Strips(tuple(shapes), seam, float(doubled), overlap, count)


def _polygons(shape: object) -> list[Polygon]:
    import shapely

    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
