"""A prediction as one small drawing for a page: the processes with their intervals beside the old part.

It is made as text, so that it stands there as fast as the weight itself. Colours and letter sizes are left to the style
sheet by class names.
"""

from __future__ import annotations

from html import escape

from layup.weight.prediction import Prediction
from layup.words import System, mass_metric, mass_words

WIDTH, ROW, LEFT = 640, 54, 132
STEPS_OZ = (0.5, 1, 2, 4, 8, 16, 32, 64, 80, 160, 320, 800, 1600, 3200, 8000, 16000, 80000)
STEPS_G = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000, 500_000)
OUNCE = 0.028349523125


def bars_svg(prediction: Prediction, system: System) -> str:
    """The drawing as SVG text.

    Args:
        prediction: What to draw.
        system: "metric" labels it in grams, else pounds and ounces.
    """
    words = mass_metric if system == "metric" else mass_words
    rows = [(a.process, a.weighed.mass, a.chosen) for a in prediction.alternatives]
    old = prediction.replaced.mass.mean if prediction.replaced else None
    most = max([mass.p95 for _, mass, _ in rows] + ([old] if old else [])) * 1.1
    scale = (WIDTH - LEFT - 16) / most
    height = ROW * (len(rows) + (old is not None)) + 34
    said = "; ".join(
        f"{name} {words(mass.mean)}, 9 builds in 10: {words(mass.p05)} to {words(mass.p95)}" for name, mass, _ in rows
    )
    if old is not None:
        said += f"; the old part {words(old)}"
    out = [
        f'<svg class="bars" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(said)}" '
        'xmlns="http://www.w3.org/2000/svg">'
    ]
    foot = height - 30
    for kg in _ticks(most, system):
        x = LEFT + kg * scale
        out.append(f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="4" y2="{foot}"/>')
        out.append(_label("tick", x, foot + 20, words(kg) if kg else "0"))
    for number, (name, mass, chosen) in enumerate(rows):
        y = number * ROW + 38
        kind = "chosen" if chosen else "other"
        a, b, m = (LEFT + v * scale for v in (mass.p05, mass.p95, mass.mean))
        out.append(f'<text class="name {kind}" x="{LEFT - 12}" y="{y + 5}" text-anchor="end">{escape(name)}</text>')
        out.append(f'<rect class="span {kind}" x="{a:.1f}" y="{y - 9}" width="{max(b - a, 2):.1f}" height="18"/>')
        out.append(f'<line class="mean" x1="{m:.1f}" x2="{m:.1f}" y1="{y - 12}" y2="{y + 12}"/>')
        out.append(_label(f"value {kind}", _inside(m), y - 17, words(mass.mean)))
    if old is not None:
        y = len(rows) * ROW + 38
        x = LEFT + old * scale
        out.append(f'<text class="name old" x="{LEFT - 12}" y="{y + 5}" text-anchor="end">old part</text>')
        out.append(f'<path class="old" d="M{x:.1f} {y - 10}l10 10l-10 10l-10 -10z"/>')
        out.append(_label("value old", _inside(x), y - 17, words(old)))
    return "".join(out) + "</svg>"


def _label(kind: str, x: float, y: float, text: str) -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y}" text-anchor="middle">{escape(text)}</text>'


def _inside(x: float) -> float:
    """A place for a label that keeps it on the drawing."""
    return min(max(x, LEFT + 30.0), WIDTH - 44.0)


def _ticks(most: float, system: System) -> list[float]:
    one, steps = (1e-3, STEPS_G) if system == "metric" else (OUNCE, STEPS_OZ)
    step = next((s for s in steps if most / (s * one) <= 5.6), steps[-1]) * one
    return [n * step for n in range(int(most / step) + 1)]
