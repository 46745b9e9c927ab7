"""Holes: patterns read or laid out, what they take away, and whether they keep their distance from the edge.

    Holes of a drawing, of a list of points     holes_of(drawing), read_holes("holes.csv")
    Lightening holes laid out                   row(...), grid(...), ring(...)
    Area they take away                         pattern.removed
    A ring of plies round each hole             collar(pattern, width)
    Too near the trim line, or to each other    check(pattern, drawing, COMPOSITE)

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
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import SurfaceError
from layup.files.drawing import Drawing, Loop, known_layer, settle_unit
from layup.shape.curves import circle

if TYPE_CHECKING:
    from shapely import Geometry

Pair = tuple[float, float]


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
        return f"{self.name or 'hole'} at ({self.x * 1e3:.4g}, {self.y * 1e3:.4g}) mm"


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
                    f"{one} and {two} run into each other: {apart * 1e3:.4g} mm from middle to middle",
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
    2.0, 4.0, 1e-3,
    "metal: 2 diameters to the edge (TM 10-5410-229-13&P, 5-6) and 1 mm, 4 between holes (NAVEDTRA 14018: never less "
    "than 3, seldom less than 4)",
)  # fmt: skip
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
        return f"{self.hole}: {self.distance * 1e3:.4g} mm {what}, {self.needed * 1e3:.4g} mm needed"


def holes_of(drawing: Drawing, *, layer: str | None = None, largest: float = 0.0) -> Pattern:
    """The round holes of a drawing; a ring about a smaller hole is its countersink.

    Args:
        drawing: With or without the outline of the part; an outermost circle with something in it is an outline.
        layer: Only circles on this layer.
        largest: Only circles up to this diameter, 0 for all. [m]

    Raises:
        SurfaceError: no circles, or holes that run into each other; no such layer.
    """
    only = None if layer is None else known_layer(layer, drawing, "holes")
    found: list[tuple[Loop, tuple[float, float, float]]] = []
    for loop in drawing.loops:
        if loop.circle and (only is None or loop.layer == only) and not (0.0 < largest < loop.circle[2]):
            found.append((loop, loop.circle))
    found.sort(key=lambda pair: pair[1][2])
    holes: list[Hole] = []
    sinks: dict[int, float] = {}
    known = np.zeros((len(found), 3))  # x, y and diameter of the holes so far
    for _, (x, y, d) in found:
        there = known[: len(holes)]
        away = np.hypot(there[:, 0] - x, there[:, 1] - y)
        about = np.flatnonzero(away <= 0.05 * there[:, 2])
        if len(about):
            first = int(about[0])
            if d <= 3.0 * holes[first].diameter:
                sinks[first] = max(sinks.get(first, 0.0), d)
            continue
        if (away < d / 2.0 - there[:, 2] / 2.0).any():
            continue  # a circle with holes in it, not about its middle: an outline
        known[len(holes)] = x, y, d
        holes.append(Hole(x, y, d))
    if not holes:
        where = f' on layer "{only}"' if only else ""
        raise SurfaceError(f"{drawing.name}: there are no round holes{where}", "Draw the holes as circles")
    named = [
        Hole(h.x, h.y, h.diameter, sinks.get(k, 0.0), f"hole {n}")
        for n, (k, h) in enumerate(sorted(enumerate(holes), key=lambda p: (round(p[1].y, 6), p[1].x)), 1)
    ]
    return Pattern(tuple(named))


def read_holes(path: str | Path, *, unit: str | None = None, diameter: float | None = None) -> Pattern:
    """Holes measured one by one: a CSV with the columns x, y and diameter.

    Args:
        path: The file.
        unit: Unit of the numbers, where the header states none.
        diameter: Of every hole that has none in the file. [m]

    Raises:
        SurfaceError: as `layup.files.read_points.read_table`; a hole without diameter.
    """
    from layup.files.read_points import read_table, unit_of

    name = str(path)
    columns = {"x": (), "y": (), "diameter": ("d", "dia", "hole"), "name": ("no", "number")}
    table = read_table(path, columns, needed=("x", "y"), words=("name",))
    stated, reason = unit_of(table, name)
    spans = [np.ptp([row.values[k] for row in table.rows]) for k in ("x", "y")]
    factor, _ = settle_unit(name, (float(spans[0]), float(spans[1])), stated, reason, unit)
    holes = []
    for row in table.rows:
        d = row.values["diameter"] * factor if "diameter" in row.values else diameter
        if d is None:
            raise SurfaceError(
                f"{name}: line {row.line}: no diameter", "Add a column diameter, or give one for all holes"
            )
        if not d > 0.0:
            raise SurfaceError(f"{name}: line {row.line}: a diameter of {d * 1e3:.4g} mm", "It must be more than 0")
        x, y = row.values["x"] * factor, row.values["y"] * factor
        holes.append(Hole(x, y, d, 0.0, row.words.get("name") or f"line {row.line}"))
    try:
        return Pattern(tuple(holes))
    except SurfaceError as problem:
        raise SurfaceError(f"{name}: {problem.wrong}", problem.remedy) from None


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


def collar(pattern: Pattern, width: float) -> float:
    """Area of a ring of plies of this width round every hole; where rings overlap, the plies lie there once.

    Args:
        pattern: The holes.
        width: From the edge of the hole outward. [m]

    Returns:
        Area, without the holes. Exact where no rings overlap, else to about 1e-4 of the overlap. [m^2]

    Raises:
        SurfaceError: a width that is not greater than zero.
    """
    if not 0.0 < width < np.inf:
        raise SurfaceError(f"a ring of plies {width * 1e3:.4g} mm wide", "It must be more than 0")
    reach = [h.diameter / 2.0 + width for h in pattern.holes]
    touching = pattern.pairs(2.0 * max(reach))
    if not any(apart < reach[a] + reach[b] for a, b, apart in touching):
        return math.fsum(math.pi * (r * r - h.diameter**2 / 4.0) for r, h in zip(reach, pattern.holes, strict=True))
    import shapely

    discs = [shapely.Polygon(circle(h.x, h.y, 2.0 * r)) for r, h in zip(reach, pattern.holes, strict=True)]
    holes = [shapely.Polygon(ring_) for ring_ in pattern.cutouts()]
    return float(shapely.difference(shapely.union_all(discs), shapely.union_all(holes)).area)


def check(pattern: Pattern, trim: Drawing | Sequence[Pair] | Geometry, rule: Rule = COMPOSITE) -> list[TooNear]:
    """Holes that lie too near the trim line or too near each other, the nearest first.

    Args:
        pattern: Fastener holes.
        trim: The drawing of the part, the points of its outline, or the part as a shape. Cut-outs other than the
            holes themselves are edges too. [m]
        rule: METAL, COMPOSITE or one of the shop's own.

    Raises:
        SurfaceError: a drawing without one outline, points that make none.
    """
    import shapely

    shape = _part(pattern, trim)
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


def _part(pattern: Pattern, trim: Drawing | Sequence[Pair] | Geometry) -> Geometry:
    """The part as a shape, with its cut-outs but without the holes of the pattern."""
    import shapely

    if isinstance(trim, shapely.Geometry):
        return _without(pattern, trim)
    if not isinstance(trim, Drawing):
        line = np.asarray(trim, dtype=np.float64).reshape(-1, 2)
        shape = shapely.Polygon(line) if len(line) > 2 and np.isfinite(line).all() else shapely.Polygon()
        if not shape.is_valid or not shape.area > 0.0:
            raise SurfaceError("the trim line crosses itself or encloses nothing", "Put its points in order")
        return shape
    part = trim.sort().outlines[0]
    own = pattern.centres
    others = []
    for loop in part.cutouts:
        if loop.circle and np.hypot(*(own - loop.circle[:2]).T).min() <= 0.25 * loop.circle[2]:
            continue
        others.append(loop.points)
    return shapely.Polygon(part.edge.points, others)


def _without(pattern: Pattern, shape: Geometry) -> Geometry:
    """A shape without the openings that are holes of the pattern."""
    import shapely

    parts = []
    for part in shapely.get_parts(shape):
        kept = []
        for ring_ in part.interiors:
            hole = Loop(np.asarray(ring_.coords)[:-1, :2], "").circle
            if hole and np.hypot(*(pattern.centres - hole[:2]).T).min() <= 0.25 * hole[2]:
                continue
            kept.append(ring_)
        parts.append(shapely.Polygon(part.exterior, kept))
    return shapely.union_all(parts)
