import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import RangeError
from layup.units import parse
from layup.words import (
    area_words,
    areal_weight_words,
    length_words,
    mass_both,
    mass_metric,
    mass_words,
    percent_words,
    pressure_words,
    temperature_words,
    thickness_words,
)

OZ = 0.45359237 / 16
IN = 0.0254


@pytest.mark.parametrize(
    ("ounces", "words"),
    [
        (0.0, "0 oz"),
        (54.0, "3 lb 6 oz"),
        (45.0, "2 lb 13 oz"),
        (9.25, "9 1/4 oz"),
        (18.0, "1 lb 2 oz"),
        (80.0, "5 lb"),
        (16.0, "1 lb"),
        (15.99, "1 lb"),  # carries
        (31.95, "2 lb"),
        (159.9, "10 lb"),
        (57.6, "3 lb 9 1/2 oz"),  # 3.6 lb
        (7.9, "7 7/8 oz"),
        (7.99, "8 oz"),
        (0.5, "1/2 oz"),
        (0.06, "1/16 oz"),
        (0.001, "under 1/16 oz"),
        (-0.001, "under 1/16 oz"),
        (-54.0, "−3 lb 6 oz"),
        (-0.5, "−1/2 oz"),
        (1000.4, "62 lb 8 oz"),
        (16 * 1500.0, "1500 lb"),
    ],
)
def test_pounds_and_ounces(ounces, words):
    assert mass_words(ounces * OZ) == words


def test_the_step_can_be_chosen():
    assert mass_words(54.3 * OZ, step=1.0) == "3 lb 6 oz"
    assert mass_words(54.3 * OZ, step=0.125) == "3 lb 6 1/4 oz"
    assert mass_words(54.3 * OZ, step=16.0) == "3 lb"
    with pytest.raises(RangeError, match="step"):
        mass_words(1.0, step=0.0)


@pytest.mark.parametrize(
    ("kg", "words"),
    [(1.53087, "1.53 kg"), (0.0824, "82 g"), (0.0042, "4.2 g"), (0.0, "0.0 g"), (0.9996, "1.00 kg"), (0.9994, "999 g"),
     (0.00996, "10 g"), (9.996, "10.0 kg"), (12.36, "12.4 kg"), (-1.53087, "−1.53 kg"), (-0.00001, "0.0 g")],
)  # fmt: skip
def test_grams_and_kilograms(kg, words):
    assert mass_metric(kg) == words


def test_both_systems():
    assert mass_both(1.53087, "lb") == "3 lb 6 oz"
    assert mass_both(1.53087, "metric") == "1.53 kg"
    assert mass_both(1.53087, "both") == "3 lb 6 oz (1.53 kg)"
    with pytest.raises(RangeError, match='"lb", "metric" or "both"'):
        mass_both(1.0, "imperial")


@pytest.mark.parametrize(
    ("m", "inches", "metric"),
    [
        (0.003175, "1/8 in", "3.2 mm"),
        (0.032 * IN, "0.032 in", "0.81 mm"),
        (0.040 * IN, "0.040 in", "1.0 mm"),
        (1.125 * IN, "1 1/8 in", "29 mm"),
        (3.15 * IN, "3.15 in", "80 mm"),
        (47.27 * IN, "47 1/4 in", "1201 mm"),
        (74.5 * IN, "6 ft 2 1/2 in", "1892 mm"),
        (144 * IN, "12 ft", "3.66 m"),
        (0.0, "0.000 in", "0.00 mm"),
        (-0.026, "−1.02 in", "−26 mm"),
        (0.025, "63/64 in", "25 mm"),
        (71.99 * IN, "6 ft", "1829 mm"),
    ],
)
def test_lengths(m, inches, metric):
    assert length_words(m, "lb") == inches
    assert length_words(m, "metric") == metric
    assert length_words(m, "both") == f"{inches} ({metric})"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (thickness_words(0.00082, "both"), "0.032 in (0.82 mm)"),
        (thickness_words(0.00005, "both"), "0.0020 in (0.050 mm)"),
        (thickness_words(0.0127, "both"), "0.500 in (12.7 mm)"),
        (areal_weight_words(0.193263, "both"), "5.7 oz/yd² (193 g/m²)"),
        (areal_weight_words(0.0046, "metric"), "4.6 g/m²"),
        (areal_weight_words(12.34, "both"), "364 oz/yd² (12.3 kg/m²)"),
        (area_words(0.54, "both"), "5.81 ft² (0.540 m²)"),
        (area_words(0.001, "both"), "1.6 in² (10.0 cm²)"),
        (area_words(12.5, "both"), "134.5 ft² (12.50 m²)"),
        (temperature_words(294.15, "both"), "70 °F (21 °C)"),
        (temperature_words(253.15, "both"), "−4 °F (−20 °C)"),
        (temperature_words(273.1, "metric"), "0 °C"),
        (pressure_words(84659.7, "both"), "25.0 inHg (84.7 kPa)"),
        (pressure_words(600e3, "both"), "87.0 psi (600.0 kPa)"),
        (pressure_words(70e6, "both"), "10153 psi (70.00 MPa)"),
        (percent_words(0.75), "75.0 %"),
        (percent_words(-0.0341), "−3.4 %"),
        (percent_words(-1e-6), "0.0 %"),
    ],
)
def test_other_quantities(words, said):
    assert words == said


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_words_for_what_is_not_a_number(value):
    for words in (mass_words, mass_metric, percent_words):
        with pytest.raises(RangeError, match="finite"):
            words(value)
    for words in (length_words, thickness_words, areal_weight_words, area_words, temperature_words, pressure_words):
        with pytest.raises(RangeError, match="finite"):
            words(value, "both")


# The words mean what was weighed: read back, they are within half a step.
@given(st.floats(-200.0, 200.0))
def test_mass_words_read_back(kg):
    words = mass_words(kg)
    if words.startswith("under"):
        assert 0 < abs(kg) / OZ <= 1 / 32
        return
    ounces = abs(kg) / OZ
    step = 1 / 16 if ounces < 1 else 1 / 8 if ounces < 8 else 1 / 4 if ounces < 160 else 1
    assert abs(parse(words, "mass") - kg) <= step / 2 * OZ * (1 + 1e-9)


@given(st.floats(-500.0, 500.0))
def test_mass_words_never_have_a_decimal(kg):
    words = mass_words(kg)
    assert "." not in words
    assert "16 oz" not in words.replace("/16 oz", "")


@given(st.floats(-200.0, 200.0))
def test_metric_mass_reads_back(kg):
    words = mass_metric(kg)
    half = 0.05e-3 if abs(kg) < 0.01 else 0.5e-3 if abs(kg) < 1 else 5e-3 if abs(kg) < 10 else 0.05
    assert abs(parse(words, "mass") - kg) <= half * (1 + 1e-9)


@given(st.floats(-30.0, 30.0))
def test_length_words_read_back(m):
    inches = abs(m) / IN
    half = 5e-4 if inches < 1 else 5e-3 if inches < 10 else 1 / 32
    assert abs(parse(length_words(m, "lb"), "length") - m) <= half * IN * (1 + 1e-9)
    mm = abs(m) * 1e3
    step = 5e-3 if mm < 1 else 5e-2 if mm < 10 else 0.5 if mm < 2000 else 5
    assert abs(parse(length_words(m, "metric"), "length") - m) <= step * 1e-3 * (1 + 1e-9)


READ_BACK = {
    "areal_weight": (areal_weight_words, 0.05, 20.0),
    "area": (area_words, 0.01, 100.0),
    "pressure": (pressure_words, 1e4, 1e7),
}


@given(st.sampled_from(sorted(READ_BACK)), st.floats(0, 1), st.sampled_from(["lb", "metric"]))
def test_other_words_read_back(dimension, place, system):
    """Three digits are kept over the range of a shop: within 2 % at its small end."""
    words, low, high = READ_BACK[dimension]
    value = low * (high / low) ** place
    assert parse(words(value, system), dimension) == pytest.approx(value, rel=0.02)


@given(st.floats(200.0, 600.0))
def test_temperature_words_read_back(kelvin):
    assert parse(temperature_words(kelvin, "metric"), "temperature") == pytest.approx(kelvin, abs=0.5 + 1e-9)
    assert parse(temperature_words(kelvin, "lb"), "temperature") == pytest.approx(kelvin, abs=5 / 18 + 1e-9)


@given(st.floats(-2.0, 2.0))
def test_percent_words_read_back(fraction):
    assert parse(percent_words(fraction), "fraction") == pytest.approx(fraction, abs=5e-4 + 1e-9)
