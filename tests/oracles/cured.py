"""Relations of a cured ply that no command asks for: books check them, and by them what the program calls."""

from __future__ import annotations

from typing import NamedTuple

from layup.errors import RangeError
from layup.laminate.cured import check_fractions, fibre_fraction_from_take_up, resin_areal_weight

WATER_DENSITY_23C = 997.5
"""Density of water at 23 degC, as ASTM D792 uses it. [kg/m^3]"""


def cured_areal_weight(
    fibre_areal_weight: float,
    fibre_density: float,
    resin_density: float,
    fibre_fraction: float,
    void_fraction: float = 0.0,
) -> float:
    r"""Mass per area of one cured ply: w_f (1 + rho_r (1 - V_f - V_v) / (rho_f V_f)).

    Args:
        fibre_areal_weight: Dry fibre per area. [kg/m^2]
        fibre_density: [kg/m^3]
        resin_density: Cured. [kg/m^3]
        fibre_fraction: Fibre volume over ply volume, 0 < V_f <= 1 - V_v. [-]
        void_fraction: Void volume over ply volume. [-]

    Returns:
        Cured areal weight. [kg/m^2]

    Raises:
        RangeError: A fraction outside its range, naming it and the range.

    Source: mass balance; the relation behind ASTM D3171.
    """
    resin = resin_areal_weight(fibre_areal_weight, fibre_density, resin_density, fibre_fraction, void_fraction)
    return fibre_areal_weight + resin


def cured_thickness(fibre_areal_weight: float, fibre_density: float, fibre_fraction: float) -> float:
    r"""Thickness of one cured ply: w_f / (rho_f V_f); voids are in V_f already.

    Args:
        fibre_areal_weight: Dry fibre per area. [kg/m^2]
        fibre_density: [kg/m^3]
        fibre_fraction: Fibre volume over ply volume. [-]

    Returns:
        Thickness. [m]

    Raises:
        RangeError: The fraction is outside 0 < V_f <= 1.

    Source: volume balance; the relation behind ASTM D3171 procedure II (thickness method).

    >>> round(cured_thickness(0.200, 1800.0, 0.50) * 1e3, 6)
    0.222222
    """
    check_fractions(fibre_fraction, 0.0)
    return fibre_areal_weight / (fibre_density * fibre_fraction)


def resin_content_from_fibre_fraction(
    fibre_fraction: float, fibre_density: float, resin_density: float, void_fraction: float = 0.0
) -> float:
    """Resin share of the laminate's mass from its fibre volume fraction.

    Args:
        fibre_fraction: [-]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]
        void_fraction: [-]

    Returns:
        Resin mass over laminate mass. [-]

    Raises:
        RangeError: A fraction outside its range.

    Source: ASTM D3171 relations.
    """
    resin = resin_areal_weight(1.0, fibre_density, resin_density, fibre_fraction, void_fraction)
    return resin / (1.0 + resin)


def fibre_fraction_from_resin_content(
    resin_content: float, fibre_density: float, resin_density: float, void_fraction: float = 0.0
) -> float:
    """Fibre volume fraction from the resin's share of the laminate's mass.

    Args:
        resin_content: Resin mass over laminate mass, 0 <= share < 1. [-]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]
        void_fraction: [-]

    Returns:
        Fibre volume over laminate volume. [-]

    Raises:
        RangeError: A share outside its range.

    Source: ASTM D3171 relations.

    >>> round(fibre_fraction_from_resin_content(0.352941, 1800.0, 1200.0), 4)
    0.55
    """
    if not 0 <= resin_content < 1:
        raise RangeError(f"resin content {resin_content} is outside 0 <= share < 1")
    return fibre_fraction_from_take_up(resin_content / (1 - resin_content), fibre_density, resin_density, void_fraction)


def density_by_displacement(dry: float, immersed: float, liquid_density: float = WATER_DENSITY_23C) -> float:
    """Density of a sample weighed dry and hanging in a liquid.

    Args:
        dry: Reading in air. [kg]
        immersed: Reading in the liquid, the wire not counted. [kg]
        liquid_density: [kg/m^3]

    Returns:
        Density. [kg/m^3]

    Raises:
        RangeError: The sample floats or weighs nothing.

    Source: ASTM D792.
    """
    if not 0 <= immersed < dry:
        raise RangeError(f"an immersed reading of {immersed} kg against {dry} kg dry gives no density")
    return dry / (dry - immersed) * liquid_density


class Constituents(NamedTuple):
    """Volume shares of a laminate; `void` may come out negative from scatter and is not clipped."""

    fibre: float
    resin: float
    void: float


def constituents(resin_content: float, density: float, fibre_density: float, resin_density: float) -> Constituents:
    """Volume shares from a burn-off or digestion: resin share by mass and the laminate's density.

    Args:
        resin_content: Resin mass over laminate mass. [-]
        density: Of the laminate. [kg/m^3]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]

    Returns:
        Fibre, resin and void volume shares.

    Source: ASTM D3171.
    """
    fibre = (1 - resin_content) * density / fibre_density
    resin = resin_content * density / resin_density
    return Constituents(fibre, resin, 1 - fibre - resin)


def void_content(resin_content: float, density: float, fibre_density: float, resin_density: float) -> float:
    """Void volume share from the density a void-free laminate would have, (T - M) / T.

    Args:
        resin_content: Resin mass over laminate mass. [-]
        density: Measured density of the laminate. [kg/m^3]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]

    Returns:
        Void volume share; negative from scatter, not clipped. [-]

    Source: ASTM D2734.
    """
    theory = 1 / (resin_content / resin_density + (1 - resin_content) / fibre_density)
    return (theory - density) / theory
