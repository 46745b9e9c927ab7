"""One picture of the load cases against the limits: where each was at the start, where it is now, what is outside."""

from __future__ import annotations

import io
import math
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layup.files.writing import write_file
from layup.refit.ledger import Ledger
from layup.refit.loading import Loading
from layup.refit.record_words import Kept
from layup.report import palette
from layup.report.saving import picture_path
from layup.units import INCH, LB

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_NAMED = 9
"""Load cases that get their number; of more, only the worst and those outside do."""
MOST_LISTED = 6
"""Of many load cases, so many stand in the key."""
SIZE = (9.6, 6.6)
"""Of the picture. [in]"""
_MARKS = "osD^vPXph"


def draw_envelope(ledger: Ledger, loading: Loading, kept: Kept, path: str | Path) -> Path:
    """Draw the load cases and save the picture.

    Args:
        ledger: As it stands.
        loading: Its load cases against the limits.
        kept: Units of the record.
        path: Where; its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: The ending is not one of these, or the file can't be written.
    """
    path = picture_path(path)
    write_file(path, envelope_image(ledger, loading, kept, path.suffix.casefold()[1:]))
    return path


def envelope_image(ledger: Ledger, loading: Loading, kept: Kept, form: str) -> bytes:
    """The picture as bytes.

    Args:
        ledger: As it stands.
        loading: Its load cases.
        kept: Units.
        form: "png", "svg" or "pdf".

    Returns:
        The file's content; the same for the same input.
    """
    import matplotlib as mpl

    style: Any = {"font.family": "DejaVu Sans", "font.size": 11, "text.color": palette.INK,
             "axes.labelcolor": palette.INK, "axes.edgecolor": palette.QUIET,
             "xtick.color": palette.INK, "ytick.color": palette.INK,
             "svg.hashsalt": "layup", "hatch.linewidth": 0.5}  # fmt: skip
    with mpl.rc_context(style):
        out = io.BytesIO()
        told = {
            "CreationDate": None,
            "Title": ledger.title,
            "Author": "layup",
            "Subject": "Load cases against the limits",
        }
        stamp = {"svg": {"Date": None}, "pdf": told}.get(form, {})
        _figure(ledger, loading, kept).savefig(out, format=form, dpi=160, facecolor=palette.PAPER, metadata=stamp)
        return out.getvalue()


def _figure(ledger: Ledger, loading: Loading, kept: Kept) -> Figure:
    from matplotlib.figure import Figure as NewFigure

    length, mass = (INCH, LB) if kept == "lb" else (1e-3, 1.0)
    figure = NewFigure(figsize=SIZE)
    axes = figure.add_axes((0.10, 0.105, 0.56, 0.76))
    outside = set(loading.outside())
    bad = bool(outside) or bool(loading.empty_fault)
    figure.text(0.10, 0.955, ledger.title, fontsize=15, fontweight="bold", va="center")
    said = _verdict(loading, len(outside))
    figure.text(0.10, 0.905, said, fontsize=12.5, va="center", fontweight="bold" if bad else "normal",
                color=palette.PAPER if bad else palette.PART,
                bbox={"facecolor": palette.OLD, "edgecolor": palette.OLD, "pad": 4} if bad else None)  # fmt: skip
    _limits(axes, loading, length, mass)
    _points(axes, ledger, loading, outside, length, mass)
    _names(figure, loading, outside)
    axes.set_xlabel(f"arm of the centre of gravity, {'in' if kept == 'lb' else 'mm'} from the datum")
    axes.set_ylabel(f"weight, {'lb' if kept == 'lb' else 'kg'}")
    axes.grid(color="#d5dbe0", lw=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def _verdict(loading: Loading, outside: int) -> str:
    count = len(loading.names)
    if outside:
        return f"OUTSIDE LIMITS: {outside} of {count} load cases"
    if loading.empty_fault:
        return "OUTSIDE LIMITS: the empty aircraft"
    return f"all {count} load cases inside limits"


def _limits(axes: Axes, loading: Loading, length: float, mass: float) -> None:
    envelope = loading.envelope
    low = min(float(np.min(loading.checked.mass)), envelope.least or float(np.min(loading.checked.mass)))
    span = envelope.most - low
    foot = low - (0.08 if envelope.least else 2.0) * span  # without a least weight the limits run out of the picture
    corners = [(x / length, max(m, foot) / mass) for x, m in envelope.outline()]
    xs, ys = [c[0] for c in corners], [c[1] for c in corners]
    axes.fill(xs, ys, facecolor=palette.PALE, edgecolor="none", zorder=0)
    axes.plot([*xs, xs[0]], [*ys, ys[0]], color=palette.INK, lw=2.0, zorder=2)
    middle = (max(ys) + max(min(ys), low / mass)) / 2
    ahead, behind = loading.envelope.limits_at(np.array([middle * mass]))
    x0, x1 = float(ahead[0]) / length, float(behind[0]) / length
    quiet: Any = {"color": palette.QUIET, "fontsize": 10, "textcoords": "offset points"}
    axes.annotate("forward limit", (x0, middle), (-5, 0), rotation=90, ha="right", va="center", **quiet)
    axes.annotate("aft limit", (x1, middle), (5, 0), rotation=90, ha="left", va="center", **quiet)
    left = min(x for x, y in zip(xs, ys, strict=True) if y == max(ys))
    axes.annotate("maximum weight", (left, max(ys)), (2, 4), ha="left", va="bottom", **quiet)


def _points(axes: Axes, ledger: Ledger, loading: Loading, outside: set[int], length: float, mass: float) -> None:
    start, empty = ledger.start.empty, ledger.empty
    few = len(loading.names) <= MOST_NAMED
    for case, sums in enumerate(loading.sums):
        before_mass = sums.mass - empty.mass + start.mass
        before = ((sums.moment - empty.moment + start.moment) / before_mass / length, before_mass / mass)
        here = (sums.cg / length, sums.mass / mass)
        colour = palette.OLD if case in outside else palette.PART
        if few:
            axes.annotate(
                "",
                xy=here,
                xytext=before,
                zorder=2,
                arrowprops={"arrowstyle": "->", "color": palette.QUIET, "lw": 1.1, "shrinkB": 5},
            )
            axes.plot(*before, marker="o", ms=4, mfc=palette.PAPER, mec=palette.QUIET, zorder=3)
            spread = loading.cg[case]
            axes.plot(
                [spread.p05 / length, spread.p95 / length], [here[1]] * 2, color=colour, lw=5, alpha=0.35, zorder=3
            )
        size = 11 if case in outside else 8
        axes.plot(*here, marker="X" if case in outside else _MARKS[case % len(_MARKS)] if few else "o",
                  ms=size if few else 4, color=colour, mec=palette.PAPER, mew=0.8, zorder=4)  # fmt: skip
        if few or case in (loading.checked.worst_aft, loading.checked.worst_forward, loading.checked.heaviest):
            axes.annotate(f"{case + 1}", xy=here, xytext=(7, -15), textcoords="offset points", fontsize=11,
                          fontweight="bold", color=colour, zorder=5)  # fmt: skip
    points = np.array([(s.cg / length, s.mass / mass) for s in loading.sums])
    low = min(float(points[:, 1].min()), 0.9 * loading.envelope.most / mass)
    corners = np.array([(x / length, max(m / mass, low)) for x, m in loading.envelope.outline()])
    every = np.vstack([points, corners])
    (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    axes.set_xlim(x0 - 0.09 * (x1 - x0), x1 + 0.09 * (x1 - x0))
    axes.set_ylim(y0 - 0.10 * (y1 - y0), y1 + 0.10 * (y1 - y0))


def _names(figure: Figure, loading: Loading, outside: set[int]) -> None:
    """The key: number, name, and how near the nearest limit; of many cases only those that matter."""
    import textwrap

    checked = loading.checked
    shown = list(range(len(loading.names)))
    if len(shown) > MOST_NAMED:
        worst = [checked.worst_aft, checked.worst_forward, checked.heaviest, *sorted(outside)]
        shown = list(dict.fromkeys(worst))[:MOST_LISTED]
    y = 0.86
    for case in shown:
        colour = palette.OLD if case in outside else palette.INK
        text = f"{case + 1}  {loading.names[case]}"
        if case in outside:
            text += ": OUTSIDE (" + ", ".join(checked.faults_of(case)) + ")"
        elif case == checked.worst:
            text += ": nearest a limit"
        lines = textwrap.wrap(text, 31 if case in outside else 34, subsequent_indent="    ")
        figure.text(0.69, y, "\n".join(lines), fontsize=10.5, va="top", color=colour,
                    fontweight="bold" if case in outside else "normal")  # fmt: skip
        y -= 0.031 * len(lines) + 0.016
    rest = len(loading.names) - len(shown)
    if rest > 0:
        figure.text(0.69, y, f"and {rest} more", fontsize=10.5, va="top", color=palette.QUIET)
        y -= 0.05
    if len(loading.names) > MOST_NAMED:
        return
    key = "small ring: before the refit\nmark: now\nbar: nine in ten, from what is\nonly predicted"
    figure.text(0.69, 0.105, key, fontsize=9.5, va="bottom", color=palette.QUIET, linespacing=1.4)


WIDE, HIGH, LEFT, RIGHT, TOP, FOOT = 720, 470, 84, 18, 30, 60
"""Of the drawing for a page. [px]"""


def envelope_svg(ledger: Ledger, loading: Loading, kept: Kept, said: Sequence[str]) -> str:
    """The same for a page, as SVG text: every load case is a link to `#case-1`, `#case-2`, ...

    Colours and letter sizes are left to the style sheet by class names.

    Args:
        ledger: As it stands.
        loading: Its load cases.
        kept: Units.
        said: What each case is, for a person who does not see the drawing.
    """
    length, mass = (INCH, LB) if kept == "lb" else (1e-3, 1.0)
    start, empty = ledger.start.empty, ledger.empty
    now = [(s.cg / length, s.mass / mass) for s in loading.sums]
    before = []
    for s in loading.sums:
        heavy = s.mass - empty.mass + start.mass
        before.append(((s.moment - empty.moment + start.moment) / heavy / length, heavy / mass))
    low = min(m for _, m in (*now, *before))
    outline = [(x / length, m / mass) for x, m in loading.envelope.outline()]
    every = np.array([*now, *before, *((x, max(m, low)) for x, m in outline)])
    (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    dx, dy = (x1 - x0) * 0.07 or 1.0, (y1 - y0) * 0.09 or 1.0
    x0, x1, y0, y1 = x0 - dx, x1 + dx, y0 - dy, y1 + dy
    # without a least weight the limits run out of the picture: no line that a case could lie on
    corners = [(x, max(m, low if loading.envelope.least else y0 - 2 * dy)) for x, m in outline]

    def at(point: tuple[float, float]) -> tuple[float, float]:
        across = LEFT + (point[0] - x0) / (x1 - x0) * (WIDE - LEFT - RIGHT)
        return across, HIGH - FOOT - (point[1] - y0) / (y1 - y0) * (HIGH - FOOT - TOP)

    out = [
        f'<svg id="envelope" class="envelope" viewBox="0 0 {WIDE} {HIGH}" role="group" aria-label="Load cases '
        'against the limits" xmlns="http://www.w3.org/2000/svg">'
    ]
    for value, text in _ticks(x0, x1):
        x = at((value, y0))[0]
        out.append(f'<path class="grid" d="M{x:.1f} {TOP}V{HIGH - FOOT}"/>')
        out.append(f'<text class="tick" x="{x:.1f}" y="{HIGH - FOOT + 22}" text-anchor="middle">{text}</text>')
    for value, text in _ticks(y0, y1):
        y = at((x0, value))[1]
        out.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDE - RIGHT}"/>')
        out.append(f'<text class="tick" x="{LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{text}</text>')
    names = ("in", "lb") if kept == "lb" else ("mm", "kg")
    out.append(
        f'<text class="tick" x="{WIDE - RIGHT}" y="{HIGH - 12}" text-anchor="end">arm of the centre of gravity, '
        f'{names[0]} →</text><text class="tick" x="8" y="{TOP - 12}">↑ weight, {names[1]}</text>'
    )
    shape = "L".join(f"{x:.1f} {y:.1f}" for x, y in map(at, corners))
    frame = f'x="{LEFT}" y="0" width="{WIDE - LEFT - RIGHT}" height="{HIGH - FOOT}"'
    out.append(f'<clipPath id="frame"><rect {frame}/></clipPath>')
    out.append(f'<path class="limits" clip-path="url(#frame)" d="M{shape}Z"/>')
    placed: list[tuple[float, float]] = []
    for case, (here, was) in enumerate(zip(now, before, strict=True)):
        (x, y), (u, v), spread = at(here), at(was), loading.cg[case]
        ends = [at((end / length, here[1]))[0] for end in (spread.p05, spread.p95)]
        while any(math.hypot(x - a, y - b) < 30.0 for a, b in placed):  # two cases in one place: both can be pressed
            y -= 30.0
        placed.append((x, y))
        kind = "case outside" if loading.checked.faults_of(case) else "case"
        spot = f'cx="{x:.1f}" cy="{y:.1f}"'
        out += [
            f'<a class="{kind}" id="point-{case + 1}" href="#case-{case + 1}" aria-label="{escape(said[case])}">',
            f'<path class="way" d="M{u:.1f} {v:.1f}L{x:.1f} {y:.1f}"/>',
            f'<circle class="was" cx="{u:.1f}" cy="{v:.1f}" r="4"/>',
            f'<path class="ends" d="M{ends[0]:.1f} {y:.1f}H{ends[1]:.1f}"/>',
            f'<circle class="press" {spot} r="24"/><circle class="dot" {spot} r="14"/>',
            f'<text x="{x:.1f}" y="{y + 5.5:.1f}" text-anchor="middle">{case + 1}</text></a>',
        ]
    return "".join(out) + "</svg>"


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Round values inside a range."""
    size = 10.0 ** math.floor(math.log10((high - low) / 5))
    step = next(size * m for m in (1, 2, 5, 10) if (high - low) / (size * m) <= 6.5)
    digits = max(0, -math.floor(math.log10(step)))
    numbers = range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    return [(n * step, f"{n * step:,.{digits}f}") for n in numbers]
