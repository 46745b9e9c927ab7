"""One picture of a prediction: the part with its zones, the processes side by side, what the weight is made of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.report.shape_drawing import draw_shape, is_level
from layup.weight.prediction import Prediction
from layup.words import mass_both, mass_words, thickness_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def draw_prediction(prediction: Prediction, path: str | Path) -> Path:
    """Draw a prediction and save it.

    Args:
        prediction: What to draw.
        path: Where: its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: The ending is not one of these.
    """
    path = picture_path(path)
    figure = _figure(prediction)
    save_figure(figure, path, 160)
    return path


def _figure(prediction: Prediction) -> Figure:
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 11, "text.color": palette.INK,
                         "axes.labelcolor": palette.INK, "axes.edgecolor": palette.QUIET,
                         "xtick.color": palette.QUIET, "ytick.color": palette.INK, "hatch.linewidth": 0.6,
                         "svg.hashsalt": "layup"}):  # fmt: skip
        figure = NewFigure(figsize=(12.0, 7.4))
        shape = prediction.job.surface.has_mesh
        _head(figure, prediction)
        if shape:
            _draw_shape(figure.add_axes((0.03, 0.285, 0.43, 0.50)), prediction)
        left = 0.56 if shape else 0.16
        _draw_processes(figure.add_axes((left, 0.34, 0.965 - left, 0.44)), prediction)
        _draw_shares(figure.add_axes((0.04, 0.105, 0.925, 0.055)), prediction)
        figure.text(
            0.04,
            0.018,
            "An estimate of weight, not of strength. The bars hold 9 builds in 10.",
            fontsize=9.5,
            color=palette.QUIET,
        )
        return figure


def _head(figure: Figure, prediction: Prediction) -> None:
    weighed, gain = prediction.weighed, prediction.saving
    figure.text(0.04, 0.945, prediction.title, fontsize=20, fontweight="bold", va="top")
    text = f"{weighed.process.name}: {mass_both(weighed.mass.mean, 'both')}"
    text += f", 9 builds in 10 between {mass_words(weighed.mass.p05)} and {mass_words(weighed.mass.p95)}"
    figure.text(0.04, 0.880, text, fontsize=13, va="top", color=palette.PART)
    if gain is not None:
        word = "saves" if gain.mass.mean >= 0 else "adds"
        line = f"{word} {mass_both(abs(gain.mass.mean), 'both')}, {abs(gain.fraction) * 100:.1f} % of the old part"
        figure.text(0.96, 0.945, line, fontsize=13, va="top", ha="right", color=palette.OLD)


def _draw_shape(axes: Axes, prediction: Prediction) -> None:
    surface = prediction.job.surface
    keys = draw_shape(axes, prediction.job)
    whole = surface.whole
    if whole.box is not None:
        low, high = np.array(whole.box)
        span = " x ".join(f"{v:.0f}" for v in (high - low)[: 2 if is_level(surface) else 3] * 1e3)
        thick = thickness_words(prediction.weighed.thickness.mean, "both")
        caption = f"{span} mm, {whole.area:.3f} m², {thick} thick"
        axes.figure.text(0.04, 0.805, caption, fontsize=11, color=palette.QUIET)
    if keys:
        axes.figure.legend(
            handles=keys,
            loc="upper left",
            bbox_to_anchor=(0.035, 0.275),
            frameon=False,
            fontsize=10.5,
            ncols=min(len(keys), 3),
            borderpad=0.0,
        )


def _draw_processes(axes: Axes, prediction: Prediction) -> None:
    rows = list(prediction.alternatives)
    ounces = 1 / 0.028349523125
    count = len(rows)
    most = max(a.weighed.mass.p95 for a in rows) * ounces
    for number, row in enumerate(rows):
        y = count - number
        mass = row.weighed.mass
        colour = palette.PART if row.chosen else palette.OTHER
        axes.barh(y, (mass.p95 - mass.p05) * ounces, left=mass.p05 * ounces, height=0.46, color=colour, zorder=2)
        axes.plot([mass.mean * ounces] * 2, [y - 0.27, y + 0.27], color=palette.INK, lw=2.2, zorder=3)
        axes.text(mass.mean * ounces, y + 0.31, mass_words(mass.mean), fontsize=11, ha="center", va="bottom",
                  fontweight="bold" if row.chosen else "normal")  # fmt: skip
    names = [a.process for a in rows]
    places = [count - n for n in range(count)]
    if prediction.replaced is not None:
        old = prediction.replaced.mass.mean * ounces
        most = max(most, old)
        axes.axhline(0.5, color=palette.PALE, lw=1)
        axes.plot(old, 0.0, marker="D", ms=11, color=palette.OLD, zorder=3)
        axes.text(old, 0.28, mass_words(prediction.replaced.mass.mean), fontsize=11, ha="center", va="bottom",
                  color=palette.OLD)  # fmt: skip
        names.append("old part")
        places.append(0)
    axes.set_yticks(places, names, fontsize=12)
    for label, row in zip(axes.get_yticklabels(), rows, strict=False):
        if row.chosen:
            label.set_fontweight("bold")
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(0, most * 1.12)
    axes.set_ylim(-0.6 if prediction.replaced else 0.4, count + 0.85)
    _ounce_axis(axes, most)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.grid(axis="x", color=palette.PALE, lw=0.8, zorder=0)


def _ounce_axis(axes: Axes, most: float) -> None:
    """Ticks at round ounces or pounds, in words."""
    steps = (0.5, 1, 2, 4, 8, 16, 32, 64, 80, 160, 320, 800, 1600, 3200, 8000, 16000, 80000)
    step = next(s for s in steps if most / s <= 6.5)
    ticks = np.arange(0, most * 1.1, step)
    axes.set_xticks(ticks, [mass_words(float(t) * 0.028349523125) for t in ticks], fontsize=10)


def _draw_shares(axes: Axes, prediction: Prediction) -> None:
    shares = prediction.weighed.shares
    start = 0.0
    total = sum(mass for _, mass in shares)
    labels = []
    for number, (name, mass) in enumerate(shares):
        if mass <= 0:
            continue
        axes.barh(0, mass, left=start, color=palette.SHARES[number], hatch=palette.HATCHES[number],
                  edgecolor=palette.PAPER, linewidth=1.0)  # fmt: skip
        labels.append((start + mass / 2, name, mass, mass / total))
        start += mass
    axes.set_xlim(0, total)
    axes.axis("off")
    _label_shares(axes, labels, total)


def _label_shares(axes: Axes, labels: list[tuple[float, str, float, float]], total: float) -> None:
    """Names over the bar, weights under it; moved sideways so that none overlap."""
    width = 0.132 * total
    places = []
    at = 0.0
    for middle, _, _, _ in labels:
        at = max(at, middle - width / 2)
        places.append(at)
        at += width
    spill = max(0.0, at - total)
    ends = total
    for number in range(len(places) - 1, -1, -1):
        if spill <= 0:
            break
        places[number] = min(places[number], ends - width)
        ends = places[number]
    for left, (middle, name, mass, share) in zip(places, labels, strict=True):
        centre = min(max(left, 0.0) + width / 2, total - width / 2)
        text = f"{name}\n{mass_words(mass)}, {share * 100:.0f} %"
        axes.annotate(text, xy=(middle, -0.42), xytext=(centre, -0.75), fontsize=9.5, ha="center", va="top",
                      arrowprops={"arrowstyle": "-", "color": palette.QUIET, "lw": 0.6, "shrinkA": 0, "shrinkB": 0},
                      annotation_clip=False)  # fmt: skip
