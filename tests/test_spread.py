"""Intervals: their means, ends and shared causes."""

from __future__ import annotations

import numpy as np
from pytest import approx

from layup.spread import DRAWS, Z90, around_one, interval, skewed_around_one, standard_normal


def test_a_normal_variable_has_the_moments_and_ends_of_its_name() -> None:
    values = standard_normal("anything")
    assert values.shape == (DRAWS,)
    assert float(values.mean()) == approx(0.0, abs=1e-12)
    assert float(values.std()) == approx(1.0, abs=2e-3)
    found = interval(values)
    assert (found.p05, found.p95) == approx((-Z90, Z90), abs=2e-3)


def test_one_cause_is_shared_and_two_are_independent() -> None:
    assert np.array_equal(standard_normal("area"), standard_normal("area"))
    correlation = np.corrcoef(standard_normal("area"), standard_normal("cloth"))[0, 1]
    assert abs(correlation) < 4 / np.sqrt(DRAWS)  # four standard errors of no correlation


def test_factors_have_mean_one_and_are_never_negative() -> None:
    for spread in (0.02, 0.3, 0.9):
        skewed = skewed_around_one("hand", spread)
        assert float(skewed.mean()) == approx(1.0, abs=1e-12)
        assert skewed.min() > 0
        assert float(np.log(skewed).std()) == approx(spread, rel=5e-3)
    assert around_one("coat", 2.0).min() == 0.0


def test_a_plain_number_is_certain() -> None:
    assert interval(2.0) == interval(2.0, 2.0)
    assert interval(2.0).p05 == interval(2.0).p95 == 2.0
