"""A ply that is a ring, cut in four with an overlap: the middle of a ring is cloth that nothing else may fit.

Is it a ring?                     is_ring(shape): its largest hole is half of what its outer line encloses, or more
Without its openings              uncut(shape)
In four, square to the warp?      quarters(shape, overlap)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely import Polygon

HOLLOW = 0.5
"""Share of the outline that the hole takes. [-]"""
WORTH = 0.01
"""A ring round a smaller hole than this is left whole: cloth saved there is less than the joins cost. Common practice,
no source. [m^2]"""


def is_ring(shape: Polygon) -> bool:
    """Whether an outline is mostly hole."""
    import shapely

    holes = [shapely.Polygon(ring).area for ring in shape.interiors]
    return bool(holes) and max(holes) >= HOLLOW * shapely.Polygon(shape.exterior).area


def worth_parting(shape: Polygon) -> bool:
    """Whether an outline is a ring with so large a hole that its cloth is worth saving."""
    import shapely

    return is_ring(shape) and max(shapely.Polygon(ring).area for ring in shape.interiors) >= WORTH


def uncut(shape: Polygon) -> Polygon:
    """The outline without its openings: cloth runs across them, and they are cut when the part is hard.

    What is mostly opening, a frame, keeps it: nobody lays a whole window to cut it out again.
    """
    import shapely

    return shape if is_ring(shape) else shapely.Polygon(shape.exterior)


def quarters(shape: Polygon, overlap: float) -> tuple[Polygon, ...]:
    """A ring parted along and across its warp, through the middle of its largest hole.

    Args:
        shape: Outline with the warp along +x. [m]
        overlap: Of neighbouring quarters. [m]

    Returns:
        The quarters; together they cover the ring, and overlap by as much.
    """
    import shapely

    hole = max((shapely.Polygon(ring) for ring in shape.interiors), key=lambda h: h.area)
    x, y = hole.centroid.x, hole.centroid.y
    low_x, low_y, high_x, high_y = shape.bounds
    half = overlap / 2
    found: list[Polygon] = []
    for x0, x1 in ((low_x - 1.0, x + half), (x - half, high_x + 1.0)):
        for y0, y1 in ((low_y - 1.0, y + half), (y - half, high_y + 1.0)):
            piece = shape.intersection(shapely.box(x0, y0, x1, y1))
            found += [p for p in shapely.get_parts(piece) if p.geom_type == "Polygon" and p.area > 1e-7]
    return tuple(found)
