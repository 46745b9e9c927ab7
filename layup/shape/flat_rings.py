"""Rings round holes of a flat surface, exact: discs round the holes' middles laid over its triangles.

    Triangles within a reach of holes, and the others      ring_parts(points, faces, sets, reach)

Along a flat surface the places within a reach of a round hole are a disc about its middle. (A slot narrower than the
reach is passed straight over; cloth does the same.) On a surface that is not flat the distance is walked, as for every
other zone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layup.shape.clip import Soup
from layup.shape.curves import circle
from layup.shape.holes import Hole
from layup.shape.perforate import HoleSet, as_triangles, lifted
from layup.shape.plan import Plan
from layup.shape.topology import Faces, Points, normals

_ROUND = 2e-5
"""Ring lines are drawn to this share of their radius; they enclose the area of the true circle. [-]"""


def ring_parts(
    points: Points, faces: Faces, sets: Sequence[tuple[HoleSet, Sequence[Hole]]], reach: float
) -> tuple[Soup, Soup] | None:
    """Part a flat surface by distance from the edges of round holes in it.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        sets: Patterns, and which of their holes.
        reach: From the edge of a hole outward. [m]

    Returns:
        Triangles within reach and the others, shape (k, 3, 4): x, y, z and the face each is part of; None where the
        surface is not flat and seen square on. [m]
    """
    import shapely

    unit, _ = normals(points, faces)
    plans = [one.plan for one, _ in sets]
    way = np.array(plans[0].way)
    if not (np.abs(unit[unit.any(axis=1)] @ way) > 1.0 - 1e-9).all() or any(p.way != plans[0].way for p in plans):
        return None
    plan: Plan = plans[0]
    corner = plan.seen(points[faces])
    discs = [
        shapely.Polygon(circle(h.x, h.y, h.diameter + 2.0 * reach, _ROUND * (h.diameter + 2.0 * reach)))
        for _, holes in sets for h in holes
    ]  # fmt: skip
    tree = shapely.STRtree(discs)
    shadows = shapely.polygons(corner)
    face, disc = tree.query(shadows, predicate="intersects")
    order = np.argsort(face, kind="stable")
    rows, start = np.unique(face[order], return_index=True)
    cutters: list[object] = []
    for group in np.split(disc[order], start[1:]) if len(rows) else []:
        cutters.append(discs[group[0]] if len(group) == 1 else shapely.union_all([discs[g] for g in group]))
    cut = np.array(cutters, dtype=object)
    whole = np.ones(len(faces), dtype=bool)
    whole[rows] = False
    kept = np.flatnonzero(whole & unit.any(axis=1))
    outside = np.concatenate([points[faces[kept]], np.repeat(kept, 3).reshape(-1, 3, 1)], axis=2)
    inner = _soup(points, faces, corner, *as_triangles(shapely.intersection(shadows[rows], cut), rows))
    outer = _soup(points, faces, corner, *as_triangles(shapely.difference(shadows[rows], cut), rows))
    return inner, np.concatenate([outside, outer])


def _soup(
    points: Points, faces: Faces, corner: NDArray[np.float64], flat: NDArray[np.float64], owner: NDArray[np.int64]
) -> Soup:
    many = np.repeat(owner, 3)
    places = lifted(points, faces[many], corner[many], flat.reshape(-1, 2)).reshape(-1, 3, 3)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    a = corner[owner]
    p, q = a[:, 1] - a[:, 0], a[:, 2] - a[:, 0]
    turned = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]) < 0.0
    places[turned] = places[turned][:, ::-1]
    return np.concatenate([places, np.repeat(owner, 3).reshape(-1, 3, 1)], axis=2)
