"""STEP files through the CAD kernel behind the optional extra `step`; faces keep their numbers.

    A whole file, face by face        read_step(Path("rib.step"), "rib.step")
    Only the faces that are laid up   step_surface("rib.step", face="3, 4") or face="touching (60 mm, 0 mm, 8 mm)"

The kernel runs in a process of its own, so that a file that brings it down, or keeps it busy, ends in an error. It
works in millimetres and hands over metres; its axes are those of the file (z stays z: the tests hold it to that).
Curved faces come as triangles, at most CHORD off and ANGLE bent from one to the next: a cylinder loses about
ANGLE^2 / 24 = 0.01 % of its area.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError
from layup.files.read_scene import Grouped, Scene
from layup.files.reading import read_file
from layup.shape.measure import measure_triangles
from layup.shape.plan import parse_place
from layup.shape.surface import Finding, Mesh, Surface
from layup.shape.topology import free_edges, length_of, reweld
from layup.units import parse
from layup.words import plain

CHORD = 0.05
"""Largest distance of a triangle from its face. [mm]"""
ANGLE = 0.05
"""Largest angle between triangles next to each other on a curved face. [rad]"""
LARGEST = 500_000_000
"""A file with more bytes is refused. [bytes]"""
PATIENCE = 300.0
"""The kernel gets so long. [s]"""
WORK = 120.0
"""So much of it on the processor, where the system can limit it. [s]"""
MEMORY = 4_000_000_000
"""And so much address space, where the system can limit it. [bytes]"""
MISSING = "pip install cascadio"
_KERNEL = """
import os, re, sys
made = os.fdopen(os.dup(1), "wb")
os.dup2(2, 1)  # what the kernel prints is not what it makes
sys.path.insert(0, sys.argv[6])
from layup.files.systems import bound, end_with_parent
end_with_parent()
bound(float(sys.argv[5]), int(sys.argv[4]))
sys.modules["trimesh"] = None  # the kernel would load it only to announce itself; it costs more than the reading
import cascadio
with open(sys.argv[1], "rb") as file:
    data = file.read()
# colours part a body, and its faces lose their numbers
data = re.sub(rb"#\\d+\\s*=\\s*(?:OVER_RIDING_)?STYLED_ITEM\\s*\\((?:[^;']|'[^']*')*\\)\\s*;", b"", data)
with made:
    made.write(cascadio.load(data, tol_linear=float(sys.argv[2]), tol_angular=float(sys.argv[3]), include_brep=True,
                             use_parallel=False))
"""
_PREFIXES = {"$": 1.0, ".MILLI.": 1e-3, ".CENTI.": 1e-2, ".DECI.": 0.1, ".MICRO.": 1e-6, ".KILO.": 1e3}
_WORDS = {1.0: "m", 1e-3: "mm", 1e-2: "cm", 0.1: "dm", 1e-6: "micron", 1e3: "km"}
_NAMED = {"INCH": ("in", 0.0254), "FOOT": ("ft", 0.3048), "MIL": ("mil", 0.0254e-3), "YARD": ("yd", 0.9144)}


@dataclass(frozen=True, slots=True)
class Step(Scene):
    """What a STEP file holds: a `Scene` in the unit of the file whose triangles know their face.

    Attributes:
        number: Face number of each triangle, from 1, in the order of the file; shape (m,).
        kinds: What each face is: "plane", "cylinder", ...; by number.
    """

    number: NDArray[np.int64]
    kinds: dict[int, str]


def read_step(path: Path, name: str) -> Step:
    """Read a STEP file.

    Raises:
        SurfaceError: the extra is not installed; not a STEP file, cut short, damaged; nothing in it.
    """
    data = _checked(path, name)
    if mirrored := _mirrored(data):
        raise SurfaceError(
            f"{name}: it places {mirrored} of its pieces mirrored, which the kernel would only turn round, to a wrong "
            "place and the wrong hand",
            "Export the mirrored piece as a body of its own, or export STL",
        )
    glb = _kernel(path, name)
    unit, word = _unit(data)
    points, faces, number, bodies, kinds, loose = _triangles(glb, name)
    read = len(np.unique(number))
    written = len(re.findall(rb"=\s*ADVANCED_FACE\s*\(", data))
    findings: list[Finding] = []
    if loose:
        text = f"loose curves and points in {loose} place{'s' * (loose > 1)} of the file, left out"
        findings.append(Finding("left out", loose, text, 0.0))
    if read < written:
        if read < 0.9 * written:
            raise SurfaceError(
                f"{name}: damaged: of {written} faces only {read} can be read", "Export it again, or export STL"
            )
        text = f"{written - read} of {written} faces can't be read and are missing from the area"
        findings.append(Finding("missing faces", written - read, text))
    levels = [(number, ["", *(f"face {n}" for n in range(1, int(number.max()) + 1))])]
    place = {body: k for k, body in enumerate(dict.fromkeys(bodies))}
    if len(place) > 1:
        levels.append((np.array([place[body] for body in bodies], dtype=np.int64), list(place)))
    reason = f"{word}, the STEP file itself says {word}"
    grouped = Grouped(len(faces), levels)
    return Step(points / unit, faces, grouped, unit, reason, findings=tuple(findings), number=number, kinds=kinds)


def step_surface(path: str | Path, *, face: str, unit: str | None = None) -> Surface:
    """The picked faces of a STEP file as a surface in metres.

    Args:
        path: The file.
        face: Numbers, "7" or "3, 4, 7", or a point on the face, "touching (120 mm, 0 mm, 30 mm)".
        unit: Not needed; if given it must be the file's.

    Raises:
        SurfaceError: as `read_step`; a face that is not there, with the list of faces; a point far from every
            face or between two; a unit that disagrees.
    """
    name = str(path)
    step = read_step(Path(path), name)
    if unit is not None:
        _agree(unit, step, name)
    numbers = pick_faces(step, face, name)
    mask = np.isin(step.number, numbers)
    points, faces = reweld(step.points * (step.unit or 1.0), step.faces[mask])
    used, back = np.unique(faces, return_inverse=True)
    mesh: Mesh = (points[used], back.reshape(-1, 3).astype(np.int64))
    whole = replace(measure_triangles(mesh[0][mesh[1]]), perimeter=length_of(mesh[0], free_edges(mesh[1])))
    words = ", ".join(_face_words(step, n) for n in numbers[:6]) + (", ..." if len(numbers) > 6 else "")
    total = len(np.unique(step.number))
    taken = Finding("faces", len(numbers), f"{len(numbers)} of {total} faces taken: {words}", whole.area)
    groups = step.groups.kept(mask)
    label = f"face {', '.join(str(n) for n in numbers)}" if len(numbers) < 7 else f"{len(numbers)} faces"
    return Surface(
        name,
        whole,
        lambda: mesh,
        side=label,
        unit=step.unit_reason.split(",")[0],
        findings=(*step.findings, taken),
        groups=lambda: groups,
    )


def pick_faces(step: Step, face: str, name: str) -> list[int]:
    """Numbers of the faces that a text picks; see `step_surface`."""
    text = " ".join(face.split())
    known = set(np.unique(step.number).tolist())
    if text.casefold().startswith("touching"):
        return [_touched(step, np.array(parse_place(text[8:], "face")), name)]
    words = re.split(r"[\s,;]+", re.sub(r"(?i)\bfaces?\b|\band\b", " ", text).strip())
    if not all(word.isdigit() and len(word) < 10 for word in words):
        raise SurfaceError(
            f'{name}: face "{face}" can\'t be read', 'Write face = "7", "3, 4, 7" or "touching (120 mm, 0 mm, 30 mm)"'
        )
    numbers = [int(word) for word in words]
    for number in numbers:
        if number not in known:
            raise SurfaceError(f"{name}: there is no face {number}", f"Faces: {face_list(step)}")
    return sorted(set(numbers))


def face_list(step: Step, most: int = 12) -> str:
    """The faces in words, the largest first: number, kind, area, middle."""
    numbers, counts = np.unique(step.number, return_counts=True)
    areas = (
        {int(n): _area_of(step, int(n)) for n in numbers}
        if len(numbers) <= 2000
        else dict(zip(numbers.tolist(), counts.tolist(), strict=True))
    )
    order = sorted(areas, key=lambda n: -areas[n])
    more = f"; and {len(order) - most} smaller" if len(order) > most else ""
    return "; ".join(_face_words(step, n) for n in order[:most]) + more


def _area_of(step: Step, number: int) -> float:
    corners = step.points[step.faces[step.number == number]]
    return measure_triangles(corners).area


def _face_words(step: Step, number: int) -> str:
    measured = measure_triangles(step.points[step.faces[step.number == number]]).scaled(step.unit or 1.0)
    middle = ", ".join(f"{plain(v * 1e3, 4)}" for v in measured.centroid or ())
    return f"{number} ({step.kinds.get(number, 'curved')}, {plain(measured.area, 4)} m^2, about ({middle}) mm)"


def _touched(step: Step, place: NDArray[np.float64], name: str) -> int:
    from trimesh.triangles import closest_point

    corners = (step.points * (step.unit or 1.0))[step.faces]
    size = float(np.ptp(corners.reshape(-1, 3), axis=0).max())
    closest: Any = closest_point
    nearest = closest(corners, np.tile(place, (len(corners), 1)))
    away = np.linalg.norm(np.asarray(nearest) - place, axis=1)
    first = int(step.number[int(np.argmin(away))])
    if float(away.min()) > 0.02 * size:
        raise SurfaceError(
            f"{name}: no face at {_place(place)}; face {first} is nearest, {plain(float(away.min()) * 1e3, 4)} mm away",
            "Give a point on the face, read off in the CAD program",
        )
    tied = sorted(set(step.number[away <= float(away.min()) + 1e-5 * size].tolist()))
    if len(tied) > 1:
        raise SurfaceError(
            f"{name}: the point {_place(place)} is on the edge between faces {' and '.join(map(str, tied))}",
            "Give a point inside the face, or its number",
        )
    return first


def _place(place: NDArray[np.float64]) -> str:
    return f"({', '.join(f'{plain(v * 1e3, 4)} mm' for v in place)})"


def _agree(unit: str, step: Step, name: str) -> None:
    try:
        factor = parse(f"1 {unit.strip()}", "length")
    except UnitError:
        raise SurfaceError(f'{name}: unit "{unit}" is not a unit of length', "A STEP file needs none") from None
    if abs(factor / (step.unit or 1.0) - 1.0) > 1e-9:
        raise SurfaceError(
            f'{name}: unit = "{unit}" was given, but {step.unit_reason.partition(", ")[2]}',
            "Take the unit out: a STEP file carries its own",
        )


def _checked(path: Path, name: str) -> bytes:
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise SurfaceError(f"{name}: {size / 1e6:,.0f} MB, more than {LARGEST / 1e6:.0f} MB", "Export one part")
        data = read_file(path, LARGEST)
    except OSError as problem:
        raise SurfaceError(f"{name}: can't be read ({problem.strerror})", "Check the name") from None
    if b"ISO-10303-21" not in data[:2000]:
        raise SurfaceError(f"{name}: not a STEP file", "Export it again as STEP AP214 or AP242")
    if b"END-ISO-10303-21" not in data[-2000:]:
        raise SurfaceError(f"{name}: cut short: its last line is missing", "Export or copy it again")
    if find_spec("cascadio") is None:
        raise SurfaceError(f"{name}: reading STEP needs an extra that is not installed", f"Type: {MISSING}")
    return data


def _kernel(path: Path, name: str) -> bytes:
    """The file as triangles, made in a process of its own."""
    limits = [str(value) for value in (CHORD, ANGLE, MEMORY, WORK, Path(__file__).parents[2])]
    words = [sys.executable, "-P", "-c", _KERNEL, str(path.resolve()), *limits]
    with TemporaryFile() as made, TemporaryFile() as heard:  # without a name: nothing stays when we are killed
        try:
            program = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=made, stderr=heard)
        except OSError as problem:
            wrong = f"{name}: the kernel doesn't start ({problem.strerror})"
            raise SurfaceError(wrong, f"Type: {MISSING}") from None
        with program:  # its input stays open as long as we live
            try:
                status = program.wait(PATIENCE)
            except subprocess.TimeoutExpired:
                raise _too_long(name) from None
            finally:
                program.kill()
        if -status in (getattr(signal, "SIGXCPU", 1 << 30), getattr(signal, "SIGKILL", 1 << 30)):
            raise _too_long(name)
        made.seek(0)
        heard.seek(0)
        glb = made.read() if status == 0 else b""
        text = heard.read().decode("utf-8", "replace")
    if not glb:
        said = re.sub(r"\x1b\[[0-9;]*m|\*+", "", text)
        lines = [line.strip() for line in said.splitlines() if "ERR" in line or "Error" in line]
        why = f" ({lines[0][:100]})" if lines else ""
        raise SurfaceError(f"{name}: damaged, or without any surface{why}", "Export it again as STEP AP214 or AP242")
    return glb


def _too_long(name: str) -> SurfaceError:
    return SurfaceError(f"{name}: not read within {WORK / 60:.0f} minutes", "Export fewer faces, or export STL")


def _triangles(
    glb: bytes, name: str
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], list[str], dict[int, str], int]:
    """Points in metres, faces, face numbers, body of each triangle, kinds of faces, how many things without faces."""
    import io

    try:
        import trimesh

        scene = trimesh.load_scene(io.BytesIO(glb), file_type="glb", process=False)
        points, faces, numbers, bodies = [], [], [], []
        kinds: dict[int, str] = {}
        above, base, loose = 0, 1, 0
        for node in scene.graph.nodes_geometry:
            place, key = scene.graph[node]
            shape = scene.geometry[key]
            if not hasattr(shape, "faces"):
                loose += 1
                continue
            own = np.asarray(shape.faces, dtype=np.int64).reshape(-1, 3)
            if "brep_index" not in shape.face_attributes:
                wrong = f"{name}: the faces lost their numbers: they have several colours, or a library is too old"
                raise SurfaceError(wrong, f"Export it in one colour, or type: {MISSING}")
            index = np.asarray(shape.face_attributes["brep_index"], dtype=np.int64)
            turn = np.asarray(place, dtype=np.float64)
            corners = np.asarray(shape.vertices, dtype=np.float64) @ turn[:3, :3].T + turn[:3, 3]
            if np.linalg.det(turn[:3, :3]) < 0.0:
                own = own[:, ::-1]
            points.append(corners)
            faces.append(own + above)
            numbers.append(index + base)
            bodies += [str(node)] * len(own)
            for number, kind in _records(shape.metadata.get("cascadio")):
                kinds[number + base] = kind
            above += len(corners)
            base += int(index.max(initial=-1)) + 1
    except SurfaceError:
        raise
    except Exception as problem:  # whatever a parser runs into on what the kernel made of a damaged file
        raise SurfaceError(f"{name}: damaged ({type(problem).__name__})", "Export it again") from None
    if not faces or not sum(len(f) for f in faces):
        raise SurfaceError(f"{name}: it holds no faces", "Export the solid or the surface, not only its lines")
    every = np.concatenate(points)
    if not np.isfinite(every).all():
        raise SurfaceError(f"{name}: a point is not a finite number", "Export it again")
    return every, np.concatenate(faces), np.concatenate(numbers), bodies, kinds, loose


def _records(told: object) -> Sequence[tuple[int, str]]:
    """What the kernel says of the faces that are planes, cylinders, cones, spheres or tori; of others, nothing."""
    for value in told.values() if isinstance(told, dict) else ():
        if isinstance(value, list):
            said = [(int(r["face_index"]), str(r["type"])) for r in value if isinstance(r, dict) and "face_index" in r]
            if said:
                return said
    return ()


def _mirrored(data: bytes) -> int:
    """How many pieces are placed left-handed.

    Source: ISO 10303-42, cartesian_transformation_operator_3d, from memory: its name twice, description, axis 1,
    axis 2, origin, scale, axis 3.
    """
    count = 0
    for row in re.findall(rb"CARTESIAN_TRANSFORMATION_OPERATOR_3D\s*\(((?:[^;']|'[^']*')*)\)\s*;", data):
        given = [part.strip() for part in re.sub(rb"'[^']*'", b"", row).split(b",")]
        axes = []
        for number in (given[3], given[4], given[7]) if len(given) == 8 else ():
            found = re.search(re.escape(number) + rb"\s*=\s*DIRECTION\s*\([^(]*\(([^)]*)\)", data)
            axes.append([float(value) for value in found[1].split(b",")] if found else [])
        count += [len(axis) for axis in axes] == [3, 3, 3] and float(np.linalg.det(axes)) < 0.0
    return count


def _unit(data: bytes) -> tuple[float, str]:
    """Unit of length of the file and its word; metres where it can't be told. [m]"""
    text = data.decode("latin-1")
    rows = {m[1]: m[2] for m in re.finditer(r"#(\d+)\s*=\s*([^;]*LENGTH_UNIT[^;]*);", text)}
    used: set[str] = set()
    for match in re.finditer(r"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^)]*)\)", text):
        used |= {n for n in re.findall(r"#(\d+)", match[1]) if n in rows}
    found = set()
    for number in used:
        row = re.sub(r"\s+", "", rows[number]).upper()
        named = re.search(r"CONVERSION_BASED_UNIT\('([A-Z]+)'", row)
        si = re.search(r"SI_UNIT\((\$|\.[A-Z]+\.),\.METRE\.\)", row)
        if named and named[1] in _NAMED:
            found.add(_NAMED[named[1]][::-1])
        elif si and si[1] in _PREFIXES:
            factor = _PREFIXES[si[1]]
            found.add((factor, _WORDS[factor]))
    return found.pop() if len(found) == 1 else (1.0, "m")
