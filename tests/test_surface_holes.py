"""Hole patterns: exact areas, the diameter rule, readers.

The rule itself (2 or 3 diameters to the edge, 4 between holes) is common practice, no source; what is tested is that
distances are measured right and that the rule asked for is applied.
"""

import random
from math import acos, pi, sqrt

import ezdxf
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from oracles.collars import collar

from layup.errors import SurfaceError
from layup.files.read_drawing import holes_of, read_holes
from layup.files.read_dxf import read_dxf
from layup.shape.flat import outline
from layup.shape.holes import COMPOSITE, METAL, Hole, Pattern, Rule, check, grid, ring, row

PLATE = [(0.0, 0.0), (0.4, 0.0), (0.4, 0.2), (0.0, 0.2)]


def drawing(tmp_path, circles, plate=True):
    doc = ezdxf.new("R2010", units=4)
    space = doc.modelspace()
    if plate:
        space.add_lwpolyline([(x * 1e3, y * 1e3) for x, y in PLATE], close=True, dxfattribs={"layer": "TRIM"})
    for x, y, d in circles:
        space.add_circle((x, y), d / 2, dxfattribs={"layer": "HOLES"})
    doc.saveas(tmp_path / "h.dxf")
    return read_dxf(tmp_path / "h.dxf")


def test_rows_grids_and_rings_take_away_what_they_should():
    lightening = row((0.05, 0.1), (0.35, 0.1), 4, [0.08, 0.07, 0.06, 0.05])
    assert [h.x for h in lightening.holes] == pytest.approx([0.05, 0.15, 0.25, 0.35])
    assert lightening.removed == pytest.approx(pi / 4 * (0.08**2 + 0.07**2 + 0.06**2 + 0.05**2), rel=1e-12)
    assert lightening.rim == pytest.approx(pi * 0.26, rel=1e-12)
    assert grid((0.1, 0.05), (0.05, 0.05), (5, 3), 0.02).removed == pytest.approx(15 * pi * 1e-4, rel=1e-12)
    assert len(grid((0.1, 0.05), (0.05, 0.05), (5, 3), 0.02, staggered=True).holes) == 14
    bolts = ring((0.2, 0.1), 0.1, 6, 0.006)
    assert all(abs((h.x - 0.2) ** 2 + (h.y - 0.1) ** 2 - 0.0025) < 1e-12 for h in bolts.holes)
    assert row((0.1, 0.1), (0.2, 0.2), 1, 0.01).holes[0].x == 0.1


@given(st.integers(1, 8), st.integers(1, 5), st.floats(0.001, 0.03), st.booleans())
def test_surface_less_its_holes_is_exact(across, up, diameter, staggered):
    pattern = grid((0.04, 0.03), (0.04, 0.035), (across, up), diameter, staggered=staggered) if up == 1 or across > 1 \
        else grid((0.04, 0.03), (0.04, 0.035), (across, up), diameter)  # fmt: skip
    surface = outline(PLATE, pattern.cutouts())
    assert surface.whole.area == pytest.approx(0.08 - pattern.removed, rel=1e-12)


def test_collar_of_plies():
    apart = row((0.1, 0.1), (0.3, 0.1), 2, 0.04)
    assert collar(apart, 0.02) == pytest.approx(2 * pi * (0.04**2 - 0.02**2), rel=1e-12)
    # two discs of radius R, middles d apart, overlap in 2 R^2 acos(d / 2R) - d / 2 sqrt(4 R^2 - d^2)
    near = row((0.1, 0.1), (0.16, 0.1), 2, 0.04)
    r, d = 0.04, 0.06
    lens = 2 * r * r * acos(d / (2 * r)) - d / 2 * sqrt(4 * r * r - d * d)
    assert collar(near, 0.02) == pytest.approx(2 * pi * (r * r - 0.02**2) - lens, rel=1e-4)


def test_edge_and_pitch_by_the_rule(tmp_path):
    holes = Pattern((
        Hole(0.2, 0.1, 0.005, name="good"),
        Hole(0.2, 0.0155, 0.005, name="edge"),  # 15.5 mm: 3 D + 1 mm = 16 needed
        Hole(0.1, 0.1, 0.005, name="left"),
        Hole(0.118, 0.1, 0.005, name="right"),  # 18 mm from the one to its left: 20 needed
        Hole(0.3, 0.21, 0.005, name="out"),
    ))  # fmt: skip
    found = check(holes, shapely.Polygon(PLATE), COMPOSITE)
    assert [f.hole.name for f in found] == ["out", "left", "edge"]
    assert found[0].distance == pytest.approx(-0.01)
    assert "10 mm outside the trim line" in str(found[0])
    assert found[1].other is holes.holes[3]
    assert found[1].distance == pytest.approx(0.018)
    assert found[2].needed == pytest.approx(0.016)
    assert str(found[2]) == "edge at (200, 15.5) mm: 15.5 mm to the trim line, 16 mm needed"
    assert [f.hole.name for f in check(holes, shapely.Polygon(PLATE), METAL)] == ["out", "left"]
    assert [f.hole.name for f in check(holes, shapely.Polygon(PLATE), Rule(1.0, 1.0, 0.0, "ours"))] == ["out"]


def test_cut_outs_of_the_drawing_are_edges_too_but_the_holes_are_not(tmp_path):
    part = drawing(tmp_path, [(200, 100, 5), (300, 100, 60), (340, 100, 5)])
    own = holes_of(part, largest=0.01)
    assert len(own.holes) == 2
    outline_ = part.sort().outlines[0]
    found = check(own, shapely.Polygon(outline_.edge.points, [cut.points for cut in outline_.cutouts]))
    assert len(found) == 1
    assert found[0].hole.x == pytest.approx(0.34)
    assert found[0].distance == pytest.approx(0.01, rel=1e-3)


def test_holes_of_a_drawing_with_countersinks(tmp_path):
    part = drawing(tmp_path, [(50, 50, 5), (50, 50, 10), (150, 50, 6), (100, 150, 40)])
    pattern = holes_of(part, layer="holes")
    assert [(round(h.x, 6), round(h.diameter, 6), round(h.countersink, 6)) for h in pattern.holes] == [
        (0.05, 0.005, 0.01),
        (0.15, 0.006, 0.0),
        (0.1, 0.04, 0.0),
    ]
    assert pattern.removed == pytest.approx(pi / 4 * (0.005**2 + 0.006**2 + 0.04**2), rel=1e-9)
    assert len(holes_of(part, largest=0.01).holes) == 2
    only = drawing(tmp_path, [(0, 0, 100), (30, 0, 5), (-30, 0, 5)], plate=False)
    assert len(holes_of(only).holes) == 2  # the outermost circle is the part
    with pytest.raises(SurfaceError, match='no closed line on a layer "drill"'):
        holes_of(part, layer="drill")
    with pytest.raises(SurfaceError, match="no round holes"):
        holes_of(drawing(tmp_path, []))


def test_holes_from_measured_points(tmp_path):
    path = tmp_path / "holes.csv"
    path.write_text("name,x [in],y [in],d\nA1,1,1,3/16\n")
    with pytest.raises(SurfaceError, match="line 2: no diameter"):
        read_holes(path)
    path.write_text("name,x [in],y [in],dia [in]\nA1,1,1,0.1875\nA2,2,1,0.1875\n")
    pattern = read_holes(path)
    assert pattern.holes[1] == Hole(2 * 0.0254, 0.0254, 0.1875 * 0.0254, 0.0, "A2")
    path.write_text("x,y\n10,10\n30,10\n")
    assert read_holes(path, unit="mm", diameter=0.005).removed == pytest.approx(2 * pi / 4 * 25e-6)
    for text, words in {
        "x [mm],y [mm]\n1,1\n": "line 2: no diameter",
        "x [mm],y [mm],d\n1,1,0\n": "line 2: a diameter of 0 mm",
        "x [mm],y [mm],d\n1,1,5\n2,1,5\n": "line 2 at .* and line 3 at .* run into each other: 1 mm",
        "x,y,d\n1,1,5\n2,1,5\n": "no unit",
    }.items():
        path.write_text(text)
        with pytest.raises(SurfaceError, match=words):
            read_holes(path)


@pytest.mark.parametrize(
    "make",
    [
        lambda: row((0, 0), (0.1, 0), 0, 0.01),
        lambda: row((0, 0), (0.1, 0), 3, [0.01]),
        lambda: row((0, 0), (0.1, 0), 30, 0.01),
        lambda: ring((0, 0), 0.05, 20, 0.01),
        lambda: grid((0, 0), (0.01, 0.01), (3, 3), 0.02),
        lambda: Pattern(()),
        lambda: Pattern((Hole(0, 0, -1.0),)),
    ],
)
def test_what_makes_no_pattern(make):
    with pytest.raises(SurfaceError):
        make()


def test_hundred_damaged_lists(tmp_path):
    data = ("x [mm],y [mm],d\n" + "".join(f"{30 * k},{20 * (k % 3)},5\n" for k in range(12))).encode()
    rng, refused, path = random.Random(4), 0, tmp_path / "f.csv"
    for _ in range(100):
        out = bytearray(data)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(out))
            out[at : at + rng.randint(0, 6)] = rng.choice([b"\n", b"-", b";", b"x", b"1e9", b"", b"0,0,5\n", b"\x00"])
        path.write_bytes(bytes(out))
        try:
            assert read_holes(path).removed > 0.0
        except SurfaceError:
            refused += 1
    assert refused > 20
