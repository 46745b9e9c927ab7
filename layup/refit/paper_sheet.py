"""Papers of a refit for a spreadsheet: an .xlsx workbook with one sheet a paper, or CSV.

Every figure is a number in the unit that its heading names, beside the words in which the record is kept. A text that
a spreadsheet would take for a formula stays a text.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Any

from layup.refit.papers import Paper, Section
from layup.report import palette
from layup.words import no_formula

Line = tuple[str, list[str | float | None]]
"""What a line is ("title", "alarm", "fact", "heading", "columns", "row", "total", "bad", "note", "sign"), its cells."""


def csv_text(papers: Sequence[Paper]) -> str:
    """Papers as CSV: one block a table, its heading above it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for paper in papers:
        for _, cells in _lines(paper):
            writer.writerow([no_formula(cell) for cell in cells])
    return out.getvalue()


def xlsx_bytes(papers: Sequence[Paper], picture: bytes | None) -> bytes:
    """Papers as a workbook.

    Args:
        papers: One sheet each.
        picture: Of the load cases against the limits, PNG; None where there is none.

    Returns:
        The file's content.
    """
    from openpyxl import Workbook
    from openpyxl.drawing.image import Image
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.worksheets[0])
    loud = PatternFill("solid", fgColor=palette.OLD.lstrip("#"))
    pale = PatternFill("solid", fgColor=palette.PALE.lstrip("#"))
    for paper in papers:
        sheet: Any = book.create_sheet(paper.title[:31])
        widths: dict[int, int] = {}
        row = 0
        for row, (kind, cells) in enumerate(_lines(paper), start=1):
            for column, value in enumerate(cells or [""], start=1):
                cell = sheet.cell(row, column)
                cell.value = value
                if isinstance(value, str):
                    cell.data_type = "s"  # never a formula
                    if kind in ("row", "total", "columns", "bad") and len(cells) > 1:
                        widths[column] = max(widths.get(column, 8), min(len(value), 44))
                if isinstance(value, float):
                    cell.number_format = "#,##0.000"
                if kind in ("title", "heading", "total", "columns"):
                    cell.font = Font(bold=True, size=14 if kind == "title" else 11)
                if kind == "columns":
                    cell.fill = pale
                    cell.alignment = Alignment(wrap_text=True, vertical="top")
                if kind in ("alarm", "bad"):
                    cell.fill, cell.font = loud, Font(bold=True, color=palette.PAPER.lstrip("#"))
        for column, width in widths.items():
            sheet.column_dimensions[get_column_letter(column)].width = width + 2
        if picture is not None and any(section.picture for section in paper.sections):
            image = Image(io.BytesIO(picture))
            image.width, image.height = 640, round(640 * image.height / image.width)
            sheet.add_image(image, f"A{row + 2}")
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _lines(paper: Paper) -> Iterator[Line]:
    yield "title", [paper.title]
    yield "note", [paper.subject]
    for alarm in paper.alarms:
        yield "alarm", [alarm]
    for label, value in paper.facts:
        yield "fact", [label, value]
    yield "note", []
    for section in paper.sections:
        yield from _section(section)
    for note in paper.notes:
        yield "note", [note]
    for alarm in paper.alarms:
        yield "alarm", [alarm]
    yield "note", []
    yield "heading", ["For the licensed person"]
    for label in paper.signed:
        yield "sign", [label, ""]
    yield "note", []


def _section(section: Section) -> Iterator[Line]:
    if section.picture:
        return
    yield "heading", [section.heading]
    if section.columns:
        heads: list[str | float | None] = []
        for column in section.columns:
            heads += [column.heading, column.numbers] if column.numbers else [column.heading]
        yield "columns", heads
    for number, row in enumerate(section.rows):
        cells: list[str | float | None] = []
        for column, cell in zip(section.columns, row, strict=True):
            cells.append(cell.text)
            if column.numbers:
                cells.append(None if cell.number is None else round(cell.number, 6))
        kind = "bad" if number in section.bad else "total" if number in section.totals else "row"
        yield kind, cells
    for note in section.notes:
        yield "note", [note]
    yield "note", []
