"""What is drawn of a surface beside its faces: free edges, cut-outs with their numbers, seams; and its words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.report import palette
from layup.report.surface_words import system_of
from layup.shape.loops import free_loops
from layup.shape.surface import AS_DRAWN, Surface
from layup.shape.topology import edge_keys, edges_of
from layup.units import INCH
from layup.words import System, area_words, length_words

Floats = NDArray[np.float64]

EDGE, CUT_OUT, SEAM = palette.INK, palette.ZONES[0], palette.OLD


@dataclass(frozen=True, slots=True)
class Marks:
    """Lines on a surface, and labels.

    Attributes:
        lines: Colour and lines (n, 2, 3) of each kind of line. [m]
        labels: Text and place of each label. [m]
        keys: Colour and meaning of each kind of line there is.
    """

    lines: tuple[tuple[str, Floats], ...]
    labels: tuple[tuple[str, tuple[float, float, float]], ...]
    keys: tuple[tuple[str, str], ...]


def marks_of(surface: Surface) -> Marks:
    """Free edges, cut-outs with their numbers, and edges with more than two faces."""
    points, faces = surface.vertices, surface.faces
    loops = free_loops(points, faces)
    holes = [loop for loop in loops if not loop.outer]
    edges, _ = edges_of(faces)
    keys_of = edge_keys(edges)
    ordered = np.sort(keys_of)  # a seam is rare, and finding which edges it has takes three times as long
    seam = (ordered[2:] == ordered[:-2]).any()
    _, first, count = np.unique(keys_of if seam else keys_of[:0], return_index=True, return_counts=True)
    kinds = (
        (EDGE, "outer edge", [loop.edges for loop in loops if loop.outer]),
        (CUT_OUT, "cut-outs, by number", [loop.edges for loop in holes]),
        (SEAM, "more than two faces at an edge", [edges[first[count > 2]]]),
    )
    lines = tuple((colour, points[np.concatenate(parts)]) for colour, _, parts in kinds if sum(map(len, parts)))
    keys = tuple((colour, word) for colour, word, parts in kinds if sum(map(len, parts)))
    return Marks(lines, tuple((str(n), hole.middle) for n, hole in enumerate(holes, 1)), keys)


def facts(surface: Surface, system: System | None = None) -> list[tuple[str, str]]:
    """The surface in a few words: what, and how much.

    Args:
        surface: Measured.
        system: "lb", "metric" or "both"; None for the units of its file.
    """
    whole = surface.whole
    system = system or system_of(surface)
    inches = system == "lb"
    out = [("area", area_words(whole.area, system) if inches else f"{whole.area:.4g} m²")]
    if whole.box is not None:
        span = np.subtract(whole.box[1], whole.box[0]) / (INCH if inches else 1e-3)
        sizes = " x ".join(f"{v:,.0f}" if v >= 100 else f"{v:.3g}" for v in span)
        out.append(("size", f"{sizes} {'in' if inches else 'mm'}"))
    if surface.perimeter:
        long = length_words(surface.perimeter, system) if inches else f"{surface.perimeter:.4g} m"
        out.append(("all free edges", long))
    if surface.side != AS_DRAWN:
        out.append(("side", surface.side))
    if surface.unit:
        out.append(("unit", surface.unit))
    out.append(("triangles", f"{whole.triangles:,}"))
    return out
