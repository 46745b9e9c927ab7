"""Panels whose core gives in shear, by finite elements, against published plates.

Sources, all values from memory unless a page is named:
- Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959: clamped square, 0.00126 q a^4/D.
- Leissa, J. Sound Vib. 31 (1973) 257: clamped square, 35.99 (D/rho h)^(1/2)/a^2.
- Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961: k = 10.07 clamped, 9.34 and 14.71 in shear.
- Timoshenko & Goodier, Theory of Elasticity: a stretched square skin, 0.0737 q a^2/S in the middle.
- Allen, Analysis and Design of Structural Sandwich Panels, 1969: bending and shear of a supported sandwich add up
  where both skins are alike in all directions; one wave buckles at D k^4/(1 + D k^2/S).
- Navier's sum with both turns of the sections (Whitney, Structural Analysis of Laminated Anisotropic Plates, 1987):
  exact for
  a supported rectangle of any D11, D12, D22, D66 and S. It is `layup.laminate.plate.SupportedPlate`, itself held
  against Pagano's and Reddy's tables in test_pagano_reddy.py.
Tolerance: one per cent, which is what the answer of `layup choose` may be off by, where nothing else is said.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from oracles.plate import supported_buckling, supported_frequency, supported_response
from pytest import approx

from layup.laminate.panel import PanelLoad, build_panel
from layup.laminate.panel_model import PanelModel
from layup.laminate.plate import Load, SupportedPlate

A = 0.4
PRESS = PanelLoad("pressure", pressure=1000.0)
ALIKE = np.array([10.0, 3.0, 10.0, 0.0, 0.0, 3.5])
UNLIKE = np.array([28.0, 1.0, 6.0, 0.0, 0.0, 1.5])


@pytest.fixture(scope="module")
def panels():
    return {name: build_panel(shapely.box(0, 0, A, A), name) for name in ("simple", "clamped")}


def drawn(panel, terms, loads=(PRESS,), pushed=((1.0, 0.0, 0.0), (0.0, 0.0, 1.0))):
    model = PanelModel.draw(panel, list(loads), np.asarray(terms)[None], pushed)
    return model, model.respond(np.asarray(terms)[None])


def test_solid_clamped_square(panels):
    model, amounts = drawn(panels["clamped"], ALIKE)
    assert model.greatest_sag(amounts)[0, 0] == approx(0.00126532 * 1000 * A**4 / 10, rel=0.01)
    hertz = model.frequencies(ALIKE[None], np.array([2.0]))[0][0]
    assert hertz * 2 * np.pi * A**2 * np.sqrt(2.0 / 10) == approx(35.985, rel=0.01)
    scale = np.pi**2 * 10 / A**2
    assert model.factors(ALIKE[None], 1.0)[0][0] / scale == approx(10.07, rel=0.01)
    assert model.factors(ALIKE[None], 0, 0, 1.0)[0][0] / scale == approx(
        14.64, rel=0.012
    )  # 14.71 as printed is 0.5 % high


def test_solid_supported_square(panels):
    model, amounts = drawn(panels["simple"], ALIKE)
    assert model.greatest_sag(amounts)[0, 0] == approx(0.00406 * 1000 * A**4 / 10, rel=0.01)
    scale = np.pi**2 * 10 / A**2
    assert model.factors(ALIKE[None], 1.0)[0][0] / scale == approx(4.0, rel=0.01)
    assert model.factors(ALIKE[None], 0, 0, 1.0)[0][0] / scale == approx(9.325, rel=0.01)


@pytest.mark.parametrize("shear", [300.0, 3e3, 3e4])
def test_a_supported_sandwich_adds_bending_and_shear(panels, shear):
    """Down to a core that gives more than the skins bend."""
    terms = np.append(ALIKE, shear)
    model, amounts = drawn(panels["simple"], terms)
    want = 0.0040624 * 1000 * A**4 / 10 + 0.07367 * 1000 * A**2 / shear
    assert model.greatest_sag(amounts)[0, 0] == approx(want, rel=0.01)
    wave = 2 * (np.pi / A) ** 2
    one = 10 * wave**2 / (1 + 10 * wave / shear) / (np.pi / A) ** 2
    assert model.factors(terms[None], 1.0)[0][0] <= one * 1.01  # short waves may buckle a soft core sooner
    stiff = supported_buckling(SupportedPlate(A, A, 10, 3, 10, 3.5, shear, shear), 1.0)
    assert model.factors(terms[None], 1.0)[0][0] == approx(float(stiff), rel=0.02)


@pytest.mark.parametrize("shear", [1e3, 1e4, 1e5])
def test_unlike_both_ways_on_a_soft_core(panels, shear):
    """The sum of a bent plate and a sheared core came out 15 to 24 % low here."""
    terms = np.append(UNLIKE, shear)
    plate = SupportedPlate(A, A, 28, 1, 6, 1.5, shear, shear)
    patch = PanelLoad("hand", force=100.0, size=(0.06, 0.06))
    model, amounts = drawn(panels["simple"], terms, (PRESS, patch))
    even = supported_response(plate, Load(pressure=1000.0), A / 2, A / 2)
    assert model.greatest_sag(amounts)[0, 0] == approx(float(even.deflection), rel=0.01)
    hand = supported_response(plate, Load(force=100.0, patch_x=0.06, patch_y=0.06), A / 2, A / 2)
    assert model.greatest_sag(amounts)[0, 1] == approx(float(hand.deflection), rel=0.03)  # read at the nearest corner
    hertz = model.frequencies(terms[None], np.array([2.0]))[0][0]
    assert hertz == approx(float(supported_frequency(plate, 2.0)), rel=0.01)
    bent = np.einsum("pib,b->pi", model.bend, amounts[0, :, 0])
    places = model.panel.reading @ model.panel.mesh.points
    at = int(np.argmin(np.hypot(*(places - A / 2).T)))
    assert bent[at, :2] == approx(even.curvature[:2], rel=0.02)


def test_core_shear_force_at_the_edge_of_a_supported_square(panels):
    """Timoshenko table 8: greatest edge shear 0.338 q a for a square; it does not depend on the core (from memory)."""
    terms = np.append(ALIKE, 3e3)
    model, amounts = drawn(panels["simple"], terms)
    assert model.shear_force(amounts, np.array([3e3]))[0, 0] == approx(0.338 * 1000 * A, rel=0.005)


def test_stress_read_does_not_hang_on_the_mesh():
    """A laminate that twists as it bends: its reserve read 1.18, 0.79, 0.52 on finer and finer meshes."""
    twisting = np.array([6.0, 3.0, 6.0, 2.0, 2.0, 3.2])
    most = []
    for count in (400, 800, 1600):
        panel = build_panel(shapely.box(0, 0, A, A), "simple", count=count)
        model, amounts = drawn(panel, twisting, pushed=())
        most.append(np.abs(np.einsum("pib,b->pi", model.bend, amounts[0, :, 0])).max())
    assert max(most) / min(most) < 1.08


def test_a_round_panel_is_not_held_by_its_corners():
    """The supported disc, q a^4 (5 + nu)/(64 (1 + nu) D): chords whose ends may not turn would stiffen it."""
    disc = shapely.Point(0, 0).buffer(0.2, quad_segs=24)
    model, amounts = drawn(build_panel(disc, "simple"), ALIKE, pushed=())
    want = 1000 * 0.2**4 / 64 / 10 * 5.3 / 1.3
    assert model.greatest_sag(amounts)[0, 0] == approx(want, rel=0.01)
