"""Processes at the vacuum and altitude of a shop."""

from __future__ import annotations

import math
from typing import Any

import pytest
from oracles.cured import cured_areal_weight
from pytest import approx

from layup.errors import RangeError, VacuumError
from layup.laminate.process import settle
from layup.materials import load_library

INHG = 3386.38864


def process(name: str, **shop: Any):  # type: ignore[no-untyped-def]  # a test's shorthand
    return settle(load_library().get("process", name), **shop)


def test_less_vacuum_leaves_more_resin() -> None:
    takes = [process("vacuum bag", vacuum=v * INHG).take_up("cloth", 1790.0, 1150.0) for v in (28, 25, 15, 6)]
    assert [t.ratio for t in takes] == sorted(t.ratio for t in takes)
    assert takes[1].pressure_spread == approx(0.0, abs=1e-9)  # the figure was read at this pressure
    assert takes[3].pressure_spread > takes[2].pressure_spread > 0


def test_the_power_law_is_the_one_stated() -> None:
    bag = process("vacuum bag", vacuum=10 * INHG)
    fraction, spread, _ = bag.fibre_fraction("cloth")
    row = {name: bag.figure(name).value for name in ("pressure_exponent", "pressure_exponent_spread", "hand_pressure")}
    printed = bag.material.figure("fibre_volume_fraction", "cloth").value
    step = (10 * INHG + row["hand_pressure"]) / (25 * INHG + row["hand_pressure"])
    assert fraction == approx(printed * step ** row["pressure_exponent"], rel=1e-9)
    assert spread == approx(row["pressure_exponent_spread"] * -math.log(step), rel=1e-9)


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


FORMS = ("mat", "roving", "cloth", "spread tow", "unidirectional", "biaxial", "veil")


def weight_of_one(name: str, form: str, areal: float, **shop: float) -> float:
    """A laminate of one E-glass ply with both its films. [kg/m^2]"""
    made = process(name, **shop)
    take = made.take_up(form, 2570.0, 1150.0, areal_weight=areal)
    films = sum(made.film(face, areal).areal_weight for face in ("tool", "bag"))
    return areal * (1 + take.ratio) + films


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("areal", [0.05, 0.2, 0.9])  # the library ends at 0.85
def test_a_bag_almost_without_vacuum_is_no_heavier_than_a_hand_layup(form: str, areal: float) -> None:
    assert weight_of_one("vacuum bag", form, areal, vacuum=1 * INHG) <= weight_of_one("wet", form, areal) * 1.01


def test_veil_thin_glass_laid_wet_does_not_carry_a_film_it_can_not_hold() -> None:
    """25 g/m^2 was 131 g/m^2 when every face carried 45; finishing cloth is wetted to two or three times its weight."""
    assert weight_of_one("wet", "cloth", 0.025) < 0.090
    films = [process("wet").film("bag", w).areal_weight for w in (0.01, 0.025, 0.1, 0.2, 0.4)]
    assert films == sorted(films)
    assert films[0] < 0.010
    assert films[-2:] == [process("wet").film("bag").areal_weight] * 2


@pytest.mark.parametrize("name", ["wet", "vacuum bag", "infusion", "prepreg"])
def test_no_cliff_between_cloth_and_roving(name: str) -> None:
    """A 580 g/m^2 twill is called a roving, a 425 g/m^2 plain a cloth: weight over fibre must not jump."""
    made = process(name)
    cloth = made.take_up("cloth", 2570.0, 1150.0, areal_weight=0.58).ratio
    roving = made.take_up("roving", 2570.0, 1150.0, areal_weight=0.58).ratio
    assert (1 + roving) / (1 + cloth) == approx(1.0, abs=0.05)
    ratios = [made.take_up("cloth", 2570.0, 1150.0, areal_weight=w).ratio for w in (0.1, 0.2, 0.3, 0.425, 0.58)]
    assert ratios == sorted(ratios, reverse=True)


@pytest.mark.parametrize("name", ["wet", "vacuum bag", "prepreg"])
def test_straight_tows_are_no_heavier_than_cloth(name: str) -> None:
    """In the middle of what strays: the mean lies over it, and the more so where no published row speaks."""
    made = process(name)
    one, other = (made.take_up(form, 1800.0, 1150.0) for form in ("unidirectional", "cloth"))
    assert one.ratio * math.exp(-0.5 * one.spread**2) <= other.ratio * math.exp(-0.5 * other.spread**2) * 1.02


@pytest.mark.parametrize("form", FORMS)
def test_the_light_limit_never_passes_what_a_form_packs_to(form: str) -> None:
    made = process("infusion", vacuum=29.9 * INHG)
    take = made.take_up(form, 2570.0, 1150.0, areal_weight=2.0)
    packed = (1 - take.void_fraction) / (1 + take.ratio * take.least * 2570.0 / 1150.0)
    assert packed == approx(made.ceiling(form), rel=1e-9)
    assert 0 < take.least < 1


def test_the_hand_in_words_moves_the_resin_and_narrows_it() -> None:
    plain, hard, rolled = (
        process("wet", hand=hand).take_up("cloth", 2570.0, 1150.0) for hand in ((), ("squeegeed",), ("rolled",))
    )
    assert hard.ratio < plain.ratio < rolled.ratio
    assert hard.shop_spread < plain.shop_spread
    bled, kept = (process("vacuum bag", hand=(hand,)).take_up("cloth", 1800.0, 1150.0) for hand in ("bled", "not bled"))
    assert bled.ratio < kept.ratio


def test_a_prepreg_bleeds_a_little_and_films_come_out_of_what_was_bought() -> None:
    made = process("prepreg")
    content = load_library().get("fabric", "carbon plain 200 prepreg").figure("resin_content")
    take = made.take_up("cloth", 1800.0, 1220.0, resin_content_figure=content)
    assert 0.8 < take.ratio / (content.value / (1 - content.value)) < 1.0
    assert made.film("tool", 0.2).areal_weight == 0.0
    assert made.bond(load_library().get("core", "aramid honeycomb 48")).areal_weight == 0.0


def test_there_are_two_faces() -> None:
    with pytest.raises(RangeError, match="tool, bag"):
        process("wet").film("inside")


def test_a_word_without_a_row_widens_the_limits_and_says_no_hand() -> None:
    """Warmth says nothing of the hand; a word that no published row speaks of may be half wrong."""
    plain, warm = process("wet"), process("wet", hand=("warm resin",))
    assert warm.shop_spread("cloth")[0] == approx(math.hypot(plain.shop_spread("cloth")[0], 0.5 * math.log(0.95)))
    assert process("wet", hand=("squeegeed",)).shop_spread("cloth")[0] < plain.shop_spread("cloth")[0]
    for name, less, more in (("wet", "warm resin", "cold resin"), ("vacuum bag", "heavy bleeder", "not bled")):
        ratios = [process(name, hand=(word,)).take_up("cloth", 1800.0, 1150.0).ratio for word in (less, more)]
        assert ratios[0] < process(name).take_up("cloth", 1800.0, 1150.0).ratio < ratios[1]
