import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.shape.flat import from_area, outline, rectangle

SQUARE = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]


def small(x, y, size=0.2):
    return [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]


@given(st.floats(1e-3, 50), st.floats(1e-3, 50))
def test_rectangle(length, width):
    whole = rectangle(length, width).whole
    assert whole.area == pytest.approx(length * width)
    assert whole.centroid == pytest.approx((length / 2, width / 2, 0))
    assert whole.second_moment[0][0] == pytest.approx(width * length**3 / 12)
    assert whole.second_moment[1][1] == pytest.approx(length * width**3 / 12)
    assert whole.perimeter == pytest.approx(2 * (length + width))
    assert whole.box == ((0, 0, 0), (length, width, 0))


def test_outline_with_cut_outs():
    found = outline(SQUARE, [small(0.2, 0.2), small(0.6, 0.6)])
    assert found.whole.area == pytest.approx(1 - 0.08, rel=1e-14)
    assert found.whole.centroid == pytest.approx(((0.5 - 0.04 * 0.3 - 0.04 * 0.7) / 0.92,) * 2 + (0,))
    assert found.perimeter == pytest.approx(4 + 1.6)
    assert found.findings == ()
    assert outline([*SQUARE[::-1], SQUARE[-1]]).whole.area == pytest.approx(1.0)  # closed by hand, other way round


def test_cut_outs_that_overlap_count_once_and_parts_are_told():
    found = outline(SQUARE, [small(0.2, 0.2), small(0.3, 0.3)])
    assert found.whole.area == pytest.approx(1 - 0.07)
    assert [f.kind for f in found.findings] == ["overlap"]
    found = outline(SQUARE, [[(0.4, 0.0), (0.6, 0.0), (0.6, 1.0), (0.4, 1.0)]])
    assert found.whole.area == pytest.approx(0.8)
    assert [(f.kind, f.count) for f in found.findings] == [("pieces", 2)]


@given(st.lists(st.tuples(st.floats(-3, 3), st.floats(-3, 3)), min_size=0, max_size=9))
def test_any_points_give_an_area_or_a_clear_error(points):
    try:
        found = outline(points)
    except SurfaceError as problem:
        assert "outline" in str(problem)  # noqa: PT017
    else:
        area = 0.5 * abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True)))
        assert found.whole.area == pytest.approx(area, rel=1e-6)


@pytest.mark.parametrize(
    ("points", "cutouts", "match"),
    [
        ([(0, 0), (1, 1), (1, 0), (0, 1)], [], r"crosses or touches itself at \(500 mm, 500 mm\)"),
        ([(0, 0), (1, 0)], [], "make no surface"),
        ([(0, 0), (1, 0), (2, 0)], [], "outline"),
        ([(0, 0), (1, 0), (float("nan"), 1)], [], "not a finite number"),
        (SQUARE, [small(0.9, 0.9)], "cut-out 1 reaches outside"),
        (SQUARE, [small(0.2, 0.2), [(0.5, 0.5), (0.6, 0.6), (0.6, 0.5), (0.5, 0.6)]], "cut-out 2"),
        (SQUARE, [SQUARE], "leave nothing"),
    ],
)
def test_bad_outlines(points, cutouts, match):
    with pytest.raises(SurfaceError, match=match) as caught:
        outline(points, cutouts)
    assert caught.value.remedy


def test_bad_numbers():
    with pytest.raises(SurfaceError, match="the width is -100 mm"):
        rectangle(1.0, -0.1)
    with pytest.raises(SurfaceError, match="area"):
        from_area(0.0)


def test_only_an_area():
    found = from_area(0.54)
    assert (found.whole.area, found.whole.centroid, found.perimeter, found.has_mesh) == (0.54, None, None, False)
    with pytest.raises(SurfaceError, match="only its area is known"):
        _ = found.faces
