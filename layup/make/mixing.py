r"""Mixing arithmetic: parts by weight and by volume.

Is the ratio known at all?                      known_ratio(resin, sources), checked_ratio(resin, ratio)
How much of each for this much mixed resin?     parts(total, ratio)
What can the scale show of it?                  Scale, read_scale, Scale.parts
What is the ratio by volume?                    ratio_by_volume: r_v = r_w rho_resin / rho_hardener
How dense is the mix?                           mixed_density: (1 + r_w) / (1 / rho_resin + r_w / rho_hardener)

The ratio r_w is hardener mass over resin mass.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict

from layup.cloth import practice
from layup.errors import RangeError
from layup.materials import Material, row_words
from layup.partfile.clashes import cure_of
from layup.sources import Figure, Source
from layup.units import OZ, parse, parse_ratio
from layup.words import mass_words, plain


def _above_zero(**values: float) -> None:
    for name, value in values.items():
        if not value > 0.0:
            raise RangeError(f"{name.replace('_', ' ')} is {value:g}: it must be greater than 0")


def known_ratio(resin: Material, sources: Mapping[str, Source]) -> Figure | None:
    """The ratio of a resin by weight, where somebody who has the can, or makes it, gave it.

    A row from memory, or of another resin of its kind, is no ratio to mix by: a wrong one never cures, or burns.
    Returns:
        The figure of the shop's own table, or one read at the resin's maker; None where there is neither.
    Raises:
        RangeError: The shop's own is upside down or out of range; the message says both readings.
    """
    rows = resin.rows_of("mix_ratio_by_weight")
    if not rows:
        return None
    first, figure = rows[0], resin.figure("mix_ratio_by_weight")
    source = sources.get(first.source)
    if not first.shop and not (source is not None and source.maker):
        return None
    checked_ratio(resin, figure.value, f"{first.file} line {first.line}")
    return figure


def checked_ratio(resin: Material, ratio: float, where: str = "") -> float:
    """A ratio by weight that a resin of its kind can have.

    Args:
        resin: Of the tables; its `least_hardener` and `most_hardener` widen what is believed.
        ratio: Hardener over resin by mass. [-]
        where: It was given; in the message.
    Returns:
        The ratio. [-]
    Raises:
        RangeError: It is upside down or out of range; the message says both readings.

    Source of the range: common practice, no source.
    """
    catalyst = cure_of(resin) == "peroxide"
    usual = (
        (practice.LEAST_CATALYST, practice.MOST_CATALYST)
        if catalyst
        else (practice.LEAST_HARDENER, practice.MOST_HARDENER)
    )
    low, high = (
        own.value if own is not None else common.value
        for own, common in zip((resin.optional("least_hardener"), resin.optional("most_hardener")), usual, strict=True)
    )
    if low <= ratio <= high:
        return ratio
    what = "catalyst" if catalyst else "hardener"
    told = (
        f"{where + ': ' if where else ''}{_hundred(ratio)} of resin to {what} by weight can't be for {resin.name}, "
        f"which takes {_hundred(low)} to {_hundred(high)}. Read resin first it is {_parts(ratio)} of {what} to 100 of "
        f"resin; read {what} first it is {_parts(1 / ratio)} to 100"
    )
    if low <= 1 / ratio <= high:
        told += f". If that is what your can says, write {_hundred(1 / ratio)}, resin first"
    else:
        told += ". Read the can again"
    raise RangeError(
        f"{told}. If your can does say {_hundred(ratio)}, add a row to your own table: "
        + row_words(resin.name, f"{'most' if ratio > high else 'least'}_hardener", _hundred(ratio))
    )


def _parts(ratio: float) -> str:
    return plain(ratio * 100, 3)


def _hundred(ratio: float) -> str:
    return f"100:{_parts(ratio)}"


def parts(total: float, ratio: float) -> tuple[float, float]:
    """Resin and hardener in so much of the mix.

    Args:
        total: Mass of the mix. [kg]
        ratio: Hardener over resin by mass. [-]
    Returns:
        Resin and hardener. [kg]
    Raises:
        RangeError: a ratio that is not above zero.

    >>> [round(part, 4) for part in parts(0.127, 0.27)]
    [0.1, 0.027]
    """
    _above_zero(ratio=ratio)
    resin = total / (1.0 + ratio)
    return resin, total - resin


@dataclass(frozen=True, slots=True)
class Scale:
    """A resin scale.

    Attributes:
        step: The least it shows. [kg]
        ounces: Whether it shows ounces; else grams.
    """

    step: float
    ounces: bool

    def parts(self, total: float, ratio: float) -> tuple[float, float]:
        """Resin and hardener as this scale can show them, for at least so much of the mix.

        Of the next few steps of resin the one is taken whose hardener falls nearest to a step of the scale.

        Args:
            total: Mass of the mix. [kg]
            ratio: Hardener over resin by mass. [-]
        Returns:
            Resin and hardener, whole steps each. [kg]
        """
        resin, _ = parts(total, ratio)
        first = math.ceil(resin / self.step - 1e-9)
        most = max(first, math.floor(first * 1.05))
        best = min(range(first, min(most, first + 20) + 1), key=lambda n: abs(max(round(n * ratio), 1) - n * ratio) / n)
        return best * self.step, max(round(best * ratio), 1) * self.step

    def error(self, resin: float, hardener: float, ratio: float) -> float:
        """How far the ratio can be off: by the rounding, and by half a step in each reading.

        Args:
            resin: As shown. [kg]
            hardener: As shown. [kg]
            ratio: That is meant. [-]
        Returns:
            Share of the ratio. [-]
        """
        half = self.step / 2
        return abs(hardener / resin / ratio - 1.0) + half / hardener + half / resin

    def words(self, kg: float) -> str:
        """A mass as this scale shows it: "134 g", "4 3/4 oz"."""
        unit, name = (OZ, "oz") if self.ounces else (1e-3, "g")
        step, steps = self.step / unit, math.floor(round(kg / self.step, 6) + 0.5)  # a half is rounded up
        if self.ounces and step < 1 and abs(1 / step - round(1 / step)) < 1e-9 and round(1 / step) in (2, 4, 8, 16, 32):
            return mass_words(steps * self.step, step=step) if steps * step < 16 else f"{steps * step:g} oz"
        decimals = 0 if step >= 1 else 1 if step >= 0.1 else 2
        return f"{steps * step:.{decimals}f} {name}"


def read_scale(text: str) -> Scale:
    """A scale by the least it shows: "1 g", "0.1 g", "1/8 oz".

    Raises:
        UnitError: It is no mass; the message shows the remedy.
        RangeError: It is not above zero, or more than an ounce.
    """
    step = parse(text, "mass")
    if not 0.0 < step <= 1.001 * OZ:
        raise RangeError(f'a scale that shows {text} at the least is none to mix by: write --scale "1 g" or "1/8 oz"')
    return Scale(step, re.search(r"oz|ounce", text) is not None)


def ratio_by_volume(ratio: float, resin_density: float, hardener_density: float) -> float:
    """Hardener over resin by volume.

    Args:
        ratio: Hardener over resin by mass. [-]
        resin_density: Of the liquid resin. [kg/m^3]
        hardener_density: Of the liquid hardener. [kg/m^3]
    Returns:
        The ratio by volume. [-]
    Raises:
        RangeError: a figure that is not above zero.

    >>> round(ratio_by_volume(0.27, 1150.0, 970.0), 4)
    0.3201
    """
    _above_zero(ratio=ratio, resin_density=resin_density, hardener_density=hardener_density)
    return ratio * resin_density / hardener_density


class Mixing(TypedDict):
    """How resin is mixed in a shop, as `layup.make.batches.mixes` takes it."""

    people: int
    temperature: float | None
    ratio: float | None
    pot: float | None
    cups: list[float]
    scale: Scale | None


def read_mixing(
    people: int = 1,
    temperature: str | None = None,
    ratio: str | None = None,
    pot: str | None = None,
    cups: Sequence[str] = (),
    scale: str | None = None,
) -> Mixing:
    """How resin is mixed, read from the words of a shop.

    Args:
        people: Laying up. [-]
        temperature: Of shop and resin, "18 degC".
        ratio: From the can, "100:30".
        pot: Most to mix at once, "150 g".
        cups: Sizes of cup, brimful, "250 ml".
        scale: What the resin scale shows at the least, "1 g".
    Raises:
        UnitError: a quantity that can't be read.
        RangeError: a ratio or scale that can't be.
    """
    return Mixing(
        people=people,
        temperature=None if temperature is None else parse(temperature, "temperature"),
        ratio=None if ratio is None else parse_ratio(ratio),
        pot=None if pot is None else parse(pot, "mass"),
        cups=[parse(one, "volume") for one in cups],
        scale=None if scale is None else read_scale(scale),
    )


def mixed_density(ratio: float, resin_density: float, hardener_density: float) -> float:
    """Density of the liquid mix, no shrinkage.

    Args:
        ratio: Hardener over resin by mass. [-]
        resin_density: Of the liquid resin. [kg/m^3]
        hardener_density: Of the liquid hardener. [kg/m^3]
    Returns:
        Density. [kg/m^3]
    Raises:
        RangeError: a figure that is not above zero.
    """
    _above_zero(ratio=ratio, resin_density=resin_density, hardener_density=hardener_density)
    return (1.0 + ratio) / (1.0 / resin_density + ratio / hardener_density)
