"""The shop's hand as one small drawing for a page: the resin it leaves in each cloth, before and since it weighed.

Made as text, like `bars_svg`; colours and letter sizes are left to the style sheet by class names.
"""

from __future__ import annotations

from html import escape

from layup.laminate.process import Habit
from layup.learn.calibrate import Calibration, Group
from layup.learn.words import factor_ends, factor_words, published_ends

WIDTH, ROW, LEFT, RIGHT = 640, 74, 14, 626
SHOWN = 40
"""Parts of one cloth that get a mark; the newest. [-]"""
STEPS = (0.1, 0.25, 0.5, 1.0, 2.0)


def habits_svg(calibration: Calibration) -> str:
    """The drawing as SVG text; "" where no weigh-in counts."""
    groups = calibration.groups
    if not groups:
        return ""
    ends = [_ends(calibration, group) for group in groups]
    low = min(min(one) for one in ends) * 0.97
    high = max(max(one) for one in ends) * 1.03
    scale = (RIGHT - LEFT) / (high - low)

    def x(factor: float) -> float:
        return LEFT + (min(max(factor, low), high) - low) * scale

    height = ROW * len(groups) + 56
    foot = height - 50
    said = "; ".join(f"{g.fabric}, {g.process}: {factor_words(_habit(calibration, g))}" for g in groups)
    out = [
        f'<svg class="hand" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(said)}" '
        'xmlns="http://www.w3.org/2000/svg">'
    ]
    step = next((s for s in STEPS if (high - low) / s <= 7), STEPS[-1])
    first = int(low / step) + 1
    for number in range(first, int(high / step) + 1):
        at = x(number * step)
        kind = "one" if abs(number * step - 1) < 1e-9 else "grid"
        out.append(f'<line class="{kind}" x1="{at:.1f}" x2="{at:.1f}" y1="4" y2="{foot}"/>')
        out.append(f'<text class="tick" x="{at:.1f}" y="{foot + 19}" text-anchor="middle">{number * step:g}</text>')
    out.append(f'<text class="tick" x="{LEFT}" y="{height - 8}">resin in the plies, times the published</text>')
    for number, group in enumerate(groups):
        top = number * ROW
        before, known = published_ends(group.shop_spread), factor_ends(_habit(calibration, group))
        out.append(f'<text class="name" x="{LEFT}" y="{top + 20}">{escape(f"{group.fabric}, {group.process}")}</text>')
        out.append(_bar("before", x(before[0]), x(before[1]), top + 38, 22))
        out.append(_bar("known", x(known[0]), x(known[1]), top + 42, 14))
        for factor, good in list(zip(group.parts.factor, group.good, strict=True))[-SHOWN:]:
            at = x(float(factor))
            if good >= 0.5:
                out.append(f'<circle class="part" cx="{at:.1f}" cy="{top + 49}" r="6"/>')
            else:
                out.append(f'<path class="wrong" d="M{at - 6:.1f} {top + 43}l12 12m0 -12l-12 12"/>')
    return "".join(out) + "</svg>"


def _habit(calibration: Calibration, group: Group) -> Habit:
    return calibration.habits[group.process, group.form, group.fabric]


def _ends(calibration: Calibration, group: Group) -> tuple[float, ...]:
    """Everything the drawing must hold of a cloth; a part that is likely a wrong entry may lie outside."""
    right = [float(f) for f, good in zip(group.parts.factor, group.good, strict=True) if good >= 0.5][-SHOWN:]
    return (*published_ends(group.shop_spread), *factor_ends(_habit(calibration, group)), *right)


def _bar(kind: str, low: float, high: float, y: float, height: float) -> str:
    return f'<rect class="{kind}" x="{low:.1f}" y="{y}" width="{max(high - low, 2):.1f}" height="{height}"/>'
