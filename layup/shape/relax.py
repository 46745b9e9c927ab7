"""Distances over triangles by unfolding: each corner takes the shortest straight way over the edge before it.

    The edges a distance can come over     fans(points, faces)
    Distances from some points             relax(fans, start, bend, reach)

Two corners of an edge with known distances say where the front stands that has passed over it; unfolded into
the plane of the next corner, the front gives that corner's distance. Corners are taken all at once, again and
again, until none becomes shorter. A front is a circle whose radius at a corner is its distance plus a length
carried along, its bend: nothing for a front that left a point, without end for one that left a straight edge,
the radius of the hole for one that left a round hole, and less than nothing for one that shrinks from the rim
of a disc. On a flat or unrollable mesh that makes the distances from points and from straight and evenly round
edges exact, up to the places where two fronts meet.

Two triangles at an edge are also laid flat together, with the line between their far corners as an edge of its
own, so that a front reaches a corner with a wide angle over an edge that is in sight of it. Edges of three and
more faces are crossed within each face only.

Source: unfolding of fronts as in the exact method of Mitchell, Mount and Papadimitriou, "The discrete geodesic
problem", SIAM J. Computing 16 (1987) 647-668, and the front over one triangle as in Kimmel and Sethian,
"Computing geodesic paths on manifolds", PNAS 95 (1998) 8431-8435; both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.topology import Faces, Numbers, Points

Floats = NDArray[np.float64]
_Columns = tuple[Numbers, Numbers, Numbers, Floats, Floats, Floats]

_STRAIGHT = 1e-4  # fronts that bend by less than this over an edge are taken as straight
_POINT = 1e-12  # a front with a smaller radius is still at its point [m]
_ALIKE = 0.7  # curvatures of a front that differ by more than this share of their mean belong to different places
_CORNER = 0.4  # a boundary that turns more than this at a point has a corner there [rad]


@dataclass(frozen=True, slots=True)
class Fans:
    """Edges that a distance can come over, each with the corner it goes to; flat, without their place in space.

    Attributes:
        to: Corner that is reached.
        one: First end of the edge.
        two: Other end of the edge.
        width: Length of the edge. [m]
        along: Of the corner, along the edge from its first end. [m]
        off: Of the corner, square to the edge, never negative. [m]
    """

    to: Numbers
    one: Numbers
    two: Numbers
    width: Floats
    along: Floats
    off: Floats


def fans(points: Points, faces: Faces, pairs: bool = True) -> Fans:
    """The edges that distances come over.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3); faces with two equal corners give nothing.
        pairs: Also over two triangles laid flat together.
    """
    k, i, j = (faces[:, turn].T.reshape(-1) for turn in ([0, 1, 2], [1, 2, 0], [2, 0, 1]))
    width = _apart(points, i, j)
    to_i, to_j = _apart(points, i, k), _apart(points, j, k)
    parts: list[_Columns] = [(k, i, j, width, *_place(width, to_i, to_j))]
    if pairs:
        parts += _laid_flat(k, i, j, parts[0], len(points))
    k, i, j, width, along, off = (np.concatenate(column) for column in zip(*parts, strict=True))
    good = (width > 0.0) & (k != i) & (k != j)
    return Fans(k[good], i[good], j[good], width[good], along[good], off[good])


def _apart(points: Points, i: Numbers, j: Numbers) -> Floats:
    step = points[i] - points[j]
    apart: Floats = np.sqrt(np.einsum("ij,ij->i", step, step))
    return apart


def _place(width: Floats, to_one: Floats, to_two: Floats) -> tuple[Floats, Floats]:
    """Where a corner lies over an edge: along it and off it, from its distances to the two ends."""
    with np.errstate(invalid="ignore", divide="ignore"):
        along = (to_one * to_one - to_two * to_two + width * width) / (2.0 * width)
    return along, np.sqrt(np.maximum(to_one * to_one - along * along, 0.0))


def _laid_flat(k: Numbers, i: Numbers, j: Numbers, single: _Columns, n: int) -> list[_Columns]:
    """Fans over the line between the far corners of two triangles at an edge, where that line crosses the edge."""
    width, along, off = single[3:]
    swap = i > j
    low, high = np.where(swap, j, i), np.where(swap, i, j)
    key = low * np.int64(n) + high
    order = np.argsort(key, kind="stable")
    key = key[order]
    start = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    first = start[np.diff(np.r_[start, len(key)]) == 2]
    one, two = order[first], order[first + 1]
    w = width[one]
    x1, x2 = (np.where(swap[row], w - along[row], along[row]) for row in (one, two))
    y1, y2 = off[one], off[two]
    with np.errstate(invalid="ignore", divide="ignore"):
        crossing = x2 + (x1 - x2) * y2 / (y1 + y2)
    good = (crossing > 0.0) & (crossing < w)
    w, x1, x2, y1, y2 = (v[good] for v in (w, x1, x2, y1, y2))
    a, b, p, q = low[one][good], high[one][good], k[one][good], k[two][good]
    line = np.hypot(x1 - x2, y1 + y2)
    a1, b1, a2, b2 = np.hypot(x1, y1), np.hypot(w - x1, y1), np.hypot(x2, y2), np.hypot(w - x2, y2)
    out: list[_Columns] = []
    for to, end, other, side, reach in ((p, a, q, a2, a1), (p, b, q, b2, b1), (q, a, p, a1, a2), (q, b, p, b1, b2)):
        out.append((to, end, other, side, *_place(side, reach, line)))
    return out


def edge_turns(points: Points, faces: Faces, free: Faces) -> tuple[Floats, Floats]:
    """How the free edge turns within the surface at each of its points.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        free: All free edges, shape (e, 2).

    Returns:
        The turn (n,), positive where the surface ends in a corner, negative round a hole, zero off the edge; and
        half the length of the free edges that meet at each point. [rad, m]
    """
    edge = np.zeros(len(points), dtype=bool)
    edge[free] = True
    half = np.bincount(free.ravel(), np.repeat(0.5 * _apart(points, free[:, 0], free[:, 1]), 2), len(points))
    rows = faces[edge[faces].any(axis=1)]
    angle = np.zeros(len(points))
    for turn in ([0, 1, 2], [1, 2, 0], [2, 0, 1]):
        a, b, c = rows[:, turn].T
        u, v = points[b] - points[a], points[c] - points[a]
        cross = np.cross(u, v)
        corner = np.arctan2(np.sqrt(np.einsum("ij,ij->i", cross, cross)), np.einsum("ij,ij->i", u, v))
        angle += np.bincount(a, corner, len(points))
    return np.asarray(np.where(edge, np.pi - angle, 0.0), dtype=np.float64), np.asarray(half, dtype=np.float64)


def edge_bends(turn: Floats, length: Floats) -> Floats:
    """The bend of the front that leaves each point of the free edge.

    Args:
        turn: As `edge_turns` gives it. [rad]
        length: Length of edge that belongs to each point. [m]

    Returns:
        Radius of the edge (n,), negative where the front shrinks, infinite for a straight one and off the edge,
        0 at a corner the front goes round. [m]
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        radius = np.where(np.abs(turn) > 1e-3, -length / turn, np.inf)
    bend: Floats = np.where(turn > _CORNER, np.inf, np.where(turn < -_CORNER, 0.0, radius))
    return bend


def relax(
    net: Fans,
    start: Floats,
    bend: Floats,
    bound: float,
    settled: float,
    pivot: NDArray[np.bool_] | None = None,
    through: NDArray[np.bool_] | None = None,
) -> tuple[Floats, Floats]:
    """Distances along the surface.

    Args:
        net: The edges that distances come over.
        start: Distance of each point (n,): known at the sources, infinite elsewhere. [m]
        bend: Bend of the front at the sources (n,); see the head of this module. [m]
        bound: Distances beyond this are left infinite. [m]
        settled: A point that becomes nearer by less than this keeps its distance. [m]
        pivot: Points that a path can bend round (n,): those of the free edge; None for none.
        through: Edges a front can come through (those of `net`); over the others a distance comes along the
            sides of the corner only. None for all.

    Returns:
        Distance and bend at each point (n,). [m]
    """
    d, o = start.copy(), bend.copy()
    source = np.isfinite(start)
    turns = np.zeros(len(d), dtype=bool) if pivot is None else pivot & ~source
    live = _Live(net, through)
    moved = source.copy()
    round_ = 0
    while moved.any():
        round_ += 1
        if round_ % 16 == 0:
            live.retire(d, float(d[moved].min()))
        k, i, j, row = live.next_to(moved)
        di, dj, dk = d.take(i), d.take(j), d.take(k)
        width = live.width.take(row)
        with np.errstate(invalid="ignore"):
            least = 0.5 * (di + dj - width)  # no way over the edge is shorter
        can = np.minimum(np.where(np.isfinite(least), least, np.minimum(di, dj)), bound) < dk - settled
        k, i, j, row = k[can], i[can], j[can], row[can]
        di, dj, dk, width = di[can], dj[can], dk[can], width[can]
        over_i, over_j = di + live.to_one.take(row), dj + live.to_two.take(row)
        best = np.minimum(over_i, over_j)
        nearer = np.where(over_i <= over_j, i, j)
        bent = np.where(turns.take(nearer), -d.take(nearer), o.take(nearer))
        both = np.flatnonzero(np.isfinite(di) & np.isfinite(dj) & live.open.take(row))
        at = row[both]
        there, way = _front(
            di[both],
            dj[both],
            o.take(i[both]),
            o.take(j[both]),
            width[both],
            live.along.take(at),
            live.off.take(at),
        )
        over = there < best[both]
        best[both[over]], bent[both[over]] = there[over], way[over]
        good = best < np.minimum(dk - settled, bound)
        k, best, bent = k[good], best[good], bent[good]
        np.minimum.at(d, k, best)
        won = best <= d[k]
        o[k[won]] = bent[won]
        moved[:] = False
        moved[k] = True
    return d, o


class _Live:
    """The part of a net that a front can still change."""

    def __init__(self, net: Fans, through: NDArray[np.bool_] | None) -> None:
        self.to, self.one, self.two = net.to, net.one, net.two
        self.width, self.along, self.off = net.width, net.along, net.off
        self.to_one, self.to_two = np.hypot(net.along, net.off), np.hypot(net.width - net.along, net.off)
        self.open = np.ones(len(net.to), dtype=bool) if through is None else through
        self.rows = np.arange(len(net.to))
        self.longest = float(net.width.max(initial=0.0))
        self.ends = (net.one, net.two)

    def next_to(self, moved: NDArray[np.bool_]) -> tuple[Numbers, Numbers, Numbers, Numbers]:
        """Corner, ends and row of the edges with an end that moved."""
        row = self.rows[moved.take(self.ends[0]) | moved.take(self.ends[1])]
        return self.to.take(row), self.one.take(row), self.two.take(row), row

    def retire(self, d: Floats, front: float) -> None:
        """Leave out edges whose two ends are settled: behind the front by more than any edge is long."""
        one, two = self.ends
        left = np.maximum(d.take(one), d.take(two)) >= front - self.longest
        self.rows, self.ends = self.rows[left], (one[left], two[left])


def _front(
    di: Floats, dj: Floats, oi: Floats, oj: Floats, width: Floats, along: Floats, off: Floats
) -> tuple[Floats, Floats]:
    """Distance over an edge and the bend there; infinite where the way does not cross the edge."""
    bent = shared_bend(di, dj, oi, oj)
    out = np.full(len(di), np.inf)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        flat = ~(width >= _STRAIGHT * np.abs(0.5 * (di + dj) + bent))
        rows = np.flatnonzero(flat)
        out[rows] = _straight(di[rows], dj[rows], width[rows], along[rows], off[rows])
        curved = np.flatnonzero(~flat)
        out[curved] = _round(*(v[curved] for v in (di, dj, bent, width, along, off)))
        ri, rj = np.abs(di + oi), np.abs(dj + oj)
        straighter = np.where(ri > rj, oi, oj)
        bent = np.where(np.isfinite(bent) | (ri < _POINT) | (rj < _POINT), bent, straighter)
    return out, bent


def _straight(di: Floats, dj: Floats, width: Floats, along: Floats, off: Floats) -> Floats:
    """Distance that a straight front brings."""
    slope = (dj - di) / width
    rise = np.sqrt(1.0 - slope * slope)
    hit = along - slope / rise * off
    good = (hit >= -1e-12) & (hit <= width * (1.0 + 1e-12)) & (np.abs(slope) < 1.0)
    return np.where(good, di + slope * along + rise * off, np.inf)


def _round(di: Floats, dj: Floats, o: Floats, width: Floats, along: Floats, off: Floats) -> Floats:
    """Distance that a front with a centre brings, behind the edge when it grows and ahead when it shrinks."""
    ri, rj = di + o, dj + o
    grows = ri > 0.0
    x = (ri * ri - rj * rj + width * width) / (2.0 * width)
    y = np.where(grows, 1.0, -1.0) * np.sqrt(ri * ri - x * x)  # not a number where the two ends don't fit
    hit = x + (along - x) * y / (y + off)
    there = np.where(grows, 1.0, -1.0) * np.hypot(along - x, off + y) - o
    good = (ri * rj >= 0.0) & (hit >= 0.0) & (hit <= width)
    good &= np.where(grows, np.hypot(hit - x, y) >= o, y + off < 0.0)  # past its start, short of its focus
    return np.where(good, there, np.inf)


def shared_bend(di: Floats, dj: Floats, oi: Floats, oj: Floats) -> Floats:
    """One bend for the front over an edge, from those at its two ends.

    Where the ends see different parts of the boundary, a corner and the straight edge beside it, the front is
    taken as straight: beside a corner that it goes round, that never makes a distance too short.
    """
    ri, rj = di + oi, dj + oj
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        ki, kj = 1.0 / ri, 1.0 / rj
        curved = 0.5 * (ki + kj)
        alike = np.abs(ki - kj) < _ALIKE * np.abs(curved)
        mixed = np.where(alike, 1.0 / curved - 0.5 * (di + dj), np.inf)
    small_i, small_j = np.abs(ri) < _POINT, np.abs(rj) < _POINT
    out = np.where(oi == oj, oi, np.where(small_i, oj, np.where(small_j, oi, mixed)))
    shared: Floats = np.where(small_i & small_j, np.inf, out)
    return shared
