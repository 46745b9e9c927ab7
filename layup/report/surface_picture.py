"""A picture of a surface as it was read: the side that counts, its free edges, what was found."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.report.shape_drawing import draw_ways, project, view_of
from layup.report.surface_marks import facts, marks_of
from layup.report.surface_words import in_units, system_of
from layup.shape.surface import Surface
from layup.shape.topology import normals
from layup.words import System

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

_MOST = 120_000  # triangles drawn; of more, every second, third, ...
_WAY = (
    "0° runs along x unless the part file's warp says otherwise; + as seen from the side that the surface faces. "
    "Which side the mould is on, the part file says: mould."
)
_LIGHT = np.array([-0.35, -0.45, 0.82])


def draw_surface(surface: Surface, path: str | Path, system: System | None = None) -> Path:
    """Draw a surface and save the picture.

    Args:
        surface: With a mesh.
        path: Where: its ending (.png, .svg, .pdf) says the format.
        system: "lb", "metric" or "both"; None for the units of the file.

    Raises:
        LayupError: the ending is none of these.
        SurfaceError: a surface known only by its area.
    """
    path = picture_path(path)
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(
        {"font.family": "DejaVu Sans", "font.size": 11, "text.color": palette.INK, "svg.hashsalt": "layup"}
    ):
        figure = Figure(figsize=(12.0, 7.4))
        figure.text(0.04, 0.945, surface.name, fontsize=20, fontweight="bold", va="top")
        shown = facts(surface, system)[:4]
        line = "   ".join(text if word in ("area", "size") else f"{word} {text}" for word, text in shown)
        figure.text(0.04, 0.885, line, fontsize=13, va="top", color=palette.PART)
        axes = figure.add_axes((0.03, 0.06, 0.60, 0.74))
        keys = _draw(axes, surface)
        draw_ways(axes, surface, eye(surface), 9.5, system or system_of(surface))
        figure.text(0.04, 0.835, _WAY, fontsize=8.5, va="top", color=palette.QUIET)
        figure.legend(
            handles=keys, loc="lower left", bbox_to_anchor=(0.03, 0.01), frameon=False, ncols=4, fontsize=10.5
        )
        _write_findings(figure, surface, system or system_of(surface))
        save_figure(figure, path, 160)
    return path


def _draw(axes: Axes, surface: Surface) -> list[Artist]:
    """The faces with their lines, the far ones first; a legend."""
    from matplotlib.collections import PolyCollection
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    view = eye(surface)
    points, faces = surface.vertices, surface.faces
    other_points, others = surface.left_out
    marks = marks_of(surface)
    reach = float(np.ptp(points, axis=0).max())
    flat, depth, colours, widths = _shaded(other_points, others, palette.OTHER, view)
    parts = [_shaded(points, faces, palette.PART, view), (flat, depth - 0.03 * reach, colours, widths)]
    for colour, lines in marks.lines:
        flat, depth = project(lines, view)
        strokes = np.concatenate([flat, flat[:, 1:]], axis=1)
        parts.append(
            (strokes, depth.mean(axis=1) + 4e-3 * reach, _colours(colour, len(lines)), np.full(len(lines), 1.8))
        )
    shapes, depths, colours, widths = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(depths, kind="stable")
    drawn: Any = shapes[order]
    axes.add_collection(
        PolyCollection(drawn, facecolors=colours[order], edgecolors=colours[order], linewidths=widths[order])
    )
    for text, place in marks.labels:
        at, _ = project(np.array(place), view)
        axes.text(at[0], at[1], text, fontsize=10, fontweight="bold", ha="center", va="center", zorder=5,
                  bbox={"boxstyle": "circle,pad=0.22", "fc": palette.PAPER, "ec": palette.INK, "lw": 0.8})  # fmt: skip
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.axis("off")
    keys: list[Artist] = [Patch(facecolor=palette.PART, label="counts")]
    if len(others):
        keys.append(Patch(facecolor=palette.OTHER, label="left out"))
    return keys + [Line2D([], [], color=colour, lw=2.2, label=word) for colour, word in marks.keys]


def eye(surface: Surface) -> tuple[float, float]:
    """Azimuth and elevation of an eye that sees the front of the surface. [deg]"""
    turn, rise = view_of(surface)
    if not len(surface.left_out[1]):
        return turn, rise
    unit, area = normals(surface.vertices, surface.faces)
    way = area @ unit / max(float(area.sum()), 1e-30)
    if np.linalg.norm(way) < 0.2:
        return turn, rise
    choices = [(turn + quarter, sign * rise) for sign in (1.0, -1.0) for quarter in (0.0, 90.0, 180.0, 270.0)]
    seen = [float(project(way, view)[1]) for view in choices]
    best = max(seen)
    return next(view for view, amount in zip(choices, seen, strict=True) if amount > best - 0.1)


def _shaded(
    points: Floats, faces: NDArray[np.int64], colour: str, view: tuple[float, float]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Triangles in the picture, their depth, colour and line width."""
    faces = faces[:: max(1, -(-len(faces) // _MOST))]
    flat, depth = project(points[faces].reshape(-1, 3, 3), view)
    unit, _ = normals(points, faces)
    shade = np.abs(unit @ _LIGHT)[:, None]
    mix = 0.30 + 0.70 * shade
    base = _colours(colour, len(faces))[:, :3]
    shades = np.clip(base * mix + (1 - mix) * 0.12 + 0.16 * shade**6, 0, 1)
    colours = np.concatenate([shades, np.ones((len(faces), 1))], axis=1)
    return flat, depth.mean(axis=1), colours, np.full(len(faces), 0.25)


def _colours(colour: str, count: int) -> Floats:
    from matplotlib.colors import to_rgba

    return np.tile(np.array(to_rgba(colour)), (count, 1))


def _write_findings(figure: Figure, surface: Surface, system: System) -> None:
    """What was found, in words, down the right side."""
    left, top = 0.67, 0.80
    figure.text(
        left,
        top,
        "What was found" if surface.findings else "Nothing odd was found",
        fontsize=12.5,
        fontweight="bold",
        va="top",
    )
    top -= 0.055
    for number, finding in enumerate(surface.findings):
        effect = ""
        if finding.area_effect:
            effect = f" ({'+' if finding.area_effect > 0 else '−'}{abs(finding.area_effect):.4g} m^2)"
        text = textwrap.fill(in_units(finding.text[0].upper() + finding.text[1:] + effect, system), 46)
        lines = text.count("\n") + 1
        if top - 0.027 * lines < 0.06:
            figure.text(left, top, f"... and {len(surface.findings) - number} more", fontsize=10.5, va="top")
            return
        figure.text(left - 0.016, top - 0.001, "•", fontsize=11, va="top", color=palette.OLD)
        figure.text(left, top, text, fontsize=10.5, va="top", linespacing=1.35)
        top -= 0.027 * lines + 0.018
