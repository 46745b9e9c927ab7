"""The part as it stands, judged as the search judges: its weight, its price, and every check of the plies laid now.

It is weighed as every layup of the choice is: by the tables, and by the shop's habits where the choice counts them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from layup.choosing.batch import CORE, Batch, d_of
from layup.choosing.choice import Choice
from layup.choosing.layups import Layup, layup_of, stiffness_of
from layup.choosing.seek import Found
from layup.choosing.shelf import Bench, stock
from layup.errors import LayupError
from layup.partfile.job import Job
from layup.partfile.model import PlyEntry
from layup.partfile.needs import Shelf, ShelfCore
from layup.spread import Interval
from layup.weight.compare import process_for
from layup.weight.cost import Cost, material_cost
from layup.weight.weigh import weigh_layup


@dataclass(frozen=True)
class Standing:
    """The part as it stands.

    Attributes:
        mass: Of the whole part. [kg]
        thickness: With the films on its faces. [m]
        cost: Of the material.
        process: Name.
        layup: With its checks; None where these can't be made.
        why: Why not; empty where they were made.
    """

    mass: Interval
    thickness: float
    cost: Cost
    process: str
    layup: Layup | None = field(repr=False)
    why: str


def standing(choice: Choice) -> Standing | None:
    """The part as it stands, beside a choice made for it.

    Returns:
        How it stands; None where the part has no plies to weigh.
    """
    job = choice.job
    try:
        weighed = weigh_layup(job, process_for(job, job.part.process, own=True))
    except LayupError:
        return None
    cost = material_cost(job, weighed)
    bare = Standing(weighed.mass, weighed.thickness.mean, cost, job.part.process, None, "")
    try:
        layup = _judged(choice)
    except LayupError as error:
        return replace(bare, why=str(error))
    return replace(bare, layup=replace(layup, mass=weighed.mass, thickness=bare.thickness, cost=cost))


def _judged(choice: Choice) -> Layup:
    """The plies laid over the whole surface, through every check.

    Raises:
        LayupError: They can't be judged as one stack, or a figure is missing.
    """
    job, checker = choice.job, choice.searches.checker
    plies = [p for p in job.part.plies() if p.zone in (None, "whole") and p.area is None]
    written = [p for p in plies for _ in range(p.count)]
    cores = [k for k, p in enumerate(written) if p.core]
    if not any(p.fabric for p in written):
        raise LayupError("no ply lies over the whole surface, so there is no stack to check")
    if len(cores) > 1 or (cores and cores[0] in (0, len(written) - 1)):
        raise LayupError("only a stack with one core between plies can be checked")
    bench = _bench(choice, written)
    stack = [CORE if p.core else _option(bench, p) for p in written]
    core = bench.cores[0] if cores else None
    d = d_of(bench, core, stack)
    batch = Batch(bench, core, np.array([stack]), d[None], bench.areal_weight(core, np.array([stack])))
    if checker.model is not None:
        checker = replace(checker, model=checker.model.with_layup(checker.layups(batch)[0]))
    found = Found(batch, checker.assess(batch))
    layup = layup_of(job, checker, found, "as it stands", stiffness=stiffness_of(checker, batch))
    lines = _lines(written, core.thickness if core else 0.0)
    return replace(layup, lines=tuple(lines), entries=tuple(plies))


def _bench(choice: Choice, written: Sequence[PlyEntry]) -> Bench:
    """What the part itself is laid of, in its own process and at its own angles."""
    job: Job = choice.job
    fabrics = list(dict.fromkeys(p.fabric for p in written if p.fabric))
    cores = [ShelfCore.model_construct(core=p.core, thickness=p.thickness) for p in written if p.core]
    shelf = Shelf.model_construct(fabrics=fabrics, cores=cores, processes=[job.part.process], solid=True)
    angles = list(dict.fromkeys(float(p.angle) for p in written if p.fabric))
    needs = choice.needs.model_copy(update={"angles": angles, "surface_ply": None, "local": []})
    bench = stock(job, needs, shelf)[0]
    if {p.fabric for p in bench.plies} != set(fabrics):
        raise LayupError(" ".join(bench.notes) or "not every ply can be laid in the part's own process")
    return bench


def _option(bench: Bench, entry: PlyEntry) -> int:
    """Number of the option that is this ply; a cloth at 90 is the same as at 0."""
    alike = [k for k, p in enumerate(bench.plies) if p.fabric == entry.fabric]
    wanted = replace(bench.plies[alike[0]], angle=float(entry.angle)).qbar
    return min(alike, key=lambda k: float(np.abs(bench.plies[k].qbar - wanted).max()))


def _lines(written: Sequence[PlyEntry], thick: float) -> list[tuple[str, float, int, float]]:
    """Plies as the file has them, equal neighbours together."""
    lines: list[tuple[str, float, int, float]] = []
    for entry in written:
        if entry.core:
            lines.append((entry.core, 0.0, 0, thick))
            continue
        angle, count = float(entry.angle), 1
        if lines and lines[-1][2] and lines[-1][:2] == (entry.fabric, angle):
            count = lines.pop()[2] + 1
        lines.append((str(entry.fabric), angle, count, 0.0))
    return lines
