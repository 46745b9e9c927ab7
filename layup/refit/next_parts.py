"""Which part next: candidates ranked, and the set that reaches the target at least cost or hours.

What does each save, for how much, how long, and what does it do to the balance?      rank
Which set reaches the target at least cost or hours, inside limits in every case?      choose
What may the saving fall short by?                                                     Choice.saving, chance

The choice is exact. Each candidate is a yes or no; weight and moment of every load case are sums over them, so a limit
that does not change with weight is a straight constraint. Where it does, P >= m f(m) is curved in the mass: the choice
starts from a straight bound that no allowed set can break, and every answer that the true limit refuses adds a cut (the
tangent where the limit curves so that a tangent is safe, else a cut that refuses that one set). The last answer holds
every true limit and is the least of a problem with fewer constraints, so it is the least of the true one. The solver,
HiGHS through scipy.optimize.milp, is asked for no gap between the answer and its bound.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError
from layup.refit.balance import Balance
from layup.refit.candidates import Candidate
from layup.refit.envelope import SLACK_LENGTH, SLACK_MASS, Envelope
from layup.refit.items import around
from layup.spread import Z90, Interval

Floats = NDArray[np.float64]
Objective = Literal["cost", "hours"]

ROUNDS = 400
"""Cuts after which the search gives up and says that nothing is proved."""


@dataclass(frozen=True, slots=True)
class Rank:
    """One candidate among the others.

    Attributes:
        candidate: Itself.
        cost_per_mass: Money per kg saved; None without a cost or without a saving.
        hours_per_mass: Seconds of work per kg saved; None likewise. [s/kg]
        cg: Where the empty centre of gravity would be with it alone. [m]
        cg_shift: From where it is now, positive aft. [m]
        enough: Whether it reaches the target alone.
    """

    candidate: Candidate
    cost_per_mass: float | None
    hours_per_mass: float | None
    cg: float
    cg_shift: float
    enough: bool


@dataclass(frozen=True)
class Choice:
    """The set of candidates.

    Attributes:
        objective: What was to be least.
        chosen: The set, in the order given; empty where none reaches the target.
        amount: Its cost, or its hours. [money or s]
        currency: Of the cost, or "".
        saving: 90 %. [kg]
        need: What the target still asks. [kg]
        chance: That the set reaches the target, if the spreads are right. [-]
        risk: Each chosen part's share of the variance of the saving, largest first.
        proved: Whether the solver proved that no other set is better.
        reachable: The largest saving of any set that holds every limit; None if not asked for. [kg]
        empty: The aircraft with the set made. [kg, kg m]
        rounds: How often the solver was asked.
        left_out: Candidates without the cost or the hours that were needed.
    """

    objective: Objective
    chosen: tuple[Candidate, ...]
    amount: float
    currency: str
    saving: Interval
    need: float
    chance: float
    risk: tuple[tuple[str, float], ...]
    proved: bool
    reachable: float | None
    empty: Balance
    rounds: int = field(default=1, compare=False)
    left_out: tuple[str, ...] = ()


def rank(candidates: Sequence[Candidate], empty: Balance, need: float, by: str = "saving") -> list[Rank]:
    """Candidates in order.

    Args:
        candidates: What could be made.
        empty: The aircraft now. [kg, kg m]
        need: What the target still asks. [kg]
        by: "saving", "cost" (per kg saved), "hours" (per kg saved) or "balance" (how far it moves the centre of
            gravity, most first).

    Returns:
        All of them; those without the figure asked for come last.
    """
    rows = []
    for one in candidates:
        cg = (empty.moment + one.moment) / (empty.mass - one.saves)
        per_cost = one.cost[0] / one.saves if one.cost and one.saves > 0 else None
        per_hours = one.hours / one.saves if one.hours is not None and one.saves > 0 else None
        rows.append(Rank(one, per_cost, per_hours, cg, cg - empty.cg, one.saves >= need > 0))
    keys: dict[str, Callable[[Rank], float]] = {
        "saving": lambda r: -r.candidate.saves,
        "cost": lambda r: math.inf if r.cost_per_mass is None else r.cost_per_mass,
        "hours": lambda r: math.inf if r.hours_per_mass is None else r.hours_per_mass,
        "balance": lambda r: -abs(r.cg_shift),
    }
    if by not in keys:
        raise LayupError(f'nothing is ranked by "{by}". Write one of: ' + ", ".join(keys))
    return sorted(rows, key=lambda r: (keys[by](r), -r.candidate.saves, r.candidate.name))


def choose(
    candidates: Sequence[Candidate],
    empty: Balance,
    loads: Sequence[Balance],
    envelope: Envelope,
    need: float,
    objective: Objective = "cost",
    *,
    budget: float | None = None,
    hours: float | None = None,
) -> Choice:
    """The set that saves enough at least cost or hours, with every load case inside every limit.

    Among sets of the same cost or hours the one that saves most is taken.

    Args:
        candidates: What could be made.
        empty: The aircraft now. [kg, kg m]
        loads: What each load case adds. [kg, kg m]
        envelope: The limits.
        need: What must be saved. [kg]
        objective: "cost" or "hours".
        budget: Most money for the set; None for no limit.
        hours: Most work for it; None for no limit. [s]

    Returns:
        The choice; where no set reaches the target, `reachable` is given, and `chosen` is empty, or within a budget or
        hours the set that saves most. Candidates without a figure that is needed are left out, and named.

    Raises:
        LayupError: Costs come in more than one currency.
    """
    by_cost, by_hours = objective == "cost" or budget is not None, objective == "hours" or hours is not None
    bare = [c for c in candidates if (by_cost and c.cost is None) or (by_hours and c.hours is None)]
    # one that cannot be made without one that is left out is left out too
    while more := [c for c in candidates if c not in bare and any(b.name in c.needs for b in bare)]:
        bare += more
    left_out = tuple(c.name for c in candidates if c in bare)
    candidates = [c for c in candidates if c not in bare]
    prices, currency = _prices(candidates, objective)
    problem = _Problem(candidates, empty, loads, envelope)
    if budget is not None:
        problem.at_most(_prices(candidates, "cost")[0], budget)
    if hours is not None:
        problem.at_most(_prices(candidates, "hours")[0], hours)
    capped = budget is not None or hours is not None
    best = problem.solve(prices, need)
    reachable = None
    if best is None:
        most = problem.solve(-problem.saves, None)
        reachable = float(problem.saves @ most) if most is not None else None
        picked = np.zeros(len(candidates), dtype=bool)
        if capped and most is not None:
            picked = most.astype(bool)
    else:
        least = float(prices @ best)
        # Among equals the one that saves most; the bound leaves room for the solver's own tolerance only.
        try:
            richer = problem.solve(-problem.saves, need, (prices, least + 1e-7 * max(1.0, abs(least))))
        except KeyboardInterrupt:  # the best so far: the least there is, if perhaps not what saves most among equals
            richer = None
        picked = (best if richer is None or not problem.proved else richer).astype(bool)
    chosen = tuple(one for one, yes in zip(candidates, picked, strict=True) if yes)
    causes = [cause for one in chosen for cause in one.causes]
    total = math.fsum(one.saves for one in chosen)
    saving = around(total, causes)
    sigma = (saving.p95 - total) / Z90
    chance = NormalDist(total, sigma).cdf(2 * total - need) if sigma > 0 else float(total >= need)
    after = Balance(empty.mass - total, empty.moment + math.fsum(one.moment for one in chosen))
    return Choice(
        objective=objective,
        chosen=chosen,
        amount=float(prices @ picked),
        currency=currency,
        saving=saving,
        need=need,
        chance=chance,
        risk=_risk(chosen),
        proved=problem.proved,
        reachable=reachable,
        empty=after,
        rounds=problem.rounds,
        left_out=left_out,
    )


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep a stray line that some releases of the solver print, past Python, out of what this program prints."""
    import ctypes
    import os
    import sys

    if os.name != "posix" or sys.platform == "emscripten":
        yield
        return
    flush = ctypes.CDLL(None).fflush
    sys.stdout.flush()
    flush(None)
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        flush(None)
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _prices(candidates: Sequence[Candidate], objective: Objective) -> tuple[Floats, str]:
    if objective == "hours":
        return np.array([one.hours for one in candidates], dtype=np.float64), ""
    currencies = {one.cost[1] for one in candidates if one.cost}
    if len(currencies) > 1:
        raise LayupError(f"costs are in {' and '.join(sorted(currencies))}: give them all in one currency")
    return np.array([one.cost[0] for one in candidates if one.cost]), next(iter(currencies), "")


def _risk(chosen: Sequence[Candidate]) -> tuple[tuple[str, float], ...]:
    """Each part's share of the variance of the sum, cause by cause; shares add up to 1 where there is any."""
    summed: dict[str, float] = {}
    for one in chosen:
        for name, value in one.causes:
            summed[name] = summed.get(name, 0.0) + value
    total = math.fsum(value * value for value in summed.values())
    if total == 0.0:
        return ()
    shares = [(one.name, math.fsum(value * summed[name] for name, value in one.causes) / total) for one in chosen]
    return tuple(sorted(shares, key=lambda share: -share[1]))


class _Problem:
    """The yes-or-no problem, with the cuts found so far; cuts stay between solves, since all are true limits."""

    def __init__(
        self, candidates: Sequence[Candidate], empty: Balance, loads: Sequence[Balance], envelope: Envelope
    ) -> None:
        self.saves = np.array([one.saves for one in candidates], dtype=np.float64)
        self.moments = np.array([one.moment for one in candidates], dtype=np.float64)
        table = np.array([(load.mass, load.moment) for load in loads] or np.zeros((0, 2)), dtype=np.float64)
        self.mass0 = empty.mass + table[:, 0]
        self.moment0 = empty.moment + table[:, 1]
        self.envelope = envelope
        self.proved = True
        self.rounds = 0
        self.rows: list[Floats] = []
        self.lows: list[float] = []
        self.highs: list[float] = []
        self._exclusions(candidates)
        self._weights()
        self._limits()

    def _row(self, row: Floats, low: float, high: float) -> None:
        self.rows.append(row)
        self.lows.append(low)
        self.highs.append(high)

    def at_most(self, amounts: Floats, most: float) -> None:
        """Keep the sum of an amount of the chosen at or below a limit."""
        self._row(amounts, -np.inf, most + 1e-9 * max(1.0, abs(most)))

    def _exclusions(self, candidates: Sequence[Candidate]) -> None:
        place = {one.name: number for number, one in enumerate(candidates)}
        for one in candidates:
            for other in one.needs:
                row = np.zeros(len(candidates))
                row[place[one.name]], row[place[other]] = 1.0, -1.0
                self._row(row, -np.inf, 0.0)
            for other in (name for name in one.instead_of if name in place):
                row = np.zeros(len(candidates))
                row[place[one.name]] = row[place[other]] = 1.0
                self._row(row, -np.inf, 1.0)

    def _weights(self) -> None:
        """Each case between least and most: m = mass0 - saves . x."""
        if len(self.mass0):
            low = self.mass0 - self.envelope.most
            high = self.mass0 - self.envelope.least
            self._row(self.saves, float(low.max()), float(high.min()))

    def _limits(self) -> None:
        """Straight bounds P >= slope m + rest - gap that hold for every mass the case can have."""
        most_off = float(self.saves[self.saves > 0].sum())
        most_on = float(-self.saves[self.saves < 0].sum())
        self.ranges = [(m - most_off, m + most_on) for m in self.mass0]
        for case, (low, high) in enumerate(self.ranges):
            for side, sign in (("forward", 1.0), ("aft", -1.0)):
                knots = self._knots(side, low, high)
                ends = self._bound(side, np.array([low, high]))
                slope = float(ends[1] - ends[0]) / (high - low) if high > low else 0.0
                gap = self._gap(side, sign, knots, slope, float(ends[0]) - slope * low)
                self._straight(case, sign, slope, float(ends[0]) - slope * low - sign * gap)

    def _knots(self, side: str, low: float, high: float) -> list[float]:
        rows = self.envelope.forward if side == "forward" else self.envelope.aft
        return [low, *(m for m, _ in rows if low < m < high), high]

    def _bound(self, side: str, mass: Floats) -> Floats:
        """Moment at the limit, m f(m). [kg m]"""
        ahead, behind = self.envelope.limits_at(mass)
        found: Floats = mass * (ahead if side == "forward" else behind)
        return found

    def _gap(self, side: str, sign: float, knots: list[float], slope: float, rest: float) -> float:
        """How far the straight line lies on the strict side of the true limit at worst. [kg m]"""
        worst = 0.0
        for low, high in pairwise(knots):
            points = [low, high]
            (x0, x1) = self._bound(side, np.array([low, high])) / np.array([low, high])
            b = (x1 - x0) / (high - low) if high > low else 0.0
            if b:
                points.append(min(max((slope - (x0 - b * low)) / (2.0 * b), low), high))
            at = np.array(points)
            worst = max(worst, float(np.max(sign * (slope * at + rest - self._bound(side, at)))))
        return worst

    def _straight(self, case: int, sign: float, slope: float, rest: float) -> None:
        """Add sign (P - slope m - rest) >= 0 as a row in the yes-or-no values."""
        row = sign * (self.moments + slope * self.saves)
        self._row(row, -sign * float(self.moment0[case] - slope * self.mass0[case] - rest), np.inf)

    def solve(self, prices: Floats, need: float | None, cap: tuple[Floats, float] | None = None) -> Floats | None:
        """The cheapest set that holds every true limit; None where there is none.

        Args:
            prices: Of each candidate.
            need: What must be saved; None for no such demand. [kg]
            cap: Other prices and what their sum may be at most.

        Returns:
            0 or 1 for each candidate.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        count = len(prices)
        if count == 0:
            return None if need is not None and need > 0 else np.zeros(0)
        extra: list[tuple[Floats, float, float]] = []
        if need is not None:
            extra.append((self.saves, need, np.inf))
        if cap is not None:
            extra.append((cap[0], -np.inf, cap[1]))
        for _ in range(ROUNDS):
            self.rounds += 1
            rows = np.array([*self.rows, *(row for row, _, _ in extra)]).reshape(-1, count)
            lows = np.array([*self.lows, *(low for _, low, _ in extra)])
            highs = np.array([*self.highs, *(high for _, _, high in extra)])
            scale = np.maximum(np.abs(rows).max(axis=1, initial=0.0), 1e-12)
            constraints = [LinearConstraint(rows / scale[:, None], lows / scale, highs / scale)] if len(rows) else []
            with _hushed():
                found = milp(
                    prices,
                    constraints=constraints,
                    integrality=np.ones(count, dtype=np.int8),
                    bounds=Bounds(0, 1),
                    options={"mip_rel_gap": 0.0, "time_limit": 60.0},
                )
            if found.status == 2:
                return None
            if found.x is None or found.status != 0:
                self.proved = False
                return None
            picked: Floats = np.round(found.x)
            if need is not None and math.fsum(self.saves[picked > 0.5]) < need - SLACK_MASS:
                self._refuse(picked)  # short by less than the solver's tolerance
            elif self._holds(picked):
                return picked
        self.proved = False
        return None

    def _holds(self, picked: Floats) -> bool:
        """Whether a set holds every true limit; adds a cut for each one it breaks."""
        mass = self.mass0 - float(self.saves @ picked)
        moment = self.moment0 + float(self.moments @ picked)
        checked = self.envelope.check(mass, moment)
        if np.any(checked.over > SLACK_MASS) or np.any(checked.under > SLACK_MASS):
            self._refuse(picked)
            return False
        holds = True
        for side, sign, room in (("forward", 1.0, checked.forward), ("aft", -1.0, checked.aft)):
            for case in np.flatnonzero(room < -SLACK_LENGTH):
                holds = False
                if not self._tangent(int(case), side, sign, float(mass[case])):
                    self._refuse(picked)
                    return False
        return holds

    def _tangent(self, case: int, side: str, sign: float, mass: float) -> bool:
        """Add the tangent at a mass, if the limit curves so that it cuts off nothing allowed."""
        low, high = self.ranges[case]
        knots = self._knots(side, low, high)
        at = np.array(knots)
        pieces = np.diff(self._bound(side, at) / at) / np.maximum(np.diff(at), 1e-12)
        if np.any(sign * pieces < -1e-15) or np.any(np.diff(sign * pieces) < -1e-15):
            return False
        piece = min(int(np.searchsorted(at, mass, side="right")) - 1, len(pieces) - 1)
        b = float(pieces[max(piece, 0)])
        arm = float(self._bound(side, np.array([mass]))[0]) / mass
        slope = arm + b * mass
        self._straight(case, sign, slope, mass * arm - slope * mass)
        return True

    def _refuse(self, picked: Floats) -> None:
        """A cut that this one set breaks and every other holds."""
        self._row(np.where(picked > 0.5, -1.0, 1.0), 1.0 - float(picked.sum()), np.inf)
