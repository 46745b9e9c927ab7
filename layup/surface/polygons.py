"""Faces of more than three corners become triangles, without the overlap a plain fan makes of a hollow one.

    Triangles of faces of any number of corners     triangulate(points, corners, counts)

A fan from the first corner is right for a face that bulges outward all round. Where a triangle of the fan
turns
against the face, the face is hollow there: its corners are cut off one by one, always one that bulges and
holds no other corner.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def triangulate(
    points: NDArray[np.float64], corners: NDArray[np.int64], counts: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Triangles of polygon faces.

    Args:
        points: Shape (n, 3). [m]
        corners: Point numbers of all faces, one face after another.
        counts: Corners of each face; those below three give no triangle. [-]

    Returns:
        Triangles (m, 3) and the number of the face each came from (m,), in the order of the faces.
    """
    start = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    each = np.maximum(counts - 2, 0)
    owner = np.repeat(np.arange(len(counts)), each)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(each) - each, each)
    first = start[owner]
    faces = np.column_stack([corners[first], corners[first + step + 1], corners[first + step + 2]])
    if not len(faces) or counts.max() <= 3:
        return faces, owner
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    cross = np.cross(b - a, c - a)
    whole = np.zeros((len(counts), 3))
    np.add.at(whole, owner, cross)
    against = np.einsum("ij,ij->i", cross, whole[owner]) < 0.0
    for face in np.unique(owner[against]):
        ring = corners[start[face] : start[face] + counts[face]]
        faces[owner == face] = ring[_clip_ears(points[ring], whole[face])]
    return faces, owner


def _clip_ears(ring: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.int64]:
    """Triangles (n - 2, 3) of one hollow face, as places in its ring."""
    drop = int(np.argmax(np.abs(normal)))
    u, v = ((1, 2), (2, 0), (0, 1))[drop]
    flat = ring[:, [u, v]] * (1.0, np.sign(normal[drop]))
    left = list(range(len(ring)))
    out = []
    while len(left) > 3:
        for place in range(len(left)):
            i, j, k = left[place - 1], left[place], left[(place + 1) % len(left)]
            others = flat[[m for m in left if m not in (i, j, k)]]
            if _turn(flat[i], flat[j], flat[k][None])[0] > 0.0 and not _inside(flat[i], flat[j], flat[k], others).any():
                break
        else:
            place, (i, j, k) = 0, (left[-1], left[0], left[1])  # crosses itself: no right answer, go on
        out.append((i, j, k))
        del left[place]
    out.append((left[0], left[1], left[2]))
    return np.array(out, dtype=np.int64)


def _turn(a: NDArray[np.float64], b: NDArray[np.float64], p: NDArray[np.float64]) -> NDArray[np.float64]:
    turn: NDArray[np.float64] = (b[0] - a[0]) * (p[:, 1] - a[1]) - (b[1] - a[1]) * (p[:, 0] - a[0])
    return turn


def _inside(
    a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64], points: NDArray[np.float64]
) -> NDArray[np.bool_]:
    return (_turn(a, b, points) >= 0.0) & (_turn(b, c, points) >= 0.0) & (_turn(c, a, points) >= 0.0)
