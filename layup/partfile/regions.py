"""Pieces of a surface on each of which the same layers lie, and what the layers' height does to their area.

    Regions with the places on them        Regions
    What is cut away beside them           regions.cut_away(trim)
    What height does to every layer        rise(regions, on, thickness)

A layer's area over a region is the mean, over its own thickness, of the parallel surfaces it fills
(`layup.sides.offset`), so that areas times thicknesses add up to the volume between the outermost of them. A layer
climbs over what lies under it there, and only there. A region without a shape, and a flat one, keep their areas to the
last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.partfile.model import OPENINGS
from layup.shape.measure import Measured
from layup.sides.offset import Curved

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FRAME = 0.5
"""What is opening by this share or more is a frame, and its cloth is cut as one; across less, cloth runs uncut and is
cut when the part is hard: nobody lays a whole window to cut it out again. Common practice, no source. [-]"""

Key = tuple[str, tuple[str, ...]]
"""A place for layers: a zone's name, "whole" or "patch 3", and the openings that are covered there."""


@dataclass(frozen=True, eq=False)
class Regions:
    """Regions, R of them, and the places that layers of a part have on them, K of them.

    Attributes:
        area: (R,). [m^2]
        centroid: (R, 3); None where the shape is not known. [m]
        second: Integral of (r - c)(r - c)^T dA about each centroid, (R, 3, 3); None likewise. [m^4]
        turn: Integral of twice the mean curvature, bulging positive towards the layers, (R,). [m]
        round: Integral of the Gaussian curvature, (R,). [-]
        known: Whether the side that the layers lie on is known; else `turn` is of the bulging side.
        tool: Whether the drawn surface is the tool side; else it is the bag side.
        flat: Whether height changes no area.
        edge: Free edge that is trimmed, (R,). [m]
        openings: Names of the openings: patterns of `[[holes]]`, then "cut-out 1" and so on.
        rim: Of each region, the length of each opening's edge, (R, openings). [m]
        opening: Of each region, its share of each opening's area, (R, openings). [m^2]
        drilled: Which openings are patterns of `[[holes]]`, (openings,).
        keys: The places.
        on: Whether a place takes a region, (R, K).
        place: Measures of each place.
    """

    area: Floats
    centroid: Floats | None
    second: Floats | None
    turn: Floats
    round: Floats
    known: bool
    tool: bool
    flat: bool
    edge: Floats
    openings: tuple[str, ...]
    rim: Floats
    opening: Floats
    drilled: Mask
    keys: tuple[Key, ...]
    on: Mask
    place: tuple[Measured, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.area)

    def through(self, low: Floats, high: Floats, other: bool = False) -> Floats:
        """Mean area of a layer between two heights over each region: its volume over its thickness.

        Args:
            low: Where it begins over each, (R,) or (L, R). [m]
            high: Where it ends. [m]
            other: Whether the layers lie on the other side.

        Returns:
            As `low`; never less than nothing. A region stands still at its least past its tightest radius. [m^2]

        Source: Steiner's formula for parallel surfaces, A + t M + t^2 K, from memory; see `layup.sides.offset`.
        """
        turn = -self.turn if other else self.turn
        end, least = self._other_limits if other else self._limits
        stop = np.minimum(high, end)
        middle, thick = 0.5 * (low + stop), stop - low
        inside = self.area + middle * turn + (middle * middle + thick * thick / 12.0) * self.round
        past = high > end
        if not past.any():
            return np.asarray(inside)
        whole = np.where(high > low, high - low, 1.0)
        both = (inside * np.maximum(thick, 0.0) + least * (high - np.maximum(stop, low))) / whole
        return np.asarray(np.where(low >= end, least, np.where(past, both, inside)))

    @property
    def limit(self) -> Floats:
        """Height past which each region has no area left to lose, (R,). [m]"""
        return self._limits[0]

    @cached_property
    def _limits(self) -> tuple[Floats, Floats]:
        return self._limits_at(self.turn)

    @cached_property
    def _other_limits(self) -> tuple[Floats, Floats]:
        return self._limits_at(-self.turn)

    def _limits_at(self, turn: Floats) -> tuple[Floats, Floats]:
        """Height past which the area stays what it is there, and that area, (R,) each. [m, m^2]"""
        found = [Curved(*one).limit for one in zip(self.area.tolist(), turn.tolist(), self.round.tolist(), strict=True)]
        return np.array([f[0] for f in found]), np.array([f[1] for f in found])

    @cached_property
    def runs_across(self) -> Mask:
        """Which openings the cloth of a place runs across, to be cut when the part is hard: (K, openings)."""
        across = np.zeros((len(self.keys), len(self.openings)), dtype=bool)
        for number, (_, covers) in enumerate(self.keys):
            mine = self.on[:, number]
            open_ = np.array([not covered_by(name, covers) for name in self.openings], dtype=bool)
            share = float(self.opening[mine][:, open_].sum())
            if share < FRAME * (share + float(self.area[mine].sum())):
                across[number] = open_
        return across

    def cut_away(self, trim: float) -> Floats:
        """Area that is laid beyond each region and cut away after the cure, for each place: (R, K).

        The strip beyond the trim line, and the openings that the cloth runs across. An opening that it leaves out is
        laid up to its edge and trimmed like one; a drilled one has no edge to trim.

        Args:
            trim: Width of the strip. [m]

        Returns:
            The areas. [m^2]
        """
        across = self.runs_across.astype(np.float64)
        left = np.array(
            [[not covered_by(name, covers) for name in self.openings] for _, covers in self.keys], dtype=bool
        )
        trimmed = (left.reshape(across.shape) & ~self.runs_across & ~self.drilled[None, :]).astype(np.float64)
        strip = trim * (self.edge[:, None] + self.rim @ trimmed.T)
        away: Floats = (strip + self.opening @ across.T) * self.on
        return away

    def as_json(self) -> dict[str, object]:
        """For a record that outlives the mesh: located regions only. [m^2, m, -]"""
        return {
            "area": self.area.tolist(), "turn": self.turn.tolist(), "round": self.round.tolist(),
            "known": self.known, "tool": self.tool, "flat": self.flat, "edge": self.edge.tolist(),
            "openings": list(self.openings), "rim": self.rim.tolist(), "opening": self.opening.tolist(),
            "drilled": self.drilled.tolist(), "keys": [key[0] for key in self.keys], "on": self.on.tolist(),
        }  # fmt: skip


def covered_by(opening: str, covers: Sequence[str]) -> bool:
    """Whether an opening is one of those that a ply runs over uncut."""
    return OPENINGS in covers or opening in covers


@dataclass(frozen=True, slots=True)
class Risen:
    """What height does to one layer.

    Attributes:
        height: Of its middle over the surface that was drawn, mean over its area; None where nothing moves. [m]
        gained: Area it has more than on that surface. [m^2]
        either_way: Area it has more or less, where the side it lies on is not known: more on the bulging side. [m^2]
        stopped: Whether it lies past the radius of its hollow, where no area is left to lose.
    """

    height: float | None = None
    gained: float = 0.0
    either_way: float = 0.0
    stopped: bool = False


LEVEL = Risen()
"""A layer that height does nothing to."""


@dataclass(frozen=True, eq=False)
class Rise:
    """What height does to layers over regions.

    Attributes:
        middle: Of each layer over each region, (L, R). [m]
        gained: Area it has more there, (L, R). [m^2]
        either_way: The same more or less, where the side is not known, (L, R). [m^2]
        stopped: Whether it lies past the radius there, (L, R).
        far: What the outer face gains over each region, (R,). [m^2]
        far_either_way: The same more or less, (R,). [m^2]
        area: Of the regions, (R,). [m^2]
        known: Whether the side is known and heights mean something.
    """

    middle: Floats
    gained: Floats
    either_way: Floats
    stopped: Mask
    far: Floats
    far_either_way: Floats
    area: Floats
    known: bool

    def by_layer(self, on: Mask) -> list[Risen]:
        """Each layer over all its regions."""
        area = np.where(on, self.area, 0.0)
        total = np.maximum(area.sum(axis=1), 1e-300)
        heights = ((self.middle * area).sum(axis=1) / total).tolist()
        gained, either = self.gained.sum(axis=1).tolist(), self.either_way.sum(axis=1).tolist()
        stopped = np.any(self.stopped & on, axis=1).tolist()
        if not self.known and not any(either):
            return [LEVEL] * len(gained)
        return [
            Risen(h if self.known else None, g, e, s)
            for h, g, e, s in zip(heights, gained, either, stopped, strict=True)
        ]


def rise(regions: Regions, on: Mask, thickness: Floats) -> Rise:
    """What height does to every layer over every region, and to the face away from the surface that was drawn.

    Args:
        regions: R of them.
        on: Whether a layer takes a region, from the mould up, (L, R).
        thickness: Of the layers, (L,). [m]

    Returns:
        Nothing anywhere where the surface is flat or has no shape.
    """
    none = np.zeros(on.shape)
    still = np.zeros(on.shape[1])
    if regions.flat or not on.size:
        return Rise(
            middle=none,
            gained=none,
            either_way=none,
            stopped=np.zeros(on.shape, dtype=bool),
            far=still,
            far_either_way=still,
            area=regions.area,
            known=False,
        )
    step = thickness[:, None] * on
    total = step.sum(axis=0)
    low = np.cumsum(step, axis=0) - step
    if not regions.tool:  # the drawn surface is the last layer's outside: heights count from there
        low = total - low - step
    high = low + step
    here = np.where(on, regions.through(low, high) - regions.area, 0.0)
    face = regions.through(total, total) - regions.area
    stopped = on & (high > regions.limit)
    if regions.known:
        return Rise(
            middle=(low + high) / 2,
            gained=here,
            either_way=none,
            stopped=stopped,
            far=face,
            far_either_way=still,
            area=regions.area,
            known=True,
        )
    there = np.where(on, regions.through(low, high, other=True) - regions.area, 0.0)
    other = regions.through(total, total, other=True) - regions.area
    return Rise(
        middle=none,
        gained=none,
        either_way=0.5 * (here - there),
        stopped=none > 0,
        far=still,
        far_either_way=0.5 * (face - other),
        area=regions.area,
        known=False,
    )
