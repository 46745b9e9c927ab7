"""What a surface measures: area, centroid, second moment of area, free edge, box.

    How large is it?                measure_triangles(triangles).area
    Where does it balance?          .centroid, for an even areal weight
    How does it resist turning?     .second_moment, about the centroid

For one triangle with corners a, b, c and area A the integrals are exact polynomials:

    integral of r dA    = A s / 3                           with s = a + b + c
    integral of r r' dA = A (a a' + b b' + c c' + s s') / 12

Source: a quadratic integrates over a triangle to the mean of its values at the three mid-sides, exact to
second degree; the two lines are that rule written out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Vector = tuple[float, float, float]
Tensor = tuple[Vector, Vector, Vector]
Box = tuple[Vector, Vector]

FARTHEST = 1e6
"""A part with a corner farther from the origin is refused: a damaged number, or a wrong unit. [m]"""
_CHUNK = 8_192  # small enough for the sums to stay on one thread
NO_AREA = 1e-14
"""A triangle has no area when (2 area)^2 is at most this share of its longest side to the fourth:
single-precision coordinates carry no more. [-]"""
_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))


@dataclass(frozen=True, slots=True)
class Measured:
    """The measures of a surface, or of a part of one.

    Attributes:
        area: [m^2]
        centroid: Of the area, for an even areal weight; None when only the area is known. [m]
        second_moment: Integral of (r - c)(r - c)^T dA about the centroid c; None when unknown. [m^4]
        perimeter: Length of the free edges, the edges of cut-outs included; None when unknown. [m]
        box: Lowest and highest corner; None when unknown. [m]
        triangles: How many triangles stand behind the figures, 0 for a formula. [-]
    """

    area: float
    centroid: Vector | None = None
    second_moment: Tensor | None = None
    perimeter: float | None = None
    box: Box | None = None
    triangles: int = 0

    def scaled(self, factor: float) -> Measured:
        """The same shape with every length multiplied by a factor.

        Args:
            factor: Greater than zero. [-]

        Raises:
            RangeError: a factor that is not greater than zero.
        """
        if not factor > 0.0:
            raise RangeError(f"a shape can't be scaled by {factor:g}: the factor must be greater than 0")
        f = factor
        return Measured(
            area=self.area * f**2,
            centroid=None if self.centroid is None else vector(np.multiply(self.centroid, f)),
            second_moment=None if self.second_moment is None else tensor(np.multiply(self.second_moment, f**4)),
            perimeter=None if self.perimeter is None else self.perimeter * f,
            box=None
            if self.box is None
            else (vector(np.multiply(self.box[0], f)), vector(np.multiply(self.box[1], f))),
            triangles=self.triangles,
        )


def vector(values: NDArray[np.floating]) -> Vector:
    """Three numbers as a tuple of plain floats."""
    return cast(Vector, tuple(float(v) for v in values))


def tensor(values: NDArray[np.floating]) -> Tensor:
    """Three rows of three numbers as a tuple of tuples of plain floats."""
    return cast(Tensor, tuple(vector(row) for row in values))


def measure_triangles(triangles: NDArray[np.floating], chunk: int = _CHUNK) -> Measured:
    """Measures of loose triangles, exact for each; the free edge stays unknown, it needs to know what
    touches.

    Memory is bounded by the chunk, so that an array mapped from disk can be passed.

    Args:
        triangles: Corners, shape (n, 3, 3). [m]
        chunk: Triangles taken at a time. [-]

    Returns:
        The measures; area 0 and centroid None when there is no area.
    """
    if not len(triangles):
        return Measured(0.0)
    sums = np.zeros(SUMS)
    shift = np.asarray(triangles[0, 0], dtype=np.float64)
    low = np.full(3, np.inf)
    high = np.full(3, -np.inf)
    for start in range(0, len(triangles), chunk):
        corners = by_axis(triangles[start : start + chunk])
        low = np.minimum(low, corners.min(axis=(0, 2)))
        high = np.maximum(high, corners.max(axis=(0, 2)))
        sums += moments(corners - shift[None, :, None])
    return from_sums(sums, shift, (vector(low), vector(high)), len(triangles))


def by_axis(triangles: NDArray[np.floating]) -> NDArray[np.float64]:
    """Corners (n, 3, 3) turned to (3 corners, 3 axes, n): each coordinate is one run of memory. [m]"""
    return np.ascontiguousarray(np.transpose(triangles, (1, 2, 0)), dtype=np.float64)


SUMS = 15


def moments(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Moments of triangles, added up.

    Args:
        corners: Shape (3 corners, 3 axes, n), near the origin for accuracy. [m]

    Returns:
        Area, first moments x y z, second moments xx yy zz xy xz yz, vector area x y z, signed volume (of the
        pyramids from the origin), count of triangles without area. [m^2, m^3, m^4, m^2, m^3, -]
    """
    a, b, c = corners
    u, v = b - a, c - a
    x = u[1] * v[2] - u[2] * v[1]
    y = u[2] * v[0] - u[0] * v[2]
    z = u[0] * v[1] - u[1] * v[0]
    square = x * x + y * y + z * z
    longest = np.maximum((u * u).sum(axis=0), (v * v).sum(axis=0))
    area = 0.5 * np.sqrt(square)
    s = a + b + c
    out = np.empty(SUMS)
    out[0] = area.sum()
    out[1:4] = (s * area).sum(axis=1) / 3.0  # sums, not products of matrices: those start threads that cost more
    for row, (i, j) in enumerate(_PAIRS):
        out[4 + row] = ((a[i] * a[j] + b[i] * b[j] + c[i] * c[j] + s[i] * s[j]) * area).sum() / 12.0
    out[10:13] = 0.5 * x.sum(), 0.5 * y.sum(), 0.5 * z.sum()
    out[13] = (a[0] * x + a[1] * y + a[2] * z).sum() / 6.0
    out[14] = np.count_nonzero(square <= NO_AREA * longest * longest)
    return out


def from_sums(sums: NDArray[np.float64], shift: NDArray[np.float64], box: Box | None, triangles: int) -> Measured:
    """Measures from added-up moments about a shifted origin.

    Args:
        sums: As `moments` gives them.
        shift: The origin of the moments. [m]
        box: Lowest and highest corner, not shifted. [m]
        triangles: How many. [-]
    """
    area = float(sums[0])
    if not area > 0.0:
        return Measured(0.0, box=box, triangles=triangles)
    mean = sums[1:4] / area
    second = np.empty((3, 3))
    for value, (i, j) in zip(sums[4:10], _PAIRS, strict=True):
        second[i, j] = second[j, i] = value - area * mean[i] * mean[j]
    return Measured(area, vector(mean + shift), tensor(second), None, box, triangles)
