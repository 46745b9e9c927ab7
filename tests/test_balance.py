"""Weight and balance as arithmetic: what holds for any figures, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import RangeError
from layup.refit.balance import balance, chord_fraction, level_arm, moment_index, net_weight

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
    back = balance([*listed, (mass, arm), (-mass, arm)])
    assert back.mass == pytest.approx(old.mass, abs=1e-9)
    assert back.moment == pytest.approx(old.moment, abs=1e-7)


@given(loads, arms)
def test_moving_the_datum_moves_no_physical_point(listed: list[tuple[float, float]], datum: float) -> None:
    old, new = balance(listed), balance([(m, x - datum) for m, x in listed])
    assert new.cg + datum == pytest.approx(old.cg, abs=1e-9)


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
        (lambda: chord_fraction(1, 1, 0), "not longer"),
        (lambda: moment_index(1, 0), "above nothing"),
    ],
)
def test_what_is_refused(call: object, words: str) -> None:
    with pytest.raises(RangeError, match=words):
        call()  # type: ignore[operator]
