"""What must not be laid together: it melts, floods, burns or is crushed, and is a fault of the part file.

What hardens this resin, what dissolves this core?      `cure_of`, `is_polystyrene`, `is_infusion`
Can this core be laid so?                               `clash(process, pressure, core, resin)`
How thick may wet plies be laid in one go?              `too_thick(process, resin, thickness, stages)`
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from layup.materials import Material
from layup.units import INHG, parse
from layup.words import pressure_words, thickness_words

Cure = Literal["amine", "peroxide"]
PRACTICE = "common practice"

CRUSHED = 0.5
"""Share of its crushing strength that a foam may be pressed with: beyond, it creeps. Common practice, no source. [-]"""
NEAR_CRUSHED = 1 / 3
"""The share from which one is told. Common practice, no source. [-]"""
THICK = parse("6 mm", "length")
"""Wet plies in one go from which heat is a matter. Common practice, no source. [m]"""
TOO_THICK: dict[Cure, float] = {"peroxide": THICK, "amine": 2 * THICK}
"""Wet plies in one go that are refused, laid by hand. Common practice, no source. [m]"""


def cure_of(resin: Material) -> Cure:
    """What hardens a resin: a peroxide catalyst (polyester, vinyl ester), or an amine hardener (epoxy).

    Args:
        resin: Of the tables; its `cured_by`, else its name, says it.
    """
    said = resin.word("cured_by")
    if said is not None:
        return "peroxide" if said.casefold() == "peroxide" else "amine"
    return "peroxide" if re.search(r"polyester|vinyl ?ester|\bVE\b|styren", resin.name, re.IGNORECASE) else "amine"


def is_polystyrene(core: Material) -> bool:
    """Whether styrene dissolves a core: its `dissolved_by`, else its name, says it."""
    said = core.word("dissolved_by")
    if said is not None:
        return "styrene" in said.casefold()
    return re.search(r"\b(XPS|EPS)\b|styro|polystyrene", core.name, re.IGNORECASE) is not None


def is_infusion(process: Material) -> bool:
    """Whether resin is drawn in from a bucket: an infusion, or a process of the shop's own like it."""
    return process.word("infused") is not None


@dataclass(frozen=True, slots=True)
class Clash:
    """Two things that must not meet.

    Attributes:
        wrong: What happens, a clause.
        remedy: What to do instead, a sentence.
        source: Where the rule comes from.
    """

    wrong: str
    remedy: str
    source: str = PRACTICE


def clash(process: Material, pressure: float | None, core: Material, resin: Material | None) -> Clash | None:
    """Why a core can't be laid with this process and resin; None where it can.

    Args:
        process: Of the tables.
        pressure: On the bag; None without one. [Pa]
        core: Of the tables.
        resin: Of the ply, or None where it is not known.
    """
    mixes = process.word("mixed") != "no"
    if is_polystyrene(core):
        if mixes and resin is not None and cure_of(resin) == "peroxide":
            return Clash(
                f"the styrene in {resin.name} dissolves this foam: the core melts under the cloth",
                'Use epoxy, resin = "epoxy, laminating", or a PVC or PMI foam.',
            )
        if not mixes:
            return Clash(
                "polystyrene softens at 70 to 80 °C, below the cure of a prepreg: the core melts in the oven",
                'Write process = "vacuum bag" with an epoxy that cures cold, or take a PMI foam.',
            )
    if core.word("form") == "honeycomb" and is_infusion(process):
        return Clash(
            "the feed floods its open cells with resin: the part is many times too heavy",
            'Write process = "vacuum bag" or "prepreg", or take a foam core.',
        )
    if core.rows_of("soak") and not mixes:
        return Clash(
            "this core has to soak up wet resin, and a prepreg brings none for it: it stays dry and peels",
            'Take a honeycomb or a foam, or write process = "wet".',
        )
    strength = core.optional("compressive_strength")
    if pressure is not None and strength is not None and pressure > CRUSHED * strength.value:
        allowed = CRUSHED * strength.value
        return Clash(
            f"{pressure_words(pressure, 'both')} crushes it: it gives way at {strength.printed}, and creeps from half "
            "of that",
            f'Hold the gauge at {pressure_words(allowed, "both")} or less, vacuum = "{_gauge(allowed)}", or take a '
            "stronger core.",
        )
    return None


def _gauge(pressure: float) -> str:
    """A gauge reading to write, rounded down."""
    return f"{int(pressure / INHG):d} inHg"


def too_thick(process: Material, resin: Material, thickness: float, stages: int) -> Clash | None:
    """Why so much wet laminate can't be laid in one go; None where it can, or where the resin is not wet.

    Args:
        process: Of the tables; an infusion's slow resin is told of, not refused.
        resin: Of the plies.
        thickness: Of the wet plies on one another, at the thickest place. [m]
        stages: In how many goes they are laid, each hard and cool before the next.
    """
    most = TOO_THICK[cure_of(resin)]
    if process.word("mixed") == "no" or is_infusion(process) or thickness / stages <= most:
        return None
    goes = -int(-thickness // most)
    return Clash(
        f"{thickness_words(thickness / stages, 'both')} of wet plies in one go can scorch, crack or catch fire: no "
        f"more than about {thickness_words(most, 'both')} at a time of {resin.name} ({PRACTICE}, no source)",
        f"Lay it in stages, each hard and cool before the next, and write at the top of the file: stages = {goes}.",
    )
