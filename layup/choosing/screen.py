"""What `layup choose` shows: the lightest, what holds it, what else passes, and what one ply more or less buys."""

from __future__ import annotations

import math
from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from layup.choosing.choice import Choice
from layup.choosing.layups import Layup
from layup.choosing.refine import refinement_words
from layup.choosing.words import (
    ADVICE,
    asked_words,
    failing_words,
    lead_words,
    less_words,
    money_words,
    none_words,
    proof_words,
    rules_words,
    saving_words,
    value_words,
    verdict_words,
)
from layup.choosing.words import reserve_words as _reserve
from layup.report.surface_words import in_units
from layup.words import System, length_words, mass_both, thickness_words


def choice_screen(choice: Choice, system: System, explain: bool = False) -> RenderableType:
    """The screen of `layup choose`.

    Args:
        choice: What to show.
        system: "lb", "metric" or "both".
        explain: Whether every check shows its formula, numbers and source.

    Returns:
        Something rich can print.
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
        parts += [Text(), _steps(choice, system)]
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
    out += [Padding(Text(said), (0, 0, 0, 2)) for said in (less_words(choice), rules_words(choice, system)) if said]
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
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  check")
    table.add_column("it has", justify="right", no_wrap=True)
    table.add_column("due", justify="right", no_wrap=True)
    table.add_column("reserve", justify="right", no_wrap=True)
    result = layup.found.assessment
    rows = list(zip(result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True))
    for kind, value, limit, reserve in rows:
        style = "" if reserve >= 1 else "bold"
        sign = "at least" if kind.at_least else "at most"
        table.add_row(
            Text(f"  {kind.name}", style=style),
            value_words(float(value), kind.unit, system),
            f"{sign} {value_words(float(limit), kind.unit, system)}",
            Text(_reserve(float(reserve)), style=style or "bold"),
        )
        if explain:
            table.add_row(Text(f"    {kind.formula}", style="dim"), "", "", "")
            table.add_row(Text(f"    {kind.source}", style="dim"), "", "", "")
    return table


def _others(choice: Choice, system: System) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    one: System = "metric" if system == "metric" else "lb"
    table.add_column("  lightest with", max_width=30)
    table.add_column("weight", justify="right", no_wrap=True)
    table.add_column("thick", justify="right", no_wrap=True)
    table.add_column("material", justify="right", no_wrap=True)
    table.add_column(
        ("deflects at 20.9 psf" if one == "lb" else "deflects at 1 kPa") if choice.by_panel else "strip stiffness",
        justify="right",
        no_wrap=True,
    )
    table.add_column("layup")
    on_front = {id(y) for y in choice.front}
    shown = [choice.best, *choice.others] if choice.best else list(choice.others)
    for layup in sorted(shown, key=lambda y: y.mass.mean):
        stiff = length_words(layup.stiffness, one) if choice.by_panel else value_words(layup.stiffness, "N m", one)
        words = layup.words if layup.process == choice.job.part.process else f"{layup.process}: {layup.words}"
        table.add_row(
            Text(("* " if id(layup) in on_front else "  ") + layup.label),
            mass_both(layup.mass.mean, one),
            thickness_words(layup.thickness, one),
            money_words(layup),
            stiff,
            Text(in_units(words, system)),
        )
    note = Text("  * nothing here beats it in weight, cost and stiffness together", style="dim")
    return Group(Text("  what else passes", style="bold"), table, note)


def _steps(choice: Choice, system: System) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    one: System = "metric" if system == "metric" else "lb"
    table.add_column("  what a change buys", max_width=44)
    table.add_column("weight", justify="right", no_wrap=True)
    table.add_column("as stiff", justify="right", no_wrap=True)
    table.add_column("then")
    for step in sorted(choice.steps, key=lambda s: s.mass):
        sign = "+" if step.mass >= 0 else "-"
        table.add_row(
            Text(in_units(f"  {step.change}", one)),
            f"{sign}{mass_both(abs(step.mass), one)}",
            f"{step.stiffness:.2f} x",
            Text(verdict_words(step)),
        )
    return table


def _small_print(choice: Choice, system: System, explain: bool) -> Iterable[RenderableType]:
    for note in choice.notes:
        yield Padding(Text(in_units(note, system), style="dim"), (0, 0, 0, 2))
    for caution in choice.cautions:
        yield Padding(Text(in_units(f"! {caution}", system)), (0, 0, 0, 2))
    if explain:
        yield Text()
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for name in ("  figure", "as printed", "kind", "source"):
            table.add_column(name)
        for c in choice.citations:
            table.add_row(
                Text(f"  {c.material}, {c.property.replace('_', ' ')}"),
                c.printed,
                c.kind,
                Text(f"{c.reference}{', ' + c.at if c.at else ''}"),
            )
        yield table
