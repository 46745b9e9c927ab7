"""Papers written to a file, or as bytes for the page in the browser: the ending of the name says how."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layup.errors import LayupError
from layup.files.writing import write_file
from layup.report.document import Document

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height: A4 of ISO 216, Letter of ANSI/ASME Y14.1 size A, 8 1/2 by 11 in. [mm]"""
FORMS = (".pdf", ".html", ".csv", ".xlsx")


def write_document(documents: Document | Sequence[Document], path: Path, paper: str = "A4") -> Path:
    """Write papers.

    Args:
        documents: One, or several that go one after the other into one file.
        path: Where: its ending is one of `FORMS`.
        paper: Of a PDF: "A4" or "Letter".

    Raises:
        LayupError: The ending or the paper is not known, or the file can't be written.
    """
    form = path.suffix.casefold()
    form = ".html" if form == ".htm" else form
    if form not in FORMS:
        raise LayupError(f'a paper can\'t be written as "{path.name}". End its name in ' + ", ".join(FORMS))
    write_file(path, document_bytes(documents, form, paper))
    return path


def document_bytes(documents: Document | Sequence[Document], form: str, paper: str = "A4") -> bytes:
    """The file's content; the same for the same papers.

    Args:
        documents: As `write_document` takes them.
        form: One of `FORMS`.
        paper: "A4" or "Letter".

    Raises:
        LayupError: The paper is not known.
    """
    listed = (documents,) if isinstance(documents, Document) else tuple(documents)
    if paper not in PAPERS:
        raise LayupError(f'no paper "{paper}". Write A4 or Letter')
    if form == ".pdf":
        from layup.report.document_pdf import pdf_bytes

        return pdf_bytes(listed, *PAPERS[paper])
    if form == ".html":
        from layup.report.document_html import html_text

        return html_text(listed).encode("utf-8")
    from layup.report import document_sheet

    return document_sheet.csv_text(listed).encode("utf-8-sig") if form == ".csv" else document_sheet.xlsx_bytes(listed)
