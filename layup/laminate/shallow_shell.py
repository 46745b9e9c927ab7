r"""A shallow curved panel on four supported edges: how much its curve stiffens it, and what that hangs on.

- How far does it give under an even pressure, on average?   `ShallowShell.mean_sag`
- What must D and A keep to, for that to stay within a bound?  `ShallowShell.limit`
- At what push does it buckle?                                `ShallowShell.buckling`; in real life, `knocked_down`
- How far may it give before it can snap through?             `ShallowShell.safe_sag`
- How curved is a surface?                                    `curvature_of`

A curved sheet can't bend without stretching, so its stiffness is that of its D and of its A together: what has the D
of an
old sheet but not its A is weaker than the old part as soon as both are curved. Each sine of the deflection takes the
energy of
bending and that of the stretching which the curve forces on it; edges are held across the panel and may slide in its
plane (which helps the least). Plies at 0 and 90, or balanced: A16, A26, D16, D26 are left out.
Source: Donnell's and Marguerre's shallow shells: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, ch. 11;
Vinson & Sierakowski, The Behavior of Structures Composed of Composite Materials, 1986 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError
from layup.laminate.panel import matrix_of
from layup.laminate.plate import SupportedPlate

Floats = NDArray[np.float64]
Values = float | Floats
WAVES = np.arange(1, 16, 2)
"""Half-waves each way under an even pressure; those left out hold under 0.1 % of the mean. [-]"""


LARGEST_R_OVER_T = 1500.0
"""Radius over thickness beyond which no test stands behind the knock-down. [-]"""


def cylinder_knock_down(radius: Values, thickness: Values, bending: bool = False) -> Floats:
    """Share of the classical buckling stress that thin cylinders were seen to reach: 1 - 0.901 (1 - e^(-sqrt(R/t)/16)).

    Args:
        radius: [m]
        thickness: Of the wall; of a sandwich or a laminate that of a solid wall as stiff, `solid_as_stiff`. [m]
        bending: For a tube that is bent, with 0.731 for 0.901; else for one that is pushed. [-]
    Returns:
        Share. [-]
    Raises:
        RangeError: R/t outside the tests, above 1500.
    Source: NASA SP-8007, Buckling of Thin-Walled Circular Cylinders, 1968 (from memory).
    """
    over = np.asarray(radius, dtype=float) / thickness
    if not np.all((over > 0) & (over < LARGEST_R_OVER_T)):
        raise RangeError(f"R/t = {np.max(over):.0f} is outside the tests behind the knock-down, 0 to 1500.")
    return np.asarray(1 - (0.731 if bending else 0.901) * (1 - np.exp(-np.sqrt(over) / 16)))


def solid_as_stiff(d: Floats, a: Floats) -> Floats:
    """Thickness of the solid wall that bends and stretches as these layups do: (12)^(1/2) (D11 D22/(E1 E2))^(1/4).

    Args:
        d: Six numbers of D each, (n, 6). [N m]
        a: Six numbers of A each, (n, 6); E1, E2 are 1/(A^-1)11 and 22. [N/m]
    Returns:
        (n,). [m]
    Source: NASA SP-8007, 1968 (from memory).
    """
    soft = np.linalg.inv(matrix_of(a))
    return np.asarray(np.sqrt(12) * (d[:, 0] * d[:, 2] * soft[:, 0, 0] * soft[:, 1, 1]) ** 0.25)


def curvature_of(points: Floats, weights: Floats) -> tuple[float, float, float]:
    """Curvature of the quadric that fits a surface best: along x, along y, and twist.

    Args:
        points: Places, (n, 3): x, y in the panel's plane, z out of it. [m]
        weights: Area of each. [m^2]
    Returns:
        The three. [1/m]
    """
    x, y, z = (points - points.mean(axis=0)).T
    columns = np.stack([np.ones_like(x), x, y, x * x / 2, y * y / 2, x * y], axis=1)
    root = np.sqrt(weights / weights.sum())[:, None]
    found = np.linalg.lstsq(columns * root, z * root[:, 0], rcond=None)[0]
    return float(found[3]), float(found[4]), float(found[5])


@dataclass(frozen=True)
class ShallowShell:
    """A curved rectangle, held along its edges.

    Attributes:
        a: Along x. [m]
        b: Along y. [m]
        kx: Curvature along x. [1/m]
        ky: Curvature along y. [1/m]
    """

    a: float
    b: float
    kx: float
    ky: float

    def _bending(self, d: Floats, shear: Floats | None, m: int, n: int) -> Floats:
        own = np.full(len(d), np.inf) if shear is None else shear
        plate = SupportedPlate(
            a=self.a, b=self.b, d11=d[:, 0], d12=d[:, 1], d22=d[:, 2], d66=d[:, 5], shear_x=own, shear_y=own
        )
        return np.broadcast_to(np.asarray(plate.mode(m, n)[0], dtype=float), (len(d),))

    def _stretching(self, membrane: Floats, m: int, n: int) -> tuple[Floats, Floats]:
        """Stiffness that the curve adds to a mode (n,) [Pa/m], and the strains of one metre of it (n, 3) [1/m]."""
        p, r = m * np.pi / self.a, n * np.pi / self.b
        soft = np.linalg.inv(matrix_of(membrane))
        forced = self.kx * r * r + self.ky * p * p
        hard = soft[:, 0, 0] * r**4 + (2 * soft[:, 0, 1] + soft[:, 2, 2]) * p * p * r * r + soft[:, 1, 1] * p**4
        force = forced / hard  # of Airy's function: Nx = r^2, Ny = p^2, Nxy = p r of it
        strain = np.einsum("nij,j->ni", soft, [r * r, p * p, 0.0]) * force[:, None]
        strain[:, 2] = soft[:, 2, 2] * p * r * force
        return forced**2 / hard, strain

    def mean_sag(self, d: Floats, membrane: Floats, shear: Floats | None = None) -> Floats:
        """Mean deflection under one pascal.

        Args:
            d: Six numbers of D each, (n, 6). [N m]
            membrane: Six numbers of A each, (n, 6). [N/m]
            shear: Shear stiffness of a core, (n,); none gives if None. [N/m]
        Returns:
            (n,). [m/Pa]
        """
        total = np.zeros(len(d))
        for m in WAVES.tolist():
            for n in WAVES.tolist():
                own = self._bending(d, shear, m, n) + self._stretching(membrane, m, n)[0]
                total += 64 / (np.pi**4 * (m * n) ** 2) / own
        return total

    def limit(self, d: Floats, membrane: Floats, most: float) -> tuple[Floats, float, float]:
        """Limit on D and A that follows from: the mean deflection under one pascal is at most so much [m/Pa].

        The panel of another layup gives at least as much as in the shape of this one, whose energy is linear in D and
        A.

        Args:
            d: D of the layup whose shape is used, (6,). [N m]
            membrane: Its A, (6,). [N/m]
            most: [m/Pa]
        Returns:
            g (12,), r, s as in `layup.laminate.panel_model.Limit`.
        """
        g, work = np.zeros(12), 0.0
        quarter = self.a * self.b / 4
        for m in WAVES.tolist():
            for n in WAVES.tolist():
                p, r = m * np.pi / self.a, n * np.pi / self.b
                stiff, strain = self._stretching(membrane[None], m, n)
                size = 16 / (np.pi**2 * m * n) / float((self._bending(d[None], None, m, n) + stiff)[0])
                ex, ey, exy = strain[0] * size
                g[[0, 1, 2, 5]] += quarter * size**2 * np.array([p**4, 2 * p * p * r * r, r**4, 4 * p * p * r * r])
                g[[6, 7, 8, 11]] += quarter * np.array([ex * ex, 2 * ex * ey, ey * ey, exy * exy])
                work += 4 * quarter * size * 4 / (np.pi**2 * m * n)
        return g, work**2 / (most * self.a * self.b), 0.0

    def buckling(
        self,
        d: Floats,
        membrane: Floats,
        nx: float,
        ny: float = 0.0,
        help_left: Values = 1.0,
        shear: Floats | None = None,
    ) -> Floats:
        """Factor on compressions at which it buckles.

        Args:
            d: (n, 6). [N m]
            membrane: (n, 6). [N/m]
            nx: Compression along x. [N/m]
            ny: Along y. [N/m]
            help_left: Share of the stretching that counts: 1 for the classical load, less for design. [-]
            shear: Shear stiffness of a core, (n,); none gives if None. [N/m]
        Returns:
            (n,). [-]
        """
        best = np.full(len(d), np.inf)
        for m, n, push in _pushes(self.a, self.b, nx, ny):
            own = self._bending(d, shear, m, n) + help_left * self._stretching(membrane, m, n)[0]
            best = np.minimum(best, own / push)
        return best

    def knocked_down(
        self, d: Floats, membrane: Floats, nx: float, ny: float = 0.0, shear: Floats | None = None
    ) -> Floats:
        """The same, with what tests of cylinders left of the curve's help: `cylinder_knock_down` g, its square of the
        stretching, so that a wide panel, 2 (D A)^(1/2)/R, buckles at g of the classical load.

        Args:
            d: (n, 6). [N m]
            membrane: (n, 6). [N/m]
            nx: Compression along x. [N/m]
            ny: Along y. [N/m]
            shear: Of a core, (n,). [N/m]
        Returns:
            (n,). [-]
        """
        over = 1 / (max(abs(self.kx), abs(self.ky), 1e-9) * solid_as_stiff(d, membrane))
        share = cylinder_knock_down(np.minimum(over, 0.999 * LARGEST_R_OVER_T), 1.0) ** 2
        return self.buckling(d, membrane, nx, ny, np.where(over < LARGEST_R_OVER_T, share, 0.0), shear)

    def limit_of_push(
        self, d: Floats, membrane: Floats, nx: float, ny: float, least: float
    ) -> tuple[Floats, float, float]:
        """Limit on D and A that follows from: `knocked_down` is at least so much; arguments as for `limit`.

        It lets all of the curve's help count, which no layup has, so it holds for every one of them.
        """
        best, at = np.inf, (1, 1)
        for m, n, push in _pushes(self.a, self.b, nx, ny):
            own = self._bending(d[None], None, m, n)[0] + self._stretching(membrane[None], m, n)[0][0]
            if own / push < best:
                best, at = float(own / push), (m, n)
        m, n = at
        p, r = m * np.pi / self.a, n * np.pi / self.b
        ex, ey, exy = self._stretching(membrane[None], m, n)[1][0]
        g = np.zeros(12)
        g[[0, 1, 2, 5]] = p**4, 2 * p * p * r * r, r**4, 4 * p * p * r * r
        g[[6, 7, 8, 11]] = ex * ex, 2 * ex * ey, ey * ey, exy * exy
        return g, least * (nx * p * p + ny * r * r), 0.0

    @property
    def rise(self) -> float:
        """From the plane of its corners to its middle. [m]"""
        return (abs(self.kx) * self.a**2 + abs(self.ky) * self.b**2) / 8

    def safe_sag(self, d: Floats, membrane: Floats) -> Floats:
        """Deflection, laid flat, up to which it can't snap through; infinite where it is too flat to snap at all.

        A shallow arch snaps at no load under which it would, laid flat, sag less than its rise; and never if its rise
        is under twice (D/A)^(1/2). A panel is held at its sides as well, and how its edges are held in its plane does
        not matter, so it is cautious.

        Args:
            d: (n, 6). [N m]
            membrane: (n, 6). [N/m]
        Returns:
            (n,). [m]
        Source: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, art. 7.8 (from memory):
            u = 1 + (4 (1 - m)^3/(27 m^2))^(1/2), m = 4 I/(A rise^2), is 1 or more.
        """
        slim = 2 * np.sqrt(np.minimum(d[:, 0] / membrane[:, 0], d[:, 2] / membrane[:, 2]))
        return np.where(self.rise > slim, self.rise, np.inf)


def _pushes(a: float, b: float, nx: float, ny: float) -> list[tuple[int, int, float]]:
    """Half-waves along x and along y, and what compressions work on them."""
    every = [(m, n, nx * (m * np.pi / a) ** 2 + ny * (n * np.pi / b) ** 2) for m in range(1, 41) for n in range(1, 11)]
    return [row for row in every if row[2] > 0]
