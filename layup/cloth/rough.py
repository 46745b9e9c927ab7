"""A rough outline of a ply, for want of a flat pattern: the shape laid flat by its own shadow, scaled to its true area.

The shape is looked at square to the plane that fits it best, and the shadow is blown up until it has the area of the
surface. On a gently curved part that is near the pattern; on a deep one it is only a size, and is marked as such.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.partfile.job import Job

Floats = NDArray[np.float64]

MOST_TRIANGLES = 4_000


@dataclass(frozen=True, eq=False, slots=True)
class Outline:
    """A flat outline in the frame of the roll.

    Attributes:
        shapes: Its pieces, the warp along +x. [m]
        stretch: Side of the true shape over side of its shadow: 1 for a flat part. [-]
        guessed: Whether only the area was known, so that the shape is made up.
    """

    shapes: tuple[Polygon, ...]
    stretch: float
    guessed: bool = False


def rough_outline(job: Job, zone: str | None, area: float | None = None, *, in_part: bool = False) -> Outline:
    """Outline of a zone, the part's warp direction along +x.

    Args:
        job: The part file, read.
        zone: Name of the zone; None for the whole surface.
        area: Of a patch of its own, whose shape nobody knows. [m^2]
        in_part: Whether to look at the zone as the whole part is looked at, so that both lie in one frame.
    """
    from layup.cloth.draped import seen_triangles
    from layup.partfile.model import WHOLE

    triangles: Floats | None = None
    whole = zone in (None, WHOLE)
    if area is None and job.surface.has_mesh:
        triangles = job.surface.vertices[job.surface.faces] if whole else job.zone_triangles(str(zone))
    if triangles is None:
        if area is None:
            area = job.surface.whole.area if whole else job.zones[str(zone)].area
        return Outline((_rectangle(area),), 1.0, guessed=True)
    seen = seen_triangles(job, triangles)
    every = seen_triangles(job, job.surface.vertices[job.surface.faces]) if in_part else seen
    return _shadow(seen, job.part.surface.warp, every)


def turned(outline: Outline, angle: float) -> Outline:
    """The outline with a warp at an angle from the part's laid along +x.

    Args:
        outline: With the part's warp direction along +x.
        angle: Of this ply's warp. [deg]
    """
    import shapely
    from shapely import affinity

    shapes: list[Polygon] = []
    for shape in outline.shapes:
        way = affinity.rotate(shape, -angle, origin=(0.0, 0.0))
        if not way.is_valid:  # a hole that touched the edge crosses it after rounding
            way = shapely.make_valid(way).buffer(-1e-5).buffer(1e-5, quad_segs=1)
        shapes += [p for p in shapely.get_parts(way) if p.geom_type == "Polygon" and p.area > 1e-3 * shape.area]
    return Outline(tuple(shapes), outline.stretch, outline.guessed)


def _rectangle(area: float) -> Polygon:
    """A rectangle of this area, three by two."""
    import shapely

    side = math.sqrt(area / 6.0)
    box: Polygon = shapely.box(0.0, 0.0, 3 * side, 2 * side)
    return box


def _shadow(triangles: Floats, warp: tuple[float, float, float] | None, every: Floats) -> Outline:
    """The shadow of triangles square to the plane that fits `every` best."""
    import shapely
    from shapely import affinity

    area = float(
        np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]) / 2, axis=1).sum()
    )
    normals = np.cross(every[:, 1] - every[:, 0], every[:, 2] - every[:, 0]) / 2
    areas = np.linalg.norm(normals, axis=1)
    middle = areas @ every.mean(axis=1) / areas.sum()
    spread = every - middle
    _, axes = np.linalg.eigh(np.einsum("n,nki,nkj->ij", areas, spread, spread))
    up = axes[:, 0]
    if normals.sum(axis=0) @ up < 0:
        up = -up
    along = np.array(warp if warp is not None else (1.0, 0.0, 0.0), dtype=np.float64)
    along = along - (along @ up) * up
    if np.linalg.norm(along) < 1e-6:
        along = axes[:, 2]
    along /= np.linalg.norm(along)
    flat = (triangles - middle) @ np.stack([along, np.cross(up, along)]).T
    shape = _union(flat)
    stretch = math.sqrt(area / shape.area)
    shape = affinity.scale(shape, stretch, stretch, origin=(0.0, 0.0))
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1e-3 * shape.area]
    return Outline(tuple(sorted(parts, key=lambda p: (-p.area, p.bounds))), stretch)


def _union(flat: Floats) -> Polygon:
    """Union of triangles (n, 3, 2), small gaps closed."""
    import shapely

    size = float(np.ptp(flat.reshape(-1, 2), axis=0).max())
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    twice = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    kept = flat[twice > 1e-10 * size * size]
    if len(kept) > MOST_TRIANGLES:
        kept = _coarser(kept, size / 250)
    shape = shapely.union_all(shapely.polygons(kept))
    step = size * 1e-4
    for grow in (step, -2 * step, step):  # close what is only numbers apart, part what only touches
        shape = shape.buffer(grow, join_style="mitre")
    return shapely.make_valid(shape.simplify(step / 2))


def _coarser(flat: Floats, cell: float) -> Floats:
    """Triangles with their corners moved to a grid; those that fall together are left out."""
    cells = np.round(flat / cell).astype(np.int64)
    u, v = cells[:, 1] - cells[:, 0], cells[:, 2] - cells[:, 0]
    return np.asarray(np.unique(cells[(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) != 0], axis=0) * cell)
