"""A surface laid flat: from the net of a draped cloth, or as rigidly as it goes for what doesn't shear.

    Where a point of the surface lies in the cloth      in_cloth(net, points)
    The surface laid flat with the least stretch        flatten(points, faces)

A cloth is flat where its net is: node (i, j) lies at i and j links. What does not shear (unidirectional, mat, veil)
and what is nearly developable is laid flat by turning each triangle as a stiff piece and letting the corners meet in
between, over and over: with complex numbers z for the corners, w for half the cotangent of the angle opposite an edge,

    turn of a triangle      r = sum w conj(e) d,  r / |r|,    e its edges as they are, d as they lie
    then the corners        sum w (z_i - z_j) = sum w r e     one sparse matrix, factored once

The first turns come from unrolling the triangles one after the other; on a developable that is the answer already.

Source: the scheme of O. Sorkine and M. Alexa, "As-rigid-as-possible surface modeling" (2007), for triangles in the
plane as in L. Liu and others, "A local/global approach to mesh parameterization" (2008). Both from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.cloth.drape import Net
from layup.errors import SurfaceError
from layup.shape.topology import Faces, Points, edges_of, face_pairs, pieces

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
Numbers = NDArray[np.int64]

_LEAF = 64  # points that are not parted any further
_ROUNDS = 200
_BACK = 4  # rounds whose steps tell where the next ones lead
_STILL = 1e-6  # of the size of the part: less movement in a round ends it


def in_cloth(net: Net, points: Points) -> tuple[Floats, Floats]:
    """Where points of the surface lie in the flat cloth: the start at the origin, the warp along +x.

    Args:
        net: The cloth.
        points: On the surface, shape (n, 3). [m]

    Returns:
        Their places (n, 2), and how far each lies outside the nearest cell, in links (n,). [m, -]
    """
    from scipy.spatial import cKDTree

    count = min(5, len(net.cells))
    _, near = cKDTree(net.middles).query(points, k=count)
    near = np.asarray(near, dtype=np.int64).reshape(len(points), count)
    c, a, d, b = (net.nodes[net.cells[near, k]] for k in range(4))
    st = np.full((*near.shape, 2), 0.5)
    for _ in range(5):
        s, t = st[..., :1], st[..., 1:]
        at = (1 - s) * (1 - t) * c + s * (1 - t) * a + s * t * d + (1 - s) * t * b
        by_s, by_t = (1 - t) * (a - c) + t * (d - b), (1 - s) * (b - c) + s * (d - a)
        off = points[:, None, :] - at
        ss, tt = np.einsum("nki,nki->nk", by_s, by_s), np.einsum("nki,nki->nk", by_t, by_t)
        mix = np.einsum("nki,nki->nk", by_s, by_t)
        fs, ft = np.einsum("nki,nki->nk", by_s, off), np.einsum("nki,nki->nk", by_t, off)
        det = np.maximum(ss * tt - mix * mix, 1e-9 * ss * tt)
        st = st + np.clip(np.stack([(tt * fs - mix * ft) / det, (ss * ft - mix * fs) / det], axis=2), -2.0, 2.0)
    outside = np.maximum(np.abs(st - 0.5) - 0.5, 0.0).max(axis=2)
    lift = np.linalg.norm(off, axis=2) / net.link
    best = np.argmin(outside + 0.5 * lift, axis=1)
    rows = np.arange(len(points))
    own = near[rows, best]
    places: Floats = (net.ij[net.cells[own, 0]] + np.clip(st[rows, best], -1.0, 2.0)) * net.link
    return places, outside[rows, best]


@dataclass(frozen=True, eq=False)
class Flat:
    """A surface laid flat.

    Attributes:
        places: Where each point lies (n, 2). [m]
        stretch: Least and greatest stretch of each triangle, flat over true (m, 2). [-]
        area: Of each triangle on the surface (m,). [m^2]
        folded: How many triangles lie face down: the shape needs a cut.
    """

    places: Floats
    stretch: Floats
    area: Floats
    folded: int

    @property
    def worst(self) -> tuple[float, float]:
        """Least and greatest stretch but for 0.1 % of the area at either end. [-]"""
        return _share(self.stretch[:, 1], self.area, 0.001), _share(self.stretch[:, 0], self.area, 0.999)

    @property
    def rms(self) -> float:
        """Root of the mean square of both stretches less one. [-]"""
        return float(np.sqrt(self.area @ ((self.stretch - 1.0) ** 2).mean(axis=1) / self.area.sum()))


def flatten(points: Points, faces: Faces, warp: Floats | None = None, face: int = 0) -> Flat:
    """Lay a surface flat with the least stretch.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: In one piece and all facing one way, shape (m, 3).
        warp: Direction that comes to lie along +x.
        face: At which face it does.

    Returns:
        The flat surface, seen from the side the faces face.

    Raises:
        SurfaceError: It is closed, or in several pieces.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    from layup.cloth.flatten_kernel import pull_all, turn_all

    used, back = np.unique(faces, return_inverse=True)
    own = back.reshape(-1, 3)
    where = points[used]
    pairs, _, _ = face_pairs(own)
    count, _ = pieces(len(own), pairs)
    if count > 1:
        raise SurfaceError(f"the surface is in {count} pieces", "Lay each flat by itself")
    edges, _ = edges_of(own)
    if 2 * len(pairs) == len(edges):
        raise SurfaceError("the surface is closed all round and can't be laid flat", "Cut it open along a seam")
    order = _dissected(where, edges)
    used, where = used[order], where[order]
    own = np.argsort(order)[own]
    corner, area = _corners(where, own)
    edge = corner[:, [2, 0, 1]] - corner[:, [1, 2, 0]]  # opposite corner 0, 1, 2
    weight = _cotangents(edge)
    own, edge, turn = np.ascontiguousarray(own), np.ascontiguousarray(edge), _unrolled(own, pairs, corner)
    n = len(used)
    i, j = own[:, [2, 0, 1]].ravel(), own[:, [1, 2, 0]].ravel()
    w = weight.ravel()
    matrix = coo_array(
        (np.concatenate([w, w, -w, -w]), (np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i]))), shape=(n, n)
    ).tocsc()
    solver = splu(
        matrix[:-1, :-1].tocsc(), permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    size = float(np.sqrt(area.sum()))
    z, ahead = np.zeros(n, dtype=np.complex128), _Ahead()
    for number in range(_ROUNDS):
        load = pull_all(own, edge, weight, turn, n)
        solved = solver.solve(load[:-1])
        best = np.concatenate([solved[:, 0] + 1j * solved[:, 1], np.zeros(1)])
        still = np.abs(best - z).max() < _STILL * size
        z = best if still or number == 0 else ahead(z, best)
        turn_all(own, edge, weight, z, turn)
        if still:
            break
    lies = z[own[:, [2, 0, 1]]] - z[own[:, [1, 2, 0]]]
    # each triangle's map is d = a e + b conj(e)
    e0, e1, d0, d1 = edge[:, 0], edge[:, 1], lies[:, 0], lies[:, 1]
    det = e0 * np.conj(e1) - np.conj(e0) * e1
    a, b = (d0 * np.conj(e1) - d1 * np.conj(e0)) / det, (d1 * e0 - d0 * e1) / det
    stretch = np.stack([np.abs(a) + np.abs(b), np.abs(np.abs(a) - np.abs(b))], axis=1)
    if warp is not None:
        z = z * np.exp(-1j * np.angle(turn[face] * _in_face(where, own[face], warp)))
    places = np.zeros((len(points), 2))
    places[used] = np.stack([z.real, z.imag], axis=1)
    return Flat(places, stretch, area, int((np.abs(a) < np.abs(b)).sum()))


class _Ahead:
    """Where a row of rounds leads: the mixture of the last ones whose step is the least, found by least squares.

    Source: D. G. Anderson, "Iterative procedures for nonlinear integral equations" (1965), from memory.
    """

    def __init__(self) -> None:
        self._steps: list[Complex] = []
        self._bests: list[Complex] = []

    def __call__(self, at: Complex, best: Complex) -> Complex:
        """Where to go on, from where the corners lie and the best places for the turns there."""
        step = best - at
        if self._steps and np.abs(step).max() > 2.0 * np.abs(self._steps[-1]).max():
            self._steps, self._bests = [], []  # it led astray
        self._steps, self._bests = [*self._steps[-_BACK:], step], [*self._bests[-_BACK:], best]
        if len(self._steps) < 2:
            return best
        by = np.diff(self._steps, axis=0).view(np.float64)
        share = np.linalg.lstsq(by @ by.T, by @ step.view(np.float64), rcond=1e-10)[0]
        made: Complex = best - share @ np.diff(self._bests, axis=0)
        return made


def _dissected(points: Points, edges: Faces) -> Numbers:
    """An order of the points in which their matrix fills up little: halves first, then the points that part them.

    Every part is halved across its widest way until it is small. Source: A. George, "Nested dissection of a regular
    finite element mesh" (1973), from memory.

    Args:
        points: Shape (n, 3). [m]
        edges: Pairs of points that are joined, each at least once (e, 2).
    """
    deep = max(0, math.ceil(math.log2(max(len(points), 1) / _LEAF)))
    part, last = np.zeros(len(points), dtype=np.int64), np.zeros(len(points), dtype=np.int64)
    live = np.arange(len(points))  # part by part
    rank = np.argsort(np.argsort(points, axis=0), axis=0)
    one, two = np.ascontiguousarray(edges.T)
    for level in range(deep):
        own = part[live]
        first = np.flatnonzero(np.r_[True, own[1:] != own[:-1]])
        at = points[live]
        wide = np.argmax(np.maximum.reduceat(at, first) - np.minimum.reduceat(at, first), axis=1)
        many = np.diff(np.r_[first, len(live)])
        row = np.repeat(np.arange(len(first)), many)
        live = live[np.argsort(row * len(points) + rank[live, wide[row]])]
        part[live] = 2 * part[live] + (2 * (np.arange(len(live)) - first[row]) >= many[row])
        left, right = part.take(one), part.take(two)
        apart = np.flatnonzero(left != right)
        parting = np.where(left[apart] % 2 == 0, one[apart], two[apart])
        last[parting] = ((part[parting] >> 1) + 1 << deep - level) * (deep + 1) + deep - level
        live = live[last[live] == 0]
        inside = (last.take(one) | last.take(two)) == 0
        one, two = one[inside], two[inside]
    last[live] = (part[live] + 1) * (deep + 1)
    return np.argsort(last, kind="stable")


def _corners(points: Points, faces: Faces) -> tuple[Complex, Floats]:
    """Each triangle in its own plane, its first edge along +x; and its area. [m, m^2]"""
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    u, v = b - a, c - a
    long = np.linalg.norm(u, axis=1)
    twice = np.linalg.norm(np.cross(u, v), axis=1)
    safe = np.where(long > 0, long, 1.0)
    x = np.einsum("ij,ij->i", u, v) / safe
    return np.stack([np.zeros(len(faces)) + 0j, long + 0j, x + 1j * twice / safe], axis=1), 0.5 * twice


def _in_face(points: Points, corners: NDArray[np.int64], way: Floats) -> complex:
    a, b, c = points[corners]
    x = (b - a) / np.linalg.norm(b - a)
    y = np.cross(np.cross(x, c - a), x)
    return complex(way @ x, way @ y / np.linalg.norm(y))


def _cotangents(edge: Complex) -> Floats:
    """Half the cotangent of the angle opposite each edge; slivers held within reason. [-]"""
    one, two = edge[:, [1, 2, 0]], -edge[:, [2, 0, 1]]
    turn = np.conj(two) * one
    return np.asarray(0.5 * np.clip(turn.real / np.maximum(np.abs(turn.imag), 1e-300), -1e3, 1e3))


def _unrolled(faces: Faces, pairs: Faces, corner: Complex) -> Complex:
    """How each triangle is turned when they are unrolled one after the other from the middle one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order

    count = len(faces)
    made = np.ones(count, dtype=np.complex128)
    if not len(pairs):
        return made
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count)).tocsr()
    ends, _ = breadth_first_order(graph, 0, directed=False)
    order, before = breadth_first_order(graph, int(ends[len(ends) // 2]), directed=False)
    child = order[1:]
    parent = before[child]
    step = _hinge(faces[parent], faces[child], corner[parent], corner[child])
    rank = np.empty(count, dtype=np.int64)
    rank[order] = np.arange(count)
    over = rank[parent]  # never falls: a level of the tree ends where the first child of the next one's first is
    starts = [0]
    while (following := int(np.searchsorted(over, starts[-1] + 1))) < len(child):
        starts.append(following)
    for first, last in zip(starts, [*starts[1:], len(child)], strict=True):
        made[child[first:last]] = made[parent[first:last]] * step[first:last]
    return made


def _hinge(one: Faces, two: Faces, at: Complex, to: Complex) -> Complex:
    """The turn that brings the second triangle's shared edge onto the first's."""
    rows = np.arange(len(one))
    found = np.zeros((len(one), 4), dtype=np.int64)
    done = np.zeros(len(one), dtype=bool)
    for p in range(3):
        for q in range(3):
            for r in (1, 2):
                hit = ~done & (one[:, p] == two[:, q]) & (one[:, (p + 1) % 3] == two[:, (q + r) % 3])
                found[hit] = (p, (p + 1) % 3, q, (q + r) % 3)
                done |= hit
    here = at[rows, found[:, 1]] - at[rows, found[:, 0]]
    there = to[rows, found[:, 3]] - to[rows, found[:, 2]]
    turn = here * np.conj(there)
    return np.asarray(turn / np.maximum(np.abs(turn), 1e-300))


def _share(values: Floats, weight: Floats, share: float) -> float:
    order = np.argsort(values)
    up = np.cumsum(weight[order])
    return float(values[order][min(int(np.searchsorted(up, share * up[-1])), len(values) - 1)])
