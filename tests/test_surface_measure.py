import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from oracles.measure import combine

from layup.errors import RangeError
from layup.files.stl import RECORD
from layup.shape.measure import Measured, measure_triangles
from layup.shape.scan import scan_triangles

soups = arrays(np.float64, st.tuples(st.integers(1, 12), st.just(3), st.just(3)), elements=st.floats(-2, 2, width=32))
shifts = arrays(np.float64, 3, elements=st.floats(-5, 5))


def close(a: Measured, b: Measured) -> None:
    assert a.area == pytest.approx(b.area, rel=1e-9, abs=1e-12)
    if min(a.area, b.area) > 1e-6:
        assert a.centroid == pytest.approx(b.centroid, abs=1e-7)
        assert np.array(a.second_moment) == pytest.approx(np.array(b.second_moment), abs=1e-7)


def turned(angle: float, axis: int) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.roll(np.roll(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), axis, axis=0), axis, axis=1)


@given(soups, st.randoms())
def test_order_of_triangles_and_corners_does_not_matter(soup, random):
    rows = list(range(len(soup)))
    random.shuffle(rows)
    corners = random.sample([0, 1, 2], 3)
    close(measure_triangles(soup), measure_triangles(soup[rows][:, corners]))


@given(soups, shifts, st.floats(0, 6.3), st.integers(0, 2))
def test_moving_and_turning(soup, shift, angle, axis):
    r = turned(angle, axis)
    before, after = measure_triangles(soup), measure_triangles(soup @ r.T + shift)
    assert after.area == pytest.approx(before.area, rel=1e-9, abs=1e-9)
    if before.area > 1e-3:
        assert after.centroid == pytest.approx(r @ before.centroid + shift, abs=1e-7)
        assert np.array(after.second_moment) == pytest.approx(r @ before.second_moment @ r.T, abs=1e-6)


@given(soups, st.sampled_from([1e-3, 0.0254, 0.3048]))
def test_unit_scale(soup, factor):
    close(measure_triangles(soup * factor), measure_triangles(soup).scaled(factor))


@given(soups, st.integers(0, 11), st.floats(0.05, 0.9), st.floats(0.05, 0.9))
def test_splitting_a_triangle_changes_nothing(soup, row, s, t):
    a, b, c = soup[row % len(soup)]
    p = a + s * (b - a)
    q = p + t * (c - p)
    parts = np.array([[a, p, c], [p, b, q], [q, b, c]])
    split = np.concatenate([np.delete(soup, row % len(soup), axis=0), parts])
    close(measure_triangles(soup), measure_triangles(split))


@given(soups, st.integers(1, 11))
def test_combine_is_the_whole(soup, cut):
    cut = cut % len(soup)
    close(combine([measure_triangles(soup[:cut]), measure_triangles(soup[cut:])]), measure_triangles(soup))


@given(soups, st.integers(1, 5))
def test_chunks_do_not_matter(soup, chunk):
    close(measure_triangles(soup, chunk=chunk), measure_triangles(soup))


def test_nothing_and_unknown():
    assert measure_triangles(np.zeros((0, 3, 3))).area == 0.0
    assert combine([]).area == 0.0
    both = combine([Measured(1.0, perimeter=2.0), Measured(2.0, (0.0, 0.0, 0.0), perimeter=3.0)])
    assert (both.area, both.centroid, both.perimeter) == (3.0, None, 5.0)
    with pytest.raises(RangeError):
        Measured(1.0).scaled(0.0)


def test_second_moment_far_from_the_origin():
    """A part drawn far away loses no digits it had: a unit square 1 km off, exact 1/12."""
    square = np.array([[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]], dtype=float) + 1000.0
    assert np.array(measure_triangles(square).second_moment)[0, 0] == pytest.approx(1 / 12, rel=1e-9)


def tetrahedron() -> np.ndarray:
    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    return p[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]


@given(st.permutations(range(4)), st.lists(st.integers(0, 2), min_size=4, max_size=4), st.booleans(), st.booleans())
def test_closed_is_seen_whatever_the_order(order, turns, single, flip):
    solid = np.array([np.roll(t, k, axis=0) for t, k in zip(tetrahedron()[order], turns, strict=True)])
    solid = solid[:, ::-1] if flip else solid
    solid = solid.astype(np.float32) if single else solid
    scan = scan_triangles(solid)
    assert scan.even_edges
    assert abs(scan.volume) == pytest.approx(1 / 6)
    assert scan.vector_area == pytest.approx((0, 0, 0), abs=1e-7)
    assert not scan_triangles(solid[1:]).even_edges


def test_minus_zero_is_zero():
    solid = tetrahedron()
    solid[0][solid[0] == 0.0] = -0.0
    assert scan_triangles(solid).even_edges
    assert scan_triangles(solid.astype(np.float32)).even_edges


def test_triangles_without_area_are_counted_and_leave_a_solid_closed():
    line = np.array([[[0, 0, 0], [1, 0, 0], [1, 0, 0]]], dtype=float)
    scan = scan_triangles(np.concatenate([tetrahedron(), line]))
    assert (scan.degenerate, scan.even_edges) == (1, True)


@settings(max_examples=20, deadline=None)
@given(
    arrays(np.float32, st.tuples(st.integers(1, 40), st.just(3), st.just(3)), elements=st.floats(-9, 9, width=16)),
    st.booleans(),
)
def test_compiled_and_plain_scan_agree(soup, doubled):
    from layup.files.stl_fast import scan_records

    soup = np.concatenate([soup, soup]) if doubled else soup
    records = np.zeros(len(soup), dtype=RECORD)
    records["corners"] = soup
    plain, fast = scan_triangles(soup), scan_records(records)
    assert fast.even_edges == plain.even_edges
    assert fast.degenerate == plain.degenerate
    assert fast.volume == pytest.approx(plain.volume, rel=1e-9, abs=1e-6)
    assert fast.vector_area == pytest.approx(plain.vector_area, abs=1e-6)
    assert fast.measured.box == plain.measured.box
    close(fast.measured, plain.measured)
    if doubled:
        assert fast.even_edges


def test_compiled_scan_names_the_bad_triangle():
    from layup.errors import SurfaceError
    from layup.files.stl_fast import scan_records

    records = np.zeros(200_000, dtype=RECORD)
    records["corners"][150_001, 2, 1] = np.nan
    with pytest.raises(SurfaceError, match="triangle 150002 has a corner"):
        scan_records(records)
    with pytest.raises(SurfaceError, match="triangle 150002 has a corner"):
        scan_triangles(records["corners"])
