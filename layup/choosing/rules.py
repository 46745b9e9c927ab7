"""The rules of `[needs]` that a stack keeps or breaks whatever it carries: how many plies, where, and in what runs.

- The search lays only stacks that keep them; a neighbour of its answer may not. Which one does it break?
  `broken_rule`
- Which of them are rules of the trade, kept unless dropped, and how does the search keep them?  `rule_limits`,
  `by_cloth`
- What would the trade not lay, where its rules are dropped?                                     `against_the_trade`
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Ints
from layup.choosing.shelf import MOST_TOGETHER, Bench
from layup.laminate.panel_model import Limit
from layup.laminate.search import Options
from layup.partfile.needs import Needs


def broken_rule(bench: Bench, stack: Sequence[int], needs: Needs) -> str:
    """The rule that a stack breaks.

    Args:
        bench: Whose options the stack is written in.
        stack: Option numbers from the mould up, the core as -1.
        needs: What the part has to do.

    Returns:
        The rule in words and how it is broken: "your rule, at least 2 plies on each side of the core: 1 ply on a side";
        empty where every rule is kept.
    """
    plies = [index for index in stack if index != CORE]
    sides = _sides(stack)
    if CORE in stack:
        skin, due = min(len(side) for side in sides), needs.fewest_on_a_side
        if skin < due:
            said = _rule(f"at least {_plies(due)} on each side of the core", needs.least_skin)
            return f"{said}: {_plies(skin)} on a side"
    if len(plies) < needs.fewest_plies:
        return f"{_rule(f'at least {_plies(needs.fewest_plies)}', needs.least_plies)}: {_plies(len(plies))}"
    if needs.most_plies is not None and len(plies) > needs.most_plies:
        return f"your rule, at most {_plies(needs.most_plies)}: {_plies(len(plies))}"
    counted, most = bench.options.in_runs, bench.options.most_alike
    run = max((len(list(alike)) for index, alike in groupby(stack) if counted[index]), default=0)
    if most and run > most:
        said = f"at most {_plies(most)} alike together"
        word = f"your rule, {said}" if needs.run_at_most else f'the trade\'s rule "short runs", {said} of a tape'
        return f"{word}: {_plies(run)}"
    outer = [bench.plies[k] for k in plies[:1] + plies[-1:]]
    if needs.keeps("45 outermost") and any(abs(abs(p.angle + p.cured.turn) % 90 - 45) >= 1 for p in outer):
        return '"45 outermost": another angle lies there'
    if needs.surface_ply is not None and plies and not all(bench.options.surface[k] for k in (plies[0], plies[-1])):
        return f'your rule, "{needs.surface_ply}" outermost: another ply lies there'
    inner = [[k for k in side if needs.surface_ply is None or not bench.options.surface[k]] for side in sides]
    if needs.keeps("one cloth") and len({bench.plies[k].fabric for side in inner for k in side}) > 1:
        return '"one cloth": there is more than one in it'
    a11, a22, a16, a26 = _flat(bench, plies)
    if needs.keeps("balanced") and max(abs(a16), abs(a26)) > UNBALANCED * (a11 + a22):
        return '"balanced": not as much at +angle as at -angle'
    if needs.keeps("a tenth across") and min(a11, a22) < ACROSS * max(a11, a22):
        return f'"a tenth across": {min(a11, a22) / max(a11, a22):.2f} of its stiffness runs across'
    return ""


UNBALANCED, ACROSS = 0.01, 0.1
"""A16 and A26 over A11 + A22 that counts as balanced; least of A11 and A22 over the greater (common practice, no
source). [-]"""


def rule_limits(needs: Needs) -> list[Limit]:
    """The rules of the trade that are linear in A, as limits that every stack of the search keeps.

    None where stacks need not be symmetric: their A stands for one that bends as it is pulled; see `balanced_enough`.
    """
    out: list[Limit] = []
    if not needs.symmetric:
        return out
    rows: list[dict[int, float]] = []
    if needs.keeps("balanced"):
        rows += [{6: UNBALANCED, 8: UNBALANCED, at: sign} for at in (9, 10) for sign in (1.0, -1.0)]
    if needs.keeps("a tenth across"):
        rows += [{6: 1.0, 8: -ACROSS}, {8: 1.0, 6: -ACROSS}]
    for row in rows:
        g = np.zeros(12)
        for at, value in row.items():
            g[at] = value
        out.append((g, 0.0, 0.0))
    return out


def balanced_enough(bench: Bench, stacks: Ints, needs: Needs) -> NDArray[np.bool_]:
    """Which stacks, (n, k), keep the rules of the trade that are linear in A: balanced, and a tenth across."""
    terms = np.concatenate([bench.options.terms, np.zeros((1, 6))])[stacks]
    a = np.einsum("nkj,nk->nj", terms, np.append(bench.options.thickness, 0.0)[stacks])
    high, low = np.maximum(a[:, 0], a[:, 2]), np.minimum(a[:, 0], a[:, 2])
    kept = np.ones(len(stacks), dtype=bool)
    if needs.keeps("balanced"):
        kept &= np.abs(a[:, 3:5]).max(axis=1) <= UNBALANCED * (high + low)
    if needs.keeps("a tenth across"):
        kept &= low >= ACROSS * high
    return kept


def by_cloth(bench: Bench, needs: Needs) -> list[Options]:
    """What a ply may be, once for each cloth where one cloth is the rule; the surface ply may be another."""
    own = bench.options
    if not needs.keeps("one cloth"):
        return [own]
    out = []
    for fabric in dict.fromkeys(p.fabric for k, p in enumerate(bench.plies) if own.inside[k]):
        alike = np.array([p.fabric == fabric for p in bench.plies])
        surface = own.surface & alike if needs.surface_ply is None else own.surface
        out.append(replace(own, inside=own.inside & alike, surface=surface))
    return out


def _rule(what: str, written: int | None) -> str:
    """A rule in words, and whose it is."""
    return f"your rule, {what}" if written else f'the trade\'s rule "two plies", {what}'


def _sides(stack: Sequence[int]) -> list[list[int]]:
    """The skins, or the whole stack where it has no core."""
    row = list(stack)
    return [row[: row.index(CORE)], row[row.index(CORE) + 1 :]] if CORE in row else [row]


def _flat(bench: Bench, plies: Sequence[int]) -> tuple[float, float, float, float]:
    """A11, A22, A16, A26. [N/m]"""
    rows = np.array(plies, dtype=np.int64)
    a = np.einsum("kj,k->j", bench.options.terms[rows], bench.options.thickness[rows])
    return float(a[0]), float(a[2]), float(a[3]), float(a[4])


def against_the_trade(bench: Bench, stack: Sequence[int]) -> list[str]:
    """What a laminator of long standing would not lay, though every check passes (common practice, no source).

    Args:
        bench: Whose options the stack is written in.
        stack: Option numbers from the mould up, the core as -1.

    Returns:
        One sentence a rule that it breaks.
    """
    plies, said = [index for index in stack if index != CORE], []
    a11, a22, a16, a26 = _flat(bench, plies)
    if max(abs(a16), abs(a26)) > UNBALANCED * (a11 + a22):
        said.append("The stack is not balanced (as much at +angle as at -angle): pulled, it shears; heated, it twists.")
    if min(a11, a22) < ACROSS * max(a11, a22):
        said.append("Less than a tenth of its stiffness runs across: what nobody thought of splits it there.")
    run = max(len(list(alike)) for index, alike in groupby(stack) if index != CORE)
    if run > MOST_TOGETHER and not bench.plies[plies[0]].cured.even:
        said.append(f"{run} plies alike lie together: a crack across them runs. Write run_at_most = {MOST_TOGETHER}.")
    sides = _sides(stack)
    if any(len({bench.plies[k].fabric for k in side}) > 1 for side in sides):
        said.append("There is more than one cloth in a skin: the stiffer one carries the load, and breaks first.")
    if CORE in stack and min(len(side) for side in sides) == 1:
        said.append("One ply on a side of the core is holed by the first stone. Write least_skin = 2.")
    return said


def _plies(count: int) -> str:
    return "1 ply" if count == 1 else f"{count} plies"
