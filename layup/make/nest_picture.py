"""Layouts of plies on their rolls as pictures: what the cutter pins up beside the table."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.words import System, angle_words, length_words, percent_words, tape_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch, Rectangle
    from shapely import Polygon

    from layup.make.cut import Cut, CutPiece, FabricCut
    from layup.make.pieces import Placed

_WIDE = 10.6  # inches of the page for the roll
_FILLS = ("#dfe9ee", "#f3e6cb", "#e3e8d3", "#e7dcec", "#d6e6e2", "#f0dbe3")
"""One to a part: pale, so that names and arrows read in grey print."""


def draw_cut(cut: Cut, path: str | Path, system: System = "both") -> Path:
    """Draw all layouts of a cut, one under the other, and save the picture.

    Args:
        cut: What is cut.
        path: Where: its ending (.png, .svg, .pdf) says the format.
        system: "lb", "metric" or "both".

    Raises:
        LayupError: The ending is not one of these, or the file can't be written.
    """
    path = picture_path(path)
    figure = cut_figure(cut.fabrics, system)
    save_figure(figure, path, 150)
    return path


def cut_figure(fabrics: Sequence[FabricCut], system: System = "both", wide: float = _WIDE, high: float = 3.6) -> Figure:
    """Layouts one under the other, all to one scale.

    Args:
        fabrics: Roll by roll.
        system: "lb", "metric" or "both".
        wide: Most width of the drawing without its margins. [in]
        high: Most height of a roll. [in]
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    longest = max(f.length for f in fabrics)
    widest = max(f.nest.roll.width for f in fabrics)
    scale = min(wide / longest, high / widest)
    wide = max(longest * scale, 2.5)
    heights = [f.nest.roll.width * scale + 1.05 for f in fabrics]
    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 9, "text.color": palette.INK,
                         "hatch.linewidth": 0.5, "svg.hashsalt": "layup"}):  # fmt: skip
        figure = NewFigure(figsize=(wide + 0.9, sum(heights)))
        top = sum(heights)
        for fabric, height in zip(fabrics, heights, strict=True):
            top -= height
            box = (
                0.55 / (wide + 0.9),
                (top + 0.42) / sum(heights),
                fabric.length * scale / (wide + 0.9),
                fabric.nest.roll.width * scale / sum(heights),
            )
            _draw(figure.add_axes(box), fabric, scale, system)
        return figure


def _draw(axes: Axes, fabric: FabricCut, scale: float, system: System) -> None:
    """One roll, to a scale in inches of paper per metre."""
    layout = fabric.nest
    width, length = layout.roll.width, fabric.length
    axes.set_xlim(0, length)
    axes.set_ylim(0, width)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_color(palette.QUIET)
        side.set_linewidth(0.8)
    axes.spines["right"].set_linestyle((0, (5, 3)))
    axes.spines["right"].set_color(palette.INK)
    if layout.roll.edge:
        for y in (0.0, width - layout.roll.edge):
            axes.add_patch(_box(0, y, length, layout.roll.edge, palette.PALE))
    for shape in layout.roll.blocked:
        axes.add_patch(_patch(shape, "#ffffff", hatch="xxxx", line=0.5, colour=palette.QUIET))
    for placed, shape in zip(layout.placed, layout.laid(), strict=True):
        piece = fabric.pieces[placed.piece]
        fill = _FILLS[piece.part % len(_FILLS)]
        axes.add_patch(_patch(shape, fill, hatch="///" if placed.flipped else "", line=0.9, colour=palette.INK))
        _label(axes, shape, piece, placed, scale)
    one = "metric" if system == "both" else system
    axes.text(0, width + 0.24 / scale, fabric.fabric, fontsize=10.5, fontweight="bold", va="bottom", color=palette.INK)
    axes.text(
        0,
        width + 0.06 / scale,
        f"cut off {tape_words(length, system, up=True)}, {percent_words(1.0 - fabric.waste)} used",
        fontsize=8.5,
        va="bottom",
        color=palette.INK,
    )
    axes.text(-0.02 / scale, width / 2, f"roll {tape_words(width, one)}", rotation=90, ha="right", va="center",
              fontsize=8, color=palette.QUIET)  # fmt: skip
    _ruler(axes, length, scale, one)


def _ruler(axes: Axes, length: float, scale: float, system: System) -> None:
    """Distances from the end of the roll, below it."""
    unit = 0.3048 if system == "lb" else 0.1
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100) if s * unit * scale > 0.75), 200) * unit
    for mark in np.arange(0.0, length + 1e-9, step):
        axes.plot([mark, mark], [0, -0.05 / scale], color=palette.QUIET, lw=0.8, clip_on=False)
        if length - mark < 1.55 / scale and (mark or length * scale < 1.5):
            continue
        axes.text(mark, -0.08 / scale, length_words(float(mark), system) if mark else "0", ha="center", va="top",
                  fontsize=8, color=palette.QUIET)  # fmt: skip
    narrow = length * scale < 1.5
    axes.text(0.0 if narrow else length, -0.08 / scale, f"cut here: {tape_words(length, system, up=True)}",
              ha="left" if narrow else "right", va="top", fontsize=8, color=palette.INK)  # fmt: skip


def _label(axes: Axes, shape: Polygon, piece: CutPiece, placed: Placed, scale: float) -> None:
    """Name, angle and warp arrow, as large as the piece lets them be, where it is widest."""
    import shapely

    name, angle = piece.name, angle_words(piece.ply.angle) if piece.ply.directed else "no warp"

    circle = shapely.maximum_inscribed_circle(shape, tolerance=2e-3)
    (x, y), (rim_x, rim_y) = circle.coords[0], circle.coords[-1]
    radius = float(np.hypot(rim_x - x, rim_y - y))
    if len(shape.interiors) and shapely.Polygon(shape.interiors[0]).area > 0.2 * shapely.Polygon(shape.exterior).area:
        x, y = shapely.Polygon(shape.interiors[0]).centroid.coords[0]  # a ring has room for its name in its middle only
        radius = 0.4 * float(np.sqrt(shapely.Polygon(shape.interiors[0]).area))
    room = radius * scale * 72  # points from the middle to the outline
    size = min(13.0, max(5.5, room * 0.8))
    arrow = room > 16
    axes.text(x, y + (0.08 * radius if arrow else 0.0), name, ha="center", va="center", fontsize=size,
              fontweight="bold", color=palette.INK,
              bbox={"boxstyle": "round,pad=0.15", "fc": "#ffffff", "ec": "none", "alpha": 0.8})  # fmt: skip
    if not arrow:
        return
    reach = min(0.75 * radius, 0.45 / scale)
    low = y - 0.5 * radius
    tail, head = (x + reach, x - reach) if placed.turned else (x - reach, x + reach)
    axes.annotate(
        "", xy=(head, low), xytext=(tail, low), arrowprops={"arrowstyle": "-|>", "lw": 0.9, "color": palette.INK}
    )
    long = next((w for w in (f"ply at {angle}", angle) if 0.6 * min(8.0, size) * len(w) < 1.7 * room), "")
    note = long + ("\nthis side to the mould" if placed.flipped else "")
    axes.text(x, low - 0.03 / scale, note, ha="center", va="top", fontsize=min(8.0, size), color=palette.INK)


def _patch(shape: Polygon, fill: str, *, hatch: str, line: float, colour: str) -> PathPatch:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Line

    rings = [np.asarray(ring.coords) for ring in (shape.exterior, *shape.interiors)]
    codes = np.concatenate([[Line.MOVETO, *[Line.LINETO] * (len(r) - 2), Line.CLOSEPOLY] for r in rings])
    return PathPatch(Line(np.concatenate(rings), codes), facecolor=fill, edgecolor=colour, linewidth=line, hatch=hatch)


def _box(x: float, y: float, wide: float, high: float, fill: str) -> Rectangle:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), wide, high, facecolor=fill, edgecolor="none")
