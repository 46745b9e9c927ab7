"""Processes at the vacuum and altitude of a shop."""

from __future__ import annotations

import pytest
from pytest import approx

from layup.laminate.cured import cured_areal_weight
from layup.laminate.process import VacuumError, settle
from layup.materials import load_library

INHG = 3386.38864


def process(name: str, **shop: float):  # type: ignore[no-untyped-def]  # a test's shorthand
    return settle(load_library().get("process", name), **shop)


def test_less_vacuum_leaves_more_resin() -> None:
    takes = [process("vacuum bag", vacuum=v * INHG).take_up("cloth", 1790.0, 1150.0) for v in (28, 25, 15, 6)]
    assert [t.ratio for t in takes] == sorted(t.ratio for t in takes)
    assert takes[1].pressure_spread == approx(0.0, abs=1e-9)  # the figure was read at this pressure
    assert takes[3].pressure_spread > takes[2].pressure_spread > 0


def test_the_power_law_is_the_one_stated() -> None:
    bag = process("vacuum bag", vacuum=10 * INHG)
    fraction, spread, _ = bag.fibre_fraction("cloth")
    assert fraction == approx(0.50 * (10 / 25) ** 0.08, rel=1e-9)
    assert spread == approx(0.05 * abs(-0.9162907318741551), rel=1e-9)


def test_a_gauge_cant_read_more_than_the_air_weighs() -> None:
    process("vacuum bag", vacuum=29.9 * INHG)
    with pytest.raises(VacuumError, match="can't read"):
        process("vacuum bag", vacuum=30.0 * INHG)
    with pytest.raises(VacuumError, match="1524 m"):
        process("vacuum bag", vacuum=27 * INHG, altitude=1524.0)


def test_the_usual_pump_gives_less_up_high_and_says_so() -> None:
    high = process("vacuum bag", altitude=2000.0)
    assert high.pressure is not None
    assert high.pressure < process("vacuum bag").pressure
    assert "2000 m" in high.notes[0]


def test_a_wet_layup_has_no_vacuum() -> None:
    with pytest.raises(VacuumError, match="no bag"):
        process("wet", vacuum=20 * INHG)
    assert process("wet").pressure is None


def test_take_up_is_the_mass_balance() -> None:
    take = process("infusion").take_up("cloth", 2550.0, 1150.0)
    areal = cured_areal_weight(0.3, 2550.0, 1150.0, take.fibre_fraction, take.void_fraction)
    assert 0.3 * (1 + take.ratio) == approx(areal, rel=1e-12)


def test_a_coupon_of_the_shop_takes_the_difference_between_shops_away() -> None:
    bag = process("vacuum bag")
    assert bag.take_up("cloth", 1790.0, 1150.0, fibre_fraction=0.5).shop_spread == 0.0
    told = bag.take_up("cloth", 1790.0, 1150.0, resin_content=0.40)
    assert told.ratio == approx(0.40 / 0.60)
    assert told.fibre_fraction == approx((1 - told.void_fraction) / (1 + told.ratio * 1790 / 1150))


def test_every_process_lays_up_every_form() -> None:
    for name in ("wet", "vacuum bag", "infusion", "prepreg"):
        for form in ("mat", "roving", "cloth", "spread tow", "unidirectional", "biaxial", "veil"):
            assert 0.05 < process(name).take_up(form, 2550.0, 1150.0).fibre_fraction < 0.65, (name, form)


def test_the_order_of_processes_is_the_one_the_trade_knows() -> None:
    ratios = [process(n).take_up("cloth", 1790.0, 1150.0).ratio for n in ("wet", "vacuum bag", "infusion", "prepreg")]
    assert ratios == sorted(ratios, reverse=True)
