"""DXF: fills, references, units of blocks, hidden layers, and every kind of entity either read or named.

Areas are closed forms; tolerance 1e-9, for splines 2e-5.
"""

from math import pi

import ezdxf
import numpy as np
import pytest

from layup.errors import SurfaceError
from layup.files.read_dxf import read_dxf

EXACT = 1e-9


def kinds(surface):
    return {f.kind: f for f in surface.findings}


def saved(tmp_path, draw, units=4, version="R2010"):
    doc = ezdxf.new(version, units=units)
    draw(doc.modelspace())
    doc.saveas(tmp_path / "a.dxf")
    return tmp_path / "a.dxf"


def read(tmp_path, draw, **more):
    return read_dxf(saved(tmp_path, draw, **more)).surface()


def box(space, x, y, w, h, layer="0"):
    space.add_lwpolyline([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], close=True, dxfattribs={"layer": layer})


def hatch(space, *rings, layer="0"):
    fill = space.add_hatch(dxfattribs={"layer": layer})
    for ring in rings:
        fill.paths.add_polyline_path(ring, is_closed=True)
    return fill


SQUARE = [(0, 0), (400, 0), (400, 300), (0, 300)]
DISC = [(170, 150, 1), (230, 150, 1)]  # two half circles of 30 mm by bulges


def test_a_part_drawn_only_as_a_hatch(tmp_path):
    surface = read(tmp_path, lambda s: hatch(s, SQUARE, DISC))
    assert surface.whole.area == pytest.approx(0.12 - pi * 0.03**2, rel=EXACT)
    assert kinds(surface)["from fills"].count == 2


def test_every_kind_of_edge_of_a_hatch(tmp_path):
    def draw(s):
        fill = s.add_hatch()
        path = fill.paths.add_edge_path()  # a slot: two lines, two half circles, one of them clockwise
        path.add_line((0, 0), (300, 0))
        path.add_arc((300, 50), 50, -90, 90)
        path.add_line((300, 100), (0, 100))
        path.add_arc((0, 50), 50, 90, 270, ccw=False)
        fill.paths.add_edge_path().add_ellipse((150, 50), (40, 0), 0.5, 0, 360)
        spline = fill.paths.add_edge_path()  # y = 20 + 0.8 x (1 - x / 40) above x, on a base line: 2/3 * 40 * 8
        spline.add_spline(control_points=[(20, 20), (40, 36), (60, 20)], degree=2, knot_values=[0, 0, 0, 1, 1, 1])
        spline.add_line((60, 20), (20, 20))

    want = 0.3 * 0.1 + pi * 0.05**2 - pi * 0.04 * 0.02 - 2 / 3 * 0.04 * 0.008
    assert read(tmp_path, draw).whole.area == pytest.approx(want, rel=2e-6)


def test_a_hatch_over_a_drawn_outline_changes_nothing(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300)
        s.add_circle((200, 150), 30)
        hatch(s, SQUARE, DISC)

    surface = read(tmp_path, draw)
    assert surface.whole.area == pytest.approx(0.12 - pi * 0.03**2, rel=EXACT)
    assert not {"fills", "from fills", "duplicate", "left out"} & set(kinds(surface))


def test_a_hatch_inside_is_no_cut_out_unless_asked(tmp_path):
    """A fill marks a place; cutting it out without being told would take area away."""

    def draw(s):
        box(s, 0, 0, 400, 300)
        hatch(s, [(10, 10), (110, 10), (110, 60), (10, 60)], layer="GLASS")

    drawing = read_dxf(saved(tmp_path, draw))
    surface = drawing.surface()
    assert surface.whole.area == pytest.approx(0.12, rel=EXACT)
    assert '"GLASS", 0.005 m^2' in kinds(surface)["fills"].text
    assert drawing.surface(cut=["glass"]).whole.area == pytest.approx(0.115, rel=EXACT)
    assert drawing.surface(areas=["glass"]).zone({"group": "GLASS"}).area == pytest.approx(0.005, rel=EXACT)


def test_an_outline_by_hatch_with_drawn_holes(tmp_path):
    def draw(s):
        hatch(s, SQUARE)
        s.add_circle((200, 150), 30)
        s.add_solid([(500, 0), (600, 0), (500, 50), (600, 50)])  # its corners go 0, 1, 3, 2

    surface = read(tmp_path, draw)
    assert surface.whole.area == pytest.approx(0.12 - pi * 0.03**2, rel=EXACT)
    assert kinds(surface)["fills"].count == 1
    assert "0.005 m^2" in kinds(surface)["fills"].text


def test_a_hatch_in_a_turned_block(tmp_path):
    def draw(s):
        block = s.doc.blocks.new("B")
        hatch(block, SQUARE, DISC)
        s.add_blockref("B", (10, 20), dxfattribs={"xscale": -2, "yscale": 2, "rotation": 30})

    assert read(tmp_path, draw).whole.area == pytest.approx(4 * (0.12 - pi * 0.03**2), rel=1e-8)


def test_a_multiline_is_its_lines(tmp_path):
    def draw(s):
        box(s, -100, -100, 600, 500)
        s.add_mline([(0, 0), (300, 0), (300, 200), (0, 200)], close=True, dxfattribs={"scale_factor": 10})

    surface = read(tmp_path, draw)
    # the two lines of the standard style, 10 apart: the points given, and one all round them
    assert surface.whole.area == pytest.approx(0.3 - 0.32 * 0.22, rel=1e-9)
    assert kinds(surface)["islands"].count == 1


def test_what_is_in_space_is_named_and_counted(tmp_path):
    def draw(s):
        box(s, 0, 0, 400, 300)
        s.add_3dface([(0, 0, 0), (10, 0, 0), (10, 10, 5), (0, 10, 5)])
        s.add_3dface([(20, 0, 0), (30, 0, 0), (30, 10, 5), (20, 10, 5)])
        mesh = s.add_mesh()
        with mesh.edit_data() as data:
            data.vertices = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
            data.faces = [(0, 1, 2)]
        s.add_polyface()
        s.add_polymesh((3, 3))
        s.add_text("skin")

    path = saved(tmp_path, draw)
    before, after = path.read_text().split("\nENTITIES\n")
    region = "  0\nREGION\n  5\nFFF0\n100\nAcDbEntity\n  8\n0\n100\nAcDbModelerGeometry\n 70\n1\n"
    path.write_text(f"{before}\nENTITIES\n{region}{after}")
    found = kinds(read_dxf(path).surface())
    assert found["not read"].count == 6
    for words in ("2 3DFACE", "1 MESH", "1 POLYFACE", "1 POLYMESH", "1 REGION", "STL or STEP"):
        assert words in found["not read"].text
    assert found["not read"].area_effect is None
    assert found["left out"].text.endswith("1 TEXT")


def test_nothing_but_faces_in_space_says_what_to_do(tmp_path):
    with pytest.raises(SurfaceError, match=r"only 1 3DFACE.*STL or STEP"):
        read(tmp_path, lambda s: s.add_3dface([(0, 0, 0), (10, 0, 0), (10, 10, 5), (0, 10, 5)]))


def test_a_reference_to_another_file_is_a_fault(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    box(doc.modelspace(), 0, 0, 400, 300)
    doc.add_xref_def("holes.dwg", "HOLES")
    doc.modelspace().add_blockref("HOLES", (0, 0))
    doc.saveas(tmp_path / "x.dxf")
    with pytest.raises(SurfaceError, match=r"'HOLES' is a reference to holes.dwg.*Bind the reference"):
        read_dxf(tmp_path / "x.dxf")


@pytest.mark.parametrize(("scale", "odd"), [(25.4, False), (1.0, True)])
def test_a_block_in_inches_in_a_drawing_in_millimetres(tmp_path, scale, odd):
    """The insert's scale counts, as in the CAD programs; a block that was not scaled is pointed out."""
    doc = ezdxf.new("R2010", units=4)
    block = doc.blocks.new("HOLE")
    block.units = 1
    block.add_circle((0, 0), 1)
    box(doc.modelspace(), -100, -100, 200, 200)
    doc.modelspace().add_blockref("HOLE", (0, 0), dxfattribs={"xscale": scale, "yscale": scale})
    doc.saveas(tmp_path / "u.dxf")
    surface = read_dxf(tmp_path / "u.dxf").surface()
    assert surface.whole.area == pytest.approx(0.04 - pi * (scale * 1e-3) ** 2, rel=EXACT)
    assert ("block units" in kinds(surface)) is odd
    if odd:
        assert 'block "HOLE" drawn in in and placed at scale 1 in a drawing in mm' in kinds(surface)["block units"].text


def test_frozen_off_and_invisible_are_reported(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    space = doc.modelspace()
    box(space, 0, 0, 400, 300)
    doc.layers.add("FROZEN").freeze()
    doc.layers.add("OFF").off()
    space.add_circle((50, 50), 20, dxfattribs={"layer": "FROZEN"})
    space.add_circle((150, 50), 20, dxfattribs={"layer": "OFF"})
    space.add_circle((250, 50), 20, dxfattribs={"invisible": 1})
    block = doc.blocks.new("B")
    block.add_circle((0, 0), 10, dxfattribs={"layer": "SEEN"})
    block.add_circle((60, 0), 10)
    space.add_blockref("B", (50, 200), dxfattribs={"layer": "OFF"})  # hides what is on the layer, not the block
    space.add_blockref("B", (200, 200), dxfattribs={"layer": "FROZEN"})  # hides the block
    doc.saveas(tmp_path / "h.dxf")
    surface = read_dxf(tmp_path / "h.dxf").surface()
    assert surface.whole.area == pytest.approx(0.12 - pi * 0.01**2, rel=EXACT)
    texts = [f.text for f in surface.findings if f.kind == "hidden"]
    assert any('2 on "FROZEN"' in text and '2 on "OFF"' in text for text in texts)
    assert any("invisible" in text for text in texts)


def test_thousands_of_cut_outs(tmp_path):
    """A perforated plate: its triangles close up, and its area and edge are those of the drawing."""
    n = 20

    def draw(s):
        box(s, 0, 0, 10 * (n + 1), 10 * (n + 1))
        for k in range(n * n):
            s.add_circle((10 + 10 * (k % n), 10 + 10 * (k // n)), 2)

    surface = read(tmp_path, draw)
    side = 0.01 * (n + 1)
    assert surface.whole.area == pytest.approx(side**2 - n * n * pi * 0.002**2, rel=EXACT)
    from layup.shape.topology import free_edges, length_of

    open_edges = length_of(surface.vertices, free_edges(surface.faces))
    assert open_edges == pytest.approx(surface.perimeter, rel=1e-9)
    assert surface.perimeter == pytest.approx(4 * side + n * n * pi * 0.004, rel=1e-3)
    assert np.isfinite(surface.vertices).all()
