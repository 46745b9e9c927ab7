"""Joints against published relations and whole solutions of the same equations.

- Goland & Reissner, J. Appl. Mech. 11 (1944) A17: k falls from 1 to 0.26 as the lap bends (from memory); shear and peel
  of a lap, against the beams and the glue written out as boundary-value problems and solved by scipy.
- Volkersen, Luftfahrtforschung 15 (1938) 41: (wl/2) coth(wl/2) for adherends alike (from memory).
- Hart-Smith, NASA CR-144899, 1976: elastic concentration of a loaded hole (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_bvp

from layup.errors import RangeError
from layup.laminate.joints import (
    bearing_stress,
    insert_stress,
    lap_stresses,
    net_section_stress,
    pull_through_stress,
    shear_of_lap,
    shear_out_stress,
)

E, T, LAP, GLUE, SHEAR, STIFF = 60e9, 1.5e-3, 25e-3, 0.2e-3, 1.0e9, 2.8e9


def test_volkersen_of_adherends_alike():
    wl = np.sqrt(SHEAR / GLUE * 2 / (E * T)) * LAP
    mean = 50e3 / LAP
    assert shear_of_lap(50e3, LAP, E * T, E * T, SHEAR, GLUE) == approx(mean * wl / 2 / np.tanh(wl / 2), rel=1e-12)
    assert shear_of_lap(50e3, LAP, 1e12, 1e12, SHEAR, GLUE) == approx(mean, rel=0.01)  # rigid: the mean


@pytest.mark.parametrize("ratio", [1.0, 3.0])
def test_shear_of_a_braced_lap_is_that_of_its_equation(ratio):
    """tau'' = w^2 tau, tau' = G/eta P/(E t) at the ends: the strains of the two adherends there."""
    load, s1, s2 = 50e3, E * T, ratio * E * T
    w2 = SHEAR / GLUE * (1 / s1 + 1 / s2) * LAP**2  # in laps, and in mean stresses
    slope = SHEAR / GLUE * LAP**2
    x = np.linspace(0, 1, 401)
    found = solve_bvp(
        lambda _, y: np.stack([y[1], w2 * y[0]]),
        lambda a, b: np.array([a[1] + slope / s1, b[1] - slope / s2]),
        x,
        np.ones((2, x.size)),
        tol=1e-8,
    )
    mean = load / LAP
    assert shear_of_lap(load, LAP, s1, s2, SHEAR, GLUE) == approx(mean * np.abs(found.y[0]).max(), rel=1e-5)


def test_goland_and_reissner():
    """Peel: D w'''' = -2 Ea/eta w of the two beams apart, moment k P t/2 at both ends, growing inwards by its shear."""
    load, c = 60e3, LAP / 2
    shear, peel = lap_stresses(load, LAP, E, T, (SHEAR, STIFF), GLUE)
    bends = c / T * np.sqrt(3 * load / T / E)
    k = 1 / (1 + 2 * 2**0.5 * np.tanh(bends / 2**0.5))
    assert 0.26 < k < 1
    bend = E * T**3 / 12
    moment, across = k * load * T / 2, k * load * np.sqrt(3 * load / T / E)
    x = np.linspace(0, 1, 601)  # in half laps; w in moment c^2/D
    bed = 2 * STIFF / GLUE / bend * c**4
    found = solve_bvp(
        lambda _, y: np.stack([y[1], y[2], y[3], -bed * y[0]]),
        lambda a, b: np.array([a[1], a[3], b[2] - 1, b[3] + across * c / moment]),
        x,
        np.zeros((4, x.size)),
        tol=1e-6,
        max_nodes=20_000,
    )
    assert peel == approx(STIFF / GLUE * moment * c**2 / bend * abs(found.y[0, -1]), rel=0.02)
    small, _ = lap_stresses(1e-6, LAP, E, T, (SHEAR, STIFF), GLUE)
    beta = np.sqrt(8 * SHEAR * T / (E * GLUE)) * c / T
    assert small / (1e-6 / LAP) == approx(beta / np.tanh(beta), rel=1e-3)  # k = 1: no bend yet
    assert shear > 60e3 / LAP


def test_a_bolt_by_hand():
    """1 kN on 5 mm in 1.5 mm: 133 MPa; e = 3 d, w = 4 d: elastic k = 3.65 at theta 0.83, felt as 1.66."""
    assert bearing_stress(1e3, 5e-3, 1.5e-3) == approx(133.3e6, rel=1e-3)
    assert shear_out_stress(1e3, 15e-3, 1.5e-3) == approx(22.2e6, rel=2e-3)
    theta = 1.5 - 0.5 * 20 / 15
    k = 2 + 3 - 1.5 * 3 / 5 * theta
    assert net_section_stress(1e3, 5e-3, 1.5e-3, 20e-3, 15e-3) == approx((1 + 0.25 * (k - 1)) * 1e3 / 15e-3 / 1.5e-3)
    assert pull_through_stress(500.0, 10e-3, 1.5e-3) == approx(10.6e6, rel=2e-3)
    assert insert_stress(500.0, 20e-3, 10e-3) == approx(0.796e6, rel=1e-3)
    with pytest.raises(RangeError, match="leaves nothing"):
        net_section_stress(1.0, 5e-3, 1e-3, 4e-3, 15e-3)
