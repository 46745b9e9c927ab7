# Mixing arithmetic against printed worked examples and definitions.
#
# Source of the blend (80 parts EEW 189, 10 parts EEW 183, 10 parts filler; hardener of AHEW 43): a worked example on
# sorwarchem.blogspot.com, May 2022, which prints 209 for the blend and 20.6 parts of hardener. It rounds the EEW to a
# whole gram and the parts to three figures; the tolerances are those roundings.
# Amine equivalents: molar mass over active hydrogens (DETA 103.17 g/mol with 5, TETA 146.23 g/mol with 6). The usual
# print for TETA with a resin of EEW 190 is "13 parts" (from memory).
# The ratio by volume and the density of a mix follow from the definitions; their figures are derived, by hand, twice.

from pytest import approx

from layup.make.mixing import (
    adiabatic_rise,
    blend_equivalent,
    mixed_density,
    parts,
    ratio_by_volume,
    stoichiometric_parts,
)


def test_a_blend_of_two_epoxies_and_a_filler() -> None:
    blend = blend_equivalent([(80.0, 189.0), (10.0, 183.0), (10.0, None)])
    assert blend == approx(209.0, abs=0.5)  # printed without decimals
    assert blend == approx(209.238, abs=5e-4)  # the same, carried on: 100 / (80/189 + 10/183)


def test_hardener_for_that_blend() -> None:
    assert stoichiometric_parts(43.0, 209.0) == approx(20.6, abs=0.05)  # printed with one decimal
    assert stoichiometric_parts(43.0, 209.0) == approx(20.5742, abs=5e-5)
    assert stoichiometric_parts(43.0, 209.238) == approx(20.5508, abs=5e-5)  # with the EEW not rounded


def test_amines_of_known_formula() -> None:
    assert stoichiometric_parts(103.17 / 5, 189.0) == approx(10.9175, abs=5e-5)  # derived
    teta = stoichiometric_parts(146.23 / 6, 190.0)
    assert teta == approx(12.8272, abs=5e-5)  # derived
    assert round(teta) == 13  # the usual print, from memory


def test_a_ratio_by_weight_as_one_by_volume() -> None:
    # 100:27 by weight, 1.15 and 0.97 g/cm^3: 27 / 0.97 over 100 / 1.15
    assert 100 * ratio_by_volume(0.27, 1150.0, 970.0) == approx(32.01, abs=5e-3)
    assert mixed_density(0.27, 1150.0, 970.0) == approx(1106.353, abs=5e-4)  # no shrinkage


def test_weights_and_volumes_tell_the_same_story() -> None:
    resin, hardener = parts(0.2, 0.27)
    assert resin + hardener == approx(0.2, rel=1e-15)
    assert hardener / resin == approx(0.27, rel=1e-15)
    volume = resin / 1150.0 + hardener / 970.0
    assert 0.2 / volume == approx(mixed_density(0.27, 1150.0, 970.0), rel=1e-12)


def test_the_heat_in_a_pot_is_of_the_order_derived() -> None:
    # 100 kJ for each epoxide, EEW 190, 13 parts, 1.8 to 2.0 kJ/(kg K): 259 to 233 K, derived, an order of magnitude
    assert adiabatic_rise(0.13, 190.0, heat_capacity=1800.0) == approx(259.0, abs=0.5)
    assert adiabatic_rise(0.13, 190.0, heat_capacity=2000.0) == approx(233.0, abs=0.5)
