"""A drawing or a list of points, of whatever kind, and the round holes in it.

A drawing: DXF, SVG, or points round a part     read_drawing("rib.dxf")
Its round holes                                 holes_of(drawing)
Holes measured one by one                       read_holes("holes.csv")
Holes from any of them                          read_pattern(path, ...)
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import SurfaceError
from layup.files.drawing import Drawing, Loop, known_layer, settle_unit
from layup.shape.holes import Hole, Pattern

if TYPE_CHECKING:
    from layup.files.drawing import Drawing


if TYPE_CHECKING:
    pass


if TYPE_CHECKING:
    from layup.files.drawing import Drawing


def read_drawing(path: Path, *, unit: str | None = None, gap: float | None = None) -> Drawing:
    """Read a drawing of whatever kind.

    Args:
        path: .dxf, .svg, or .csv of points.
        unit: Of its numbers, where it states none.
        gap: Widest gap to be closed. [m]

    Raises:
        SurfaceError: It can't be read, or is no drawing.
    """
    ending = path.suffix.casefold()
    if ending == ".dxf":
        from layup.files.read_dxf import read_dxf

        return read_dxf(path, unit=unit, gap=gap)
    if ending == ".svg":
        from layup.files.read_svg import read_svg

        return read_svg(path, unit=unit, gap=gap)
    if ending == ".csv":
        from layup.files.read_points import read_points

        return read_points(path, unit=unit)
    raise SurfaceError(
        f'an outline can\'t be read from "{path.name}"',
        "Give a .dxf, an .svg or a .csv of points; a mesh stands under mesh, a CAD solid under step",
    )


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


def read_pattern(path: Path, unit: str | None, diameter: float | None, layer: str | None, largest: float) -> Pattern:
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

    pattern = holes_of(read_drawing(path, unit=unit), layer=layer, largest=largest)
    return pattern
