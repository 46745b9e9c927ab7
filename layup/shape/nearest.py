"""What lies nearest to a place: a point on each face, on each of many lines.

Nearest point of every face        nearest_points(points, faces, at)
The nearest face                   nearest_face(points, faces, at)
Faces within reach                 faces_near(points, faces, at, reach)
Distance from lines to a place     to_segments(at, a, b)
Places with no other near them     alone(places, others, reach)
"""

from __future__ import annotations

import weakref
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


WALKED = 400_000
"""Faces walked over for one mesh, place after place, from which a tree of them pays for itself and its import. [-]"""
_BY_HAND = 4_000_000  # distances that are worked out one by one sooner than a tree is imported
_TREES: dict[int, tuple[weakref.ref[NDArray[np.int64]], Any, float]] = {}
_WALKED: dict[int, tuple[weakref.ref[NDArray[np.int64]], int]] = {}


def faces_near(points: Floats, faces: NDArray[np.int64], at: Floats, reach: float) -> NDArray[np.int64]:
    """Numbers of faces that may lie within reach, beyond the nearest one, of a place; all of them at first.

    A mesh that is asked about many places keeps a tree of its faces' middles, so that the next place costs no walk over
    every face.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: The place. [m]
        reach: Beyond the distance of the nearest face. [m]
    """
    number = id(faces)
    kept = _TREES.get(number)
    if kept is None or kept[0]() is not faces:
        before = _WALKED.get(number)
        walked = len(faces) + (before[1] if before is not None and before[0]() is faces else 0)
        _WALKED[number] = weakref.ref(faces, lambda _: _WALKED.pop(number, None)), walked
        if walked < WALKED:
            return np.arange(len(faces))
        from scipy.spatial import cKDTree

        corners = points[faces]
        middle = corners.mean(axis=1)
        widest = float(np.sqrt(((corners - middle[:, None]) ** 2).sum(axis=2).max()))
        kept = weakref.ref(faces, lambda _: _TREES.pop(number, None)), cKDTree(middle), widest
        _TREES[number] = kept
    _, tree, widest = kept
    first, _ = tree.query(at)
    found: NDArray[np.int64] = np.sort(np.array(tree.query_ball_point(at, first + reach + widest), dtype=np.int64))
    return found


def nearest_face(points: Floats, faces: NDArray[np.int64], at: Floats) -> int:
    """The face nearest to a point. [m]"""
    return int(np.argmin(np.linalg.norm(nearest_points(points, faces, at) - at, axis=1)))


def nearest_points(points: Floats, faces: NDArray[np.int64], at: Floats) -> Floats:
    """For every face its point nearest to one point in space, shape (m, 3). [m]"""
    corners = points[faces]
    best = np.empty((len(faces), 3))
    square = np.full(len(faces), np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        here = on_segments(at, corners[:, i], corners[:, j])
        apart = np.einsum("ij,ij->i", here - at, here - at)
        closer = apart < square
        best[closer], square[closer] = here[closer], apart[closer]
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(u, v)
    size = np.einsum("ij,ij->i", normal, normal)
    safe = np.where(size > 0.0, size, 1.0)
    w = at - a
    s = np.einsum("ij,ij->i", np.cross(w, v), normal) / safe
    t = np.einsum("ij,ij->i", np.cross(u, w), normal) / safe
    inside = (size > 0.0) & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    best[inside] = (a + s[:, None] * u + t[:, None] * v)[inside]
    return best


def on_segments(at: Floats, a: Floats, b: Floats) -> Floats:
    """Point of each line from a to b (n, 3) nearest to a place, one (3,) or one for each line (n, 3). [m]"""
    along = b - a
    length = np.einsum("ij,ij->i", along, along)
    share = np.einsum("ij,ij->i", at - a, along) / np.where(length > 0.0, length, 1.0)
    here: Floats = a + np.clip(share, 0.0, 1.0)[:, None] * along
    return here


def to_segments(at: Floats, a: Floats, b: Floats) -> Floats:
    """Distance of each line from a to b (n, 3) to a place, shape (n,). [m]"""
    step = on_segments(at, a, b) - at
    apart: Floats = np.sqrt(np.einsum("ij,ij->i", step, step))
    return apart


def alone(places: Floats, others: Floats, reach: float) -> NDArray[np.bool_]:
    """Which places (n, 3) have none of some others (m, 3) within reach. [m]"""
    if len(places) * len(others) > _BY_HAND:
        from scipy.spatial import cKDTree

        return np.asarray(cKDTree(others).query(places)[0] > reach)
    out = np.ones(len(places), dtype=np.bool_)
    some = max(1, _BY_HAND // 16 // max(len(others), 1))
    for start in range(0, len(places), some):
        square = sum((places[start : start + some, None, k] - others[None, :, k]) ** 2 for k in range(3))
        out[start : start + some] = np.min(square, axis=1) > reach * reach
    return out
