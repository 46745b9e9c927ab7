"""The area of a surface moved along its normals: what a layer has at its height over the surface that was drawn.

    How a surface bends, face by face         bend_of(surface)
    Mean area of a layer of a place           bend.place(...).through(low, high)

A surface moved along its normals by t has the area A + t M + t^2 K, with M the integral of twice the mean curvature and
K the integral of the Gaussian curvature over it. On a mesh M is the sum over the inner edges of length times turning
angle, and K the sum over the inner points of what is missing to a full turn; an edge's turn is shared by its two faces,
a point's by all round it. Right as long as t is smaller than the tightest radius on the hollow
side; past it the area of a place stands still at its least and is never negative.

Source: Steiner's formula for parallel surfaces, standard differential geometry; from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.shape.surface import Surface
from layup.shape.topology import face_pairs, normals, pieces

Floats = NDArray[np.float64]

SHARP = math.radians(40.0)
"""An edge that turns by more is a corner without a radius, not a piece of a bend. [rad]"""


@dataclass(frozen=True, slots=True)
class Curved:
    """How a place bends, seen from the side that heights are measured to.

    Attributes:
        area: [m^2]
        turn: Integral of twice the mean curvature; positive where the place bulges to that side. [m]
        round: Integral of the Gaussian curvature. [-]
    """

    area: float
    turn: float
    round: float

    @property
    def other(self) -> Curved:
        """The same place seen from the other side."""
        return Curved(self.area, -self.turn, self.round)

    @property
    def limit(self) -> tuple[float, float]:
        """Height past which the area stays what it is there, and that area: nothing, or the least it comes to.

        [m, m^2]
        """
        a, m, k = self.area, self.turn, self.round
        under = m * m - 4.0 * k * a
        if m < 0.0 and k > 0.0 and under <= 0.0:
            return -m / (2.0 * k), a - m * m / (4.0 * k)
        if (m >= 0.0 and k >= 0.0) or under < 0.0:
            return math.inf, 0.0
        root = math.sqrt(under)  # the nearest height with no area left, in the form that loses no digits
        return ((m + root) / (-2.0 * k) if m >= 0.0 else 2.0 * a / (root - m)), 0.0

    def through(self, low: float, high: float) -> float:
        """Mean area of a layer between two heights: its volume over its thickness.

        Args:
            low: Where it begins, zero or more. [m]
            high: Where it ends, no less. [m]

        Returns:
            Never less than nothing. [m^2]
        """
        end, least = self.limit
        if low >= end:
            return least
        if high > end:
            return (self.through(low, end) * (end - low) + least * (high - end)) / (high - low)
        middle, thick = 0.5 * (low + high), high - low
        return self.area + middle * self.turn + (middle * middle + thick * thick / 12.0) * self.round


@dataclass(frozen=True)
class Bend:
    """How a mesh bends, face by face, seen from the side its faces look to; piece by piece, as most of them do.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        unit: Normals of the faces, the same way over each piece, (m, 3). [-]
        area: Of the faces, (m,). [m^2]
        pairs: Faces that meet at an edge, (p, 2).
        edges: The edge of each pair, (p, 2).
        length: Of those edges, (p,). [m]
        angle: By which the surface turns there, bulging positive, (p,). [rad]
        piece: Number of the piece of each face, (m,).
    """

    points: Floats
    faces: NDArray[np.int64]
    unit: Floats
    area: Floats
    pairs: NDArray[np.int64]
    edges: NDArray[np.int64]
    length: Floats
    angle: Floats
    piece: NDArray[np.int64]

    @cached_property
    def turn(self) -> Floats:
        """Of each face, the integral of twice the mean curvature, (m,). [m]

        An edge's turn goes to its two faces in the inverse ratio of their areas: where a wide flat face meets the first
        narrow one of a bend, nearly all belongs to the bend.
        """
        one, two = self.pairs.T
        turn, both = self.length * self.angle, self.area[one] + self.area[two]
        first = turn * np.divide(self.area[two], both, out=np.zeros(len(both)), where=both > 0.0)
        each: Floats = np.zeros(len(self.faces))
        for faces, its in ((one, first), (two, turn - first)):
            each += np.bincount(faces, its, len(each))
        return each

    @cached_property
    def round(self) -> Floats:
        """Of each face, the integral of the Gaussian curvature, (m,); points on a free edge have none. [-]"""
        count = len(self.points)
        around = np.zeros(count)
        for at in range(3):
            p, q, r = (self.points[self.faces[:, (at + k) % 3]] for k in range(3))
            beside = np.einsum("ij,ij->i", q - p, r - p)
            around += np.bincount(self.faces[:, at], np.arctan2(2.0 * self.area, beside), count)
        of_faces = np.bincount(self.faces.ravel(), minlength=count)
        inner = np.bincount(self.edges.ravel(), minlength=count) == of_faces  # as many edges with two faces as faces
        missing = np.where(inner, 2.0 * np.pi - around, 0.0) / np.maximum(of_faces, 1)
        each: Floats = missing[self.faces].sum(axis=1)
        return each

    @cached_property
    def bulge(self) -> Floats:
        """1 for the faces that look to the bulging side of their piece, -1 for the others, (m,)."""
        of_piece = np.bincount(self.piece, self.turn)
        side: Floats = np.where(of_piece < 0.0, -1.0, 1.0)[self.piece]
        return side

    def place(self, share: Floats | None, sign: Floats) -> Curved:
        """How a place bends.

        Args:
            share: Of each face, how much of it belongs to the place, (m,); None for the whole. [-]
            sign: 1 where the side asked about is the one a face looks to, else -1, (m,).
        """
        turn, area, round_ = self.turn * sign, self.area, self.round
        if share is not None:
            turn, area, round_ = turn * share, area * share, round_ * share
        return Curved(float(area.sum()), float(turn.sum()), float(round_.sum()))

    def shares(self, triangles: Floats, owner: NDArray[np.int64]) -> Floats:
        """How much of each face a place takes, (m,).

        Args:
            triangles: Of the place, (n, 3, 3). [m]
            owner: The face each is part of, (n,).
        """
        own = normals(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))[1]
        taken = np.bincount(owner, own, len(self.faces))
        share: Floats = np.divide(taken, self.area, out=np.zeros(len(taken)), where=self.area > 0.0)
        return np.minimum(share, 1.0)

    def pinched(self, sign: Floats, height: Floats) -> Floats:
        """Area over which the hollow side is tighter than the layers on it are thick, (m,). [m^2]

        A bend counts with its faces; a corner without a radius with a strip as wide as the layers are thick.

        Args:
            sign: As for `place`.
            height: Thickness of the layers on each face, (m,). [m]
        """
        one, two = self.pairs.T
        corner = (self.angle * sign[one] < -SHARP) & (height[one] > 0.0)
        beside = np.zeros(len(self.faces), dtype=bool)
        beside[self.pairs[corner]] = True
        tight = (-self.turn * sign * height > self.area) & ~beside
        strip = 0.5 * self.length * np.maximum(height[one], height[two]) * corner
        lost = np.where(tight, self.area, 0.0)
        for faces in (one, two):
            lost += np.minimum(np.bincount(faces, strip, len(self.faces)), self.area)
        return np.minimum(lost, self.area)


_KEPT: WeakKeyDictionary[Surface, Bend] = WeakKeyDictionary()


def bend_of(surface: Surface) -> Bend:
    """How a surface bends, worked out once.

    Args:
        surface: With a mesh.

    Raises:
        SurfaceError: a surface known only by its area.
    """
    if surface not in _KEPT:
        _KEPT[surface] = _bend(surface.vertices, surface.faces)
    return _KEPT[surface]


def _bend(points: Floats, faces: NDArray[np.int64]) -> Bend:
    unit, area = normals(points, faces)
    pairs, edges, agree = face_pairs(faces)
    _, piece = pieces(len(faces), pairs)
    one, two = pairs.T
    flip = np.ones(len(faces))
    if not agree.all():
        from layup.sides.cells import wound_against
        from layup.sides.shared_edges import find_mates

        own = np.ascontiguousarray(faces, dtype=np.int32)
        flip[wound_against(own, find_mates(own, len(points)).mate, area)] = -1.0
        unit = unit * flip[:, None]
    along = points[edges[:, 1]] - points[edges[:, 0]]  # as the first face of the pair was drawn
    length = np.sqrt(np.einsum("ij,ij->i", along, along))
    (a, b, c), (d, e, f), (x, y, z) = unit[one].T, unit[two].T, along.T
    across = (b * f - c * e) * x + (c * d - a * f) * y + (a * e - b * d) * z
    sine = np.divide(across * flip[one], length, out=np.zeros(len(length)), where=length > 0.0)
    angle = np.arctan2(sine, a * d + b * e + c * f)
    return Bend(
        points=points,
        faces=faces,
        unit=unit,
        area=area,
        pairs=pairs,
        edges=edges,
        length=length,
        angle=angle,
        piece=piece,
    )
