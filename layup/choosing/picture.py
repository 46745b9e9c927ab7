"""One picture of a choice: weight against stiffness with the price, the reserves of the lightest, the panel bent."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.choosing.choice import Choice
from layup.choosing.layups import Layup
from layup.errors import LayupError
from layup.report import palette
from layup.report.saving import picture_path, save_figure
from layup.words import mass_both, mass_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def draw_choice(choice: Choice, path: str | Path) -> Path:
    """Draw a choice and save it.

    Args:
        choice: What to draw.
        path: Where: its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: Another ending, or nothing was found to draw.
    """
    path = picture_path(path)
    if choice.best is None and choice.nearest is None:
        raise LayupError("there is no layup to draw: the search was stopped before it found one")
    save_figure(_figure(choice), path, 160)
    return path


def _figure(choice: Choice) -> Figure:
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 11, "text.color": palette.INK,
                         "axes.labelcolor": palette.INK, "axes.edgecolor": palette.QUIET,
                         "xtick.color": palette.QUIET, "ytick.color": palette.INK,
                         "svg.hashsalt": "layup"}):  # fmt: skip
        figure = NewFigure(figsize=(13.0, 8.0))
        shown = choice.best or choice.nearest
        assert shown is not None
        _head(figure, choice, shown)
        many = len(choice.others) > 0
        if many:
            _draw_front(figure.add_axes((0.07, 0.12, 0.42, 0.66)), choice)
        left = 0.755 if many else 0.45
        _draw_reserves(figure.add_axes((left, 0.12, 0.965 - left, 0.36)), shown)
        if choice.by_panel:
            _draw_panel(figure, (0.57 if many else 0.10, 0.57, 0.38, 0.25), choice, shown)
        figure.text(
            0.04,
            0.018,
            "An estimate for sizing. Primary structure needs test coupons and a qualified person.",
            fontsize=9.5,
            color=palette.QUIET,
        )
        return figure


def _head(figure: Figure, choice: Choice, shown: Layup) -> None:
    figure.text(0.04, 0.955, choice.job.part.title, fontsize=20, fontweight="bold", va="top")
    lead = "The lightest that passes" if choice.ended else "The best so far"
    lead = "The lightest found that passes" if choice.ended and not choice.proven else lead
    if choice.best is None:
        lead = "Nothing passes; the nearest"
    line = f"{lead}: {mass_both(shown.mass.mean, 'both')}, {shown.process}"
    figure.text(0.04, 0.895, line, fontsize=13, va="top", color=palette.PART)
    figure.text(0.04, 0.855, shown.words, fontsize=11, va="top", color=palette.INK)


def _draw_front(axes: Axes, choice: Choice) -> None:
    """Weight to the right, stiffness upwards, the price written beside each point."""
    layups = [y for y in (choice.best, *choice.others) if y is not None]
    best = choice.best
    base = best.stiffness if best is not None else layups[0].stiffness
    times = [base / y.stiffness if choice.by_panel else y.stiffness / base for y in layups]
    front = {id(y) for y in choice.front}
    span = max(y.mass.mean for y in layups) - min(y.mass.mean for y in layups) or layups[0].mass.mean
    for layup, t in zip(layups, times, strict=True):
        chosen = layup is best
        axes.plot([layup.mass.mean], [t], marker="o" if id(layup) in front else "D", ms=12 if chosen else 8,
                  color=palette.PART if id(layup) in front else palette.PAPER, mec=palette.PART, mew=1.5, ls="",
                  zorder=3)  # fmt: skip
    axes.set_yscale("log")
    axes.set_xlim(min(y.mass.mean for y in layups) - 0.12 * span, max(y.mass.mean for y in layups) + 0.55 * span)
    low, high = min(times), max(times)
    axes.set_ylim(low / 1.25, high * 1.25)
    _label(axes, layups, times)
    ticks = [v for v in (0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 7, 10, 20, 50) if low / 1.25 <= v <= high * 1.25]
    axes.set_yticks(ticks, [f"{v:g}" for v in ticks])
    axes.set_yticks([], minor=True)
    at = _weights(*axes.get_xlim())
    axes.set_xticks(at, [f"{mass_words(v)}\n{v * 1e3:.0f} g" for v in at])
    axes.set_xlabel("weight of the part")
    axes.set_ylabel("times as stiff as the lightest")
    axes.set_title(
        "Everything here passes. Filled: nothing beats it in weight, price and stiffness",
        fontsize=10.5,
        loc="left",
        color=palette.QUIET,
    )
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.grid(True, color=palette.PALE, zorder=0)


def _weights(low: float, high: float) -> list[float]:
    """Round weights for an axis: whole or half ounces, pounds; five to eight of them. [kg]"""
    ounce = 0.45359237 / 16
    step = next((s * ounce for s in (0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 160) if (high - low) / (s * ounce) <= 8), high)
    first = math.ceil(low / step)
    return [k * step for k in range(max(first, 0), int(high / step) + 1)]


def _label(axes: Axes, layups: list[Layup], times: list[float]) -> None:
    """Names beside the points, moved apart where they would lie on each other."""
    axes.figure.canvas.draw()
    taken: list[tuple[float, float]] = []
    order = sorted(range(len(layups)), key=lambda k: times[k])
    for k in order:
        x, y = axes.transData.transform((layups[k].mass.mean, times[k]))
        at = y
        while any(
            abs(at - other) < 16 * axes.figure.dpi / 72 and abs(x - ox) < 190 * axes.figure.dpi / 72
            for ox, other in taken
        ):
            at += 4
        taken.append((x, at))
        single = layups[k].cost.single
        text = layups[k].label + (f", {single[0]:.0f} {single[1]}" if single else "")
        scale = 72.0 / axes.figure.dpi
        axes.annotate(
            text,
            (layups[k].mass.mean, times[k]),
            xytext=(11, (at - y) * scale),
            textcoords="offset points",
            fontsize=9.5,
            va="center",
            arrowprops={"arrowstyle": "-", "color": palette.QUIET, "lw": 0.5} if abs(at - y) > 6 else None,
        )


def _draw_reserves(axes: Axes, shown: Layup) -> None:
    result = shown.found.assessment
    rows = sorted(zip(result.kinds, result.reserves[0], strict=True), key=lambda r: -r[1])
    names = [kind.name for kind, _ in rows]
    values = [min(float(r), 30.0) for _, r in rows]
    colours = [palette.OLD if v < 1 else palette.PART if v < 1.25 else palette.OTHER for v in values]
    at = np.arange(len(rows))
    start = math.log10(0.5 if min(values, default=1.0) >= 0.6 else 0.05)
    axes.barh(at, [math.log10(max(v, 0.05)) - start for v in values], left=start, color=colours, height=0.62)
    axes.axvline(0.0, color=palette.INK, lw=1.2)
    for k, (_, value) in enumerate(rows):
        axes.text(
            math.log10(max(values[k], 0.05)) + 0.03,
            k,
            f"{value:.2f}" if value < 30 else "over 30",
            va="center",
            fontsize=9,
        )
    axes.set_yticks(at, names, fontsize=8.5)
    marks = [v for v in (0.1, 0.3, 0.5, 1, 2, 5, 10, 30) if math.log10(v) >= start - 1e-9]
    axes.set_xticks([math.log10(v) for v in marks], [f"{v:g}" for v in marks])
    axes.set_xlim(start, 1.85)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.set_title("Reserve of each check; 1 just passes", fontsize=10.5, loc="left", color=palette.QUIET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _draw_panel(figure: Figure, place: tuple[float, float, float, float], choice: Choice, shown: Layup) -> None:
    """The panel from above, shaded by how far it gives under the load that bends it most."""
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.tri import Triangulation

    checker = choice.searches.checker
    assert checker.model is not None
    layups = checker.layups(shown.found.batch)
    model = checker.model.with_layup(layups[0])
    amounts = model.respond(layups)[0]
    cases = range(1, len(model.loads)) if len(model.loads) > 1 else range(1)
    sags = [model.sag @ amounts[:, case] for case in cases]
    pick = int(np.argmax([np.abs(s).max() for s in sags]))
    load, sag = model.loads[list(cases)[pick]], sags[pick] * 1e3
    axes = figure.add_axes(place)
    mesh = model.panel.mesh
    shades = LinearSegmentedColormap.from_list("sag", [palette.PALE, palette.OTHER, palette.PART])
    grid = Triangulation(mesh.points[:, 0] * 1e3, mesh.points[:, 1] * 1e3, mesh.triangles)
    drawn = axes.tripcolor(grid, sag, shading="gouraud", cmap=shades, vmin=0, vmax=float(sag.max()))
    for a, b in mesh.edge:
        axes.plot(mesh.points[[a, b], 0] * 1e3, mesh.points[[a, b], 1] * 1e3, color=palette.INK, lw=1.1)
    axes.set_aspect("equal")
    axes.axis("off")
    name = "an even 1 kPa" if load.name == "even pressure" else load.name
    figure.text(
        place[0],
        place[1] + place[3] + 0.025,
        f"Deflection under {name}, in bending alone: {sag.max():.2f} mm at most",
        fontsize=10.5,
        color=palette.QUIET,
    )
    bar = figure.colorbar(drawn, ax=axes, fraction=0.04, pad=0.03)
    bar.outline.set_visible(False)
    bar.ax.set_ylabel("mm, by bending alone" if shown.found.batch.core and shown.local else "mm", fontsize=9)
