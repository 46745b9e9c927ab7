"""A mesh of hundreds of thousands of triangles: welded, joined, looked through and parted in compiled passes.

    large = Large.of_triangles(corners, factor)      or Large.of_mesh(points, faces, factor)
    Faces that are there twice go                    large.drop_doubles()
    Its free edge, its seams                         large.free_length(), large.seams()
    The side asked for, its measures, its mesh       large.pick(side, name)

The same answers as from `topology`, `findings` and `skin`, which serve for smaller meshes: points and edges are matched
exactly, areas and edges are exact sums. Only what lies behind the faces is looked at by fewer rays: see `seen_skin`.
"""

from __future__ import annotations

from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import Loop, loops_of
from layup.shape.measure import Measured, Vector
from layup.shape.surface import Finding, Mesh
from layup.shape.topology import pieces
from layup.sides.box_rays import Boxes
from layup.sides.cells import edge_marks, face_normals, mean_of, wound_against
from layup.sides.findings import duplicates, edges_found, pieces_found, seams_found, winding_found
from layup.sides.joined import Chosen, is_flat
from layup.sides.patches import patches
from layup.sides.seen_skin import Seen
from layup.sides.shared_edges import FREE, Mates, alike, find_mates
from layup.sides.side import Side
from layup.sides.side_sums import fans, measure_chosen, nearest_of, side_sums
from layup.sides.skin import (
    BACK,
    FOLD,
    REACHES,
    SMOOTH,
    apart,
    choose,
    is_thin,
    looks_away,
    refuse_block,
    words_of_block,
    words_of_sheet,
)
from layup.sides.spread_out import BLOCK
from layup.sides.weld_fast import number_points

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Kind = TypeVar("Kind", bound=np.generic)

_APART = 0.02  # faces that follow each other this share of the box apart are in no order
_LOOKED_AT = 4096


class Large:
    """A welded mesh in metres and what has been found out about it.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3), in an order of its own where that of the file jumps about.
        order: Place in the file of each face; None where the order is that of the file.
    """

    def __init__(self, points: Floats, faces: Whole, order: NDArray[np.int64] | None) -> None:
        self.points, self.faces, self.order = points, np.ascontiguousarray(faces), order

    @classmethod
    def of_triangles(cls, corners: NDArray[np.floating], factor: float) -> Large:
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
    def of_mesh(cls, points: Floats, faces: NDArray[np.int64], factor: float) -> Large:
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
        self.__dict__.pop("mates")
        if self.order is not None:
            self.order = np.cumsum(in_file)[self.order[keep]] - 1
        return in_file, finding

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
        self.__dict__.pop("mates", None)

    def in_order(self, values: NDArray[Kind]) -> NDArray[Kind]:
        """Values of faces, in the order of the file."""
        if self.order is None:
            return values
        out = np.empty_like(values)
        out[self.order] = values
        return out

    def odd(self, closed: bool, thorough: bool) -> list[Finding]:
        """See `joined.Joined`."""
        out = self.seams()
        if thorough or not closed:
            area = face_normals(self.points, self.faces)[1]
            out += pieces_found(np.bincount(self._pieces(None), area).astype(np.float64))
        if thorough:
            out += self._winding()
            if not closed:
                out += edges_found(self.loops(None))
        return out

    def _winding(self) -> list[Finding]:
        normal, area, _ = face_normals(self.points, self.faces)
        if not edge_marks(self.faces, self.mates.mate, normal, SMOOTH, FOLD)[1]:
            return []
        turned = wound_against(self.faces, self.mates.mate, area)
        return winding_found(int(turned.sum()), float(area[turned].sum()))

    def _pieces(self, among: NDArray[np.bool_] | None) -> NDArray[np.int64]:
        """Number of the piece each face is of; faces hang together over edges of any number of faces."""
        mate = self.mates.mate
        there = mate >= 0
        if among is not None:
            there &= np.repeat(among, 3) & among[mate // 3]
        marks = np.packbits(there.reshape(-1, 3), axis=1, bitorder="little")[:, 0]
        label, count = patches(mate, marks)
        pairs = self.mates.shared // 3
        if among is not None:
            pairs = _pairs_among(self.mates.shared, among)
        if not len(pairs):
            return label.astype(np.int64)
        joined: NDArray[np.int64] = pieces(count, label[pairs].astype(np.int64))[1][label]
        return joined

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
        return loops_of(self.points, edges, self._pieces(among)[f])

    def wall(self) -> tuple[float | None, bool]:
        """Thickness of a closed solid, None where nothing lies back to back, and whether it is a sheet. [m]"""
        looked = self.look()
        return looked.seen.thickness, looked.thin

    def look(self) -> Looked:
        """Which way the faces of a closed solid look, and what lies behind them."""
        normal, area, volume = face_normals(self.points, self.faces)
        mate = self.mates.mate
        marks, disagree = edge_marks(self.faces, mate, normal, SMOOTH, FOLD)
        turned = np.zeros(len(self.faces), dtype=np.bool_)
        if disagree:
            turned = wound_against(self.faces, mate, area)
            normal[turned] *= -1.0
            start = self.points[self.faces[:, 0]] - mean_of(self.points)
            volume = float(np.einsum("ij,ij,i->", start, normal, area))
        if volume < 0.0:
            np.negative(normal, out=normal)
            turned = ~turned
        if disagree:
            marks, _ = edge_marks(self.faces, mate, normal, SMOOTH, FOLD)
        return Looked(self, normal, area, turned, marks)

    def pick(self, side: Side, name: str) -> Chosen:
        """The side asked for of a closed solid.

        Args:
            side: Which; see `side.parse_side`.
            name: What errors call the file.

        Raises:
            SurfaceError: a side that this shape does not have, with what can be written instead.
        """
        looked = self.look()
        return looked.of_sheet(side, name) if looked.thin else looked.of_block(side, name)

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


class Looked:
    """A closed solid and what lies behind its faces; the two sides once they have been told apart."""

    def __init__(
        self, large: Large, normal: Floats, area: Floats, turned: NDArray[np.bool_], marks: NDArray[np.uint8]
    ) -> None:
        """Outward unit normals, areas, faces wound the other way, and marks as `cells.edge_marks` gives them."""
        self.large, self.normal, self.area, self.turned = large, normal, area, turned
        boxes = Boxes(large.points, large.faces)
        self.seen = Seen(large.faces, large.mates.mate, marks, normal, area, boxes, BACK)
        self.total = float(area.sum())
        self.side = np.zeros(0, dtype=np.int8)

    @property
    def thin(self) -> bool:
        """Whether the solid is a sheet, not a block."""
        return is_thin(self.seen.thickness, self.total)

    def of_sheet(self, side: Side, name: str) -> Chosen:
        """One of the two skins; see `Large.pick`."""
        thickness = self.seen.thickness or 0.0
        for reach in REACHES:
            self.seen.settle(reach * thickness)
            self.side = self.seen.sides()
            vars(self).pop("_sums", None)
            sizes = [float(size) for size in self._sums[:, 0]]
            if apart(sizes):
                break
        else:
            return self.of_block(side, name)
        taken = choose(self, sizes, side, name)
        other, strip = sizes[1 - taken], self.total - sum(sizes)
        text = words_of_sheet(side, thickness, sizes[taken], other, strip)
        return self._chosen(taken, self._sums[taken, 1:4], text, thickness, strip, other)

    def of_block(self, side: Side, name: str) -> Chosen:
        """A smooth face of a block; see `Large.pick`."""
        refuse_block(self.seen.thickness, side, name)
        label, count = self.seen.patch, self.seen.patches
        if side.kind == "touching":
            taken = int(label[self._nearest(side.vector)])
        else:
            towards = self.normal @ np.array(side.vector)
            taken = int(np.argmax(np.bincount(label, self.area * towards, minlength=count)))
            if not towards[label == taken].max() > 0.0:
                raise looks_away(name)
        mask = label == taken
        self.side = np.where(mask, np.int8(0), np.int8(-1))
        text = words_of_block(side, count, float(self.area[mask].sum()))
        return self._chosen(0, self.area[mask] @ self.normal[mask], text)

    def _chosen(
        self,
        wanted: int,
        facing: Floats,
        text: str,
        thickness: float | None = None,
        strip: float | None = None,
        other: float | None = None,
    ) -> Chosen:
        large, turned, mask = self.large, self.turned, self.side == wanted
        mates = large.mates
        whole = measure_chosen(large.points, large.faces, mates.mate, self.side, wanted, mates.shared)
        in_file = large.in_order(mask)
        flat = is_flat(facing, whole.area)

        def rest() -> Mesh:
            points, faces = large.mesh()
            return points, faces[~in_file]

        return Chosen(
            whole,
            in_file,
            lambda: large.taken(mask, turned),
            rest,
            lambda: large.loops(mask),
            thickness,
            strip,
            other,
            flat,
            text,
        )

    @cached_property
    def _sums(self) -> Floats:
        large = self.large
        return side_sums(
            large.points, large.faces, large.mates.mate, self.normal, self.area, self.turned, self.side,
            large.mates.shared,
        )  # fmt: skip

    def _nearest(self, place: Vector) -> int:
        return nearest_of(self.large.points, self.large.faces, np.array(place))

    def towards(self, direction: Vector) -> list[float]:
        """Area of each side times how far it faces a direction. [m^2]"""
        return [float(v) for v in self._sums[:, 1:4] @ np.array(direction)]

    def touched(self, place: Vector) -> int | None:
        """The side with the face nearest to a point; None where that face is an edge. [m]"""
        found = int(self.side[self._nearest(place)])
        return found if found >= 0 else None

    def bulge(self) -> list[float]:
        """Curvature of each side, see `skin.curvature`. [m]"""
        return [float(v) for v in self._sums[:, 4]]


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

    The faces are sorted by boxes, 32 by 32 by 64 of them. Only memory gains: near faces are looked up together.
    """
    rows = np.linspace(0, len(corners) - 2, _LOOKED_AT).astype(np.int64)
    here, there = corners[rows, 0].astype(np.float64), corners[rows + 1, 0].astype(np.float64)
    low, high = here.min(axis=0), here.max(axis=0)
    reach = high - low
    apart = np.sqrt(np.einsum("ij,ij->i", there - here, there - here))
    if not np.median(apart) > _APART * float(np.linalg.norm(reach)):
        return None
    shape = np.full(3, 32.0)
    shape[int(np.argmax(reach))] = 64.0
    key = np.empty(len(corners), dtype=np.uint16)
    for start in range(0, len(corners), BLOCK):
        part = corners[start : start + BLOCK, 0].astype(np.float64)
        box = np.clip((part - low) * (shape / np.where(reach > 0.0, reach, 1.0)), 0.0, shape - 1.0).astype(np.int64)
        key[start : start + BLOCK] = (box[:, 0] * int(shape[1]) + box[:, 1]) * int(shape[2]) + box[:, 2]
    return np.argsort(key, kind="stable")
