"""Weight and balance, as arithmetic and nothing else.

What do the scales say?                                net_weight, balance
Where is the centre of gravity, before and after?      balance
Where is that on the chord?                            chord_fraction
How is the moment written in a short column?           moment_index
Where is what a tank holds?                            level_arm

One rule of signs holds everywhere: an arm is positive aft of the datum and negative ahead of it, a mass that comes
on is positive and one that goes off negative. A moment is mass times arm, so what is taken out ahead of the datum
adds moment. Any one unit of mass and one of length will do, as long as they are kept: the figures of a handbook in
pounds and inches go in and come out as they are. A moment here is mass times length, never force times length.

Source: moments about a datum (Varignon); the forms are those of FAA-H-8083-1, Aircraft Weight and Balance Handbook.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from layup.errors import RangeError


class Balance(NamedTuple):
    """What something weighs and where.

    Attributes:
        mass: [kg]
        moment: About the datum, positive aft. [kg m]
    """

    mass: float
    moment: float

    @property
    def cg(self) -> float:
        """Arm of the centre of gravity. [m]"""
        if self.mass == 0.0:
            raise RangeError("nothing weighs anything, so there is no centre of gravity")
        return self.moment / self.mass


class Index(NamedTuple):
    """A moment written short, and what the writing loses.

    Attributes:
        value: The moment over the divisor, rounded.
        loses_up_to: Half a step of the last digit, times the divisor: how far one line may be off. [kg m]
    """

    value: float
    loses_up_to: float


def net_weight(reading: float, tare: float = 0.0) -> float:
    """What stands on a scale, without the chocks and blocks that stand there too.

    Args:
        reading: Of the scale. [kg]
        tare: What chocks, blocks and jacks on the scale weigh. [kg]

    Returns:
        Reading less tare. [kg]

    Raises:
        RangeError: The tare is negative, or more than the reading.

    >>> net_weight(512.0, 4.5)
    507.5
    """
    if tare < 0.0:
        raise RangeError(f"a tare of {tare:g} is negative: write what the chocks weigh, without a sign")
    if reading < tare:
        raise RangeError(f"the tare of {tare:g} is more than the reading of {reading:g}: are they the wrong way round?")
    return reading - tare


def balance(loads: Iterable[tuple[float, float]]) -> Balance:
    """Mass and moment of loads at their arms: wheels on scales, items on a lever, entries of a list.

    Args:
        loads: Pairs of a mass, with its sign [kg], and its arm, with its sign [m].

    Returns:
        Their sum; exact in the order-free sense (correctly rounded sums). [kg, kg m]

    >>> balance([(100, 50), (100, 90), (200, 150)]).cg
    110.0
    """
    pairs = list(loads)
    return Balance(math.fsum(m for m, _ in pairs), math.fsum(m * x for m, x in pairs))


def chord_fraction(cg: float, leading_edge: float, chord: float) -> float:
    """Place of the centre of gravity on the mean aerodynamic chord.

    Args:
        cg: [m]
        leading_edge: Arm of the chord's leading edge. [m]
        chord: Its length. [m]

    Returns:
        0 at the leading edge, 1 at the trailing edge. [-]

    Raises:
        RangeError: The chord is not longer than nothing.

    >>> round(chord_fraction(663, 625.6, 760.1 - 625.6) * 100, 1)
    27.8
    """
    if not chord > 0.0:
        raise RangeError(f"a chord of {chord:g} is not longer than nothing")
    return (cg - leading_edge) / chord


def moment_index(moment: float, divisor: float, decimals: int = 0) -> Index:
    """A moment over a divisor, rounded to a number of decimals, with what the rounding may lose.

    Args:
        moment: [kg m]
        divisor: 100, 1000, ...; in the unit of the moment.
        decimals: Digits after the point. [-]

    Returns:
        The index and its rounding. [-, kg m]

    Raises:
        RangeError: The divisor is not above nothing.

    >>> moment_index(281430, 1000)
    Index(value=281.0, loses_up_to=500.0)
    """
    if not divisor > 0.0:
        raise RangeError(f"an index divides by a number above nothing, not by {divisor:g}")
    return Index(round(moment / divisor, decimals), 0.5 * 10.0**-decimals * divisor)


def level_arm(level: float, table: Sequence[tuple[float, float]]) -> float:
    """Arm of what is in a tank whose arm changes as it fills, between the rows of its table.

    Args:
        level: Share of the volume that is filled. [-]
        table: Rows of a level [-] and the arm there [m], in rising levels; one row is an arm that stays.

    Returns:
        The arm, straight between rows, that of the end row beyond them. [m]
    """
    if not table:
        raise RangeError("a tank needs an arm")
    if level <= table[0][0]:
        return table[0][1]
    for (low, first), (high, second) in pairwise(table):
        if level <= high:
            return first + (second - first) * (level - low) / (high - low)
    return table[-1][1]
