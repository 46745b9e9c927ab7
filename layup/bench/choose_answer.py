"""An answer of the search as the page shows it: the front, its table, and one layup of it with every check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.bench.choose_work import Answer
from layup.bench.request import link
from layup.choosing.front_svg import FrontMark, currency_of, front_svg, times_words
from layup.choosing.stack_svg import local_lines, stack_lines, stack_svg
from layup.choosing.words import failing_words, money_words, reserve_words, value_words, verdict_words
from layup.words import length_words, mass_both, mass_words, thickness_words

if TYPE_CHECKING:
    from layup.choosing.layups import Layup
    from layup.spread import Interval
    from layup.words import System

NOW, NEAREST = "Now", "Nearest"
"""Letters of what is no point of the front: the part as it stands, and what comes nearest where nothing passes."""


@dataclass(frozen=True)
class Row:
    """A row of the table of all that passes, in words."""

    letter: str
    label: str
    plies: str
    mass: str
    thick: str
    money: str
    times: str
    gives: str
    href: str
    kept: bool
    lightest: bool
    chosen: bool


@dataclass(frozen=True)
class CheckRow:
    """One check of a layup, in words."""

    name: str
    has: str
    due: str
    reserve: str
    passed: bool
    formula: str
    source: str
    way: str


@dataclass(frozen=True)
class Shown:
    """One layup in full, in words and drawings.

    Attributes:
        letter: By which the page calls it.
        head: What it is.
        process: Name.
        mass: Of the part.
        range: Nine builds in ten.
        thick: With the films on its faces.
        money: Of the material.
        times: As stiff as the lightest; "" where not known.
        held: The check with the smallest reserve; "" without checks.
        stack: The drawing; "" where there is none.
        local: Zone and drawing of plies that zones get besides.
        checks: Every check.
        failing: What fails, and by how much.
        why: Why there are no checks.
        takes: Whether it can be taken into the part.
    """

    letter: str
    head: str
    process: str
    mass: str
    range: str
    thick: str
    money: str
    times: str
    held: str
    stack: str
    local: tuple[tuple[str, str], ...]
    checks: tuple[CheckRow, ...]
    failing: tuple[str, ...]
    why: str
    takes: bool


def marks_of(answer: Answer, file: str, chosen: str) -> str:
    """The drawing of the front; "" where nothing passes."""
    if not answer.points:
        return ""
    system = answer.system
    best = "lightest" if answer.sure else "so far"
    marks = [
        FrontMark(
            p.letter, p.layup.mass.mean, p.layup.cost.single, p.times,
            f"{p.letter}, {p.layup.label}: {mass_both(p.layup.mass.mean, system)}, {money_words(p.layup)}, "
            f"{times_words(p.times)} as stiff as the lightest",
            _href(file, p.letter), p.kept, best if p.lightest else "", p.letter == chosen,
        )
        for p in answer.points
    ]  # fmt: skip
    if answer.now is not None:
        said = f"The part as it stands now: {mass_both(answer.now.mass.mean, system)}"
        marks.append(FrontMark(NOW, answer.now.mass.mean, answer.now.cost.single, answer.now_times, said,
                               _href(file, NOW), False, "", chosen == NOW, True))  # fmt: skip
    return front_svg(marks, system)


def prices_of(answer: Answer) -> bool:
    """Whether the front has prices upwards."""
    return bool(currency_of([FrontMark("", 0.0, p.layup.cost.single, None, "", "") for p in answer.points]))


def rows_of(answer: Answer, file: str, chosen: str) -> list[Row]:
    """The same as a table, the lightest first, the part as it stands last."""
    system = answer.system
    rows = []
    for p in answer.points:
        y = p.layup
        label = y.label if answer.sure or not p.lightest else "the best so far"
        rows.append(Row(
            p.letter, label, f"{y.process}: {y.words}", mass_both(y.mass.mean, system),
            thickness_words(y.thickness, system), money_words(y), times_words(p.times), _gives(answer, y),
            _href(file, p.letter), p.kept, p.lightest, p.letter == chosen,
        ))  # fmt: skip
    now = answer.now
    if now is not None:
        plies = f"{now.process}: {now.layup.words}" if now.layup else now.process
        money = money_words(now.layup) if now.layup else ""
        times = times_words(answer.now_times) if answer.now_times is not None else ""
        rows.append(Row(
            NOW, "the part as it stands", plies, mass_both(now.mass.mean, system),
            thickness_words(now.thickness, system), money, times, _gives(answer, now.layup) if now.layup else "",
            _href(file, NOW), False, False, chosen == NOW,
        ))  # fmt: skip
    return rows


def steps_of(answer: Answer) -> list[tuple[str, str, str, str, bool]]:
    """What one ply more or less buys: the change, its weight, how stiff, what becomes of it, whether it passes."""
    return [
        (s.change, ("+" if s.mass >= 0 else "−") + _one(abs(s.mass), answer.system), times_words(s.stiffness),
         verdict_words(s), s.passed)
        for s in answer.steps
    ]  # fmt: skip


def shown_layup(answer: Answer, letter: str) -> Shown | None:
    """One layup in full: the one asked for, else the lightest, else the nearest."""
    system = answer.system
    if letter == NOW and answer.now is not None:
        now = answer.now
        times = times_words(answer.now_times) if answer.now_times is not None else ""
        if now.layup is None:
            return Shown(NOW, "The part as it stands", now.process, mass_both(now.mass.mean, system),
                         _range(now.mass, system), thickness_words(now.thickness, system), "", times, "", "", (),
                         (), (), now.why, False)  # fmt: skip
        return _in_full(answer, now.layup, NOW, "The part as it stands", times, False)
    point = answer.point(letter) or next((p for p in answer.points if p.lightest), None)
    if point is not None:
        head = f"{point.letter}: {answer.lead if point.lightest else 'lightest with ' + point.layup.label}"
        return _in_full(answer, point.layup, point.letter, head, times_words(point.times), True)
    if answer.nearest is not None:
        return _in_full(answer, answer.nearest, NEAREST, "The nearest to passing", "", False)
    return None


def _in_full(answer: Answer, layup: Layup, letter: str, head: str, times: str, takes: bool) -> Shown:
    system = answer.system
    result = layup.found.assessment
    checks = tuple(
        CheckRow(
            kind.name, value_words(float(value), kind.unit),
            f"{'at least' if kind.at_least else 'at most'} {value_words(float(limit), kind.unit)}",
            reserve_words(float(reserve)), bool(reserve >= 1), kind.formula, kind.source,
            _worked(value_words(float(value), kind.unit), value_words(float(limit), kind.unit), kind.at_least),
        )
        for kind, value, limit, reserve in zip(
            result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True
        )
    )  # fmt: skip
    name, reserve = layup.governs
    return Shown(
        letter, head, layup.process, mass_both(layup.mass.mean, system), _range(layup.mass, system),
        thickness_words(layup.thickness, system), money_words(layup), times,
        f"{name} (reserve {reserve_words(reserve)})" if checks else "", stack_svg(stack_lines(layup), system),
        tuple((zone, stack_svg(own, system, on_mould=False)) for zone, own in local_lines(layup)), checks,
        tuple(failing_words(layup)), "", takes,
    )  # fmt: skip


def _worked(has: str, due: str, at_least: bool) -> str:
    """How a reserve comes about, in its numbers."""
    return f"{has} it has over {due} due" if at_least else f"{due} allowed over {has} it has"


def _gives(answer: Answer, layup: Layup) -> str:
    """The figure stiffness is judged by."""
    if answer.by_panel:
        return f"gives {length_words(layup.stiffness, 'metric')} at 1 kPa"
    return f"strip {layup.stiffness:.2f} N m"


def _range(mass: Interval, system: System) -> str:
    return f"{_one(mass.p05, system)} to {_one(mass.p95, system)}"


def _one(kg: float, system: System) -> str:
    return mass_both(kg, "metric") if system == "metric" else mass_words(kg)


def _href(file: str, letter: str) -> str:
    return link("/choose", file=file, point=letter) + "#point"
