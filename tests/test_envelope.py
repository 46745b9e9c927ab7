"""Load cases against limits that may change with weight, and ballast that ends exactly at one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from layup.refit.balance import Balance
from layup.refit.envelope import Envelope, ballast_free, ballast_needed, crossed_rows

STRAIGHT = Envelope(400.0, 800.0, ((0.0, 2.0),), ((0.0, 2.4),))
SLOPED = Envelope(400.0, 800.0, ((500.0, 2.0), (800.0, 2.15)), ((0.0, 2.4),))


def at(mass: float, cg: float) -> Balance:
    return Balance(mass, mass * cg)


def check(envelope: Envelope, *cases: Balance) -> list[tuple[str, ...]]:
    checked = envelope.check(np.array([c.mass for c in cases]), np.array([c.moment for c in cases]))
    return [checked.faults_of(number) for number in range(len(cases))]


def test_each_limit_by_name() -> None:
    cases = [at(600, 2.2), at(600, 1.99), at(600, 2.41), at(801, 2.2), at(399, 2.2), at(900, 2.5)]
    assert check(STRAIGHT, *cases) == [
        (), ("forward",), ("aft",), ("too heavy",), ("too light",), ("aft", "too heavy")
    ]  # fmt: skip


def test_at_a_limit_is_inside() -> None:
    assert check(STRAIGHT, at(600, 2.0), at(600, 2.4), at(800, 2.2), at(400, 2.2)) == [()] * 4


def test_a_hair_outside_is_outside() -> None:
    assert check(STRAIGHT, at(600, 2.0 - 1e-6), at(600, 2.4 + 1e-6), at(800.001, 2.2)) == [
        ("forward",), ("aft",), ("too heavy",)
    ]  # fmt: skip


def test_a_sloping_limit_is_straight_between_its_rows_and_stays_beyond_them() -> None:
    ahead, _ = SLOPED.limits_at(np.array([450.0, 500.0, 650.0, 800.0, 900.0]))
    assert ahead == pytest.approx([2.0, 2.0, 2.075, 2.15, 2.15])


def test_worst_cases_and_outline() -> None:
    cases = [at(600, 2.2), at(700, 2.12), at(500, 2.39)]
    checked = SLOPED.check(np.array([c.mass for c in cases]), np.array([c.moment for c in cases]))
    assert (checked.worst_forward, checked.worst_aft, checked.heaviest, checked.worst) == (1, 2, 1, 2)
    assert SLOPED.outline() == [(2.0, 400.0), (2.0, 500.0), (2.15, 800.0), (2.4, 800.0), (2.4, 400.0)]


def test_limits_that_cross_are_seen() -> None:
    assert not crossed_rows(SLOPED)
    assert crossed_rows(Envelope(400, 800, ((400, 2.0), (800, 2.5)), ((0, 2.4),)))


def test_ballast_against_the_handbook_formula() -> None:
    # FAA-H-8083-1: w = W d / (station - limit); here the limit is straight, so the two must agree.
    empty, load = at(500, 2.42), at(80, 2.3)
    sums = Balance(580, empty.moment + load.moment)
    needed = ballast_needed(STRAIGHT, empty, [load], 0.3)
    assert needed == pytest.approx(sums.mass * (sums.cg - 2.4) / (2.4 - 0.3), rel=1e-12)


def test_no_ballast_where_none_is_needed_or_none_helps() -> None:
    assert ballast_needed(STRAIGHT, at(500, 2.2), [at(80, 2.2)], 0.3) == 0.0
    assert ballast_needed(STRAIGHT, at(790, 2.2), [at(80, 2.2)], 0.3) is None
    assert ballast_needed(STRAIGHT, at(500, 1.9), [at(80, 1.9)], 0.3) is None


def test_ballast_that_is_all_free() -> None:
    assert ballast_free(STRAIGHT, at(500, 2.2), [at(80, 2.2)], 0.3, 2.0) == 2.0
    assert ballast_free(STRAIGHT, at(500, 2.4), [at(80, 2.4)], 0.3, 2.0) == pytest.approx(0.0, abs=1e-6)


@st.composite
def problems(draw: st.DrawFn) -> tuple[Envelope, Balance, list[Balance], float]:
    slope = draw(st.sampled_from([0.0, 0.05, 0.15, -0.05]))
    envelope = Envelope(400, 800, ((500, 2.0), (800, 2.0 + slope)), ((450, 2.4), (800, draw(st.floats(2.3, 2.5)))))
    empty = at(draw(st.floats(420, 520)), draw(st.floats(1.9, 2.5)))
    count = draw(st.integers(1, 5))
    loads = [at(draw(st.floats(1, 250)), draw(st.floats(1.8, 2.6))) for _ in range(count)]
    return envelope, empty, loads, draw(st.sampled_from([0.2, 1.0, 5.0]))


def inside(envelope: Envelope, empty: Balance, loads: list[Balance], station: float, extra: float) -> bool:
    mass = np.array([empty.mass + extra + x.mass for x in loads])
    moment = np.array([empty.moment + extra * station + x.moment for x in loads])
    return bool(np.all(envelope.check(mass, moment).inside))


@given(problems())
@settings(max_examples=150, deadline=None)
def test_the_least_ballast_is_least(problem: tuple[Envelope, Balance, list[Balance], float]) -> None:
    envelope, empty, loads, station = problem
    needed = ballast_needed(envelope, empty, loads, station)
    grid = np.linspace(0.0, 60.0, 601)
    found = [float(w) for w in grid if inside(envelope, empty, loads, station, float(w))]
    if needed is None:
        assert not found
        return
    assert inside(envelope, empty, loads, station, needed)
    assert not any(w < needed - 1e-6 for w in found)


@given(problems(), st.floats(0.5, 30))
@settings(max_examples=150, deadline=None)
def test_the_most_that_comes_out_is_most(
    problem: tuple[Envelope, Balance, list[Balance], float], aboard: float
) -> None:
    envelope, empty, loads, station = problem
    assume(inside(envelope, empty, loads, station, 0.0))
    free = ballast_free(envelope, empty, loads, station, aboard)
    assert free is not None
    assert 0.0 <= free <= aboard
    assert inside(envelope, empty, loads, station, -free)
    for out in np.linspace(free, aboard, 40)[1:]:
        assert out <= free + 1e-6 or not inside(envelope, empty, loads, station, -float(out))
