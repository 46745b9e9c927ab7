"""The PLY file, text and binary: points and faces of any number of corners.

Our own reader, because hollow faces must come out right, a fault must name its place, and a header that promises
more than the file holds must not be believed. Colours, normals and elements of other kinds are passed over.

Source: the header words and the number types are those of the format's public description (Turk, "The PLY Polygon
File Format", 1994), from memory; the tests read what another library writes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.read_scene import Grouped, Scene
from layup.shape.polygons import triangulate
from layup.shape.progress import Told, nobody

_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4", "float": "f4",
    "double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4",
    "float32": "f4", "float64": "f8",
}  # fmt: skip
_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_CORNERS = ("vertex_indices", "vertex_index")
_HEAD = 100_000  # a header with more bytes is none
_AGAIN = "Export it again, as binary PLY if the program offers it"

Lists = tuple[NDArray[np.int64], NDArray[np.int64]]


@dataclass(slots=True)
class _Element:
    """One kind of thing in the file: name, how many, and the properties of each in order."""

    name: str
    count: int
    properties: list[tuple[str, str, str]] = field(default_factory=list)
    """Name, type, and the type of the count before a list, "" where it is none."""


def read_ply(path: Path, name: str, told: Told = nobody) -> Scene:
    """Read a PLY file.

    Raises:
        SurfaceError: no PLY file, cut short, a number that can't be read, a face that names a point that is not there.
    """
    data = path.read_bytes()
    order, elements, start = _header(data, name)
    source: _Text | _Binary = _Binary(data, start, order, name) if order else _Text(data, start, name)
    points: NDArray[np.float64] | None = None
    lists: Lists | None = None
    for number, element in enumerate(elements):
        told(f"reading {element.name}", number / len(elements))
        if element.name == "vertex" and points is None:
            names = [p[0] for p in element.properties]
            if not {"x", "y", "z"} <= set(names):
                raise SurfaceError(f"{name}: its points have no x, y and z", _AGAIN)
            points = source.columns(element, ("x", "y", "z"))
        elif element.name == "face" and lists is None:
            word = next((p[0] for p in element.properties if p[0] in _CORNERS and p[2]), None)
            if word is None:
                raise SurfaceError(f"{name}: its faces have no list of corners", _AGAIN)
            lists = source.lists(element, word)
        elif element.name == "tristrips":
            raise SurfaceError(f"{name}: its faces are stored as strips, which are not read", "Export it as triangles")
        else:
            source.columns(element, ())
    if points is None:
        raise SurfaceError(f"{name}: it holds no points", "Export it again with the part selected")
    corners, counts = lists or (np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))
    check_faces(corners, counts, len(points), name)
    made = triangulate(points, corners, counts)
    return Scene(points, made.faces, Grouped(len(made.faces)), None, "", made.findings())


def check_faces(corners: NDArray[np.int64], counts: NDArray[np.int64], points: int, name: str) -> None:
    """Refuse a face of fewer than three corners, or one that names a point that is not there.

    Raises:
        SurfaceError: with the number of the face, counted from 1.
    """
    wrong = np.flatnonzero((corners < 0) | (corners >= points))
    if len(wrong):
        face = int(np.searchsorted(np.cumsum(counts), wrong[0], side="right"))
        raise SurfaceError(
            f"{name}: face {face + 1:,} names point {corners[wrong[0]]:,}, counted from 0, and the file has "
            f"{points:,} points",
            "Export it again",
        )
    short = np.flatnonzero(counts < 3)
    if len(short):
        raise SurfaceError(f"{name}: face {int(short[0]) + 1:,} has fewer than three corners", "Export it again")


def _header(data: bytes, name: str) -> tuple[str, list[_Element], int]:
    """Byte order ("" for text), the elements, and where they start."""
    foreign = SurfaceError(f"{name}: damaged, or not a PLY file", "Export it again")
    end = data.find(b"end_header", 0, _HEAD)
    if data[:3] != b"ply" or end < 0:
        raise foreign
    start = data.find(b"\n", end)
    start = len(data) if start < 0 else start + 1
    order: str | None = None
    elements: list[_Element] = []
    for row, line in enumerate(data[:end].decode("latin-1").replace("\r", "\n").replace("\n\n", "\n").split("\n"), 1):
        words = line.split()
        try:
            if not words or words[0] in ("ply", "comment", "obj_info"):
                continue
            if words[0] == "format":
                order = _ORDERS[words[1]]
            elif words[0] == "element" and words[2].isdigit():
                elements.append(_Element(words[1], int(words[2])))
            elif words[0] == "property" and words[1] == "list":
                counted = _TYPES[words[2]]
                if counted[0] == "f":
                    raise KeyError(words[2])
                elements[-1].properties.append((words[4], _TYPES[words[3]], counted))
            elif words[0] == "property":
                elements[-1].properties.append((words[2], _TYPES[words[1]], ""))
            else:
                raise KeyError(words[0])
        except (KeyError, IndexError, ValueError):
            raise SurfaceError(f'{name}: line {row} of its header can\'t be read: "{line[:60]}"', _AGAIN) from None
    if order is None:
        raise foreign
    return order, elements, start


class _Binary:
    """The elements of a binary file, one after another."""

    def __init__(self, data: bytes, start: int, order: str, name: str) -> None:
        self.data, self.at, self.order, self.name = data, start, order, name

    def columns(self, element: _Element, wanted: tuple[str, ...]) -> NDArray[np.float64]:
        """Columns of numbers of an element, which is then passed."""
        rows = self._rows(element)
        if rows is None:
            if wanted:
                raise SurfaceError(f"{self.name}: its points carry lists of uneven length", _AGAIN)
            self._ragged(element, "")
            return np.zeros((0, 0))
        if not wanted:
            return np.zeros((0, 0))
        with np.errstate(invalid="ignore"):  # one that is not finite is said when the surface is measured
            return np.column_stack([rows[w] for w in wanted]).astype(np.float64)

    def lists(self, element: _Element, word: str) -> Lists:
        """One list of an element: all its numbers, and how many are of each."""
        rows = self._rows(element)
        if rows is None:
            return self._ragged(element, word)
        if not element.count:
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        table = rows[word].reshape(element.count, -1).astype(np.int64)
        return table.ravel(), np.full(element.count, table.shape[1], dtype=np.int64)

    def _rows(self, element: _Element) -> NDArray[np.void] | None:
        """All of an element if each of its lists has one length throughout, else None."""
        fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
        counts: dict[str, int] = {}
        if not element.count or not element.properties:
            fields = [(p, self.order + t, (0,)) if c else (p, self.order + t) for p, t, c in element.properties]
            self._need(0, element)
            return np.zeros(0, dtype=fields)
        at = self.at
        for number, (word, kind, counted) in enumerate(element.properties):
            if counted:
                size = int(self._one(at, counted, element))
                counts[f"count {number}"] = size
                fields += [(f"count {number}", self.order + counted), (word, self.order + kind, (size,))]
                at += np.dtype(counted).itemsize + size * np.dtype(kind).itemsize
            else:
                fields.append((word, self.order + kind))
                at += np.dtype(kind).itemsize
            if at > len(self.data):
                raise self._short(element)
        try:
            shape = np.dtype(fields)
        except (ValueError, TypeError):
            raise SurfaceError(f"{self.name}: its {element.name} has the same property twice", _AGAIN) from None
        if self.at + shape.itemsize * element.count > len(self.data):
            if not counts:
                raise self._short(element)
            return None
        rows = np.frombuffer(self.data, dtype=shape, count=element.count, offset=self.at)
        if any((rows[word] != size).any() for word, size in counts.items()):
            return None
        self.at += shape.itemsize * element.count
        return rows

    def _ragged(self, element: _Element, word: str) -> Lists:
        """The same of lists of many lengths, row by row."""
        self._need(element.count * max(1, sum(np.dtype(c or t).itemsize for _, t, c in element.properties)), element)
        parts: list[bytes] = []
        counts = np.zeros(element.count, dtype=np.int64)
        kind = next((t for p, t, c in element.properties if p == word), "i4")
        sizes = [
            (p == word, np.dtype(t).itemsize, c, np.dtype(c).itemsize if c else 0) for p, t, c in element.properties
        ]
        little: Literal["big", "little"] = "big" if self.order == ">" else "little"
        data, at, end = self.data, self.at, len(self.data)
        for row in range(element.count):
            for mine, size, counted, before in sizes:
                many = 1
                if counted:
                    many = int.from_bytes(data[at : at + before], little, signed=counted[0] == "i")
                    at += before
                to = at + many * size
                if many < 0 or to > end:
                    raise self._short(element, row)
                if mine:
                    parts.append(data[at:to])
                    counts[row] = many
                at = to
        self.at = at
        corners = np.frombuffer(b"".join(parts), dtype=self.order + kind).astype(np.int64)
        return corners, counts

    def _one(self, at: int, kind: str, element: _Element) -> int:
        size = np.dtype(kind).itemsize
        if at + size > len(self.data):
            raise self._short(element)
        return max(int(np.frombuffer(self.data, dtype=self.order + kind, count=1, offset=at)[0]), 0)

    def _need(self, size: int, element: _Element) -> None:
        if self.at + size > len(self.data):
            raise self._short(element)

    def _short(self, element: _Element, row: int | None = None) -> SurfaceError:
        where = "" if row is None else f" at number {row + 1:,}"
        return SurfaceError(
            f"{self.name}: the file is cut short: its header promises {element.count:,} of {element.name}, and it ends "
            f"before them{where}",
            "Copy or export it again",
        )


class _Text:
    """The elements of a text file: numbers with spaces between them."""

    def __init__(self, data: bytes, start: int, name: str) -> None:
        self.name, self.at = name, 0
        body = data[start:]
        self.numbers = numbers_of(body)
        if self.numbers is None:
            raise self._unread(body, data.count(b"\n", 0, start))

    def _unread(self, body: bytes, above: int) -> SurfaceError:
        for row, line in enumerate(body.split(b"\n"), above + 1):
            if numbers_of(line) is None:
                shown = line[:40].decode("utf-8", "replace").strip()
                return SurfaceError(f'{self.name}: line {row:,}: "{shown}" is not a row of numbers', _AGAIN)
        return SurfaceError(f"{self.name}: damaged", _AGAIN)

    def columns(self, element: _Element, wanted: tuple[str, ...]) -> NDArray[np.float64]:
        """As for a binary file."""
        if any(c for _, _, c in element.properties):
            if wanted:
                raise SurfaceError(f"{self.name}: its points carry lists", _AGAIN)
            self._ragged(element, "")
            return np.zeros((0, 0))
        names = [p for p, _, _ in element.properties]
        table = self._take(element.count * len(names), element).reshape(element.count, len(names))
        return table[:, [names.index(w) for w in wanted]]

    def lists(self, element: _Element, word: str) -> Lists:
        """As for a binary file."""
        assert self.numbers is not None
        if len(element.properties) == 1 and element.count:
            wide = 1 + int(self.numbers[self.at]) if self.at < len(self.numbers) else 1
            part = self.numbers[self.at : self.at + wide * element.count]
            if wide > 1 and len(part) == wide * element.count:
                table = part.reshape(element.count, wide)
                if (table[:, 0] == wide - 1).all():
                    self.at += part.size
                    return whole(table[:, 1:].ravel(), self.name), np.full(element.count, wide - 1, dtype=np.int64)
        return self._ragged(element, word)

    def _ragged(self, element: _Element, word: str) -> Lists:
        assert self.numbers is not None
        if element.count > len(self.numbers):
            raise self._short(element)
        numbers, at, end = self.numbers.tolist(), self.at, len(self.numbers)
        counts = np.zeros(element.count, dtype=np.int64)
        out: list[float] = []
        for row in range(element.count):
            for name, _, counted in element.properties:
                many = 1
                if counted:
                    if at >= end or not 0 <= numbers[at] <= end:
                        raise self._short(element, row)
                    many = int(numbers[at])
                    at += 1
                if at + many > end:
                    raise self._short(element, row)
                if name == word:
                    out += numbers[at : at + many]
                    counts[row] = many
                at += many
        self.at = at
        return whole(np.array(out, dtype=np.float64), self.name), counts

    def _take(self, count: int, element: _Element) -> NDArray[np.float64]:
        assert self.numbers is not None
        part = self.numbers[self.at : self.at + count]
        if len(part) < count:
            raise self._short(element)
        self.at += count
        return part

    def _short(self, element: _Element, row: int | None = None) -> SurfaceError:
        where = "" if row is None else f" at number {row + 1:,}"
        return SurfaceError(
            f"{self.name}: the file is cut short or damaged: its header promises {element.count:,} of {element.name}, "
            f"which are not there{where}",
            "Copy or export it again",
        )


def numbers_of(text: bytes) -> NDArray[np.float64] | None:
    """All numbers of a text, None where it holds anything else."""
    import warnings

    if not text.strip():
        return np.zeros(0)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # said where the text holds more than numbers
            found: NDArray[np.float64] = np.fromstring(text, dtype=np.float64, sep=" ")
    except (DeprecationWarning, ValueError):
        return None
    return found


def whole(values: NDArray[np.float64], name: str) -> NDArray[np.int64]:
    """Numbers of points as whole numbers.

    Raises:
        SurfaceError: one that is none.
    """
    with np.errstate(invalid="ignore"):
        made = np.where(np.abs(values) < 1e15, values, -1.0).astype(np.int64)
    if (made != values).any():
        bad = float(values[np.flatnonzero(made != values)[0]])
        raise SurfaceError(f"{name}: a face names point {bad:g}, which is no whole number", _AGAIN)
    return made
