"""What the terminal shows of a weigh-in and of the shop's habits."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from rich.console import Group as Screen
from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.learn.calibrate import Calibration, Group, drift
from layup.learn.expected import STAGE_WORDS
from layup.learn.explain import Explanation
from layup.learn.scale import typed_words
from layup.learn.weighins import WeighIn
from layup.learn.words import (
    cause_words,
    expected_words,
    explanation_words,
    factor_words,
    noted_words,
    one_system,
    span_words,
)
from layup.make.build_sheet_tables import habit_name
from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.spread import Z90
from layup.weight.prediction import Prediction
from layup.words import System, mass_both, percent_words


def weigh_in_screen(weighed: WeighIn, said: Explanation | None, system: System) -> RenderableType:
    """What was noted, and what it says."""
    lines: list[RenderableType] = [Text(f"{weighed.part}: {STAGE_WORDS[weighed.stage]}", style="bold")]
    line = Text("  weighs    ")
    line.append(typed_words(weighed.said, weighed.mass, system), style="bold")
    line.append(f"   noted as entry {weighed.entry.number}")
    if weighed.circumstances.piece != "1":
        line.append(f', piece "{weighed.circumstances.piece}"')
    lines.append(line)
    for label, text in expected_words(weighed, system):
        lines.append(Text(f"  {label:<10}{text}"))
    if said is not None:
        lines += [Text(), *_explanation(said, system)]
    return Screen(*lines)


def _indented(text: str, by: int = 2, style: str = "") -> RenderableType:
    """A paragraph that keeps its indent where it wraps."""
    return Padding(Text(text, style=style), (0, 0, 0, by))


def _explanation(said: Explanation, system: System) -> list[RenderableType]:
    lines: list[RenderableType] = [_indented(text) for text in explanation_words(said, system)]
    intro, lists = cause_words(said)
    if intro:
        lines.append(_indented(intro))
    for number, listed in enumerate(lists, start=1):
        lines.append(_indented(f"{number}. " + ", and ".join(words for words, _ in listed), 3))
        lines += [_indented(f"check: {check}", 6, "dim") for _, check in listed]
    return lines


def used_screen(prediction: Prediction, system: System) -> RenderableType:
    """What `layup predict` says of the shop's own weigh-ins."""
    if prediction.published is None:
        return Text("")
    lines: list[RenderableType] = []
    for habit in prediction.habits:
        parts = "1 weighed part" if habit.parts == 1 else f"{habit.parts} weighed parts"
        used_for = habit_name(habit, prediction.weighed)
        lines.append(_indented(f"From this shop's scale ({parts}), {habit.of[0]}, {used_for}: {factor_words(habit)}."))
        if habit.rebased is not None:
            then, now = (f"{weight * 1e3:.4g} g/m²" for weight in habit.rebased)
            lines.append(
                _indented(
                    f"The tables gave {then} for this cloth when its parts were weighed and give {now} today: they are "
                    "taken as predicted with today's."
                )
            )
    old, new = prediction.published.mass, prediction.mass
    ends = span_words(old.p05, old.p95, system)
    change = 1 - (new.p95 - new.p05) / (old.p95 - old.p05)
    word = f"{change * 100:.0f} % narrower" if change > 0 else f"{-change * 100:.0f} % wider"
    lines.append(
        _indented(
            f"Published figures alone say {mass_both(old.mean, one_system(system))}, {ends}; "
            f"now {word}. --no-shop leaves the shop's scale out."
        )
    )
    return Screen(*lines)


def shop_screen(calibration: Calibration, system: System, most: int = 12) -> RenderableType:
    """The screen of `layup shop`: habits, what they rest on, drift and outliers."""
    lines: list[RenderableType] = [Text("Your shop's resin factor, from your own weigh-ins", style="bold"), Text()]
    settings = calibration.settings
    if settings.lot is not None:
        lines.append(Text(f'  Only weigh-ins of lot "{settings.lot}" count. --lot "" counts all again.'))
    for process in settings.forgotten:
        which = f"of {process} " if process else ""
        lines.append(Text(f"  Weigh-ins {which}up to entry {settings.forgotten[process]} are forgotten."))
    for (root, form), (start, parts, origin) in settings.starts.items():
        whose = origin if start.pooled else f"another shop ({origin})"
        lines.append(Text(f"  {root}, {form}: starts from {parts} parts weighed by {whose}."))
    step = calibration.learnt.step
    if step is not None:
        side = "drier" if step.size < 0 else "wetter"
        when = f"since {calibration.changed[:10]}, entry {step.number}," if calibration.changed else "at"
        lines.append(
            _indented(
                f"{step.root}: {when} your parts come out {abs(math.expm1(step.size)) * 100:.0f} % {side} "
                f"(chance that it is so: {step.chance * 100:.0f} %). The next part is predicted by those since. If "
                "it was at another entry: layup shop since ENTRY."
            )
        )
    if not calibration.habits:
        lines.append(Text("  No weigh-in counts yet. Weigh a part: layup weigh PART 2 lb 13 oz --at trimmed"))
        return Screen(*lines)
    rows = []
    for of, habit in sorted(calibration.habits.items()):
        if len(of) == 1 or of[0] in ("film", "bond", "area"):
            continue
        centre = habit.shift - 0.5 * habit.spread**2
        low, high = (math.exp(centre + z * habit.spread) for z in (-Z90, Z90))
        prior = habit.published_spread
        first, last = (math.exp(-0.5 * prior**2 + z * prior) for z in (-Z90, Z90))
        name = of[1] + (", any other" if len(of) == 2 else "") if len(of) == 2 else f"  {of[2]}"
        process, now, before = of[0] if len(of) == 2 else "", f"{low:.2f} to {high:.2f}", f"{first:.2f} to {last:.2f}"
        rows.append((process, name, str(habit.parts), f"{math.exp(habit.shift):.2f}", now, before))
    head = ("process", "reinforcement", "parts", "resin, times published", "nine in ten", "before")
    lines.append(grid_text(Grid(head, tuple(rows), right=frozenset(range(2, 6)), strong=frozenset({3})), 3))
    for of, habit in sorted(calibration.habits.items()):
        if of[0] in ("film", "bond"):
            what = f"film on the faces, {of[1]}" if of[0] == "film" else f"bond at {of[2]}, {of[1]}"
            mean = math.exp(habit.shift)
            ends = (max(mean * (1 + z * habit.spread), 0.0) for z in (-Z90, Z90))
            told = " to ".join(f"{end:.2f}" for end in ends)
            lines.append(Text(f"  {what}: {mean:.2f} times the table's (nine in ten: {told})"))
    usual = calibration.learnt.scatter
    if len(calibration.learnt.good) > 3:
        lines.append(Text(f"  Parts of this shop differ {usual:.1f} times as much as published; the limits say so."))
    for group in calibration.groups:
        lines += _group_lines(group, system, most)
    return Screen(*lines)


def _group_lines(group: Group, system: System, most: int) -> list[RenderableType]:
    lines: list[RenderableType] = [Text(), Text(f"  {group.fabric}, {group.process}", style="bold")]
    moved = drift(group)
    off = np.log(group.weighed / group.expected_now)[group.good >= 0.5]
    if len(off) > 1:
        stray = percent_words(float(np.sqrt(np.mean(off**2))))
        lines.append(Text(f"  Weighed against predicted with the resin factor: {stray} off, as a rule."))
    if group.unruly:
        lines.append(
            _indented(
                f"These parts differ {group.scatter:.1f} times as much from each other as published, and the limits "
                "are as wide. Look for what changes from part to part: vacuum, resin, who lays up."
            )
        )
    if moved is not None and moved.real:
        side = "more" if moved.per_part > 0 else "less"
        total = abs(math.expm1(moved.per_part * (moved.parts - 1)))
        lines.append(
            Text(
                f"  The hand drifts: {total * 100:.0f} % {side} resin in the last of these {moved.parts} than in the "
                "first. If the change is meant: `layup shop forget`."
            )
        )
    rows = []
    first = max(0, len(group.numbers) - most)
    shown: Sequence[int] = [*(i for i in group.outliers[-most:] if i < first), *range(first, len(group.numbers))]
    for i in shown:
        wrong = group.good[i] < 0.5
        counts = "not: likely wrong" if wrong else f"{group.counted[i] * 100:.0f} %"
        masses = (mass_both(float(kg[i]), one_system(system)) for kg in (group.weighed, group.expected))
        rows.append((str(group.numbers[i]), *group.pieces[i], *masses, f"{group.parts.factor[i]:.2f}", counts))
    if len(shown) < len(group.numbers):
        lines.append(Text(f"  The last {most} of {len(group.numbers)}, and what is likely wrong:", style="dim"))
    head = ("  entry", "part", "piece", "weighed", "published", "resin", "counts")
    lines.append(grid_text(Grid(head, tuple(rows), right=frozenset({0, 3, 4, 5, 6}))))
    return lines


def history_screen(listed: Sequence[WeighIn], system: System) -> RenderableType:
    """The screen of `layup shop history`: the newest weigh-ins, newest last."""
    rows = tuple(noted_words(one, one_system(system)) for one in listed)
    head = ("  entry", "when", "part", "piece", "stage", "weighed", "expected", "notes")
    return grid_text(Grid(head, rows, right=frozenset({0, 5, 6})))
