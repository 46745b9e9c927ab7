"""The mass balance of a cured ply: identities that hold for any figures."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles import cured
from pytest import approx

from layup.errors import RangeError
from layup.laminate.cured import laminate_density

fractions = st.floats(0.05, 0.75)
voids = st.floats(0.0, 0.08)
fibre_densities = st.floats(1300.0, 2700.0)
resin_densities = st.floats(1000.0, 1400.0)


@given(v_f=fractions, v_v=voids, rho_f=fibre_densities, rho_r=resin_densities, w=st.floats(0.02, 2.0))
def test_weight_is_density_times_thickness(v_f: float, v_v: float, rho_f: float, rho_r: float, w: float) -> None:
    weight = cured.cured_areal_weight(w, rho_f, rho_r, v_f, v_v)
    thickness = cured.cured_thickness(w, rho_f, v_f)
    assert weight == approx(laminate_density(v_f, rho_f, rho_r, v_v) * thickness, rel=1e-12)


@given(v_f=fractions, v_v=voids, rho_f=fibre_densities, rho_r=resin_densities)
def test_resin_content_and_fibre_fraction_are_inverse(v_f: float, v_v: float, rho_f: float, rho_r: float) -> None:
    share = cured.resin_content_from_fibre_fraction(v_f, rho_f, rho_r, v_v)
    assert cured.fibre_fraction_from_resin_content(share, rho_f, rho_r, v_v) == approx(v_f, rel=1e-12)


@given(v_f=fractions, v_v=voids, rho_f=fibre_densities, rho_r=resin_densities)
def test_constituents_recover_what_a_laminate_is_made_of(v_f: float, v_v: float, rho_f: float, rho_r: float) -> None:
    share = cured.resin_content_from_fibre_fraction(v_f, rho_f, rho_r, v_v)
    density = laminate_density(v_f, rho_f, rho_r, v_v)
    found = cured.constituents(share, density, rho_f, rho_r)
    assert found == approx((v_f, 1 - v_f - v_v, v_v), abs=1e-12)
    assert cured.void_content(share, density, rho_f, rho_r) == approx(v_v, abs=1e-12)


@pytest.mark.parametrize(
    ("v_f", "v_v"), [(0.0, 0.0), (-0.1, 0.0), (1.01, 0.0), (0.95, 0.1), (0.5, -0.01), (float("nan"), 0.0)]
)
def test_fractions_out_of_range_are_refused(v_f: float, v_v: float) -> None:
    with pytest.raises(RangeError, match="outside"):
        cured.cured_areal_weight(0.2, 1800.0, 1150.0, v_f, v_v)


def test_a_floating_sample_has_no_density() -> None:
    with pytest.raises(RangeError):
        cured.density_by_displacement(0.001, 0.0012)


@pytest.mark.parametrize("share", [1.0, 1.5, -0.1, float("nan")])
def test_a_laminate_of_resin_alone_has_no_fibre_fraction(share: float) -> None:
    with pytest.raises(RangeError, match="resin content"):
        cured.fibre_fraction_from_resin_content(share, 1760.0, 1150.0)
