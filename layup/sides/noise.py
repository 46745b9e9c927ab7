"""The roughness of a scan: how much of it is noise, what that adds to the area, and the mesh with it taken out.

    How rough, over how long edges       roughness(points, faces)
    The mesh smoothed                    smoothed(points, faces, rough)

Noise moves every point by itself. So the distance of a point from the mean of its neighbours, less the same of these
neighbours, is noise: curvature falls out of it, and the median does not see creases. A bent surface that is drawn
unevenly also has some; but there neighbours stray to the same side, where those of noise stray to opposite ones.
Noise of deviation s on edges of length h adds about 1.7 (s / h)^2 to the area.

It is taken out by turns of smoothing and unsmoothing that leave waves longer than some edges as they are; points on a
free edge move along it only with each other. Some 0.2 % of the noise's area stays; of few points more, which is
then calmed.

Source: the turns are those of Taubin, "A signal processing approach to fair surface design", SIGGRAPH 1995, from
memory; the factors of area and turns were measured on made surfaces (tests/test_surface_noise.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.topology import Faces, Points, edge_keys, normals

LEAST = 0.03
"""Noise below this share of an edge adds less than 0.2 % and is left. [-]"""
OPPOSITE = -0.1
"""Correlation of neighbours below which roughness is noise; of noise alone it is -0.24. [-]"""
ADDS = 1.7
"""Area that noise adds, over the square of noise over edge. [-]"""
FEWEST = 200
"""Points inside the edge that can tell. [-]"""
_TWICE = 1.33  # the second difference of white noise over its deviation, on six neighbours
_LONGER = 4.2  # square by which noise lengthens the median edge, over its own square
_TURNS, _MOST = 700.0, 750
_WIDE = 8  # turns that even the direction square to the surface out
_IN = 0.5  # share of the way to the neighbours' mean that a turn goes
_CALMED = 5_000  # up to so many points what the turns leave is taken out too
_PAIRS, _HALVED = 2, 10
_KEPT = 0.3  # how little a wave that is kept may grow over all turns
_SAMPLED, _SAMPLE = 20_000, 1024  # from so many points on, a sample of so many of them is asked first
_BEYOND = 0.15  # half of a mesh lies below this much more than half of the sample, but for once in 10^20


@dataclass(frozen=True, slots=True)
class Rough:
    """How rough a mesh is.

    Attributes:
        noise: Standard deviation of its points across the surface. [m]
        edge: Median length of its edges, as it would be without the noise. [m]
    """

    noise: float
    edge: float

    @property
    def adds(self) -> float:
        """Share of the area that the noise adds, about. [-]"""
        return ADDS * (self.noise / self.edge) ** 2


def _neighbours(points: Points, faces: Faces) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Pairs of points (from, to) to take the mean over, and which points lie on a free edge."""
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, first, count = np.unique(edge_keys(edges), return_index=True, return_counts=True)
    edges = edges[first]
    real = edges[:, 0] != edges[:, 1]
    edges, free = edges[real], count[real] == 1
    rim = np.zeros(len(points), dtype=np.bool_)
    rim[edges[free]] = True
    start, stop = edges.T
    at = np.concatenate([start, stop])
    to = np.concatenate([stop, start])
    used = ~rim[at] | np.concatenate([free, free])
    return at[used], to[used], rim


def _mean(
    values: NDArray[np.float64], at: NDArray[np.int64], to: NDArray[np.int64], many: NDArray[np.float64]
) -> Points:
    out = np.stack([np.bincount(at, values[to, k], minlength=len(values)) for k in range(values.shape[1])], axis=1)
    mean: Points = np.where(many[:, None] > 0, out / np.maximum(many, 1.0)[:, None], values)
    return mean


def roughness(points: Points, faces: Faces) -> Rough | None:
    """How rough a mesh is by noise; None where it is clean, or too small to tell.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    if len(points) < FEWEST or is_clean(points, faces):
        return None
    at, to, rim = _neighbours(points, faces)
    many = np.bincount(at, minlength=len(points)).astype(np.float64)
    inside = ~rim & (many > 2)
    if np.count_nonzero(inside) < FEWEST:
        return None
    step = _mean(points, at, to, many) - points
    long = float(np.median(np.linalg.norm(points[at] - points[to], axis=1)))
    apart = np.linalg.norm(_mean(step, at, to, many) - step, axis=1)[inside]
    if _is_little(float(np.median(apart)), long):
        return None  # most meshes end here, before what takes the time
    unit, area = normals(points, faces)
    way = np.zeros_like(points)
    for k in range(3):
        for axis in range(3):
            way[:, axis] += np.bincount(faces[:, k], unit[:, axis] * area, minlength=len(points))
    for _ in range(_WIDE):  # where noise is as large as an edge, that of one point says nothing
        way = 0.5 * (way + _mean(way, at, to, many))
    size = np.linalg.norm(way, axis=1)
    way /= np.maximum(size, 1e-300)[:, None]
    off = np.einsum("ij,ij->i", step, way)
    around = _mean(off[:, None], at, to, many)[:, 0]
    square = float((off[inside] ** 2).sum())
    if square <= 0.0 or float((off[inside] * around[inside]).sum()) > OPPOSITE * square:
        return None
    noise = 1.4826 * float(np.median(np.abs((around - off)[inside]))) / _TWICE
    edge = float(np.sqrt(max(long**2 - _LONGER * noise**2, (0.5 * noise) ** 2)))
    return Rough(noise, edge) if noise > LEAST * edge else None


def _is_little(apart: float, long: float) -> bool:
    """Whether points stray too little from their neighbours to be noise, seen from the median of that and of edges."""
    most = 1.4826 * apart / _TWICE  # across the surface it is no more than in all directions
    return most**2 <= LEAST**2 * (long**2 - _LONGER * most**2)


def is_clean(points: Points, faces: NDArray[np.integer]) -> bool:
    """Whether a few points of a large mesh and the faces round them already show that `roughness` finds none.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    if len(points) <= _SAMPLED:
        return False
    some, near = np.zeros(len(points), dtype=np.bool_), np.zeros(len(points), dtype=np.bool_)
    some[np.random.default_rng(0).choice(len(points), _SAMPLE, replace=False)] = True
    near[faces[_touching(faces, some)]] = True
    used, own = np.unique(faces[_touching(faces, near)], return_inverse=True)
    corners, few = points[used], some[used]
    at, to, rim = _neighbours(corners, own.reshape(-1, 3))
    many = np.bincount(at, minlength=len(corners)).astype(np.float64)
    inside = few & ~rim & (many > 2)
    if np.count_nonzero(inside) < FEWEST:
        return False
    step = _mean(corners, at, to, many) - corners
    apart = np.linalg.norm(_mean(step, at, to, many) - step, axis=1)[inside]
    long = np.linalg.norm(corners[at] - corners[to], axis=1)[few[at]]
    return _is_little(float(np.quantile(apart, 0.5 + _BEYOND)), float(np.quantile(long, 0.5 - _BEYOND)))


def _touching(faces: NDArray[np.integer], some: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The faces with a corner among some points."""
    here = some.take(faces)
    return np.flatnonzero(here[:, 0] | here[:, 1] | here[:, 2])


def smoothed(points: Points, faces: Faces, rough: Rough) -> Points:
    """The points with the noise taken out.

    On a mesh of few points the edge is a large part, and noise goes from it into the surface in waves longer than the
    turns take away. How much area that is, is found by noise of the same size put on what they made and taken out
    again, in pairs of opposite sign, in which the edge's own wavering cancels. So much is then calmed, stiffly, so that
    the shortest of these waves go first.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        rough: What `roughness` says of them.
    """
    from scipy.sparse import csr_array, eye_array
    from scipy.sparse.linalg import splu

    at, to, _ = _neighbours(points, faces)
    many = np.bincount(at, minlength=len(points))
    mean = csr_array((1.0 / many[at], (at, to)), shape=(len(points), len(points)))
    moves = (many > 0)[:, None]
    turns = int(np.clip(np.ceil(_TURNS * (rough.noise / rough.edge) ** 2), 5, _MOST))
    back = _IN / (_IN * (_KEPT / turns) ** 0.5 - 1.0)  # the more turns, the longer the waves that are kept as they are

    def turned(start: Points) -> Points:
        made = start.copy()
        for _ in range(turns):
            for share in (_IN, back):
                made += share * np.where(moves, mean @ made - made, 0.0)
        return made

    made = turned(points)
    if len(points) > _CALMED:
        return made
    rng = np.random.default_rng(0)
    again = []
    for _ in range(_PAIRS):
        noise = rng.normal(0.0, rough.noise, made.shape)
        again += [_area(turned(made + sign * noise), faces) for sign in (1.0, -1.0)]
    wanted = 2.0 * _area(made, faces) - float(np.mean(again))
    off = mean - eye_array(len(points)) * moves.ravel()
    stiff = (off @ off).tocsc()
    calm, low, high = made, -2.0, 6.0
    for _ in range(_HALVED):
        half = 0.5 * (low + high)
        calm = splu((eye_array(len(points)) + 10.0**half * stiff).tocsc()).solve(made)
        low, high = (half, high) if _area(calm, faces) > wanted else (low, half)
    return np.asarray(calm)


def _area(points: Points, faces: Faces) -> float:
    return float(normals(points, faces)[1].sum())
