"""Areas from stations against closed forms.

Tolerances: straight edges are exact. A smooth edge at 9 stations comes within 0.2 % by the spline; the straight-line
rule may be several per cent low at a round end, and the stated spread must cover what is wrong.
"""

import json
import random
from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files.stations import from_girths, from_widths, integrate, read_stations

TURN = 2 * pi


def half_circle(n):
    x = np.linspace(-1.0, 1.0, n)
    return x, np.sqrt(np.maximum(1.0 - x * x, 0.0))


def test_tapered_panel_is_exact():
    surface = from_widths([0.0, 0.4, 1.0, 2.0], [0.3, 0.26, 0.2, 0.1])
    assert surface.whole.area == pytest.approx(0.4, rel=1e-12)
    # centroid of a trapezoid from its wide end: h (a + 2 b) / (3 (a + b))
    assert surface.whole.centroid == pytest.approx((2.0 * (0.3 + 0.2) / (3 * 0.4), 0.0, 0.0), abs=1e-9)
    assert surface.perimeter == pytest.approx(0.3 + 0.1 + 2 * hypot(2.0, 0.1), rel=1e-9)
    assert surface.findings[0].area_effect == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("n", "within"), [(5, 0.007), (9, 0.0015), (17, 2e-4)])
def test_elliptic_panel_closing_to_zero(n, within):
    x, y = half_circle(n)
    found = integrate(x, 0.6 * y)
    want = pi * 1.0 * 0.3
    assert found.spline == pytest.approx(want, rel=within)
    assert found.trapezoid < want
    assert found.spread > abs(found.area - want)
    surface = from_widths(x, 0.6 * y)
    assert surface.whole.area == pytest.approx(found.spline, rel=1e-9)
    assert surface.whole.centroid == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize(("n", "within"), [(5, 0.005), (9, 6e-4), (17, 1e-4)])
def test_sphere_by_girths(n, within):
    x, r = half_circle(n)
    found = integrate(x, TURN * r, turn=TURN)
    assert found.spline == pytest.approx(4 * pi, rel=within)
    assert found.trapezoid < 4 * pi
    assert found.spread > abs(found.area - 4 * pi)


def test_cone_and_frustum_by_girths_are_exact():
    # Frustum r 0.3 to 0.1, H = 0.5: area pi (r1 + r2) s, centroid (H / 3)(r1 + 2 r2)/(r1 + r2); handbook formulas
    x = np.linspace(0.0, 0.5, 6)
    surface = from_girths(x, TURN * (0.3 - 0.4 * x))
    assert surface.whole.area == pytest.approx(0.6767197679, rel=1e-9)
    assert surface.whole.centroid == pytest.approx((0.2083333333, 0.0, 0.0), abs=1e-9)
    assert not surface.has_mesh
    half = from_girths(x, pi * (0.3 - 0.4 * x), turn=pi)
    assert half.whole.area == pytest.approx(0.6767197679 / 2, rel=1e-9)
    assert half.whole.centroid is None


def test_paraboloid_from_its_tip():
    # a = 0.5, h = 0.3: area 1.0222545570, centroid 0.1606916656 from the apex; handbook formula, checked by quadrature
    x = 0.3 * np.linspace(0.0, 1.0, 9) ** 2
    surface = from_girths(x, TURN * 0.5 * np.sqrt(x / 0.3))
    assert surface.whole.area == pytest.approx(1.0222545570, rel=1e-3)
    assert surface.whole.centroid[0] == pytest.approx(0.1606916656, rel=2e-3)


def test_stations_along_the_skin_need_no_slope():
    s = np.linspace(0.0, pi, 13)
    found = integrate(s, TURN * np.sin(s), turn=TURN, along="skin")
    assert found.spline == pytest.approx(4 * pi, rel=1e-3)


def test_step_is_no_ramp():
    found = integrate([0.0, 0.5, 0.5, 1.0], [0.2, 0.2, 0.4, 0.4])
    assert found.area == pytest.approx(0.3, rel=1e-12)
    surface = from_widths([0.0, 0.5, 0.5, 1.0], [0.2, 0.2, 0.4, 0.4])
    assert surface.whole.area == pytest.approx(0.3, rel=1e-12)
    assert surface.perimeter == pytest.approx(0.2 + 0.4 + 2.0 + 0.2, rel=1e-12)


def test_overshoot_falls_back_to_the_shape_keeping_curve():
    x = [0.0, 0.4, 0.45, 0.5, 1.0]
    found = integrate(x, [0.1, 0.1, 0.1, 0.6, 0.6])
    assert found.curve == "shape-keeping cubic"
    assert found.line[:, 1].min() >= 0.1 - 1e-12
    assert found.line[:, 1].max() <= 0.6 + 1e-12


def test_rules_and_findings_are_both_shown():
    x, y = half_circle(7)
    smooth, straight = from_widths(x, y), from_widths(x, y, rule="trapezoid")
    assert straight.whole.area == pytest.approx(np.trapezoid(y, x), rel=1e-12)
    assert smooth.whole.area > straight.whole.area
    text = smooth.findings[0].text
    assert f"{straight.whole.area:.4g} m^2" in text
    assert f"{smooth.whole.area:.4g} m^2" in text
    assert smooth.findings[0].kind == "stations"
    assert smooth.findings[1].kind == "coarse stations"


def test_reading_of_the_tape():
    # n equal bays: the area's uncertainty is the reading's times the root of the sum of the squared weights
    found = integrate(np.linspace(0, 1, 11), np.full(11, 0.3), reading=1e-3)
    assert found.spread == pytest.approx(1e-3 * np.sqrt(9 * 0.1**2 + 2 * 0.05**2), rel=1e-9)


@given(st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(0.01, 2.0)), min_size=2, max_size=15), st.floats(0.1, 10))
def test_trapezoid_scale_and_shift(rows, factor):
    x = np.cumsum([a for a, _ in rows])
    w = np.array([b for _, b in rows])
    found = integrate(x, w)
    assert found.trapezoid == pytest.approx(np.trapezoid(w, x), rel=1e-12)
    again = integrate(x * factor + 3.0, w * factor)
    assert again.spline == pytest.approx(found.spline * factor**2, rel=1e-6)
    assert again.centroid == pytest.approx(found.centroid * factor + 3.0, rel=1e-6)
    assert (found.line[:, 1] >= 0.0).all()


@pytest.mark.parametrize(
    ("stations", "sizes", "words"),
    [
        ([0.0], [1.0], "1 stations"),
        ([0.0, 1.0], [1.0], "2 stations but 1 sizes"),
        ([0.0, 1.0, 0.5], [1.0, 1.0, 1.0], "station 3 at 500 mm lies before"),
        ([0.0, 1.0], [1.0, -1.0], "station 2: size -1000 mm"),
        ([0.0, float("nan")], [1.0, 1.0], "station 2"),
        ([0.0, 1.0], [0.0, 0.0], "every size is 0"),
        ([0.0, 0.5, 0.5, 0.5, 1.0], [1.0] * 5, "three sizes at station 500 mm"),
        ([0.0, 0.0, 1.0], [1.0, 2.0, 1.0], "a step at the first"),
        ([0.0, 0.5, 1.0], [1.0, 0.0, 1.0], "the width is 0 at station"),
    ],
)
def test_what_can_not_be_taken(stations, sizes, words):
    with pytest.raises(SurfaceError, match=words):
        from_widths(stations, sizes)


def test_stations_from_a_file(tmp_path):
    path = tmp_path / "s.csv"
    path.write_text("station [in], width [in]\n0, 10\n20, 10\n40, 5\n")
    kind, x, w = read_stations(path)
    assert (kind, x[2], w[2]) == ("width", pytest.approx(1.016), pytest.approx(0.127))
    path.write_text("station,girth\n0,10\n20,10\n")
    with pytest.raises(SurfaceError, match="no unit"):
        read_stations(path)
    assert read_stations(path, unit="mm")[0] == "girth"
    for text, words in {
        "station [mm]\n0\n1\n": "neither width nor girth",
        "station,width,girth\n0,1,2\n": "a width and a girth",
        "station [mm],width [mm]\n0,1\n2,\n": "line 3: no width",
        "station [mm],width [mm]\n0,1\n2,wide\n": "line 3",
    }.items():
        path.write_text(text)
        with pytest.raises(SurfaceError, match=words):
            read_stations(path)


def test_hundred_damaged_files(tmp_path):
    data = ("station [mm],width [mm]\n" + "".join(f"{50 * k},{100 + k * k}\n" for k in range(12))).encode()
    rng, refused, path = random.Random(2), 0, tmp_path / "f.csv"
    for _ in range(100):
        out = bytearray(data)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(out))
            out[at : at + rng.randint(0, 6)] = rng.choice([b"\n", b"-", b";", b"x", b"1e9", b"", b"0,0\n", b"\x00"])
        path.write_bytes(bytes(out))
        try:
            _, x, w = read_stations(path)
            assert np.isfinite(from_widths(x, w).whole.area)
        except SurfaceError:
            refused += 1
    assert refused > 20


@pytest.mark.parametrize(("size", "area"), [("width", 0.5 * (0.4 + 0.2)), ("girth", None)])
def test_surface_reads_a_csv_of_stations(tmp_path, size, area):
    from click.testing import CliRunner

    from layup.commands.cli import main

    file = tmp_path / "wing.csv"
    file.write_text(f"# measured with a tape\nstation (mm),{size} (mm)\n0,400\n500,300\n1000,200\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["surface", str(file), "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert told["area_m2"] == pytest.approx(area if area is not None else 0.3, rel=0.02)
