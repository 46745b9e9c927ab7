"""The surface that a `[surface]` table describes: a mesh, a CAD face, a drawing, stations, a rectangle."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from pathlib import Path

from pydantic import ValidationError

from layup.errors import SurfaceError, UnitError
from layup.files.systems import within
from layup.partfile.model import SurfaceEntry
from layup.shape.progress import Told, nobody
from layup.shape.surface import Finding, Surface
from layup.units import parse

READING = 60.0
"""What a small file may take; none of ours takes a tenth of it. [s]"""


def open_surface(entry: SurfaceEntry, folder: Path, areas: Iterable[str] = (), told: Told = nobody) -> Surface:
    """Open the surface that a `[surface]` table describes.

    Args:
        entry: The table.
        folder: Where its files lie.
        areas: Groups that zones name: layers of a drawing that are areas, not cut-outs.
        told: Is told how far it is.

    Raises:
        SurfaceError: It cannot be read, has no unit, or is a closed solid with no side picked.
        UnitError: A length that can't be read.
    """
    named = [getattr(entry, key) for key in ("mesh", "step", "outline", "photo", "stations", "girths")]
    with bounded([folder / name for name in named if isinstance(name, str)]):
        return _opened(entry, folder, areas, told)


def bounded(files: Sequence[Path]) -> AbstractContextManager[None]:
    """Time of the processor for a surface: a minute, and a second for each megabyte of its file."""
    size = 0
    for file in files:
        with suppress(OSError, ValueError):
            size += file.stat().st_size
    seconds = READING + size / 1e6
    name = files[0].name if files else "the surface"
    return within(
        seconds,
        lambda: SurfaceError(f"{name}: not read within {seconds:.0f} s of work", "Save fewer points, lines or faces"),
    )


def _opened(entry: SurfaceEntry, folder: Path, areas: Iterable[str], told: Told) -> Surface:
    from layup.shape import flat

    if entry.mesh is not None:
        from layup.files.read import read_surface

        return read_surface(
            folder / entry.mesh, unit=entry.unit, side=entry.side, body=entry.body, fill=entry.fill, told=told
        )
    if entry.step is not None:
        return _from_step(entry, folder / entry.step, told)
    if entry.outline is not None:
        return _from_outline(entry, folder, areas, told)
    if entry.photo is not None:
        told("reading the photograph", 0.0)
        return _from_photo(entry, folder / entry.photo)
    if entry.stations is not None or entry.girths is not None:
        return _from_stations(entry, folder)
    if entry.rectangle is not None:
        return flat.rectangle(*entry.rectangle)
    assert entry.area is not None
    return flat.from_area(entry.area)


def _from_step(entry: SurfaceEntry, path: Path, told: Told) -> Surface:
    if entry.face is None:
        from layup.files.read import read_surface

        return read_surface(path, unit=entry.unit, side=entry.side, body=entry.body, told=told)
    from layup.files.read_step import step_surface

    told("reading the solid", 0.0)
    return step_surface(path, face=str(entry.face), unit=entry.unit)


def _from_outline(entry: SurfaceEntry, folder: Path, areas: Iterable[str], told: Told) -> Surface:
    from layup.shape import flat

    if not isinstance(entry.outline, str):
        return flat.outline(entry.outline or [], entry.cutouts or [])
    told("reading the drawing", 0.0)
    from layup.files.read_drawing import read_drawing

    drawing = read_drawing(folder / entry.outline, unit=entry.unit, gap=entry.gap)
    told("sorting outlines and cut-outs", 0.5)
    return drawing.surface(pick=entry.pick, areas=areas, cut=entry.cut or ())


def _from_photo(entry: SurfaceEntry, path: Path) -> Surface:
    from layup.files.read_photo import read_photo

    photo = read_photo(path, bar=entry.bar, bar_along=entry.bar_along)
    surface = photo.surface()
    share = photo.area_tolerance
    known = Finding("photo", 1, f"nine times in ten the area is known to {share * 100:.1f} %", share * photo.area)
    surface.findings = (*surface.findings, known)
    return surface


def _from_stations(entry: SurfaceEntry, folder: Path) -> Surface:
    from layup.files.stations import from_girths, from_widths, read_stations

    given = entry.stations if entry.stations is not None else entry.girths
    kind = "width" if entry.stations is not None else "girth"
    name = f"{kind}s"
    if isinstance(given, str):
        name = str(folder / given)
        kind, at, sizes = read_stations(folder / given, unit=entry.unit)
    else:
        at, sizes = (list(column) for column in zip(*given or (), strict=True))
    rule = entry.rule or "spline"
    if kind == "width":
        return from_widths(at, sizes, rule=rule, name=name)
    turn = math.radians(entry.turn) if entry.turn is not None else 2.0 * math.pi
    return from_girths(at, sizes, turn=turn, along=entry.along or "axis", rule=rule, name=name)


def look_at(
    path: Path,
    *,
    unit: str | None = None,
    side: str | None = None,
    body: str | None = None,
    pick: str | None = None,
    gap: str | None = None,
    face: str | None = None,
    fill: str | None = None,
    told: Told = nobody,
) -> Surface:
    """Open any surface file for a person who wants to know what is in it; nothing odd is passed over.

    Args:
        path: A mesh, a STEP file, a drawing (.dxf, .svg, .csv), or a .csv of stations.
        unit: Unit of its numbers, where it states none.
        side: Side of a closed solid.
        body: Which body of several.
        pick: Which outline of a drawing that holds several.
        gap: Widest gap that is closed in a drawing.
        face: Which faces of a STEP file.
        fill: How wide a gap of a scan may be to be closed.
        told: Is told how far it is.

    Returns:
        The surface with all its findings.

    Raises:
        SurfaceError: It can't be read, has no unit, or is a closed solid with no side picked.
    """
    with bounded([path]):
        if pick is None and gap is None and face is None:
            return _looked_at(path, unit, side, body, fill, told)
        return _picked(path, unit, side or body or fill, {"pick": pick, "gap": gap}, face, told)


def _picked(
    path: Path, unit: str | None, other: str | None, drawn: dict[str, str | None], face: str | None, told: Told
) -> Surface:
    """A part of a drawing or of a STEP file, as the same words under [surface] give it."""
    kind = path.suffix.casefold()
    given = {key: value for key, value in drawn.items() if value is not None}
    if (kind in (".dxf", ".svg", ".csv") and face is not None) or (kind in (".step", ".stp") and given):
        raise SurfaceError(f"{path.name}: --pick and --gap are for drawings, --face is for STEP", "Leave the other out")
    if kind not in (".dxf", ".svg", ".csv", ".step", ".stp"):
        raise SurfaceError(
            f"{path.name}: a mesh has no outlines and no numbered faces", 'Write --side "touching (x, y, z)"'
        )
    if other is not None:
        raise SurfaceError(
            f"{path.name}: what is picked has one side and is one body", "Leave --side, --body, --fill out"
        )
    try:
        if face is not None:
            return _from_step(SurfaceEntry(step=path.name, unit=unit, face=face), path, told)
        return _from_outline(
            SurfaceEntry.model_validate({"outline": path.name, "unit": unit, **given}), path.parent, (), told
        )
    except ValidationError as problem:
        said = problem.errors()[0]
        raise SurfaceError(f"--{said['loc'][-1]}: {said['msg']}", 'Write --gap "0.5 mm", --pick 1') from None


def _stations_in(path: Path) -> str | None:
    """What key of [surface] a CSV of stations goes under: "stations" or "girths"; None for any other file."""
    from layup.files.reading import TABLE, read_file

    if path.suffix.casefold() != ".csv":
        return None
    try:
        lines = read_file(path, TABLE).decode("utf-8-sig", "replace").splitlines()
    except OSError:
        return None  # the reader of drawings says what is wrong with it
    head = next((line.casefold() for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    if "station" not in head:
        return None
    return "girths" if "girth" in head else "stations"


def _looked_at(
    path: Path, unit: str | None, side: str | None, body: str | None, fill: str | None, told: Told
) -> Surface:
    if path.suffix.casefold() in (".dxf", ".svg", ".csv"):
        if fill is not None:
            raise SurfaceError(
                f"{path.name}: only a mesh has gaps to fill", "Leave --fill out; --gap joins loose lines"
            )
        either = side is not None and side.strip().casefold() in ("outer", "inner")
        if (side is not None and not either) or body is not None:
            raise SurfaceError(
                f"{path.name} is a flat drawing, with no side and no body", "Leave --side and --body out"
            )
        kind = _stations_in(path)
        if kind is not None:
            return _from_stations(SurfaceEntry.model_validate({kind: path.name, "unit": unit}), path.parent)
        entry = SurfaceEntry(outline=path.name, unit=unit)
        surface = _from_outline(entry, path.parent, (), told)
        if either:
            text = f"a flat drawing: its two sides are alike, and either would do; {side} was asked for"
            surface.findings = (*surface.findings, Finding("flat sheet", 1, text, 0.0))
        return surface
    from layup.files.read import read_surface

    try:
        widest = None if fill is None else parse(fill, "length")
    except UnitError as problem:
        raise SurfaceError(f"--fill: {problem}".rstrip("."), 'Write --fill "20 mm"') from None
    return read_surface(path, unit=unit, side=side, body=body, fill=widest, thorough=True, told=told)
