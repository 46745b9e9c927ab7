"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

from layup.laminate.micromechanics import Values, _between, _fractions, _positive, halpin_tsai


def inverse_rule(fibre_fraction: Values, fibre: Values, resin: Values) -> Values:
    """Fibre and resin in series, stressed alike: 1 / (V_f/P_f + (1 - V_f)/P_m).

    A lower bound for E2 and G12, about half of the fitted value of `halpin_tsai` on a dense glass ply.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre: The fibre's modulus (across it). [Pa]
        resin: The resin's modulus. [Pa]
    Returns:
        The ply's modulus. [Pa]
    Raises:
        RangeError: fibre fraction outside 0 to 1, or a modulus not positive.
    Source: Kaw 2006, ch. 3 (from memory).
    """
    _fractions(fibre_fraction)
    _positive(fibre=fibre, resin=resin)
    return 1.0 / (fibre_fraction / fibre + (1.0 - fibre_fraction) / resin)


def shear_strength_with_voids(strength: Values, void_fraction: Values) -> Values:
    """Interlaminar shear strength with voids: 7 % less for each 1 % of voids, up to 4 %.
    Args:
        strength: Void-free strength. [Pa]
        void_fraction: Void volume over ply volume, at most 0.04. [-]
    Returns:
        Strength with voids. [Pa]
    Raises:
        RangeError: void fraction outside 0 to 0.04, where the published trend ends.
    Source: Judd & Wright, SAMPE J. 14 (1978) no. 1, 10 (from memory).
    """
    _between("void fraction", void_fraction, 0.0, 0.04, "the published trend ends at 4 %; test a coupon.")
    return strength * (1.0 - 7.0 * void_fraction)


def random_mat_rule(e1: Values, e2: Values) -> tuple[Values, Values]:
    """The short rule for a random mat: E = 3/8 E1 + 5/8 E2, G = 1/8 E1 + 1/4 E2.
    Args:
        e1: Of the ply as if parallel. [Pa]
        e2: Across it. [Pa]
    Returns:
        E and G. [Pa]
    Source: Tsai & Pagano, Composite Materials Workshop, 1968 (from memory).
    """
    return 0.375 * e1 + 0.625 * e2, 0.125 * e1 + 0.25 * e2


def short_fibre_modulus(
    fibre_fraction: Values, fibre: Values, resin: Values, length: Values, diameter: Values
) -> Values:
    """Modulus along aligned short fibres: Halpin-Tsai with xi = 2 length/diameter.

    A chopped strand of 50 mm acts as one thick bundle if the resin does not wet it through: take the bundle's
    thickness as the diameter for the cautious value.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre: Modulus along the fibre. [Pa]
        resin: [Pa]
        length: [m]
        diameter: [m]
    Returns:
        E1 of the aligned short-fibre ply. [Pa]
    Raises:
        RangeError: a length not positive, or as in `halpin_tsai`.
    Source: Halpin & Kardos 1976 (from memory).
    """
    _positive(length=length, diameter=diameter)
    return halpin_tsai(fibre_fraction, fibre, resin, 2.0 * length / diameter)
