"""Ply stiffness: limits, bounds, order, and words of errors. Figures from books are in tests/published."""

from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles import micromechanics as book

from layup.errors import RangeError
from layup.laminate import micromechanics as mm
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness, stack_stiffness

# Orders of magnitude of carbon, glass and epoxy; no claim on any product.
CARBON = mm.FibreElastic(230e9, 15e9, 24e9, 0.2, -0.4e-6, 10e-6)
GLASS = mm.FibreElastic(72e9, 72e9, 30e9, 0.22, 5e-6, 5e-6)
EPOXY = mm.ResinElastic(3.2e9, 0.35, 60e-6)
FRACTION = st.floats(0.05, 0.75)
MODULUS = st.floats(1e9, 4e11)


@given(vf=st.floats(0, 1), fibre=MODULUS, resin=MODULUS, xi=st.floats(0, 100))
def test_halpin_tsai_lies_between_series_and_parallel(vf, fibre, resin, xi):
    low, high = book.inverse_rule(vf, fibre, resin), mm.rule_of_mixtures(vf, fibre, resin)
    got = mm.halpin_tsai(vf, fibre, resin, xi)
    assert low * (1 - 1e-9) <= got <= high * (1 + 1e-9)


@given(vf=st.floats(0, 1), fibre=MODULUS, resin=MODULUS)
def test_halpin_tsai_ends_at_the_two_rules(vf, fibre, resin):
    assert mm.halpin_tsai(vf, fibre, resin, 0.0) == pytest.approx(book.inverse_rule(vf, fibre, resin), rel=1e-9)
    assert mm.halpin_tsai(vf, fibre, resin, 1e9) == pytest.approx(mm.rule_of_mixtures(vf, fibre, resin), rel=1e-5)


@pytest.mark.parametrize("rule", [mm.rule_of_mixtures, book.inverse_rule, lambda v, f, m: mm.halpin_tsai(v, f, m, 2.0)])
def test_all_resin_and_all_fibre(rule):
    assert rule(0.0, 72e9, 3.2e9) == pytest.approx(3.2e9)
    assert rule(1.0, 72e9, 3.2e9) == pytest.approx(72e9)


@given(vf=FRACTION, more=st.floats(0.001, 0.1))
def test_more_fibre_is_stiffer_every_way(vf, more):
    less_fibre = mm.unidirectional_ply(CARBON, EPOXY, vf)
    more_fibre = mm.unidirectional_ply(CARBON, EPOXY, vf + more)
    assert more_fibre.e1 > less_fibre.e1
    assert more_fibre.e2 > less_fibre.e2
    assert more_fibre.g12 > less_fibre.g12


@given(vf=st.floats(0.1, 0.7), vv=st.floats(0.001, 0.2))
def test_voids_soften_every_modulus(vf, vv):
    solid, holed = (mm.unidirectional_ply(GLASS, EPOXY, vf, v) for v in (0.0, vv))
    assert holed.e1 < solid.e1
    assert holed.e2 < solid.e2
    assert holed.g12 < solid.g12
    # along the fibre the loss is at most the resin's own share
    assert solid.e1 - holed.e1 <= (1 - vf) * EPOXY.e


@given(p=st.floats(0, 0.9))
def test_porous_resin_stays_below_the_mean(p):
    # Voigt: no porous solid is stiffer than its solid share
    porous = mm.resin_with_voids(EPOXY, p)
    assert porous.e <= EPOXY.e * (1 - p) * (1 + 1e-12)
    assert -1 < porous.nu < 0.5
    assert porous.alpha == EPOXY.alpha


def test_porous_resin_of_few_voids_loses_twice_their_share():
    # dilute round voids: E/E0 = 1 - p (3/2)(9 + 5 nu)(1 - nu)/(7 - 5 nu)... evaluated at nu = 0.2 it is
    # exactly 1 - 2 p
    resin = mm.ResinElastic(1.0, 0.2)
    assert (1 - mm.resin_with_voids(resin, 1e-5).e) / 1e-5 == pytest.approx(2.0, rel=1e-3)


def test_shear_strength_falls_seven_per_cent_per_per_cent_of_voids():
    assert book.shear_strength_with_voids(60e6, 0.02) == pytest.approx(51.6e6)
    with pytest.raises(RangeError, match="4 %"):
        book.shear_strength_with_voids(60e6, 0.05)


@given(vf=FRACTION, share=st.floats(0.0, 1.0))
def test_woven_ply_is_the_two_half_plies(vf, share):
    # the same by the laminate theory of another module, held flat
    ply = mm.unidirectional_ply(CARBON, EPOXY, vf)
    woven = mm.woven_ply(ply, warp_share=share)
    q = reduced_stiffness(ply.e1, ply.e2, ply.nu12, ply.g12)
    stack = stack_stiffness(rotated_stiffness(q, np.radians([0, 90])), np.array([share, 1 - share]))
    assert reduced_stiffness(woven.e1, woven.e2, woven.nu12, woven.g12) == pytest.approx(stack.a, rel=1e-9, abs=1e-3)


def test_balanced_woven_ply_is_alike_both_ways():
    ply = mm.unidirectional_ply(CARBON, EPOXY, 0.5)
    woven = mm.woven_ply(ply, 0.9, 0.9)
    assert woven.e1 == pytest.approx(woven.e2)
    assert woven.alpha1 == pytest.approx(woven.alpha2)
    assert 0.4 * ply.e1 < woven.e1 < 0.6 * ply.e1
    straight = mm.woven_ply(ply)
    assert woven.e1 < straight.e1
    assert woven.alpha1 > straight.alpha1  # softer carbon holds the resin back less


def test_all_warp_is_the_straight_ply():
    ply = mm.unidirectional_ply(GLASS, EPOXY, 0.5)
    assert astuple(mm.woven_ply(ply, warp_share=1.0)) == pytest.approx(astuple(ply))


@given(crimp=st.floats(0, 0.05), more=st.floats(1e-4, 0.01))
def test_more_crimp_costs_more(crimp, more):
    ply = mm.unidirectional_ply(CARBON, EPOXY, 0.5)
    small = mm.crimp_knock_down(ply, crimp)
    assert 0 < small <= 1
    if crimp + more <= 0.05:
        assert mm.crimp_knock_down(ply, crimp + more) < small


def test_crimp_against_its_first_order():
    ply = mm.unidirectional_ply(CARBON, EPOXY, 0.5)
    loss = 1 - mm.crimp_knock_down(ply, 1e-6)
    assert loss == pytest.approx(2e-6 * (ply.e1 / ply.g12 - 2 * ply.nu12 - 2), rel=1e-3)
    assert mm.crimp_knock_down(ply, 0.0) == pytest.approx(1.0)


def test_crimp_of_the_weave_is_the_extra_length_of_a_sine():
    t, pitch = 0.22e-3, 2e-3
    x = np.linspace(0, pitch, 20001)
    z = t / 4 * np.sin(np.pi * (x / pitch - 0.5))  # from -t/4 to t/4: the yarn is half as thick as the ply
    extra = np.sum(np.hypot(np.diff(x), np.diff(z))) / pitch - 1
    assert mm.weave_crimp(t, pitch) == pytest.approx(extra, rel=5e-3)  # small slopes
    assert mm.weave_crimp(t, pitch, 8, 2) == pytest.approx(mm.weave_crimp(t, pitch) / 4)


def test_twill_is_stiffer_than_plain_and_spread_tow_stiffest():
    ply = mm.unidirectional_ply(CARBON, EPOXY, 0.5)
    plain = mm.crimp_knock_down(ply, mm.weave_crimp(0.22e-3, 2e-3))
    twill = mm.crimp_knock_down(ply, mm.weave_crimp(0.22e-3, 2e-3, 4, 2))
    spread = mm.crimp_knock_down(ply, mm.weave_crimp(0.09e-3, 20e-3))
    assert plain < twill < spread
    assert spread > 0.999


@given(vf=FRACTION)
def test_mat_is_the_mean_over_all_angles(vf):
    ply = mm.unidirectional_ply(GLASS, EPOXY, vf)
    mat = mm.random_mat_ply(ply)
    q = reduced_stiffness(ply.e1, ply.e2, ply.nu12, ply.g12)
    mean = rotated_stiffness(q, np.arange(12) * np.pi / 12).mean(axis=0)
    assert reduced_stiffness(mat.e1, mat.e2, mat.nu12, mat.g12) == pytest.approx(mean, rel=1e-9, abs=1.0)
    assert mat.g12 == pytest.approx(mat.e1 / (2 * (1 + mat.nu12)))
    e, g = book.random_mat_rule(ply.e1, ply.e2)  # the short rule stays near: within 15 % of the exact mean
    assert (e, g) == (pytest.approx(mat.e1, rel=0.15), pytest.approx(mat.g12, rel=0.15))


def test_short_fibres_reach_long_ones():
    long = mm.rule_of_mixtures(0.2, 72e9, 3.2e9)
    assert book.short_fibre_modulus(0.2, 72e9, 3.2e9, 50e-3, 10e-6) == pytest.approx(long, rel=5e-3)
    assert book.short_fibre_modulus(0.2, 72e9, 3.2e9, 0.1e-3, 10e-6) < 0.8 * long


def test_expansion_needs_all_figures():
    no_alpha = mm.FibreElastic(230e9, 15e9, 24e9, 0.2)
    ply = mm.unidirectional_ply(no_alpha, EPOXY, 0.5)
    assert ply.alpha1 is None
    assert ply.alpha2 is None
    assert mm.woven_ply(ply).alpha1 is None
    assert mm.random_mat_ply(ply).alpha1 is None


def test_alike_materials_expand_alike():
    # a "fibre" made of the resin changes nothing
    same = mm.FibreElastic(3.2e9, 3.2e9, 3.2e9 / 2.7, 0.35, 60e-6, 60e-6)
    ply = mm.unidirectional_ply(same, EPOXY, 0.5)
    assert (ply.alpha1, ply.alpha2) == (pytest.approx(60e-6), pytest.approx(60e-6))
    assert (ply.e1, ply.e2, ply.g12) == (pytest.approx(3.2e9), pytest.approx(3.2e9), pytest.approx(3.2e9 / 2.7))


def test_arrays_broadcast():
    vf = np.linspace(0.3, 0.6, 4)
    many = mm.woven_ply(mm.unidirectional_ply(CARBON, EPOXY, vf, 0.02), 0.9, 0.9)
    for k, one in enumerate(vf):
        single = mm.woven_ply(mm.unidirectional_ply(CARBON, EPOXY, float(one), 0.02), 0.9, 0.9)
        assert many.e1[k] == pytest.approx(single.e1)
        assert many.alpha1[k] == pytest.approx(single.alpha1)


@pytest.mark.parametrize(
    ("call", "say"),
    [
        (lambda: mm.rule_of_mixtures(45, 72e9, 3e9), "fibre fraction 45"),
        (lambda: book.inverse_rule(0.5, 72e9, -3e9), "resin"),
        (lambda: mm.halpin_tsai(0.5, 72e9, 3e9, -1), "negative"),
        (lambda: mm.unidirectional_ply(CARBON, EPOXY, 0.9, 0.2), "exceed 1"),
        (lambda: mm.unidirectional_ply(CARBON, mm.ResinElastic(0.0, 0.3), 0.5), "resin modulus"),
        (lambda: mm.resin_with_voids(mm.ResinElastic(3e9, 0.5), 0.1), "Poisson"),
        (lambda: mm.weave_crimp(0.2e-3, 2e-3, 2, 3), "plain weave"),
        (lambda: mm.crimp_knock_down(mm.unidirectional_ply(CARBON, EPOXY, 0.5), 0.3), "crimp"),
        (lambda: mm.woven_ply(mm.unidirectional_ply(CARBON, EPOXY, 0.5), 1.2), "warp factor"),
        (lambda: book.short_fibre_modulus(0.2, 72e9, 3e9, -1.0, 1e-5), "length"),
        (lambda: mm.rule_of_mixtures(float("nan"), 72e9, 3e9), "fibre fraction"),
    ],
)
def test_errors_say_what_is_wrong(call, say):
    with pytest.raises(RangeError, match=say):
        call()
