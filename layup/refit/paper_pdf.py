"""Papers of a refit as PDF: A4, one paper after another, the alarm on every page, the signature on the last."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from layup.refit.papers import FIGURES, Column, Paper, Section
from layup.report import palette
from layup.report.document_pdf import register_fonts

MARGIN = 42.0
"""[pt]"""
SHORT = 14
"""A table of no more rows is kept on one page."""


def pdf_bytes(papers: Sequence[Paper], picture: bytes | None) -> bytes:
    """Papers as one PDF.

    Args:
        papers: What to print.
        picture: Of the load cases against the limits, PNG; None where there is none.

    Returns:
        The file's content; the same for the same papers.
    """
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import BaseDocTemplate, Frame, NextPageTemplate, PageBreak, PageTemplate

    register_fonts()
    out = io.BytesIO()
    title = papers[0].subject if papers else "layup"
    document = BaseDocTemplate(out, pagesize=A4, title=title, author="", creator="layup", invariant=1)
    width, height = A4
    story: list[Any] = []
    templates = []
    for number, paper in enumerate(papers):
        top = MARGIN + 24 + (20 if paper.alarms else 0)
        frame = Frame(MARGIN, MARGIN + 14, width - 2 * MARGIN, height - top - MARGIN - 14, 0, 0, 0, 0)
        templates.append(PageTemplate(id=f"p{number}", frames=[frame], onPage=_dress(paper)))
        if number:
            story += [NextPageTemplate(f"p{number}"), PageBreak()]
        story += _story(paper, picture, width - 2 * MARGIN)
    document.addPageTemplates(templates)
    document.build(story, canvasmaker=_counted())
    return out.getvalue()


def _colour(hexed: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(hexed)


def _dress(paper: Paper) -> Any:
    """What stands on every page: the head, and the alarm where a limit is broken."""

    def draw(canvas: Any, document: Any) -> None:
        width, height = document.pagesize
        canvas.saveState()
        canvas.setFont("Text", 8.5)
        canvas.setFillColor(_colour(palette.QUIET))
        canvas.drawString(MARGIN, height - MARGIN, f"{paper.title}: {paper.subject}"[:90])
        canvas.setStrokeColor(_colour(palette.QUIET))
        canvas.line(MARGIN, height - MARGIN - 5, width - MARGIN, height - MARGIN - 5)
        if paper.alarms:
            canvas.setFillColor(_colour(palette.OLD))
            canvas.rect(MARGIN, height - MARGIN - 26, width - 2 * MARGIN, 17, stroke=0, fill=1)
            canvas.setFillColor(_colour(palette.PAPER))
            canvas.setFont("Text-Bold", 10.5)
            canvas.drawCentredString(
                width / 2, height - MARGIN - 21.5, "OUTSIDE LIMITS: NOT TO BE FLOWN LOADED LIKE THIS"
            )
        canvas.restoreState()

    return draw


def _counted() -> Any:
    """A canvas that writes "page 2 of 5" when the number of pages is known."""
    from reportlab.pdfgen.canvas import Canvas

    class Counted(Canvas):  # type: ignore[misc]  # the library has no types
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._pages, start=1):
                self.__dict__.update(page)
                self.setFont("Text", 8.5)
                self.setFillColor(_colour(palette.QUIET))
                text = f"page {number} of {len(self._pages)}"
                self.drawRightString(self._pagesize[0] - MARGIN, MARGIN - 8, text)
                self.drawString(MARGIN, MARGIN - 8, "prepared with layup; valid only when checked and signed")
                super().showPage()
            super().save()

    return Counted


def _styles() -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    base = {"fontName": "Text", "textColor": _colour(palette.INK)}
    return {
        "title": ParagraphStyle("title", **{**base, "fontName": "Text-Bold"}, fontSize=17, leading=22, spaceAfter=2),
        "subject": ParagraphStyle("subject", **base, fontSize=12, leading=16, spaceAfter=8),
        "heading": ParagraphStyle(
            "heading", **{**base, "fontName": "Text-Bold"}, fontSize=11, leading=14, spaceBefore=12, spaceAfter=4
        ),
        "cell": ParagraphStyle("cell", **base, fontSize=8.5, leading=10.5),
        "right": ParagraphStyle("right", **base, fontSize=8.5, leading=10.5, alignment=2),
        "note": ParagraphStyle("note", **base, fontSize=8.5, leading=11.5, spaceBefore=3),
        "alarm": ParagraphStyle(
            "alarm", fontName="Text-Bold", fontSize=10, leading=13.5, textColor=_colour(palette.PAPER)
        ),
    }


def _story(paper: Paper, picture: bytes | None, width: float) -> list[Any]:
    from reportlab.platypus import Paragraph, Spacer

    styles = _styles()
    story: list[Any] = [
        Paragraph(escape(paper.title), styles["title"]),
        Paragraph(escape(paper.subject), styles["subject"]),
    ]
    story += _alarm_box(paper, styles, width)
    story.append(_facts(paper, styles, width))
    for section in paper.sections:
        story += _section(section, picture, styles, width)
    story.append(Spacer(1, 8))
    story += [Paragraph(escape(note), styles["note"]) for note in paper.notes]
    story += _alarm_box(paper, styles, width)
    story.append(_signature(paper, styles, width))
    return story


def _alarm_box(paper: Paper, styles: dict[str, Any], width: float) -> list[Any]:
    from reportlab.platypus import Paragraph, Spacer, Table, TableStyle

    if not paper.alarms:
        return []
    rows = [[Paragraph(escape(line), styles["alarm"])] for line in paper.alarms]
    box = Table(rows, colWidths=[width])
    box.setStyle(
        TableStyle([("BACKGROUND", (0, 0), (-1, -1), _colour(palette.OLD)), ("LEFTPADDING", (0, 0), (-1, -1), 8)])
    )
    return [Spacer(1, 6), box, Spacer(1, 6)]


def _facts(paper: Paper, styles: dict[str, Any], width: float) -> Any:
    from reportlab.platypus import Paragraph, Table, TableStyle

    rows = [[Paragraph(escape(k), styles["cell"]), Paragraph(escape(v), styles["cell"])] for k, v in paper.facts]
    table = Table(rows or [["", ""]], colWidths=[86, width - 86], hAlign="LEFT")
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 1),
                               ("BOTTOMPADDING", (0, 0), (-1, -1), 1), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                               ("TEXTCOLOR", (0, 0), (0, -1), _colour(palette.QUIET))]))  # fmt: skip
    return table


def _section(section: Section, picture: bytes | None, styles: dict[str, Any], width: float) -> list[Any]:
    from reportlab.platypus import CondPageBreak, Image, KeepTogether, Paragraph, Table, TableStyle

    heading = Paragraph(escape(section.heading), styles["heading"])
    if section.picture:
        if picture is None:
            return []
        image = Image(io.BytesIO(picture))
        wide = 0.82 * width  # leaves room for the signature under it
        image.drawHeight, image.drawWidth = image.imageHeight * wide / image.imageWidth, wide
        return [KeepTogether([heading, image])]
    parts: list[Any] = [CondPageBreak(90), heading]
    if section.columns:
        body = [[Paragraph(escape(column.heading), _side(column, styles)) for column in section.columns]]
        for number, row in enumerate(section.rows):
            loud = number in section.totals or number in section.bad
            cells = []
            for column, cell in zip(section.columns, row, strict=True):
                text = f"<font name='Text-Bold'>{escape(cell.text)}</font>" if loud else escape(cell.text)
                if number in section.bad:
                    text = f"<font color='{palette.PAPER}'>{text}</font>"
                cells.append(Paragraph(text, _side(column, styles)))
            body.append(cells)
        table = Table(body, colWidths=_widths(section, width), repeatRows=1)
        rules: list[Any] = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("BACKGROUND", (0, 0), (-1, 0), _colour(palette.PALE)),
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, _colour(palette.QUIET)),
            ("LEFTPADDING", (0, 0), (-1, -1), 4),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ]
        rules += [("LINEABOVE", (0, n + 1), (-1, n + 1), 1.0, _colour(palette.INK)) for n in section.totals]
        rules += [("BACKGROUND", (0, n + 1), (-1, n + 1), _colour(palette.OLD)) for n in section.bad]
        table.setStyle(TableStyle(rules))
        parts.append(table)
    parts += [Paragraph(escape(note), styles["note"]) for note in section.notes]
    return [KeepTogether(parts[1:])] if len(section.rows) <= SHORT else parts


def _side(column: Column, styles: dict[str, Any]) -> Any:
    return styles["right" if column.heading in FIGURES else "cell"]


def _widths(section: Section, width: float) -> list[float]:
    """Columns as wide as what stands in them asks, words giving way before figures."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    def room(text: str) -> float:
        return float(stringWidth(text, "Text-Bold", 8.5)) + 10.0

    texts = [[c.heading, *(row[n].text for row in section.rows)] for n, c in enumerate(section.columns)]
    wants = [max(room(text) for text in column) for column in texts]
    words = [min(max(room(word) for text in column for word in text.split() or [""]), 110.0) for column in texts]
    figures = [column.heading in FIGURES for column in section.columns]
    least = [want if figure else word for want, word, figure in zip(wants, words, figures, strict=True)]
    wish = sum(want - low for want, low in zip(wants, least, strict=True))
    spare = max(width - sum(least), 0.0)
    share = min(1.0, spare / wish) if wish else 0.0
    found = [low + (want - low) * share for want, low in zip(wants, least, strict=True)]
    more = max(width - sum(found), 0.0) / max(1, figures.count(False))
    return [w if figure else w + more for w, figure in zip(found, figures, strict=True)]


def _signature(paper: Paper, styles: dict[str, Any], width: float) -> Any:
    from reportlab.platypus import KeepTogether, Paragraph, Spacer, Table, TableStyle

    text = "Checked and found correct. The tool that prepared this paper signs nothing."
    rows = [[Paragraph(escape(label), styles["cell"]), ""] for label in paper.signed]
    table = Table(rows, colWidths=[width * 0.36, width * 0.64], rowHeights=[23] * len(rows))
    line = ("LINEBELOW", (1, 0), (1, -1), 0.8, _colour(palette.INK))
    table.setStyle(TableStyle([line, ("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    heading = Paragraph("For the licensed person", styles["heading"])
    return KeepTogether([Spacer(1, 10), heading, Paragraph(text, styles["note"]), table])
