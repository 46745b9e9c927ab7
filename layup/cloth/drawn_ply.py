"""What is drawn of a flat pattern, once for every format: lines by layer, circles, and words.

    One pattern as strokes        strokes(ply)

Layers: CUT to be cut; EDGE the edge of the part and its cut-outs; CENTRE the centre lines; NOTCH the marks at the edge;
OVERLAP where a neighbouring strip ends; BEVEL the edge of a core's bag side; SCORE where it is cut part way through;
DRILL the holes; ARROW the warp; TEXT.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.cloth.pattern import FlatPly

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

LAYERS = ("CUT", "EDGE", "CENTRE", "NOTCH", "OVERLAP", "BEVEL", "SCORE", "DRILL", "ARROW", "TEXT")
"""In the order they are drawn."""


@dataclass(frozen=True, eq=False, slots=True)
class Stroke:
    """One line. Attributes: layer; points (n, 2) in metres; whether it closes."""

    layer: str
    points: Floats
    closed: bool


@dataclass(frozen=True, slots=True)
class Word:
    """One line of text. Attributes: the text, its left end, its height in metres."""

    text: str
    at: tuple[float, float]
    height: float


@dataclass(frozen=True, eq=False, slots=True)
class Strokes:
    """All that is drawn of one pattern. Attributes: lines, circles as (layer, x, y, radius), words, box in metres."""

    lines: tuple[Stroke, ...]
    circles: tuple[tuple[str, float, float, float], ...]
    words: tuple[Word, ...]
    box: tuple[float, float, float, float]


def strokes(ply: FlatPly, most: float = 0.012) -> Strokes:
    """Everything that is drawn of a pattern, in its own frame, the warp along +x.

    Args:
        ply: The pattern.
        most: Height of its words at most. [m]
    """
    lines: list[Stroke] = []

    def add(layer: str, shape: BaseGeometry) -> None:
        lines.extend(Stroke(layer, points, closed) for points, closed in _lines(shape) if len(points) > 1)

    add("CUT", ply.outline)
    if ply.edge.symmetric_difference(ply.outline).area > 1e-9:
        add("EDGE", ply.edge)
    for layer, shapes in (
        ("CENTRE", ply.centre),
        ("NOTCH", ply.notches),
        ("OVERLAP", ply.seams),
        ("BEVEL", ply.bevels),
        ("SCORE", ply.scores),
    ):
        for shape in shapes:
            add(layer, shape)
    for slit in ply.slits:
        add("CUT", slit)
    circles: list[tuple[str, float, float, float]] = []
    for drill in ply.drills:
        x, y = drill.at
        arm = max(0.5 * drill.diameter, 0.002) + 0.003
        lines.append(Stroke("DRILL", np.array([[x - arm, y], [x + arm, y]]), False))
        lines.append(Stroke("DRILL", np.array([[x, y - arm], [x, y + arm]]), False))
        circles.append(("DRILL", x, y, 0.5 * drill.diameter))
    low_x, low_y, high_x, high_y = ply.outline.bounds
    size = min(most, 0.06 * math.sqrt(ply.outline.area))
    at_x, at_y = _room(ply.outline, size, len(ply.title))
    words = [Word(ply.title, (at_x, at_y), size)]
    words += [Word(letter, place, 0.8 * size) for letter, place in ply.letters]
    level = at_y - 1.55 * size
    along = "warp" if ply.thickness is None else "ribbon"
    arrows: list[tuple[str, tuple[float, float]]] = [(along, (1.0, 0.0))] if ply.directed else []
    arrows += ply.ways
    if ply.directed and ply.angle % 360.0 == 0.0:
        arrows = [(f"{along} = 0°", (1.0, 0.0)), *(way for way in ply.ways if way[0] != "0°")]
    left = at_x
    for name, way in arrows:  # in a row, each from its own place, its name before it
        words.append(Word(name, (left, level - 0.35 * size), 0.8 * size))
        left += (0.62 * 0.8 * len(name) + 0.6) * size
        reach = (7.0 if name.startswith(along) else 3.6) * size
        lean = np.array(way) * reach
        tail = np.array([left + max(0.0, -lean[0]), level - max(0.0, lean[1])])  # below the title, up or down
        lines += _arrow(tail, np.array(way), reach, 0.9 * size)
        left += abs(lean[0]) + 1.4 * size
    drop = max((abs(way[1]) * 3.6 for name, way in arrows if not name.startswith(along)), default=0.0)
    for row, text in enumerate(text for text in ply.sides if text):
        words.append(Word(text, (at_x, level - ((1.9 if arrows else 0.0) + drop + 1.3 * row) * size), 0.8 * size))
    return Strokes(tuple(lines), tuple(circles), tuple(words), (low_x, low_y, high_x, high_y))


def _arrow(tail: Floats, way: Floats, reach: float, head: float) -> list[Stroke]:
    """An arrow from a place along a unit direction."""
    tip = tail + reach * way
    across = np.array([-way[1], way[0]])
    barbs = np.array([tip, tip - head * way + 0.4 * head * across, tip - head * way - 0.4 * head * across])
    return [Stroke("ARROW", np.array([tail, tip]), False), Stroke("ARROW", barbs, True)]


def _lines(shape: BaseGeometry) -> Iterable[tuple[Floats, bool]]:
    import shapely

    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            for ring in (part.exterior, *part.interiors):
                yield np.asarray(ring.coords)[:-1, :2], True
        elif part.geom_type == "LineString":
            yield np.asarray(part.coords)[:, :2], False


def _room(outline: Polygon, size: float, letters: int) -> tuple[float, float]:
    """Where the words fit best inside an outline: their left end, on the widest of some levels."""
    import shapely

    low_x, low_y, high_x, high_y = outline.bounds
    best, where = -math.inf, (low_x, low_y)
    for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9):
        y = low_y + share * (high_y - low_y)
        band = shapely.LineString([(low_x - 1, y + 0.3 * size), (high_x + 1, y + 0.3 * size)]).intersection(outline)
        for part in shapely.get_parts(band):
            length = float(part.length)
            if length > best * 1.05 + 1e-9:
                left = float(part.bounds[0])
                wide = 0.62 * size * letters
                best, where = length, (left + max(0.5 * (length - wide), 0.04 * length), y)
    return where
