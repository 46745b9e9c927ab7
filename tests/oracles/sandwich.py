"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

import numpy as np

from layup.errors import RangeError
from layup.laminate.sandwich import Values, _positive, shear_stiffness

BEAM_CASES: dict[str, tuple[float, float]] = {
    "simply supported, spread load": (5 / 384, 1 / 8),
    "simply supported, load in the middle": (1 / 48, 1 / 4),
    "clamped both ends, spread load": (1 / 384, 1 / 8),
    "clamped both ends, load in the middle": (1 / 192, 1 / 4),
    "cantilever, spread load": (1 / 8, 1 / 2),
    "cantilever, load at the tip": (1 / 3, 1.0),
}
"""Deflection of a beam under total load P: k_b P L^3/(D b) + k_s P L/(S b); the pair k_b, k_s."""


def bending_stiffness(
    face_modulus_1: Values,
    face_thickness_1: Values,
    face_modulus_2: Values,
    face_thickness_2: Values,
    core_thickness: Values,
    core_modulus: Values = 0.0,
    thin_faces: bool = False,
) -> Values:
    """Bending stiffness per width of a sandwich, the two skins as unlike as they may be.

    Exact sum about the neutral axis: faces' own bending, faces' lever, core. With `thin_faces` only the
    lever, E1 t1 E2 t2 d^2/(E1 t1 + E2 t2): under 1 % low while d > 6 t, and safe.

    Args:
        face_modulus_1: In the direction of bending. [Pa]
        face_thickness_1: [m]
        face_modulus_2: [Pa]
        face_thickness_2: [m]
        core_thickness: [m]
        core_modulus: In the direction of bending; next to nothing for honeycomb. [Pa]
        thin_faces: Leave out the faces' own bending and the core. [-]
    Returns:
        D per width. [N m]
    Raises:
        RangeError: a thickness or face modulus not positive, a core modulus negative.
    Source: Allen, Analysis and Design of Structural Sandwich Panels, 1969 (from memory).
    """
    _positive(face_modulus=face_modulus_1, face_thickness=face_thickness_1, core_thickness=core_thickness)
    _positive(face_modulus=face_modulus_2, face_thickness=face_thickness_2)
    if not np.all(np.asarray(core_modulus) >= 0):
        raise RangeError(f"core modulus {core_modulus} is negative; write 0 for a honeycomb.")
    s1, s2 = face_modulus_1 * face_thickness_1, face_modulus_2 * face_thickness_2
    d = core_thickness + (face_thickness_1 + face_thickness_2) / 2
    if thin_faces:
        return s1 * s2 * d * d / (s1 + s2)
    sc = core_modulus * core_thickness
    to_core = (core_thickness + face_thickness_1) / 2  # middle of face 1 to middle of core
    axis = (sc * to_core + s2 * d) / (s1 + sc + s2)
    own = (s1 * face_thickness_1**2 + sc * core_thickness**2 + s2 * face_thickness_2**2) / 12
    return own + s1 * axis**2 + sc * (to_core - axis) ** 2 + s2 * (d - axis) ** 2


def beam_deflection(
    case: str, load: Values, span: Values, width: Values, bending: Values, shear: Values
) -> tuple[Values, Values]:
    """Greatest deflection of a beam or strip, in two parts: of bending and of core shear.

    Args:
        case: A key of `BEAM_CASES`. [-]
        load: Total. [N]
        span: [m]
        width: [m]
        bending: D per width. [N m]
        shear: S per width; infinite for a solid laminate. [N/m]
    Returns:
        Bending part and shear part. [m]
    Raises:
        RangeError: no such case, or a length or stiffness not positive.
    Source: beam theory; the shear part as in Allen 1969 (from memory).
    """
    if case not in BEAM_CASES:
        raise RangeError(f'No beam case "{case}". Write one of: {"; ".join(BEAM_CASES)}.')
    _positive(span=span, width=width, bending_stiffness=bending)
    if not np.all(np.asarray(shear) > 0):
        raise RangeError(f"shear stiffness {shear} must be positive.")
    kb, ks = BEAM_CASES[case]
    return kb * load * span**3 / (bending * width), ks * load * span / (shear * width)


def face_stress(moment: Values, face_thickness: Values, face_distance: Values) -> Values:
    """Stress in a thin face: M/(d t_f), M per width.

    Args:
        moment: Per width. [N]
        face_thickness: [m]
        face_distance: [m]
    Returns:
        Mean stress of that face. [Pa]
    Raises:
        RangeError: a length not positive.
    Source: Allen 1969 (from memory).
    """
    _positive(face_thickness=face_thickness, face_distance=face_distance)
    return moment / (face_distance * face_thickness)


def core_shear_stress(shear_force: Values, face_distance: Values) -> Values:
    """Shear stress in the core: V/d, V per width.

    Args:
        shear_force: Per width. [N/m]
        face_distance: [m]
    Returns:
        Even through the core. [Pa]
    Raises:
        RangeError: distance not positive.
    Source: Allen 1969 (from memory).
    """
    _positive(face_distance=face_distance)
    return shear_force / face_distance


def wrinkling_stress_of_solid_core(face_modulus: Values, core_modulus: Values, core_nu: Values) -> Values:
    """Wrinkling on a thick core alike in all directions (foam): B1 E_f^(1/3) E_c^(2/3).

    B1 = 3 (12 (3 - nu)^2 (1 + nu)^2)^(-1/3): 0.63 for nu = 0, 0.575 for 0.25; the usual "0.57" belongs to
    nu = 0.3. A theory value for flat skins: knock it down for hand work.

    Args:
        face_modulus: [Pa]
        core_modulus: [Pa]
        core_nu: Of the core, 0 to 0.5. [-]
    Returns:
        Compressive stress in the face. [Pa]
    Raises:
        RangeError: a modulus not positive, nu outside 0 to 0.5.
    Source: Allen 1969 (from memory).
    """
    _positive(face_modulus=face_modulus, core_modulus=core_modulus)
    if not np.all((np.asarray(core_nu) >= 0) & (np.asarray(core_nu) <= 0.5)):
        raise RangeError(f"Poisson's ratio of the core {core_nu} is outside 0 to 0.5.")
    b1 = 3 * (12 * (3 - core_nu) ** 2 * (1 + core_nu) ** 2) ** (-1 / 3)
    return b1 * (face_modulus * core_modulus * core_modulus) ** (1 / 3)


def shear_crimping_stress(
    core_shear_modulus: Values, core_thickness: Values, face_thickness: Values, face_distance: Values
) -> Values:
    """Stress in both skins at which an end-loaded sandwich shears over in one short wave: S/(2 t_f).

    Args:
        core_shear_modulus: In the direction of the load. [Pa]
        core_thickness: [m]
        face_thickness: Of each of two equal faces. [m]
        face_distance: [m]
    Returns:
        Compressive stress in the faces. [Pa]
    Raises:
        RangeError: a value not positive.
    Source: MIL-HDBK-23A, 1968 (from memory): end load per width = shear stiffness.
    """
    _positive(face_thickness=face_thickness)
    return shear_stiffness(core_shear_modulus, core_thickness, face_distance) / (2 * face_thickness)


def buckling_load_with_shear(buckling_load: Values, shear: Values) -> Values:
    """Buckling load of a column or wide panel whose core shears: 1/(1/N_E + 1/S). Never above S.

    Args:
        buckling_load: Of the panel as if stiff in shear, per width. [N/m]
        shear: Shear stiffness per width. [N/m]
    Returns:
        Buckling load per width. [N/m]
    Raises:
        RangeError: a value not positive.
    Source: Allen 1969, after Engesser (from memory).
    """
    _positive(buckling_load=buckling_load, shear_stiffness=shear)
    return 1 / (1 / buckling_load + 1 / shear)


def crushing_pressure_of_bending(moment: Values, bending: Values, face_distance: Values) -> Values:
    """Pressure by which the skins of a bent sandwich squeeze the core: M^2/(D d).

    Each skin carries M/d along a curve of M/D, and so presses on the core.

    Args:
        moment: Per width. [N]
        bending: D per width. [N m]
        face_distance: [m]
    Returns:
        Flatwise compression of the core. [Pa]
    Raises:
        RangeError: a stiffness or length not positive.
    Source: equilibrium of a curved face.
    """
    _positive(bending_stiffness=bending, face_distance=face_distance)
    return moment * moment / (bending * face_distance)


def crushing_reserve(
    core_crushing_strength: Values, load: Values, patch_area: Values, pressure: Values = 0.0
) -> Values:
    """Reserve against crushing the core under a local load, no help from the skin counted.

    Args:
        core_crushing_strength: Flatwise compression of the bare core. [Pa]
        load: On the patch. [N]
        patch_area: [m^2]
        pressure: Any other flatwise compression there, such as of bending. [Pa]
    Returns:
        Strength over pressure. [-]
    Raises:
        RangeError: a strength or area not positive, or a load that does not press.
    Source: force over area.
    """
    _positive(core_crushing_strength=core_crushing_strength, patch_area=patch_area)
    total = load / patch_area + pressure
    _positive(pressure_on_the_core=total)
    return core_crushing_strength / total
