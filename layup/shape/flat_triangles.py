"""Triangles of a flat shape with any number of cut-outs.

    Points and faces, facing +z      triangles_of(shape)
    With borders along edges         triangles_of(shape, [line, ...])

The library's triangulation first joins every cut-out to the edge, which takes as long as the square of their number.
So a shape with many is parted into tiles along straight lines. Neighbouring tiles share the very same points: the
lines are crossed with the edges before the tiles are made, not tile by tile.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from layup.shape.surface import Mesh
from layup.shape.topology import weld

if TYPE_CHECKING:
    from shapely import Geometry

_EACH = 50
"""Cut-outs of one tile, about. [-]"""


def triangles_of(shape: Geometry, lines: Sequence[Geometry] = ()) -> Mesh:
    """Points and faces of a flat shape, facing +z.

    Args:
        shape: A polygon or several. [m]
        lines: Lines that triangles must not cross: borders of areas. [m]
    """
    import shapely

    cuts = [*lines, *_tiling(shape)]
    cells = shapely.get_parts(shape)
    if cuts:
        shapely.prepare(shape)
        noded = shapely.unary_union([shape.boundary, *cuts])
        cells = shapely.get_parts(shapely.polygonize([noded]))
        cells = cells[shapely.contains(shape, shapely.point_on_surface(cells))]
    triangles = shapely.get_parts(shapely.get_parts(shapely.constrained_delaunay_triangles(cells)))
    flat = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    a, b, c = flat[:, 0], flat[:, 1], flat[:, 2]
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    flat[turn < 0.0] = flat[turn < 0.0][:, ::-1]
    return weld(np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=2))


def _tiling(shape: Any) -> list[Geometry]:
    """Lines along x and y that part a shape with many cut-outs into tiles."""
    import shapely

    holes = int(shapely.get_num_interior_rings(shapely.get_parts(shape)).sum())
    if holes < 2 * _EACH:
        return []
    left, low, right, high = shape.bounds
    across = max(1, round(float(np.sqrt(holes / _EACH * (right - left) / (high - low)))))
    up = max(1, round(float(np.sqrt(holes / _EACH * (high - low) / (right - left)))))
    xs = [left + (right - left) * k / across for k in range(1, across)]
    ys = [low + (high - low) * k / up for k in range(1, up)]
    return [shapely.LineString([(x, low), (x, high)]) for x in xs] + [
        shapely.LineString([(left, y), (right, y)]) for y in ys
    ]
