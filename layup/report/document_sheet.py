"""Papers for a spreadsheet: an .xlsx workbook with one sheet a paper, or CSV.

Every figure is a number in the unit that its heading names, beside the words in which the record is kept. A text that
a spreadsheet would take for a formula stays a text.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Any

from layup.report import palette
from layup.report.document import TICK, WRITE, Document, Facts, Grid, Plate, Words
from layup.words import no_formula

Line = tuple[str, list[str | float | None]]
"""What a line is ("title", "alarm", "fact", "heading", "columns", "row", "total", "bad", "note"), its cells."""


def csv_text(documents: Sequence[Document]) -> str:
    """Papers as CSV: one block a table, its heading above it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for document in documents:
        for _, cells in _lines(document):
            writer.writerow([no_formula(cell) for cell in cells])
    return out.getvalue()


def xlsx_bytes(documents: Sequence[Document]) -> bytes:
    """Papers as a workbook, one sheet each, the pictures of each under its lines."""
    from openpyxl import Workbook
    from openpyxl.drawing.image import Image
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.title, book.properties.creator = documents[0].title, "layup"
    loud = PatternFill("solid", fgColor=palette.OLD.lstrip("#"))
    pale = PatternFill("solid", fgColor=palette.PALE.lstrip("#"))
    for document in documents:
        sheet: Any = book.create_sheet(document.kind[:31])
        widths: dict[int, int] = {}
        row = 0
        for row, (kind, cells) in enumerate(_lines(document), start=1):
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
        for plate in (block for section in document.sections for block in section.blocks if isinstance(block, Plate)):
            image = Image(io.BytesIO(plate.png))
            image.width, image.height = 640, round(640 * image.height / image.width)
            sheet.add_image(image, f"A{row + 2}")
            row += image.height // 20 + 2
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def table_bytes(grid: Grid, title: str, form: str) -> bytes:
    """One plain table, headings in the first line.

    Args:
        grid: The table; figures come as `Grid.numbers` has them.
        title: Of the sheet.
        form: ".csv" or ".xlsx".
    """
    rows = [[no_formula(cell) for cell in cells] for _, cells in _grid(grid)]
    if form == ".csv":
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        return text.getvalue().encode("utf-8-sig")
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet: Any = book.worksheets[0]
    sheet.title = title[:31]
    for number, cells in enumerate(rows, start=1):
        for column, value in enumerate(cells, start=1):
            cell = sheet.cell(number, column)
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"  # never a formula
            if number == 1:
                cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _lines(document: Document) -> Iterator[Line]:
    alarms: list[Line] = [("alarm", [alarm]) for alarm in document.alarms]
    yield "title", [document.kind]
    yield "note", [document.title]
    yield from alarms
    for label, value in document.plate:
        yield "fact", [label, _plain(value)]
    yield "note", []
    for section in document.sections:
        if all(isinstance(block, Plate) for block in section.blocks):
            continue
        yield "heading", [section.title]
        for block in section.blocks:
            if isinstance(block, Facts):
                for label, value in block.pairs:
                    yield "fact", [label, _plain(value)]
            elif isinstance(block, Words):
                for line in block.lines:
                    yield "note", [line]
            elif isinstance(block, Grid):
                yield from _grid(block)
        yield "note", []
    yield from alarms


def _grid(grid: Grid) -> Iterator[Line]:
    heads: list[str | float | None] = []
    for column, name in enumerate(grid.head):
        numbers = grid.numbers.get(column)
        heads += [name] if numbers is None else [numbers.heading] if numbers.alone else [name, numbers.heading]
    yield "columns", heads
    for number, row in enumerate(grid.rows):
        cells: list[str | float | None] = []
        for column, text in enumerate(row):
            numbers = grid.numbers.get(column)
            if numbers is None or not numbers.alone:
                cells.append(_plain(text))
            if numbers is not None:
                value = numbers.values[number]
                cells.append(None if value is None else round(value, 6))
        yield "bad" if number in grid.bad else "total" if number in grid.totals else "row", cells


def _plain(text: str) -> str:
    """A cell on one line; empty where it is for the pencil."""
    return "" if text in (TICK, WRITE) else text.replace("\n", "; ").replace("\u00a0", " ")
