"""Two weighed versions of one part, each with its own layup: what the difference is made of.

Each of the five things that may differ (process, plies, core, finish and extras, area) is put from the heavier version
into the lighter one, in every order; a thing's share is the mean of what it changed over all orders (Shapley's rule,
which divides the whole without a remainder and needs no order). What the scale says beyond the two predictions stays
unexplained, and stands beside the interval that it may be chance in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import factorial

import numpy as np

from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.spread import Floats, Interval, interval
from layup.weight.compare import ProcessShare, process_for, process_share
from layup.weight.weigh import weigh_layup

THINGS = ("process", "plies", "core", "finish", "area")


@dataclass(frozen=True, slots=True)
class Division:
    """The difference between two weighed versions, divided.

    Attributes:
        heavier: Name of the heavier version.
        lighter: Name of the lighter version.
        difference: Weighed. [kg]
        shares: By thing: what it takes off the heavier version, with its interval. [kg]
        predicted: The sum of the shares, with its interval. [kg]
        unexplained: Difference less predicted. [kg]
        chance: Whether the unexplained rest lies inside what two builds differ by anyway.
        alone: What the change of process alone explains, on the heavier version's layup.
    """

    heavier: str
    lighter: str
    difference: float
    shares: dict[str, Interval]
    predicted: Interval
    unexplained: float
    chance: bool
    alone: ProcessShare


def divide(first: tuple[str, Job, float], second: tuple[str, Job, float]) -> Division:
    """Divide the difference between two weighed versions of a part.

    Args:
        first: Name, part file as read, and weighed mass [kg] of one version.
        second: The same of the other.

    Returns:
        The division, the heavier version first.

    Raises:
        LayupError: A figure that a mixture of the two needs is in no table.
    """
    heavy, light = (first, second) if first[2] >= second[2] else (second, first)
    drawn = {mix: _drawn(heavy[1], light[1], mix) for mix in _mixes(THINGS)}
    count = len(THINGS)
    shares: dict[str, Interval] = {}
    for thing in THINGS:
        others = tuple(t for t in THINGS if t != thing)
        change: Floats = np.zeros(1)
        mean = 0.0
        for mix in _mixes(others):
            weight = factorial(len(mix)) * factorial(count - len(mix) - 1) / factorial(count)
            with_it = drawn[frozenset({*mix, thing})]
            change = change + weight * (drawn[mix][0] - with_it[0])
            mean += weight * (drawn[mix][1] - with_it[1])
        shares[thing] = interval(np.broadcast_to(change, drawn[frozenset()][0].shape).copy(), mean)
    start, end = drawn[frozenset()], drawn[frozenset(THINGS)]
    apart = start[0] - np.roll(end[0], 1)  # two builds: each has its own luck
    predicted = interval(apart, start[1] - end[1])
    difference = heavy[2] - light[2]
    made = [(name, job.part.process, mass) for name, job, mass in (heavy, light)]
    return Division(
        heavier=heavy[0],
        lighter=light[0],
        difference=difference,
        shares=shares,
        predicted=predicted,
        unexplained=difference - predicted.mean,
        chance=predicted.holds(difference),
        alone=process_share(heavy[1], made[0], made[1]),
    )


def _mixes(things: Sequence[str]) -> list[frozenset[str]]:
    return [frozenset(chosen) for size in range(len(things) + 1) for chosen in combinations(things, size)]


def _drawn(heavy: Job, light: Job, taken: frozenset[str]) -> tuple[Floats, float]:
    """Mass of the heavier version with these things taken from the lighter one: drawn, and its mean. [kg]"""
    source = {thing: light if thing in taken else heavy for thing in THINGS}
    place = source["area"]
    process = source["process"].part
    finish = source["finish"].part
    part = place.part.model_copy(
        update={
            "process": process.process,
            "resin": process.resin,
            "vacuum": process.vacuum,
            "altitude": process.altitude,
            "ply": _stacked(source["plies"], source["core"], place),
            "stack": None,
            "fabric": None,
            "finish": [f.model_copy(update={"zone": f.zone if f.zone in place.zones else None}) for f in finish.finish],
            "extra": finish.extra,
        }
    )
    job = replace(place, part=part, library=heavy.library)
    weighed = weigh_layup(job, process_for(job, process.process, own=True))
    return weighed.drawn, weighed.mass.mean


def _stacked(cloth: Job, cored: Job, place: Job) -> list[PlyEntry]:
    """The plies of one version with the cores of another where they lie between its own, on a third one's surface."""
    fabric = [_placed(p, cloth, place) for p in _singly(cloth) if p.fabric is not None]
    listed = _singly(cored)
    below = np.cumsum([p.fabric is not None for p in listed])
    found = list(fabric)
    for number in reversed([n for n, p in enumerate(listed) if p.core is not None]):
        at = round(float(below[number]) / max(int(below[-1]), 1) * len(fabric))
        found.insert(at, _placed(listed[number], cored, place))
    return found


def _singly(job: Job) -> list[PlyEntry]:
    """The layup, a line for each ply."""
    return [p.model_copy(update={"count": 1}) for p in job.part.plies() for _ in range(p.count)]


def _placed(ply: PlyEntry, own: Job, place: Job) -> PlyEntry:
    """A ply on another version's surface: of a zone that is not there, its share of the whole."""
    if ply.zone is None or ply.zone == WHOLE or ply.zone in place.zones:
        return ply
    share = own.zones[ply.zone].area / own.surface.whole.area
    return ply.model_copy(update={"zone": None, "area": share * place.surface.whole.area})
