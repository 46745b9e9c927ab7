"""Papers as PDF: a frame, a title block on every page, one family of type, black on white.

Everything is laid out by reportlab in cells that wrap, so nothing is cut off; a table that does not fit a page goes on
on the next under the same head. The type is DejaVu Sans, which comes with matplotlib and may be embedded freely
(its licence, LICENSE_DEJAVU, lies beside it; it is the Bitstream Vera licence with public-domain additions).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from xml.sax.saxutils import escape

from layup.report import palette
from layup.report.document import TICK, WRITE, Block, Document, Facts, Grid, Plate, Section, Words

if TYPE_CHECKING:
    from reportlab.lib.colors import Color
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import BaseDocTemplate, Flowable, Image, Paragraph, Table
    from reportlab.platypus.doctemplate import _PageCallback

    Rule = tuple[str, tuple[int, int], tuple[int, int], *tuple[float | str | Color, ...]]
    """Of a table: what, from which cell, to which, and how."""

_MM = 72 / 25.4
_MARGIN = 9 * _MM  # paper to frame
_INSIDE = 3.5 * _MM  # frame to text
_PLATE = 14.5 * _MM  # height of the title block
_BANNER = 9 * _MM  # of the alarm at the top of every page
_LINE, _THIN = 1.1, 0.4
_GREY = 0.42  # of secondary text: dark enough for a grey printer
_PALE = 0.92
_TOGETHER = 12  # rows of a sum that are not parted by the end of a page
_OPENS = "opens"  # key under which the heading of a section keeps its words
_SPLIT = 5  # rows from which a table may go on on the next page
_BODY, _SMALL, _HEAD = 8.3, 7.4, 7.0  # of tables, of sentences, of headings of columns [pt]
_TALLEST = 68 * _MM  # of a picture
_TWO = 45 * _MM  # of a picture with something beside it
_STIFF = "\u00a0"
_FIGURE = re.compile(r"(?<=[0-9]) (?=[^\s(–]|[0-9]+/)")
"""The spaces within a figure and before its unit, where a line is not broken."""
_BESIDE = 0.66  # of the width for a picture that has facts beside it


def pdf_bytes(documents: Sequence[Document], width: float, height: float) -> bytes:
    """Papers as one PDF file, each with its own count of pages.

    Args:
        documents: What to print, one after the other.
        width: Of the paper. [mm]
        height: Of the paper. [mm]

    Returns:
        The file; the same bytes for the same papers.
    """
    register_fonts()
    pages = _build(documents, width * _MM, height * _MM, {})[1]
    return _build(documents, width * _MM, height * _MM, pages)[0]


def _build(
    documents: Sequence[Document], width: float, height: float, pages: dict[int, tuple[int, int]]
) -> tuple[bytes, dict[int, tuple[int, int]]]:
    """The file, and by page the number and the count in its own paper; these are printed, so it is built twice."""
    from reportlab.platypus import BaseDocTemplate, Frame, NextPageTemplate, PageBreak, PageTemplate

    class Noting(BaseDocTemplate):
        def afterFlowable(self, flowable: Flowable) -> None:
            if _OPENS in (own := vars(flowable)):
                frame = vars(self.frame)
                opened.append((self.page, own[_OPENS], frame["_y"] + own["_height"] > frame["_y2"] - 9 * _MM))

    out = io.BytesIO()
    first = documents[0]
    kinds = ", ".join(document.kind for document in documents)
    built = Noting(
        out, pagesize=(width, height), invariant=1, initialFontName="Text", title=f"{first.title}: {kinds}",
        author="layup", creator="layup", subject=kinds, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN,
        bottomMargin=_MARGIN,
    )  # fmt: skip
    opened: list[tuple[int, str, bool]] = []  # of every section: page, heading, whether it is the first thing there
    owner: dict[int, int] = {}  # which paper a page is of

    def dress(number: int) -> _PageCallback:
        def draw(canvas: Canvas, _: BaseDocTemplate) -> None:
            owner[canvas.getPageNumber()] = number
            _title_block(canvas, documents[number], width, height, pages.get(canvas.getPageNumber()))
            if documents[number].banner:
                _banner(canvas, documents[number].banner, width, height)

        return draw

    def head(canvas: Canvas, page: BaseDocTemplate) -> None:
        own = [entry for entry in opened if owner.get(entry[0]) == owner.get(page.page)]
        before = [heading for number, heading, _ in own if number < page.page]
        if before and not any(top for number, _, top in own if number == page.page):
            canvas.setFont("Text-Bold", 8.0)
            canvas.setFillGray(_GREY)
            down = _BANNER if documents[owner[page.page]].banner else 0.0
            canvas.drawString(_MARGIN + _INSIDE, height - _MARGIN - down - 3.2 * _MM, f"{before[-1]} (continued)")

    inner = width - 2 * (_MARGIN + _INSIDE)
    story: list[Flowable] = []
    templates = []
    for number, document in enumerate(documents):
        tall = height - 2 * _MARGIN - _PLATE - 5 * _MM - (_BANNER if document.banner else 0.0)
        frame = Frame(
            _MARGIN + _INSIDE, _MARGIN + _PLATE + 1 * _MM, inner, tall,
            leftPadding=0, bottomPadding=0, rightPadding=0, topPadding=0,
        )  # fmt: skip
        templates.append(PageTemplate(id=f"p{number}", frames=[frame], onPage=dress(number), onPageEnd=head))
        if number:
            story += [NextPageTemplate(f"p{number}"), PageBreak()]
        alarms = [_alarms(document.alarms, inner)] if document.alarms else []
        story += alarms
        for place, section in enumerate(document.sections, 1):
            story += _section(place, section, inner)
        story += [_alarms(document.alarms, inner)] if document.alarms else []
    built.addPageTemplates(templates)
    built.build(story)
    counts = {number: sum(paper == number for paper in owner.values()) for number in set(owner.values())}
    begins = {number: min(page for page, paper in owner.items() if paper == number) for number in counts}
    return out.getvalue(), {page: (page - begins[paper] + 1, counts[paper]) for page, paper in owner.items()}


def _alarms(lines: tuple[str, ...], width: float) -> Table:
    """What must not be missed, white on a dark ground."""
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Table

    table = Table([[_paragraph(f"<b>{_text(line)}</b>", 9.5, colour=palette.PAPER)] for line in lines], [width])
    table.setStyle([("FONT", (0, 0), (-1, -1), "Text"), ("BACKGROUND", (0, 0), (-1, -1), HexColor(palette.OLD))])
    table.spaceBefore = 3 * _MM
    table.spaceAfter = 3 * _MM
    return table


def _banner(canvas: Canvas, words: str, width: float, height: float) -> None:
    """The alarm of every page, at its top."""
    from reportlab.lib.colors import HexColor

    canvas.saveState()
    canvas.setFillColor(HexColor(palette.OLD))
    canvas.rect(_MARGIN, height - _MARGIN - _BANNER + 2 * _MM, width - 2 * _MARGIN, _BANNER - 2 * _MM, stroke=0, fill=1)
    canvas.setFillColor(HexColor(palette.PAPER))
    canvas.setFont("Text-Bold", 10.5)
    canvas.drawCentredString(width / 2, height - _MARGIN - _BANNER + 3.6 * _MM, words)
    canvas.restoreState()


def _title_block(
    canvas: Canvas, document: Document, width: float, height: float, numbered: tuple[int, int] | None
) -> None:
    """Frame and title block of one page."""
    canvas.saveState()
    canvas.setLineWidth(_LINE)
    left, low, wide = _MARGIN, _MARGIN, width - 2 * _MARGIN
    canvas.rect(left, low, wide, height - 2 * _MARGIN)
    top = low + _PLATE
    canvas.line(left, top, left + wide, top)
    canvas.setLineWidth(_THIN)
    half = low + _PLATE * 0.47
    canvas.line(left, half, left + wide, half)
    # above: title and number of the page
    last = left + wide * 0.84
    canvas.line(last, half, last, top)
    room = last - left - 5 * _MM
    size = _fitting(canvas, document.title, "Text-Bold", 12.5, room)
    _cell(canvas, left, half, document.kind, document.title, size, bold=True, high=top - half)
    said = "{} of {}".format(*numbered) if numbered else ""
    _cell(canvas, last, half, "page", said, 10.5, bold=True, high=top - half)
    # below: one cell for each entry, as wide as what it holds
    cells = [(label, "" if value == WRITE else value) for label, value in document.plate]
    sizes = [
        max(canvas.stringWidth(v, "Text", 8.2), canvas.stringWidth(k, "Text", 6.2), 0 if v else 22 * _MM) + 4.6 * _MM
        for k, v in cells
    ]
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


def _fitting(canvas: Canvas, text: str, font: str, size: float, room: float) -> float:
    """The largest size, up to the one given, at which a text fits."""
    long = canvas.stringWidth(text, font, size)
    return size if long <= room else size * room / long


def _cell(canvas: Canvas, x: float, y: float, label: str, value: str, size: float, *, bold: bool, high: float) -> None:
    canvas.setFillGray(_GREY)
    canvas.setFont("Text", 6.2)
    canvas.drawString(x + 2 * _MM, y + high - 2.5 * _MM, label)
    canvas.setFillGray(0)
    canvas.setFont("Text-Bold" if bold else "Text", size)
    canvas.drawString(x + 2 * _MM, y + max(1.3 * _MM, (high - 2.8 * _MM - size * 0.7) / 2), value)


def _section(number: int, section: Section, width: float) -> list[Flowable]:
    from reportlab.platypus import CondPageBreak, KeepTogether, Spacer, Table

    from reportlab.lib.colors import black, white  # isort: skip

    badge = _paragraph(f"<b>{number}</b>", 9.5, colour="white", align=1)
    heading = Table(
        [[badge, _paragraph(f"<b>{escape(section.title)}</b>", 10.5)]], colWidths=[7 * _MM, width - 7 * _MM]
    )
    heading.setStyle(
        [
            ("FONT", (0, 0), (-1, -1), "Text"),
            ("BACKGROUND", (0, 0), (0, 0), black),
            ("TEXTCOLOR", (0, 0), (0, 0), white),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LINEBELOW", (0, 0), (-1, 0), _LINE, black),
            ("TOPPADDING", (0, 0), (-1, -1), 1.0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0),
            ("LEFTPADDING", (0, 0), (0, 0), 1),
            ("RIGHTPADDING", (0, 0), (0, 0), 1),
            ("LEFTPADDING", (1, 0), (1, 0), 5),
        ]
    )
    heading.spaceBefore = 2.8 * _MM  # but not at the top of a page
    vars(heading)[_OPENS] = f"{number}  {section.title}"  # for the head of a page that it goes on to
    room = 18 if isinstance(section.blocks[0], Words) and len(section.blocks) == 1 else 30
    story: list[Flowable] = [CondPageBreak(room * _MM)]
    before: list[Flowable] = [heading, Spacer(1, 1.6 * _MM)]  # stays with what comes next
    headed = False
    for block in _paired(section.blocks, width):
        flowables = _block(block, width)
        if isinstance(block, Words) and not block.caution and not headed:
            before += [*flowables, Spacer(1, 1.2 * _MM)]  # an introduction stays with its table
            continue
        if isinstance(block, Grid) and len(block.rows) > _SPLIT:
            story += [CondPageBreak(32 * _MM), *before, *flowables]
        elif isinstance(block, Words) and headed:
            story += [*before, *flowables]
        else:
            story.append(KeepTogether([*before, *flowables]))
        before, headed = [Spacer(1, 1.6 * _MM)], True
    if not headed:
        story.append(KeepTogether(before))
    if section.together:
        return [KeepTogether([part for part in _flat(story) if not isinstance(part, CondPageBreak)])]
    return story


def _flat(flowables: Sequence[Flowable]) -> Iterator[Flowable]:
    """Flowables one by one, out of what keeps some of them together."""
    from reportlab.platypus import KeepTogether

    for one in flowables:
        yield from _flat(vars(one)["_content"]) if isinstance(one, KeepTogether) else (one,)


_Pair = list[Plate | Facts]


def _paired(blocks: tuple[Block, ...], width: float) -> list[Block | _Pair]:
    """Blocks with neighbouring pictures side by side where two fit, and facts beside the picture they follow."""
    found: list[Block | _Pair] = []
    for block in blocks:
        last = found[-1] if found else None
        row: _Pair = [last] if isinstance(last, Plate) else last if isinstance(last, list) else []
        plates = [one for one in row if isinstance(one, Plate)]
        if not plates or len(plates) < len(row):
            found.append(block)
        elif isinstance(block, Facts) and len(row) == 1:
            found[-1] = [plates[0], block]
        elif isinstance(block, Plate) and sum(_shrunk(one) for one in (*plates, block)) <= width:
            found[-1] = [*plates, block]
        else:
            found.append(block)
    return found


def _shrunk(plate: Plate) -> float:
    """Width of a picture that stands in a row. [pt]"""
    return plate.width * min(72.0, _TWO / plate.height) + 6.0


def _paragraph(markup: str, size: float, *, colour: str = "black", align: Literal[0, 1, 2] = 0) -> Paragraph:
    from reportlab.lib.colors import toColor
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "x",
        fontName="Text",
        fontSize=size,
        leading=size * 1.24,
        textColor=toColor(colour),
        alignment=align,
        splitLongWords=0,
    )
    return Paragraph(markup, style)


def _block(block: Block | _Pair, width: float) -> list[Flowable]:
    if isinstance(block, list):
        from reportlab.platypus import Table

        beside = any(isinstance(one, Facts) for one in block)
        shares = (_BESIDE, 1 - _BESIDE)
        widths = [width * share for share in shares] if beside else [_shrunk(p) for p in block if isinstance(p, Plate)]
        cells = [
            _plate(one, wide - 6.0, _TWO) if isinstance(one, Plate) else _facts(one, wide)
            for one, wide in zip(block, widths, strict=True)
        ]
        pair = Table([cells], colWidths=widths, hAlign="LEFT")
        pair.setStyle(
            [
                ("FONT", (0, 0), (-1, -1), "Text"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("VALIGN", (0, 0), (-1, -1), "TOP" if beside else "BOTTOM"),
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


def _facts(facts: Facts, width: float) -> Table:
    from reportlab.lib.colors import Color
    from reportlab.platypus import Table

    grey = f"#{round(_GREY * 255):02x}" + f"{round(_GREY * 255):02x}" * 2
    cells = []
    for label, value in facts.pairs:
        head = f'<font size="6.2" color="{grey}">{_text(label)}</font><br/>'
        said = "<br/>" if value == WRITE else f"<b>{_text(_FIGURE.sub(_STIFF, value))}</b>"
        cells.append(_paragraph(head + said, _BODY))
    while len(cells) % facts.columns:
        cells.append(_paragraph("", _BODY))
    rows = [cells[i : i + facts.columns] for i in range(0, len(cells), facts.columns)]
    table = Table(rows, colWidths=[width / facts.columns] * facts.columns)
    line = Color(0, 0, 0)
    table.setStyle(
        [
            ("FONT", (0, 0), (-1, -1), "Text"),
            ("GRID", (0, 0), (-1, -1), _THIN, line),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 1.0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            ("LEFTPADDING", (0, 0), (-1, -1), 3.5),
        ]
    )
    return table


def _grid(grid: Grid, width: float) -> Table:
    from reportlab.lib.colors import Color, HexColor, black
    from reportlab.platypus import Table

    size = _BODY
    widths = [share / sum(grid.shares) * width for share in grid.shares] or _widths(grid, width, size)
    rows: list[list[Flowable | str]] = [
        [
            _paragraph(f"<b>{_text(cell)}</b>", _HEAD, align=2 if i in grid.right else 0)
            for i, cell in enumerate(grid.head)
        ]
    ]
    ticks = []
    for number, row in enumerate(grid.rows):
        cells: list[Flowable | str] = []
        for i, cell in enumerate(row):
            if cell == TICK:
                ticks.append((i, number + 1))
                cells.append(_tick())
            elif cell == WRITE:
                cells.append("")
            else:
                bold = i in grid.strong or number in grid.totals or number in grid.bad
                text = f"<b>{_text(cell)}</b>" if bold else _text(cell)
                colour = palette.PAPER if number in grid.bad else "black"
                fits = _size(cell, widths[i], size, bold)
                cells.append(_paragraph(text, fits, colour=colour, align=2 if i in grid.right else 0))
        rows.append(cells)
    table = Table(rows, colWidths=widths, repeatRows=1)
    room = 3.0 if grid.tall else 1.2
    style: list[Rule] = [
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
        ("TOPPADDING", (0, 0), (-1, 0), 1.0),
        ("BOTTOMPADDING", (0, 0), (-1, 0), 2.0),
    ]
    ends = sorted(grid.totals)
    for first, last in zip([-1, *ends], ends, strict=False):
        if last - first <= _TOGETHER:  # what adds up to a sum stays on its page
            style.append(("NOSPLIT", (0, first + 2), (-1, last + 1)))
    style += [("ALIGN", (i, n), (i, n), "CENTER") for i, n in ticks]
    style += [("LINEABOVE", (0, n + 1), (-1, n + 1), _LINE, black) for n in grid.totals]
    style += [("BACKGROUND", (0, n + 1), (-1, n + 1), HexColor(palette.OLD)) for n in grid.bad]
    for number, row in enumerate(grid.rows, 1):
        style += [("BOX", (i, number), (i, number), _LINE, black) for i, cell in enumerate(row) if cell == WRITE]
    table.setStyle([("FONT", (0, 0), (-1, -1), "Text"), *style])
    return table


def _widths(grid: Grid, width: float, size: float) -> list[float]:
    """Columns as wide as what stands in them asks, words giving way before figures."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    def room(text: str) -> float:
        return max(float(stringWidth(line, "Text-Bold", size)) for line in text.split("\n")) + 8.0

    columns = [[name, *(row[i] for row in grid.rows)] for i, name in enumerate(grid.head)]
    wants = [max(room(text) for text in texts) for texts in columns]
    figures = [i in grid.right for i in range(len(columns))]
    least = [
        want if figure else min(max(room(word) for text in texts for word in text.split() or [""]), 110.0)
        for texts, want, figure in zip(columns, wants, figures, strict=True)
    ]
    wish = sum(want - low for want, low in zip(wants, least, strict=True))
    share = min(1.0, max(width - sum(least), 0.0) / wish) if wish else 0.0
    found = [low + (want - low) * share for want, low in zip(wants, least, strict=True)]
    more = max(width - sum(found), 0.0) / max(1, figures.count(False))
    found = [one if figure else one + more for one, figure in zip(found, figures, strict=True)]
    return [one * min(1.0, width / sum(found)) for one in found]


def _size(cell: str, width: float, size: float, bold: bool) -> float:
    """A size at which the longest word of a cell fits its column."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    words = re.split(r"[ \n]+", cell)  # not at spaces that must not break
    longest = max(stringWidth(word, "Text-Bold" if bold else "Text", size) for word in words)
    return size if longest <= width - 7 else max(5.0, size * (width - 7) / longest)


def _tick() -> Flowable:
    """A box to tick, large enough for a thick pencil."""
    from reportlab.platypus import Flowable

    class Box(Flowable):
        def __init__(self) -> None:
            super().__init__()
            self.width = self.height = 3.8 * _MM

        def draw(self) -> None:
            self.canv.setLineWidth(0.9)
            self.canv.rect(0, 0, self.width, self.height)

    box = Box()
    box.hAlign = "CENTER"
    return box


def _words(words: Words, width: float) -> Table:
    from reportlab.lib.colors import black
    from reportlab.platypus import Table

    rows = [[_paragraph(_text(line), _SMALL)] for line in words.lines]
    table = Table(rows, colWidths=[width])
    style: list[Rule] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 7 if words.caution else 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0.4),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ]
    if words.caution:
        style.append(("LINEBEFORE", (0, 0), (0, -1), 3.2, black))
    table.setStyle([("FONT", (0, 0), (-1, -1), "Text"), *style])
    return table


def _plate(plate: Plate, width: float, most: float = 0.0) -> Image:
    from reportlab.platypus import Image

    wide = min(width, plate.width * 72)
    high = wide * plate.height / plate.width
    most = most or (_TALLEST if plate.width < 8 else 2 * _TALLEST)
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
