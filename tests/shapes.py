"""Meshes of shapes whose drape or flat pattern is known, for several tests."""

from __future__ import annotations

import math

import numpy as np

from layup.shape.topology import weld


def grid(width: int, height: int) -> np.ndarray:
    """Faces of a sheet of (height + 1) rows of (width + 1) points."""
    i, j = np.meshgrid(np.arange(height), np.arange(width), indexing="ij")
    a = (i * (width + 1) + j).ravel()
    return np.concatenate([np.c_[a, a + 1, a + width + 2], np.c_[a, a + width + 2, a + width + 1]])


def hemisphere(fine: int = 6, radius: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """The upper half of an octahedron, its edges halved and pushed out to the sphere."""
    corners = np.array([[0, 0, 1.0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]])
    soup = corners[np.array([[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 1]])]
    for _ in range(fine):
        a, b, c = soup[:, 0], soup[:, 1], soup[:, 2]
        ab, bc, ca = (v / np.linalg.norm(v, axis=1, keepdims=True) for v in (a + b, b + c, c + a))
        parts = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
        soup = np.concatenate([np.stack(part, axis=1) for part in parts])
    points, faces = weld(soup.round(12))
    return points * radius, faces


def frustum(low: float, high: float, height: float, around: int = 96, up: int = 24, turn: float = 2 * math.pi):
    """A cone's frustum from radius `low` at z = 0 to `high`, open along one line."""
    angle, share = np.linspace(0.0, turn, around + 1), np.linspace(0.0, 1.0, up + 1)
    r, z = low + (high - low) * share, height * share
    points = np.stack(
        [np.outer(r, np.cos(angle)), np.outer(r, np.sin(angle)), np.outer(z, np.ones(around + 1))], axis=-1
    )
    return points.reshape(-1, 3), grid(around, up)


def folded(angle: float, length: float = 0.4, width: float = 0.3) -> tuple[np.ndarray, np.ndarray]:
    """A flat sheet with one sharp fold askew across it; eight triangles."""
    flat = np.array([[0, 0], [0.5 * length, 0], [length, 0], [0, width], [0.65 * length, width], [length, width]])
    line = flat[4] - flat[1]
    line = line / np.linalg.norm(line)
    points = np.zeros((6, 3))
    for n, p in enumerate(flat):
        off = p - flat[1]
        along, across = off @ line, line[0] * off[1] - line[1] * off[0]
        square = np.array([-line[1], line[0]])
        if across >= -1e-12:
            points[n, :2] = p
            continue
        points[n, :2] = flat[1] + along * line + across * math.cos(angle) * square
        points[n, 2] = across * math.sin(angle)
    return points, np.array([[0, 1, 4], [0, 4, 3], [1, 2, 4], [2, 5, 4]])


def dish(hole: float, lip: float, size: float = 0.4, n: int = 48) -> tuple[np.ndarray, np.ndarray]:
    """A flat ring round a round hole with a lip turned down square."""
    angle = np.linspace(0.0, 2 * math.pi, n, endpoint=False)
    rings = [(size, 0.0), (0.5 * (size + hole), 0.0), (hole, 0.0), (hole, -0.5 * lip), (hole, -lip)]
    points = np.concatenate([np.c_[r * np.cos(angle), r * np.sin(angle), np.full(n, z)] for r, z in rings])
    faces = []
    for ring in range(len(rings) - 1):
        k, m = np.arange(n), (np.arange(n) + 1) % n
        a, b, c, d = ring * n + k, ring * n + m, (ring + 1) * n + m, (ring + 1) * n + k
        faces += [np.c_[a, b, c], np.c_[a, c, d]]
    return points, np.concatenate(faces)
