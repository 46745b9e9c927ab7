r"""What one cured ply, or one laminate, weighs and measures.

- What does the resin of a ply weigh?                  `resin_areal_weight`
- What fibre volume fraction leaves a resin take-up? `fibre_fraction_from_take_up`
- How dense is the laminate?                           `laminate_density`

All follow from one mass balance over fibre, resin and voids: V_f + V_r + V_v = 1.
"""

from __future__ import annotations

from layup.errors import RangeError


def check_fractions(fibre_fraction: float, void_fraction: float) -> None:
    """Refuse shares of a ply that can't be."""
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
    check_fractions(fibre_fraction, void_fraction)
    ratio = resin_density / fibre_density
    return fibre_areal_weight * ratio * (1 - fibre_fraction - void_fraction) / fibre_fraction


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
    check_fractions(fibre_fraction, void_fraction)
    return fibre_fraction * fibre_density + (1 - fibre_fraction - void_fraction) * resin_density
