"""A whole mesh whose faces know their neighbours, and what is asked of it while it is read.

    mesh = Small(points, faces)
    Faces that are there twice go                    mesh.drop_doubles()
    Its free edge, what is odd about it              mesh.free_length(), mesh.odd(closed, thorough)
    The side asked for, its measures, its mesh       mesh.pick(side, name)

`Small` asks `topology`, `findings` and `skin`. `large.Large` gives the same answers in compiled passes, which are worth
loading from some hundreds of thousands of faces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import Loop, free_loops
from layup.shape.measure import Measured, measure_triangles
from layup.shape.surface import Finding, Mesh
from layup.sides.side import Side

Mask = NDArray[np.bool_]

_EVEN = 1e-6


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


class Joined(Protocol):
    """What `Small` and `large.Large` can both tell; lengths in metres, faces in the order of the file."""

    def mesh(self) -> Mesh:
        """Points and faces. [m]"""

    def drop_doubles(self) -> tuple[Mask, Finding | None]:
        """Leave out faces that are there already; which stay, and the finding, None when all do."""

    def measured(self) -> Measured:
        """Measures of all faces together; the free edge may be unknown."""

    def free_length(self) -> float:
        """Length of the edges that an odd number of faces have. [m]"""

    def turn(self, turned: Mask) -> None:
        """Reverse the winding of faces."""

    def odd(self, closed: bool, thorough: bool) -> list[Finding]:
        """What is odd; nothing is changed. `thorough` also looks for what can't change the area."""

    def wall(self) -> tuple[float | None, bool]:
        """Thickness of a closed solid, None where nothing lies back to back, and whether it is a sheet. [m]"""

    def pick(self, side: Side, name: str) -> Chosen:
        """The side asked for of a closed solid; `name` is what errors call the file."""


def is_flat(facing: NDArray[np.float64], area: float) -> bool:
    """Whether faces all look the same way, to a millionth of their area.

    Args:
        facing: Sum of their areas times their normals. [m^2]
        area: Sum of their areas. [m^2]
    """
    return bool(np.linalg.norm(facing) > (1.0 - _EVEN) * area)


class Small:
    """A mesh of up to some hundred thousand faces; see `Joined`."""

    def __init__(self, points: NDArray[np.float64], faces: NDArray[np.int64]) -> None:
        """Points (n, 3) in metres, each there once, and faces (m, 3)."""
        self.points, self.faces = points, faces

    def mesh(self) -> Mesh:
        """See `Joined`."""
        return self.points, self.faces

    def drop_doubles(self) -> tuple[Mask, Finding | None]:
        """See `Joined`."""
        from layup.sides.findings import duplicates

        keep, double = duplicates(self.points, self.faces)
        if double is not None:
            self.faces = self.faces[keep]
        return keep, double

    def measured(self) -> Measured:
        """See `Joined`."""
        return measure_triangles(self.points[self.faces])

    def free_length(self) -> float:
        """See `Joined`."""
        from layup.shape.topology import free_edges, length_of

        return length_of(self.points, free_edges(self.faces))

    def turn(self, turned: Mask) -> None:
        """See `Joined`."""
        self.faces = np.where(turned[:, None], self.faces[:, ::-1], self.faces)

    def odd(self, closed: bool, thorough: bool) -> list[Finding]:
        """See `Joined`."""
        from layup.sides.findings import inspect

        return inspect(self.points, self.faces, closed, thorough)

    def wall(self) -> tuple[float | None, bool]:
        """See `Joined`."""
        from layup.sides.skin import walls

        found = walls(self.points, self.faces, sample=4000)
        return found.thickness, found.thin

    def pick(self, side: Side, name: str) -> Chosen:
        """See `Joined`."""
        from layup.shape.topology import free_edges, length_of
        from layup.sides.skin import pick_side

        picked = pick_side(self.points, self.faces, side, name)
        faces = np.where(picked.turned[:, None], self.faces[:, ::-1], self.faces)[picked.faces]
        used, back = np.unique(faces, return_inverse=True)
        own: Mesh = (self.points[used], back.reshape(-1, 3).astype(np.int64))
        whole = replace(measure_triangles(own[0][own[1]]), perimeter=length_of(own[0], free_edges(own[1])))
        a, b, c = (own[0][own[1][:, k]] for k in range(3))
        return Chosen(
            whole,
            picked.faces,
            lambda: own,
            lambda: (self.points, self.faces[~picked.faces]),
            lambda: free_loops(*own),
            picked.thickness,
            picked.strip,
            picked.other,
            is_flat(0.5 * np.cross(b - a, c - a).sum(axis=0), whole.area),
            picked.text,
        )
