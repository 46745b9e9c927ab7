"""Corners with the same coordinates become one point: compiled, exact, on two threads.

    Points and numbers of loose corners      number_points(corners)

A table with open addressing keeps the bits of every point met so far, so that equal means equal to the last bit (-0.0
and 0.0 are one). Each of two threads numbers the points of one half of the corners; then the points of the second half
are looked up among those of the first. The corners are looked at in runs: first the places in the table that a run will
need are touched, then they are used, because memory answers many such questions at a time.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.shape.scan import MIX
from layup.sides.spread_out import over_blocks

_RUN = 256
_FULL = 0.7  # share of the places that may be taken
_BEGIN = 0.35  # share that will be taken of the first table: a half-empty one is quicker
_POINTS = 0.52  # points for each triangle that room is made for at first; a closed mesh has 0.5
_M1, _M2 = np.uint64(MIX[1]), np.uint64(MIX[2])
_S29, _S31, _S32 = np.uint64(29), np.uint64(31), np.uint64(32)

Words = NDArray[np.generic]
Whole = NDArray[np.int32]


@numba.njit(inline="always")
def _hash(x: np.integer, y: np.integer, z: np.integer) -> np.uint64:
    number = (np.uint64(x) ^ (np.uint64(y) << _S32) ^ (np.uint64(y) >> _S29)) * _M1
    number = ((number ^ (number >> _S31)) + np.uint64(z)) * _M2
    return (number ^ (number >> _S32)) * _M1


@numba.njit(cache=True, nogil=True)
def _rehash(old: Words, new: Words, bits: int) -> None:
    """Move a table into a larger one of 2**bits places."""
    mask = new.shape[0] - 1
    for place in range(old.shape[0]):
        if old[place, 3] != 0:
            slot = np.int64(_hash(old[place, 0], old[place, 1], old[place, 2]) >> np.uint64(64 - bits))
            while new[slot, 3] != 0:
                slot = (slot + 1) & mask
            for c in range(4):
                new[slot, c] = old[place, c]


@numba.njit(cache=True, nogil=True)
def _number(words, zero, done, stop, table, bits, points, count, out):
    """Number the corners of triangles done to stop; ends early when the table is full.

    `words` are the coordinates as whole numbers (n, k, 3), `zero` is what -0.0 looks like.
    """
    k = words.shape[1]
    mask = table.shape[0] - 1
    limit = np.int64(_FULL * table.shape[0])
    move = np.uint64(64 - bits)
    slots = np.empty(_RUN * k, np.int64)
    seen = np.empty((_RUN * k, 3), words.dtype)
    nought = words.dtype.type(0)
    sink = np.int64(0)
    while done < stop:
        if count + _RUN * k > limit:
            break
        run = min(_RUN, stop - done)
        filled = 0
        for i in range(run):
            for j in range(k):
                x, y, z = words[done + i, j, 0], words[done + i, j, 1], words[done + i, j, 2]
                x = nought if x == zero else x
                y = nought if y == zero else y
                z = nought if z == zero else z
                slots[filled] = np.int64(_hash(x, y, z) >> move)
                seen[filled, 0], seen[filled, 1], seen[filled, 2] = x, y, z
                filled += 1
        for i in range(filled):
            sink += np.int64(table[slots[i], 3])  # touched, so that memory fetches all of them at once
        for i in range(filled):
            slot = slots[i]
            x, y, z = seen[i, 0], seen[i, 1], seen[i, 2]
            while True:
                held = np.int64(table[slot, 3])
                if held == 0:
                    points[count, 0], points[count, 1], points[count, 2] = x, y, z
                    count += 1
                    table[slot, 0], table[slot, 1], table[slot, 2] = x, y, z
                    table[slot, 3] = count
                    held = count
                    break
                if table[slot, 0] == x and table[slot, 1] == y and table[slot, 2] == z:
                    break
                slot = (slot + 1) & mask
            out[done * k + i] = held - 1
        done += run
    return count, done, sink


@numba.njit(cache=True, nogil=True)
def _look_up(points: Words, start: int, stop: int, table: Words, bits: int, found: Whole) -> np.int64:
    """Numbers that points have in a table, -1 for none."""
    mask = table.shape[0] - 1
    move = np.uint64(64 - bits)
    slots = np.empty(_RUN, np.int64)
    sink = np.int64(0)
    for begin in range(start, stop, _RUN):
        run = min(_RUN, stop - begin)
        for i in range(run):
            slots[i] = np.int64(_hash(points[begin + i, 0], points[begin + i, 1], points[begin + i, 2]) >> move)
            sink += np.int64(table[slots[i], 3])
        for i in range(run):
            x, y, z = points[begin + i, 0], points[begin + i, 1], points[begin + i, 2]
            slot = slots[i]
            while True:
                held = np.int64(table[slot, 3])
                if held == 0 or (table[slot, 0] == x and table[slot, 1] == y and table[slot, 2] == z):
                    break
                slot = (slot + 1) & mask
            found[begin + i] = held - 1
    return sink


@numba.njit(cache=True, nogil=True)
def _append(points: Words, found: Whole, all_points: Words, count: int) -> int:
    """Points without a number get the next one and are added; how many there are then."""
    for i in range(len(found)):
        if found[i] < 0:
            found[i] = count
            for c in range(3):
                all_points[count, c] = points[i, c]
            count += 1
    return count


@numba.njit(cache=True, nogil=True)
def _rename(numbers: Whole, start: int, stop: int, names: Whole) -> None:
    for i in range(start, stop):
        numbers[i] = names[numbers[i]]


def number_points(corners: NDArray[np.floating]) -> tuple[NDArray[np.floating], NDArray[np.int32]]:
    """Distinct points of an array of points and the number of each.

    Args:
        corners: Shape (n, k, 3), single or double precision; may be mapped from disk and strided. [m]

    Returns:
        Points (p, 3) in the precision of the corners, and their numbers (n, k).
    """
    wide = corners.dtype == np.float64
    kind = np.dtype(np.uint64 if wide else np.uint32)
    words = corners.view(kind)
    zero = kind.type(1 << (63 if wide else 31))
    n, k = words.shape[0], words.shape[1]
    out = np.empty(n * k, dtype=np.int32)
    half = max(1, -(-n // 2))
    parts = over_blocks(lambda a, b: _half(words, zero, a, b, out), n, half)
    points, table, bits = parts[0]
    if len(parts) > 1:
        more = parts[1][0]
        names = np.empty(len(more), dtype=np.int32)
        over_blocks(lambda a, b: _look_up(more, a, b, table, bits, names), len(more))
        joined = np.empty((len(points) + len(more), 3), dtype=kind)
        joined[: len(points)] = points
        points = joined[: int(_append(more, names, joined, len(points)))]
        tail = out[half * k :]
        over_blocks(lambda a, b: _rename(tail, a, b, names), len(tail), 1_000_000)
    return points.view(corners.dtype), out.reshape(n, k)


def _half(words: Words, zero: object, start: int, stop: int, out: NDArray[np.int32]) -> tuple[Words, Words, int]:
    """Points of some triangles, and the table that finds them with its size as a power of two."""
    bits = max(12, int(np.ceil(np.log2(_POINTS * (stop - start) * words.shape[1] / 3 / _BEGIN + 1))))
    table = np.zeros((1 << bits, 4), dtype=words.dtype)
    points = np.empty((int(_FULL * len(table)) + 1, 3), dtype=words.dtype)
    count, done = 0, start
    while True:
        count, done, _ = _number(words, zero, done, stop, table, bits, points, count, out)
        if done >= stop:
            return points[:count], table, bits
        bits += 1
        larger = np.zeros((1 << bits, 4), dtype=words.dtype)
        _rehash(table, larger, bits)
        held, table = points, larger
        points = np.empty((int(_FULL * len(table)) + 1, 3), dtype=words.dtype)
        points[:count] = held[:count]
