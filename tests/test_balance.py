"""Weight and balance as arithmetic: what holds for any figures, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import RangeError
from layup.refit.balance import (
    Balance,
    after_adding,
    after_moving,
    after_removing,
    balance,
    ballast_for,
    ballast_free,
    cg_at_fraction,
    chord_fraction,
    level_arm,
    liquid_mass,
    mass_to_move,
    moment_index,
    net_weight,
    third_wheel_cg,
)

masses = st.floats(0.0, 5e3)
arms = st.floats(-50.0, 50.0)
loads = st.lists(st.tuples(st.floats(0.1, 1e3), arms), min_size=1, max_size=20)


@given(loads, st.randoms(use_true_random=False))
def test_order_does_not_matter_to_the_last_bit(listed: list[tuple[float, float]], random: object) -> None:
    shuffled = list(listed)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert balance(shuffled) == balance(listed)


@given(loads, masses, arms)
def test_what_comes_on_and_goes_off_again_is_nothing(
    listed: list[tuple[float, float]], mass: float, arm: float
) -> None:
    old = balance(listed)
    back = after_removing(after_adding(old, mass, arm), mass, arm)
    assert back.mass == pytest.approx(old.mass, abs=1e-9)
    assert back.moment == pytest.approx(old.moment, abs=1e-7)


@given(loads, arms)
def test_moving_the_datum_moves_no_physical_point(listed: list[tuple[float, float]], datum: float) -> None:
    old, new = balance(listed), balance([(m, x - datum) for m, x in listed])
    assert new.cg + datum == pytest.approx(old.cg, abs=1e-9)


@given(st.floats(100, 5e3), st.floats(1, 3), st.floats(0.01, 0.5), st.floats(3.6, 20))
def test_ballast_ends_at_the_limit(mass: float, cg: float, short: float, station: float) -> None:
    limit = cg + short
    needed = ballast_for(mass, cg, limit, station)
    after = after_adding(Balance(mass, mass * cg), needed, station)
    assert after.cg == pytest.approx(limit, abs=1e-9)
    assert ballast_free(after.mass, after.cg, cg, station) == pytest.approx(needed, rel=1e-6)


@given(st.floats(100, 5e3), arms, st.floats(-1, 1), st.floats(1, 20))
def test_a_shift_does_what_was_asked(mass: float, cg: float, move: float, span: float) -> None:
    start, end = (0.0, span) if move > 0 else (span, 0.0)
    moved = mass_to_move(mass, cg, cg + move, start, end)
    assert after_moving(Balance(mass, mass * cg), moved, start, end).cg == pytest.approx(cg + move, abs=1e-9)


@given(arms, st.floats(-20, 20), st.floats(0, 400), st.floats(400, 5e3))
def test_the_third_wheel_form_is_the_sum_over_wheels(mains: float, offset: float, third: float, total: float) -> None:
    sums = balance([(total - third, mains), (third, mains + offset)])
    assert third_wheel_cg(mains, offset, third, total) == pytest.approx(sums.cg, abs=1e-9)


@given(arms, arms, st.floats(0.1, 10))
def test_chord_there_and_back(cg: float, edge: float, chord: float) -> None:
    assert cg_at_fraction(chord_fraction(cg, edge, chord), edge, chord) == pytest.approx(cg, abs=1e-9)


@given(st.floats(-1e7, 1e7), st.sampled_from([1, 100, 1000]), st.integers(0, 3))
def test_an_index_is_off_by_no_more_than_it_says(moment: float, per: float, decimals: int) -> None:
    found = moment_index(moment, per, decimals)
    assert abs(found.value * per - moment) <= found.loses_up_to * (1 + 1e-9) + 1e-6


def test_a_tank_whose_arm_changes() -> None:
    table = [(0.0, 2.0), (0.5, 2.2), (1.0, 2.6)]
    assert level_arm(0.25, table) == pytest.approx(2.1)
    assert level_arm(0.75, table) == pytest.approx(2.4)
    assert level_arm(1.0, table) == 2.6
    assert level_arm(0.3, [(0.0, 1.5)]) == 1.5


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: net_weight(5.0, -1.0), "negative"),
        (lambda: net_weight(5.0, 6.0), "wrong way round"),
        (lambda: balance([]).cg, "nothing weighs"),
        (lambda: third_wheel_cg(0, -1, 5, 0), "show nothing"),
        (lambda: third_wheel_cg(0, -1, 5, 4), "check the readings"),
        (lambda: after_adding(Balance(1, 1), -1, 1), "without a sign"),
        (lambda: after_removing(Balance(1, 1), 2, 1), "only 1 is there"),
        (lambda: mass_to_move(1, 1, 2, 3, 3), "moves nowhere"),
        (lambda: mass_to_move(1, 1, 2, 5, 3), "wrong way"),
        (lambda: ballast_for(1, 1, 2, 2), "cannot bring"),
        (lambda: ballast_free(1, 1, 2, 3), "does not bring"),
        (lambda: chord_fraction(1, 1, 0), "not longer"),
        (lambda: moment_index(1, 0), "above nothing"),
        (lambda: liquid_mass(1, 1, 1.1), "outside 0 to 1"),
        (lambda: liquid_mass(-1, 1), "not negative"),
    ],
)
def test_what_is_refused(call: object, words: str) -> None:
    with pytest.raises(RangeError, match=words):
        call()  # type: ignore[operator]
