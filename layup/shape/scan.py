"""One pass over loose triangles: their measures, and whether they close up.

    Is every edge used an even number of times, so that nothing is open?
    scan_triangles(triangles).even_edges How much does it enclose?
       .volume Does it face one way?                                                  .vector_area

The edge test needs no topology and no memory: every edge is turned into a 64-bit number that does not
depend on its direction, and all numbers are combined by exclusive or. Two equal edges cancel. What remains
is zero when every edge occurs an even number of times; by chance for an open surface about once in 2^64.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import SUMS, Measured, Vector, by_axis, from_sums, moments, vector

MIX = (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB)
"""An offset and two odd factors with well-spread bits (those of the splitmix64 generator, from memory)."""

_CHUNK = 16_384


@dataclass(frozen=True, slots=True)
class Scan:
    """What one pass over the triangles of a file gives, in the unit of the file.

    Attributes:
        measured: Area, centroid, second moment, box.
        even_edges: Every edge occurs an even number of times: the surface has no free edge.
        vector_area: Sum of the areas times their normals; zero for a closed surface. [m^2]
        volume: Signed volume of the pyramids from the first point; the enclosed volume when closed. [m^3]
        degenerate: Triangles without area. [-]
    """

    measured: Measured
    even_edges: bool
    vector_area: Vector
    volume: float
    degenerate: int

    def scaled(self, factor: float) -> Scan:
        """The same with every length multiplied by a factor. [-]"""
        return Scan(
            self.measured.scaled(factor),
            self.even_edges,
            vector(np.multiply(self.vector_area, factor**2)),
            self.volume * factor**3,
            self.degenerate,
        )


def scan_triangles(triangles: NDArray[np.floating], chunk: int = _CHUNK) -> Scan:
    """Measures and edge test in one pass with bounded memory.

    Args:
        triangles: Corners, shape (n, 3, 3), single or double precision, n > 0. [m]
        chunk: Triangles taken at a time. [-]

    Raises:
        SurfaceError: a coordinate that is not a finite number, naming the triangle.
    """
    sums = np.zeros(SUMS)
    parity = np.uint64(0)
    shift = np.asarray(triangles[0, 0], dtype=np.float64)
    low = np.full(3, np.inf)
    high = np.full(3, -np.inf)
    for start in range(0, len(triangles), chunk):
        piece = np.ascontiguousarray(triangles[start : start + chunk])
        corners = by_axis(piece)
        if not np.isfinite(corners).all():
            raise not_finite(start + int(np.flatnonzero(~np.isfinite(piece).all(axis=(1, 2)))[0]))
        low = np.minimum(low, corners.min(axis=(0, 2)))
        high = np.maximum(high, corners.max(axis=(0, 2)))
        sums += moments(corners - shift[None, :, None])
        parity ^= edge_parity(piece)
    return from_moments(sums, int(parity), shift, (vector(low), vector(high)), len(triangles))


def from_moments(
    sums: NDArray[np.float64], parity: int, shift: NDArray[np.float64], box: tuple[Vector, Vector], count: int
) -> Scan:
    """A scan from its added-up moments (see `measure.moments`) about `shift` and its edge number."""
    return Scan(from_sums(sums, shift, box, count), parity == 0, vector(sums[10:13]), float(sums[13]), int(sums[14]))


def not_finite(index: int) -> SurfaceError:
    """The error for a triangle, counted from 0, with a coordinate that is no number."""
    return SurfaceError(
        f"triangle {index + 1} has a corner that is not a finite number",
        "The file is damaged or was written by a failed export: export it again",
    )


def vertex_numbers(points: NDArray[np.floating]) -> NDArray[np.uint64]:
    """A 64-bit number for each point (..., 3), equal for equal points; -0.0 and 0.0 are one."""
    clean = np.ascontiguousarray(points) + points.dtype.type(0.0)
    with np.errstate(over="ignore"):
        if clean.dtype == np.float32:
            words = clean.view(np.uint32).astype(np.uint64)
            first = words[..., 0] | (words[..., 1] << np.uint64(32))
        else:
            words = clean.view(np.uint64)
            first = _stir(words[..., 0] + np.uint64(MIX[0])) + words[..., 1]
        return _stir(_stir(first + np.uint64(MIX[0])) + words[..., 2])


def _stir(number: NDArray[np.uint64]) -> NDArray[np.uint64]:
    with np.errstate(over="ignore"):
        number = (number ^ (number >> np.uint64(30))) * np.uint64(MIX[1])
        number = (number ^ (number >> np.uint64(27))) * np.uint64(MIX[2])
    return number ^ (number >> np.uint64(31))


def edge_parity(triangles: NDArray[np.floating]) -> np.uint64:
    """Exclusive or over the numbers of all edges; edges without length are left out."""
    corner = vertex_numbers(triangles)
    out = np.uint64(0)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        a, b = corner[:, i], corner[:, j]
        with np.errstate(over="ignore"):
            edges = _stir(a + b)
        out ^= np.bitwise_xor.reduce(np.where(a == b, np.uint64(0), edges))
    return np.uint64(out)
