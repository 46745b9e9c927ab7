"""Distance along the surface: from a point of it, from its free edge, from a line drawn on it.

    A front that runs from a place                   near_point(points, faces, at, reach, name)
    ... from free edges                              near_edges(points, faces, edges, reach, name)
    ... from a straight line in space, laid on       near_line(points, faces, ends, reach, name)
    What the front has passed at a distance          part(front, reach, steps)

Only the part of the mesh that can matter is looked at, with its long edges halved so far that the distances
come out right; see `relax` for how. The border of a zone is drawn straight across each triangle, so triangles
on it are halved further, with the distance at a new point taken from the front as it stands over the edge: with
edges of reach/24 a disc comes out about 1.4 in 10,000 small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.surface.clip import Soup, split
from layup.surface.nearest import nearest_points, to_segments
from layup.surface.refine import halve_once, insert_point, keep_halving
from layup.surface.relax import Floats, bends, fans, relax, shared_bend, turning
from layup.surface.topology import Faces, Points, edge_keys, free_edges

POINT_STEPS, EDGE_STEPS = 24, 12
"""The border of a zone about a point, and along an edge, is drawn with edges of this part of the reach. [-]"""
_COARSE_POINT, _COARSE_EDGE = 6.0, 4.0  # edges within the reach are at most this part of it
_ROUGH = 1.25  # distances on the mesh as it comes are taken to be too long by this much at most
FAR = 1e9
"""Distance given to points that the front didn't reach. [m]"""
_OWNER = 3


@dataclass(frozen=True, slots=True)
class Front:
    """Distances on a finer mesh of the part of the surface that can matter.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: The face of the surface each is part of.
        rest: Faces of the surface that lie further off.
        distance: At each point (n,); FAR where the front did not come. [m]
        bend: At each point (n,); see `relax`. [m]
    """

    points: Points
    faces: Faces
    owner: NDArray[np.int64]
    rest: NDArray[np.int64]
    distance: Floats
    bend: Floats


def near_point(points: Points, faces: Faces, at: NDArray[np.float64], reach: float, name: str) -> Front:
    """A front from the surface point nearest to a place.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: The place. [m]
        reach: How far distances matter. [m]
        name: What errors call the zone.

    Raises:
        SurfaceError: the place is further off the surface than the reach.
    """
    feet = nearest_points(points, faces, at)
    off = np.sqrt(np.einsum("ij,ij->i", feet - at, feet - at))
    nearest = int(np.argmin(off))
    gap = float(off[nearest])
    _check_gap(gap, reach, name)
    foot = feet[nearest]
    near = off <= reach + gap
    crop, owner, rest = _crop(faces, near)
    used, crop = _renumber(crop)
    p, f, owner, source = insert_point(points[used], crop, owner, int(np.searchsorted(owner, nearest)), foot)
    step = reach / _COARSE_POINT

    def long_and_near(a: Points, b: Points) -> NDArray[np.bool_]:
        marked: NDArray[np.bool_] = np.einsum("ij,ij->i", b - a, b - a) > step * step
        rows = np.flatnonzero(marked)
        marked[rows] = to_segments(foot, a[rows], b[rows]) < reach
        return marked

    p, f, owner = keep_halving(p, f, owner, long_and_near)
    start = np.full(len(p), np.inf)
    start[source] = 0.0
    _, edge, _ = turning(p, f)
    bound = reach + 2.0 * _longest(p, f)
    distance, bend = relax(fans(p, f), start, np.zeros(len(p)), bound, edge)
    return Front(p, f, owner, rest, _far(distance), bend)


def near_edges(points: Points, faces: Faces, edges: Faces, reach: float, name: str) -> Front:
    """A front from free edges of the surface.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        edges: The free edges it starts from, shape (e, 2).
        reach: How far distances matter. [m]
        name: What errors call the zone.

    Raises:
        SurfaceError: no edges, or a zone too narrow for the size of the surface.
    """
    if not len(edges):
        raise SurfaceError(f"{name}: the surface has no free edge", "Use a zone about a point instead")
    step = reach / _COARSE_EDGE
    crop, owner, rest = faces, np.arange(len(faces)), np.zeros(0, dtype=np.int64)
    p, starts, curve = points, edges, _edge_curve(points, faces, edges)
    while True:
        on = np.zeros(len(p), dtype=bool)
        on[starts] = True
        rough, _ = relax(
            fans(p, crop, pairs=False), np.where(on, 0.0, np.inf), np.full(len(p), np.inf),
            _ROUGH * reach + _longest(p, crop), None, _blind(p, crop, on, starts, pairs=False),
        )  # fmt: skip
        near = _may_be_near(p, crop, rough, reach)
        crop, owner, far = _crop(crop, near, owner)
        rest = np.concatenate([rest, far])
        used, crop, starts, curve = _renumber_edges(crop, starts, curve)
        p, rough, on = p[used], rough[used], on[used]
        ends = _unique_edges(crop)
        length, lowest = _length_and_lowest(p, ends, rough)
        chosen = (length > step) & (lowest < reach)
        if not chosen.any():
            break
        p, crop, owner, starts, curve = _halve(p, crop, owner, ends[chosen], starts, curve, name)
    chords = ends[_inner(ends, on, starts)]
    if len(chords):
        p, crop, owner, starts, curve = _halve(p, crop, owner, chords, starts, curve, name)
        on = np.concatenate([on, np.zeros(len(chords), dtype=bool)])
    bend = np.full(len(p), np.inf)
    bend[starts] = curve
    net = fans(p, crop)
    _, edge, _ = turning(p, crop)
    blind = np.zeros(len(net.to), dtype=bool)
    both = np.flatnonzero(on[net.one] & on[net.two])
    blind[both] = _inner(np.column_stack([net.one[both], net.two[both]]), on, starts)
    bound = reach + 2.0 * _longest(p, crop)
    distance, bend = relax(net, np.where(on, 0.0, np.inf), bend, bound, edge, blind)
    return Front(p, crop, owner, np.unique(rest), _far(distance), bend)
