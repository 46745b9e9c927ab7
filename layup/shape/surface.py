"""One mould-side surface: its measures, its mesh, what was found in it, and its zones."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import Measured

if TYPE_CHECKING:
    from layup.shape.holes import HoleSet
    from layup.shape.zones import Cut

Mesh = tuple[NDArray[np.float64], NDArray[np.int64]]

KEPT_TRIANGLES = 1_000_000
"""Triangles of zones that are kept once worked out, 72 bytes each; a page on which one is changed again and again lets
the oldest go. [-]"""
AS_DRAWN = "as drawn"
"""The side of a surface that has only one: an open shell, an outline."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in a surface file, counted.

    Attributes:
        kind: A short fixed word a program can test for: "closed", "no area", "unit", ...
        count: How many.
        text: What it is and what was done about it, for a person.
        area_effect: How much area it adds to the total or takes from it; None when not known. [m^2]
    """

    kind: str
    count: int
    text: str
    area_effect: float | None = None


class Surface:
    """A surface in metres; its mesh and topology are worked out when they are first asked for.

    Attributes:
        name: File name, or the words the surface was made from.
        side: "as drawn" for an open shell or an outline, else the side that was picked.
        unit: Unit of the file, "" where none applies.
        findings: What was found and assumed.
        whole: Measures of the whole surface.
        laminate: Where the laminate lies, as far as the file shows it: "behind" the faces of one side of a thin solid,
            "before" the face of a block, "round" a closed surface taken with all its faces; "" where it does not.
    """

    def __init__(
        self,
        name: str,
        whole: Measured,
        mesh: Callable[[], Mesh] | None,
        *,
        side: str = AS_DRAWN,
        unit: str = "",
        findings: tuple[Finding, ...] = (),
        groups: Callable[[], Mapping[str, NDArray[np.bool_]]] | None = None,
        left_out: Callable[[], Mesh] | None = None,
        laminate: str = "",
    ) -> None:
        """`mesh` gives welded points and faces in metres when called; None when only the area is known.

        `left_out` gives what of the file is not part of the surface: the other side of a solid and its edges.
        """
        self.name = name
        self.side = side
        self.unit = unit
        self.findings = findings
        self._whole = whole
        self._load = mesh
        self._groups = groups
        self._left_out = left_out
        self.laminate = laminate
        self._cuts: dict[str, Cut] = {}
        self.holed: dict[Hashable, Any] = {}
        self.holes: dict[str, HoleSet] = {}
        """Patterns of holes in it, by name, for zones that ask for their edges."""

    def __repr__(self) -> str:
        return f"Surface({self.name!r}, side={self.side!r}, area={self.whole.area:.6g} m^2)"

    @property
    def whole(self) -> Measured:
        """Measures of the whole; its `perimeter` may be None until `Surface.perimeter` has been asked for."""
        return self._whole

    @property
    def has_mesh(self) -> bool:
        """False for a surface known only by its area: no zones, no centroid."""
        return self._load is not None

    @cached_property
    def _mesh(self) -> Mesh:
        if self._load is None:
            raise SurfaceError(
                f"{self.name}: only its area is known, so it has no shape",
                "For zones and a centre of gravity give a mesh, an outline or a rectangle",
            )
        return self._load()

    @property
    def vertices(self) -> NDArray[np.float64]:
        """Points, shape (n, 3). [m]

        Raises:
            SurfaceError: a surface known only by its area.
        """
        return self._mesh[0]

    @property
    def faces(self) -> NDArray[np.int64]:
        """Triangles, shape (m, 3), indices into `vertices`; errors as for `vertices`. [-]"""
        return self._mesh[1]

    @cached_property
    def left_out(self) -> Mesh:
        """Points and faces of the file that are not part of the surface: the other side of a solid, its edges. [m]"""
        if self._left_out is None:
            return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
        return self._left_out()

    @cached_property
    def groups(self) -> Mapping[str, NDArray[np.bool_]]:
        """Named groups, bodies or layers of the file, as masks over `faces`."""
        return self._groups() if self._groups else {}

    @cached_property
    def perimeter(self) -> float | None:
        """Length of the free edges, worked out from the mesh when it is not known yet. [m]"""
        if self._whole.perimeter is None and self.has_mesh:
            from layup.shape.topology import free_edges, length_of

            length = length_of(self.vertices, free_edges(self.faces))
            self._whole = replace(self._whole, perimeter=length)
        return self._whole.perimeter

    def zone(self, spec: Mapping[str, object], *, outside: bool = False) -> Measured:
        """Measures of a zone; a triangle cut by the border of the zone is split.

        Args:
            spec: Keys of a [[zone]] table of the part file, as the head of `layup.shape.zones` lists them; `or`,
                `and` and `not` hold mappings of the same keys. `name` is for errors only. No key means the whole.
            outside: Everything but the zone.

        Returns:
            The measures, free edge unknown.

        Raises:
            SurfaceError: a key or a text that can't be read, a zone with no area on the surface, or a
            surface known
                only by its area.
        """
        cut = self.cut(spec)
        return cut.outside if outside else cut.inside

    def cut(self, spec: Mapping[str, object]) -> Cut:
        """The surface parted by a zone: measures and triangles of the zone and of the rest, kept once worked out.

        Args:
            spec: As for `zone`.

        Raises:
            SurfaceError: as for `zone`.
        """
        from layup.shape.zones import cut_zone, walks, zone_key

        key = zone_key(spec)
        if key not in self._cuts:
            if any(finding.kind == "not welded" for finding in self.findings) and walks(spec):
                raise SurfaceError(
                    f"{self.name}: faces that meet are not joined, so that a distance along it would end at them",
                    "Join them where the file was made (weld, stitch), or give the zone by between, inside or group",
                )
            cut = cut_zone(self.vertices, self.faces, spec, self.groups, self.holes)
            while self._cuts and sum(len(one.inner) for one in self._cuts.values()) + len(cut.inner) > KEPT_TRIANGLES:
                self._cuts.pop(next(iter(self._cuts)), None)
            self._cuts[key] = cut
        return self._cuts[key]
