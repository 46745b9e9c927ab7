"""The 3MF file: a zip with a model written as XML; read as it is unpacked, never held as a tree.

    What the file holds, its bodies placed     read_3mf(Path("door.3mf"), "door.3mf")

Supports are left out: they are no part of the part. A file may place one object many times, and objects within
objects; how many triangles come of it is worked out before any is placed.

Source: 3MF Core Specification (3MF Consortium): the units of a model (micron to meter, millimeter where none is
stated), the transform of items and components as twelve numbers by rows, object types; from memory, checked in the
tests against what another library writes.
"""

from __future__ import annotations

import zipfile
import zlib
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.read_scene import Grouped, Scene
from layup.shape.progress import Told, nobody
from layup.shape.surface import Finding

UNPACKED = 400_000_000
"""A model that unpacks to more than this is refused. [bytes]"""
MOST = 20_000_000
"""A file that places more triangles than this is refused. [-]"""
DEEPEST = 32
"""Objects within objects, at most. [-]"""
_UNITS = {
    "micron": 1e-6,
    "millimeter": 1e-3,
    "centimeter": 1e-2,
    "inch": 0.0254,
    "foot": 0.3048,
    "meter": 1.0,
}
_BLOCK = 1 << 20
_MODEL = "3dmodel"
_SUPPORTS = ("support", "solidsupport")

Key = tuple[str, str]
Place = NDArray[np.float64]


@dataclass(slots=True)
class _Object:
    """One object of a model: a mesh, or others placed."""

    name: str
    kind: str
    points: array[float] = field(default_factory=lambda: array("d"))
    faces: array[int] = field(default_factory=lambda: array("q"))
    parts: list[tuple[Key, Place]] = field(default_factory=list)


@dataclass(slots=True)
class _Model:
    """What one model file in the zip holds."""

    unit: str = "millimeter"
    objects: dict[Key, _Object] = field(default_factory=dict)
    items: list[tuple[Key, Place]] = field(default_factory=list)


def read_3mf(path: Path, name: str, told: Told = nobody) -> Scene:
    """Read a 3MF file.

    Raises:
        SurfaceError: damaged, not a 3MF, larger unpacked than UNPACKED, objects that hold themselves.
    """
    broken = SurfaceError(f"{name}: damaged, or not a 3MF file", "Export it again")
    model = _Model()
    try:
        with zipfile.ZipFile(path) as packed:
            files = [entry for entry in packed.infolist() if entry.filename.casefold().endswith(".model")]
            total = sum(entry.file_size for entry in files)
            if not files:
                raise broken
            if total > UNPACKED:
                raise _too_much(name, total)
            files.sort(key=lambda entry: (_MODEL not in entry.filename.casefold(), entry.filename))
            done = 0
            for number, entry in enumerate(files):
                with packed.open(entry) as file:
                    reader = _Reader(model, f"/{entry.filename}", name, number == 0, total, told)
                    done = reader.read(file, done)
    except SurfaceError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, LookupError):
        raise broken from None  # an unknown way of packing is a NotImplementedError, which is a RuntimeError
    except expat.ExpatError as problem:
        where = f"line {problem.lineno}, column {problem.offset + 1} of the model"
        raise SurfaceError(f"{name}: damaged: {where} can't be read", "Export it again") from None
    return _placed(model, name)


def _too_much(name: str, size: float) -> SurfaceError:
    return SurfaceError(
        f"{name}: unpacks to {size / 1e9:.3g} GB, more than the {UNPACKED / 1e9:.3g} GB that are read",
        "Export it coarser, or as binary STL",
    )


class _Reader:
    """Reads one model file of the zip into a `_Model`."""

    def __init__(self, model: _Model, file: str, name: str, first: bool, total: int, told: Told) -> None:
        self.model, self.file, self.name, self.first = model, file, name, first
        self.total, self.told = total, told
        self.now: _Object | None = None

    def read(self, file: IO[bytes], done: int) -> int:
        """Read it behind the bytes that are done; bytes unpacked so far."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.StartDoctypeDeclHandler = self._doctype
        while block := file.read(_BLOCK):
            done += len(block)
            if done > UNPACKED:
                raise _too_much(self.name, done)
            parser.Parse(block, False)
            self.told("reading the model", min(done / max(self.total, 1), 1.0))
        parser.Parse(b"", True)
        return done

    def _doctype(self, *_: object) -> None:
        raise SurfaceError(f"{self.name}: its model defines entities, which are not read", "Export it again")

    def _start(self, tag: str, given: dict[str, str]) -> None:
        word = tag.rpartition(" ")[2]
        if word == "vertex" and self.now is not None:
            self.now.points.extend((self._number(given, "x"), self._number(given, "y"), self._number(given, "z")))
        elif word == "triangle" and self.now is not None:
            self.now.faces.extend((self._place(given, "v1"), self._place(given, "v2"), self._place(given, "v3")))
        elif word == "object":
            key = (self.file, given.get("id", ""))
            self.now = _Object(given.get("name", "") or f"object {key[1]}", given.get("type", "model"))
            self.model.objects[key] = self.now
        elif word == "component" and self.now is not None:
            self.now.parts.append((self._key(given), self._transform(given)))
        elif word == "item":
            self.model.items.append((self._key(given), self._transform(given)))
        elif word == "model" and self.first:
            self.model.unit = given.get("unit", "millimeter")

    def _key(self, given: dict[str, str]) -> Key:
        path = next((value for word, value in given.items() if word.rpartition(" ")[2] == "path"), self.file)
        return path, given.get("objectid", "")

    def _number(self, given: dict[str, str], word: str) -> float:
        try:
            return float(given[word])
        except (KeyError, ValueError):
            raise self._wrong("vertex", word, given) from None

    def _place(self, given: dict[str, str], word: str) -> int:
        try:
            number = int(given[word])
        except (KeyError, ValueError):
            raise self._wrong("triangle", word, given) from None
        if not 0 <= number < 1 << 60:
            raise self._wrong("triangle", word, given)
        return number

    def _transform(self, given: dict[str, str]) -> Place:
        words = given.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
        try:
            rows = np.array([float(w) for w in words]).reshape(4, 3)
        except ValueError:
            rows = np.full((4, 3), np.nan)
        if not np.isfinite(rows).all():
            raise SurfaceError(f'{self.name}: transform "{" ".join(words)[:60]}" can\'t be read', "Export it again")
        return rows

    def _wrong(self, what: str, word: str, given: dict[str, str]) -> SurfaceError:
        assert self.now is not None
        count = len(self.now.points if what == "vertex" else self.now.faces) // 3 + 1
        said = f'"{given[word][:40]}"' if word in given else "missing"
        return SurfaceError(
            f"{self.name}: {self.now.name}, {what} {count:,}: its {word} is {said}, no number of one", "Export it again"
        )


def _placed(model: _Model, name: str) -> Scene:
    """The bodies of a model, placed and put together."""
    factor = _UNITS.get(model.unit)
    if factor is None:
        raise SurfaceError(f'{name}: the 3MF file gives its unit as "{model.unit}"', "Export it in millimetres")
    sizes = _Sizes(model, name)
    items = model.items
    if not items:  # nothing is placed: then every object that is no part of another one
        used = {key for thing in model.objects.values() for key, _ in thing.parts}
        stay = np.vstack([np.eye(3), np.zeros((1, 3))])
        items = [(key, stay) for key in model.objects if key not in used]
    if sum(sizes.of(key, 0) for key, _ in items) > MOST:
        raise SurfaceError(f"{name}: it places more than {MOST:,} triangles", "Export the part alone")
    points: list[NDArray[np.float64]] = []
    faces: list[NDArray[np.int64]] = []
    names: list[str] = []
    above, supports = 0, 0
    for key, place in items:
        if model.objects[key].kind in _SUPPORTS:
            supports += 1
            continue
        for thing, turn in _meshes(model, key, place):
            own = np.frombuffer(thing.faces, dtype=np.int64).reshape(-1, 3)
            at = np.frombuffer(thing.points, dtype=np.float64).reshape(-1, 3) if len(thing.points) else np.zeros((0, 3))
            if own.max() >= len(at):
                face = int(np.argmax(own.max(axis=1)))
                raise SurfaceError(
                    f"{name}: {thing.name}, triangle {face + 1:,} names point {own[face].max():,}, counted from 0, and "
                    f"it has {len(at):,} points",
                    "Export it again",
                )
            with np.errstate(all="ignore"):  # a number out of range shows as one that is not finite, when measured
                points.append(at @ turn[:3] + turn[3])
                mirrored = np.linalg.det(turn[:3]) < 0.0
            faces.append((own[:, ::-1] if mirrored else own) + above)
            names.append(thing.name)
            above += len(at)
    label = np.repeat(np.arange(len(faces)), [len(f) for f in faces])
    several = len(faces) > 1
    text = f"{supports} supports of the printer left out"
    return Scene(
        np.concatenate([*points, np.zeros((0, 3))]),
        np.concatenate([*faces, np.zeros((0, 3), dtype=np.int64)]),
        Grouped(len(label), [(label, _once(names))] if several else []),
        factor,
        f"{model.unit}, the 3MF file itself says {model.unit}",
        (Finding("left out", supports, text, 0.0),) if supports else (),
    )


def _once(names: list[str]) -> list[str]:
    """The names, with a number behind those that were there before."""
    seen: set[str] = set()
    out = []
    for number, word in enumerate(names, 1):
        out.append(word if word not in seen else f"{word} ({number})")
        seen.add(out[-1])
    return out


class _Sizes:
    """How many triangles an object comes to with its parts written out; each is counted once and remembered."""

    def __init__(self, model: _Model, name: str) -> None:
        self.model, self.name = model, name
        self.known: dict[Key, int] = {}
        self.open: set[Key] = set()

    def of(self, key: Key, depth: int) -> int:
        """Triangles of an object; errors for one that is not there, holds itself, or goes too deep."""
        thing = self.model.objects.get(key)
        if thing is None:
            raise SurfaceError(f'{self.name}: object "{key[1]}" is placed but not there', "Export it again")
        if key in self.open or depth > DEEPEST:
            what = "holds itself" if key in self.open else "holds too many others within each other"
            raise SurfaceError(f"{self.name}: {thing.name} {what}", "Export it again as one body")
        if key not in self.known:
            self.open.add(key)
            total = len(thing.faces) // 3 + sum(self.of(part, depth + 1) for part, _ in thing.parts)
            self.open.discard(key)
            self.known[key] = min(total, MOST + 1)
        return self.known[key]


def _meshes(model: _Model, key: Key, place: Place) -> Iterator[tuple[_Object, Place]]:
    """The meshes of an object and its parts, each with its place."""
    thing = model.objects[key]
    if len(thing.faces):
        yield thing, place
    for part, own in thing.parts:
        if model.objects[part].kind not in _SUPPORTS:
            turn = np.vstack([own[:3] @ place[:3], own[3:] @ place[:3] + place[3]])
            yield from _meshes(model, part, turn)
