"""Holes cut out of a surface: areas, edges, balance and rings against closed forms, flat and curved."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.collars import collar
from pytest import approx

from layup.errors import SurfaceError
from layup.shape.flat import outline, rectangle
from layup.shape.holes import Hole, HoleSet, Pattern, grid, ring, row
from layup.shape.loops import free_loops
from layup.shape.measure import measure_triangles
from layup.shape.perforate import closed, covered, perforate
from layup.shape.plan import Plan
from layup.shape.surface import Surface

DOWN = Plan.along((0.0, 0.0, 1.0))


def sheet(height: Callable[[np.ndarray, np.ndarray], np.ndarray], cells: int = 60) -> Surface:
    """A surface over a plan of 0.4 m by 0.2 m, in squares cut in two."""
    x, y = np.meshgrid(np.linspace(0, 0.4, cells + 1), np.linspace(0, 0.2, cells // 2 + 1), indexing="ij")
    points = np.stack([x, y, height(x, y)], axis=-1).reshape(-1, 3)
    n = np.arange(len(points)).reshape(x.shape)
    a, b, c, d = n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    return Surface("sheet", measure_triangles(points[faces]), lambda: (points, faces))


def cut(surface: Surface, pattern: Pattern, plan: Plan = DOWN) -> tuple[Surface, HoleSet]:
    made, (one,) = perforate(surface, [("h", pattern, plan)])
    made.holes = {"h": one}
    return made, one


def test_a_perforated_plate_is_exact() -> None:
    pattern = grid((0.05, 0.05), (0.06, 0.05), (6, 3), 0.03)
    made, one = cut(rectangle(0.4, 0.2), pattern)
    assert made.whole.area == approx(0.08 - 18 * pi * 0.015**2, rel=1e-14)
    assert made.perimeter == approx(1.2 + 18 * pi * 0.03, rel=1e-14)
    assert one.area == approx(pattern.removed, rel=1e-14)
    assert measure_triangles(made.vertices[made.faces]).area == approx(made.whole.area, rel=1e-12)
    loops = free_loops(made.vertices, made.faces)
    assert [loop.outer for loop in loops] == [True] + 18 * [False]  # no crack, no stray edge
    assert one.places[:, :2] == approx(pattern.centres, abs=1e-9)


def test_balance_and_second_moment_are_those_of_true_circles() -> None:
    made, _ = cut(rectangle(0.4, 0.2), Pattern((Hole(0.1, 0.06, 0.08),)))
    r, left = 0.04, 0.08 - pi * 0.04**2
    x = (0.08 * 0.2 - pi * r * r * 0.1) / left
    y = (0.08 * 0.1 - pi * r * r * 0.06) / left
    assert made.whole.centroid == approx((x, y, 0.0), abs=1e-14)
    about_y = 0.2 * 0.4**3 / 3 - (pi * r**4 / 4 + pi * r * r * 0.1**2) - left * x * x
    assert made.whole.second_moment is not None
    assert made.whole.second_moment[0][0] == approx(about_y, rel=1e-12)
    assert made.whole.second_moment[2][2] == approx(0.0, abs=1e-18)


def test_on_a_slope_a_drilled_hole_is_an_ellipse() -> None:
    slope = sheet(lambda x, y: x * tan(radians(30)))
    pattern = grid((0.06, 0.05), (0.06, 0.05), (5, 3), 0.03)
    made, one = cut(slope, pattern)
    assert one.removed == approx(np.full(15, pi * 0.015**2 / cos(radians(30))), rel=1e-9)
    assert made.whole.area == approx(slope.whole.area - one.area, rel=1e-12)
    # an ellipse's perimeter, by Ramanujan's second formula (good to 1e-9 at this shape)
    a, b = 0.015 / cos(radians(30)), 0.015
    h = ((a - b) / (a + b)) ** 2
    assert one.rim == approx(15 * pi * (a + b) * (1 + 3 * h / (10 + sqrt(4 - 3 * h))), rel=1e-3)
    assert any(f.kind == "slanted holes" and "30 degrees" in f.text for f in made.findings)
    square, one = cut(slope, Pattern((Hole(0.1, 0.1, 0.03),)), Plan.along((-sin(radians(30)), 0.0, cos(radians(30)))))
    assert one.area == approx(pi * 0.015**2, rel=1e-9)  # drilled square to it, it takes a circle
    assert square.whole.area == approx(slope.whole.area - one.area, rel=1e-12)


def test_on_a_sphere_a_hole_takes_a_cap() -> None:
    # Archimedes: a cap of height h has 2 pi R h; the mesh of flat facets is short of it by its facets, to second order
    radius = 0.5
    dome = sheet(lambda x, y: np.sqrt(radius**2 - (x - 0.2) ** 2 - (y - 0.1) ** 2), 160)
    _, one = cut(dome, Pattern((Hole(0.2, 0.1, 0.12),)))
    assert one.area == approx(2 * pi * radius * (radius - sqrt(radius**2 - 0.06**2)), rel=2e-5)


@settings(max_examples=12, deadline=None)
@given(st.integers(1, 6), st.integers(1, 3), st.floats(0.004, 0.03), st.floats(0.001, 0.012), st.floats(0, 360))
def test_rings_and_the_rest_make_the_whole(across: int, up: int, diameter: float, width: float, turn: float) -> None:
    plain = grid((-0.03 * (across - 1), -0.03 * (up - 1)), (0.06, 0.06), (across, up), diameter)
    c, s = cos(radians(turn)), sin(radians(turn))
    turned = Pattern(tuple(Hole(c * h.x - s * h.y, s * h.x + c * h.y, h.diameter) for h in plain.holes))
    square = outline([(-0.25, -0.25), (0.25, -0.25), (0.25, 0.25), (-0.25, 0.25)])
    made, one = cut(square, turned)
    assert len(one.pattern.holes) == across * up
    spec = {"within": f"{width!r} m of the holes h"}
    inside, outside = made.zone(spec), made.zone(spec, outside=True)
    assert inside.area == approx(collar(plain, width), rel=1e-9)  # whichever way the pattern is turned
    assert inside.area + outside.area == approx(0.25 - plain.removed, rel=1e-9)


def test_rings_of_a_circle_of_holes_and_their_combinations() -> None:
    pattern = ring((0.2, 0.1), 0.12, 6, 0.02)
    made, _ = cut(rectangle(0.4, 0.2), pattern)
    one = pi * (0.015**2 - 0.01**2)
    assert made.zone({"within": "5 mm of the holes"}).area == approx(6 * one, rel=1e-12)
    assert made.zone({"within": "5 mm of hole 1 of h"}).area == approx(one, rel=1e-12)
    half = {"within": "5 mm of the holes H", "between": "y 0 mm 100 mm"}  # the case of letters is no matter
    assert made.zone(half).area == approx(3 * one, rel=1e-9)
    less = {"within": "5 mm of the holes h", "not": [{"within": "5 mm of hole 1 of h"}]}
    assert made.zone(less).area == approx(5 * one, rel=1e-9)
    both = {"or": [{"within": "5 mm of the holes h"}, {"within": "10 mm of the outer edge"}]}
    assert made.zone(both).area == approx(6 * one + 0.08 - 0.38 * 0.18, rel=2e-3)  # the edge band is walked


def test_rings_on_a_curve_are_walked() -> None:
    # Unrolled, a cylinder drilled toward its axis has, near its top, holes that are round to second order
    radius = 0.5
    made, one = cut(sheet(lambda x, y: np.sqrt(radius**2 - (x - 0.2) ** 2), 80), row((0.2, 0.05), (0.2, 0.15), 2, 0.03))
    ring_area = made.zone({"within": "8 mm of the holes h"}).area
    assert ring_area == approx(2 * pi * (0.023**2 - 0.015**2), rel=5e-3)
    whole = ring_area + made.zone({"within": "8 mm of the holes h"}, outside=True).area
    assert whole == approx(made.whole.area, rel=1e-9)
    assert one.area == approx(2 * pi * 0.015**2, rel=2e-3)


def test_a_cover_runs_over_the_holes() -> None:
    plate = rectangle(0.4, 0.2)
    made, (a, b) = perforate(
        plate, [("a", row((0.1, 0.1), (0.3, 0.1), 3, 0.04), DOWN), ("b", row((0.1, 0.03), (0.3, 0.03), 3, 0.02), DOWN)]
    )
    sets = {"a": a, "b": b}
    assert covered(plate, sets, None).whole.area == approx(0.08, rel=1e-12)
    assert covered(plate, sets, ["a"]).whole.area == approx(0.08 - b.area, rel=1e-12)
    assert closed(made).whole.area == approx(0.08, rel=1e-7)
    assert closed(made).perimeter == approx(1.2, rel=1e-9)
    window = outline([(0, 0), (0.4, 0), (0.4, 0.2), (0, 0.2)], [[(0.1, 0.05), (0.2, 0.05), (0.2, 0.15), (0.1, 0.15)]])
    filled = closed(window)
    assert filled.whole.area == approx(0.08, rel=1e-12)
    normals = np.cross(*(filled.vertices[filled.faces[:, k]] - filled.vertices[filled.faces[:, 0]] for k in (1, 2)))
    assert (normals[:, 2] > 0).all()  # the lid faces as the part does


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        (Pattern((Hole(0.5, 0.1, 0.02, 0.0, "hole 1"),)), "hole 1 at .* lies off the part"),
        (Pattern((Hole(0.2, 0.195, 0.02, 0.0, "hole 1"),)), "runs over the edge"),
        (Pattern((Hole(0.12, 0.1, 0.03, 0.0, "hole 1"),)), "runs over the edge of the part or into another opening"),
    ],
)
def test_holes_that_are_off_the_part(pattern: Pattern, words: str) -> None:
    plate = outline([(0, 0), (0.4, 0), (0.4, 0.2), (0, 0.2)], [[(0.1, 0.09), (0.12, 0.09), (0.12, 0.11), (0.1, 0.11)]])
    with pytest.raises(SurfaceError, match=words):
        perforate(plate, [("h", pattern, DOWN)])


def test_a_hole_along_a_wall_is_refused_and_two_skins_are_told() -> None:
    bent = sheet(lambda x, y: np.where(x > 0.2, (x - 0.2) * 20.0, 0.0))
    with pytest.raises(SurfaceError, match="stands nearly along"):
        cut(bent, Pattern((Hole(0.3, 0.1, 0.02, 0.0, "hole 1"),)))
    top, bottom = sheet(lambda x, y: 0.05 + 0 * x), sheet(lambda x, y: 0 * x)
    points = np.concatenate([top.vertices, bottom.vertices])
    faces = np.concatenate([top.faces, bottom.faces + len(top.vertices)])
    both = Surface("box", measure_triangles(points[faces]), lambda: (points, faces))
    made, one = cut(both, Pattern((Hole(0.2, 0.1, 0.02),)))
    assert one.area == approx(2 * pi * 0.01**2, rel=1e-9)
    assert any("more than one skin" in f.text for f in made.findings)


def test_groups_of_the_file_stay_with_their_faces() -> None:
    plate = rectangle(0.4, 0.2)
    named = Surface(
        "r", plate.whole, lambda: (plate.vertices, plate.faces), groups=lambda: {"lower": np.array([True, False])}
    )
    made, _ = cut(named, Pattern((Hole(0.3, 0.06, 0.04),)))
    assert made.zone({"group": "lower"}).area == approx(0.04 - pi * 0.02**2, rel=1e-9)


def test_the_plan_has_the_axes_a_builder_expects() -> None:
    assert (Plan.along((0, 0, -2)).names, Plan.along((0, 1, 0)).names, Plan.along((1, 0, 0)).names) == (
        "xy",
        "xz",
        "yz",
    )
    assert Plan.along((0, 0, -1)).place([0.1, 0.2]) == (0.1, 0.2)
    slanting = Plan.along((0.0, -1.0, 1.0))
    assert slanting.names == "uv"
    assert slanting.place([0.3, 0.0, 0.0]) == approx((0.3, 0.0))
    with pytest.raises(SurfaceError, match="needs x, y and z"):
        slanting.place([0.1, 0.2])
    with pytest.raises(SurfaceError, match="no direction"):
        Plan.along((0, 0, 0))


@pytest.mark.parametrize("way", [(0, 0, 1), (0, 0, -1), (0.2, 0.1, 1), (-0.2, 0.3, -1)])
def test_what_is_left_faces_as_before_and_has_no_cracks(way: tuple[float, float, float]) -> None:
    wavy = sheet(lambda x, y: 0.03 * np.sin(20 * x) * np.cos(15 * y), 24)
    plan = Plan.along(way)
    middle = plan.seen(np.array([[0.2, 0.1, 0.0]]))[0]
    made, one = cut(wavy, grid((middle[0] - 0.05, middle[1] - 0.03), (0.05, 0.06), (3, 2), 0.03), plan)
    loops = free_loops(made.vertices, made.faces)
    assert sorted(loop.outer for loop in loops) == [False] * 6 + [True]
    assert made.whole.area + one.area == approx(wavy.whole.area, rel=1e-12)
    corner = made.vertices[made.faces]
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2]
    assert (up > 0.0).all()
