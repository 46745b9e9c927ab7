r"""A flat rectangular plate on four simple supports: its load, its stiffness and what it answers.

Index of formulas, by question:

- How stiff is it to one sine wave each way?           `mode_stiffness`
- With core shear (sandwich)?                          `SupportedPlate`, with `shear_x` and `shear_y`
- Any edges clamped, supported, free; D16 and D26?     `RitzPlate` in `layup.laminate.plate_edges`

x runs from 0 to a, y from 0 to b; deflection, pressure and forces positive the same way; sagging moments
positive; compression positive in buckling. Small deflection: beyond half the thickness a sheet stiffens and
these are cautious.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Floats = NDArray[np.float64]
Values = float | Floats


@dataclass(frozen=True, slots=True)
class Load:
    """What presses on the plate; the parts add up.

    Attributes:
        pressure: Even. [Pa]
        half_sine: Greatest pressure of sin(pi x/a) sin(pi y/b). [Pa]
        force: On a patch, or at a point if the patch has no size. [N]
        x: Middle of the patch, None for a/2. [m]
        y: Middle of the patch, None for b/2. [m]
        patch_x: Length of the patch along x. [m]
        patch_y: Length of the patch along y. [m]
    """

    pressure: float = 0.0
    half_sine: float = 0.0
    force: float = 0.0
    x: float | None = None
    y: float | None = None
    patch_x: float = 0.0
    patch_y: float = 0.0

    def middle(self, a: float, b: float) -> tuple[float, float]:
        """Middle of the patch on a plate a by b, after a check that the patch lies on it."""
        x = a / 2 if self.x is None else self.x
        y = b / 2 if self.y is None else self.y
        for name, at, size, side in (("x", x, self.patch_x, a), ("y", y, self.patch_y, b)):
            if size < 0 or at - size / 2 < -1e-12 * side or at + size / 2 > side * (1 + 1e-12):
                raise RangeError(f"A patch of {size:g} m at {name} = {at:g} m does not lie on a plate of {side:g} m.")
        return x, y


@dataclass(frozen=True, slots=True)
class Response:
    """Deflection, curvature and moments at one point, or at many.

    Attributes:
        deflection: [m]
        curvature: x, y, xy; of the sections, as in `layup.laminate.stiffness`, shape (..., 3). [1/m]
        moment: Mx, My, Mxy per width, shape (..., 3). [N]
    """

    deflection: Values
    curvature: Floats
    moment: Floats


def mode_stiffness(m: int, n: int, a: float, b: float, d11: Values, d12: Values, d22: Values, d66: Values) -> Values:
    """Pressure amplitude per deflection amplitude of the sine mode m, n. Plain arithmetic: arrays and numba.

    Args:
        m: Half-waves along x. [-]
        n: Half-waves along y. [-]
        a: [m]
        b: [m]
        d11: [N m]
        d12: [N m]
        d22: [N m]
        d66: [N m]
    Returns:
        D11 p^4 + 2 (D12 + 2 D66) p^2 r^2 + D22 r^4, p = m pi/a, r = n pi/b. [Pa/m]
    Source: Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. 2004 (from memory).
    """
    p2 = (m * 3.141592653589793 / a) ** 2
    r2 = (n * 3.141592653589793 / b) ** 2
    return d11 * p2 * p2 + 2.0 * (d12 + 2.0 * d66) * p2 * r2 + d22 * r2 * r2


@dataclass(frozen=True, slots=True)
class SupportedPlate:
    """A rectangular plate on four simply supported edges, plies at 0 and 90 only (or D16, D26 left out).

    Attributes:
        a: Along x. [m]
        b: Along y. [m]
        d11: [N m]
        d12: [N m]
        d22: [N m]
        d66: [N m]
        shear_x: Shear stiffness per width for forces on x-faces; infinite for a thin solid laminate. [N/m]
        shear_y: The same for y-faces. [N/m]
    """

    a: float
    b: float
    d11: Values
    d12: Values
    d22: Values
    d66: Values
    shear_x: Values = np.inf
    shear_y: Values = np.inf

    def __post_init__(self) -> None:
        if not (self.a > 0 and self.b > 0):
            raise RangeError(f"A plate needs two positive sides, not {self.a} m by {self.b} m.")
        if not np.all((np.asarray(self.d11) > 0) & (np.asarray(self.d22) > 0)):
            raise RangeError("A plate needs positive bending stiffness both ways.")
        if not np.all((np.asarray(self.shear_x) > 0) & (np.asarray(self.shear_y) > 0)):
            raise RangeError("A plate needs positive shear stiffness; infinite for a solid laminate.")

    def mode(self, m: int, n: int) -> tuple[Values, Values, Values]:
        """Stiffness of one sine mode [Pa/m], and the turn of the sections per deflection in x and y [1/m]."""
        p, r = m * math.pi / self.a, n * math.pi / self.b
        if np.all(np.isinf(self.shear_x)) and np.all(np.isinf(self.shear_y)):
            stiffness = mode_stiffness(
                m=m, n=n, a=self.a, b=self.b, d11=self.d11, d12=self.d12, d22=self.d22, d66=self.d66
            )
            return stiffness, -p, -r
        sx, sy = self.shear_x, self.shear_y
        kxx = self.d11 * p * p + self.d66 * r * r
        kyy = self.d66 * p * p + self.d22 * r * r
        kxy = (self.d12 + self.d66) * p * r
        # divided by sx, sy row by row, so that one of the two may be infinite
        m11, m12, m21, m22 = kxx / sx + 1, kxy / sx, kxy / sy, kyy / sy + 1
        left = m11 * m22 - m12 * m21
        turn_x = -(p * m22 - r * m12) / left
        turn_y = -(r * m11 - p * m21) / left
        # shear force times slope equals the moments' share: written without sx, sy so that infinity cancels
        stiffness = -(p * (kxx * turn_x + kxy * turn_y) + r * (kxy * turn_x + kyy * turn_y))
        return stiffness, turn_x, turn_y
