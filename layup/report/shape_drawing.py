"""The shape of a part with its zones, seen from a little above: the drawing that pictures and sheets share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.partfile.job import Job
from layup.report import palette
from layup.shape.surface import Surface

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_VIEW = (-58.0, 28.0)  # azimuth and elevation of the eye [deg]
_FROM_ABOVE = (0.0, 90.0)
_MOST_TRIANGLES = 60_000


def project(points: Floats, view: tuple[float, float]) -> tuple[Floats, Floats]:
    """Points (..., 3) seen from the eye: picture coordinates (..., 2) and depth (...), larger nearer."""
    turn, rise = np.radians(view)
    toward = np.array([np.cos(rise) * np.sin(turn), -np.cos(rise) * np.cos(turn), np.sin(rise)])
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    up = np.cross(toward, right)
    return points @ np.stack([right, up]).T, points @ toward


def is_level(surface: Surface) -> bool:
    """Whether a surface lies flat in x and y, so that it is seen from straight above."""
    size = np.ptp(surface.vertices, axis=0)
    return bool(size[2] <= 1e-6 * size.max())


def view_of(surface: Surface) -> tuple[float, float]:
    """Azimuth and elevation of the eye. [deg]"""
    return _FROM_ABOVE if is_level(surface) else _VIEW


def draw_shape(axes: Axes, job: Job) -> list[Any]:
    """Draw the surface of a part, its zones in their colours.

    Args:
        axes: Matplotlib axes to draw on; their frame is taken off.
        job: The part file, read; its surface has a mesh.

    Returns:
        A patch with its name for each zone drawn, for a legend.
    """
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb
    from matplotlib.patches import Patch

    surface = job.surface
    pieces: list[tuple[Floats, str]] = []
    soup = surface.vertices[surface.faces]
    step = -(-len(soup) // _MOST_TRIANGLES)
    pieces.append((soup[::step], palette.PART))
    keys = []
    for number, zone in enumerate(job.part.zone):
        triangles = job.zone_triangles(zone.name)
        if triangles is None:
            continue
        colour = palette.ZONES[number % len(palette.ZONES)]
        pieces.append((triangles, colour))
        keys.append(Patch(facecolor=colour, label=f"{zone.name}"))
    polygons, colours, depths = [], [], []
    light = np.array([-0.35, -0.45, 0.82])
    view = view_of(surface)
    for order, (triangles, colour) in enumerate(pieces):
        if not len(triangles):
            continue
        flat, depth = project(triangles, view)
        normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        size = np.linalg.norm(normal, axis=1, keepdims=True)
        shade = np.abs((normal / np.where(size > 0, size, 1.0)) @ light)
        base = np.array(to_rgb(colour))
        mix = (0.30 + 0.70 * shade)[:, None]
        polygons.append(flat)
        colours.append(np.clip(base * mix + (1 - mix) * 0.12 + 0.16 * shade[:, None] ** 6, 0, 1))
        depths.append(depth.mean(axis=1) + order * 1e-3)
    order_of = np.argsort(np.concatenate(depths))
    shapes: Any = np.concatenate(polygons)[order_of]
    shades = np.concatenate(colours)[order_of]
    axes.add_collection(PolyCollection(shapes, facecolors=shades, edgecolors=shades, linewidths=0.25))
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.axis("off")
    return keys


def label_zones(axes: Axes, job: Job, size: float) -> None:
    """Write each zone's name beside the drawing, with a line to it, so that it is found in grey print too.

    Args:
        axes: As `draw_shape` left them.
        job: The part file, read.
        size: Of the letters. [pt]
    """
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    from scipy.spatial import cKDTree

    zones = [(zone.name, job.zone_triangles(zone.name)) for zone in job.part.zone]
    centres = [(name, t.mean(axis=1)) for name, t in zones if t is not None and len(t)]
    targets: list[tuple[float, float, str]] = []
    for name, own in centres:
        flat, depth = project(own, view_of(job.surface))
        others = [c for other, c in centres if other != name]
        apart = cKDTree(np.concatenate(others)).query(own)[0] if others else np.ones(len(own))
        # a place clear of other zones and on the near side; of those, the one furthest to the right
        clear = np.asarray((apart >= np.quantile(apart, 0.35)) & (depth >= np.quantile(depth, 0.3)))
        if not clear.any():
            clear = np.asarray(apart >= np.quantile(apart, 0.35))
        at = np.flatnonzero(clear)[int(np.argmax(flat[clear, 0]))]
        targets.append((float(flat[at, 0]), float(flat[at, 1]), name))
    targets.sort(key=lambda t: t[1])
    step = 0.085 * (high - low)
    heights = [max(low + 0.1 * (high - low), y) for _, y, _ in targets]
    for number in range(1, len(heights)):
        heights[number] = max(heights[number], heights[number - 1] + step)
    over = max(0.0, heights[-1] - high) if heights else 0.0
    edge = right + 0.05 * (right - left)
    for (x, y, name), height in zip(targets, heights, strict=True):
        axes.annotate(name, xy=(x, y), xytext=(edge, height - over), fontsize=size, va="center", color=palette.INK,
                      arrowprops={"arrowstyle": "-", "color": palette.INK, "lw": 0.7, "shrinkA": 2, "shrinkB": 0},
                      annotation_clip=False)  # fmt: skip
        axes.plot([x], [y], marker="o", ms=3.4, color=palette.INK, zorder=5)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
