"""The two sides of a sheet drawn as a closed solid: which skins make them up, and which of them was asked for.

    Skins that lie back to back become two sides       opposite(size, from_, to, weight)
    Which of the two is meant                          choose(sides, sizes, side, name)

A part of sheet has two skins, and only one of them is laid up. `solid.py` finds the skins: from the middle of a face a
ray goes inward to the first wall it meets. The thickness is the median over the area of what lies back to back. Faces
with about that much behind them are skin, and so is all of a smooth patch that is skin for the most part: beside a
sharp bend, and over the foot of a rib, a ray finds no wall of that thickness. A patch that is back to back with itself
goes round the rim and is judged face by face. What is left is edge strip.

The outer skin is the one that bulges: the sum over its inner edges of length times turning angle (the
integral of the mean curvature, as for any polyhedron) is positive outside and negative inside.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.loops import Loop
from layup.shape.measure import Measured, Vector
from layup.shape.surface import Mesh
from layup.sides.side import Side

Mask = NDArray[np.bool_]

THIN = 0.1
"""A wall is thin below this share of the root of one side's area; above it the solid is a block: a clip of 20 by 20 mm
is a sheet up to 2 mm, a half tube of 60 mm radius and 1 m length is none. [-]"""
BACK = -0.8
"""Cosine between a face and the wall behind it, below which the two count as back to back. [-]"""
REACHES = (2.5, 1.5, 1.1)
"""Skin has its partner within so many wall thicknesses; the next one where the two skins hang together by the first, as
they do over the short rims of a stout plate. [-]"""
FOLD = -0.5
"""Cosine between two faces at an edge, below which a skin ends there (a knife edge). [-]"""
SMOOTH = 0.766
"""Cosine of 40 degrees: patches of faces grow over edges that turn less. [-]"""
ITSELF = 1e-3
"""A patch with more than this share of its area back to back with itself goes round the rim. [-]"""
_EVEN = 1e-6
_FLAT = 1e-3  # share of the two skins' curvature sums to the square root of their area that counts as flat


@dataclass(frozen=True, slots=True)
class Chosen:
    """The side that was asked for.

    Attributes:
        whole: Its measures, free edge included.
        faces: Mask over the faces of the whole mesh.
        mesh: Gives points and faces of the side, all facing outward.
        rest: Gives points and faces of what is left out.
        loops: Gives its free edges, loop by loop.
        thickness: Of the wall, None for a block. [m]
        strip: Area that belongs to neither side: edges, hole walls; None for a block. [m^2]
        other: Area of the opposite side; None for a block. [m^2]
        flat: Whether all its faces look the same way.
        text: What was found, for a person.
    """

    whole: Measured
    faces: Mask
    mesh: Callable[[], Mesh]
    rest: Callable[[], Mesh]
    loops: Callable[[], tuple[Loop, ...]]
    thickness: float | None
    strip: float | None
    other: float | None
    flat: bool
    text: str


def is_flat(facing: NDArray[np.float64], area: float) -> bool:
    """Whether faces all look the same way, to a millionth of their area.

    Args:
        facing: Sum of their areas times their normals. [m^2]
        area: Sum of their areas. [m^2]
    """
    return bool(np.linalg.norm(facing) > (1.0 - _EVEN) * area)


def is_thin(thickness: float | None, area: float) -> bool:
    """Whether a solid with this wall (None for no wall at all) and this area is a sheet, not a block. [m, m^2]"""
    return thickness is not None and thickness < THIN * (0.5 * area) ** 0.5


def apart(size: list[float]) -> bool:
    """Whether two sides were told apart, by their areas. [m^2]"""
    return min(size) > 0.1 * max(size)


def opposite(
    size: NDArray[np.float64], from_: NDArray[np.int64], to: NDArray[np.int64], weight: NDArray[np.float64]
) -> NDArray[np.int64]:
    """The side each skin is on: 1 for that of the largest one, -1 for the other, 0 for neither.

    Args:
        size: Area of each skin. [m^2]
        from_: Skins that see another one behind them.
        to: The skins they see.
        weight: How much area says so. [m^2]
    """
    apart = from_ != to
    links: dict[int, dict[int, float]] = {}
    both, place = np.unique(from_[apart] * np.int64(len(size)) + to[apart], return_inverse=True)
    for pair, w in zip(both.tolist(), np.bincount(place, weight[apart]).tolist(), strict=True):
        a, b = divmod(pair, len(size))
        for x, y in ((a, b), (b, a)):
            links.setdefault(x, {}).setdefault(y, 0.0)
            links[x][y] += w
    sign = {int(np.argmax(size)): 1}
    queue = list(sign)
    while queue:
        here = max(queue, key=lambda x: size[x])
        queue.remove(here)
        for there in sorted(links.get(here, {}), key=lambda x: -links[here][x]):
            if there not in sign:
                sign[there] = -sign[here]
                queue.append(there)
    value = np.zeros(len(size), dtype=np.int64)
    for piece, s in sign.items():
        value[piece] = s
    return value


class Sides(Protocol):
    """What has to be known of two sides to choose between them."""

    def towards(self, direction: Vector) -> list[float]:
        """Area of each side times how far it faces a direction. [m^2]"""

    def touched(self, place: Vector) -> int | None:
        """The side with the face nearest to a point; None where that face is an edge. [m]"""

    def bulge(self) -> list[float]:
        """Curvature of each side, see `curvature`. [m]"""


def choose(both: Sides, size: list[float], side: Side, name: str) -> int:
    """Which of two sides was asked for, 0 or 1.

    Args:
        both: The sides.
        size: Their areas. [m^2]
        side: Which; see `side.parse_side`.
        name: What errors call the file.

    Raises:
        SurfaceError: they can't be told apart in the way asked for.
    """
    mean = 0.5 * (size[0] + size[1])
    if side.kind == "facing":
        towards = both.towards(side.vector)
        if abs(towards[0] - towards[1]) < 0.05 * mean:
            raise SurfaceError(
                f"{name}: neither side faces {side.text.removeprefix('facing ')}",
                'Give another direction, or side = "touching (x, y, z)" with a point on the mould side',
            )
        return int(np.argmax(towards))
    if side.kind == "touching":
        found = {both.touched(place) for place in (side.vector, *side.more)}
        near = found.pop()
        if near is None or None in found:
            raise SurfaceError(
                f"{name}: the point of {side.text} lies on an edge of the sheet, not on one of its sides",
                "Give a point well inside the mould side",
            )
        if found:
            raise SurfaceError(
                f"{name}: the points of {side.text} lie on both sides of a sheet", "Give points of one side"
            )
        return near
    bulge = both.bulge()
    even = bulge[0] - bulge[1]
    if abs(even) < _FLAT * mean**0.5:
        if abs(size[0] - size[1]) < 1e-3 * mean:
            return 0
        raise SurfaceError(
            f"{name}: flat or wavy, so that neither side is the {side.kind} one ({size[0]:.4g} and {size[1]:.4g} m^2)",
            'Write side = "facing (0, 0, 1)" or side = "touching (x, y, z)" instead',
        )
    outer = 0 if even > 0.0 else 1
    return outer if side.kind == "outer" else 1 - outer
