"""Failure criteria by name: what they share, where they part, what they need. Book figures:
tests/published/test_kaw.py.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles import strength as book

from layup.errors import RangeError
from layup.laminate import strength as fs

PLY = fs.Allowables(xt=1500e6, xc=1200e6, yt=40e6, yc=200e6, s=70e6)
MODULI = (130e9, 9e9, 0.3, 4.5e9)
STRESS = st.tuples(st.floats(-2e9, 2e9), st.floats(-3e8, 3e8), st.floats(-2e8, 2e8)).filter(
    lambda s: max(map(abs, s)) > 1e3
)


@pytest.mark.parametrize("criterion", fs.CRITERIA)
@given(stress=STRESS, factor=st.floats(0.01, 100))
def test_twice_the_load_is_half_the_reserve(criterion, stress, factor):
    one = fs.reserve_factor(criterion, stress, PLY, MODULI)
    assert fs.reserve_factor(criterion, np.array(stress) * factor, PLY, MODULI) * factor == pytest.approx(one, rel=1e-6)
    assert one > 0


@pytest.mark.parametrize("criterion", fs.CRITERIA)
@given(stress=STRESS)
def test_the_sign_of_shear_does_not_matter_in_the_axes_of_the_ply(criterion, stress):
    mirrored = np.array(stress) * [1, 1, -1]
    assert fs.reserve_factor(criterion, mirrored, PLY, MODULI) == pytest.approx(
        fs.reserve_factor(criterion, stress, PLY, MODULI)
    )


@pytest.mark.parametrize("criterion", fs.CRITERIA)
@pytest.mark.parametrize(("at", "sign", "name"), [(0, 1, "xt"), (1, 1, "yt"), (2, 1, "s"), (2, -1, "s")])
def test_one_stress_alone_fails_at_its_strength(criterion, at, sign, name):
    stress = np.zeros(3)
    stress[at] = sign * 1e6
    # with no Poisson's strain of the other direction in play, all criteria agree
    assert fs.reserve_factor(criterion, stress, PLY, MODULI) == pytest.approx(getattr(PLY, name) / 1e6)


@pytest.mark.parametrize("criterion", ["max stress", "modified Tsai-Hill", "Tsai-Wu"])
@pytest.mark.parametrize(("at", "name"), [(0, "xc"), (1, "yc")])
def test_compression_alone_fails_at_its_strength(criterion, at, name):
    stress = np.zeros(3)
    stress[at] = -1e6
    assert fs.reserve_factor(criterion, stress, PLY, MODULI) == pytest.approx(getattr(PLY, name) / 1e6)


def test_tsai_hill_does_not_know_compression():
    # the trap: pushed across, five times as strong, and Tsai-Hill still says Yt
    assert fs.reserve_tsai_hill([0, -1e6, 0], PLY) == pytest.approx(40)
    assert fs.reserve_modified_tsai_hill([0, -1e6, 0], PLY) == pytest.approx(200)


def test_modified_tsai_hill_takes_its_strengths_by_sign():
    # by hand: s1 = +300 of 1500, s2 = -50 of 200, cross term with Xc = 1200 because s2 < 0
    index = (300 / 1500) ** 2 + 300 * 50 / 1200**2 + (50 / 200) ** 2
    assert fs.reserve_modified_tsai_hill([300e6, -50e6, 0], PLY) == pytest.approx(index**-0.5)
    index = (300 / 1200) ** 2 + 300 * 20 / 1500**2 + (20 / 40) ** 2  # signs turned: Xt in the cross term
    assert fs.reserve_modified_tsai_hill([-300e6, 20e6, 0], PLY) == pytest.approx(index**-0.5)


def test_criteria_part_by_a_factor_of_two_on_one_state():
    state = [20e6, -60e6, 55e6]  # pushed across and sheared
    got = {name: float(fs.reserve_factor(name, state, PLY, MODULI)) for name in fs.CRITERIA}
    assert max(got.values()) / min(got.values()) > 2
    assert got["Tsai-Hill"] == min(got.values())
    assert got["Tsai-Wu"] == max(got.values())


@given(stress=STRESS)
def test_tsai_wu_is_met_at_its_reserve(stress):
    r = float(fs.reserve_tsai_wu(stress, PLY))
    s1, s2, s12 = np.array(stress) * r
    h12 = fs.tsai_wu_interaction(PLY)
    index = (
        s1 * (1 / PLY.xt - 1 / PLY.xc)
        + s2 * (1 / PLY.yt - 1 / PLY.yc)
        + s1**2 / (PLY.xt * PLY.xc)
        + s2**2 / (PLY.yt * PLY.yc)
        + s12**2 / PLY.s**2
        + 2 * h12 * s1 * s2
    )
    assert index == pytest.approx(1, rel=1e-7)


@given(stress=STRESS, locked=STRESS, share=st.floats(0, 0.9))
def test_residual_stress_is_used_up_first(stress, locked, share):
    alone = float(fs.reserve_factor("Tsai-Wu", locked, PLY))
    residual = np.array(locked) * min(alone, 1e3) * share  # a share of what breaks it
    for reserve in (fs.reserve_tsai_wu, fs.reserve_max_stress):
        r = float(reserve(stress, PLY, residual=residual))
        if r == 0 or not np.isfinite(r):
            continue
        # the load at r on top of what is locked in just meets the criterion
        assert reserve(np.array(stress) * r + residual, PLY) == pytest.approx(1, rel=1e-5)


def test_residual_stress_alone_may_break_a_ply():
    assert fs.reserve_max_stress([1e6, 0, 0], PLY, residual=[0, 41e6, 0]) == 0
    assert fs.reserve_tsai_wu([1e6, 0, 0], PLY, residual=[0, 41e6, 0]) == 0
    assert fs.reserve_max_stress([0, 1e6, 0], PLY, residual=[0, 30e6, 0]) == pytest.approx(10)
    assert fs.reserve_max_stress([0, -1e6, 0], PLY, residual=[0, 30e6, 0]) == pytest.approx(230)


def test_max_strain_counts_the_poisson_strain():
    state = [1000e6, 20e6, 0]
    by_stress, by_strain = fs.reserve_max_stress(state, PLY), fs.reserve_max_strain(state, PLY, *MODULI)
    assert by_stress == pytest.approx(1.5)
    assert by_strain == pytest.approx(1500 / (1000 - 0.3 * 20))


@pytest.mark.parametrize("criterion", fs.CRITERIA)
def test_no_stress_is_an_infinite_reserve(criterion):
    assert fs.reserve_factor(criterion, [0, 0, 0], PLY, MODULI) == np.inf


@pytest.mark.parametrize("criterion", fs.CRITERIA)
def test_arrays(criterion):
    rng = np.random.default_rng(2)
    many = rng.normal(size=(4, 5, 3)) * [5e8, 3e7, 4e7]
    got = fs.reserve_factor(criterion, many, PLY, MODULI)
    assert got.shape == (4, 5)
    assert got[2, 3] == pytest.approx(float(fs.reserve_factor(criterion, many[2, 3], PLY, MODULI)))


def test_governing_stress():
    assert fs.MODES[int(book.governing_stress([0, -150e6, 10e6], PLY))] == "compression across the fibre"
    assert fs.MODES[int(book.governing_stress([100e6, 5e6, -60e6], PLY))] == "shear in the plane"


def test_first_ply_failure_finds_ply_point_and_mode():
    stresses = np.full((3, 2, 3), 1e6)
    stresses[1, 1, 1] = 30e6
    strong = fs.Allowables(xt=1e10, xc=1e10, yt=1e10, yc=1e10, s=1e10)
    first = book.first_ply_failure("max stress", stresses, [PLY] * 3)
    assert (first.ply, first.point, first.mode) == (2, 1, "tension across the fibre")
    assert first.reserve == pytest.approx(40 / 30)
    other = book.first_ply_failure("max stress", stresses, [PLY, strong, PLY])
    assert other.ply == 1
    assert book.first_ply_failure("max strain", stresses, [PLY] * 3, [MODULI] * 3).criterion == "max strain"


def test_first_ply_failure_by_tsai_hill_without_compressive_strengths():
    bare = fs.Allowables(xt=1500e6, xc=None, yt=40e6, yc=None, s=70e6)
    first = book.first_ply_failure("Tsai-Hill", np.full((1, 1, 3), 1e6), [bare])
    assert (first.ply, first.mode) == (1, "")


def test_knock_down():
    weak = fs.Allowables(xt=1000.0, xc=None, yt=40.0, yc=100.0, s=60.0).scaled(along=0.5, shear=0.8)
    assert (weak.xt, weak.xc, weak.yt, weak.s) == (500.0, None, 40.0, 48.0)


def test_strength_and_fibre_fraction():
    assert fs.scaled_to_fibre_fraction(600e6, 0.6, 0.45) == pytest.approx(450e6)
    assert book.longitudinal_tensile_strength(1.0, 3e9, 230e9, 3e9) == pytest.approx(3e9)
    got = book.longitudinal_tensile_strength(np.array([0.4, 0.6]), 3e9, 230e9, 3e9)
    assert got == pytest.approx([3e9 * (0.4 + 0.6 * 3 / 230), 3e9 * (0.6 + 0.4 * 3 / 230)])


@pytest.mark.parametrize("criterion", ["max stress", "max strain", "modified Tsai-Hill", "Tsai-Wu"])
def test_a_missing_strength_is_named_with_its_check(criterion):
    bare = fs.Allowables(xt=1500e6, xc=None, yt=40e6, yc=200e6, s=70e6)
    with pytest.raises(RangeError, match=r"(?i)" + criterion + r".*xc \(compression along the fibre\)"):
        fs.reserve_factor(criterion, [1e6, 1e6, 1e6], bare, MODULI)


@pytest.mark.parametrize(
    ("call", "say"),
    [
        (lambda: fs.Allowables(1e9, -1e9, 1e7, 1e8, 1e7), "xc"),
        (lambda: fs.reserve_factor("max", [1, 1, 1], PLY), "Tsai-Wu"),
        (lambda: fs.reserve_factor("max strain", [1, 1, 1], PLY), "moduli"),
        (lambda: fs.reserve_factor("max stress", [1, 1], PLY), "three numbers"),
        (lambda: fs.reserve_factor("Tsai-Hill", [np.nan, 1, 1], PLY), "not a number"),
        (lambda: fs.reserve_tsai_wu([1, 1, 1], PLY, "guess"), "Mises-Hencky"),
        (lambda: fs.reserve_tsai_wu([1, 1, 1], PLY, -1e-15), "closed surface"),
        (lambda: PLY.scaled(along=1.2), "what is left"),
        (lambda: book.first_ply_failure("max stress", np.ones((2, 1, 3)), [PLY]), "one set per ply"),
        (lambda: book.first_ply_failure("max strain", np.ones((1, 1, 3)), [PLY], []), "moduli"),
        (lambda: fs.scaled_to_fibre_fraction(1e8, 0.0, 0.4), "tested fibre fraction"),
        (lambda: book.longitudinal_tensile_strength(0.5, 1e9, 0.0, 3e9), "positive moduli"),
    ],
)
def test_errors_say_what_is_wrong(call, say):
    with pytest.raises(RangeError, match=say):
        call()
