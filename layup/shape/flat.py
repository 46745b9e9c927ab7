"""Flat surfaces from figures: a rectangle, an outline with cut-outs, or only an area."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import FARTHEST, Measured, measure_triangles
from layup.shape.surface import Finding, Mesh, Surface
from layup.shape.topology import weld
from layup.words import plain

if TYPE_CHECKING:
    from shapely import Geometry, Polygon

Line = Sequence[tuple[float, float]]


def rectangle(length: float, width: float) -> Surface:
    """A flat rectangle from (0, 0, 0) to (length, width, 0).

    Args:
        length: Along x. [m]
        width: Along y. [m]

    Raises:
        SurfaceError: a side that is not greater than zero.
    """
    for word, value in (("length", length), ("width", width)):
        if not 0.0 < value < FARTHEST:
            raise SurfaceError(
                f"rectangle: the {word} is {_mm(value)}", 'It must be greater than 0, say ["1 m", "600 mm"]'
            )
    corners = np.array([[0.0, 0.0, 0.0], [length, 0.0, 0.0], [length, width, 0.0], [0.0, width, 0.0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    whole = replace(measure_triangles(corners[faces]), perimeter=2.0 * (length + width))
    return Surface("rectangle", whole, lambda: (corners, faces))


def outline(points: Line, cutouts: Sequence[Line] = ()) -> Surface:
    """A flat surface inside a closed line of points, less its cut-outs.

    The line closes by itself; a last point equal to the first is not needed. Cut-outs may touch or overlap:
    what is cut twice is taken off once.

    Args:
        points: x, y of each corner, in order round the outline. [m]
        cutouts: The same for each cut-out. [m]

    Raises:
        SurfaceError: fewer than three points, no area, a line that crosses itself (naming where), a cut-out that
            reaches outside the outline.
    """
    import shapely

    whole = _polygon(points, "outline")
    holes = np.array([_polygon(line, f"cut-out {number}") for number, line in enumerate(cutouts, 1)], dtype=object)
    findings: list[Finding] = []
    shapely.prepare(whole)
    beyond = np.flatnonzero(~shapely.covers(whole, holes)) if len(holes) else np.zeros(0, dtype=np.int64)
    if len(beyond):
        raise SurfaceError(
            f"outline: cut-out {beyond[0] + 1} reaches outside the outline",
            "Move its points inside, or draw that part of the edge in the outline itself",
        )
    findings += [
        Finding("overlap", 1, f"cut-out {number + 1} overlaps another; what is cut twice is taken off once", 0.0)
        for number in _overlapping(holes)
    ]
    shape = shapely.difference(whole, shapely.union_all(holes)) if len(holes) else whole
    if not shape.area > 0.0:
        raise SurfaceError("outline: the cut-outs leave nothing of it", "Check the points of the cut-outs")
    if shape.geom_type != "Polygon":
        count = len(shapely.get_parts(shape))
        findings.append(Finding("pieces", count, f"the cut-outs part the outline into {count} pieces"))
    mesh = triangles_of(shape)
    measured = replace(measure_triangles(mesh[0][mesh[1]]), perimeter=float(shape.length))
    return Surface("outline", measured, lambda: mesh, findings=tuple(findings))


def _overlapping(holes: NDArray[np.object_]) -> list[int]:
    """Places of the cut-outs that share area with one ahead of them."""
    import shapely

    if len(holes) < 2:
        return []
    pairs = shapely.STRtree(holes).query(holes, predicate="intersects").T
    pairs = pairs[pairs[:, 0] > pairs[:, 1]]  # the later one, and one ahead of it
    shared = shapely.area(shapely.intersection(holes[pairs[:, 0]], holes[pairs[:, 1]]))
    later = pairs[shared > 1e-9 * shapely.area(holes[pairs[:, 0]]), 0]
    return [int(number) for number in np.unique(later)]


def from_area(area: float) -> Surface:
    """A surface known only by its area; centroid, box and free edge stay unknown.

    Args:
        area: [m^2]

    Raises:
        SurfaceError: an area that is not greater than zero.
    """
    if not 0.0 < area < FARTHEST**2:
        raise SurfaceError(f"the area is {area:g} m^2", "It must be greater than 0")
    return Surface("area", Measured(float(area)), None)


def _polygon(points: Line, name: str) -> Polygon:
    import shapely
    from shapely import Polygon
    from shapely.validation import explain_validity

    line = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not (np.abs(line) < FARTHEST).all():
        raise SurfaceError(f"{name}: a point is not a finite number", "Write two lengths for each point")
    if len(np.unique(line, axis=0)) < 3:
        raise SurfaceError(f"{name}: {len(line)} points make no surface", "Give at least three different points")
    shape = Polygon(line)
    if not shape.is_valid:
        reason = explain_validity(shape)
        where = reason[reason.find("[") + 1 : reason.find("]")].split() if "[" in reason else []
        at = f" at ({', '.join(_mm(float(v)) for v in where[:2])})" if len(where) >= 2 else ""
        raise SurfaceError(f"{name}: its line crosses or touches itself{at}", "Put the points in order round the edge")
    if not shape.area > 1e-12 * shape.length**2:
        raise SurfaceError(f"{name}: its points lie on one line", "Give the corners of the surface")
    return shapely.force_2d(shape)


def _mm(value: float) -> str:
    return f"{plain(value * 1e3, 4)} mm"


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


def _tiling(shape: Geometry) -> list[Geometry]:
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
