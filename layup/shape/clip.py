"""Cut triangles along a line where a value changes sign.

Triangles are rows of three corners; a corner is its x, y, z and any number of values carried along. Where
an edge is cut, everything on it is interpolated linearly, so a cut by a plane is exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Soup = NDArray[np.float64]


def split(soup: Soup, value: NDArray[np.float64]) -> tuple[Soup, Soup]:
    """Part triangles where a value changes sign.

    Args:
        soup: Shape (n, 3, c); the first three of the c columns are x, y, z. [m]
        value: At each corner, shape (n, 3).

    Returns:
        The triangles with value <= 0 and those with value > 0.
    """
    low = value <= 0.0
    count = low.sum(axis=1)
    one, two = _tips(soup, value, count == 1, low), _tips(soup, value, count == 2, ~low)
    return (
        np.concatenate([soup[count == 3], one[0], two[1]]),
        np.concatenate([soup[count == 0], one[1], two[0]]),
    )


def _tips(
    soup: Soup, value: NDArray[np.float64], rows: NDArray[np.bool_], alone: NDArray[np.bool_]
) -> tuple[Soup, Soup]:
    """Of triangles with one corner alone on its side: the tip there, and the two triangles left."""
    soup, value = soup[rows], value[rows]
    first = np.argmax(alone[rows], axis=1)
    order = (first[:, None] + np.arange(3)) % 3
    soup = np.take_along_axis(soup, order[:, :, None], axis=1)
    value = np.take_along_axis(value, order, axis=1)
    a, b, c = soup[:, 0], soup[:, 1], soup[:, 2]
    with np.errstate(invalid="ignore", divide="ignore"):
        to_b = np.nan_to_num(value[:, 0] / (value[:, 0] - value[:, 1]))[:, None]
        to_c = np.nan_to_num(value[:, 0] / (value[:, 0] - value[:, 2]))[:, None]
    p, q = a + to_b * (b - a), a + to_c * (c - a)
    return np.stack([a, p, q], axis=1), np.concatenate([np.stack([p, b, c], axis=1), np.stack([p, c, q], axis=1)])
