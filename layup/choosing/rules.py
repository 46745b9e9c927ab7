"""The rules of `[needs]` that a stack keeps or breaks whatever it carries: how many plies, where, and in what runs.

The search lays only stacks that keep them; a neighbour of its answer may not. Which one does it break?   broken_rule
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from layup.choosing.batch import CORE
from layup.choosing.shelf import Bench
from layup.partfile.needs import Needs


def broken_rule(bench: Bench, stack: Sequence[int], needs: Needs) -> str:
    """The rule that a stack breaks.

    Args:
        bench: Whose options the stack is written in.
        stack: Option numbers from the mould up, the core as -1.
        needs: What the part has to do.

    Returns:
        The rule as the part file writes it, and how it is broken: "least_skin = 2: 1 ply on a side of the core"; empty
        where every rule is kept.
    """
    plies = [index for index in stack if index != CORE]
    if CORE in stack:
        at = list(stack).index(CORE)
        skin = min(at, len(stack) - at - 1)
        if skin < needs.least_skin:
            return f"least_skin = {needs.least_skin}: {_plies(skin)} on a side of the core"
    if len(plies) < needs.least_plies:
        return f"least_plies = {needs.least_plies}: {_plies(len(plies))}"
    if needs.most_plies is not None and len(plies) > needs.most_plies:
        return f"most_plies = {needs.most_plies}: {_plies(len(plies))}"
    run = max((len(list(alike)) for index, alike in groupby(stack) if index != CORE), default=0)
    if needs.run_at_most is not None and run > needs.run_at_most:
        return f"run_at_most = {needs.run_at_most}: {run} alike together"
    if needs.surface_ply is not None and plies and not all(bench.options.surface[k] for k in (plies[0], plies[-1])):
        return f'surface_ply = "{needs.surface_ply}": another ply lies outermost'
    return ""


def _plies(count: int) -> str:
    return "1 ply" if count == 1 else f"{count} plies"
