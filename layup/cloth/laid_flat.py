"""Any place of a surface in the flat: one map for cloth that shears and for what is laid flat stiffly.

From the net of a draped cloth        from_net(net)
From the stiffest flat shape          from_stiff(points, faces, start, warp, angle)
From a shape slit until it lies flat  from_slits(triangles, start, warp, angle)
A zone as outlines in the flat        outlines(triangles, there, link)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.cloth.drape import Net, small
from layup.cloth.flatten import Flat, flatten, in_cloth
from layup.errors import SurfaceError
from layup.partfile.regions import FRAME
from layup.shape.clip import split
from layup.shape.topology import Faces, Points, free_edges, weld
from layup.shape.walkable import chained, foot, ready

if TYPE_CHECKING:
    from shapely import Polygon

Floats = NDArray[np.float64]

_TINY = 4e-3  # share of the whole below which a piece of the outline is only rounding
_GAP = 3e-4  # [m]
_SPLIT = 4  # how finely triangles are cut up before they are joined to an outline, in links


@dataclass(frozen=True, eq=False)
class Map:
    """Where places of the surface lie in the flat, the start at the origin and the warp along +x.

    Attributes:
        there: Takes places (n, 3), gives flat places (n, 2). [m]
        link: What counts as fine for it. [m]
        flat: The stiff flat shape, where it is one.
    """

    there: Callable[[Floats], Floats]
    link: float
    flat: Flat | None


def from_net(net: Net) -> Map:
    """The map of a draped cloth."""
    return Map(lambda places: in_cloth(net, places)[0], net.link, None)


def from_stiff(
    points: Points, faces: Faces, start: Floats, warp: Floats | tuple[float, float, float], angle: float
) -> Map:
    """The map of a surface laid flat as rigidly as it goes.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: In one piece, shape (m, 3).
        start: What comes to lie at the origin. [m]
        warp: Direction that angle 0 follows.
        angle: Of the warp from it. [rad]

    Raises:
        SurfaceError: The warp stands square to the surface at the start, or it can't be laid flat.
    """
    sheet = ready(points, faces)
    rows = np.flatnonzero(sheet.owner >= 0)
    own = np.concatenate([sheet.faces[rows], sheet.lips])
    face, place, _ = foot(sheet, start)
    normal = sheet.normal[face]
    way = np.asarray(warp, dtype=np.float64) / np.linalg.norm(warp)
    laid = way - way @ normal * normal
    if np.linalg.norm(laid) < math.sin(math.radians(15.0)):
        raise SurfaceError(
            "the warp direction stands square to the surface where the ply starts",
            "Give another warp, or another start",
        )
    laid = laid / np.linalg.norm(laid)
    turned = math.cos(angle) * laid + math.sin(angle) * np.cross(normal, laid)
    flat = flatten(sheet.points, own, turned, int(np.searchsorted(rows, face)))
    there = _over_faces(sheet.points[own], flat.places[own])
    origin = there(place[None])[0]
    return Map(lambda places: there(places) - origin, math.sqrt(sheet.area) / 150.0, flat)


@dataclass(frozen=True, eq=False)
class SlitPiece:
    """One piece of a shape that was slit to lie flat.

    Attributes:
        there: Its map.
        triangles: What of the surface it covers (n, 3, 3). [m]
        found: Its outlines. [m]
        legs: Both sides of each slit as they lie in it, from the inner end to the edge, by number of the slit: on the
            left (n, 2) and on the right; None where that side is in another piece. [m]
    """

    there: Map
    triangles: Floats
    found: list[Polygon]
    legs: dict[int, tuple[Floats | None, Floats | None]]


def from_slits(
    points: Points,
    faces: Faces,
    triangles: Floats,
    start: Floats,
    warp: Floats | tuple[float, float, float],
    angle: float,
) -> list[SlitPiece]:
    """What of a surface a ply covers, slit open where it must be, each piece laid flat as rigidly as it goes.

    Args:
        points: Of the surface, welded, shape (n, 3). [m]
        faces: All facing the one who lays the ply, shape (m, 3).
        triangles: What of it the ply covers (k, 3, 3). [m]
        start: What comes to lie at the origin of its piece; the others have the middle of theirs there. [m]
        warp: Direction that angle 0 follows.
        angle: Of the warp from it. [rad]

    Returns:
        The pieces, from the largest.

    Raises:
        SurfaceError: A few slits don't make it lie flat.
    """
    from layup.cloth.darts import cut_open
    from layup.shape.topology import normals

    faces, owner = _touched(points, faces, triangles)
    opened = cut_open(points, faces)
    unit, _ = normals(points, faces)
    middles = points[faces].mean(axis=1)
    first = int(np.argmin(np.linalg.norm(middles - start, axis=1)))
    made = []
    for rows in opened.pieces:
        at_row, turned = _warp_of(unit[rows], middles[rows], warp, angle, first=np.flatnonzero(rows == first))
        face = int(rows[at_row])
        flat = flatten(opened.points, opened.faces[rows], turned, int(np.searchsorted(rows, face)))
        corner, in_flat = opened.points[opened.faces[rows]], flat.places[opened.faces[rows]]
        over = _over_faces(corner, in_flat)
        origin = over((np.asarray(start) if face == first else middles[face])[None])[0]
        own = np.isin(owner, rows)
        if not own.any():
            continue
        at = np.searchsorted(rows, owner[own])
        lies = _affine(
            np.repeat(corner[at], 3, axis=0), np.repeat(in_flat[at], 3, axis=0), triangles[own].reshape(-1, 3)
        )
        found = _joined_up(lies.reshape(-1, 3, 2) - origin)
        legs: dict[int, tuple[Floats | None, Floats | None]] = {}
        inside = np.zeros(len(opened.points), dtype=bool)
        inside[np.unique(opened.faces[rows])] = True
        for number, slit in enumerate(opened.slits):
            sides = [flat.places[leg] - origin if inside[leg].all() else None for leg in (slit.left, slit.right)]
            if sides[0] is not None or sides[1] is not None:
                legs[number] = (sides[0], sides[1])
        link = math.sqrt(float(flat.area.sum())) / 150.0
        made.append(SlitPiece(Map(_moved(over, origin), link, flat), triangles[own], found, legs))
    return made


def _touched(points: Points, faces: Faces, triangles: Floats) -> tuple[Faces, NDArray[np.int64]]:
    """The faces of a surface that some triangles lie on, and which of them each triangle does."""
    sheet = ready(points, faces, lips=False)
    faces = sheet.faces[sheet.owner >= 0]
    touched, owner = np.unique(_Finder(points[faces])(triangles.mean(axis=1)), return_inverse=True)
    return faces[touched], owner


def _warp_of(
    unit: Floats,
    middles: Floats,
    warp: Floats | tuple[float, float, float],
    angle: float,
    first: NDArray[np.int64] | None = None,
) -> tuple[int, Floats]:
    """The face of a piece at which its warp is given, near its middle or the first if it can be; and the warp there."""
    way = np.asarray(warp, dtype=np.float64) / np.linalg.norm(warp)
    good = np.flatnonzero((unit @ way) ** 2 < 0.8)
    if not len(good):
        raise SurfaceError("the warp stands square to a piece of it", "Give another warp")
    face = int(good[np.argmin(np.linalg.norm(middles[good] - middles.mean(axis=0), axis=1))])
    if first is not None and len(first) and first[0] in good:
        face = int(first[0])
    laid = way - way @ unit[face] * unit[face]
    laid = laid / np.linalg.norm(laid)
    turned: Floats = math.cos(angle) * laid + math.sin(angle) * np.cross(unit[face], laid)
    return face, turned


def from_gores(
    points: Points,
    faces: Faces,
    triangles: Floats,
    count: int,
    top: tuple[float, float, float] | None,
    warp: Floats | tuple[float, float, float],
    angle: float,
) -> list[SlitPiece]:
    """What of a dome a ply covers, parted by half-planes through its top into gores, each laid flat.

    The half-planes stand at even angles round the axis, which runs through the top along the mean normal; the first
    gore lies towards the warp. Gore k has seam k as its left leg, on which nothing is added, and the next as its right.

    Args:
        points: Of the surface, welded, shape (n, 3). [m]
        faces: All facing the one who lays the ply, shape (m, 3).
        triangles: What of it the ply covers (k, 3, 3). [m]
        count: How many gores. [-]
        top: Where they meet; the place farthest from the edge if left out. [m]
        warp: Direction that angle 0 follows, in each gore at its middle.
        angle: Of the warp from it. [rad]

    Raises:
        SurfaceError: There is no edge for them to run to, or they don't lie flat.
    """
    from scipy.spatial import cKDTree

    from layup.shape.topology import normals

    faces, _ = _touched(points, faces, triangles)
    rim = np.unique(free_edges(faces))
    unit, area = normals(points, faces)
    mean = area @ unit
    if not len(rim) or np.linalg.norm(mean) < 0.1 * area.sum():
        raise SurfaceError("gores run from a top to an edge, and it is closed nearly all round", "Lay halves, as zones")
    inner = np.unique(faces)
    far, _ = cKDTree(points[rim]).query(points[inner])
    at = points[inner[int(np.argmax(far))]] if top is None else np.asarray(top, dtype=np.float64)
    axis = mean / np.linalg.norm(mean)
    one = np.asarray(warp, dtype=np.float64) - np.dot(warp, axis) * axis
    if np.linalg.norm(one) < 0.1 * np.linalg.norm(warp):
        one = np.eye(3)[int(np.argmin(np.abs(axis)))] - axis[int(np.argmin(np.abs(axis)))] * axis
    one = one / np.linalg.norm(one)
    two = np.cross(axis, one)
    ways = [math.cos(turn) * one + math.sin(turn) * two for turn in (2.0 * np.arange(count) - 1.0) * math.pi / count]
    made = []
    for number, way in enumerate(ways):
        onward = ways[(number + 1) % count]
        sides = ((way, np.cross(axis, way)), (onward, -np.cross(axis, onward)))
        corner = _between(points[faces], at, sides)
        own, cells = weld(np.round(corner, 7))
        cells = cells[normals(own, cells)[1] > 0.0]
        turned = _warp_of(normals(own, cells)[0], own[cells].mean(axis=1), warp, angle)
        flat = flatten(own, cells, turned[1], turned[0])
        over = _over_faces(own[cells], flat.places[cells])
        origin = over(own[cells[turned[0]]].mean(axis=0)[None])[0]
        part = _between(triangles, at, sides)
        found = _joined_up((over(part.reshape(-1, 3)) - origin).reshape(-1, 3, 2))
        left, right = (flat.places[_leg(own, cells, at, side)] - origin for side in sides)
        link = math.sqrt(float(flat.area.sum())) / 150.0
        legs: dict[int, tuple[Floats | None, Floats | None]] = {number: (left, None)}
        legs[(number + 1) % count] = (None, right)
        made.append(SlitPiece(Map(_moved(over, origin), link, flat), part, found, legs))
    return made


def _between(triangles: Floats, at: Floats, sides: Sequence[tuple[Floats, Floats]]) -> Floats:
    """What of some triangles lies on the inner side of planes through a place."""
    size = float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    for _, inward in sides:
        value = (at - triangles) @ inward
        triangles = split(triangles, np.where(np.abs(value) < 1e-7 * size, 0.0, value))[0]
    wide = np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    kept: Floats = triangles[wide > 1e-12 * size**2]
    return kept


def _leg(points: Points, faces: Faces, top: Floats, side: tuple[Floats, Floats]) -> NDArray[np.int64]:
    """The free edge of a gore along one of its sides, from the top to the edge of the part."""
    away, inward = side
    edges = free_edges(faces)
    ends = points[edges] - top
    size = float(np.ptp(points, axis=0).max())
    on = (np.abs(ends @ inward) < 1e-5 * size).all(axis=1) & (ends @ away > -1e-5 * size).all(axis=1)
    follow: dict[int, list[int]] = {}
    for a, b in edges[on].tolist():
        follow.setdefault(a, []).append(b)
        follow.setdefault(b, []).append(a)
    if not follow:
        raise SurfaceError("a gore does not reach from the top to the edge", "Give another start, or lay it in zones")
    line = [min(follow, key=lambda p: float(np.linalg.norm(points[p] - top)))]
    while ahead := [p for p in follow[line[-1]] if p not in line]:
        line.append(ahead[0])
    return np.array(line)


def _joined_up(soup: Floats) -> list[Polygon]:
    """Outlines of triangles that lie flat side by side (n, 3, 2). [m]"""
    import shapely

    u, v = soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0]
    soup = soup[np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 1e-13]
    shape = shapely.union_all(shapely.polygons(soup), grid_size=1e-7)
    for grow in (2e-6, -2e-6):  # closes what is only numbers apart
        shape = shape.buffer(grow, join_style="mitre")
    return _parts(shape)


def _moved(there: Callable[[Floats], Floats], origin: Floats) -> Callable[[Floats], Floats]:
    return lambda places: there(places) - origin


class _Finder:
    """Finds the triangle that a place lies on, of some (n, 3, 3). [m]"""

    def __init__(self, corner: Floats) -> None:
        from scipy.spatial import cKDTree

        self.corner = corner
        area = 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1).sum()
        parts, self.owner = _cut_up(corner, 2.0 * math.sqrt(float(area)) / 150.0)
        self.tree = cKDTree(parts)

    def __call__(self, places: Floats) -> NDArray[np.int64]:
        """The triangle of each place (n, 3)."""
        count = min(8, len(self.owner))
        near = self.owner[np.asarray(self.tree.query(places, k=count)[1]).reshape(len(places), count)]
        a, b, c = (self.corner[near, k] for k in range(3))
        u, v, w = b - a, c - a, places[:, None, :] - a
        s, t = _shares(u, v, w)
        uu, vv = (np.einsum("nki,nki->nk", p, p) for p in (u, v))
        lift = np.linalg.norm(w - s[..., None] * u - t[..., None] * v, axis=2)
        outside = np.maximum(np.maximum(-s, -t), np.maximum(s + t - 1.0, 0.0)) * np.sqrt(np.maximum(uu, vv))
        best = np.argmin(np.maximum(outside, 0.0) + lift, axis=1)
        return np.asarray(near[np.arange(len(places)), best])


def _shares(u: Floats, v: Floats, w: Floats) -> tuple[Floats, Floats]:
    """How much of two sides of a triangle lead to a place, in its plane. [-]"""
    uu, vv, uv, wu, wv = (np.einsum("...i,...i->...", p, q) for p, q in ((u, u), (v, v), (u, v), (w, u), (w, v)))
    det = np.maximum(uu * vv - uv * uv, 1e-300)
    return np.asarray((vv * wu - uv * wv) / det), np.asarray((uu * wv - uv * wu) / det)


def _affine(corner: Floats, in_flat: Floats, places: Floats) -> Floats:
    """Places, each in the plane of a triangle of its own, as that triangle lies flat. [m]"""
    a, p = corner[:, 0], in_flat[:, 0]
    s, t = _shares(corner[:, 1] - a, corner[:, 2] - a, places - a)
    return np.asarray(p + s[:, None] * (in_flat[:, 1] - p) + t[:, None] * (in_flat[:, 2] - p))


def _over_faces(corner: Floats, in_flat: Floats) -> Callable[[Floats], Floats]:
    """Takes places on triangles (n, 3, 3) to where those lie in the flat (n, 3, 2)."""
    finder = _Finder(corner)

    def there(places: Floats) -> Floats:
        near = finder(places)
        return _affine(corner[near], in_flat[near], places)

    return there


def _cut_up(corner: Floats, longest: float) -> tuple[Floats, NDArray[np.int64]]:
    """Middles of triangles cut up small, and the triangle each is of."""
    numbered = np.concatenate([corner, np.repeat(np.arange(len(corner)), 3).reshape(-1, 3, 1)], axis=2)
    soup = small(numbered, longest)
    return soup[..., :3].mean(axis=1), soup[:, 0, 3].astype(np.int64)


def outlines(triangles: Floats, there: Map) -> list[Polygon]:
    """A zone's outline in the flat, the largest piece first, its cut-outs as holes. [m]"""
    found = whole_outlines(triangles, there)
    return found if found is not None else _joined(triangles, there)


def whole_outlines(triangles: Floats, there: Map) -> list[Polygon] | None:
    """The same where its border comes to lie as one clean line; None where the flat shape tears or folds."""
    import shapely

    points, faces = weld(np.round(triangles, 7))
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    rings = []
    for loop in chained(_border(points, faces[real])):
        line = _dense(points[loop], 0.5 * there.link)
        ring = shapely.Polygon(there.there(line))
        if not ring.is_valid:
            ring = shapely.make_valid(ring).buffer(0.0)
        rings.append(ring)
    if not rings:
        return None
    rings.sort(key=lambda r: -r.area)
    shape = shapely.Polygon()
    for ring in rings:
        shape = shape.symmetric_difference(ring)
    whole = there.there(points)
    a, b, c = (whole[faces[real][:, k]] for k in range(3))
    area = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    if abs(shape.area - float(area)) > 0.01 * float(area):
        return None
    return _parts(shape)


def border_length(triangles: Floats) -> float:
    """Length of the free edges of some triangles (n, 3, 3), that of openings counted. [m]"""
    points, faces = weld(np.round(triangles, 7))
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    edges = _border(points, faces[real])
    return float(np.linalg.norm(points[edges[:, 1]] - points[edges[:, 0]], axis=1).sum())


def edge_lines(triangles: Floats, there: Map, points: Points, edges: Faces) -> Floats:
    """Where the free edge of a part runs along some of its triangles, in the flat.

    Args:
        triangles: Of one ply (n, 3, 3), cut out of the part's. [m]
        there: The flat that they lie in.
        points: Corners of the part. [m]
        edges: Its free edges (e, 2), or those asked for.

    Returns:
        Lines (k, 2, 2). [m]
    """
    from scipy.spatial import cKDTree

    own, faces = weld(np.round(triangles, 7))
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    border = own[_border(own, faces[real])]
    if not len(border) or not len(edges):
        return np.zeros((0, 2, 2))
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    count = np.ceil(np.linalg.norm(b - a, axis=1) / 0.002).astype(np.int64) + 1
    of = np.repeat(np.arange(len(edges)), count)
    share = np.concatenate([np.linspace(0.0, 1.0, n) for n in count])
    samples = a[of] + share[:, None] * (b - a)[of]
    middle = border.mean(axis=1)
    near = of[cKDTree(samples).query(middle, k=min(4, len(samples)))[1].reshape(len(middle), -1)]
    way = (b - a)[near]
    share = ((middle[:, None] - a[near]) * way).sum(axis=2) / np.maximum((way * way).sum(axis=2), 1e-30)
    foot = a[near] + np.clip(share, 0.0, 1.0)[..., None] * way
    on = (np.linalg.norm(middle[:, None] - foot, axis=2) < 1e-5).any(axis=1)
    return np.asarray(there.there(border[on].reshape(-1, 3)).reshape(-1, 2, 2))


def with_trim(shape: Polygon, lines: Floats, trim: float) -> Polygon:
    """The cut line of a ply that ends in part where the part does: the trimmed strip is laid there, and nowhere else.

    Args:
        shape: The ply in the flat. [m]
        lines: Where the free edge of the part runs, `edge_lines`. [m]
        trim: Width of the strip. [m]

    Returns:
        The outline to cut; across openings of the part cloth runs uncut, or it is a frame. [m]
    """
    import shapely

    if not len(lines):
        return shape
    runs = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(list(lines)), directed=True))
    closed = [shapely.Polygon(run) for run in runs if run.is_closed]
    round_it = [ring.covers(shape.representative_point()) for ring in closed]
    openings = [ring for ring, outer in zip(closed, round_it, strict=True) if not outer]
    lost = sum(hole.area for hole in openings)
    if lost < FRAME * (lost + shape.area):
        strips = list(openings)
    else:
        strips = [hole.difference(hole.buffer(-trim, join_style="mitre", mitre_limit=2.0)) for hole in openings]
    for ring, outer in zip(closed, round_it, strict=True):
        if outer and trim:
            strips.append(ring.buffer(trim, join_style="mitre", mitre_limit=2.0).difference(ring))
    for run in runs if trim else []:
        if run.is_closed:
            continue
        sides = [run.buffer(side * trim, single_sided=True, join_style="mitre", mitre_limit=2.0) for side in (1, -1)]
        strips.append(min(sides, key=lambda side: side.intersection(shape).area))
    # what rounding leaves between the strips and the cloth is closed
    whole = shapely.union_all([shape, *strips]).buffer(_GAP, join_style="mitre")
    return whole.buffer(-_GAP, join_style="mitre")


def _border(points: Points, faces: Faces) -> Faces:
    """Free edges (e, 2) of a mesh in which a corner of one triangle may lie on the edge of another."""
    pieces = [pair for line in _along(points, free_edges(faces)) for pair in pairwise(line)]
    # an edge that is there both ways lies between two triangles after all
    count: dict[tuple[int, int], int] = {}
    for piece in pieces:
        count[piece] = count.get(piece, 0) + 1
    kept = [p for p, n in count.items() for _ in range(n - min(n, count.get((p[1], p[0]), 0)))]
    return np.array(kept, dtype=np.int64).reshape(-1, 2)


def _along(points: Points, edges: Faces) -> list[list[int]]:
    """The points on each of some edges, its ends first and last."""
    from scipy.spatial import cKDTree

    if not len(edges):
        return []
    used = np.unique(edges)
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    long = np.linalg.norm(b - a, axis=1)
    near = cKDTree(points[used]).query_ball_point(0.5 * (a + b), 0.5 * long * (1.0 + 1e-6) + 1e-7)
    lines: list[list[int]] = []
    for number, found in enumerate(near):
        first, last = int(edges[number, 0]), int(edges[number, 1])
        if len(found) <= 2:
            lines.append([first, last])
            continue
        own = used[found]
        way = (b[number] - a[number]) / long[number]
        step = (points[own] - a[number]) @ way
        off = np.linalg.norm(points[own] - a[number] - step[:, None] * way, axis=1)
        on = (off < 1e-6) & (step > 0) & (step < long[number]) & (own != first) & (own != last)
        lines.append([first, *own[on][np.argsort(step[on])].tolist(), last])
    return lines


def _joined(triangles: Floats, there: Map) -> list[Polygon]:
    """The same from every triangle laid flat and joined: slower, but it stands cracks and folds."""
    import shapely

    soup = small(triangles, _SPLIT * there.link)
    points, faces = weld(soup)
    flat = there.there(points)[faces]
    true = np.linalg.norm(np.roll(soup, -1, axis=1) - soup, axis=2)
    lies = np.linalg.norm(np.roll(flat, -1, axis=1) - flat, axis=2)
    kept = (lies < 2.0 * true + 0.5 * there.link).all(axis=1)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    kept &= np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 1e-12
    shape = shapely.union_all(shapely.polygons(flat[kept]), grid_size=1e-7)
    step = 0.02 * there.link
    for grow in (step, -2 * step, step):
        shape = shape.buffer(grow, join_style="mitre")
    return _parts(shape)


def _parts(shape: Polygon) -> list[Polygon]:
    import shapely

    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > _TINY * shape.area]
    kept = []
    for part in parts:
        holes = [ring for ring in part.interiors if shapely.Polygon(ring).area > 0.02 * _TINY * shape.area]
        kept.append(shapely.Polygon(part.exterior, holes))
    return sorted(kept, key=lambda p: (-p.area, p.bounds))


def _dense(line: Floats, step: float) -> Floats:
    """A closed line with points no further apart than a step. [m]"""
    onward = np.roll(line, -1, axis=0)
    counts = np.maximum(1, np.ceil(np.linalg.norm(onward - line, axis=1) / step)).astype(int)
    made = [
        a + (b - a) * np.linspace(0.0, 1.0, n, endpoint=False)[:, None]
        for a, b, n in zip(line, onward, counts, strict=True)
    ]
    return np.concatenate(made)
