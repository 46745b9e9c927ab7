"""CSV of points against the surveyor's formula; what a shop writes, and what it gets wrong."""

import random
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files.read_points import read_points


def csv(tmp_path, text, name="points.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def area(tmp_path, text, **more):
    return read_points(csv(tmp_path, text), **more).surface().whole.area


@pytest.mark.parametrize(
    "text",
    [
        "x [mm], y [mm]\n0, 0\n620, 0\n620, 380\n0, 380\n",
        "X (mm);Y (mm)\n0;0\n620;0\n620;380\n0;380\n0;0\n",
        "x [cm]\ty [cm]\n0\t0\n62\t0\n62,0\t38,0\n0\t38\n",
        "x [mm] y [mm]\n0 0\n620 0\n620 380\n0 380\n",
        "# door, inside\nno,y [m],x [m]\n1,0,0\n2,0,.62\n3,.38,.62\n4,3.8e-1,0\n",
        "\ufeffx [mm],y [mm]\r\n0,0\r\n620,0\r\n620,380\r\n0,380\r\n\r\n\r\n",
        "x[mm],y[mm],z[mm]\n0,0,7\n620,0,7\n620,380,7\n0,380,7\n",
    ],
)
def test_ways_to_write_a_rectangle(tmp_path, text):
    assert area(tmp_path, text) == pytest.approx(0.62 * 0.38, rel=1e-12)


def test_without_header_and_in_another_encoding(tmp_path):
    assert area(tmp_path, "0 0\n10 0\n10 5\n", unit="in") == pytest.approx(25 * 0.0254**2, rel=1e-12)
    wide = csv(tmp_path, "x [mm],y [mm]\n0,0\n10,0\n10,5\n", encoding="utf-16")
    assert read_points(wide).surface().whole.area == pytest.approx(25e-6, rel=1e-12)


def test_loops_by_blank_line_and_by_column(tmp_path):
    blank = "x [mm],y [mm]\n0,0\n100,0\n100,100\n0,100\n\n\n10,10\n30,10\n30,30\n10,30\n\n50,50\n60,50\n60,60\n"
    assert area(tmp_path, blank) == pytest.approx(0.01 - 4e-4 - 5e-5, rel=1e-12)
    named = "loop,x [mm],y [mm]\n" + "".join(
        f"{word},{x},{y}\n"
        for word, ring in {
            "edge": [(0, 0), (100, 0), (100, 100), (0, 100)],
            "window": [(10, 10), (30, 10), (30, 30), (10, 30)],
            "ply 2": [(50, 50), (60, 50), (60, 60)],
        }.items()
        for x, y in ring
    )
    surface = read_points(csv(tmp_path, named)).surface()
    assert surface.whole.area == pytest.approx(0.01 - 4e-4, rel=1e-12)
    assert surface.zone({"group": "ply 2"}).area == pytest.approx(5e-5, rel=1e-12)


@given(st.lists(st.floats(0.2, 3.0), min_size=3, max_size=40), st.integers(0, 39), st.booleans())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_star_agrees_with_the_surveyors_formula(tmp_path, radii, first, backward):
    n = len(radii)
    ring = [(r * cos(2 * pi * k / n), r * sin(2 * pi * k / n)) for k, r in enumerate(radii)]
    want = abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True))) / 2
    ring = ring[first % n :] + ring[: first % n]
    ring = ring[::-1] if backward else ring
    text = "x [m],y [m]\n" + "".join(f"{x!r},{y!r}\n" for x, y in ring)
    assert area(tmp_path, text) == pytest.approx(want, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no numbers"),
        ("x,y\n", "no numbers"),
        ("x [mm],y [mm]\n0,0\n1,zero\n2,2\n", 'line 3: "zero" is not a number'),
        ("x [mm],y [mm]\n0,0\n1\n2,2\n", "line 3: no number for y"),
        ("x [mm],y [mm]\n0,0\n1,1e999\n2,2\n", 'line 3: "1e999" is no finite number'),
        ("x [mm],y [mm]\n0,0\n1,nan\n2,2\n", 'line 3: "nan" is not a number'),
        ("a,b\n0,0\n1,1\n", "line 1: no column x and no column y; it has a, b"),
        ("x [mm],y [in]\n0,0\n", "different units, in and mm"),
        ("x [mm],x [mm],y [mm]\n0,0,0\n", "two columns x"),
        ("x [kg],y [kg]\n0,0\n1,0\n1,1\n", 'unit "kg" is not a unit of length'),
        ("x [mm],y [mm]\n0,0\n100,0\n", "line 2: .* has 2 points"),
        ("x [mm],y [mm]\n0,0\n9,0\n9,9\n\n1,1\n2,2\n", "line 6: the loop that starts at line 6 has 2 points"),
        ("x [mm],y [mm]\n0,0\n100,100\n100,0\n0,100\n", r"at \(50, 50\), line 2 to 3 and line 4 to 5"),
        ("x [mm],y [mm],z [mm]\n0,0,0\n100,0,0\n100,100,50\n", "differ in z by 50"),
        ("x [mm],y [mm]\n0,0\n100,0\n50,0\n", "crosses or touches itself"),
        ("x,y\n0,0\n620,0\n620,380\n", "no unit.*620 x 380 mm.*15.75 x 9.652 m.*in m 620 x 380 m"),
    ],
)
def test_what_can_not_be_read(tmp_path, text, words):
    with pytest.raises(SurfaceError, match=words):
        read_points(csv(tmp_path, text)).surface()


def test_unit_that_disagrees_and_no_text(tmp_path):
    with pytest.raises(SurfaceError, match='unit = "in" was given, but the header of the file says mm'):
        read_points(csv(tmp_path, "x [mm],y [mm]\n0,0\n1,0\n1,1\n"), unit="in")
    (tmp_path / "b.csv").write_bytes(bytes(range(256)) * 4)
    with pytest.raises(SurfaceError, match="not a text file"):
        read_points(tmp_path / "b.csv")
    with pytest.raises(SurfaceError, match="can't be read"):
        read_points(tmp_path / "none.csv")


def test_hundred_damaged_files(tmp_path):
    ring = "".join(f"{100 * cos(k / 5):.3f},{100 * sin(k / 5):.3f},a\n" for k in range(31))
    data = ("x [mm],y [mm],loop\n" + ring + "\n10,10,b\n20,10,b\n20,20,b\n").encode()
    rng, said = random.Random(5), []
    for _ in range(100):
        out = bytearray(data)
        for _ in range(rng.randint(1, 5)):
            at = rng.randrange(len(out))
            if rng.random() < 0.5:
                out[at] = rng.choice(b'\n\r;,"\t #0-e.\x00\xff[')
            else:
                del out[at : at + rng.randint(1, 20)]
        (tmp_path / "f.csv").write_bytes(bytes(out))
        try:
            assert np.isfinite(read_points(tmp_path / "f.csv").surface().whole.area)
        except SurfaceError as problem:
            said.append(str(problem))
    assert len(said) > 20
    assert all(words.startswith(str(tmp_path / "f.csv")) for words in said)
