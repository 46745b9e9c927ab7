"""A part file that holds, everything a prediction needs: a `Job`, which `layup.partfile.read.read_part` gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.laminate.process import Habits
from layup.materials import Library
from layup.partfile.holes import Opened
from layup.partfile.model import OPENINGS, WHOLE, Part
from layup.partfile.zones import measure_zone, zone_spec
from layup.shape.measure import Measured
from layup.shape.surface import Surface

if TYPE_CHECKING:
    from layup.partfile.holes import OldPattern
    from layup.partfile.regions import Regions
    from layup.shape.holes import HoleSet


@dataclass(frozen=True)
class Job:
    """A part file that holds: everything a prediction needs.

    Attributes:
        file: Name of the part file, or "" for a part given as a dict.
        part: The part as written, in SI units.
        library: Materials, with the shop's own tables laid over them.
        surface: The surface, read and measured.
        zones: Measures of each named zone.
        habits: What the shop's weigh-ins say of its resin; empty without any.
        opened: The surface before its `[[holes]]` were cut, and what they took away.
        fasteners: Existing patterns that the part has to match.
        told: Its regions, where a record says them that has no mesh any more.
    """

    file: str
    part: Part
    library: Library
    surface: Surface
    zones: dict[str, Measured]
    habits: Habits = field(default_factory=dict, repr=False)
    opened: Opened | None = field(default=None, repr=False)
    fasteners: tuple[OldPattern, ...] = field(default=(), repr=False)
    told: Regions | None = field(default=None, repr=False)

    @property
    def holes(self) -> dict[str, HoleSet]:
        """Patterns of holes in the part, by name."""
        return self.opened.holes if self.opened is not None else {}

    def covering(self, names: Sequence[str]) -> Job:
        """The job as a ply sees it that runs over openings uncut: its surface has them covered.

        Args:
            names: Patterns of holes, or "openings" for every opening; none for the job as it is.

        Returns:
            The job with that surface and with its zones measured on it.
        """
        opened = self.opened
        if not names or opened is None or not self.surface.has_mesh:
            return self
        key = tuple(sorted(names))
        if key not in opened.covers:
            from layup.shape.perforate import covered

            wanted = None if OPENINGS in names else names
            opened.covers[key] = covered(opened.base, opened.holes, wanted), {}
        surface, zones = opened.covers[key]
        return replace(self, surface=surface, zones=zones)

    def place(self, zone: str | None, covers: Sequence[str] = ()) -> Measured:
        """Measures of a zone, or of the whole, under a ply that covers openings or not.

        Args:
            zone: Its name; None for the whole.
            covers: Openings that are covered.
        """
        if covers and not self.surface.has_mesh:
            return self._by_area(zone, covers)
        if not covers:
            return self.surface.whole if zone is None or zone == WHOLE else self.zones[zone]
        under = self.covering(covers)
        if zone is None or zone == WHOLE:
            return under.surface.whole
        if zone not in under.zones:
            entries = {z.name: z for z in self.part.zone}
            under.zones[zone] = measure_zone(entries[zone], entries, under.surface)
        return under.zones[zone]

    def _by_area(self, zone: str | None, covers: Sequence[str]) -> Measured:
        """The same where only areas are known: the holes' own areas are added to the whole."""
        if zone is not None and zone != WHOLE:
            return self.zones[zone]
        named = [one for name, one in self.holes.items() if name in covers or OPENINGS in covers]
        return Measured(self.surface.whole.area + sum(one.area for one in named))

    def zone_triangles(self, name: str) -> NDArray[np.float64] | None:
        """Triangles (n, 3, 3) of a zone, cut along its border; None where the zone is only an area. [m]"""
        zone = next(z for z in self.part.zone if z.name == name)
        if zone.area is not None or not self.surface.has_mesh:
            return None
        triangles: NDArray[np.float64] = self.surface.cut(zone_spec(zone, {z.name: z for z in self.part.zone})).inner
        return triangles
