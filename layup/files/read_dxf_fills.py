"""Hatches and filled corners of a DXF drawing: the edges of a filled area, as curves.

    Edges of a HATCH, MPOLYGON, SOLID or TRACE      fill_edges(entity)

A fill marks what lies inside it: it says nothing by itself of an edge that is cut. What it counts for is settled when
the whole drawing is known (`layers`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from layup.shape.curves import Line2, Pair, arc, bulged

FILLS = {"HATCH", "MPOLYGON", "SOLID", "TRACE"}
_TEXT_BOX = 8  # flag of a boundary that goes round a text in the fill


@dataclass(frozen=True, slots=True)
class Edge:
    """One line of the border of a fill, in the entity's own plane.

    Attributes:
        points: Gives its points (n, 2) when called with the sagitta that is wanted.
        closed: It is a whole border by itself.
    """

    points: Callable[[float], Line2]
    closed: bool


def fill_edges(entity: Any) -> Iterator[Edge]:
    """Edges of a filled area, in its object coordinates."""
    if entity.dxftype() in ("SOLID", "TRACE"):
        corners = np.array([(p[0], p[1]) for p in entity.vertices()], dtype=np.float64)
        yield Edge(lambda s: corners, True)
        return
    for path in entity.paths.paths:
        if int(path.path_type_flags) & _TEXT_BOX:
            continue
        if path.type.name == "POLYLINE":
            yield _polyline(path)
        else:
            for edge in path.edges:
                made = _edge(edge)
                if made is not None:
                    yield made


def _polyline(path: Any) -> Edge:
    corners: list[Pair] = [(float(v[0]), float(v[1])) for v in path.vertices]
    bulges = [float(v[2]) for v in path.vertices]
    return Edge(lambda s: bulged(corners, bulges, True, s), True)


def _edge(edge: Any) -> Edge | None:
    kind = edge.type.name
    if kind == "LINE":
        ends = np.array([(p[0], p[1]) for p in (edge.start, edge.end)], dtype=np.float64)
        return Edge(lambda s: ends, False)
    if kind in ("ARC", "ELLIPSE"):
        centre = (float(edge.center[0]), float(edge.center[1]))
        if kind == "ARC":
            u: Pair = (float(edge.radius), 0.0)
            v: Pair = (0.0, float(edge.radius))
            start, end = (float(np.radians(a)) for a in (edge.start_angle, edge.end_angle))
        else:
            u = (float(edge.major_axis[0]), float(edge.major_axis[1]))
            v = (-u[1] * float(edge.ratio), u[0] * float(edge.ratio))
            start, end = float(edge.start_param), float(edge.end_param)
        whole = abs(end - start) >= 2.0 * np.pi - 1e-9 or abs(end - start) < 1e-12
        sweep = 2.0 * np.pi if whole else float((end - start) % (2.0 * np.pi))
        return Edge(lambda s: arc(centre, u, v, start, start + sweep, s), whole)
    if not edge.is_valid():
        return None
    tool = edge.construction_tool()
    rough = _flat(tool.flattening(np.inf, segments=8))
    size = float(np.ptp(rough, axis=0).max()) if np.isfinite(rough).all() else 0.0

    def points(sagitta: float) -> Line2:
        if not np.isfinite(sagitta) or not size > 0.0:
            return rough
        return _flat(tool.flattening(max(sagitta, 1e-7 * size), segments=8))

    return Edge(points, False)


def _flat(points: Any) -> Line2:
    return np.array([(p[0], p[1]) for p in points], dtype=np.float64).reshape(-1, 2)
