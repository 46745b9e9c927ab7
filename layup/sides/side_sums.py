"""What the sides of a large solid measure: area, facing, bulge; moments and free edge of the one taken. Compiled.

    Area, vector area and curvature of both sides,
    and where they end                                side_sums(...)
    Measures of chosen faces                          measure_chosen(...)
    The face nearest to a point                       nearest_of(...)

The sums are those of `measure.py` and `skin.curvature`, written for welded points and half-edges.
"""

from __future__ import annotations

from dataclasses import replace

import numba
import numpy as np
from numpy.typing import NDArray

from layup.shape.measure import SUMS, Measured, from_sums, vector
from layup.sides.spread_out import over_blocks

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Sides = NDArray[np.int8]

_BY_SIDE = 5  # area, vector area x y z, curvature


@numba.njit(cache=True, nogil=True, inline="always")
def _angle_over_sine(square: float, cosine: float) -> float:
    """Angle over its sine, from the square of the sine and the cosine; the series is good to 1e-12 below 0.1."""
    if cosine > 0.0 and square < 0.01:
        s = square
        return 1.0 + s * (1.0 / 6.0 + s * (3.0 / 40.0 + s * (15.0 / 336.0 + s * (105.0 / 3456.0))))
    sine = np.sqrt(square)
    return np.arctan2(sine, cosine) / sine if sine > 0.0 else 0.0


@numba.njit(cache=True, nogil=True)
def _bend(
    points: Floats, faces: Whole, normal: Floats, turned: NDArray[np.bool_], f: int, k: int, g: int | np.int64
) -> float:
    """Length times turning angle at edge k of face f, beyond which is face g; bulging is positive."""
    p, q = faces[f, k], faces[f, k + 1 if k < 2 else 0]
    ex, ey, ez = points[q, 0] - points[p, 0], points[q, 1] - points[p, 1], points[q, 2] - points[p, 2]
    ax, ay, az, bx, by, bz = normal[f, 0], normal[f, 1], normal[f, 2], normal[g, 0], normal[g, 1], normal[g, 2]
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    along: float = x * ex + y * ey + z * ez
    bend = along * _angle_over_sine(x * x + y * y + z * z, ax * bx + ay * by + az * bz)
    return -bend if turned[f] else bend


@numba.njit(cache=True, nogil=True)
def _sums(points, faces, mate, normal, area, turned, side, start, stop, out, ends):
    """Add the sums up and list the half-edges at which a side ends from 3 start: how many."""
    count = 3 * start
    for f in range(start, stop):
        s = side[f]
        if s < 0:
            continue
        out[s, 0] += area[f]
        for c in range(3):
            out[s, 1 + c] += area[f] * normal[f, c]
        for k in range(3):
            m = np.int64(mate[3 * f + k])
            if m < 0 or side[m // 3] != s:
                ends[count] = 3 * f + k
                count += 1
            elif m > 3 * f + k:
                out[s, 4] += _bend(points, faces, normal, turned, f, k, m // 3)
    return count


def side_sums(
    points: Floats,
    faces: Whole,
    mate: Whole,
    normal: Floats,
    area: Floats,
    turned: NDArray[np.bool_],
    side: Sides,
    shared: NDArray[np.int64],
) -> tuple[Floats, NDArray[np.int64]]:
    """Sums over both sides, and where they end.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        mate: Partner of each half-edge.
        normal: Outward unit normals. [-]
        area: Of each face. [m^2]
        turned: Faces wound the other way.
        side: 0 or 1 for the two sides, -1 for neither.
        shared: As `mates.Mates.shared`.

    Returns:
        Shape (2, 5): area, vector area x y z, curvature (sum of length times turning angle). [m^2, m^2, m]
        The half-edges whose partner, if there is one, is not of the same side, in order.
    """
    ends = np.empty(len(mate), dtype=np.int32)

    def run(start: int, stop: int) -> tuple[Floats, NDArray[np.int32]]:
        out = np.zeros((2, _BY_SIDE))
        count = int(_sums(points, faces, mate, normal, area, turned, side, start, stop, out, ends))
        return out, ends[3 * start : count]

    parts = over_blocks(run, len(faces))
    sums = np.sum([part for part, _ in parts], axis=0)
    for edge in fans(shared):
        for s in (0, 1):
            own = edge[side[edge // 3] == s]
            if len(own) == 2:  # the others are not of this side: to it, the edge has two faces
                f, g = (int(h) // 3 for h in own)
                sums[s, 4] += _bend(points, faces, normal, turned, f, int(own[0]) % 3, g)
    return sums, np.concatenate([part for _, part in parts]).astype(np.int64)


def fans(shared: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """What is first and further of each edge of more than two faces, from `mates.Mates.shared`."""
    if not len(shared):
        return []
    ordered = shared[np.argsort(shared[:, 0], kind="stable")]
    starts = np.flatnonzero(np.diff(ordered[:, 0])) + 1
    return [np.r_[part[0, 0], part[:, 1]] for part in np.split(ordered, starts)]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _measure(points, faces, mate, side, wanted, shift, start, stop, sums, box):
    """Moments about `shift`, box, free edge (sums 14) and count (sums 13) of the faces of the side wanted."""
    for f in range(start, stop):
        if side[f] != wanted:
            continue
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = points[i, 0] - shift[0], points[i, 1] - shift[1], points[i, 2] - shift[2]
        bx, by, bz = points[j, 0] - shift[0], points[j, 1] - shift[1], points[j, 2] - shift[2]
        cx, cy, cz = points[k, 0] - shift[0], points[k, 1] - shift[1], points[k, 2] - shift[2]
        ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        part = 0.5 * np.sqrt(x * x + y * y + z * z)
        px, py, pz = ax + bx + cx, ay + by + cy, az + bz + cz
        sums[0] += part
        third, twelfth = part / 3.0, part / 12.0
        sums[1] += third * px
        sums[2] += third * py
        sums[3] += third * pz
        sums[4] += twelfth * (ax * ax + bx * bx + cx * cx + px * px)
        sums[5] += twelfth * (ay * ay + by * by + cy * cy + py * py)
        sums[6] += twelfth * (az * az + bz * bz + cz * cz + pz * pz)
        sums[7] += twelfth * (ax * ay + bx * by + cx * cy + px * py)
        sums[8] += twelfth * (ax * az + bx * bz + cx * cz + px * pz)
        sums[9] += twelfth * (ay * az + by * bz + cy * cz + py * pz)
        sums[13] += 1.0
        for c in range(3):
            box[c] = min(box[c], points[i, c], points[j, c], points[k, c])
            box[3 + c] = max(box[3 + c], points[i, c], points[j, c], points[k, c])
        for e in range(3):
            m = np.int64(mate[3 * f + e])
            if m == -1 or (m >= 0 and side[m // 3] != wanted):
                p, q = faces[f, e], faces[f, e + 1 if e < 2 else 0]
                ex, ey, ez = points[q, 0] - points[p, 0], points[q, 1] - points[p, 1], points[q, 2] - points[p, 2]
                sums[14] += np.sqrt(ex * ex + ey * ey + ez * ez)


def measure_chosen(
    points: Floats, faces: Whole, mate: Whole, side: Sides, wanted: int, shared: NDArray[np.int64]
) -> Measured:
    """Measures of the faces of one side, its free edge included.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        mate: Partner of each half-edge.
        side: Number of the side of each face.
        wanted: The number that is measured.
        shared: As `mates.Mates.shared`.
    """
    shift = points[faces[int(np.argmax(side == wanted)), 0]]

    def run(start: int, stop: int) -> tuple[Floats, Floats]:
        sums, box = np.zeros(SUMS), np.repeat([np.inf, -np.inf], 3)
        _measure(
            points=points,
            faces=faces,
            mate=mate,
            side=side,
            wanted=wanted,
            shift=shift,
            start=start,
            stop=stop,
            sums=sums,
            box=box,
        )
        return sums, box

    parts = over_blocks(run, len(faces))
    sums = np.sum([part for part, _ in parts], axis=0)
    boxes = np.array([box for _, box in parts])
    edge = float(sums[14])
    for fan in fans(shared):
        if np.count_nonzero(side[fan // 3] == wanted) % 2:
            f, k = divmod(int(fan[0]), 3)
            edge += float(np.linalg.norm(points[faces[f, (k + 1) % 3]] - points[faces[f, k]]))
    corners = (vector(boxes[:, :3].min(axis=0)), vector(boxes[:, 3:].max(axis=0)))
    return replace(from_sums(sums, shift, corners, int(sums[13])), perimeter=edge)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _near(points: Floats, faces: Whole, at: Floats, start: int, stop: int) -> tuple[float, int]:
    """The nearest of a block of faces to a point, and the square of its distance."""
    best, found = np.inf, start
    for f in range(start, stop):
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1], points[j, 2] - points[i, 2]
        vx, vy, vz = points[k, 0] - points[i, 0], points[k, 1] - points[i, 1], points[k, 2] - points[i, 2]
        wx, wy, wz = at[0] - points[i, 0], at[1] - points[i, 1], at[2] - points[i, 2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = x * x + y * y + z * z
        square = np.inf
        if size > 0.0:
            up = wx * x + wy * y + wz * z
            if up * up >= best * size:
                continue  # even its plane is further off
            s = ((wy * vz - wz * vy) * x + (wz * vx - wx * vz) * y + (wx * vy - wy * vx) * z) / size
            t = ((uy * wz - uz * wy) * x + (uz * wx - ux * wz) * y + (ux * wy - uy * wx) * z) / size
            if s >= 0.0 and t >= 0.0 and s + t <= 1.0:
                square = up * up / size
        if square == np.inf:
            for e in range(3):
                p, q = faces[f, e], faces[f, e + 1 if e < 2 else 0]
                ex, ey, ez = points[q, 0] - points[p, 0], points[q, 1] - points[p, 1], points[q, 2] - points[p, 2]
                dx, dy, dz = at[0] - points[p, 0], at[1] - points[p, 1], at[2] - points[p, 2]
                length = ex * ex + ey * ey + ez * ez
                share = (dx * ex + dy * ey + dz * ez) / length if length > 0.0 else 0.0
                share = min(max(share, 0.0), 1.0)
                dx, dy, dz = dx - share * ex, dy - share * ey, dz - share * ez
                square = min(square, dx * dx + dy * dy + dz * dz)
        if square < best:
            best, found = square, f
    return best, found


def nearest_of(points: Floats, faces: Whole, at: Floats) -> int:
    """The face nearest to a point. [m]"""
    parts = over_blocks(lambda a, b: _near(points, faces, at, a, b), len(faces))
    return int(min(parts)[1])
