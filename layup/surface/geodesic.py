"""Distance along the surface: from a point of it, or from its free edge.

    Mesh fine enough near a point, and the distances on it    from_point(mesh, at, reach)
    The same from the free edge                               from_edge(mesh, reach)

Distances are exact on the mesh (Mitchell, Mount and Papadimitriou, "The discrete geodesic problem", SIAM J.
Computing 16 (1987) 647-668, from memory; through pygeodesic), on the part of it that can matter: a path no
longer than the reach stays within the ball of that radius. Long edges near by are halved first, because the
border of a zone is drawn
straight across each triangle: with edges of reach/24 a disc comes out about 1.4 in 10,000 small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.surface.refine import halve_edges, insert_point
from layup.surface.skin import nearest_points
from layup.surface.topology import Faces, Points, edge_keys, edges_of, free_edges

_POINT_STEPS, _EDGE_STEPS = 24, 12  # edges within the reach are at most this part of it
FAR = 1e9
"""Distance given to points that the search didn't reach. [m]"""


@dataclass(frozen=True, slots=True)
class Patch:
    """A mesh with a number on each face that says which face of the file it is part of."""

    points: Points
    faces: Faces
    owner: NDArray[np.int64]


def from_point(patch: Patch, at: NDArray[np.float64], reach: float, name: str) -> tuple[Patch, int]:
    """The mesh made fine round the surface point nearest to a place, with that point as a corner.

    Args:
        patch: The mesh. [m]
        at: The place. [m]
        reach: How far distances matter. [m]
        name: What errors call the zone.

    Returns:
        The finer mesh and the number of the point; distances come from `distances`.

    Raises:
        SurfaceError: the place is further off the surface than the reach.
    """
    feet = nearest_points(patch.points, patch.faces, at)
    off = np.linalg.norm(feet - at, axis=1)
    face = int(np.argmin(off))
    if off[face] > reach:
        raise SurfaceError(
            f"{name}: the point lies {off[face] * 1e3:.4g} mm off the surface, further than the zone reaches",
            "Check its coordinates against the box of the surface, and the unit",
        )
    foot = feet[face]
    points, faces, owner, source = insert_point(patch.points, patch.faces, patch.owner, face, foot)
    step = reach / _POINT_STEPS

    def long_and_near(a: Points, b: Points) -> NDArray[np.bool_]:
        along = b - a
        square = np.einsum("ij,ij->i", along, along)
        safe = np.where(square > 0.0, square, 1.0)
        share = np.clip(np.einsum("ij,ij->i", foot - a, along) / safe, 0.0, 1.0)
        apart = np.linalg.norm(a + share[:, None] * along - foot, axis=1)
        near: NDArray[np.bool_] = (square > step * step) & (apart < reach + step)
        return near

    return Patch(*halve_edges(points, faces, owner, long_and_near)), source


def from_edge(patch: Patch, reach: float, name: str) -> Patch:
    """The mesh made fine along its free edge; errors when it has none."""
    from scipy.spatial import cKDTree

    edges = free_edges(patch.faces)
    if not len(edges):
        raise SurfaceError(f"{name}: the surface has no free edge", "Use a zone about a point instead")
    step = reach / _EDGE_STEPS
    a, b = patch.points[edges[:, 0]], patch.points[edges[:, 1]]
    count = np.ceil(np.linalg.norm(b - a, axis=1) / step).astype(np.int64)
    if count.sum() > 5_000_000:
        raise SurfaceError(f"{name}: too narrow for the length of the free edge", "Give a wider zone")
    row = np.repeat(np.arange(len(edges)), count)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)) / count[row]
    tree = cKDTree(np.concatenate([a[row] + share[:, None] * (b - a)[row], b]))

    def long_and_near(p: Points, q: Points) -> NDArray[np.bool_]:
        length = np.linalg.norm(q - p, axis=1)
        marked: NDArray[np.bool_] = length > step
        rows = np.flatnonzero(marked)
        apart, _ = tree.query(0.5 * (p + q)[rows])
        marked[rows] = apart < reach + step + 0.5 * length[rows]
        return marked

    return Patch(*halve_edges(patch.points, patch.faces, patch.owner, long_and_near))


def distances(patch: Patch, sources: NDArray[np.int64], reach: float) -> NDArray[np.float64]:
    """Distance along the surface from the nearest of some points, right up to the reach.

    Args:
        patch: The mesh. [m]
        sources: Numbers of its points.
        reach: How far distances matter. [m]

    Returns:
        For each point of the mesh (n,); FAR where the search did not go. [m]
    """
    from scipy.spatial import cKDTree

    out = np.full(len(patch.points), FAR)
    if len(sources) == 1:
        near = np.linalg.norm(patch.points - patch.points[sources[0]], axis=1) <= reach
    else:
        tree = cKDTree(patch.points[sources])
        apart, _ = tree.query(patch.points, distance_upper_bound=reach * (1.0 + 1e-9))
        near = np.isfinite(apart)
    a, b, c = patch.faces.T
    crop = patch.faces[near[patch.faces].any(axis=1) & (a != b) & (b != c) & (c != a)]
    used, back = np.unique(crop, return_inverse=True)
    start = np.searchsorted(used, sources)
    start = start[used[np.minimum(start, len(used) - 1)] == sources]
    out[used] = _exact(patch.points[used], back.reshape(-1, 3), start)
    return out


def _exact(points: Points, faces: Faces, sources: NDArray[np.int64]) -> NDArray[np.float64]:
    from pygeodesic.geodesic import PyGeodesicAlgorithmExact

    faces = faces[np.unique(np.sort(faces, axis=1), axis=0, return_index=True)[1]]
    edges, _ = edges_of(faces)
    _, count = np.unique(edge_keys(edges), return_counts=True)
    found = None
    if count.max() <= 2:  # the search ends the program on a mesh with more
        search = PyGeodesicAlgorithmExact(np.ascontiguousarray(points), faces.astype(np.int32))
        found, _ = search.geodesicDistances(sources.astype(np.int32))
    if found is None:
        raise SurfaceError(
            "distances along the surface can't be found here: more than two faces meet at an edge",
            "Repair the mesh, or draw the zone as an outline: inside = [...] with along = [0, 0, 1]",
        )
    apart = np.asarray(found, dtype=np.float64)
    return np.where(np.isfinite(apart) & (apart < FAR), apart, FAR)
