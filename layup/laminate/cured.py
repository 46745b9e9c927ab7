r"""What one cured ply, or one laminate, weighs and measures.

- What does the resin of a ply weigh?                  `resin_areal_weight`
- What does a cured ply weigh?                         `cured_areal_weight`
- How thick does it cure?                              `cured_thickness`
- What fibre volume fraction does a resin share give?  `fibre_fraction_from_resin_content`
- And what resin share does a fibre fraction give?     `resin_content_from_fibre_fraction`
- How dense is the laminate?                           `laminate_density`
- What does a weighed and dipped sample tell?          `density_by_displacement`, `constituents`, `void_content`

All follow from one mass balance over fibre, resin and voids: V_f + V_r + V_v = 1.
"""

from __future__ import annotations

from typing import NamedTuple

from layup.errors import RangeError

WATER_DENSITY_23C = 997.5
"""Density of water at 23 degC, as ASTM D792 uses it. [kg/m^3]"""


def _check_fractions(fibre_fraction: float, void_fraction: float) -> None:
    if not 0 <= void_fraction < 1:
        raise RangeError(f"void fraction {void_fraction:g} is outside 0 <= V_v < 1")
    if not 0 < fibre_fraction <= 1 - void_fraction + 1e-12:
        raise RangeError(
            f"fibre volume fraction {fibre_fraction:g} is outside 0 < V_f <= 1 - V_v = {1 - void_fraction:g}"
        )


def resin_areal_weight(
    fibre_areal_weight: float,
    fibre_density: float,
    resin_density: float,
    fibre_fraction: float,
    void_fraction: float = 0.0,
) -> float:
    r"""Mass per area of the resin in one cured ply: w_f (rho_r / rho_f) (1 - V_f - V_v) / V_f.

    Args:
        fibre_areal_weight: Dry fibre per area. [kg/m^2]
        fibre_density: [kg/m^3]
        resin_density: Cured. [kg/m^3]
        fibre_fraction: Fibre volume over ply volume, 0 < V_f <= 1 - V_v. [-]
        void_fraction: Void volume over ply volume. [-]

    Returns:
        Resin areal weight. [kg/m^2]

    Raises:
        RangeError: A fraction outside its range, naming it and the range.

    Source: mass balance; the relation behind ASTM D3171.

    >>> round(resin_areal_weight(0.200, 1800.0, 1150.0, 0.50), 6)
    0.127778
    """
    _check_fractions(fibre_fraction, void_fraction)
    ratio = resin_density / fibre_density
    return fibre_areal_weight * ratio * (1 - fibre_fraction - void_fraction) / fibre_fraction


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
    _check_fractions(fibre_fraction, 0.0)
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


def fibre_fraction_from_take_up(
    take_up: float, fibre_density: float, resin_density: float, void_fraction: float = 0.0
) -> float:
    """Fibre volume fraction from the resin that each mass of fibre has taken up.

    Args:
        take_up: Resin mass over fibre mass. [-]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]
        void_fraction: [-]

    Returns:
        Fibre volume over laminate volume: (1 - V_v) / (1 + r rho_f / rho_r). [-]

    Source: mass balance.
    """
    if take_up < 0:
        raise RangeError(f"resin take-up {take_up} is negative")
    return (1 - void_fraction) / (1 + take_up * fibre_density / resin_density)


def laminate_density(
    fibre_fraction: float, fibre_density: float, resin_density: float, void_fraction: float = 0.0
) -> float:
    """Density of a laminate: rho_f V_f + rho_r (1 - V_f - V_v).

    Args:
        fibre_fraction: [-]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]
        void_fraction: [-]

    Returns:
        Density. [kg/m^3]

    Raises:
        RangeError: A fraction outside its range.
    """
    _check_fractions(fibre_fraction, void_fraction)
    return fibre_fraction * fibre_density + (1 - fibre_fraction - void_fraction) * resin_density


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
