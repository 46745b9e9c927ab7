"""Faces that hang together over marked edges of a large mesh: compiled.

Number of the smooth patch of each face           patches(mate, marks)
Patches and loose faces that hang together        join_nodes(...)
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.sides.spread_out import over_blocks

Whole = NDArray[np.int32]


@numba.njit(cache=True, nogil=True)
def _up(parent: Whole, f: int | np.int64) -> int | np.int64:
    while parent[f] != f:
        parent[f] = parent[parent[f]]
        f = parent[f]
    return f


@numba.njit(cache=True, nogil=True)
def _join(mate: Whole, marks: NDArray[np.uint8], start: int, stop: int, inside: bool, parent: Whole) -> None:
    """Join faces start to stop over smooth edges: with each other, or else with those before them."""
    for f in range(start, stop):
        for k in range(3):
            if not (marks[f] >> k) & 1 or mate[3 * f + k] < 0:
                continue
            g = np.int64(mate[3 * f + k]) // 3
            if ((g < f or g >= stop) if inside else g >= start) or parent[f] == parent[g]:
                continue
            a, b = _up(parent, f), _up(parent, g)
            if a != b:
                parent[max(a, b)] = min(a, b)


@numba.njit(cache=True, nogil=True)
def _roots(parent: Whole, label: Whole) -> int:
    """Number the roots in order; how many."""
    count = 0
    for f in range(len(parent)):
        if parent[f] == f:
            label[f] = count
            count += 1
    return count


@numba.njit(cache=True, nogil=True)
def _follow(parent: Whole, start: int, stop: int, label: Whole) -> None:
    """Everything else gets the number of its root."""
    for f in range(start, stop):
        top = parent[f]
        if top != f:
            while parent[top] != top:
                top = parent[top]
            label[f] = label[top]


def _labelled(parent: Whole) -> tuple[Whole, int]:
    label = np.empty_like(parent)
    count = int(_roots(parent, label))
    over_blocks(lambda a, b: _follow(parent, a, b, label), len(parent))
    return label, count


def patches(mate: Whole, marks: NDArray[np.uint8]) -> tuple[Whole, int]:
    """Faces that hang together over smooth edges; each half of the faces is joined on its own, then the two.

    Args:
        mate: Partner of each half-edge (3 m,).
        marks: As `cells.edge_marks` gives them; an edge without a partner joins nothing whatever its mark.

    Returns:
        Number of the patch of each face, in the order of their first faces, and how many there are.
    """
    parent = np.arange(len(marks), dtype=np.int32)
    half = max(1, -(-len(marks) // 2))
    over_blocks(lambda a, b: _join(mate, marks, a, b, True, parent), len(marks), half)
    _join(mate, marks, half, len(marks), False, parent)
    return _labelled(parent)


@numba.njit(cache=True, nogil=True)
def _nodes(rows, mate, marks, node_of, place, first, state, parent):
    """Join nodes over the edges of faces that are no folds, where both faces are skin."""
    for f in rows:
        if state[f] != 1:
            continue
        one = node_of[f] if place[f] < 0 else place[f] + first
        for k in range(3):
            if not (marks[f] >> (3 + k)) & 1:
                continue
            g = np.int64(mate[3 * f + k]) // 3
            if state[g] != 1:
                continue
            two = node_of[g] if place[g] < 0 else place[g] + first
            a, b = _up(parent, one), _up(parent, two)
            if a != b:
                parent[max(a, b)] = min(a, b)


def join_nodes(
    rows: NDArray[np.int64],
    mate: Whole,
    marks: NDArray[np.uint8],
    patch: Whole,
    place: Whole,
    first: int,
    state: NDArray[np.uint8],
    nodes: int,
) -> tuple[Whole, int]:
    """Skin patches, and skin faces that count one by one, that hang together over edges that are no folds.

    Args:
        rows: The faces over whose edges they are joined.
        mate: Partner of each half-edge.
        marks: As `cells.edge_marks` gives them.
        patch: The node of each face that does not count on its own.
        place: The node of each face that does, counted from `first`; -1 for the others.
        first: Node of the first of them. [-]
        state: 1 for skin.
        nodes: How many nodes there are. [-]

    Returns:
        What each node belongs to, numbered, and how many there are.
    """
    parent = np.arange(nodes, dtype=np.int32)
    _nodes(rows, mate, marks, patch, place, first, state, parent)
    return _labelled(parent)
