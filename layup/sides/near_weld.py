"""Faces that meet within the file's precision, but not exactly: points made one, edges parted where others end on them.

    How much was joined, the mesh joined       join_near(mesh)
    What still lies side by side unjoined      slits(points, faces)

Only points on free edges are touched. Points nearer than a tolerance become one, and a free edge on which a point lies
is parted there (a T-junction), as long as no face loses its shape and the free edge gets shorter. The tolerance begins
at what the numbers of the file can tell and is raised a little, to what CAD programs leave between faces; no further,
so that two parts that lie side by side stay two.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.shape.nearest import on_segments
from layup.shape.surface import Finding
from layup.shape.topology import Faces, Points, edge_keys, free_edges, length_of, normals

if TYPE_CHECKING:
    from layup.sides.welded import Welded

FIRST = 1e-6
"""Points nearer than this share of the box are one: some ten times the last bit of single precision. [-]"""
MOST = 2e-5
"""... and, where that closes edges, up to this share: 0.02 mm on a part of one metre. [-]"""
SLIT = 2e-4
"""Free edges nearer to each other than this share of the box are no two edges of a part, but one not joined. [-]"""
SLITS = 0.02
"""Up to this share of the free edge may be so: a slot that ends in a point. [-]"""
NIL = 1e-4
"""Joining changes the area by no more than this share of it, or is left. [-]"""
_STEPS = 3
_BY_HAND = 4_000_000  # edges x points that are looked through one by one
_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Joined:
    """A mesh joined.

    Attributes:
        mesh: In the order of the file.
        source: Face of the mesh before that each face is part of.
        finding: What was joined; None where nothing was.
    """

    mesh: Welded
    source: NDArray[np.int64]
    finding: Finding | None


def join_near(mesh: Welded) -> Joined:
    """Join what meets within the file's precision.

    Args:
        mesh: Its equal points are one already.
    """
    points, faces = mesh.mesh()
    source = np.arange(len(faces))
    before = mesh.free_length()
    if before == 0.0 or not len(points):
        return Joined(mesh, source, None)
    size = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
    area = _area(points, faces)
    left, at, merged, parted, best = before, 0.0, 0, 0, faces
    for near in np.geomspace(FIRST, MOST, _STEPS) * size:  # each from the mesh as it was
        made = _together(points, faces, float(near))
        split, origin, count = _part_edges(points, made, float(near))
        now = length_of(points, free_edges(split))
        if now > 0.99 * left or abs(_area(points, split) / area - 1.0) > NIL:
            continue
        merged, parted = len(np.unique(faces)) - len(np.unique(made)), count
        best, source, left, at = split, origin, now, float(near)
        if left == 0.0:
            break
    if left == before:
        return Joined(mesh, source, None)
    faces = best
    effect = _area(points, faces) - area
    effect = effect if abs(effect) > 1e-6 * area else 0.0  # the last bits of the file
    words = [f"{merged:,} points made one"] * (merged > 0) + [f"{parted:,} edges parted where a point lies on them"] * (
        parted > 0
    )
    text = (
        f"faces that meet within {at * 1e3:.2g} mm but not exactly were joined: {' and '.join(words)}; the free edge "
        f"is {left * 1e3:,.4g} mm, before it was {before * 1e3:,.4g} mm"
    )
    from layup.sides.welded import Welded

    used, renamed = np.unique(faces, return_inverse=True)
    made_mesh = Welded(points[used], renamed.reshape(-1, 3).astype(np.int32), None)
    return Joined(made_mesh, source, Finding("welded", merged + parted, text, effect))


def beside(points: Points, edges: Faces) -> bool:
    """Whether any point of a free edge lies on or right beside another free edge: only then there is work to do.

    Args:
        points: Shape (n, 3). [m]
        edges: The free edges, shape (e, 2).
    """
    if not len(edges):
        return False
    ends = np.unique(edges)
    if len(edges) * len(ends) > _BY_HAND:
        return True
    near = SLIT * float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    low, high = np.minimum(a, b) - near, np.maximum(a, b) + near
    axes = np.argsort(-np.ptp(points[ends], axis=0))
    ends = ends[np.argsort(points[ends, axes[0]])]
    sweep = points[ends, axes[0]]  # an edge looks only at points beside it along the longest way of the part
    first, last = np.searchsorted(sweep, low[:, axes[0]]), np.searchsorted(sweep, high[:, axes[0]], "right")
    many = last - first
    edge = np.repeat(np.arange(len(edges)), many)
    point = ends[np.arange(len(edge)) - np.repeat(np.cumsum(many) - many - first, many)]
    for axis in axes[1:]:
        inside = (points[point, axis] >= low[edge, axis]) & (points[point, axis] <= high[edge, axis])
        point, edge = point[inside], edge[inside]
    other = (edges[edge] != point[:, None]).all(axis=1)  # an edge's own ends lie on it anyway
    point, edge = point[other], edge[other]
    foot = on_segments(points[point], a[edge], b[edge])
    return bool(len(point) and float(np.linalg.norm(foot - points[point], axis=1).min()) < near)


def _area(points: Points, faces: Faces) -> float:
    return float(normals(points, faces)[1].sum())


def _together(points: Points, faces: Faces, near: float) -> Faces:
    """Points of free edges nearer than that become one, but never two of one face."""
    from scipy.spatial import cKDTree

    from layup.shape.topology import pieces

    ends = np.unique(free_edges(faces))
    pairs = cKDTree(points[ends]).query_pairs(near, output_type="ndarray")
    if not len(pairs):
        return faces
    count, label = pieces(len(ends), pairs.astype(np.int64))
    first = np.full(count, -1, dtype=np.int64)
    first[label[::-1]] = ends[::-1]
    to = np.arange(len(points))
    apart = np.linalg.norm(points[ends] - points[first[label]], axis=1)
    to[ends] = np.where(apart <= 3.0 * near, first[label], ends)
    made = to[faces]
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    lost = real & ((made[:, 0] == made[:, 1]) | (made[:, 1] == made[:, 2]) | (made[:, 2] == made[:, 0]))
    if lost.any():  # two points of one face: they stay two
        bad = np.unique(made[lost])
        to[np.isin(to, bad)] = np.flatnonzero(np.isin(to, bad))
        made = to[faces]
    return made


def _part_edges(points: Points, faces: Faces, near: float) -> tuple[Faces, NDArray[np.int64], int]:
    """Free edges parted at the points of other free edges that lie on them.

    Returns:
        Faces, the face before that each is part of, and how many edges were parted.
    """
    source = np.arange(len(faces))
    total = 0
    for _ in range(_ROUNDS):
        on = _on_edges(points, faces, near)
        if not on:
            break
        add: list[list[int]] = []
        origin: list[int] = []
        drop = []
        done: set[int] = set()
        for face, corner, inner in on:
            if face in done:
                continue  # its other edge waits for the next round
            done.add(face)
            a, b, c = (int(faces[face, (corner + k) % 3]) for k in range(3))
            line = [a, *inner, b]
            add += [[p, q, c] for p, q in pairwise(line)]
            origin += [int(source[face])] * (len(line) - 1)
            drop.append(face)
        total += len(drop)
        keep = np.ones(len(faces), dtype=np.bool_)
        keep[drop] = False
        faces = np.concatenate([faces[keep], np.array(add, dtype=np.int64)])
        source = np.concatenate([source[keep], np.array(origin, dtype=np.int64)])
    order = np.argsort(source, kind="stable")
    return faces[order], source[order], total


def _on_edges(points: Points, faces: Faces, near: float) -> list[tuple[int, int, list[int]]]:
    """Free edges with points of other free edges on them: face, its corner where the edge begins, points in order."""
    from scipy.spatial import cKDTree

    half = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    keys = edge_keys(half)
    _, first, count = np.unique(keys, return_index=True, return_counts=True)
    rows = first[count == 1]
    rows = rows[half[rows, 0] != half[rows, 1]]
    if not len(rows):
        return []
    ends = np.unique(half[rows])
    a, b = points[half[rows, 0]], points[half[rows, 1]]
    length = np.linalg.norm(b - a, axis=1)
    tree = cKDTree(points[ends])
    found = tree.query_ball_point(0.5 * (a + b), 0.5 * length + near)
    out = []
    for row, start, stop, long, near_by in zip(rows.tolist(), a, b, length.tolist(), found, strict=True):
        if len(near_by) < 3 or long <= 4.0 * near:
            continue
        others = ends[near_by]
        others = others[(others != half[row, 0]) & (others != half[row, 1])]
        step = points[others] - start
        way = (stop - start) / long
        along = step @ way
        off = np.linalg.norm(step - along[:, None] * way, axis=1)
        on = (off <= near) & (along > 2.0 * near) & (along < long - 2.0 * near)
        if on.any():
            inner = others[on][np.argsort(along[on])]
            out.append((row // 3, row % 3, inner.tolist()))
    return out


def slits(points: Points, faces: Faces) -> float:
    """Share of the free edge that has another free edge right beside it: faces that meet but aren't joined. [-]

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    from scipy.spatial import cKDTree

    edges = free_edges(faces)
    if not len(edges):
        return 0.0
    size = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    length = np.linalg.norm(b - a, axis=1)
    near = SLIT * size
    step = max(2.0 * near, float(length.sum()) / 400_000)
    many = np.maximum(np.ceil(length / step), 1).astype(np.int64)
    row = np.repeat(np.arange(len(edges)), many)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many) + 0.5) / many[row]
    places = a[row] + share[:, None] * (b - a)[row]
    whole = np.repeat(length / many, many)
    tree = cKDTree(places)
    _, beside = tree.query(places, k=min(6, len(places)), distance_upper_bound=1.5 * step + near)
    beside = np.atleast_2d(beside.T).T
    good = np.zeros(len(places), dtype=np.bool_)
    for k in range(1, beside.shape[1]):
        there = beside[:, k]
        known = there < len(places)
        other = row[np.minimum(there, len(places) - 1)]
        same = ~known | (other == row)
        for i in (0, 1):
            for j in (0, 1):
                same |= edges[row, i] == edges[other, j]
        # distance to the line of that edge, not to its places
        offset = places - a[other]
        span = (b - a)[other]
        long = np.maximum(length[other], 1e-300)
        t = np.clip(np.einsum("ij,ij->i", offset, span) / long**2, 0.0, 1.0)
        off = np.linalg.norm(offset - t[:, None] * span, axis=1)
        good |= ~same & (off < near)
    return float(whole[good].sum() / length.sum())
