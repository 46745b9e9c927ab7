"""Where a shape that does not lie flat is slit: seams of closed round parts, slit corners, darts.

    A mesh cut open until it lies flat      cut_open(points, faces)

A surface lies flat where the angles round each of its points make a full turn. What is missing to it, or over, sits in
the closed corners of a box, in the nose of a fairing, all over a dome. A slit from there to the edge takes it out, and
the cloth lies flat beside it. So, over and over: lay the piece flat with the least stretch; where too much of it is
stretched, slit it from the place with the most missing, along the cheapest line of the mesh to its edge, sharp corners
first, for there a slit shows least. A round part without an end to open from gets a seam from edge to edge.

A slit that opens in the flat is a dart. One whose legs would lie over each other can't be cut from one piece: the slit
goes on to the far edge, and the ply is in two.

Source: the missing angle of a point is its Gaussian curvature (Gauss and Bonnet); that a slit to a boundary lets a
disc unfold is in A. Sheffer and J. Hart, "Seamster" (2002). Both from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from layup.cloth.flatten import Flat, flatten
from layup.errors import SurfaceError
from layup.shape.topology import Faces, Points, face_pairs, free_edges, normals, pieces
from layup.shape.walkable import chained

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]

TOLERATED = 0.05
"""Stretch that cloth laid by hand gives over a small area; common practice, no source. [-]"""
SHARE = 0.003
"""Share of a piece that may be stretched by more. [-]"""
MOST = 16
"""Slits of a shape at most. [-]"""
_TRIED = 6  # slits after which a shape must be half as stretched as before, or slits are no help
_SHARP = math.cos(math.radians(25.0))
_NEAR = 0.03  # of the size of the part: missing angles this near each other are one corner
_NOTHING = math.radians(5.0)  # missing to a full turn, below which a place is no corner
_OVER = 0.003  # share of a piece that may lie over another part of it, by rounding


@dataclass(frozen=True, eq=False)
class Slit:
    """One line along which a mesh is cut.

    Attributes:
        points: Along it, from its inner end to the edge (n,).
        left: The copies of those points on its left (n,).
        right: Those on its right (n,).
    """

    points: Whole
    left: Whole
    right: Whole


@dataclass(frozen=True, eq=False)
class Opened:
    """A mesh cut open.

    Attributes:
        points: Of the mesh, a point on a slit once for each side, shape (n, 3). [m]
        faces: The same faces with those points (m, 3).
        pieces: Faces of each piece, from the largest.
        slits: Where it was cut.
    """

    points: Points
    faces: Faces
    pieces: tuple[Whole, ...]
    slits: tuple[Slit, ...]


def cut_open(points: Points, faces: Faces) -> Opened:
    """Cut a mesh open until it lies flat with little stretch.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: All facing one way, shape (m, 3).

    Returns:
        The mesh with its slits; none where it lies flat as it is.

    Raises:
        SurfaceError: It does not lie flat with as many slits as one cuts by hand.
    """
    mesh = _Mesh(points, faces)
    done: set[int] = set()  # faces of pieces that lie flat
    for _ in range(MOST + 1):
        own, origin = mesh.opened()
        waiting = False
        for rows in mesh.pieces():
            mark = (int(rows[0]), len(rows))
            if hash(mark) in done:
                continue
            if mesh.improved(own, origin, rows):
                waiting = True
            else:
                done.add(hash(mark))
        if not waiting:
            own, origin = mesh.opened()
            return Opened(points[origin], own, tuple(mesh.pieces()), mesh.slits(own))
    raise SurfaceError(
        f"the shape does not lie flat even with {MOST} slits", "Part the ply in zones that each open flat"
    )


class _Mesh:
    """A mesh and the edges it is cut along so far."""

    def __init__(self, points: Points, faces: Faces) -> None:
        self.points, self.faces = points, faces
        self.pairs, self.edges, _ = face_pairs(faces)
        self.cut = np.zeros(len(self.pairs), dtype=bool)
        self.paths: list[list[int]] = []
        self.worst = 0.0
        unit, self.area = normals(points, faces)
        self.size = float(np.sqrt(self.area.sum()))
        one, two = self.pairs.T
        along = np.linalg.norm(points[self.edges[:, 1]] - points[self.edges[:, 0]], axis=1)
        sharp = np.einsum("ij,ij->i", unit[one], unit[two]) < _SHARP
        self.cost = along * np.where(sharp, 0.5, 1.0)
        self.number = {(min(a, b), max(a, b)): n for n, (a, b) in enumerate(self.edges.tolist())}
        where = points[faces]
        around = np.zeros(len(points))
        for k in range(3):
            u, v = where[:, (k + 1) % 3] - where[:, k], where[:, (k + 2) % 3] - where[:, k]
            angle = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v))
            around += np.bincount(faces[:, k], angle, len(points))
        self.missing = 2.0 * np.pi - around

    def opened(self) -> tuple[Faces, Whole]:
        """The faces with a point on a cut once for each side, and the point each copy is of."""
        whole = ~self.cut
        links = []
        for k in range(2):
            ends = self.edges[whole, k]
            one, two = self.pairs[whole].T
            a = 3 * one + (self.faces[one] == ends[:, None]).argmax(axis=1)
            b = 3 * two + (self.faces[two] == ends[:, None]).argmax(axis=1)
            links.append(np.column_stack([a, b]))
        _, label = pieces(3 * len(self.faces), np.concatenate(links))
        _, first, copy = np.unique(label, return_index=True, return_inverse=True)
        return copy.reshape(-1, 3), self.faces.ravel()[first]

    def pieces(self) -> list[Whole]:
        """Faces that hang together across no cut, from the largest."""
        count, label = pieces(len(self.faces), self.pairs[~self.cut])
        names = np.unique(label) if count else np.zeros(0, dtype=np.int64)
        found = [np.flatnonzero(label == name) for name in names]
        return sorted(found, key=lambda rows: (-float(self.area[rows].sum()), int(rows[0])))

    def improved(self, own: Faces, origin: Whole, rows: Whole) -> bool:
        """Cut a piece where it needs it; False where it lies flat."""
        rim = self._rim(rows)
        loops = chained(free_edges(own[rows]))
        flat: Flat | None = None
        if loops:
            flat = flatten(self.points[origin], own[rows])
            off = np.maximum(flat.stretch[:, 0] - 1.0, 1.0 - flat.stretch[:, 1])
            bad = float(flat.area[off > TOLERATED].sum()) / float(flat.area.sum())
            self.worst = max(self.worst, bad)
            if len(self.paths) >= _TRIED and bad > 0.5 * self.worst and len(rows) > 0.5 * len(self.faces):
                raise SurfaceError("slits do not make it lie flat", "Part the ply in zones that each open flat")
            if bad <= SHARE and flat.folded <= SHARE * len(rows):
                over = _over(flat, own[rows], loops)
                if over <= _OVER:
                    return False
                return self._parted(rows, rim)
        if len(loops) != 1 and (flat is None or flat.folded > SHARE * len(rows)):
            return self._seamed(rows, rim, loops, origin)
        return self._darted(rows, rim, loops, origin)

    def _rim(self, rows: Whole) -> Mask:
        """Points on the edge of a piece, cuts counted."""
        rim = np.zeros(len(self.points), dtype=bool)
        inside = np.zeros(len(self.faces), dtype=bool)
        inside[rows] = True
        whole = ~self.cut & inside[self.pairs[:, 0]]
        used = np.zeros((len(self.faces), 3), dtype=bool)
        for k in range(2):
            one = self.pairs[whole, k]
            low = (self.faces[one] == self.edges[whole, 0][:, None]).argmax(axis=1)
            high = (self.faces[one] == self.edges[whole, 1][:, None]).argmax(axis=1)
            side = np.where((low + 1) % 3 == high, low, high)
            used[one, side] = True
        face, side = np.nonzero(~used[rows])
        rim[self.faces[rows[face], side]] = True
        rim[self.faces[rows[face], (side + 1) % 3]] = True
        return rim

    def _darted(self, rows: Whole, rim: Mask, loops: list[Whole], origin: Whole) -> bool:
        """A slit from the place with the most missing to the edge; where nothing is missing, a seam round a cone."""
        from scipy.spatial import cKDTree

        inner = np.setdiff1d(np.unique(self.faces[rows]), np.flatnonzero(rim))
        if not len(inner):
            raise SurfaceError("the shape does not lie flat", "Part the ply in zones that each open flat")
        tree = cKDTree(self.points[inner])
        near = tree.query_ball_point(self.points[inner], _NEAR * self.size)
        missing = np.array([self.missing[inner[n]].sum() for n in near])
        if len(loops) > 1 and np.abs(missing).max() < _NOTHING:
            return self._seamed(rows, rim, loops, origin)
        away, _ = cKDTree(self.points[rim]).query(self.points[inner])
        tip = int(inner[int(np.argmax(np.abs(missing) * np.sqrt(away)))])
        return self._slit(rows, tip, rim, rim)

    def _seamed(self, rows: Whole, rim: Mask, loops: list[Whole], origin: Whole) -> bool:
        """A seam from one edge of a round piece to another; from end to end of one closed all round."""
        own = np.unique(self.faces[rows])
        if len(loops) > 1:
            loops = sorted(loops, key=lambda loop: -len(loop))
            long = [origin[loop] for loop in loops]
            ends = np.zeros(len(self.points), dtype=bool)
            ends[long[0]] = True
            return self._slit(rows, long[1], ends, rim)
        tip = int(own[int(np.argmax(np.abs(self.missing[own])))])
        away = np.linalg.norm(self.points[own] - self.points[tip], axis=1)
        end = np.zeros(len(self.points), dtype=bool)
        end[own[int(np.argmax(away))]] = True
        return self._slit(rows, tip, end, rim)

    def _parted(self, rows: Whole, rim: Mask) -> bool:
        """On from the end of the last slit of a piece to another edge, so that it falls in two."""
        own = set(np.unique(self.faces[rows]).tolist())
        for path in reversed(self.paths):
            if path[0] in own and rim[path[0]]:
                ends = rim.copy()
                used = {p for other in self.paths if other[0] == path[0] or path[0] in other for p in other}
                ends[list(used)] = False
                around = np.linalg.norm(self.points - self.points[path[-1]], axis=1)
                ends &= around > 0.5 * float(np.linalg.norm(self.points[path[0]] - self.points[path[-1]]))
                if ends.any():
                    return self._slit(rows, path[0], ends, rim)
        raise SurfaceError("the flat piece lies over itself", "Part the ply in zones that each open flat")

    def _slit(self, rows: Whole, tip: int | Whole, ends: Mask, rim: Mask) -> bool:
        """Cut along the cheapest line from a point (or one of several) to one of some ends."""
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import dijkstra

        inside = np.zeros(len(self.faces), dtype=bool)
        inside[rows] = True
        there = inside[self.pairs[:, 0]] & ~self.cut
        a, b = self.edges[there].T
        cost = self.cost[there]
        tips = np.atleast_1d(np.asarray(tip, dtype=np.int64))
        begin = np.zeros(len(self.points), dtype=bool)
        begin[tips] = True
        # no line runs along an edge: it ends where it meets one
        on, off = ~rim[a] | begin[a], ~rim[b] | begin[b]
        ways = np.concatenate([np.column_stack([a, b])[on], np.column_stack([b, a])[off]])
        costs = np.concatenate([cost[on], cost[off]])
        graph = coo_array((costs, (ways[:, 0], ways[:, 1])), shape=(len(self.points),) * 2).tocsr()
        far, before, _ = dijkstra(graph, indices=tips, min_only=True, return_predecessors=True)
        reach = np.where(ends & ~begin, far, np.inf)
        last = int(np.argmin(reach))
        if not np.isfinite(reach[last]):
            raise SurfaceError("the shape does not lie flat", "Part the ply in zones that each open flat")
        path = [last]
        while not begin[path[-1]]:
            path.append(int(before[path[-1]]))
        path.reverse()
        for one, two in pairwise(path):
            self.cut[self.number[(min(one, two), max(one, two))]] = True
        self.paths.append(path)
        return True

    def slits(self, own: Faces) -> tuple[Slit, ...]:
        """Each line with the copies of its points on either side."""
        found = []
        for path in self.paths:
            left: list[int] = []
            right: list[int] = []
            for number, (one, two) in enumerate(pairwise(path)):
                for face in self.pairs[self.number[(min(one, two), max(one, two))]]:
                    at, to = (int((self.faces[face] == end).argmax()) for end in (one, two))
                    leg = left if (at + 1) % 3 == to else right
                    if number == 0:
                        leg.append(int(own[face, at]))
                    leg.append(int(own[face, to]))
            found.append(Slit(np.array(path), np.array(left), np.array(right)))
        return tuple(found)


def _over(flat: Flat, faces: Faces, loops: list[Whole]) -> float:
    """Share of a flat piece that lies over another part of it. [-]"""
    import shapely

    rings = [shapely.Polygon(flat.places[loop]) for loop in loops]
    outer = max(rings, key=lambda ring: ring.area)
    if all(ring.is_valid for ring in rings) and len(rings) == 1:
        return 0.0 if outer.area > 0.0 else 1.0
    corner = flat.places[faces]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    whole = shapely.union_all(shapely.polygons(corner[area > 1e-14]), grid_size=1e-7).area
    return float(area.sum() / whole - 1.0)
