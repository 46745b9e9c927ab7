r"""Ply stiffness from what the shop knows: fibre, resin and the fibre fraction the process gives.

Index of formulas, by question:

- How stiff along the fibre, how dense?            `rule_of_mixtures`
- How stiff across the fibre and in shear, fitted? `halpin_tsai`, `shear_reinforcement`
- What does one unidirectional ply do?             `unidirectional_ply`
- What does one woven ply do?                      `woven_ply`
- How much does the waviness of the yarn cost?     `weave_crimp`, `crimp_knock_down`
- What does a chopped-strand mat do?               `random_mat_ply`
- What do voids cost in stiffness?                 `resin_with_voids`
- How much does it grow with heat?                 `longitudinal_expansion`, `transverse_expansion`

Axis 1 runs along the fibre (or the warp), axis 2 across it, in the plane of the ply. All functions take
floats or arrays that broadcast. Nothing here has a default material.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Values = float | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FibreElastic:
    """A fibre: stiff along its length, softer across it (glass is the same both ways). As `PlyElastic`."""

    e1: Values
    e2: Values
    g12: Values
    nu12: Values
    alpha1: Values | None = None
    alpha2: Values | None = None


@dataclass(frozen=True, slots=True)
class ResinElastic:
    """A cured resin, the same in all directions.

    Attributes:
        e: Modulus. [Pa]
        nu: Poisson's ratio. [-]
        alpha: Expansion, None if unknown. [1/K]
    """

    e: Values
    nu: Values
    alpha: Values | None = None


@dataclass(frozen=True, slots=True)
class PlyElastic:
    """The four moduli of one ply in its own axes, and its expansion where known.

    Attributes:
        e1: Modulus along the fibre or warp. [Pa]
        e2: Modulus across. [Pa]
        g12: Shear modulus in the plane. [Pa]
        nu12: Strain across for strain along. [-]
        alpha1: Expansion along, None if unknown. [1/K]
        alpha2: Expansion across, None if unknown. [1/K]
    """

    e1: Values
    e2: Values
    g12: Values
    nu12: Values
    alpha1: Values | None = None
    alpha2: Values | None = None


def _between(name: str, value: Values, low: float, high: float, say: str) -> None:
    if not np.all((np.asarray(value) >= low) & (np.asarray(value) <= high)):
        raise RangeError(f"{name} {value} is outside {low:g} to {high:g}: {say}")


def _positive(**named: Values) -> None:
    for name, value in named.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
            raise RangeError(f"{name.replace('_', ' ')} {value} must be a positive number.")


def _fractions(fibre_fraction: Values, void_fraction: Values = 0.0) -> None:
    say = "write the volume of fibre over the volume of ply, such as 0.45 for hand layup."
    _between("fibre fraction", fibre_fraction, 0.0, 1.0, say)
    _between("void fraction", void_fraction, 0.0, 1.0, "write 0.02 for two per cent of voids.")
    if not np.all(np.asarray(fibre_fraction) + np.asarray(void_fraction) <= 1.0):
        raise RangeError(f"fibre fraction {fibre_fraction} and void fraction {void_fraction} exceed 1 together.")


def rule_of_mixtures(fibre_fraction: Values, fibre: Values, resin: Values) -> Values:
    """Fibre and resin side by side, strained alike: V_f P_f + (1 - V_f) P_m.

    Holds for the modulus along straight fibres, for Poisson's ratio nu12 and, exactly, for density.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre: The fibre's property. [any]
        resin: The resin's property, same unit. [any]
    Returns:
        The ply's property, in that unit. [any]
    Raises:
        RangeError: fibre fraction outside 0 to 1.
    Source: Kaw, Mechanics of Composite Materials, 2nd ed. 2006, ch. 3 (from memory).
    """
    _fractions(fibre_fraction)
    return fibre_fraction * fibre + (1.0 - fibre_fraction) * resin


def halpin_tsai(fibre_fraction: Values, fibre: Values, resin: Values, reinforcement: Values) -> Values:
    r"""Between series and parallel: P_m (1 + xi eta V_f)/(1 - eta V_f), eta = (P_f/P_m - 1)/(P_f/P_m + xi).

    xi = 0 is the inverse rule, xi without bound the rule of mixtures. Fitted xi: 2 for E2 of round fibres
    in a square array, `shear_reinforcement` for G12, 2 l/d for the modulus along short fibres.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre: The fibre's modulus. [Pa]
        resin: The resin's modulus. [Pa]
        reinforcement: xi, at least 0. [-]
    Returns:
        The ply's modulus. [Pa]
    Raises:
        RangeError: fraction outside 0 to 1, modulus not positive, xi negative.
    Source: Halpin & Kardos, Polym. Eng. Sci. 16 (1976) 344 (from memory); Kaw 2006, ch. 3 (from memory).
    """
    _fractions(fibre_fraction)
    _positive(fibre=fibre, resin=resin)
    if not np.all(np.asarray(reinforcement) >= 0):
        raise RangeError(f"Halpin-Tsai reinforcement factor {reinforcement} is negative; use 2 across, 1 in shear.")
    ratio = fibre / resin
    eta = (ratio - 1.0) / (ratio + reinforcement)
    return resin * (1.0 + reinforcement * eta * fibre_fraction) / (1.0 - eta * fibre_fraction)


def shear_reinforcement(fibre_fraction: Values) -> Values:
    """Factor xi for G12: 1 + 40 V_f^10. Below V_f = 0.5 it is 1 within 4 %.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
    Returns:
        xi. [-]
    Raises:
        RangeError: fibre fraction outside 0 to 1.
    Source: Hewitt & de Malherbe, J. Compos. Mater. 4 (1970) 280, as given in Kaw 2006 ch. 3 (from memory).
    """
    _fractions(fibre_fraction)
    return 1.0 + 40.0 * fibre_fraction**10


def resin_with_voids(resin: ResinElastic, void_in_resin: Values) -> ResinElastic:
    """The resin with round voids in it, as a softer resin: upper bound of Hashin and Shtrikman for a porous
    solid.

    K = 4 G0 K0 (1-p)/(4 G0 + 3 K0 p), G = G0 (1-p)/(1 + 6 p (K0 + 2 G0)/(9 K0 + 8 G0)). About 2 % of
    modulus per 1 % of voids in the resin. Flat voids between plies cost more (see
    `shear_strength_with_voids`). Expansion is unchanged.
    Args:
        resin: The solid resin, as `ResinElastic`. [Pa, -, 1/K]
        void_in_resin: Void volume over volume of resin and voids, below 1. [-]
    Returns:
        The softer resin. [Pa, -, 1/K]
    Raises:
        RangeError: void share outside 0 to 1 (1 excluded), or nu not in 0 to 0.5.
    Source: Hashin & Shtrikman, J. Mech. Phys. Solids 11 (1963) 127 (from memory).
    """
    _between("share of voids in the resin", void_in_resin, 0.0, 0.999, "a resin all void holds nothing.")
    _between("Poisson's ratio of the resin", resin.nu, 0.0, 0.4999, "cured resins have 0.3 to 0.4.")
    _positive(resin_modulus=resin.e)
    p = void_in_resin
    k0 = resin.e / (3.0 * (1.0 - 2.0 * resin.nu))
    g0 = resin.e / (2.0 * (1.0 + resin.nu))
    k = 4.0 * g0 * k0 * (1.0 - p) / (4.0 * g0 + 3.0 * k0 * p)
    g = g0 * (1.0 - p) / (1.0 + 6.0 * p * (k0 + 2.0 * g0) / (9.0 * k0 + 8.0 * g0))
    return replace(resin, e=9.0 * k * g / (3.0 * k + g), nu=(3.0 * k - 2.0 * g) / (2.0 * (3.0 * k + g)))


def longitudinal_expansion(
    fibre_fraction: Values, fibre_e1: Values, fibre_alpha1: Values, resin_e: Values, resin_alpha: Values
) -> Values:
    """Expansion along the fibre: (V_f E_f a_f + V_m E_m a_m)/(V_f E_f + V_m E_m).
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre_e1: [Pa]
        fibre_alpha1: Negative for carbon and aramid. [1/K]
        resin_e: [Pa]
        resin_alpha: [1/K]
    Returns:
        alpha1. [1/K]
    Raises:
        RangeError: fibre fraction outside 0 to 1.
    Source: Schapery, J. Compos. Mater. 2 (1968) 380, as in Kaw 2006 ch. 3 (from memory).
    """
    weighted = rule_of_mixtures(fibre_fraction, fibre_e1 * fibre_alpha1, resin_e * resin_alpha)
    return weighted / rule_of_mixtures(fibre_fraction, fibre_e1, resin_e)


def transverse_expansion(
    fibre_fraction: Values,
    fibre_alpha1: Values,
    fibre_alpha2: Values,
    fibre_nu12: Values,
    resin_alpha: Values,
    resin_nu: Values,
    alpha1: Values,
    nu12: Values,
) -> Values:
    """Expansion across the fibre: V_f (a2f + nu_f a1f) + V_m (1 + nu_m) a_m - nu12 a1.

    For a fibre alike in all directions this is Schapery's form, V_f (1 + nu_f) a_f + V_m (1 + nu_m) a_m -
    nu12 a1.
    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre_alpha1: Along the fibre. [1/K]
        fibre_alpha2: Across the fibre. [1/K]
        fibre_nu12: [-]
        resin_alpha: [1/K]
        resin_nu: [-]
        alpha1: Of the ply, from `longitudinal_expansion`. [1/K]
        nu12: Of the ply. [-]
    Returns:
        alpha2. [1/K]
    Raises:
        RangeError: fibre fraction outside 0 to 1.
    Source: Schapery 1968, as in Kaw 2006 ch. 3; the form for unlike fibre directions is the usual one (from
    memory).
    """
    fibre = fibre_alpha2 + fibre_nu12 * fibre_alpha1
    return rule_of_mixtures(fibre_fraction, fibre, (1.0 + resin_nu) * resin_alpha) - nu12 * alpha1


def unidirectional_ply(
    fibre: FibreElastic,
    resin: ResinElastic,
    fibre_fraction: Values,
    void_fraction: Values = 0.0,
) -> PlyElastic:
    """One ply of straight parallel fibres: E1 and nu12 by mixtures, E2 and G12 by Halpin-Tsai (xi 2, and
    1 + 40 V_f^10), voids in the resin.

    Args:
        fibre: [Pa, -, 1/K]
        resin: [Pa, -, 1/K]
        fibre_fraction: Fibre volume over ply volume; fitted for 0.2 to 0.75. [-]
        void_fraction: Void volume over ply volume. [-]
    Returns:
        The ply; expansion only if fibre and resin both give theirs. [Pa, -, 1/K]
    Raises:
        RangeError: fractions that do not fit in the ply, or a modulus not positive.
    Source: Kaw 2006, ch. 3 (from memory); voids as in `resin_with_voids`.
    """
    _fractions(fibre_fraction, void_fraction)
    _positive(fibre_modulus=fibre.e1, fibre_transverse_modulus=fibre.e2, fibre_shear_modulus=fibre.g12)
    _positive(resin_modulus=resin.e)
    if np.any(np.asarray(void_fraction) > 0):
        room = np.maximum(1.0 - np.asarray(fibre_fraction), 1e-12)
        resin = resin_with_voids(resin, np.asarray(void_fraction) / room)
    xi_shear = shear_reinforcement(fibre_fraction)
    resin_g = resin.e / (2.0 * (1.0 + resin.nu))
    e1 = rule_of_mixtures(fibre_fraction, fibre.e1, resin.e)
    nu12 = rule_of_mixtures(fibre_fraction, fibre.nu12, resin.nu)
    alpha1: Values | None = None
    alpha2: Values | None = None
    if fibre.alpha1 is not None and fibre.alpha2 is not None and resin.alpha is not None:
        alpha1 = longitudinal_expansion(fibre_fraction, fibre.e1, fibre.alpha1, resin.e, resin.alpha)
        alpha2 = transverse_expansion(
            fibre_fraction=fibre_fraction,
            fibre_alpha1=fibre.alpha1,
            fibre_alpha2=fibre.alpha2,
            fibre_nu12=fibre.nu12,
            resin_alpha=resin.alpha,
            resin_nu=resin.nu,
            alpha1=alpha1,
            nu12=nu12,
        )
    return PlyElastic(
        e1=e1,
        e2=halpin_tsai(fibre_fraction, fibre.e2, resin.e, 2.0),
        g12=halpin_tsai(fibre_fraction, fibre.g12, resin_g, xi_shear),
        nu12=nu12,
        alpha1=alpha1,
        alpha2=alpha2,
    )


def weave_crimp(ply_thickness: Values, yarn_pitch: Values, harness: int = 2, crossings: int = 2) -> Values:
    r"""Crimp of a yarn that runs over and under its neighbours as a sine: (pi h/(4 L))^2, times
    crossings/harness.

    Each passage from face to face lifts the yarn's middle by h = half the ply thickness over one yarn pitch
    L; on that stretch the mean square slope is (pi h/(2 L))^2/2 and the extra length half of that, (pi h/(4
    L))^2. Of `harness` pitches in one repeat of the weave, `crossings` are passages: plain 2 of 2, 2/2
    twill 2 of 4, five-harness satin 2 of 5, eight-harness satin 2 of 8. Spread tow has a long pitch and a
    thin ply, hence next to no crimp.
    Args:
        ply_thickness: Cured. [m]
        yarn_pitch: Distance between neighbouring yarns of the crossing set. [m]
        harness: Yarns in one repeat. [-]
        crossings: Passages in one repeat. [-]
    Returns:
        Extra yarn length over cloth length. [-]
    Raises:
        RangeError: a length not positive, or more passages than yarns.
    Source: own closed form (sine path, small slope); no published figure behind it.
    """
    _positive(ply_thickness=ply_thickness, yarn_pitch=yarn_pitch)
    if not 0 < crossings <= harness:
        raise RangeError(f"{crossings} passages in {harness} yarns: a plain weave has 2 in 2, a twill 2 in 4.")
    slope = np.pi * (ply_thickness / 2.0) / (2.0 * yarn_pitch)
    return slope**2 / 4.0 * (crossings / harness)


def crimp_knock_down(ply: PlyElastic, crimp: Values) -> Values:
    r"""What share of E1 is left when the fibre path is a sine wave through the thickness.

    Along the yarn the compliance at slope angle t is c^4/E1 + (1/G13 - 2 nu12/E1) s^2 c^2 + s^4/E2; its mean over one
    wave is the wavy yarn's compliance; G12 stands for G13. To first order the loss is 2 crimp (E1/G13 - 2 nu12 - 2), so
    0.2 % of crimp in a carbon ply costs about 10 %, and the same crimp in glass 3 %. A soft resin makes it worse. In a
    thick stack the neighbours brace the yarn and the loss is smaller: use it as the cautious end.

    Args:
        ply: The ply with straight fibres. [Pa, -]
        crimp: Extra yarn length over cloth length, at most 0.05. [-]
    Returns:
        Factor on E1, 0 to 1. [-]
    Raises:
        RangeError: crimp outside 0 to 0.05.
    Source: own closed form; the series model of yarn waviness is that of Ishikawa & Chou, J. Mater. Sci. 17
    (1982) 3211 (from memory).
    """
    _between("crimp", crimp, 0.0, 0.05, "cloths have 0.001 to 0.02.")
    shear = ply.g12
    total: Values = 0.0
    count = 32
    for k in range(count):  # the mean over a full wave of a smooth periodic function: exact to rounding
        tangent2 = 4.0 * crimp * np.cos(2.0 * np.pi * (k + 0.5) / count) ** 2
        c2 = 1.0 / (1.0 + tangent2)
        s2 = 1.0 - c2
        total = total + c2 * c2 + (ply.e1 / shear - 2.0 * ply.nu12) * s2 * c2 + ply.e1 / ply.e2 * s2 * s2
    return 1.0 / (total / count)


def _reduced(ply: PlyElastic, factor: Values) -> tuple[Values, Values, Values]:
    """Q11, Q12, Q22 with E1 times factor and nu12/E1 kept."""
    e1 = ply.e1 * factor
    nu12 = ply.nu12 * factor
    left = 1.0 - nu12 * nu12 * ply.e2 / e1
    return e1 / left, nu12 * ply.e2 / left, ply.e2 / left


def woven_ply(
    straight: PlyElastic, warp_factor: Values = 1.0, weft_factor: Values = 1.0, warp_share: Values = 0.5
) -> PlyElastic:
    """One cloth ply as two half-plies at 0 and 90 degrees that cannot bend apart, each with its crimp
    knock-down.

    Interlacing keeps the two halves in one plane, so a single woven ply does not warp as a [0/90] pair
    does. Shear stiffness is that of the straight ply. Across a woven ply first cracks come at the
    transverse strain of the half-ply.
    Args:
        straight: The ply as if its fibres were straight, at the cloth's fibre fraction. [Pa, -, 1/K]
        warp_factor: From `crimp_knock_down`, 0 (excluded) to 1. [-]
        weft_factor: The same for the weft. [-]
        warp_share: Share of the fibre that runs in the warp, 0 to 1. [-]
    Returns:
        The woven ply, axis 1 along the warp. [Pa, -, 1/K]
    Raises:
        RangeError: a factor or share outside its range.
    Source: classical laminate theory on two half-plies (Ishikawa & Chou's mosaic bound, from memory).
    """
    for name, factor in (("warp factor", warp_factor), ("weft factor", weft_factor)):
        _between(name, factor, 1e-6, 1.0, "1 is a straight yarn; plain cloths have 0.8 to 0.95.")
    _between("warp share", warp_share, 0.0, 1.0, "0.5 is a balanced cloth.")
    p11, p12, p22 = _reduced(straight, warp_factor)
    f11, f12, f22 = _reduced(straight, weft_factor)
    weft_share = 1.0 - warp_share
    a11 = warp_share * p11 + weft_share * f22
    a22 = warp_share * p22 + weft_share * f11
    a12 = warp_share * p12 + weft_share * f12
    left = a11 * a22 - a12 * a12
    alpha1: Values | None = None
    alpha2: Values | None = None
    if straight.alpha1 is not None and straight.alpha2 is not None:
        along, across = straight.alpha1, straight.alpha2
        n1 = warp_share * (p11 * along + p12 * across) + weft_share * (f12 * along + f22 * across)
        n2 = warp_share * (p12 * along + p22 * across) + weft_share * (f11 * along + f12 * across)
        alpha1 = (a22 * n1 - a12 * n2) / left
        alpha2 = (a11 * n2 - a12 * n1) / left
    return PlyElastic(e1=left / a22, e2=left / a11, g12=straight.g12, nu12=a12 / a22, alpha1=alpha1, alpha2=alpha2)


def random_mat_ply(straight: PlyElastic) -> PlyElastic:
    """A mat with its fibres in all directions of the plane: the mean of the rotated ply over all angles.

    E = U1 - U4^2/U1, nu = U4/U1, G = U5, with U1 = (3 Q11 + 3 Q22 + 2 Q12 + 4 Q66)/8, U4 = (Q11 + Q22 + 6
    Q12 - 4 Q66)/8. Give it a ply whose E1 is `short_fibre_modulus` when the strands are short.
    Args:
        straight: The ply as if its fibres were parallel, at the mat's fibre fraction. [Pa, -, 1/K]
    Returns:
        The mat, alike in all directions of the plane. [Pa, -, 1/K]
    Source: Tsai & Hahn, Introduction to Composite Materials, 1980 (from memory): the quasi-isotropic
    invariants.
    """
    q11, q12, q22 = _reduced(straight, 1.0)
    u1 = (3.0 * q11 + 3.0 * q22 + 2.0 * q12 + 4.0 * straight.g12) / 8.0
    u4 = (q11 + q22 + 6.0 * q12 - 4.0 * straight.g12) / 8.0
    e = u1 - u4 * u4 / u1
    alpha: Values | None = None
    if straight.alpha1 is not None and straight.alpha2 is not None:
        force = (q11 + q12) * straight.alpha1 + (q12 + q22) * straight.alpha2
        alpha = force / (q11 + 2.0 * q12 + q22)
    return PlyElastic(e1=e, e2=e, g12=(u1 - u4) / 2.0, nu12=u4 / u1, alpha1=alpha, alpha2=alpha)
