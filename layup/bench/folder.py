"""The shop's folder: the only files a request can read or write."""

from __future__ import annotations

import os
import re
from pathlib import Path, PurePosixPath, PureWindowsPath

from layup.errors import LayupError
from layup.record.folder import FILE

SURFACES = (".stl", ".obj", ".ply", ".off", ".glb", ".3mf", ".step", ".stp")
DRAWINGS = (".dxf", ".svg", ".csv")
PHOTOS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp")
_NAME = re.compile(r"[^\w .+()-]+")
SURFACE_FILES = ("mesh", "step", "outline", "photo", "stations", "girths")
"""Keys of `[surface]` that may name a file."""
DEEPEST = 6
"""Folders below the shop's that are looked into. [-]"""


class OutsideError(LayupError):
    """A name that leads out of the shop's folder."""


class Folder:
    """The folder the page was opened on; every path a request names goes through `path`."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve(strict=True)

    def path(self, name: str) -> Path:
        """Where a file of the folder lies.

        Args:
            name: Relative, with forward slashes.

        Returns:
            Its path; the file need not be there.

        Raises:
            OutsideError: It is not inside the folder, links followed.
        """
        pure = PurePosixPath(name)
        wrong = not name or "\0" in name or "\\" in name or pure.is_absolute() or ".." in pure.parts
        if wrong or PureWindowsPath(name).drive:
            raise OutsideError("that file is not in this shop's folder. Name one that is")
        path = self.root / pure
        if not path.resolve().is_relative_to(self.root):
            raise OutsideError("that file lies outside this shop's folder. Copy it in, and name the copy")
        return path

    def name(self, path: Path) -> str:
        """A path inside the folder as requests name it."""
        return path.relative_to(self.root).as_posix()

    def files(self, endings: tuple[str, ...]) -> list[str]:
        """Names of the files with one of these endings, by folder and name; hidden ones left out."""
        found: list[str] = []
        for here, folders, files in os.walk(self.root):
            depth = len(Path(here).relative_to(self.root).parts)
            folders[:] = sorted(f for f in folders if not f.startswith(".") and depth < DEEPEST)
            found += [
                self.name(Path(here) / file)
                for file in sorted(files)
                if Path(file).suffix.casefold() in endings and not file.startswith(".")
            ]
        return found

    def parts(self) -> list[str]:
        """Part files: those with a table of the surface."""
        return [name for name in self.files((".toml",)) if _holds(self.path(name), r"^\s*\[surface\]|^\s*surface\s*=")]

    def refits(self) -> list[str]:
        """Refit files: those with a first weighing or limits."""
        return [name for name in self.files((".toml",)) if _holds(self.path(name), r"^\s*\[+(start|limits)\b")]

    def shop(self, file: Path) -> Path | None:
        """The nearest folder from a file's own up to the shop's that holds a record; None where there is none."""
        for folder in file.parents:
            if not folder.is_relative_to(self.root):
                return None
            if (folder / FILE).is_file() and (folder / FILE).resolve().is_relative_to(self.root):
                return folder
        return None

    def free(self, folder: str, name: str) -> Path:
        """A path for a new file: the name made harmless, numbered where one of that name is there.

        Args:
            folder: Of the folder; "" for the shop's own.
            name: As a person or a browser gave it.

        Raises:
            OutsideError: Nothing is left of the name, or the folder is outside.
        """
        plain = _NAME.sub("-", PureWindowsPath(PurePosixPath(name).name).name).strip(" .-")[-120:]
        if not plain:
            raise OutsideError("the file needs a name of letters and digits")
        home = self.path(folder) if folder else self.root
        path = home / plain
        for number in range(2, 1000):
            if not path.exists() and not path.is_symlink():
                break
            path = home / f"{Path(plain).stem}-{number}{Path(plain).suffix}"
        return self.path(self.name(path))


def _holds(path: Path, pattern: str) -> bool:
    try:
        if not path.is_file() or path.stat().st_size > 4_000_000:
            return False
        return re.search(pattern, path.read_text(encoding="utf-8-sig"), re.MULTILINE) is not None
    except (OSError, UnicodeDecodeError):
        return False


def named_files(data: object, folder: Folder, home: Path) -> list[tuple[tuple[str | int, ...], str]]:
    """Files a part file names that lie outside the shop's folder.

    Args:
        data: The part file's tables.
        folder: The shop's.
        home: Where the part file lies, inside it.

    Returns:
        Path of the key and the name, for each.
    """
    if not isinstance(data, dict):
        return []
    given: list[tuple[tuple[str | int, ...], object]] = []
    surface = data.get("surface")
    if isinstance(surface, dict):
        given += [
            (("surface", key), surface.get(key)) for key in ("mesh", "step", "outline", "photo", "stations", "girths")
        ]
    for table in ("holes", "fasteners"):
        listed = data.get(table)
        for number, entry in enumerate(listed if isinstance(listed, list) else []):
            if isinstance(entry, dict):
                given += [((table, number, key), entry[key]) for key in ("file", "points", "pattern") if key in entry]
    tables = data.get("materials")
    given += [(("materials", n), name) for n, name in enumerate(tables if isinstance(tables, list) else [])]
    found = []
    for path, name in given:
        if not isinstance(name, str):
            continue
        try:
            inside = (home / name).resolve().is_relative_to(folder.root) and "\0" not in name
        except (OSError, ValueError):
            inside = False
        if not inside:
            found.append((path, name))
    return found
