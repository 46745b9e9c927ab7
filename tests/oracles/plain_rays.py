"""The first wall a ray meets, the plain way: every ray is held against every triangle.

    How far, and to which face?     first_hits(points, faces, origins, directions, own)

The ray meets the plane of a triangle in one point; that lies in the triangle where the three triangles it makes with
its sides turn the same way round. No box, no grid, and not the test that `layup.sides.box_rays` has.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

_ON_A_SIDE = 1e-9  # of the area: a point on the side of two triangles is in both


@numba.njit(cache=True)
def _turns(a, b, p, normal):
    """Twice the area of a, b, p times that of the whole triangle, with its sign."""
    return (
        ((b[1] - a[1]) * (p[2] - a[2]) - (b[2] - a[2]) * (p[1] - a[1])) * normal[0]
        + ((b[2] - a[2]) * (p[0] - a[0]) - (b[0] - a[0]) * (p[2] - a[2])) * normal[1]
        + ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) * normal[2]
    )


@numba.njit(cache=True)
def _first(corners, normals, balls, origins, directions, own, distance, hit):
    p = np.zeros(3)
    for ray in range(len(origins)):
        ox, oy, oz = origins[ray]
        dx, dy, dz = directions[ray]
        for n in range(len(corners)):
            x, y, z = balls[n, 0] - ox, balls[n, 1] - oy, balls[n, 2] - oz
            along = x * dx + y * dy + z * dz
            if x * x + y * y + z * z - along * along > balls[n, 3] or n == own[ray]:
                continue  # it goes past the ball round the triangle
            normal, a, b, c = normals[n], corners[n, 0], corners[n, 1], corners[n, 2]
            fall = normal[0] * dx + normal[1] * dy + normal[2] * dz
            if fall == 0.0:
                continue
            far = ((a[0] - ox) * normal[0] + (a[1] - oy) * normal[1] + (a[2] - oz) * normal[2]) / fall
            if not 0.0 < far < distance[ray]:
                continue
            p[0], p[1], p[2] = ox + far * dx, oy + far * dy, oz + far * dz
            least = -_ON_A_SIDE * (normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
            if (
                _turns(a, b, p, normal) >= least
                and _turns(b, c, p, normal) >= least
                and _turns(c, a, p, normal) >= least
            ):
                distance[ray], hit[ray] = far, n


def first_hits(
    points: NDArray[np.float64],
    faces: NDArray[np.int64],
    origins: NDArray[np.float64],
    directions: NDArray[np.float64],
    own: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Distance and face of the first hit of each ray; infinity and -1 for none.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        origins: Starts, shape (r, 3). [m]
        directions: Unit vectors, shape (r, 3). [-]
        own: For each ray a face it must not hit, -1 for none.

    Returns:
        Distances (r,) and faces (r,). [m, -]
    """
    corners = np.asarray(points[faces], dtype=np.float64)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    middle = corners.mean(axis=1)
    reach = ((corners - middle[:, None]) ** 2).sum(axis=2).max(axis=1) * (1.0 + 1e-6) + 1e-18
    distance, hit = np.full(len(origins), np.inf), np.full(len(origins), -1, dtype=np.int64)
    _first(corners, normals, np.column_stack([middle, reach]), origins, directions, own, distance, hit)
    return distance, hit
