"""Resin in batches: how much in each, when, for which plies.

`mixes` takes the resin to mix from the prediction, losses counted, shares it out over the plies in laying order, and
parts it in batches of one size: as few as can each be used up while they last by the people there are. An infusion
drinks from a bucket that is refilled, so there only the heat of a batch sets its size.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from layup.cloth import practice
from layup.errors import RangeError, TooFastError
from layup.make.mixing import Scale, checked_ratio, known_ratio, mixed_density, parts, ratio_by_volume
from layup.make.potlife import PotLife, pot_life_of
from layup.materials import Material, row_words
from layup.partfile.clashes import Cure, cure_of
from layup.partfile.job import Job
from layup.sources import Figure
from layup.units import OZ, parse_ratio
from layup.weight.plies import Layer
from layup.weight.weigh import Weighed
from layup.words import System, mass_both, plain, scale_words, temperature_words, volume_words

MOST_POTS = 60
LEAST_CUP, LARGEST_CUP = 20e-6, 50e-3
"""Cups and buckets that resin is mixed in: common practice, no source. [m^3]"""
LEAST_POT = 0.005
"""The smallest batch that is reckoned with: less can't be weighed to a ratio. Common practice, no source. [kg]"""
COLDEST, WARMEST = 273.15, 318.15
"""Shops in which resin is mixed by hand; the pot life's law is not trusted beyond. Common practice, no source. [K]"""


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch: a cup, mixed at once.

    Attributes:
        number: In the order of use, from 1.
        mass: [kg]
        resin: None where the ratio is not known. [kg]
        hardener: The same. [kg]
        start: When to mix it, from the start of the layup; None for an infusion. [s]
        used: When it is used up; None for an infusion. [s]
        lasts: Its pot life. [s]
        covers: What it is for, in words.
        plies: Numbers of the plies and cores it is for.
        cup: The smallest of the shop's cups that holds it; None where none was named. [m^3]
    """

    number: int
    mass: float
    resin: float | None
    hardener: float | None
    start: float | None
    used: float | None
    lasts: float
    covers: str
    plies: tuple[int, ...]
    cup: float | None = None


@dataclass(frozen=True)
class Mix:
    """All batches of one resin.

    Attributes:
        resin: Its name.
        ratio: Hardener over resin by mass; None where nobody who has the can gave it. [-]
        cure: "amine" for a hardener, "peroxide" for a catalyst.
        asks: What to do where the ratio is not known; empty where it is.
        ratio_figure: Where it is printed; None where it was given, or is not known.
        volume_ratio: Hardener over resin by volume; None where the densities are not known. [-]
        densities: Of liquid resin, hardener and mix; None where not known. [kg/m^3]
        total: To mix. [kg]
        batches: In the order of use.
        pot_life: As printed.
        temperature: Of the shop, as taken. [K]
        people: Pairs of hands.
        feed: Whether an infusion drinks it.
        cautions: What to know.
        figures: What it rests on.
        scale: What the scale shows at the least; None where it was not named.
        ratio_error: How far that scale can put the ratio off, at the worst batch; 0 without one. [-]
    """

    resin: str
    ratio: float | None
    cure: Cure
    asks: str
    ratio_figure: Figure | None
    volume_ratio: float | None
    densities: tuple[float, float, float] | None
    total: float
    batches: tuple[Batch, ...]
    pot_life: PotLife
    temperature: float
    people: int
    feed: bool
    cautions: tuple[str, ...]
    figures: tuple[Figure, ...] = field(repr=False)
    scale: Scale | None = None
    ratio_error: float = 0.0

    def __repr__(self) -> str:
        ratio = "ratio not known" if self.ratio is None else f"100 to {plain(100 * self.ratio, 4)} by weight"
        return f"Mix({self.resin!r}: {mass_both(self.total, 'both')}, batches: {len(self.batches)}, {ratio})"


@dataclass(frozen=True, slots=True)
class _Step:
    """One stretch of the work: laying one ply or core."""

    name: str
    resin: float
    seconds: float


def mixes(
    job: Job,
    weighed: Weighed,
    *,
    people: int = 1,
    temperature: float | None = None,
    ratio: float | None = None,
    pot: float | None = None,
    cups: Sequence[float] = (),
    scale: Scale | None = None,
) -> tuple[Mix, ...]:
    """The batches of a part, resin by resin.

    Args:
        job: The part file, read.
        weighed: Its weight in its own process.
        people: Pairs of hands at the mould. [-]
        temperature: Of shop and resin; that of the printed pot life if None. [K]
        ratio: Hardener over resin by mass, from the can; if None, the shop's own table's or the maker's. [-]
        pot: Most to mix at once; common practice if None. [kg]
        cups: Sizes of the shop's cups, brimful. [m^3]
        scale: The shop's resin scale; amounts are whole steps of it.

    Returns:
        One mix for each resin; empty for a prepreg.

    Raises:
        RangeError: A temperature that no shop has, a ratio that the resin can't have, or a batch too small to mix.
        TooFastError: The smallest batch gels before it is used up; the message says what to do.
        LayupError: A pot life is in no table.
    """
    system = job.part.units
    if pot is not None and pot < LEAST_POT:
        raise RangeError(
            f"a batch of {scale_words(pot, system)} is too little to mix: write {scale_words(LEAST_POT, system)} or "
            "more"
        )
    for cup in cups:
        if not LEAST_CUP <= cup <= LARGEST_CUP:
            raise RangeError(
                f"a cup of {volume_words(cup, system)} can't be. Write what it holds when it is brimful: "
                '--cup "250 ml" or "9 fl oz"'
            )
    if temperature is not None and not COLDEST <= temperature <= WARMEST:
        raise RangeError(
            f"a shop at {temperature_words(temperature, system)} can't be: resin is mixed by hand between "
            f"{temperature_words(COLDEST, system)} and {temperature_words(WARMEST, system)}. Write --temperature "
            f'"{"70 degF" if system == "lb" else "21 degC"}"'
        )
    if not weighed.process.mixes or weighed.resin_to_mix <= 0:
        return ()
    names = list(dict.fromkeys(layer.resin_name for layer in weighed.layers if _wet(layer, weighed) > 0))
    raw = {
        name: [_wet(layer, weighed) if layer.resin_name == name else 0.0 for layer in weighed.layers] for name in names
    }
    share = weighed.resin_to_mix / sum(sum(values) for values in raw.values())
    found = []
    for name in names:
        steps = [
            _Step(f"{layer.number}", wet * share, _seconds(layer, people))
            for layer, wet in zip(weighed.layers, raw[name], strict=True)
        ]
        found.append(_mix(job, name, steps, weighed, _Asked(people, temperature, ratio, pot, tuple(cups), scale)))
    if apart := _apart(weighed, system):
        found[-1] = replace(found[-1], cautions=(*found[-1].cautions, apart))
    return tuple(found)


_GLUED = re.compile(r"\b(fillets?|flox|glue|adhesive|paste|bond(ing)?|potting|micro)\b", re.IGNORECASE)
"""Words of an extra that is stirred up in a cup of its own; common practice, no source."""


def _apart(weighed: Weighed, system: System) -> str:
    """What else of the part is mixed, in no batch of these: gel coat with its own catalyst, fillets and glue."""
    coats = [
        (thing.name, thing.mass * thing.in_mould * (1.0 + weighed.gel_coat_away / weighed.gel_coat))
        for thing in weighed.finishes
        if thing.in_mould
    ]
    things = [(thing.name, thing.mass) for thing in weighed.extras if _GLUED.search(thing.name)]
    if not coats and not things:
        return ""
    words = ", ".join(f"{name} {mass_both(mass, system)}" for name, mass in (*coats, *things))
    return f"In none of these batches, to be mixed apart: {words}, and what stays in its cup."


def _wet(layer: Layer, weighed: Weighed) -> float:
    """Resin of one layer in the part: its own, at a core, and half the film for the first and the last cloth. [kg]"""
    cloth = [one for one in weighed.layers if one.kind == "fabric"]
    films = (layer is cloth[0]) + (layer is cloth[-1])
    return (layer.resin + layer.bond) * layer.area + films * weighed.film / 2


def _seconds(layer: Layer, people: int) -> float:
    return practice.HANDLE.value + practice.WET_OUT.value * layer.area / people


def is_feed(weighed: Weighed) -> bool:
    """Whether the resin is drawn in from a bucket: an infusion, or a process of the shop's own like it."""
    return weighed.process.infuses


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the shop said, as `mixes` takes it."""

    people: int
    temperature: float | None
    ratio: float | None
    pot: float | None
    cups: tuple[float, ...]
    scale: Scale | None


def _mix(job: Job, name: str, steps: list[_Step], weighed: Weighed, asked: _Asked) -> Mix:
    library = job.library
    resin = library.get("resin", name)
    cure = cure_of(resin)
    printed = None if asked.ratio is not None else known_ratio(resin, library.sources)
    ratio = checked_ratio(resin, asked.ratio) if asked.ratio is not None else printed.value if printed else None
    life = pot_life_of(resin)
    warm = life.temperature if asked.temperature is None else asked.temperature
    total = sum(step.resin for step in steps)
    feed = is_feed(weighed)
    liquid = resin.optional("density_resin"), resin.optional("density_hardener")
    densities = volume = None
    if ratio is not None and liquid[0] is not None and liquid[1] is not None:
        densities = (liquid[0].value, liquid[1].value, mixed_density(ratio, liquid[0].value, liquid[1].value))
        volume = ratio_by_volume(ratio, liquid[0].value, liquid[1].value)
    density = densities[2] if densities is not None else 1000.0  # a cup is taken to hold the less
    most = asked.pot if asked.pot is not None else (practice.FEED_POT if feed else practice.POT).value
    if asked.cups and not feed:
        most = min(most, max(asked.cups) * practice.FILL.value * density)
    count = math.ceil(total / most - 1e-9)
    if not feed:
        count = _fewest(
            job=job, name=resin.name, steps=steps, total=total, count=count, life=life, warm=warm, people=asked.people
        )
    size = total / count
    batches = []
    for number in range(count):
        mass, part, hardener = size, None, None
        if ratio is not None:
            part, hardener = parts(size, ratio) if asked.scale is None else asked.scale.parts(size, ratio)
            mass = part + hardener
        start, used = _when(steps, number * size), _when(steps, (number + 1) * size)
        covers, plies = _covers(steps, number * size, (number + 1) * size)
        holding = sorted(cup for cup in asked.cups if mass <= cup * practice.FILL.value * density * 1.06)
        batches.append(
            Batch(
                number=number + 1,
                mass=mass,
                resin=part,
                hardener=hardener,
                start=None if feed else start,
                used=None if feed else used,
                lasts=life.at(size, warm),
                covers="feed bucket" if feed else covers,
                plies=plies,
                cup=holding[0] if holding else None,
            )
        )
    off = 0.0
    if asked.scale is not None and ratio is not None:
        off = max(asked.scale.error(b.resin or 1.0, b.hardener or 1.0, ratio) for b in batches)
    figures = (
        *((printed,) if printed else ()), life.figure, *(f for f in liquid if f), practice.WET_OUT, practice.HANDLE,
        practice.MIXING, practice.USE, practice.POT, practice.HALVING, practice.MASS_POWER,
    )  # fmt: skip
    cautions = (
        *_by_the_can(resin, asked.ratio, printed, asked.scale, off),
        *_cautions(job.part.units, life, warm=warm, size=size, steps=steps, feed=feed, cure=cure),
    )
    return Mix(
        resin=resin.name,
        ratio=ratio,
        cure=cure,
        asks="" if ratio is not None else _asks(resin, cure),
        ratio_figure=printed,
        volume_ratio=volume,
        densities=densities,
        total=total,
        batches=tuple(batches),
        pot_life=life,
        temperature=warm,
        people=asked.people,
        feed=feed,
        cautions=cautions,
        figures=figures,
        scale=asked.scale,
        ratio_error=off,
    )


def _fewest(
    job: Job, name: str, steps: list[_Step], total: float, count: int, life: PotLife, warm: float, people: int
) -> int:
    """The least number of equal batches that can each be used up in time."""
    fits = 0
    for tried in range(max(count, 1), MOST_POTS + 1):
        size = total / tried
        if tried > 1 and size < practice.SMALLEST.value:
            break
        usable = life.at(size, warm) * practice.USE.value
        longest = max(_when(steps, (n + 1) * size) - _when(steps, n * size) for n in range(tried))
        if practice.MIXING.value + longest <= usable:
            fits = tried
            break
    if fits:
        return fits
    size = min(total, max(practice.SMALLEST.value, total / MOST_POTS))
    longest = practice.MIXING.value + _when(steps, size)
    usable = life.at(size, warm) * practice.USE.value
    more = people + 1
    raise TooFastError(
        f'resin "{name}" is too fast for this layup: a batch of {scale_words(size, job.part.units)}, the least worth '
        f"mixing, takes {_minutes(longest)} to stir and wet out with, and should be used up in {_minutes(usable)} "
        f"(half its pot life). Take a slower hardener, a cooler shop (--temperature), or more people (--people {more})"
    )


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 600 else f"{seconds / 60:.1f} min"


def _when(steps: list[_Step], resin: float) -> float:
    """When so much resin has been used, at an even pace within each ply. [s]"""
    clock = 0.0
    left = resin
    for step in steps:
        if left < step.resin - 1e-12:
            return clock + step.seconds * left / step.resin
        left -= step.resin
        clock += step.seconds
    return clock


def _covers(steps: list[_Step], start: float, end: float) -> tuple[str, tuple[int, ...]]:
    """Which plies a batch is for, "1, 2 and part of 3", and their numbers."""
    names = []
    numbers = []
    at = 0.0
    for step in steps:
        low, high = max(at, start), min(at + step.resin, end)
        if high - low > 0.02 * step.resin and step.resin > 0:
            share = (high - low) / step.resin
            whole = share > 0.98
            words = step.name if whole else f"rest of {step.name}" if low > at else f"part of {step.name}"
            names.append(words)
            numbers.append(int(step.name))
        at += step.resin
    text = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return text, tuple(numbers)


def _asks(resin: Material, cure: Cure) -> str:
    """What to do before anything is weighed, where nobody who has the can gave its ratio."""
    what, example = ("catalyst", "1.5 %") if cure == "peroxide" else ("hardener", "100:30")
    rows = [parse_ratio(row.value) for row in resin.rows_of("mix_ratio_by_weight")]
    spread = ""
    if rows:
        low, high = min(rows) * 100, max(rows) * 100
        to = f"100:{low:g} to 100:{high:g}" if high > low else f"100:{low:g}"
        spread = f" Resins sold as {resin.name} are mixed from {to} by weight: not a figure to mix by."
        spread = spread if high > low else f" {to} is what one of its kind is mixed by: not a figure to mix by."
    return (
        f"No {what} is given: the ratio by weight is on the label of your {resin.name} and in no table that is yours."
        f'{spread} Write --ratio "{example}", resin first, or a row in your own table: '
        + row_words(resin.name, "mix_ratio_by_weight", "100:30" if cure == "amine" else "100:1.5")
    )


_GRAMS = (20, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400, 500, 600, 800, 1000)
_OUNCES = (0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40)


def scale_table(ratio: float | None, size: float, ounces: bool = False) -> tuple[tuple[float, float], ...]:
    """Round amounts of resin up to past the largest batch, and their hardener.

    Args:
        ratio: Hardener over resin by mass; None for no table. [-]
        size: Of the largest batch. [kg]
        ounces: Round in ounces; else in grams.

    Returns:
        Resin and hardener. [kg]
    """
    if ratio is None:
        return ()
    rounds = [mass * (OZ if ounces else 1e-3) for mass in (_OUNCES if ounces else _GRAMS)]
    resin = size / (1 + ratio)
    last = next((i for i, mass in enumerate(rounds) if mass >= resin), len(rounds) - 1)
    return tuple((mass, mass * ratio) for mass in rounds[max(0, last - 8) : last + 2])


def _by_the_can(
    resin: Material, given: float | None, printed: Figure | None, scale: Scale | None, off: float
) -> list[str]:
    """What to know of the ratio: how it stands to what is known, and what a coarse scale makes of it."""
    found = []
    ratios = [parse_ratio(row.value) for row in resin.rows_of("mix_ratio_by_weight")]
    if given is not None and ratios and not 0.95 * min(ratios) <= given <= 1.05 * max(ratios):
        known = f"100:{min(ratios) * 100:g} to 100:{max(ratios) * 100:g}"
        known = known if max(ratios) > min(ratios) else f"100:{max(ratios) * 100:g}"
        found.append(
            f"100:{plain(given * 100, 4)} is outside the {known} that is known of resins sold as {resin.name}: read "
            "the can once more."
        )
    if printed is not None and not resin.rows_of("mix_ratio_by_weight")[0].shop:
        found.append(f"{printed.printed} is what one maker prints; the ratio on your can counts.")
    liquid = [resin.rows_of(name) for name in ("density_resin", "density_hardener")]
    if (given or printed) and cure_of(resin) == "amine" and all(liquid) and not all(rows[0].shop for rows in liquid):
        found.append("By volume goes by the densities of a usual resin, not of yours: weigh it, don't pour by it.")
    if scale is not None and off:
        told = f"A scale that steps by {scale.words(scale.step)} can put the ratio off by {off * 100:.1f} % of itself"
        if off > practice.BEST_RATIO.value:
            told += ": mix a larger batch, or weigh on a finer scale"
        found.append(told + ".")
    return found


def _cautions(
    system: System, life: PotLife, warm: float, size: float, steps: list[_Step], feed: bool, cure: Cure
) -> tuple[str, ...]:
    found = []
    if not life.stated:
        usual = f"{scale_words(life.mass, system)} at {temperature_words(life.temperature, system)}"
        found.append(f"The pot life is printed without mass and temperature; {usual} are taken.")
    if size > life.mass:
        away = (
            "Feed it from a wide, shallow bucket, and mix the next batch only when this one is nearly drawn in."
            if feed
            else "Pour it into a wide tray or onto the cloth at once."
        )
        found.append(
            f"Exotherm: a batch of {scale_words(size, system)} gels in about {_minutes(life.at(size, warm))}, where "
            f"{scale_words(life.mass, system)} would last {_minutes(life.at(life.mass, warm))} (common practice, no "
            f"source). {away}"
        )
    if size > practice.POT.value:
        found.append(
            "Exotherm: so much in one deep cup can boil and smoke. Use a wide bucket, stand it in water, keep a lid "
            "and a place outdoors ready."
        )
    length = sum(step.seconds for step in steps)
    if not feed and length > life.at(0.0, warm):
        slower = "less catalyst within the maker's range" if cure == "peroxide" else "a slower hardener"
        found.append(
            f"Laying up takes about {_minutes(length)}, longer than the pot life of {_minutes(life.at(0.0, warm))}: "
            f"the first plies gel before the last is down. Have the next ply ready, take more people, or {slower}."
        )
    return tuple(found)
