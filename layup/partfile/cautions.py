"""What can hurt somebody: one table of rules, read by every command, sheet and page.

What is said of this part, and where the hand is?       `cautions_of(see(part, library, ...))`, giving `Caution`s
And where it is not weighed, or only named?             `at_hand`, `suggested`

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
from layup.partfile.clashes import CRUSHED, NEAR_CRUSHED, PRACTICE, THICK, Cure, cure_of, is_polystyrene
from layup.partfile.model import Part
from layup.words import System, pressure_words, thickness_words

Where = Literal["part", "mix", "cut", "bag", "trim", "finish", "fit"]
"""Where the hand is when a caution matters: at the desk, at mixing, cutting, bagging, trimming, finishing, fitting."""

ALWAYS = "An estimate of weight, not of strength: stiffness, strength and airworthiness need their own proof."
RESIN = "Resin: gloves, goggles, fresh air; a full cup heats up and can burn. Sanding dust: mask and extraction."
DUST = "Sanding dust: mask and extraction."
LICENSED = "On an aircraft, local rules and a licensed person decide what may be replaced, and sign for it."


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

    @property
    def aircraft(self) -> bool:
        """Whether it is said to sit in an aircraft: it has an arm from the datum."""
        return self.part.arm is not None

    def soft(self) -> bool:
        """Whether its resin is mixed here and softens below what a dark part can reach in the sun, 90 degC from "
        "memory.
        """
        found = [resin.optional("glass_transition") for resin in self.resins]
        return self.mixes and any(figure is not None and figure.value < 363.15 for figure in found)

    def finished(self, pattern: str) -> bool:
        """Whether such a finish goes on."""
        named = (entry.finish or entry.name or "" for entry in self.part.finish)
        return any(re.search(pattern, name, re.IGNORECASE) for name in named)


_METAL = r"alumini?um|steel|titanium|magnesium"
_SURFACES = r"rudder|elevator|aileron|elevon|flaperon|stabilator|ruddervator|flap|trim tab|servo tab|control surface"
_ENGINES = r"engine|cowl|cowling|exhaust|firewall|muffler|nacelle"
_HOLDS = r"seat|belt|harness|headrest|floor|floorboard|deck|foredeck|walkway|wing ?walk"
_AERIALS = r"aerial|antenna|transponder|radio|compass|GPS|GNSS|ELT|PLB|radome"
_TANKS = r"fuel|petrol|gasoline|gas tank"
_BATTERIES = r"lithium|lifepo4?|battery|batteries"
# The same in German, French and Spanish, of the words that stand in titles.
_SURFACES += r"|\w*ruder|wölbklappe|landeklappe|trimmklappe|gouverne|gouvernail|volet|timón|alerón|elevador"
_ENGINES += r"|motorhaube|motorraum|triebwerk\w*|auspuff\w*|brandspant|capot|moteur|échappement|capó|cortafuegos"
_HOLDS += r"|\w*sitz|sitz\w*|\w*gurt|kopfstütze|\w*lehne|boden|\w+boden|bodenplatte|siège|baquet|harnais|plancher"
_HOLDS += r"|asiento|arnés|suelo|piso"
_AERIALS += r"|antenne|antena|funk\w*"
_TANKS += r"|kraftstoff\w*|treibstoff\w*|benzin\w*|carburant|essence|combustible|gasolina"
_BATTERIES += r"|batterie|akku|batería"
_PANES = r"polycarbonate|acrylic|float glass|PETG"


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


def _shields(seen: Seen) -> str | None:
    near = seen.part.near
    if not seen.fibre("carbon"):
        return None
    if near is not None and "aerial" in near:
        return ""
    let_through = seen.replaced(r"ply|spruce|fir|cedar|birch|balsa|glass|acrylic|polycarbonate|PETG|ABS")
    let_through |= any(item.covering or _glass(seen, item.fabric) for item in seen.part.replaces)
    return _yes(let_through or seen.suggests(_AERIALS))


def _thick(seen: Seen) -> str | None:
    if not seen.mixes or seen.thickest <= THICK:
        return None
    return (
        f"{thickness_words(seen.thickest, seen.system)} of wet plies in one go gets hot by itself: watch it, and cool "
        f"it "
        "with air or water; a slow hardener, or lay it in stages."
    )


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


_BY_NAME = {"control surface": _SURFACES, "battery": _BATTERIES, "fuel": _TANKS}
"""Rules that the name of a thing in a refit calls for, whatever it is made of."""

RULES = (
    # What the part is and where it stands
    Rule(
        "control surface", "part", lambda s: _asked(s, "control_surface", _SURFACES),
        "Control surface: it must keep its mass balance and its stiffness, or it can flutter. Weigh it, measure its "
        "hinge moment and rebalance it to the aircraft maker's figures, after paint too.", "faa-ac-43-13",
    ),
    Rule(
        "engine", "part", lambda s: _beside(s, "engine", _ENGINES),
        "Beside an engine: resistance to fire and heat must be shown. Epoxy cured at room temperature is soft at 55 to "
        "60 °C (130 to 140 °F). A metal part that was a fire barrier is not replaced by weight.",
    ),
    Rule(
        "fuel", "part", lambda s: _beside(s, "fuel", _TANKS),
        "Fuel: not every resin stands it, and alcohol in it softens some. Proven resin, vents, bonding straps and "
        "approved "
        "data come before weight.",
    ),
    Rule(
        "window", "part", lambda s: _yes(s.replaced(_PANES)),
        "A window may be an exit, a field of view that the rules ask for, or where rescuers cut: ask before you close "
        "it.",
    ),
    Rule(
        "radio", "part", lambda s: _shields(s),
        "Carbon is a wall to radio and turns a compass: transponder, emergency beacon, satellite navigation, collision "
        "warning. Keep glass in front of the aerials, and test the range.",
    ),
    Rule(
        "lightning", "part", lambda s: _yes(s.aircraft and s.replaced(_METAL) and not s.part.holds_person),
        "The old metal carried lightning and static charge away: bonding straps, a metal mesh and the fuel vents have "
        "to "
        "be thought of anew.",
    ),
    Rule(
        "seat", "part", lambda s: _asked(s, "holds_person", _HOLDS),
        "It holds a person: crash loads and approved data come first, and broken carbon splinters.",
    ),
    Rule(
        "battery", "part", lambda s: _yes(s.suggests(_BATTERIES)),
        "A battery of another kind, or in another place, needs its own approval: how it is held, vented, fused and "
        "charged.",
    ),
    Rule(
        "mat and epoxy", "part",
        lambda s: _yes(s.cures("amine") and any(f.word("form") == "mat" for f in s.fabrics)),
        "The binder of ordinary chopped mat dissolves in styrene, not in epoxy: ask for powder-bound or stitched mat.",
    ),
    # At mixing
    Rule(
        "amine", "mix", lambda s: _yes(s.cures("amine")),
        "Epoxy: nitrile gloves, changed often; soap and water on skin, never a solvent. The allergy is for life; warm "
        "resin, and dust of half-cured epoxy, are the surest way to it.", "epoxy-precautions",
    ),
    Rule(
        "peroxide", "mix", lambda s: _yes(s.cures("peroxide")),
        "Peroxide catalyst blinds: goggles on before its cap comes off. Never let it meet the accelerator (promoter) "
        "alone. Rags and cups can catch fire: out of doors, wet.", "mekp-safety",
    ),
    Rule(
        "styrene", "mix", lambda s: _yes(s.cures("peroxide")),
        "Styrene vapour: moving air, a mask with an organic-vapour cartridge (brown, type A; in the US black), no "
        "flame "
        "or spark. It is heavier than air and lies in a hull.",
    ),
    Rule("thick", "mix", lambda s: _thick(s), ""),
    # At cutting
    Rule("foam", "cut", lambda s: _foams(s), ""),
    # At the bag
    Rule(
        "implosion", "bag", lambda s: _yes(s.pressure is not None),
        "Glass plates and hollow moulds break inwards under vacuum: bag right round them (an envelope bag), or brace "
        "them.",
    ),
    Rule("crush", "bag", lambda s: _pressed(s), ""),
    # At trimming
    Rule(
        "carbon dust", "trim", lambda s: _yes(s.fibre("carbon")),
        "Carbon dust: a P3 (P100) mask, goggles, wet sanding, extraction with a HEPA filter. It conducts: keep it out "
        "of "
        "motors, radios and chargers. Splinters fester.",
    ),
    Rule(
        "dust", "trim", lambda s: _yes(not s.fibre("carbon")),
        "Sawing and sanding: a P2 (N95) mask or better, goggles, extraction; wet where it goes.",
    ),
    # At the finish
    Rule(
        "isocyanate", "finish", lambda s: _yes(s.finished("polyurethane")),
        "Two-pack polyurethane, sprayed: air-fed breathing apparatus, not a cartridge; it is the main cause of "
        "painters' "
        "asthma.", "hse-isocyanate-masks",
    ),
    Rule(
        "paint and heat", "finish", lambda s: _yes(s.finished("paint|clear coat") and s.soft()),
        "In the sun a dark part gets hotter than this resin stands when it is cured at room temperature: paint it "
        "white, "
        "or post-cure it as the resin's sheet says.",
    ),
    Rule(
        "polyester on epoxy", "finish",
        lambda s: _yes(s.cures("amine") and s.finished("gel coat|polyester")),
        "Polyester does not cure well on epoxy that is fresh, and sticks badly to it: gel coat and filler of an epoxy "
        "kind, "
        "or a test piece first.",
    ),
    # At fitting
    Rule(
        "corrosion", "fit", lambda s: _yes(_corrodes(s)),
        "Carbon eats aluminium where it is wet: a glass ply between, sealant on every edge, stainless or titanium "
        "fasteners "
        "set wet in it.", "sae-arp-4118",
    ),
)  # fmt: skip
"""What is said, in the order it is said; of `safety` in sources.toml, or common practice without a source."""


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
        part=part,
        process=process,
        pressure=pressure,
        thickest=thickest,
        system=system,
        resins=_once(resins),
        fabrics=tuple(fabrics),
        cores=_once(cores),
        library=library,
    )


def _once(materials: Iterable[Material]) -> tuple[Material, ...]:
    return tuple({material.name: material for material in materials}.values())


def at_hand(part: Part, library: Library, *where: Where) -> tuple[str, ...]:
    """What is said where the hand is, of a part that is not weighed: what needs no pressure and no thickness.

    Args:
        part: The part file.
        library: The materials it names.
        where: Which places.
    """
    seen = see(part, library, None, 0.0, part.units)
    return tuple(one.words for one in cautions_of(seen) if one.where in where)


def suggested(names: Iterable[str]) -> tuple[Caution, ...]:
    """What the names of a refit's items call for: control surfaces, batteries, fuel, seats; each rule once."""
    listed = list(names)
    found = []
    for rule, pattern in _BY_NAME.items():
        named = [name for name in listed if re.search(rf"\b(?:{pattern})s?\b", name, re.IGNORECASE)]
        if named:
            words = next(one.words for one in RULES if one.name == rule)
            found.append(Caution(rule, f"{', '.join(dict.fromkeys(named))}: {words}", "part", _source_of(rule)))
    return tuple(found)


def _source_of(name: str) -> str:
    return next(rule.source for rule in RULES if rule.name == name)


def cautions_of(seen: Seen) -> tuple[Caution, ...]:
    """Every rule that this part triggers, in the order of the table."""
    found = []
    for rule in RULES:
        more = rule.when(seen)
        if more is not None:
            found.append(Caution(rule.name, (rule.words + more).strip(), rule.where, rule.source))
    return tuple(found)
