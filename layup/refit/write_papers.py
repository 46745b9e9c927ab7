"""Write the papers of a refit to a file: its ending says how."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layup.errors import LayupError
from layup.files.writing import write_file
from layup.refit.ledger import Ledger
from layup.refit.loading import Loading
from layup.refit.papers import Paper
from layup.refit.record_words import Kept

FORMS = (".pdf", ".html", ".csv", ".xlsx")


def write_papers(papers: Sequence[Paper], ledger: Ledger, loading: Loading | None, kept: Kept, out: Path) -> None:
    """Write papers.

    Args:
        papers: What to write.
        ledger: They are about.
        loading: Its load cases, for the picture.
        kept: Units of the record.
        out: Where.

    Raises:
        LayupError: The ending is not one of `FORMS`, or the file can't be written.
    """
    form = out.suffix.casefold()
    if form not in FORMS:
        raise LayupError(f'a paper can\'t be written as "{out.name}". End its name in ' + ", ".join(FORMS))
    write_file(out, paper_bytes(papers, ledger, loading, kept, form))


def paper_bytes(papers: Sequence[Paper], ledger: Ledger, loading: Loading | None, kept: Kept, form: str) -> bytes:
    """The file's content; `form` is one of `FORMS`."""
    from layup.refit import paper_sheet

    if form == ".csv":
        return paper_sheet.csv_text(papers).encode("utf-8-sig")
    picture = None
    if loading is not None:
        from layup.refit.envelope_picture import envelope_image

        picture = envelope_image(ledger, loading, kept, "svg" if form == ".html" else "png")
    if form == ".html":
        from layup.refit.paper_html import html_text

        return html_text(papers, picture.decode() if picture else None).encode()
    if form == ".xlsx":
        return paper_sheet.xlsx_bytes(papers, picture)
    from layup.refit.paper_pdf import pdf_bytes

    return pdf_bytes(papers, picture)
