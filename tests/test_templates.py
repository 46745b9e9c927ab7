"""Files for the cutter and the printer, read back: every length is the length it was."""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.cloth.drawn_ply import LAYERS, strokes
from layup.cloth.pattern import FlatPly, flat_plies
from layup.cloth.templates import placed, write_dxf, write_svg
from layup.cloth.tiled_pdf import FOOT, LETTERS, OVERLAP, SIDE, _ink, _named_on_one, once, pdf_bytes, tiles, write_pdf
from layup.commands.cli import main
from layup.errors import LayupError
from layup.partfile.read import read_part
from layup.shape.holes import Hole, Pattern

POINT = 72.0 / 0.0254
L_SHAPE = [[0, 0], [620, 0], [620, 200], [300, 200], [300, 410], [0, 410]]


@pytest.fixture
def plies(hatch: Callable[..., dict[str, Any]]) -> tuple[FlatPly, ...]:
    part = hatch(
        surface={"outline": L_SHAPE, "cutouts": [[[60, 60], [140, 60], [140, 120], [60, 120]]], "unit": "mm"},
        ply=[{"fabric": "carbon plain 200"}, {"fabric": "carbon twill 200", "angle": 30}],
        trim="15 mm",
    )
    holes = Pattern((Hole(0.2, 0.3, 0.005), Hole(0.5, 0.1, 0.0064)))
    return flat_plies(read_part(part), holes=holes)


@pytest.mark.parametrize(("unit", "code", "scale"), [("mm", 4, 1000.0), ("in", 1, 1000.0 / 25.4)])
def test_dxf_is_read_back_as_it_was(
    plies: tuple[FlatPly, ...], tmp_path: Path, unit: Any, code: int, scale: float
) -> None:
    document = ezdxf.readfile(write_dxf(plies, tmp_path / "plies.dxf", unit))
    assert document.header["$INSUNITS"] == code
    assert {layer.dxf.name for layer in document.layers} >= set(LAYERS)
    assert not document.audit().errors
    space = document.modelspace()
    cuts = [e for e in space if e.dxf.layer == "CUT"]
    assert len(cuts) == len(plies)
    for entity, (ply, _, (dx, dy)) in zip(cuts, placed(plies), strict=True):
        assert entity.closed
        points = np.array([p[:2] for p in entity.get_points()]) / scale - np.array([dx, dy])
        assert points == approx(np.asarray(ply.outline.exterior.coords)[:-1], abs=1e-9)
    circles = [e for e in space if e.dxftype() == "CIRCLE"]
    assert sorted(round(2 * e.dxf.radius / scale, 7) for e in circles) == approx([0.005, 0.005, 0.0064, 0.0064])
    assert {e.dxf.layer for e in circles} == {"DRILL"}
    words = [e.dxf.text for e in space if e.dxftype() == "TEXT"]
    assert "Ply 1: carbon plain 200, 0°, whole" in words
    boxes = [ply.outline.bounds for ply in plies]
    tops = [dy + box[3] for box, (_, _, (_, dy)) in zip(boxes, placed(plies), strict=True)]
    assert tops[0] == approx(0.0)
    assert tops[1] < -(boxes[0][3] - boxes[0][1])  # one above the other, never over each other


def test_svg_is_read_back_as_it_was(plies: tuple[FlatPly, ...], tmp_path: Path) -> None:
    root = ElementTree.parse(write_svg(plies, tmp_path / "plies.svg")).getroot()
    wide, high = (float(root.attrib[k].removesuffix("mm")) for k in ("width", "height"))
    assert root.attrib["viewBox"] == f"0 0 {wide:.3f} {high:.3f}"
    cuts = [e for e in root.iter() if e.attrib.get("class") == "CUT"]
    for entity, (ply, _, (dx, dy)) in zip(cuts, placed(plies), strict=True):
        points = np.array([[float(v) for v in p.split(",")] for p in entity.attrib["points"].split()])
        want = (np.asarray(ply.outline.exterior.coords)[:-1] + np.array([dx, dy])) * (1e3, -1e3) + 10.0
        assert points == approx(want, abs=1e-3)
        assert points.min() >= 0
        assert points[:, 0].max() <= wide
        assert points[:, 1].max() <= high


def pages(content: bytes) -> list[tuple[float, float, list[np.ndarray]]]:
    """Width and height of each page, and every line drawn on it, in points, the page's transforms applied."""
    streams = [zlib.decompress(_ascii85(m)) if m.rstrip().endswith(b"~>") else zlib.decompress(m)
               for m in re.findall(rb"stream\r?\n(.*?)endstream", content, re.S) if _is_page(m)]  # fmt: skip
    boxes = [tuple(float(v) for v in m.split()) for m in re.findall(rb"/MediaBox \[([^\]]*)\]", content)]
    assert len(streams) == len(boxes)
    return [(box[2], box[3], _lines(stream)) for box, stream in zip(boxes, streams, strict=True)]


def _ascii85(text: bytes) -> bytes:
    import base64

    return base64.a85decode(text.strip().removesuffix(b"~>"))


def _is_page(stream: bytes) -> bool:
    try:
        data = zlib.decompress(_ascii85(stream)) if stream.rstrip().endswith(b"~>") else zlib.decompress(stream)
    except (zlib.error, ValueError):
        return False
    return data.startswith(b"1 0 0 1 0 0 cm")


def _lines(stream: bytes) -> list[np.ndarray]:
    at, stack, found, line = np.zeros(2), [], [], []
    numbers: list[float] = []
    for word in re.sub(rb"\(.*?(?<!\\)\)", b"", stream).split():
        try:
            numbers.append(float(word))
            continue
        except ValueError:
            pass
        if word == b"q":
            stack.append(at)
        elif word == b"Q":
            at = stack.pop()
        elif word == b"cm":
            scale = np.hypot(numbers[-6], numbers[-5])
            assert scale == approx(1.0, abs=1e-6)  # full size: the pages move, words turn, nothing is scaled
            at = at + numbers[-2:]
        elif word == b"m":
            line = [at + numbers[-2:]]
        elif word == b"l":
            line.append(at + numbers[-2:])
        elif word in (b"S", b"s"):
            if line:
                found.append(np.array(line))
            line = []
        numbers = []
    return found


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4)), ("roll", (914.0, None))]
)
def test_pdf_is_full_size(plies: tuple[FlatPly, ...], paper: Any, size: tuple[float, float | None]) -> None:
    """Measured in the file: the check bars and the outline itself to 0.1 mm, on every page that shows them."""
    found = pages(pdf_bytes(plies, paper))
    sheets = [(ply, own, tile) for ply in plies for own in [tiles(ply.outline.bounds, paper, outline=ply.outline)]
              for tile in own.tiles]  # fmt: skip
    assert len(found) == len(sheets) + 1  # and the page that says how they go together
    for (wide, high, lines), (ply, own, tile) in zip(found[1:], sheets, strict=True):
        assert sorted((wide / POINT * 1e3, high / POINT * 1e3)) == approx(
            sorted((size[0], size[1] or own.page[1] * 1e3)), abs=0.05
        )
        level = [line for line in lines if len(line) == 2 and line[0, 1] == line[1, 1] and line[0, 1] < FOOT * POINT]
        bars = sorted(abs(line[1, 0] - line[0, 0]) / POINT * 1e3 for line in level)
        assert bars == approx([100.0, 101.6], abs=0.01)
        want = np.asarray(ply.outline.exterior.coords)[:-1]
        drawn = [line for line in lines if len(line) == len(want)]
        assert drawn, "the outline is on every sheet, cut off by the sheet's frame"
        places = drawn[0] / POINT + np.array([tile.box[0] - SIDE, tile.box[1] - FOOT])
        assert places == approx(want, abs=1e-4)  # 0.1 mm


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 4.0), st.floats(0.01, 4.0), st.floats(-3, 3), st.sampled_from(["a4", "letter", "roll"]))
def test_tiles_cover_the_pattern_and_share_a_strip(wide: float, high: float, shift: float, paper: Any) -> None:
    box = (shift, -shift, shift + wide, high - shift)
    own = tiles(box, paper)
    if own.turned:
        box = (-box[3], box[0], -box[1], box[2])
    low = np.array([t.box for t in own.tiles])
    assert low[:, 0].min() <= box[0] + 1e-9
    assert low[:, 1].min() <= box[1] + 1e-9
    assert low[:, 2].max() >= box[2] - 1e-9
    assert low[:, 3].max() >= box[3] - 1e-9
    by_place = {(t.row, t.column): t.box for t in own.tiles}
    for (row, column), here in by_place.items():
        beside, above = by_place.get((row, column + 1)), by_place.get((row + 1, column))
        if beside is not None:
            assert here[2] - beside[0] == approx(OVERLAP, abs=1e-9)
        if above is not None:
            assert here[3] - above[1] == approx(OVERLAP, abs=1e-9)
    assert len({t.name for t in own.tiles}) == len(own.tiles)


def test_a_long_pattern_lies_along_the_roll(hatch: Callable[..., dict[str, Any]]) -> None:
    part = hatch(surface={"rectangle": ["2.2 m", "700 mm"]}, ply=[{"fabric": "carbon plain 200"}])
    plies = flat_plies(read_part(part))
    own = tiles(plies[0].outline.bounds, "roll", outline=plies[0].outline)
    assert own.turned
    assert len(own.tiles) == 1
    _, (wide, high, lines) = pages(pdf_bytes(plies, "roll"))
    assert wide / POINT == approx(0.914, abs=1e-4)
    assert high / POINT == approx(2.2 + SIDE + FOOT, abs=1e-4)
    want = np.asarray(plies[0].outline.exterior.coords)[:-1]
    drawn = next(line for line in lines if len(line) == len(want))
    assert np.ptp(drawn, axis=0) / POINT == approx([0.7, 2.2], abs=1e-4)
    assert len(tiles(plies[0].outline.bounds, "a4", outline=plies[0].outline).tiles) > 30


def test_the_same_patterns_give_the_same_file(plies: tuple[FlatPly, ...], tmp_path: Path) -> None:
    assert pdf_bytes(plies, "a4") == pdf_bytes(plies, "a4")
    with pytest.raises(LayupError, match="a4, letter or roll"):
        write_pdf(plies, tmp_path / "a.pdf", "a3")  # type: ignore[arg-type]  # a paper that there is not
    with pytest.raises(LayupError, match="too narrow"):
        write_pdf(plies, tmp_path / "a.pdf", "roll", roll=0.1)
    with pytest.raises(LayupError, match="make it first"):
        write_pdf(plies, tmp_path / "no" / "a.pdf")
    with pytest.raises(LayupError, match="Write mm or in"):
        write_dxf(plies, tmp_path / "a.dxf", "cm")  # type: ignore[arg-type]  # a unit that it can't be in


def test_a_name_that_ends_otherwise_is_refused(plies: tuple[FlatPly, ...], tmp_path: Path) -> None:
    for write, name, due in ((write_dxf, "x.pdf", "x.dxf"), (write_svg, "x", "x.svg"), (write_pdf, "x.dxf", "x.pdf")):
        with pytest.raises(LayupError, match=due):
            write(plies, tmp_path / name)
    part = tmp_path / "panel.toml"
    part.write_text(
        'title = "Panel"\nprocess = "vacuum bag"\nresin = "epoxy, laminating"\n'
        '[surface]\nrectangle = ["70 mm", "40 mm"]\n[[ply]]\nfabric = "carbon plain 200"\n'
    )
    for option, name in (("--dxf", "x.pdf"), ("--svg", "x.dxf"), ("--pdf", "x.svg")):
        done = CliRunner().invoke(main, ["patterns", str(part), option, str(tmp_path / name)])
        assert done.exit_code == 2
        assert f"its name ends in .{option[2:]}" in done.output
    assert sorted(p.name for p in tmp_path.iterdir()) == ["panel.toml"]


def test_the_command_writes_all_of_it(tmp_path: Path) -> None:
    (tmp_path / "panel.toml").write_text(
        'title = "Panel"\nprocess = "vacuum bag"\nresin = "epoxy, laminating"\n'
        '[surface]\nrectangle = ["700 mm", "400 mm"]\n[[ply]]\nfabric = "carbon plain 200"\nangle = 45\n'
    )
    (tmp_path / "holes.csv").write_text("x,y,diameter\n50,50,5\n650,350,5\n")
    names = {k: str(tmp_path / f"panel.{k}") for k in ("dxf", "svg", "pdf", "png")}
    done = CliRunner().invoke(
        main,
        ["patterns", str(tmp_path / "panel.toml"), "--dxf", names["dxf"], "--svg", names["svg"], "--pdf", names["pdf"],
         "--paper", "letter", "--picture", names["png"], "--holes", str(tmp_path / "holes.csv"), "--holes-unit", "mm"],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert all(Path(name).stat().st_size > 1000 for name in names.values())
    assert "ply 1: cloth up 0.0 %" in done.output
    found = CliRunner().invoke(main, ["patterns", str(tmp_path / "panel.toml"), "--json"])
    import json

    ply = json.loads(found.stdout)["plies"][0]
    assert ply["flat_area_m2"] == approx(0.28, rel=1e-9)
    outline = np.array(ply["outline_m"])
    assert np.ptp(outline[:, 0]) == approx(1.1 / math.sqrt(2), rel=1e-6)
    wrong = CliRunner().invoke(main, ["patterns", str(tmp_path / "panel.toml"), "--trim", "3"])
    assert wrong.exit_code == 2
    assert "Traceback" not in wrong.output


def test_the_words_stand_on_one_sheet_and_every_sheet_has_something_on_it(plies: tuple[FlatPly, ...]) -> None:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    for ply in plies:
        own = tiles(ply.outline.bounds, "a4", outline=_ink(ply))
        drawn = _named_on_one(ply, strokes(ply, LETTERS), own)
        title = drawn.words[0]
        wide = stringWidth(title.text, "Text-Bold", title.height * POINT / 0.72) / POINT  # as it is printed
        on = [t for t in own.tiles if t.box[0] <= title.at[0] and title.at[0] + wide <= t.box[2]
              and t.box[1] <= title.at[1] <= t.box[3]]  # fmt: skip
        assert on
        for tile in own.tiles:
            assert any(
                shapely.LineString([*n.points, n.points[0]] if n.closed else n.points).intersects(
                    shapely.box(*tile.box)
                )
                for n in drawn.lines
            )


def test_identical_pieces_are_printed_once_with_their_numbers(hatch: Callable[..., dict[str, Any]]) -> None:
    same = [{"fabric": "carbon plain 200"}, {"fabric": "carbon twill 200"}, {"fabric": "carbon plain 200"}]
    made = once(flat_plies(read_part(hatch(surface={"rectangle": ["300 mm", "200 mm"]}, ply=same))))
    assert [ply.name for ply in made] == ["1, 3", "2"]
    assert made[0].title == "Ply 1, 3: carbon plain 200, 0°, whole (cut 2)"
