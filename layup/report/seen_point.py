"""The point of a surface that a person points at in a picture: the first one along the line of sight.

A picture may show fewer triangles than there are, so what was pointed at is looked for again on the whole mesh.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import Vector, vector
from layup.shape.nearest import nearest_points
from layup.shape.topology import Faces, Points

Floats = NDArray[np.float64]


def seen_point(points: Points, faces: Faces, at: Vector, toward: Vector) -> tuple[Vector, int]:
    """Where the line of sight through a point first meets the mesh; the nearest point of the mesh if it does not.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: A point on the line of sight. [m]
        toward: From there towards the eye, which is far away. [-]

    Returns:
        The point, and the face it lies on. [m, -]

    Raises:
        SurfaceError: The direction has no length, or a number is not finite.
    """
    eye, spot = np.array(toward, dtype=np.float64), np.array(at, dtype=np.float64)
    size = float(np.linalg.norm(eye))
    if not (0.0 < size < np.inf and np.isfinite(spot).all()):
        raise SurfaceError("that is no point of the picture", "Click on the part")
    eye /= size
    right = np.cross(eye, np.eye(3)[int(np.argmin(np.abs(eye)))])
    right /= np.linalg.norm(right)
    flat = (points - spot) @ np.stack([right, np.cross(eye, right)]).T
    corners = flat[faces]
    rows = np.flatnonzero(((corners.min(axis=1) <= 0.0) & (corners.max(axis=1) >= 0.0)).all(axis=1))
    a, b, c = (corners[rows, k] for k in range(3))
    share = np.stack([_twice(b, c), _twice(c, a), _twice(a, b)], axis=1)
    whole = share.sum(axis=1)
    hit = (whole != 0.0) & (share * np.sign(whole)[:, None] >= 0.0).all(axis=1)
    if not hit.any():
        feet = nearest_points(points, faces, spot)
        face = int(np.argmin(np.linalg.norm(feet - spot, axis=1)))
        return vector(feet[face]), face
    rows, share = rows[hit], share[hit] / whole[hit][:, None]
    places = np.einsum("ij,ijk->ik", share, points[faces[rows]])
    first = int(np.argmax(places @ eye))
    return vector(places[first]), int(rows[first])


def _twice(p: Floats, q: Floats) -> Floats:
    """Twice the area of the triangles from the origin to p and q."""
    return np.asarray(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0], dtype=np.float64)
