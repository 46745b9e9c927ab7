"""Quantities at the exit: SI floats become the words a shop uses.

What does it weigh, in words?                      mass_words(kg), mass_metric(kg), mass_both(kg, system)
How much of it on the resin scale, in a cup?       scale_words, volume_words
How long, how thick, how large?                    length_words, thickness_words, area_words
What does it weigh per area?                       areal_weight_words
How warm, how hard is the bag pressed?             temperature_words, pressure_words
What share?                                        percent_words
A number of three figures, without an exponent?    plain
One system of a sentence that has both?            in_system
Which way does a warp run?                         angle_words

Pounds are always printed with ounces as whole words, never as a decimal: "3.6 lb" is read as 3 lb 6 oz, and
is 3 lb 9.6 oz. The system of units is an argument of every function; there is no setting.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from layup.errors import RangeError
from layup.units import FOOT, GALLON, INCH, INHG, LB, OZ, YARD

System = Literal["lb", "metric", "both"]

MINUS = "−"
_PSI = LB * 9.80665 / INCH**2
_ATMOSPHERE = 101325.0


def mass_words(kg: float, *, step: float | None = None) -> str:
    """A mass in pounds and ounces, as two words.

    The step is what a shop scale shows and what still means something: 1/16 oz (1.8 g) below an ounce, 1/8 oz
    (3.5 g) below 8 oz, 1/4 oz (7 g) below 10 lb, 1 oz (28 g) from there on. Rounding then moves a mass of half an
    ounce or more by 6 % at most, one of 8 oz or more by 1.6 %: less than any prediction knows. More than nothing
    that rounds to nothing is "under 1/16 oz".

    Args:
        kg: May be negative, a loss. [kg]
        step: Round to this many ounces instead; one ounce divided by, or times, a whole number. [oz]
    Returns:
        "3 lb 6 oz", "9 1/4 oz", "5 lb", "0 oz", "−3 lb 6 oz" (with a true minus sign).
    Raises:
        RangeError: not a finite number, or a step that is not above zero.

    >>> mass_words(1.2757)
    '2 lb 13 oz'
    """
    ounces = abs(_finite(kg)) / OZ
    if step is not None and not step > 0.0:
        raise RangeError(f"a step of {step:.12g} oz is not above zero: write 0.25 for quarters of an ounce")
    unit = Fraction(step).limit_denominator(1024) if step is not None else _ounce_step(ounces)
    unit = unit or Fraction(1, 1024)
    total = round(ounces / float(unit)) * unit
    if total == 0:
        return "0 oz" if ounces == 0.0 else f"under {_mixed(unit)} oz"
    pounds, rest = divmod(total, 16)
    words = [f"{pounds} lb"] if pounds else []
    words += [f"{_mixed(rest)} oz"] if rest else []
    return (MINUS if kg < 0 else "") + " ".join(words)


def mass_metric(kg: float) -> str:
    """A mass in grams, or in kilograms from one up.

    Args:
        kg: May be negative. [kg]
    Returns:
        "1.53 kg", "12.4 kg", "82 g", "4.2 g".
    Raises:
        RangeError: not a finite number.

    >>> mass_metric(0.0042)
    '4.2 g'
    """
    size = abs(_finite(kg))
    if round(size * 1e3) < 1000:
        return _signed(size * 1e3, 0 if round(size * 1e3, 1) >= 10 else 1, kg) + " g"
    return _signed(size, 2 if round(size, 2) < 10 else 1, kg) + " kg"


def mass_both(kg: float, system: System) -> str:
    """A mass in the system asked for; with "both", the metric one in brackets.

    Args:
        kg: [kg]
        system: "lb", "metric" or "both".

    >>> mass_both(1.53087, "both")
    '3 lb 6 oz (1.53 kg)'
    """
    return _both(mass_words(kg), mass_metric(kg), system)


def scale_words(kg: float, system: System) -> str:
    """A mass as a resin scale shows it: decimal ounces, or grams.

    Args:
        kg: [kg]
        system: "lb" (ounces), "metric" or "both".

    >>> scale_words(0.134, "both")
    '134 g (4.73 oz)'
    """
    ounces, grams = abs(_finite(kg)) / OZ, abs(kg) * 1e3
    metric = _signed(grams, 1 if grams < 99.95 else 0, kg) + " g"
    imperial = _signed(ounces, 2 if ounces < 9.995 else 1, kg) + " oz"
    return f"{metric} ({imperial})" if system == "both" else _both(imperial, metric, system)


def volume_words(m3: float, system: System) -> str:
    """A volume of resin, in US fluid ounces or millilitres.

    Args:
        m3: [m^3]
        system: "lb" (US fluid ounces), "metric" or "both".

    >>> volume_words(250e-6, "both")
    '250 ml (8.5 fl oz)'
    """
    ml, ounces = abs(_finite(m3)) * 1e6, abs(m3) / (GALLON / 128)
    metric = _signed(ml, 1 if ml < 9.95 else 0, m3) + " ml"
    imperial = _signed(ounces, 2 if ounces < 0.995 else 1, m3) + " fl oz"
    return f"{metric} ({imperial})" if system == "both" else _both(imperial, metric, system)


def length_words(m: float, system: System) -> str:
    """A length: inches as on a tape or a sheet gauge, or millimetres and metres.

    Inches below ten are a fraction where one to 1/64 in is within 0.0002 in, else a decimal; up to six feet they
    are rounded to 1/16 in, and from there on written as feet and inches.

    Args:
        m: May be negative, a coordinate. [m]
        system: "lb" (inches), "metric" or "both".

    >>> length_words(0.003175, "both")
    '1/8 in (3.2 mm)'
    """
    return _both(_inches(_finite(m)), _millimetres(m), system)


def tape_words(m: float, system: System, up: bool = False, down: bool = False) -> str:
    """A length as it is measured at the bench: to a sixteenth of an inch, or to a millimetre.

    Args:
        m: [m]
        system: "lb" (inches), "metric" or "both": each is rounded for itself.
        up: To the next mark of the tape and not to the nearest: what is cut off a roll is never short.
        down: To the mark below: the most that is allowed.

    >>> tape_words(0.15, "lb"), tape_words(0.15, "lb", up=True)
    ('5 7/8 in', '5 15/16 in')
    """

    def rounded(step: float) -> float:
        marks = m / step
        return (math.ceil(round(marks, 6)) if up else math.floor(round(marks, 6)) if down else round(marks)) * step

    return _both(_inches(rounded(INCH / 16)), _millimetres(rounded(1e-3)), system)


def thickness_words(m: float, system: System) -> str:
    """A thickness, in thousandths of an inch or hundredths of a millimetre.

    Args:
        m: [m]
        system: "lb" (inches), "metric" or "both".

    >>> thickness_words(0.0008128, "both")
    '0.032 in (0.81 mm)'
    """
    inches, mm = abs(_finite(m)) / INCH, abs(m) * 1e3
    thin = 0 < inches < 0.00995
    return _both(
        _signed(inches, 4 if thin else 3, m) + " in",
        _signed(mm, 3 if 0 < mm < 0.0995 else 2 if mm < 9.995 else 1, m) + " mm",
        system,
    )


def areal_weight_words(kg_m2: float, system: System) -> str:
    """A weight per area, in ounces per square yard or grams per square metre.

    Args:
        kg_m2: [kg/m^2]
        system: "lb" (ounces per square yard), "metric" or "both".

    >>> areal_weight_words(0.2, "both")
    '5.9 oz/yd² (200 g/m²)'
    """
    ounces, grams = abs(_finite(kg_m2)) / (OZ / YARD**2), abs(kg_m2) * 1e3
    return _both(
        _signed(ounces, 2 if ounces < 2.95 else 1 if ounces < 99.95 else 0, kg_m2) + " oz/yd²",
        _signed(grams, 1, kg_m2) + " g/m²"
        if 0 < grams < 9.95
        else _signed(grams, 0, kg_m2) + " g/m²"
        if grams < 9999.5
        else _signed(grams / 1e3, 1, kg_m2) + " kg/m²",
        system,
    )


def panel_weight_words(kg_m2: float, system: System) -> str:
    """A weight per area as panels are compared: by the square foot beside what `areal_weight_words` says.

    >>> panel_weight_words(1.206, "both")
    '4.0 oz/ft², 35.6 oz/yd² (1206 g/m²)'
    """
    ounces = abs(_finite(kg_m2)) / (OZ / FOOT**2)
    by_foot = f"{_signed(ounces, 1 if ounces < 99.95 else 0, kg_m2)} oz/ft², " if system != "metric" else ""
    return by_foot + areal_weight_words(kg_m2, system)


def area_words(m2: float, system: System) -> str:
    """An area, in square feet or square metres; small ones in square inches or square centimetres.

    Args:
        m2: [m^2]
        system: "lb" (feet), "metric" or "both".

    >>> area_words(0.54, "both")
    '5.81 ft² (0.540 m²)'
    """
    size = abs(_finite(m2))
    feet, metres = size / FOOT**2, size
    imperial = (
        _signed(feet, 2 if feet < 99.995 else 1, m2) + " ft²"
        if feet >= 0.5
        else _signed(size / INCH**2, 1, m2) + " in²"
    )
    metric = (
        _signed(metres, 3 if metres < 9.9995 else 2, m2) + " m²"
        if metres >= 0.05
        else _signed(size * 1e4, 1, m2) + " cm²"
    )
    return _both(imperial, metric, system)


def temperature_words(kelvin: float, system: System) -> str:
    """A temperature, in whole degrees Fahrenheit or Celsius.

    Args:
        kelvin: [K]
        system: "lb" (Fahrenheit), "metric" (Celsius) or "both".

    >>> temperature_words(294.15, "both")
    '70 °F (21 °C)'
    """
    celsius = _finite(kelvin) - 273.15
    fahrenheit = celsius * 9 / 5 + 32
    return _both(_signed(abs(fahrenheit), 0, fahrenheit) + " °F", _signed(abs(celsius), 0, celsius) + " °C", system)


def pressure_words(pa: float, system: System) -> str:
    """A pressure: of a bag in inches of mercury, above an atmosphere in psi; in kilopascals or megapascals.

    Args:
        pa: [Pa]
        system: "lb" (inHg or psi), "metric" or "both".

    >>> pressure_words(84659.7, "both")
    '25.0 inHg (84.7 kPa)'
    """
    size = abs(_finite(pa))
    if size <= 1.1 * _ATMOSPHERE:
        imperial = _signed(size / INHG, 1, pa) + " inHg"
    else:
        imperial = _signed(size / _PSI, 1 if size / _PSI < 99.95 else 0, pa) + " psi"
    metric = _signed(size / 1e3, 1, pa) + " kPa" if size < 999_950 else _signed(size / 1e6, 2, pa) + " MPa"
    return _both(imperial, metric, system)


_NUMBER = r"(?:under )?[−-]?[0-9][0-9,./]*(?: [0-9]+/[0-9]+)?"
_RANGE = rf"{_NUMBER}(?: to {_NUMBER})?"
_OURS = r"(?:inHg|psi|ksi|lbf|lb in|lb|oz/yd²|fl oz|oz|in²|in|ft²|ft|yd|°F|kt)"
_THEIRS = r"(?:kg/m²|g/m²|kg m|kg|g|mm|cm²|cm|m²|m|kPa|MPa|GPa|°C|ml|kN|N|km/h)"
_PAIRS = (
    re.compile(rf"(?P<lb>{_RANGE} {_OURS}(?: {_NUMBER} {_OURS})?) \((?P<metric>{_RANGE} {_THEIRS})\)"),
    re.compile(rf"(?P<metric>{_RANGE} {_THEIRS}) \((?P<lb>{_RANGE} {_OURS}(?: {_NUMBER} {_OURS})?)\)"),
)


def in_system(text: str, system: System) -> str:
    """A sentence with the quantities it says both ways said in the system asked for.

    Sentences are made where nobody knows yet who reads them, so they hold both; this is the exit.

    Args:
        text: "9 1/4 oz (262 g) more cloth".
        system: "both" leaves it as it is.

    >>> in_system("soft at 55 to 60 °C (130 to 140 °F), 3 lb 6 oz (1.53 kg)", "lb")
    'soft at 130 to 140 °F, 3 lb 6 oz'
    """
    if system == "both":
        return text
    for pair in _PAIRS:
        text = pair.sub(lambda found: found[system], text)
    return text


def percent_words(fraction: float) -> str:
    """A share, in per cent with one decimal.

    >>> percent_words(0.75)
    '75.0 %'
    """
    return _signed(abs(_finite(fraction)) * 100, 1, fraction) + " %"


def plain(value: float, digits: int) -> str:
    """A number with so many figures that count, never with an exponent.

    >>> plain(6666.7, 3), plain(0.25, 3), plain(1000.0, 3)
    ('6670', '0.25', '1000')
    """
    return format(Decimal(f"{value:.{digits}g}"), "f")


def angle_words(angle: float) -> str:
    """An angle with its sign where it has one: +45°, −45°, 0°, 90°."""
    text = f"{abs(angle):g}°"
    return f"{MINUS}{text}" if angle < 0 else f"+{text}" if angle % 90 else text


def _ounce_step(ounces: float) -> Fraction:
    if ounces < 1:
        return Fraction(1, 16)
    if ounces < 8:
        return Fraction(1, 8)
    return Fraction(1, 4) if ounces < 160 else Fraction(1)


def _mixed(value: Fraction) -> str:
    """A fraction as a mixed number: 9 1/4."""
    whole, part = divmod(value, 1)
    return " ".join([str(whole)] * bool(whole or not part) + [str(part)] * bool(part))


def _inches(m: float) -> str:
    inches = abs(m) / INCH
    near = Fraction(round(inches * 64), 64)
    sign = MINUS if m < 0 else ""
    if near > 0 and abs(float(near) - inches) < 2e-4 and inches < 10:
        return f"{sign}{_mixed(near)} in"
    if inches < 9.995:
        return _signed(inches, 3 if inches < 0.9995 else 2, m) + " in"
    sixteenths = Fraction(round(inches * 16), 16)
    if sixteenths < 72:
        return f"{sign}{_mixed(sixteenths)} in"
    feet, rest = divmod(sixteenths, 12)
    return f"{sign}{feet} ft" + (f" {_mixed(rest)} in" if rest else "")


def no_formula(cell: object) -> object:
    """A cell of a CSV that no spreadsheet takes for a formula.

    >>> no_formula("=1+1"), no_formula("+12 g"), no_formula(None), no_formula(1.5)
    ("'=1+1", '12 g', '', 1.5)
    """
    if cell is None:
        return ""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + cell if cell[0] != "+" else cell[1:]
    return cell


def _millimetres(m: float) -> str:
    mm = abs(m) * 1e3
    if mm >= 1999.5:
        return _signed(mm / 1e3, 2 if mm < 99_995 else 1, m) + " m"
    return _signed(mm, 2 if mm < 0.995 else 1 if mm < 9.95 else 0, m) + " mm"


def _signed(size: float, decimals: int, value: float) -> str:
    """The size with so many decimals, and a true minus sign unless it rounds to nothing."""
    text = f"{size:.{decimals}f}"
    return MINUS + text if value < 0 and float(text) != 0.0 else text


def _both(imperial: str, metric: str, system: System) -> str:
    if system == "both":
        return f"{imperial} ({metric})"
    if system not in ("lb", "metric"):
        raise RangeError(f'no system of units "{system}": write "lb", "metric" or "both"')
    return imperial if system == "lb" else metric


def _finite(value: float) -> float:
    if math.isfinite(value):
        return value
    raise RangeError(f"{value} cannot be put in words: a finite number is due")
