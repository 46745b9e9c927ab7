"""Two ways to part the same surface laid over each other, so that every triangle lies wholly in both or neither.

Triangles parted once more, and marked      overlay(soup, parts)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.shape.clip import Soup, split

_OWNER = 3
_BLOCK = 300_000  # pairs of triangles looked at together
_CROWD = 20_000  # pairs on one face from which it is worth to find first which are near each other


def overlay(soup: Soup, parts: Soup) -> Soup:
    """Cut triangles along the borders of others that cover the same faces.

    Args:
        soup: Triangles that cover each face of a surface once, shape (n, 3, c): x, y, z, the number of the face, and
            marks that are even over a triangle. [m]
        parts: Others that cover the same faces, shape (m, 3, 5): x, y, z, face, and one mark. [m]

    Returns:
        Triangles (k, 3, c + 1), with the marks of both.
    """
    ours, theirs = (s[:, 0, _OWNER].astype(np.int64) for s in (soup, parts))
    size = 1 + int(max(ours.max(initial=0), theirs.max(initial=0)))
    our_count, their_count = np.bincount(ours, minlength=size), np.bincount(theirs, minlength=size)
    mark = np.zeros(size)
    mark[theirs] = parts[:, 0, 4]
    whole = their_count[ours] <= 1
    kept = _marked(soup[whole], mark[ours[whole]])
    row = np.zeros(size, dtype=np.int64)
    row[ours] = np.arange(len(ours))
    uncut = (our_count[theirs] == 1) & (their_count[theirs] > 1)
    marks = soup[row[theirs[uncut]]][:, :, 4:]
    fresh = np.concatenate([parts[uncut][:, :, :4], marks, parts[uncut][:, :, 4:]], axis=2)
    both = (our_count > 1) & (their_count > 1)
    return np.concatenate([kept, fresh, _crossed(soup[both[ours]], parts[both[theirs]], size)])


def _crossed(soup: Soup, parts: Soup, size: int) -> Soup:
    """Every triangle of a face clipped to every part of it."""
    way = np.cross(parts[:, 1, :3] - parts[:, 0, :3], parts[:, 2, :3] - parts[:, 0, :3])
    parts, way = parts[(way != 0.0).any(axis=1)], way[(way != 0.0).any(axis=1)]
    order = np.argsort(parts[:, 0, _OWNER], kind="stable")
    parts, way = parts[order], way[order]
    count = np.bincount(parts[:, 0, _OWNER].astype(np.int64), minlength=size)
    start = np.cumsum(count) - count
    own = soup[:, 0, _OWNER].astype(np.int64)
    out = [np.zeros((0, 3, soup.shape[2] + 1))]
    crowded = np.bincount(own, minlength=size) * count > _CROWD
    for face in np.flatnonzero(crowded):  # a coarse mesh: two fine borders on one large face
        mine = np.flatnonzero(own == face)
        ours, theirs = _near(soup[mine], parts[start[face] : start[face] + count[face]])
        out.append(_clipped(soup[mine[ours]], parts[start[face] + theirs], way[start[face] + theirs]))
    soup = soup[~crowded[own]]
    own = soup[:, 0, _OWNER].astype(np.int64)
    many = count[own]
    block = np.cumsum(many) // _BLOCK
    for number in np.unique(block):
        rows = np.flatnonzero(block == number)
        ours = np.repeat(rows, many[rows])
        first = np.cumsum(many[rows]) - many[rows]
        theirs = np.arange(len(ours)) - np.repeat(first, many[rows]) + start[own[ours]]
        out.append(_clipped(soup[ours], parts[theirs], way[theirs]))
    return np.concatenate(out)


def _near(soup: Soup, parts: Soup) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of triangles of one face whose boxes meet, seen along the axis that the face turns most to."""
    import shapely

    spans = np.ptp(parts[:, :, :3].reshape(-1, 3), axis=0)
    axes = np.sort(np.argsort(spans)[1:])
    low, high = (np.ascontiguousarray(f(soup[:, :, axes], axis=1)) for f in (np.min, np.max))
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    low, high = (np.ascontiguousarray(f(parts[:, :, axes], axis=1)) for f in (np.min, np.max))
    theirs, ours = tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    return np.asarray(ours), np.asarray(theirs)


def _clipped(a: Soup, b: Soup, way: Soup) -> Soup:
    """Each triangle clipped to its partner, (n, 3, c) to (n, 3, 5), whose normal is `way`; with the partner's mark."""
    u, v = a[:, :, :3], b[:, :, :3]
    meet = ((u.min(axis=1) <= v.max(axis=1)) & (u.max(axis=1) >= v.min(axis=1))).all(axis=1)
    clipped = _marked(a[meet], np.flatnonzero(meet).astype(np.float64))
    for i, j in ((0, 1), (1, 2), (2, 0)):
        at = clipped[:, 0, -1].astype(np.int64)
        p, q = b[at, i, :3], b[at, j, :3]
        out = np.cross(q - p, way[at])
        length = np.linalg.norm(out, axis=1)
        out /= np.where(length > 0.0, length, 1.0)[:, None]
        clipped, _ = split(clipped, np.einsum("nij,nj->ni", clipped[:, :, :3] - p[:, None], out))
    mark = b[clipped[:, 0, -1].astype(np.int64), 0, 4]
    return _marked(clipped[:, :, :-1], mark)


def _marked(soup: Soup, mark: NDArray[np.float64]) -> Soup:
    """A soup with one more column, the same at the three corners of a triangle."""
    return np.concatenate([soup, np.repeat(mark, 3).reshape(-1, 3, 1)], axis=2)
