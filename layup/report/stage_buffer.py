"""A surface as bytes for the page that turns it about: a head in JSON, and behind it plain arrays.

    4 bytes      length of the head, little end first
    head         JSON, filled with blanks so that what follows begins at a multiple of four
    arrays       32-bit floats and whole numbers, little end first; the head says where each begins and how many it has

Places are metres from the middle of the box, which the head names. A large mesh is thinned for the picture, and the
head says so; nothing is ever computed from it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.report.stage_words import letters
from layup.report.surface_marks import CUT_OUT, EDGE, Marks, marks_of
from layup.report.surface_picture import eye
from layup.report.thinned import MOST, Thinned, thinned
from layup.shape.surface import Surface
from layup.shape.topology import normals
from layup.shape.zones import Cut

Floats = NDArray[np.float64]

COARSE = 40_000
"""Triangles of the mesh that is drawn while a large part moves on a machine without a graphics card. [-]"""
_LARGE = 60_000  # from so many triangles on there is a coarse mesh too
MOST_LINES = 200_000
"""Pieces of edge that are drawn; of more, every second, third, ... [-]"""
MOST_LABELS = 60
"""Numbers of cut-outs that are written into the picture. [-]"""
_SAMPLE = 1500  # triangles of a zone among which its label finds a place


@dataclass(frozen=True)
class Stage:
    """What of a surface can be kept at hand while zones come and go.

    Attributes:
        surface: The surface.
        parts: Key and mesh of what counts, and of what is left out.
        coarse: For each of them a coarser mesh of that mesh; None where it is small.
        marks: Edges, cut-outs and seams.
        view: Azimuth and rise of an eye that sees it well. [deg]
    """

    surface: Surface
    parts: tuple[tuple[str, Thinned], ...]
    coarse: tuple[Thinned | None, ...]
    marks: Marks
    view: tuple[float, float]


@dataclass(frozen=True)
class Shown:
    """A zone to be drawn.

    Attributes:
        name: As the part file calls it.
        number: Its place among the zones of the file, from 0.
        cut: The surface parted by it.
    """

    name: str
    number: int
    cut: Cut


def stage(surface: Surface, most: int = MOST) -> Stage:
    """Thin a surface where need be and find its lines.

    Args:
        surface: With a mesh.
        most: Triangles of each part of the picture at most. [-]
    """
    parts = [("counts", thinned(surface.vertices, surface.faces, most))]
    if len(surface.left_out[1]):
        parts.append(("left out", thinned(*surface.left_out, most)))
    coarse = [thinned(t.points, t.faces, COARSE) if len(t.faces) > _LARGE else None for _, t in parts]
    return Stage(surface, tuple(parts), tuple(coarse), marks_of(surface), eye(surface))


def packed(made: Stage, zones: Sequence[Shown] = (), more: dict[str, object] | None = None) -> bytes:
    """The bytes of a surface.

    Args:
        made: The surface.
        zones: Those that are drawn on it.
        more: What else the head says.
    """
    surface, out = made.surface, _Arrays()
    corners = np.concatenate([surface.vertices, surface.left_out[0]])
    low, high = corners.min(axis=0), corners.max(axis=0)
    middle = 0.5 * (low + high)
    labels = _zone_places([zone.cut.inner for zone in zones], made.marks)
    head: dict[str, object] = {
        "middle": middle.tolist(),
        "half": (0.5 * (high - low)).tolist(),
        "radius": max(float(np.linalg.norm(high - low)) / 2.0, 1e-9),
        "view": made.view,
        "parts": [
            {"key": key, "points": out.floats(thin.points - middle), "faces": out.numbers(thin.faces),
             "drawn": len(thin.faces), "triangles": thin.before, "cell": thin.cell,
             "coarse": _coarse(coarse, middle, out)}
            for (key, thin), coarse in zip(made.parts, made.coarse, strict=True)
        ],
        "zones": [
            {"name": zone.name, "number": zone.number, "letter": letters(zone.number), "area": zone.cut.inside.area,
             "at": np.subtract(at, middle).tolist(), **_drawn(zone.cut, made, middle, out)}
            for zone, at in zip(zones, labels, strict=True)
        ],
        "lines": [
            {"key": key, "words": words, "ends": out.floats(_some(lines) - middle), "all": len(lines) <= MOST_LINES}
            for key, words, lines in _lines(made.marks)
        ],
        "labels": [[text, np.subtract(at, middle).tolist()] for text, at in made.marks.labels[:MOST_LABELS]],
        "cut_outs": len(made.marks.labels),
        **(more or {}),
    }  # fmt: skip
    return out.joined(head)


def packed_triangles(soup: Floats, middle: Floats, head: dict[str, object]) -> bytes:
    """Loose triangles (n, 3, 3) as bytes, about the middle that the page has. [m]"""
    out = _Arrays()
    return out.joined({**head, "triangles": out.floats(soup - middle)})


def packed_head(head: dict[str, object]) -> bytes:
    """Words alone, with no arrays behind them."""
    return _Arrays().joined(head)


def whole_box(surface: Surface) -> tuple[Floats, Floats]:
    """Lowest and highest corner of a surface with what is left out of its file. [m]"""
    corners = np.concatenate([surface.vertices, surface.left_out[0]])
    return corners.min(axis=0), corners.max(axis=0)


@dataclass
class _Arrays:
    """Arrays one behind the other, each with its start and count."""

    pieces: list[bytes] = field(default_factory=list)
    length: int = 0

    def floats(self, values: Floats) -> tuple[int, int]:
        return self._add(np.ascontiguousarray(values, dtype="<f4"))

    def numbers(self, values: NDArray[np.int64]) -> tuple[int, int]:
        return self._add(np.ascontiguousarray(values, dtype="<u4"))

    def _add(self, values: NDArray[Any]) -> tuple[int, int]:
        start = self.length
        self.pieces.append(values.tobytes())
        self.length += values.nbytes
        return start, values.size

    def joined(self, head: dict[str, object]) -> bytes:
        text = json.dumps(head, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
        text += b" " * (-len(text) % 4)
        return b"".join([len(text).to_bytes(4, "little"), text, *self.pieces])


def _lines(marks: Marks) -> Iterable[tuple[str, str, Floats]]:
    """Key, meaning and lines of each kind."""
    named = {EDGE: "edge", CUT_OUT: "cut-out"}
    words = dict(marks.keys)
    for colour, lines in marks.lines:
        yield named.get(colour, "seam"), words[colour], lines


def _some(lines: Floats) -> Floats:
    return lines[:: max(1, -(-len(lines) // MOST_LINES))]


def _coarse(mesh: Thinned | None, middle: Floats, out: _Arrays) -> dict[str, object] | None:
    return None if mesh is None else {"points": out.floats(mesh.points - middle), "faces": out.numbers(mesh.faces)}


def _drawn(cut: Cut, made: Stage, middle: Floats, out: _Arrays) -> dict[str, object]:
    """A zone as it is drawn: cut along its border, or the triangles of a thinned mesh that stand for faces of it."""
    thin, coarse = made.parts[0][1], made.coarse[0]
    exact = not thin.fewer and len(cut.inner) <= MOST
    soup, rough = cut.inner, None
    if not exact or coarse is not None:
        mostly = _mostly(cut, made.surface)[thin.source]
        soup = cut.inner if exact else thin.points[thin.faces[mostly]]
        if coarse is not None:
            rough = out.numbers(coarse.faces[mostly[coarse.source]])
    return {"triangles": out.floats(soup - middle), "coarse": rough}


def _mostly(cut: Cut, surface: Surface) -> NDArray[np.bool_]:
    """Faces of the surface that lie in a zone with more than half of their area."""
    own = np.linalg.norm(np.cross(cut.inner[:, 1] - cut.inner[:, 0], cut.inner[:, 2] - cut.inner[:, 0]), axis=1)
    inside = np.bincount(cut.faces, 0.5 * own, minlength=len(surface.faces))
    held: NDArray[np.bool_] = inside > 0.5 * normals(surface.vertices, surface.faces)[1]
    return held


def _zone_places(soups: Sequence[Floats], marks: Marks) -> list[Floats]:
    """Where the label of each zone stands: on it, clear of the others and of numbers, else near its middle. [m]"""
    numbers = np.array([at for _, at in marks.labels[:MOST_LABELS]]).reshape(-1, 3)
    middles = [soup.mean(axis=1)[:: max(1, len(soup) // _SAMPLE)] for soup in soups]
    places = []
    for number, own in enumerate(middles):
        others = np.concatenate([m for k, m in enumerate(middles) if k != number] or [numbers[:0]])
        others = np.concatenate([others[:: max(1, len(others) // 4000)], numbers])
        near = np.arange(len(own))
        if len(others):
            apart = _nearest(own, others)
            near = np.flatnonzero(apart >= np.quantile(apart, 0.65))
        middle = soups[number].mean(axis=(0, 1))
        places.append(own[near[np.argmin(np.linalg.norm(own[near] - middle, axis=1))]])
    return places


def _nearest(one: Floats, others: Floats) -> Floats:
    """Square of the distance of each point to the nearest of the others. [m^2]"""
    square = (one**2).sum(axis=1)[:, None] - 2.0 * one @ others.T + (others**2).sum(axis=1)[None, :]
    least: Floats = square.min(axis=1)
    return least
