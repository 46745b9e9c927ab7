import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import RangeError
from layup.laminate.atmosphere import (
    HIGHEST,
    LOWEST,
    TROPOPAUSE,
    density_at,
    greatest_vacuum,
    pressure_at,
    temperature_at,
)

inside = st.floats(LOWEST, HIGHEST)


@given(inside, inside)
def test_higher_is_thinner(a, b):
    low, high = sorted((a, b))
    assert pressure_at(high) <= pressure_at(low)
    assert density_at(high) <= density_at(low) * (1 + 1e-12)
    assert temperature_at(high) <= temperature_at(low)


@given(inside.filter(lambda h: abs(h - TROPOPAUSE) > 2 and LOWEST + 1 < h < HIGHEST - 1))
def test_pressure_carries_the_air_above(altitude):
    """Hydrostatics, dp/dh = -rho g, by a central difference over 2 m; its own error is below 1e-7 of the slope."""
    slope = (pressure_at(altitude + 1) - pressure_at(altitude - 1)) / 2
    assert slope == pytest.approx(-density_at(altitude) * 9.80665, rel=1e-6)


def test_no_step_at_the_tropopause():
    below, above = TROPOPAUSE - 1e-6, TROPOPAUSE + 1e-6
    assert pressure_at(below) == pytest.approx(pressure_at(above), rel=1e-8)


@given(inside)
def test_a_pump_cannot_beat_the_air(altitude):
    assert greatest_vacuum(altitude) == pressure_at(altitude)


@pytest.mark.parametrize("altitude", [LOWEST - 1, HIGHEST + 1, math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("function", [pressure_at, temperature_at, density_at, greatest_vacuum])
def test_outside_is_refused_with_the_range(function, altitude):
    with pytest.raises(RangeError, match="-2000 m to 20000 m"):
        function(altitude)
