r"""A rectangular plate with any mix of clamped, supported and free edges, and with D16 and D26.

Index of formulas, by question:

- How far does it give under a pressure or a hand? `RitzPlate.respond`, then `RitzResponse.at`
- At what frequencies does it shake?               `RitzPlate.frequencies`
- At what edge load does it buckle?                `RitzPlate.buckling`

The deflection is a sum of products of polynomials that keep to the edges, and the amounts are those of
least energy (Ritz). Signs and the load are those of `layup.laminate.plate`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike, NDArray

from layup.errors import RangeError
from layup.laminate.plate import Load, Response

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Side:
    """Orthonormal polynomials over one side that keep to its two edges, with their derivatives."""

    length: float
    first: str
    last: str
    count: int

    @cached_property
    def _gauss(self) -> tuple[Floats, Floats]:
        at, weight = legendre.leggauss(self.count + 6)
        return np.asarray(at, dtype=float), np.asarray(weight, dtype=float)

    def _raw(self, at: Floats, order: int) -> Floats:
        edge = np.array([1.0])
        for sign, kind in ((1.0, self.first), (-1.0, self.last)):
            for _ in range("FSC".index(kind)):
                edge = legendre.legmul(edge, [1.0, sign])
        rows = []
        for k in range(self.count):
            unit = np.zeros(k + 1)
            unit[k] = 1.0
            rows.append(legendre.legval(at, legendre.legder(legendre.legmul(edge, unit), order)))
        return np.asarray(np.asarray(rows) * (2 / self.length) ** order, dtype=float)

    @cached_property
    def _unmix(self) -> Floats:
        at, weight = self._gauss
        values = self._raw(at, 0) * np.sqrt(weight * self.length / 2)
        return np.asarray(np.linalg.inv(np.linalg.qr(values.T)[1].T))

    def at(self, s: ArrayLike, order: int = 0) -> Floats:
        """Values at places along the side, shape (count, ...)."""
        xi = 2 * np.asarray(s, dtype=float) / self.length - 1
        return np.asarray(np.tensordot(self._unmix, self._raw(xi, order), axes=1))

    def places(self) -> tuple[Floats, Floats]:
        """Gauss places and weights along the side."""
        at, weight = self._gauss
        return np.asarray((at + 1) * self.length / 2), np.asarray(weight * self.length / 2)

    def product(self, left: int, right: int) -> Floats:
        """Integrals of derivative `left` of one polynomial times derivative `right` of another."""
        return np.asarray((self._tables[left] * self.places()[1]) @ self._tables[right].T)

    @cached_property
    def _tables(self) -> tuple[Floats, Floats, Floats]:
        s = self.places()[0]
        return self.at(s, 0), self.at(s, 1), self.at(s, 2)


@dataclass(frozen=True)
class RitzPlate:
    """A rectangular plate with any edges, by the best sum of polynomials (Ritz).

    Exact in the limit of many terms and stiffer than true before it: deflections low, frequencies high.
    Give D itself for a symmetric stack, D - B A^-1 B for an unsymmetric one whose edges may slide.

    Attributes:
        a: Along x. [m]
        b: Along y. [m]
        d: Bending stiffness with D16 and D26, shape (3, 3). [N m]
        edges: Four letters for the edges x=0, y=0, x=a, y=b: F free, S simply supported, C clamped. [-]
        terms: Polynomials each way, 2 to 24. [-]
    """

    a: float
    b: float
    d: Floats
    edges: str = "SSSS"
    terms: int = 10

    def __post_init__(self) -> None:
        if not (self.a > 0 and self.b > 0):
            raise RangeError(f"A plate needs two positive sides, not {self.a} m by {self.b} m.")
        if len(self.edges) != 4 or set(self.edges) - set("FSC"):
            raise RangeError(f'Edges "{self.edges}": write four letters out of F (free), S (supported), C (clamped).')
        if not 2 <= self.terms <= 24:
            raise RangeError(f"{self.terms} polynomials each way: between 2 and 24 hold their digits.")
        if self.d.shape != (3, 3) or not np.all(np.linalg.eigvalsh(self.d) > 0):
            raise RangeError("The bending stiffness of a plate must be a positive definite 3 by 3 matrix.")

    @cached_property
    def _sides(self) -> tuple[_Side, _Side]:
        e = self.edges
        return _Side(self.a, e[0], e[2], self.terms), _Side(self.b, e[1], e[3], self.terms)

    @cached_property
    def _stiffness(self) -> Floats:
        x, y = self._sides
        d = self.d
        k = d[0, 0] * np.kron(x.product(2, 2), y.product(0, 0)) + d[1, 1] * np.kron(x.product(0, 0), y.product(2, 2))
        k += d[0, 1] * (np.kron(x.product(2, 0), y.product(0, 2)) + np.kron(x.product(0, 2), y.product(2, 0)))
        k += 4 * d[2, 2] * np.kron(x.product(1, 1), y.product(1, 1))
        k += 2 * d[0, 2] * (np.kron(x.product(2, 1), y.product(0, 1)) + np.kron(x.product(1, 2), y.product(1, 0)))
        k += 2 * d[1, 2] * (np.kron(x.product(0, 1), y.product(2, 1)) + np.kron(x.product(1, 0), y.product(1, 2)))
        return np.asarray((k + k.T) / 2)

    def _held(self) -> Floats:
        """The stiffness, after a check that the edges hold the plate at all."""
        lowest = np.linalg.eigvalsh(self._stiffness)[0]
        if lowest < 1e-7 * self.d.max() / max(self.a, self.b) ** 4:
            raise RangeError(f'Edges "{self.edges}" do not hold the plate: clamp one edge or support two.')
        return self._stiffness

    def _load(self, load: Load, lift_x: Floats, lift_y: Floats, patch_x: Floats, patch_y: Floats) -> Floats:
        """Work of the load on products of functions given at the Gauss places and averaged over the patch."""
        (sx, wx), (sy, wy) = self._sides[0].places(), self._sides[1].places()
        work = load.pressure * np.outer(lift_x @ wx, lift_y @ wy)
        sine_x, sine_y = np.sin(np.pi * sx / self.a), np.sin(np.pi * sy / self.b)
        work += load.half_sine * np.outer(lift_x @ (wx * sine_x), lift_y @ (wy * sine_y))
        return np.asarray(work + load.force * np.outer(patch_x, patch_y))

    def _patch(self, load: Load) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        cx, cy = load.middle(self.a, self.b)
        at, weight = legendre.leggauss(20)
        return (cx + at * load.patch_x / 2, weight / 2), (cy + at * load.patch_y / 2, weight / 2)

    def respond(self, load: Load) -> RitzResponse:
        """Deflect under a load.

        Args:
            load: [Pa, N, m]
        Returns:
            The bent plate, to be asked for deflection and moments. [m, N]
        Raises:
            RangeError: edges that do not hold the plate, a patch off the plate.
        Source: Ritz; Timoshenko & Woinowsky-Krieger 1959 (from memory).
        """
        x, y = self._sides
        (px, wpx), (py, wpy) = self._patch(load)
        work = self._load(load, x.at(x.places()[0]), y.at(y.places()[0]), x.at(px) @ wpx, y.at(py) @ wpy)
        amounts = np.linalg.solve(self._held(), work.ravel()).reshape(self.terms, self.terms)
        return RitzResponse(self, load, np.asarray(amounts))

    def frequencies(self, areal_weight: float, count: int = 6) -> Floats:
        """The lowest own frequencies; a plate held nowhere begins with three zeros.

        Args:
            areal_weight: Mass per area. [kg/m^2]
            count: How many. [-]
        Returns:
            Frequencies, rising. [Hz]
        Raises:
            RangeError: areal weight not positive.
        Source: Leissa, J. Sound Vib. 31 (1973) 257 (from memory).
        """
        if not areal_weight > 0:
            raise RangeError(f"A plate needs a positive areal weight, not {areal_weight} kg/m^2.")
        lowest = np.maximum(np.linalg.eigvalsh(self._stiffness)[:count], 0.0)
        return np.asarray(np.sqrt(lowest / areal_weight) / (2 * np.pi))

    def buckling(self, nx: float = 0.0, ny: float = 0.0, nxy: float = 0.0) -> float:
        """Factor on even edge loads at which the plate buckles.

        Args:
            nx: Compression along x. [N/m]
            ny: Compression along y. [N/m]
            nxy: Shear. [N/m]
        Returns:
            Smallest positive factor; infinite if these loads cannot buckle it. [-]
        Raises:
            RangeError: edges that do not hold the plate.
        Source: Timoshenko & Gere 1961 (from memory).
        """
        x, y = self._sides
        push = nx * np.kron(x.product(1, 1), y.product(0, 0)) + ny * np.kron(x.product(0, 0), y.product(1, 1))
        push += nxy * (np.kron(x.product(1, 0), y.product(0, 1)) + np.kron(x.product(0, 1), y.product(1, 0)))
        root = np.linalg.cholesky(self._held())
        half = np.linalg.solve(root, push)
        largest = float(np.linalg.eigvalsh(np.linalg.solve(root, half.T))[-1])
        scale = max(abs(nx), abs(ny), abs(nxy)) * min(self.a, self.b) ** 2 / float(self.d.max())
        return 1 / largest if largest > 1e-12 * scale else float("inf")


@dataclass(frozen=True)
class RitzResponse:
    """A `RitzPlate` bent by a load."""

    plate: RitzPlate
    load: Load
    amounts: Floats

    def _sum(self, x: float, y: float, along_x: int, along_y: int) -> float:
        side_x, side_y = self.plate._sides
        return float(side_x.at(x, along_x) @ self.amounts @ side_y.at(y, along_y))

    def at(self, x: float, y: float) -> Response:
        """Deflection, curvature and moments at a point.

        Args:
            x: [m]
            y: [m]
        Returns:
            The response; moments converge slower than deflection. [m, 1/m, N]
        """
        curvature = np.array([-self._sum(x, y, 2, 0), -self._sum(x, y, 0, 2), -2 * self._sum(x, y, 1, 1)])
        return Response(self._sum(x, y, 0, 0), curvature, np.asarray(self.plate.d @ curvature))
