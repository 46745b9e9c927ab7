"""What one ply more or less buys: the neighbours of a chosen layup, each judged by every check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layup.choosing.batch import CORE, Assessment, Batch, d_of
from layup.choosing.checks import Checker
from layup.choosing.layups import Layup, stiffness_of, times_as_stiff
from layup.choosing.rules import broken_rule
from layup.choosing.shelf import Bench, CoreChoice
from layup.partfile.job import Job


@dataclass(frozen=True)
class Step:
    """One change to the chosen layup, and what it buys.

    Attributes:
        change: In words.
        mass: More or less. [kg]
        stiffness: Times as stiff. [-]
        passed: Whether it still passes: every check, and every rule of the needs.
        governs: The check with the smallest reserve.
        reserve: That reserve. [-]
        breaks: The rule of the needs that it breaks, and how; empty where it keeps them all.
    """

    change: str
    mass: float
    stiffness: float
    passed: bool
    governs: str
    reserve: float
    breaks: str = ""


def neighbours(job: Job, checker: Checker, best: Layup, benches: Sequence[Bench]) -> list[Step]:
    """One ply more, one less, the next core, the other process."""
    batch = best.found.batch
    bench, core, stack = batch.bench, batch.core, list(best.found.stack)
    area = job.surface.whole.area
    steps: list[Step] = []
    seen: set[tuple[int, ...]] = {tuple(stack)}

    def weigh(b: Bench, c: CoreChoice | None, s: Sequence[int]) -> float:
        return float(b.areal_weight(c, np.array([list(s)]))[0])

    def judge(b: Bench, c: CoreChoice | None, s: Sequence[int]) -> tuple[float, Assessment, Batch]:
        one = Batch(b, c, np.array([list(s)]), d_of(b, c, s)[None], np.array([weigh(b, c, s)]))
        result = checker.assess(one)
        return float(result.least[0]), result, one

    def add(change: str, b: Bench, c: CoreChoice | None, s: Sequence[int]) -> None:
        least, result, one = judge(b, c, s)
        if checker.shell is not None and result.passed[0]:  # curved: on its own surface too
            result = result.beside(checker.on_surface(one))
            least = float(result.least[0])
        at = int(np.argmin(result.reserves[0])) if result.kinds else -1
        name = result.kinds[at].name if at >= 0 else "nothing"
        breaks = broken_rule(b, s, checker.needs)
        mass = (weigh(b, c, s) - best.found.areal_weight) * area
        times = times_as_stiff(checker, stiffness_of(checker, one), best.stiffness)
        steps.append(
            Step(
                change=change,
                mass=mass,
                stiffness=times,
                passed=bool(result.passed[0]) and not breaks,
                governs=name,
                reserve=least,
                breaks=breaks,
            )
        )

    def best_of(stacks: Sequence[list[int]]) -> list[int]:
        """What keeps the rules goes first, then what has the larger reserve; the first of several alike."""
        found: list[tuple[bool, float]] = [(False, 0.0)] * len(stacks)
        kinds = [(len(s), s.index(CORE) if core is not None else 0) for s in stacks]
        for kind in set(kinds):
            some = [k for k, own in enumerate(kinds) if own == kind]
            rows = np.array([stacks[k] for k in some])
            d = np.array([d_of(bench, core, stacks[k]) for k in some])
            result = checker.assess(Batch(bench, core, rows, d, bench.areal_weight(core, rows)))
            for k, least in zip(some, result.least, strict=True):
                found[k] = not broken_rule(bench, stacks[k], checker.needs), float(least)
        return stacks[max(range(len(stacks)), key=lambda k: found[k])]

    half = len(stack) // 2
    symmetric = stack == stack[::-1]
    for index in dict.fromkeys(i for i in stack if i != CORE):
        words = _ply_words(bench, index)
        variants = []
        for at in range(len(stack)):
            if stack[at] != index:
                continue
            drop = {at, len(stack) - 1 - at} if symmetric else {at}
            less = [v for k, v in enumerate(stack) if k not in drop]
            plies_left = [k for k, v in enumerate(less) if v != CORE]
            enough = len(plies_left) >= (2 if core else 1) and (not core or (less[0] != CORE and less[-1] != CORE))
            if enough and tuple(less) not in seen:
                variants.append(less)
        if variants:
            less = best_of(variants)
            seen.add(tuple(less))
            gone = len(stack) - len(less)
            add(f"without {'one' if gone == 1 else 'a pair of'} {words}", bench, core, less)
    for fabric in dict.fromkeys(p.fabric for k, p in enumerate(bench.plies) if bench.options.inside[k]):
        variants = []
        for index, choice in enumerate(bench.plies):
            if choice.fabric != fabric or not bench.options.inside[index]:
                continue
            if symmetric and (core is not None or len(stack) % 2):
                spots = [
                    [*stack[:at], index, *stack[at : len(stack) - at], index, *stack[len(stack) - at :]]
                    for at in range(half + (0 if core else 1))
                ]
            elif symmetric:
                spots = [[*stack[:half], index, *stack[half:]]]
            else:
                spots = [[*stack[:at], index, *stack[at:]] for at in range(len(stack) + 1)]
            variants += [s for s in spots if tuple(s) not in seen]
        if variants:
            more = best_of(variants)
            pair = len(more) - len(stack) == 2
            where = next((k for k, (u, v) in enumerate(zip(more, stack, strict=False)) if u != v), len(stack))
            add(f"{'a pair' if pair else 'one'} more of {_ply_words(bench, more[where])}", bench, core, more)
    for other in bench.cores:
        if core is not None and other is not core:
            add(f"{other.name} of {other.thickness * 1e3:g} mm instead", bench, other, stack)
    for other_bench in benches:
        if other_bench is bench:
            continue
        names = {(p.fabric, p.angle): k for k, p in enumerate(other_bench.plies)}
        same = [CORE if i == CORE else names.get((bench.plies[i].fabric, bench.plies[i].angle), -2) for i in stack]
        alike = (
            None
            if core is None
            else next((c for c in other_bench.cores if c.name == core.name and c.thickness == core.thickness), None)
        )
        if -2 not in same and (core is None or alike is not None):
            add(f"the same, {other_bench.process.name}", other_bench, alike, same)
    return steps


def _ply_words(bench: Bench, index: int) -> str:
    choice = bench.plies[index]
    return f"{choice.fabric} at {choice.angle:g}°"
