"""A large mesh in small smooth cells: what one face of a cell sees, its neighbours are likely to see. Compiled.

    Normals and areas                      face_normals(points, faces)
    Which edges are smooth                 edge_marks(faces, mate, normal)
    Faces wound against their piece        wound_against(faces, mate, area)
    Cells of up to CAP faces               smooth_cells(rows, place, mate, marks)

A cell is a run of faces that hang together over smooth edges.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.sides.spread_out import over_blocks

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Marks = NDArray[np.uint8]

CAP = 192
"""Most faces of a cell. [-]"""
AT_CREASE = 64
"""The mark of a face at a crease. [-]"""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _normals(points, faces, middle, start, stop, normal, area):
    """Normals and areas of a block of faces; six times the signed volume they make with a point."""
    ox, oy, oz = middle[0], middle[1], middle[2]
    volume = 0.0
    for f in range(start, stop):
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = np.float64(points[i, 0]), np.float64(points[i, 1]), np.float64(points[i, 2])
        ux, uy, uz = points[j, 0] - ax, points[j, 1] - ay, points[j, 2] - az
        vx, vy, vz = points[k, 0] - ax, points[k, 1] - ay, points[k, 2] - az
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = np.sqrt(x * x + y * y + z * z)
        part = 1.0 / size if size > 0.0 else 0.0
        normal[f, 0], normal[f, 1], normal[f, 2] = x * part, y * part, z * part
        area[f] = 0.5 * size
        volume += (ax - ox) * x + (ay - oy) * y + (az - oz) * z
    return volume


def mean_of(points: NDArray[np.floating]) -> Floats:
    """Mean of points (n, 3). [m]"""
    total: Floats = np.sum(over_blocks(lambda a, b: points[a:b].sum(axis=0), len(points)), axis=0) / len(points)
    return total


def face_normals(points: NDArray[np.floating], faces: Whole) -> tuple[Floats, Floats, float]:
    """Unit normals (m, 3), zero for a face without area, areas (m,), and the signed volume. [-, m^2, m^3]

    Of a mesh that is not quite closed the volume is that of the pyramids from the mean of its points.
    """
    normal, area = np.empty((len(faces), 3)), np.empty(len(faces))
    middle = mean_of(points)
    parts = over_blocks(
        lambda a, b: float(
            _normals(points=points, faces=faces, middle=middle, start=a, stop=b, normal=normal, area=area)
        ),
        len(faces),
    )
    return normal, area, sum(parts) / 6.0


@numba.njit(cache=True, nogil=True)
def _marks(
    faces: Whole, mate: Whole, normal: Floats, start: int, stop: int, crease: float, fold: float, marks: Marks
) -> int:
    """Marks of a block of faces; how many edges are run through twice in the same direction."""
    against = 0
    for f in range(start, stop):
        mark = 0
        for k in range(3):
            m = np.int64(mate[3 * f + k])
            if m < 0:
                continue
            g = m // 3
            j = m - 3 * g
            against += faces[f, k] != faces[g, j + 1 if j < 2 else 0]
            turn = normal[f, 0] * normal[g, 0] + normal[f, 1] * normal[g, 1] + normal[f, 2] * normal[g, 2]
            mark |= (turn > crease) << k
            mark |= (turn > fold) << (k + 3)
        marks[f] = mark if mark & 7 == 7 else mark | 64
    return against


def edge_marks(faces: Whole, mate: Whole, normal: Floats, crease: float, fold: float) -> tuple[Marks, int]:
    """What the three edges of each face are.

    Args:
        faces: Shape (m, 3).
        mate: Partner of each half-edge, as `mates.find_mates` gives it.
        normal: Unit normals.
        crease: Cosine above which an edge is smooth. [-]
        fold: Cosine above which the faces on both sides are one skin. [-]

    Returns:
        For each face bits 0 to 2 for smooth edges, bits 3 to 5 for edges that are not folds, bit 6 where not all edges
        are smooth; and how many half-edges run the same way as their partner.
    """
    marks = np.empty(len(faces), dtype=np.uint8)
    parts = over_blocks(
        lambda a, b: int(
            _marks(faces=faces, mate=mate, normal=normal, start=a, stop=b, crease=crease, fold=fold, marks=marks)
        ),
        len(faces),
    )
    return marks, sum(parts)


@numba.njit(cache=True, nogil=True)
def _root(parent: Whole, parity: Marks, f: int | np.int64) -> tuple[int | np.int64, int]:
    """Root of a face, and whether the two are wound differently; the way there is made short."""
    odd, top = 0, f
    while parent[top] != top:
        odd ^= parity[top]
        top = parent[top]
    at, rest = f, odd
    while parent[at] != top and at != top:
        up, own = parent[at], parity[at]
        parent[at], parity[at] = top, rest
        rest ^= own
        at = up
    return top, odd


@numba.njit(cache=True, nogil=True)
def _wound(faces: Whole, mate: Whole, area: Floats, turned: NDArray[np.bool_]) -> None:
    n = faces.shape[0]
    parent = np.arange(n).astype(np.int32)
    parity = np.zeros(n, np.uint8)
    twisted = np.zeros(n, np.uint8)
    for h in range(3 * n):
        m = np.int64(mate[h])
        if m <= h:
            continue
        f, g = h // 3, m // 3
        k, j = h - 3 * f, m - 3 * g
        same = np.int64(faces[f, k] != faces[g, j + 1 if j < 2 else 0])
        a, pa = _root(parent, parity, f)
        b, pb = _root(parent, parity, g)
        if a == b:
            if pa ^ pb != same:
                twisted[a] = 1
            continue
        low, high = min(a, b), max(a, b)  # the first face of a piece stays its root
        parent[high], parity[high] = low, pa ^ pb ^ same
        twisted[low] |= twisted[high]
    against, whole = np.zeros(n), np.zeros(n)
    for f in range(n):
        top, odd = _root(parent, parity, f)
        turned[f] = odd != 0
        whole[top] += area[f]
        against[top] += area[f] * odd
    for f in range(n):
        top = parent[f]
        if twisted[top]:
            turned[f] = False
        elif against[top] > 0.5 * whole[top]:
            turned[f] = not turned[f]


def wound_against(faces: Whole, mate: Whole, area: Floats) -> NDArray[np.bool_]:
    """Faces whose winding is against that of most of their piece, by area; none in a piece with a twist."""
    turned = np.empty(len(faces), dtype=np.bool_)
    _wound(faces, mate, area, turned)
    return turned


@numba.njit(cache=True, nogil=True)
def _cells(
    rows: NDArray[np.int64], place: Whole, mate: Whole, marks: Marks, cap: int, group: Whole, cell: Whole, heads: Whole
) -> int:
    """Join faces to cells; `group` holds minus the size at a root, else the way to it."""
    n = len(rows)
    group[:] = -1
    for f in range(n):
        mark = marks[rows[f]]
        for k in range(3):
            if not (mark >> k) & 1:
                continue
            g = np.int64(place[np.int64(mate[3 * rows[f] + k]) // 3])
            if g <= f:
                continue
            a, b = np.int64(f), g
            while group[a] >= 0:
                up = group[a]
                if group[up] >= 0:
                    group[a] = group[up]
                a = up
            while group[b] >= 0:
                up = group[b]
                if group[up] >= 0:
                    group[b] = group[up]
                b = up
            if a == b or -(group[a] + group[b]) > cap:
                continue
            if group[a] > group[b]:
                a, b = b, a
            group[a] += group[b]
            group[b] = a
    count = 0
    for f in range(n):
        if group[f] < 0:
            cell[f] = count
            count += 1
    met = np.zeros(count, np.int32)
    for f in range(n):
        top = np.int64(f)
        while group[top] >= 0:
            top = group[top]
        c = cell[top]
        cell[f] = c
        met[c] += 1
        if met[c] == (1 - group[top]) // 2:
            heads[c] = f  # the middle one speaks for the cell: the first is likely at its edge
    return count


def smooth_cells(rows: NDArray[np.int64], place: Whole, mate: Whole, marks: Marks) -> tuple[Whole, NDArray[np.int64]]:
    """Faces joined to cells of up to CAP faces over smooth edges.

    Args:
        rows: The faces, all of whole smooth patches.
        place: Where each face of the mesh stands in `rows`; -1 for the others.
        mate: Partner of each half-edge.
        marks: As `edge_marks` gives them.

    Returns:
        Cell of each of these faces, and the face that speaks for each cell.
    """
    group, cell, heads = (np.empty(len(rows), dtype=np.int32) for _ in range(3))
    count = int(_cells(rows, place, mate, marks, CAP, group, cell, heads))
    return cell, rows[heads[:count]]
