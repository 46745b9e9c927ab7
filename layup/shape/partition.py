"""A surface cut once along the borders of several zones: pieces on each of which the same zones lie.

    The pieces                                partition(surface, specs)
    Openings that the surface's file has      cut_outs(surface)

Every zone is cut alone first (`Surface.cut`), so faces are either wholly in it, wholly out of it, or split. Whole faces
only collect the numbers of the zones they lie in; the few split ones are laid over each other. So the work grows with
the faces and with the zones' own borders, not with their product.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import free_loops
from layup.shape.measure import Measured, measure_triangles, tensor, vector
from layup.shape.overlay import overlay
from layup.shape.surface import Surface
from layup.shape.topology import edge_keys, edges_of, normals
from layup.shape.zones import Cut

if TYPE_CHECKING:
    from shapely import Geometry

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
Spec = Mapping[str, object]

NOTHING = 1e-12
"""A piece smaller than this share of the surface is what rounding leaves between zones that tile it. [-]"""
_LEVEL = 0.5  # a rim whose faces stand steeper than 60 degrees to its lid is an open end, not a hole in a sheet


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of a surface.

    Attributes:
        zones: Numbers of the zones that it lies in.
        measured: Its measures, free edge unknown.
        faces: Faces that are wholly part of it.
        soup: Triangles of faces that it has a share of, shape (k, 3, 3). [m]
        owner: The face that each of those is part of, shape (k,).
    """

    zones: frozenset[int]
    measured: Measured
    faces: Numbers
    soup: Floats
    owner: Numbers

    def total(self, values: Floats, area: Floats) -> float:
        """The sum of a figure of the faces over the piece, a split face by the share of it that the piece takes.

        Args:
            values: Of the surface's faces, (m,).
            area: Of them, (m,). [m^2]
        """
        found = float(values[self.faces].sum())
        if len(self.soup):
            own = area[self.owner]
            share = np.divide(_sizes(self.soup), own, out=np.zeros(len(own)), where=own > 0.0)
            found += float(share @ values[self.owner])
        return found


@dataclass(frozen=True, eq=False)
class Opening:
    """An opening that a surface has.

    Attributes:
        edges: Its free edges, shape (e, 2).
        area: Of flat triangles between the points of its edge. [m^2]
    """

    edges: Numbers
    area: float


class Partition:
    """A surface cut along the borders of several zones; free edges are shared out when they are asked for."""

    def __init__(self, surface: Surface, pieces: Sequence[Piece]) -> None:
        self.surface = surface
        self.pieces = tuple(pieces)

    @cached_property
    def _of_face(self) -> Numbers:
        """Number of the piece that a face is wholly part of; -1 for a split one."""
        found: Numbers = np.full(len(self.surface.faces), -1)
        for number, piece in enumerate(self.pieces):
            found[piece.faces] = number
        return found

    def rims(self, kinds: Numbers, edges: Numbers, owner: Numbers, count: int) -> Floats:
        """Length of the free edges of each kind that lies on each piece.

        Args:
            kinds: Number of the kind of each edge, shape (e,), below `count`.
            edges: Free edges, shape (e, 2).
            owner: The face of each, shape (e,).
            count: How many kinds there are.

        Returns:
            Shape (pieces, count). [m]
        """
        points = self.surface.vertices
        step = points[edges[:, 1]] - points[edges[:, 0]]
        length = np.sqrt(np.einsum("ij,ij->i", step, step))
        found = np.zeros((len(self.pieces), count))
        of = self._of_face[owner]
        whole = of >= 0
        np.add.at(found, (of[whole], kinds[whole]), length[whole])
        rest = np.flatnonzero(~whole & (length > 0.0))
        if not len(rest):
            return found
        rest = rest[np.argsort(owner[rest], kind="stable")]
        lies = []
        for piece in self.pieces:
            low, high = (np.searchsorted(owner[rest], piece.owner, side=side) for side in ("left", "right"))
            row = np.repeat(np.arange(len(low)), high - low)
            place = np.arange(len(row)) - np.repeat(np.cumsum(high - low) - (high - low), high - low) + low[row]
            edge = rest[place]
            own = _along(piece.soup[row], points[edges[edge, 0]], step[edge], length[edge])
            lies.append((place[own > 0.0], own[own > 0.0]))
        total = sum((np.bincount(place, own, minlength=len(rest)) for place, own in lies), np.zeros(len(rest)))
        for number, (place, own) in enumerate(lies):
            np.add.at(found[number], kinds[rest[place]], length[rest[place]] * own / total[place])
        return found


def _along(triangles: Floats, start: Floats, step: Floats, length: Floats) -> Floats:
    """Length of the sides of each triangle (n, 3, 3) that lie on its edge (n, 3). [m]"""
    from_start = triangles - start[:, None]
    at = np.einsum("nij,nj->ni", from_start, step) / length[:, None]
    off = np.linalg.norm(from_start - at[:, :, None] * (step / length[:, None])[:, None], axis=2)
    on = off < 1e-6 * length[:, None]
    found: Floats = np.zeros(len(triangles))
    for i, j in ((0, 1), (1, 2), (2, 0)):
        found += np.where(on[:, i] & on[:, j], np.abs(at[:, i] - at[:, j]), 0.0)
    found[on.all(axis=1)] = 0.0  # a sliver that a border leaves on the edge: its neighbours have that length already
    return found


def _sizes(soup: Floats) -> Floats:
    across = np.cross(soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0])
    sizes: Floats = 0.5 * np.sqrt(np.einsum("ij,ij->i", across, across))
    return sizes


class _Sets:
    """Sets of zones under numbers; 0 is the empty one."""

    def __init__(self) -> None:
        self.listed: list[frozenset[int]] = [frozenset()]
        self.number: dict[frozenset[int], int] = {frozenset(): 0}

    def of(self, members: frozenset[int]) -> int:
        if members not in self.number:
            self.number[members] = len(self.listed)
            self.listed.append(members)
        return self.number[members]

    def joined(self, numbers: Numbers, others: Numbers | frozenset[int]) -> Numbers:
        """The numbers of the unions, element by element."""
        out: Numbers = np.empty(len(numbers), dtype=np.int64)
        if isinstance(others, frozenset):
            for old in np.unique(numbers):
                out[numbers == old] = self.of(self.listed[old] | others)
            return out
        pairs = np.column_stack([numbers, others])
        unique, back = np.unique(pairs, axis=0, return_inverse=True)
        named = np.array([self.of(self.listed[a] | self.listed[b]) for a, b in unique], dtype=np.int64)
        out[:] = named[back.ravel()]
        return out


def partition(surface: Surface, specs: Sequence[Spec]) -> Partition:
    """Cut a surface along the borders of several zones.

    Args:
        surface: With a mesh.
        specs: The zones, as `Surface.cut` takes them.

    Returns:
        Pieces that together are the surface; a place where two zones lie is a piece of its own. What lies in no zone
        comes last, where there is any.

    Raises:
        SurfaceError: As `Surface.cut`.
    """
    faces = surface.faces
    if not specs:
        every: Numbers = np.arange(len(faces))
        whole = Piece(frozenset(), surface.whole, every, np.zeros((0, 3, 3)), np.zeros(0, dtype=np.int64))
        return Partition(surface, [whole])
    sets = _Sets()
    of_face: Numbers = np.zeros(len(faces), dtype=np.int64)
    cuts = [surface.cut(spec) for spec in specs]
    for number, cut in enumerate(cuts):
        full = np.setdiff1d(cut.faces, cut.split)
        of_face[full] = sets.joined(of_face[full], frozenset({number}))
    split = np.unique(np.concatenate([cut.split for cut in cuts]))
    soup = _laid_over(surface, cuts, split, sets)
    owner = soup[:, 0, 3].astype(np.int64)
    of_soup = sets.joined(soup[:, 0, 4].astype(np.int64), of_face[owner]) if len(soup) else owner
    triangles = soup[:, :, :3]
    whole_face = np.ones(len(faces), dtype=bool)
    whole_face[split] = False
    points = surface.vertices
    pieces: list[Piece] = []
    faces_of, soup_of = _grouped(of_face, np.flatnonzero(whole_face)), _grouped(of_soup, np.arange(len(of_soup)))
    none: Numbers = np.zeros(0, dtype=np.int64)
    for name in [*sorted((faces_of.keys() | soup_of.keys()) - {0}), 0]:
        rows, mine = faces_of.get(name, none), soup_of.get(name, none)
        if name != 0:
            measured = measure_triangles(np.concatenate([points[faces[rows]], triangles[mine]]))
        else:  # by what is left, so that the pieces make the whole to the last digit
            measured = less(surface.whole, [piece.measured for piece in pieces])
        if measured.area > NOTHING * surface.whole.area:
            pieces.append(Piece(sets.listed[name], measured, rows, triangles[mine], owner[mine]))
    return Partition(surface, pieces)


def _grouped(names: Numbers, rows: Numbers) -> dict[int, Numbers]:
    """Some rows by their names."""
    if not len(rows):
        return {}
    order = rows[np.argsort(names[rows], kind="stable")]
    listed, start = np.unique(names[order], return_index=True)
    return dict(zip(listed.tolist(), np.split(order, start[1:]), strict=True))


def _laid_over(surface: Surface, cuts: Sequence[Cut], split: Numbers, sets: _Sets) -> Floats:
    """Split faces cut along every border on them: x, y, z, face, and the number of the set of zones that split them."""
    points, faces = surface.vertices, surface.faces
    times = np.zeros(len(faces), dtype=np.int64)
    for cut in cuts:
        times[cut.split] += 1
    crossed = split[times[split] > 1]  # few: where borders of two zones meet
    start = np.zeros((len(crossed), 3, 5))
    start[:, :, :3] = points[faces[crossed]]
    start[:, :, 3] = np.arange(len(crossed))[:, None]
    piles = list(start[:, None])  # one a face, so that a zone touches no more than its own
    crowded = crossed[_crowds(cuts, len(faces))[crossed]]
    done = [_arranged(points[faces[face]], face, cuts, sets) for face in crowded.tolist()]
    times[crowded] = 0
    for number, cut in enumerate(cuts):
        inner, inner_faces, rest, rest_faces, own = cut.on_split
        if not len(own):
            continue
        parts = np.zeros((len(inner) + len(rest), 3, 5))
        parts[:, :, :3] = np.concatenate([inner, rest])
        parts[:, :, 3] = np.concatenate([inner_faces, rest_faces])[:, None]
        parts[: len(inner), :, 4] = 1.0
        many = times[parts[:, 0, 3].astype(np.int64)]
        both, alone = many > 1, parts[many == 1]
        alone[alone[:, 0, 4] > 0.5, :, 4] = sets.of(frozenset({number}))
        done.append(alone)
        if not both.any():
            continue
        parts = parts[both]
        places = np.searchsorted(crossed, parts[:, 0, 3].astype(np.int64))
        mine, parts_face = np.unique(places, return_inverse=True)
        parts[:, :, 3] = parts_face.reshape(-1, 1)  # numbered from 0 on: the work goes with these faces alone
        pile = np.concatenate([piles[face] for face in mine.tolist()])
        pile[:, :, 3] = np.searchsorted(mine, pile[:, 0, 3].astype(np.int64))[:, None]
        laid = overlay(pile, parts)
        held = laid[:, 0, 5] > 0.5
        names = laid[:, 0, 4].astype(np.int64)
        names[held] = sets.joined(names[held], frozenset({number}))
        laid[:, :, 4] = names[:, None]
        face = laid[:, 0, 3].astype(np.int64)
        laid[:, :, 3] = mine[face][:, None]
        order = np.argsort(face, kind="stable")
        ends = np.searchsorted(face[order], np.arange(1, len(mine)))
        for place, rows in zip(mine.tolist(), np.split(laid[order][:, :, :5], ends), strict=True):
            piles[place] = rows
    soup = np.concatenate([np.zeros((0, 3, 5)), *(piles[k] for k in np.flatnonzero(times[crossed]).tolist())])
    if len(soup):
        soup[:, :, 3] = crossed[soup[:, 0, 3].astype(np.int64)][:, None]
    return np.concatenate([*done, soup])


_CROWD = 100
"""Pieces of one face, of all zones, from which their borders are drawn on it as lines: each border costs its length
once, where pieces laid over pieces would grow as their product. [-]"""
_GRID = 1e-12  # of the face's size, to which corners of its areas are rounded: far above rounding, far below `NOTHING`


def _crowds(cuts: Sequence[Cut], count: int) -> NDArray[np.bool_]:
    """Which faces bear so many pieces."""
    pieces = np.zeros(count, dtype=np.int64)
    for cut in cuts:
        inner, rest = cut.on_split[1], cut.on_split[3]
        np.add.at(pieces, inner, 1)
        np.add.at(pieces, rest, 1)
    return pieces > _CROWD


def _arranged(corners: Floats, face: int, cuts: Sequence[Cut], sets: _Sets) -> Floats:
    """One face cut along every border on it, by areas in its plane: rows as `_laid_over` gives them."""
    import shapely

    u = corners[1] - corners[0]
    size = float(np.linalg.norm(u))
    across = np.cross(u, corners[2] - corners[0])
    axes = np.stack([u / size, np.cross(across, u) / (size * np.linalg.norm(across))])
    grid = _GRID * float(np.linalg.norm(across)) ** 0.5

    def area(triangles: Floats) -> Geometry:
        seen = shapely.polygons((triangles - corners[0]) @ axes.T)
        return shapely.union_all(seen[shapely.area(seen) > grid * grid], grid_size=grid)

    whole = area(corners[None])
    zones: dict[int, Geometry] = {}
    for number, cut in enumerate(cuts):
        inner, inner_faces, _, _, own = cut.on_split
        if np.isin(face, own):
            zones[number] = area(inner[inner_faces == face])
    lines = shapely.union_all([whole.boundary, *(zone.boundary for zone in zones.values())], grid_size=grid)
    cells = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    at = shapely.get_coordinates(shapely.point_on_surface(cells))
    lies = np.array([shapely.contains_xy(zone, at) for zone in zones.values()])
    named = np.array([sets.of(frozenset(n for n, on in zip(zones, of, strict=True) if on)) for of in lies.T.tolist()])
    triangles, cell = shapely.get_parts(shapely.constrained_delaunay_triangles(cells), return_index=True)
    flat = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    p, q = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    turn = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    flat[turn < 0.0] = flat[turn < 0.0][:, ::-1]
    out = np.empty((len(flat), 3, 5))
    out[:, :, :3] = corners[0] + flat @ axes
    out[:, :, 3], out[:, :, 4] = face, named[cell][:, None]
    return out


def less(whole: Measured, taken: Sequence[Measured]) -> Measured:
    """What is left of a surface: its measures less those of pieces of it.

    Args:
        whole: With a centroid where its pieces have one.
        taken: The pieces.

    Returns:
        Area never below nothing; no centroid where nothing is left. [m^2]
    """
    area = whole.area - sum(piece.area for piece in taken)
    if area <= NOTHING * whole.area or whole.centroid is None:
        return Measured(max(area, 0.0))
    first = whole.area * np.array(whole.centroid) - sum(
        (piece.area * np.array(piece.centroid) for piece in taken), start=np.zeros(3)
    )
    centre = first / area
    if whole.second_moment is None:
        return Measured(area, vector(centre))
    second = _about_origin(whole) - sum((_about_origin(piece) for piece in taken), start=np.zeros((3, 3)))
    return Measured(area, vector(centre), tensor(second - area * np.outer(centre, centre)))


def _about_origin(piece: Measured) -> Floats:
    centre = np.array(piece.centroid)
    moment: Floats = np.array(piece.second_moment) + piece.area * np.outer(centre, centre)
    return moment


_OPENINGS: WeakKeyDictionary[Surface, tuple[tuple[Opening, ...], Numbers, Numbers]] = WeakKeyDictionary()


def free_edges_of(surface: Surface) -> tuple[Numbers, Numbers]:
    """Free edges of a surface (e, 2), in the direction of their faces, and the face of each (e,)."""
    _, edges, owner = _openings(surface)
    return edges, owner


def cut_outs(surface: Surface) -> tuple[Opening, ...]:
    """Openings in a surface, holes drilled by `[[holes]]` among them; the open ends of a tube are none.

    An edge is that of an opening where the faces round it lie about as its lid does: cloth can run across it.
    """
    return _openings(surface)[0]


def _openings(surface: Surface) -> tuple[tuple[Opening, ...], Numbers, Numbers]:
    if surface not in _OPENINGS:
        points, faces = surface.vertices, surface.faces
        edges, owner = edges_of(faces)
        keys = edge_keys(edges)
        _, first, count = np.unique(keys, return_index=True, return_counts=True)
        free = first[count == 1]
        edges, owner = edges[free], owner[free]
        unit, area = normals(points, faces)
        found = []
        if len(edges):
            order = np.argsort(edge_keys(edges))
            sorted_keys = edge_keys(edges)[order]
            for loop in free_loops(points, faces):
                if loop.outer:
                    continue
                beside = owner[order[np.searchsorted(sorted_keys, edge_keys(loop.edges))]]
                lid = _lid(points, loop.edges)
                size = float(np.linalg.norm(lid))
                weight = area[beside]
                facing = float(np.abs(unit[beside] @ lid) @ weight) / max(size * float(weight.sum()), 1e-300)
                if size > 0.0 and facing > _LEVEL:
                    found.append(Opening(loop.edges, size))
        _OPENINGS[surface] = (tuple(found), edges, owner)
    return _OPENINGS[surface]


def _lid(points: Floats, edges: Numbers) -> Floats:
    """Vector area of the lid of a closed edge: half the sum of the cross products round it. [m^2]"""
    a = points[edges[:, 0]]
    middle = a.mean(axis=0)
    area: Floats = 0.5 * np.cross(a - middle, points[edges[:, 1]] - middle).sum(axis=0)
    return area
