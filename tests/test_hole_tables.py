"""Holes in a part file: what they do to area, edge, weight and patterns, and every mistake with its line."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from math import pi
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from oracles.replay import replay
from pytest import approx

from layup.cloth.pattern import flat_plies
from layup.commands.cli import main
from layup.errors import FaultsError
from layup.files.read_dxf import read_dxf
from layup.learn.store import open_store
from layup.learn.weighins import predict_piece, weigh_in
from layup.make.cut import cut
from layup.partfile.read import read_part
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
ROWS = {"name": "lightening", "diameter": "100 mm", "first": ["200 mm", "200 mm"], "pitch": "200 mm", "columns": 4,
        "rows": 3}  # fmt: skip
TAKEN = 12 * pi * 0.05**2
RINGS = {"name": "rings", "within": "20 mm of the holes lightening"}


def faults(part: dict[str, Any], folder: Path | None = None) -> str:
    with pytest.raises(FaultsError) as caught:
        read_part(part, folder)
    return str(caught.value)


def test_holes_enter_area_edge_and_weight(hatch: Hatch) -> None:
    butted = [{"fabric": "carbon plain 200", "angle": angle, "overlap": "0 mm"} for angle in (0, 45)]
    plain, holed = predict(hatch(ply=butted)), predict(hatch(ply=butted, holes=[ROWS]))
    assert holed.job.surface.whole.area == approx(1.0 - TAKEN, rel=1e-12)
    assert holed.job.surface.perimeter == approx(4.0 + 12 * pi * 0.1, rel=1e-12)
    assert holed.mass.mean == approx(plain.mass.mean * (1.0 - TAKEN), rel=1e-9)
    assert holed.weighed.cg is not None
    # holes at x 0.2 to 0.8 and y 0.2 to 0.6: the balance moves up, by hand
    assert holed.weighed.cg[:2] == approx((0.5, (0.5 - TAKEN * 0.4) / (1.0 - TAKEN)), rel=1e-9)
    data = holed.as_json()
    assert data["surface"]["area_m2"] == approx(1.0 - TAKEN)
    assert data["holes"][0]["count"] == 12
    assert data["holes"][0]["removed_m2"] == approx(TAKEN)
    assert any(f["kind"] == "holes" and f["area_effect_m2"] == approx(-TAKEN) for f in data["surface"]["findings"])
    assert plain.as_json()["holes"] == []


def test_the_edge_zone_rings_the_holes_and_the_outer_edge_does_not(hatch: Hatch) -> None:
    zones = [{"name": "all", "within": "40 mm of the edge"}, {"name": "outer", "within": "40 mm of the outer edge"}]
    measured = read_part(hatch(holes=[ROWS], zone=zones)).zones
    band, round_ = 1.0 - 0.92**2, 12 * pi * (0.09**2 - 0.05**2)
    assert measured["outer"].area == approx(band, rel=2e-3)
    assert measured["all"].area == approx(band + round_, rel=2e-3)


def test_a_ring_ply_weighs_what_its_annuli_do(hatch: Hatch) -> None:
    ring = {"fabric": "carbon plain 200", "zone": "rings"}
    found = predict(hatch(holes=[ROWS], zone=[RINGS], ply=[{"fabric": "carbon plain 200"}, ring]))
    base, top = found.weighed.layers
    assert top.place.area == approx(12 * pi * (0.07**2 - 0.05**2), rel=1e-12)
    assert top.mass == approx(base.areal_weight * top.place.area, rel=1e-12)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(1, 6), st.integers(1, 5), st.floats(10, 90), st.booleans())
def test_so_many_holes_as_columns_and_rows(hatch: Hatch, columns: int, rows: int, size: float, shifted: bool) -> None:
    table = {"name": "g", "diameter": f"{size} mm", "first": ["100 mm", "100 mm"], "pitch": ["150 mm", "120 mm"],
             "columns": columns, "rows": rows, "staggered": shifted}  # fmt: skip
    holes = read_part(hatch(holes=[table])).holes["g"].pattern.holes
    assert len(holes) == columns * rows - (rows // 2 if shifted else 0)


def test_rings_and_turned_rows(hatch: Hatch) -> None:
    bolts = {"name": "bolts", "diameter": "20 mm", "centre": ["500 mm", "500 mm"], "ring": "300 mm", "count": 6,
             "angle": 90}  # fmt: skip
    line = {
        "name": "line",
        "diameter": "20 mm",
        "first": ["100 mm", "100 mm"],
        "pitch": "50 mm",
        "count": 3,
        "angle": 90,
    }
    job = read_part(hatch(holes=[bolts, line]))
    assert (job.holes["bolts"].pattern.holes[0].x, job.holes["bolts"].pattern.holes[0].y) == approx((0.5, 0.65))
    assert [(h.x, h.y) for h in job.holes["line"].pattern.holes] == [approx((0.1, 0.1 + 0.05 * k)) for k in range(3)]


PART = """\
title = "Panel"
process = "wet"
resin = "epoxy, laminating"
[surface]
rectangle = ["400 mm", "200 mm"]
[[ply]]
fabric = "carbon plain 200"
[[holes]]
name = "a"
diameter = "30 mm"
first = ["50 mm", "50 mm"]
pitch = "40 mm"
count = 4
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('pitch = "40 mm"', 'pitch = "30 mm"', 12, "at 30 mm from middle to middle, holes of 30 mm run into"),
        ('pitch = "40 mm"', 'pitch = "25 mm"', 12, "Write a pitch of more than 30 mm"),
        ('pitch = "40 mm"\n', "", 8, "pitch is missing"),
        ('pitch = "40 mm"', 'pitch = "120 mm"', 8, "hole 4 at (410, 50) mm"),
        ('first = ["50 mm", "50 mm"]', 'first = ["10 mm", "50 mm"]', 8, "runs over the edge of the part"),
        ('first = ["50 mm", "50 mm"]', 'first = ["600 mm", "50 mm"]', 8, "lies off the part"),
        ('first = ["50 mm", "50 mm"]', "first = [50, 50]", 11, "a length needs its unit"),
        ('diameter = "30 mm"', 'diameter = "30 m"', 10, "check the unit"),
        ('diameter = "30 mm"\n', "", 8, "diameter is missing"),
        ("count = 4", "count = 4\nrows = 2", 8, "keep one of them"),
        ("count = 4", "columns = 2", 8, "columns and rows go together"),
        ("count = 4", 'count = 4\nring = "90 mm"', 8, "ring belongs to centre"),
        ("count = 4", "cuont = 4", 13, 'Nearest: "count"'),
        ("count = 4", "count = 4\nalong = [0, 0, 0]", 14, "no direction"),
        ("count = 4", 'count = 4\nlayer = "HOLES"', 8, "exactly one of first, centre, layer, file"),
        ('first = ["50 mm", "50 mm"]\npitch = "40 mm"', 'file = "none.csv"', 8, "count is in the file already"),
        ('first = ["50 mm", "50 mm"]\npitch = "40 mm"\ncount = 4', 'file = "none.csv"', 11, "none.csv: "),
        ('first = ["50 mm", "50 mm"]\npitch = "40 mm"\ncount = 4', 'layer = "HOLES"', 8, "they are drawn with"),
        (
            'first = ["50 mm", "50 mm"]\npitch = "40 mm"\ncount = 4',
            'centre = ["200 mm", "100 mm"]\nring = "60 mm"\ncount = 9', 13, "9 holes of 30 mm round a circle of 60 mm",
        ),
        (
            'first = ["50 mm", "50 mm"]\npitch = "40 mm"\n', "", 8, "nothing says where the holes are",
        ),
        ('name = "a"', 'name = "openings"', 9, "is taken"),
        (
            "count = 4", 'count = 4\n[[holes]]\nname = "b"\ndiameter = "20 mm"\nfirst = ["100 mm", "55 mm"]', 14,
            'runs into hole 2 of "a"',
        ),
        (
            "count = 4", 'count = 4\n[[holes]]\nname = "a"\ndiameter = "9 mm"\nfirst = ["9 mm", "99 mm"]', 15,
            "this name",
        ),
        (
            "count = 4", 'count = 4\n[[zone]]\nname = "z"\nwithin = "5 mm of the holes lightning"', 14,
            'there are no holes "lightning"',
        ),
        ("count = 4", 'count = 4\n[[zone]]\nname = "z"\nwithin = "5 mm of hole 9 of a"', 14, "no hole 9 of a"),
        ('fabric = "carbon plain 200"', 'fabric = "carbon plain 200"\ncovers = "b"', 8, 'no such holes "b"'),
    ],
)  # fmt: skip
def test_every_mistake_has_its_line_and_its_remedy(tmp_path: Path, old: str, new: str, line: int, words: str) -> None:
    assert old in PART
    path = tmp_path / "p.toml"
    path.write_text(PART.replace(old, new, 1))
    with pytest.raises(FaultsError) as caught:
        read_part(path)
    told = str(caught.value)
    assert words in told
    assert f"line {line}:" in told, told
    assert all(fault.wrong for fault in caught.value.faults)
    path.write_text(PART)
    read_part(path)  # as it stands it holds


def test_a_pattern_that_fails_is_told_once(hatch: Hatch) -> None:
    told = faults(hatch(holes=[ROWS | {"pitch": "90 mm"}], zone=[RINGS]))
    assert "1 fault\n" in told


def dxf(folder: Path) -> Path:
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (400, 0), (400, 200), (0, 200)], close=True, dxfattribs={"layer": "TRIM"})
    for x in (80, 200, 320):
        space.add_circle((x, 100), 25, dxfattribs={"layer": "PADS"})  # "pad" would be an area, if not asked for
        space.add_circle((x, 100), 30, dxfattribs={"layer": "PADS"})  # its countersink
    space.add_lwpolyline([(20, 20), (60, 20), (60, 50), (20, 50)], close=True, dxfattribs={"layer": "CUT"})
    document.saveas(folder / "panel.dxf")
    return folder / "panel.dxf"


def test_holes_on_a_layer_of_the_outline_are_cut_once(hatch: Hatch, tmp_path: Path) -> None:
    dxf(tmp_path)
    surface = {"outline": "panel.dxf"}
    zone = [{"name": "rings", "within": "10 mm of the holes round"}]
    job = read_part(hatch(surface=surface, holes=[{"name": "round", "layer": "pads"}], zone=zone), tmp_path)
    taken = 3 * pi * 0.025**2
    assert job.surface.whole.area == approx(0.08 - 0.04 * 0.03 - taken, rel=1e-9)  # countersinks are not cut
    assert job.holes["round"].area == approx(taken, rel=1e-9)
    assert job.zones["rings"].area == approx(3 * pi * (0.035**2 - 0.025**2), rel=1e-6)
    assert job.place(None, ["round"]).area == approx(0.08 - 0.04 * 0.03, rel=1e-6)
    assert job.place(None, ["openings"]).area == approx(0.08, rel=1e-6)
    told = faults(hatch(surface=surface, holes=[{"name": "r", "layer": "pds"}]), tmp_path)
    assert 'no closed line on a layer "pds"' in told
    assert "no layers" in faults(hatch(holes=[{"name": "r", "layer": "PADS"}]), tmp_path)


def test_countersinks_are_not_cut_out_twice(hatch: Hatch, tmp_path: Path) -> None:
    drawing = read_dxf(dxf(tmp_path))
    surface = drawing.surface(cut=["PADS"])
    assert surface.whole.area == approx(0.08 - 0.04 * 0.03 - 3 * pi * 0.025**2, rel=1e-9)
    assert any(f.kind == "countersinks" and f.count == 3 for f in surface.findings)
    part = hatch(surface={"rectangle": ["400 mm", "200 mm"]}, holes=[{"name": "r", "file": "panel.dxf"}])
    job = read_part(part, tmp_path)
    assert job.surface.whole.area == approx(0.08 - 3 * pi * 0.025**2, rel=1e-9)
    assert [h.countersink for h in job.holes["r"].pattern.holes] == [approx(0.06)] * 3


def test_holes_of_a_list_of_points(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "h.csv").write_text("name,x [in],y [in],d\np,4,4,2\nq,8,4,1\n")
    job = read_part(hatch(holes=[{"name": "r", "file": "h.csv"}]), tmp_path)
    assert job.holes["r"].area == approx(pi / 4 * (2**2 + 1) * 0.0254**2, rel=1e-12)
    assert [h.name for h in job.holes["r"].pattern.holes] == ["p", "q"]


def test_only_the_area_is_known(hatch: Hatch) -> None:
    part = hatch(surface={"area": "1 m^2"}, holes=[{"name": "h", "diameter": "100 mm", "count": 12}])
    part["ply"][1]["covers"] = "openings"
    job = read_part(part)
    assert job.surface.whole.area == approx(1.0 - TAKEN)
    assert job.place(None, ("openings",)).area == approx(1.0)
    assert predict(part).as_json()["holes"][0]["places_m"] == []
    part["holes"][0] = {"name": "h", "diameter": "100 mm", "count": 200}
    assert "more than the part has" in faults(part)


def test_a_cover_is_one_continuous_ply(hatch: Hatch) -> None:
    cover = {"fabric": "glass plain 200", "covers": ["openings"]}
    found = predict(hatch(holes=[ROWS], ply=[{"fabric": "carbon plain 200"}, cover]))
    shell, top = found.weighed.layers
    assert (shell.area, top.area) == (approx(1.0 - TAKEN), approx(1.0))
    (pattern,) = (p for p in flat_plies(found.job) if p.number == 2)
    assert not pattern.drills
    assert not pattern.edge.interiors
    patch = {"fabric": "glass plain 200", "zone": "rings", "covers": "lightening"}
    job = read_part(hatch(holes=[ROWS], zone=[RINGS], ply=[{"fabric": "carbon plain 200"}, patch]))
    assert job.place("rings", ["lightening"]).area == approx(12 * pi * 0.07**2, rel=1e-9)  # a patch over each hole


def test_drilled_holes_take_cloth_and_resin_but_no_weight(hatch: Hatch) -> None:
    part = hatch(holes=[ROWS], trim="20 mm")
    found = predict(part)
    assert found.weighed.layers[0].cut_away == approx(0.02 * 4.0 + TAKEN, rel=1e-9)
    cover = hatch(holes=[ROWS], trim="20 mm", ply=[{"fabric": "carbon plain 200", "covers": "openings"}])
    covered = predict(cover)
    assert covered.weighed.layers[0].cut_away == approx(0.02 * 4.0, rel=1e-9)
    areal = sum(y.areal_weight for y in found.weighed.layers) + found.weighed.film / (1.0 - TAKEN)
    assert found.weighed.trimmed_off == approx(areal * (0.08 + TAKEN), rel=1e-6)
    plain = predict(hatch(trim="20 mm"))
    assert found.weighed.resin_to_mix == approx(plain.weighed.resin_to_mix, rel=1e-3)  # all of it is laid, then drilled


def test_a_ring_ply_is_cut_hole_by_hole(hatch: Hatch) -> None:
    ring = {"fabric": "carbon plain 160", "zone": "rings", "count": 2}
    job = read_part(hatch(holes=[ROWS], zone=[RINGS], ply=[{"fabric": "carbon plain 200"}, ring]))
    whole, rings = flat_plies(job)
    assert (rings.alike, rings.pieces) == (12, 24)
    assert "(cut 24)" in rings.title
    assert rings.outline.area == approx(pi * (0.07**2 - 0.05**2), rel=2e-2)
    assert rings.outline.bounds[2] - rings.outline.bounds[0] == approx(0.14, rel=5e-3)
    assert len(rings.drills) == 1
    assert rings.drills[0].at == approx((0.0, 0.0), abs=1e-3)
    assert len(whole.drills) == 12
    assert whole.outline.area == approx(1.0, rel=1e-6)  # cloth runs across the holes
    made = cut([job], seconds=0)
    pieces = {fabric.fabric: len(fabric.pieces) for fabric in made.fabrics}
    assert pieces == {"carbon plain 200": 1, "carbon plain 160": 24}
    assert made.fabrics[0].pieces[0].shape.area == approx(1.0, rel=1e-6)
    notes = " ".join(made.notes)
    assert "runs across the 12 holes (942.5 cm²)" in notes
    assert "is a frame" not in " ".join(made.proposals)


def test_cut_says_that_cut_outs_are_filled(hatch: Hatch) -> None:
    window = {"outline": [[0, 0], [800, 0], [800, 500], [0, 500]], "unit": "mm",
              "cutouts": [[[100, 100], [300, 100], [300, 200], [100, 200]]]}  # fmt: skip
    made = cut([read_part(hatch(surface=window))], seconds=0)
    assert made.fabrics[0].pieces[0].shape.area == approx(0.4)
    assert "cut-outs filled (200 cm²)" in " ".join(made.notes)
    frame = {"outline": [[0, 0], [800, 0], [800, 500], [0, 500]], "unit": "mm",
             "cutouts": [[[50, 50], [750, 50], [750, 450], [50, 450]]]}  # fmt: skip
    made = cut([read_part(hatch(surface=frame))], seconds=0)
    assert made.fabrics[0].pieces[0].shape.area == approx(0.4 - 0.28)
    assert "as a frame is" in " ".join(made.notes)


def test_holes_in_a_curved_example(examples: Path) -> None:
    text = (examples / "motor-glider" / "instrument-hood.toml").read_text()
    holes = '[[holes]]\nname = "vents"\ndiameter = "1 in"\nfirst = ["3 in", "-3 in"]\npitch = "1.5 in"\ncount = 3\n'
    rings = 'angle = 90\n[[zone]]\nname = "vent rings"\nwithin = "1/5 in of the holes vents"\n'
    import tomllib

    data = tomllib.loads(text + "\n" + holes + rings)
    data["ply"] = [{"fabric": "carbon plain 160", "zone": "vent rings"}]  # to flatten the others takes long
    job = read_part(data, examples / "motor-glider")
    plain = read_part(examples / "motor-glider" / "instrument-hood.toml")
    vents = job.holes["vents"]
    assert 0.0 <= vents.area / vents.pattern.removed - 1.0 < 0.25
    assert job.surface.whole.area == approx(plain.surface.whole.area - vents.area, rel=1e-9)
    assert job.zones["vent rings"].area == approx(3 * pi * (0.7**2 - 0.5**2) * 0.0254**2, rel=0.12)
    pieces = [p for p in flat_plies(job, nodes=1500) if p.zone == "vent rings"]
    assert sum(p.alike for p in pieces) == 3


def test_the_example_with_holes(examples: Path) -> None:
    path = examples / "motor-glider" / "seat-back.toml"
    job = read_part(path)
    assert job.holes["lightening"].area == approx(12 * pi * 0.028**2)
    assert job.zones["hole edges"].area == approx(12 * pi * (0.038**2 - 0.028**2), rel=1e-9)
    done = CliRunner().invoke(main, ["holes", str(path)])
    assert done.exit_code == 0
    assert "B3 at" in done.output
    record = json.loads(CliRunner().invoke(main, ["predict", str(path), "--json"]).output)
    assert [n["hole"] for n in record["fasteners"][0]["too_near"]] == ["B3"]
    assert record["fasteners"][0]["fit"]["rms_m"] < 5e-4


def test_a_weigh_in_of_a_part_with_holes_is_replayed(tmp_path: Path, examples: Path) -> None:
    home = tmp_path / "shop"
    shutil.copytree(examples / "motor-glider", home)
    with open_store(tmp_path) as store:
        noted = weigh_in(store, home / "seat-back.toml", 0.23, "trimmed")
        shutil.rmtree(home)
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        seen = replay(store, noted, scratch)
    for key in ("fibre_kg", "resin_in_part_kg", "trimmed_off_kg", "resin_to_mix_kg"):
        assert seen.now.as_json()[key] == approx(seen.then[key], rel=1e-6), key


def test_a_coupon_of_a_part_with_holes_has_none(examples: Path) -> None:
    coupon = predict_piece(examples / "motor-glider" / "seat-back.toml", None, (0.1, 0.1))
    assert [layer.area for layer in coupon.weighed.layers] == [approx(0.01)] * 3
    assert coupon.weighed.trimmed_off == 0.0


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"first": "x"}, "a place is two lengths in plan"),
        ({"first": ["1 mm"]}, "a place is two lengths in plan"),
        ({"first": ["100 mm", "100 mm"], "pitch": ["9 mm", "9 mm", "9 mm"]}, "one pitch"),
        ({"first": ["100 mm", "100 mm"], "pitch": "9 mm", "columns": 100, "rows": 100}, "more than 4,000 holes"),
        ({"first": ["100 mm", "100 mm"], "along": [1, 1, 1]}, "needs x, y and z"),
        ({"first": ["100 mm", "100 mm"], "along": [1, 0, 0]}, "lies off the part, as seen along (1, 0, 0)"),
        ({"file": "door.stl"}, "holes can't be read from"),
        ({"first": ["100 mm", "100 mm"], "angle": "45 mm"}, "angle"),
    ],
)
def test_what_makes_no_table(hatch: Hatch, table: dict[str, Any], words: str) -> None:
    told = faults(hatch(holes=[{"name": "h", "diameter": "5 mm"} | table]))
    assert words in told
    assert "holes 1" in told
