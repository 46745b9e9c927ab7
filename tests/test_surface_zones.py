"""Zones against exact areas: planes, developable surfaces (a geodesic disc unrolls to a flat one), a sphere."""

from itertools import combinations_with_replacement
from math import cos, pi

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.measure import combine

from layup.errors import SurfaceError
from layup.shape.flat import from_area, outline, rectangle
from layup.shape.measure import Measured, measure_triangles
from layup.shape.partition import partition
from layup.shape.surface import Surface

PANEL = rectangle(1.0, 0.6)


def surface(points, faces):
    return Surface("test", measure_triangles(points[faces]), lambda: (points, faces))


def wrapped(point, u_span, v_span, nu, nv):
    """Welded mesh of point(u, v), with an open seam where the surface closes."""
    u, v = np.meshgrid(np.linspace(*u_span, nu + 1), np.linspace(*v_span, nv + 1), indexing="ij")
    p = np.stack(np.broadcast_arrays(*point(u, v)), axis=-1).reshape(-1, 3)
    i = np.arange((nu + 1) * (nv + 1)).reshape(nu + 1, nv + 1)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    return surface(p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))


HALF_PIPE = wrapped(
    lambda u, v: (0.2 * np.cos(u), 0.2 * np.sin(u), v + 0 * u), (0, pi), (0, 0.5), 120, 20
)  # radius 0.2 m, length 0.5 m


def test_disc_on_a_flat_panel_of_two_triangles():
    zone = PANEL.zone({"name": "hinge", "within": "60 mm of (500 mm, 300 mm, 0 mm)"})
    assert zone.area == pytest.approx(pi * 0.06**2, rel=3e-4)  # border drawn as chords
    assert zone.centroid == pytest.approx((0.5, 0.3, 0.0), abs=1e-5)
    assert np.array(zone.second_moment)[0, 0] == pytest.approx(pi * 0.06**4 / 4, rel=1e-3)


def test_point_on_corner_edge_and_beside_the_surface():
    corner = PANEL.zone({"within": "60 mm of (0 mm, 0 mm, 0 mm)"})
    assert corner.area == pytest.approx(pi * 0.06**2 / 4, rel=3e-4)
    side = PANEL.zone({"within": "60 mm of (500 mm, -30 mm, 20 mm)"})  # nearest surface point: (500, 0, 0)
    assert side.area == pytest.approx(pi * 0.06**2 / 2, rel=3e-4)
    diagonal = PANEL.zone({"within": "60 mm of (250 mm, 150 mm, 0 mm)"})  # on the edge between the two triangles
    assert diagonal.area == pytest.approx(pi * 0.06**2, rel=3e-4)
    with pytest.raises(SurfaceError, match="500 mm off the surface"):
        PANEL.zone({"within": "60 mm of (0 mm, 0 mm, 500 mm)"})


def test_band_along_the_free_edge():
    zone = PANEL.zone({"within": "40 mm of the edge"})
    assert zone.area == pytest.approx(1.0 * 0.6 - 0.92 * 0.52, rel=1e-3)
    hole = outline([(0, 0), (1, 0), (1, 0.6), (0, 0.6)], [[(0.4, 0.2), (0.6, 0.2), (0.6, 0.4), (0.4, 0.4)]])
    ring = 4 * 0.2 * 0.05 + pi * 0.05**2  # beside the cut-out, with quarter discs at its corners
    assert hole.zone({"within": "50 mm of the edge"}).area == pytest.approx(0.6 - 0.9 * 0.5 + ring, rel=1e-3)


def test_disc_on_a_cylinder_unrolls():
    """Reach larger than the chord allows: the disc wraps half round the pipe."""
    zone = HALF_PIPE.zone({"within": "200 mm of (0 mm, 200 mm, 250 mm)"})
    assert zone.area == pytest.approx(pi * 0.2**2, rel=1e-3)


def test_disc_on_a_cone_unrolls():
    def cone(u, v):
        return 0.3 * v * np.cos(u), 0.3 * v * np.sin(u), 0.4 * v + 0 * u

    half = wrapped(cone, (0, pi), (0.2, 1.0), 80, 12)
    at = ", ".join(f"{1e3 * c:.6f} mm" for c in (0.0, 0.3 * 0.6, 0.4 * 0.6))
    assert half.zone({"within": f"100 mm of ({at})"}).area == pytest.approx(pi * 0.1**2, rel=1e-3)


def test_cap_on_a_sphere():
    ball = trimesh.creation.icosphere(5, 0.5)
    found = surface(np.asarray(ball.vertices), np.asarray(ball.faces))
    zone = found.zone({"within": "300 mm of (0 mm, 0 mm, 500 mm)"})
    assert zone.area == pytest.approx(2 * pi * 0.25 * (1 - cos(0.3 / 0.5)), rel=2e-3)  # faceting and chords


def test_edge_band_on_a_half_ball():
    """Along the surface, not through the air: a band of reach s is 2 pi R^2 sin(s/R)."""
    dome = wrapped(
        lambda u, v: (0.5 * np.sin(v) * np.cos(u), 0.5 * np.sin(v) * np.sin(u), 0.5 * np.cos(v)),
        (0, 2 * pi), (0.05, pi / 2), 90, 30,
    )  # fmt: skip
    points, faces = dome.vertices, dome.faces
    from layup.shape.topology import weld

    p, f = weld(np.round(points[faces], 9))
    rim = surface(p, f)
    top = 2 * pi * 0.5 * np.sin(0.05)
    assert rim.perimeter == pytest.approx(2 * pi * 0.5 + top, rel=2e-3)
    band = rim.zone({"within": "150 mm of the edge"})
    above = 2 * pi * 0.25 * (np.cos(0.05) - np.cos(0.05 + 0.15 / 0.5))
    assert band.area == pytest.approx(2 * pi * 0.25 * np.sin(0.15 / 0.5) + above, rel=3e-3)


def test_band_between_stations_and_outline():
    assert PANEL.zone({"between": "x 100 mm 350 mm"}).area == pytest.approx(0.25 * 0.6, rel=1e-12)
    assert PANEL.zone({"between": "y 1 ft to 1 ft 2 in"}).area == pytest.approx(2 * 0.0254, rel=1e-12)
    square = {"inside": [["0 mm", "0 mm"], ["300 mm", "0 mm"], ["0 mm", "300 mm"]], "along": [0, 0, 1]}
    zone = PANEL.zone(square)
    assert zone.area == pytest.approx(0.045, rel=1e-12)
    assert zone.centroid == pytest.approx((0.1, 0.1, 0.0), rel=1e-12)
    both = PANEL.zone({**square, "between": "x 100 mm 1 m"})
    assert both.area == pytest.approx(0.2 * 0.2 / 2, rel=1e-12)


def test_hollow_outline_on_a_curved_part():
    """An L shone along z on a half pipe: each strip of the pipe is longer than its shadow, exactly known."""
    ell = [["-100 mm", "0 mm"], ["100 mm", "0 mm"], ["100 mm", "100 mm"], ["0 mm", "100 mm"], ["0 mm", "300 mm"],
           ["-100 mm", "300 mm"]]  # fmt: skip
    points = HALF_PIPE.vertices[:, [0, 2, 1]]  # axis along y, crown up
    pipe = surface(points, HALF_PIPE.faces)
    zone = pipe.zone({"inside": ell, "along": [0, 0, -1]})
    wide, narrow = 2 * np.arcsin(0.5) * 0.2, np.arcsin(0.5) * 0.2
    assert zone.area == pytest.approx(wide * 0.1 + narrow * 0.2, rel=2e-4)  # 120 facets round half the pipe
    slanting = [[*row, "0 mm"] for row in ell]
    assert pipe.zone({"inside": slanting, "along": [0, 0, 2]}).area == pytest.approx(zone.area, rel=1e-12)


SPECS = st.one_of(
    st.builds(
        lambda r, x, y: {"within": f"{r} mm of ({x} mm, {y} mm, 0 mm)"},
        st.integers(20, 400), st.integers(0, 1000), st.integers(0, 600),
    ),
    st.builds(lambda r: {"within": f"{r} mm of the edge"}, st.integers(40, 250)),
    st.builds(lambda a, b: {"between": f"y {a} mm {b} mm"}, st.integers(-50, 290), st.integers(300, 700)),
    st.builds(
        lambda a, b: {"inside": [[f"{a} mm", "0 mm"], ["999 mm", f"{b} mm"], ["3 mm", "599 mm"]], "along": [0, 0, 1]},
        st.integers(0, 900), st.integers(1, 590),
    ),
)  # fmt: skip


@settings(max_examples=14, deadline=None)
@given(SPECS, st.booleans())
def test_zone_and_rest_are_the_whole(spec, hollow):
    panel = outline([(0, 0), (1, 0), (1, 0.6), (0, 0.6)], [[(0.45, 0.25), (0.5, 0.25), (0.5, 0.35)]] if hollow else [])
    inside, rest = panel.zone(spec), panel.zone(spec, outside=True)
    both = combine([inside, rest])
    assert inside.area > 0.0
    assert both.area == pytest.approx(panel.whole.area, rel=1e-9)
    assert both.centroid == pytest.approx(panel.whole.centroid, abs=1e-9)
    assert np.array(both.second_moment) == pytest.approx(np.array(panel.whole.second_moment), abs=1e-10)


@settings(max_examples=6, deadline=None)
@given(SPECS)
def test_zone_does_not_depend_on_the_mesh(spec):
    fine = wrapped(lambda u, v: (u + 0 * v, v + 0 * u, 0 * u * v), (0, 1), (0, 0.6), 37, 23)
    assert fine.zone(spec).area == pytest.approx(PANEL.zone(spec).area, rel=2e-3)


HOLES = outline(
    [(0, 0), (1, 0), (1, 0.6), (0, 0.6)],
    [[(0.2, 0.2), (0.4, 0.2), (0.4, 0.4), (0.2, 0.4)], [(0.7, 0.25), (0.8, 0.25), (0.8, 0.35), (0.7, 0.35)]],
)  # two square cut-outs, 200 and 100 mm wide


def round_square(side, reach):
    return 4 * side * reach + pi * reach**2


def test_outer_edge_and_cut_outs():
    assert HOLES.zone({"within": "40 mm of the outer edge"}).area == pytest.approx(0.6 - 0.92 * 0.52, rel=1e-3)
    one = HOLES.zone({"within": "30 mm of cut-out 1"})
    assert one.area == pytest.approx(round_square(0.2, 0.03), rel=2e-3)
    assert one.centroid == pytest.approx((0.3, 0.3, 0.0), abs=1e-4)
    two = HOLES.zone({"within": "30 mm of the cut-out at (760 mm, 300 mm, 0 mm)"})
    assert two.area == pytest.approx(round_square(0.1, 0.03), rel=4e-3)
    assert two.area == pytest.approx(HOLES.zone({"within": "30 mm of cut-out 2"}).area, rel=1e-12)
    assert HOLES.zone({"within": "30 mm of the cut-outs"}).area == pytest.approx(one.area + two.area, rel=2e-3)
    edge = HOLES.zone({"within": "30 mm of the edge"}).area
    assert edge == pytest.approx(one.area + two.area + 0.6 - 0.94 * 0.54, rel=2e-3)
    line = HOLES.zone({"within": "25 mm of the line (450 mm, 100 mm, 0 mm) (650 mm, 100 mm, 0 mm)"})
    assert line.area == pytest.approx(0.2 * 0.05 + pi * 0.025**2, rel=4e-3)


def test_zones_combine():
    """Rectangles and discs of which union, overlap and difference are known."""
    left, low = {"between": "x 0 mm 600 mm"}, {"between": "y 0 mm 200 mm"}
    assert PANEL.zone({"and": [left, low]}).area == pytest.approx(0.12, rel=1e-12)
    assert PANEL.zone({"or": [left, low]}).area == pytest.approx(0.36 + 0.08, rel=1e-12)
    assert PANEL.zone({"not": low}).area == pytest.approx(0.4, rel=1e-12)
    assert PANEL.zone({**left, "not": [low]}).area == pytest.approx(0.24, rel=1e-12)
    assert PANEL.zone({**left, "or": low, "not": {"between": "x 500 mm 2 m"}}).area == pytest.approx(0.3, rel=1e-12)
    two = ["60 mm of (300 mm, 300 mm, 0 mm)", "60 mm of (360 mm, 300 mm, 0 mm)"]
    lens = 2 * 0.06**2 * np.arccos(0.5) - 0.5 * 0.06 * np.sqrt(4 * 0.06**2 - 0.06**2)
    assert PANEL.zone({"within": two}).area == pytest.approx(2 * pi * 0.06**2 - lens, rel=5e-4)
    assert PANEL.zone({"within": two[0], "and": {"within": two[1]}}).area == pytest.approx(lens, rel=5e-4)
    moon = {"name": "moon", "within": two[0], "not": {"name": "hinge", "within": two[1]}}
    assert PANEL.zone(moon).area == pytest.approx(pi * 0.06**2 - lens, rel=5e-4)
    assert PANEL.zone({"between": ["x 0 mm 100 mm", "x 50 mm 200 mm"]}).area == pytest.approx(0.12, rel=1e-12)


@settings(max_examples=5, deadline=None)
@given(SPECS, SPECS, st.sampled_from(["or", "and", "not"]), st.booleans())
def test_combined_zone_and_rest_are_the_whole(one, two, word, hollow):
    """Inclusion and exclusion: A without B, B without A, and both make either; each with its rest is the whole."""
    panel = HOLES if hollow else PANEL

    def areas(spec):
        try:
            cut = panel.cut(spec)
        except SurfaceError as problem:
            if "no part of the surface" not in str(problem):
                raise
            return 0.0
        assert cut.inside.area + cut.outside.area == pytest.approx(panel.whole.area, rel=1e-9)
        return cut.inside.area

    both, either = areas({**one, "and": two}), areas({"or": [one, two]})
    one_only, two_only = areas({**one, "not": two}), areas({**two, "not": one})
    assert either == pytest.approx(one_only + two_only + both, abs=1e-9)
    # The same border drawn on a finer mesh: where it runs behind a cut-out the two differ by up to 1 %.
    assert one_only + both == pytest.approx(areas(one), rel=1.5e-2)
    assert areas({"not": {"or": [one, {word: two}]}}) == pytest.approx(
        panel.whole.area - areas({"or": [one, {word: two}]}), abs=1e-9
    )


BAD = [
    ({"within": "30 mm of cut-out 3"}, "there is no cut-out 3"),
    ({"within": "30 mm of the line (0 mm, 0 mm, 0 mm)"}, "is not known"),
    ({"within": []}, "empty list"),
    ({"not": "hinge"}, "is no zone"),
    ({"and": {"withn": 1}}, "no key withn"),
    ({"withn": "1 mm of the edge"}, "there is no key withn"),
    ({"within": "60 mm"}, "can't be read"),
    ({"within": 60}, "can't be read"),
    ({"within": "60 of the edge"}, "within"),
    ({"within": "-6 mm of the edge"}, "is no distance"),
    ({"within": "60 kg of the edge"}, "within"),
    ({"within": "60 mm of the door"}, "is not known"),
    ({"within": "60 mm of (1 mm, 2 mm)"}, "three lengths"),
    ({"within": "60 mm of (1, 2, 3)"}, "can't be read"),
    ({"between": "w 1 mm 2 mm"}, "can't be read"),
    ({"between": "x 1 mm"}, "can't be read"),
    ({"between": "x 1 mm 1 mm"}, "no width"),
    ({"between": "x 5 m 6 m"}, "no part of the surface"),
    ({"inside": [["0 mm", "0 mm"]]}, "go together"),
    ({"inside": [["0 mm", "0 mm"]], "along": [0, 0, 1]}, "no outline"),
    ({"inside": [["0 mm", "0 mm"]] * 4, "along": [0, 0, 0]}, "no direction"),
    ({"inside": [["0 mm", "0 mm"]] * 4, "along": "z"}, "no direction"),
    ({"inside": [["0 mm", "0 mm"]] * 4, "along": [0, 0, 1]}, "no area"),
    ({"inside": [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]], "along": [0, 1, 1]}, "needs x, y and z"),
    ({"inside": [["0", "0 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]], "along": [0, 0, 1]}, "point 1"),
    ({"inside": [[f"{x} mm", f"{y} mm"] for x, y in [(0, 0), (9, 9), (9, 0), (0, 9)]], "along": [0, 0, 1]}, "crosses"),
    ({"group": "flange"}, "no named groups"),
]  # fmt: skip


@pytest.mark.parametrize(("spec", "match"), BAD)
def test_bad_zones(spec, match):
    with pytest.raises(SurfaceError, match=match) as caught:
        HOLES.zone({"name": "hinge", **spec})
    assert 'zone "hinge"' in str(caught.value)


def test_a_cut_is_kept():
    spec = {"name": "hinge", "within": "60 mm of (500 mm, 300 mm, 0 mm)"}
    cut = PANEL.cut(spec)
    assert cut is PANEL.cut({**spec, "name": "another name"})
    assert measure_triangles(cut.inner).area == PANEL.zone(spec).area


def test_no_cut_out():
    with pytest.raises(SurfaceError, match="no cut-out"):
        PANEL.zone({"within": "30 mm of cut-out 1"})


def test_no_zone_on_a_number():
    with pytest.raises(SurfaceError, match="only its area is known"):
        from_area(0.54).zone({"within": "40 mm of the edge"})


def test_no_free_edge():
    box = trimesh.creation.box((1, 1, 1))
    with pytest.raises(SurfaceError, match="no free edge"):
        surface(np.asarray(box.vertices), np.asarray(box.faces)).zone({"within": "4 mm of the edge"})


def test_three_panels_at_one_edge():
    """A T of three panels: a disc about a point of their seam has half of itself on each."""
    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [0, -1, 0], [1, -1, 0], [0, 0, 1], [1, 0, 1.0]])
    f = np.array([[0, 1, 3], [0, 3, 2], [0, 4, 5], [0, 5, 1], [0, 1, 7], [0, 7, 6]])
    zone = surface(p, f).zone({"within": "100 mm of (500 mm, 0 mm, 0 mm)"})
    assert zone.area == pytest.approx(1.5 * pi * 0.1**2, rel=3e-4)
    beside = surface(p, f).zone({"within": "100 mm of (500 mm, 60 mm, 0 mm)"})
    beyond = 0.1**2 * np.arccos(0.6) - 0.06 * 0.08  # the segment of the disc past the seam, on both other panels
    assert beside.area == pytest.approx(pi * 0.1**2 + beyond, rel=2e-3)


def test_duplicate_faces_do_not_stop_a_zone():
    """Both copies lie in the zone, so its area is doubled like that of the file."""
    twice = surface(PANEL.vertices, np.concatenate([PANEL.faces, PANEL.faces[:, ::-1]]))
    zone = twice.zone({"within": "60 mm of (500 mm, 300 mm, 0 mm)"})
    assert zone.area == pytest.approx(2 * pi * 0.06**2, rel=3e-4)


def test_empty_spec_is_the_whole():
    assert PANEL.zone({"name": "all"}).area == pytest.approx(0.6)
    assert isinstance(PANEL.zone({}), Measured)


def test_a_zone_far_finer_than_its_edge_is_long_is_refused_with_what_would_do():
    """0.1 mm along 3.2 m of edge took 2.6 GB and most of a minute."""
    with pytest.raises(SurfaceError, match=r"too fine.*0\.4 mm or more"):
        PANEL.zone({"within": "0.1 mm of the edge"})


def test_a_stringer_on_a_long_line_needs_no_fine_mesh():
    zone = rectangle(1.5, 0.6).zone({"within": "12.7 mm of the line (100 mm, 300 mm, 0 mm) (1420.8 mm, 300 mm, 0 mm)"})
    assert zone.area == pytest.approx(1.3208 * 0.0254 + pi * 0.0127**2, rel=1e-4)
    assert zone.triangles < 1_000
    # round a barrel of 200 mm the strip follows the skin: as wide along it, on 120 facets or on 2,000
    along = {"within": "4 mm of the line (0 mm, 200 mm, 40 mm) (0 mm, 200 mm, 460 mm)"}
    assert HALF_PIPE.zone(along).area == pytest.approx(0.420 * 0.008 + pi * 0.004**2, rel=3e-3)


def test_a_long_strip_that_bends_across_is_walked_as_before():
    from layup.shape.conditions import _long_strip

    points, faces = HALF_PIPE.vertices, HALF_PIPE.faces
    assert _long_strip(points, faces, np.array([[0.0, 0.2, 0.04], [0.0, 0.2, 0.46]]), 0.02) is None
    wide = HALF_PIPE.zone({"within": "20 mm of the line (0 mm, 200 mm, 40 mm) (0 mm, 200 mm, 460 mm)"})
    assert wide.area == pytest.approx(0.42 * 0.04 + pi * 0.02**2, rel=3e-3)


def test_on_a_flat_panel_lines_and_points_are_cut_as_they_are():
    line = PANEL.cut({"within": "40 mm of the line (200 mm, 100 mm, 0 mm) (500 mm, 400 mm, 0 mm)"})
    assert line.inside.area == pytest.approx(0.08 * np.hypot(0.3, 0.3) + pi * 0.04**2, rel=1e-9)
    assert len(line.inner) < 300
    over = PANEL.zone({"within": "40 mm of the line (200 mm, 500 mm, 0 mm) (300 mm, 630 mm, 0 mm)"})
    whole = shapely.LineString([(0.2, 0.5), (0.3, 0.63)]).buffer(0.04, quad_segs=200)
    assert over.area == pytest.approx(
        whole.intersection(shapely.box(0, 0, 1, 0.6)).area, rel=1e-4
    )  # drawn past the edge
    lifted = PANEL.zone({"within": "40 mm of the line (200 mm, 100 mm, 9 mm) (500 mm, 400 mm, 9 mm)"})
    assert lifted.area == pytest.approx(line.inside.area, rel=1e-12)


SLIT = outline([(0, 0), (1, 0), (1, 0.3), (0.4, 0.3), (0.4, 0.3 + 1e-7), (1, 0.3 + 1e-7), (1, 0.6), (0, 0.6)])


@pytest.mark.parametrize(
    ("panel", "ends"),
    [
        (outline([(0, 0), (1, 0), (1, 0.6), (0, 0.6)], [[(0.3, 0.2), (0.4, 0.2), (0.4, 0.3), (0.3, 0.3)]]), 0.17),
        (outline([(0, 0), (1, 0), (1, 0.2), (0.5, 0.2), (0.5, 0.6), (0, 0.6)]), 0.17),  # an inner corner
        (SLIT, 0.28),
        (PANEL, -0.01),  # a line beside the panel is laid on its edge
    ],
)
def test_where_the_way_goes_round_something_it_is_walked(panel, ends):
    """What a straight cut would take behind an opening, a corner or a saw cut is further off along the part."""
    from layup.shape.conditions import _on_the_flat

    points, faces = panel.vertices, panel.faces
    assert _on_the_flat(points, faces, np.array([[0.2, ends, 0.0], [0.8, ends, 0.0]]), 0.05) is None
    away = np.array([[0.1, 0.08, 0.0], [0.3, 0.08, 0.0]])
    assert _on_the_flat(points, faces, away, 0.05) is not None


def test_zones_that_overlap_on_two_large_faces_are_cut_by_their_borders():
    """Their triangles laid over each other grew as their product: five strips did not end in 90 s."""
    rng = np.random.default_rng(7)
    starts, turns = rng.uniform((0.3, 0.2), (0.7, 0.3), (9, 2)), rng.uniform(0, pi, 9)
    ends = starts + 0.25 * np.column_stack([np.cos(turns), np.sin(turns)])
    specs = [
        {"within": f"40 mm of the line ({a:.6f} m, {b:.6f} m, 0 m) ({c:.6f} m, {d:.6f} m, 0 m)"}
        for (a, b), (c, d) in zip(starts, ends, strict=True)
    ]
    parted = partition(PANEL, specs)
    assert sum(piece.measured.area for piece in parted.pieces) == pytest.approx(0.6, rel=1e-9)
    assert sum(len(piece.soup) for piece in parted.pieces) < 9_000
    drawn = [shapely.LineString(pair).buffer(0.04, quad_segs=64) for pair in zip(starts, ends, strict=True)]
    panel = shapely.box(0, 0, 1, 0.6)
    for k, j in combinations_with_replacement(range(9), 2):
        both = sum(piece.measured.area for piece in parted.pieces if {k, j} <= piece.zones)
        assert both == pytest.approx(drawn[k].intersection(drawn[j]).intersection(panel).area, abs=3e-6)


def test_a_strip_centred_on_a_curve_by_its_points():
    bent = PANEL.zone(
        {"within": "5 mm of the line (100 mm, 100 mm, 0 mm) (500 mm, 100 mm, 0 mm) (500 mm, 500 mm, 0 mm)"}
    )
    # two legs of 400 mm, half a disc at each end, and round the outside of the corner a quarter less the inner square
    assert bent.area == pytest.approx(2 * 0.4 * 0.01 + pi * 0.005**2 + (pi / 4 - 1) * 0.005**2, rel=2e-3)


@pytest.mark.parametrize(
    ("text", "share"),
    [("the middle third of x", 1 / 3), ("last quarter of y", 1 / 4), ("x 20 % 80 %", 0.6), ("first half of x", 1 / 2)],
)
def test_bands_said_as_shares_of_the_whole(text, share):
    assert PANEL.zone({"between": text}).area == pytest.approx(0.6 * share)
    with pytest.raises(SurfaceError, match="the middle third of x"):
        PANEL.zone({"between": "the thick end of x"})


FINE = wrapped(lambda u, v: (u, v, 0.0 * u), (0.0, 1.0), (0.0, 0.6), 8, 5)


@pytest.mark.parametrize("panel", [PANEL, FINE], ids=["two faces, both cut", "eighty, some whole"])
def test_every_piece_has_its_share_of_the_free_edge(panel):
    """By hand: a strip of 300 mm across a panel of 1 m x 600 mm, and one of 100 mm along its edge, over its end."""
    from layup.shape.partition import partition
    from layup.shape.topology import free_edges

    edges = free_edges(panel.faces)
    owner = np.array([next(n for n, face in enumerate(panel.faces) if set(edge) <= set(face)) for edge in edges])
    parted = partition(panel, [{"between": "x 200 mm 500 mm"}, {"between": "y 0 mm 100 mm"}])
    rims = parted.rims(np.zeros(len(edges), dtype=np.int64), edges, owner, 1)[:, 0]
    found = {tuple(sorted(piece.zones)): rim for piece, rim in zip(parted.pieces, rims, strict=True)}
    assert found == {
        (0,): pytest.approx(0.3, rel=1e-9),
        (1,): pytest.approx(0.7 + 0.2, rel=1e-9),
        (0, 1): pytest.approx(0.3, rel=1e-9),
        (): pytest.approx(0.7 + 1.0, rel=1e-9),
    }
