"""Full-size patterns as PDF: in tiles on A4 or Letter to be stuck together, or in one piece on a roll.

    Write patterns at full size        write_pdf(plies, path, paper)
    How a pattern falls into tiles     tiles(box, paper)

Each tile repeats a strip of its neighbour: cut along the solid line at the right and top, lay it on the dashed line of
the next sheet, and let the crosses fall on each other. Every sheet has a bar of 100 mm and one of 4 in: measure them
before the first cut, for a printer may shrink a page.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from layup.cloth.drawn_ply import Floats, Stroke, Strokes, Word, strokes
from layup.cloth.pattern import FlatPly
from layup.cloth.templates import right_ending
from layup.errors import LayupError
from layup.files.writing import write_file
from layup.report import palette
from layup.words import System, area_words, length_words

if TYPE_CHECKING:
    from reportlab.lib.colors import Color
    from reportlab.pdfgen.canvas import Canvas
    from shapely.geometry.base import BaseGeometry as Shape

Paper = Literal["a4", "letter", "roll"]
Box = tuple[float, float, float, float]

SHEETS: dict[str, tuple[float, float]] = {"a4": (0.210, 0.297), "letter": (0.2159, 0.2794)}
"""Width and height of a sheet. [m]"""
SIDE, FOOT = 0.010, 0.022
"""Margins left and right, and at the foot, where the check bars stand. [m]"""
OVERLAP = 0.010
"""Strip that two neighbours share. [m]"""
ROLL = 0.914
"""Width of a plotter's roll: 36 in. [m]"""
LETTERS = 0.005
"""Height of the words on a pattern, so that they fit on one sheet. [m]"""
_SAME = 1e-6  # share of its area by which two pieces may differ and be one
LONGEST = 5.0
"""A PDF page may be 200 in long; a longer pattern is cut into pages. [m]"""
_POINT = 72.0 / 0.0254  # points to a metre


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet of a pattern.

    Attributes:
        row: From 0, from the foot of the pattern up.
        column: From 0, from its left.
        box: What part of the pattern it shows; of the turned pattern where it is turned. [m]
    """

    row: int
    column: int
    box: Box

    @property
    def name(self) -> str:
        """A1 at the foot on the left; letters go up, numbers to the right."""
        return f"{_letters(self.row)}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Sheets:
    """How one pattern falls into sheets.

    Attributes:
        page: Width and height of each sheet. [m]
        window: Width and height of what each shows. [m]
        rows: How many.
        columns: How many.
        tiles: Those that show any of the pattern.
        turned: Whether the pattern lies a quarter turn to the left, so that it fits along a roll.
    """

    page: tuple[float, float]
    window: tuple[float, float]
    rows: int
    columns: int
    tiles: tuple[Tile, ...]
    turned: bool = False


def tiles(box: Box, paper: Paper, roll: float = ROLL, outline: Shape | None = None, *, turned: bool = False) -> Sheets:
    """Part a box into sheets.

    Args:
        box: Of the pattern: left, low, right, high. [m]
        paper: "a4", "letter" or "roll".
        roll: Width of the roll. [m]
        outline: The pattern as a shapely shape: sheets that would stay empty are left out.
        turned: It has been turned already, to try how it fits along a roll.

    Returns:
        The sheets, upright or lying, whichever are fewer.

    Raises:
        LayupError: A paper that is none of these, or a roll too narrow to print on.
    """
    wide, high = box[2] - box[0], box[3] - box[1]
    if paper == "roll":
        if roll < 2 * SIDE + 0.11:
            raise LayupError(f"a roll of {roll * 1e3:.0f} mm is too narrow for the check bars: 130 mm is the least")
        page = (roll, min(LONGEST, high + SIDE + FOOT))
        choices = [page]
    elif paper in SHEETS:
        choices = [SHEETS[paper], SHEETS[paper][::-1]]
    else:
        raise LayupError(f'there is no paper "{paper}". Write a4, letter or roll')
    best: Sheets | None = None
    for page in choices:
        window = (page[0] - 2 * SIDE, page[1] - SIDE - FOOT)
        columns, rows = _count(wide, window[0]), _count(high, window[1])
        if best is None or rows * columns < best.rows * best.columns:
            best = Sheets(page, window, rows, columns, _tiles(box, window, rows, columns, outline))
    assert best is not None
    if paper == "roll" and not turned and best.rows * best.columns > 1:
        from shapely import affinity

        along = affinity.rotate(outline, 90, origin=(0, 0)) if outline is not None else None
        other = tiles((-box[3], box[0], -box[1], box[2]), paper, roll, along, turned=True)
        if other.rows * other.columns < best.rows * best.columns:
            return replace(other, turned=True)
    return best


def _count(size: float, window: float) -> int:
    return max(1, math.ceil((size - OVERLAP) / (window - OVERLAP) - 1e-9))


def _tiles(box: Box, window: tuple[float, float], rows: int, columns: int, outline: Shape | None) -> tuple[Tile, ...]:
    import shapely

    made = []
    # the pattern stands in the middle of its sheets
    left = box[0] - 0.5 * (columns * (window[0] - OVERLAP) + OVERLAP - (box[2] - box[0]))
    low = box[1] - 0.5 * (rows * (window[1] - OVERLAP) + OVERLAP - (box[3] - box[1]))
    for row in range(rows - 1, -1, -1):
        for column in range(columns):
            x, y = left + column * (window[0] - OVERLAP), low + row * (window[1] - OVERLAP)
            part = (x, y, x + window[0], y + window[1])
            if outline is None or shapely.box(*part).intersects(outline):
                made.append(Tile(row, column, part))
    return tuple(made)


def write_pdf(
    plies: Sequence[FlatPly],
    path: str | Path,
    paper: Paper = "a4",
    *,
    roll: float = ROLL,
    title: str = "",
    system: System = "both",
) -> Path:
    """Write patterns as PDF, full size.

    Args:
        plies: What to draw.
        path: Where.
        paper: "a4", "letter" or "roll".
        roll: Width of the roll. [m]
        title: Of the part.
        system: Of the sizes in its index: "lb", "metric" or "both".

    Raises:
        LayupError: A paper that is none of these, a name that does not end in .pdf, or the file can't be written.
    """
    path = right_ending(path, ".pdf")
    content = pdf_bytes(plies, paper, roll=roll, title=title, system=system)
    write_file(path, content)
    return path


def pdf_bytes(
    plies: Sequence[FlatPly], paper: Paper, *, roll: float = ROLL, title: str = "", system: System = "both"
) -> bytes:
    """The same as bytes; the same for the same patterns."""
    from reportlab.pdfgen.canvas import Canvas

    from layup.report.document_pdf import register_fonts

    if not plies:
        raise LayupError("there is no pattern to draw")
    register_fonts()
    out = io.BytesIO()
    plies = once(plies)
    sheets = [tiles(ply.outline.bounds, paper, roll, _ink(ply)) for ply in plies]
    total = sum(len(s.tiles) for s in sheets) + 1
    canvas = Canvas(out, invariant=1, pageCompression=1)
    canvas.setTitle(f"{title}: ply patterns" if title else "Ply patterns")
    canvas.setSubject("Flat patterns at full size")
    canvas.setAuthor("layup")
    canvas.setCreator("layup")
    number = 0
    for first in range(0, len(plies), _ROWS):
        last = min(first + _ROWS, len(plies))
        _overview(
            canvas=canvas,
            plies=plies[first:last],
            sheets=sheets[first:last],
            paper=paper,
            title=title,
            system=system,
            first=first == 0,
            total=total - 1,
        )
    for ply, own in zip(plies, sheets, strict=True):
        drawn = strokes(ply, LETTERS)
        drawn = _quarter(drawn) if own.turned else _named_on_one(ply, drawn, own)
        for tile in own.tiles:
            number += 1
            head = f"{title}, {ply.title}" if title else ply.title
            _sheet(canvas, ply, drawn=drawn, own=own, tile=tile, title=head, number=number, total=total - 1)
    canvas.save()
    return out.getvalue()


def once(plies: Sequence[FlatPly]) -> tuple[FlatPly, ...]:
    """Pieces of one cloth, angle and outline once, with the numbers of all of them."""
    import shapely

    kinds: list[FlatPly] = []
    for ply in plies:
        for number, kind in enumerate(kinds):
            marks = [(p.fabric, p.angle, p.sides, p.ways, p.letters, p.thickness, len(p.drills)) for p in (ply, kind)]
            if marks[0] != marks[1] or abs(ply.outline.area - kind.outline.area) > _SAME * kind.outline.area:
                continue
            if shapely.symmetric_difference(ply.outline, kind.outline).area <= _SAME * kind.outline.area:
                zone = kind.zone if kind.zone == ply.zone else f"{kind.zone}, {ply.zone}"
                kinds[number] = replace(kind, name=f"{kind.name}, {ply.name}", count=kind.count + ply.count, zone=zone)
                break
        else:
            kinds.append(ply)
    return tuple(kinds)


def _ink(ply: FlatPly) -> Shape:
    """What is drawn of a pattern as one shape: a sheet without any of it is not printed."""
    import shapely

    drawn = strokes(ply, LETTERS)
    lines = [
        shapely.LineString([*n.points, n.points[0]] if n.closed else n.points)
        for n in drawn.lines
        if n.layer != "ARROW"
    ]
    return shapely.GeometryCollection([*lines, *(shapely.Point(x, y).buffer(r) for _, x, y, r in drawn.circles)])


def _named_on_one(ply: FlatPly, drawn: Strokes, own: Sheets) -> Strokes:
    """The words and arrows of a pattern moved onto one of its sheets, so that no seam runs through them."""
    import shapely

    words = [w for w in drawn.words if len(w.text) > 1]
    arrows = [line for line in drawn.lines if line.layer == "ARROW"]
    if not words or len(own.tiles) < 2:
        return drawn
    low, size = _extent(words, arrows)
    share_of_page = min(
        1.0, *((side - 3 * OVERLAP) / max(own_size, 1e-9) for side, own_size in zip(own.window, size, strict=True))
    )
    if share_of_page < 1.0:  # smaller letters rather than a word with a seam through it
        drawn = _smaller(drawn, words, low, share_of_page)
        words = [w for w in drawn.words if len(w.text) > 1]
        arrows = [line for line in drawn.lines if line.layer == "ARROW"]
        low, size = _extent(words, arrows)
    best: tuple[float, float, float] | None = None
    for tile in own.tiles:
        x0, y0, x1, y1 = tile.box
        room = np.array([x1 - x0, y1 - y0]) - 2 * OVERLAP - size
        if (room < 0).any():
            continue
        for across in (0.5, 0.1, 0.9):
            for up in (0.5, 0.1, 0.9):
                x, y = x0 + OVERLAP + across * room[0], y0 + OVERLAP + up * room[1]
                box = shapely.box(x, y, x + size[0], y + size[1])
                share = box.intersection(ply.outline).area / box.area - 1e-3 * (abs(across - 0.5) + abs(up - 0.5))
                if best is None or share > best[0]:
                    best = (share, x - low[0], y - low[1])
    if best is None:
        return drawn
    shift = np.array(best[1:])
    moved = {w.text for w in words}
    return replace(
        drawn,
        lines=tuple(replace(n, points=n.points + shift) if n.layer == "ARROW" else n for n in drawn.lines),
        words=tuple(
            replace(w, at=(w.at[0] + shift[0], w.at[1] + shift[1])) if w.text in moved else w for w in drawn.words
        ),
    )


def _extent(words: Sequence[Word], arrows: Sequence[Stroke]) -> tuple[Floats, Floats]:
    """Lower left corner and size of words as they are printed, and of arrows. [m]"""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    from layup.report.document_pdf import register_fonts

    register_fonts()
    corners = [line.points for line in arrows]
    for word in words:
        wide = stringWidth(word.text, "Text-Bold", word.height * _POINT / 0.72) / _POINT
        corners.append(np.array([word.at, (word.at[0] + wide, word.at[1] + word.height)]))
    every = np.concatenate(corners)
    return every.min(axis=0), np.ptp(every, axis=0)


def _smaller(drawn: Strokes, words: Sequence[Word], low: Floats, factor: float) -> Strokes:
    """The words and arrows drawn smaller about their lower left corner."""
    mine = {id(word) for word in words}
    return replace(
        drawn,
        lines=tuple(
            replace(line, points=low + (line.points - low) * factor) if line.layer == "ARROW" else line
            for line in drawn.lines
        ),
        words=tuple(
            replace(
                w,
                at=(low[0] + (w.at[0] - low[0]) * factor, low[1] + (w.at[1] - low[1]) * factor),
                height=w.height * factor,
            )
            if id(w) in mine
            else w
            for w in drawn.words
        ),
    )


def _quarter(drawn: Strokes) -> Strokes:
    """All of it a quarter turn to the left."""
    lines = tuple(replace(n, points=np.stack([-n.points[:, 1], n.points[:, 0]], axis=1)) for n in drawn.lines)
    circles = tuple((layer, -y, x, r) for layer, x, y, r in drawn.circles)
    words = tuple(replace(w, at=(-w.at[1], w.at[0])) for w in drawn.words)
    return Strokes(lines, circles, words, (-drawn.box[3], drawn.box[0], -drawn.box[1], drawn.box[2]))


_ROWS = 9  # patterns to a page of the overview


def _hex(colour: str) -> Color:
    from reportlab.lib.colors import HexColor

    return HexColor(colour)


def _overview(
    canvas: Canvas,
    plies: Sequence[FlatPly],
    sheets: Sequence[Sheets],
    paper: Paper,
    title: str,
    system: System,
    first: bool,
    total: int,
) -> None:
    """The first page: which sheets make up which pattern, and how to use them."""
    size = SHEETS.get(paper, SHEETS["a4"])
    wide, high = size[0] * _POINT, size[1] * _POINT
    canvas.setPageSize((wide, high))
    canvas.setFillColor(_hex(palette.INK))
    canvas.setFont("Text-Bold", 15)
    canvas.drawString(36, high - 44, (title or "Patterns")[:60])
    canvas.setFont("Text", 8.5)
    canvas.setFillColor(_hex(palette.QUIET))
    if first:
        text = (
            f"{total} pages at full size. Print at 100 %, not fitted to the paper; then measure the bars at the foot.",
            "Cut each page along its solid line at the right and at the top, lay it on the dashed line of the next,",
            "and let the crosses fall on each other. Letters go up, numbers to the right. The arrow is the warp.",
            *(f"{line[:1].upper()}{line[1:]}." for line in plies[0].sides if line),
        )
        for number, line in enumerate(text):
            canvas.drawString(36, high - 62 - 12 * number, line)
    top = high - (128 if first else 66)
    step = (top - 40) / _ROWS
    for row, (ply, own) in enumerate(zip(plies, sheets, strict=True)):
        y = top - row * step
        canvas.setStrokeColor(_hex(palette.QUIET))
        canvas.setLineWidth(0.4)
        canvas.line(36, y, wide - 36, y)
        canvas.setFillColor(_hex(palette.INK))
        canvas.setFont("Text-Bold", 9)
        canvas.drawString(170, y - 14, ply.title[:66])
        canvas.setFont("Text", 7.6)
        box = ply.outline.bounds
        count = len(own.tiles)
        canvas.drawString(
            170,
            y - 26,
            f"{length_words(box[2] - box[0], system)} x {length_words(box[3] - box[1], system)}, "
            f"{'cloth' if ply.thickness is None else 'core'} {area_words(ply.outline.area, system)}, "
            + (f"{count} pages, {own.rows} up and {own.columns} across" if count > 1 else "1 page"),
        )
        canvas.setFillColor(_hex(palette.QUIET))
        for below, note in enumerate(_wrapped("; ".join(ply.notes), 86)[:4]):
            canvas.drawString(170, y - 37 - 9.5 * below, note)
        _thumb(canvas=canvas, ply=ply, own=own, x=40, y=y - step + 4, wide=120, high=step - 9)
    canvas.showPage()


def _thumb(canvas: Canvas, ply: FlatPly, own: Sheets, x: float, y: float, wide: float, high: float) -> None:
    """A pattern small, over its sheets."""
    boxes = np.array([t.box for t in own.tiles])
    left, low, right, top = boxes[:, 0].min(), boxes[:, 1].min(), boxes[:, 2].max(), boxes[:, 3].max()
    scale = min(wide / (right - left), high / (top - low))
    canvas.saveState()
    canvas.translate(x, y)
    canvas.setLineWidth(0.3)
    canvas.setStrokeColor(_hex(palette.OTHER))
    canvas.setFillColor(_hex(palette.QUIET))
    canvas.setFont("Text", 4.2)
    for tile in own.tiles:
        a, b, c, d = tile.box
        canvas.rect((a - left) * scale, (b - low) * scale, (c - a) * scale, (d - b) * scale)
        if (c - a) * scale > 9:
            canvas.drawString((a - left) * scale + 1.6, (b - low) * scale + 1.6, tile.name)
    canvas.setStrokeColor(_hex(palette.INK))
    canvas.setLineWidth(0.7)
    for ring in (ply.outline.exterior, *ply.outline.interiors):
        shape = canvas.beginPath()
        points = np.asarray(ring.coords)[:, :2]
        if own.turned:
            points = np.stack([-points[:, 1], points[:, 0]], axis=1)
        points = (points - (left, low)) * scale
        shape.moveTo(*points[0])
        for point in points[1:]:
            shape.lineTo(*point)
        canvas.drawPath(shape)
    canvas.restoreState()


_PENS: dict[str, tuple[str, float, tuple[float, ...]]] = {
    "CUT": (palette.INK, 1.2, ()),
    "EDGE": (palette.INK, 0.6, (5, 2.5)),
    "CENTRE": (palette.QUIET, 0.5, (14, 3, 3, 3)),
    "NOTCH": (palette.INK, 1.6, ()),
    "OVERLAP": (palette.QUIET, 0.7, (9, 5)),
    "BEVEL": (palette.INK, 0.8, (7, 3)),
    "SCORE": (palette.INK, 0.7, (1, 3)),
    "DRILL": (palette.INK, 0.6, ()),
    "ARROW": (palette.INK, 1.0, ()),
}


def _sheet(
    canvas: Canvas, ply: FlatPly, drawn: Strokes, own: Sheets, tile: Tile, title: str, number: int, total: int
) -> None:
    """One sheet: its part of the pattern at full size, marks to join it by, the check bars."""
    page, window = own.page, own.window
    canvas.setPageSize((page[0] * _POINT, page[1] * _POINT))
    canvas.saveState()
    canvas.translate(SIDE * _POINT, FOOT * _POINT)
    frame = canvas.beginPath()
    frame.rect(0, 0, window[0] * _POINT, window[1] * _POINT)
    canvas.saveState()
    canvas.clipPath(frame, stroke=0, fill=0)
    x0, y0 = tile.box[0], tile.box[1]
    for line in drawn.lines:
        points = (line.points - (x0, y0)) * _POINT
        if points[:, 0].max() < -9 or points[:, 1].max() < -9 or points[:, 0].min() > window[0] * _POINT + 9:
            continue
        colour, width, dash = _PENS[line.layer]
        canvas.setStrokeColor(_hex(colour))
        canvas.setLineWidth(width)
        canvas.setDash(list(dash))
        shape = canvas.beginPath()
        shape.moveTo(*points[0])
        for point in points[1:]:
            shape.lineTo(*point)
        if line.closed:
            shape.close()
        canvas.drawPath(shape)
    canvas.setDash([])
    for layer, x, y, radius in drawn.circles:
        canvas.setStrokeColor(_hex(_PENS[layer][0]))
        canvas.setLineWidth(_PENS[layer][1])
        canvas.circle((x - x0) * _POINT, (y - y0) * _POINT, radius * _POINT)
    canvas.setFillColor(_hex(palette.INK))
    for word in drawn.words:
        canvas.setFont("Text-Bold", word.height * _POINT / 0.72)
        canvas.saveState()
        canvas.translate((word.at[0] - x0) * _POINT, (word.at[1] - y0) * _POINT)
        canvas.rotate(90 if own.turned else 0)
        canvas.drawString(0, 0, word.text)
        canvas.restoreState()
    canvas.restoreState()
    _joins(canvas, own, tile)
    canvas.restoreState()
    _bars(canvas)
    canvas.setFillColor(_hex(palette.INK))
    canvas.setFont("Text-Bold", 11)
    canvas.drawRightString((page[0] - SIDE) * _POINT, 0.0125 * _POINT, tile.name if len(own.tiles) > 1 else "")
    canvas.setFont("Text", 6.5)
    room = int(((page[0] - SIDE) * _POINT - 370) / 4.1)
    canvas.drawRightString(
        (page[0] - SIDE - 0.012) * _POINT, 0.0132 * _POINT, title if len(title) <= room else title[: room - 1] + "…"
    )
    canvas.setFillColor(_hex(palette.QUIET))
    canvas.drawRightString((page[0] - SIDE - 0.012) * _POINT, 0.0095 * _POINT, f"page {number} of {total}")
    canvas.showPage()


def _joins(canvas: Canvas, own: Sheets, tile: Tile) -> None:
    """Cut lines at the right and top, lay-on lines at the left and foot, and crosses in the shared corners."""
    wide, high, shared = own.window[0] * _POINT, own.window[1] * _POINT, OVERLAP * _POINT
    canvas.setLineWidth(0.5)
    canvas.setStrokeColor(_hex(palette.QUIET))
    printed = {(t.row, t.column) for t in own.tiles}
    left, right = (tile.row, tile.column - 1) in printed, (tile.row, tile.column + 1) in printed
    below, above = (tile.row - 1, tile.column) in printed, (tile.row + 1, tile.column) in printed
    if right:
        canvas.line(wide, 0, wide, high)
    if above:
        canvas.line(0, high, wide, high)
    canvas.setDash([4, 3])
    if left:
        canvas.line(shared, 0, shared, high)
    if below:
        canvas.line(0, shared, wide, shared)
    canvas.setDash([])
    for x, there in ((shared / 2, left), (wide - shared / 2, right)):
        for y in (0.25 * high, 0.75 * high):
            if there:
                _cross(canvas, x, y)
    for y, there in ((shared / 2, below), (high - shared / 2, above)):
        for x in (0.25 * wide, 0.75 * wide):
            if there:
                _cross(canvas, x, y)


def _cross(canvas: Canvas, x: float, y: float) -> None:
    arm = 0.004 * _POINT
    canvas.line(x - arm, y, x + arm, y)
    canvas.line(x, y - arm, x, y + arm)
    canvas.circle(x, y, 0.5 * arm)


def _bars(canvas: Canvas) -> None:
    """A bar of 100 mm over one of 4 in."""
    canvas.setStrokeColor(_hex(palette.INK))
    canvas.setFillColor(_hex(palette.INK))
    canvas.setFont("Text", 6.5)
    for y, length, word in ((0.0145, 0.100, "100 mm"), (0.0085, 0.1016, "4 in")):
        left, right, level = SIDE * _POINT, (SIDE + length) * _POINT, y * _POINT
        canvas.setLineWidth(0.8)
        canvas.line(left, level, right, level)
        for x in (left, right):
            canvas.line(x, level - 4, x, level + 4)
        canvas.drawString(right + 5, level - 2.2, word)


def _letters(number: int) -> str:
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) if text else []
