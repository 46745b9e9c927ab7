"""How long a pot of mixed resin can be worked: by its mass and by how warm it is.

A maker prints one pot life, of so much at such a temperature. A larger pot keeps its own heat and goes off sooner, a
warmer shop too. Both laws here are common practice without a source (see `layup.cloth.practice`); the resin's own sheet
comes first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from layup.cloth import practice
from layup.errors import UnitError
from layup.materials import Material
from layup.sources import Figure
from layup.units import parse

_USUAL_MASS, _USUAL_TEMPERATURE = 0.100, 298.15
_MASS = re.compile(r"\b([0-9.]+ ?(?:g|kg|oz|lb))\b")
_TEMPERATURE = re.compile(r"(-?[0-9.]+ ?deg[CF])\b")


@dataclass(frozen=True, slots=True)
class PotLife:
    """A printed pot life and what it holds for.

    Attributes:
        seconds: As printed. [s]
        mass: Of the pot it holds for. [kg]
        temperature: It holds for. [K]
        stated: Whether mass and temperature are printed beside it; else 100 g at 25 degC are taken.
        figure: Where it is printed.
    """

    seconds: float
    mass: float
    temperature: float
    stated: bool
    figure: Figure

    def at(self, mass: float, temperature: float | None = None) -> float:
        """Pot life of another pot, never longer for a smaller one.

        Args:
            mass: Of the pot. [kg]
            temperature: Of the shop and the resin; the printed one if None. [K]
        Returns:
            Pot life. [s]
        """
        warmer = 0.0 if temperature is None else temperature - self.temperature
        by_heat = 2.0 ** (-warmer / practice.HALVING.value)
        by_mass = min(1.0, (self.mass / mass) ** practice.MASS_POWER.value) if mass > 0 else 1.0
        return float(self.seconds * by_heat * by_mass)


def pot_life_of(resin: Material) -> PotLife:
    """Read the pot life of a resin, with the mass and temperature that stand beside it.
    Returns:
        The pot life.
    Raises:
        MissingFigureError: No table gives one.
    """
    figure = resin.figure("pot_life")
    mass, temperature = _USUAL_MASS, _USUAL_TEMPERATURE
    found_mass, found_temperature = _MASS.search(figure.at), _TEMPERATURE.search(figure.at)
    try:
        if found_mass:
            mass = parse(found_mass[1], "mass")
        if found_temperature:
            temperature = parse(found_temperature[1], "temperature")
    except UnitError:
        found_mass = None
    return PotLife(figure.value, mass, temperature, bool(found_mass and found_temperature), figure)
