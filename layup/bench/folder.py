"""The shop's folder: the only files a request can read or write."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from pathlib import Path, PurePosixPath, PureWindowsPath

from layup.errors import OutsideError
from layup.learn.folder import FILE

SURFACES = (".stl", ".obj", ".ply", ".off", ".glb", ".3mf", ".step", ".stp")
DRAWINGS = (".dxf", ".svg", ".csv")
PHOTOS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp")
_NAME = re.compile(r"[^\w .+()-]+")
SURFACE_FILES = ("mesh", "step", "outline", "photo", "stations", "girths")
"""Keys of `[surface]` that may name a file."""
FILE_KEYS = (*SURFACE_FILES, "file", "materials")
"""Keys of a part file, in whatever table, whose text names a file; tests hold the model of the part file to it."""
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
LONGEST = 255
"""Of one name, as most disks have it. [byte]"""
DEEPEST = 6
"""Folders below the shop's that are looked into. [-]"""


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
        try:
            long = len(name) > 4000 or any(len(part.encode()) > LONGEST for part in pure.parts)
        except UnicodeEncodeError:
            long = True
        if long:
            raise OutsideError("no file has such a name. Name one of this shop's folder")
        path = self.root / pure
        if not inside(path, self.root):
            raise OutsideError("that file lies outside this shop's folder. Copy it in, and name the copy")
        return path

    def name(self, path: Path) -> str:
        """A path inside the folder as requests name it."""
        return path.relative_to(self.root).as_posix()

    def plain(self, text: str) -> str:
        """A text without the place of the folder on this machine."""
        return text.replace(f"{self.root}{os.sep}", "").replace(str(self.root), self.root.name or "the folder")

    def files(self, endings: tuple[str, ...]) -> list[str]:
        """Names of the files with one of these endings, by folder and name; without hidden ones and links out."""
        found: list[str] = []
        for here, folders, files in os.walk(self.root):
            depth = len(Path(here).relative_to(self.root).parts)
            folders[:] = sorted((f for f in folders if not f.startswith(".") and depth < DEEPEST), key=natural)
            found += [
                self.name(Path(here) / file)
                for file in sorted(files, key=natural)
                if Path(file).suffix.casefold() in endings
                and not file.startswith(".")
                and self._named(Path(here) / file)
            ]
        return found

    def _named(self, path: Path) -> bool:
        """Whether a request can name a file that was found."""
        try:
            self.path(self.name(path))
        except OutsideError:
            return False
        return True

    def parts(self) -> list[str]:
        """Part files: those with a table of the surface."""
        begins = r"^[ \t]*\[surface\]|^[ \t]*surface[ \t]*="
        return [name for name in self.files((".toml",)) if _holds(self.path(name), begins)]

    def refits(self) -> list[str]:
        """Refit files: those with a first weighing or limits."""
        return [name for name in self.files((".toml",)) if _holds(self.path(name), r"^[ \t]*\[{1,2}(start|limits)\b")]

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
        plain = _NAME.sub("-", PureWindowsPath(PurePosixPath(name).name).name).strip(" .-")[-120:].strip(" .-")
        while len(plain.encode()) > LONGEST - 40:  # room for a number, and for the name it has while it is written
            plain = plain[1:].strip(" .-")
        if not plain:
            raise OutsideError("the file needs a name of letters and digits")
        if _RESERVED.fullmatch(plain):
            plain = f"part-{plain}"
        home = self.path(folder) if folder else self.root
        path = home / plain
        for number in range(2, 1000):
            if not path.exists() and not path.is_symlink():
                break
            path = home / f"{Path(plain).stem}-{number}{Path(plain).suffix}"
        return self.path(self.name(path))


def natural(name: str) -> list[tuple[int, int, str]]:
    """A name as people sort it: rib 2 before rib 10.

    >>> sorted(["rib 10", "rib 2", "Rib 1"], key=natural)
    ['Rib 1', 'rib 2', 'rib 10']
    """
    pieces = re.findall(r"[0-9]{1,18}|[^0-9]+|[0-9]", name.casefold())
    return [(0, int(piece), "") if piece.isdecimal() and piece.isascii() else (1, 0, piece) for piece in pieces]


def _holds(path: Path, pattern: str) -> bool:
    try:
        if not path.is_file() or path.stat().st_size > 4_000_000:
            return False
        return re.search(pattern, path.read_text(encoding="utf-8-sig"), re.MULTILINE) is not None
    except (OSError, UnicodeDecodeError):
        return False


def walked(root: Path, begins: str, age: float) -> Iterator[Path]:
    """Files of the folder whose name begins so, and that have not been touched for a while.

    Args:
        root: The shop's.
        begins: First letters of the name.
        age: Since the last change. [s]
    """
    for here, folders, files in os.walk(root):
        depth = len(Path(here).relative_to(root).parts)
        folders[:] = [f for f in folders if not f.startswith(".") and depth < DEEPEST]
        for file in files:
            path = Path(here) / file
            try:
                if file.startswith(begins) and time.time() - path.lstat().st_mtime > age:
                    yield path
            except OSError:
                continue


def inside(path: Path, root: Path) -> bool:
    """Whether a path stays in the folder, links followed."""
    try:
        if "\0" in str(path):
            return False
        end = path.resolve()
        return end.is_relative_to(root) and not end.is_symlink()  # links that go round end at one, from Python 3.13 on
    except (OSError, ValueError, RuntimeError):  # too long, not a name, links that go round
        return False


def files_of(data: object) -> list[tuple[tuple[str | int, ...], str]]:
    """Every text of a part file that names a file, with its path of keys.

    Args:
        data: The part file's tables.
    """
    found: list[tuple[tuple[str | int, ...], str]] = []

    def look(held: object, path: tuple[str | int, ...], named: bool) -> None:
        if isinstance(held, dict):
            for key, value in held.items():
                look(value, (*path, str(key)), str(key) in FILE_KEYS)
        elif isinstance(held, list):
            for number, value in enumerate(held):
                if isinstance(value, dict) or (named and (isinstance(value, str) or path[-1] == "materials")):
                    look(value, (*path, number), named)
        elif named and isinstance(held, str):
            found.append((path, held))

    look(data, (), False)
    return found


def named_files(data: object, folder: Folder, home: Path) -> list[tuple[tuple[str | int, ...], str]]:
    """Files a part file names that lie outside the shop's folder.

    Args:
        data: The part file's tables.
        folder: The shop's.
        home: Where the part file lies, inside it.

    Returns:
        Path of the key and the name, for each.
    """
    return [(path, name) for path, name in files_of(data) if len(name) > 4000 or not inside(home / name, folder.root)]
