"""Two ways to part the same surface laid over each other, so that every triangle lies wholly in both or neither.

Triangles parted once more, and marked      overlay(soup, parts)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.shape.clip import Soup, split

_OWNER = 3
_BLOCK = 300_000  # pairs of triangles looked at together


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
    many = count[soup[:, 0, _OWNER].astype(np.int64)]
    block = np.cumsum(many) // _BLOCK
    spans = [soup[block == number] for number in np.unique(block)]
    out = [_clipped(span, parts, way, count, start) for span in spans]
    return np.concatenate([np.zeros((0, 3, soup.shape[2] + 1)), *out])


def _clipped(soup: Soup, parts: Soup, way: Soup, count: NDArray[np.int64], start: NDArray[np.int64]) -> Soup:
    own = soup[:, 0, _OWNER].astype(np.int64)
    many = count[own]
    ours = np.repeat(np.arange(len(soup)), many)
    theirs = np.arange(len(ours)) - np.repeat(np.cumsum(many) - many, many) + start[own[ours]]
    a, b = soup[ours], parts[theirs]
    u, v = a[:, :, :3], b[:, :, :3]
    meet = ((u.min(axis=1) <= v.max(axis=1)) & (u.max(axis=1) >= v.min(axis=1))).all(axis=1)
    clipped = _marked(a[meet], theirs[meet].astype(np.float64))
    for i, j in ((0, 1), (1, 2), (2, 0)):
        at = clipped[:, 0, -1].astype(np.int64)
        p, q = parts[at, i, :3], parts[at, j, :3]
        out = np.cross(q - p, way[at])
        length = np.linalg.norm(out, axis=1)
        out /= np.where(length > 0.0, length, 1.0)[:, None]
        clipped, _ = split(clipped, np.einsum("nij,nj->ni", clipped[:, :, :3] - p[:, None], out))
    mark = parts[clipped[:, 0, -1].astype(np.int64), 0, 4]
    return _marked(clipped[:, :, :-1], mark)


def _marked(soup: Soup, mark: NDArray[np.float64]) -> Soup:
    """A soup with one more column, the same at the three corners of a triangle."""
    return np.concatenate([soup, np.repeat(mark, 3).reshape(-1, 3, 1)], axis=2)
