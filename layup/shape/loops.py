"""The free edges of a surface, loop by loop: which one is its outer edge, which are cut-outs.

The loops, outer ones first      free_loops(points, faces)

Of each piece of the surface the longest loop counts as its outer edge. That is an assumption, and a finding says
so: a tube has two ends, and no cut-out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.measure import Vector, vector
from layup.shape.topology import Faces, Points, edge_keys, edges_of, pieces


@dataclass(frozen=True, slots=True)
class Loop:
    """Free edges that hang together.

    Attributes:
        edges: Shape (e, 2), in the direction of their faces.
        length: [m]
        middle: Mean of the edge, by length. [m]
        outer: The longest of its piece.
    """

    edges: Faces
    length: float
    middle: Vector
    outer: bool


def free_loops(points: Points, faces: Faces) -> tuple[Loop, ...]:
    """The loops of edges that only one face has.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).

    Returns:
        Outer edges first, then cut-outs; each from the longest to the shortest. Cut-out 1 is the longest one.
    """
    edges, owner = edges_of(faces)
    keys = edge_keys(edges)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    new = keys[1:] != keys[:-1]
    start = np.flatnonzero(np.r_[True, new])
    count = np.diff(np.r_[start, len(keys)])
    rows = order[start[count == 1]]
    if not len(rows):
        return ()
    shared = np.flatnonzero(~new)
    _, piece = pieces(len(faces), np.column_stack([owner[order[shared]], owner[order[shared + 1]]]))
    return loops_of(points, edges[rows], piece[owner[rows]])


def loops_of(points: Points, free: Faces, body: NDArray[np.int64]) -> tuple[Loop, ...]:
    """The loops that free edges make.

    Args:
        points: Shape (n, 3). [m]
        free: Free edges, shape (e, 2), in the direction of their faces.
        body: Number of the piece of the surface that each is an edge of, shape (e,).

    Returns:
        As `free_loops`.
    """
    if not len(free):
        return ()
    used, ends = np.unique(free, return_inverse=True)
    _, at = pieces(len(used), ends.reshape(-1, 2))
    label = at[ends.reshape(-1, 2)[:, 0]]
    step = points[free[:, 1]] - points[free[:, 0]]
    length = np.sqrt(np.einsum("ij,ij->i", step, step))
    middle = 0.5 * (points[free[:, 1]] + points[free[:, 0]])
    found = []
    longest: dict[int, float] = {}
    for number in range(int(label.max()) + 1):
        own = label == number
        size = float(length[own].sum())
        piece = int(body[own][0])
        longest[piece] = max(size, longest.get(piece, 0.0))
        weight = length[own] / size if size > 0.0 else np.full(own.sum(), 1.0 / own.sum())
        found.append((piece, free[own], size, vector(weight @ middle[own])))
    loops = []
    for piece, own_edges, size, place in found:
        outer = size == longest[piece]
        if outer:
            longest[piece] = -1.0  # two loops of one length: the first is taken
        loops.append(Loop(own_edges, size, place, outer))
    return tuple(sorted(loops, key=lambda loop: (not loop.outer, -round(loop.length, 9), loop.middle)))
