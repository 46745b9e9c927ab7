"""The shape of a part with its zones, seen from a little above: the drawing that pictures and sheets share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.partfile.job import Job
from layup.report import palette
from layup.shape.surface import Surface
from layup.sides.mould import seen
from layup.words import System, length_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.patches import Patch

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


def view_of(surface: Surface, mould: str | None = None) -> tuple[float, float]:
    """Azimuth and elevation of the eye: at the bag side, where `mould` says which that is. [deg]"""
    turn, rise = _FROM_ABOVE if is_level(surface) else _VIEW
    way = seen(surface, mould)
    if not way.known:
        return turn, rise
    _, towards = _facing(surface.vertices, way.faces)
    choices = [(turn + quarter, sign * rise) for sign in (1.0, -1.0) for quarter in (0.0, 90.0, 180.0, 270.0)]
    # the first from which most of it is seen, a little worse than the best allowed so that the view stays the usual one
    shown = [float(project(towards, view)[1]) for view in choices]
    return next(view for view, share in zip(choices, shown, strict=True) if share > max(shown) - 0.1)


def _facing(points: Floats, faces: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Areas of faces with their direction (m, 3), and the mean of all over the whole area. [m^2, -]"""
    corner = points[faces]
    across = 0.5 * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return across, across.sum(axis=0) / max(float(np.linalg.norm(across, axis=1).sum()), 1e-30)


def draw_shape(axes: Axes, job: Job) -> list[Patch]:
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
    view = view_of(surface, job.part.surface.mould)
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


def label_zones(axes: Axes, job: Job, size: float, holes: Sequence[tuple[str, Floats]] = ()) -> None:
    """Write each zone's name beside the drawing, with a line to it, so that it is found in grey print too.

    Args:
        axes: As `draw_shape` left them.
        job: The part file, read.
        size: Of the letters. [pt]
        holes: Patterns of holes: what to write of each, and where they are (n, 3), each marked. [m]
    """
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    from scipy.spatial import cKDTree

    zones = [(zone.name, job.zone_triangles(zone.name)) for zone in job.part.zone]
    centres = [(name, t.mean(axis=1)) for name, t in zones if t is not None and len(t)]
    targets: list[tuple[float, float, str]] = []
    for name, own in centres:
        flat, depth = project(own, view_of(job.surface, job.part.surface.mould))
        others = [c for other, c in centres if other != name]
        apart = cKDTree(np.concatenate(others)).query(own)[0] if others else np.ones(len(own))
        # a place clear of other zones and on the near side; of those, the one furthest to the right
        clear = np.asarray((apart >= np.quantile(apart, 0.35)) & (depth >= np.quantile(depth, 0.3)))
        if not clear.any():
            clear = np.asarray(apart >= np.quantile(apart, 0.35))
        at = np.flatnonzero(clear)[int(np.argmax(flat[clear, 0]))]
        targets.append((float(flat[at, 0]), float(flat[at, 1]), name))
    for words, places in holes:
        spots = project(places, view_of(job.surface, job.part.surface.mould))[0]
        axes.plot(spots[:, 0], spots[:, 1], ls="", marker="+", ms=4.5, mew=0.8, color=palette.INK, zorder=5)
        last = spots[int(np.argmax(spots[:, 0] + 1e-3 * spots[:, 1]))]
        targets.append((float(last[0]), float(last[1]), words))
    targets.sort(key=lambda t: t[1])
    step = 0.11 * (high - low)
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


_ARROW = 0.16  # of the size of the part, the 0° arrow
_PLUS = 40.0  # of the arc that shows the sense of + [deg]


def zero_arrow(
    surface: Surface, faces: NDArray[np.int64], warp: tuple[float, float, float], view: tuple[float, float]
) -> tuple[Floats, Floats, Floats, float] | None:
    """Where the arrow of angle 0 stands in a picture: near the middle of what looks at the eye and that 0 runs along.

    Args:
        surface: With a mesh.
        faces: As they are looked at, (m, 3).
        warp: Direction that angle 0 follows.
        view: Azimuth and elevation of the eye. [deg]

    Returns:
        Its foot, its unit direction, the unit direction that + turns it to, and its length [m]; None where the warp
        stands square to the surface there.
    """
    along = np.array(warp, dtype=np.float64)
    along /= np.linalg.norm(along)
    square_to, _ = _facing(surface.vertices, faces)
    area = np.linalg.norm(square_to, axis=1)
    unit = square_to / np.maximum(area, 1e-30)[:, None]
    middles = surface.vertices[faces].mean(axis=1)
    # so that the arrow is not seen end on
    square = project(unit, view)[1] * np.sqrt(np.maximum(1.0 - (unit @ along) ** 2, 0.0))
    good = np.flatnonzero(square > min(0.4, 0.9 * float(square.max())))
    middle = area[good] @ middles[good] / max(float(area[good].sum()), 1e-30)
    face = good[int(np.argmin(np.linalg.norm(middles[good] - middle, axis=1)))]
    normal = unit[face]
    laid = along - along @ normal * normal
    part = float(np.linalg.norm(laid))
    if part <= 0.05:
        return None
    laid /= part
    return middles[face], laid, np.cross(normal, laid), _ARROW * float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))


def draw_ways(
    axes: Axes,
    surface: Surface,
    view: tuple[float, float],
    size: float,
    system: System,
    *,
    mould: str | None = None,
    warp: tuple[float, float, float] | None = None,
    named: dict[str, tuple[float, float, float]] | None = None,
) -> None:
    """Draw which way round a part lies: its 0° arrow, the sense of +, the axes with its main sizes.

    Args:
        axes: As `draw_shape` left them.
        surface: With a mesh.
        view: Azimuth and elevation of the eye. [deg]
        size: Of the letters. [pt]
        system: Of the sizes.
        mould: As the part file says it.
        warp: Direction that angle 0 follows; along x if left out.
        named: More directions to draw in the corner: forward, up.
    """
    faces = seen(surface, mould).faces
    span = np.ptp(surface.vertices, axis=0)
    found = zero_arrow(surface, faces, warp or (1.0, 0.0, 0.0), view)
    if found is not None:
        at, laid, across, long = found
        turns = np.radians(np.linspace(0.0, _PLUS, 24))[:, None]
        arc = at + 0.8 * long * (np.cos(turns) * laid + np.sin(turns) * across)
        _arrow(axes, project(np.stack([at, at + long * laid]), view)[0], "0°", size)
        _arrow(axes, project(arc, view)[0], "+", size)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    corner = np.array([left + (0.32 if system == "both" else 0.2) * (right - left), low - 0.16 * (high - low)])
    reach = 0.13 * max(right - left, high - low)
    words = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
    bounds = [left, right, low, high]
    row = 0.0
    for (name, way), extent in zip(words.items(), span, strict=True):
        flat = project(reach * np.array(way), view)[0]
        if np.linalg.norm(flat) > 0.15 * reach:
            tip = corner + flat
            _arrow(axes, np.stack([corner, tip]), f"{name}  {length_words(float(extent), system)}", size, thin=True)
            bounds = [min(bounds[0], tip[0]), max(bounds[1], tip[0]), min(bounds[2], tip[1]), max(bounds[3], tip[1])]
    for name, way3 in (named or {}).items():
        row += 0.32
        flat = project(reach * np.array(way3) / np.linalg.norm(way3), view)[0]
        foot = corner + np.array([row * (right - left), 0.02 * (high - low)])
        if np.linalg.norm(flat) > 0.15 * reach:
            _arrow(axes, np.stack([foot, foot + flat]), name, size, thin=True)
            tip = foot + flat
            bounds = [min(bounds[0], tip[0]), max(bounds[1], tip[0]), min(bounds[2], tip[1]), max(bounds[3], tip[1])]
    slack = 0.05 * (high - low)
    axes.set_xlim(bounds[0], bounds[1])
    axes.set_ylim(min(bounds[2], corner[1]) - slack, bounds[3])


def _arrow(axes: Axes, line: Floats, name: str, size: float, *, thin: bool = False) -> None:
    """A line that ends in a head, with its name beyond the tip."""
    axes.plot(line[:, 0], line[:, 1], color=palette.INK, lw=0.9 if thin else 1.6, zorder=6, clip_on=False)
    axes.annotate(
        "",
        xy=(line[-1, 0], line[-1, 1]),
        xytext=(line[-2, 0], line[-2, 1]),
        zorder=6,
        annotation_clip=False,
        arrowprops={"arrowstyle": "-|>", "color": palette.INK, "lw": 0.9 if thin else 1.6, "shrinkA": 0, "shrinkB": 0},
    )
    way = (line[-1] - line[-2]) / max(float(np.linalg.norm(line[-1] - line[-2])), 1e-30)
    side = "left" if way[0] > 0.3 else "right" if way[0] < -0.3 else "center"
    level = "bottom" if way[1] > 0.5 else "top" if way[1] < -0.5 else "center"
    axes.annotate(name, xy=(line[-1, 0], line[-1, 1]), xytext=(3.0 * way[0], 3.0 * way[1]),
                  textcoords="offset points", fontsize=size, fontweight="normal" if thin else "bold", ha=side,
                  va=level, color=palette.INK, annotation_clip=False, zorder=7,
                  bbox={"boxstyle": "round,pad=0.1", "fc": palette.PAPER, "ec": "none", "alpha": 0.75})  # fmt: skip
