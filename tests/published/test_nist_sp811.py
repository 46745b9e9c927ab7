# Source: NIST Special Publication 811 (2008), Guide for the Use of the International System of Units, appendix B.8,
# "Factors for units listed alphabetically". The figures are written from memory, in the seven digits the guide
# prints; exact factors (printed in bold there) are written out in full.
# Tolerance: half a unit of the seventh digit for rounded factors, at most 5e-7 of the value; for exact ones the
# rounding of a float, 1e-15 in each of a few operations.
import pytest

from layup.units import parse

ROUNDED = [
    ("ounce (avoirdupois)", "1 oz", "mass", 2.834952e-2),
    ("ounce (avoirdupois) per square yard", "1 oz/yd^2", "areal_weight", 3.390575e-2),
    ("ounce (avoirdupois) per square foot", "1 oz/ft^2", "areal_weight", 3.051517e-1),
    ("ounce (avoirdupois) per cubic inch", "1 oz/in^3", "density", 1.729994e3),
    ("ounce (avoirdupois) per gallon (US)", "1 oz/gal", "density", 7.489152),
    ("pound per square foot", "1 lb/ft^2", "areal_weight", 4.882428),
    ("pound per cubic foot", "1 lb/ft^3", "density", 1.601846e1),
    ("pound per cubic inch", "1 lb/in^3", "density", 2.767990e4),
    ("pound per cubic yard", "1 lb/yd^3", "density", 5.932764e-1),
    ("pound per gallon (US)", "1 lb/gal", "density", 1.198264e2),
    ("pound per foot", "1 lb/ft", "mass_per_length", 1.488164),
    ("pound per inch", "1 lb/in", "mass_per_length", 1.785797e1),
    ("pound-force", "1 lbf", "force", 4.448222),
    ("pound-force per square inch (psi)", "1 psi", "pressure", 6.894757e3),
    ("kip per square inch (ksi)", "1 ksi", "stress", 6.894757e6),
    ("pound-force per square foot", "1 psf", "pressure", 4.788026e1),
    ("inch of mercury, conventional", "1 inHg", "pressure", 3.386389e3),
    ("millimeter of mercury, conventional", "1 mmHg", "pressure", 1.333224e2),
    ("torr", "1 torr", "pressure", 1.333224e2),
    ("square foot", "1 ft^2", "area", 9.290304e-2),
    ("square yard", "1 yd^2", "area", 8.361274e-1),
    ("cubic foot", "1 cu ft", "volume", 2.831685e-2),
    ("cubic inch", "1 in^3", "volume", 1.638706e-5),
    ("fluid ounce (US)", "1 fl oz", "volume", 2.957353e-5),
    ("pint (US liquid)", "1 pint", "volume", 4.731765e-4),
    ("quart (US liquid)", "1 qt", "volume", 9.463529e-4),
    ("gallon (US)", "1 gal", "volume", 3.785412e-3),
    ("knot", "1 kt", "speed", 5.144444e-1),
    ("kilometer per hour", "1 km/h", "speed", 2.777778e-1),
]
EXACT = [
    ("pound (avoirdupois)", "1 lb", "mass", 0.45359237),
    ("inch", "1 in", "length", 2.54e-2),
    ("foot", "1 ft", "length", 3.048e-1),
    ("yard", "1 yd", "length", 9.144e-1),
    ("mile", "1 mile", "length", 1.609344e3),
    ("mil (0.001 in)", "1 mil", "length", 2.54e-5),
    ("square inch", "1 in^2", "area", 6.4516e-4),
    ("gallon (Canadian and UK)", "1 imperial gallon", "volume", 4.54609e-3),
    ("atmosphere, standard", "1 atm", "pressure", 1.01325e5),
    ("bar", "1 bar", "pressure", 1e5),
    ("millibar", "1 mbar", "pressure", 1e2),
    ("kilogram-force", "1 kgf", "force", 9.80665),
    ("kilogram-force per square centimeter", "1 kg/cm^2", "pressure", 9.80665e4),
    ("mile per hour", "1 mph", "speed", 4.4704e-1),
    ("foot per second", "1 ft/s", "speed", 3.048e-1),
    ("hour", "1 h", "time", 3.6e3),
    ("day", "1 day", "time", 8.64e4),
]


@pytest.mark.parametrize(("name", "text", "dimension", "printed"), ROUNDED, ids=[row[0] for row in ROUNDED])
def test_rounded_factor(name, text, dimension, printed):
    assert parse(text, dimension) == pytest.approx(printed, rel=5e-7)


@pytest.mark.parametrize(("name", "text", "dimension", "exact"), EXACT, ids=[row[0] for row in EXACT])
def test_exact_factor(name, text, dimension, exact):
    assert parse(text, dimension) == pytest.approx(exact, rel=4e-15)


# SP 811, appendix B.8, "degree Fahrenheit": T/K = (t/degF + 459.67)/1.8; "degree Celsius": T/K = t/degC + 273.15.
# Exact relations; the tolerance is the rounding of a float near 500.
@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("32 degF", 273.15), ("212 degF", 373.15), ("-40 degF", 233.15), ("-40 degC", 233.15), ("250 °F", 709.67 / 1.8)],
)
def test_temperature(text, kelvin):
    assert parse(text, "temperature") == pytest.approx(kelvin, rel=4e-16 * 4)


# SP 811, appendix B.8: three inches of mercury stand there, 0.28 % apart: conventional, at 32 degF 3386.38 Pa, and at
# 60 degF 3376.85 Pa. This program's is the conventional one.
def test_inch_of_mercury_is_the_conventional_one():
    pressure = parse("1 inHg", "pressure")
    assert abs(pressure - 3386.389) < 5e-4
    assert abs(pressure - 3386.38) > 5e-3
