"""One picture of the shop's hand: predicted against weighed, and the resin left from part to part."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layup.errors import LayupError
from layup.learn.calibrate import Calibration, Group, drift
from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.spread import Z90
from layup.words import mass_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

_MARKS = ("o", "s", "D", "^", "v", "P", "X")
_COLOURS = (palette.PART, palette.ZONES[0], palette.ZONES[2], palette.ZONES[3], palette.ZONES[1], palette.ZONES[4])
_MOST = 400


def draw_shop(calibration: Calibration, path: str | Path) -> Path:
    """Draw the shop's habits and save them.

    Args:
        calibration: What the weigh-ins say.
        path: Where: its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: The ending is not one of these, nothing was weighed, or the file can't be written.
    """
    path = picture_path(path)
    if not calibration.groups:
        raise LayupError("there is nothing to draw yet: no weigh-in counts")
    save_figure(_figure(calibration), path, 160)
    return path


def _figure(calibration: Calibration) -> Figure:
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    style: Any = {
        "font.family": "DejaVu Sans",
        "font.size": 11,
        "text.color": palette.INK,
        "axes.labelcolor": palette.INK,
        "axes.edgecolor": palette.QUIET,
        "xtick.color": palette.QUIET,
        "ytick.color": palette.INK,
        "svg.hashsalt": "layup",
    }
    with mpl.rc_context(style):
        figure = NewFigure(figsize=(12.0, 6.4))
        count = sum(len(group.numbers) - len(group.outliers) for group in calibration.groups)
        wrong = sum(len(group.outliers) for group in calibration.groups)
        figure.text(0.04, 0.955, "Your shop's resin factor", fontsize=20, fontweight="bold", va="top")
        told = f"{count} weighed {'part' if count == 1 else 'parts'} count"
        told += f", {wrong} left out as likely wrong" if wrong else ""
        figure.text(0.04, 0.885, told, fontsize=12.5, va="top", color=palette.PART)
        _draw_masses(figure.add_axes((0.085, 0.17, 0.375, 0.62)), calibration.groups)
        _draw_hand(figure.add_axes((0.555, 0.17, 0.41, 0.62)), calibration)
        figure.legend(
            handles=_keys(calibration.groups),
            loc="lower left",
            bbox_to_anchor=(0.03, 0.0),
            ncols=4,
            frameon=False,
            fontsize=10,
        )
        return figure


def _style(number: int) -> tuple[str, str]:
    return _COLOURS[number % len(_COLOURS)], _MARKS[number % len(_MARKS)]


def _keys(groups: tuple[Group, ...]) -> list[Line2D]:
    from matplotlib.lines import Line2D as Line

    handles = []
    for number, group in enumerate(groups[:7]):
        colour, mark = _style(number)
        handles.append(Line([], [], color=colour, marker=mark, ls="", ms=8, label=f"{group.fabric}, {group.process}"))
    if any(group.outliers for group in groups):
        handles.append(Line([], [], color=palette.OLD, marker="x", ls="", ms=9, mew=2, label="likely a wrong entry"))
    return handles


def _shown(group: Group) -> slice:
    return slice(max(0, len(group.numbers) - _MOST), None)


def _draw_masses(axes: Axes, groups: tuple[Group, ...]) -> None:
    """Weighed over predicted, each against the published figures (open) and against the habit (filled)."""
    low, high = math.inf, 0.0
    for number, group in enumerate(groups):
        colour, mark = _style(number)
        cut = _shown(group)
        right = group.good[cut] >= 0.5
        weighed, before, after = group.weighed[cut], group.expected[cut], group.expected_now[cut]
        axes.plot(before[right], weighed[right], ls="", marker=mark, ms=7, mfc="none", mec=colour, alpha=0.55)
        axes.plot(after[right], weighed[right], ls="", marker=mark, ms=7, color=colour, zorder=3)
        axes.plot(after[~right], weighed[~right], ls="", marker="x", ms=9, mew=2, color=palette.OLD, zorder=3)
        both = np.concatenate([weighed, before, after])
        low, high = min(low, float(both.min())), max(high, float(both.max()))
    low, high = low * 0.85, high * 1.18
    axes.plot([low, high], [low, high], color=palette.QUIET, lw=1)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(low, high)
    ticks = _ticks(low, high)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_ticks(ticks, [mass_words(t) for t in ticks])
        axis.set_ticks([], minor=True)
    axes.set_xlabel("predicted: open by published figures, filled with this shop's hand", fontsize=10.5)
    axes.set_ylabel("weighed", fontsize=10.5)
    axes.grid(color=palette.PALE, lw=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _ticks(low: float, high: float) -> list[float]:
    """Round masses in ounces and pounds between two, five at most."""
    ounces = [n * 0.028349523125 for n in (0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024)]
    inside = [m for m in ounces if low <= m <= high]
    if len(inside) < 2:
        middle = math.sqrt(low * high)
        inside = [low * 1.05, middle, high / 1.05]
    return inside[:: -(-len(inside) // 5)]


def _draw_hand(axes: Axes, calibration: Calibration) -> None:
    """Resin left, times published, from part to part, with the published spread and what is known now."""
    spread = calibration.groups[0].shop_spread
    first, last = (math.exp(-0.5 * spread**2 + z * spread) for z in (-Z90, Z90))
    axes.axhspan(first, last, color=palette.PALE, zorder=0)
    axes.axhline(1.0, color=palette.QUIET, lw=1, ls=":")
    axes.text(0.01, last, "nine shops in ten", ha="left", va="bottom", fontsize=9.5, color=palette.QUIET,
              transform=axes.get_yaxis_transform())  # fmt: skip
    longest = 1
    known: list[tuple[float, float, str]] = []
    top, bottom = last * 1.1, first / 1.1
    for number, group in enumerate(calibration.groups):
        colour, mark = _style(number)
        cut = _shown(group)
        factor = group.parts.factor[cut]
        x = np.arange(1, len(factor) + 1)
        right = group.good[cut] >= 0.5
        habit = calibration.habits[group.process, group.form, group.fabric]
        centre = habit.shift - 0.5 * habit.spread**2
        low, high = (math.exp(centre + z * habit.spread) for z in (-Z90, Z90))
        known.append((low, high, colour))
        axes.plot(x[right], factor[right], ls="", marker=mark, ms=7, color=colour, zorder=3)
        longest = max(longest, len(factor))
        if right.any():
            top, bottom = max(top, float(factor[right].max()) * 1.08), min(bottom, float(factor[right].min()) / 1.08)
        moved = drift(group)
        if moved is not None and moved.real:
            middle = habit.shift + moved.per_part * (x - x.mean())
            axes.plot(x, np.exp(middle), color=colour, lw=2, ls="--", zorder=2)
    for group in calibration.groups:
        factor = group.parts.factor[_shown(group)]
        for i in np.flatnonzero(group.good[_shown(group)] < 0.5):
            place = float(np.clip(factor[i], bottom * 1.03, top / 1.03))
            axes.plot(i + 1, place, marker="x", ms=9, mew=2, color=palette.OLD, zorder=4)
            axes.annotate(
                f" {factor[i]:.2g} times",
                (float(i + 1), place),
                fontsize=9.5,
                color=palette.OLD,
                xytext=(6, -3),
                textcoords="offset points",
            )
    step = 0.035 * longest + 0.05
    edge = longest + 0.4 + 0.05 * longest
    for number, (low, high, colour) in enumerate(known):
        axes.plot([edge + step * number] * 2, [low, high], color=colour, lw=6, solid_capstyle="butt", zorder=3)
        top, bottom = max(top, high * 1.05), min(bottom, low / 1.05)
    edge += step * len(known)
    highest = max(high for _, high, _ in known)
    axes.text(edge, highest, "known now ", ha="right", va="bottom", fontsize=9.5, color=palette.QUIET)
    axes.set_ylim(bottom, top)
    axes.set_xlim(0.4, edge)
    axes.set_xticks(sorted({round(float(v)) for v in np.linspace(1, longest, min(longest, 8))}))
    axes.set_xlabel("part after part, as noted", fontsize=10.5)
    axes.set_ylabel("resin in the plies, times published", fontsize=10.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
