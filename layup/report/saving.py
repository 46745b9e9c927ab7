"""Saving a picture or a page, whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.errors import LayupError
from layup.files.writing import write_file
from layup.report import palette

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def save(what: str, path: Path, write: Callable[[], object]) -> None:
    """Write a file and say so on standard error.

    Args:
        what: "Picture", "Page": what the message calls it.
        path: Where.
        write: Writes it.
    """
    write()
    click.echo(f"{what}: {path}", err=True)


def picture_path(path: str | Path) -> Path:
    """Where a picture goes.

    Raises:
        LayupError: The ending of its name is not that of a picture.
    """
    path = Path(path)
    if path.suffix.casefold() not in (".png", ".svg", ".pdf"):
        raise LayupError(f'a picture can\'t be saved as "{path.name}". End its name in .png, .svg or .pdf')
    return path


def save_figure(figure: Figure, path: Path, dots: int) -> None:
    """Save a figure; the ending of the name says the form.

    Args:
        figure: What to save.
        path: Where: .png, .svg or .pdf.
        dots: To the inch, in a PNG.

    Raises:
        LayupError: It can't be written there.
    """
    out = io.BytesIO()
    form = path.suffix.casefold()[1:]
    told = {"Title": path.stem, "Author": "layup", "Subject": "Picture of a part"} if form == "pdf" else None
    figure.savefig(out, format=form, dpi=dots, facecolor=palette.PAPER, metadata=told)
    write_file(path, out.getvalue())
