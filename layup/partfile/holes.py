"""The `[[holes]]` tables of a part file as the surface takes them: laid out, read, cut out, found again by name.

The pattern of one table                    laid_out(entry, folder, drawing)
All of them cut out of the surface          open_holes(entries, surface, folder, outline)
Their edges on a mesh, for zones            rim_edges(points, faces, holes, number)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import SurfaceError, UnitError
from layup.partfile.openings import MOST, HolesEntry
from layup.shape.holes import Hole, Pattern, grid, holes_of, read_holes, ring, row
from layup.shape.perforate import HoleSet, perforate
from layup.shape.plan import Plan
from layup.shape.surface import Finding, Surface
from layup.shape.topology import Faces, Points, free_edges, length_of

if TYPE_CHECKING:
    from layup.files.drawing import Drawing

Told = Callable[[int, str, str, str], None]
"""Notes a fault: number of the table from 0, the key or "", what is wrong, the remedy."""
Outline = Callable[[], "Drawing | None"]
"""Gives the drawing that the outline is read from; None where it is none."""

_ON = 0.02  # of its radius, how far off its circle a rim may lie: a drawn circle is round to 1 %


class HoleError(SurfaceError):
    """A pattern that can't be; `key` says where it stands."""

    def __init__(self, key: str, wrong: str, remedy: str = "") -> None:
        super().__init__(wrong, remedy)
        self.key = key


def laid_out(entry: HolesEntry, folder: Path, drawing: Outline) -> tuple[Pattern, Plan]:
    """The pattern of one table in plan.

    Args:
        entry: The table; its form is not "count".
        folder: Where its file lies.
        drawing: The drawing of the outline.

    Raises:
        HoleError: holes that run into each other, a layer or file that can't be read.
    """
    try:
        plan = Plan.along(entry.along or (0.0, 0.0, 1.0))
    except SurfaceError as problem:
        raise HoleError("along", problem.wrong, problem.remedy) from None
    key = {"first": "pitch", "centre": "ring"}.get(entry.form, entry.form)
    try:
        return _named(_pattern(entry, folder, drawing, plan)), plan
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
        return holes_of(found, layer=entry.layer)
    if entry.file is not None:
        return read_file(folder / entry.file, entry.unit, entry.diameter, None, 0.0)
    diameter = entry.diameter or 0.0
    angle = math.radians(entry.angle or 0.0)
    if entry.centre is not None:
        middle = _place(plan, entry.centre, "centre")
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
    first = _place(plan, entry.first or [0.0, 0.0], "first")
    pitch = entry.pitch or [diameter * 2.0]
    least = min(pitch)
    columns, rows = entry.columns or entry.count or 1, entry.rows or 1
    used = [p for p, many in zip((pitch[0], pitch[-1]), (columns, rows), strict=True) if many > 1]
    tight = [p for p in used if p <= diameter]
    if tight and not (entry.staggered and least == pitch[-1] and pitch[0] > diameter):
        raise HoleError(
            "pitch", f"at {_mm(min(tight))} from middle to middle, holes of {_mm(diameter)} run into each other",
            f"Write a pitch of more than {_mm(diameter)}, or a smaller diameter",
        )  # fmt: skip
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


def read_file(path: Path, unit: str | None, diameter: float | None, layer: str | None, largest: float) -> Pattern:
    """Holes from a drawing (.dxf, .svg) or a list of points (.csv).

    Args:
        path: The file.
        unit: Of its numbers, where it states none.
        diameter: Of the holes of a list that have none. [m]
        layer: Of a drawing, only circles on this layer.
        largest: Of a drawing, only circles up to this diameter; 0 for all. [m]

    Raises:
        SurfaceError: it can't be read, or holds no round holes.
    """
    kind = path.suffix.casefold()
    if kind == ".csv":
        return read_holes(path, unit=unit, diameter=diameter)
    if kind not in (".dxf", ".svg"):
        raise SurfaceError(
            f'holes can\'t be read from "{path.name}"', "Give a .csv of points, or a .dxf or .svg drawing"
        )
    from layup.partfile.opened import read_drawing

    pattern = holes_of(read_drawing(path, unit=unit), layer=layer, largest=largest)
    return pattern


def _place(plan: Plan, spot: list[float], key: str) -> tuple[float, float]:
    try:
        return plan.place(spot)
    except SurfaceError as problem:
        raise HoleError(key, problem.wrong, problem.remedy) from None


def _named(pattern: Pattern) -> Pattern:
    if len(pattern.holes) > MOST:
        raise SurfaceError(
            f"{len(pattern.holes):,} holes, more than {MOST:,}", "Give a perforated sheet as a material of its own"
        )
    for hole in pattern.holes:
        if not hole.diameter < 10.0:
            raise HoleError("diameter", f"{hole} is {hole.diameter:.4g} m across", "Check the unit")
    return pattern


def _mm(length: float) -> str:
    return f"{length * 1e3:.4g} mm"


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
                    "", "nothing says where the holes are",
                    'Add first = ["60 mm", "50 mm"] with pitch, or centre with ring, or layer, or file',
                )  # fmt: skip
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


def same(surface: Surface) -> Surface:
    """The surface as another one, whose holes and zones are its own."""
    return Surface(
        surface.name, surface.whole, lambda: (surface.vertices, surface.faces), side=surface.side, unit=surface.unit,
        findings=surface.findings, groups=lambda: surface.groups, left_out=lambda: surface.left_out,
        laminate=surface.laminate,
    )  # fmt: skip


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
    holes = HoleSet(name, pattern, plan, True, places, np.array([h.area for h in pattern.holes]), pattern.rim)
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
    from dataclasses import replace

    made: dict[str, HoleSet] = {}
    whole, notes = surface.whole, list(surface.findings)
    for number, entry in entries.items():
        if entry.form in ("layer", "file"):
            told(number, entry.form, "the surface is only an area, so there is nothing to place them on",
                 "Write diameter and count alone")  # fmt: skip
            continue
        count = entry.count or (entry.columns or 1) * (entry.rows or 1)
        diameter = entry.diameter or 0.0
        taken = count * math.pi * diameter**2 / 4.0
        if taken >= whole.area:
            told(
                number,
                "",
                f"{count} holes of {_mm(diameter)} are {taken:.4g} m^2, more than the part has",
                "Check the unit",
            )
            continue
        whole = replace(whole, area=whole.area - taken)
        far = 2.0 * diameter * np.arange(count)
        pattern = Pattern(tuple(Hole(float(x), 0.0, diameter, 0.0, f"hole {n}") for n, x in enumerate(far, 1)))
        removed = np.array([h.area for h in pattern.holes])
        made[entry.name] = HoleSet(
            entry.name, pattern, Plan.along((0, 0, 1)), False, np.zeros((0, 3)), removed, pattern.rim
        )
        text = f'{count} hole{"s" if count > 1 else ""} "{entry.name}" take {taken * 1e4:.4g} cm² away'
        notes.append(Finding("holes", count, text, -taken))
    if made:
        surface = Surface(surface.name, whole, None, side=surface.side, unit=surface.unit, findings=tuple(notes))
        surface.holes = made
    return surface, made


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
