"""The front of a choice as one drawing for a page: weight to the right, price upwards, stiffness in numbers and sizes.

Each layup is a dot where its weight and price are, larger the stiffer it is, and a label that is a link; labels move
apart where they would lie on each other. Where not everything has a price in one currency, stiffness goes upwards.
Colours and letter sizes are left to the style sheet by class names.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import product

from layup.weight.bars_svg import OUNCE, STEPS_G, STEPS_OZ
from layup.words import System, mass_metric, mass_words

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 760, 450, 74, 14, 12, 58
LABEL_WIDTH, LABEL_HEIGHT = 112, 48
"""Of a label, in pixels: more than a finger, with a glove on, needs."""
RADII = (5.0, 13.0)
"""Of a dot, from the least stiff to the stiffest."""
SMALL_STEPS = (0.0625, 0.125, 0.25)


@dataclass(frozen=True)
class FrontMark:
    """One layup of the drawing.

    Attributes:
        letter: That it goes by; "Now" for the part as it stands.
        mass: Of the part. [kg]
        money: Of its material, with the currency; None without a full price.
        times: As stiff as the lightest; None where not known. [-]
        name: What it is, for a person who does not see the drawing.
        href: Where its label leads.
        kept: Whether nothing beats it.
        lightest: What the answer is called, "lightest" or "so far"; "" for every other.
        chosen: Whether the page shows it.
        now: Whether it is the part as it stands.
        buys: What it buys for its weight, in two words; how stiff it is where that is left out.
    """

    letter: str
    mass: float
    money: tuple[float, str] | None
    times: float | None
    name: str
    href: str
    kept: bool = False
    lightest: str = ""
    chosen: bool = False
    now: bool = False
    buys: str = ""


def times_words(times: float) -> str:
    """How many times as stiff.

    >>> [times_words(v) for v in (0.0427, 0.71, 1.16, 12.4)]
    ['0.04 ×', '0.71 ×', '1.16 ×', '12 ×']
    """
    return f"{times:.0f} ×" if times >= 10 else f"{times:.2f} ×" if times >= 0.095 else f"{times:.1g} ×"


def currency_of(marks: Sequence[FrontMark]) -> str:
    """The one currency of all prices; "" where a layup that passes has no full price, or there are two."""
    found = {m.money[1] if m.money else "" for m in marks if not m.now}
    return next(iter(found)) if len(found) == 1 else ""


def front_svg(marks: Sequence[FrontMark], system: System) -> str:
    """The drawing as SVG text.

    Args:
        marks: What to draw.
        system: "metric" labels it in grams, else pounds and ounces.
    """
    words = mass_metric if system == "metric" else mass_words
    currency = currency_of(marks)

    def height_of(mark: FrontMark) -> float | None:
        if currency:
            return mark.money[0] if mark.money and mark.money[1] == currency else None
        return None if mark.times is None else math.log10(mark.times)

    placed = [(m, h) for m in marks if (h := height_of(m)) is not None]
    across = _Scale.of([m.mass for m in marks], LEFT, WIDTH - RIGHT)
    up = _Scale.of([h for _, h in placed], HEIGHT - FOOT, TOP)
    out = [
        f'<svg class="front" viewBox="0 0 {WIDTH} {HEIGHT}" role="group" aria-label="Weight against '
        f'{"price" if currency else "stiffness"}" xmlns="http://www.w3.org/2000/svg">'
    ]
    out += _axes(across, up, words, system, currency)
    spots = [(across.at(m.mass), up.at(h)) for m, h in placed]
    most = max((m.times or 0.0 for m, _ in placed), default=1.0) or 1.0
    sizes = [RADII[0] + (RADII[1] - RADII[0]) * math.sqrt((m.times or 0.0) / most) for m, _ in placed]
    corners = _labels(spots, sizes)
    for mark in marks:
        if height_of(mark) is None:
            x = across.at(mark.mass)
            out.append(f'<path class="now-line" d="M{x:.1f} {TOP}V{HEIGHT - FOOT}"/>')
            out.append(f'<text class="tick" x="{x + 6:.1f}" y="{TOP + 16}">{escape(mark.letter)}: no price</text>')
    for (x, y), (a, b) in zip(spots, corners, strict=True):
        u, v = min(max(x, a), a + LABEL_WIDTH), min(max(y, b), b + LABEL_HEIGHT)
        out.append(f'<path class="lead" d="M{x:.1f} {y:.1f}L{u:.1f} {v:.1f}"/>')
    for (mark, _), (x, y), size, (a, b) in zip(placed, spots, sizes, corners, strict=True):
        out.append(_mark(mark, x, y=y, size=size, a=a, b=b, mass=words(mark.mass)))
    return "".join(out) + "</svg>"


def _mark(mark: FrontMark, x: float, y: float, size: float, a: float, b: float, mass: str) -> str:
    said = {"now": mark.now, "kept": mark.kept, "lightest": bool(mark.lightest), "chosen": mark.chosen}
    kind = " ".join(name for name, is_so in said.items() if is_so)
    head = mark.letter
    if mark.lightest:
        head += f" {mark.lightest}"
    elif mark.buys or mark.times is not None:
        head += f" {mark.buys or times_words(mark.times or 0.0)}"
    dot = f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}"/>'
    if mark.now:
        dot = f'<path class="dot" d="M{x:.1f} {y - 10:.1f}l10 10l-10 10l-10 -10z"/>'
    middle, letter = a + LABEL_WIDTH / 2, escape(mark.letter)
    current = ' aria-current="true"' if mark.chosen else ""
    return (
        f'<a class="mark {kind}" id="mark-{letter}" data-point="{letter}" href="{escape(mark.href)}"{current} '
        f'aria-label="{escape(mark.name)}">{dot}'
        f'<rect class="label" x="{a:.1f}" y="{b:.1f}" width="{LABEL_WIDTH}" height="{LABEL_HEIGHT}" rx="5"/>'
        f'<text class="head" x="{middle:.1f}" y="{b + 20:.1f}" text-anchor="middle">{escape(head)}</text>'
        f'<text class="mass" x="{middle:.1f}" y="{b + 39:.1f}" text-anchor="middle">{escape(mass)}</text></a>'
    )


@dataclass(frozen=True)
class _Scale:
    """From a range of values to a range of pixels."""

    low: float
    high: float
    first: float
    last: float

    @classmethod
    def of(cls, values: Sequence[float], first: float, last: float) -> _Scale:
        low, high = min(values, default=0.0), max(values, default=1.0)
        room = 0.16 * (high - low) or 0.2 * abs(high) or 1.0
        return cls(low - room if low - room > 0 or low <= 0 else 0.0, high + room, first, last)

    def at(self, value: float) -> float:
        """The pixel."""
        return self.first + (value - self.low) / (self.high - self.low) * (self.last - self.first)


def _axes(across: _Scale, up: _Scale, words: object, system: System, currency: str) -> list[str]:
    assert callable(words)
    foot = HEIGHT - FOOT
    out = []
    for kg in _weights(across, system):
        x = across.at(kg)
        out.append(f'<path class="grid" d="M{x:.1f} {TOP}V{foot}"/>')
        out.append(
            f'<text class="tick" x="{x:.1f}" y="{foot + 20}" text-anchor="middle">{words(kg) if kg else "0"}</text>'
        )
    for value, text in _prices(up) if currency else _stiffnesses(up):
        y = up.at(value)
        out.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>')
        out.append(f'<text class="tick" x="{LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{text}</text>')
    out.append(f'<path class="axis" d="M{LEFT} {TOP}V{foot}H{WIDTH - RIGHT}"/>')
    out.append(
        f'<text class="axis-name" x="{WIDTH - RIGHT}" y="{foot + 44}" text-anchor="end">weight of the part →</text>'
    )
    side = f"price of the material, {escape(currency)}" if currency else "times as stiff as the lightest"
    out.append(
        f'<text class="axis-name" x="20" y="{TOP}" transform="rotate(-90 20 {TOP})" text-anchor="end">{side} →</text>'
    )
    return out


def _weights(scale: _Scale, system: System) -> list[float]:
    """Round weights inside the range. [kg]"""
    one, steps = (1e-3, (0.5, 1, 2, 5, *STEPS_G)) if system == "metric" else (OUNCE, (*SMALL_STEPS, *STEPS_OZ))
    step = next((s * one for s in steps if (scale.high - scale.low) / (s * one) <= 6.5), steps[-1] * one)
    first, last = math.ceil(scale.low / step - 1e-9), math.floor(scale.high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def _prices(scale: _Scale) -> list[tuple[float, str]]:
    span = scale.high - scale.low
    size = 10.0 ** math.floor(math.log10(span / 6))
    step = next(size * m for m in (1, 2, 5, 10) if span / (size * m) <= 6.5)
    numbers = range(math.ceil(scale.low / step - 1e-9), math.floor(scale.high / step + 1e-9) + 1)
    return [(n * step, f"{n * step:.{max(0, -math.floor(math.log10(step)))}f}") for n in numbers]


def _stiffnesses(scale: _Scale) -> list[tuple[float, str]]:
    every = [(math.log10(m * 10.0**e), f"{m * 10.0**e:g}") for e, m in product(range(-5, 6), (1, 2, 5))]
    return [(value, text) for value, text in every if scale.low <= value <= scale.high]


def _labels(spots: Sequence[tuple[float, float]], sizes: Sequence[float]) -> list[tuple[float, float]]:
    """Upper left corners of the labels: near their dots, on the drawing, on no dot and on no other label."""
    corners: list[tuple[float, float]] = []
    for x, y in spots:
        best, least = (x, y), math.inf
        for away, turn in product((0.0, 18.0, 40.0, 70.0, 110.0, 160.0), range(16)):
            angle = math.pi / 2 + turn * math.pi / 8
            a = x + math.cos(angle) * (LABEL_WIDTH / 2 + 18 + away) - LABEL_WIDTH / 2
            b = y - math.sin(angle) * (LABEL_HEIGHT / 2 + 18 + away) - LABEL_HEIGHT / 2
            a = min(max(a, LEFT + 3.0), WIDTH - RIGHT - LABEL_WIDTH - 0.0)
            b = min(max(b, 2.0), HEIGHT - FOOT - LABEL_HEIGHT - 3.0)
            worth = away + sum(_overlap(a, b, c, d) for c, d in corners) * 10
            worth += sum(
                50.0
                for (u, v), size in zip(spots, sizes, strict=True)
                if a - size - 2 < u < a + LABEL_WIDTH + size + 2 and b - size - 2 < v < b + LABEL_HEIGHT + size + 2
            )
            if worth < least - 1e-9:
                best, least = (a, b), worth
        corners.append(best)
    return corners


def _overlap(a: float, b: float, c: float, d: float) -> float:
    """Pixels by which two labels, with a little air, lie on each other; 0 for none."""
    return max(0.0, min(LABEL_WIDTH + 6 - abs(a - c), LABEL_HEIGHT + 6 - abs(b - d)))
