"""Holes: patterns laid out, what they take away, whether they keep their distance, and where their edges run.

    Lightening holes laid out                         row(...), grid(...), ring(...)
    Area they take away                               pattern.removed
    Too near the trim line, or to each other          check(pattern, shape, COMPOSITE)
    What a pattern took of a surface                  HoleSet
    Its edges on a mesh                               rim_edges(points, faces, holes)
    Triangles within a reach of them, and the rest    ring_parts(points, faces, sets, reach)

The diameter rule, from the middle of a fastener hole: in metal at least 2 diameters to the edge (US Army
TM 10-5410-229-13&P, 5-6), here with a margin for a line cut by hand; from hole to hole never less than 3 and seldom
less than 4 (NAVEDTRA 14018, "Spacing and edge distance"). In a composite more, 2.5 to 3 to the edge: common practice,
no source. Lightening holes carry no fastener: the rule is not theirs. Rules of thumb, not approved data.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.clip import Soup
from layup.shape.curves import circle, circle_of
from layup.shape.plan import Plan
from layup.shape.topology import Faces, Points, free_edges, normals
from layup.words import plain

if TYPE_CHECKING:
    from shapely import Geometry


Pair = tuple[float, float]
Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Hole:
    """One round hole.

    Attributes:
        x: Of its middle. [m]
        y: Of its middle. [m]
        diameter: Through the part. [m]
        countersink: Diameter of the ring round it, 0 for none. [m]
        name: What findings call it.
    """

    x: float
    y: float
    diameter: float
    countersink: float = 0.0
    name: str = ""

    @property
    def area(self) -> float:
        """[m^2]"""
        return math.pi * self.diameter**2 / 4.0

    def __str__(self) -> str:
        return f"{self.name or 'hole'} at ({plain(self.x * 1e3, 4)}, {plain(self.y * 1e3, 4)}) mm"


@dataclass(frozen=True)
class Pattern:
    """Round holes that do not run into each other."""

    holes: tuple[Hole, ...]

    def __post_init__(self) -> None:
        if not self.holes:
            raise SurfaceError("there are no holes in the pattern", "Give at least one")
        for hole in self.holes:
            if not (0.0 < hole.diameter < np.inf and math.isfinite(hole.x) and math.isfinite(hole.y)):
                raise SurfaceError(f"{hole}: a diameter of {hole.diameter * 1e3:.4g} mm", "It must be more than 0")
        radii = np.array([h.diameter / 2.0 for h in self.holes])
        for a, b, apart in self.pairs(2.0 * float(radii.max())):
            if apart < (radii[a] + radii[b]) * (1.0 - 1e-9):
                one, two = self.holes[a], self.holes[b]
                raise SurfaceError(
                    f"{one} and {two} run into each other: {plain(apart * 1e3, 4)} mm from middle to middle",
                    "Set them further apart, make them smaller, or take the doubled one out",
                )

    @cached_property
    def centres(self) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        """Middles, shape (n, 2). [m]"""
        return np.array([(h.x, h.y) for h in self.holes], dtype=np.float64)

    def pairs(self, reach: float) -> list[tuple[int, int, float]]:
        """Holes no further apart than `reach` from middle to middle, and how far. [m]"""
        from scipy.spatial import cKDTree

        near = cKDTree(self.centres).query_pairs(reach, output_type="ndarray")
        away = np.hypot(*(self.centres[near[:, 0]] - self.centres[near[:, 1]]).T)
        return [(int(a), int(b), float(d)) for (a, b), d in zip(near.tolist(), away.tolist(), strict=True)]

    @property
    def removed(self) -> float:
        """Area the holes take away, exact. [m^2]"""
        return math.fsum(h.area for h in self.holes)

    @property
    def rim(self) -> float:
        """Length of all their edges. [m]"""
        return math.fsum(math.pi * h.diameter for h in self.holes)

    def cutouts(self) -> list[list[Pair]]:
        """Each hole as a ring of points of the same area, as `flat.outline` takes cut-outs. [m]"""
        return [[(float(x), float(y)) for x, y in circle(h.x, h.y, h.diameter)] for h in self.holes]


@dataclass(frozen=True, slots=True)
class Rule:
    """How far holes must lie from the edge and from each other, from their middles.

    Attributes:
        edge: Diameters to the edge. [-]
        pitch: Diameters from hole to hole. [-]
        margin: Added to the edge distance, for a trim line cut by hand. [m]
        words: What it is for.
    """

    edge: float
    pitch: float
    margin: float
    words: str


METAL = Rule(
    2.0,
    4.0,
    1e-3,
    "metal: 2 diameters to the edge (TM 10-5410-229-13&P, 5-6) and 1 mm, 4 between holes (NAVEDTRA 14018: never less "
    "than 3, seldom less than 4)",
)
COMPOSITE = Rule(
    3.0, 4.0, 1e-3, "composite: 3 diameters and 1 mm to the edge, 4 between holes (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class TooNear:
    """A hole that breaks the rule.

    Attributes:
        hole: Which.
        other: The hole it is too near to; None for the edge.
        distance: From its middle to the edge or to the other's; negative outside the outline. [m]
        needed: What the rule asks for. [m]
        opening: Whether the edge it is too near to is that of a cut-out.
    """

    hole: Hole
    other: Hole | None
    distance: float
    needed: float
    opening: bool = False

    def __str__(self) -> str:
        edge = "the edge of an opening" if self.opening else "the trim line"
        what = f"to {self.other}" if self.other else f"to {edge}"
        if self.other is None and self.distance < 0.0:
            where = "in an opening, {:.4g} mm from its edge" if self.opening else "{:.4g} mm outside the trim line"
            return f"{self.hole} lies " + where.format(-self.distance * 1e3)
        return f"{self.hole}: {plain(self.distance * 1e3, 4)} mm {what}, {plain(self.needed * 1e3, 4)} mm needed"


def row(start: Pair, end: Pair, count: int, diameter: float | Sequence[float]) -> Pattern:
    """Holes evenly along a straight line, the first at its start, the last at its end.

    Args:
        start: Middle of the first hole. [m]
        end: Middle of the last. [m]
        count: How many. [-]
        diameter: Of all, or one for each. [m]

    Raises:
        SurfaceError: no count, holes that run into each other.
    """
    _counted(count)
    sizes = [diameter] * count if isinstance(diameter, int | float) else list(diameter)
    if len(sizes) != count:
        raise SurfaceError(f"{count} holes but {len(sizes)} diameters", "Give one for each hole, or one for all")
    t = np.linspace(0.0, 1.0, count) if count > 1 else np.zeros(1)
    return Pattern(
        tuple(
            Hole(start[0] + s * (end[0] - start[0]), start[1] + s * (end[1] - start[1]), float(d), 0.0, f"hole {n}")
            for n, (s, d) in enumerate(zip(t.tolist(), sizes, strict=True), 1)
        )
    )


def grid(corner: Pair, pitch: Pair, counts: tuple[int, int], diameter: float, *, staggered: bool = False) -> Pattern:
    """Holes in rows and columns.

    Args:
        corner: Middle of the first hole. [m]
        pitch: From hole to hole along x, from row to row along y. [m]
        counts: Holes in a row, rows. [-]
        diameter: [m]
        staggered: Every second row is shifted by half the pitch and has one hole less.

    Raises:
        SurfaceError: no count, holes that run into each other.
    """
    across, up = counts
    _counted(across)
    _counted(up)
    holes: list[Hole] = []
    for j in range(up):
        odd = staggered and j % 2 == 1
        for i in range(across - odd):
            x = corner[0] + (i + 0.5 * odd) * pitch[0]
            holes.append(Hole(x, corner[1] + j * pitch[1], diameter, 0.0, f"hole {len(holes) + 1}"))
    return Pattern(tuple(holes))


def ring(centre: Pair, across: float, count: int, diameter: float, *, start: float = 0.0) -> Pattern:
    """Holes evenly round a circle.

    Args:
        centre: [m]
        across: Diameter of the circle through their middles. [m]
        count: How many. [-]
        diameter: Of each. [m]
        start: Direction of the first, from x toward y. [rad]

    Raises:
        SurfaceError: no count, holes that run into each other.
    """
    _counted(count)
    turns = [start + 2.0 * math.pi * k / count for k in range(count)]
    r = across / 2.0
    return Pattern(
        tuple(
            Hole(centre[0] + r * math.cos(t), centre[1] + r * math.sin(t), diameter, 0.0, f"hole {n}")
            for n, t in enumerate(turns, 1)
        )
    )


def _counted(count: int) -> None:
    if not 1 <= count <= 100_000:
        raise SurfaceError(f"a pattern of {count} holes", "Give a count of 1 or more")


def check(pattern: Pattern, part: Geometry, rule: Rule = COMPOSITE) -> list[TooNear]:
    """Holes that lie too near the trim line or too near each other, the nearest first.

    Args:
        pattern: Fastener holes.
        part: Its outline in plan, as a shape of the geometry library; openings other than the holes themselves are
            edges too. [m]
        rule: METAL, COMPOSITE or one of the shop's own.
    """
    import shapely

    shape = without(pattern, part)
    points = shapely.points(pattern.centres)
    parts = shapely.get_parts(shape)
    solid = shapely.union_all(shapely.polygons([p.exterior for p in parts]))
    inner = [ring for p in parts for ring in p.interiors]
    to_edge = shapely.distance(points, solid.boundary)
    to_edge = np.where(shapely.contains_properly(solid, points), to_edge, -to_edge)
    open_ = np.full(len(points), np.inf)
    if inner:
        voids = shapely.union_all(shapely.polygons(inner))
        open_ = shapely.distance(points, voids.boundary)
        open_ = np.where(shapely.contains_properly(voids, points), -open_, open_)
    found = []
    for hole, edge, opening in zip(pattern.holes, to_edge.tolist(), open_.tolist(), strict=True):
        needed = rule.edge * hole.diameter + rule.margin
        if min(edge, opening) < needed * (1.0 - 1e-6):
            found.append(TooNear(hole, None, min(edge, opening), needed, opening < edge))
    widest = max(h.diameter for h in pattern.holes)
    for a, b, apart in pattern.pairs(rule.pitch * widest):
        needed = rule.pitch * max(pattern.holes[a].diameter, pattern.holes[b].diameter)
        if apart < needed * (1.0 - 1e-6):
            found.append(TooNear(pattern.holes[a], pattern.holes[b], apart, needed))
    return sorted(found, key=lambda f: f.distance / f.needed)


_OWN = 2.5  # an opening up to so many times as wide as a fastener on its middle is its own hole, countersunk at most


def without(pattern: Pattern, shape: Geometry) -> Geometry:
    """A shape without the openings that are holes of the pattern."""
    import shapely

    across = np.array([hole.diameter for hole in pattern.holes])
    parts = []
    for part in shapely.get_parts(shape):
        kept = []
        for ring_ in part.interiors:
            hole = circle_of(np.asarray(ring_.coords)[:-1, :2])
            if hole:
                off = np.hypot(*(pattern.centres - hole[:2]).T)
                if ((off <= 0.25 * hole[2]) & (hole[2] <= _OWN * across)).any():
                    continue
            kept.append(ring_)
        parts.append(shapely.Polygon(part.exterior, kept))
    return shapely.union_all(parts)


@dataclass(frozen=True, eq=False)
class HoleSet:
    """A pattern of holes on a surface.

    Attributes:
        name: As the part file calls it.
        pattern: The holes in plan.
        plan: The direction it is seen along, and its axes.
        drawn: Whether the outline has them as cut-outs already.
        places: Middle of what each took away, shape (n, 3); empty for a surface without a shape. [m]
        removed: Area that each took away, on the surface (n,). [m^2]
        rim: Length of all their edges, on the surface. [m]
    """

    name: str
    pattern: Pattern
    plan: Plan
    drawn: bool
    places: Floats
    removed: Floats
    rim: float

    @property
    def area(self) -> float:
        """What they took away together. [m^2]"""
        return float(self.removed.sum())


def as_triangles(parted: NDArray[np.object_], owner: Numbers) -> tuple[Floats, Numbers]:
    """Shapes in plan as triangles (k, 3, 2), and the owner of each."""
    import shapely

    areas = [
        [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 0.0]
        for shape in parted
    ]
    listed = np.array([part for parts in areas for part in parts], dtype=object)
    of = np.repeat(owner, [len(parts) for parts in areas])
    if not len(listed):
        return np.zeros((0, 3, 2)), np.zeros(0, dtype=np.int64)
    soup, row = shapely.get_parts(shapely.constrained_delaunay_triangles(listed), return_index=True)
    corners = shapely.get_coordinates(soup).reshape(-1, 4, 2)[:, :3]
    return corners, of[row].astype(np.int64)


def lifted(points: Points, faces: Faces, corner: Floats, at: Floats) -> Floats:
    """Places in plan (k, 2) on the planes of faces (k, 3) that are seen as `corner` (k, 3, 2). [m]"""
    a, u, v = corner[:, 0], corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    det = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    w = at - a
    s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / det
    t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / det
    p, q, r = (points[faces[:, k]] for k in range(3))
    out: Floats = p + s[:, None] * (q - p) + t[:, None] * (r - p)
    return out


_ON = 0.02  # of its radius, how far off its circle a rim may lie: a drawn circle is round to 1 %


def rim_edges(points: Points, faces: Faces, holes: HoleSet, number: int | None = None) -> Faces:
    """Free edges of a mesh that are the edges of holes, shape (e, 2).

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3), of the surface or a finer mesh of it.
        holes: The pattern.
        number: Of one hole, from 0; None for all.
    """
    from scipy.spatial import cKDTree

    free = free_edges(faces, once=True)
    if not len(free):
        return free
    seen = holes.plan.seen(points)
    middle = 0.5 * (seen[free[:, 0]] + seen[free[:, 1]])
    tree = cKDTree(middle)
    on = np.zeros(len(free), dtype=bool)
    for hole in holes.pattern.holes if number is None else (holes.pattern.holes[number],):
        radius = hole.diameter / 2.0
        near = np.array(tree.query_ball_point((hole.x, hole.y), radius * (1.0 + _ON)), dtype=np.int64)
        if len(near):
            ends = np.hypot(*np.moveaxis(seen[free[near]] - (hole.x, hole.y), -1, 0))
            on[near[(np.abs(ends - radius) < _ON * radius).all(axis=1)]] = True
    return free[on]


_ROUND = 2e-5
"""Ring lines are drawn to this share of their radius; they enclose the area of the true circle. [-]"""


def ring_parts(
    points: Points, faces: Faces, sets: Sequence[tuple[HoleSet, Sequence[Hole]]], reach: float
) -> tuple[Soup, Soup] | None:
    """Part a flat surface by distance from the edges of round holes in it.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        sets: Patterns, and which of their holes.
        reach: From the edge of a hole outward. [m]

    Returns:
        Triangles within reach and the others, shape (k, 3, 4): x, y, z and the face each is part of; None where the
        surface is not flat and seen square on. [m]
    """
    import shapely

    unit, _ = normals(points, faces)
    plans = [one.plan for one, _ in sets]
    way = np.array(plans[0].way)
    if not (np.abs(unit[unit.any(axis=1)] @ way) > 1.0 - 1e-9).all() or any(p.way != plans[0].way for p in plans):
        return None
    plan: Plan = plans[0]
    corner = plan.seen(points[faces])
    discs = [
        shapely.Polygon(circle(h.x, h.y, h.diameter + 2.0 * reach, _ROUND * (h.diameter + 2.0 * reach)))
        for _, holes in sets
        for h in holes
    ]
    tree = shapely.STRtree(discs)
    face, disc = tree.query(shapely.polygons(corner), predicate="intersects")
    order = np.argsort(face, kind="stable")
    rows, start = np.unique(face[order], return_index=True)
    cutters: list[object] = []
    for group in np.split(disc[order], start[1:]) if len(rows) else []:
        cutters.append(discs[group[0]] if len(group) == 1 else shapely.union_all([discs[g] for g in group]))
    whole = np.ones(len(faces), dtype=bool)
    whole[rows] = False
    kept = np.flatnonzero(whole & unit.any(axis=1))
    outside = np.concatenate([points[faces[kept]], np.repeat(kept, 3).reshape(-1, 3, 1)], axis=2)
    inner, outer = parted(points, faces, rows, corner[rows], np.array(cutters, dtype=object))
    return inner, np.concatenate([outside, outer])


def parted(points: Points, faces: Faces, rows: Numbers, corner: Floats, cut: NDArray[np.object_]) -> tuple[Soup, Soup]:
    """Some faces parted in plan by an area for each: what lies in it and what does not.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        rows: Faces, shape (k,).
        corner: As they are seen, shape (k, 3, 2). [m]
        cut: Areas, shape (k,). [m]
    """
    import shapely

    shadows = shapely.polygons(corner)
    within = shapely.covers(cut, shadows)
    whole = np.concatenate([points[faces[rows[within]]], np.repeat(rows[within], 3).reshape(-1, 3, 1)], axis=2)
    rows, corner, shadows, cut = rows[~within], corner[~within], shadows[~within], cut[~within]

    def soup(shapes: NDArray[np.object_]) -> Soup:
        flat, row = as_triangles(shapes, np.arange(len(rows)))
        return _soup(points, faces[rows[row]], corner[row], flat, rows[row])

    return np.concatenate([whole, soup(shapely.intersection(shadows, cut))]), soup(shapely.difference(shadows, cut))


def _soup(points: Points, faces: Faces, corner: Floats, flat: Floats, owner: Numbers) -> Soup:
    """Triangles in plan (k, 3, 2) lifted on to their faces (k, 3), seen as `corner` (k, 3, 2), wound as these are."""
    many = np.repeat(np.arange(len(faces)), 3)
    places = lifted(points, faces[many], corner[many], flat.reshape(-1, 2)).reshape(-1, 3, 3)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    p, q = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    turned = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]) < 0.0
    places[turned] = places[turned][:, ::-1]
    return np.concatenate([places, np.repeat(owner, 3).reshape(-1, 3, 1)], axis=2)
