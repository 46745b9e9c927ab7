"""Finite elements: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (values from memory).

nu = 0.3, sides 1 by b, even pressure. Where print is known to be a digit low, the recomputed exact value of
tests/published/test_timoshenko.py is used. Morley's triangle: the error falls with the square of the step.
"""

import numpy as np
import pytest
from pytest import approx

from layup.laminate.panel import PanelLoad, build_panel

NU = 0.3
UNIT = np.array([[1, NU, 0], [NU, 1, 0], [0, 0, (1 - NU) / 2]])


def solved(b, supports, count, load=None):
    import shapely

    panel = build_panel(shapely.box(0, 0, 1, b), supports, count=count)
    found = panel.solve(UNIT, panel.load_vector(load or PanelLoad("p", pressure=1.0))[:, None])
    return panel, found


# Table 8 (simply supported) and table 35 (clamped): w = alpha q a^4/D. 2000 triangles: 1 % and 2.5 %.
@pytest.mark.parametrize(
    ("b", "supports", "alpha", "within"),
    [
        (1.0, "simple", 0.00406, 0.01),
        (1.5, "simple", 0.00772, 0.01),
        (2.0, "simple", 0.01013, 0.01),
        (1.0, "clamped", 0.00126, 0.025),
        (1.4, "clamped", 0.00207, 0.025),
        (2.0, "clamped", 0.00254, 0.025),
    ],
)
def test_deflection_under_pressure(b, supports, alpha, within):
    panel, found = solved(b, supports, 2000)
    assert panel.deflection(found).max() == approx(alpha, rel=within)


@pytest.mark.parametrize(("supports", "exact"), [("simple", 0.00406235), ("clamped", 0.00126532)])
def test_convergence_order(supports, exact):
    """The slope of log error over log step is 2 for this element; 1.6 to 2.6 allows for uneven triangles."""
    steps, errors = [], []
    for count in (250, 1000, 4000):
        panel, found = solved(1.0, supports, count)
        steps.append(1 / np.sqrt(len(panel.mesh.triangles)))
        errors.append(abs(panel.deflection(found).max() / exact - 1))
    slope = np.polyfit(np.log(steps), np.log(errors), 1)[0]
    assert 1.6 < slope < 2.6
    assert errors[-1] < 0.01


# Table 8: Mx = .0479 q a^2 in the middle; table 35: -.0513 at the edge. Constant in a triangle: 1 % and 6 %.
def test_moments():
    panel, found = solved(1.0, "simple", 2000)
    moment = np.einsum("ij,pj->pi", UNIT, panel.curvature_at_corners(found)[:, :, 0])
    assert moment[:, 0].max() == approx(0.0479, rel=0.01)
    panel, found = solved(1.0, "clamped", 2000)
    moment = np.einsum("ij,pj->pi", UNIT, panel.curvature_at_corners(found)[:, :, 0])
    assert moment[:, 0].min() == approx(-0.0513, rel=0.06)


# Table 23: w = alpha P a^2/D under a force in the middle, .01160 for a square. A patch of 2 % of the side: 1.5 %.
def test_force_in_the_middle():
    load = PanelLoad("hand", force=1.0, at=(0.5, 0.5), size=(0.02, 0.02))
    panel, found = solved(1.0, "simple", 3000, load)
    assert panel.deflection(found).max() == approx(0.01160, rel=0.015)


# Leissa, J. Sound Vib. 31 (1973) 257 (from memory): omega a^2 sqrt(m/D) = 19.7392 (SSSS), 35.992 (CCCC), square.
@pytest.mark.parametrize(("supports", "omega"), [("simple", 19.7392), ("clamped", 35.992)])
def test_lowest_frequency(supports, omega):
    panel, _ = solved(1.0, supports, 2000)
    assert panel.frequency(UNIT, 1.0)[0] * 2 * np.pi == approx(omega, rel=0.015)


# Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory): N = 4 pi^2 D/b^2, square, pushed one way.
def test_buckling_of_a_square():
    panel, _ = solved(1.0, "simple", 2000)
    assert panel.buckling(UNIT, 1.0)[0] == approx(4 * np.pi**2, rel=0.015)
