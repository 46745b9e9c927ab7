"""The rules of `[needs]` that a stack keeps or breaks whatever it carries: how many plies, where, and in what runs.

- The search lays only stacks that keep them; a neighbour of its answer may not. Which one does it break?
  `broken_rule`
- What would the trade not lay, though nothing here forbids it?                                  `against_the_trade`
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np

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


def against_the_trade(bench: Bench, stack: Sequence[int]) -> list[str]:
    """What a laminator of long standing would not lay, though every check passes (common practice, no source).

    Args:
        bench: Whose options the stack is written in.
        stack: Option numbers from the mould up, the core as -1.

    Returns:
        One sentence a rule that it breaks.
    """
    plies, said = [index for index in stack if index != CORE], []
    rows = np.array(plies)
    a11, _, a22, a16, a26, _ = np.einsum("kj,k->j", bench.options.terms[rows], bench.options.thickness[rows])
    if max(abs(a16), abs(a26)) > 0.01 * (a11 + a22):
        said.append("The stack is not balanced (as much at +angle as at -angle): pulled, it shears; heated, it twists.")
    if min(a11, a22) < 0.1 * max(a11, a22):
        said.append("Less than a tenth of its stiffness runs across: what nobody thought of splits it there.")
    run = max(len(list(alike)) for index, alike in groupby(stack) if index != CORE)
    if run > MOST_TOGETHER and not bench.plies[plies[0]].cured.even:
        said.append(f"{run} plies alike lie together: a crack across them runs. Write run_at_most = {MOST_TOGETHER}.")
    sides = [stack[: list(stack).index(CORE)], stack[list(stack).index(CORE) + 1 :]] if CORE in stack else [stack]
    if any(len({bench.plies[k].fabric for k in side}) > 1 for side in sides):
        said.append("There is more than one cloth in a skin: the stiffer one carries the load, and breaks first.")
    if CORE in stack and min(len(side) for side in sides) == 1:
        said.append("One ply on a side of the core is holed by the first stone. Write least_skin = 2.")
    return said


MOST_TOGETHER = 4
"""Plies of one tape at one angle that may lie together without a remark (common practice, no source). [-]"""


def _plies(count: int) -> str:
    return "1 ply" if count == 1 else f"{count} plies"
