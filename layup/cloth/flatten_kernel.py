"""One round of the flattening, compiled, in a file of its own so that importing it waits for a shape to lay flat."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
Numbers = NDArray[np.int64]


@numba.njit(cache=True, nogil=True)
def turn_all(own: Numbers, edge: Complex, weight: Floats, places: Complex, turn: Complex) -> None:
    """How each triangle is turned by where its corners lie: the rotation nearest to its map."""
    for f in range(len(own)):
        total = 0j
        for k in range(3):
            i, j = own[f, (k + 2) % 3], own[f, (k + 1) % 3]
            total += weight[f, k] * edge[f, k].conjugate() * (places[i] - places[j])
        size = abs(total)
        turn[f] = total / size if size > 1e-300 else total


@numba.njit(cache=True, nogil=True)
def pull_all(own: Numbers, edge: Complex, weight: Floats, turn: Complex, count: int) -> Floats:
    """What the turned triangles ask of their corners, (count, 2)."""
    load = np.zeros((count, 2))
    for f in range(len(own)):
        for k in range(3):
            i, j = own[f, (k + 2) % 3], own[f, (k + 1) % 3]
            pull = weight[f, k] * turn[f] * edge[f, k]
            load[i, 0] += pull.real
            load[i, 1] += pull.imag
            load[j, 0] -= pull.real
            load[j, 1] -= pull.imag
    return load
