"""Figures of a refit as its record is kept: pounds, ounces and inches, or kilograms and millimetres.

A mass, its change with a sign                        mass_kept, change_kept
An arm, a moment, each with its sign                  arm_kept, moment_kept
A moment in the short form of the aircraft's papers   index_kept, index_note
A place on the chord                                  chord_kept

Signs are always printed where a wrong one could hide: `+` as well as a true minus.
"""

from __future__ import annotations

from typing import Literal

from layup.refit.balance import chord_fraction, moment_index
from layup.refit.model import ChordEntry, IndexEntry
from layup.units import INCH, LB
from layup.words import MINUS, mass_metric, mass_words, percent_words

Kept = Literal["lb", "metric"]

NOTHING = {"lb": "0 oz", "metric": "0 g"}


def mass_kept(kg: float, kept: Kept) -> str:
    """A mass as the record is kept.

    Args:
        kg: [kg]
        kept: "lb" or "metric".

    >>> mass_kept(543.21, "lb"), mass_kept(543.21, "metric")
    ('1197 lb 9 oz', '543.2 kg')
    """
    return mass_words(kg) if kept == "lb" else mass_metric(kg)


def change_kept(kg: float, kept: Kept) -> str:
    """A change of mass, with its sign whichever it is.

    >>> change_kept(1.5, "lb"), change_kept(-1.5, "metric")
    ('+3 lb 5 oz', '−1.50 kg')
    """
    text = mass_kept(abs(kg), kept)
    if kg == 0.0:
        return NOTHING[kept]
    return (MINUS if kg < 0 else "+") + text


def arm_kept(m: float, kept: Kept, decimals: int | None = None) -> str:
    """An arm with its sign: two decimals of an inch, or whole millimetres.

    >>> arm_kept(1.98182, "lb"), arm_kept(-0.0762, "metric")
    ('+78.02 in', '−76 mm')
    """
    value, unit, digits = (m / INCH, "in", 2) if kept == "lb" else (m * 1e3, "mm", 0)
    return _signed(value, digits if decimals is None else decimals) + f" {unit}"


def moment_kept(kg_m: float, kept: Kept) -> str:
    """A moment (mass times arm) with its sign.

    >>> moment_kept(-1.152124622, "lb"), moment_kept(-1.152124622, "metric")
    ('−100.0 lb-in', '−1.152 kg m')
    """
    if kept == "lb":
        return _signed(kg_m / (LB * INCH), 1) + " lb-in"
    return _signed(kg_m, 3) + " kg m"


def index_kept(kg_m: float, index: IndexEntry, kept: Kept) -> str:
    """A moment in the short form: over the divisor, rounded."""
    unit = LB * INCH if kept == "lb" else 1.0
    return _signed(moment_index(kg_m / unit, index.per, index.decimals).value, index.decimals)


def index_note(index: IndexEntry, kept: Kept) -> str:
    """What the short form is, and what its rounding may lose.

    >>> index_note(IndexEntry(per=1000, decimals=1), "lb")
    'Index: moment in lb-in over 1,000, rounded to 0.1; rounding may put a line up to 50 lb-in off.'
    """
    unit = "lb-in" if kept == "lb" else "kg m"
    loses = moment_index(0.0, index.per, index.decimals).loses_up_to
    step = f"{10.0**-index.decimals:.{index.decimals}f}"
    return (
        f"Index: moment in {unit} over {index.per:,g}, rounded to {step}; "
        f"rounding may put a line up to {loses:,g} {unit} off."
    )


def chord_kept(cg: float, chord: ChordEntry | None) -> str:
    """A centre of gravity on the mean chord; empty without a chord.

    >>> chord_kept(2.4, None)
    ''
    """
    if chord is None:
        return ""
    return f"{percent_words(chord_fraction(cg, chord.leading_edge.si, chord.length))} MAC"


def _signed(value: float, decimals: int) -> str:
    text = f"{abs(value):,.{decimals}f}"
    if float(text.replace(",", "")) == 0.0:
        return text
    return (MINUS if value < 0 else "+") + text
