"""How a file is read: a plain one only, and not more of it than its kind ever needs.

- All of it:             `read_file(path, most)`
- May it be read?        `check_plain(path, most)`, for a library that opens it by itself

A pipe, a device or a folder under the name of a file would be waited for, or read, without end. What is wrong is an
`OSError` with words in `strerror`, as where a file is missing, so that a reader says it in its own sentence.
"""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import Any

from layup.errors import SurfaceError, nearest

Json = dict[str, Any]
"""An object of JSON, or a table of TOML: what stands in it is for the reader to find out."""
TEXT = 5_000_000
"""A part file or a refit file; the longest of ours has 6,000. [bytes]"""
LONGEST = 100_000
"""A line of a table; the reader of tables itself fails at a cell of 131,072. [-]"""
TABLE = 50_000_000
"""A table, a list or a record that was exported. [bytes]"""


def check_plain(path: Path, most: int) -> int:
    """Refuse what is no plain file, or is too large.

    Args:
        path: The file; a link is followed.
        most: How large it may be. [bytes]

    Returns:
        Its size. [bytes]

    Raises:
        OSError: It is missing, no plain file, or too large.
    """
    if "\0" in str(path):
        raise OSError(errno.EINVAL, "a file's name can't hold a character of value 0")
    there = path.stat()
    if stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if not stat.S_ISREG(there.st_mode):
        raise OSError(errno.EINVAL, "it is not a plain file but a pipe or a device: save a copy of what it gives")
    if there.st_size > most:
        raise too_large(there.st_size, most)
    return there.st_size


def too_large(size: int, most: int) -> OSError:
    """What is said of a file that holds more than is read."""
    return OSError(errno.EFBIG, f"it has {size / 1e6:,.0f} MB; files of this kind are read up to {most / 1e6:,.0f} MB")


def read_file(path: Path, most: int) -> bytes:
    """The content of a file.

    Args:
        path: The file; a link is followed.
        most: How large it may be. [bytes]

    Raises:
        OSError: It is missing, no plain file, too large, or can't be read.
    """
    check_plain(path, most)
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:  # and if it became a pipe meanwhile, it is not waited for
        data = file.read(most + 1)
    if len(data) > most:  # it grew
        raise too_large(len(data), most)
    return data


READABLE = ("stl", "obj", "ply", "off", "glb", "gltf", "3mf", "step", "stp")
_FLAT = {"dxf": "a flat drawing", "svg": "a flat drawing", "csv": "points or stations"}
MOST = 1_000_000_000
"""A mesh larger than this is not read; its points would not fit into the memory of a small machine. [bytes]"""
MOST_STL = 10_000_000_000
"""Nor an STL file, which is read a piece at a time. [bytes]"""
_SEEN = 2048  # bytes of the file that are looked at
_FIRST = (  # how a file begins, what it is, and the ending it should have
    (b"ISO-10303-21", "a STEP file", "step"),
    (b"glTF", "a GLB file", "glb"),
    (b"ply", "a PLY file", "ply"),
    (b"OFF", "an OFF file", "off"),
    (b"COFF", "an OFF file", "off"),
    (b"solid", "an STL file of text", "stl"),
    (b"AutoCAD Binary DXF", "a DXF drawing", "dxf"),
    (b"AC10", "a DWG drawing", ""),
    (b"%PDF", "a PDF", ""),
    (b"\x89PNG", "a picture", ""),
    (b"\xff\xd8\xff", "a picture", ""),
    (b"\x1f\x8b", "a compressed file", ""),
    (b"Rar!", "a compressed file", ""),
    (b"7z\xbc\xaf", "a compressed file", ""),
    (b"\xd0\xcf\x11\xe0", "a file of an older office or CAD program", ""),
    (b"version https://git-lfs", "only the label of a file that was not fetched", ""),
    (b"<!DOCTYPE html", "a web page", ""),
    (b"<html", "a web page", ""),
    (b"{\\rtf", "a text document", ""),
)


def existing(path: Path, name: str) -> Path:
    """A surface file that is there, of a kind that is read, and not plainly something else.

    Raises:
        SurfaceError: missing, a folder, empty, of a kind that isn't read, or not what its name says.
    """
    known = ", ".join(READABLE).upper()
    kind = path.suffix.lower().lstrip(".")
    if "\0" in str(path) or not path.exists():
        folder = path.parent
        there = [p.name for p in folder.iterdir() if p.is_file()] if folder.is_dir() else []
        where = "" if folder.is_dir() else f" (there is no folder {folder})"
        raise SurfaceError(f"{name}: no such file{where}", nearest(path.name, there, 2) or "Check the name")
    if path.is_dir():
        raise SurfaceError(f"{name}: a folder, not a file", "Name the file in it")
    if kind in _FLAT:
        raise SurfaceError(f"{name}: {_FLAT[kind]}, not a mesh", "Give it under outline, or under stations or girths")
    if kind not in READABLE:
        what = f'a file of kind "{kind}"' if kind else "a file without a kind at the end of its name"
        raise SurfaceError(f"{name}: {what} is not read", f"Save the surface as one of {known}")
    try:
        size = check_plain(path, MOST_STL if kind == "stl" else MOST)
        with path.open("rb") as file:
            first = file.read(_SEEN)
    except OSError as problem:
        raise SurfaceError(
            f"{name}: can't be read ({problem.strerror})", "Check the name and who may read it"
        ) from None
    if not size:
        raise SurfaceError(f"{name}: the file is empty", "Export it again")
    _check(first, size, kind, name)
    return path


def _check(first: bytes, size: int, kind: str, name: str) -> None:
    """Refuse a file that begins as one of another kind."""
    if kind == "stl" and _is_whole(first, size):
        return
    own = "step" if kind == "stp" else kind
    begins = first.lstrip(b"\xef\xbb\xbf \t\r\n")
    for start, what, ending in _FIRST:
        follows = begins[len(start) : len(start) + 1]
        if not begins.lower().startswith(start.lower()) or ending == own:
            continue
        if ending in ("ply", "off", "stl") and follows.isalnum():
            continue  # the beginning of some other word
        remedy = f"End its name in .{ending}" if ending else "Export the surface as STL, OBJ, PLY, GLB, 3MF or STEP"
        raise SurfaceError(f"{name}: {what}, not {_words(kind)}", remedy)
    if begins.startswith(b"PK\x03\x04") and kind != "3mf":
        raise SurfaceError(f"{name}: a zip file, not {_words(kind)}", "Unpack it, and name the file in it")
    if kind == "stl" and _is_text(first) and not begins.lower().startswith(b"solid"):
        shown = " ".join(first[:60].decode("utf-8", "replace").split())[:40]
        raise SurfaceError(
            f'{name}: a text, but no STL: it begins "{shown}" where "solid" is due', "Export it again as STL"
        )


def _is_whole(first: bytes, size: int) -> bool:
    """A binary STL whose size is that of its count of triangles; its 80 bytes of header may say anything."""
    return len(first) >= 84 and 0 <= size - 84 - 50 * int.from_bytes(first[80:84], "little") < 50


def _is_text(first: bytes) -> bool:
    plain = sum(32 <= byte < 127 or byte in b"\t\r\n" or byte >= 128 for byte in first)
    return bool(first) and plain == len(first) and _decodes(first)


def _decodes(first: bytes) -> bool:
    try:
        first[:-4].decode("utf-8")
    except UnicodeDecodeError as problem:
        return problem.start > len(first) - 8
    return True


def _words(kind: str) -> str:
    an = "an" if kind in ("stl", "obj", "off") else "a"
    return f"{an} {kind.upper()} file"


def is_number(word: bytes) -> bool:
    """Whether a word of a text file is a number."""
    try:
        float(word)
    except ValueError:
        return False
    return True
