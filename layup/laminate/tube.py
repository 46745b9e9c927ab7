r"""A round tube of any layup: at what push, bending moment and torque does its wall buckle?

- All three together, knocked down for real walls?   `Tube.factor`
- The load of a perfect wall?                        `Tube.pushed`, `Tube.twisted`

Forces are per width of wall: a push P brings P/(2 pi r), a moment M/(pi r^2) where it presses most, a torque T/(2 pi
r^2). Not here: flattening as it bends, crushing where it is held, holes, ends that are not held round.
Source: NASA SP-8007, Buckling of Thin-Walled Circular Cylinders, 1968 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import matrix_of
from layup.laminate.shallow_shell import LARGEST_R_OVER_T, cylinder_knock_down, solid_as_stiff

Floats = NDArray[np.float64]
_WAYS = np.concatenate([np.linspace(0.0, 1.0, 41), 1 / np.linspace(0.975, 0.05, 38)])
"""Waves round the tube over waves along it, among which the weakest buckle is sought. [-]"""
TWIST_LEFT = 0.67
"""Share of the classical torque that tests reached: SP-8007 (from memory). [-]"""


@dataclass(frozen=True)
class Tube:
    """A tube held round at both ends.

    Attributes:
        radius: To the middle of its wall. [m]
        length: Between what holds it round. [m]
    """

    radius: float
    length: float

    def pushed(self, d: Floats, a: Floats) -> Floats:
        """Push per width at which a perfect wall buckles: least over the shape of 2/R (bending/softness)^(1/2).

        Args:
            d: Six numbers of D each, x along the tube, (n, 6). [N m]
            a: Six numbers of A each, (n, 6). [N/m]
        Returns:
            (n,). [N/m]
        Source: Donnell's equation, waves of any length; a shorter tube takes more.
        """
        s2 = (_WAYS**2)[None]
        soft = np.linalg.inv(matrix_of(a))
        bent = d[:, :1] + 2 * (d[:, 1:2] + 2 * d[:, 5:]) * s2 + d[:, 2:3] * s2**2
        gives = soft[:, 0, :1] * s2**2 + (2 * soft[:, 0, 1:2] + soft[:, 2, 2:]) * s2 + soft[:, 1, 1:2]
        return np.asarray(2 / self.radius * np.sqrt(bent / gives).min(axis=1))

    def twisted(self, d: Floats, a: Floats) -> Floats:
        """Shear per width of a torque at which a perfect wall buckles; arguments as for `pushed`.

        That of a wall of middling length (SP-8007: T = 21.75 Dy^(5/8) (A11 - A12^2/A22)^(3/8) R^(5/4)/L^(1/2)), which
        falls with its length down to that of a very long one, which goes oval (Timoshenko & Gere 1961, ch. 11, from
        memory; brought to D and A).
        """
        along, round_it, r = 1 / np.linalg.inv(matrix_of(a))[:, 0, 0], d[:, 2], self.radius
        middling = 21.75 / (2 * np.pi) * round_it**0.625 * along**0.375 / (r**0.75 * self.length**0.5)
        return np.asarray(np.maximum(middling, 1.52 * round_it**0.75 * along**0.25 / r**1.5))

    def factor(self, d: Floats, a: Floats, loads: tuple[float, float, float], shear: Floats | None = None) -> Floats:
        """Factor on a push, a moment's press and a torque's shear, acting together, at which the wall buckles.

        A push and a moment add as shares of what each would take, a torque with its square.

        Args:
            d: As for `pushed`. [N m]
            a: As for `pushed`. [N/m]
            loads: Forces per width: push, press of the moment, shear of the torque. [N/m]
            shear: Shear stiffness of a core, (n,); none gives if None. [N/m]
        Returns:
            (n,); 0 for walls thinner than any that was tested. [-]
        """
        over = self.radius / solid_as_stiff(d, a)
        tested = over < LARGEST_R_OVER_T
        over = np.where(tested, over, 1.0)
        push, press, twist = loads
        classic, round_it = self.pushed(d, a), self.twisted(d, a)
        if shear is not None:  # Engesser: Allen 1969 (from memory)
            classic, round_it = (1 / (1 / n + 1 / shear) for n in (classic, round_it))
        straight = push / (cylinder_knock_down(over, 1.0) * classic)
        straight = straight + press / (cylinder_knock_down(over, 1.0, bending=True) * classic)
        squared = (twist / (TWIST_LEFT * round_it)) ** 2
        with np.errstate(divide="ignore"):
            found = 2 / (straight + np.sqrt(straight**2 + 4 * squared))
        return np.where(tested, found, 0.0)
