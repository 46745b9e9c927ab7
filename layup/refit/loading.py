"""The refit's load cases against its limits: what is inside, how surely, and what the ballast says."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from layup.refit.balance import Balance, level_arm
from layup.refit.envelope import Checked, Envelope, ballast_free, ballast_needed, envelope_of
from layup.refit.items import around
from layup.refit.job import RefitJob
from layup.refit.ledger import Ledger
from layup.refit.plausible import sound
from layup.spread import Interval


@dataclass(frozen=True, slots=True)
class BallastWord:
    """What one place for ballast says.

    Attributes:
        name: Of the place.
        arm: [m]
        aboard: What lies there now. [kg]
        needed: The least to add there that brings every case inside; 0 if none; None if none there will do. [kg]
        free: The most that may come out there; None if the cases are not inside then. [kg]
        too_much: Whether the need is more than the place may hold.
        balances: Where `needed` is None: the least that brings every centre of gravity inside, were it not that a case
            is too heavy or too light then; None if none does. [kg]
    """

    name: str
    arm: float
    aboard: float
    needed: float | None
    free: float | None
    too_much: bool
    balances: float | None = None


@dataclass(frozen=True)
class Loading:
    """Every load case against the limits.

    Attributes:
        envelope: The limits.
        names: Of the cases.
        sums: Each case with the empty aircraft. [kg, kg m]
        checked: Room to each limit.
        cg: Centre of gravity of each case, 90 % (the load is taken as certain). [m]
        unsure: Cases inside whose interval reaches over a limit.
        ballast: Place by place.
        empty_fault: "forward" or "aft" if the empty aircraft is outside the limits for it, else "".
    """

    envelope: Envelope
    names: tuple[str, ...]
    sums: tuple[Balance, ...]
    checked: Checked
    cg: tuple[Interval, ...]
    unsure: tuple[int, ...]
    ballast: tuple[BallastWord, ...]
    empty_fault: str

    @property
    def all_inside(self) -> bool:
        """Whether every case and the empty aircraft hold every limit."""
        return bool(np.all(self.checked.inside)) and not self.empty_fault

    def outside(self) -> list[int]:
        """The cases that break a limit."""
        return [int(case) for case in np.flatnonzero(~self.checked.inside)]


_LEVELS = 10  # steps from what is in a tank down to nothing


def burnt(job: RefitJob) -> list[Balance]:
    """What each load case adds while its tanks are flown empty, one after the other; what is in them first. [kg, kg m]

    A case without a tank is there once.
    """
    tanks = {tank.name: tank for tank in job.refit.tank}
    found = []
    for case in job.loads:
        found.append(case.sum)
        for aboard in case.aboard:
            if aboard.name not in tanks or aboard.mass <= 0.0:
                continue
            tank = tanks[aboard.name]
            rows = [(head.si, arm.si) for head, arm in tank.arm]
            full = tank.holds.si * tank.density.si
            for step in range(_LEVELS):
                left = aboard.mass * step / _LEVELS
                moment = case.sum.moment - aboard.mass * aboard.arm + left * level_arm(left / full, rows)
                found.append(Balance(case.sum.mass - aboard.mass + left, moment))
    return found


def load_cases(job: RefitJob, ledger: Ledger) -> Loading | None:
    """Check every load case of a refit file.

    Returns:
        The cases against the limits; None where the file has no load case.

    Raises:
        LayupError: The ledger leaves nothing of the aircraft.
    """
    sound(ledger)
    if not job.loads:
        return None
    envelope, empty = envelope_of(job.refit.limits), ledger.empty
    loads = [case.sum for case in job.loads]
    sums = tuple(Balance(empty.mass + load.mass, empty.moment + load.moment) for load in loads)
    checked = envelope.check(np.array([s.mass for s in sums]), np.array([s.moment for s in sums]))
    spreads = _spreads(ledger, sums)
    room = np.minimum(checked.forward, checked.aft)
    unsure = tuple(
        case for case in range(len(sums)) if checked.inside[case] and spreads[case].p95 - sums[case].cg > room[case]
    )
    words = tuple(_ballast(job, envelope, empty, loads, number) for number in range(len(job.refit.ballast)))
    names = tuple(case.name for case in job.loads)
    return Loading(
        envelope=envelope,
        names=names,
        sums=sums,
        checked=checked,
        cg=spreads,
        unsure=unsure,
        ballast=words,
        empty_fault=_empty_fault(job, empty),
    )


def _spreads(ledger: Ledger, sums: tuple[Balance, ...]) -> tuple[Interval, ...]:
    """Intervals of the loaded centres of gravity, to first order: var = (v_PP - 2 x v_MP + x^2 v_MM) / M^2.

    A final weighing leaves nothing to the predictions.
    """
    if ledger.final is not None:
        return tuple(Interval(s.cg, s.cg, s.cg) for s in sums)
    mass: dict[str, float] = {}
    moment: dict[str, float] = {}
    signs = {"removed": -1.0, "added": 1.0, "moved": 0.0}
    for item in ledger.items:
        for name, value in item.causes:
            mass[name] = mass.get(name, 0.0) + signs[item.action] * value
            moment[name] = moment.get(name, 0.0) + item.lever * value
    m, p = np.array(list(mass.values())), np.array(list(moment.values()))
    v_mm, v_mp, v_pp = float(m @ m), float(m @ p), float(p @ p)
    found = []
    for s in sums:
        variance = max(v_pp - 2.0 * s.cg * v_mp + s.cg * s.cg * v_mm, 0.0) / s.mass**2
        found.append(around(s.cg, [("all", math.sqrt(variance))]))
    return tuple(found)


def _ballast(job: RefitJob, envelope: Envelope, empty: Balance, loads: list[Balance], number: int) -> BallastWord:
    entry = job.refit.ballast[number]
    aboard = entry.aboard.si if entry.aboard else 0.0
    needed = ballast_needed(envelope, empty, loads, entry.arm.si)
    free = ballast_free(envelope, empty, loads, entry.arm.si, aboard) if aboard else 0.0
    too_much = needed is not None and entry.holds is not None and needed + aboard > entry.holds.si + 1e-9
    balances = None
    if needed is None:
        open_ended = replace(envelope, least=0.0, most=math.inf)
        balances = ballast_needed(open_ended, empty, loads, entry.arm.si)
    return BallastWord(
        name=entry.name, arm=entry.arm.si, aboard=aboard, needed=needed, free=free, too_much=too_much, balances=balances
    )


def _empty_fault(job: RefitJob, empty: Balance) -> str:
    limits = job.refit.limits
    if limits.empty_forward and empty.cg < limits.empty_forward.si - 1e-9:
        return "forward"
    if limits.empty_aft and empty.cg > limits.empty_aft.si + 1e-9:
        return "aft"
    return ""
