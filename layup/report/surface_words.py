"""What was found in a surface file, in the units of the one who reads it.

    The units of a file                  system_of(surface)
    The text of a finding in them        in_units(finding.text, "lb")

Findings are written in metres and millimetres. A drawing in inches is read by a person who thinks in inches, so each
number with a unit behind it is said again in those.
"""

from __future__ import annotations

import re

from layup.shape.surface import Surface
from layup.units import FOOT, INCH
from layup.words import System, area_words, in_system, length_words, plain

_N = r"\d+(?:,\d{3})*(?:\.\d+)?(?:e[-+]?\d+)?"
_SIGNED = rf"[-−]?{_N}"
_LIST = re.compile(
    rf"(?<![\w.\"])(?P<open>\()?(?P<numbers>{_SIGNED}(?:(?:, | x | and ){_SIGNED})*)(?P<more>, \.\.\.)?(?P<close>\))?"
    r" (?P<unit>m\^2|cm\^2|mm|m)(?![\w^²])"
)
_METRES = {"m^2": 1.0, "cm^2": 1e-4, "mm": 1e-3, "m": 1.0}
_NAMES = re.compile(r"\b(?:mat(?:, infusion)?|tube|hose) [0-9]+ mm\b")
"""Materials whose own name holds a size; no quantity."""
_INCHES = ("in", "inch", "inches", "ft", "foot", "feet", "mil", "yd", "yard", "us survey ft", '"', "'")


def system_of(surface: Surface) -> System:
    """The units its file is drawn in: "lb" for inches and feet, else "metric"."""
    return "lb" if surface.unit.strip().casefold() in _INCHES else "metric"


def in_units(text: str, system: System) -> str:
    """A text with its areas and lengths in the units asked for.

    >>> in_units("outline 508 x 254 mm, 0.129 m^2", "lb")
    'outline 20 x 10 in, 1.39 ft²'
    >>> in_units("outline 508 x 254 mm, 0.129 m^2", "metric")
    'outline 508 x 254 mm, 0.129 m²'

    Args:
        text: With areas in m^2 or cm^2 and lengths in mm or m.
        system: "lb", "metric" or "both"; "both" leaves what is only metric so, to keep a sentence readable.
    """
    text = in_system(text, system)
    if system != "lb":
        return text.replace("m^2", "m²")
    kept = _NAMES.sub(lambda name: name[0].replace(" ", "\u00a0"), text.replace("m²", "m^2"))
    return _LIST.sub(_said, kept).replace("\u00a0", " ")


def _said(match: re.Match[str]) -> str:
    factor = _METRES[match["unit"]]
    numbers = match["numbers"]
    first, last = match["open"] or "", match["close"] or ""
    if "^2" in match["unit"]:
        values = [_value(word) * factor for word in re.findall(_SIGNED, numbers)]
        if len(values) == 1:
            return f"{first}{area_words(values[0], 'lb')}{match['more'] or ''}{last}"
        said = re.sub(_SIGNED, lambda m: f"{plain(_value(m[0]) * factor / FOOT**2, 4)}", numbers)
        return f"{first}{said}{match['more'] or ''}{last} ft²"
    if not re.fullmatch(_SIGNED, numbers):
        said = re.sub(_SIGNED, lambda m: f"{plain(_value(m[0]) * factor / INCH, 4)}", numbers)
        return f"{first}{said}{match['more'] or ''}{last} in"
    return f"{first}{length_words(_value(numbers) * factor, 'lb')}{match['more'] or ''}{last}"


def _value(word: str) -> float:
    return float(word.replace(",", "").replace("−", "-"))
