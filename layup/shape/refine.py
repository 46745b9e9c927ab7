"""A finer mesh of the same surface: long edges are halved, nothing moves.

Area does not change, and neighbours stay neighbours: an edge is halved in every face that has it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.topology import Faces, Points, edge_keys

MOST = 3_000_000
"""A refined mesh grows to this many faces at most. [-]"""


def halve_edges(
    points: Points,
    faces: Faces,
    owner: NDArray[np.int64],
    marked: Callable[[Points, Points], NDArray[np.bool_]],
) -> tuple[Points, Faces, NDArray[np.int64]]:
    """Halve marked edges, and the edges that come of it, until none is marked.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: A number each face hands on to its parts, shape (m,).
        marked: Given the two ends of edges (e, 3), which to halve; must turn false as they get short.

    Returns:
        Points, faces and owners of the finer mesh; the first n points are the old ones.
    """
    fresh = np.ones(len(faces), dtype=bool)
    while fresh.any():
        edges = unique_edges(faces[fresh])
        edges = edges[marked(points[edges[:, 0]], points[edges[:, 1]])]
        if not len(edges):
            break
        points, faces, owner, fresh = halve_once(points, faces, owner, edges)
    return points, faces, owner


def unique_edges(faces: Faces) -> Faces:
    """Every edge of some faces once, shape (e, 2), in the direction of its first face."""
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    return edges[np.unique(edge_keys(edges), return_index=True)[1]]


def halve_once(
    points: Points, faces: Faces, owner: NDArray[np.int64], edges: Faces
) -> tuple[Points, Faces, NDArray[np.int64], NDArray[np.bool_]]:
    """Halve edges, each in every face that has it.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: A number each face hands on to its parts, shape (m,).
        edges: Different edges of the mesh, shape (e, 2).

    Returns:
        Points, the middles of the edges last and in their order; faces; owners; which faces are new.

    Raises:
        SurfaceError: more than MOST faces would be made.
    """
    if len(faces) + 3 * len(edges) > MOST:
        raise SurfaceError(f"the zone would need more than {MOST:,} triangles", "Give a wider zone, or a coarser mesh")
    keys = edge_keys(edges)
    order = np.argsort(keys)
    all_keys = edge_keys(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)).reshape(-1, 3)
    place = order[np.minimum(np.searchsorted(keys, all_keys, sorter=order), len(keys) - 1)]
    middle = np.where(keys[place] == all_keys, len(points) + place, -1)
    points = np.concatenate([points, 0.5 * (points[edges[:, 0]] + points[edges[:, 1]])])
    faces, owner, fresh = _cut(points, faces, owner, middle)
    return points, faces, owner, fresh


def _cut(
    points: Points, faces: Faces, owner: NDArray[np.int64], middle: NDArray[np.int64]
) -> tuple[Faces, NDArray[np.int64], NDArray[np.bool_]]:
    """Faces parted at the middles of their edges; `middle` (m, 3) holds the new point of each edge or -1."""
    count = (middle >= 0).sum(axis=1)
    new: list[Faces] = [faces[count == 0]]
    who = [owner[count == 0]]

    def add(rows: NDArray[np.int64], *triangles: tuple[NDArray[np.int64], ...]) -> None:
        for corners in triangles:
            new.append(np.column_stack(corners))
            who.append(owner[rows])

    rows = np.flatnonzero(count == 3)
    (a, b, c), (d, e, f) = faces[rows].T, middle[rows].T
    add(rows, (a, d, f), (d, b, e), (f, e, c), (d, e, f))
    rows = np.flatnonzero(count == 1)
    turn = (np.argmax(middle[rows] >= 0, axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces[rows], turn, axis=1).T
    d = np.take_along_axis(middle[rows], turn, axis=1)[:, 0]
    add(rows, (a, d, c), (d, b, c))
    rows = np.flatnonzero(count == 2)  # turned so that the whole edge is c-a
    turn = (np.argmax(middle[rows] < 0, axis=1)[:, None] + 1 + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces[rows], turn, axis=1).T
    d, e, _ = np.take_along_axis(middle[rows], turn, axis=1).T
    add(rows, (d, b, e))
    one, two = np.linalg.norm(points[a] - points[e], axis=1), np.linalg.norm(points[d] - points[c], axis=1)
    across = (one < two) | ((one == two) & (a < c))  # the same choice in a copy of the face turned over
    y = across
    add(rows[y], (a[y], d[y], e[y]), (a[y], e[y], c[y]))
    n = ~across
    add(rows[n], (a[n], d[n], c[n]), (d[n], e[n], c[n]))
    faces_out = np.concatenate(new)
    fresh = np.ones(len(faces_out), dtype=bool)
    fresh[: len(new[0])] = False
    return faces_out, np.concatenate(who), fresh


def insert_point(
    points: Points, faces: Faces, owner: NDArray[np.int64], face: int, at: NDArray[np.float64]
) -> tuple[Points, Faces, NDArray[np.int64], int]:
    """A point of the surface made a corner of the mesh.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: A number each face hands on to its parts, shape (m,).
        face: The face the point lies on.
        at: The point. [m]

    Returns:
        Points, faces, owners, and the number of the point.
    """
    corners = faces[face]
    a, b, c = points[corners]
    scale = max(np.linalg.norm(b - a), np.linalg.norm(c - a))
    near = np.linalg.norm(points[corners] - at, axis=1)
    if near.min() <= 1e-9 * scale:
        return points, faces, owner, int(corners[np.argmin(near)])
    new = len(points)
    points = np.concatenate([points, at[None]])
    for i in range(3):
        start, end = int(corners[i]), int(corners[(i + 1) % 3])
        along = points[end] - points[start]
        if not along.any():
            continue  # a face without area
        off = np.linalg.norm(np.cross(along, at - points[start])) / max(float(np.linalg.norm(along)), 1e-300)
        if off <= 1e-9 * scale:
            rows = np.flatnonzero((faces == start).any(axis=1) & (faces == end).any(axis=1))
            one, two = faces[rows].copy(), faces[rows].copy()
            one[one == start], two[two == end] = new, new
            break
    else:
        rows = np.flatnonzero((np.sort(faces, axis=1) == np.sort(corners)).all(axis=1))  # it and its copies
        hub = np.full(len(rows), new)
        p, q, r = faces[rows].T
        one = np.column_stack([p, q, hub])
        two = np.concatenate([np.column_stack([q, r, hub]), np.column_stack([r, p, hub])])
    keep = np.ones(len(faces), dtype=bool)
    keep[rows] = False
    parts = np.concatenate([one, two])
    heirs = np.resize(owner[rows], len(parts))
    return points, np.concatenate([faces[keep], parts]), np.concatenate([owner[keep], heirs]), new
