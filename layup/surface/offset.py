"""The area of the other face of a laminate: tool side against bag side.

    Area at a distance from the surface      offset_area(surface, distance)

A surface moved along its normals by t has the area A + t M + t^2 K, with M the integral of twice the mean curvature and
K the integral of the Gaussian curvature over it. On a mesh M is the sum over the inner edges of length times turning
angle, and K the sum over the inner points of what is missing to a full turn. Right as long as t is smaller than the
tightest radius on the hollow side.

Source: Steiner's formula for parallel surfaces, in any handbook of differential geometry; from memory.
"""

from __future__ import annotations

import numpy as np

from layup.surface.mesh import Surface
from layup.surface.skin import against, curvature
from layup.surface.topology import face_pairs, free_edges, normals, pieces


def offset_area(surface: Surface, distance: float) -> float:
    """Area of the surface moved along its normals; its edges move square to it.

    The faces of a side picked from a solid look outward. Those of an open shell look as most of them were drawn; where
    that is not known, look at both signs.

    Args:
        surface: With a mesh.
        distance: To the side the faces look to; negative to the other side. [m]

    Returns:
        [m^2]

    Raises:
        SurfaceError: a surface known only by its area.
    """
    points, faces = surface.vertices, surface.faces
    unit, area = normals(points, faces)
    _, piece = pieces(len(faces), face_pairs(faces)[0])
    unit[against(faces, area, piece)] *= -1.0
    bend = curvature(points, faces, area > 0.0, unit)
    a, b, c = (points[faces[:, k]] for k in range(3))
    angles = np.zeros(len(points))
    for at, (p, q, r) in enumerate(((a, b, c), (b, c, a), (c, a, b))):
        u, v = q - p, r - p
        angle = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v))
        angles += np.bincount(faces[:, at], angle, len(points))
    inner = np.zeros(len(points), dtype=bool)
    inner[faces] = True
    inner[free_edges(faces)] = False
    round_ = float((2.0 * np.pi - angles[inner]).sum())
    return float(area.sum()) + distance * bend + distance**2 * round_
