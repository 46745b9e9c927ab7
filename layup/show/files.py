"""Saving a picture or a page, with a sentence where it can't be written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from layup.errors import LayupError


def save(what: str, path: Path, write: Callable[[], object]) -> None:
    """Write a file and say so on standard error.

    Args:
        what: "Picture", "Page": what the message calls it.
        path: Where.
        write: Writes it.

    Raises:
        LayupError: It can't be written there.
    """
    try:
        write()
    except OSError as error:
        raise LayupError(f'"{path}" can\'t be written ({error.strerror}). Name a folder that exists') from None
    click.echo(f"{what}: {path}", err=True)
