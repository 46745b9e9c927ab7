"""Density, fibre and void relations against worked figures.

Source: ASTM D792 (density by displacement, water 0.9975 g/cm3 at 23 degC), ASTM D3171 (constituents), ASTM D2734 (void
content). The relations are the standards'; the worked inputs are our own (the standards print no full example), and the
expected figures were computed by hand from the relations, so these rows check the code, not nature. The row "Kaw" is
A. K. Kaw, Mechanics of Composite Materials, 2nd ed. 2006, example 3.1 (value from memory).
"""

from __future__ import annotations

from oracles.cured import (
    constituents,
    cured_thickness,
    density_by_displacement,
    fibre_fraction_from_resin_content,
    resin_content_from_fibre_fraction,
    void_content,
)
from pytest import approx

from layup.laminate.cured import laminate_density


def test_density_by_displacement() -> None:
    # a = 1.9000 g, b = 0.9050 g at 23 degC; seven digits by hand.
    assert density_by_displacement(1.9000e-3, 0.9050e-3) == approx(1904.774, abs=5e-4)


def test_glass_laminate_constituents_and_voids() -> None:
    # glass 2.54, resin 1.20, laminate 1.90 g/cm3, resin 30 % by weight; both void methods must agree.
    found = constituents(0.30, 1900.0, 2540.0, 1200.0)
    assert found.fibre == approx(0.523622, abs=5e-7)
    assert found.resin == approx(0.475, abs=5e-7)
    assert found.void == approx(0.00137795, abs=5e-9)
    assert void_content(0.30, 1900.0, 2540.0, 1200.0) == approx(found.void, abs=1e-12)


def test_negative_voids_are_reported_not_clipped() -> None:
    # carbon 1.78, resin 1.27, laminate 1.58 g/cm3, resin 33 %: scatter gives -0.527 %.
    assert constituents(0.33, 1580.0, 1780.0, 1270.0).void == approx(-0.00527, abs=5e-6)


def test_one_per_cent_of_density_is_one_point_of_voids() -> None:
    step = void_content(0.30, 1900.0 * 1.01, 2540.0, 1200.0) - void_content(0.30, 1900.0, 2540.0, 1200.0)
    assert step == approx(-0.009986, abs=5e-7)


def test_kaw_example_3_1() -> None:
    # Value from memory: glass/epoxy, V_f 0.70, 2500 and 1200 kg/m3: 2110 kg/m3, fibre mass share 0.8294.
    assert laminate_density(0.70, 2500.0, 1200.0) == approx(2110.0, abs=0.5)
    assert 1 - resin_content_from_fibre_fraction(0.70, 2500.0, 1200.0) == approx(0.8294, abs=5e-5)


def test_thickness_of_one_ply() -> None:
    # t = W / (rho_f V_f), four plies by hand to six digits.
    for weight, density, fraction, millimetres in (
        (0.200, 1800.0, 0.50, 0.222222),
        (0.300, 2550.0, 0.50, 0.235294),
        (0.193, 1770.0, 0.60, 0.181733),
        (0.30176, 2540.0, 0.50, 0.237607),
    ):
        assert cured_thickness(weight, density, fraction) * 1e3 == approx(millimetres, abs=1e-6)


def test_printed_carbon_and_aramid_laminate_densities() -> None:
    # Source: typical table values of unidirectional AS4/3501-6 at V_f 0.63 (1.60 g/cm3) and aramid 49/epoxy at 0.60
    # (1.38 g/cm3), as widely reprinted (from memory); epoxy 1.27. Tolerance: the two decimals printed, and a little for
    # the rounding of the reprint's inputs.
    assert laminate_density(0.63, 1790.0, 1270.0) / 1e3 == approx(1.60, abs=0.008)
    assert laminate_density(0.60, 1440.0, 1270.0) / 1e3 == approx(1.38, abs=0.0085)


def test_glass_rule_of_small_craft_standard() -> None:
    # Source: ISO 12215-5:2008 annex C (formula from memory): t/W = (2.56/psi - 1.36)/3.072 mm per kg/m2 for glass and
    # polyester, psi the glass share by mass. It is our relation at 2.56 and 1.20 g/cm3, so agreement is to rounding.
    for share, printed in ((0.30, 2.335), (0.48, 1.293), (0.507, 1.20), (0.67, 0.80)):
        v_f = fibre_fraction_from_resin_content(1 - share, 2560.0, 1200.0)
        assert cured_thickness(1.0, 2560.0, v_f) * 1e3 == approx(printed, abs=0.0025)
