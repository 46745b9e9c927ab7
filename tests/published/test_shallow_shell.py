"""Shallow curved panels against published relations, all from memory.

- Flat: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, table 8 (0.00406 in the middle),
  Navier.
- Pushed along its axis, narrow: k = 4 + 3 Z^2/pi^4, Z = b^2 (1 - nu^2)^(1/2)/(R t), Gerard & Becker, NACA TN 3783,
  1957.
- Pushed along its axis, wide: N = E t^2/(R (3 (1 - nu^2))^(1/2)), Timoshenko & Gere, Theory of Elastic Stability, 1961.
- Knock-down: NASA SP-8007, 1968: 1 - 0.901 (1 - e^(-sqrt(R/t)/16)); R/t = 500 gives 0.32, 1000 gives 0.22.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pytest import approx

from layup.errors import RangeError
from layup.laminate.curved_panel import CurvedPanel, heights_over
from layup.laminate.panel import build_panel
from layup.laminate.shallow_shell import ShallowShell, curvature_of, cylinder_knock_down

E, NU, T = 70e9, 0.3, 1e-3
SHAPE = np.array([1.0, NU, 1.0, 0.0, 0.0, (1 - NU) / 2])
D = E * T**3 / 12 / (1 - NU**2) * SHAPE
A = E * T / (1 - NU**2) * SHAPE


def test_flat_it_is_naviers_plate():
    mean = ShallowShell(0.4, 0.4, 0.0, 0.0).mean_sag(D[None], A[None])[0]
    # the sum over sines of 64/(pi^4 m^2 n^2) over pi^4 (m^2 + n^2)^2/a^4, written out
    m = np.arange(1, 400, 2)
    want = (64 / np.pi**8 / (m[:, None] * m) ** 2 / (m[:, None] ** 2 + m**2) ** 2).sum() * 0.4**4 / D[0]
    assert mean == approx(want, rel=1e-4)


@pytest.mark.parametrize("radius", [2.0, 5.0, 20.0])
def test_narrow_curved_panel_pushed_along_its_axis(radius):
    b = 0.1
    z = b * b * np.sqrt(1 - NU**2) / (radius * T)
    got = ShallowShell(0.4, b, 0.0, 1 / radius).buckling(D[None], A[None], 1.0)[0]
    assert got == approx((4 + 3 * z**2 / np.pi**4) * np.pi**2 * D[0] / b**2, rel=1e-6)


def test_wide_curved_panel_is_a_cylinder():
    radius = 0.3
    got = ShallowShell(0.3, 0.25, 0.0, 1 / radius).buckling(D[None], A[None], 1.0)[0]
    assert got == approx(E * T * T / radius / np.sqrt(3 * (1 - NU**2)), rel=0.03)  # whole waves come near it


def test_knock_down():
    assert cylinder_knock_down(0.5, 1e-3) == approx(0.322, abs=0.002)
    assert cylinder_knock_down(1.0, 1e-3) == approx(0.224, abs=0.002)
    with pytest.raises(RangeError, match="1500"):
        cylinder_knock_down(2.0, 1e-3)


def test_a_limit_holds_for_every_layup_and_is_sharp_at_its_own():
    shell = ShallowShell(0.4, 0.3, 0.0, 0.5)
    rng = np.random.default_rng(1)
    own = shell.mean_sag(D[None], A[None])[0]
    g, r, _ = shell.limit(D, A, own)
    assert g @ np.concatenate([D, A]) == approx(r, rel=1e-9)
    for _ in range(50):
        d, a = D * rng.uniform(0.2, 5), A * rng.uniform(0.2, 5)
        d[2], a[0] = d[2] * rng.uniform(0.5, 2), a[0] * rng.uniform(0.5, 2)
        g, r, _ = shell.limit(D, A, shell.mean_sag(d[None], a[None])[0])
        assert g @ np.concatenate([d, a]) >= r * (1 - 1e-9)


def test_curvature_of_a_cylinder():
    x, y = np.meshgrid(np.linspace(0, 0.4, 21), np.linspace(-0.1, 0.1, 21))
    z = np.sqrt(2.0**2 - y**2)
    found = curvature_of(np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1), np.ones(x.size))
    assert found == approx((0.0, -0.5, 0.0), abs=1e-3)


def test_a_sandwich_that_beats_the_flat_sheet_loses_when_both_are_curved():
    """0.8 mm aluminium against 93 g carbon, 5 mm foam, 93 g: stiffer flat, weaker from some millimetres of rise on."""
    t = 0.8e-3
    sheet = 72.4e9 * t / 0.891 * np.array([1.0, 0.33, 1.0, 0.0, 0.0, 0.335])
    old_d, old_a = sheet * t**2 / 12, sheet
    skin = 2 * 0.1e-3 * np.array([50e9, 2.5e9, 50e9, 0.0, 0.0, 3.5e9])
    new_d, new_a = skin * (5.1e-3 / 2) ** 2, skin
    times = []
    for rise in (0.0, 0.003, 0.008, 0.015):
        shell = ShallowShell(0.4, 0.25, 0.0, 8 * rise / 0.25**2)
        times.append(shell.mean_sag(old_d[None], old_a[None])[0] / shell.mean_sag(new_d[None], new_a[None])[0])
    assert times[0] > 5
    assert times == sorted(times, reverse=True)
    assert times[-1] < 0.5


@pytest.mark.parametrize(("kx", "ky"), [(0.0, 0.0), (0.0, 0.7), (0.5, 0.7), (-0.5, 0.7)])
def test_finite_elements_of_the_surface_find_the_same(kx, ky):
    """The sum over sines is exact for an edge held along itself that may slide across; rises of 8 mm on 300, 1 %."""
    a, b = 0.4, 0.3
    panel = build_panel(shapely.box(0, 0, a, b), "simple")
    x, y = panel.basis.doflocs
    heights = -(kx * (x - a / 2) ** 2 + ky * (y - b / 2) ** 2) / 2
    want = ShallowShell(a, b, kx, ky).mean_sag(D[None], A[None])[0]
    assert CurvedPanel.over(panel, heights).mean_sag(D, A) == approx(want, rel=0.01)
    grid = np.stack(np.meshgrid(np.linspace(0, a, 60), np.linspace(0, b, 50)), axis=-1).reshape(-1, 2)
    rise = -(kx * (grid[:, 0] - a / 2) ** 2 + ky * (grid[:, 1] - b / 2) ** 2) / 2
    assert heights_over(panel, np.column_stack([grid, rise])) == approx(heights, abs=1e-4)
