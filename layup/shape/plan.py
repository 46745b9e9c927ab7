"""A part looked at along a direction: places of the plan, and where they lie in space.

    The plan seen along a direction       Plan.along((0, 0, 1))
    Points of the surface in it           plan.seen(points)
    A place of it                         plan.place([0.1, 0.2])

Along x, y or z the plan has the two other axes, in their order. Along a slanting direction its first axis is the
first of them laid square to the direction, and a place is given by x, y and z.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError
from layup.shape.measure import Vector
from layup.units import parse

Floats = NDArray[np.float64]
PLACE = re.compile(r"\(([^()]*)\)")


@dataclass(frozen=True)
class Plan:
    """A direction that a part is looked at along, and the axes of what is seen.

    Attributes:
        way: Unit direction.
        u: First axis, a unit vector square to it.
        v: Second axis, square to both.
        names: Names of the axes, "xy"; "uv" along a slanting direction.
    """

    way: Vector
    u: Vector
    v: Vector
    names: str

    @classmethod
    def along(cls, way: Sequence[float]) -> Plan:
        """The plan seen along a direction.

        Args:
            way: Three numbers, not all nought.

        Raises:
            SurfaceError: no direction.
        """
        line = np.asarray(way, dtype=np.float64)
        size = float(np.linalg.norm(line))
        if not 0.0 < size < np.inf:
            raise SurfaceError("this is no direction", "Write along = [0, 0, 1]")
        line = line / size
        axis = int(np.argmax(np.abs(line)))
        one, two = (np.eye(3)[a] for a in range(3) if a != axis)
        u = one - one @ line * line
        u = u / np.linalg.norm(u)
        v = two - two @ line * line - two @ u * u
        v = v / np.linalg.norm(v)
        straight = abs(line[axis]) > 1.0 - 1e-9
        names = "".join("xyz"[a] for a in range(3) if a != axis) if straight else "uv"
        return cls(_vector(line), _vector(u), _vector(v), names)

    @cached_property
    def axes(self) -> Floats:
        """Both axes as columns, shape (3, 2)."""
        return np.array([self.u, self.v], dtype=np.float64).T

    @property
    def slanting(self) -> bool:
        """Whether it is looked at along none of x, y and z."""
        return self.names == "uv"

    def seen(self, points: Floats) -> Floats:
        """Points (..., 3) as seen, (..., 2). [m]"""
        out: Floats = points @ self.axes
        return out

    def place(self, spot: Sequence[float]) -> tuple[float, float]:
        """A place written with two lengths, or with x, y and z. [m]

        Raises:
            SurfaceError: two lengths along a slanting direction.
        """
        if len(spot) == 2:
            if self.slanting:
                raise SurfaceError(
                    "seen along a slanting direction, a place needs x, y and z",
                    'Write three lengths, ["0 mm", "0 mm", "0 mm"]',
                )
            return float(spot[0]), float(spot[1])
        a, b = self.seen(np.asarray(spot, dtype=np.float64))
        return float(a), float(b)


def _vector(values: Floats) -> Vector:
    x, y, z = (float(v) + 0.0 for v in values)
    return x, y, z


def parse_place(text: str, key: str) -> Vector:
    """A point in space, three lengths with their units in brackets.

    >>> parse_place("(120 mm, 0 mm, 1 in)", "side")
    (0.12, 0.0, 0.0254)

    Args:
        text: As written.
        key: The key it stands under, for the error.

    Raises:
        SurfaceError: not three lengths with units.
    """
    match = PLACE.search(text)
    words = match.group(1).split(",") if match else []
    try:
        if len(words) == 3:
            x, y, z = (parse(word.strip(), "length") for word in words)
            return (x, y, z)
        why = "three lengths are due"
    except UnitError as problem:
        why = str(problem)
    raise SurfaceError(
        f'{key}: the point "{text.strip()}" can\'t be read: {why.rstrip(".")}', "Write (120 mm, 0 mm, 30 mm)"
    )
