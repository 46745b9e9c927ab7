"""Distance along the surface: from a point of it, from its free edge, from a line laid on it.

    A front that runs from a place            near_point(points, faces, at, reach, name)
    ... from free edges                       near_edges(points, faces, edges, reach, name)
    ... from a line in space, laid on         near_line(points, faces, ends, reach, name)
    What it has passed at a distance          part(front, reach)

Only the part of the mesh that can matter is looked at, with its long edges halved so far that the distances
come out right; see `relax` for how they are found. The border of a zone is drawn straight across each
triangle, so triangles on it are cut up further, the distance at a new point taken from the front as it stands
over the edge: drawn with edges of reach/24 a disc comes out about 1.4 in 10,000 small.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.clip import Soup, split
from layup.shape.nearest import faces_near, nearest_points, on_segments, to_segments
from layup.shape.refine import halve_edges, halve_once, insert_point, unique_edges
from layup.shape.relax import Fans, Floats, edge_bends, edge_turns, fans, relax, shared_bend
from layup.shape.topology import Faces, Numbers, Points, edge_keys, free_edges, length_of
from layup.words import plain

Mask = NDArray[np.bool_]

_BORDER_POINT, _BORDER_EDGE = 24.0, 12.0  # edges at the border of a zone are at most this part of the reach
_POINT, _EDGE, _LINE = 6.0, 4.0, 12.0  # edges the front runs over are at most this part of it
_ROUND = -0.01  # a path can bend round a point of the edge that turns less than this [rad]
_SETTLED, _ROUGHLY = 1e-4, 1e-3  # shares of the reach by which distances may still change, and rough ones
LONGEST = 8_000.0
"""Edges up to so many times as long as a zone at them is wide: the mesh has to be as fine as the zone. [-]"""
_ROUGH = 1.25  # distances over single triangles are taken to be too long by this factor at most


@dataclass(frozen=True, slots=True)
class Front:
    """Distances on a finer mesh of the part of the surface that can matter.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: The face of the surface each is part of.
        distance: At each point (n,); infinite where the front did not come. [m]
        bend: At each point (n,); see `relax`. [m]
        away: Gives the triangles that lie further off, shape (k, 3, 4): x, y, z and the face each is part of. [m]
        border: Longest edge with which the border is drawn. [m]
        whole_faces: Whether what lies further off is whole faces of the surface, and no pieces of some.
    """

    points: Points
    faces: Faces
    owner: Numbers
    distance: Floats
    bend: Floats
    away: Callable[[], Soup]
    border: float
    whole_faces: bool = True


def near_point(points: Points, faces: Faces, at: Floats, reach: float, name: str) -> Front:
    """A front from the surface point nearest to a place.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: The place. [m]
        reach: How far distances matter. [m]
        name: What errors call the zone.

    Raises:
        SurfaceError: the place is further off the surface than the reach.
    """
    some = faces_near(points, faces, at, reach)
    feet = nearest_points(points, faces[some], at)
    off = np.sqrt(np.einsum("ij,ij->i", feet - at, feet - at))
    nearest = int(np.argmin(off))
    gap = float(off[nearest])
    _check_gap(gap, reach, name)
    foot = feet[nearest]
    owner = some[off <= reach + gap]  # a path within reach stays in this ball
    used, crop = np.unique(faces[owner], return_inverse=True)
    own = int(np.searchsorted(owner, some[nearest]))
    ball = owner
    p, f, owner, source = insert_point(points[used], crop.reshape(-1, 3), owner, own, foot)
    step = reach / _POINT

    def long_and_near(a: Points, b: Points) -> Mask:
        marked: Mask = np.einsum("ij,ij->i", b - a, b - a) > step * step
        rows = np.flatnonzero(marked)
        marked[rows] = to_segments(foot, a[rows], b[rows]) < reach
        return marked

    p, f, owner = halve_edges(p, f, owner, long_and_near)
    start = np.full(len(p), np.inf)
    start[source] = 0.0
    net = fans(p, f)
    distance, bend = relax(net, start, np.zeros(len(p)), _bound(net, reach), _SETTLED * reach, _pivots(p, f))

    def away() -> Soup:
        return _pieces(points, faces, np.setdiff1d(np.arange(len(faces)), ball, assume_unique=True))

    return Front(points=p, faces=f, owner=owner, distance=distance, bend=bend, away=away, border=reach / _BORDER_POINT)


Curve = tuple[Floats, Mask]
"""Of each point of a surface: the bend of the front that leaves the free edge there, and whether a path can bend
round it."""


def edge_curve(points: Points, faces: Faces) -> Curve:
    """How the free edge of a surface bends, and where a path can bend round it. [m, -]"""
    turn, length = edge_turns(points, faces, free_edges(faces, once=True))
    return edge_bends(turn, length), turn < _ROUND


def finer(points: Points, faces: Faces, longest: float) -> tuple[Points, Faces, Numbers, Curve]:
    """The mesh with its edges halved until none is longer; a round edge stays as round as it was.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        longest: [m]

    Returns:
        Points, faces, the face of the old mesh each is part of, and how the free edge bends.
    """
    sheet = _Sheet.of(points, faces, free_edges(faces, once=True), edge_curve(points, faces))
    while True:
        ends = unique_edges(sheet.faces)
        step = sheet.points[ends[:, 0]] - sheet.points[ends[:, 1]]
        ends = ends[np.einsum("ij,ij->i", step, step) > longest * longest]
        if not len(ends):
            return sheet.points, sheet.faces, sheet.owner, (sheet.bend, sheet.pivots)
        sheet.halve(ends)


def near_edges(
    points: Points, faces: Faces, edges: Faces, reach: float, name: str, curve: Curve | None = None
) -> Front:
    """A front from free edges of the surface.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        edges: The free edges it starts from, shape (e, 2).
        reach: How far distances matter. [m]
        name: What errors call the zone.
        curve: How the free edge bends; None to find it from the mesh.

    Raises:
        SurfaceError: no edges, or a zone too narrow for the size of the surface.
    """
    if not len(edges):
        raise SurfaceError(f"{name}: the surface has no free edge", "Use a zone about a point instead")
    long = length_of(points, edges)
    if long > LONGEST * reach:
        raise SurfaceError(
            f"{name}: {plain(reach * 1e3, 3)} mm along {plain(long, 4)} m of edge is too fine to be cut out",
            f"Write {long / LONGEST * 1e3:.2g} mm or more",
        )
    sheet = _Sheet.of(points, faces, edges, edge_curve(points, faces) if curve is None else curve)
    step = reach / _EDGE
    try:
        while True:
            net = fans(sheet.points, sheet.faces, pairs=False)
            straight, bound = np.full(len(sheet.points), np.inf), _bound(net, _ROUGH * reach)
            rough, _ = relax(
                net=net,
                start=sheet.start,
                bend=straight,
                bound=bound,
                settled=_ROUGHLY * reach,
                pivot=None,
                through=sheet.through(net),
            )
            rough = sheet.crop(rough, reach)
            ends = unique_edges(sheet.faces)
            length, lowest = _lowest(sheet.points, ends, rough)
            long_ones = ends[(length > step) & (lowest < reach)]
            if not len(long_ones):
                break
            sheet.halve(long_ones)
        chords = ends[sheet.bridges(ends)]
        if len(chords):
            sheet.halve(chords)
    except SurfaceError as problem:
        raise SurfaceError(f"{name}: {problem.wrong}", problem.remedy) from None
    net = fans(sheet.points, sheet.faces)
    through = sheet.through(net)
    distance, bend = relax(
        net=net,
        start=sheet.start,
        bend=sheet.bend,
        bound=_bound(net, reach),
        settled=_SETTLED * reach,
        pivot=sheet.pivots,
        through=through,
    )
    away = np.concatenate(sheet.away)
    return Front(
        points=sheet.points,
        faces=sheet.faces,
        owner=sheet.owner,
        distance=distance,
        bend=bend,
        away=lambda: away,
        border=reach / _BORDER_EDGE,
        whole_faces=False,
    )


def near_line(points: Points, faces: Faces, ends: Floats, reach: float, name: str) -> Front:
    """A front from a straight line in space, laid on the surface point by nearest point.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        ends: The two ends of the line, shape (2, 3). [m]
        reach: How far distances matter. [m]
        name: What errors call the zone.

    Raises:
        SurfaceError: the line is nowhere nearer to the surface than the reach.
    """
    step = reach / _LINE
    along = ends[1] - ends[0]
    middle = points[faces].mean(axis=1)
    off = points[faces] - middle[:, None]
    round_ = np.sqrt(np.einsum("kij,kij->ki", off, off).max(axis=1))
    clear = to_segments(middle, ends[:1].repeat(len(faces), 0), ends[1:].repeat(len(faces), 0)) - round_
    if not (clear <= 2.0 * reach).any():
        raise SurfaceError(f"{name}: the line lies off the surface, further than the zone reaches", _CHECK)
    wide = reach + _off(points, faces[clear <= reach], ends, reach)  # a path within reach stays as near to the line
    owner, away = np.flatnonzero(clear <= wide), _pieces(points, faces, np.flatnonzero(clear > wide))
    used, crop = np.unique(faces[owner], return_inverse=True)
    p, f = points[used], crop.reshape(-1, 3)

    def long_and_near(a: Points, b: Points) -> Mask:
        length = np.sqrt(np.einsum("ij,ij->i", b - a, b - a))
        off = 0.5 * (a + b) - on_segments(0.5 * (a + b), ends[:1].repeat(len(a), 0), ends[1:].repeat(len(a), 0))
        marked: Mask = (length > step) & (np.sqrt(np.einsum("ij,ij->i", off, off)) < wide + 0.5 * length)
        return marked

    p, f, owner = halve_edges(p, f, owner, long_and_near)
    count = int(np.ceil(np.linalg.norm(along) / (0.5 * step))) + 1
    if count > 100_000:
        raise SurfaceError(f"{name}: too narrow for the length of the line", "Give a wider zone")
    feet, on = np.empty((count, 3)), np.empty(count, dtype=np.int64)
    gaps = np.empty(count)
    middle = p[f].mean(axis=1)
    round_ = np.sqrt(np.einsum("kij,kij->ki", p[f] - middle[:, None], p[f] - middle[:, None]).max(axis=1))
    long = float(np.linalg.norm(along))
    spacing = long / max(count - 1, 1)
    # what is nearer to a point of the line than some distance lies within it along the line too
    station = (middle - ends[0]) @ along / max(long, 1e-30)
    order, widest = np.argsort(station, kind="stable"), float(round_.max())
    stations = station[order]
    for number, share in enumerate(np.linspace(0.0, 1.0, count)):
        at = ends[0] + share * along
        within = gaps[number - 1] + spacing if number else np.inf  # the foot is no further off than one step more
        room = within * (1.0 + 1e-9) + widest
        low, high = np.searchsorted(stations, (share * long - room, share * long + room), side="left")
        some = np.sort(order[low : high + 1])
        away_from = middle[some] - at
        near = some[np.sqrt(np.einsum("ij,ij->i", away_from, away_from)) - round_[some] <= within * (1.0 + 1e-9)]
        here = nearest_points(p, f[near], at)
        square = np.einsum("ij,ij->i", here - at, here - at)
        best = int(np.argmin(square))
        on[number], feet[number], gaps[number] = near[best], here[best], np.sqrt(square[best])
    _check_gap(float(gaps.min()), reach, name)
    laid = gaps <= reach
    start, bend = np.full(len(p), np.inf), np.full(len(p), np.inf)
    corners = np.unique(f[on[laid]])
    lines = np.flatnonzero(laid[:-1] & laid[1:])
    for corner in corners:
        a, b = (feet[lines], feet[lines + 1]) if len(lines) else (feet[laid], feet[laid])
        here = on_segments(p[corner], a, b)
        square = np.einsum("ij,ij->i", here - p[corner], here - p[corner])
        best = int(np.argmin(square))
        start[corner] = np.sqrt(square[best])
        if any(np.array_equal(here[best], end) for end in (a[0], b[-1])):
            bend[corner] = 0.0
    net = fans(p, f)
    distance, bend = relax(net, start, bend, _bound(net, reach), _SETTLED * reach, _pivots(p, f))
    return Front(
        points=p, faces=f, owner=owner, distance=distance, bend=bend, away=lambda: away, border=reach / _BORDER_EDGE
    )


_LOOKS = 300_000  # faces looked at, over all places of a line, to see how far off the surface it runs


def _off(points: Points, faces: Faces, ends: Floats, reach: float) -> float:
    """How far the line runs off the surface where it is laid on it, at most; never more than the reach. [m]"""
    if not len(faces):
        return reach
    count = int(np.clip(_LOOKS // len(faces), 2, 129))
    gaps = []
    for share in np.linspace(0.0, 1.0, count):
        at = ends[0] + share * (ends[1] - ends[0])
        step = nearest_points(points, faces, at) - at
        gaps.append(float(np.sqrt(np.einsum("ij,ij->i", step, step).min())))
    between = 0.5 * float(np.linalg.norm(ends[1] - ends[0])) / (count - 1)
    return min(reach, max(gaps) + between)


_CHECK = "Check its coordinates against the box of the surface, and the unit"


def _check_gap(gap: float, reach: float, name: str) -> None:
    if gap > reach:
        raise SurfaceError(
            f"{name}: the point lies {plain(gap * 1e3, 4)} mm off the surface, further than the zone reaches", _CHECK
        )


def _pieces(points: Points, faces: Faces, rows: Numbers, owner: Numbers | None = None) -> Soup:
    """Some faces as triangles with the number of the face of the surface each is part of."""
    own = rows if owner is None else owner[rows]
    return np.concatenate([points[faces[rows]], np.repeat(own, 3).reshape(-1, 3, 1)], axis=2)


def _pivots(points: Points, faces: Faces) -> Mask:
    """Points of the free edge that a path can bend round."""
    return edge_curve(points, faces)[1]


def _bound(net: Fans, reach: float) -> float:
    """How far distances must be known so that every triangle within reach has them at all its corners. [m]"""
    return reach + 2.0 * float(net.width.max(initial=0.0))


def _lowest(points: Points, ends: Faces, rough: Floats) -> tuple[Floats, Floats]:
    """Length of edges (e, 2), and the least distance anywhere on them by the triangle inequality. [m]"""
    a, b = ends.T
    length = np.sqrt(np.einsum("ij,ij->i", points[a] - points[b], points[a] - points[b]))
    return length, 0.5 * ((rough[a] + rough[b]) / _ROUGH - length)


@dataclass(slots=True)
class _Sheet:
    """The part of the mesh near the edges that a front starts from, as it is cropped and made finer.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: The face of the surface each is part of.
        starts: Edges that the front starts from, shape (e, 2).
        start: 0 at their points, infinite elsewhere (n,). [m]
        bend: At the points of free edges (n,). [m]
        pivots: Points of free edges that a path can bend round (n,).
        away: Triangles that were left behind. [m]
    """

    points: Points
    faces: Faces
    owner: Numbers
    starts: Faces
    start: Floats
    bend: Floats
    pivots: Mask
    away: list[Soup]

    @classmethod
    def of(cls, points: Points, faces: Faces, starts: Faces, curve: Curve) -> _Sheet:
        """A whole surface, as it comes."""
        start = np.full(len(points), np.inf)
        start[starts] = 0.0
        bend, pivots = curve
        owner = np.arange(len(faces))
        return cls(points, faces, owner, starts=starts, start=start, bend=bend, pivots=pivots, away=[])

    def crop(self, rough: Floats, reach: float) -> Floats:
        """Keep faces that may come within reach; the rough distances of the points kept."""
        near = np.zeros(len(self.faces), dtype=bool)
        for i, j in ((0, 1), (1, 2), (2, 0)):
            near |= _lowest(self.points, self.faces[:, [i, j]], rough)[1] <= reach
        self.away.append(_pieces(self.points, self.faces, np.flatnonzero(~near), self.owner))
        used, back = np.unique(self.faces[near], return_inverse=True)
        self.faces, self.owner = back.reshape(-1, 3), self.owner[near]
        new = np.full(len(self.points), -1, dtype=np.int64)
        new[used] = np.arange(len(used))
        starts = new[self.starts]
        self.starts = starts[(starts >= 0).all(axis=1)]
        self.points, self.start, self.bend, self.pivots = (
            self.points[used],
            self.start[used],
            self.bend[used],
            self.pivots[used],
        )
        return rough[used]

    def halve(self, edges: Faces) -> None:
        """Halve edges; the middle of an edge that the front starts from is a start too."""
        old = len(self.points)
        self.points, self.faces, self.owner, _ = halve_once(self.points, self.faces, self.owner, edges)
        keys, own = edge_keys(self.starts), edge_keys(edges)
        order = np.argsort(own)
        place = order[np.minimum(np.searchsorted(own, keys, sorter=order), len(own) - 1)]
        split_ = own[place] == keys
        middle = old + place[split_]
        a, b = self.starts[split_].T
        new = len(edges)
        self.start = np.concatenate([self.start, np.full(new, np.inf)])
        bend = np.concatenate([self.bend, np.full(new, np.inf)])
        self.pivots = np.concatenate([self.pivots, np.zeros(new, dtype=bool)])
        self.start[middle] = 0.0
        bend[middle] = _between(bend[a], bend[b])
        self.bend = bend
        self.starts = np.concatenate([self.starts[~split_], np.column_stack([a, middle]), np.column_stack([middle, b])])

    def bridges(self, ends: Faces) -> Mask:
        """Which edges (e, 2) run from start to start through the surface."""
        start = np.isfinite(self.start)
        both = start[ends[:, 0]] & start[ends[:, 1]]
        both[both] = ~np.isin(edge_keys(ends[both]), edge_keys(self.starts))
        return both

    def through(self, net: Fans) -> Mask:
        """Edges of a net that a front can come through: not those that cut off a corner of the surface."""
        return ~self.bridges(np.column_stack([net.one, net.two]))


def _between(one: Floats, two: Floats) -> Floats:
    """Bend in the middle of an edge from those at its ends; a corner (0) has no say."""
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = 2.0 / (1.0 / one + 1.0 / two)
    mean = np.where(np.isinf(one), 2.0 * two, np.where(np.isinf(two), 2.0 * one, mean))
    return np.where((one == 0.0) & (two == 0.0), np.inf, np.where(one == 0.0, two, np.where(two == 0.0, one, mean)))


def part(front: Front, reach: float, *, whole: bool = True) -> tuple[Soup, Soup]:
    """The surface parted where the front stands at a distance.

    Args:
        front: Distances from `near_point`, `near_edges` or `near_line`, made for at least this reach.
        reach: The distance. [m]
        whole: Whether faces that lie far off are wanted with the others, or may be left out.

    Returns:
        Triangles within reach and the others, shape (k, 3, 4): x, y, z and the face of the surface each is
        part of. [m]
    """
    distance = np.minimum(front.distance, 1e6 * reach)  # a finite number, for the sake of cutting
    columns = [front.points[front.faces], np.repeat(front.owner, 3).reshape(-1, 3, 1)]
    soup = np.concatenate([*columns, np.stack([distance, front.bend], axis=-1)[front.faces]], axis=2)
    inner, outer = [np.zeros((0, 3, 4))], [front.away()] if whole or not front.whole_faces else []
    while len(soup):
        middle = _middles(soup)
        values = np.concatenate([soup[:, :, 4], middle[:, :, 4]], axis=1)
        low, high = values.min(axis=1) <= reach, values.max(axis=1) > reach
        inner.append(soup[~high][:, :, :4])
        outer.append(soup[~low][:, :, :4])
        soup, middle = soup[low & high], middle[low & high]
        fine = _longest_side(soup) <= front.border
        one, two = split(soup[fine][:, :, :4], soup[fine][:, :, 4] - reach)
        inner.append(one)
        outer.append(two)
        soup = _quarters(soup[~fine], middle[~fine])
    return np.concatenate(inner), np.concatenate(outer)


def _middles(soup: Soup) -> Soup:
    """Middles of the three sides of each triangle, (k, 3, 6), the distance there as the front has it."""
    a, b = soup, soup[:, [1, 2, 0]]
    middle = 0.5 * (a + b)
    di, dj = a[:, :, 4], b[:, :, 4]
    bend = shared_bend(di.ravel(), dj.ravel(), a[:, :, 5].ravel(), b[:, :, 5].ravel()).reshape(di.shape)
    step = a[:, :, :3] - b[:, :, :3]
    square = np.einsum("kij,kij->ki", step, step)
    with np.errstate(invalid="ignore"):
        ri, rj = di + bend, dj + bend
        inside = 0.5 * (ri * ri + rj * rj) - 0.25 * square
        curved = np.isfinite(bend) & (ri * rj >= 0.0) & (inside > 0.0) & (np.abs(ri) < 1e4 * np.sqrt(square))
        there = np.where(ri + rj < 0.0, -1.0, 1.0) * np.sqrt(np.where(curved, inside, 0.0)) - bend
    middle[:, :, 4] = np.where(curved, there, middle[:, :, 4])
    middle[:, :, 5] = bend
    return middle


def _longest_side(soup: Soup) -> Floats:
    step = soup[:, :, :3] - soup[:, [1, 2, 0], :3]
    longest: Floats = np.sqrt(np.einsum("kij,kij->ki", step, step).max(axis=1, initial=0.0))
    return longest


def _quarters(soup: Soup, middle: Soup) -> Soup:
    a, b, c = soup[:, 0], soup[:, 1], soup[:, 2]
    d, e, f = middle[:, 0], middle[:, 1], middle[:, 2]
    return np.stack([a, d, f, d, b, e, f, e, c, d, e, f], axis=1).reshape(-1, 3, soup.shape[2])
