"""Where the shop's record lies for a file of the folder, and what to say of it."""

from __future__ import annotations

from pathlib import Path

from layup.bench.app import Asked
from layup.learn.folder import FILE


def record_home(asked: Asked, path: Path) -> Path:
    """The folder of the record: the nearest inside the shop's that has one, else the file's own.

    Raises:
        OutsideError: The record there is a link that leads out.
    """
    home = asked.folder.shop(path)
    if home is None:
        home = path.parent
        asked.folder.path(asked.folder.name(home / FILE))
    return home


def record_words(asked: Asked, path: Path, first: str = "weigh-in") -> tuple[str, str]:
    """Where the record lies, and what to know of one above the folder that is not used ("" for nothing).

    Args:
        asked: The request.
        path: Of the part file or refit file.
        first: What begins the record.
    """
    home = asked.folder.shop(path)
    if home is not None:
        place = f"in {asked.folder.name(home)}" if home != asked.folder.root else "at the top of this folder"
        return f"The shop's record is {FILE} {place}.", ""
    above = next((folder for folder in asked.folder.root.parents if (folder / FILE).is_file()), None)
    words = f"There is no record yet: the first {first} begins {FILE} beside {path.name}."
    if above is None:
        return words, ""
    return words, (
        f'A shop\'s record lies above this folder, in the folder "{above.name or "/"}". This page does not use it: it '
        "stays inside its own. To go on with that one, end this page and start it on that folder."
    )
