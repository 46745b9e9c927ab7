r"""The shop's hand: the exact posterior of how much resin a shop leaves, from parts that were weighed.

    h      = ln of the shop's factor on the published take-up, for one fabric of one form in one process
    root  ~ N(-v_r/2, v_r),  form ~ N(root - v_f/2, v_f),  fabric ~ N(form - v_c/2, v_c)
    y_i    = ln((weighed - rest) / resin),  y_i | h ~ (1 - e) N(h - s_i^2/2, s_i^2) + e N(0, w^2)
    s_i^2  = part_spread^2 + (rest_spread_i exp(-h) / resin_i)^2

with v_r, v_f and a part of v_c making up the published variance between shops, the rest of v_c being the roll's
tolerance and what a shop keeps of the film on the faces. Every factor has mean 1, which is what the halves of the
variances are for. The tree is summed exactly, by passing messages on grids: no sampling, no normal approximation, and
any number of wrong entries. The model is stated and argued in docs/calibration-model.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROOT_SHARE, FORM_SHARE, FABRIC_SHARE = 0.60, 0.25, 0.15
"""How the published variance between shops divides: what a shop does in a process whatever it lays, what it does with
one form, and with one fabric. The project's choice; no source."""
WRONG = 0.03
"""Chance that an entry is simply wrong: another part, another unit, a misread scale. The project's choice."""
WRONG_SPREAD = 1.5
"""Spread of ln factor in a wrong entry: anything between a fifth and five times. [-]"""
LEAST = 0.02
"""Least factor that the logarithm is taken of; a weight below all but the resin is wrong, not -inf. [-]"""

_POINTS = 401
_REACH = 8.0
_MANY = 3000


@dataclass(frozen=True)
class Parts:
    """Weighed parts of one fabric, each an element of every array.

    Attributes:
        factor: (weighed - rest) / resin, the factor on the published take-up. [-]
        noise: rest_spread / resin, at a factor of 1. [-]
        part_spread: Of ln take-up between parts of one shop. [-]
        cloth_spread: Of the roll and the shop's share of the film, as a spread of ln take-up, of all of them. [-]
    """

    factor: Floats
    noise: Floats
    part_spread: Floats
    cloth_spread: float

    @property
    def log(self) -> Floats:
        """Natural logarithm of the factor, kept finite."""
        return np.log(np.maximum(self.factor, LEAST))


@dataclass(frozen=True)
class Belief:
    """A density on a grid.

    Attributes:
        at: Grid of h. [-]
        share: Probability that each point of the grid stands for; sums to 1.
    """

    at: Floats
    share: Floats

    @property
    def mean(self) -> float:
        """Of h. [-]"""
        return float(self.share @ self.at)

    @property
    def variance(self) -> float:
        """Of h. [-]"""
        return float(self.share @ (self.at - self.mean) ** 2)

    @property
    def log_mean_factor(self) -> float:
        """Logarithm of the mean of exp(h). [-]"""
        top = float(self.at.max())
        return top + math.log(float(self.share @ np.exp(self.at - top)))

    def quantile(self, level: float) -> float:
        """The h below which this share of the belief lies, by linear interpolation."""
        total = np.cumsum(self.share) - 0.5 * self.share
        return float(np.interp(level, total, self.at))


@dataclass(frozen=True)
class Learnt:
    """What the parts of one process taught.

    Attributes:
        root: Belief of the shop's hand in the process.
        forms: By form.
        fabrics: By form and fabric.
    """

    root: Belief
    forms: dict[str, Belief]
    fabrics: dict[tuple[str, str], Belief]


@dataclass(frozen=True, slots=True)
class Start:
    """What another shop's record says of a form: a normal likelihood of h. [-]"""

    mean: float
    spread: float


@dataclass
class _Fabric:
    parts: Parts
    at: Floats
    widths: Floats
    like: Floats
    kernel: Floats
    up: Floats = field(default_factory=lambda: np.zeros(0))


def log_likelihood(at: Floats, parts: Parts) -> Floats:
    """Logarithm of the likelihood of all parts at each h.

    Args:
        at: (m,) values of h. [-]
        parts: n parts.

    Returns:
        (m,) sums over the parts.
    """
    total = np.zeros(len(at))
    logs = parts.log
    step = max(1, 400_000 // max(len(at), 1))
    for first in range(0, len(logs), step):
        cut = slice(first, first + step)
        good, bad = _densities(at, logs[cut], parts.noise[cut], parts.part_spread[cut])
        total += np.log(good + bad[:, None]).sum(axis=0)
    return total


def _densities(at: Floats, logs: Floats, noise: Floats, part_spread: Floats) -> tuple[Floats, Floats]:
    """Density of each part if it is as it should be, (n, m), and if its entry is wrong, (n,)."""
    variance = part_spread[:, None] ** 2 + (noise[:, None] * np.exp(-at)[None, :]) ** 2
    off = logs[:, None] - at[None, :] + 0.5 * variance
    good = (1 - WRONG) * np.exp(-0.5 * off * off / variance) / np.sqrt(2 * np.pi * variance)
    bad = WRONG * np.exp(-0.5 * (logs / WRONG_SPREAD) ** 2) / (math.sqrt(2 * math.pi) * WRONG_SPREAD)
    return good, bad


def chance_good(belief: Belief, parts: Parts) -> Floats:
    """Chance that each entry is not a wrong one, under the belief that all of them gave: (n,)."""
    at, share = belief.at, belief.share
    if len(parts.factor) > _MANY:  # a belief this narrow is a point to any single part
        at, share = np.array([belief.mean]), np.ones(1)
    good, bad = _densities(at, parts.log, parts.noise, parts.part_spread)
    chance: Floats = (good / (good + bad[:, None])) @ share
    return chance


def learn(groups: Mapping[tuple[str, str], Parts], shop_spread: float, starts: Mapping[str, Start]) -> Learnt:
    """The posterior of a shop's hand in one process.

    Args:
        groups: Parts by form and fabric.
        shop_spread: Published spread of ln take-up between shops. [-]
        starts: By form: what another shop's record says.

    Returns:
        Beliefs at every level.
    """
    grid = _grid(shop_spread)
    fabrics = {key: _fabric(parts, grid, shop_spread) for key, parts in groups.items()}
    for one in fabrics.values():
        one.up = _log_up(one.kernel, np.log(one.widths) + one.like)
    forms = dict.fromkeys([*(form for form, _ in groups), *starts])
    own: dict[str, Floats] = {}
    for form in forms:
        own[form] = sum((one.up for (of, _), one in fabrics.items() if of == form), np.zeros(len(grid)))
        if form in starts:
            own[form] = own[form] - 0.5 * ((grid - starts[form].mean) / starts[form].spread) ** 2
    step = math.log(grid[1] - grid[0])
    between = _between_levels(shop_spread)
    up = {form: _log_up(between, own[form] + step) for form in forms}
    root_spread = math.sqrt(ROOT_SHARE) * shop_spread
    root = _log_normal(grid, -0.5 * root_spread**2, root_spread) + sum(up.values(), np.zeros(len(grid)))
    found_forms, found_fabrics = {}, {}
    for form in forms:
        prior = _log_down(between, root - up[form] + step)
        here = prior + own[form]
        found_forms[form] = _belief(grid, here + step)
        for (of, fabric), one in fabrics.items():
            if of == form:
                down = _log_down(one.kernel, here - one.up + step)
                found_fabrics[of, fabric] = _belief(one.at, down + one.like + np.log(one.widths))
    return Learnt(_belief(grid, root + step), found_forms, found_fabrics)


def _grid(shop_spread: float) -> Floats:
    return -0.5 * shop_spread**2 + shop_spread * np.linspace(-_REACH, _REACH, _POINTS)


def _fabric(parts: Parts, grid: Floats, shop_spread: float) -> _Fabric:
    """The likelihood of one fabric's parts, on a grid that is fine where it has to be."""
    spread = math.sqrt(FABRIC_SHARE * shop_spread**2 + parts.cloth_spread**2)
    middle, width = _where(parts, grid)
    near = middle + width * np.linspace(-8.0, 8.0, 129)
    at = near if len(parts.factor) > _MANY else np.union1d(grid, near)
    like = log_likelihood(at, parts)
    return _Fabric(parts, at, _widths(at), like - float(like.max()), _kernel(grid, at, spread))


def _where(parts: Parts, grid: Floats) -> tuple[float, float]:
    """Where the likelihood peaks, and how wide it is there; of a long record a sample is looked at first."""
    if len(parts.factor) <= _MANY:
        return _peak(grid, parts)
    pick = slice(None, None, len(parts.factor) // 1000)
    some = Parts(parts.factor[pick], parts.noise[pick], parts.part_spread[pick], parts.cloth_spread)
    middle, width = _peak(grid, some)
    middle, width = _peak(middle + width * np.linspace(-4.0, 4.0, 33), some)
    return _peak(middle + width * np.linspace(-6.0, 6.0, 49), parts)


def _peak(at: Floats, parts: Parts) -> tuple[float, float]:
    middle = float(at[int(np.argmax(log_likelihood(at, parts)))])
    variance = parts.part_spread**2 + (parts.noise * math.exp(-middle)) ** 2
    return middle, 1.0 / math.sqrt(float(np.sum(1.0 / variance)))


def _widths(at: Floats) -> Floats:
    """Trapezium weights of an uneven grid."""
    steps = np.diff(at)
    widths = np.zeros(len(at))
    widths[:-1] += 0.5 * steps
    widths[1:] += 0.5 * steps
    return widths


def _log_normal(at: Floats, mean: float, spread: float) -> Floats:
    return -0.5 * ((at - mean) / spread) ** 2 - math.log(spread * math.sqrt(2 * math.pi))


def _kernel(parent: Floats, child: Floats, spread: float) -> Floats:
    off = (child[None, :] - parent[:, None] + 0.5 * spread**2) / spread
    kernel: Floats = np.exp(-0.5 * off * off) / (spread * math.sqrt(2 * math.pi))
    return kernel


@lru_cache(maxsize=8)
def _between_levels(shop_spread: float) -> Floats:
    """Kernel from the process's hand to a form's, on the common grid; the same for every part of every shop."""
    grid = _grid(shop_spread)
    return _kernel(grid, grid, math.sqrt(FORM_SHARE) * shop_spread)


def _log_up(kernel: Floats, log_weights: Floats) -> Floats:
    """Logarithm of the sum over the child, at each parent."""
    return _log_sum(lambda weights: kernel @ weights, log_weights)


def _log_down(kernel: Floats, log_weights: Floats) -> Floats:
    """Logarithm of the sum over the parent, at each child."""
    return _log_sum(lambda weights: weights @ kernel, log_weights)


def _log_sum(over: Callable[[Floats], Floats], log_weights: Floats) -> Floats:
    top = float(log_weights.max())
    with np.errstate(divide="ignore"):
        found: Floats = np.log(over(np.exp(log_weights - top))) + top
    return np.maximum(found, -1e6)


def _belief(at: Floats, log_share: Floats) -> Belief:
    share = np.exp(log_share - float(log_share.max()))
    return Belief(at, share / float(share.sum()))


def value_of_more(variance: float, noises: Sequence[float]) -> list[float]:
    """Variance of h left after one, two, ... more parts of these spreads: the conjugate rule, no wrong entries. [-]"""
    left, found = variance, []
    for noise in noises:
        left = 1.0 / (1.0 / left + 1.0 / noise**2)
        found.append(left)
    return found
