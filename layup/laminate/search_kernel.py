"""The inner loops of the search, compiled: halves against halves, in order of weight. See `layup.laminate.search`."""

# Calls between compiled functions stay by position: they pass the same arrays on in the same order.
# Arguments are those of `Frame._tables`: arrays of the inner halves (i), of the outer halves (o) and of the limits (j).

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

CHUNKS = 64
WORTH_TWO_CORES = 5_000_000
"""Pairs below which one core is quicker than the start of two."""


@njit(cache=True, inline="always")
def _keeps(h, din, a, b, c, r, s, w, i, o):
    for j in range(r.shape[0]):
        due = r[j] + s[j] * w
        if din[i, j] + c[o, j] + h * (b[o, j] + h * a[o, j]) < due - 1e-9 * abs(due):
            return False
    return True


@njit(cache=True, inline="always")
def _may_keep(h, din, pa, pb, pc, r, s, w, i, last):
    for j in range(r.shape[0]):
        due = r[j] + s[j] * w
        if din[i, j] + pc[last, j] + h * (pb[last, j] + h * pa[last, j]) < due - 1e-9 * abs(due):
            return False
    return True


@njit(cache=True)
def _lightest_of(
    begin, stride, win, high, din, wout, a, b, c, pa, pb, pc, r, s, fixed, end, end_run, start, start_run, most, above,
    ceiling,
):  # fmt: skip
    """Lightest weight above `above` and below `ceiling` at which a pair keeps to all limits; and pairs looked at."""
    own = ceiling
    count = 0
    for i in range(begin, win.shape[0], stride):
        if fixed + 2 * (win[i] + wout[0]) >= own:
            break  # sorted by weight: no later one can be lighter
        first = np.searchsorted(wout, (above - fixed) / 2 - win[i], side="right")
        after = np.searchsorted(wout, (own - fixed) / 2 - win[i], side="left")
        if first >= after:
            continue
        h = high[i]
        light = fixed + 2 * (win[i] + wout[first])
        if not _may_keep(h, din, pa, pb, pc, r, s, light, i, after - 1):
            continue
        for o in range(first, after):
            count += 1
            if most and end[i] == start[o] and end_run[i] + start_run[o] > most:
                continue
            w = fixed + 2 * (win[i] + wout[o])
            if _keeps(h, din, a, b, c, r, s, w, i, o):
                own = w
                break
    return own, count


@njit(cache=True, parallel=True)
def lightest_large(
    win, high, din, wout, a, b, c, pa, pb, pc, r, s, fixed, end, end_run, start, start_run, most, above, ceiling
):
    """As `_lightest_of`, on all cores."""
    best = np.full(CHUNKS, np.inf)
    looked = np.zeros(CHUNKS, dtype=np.int64)
    for chunk in prange(CHUNKS):
        own, count = _lightest_of(
            chunk, CHUNKS, win, high, din, wout, a, b, c, pa, pb, pc, r, s, fixed, end, end_run, start, start_run, most,
            above, ceiling,
        )  # fmt: skip
        best[chunk] = own
        looked[chunk] = count
    return best.min(), looked.sum()


def lightest(*arguments: Any) -> tuple[float, int]:
    """The lightest pair that keeps to all limits; arguments are the tables, then above and ceiling.

    Returns:
        Its weight, infinite if there is none below the ceiling; and how many pairs were looked at.
    """
    one: Any = _lightest_of  # numba does not tell its arguments
    every: Any = lightest_large
    large = len(arguments[0]) * len(arguments[3]) > WORTH_TWO_CORES
    weight, looked = every(*arguments) if large else one(0, 1, *arguments)
    return (float(weight) if weight < arguments[-1] else float("inf")), int(looked)


@njit(cache=True)
def _count(win, high, din, wout, a, b, c, r, s, fixed, end, end_run, start, start_run, most, low, top):
    n = win.shape[0]
    counts = np.zeros(n, dtype=np.int64)
    for i in range(n):
        first = np.searchsorted(wout, (low - fixed) / 2 - win[i], side="left")
        after = np.searchsorted(wout, (top - fixed) / 2 - win[i], side="right")
        for o in range(first, after):
            if most and end[i] == start[o] and end_run[i] + start_run[o] > most:
                continue
            if _keeps(high[i], din, a, b, c, r, s, fixed + 2 * (win[i] + wout[o]), i, o):
                counts[i] += 1
    return counts


@njit(cache=True)
def _fill(win, high, din, wout, a, b, c, r, s, fixed, end, end_run, start, start_run, most, low, top, begin, stop, out):
    at = 0
    for i in range(begin, stop):
        first = np.searchsorted(wout, (low - fixed) / 2 - win[i], side="left")
        after = np.searchsorted(wout, (top - fixed) / 2 - win[i], side="right")
        for o in range(first, after):
            if most and end[i] == start[o] and end_run[i] + start_run[o] > most:
                continue
            if _keeps(high[i], din, a, b, c, r, s, fixed + 2 * (win[i] + wout[o]), i, o):
                out[at, 0] = i
                out[at, 1] = o
                at += 1


def gather(*arguments: Any) -> Iterator[NDArray[np.int64]]:
    """Pairs whose weight lies between two ends and that keep to all limits; arguments as above, then low, top, most.

    Yields:
        Numbers of inner and outer halves, (n, 2): every pair, some `most` at a time.
    """
    *tables, low, top, most_pairs = arguments
    win, high, din, wout, a, b, c, _, _, _, *rest = tables
    count_pairs: Any = _count  # numba does not tell its arguments
    fill_pairs: Any = _fill
    upto = np.cumsum(count_pairs(win, high, din, wout, a, b, c, *rest, low, top))
    begin, done = 0, 0
    while done < (int(upto[-1]) if len(upto) else 0):
        stop = max(int(np.searchsorted(upto, done + most_pairs, side="right")), begin + 1)
        out = np.empty((int(upto[stop - 1]) - done, 2), dtype=np.int64)
        fill_pairs(win, high, din, wout, a, b, c, *rest, low, top, begin, stop, out)
        begin, done = stop, int(upto[stop - 1])
        if len(out):
            yield out


@njit(cache=True, parallel=True)
def sweep(win, high, din, wout, a, b, c, r, s, fixed):
    """Every pair, nothing passed over: the lightest that keeps to all limits, and how many do."""
    n, m = win.shape[0], wout.shape[0]
    best = np.full(n, np.inf)
    kept = np.zeros(n, dtype=np.int64)
    for i in prange(n):
        own = np.inf
        count = 0
        for o in range(m):
            w = fixed + 2 * (win[i] + wout[o])
            if _keeps(high[i], din, a, b, c, r, s, w, i, o):
                count += 1
                own = min(own, w)
        best[i] = own
        kept[i] = count
    return best.min(), kept.sum()
