"""A mesh whose points are one where they are equal, and whose faces know their neighbours; in compiled passes.

    mesh = Welded.of_triangles(corners, factor)      or Welded.of_mesh(points, faces, factor)
    Faces that are there twice go                    mesh.drop_doubles()
    Its free edge, its seams, its pieces             mesh.free_length(), mesh.seams(), mesh.pieces(None)
    What is odd about it                             mesh.odd(closed, thorough)

Points and edges are matched exactly; areas and edges are exact sums.
"""

from __future__ import annotations

from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import Loop, loops_of
from layup.shape.measure import Measured
from layup.shape.surface import Finding, Mesh
from layup.shape.topology import pieces as hang_together
from layup.sides.cells import edge_marks, face_normals, wound_against
from layup.sides.findings import duplicates, edges_found, pieces_found, seams_found, winding_found
from layup.sides.patches import patches
from layup.sides.shared_edges import FREE, Mates, alike, find_mates
from layup.sides.side_sums import fans, measure_chosen
from layup.sides.skin import FOLD, SMOOTH
from layup.sides.spread_out import BLOCK
from layup.sides.weld_fast import number_points

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Kind = TypeVar("Kind", bound=np.generic)

_APART = 0.02  # faces that follow each other this share of the box apart are in no order
_LOOKED_AT = 4096
_CELLS = 1024


class Welded:
    """A welded mesh in metres and what has been found out about it.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3), in an order of its own where that of the file jumps about.
        order: Place in the file of each face; None where the order is that of the file.
    """

    def __init__(self, points: Floats, faces: Whole, order: NDArray[np.int64] | None) -> None:
        self.points, self.faces, self.order = points, np.ascontiguousarray(faces), order

    @classmethod
    def of_triangles(cls, corners: NDArray[np.floating], factor: float) -> Welded:
        """Weld loose triangles.

        Args:
            corners: Shape (m, 3, 3), single or double precision; may be mapped from disk.
            factor: What a length in it is in metres. [m]
        """
        order = _order(corners)
        if order is not None:
            corners = corners[order]
        points, faces = number_points(corners)
        return cls(_metres(points, factor), faces, order)

    @classmethod
    def of_mesh(cls, points: Floats, faces: NDArray[np.int64], factor: float) -> Welded:
        """Make equal points of a mesh one.

        Args:
            points: Shape (n, 3).
            faces: Shape (m, 3).
            factor: What a length in it is in metres. [m]
        """
        own, numbers = number_points(np.ascontiguousarray(points).reshape(-1, 1, 3))
        order = _order(points[faces[:, :1]])
        joined = numbers.ravel()[faces if order is None else faces[order]]
        return cls(_metres(own, factor), joined, order)

    @cached_property
    def mates(self) -> Mates:
        """Which faces meet at which edge."""
        return find_mates(self.faces, len(self.points))

    @cached_property
    def normals(self) -> tuple[Floats, Floats, float]:
        """As `cells.face_normals` gives them; to be copied before they are changed."""
        return face_normals(self.points, self.faces)

    def _changed(self) -> None:
        """Faces have changed: what was worked out of them goes."""
        for name in ("mates", "normals"):
            vars(self).pop(name, None)

    def drop_doubles(self) -> tuple[NDArray[np.bool_], Finding | None]:
        """Leave out faces that are there already: two faces are the same where they share all their edges.

        Returns:
            Mask over the faces as they were in the file, and the finding; None when no face is double.
        """
        suspect = alike(self.mates.mate)
        keep = np.ones(len(self.faces), dtype=np.bool_)
        if not len(suspect):
            return keep, None
        if self.order is not None:  # the first in the file stays
            suspect = suspect[np.argsort(self.order[suspect])]
        stays, finding = duplicates(self.points, self.faces[suspect].astype(np.int64))
        if finding is None:
            return keep, None
        keep[suspect[~stays]] = False
        in_file = self.in_order(keep)
        self.faces = self.faces[keep]
        self._changed()
        if self.order is not None:
            self.order = np.cumsum(in_file)[self.order[keep]] - 1
        return in_file, finding

    @property
    def has_free(self) -> bool:
        """Whether an edge has only one face."""
        return bool((self.mates.mate == FREE).any())

    def free_length(self) -> float:
        """Length of the edges that an odd number of faces have. [m]"""
        free = np.flatnonzero(self.mates.mate == FREE)
        return self._length(np.concatenate([free, self.mates.odd]))

    def seams(self) -> list[Finding]:
        """The edges of more than two faces, as a finding."""
        return seams_found(len(self.mates.many), self._length(self.mates.many))

    def _length(self, half_edges: NDArray[np.int64]) -> float:
        f, k = half_edges // 3, half_edges % 3
        step = self.points[self.faces[f, k]] - self.points[self.faces[f, (k + 1) % 3]]
        return float(np.sqrt(np.einsum("ij,ij->i", step, step)).sum())

    def mesh(self) -> Mesh:
        """Points and faces, in the order of the file."""
        return self.points, self.in_order(self.faces).astype(np.int64)

    def measured(self) -> Measured:
        """Measures of all faces together, free edge included."""
        return measure_chosen(
            self.points, self.faces, self.mates.mate, np.zeros(len(self.faces), dtype=np.int8), 0, self.mates.shared
        )

    def turn(self, turned: NDArray[np.bool_]) -> None:
        """Reverse the winding of faces, a mask in the order of the file."""
        own = turned if self.order is None else turned[self.order]
        self.faces[own] = self.faces[own][:, ::-1]
        self._changed()

    def in_order(self, values: NDArray[Kind]) -> NDArray[Kind]:
        """Values of faces, in the order of the file."""
        if self.order is None:
            return values
        out = np.empty_like(values)
        out[self.order] = values
        return out

    def odd(self, closed: bool, thorough: bool) -> list[Finding]:
        """What is odd; nothing is changed.

        Args:
            closed: A closed solid: it has no free edges to speak of, and its bodies are told elsewhere.
            thorough: Also what can't change the area: winding, and the list of free edges.
        """
        out = self.seams()
        if not closed:
            area = self.normals[1]
            out += pieces_found(np.bincount(self.pieces(None), area).astype(np.float64))
        if thorough:
            out += self._winding()
            if not closed:
                out += edges_found(self.loops(None))
        return out

    def _winding(self) -> list[Finding]:
        normal, area, _ = self.normals
        if not edge_marks(self.faces, self.mates.mate, normal, SMOOTH, FOLD)[1]:
            return []
        turned = wound_against(self.faces, self.mates.mate, area)
        return winding_found(int(turned.sum()), float(area[turned].sum()))

    def pieces(self, among: NDArray[np.bool_] | None) -> NDArray[np.int64]:
        """Number of the piece each face is of; faces hang together over edges of any number of faces."""
        label, count = self.pieces_by_pairs(among)
        pairs = self.mates.shared // 3
        if among is not None:
            pairs = _pairs_among(self.mates.shared, among)
        if not len(pairs):
            return label.astype(np.int64)
        joined: NDArray[np.int64] = hang_together(count, label[pairs].astype(np.int64))[1][label]
        return joined

    def pieces_by_pairs(self, among: NDArray[np.bool_] | None = None) -> tuple[Whole, int]:
        """The same where faces hang together only over edges of two faces; and how many pieces there are."""
        mate = self.mates.mate
        marks = np.full(len(self.faces), 7, dtype=np.uint8)
        if among is not None:
            there = np.repeat(among, 3) & among[mate // 3]
            marks = np.packbits(there.reshape(-1, 3), axis=1, bitorder="little")[:, 0]
        return patches(mate, marks)

    def loops(self, among: NDArray[np.bool_] | None) -> tuple[Loop, ...]:
        """The free edges of all faces, or of those in a mask, loop by loop; see `loops.free_loops`."""
        mate = self.mates.mate
        free = mate == FREE
        if among is not None:
            free = np.repeat(among, 3) & (free | ((mate >= 0) & ~among[mate // 3]))
        rows = np.flatnonzero(free)
        if among is not None:
            alone = [own[among[own // 3]] for own in fans(self.mates.shared)]
            rows = np.concatenate([rows, *(own for own in alone if len(own) == 1)]).astype(np.int64)
        f, k = rows // 3, rows % 3
        edges = np.stack([self.faces[f, k], self.faces[f, (k + 1) % 3]], axis=1).astype(np.int64)
        return loops_of(self.points, edges, self.pieces(among)[f])

    def taken(self, mask: NDArray[np.bool_], turned: NDArray[np.bool_]) -> Mesh:
        """Points and faces of some faces only, the turned ones reversed, in the order of the file. [m]

        Args:
            mask: Over the faces in the order they have here.
            turned: Likewise.
        """
        rows = np.flatnonzero(mask)
        if self.order is not None:
            rows = rows[np.argsort(self.order[rows])]
        faces = self.faces[rows]
        faces = np.where(turned[rows][:, None], faces[:, ::-1], faces)
        used = np.zeros(len(self.points), dtype=np.bool_)
        used[faces] = True
        place = np.cumsum(used, dtype=np.int64) - 1
        return self.points[used], place[faces]


def _pairs_among(shared: NDArray[np.int64], among: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Faces of a mask that meet at an edge of many faces: the first of them with each other one."""
    out = []
    for fan in fans(shared):
        own = fan[among[fan // 3]] // 3
        out += [(own[0], other) for other in own[1:]]
    return np.array(out, dtype=np.int64).reshape(-1, 2)


def _metres(points: NDArray[np.floating], factor: float) -> Floats:
    out: Floats = points.astype(np.float64)
    if factor != 1.0:
        out *= factor
    return out


def _order(corners: NDArray[np.floating]) -> NDArray[np.int64] | None:
    """An order in which faces that follow each other lie near each other; None where they do already.

    They follow Morton's curve, which turns through an eighth of the box, an eighth of that, and so on: near faces are
    looked up together, and a run of them fills a small box.
    """
    if len(corners) < 2:
        return None
    rows = np.linspace(0, len(corners) - 2, _LOOKED_AT).astype(np.int64)
    here, there = corners[rows, 0].astype(np.float64), corners[rows + 1, 0].astype(np.float64)
    low, high = here.min(axis=0), here.max(axis=0)
    reach = high - low
    apart = np.sqrt(np.einsum("ij,ij->i", there - here, there - here))
    if not np.median(apart) > _APART * float(np.linalg.norm(reach)):
        return None
    spread = np.zeros(_CELLS, dtype=np.uint32)  # the bits of a number, with room for those of two more between them
    for bit in range(_CELLS.bit_length() - 1):
        spread |= (np.arange(_CELLS, dtype=np.uint32) >> bit & 1) << 3 * bit
    fine = (_CELLS - 1) / max(float(reach.max()), 1e-300)
    key = np.empty(len(corners), dtype=np.uint32)
    for start in range(0, len(corners), BLOCK):
        part = (corners[start : start + BLOCK, 0].astype(np.float64) - low) * fine
        cell = spread[np.clip(part, 0.0, _CELLS - 1.0).astype(np.int64)]
        key[start : start + BLOCK] = cell[:, 0] | cell[:, 1] << 1 | cell[:, 2] << 2
    order = np.argsort(key.astype(np.uint16), kind="stable")  # half by half: sixteen bits are sorted without comparing
    return order[np.argsort((key >> 16).astype(np.uint16)[order], kind="stable")]
