"""The panel by finite elements: any outline, any supports, and the small model drawn from it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.errors import LayupError, RangeError, SurfaceError
from layup.laminate.panel import PanelLoad, build_panel, terms_of
from layup.laminate.panel_mesh import edge_sides, triangulate
from layup.laminate.panel_model import PanelModel, limit_of_strip, seven, spread_layups, strip_stiffness
from layup.laminate.plate import Load
from layup.laminate.plate_edges import RitzPlate
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness

BENT = np.array([[10, 2, 1.5], [2, 4, 0.5], [1.5, 0.5, 3.0]])  # with D16 and D26
SHAPES = {
    "square": shapely.box(0, 0, 1, 1),
    "with a hole": shapely.box(0, 0, 0.6, 0.4).difference(shapely.Point(0.3, 0.2).buffer(0.06)),
    "an L": shapely.Polygon([(0, 0), (1, 0), (1, 0.3), (0.4, 0.3), (0.4, 0.8), (0, 0.8)]),
    "round": shapely.Point(0, 0).buffer(0.3, 32),
}


@pytest.mark.parametrize("name", SHAPES)
def test_triangles_fill_the_outline(name):
    shape = SHAPES[name]
    mesh = triangulate(shape, 900)
    assert mesh.areas.sum() == approx(shape.area, rel=1e-3)
    assert (mesh.areas > 0).all()
    sides = mesh.points[mesh.triangles] - mesh.points[mesh.triangles][:, [1, 2, 0]]
    longest = np.hypot(sides[..., 0], sides[..., 1]).max(axis=1)
    assert (mesh.areas / longest**2).min() > 0.08  # no slivers: an even triangle has 0.433
    length = np.hypot(*(mesh.points[mesh.edge[:, 1]] - mesh.points[mesh.edge[:, 0]]).T).sum()
    assert length == approx(shape.length, rel=2e-3)


def test_sides_face_their_way():
    mesh = triangulate(SHAPES["with a hole"], 600)
    sides = edge_sides(mesh)
    middle = mesh.points[mesh.edge].mean(axis=1)
    assert np.all(middle[sides == "left", 0] == approx(0.0))
    assert np.all(middle[sides == "right", 0] == approx(0.6))
    assert np.all(middle[sides == "top", 1] == approx(0.4))
    assert (sides == "cut-out").sum() > 8


def test_a_panel_in_two_pieces_is_refused():
    with pytest.raises(SurfaceError, match="several pieces"):
        triangulate(shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]))


def test_a_skew_laminate_on_mixed_edges_against_ritz():
    panel = build_panel(shapely.box(0, 0, 1, 0.7), {"left": "clamped", "bottom": "simple", "top": "simple"})
    load = PanelLoad("hand", force=1.0, at=(0.6, 0.3), size=(0.1, 0.1))
    model = PanelModel.draw(panel, [load], terms_of(BENT)[None], [(1.0, 0.0, 0.0), (0.0, 0.0, 1.0)])
    exact = RitzPlate(1.0, 0.7, BENT, "CSFS", 16)
    there = exact.respond(Load(force=1.0, x=0.6, y=0.3, patch_x=0.1, patch_y=0.1)).at(0.6, 0.3).deflection
    w = model.shapes[: panel.nodes] @ model.respond(terms_of(BENT)[None])[0, :, 0]
    assert float((panel.basis.probes(np.array([[0.6], [0.3]])) @ w)[0]) == approx(there, rel=0.015)
    own = terms_of(BENT)[None]
    assert model.frequencies(own, np.array([2.0]))[0][0] == approx(exact.frequencies(2.0)[0], rel=0.01)
    # 1.4 % low, on the safe side: a free edge gives in twist over a strip that the cap on the shear widens
    assert model.factors(own, 1.0)[0][0] == approx(exact.buckling(1.0), rel=0.015)
    assert model.factors(own, 0.0, 0.0, 1.0)[0][0] == approx(exact.buckling(0, 0, 1.0), rel=0.015)


def test_what_holds_nothing_is_refused():
    for supports, held in (("free", []), ({"left": "simple"}, []), ("free", [(0, 0), (0.5, 0), (1, 0)])):
        with pytest.raises(LayupError, match="nothing holds the panel"):
            build_panel(SHAPES["square"], supports, held, count=200)
    build_panel(SHAPES["square"], "free", [(0, 0), (1, 0), (0, 1)], count=200)
    build_panel(SHAPES["square"], {"left": "clamped"}, count=200)
    with pytest.raises(LayupError, match="sides are left"):
        build_panel(SHAPES["square"], {"port": "clamped"}, count=200)


def test_a_patch_off_the_panel_is_refused():
    panel = build_panel(SHAPES["with a hole"], count=400)
    with pytest.raises(RangeError, match="does not lie on the panel"):
        panel.load_vector(PanelLoad("hand", force=10.0, at=(0.3, 0.2), size=(0.02, 0.02)))  # in the hole


def test_total_load_is_what_was_asked():
    panel = build_panel(SHAPES["an L"], count=500)
    for load, total in ((PanelLoad("p", pressure=3.0), 3.0 * SHAPES["an L"].area),
                        (PanelLoad("h", force=7.0, at=(0.2, 0.2)), 7.0)):  # fmt: skip
        assert panel.load_vector(load)[: panel.nodes].sum() == approx(total, rel=2e-3)


PLIES = [
    terms_of(rotated_stiffness(reduced_stiffness(*m), np.radians(angle)))
    for m in ((130e9, 8e9, 0.3, 4e9), (60e9, 60e9, 0.05, 3.5e9))
    for angle in (0, 45, -45, 90)
]


@pytest.fixture(scope="module")
def model():
    panel = build_panel(SHAPES["with a hole"], "simple", count=250)
    loads = [PanelLoad("p", pressure=1000.0), PanelLoad("h", force=100.0, at=(0.15, 0.2))]
    return PanelModel.draw(panel, loads, spread_layups(np.array(PLIES)), [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)])


def full(model, terms, pushed=()):
    """The same panel with the full elements' own shapes of one layup alone."""
    return PanelModel.draw(model.panel, model.loads, terms[None], pushed)


shares = st.lists(st.floats(0.0, 1.0), min_size=len(PLIES), max_size=len(PLIES)).filter(lambda v: sum(v) > 0.1)


@settings(max_examples=8, deadline=None)
@given(shares)
def test_the_small_model_is_never_softer_and_nearly_right(model, mix):
    terms = np.array(mix) @ np.array(PLIES) * 1e-10
    vectors = np.stack([model.panel.load_vector(load) for load in model.loads], axis=1)
    solved = model.panel.solve(seven(terms, model.stiffest), vectors)
    whole = np.einsum("ic,ic->c", vectors, solved)
    small = model.own_work(model.respond(terms[None]))[0]
    assert np.all(small <= whole * (1 + 1e-8))
    assert np.all(small >= whole * 0.98)
    own = full(model, terms, [(1.0, 0.0, 0.0)])  # so what fails one of these on the small model fails on the full one
    assert model.frequencies(terms[None], np.ones(1))[0][0] >= own.frequencies(terms[None], np.ones(1))[0][0] * (
        1 - 1e-6
    )
    assert model.factors(terms[None], 1.0)[0][0] >= own.factors(terms[None], 1.0)[0][0] * (1 - 1e-6)


@settings(max_examples=8, deadline=None)
@given(shares, shares)
def test_limits_hold_for_every_layup_that_passes(model, here, there):
    """A limit drawn at one layup must be kept by any other layup whose own figure is within the bound."""
    at, other = (np.array(v) @ np.array(PLIES) * 1e-10 for v in (here, there))
    amounts = model.respond(at[None])[0]
    own = full(model, other, [(1.0, 0.0, 0.0)])
    for case in (0, 1):
        work = float(own.own_work(own.respond(other[None]))[0, case])
        g, r, _ = model.limit_of_work(amounts[:, case], case, work)
        assert g @ other >= r * (1 - 1e-7)
    hertz = float(own.frequencies(other[None], np.array([3.0]))[0][0])
    g, _, s = model.limit_of_frequency(model.frequencies(at[None], np.ones(1))[1][0], hertz)
    assert g @ other >= s * 3.0 * (1 - 1e-6)
    factor = float(own.factors(other[None], 1.0)[0][0])
    g, r, _ = model.limit_of_push(model.factors(at[None], 1.0)[1][0], (1.0, 0.0, 0.0), factor)
    assert g @ other >= r * (1 - 1e-7)
    for axis in (0, 1):
        g, r, _ = limit_of_strip(axis, float(strip_stiffness(other[None])[0, axis]), at)
        assert g @ other >= r * (1 - 1e-9)


def test_a_limit_is_sharp_at_its_own_layup(model):
    at = np.array(PLIES[1]) * 1e-10
    amounts = model.respond(at[None])
    work = float(model.own_work(amounts)[0, 0])
    g, r, _ = model.limit_of_work(amounts[0, :, 0], 0, work)
    assert g @ at == approx(r, rel=1e-9)
