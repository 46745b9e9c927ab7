"""Triangles for a flat panel of any outline with cut-outs: a hexagonal grid inside, even steps along the edges.

- Triangulate an outline?                       `triangulate`
- Which edges face left, right, down, up?       `edge_sides`

The grid is joined by Delaunay's rule, triangles outside are dropped, inner points are moved to the middle of their
neighbours. The area is compared with the outline's; where it differs, the step is made finer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError

if TYPE_CHECKING:
    from shapely import LinearRing, Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ring = Sequence[tuple[float, float]] | Floats


@dataclass(frozen=True)
class PanelMesh:
    """Triangles of a panel.

    Attributes:
        points: Corners, (n, 2). [m]
        triangles: Corner numbers, anticlockwise, (m, 3).
        edge: Border edges as corner pairs, the panel on their left, (k, 2).
        outer: Which border edges are on the outside, (k,); the rest are on cut-outs.
        step: Side of a triangle aimed at. [m]
    """

    points: Floats
    triangles: Ints
    edge: Ints
    outer: NDArray[np.bool_]
    step: float

    @property
    def areas(self) -> Floats:
        """Of each triangle. [m^2]"""
        a, b, c = (self.points[self.triangles[:, k]] for k in range(3))
        return np.asarray(0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]))

    @property
    def middles(self) -> Floats:
        """Middle of each triangle, (m, 2). [m]"""
        return np.asarray(self.points[self.triangles].mean(axis=1))


def triangulate(shape: Polygon, count: int = 1600, finest: float | None = None) -> PanelMesh:
    """Triangulate a panel.

    Args:
        shape: Outline with holes, in one piece. [m]
        count: Triangles to aim at. [-]
        finest: Step to use where it is less than the count asks for, down to half of that. [m]
    Returns:
        The triangles; their area is that of the outline within 0.1 %.
    Raises:
        SurfaceError: an outline in several pieces, or one so ragged that no step down to an eighth fits.
    Source: own mesher; Delaunay by scipy (qhull).
    """
    if shape.geom_type != "Polygon":
        raise SurfaceError("the panel is in several pieces", "Give each piece a part file of its own")
    step = float(np.sqrt(shape.area / count / (np.sqrt(3) / 4)))
    if finest is not None:
        step = max(min(step, finest), step / 2)
    for _ in range(7):
        mesh = _try(shape, step)
        if mesh is not None:
            return mesh
        step /= np.sqrt(2)
    raise SurfaceError(
        "the outline is too ragged to be cut into triangles",
        "Draw it with fewer points, and leave out cut-outs smaller than the plies are thick",
    )


def _along(ring: LinearRing, step: float) -> Floats:
    """Points along a closed ring: its corners, and even steps between them."""
    corners = np.asarray(ring.coords)[:-1, :2]
    parts = []
    for here, there in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        pieces = max(1, round(float(np.hypot(*(there - here))) / step))
        parts.append(here + (there - here) * (np.arange(pieces) / pieces)[:, None])
    return np.concatenate(parts)


def _try(shape: Polygon, step: float) -> PanelMesh | None:
    import shapely
    from scipy.spatial import Delaunay

    thin = shape.simplify(step * 0.02)
    border = np.concatenate([_along(ring, step) for ring in (thin.exterior, *thin.interiors)])
    left, low, right, high = thin.bounds
    rows = np.arange(low + step / 2, high, step * np.sqrt(3) / 2)
    grid = []
    for number, y in enumerate(rows):
        xs = np.arange(left + step * (0.5 if number % 2 else 1.0) / 2, right, step)
        grid.append(np.stack([xs, np.full_like(xs, y)], axis=1))
    inner = np.concatenate(grid) if grid else np.empty((0, 2))
    inside = shapely.contains_xy(thin, inner[:, 0], inner[:, 1])
    inner = inner[inside]
    far = shapely.distance(shapely.points(inner), thin.boundary) > 0.55 * step
    inner = inner[far]
    points = np.concatenate([border, inner])
    kept = len(border)
    for turn in range(5):
        triangles = _inside(thin, points, Delaunay(points).simplices)
        if turn < 4:
            points = _smoothed(points, triangles, kept)
    mesh = PanelMesh(points, triangles, *_border(points, triangles, thin), step)
    if abs(mesh.areas.sum() / shape.area - 1) > 1e-3 or (mesh.areas <= 0).any():
        return None
    used = np.unique(triangles)
    if len(used) < len(points):
        renamed = np.full(len(points), -1)
        renamed[used] = np.arange(len(used))
        triangles = renamed[triangles]
        points = points[used]
        mesh = PanelMesh(points, triangles, *_border(points, triangles, thin), step)
    return mesh


def _inside(shape: Polygon, points: Floats, simplices: NDArray[np.int32]) -> Ints:
    """Triangles whose middle lies in the shape, anticlockwise, slivers along straight edges left out."""
    import shapely

    triangles = np.asarray(simplices, dtype=np.int64)
    middle = points[triangles].mean(axis=1)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    twice = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    longest = np.maximum(np.maximum(((b - a) ** 2).sum(1), ((c - b) ** 2).sum(1)), ((a - c) ** 2).sum(1))
    kept = shapely.contains_xy(shape, middle[:, 0], middle[:, 1]) & (np.abs(twice) > 1e-3 * longest)
    triangles = triangles[kept]
    down = twice[kept] < 0
    triangles[down] = triangles[down][:, ::-1]
    return np.asarray(triangles, dtype=np.int64)


def _smoothed(points: Floats, triangles: Ints, kept: int) -> Floats:
    """Inner points moved to the middle of their neighbours."""
    from scipy.sparse import coo_matrix

    pairs = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    both = np.concatenate([pairs, pairs[:, ::-1]])
    n = len(points)
    joined = coo_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(n, n)).tocsr()
    joined.data[:] = 1.0
    degree = np.asarray(joined.sum(axis=1)).ravel()
    mean = (joined @ points) / np.maximum(degree, 1)[:, None]
    moved = points.copy()
    free = degree[kept:] > 0
    moved[kept:][free] = mean[kept:][free]
    return moved


def _border(points: Floats, triangles: Ints, shape: Polygon) -> tuple[Ints, NDArray[np.bool_]]:
    """Edges that belong to one triangle only, and which of them lie on the outside."""
    import shapely

    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    ordered = np.sort(edges, axis=1)
    _, first, count = np.unique(ordered, axis=0, return_index=True, return_counts=True)
    border = edges[first[count == 1]]
    middle = points[border].mean(axis=1)
    to_outer = shapely.distance(shapely.points(middle), shape.exterior)
    if not shape.interiors:
        return border, np.ones(len(border), dtype=bool)
    holes = shapely.MultiLineString([ring.coords for ring in shape.interiors])
    return border, np.asarray(to_outer <= shapely.distance(shapely.points(middle), holes))


def edge_sides(mesh: PanelMesh) -> NDArray[np.str_]:
    """Which way each border edge faces: "left", "right", "bottom", "top", or "cut-out".

    Args:
        mesh: The triangles. [-]
    Returns:
        One word a border edge. [-]
    """
    run = mesh.points[mesh.edge[:, 1]] - mesh.points[mesh.edge[:, 0]]
    across, up = run[:, 1], -run[:, 0]  # outward normal of an edge with the panel on its left
    sideways = np.abs(across) >= np.abs(up)
    words = np.where(sideways, np.where(across > 0, "right", "left"), np.where(up > 0, "top", "bottom"))
    return np.asarray(np.where(mesh.outer, words, "cut-out"))
