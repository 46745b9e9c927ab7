r"""Stiffness of a stack of plies: classical laminate theory.

Index of formulas, by question:

- How stiff is one ply in its own axes?             `reduced_stiffness`
- How stiff is it turned by an angle?               `rotate_terms`, `rotated_stiffness`
- How stiff is the stack?                           `stack_stiffness`
- How stiff is a sheet with stiffeners on it?       `with_ribs`
- How does it shrink and curl after cure?           `rotated_expansion`, `thermal_forces`,
                                                    `stack_expansion`, `bow`
- How does it strain under edge forces and moments? `midplane_response`
- Where does each ply begin?                        `interfaces`

Order: the first ply of a list lies at z = -h/2, z grows towards the last ply. Reversing the list flips the
sign of B. Shear strain is the engineering one; curvature xy is -2 w,xy. Angles are in radians from x to the
fibre, positive from x to y. Forces are per width. Leading dimensions broadcast: many stacks can be done in
one call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layup.errors import RangeError

Floats = NDArray[np.float64]
Values = float | Floats


@dataclass(frozen=True, slots=True)
class StackStiffness:
    """A, B and D of one stack or of many.

    Attributes:
        a: Membrane, shape (..., 3, 3). [N/m]
        b: Coupling, shape (..., 3, 3). [N]
        d: Bending, shape (..., 3, 3). [N m]
        thickness: Shape (...). [m]
    """

    a: Floats
    b: Floats
    d: Floats
    thickness: Floats

    @property
    def matrix(self) -> Floats:
        """[[A, B], [B, D]], shape (..., 6, 6)."""
        top = np.concatenate([self.a, self.b], axis=-1)
        return np.concatenate([top, np.concatenate([self.b, self.d], axis=-1)], axis=-2)

    @property
    def compliance(self) -> Floats:
        """Inverse of `matrix`, shape (..., 6, 6)."""
        scale = np.asarray(self.thickness)[..., None]
        ones = np.ones((*scale.shape[:-1], 3))
        s = np.concatenate([ones, ones * scale], axis=-1)  # one unit in all rows: the inverse keeps its digits
        scaled = self.matrix / (s[..., :, None] * s[..., None, :])
        return np.asarray(np.linalg.inv(scaled) / (s[..., :, None] * s[..., None, :]))

    @property
    def reduced_bending(self) -> Floats:
        """D - B A^-1 B: bending stiffness when the mid-plane may slide freely, shape (..., 3, 3). [N m]."""
        return np.asarray(self.d - self.b @ np.linalg.solve(self.a, self.b))


def reduced_stiffness(e1: Values, e2: Values, nu12: Values, g12: Values) -> Floats:
    """Q of one ply in its own axes: Q11 = E1/(1 - nu12 nu21), Q12 = nu12 Q22, Q22 = E2/(1 - nu12 nu21), Q66
    = G12.
    Args:
        e1: Along the fibre. [Pa]
        e2: Across. [Pa]
        nu12: Strain across for strain along. [-]
        g12: [Pa]
    Returns:
        Q, shape (..., 3, 3). [Pa]
    Raises:
        RangeError: a modulus not positive, or nu12^2 >= E1/E2 (the ply would give back more energy than put
        in).
    Source: Kaw, Mechanics of Composite Materials, 2nd ed. 2006, ch. 2 (from memory).
    """
    e1, e2, nu12, g12 = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (e1, e2, nu12, g12)))
    for name, value in (("E1", e1), ("E2", e2), ("G12", g12)):
        if not np.all(np.isfinite(value) & (value > 0)):
            raise RangeError(f"{name} of a ply must be a positive number of pascals, not {value}.")
    left = 1.0 - nu12 * nu12 * e2 / e1
    if not np.all(left > 0):
        raise RangeError(f"nu12 = {nu12} with E1/E2 = {e1 / e2} cannot be: nu12 must be below sqrt(E1/E2).")
    q = np.zeros((*e1.shape, 3, 3))
    q[..., 0, 0] = e1 / left
    q[..., 1, 1] = e2 / left
    q[..., 0, 1] = q[..., 1, 0] = nu12 * e2 / left
    q[..., 2, 2] = g12
    return q


def rotate_terms(
    q11: Values, q12: Values, q22: Values, q66: Values, c: Values, s: Values
) -> tuple[Values, Values, Values, Values, Values, Values]:
    """Q turned by the angle whose cosine and sine are c and s. Plain arithmetic: works on arrays and under
    numba.
    Args:
        q11: [Pa]
        q12: [Pa]
        q22: [Pa]
        q66: [Pa]
        c: Cosine of the ply angle. [-]
        s: Sine of the ply angle. [-]
    Returns:
        Qbar 11, 12, 22, 16, 26, 66. [Pa]
    Source: Kaw 2006, ch. 2 (from memory).
    """
    c2 = c * c
    s2 = s * s
    cs = c * s
    c4 = c2 * c2
    s4 = s2 * s2
    p = c2 * s2
    mix = q12 + 2.0 * q66
    up = q11 - mix
    down = q22 - mix
    return (
        q11 * c4 + 2.0 * mix * p + q22 * s4,
        (q11 + q22 - 4.0 * q66) * p + q12 * (c4 + s4),
        q11 * s4 + 2.0 * mix * p + q22 * c4,
        cs * (up * c2 - down * s2),
        cs * (up * s2 - down * c2),
        (q11 + q22 - 2.0 * q12 - 2.0 * q66) * p + q66 * (c4 + s4),
    )


def rotated_stiffness(q: Floats, angle: ArrayLike) -> Floats:
    """Qbar of a ply turned by an angle.
    Args:
        q: From `reduced_stiffness`, shape (..., 3, 3). [Pa]
        angle: From x to the fibre, broadcast against the leading shape of q. [rad]
    Returns:
        Qbar, shape (..., 3, 3). [Pa]
    Source: Kaw 2006, ch. 2 (from memory).
    """
    angle = np.asarray(angle, dtype=float)
    terms = rotate_terms(
        q[..., 0, 0],
        q[..., 0, 1],
        q[..., 1, 1],
        q[..., 2, 2],
        np.asarray(np.cos(angle)),
        np.asarray(np.sin(angle)),
    )
    out = np.empty((*np.broadcast(*terms).shape, 3, 3))
    for (i, j), term in zip(((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2)), terms, strict=True):
        out[..., i, j] = term
        out[..., j, i] = term
    return out


def interfaces(thicknesses: ArrayLike) -> Floats:
    """Heights of the ply borders, from -h/2 to h/2.
    Args:
        thicknesses: Of the plies in order, shape (..., n). [m]
    Returns:
        z, shape (..., n + 1). [m]
    Raises:
        RangeError: no ply, or a negative thickness (0 is allowed and counts for nothing).
    """
    t = np.asarray(thicknesses, dtype=float)
    if t.ndim == 0 or t.shape[-1] == 0:
        raise RangeError("A stack needs at least one ply.")
    if not np.all(np.isfinite(t) & (t >= 0)) or not np.all(t.sum(axis=-1) > 0):
        raise RangeError(f"Ply thicknesses {t} must be positive lengths in metres.")
    upper = np.cumsum(t, axis=-1)
    z = np.concatenate([np.zeros((*t.shape[:-1], 1)), upper], axis=-1)
    return np.asarray(z - upper[..., -1:] / 2)


def stack_stiffness(qbars: Floats, thicknesses: ArrayLike) -> StackStiffness:
    """A, B, D: sums over plies of Qbar t, Qbar (z1^2 - z0^2)/2, Qbar (z1^3 - z0^3)/3.
    Args:
        qbars: Qbar of each ply, shape (..., n, 3, 3). [Pa]
        thicknesses: Shape (..., n). [m]
    Returns:
        The stack's stiffness, shape (...). [N/m, N, N m]
    Raises:
        RangeError: as in `interfaces`, or counts of plies that differ.
    Source: Kaw 2006, ch. 4 (from memory).
    """
    z = interfaces(thicknesses)
    if qbars.shape[-3] != z.shape[-1] - 1:
        plies = z.shape[-1] - 1
        raise RangeError(f"{qbars.shape[-3]} ply stiffnesses for {plies} thicknesses: give one of each per ply.")
    below, above = z[..., :-1], z[..., 1:]
    t = above - below
    middle = (above + below) / 2
    a = np.einsum("...kij,...k->...ij", qbars, t)
    b = np.einsum("...kij,...k->...ij", qbars, t * middle)
    d = np.einsum("...kij,...k->...ij", qbars, t * (middle * middle + t * t / 12))
    return StackStiffness(a, b, d, z[..., -1] - z[..., 0])


@dataclass(frozen=True, slots=True)
class Ribs:
    """Stiffeners side by side on one face of a sheet, all per width.

    Attributes:
        way: 0 where they run along x, 1 along y. [-]
        stretch: E A over the pitch. [N/m]
        height: Of their centroid over the middle of the sheet. [m]
        bending: E I about that centroid over the pitch. [N m]
        twisting: G J over the pitch. [N m]
    """

    way: int
    stretch: float
    height: float
    bending: float
    twisting: float


def with_ribs(a: Floats, d: Floats, ribs: Sequence[Ribs]) -> tuple[Floats, Floats]:
    """A and D of a sheet with its stiffeners smeared over their pitch, each bend about its own neutral axis.

    A + E A/p; D + E I/p + z^2 E A/p - B A^-1 B; D66 + G J/(4 p). Right for bends longer than the pitch; between
    stiffeners the sheet is softer.
    Args:
        a: Of the sheet alone, (3, 3). [N/m]
        d: About its middle, (3, 3). [N m]
        ribs: [-]
    Returns:
        A and D, (3, 3) each. [N/m, N m]
    Source: Block, Card & Mikulas, NASA TN D-2960, 1965 (from memory).
    """
    flat, bent, both = a.copy(), d.copy(), np.zeros((3, 3))
    for rib in ribs:
        k = rib.way
        flat[k, k] += rib.stretch
        both[k, k] += rib.stretch * rib.height
        bent[k, k] += rib.bending + rib.stretch * rib.height**2
        bent[2, 2] += rib.twisting / 4
    bent = bent - both @ np.linalg.solve(flat, both)
    return flat, (bent + bent.T) / 2


def rotated_expansion(alpha1: Values, alpha2: Values, angle: ArrayLike) -> Floats:
    """Expansion of a turned ply: (a1 c^2 + a2 s^2, a1 s^2 + a2 c^2, 2 (a1 - a2) c s).
    Args:
        alpha1: Along the fibre. [1/K]
        alpha2: Across. [1/K]
        angle: [rad]
    Returns:
        alpha x, y, xy, shape (..., 3). [1/K]
    Source: Kaw 2006, ch. 2 (from memory).
    """
    c, s = np.cos(np.asarray(angle, dtype=float)), np.sin(np.asarray(angle, dtype=float))
    terms = (alpha1 * c * c + alpha2 * s * s, alpha1 * s * s + alpha2 * c * c, 2 * (alpha1 - alpha2) * c * s)
    return np.stack(np.broadcast_arrays(*terms), axis=-1)


def thermal_forces(
    qbars: Floats, expansions: Floats, thicknesses: ArrayLike, temperature_change: Values
) -> tuple[Floats, Floats]:
    """Edge forces and moments that would strain a cold stack as heat does: N = dT sum(Qbar a t), M = dT
    sum(Qbar a t z).
    Args:
        qbars: Shape (..., n, 3, 3). [Pa]
        expansions: From `rotated_expansion`, shape (..., n, 3). [1/K]
        thicknesses: Shape (..., n). [m]
        temperature_change: Negative for cooling after cure. [K]
    Returns:
        N and M, shapes (..., 3). [N/m, N]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    z = interfaces(thicknesses)
    t = np.diff(z, axis=-1)
    middle = (z[..., 1:] + z[..., :-1]) / 2
    free = np.einsum("...kij,...kj->...ki", qbars, expansions)
    change = np.asarray(temperature_change)[..., None]
    return (
        np.asarray(change * np.einsum("...ki,...k->...i", free, t)),
        np.asarray(change * np.einsum("...ki,...k->...i", free, t * middle)),
    )


def midplane_response(stack: StackStiffness, force: ArrayLike, moment: ArrayLike) -> tuple[Floats, Floats]:
    """Mid-plane strain and curvature under edge forces and moments.
    Args:
        stack: [N/m, N, N m]
        force: Nx, Ny, Nxy, shape (..., 3). [N/m]
        moment: Mx, My, Mxy, shape (..., 3). [N]
    Returns:
        Strain (x, y, xy) and curvature, shapes (..., 3). [-, 1/m]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    force, moment = np.broadcast_arrays(np.asarray(force, dtype=float), np.asarray(moment, dtype=float))
    out = np.einsum("...ij,...j->...i", stack.compliance, np.concatenate([force, moment], axis=-1))
    return out[..., :3], out[..., 3:]


def stack_expansion(qbars: Floats, expansions: Floats, thicknesses: ArrayLike) -> tuple[Floats, Floats]:
    """Strain and curvature per kelvin of a free stack. An unsymmetric one curls.

    The curvature is that of small deflections: a saddle for [0/90]. A thin wide sheet snaps instead into
    one of two half-cylinders of about that curvature (Hyer, J. Compos. Mater. 15 (1981) 175, from memory).
    Args:
        qbars: Shape (..., n, 3, 3). [Pa]
        expansions: Shape (..., n, 3). [1/K]
        thicknesses: Shape (..., n). [m]
    Returns:
        Strain and curvature per kelvin, shapes (..., 3). [1/K, 1/(m K)]
    Source: Kaw 2006, ch. 4 (from memory).
    """
    force, moment = thermal_forces(qbars, expansions, thicknesses, 1.0)
    return midplane_response(stack_stiffness(qbars, thicknesses), force, moment)


def bow(curvature: Values, length: Values) -> Values:
    """Rise in the middle of a strip curled to a curvature, both ends on the table: k L^2/8.
    Args:
        curvature: [1/m]
        length: [m]
    Returns:
        Rise; within 1 % while below a tenth of the length. [m]
    Source: circle, small rise.
    """
    return curvature * length * length / 8
