r"""Mixing arithmetic: parts by weight and by volume, equivalents, and the heat that is in a pot.

How much of each for this much mixed resin?     parts(total, ratio)
What is the ratio by volume?                    ratio_by_volume: r_v = r_w rho_resin / rho_hardener
How dense is the mix?                           mixed_density: (1 + r_w) / (1 / rho_resin + r_w / rho_hardener)
What ratio does the chemistry ask for?          stoichiometric_parts: 100 AHEW / EEW
What is the equivalent weight of a blend?       blend_equivalent: sum(m) / sum(m / EEW)
How hot could a pot get if no heat left it?     adiabatic_rise

The ratio r_w is hardener mass over resin mass. EEW is grams of resin per epoxide group, AHEW grams of hardener per
active hydrogen: both are on the makers' sheets.
"""

from __future__ import annotations

from collections.abc import Iterable

from layup.errors import RangeError


def _above_zero(**values: float) -> None:
    for name, value in values.items():
        if not value > 0.0:
            raise RangeError(f"{name.replace('_', ' ')} is {value:g}: it must be greater than 0")


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


def blend_equivalent(blend: Iterable[tuple[float, float | None]]) -> float:
    """Equivalent weight of a blend of epoxies and fillers.

    Args:
        blend: Mass and EEW of each; None for what has no epoxide, such as a filler. [any mass, g]
    Returns:
        EEW of the blend. [g]
    Raises:
        RangeError: nothing in the blend has an epoxide, or a mass or EEW is not above zero.
    """
    listed = list(blend)
    for mass, equivalent in listed:
        _above_zero(mass=mass)
        if equivalent is not None:
            _above_zero(EEW=equivalent)
    groups = sum(mass / equivalent for mass, equivalent in listed if equivalent is not None)
    if not groups > 0.0:
        raise RangeError("nothing in this blend has an EEW: give the one of the resin")
    return sum(mass for mass, _ in listed) / groups


def stoichiometric_parts(hardener_equivalent: float, resin_equivalent: float) -> float:
    """Hardener to 100 parts of resin by mass, one active hydrogen to one epoxide.

    Args:
        hardener_equivalent: AHEW. [g]
        resin_equivalent: EEW. [g]
    Returns:
        Parts of hardener per hundred of resin. [-]
    Raises:
        RangeError: an equivalent that is not above zero.
    """
    _above_zero(AHEW=hardener_equivalent, EEW=resin_equivalent)
    return 100.0 * hardener_equivalent / resin_equivalent


def adiabatic_rise(
    ratio: float, resin_equivalent: float, heat_per_equivalent: float = 100e3, heat_capacity: float = 1900.0
) -> float:
    """How much warmer an epoxy would get if it cured at once and no heat left it: an order of magnitude.

    Args:
        ratio: Hardener over resin by mass. [-]
        resin_equivalent: EEW. [g]
        heat_per_equivalent: Heat of one epoxide group. [J/mol]
        heat_capacity: Of the mix. [J/(kg K)]
    Returns:
        Rise of temperature. [K]
    Raises:
        RangeError: a figure that is not above zero.
    """
    _above_zero(ratio=ratio, EEW=resin_equivalent, heat_per_equivalent=heat_per_equivalent, heat_capacity=heat_capacity)
    return heat_per_equivalent / (resin_equivalent * 1e-3 * (1.0 + ratio) * heat_capacity)
