"""A mesh made ready to be walked on: what lies beyond each edge, and how far off it a point is.

    Ready to lay cloth on                   ready(points, faces)
    With a strip beyond its edge            with_collar(sheet, width)
    The face and foot nearest to a place    foot(sheet, place)

Cloth goes across a cut-out and is trimmed afterwards, so cut-outs are closed with flat pieces first; these carry
the owner -1 and count nowhere. A lip turned down round a cut-out is left out with it: there the cloth is slit and
folded over afterwards, it does not pull the rest of the ply in. The longest free edge is the edge of the part and
stays open.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.nearest import nearest_points
from layup.shape.topology import Faces, Numbers, Points, edges_of, face_pairs, free_edges, normals

Floats = NDArray[np.float64]

_TURNED = 0.85  # cosine between a face and the plane of a cut-out, below which it may be its lip
_LIP = 0.35  # of the size of a cut-out, how far its lip reaches from its edge
_MOST_EARS = 600  # a cut-out with more corners is closed from its middle


@dataclass(frozen=True, eq=False)
class Sheet:
    """A mesh that all faces the same way, with its cut-outs closed.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: The face of the surface each is; -1 for the closing of a cut-out, -2 for a strip beyond the edge (m,).
        normal: Unit normals (m, 3).
        out: Of each edge k, from corner k to the next, the unit vector that leaves the face square to it (m, 3, 3).
        level: Where that edge lies along it (m, 3). [m]
        beyond: The face beyond each edge, -1 where there is none (m, 3).
        across: Which edge of that face it is (m, 3).
        area: Of the real faces, all together. [m^2]
        filled: How many cut-outs were closed.
        lips: Faces that are the lip of a cut-out, which no cloth is laid on, shape (l, 3).
    """

    points: Points
    faces: Faces
    owner: Numbers
    normal: Floats
    out: Floats
    level: Floats
    beyond: Numbers
    across: Numbers
    area: float
    filled: int
    lips: Faces


def ready(points: Points, faces: Faces, *, lips: bool = True) -> Sheet:
    """Make a mesh ready to be walked on.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: Shape (m, 3).
        lips: Whether to look for lips of cut-outs.

    Returns:
        The sheet; faces without area are left out.

    Raises:
        SurfaceError: No face has an area.
    """
    _, size = normals(points, faces)
    corner = points[faces]
    longest = float(np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2).max(initial=0.0))
    good = np.flatnonzero(size > 1e-13 * longest**2)
    if not len(good):
        raise SurfaceError("the surface has no face with an area", "Check the mesh")
    own = _one_way(faces[good])
    lip = _lips(points, own) if lips else np.zeros(len(own), dtype=bool)
    folded, good, own = own[lip], good[~lip], own[~lip]
    closed, filled = _close(points, own)
    every = np.concatenate([own, closed])
    owner = np.concatenate([good, np.full(len(closed), -1)])
    normal, _ = normals(points, every)
    out, level = _edges(points, every, normal)
    beyond, across = _neighbours(every)
    return Sheet(
        points=points,
        faces=every,
        owner=owner,
        normal=normal,
        out=out,
        level=level,
        beyond=beyond,
        across=across,
        area=float(size[good].sum()),
        filled=filled,
        lips=folded,
    )


def with_collar(sheet: Sheet, width: float) -> Sheet:
    """The sheet with a strip beyond its edge, for cloth that hangs over it.

    Each edge goes on in the plane of its own face, and where two planes meet in a fold the strip folds with them: so
    the strip of what can be unrolled can be unrolled too.

    Args:
        sheet: With an open edge.
        width: Of the strip. [m]
    """
    face, edge = np.nonzero(sheet.beyond < 0)
    if not len(face):
        return sheet
    first, last = sheet.faces[face, edge], sheet.faces[face, (edge + 1) % 3]
    into = _one_by_one(last, len(sheet.points))
    out_of = _one_by_one(first, len(sheet.points))
    ends: list[NDArray[np.int64]] = []
    points = [sheet.points]
    count = len(sheet.points)
    tips = np.full(len(sheet.points), -1, dtype=np.int64)
    both = np.flatnonzero((into >= 0) & (out_of >= 0))
    made = _tips(sheet, face, edge, into[both], out_of[both], width)
    tips[both] = count + np.arange(len(both))
    points.append(sheet.points[both] + made)
    count += len(both)
    for corner in (first, last):
        tip = tips[corner].copy()
        alone = np.flatnonzero(tip < 0)  # several edges meet here: each goes on by itself
        tip[alone] = count + np.arange(len(alone))
        points.append(sheet.points[corner[alone]] + width * sheet.out[face[alone], edge[alone]])
        count += len(alone)
        ends.append(tip)
    strip = np.concatenate([np.c_[last, first, ends[0]], np.c_[last, ends[0], ends[1]]])
    where = np.concatenate(points)
    normal, area = normals(where, strip)
    good = area > 1e-9 * width * width
    normal = np.where(good[:, None], normal, np.tile(sheet.normal[face], (2, 1)))
    out, level = _edges(where, strip, normal)
    beyond, across = _neighbours(strip)
    base = len(sheet.faces)
    beyond = np.where(beyond >= 0, beyond + base, -1)
    number = np.arange(len(face))
    beyond[number, 0], across[number, 0] = face, edge
    back, over_ = sheet.beyond.copy(), sheet.across.copy()
    back[face, edge], over_[face, edge] = base + number, 0
    return replace(
        sheet,
        points=where,
        faces=np.concatenate([sheet.faces, strip]),
        owner=np.concatenate([sheet.owner, np.full(len(strip), -2)]),
        normal=np.concatenate([sheet.normal, normal]),
        out=np.concatenate([sheet.out, out]),
        level=np.concatenate([sheet.level, level]),
        beyond=np.concatenate([back, beyond]),
        across=np.concatenate([over_, across]),
    )


def _one_by_one(corner: Numbers, count: int) -> Numbers:
    """For each point the one edge with that corner; -1 where there is none or several."""
    found = np.full(count, -1, dtype=np.int64)
    found[corner] = np.arange(len(corner))
    found[np.bincount(corner, minlength=count) > 1] = -1
    return found


def _tips(sheet: Sheet, face: Numbers, edge: Numbers, one: Numbers, two: Numbers, width: float) -> Points:
    """How far and which way the strip reaches at points where edge `one` ends and edge `two` starts. [m]"""
    m, k = sheet.out[face[one], edge[one]], sheet.out[face[two], edge[two]]
    n, o = sheet.normal[face[one]], sheet.normal[face[two]]
    made = np.empty_like(m)
    for stiff in (1.0, 1e4):  # a mitre; and one that keeps to both planes, where that is not too long
        rows = np.stack([stiff * n, stiff * o, m, k], axis=1)
        want = np.concatenate([np.zeros((len(m), 2)), np.ones((len(m), 2))], axis=1)
        found = np.einsum("eik,ek->ei", np.linalg.pinv(rows, rcond=1e-9), want)
        size = np.linalg.norm(found, axis=1)
        if stiff == 1.0:
            made = found * np.minimum(1.0, 3.0 / np.maximum(size, 1e-12))[:, None]
            continue
        least = np.minimum(np.einsum("ei,ei->e", found, m), np.einsum("ei,ei->e", found, k))
        good = (size < 3.0) & (least > 0.3)
        made[good] = found[good]
    return np.asarray(width * made)


def _edges(points: Points, faces: Faces, normal: Floats) -> tuple[Floats, Floats]:
    """Of each edge of each face the unit vector that leaves the face square to it, and its level along that."""
    corner = points[faces]
    along = np.roll(corner, -1, axis=1) - corner
    long = np.linalg.norm(along, axis=2, keepdims=True)
    out = np.cross(along / np.where(long > 0, long, 1.0), normal[:, None, :])
    return np.ascontiguousarray(out), np.einsum("fkc,fkc->fk", out, corner)


def foot(sheet: Sheet, place: Floats) -> tuple[int, Floats, float]:
    """The real face nearest to a place, the point of it and the distance. [-, m, m]"""
    rows = np.flatnonzero(sheet.owner >= 0)
    corner = sheet.points[sheet.faces[rows]]
    to_corners = np.linalg.norm(corner - place, axis=2)
    # no point of a face is nearer than its corner less the face's longest edge
    long = np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1) + np.linalg.norm(corner[:, 2] - corner[:, 0], axis=1)
    rows = rows[to_corners.min(axis=1) - long <= to_corners.min()]
    feet = nearest_points(sheet.points, sheet.faces[rows], place)
    off = np.linalg.norm(feet - place, axis=1)
    best = int(np.argmin(off))
    return int(rows[best]), feet[best], float(off[best])


def _one_way(faces: Faces) -> Faces:
    """The same faces, turned so that neighbours face the same way as far as the shape allows."""
    pairs, _, opposite = face_pairs(faces)
    if bool(opposite.all()):
        return faces
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order

    count = len(faces)
    weight = np.where(opposite, 1.0, 2.0)
    graph = coo_array((weight, (pairs[:, 0], pairs[:, 1])), shape=(count, count)).tocsr()
    graph = graph + graph.T
    turned = np.zeros(count, dtype=bool)
    seen = np.zeros(count, dtype=bool)
    while not seen.all():
        start = int(np.argmin(seen))
        order, before = breadth_first_order(graph, start, directed=False)
        links = np.asarray(graph[before[order[1:]], order[1:]]).ravel() if len(order) > 1 else np.zeros(0)
        for face, link in zip(order[1:], links, strict=True):
            turned[face] = turned[before[face]] ^ (link > 1.5)
        seen[order] = True
        turned[order] ^= 2 * int(turned[order].sum()) > len(order)
    made = faces.copy()
    made[turned] = made[turned][:, ::-1]
    return made


def _neighbours(faces: Faces) -> tuple[Numbers, Numbers]:
    beyond = np.full((len(faces), 3), -1, dtype=np.int64)
    across = np.zeros((len(faces), 3), dtype=np.int64)
    low = np.minimum(faces, np.roll(faces, -1, axis=1)).ravel()
    high = np.maximum(faces, np.roll(faces, -1, axis=1)).ravel()
    keys = (low << 32) | high
    order = np.argsort(keys, kind="stable")
    start = np.flatnonzero(np.r_[True, keys[order][1:] != keys[order][:-1]])
    pair = start[np.diff(np.r_[start, len(keys)]) == 2]
    one, two = order[pair], order[pair + 1]
    for a, b in ((one, two), (two, one)):
        beyond.ravel()[a], across.ravel()[a] = b // 3, b % 3
    return beyond, across


def loops_of(faces: Faces) -> list[Numbers]:
    """The free edges of a mesh as closed lines of points, in the direction of their faces."""
    return chained(free_edges(faces))


def chained(edges: Faces) -> list[Numbers]:
    """Directed edges (e, 2) as closed lines of points; what doesn't close is left out."""
    follow: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        follow.setdefault(a, []).append(b)
    loops = []
    while follow:
        first = next(iter(follow))
        line, here = [first], first
        while True:
            ways = follow.get(here)
            if not ways:
                break
            onward = ways.pop()
            if not ways:
                del follow[here]
            here = onward
            if here == first:
                break
            line.append(here)
        if len(line) > 2 and here == first:
            loops.append(np.array(line, dtype=np.int64))
    return loops


def _inner_loops(points: Points, faces: Faces) -> list[Numbers]:
    """The free edges of each piece but its longest."""
    from layup.shape.topology import pieces

    loops = loops_of(faces)
    if len(loops) < 2:
        return []
    edges, _ = edges_of(faces)
    _, piece = pieces(len(points), edges)
    length = [float(np.linalg.norm(points[loop] - points[np.roll(loop, 1)], axis=1).sum()) for loop in loops]
    longest: dict[int, int] = {}
    for number, loop in enumerate(loops):
        own = int(piece[loop[0]])
        if own not in longest or length[number] > length[longest[own]]:
            longest[own] = number
    return [loop for number, loop in enumerate(loops) if number not in longest.values()]


def _lips(points: Points, faces: Faces) -> NDArray[np.bool_]:
    """Which faces are lips: they hang together with the edge of a cut-out, near it, and are turned from its plane."""
    from layup.shape.topology import pieces

    lip = np.zeros(len(faces), dtype=bool)
    inner = _inner_loops(points, faces)
    if not inner:
        return lip
    normal, size_of = normals(points, faces)
    middle = points[faces].mean(axis=1)
    pairs, _, _ = face_pairs(faces)
    for loop in inner:
        ring = points[loop]
        centre = ring.mean(axis=0)
        _, _, axes = np.linalg.svd(ring - centre, full_matrices=False)
        size = float(np.linalg.norm(ring - centre, axis=1).max())
        if np.abs((ring - centre) @ axes[2]).max() > 0.2 * size:
            continue  # not a cut-out in a plane
        near = np.linalg.norm(middle - centre, axis=1) < (1.0 + 2.0 * _LIP) * size
        turned = near & (np.abs(normal @ axes[2]) < _TURNED)
        touching = np.isin(faces, loop).any(axis=1) & turned
        if not touching.any():
            continue
        both = turned[pairs].all(axis=1)
        _, label = pieces(len(faces), pairs[both])
        mine = turned & np.isin(label, np.unique(label[touching]))
        ends = pairs[mine[pairs].any(axis=1)].ravel()
        ends = ends[~mine[ends]]
        if (np.abs(normal[ends] @ axes[2]) < _TURNED).mean() > 0.5:
            continue  # it goes on as steep as it is: the open end of a tube
        lip |= mine
    return lip if size_of[lip].sum() < 0.5 * size_of.sum() else np.zeros(len(faces), dtype=bool)


def _close(points: Points, faces: Faces) -> tuple[Faces, int]:
    """Faces that close all free edges of each piece but its longest, and how many there are."""
    loops = [loop for loop in _inner_loops(points, faces) if not _open_end(points, faces, loop)]
    made = [_ears(points, loop[::-1]) for loop in loops]
    return (np.concatenate(made) if made else np.zeros((0, 3), dtype=np.int64)), len(made)


def _open_end(points: Points, faces: Faces, loop: Numbers) -> bool:
    """Whether the faces round a loop stand steeper than 60 degrees to its plane, so that no cloth runs across it."""
    ring = points[loop]
    _, _, axes = np.linalg.svd(ring - ring.mean(axis=0), full_matrices=False)
    normal, size = normals(points, faces[np.isin(faces, loop).any(axis=1)])
    return float(np.abs(normal @ axes[2]) @ size) < 0.5 * float(size.sum())


def _ears(points: Points, loop: Numbers) -> Faces:
    """A closed line cut into triangles in the plane that fits it best."""
    import shapely

    ring = points[loop]
    middle = ring.mean(axis=0)
    _, _, axes = np.linalg.svd(ring - middle, full_matrices=False)
    flat = (ring - middle) @ axes[:2].T
    outline = shapely.Polygon(flat)
    if len(loop) > _MOST_EARS or not outline.is_valid:
        return np.array([[loop[0], loop[i], loop[i + 1]] for i in range(1, len(loop) - 1)], dtype=np.int64)
    parts = shapely.get_coordinates(shapely.get_parts(shapely.constrained_delaunay_triangles(outline)))
    from scipy.spatial import cKDTree

    _, near = cKDTree(flat).query(parts.reshape(-1, 4, 2)[:, :3])
    made = np.asarray(near, dtype=np.int64)
    made = made[(made[:, 0] != made[:, 1]) & (made[:, 1] != made[:, 2]) & (made[:, 0] != made[:, 2])]
    a, b, c = flat[made[:, 0]], flat[made[:, 1]], flat[made[:, 2]]
    up = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    signed = 0.5 * float(np.sum(flat[:, 0] * np.roll(flat[:, 1], -1) - flat[:, 1] * np.roll(flat[:, 0], -1)))
    wrong = up * signed < 0
    made[wrong] = made[wrong][:, ::-1]
    return np.asarray(loop[made])
