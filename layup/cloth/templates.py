"""Flat patterns as files: DXF for the cutter, SVG, and full-size PDF to lay on the cloth.

    Lines on layers, units set        write_dxf(plies, path, unit)
    One drawing, in millimetres       write_svg(plies, path)

The PDF has a module of its own, `layup.cloth.tiled_pdf`. In DXF and SVG the patterns stand one above the other, the
first at the top, each with its warp along +x.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Literal
from xml.sax.saxutils import escape

import numpy as np

from layup.cloth.drawn_ply import LAYERS, Strokes, strokes
from layup.cloth.pattern import FlatPly
from layup.errors import LayupError
from layup.files.writing import write_file

Unit = Literal["mm", "in"]

SCALE = {"mm": 1000.0, "in": 1000.0 / 25.4}
"""Drawing units to a metre."""
_INSUNITS = {"mm": 4, "in": 1}
_GAP = 0.05  # between two patterns in one drawing [m]
_DXF_COLOURS = {
    "CUT": 7,
    "EDGE": 5,
    "CENTRE": 8,
    "NOTCH": 1,
    "OVERLAP": 6,
    "BEVEL": 4,
    "SCORE": 30,
    "DRILL": 3,
    "ARROW": 2,
    "TEXT": 8,
}
_DXF_LINES = {"CENTRE": "CENTER", "OVERLAP": "DASHED", "BEVEL": "DASHED", "SCORE": "DOT", "EDGE": "DASHED2"}
_SVG = {
    "CUT": 'stroke="#1c2733" stroke-width="0.5"',
    "EDGE": 'stroke="#1c2733" stroke-width="0.25" stroke-dasharray="2 1"',
    "CENTRE": 'stroke="#66727d" stroke-width="0.2" stroke-dasharray="8 1.5 1.5 1.5"',
    "NOTCH": 'stroke="#1c2733" stroke-width="0.5"',
    "OVERLAP": 'stroke="#66727d" stroke-width="0.25" stroke-dasharray="4 2"',
    "BEVEL": 'stroke="#1c2733" stroke-width="0.3" stroke-dasharray="5 2"',
    "SCORE": 'stroke="#b5502b" stroke-width="0.3" stroke-dasharray="0.8 1.4"',
    "DRILL": 'stroke="#b5502b" stroke-width="0.25"',
    "ARROW": 'stroke="#1c2733" stroke-width="0.4"',
    "TEXT": "",
}


def placed(plies: Sequence[FlatPly]) -> list[tuple[FlatPly, Strokes, tuple[float, float]]]:
    """Each pattern with what is drawn of it and where it stands in one drawing: one above the other. [m]"""
    if not plies:
        raise LayupError("there is no pattern to draw")
    made, top = [], 0.0
    for ply in plies:
        drawn = strokes(ply)
        left, low, _, high = drawn.box
        made.append((ply, drawn, (-left, top - high)))
        top -= high - low + _GAP
    return made


def right_ending(path: str | Path, ending: str) -> Path:
    """The path, if its name says what is written.

    Raises:
        LayupError: The name ends otherwise: another program would take the file for something else.

    >>> right_ending("hood.DXF", ".dxf").name
    'hood.DXF'
    """
    path = Path(path)
    if path.suffix.casefold() != ending:
        name = path.with_suffix(ending).name
        raise LayupError(f'"{path.name}" would hold {ending[1:].upper()}, so its name ends in {ending}: {name}')
    return path


def write_dxf(plies: Sequence[FlatPly], path: str | Path, unit: Unit = "mm") -> Path:
    """Write patterns as DXF, full size.

    Args:
        plies: What to draw.
        path: Where.
        unit: Of the drawing; `$INSUNITS` says it to the program that reads it.

    Raises:
        LayupError: The name does not end in .dxf, or the file can't be written.
    """
    import ezdxf.filemanagement

    if unit not in SCALE:
        raise LayupError(f'a drawing can\'t be in "{unit}". Write mm or in')
    path = right_ending(path, ".dxf")
    document = ezdxf.filemanagement.new("R2010", setup=True)
    document.header["$INSUNITS"] = _INSUNITS[unit]
    document.header["$MEASUREMENT"] = 1 if unit == "mm" else 0
    document.header["$LTSCALE"] = 10.0 if unit == "mm" else 0.4
    for layer in LAYERS:
        document.layers.add(layer, color=_DXF_COLOURS[layer], linetype=_DXF_LINES.get(layer, "Continuous"))
    space = document.modelspace()
    scale = SCALE[unit]
    for _, drawn, (dx, dy) in placed(plies):
        for line in drawn.lines:
            points = (line.points + np.array([dx, dy])) * scale
            space.add_lwpolyline(points.tolist(), close=line.closed, dxfattribs={"layer": line.layer})
        for layer, x, y, radius in drawn.circles:
            space.add_circle(((x + dx) * scale, (y + dy) * scale), radius * scale, dxfattribs={"layer": layer})
        for word in drawn.words:
            text = space.add_text(word.text, height=word.height * scale, dxfattribs={"layer": "TEXT"})
            text.set_placement(((word.at[0] + dx) * scale, (word.at[1] + dy) * scale))
    out = io.StringIO()
    document.write(out)
    write_file(path, out.getvalue())
    return path


def write_svg(plies: Sequence[FlatPly], path: str | Path) -> Path:
    """Write patterns as SVG, full size: one unit of the drawing is one millimetre.

    Raises:
        LayupError: The name does not end in .svg, or the file can't be written.
    """
    path = right_ending(path, ".svg")
    listed = placed(plies)
    margin = 10.0
    wide = max((drawn.box[2] - drawn.box[0]) for _, drawn, _ in listed) * 1e3 + 2 * margin
    high = -min(drawn.box[1] + dy for _, drawn, (_, dy) in listed) * 1e3 + 2 * margin
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.3f}mm" height="{high:.3f}mm" '
        f'viewBox="0 0 {wide:.3f} {high:.3f}" font-family="DejaVu Sans, Verdana, sans-serif">',
    ]
    for ply, drawn, (dx, dy) in listed:
        out.append(f'<g id="ply-{escape(ply.name)}">')

        def at(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]], dx: float = dx, dy: float = dy) -> str:
            return " ".join(f"{(x + dx) * 1e3 + margin:.4f},{margin - (y + dy) * 1e3:.4f}" for x, y in points)

        for line in drawn.lines:
            tag = "polygon" if line.closed else "polyline"
            out.append(f'<{tag} class="{line.layer}" points="{at(line.points)}" fill="none" {_SVG[line.layer]}/>')
        for layer, x, y, radius in drawn.circles:
            out.append(
                f'<circle class="{layer}" cx="{(x + dx) * 1e3 + margin:.4f}" cy="{margin - (y + dy) * 1e3:.4f}" '
                f'r="{radius * 1e3:.4f}" fill="none" {_SVG[layer]}/>'
            )
        for word in drawn.words:
            out.append(
                f'<text x="{(word.at[0] + dx) * 1e3 + margin:.3f}" y="{margin - (word.at[1] + dy) * 1e3:.3f}" '
                f'font-size="{word.height * 1e3 / 0.72:.2f}" fill="#1c2733">{escape(word.text)}</text>'
            )
        out.append("</g>")
    out.append("</svg>")
    write_file(path, "\n".join(out) + "\n")
    return path
