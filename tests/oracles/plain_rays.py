"""The first wall a ray meets: a grid of boxes over the mesh, compiled.

    How far, and to which face?     first_hits(points, faces, origins, directions, own)

Every triangle is listed in the boxes it touches; a ray walks from box to box and tests only what is listed
there. The ray-triangle test is the one by Moeller and Trumbore, "Fast, minimum storage ray/triangle
intersection", Journal of Graphics Tools 2 (1997) 21-28; the walk that of Amanatides and Woo, "A fast voxel
traversal algorithm for ray tracing", Eurographics (1987). Both from memory.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
from numpy.typing import NDArray

_BLOCK = 4096


@numba.njit(cache=True, nogil=True)
def crossing(o, d, ax, ay, az, bx, by, bz, cx, cy, cz):  # type: ignore[no-untyped-def]  # compiled
    """How far along a ray from o in direction d the triangle abc is met; infinite where it is not.

    Source: Moeller and Trumbore, "Fast, minimum storage ray-triangle intersection", 1997, from memory.
    """
    ux, uy, uz = bx - ax, by - ay, bz - az
    vx, vy, vz = cx - ax, cy - ay, cz - az
    px, py, pz = d[1] * vz - d[2] * vy, d[2] * vx - d[0] * vz, d[0] * vy - d[1] * vx
    det = ux * px + uy * py + uz * pz
    if det == 0.0:
        return np.inf
    sx, sy, sz = o[0] - ax, o[1] - ay, o[2] - az
    u = (sx * px + sy * py + sz * pz) / det
    if u < -1e-9 or u > 1.0 + 1e-9:
        return np.inf
    qx, qy, qz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    v = (d[0] * qx + d[1] * qy + d[2] * qz) / det
    if v < -1e-9 or u + v > 1.0 + 1e-9:
        return np.inf
    return (vx * qx + vy * qy + vz * qz) / det


@numba.njit(cache=True, nogil=True)
def _touches(corners, low, size, i, j, k):  # type: ignore[no-untyped-def]  # compiled: the compiler finds its types
    """Whether the plane of a triangle passes through box i, j, k."""
    ux, uy, uz = corners[1, 0] - corners[0, 0], corners[1, 1] - corners[0, 1], corners[1, 2] - corners[0, 2]
    vx, vy, vz = corners[2, 0] - corners[0, 0], corners[2, 1] - corners[0, 1], corners[2, 2] - corners[0, 2]
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    mx = low[0] + (i + 0.5) * size[0] - corners[0, 0]
    my = low[1] + (j + 0.5) * size[1] - corners[0, 1]
    mz = low[2] + (k + 0.5) * size[2] - corners[0, 2]
    reach = 0.5 * (abs(x) * size[0] + abs(y) * size[1] + abs(z) * size[2])
    return abs(x * mx + y * my + z * mz) <= reach * (1.0 + 1e-9)


@numba.njit(cache=True, nogil=True)
def _list_boxes(triangles, low, size, shape, start, listed):  # type: ignore[no-untyped-def]  # compiled
    """Count (`listed` empty) or list the triangles of each box; `start` is its running place."""
    fill = len(listed) > 0
    lo = np.zeros(3, np.int64)
    hi = np.zeros(3, np.int64)
    for n in range(len(triangles)):
        t = triangles[n]
        for a in range(3):
            first = np.floor((min(t[0, a], t[1, a], t[2, a]) - low[a]) / size[a] - 1e-9)
            last = np.floor((max(t[0, a], t[1, a], t[2, a]) - low[a]) / size[a] + 1e-9)
            lo[a] = min(max(int(first), 0), shape[a] - 1)
            hi[a] = min(max(int(last), 0), shape[a] - 1)
        for i in range(lo[0], hi[0] + 1):
            for j in range(lo[1], hi[1] + 1):
                for k in range(lo[2], hi[2] + 1):
                    if not _touches(t, low, size, i, j, k):
                        continue
                    box = (i * shape[1] + j) * shape[2] + k
                    if fill:
                        listed[start[box]] = n
                    start[box] += 1


@numba.njit(cache=True, nogil=True)
def _walk(triangles, low, size, shape, start, listed, origins, ways, own, far, distance, hit):  # type: ignore[no-untyped-def]  # compiled
    cell = np.zeros(3, np.int64)
    step = np.zeros(3, np.int64)
    following = np.zeros(3)
    across = np.zeros(3)
    for r in range(len(origins)):
        o, d = origins[r], ways[r]
        best, face = far, -1
        enter, leave = 0.0, far
        for a in range(3):
            high = low[a] + shape[a] * size[a]
            if d[a] == 0.0:
                if o[a] < low[a] or o[a] > high:
                    leave = -1.0
                continue
            t0, t1 = (low[a] - o[a]) / d[a], (high - o[a]) / d[a]
            enter, leave = max(enter, min(t0, t1)), min(leave, max(t0, t1))
        if enter > leave:
            distance[r], hit[r] = np.inf, -1
            continue
        for a in range(3):
            cell[a] = min(max(int(np.floor((o[a] + enter * d[a] - low[a]) / size[a])), 0), shape[a] - 1)
            if d[a] > 0.0:
                step[a], across[a] = 1, size[a] / d[a]
                following[a] = (low[a] + (cell[a] + 1) * size[a] - o[a]) / d[a]
            elif d[a] < 0.0:
                step[a], across[a] = -1, -size[a] / d[a]
                following[a] = (low[a] + cell[a] * size[a] - o[a]) / d[a]
            else:
                step[a], across[a], following[a] = 0, np.inf, np.inf
        while True:
            box = (cell[0] * shape[1] + cell[1]) * shape[2] + cell[2]
            for place in range(start[box], start[box + 1]):
                n = listed[place]
                if n == own[r]:
                    continue
                t = triangles[n]
                t_hit = crossing(o, d, t[0, 0], t[0, 1], t[0, 2], t[1, 0], t[1, 1], t[1, 2], t[2, 0], t[2, 1], t[2, 2])
                if 0.0 < t_hit < best:
                    best, face = t_hit, n
            a = 0
            if following[1] < following[a]:
                a = 1
            if following[2] < following[a]:
                a = 2
            if following[a] >= best:
                break
            cell[a] += step[a]
            if cell[a] < 0 or cell[a] >= shape[a]:
                break
            following[a] += across[a]
        hit[r] = face
        distance[r] = best if face >= 0 else np.inf


def first_hits(
    points: NDArray[np.float64],
    faces: NDArray[np.int64],
    origins: NDArray[np.float64],
    directions: NDArray[np.float64],
    own: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Distance and face of the first hit of each ray; infinity and -1 for none.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        origins: Starts, shape (r, 3). [m]
        directions: Unit vectors, shape (r, 3). [-]
        own: For each ray a face it must not hit, -1 for none.

    Returns:
        Distances (r,) and faces (r,). [m, -]
    """
    triangles = np.ascontiguousarray(points[faces])
    low, high = points[faces].min(axis=(0, 1)), points[faces].max(axis=(0, 1))
    far = float(np.linalg.norm(high - low)) * 2.0 + 1e-30
    reach = np.maximum(high - low, far * 1e-3)
    low = low - (reach - (high - low)) / 2.0 - reach * 1e-6
    reach = reach * (1.0 + 2e-6)
    edge = (np.prod(reach) / min(4.0 * len(faces) + 8.0, 3e7)) ** (1.0 / 3.0)
    shape = np.clip(np.ceil(reach / edge), 1, 4096).astype(np.int64)
    size = reach / shape
    count = np.zeros(int(np.prod(shape)) + 1, dtype=np.int64)
    _list_boxes(triangles, low, size, shape, count[1:], np.zeros(0, dtype=np.int32))
    start = np.cumsum(count)
    listed = np.zeros(int(start[-1]) + 1, dtype=np.int32)
    _list_boxes(triangles, low, size, shape, start[:-1].copy(), listed)
    distance, hit = np.empty(len(origins)), np.empty(len(origins), dtype=np.int64)

    def run(first: int) -> None:
        span = slice(first, first + _BLOCK)
        _walk(
            triangles, low, size, shape, start, listed,
            np.ascontiguousarray(origins[span]), np.ascontiguousarray(directions[span]), own[span], far,
            distance[span], hit[span],
        )  # fmt: skip

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        list(pool.map(run, range(0, len(origins), _BLOCK)))
    return distance, hit
