"""Side by side: one part in every process, and the new part against what it replaces.

- What would it weigh wet, bagged, infused, from prepreg?     `compare_processes`
- What is saved, as mass, share and moment?                   `saving`
- How much of two weighed versions can the process explain?   `process_share`
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from layup.errors import LayupError, VacuumError
from layup.laminate.process import Process, settle
from layup.partfile.clashes import clash
from layup.partfile.job import Job
from layup.spread import Floats, Interval, interval
from layup.weight.cost import Cost, material_cost
from layup.weight.replaced import Replaced
from layup.weight.weigh import Weighed, weigh_layup

STANDARD_PROCESSES = ("wet", "vacuum bag", "infusion", "prepreg")
"""The four that every part is compared in, lightest hand last."""


@dataclass(frozen=True)
class Alternative:
    """The part in one process."""

    process: str
    chosen: bool
    weighed: Weighed = field(repr=False)
    cost: Cost
    saving: Interval | None
    resin_name: str


def process_for(job: Job, name: str, *, own: bool) -> Process:
    """A process of the tables at the job's altitude, and at its vacuum where it has a bag, by the shop's habits."""
    material = job.library.get("process", name)
    vacuum = job.part.vacuum
    if not own and material.word("bag") is None:
        vacuum = None
    return replace(settle(material, vacuum, job.part.altitude, job.part.hand), habits=job.habits)


def compare_processes(job: Job, own: Weighed, replaced: Replaced | None) -> tuple[Alternative, ...]:
    """The part in the four standard processes, and in its own if that is another.

    Returns:
        The alternatives in the order wet, vacuum bag, infusion, prepreg, the shop's own last.
    """
    names = list(STANDARD_PROCESSES)
    if own.process.name not in names:
        names.append(own.process.name)
    found = []
    for name in names:
        chosen = name == own.process.name
        weighed = own if chosen else _weigh_in(job, name)
        if weighed is None or (not chosen and unfit(job, weighed)):
            continue
        fabric = next(layer for layer in weighed.layers if layer.kind == "fabric")
        gain = interval(replaced.drawn - weighed.drawn, replaced.mass.mean - weighed.mass.mean) if replaced else None
        found.append(Alternative(name, chosen, weighed, material_cost(job, weighed), gain, fabric.resin_name))
    return tuple(found)


def partly_weighed(alternatives: Sequence[Alternative]) -> str:
    """What to know where the shop's weigh-ins correct some of the compared processes only; empty where they don't.

    Args:
        alternatives: As `compare_processes` gives them.
    """
    ours, others = [], []
    for one in alternatives:
        taken = [layer.take_up for layer in one.weighed.layers if layer.take_up is not None]
        if any(take_up.habit is not None for take_up in taken):
            ours.append(one.process)
        elif any(take_up.learns for take_up in taken):
            others.append(one.process)
    if not ours or not others:
        return ""
    return (
        f"Not compared like with like: {' and '.join(ours)} by this shop's weigh-ins; the other processes "
        f"({', '.join(others)}) are by published figures: the shop has weighed none of them."
    )


def unfit(job: Job, weighed: Weighed) -> str:
    """What melts, floods or is crushed in a process that a part is compared in; empty where nothing is."""
    process = weighed.process
    resins = {layer.resin_name for layer in weighed.layers}
    for layer in weighed.layers:
        for resin in sorted(resins) if layer.kind == "core" else ():
            core, wet = job.library.get("core", layer.name), job.library.get("resin", resin)
            found = clash(process.material, process.pressure, core, wet)
            if found is not None:
                return f"{core.name}: {found.wrong}"
    return ""


def left_out(job: Job, alternatives: Sequence[Alternative]) -> str:
    """Why some of the four processes are not compared; empty where all are.

    Args:
        job: The part file, read.
        alternatives: As `compare_processes` gives them.
    """
    there = {one.process for one in alternatives}
    unknown, told = [], []
    for name in STANDARD_PROCESSES:
        weighed = None if name in there else _weigh_in(job, name)
        if weighed is not None:
            told.append(f"{name} ({unfit(job, weighed)})")
        elif name not in there:
            unknown.append(name)
    if unknown:
        told.append(f"for want of a figure for this cloth, {', '.join(unknown)}")
    return "Not compared: " + "; ".join(told) + "." if told else ""


def _weigh_in(job: Job, name: str) -> Weighed | None:
    """Weigh in a process that is only compared with; None where it has no figure for one of the forms."""
    try:
        return weigh_layup(job, process_for(job, name, own=False), own_process=False)
    except VacuumError:
        raise
    except LayupError:
        return None


@dataclass(frozen=True, slots=True)
class Saving:
    """What the new part saves against the old.

    Attributes:
        mass: Old less new; negative where the new part is heavier. [kg]
        fraction: Of the old mass. [-]
        moment: Old moment less new about the datum; None without arms. [kg m]
        cost_per_mass: Money per kg saved, and its currency; None without prices or without a saving.
    """

    mass: Interval
    fraction: float
    moment: float | None
    cost_per_mass: tuple[float, str] | None


def saving(job: Job, weighed: Weighed, replaced: Replaced, cost: Cost) -> Saving:
    """The saving of the part as it is against what it replaces."""
    mean = replaced.mass.mean - weighed.mass.mean
    mass = interval(replaced.drawn - weighed.drawn, mean)
    old_moment = replaced.moment()
    moment = None
    if old_moment is not None and job.part.arm is not None:
        moment = old_moment - weighed.mass.mean * job.part.arm
    single = cost.single
    per = (single[0] / mean, single[1]) if single and mean > 0 else None
    fraction = mean / replaced.mass.mean if replaced.mass.mean > 0 else 0.0
    return Saving(mass, fraction, moment, per)


@dataclass(frozen=True, slots=True)
class ProcessShare:
    """How much of the difference between two weighed versions the process can explain.

    Attributes:
        heavier: Name of the heavier version.
        lighter: Name of the lighter version.
        difference: Heavier less lighter. [kg]
        fraction: Of the heavier. [-]
        explained: What the change of process alone takes off the heavier version's laminate. [kg]
        share: explained.mean over difference. [-]
        enough: Whether the process alone can explain the whole difference (it lies inside the interval).
        rest: Difference less explained.mean, not below 0. [kg]
    """

    heavier: str
    lighter: str
    difference: float
    fraction: float
    explained: Interval
    share: float
    enough: bool
    rest: float


def process_share(job: Job, heavy: tuple[str, str, float], light: tuple[str, str, float]) -> ProcessShare:
    """Divide the difference between two weighed versions into what the process explains and the rest.

    The layup of the part file gives the ratio of its weight in the two processes; the same ratio taken off the heavier
    version is what the process can explain. The rest is filler, paint, plies, core or area.

    Args:
        job: The part file, read; the cloth of both versions.
        heavy: Name, process and weighed mass [kg] of the heavier version.
        light: The same of the lighter.

    Raises:
        LayupError: A process has no figure for the cloth.
    """
    name_h, process_h, mass_h = heavy
    name_l, process_l, mass_l = light
    ratio: Floats
    if process_h == process_l:
        weighed = weigh_layup(job, process_for(job, process_h, own=False), own_process=False)
        ratio = weighed.drawn / np.roll(weighed.drawn, 1)  # the order is random: a neighbour is another part
        mean = 1.0
    else:
        weighed_h = weigh_layup(job, process_for(job, process_h, own=False), own_process=False)
        weighed_l = weigh_layup(job, process_for(job, process_l, own=False), own_process=False)
        ratio = weighed_l.drawn / weighed_h.drawn
        mean = weighed_l.mass.mean / weighed_h.mass.mean
    explained = interval(mass_h * (1 - ratio), mass_h * (1 - mean))
    difference = mass_h - mass_l
    enough = explained.p95 >= difference
    share = explained.mean / difference if difference > 0 else 1.0
    return ProcessShare(
        heavier=name_h,
        lighter=name_l,
        difference=difference,
        fraction=difference / mass_h,
        explained=explained,
        share=share,
        enough=enough,
        rest=max(difference - explained.mean, 0.0),
    )
