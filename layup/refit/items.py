"""One item of the ledger: what came out, went in or moved, what it weighs, how that is known, and where it is.

An item carries what makes its weight stray, cause by cause, so that items which share a cause (the shop's hand, the
cloth) stray together when they are added up, and what belongs to one part alone (its area, its luck) does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

from layup.errors import LayupError
from layup.learn.schema import Payload
from layup.spread import Z90, Interval

if TYPE_CHECKING:
    from layup.weight.prediction import Prediction

Action = Literal["removed", "added", "moved"]
How = Literal["weighed", "predicted", "listed"]
SIGNS: dict[str, int] = {"removed": -1, "added": 1, "moved": 0}
ACTIONS: tuple[Action, ...] = ("removed", "added", "moved")

Causes = tuple[tuple[str, float], ...]
"""Standard deviation that each independent cause gives, with its sign. [kg]"""


@dataclass(frozen=True, slots=True)
class Item:
    """One item.

    Attributes:
        action: "removed", "added" or "moved".
        name: What it is; one of a kind among its action.
        mass: Its own, without a sign. [kg]
        how: "weighed", "predicted" or "listed".
        arm: Positive aft; where it was, if it moved. [m]
        arm_to: Where it is now, if it moved. [m]
        arm_how: How the arm is known, in words.
        causes: What makes its mass stray. [kg]
        side: Positive to the right. [m]
        height: Positive up. [m]
        mass_text: The mass as it was written; empty if it was worked out.
        arm_text: The arm as it was written; empty if it was worked out.
        date: Year-month-day, or empty.
        by: Who, free text.
        method: How, free text.
        note: Free text.
        part_file: The part file a prediction comes from.
    """

    action: Action
    name: str
    mass: float
    how: How
    arm: float
    arm_to: float | None = None
    arm_how: str = "measured"
    causes: Causes = ()
    side: float | None = None
    height: float | None = None
    mass_text: str = ""
    arm_text: str = ""
    date: str = ""
    by: str = ""
    method: str = ""
    note: str = ""
    part_file: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """What tells it from every other item."""
        return self.action, self.name

    @property
    def change(self) -> float:
        """What it does to the weight: minus off, plus on, nothing if it only moves. [kg]"""
        return SIGNS[self.action] * self.mass

    @property
    def lever(self) -> float:
        """What one kilogram of it does to the moment. [m]"""
        if self.action == "moved":
            return (self.arm_to if self.arm_to is not None else self.arm) - self.arm
        return SIGNS[self.action] * self.arm

    @property
    def moment(self) -> float:
        """What it does to the moment, with its sign. [kg m]"""
        return self.mass * self.lever

    @property
    def spread(self) -> Interval:
        """Its mass with a 90 % interval. [kg]"""
        return around(self.mass, self.causes)

    def payload(self) -> Payload:
        """As the database keeps it."""
        found = asdict(self)
        found["causes"] = [list(cause) for cause in self.causes]
        return {key: value for key, value in found.items() if value not in ("", None, [])}


def from_payload(payload: Payload) -> Item:
    """An item as the database gave it back.

    Raises:
        LayupError: It is not an item; the database was written by something else.
    """
    try:
        fields = dict(payload)
        fields["causes"] = tuple((str(name), float(value)) for name, value in fields.get("causes", ()))
        return Item(**fields)
    except (TypeError, ValueError) as error:
        raise LayupError(f"an entry of the ledger can't be read ({error}): it was written by a newer layup") from None


def around(mean: float, causes: Iterable[tuple[str, float]]) -> Interval:
    """The 90 % interval about a mean, of independent causes; ends at nothing are kept.

    Args:
        mean: [kg]
        causes: Name and standard deviation; those of one name add up before they are squared. [kg]

    Returns:
        The interval. [kg]
    """
    summed: dict[str, float] = {}
    for name, value in causes:
        summed[name] = summed.get(name, 0.0) + value
    half = Z90 * math.sqrt(math.fsum(v * v for v in summed.values()))
    return Interval(mean, mean - half, mean + half)


def stated_cause(action: str, name: str, half_width: float) -> Causes:
    """The one cause of a listed mass that is good to so much.

    Args:
        action: Of the item.
        name: Of the item.
        half_width: Nine in ten lie within this. [kg]

    Returns:
        The cause. [kg]
    """
    return ((f"stated, {action} {name}", half_width / Z90),) if half_width > 0.0 else ()


def causes_of(prediction: Prediction, which: Literal["new", "old", "saving"]) -> Causes:
    """What makes a predicted mass stray, cause by cause.

    The shop's hand, each cloth, each core and the films are shared by all parts of a shop; the part's luck, its area
    and what none of these explains belong to this part, and are named after its file.

    Args:
        prediction: Of one part.
        which: The new part, what it replaces, or the saving (old less new).

    Returns:
        Name and standard deviation with its sign. [kg]
    """
    import numpy as np

    from layup.spread import standard_normal

    weighed, replaced = prediction.weighed, prediction.replaced
    drawn = {"new": weighed.drawn, "old": replaced.drawn if replaced else 0.0 * weighed.drawn}
    values = drawn["old"] - drawn["new"] if which == "saving" else drawn[which]
    process = weighed.process.name
    own = prediction.job.file or prediction.title
    shared = [f"shop's hand, {process}", "answer to pressure", f"film, {process}", "bond"]
    learnt = max((len(habit.loads) for habit in weighed.process.habits.values()), default=0)
    shared += [f"this shop's record, {number}" for number in range(learnt)]
    shared += [f"{'core' if layer.kind == 'core' else 'cloth'}, {layer.name}" for layer in weighed.layers]
    things = (*weighed.finishes, *weighed.extras, *(replaced.items if replaced else ()))
    private = {"area": f"area, {own}", f"part's luck, {process}": f"luck, {own}"}
    private |= {thing.cause: f"{thing.cause}, {own}" for thing in things if thing.cause not in shared}
    found: dict[str, float] = {}
    rest = values - float(np.mean(values))
    variance = float(np.var(values))
    for name in dict.fromkeys([*shared, *private]):
        normal = standard_normal(name)
        slope = float(np.mean(rest * normal) / np.mean(normal * normal))
        if abs(slope) > 1e-9 * math.sqrt(variance or 1.0) and slope * slope > 1e-4 * variance:
            found[private.get(name, name)] = slope
    explained = math.fsum(v * v for v in found.values())
    if variance > explained:
        found[f"rest, {own}, {which}"] = math.sqrt(variance - explained)
    return tuple(found.items())
