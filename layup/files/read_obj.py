"""The OBJ file: points, faces of any number of corners, and the names of its objects and groups.

Our own reader, because relative point numbers (`f -3 -2 -1`) and hollow faces must come out right, and a
fault must name its line. Texture, normal and material statements are passed over.

Source: the statements `v`, `f`, `o`, `g` are those of the format's public description (appendix B1 of the
Advanced Visualizer manual), from memory.
"""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.read_scene import Clean, Grouped, Scene
from layup.files.reading import is_number
from layup.shape.polygons import triangulate
from layup.shape.progress import Told, nobody

_AFTER_SLASH = re.compile(rb"/[^ \t\n]*")
_REMEDY = "Export it again, as triangles if the program offers it"
LARGE = 4_000_000
"""From this many bytes the compiled pass is worth its import. [-]"""


def read_obj(path: Path, name: str, told: Told = nobody) -> Scene:
    """Points as in the file, triangles, and the objects and groups by name.

    Raises:
        SurfaceError: a statement that can't be read or a face that names a point that is not there, with
            its line.
    """
    data = path.read_bytes()
    clean = _quick(data) if len(data) >= LARGE else None
    if clean is None:
        clean = _by_words(data, name, told)
    told("joining the corners", 0.8)
    made = triangulate(clean.points, clean.corners, clean.counts)
    face = np.arange(len(clean.counts))
    levels = []
    for before, found in clean.names:
        words = [word.decode("utf-8", "replace") for word in found]
        place = {word: number for number, word in enumerate(dict.fromkeys(words))}
        number_of = np.array([-1, *(place[word] for word in words)], dtype=np.int64)
        levels.append((number_of[np.searchsorted(before, face, side="right")][made.owner], list(place)))
    return Scene(clean.points, made.faces, Grouped(len(made.faces), levels), None, "", made.findings())


def _quick(data: bytes) -> Clean | None:
    from layup.files.obj_fast import quick_obj

    return quick_obj(data)


def _by_words(data: bytes, name: str, told: Told) -> Clean:
    """Any OBJ file, word by word; a fault names its line."""
    lines = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").splitlines()
    heads = _heads(lines)
    if not (heads == b"v").any() and any(line[:1] in b" \t" for line in lines if line):
        lines = [line.strip() for line in lines]
        heads = _heads(lines)
    at_point, at_face = np.flatnonzero(heads == b"v"), np.flatnonzero(heads == b"f")
    told("reading points", 0.3)
    points = _points(lines, at_point, name)
    told("reading faces", 0.5)
    corners, counts = _faces(lines, at_face, at_point, len(points), name)
    at_o, at_g = (np.flatnonzero(heads == letter) for letter in (b"o", b"g"))
    o, g = ((np.searchsorted(at_face, at), [lines[row][1:].strip() for row in at]) for at in (at_o, at_g))
    return Clean(points, corners, counts, (o, g))


def _heads(lines: list[bytes]) -> NDArray[np.bytes_]:
    """The first word of each line where it has one letter."""
    first = np.array([line[:2] for line in lines], dtype="S2") if lines else np.zeros(0, dtype="S2")
    return np.char.strip(first)


def _numbers(text: bytes, kind: type, count: int) -> NDArray[np.generic] | None:
    """So many numbers from a text, or None where it holds anything else; the fast way to read a clean file."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # said where the text holds more than numbers
            found: NDArray[np.generic] = np.fromstring(text, dtype=kind, sep=" ")
    except (DeprecationWarning, ValueError):
        return None
    return found if len(found) == count else None


def _points(lines: list[bytes], at: NDArray[np.int64], name: str) -> NDArray[np.float64]:
    text = [lines[i][1:] for i in at.tolist()]
    if text and set(map(len, map(bytes.split, text))) == {3}:
        quick = _numbers(b" ".join(text), np.float64, 3 * len(text))
        if quick is not None:
            return quick.reshape(-1, 3).astype(np.float64)
    rows = [lines[i][1:].split()[:3] for i in at]
    try:
        if not rows or min(map(len, rows)) == 3:
            return np.array(rows, dtype=np.float64).reshape(-1, 3)
        raise ValueError
    except ValueError:
        for i, row in zip(at, rows, strict=True):
            if len(row) < 3 or not all(is_number(word) for word in row):
                raise _fault(name, int(i), lines[i], "is not a point of three numbers") from None
        raise


def _faces(
    lines: list[bytes], at: NDArray[np.int64], at_point: NDArray[np.int64], points: int, name: str
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    text = b"\n".join([lines[i][1:] for i in at.tolist()])
    if b"/" in text:
        text = _AFTER_SLASH.sub(b"", text)
    parts = text.split(b"\n") if len(at) else []
    counts = np.fromiter((len(part.split()) for part in parts), dtype=np.int64, count=len(parts))
    quick = _numbers(text, np.int64, int(counts.sum()))
    words = [] if quick is not None else [part.split() for part in parts]
    try:
        corners = np.array([word for face in words for word in face], dtype=bytes).astype(np.int64)
        corners = corners if quick is None else quick.astype(np.int64)
    except ValueError:
        for i, face in zip(at, words, strict=True):
            if not all(re.fullmatch(rb"[+-]?[0-9]+", word) for word in face):
                raise _fault(name, int(i), lines[i], "is not a face of point numbers") from None
        raise
    owner = np.repeat(np.arange(len(at)), counts)
    before = np.searchsorted(at_point, at)[owner]
    number = np.where(corners < 0, before + corners, corners - 1)
    wrong = np.flatnonzero((number < 0) | (number >= points) | (corners == 0))
    if len(wrong):
        i = int(at[owner[wrong[0]]])
        raise _fault(name, i, lines[i], f"names point {corners[wrong[0]]}, the file has {points:,} points")
    short = np.flatnonzero(counts < 3)
    if len(short):
        i = int(at[short[0]])
        raise _fault(name, i, lines[i], "is a face of fewer than three points")
    return number, counts


def _fault(name: str, row: int, line: bytes, wrong: str) -> SurfaceError:
    shown = line[:40].decode("utf-8", "replace").strip()
    return SurfaceError(f'{name}: line {row + 1:,}: "{shown}" {wrong}', _REMEDY)
