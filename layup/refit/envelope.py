"""Every load case against the limits, the worst of them, and the ballast that is needed or may come out.

Is a load case inside?                             Envelope.check
Which case is worst, ahead, aft and in weight?     Checked.worst_forward, worst_aft, heaviest
How little ballast brings every case inside?       ballast_needed
How much may come out with every case inside?      ballast_free

A limit may change with weight: straight lines between its rows. Where ballast is added, the weight grows with it, so
the limit it must reach is the one at the new weight; along one straight piece of a limit, a + b m, that is a quadratic
in the ballast, and its roots are exact. What is at a limit is inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from layup.refit.balance import Balance
from layup.refit.model import LimitsEntry

Floats = NDArray[np.float64]

SLACK_LENGTH = 1e-9
"""What rounding may put outside a limit before it counts. [m]"""
SLACK_MASS = 1e-9
"""The same in weight. [kg]"""


@dataclass(frozen=True)
class Checked:
    """Load cases against the limits, in the order given.

    Attributes:
        mass: Of each case, (n,). [kg]
        cg: (n,). [m]
        forward: How far behind the forward limit, negative outside, (n,). [m]
        aft: How far ahead of the aft limit, negative outside, (n,). [m]
        over: How much over the highest weight, negative below, (n,). [kg]
        under: How much under the least weight, negative above, (n,). [kg]
    """

    mass: Floats
    cg: Floats
    forward: Floats
    aft: Floats
    over: Floats
    under: Floats

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Whether each case holds every limit, (n,)."""
        return (
            (self.forward >= -SLACK_LENGTH)
            & (self.aft >= -SLACK_LENGTH)
            & (self.over <= SLACK_MASS)
            & (self.under <= SLACK_MASS)
        )

    @property
    def worst_forward(self) -> int:
        """The case nearest the forward limit, or furthest over it."""
        return int(np.argmin(self.forward))

    @property
    def worst_aft(self) -> int:
        """The case nearest the aft limit, or furthest over it."""
        return int(np.argmin(self.aft))

    @property
    def heaviest(self) -> int:
        """The heaviest case."""
        return int(np.argmax(self.mass))

    @property
    def worst(self) -> int:
        """The case with the least room to either limit of the centre of gravity."""
        return int(np.argmin(np.minimum(self.forward, self.aft)))

    def faults_of(self, case: int) -> tuple[str, ...]:
        """Which limits a case breaks: "forward", "aft", "too heavy", "too light"; none if it is inside."""
        found = []
        if self.forward[case] < -SLACK_LENGTH:
            found.append("forward")
        if self.aft[case] < -SLACK_LENGTH:
            found.append("aft")
        if self.over[case] > SLACK_MASS:
            found.append("too heavy")
        if self.under[case] > SLACK_MASS:
            found.append("too light")
        return tuple(found)


@dataclass(frozen=True)
class Envelope:
    """The limits of weight and centre of gravity.

    Attributes:
        least: Lowest weight it is drawn for. [kg]
        most: Highest weight. [kg]
        forward: Rows of a weight [kg] and the forward limit there [m], from light to heavy.
        aft: The same of the aft limit.
    """

    least: float
    most: float
    forward: tuple[tuple[float, float], ...]
    aft: tuple[tuple[float, float], ...]

    def limits_at(self, mass: Floats) -> tuple[Floats, Floats]:
        """Forward and aft limits at weights.

        Args:
            mass: Any shape. [kg]

        Returns:
            Both limits, of that shape. [m]
        """
        ahead, behind = (np.array(rows) for rows in (self.forward, self.aft))
        return np.interp(mass, ahead[:, 0], ahead[:, 1]), np.interp(mass, behind[:, 0], behind[:, 1])

    def check(self, mass: Floats, moment: Floats) -> Checked:
        """Load cases against the limits.

        Args:
            mass: Of each case, (n,). [kg]
            moment: (n,). [kg m]

        Returns:
            The room each case has. [m, kg]
        """
        mass = np.asarray(mass, dtype=np.float64)
        cg = np.asarray(moment, dtype=np.float64) / mass
        ahead, behind = self.limits_at(mass)
        return Checked(mass, cg, cg - ahead, behind - cg, mass - self.most, self.least - mass)

    def outline(self) -> list[tuple[float, float]]:
        """Corners (cg [m], mass [kg]) once round, from the light forward corner up, across and down."""
        ahead = _within(self.forward, self.least, self.most)
        behind = _within(self.aft, self.least, self.most)
        return [(x, m) for m, x in ahead] + [(x, m) for m, x in reversed(behind)]

    def pieces(self, side: str) -> list[tuple[float, float]]:
        """The straight pieces of a limit, x = a + b m, beyond its end rows too. [m, m/kg]"""
        rows = self.forward if side == "forward" else self.aft
        found = [(rows[0][1], 0.0), (rows[-1][1], 0.0)]
        for (low, first), (high, second) in pairwise(rows):
            slope = (second - first) / (high - low)
            found.append((first - slope * low, slope))
        return list(dict.fromkeys(found))


def envelope_of(limits: LimitsEntry) -> Envelope:
    """The envelope of a `[limits]` table; without `least` it reaches down to nothing."""
    return Envelope(
        limits.least.si if limits.least else 0.0,
        limits.most.si,
        tuple((mass.si, arm.si) for mass, arm in limits.forward),
        tuple((mass.si, arm.si) for mass, arm in limits.aft),
    )


def crossed_rows(envelope: Envelope) -> bool:
    """Whether the forward limit lies behind the aft one at some weight in use."""
    masses = np.array([m for m, _ in (*envelope.forward, *envelope.aft)] + [envelope.least, envelope.most])
    ahead, behind = envelope.limits_at(np.clip(masses, envelope.least, envelope.most))
    return bool(np.any(ahead >= behind))


def ballast_needed(envelope: Envelope, empty: Balance, loads: Sequence[Balance], station: float) -> float | None:
    """The least ballast at a station that brings every load case inside.

    Args:
        envelope: The limits.
        empty: The aircraft without it. [kg, kg m]
        loads: What each case adds. [kg, kg m]
        station: Where the ballast goes. [m]

    Returns:
        Its mass, 0 if none is needed; None if no ballast there will do. [kg]
    """
    mass, moment = _cases(empty, loads)
    if bool(np.all(envelope.check(mass, moment).inside)):
        return 0.0
    amounts = _roots(envelope, mass, moment, station)
    amounts = np.unique(amounts[amounts > 0.0])
    return _first(envelope, mass, moment, station, amounts)


def ballast_free(
    envelope: Envelope, empty: Balance, loads: Sequence[Balance], station: float, aboard: float
) -> float | None:
    """The most of the ballast at a station that may come out with every load case still inside.

    Args:
        envelope: The limits.
        empty: The aircraft with the ballast. [kg, kg m]
        loads: What each case adds. [kg, kg m]
        station: Where the ballast is. [m]
        aboard: How much lies there. [kg]

    Returns:
        Mass that may come out, 0 if none; None if a case is outside however much comes out. [kg]
    """
    mass, moment = _cases(empty, loads)
    amounts = _roots(envelope, mass, moment, station)
    amounts = np.unique(np.append(-amounts[(amounts < 0.0) & (amounts > -aboard)], [0.0, aboard]))[::-1]
    found = _first(envelope, mass, moment, station, -amounts)
    return None if found is None else -found or 0.0


def _cases(empty: Balance, loads: Sequence[Balance]) -> tuple[Floats, Floats]:
    table = np.array([(load.mass, load.moment) for load in loads] or [(0.0, 0.0)], dtype=np.float64)
    return empty.mass + table[:, 0], empty.moment + table[:, 1]


def _roots(envelope: Envelope, mass: Floats, moment: Floats, station: float) -> Floats:
    """Every ballast at which a case lies on a limit: of centre of gravity, or of weight. [kg]"""
    found: list[Floats] = [envelope.most - mass, envelope.least - mass]
    for side in ("forward", "aft"):
        for a, b in envelope.pieces(side):
            # moment + w station = (a + b (mass + w)) (mass + w)
            second, first = -b, station - a - 2.0 * b * mass
            rest = moment - a * mass - b * mass * mass
            with np.errstate(divide="ignore", invalid="ignore"):
                if second == 0.0:
                    found.append(-rest / first)
                    continue
                root = np.sqrt(first * first - 4.0 * second * rest)
                half = -0.5 * (first + np.copysign(root, first))
                found += [half / second, rest / half]
    amounts = np.concatenate(found)
    return amounts[np.isfinite(amounts)]


def _first(envelope: Envelope, mass: Floats, moment: Floats, station: float, amounts: Floats) -> float | None:
    """The first of some amounts of ballast with which every case is inside."""
    for chunk in np.array_split(amounts, max(1, len(amounts) * len(mass) // 1_000_000)):
        heavy = mass[None, :] + chunk[:, None]
        checked = envelope.check(heavy, moment[None, :] + chunk[:, None] * station)
        good = np.flatnonzero(np.all(checked.inside, axis=1))
        if len(good):
            return float(chunk[good[0]])
    return None


def _within(rows: tuple[tuple[float, float], ...], least: float, most: float) -> list[tuple[float, float]]:
    """Rows of a limit between two weights, its ends cut or carried on to them."""
    masses, arms = np.array(rows).T
    inner = [(m, x) for m, x in rows if least < m < most]
    low, high = (float(np.interp(m, masses, arms)) for m in (least, most))
    return [(least, low), *inner, (most, high)]
