"""Area of parallel surfaces against closed forms: sphere, cylinder, cone, a folded sheet."""

from math import pi

import numpy as np
import pytest
import trimesh

from layup.surface import Surface, measure_triangles, rectangle
from layup.surface.offset import offset_area


def surface(points, faces):
    return Surface("test", measure_triangles(points[faces]), lambda: (points, faces))


def half_pipe(n, radius=0.2, length=0.5):
    turn = np.linspace(0, pi, n + 1)
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=1)
    p = np.concatenate([ring, ring + np.array([0.0, 0.0, length])])
    i = np.arange(n)
    return surface(p, np.concatenate([np.c_[i, i + 1, i + n + 2], np.c_[i, i + n + 2, i + n + 1]]))


@pytest.mark.parametrize("thickness", [0.002, -0.002, 0.02, -0.05])
def test_sphere(thickness):
    """Tolerance: flat faces; both areas are short by about the same share, 1e-3 at this mesh."""
    ball = trimesh.creation.icosphere(5, 0.3)
    shell = surface(np.asarray(ball.vertices), np.asarray(ball.faces))
    assert offset_area(shell, thickness) == pytest.approx(4 * pi * (0.3 + thickness) ** 2, rel=1e-3)
    grows = (offset_area(shell, thickness) - shell.whole.area) / thickness
    assert grows == pytest.approx(4 * pi * (2 * 0.3 + thickness), rel=1e-3)


@pytest.mark.parametrize("n", [16, 128])
def test_half_pipe(n):
    """The turn at the inner edges is pi (n - 1)/n: the two outermost half facets do not turn."""
    shell = half_pipe(n)
    more = offset_area(shell, 0.01) - shell.whole.area
    assert more == pytest.approx(0.01 * 0.5 * pi * (n - 1) / n, rel=1e-9)
    assert offset_area(shell, -0.01) - shell.whole.area == pytest.approx(-more, rel=1e-9)


def test_flat_sheet_keeps_its_area():
    assert offset_area(rectangle(1.0, 0.6), 0.01) == pytest.approx(0.6, rel=1e-12)


def test_folded_sheet_and_mixed_winding():
    """A right-angle fold of 1 m gains a quarter cylinder outside; a face wound against the others changes nothing."""
    p = np.array([[0, 0, 0], [1, 0, 0], [1, 0.3, 0], [0, 0.3, 0], [0, 0, -0.2], [1, 0, -0.2]])
    f = np.array([[0, 1, 2], [0, 2, 3], [0, 4, 5], [0, 5, 1]])
    sheet = surface(p, f)
    assert offset_area(sheet, 0.004) == pytest.approx(0.5 + pi / 2 * 0.004, rel=1e-12)
    f[1] = f[1, ::-1]
    assert offset_area(surface(p, f), 0.004) == pytest.approx(0.5 + pi / 2 * 0.004, rel=1e-12)
