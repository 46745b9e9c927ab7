"""Loose lines and arcs become closed loops: end to end, across gaps no wider than stated.

    Loops, what stays open, the widest gap     chain(pieces, gap)

First within each layer, then what is left across layers. Where more than two lines meet in a point, as where a
rib line runs across an outline, the loop is the border of all the cells that the lines enclose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.curves import Line2
from layup.shape.topology import pieces as connected


@dataclass(frozen=True, slots=True)
class Piece:
    """A line of points on a layer; shape (n, 2). [length]"""

    points: Line2
    layer: str
    closed: bool = False

    @property
    def length(self) -> float:
        """From its first point to its last, and back to the first if it is closed. [length]"""
        ends = [self.points, self.points[:1]] if self.closed else [self.points]
        return float(np.hypot(*np.diff(np.concatenate(ends), axis=0).T).sum())


@dataclass(slots=True)
class Chained:
    """What came of the pieces.

    Attributes:
        loops: Closed; the first point is not repeated.
        open: Lines that close nowhere.
        joined: How many loose pieces went into loops.
        widest: The widest gap that was closed. [length]
        twice: How many pieces were drawn twice and taken once.
        branches: How many loops were cut out of lines that meet in threes.
    """

    loops: list[Piece]
    open: list[Piece]
    joined: int = 0
    widest: float = 0.0
    twice: int = 0
    branches: int = 0


def chain(pieces: list[Piece], gap: float) -> Chained:
    """Join pieces into loops.

    Args:
        pieces: In any order and direction.
        gap: Two ends no further apart than this are one point. [length]
    """
    out = Chained([], [])
    loose: list[Piece] = []
    for piece in pieces:
        if piece.closed:
            out.loops.append(piece)
        elif piece.length > gap:
            apart = float(np.hypot(*(piece.points[-1] - piece.points[0])))
            if len(piece.points) > 3 and apart <= gap and piece.length > 4.0 * gap:
                out.widest = max(out.widest, apart)
                out.loops.append(Piece(piece.points[:-1], piece.layer, True))
            else:
                loose.append(piece)
    left: list[Piece] = []
    for layer in dict.fromkeys(p.layer for p in loose):
        left += _join([p for p in loose if p.layer == layer], gap, out)
    out.open = _join(left, gap, out) if len({p.layer for p in left}) > 1 else left
    return out


def _join(loose: list[Piece], gap: float, out: Chained) -> list[Piece]:
    """Add the loops to `out`; return what stays open, joined as far as it goes."""
    if not loose:
        return []
    ends = np.concatenate([p.points[[0, -1]] for p in loose])
    node, places, apart = _nodes(ends, gap)
    pairs = node.reshape(-1, 2)
    keep = _once(loose, pairs, gap)
    out.twice += len(loose) - len(keep)
    loose, pairs = [loose[k] for k in keep], pairs[keep]
    _, group = connected(len(places), pairs)
    open_: list[Piece] = []
    at = group[pairs[:, 0]]
    for number in np.unique(at):
        own = np.flatnonzero(at == number)
        mine, their = [loose[k] for k in own], pairs[own]
        degree = np.bincount(their.ravel())
        gaps = float(apart[np.unique(their)].max())
        if degree.max() <= 2:
            line, layer, closed = _walk(mine, their, places)
            if closed:
                out.loops.append(Piece(line[:-1], layer, True))
                out.joined += len(mine)
                out.widest = max(out.widest, gaps)
            else:
                open_.append(Piece(line, layer))
        else:
            rings, dangling = _cells([_snapped(p, places[ab]) for p, ab in zip(mine, their, strict=True)])
            layer = max(mine, key=lambda p: p.length).layer
            out.loops += [Piece(ring, layer, True) for ring in rings]
            open_ += [Piece(line, layer) for line in dangling]
            if rings:
                out.joined += len(mine)
                out.branches += len(rings)
                out.widest = max(out.widest, gaps)
    return open_


def _nodes(ends: Line2, gap: float) -> tuple[NDArray[np.int64], Line2, NDArray[np.float64]]:
    """The node of each end, the place of each node, and how far its ends lie apart."""
    from scipy.spatial import cKDTree

    near = cKDTree(ends).query_pairs(gap, output_type="ndarray")
    count, node = connected(len(ends), near.reshape(-1, 2))
    places = np.zeros((count, 2))
    first = np.zeros(count, dtype=np.int64)
    first[node[::-1]] = np.arange(len(ends))[::-1]
    shift = ends - ends[first[node]]  # so that equal ends give their own coordinates back, to the last bit
    np.add.at(places, node, shift)
    places = ends[first] + places / np.bincount(node, minlength=count)[:, None]
    away = np.hypot(*(ends - places[node]).T)
    apart = np.zeros(count)
    np.maximum.at(apart, node, 2.0 * away)
    return node, places, apart


def _once(loose: list[Piece], pairs: NDArray[np.int64], gap: float) -> list[int]:
    """The pieces without those drawn twice: same ends, same length, same middle."""
    seen: dict[tuple[int, int], list[tuple[float, Line2]]] = {}
    keep = []
    for number, (piece, (a, b)) in enumerate(zip(loose, pairs, strict=True)):
        key = (int(min(a, b)), int(max(a, b)))
        length, middle = piece.length, piece.points.mean(axis=0)
        others = seen.setdefault(key, [])
        if any(abs(length - o) <= gap and np.hypot(*(middle - m)) <= gap for o, m in others):
            continue
        others.append((length, middle))
        keep.append(number)
    return keep


def _snapped(piece: Piece, ends: Line2) -> Line2:
    points = piece.points.copy()
    points[0], points[-1] = ends
    return points


def _walk(mine: list[Piece], pairs: NDArray[np.int64], places: Line2) -> tuple[Line2, str, bool]:
    """One line through pieces that meet in twos at most; the layer is the one with most of its length."""
    touch: dict[int, list[int]] = {}
    for number, (a, b) in enumerate(pairs):
        touch.setdefault(int(a), []).append(number)
        touch.setdefault(int(b), []).append(number)
    start = next((n for n, own in touch.items() if len(own) == 1), int(pairs[0, 0]))
    here, left, parts = start, set(range(len(mine))), []
    while True:
        onward = next((k for k in touch[here] if k in left), None)
        if onward is None:
            break
        left.discard(onward)
        a, b = (int(n) for n in pairs[onward])
        points = _snapped(mine[onward], places[[a, b]])
        if a != here:
            points, a, b = points[::-1], b, a
        parts.append(points[:-1])
        here = b
    lengths: dict[str, float] = {}
    for piece in mine:
        lengths[piece.layer] = lengths.get(piece.layer, 0.0) + piece.length
    line = np.concatenate([*parts, places[here][None]])
    return line, max(lengths, key=lambda k: lengths[k]), here == start


def _cells(lines: list[Line2]) -> tuple[list[Line2], list[Line2]]:
    """Borders of all the lines enclose together, and the lines outside it."""
    import shapely

    noded = shapely.unary_union([shapely.LineString(line) for line in lines])
    cells = shapely.get_parts(shapely.polygonize([noded]))
    if not len(cells):
        return [], lines
    whole = shapely.union_all(cells)
    rings = [np.asarray(p.exterior.coords)[:-1] for p in shapely.get_parts(whole)]
    rest = shapely.line_merge(shapely.difference(noded, whole.buffer(1e-9 * noded.length)))
    dangling = [np.asarray(p.coords) for p in shapely.get_parts(rest) if p.length > 0.0]
    return rings, dangling
