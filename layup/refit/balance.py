"""Weight and balance, as arithmetic and nothing else.

What do the scales say?                                net_weight, balance
Where is the centre of gravity?                        balance, third_wheel_cg
What does one change do?                               after_adding, after_removing, after_moving
How much must move, and how far?                       mass_to_move
How much ballast brings it to a limit?                 ballast_for
How much ballast may come out before a limit?          ballast_free
Where is that on the chord?                            chord_fraction, cg_at_fraction
How is the moment written in a short column?           moment_index
What does a tank weigh?                                liquid_mass, level_arm

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


def third_wheel_cg(mains_arm: float, third_offset: float, third_load: float, total: float) -> float:
    """Centre of gravity from the load on the nose wheel or the tail wheel.

    One form serves all four of the handbook: a nose wheel has a negative offset, a tail wheel a positive one; main
    wheels ahead of the datum have a negative arm.

    Args:
        mains_arm: From the datum to the main wheels. [m]
        third_offset: From the main wheels to the third wheel, positive aft. [m]
        third_load: What the third wheel carries, net. [kg]
        total: What all wheels carry, net. [kg]

    Returns:
        Arm of the centre of gravity. [m]

    Raises:
        RangeError: Nothing on the scales, or more on one wheel than on all.

    Source: FAA-H-8083-1, "determining the center of gravity", four cases.

    >>> round(third_wheel_cg(0.0, -78.0, 340.0, 2006.0), 1)
    -13.2
    """
    if not total > 0.0:
        raise RangeError("the scales show nothing")
    if not 0.0 <= third_load <= total:
        raise RangeError(f"one wheel carries {third_load:g}, all together {total:g}: check the readings")
    return mains_arm + third_load * third_offset / total


def after_adding(old: Balance, mass: float, arm: float) -> Balance:
    """Balance after something comes on.

    Args:
        old: Before. [kg, kg m]
        mass: Of what comes on; not negative. [kg]
        arm: [m]

    Returns:
        After. [kg, kg m]
    """
    return Balance(old.mass + _mass(mass), old.moment + mass * arm)


def after_removing(old: Balance, mass: float, arm: float) -> Balance:
    """Balance after something goes off.

    Args:
        old: Before. [kg, kg m]
        mass: Of what goes off; not negative. [kg]
        arm: [m]

    Returns:
        After. [kg, kg m]

    Raises:
        RangeError: More goes off than is there.
    """
    if _mass(mass) > old.mass:
        raise RangeError(f"{mass:g} goes off and only {old.mass:g} is there")
    return Balance(old.mass - mass, old.moment - mass * arm)


def after_moving(old: Balance, mass: float, start: float, end: float) -> Balance:
    """Balance after something moves from one arm to another; the weight stays.

    Args:
        old: Before. [kg, kg m]
        mass: Of what moves; not negative. [kg]
        start: Its arm before. [m]
        end: Its arm after. [m]

    Returns:
        After. [kg, kg m]
    """
    return Balance(old.mass, old.moment + _mass(mass) * (end - start))


def mass_to_move(total: float, cg: float, wanted: float, start: float, end: float) -> float:
    """How much must move from one arm to another to bring the centre of gravity to a place.

    Args:
        total: Weight of all. [kg]
        cg: Before. [m]
        wanted: After. [m]
        start: Where the load is. [m]
        end: Where it goes. [m]

    Returns:
        Mass to move, total (wanted - cg) / (end - start). [kg]

    Raises:
        RangeError: The move goes nowhere, or the wrong way.

    >>> mass_to_move(7800, 81.5, 80.5, 150, 30)
    65.0
    """
    if start == end:
        raise RangeError("the load moves nowhere: give two arms that differ")
    mass = total * (wanted - cg) / (end - start)
    if mass < 0.0:
        raise RangeError(f"moving a load from {start:g} to {end:g} brings the centre of gravity the wrong way")
    return mass


def ballast_for(mass: float, cg: float, limit: float, station: float) -> float:
    """Ballast, permanent or temporary, that brings the centre of gravity exactly to a limit.

    The ballast itself adds weight, so the distance that counts is from the ballast to the limit where the centre of
    gravity ends, not to where it began: w = W (limit - cg) / (station - limit).

    Args:
        mass: Without the ballast: empty for permanent ballast, loaded for temporary. [kg]
        cg: Without the ballast. [m]
        limit: Where the centre of gravity must end. [m]
        station: Where the ballast goes. [m]

    Returns:
        Mass of the ballast. [kg]

    Raises:
        RangeError: Ballast at that station cannot bring it there.

    Source: FAA-H-8083-1, "ballast".

    >>> round(ballast_for(1876, 32.2, 33.0, 228), 1)
    7.7
    """
    if limit == cg:
        return 0.0
    lever = station - limit
    if lever == 0.0 or (limit - cg) / lever < 0.0:
        raise RangeError(
            f"ballast at {station:g} cannot bring the centre of gravity from {cg:g} to {limit:g}: "
            f"it must lie beyond the limit, on the far side from the centre of gravity"
        )
    return mass * (limit - cg) / lever


def ballast_free(mass: float, cg: float, limit: float, station: float) -> float:
    """Ballast at a station that may come out until the centre of gravity reaches a limit.

    Args:
        mass: With the ballast. [kg]
        cg: With the ballast. [m]
        limit: The limit on the side away from the ballast. [m]
        station: Where the ballast is. [m]

    Returns:
        Mass that may come out, mass (cg - limit) / (station - limit). [kg]

    Raises:
        RangeError: Taking ballast out there moves away from that limit, or the limit is passed already.

    >>> round(ballast_free(1883.69641, 33.0, 32.2, 228), 4)
    7.6964
    """
    lever = station - limit
    free = mass * (cg - limit) / lever if lever else -1.0
    if free < 0.0:
        raise RangeError(f"taking ballast out at {station:g} does not bring {cg:g} to {limit:g}")
    return free


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


def cg_at_fraction(fraction: float, leading_edge: float, chord: float) -> float:
    """Arm of a place on the mean aerodynamic chord.

    Args:
        fraction: 0 at the leading edge, 1 at the trailing edge. [-]
        leading_edge: Its arm. [m]
        chord: Its length. [m]

    Returns:
        The arm. [m]
    """
    if not chord > 0.0:
        raise RangeError(f"a chord of {chord:g} is not longer than nothing")
    return leading_edge + fraction * chord


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


def liquid_mass(volume: float, density: float, level: float = 1.0) -> float:
    """What a tank holds at a level.

    Args:
        volume: Of the full tank. [m^3]
        density: Of the liquid. [kg/m^3]
        level: Share of the volume that is filled. [-]

    Returns:
        Mass. [kg]

    Raises:
        RangeError: A level outside 0 to 1, or a negative volume or density.

    >>> liquid_mass(75, 6.0)
    450.0
    """
    if not 0.0 <= level <= 1.0:
        raise RangeError(f"a level of {level:g} is outside 0 to 1")
    if volume < 0.0 or density < 0.0:
        raise RangeError("a tank's volume and the density of what is in it are not negative")
    return volume * density * level


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


def _mass(value: float) -> float:
    if value < 0.0:
        raise RangeError(f"a mass of {value:g} is negative: say whether it comes on or goes off, without a sign")
    return value
