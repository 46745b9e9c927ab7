"""Where a shop's record lies: light enough to ask before anything that reads it is loaded."""

from __future__ import annotations

from pathlib import Path

FILE = "shop.sqlite"
"""Name of the record in the shop's folder."""


def shop_folder(part: str | Path) -> Path | None:
    """The nearest folder, from the part file's own upward, that holds a record."""
    start = Path(part).absolute().parent
    return next((folder for folder in (start, *start.parents) if (folder / FILE).is_file()), None)
