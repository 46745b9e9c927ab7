"""What a weigh-in and a habit say, in sentences: the terminal and the bench page print the same ones."""

from __future__ import annotations

import math
from typing import NamedTuple

from layup.laminate.process import Habit
from layup.learn.explain import FAR, Explanation
from layup.learn.scale import weighed_words
from layup.learn.weighins import WeighIn
from layup.spread import Z90
from layup.words import System, mass_both, thickness_words


def _all_but(deviations: float) -> str:
    """How rare a stray of so many standard deviations is, in builds.

    >>> _all_but(2.2), _all_but(0.5), _all_but(9.0)
    ('97 builds in 100', '38 builds in 100', '999 builds in 1000')
    """
    rare = math.erfc(abs(deviations) / math.sqrt(2.0))
    return (
        f"{int(100 * (1 - rare))} builds in 100"
        if rare >= 0.01
        else f"{min(int(1000 * (1 - rare)), 999)} builds in 1000"
    )


def one_system(system: System) -> System:
    """One system of units, where both would be too long."""
    return "lb" if system == "both" else system


def span_words(low: float, high: float, system: System) -> str:
    """Both ends of a mass. [kg]"""
    return f"{mass_both(low, one_system(system))} to {mass_both(high, one_system(system))}"


class NotedWords(NamedTuple):
    """A weigh-in as a row of the record: for terminal and page."""

    entry: str
    when: str
    part: str
    piece: str
    stage: str
    weighed: str
    expected: str
    notes: str


def noted_words(one: WeighIn, system: System) -> NotedWords:
    """A weigh-in in words: its weight as finely as it was typed, and who, which lot and what was noted."""
    around = one.circumstances
    return NotedWords(
        entry=str(one.entry.number),
        when=one.entry.at[:10],
        part=one.part,
        piece=around.piece,
        stage=one.stage,
        weighed=weighed_words(one.mass, system),
        expected=mass_both(one.expected["mean"], system) if one.expected else "",
        notes=", ".join(word for word in (around.person, around.lot, around.notes) if word),
    )


def expected_words(weighed: WeighIn, system: System) -> list[tuple[str, str]]:
    """What was expected and how far off the scale is, each with its label; nothing where nothing was expected."""
    expected = weighed.expected
    if expected is None:
        return []
    text = mass_both(expected["mean"], system)
    if "p05" in expected:
        text += f"   9 builds in 10: {span_words(expected['p05'], expected['p95'], system)}"
    off = weighed.mass - expected["mean"]
    word = "more" if off >= 0 else "less"
    return [
        ("expected", text),
        ("", f"{mass_both(abs(off), system)} {word}, {abs(off) / expected['mean'] * 100:.1f} %"),
    ]


def explanation_words(said: Explanation, system: System) -> list[str]:
    """What a weight implies and whether that can be, one sentence or two a line; the causes are in `cause_words`."""
    lines = []
    if said.implied is not None:
        i = said.implied
        lines.append(
            f"If the resin in the plies is all that differs: {i.factor:.2f} times the resin expected, "
            f"resin {i.resin_content * 100:.1f} % of fibre and resin by weight, films counted as predicted; "
            f"{i.fibre_fraction * 100:.0f} % fibre by volume in the plies; "
            f"{thickness_words(i.thickness, system)} thick."
        )
    if said.impossible:
        lines.append(f"That can't be: {said.impossible}.")
    elif said.usual:
        if said.lists:
            lines.append(
                f"Nine parts in ten come out inside these limits; it is {abs(said.off) * 100:.0f} % off, worth a look."
            )
        else:
            lines.append("Nine parts in ten come out inside these limits: nothing needs explaining.")
    elif said.too_much:
        lines.append("That is more than went into it: cloth, core and the resin that was mixed, less what was left.")
    elif not said.resin_alone and abs(said.needed) > FAR:
        lines.append(f"Resin alone can't do it: it would have to be further off than in {_all_but(said.needed)}.")
    elif said.resin_alone:
        lines.append(f"Resin alone could do it: it would be further off than in {_all_but(said.needed)}.")
    if said.resin_kept is not None:
        word = "that is not enough for it" if not said.resin_alone and not said.usual else "so it may be"
        most = mass_both(said.resin_kept, one_system(system))
        lines.append(
            f"Resin mixed less what was left: at the most {most} in the part; "
            f"resin alone would need {mass_both(said.resin_due, one_system(system))}"
            + ("." if said.usual else f": {word}.")
        )
    for step in said.steps:
        if step.before:
            mark = "  <- here" if step is said.located else ""
            lines.append(
                f"From {step.before} to {step.after}: {mass_both(step.change, one_system(system))}, expected "
                f"{mass_both(step.expected, one_system(system))}{mark}"
            )
    return lines


def cause_words(said: Explanation) -> tuple[str, list[list[tuple[str, str]]]]:
    """What leads the lists of causes in ("" where nothing needs one), and each list: the cause and what to check."""
    if said.lists:
        size = len(said.lists[0])
        what = "One cause is enough" if size == 1 else f"It takes {size} causes together"
        return f"{what}, likeliest first:", [[(cause.words, cause.check) for cause in one] for one in said.lists]
    if not said.usual:
        return "No three of the usual causes together explain it. Is this the right part file?", []
    return "", []


def factor_words(habit: Habit) -> str:
    """The mean factor and its limits in words."""
    mean = math.exp(habit.shift)
    low, high = factor_ends(habit)
    side = "more" if mean >= 1 else "less"
    return f"{abs(mean - 1) * 100:.0f} % {side} resin than published (nine in ten: {low:.2f} to {high:.2f} times)"


def factor_ends(habit: Habit) -> tuple[float, float]:
    """Resin in the plies over the published, both ends of nine in ten. [-]"""
    centre = habit.shift - 0.5 * habit.spread**2
    return math.exp(centre - Z90 * habit.spread), math.exp(centre + Z90 * habit.spread)


def published_ends(spread: float) -> tuple[float, float]:
    """The same before anything was weighed: nine shops in ten. [-]"""
    centre = -0.5 * spread**2
    return math.exp(centre - Z90 * spread), math.exp(centre + Z90 * spread)
