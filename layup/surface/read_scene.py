"""PLY, OFF, GLB, GLTF and 3MF through the mesh library, which is loaded only for them."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError

UNPACKED = 1_000_000_000
"""A 3MF that unpacks to more than this is refused. [bytes]"""
_UNITS = {
    "micron": 1e-6, "millimeter": 1e-3, "centimeter": 1e-2, "inch": 0.0254, "foot": 0.3048, "meter": 1.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Scene:
    """What a file holds, its bodies placed and put together.

    Attributes:
        points: Shape (n, 3), in the unit of the file.
        faces: Shape (m, 3).
        groups: Bodies of the file as masks over the faces.
        unit: The unit the format itself states, None when it states none. [m]
        unit_reason: That unit, a comma, and where it comes from.
    """

    points: NDArray[np.float64]
    faces: NDArray[np.int64]
    groups: dict[str, NDArray[np.bool_]]
    unit: float | None
    unit_reason: str


def read_scene(path: Path, name: str) -> Scene:
    """Read a file through trimesh.

    Args:
        path: The file.
        name: What errors call it.

    Raises:
        SurfaceError: damaged, not what its name says, or larger unpacked than UNPACKED.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind == "3mf":
        _check_packed(path, name)
    try:
        import trimesh

        loaded: Any = trimesh.load_scene(str(path), process=False)
        bodies = list(_bodies(loaded))
    except MemoryError:
        raise SurfaceError(f"{name}: too large to read", "Export it coarser") from None
    except Exception as problem:  # the parsers behind trimesh raise whatever they run into on damaged files
        why = str(problem).strip().splitlines()
        short = f" ({why[0][:80]})" if why and why[0] else ""
        raise SurfaceError(f"{name}: damaged, or not a {kind.upper()} file{short}", "Export it again") from None
    points = [np.asarray(p, dtype=np.float64) for _, p, _ in bodies]
    faces = [np.asarray(f, dtype=np.int64) for _, _, f in bodies]
    for (body, _, _), p, f in zip(bodies, points, faces, strict=True):
        if len(f) and (f.min() < 0 or f.max() >= len(p)):
            raise SurfaceError(f"{name}: body {body}: a face names a point that is not there", "Export it again")
    base = np.cumsum([0, *(len(p) for p in points)])
    sizes = [len(f) for f in faces]
    owner = np.repeat(np.arange(len(bodies)), sizes)
    groups: dict[str, NDArray[np.bool_]] = {}
    for number, (body, _, _) in enumerate(bodies):
        word = body if body not in groups else f"{body} ({number + 1})"
        groups[word] = owner == number
    unit, reason = _unit(kind, loaded)
    return Scene(
        np.concatenate([*points, np.zeros((0, 3))]),
        np.concatenate([*(f + b for f, b in zip(faces, base, strict=False)), np.zeros((0, 3), dtype=np.int64)]),
        groups if len(bodies) > 1 else {},
        unit,
        reason,
    )


def _bodies(scene: Any) -> list[tuple[str, NDArray[Any], NDArray[Any]]]:
    """Name, placed points and faces of each body of a scene; bodies of points only have no faces."""
    out = []
    for node in scene.graph.nodes_geometry:
        place, key = scene.graph[node]
        shape = scene.geometry[key]
        points = np.asarray(shape.vertices, dtype=np.float64)
        faces = np.asarray(getattr(shape, "faces", np.zeros((0, 3))), dtype=np.int64).reshape(-1, 3)
        turn = np.asarray(place, dtype=np.float64)
        points = points @ turn[:3, :3].T + turn[:3, 3]
        if np.linalg.det(turn[:3, :3]) < 0.0:
            faces = faces[:, ::-1]
        out.append((str(node), points, faces))
    return out


def _unit(kind: str, scene: Any) -> tuple[float | None, str]:
    if kind in ("glb", "gltf"):
        return 1.0, "m, a GLB file is in metres by its standard"
    if kind == "3mf":
        words = [str(g.units) for g in scene.geometry.values() if getattr(g, "units", None)]
        word = words[0] if words else "millimeter"
        factor = _UNITS.get(word.removesuffix("s").replace("metre", "meter").replace("inche", "inch"))
        if factor is None:
            raise SurfaceError(f'the 3MF file gives its unit as "{word}"', "Export it in millimetres")
        return factor, f"{word}, the 3MF file itself says {word}"
    return None, ""


def _check_packed(path: Path, name: str) -> None:
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, OSError):
        raise SurfaceError(f"{name}: damaged, or not a 3MF file", "Export it again") from None
    if size > UNPACKED:
        raise SurfaceError(
            f"{name}: unpacks to {size / 1e9:.3g} GB, more than the {UNPACKED / 1e9:.3g} GB that are read",
            "Export it coarser, or as binary STL",
        )
