"""Which faces of a large mesh meet at which edge: compiled, exact, on two threads.

    The partner of every half-edge      find_mates(faces, points).mate
    Faces that may be there twice       alike(mate)

Half-edge 3 f + k of face f runs from its corner k to its corner k + 1. Its partner is the half-edge of the only other
face at the same edge. Every point keeps a chain of the edges it is home to (an edge is at home at one of its two ends,
by a rule that does not depend on its direction); a half-edge looks for its edge in the chain of its home. Each of two
threads does so for one half of the faces; then the edges of the second half are looked up among those of the first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from layup.sides.spread_out import over_blocks

Whole = NDArray[np.int32]
Numbers = NDArray[np.int64]

FREE, MANY, NO_LENGTH = -1, -2, -3
"""What stands for a partner where there is none, more than one, or no edge at all. [-]"""

_RUN = 256


@dataclass(frozen=True, slots=True)
class Mates:
    """Half-edges and their partners.

    Attributes:
        mate: Partner of each half-edge (3 m,): a half-edge, or FREE, MANY, NO_LENGTH.
        odd: One half-edge of each edge that three, five, ... faces have.
        many: One half-edge of each edge that more than two faces have.
        shared: First half-edge and each further one (p, 2) of the edges of more than two faces.
    """

    mate: NDArray[np.int32]
    odd: NDArray[np.int64]
    many: NDArray[np.int64]
    shared: NDArray[np.int64]


@numba.njit(cache=True, nogil=True, inline="always")
def _home(faces: Whole, f: int, k: int) -> tuple[np.int64, np.int64]:
    """The end of an edge that keeps it, and the other end."""
    p, q = np.int64(faces[f, k]), np.int64(faces[f, k + 1 if k < 2 else 0])
    low, high = min(p, q), max(p, q)
    return (low, high) if ((p + q) & 1) == 0 else (high, low)


@numba.njit(cache=True, nogil=True)
def _pair(
    faces: Whole, start: int, stop: int, head: Whole, node: Whole, mate: Whole, further: Whole
) -> tuple[int, int, np.int64]:
    """Find partners among faces start to stop; how many edges they have, and how many further faces.

    A node is an edge: its other end, the next node of the chain, its first half-edge.
    """
    used = count = 0
    edge = np.empty((_RUN * 3, 3), np.int64)
    sink = np.int64(0)
    for begin in range(start, stop, _RUN):
        filled = 0
        for f in range(begin, min(begin + _RUN, stop)):
            for k in range(3):
                home, other = _home(faces, f, k)
                edge[filled, 0], edge[filled, 1], edge[filled, 2] = home, other, 3 * f + k
                sink += head[home]  # touched, so that memory fetches all of them at once
                filled += home != other
                if home == other:
                    mate[3 * f + k] = -3
        for i in range(filled):
            home, other, h = edge[i, 0], edge[i, 1], edge[i, 2]
            at = head[home]
            while at >= 0 and node[at, 0] != other:
                at = node[at, 1]
            if at < 0:
                node[used, 0], node[used, 1], node[used, 2] = other, head[home], h
                head[home] = used
                used += 1
                mate[h] = -1
                continue
            one = node[at, 2]
            if mate[one] == -1:
                mate[one], mate[h] = h, one
                continue
            if mate[one] >= 0:
                two = mate[one]
                mate[two] = -2
                mate[one] = -2
                further[count, 0], further[count, 1] = one, two
                count += 1
            mate[h] = -2
            further[count, 0], further[count, 1] = one, h
            count += 1
    return used, count, sink


@numba.njit(cache=True, nogil=True)
def _across(faces, more, start, stop, head, node, mate, further):
    """Partners of the edges of the second half (`more`) among those of the first; how many further faces."""
    count = start
    for i in range(start, stop):
        own = more[i, 2]
        home, other = _home(faces, own // 3, own - 3 * (own // 3))
        at = head[home]
        while at >= 0 and node[at, 0] != other:
            at = node[at, 1]
        if at < 0:
            continue
        one = node[at, 2]
        if mate[one] == -1 and mate[own] == -1:
            mate[one], mate[own] = own, one
            continue
        for first in (one, own):
            if mate[first] >= 0:
                two = mate[first]
                mate[two] = -2
                further[3 * count, 0], further[3 * count, 1] = one, two
            else:
                further[3 * count, 0], further[3 * count, 1] = -1, -1
            mate[first] = -2
            if first == one:
                further[3 * count + 2, 0], further[3 * count + 2, 1] = further[3 * count, 0], further[3 * count, 1]
        further[3 * count + 1, 0], further[3 * count + 1, 1] = one, own
        count += 1
    return count - start


@numba.njit(cache=True, nogil=True)
def _alike(mate: Whole, start: int, stop: int, out: Whole) -> int:
    """Faces whose edges all lead to the same other face, or to several: how many, listed from `start`."""
    count = start
    for f in range(start, stop):
        other = np.int64(-1)
        alike = True
        for k in range(3):
            m = np.int64(mate[3 * f + k])
            if m >= 0 and (other < 0 or m // 3 == other):
                other = m // 3
            elif m != -2:
                alike = False
        if alike:
            out[count] = f
            count += 1
    return count - start


def alike(mate: NDArray[np.int32]) -> NDArray[np.int64]:
    """Faces that share every edge with one other face, or with several: only they can be there twice."""
    out = np.empty(len(mate) // 3, dtype=np.int32)
    found = over_blocks(lambda a, b: (a, int(_alike(mate, a, b, out))), len(out))
    return np.concatenate([out[a : a + count] for a, count in found]).astype(np.int64)


def find_mates(faces: NDArray[np.int32], points: int) -> Mates:
    """Partners of all half-edges.

    Args:
        faces: Shape (m, 3), C order.
        points: How many points there are. [-]
    """
    n = len(faces)
    mate = np.empty(3 * n, dtype=np.int32)
    half = max(1, -(-n // 2))

    def run(start: int, stop: int) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int64]]:
        head = np.full(points, -1, dtype=np.int32)
        node = np.empty((3 * (stop - start), 3), dtype=np.int32)  # only what is used takes memory
        further = np.empty((3 * (stop - start), 2), dtype=np.int32)
        used, count, _ = _pair(faces, start, stop, head, node, mate, further)
        return head, node[:used], further[:count].astype(np.int64)

    parts = over_blocks(run, n, half)
    shared = [part[2] for part in parts]
    if len(parts) > 1:
        (head, node, _), more = parts[0], parts[1][1]
        further = np.empty((3 * len(more), 2), dtype=np.int32)
        found = over_blocks(
            lambda a, b: (
                a,
                int(_across(faces=faces, more=more, start=a, stop=b, head=head, node=node, mate=mate, further=further)),
            ),
            len(more),
            1_000_000,
        )
        both = np.concatenate([further[3 * a : 3 * (a + count)] for a, count in found]).astype(np.int64)
        shared = [shared[0], _renamed(shared[1], both[1::3]), both[both[:, 0] >= 0]]
    joined = np.concatenate(shared)
    many, times = np.unique(joined[:, 0], return_counts=True)
    return Mates(mate, many[(times + 1) % 2 == 1], many, joined)


def _renamed(shared: NDArray[np.int64], both: NDArray[np.int64]) -> NDArray[np.int64]:
    """Edges of many faces of the second half, under the name they have in the first where they are there too."""
    order = np.argsort(both[:, 1])
    own = both[order, 1]
    place = np.minimum(np.searchsorted(own, shared[:, 0]), max(len(own) - 1, 0))
    if len(own):
        known = own[place] == shared[:, 0]
        shared[known, 0] = both[order[place[known]], 0]
    return shared
