"""The pass of `scan.py` over the records of a large binary STL, compiled and on all cores.

Kept apart because importing the compiler costs a quarter of a second: only files above a million triangles
come here.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
from numpy.typing import NDArray

from layup.shape.measure import NO_AREA, SUMS, vector
from layup.shape.scan import MIX, Scan, from_moments, not_finite

Floats = NDArray[np.float64]
Corners = NDArray[np.float32]
Words = NDArray[np.uint32]

_BLOCK = 65_536
_SIGN = np.uint32(0x80000000)
_M0, _M1, _M2 = (np.uint64(m) for m in MIX)
_S27, _S30, _S31, _S32 = np.uint64(27), np.uint64(30), np.uint64(31), np.uint64(32)


@numba.njit(inline="always")
def _stir(number: np.uint64) -> np.uint64:
    number = (number ^ (number >> _S30)) * _M1
    number = (number ^ (number >> _S27)) * _M2
    return number ^ (number >> _S31)


@numba.njit(inline="always")
def _vertex(bits: Words, k: int) -> np.uint64:
    x, y, z = bits[k, 0], bits[k, 1], bits[k, 2]
    if x == _SIGN:
        x = np.uint32(0)
    if y == _SIGN:
        y = np.uint32(0)
    if z == _SIGN:
        z = np.uint32(0)
    number = (np.uint64(x) | (np.uint64(y) << _S32)) * _M1
    return ((number ^ (number >> _S32)) + np.uint64(z)) * _M2


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _block(corners: Corners, bits: Words, shift: Floats, sums: Floats, box: Floats, parity: Words) -> int:
    """Add a run of records to sums, box and parity; the first with a non-finite corner, else -1."""
    sx, sy, sz = shift[0], shift[1], shift[2]
    area_sum = fx = fy = fz = xx = yy = zz = xy = xz = yz = vx = vy = vz = volume = 0.0
    flat = 0
    edges = np.uint64(0)
    x0, y0, z0, x1, y1, z1 = box[0], box[1], box[2], box[3], box[4], box[5]
    for n in range(corners.shape[0]):
        t = corners[n]
        ax, ay, az = np.float64(t[0, 0]), np.float64(t[0, 1]), np.float64(t[0, 2])
        bx, by, bz = np.float64(t[1, 0]), np.float64(t[1, 1]), np.float64(t[1, 2])
        cx, cy, cz = np.float64(t[2, 0]), np.float64(t[2, 1]), np.float64(t[2, 2])
        if not np.isfinite(ax + ay + az + bx + by + bz + cx + cy + cz):
            return n
        x0, x1 = min(x0, ax, bx, cx), max(x1, ax, bx, cx)
        y0, y1 = min(y0, ay, by, cy), max(y1, ay, by, cy)
        z0, z1 = min(z0, az, bz, cz), max(z1, az, bz, cz)
        ax, ay, az, bx, by, bz = ax - sx, ay - sy, az - sz, bx - sx, by - sy, bz - sz
        cx, cy, cz = cx - sx, cy - sy, cz - sz
        ux, uy, uz, wx, wy, wz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
        x, y, z = uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx
        square = x * x + y * y + z * z
        longest = max(ux * ux + uy * uy + uz * uz, wx * wx + wy * wy + wz * wz)
        flat += square <= NO_AREA * longest * longest
        area = 0.5 * np.sqrt(square)
        px, py, pz = ax + bx + cx, ay + by + cy, az + bz + cz
        area_sum += area
        fx += area * px
        fy += area * py
        fz += area * pz
        xx += area * (ax * ax + bx * bx + cx * cx + px * px)
        yy += area * (ay * ay + by * by + cy * cy + py * py)
        zz += area * (az * az + bz * bz + cz * cz + pz * pz)
        xy += area * (ax * ay + bx * by + cx * cy + px * py)
        xz += area * (ax * az + bx * bz + cx * cz + px * pz)
        yz += area * (ay * az + by * bz + cy * cz + py * pz)
        vx += x
        vy += y
        vz += z
        volume += ax * x + ay * y + az * z
        r = bits[n]
        ha, hb, hc = _vertex(r, 0), _vertex(r, 1), _vertex(r, 2)
        if ha != hb:
            edges ^= _stir(ha + hb)
        if hb != hc:
            edges ^= _stir(hb + hc)
        if hc != ha:
            edges ^= _stir(hc + ha)
    box[0], box[1], box[2], box[3], box[4], box[5] = x0, y0, z0, x1, y1, z1
    parity[0] ^= edges
    sums[0] += area_sum
    sums[1] += fx / 3.0
    sums[2] += fy / 3.0
    sums[3] += fz / 3.0
    sums[4] += xx / 12.0
    sums[5] += yy / 12.0
    sums[6] += zz / 12.0
    sums[7] += xy / 12.0
    sums[8] += xz / 12.0
    sums[9] += yz / 12.0
    sums[10] += 0.5 * vx
    sums[11] += 0.5 * vy
    sums[12] += 0.5 * vz
    sums[13] += volume / 6.0
    sums[14] += flat
    return -1


def scan_records(records: NDArray[np.void], workers: int | None = None) -> Scan:
    """Scan the records of a binary STL; the same figures as `scan.scan_triangles`, for any number of workers.

    Args:
        records: Structured array (n,) with fields `corners` (3, 3) single precision and `bits`, the same
        bytes as
            32-bit integers; the array may be mapped from disk. [m]
        workers: Threads; None for one a core. [-]

    Raises:
        SurfaceError: a coordinate that is not a finite number, naming the triangle.
    """
    corners, bits = records["corners"], records["bits"]
    shift = corners[0, 0].astype(np.float64)
    starts = range(0, len(records), _BLOCK)
    sums = np.zeros((len(starts), SUMS))
    box = np.tile(np.repeat([np.inf, -np.inf], 3), (len(starts), 1))
    parity = np.zeros((len(starts), 1), dtype=np.uint64)

    def run(row: int) -> int:
        span = slice(starts[row], starts[row] + _BLOCK)
        return int(_block(corners[span], bits[span], shift, sums[row], box[row], parity[row]))

    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        for row, bad in enumerate(pool.map(run, range(len(starts)))):
            if bad >= 0:
                raise not_finite(starts[row] + bad)
    edges = int(np.bitwise_xor.reduce(parity[:, 0]))
    low, high = box[:, :3].min(axis=0), box[:, 3:].max(axis=0)
    return from_moments(sums.sum(axis=0), edges, shift, (vector(low), vector(high)), len(records))
