"""A layup that was looked for: its plies in words, what it weighs, what it costs, how stiff it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from layup.choosing.batch import CORE, Batch
from layup.choosing.checks import Checker
from layup.choosing.seek import Found
from layup.choosing.shelf import with_layup
from layup.laminate.panel_model import strip_stiffness
from layup.partfile.job import Job
from layup.partfile.model import PlyEntry
from layup.spread import Interval
from layup.weight.compare import process_for
from layup.weight.cost import Cost, material_cost
from layup.weight.weigh import weigh_layup

Tell = Callable[[str, int, float], None]
"""Told what is being done, how many stacks were looked at, and the areal weight reached."""


@dataclass(frozen=True)
class Layup:
    """A layup that was looked for, with what it weighs and costs.

    Attributes:
        label: Why it is listed.
        found: The stack and its checks.
        process: Name.
        lines: Fabric or core, angle and count, from the mould up.
        mass: Of the whole part. [kg]
        thickness: With the films on its faces. [m]
        cost: Of the material.
        stiffness: Mean deflection of the panel under an even kilopascal [m], or the lesser strip stiffness [N m].
        plies: Number of plies, the core not counted.
        entries: As the part file writes them, zones included.
        local: Zones with plies of their own, and those plies.
    """

    label: str
    found: Found = field(repr=False)
    process: str
    lines: tuple[tuple[str, float, int, float], ...]
    mass: Interval
    thickness: float
    cost: Cost
    stiffness: float
    plies: int
    entries: tuple[PlyEntry, ...] = field(repr=False)
    local: tuple[tuple[str, tuple[tuple[str, float, int, float], ...]], ...] = ()

    @property
    def words(self) -> str:
        """The stack in one line."""
        text = " / ".join(_line_words(line) for line in self.lines)
        for zone, lines in self.local:
            text += f"; {zone}: " + " / ".join(_line_words(line) for line in lines)
        return text

    @property
    def passed(self) -> bool:
        """Whether it passes every check."""
        return bool(self.found.assessment.passed[0])

    @property
    def governs(self) -> tuple[str, float]:
        """The check with the smallest reserve, and that reserve."""
        reserves = self.found.assessment.reserves[0]
        if not len(reserves):
            return "nothing", float("inf")
        at = int(np.argmin(reserves))
        return self.found.assessment.kinds[at].name, float(reserves[at])


def layup_of(
    job: Job,
    checker: Checker,
    found: Found,
    label: str,
    patches: Sequence[tuple[str, Sequence[int]]] = (),
    stiffness: float | None = None,
) -> Layup:
    """A stack as a layup of the part: weighed with the plies its zones keep, and priced.

    Args:
        job: The part file, read.
        checker: The checks.
        found: The stack.
        label: Why it is listed.
        patches: Zones and the option numbers of their own plies, from the base outwards.
        stiffness: Where it is known already.
    """
    bench = found.batch.bench
    lines, entries = _lines(found.batch, found.stack)
    chosen_zones = {place.zone for place in checker.needs.local}
    local = []
    for zone, patch in patches:
        if patch:
            own, more = _lines(found.batch, patch, zone)
            local.append((zone, tuple(own)))
            entries += more
    kept = [p for p in job.part.plies() if (p.zone is not None or p.area is not None) and p.zone not in chosen_zones]
    made = with_layup(job, bench.process.name, [*entries, *kept])
    weighed = weigh_layup(made, process_for(made, bench.process.name, own=bench.own), own_process=bench.own)
    return Layup(
        label=label,
        found=found,
        process=bench.process.name,
        lines=tuple(lines),
        mass=weighed.mass,
        thickness=weighed.thickness.mean,
        cost=material_cost(made, weighed),
        stiffness=stiffness if stiffness is not None else stiffness_of(checker, found.batch),
        plies=sum(line[2] for line in lines),
        entries=tuple(entries),
        local=tuple(local),
    )


def _lines(
    batch: Batch, stack: Sequence[int], zone: str | None = None
) -> tuple[list[tuple[str, float, int, float]], list[PlyEntry]]:
    """Plies with their counts: name, angle, count, and a core's thickness."""
    entries: list[PlyEntry] = []
    lines: list[tuple[str, float, int, float]] = []
    for index in stack:
        if index == CORE:
            assert batch.core is not None
            entries.append(PlyEntry.model_construct(core=batch.core.name, thickness=batch.core.thickness))
            lines.append((batch.core.name, 0.0, 0, batch.core.thickness))
            continue
        choice = batch.bench.plies[index]
        count = 1
        if lines and lines[-1][:2] == (choice.fabric, choice.angle) and lines[-1][2]:
            count = lines[-1][2] + 1
            lines.pop()
            entries.pop()
        lines.append((choice.fabric, choice.angle, count, 0.0))
        entries.append(PlyEntry.model_construct(fabric=choice.fabric, angle=choice.angle, count=count, zone=zone))
    return lines, entries


def stiffness_of(checker: Checker, batch: Batch) -> float:
    """Mean deflection of the panel under an even kilopascal [m]; the lesser strip stiffness [N m] without a panel."""
    if checker.model is None:
        return float(strip_stiffness(batch.d).min())
    return float(checker.mean_sag(batch)[0])


def times_as_stiff(checker: Checker, new: float, old: float) -> float:
    """How many times as stiff, of two figures of `stiffness_of`."""
    return new / old if checker.model is None else old / new


def _line_words(line: tuple[str, float, int, float]) -> str:
    name, angle, count, thick = line
    if not count:
        return f"{name} {thick * 1e3:g} mm"
    return f"{count} x {name} at {angle:g}°" if count > 1 else f"{name} at {angle:g}°"
