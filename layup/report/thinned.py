"""A mesh with fewer triangles for a picture; never for a figure.

    About `most` triangles of the same shape        thinned(points, faces, most)

Points are gathered in the cells of a grid, those on faces that look different ways apart, so that the two skins of a
wall stay two. Each cell keeps one point: where the planes of its faces, and along a free edge the planes that stand on
that edge, come closest to meeting (least squares, by area). So flat places stay flat, creases stay sharp and free
edges stay where they are. Faces whose corners fall into fewer than three cells are gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.topology import Faces, Points, free_edges, normals

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

MOST = 250_000
"""Triangles that an ordinary laptop turns without a jerk. [-]"""
_PER_CELL = 3.0  # triangles that a cell of the grid gives, about: a surface of any slope meets 1.5 cells a cell face
_PULL = 1e-3  # share of the planes' weight that holds a point to the mean of its cell
_LARGEST = 1 << 21  # cells that three numbers in one word can name


@dataclass(frozen=True)
class Thinned:
    """A mesh for a picture.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        source: The face of the whole mesh that each stands for, shape (m,).
        cell: Width of the grid's cells; 0 where nothing was thinned. No point moved further than its diagonal. [m]
        before: Triangles of the whole mesh. [-]
    """

    points: Points
    faces: Faces
    source: Numbers
    cell: float
    before: int

    @property
    def fewer(self) -> bool:
        """Whether it has fewer triangles than the whole mesh."""
        return self.cell > 0.0


def thinned(points: Points, faces: Faces, most: int = MOST) -> Thinned:
    """A mesh with at most so many triangles, or the mesh itself where it has no more.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        most: Triangles that are wanted at most. [-]
    """
    if len(faces) <= most:
        return Thinned(points, faces, np.arange(len(faces)), 0.0, len(faces))
    normal, area = normals(points, faces)
    way = _ways(len(points), faces, normal * area[:, None])
    low = points.min(axis=0)
    cell = float(np.sqrt(_PER_CELL * max(float(area.sum()), 1e-30) / most))
    while True:
        member, number = _cells(points, low, cell, way)
        kept, triples = _left(member[faces])
        if len(kept) <= most and number < _LARGEST:
            break
        cell *= 1.02 * max(1.05, float(np.sqrt(len(kept) / most)))
    places = _places(points, faces, (normal, area), member, number, cell)
    used, back = np.unique(triples, return_inverse=True)
    return Thinned(places[used], back.reshape(-1, 3).astype(np.int64), kept, cell, len(faces))


def _ways(count: int, faces: Faces, pull: Floats) -> Numbers:
    """Which of six ways each point's faces look, by area: 0 to 5."""
    look = np.stack([_gathered(faces, np.repeat(pull[:, axis], 3), count) for axis in range(3)], axis=1)
    axis = np.argmax(np.abs(look), axis=1)
    towards = look[np.arange(count), axis] > 0.0
    return np.asarray(2 * axis + towards, dtype=np.int64)


def _gathered(faces: Faces, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(faces.ravel(), values, minlength=count), dtype=np.float64)


def _cells(points: Points, low: Floats, cell: float, way: Numbers) -> tuple[Numbers, int]:
    """The cell of each point, numbered from 0, and how many there are."""
    step = ((points - low) / cell).astype(np.int64)
    wide = step.max(axis=0) + 1
    key = ((step[:, 0] * wide[1] + step[:, 1]) * wide[2] + step[:, 2]) * 6 + way
    found, member = np.unique(key, return_inverse=True)
    return member.ravel().astype(np.int64), len(found)


def _left(triples: Faces) -> tuple[Numbers, Faces]:
    """Faces that still have three corners, each triple once: their numbers and corners."""
    a, b, c = triples.T
    rows = np.flatnonzero((a != b) & (b != c) & (c != a))
    low, high = triples[rows].min(axis=1), triples[rows].max(axis=1)
    key = (low << 42) | ((triples[rows].sum(axis=1) - low - high) << 21) | high
    _, first = np.unique(key, return_index=True)
    kept = np.sort(rows[first])
    return kept, triples[kept]


def _places(
    points: Points, faces: Faces, looks: tuple[Floats, Floats], member: Numbers, number: int, cell: float
) -> Points:
    """The point that each cell keeps: least squares of the planes, held lightly to the mean of the cell's points."""
    normal, area = looks
    many = np.bincount(member, minlength=number).astype(np.float64)
    sums = [_gathered(member, points[:, axis], number) for axis in range(3)]
    mean: Points = np.stack(sums, axis=1) / many[:, None]
    matrix, side = np.zeros((number, 3, 3)), np.zeros((number, 3))
    _add_planes(
        matrix=matrix, side=side, cells=member[faces], normal=normal, weight=area, foot=points[faces[:, 0]], mean=mean
    )
    edges = free_edges(faces, once=True)
    if len(edges):
        along = points[edges[:, 1]] - points[edges[:, 0]]
        length = np.linalg.norm(along, axis=1)
        face = _owners(faces, edges)
        across = np.cross(along, normal[face])
        across /= np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
        _add_planes(
            matrix=matrix,
            side=side,
            cells=member[edges],
            normal=across,
            weight=length * cell,
            foot=points[edges[:, 0]],
            mean=mean,
        )
    weight = np.trace(matrix, axis1=1, axis2=2)
    hold = _PULL * weight + 1e-12 * cell**2
    matrix[:, np.arange(3), np.arange(3)] += hold[:, None]
    moved = np.linalg.solve(matrix, side[:, :, None])[:, :, 0]
    far = np.linalg.norm(moved, axis=1) > cell  # planes that meet nowhere near: the mean itself
    moved[far] = 0.0
    found: Points = mean + moved
    return found


def _add_planes(
    matrix: Floats, side: Floats, cells: Faces, normal: Floats, weight: Floats, foot: Points, mean: Points
) -> None:
    """Add the plane of each face, or on each edge, to the sums of the cells of its corners; each cell once."""
    number = len(matrix)
    for k in range(cells.shape[1]):
        own = cells[:, k]
        fresh = np.all(cells[:, :k] != own[:, None], axis=1)
        own, n, w = own[fresh], normal[fresh], weight[fresh]
        reach = np.einsum("ij,ij->i", n, foot[fresh] - mean[own]) * w
        for i in range(3):
            side[:, i] += np.bincount(own, n[:, i] * reach, minlength=number)
            for j in range(i, 3):
                part = np.bincount(own, n[:, i] * n[:, j] * w, minlength=number)
                matrix[:, i, j] += part
                if i != j:
                    matrix[:, j, i] += part


def _owners(faces: Faces, edges: Faces) -> Numbers:
    """The face that each directed edge belongs to."""
    directed = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    keys = (directed[:, 0].astype(np.int64) << 32) | directed[:, 1]
    wanted = (edges[:, 0].astype(np.int64) << 32) | edges[:, 1]
    near = np.isin(directed[:, 0], edges[:, 0])
    rows = np.flatnonzero(near)
    order = rows[np.argsort(keys[rows], kind="stable")]
    found = np.searchsorted(keys[order], wanted)
    return np.asarray(order[np.minimum(found, len(order) - 1)] // 3, dtype=np.int64)
