"""The standard atmosphere: what a vacuum pump has to work with at the altitude of the shop.

How hard does the air press at an altitude?      pressure_at(altitude)
What is the most a bag can be pressed with?      greatest_vacuum(altitude)
How warm and how dense is the standard air?      temperature_at(altitude), density_at(altitude)

Two layers: temperature falls 6.5 K/km from 288.15 K to 11 km, then stays at 216.65 K to 20 km; pressure follows
from hydrostatics of a perfect gas. Altitudes are geopotential; a height on a map differs by 0.08 % at 5 km.

Source: ISO 2533:1975, Standard Atmosphere, clause 2 (identical to the US Standard Atmosphere 1976 and to ICAO
Doc 7488 below 32 km).
"""

from __future__ import annotations

import math

from layup.errors import RangeError

LOWEST, TROPOPAUSE, HIGHEST = -2000.0, 11_000.0, 20_000.0  # [m]

_SEA_LEVEL_PRESSURE = 101325.0  # [Pa]
_SEA_LEVEL_TEMPERATURE = 288.15  # [K]
_LAPSE = 0.0065  # [K/m]
_GRAVITY = 9.80665  # [m/s^2]
_GAS_CONSTANT = 287.05287  # of dry air [J/(kg K)]


def temperature_at(altitude: float) -> float:
    """Temperature of the standard atmosphere.

    Args:
        altitude: Geopotential altitude above mean sea level, -2000 to 20 000. [m]
    Returns:
        Temperature. [K]
    Raises:
        RangeError: an altitude outside the two layers.
    Source: ISO 2533:1975.
    """
    return _SEA_LEVEL_TEMPERATURE - _LAPSE * min(_checked(altitude), TROPOPAUSE)


def pressure_at(altitude: float) -> float:
    """Pressure of the standard atmosphere.

    Args:
        altitude: Geopotential altitude above mean sea level, -2000 to 20 000. [m]
    Returns:
        Absolute pressure. [Pa]
    Raises:
        RangeError: an altitude outside the two layers.
    Source: ISO 2533:1975.

    >>> round(pressure_at(1524.0))
    84307
    """
    temperature = temperature_at(altitude)
    exponent = _GRAVITY / (_GAS_CONSTANT * _LAPSE)
    pressure = _SEA_LEVEL_PRESSURE * math.pow(temperature / _SEA_LEVEL_TEMPERATURE, exponent)
    above = max(altitude - TROPOPAUSE, 0.0)
    return pressure * math.exp(-_GRAVITY * above / (_GAS_CONSTANT * temperature))


def density_at(altitude: float) -> float:
    """Density of the standard atmosphere, of dry air as a perfect gas.

    Args:
        altitude: Geopotential altitude above mean sea level, -2000 to 20 000. [m]
    Returns:
        Density. [kg/m^3]
    Raises:
        RangeError: an altitude outside the two layers.
    Source: ISO 2533:1975.
    """
    return pressure_at(altitude) / (_GAS_CONSTANT * temperature_at(altitude))


def greatest_vacuum(altitude: float) -> float:
    """The most that a bag can be pressed with, by a perfect pump: the whole pressure of the air outside.

    A gauge at altitude cannot read more than this. The weather moves the air by some 3 % either way (common
    knowledge, no source) and a real pump stops short.

    Args:
        altitude: Altitude of the shop above mean sea level, -2000 to 20 000. [m]
    Returns:
        Pressure difference across the bag. [Pa]
    Raises:
        RangeError: an altitude outside the two layers.
    Source: ISO 2533:1975.
    """
    return pressure_at(altitude)


def _checked(altitude: float) -> float:
    if LOWEST <= altitude <= HIGHEST:
        return altitude
    raise RangeError(
        f"an altitude of {altitude:.12g} m is outside the standard atmosphere used here: "
        f"write one from {LOWEST:.0f} m to {HIGHEST:.0f} m"
    )
