"""From a click to the part file's own words, and back by the reader of those words."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.report import pointed
from layup.report.pointed import seen_point
from layup.shape import flat
from layup.shape.plan import parse_place
from layup.sides.side import parse_side
from layup.units import INCH

coordinate = st.floats(-20.0, 20.0)
spot = st.tuples(coordinate, coordinate, coordinate)


@given(spot, st.sampled_from(["mm", "in"]))
def test_a_place_reads_back(at: tuple[float, float, float], unit: str) -> None:
    half = 0.5 * {"mm": 1e-4, "in": 0.01 * INCH}[unit] + 1e-12
    assert np.allclose(parse_place(pointed.place(at, unit), "within"), at, rtol=0, atol=half)


@given(spot)
def test_a_side_reads_back_to_a_hundredth_of_a_millimetre(at: tuple[float, float, float]) -> None:
    side = parse_side(pointed.touching(at))
    assert side.kind == "touching"
    assert np.allclose(side.vector, at, rtol=0, atol=0.5e-5 + 1e-12)


@pytest.mark.parametrize(
    ("typed", "unit", "written"),
    [("60", "mm", "60 mm"), (" 2 1/2 in ", "mm", "2 1/2 in"), ("2.5", "in", "2.5 in"), ('3"', "mm", '3"')],
)
def test_a_distance_stays_as_typed_and_gets_a_unit(typed: str, unit: str, written: str) -> None:
    assert pointed.round_point((0.1, 0.2, 0.0), typed, unit).startswith(written + " of (")


@pytest.mark.parametrize("typed", ["", "wide", "0", "-4 mm", "60 mm of the edge", "4 oz", "1e9 m"])
def test_a_distance_that_is_none_is_told(typed: str) -> None:
    with pytest.raises(SurfaceError):
        pointed.near_edge(typed, "edge")


@given(spot, spot)
def test_a_band_lies_between_its_clicks(one: tuple[float, float, float], two: tuple[float, float, float]) -> None:
    if np.abs(np.subtract(one, two)).max() < 2e-4:
        return
    axis, *stations = pointed.band(one, two).split()
    k = "xyz".index(axis)
    assert np.abs(np.subtract(one, two))[k] == np.abs(np.subtract(one, two)).max()
    read = [float(stations[0]) * 1e-3, float(stations[2]) * 1e-3]
    assert np.allclose(read, sorted((one[k], two[k])), rtol=0, atol=1e-4)


def test_zones_of_a_rectangle_have_the_area_that_was_clicked() -> None:
    surface = flat.rectangle(0.8, 0.5)
    band = pointed.band((0.1, 0.4, 0.0), (0.3, 0.1, 0.0), "x")
    assert surface.zone({"between": band}).area == pytest.approx(0.2 * 0.5, rel=1e-9)
    corners = [(0.1, 0.1, 0.0), (0.5, 0.1, 0.0), (0.5, 0.3, 0.0)]
    values = pointed.outline(corners, "z")
    inside = [[f"{v} {values['unit']}" for v in point] for point in json.loads(values["inside"])]
    zone = surface.zone({"inside": inside, "along": json.loads(values["along"])})
    assert zone.area == pytest.approx(0.5 * 0.4 * 0.2, rel=1e-9)
    spot_zone = surface.zone({"within": pointed.round_point((0.4, 0.25, 0.0), "60")})
    assert spot_zone.area == pytest.approx(np.pi * 0.06**2, rel=2e-3)  # a disc, drawn with straight lines
    rim = surface.zone({"within": pointed.near_edge("40 mm", "edge")})
    assert rim.area == pytest.approx(
        0.8 * 0.5 - 0.72 * 0.42, rel=1e-3
    )  # walked along the surface, not exact at corners


def test_the_edge_that_is_nearest() -> None:
    large, small = [(0.1, 0.1), (0.3, 0.1), (0.3, 0.3), (0.1, 0.3)], [(0.6, 0.2), (0.7, 0.2), (0.7, 0.3), (0.6, 0.3)]
    surface = flat.outline([(0.0, 0.0), (1.0, 0.0), (1.0, 0.5), (0.0, 0.5)], [small, large])
    points, faces = surface.vertices, surface.faces
    assert pointed.edge_at(points, faces, (0.98, 0.25, 0.0)) == "outer edge"
    assert pointed.edge_at(points, faces, (0.2, 0.32, 0.0)) == "cut-out 1"
    assert pointed.edge_at(points, faces, (0.59, 0.25, 0.0)) == "cut-out 2"
    zone = surface.zone({"within": pointed.near_edge("10 mm", "cut-out 2")})
    assert zone.area == pytest.approx(4 * 0.1 * 0.01 + np.pi * 0.01**2, rel=1e-2)  # four strips and four corners


def test_too_few_corners_and_no_width_are_told() -> None:
    with pytest.raises(SurfaceError, match="three corners"):
        pointed.outline([(0, 0, 0), (1, 0, 0), (1, 0, 0)], "z")
    with pytest.raises(SurfaceError, match="further apart"):
        pointed.band((0.1, 0.0, 0.0), (0.1, 0.3, 0.0), "x")


WALL = np.array([[x, y, z] for z in (0.0, 0.002) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))], dtype=float)
SHEETS = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])


@pytest.mark.parametrize(("toward", "z"), [((0, 0, 1), 0.002), ((0, 0, -1), 0.0), ((0.3, 0.2, 1), 0.002)])
def test_the_first_skin_on_the_line_of_sight_is_seen(toward: tuple[float, float, float], z: float) -> None:
    at, face = seen_point(WALL, SHEETS, (0.4, 0.3, 0.0013), toward)  # a point in the wall, as a thinned picture gives
    assert at[2] == pytest.approx(z, abs=1e-12)
    assert (face > 1) == (z > 0)
    away = np.cross(np.subtract(at, (0.4, 0.3, 0.0013)), toward)
    assert np.abs(away).max() < 1e-12


def test_a_line_of_sight_that_misses_gives_the_nearest_point() -> None:
    at, _ = seen_point(WALL, SHEETS, (1.2, 0.5, 0.01), (0.0, 0.0, 1.0))
    assert at == pytest.approx((1.0, 0.5, 0.002))


@pytest.mark.parametrize(
    ("at", "toward"), [((np.nan, 0, 0), (0, 0, 1)), ((0, 0, 0), (0, 0, 0)), ((0, 0, 0), (np.inf, 0, 0))]
)
def test_no_place_is_told(at: tuple[float, float, float], toward: tuple[float, float, float]) -> None:
    with pytest.raises(SurfaceError, match="no point"):
        seen_point(WALL, SHEETS, at, toward)
