"""The shop's folder: the only files a request can read or write."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from pathlib import Path, PurePosixPath, PureWindowsPath
from stat import S_ISREG

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
_SURFACE = re.compile(r"^[ \t]*(\[surface\]|surface[ \t]*=)", re.MULTILINE)
_REFIT = re.compile(r"^[ \t]*\[{1,2}(start|limits)\b", re.MULTILINE)
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
LONGEST = 255
"""Of one name, as most disks have it. [byte]"""
DEEPEST = 6
"""Folders below the shop's that are looked into. [-]"""


class Folder:
    """The folder the page was opened on; every path a request names goes through `path`."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve(strict=True)
        self._tables: dict[str, tuple[tuple[int, int, int], tuple[bool, bool]]] = {}

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
            place = Path(here).relative_to(self.root)
            deep = len(place.parts) >= DEEPEST
            folders[:] = sorted((f for f in folders if not f.startswith(".") and not deep), key=natural)
            ours = (f for f in files if os.path.splitext(f)[1].casefold() in endings and not f.startswith("."))
            before = f"{place.as_posix()}/" if place.parts else ""
            found += [before + file for file in sorted(ours, key=natural) if self._named(before, file, here)]
        return found

    def _named(self, before: str, file: str, here: str) -> bool:
        """Whether a request can name a file that was found; the walk goes into no link, so only odd names are asked."""
        name = before + file
        plain = name.isascii() and "\\" not in name and ":" not in name and len(file) <= LONGEST
        if plain and not os.path.islink(os.path.join(here, file)):
            return True
        try:
            self.path(name)
        except OutsideError:
            return False
        return True

    def _holds(self, name: str) -> tuple[bool, bool]:
        """Whether a file has a table of the surface, and one of a refit: every page lists them, so each is read once.

        A file touched a moment ago is read again, as a clock of the disk may not tell two writings apart.
        """
        path = self.root / name
        try:
            told = path.stat()
            if not S_ISREG(told.st_mode) or told.st_size > 4_000_000:
                return (False, False)
            stamp = (told.st_mtime_ns, told.st_size, told.st_ino)
            seen, tables = self._tables.get(name, (None, (False, False)))
            if seen != stamp or time.time_ns() - told.st_mtime_ns < 2_000_000_000:
                text = path.read_text(encoding="utf-8-sig")
                tables = (_SURFACE.search(text) is not None, _REFIT.search(text) is not None)
                self._tables[name] = (stamp, tables)
        except (OSError, UnicodeDecodeError):
            return (False, False)
        return tables

    def parts(self) -> list[str]:
        """Part files: those with a table of the surface."""
        return [name for name in self.files((".toml",)) if self._holds(name)[0]]

    def refits(self) -> list[str]:
        """Refit files: those with a first weighing or limits."""
        return [name for name in self.files((".toml",)) if self._holds(name)[1]]

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
    """Every text of a part file that names a file, with its path of keys."""
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
