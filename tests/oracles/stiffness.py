"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layup.laminate.stiffness import Floats, StackStiffness, Values


@dataclass(frozen=True, slots=True)
class EngineeringConstants:
    """The constants of a uniform sheet of the same thickness and compliance.

    Attributes:
        ex: [Pa]
        ey: [Pa]
        gxy: [Pa]
        nuxy: Strain in y for strain in x, under stress in x. [-]
        nuyx: Strain in x for strain in y, under stress in y. [-]
    """

    ex: Values
    ey: Values
    gxy: Values
    nuxy: Values
    nuyx: Values


def invariants(q: Floats) -> Floats:
    """The five combinations U1..U5 of Q; U1, U4 and U5 do not change when the ply turns.

    The quasi-isotropic sheet has E = U1 - U4^2/U1, nu = U4/U1, G = U5.
    Args:
        q: Shape (..., 3, 3). [Pa]
    Returns:
        U1, U2, U3, U4, U5 in the last axis, shape (..., 5). [Pa]
    Source: Tsai & Hahn, Introduction to Composite Materials, 1980, ch. 3 (from memory).
    """
    q11, q12, q22, q66 = q[..., 0, 0], q[..., 0, 1], q[..., 1, 1], q[..., 2, 2]
    return np.stack(
        [
            (3 * q11 + 3 * q22 + 2 * q12 + 4 * q66) / 8,
            (q11 - q22) / 2,
            (q11 + q22 - 2 * q12 - 4 * q66) / 8,
            (q11 + q22 + 6 * q12 - 4 * q66) / 8,
            (q11 + q22 - 2 * q12 + 4 * q66) / 8,
        ],
        axis=-1,
    )


def fill_stack_terms(qbar_terms: Floats, thicknesses: Floats, out: Floats) -> None:
    """A, B, D of one stack by plain loops into `out`; compiles under numba as it stands.
    Args:
        qbar_terms: Qbar 11, 12, 22, 16, 26, 66 of each ply, shape (n, 6). [Pa]
        thicknesses: Shape (n,). [m]
        out: Filled with A, B, D in the same order of terms, shape (3, 6). [N/m, N, N m]
    """
    h = 0.0
    for k in range(thicknesses.shape[0]):
        h += thicknesses[k]
    out[:, :] = 0.0
    z = -h / 2
    for k in range(thicknesses.shape[0]):
        t = thicknesses[k]
        middle = z + t / 2
        for j in range(6):
            out[0, j] += qbar_terms[k, j] * t
            out[1, j] += qbar_terms[k, j] * t * middle
            out[2, j] += qbar_terms[k, j] * t * (middle * middle + t * t / 12)
        z += t


def _constants(compliance: NDArray[np.floating[Any]], scale: Values) -> EngineeringConstants:
    s11, s22 = compliance[..., 0, 0] * scale, compliance[..., 1, 1] * scale
    s12 = compliance[..., 0, 1] * scale
    return EngineeringConstants(1 / s11, 1 / s22, 1 / (compliance[..., 2, 2] * scale), -s12 / s11, -s12 / s22)


def ply_constants(qbar: Floats) -> EngineeringConstants:
    """Engineering constants of one ply at its angle, from the inverse of Qbar.
    Args:
        qbar: Shape (..., 3, 3). [Pa]
    Returns:
        Constants along x and y. [Pa, -]
    """
    return _constants(np.linalg.inv(qbar), 1.0)


def in_plane_constants(stack: StackStiffness, free_to_warp: bool = True) -> EngineeringConstants:
    """Constants of the sheet pulled in its plane, by compliance times thickness.

    For a symmetric stack both settings agree. An unsymmetric strip in a test machine bends as it is pulled
    and is softer (`free_to_warp`); one held flat by its frame is stiffer (A alone).
    Args:
        stack: [N/m, N, N m]
        free_to_warp: Inverse of the whole matrix if true, of A alone if false. [-]
    Returns:
        Constants. [Pa, -]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    inverse = stack.compliance[..., :3, :3] if free_to_warp else np.linalg.inv(stack.a)
    return _constants(inverse, stack.thickness)


def flexural_constants(stack: StackStiffness, free_to_stretch: bool = True) -> EngineeringConstants:
    """Constants of the sheet in bending, by compliance times h^3/12. They depend on the order of the plies.
    Args:
        stack: [N/m, N, N m]
        free_to_stretch: Inverse of the whole matrix if true, of D alone if false. [-]
    Returns:
        Constants. [Pa, -]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    inverse = stack.compliance[..., 3:, 3:] if free_to_stretch else np.linalg.inv(stack.d)
    return _constants(inverse, stack.thickness**3 / 12)


def is_symmetric(stack: StackStiffness, tolerance: float = 1e-9) -> NDArray[np.bool_]:
    """Whether B is nothing beside A h, so that the sheet stays flat when pulled or cooled.
    Args:
        stack: [N/m, N, N m]
        tolerance: Largest |B| allowed over the largest |A| times h. [-]
    Returns:
        True or false, shape (...). [-]
    """
    largest = np.abs(stack.a).max(axis=(-2, -1)) * stack.thickness
    return np.asarray(np.abs(stack.b).max(axis=(-2, -1)) <= tolerance * largest)


def is_balanced(stack: StackStiffness, tolerance: float = 1e-9) -> NDArray[np.bool_]:
    """Whether A16 and A26 are nothing beside A, so that the sheet does not shear when pulled.
    Args:
        stack: [N/m, N, N m]
        tolerance: Largest |A16|, |A26| allowed over the largest |A|. [-]
    Returns:
        True or false, shape (...). [-]
    """
    return np.asarray(np.abs(stack.a[..., :2, 2]).max(axis=-1) <= tolerance * np.abs(stack.a).max(axis=(-2, -1)))


def unpaired_plies(plies: Sequence[Hashable]) -> list[tuple[int, int]]:
    """Ply pairs, counted from 1, that are not mirror images about the middle.

    >>> unpaired_plies([("carbon", 0), ("carbon", 45), ("carbon", 0)])
    []
    >>> unpaired_plies([("carbon", 0), ("glass", 0), ("carbon", 90)])
    [(1, 3)]

    Args:
        plies: What makes each ply what it is (fabric, angle, thickness), in order. [-]
    Returns:
        Pairs of numbers; empty for a symmetric stack. [-]
    """
    n = len(plies)
    return [(i + 1, n - i) for i in range(n // 2) if plies[i] != plies[n - 1 - i]]


def ply_stress(
    qbar: Floats, strain: ArrayLike, curvature: ArrayLike, height: ArrayLike, free_strain: ArrayLike = 0.0
) -> Floats:
    """Stress (x, y, xy) in a ply at a height: Qbar (strain + z curvature - free strain).
    Args:
        qbar: Of that ply, shape (..., 3, 3). [Pa]
        strain: Mid-plane, shape (..., 3). [-]
        curvature: Shape (..., 3). [1/m]
        height: z, any within the ply, shape (...). [m]
        free_strain: Expansion times temperature change, shape (..., 3) or 0. [-]
    Returns:
        Stress along x, y, xy, shape (..., 3). [Pa]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    local = np.asarray(strain) + np.asarray(height)[..., None] * np.asarray(curvature) - np.asarray(free_strain)
    return np.asarray(np.einsum("...ij,...j->...i", qbar, local))


def stress_in_material_axes(stress: ArrayLike, angle: ArrayLike) -> Floats:
    """Stress turned into the axes of the ply: along, across, shear.
    Args:
        stress: x, y, xy, shape (..., 3). [Pa]
        angle: Of the ply. [rad]
    Returns:
        Stress 1, 2, 12, shape (..., 3). [Pa]
    Source: Kaw 2006, ch. 2 (from memory).
    """
    stress = np.asarray(stress, dtype=float)
    c, s = np.cos(np.asarray(angle, dtype=float)), np.sin(np.asarray(angle, dtype=float))
    x, y, xy = stress[..., 0], stress[..., 1], stress[..., 2]
    terms = (
        c * c * x + s * s * y + 2 * c * s * xy,
        s * s * x + c * c * y - 2 * c * s * xy,
        c * s * (y - x) + (c * c - s * s) * xy,
    )
    return np.stack(np.broadcast_arrays(*terms), axis=-1)


def strain_in_material_axes(strain: ArrayLike, angle: ArrayLike) -> Floats:
    """Strain turned into the axes of the ply; the shear is the engineering one.
    Args:
        strain: x, y, xy, shape (..., 3). [-]
        angle: Of the ply. [rad]
    Returns:
        Strain 1, 2, 12, shape (..., 3). [-]
    Source: Kaw 2006, ch. 2 (from memory).
    """
    halved = np.asarray(strain, dtype=float) * np.array([1.0, 1.0, 0.5])
    return np.asarray(stress_in_material_axes(halved, angle) * np.array([1.0, 1.0, 2.0]))
