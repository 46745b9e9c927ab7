"""What can hurt somebody: one table of rules, read by every command, sheet and page.

What is said of this part, and where the hand is?       `cautions_of(part, library, ...)`, giving `Caution`s
What must not be laid together at all?                  `clash(process, pressure, core, resin)`, read as a fault
How thick may wet plies be laid in one go?              `too_thick(resin, thickness, stages)`

A rule has a trigger, which looks at what the program knows of the part, and the words that are said; where a name
only suggests what a part is, the words ask for the key that settles it. A rule names its source; most are common
practice. None of them stands in for the maker's data sheet, the local rules or a licensed person.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from layup.materials import Library, Material
from layup.partfile.model import Part
from layup.units import parse
from layup.words import System, pressure_words, thickness_words

Cure = Literal["amine", "peroxide"]
Where = Literal["part", "mix", "cut", "bag", "trim", "finish", "fit"]
"""Where the hand is when a caution matters: at the desk, at mixing, cutting, bagging, trimming, finishing, fitting."""
PRACTICE = "common practice"

ALWAYS = "An estimate of weight, not of strength: stiffness, strength and airworthiness need their own proof."
RESIN = "Resin: gloves, goggles, fresh air; a full cup heats up and can burn. Sanding dust: mask and extraction."
LICENSED = "On an aircraft, local rules and a licensed person decide what may be replaced, and sign for it."

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
    return "infusion" in (process.name, process.word("like"))


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
    from layup.units import INHG

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


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing said.

    Attributes:
        rule: Name of the rule.
        words: What is said.
        where: Where the hand is.
        source: Where the rule comes from.
    """

    rule: str
    words: str
    where: Where
    source: str


@dataclass(frozen=True)
class Seen:
    """What the triggers look at.

    Attributes:
        part: The part file.
        process: Its process in the tables.
        pressure: On the bag; None without one. [Pa]
        thickest: Wet plies on one another in one go, at the thickest place. [m]
        system: Units of what is said.
        resins: Of the plies, once each.
        fabrics: Of the plies, from the mould up.
        cores: Of the plies, once each.
        library: The materials.
    """

    part: Part
    process: Material
    pressure: float | None
    thickest: float
    system: System
    resins: tuple[Material, ...]
    fabrics: tuple[Material, ...]
    cores: tuple[Material, ...]
    library: Library

    @property
    def mixes(self) -> bool:
        """Whether resin is mixed in the shop."""
        return self.process.word("mixed") != "no"

    @property
    def title(self) -> str:
        """Title of the part and names of what it replaces, carries and is fitted with."""
        listed = [self.part.title, *(i.name for i in (*self.part.replaces, *self.part.extra))]
        return " / ".join(listed)

    def suggests(self, pattern: str, own: bool = False) -> bool:
        """Whether the title, or the name of an item too, holds one of these words."""
        text = self.part.title if own else self.title
        return re.search(rf"\b(?:{pattern})s?\b", text, re.IGNORECASE) is not None

    def cures(self, cure: Cure) -> bool:
        """Whether a resin that is mixed here hardens so."""
        return self.mixes and any(cure_of(resin) == cure for resin in self.resins)

    def fibre(self, pattern: str, fabrics: Sequence[Material] | None = None) -> bool:
        """Whether one of the fabrics is of such a fibre."""
        listed = self.fabrics if fabrics is None else fabrics
        named = (f"{f.word('fibre') or ''} {f.word('second_fibre') or ''}" for f in listed)
        return any(re.search(pattern, text, re.IGNORECASE) for text in named)

    def replaced(self, pattern: str) -> bool:
        """Whether the old part is of such a sheet."""
        return any(item.sheet and re.search(pattern, item.sheet, re.IGNORECASE) for item in self.part.replaces)

    def finished(self, pattern: str) -> bool:
        """Whether such a finish goes on."""
        named = (entry.finish or entry.name or "" for entry in self.part.finish)
        return any(re.search(pattern, name, re.IGNORECASE) for name in named)


_METAL = r"alumini?um|steel|titanium|magnesium"
_SURFACES = r"rudder|elevator|aileron|elevon|flaperon|stabilator|ruddervator|flap|trim tab|servo tab|control surface"
_ENGINES = r"engine|cowl|cowling|exhaust|firewall|muffler|nacelle"
_HOLDS = r"seat|belt|harness|headrest|floor|floorboard"
_AERIALS = r"aerial|antenna|transponder|radio|compass|GPS|GNSS|ELT|PLB|radome"


def _asked(seen: Seen, key: str, pattern: str, own: bool = False) -> str | None:
    """Nothing more where the part file says it, a question where a name suggests it, None where neither does."""
    said = getattr(seen.part, key)
    if said:
        return ""
    if said is not None or not seen.suggests(pattern, own):
        return None
    return f" Its name suggests it; the part file does not say: write {key} = true, or false."


def _beside(seen: Seen, what: str, pattern: str) -> str | None:
    """The same for what a part stands beside."""
    near = seen.part.near
    if near is not None:
        return _yes(what in near)
    if not seen.suggests(pattern):
        return None
    return f' A name suggests it; the part file does not say: write near = "{what}", or near = "nothing".'


def _yes(holds: bool) -> str | None:
    return "" if holds else None


def _foams(seen: Seen) -> str | None:
    foams = [core.name for core in seen.cores if core.word("form") == "foam"]
    if not foams:
        return None
    if all(is_polystyrene(core) for core in seen.cores if core.word("form") == "foam"):
        return (
            "Hot wire: polystyrene foam only, out of doors or with extraction, the wire no hotter than it takes to cut."
        )
    return (
        f"No hot wire through {' or '.join(foams)}: the smoke is poisonous (polystyrene only, out of doors). Saw it or "
        "sand it."
    )


def _pressed(seen: Seen) -> str | None:
    if seen.pressure is None:
        return None
    for core in seen.cores:
        strength = core.optional("compressive_strength")
        if strength is not None and seen.pressure > NEAR_CRUSHED * strength.value:
            most = pressure_words(CRUSHED * strength.value, seen.system)
            return f"{core.name} is near its limit under this bag: no more than {most}, less where it is warm."
    return None


def _corrodes(seen: Seen) -> bool:
    outer = [seen.fabrics[0], seen.fabrics[-1]] if seen.fabrics else []
    met = seen.replaced(_METAL) or seen.part.fasteners or seen.suggests(r"screw|rivet|nutplate|insert|bolt|frame")
    return bool(seen.fibre("carbon", outer) and met)


def _shields(seen: Seen) -> bool:
    if not seen.fibre("carbon"):
        return False
    let_through = seen.replaced(r"ply|spruce|fir|cedar|birch|balsa|glass|acrylic|polycarbonate|PETG|ABS")
    let_through |= any(item.covering or _glass(seen, item.fabric) for item in seen.part.replaces)
    return let_through or seen.suggests(_AERIALS)


def _glass(seen: Seen, name: str | None) -> bool:
    fabric = seen.library.find("fabric", name) if name else None
    return fabric is not None and not seen.fibre("carbon", [fabric])


@dataclass(frozen=True, slots=True)
class Rule:
    """A trigger with its words: `when` gives what is put after the words, or None where nothing is said."""

    name: str
    where: Where
    when: Callable[[Seen], str | None]
    words: str
    source: str = PRACTICE


RULES = (
    Rule(
        "control surface", "part", lambda s: _asked(s, "control_surface", _SURFACES),
        "Control surface: it must keep its mass balance and its stiffness, or it can flutter. Weigh it, measure its "
        "hinge moment and rebalance it to the aircraft maker's figures, after paint too.",
    ),
    Rule(
        "engine", "part", lambda s: _beside(s, "engine", _ENGINES),
        "Beside an engine: resistance to fire and heat must be shown. Epoxy cured at room temperature is soft at 55 to "
        "60 °C (130 to 140 °F). A metal part that was a fire barrier is not replaced by weight.",
    ),
    Rule(
        "window", "part", lambda s: _yes(s.replaced(r"polycarbonate|acrylic|float glass|PETG")),
        "A window may be an exit, a field of view that the rules ask for, or where rescuers cut: ask before "
        "you close it.",
    ),
    Rule(
        "seat", "part", lambda s: _asked(s, "holds_person", _HOLDS),
        "It holds a person: crash loads and approved data come first, and broken carbon splinters.",
    ),
)  # fmt: skip


def see(part: Part, library: Library, pressure: float | None, thickest: float, system: System) -> Seen:
    """What the triggers look at, from a part file and the materials.

    Args:
        part: The part file.
        library: The materials it names.
        pressure: On the bag; None without one. [Pa]
        thickest: Wet plies on one another in one go, at the thickest place. [m]
        system: Units of what is said.
    """
    process = library.get("process", part.process)
    plies = part.plies()
    fabrics = [f for f in (library.find("fabric", p.fabric) for p in plies if p.fabric) if f is not None]
    cores = [c for c in (library.find("core", p.core) for p in plies if p.core) if c is not None]
    named = [p.resin or part.resin or process.word("resin") for p in plies] or [part.resin]
    resins = [r for r in (library.find("resin", name) for name in named if name) if r is not None]
    return Seen(
        part, process, pressure, thickest, system, _once(resins), tuple(fabrics), _once(cores), library,
    )  # fmt: skip


def _once(materials: Iterable[Material]) -> tuple[Material, ...]:
    return tuple({material.name: material for material in materials}.values())


def cautions_of(seen: Seen) -> tuple[Caution, ...]:
    """Every rule that this part triggers, in the order of the table.

    Args:
        seen: As `see` gives it.
    """
    found = []
    for rule in RULES:
        more = rule.when(seen)
        if more is not None:
            found.append(Caution(rule.name, (rule.words + more).strip(), rule.where, rule.source))
    return tuple(found)
