"""Intervals: what a prediction can be, not only what it most likely is.

Every uncertain thing (the shop's hand, the part's luck, the cloth's tolerance, the area) is a named standard normal
variable. `Draws` gives each name the same 4,001 evenly stratified values in an order fixed by the name, so that two
results that share a cause share its values: a saving on the same surface does not count the area's error twice.
`Interval` is a mean with the 5 % and 95 % points: nine parts in ten fall between them if the spreads are right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DRAWS = 4001
Z90 = NormalDist().inv_cdf(0.95)
"""Standard deviations from the mean to either end of a 90 % interval."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A mean and the ends of its 90 % interval, all in one unit."""

    mean: float
    p05: float
    p95: float

    def as_dict(self) -> dict[str, float]:
        """As the JSON contract writes it."""
        return {"mean": self.mean, "p05": self.p05, "p95": self.p95}

    def holds(self, value: float) -> bool:
        """Whether a value falls inside."""
        return self.p05 <= value <= self.p95


@lru_cache(maxsize=1)
def _strata() -> Floats:
    normal = NormalDist()
    half = [normal.inv_cdf((i + 0.5) / DRAWS) for i in range(DRAWS // 2)]
    return np.array([*half, 0.0, *(-z for z in reversed(half))])


@lru_cache(maxsize=256)
def standard_normal(name: str) -> Floats:
    """The values of the standard normal variable of this name: (DRAWS,), mean 0, always the same for the name."""
    values = np.random.default_rng(crc32(name.encode())).permutation(_strata())
    values.setflags(write=False)
    return values


def around_one(name: str, relative_spread: float) -> Floats:
    """A normal factor of mean 1.

    Args:
        name: The cause.
        relative_spread: Standard deviation over mean. [-]

    Returns:
        (DRAWS,) factors, none below 0.
    """
    return np.maximum(1.0 + relative_spread * standard_normal(name), 0.0)


def skewed_around_one(name: str, relative_spread: float) -> Floats:
    """A log-normal factor of mean 1: for a quantity that cannot be negative and strays further up than down.

    Args:
        name: The cause.
        relative_spread: Standard deviation of the logarithm. [-]

    Returns:
        (DRAWS,) factors; their mean is 1 to rounding.
    """
    factors = np.exp(relative_spread * standard_normal(name))
    return factors / float(np.mean(factors))


def along(loads: Sequence[float]) -> Floats:
    """A sum of the standard normal variables of a shop's record, so that what was learnt together strays together.

    Args:
        loads: Of each variable.

    Returns:
        (DRAWS,) values of mean 0.
    """
    total = np.zeros(DRAWS)
    for number, load in enumerate(loads):
        if load:
            total = total + load * standard_normal(f"this shop's record, {number}")
    return total


def interval(values: Floats | float, mean: float | None = None) -> Interval:
    """The interval of drawn values.

    Args:
        values: (DRAWS,) or a plain number, which is certain.
        mean: The mean, where it is known exactly; else that of the values.

    Returns:
        Mean, 5 % and 95 % points.
    """
    if isinstance(values, float | int):
        return Interval(float(values), float(values), float(values))
    low, high = np.quantile(values, [0.05, 0.95])
    return Interval(float(np.mean(values)) if mean is None else mean, float(low), float(high))
