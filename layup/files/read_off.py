"""The OFF file: points, and faces of any number of corners, as text.

Source: the layout (the word OFF, three counts, points, then faces as a count and so many point numbers, colours after
them) is that of the format's public description, from memory; the tests read what another library writes.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.read_ply import check_faces, numbers_of, whole
from layup.files.read_scene import Grouped, Scene
from layup.shape.polygons import triangulate

_HEAD = re.compile(rb"(ST)?(C)?(N)?(4)?(n)?OFF\b")


def read_off(path: Path, name: str) -> Scene:
    """Read an OFF file.

    Raises:
        SurfaceError: no OFF file, cut short, a line that can't be read, a face that names a point that is not there.
    """
    data = path.read_bytes()
    rows = [
        (number, line) for number, line in enumerate(re.sub(rb"#[^\r\n]*", b"", data).splitlines(), 1) if line.strip()
    ]
    head = _HEAD.match(rows[0][1].strip()) if rows else None
    if head is None or b"BINARY" in rows[0][1] or head[4] or head[5]:
        raise SurfaceError(f"{name}: damaged, or not an OFF file of text", "Export it again, as STL or PLY")
    rest = rows[0][1].strip()[head.end() :]
    rows = [(rows[0][0], rest), *rows[1:]] if rest.strip() else rows[1:]
    counts = _row(rows, 0, name)[:2]
    points, faces = (int(v) if 0 <= v < 1e15 else -1 for v in (counts if len(counts) == 2 else (-1.0, -1.0)))
    if points < 0 or faces < 0:
        raise SurfaceError(f"{name}: its counts of points and faces can't be read", "Export it again")
    if 1 + points + faces > len(rows):
        raise SurfaceError(
            f"{name}: the file is cut short: it promises {points:,} points and {faces:,} faces, and has "
            f"{len(rows) - 1:,} lines of them",
            "Copy or export it again",
        )
    place = _points(rows[1 : 1 + points])
    if place is None:
        each = [_place(rows, k, name) for k in range(1, 1 + points)]
        place = np.array(each, dtype=np.float64).reshape(-1, 3)
    read = _faces(rows[1 + points : 1 + points + faces])
    if read is None:
        lists = [_face(rows, k, name) for k in range(1 + points, 1 + points + faces)]
        read = np.concatenate([np.zeros(0), *lists]), np.array([len(part) for part in lists], dtype=np.int64)
    corners, sizes = whole(read[0], name), read[1]
    check_faces(corners, sizes, points, name)
    made = triangulate(place, corners, sizes)
    return Scene(place, made.faces, Grouped(len(made.faces)), None, "", made.findings())


Rows = list[tuple[int, bytes]]


def _table(rows: Rows) -> tuple[NDArray[np.float64], NDArray[np.int64]] | None:
    """All numbers of many lines at once, and how many each line has; None where one holds anything else."""
    numbers = numbers_of(b"\n".join(line for _, line in rows))
    many = np.fromiter((len(line.split()) for _, line in rows), dtype=np.int64, count=len(rows))
    return None if numbers is None or int(many.sum()) != len(numbers) else (numbers, many)


def _points(rows: Rows) -> NDArray[np.float64] | None:
    """Points of lines without a fault, else None."""
    table = _table(rows)
    if table is None or not len(rows) or table[1].min() < 3:
        return None
    start = np.cumsum(table[1]) - table[1]
    places: NDArray[np.float64] = table[0][start[:, None] + np.arange(3)]
    return places


def _faces(rows: Rows) -> tuple[NDArray[np.float64], NDArray[np.int64]] | None:
    """Corners of faces of lines without a fault and how many each has, else None."""
    table = _table(rows)
    if table is None or not len(rows):
        return None
    numbers, many = table
    start = np.cumsum(many) - many
    first = numbers[start]
    if not ((first >= 0.0) & (first < many) & (first == np.floor(first))).all():
        return None
    sizes = first.astype(np.int64)
    step = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return numbers[np.repeat(start + 1, sizes) + step], sizes


def _row(rows: Rows, at: int, name: str) -> NDArray[np.float64]:
    number, line = rows[at] if at < len(rows) else (0, b"")
    found = numbers_of(line)
    if found is None or not len(found):
        shown = line[:40].decode("utf-8", "replace").strip()
        raise SurfaceError(f'{name}: line {number:,}: "{shown}" is not a row of numbers', "Export it again")
    return found


def _place(rows: Rows, at: int, name: str) -> NDArray[np.float64]:
    found = _row(rows, at, name)
    if len(found) < 3:
        raise SurfaceError(f"{name}: line {rows[at][0]:,}: a point has fewer than three numbers", "Export it again")
    return found[:3]


def _face(rows: Rows, at: int, name: str) -> NDArray[np.float64]:
    found = _row(rows, at, name)
    size = int(found[0]) if 0 <= found[0] < 1e15 else -1
    if size < 0 or len(found) <= size:
        raise SurfaceError(f"{name}: line {rows[at][0]:,}: a face promises more corners than it has", "Export it again")
    return found[1 : 1 + size]
