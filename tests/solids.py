"""Closed solids of any number of triangles for tests and benchmarks: a thin sheet with a flange, a thick plug.

Every corner is shared exactly: the solids are closed in single precision too.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.files.stl import RECORD

Points = NDArray[np.float32]
Faces = NDArray[np.int64]


def _profile(count: int, wall: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both sides of a bent strip in the y-z plane: an arc, a crease of 50 degrees, a flat flange.

    The inside of the bend is drawn and the outside set off from it, so that nothing overlaps at the crease.
    """
    turn = np.linspace(-0.6, 0.4, round(0.9 * count))
    arc = np.c_[500 * np.sin(turn), 500 * np.cos(turn) - 500]
    along = turn[-1] + np.radians(50)
    rest = count - len(arc)
    flange = arc[-1] + np.linspace(0, 60, rest + 1)[1:, None] * [np.cos(along), -np.sin(along)]
    line = np.concatenate([arc, flange])
    step = np.diff(line, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    normal = np.c_[-step[:, 1], step[:, 0]]
    before, after = np.r_[normal[:1], normal], np.r_[normal, normal[-1:]]
    mitre = (before + after) / (1.0 + np.einsum("ij,ij->i", before, after))[:, None]
    return line + wall * mitre, line


def _skin(line: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    y, z = line.T
    out = np.empty((len(x), len(line), 3))
    out[..., 0], out[..., 1] = x[:, None], y
    out[..., 2] = z + 40.0 * np.sin(x / 350.0)[:, None] * np.cos(y / 260.0)
    return out


def _cells(nu: int, nv: int) -> tuple[Faces, NDArray[np.int64]]:
    """Triangles of a grid of points, two by two, and its rim in order."""
    i = np.arange(nu * nv).reshape(nu, nv)
    a, b, c, d = i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]
    faces = np.stack([a, b, c, a, c, d], axis=-1).reshape(-1, 3)
    return faces, np.concatenate([i[:-1, 0], i[-1, :-1], i[:0:-1, -1], i[0, :0:-1]])


def _between(upper: NDArray[np.float64], lower: NDArray[np.float64]) -> tuple[Points, Faces, dict[str, int]]:
    nu, nv = upper.shape[:2]
    faces, rim = _cells(nu, nv)
    k, nxt = nu * nv, np.roll(rim, -1)
    strip = np.stack([rim, rim + k, nxt + k, rim, nxt + k, nxt], axis=-1).reshape(-1, 3)
    points = np.concatenate([upper.reshape(-1, 3), lower.reshape(-1, 3)]).astype(np.float32)
    return points, np.concatenate([faces, faces[:, ::-1] + k, strip]), {"side": len(faces)}


def thin_solid(triangles: int, wall: float = 3.0) -> tuple[Points, Faces, dict[str, int]]:
    """A sheet of 1200 by about 560 mm with a flange; about so many triangles. [mm]

    Returns:
        Points, faces, and how many faces each side has: first the outer (upper) side, then the inner, then the edge.
    """
    nv = max(20, round((triangles / 4 / 2.1) ** 0.5))
    nu = max(3, round(triangles / 4 / (nv - 1)) + 1)
    outer, inner = _profile(nv, wall)
    x = np.linspace(0, 1200, nu)
    return _between(_skin(outer, x), _skin(inner, x))


def plug(triangles: int) -> tuple[Points, Faces, dict[str, int]]:
    """A block of 1200 by about 500 by 300 mm with a curved top; about so many triangles. [mm]"""
    nv = max(4, round((triangles / 4 / 2.1) ** 0.5))
    nu = max(3, round(triangles / 4 / (nv - 1)) + 1)
    x, y = np.linspace(0, 1200, nu), np.linspace(-250, 250, nv)
    top = _skin(np.c_[y, 30 * np.cos(y / 180)], x)
    base = top.copy()
    base[..., 2] = -300.0
    return _between(top, base)


def write_stl(path: Path, points: Points, faces: Faces, block: int = 1_000_000) -> Path:
    """Write a binary STL, a block of faces at a time."""
    with path.open("wb") as file:
        file.write(b"a solid".ljust(80) + len(faces).to_bytes(4, "little"))
        for start in range(0, len(faces), block):
            part = faces[start : start + block]
            records = np.zeros(len(part), dtype=RECORD)
            records["corners"] = points[part]
            file.write(records.tobytes())
    return path


def shuffled(faces: Faces, seed: int = 7) -> Faces:
    """The same faces in another order, each begun at another corner."""
    rng = np.random.default_rng(seed)
    order, turn = rng.permutation(len(faces)), rng.integers(0, 3, len(faces))
    return faces[order][np.arange(len(faces))[:, None], (np.arange(3) + turn[:, None]) % 3]


def extruded(profile: NDArray[np.float64], length: float, parts: int) -> tuple[Points, Faces]:
    """A closed line in the y-z plane, anticlockwise seen from +x, drawn out along x, with both ends closed. [mm]"""
    from layup.shape.polygons import triangulate

    n = len(profile)
    x = np.linspace(0, length, parts + 1)
    points = np.stack(
        [np.repeat(x, n), np.tile(profile[:, 0], parts + 1), np.tile(profile[:, 1], parts + 1)], axis=1
    ).astype(np.float32)
    i = np.arange(n)
    a = (np.arange(parts)[:, None] * n + i).ravel()
    b = (np.arange(parts)[:, None] * n + np.roll(i, -1)).ravel()
    walls = np.stack([a, b, b + n, a, b + n, a + n], axis=-1).reshape(-1, 3)
    end = triangulate(points[:n].astype(np.float64), i, np.array([n])).faces
    return points, np.concatenate([walls[:, ::-1], end[:, ::-1], end + parts * n])


def rounded_sheet(count: int, parts: int, wall: float = 4.0) -> tuple[Points, Faces]:
    """A third of a pipe of 300 mm radius whose long edges are round: one smooth face goes round both sides. [mm]"""
    out, mean = np.linspace(-1.0, 1.0, count), 300.0 - wall / 2
    round_ = np.linspace(0.0, np.pi, 14)[1:-1]
    outer = np.c_[300 * np.sin(out), 300 * np.cos(out)]
    inner = (outer * (300 - wall) / 300)[::-1]

    def rim(turn: float, way: float) -> NDArray[np.float64]:
        radial, along = np.array([np.sin(turn), np.cos(turn)]), way * np.array([np.cos(turn), -np.sin(turn)])
        return mean * radial + wall / 2 * (np.cos(round_)[:, None] * radial + np.sin(round_)[:, None] * along)

    line = np.concatenate([outer, rim(1.0, 1.0), inner, rim(-1.0, -1.0)[::-1]])
    return extruded(line[::-1], 500.0, parts)


def ribbed_sheet(count: int, parts: int, wall: float = 3.0) -> tuple[Points, Faces]:
    """A flat sheet 400 mm wide with a rib of 8 by 30 mm along its middle, on the lower side. [mm]"""
    top = np.c_[np.linspace(200, -200, count), np.zeros(count)]
    left = np.c_[np.linspace(-200, -4, count // 2), np.full(count // 2, -wall)]
    down = np.c_[np.full(8, -4.0), np.linspace(-wall, -30, 9)[1:]]
    up = np.c_[np.full(8, 4.0), np.linspace(-30, -wall, 9)[:-1]]
    right = np.c_[np.linspace(4, 200, count // 2), np.full(count // 2, -wall)]
    return extruded(np.concatenate([top, left, down, up, right]), 500.0, parts)
