"""Two skins whose rim is missing: an open shell in the eyes of its edges, but every place counts twice.

Are there two skins, and how far apart?     twin_skins(points, faces)

From a few dozen places, spread evenly over the area, a line goes square off the surface to both sides. Where
most of them meet a parallel face at one and the same small distance, the shell is two skins of a sheet. A part
with turned flanges or ribs meets itself in few places, a fairing open at one end at distances that vary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.topology import Faces, Points, face_pairs, normals

_FEW = 6  # rays that decide whether the others are sent at all
_RAYS = 32
_NEAR = 0.05  # two skins are nearer than this share of the root of one side's area
_MOST = 0.6  # share of the places that must have a partner
_EVEN = 0.3  # share by which their distances may differ from the median
_PARALLEL = 0.8


@dataclass(frozen=True, slots=True)
class Twins:
    """Two skins of one sheet.

    Attributes:
        thickness: Median distance between them. [m]
        turned: Faces whose winding looks at the other skin and has to be reversed to look outward.
    """

    thickness: float
    turned: NDArray[np.bool_]


def twin_skins(points: Points, faces: Faces) -> Twins | None:
    """The two skins of a sheet without its rim; None for an honest open shell.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    normal, area = normals(points, faces)
    share = np.cumsum(area)
    rows = np.unique(np.searchsorted(share, (np.arange(_RAYS) + 0.5) / _RAYS * share[-1]))
    most = _NEAR * float(np.sqrt(0.5 * share[-1]))
    few = rows[:: len(rows) // _FEW or 1]
    if not np.isfinite(_partners(points, faces, normal, few, most)).any():
        return None  # an honest shell hardly ever meets itself
    apart = _partners(points, faces, normal, rows, most)
    met = np.flatnonzero(np.isfinite(apart))
    if len(met) < _MOST * len(rows):
        return None
    thickness = float(np.median(np.abs(apart[met])))
    if np.count_nonzero(np.abs(np.abs(apart[met]) / thickness - 1.0) < _EVEN) < _MOST * len(rows):
        return None
    from layup.shape.topology import pieces

    count, piece = pieces(len(faces), face_pairs(faces)[0])
    outward = np.bincount(piece[rows[met]], np.sign(apart[met]), minlength=count)
    return Twins(thickness, (outward > 0.0)[piece])


def _partners(
    points: Points, faces: Faces, normal: Points, rows: NDArray[np.int64], most: float
) -> NDArray[np.float64]:
    """Distance from each place to the nearest parallel face within `most`, negative behind it; infinite for none."""
    a = points[faces[:, 0]]
    u, v = points[faces[:, 1]] - a, points[faces[:, 2]] - a
    low, high = np.minimum(np.minimum(0.0, u), v) + a, np.maximum(np.maximum(0.0, u), v) + a
    out = np.full(len(rows), np.inf)
    for number, row in enumerate(rows):
        at, way = points[faces[row]].mean(axis=0), normal[row]
        span = most * np.abs(way)
        near = ((low <= at + span) & (high >= at - span)).all(axis=1)
        near[row] = False
        f = np.flatnonzero(near)
        f = f[np.abs(normal[f] @ way) > _PARALLEL]
        across = normal[f] @ way
        t = np.einsum("ij,ij->i", a[f] - at, normal[f]) / across
        to = at + t[:, None] * way - a[f]
        uu, uv, vv = (np.einsum("ij,ij->i", x, y) for x, y in ((u[f], u[f]), (u[f], v[f]), (v[f], v[f])))
        tu, tv = np.einsum("ij,ij->i", to, u[f]), np.einsum("ij,ij->i", to, v[f])
        det = uu * vv - uv * uv
        f, to, det, uu, uv, vv, tu, tv, t = (x[det > 0.0] for x in (f, to, det, uu, uv, vv, tu, tv, t))
        p, q = (vv * tu - uv * tv) / det, (uu * tv - uv * tu) / det
        hit = (p >= -1e-9) & (q >= -1e-9) & (p + q <= 1.0 + 1e-9) & (np.abs(t) < most) & (np.abs(t) > 1e-9 * most)
        if hit.any():
            t = t[hit]
            out[number] = t[np.argmin(np.abs(t))]
    return out
