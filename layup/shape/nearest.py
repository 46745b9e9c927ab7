"""What lies nearest to a place: a point on each face, on each of many lines.

Nearest point of every face        nearest_points(points, faces, at)
The nearest face                   nearest_face(points, faces, at)
Distance from lines to a place     to_segments(at, a, b)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


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
