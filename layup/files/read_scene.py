"""GLB and GLTF through the mesh library, which is loaded only for them; and what every mesh reader gives.

Source: a glTF file is in metres (glTF 2.0 specification, Khronos Group, section 3.4, "Coordinate System and Units").
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.reading import Json
from layup.shape.surface import Finding

DEEPEST = 500
"""Nodes within nodes; the library behind it walks down by itself from every one. [-]"""
STEPS = 500_000
"""... which is refused where all its walks together are longer. [-]"""
MOST = 60_000_000
"""A scene that places more points and corners than this is refused. [-]"""
_JSON = 0x4E4F534A


@dataclass(frozen=True, slots=True)
class Scene:
    """What a file holds, its bodies placed and put together.

    Attributes:
        points: Shape (n, 3), in the unit of the file.
        faces: Shape (m, 3).
        groups: Bodies, objects or groups of the file as masks over the faces.
        unit: The unit the format itself states, None when it states none. [m]
        unit_reason: That unit, a comma, and where it comes from.
        findings: What reading it showed.
    """

    points: NDArray[np.float64]
    faces: NDArray[np.int64]
    groups: Grouped
    unit: float | None
    unit_reason: str
    findings: tuple[Finding, ...]


def read_scene(path: Path, name: str) -> Scene:
    """Read a GLB or GLTF file through trimesh.

    Raises:
        SurfaceError: damaged, not what its name says, or placing more than MOST.
    """
    kind = path.suffix.lower().lstrip(".")
    _check(path, kind, name)
    try:
        import trimesh

        loaded: Any = trimesh.load_scene(str(path), process=False)
        bodies = list(_bodies(loaded))
    except (MemoryError, RecursionError):
        raise SurfaceError(f"{name}: too large to read", "Export it coarser") from None
    except Exception as problem:  # the parsers behind trimesh raise whatever they run into on damaged files
        raise _damaged(name, kind, str(problem)) from None
    points = [p for _, p, _ in bodies]
    faces = [f for _, _, f in bodies]
    for (body, _, _), p, f in zip(bodies, points, faces, strict=True):
        if len(f) and (f.min() < 0 or f.max() >= len(p)):
            raise SurfaceError(f"{name}: body {body}: a face names a point that is not there", "Export it again")
    base = np.cumsum([0, *(len(p) for p in points)])
    owner = np.repeat(np.arange(len(bodies)), [len(f) for f in faces])
    names = [body for body, _, _ in bodies]
    return Scene(
        np.concatenate([*points, np.zeros((0, 3))]),
        np.concatenate([*(f + b for f, b in zip(faces, base, strict=False)), np.zeros((0, 3), dtype=np.int64)]),
        Grouped(len(owner), [(owner, names)] if len(bodies) > 1 else []),
        1.0,
        "m, a GLB file is in metres by its standard",
        (),
    )


def _damaged(name: str, kind: str, why: str) -> SurfaceError:
    lines = why.strip().splitlines()
    short = f" ({lines[0][:80]})" if lines and lines[0] else ""
    return SurfaceError(f"{name}: damaged, or not a {kind.upper()} file{short}", "Export it again")


def _bodies(scene: Any) -> list[tuple[str, NDArray[Any], NDArray[Any]]]:
    """Name, placed points and faces of each body of a scene; bodies of points only have no faces."""
    out = []
    for node in scene.graph.nodes_geometry:
        place, key = scene.graph[node]
        shape = scene.geometry[key]
        points = np.asarray(shape.vertices, dtype=np.float64)
        faces = np.asarray(getattr(shape, "faces", np.zeros((0, 3))), dtype=np.int64).reshape(-1, 3)
        turn = np.asarray(place, dtype=np.float64)
        with np.errstate(all="ignore"):  # a number out of range shows as one that is not finite, when measured
            points = points @ turn[:3, :3].T + turn[:3, 3]
            mirrored = np.linalg.det(turn[:3, :3]) < 0.0
        out.append((str(node), points, faces[:, ::-1] if mirrored else faces))
    return out


def _check(path: Path, kind: str, name: str) -> None:
    """Refuse a file whose own table promises more than it holds, or what is not read, before it is opened."""
    data = path.read_bytes()
    try:
        if data[:4] == b"glTF":
            size, word = (int.from_bytes(data[at : at + 4], "little") for at in (12, 16))
            if word != _JSON or 20 + size > len(data) or int.from_bytes(data[8:12], "little") > len(data):
                raise ValueError("cut short")
            table = json.loads(data[20 : 20 + size])
        elif kind == "gltf":
            table = json.loads(data)
        else:
            raise ValueError("it doesn't begin as one")
        _check_table(table, len(data), name)
        _check_others(table, path, name)
    except SurfaceError:
        raise
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError) as problem:
        raise _damaged(name, kind, str(problem)) from None


def _check_table(table: Json, size: int, name: str) -> None:
    needed = [str(word) for word in table.get("extensionsRequired") or []]
    if any("draco" in word or "meshopt" in word for word in needed):
        raise SurfaceError(f"{name}: its mesh is compressed ({needed[0]})", "Export it without mesh compression")
    counts = [int(row.get("count", 0)) for row in table.get("accessors") or []]
    views = [int(row.get("byteLength", 0)) for row in table.get("buffers") or []]
    held = max(size, sum(v for v in views if v > 0))
    if held > 40 * max(size, 1) and not any(row.get("uri") for row in table.get("buffers") or []):
        raise ValueError("its buffers promise more than the file holds")
    if any(count < 0 or count > max(held, 1) for count in counts):
        raise ValueError("a table in it promises more rows than the file has bytes")
    nodes = table.get("nodes") or []
    meshes = table.get("meshes") or []
    each = [
        sum(
            counts[k]
            for p in mesh.get("primitives") or []
            for k in {p["attributes"].get("POSITION"), p.get("indices")}
            if k is not None
        )
        for mesh in meshes
    ]
    placed = sum(each[node["mesh"]] for node in nodes if node.get("mesh") is not None)
    if placed > MOST:
        raise SurfaceError(f"{name}: it places more than {MOST:,} points and corners", "Export the part alone")
    _check_tree(nodes)


def _check_others(table: Json, path: Path, name: str) -> None:
    """Refuse a file whose numbers lie elsewhere than in its own folder: nobody named them."""
    home = path.parent.resolve()
    for row in table.get("buffers") or []:
        uri = row.get("uri")
        if uri is None or str(uri).startswith("data:"):
            continue
        for word in {str(uri).strip(), unquote(str(uri)).strip()}:
            try:
                inside = "\\" not in word and (home / word).resolve().is_relative_to(home)
            except (OSError, ValueError, RuntimeError):
                inside = False
            if not inside:
                raise SurfaceError(f"{name}: it is made of files of another folder", "Export it as one .glb file")


def _check_tree(nodes: list[Json]) -> None:
    """Refuse nodes that hold themselves: each has one parent at most, and the way up ends."""
    parent: dict[int, int] = {}
    for number, node in enumerate(nodes):
        for child in node.get("children") or []:
            if child in parent or not 0 <= int(child) < len(nodes):
                raise ValueError("a node of its tree is held twice")
            parent[child] = number
    depth: dict[int, int] = {}
    for number in range(len(nodes)):
        seen: dict[int, None] = {}
        here: int | None = number
        while here is not None and here not in depth:
            if here in seen:
                raise ValueError("a node of its tree holds itself")
            seen[here] = None
            here = parent.get(here)
        above = 0 if here is None else depth[here]
        for level, one in enumerate(reversed(seen), 1):
            depth[one] = above + level
    if sum(depth.values()) > STEPS + 10 * len(nodes):
        raise ValueError("its nodes lie too deep in one another")
    if max(depth.values(), default=0) > DEEPEST:
        raise ValueError(f"a node of its tree lies more than {DEEPEST} others deep")


Names = tuple[NDArray[np.int64], list[bytes]]


@dataclass(frozen=True, slots=True)
class Clean:
    """What stands in an OBJ file.

    Attributes:
        points: Shape (n, 3).
        corners: Point numbers of all faces from 0, one face after another.
        counts: Corners of each face. [-]
        names: For `o` and for `g` lines: how many faces stand before each, and its text.
    """

    points: NDArray[np.float64]
    corners: NDArray[np.int64]
    counts: NDArray[np.int64]
    names: tuple[Names, Names]


Mask = NDArray[np.bool_]
Numbers = NDArray[np.int64]


class Grouped(Mapping[str, Mask]):
    """Masks over faces by name, without those that hold no face.

    A face may be in one group of each level: its object and its group, its body and its face.
    """

    def __init__(self, count: int, levels: Sequence[tuple[Numbers, Sequence[str]]] = ()) -> None:
        """`levels` holds a number for each face, -1 for none, and the names that the numbers stand for."""
        self.count = count
        self.levels = [(np.asarray(number, dtype=np.int64), tuple(names)) for number, names in levels]
        places: dict[str, list[tuple[int, int]]] = {}
        for level, (number, names) in enumerate(self.levels):
            held = np.zeros(len(names), dtype=bool)
            held[number[number >= 0]] = True
            for place in np.flatnonzero(held).tolist():
                if names[place]:
                    places.setdefault(names[place], []).append((level, place))
        self.places = places

    def __getitem__(self, word: str) -> Mask:
        mask = np.zeros(self.count, dtype=bool)
        for level, place in self.places[word]:
            mask |= self.levels[level][0] == place
        return mask

    def __iter__(self) -> Iterator[str]:
        return iter(self.places)

    def __len__(self) -> int:
        return len(self.places)

    def __contains__(self, word: object) -> bool:
        return word in self.places

    def kept(self, rows: Mask | Numbers) -> Grouped:
        """The groups of some of the faces.

        Args:
            rows: A mask over the faces, or their numbers, also more than once.
        """
        levels = [(number[rows], names) for number, names in self.levels]
        count = len(levels[0][0]) if levels else int(np.count_nonzero(rows)) if rows.dtype == bool else len(rows)
        return Grouped(count, levels)
