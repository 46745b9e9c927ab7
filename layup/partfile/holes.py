"""`[[holes]]` and `[[fasteners]]` of a part file: laid out or read, cut out, laid over the part, every fault told.

    Names: each pattern its own                        check_hole_names(entries, fault)
    Layers of the outline that are holes               layers_of(data, entry)
    The surface with its holes cut                     cut_holes(data, entry, surface, folder, fault)
    The pattern of one table                           laid_out(entry, folder, drawing)
    Existing patterns laid over the part               old_patterns(data, folder, surface, fault)
    Turn and shift that bring points onto others       fit(old, new)
    What the new trim line is in plan                  trim_line(surface, plan)
    Both for scripts, and what to be warned of         hole_records, fastener_records, fastener_cautions

The fit is least squares over the matched points, a turn and a shift, no stretch and no turning over. With
p and q the points less their means, as complex numbers, the turn is that of a = sum conj(p) q, and the sum of squares
left is sum |p|^2 + sum |q|^2 - 2 |a|; turned over first, a is sum p q. Source: the plane case of the orthogonal
Procrustes problem (P. H. Schoenemann, 1966; from memory), here written out.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from layup.errors import HoleError, LayupError, SurfaceError, UnitError, nearest
from layup.partfile.model import OPENINGS, Part, SurfaceEntry
from layup.partfile.openings import MOST, FastenersEntry, HolesEntry
from layup.partfile.toml_file import Tells
from layup.shape.holes import COMPOSITE, METAL, Hole, HoleSet, Pattern, Rule, TooNear, check, grid, rim_edges, ring, row
from layup.shape.measure import Measured
from layup.shape.perforate import perforate, same
from layup.shape.plan import Plan
from layup.shape.surface import Finding, Surface
from layup.shape.topology import length_of
from layup.words import plain

if TYPE_CHECKING:
    from shapely import Geometry

    from layup.files.drawing import Drawing
    from layup.shape.holes import HoleSet
    from layup.shape.surface import Surface

Told = Callable[[int, str, str, str], None]
"""Notes a fault: number of the table from 0, the key or "", what is wrong, the remedy."""
Outline = Callable[[], "Drawing | None"]
"""Gives the drawing that the outline is read from; None where it is none."""


def laid_out(entry: HolesEntry, folder: Path, drawing: Outline) -> tuple[Pattern, Plan]:
    """The pattern of one table in plan.

    Args:
        entry: The table; its form is not "count".
        folder: Where its file lies.
        drawing: The drawing of the outline.

    Raises:
        HoleError: holes that run into each other, a layer or file that can't be read.
    """
    with _at("along"):
        plan = Plan.along(entry.along or (0.0, 0.0, 1.0))
    with _at({"first": "pitch", "centre": "ring"}.get(entry.form, entry.form)):
        return _named(_pattern(entry, folder, drawing, plan)), plan


@contextmanager
def _at(key: str) -> Iterator[None]:
    """A mistake inside stands at this key of the table, unless it says where it stands itself."""
    try:
        yield
    except HoleError:
        raise
    except SurfaceError as problem:
        raise HoleError(key, problem.wrong, problem.remedy) from None
    except UnitError as problem:
        raise HoleError(key, str(problem).rstrip(".")) from None


def _pattern(entry: HolesEntry, folder: Path, drawing: Outline, plan: Plan) -> Pattern:
    if entry.layer is not None:
        found = drawing()
        if found is None:
            raise HoleError(
                "layer", "the outline has no layers", "Give an outline from a drawing, or say where they are"
            )
        from layup.files.read_drawing import holes_of

        return holes_of(found, layer=entry.layer)
    if entry.file is not None:
        from layup.files.read_drawing import read_pattern

        return read_pattern(folder / entry.file, entry.unit, entry.diameter, None, 0.0)
    diameter = entry.diameter or 0.0
    angle = math.radians(entry.angle or 0.0)
    if entry.centre is not None:
        with _at("centre"):
            middle = plan.place(entry.centre)
        across, count = entry.ring or 0.0, entry.count or 1
        chord = across * math.sin(math.pi / count)
        if count > 1 and chord <= diameter:
            most = math.ceil(math.pi / math.asin(diameter / across) - 1e-9) - 1 if across > diameter else 1
            raise HoleError(
                "count",
                f"{count} holes of {_mm(diameter)} round a circle of {_mm(across)} run into each other: they stand "
                f"{_mm(chord)} apart",
                f"Write at most {most}, a larger ring or a smaller diameter",
            )
        return ring(middle, across, count, diameter, start=angle)
    with _at("first"):
        first = plan.place(entry.first or [0.0, 0.0])
    pitch = entry.pitch or [diameter * 2.0]
    least = min(pitch)
    columns, rows = entry.columns or entry.count or 1, entry.rows or 1
    used = [p for p, many in zip((pitch[0], pitch[-1]), (columns, rows), strict=True) if many > 1]
    tight = [p for p in used if p <= diameter]
    if tight and not (entry.staggered and least == pitch[-1] and pitch[0] > diameter):
        raise HoleError(
            "pitch",
            f"at {_mm(min(tight))} from middle to middle, holes of {_mm(diameter)} run into each other",
            f"Write a pitch of more than {_mm(diameter)}, or a smaller diameter",
        )
    if rows > 1 or entry.columns is not None:
        plain = grid((0.0, 0.0), (pitch[0], pitch[-1]), (columns, rows), diameter, staggered=bool(entry.staggered))
    else:
        plain = row((0.0, 0.0), ((columns - 1) * pitch[0], 0.0), columns, diameter)
    c, s = math.cos(angle), math.sin(angle)
    return Pattern(
        tuple(
            Hole(first[0] + c * h.x - s * h.y, first[1] + s * h.x + c * h.y, h.diameter, 0.0, h.name)
            for h in plain.holes
        )
    )


def _named(pattern: Pattern) -> Pattern:
    if len(pattern.holes) > MOST:
        raise SurfaceError(
            f"{len(pattern.holes):,} holes, more than {MOST:,}", "Give a perforated sheet as a material of its own"
        )
    for hole in pattern.holes:
        if not hole.diameter < 10.0:
            raise HoleError("diameter", f"{hole} is {plain(hole.diameter, 4)} m across", "Check the unit")
    return pattern


def _mm(length: float) -> str:
    return f"{plain(length * 1e3, 4)} mm"


def open_holes(
    entries: Mapping[int, HolesEntry], surface: Surface, folder: Path, drawing: Outline, told: Told
) -> tuple[Surface, dict[str, HoleSet]]:
    """Cut the holes of all tables out of a surface.

    Args:
        entries: The tables that hold, by their number in the file from 0.
        surface: Without them; holes on a layer of its drawing are cut out of it already.
        folder: Where their files lie.
        drawing: The drawing of the outline.
        told: Notes a fault.

    Returns:
        The surface with holes, and what each table took, by name.
    """
    if not surface.has_mesh:
        return _by_count(entries, surface, told)
    laid: dict[int, tuple[Pattern, Plan]] = {}
    for number, entry in entries.items():
        try:
            if entry.form == "count":
                raise HoleError(
                    "",
                    "nothing says where the holes are",
                    'Add first = ["60 mm", "50 mm"] with pitch, or centre with ring, or layer, or file',
                )
            laid[number] = laid_out(entry, folder, drawing)
        except HoleError as problem:
            told(number, problem.key, problem.wrong, problem.remedy)
    made: dict[str, HoleSet] = {}
    taken: list[tuple[str, Pattern, Plan]] = []
    surface = same(surface)
    for number, (pattern, plan) in laid.items():
        name = entries[number].name
        clash = next((words for words in (_clash(name, pattern, plan, *other) for other in taken) if words), None)
        if clash is not None:
            told(number, "", clash, "Move one of the patterns, or make its holes smaller")
            continue
        taken.append((name, pattern, plan))
        try:
            if entries[number].layer is not None:
                made[name] = _drawn(name, pattern, plan, surface)
                continue
            surface, (cut,) = perforate(surface, [(name, pattern, plan)])
            made[name] = cut
        except SurfaceError as problem:
            told(number, "", problem.wrong, problem.remedy)
    surface.holes = made
    return surface, made


def _clash(name: str, pattern: Pattern, plan: Plan, other: str, old: Pattern, old_plan: Plan) -> str | None:
    """Which hole runs into which of another pattern seen the same way."""
    if plan.names != old_plan.names or abs(np.dot(plan.way, old_plan.way)) < 1.0 - 1e-9:
        return None
    apart = np.linalg.norm(pattern.centres[:, None] - old.centres[None], axis=2)
    room = np.add.outer([h.diameter / 2.0 for h in pattern.holes], [h.diameter / 2.0 for h in old.holes])
    i, j = np.unravel_index(int(np.argmin(apart - room)), apart.shape)
    if apart[i, j] > room[i, j]:
        return None
    return (
        f'{pattern.holes[i]} runs into {old.holes[j].name or "a hole"} of "{other}": {_mm(float(apart[i, j]))} from '
        f"middle to middle, and their halves are {_mm(float(room[i, j]))}"
    )


def _drawn(name: str, pattern: Pattern, plan: Plan, surface: Surface) -> HoleSet:
    """A pattern that the drawing's outline has as cut-outs already.

    Raises:
        HoleError: one of them is not cut out of the part.
    """
    points, faces = surface.vertices, surface.faces
    level = float(points[:, 2].mean())
    places = np.column_stack([pattern.centres, np.full(len(pattern.holes), level)])
    removed = np.array([h.area for h in pattern.holes])
    holes = HoleSet(name, pattern, plan, True, places, removed=removed, rim=pattern.rim)
    for number, hole in enumerate(pattern.holes):
        edge = length_of(points, rim_edges(points, faces, holes, number))
        if not 0.98 < edge / (math.pi * hole.diameter) < 1.02:
            raise HoleError(
                "layer",
                f"{hole} is drawn, but it is no hole of the part: it lies outside the outline, or in an opening",
                "Move it, or take it off the layer",
            )
    return holes


def _by_count(entries: Mapping[int, HolesEntry], surface: Surface, told: Told) -> tuple[Surface, dict[str, HoleSet]]:
    """Holes of a surface known only by its area: their number and diameter are all that counts."""
    made: dict[str, HoleSet] = {}
    whole, notes = surface.whole, list(surface.findings)
    for number, entry in entries.items():
        if entry.form in ("layer", "file"):
            told(
                number,
                entry.form,
                "the surface is only an area, so there is nothing to place them on",
                "Write diameter and count alone",
            )
            continue
        count = entry.count or (entry.columns or 1) * (entry.rows or 1)
        diameter = entry.diameter or 0.0
        taken = count * math.pi * diameter**2 / 4.0
        if taken >= whole.area:
            told(
                number,
                "",
                f"{count} holes of {_mm(diameter)} are {plain(taken, 4)} m^2, more than the part has",
                "Check the unit",
            )
            continue
        whole = replace(whole, area=whole.area - taken)
        far = 2.0 * diameter * np.arange(count)
        pattern = Pattern(tuple(Hole(float(x), 0.0, diameter, 0.0, f"hole {n}") for n, x in enumerate(far, 1)))
        removed = np.array([h.area for h in pattern.holes])
        flat = Plan.along((0, 0, 1))
        made[entry.name] = HoleSet(entry.name, pattern, flat, False, np.zeros((0, 3)), removed=removed, rim=pattern.rim)
        text = f'{count} hole{"s" if count > 1 else ""} "{entry.name}" take {plain(taken * 1e4, 4)} cm² away'
        notes.append(Finding("holes", count, text, -taken))
    if made:
        surface = Surface(surface.name, whole, None, side=surface.side, unit=surface.unit, findings=tuple(notes))
        surface.holes = made
    return surface, made


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
            f"the matched points are {plain(stretch, 4)} times as far apart on the new part as in the old pattern",
            "Check the units of both, and that the same holes are matched",
        )
    turn = cmath.phase(straight)
    left = q - p * cmath.rect(1.0, turn)
    shift = complex(q0 - p0 * cmath.rect(1.0, turn))
    return Fit(turn, (shift.real, shift.imag), np.column_stack([left.real, left.imag]), stretch)


def _rms(square: float, count: int) -> str:
    return f"{plain(math.sqrt(max(square, 0.0) / count) * 1e3, 3)} mm"


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
    fit: Fit | None = None
    matched: tuple[str, ...] = ()
    targets: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    within: float = WITHIN
    rule: Rule = COMPOSITE
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

    Raises:
        HoleError: it can't be read, a matched hole is not in it, or it does not fit.
    """
    from layup.files.read_drawing import read_pattern

    with _at("along"):
        plan = Plan.along(entry.along or (0.0, 0.0, 1.0))
    with _at("file"):
        old = read_pattern(folder / entry.file, entry.unit, entry.diameter, entry.layer, entry.largest or 0.0)
    within = WITHIN if entry.within is None else entry.within
    edge = _outline(folder / entry.file, entry, old)
    laid = OldPattern(entry.name, old, old, plan, within=within, rule=rule_of(entry), edge=edge)
    if entry.match is None:
        return laid
    with _at("match"):
        here, there = _matched(entry.match, old, plan)
        found = fit(here, there)
    moved = found.move(old.centres).tolist()
    pattern = Pattern(
        tuple(Hole(x, y, h.diameter, h.countersink, h.name) for h, (x, y) in zip(old.holes, moved, strict=True))
    )
    edge = None if edge is None else found.move(edge)
    return replace(laid, pattern=pattern, fit=found, matched=tuple(entry.match), targets=there, edge=edge)


def _outline(path: Path, entry: FastenersEntry, old: Pattern) -> Floats | None:
    """The largest closed line of a drawing, if all holes lie in it."""
    import shapely

    if path.suffix.casefold() == ".csv":
        return None
    from layup.files.read_drawing import read_drawing

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
        there.append(plan.place(spot))
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
        for line in chained(loop.edges):
            if len(line) > 2:
                shape = shapely.make_valid(shapely.Polygon(plan.seen(points[line])))
                (outer if loop.outer else inner).append(shape)
    part = shapely.difference(shapely.union_all(outer), shapely.union_all(inner))
    flat = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon"]
    if not flat:
        raise SurfaceError(
            "seen this way the part has no edge that encloses anything", "Give the direction the plan is seen along"
        )
    return shapely.union_all(flat)


E = TypeVar("E", HolesEntry, FastenersEntry)


@dataclass(frozen=True, eq=False)
class Opened:
    """What cutting the `[[holes]]` of a part did.

    Attributes:
        base: The surface before.
        holes: What each pattern took away, by name.
        covers: Surfaces under plies that run over openings, and zones measured on them, kept once worked out.
    """

    base: Surface
    holes: dict[str, HoleSet]
    covers: dict[tuple[str, ...], tuple[Surface, dict[str, Measured]]]


def check_hole_names(entries: Sequence[HolesEntry | FastenersEntry], table: str, fault: Tells) -> list[str]:
    """Tell of patterns of one name.

    Args:
        entries: The tables of one kind.
        table: Their name.
        fault: Notes a fault: path, what is wrong, remedy.
    """
    names: list[str] = []
    for number, entry in enumerate(entries):
        if not entry.name:
            continue
        if entry.name.casefold() in (n.casefold() for n in names):
            fault((table, number, "name"), "another pattern has this name", "Give each pattern its own name.")
        elif entry.name.casefold() == OPENINGS:
            fault((table, number, "name"), f'the name "{OPENINGS}" is taken: it is every opening', "Take another.")
        names.append(entry.name)
    return names


def _holding(entries: Sequence[E]) -> dict[int, E]:
    """The tables that hold, by number; what is wrong with the others is told with the whole file."""
    first: dict[str, int] = {}
    for number, entry in enumerate(entries):
        if entry.sound:
            first.setdefault(entry.name, number)
    return {number: entries[number] for number in first.values()}


def layers_of(part: Part) -> SurfaceEntry:
    """The surface's table with the layers that `[[holes]]` name as cut-outs: whatever else their names say."""
    entry = part.surface
    layers = [h.layer for h in _holding(part.holes).values() if h.layer is not None]
    if not layers or not isinstance(entry.outline, str):
        return entry
    return entry.model_copy(update={"cut": [*(entry.cut or ()), *layers]})


def cut_holes(
    tables: Sequence[HolesEntry], entry: SurfaceEntry, surface: Surface, folder: Path, fault: Tells
) -> tuple[Surface, Opened]:
    """Cut the holes of a part file out of its surface.

    Args:
        tables: Those of the part file.
        entry: Its surface, as `layers_of` gave it.
        surface: Read.
        folder: Where its files lie.
        fault: Notes a fault: path, what is wrong, remedy.

    Returns:
        The surface with its holes, and what they took.
    """
    entries = _holding(tables)
    if not entries:
        return surface, Opened(surface, {}, {})
    faulted = 0

    def told(number: int, key: str, wrong: str, remedy: str) -> None:
        nonlocal faulted
        faulted += 1
        fault(("holes", number, key) if key else ("holes", number), wrong, remedy + "." if remedy else "")

    def drawing() -> Drawing | None:
        from layup.files.read_drawing import read_drawing

        if not isinstance(entry.outline, str):
            return None
        return read_drawing(folder / entry.outline, unit=entry.unit, gap=entry.gap)

    named = [folder / e.file for e in entries.values() if e.file] + (
        [folder / entry.outline] if isinstance(entry.outline, str) else []
    )
    key = (str(folder), repr(entries), repr(entry.outline), tuple(_stamp(path) for path in named))
    held: dict[Hashable, tuple[Surface, Opened]] = surface.holed
    if key not in held:
        before = faulted
        made, holes = open_holes(entries, surface, folder, drawing, told)
        if faulted != before:
            return made, Opened(surface, holes, {})
        held.clear()  # one pattern at a time: a person changes one hole after another
        held[key] = (made, Opened(surface, holes, {}))
    return held[key]


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def old_patterns(
    tables: Sequence[FastenersEntry], folder: Path, surface: Surface | None, fault: Tells
) -> tuple[OldPattern, ...]:
    """Existing patterns of fasteners, brought to where the new part has them.

    Args:
        tables: Those of the part file.
        folder: Where its files lie.
        surface: The new part; None where it can't be read.
        fault: Notes a fault: path, what is wrong, remedy.
    """
    found = []
    for number, entry in _holding(tables).items():
        try:
            laid = lay_over(entry, folder)
            if surface is not None:
                trim_line(surface, laid.plan)
            found.append(laid)
        except HoleError as problem:
            remedy = problem.remedy.rstrip(".")
            fault(("fasteners", number, problem.key), problem.wrong, remedy + "." if remedy else "")
        except SurfaceError as problem:
            fault(("fasteners", number), problem.wrong, problem.remedy + "." if problem.remedy else "")
        except LayupError as problem:
            fault(("fasteners", number), str(problem))
    return tuple(found)


def hole_records(holes: Mapping[str, HoleSet]) -> list[dict[str, object]]:
    """Patterns of holes as scripts get them."""
    return [
        {
            "name": one.name,
            "count": len(one.pattern.holes),
            "diameters_m": [hole.diameter for hole in one.pattern.holes],
            "removed_m2": one.area,
            "edge_m": one.rim,
            "drawn": one.drawn,
            "places_m": [[float(v) for v in place] for place in one.places],
        }
        for one in holes.values()
    ]


def fastener_records(patterns: Sequence[OldPattern], surface: Surface) -> list[dict[str, object]]:
    """Existing patterns laid over the part as scripts get them."""
    records = []
    for old in patterns:
        near = old.too_near(trim_line(surface, old.plan)) if surface.has_mesh else []
        records.append(
            {
                "name": old.name,
                "count": len(old.pattern.holes),
                "holes": [
                    {"name": h.name, "at_m": [h.x, h.y], "diameter_m": h.diameter, "countersink_m": h.countersink}
                    for h in old.pattern.holes
                ],
                "fit": None
                if old.fit is None
                else {
                    "turn_deg": math.degrees(old.fit.turn),
                    "shift_m": list(old.fit.shift),
                    "rms_m": old.fit.rms,
                    "worst_m": old.fit.worst,
                    "off_m": {
                        name: [float(v) for v in off] for name, off in zip(old.matched, old.fit.off, strict=True)
                    },
                },
                "rule": old.rule.words,
                "too_near": [
                    {
                        "hole": n.hole.name,
                        "to": n.other.name if n.other else "opening" if n.opening else "trim line",
                        "distance_m": n.distance,
                        "needed_m": n.needed,
                    }
                    for n in near
                ],
            }
        )
    return records


def fastener_cautions(patterns: Sequence[OldPattern], surface: Surface) -> list[str]:
    """One sentence for each existing pattern that does not lie well on the part."""
    found = []
    for old in patterns:
        near = {n.hole.name for n in old.too_near(trim_line(surface, old.plan))} if surface.has_mesh else set()
        said = []
        if near:
            said.append(
                f"{len(near)} of {len(old.pattern.holes)} holes too near an edge or each other by the rule of thumb"
            )
        if old.strays:
            said.append(f"{len(old.strays)} matched points are more than {plain(old.within * 1e3, 3)} mm off")
        if said:
            found.append(f'Fasteners "{old.name}": {"; ".join(said)}. `layup holes` shows them.')
    return found
