"""An existing pattern of fastener holes, laid over a new part: turned and shifted to fit, and checked.

    The old pattern where the new part has it      lay_over(entry, folder, plan)
    Turn and shift that bring points onto others   fit(old, new)
    What the new trim line is in plan              trim_line(surface, plan)

The fit is least squares over the matched points, a turn and a shift, no stretch and no turning over. With
p and q the points less their means, as complex numbers, the turn is that of a = sum conj(p) q, and the sum of squares
left is sum |p|^2 + sum |q|^2 - 2 |a|; turned over first, a is sum p q. Source: the plane case of the orthogonal
Procrustes problem (P. H. Schoenemann, 1966; from memory), here written out.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError, nearest
from layup.partfile.holes import HoleError, read_file
from layup.partfile.openings import FastenersEntry
from layup.shape.holes import COMPOSITE, METAL, Hole, Pattern, Rule, TooNear, check
from layup.shape.plan import Plan

if TYPE_CHECKING:
    from shapely import Geometry

    from layup.shape.surface import Surface

Floats = NDArray[np.float64]

WITHIN = 1e-3
"""How far a matched point may be off where nobody says: what a steel rule and a centre punch give; common practice,
no source. [m]"""
_STRETCH = 0.02  # matched distances that differ by more are in another unit, or of another part
_LINE = 0.03  # share of their length that points must stand off one line


@dataclass(frozen=True, eq=False)
class Fit:
    """A turn and a shift that bring points onto others.

    Attributes:
        turn: Counterclockwise. [rad]
        shift: After the turn about the origin. [m]
        off: How far each matched point is off after it, shape (n, 2), by how much the new lies beyond the old. [m]
        stretch: Size of the new figure over the old, which the fit leaves alone. [-]
    """

    turn: float
    shift: tuple[float, float]
    off: Floats
    stretch: float

    @property
    def rms(self) -> float:
        """Root of the mean square of the distances left. [m]"""
        return float(np.sqrt((self.off**2).sum(axis=1).mean()))

    @property
    def worst(self) -> float:
        """Greatest distance left. [m]"""
        return float(np.hypot(*self.off.T).max())

    def move(self, points: Floats) -> Floats:
        """Points (n, 2) turned and shifted. [m]"""
        c, s = math.cos(self.turn), math.sin(self.turn)
        out: Floats = points @ np.array([[c, s], [-s, c]]) + np.array(self.shift)
        return out


def fit(old: Floats, new: Floats) -> Fit:
    """Turn and shift that bring points onto others with the least sum of squares.

    Args:
        old: Shape (n, 2), three or more, not on one line. [m]
        new: The same points where they come to lie (n, 2). [m]

    Returns:
        The fit.

    Raises:
        SurfaceError: fewer than three points, points on one line, points that fit only turned over, or that are
            further apart on one than on the other.
    """
    if len(old) < 3:
        raise SurfaceError(f"{len(old)} matched points", "Match three or more")
    p, q = (points[:, 0] + 1j * points[:, 1] for points in (old, new))
    p0, q0 = p.mean(), q.mean()
    p, q = p - p0, q - q0
    for points, what in ((old, "old pattern"), (new, "new part")):
        long, wide = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if not wide > _LINE * long:
            raise SurfaceError(
                f"the matched points lie on one line of the {what}, so the pattern would fit turned over as well",
                "Match one more point, well off that line",
            )
    size, other = float((np.abs(p) ** 2).sum()), float((np.abs(q) ** 2).sum())
    straight, over = complex((np.conj(p) * q).sum()), complex((p * q).sum())
    stretch = math.sqrt(other / size)
    if abs(over) > abs(straight) and size + other - 2.0 * abs(over) < 0.25 * (size + other - 2.0 * abs(straight)):
        raise SurfaceError(
            "the matched points fit only turned over: the old pattern was measured from the other face, and it is not "
            f"turned over here ({_rms(size + other - 2.0 * abs(over), len(p))} off turned over, "
            f"{_rms(size + other - 2.0 * abs(straight), len(p))} as it is)",
            "Change the sign of every x in the old pattern, or measure it from the face the plan is seen from",
        )
    if abs(stretch - 1.0) > _STRETCH:
        raise SurfaceError(
            f"the matched points are {stretch:.4g} times as far apart on the new part as in the old pattern",
            "Check the units of both, and that the same holes are matched",
        )
    turn = cmath.phase(straight)
    left = q - p * cmath.rect(1.0, turn)
    shift = complex(q0 - p0 * cmath.rect(1.0, turn))
    return Fit(turn, (shift.real, shift.imag), np.column_stack([left.real, left.imag]), stretch)


def _rms(square: float, count: int) -> str:
    return f"{math.sqrt(max(square, 0.0) / count) * 1e3:.3g} mm"


@dataclass(frozen=True, eq=False)
class OldPattern:
    """An existing pattern of fastener holes on the new part.

    Attributes:
        name: As the part file calls it.
        old: As measured.
        pattern: Where the new part has it, in plan.
        plan: The direction it is seen along.
        fit: How it was brought there; None where it is measured in the plan of the new part.
        matched: Names of the matched holes, as in `fit.off`.
        targets: Where they are on the new part, shape (n, 2). [m]
        within: How far a matched point may be off. [m]
        rule: What it is checked by.
        edge: The outline of the old part where the new part has it, if its drawing has one, shape (n, 2). [m]
    """

    name: str
    old: Pattern
    pattern: Pattern
    plan: Plan
    fit: Fit | None
    matched: tuple[str, ...]
    targets: Floats
    within: float
    rule: Rule
    edge: Floats | None = None

    @property
    def strays(self) -> tuple[tuple[str, float], ...]:
        """Matched holes that are further off than they may be, and how far. [m]"""
        if self.fit is None:
            return ()
        away = np.hypot(*self.fit.off.T).tolist()
        return tuple((n, d) for n, d in zip(self.matched, away, strict=True) if d > self.within * (1.0 + 1e-9))

    def too_near(self, part: Geometry) -> list[TooNear]:
        """Holes that break the rule on the new part, seen in plan."""
        return check(self.pattern, part, self.rule)


def lay_over(entry: FastenersEntry, folder: Path) -> OldPattern:
    """Read an old pattern and bring it to where the new part has it.

    Args:
        entry: The table of the part file.
        folder: Where its file lies.

    Raises:
        HoleError: it can't be read, a matched hole is not in it, or it does not fit.
    """
    try:
        plan = Plan.along(entry.along or (0.0, 0.0, 1.0))
    except SurfaceError as problem:
        raise HoleError("along", problem.wrong, problem.remedy) from None
    try:
        old = read_file(folder / entry.file, entry.unit, entry.diameter, entry.layer, entry.largest or 0.0)
    except SurfaceError as problem:
        raise HoleError("file", problem.wrong, problem.remedy) from None
    except UnitError as problem:
        raise HoleError("file", str(problem).rstrip(".")) from None
    rule = rule_of(entry)
    within = WITHIN if entry.within is None else entry.within
    edge = _outline(folder / entry.file, entry, old)
    if entry.match is None:
        return OldPattern(entry.name, old, old, plan, None, (), np.zeros((0, 2)), within, rule, edge)
    here, there = _matched(entry.match, old, plan)
    try:
        found = fit(here, there)
    except SurfaceError as problem:
        raise HoleError("match", problem.wrong, problem.remedy) from None
    moved = found.move(old.centres).tolist()
    pattern = Pattern(
        tuple(Hole(x, y, h.diameter, h.countersink, h.name) for h, (x, y) in zip(old.holes, moved, strict=True))
    )
    edge = None if edge is None else found.move(edge)
    return OldPattern(entry.name, old, pattern, plan, found, tuple(entry.match), there, within, rule, edge)


def _outline(path: Path, entry: FastenersEntry, old: Pattern) -> Floats | None:
    """The largest closed line of a drawing, if all holes lie in it."""
    import shapely

    if path.suffix.casefold() == ".csv":
        return None
    from layup.partfile.opened import read_drawing

    loop = read_drawing(path, unit=entry.unit).loops[0]
    return loop.points if shapely.contains(loop.polygon, shapely.points(old.centres)).all() else None


def rule_of(entry: FastenersEntry) -> Rule:
    """The rule a pattern is checked by, with the shop's own figures over it."""
    base = METAL if entry.rule == "metal" else COMPOSITE
    if entry.edge is None and entry.pitch is None and entry.margin is None:
        return base
    edge = base.edge if entry.edge is None else entry.edge
    pitch = base.pitch if entry.pitch is None else entry.pitch
    margin = base.margin if entry.margin is None else entry.margin
    words = f"as the part file says: {edge:g} diameters and {margin * 1e3:.3g} mm to the edge, {pitch:g} between holes"
    return Rule(edge, pitch, margin, words)


def _matched(match: Mapping[str, Sequence[float]], old: Pattern, plan: Plan) -> tuple[Floats, Floats]:
    known = {hole.name.casefold(): hole for hole in old.holes}
    here, there = [], []
    for name, spot in match.items():
        hole = known.get(name.casefold())
        if hole is None:
            names = [h.name for h in old.holes]
            listed = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
            hint = nearest(name, names) or f"Its holes: {listed}"
            raise HoleError("match", f'the old pattern has no hole "{name}"', hint)
        here.append((hole.x, hole.y))
        try:
            there.append(plan.place(spot))
        except SurfaceError as problem:
            raise HoleError("match", problem.wrong, problem.remedy) from None
    return np.array(here), np.array(there)


def trim_line(surface: Surface, plan: Plan) -> Geometry:
    """The edge of a surface as seen in plan: its outer edges, less its openings. [m]

    Raises:
        SurfaceError: a surface without a shape, or without an edge.
    """
    import shapely

    from layup.shape.loops import free_loops
    from layup.shape.walkable import chained

    points, faces = surface.vertices, surface.faces
    outer: list[Geometry] = []
    inner: list[Geometry] = []
    for loop in free_loops(points, faces):
        for ring in chained(loop.edges):
            if len(ring) > 2:
                shape = shapely.make_valid(shapely.Polygon(plan.seen(points[ring])))
                (outer if loop.outer else inner).append(shape)
    part = shapely.difference(shapely.union_all(outer), shapely.union_all(inner))
    flat = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon"]
    if not flat:
        raise SurfaceError(
            "seen this way the part has no edge that encloses anything", "Give the direction the plan is seen along"
        )
    return shapely.union_all(flat)
