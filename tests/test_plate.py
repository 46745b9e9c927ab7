"""Plates: limits, symmetry, superposition, words of errors. Book figures: tests/published/test_timoshenko.py."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles import plate as book
from oracles.plate import edge_moment

from layup.errors import RangeError
from layup.laminate import plate as pl
from layup.laminate.plate_edges import RitzPlate
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness, stack_stiffness

UNIT = np.array([[1, 0.3, 0], [0.3, 1, 0], [0, 0, 0.35]])
STIFF = st.floats(0.2, 5)


def orthotropic(a, b, d11, d22, **shear):
    return pl.SupportedPlate(a, b, d11, 0.1, d22, 0.3, **shear)


@given(a=st.floats(0.3, 3), b=st.floats(0.3, 3), d11=STIFF, d22=STIFF)
def test_turned_plate_is_the_same_plate(a, b, d11, d22):
    one, turned = orthotropic(a, b, d11, d22), orthotropic(b, a, d22, d11)
    args = (0.1, d22, 0.3, 1.0)
    sag = book.supported_sag(a, b, d11, *args)
    assert sag == pytest.approx(book.supported_sag(b, a, d22, 0.1, d11, 0.3, 1.0), rel=1e-9)
    assert book.supported_frequency(one, 2.0) == pytest.approx(book.supported_frequency(turned, 2.0))
    assert book.supported_buckling(one, 1.0, 0.5) == pytest.approx(book.supported_buckling(turned, 0.5, 1.0))


@given(d11=STIFF, d22=STIFF, more=st.floats(1.01, 3))
def test_stiffer_gives_less(d11, d22, more):
    assert book.supported_sag(1.0, 1.2, d11 * more, 0.1, d22, 0.3, 1.0) < book.supported_sag(
        1.0, 1.2, d11, 0.1, d22, 0.3, 1.0
    )
    assert book.clamped_sag_estimate(1.0, 1.2, d11, 0.1, d22, 0.3, 1.0) < book.supported_sag(
        1.0, 1.2, d11, 0.1, d22, 0.3, 1.0
    )


@given(shear=st.floats(0.5, 1e4), m=st.integers(1, 5), n=st.integers(1, 5))
def test_core_shear_softens(shear, m, n):
    solid = orthotropic(1.0, 1.3, 2.0, 1.0).mode(m, n)[0]
    soft = orthotropic(1.0, 1.3, 2.0, 1.0, shear_x=shear, shear_y=shear).mode(m, n)[0]
    assert 0 < soft < solid
    # never stiffer than shear alone would allow
    assert soft < shear * ((m * np.pi) ** 2 + (n * np.pi / 1.3) ** 2)


def test_stiff_core_is_the_solid_plate():
    solid = orthotropic(1.0, 1.3, 2.0, 1.0)
    for shear in ({"shear_x": 1e9, "shear_y": 1e9}, {"shear_x": 1e9, "shear_y": np.inf}):
        near = orthotropic(1.0, 1.3, 2.0, 1.0, **shear)
        assert near.mode(2, 3) == pytest.approx(solid.mode(2, 3), rel=1e-6)


def test_isotropic_sandwich_plate_is_bending_plus_shear():
    # alike both ways, a mode's sag is that of bending plus that of shear (Plantema's and Allen's closed form)
    plate = pl.SupportedPlate(1.0, 1.4, 1.0, 0.3, 1.0, 0.35, shear_x=20.0, shear_y=20.0)
    k2 = np.pi**2 * (1 + 1 / 1.4**2)
    assert 1 / plate.mode(1, 1)[0] == pytest.approx(1 / k2**2 + 1 / (20.0 * k2))


def test_hand_load_and_pressure_add_up():
    plate = orthotropic(1.0, 0.8, 2.0, 1.0)
    hand = {"force": 50.0, "x": 0.3, "y": 0.5, "patch_x": 0.1, "patch_y": 0.1}
    parts = [
        book.supported_response(plate, load, 0.4, 0.4, 30)
        for load in (pl.Load(pressure=7.0), pl.Load(**hand), pl.Load(pressure=7.0, **hand))
    ]
    assert parts[0].deflection + parts[1].deflection == pytest.approx(parts[2].deflection)
    assert parts[0].moment + parts[1].moment == pytest.approx(parts[2].moment)


def test_a_patch_as_big_as_the_plate_is_a_pressure():
    plate = orthotropic(1.0, 0.8, 2.0, 1.0)
    whole = book.supported_response(plate, pl.Load(force=0.8, patch_x=1.0, patch_y=0.8), 0.4, 0.4, 30)
    even = book.supported_response(plate, pl.Load(pressure=1.0), 0.4, 0.4, 30)
    assert whole.deflection == pytest.approx(even.deflection)
    # and a point load at P feels at Q what one at Q makes at P
    p, q = (0.2, 0.3), (0.7, 0.6)
    forth, back = (
        book.supported_response(plate, pl.Load(force=1.0, x=i[0], y=i[1]), *j, 30).deflection
        for i, j in ((p, q), (q, p))
    )
    assert forth == pytest.approx(back)


def test_many_plates_in_one_call():
    d = np.linspace(1, 3, 4)
    plate = pl.SupportedPlate(1.0, 1.5, d, 0.2 * d, 2 * d, 0.3 * d)
    r = book.supported_response(plate, pl.Load(pressure=1.0), 0.5, 0.75, 17)
    assert r.deflection * d == pytest.approx(r.deflection[0] * np.ones(4))
    assert r.moment.shape == (4, 3)
    assert book.supported_buckling(plate, 1.0) / d == pytest.approx(book.supported_buckling(plate, 1.0)[0] * np.ones(4))
    assert book.supported_sag(1.0, 1.5, d, 0.2 * d, 2 * d, 0.3 * d, 1.0) == pytest.approx(r.deflection, rel=1e-6)


def test_kernels_compile_under_numba():
    numba = pytest.importorskip("numba")
    mode = numba.njit(pl.mode_stiffness)
    assert mode(2, 3, 1.0, 1.5, 2.0, 0.3, 1.0, 0.4) == pytest.approx(
        pl.mode_stiffness(2, 3, 1.0, 1.5, 2.0, 0.3, 1.0, 0.4)
    )
    quick = numba.njit(book.clamped_sag_estimate)
    assert quick(1.0, 1.5, 2.0, 0.3, 1.0, 0.4, 5.0) == pytest.approx(
        book.clamped_sag_estimate(1.0, 1.5, 2.0, 0.3, 1.0, 0.4, 5.0)
    )


@pytest.mark.parametrize(("b", "over"), [(1.0, 1.051), (2.0, 1.119), (8.0, 1.31)])
def test_clamped_estimate_is_as_high_as_it_says(b, over):
    true = RitzPlate(1.0, b, UNIT, "CCCC", 18).respond(pl.Load(pressure=1.0)).at(0.5, b / 2).deflection
    assert book.clamped_sag_estimate(1.0, b, 1.0, 0.3, 1.0, 0.35, 1.0) / true == pytest.approx(over, abs=0.01)


# The figures in the docstrings of supported_sag and clamped_sag_estimate: regression values on T300/5208
# plies.
@pytest.mark.parametrize(
    ("angles", "supported", "clamped"),
    [
        ([45, -45] * 4 + [-45, 45] * 4, 0.989, 1.051),
        ([45, 0, -45, 90, 90, -45, 0, 45], 0.908, 1.006),
        ([45, -45, -45, 45], 0.801, 0.922),
    ],
)
def test_what_d16_costs(angles, supported, clamped):
    q = rotated_stiffness(reduced_stiffness(181e9, 10.3e9, 0.28, 7.17e9), np.radians(angles))
    d = stack_stiffness(q, np.full(len(angles), 2e-4)).d
    four = (d[0, 0], d[0, 1], d[1, 1], d[2, 2])
    load = pl.Load(pressure=1.0)
    true = {e: RitzPlate(1.0, 1.0, d, e, 12).respond(load).at(0.5, 0.5).deflection for e in ("SSSS", "CCCC")}
    assert book.supported_sag(1.0, 1.0, *four, 1.0) / true["SSSS"] == pytest.approx(supported, abs=2e-3)
    assert book.clamped_sag_estimate(1.0, 1.0, *four, 1.0) / true["CCCC"] == pytest.approx(clamped, abs=2e-3)


@settings(max_examples=15, deadline=None)
@given(edges=st.sampled_from(["CCCC", "CSCF", "SCSC", "CFFF", "SSFS"]), b=st.floats(0.5, 2))
def test_more_polynomials_never_stiffen(edges, b):
    load = pl.Load(force=1.0, x=0.4, y=b / 3)
    few, many = (RitzPlate(1.0, b, UNIT, edges, n).respond(load).at(0.4, b / 3).deflection for n in (5, 8))
    assert 0 < few <= many * (1 + 1e-9)  # the force's own way is its work
    lower = [RitzPlate(1.0, b, UNIT, edges, n).frequencies(1.0, 3) for n in (5, 8)]
    assert np.all(lower[1] <= lower[0] * (1 + 1e-9))
    assert RitzPlate(1.0, b, UNIT, edges, 8).buckling(nx=1.0) <= RitzPlate(1.0, b, UNIT, edges, 5).buckling(nx=1.0) * (
        1 + 1e-9
    )


def test_cantilever_plate_of_no_poisson_is_a_beam():
    d = np.diag([1.0, 1.0, 0.5])
    bent = RitzPlate(2.0, 0.5, d, "CFFF", 8).respond(pl.Load(pressure=1.0))
    assert bent.at(2.0, 0.25).deflection == pytest.approx(2.0**4 / 8)
    assert edge_moment(bent, 0, 0.25) == pytest.approx(-(2.0**2) / 2)
    turned = RitzPlate(0.5, 2.0, d, "FFFC", 8).respond(pl.Load(pressure=1.0))
    assert turned.at(0.25, 0.0).deflection == pytest.approx(2.0**4 / 8)
    assert edge_moment(turned, 3, 0.25) == pytest.approx(-(2.0**2) / 2)


def test_four_edges_carry_a_patch_off_the_middle():
    # mirrored plate and load, mirrored edge moments; all four ends of edge_moment are in play
    load = pl.Load(force=1.0, x=0.3, y=0.5, patch_x=0.2, patch_y=0.2)
    mirrored = pl.Load(force=1.0, x=0.7, y=0.9, patch_x=0.2, patch_y=0.2)
    one, other = (RitzPlate(1.0, 1.4, UNIT, "CCCC", 12).respond(x) for x in (load, mirrored))
    assert edge_moment(one, 0, 0.5) == pytest.approx(edge_moment(other, 2, 0.9))
    assert edge_moment(one, 1, 0.3) == pytest.approx(edge_moment(other, 3, 0.7))
    swapped = RitzPlate(1.4, 1.0, UNIT, "CCCC", 12).respond(pl.Load(force=1.0, x=0.5, y=0.3, patch_x=0.2, patch_y=0.2))
    assert edge_moment(one, 0, 0.5) == pytest.approx(edge_moment(swapped, 1, 0.5))
    assert edge_moment(one, 3, 0.3) == pytest.approx(edge_moment(swapped, 2, 0.3))


def test_edge_moment_with_twist_coupling():
    # under an even pressure the curvature at a clamped edge converges too, so both ways must meet, D16 and D26 included
    q = rotated_stiffness(reduced_stiffness(25.0, 1.0, 0.25, 0.5), np.radians([20, 65, 65, 20]))
    d = stack_stiffness(q, np.full(4, 1.0)).d
    assert abs(d[0, 2]) > 0.1 * d[0, 0]
    b = 1.2
    bent = RitzPlate(1.0, b, d, "CCCC", 18).respond(pl.Load(pressure=1.0))
    for edge, (x, y) in enumerate([(0.0, 0.4), (0.3, 0.0), (1.0, 0.4), (0.3, b)]):
        direct = bent.at(x, y).moment[edge % 2]
        assert edge_moment(bent, edge, y if edge % 2 == 0 else x) == pytest.approx(direct, rel=5e-3)


def test_tension_cannot_buckle():
    assert book.supported_buckling(orthotropic(1.0, 1.0, 1.0, 1.0), -1.0) == np.inf
    assert RitzPlate(1.0, 1.0, UNIT, "SSSS", 8).buckling(nx=-1.0, ny=-1.0) == np.inf


@pytest.mark.parametrize(
    ("call", "say"),
    [
        (lambda: book.plate_rigidity(7e10, 0.0, 0.3), "thickness"),
        (lambda: pl.SupportedPlate(0.0, 1.0, 1, 0.3, 1, 0.35), "two positive sides"),
        (lambda: pl.SupportedPlate(1.0, 1.0, -1, 0.3, 1, 0.35), "bending stiffness"),
        (lambda: pl.SupportedPlate(1.0, 1.0, 1, 0.3, 1, 0.35, shear_x=0.0), "shear stiffness"),
        (
            lambda: book.supported_response(
                orthotropic(1, 1, 1, 1), pl.Load(force=1, x=0.99, patch_x=0.1), 0.5, 0.5, 5
            ),
            "does not lie on",
        ),
        (lambda: RitzPlate(1.0, 1.0, UNIT, "CCCX"), "four letters"),
        (lambda: RitzPlate(1.0, 1.0, -UNIT), "positive definite"),
        (lambda: RitzPlate(1.0, 1.0, UNIT, "SSSS", 40), "polynomials"),
        (lambda: RitzPlate(1.0, 1.0, UNIT, "SFFF").respond(pl.Load(pressure=1.0)), "do not hold"),
        (lambda: RitzPlate(1.0, 1.0, UNIT, "FFFF").buckling(nx=1.0), "do not hold"),
        (lambda: edge_moment(RitzPlate(1.0, 1.0, UNIT).respond(pl.Load(pressure=1.0)), 0, 0.5), "not clamped"),
        (lambda: RitzPlate(1.0, 1.0, UNIT).frequencies(0.0), "areal weight"),
        (lambda: book.circular_sag(1.0, 1.0, 0.3, "F"), "clamped"),
        (lambda: book.circular_sag(-1.0, 1.0, 0.3, "C"), "radius"),
        (lambda: book.circular_frequency(1.0, 1.0, 0.3, "F", 1.0), "clamped"),
        (lambda: book.circular_frequency(1.0, 1.0, 0.3, "C", 0.0), "areal weight"),
    ],
)
def test_errors_say_what_is_wrong(call, say):
    with pytest.raises(RangeError, match=say):
        call()
