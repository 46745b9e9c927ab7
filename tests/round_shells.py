"""Round shells as triangles, for tests against closed forms: tubes and rings; lengths in metres."""

from math import pi

import numpy as np

from layup.shape.measure import measure_triangles
from layup.shape.surface import Surface


def surface(points, faces):
    return Surface("test", measure_triangles(points[faces]), lambda: (points, faces))


def tube(n, radius=0.25, length=0.6, m=1):
    """A tube open at both ends; its polygon turns once round, so M is exact."""
    turn = 2 * pi * np.arange(n) / n
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=1)
    rows = np.linspace(0.0, length, m + 1)
    p = np.concatenate([ring + np.array([0.0, 0.0, z]) for z in rows])
    i = np.arange(n)
    j = (i + 1) % n
    f = [np.concatenate([np.c_[i, j, j + n] + k * n, np.c_[i, j + n, i + n] + k * n]) for k in range(m)]
    return surface(p, np.concatenate(f))


def torus(n, big=0.4, small=0.15, start=0.0, stop=2 * pi):
    """A ring swept by an arc of its section; the whole section by default."""
    closed = stop - start > 2 * pi - 1e-9
    m = n
    u = 2 * pi * np.arange(2 * n) / (2 * n)
    v = start + (stop - start) * np.arange(m + (not closed)) / m
    uu, vv = np.meshgrid(u, v, indexing="ij")
    w = big + small * np.cos(vv)
    p = np.stack([w * np.cos(uu), w * np.sin(uu), small * np.sin(vv)], axis=-1)
    rows, columns = p.shape[:2]
    number = np.arange(rows * columns).reshape(rows, columns)
    last = slice(None) if closed else slice(None, -1)
    a = number[:, last]
    b = np.roll(number, -1, axis=0)[:, last]
    c = np.roll(np.roll(number, -1, axis=0), -1, axis=1)[:, last]
    d = np.roll(number, -1, axis=1)[:, last]
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    return surface(p.reshape(-1, 3), faces)
