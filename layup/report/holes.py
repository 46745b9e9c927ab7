"""What `layup holes` shows: what holes take away, and an existing pattern of fasteners laid over the part."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError
from layup.partfile.holes import OldPattern, trim_line
from layup.partfile.job import Job
from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.report.surface_words import in_units
from layup.shape.curves import circle
from layup.shape.plan import Plan
from layup.words import System, area_words, length_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from rich.console import RenderableType
    from shapely import Geometry

_WIDE = 10.0  # of the picture [in]


def draw_holes(job: Job, path: str | Path) -> Path:
    """Draw the plan and save it.

    Args:
        job: The part file, read.
        path: Where: its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: the ending is not one of these, the part has no shape, or the file can't be written.
    """
    path = picture_path(path)
    if not job.surface.has_mesh:
        raise LayupError(f"{job.part.title}: only its area is known, so there is nothing to draw")
    figure = holes_figure(job)
    save_figure(figure, path, 140)
    return path


def holes_figure(job: Job) -> Figure:
    """One plan for each direction that holes or fasteners are seen along."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    plans = list(dict.fromkeys([*(o.plan for o in job.fasteners), *(h.plan for h in job.holes.values())]))
    plans = plans or [Plan.along((0.0, 0.0, 1.0))]
    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 9, "text.color": palette.INK,
                         "axes.edgecolor": palette.QUIET, "svg.hashsalt": "layup"}):  # fmt: skip
        heights = []
        for plan in plans:
            span = np.ptp(plan.seen(job.surface.vertices), axis=0)
            heights.append(float(np.clip(_WIDE * 0.86 * span[1] / span[0], 2.0, 12.0)))
        figure = NewFigure(figsize=(_WIDE, sum(heights) + 1.6 * len(plans) + 0.3))
        grid = figure.add_gridspec(len(plans), 1, height_ratios=heights, hspace=0.3)
        for number, plan in enumerate(plans):
            _plan(figure.add_subplot(grid[number, 0]), job, plan)
        high = figure.get_figheight()
        figure.text(0.07, 1.0 - 0.25 / high, job.part.title, va="top", fontsize=11, fontweight="bold")
        figure.subplots_adjust(left=0.07, right=0.98, bottom=0.5 / high, top=1.0 - 1.3 / high)
    return figure


def _plan(axes: Axes, job: Job, plan: Plan) -> None:
    import shapely

    part = trim_line(job.surface, plan)
    for piece in shapely.get_parts(part):
        _fill(axes, np.asarray(piece.exterior.coords), palette.PALE)
        for ring in piece.interiors:
            _fill(axes, np.asarray(ring.coords), palette.PAPER)
    keys: dict[str, Line2D] = {}
    for line in (ring for piece in shapely.get_parts(part) for ring in (piece.exterior, *piece.interiors)):
        x, y = np.asarray(line.coords).T * 1e3
        (keys["trim line and openings of the new part"],) = axes.plot(x, y, color=palette.INK, linewidth=1.3)
    for one in (h for h in job.holes.values() if h.plan == plan):
        for hole in one.pattern.holes:
            x, y = _ring(hole.x, hole.y, hole.diameter)
            (keys[f"holes {one.name}"],) = axes.plot(x, y, color=palette.PART, linewidth=1.4)
    for old in (o for o in job.fasteners if o.plan == plan):
        _old(axes, old, part, keys)
    axes.set_aspect("equal")
    names = plan.names
    axes.set_xlabel(f"{names[0]} [mm]", labelpad=1)
    axes.set_ylabel(f"{names[1]} [mm]", labelpad=1)
    axes.tick_params(colors=palette.QUIET, labelsize=8)
    axes.margins(0.06)
    axes.legend(keys.values(), keys.keys(), loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False,
                fontsize=8, borderaxespad=0.4)  # fmt: skip


def _old(axes: Axes, old: OldPattern, part: Geometry, keys: dict[str, Line2D]) -> None:
    """The old pattern where the new part has it; what breaks the rule stands out with the room it would need."""
    near = old.too_near(part)
    bad = {n.hole.name for n in near} | {n.other.name for n in near if n.other is not None}
    to_edge = {n.hole.name: n.needed for n in near if n.other is None}
    if old.edge is not None:
        x, y = np.vstack([old.edge, old.edge[:1]]).T * 1e3
        (keys["outline of the old part"],) = axes.plot(x, y, color=palette.OLD, linewidth=1.0, linestyle=(0, (5, 2)))
    for hole in old.pattern.holes:
        wrong = hole.name in bad
        colour = palette.OLD if wrong else palette.INK
        words = f'fasteners "{old.name}"' + (", too near by the rule" if wrong else "")
        x, y = _ring(hole.x, hole.y, hole.diameter)
        (keys[words],) = axes.plot(x, y, color=colour, linewidth=2.0 if wrong else 1.0)
        if hole.countersink:
            x, y = _ring(hole.x, hole.y, hole.countersink)
            axes.plot(x, y, color=colour, linewidth=0.5)
        if hole.name in to_edge:
            x, y = _ring(hole.x, hole.y, 2.0 * to_edge[hole.name])
            (keys["room it needs to the edge"],) = axes.plot(
                x, y, color=palette.OLD, linewidth=0.8, linestyle=(0, (1, 1.5))
            )
        axes.annotate(
            hole.name.removeprefix("hole "),
            (hole.x * 1e3, hole.y * 1e3),
            textcoords="offset points",
            xytext=(4, 4),
            fontsize=7,
            color=colour,
        )
    if len(old.targets):
        x, y = old.targets.T * 1e3
        (keys["matched points on the new part"],) = axes.plot(
            x, y, linestyle="none", marker="+", color=palette.PART, markersize=11, markeredgewidth=1.2
        )


def _ring(x: float, y: float, diameter: float) -> NDArray[np.float64]:
    ring = circle(x, y, diameter)
    return np.vstack([ring, ring[:1]]).T * 1e3


def _fill(axes: Axes, points: NDArray[np.float64], colour: str) -> None:
    x, y = points.T * 1e3
    axes.fill(x, y, color=colour, linewidth=0)


GUIDANCE = (
    "Rules of thumb, for guidance. Where a fastener carries load, approved data and a licensed person decide, and on "
    "an aircraft they sign for it."
)


_FIGURES = frozenset(range(1, 5))


def holes_screen(job: Job, system: System) -> RenderableType:
    """Holes and fasteners of a part."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    from layup.report.document import Grid
    from layup.report.document_text import grid_text

    parts: list[RenderableType] = [Text(job.part.title, style="bold")]
    if job.holes:
        rows = []
        one_system: System = "lb" if system == "lb" else "metric"
        for one in job.holes.values():
            sizes = sorted({round(h.diameter, 7) for h in one.pattern.holes})
            across = length_words(sizes[0], system)
            if len(sizes) > 1:
                across = f"{length_words(sizes[0], one_system)} to {length_words(sizes[-1], one_system)}"
            count = str(len(one.pattern.holes))
            rows.append((one.name, count, across, area_words(one.area, system), length_words(one.rim, system)))
        taken = sum(one.area for one in job.holes.values())
        share = taken / (job.surface.whole.area + taken)
        parts += [
            Text(),
            grid_text(Grid(("holes", "how many", "across", "take away", "their edges"), tuple(rows), right=_FIGURES)),
            Text(f"  {share * 100:.1f} % of the surface, {area_words(job.surface.whole.area, system)} is left"),
        ]
    for old in job.fasteners:
        parts += [Text(), *(Padding(Text(in_units(line, system)), (0, 0, 0, 2)) for line in fastener_lines(old, job))]
    if not job.holes and not job.fasteners:
        parts.append(Text("  It has no [[holes]] and no [[fasteners]]."))
    if job.fasteners:
        parts += [Text(), Padding(Text(f"! {GUIDANCE}", style="dim"), (0, 0, 0, 2))]
    return Group(*parts)


def fastener_lines(old: OldPattern, job: Job) -> list[str]:
    """What to know about one existing pattern on the part, a line each."""
    count = len(old.pattern.holes)
    sunk = sum(h.countersink > 0 for h in old.pattern.holes)
    lines = [f'fasteners "{old.name}": {count} holes' + (f", {sunk} of them countersunk" if sunk else "")]
    if old.fit is None:
        lines.append("  placed as measured: nothing is matched")
    else:
        x, y = old.fit.shift
        each = [f"{n} {1e3 * math.hypot(*o):.2f} mm" for n, o in zip(old.matched, old.fit.off.tolist(), strict=True)]
        more = f" and {len(each) - 12} more" if len(each) > 12 else ""
        worst = max(
            zip(old.matched, ((o[0] ** 2 + o[1] ** 2) ** 0.5 for o in old.fit.off), strict=True), key=lambda p: p[1]
        )
        lines += [
            f"  laid over by {len(old.matched)} matched points: turned {math.degrees(old.fit.turn):.2f}°, "
            f"shifted ({x * 1e3:.1f}, {y * 1e3:.1f}) mm",
            f"  left over: {old.fit.rms * 1e3:.2f} mm (root mean square), {worst[1] * 1e3:.2f} mm at most, "
            f"at {worst[0]}",
            f"  point by point: {', '.join(each[:12])}{more}",
        ]
        lines += [
            f"  ! {name} is {away * 1e3:.2f} mm off, more than {old.within * 1e3:.3g} mm: measure it again, or it is "
            "another hole"
            for name, away in old.strays
        ]
    lines.append(f"  checked, as seen in plan, by {old.rule.words}")
    if not job.surface.has_mesh:
        return [*lines, "  only the area of the part is known: no edge to check against"]
    near = old.too_near(trim_line(job.surface, old.plan))
    if not near:
        lines.append("  none is too near an edge or another one")
    lines += [f"  ! {one}" for one in near]
    return lines
