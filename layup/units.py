"""Quantities at the door: what a shop writes becomes an SI float, or an error that shows what to write.

What is the value of a quantity with its unit?       parse("5.7 oz/yd^2", "areal_weight")
What does a thing cost, per what?                    parse_price("48 EUR/m^2"), parse_money("36 EUR")
How much hardener goes to one part of resin?         parse_ratio("100:27")
How would one write a length, a pressure, ...?       example("length")

A number is a decimal (`12.5`, `12,5`, `1,234.5`, `1e-3`), a fraction (`9/16`, `½`) or both (`2 1/2`, `1-1/8`). `1,200`
is refused: it may be 1.2 or 1200.
A unit is a product and quotient of the names in `_ATOMS`; a name not among them goes to pint, with the
dimension required. There are three compounds: pounds and ounces, feet and inches, hours and minutes. Nothing
may be left over.

Exact definitions: 1 lb = 0.45359237 kg, 1 in = 25.4 mm, 1 US gal = 231 in^3, g = 9.80665 m/s^2, mercury of
13595.1 kg/m^3 for the (conventional) inch of mercury, 3386.38864 Pa. Source: NIST SP 811 (2008), appendix B.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from layup.errors import UnitError

if TYPE_CHECKING:
    import pint


Dimension = Literal[
    "mass", "length", "area", "volume", "areal_weight", "density", "pressure", "stress", "temperature",
    "angle", "time", "mass_per_length", "fraction", "speed", "force", "moment", "torque", "frequency",
    "thermal_expansion",
]  # fmt: skip
DIMENSIONS: tuple[str, ...] = get_args(Dimension)
Per = Literal["area", "length", "mass", "volume", "each"]

Powers = tuple[int, int, int, int, int]  # of mass, length, time, temperature, angle

LB, OZ, INCH, FOOT, YARD = 0.45359237, 0.45359237 / 16, 0.0254, 0.3048, 0.9144
GALLON = 231 * INCH**3
G0 = 9.80665
ATMOSPHERE = 101325.0
INHG = 13595.1 * G0 * INCH
LONGEST = 200  # characters of a quantity; anything longer is not one

_NONE: Powers = (0, 0, 0, 0, 0)
_MASS, _LENGTH, _TIME = (1, 0, 0, 0, 0), (0, 1, 0, 0, 0), (0, 0, 1, 0, 0)
_KELVIN, _ANGLE = (0, 0, 0, 1, 0), (0, 0, 0, 0, 1)
_AREAL, _PRESSURE, _FORCE, _DENSITY = (1, -2, 0, 0, 0), (1, -1, -2, 0, 0), (1, 1, -2, 0, 0), (1, -3, 0, 0, 0)
_MOMENT, _TORQUE = (1, 1, 0, 0, 0), (1, 2, -2, 0, 0)
_VOLUME, _SPEED, _FREQUENCY = (0, 3, 0, 0, 0), (0, 1, -1, 0, 0), (0, 0, -1, 0, 0)


class _Due(NamedTuple):
    """How one dimension is named, shown and measured."""

    powers: Powers
    noun: str
    units: tuple[str, str]
    example: str
    si: str


_DUE: dict[str, _Due] = {
    "mass": _Due(_MASS, "a mass", ("g", "oz"), '"2 lb 13 oz" or "1.2 kg"', "kg"),
    "length": _Due(_LENGTH, "a length", ("mm", "in"), '"25 mm" or "1 in"', "m"),
    "area": _Due((0, 2, 0, 0, 0), "an area", ("m^2", "ft^2"), '"0.5 m^2" or "6 ft^2"', "m^2"),
    "volume": _Due(_VOLUME, "a volume", ("ml", "fl oz"), '"250 ml" or "8 fl oz"', "m^3"),
    "areal_weight": _Due(_AREAL, "an areal weight", ("g/m^2", "oz/yd^2"), '"200 g/m^2" or "5.7 oz/yd^2"', "kg/m^2"),
    "density": _Due(_DENSITY, "a density", ("g/cm^3", "lb/ft^3"), '"1.8 g/cm^3" or "4 lb/ft^3"', "kg/m^3"),
    "pressure": _Due(_PRESSURE, "a pressure", ("kPa", "inHg"), '"85 kPa" or "25 inHg"', "Pa"),
    "stress": _Due(_PRESSURE, "a stress or stiffness", ("GPa", "Msi"), '"70 GPa" or "10 Msi"', "Pa"),
    "temperature": _Due(_KELVIN, "a temperature", ("degC", "degF"), '"21 degC" or "70 degF"', "K"),
    "angle": _Due(_ANGLE, "an angle", ("deg", "rad"), '45 or "45 deg"', "degree"),
    "time": _Due(_TIME, "a time", ("min", "h"), '"25 min" or "2 h"', "s"),
    "mass_per_length": _Due((1, -1, 0, 0, 0), "a mass per length", ("g/m", "oz/ft"), '"30 g/m" or "0.3 oz/ft"', "kg/m"),
    "fraction": _Due(_NONE, "a fraction", ("%", "ppm"), '0.45 or "45 %"', ""),
    "speed": _Due(_SPEED, "a speed", ("km/h", "kt"), '"120 km/h" or "65 kt"', "m/s"),
    "force": _Due(_FORCE, "a force", ("N", "lbf"), '"500 N" or "112 lbf"', "N"),
    "moment": _Due(_MOMENT, "a moment", ("kg m", "lb in"), '"1.5 kg m" or "130 lb in"', "kg*m"),
    "torque": _Due(_TORQUE, "a torque or bending moment", ("N m", "lbf ft"), '"40 N m" or "30 lbf ft"', "N*m"),
    "frequency": _Due(_FREQUENCY, "a frequency", ("Hz", "rpm"), '"40 Hz" or "2400 rpm"', "1/s"),
    "thermal_expansion": _Due(
        (0, 0, 0, -1, 0), "a thermal expansion", ("um/m/K", "um/m/degF"), '"23e-6 /K" or "23 um/m/K"', "1/K"
    ),
}


def _names(factor: float, powers: Powers, names: str) -> dict[str, tuple[float, Powers]]:
    return dict.fromkeys(names.split(), (factor, powers))


_PSI = LB * G0 / INCH**2
_ATOMS: dict[str, tuple[float, Powers]] = {
    **_names(LB, _MASS, "lb lbs pound pounds lbm"), **_names(OZ, _MASS, "oz ozs ounce ounces"),
    **_names(1.0, _MASS, "kg kilo kilos kilogram kilograms"), **_names(1e-3, _MASS, "g gram grams gm gms"),
    **_names(1e-6, _MASS, "mg milligram milligrams"), **_names(1e3, _MASS, "t tonne tonnes"),
    **_names(INCH, _LENGTH, 'in inch inches " ins'), **_names(FOOT, _LENGTH, "ft foot feet '"),
    **_names(YARD, _LENGTH, "yd yds yard yards"), **_names(INCH / 1000, _LENGTH, "mil mils thou"),
    **_names(1e-6, _LENGTH, "um micron microns micrometre micrometer micrometres micrometers"),
    **_names(1e-3, _LENGTH, "mm millimetre millimetres millimeter millimeters"),
    **_names(1e-2, _LENGTH, "cm centimetre centimetres centimeter centimeters"),
    **_names(1.0, _LENGTH, "m metre metres meter meters"), **_names(1609.344, _LENGTH, "mile miles"),
    **_names(1e3, _LENGTH, "km kilometre kilometres kilometer kilometers"), **_names(1e-5, _VOLUME, "cl"),
    **_names(1e-6, _VOLUME, "cc ml mL millilitre millilitres milliliter milliliters"),
    **_names(1e-3, _VOLUME, "l L litre litres liter liters"), **_names(GALLON, _VOLUME, "gal gallon gallons"),
    **_names(GALLON / 128, _VOLUME, "floz"), **_names(GALLON / 4, _VOLUME, "qt quart quarts"),
    **_names(GALLON / 8, _VOLUME, "pint pints"), **_names(4.54609e-3, _VOLUME, "impgal"),
    **_names(1e-3, _AREAL, "gsm"), **_names(LB / FOOT**3, _DENSITY, "pcf"),
    **_names(1.0, _PRESSURE, "Pa pa pascal pascals"), **_names(1e3, _PRESSURE, "kPa kpa"),
    **_names(100.0, _PRESSURE, "hPa hpa mbar millibar millibars mb"), **_names(1e5, _PRESSURE, "bar bars"),
    **_names(1e6, _PRESSURE, "MPa mpa"), **_names(1e9, _PRESSURE, "GPa gpa"),
    **_names(_PSI, _PRESSURE, "psi"), **_names(144**-1 * _PSI, _PRESSURE, "psf"),
    **_names(1e3 * _PSI, _PRESSURE, "ksi"), **_names(1e6 * _PSI, _PRESSURE, "Msi msi"),
    **_names(INHG, _PRESSURE, "inHg inhg"), **_names(13.5951 * G0, _PRESSURE, "mmHg mmhg"),
    **_names(ATMOSPHERE / 760, _PRESSURE, "torr Torr"), **_names(ATMOSPHERE, _PRESSURE, "atm"),
    **_names(1.0, _KELVIN, "K degK kelvin degC C celsius"), **_names(5 / 9, _KELVIN, "degF F fahrenheit"),
    **_names(1.0, _ANGLE, "deg degs degree degrees"), **_names(180 / math.pi, _ANGLE, "rad radian radians"),
    **_names(1.0, _TIME, "s sec secs second seconds"), **_names(60.0, _TIME, "min mins minute minutes"),
    **_names(3600.0, _TIME, "h hr hrs hour hours"), **_names(86400.0, _TIME, "d day days"),
    **_names(0.01, _NONE, "% percent pct"), **_names(1e-6, _NONE, "ppm"),
    **_names(1852 / 3600, _SPEED, "kt kts knot knots"), **_names(1609.344 / 3600, _SPEED, "mph"),
    **_names(1 / 3.6, _SPEED, "kph kmh"), **_names(1.0, _FORCE, "N newton newtons"),
    **_names(1e3, _FORCE, "kN"), **_names(LB * G0, _FORCE, "lbf"), **_names(OZ * G0, _FORCE, "ozf"),
    **_names(G0, _FORCE, "kgf"), **_names(1.0, _FREQUENCY, "Hz hz hertz"), **_names(1e3, _FREQUENCY, "kHz"),
    **_names(1 / 60, _FREQUENCY, "rpm"),
}  # fmt: skip

# Capitals as on a drawing ("12 MM", "Inch"), except where capitals mean another size (Mg, Mbar, T for tesla).
_CAPITALS = {n.casefold(): v for n, v in _ATOMS.items() if n.casefold() not in {"t", "mg", "mbar", "mb"}}

_SIGNS = str.maketrans({
    "¼": " 1/4", "½": " 1/2", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8", "²": "^2", "³": "^3",
    "′": "'", "’": "'", "‘": "'", "″": '"', "”": '"', "“": '"', "µ": "u", "μ": "u", "º": "°",
    "⁄": "/", "−": "-", "–": "-", "·": "*", "⋅": "*", "×": "*", **dict.fromkeys("\u00a0\u202f\u2009\t", " "),
})  # fmt: skip

_WHOLE = r"[1-9][0-9]{0,2}(?:,[0-9]{3})+|[0-9]+"
_VALUE = (
    rf"(?:(?P<whole>[0-9]+)(?: +|-)(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)|(?P<num>[0-9]+) ?/ ?(?P<den>[0-9]+)"
    rf"|(?P<decimal>(?:(?:{_WHOLE})(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?))"
)
_QUANTITY = re.compile(rf"(?P<sign>[+-]?) *{_VALUE}(?![0-9]) *(?P<unit>.*)")
_FIGURE = re.compile(r"[0-9][0-9.,]*[0-9,]|,[0-9]+")
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]*)?")
_SECOND = re.compile(
    rf"(?P<first>[A-Za-z'.]+?)(?: *,| +and|(?<=') ?-)? *(?P<second>{_VALUE}(?![0-9]) *(?P<unit>[^0-9]*))"
)
_EXPONENT = re.compile(r"(?<=[A-Za-z])(?:\^|\*\*)?(-?[1-9])(?![0-9])")
_SPELLINGS = tuple(
    (re.compile(pattern), name)
    for pattern, name in (
        (r"(?<=[A-Za-z])\.(?=\s|/|$)", ""),
        (r"°|\bdeg(?:ree)?s?\b", "deg"),
        (r"\bdeg ?(?=[CFK]\b)", "deg"),
        (r"\bdeg ?([Cc]elsius|[Ff]ahrenheit)\b", r"\1"),
        (r"(?:\"|\b(?:inch(?:es)?|in)\b) ?(?:of )?(?:[Hh][Gg]|mercury)\b", "inHg"),
        (r"\bmm ?(?:of )?(?:[Hh][Gg]|mercury)\b", "mmHg"),
        (r"\b(?:US )?(?:fl|fluid) ?(?:oz|ounces?)\b", "floz"),
        (r"\bUS (?=gal)", ""),
        (r"\b(?:imp|imperial) gal(?:lons?)?\b", "impgal"),
        (r"\bper ?cent\b", "%"),
        (r" ?\bper\b ?", "/"),
        (r"\b(?:square|sq) ?([A-Za-z]+)", r"\1^2"),
        (r"\b(?:cubic|cu) ?([A-Za-z]+)", r"\1^3"),
    )
)
_OUNCES = {
    "areal_weight": '. Woven cloth sold as "10 oz" is "10 oz/yd^2", mat sold as "1.5 oz" is "1.5 oz/ft^2"',
    "volume": '. Ounces of a liquid are "fl oz"',
}
# The same number in the unit that is meant where another kind of quantity was written: on a scale a force is in pounds.
_MEANT: dict[str, dict[tuple[float, Powers], str]] = {
    "force": {_ATOMS["lb"]: "lbf", _ATOMS["oz"]: "ozf", _ATOMS["kg"]: "kgf"},
    "mass": {_ATOMS["lbf"]: "lb", _ATOMS["ozf"]: "oz", _ATOMS["kgf"]: "kg"},
    "torque": {(LB * FOOT, _MOMENT): "lbf ft", (LB * INCH, _MOMENT): "lbf in", (1.0, _MOMENT): "kgf m"},
    "moment": {(LB * G0 * FOOT, _TORQUE): "lb ft", (LB * G0 * INCH, _TORQUE): "lb in", (G0, _TORQUE): "kg m"},
    "speed": {_ATOMS["kN"]: "kt"},
    "pressure": {_ATOMS["in"]: "inHg", _ATOMS["mm"]: "mmHg"},
    "areal_weight": {_ATOMS["g"]: "g/m^2", _ATOMS["kg"]: "kg/m^2", (1e-3, (1, -1, 0, 0, 0)): "g/m^2"},
    "mass_per_length": {_ATOMS["g"]: "g/m"},
    "density": {_ATOMS["kg"]: "kg/m^3"},
}
# Exact in SI, and hardly ever what a shop means.
_SLIPS = {"Mm": '"mm"', "mPa": '"MPa"', "Mg": '"mg" or "kg"', "nm": '"um" or "mile"', "gr": '"g" or "grain"'}
# Two units that are read together, and how many of the small one make a large one.
_COMPOUNDS = (("lb", "oz", 16), ("ft", "in", 12), ("h", "min", 60))


@dataclass(frozen=True, slots=True)
class Price:
    """What something costs.

    Attributes:
        amount: Money per SI unit of `per` (m^2, m, kg, m^3), or per piece.
        currency: ISO 4217 code: "EUR".
        per: What the price is counted by.
    """

    amount: float
    currency: str
    per: Per


def example(dimension: str) -> str:
    """How a quantity of this dimension may be written, as a phrase for a message.

    >>> example("length")
    '"25 mm" or "1 in"'
    """
    return _due(dimension).example


def parse(text: str | int | float, dimension: str, *, bare: str | None = None, near: float | None = None) -> float:
    """The SI value of a quantity as a shop writes it.

    Args:
        text: `2 lb 13 oz`, `1 1/8 in`, `6' 2 1/2"`, `5.7 oz/yd^2`, `200 gsm`, `25 inHg`, `70 degF`.
        dimension: One of `DIMENSIONS`, the kind of quantity that is due.
        bare: The unit of a number that has none, where the caller knows it.
        near: What is expected, if anything: a mass without a unit is then asked in units that come near. [SI]
    Returns:
        The value in SI units; a temperature in kelvin, a fraction as a number (0.45), and, the one exception
        to SI, an angle in degrees.
    Raises:
        UnitError: the text cannot be read, has no unit, or is another kind of quantity; it shows the remedy.

    >>> parse("2 lb 13 oz", "mass")
    1.2757285...
    >>> parse("4 oz", "length")
    Traceback (most recent call last):
    layup.errors.UnitError: "4 oz" is a mass; a length is due: "25 mm" or "1 in"
    """
    due = _due(dimension)
    shown, number, unit = _read(text, due)
    unit = unit or bare or ""
    if not unit:
        return _finite(_without_unit(number, shown, dimension, due, near), shown, due)
    if dimension == "temperature":
        return _temperature(number, unit, shown, due)
    compound = _compound(number, unit, shown)
    if compound is not None:
        number, unit = compound
    return _finite(number * _factor(unit, dimension, due, shown), shown, due)


def parse_price(text: str) -> Price:
    """A price: money per area, length, mass, volume or piece, the money first.

    Args:
        text: `48 EUR/m^2`, `$21.50/yd`, `12 GBP/kg`, `95 USD/gal`, `3.20 EUR each`, `60 EUR per 5 kg`.
    Raises:
        UnitError: not a price; the message shows the remedy.

    >>> parse_price("48 EUR/m^2")
    Price(amount=48.0, currency='EUR', per='area')
    """
    shown = _quote(text)
    remedy = 'write "48 EUR/m^2", "$21.50/yd", "12 GBP/kg", "95 USD/gal" or "3.20 EUR each"'
    pattern = r"(?P<money>[^/]*?) *(?:(?:/|\bper\b) *(?P<unit>.+)|\b(?:each|ea\.?))"
    match = re.fullmatch(pattern, _plain(text))
    if match is None:
        raise UnitError(f"{shown} does not say what the price is for: {remedy}")
    amount, currency = parse_money(match["money"])
    unit = match["unit"] or "each"
    if unit in {"each", "ea", "ea.", "piece", "pc", "item"}:
        return Price(amount, currency, "each")
    count = re.fullmatch(rf"(?P<count>{_VALUE})? *(?P<unit>.*)", unit)
    number = _value(count, shown) if count is not None and count["count"] else 1.0
    factor, powers = _expression(count["unit"] if count is not None else unit)
    kinds: dict[Powers, Per] = {_DUE[kind].powers: kind for kind in ("area", "length", "mass", "volume")}
    if factor is None or powers not in kinds or not number > 0.0:
        raise UnitError(f'{shown} is not priced by area, length, mass, volume or piece ("{unit}"): {remedy}')
    return Price(_finite(amount / (number * factor), shown), currency, kinds[powers])


def parse_money(text: str) -> tuple[float, str]:
    """An amount of money and its currency code.

    Args:
        text: `36 EUR`, `EUR 36`, `$1,200`, `€36`, `£12.50`.
    Raises:
        UnitError: not money, or negative; the message shows the remedy.

    >>> parse_money("36 EUR")
    (36.0, 'EUR')
    """
    plain, shown = _plain(text), _quote(text)
    for sign, code in {"$": "USD", "€": "EUR", "£": "GBP"}.items():
        plain = plain.replace(sign, f" {code} ")
    _no_decimal_comma(plain, shown)
    match = re.fullmatch(rf" *([A-Z]{{3}})? *((?:{_WHOLE})(?:\.[0-9]*)?|\.[0-9]+) *([A-Z]{{3}})? *", plain)
    codes = [code for code in (match[1], match[3]) if code] if match is not None else []
    if match is None or len(codes) != 1 or codes[0].casefold() in _CAPITALS:
        remedy = 'write "36 EUR", "$36", "€36" or "£36"'
        raise UnitError(f"{shown} is not an amount of money with its currency: {remedy}")
    return _finite(float(match[2].replace(",", "")), shown), codes[0]


def parse_ratio(text: str) -> float:
    """Hardener per part of resin by weight, from the ratio printed on the can, resin first.

    Args:
        text: `100:27`, `100 to 27`, `2:1`, `3 to 1 by weight`; catalyst as a share of the resin, `1.5 %`.
    Returns:
        Parts of hardener to one part of resin. [-]
    Raises:
        UnitError: not a ratio, or a ratio by volume; the message shows the remedy.

    >>> parse_ratio("100:27")
    0.27
    """
    shown = _quote(text)
    plain = re.sub(r" *\(?by (weight|mass)\)?$", "", _plain(text))
    if re.search(r"vol", plain):
        raise UnitError(
            f"{shown} is a ratio by volume, and what is weighed is another: take the ratio by weight from the can or "
            "its data sheet, parts of resin first, then a colon and parts of hardener"
        )
    plain = _decimal_points(plain)
    number = r"((?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))"
    share = re.fullmatch(rf"{number} *(?:%|percent|pct)", plain)
    if share is not None and float(share[1]) > 0.0:
        return float(share[1]) / 100.0
    match = re.fullmatch(rf"{number} *(?::|\bto\b) *{number}", plain)
    resin, hardener = (float(match[1]), float(match[2])) if match is not None else (0.0, 0.0)
    if not (resin > 0.0 and hardener > 0.0):
        raise UnitError(f"{shown} is not a mixing ratio: {_as_the_can_prints(plain)}")
    return _finite(hardener / resin, shown)


def _as_the_can_prints(plain: str) -> str:
    """What to write for a ratio; no figure in it but the typed one, for a wrong one can burn or never harden."""
    parts = "copy the can's, parts of resin first, a colon, then parts of hardener, all by weight"
    if re.fullmatch(r"[0-9]+(\.[0-9]*)?|\.[0-9]+", plain) and float(plain) > 0.0:
        return f'write "{plain} %" if it is the catalyst\'s share of the resin by weight; of a hardener {parts}'
    return f"{parts}; of a catalyst its share of the resin by weight, in %"


def _due(dimension: str) -> _Due:
    if dimension not in _DUE:
        raise ValueError(f"no dimension {dimension!r}; known: {', '.join(DIMENSIONS)}")
    return _DUE[dimension]


def _quote(text: object) -> str:
    """The text as given, in quotes, short enough for a message."""
    words = str(text)
    words = words if len(words) <= 60 else words[:57] + "..."
    return f"'{words}'" if '"' in words else f'"{words}"'


def _plain(text: object) -> str:
    return re.sub(r" +", " ", str(text)[: LONGEST + 1].translate(_SIGNS)).strip()


def _read(text: str | int | float, due: _Due) -> tuple[str, float, str]:
    """The quantity as shown in messages, its number, and the text of its unit."""
    if isinstance(text, int) and abs(text) > 10**300:
        raise UnitError(f"a number of more than 300 digits is no quantity; {due.noun} is due: {due.example}")
    shown = _quote(text)
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise UnitError(f"{shown} is not a quantity; {due.noun} is due: {due.example}")
    if not isinstance(text, str):
        return str(text), _finite(float(text), shown, due), ""
    plain = _decimal_points(_plain(text))
    match = _QUANTITY.fullmatch(plain) if len(plain) <= LONGEST else None
    _no_decimal_comma(plain, shown)
    _one_reading(plain, shown)
    if match is None:
        raise UnitError(f"{shown} cannot be read; {due.noun} is due: {due.example}")
    number = _value(match, shown) * (-1.0 if match["sign"] == "-" else 1.0)
    return shown, number, match["unit"].strip()


def _decimal_points(plain: str) -> str:
    """A decimal comma read where it has one meaning: one comma, and not three digits behind it (`22,5`, `0,125`)."""

    def point(found: re.Match[str]) -> str:
        figure = found[0]
        once = re.fullmatch(r"[0-9]*,[0-9]+", figure)
        return figure.replace(",", ".") if once and not _THOUSANDS.fullmatch(figure) else figure

    return _FIGURE.sub(point, plain)


def _no_decimal_comma(plain: str, shown: str) -> None:
    for figure in _FIGURE.findall(plain):
        if "," in figure and not _THOUSANDS.fullmatch(figure):
            simple = re.fullmatch(r"[0-9]*,[0-9]+", figure)
            fixed = figure.replace(",", ".") if simple else '"1234.5" or "1,234.5"'
            raise UnitError(f"{shown} has a comma that does not set off thousands: write {fixed}")


def _one_reading(plain: str, shown: str) -> None:
    """Refuses `1,950 kg`: 1.95 kg on one scale, 1950 kg in another book, and a guess is off a thousandfold."""
    for figure in _FIGURE.findall(plain):
        if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", figure):
            pointed, whole = figure.replace(",", "."), figure.replace(",", "")
            either = f"{_plain(plain.replace(figure, f'{float(pointed):g}'))} or {plain.replace(figure, whole)}"
            ways = f"{_quote(plain.replace(figure, pointed))} or {_quote(plain.replace(figure, whole))}"
            raise UnitError(f"{shown} may be {either}: write {ways}")


def _value(match: re.Match[str], shown: str) -> float:
    """The number in the groups of `_VALUE`."""
    if match["decimal"] is not None:
        return float(match["decimal"].replace(",", ""))
    top, bottom = float(match["top"] or match["num"]), float(match["bottom"] or match["den"])
    if bottom == 0.0:
        raise UnitError(f"{shown} divides by zero: write a fraction such as 1/8")
    if match["whole"] is None:
        return top / bottom
    if top >= bottom:
        raise UnitError(f"{shown} has a fraction that is not below one: write a mixed number such as 1 1/8")
    return float(match["whole"]) + top / bottom


def _finite(value: float, shown: str, due: _Due | None = None) -> float:
    if math.isfinite(value):
        return value
    tail = f"; {due.noun} is due: {due.example}" if due is not None else ""
    raise UnitError(f"{shown} is not a finite number{tail}")


def _without_unit(number: float, shown: str, dimension: str, due: _Due, near: float | None = None) -> float:
    if dimension == "angle" or (dimension == "fraction" and abs(number) <= 1.0):
        return number
    if dimension == "fraction":
        raise UnitError(f'{shown} is more than the whole: write "{number:.12g} %" or {number / 100:.12g}')
    first, second = due.units
    if dimension == "mass" and near and number > 0.0:
        ways = (("g", "kg"), ("oz", "lb"))
        first, second = (min(way, key=lambda u: abs(math.log(number * _ATOMS[u][0] / near))) for way in ways)
    raise UnitError(f'{due.noun} needs its unit: write "{number:.12g} {first}" or "{number:.12g} {second}"')


def _temperature(number: float, unit: str, shown: str, due: _Due) -> float:
    name = _words(unit)
    if name == "deg":
        both = f'"{number:.12g} degC" or "{number:.12g} degF"'
        raise UnitError(f"{shown} does not say which degrees: write {both}")
    if name in {"degC", "C", "celsius", "Celsius"}:
        kelvin = number + 273.15
    elif name in {"degF", "F", "fahrenheit", "Fahrenheit"}:
        kelvin = (number + 459.67) * 5 / 9
    else:
        kelvin = number * _factor(unit, "temperature", due, shown)
    if kelvin < 0.0:
        raise UnitError(f"{shown} is below absolute zero; {due.noun} is due: {due.example}")
    return _finite(kelvin, shown, due)


def _compound(number: float, unit: str, shown: str) -> tuple[float, str] | None:
    """Two units read together as one number of the smaller, or None where there is no second number."""
    match = _SECOND.fullmatch(unit)
    first = _atom(_words(match["first"])) if match is not None else None
    pair = next((pair for pair in _COMPOUNDS if first == _ATOMS[pair[0]]), None)
    if match is None or pair is None:
        return None
    large, small, ratio = pair
    tail, second = match["second"].strip(), match["unit"].strip()
    part, whole, sign = _value(match, shown), abs(number), "-" if number < 0 else ""
    if not second and not re.fullmatch(r"[A-Za-z]+[23]", unit):  # but "6 ft2" is an area
        fixed = f"{sign}{whole:.12g} {large} {tail} {small}"
        raise UnitError(f'in {shown} the {tail} has no unit: if that is {small}, write "{fixed}"')
    if _atom(_words(second)) != _ATOMS[small]:
        return None
    total = whole * ratio + part
    if whole != int(whole) or part >= ratio:
        count, rest = divmod(round(total, 9), ratio)
        why = f"{ratio} {small} or more" if whole == int(whole) else f"a part of a {large} with {small}"
        raise UnitError(f'{shown} has {why}: write "{sign}{count:.12g} {large} {rest:.12g} {small}"')
    return math.copysign(total, number), small


def _words(unit: str) -> str:
    """Spellings of several words, and the signs for them, as one name each."""
    text = unit.strip()
    for pattern, name in _SPELLINGS:
        text = pattern.sub(name, text)
    return text.strip()


def _atom(name: str) -> tuple[float, Powers] | None:
    """Factor and powers of one name, in capitals too if written as on a drawing."""
    drawn = name.isupper() or (len(name) > 2 and name.istitle())
    return _ATOMS.get(name) or (_CAPITALS.get(name.casefold()) if drawn else None)


@lru_cache(maxsize=512)
def _expression(unit: str) -> tuple[float | None, Powers]:
    """Factor to SI and powers of a product and quotient of names; the factor is None where one is unknown."""
    text = re.sub(r"^1 ?/", "/", _EXPONENT.sub(r"^\1", _words(unit)))
    factor, powers = 1.0, list(_NONE)
    for place, part in enumerate(text.split("/")):
        names = re.findall(r"[^\s*^-]+(?:\^-?[1-9])?", part)
        said = re.sub(r"[\s*-]+", "", part) == "".join(names).replace("-", "")
        if not said or part.lstrip().startswith(("*", "-")) or (place and len(names) != 1):
            return None, _NONE
        if not names and (place or "/" not in text):
            return None, _NONE
        for item in names:
            name, _, power = item.partition("^")
            atom = _atom(name)
            if atom is None:
                return None, _NONE
            n = int(power or 1) * (-1 if place else 1)
            factor *= atom[0] ** n
            powers = [p + n * q for p, q in zip(powers, atom[1], strict=True)]
    return factor, (powers[0], powers[1], powers[2], powers[3], powers[4])


def _factor(unit: str, dimension: str, due: _Due, shown: str) -> float:
    """What one of the unit is in SI; refuses another kind of quantity."""
    factor, powers = _expression(unit)
    if factor is None:
        return _pint_factor(unit, dimension, due, shown)
    if powers == due.powers and (dimension != "fraction" or _words(unit) in {"%", "percent", "pct", "ppm"}):
        return factor
    # A pressure in pounds: "lb/in^2" on a gauge is pounds-force.
    on_a_gauge = {LB / INCH**2, LB / FOOT**2, 1e4}
    if due.powers == _PRESSURE and powers == _AREAL and any(math.isclose(factor, f) for f in on_a_gauge):
        return factor * G0
    if powers == due.powers:
        raise UnitError(f"{shown} has a unit that is not used for {due.noun}: write {due.example}")
    found = next((d.noun for d in _DUE.values() if d.powers == powers), "another kind of quantity")
    kin = ((f, unit) for (f, kind), unit in _MEANT.get(dimension, {}).items() if kind == powers)
    meant = next((unit for f, unit in kin if math.isclose(f, factor)), None)
    if meant is not None:
        typed = shown[1:-1].strip()[: -len(unit)].strip()
        raise UnitError(f"{shown} is {found}; {due.noun} is due: write {_quote(f'{typed} {meant}')}")
    hint = _OUNCES.get(dimension, "") if (factor, powers) == (OZ, _MASS) else ""
    raise UnitError(f"{shown} is {found}; {due.noun} is due: {due.example}{hint}")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint  # costs about 0.3 s with its registry, so only for a unit that is not in the table

    return pint.UnitRegistry()


def _pint_factor(unit: str, dimension: str, due: _Due, shown: str) -> float:
    """A unit outside the table, by pint; angles and fractions have only the table's units."""
    tail = f"; {due.noun} is due: {due.example}"
    unknown = UnitError(f"{shown} has a unit that is not known{tail}")
    text = _EXPONENT.sub(r"**\1", _words(unit))
    if re.search(r"(?<!\*\*)(?<!\*\*-)[0-9]", text):
        raise UnitError(f"{shown} is not one number with one unit{tail}")
    names = re.findall(r"[A-Za-z_]+", text)
    slip = next((name for name in names if name in _SLIPS), None)
    if slip is not None:
        raise UnitError(f'{shown} has a unit, "{slip}", that is easily another: write {_SLIPS[slip]}')
    too_short = any(len(name) < 2 and name not in _ATOMS for name in names)  # c, e and k are constants to pint
    plain = re.fullmatch(r"[A-Za-z_][A-Za-z_ */0-9-]*", text) and not re.search(r"\*\*\S+\*\*", text)
    if not plain or len(names) > 6 or too_short or dimension in {"angle", "fraction"}:
        raise unknown
    try:
        return float(_registry().Quantity(1.0, text).to(due.si).magnitude)
    except Exception as fault:  # pint uses Python's tokenizer and raises many kinds for text that is no unit
        if type(fault).__name__ == "DimensionalityError":
            raise UnitError(f"{shown} is not {due.noun}: write {due.example}") from None
        raise unknown from None
