"""A surface in plain words beside its picture: how large, which side, what was found."""

from __future__ import annotations

import numpy as np

from layup.shape.measure import Box
from layup.shape.surface import AS_DRAWN, Surface
from layup.words import MINUS, System, area_words, length_words


def fact_words(surface: Surface, system: System) -> list[tuple[str, str]]:
    """The surface in a few words: what, and how much."""
    whole = surface.whole
    out = [("Area", area_words(whole.area, system))]
    if whole.box is not None:
        out.append(("Size", box_words(whole.box, system)))
    if surface.perimeter:
        out.append(("All free edges", length_words(surface.perimeter, system)))
    if surface.side != AS_DRAWN:
        out.append(("Side", surface.side))
    if whole.triangles:
        out.append(("Triangles", f"{whole.triangles:,}"))
    return out


def finding_words(surface: Surface, system: System, kind: str = "") -> list[tuple[str, str]]:
    """What was found, each with what it adds to the area or takes from it, "" where nothing or not known.

    Args:
        surface: The surface.
        system: Of the units.
        kind: Only findings of this kind.
    """
    out = []
    for finding in surface.findings:
        if kind in ("", finding.kind):
            change = finding.area_effect or 0.0
            effect = f"{'+' if change > 0 else MINUS}{area_words(abs(change), system)}" if change else ""
            out.append((finding.text, effect))
    return out


def box_words(box: Box | None, system: System, scale: float = 1.0) -> str:
    """The sides of a box: "620 mm x 380 mm x 42 mm", two for a flat one; with "both", the inches first.

    Args:
        box: Lowest and highest corner. [m]
        system: Of the units.
        scale: What a length of the box is multiplied by. [-]
    """
    if box is None:
        return ""
    span = np.subtract(box[1], box[0]) * scale
    span = span[span > 1e-6 * span.max()]
    one = [" x ".join(length_words(float(v), each) for v in span) for each in _each(system)]
    return one[0] + (f" ({one[1]})" if len(one) > 1 else "")


def letters(number: int) -> str:
    """The letter of a zone in a picture, from 0: A, B, ... Z, AA, AB.

    >>> letters(0), letters(27)
    ('A', 'AB')
    """
    head, tail = divmod(number, 26)
    return (letters(head - 1) if head else "") + chr(65 + tail)


def _each(system: System) -> tuple[System, ...]:
    return ("lb", "metric") if system == "both" else (system,)
