"""What `layup choose` shows: the lightest, what holds it, what else passes, and what one ply more or less buys."""

from __future__ import annotations

import math
from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.choosing.checks import WITHIN
from layup.choosing.choice import Choice
from layup.choosing.layups import Layup
from layup.choosing.steps import Step
from layup.choosing.words import (
    ADVICE,
    PRESS,
    asked_words,
    failing_words,
    layup_words,
    lead_words,
    less_words,
    none_words,
    proof_words,
    rules_words,
    saving_words,
    unsettled_words,
    value_words,
    verdict_words,
)
from layup.choosing.words import reserve_words as _reserve
from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.report.materials_screen import sources_grid
from layup.report.surface_words import in_units
from layup.words import System, length_words, mass_both, thickness_words


def choice_screen(choice: Choice, system: System, explain: bool = False) -> RenderableType:
    """The screen of `layup choose`.

    Args:
        choice: What to show.
        system: "lb", "metric" or "both".
        explain: Whether every check shows its formula, numbers and source.
    """
    parts: list[RenderableType] = [Text(choice.job.part.title, style="bold")]
    lines = [
        asked_words(choice, system),
        *(in_units(f"! {said}", system) for said in choice.blocked),
        in_units(choice.conditions, system),
    ]
    parts += [Padding(Text(said, style="bold" if said[0] == "!" else ""), (0, 0, 0, 2)) for said in lines if said]
    shown = choice.best or choice.nearest
    if choice.best is None:
        parts += _none(choice, system)
    else:
        parts += _answer(choice, choice.best, system)
    if shown is not None:
        parts += [Text(), _checks(shown, system, explain)]
        moved = refinement_words(choice, shown) if explain else ""
        parts += [Padding(Text(moved, style="dim"), (0, 0, 0, 2))] if moved else []
    if choice.left_out:
        parts += [Text(), Text("  not tried, for want of a figure", style="bold")]
        parts += [Text(f"    {said}") for said in choice.left_out]
    if choice.others:
        parts += [Text(), _others(choice, system)]
    if choice.steps:
        parts += [Text(), grid_text(steps_grid(choice.steps, system))]
    parts += [Text(), *_small_print(choice, system, explain)]
    return Group(*parts)


def _answer(choice: Choice, best: Layup, system: System) -> list[RenderableType]:
    out: list[RenderableType] = [Text(f"  {lead_words(choice)}, {best.process}, from the mould up:")]
    out += _plies(best, system)
    line = Text("  weighs ")
    line.append(mass_both(best.mass.mean, system), style="bold")
    one: System = "metric" if system == "metric" else "lb"
    line.append(f"   9 builds in 10: {mass_both(best.mass.p05, one)} to {mass_both(best.mass.p95, one)}")
    line.append(f"   {thickness_words(best.thickness, system)} thick")
    out.append(line)
    name, reserve = best.governs
    if math.isfinite(reserve):
        out.append(Text(f"  governed by: {name} (reserve {_reserve(reserve)})"))
    out += [
        Padding(Text(said), (0, 0, 0, 2))
        for said in (unsettled_words(choice), less_words(choice), rules_words(choice, system))
        if said
    ]
    saved = saving_words(choice, best, system)
    if saved:
        out.append(Padding(Text(saved), (0, 0, 0, 2)))
    out.append(Padding(Text(proof_words(choice), style="dim"), (0, 0, 0, 2)))
    return out


def _plies(layup: Layup, system: System) -> list[RenderableType]:
    said = []
    for name, angle, count, thick in layup.lines:
        said.append(f"    {count} x {name} at {angle:g}°" if count else f"    {name}, {length_words(thick, system)}")
    for zone, lines in layup.local:
        said.append(f"    on {zone}, besides:")
        said += [f"      {count} x {name} at {angle:g}°" for name, angle, count, _ in lines]
    return [Text(line, style="bold") for line in said]


def _none(choice: Choice, system: System) -> list[RenderableType]:
    out: list[RenderableType] = [Text(f"  {none_words(choice)}", style="bold")]
    if not choice.searches.ended:
        return out
    near = choice.nearest
    if near is not None:
        out.append(Text(f"  the nearest, {near.process}, {mass_both(near.mass.mean, system)}, from the mould up:"))
        out += _plies(near, system)
        out += [Text(f"  {said}", style="bold") for said in failing_words(near, system)]
    out.append(Text(f"  {ADVICE}"))
    return out


def _checks(layup: Layup, system: System, explain: bool) -> RenderableType:
    result = layup.found.assessment
    rows: list[tuple[str, ...]] = []
    failed: set[int] = set()
    for kind, value, limit, reserve in zip(
        result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True
    ):
        failed.update({len(rows)} if reserve < 1 else ())
        due = f"{'at least' if kind.at_least else 'at most'} {value_words(float(limit), kind.unit, system)}"
        rows.append((kind.name, value_words(float(value), kind.unit, system), due, _reserve(float(reserve))))
        rows += [(f"  {kind.formula}", "", "", ""), (f"  {kind.source}", "", "", "")] if explain else []
    head, right = ("check", "it has", "due", "reserve"), frozenset({1, 2, 3})
    return grid_text(Grid(head, tuple(rows), right=right, strong=frozenset({3}), totals=frozenset(failed)))


def _others(choice: Choice, system: System) -> RenderableType:
    one: System = "metric" if system == "metric" else "lb"
    gives = f"deflects at {PRESS[one]}" if choice.by_panel else "strip stiffness"
    rows = []
    on_front = {id(y) for y in choice.front}
    shown = [choice.best, *choice.others] if choice.best else list(choice.others)
    for layup in sorted(shown, key=lambda y: y.mass.mean):
        label, *figures, plies = layup_words(layup, choice.by_panel, one)
        plies = plies.removeprefix(f"{choice.job.part.process}: ")
        rows.append((("* " if id(layup) in on_front else "") + label, *figures, in_units(plies, system)))
    head = ("lightest with", "weight", "thick", "material", gives, "layup")
    table = grid_text(Grid(head, tuple(rows), right=frozenset({1, 2, 3, 4})))
    note = Text("  * nothing here beats it in weight, cost and stiffness together", style="dim")
    return Group(Text("  what else passes", style="bold"), table, note)


def steps_grid(steps: Iterable[Step], system: System) -> Grid:
    """What one ply more or less buys, the lightest first: for terminal and page."""
    one: System = "metric" if system == "metric" else "lb"
    rows = tuple(
        (
            in_units(step.change, one),
            f"{'+' if step.mass >= 0 else '-'}{mass_both(abs(step.mass), one)}",
            f"{step.stiffness:.2f} x",
            verdict_words(step),
        )
        for step in sorted(steps, key=lambda s: s.mass)
    )
    return Grid(("what a change buys", "weight", "as stiff", "then"), rows, right=frozenset({1, 2}))


def _small_print(choice: Choice, system: System, explain: bool) -> Iterable[RenderableType]:
    for note in choice.notes:
        yield Padding(Text(in_units(note, system), style="dim"), (0, 0, 0, 2))
    for caution in choice.cautions:
        yield Padding(Text(in_units(f"! {caution}", system)), (0, 0, 0, 2))
    if explain:
        yield Text()
        yield grid_text(sources_grid(choice.citations))


def refinement_words(choice: Choice, layup: Layup) -> str:
    """How far the figures move, for a person; empty without a panel, and where zones have plies of their own."""
    checker = choice.searches.checker
    if checker.model is None or layup.local:
        return ""
    before = checker.assess(layup.found.batch)
    after, times, unsettled = checker.refined(layup.found.batch, before)
    if times == 1:
        after, times = checker.finer(layup.found.batch, 2), 2.0
    pairs = zip(before.kinds, before.values[0].tolist(), after.values[0].tolist(), strict=True)
    moved = {kind.name: new / value - 1 for kind, value, new in pairs if value not in (0.0, new)}
    if not moved:
        return ""
    worst = max(moved, key=lambda name: abs(moved[name]))
    said = f"On a mesh of {times:g} times as many triangles the figures of the panel move by "
    said += f"{abs(moved[worst]):.1%} at most ({worst}: {moved[worst]:+.1%})"
    said += "." if unsettled else f"; the last doubling moved the strengths by less than {WITHIN:.0%}."
    over = sorted((name for name in moved if abs(moved[name]) > WITHIN), key=lambda name: -abs(moved[name]))
    if over:
        rest = f" and {len(over) - 3} more" if len(over) > 3 else ""
        said += f" More than {WITHIN:.0%}: {'; '.join(f'{n} {moved[n]:+.1%}' for n in over[:3])}{rest}."
    return said
