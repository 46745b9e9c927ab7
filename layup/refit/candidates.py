"""A part that could be made next: what it would save, where, for how much money and time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from layup.refit.items import Causes, around, causes_of, stated_cause
from layup.refit.model import CandidateEntry
from layup.refit.record_words import Kept, mass_kept
from layup.spread import Interval
from layup.units import LB
from layup.weight.prediction import Prediction


@dataclass(frozen=True, slots=True)
class Candidate:
    """One candidate.

    Attributes:
        name: Unlike any other.
        saves: Old less new; negative where it adds. [kg]
        moment: New moment less old about the datum. [kg m]
        causes: What makes the saving stray, each with its sign. [kg]
        cost: Money and its currency; None where it is not known.
        hours: Of work; None where not known. [s]
        needs: Others without which it can't be made.
        instead_of: Others it can't stand beside.
        part_file: Where the prediction comes from, or empty.
    """

    name: str
    saves: float
    moment: float
    causes: Causes = ()
    cost: tuple[float, str] | None = None
    hours: float | None = None
    needs: tuple[str, ...] = ()
    instead_of: tuple[str, ...] = ()
    part_file: str = ""

    @property
    def spread(self) -> Interval:
        """The saving with its 90 % interval. [kg]"""
        return around(self.saves, self.causes)


STEPS = {"lb": 0.5 * LB, "metric": 0.25}
"""Steps in which ballast is tried. [kg]"""
_MOST_STEPS = 24  # each way; longer steps then


def ballast_steps(
    name: str, arm: float, aboard: float, holds: float | None, candidates: Sequence[Candidate], kept: Kept
) -> list[Candidate]:
    """Ballast as a choice: so much out of one place or so much more, each instead of the others, at no cost.

    Args:
        name: Of the place.
        arm: [m]
        aboard: What lies there now. [kg]
        holds: What it may hold; None for not said, and nothing is added then. [kg]
        candidates: The others, which say the currency.
        kept: Of the words: "lb" or "metric".
    """
    step = STEPS["lb" if kept == "lb" else "metric"]
    more = max((holds or 0.0) - aboard, 0.0)
    step *= max(1, math.ceil(max(aboard, more) / step / _MOST_STEPS))
    amounts = [min(n * step, aboard) for n in range(1, math.ceil(aboard / step - 1e-9) + 1)]
    amounts += [-n * step for n in range(1, math.floor(more / step + 1e-9) + 1)]
    names = [f"{mass_kept(abs(a), kept)} {'out of' if a > 0 else 'more on'} {name}" for a in amounts]
    currency = next((one.cost[1] for one in candidates if one.cost is not None), "")
    return [
        Candidate(said, a, -a * arm, cost=(0.0, currency), hours=0.0, instead_of=tuple(n for n in names if n != said))
        for said, a in zip(names, amounts, strict=True)
    ]


def read_candidate(entry: CandidateEntry, prediction: Prediction | None, placed_arm: float | None) -> Candidate:
    """A candidate from its entry.

    Args:
        entry: As written.
        prediction: Of its part file, which names what it replaces; None where the saving is stated.
        placed_arm: Of the new part, from its mesh or its file, where the entry gives none. [m]

    Returns:
        The candidate; a predicted one costs its material where the entry gives no cost.
    """
    needs, instead_of = tuple(entry.needs), tuple(entry.instead_of)
    arm = entry.arm.si if entry.arm else placed_arm or 0.0
    if prediction is not None and prediction.replaced is not None:
        replaced = prediction.replaced
        old_arm = entry.old_arm.si if entry.old_arm else None
        file_arm = prediction.job.part.arm
        old_moment = replaced.mass.mean * old_arm if old_arm is not None else None
        if old_moment is None and entry.arm is None and file_arm is not None:
            old_moment = replaced.moment()
        if old_moment is None:
            old_moment = replaced.mass.mean * arm
        saves = replaced.mass.mean - prediction.mass.mean
        cost = entry.cost or prediction.cost.single
        moment = prediction.mass.mean * arm - old_moment
        causes, file = causes_of(prediction, "saving"), entry.predicted or ""
        return Candidate(
            name=entry.name,
            saves=saves,
            moment=moment,
            causes=causes,
            cost=cost,
            hours=entry.hours,
            needs=needs,
            instead_of=instead_of,
            part_file=file,
        )
    # what comes out and what goes in, each at its own arm: one thing for another need not lie where that lay
    out = entry.saves or entry.removes
    gone, new = out.si if out else 0.0, entry.adds.si if entry.adds else 0.0
    old_arm = entry.old_arm.si if entry.old_arm else arm
    saves = gone - new
    half = entry.give_or_take.si if entry.give_or_take else 0.0
    causes = stated_cause("candidate", entry.name, half)
    return Candidate(
        name=entry.name,
        saves=saves,
        moment=new * arm - gone * old_arm,
        causes=causes,
        cost=entry.cost,
        hours=entry.hours,
        needs=needs,
        instead_of=instead_of,
    )
