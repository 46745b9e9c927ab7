"""What touches what: welded points, shared and free edges, neighbours, pieces.

Points and faces from loose triangles     weld(triangles)
Its free edges                            free_edges(faces)
Which faces meet at an edge               face_pairs(faces)
Which faces hang together                 pieces(count, pairs)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.scan import vertex_numbers

Points = NDArray[np.float64]
Faces = NDArray[np.int64]
Numbers = NDArray[np.int64]

_MANY = 300_000  # from this many things a sparse graph is worth its import


def weld(triangles: NDArray[np.floating]) -> tuple[Points, Faces]:
    """Points and faces of loose triangles; corners with the same coordinates become one point.

    Args:
        triangles: Corners, shape (n, 3, 3), single or double precision. [m]

    Returns:
        Points (k, 3) in double precision and faces (n, 3).
    """
    corners = np.ascontiguousarray(triangles).reshape(-1, 3)
    numbers = vertex_numbers(corners)
    _, first, back = np.unique(numbers, return_index=True, return_inverse=True)
    points = corners[first] + corners.dtype.type(0.0)
    for start in range(0, len(corners), 1 << 20):
        span = slice(start, start + (1 << 20))
        if not np.array_equal(points[back[span]], corners[span]):
            raise SurfaceError("two different points came out as one", "Move the part a little in its file")
    return points.astype(np.float64), back.reshape(-1, 3).astype(np.int64)


def reweld(points: Points, faces: Faces) -> tuple[Points, Faces]:
    """The same mesh with equal points made one, for files that split points by colour or texture."""
    numbers = vertex_numbers(points)
    _, first, back = np.unique(numbers, return_index=True, return_inverse=True)
    if len(first) == len(points):
        return points, faces
    return points[first], back[faces].astype(np.int64)


def edges_of(faces: Faces) -> tuple[Faces, NDArray[np.int64]]:
    """All edges of all faces with a length.

    Returns:
        Edges (e, 2) in the direction of their face, and the face of each (e,).
    """
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(faces)), 3)
    real = edges[:, 0] != edges[:, 1]
    return edges[real], owner[real]


def edge_keys(edges: Faces) -> NDArray[np.int64]:
    """One number for each edge (e, 2), the same for both directions."""
    one, two = edges[:, 0].astype(np.int64), edges[:, 1].astype(np.int64)
    keys: NDArray[np.int64] = (np.minimum(one, two) << 32) | np.maximum(one, two)
    return keys


def free_edges(faces: Faces, *, once: bool = False) -> Faces:
    """Edges used an odd number of times, shape (e, 2), in the direction of their first face.

    An edge of one face is free; an edge of three is one free edge on a seam.

    Args:
        faces: Shape (m, 3).
        once: Only edges of one face: where a rib meets a skin, the surface does not end.
    """
    edges, _ = edges_of(faces)
    _, first, count = np.unique(edge_keys(edges), return_index=True, return_counts=True)
    free: Faces = edges[first[count == 1 if once else count % 2 == 1]]
    return free


def face_pairs(faces: Faces) -> tuple[Faces, Faces, NDArray[np.bool_]]:
    """Faces that meet two by two at an edge; edges of three and more faces join nothing.

    Returns:
        Pairs of faces (p, 2), the edge of each pair (p, 2), and whether the two run through it in opposite
        directions, as they do when both face the same way.
    """
    edges, owner = edges_of(faces)
    keys = edge_keys(edges)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    start = np.flatnonzero(np.r_[True, keys[1:] != keys[:-1]])
    count = np.diff(np.r_[start, len(keys)])
    at = start[count == 2]
    one, two = order[at], order[at + 1]
    return np.column_stack([owner[one], owner[two]]), edges[one], edges[one][:, 0] == edges[two][:, 1]


def pieces(count: int, pairs: Faces) -> tuple[int, NDArray[np.int64]]:
    """How many pieces hang together by pairs, and the piece of each of `count` things, largest not first."""
    if count > _MANY:
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        ones = np.ones(len(pairs), dtype=np.int8)
        graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
        number, label = connected_components(graph, directed=False)
        return int(number), np.asarray(label, dtype=np.int64)
    least: Numbers = np.arange(count, dtype=np.int64)
    a, b = pairs[:, 0], pairs[:, 1]
    while True:  # each thing takes the least number it is tied to, and the number that one has by now
        one, two = least[a], least[b]
        apart = one != two
        if not apart.any():
            break
        a, b, one, two = a[apart], b[apart], one[apart], two[apart]
        low = np.minimum(one, two)
        np.minimum.at(least, one, low)
        np.minimum.at(least, two, low)
        while not np.array_equal(least, least[least]):
            least = least[least]
    found, numbers = np.unique(least, return_inverse=True)
    return len(found), np.asarray(numbers, dtype=np.int64)


def normals(points: Points, faces: Faces) -> tuple[Points, NDArray[np.float64]]:
    """Unit normals (n, 3), zero for a face without area, and areas (n,). [-, m^2]"""
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    cross = np.cross(b - a, c - a)
    size = np.sqrt(np.einsum("ij,ij->i", cross, cross))
    with np.errstate(invalid="ignore", divide="ignore"):
        unit = np.where(size[:, None] > 0.0, cross / size[:, None], 0.0)
    return unit, 0.5 * size


def length_of(points: Points, edges: Faces) -> float:
    """Total length of edges (e, 2). [m]"""
    apart = points[edges[:, 0]] - points[edges[:, 1]]
    return float(np.sqrt(np.einsum("ij,ij->i", apart, apart)).sum())


def sums(number: NDArray[np.integer], weight: NDArray[np.float64], count: int = 0) -> NDArray[np.float64]:
    """Sum of the weights of each number, for numbers from 0; at least `count` of them."""
    return np.bincount(number, weight, minlength=count).astype(np.float64, copy=False)
