"""The shear of a draped ply on the part: pale where the weave lies square, marked where it locks, with its threads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.report.shape_drawing import project, view_of
from layup.sides.mould import seen

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from layup.cloth.draped import DrapedPly
    from layup.shape.surface import Surface

Floats = NDArray[np.float64]

_STEPS = ("#eef3f5", "#c9dde4", "#98bfcc", "#5f9bb3", "#2b7393", "#0f4a63")
"""Shear from none to the locking angle, in six steps: lighter is squarer."""
_THREADS = 26  # drawn across the longer way
_LIGHT = np.array([-0.35, -0.45, 0.82])


def draw_shear(
    surface: Surface, plies: Sequence[tuple[str, DrapedPly]], path: str | Path, title: str, mould: str | None = None
) -> Path:
    """Draw the shear of some plies, each on the part, and save the picture.

    Args:
        surface: Of the part.
        plies: What each is called, and how it lies; at most six are drawn.
        path: Where: its ending (.png, .svg, .pdf) says the format.
        title: Of the picture.
        mould: "male" or "female", as the part file has it: the eye stands on the bag side then.

    Raises:
        LayupError: The ending is not one of these, or the file can't be written.
    """
    path = picture_path(path)
    figure = shear_figure(surface, plies, title, mould)
    save_figure(figure, path, 150)
    return path


def shear_figure(
    surface: Surface, plies: Sequence[tuple[str, DrapedPly]], title: str, mould: str | None = None
) -> Figure:
    """The same as a figure."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure
    from matplotlib.patches import Patch

    shown = list(plies)[:6]
    across = 1 if len(shown) == 1 else 2
    down = math.ceil(len(shown) / across)
    with mpl.rc_context(
        {"font.family": "DejaVu Sans", "font.size": 10, "text.color": palette.INK, "svg.hashsalt": "layup"}
    ):
        high = 1.45 + 4.5 * down
        figure = NewFigure(figsize=(11.0, high))
        figure.text(0.03, 1 - 0.30 / high, title, fontsize=16, fontweight="bold", va="top")
        side = "Seen from the bag side, looking at the mould." if seen(surface, mould).known else ""
        figure.text(0.97, 1 - 0.38 / high, side, fontsize=9.5, va="top", ha="right", color=palette.QUIET)
        for number, (name, ply) in enumerate(shown):
            row, column = divmod(number, across)
            box = (0.02 + column / across, 0.75 / high + (down - 1 - row) * 4.5 / high, 0.96 / across, 3.7 / high)
            axes = figure.add_axes(box)
            _draw(axes, surface, ply, view_of(surface, mould))
            figure.text(box[0] + 0.01, box[1] + 4.32 / high, name, fontsize=11, fontweight="bold", va="top")
            figure.text(box[0] + 0.01, box[1] + 4.08 / high, _words(ply), fontsize=9.5, va="top", color=palette.QUIET)
        locks = sorted({round(math.degrees(ply.locking), 1) for _, ply in shown})
        lock = locks[0] if len(locks) == 1 else None
        keys = []
        for number, colour in enumerate(_STEPS):
            low, top = number / len(_STEPS), (number + 1) / len(_STEPS)
            label = f"{low * lock:.0f}-{top * lock:.0f}°" if lock else f"{low * 100:.0f}-{top * 100:.0f} %"
            keys.append(Patch(facecolor=colour, edgecolor=palette.QUIET, linewidth=0.5, label=label))
        keys.append(Patch(facecolor=palette.OLD, edgecolor=palette.INK, label="past locking", hatch="////"))
        unit = "Shear" if lock else "Shear over locking angle"
        figure.legend(handles=keys, loc="lower left", bbox_to_anchor=(0.02, 0.02), ncols=7, frameon=False,
                      fontsize=9.5, title=unit, alignment="left", columnspacing=1.2, handlelength=1.5)  # fmt: skip
        return figure


def _words(ply: DrapedPly) -> str:
    lock = f"{math.degrees(ply.locking):.0f}°" + (", assumed" if ply.typical else "")
    text = f"cloth up {100 * (ply.factor - 1):.1f} %, shear up to {math.degrees(ply.most):.0f}°"
    if ply.bare > 0.002:
        text += f", {100 * ply.bare:.1f} % not reached"
    return f"{text}\npast locking ({lock}): {100 * ply.locked:.1f} % of its area"


def _draw(axes: Axes, surface: Surface, ply: DrapedPly, view: tuple[float, float]) -> None:
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb
    from scipy.spatial import cKDTree

    soup = surface.vertices[surface.faces]
    step = -(-len(soup) // 40_000)
    flats: list[Floats] = []
    fills: list[Floats] = []
    edges: list[Floats] = []
    depths: list[Floats] = []
    wide: list[Floats] = []

    def add(shapes: Floats, colour: Floats, order: float, edge: Floats | None = None, width: float = 0.25) -> None:
        flat, depth = project(shapes, view)
        flats.append(flat)
        fills.append(colour)
        edges.append(colour if edge is None else edge)
        depths.append(depth.mean(axis=1) + order)
        wide.append(np.full(len(shapes), width))

    size = float(np.linalg.norm(np.ptp(soup.reshape(-1, 3), axis=0)))
    base = soup[::step]
    add(base, _shaded(base, np.tile(to_rgb(palette.PALE), (len(base), 1))), 0.0)
    table = np.array([to_rgb(c) for c in _STEPS])
    for on in ply.on:
        fine, _, shear = on.pieces
        share = np.abs(shear) / ply.locking
        colour = table[np.clip((share * len(_STEPS)).astype(int), 0, len(_STEPS) - 1)]
        locked = share > 1.0
        colour[locked] = to_rgb(palette.OLD)
        add(fine, _shaded(fine, colour), 2e-4 * size)
    laid = cKDTree(np.concatenate([on.pieces[0] for on in ply.on]).mean(axis=1))  # a ring's net spans its hollow too
    for net in ply.nets:
        every = max(1, round(math.sqrt(net.sheet.area) / net.link / _THREADS))
        for way, corner in ((1, (0, 1)), (0, (0, 3))):
            first = net.ij[net.cells[:, 0], way] % every == 0
            lines = net.nodes[net.cells[first]][:, list(corner)]
            lines = lines[~net.off[net.cells[first]][:, list(corner)].any(axis=1)]
            lines = lines[laid.query(lines.mean(axis=1))[0] < net.link]
            if len(lines):
                shapes = np.concatenate([lines, lines[:, 1:]], axis=1)
                ink = np.tile(to_rgb(palette.INK), (len(lines), 1))
                add(shapes, ink, 2e-3 * size, width=0.35)
    order = np.argsort(np.concatenate(depths))
    polygons: Any = np.concatenate(flats)[order]
    axes.add_collection(
        PolyCollection(
            polygons,
            facecolors=np.concatenate(fills)[order],
            edgecolors=np.concatenate(edges)[order],
            linewidths=np.concatenate(wide)[order],
        )
    )
    front = _front(np.concatenate([base, *(on.pieces[0] for on in ply.on)]), view, size)
    for on in ply.on:  # a cross on each locked patch, so that it shows in grey print
        fine, _, shear = on.pieces
        _crosses(axes, fine[np.abs(shear) > ply.locking], front, view, size)
    at, _ = project(ply.net.start, view)
    axes.plot([at[0]], [at[1]], marker="o", ms=5, color=palette.PAPER, markeredgecolor=palette.INK, zorder=6)
    tip, _ = project(ply.net.start + 0.12 * size * ply.net.warp, view)
    axes.annotate(
        "",
        xy=(tip[0], tip[1]),
        xytext=(at[0], at[1]),
        zorder=6,
        arrowprops={"arrowstyle": "-|>", "color": palette.INK, "lw": 1.6},
    )
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.axis("off")


_CELL = 0.012  # of the size of the part: one cross at most to so much


def _front(fine: Floats, view: tuple[float, float], size: float) -> dict[tuple[int, int], float]:
    """How near the nearest surface is, cell by cell of the picture."""
    flat, depth = project(fine.mean(axis=1), view)
    cell = np.floor(flat / (_CELL * size)).astype(np.int64)
    order = np.argsort(depth)
    return {(int(x), int(y)): float(d) for (x, y), d in zip(cell[order].tolist(), depth[order], strict=True)}


def _crosses(
    axes: Axes, locked: Floats, front: dict[tuple[int, int], float], view: tuple[float, float], size: float
) -> None:
    if not len(locked):
        return
    flat, depth = project(locked.mean(axis=1), view)
    cell = np.floor(flat / (_CELL * size)).astype(np.int64)
    near = np.array([d > front[(x, y)] - 0.03 * size for (x, y), d in zip(cell.tolist(), depth, strict=True)])
    if not near.any():
        return
    _, first = np.unique(cell[near], axis=0, return_index=True)
    at = flat[near][first]
    axes.plot(at[:, 0], at[:, 1], linestyle="", marker="x", ms=3.4, mew=0.8, color=palette.INK, zorder=5)


def _shaded(triangles: Floats, colour: Floats) -> Floats:
    """Colours a little darker where a triangle turns from the light."""
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    shade = np.abs((normal / np.where(size > 0, size, 1.0)) @ _LIGHT)[:, None]
    shaded: Floats = np.clip(np.asarray(colour) * (0.72 + 0.28 * shade), 0.0, 1.0)
    return shaded
