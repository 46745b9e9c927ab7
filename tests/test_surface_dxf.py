"""DXF drawings against closed forms.

Arcs, circles, ellipses and bulges are drawn so that their area is exact: tolerance 1e-9. Splines are drawn to 2e-6 of
the drawing's size: tolerance 2e-5 of the area.
"""

import random
from math import hypot, pi, radians, sin, sqrt, tan

import ezdxf
import numpy as np
import pytest

from layup.errors import SurfaceError
from layup.files.read_dxf import UNITS, read_dxf

EXACT = 1e-9
SPLINE = 2e-5


def drawn(tmp_path, draw, units=4, name="part.dxf", version="R2010"):
    doc = ezdxf.new(version, units=units)
    draw(doc.modelspace())
    doc.saveas(tmp_path / name)
    return tmp_path / name


def area(tmp_path, draw, **more):
    return read_dxf(drawn(tmp_path, draw), **more).surface().whole.area


def kinds(findings):
    return {f.kind: f for f in findings}


def box(space, x, y, w, h, layer="0"):
    space.add_lwpolyline([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], close=True, dxfattribs={"layer": layer})


def test_circle(tmp_path):
    surface = read_dxf(drawn(tmp_path, lambda s: s.add_circle((300, -200), 125))).surface()
    assert surface.whole.area == pytest.approx(pi * 0.125**2, rel=EXACT)
    assert surface.whole.centroid == pytest.approx((0.3, -0.2, 0.0), abs=1e-9)
    assert surface.perimeter == pytest.approx(pi * 0.25, rel=1e-5)  # the line lies a trifle outside the circle
    assert surface.unit == "mm"


@pytest.mark.parametrize("code", sorted(UNITS))
def test_units_of_the_header(tmp_path, code):
    from ezdxf.units import conversion_factor

    path = drawn(tmp_path, lambda s: box(s, 0, 0, 2, 1), units=code)
    own = read_dxf(path).surface().whole.area
    assert own == pytest.approx(2.0 * UNITS[code][1] ** 2, rel=1e-12)
    if code not in (9, 21):  # the library's table against ours; it has neither mil nor US survey foot
        assert UNITS[code][1] == pytest.approx(conversion_factor(code, 6), rel=1e-6)


def test_half_discs_by_bulges(tmp_path):
    # a stadium: 400 by 200 with a half-disc of radius 100 at each end; and one whose end is scooped out
    ends = [(0, 0, 0), (400, 0, 1), (400, 200, 0), (0, 200, 1)]
    stadium = area(tmp_path, lambda s: s.add_lwpolyline(ends, format="xyb", close=True))
    assert stadium == pytest.approx(0.4 * 0.2 + pi * 0.1**2, rel=EXACT)
    ends[1] = (400, 0, -1)
    ends[3] = (0, 200, 0)
    scooped = area(tmp_path, lambda s: s.add_lwpolyline(ends, format="xyb", close=True))
    assert scooped == pytest.approx(0.4 * 0.2 - pi * 0.1**2 / 2, rel=EXACT)


def test_disc_of_two_bulges_and_old_polyline(tmp_path):
    disc = area(tmp_path, lambda s: s.add_lwpolyline([(0, 0, 1), (80, 0, 1)], format="xyb", close=True))
    assert disc == pytest.approx(pi * 0.04**2, rel=EXACT)
    quarter = tan(radians(90) / 4)
    old = area(tmp_path, lambda s: s.add_polyline2d([(0, 0), (60, 0, quarter), (0, 60)], format="xyb", close=True))
    assert old == pytest.approx(pi * 0.06**2 / 4, rel=EXACT)


@pytest.mark.parametrize("turn", [5.0, 90.0, 179.0, 181.0, 300.0, 359.0])
def test_segment_of_a_circle(tmp_path, turn):
    b = tan(radians(turn) / 4)
    r = 100.0 / 2 / sin(radians(turn) / 2) if turn != 180 else 50.0
    want = r * r / 2 * (radians(turn) - sin(radians(turn))) * 1e-6
    got = area(tmp_path, lambda s: s.add_lwpolyline([(0, 0, b), (100, 0, 0)], format="xyb", close=True))
    assert got == pytest.approx(want, rel=EXACT)


def test_ellipse_and_half_ellipse(tmp_path):
    assert area(tmp_path, lambda s: s.add_ellipse((10, 20), (80, 0), 0.5)) == pytest.approx(pi * 0.08 * 0.04, rel=EXACT)

    def half(s):
        s.add_ellipse((0, 0), (60, 80), 0.25, 0, pi)
        s.add_line((60, 80), (-60, -80))

    assert area(tmp_path, half) == pytest.approx(pi * 0.1 * 0.025 / 2, rel=EXACT)


def test_loose_lines_and_arcs_in_any_order_and_direction(tmp_path):
    def slot(s):
        s.add_line((300, 100), (0, 100))
        s.add_arc((300, 50), 50, -90, 90)
        s.add_line((300, 0), (0, 0))
        s.add_arc((0, 50), 50, 90, 270)

    drawing = read_dxf(drawn(tmp_path, slot))
    surface = drawing.surface()
    assert surface.whole.area == pytest.approx(0.3 * 0.1 + pi * 0.05**2, rel=1e-8)
    assert kinds(surface.findings)["joined"].count == 4
    assert not drawing.open


def test_gap_is_closed_up_to_what_is_stated_and_named_beyond(tmp_path):
    def gappy(s, gap):
        s.add_lwpolyline([(0, 0), (400, 0), (400, 300)])
        s.add_lwpolyline([(400, 300 + gap), (0, 300 + gap), (0, 0)])

    near = read_dxf(drawn(tmp_path, lambda s: gappy(s, 0.03))).surface()
    assert near.whole.area == pytest.approx(0.12, rel=1e-4)
    assert "0.03 mm" in kinds(near.findings)["joined"].text
    with pytest.raises(SurfaceError, match=r"no line in it closes.*\(400, 300\).*ends 2 mm apart") as caught:
        read_dxf(drawn(tmp_path, lambda s: gappy(s, 2)))
    assert "up to 0.04 mm" in str(caught.value)
    assert read_dxf(drawn(tmp_path, lambda s: gappy(s, 2)), gap=0.0025).surface().whole.area == pytest.approx(
        0.1204, rel=0.01
    )


def test_open_lines_beside_the_outline_are_named(tmp_path):
    def draw(s):
        box(s, 0, 0, 200, 100)
        s.add_line((20, 20), (180, 20), dxfattribs={"layer": "BEND"})

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.02)
    assert 'on layer "BEND" from (20, 20) to (180, 20) mm' in kinds(surface.findings)["open"].text


@pytest.mark.parametrize("closed", [False, True])
def test_spline_through_fit_points_and_by_control_points(tmp_path, closed):
    r, n = 100.0, 64
    ring = [(r * np.cos(t), r * np.sin(t)) for t in np.linspace(0, 2 * pi, n + 1)]

    def draw(s):
        if closed:
            from ezdxf.math import fit_points_to_cad_cv

            curve = fit_points_to_cad_cv(ring)
            spline = s.add_spline()
            spline.apply_construction_tool(curve)
        else:
            s.add_spline(fit_points=ring)

    # 64 fit points follow the circle to about 1e-5 of its radius
    assert area(tmp_path, draw) == pytest.approx(pi * 0.1**2, rel=1e-4)


def test_spline_that_is_a_parabola(tmp_path):
    def draw(s):
        s.add_open_spline([(0, 0), (50, 100), (100, 0)], degree=2)  # y = 2 x (1 - x / 100), area 2/3 * 100 * 50
        s.add_line((0, 0), (100, 0))

    assert area(tmp_path, draw) == pytest.approx(2 / 3 * 0.1 * 0.05, rel=SPLINE)


def test_rational_spline_that_is_a_quarter_disc(tmp_path):
    def draw(s):
        s.add_rational_spline([(100, 0), (100, 100), (0, 100)], [1, sqrt(0.5), 1], degree=2)
        s.add_lwpolyline([(0, 100), (0, 0), (100, 0)])

    assert area(tmp_path, draw) == pytest.approx(pi * 0.1**2 / 4, rel=SPLINE)


def test_nested_block_with_unequal_scale_and_layer_0(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    inner = doc.blocks.new("INNER")
    inner.add_circle((0, 0), 10)  # layer 0: stands for the layer of the insert
    inner.add_lwpolyline([(30, -10, 0), (50, -10, 1), (50, 10, 0), (30, 10, 1)], format="xyb", close=True,
                         dxfattribs={"layer": "SLOTS"})  # fmt: skip
    outer = doc.blocks.new("OUTER")
    outer.add_blockref("INNER", (5, 5), dxfattribs={"xscale": 2, "yscale": 1, "rotation": 30})
    space = doc.modelspace()
    box(space, -500, -500, 1000, 1000)
    space.add_blockref("OUTER", (10, 20), dxfattribs={"xscale": 1, "yscale": -3, "rotation": 15, "layer": "HOLES"})
    doc.saveas(tmp_path / "nest.dxf")
    drawing = read_dxf(tmp_path / "nest.dxf")
    assert {loop.layer for loop in drawing.loops} == {"0", "HOLES", "SLOTS"}
    each = {loop.layer: loop.area for loop in drawing.loops}
    scale = 2 * 3 * 1e-6
    assert each["HOLES"] == pytest.approx(scale * pi * 100, rel=EXACT)
    assert each["SLOTS"] == pytest.approx(scale * (20 * 20 + pi * 100), rel=1e-7)
    assert drawing.surface().whole.area == pytest.approx(1.0 - each["HOLES"] - each["SLOTS"], rel=EXACT)


def test_rows_of_a_block(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    doc.blocks.new("H").add_circle((0, 0), 5)
    space = doc.modelspace()
    box(space, -20, -20, 340, 240)
    space.add_blockref("H", (0, 0), dxfattribs={"row_count": 3, "column_count": 4, "row_spacing": 100,
                                                "column_spacing": 100})  # fmt: skip
    doc.saveas(tmp_path / "rows.dxf")
    surface = read_dxf(tmp_path / "rows.dxf").surface()
    assert surface.whole.area == pytest.approx(0.34 * 0.24 - 12 * pi * 0.005**2, rel=EXACT)
    assert kinds(surface.findings)["cut-outs"].count == 12


def test_mirrored_by_extrusion(tmp_path):
    def draw(s):
        s.add_lwpolyline([(0, 0, 0), (400, 0, 1), (400, 200, 0), (0, 200, 0)], format="xyb", close=True,
                         dxfattribs={"extrusion": (0, 0, -1)})  # fmt: skip
        s.add_circle((100, 100), 20, dxfattribs={"extrusion": (0, 0, -1)})

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.08 + pi * 0.1**2 / 2 - pi * 0.02**2, rel=EXACT)
    assert surface.whole.box[0][0] == pytest.approx(-0.5, abs=1e-5)


def test_countersinks_are_not_cut(tmp_path):
    def draw(s):
        box(s, 0, 0, 200, 100)
        for x in (30, 170):
            s.add_circle((x, 50), 2.5)
            s.add_circle((x, 50), 5)
        s.add_circle((100, 50), 20)

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.02 - 2 * pi * 0.0025**2 - pi * 0.02**2, rel=EXACT)
    assert kinds(surface.findings)["countersinks"].count == 2


def test_a_washer_is_no_countersink(tmp_path):
    def draw(s):
        s.add_circle((0, 0), 50)
        s.add_circle((0, 0), 30)

    assert area(tmp_path, draw) == pytest.approx(pi * (0.05**2 - 0.03**2), rel=EXACT)


def test_layers_become_groups_and_their_area_is_exact(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300, "TRIM")
        s.add_circle((100, 150), 60, dxfattribs={"layer": "PLY 3"})
        box(s, 80, 130, 40, 40, "HOLES")
        box(s, 300, -50, 60, 400, "BAND")  # hangs over the edge on both sides

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.12 - 0.0016, rel=EXACT)
    assert set(surface.groups) == {"PLY 3", "BAND"}
    assert surface.zone({"group": "PLY 3"}).area == pytest.approx(pi * 0.06**2 - 0.0016, rel=1e-8)
    assert surface.zone({"group": "BAND"}).area == pytest.approx(0.06 * 0.3, rel=1e-9)
    both = surface.zone({"group": "BAND"}).area + surface.zone({"group": "BAND"}, outside=True).area
    assert both == pytest.approx(surface.whole.area, rel=1e-12)
    from layup.shape.topology import free_edges, length_of

    free = length_of(surface.vertices, free_edges(surface.faces))  # no crack along the borders of the areas
    assert free == pytest.approx(1.4 + 0.16, rel=1e-9)


def test_areas_and_cut_say_otherwise(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300)
        box(s, 20, 20, 100, 100, "HINGE")
        box(s, 200, 20, 100, 100, "CORE")

    drawing = read_dxf(drawn(tmp_path, draw))
    assert drawing.surface().whole.area == pytest.approx(0.11)
    assert drawing.surface(areas=["hinge"]).whole.area == pytest.approx(0.12)
    assert drawing.surface(areas=["hinge"], cut=["CORE"]).whole.area == pytest.approx(0.11)
    with pytest.raises(SurfaceError, match=r'"hinges".*Nearest: "HINGE"'):
        drawing.surface(areas=["hinges"])


def test_several_outlines_are_listed_and_picked(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300, "A")
        box(s, 500, 0, 100, 100, "B")
        s.add_circle((550, 50), 10)

    drawing = read_dxf(drawn(tmp_path, draw))
    with pytest.raises(SurfaceError, match=r'2 outlines.*1: 400 x 300 mm on layer "A"; 2: 100 x 100 mm on layer "B"'):
        drawing.surface()
    small = 0.01 - pi * 0.01**2
    assert drawing.surface(pick=2).whole.area == pytest.approx(small, rel=EXACT)
    assert drawing.surface(pick="b").whole.area == pytest.approx(small, rel=EXACT)
    every = drawing.surface(pick="all")
    assert every.whole.area == pytest.approx(0.12 + small, rel=EXACT)
    assert every.perimeter == pytest.approx(1.4 + 0.4 + pi * 0.02, rel=1e-5)
    with pytest.raises(SurfaceError, match="no outline 3"):
        drawing.surface(pick=3)


def test_frame_is_left_out_by_its_layer_or_pointed_out(tmp_path):
    def draw(s, layer):  # as large as no drawing sheet is
        box(s, -10, -10, 430, 290, layer)
        box(s, 0, 0, 400, 250, "PART")

    named = read_dxf(drawn(tmp_path, lambda s: draw(s, "Title frame"))).surface()
    assert named.whole.area == pytest.approx(0.1)
    other = read_dxf(drawn(tmp_path, lambda s: draw(s, "0")))
    assert "frame" in kinds(other.surface().findings)
    assert other.surface(pick="PART").whole.area == pytest.approx(0.1)


def test_drawn_twice_counts_once(tmp_path):
    def draw(s):
        box(s, 0, 0, 100, 100)
        box(s, 0, 0, 100, 100)
        s.add_circle((50, 50), 10)
        s.add_circle((50, 50), 10)
        for _ in range(2):
            s.add_line((10, 10), (20, 10))
            s.add_line((20, 20), (20, 10))
            s.add_line((20, 20), (10, 10))

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.01 - pi * 0.01**2 - 0.5e-4, rel=EXACT)
    assert sum(f.count for f in surface.findings if f.kind == "duplicate") == 5


def test_rib_line_across_an_outline_of_loose_lines(tmp_path):
    def draw(s):
        corners = [(0, 0), (100, 0), (200, 0), (200, 100), (100, 100), (0, 100)]
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            s.add_line(a, b)
        s.add_line((100, 0), (100, 100))

    surface = read_dxf(drawn(tmp_path, draw)).surface()
    assert surface.whole.area == pytest.approx(0.02)
    assert kinds(surface.findings)["branches"].count == 1


def test_hidden_layers_texts_and_heights(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    space = doc.modelspace()
    box(space, 0, 0, 100, 100)
    doc.layers.add("OLD").off()
    space.add_circle((50, 50), 20, dxfattribs={"layer": "OLD"})
    space.add_text("door skin")
    space.add_circle((50, 50, 30), 10)
    doc.saveas(tmp_path / "a.dxf")
    surface = read_dxf(tmp_path / "a.dxf").surface()
    assert surface.whole.area == pytest.approx(0.01 - pi * 0.01**2, rel=EXACT)
    found = kinds(surface.findings)
    assert found["hidden"].count == 1
    assert "1 TEXT" in found["left out"].text
    assert "30 mm" in found["not flat"].text


@pytest.mark.parametrize("units", [0, None])
def test_no_unit_asks_and_shows_three_readings(tmp_path, units):
    path = drawn(tmp_path, lambda s: box(s, 0, 0, 620, 380), units=0)
    if units is None:
        text = path.read_text().replace("$INSUNITS", "$MYUNITS")
        path.write_text(text)
    with pytest.raises(SurfaceError) as caught:
        read_dxf(path)
    said = str(caught.value)
    assert "620 x 380 mm" in said
    assert "15.75 x 9.652 m" in said
    assert "in m 620 x 380 m" in said
    assert 'Add unit = "mm"' in said
    assert read_dxf(path, unit="mm").surface().whole.area == pytest.approx(0.62 * 0.38)


def test_unit_that_disagrees(tmp_path):
    path = drawn(tmp_path, lambda s: box(s, 0, 0, 620, 380))
    assert read_dxf(path, unit="mm").surface().whole.area == pytest.approx(0.2356)
    with pytest.raises(SurfaceError, match=r'unit = "in" was given, but the file\'s \$INSUNITS says mm'):
        read_dxf(path, unit="in")
    with pytest.raises(SurfaceError, match='"furlongs per"'):
        read_dxf(path, unit="furlongs per")


def test_likely_wrong_unit_is_a_finding(tmp_path):
    surface = read_dxf(drawn(tmp_path, lambda s: box(s, 0, 0, 1800, 900), units=1)).surface()
    assert "45.7 m" in kinds(surface.findings)["unit"].text


def test_what_can_not_be_read(tmp_path):
    cases = {
        "modelspace is empty": lambda s: None,
        "holds no line": lambda s: s.add_text("x"),
        "crosses or touches itself at \\(50 mm, 50 mm\\)": lambda s: s.add_lwpolyline(
            [(0, 0), (100, 100), (100, 0), (0, 100)], close=True
        ),
        "crosses the outline": lambda s: (box(s, 0, 0, 100, 100), s.add_circle((100, 50), 10)),
        "not flat": lambda s: [
            s.add_line(a, b) for a, b in [((0, 0, 0), (100, 0, 0)), ((100, 0, 0), (0, 0, 90)), ((0, 0, 90), (0, 0, 0))]
        ],
        "no line in it closes": lambda s: s.add_line((0, 0), (1, 1)),
    }
    for words, draw in cases.items():
        with pytest.raises(SurfaceError, match=words):
            read_dxf(drawn(tmp_path, draw)).surface()


def test_sheet_is_pointed_to_when_the_modelspace_is_empty(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    doc.layout("Layout1").add_circle((0, 0), 1)
    doc.saveas(tmp_path / "p.dxf")
    with pytest.raises(SurfaceError, match="modelspace is empty; the sheet 'Layout1' holds"):
        read_dxf(tmp_path / "p.dxf")


def test_block_that_holds_itself_or_too_much(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    block = doc.blocks.new("B")
    block.add_circle((0, 0), 1)
    block.add_blockref("B", (1, 1))
    doc.modelspace().add_blockref("B", (0, 0))
    doc.saveas(tmp_path / "self.dxf")
    with pytest.raises(SurfaceError, match="holds itself"):
        read_dxf(tmp_path / "self.dxf")
    doc = ezdxf.new("R2010", units=4)
    doc.blocks.new("H").add_circle((0, 0), 1)
    doc.modelspace().add_blockref("H", (0, 0), dxfattribs={"row_count": 20000, "column_count": 20000,
                                                              "row_spacing": 3, "column_spacing": 3})  # fmt: skip
    doc.saveas(tmp_path / "many.dxf")
    with pytest.raises(SurfaceError, match="more than 100,000 entities"):
        read_dxf(tmp_path / "many.dxf")


def test_missing_empty_truncated_and_foreign_files(tmp_path):
    with pytest.raises(SurfaceError, match="can't be read"):
        read_dxf(tmp_path / "none.dxf")
    (tmp_path / "e.dxf").write_bytes(b"")
    with pytest.raises(SurfaceError, match="empty"):
        read_dxf(tmp_path / "e.dxf")
    (tmp_path / "x.dxf").write_bytes(b"%PDF-1.4 hello")
    with pytest.raises(SurfaceError, match="not a DXF file"):
        read_dxf(tmp_path / "x.dxf")
    data = drawn(tmp_path, lambda s: box(s, 0, 0, 10, 10)).read_bytes()
    (tmp_path / "t.dxf").write_bytes(data[: len(data) // 2])
    with pytest.raises(SurfaceError, match="cut short"):
        read_dxf(tmp_path / "t.dxf")


def test_binary_dxf_and_old_versions(tmp_path):
    doc = ezdxf.new("R2010", units=1)
    box(doc.modelspace(), 0, 0, 20, 10)
    doc.saveas(tmp_path / "b.dxf", fmt="bin")
    assert read_dxf(tmp_path / "b.dxf").surface().whole.area == pytest.approx(200 * 0.0254**2)
    old = drawn(tmp_path, lambda s: s.add_polyline2d([(0, 0), (20, 0), (20, 10)], close=True), version="R12")
    text = old.read_text()
    assert read_dxf(old, unit=None if "$INSUNITS" in text else "mm").surface().whole.area == pytest.approx(1e-4)


def spoilt(data, rng):
    """A damaged copy: bytes flipped, lines lost, doubled or made absurd, the end cut off and put back."""
    lines = data.split(b"\n")
    kind = rng.randrange(6)
    if kind == 0:
        out = bytearray(data)
        for _ in range(rng.randint(1, 30)):
            out[rng.randrange(len(out))] = rng.randrange(256)
        return bytes(out)
    if kind == 1:
        for _ in range(rng.randint(1, 6)):
            del lines[rng.randrange(len(lines))]
    elif kind == 2:
        at = rng.randrange(len(lines))
        lines[at:at] = lines[at : at + rng.randint(1, 40)]
    elif kind == 3:
        for _ in range(rng.randint(1, 40)):
            at = rng.randrange(len(lines))
            if any(c in b"0123456789" for c in lines[at]):
                lines[at] = rng.choice([b"1e308", b"nan", b"-1", b"99999999999", b"inf", b"x", b"0", b""])
    elif kind == 4:
        return data[: rng.randrange(len(data))] + rng.choice([b"", b"\n0\nENDSEC\n0\nEOF\n", b"\n  0\nEOF\n"])
    else:
        at, to = (rng.randrange(len(lines)) for _ in range(2))
        lines[at], lines[to] = lines[to], lines[at]
    return b"\n".join(lines)


def test_hundred_damaged_files(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300, "TRIM")
        s.add_lwpolyline([(50, 50, 0), (90, 50, 1), (90, 90, 0), (50, 90, 1)], format="xyb", close=True)
        s.add_ellipse((200, 150), (30, 0), 0.5)
        s.add_spline(fit_points=[(300, 100), (340, 140), (300, 180), (280, 140), (300, 100)])
        s.doc.blocks.new("H").add_circle((0, 0), 5)
        s.add_blockref("H", (200, 50))
        for a, b in (((20, 200), (60, 200)), ((60, 200), (40, 240)), ((40, 240), (20, 200))):
            s.add_line(a, b)

    data = drawn(tmp_path, draw, version="R2000").read_bytes()
    cut = data.rindex(b"ENTITIES")  # most of the damage goes where the drawing is
    rng, path, said = random.Random(7), tmp_path / "f.dxf", []
    for number in range(100):
        path.write_bytes(data[:cut] + spoilt(data[cut:], rng) if number % 4 else spoilt(data, rng))
        try:
            surface = read_dxf(path, unit="mm").surface()
            assert np.isfinite(surface.whole.area)
        except SurfaceError as problem:
            said.append(str(problem))
    assert len(said) > 20
    assert all(words.startswith(str(path)) for words in said)


def test_bulge_keeps_its_ends_and_bulges_the_right_way():
    from layup.shape.curves import bulged

    line = bulged([(0.0, 0.0), (2.0, 0.0)], [1.0, 0.0], False, 1e-4)
    assert tuple(line[0]) == (0.0, 0.0)
    assert tuple(line[-1]) == (2.0, 0.0)
    assert line[:, 1].min() == pytest.approx(-1.0, abs=1e-3)  # positive: counter-clockwise from first to second
    assert all(abs(hypot(x - 1.0, y) - 1.0) < 2e-4 for x, y in line)


@pytest.mark.parametrize("size", [(420, 297), (390, 277), (2100, 2970), (17 * 25.4, 11 * 25.4)])
def test_a_frame_of_a_drawing_sheet_is_asked_about_whatever_its_layer_is_called(tmp_path, size):
    """A frame on a layer "Rahmen" was the part, and the part a cut-out in it: +432 %."""
    wide, high = size
    document = ezdxf.new(units=4)
    model = document.modelspace()
    model.add_lwpolyline([(0, 0), (wide, 0), (wide, high), (0, high)], close=True, dxfattribs={"layer": "Rahmen"})
    model.add_lwpolyline(
        [(50, 50), (200, 50), (200, 150), (100, 180), (50, 150)], close=True, dxfattribs={"layer": "PART"}
    )
    model.add_circle((120, 100), 20)
    document.saveas(tmp_path / "s.dxf")
    part = (150 * 100 + 0.5 * 150 * 30 - np.pi * 400) * 1e-6
    drawing = read_dxf(tmp_path / "s.dxf")
    with pytest.raises(SurfaceError, match="drawing sheet") as caught:
        drawing.surface()
    assert "pick = 2" in caught.value.remedy
    found = drawing.surface(pick=2)
    assert found.whole.area == pytest.approx(part, rel=1e-4)
    assert any("left out" in finding.text for finding in found.findings)
    assert drawing.surface(pick="part").whole.area == pytest.approx(part, rel=1e-4)
    assert drawing.surface(pick=1).whole.area > part * 2


def test_a_sheet_with_its_frame_and_title_and_a_part_called_frame(tmp_path):
    """The frame within the sheet was offered as the part, and a part on "Frame-skin" was dropped for the word."""

    def draw(s, layer):
        box(s, 0, 0, 420, 297, "Rahmen")
        box(s, 10, 10, 400, 277, "Rahmen")
        box(s, 230, 10, 180, 50, "Schriftfeld")
        box(s, 60, 90, 200, 120, layer)
        s.add_circle((150, 150), 20, dxfattribs={"layer": layer})

    part = 0.2 * 0.12 - pi * 0.02**2
    for layer in ("Frame-skin", "Frame 3", "Teil"):
        drawing = read_dxf(drawn(tmp_path, lambda s, layer=layer: draw(s, layer)))
        with pytest.raises(SurfaceError, match=r'2: 200 x 120 mm.*; 3: 180 x 50 mm on layer "Schriftfeld"'):
            drawing.surface()
        assert drawing.surface(pick=2).whole.area == pytest.approx(part, rel=EXACT)


@pytest.mark.parametrize("layer", ["Frame 7", "Border_L"])
def test_a_bulkhead_on_a_layer_called_frame_is_a_part(tmp_path, layer):
    def draw(s):
        s.add_lwpolyline([(0, 0), (300, 0), (300, 90), (150, 140), (0, 90)], close=True, dxfattribs={"layer": layer})
        box(s, 400, 0, 50, 50, "clip")

    with pytest.raises(SurfaceError, match="pick"):
        read_dxf(drawn(tmp_path, draw)).surface()
    assert read_dxf(drawn(tmp_path, draw)).surface(pick=1).whole.area == pytest.approx(0.3 * 0.09 + 0.15 * 0.05)


def test_a_plate_as_large_as_a_sheet_with_holes_is_no_frame(tmp_path):
    document = ezdxf.new(units=4)
    model = document.modelspace()
    model.add_lwpolyline([(0, 0), (420, 0), (420, 297), (0, 297)], close=True)
    for x in (50, 200, 350):
        model.add_circle((x, 150), 30)
    document.saveas(tmp_path / "s.dxf")
    due = (420 * 297 - 3 * np.pi * 900) * 1e-6
    assert read_dxf(tmp_path / "s.dxf").surface().whole.area == pytest.approx(due, rel=1e-4)
