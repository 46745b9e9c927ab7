r"""Two skins and a core: how stiff the core is in shear, and the ways a thin skin fails on it.

Index of formulas, by question:

- How stiff in shear?                                 `shear_stiffness`
- Does the skin wrinkle into the core?                `wrinkling_stress`, `wrinkling_stress_of_honeycomb`
- Does the skin dimple into the honeycomb's cells?    `dimpling_stress`

Stiffnesses and loads are per width unless a width is named. Skins thin beside the core: d is the distance
of the skins' middles, d = t_c + (t_1 + t_2)/2. Floats or arrays that broadcast; signs: stresses and loads
as sizes, all positive.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Values = float | NDArray[np.float64]


def _positive(**named: Values) -> None:
    for name, value in named.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
            raise RangeError(f"{name.replace('_', ' ')} {value} must be a positive number.")


def shear_stiffness(core_shear_modulus: Values, core_thickness: Values, face_distance: Values) -> Values:
    """Shear stiffness per width: G_c d^2/t_c. The short form G_c d is some per cent low.

    Args:
        core_shear_modulus: In the plane of bending: honeycomb has two, L and W, up to a factor of two
            apart. [Pa]
        core_thickness: [m]
        face_distance: d, between the middles of the faces. [m]
    Returns:
        S per width. [N/m]
    Raises:
        RangeError: a value not positive, or faces nearer than the core is thick.
    Source: Allen 1969 (from memory).
    """
    _positive(core_shear_modulus=core_shear_modulus, core_thickness=core_thickness, face_distance=face_distance)
    if not np.all(np.asarray(face_distance) >= np.asarray(core_thickness)):
        raise RangeError(f"face distance {face_distance} m is less than the core's thickness {core_thickness} m.")
    return core_shear_modulus * face_distance**2 / core_thickness


def wrinkling_stress(
    face_modulus: Values, core_modulus: Values, core_shear_modulus: Values, factor: Values = 0.5
) -> Values:
    """Stress at which a skin wrinkles into the core: factor (E_f E_c G_c)^(1/3).

    The factor 0.5 is a design knock-down for skins that are not quite flat; theory gives about 0.91. Does
    not depend on any thickness. E_c is the core's modulus through its thickness. For an uneven laminate
    take E_f from its bending stiffness, 12 D11/t^3, when that is lower.

    Args:
        face_modulus: Along the compression. [Pa]
        core_modulus: Through the thickness. [Pa]
        core_shear_modulus: In the plane of the compression. [Pa]
        factor: 0.5 for design. [-]
    Returns:
        Compressive stress in the face. [Pa]
    Raises:
        RangeError: a value not positive, or a factor above 0.91 (theory).
    Source: Hoff & Mautner, J. Aeronaut. Sci. 12 (1945) 285 (from memory).
    """
    _positive(
        face_modulus=face_modulus,
        core_modulus=core_modulus,
        core_shear_modulus=core_shear_modulus,
        factor=factor,
    )
    if not np.all(np.asarray(factor) <= 0.91):
        raise RangeError(f"wrinkling factor {factor} is above theory (0.91); design takes 0.5.")
    return factor * (face_modulus * core_modulus * core_shear_modulus) ** (1 / 3)


def wrinkling_stress_of_honeycomb(
    face_modulus: Values,
    face_thickness: Values,
    core_modulus: Values,
    core_thickness: Values,
    factor: Values = 0.33,
) -> Values:
    """Wrinkling on a thin honeycomb core: factor E_f sqrt(E_c t_f/(E_f t_c)).

    Theory for both skins going the opposite way has 0.82; 0.33 is the design value for skins with common
    waviness.

    Args:
        face_modulus: [Pa]
        face_thickness: [m]
        core_modulus: Through the thickness. [Pa]
        core_thickness: [m]
        factor: 0.33 for design. [-]
    Returns:
        Compressive stress in the face. [Pa]
    Raises:
        RangeError: a value not positive, or a factor above 0.82 (theory).
    Source: MIL-HDBK-23A, 1968 (from memory).
    """
    _positive(face_modulus=face_modulus, face_thickness=face_thickness, factor=factor)
    _positive(core_modulus=core_modulus, core_thickness=core_thickness)
    if not np.all(np.asarray(factor) <= 0.82):
        raise RangeError(f"wrinkling factor {factor} is above theory (0.82); design takes 0.33.")
    return factor * face_modulus * (core_modulus * face_thickness / (face_modulus * core_thickness)) ** 0.5


def dimpling_stress(face_modulus: Values, face_nu: Values, face_thickness: Values, cell_size: Values) -> Values:
    """Stress at which a skin buckles inside the cells of a honeycomb: 2 E_f/(1 - nu^2) (t_f/s)^2.

    Foam and balsa have no cells: no such check. For a woven skin take the lower modulus of the two
    directions.

    Args:
        face_modulus: [Pa]
        face_nu: [-]
        face_thickness: [m]
        cell_size: Across the flats of the cell. [m]
    Returns:
        Compressive stress in the face. [Pa]
    Raises:
        RangeError: a value not positive, or nu not within -1 to 1.
    Source: MIL-HDBK-23A, 1968 (from memory).
    """
    _positive(face_modulus=face_modulus, face_thickness=face_thickness, cell_size=cell_size)
    if not np.all(np.abs(face_nu) < 1):
        raise RangeError(f"Poisson's ratio of the face {face_nu} must lie within -1 to 1 for this formula.")
    return 2 * face_modulus / (1 - face_nu**2) * (face_thickness / cell_size) ** 2
