# Source: ISO 2533:1975, Standard Atmosphere, table 5, by geopotential altitude: temperature, pressure in millibar and
# density, read in the copy of the table among the open test data of metanorma/atmospheric
# (spec/fixtures/tests-geopotential.yml), a program for this standard and nothing else.
# Tolerance: half a unit of the last printed digit (six digits) up to 11 km. Above, one unit and a half: the printed
# table goes on from the base of the second layer rounded to 226.320 mbar, 1.8e-6 below the value of its own formula.
import pytest

from layup.laminate.atmosphere import density_at, pressure_at, temperature_at

# altitude m, temperature K, pressure mbar, half of its last digit, density kg/m^3, half of its last digit
TABLE_5 = [
    (-2000.0, 301.150, 1277.74, 5e-3, 1.47808, 5e-6),
    (-1000.0, 294.650, 1139.29, 5e-3, 1.34700, 5e-6),
    (-500.0, 291.400, 1074.78, 5e-3, 1.28489, 5e-6),
    (0.0, 288.150, 1013.25, 5e-3, 1.22500, 5e-6),
    (100.0, 287.500, 1001.29, 5e-3, 1.21328, 5e-6),
    (200.0, 286.850, 989.453, 5e-4, 1.20165, 5e-6),
    (1050.0, 281.325, 893.308, 5e-4, 1.10619, 5e-6),
    (1500.0, 278.400, 845.560, 5e-4, 1.05807, 5e-6),
    (2000.0, 275.150, 794.952, 5e-4, 1.00649, 5e-6),
    (2500.0, 271.900, 746.825, 5e-4, 0.956859, 5e-7),
    (3000.0, 268.650, 701.085, 5e-4, 0.909122, 5e-7),
    (3200.0, 267.350, 683.437, 5e-4, 0.890546, 5e-7),
    (11100.0, 216.650, 222.779, 5e-4, 0.358223, 5e-7),
    (11500.0, 216.650, 209.161, 5e-4, 0.336326, 5e-7),
    (12000.0, 216.650, 193.303, 5e-4, 0.310827, 5e-7),
    (13000.0, 216.650, 165.104, 5e-4, 0.265482, 5e-7),
]


@pytest.mark.parametrize(("altitude", "kelvin", "mbar", "dp", "density", "drho"), TABLE_5)
def test_table_5(altitude, kelvin, mbar, dp, density, drho):
    assert temperature_at(altitude) == pytest.approx(kelvin, abs=5e-4)
    digits = 1.02 if altitude <= 11_000 else 3.0
    assert pressure_at(altitude) / 100 == pytest.approx(mbar, abs=dp * digits)
    assert density_at(altitude) == pytest.approx(density, abs=drho * digits)


# From memory: US Standard Atmosphere 1976, base pressures of the layers at 11 km and 20 km geopotential, 22 632.06 Pa
# and 5474.889 Pa; it equals ISO 2533 below 32 km. Tolerance: it takes g/R as 34.163195 K/km, and ISO 2533 R as
# 287.05287 J/(kg K); rounded so, the exponents differ by some 5e-7 and the pressure at 20 km by 2e-6.
@pytest.mark.parametrize(("altitude", "pascal"), [(11_000.0, 22632.06), (20_000.0, 5474.889)])
def test_layer_bases(altitude, pascal):
    assert pressure_at(altitude) == pytest.approx(pascal, rel=3e-6)
