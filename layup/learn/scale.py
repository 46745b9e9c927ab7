"""What a scale shows, as a weight: in which unit, how it is said, and the same in other words before it is kept.

The ways a scale shows a weight                    UNITS
What was typed into its fields, as one quantity    said_of
What that is, in words both ways                   echo
What was typed, said again                         typed_words
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from layup.errors import LayupError, UnitError
from layup.units import OZ, parse
from layup.words import System, mass_words

UNITS = {"lb-oz": "lb + oz", "lb": "decimal lb", "oz": "oz", "g": "g", "kg": "kg"}
"""Ways a scale shows a weight, and what each is called."""

_DECIMAL_POUNDS = re.compile(r"[0-9,]*\.[0-9]+ *(lbs?|pounds?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Echo:
    """A weight said again.

    Attributes:
        said: As it was typed, with its unit.
        mass: [kg]
        imperial: In pounds and ounces, to an eighth of an ounce (under 8 oz to a sixteenth).
        metric: In grams, from 10 kg on in kilograms.
        warning: What may be misread in it; "" for nothing.
    """

    said: str
    mass: float
    imperial: str
    metric: str
    warning: str


def said_of(unit: str, value: str = "", pounds: str = "", ounces: str = "") -> str:
    """What stands in the fields for the scale, as one quantity.

    Args:
        unit: One of `UNITS`.
        value: What the scale shows in a single unit.
        pounds: The pounds of "lb + oz".
        ounces: The ounces of "lb + oz": `13`, `13 1/4`, `13.2`.

    Returns:
        "2 lb 13 1/4 oz"; "" where nothing was typed. A unit that was typed along is kept as it is.

    Raises:
        LayupError: No scale shows that unit.

    >>> said_of("lb-oz", pounds="2", ounces="13 1/4"), said_of("g", "870")
    ('2 lb 13 1/4 oz', '870 g')
    """
    if unit not in UNITS:
        raise LayupError(f'no scale here shows "{unit}". Write one of: ' + ", ".join(UNITS))
    if unit != "lb-oz":
        return _with_unit(value, unit)
    return " ".join(word for word in (_with_unit(pounds, "lb"), _with_unit(ounces, "oz")) if word)


def _with_unit(typed: str, unit: str) -> str:
    typed = " ".join(typed.split())
    return f"{typed} {unit}" if typed and not re.search(r"[A-Za-z]", typed) else typed


def echo(said: str) -> Echo:
    """Read a weight and say it again.

    Args:
        said: With its unit.

    Raises:
        LayupError: It can't be read, or is not above zero; the message says what to write.

    >>> echo("2.13 lb").warning
    '2.13 lb is 2 lb 2 1/8 oz: behind the point stand hundredths of a pound, not ounces'
    """
    mass = parse(said, "mass")
    if mass <= 0:
        raise LayupError(f'"{said}" is not above zero. Set the empty scale to zero, and weigh again')
    ounces = mass / OZ
    imperial = mass_words(mass, step=0.125 if ounces >= 8 else 0.0625)
    warning = ""
    if _DECIMAL_POUNDS.fullmatch(said.strip()):
        warning = f"{said} is {imperial}: behind the point stand hundredths of a pound, not ounces"
    return Echo(said, mass, imperial, _metric(mass), warning)


def typed_words(said: str, mass: float, system: System) -> str:
    """A weight as it was typed, and in brackets in the other system where both are wanted or the typed one is not.

    >>> typed_words("9 1/8 oz", 0.25869, "both")
    '9 1/8 oz (259 g)'
    """
    try:
        again = echo(said)
    except LayupError:  # nothing was typed, or what older versions read in one of its two ways: 1,950 kg
        again = echo(f"{mass * 1e3:.1f} g")
    metric = re.search(r"k?g\b|gram|kilo", again.said) is not None
    if system == ("metric" if metric else "lb"):
        return again.said
    return f"{again.said} ({again.imperial if metric else again.metric})"


def _metric(mass: float) -> str:
    """Finer than a prediction is told: as a scale shows it."""
    if mass >= 10:
        return f"{mass:,.2f} kg"
    return f"{mass * 1e3:,.{0 if mass >= 0.1 else 1}f} g"


def two_sides(text: str) -> tuple[float, float]:
    """Sides of a plate, "100 mm x 100 mm". [m]

    Raises:
        LayupError: They can't be read.
    """
    wrong = f'"{text}" is not two sides with their units. Write "100 mm x 100 mm"'
    try:
        sides = [parse(side.strip(), "length") for side in text.replace("×", "x").split("x")]
    except UnitError:
        raise LayupError(wrong) from None
    if len(sides) != 2 or min(sides) <= 0:
        raise LayupError(wrong)
    return sides[0], sides[1]


def weighed_words(kg: float, system: System) -> str:
    """A weight from the scale, as finely as it was said back when it was typed: one weight, one reading.

    >>> weighed_words(0.232, "both"), weighed_words(0.232, "lb")
    ('8 1/8 oz (232 g)', '8 1/8 oz')
    """
    heard = echo(f"{kg * 1e3:.9f} g")
    return {"lb": heard.imperial, "metric": heard.metric}.get(system, f"{heard.imperial} ({heard.metric})")
