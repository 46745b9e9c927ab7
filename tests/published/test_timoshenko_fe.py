"""Finite elements: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (values from memory).

nu = 0.3, sides 1 by b, even pressure. Where print is known to be a digit low, the recomputed exact value of
tests/published/test_timoshenko.py is used. The panel is the one `layup choose` takes, on its usual mesh.
"""

import numpy as np
import pytest
import shapely
from pytest import approx

from layup.laminate.panel import PanelLoad, build_panel, matrix_of
from layup.laminate.panel_model import PanelModel

UNIT = np.array([1.0, 0.3, 1.0, 0.0, 0.0, 0.35])


def solved(b, supports, load=None, pushed=()):
    panel = build_panel(shapely.box(0, 0, 1, b), supports)
    model = PanelModel.draw(panel, [load or PanelLoad("p", pressure=1.0)], UNIT[None], pushed)
    return model, model.respond(UNIT[None])


# Table 8 (simply supported) and table 35 (clamped): w = alpha q a^4/D. One per cent, and half a digit of the print.
@pytest.mark.parametrize(
    ("b", "supports", "alpha"),
    [
        (1.0, "simple", 0.00406),
        (1.5, "simple", 0.00772),
        (2.0, "simple", 0.01013),
        (1.0, "clamped", 0.001265),
        (1.4, "clamped", 0.00207),
        (2.0, "clamped", 0.00254),
    ],
)
def test_deflection_under_pressure(b, supports, alpha):
    model, amounts = solved(b, supports)
    assert model.greatest_sag(amounts)[0, 0] == approx(alpha, rel=0.01, abs=5e-6)


# Table 8: Mx = .0479 q a^2 in the middle; table 35: -.0513 at the edge. The mean of the triangles there: 1 % and 6 %.
def test_moments():
    for supports, want, within in (("simple", 0.0479, 0.01), ("clamped", -0.0513, 0.06)):
        model, amounts = solved(1.0, supports)
        bent = np.einsum("pib,b->pi", model.bend, amounts[0, :, 0])
        moment = (bent @ matrix_of(UNIT).T)[:, 0]
        assert (moment.max() if want > 0 else moment.min()) == approx(want, rel=within)


# Table 23: w = alpha P a^2/D under a force in the middle, .01160 for a square. A patch of 2 % of the side: 1.5 %.
def test_force_in_the_middle():
    model, amounts = solved(1.0, "simple", PanelLoad("hand", force=1.0, at=(0.5, 0.5), size=(0.02, 0.02)))
    assert model.greatest_sag(amounts)[0, 0] == approx(0.01160, rel=0.015)


# Leissa, J. Sound Vib. 31 (1973) 257 (from memory): omega a^2 sqrt(m/D) = 19.7392 (SSSS), 35.992 (CCCC), square.
@pytest.mark.parametrize(("supports", "omega"), [("simple", 19.7392), ("clamped", 35.992)])
def test_lowest_frequency(supports, omega):
    model, _ = solved(1.0, supports)
    assert model.frequencies(UNIT[None], np.ones(1))[0][0] * 2 * np.pi == approx(omega, rel=0.01)


# Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory): N = 4 pi^2 D/b^2, square, pushed one way.
def test_buckling_of_a_square():
    model, _ = solved(1.0, "simple", pushed=[(1.0, 0.0, 0.0)])
    assert model.factors(UNIT[None], 1.0)[0][0] == approx(4 * np.pi**2, rel=0.01)
