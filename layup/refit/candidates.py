"""A part that could be made next: what it would save, where, for how much money and time."""

from __future__ import annotations

from dataclasses import dataclass

from layup.refit.items import Causes, around, causes_of, stated_cause
from layup.refit.model import CandidateEntry
from layup.spread import Interval
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
            entry.name, saves, moment, causes, cost, entry.hours, needs, instead_of=instead_of, part_file=file
        )
    stated = entry.saves or entry.adds
    saves = (stated.si if stated else 0.0) * (1.0 if entry.saves else -1.0)
    half = entry.give_or_take.si if entry.give_or_take else 0.0
    causes = stated_cause("candidate", entry.name, half)
    return Candidate(entry.name, saves, -saves * arm, causes, entry.cost, entry.hours, needs, instead_of=instead_of)
