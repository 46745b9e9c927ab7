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
from layup.choosing.steps import Step
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
    shown = choice.best or choice.nearest
    if choice.best is None:
        parts += _none(choice, system)
    else:
        parts += _answer(choice, choice.best, system)
    if shown is not None:
        parts += [Text(), _checks(shown, system, explain)]
        parts += [Padding(Text(f"! {said}", style="bold"), (0, 0, 0, 2)) for said in choice.blocked]
    if choice.others:
        parts += [Text(), _others(choice, system)]
    if choice.steps:
        parts += [Text(), _steps(choice, system)]
    parts += [Text(), *_small_print(choice, explain)]
    return Group(*parts)


def _answer(choice: Choice, best: Layup, system: System) -> list[RenderableType]:
    lead = "the lightest" if choice.proven else "the best so far (stopped before it was proven the lightest)"
    out: list[RenderableType] = [Text(f"  {lead}, {best.process}, from the mould up:")]
    out += _plies(best)
    line = Text("  weighs ")
    line.append(mass_both(best.mass.mean, system), style="bold")
    one: System = "metric" if system == "metric" else "lb"
    line.append(f"   nine in ten: {mass_both(best.mass.p05, one)} to {mass_both(best.mass.p95, one)}")
    line.append(f"   {thickness_words(best.thickness, system)} thick")
    out.append(line)
    name, reserve = best.governs
    if math.isfinite(reserve):
        out.append(Text(f"  held by: {name} (reserve {_reserve(reserve)})"))
    out.append(Padding(Text(_proof(choice), style="dim"), (0, 0, 0, 2)))
    return out


def _plies(layup: Layup) -> list[RenderableType]:
    said = []
    for name, angle, count, thick in layup.lines:
        said.append(f"    {count} x {name} at {angle:g}°" if count else f"    {name}, {thick * 1e3:g} mm")
    for zone, lines in layup.local:
        said.append(f"    on {zone}, besides:")
        said += [f"      {count} x {name} at {angle:g}°" for name, angle, count, _ in lines]
    return [Text(line, style="bold") for line in said]


def _proof(choice: Choice) -> str:
    s = choice.searches
    text = f"{s.size:,} layups on the shelf"
    if choice.proven:
        return (
            f"Of {text}, none lighter passes: {_count(s.checked, 'layup was', 'layups were')} checked one by one, "
            f"lightest first; the rest break limits that hold for every layup ({choice.seconds:.1f} s in all)."
        )
    return f"{text}; {s.looked_at:,} were looked at before the search was stopped."


def _count(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"


def _none(choice: Choice, system: System) -> list[RenderableType]:
    if not choice.searches.proven:
        return [Text("  stopped before any layup was found that passes", style="bold")]
    out: list[RenderableType] = [
        Text(f"  none of the {choice.searches.size:,} layups on the shelf passes", style="bold")
    ]
    near = choice.nearest
    if near is not None:
        out.append(Text(f"  the nearest, {near.process}, {mass_both(near.mass.mean, system)}, from the mould up:"))
        out += _plies(near)
        result = near.found.assessment
        for kind, value, limit, reserve in zip(
            result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True
        ):
            if reserve < 1:
                text = f"  fails: {kind.name}: {_value(float(value), kind.unit)} where "
                text += f"{_value(float(limit), kind.unit)} is {'due' if kind.at_least else 'allowed'}"
                times = 1 / max(float(reserve), 1e-9)
                off = (
                    f"only {_apart_from(reserve * 100, 100.0, 0)} % of it" if kind.at_least else f"{_times(times)} that"
                )
                out.append(Text(f"{text}, {off}", style="bold"))
    out.append(Text("  Put a stiffer fabric, a core or more plies on the shelf, or ask for less."))
    return out


def _times(value: float) -> str:
    """`1.24 times`, and more digits where it is next to once."""
    return f"{_apart_from(value, 1.0, 2) if value < 10 else f'{value:.3g}'} times"


def _reserve(value: float) -> str:
    if not math.isfinite(value) or value > 99:
        return "over 99"
    return f"{value:.2f}" if value >= 1 else _apart_from(value, 1.0, 2)


def _apart_from(value: float, mark: float, digits: int) -> str:
    """A number with as many digits as it takes to see on which side of a mark it is."""
    for more in range(4):
        text = f"{value:.{digits + more}f}"
        if value == mark or float(text) != mark:
            return text
    return f"just {'under' if value < mark else 'over'} {mark:g}"


_SCALES = {"m": ("mm", 1e3), "Pa": ("MPa", 1e-6), "N m": ("N m", 1.0), "Hz": ("Hz", 1.0), "-": ("", 1.0)}


def _value(value: float, unit: str) -> str:
    name, scale = _SCALES[unit]
    size = value * scale
    if not math.isfinite(size):
        return "no end"
    digits = max(0, 2 - math.floor(math.log10(abs(size)))) if size else 0
    return f"{size:.{min(digits, 4)}f} {name}".rstrip()


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
            Text(f"  {kind.name}", style=style), _value(float(value), kind.unit),
            f"{sign} {_value(float(limit), kind.unit)}",
            Text(_reserve(float(reserve)), style=style or "bold"),
        )  # fmt: skip
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
    table.add_column("gives at 1 kPa" if choice.by_panel else "strip stiffness", justify="right", no_wrap=True)
    table.add_column("layup")
    on_front = {id(y) for y in choice.front}
    shown = [choice.best, *choice.others] if choice.best else list(choice.others)
    for layup in sorted(shown, key=lambda y: y.mass.mean):
        stiff = length_words(layup.stiffness, "metric") if choice.by_panel else f"{layup.stiffness:.2f} N m"
        words = layup.words if layup.process == choice.job.part.process else f"{layup.process}: {layup.words}"
        table.add_row(
            Text(("* " if id(layup) in on_front else "  ") + layup.label), mass_both(layup.mass.mean, one),
            thickness_words(layup.thickness, one), _money(layup), stiff, Text(words),
        )  # fmt: skip
    note = Text("  * nothing here beats it in weight, cost and stiffness together", style="dim")
    return Group(Text("  what else passes", style="bold"), table, note)


def _money(layup: Layup) -> str:
    single = layup.cost.single
    if single is not None:
        return f"{single[0]:.2f} {single[1]}"
    said = " + ".join(f"{amount:.2f} {currency}" for currency, amount in layup.cost.amounts.items())
    return f"over {said}" if said else "no price"


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
            Text(f"  {step.change}"), f"{sign}{mass_both(abs(step.mass), one)}", f"{step.stiffness:.2f} x",
            Text(_verdict(step)),
        )  # fmt: skip
    return table


def _verdict(step: Step) -> str:
    """What becomes of a changed layup: the rule it breaks, or what holds it."""
    held = f"held by {step.governs} ({_reserve(step.reserve)})"
    if not step.breaks:
        return f"{'passes' if step.passed else 'fails'}, {held}"
    return f"breaks {step.breaks}; the checks {'alone would pass' if step.reserve >= 1 else 'fail too'}, {held}"


def _small_print(choice: Choice, explain: bool) -> Iterable[RenderableType]:
    for note in choice.notes:
        yield Padding(Text(note, style="dim"), (0, 0, 0, 2))
    for caution in choice.cautions:
        yield Padding(Text(f"! {caution}"), (0, 0, 0, 2))
    if explain:
        yield Text()
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for name in ("  figure", "as printed", "kind", "source"):
            table.add_column(name)
        for c in choice.citations:
            table.add_row(Text(f"  {c.material}, {c.property.replace('_', ' ')}"), c.printed, c.kind,
                          Text(f"{c.reference}{', ' + c.at if c.at else ''}"))  # fmt: skip
        yield table
