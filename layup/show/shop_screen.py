"""What the terminal shows of a weigh-in and of the shop's habits."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from rich.console import Group as Screen
from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from layup.laminate.process import Habit
from layup.prediction import Prediction
from layup.record.calibrate import Calibration, Group, drift
from layup.record.explain import FAR, Explanation
from layup.record.ground import STAGE_WORDS
from layup.record.weighins import WeighIn
from layup.shop.sheet_tables import habit_name
from layup.spread import Z90
from layup.words import System, mass_both, thickness_words


def _one(system: System) -> System:
    return "lb" if system == "both" else system


def _span(low: float, high: float, system: System) -> str:
    return f"{mass_both(low, _one(system))} to {mass_both(high, _one(system))}"


def weigh_in_screen(weighed: WeighIn, said: Explanation | None, system: System) -> RenderableType:
    """What was noted, and what it says."""
    lines: list[RenderableType] = [Text(f"{weighed.part}: {STAGE_WORDS[weighed.stage]}", style="bold")]
    line = Text("  weighs    ")
    line.append(mass_both(weighed.mass, system), style="bold")
    line.append(f"   noted as entry {weighed.entry.number}")
    if weighed.circumstances.piece != "1":
        line.append(f', piece "{weighed.circumstances.piece}"')
    lines.append(line)
    expected = weighed.expected
    if expected is not None:
        text = f"  expected  {mass_both(expected['mean'], system)}"
        if "p05" in expected:
            text += f"   nine in ten: {_span(expected['p05'], expected['p95'], system)}"
        lines.append(Text(text))
        off = weighed.mass - expected["mean"]
        word = "more" if off >= 0 else "less"
        lines.append(
            Text(f"            {mass_both(abs(off), system)} {word}, {abs(off) / expected['mean'] * 100:.1f} %")
        )
    if said is not None:
        lines += [Text(), *_explanation(said, system)]
    return Screen(*lines)


def _indented(text: str, by: int = 2, style: str = "") -> RenderableType:
    """A paragraph that keeps its indent where it wraps."""
    return Padding(Text(text, style=style), (0, 0, 0, by))


def _explanation(said: Explanation, system: System) -> list[RenderableType]:
    lines: list[RenderableType] = []
    if said.implied is not None:
        i = said.implied
        lines.append(
            _indented(
                f"If the resin in the plies is all that differs: {i.factor:.2f} times the resin expected, "
                f"resin {i.resin_content * 100:.1f} % of fibre and resin by weight, films counted as predicted; "
                f"{i.fibre_fraction * 100:.0f} % fibre by volume in the plies; "
                f"{thickness_words(i.thickness, system)} thick."
            )
        )
    if said.impossible:
        lines.append(_indented(f"That can't be: {said.impossible}."))
    elif said.usual:
        lines.append(_indented("Nine parts in ten come out inside these limits: nothing needs explaining."))
    elif not said.resin_alone and abs(said.needed) > FAR:
        lines.append(
            _indented(
                f"Resin alone can't do it: it would have to be {abs(said.needed):.1f} standard deviations off, "
                "further than 99 shops in 100."
            )
        )
    elif said.resin_alone:
        lines.append(_indented(f"Resin alone could do it: it would be {abs(said.needed):.1f} standard deviations off."))
    if said.resin_kept is not None:
        word = "that is not enough for it" if not said.resin_alone and not said.usual else "so it may be"
        lines.append(
            _indented(
                f"Resin mixed less what was left: at the most {mass_both(said.resin_kept, _one(system))} in the part; "
                f"resin alone would need {mass_both(said.resin_due, _one(system))}"
                + ("." if said.usual else f": {word}.")
            )
        )
    for step in said.steps:
        if step.before:
            mark = "  <- here" if step is said.located else ""
            lines.append(
                _indented(
                    f"From {step.before} to {step.after}: {mass_both(step.change, _one(system))}, expected "
                    f"{mass_both(step.expected, _one(system))}{mark}"
                )
            )
    if said.lists:
        size = len(said.lists[0])
        what = "One cause is enough" if size == 1 else f"It takes {size} causes together"
        lines.append(_indented(f"{what}, likeliest first:"))
        for number, listed in enumerate(said.lists, start=1):
            lines.append(_indented(f"{number}. " + ", and ".join(cause.words for cause in listed), 3))
            lines += [_indented(f"check: {cause.check}", 6, "dim") for cause in listed]
    elif not said.usual:
        lines.append(_indented("No three of the usual causes together explain it. Is this the right part file?"))
    return lines


def factor_words(habit: Habit) -> str:
    """The mean factor and its limits in words."""
    mean = math.exp(habit.shift)
    centre = habit.shift - 0.5 * habit.spread**2
    low, high = (math.exp(centre + z * habit.spread) for z in (-Z90, Z90))
    side = "more" if mean >= 1 else "less"
    return f"{abs(mean - 1) * 100:.0f} % {side} resin than published (nine in ten: {low:.2f} to {high:.2f} times)"


def used_screen(prediction: Prediction, system: System) -> RenderableType:
    """What `layup predict` says of the shop's own weigh-ins."""
    if prediction.published is None:
        return Text("")
    lines: list[RenderableType] = []
    for habit in prediction.habits:
        parts = "1 weighed part" if habit.parts == 1 else f"{habit.parts} weighed parts"
        used_for = habit_name(habit, prediction.weighed)
        lines.append(_indented(f"From this shop's scale ({parts}), {habit.of[0]}, {used_for}: {factor_words(habit)}."))
    old, new = prediction.published.mass, prediction.mass
    change = 1 - (new.p95 - new.p05) / (old.p95 - old.p05)
    word = f"{change * 100:.0f} % narrower" if change > 0 else f"{-change * 100:.0f} % wider"
    lines.append(
        _indented(
            f"Published figures alone say {mass_both(old.mean, _one(system))}, {_span(old.p05, old.p95, system)}; "
            f"now {word}. --no-shop leaves the shop's scale out."
        )
    )
    return Screen(*lines)


def shop_screen(calibration: Calibration, system: System, most: int = 12) -> RenderableType:
    """The screen of `layup shop`: habits, what they rest on, drift and outliers."""
    lines: list[RenderableType] = [Text("This shop's hand, from its own scale", style="bold"), Text()]
    settings = calibration.settings
    if settings.lot is not None:
        lines.append(Text(f'  Only weigh-ins of lot "{settings.lot}" count. --lot "" counts all again.'))
    for process in settings.forgotten:
        which = f"of {process} " if process else ""
        lines.append(Text(f"  Weigh-ins {which}up to entry {settings.forgotten[process]} are forgotten."))
    for (root, form), (_, parts, origin) in settings.starts.items():
        lines.append(Text(f"  {root}, {form}: starts from {parts} parts weighed by another shop ({origin})."))
    if not calibration.habits:
        lines.append(Text("  No weigh-in counts yet. Weigh a part: layup weigh PART 2 lb 13 oz --at trimmed"))
        return Screen(*lines)
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for name in ("  process", "reinforcement", "parts", "resin, times published", "nine in ten", "before"):
        table.add_column(name, justify="left" if name in ("  process", "reinforcement") else "right", no_wrap=True)
    for of, habit in sorted(calibration.habits.items()):
        if len(of) == 1:
            continue
        centre = habit.shift - 0.5 * habit.spread**2
        low, high = (math.exp(centre + z * habit.spread) for z in (-Z90, Z90))
        prior = habit.published_spread
        first, last = (math.exp(-0.5 * prior**2 + z * prior) for z in (-Z90, Z90))
        name = of[1] + (", any other" if len(of) == 2 else "") if len(of) == 2 else f"  {of[2]}"
        table.add_row(
            Text(f"  {of[0]}" if len(of) == 2 else ""), Text(name), str(habit.parts),
            Text(f"{math.exp(habit.shift):.2f}", style="bold"), f"{low:.2f} to {high:.2f}",
            f"{first:.2f} to {last:.2f}",
        )  # fmt: skip
    lines.append(table)
    for group in calibration.groups:
        lines += _group_lines(group, system, most)
    return Screen(*lines)


def _group_lines(group: Group, system: System, most: int) -> list[RenderableType]:
    lines: list[RenderableType] = [Text(), Text(f"  {group.fabric}, {group.process}", style="bold")]
    moved = drift(group)
    off = np.log(group.weighed / group.expected_now)[group.good >= 0.5]
    if len(off) > 1:
        lines.append(
            Text(f"  Weighed against predicted with the habit: {np.sqrt(np.mean(off**2)) * 100:.1f} % off, as a rule.")
        )
    if group.unruly:
        lines.append(
            _indented(
                f"These parts differ {group.scatter:.1f} times as much from each other as published: the prediction's "
                "limits are too narrow for them. Look for what changes from part to part: vacuum, resin, who lays up."
            )
        )
    if moved is not None and moved.real:
        side = "more" if moved.per_part > 0 else "less"
        total = abs(math.expm1(moved.per_part * (moved.parts - 1)))
        lines.append(
            Text(
                f"  The hand drifts: {total * 100:.0f} % {side} resin in the last of these {moved.parts} than in the "
                "first. If the change is meant, --forget what is old."
            )
        )
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for name in ("  entry", "part", "piece", "weighed", "published", "resin", "counts"):
        table.add_column(name, justify="left" if name in ("part", "piece") else "right", no_wrap=name != "part")
    first = max(0, len(group.numbers) - most)
    shown: Sequence[int] = [*(i for i in group.outliers[-most:] if i < first), *range(first, len(group.numbers))]
    for i in shown:
        wrong = group.good[i] < 0.5
        counts = "not: likely wrong" if wrong else f"{group.counted[i] * 100:.0f} %"
        table.add_row(
            f"{group.numbers[i]}", group.pieces[i][0], group.pieces[i][1],
            mass_both(float(group.weighed[i]), _one(system)),
            mass_both(float(group.expected[i]), _one(system)), f"{group.parts.factor[i]:.2f}", counts,
            style="dim" if wrong else "",
        )  # fmt: skip
    if len(shown) < len(group.numbers):
        lines.append(Text(f"  The last {most} of {len(group.numbers)}, and what is likely wrong:", style="dim"))
    lines.append(table)
    return lines


def history_screen(listed: Sequence[WeighIn], system: System) -> RenderableType:
    """The screen of `layup shop --history`: the newest weigh-ins, newest last."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for name in ("  entry", "when", "part", "piece", "stage", "weighed", "expected", "notes"):
        table.add_column(name, justify="right" if name in ("  entry", "weighed", "expected") else "left")
    for one in listed:
        around = one.circumstances
        notes = ", ".join(word for word in (around.person, around.lot, around.notes) if word)
        expected = mass_both(one.expected["mean"], _one(system)) if one.expected else ""
        table.add_row(str(one.entry.number), one.entry.at[:10], one.part, around.piece, one.stage,
                      mass_both(one.mass, _one(system)), expected, notes)  # fmt: skip
    return table
