"""Cores as they are cut: bevels and what they weigh, scores of a bent core, joints of sheets, and all of it drawn."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf.filemanagement
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from pytest import approx

from layup.cloth import practice
from layup.cloth.cores import joined, scores
from layup.cloth.pattern import flat_plies
from layup.cloth.templates import write_dxf
from layup.commands.cli import main
from layup.errors import FaultsError, LayupError
from layup.make.build_sheet import day_sheet
from layup.make.cut import cut
from layup.make.stock import of_cut, read_stock
from layup.partfile.read import read_part
from layup.report.document import Grid
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
FACE = {"fabric": "carbon plain 200"}
LONG, WIDE, THICK, SLOPE = 1.2, 0.6, 0.02, 30.0


def floor(hatch: Hatch, **core: Any) -> dict[str, Any]:
    ply = {"core": "PVC foam 60", "thickness": f"{THICK} m", **core}
    return hatch(surface={"rectangle": [f"{LONG} m", f"{WIDE} m"]}, ply=[FACE, ply, FACE])


def test_a_bevelled_core_is_a_frustum(hatch: Hatch) -> None:
    """Volume of a prismatoid: t/6 of bottom, top and four times the middle; the slope is longer than what it covers."""
    plain, bevelled = (predict(read_part(floor(hatch, **more))) for more in ({}, {"bevel": SLOPE}))
    away = THICK / math.tan(math.radians(SLOPE))
    sides = [(LONG - 2 * k * away) * (WIDE - 2 * k * away) for k in (0.0, 0.5, 1.0)]
    volume = THICK / 6 * (sides[0] + 4 * sides[1] + sides[2])
    # the corners, where two bevels meet, are counted twice: 4/3 of a square as wide as the bevel
    assert bevelled.weighed.core == approx(volume * 60.0, rel=4 / 3 * away**2 / sides[1])
    assert plain.weighed.core == approx(LONG * WIDE * THICK * 60.0)
    grown = (sides[0] - sides[2]) * (1 / math.cos(math.radians(SLOPE)) - 1)
    faces = plain.weighed.bond / (2 * sides[0])
    assert bevelled.weighed.bond == approx(faces * (2 * sides[0] + grown), rel=2e-3)


def test_a_bevel_that_can_not_be_is_said(hatch: Hatch) -> None:
    with pytest.raises(FaultsError, match="outside 5 to 85"):
        read_part(floor(hatch, bevel=2))
    with pytest.raises(FaultsError, match="edge of a core"):
        read_part(hatch(ply=[{**FACE, "bevel": 30}]))
    with pytest.raises(LayupError, match="too narrow"):
        predict(read_part(floor(hatch, bevel=5, thickness="120 mm")))
    bare = hatch(surface={"area": "1 m^2"}, ply=[FACE, {"core": "PVC foam 60", "thickness": "5 mm", "bevel": 30}, FACE])
    with pytest.raises(LayupError, match="length of its edge"):
        predict(read_part(bare))


def strip(radius: float, facets: int, turned: float = 0.0) -> tuple[Any, Any, Any]:
    """A piece of a round surface, 0.4 m along its axis, and the same unrolled; the axis turned in the flat."""
    angle = np.linspace(-0.6, 0.6, facets + 1)
    solid, flat = [], []
    for one, two in itertools.pairwise(angle):
        corner = [(0.0, one), (0.4, one), (0.4, two), (0.0, two)]
        for pick in ((0, 1, 2), (0, 2, 3)):
            solid.append([(x, radius * math.sin(a), radius * math.cos(a)) for x, a in (corner[k] for k in pick)])
            flat.append([(x, radius * a) for x, a in (corner[k] for k in pick)])
    c, s = math.cos(turned), math.sin(turned)
    lies = np.array(flat) @ np.array([[c, s], [-s, c]])
    box = shapely.Polygon(np.array([(0, -0.6 * radius), (0.4, -0.6 * radius), (0.4, 0.6 * radius), (0, 0.6 * radius)])
                          @ np.array([[c, s], [-s, c]]))  # fmt: skip
    return np.array(solid), lies, box


@pytest.mark.parametrize("facets", [12, 60])
@pytest.mark.parametrize("turned", [0.0, 0.7])
def test_a_core_on_a_cylinder_is_scored_along_it(facets: int, turned: float) -> None:
    """A chord of length s rises s^2 / (8 r) over its arc; scores open by t^2 / (2 r) on the area."""
    radius, thick = 0.3, 0.02
    solid, lies, box = strip(radius, facets, turned)
    found = scores(solid, lies, box, thick)
    assert found is not None
    apart = math.sqrt(8 * radius * practice.SAG.value)
    assert found.round == approx(radius, rel=0.05)
    assert found.apart == approx(apart, rel=0.03)
    across = sorted(line.coords[0][0] * math.sin(turned) + line.coords[0][1] * math.cos(turned) for line in found.lines)
    assert max(np.diff(across)) <= 1.02 * apart  # no strip stands further off its mould than it may
    assert len(found.lines) == approx(1.2 * radius / apart, abs=1.5)
    # half a facet at either end has no bend beside it
    assert found.opened == approx(0.4 * 1.2 * radius * thick**2 / (2 * radius), rel=0.03 + 1.2 / facets)
    for line in found.lines:
        ends = np.array(line.coords)
        way = (ends[1] - ends[0]) / line.length
        assert abs(way @ (math.cos(turned), math.sin(turned))) == approx(1.0, abs=1e-3)


def test_a_thin_core_bends_as_it_is() -> None:
    assert scores(*strip(0.3, 40), 2 * 0.3 * practice.BEND.value * 0.9) is None
    assert scores(*strip(0.3, 40), 2 * 0.3 * practice.BEND.value * 1.1) is not None


@pytest.mark.parametrize("sheet", [(1.2, 0.6), (0.5, 0.5), (1.0, 0.35), (3.0, 1.0)])
def test_pieces_of_sheets_make_up_the_core(sheet: tuple[float, float]) -> None:
    outline = shapely.Polygon([(0, 0), (1.3, 0), (1.3, 0.4), (0.7, 0.9), (0, 0.9)])
    pieces, joints = joined(outline, sheet)
    assert sum(piece.area for piece in pieces) == approx(outline.area)
    assert shapely.union_all(pieces, grid_size=1e-9).area == approx(outline.area)
    for piece in pieces:
        x0, y0, x1, y1 = piece.bounds
        sides = sorted((x1 - x0, y1 - y0))
        assert sides[0] <= min(sheet) + 1e-9
        assert sides[1] <= max(sheet) + 1e-9
    # each joint has two edges: what the pieces have of edge more than the outline
    assert 2 * joints == approx(sum(piece.length for piece in pieces) - outline.length, abs=1e-9)


def test_the_drawing_has_bevel_and_pieces_at_full_size(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\nPVC foam 60,length,800 mm,measured,shop,\n"
        "PVC foam 60,width,600 mm,measured,shop,\n"
    )
    part = floor(hatch, bevel=SLOPE)
    job = read_part({**part, "ply": part["ply"][1:2], "materials": ["shop.csv"]}, tmp_path)
    plies = [ply for ply in flat_plies(job) if ply.thickness is not None]
    assert [ply.name for ply in plies] == ["1a", "1b"]
    drawn = ezdxf.filemanagement.readfile(write_dxf(plies, tmp_path / "core.dxf"))
    lines = {layer: [e for e in drawn.modelspace() if e.dxf.layer == layer] for layer in ("CUT", "BEVEL")}

    def long(entity: Any) -> float:
        points = np.array([p[:2] for p in entity.get_points()])
        points = np.concatenate([points, points[:1]]) if entity.closed else points
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())

    assert sorted(map(long, lines["CUT"])) == approx([2 * (600 + 600)] * 2, abs=0.1)
    away = 1e3 * THICK / math.tan(math.radians(SLOPE))
    assert sum(map(long, lines["BEVEL"])) == approx(2 * (1200 + 600 - 4 * away), abs=0.1)
    made = cut([job], seconds=0)
    assert [name for name, _ in made.cores[0][0].pieces] == ["1a", "1b"]
    assert any("2 pieces, butted" in note for note in made.notes)


def test_pieces_come_off_one_sheet_and_what_is_left_is_told(hatch: Hatch, tmp_path: Path) -> None:
    shelf = tmp_path / "stock.csv"
    shelf.write_text("label,kind,material,width,length,thickness\nC1,core,PVC foam 60,1 m,1.4 m,20 mm\n")
    job = read_part(hatch(surface={"rectangle": ["600 mm", "500 mm"]}, ply=[FACE, {
        "core": "PVC foam 60", "thickness": "20 mm", "count": 3}, FACE]))  # fmt: skip
    said, takes = of_cut(read_stock(shelf, job.library), cut([job], seconds=0), "metric")
    told = [line for line in said if "PVC" in line]
    assert sum("from sheet C1" in line for line in told) == 3
    [take] = [one for one in takes if one.label == "C1"]
    assert sum(piece.area for piece in take.over) == approx(1.4 - 3 * 0.3)


def test_thickness_has_its_own_column(hatch: Hatch, tmp_path: Path) -> None:
    path = tmp_path / "floor.toml"
    path.write_text(
        'title = "Floor"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nrectangle = ["1.2 m", "600 mm"]\n'
        '[[ply]]\nfabric = "carbon plain 200"\n[[ply]]\ncore = "PVC foam 60"\nthickness = "10 mm"\nbevel = "30 deg"\n'
    )
    shown = CliRunner().invoke(main, ["patterns", str(path), "--no-splices", "--units", "metric"]).output
    assert "thick" in shown
    assert "10.0 mm" in shown
    assert "bevel of 30°" in shown
    told = json.loads(CliRunner().invoke(main, ["cut", str(path), "--seconds", "0", "--json"]).output)
    assert [core["thickness_m"] for core in told["cores"]] == [0.01]


def test_the_day_sheet_lists_cores_where_they_are_laid(hatch: Hatch) -> None:
    job = read_part(floor(hatch))
    sheet = day_sheet([predict(job)], cut([job], seconds=0), [()], [], "metric")
    [listed] = [s.blocks[0] for s in sheet.sections if s.title.startswith("Pieces")]
    assert isinstance(listed, Grid)
    assert [row[1] for row in listed.rows] == ["1", "2", "3"]
    assert listed.rows[1][2:5] == ("2", "PVC foam 60, 20.0 mm", "core")
