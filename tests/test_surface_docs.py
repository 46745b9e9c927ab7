"""docs/surfaces.md keeps to the program: every format and finding has its line, every line a test that is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import ezdxf
import pytest
import trimesh

from layup.files.reading import READABLE
from layup.partfile.opened import look_at

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "docs" / "surfaces.md").read_text(encoding="utf-8")
ELSEWHERE = {"read_photo.py", "holes.py", "perforate.py", "opened.py"}  # photographs and holes: other pages


def rows(heading: str) -> list[list[str]]:
    part = TEXT.split(f"## {heading}")[1].split("\n## ")[0]
    cells = [line.strip("|").split("|") for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in cells[2:]]


def test_every_line_names_a_test_that_is_there():
    named = re.findall(r"`(test_\w+\.py)::(test_\w+)`", TEXT)
    for file, test in named:
        tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
        assert test in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, f"{file}::{test}"
    assert len(named) >= len(rows("Formats")) + len(rows("Findings"))
    assert all("::" in row[-1] for row in rows("Formats") + rows("Findings"))


def test_every_format_and_every_finding_has_its_line():
    formats = " ".join(row[0] for row in rows("Formats")).upper()
    assert all(kind.upper() in formats for kind in (*READABLE, "dxf", "svg", "csv"))
    told = {row[0].strip("`") for row in rows("Findings")}
    raised = {
        node.args[0].value
        for room in ("shape", "sides", "files")
        for path in (ROOT / "layup" / room).glob("*.py")
        if path.name not in ELSEWHERE
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding"
        and node.args and isinstance(node.args[0], ast.Constant)
    }  # fmt: skip
    assert len(raised) > 30
    assert raised - told == set()
    assert told - raised == set()


@pytest.mark.parametrize("side", ["outer", "inner"])
def test_either_side_of_a_flat_sheet_would_do(tmp_path, side):
    trimesh.creation.box((0.5, 0.3, 0.002)).export(str(tmp_path / "s.stl"))
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(0, 0), (500, 0), (500, 300), (0, 300)], close=True)
    drawing.saveas(tmp_path / "s.dxf")
    for name, unit in (("s.stl", "m"), ("s.dxf", None)):
        surface = look_at(tmp_path / name, unit=unit, side=side)
        assert surface.whole.area == pytest.approx(0.15, rel=1e-6)
        text = next(f.text for f in surface.findings if f.kind == "flat sheet")
        assert f"either would do; {side} was asked for" in text


def test_an_outline_and_its_cut_outs_are_told(tmp_path):
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(0, 0), (500, 0), (500, 300), (0, 300)], close=True)
    drawing.modelspace().add_circle((200, 150), 50)
    drawing.saveas(tmp_path / "s.dxf")
    found = {f.kind: f for f in look_at(tmp_path / "s.dxf").findings}
    assert found["outline"].area_effect == pytest.approx(0.15)
    assert found["cut-outs"].area_effect == pytest.approx(-3.14159265 * 0.05**2, rel=1e-6)


def test_areas_and_outlines_that_do_not_count_are_told(tmp_path):
    drawing = ezdxf.new(units=4)
    space = drawing.modelspace()
    for x, layer in ((0, "EDGE"), (900, "SPARE"), (10, "PLY 1"), (700, "PLY 2")):
        wide = 500 if x in (0,) else 100
        corners = [(x, 10), (x + wide, 10), (x + wide, 300), (x, 300)]
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
    drawing.saveas(tmp_path / "s.dxf")
    from layup.files.read_dxf import read_dxf

    surface = read_dxf(tmp_path / "s.dxf").surface(pick="EDGE")
    found = {f.kind: f for f in surface.findings}
    assert surface.whole.area == pytest.approx(0.145)
    assert found["other outlines"].count == 1
    assert found["named area"].area_effect == 0.0
    assert '"PLY 2"' in found["empty area"].text
