"""The first wall behind chosen faces of a mesh: boxes round runs of faces, in a grid, compiled.

    boxes = Boxes(points, faces); boxes.behind(rows, normal)

Faces that follow each other lie near each other (`welded.py` sees to that), so every run of them gets a box, and a grid
lists the runs whose boxes pass through each of its cells. A ray walks from cell to cell, and tests the
faces of the runs whose boxes it meets. Cheap to set up, for few rays into many faces. The walk is that of Amanatides
and Woo, "A fast voxel traversal algorithm for ray tracing", Eurographics (1987), from memory.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.sides.spread_out import over_blocks

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Numbers = NDArray[np.int64]

RUN = 16
"""Faces in a run. [-]"""
_MOST = 4_000_000
_RAYS = 2048


@numba.njit(cache=True, nogil=True)
def crossing(o, d, ax, ay, az, bx, by, bz, cx, cy, cz):
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
def _bounds(points: Floats, faces: Whole, start: int, stop: int, low: Floats, high: Floats) -> None:
    """Lowest and highest corner of the runs start to stop."""
    for r in range(start, stop):
        for a in range(3):
            low[r, a], high[r, a] = np.inf, -np.inf
        for f in range(r * RUN, min((r + 1) * RUN, faces.shape[0])):
            for k in range(3):
                i = faces[f, k]
                for a in range(3):
                    low[r, a] = min(low[r, a], points[i, a])
                    high[r, a] = max(high[r, a], points[i, a])


@numba.njit(cache=True, nogil=True)
def _list(
    low: Floats, high: Floats, origin: Floats, size: Floats, shape: Numbers, place: Numbers, listed: Whole
) -> None:
    """Count (`listed` empty) or list the runs of each cell; `place` is its running place."""
    fill = len(listed) > 0
    for r in range(len(low)):
        x0 = np.int64((low[r, 0] - origin[0]) / size[0] - 1e-9)
        y0 = np.int64((low[r, 1] - origin[1]) / size[1] - 1e-9)
        z0 = np.int64((low[r, 2] - origin[2]) / size[2] - 1e-9)
        x1 = min(np.int64((high[r, 0] - origin[0]) / size[0] + 1e-9), shape[0] - 1)
        y1 = min(np.int64((high[r, 1] - origin[1]) / size[1] + 1e-9), shape[1] - 1)
        z1 = min(np.int64((high[r, 2] - origin[2]) / size[2] + 1e-9), shape[2] - 1)
        for i in range(x0, x1 + 1):
            for j in range(y0, y1 + 1):
                for k in range(z0, z1 + 1):
                    cell = (i * shape[1] + j) * shape[2] + k
                    if fill:
                        listed[place[cell]] = r
                    place[cell] += 1


@numba.njit(cache=True, nogil=True)
def _walk(points, faces, low, high, origin, size, shape, begin, listed, rows, normal, far, reach, distance, hit):
    """First hits of the rays that go inward from the middle of faces `rows`."""
    cell = np.zeros(3, np.int64)
    step = np.zeros(3, np.int64)
    following = np.zeros(3)
    across = np.zeros(3)
    o = np.zeros(3)
    d = np.zeros(3)
    for r in range(len(rows)):
        own = rows[r]
        best, face = reach, -1
        for a in range(3):
            o[a] = (points[faces[own, 0], a] + points[faces[own, 1], a] + points[faces[own, 2], a]) / 3.0
            d[a] = -normal[own, a]
            cell[a] = min(max(np.int64((o[a] - origin[a]) / size[a]), 0), shape[a] - 1)
            if d[a] > 0.0:
                step[a], across[a] = 1, size[a] / d[a]
                following[a] = (origin[a] + (cell[a] + 1) * size[a] - o[a]) / d[a]
            elif d[a] < 0.0:
                step[a], across[a] = -1, -size[a] / d[a]
                following[a] = (origin[a] + cell[a] * size[a] - o[a]) / d[a]
            else:
                step[a], across[a], following[a] = 0, np.inf, np.inf
        begun = 0.0
        while True:
            a = 0
            if following[1] < following[a]:
                a = 1
            if following[2] < following[a]:
                a = 2
            box = (cell[0] * shape[1] + cell[1]) * shape[2] + cell[2]
            for place in range(begin[box], begin[box + 1]):
                run = listed[place]
                enter, leave = begun, min(following[a], best)
                for b in range(3):
                    if d[b] == 0.0:
                        if o[b] < low[run, b] or o[b] > high[run, b]:
                            leave = -1.0
                        continue
                    t0, t1 = (low[run, b] - o[b]) / d[b], (high[run, b] - o[b]) / d[b]
                    enter, leave = max(enter, min(t0, t1)), min(leave, max(t0, t1))
                if enter > leave + 1e-9 * far:
                    continue
                for n in range(run * RUN, min((run + 1) * RUN, faces.shape[0])):
                    if n == own:
                        continue
                    i, j, k = faces[n, 0], faces[n, 1], faces[n, 2]
                    t_hit = crossing(
                        o, d, points[i, 0], points[i, 1], points[i, 2], points[j, 0], points[j, 1], points[j, 2],
                        points[k, 0], points[k, 1], points[k, 2],
                    )  # fmt: skip
                    if 0.0 < t_hit < best:
                        best, face = t_hit, n
            if following[a] >= best:
                break
            cell[a] += step[a]
            if cell[a] < 0 or cell[a] >= shape[a]:
                break
            begun = following[a]
            following[a] += across[a]
        hit[r] = face
        distance[r] = best if face >= 0 else np.inf


class Boxes:
    """Boxes round the runs of faces of a mesh, and a grid that lists them."""

    def __init__(self, points: Floats, faces: NDArray[np.int32]) -> None:
        self.points, self.faces = points, faces
        runs = -(-len(faces) // RUN)
        self.low, self.high = np.empty((runs, 3)), np.empty((runs, 3))
        over_blocks(lambda a, b: _bounds(points, faces, a, b, self.low, self.high), runs, 8192)
        low, high = self.low.min(axis=0), self.high.max(axis=0)
        self.far = float(np.linalg.norm(high - low)) * 2.0 + 1e-30
        reach = np.maximum(high - low, self.far * 1e-3)
        self.origin = low - (reach - (high - low)) / 2.0 - reach * 1e-6
        reach = reach * (1.0 + 2e-6)
        few = slice(None, None, 1 + runs // 20_000)
        wide = float(np.median(np.linalg.norm(self.high[few] - self.low[few], axis=1))) + 1e-30
        edge = max(wide, float(np.prod(reach) / min(_MOST, 4.0 * runs + 8.0)) ** (1.0 / 3.0))
        self.shape = np.clip(np.ceil(reach / edge), 1, 4096).astype(np.int64)
        self.size = reach / self.shape
        count = np.zeros(int(np.prod(self.shape)) + 1, dtype=np.int64)
        none = np.zeros(0, dtype=np.int32)
        _list(self.low, self.high, self.origin, self.size, self.shape, count[1:], none)
        self.begin = np.cumsum(count)
        self.listed = np.zeros(int(self.begin[-1]) + 1, dtype=np.int32)
        place = self.begin[:-1].copy()
        _list(self.low, self.high, self.origin, self.size, self.shape, place, self.listed)

    def behind(self, rows: NDArray[np.int64], normal: Floats, most: float = np.inf) -> tuple[Floats, NDArray[np.int64]]:
        """Distance and face of the first wall inward of faces; infinity and -1 for none.

        Args:
            rows: The faces, shape (r,).
            normal: Outward unit normals of all faces. [-]
            most: Walls further away than this don't count. [m]

        Returns:
            Distances (r,) and faces (r,). [m, -]
        """
        distance, hit = np.empty(len(rows)), np.empty(len(rows), dtype=np.int64)
        reach = min(most, self.far)

        def run(start: int, stop: int) -> None:
            span = slice(start, stop)
            _walk(
                self.points, self.faces, self.low, self.high, self.origin, self.size, self.shape, self.begin,
                self.listed, rows[span], normal, self.far, reach, distance[span], hit[span],
            )  # fmt: skip

        over_blocks(run, len(rows), _RAYS)
        return distance, hit
