"""Which faces of a large closed mesh have a wall close behind them: few rays, and many where they disagree. Compiled.

    seen = Seen(faces, mate, marks, normal, area, boxes, back); seen.settle(most)

A smooth patch (parted from others at creases) sends rays from some hundreds or thousands of its faces. If nearly all
of them find a wall close behind them that is not the patch itself, it is skin, as a whole. In all other patches every
cell of faces (`cells.py`) sends a ray; faces at a crease send their own, and so do the faces that such a ray meets, and
their neighbours. Where a ray disagrees with that of its cell, or two cells that touch disagree, every face of them
sends its own ray, until all agree with their neighbours. What can be missed there is a change smaller than a cell
(about a hundred faces) that has no crease on either side.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.shape.topology import sums
from layup.sides.box_rays import Boxes
from layup.sides.cells import AT_CREASE, smooth_cells
from layup.sides.patches import join_nodes, patches
from layup.sides.skin import ITSELF, opposite
from layup.sides.spread_out import BLOCK, over_blocks

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Numbers = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Truth = NDArray[np.bool_]

UNKNOWN, WALL, SKIN = 2, 0, 1
EVERY = 200_000
"""Up to so many faces each sends a ray: rays are cheap there, and nothing smaller than a cell is missed. [-]"""
_ENOUGH = 500  # rays that can settle a patch
_CLEAR = 0.9  # share of them, by area, that must see a wall then
_ONE_IN, _FEW, _MOST = 256, 16, 5_000  # of a patch one face in so many, at most one in so few, at most so many


@numba.njit(cache=True, nogil=True)
def _unlike(rows, start, stop, cell, place, mate, marks, state, of_cell, mixed):
    """Mark the cells of faces that disagree with their cell or with a neighbour."""
    for row in range(start, stop):
        f = rows[row]
        c = cell[place[f]]
        own = of_cell[c]
        if state[f] != 2:
            own = state[f]
            if own != of_cell[c]:
                mixed[c] = 1
        for k in range(3):
            if not (marks[f] >> k) & 1:
                continue
            g = np.int64(mate[3 * f + k]) // 3
            e = cell[place[g]]
            other = state[g] if state[g] != 2 else of_cell[e]
            if own != other:
                if state[f] == 2:
                    mixed[c] = 1
                if state[g] == 2:
                    mixed[e] = 1


@numba.njit(cache=True, nogil=True)
def _sampled(patch: Whole, sparse: Numbers, start: int, stop: int, out: Whole) -> int:
    """About one face in `sparse` of each patch, evenly spread: how many, listed from `start`."""
    count = start
    for f in range(start, stop):
        if ((np.int64(f) * 2654435769) & 0xFFFFFFFF) * sparse[patch[f]] <= 0xFFFFFFFF:
            out[count] = f
            count += 1
    return count - start


@numba.njit(cache=True, nogil=True)
def _totals(patch: Whole, area: Floats, start: int, stop: int, faces: Numbers, total: Floats) -> None:
    for f in range(start, stop):
        faces[patch[f]] += 1
        total[patch[f]] += area[f]


@numba.njit(cache=True, nogil=True)
def _opened(patch: Whole, uniform: Truth, start: int, stop: int, state: Bytes, place: Whole, out: Whole) -> int:
    """All of a uniform patch is skin; the faces of the others are listed from `start`: how many."""
    count = start
    for f in range(start, stop):
        if uniform[patch[f]]:
            state[f], place[f] = 1, -1
        else:
            out[count] = f
            count += 1
    return count - start


class Seen:
    """What the faces of a closed mesh see behind them.

    Attributes:
        patch: Number of the smooth patch of each face, in the order of their first faces.
        thickness: Median over the area of what lies back to back; None where nothing does. [m]
        state: SKIN or WALL for each face, once `settle` has been called.
        first: Faces that sent a ray at first, how far it went, the face it met, whether that lies back to back. [m]
        weight: Area that each of these rays speaks for. [m^2]
        rays: How many rays were sent. [-]
    """

    def __init__(
        self,
        faces: Whole,
        mate: Whole,
        marks: Bytes,
        normal: Floats,
        area: Floats,
        boxes: Boxes,
        back: float,
        every: int | None = None,
    ) -> None:
        """`back` is the cosine between a face and the wall behind it from which the two count as back to back.

        Of a mesh of up to `every` faces (EVERY where it is not given) each face sends its ray.
        """
        self._every = EVERY if every is None else every
        self.faces, self.mate, self.marks, self.normal, self.area = faces, mate, marks, normal, area
        self._boxes, self._back = boxes, back
        self.patch, self.patches = patches(mate, marks)
        self._members, self._total = self._count()
        rows = self._sample()
        behind, hit = boxes.behind(rows, normal)
        parallel = self._parallel(rows, hit)
        self.first = (rows, behind, hit, parallel)
        self.rays = len(rows)
        self.thickness = None
        own = self.patch[rows]
        part = np.bincount(own, area[rows], minlength=self.patches)[own]
        self.weight: Floats = area[rows] * self._total[own] / part
        if parallel.any():
            self.thickness = _median(behind[parallel], self.weight[parallel])
        self.state = np.full(len(faces), UNKNOWN, dtype=np.uint8)
        self._sent: list[tuple[Numbers, Numbers, Bytes]] = []

    def _count(self) -> tuple[Numbers, Floats]:
        """Faces and area of each patch. [-, m^2]"""
        n = len(self.faces)

        def run(start: int, stop: int) -> tuple[Numbers, Floats]:
            faces, total = np.zeros(self.patches, dtype=np.int64), np.zeros(self.patches)
            _totals(self.patch, self.area, start, stop, faces, total)
            return faces, total

        parts = over_blocks(run, n, BLOCK if self.patches < 4096 else n)
        return np.sum([faces for faces, _ in parts], axis=0), np.sum([total for _, total in parts], axis=0)

    def _sample(self) -> Numbers:
        if len(self.faces) <= self._every:
            return np.flatnonzero(self.area > 0.0)
        many = np.clip(self._members // _ONE_IN, 2 * _ENOUGH, _MOST)
        sparse = np.clip(self._members // many, _FEW, None)
        out = np.empty(len(self.faces), dtype=np.int32)
        found = over_blocks(lambda a, b: (a, int(_sampled(self.patch, sparse, a, b, out))), len(self.faces))
        rows = np.concatenate([out[a : a + count] for a, count in found]).astype(np.int64)
        return rows[self.area[rows] > 0.0]

    def _parallel(self, rows: Numbers, hit: Numbers) -> Truth:
        across = np.einsum("ij,ij->i", self.normal[rows], self.normal[hit])
        found: Truth = (hit >= 0) & (across < self._back)
        return found

    def settle(self, most: float) -> None:
        """Tell skin from wall; again, with another distance, as if for the first time.

        Args:
            most: Skin has its partner within this distance. [m]
        """
        if self._sent:
            self.state.fill(UNKNOWN)
        self._most = most
        rows, behind, hit, parallel = self.first
        close = (parallel & (behind < most)).astype(np.uint8)
        self._sent = [(rows, hit, close)]
        self.state[rows] = close
        own = self.patch[rows]
        part, skin = (sums(own, self.area[rows] * w, self.patches) for w in (1.0, close))
        self._uniform = (np.bincount(own, minlength=self.patches) >= _ENOUGH) & (skin > _CLEAR * part)
        self._uniform &= ~self._sees_itself(part)
        out, self._place = np.empty(len(self.faces), dtype=np.int32), np.empty(len(self.faces), dtype=np.int32)
        found = over_blocks(
            lambda a, b: (a, int(_opened(self.patch, self._uniform, a, b, self.state, self._place, out))),
            len(self.faces),
        )
        self._open = np.concatenate([out[a : a + count] for a, count in found]).astype(np.int64)
        self._place[self._open] = np.arange(len(self._open), dtype=np.int32)
        if not len(self._open):
            return
        self._closer()
        rows = self._open
        own, area = self.patch[rows], self.area[rows]
        skin = sums(own, area * (self.state[rows] == SKIN), self.patches)
        whole = (skin > 0.5 * self._total) & ~self._uniform & ~self._sees_itself(self._total)
        self.state[rows[whole[own] & (area > 0.0)]] = SKIN

    def _sees_itself(self, total: Floats) -> Truth:
        """Patches that are back to back with themselves; `total` is the area that the rays speak for. [m^2]"""
        rows, hit = self._close()
        own = self.patch[rows]
        same = own == self.patch[hit]
        itself = np.bincount(own[same], self.area[rows[same]], minlength=self.patches)
        found: Truth = itself > ITSELF * total
        return found

    def _close(self) -> tuple[Numbers, Numbers]:
        """Faces whose ray found a wall close behind them, and what it found."""
        good = np.concatenate([close for *_, close in self._sent]) == SKIN
        rows, hit = (np.concatenate([sent[k] for sent in self._sent])[good] for k in (0, 1))
        return rows, hit

    def _closer(self) -> None:
        """Send more rays from faces of patches that are not settled, until cells and faces agree."""
        rows, place = self._open, self._place
        if not ((self.state[rows] == UNKNOWN) & (self.area[rows] > 0.0)).any():
            self.state[rows[self.area[rows] <= 0.0]] = WALL
            return
        cell, head = smooth_cells(rows, place, self.mate, self.marks)
        mixed = np.zeros(len(head), dtype=np.uint8)
        self._trace(head)
        of_cell = self.state[head]
        of_cell[of_cell == UNKNOWN] = WALL  # without area: it sees nothing
        met = self._trace(rows[(self.marks[rows] & AT_CREASE) != 0])
        self._trace(np.concatenate([met, *(self._next(met, k) for k in range(3))]))
        asked = rows
        while len(asked):
            over_blocks(
                lambda a, b, asked=asked: _unlike(  # type: ignore[misc]  # the faces of this round
                    rows=asked,
                    start=a,
                    stop=b,
                    cell=cell,
                    place=place,
                    mate=self.mate,
                    marks=self.marks,
                    state=self.state,
                    of_cell=of_cell,
                    mixed=mixed,
                ),
                len(asked),
            )
            asked = rows[(mixed[cell] != 0) & (self.state[rows] == UNKNOWN)]
            self._trace(asked)
        left = self.state[rows] == UNKNOWN
        self.state[rows[left]] = of_cell[cell[left]]
        self.state[rows[self.area[rows] <= 0.0]] = WALL

    def _next(self, rows: Numbers, k: int) -> Numbers:
        """The neighbours of faces at their edge k."""
        mate = self.mate[3 * rows + k].astype(np.int64)
        found: Numbers = mate[mate >= 0] // 3
        return found

    def _trace(self, rows: Numbers) -> Numbers:
        """Send the rays of faces that have sent none; the faces that were met."""
        rows = np.unique(rows)
        rows = rows[(self.state[rows] == UNKNOWN) & (self.area[rows] > 0.0)]
        if not len(rows):
            return rows
        hit, close = self._send(rows)
        self.state[rows] = close
        return hit[hit >= 0]

    def _send(self, rows: Numbers) -> tuple[Numbers, Bytes]:
        behind, hit = self._boxes.behind(rows, self.normal, self._most)
        close = (self._parallel(rows, hit) & (behind < self._most)).astype(np.uint8)
        self._sent.append((rows, hit, close))
        self.rays += len(rows)
        return hit, close

    def sides(self, by_creases: bool = False) -> NDArray[np.int8]:
        """Which side each face is on: 0 for that of the largest skin, 1 for the other, -1 for neither.

        Args:
            by_creases: A skin ends at every crease, not only at folds: a tab as wide as it is thick joins the two sides
                of a plate over its own.
        """
        rows = np.concatenate([np.flatnonzero(self.marks & AT_CREASE), self._open])
        nodes = self.patches + len(self._open)
        marks = ((self.marks & 7) << 3).astype(np.uint8) if by_creases else self.marks
        skin, count = join_nodes(
            rows=rows,
            mate=self.mate,
            marks=marks,
            patch=self.patch,
            place=self._place,
            first=self.patches,
            state=self.state,
            nodes=nodes,
        )
        weight = np.concatenate([self._total * self._uniform, self.area[self._open] * (self.state[self._open] == SKIN)])
        size = sums(skin, weight, count)
        value = opposite(size, *self._links(skin))
        lone = np.flatnonzero((value == 0) & (size > 0.0))
        if len(lone) and self._look_at(lone, skin):
            value = opposite(size, *self._links(skin))
        of_node = np.where(value > 0, 0, np.where(value < 0, 1, -1)).astype(np.int8)[skin]
        of_patch = np.where(self._uniform, of_node[: self.patches], np.int8(-1))
        side: NDArray[np.int8] = np.empty(len(self.faces), dtype=np.int8)
        over_blocks(lambda a, b: np.take(of_patch, self.patch[a:b], out=side[a:b], mode="clip"), len(side))
        side[self._open] = np.where(self.state[self._open] == SKIN, of_node[self.patches :], np.int8(-1))
        return side

    def _node(self, rows: Numbers) -> Numbers:
        own = self._place[rows]
        found: Numbers = np.where(own >= 0, own + self.patches, self.patch[rows]).astype(np.int64)
        return found

    def _look_at(self, lone: Numbers, skin: Whole) -> bool:
        """Send the rays of all faces of some skins; whether there were any left to send."""
        wanted = np.zeros(int(skin.max()) + 1, dtype=np.bool_)
        wanted[lone] = True
        rows = np.flatnonzero(self.state == SKIN)
        rows = rows[wanted[skin[self._node(rows)]]]
        rows = np.setdiff1d(rows, np.concatenate([rows for rows, *_ in self._sent]))
        if len(rows):
            self._send(rows)
        return len(rows) > 0

    def _links(self, skin: Whole) -> tuple[Numbers, Numbers, Floats]:
        """Which skins lie back to back: from, to, and the area that says so, for every ray from skin to skin. [m^2]"""
        rows, hit = self._close()
        good = (self.state[rows] == SKIN) & (self.state[hit] == SKIN)
        rows, hit = rows[good], hit[good]
        from_, to = (skin[self._node(part)].astype(np.int64) for part in (rows, hit))
        return from_, to, self.area[rows]


def _median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weight[order])
    return float(values[order[np.searchsorted(share, 0.5 * share[-1])]])
