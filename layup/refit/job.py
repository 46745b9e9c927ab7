"""A refit file that holds, all in SI units: the aircraft it starts from, its items, load cases and candidates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from layup.refit.balance import Balance
from layup.refit.candidates import Candidate
from layup.refit.items import Item
from layup.refit.model import Refit
from layup.weight.prediction import Prediction


@dataclass(frozen=True, slots=True)
class Aboard:
    """One thing of a load case: where, how much, at what arm."""

    name: str
    mass: float
    arm: float
    text: str


@dataclass(frozen=True, slots=True)
class LoadCase:
    """One way the aircraft flies: what is aboard besides the empty aircraft. [kg, kg m]"""

    name: str
    aboard: tuple[Aboard, ...]
    sum: Balance


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a weighing as the record keeps it: what, net mass with its sign, arm, and the words of each."""

    name: str
    mass: float
    arm: float
    mass_text: str
    arm_text: str
    note: str = ""


@dataclass(frozen=True)
class Weighing:
    """The empty aircraft from one weighing or record.

    Attributes:
        lines: Scales, then what was taken off and added to make it the empty weight.
        empty: The sum. [kg, kg m]
        date: Year-month-day, or empty.
        by: Who.
        method: How.
        record: The record it is from, if it is from one.
    """

    lines: tuple[Line, ...]
    empty: Balance
    date: str = ""
    by: str = ""
    method: str = ""
    record: str = ""


@dataclass(frozen=True)
class RefitJob:
    """A refit file that holds.

    Attributes:
        file: Name of the file, or "" for one given as a mapping.
        folder: Where it and what it names lie.
        refit: As written.
        start: The aircraft before.
        final: The aircraft weighed at the end; None before that.
        items: What came out, went in and moved.
        loads: The load cases.
        candidates: What could be made next.
        predictions: Of every part file it names.
    """

    file: str
    folder: Path
    refit: Refit
    start: Weighing
    final: Weighing | None
    items: tuple[Item, ...]
    loads: tuple[LoadCase, ...]
    candidates: tuple[Candidate, ...]
    predictions: Mapping[str, Prediction] = field(repr=False)
