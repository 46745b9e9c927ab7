"""The build sheet as PDF: a frame, a title block on every page, one family of type, black on white.

Everything is laid out by reportlab in cells that wrap, so nothing is cut off; a table that does not fit a page goes on
on the next under the same head. The type is DejaVu Sans, which comes with matplotlib and may be embedded freely
(its licence, LICENSE_DEJAVU, lies beside it; it is the Bitstream Vera licence with public-domain additions).
"""

from __future__ import annotations

import io
import re
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from layup.report.document import TICK, WRITE, Block, BuildSheet, Facts, Grid, Plate, Section, Words

_MM = 72 / 25.4
_MARGIN = 9 * _MM  # paper to frame
_INSIDE = 5 * _MM  # frame to text
_PLATE = 23 * _MM  # height of the title block
_LINE, _THIN = 1.1, 0.4
_GREY = 0.42  # of secondary text: dark enough for a grey printer
_PALE = 0.92
_SPLIT = 5  # rows from which a table may go on on the next page


def pdf_bytes(sheet: BuildSheet, width: float, height: float) -> bytes:
    """The sheet as a PDF file.

    Args:
        sheet: What to print.
        width: Of the paper. [mm]
        height: Of the paper. [mm]

    Returns:
        The file; the same bytes for the same sheet.
    """
    register_fonts()
    pages = _build(sheet, width * _MM, height * _MM, 0)[1]
    return _build(sheet, width * _MM, height * _MM, pages)[0]


def _build(sheet: BuildSheet, width: float, height: float, pages: int) -> tuple[bytes, int]:
    """The file, and how many pages it has; the number of pages is printed on each, so it is built twice."""
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=(width, height),
        invariant=1,
        initialFontName="Text",
        title=f"{sheet.title}, build sheet",
        author="layup",
        subject="Build sheet",
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN,
    )
    frame = Frame(
        _MARGIN + _INSIDE,
        _MARGIN + _PLATE + 2 * _MM,
        width - 2 * (_MARGIN + _INSIDE),
        height - 2 * _MARGIN - _PLATE - 2 * _MM - 4 * _MM,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )

    def dress(canvas: Any, _: Any) -> None:
        _title_block(canvas, sheet, width, height, pages)

    opened: list[tuple[int, str, bool]] = []  # of every section: page, heading, whether it is the first thing there

    def note(flowable: Any) -> None:
        if hasattr(flowable, "opens"):
            top = document.frame._y + flowable._height > document.frame._y2 - 9 * _MM
            opened.append((document.page, flowable.opens, top))

    def head(canvas: Any, page: Any) -> None:
        before = [heading for number, heading, _ in opened if number < page.page]
        if before and not any(first for number, _, first in opened if number == page.page):
            canvas.setFont("Text-Bold", 8.0)
            canvas.setFillGray(_GREY)
            canvas.drawString(_MARGIN + _INSIDE, height - _MARGIN - 3.2 * _MM, f"{before[-1]} (continued)")

    document.afterFlowable = note
    document.addPageTemplates([PageTemplate(id="sheet", frames=[frame], onPage=dress, onPageEnd=head)])
    inner = width - 2 * (_MARGIN + _INSIDE)
    story: list[Any] = []
    for number, section in enumerate(sheet.sections, 1):
        story += _section(number, section, inner)
    document.build(story)
    return out.getvalue(), int(document.page)


def _title_block(canvas: Any, sheet: BuildSheet, width: float, height: float, pages: int) -> None:
    """Frame and title block of one page."""
    canvas.saveState()
    canvas.setLineWidth(_LINE)
    left, low, wide = _MARGIN, _MARGIN, width - 2 * _MARGIN
    canvas.rect(left, low, wide, height - 2 * _MARGIN)
    top = low + _PLATE
    canvas.line(left, top, left + wide, top)
    canvas.setLineWidth(_THIN)
    half = low + _PLATE * 0.45
    canvas.line(left, half, left + wide, half)
    # above: title and sheet number
    last = left + wide * 0.84
    canvas.line(last, half, last, top)
    room = last - left - 5 * _MM
    size = _fitting(canvas, sheet.title, "Text-Bold", 15.0, room)
    _cell(canvas, left, half, "build sheet", sheet.title, size, bold=True, high=top - half)
    said = f"{canvas.getPageNumber()} of {pages}" if pages else str(canvas.getPageNumber())
    _cell(canvas, last, half, "sheet", said, 12.0, bold=True, high=top - half)
    # below: one cell for each entry, as wide as what it holds
    cells = [(label, value or " ") for label, value in sheet.plate]
    sizes = [max(canvas.stringWidth(v, "Text", 8.2), canvas.stringWidth(k, "Text", 6.2)) + 4.6 * _MM for k, v in cells]
    squeeze = min(1.0, wide / sum(sizes))
    spare = max(0.0, wide - sum(sizes)) / len(cells)
    at = left
    for (label, value), size in zip(cells, sizes, strict=True):
        room = size * squeeze + spare
        _cell(canvas, at, low, label, value, 8.2 * squeeze, bold=False, high=half - low)
        at += room
        if at < left + wide - 1:
            canvas.line(at, low, at, half)
    canvas.restoreState()


def _fitting(canvas: Any, text: str, font: str, size: float, room: float) -> float:
    """The largest size, up to the one given, at which a text fits."""
    long = canvas.stringWidth(text, font, size)
    return size if long <= room else size * room / long


def _cell(canvas: Any, x: float, y: float, label: str, value: str, size: float, *, bold: bool, high: float) -> None:
    canvas.setFillGray(_GREY)
    canvas.setFont("Text", 6.2)
    canvas.drawString(x + 2 * _MM, y + high - 3.1 * _MM, label)
    canvas.setFillGray(0)
    canvas.setFont("Text-Bold" if bold else "Text", size)
    canvas.drawString(x + 2 * _MM, y + max(1.9 * _MM, (high - 3.4 * _MM - size * 0.7) / 2), value)


def _section(number: int, section: Section, width: float) -> list[Any]:
    from reportlab.platypus import CondPageBreak, KeepTogether, Spacer, Table

    from reportlab.lib.colors import black, white  # isort: skip

    badge = _paragraph(f"<b>{number}</b>", 11.5, colour="white", align=1)
    heading = Table(
        [[badge, _paragraph(f"<b>{escape(section.title)}</b>", 13.0)]], colWidths=[8 * _MM, width - 8 * _MM]
    )
    heading.setStyle(
        [
            ("FONT", (0, 0), (-1, -1), "Text"),
            ("BACKGROUND", (0, 0), (0, 0), black),
            ("TEXTCOLOR", (0, 0), (0, 0), white),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LINEBELOW", (0, 0), (-1, 0), _LINE, black),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3.5),
            ("LEFTPADDING", (0, 0), (0, 0), 1),
            ("RIGHTPADDING", (0, 0), (0, 0), 1),
            ("LEFTPADDING", (1, 0), (1, 0), 5),
        ]
    )
    heading.spaceBefore = 7 * _MM  # but not at the top of a page
    heading.opens = f"{number}  {section.title}"  # for the head of a page that it goes on to
    room = 40 if isinstance(section.blocks[0], Words) and len(section.blocks) == 1 else 55
    start: list[Any] = [CondPageBreak(room * _MM)]
    story: list[Any] = start
    before: list[Any] = [heading, Spacer(1, 3 * _MM)]  # stays with what comes next
    last: list[Any] | None = None  # what the words at the end of a section stay with
    for block in _paired(section.blocks, width):
        flowables = _block(block, width)
        if isinstance(block, Grid) and len(block.rows) > _SPLIT:
            story += [CondPageBreak(60 * _MM), *before, *flowables]
            last = None
        elif isinstance(block, Words) and not block.caution:
            before = [*before, *flowables, Spacer(1, 3 * _MM)]
            continue
        else:
            last = [*before, *flowables]
            story.append(KeepTogether(last))
        before = [Spacer(1, 3 * _MM)]
    if last is not None:
        story[-1] = KeepTogether([*last, *before])
        return story
    return [*story, KeepTogether(before)]


def _paired(blocks: tuple[Block, ...], width: float) -> list[Block | tuple[Plate, Plate]]:
    """Blocks with neighbouring pictures side by side where two fit."""
    found: list[Block | tuple[Plate, Plate]] = []
    for block in blocks:
        last = found[-1] if found else None
        if isinstance(block, Plate) and isinstance(last, Plate) and (last.width + block.width) * 72 <= width:
            found[-1] = (last, block)
        else:
            found.append(block)
    return found


def _paragraph(markup: str, size: float, *, colour: str = "black", align: int = 0) -> Any:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "x",
        fontName="Text",
        fontSize=size,
        leading=size * 1.24,
        textColor=colour,
        alignment=align,
        splitLongWords=0,
    )
    return Paragraph(markup, style)


def _block(block: Block | tuple[Plate, Plate], width: float) -> list[Any]:
    if isinstance(block, tuple):
        from reportlab.platypus import Table

        pair = Table([[_plate(block[0], width), _plate(block[1], width)]], hAlign="LEFT")
        pair.setStyle(
            [
                ("FONT", (0, 0), (-1, -1), "Text"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
            ]
        )
        return [pair]
    if isinstance(block, Facts):
        return [_facts(block, width)]
    if isinstance(block, Grid):
        return [_grid(block, width)]
    if isinstance(block, Plate):
        return [_plate(block, width)]
    return [_words(block, width)]


def _text(value: str) -> str:
    return escape(value).replace("\n", "<br/>")


def _facts(facts: Facts, width: float) -> Any:
    from reportlab.lib.colors import Color
    from reportlab.platypus import Table

    grey = f"#{round(_GREY * 255):02x}" + f"{round(_GREY * 255):02x}" * 2
    cells = []
    for label, value in facts.pairs:
        head = f'<font size="7.4" color="{grey}">{_text(label)}</font><br/>'
        cells.append(_paragraph(head + (f"<b>{_text(value)}</b>" if value != WRITE else "<br/><br/>"), 10.0))
    while len(cells) % facts.columns:
        cells.append(_paragraph("", 10.0))
    rows = [cells[i : i + facts.columns] for i in range(0, len(cells), facts.columns)]
    table = Table(rows, colWidths=[width / facts.columns] * facts.columns)
    line = Color(0, 0, 0)
    table.setStyle(
        [
            ("FONT", (0, 0), (-1, -1), "Text"),
            ("GRID", (0, 0), (-1, -1), _THIN, line),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 3),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
            ("LEFTPADDING", (0, 0), (-1, -1), 4.5),
        ]
    )
    return table


def _grid(grid: Grid, width: float) -> Any:
    from reportlab.lib.colors import Color, black
    from reportlab.platypus import Table

    widths = [share / sum(grid.shares) * width for share in grid.shares]
    size = 9.3
    rows = [
        [
            _paragraph(f"<b>{_text(cell)}</b>", 7.8, align=2 if i in grid.right else 0)
            for i, cell in enumerate(grid.head)
        ]
    ]
    ticks = []
    for number, row in enumerate(grid.rows, 1):
        cells = []
        for i, cell in enumerate(row):
            if cell == TICK:
                ticks.append((i, number))
                cells.append(_tick())
            elif cell == WRITE:
                cells.append("")
            else:
                text = f"<b>{_text(cell)}</b>" if i in grid.strong else _text(cell)
                cells.append(
                    _paragraph(text, _size(cell, widths[i], size, i in grid.strong), align=2 if i in grid.right else 0)
                )
        rows.append(cells)
    table = Table(rows, colWidths=widths, repeatRows=1)
    room = 7.0 if grid.tall else 3.6
    style: list[Any] = [
        ("LINEABOVE", (0, 0), (-1, 0), _LINE, black),
        ("LINEBELOW", (0, 0), (-1, 0), _LINE, black),
        ("LINEBELOW", (0, 1), (-1, -1), _THIN, black),
        ("BACKGROUND", (0, 0), (-1, 0), Color(_PALE, _PALE, _PALE)),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("VALIGN", (0, 1), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 1), (-1, -1), room),
        ("BOTTOMPADDING", (0, 1), (-1, -1), room + 1),
        ("TOPPADDING", (0, 0), (-1, 0), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, 0), 3.5),
    ]
    style += [("ALIGN", (i, n), (i, n), "CENTER") for i, n in ticks]
    for number, row in enumerate(grid.rows, 1):
        style += [("BOX", (i, number), (i, number), _LINE, black) for i, cell in enumerate(row) if cell == WRITE]
    table.setStyle([("FONT", (0, 0), (-1, -1), "Text"), *style])
    return table


def _size(cell: str, width: float, size: float, bold: bool) -> float:
    """A size at which the longest word of a cell fits its column."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    words = re.split(r"[ \n]+", cell)  # not at spaces that must not break
    longest = max(stringWidth(word, "Text-Bold" if bold else "Text", size) for word in words)
    return size if longest <= width - 7 else max(5.0, size * (width - 7) / longest)


def _tick() -> Any:
    """A box to tick, large enough for a thick pencil."""
    from reportlab.platypus import Flowable

    class Box(Flowable):  # type: ignore[misc]  # reportlab has no types
        def __init__(self) -> None:
            super().__init__()
            self.width = self.height = 4.4 * _MM

        def draw(self) -> None:
            self.canv.setLineWidth(0.9)
            self.canv.rect(0, 0, self.width, self.height)

    box = Box()
    box.hAlign = "CENTER"
    return box


def _words(words: Words, width: float) -> Any:
    from reportlab.lib.colors import black
    from reportlab.platypus import Table

    rows = [[_paragraph(_text(line), 9.3 if words.caution else 8.8)] for line in words.lines]
    table = Table(rows, colWidths=[width])
    style: list[Any] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 7 if words.caution else 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ]
    if words.caution:
        style.append(("LINEBEFORE", (0, 0), (0, -1), 3.2, black))
    table.setStyle([("FONT", (0, 0), (-1, -1), "Text"), *style])
    return table


def _plate(plate: Plate, width: float) -> Any:
    from reportlab.platypus import Image

    wide = min(width, plate.width * 72)
    high = wide * plate.height / plate.width
    most = 118 * _MM
    if high > most:
        wide, high = wide * most / high, most
    image = Image(io.BytesIO(plate.png), wide, high)
    image.hAlign = "LEFT"
    return image


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """DejaVu Sans, which the plotting library carries: it has the minus sign, umlauts, Greek and Cyrillic."""
    import matplotlib
    from reportlab.lib.fonts import addMapping
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont("Text", str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont("Text-Bold", str(folder / "DejaVuSans-Bold.ttf")))
    for italic in (0, 1):
        addMapping("Text", 0, italic, "Text")
        addMapping("Text", 1, italic, "Text-Bold")
