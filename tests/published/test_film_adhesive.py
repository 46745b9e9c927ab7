"""A light prepreg sandwich with film adhesive, and the weight its maker reckons for it.

Source: Explore Composites, "Laminate sample 12": one ply of 200 g/m^2 carbon prepreg each side of an aramid honeycomb
of 154 g/m^2 weighed 839 to 860 g/m^2 without film; "3.5 oz/ft^2" (1.06 kg/m^2) is its author's estimate with a film
of 100 g/m^2 on each side. An estimate to two digits: 2 %.
"""

from __future__ import annotations

from pytest import approx

import layup
from layup.units import OZ, parse

SKIN, FILM = {"fabric": "carbon plain 200 prepreg"}, {"fabric": "film adhesive 100"}
CORE = {"core": "aramid honeycomb 48", "thickness": "3.2 mm"}
PANEL = {"title": "Panel", "process": "prepreg", "surface": {"area": "1 m^2"}}


def test_film_on_both_sides_of_the_core() -> None:
    bare = layup.predict({**PANEL, "ply": [SKIN, CORE, SKIN]}).mass
    glued = layup.predict({**PANEL, "ply": [SKIN, FILM, CORE, FILM, SKIN]}).mass
    assert bare.holds(0.850)
    assert glued.mean == approx(3.5 * OZ / 0.09290304, rel=0.02)
    assert glued.mean - bare.mean == approx(0.2, rel=1e-3), "a film at the core does not bleed: what is laid stays"


def test_a_film_weighs_as_specified() -> None:
    """0.045 lb/ft^2 on each side of the core, 0.0325 under the skin: Stanford Solar Car Project, Sunbad layups."""
    for name, printed in (("film adhesive 220", "0.045 lb/ft^2"), ("surfacing film 159", "0.0325 lb/ft^2")):
        one = layup.predict({**PANEL, "ply": [SKIN, {"fabric": name}]}).mass.mean
        none = layup.predict({**PANEL, "ply": [SKIN]}).mass.mean
        assert one - none == approx(parse(printed, "areal_weight"), rel=0.01)
