"""A stack of plies as one drawing for a page: thickness to scale, the mould below, cloth and angle beside each ply.

Neighbours that are alike share one label. A sign shows the angle as seen from above: two lines a cloth, one a tape.
Colours and letter sizes are left to the style sheet by class names.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from layup.choosing.batch import CORE
from layup.choosing.layups import Layup
from layup.words import System, thickness_words

WIDTH, BAR_LEFT, BAR_RIGHT, LABEL = 540, 104, 240, 306
TALLEST, LINE, TOP, MOULD = 280.0, 18.0, 30.0, 26.0
LETTERS = 25
"""Of a line of a label; a longer name goes on in the next."""
KINDS = 5
"""Cloths told apart by shade; a label names each."""


@dataclass(frozen=True)
class StackLine:
    """Plies that are alike and lie together.

    Attributes:
        name: Of the fabric or the core.
        angle: From the warp direction. [deg]
        plies: Thickness of each, from the mould up. [m]
        form: Of the fabric; "core" for a core.
    """

    name: str
    angle: float
    plies: tuple[float, ...]
    form: str


def stack_lines(layup: Layup) -> list[StackLine]:
    """The plies of a layup over the whole surface, from the mould up."""
    batch = layup.found.batch
    each = [float(v) for v in batch.thicknesses[0]]
    forms = ["core" if k == CORE else batch.bench.plies[k].layer.form or "" for k in layup.found.stack]
    lines, at = [], 0
    for name, angle, count, _ in layup.lines:
        number = max(count, 1)
        lines.append(StackLine(name, angle, tuple(each[at : at + number]), forms[at]))
        at += number
    return lines


def local_lines(layup: Layup) -> list[tuple[str, list[StackLine]]]:
    """Plies that zones get besides: zone and lines."""
    plies = layup.found.batch.bench.plies
    found = []
    for zone, lines in layup.local:
        own = []
        for name, angle, count, _ in lines:
            layer = next(p.layer for p in plies if p.fabric == name)
            own.append(StackLine(name, angle, (layer.thickness,) * count, layer.form or ""))
        found.append((zone, own))
    return found


def stack_svg(lines: Sequence[StackLine], system: System, on_mould: bool = True) -> str:
    """The drawing as SVG text.

    Args:
        lines: From the mould up.
        system: Units of the thicknesses.
        on_mould: Whether the mould lies below; local plies lie on others.
    """
    whole = sum(sum(line.plies) for line in lines)
    texts = [_wrapped(line, system) for line in lines]
    pitch = LINE * max((len(text) for text in texts), default=1) + 8
    tall = min(TALLEST, max(pitch * len(lines), 26.0 * sum(len(line.plies) for line in lines)))
    labels = max(tall, pitch * len(lines))
    height = TOP + labels + MOULD + 26
    floor = TOP + (labels + tall) / 2
    scale = tall / whole if whole else 0.0
    shade = {name: n for n, name in enumerate(dict.fromkeys(line.name for line in lines if line.form != "core"))}
    said = "; ".join(label_words(line, system) for line in lines)
    out = [
        f'<svg class="stack" viewBox="0 0 {WIDTH} {height:.0f}" role="img" '
        f'aria-label="From the mould up: {escape(said)}" xmlns="http://www.w3.org/2000/svg">'
    ]
    bottom, middles = floor, []
    for line in lines:
        kind = "core" if line.form == "core" else f"cloth-{shade[line.name] % KINDS}"
        begin = bottom
        for thick in line.plies:
            bottom -= thick * scale
            out.append(
                f'<rect class="ply {kind}" x="{BAR_LEFT}" y="{bottom:.2f}" width="{BAR_RIGHT - BAR_LEFT}" '
                f'height="{max(thick * scale, 0.6):.2f}"/>'
            )
        if line.form == "core":
            cells = "".join(f"M{x} {bottom:.1f}V{begin:.1f}" for x in range(BAR_LEFT + 12, BAR_RIGHT, 12))
            out.append(f'<path class="cells" d="{cells}"/>')
        middles.append((bottom + begin) / 2)
    heights = _spread(middles, TOP + pitch / 2, TOP + labels - pitch / 2, pitch)
    for line, text, middle, at in zip(lines, texts, middles, heights, strict=True):
        out.append(f'<path class="lead" d="M{BAR_RIGHT} {middle:.1f}L{LABEL - 34} {at:.1f}"/>')
        out.append(_sign(line, LABEL - 18, at))
        for number, said in enumerate(text):
            kind = "small" if number == len(text) - 1 else "what"
            y = at + LINE * (number - len(text) / 2 + 0.75)
            out.append(f'<text class="{kind}" x="{LABEL + 4}" y="{y:.1f}">{escape(said)}</text>')
    out += _around(floor, floor - tall, whole, system, on_mould)
    return "".join(out) + "</svg>"


def label_words(line: StackLine, system: System) -> str:
    """What a label says: how many, of what; at which angle, how thick."""
    thick = thickness_words(sum(line.plies), system)
    if line.form == "core":
        return f"{_bare(line.name)}, core, {thick}"
    count = len(line.plies)
    return f"{f'{count} × ' if count > 1 else ''}{_bare(line.name)}, {line.angle:g}°, {thick}"


def _wrapped(line: StackLine, system: System) -> list[str]:
    """A label in lines: the name in one or more, the rest in the last."""
    first, second = label_words(line, system).split(", ", 1)
    return [*textwrap.wrap(first, LETTERS), second]


def _bare(name: str) -> str:
    """A name without the commas that part a label."""
    return name.replace(", ", " ")


def _around(floor: float, top: float, whole: float, system: System, on_mould: bool) -> list[str]:
    """The mould, the bag side and how thick it all is."""
    x = BAR_LEFT - 14
    out = [
        f'<path class="brace" d="M{x + 6} {floor:.1f}H{x}V{top:.1f}H{x + 6}"/>',
        f'<text class="small" x="{x - 6}" y="{(floor + top) / 2:.1f}" text-anchor="end">'
        + "".join(
            f'<tspan x="{x - 6}" dy="{0 if n == 0 else 18}">{escape(part)}</tspan>'
            for n, part in enumerate(thickness_words(whole, system).replace(" (", "\n(").split("\n"))
        )
        + "</text>",
        f'<text class="small" x="{(BAR_LEFT + BAR_RIGHT) / 2}" y="{top - 9:.1f}" text-anchor="middle">bag side</text>',
    ]
    if on_mould:
        ridges = "".join(f"M{k} {floor + 3:.1f}l-10 12" for k in range(BAR_LEFT + 10, BAR_RIGHT + 1, 12))
        out.append(f'<path class="mould" d="M{BAR_LEFT - 6} {floor + 2:.1f}H{BAR_RIGHT + 6}{ridges}"/>')
    said = "mould" if on_mould else "on the plies of the whole part"
    out.append(
        f'<text class="small" x="{(BAR_LEFT + BAR_RIGHT) / 2}" y="{floor + 32:.1f}" text-anchor="middle">{said}</text>'
    )
    return out


def _sign(line: StackLine, x: float, y: float) -> str:
    """The angle as seen from above."""
    if line.form == "core":
        return f'<rect class="sign" x="{x - 11}" y="{y - 11:.1f}" width="22" height="22"/>'
    strokes = ""
    for turn in (0.0,) if line.form == "unidirectional" else (0.0, 90.0) if line.form not in ("mat", "veil") else ():
        u, v = 11 * math.cos(math.radians(line.angle + turn)), 11 * math.sin(math.radians(line.angle + turn))
        strokes += f"M{x - u:.1f} {y + v:.1f}L{x + u:.1f} {y - v:.1f}"
    return f'<circle class="sign" cx="{x}" cy="{y:.1f}" r="13"/><path class="way" d="{strokes}"/>'


def _spread(middles: Sequence[float], top: float, bottom: float, pitch: float) -> list[float]:
    """Heights of labels, bottom first: as near to their plies as they fit."""
    at: list[float] = []
    for middle in middles:
        at.append(min(min(middle, bottom), at[-1] - pitch if at else math.inf))
    ceiling = top
    for k in reversed(range(len(at))):
        at[k] = max(at[k], ceiling)
        ceiling = at[k] + pitch
    return at
