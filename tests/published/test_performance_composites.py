"""Plies: Performance Composites, Mechanical properties of carbon fibre composite materials, fibre / epoxy resin.

120 degC cure, fibres at 0 degrees, dry, room temperature, V_f 60 % (UD), 50 % (fabric); the page as read. The moduli
are typical figures rounded to 5 GPa, of fibres and weaves it does not name, so ours must come within 20 % along fibres,
and across and in shear within 45 % (glass and aramid there are further from any rule of mixtures than that: left out).
"""

import pytest
from pytest import approx

from layup.laminate.elastic import cured_ply
from layup.laminate.process import settle
from layup.materials import load_library


def moduli(fabric, fraction):
    library = load_library()
    found = cured_ply(library, library.get("fabric", fabric), library.get("resin", "epoxy, prepreg"),
                      settle(library.get("process", "prepreg")), fraction, 0.0, 0.22e-3)  # fmt: skip
    return [v / 1e9 for v in found.moduli], found


@pytest.mark.parametrize(
    ("fabric", "fraction", "e1"),
    [
        ("carbon twill 200", 0.50, 70),
        ("carbon unidirectional 200", 0.60, 135),
        ("glass twill 300", 0.50, 25),
        ("aramid plain 170", 0.50, 30),
    ],
)
def test_modulus_along_the_fibres(fabric, fraction, e1):
    assert moduli(fabric, fraction)[0][0] == approx(e1, rel=0.20)


def test_carbon_across_and_in_shear():
    (_, e2, _, g12), _ = moduli("carbon unidirectional 200", 0.60)
    assert e2 == approx(10, rel=0.45)
    assert g12 == approx(5, rel=0.45)


def test_strengths_at_the_coupons_own_fraction_are_the_printed_ones_less_hand_work():
    left = 0.75 * 0.9  # the library's row for prepreg; nine coupons in ten, of a printed mean
    cloth = moduli("carbon twill 200", 0.50)[1].allowables
    assert (cloth.xt, cloth.xc, cloth.yt, cloth.yc, cloth.s) == approx(
        tuple(left * v * 1e6 for v in (600, 570, 600, 570, 90))
    )
    tape = moduli("carbon unidirectional 200", 0.60)[1].allowables
    assert (tape.xt, tape.xc, tape.yt, tape.yc, tape.s) == approx(
        tuple(left * v * 1e6 for v in (1500, 1200, 50, 250, 70))
    )
