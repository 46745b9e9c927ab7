"""Shells by finite elements, as `layup choose` calls them, against published ones; all values from memory.

- Scordelis & Lo, ACI J. 61 (1969): roof of R 25, L 50, 80 degrees, t 0.25, on diaphragms, own weight 90; the middle of
  its free edge goes down by 0.3024 (the value MacNeal & Harder, Finite Elem. Anal. Des. 1 (1985) 3, hold elements to).
- Pinched cylinder, R 300, L 600, t 3, end diaphragms, two opposite loads of one: 1.8248e-5 (Lindberg, Olson & Cowper
  1969; Belytschko et al. 1985).
- Levy, NACA Rep. 737, 1942, a supported square under pressure whose edges may move: q a^4/(E t^4) = 29.4 goes to
  0.962 t, 247 to 2.742 t. His edges stay straight, ours are held along themselves, which is worth the 4 %.
- Levy, NACA TN 847, 1942, the same clamped: 95 goes to 0.912 t, 402 to 1.902 t (a short series: 3 %).
- A clamped arch under pressure: Timoshenko & Gere, Theory of Elastic Stability, 1961, art. 7.6.
- Pushed along its axis: N = E t^2/(R (3 (1 - nu^2))^(1/2)), Timoshenko & Gere, Theory of Elastic Stability, 1961. With
  the edges' own bulge counted a cylinder reaches 0.82 to 0.92 of that (Stein, NASA TR R-190, 1964).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pytest import approx

from layup.laminate.curved_panel import CurvedPanel
from layup.laminate.panel import build_panel
from layup.laminate.shallow_shell import ShallowShell


def sheet(e, nu, t):
    """D and A of an even sheet."""
    shape = e / (1 - nu**2) * np.array([1.0, nu, 1.0, 0.0, 0.0, (1 - nu) / 2])
    return shape * t**3 / 12, shape * t


def quarter(radius, length, angle, n):
    """Cylinder x 0 to length/2, angle from its crown; on a diaphragm at x = 0, on planes of symmetry elsewhere."""
    u, v = (w.ravel() for w in np.meshgrid(*[np.linspace(0, 1, 2 * n + 1)] * 2, indexing="ij"))
    points = np.column_stack([u * length / 2, radius * np.sin(v * angle), radius * np.cos(v * angle)])
    i, j = (w.ravel() for w in np.meshgrid(*[np.arange(0, 2 * n, 2)] * 2, indexing="ij"))

    def at(a, b):
        return (i + a) * (2 * n + 1) + j + b

    halves = ((0, 0), (2, 0), (2, 2), (1, 0), (2, 1), (1, 1)), ((0, 0), (2, 2), (0, 2), (1, 1), (1, 2), (0, 1))
    cells = [np.stack([at(*p) for p in six], axis=1) for six in halves]
    moves, tips = np.zeros((2, len(u), 3, 3)) + np.eye(3)
    for of, where, way in ((moves, u == 0, 1), (moves, u == 0, 2), (moves, u == 1, 0), (tips, u == 1, 0),
                           (moves, v == 0, 1), (tips, v == 0, 1)):  # fmt: skip
        of[where, way, way] = 0.0
    if angle > 1.5:
        moves[v == 1, 2, 2] = tips[v == 1, 2, 2] = 0.0
    shell = CurvedPanel(points, np.concatenate(cells), moves, tips, np.zeros((5 * len(u), 3)))
    return shell, u, v


@pytest.mark.parametrize(("n", "within"), [(8, 0.01), (12, 0.004)])
def test_scordelis_and_lo(n, within):
    shell, u, v = quarter(25.0, 50.0, np.radians(40), n)
    moved = shell.moved(shell.even(weight=(0.0, 0.0, -90.0)), *sheet(4.32e8, 0.0, 0.25))
    assert shell.sag(moved)[(u == 1) & (v == 1)][0] == approx(-0.3024, rel=within)


def test_pinched_cylinder():
    shell, u, v = quarter(300.0, 600.0, np.pi / 2, 14)
    at = int(np.flatnonzero((u == 1) & (v == 0))[0])
    load = np.zeros(5 * len(u))
    load[2 * len(u) + at] = -1 / 4
    assert shell.sag(shell.moved(load, *sheet(3e6, 0.3, 3.0)))[at] == approx(-1.8248e-5, rel=0.01)


@pytest.mark.parametrize(
    ("support", "load", "sag", "within"),
    [("simple", 29.4, 0.962, 0.04), ("simple", 247, 2.742, 0.04), ("clamped", 95, 0.912, 0.03),
     ("clamped", 402, 1.902, 0.03)],
)  # fmt: skip
def test_large_deflection_of_a_square(support, load, sag, within):
    a, t, e = 0.3, 1e-3, 70e9
    panel = build_panel(shapely.box(0, 0, a, a), support, count=100)
    shell = CurvedPanel.over(panel, np.zeros(panel.nodes))
    own = sheet(e, 0.1**0.5, t)
    pressure = shell.even(load * e * t**4 / a**4)
    states = shell.bent(pressure, *own, steps=(0.3, 1.0))
    assert np.abs(shell.sag(states[-1])).max() / t == approx(sag, rel=within)
    assert np.abs(shell.sag(shell.moved(pressure, *own))).max() / t > 1.25 * sag  # what the straight line says


def test_a_clamped_arch_snaps_through_where_it_should():
    """Against its rise it goes sideways at (k^2 - 1) E t^3/(12 R^3), tan(k a) = k tan a; with its rise never."""
    span, rise, t, e = 0.3, 8e-3, 1e-3, 70e9
    panel = build_panel(shapely.box(0, 0, span, span), {"left": "clamped", "right": "clamped"}, count=80)
    x, _ = panel.basis.doflocs
    shell = CurvedPanel.over(panel, rise * (1 - (2 * x / span - 1) ** 2))
    radius = span**2 / 8 / rise
    k = 4.4934 / (span / 2 / radius)
    load = shell.even((k**2 - 1) * e * t**3 / 12 / radius**3)
    own = sheet(e, 0.3, t)
    assert len(shell.bent(load, *own)) == 2
    assert len(shell.bent(-load, *own, steps=(0.85, 1.15))) == 1


def test_pushed_along_its_axis_and_knocked_down():
    radius, t = 0.3, 1e-3
    own = sheet(70e9, 0.3, t)
    panel = build_panel(shapely.box(0, 0, 0.3, 0.25), "simple", count=300)
    y = panel.basis.doflocs[1]
    shell = CurvedPanel.over(panel, radius * np.cos((y - 0.125) / radius))
    classical = 70e9 * t**2 / radius / np.sqrt(3 * (1 - 0.3**2))
    factor = shell.buckling((1.0, 0.0, 0.0), *own)[0] / classical
    assert 0.82 < factor < 1.0
    flat = CurvedPanel.over(panel, np.zeros(panel.nodes))
    left = shell.knocked_down((1.0, 0.0, 0.0), *own) / classical
    assert flat.buckling((1.0, 0.0, 0.0), *own)[0] / classical < left
    assert left == approx(0.404, rel=0.1)  # SP-8007 at R/t = 300, of the classical load
    assert flat.knocked_down((1.0, 0.0, 0.0), *own) == approx(flat.buckling((1.0, 0.0, 0.0), *own)[0], rel=1e-3)


def test_a_gentle_curve_is_the_sum_over_sines():
    own = sheet(70e9, 0.3, 1e-3)
    panel = build_panel(shapely.box(0, 0, 0.4, 0.3), "simple", count=300)
    y = panel.basis.doflocs[1]
    shell, sines = CurvedPanel.over(panel, -0.35 * (y - 0.15) ** 2), ShallowShell(0.4, 0.3, 0.0, 0.7)
    d, a = own[0][None], own[1][None]
    assert shell.mean_sag(*own) == approx(float(sines.mean_sag(d, a)[0]), rel=0.01)
    assert shell.buckling((1.0, 0.0, 0.0), *own)[0] == approx(float(sines.buckling(d, a, 1.0)[0]), rel=0.02)
    assert shell.knocked_down((1.0, 0.0, 0.0), *own) == approx(float(sines.knocked_down(d, a, 1.0)[0]), rel=0.02)
