"""An old fastener pattern on a new part: the fit, what is refused, what lies too near, and the command that says it."""

from __future__ import annotations

import json
from collections.abc import Callable
from math import degrees, pi
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.commands.cli import main
from layup.errors import FaultsError, SurfaceError
from layup.partfile.holes import fit, trim_line
from layup.partfile.read import read_part
from layup.shape.plan import Plan
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
POINTS = np.array([(0.0, 0.0), (0.3, 0.0), (0.3, 0.2), (0.05, 0.25)])
AT = {"A": (20, 20), "B": (380, 20), "C": (380, 180), "D": (20, 180)}


def turned(points: np.ndarray, angle: float, shift: tuple[float, float]) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]]) + shift


@given(st.floats(-pi, pi), st.floats(-5, 5), st.floats(-5, 5))
def test_a_turn_and_a_shift_are_found_back(angle: float, x: float, y: float) -> None:
    found = fit(POINTS, turned(POINTS, angle, (x, y)))
    assert np.cos(found.turn - angle) == approx(1.0, abs=1e-12)
    assert found.worst == approx(0.0, abs=1e-9)
    assert found.move(POINTS) == approx(turned(POINTS, angle, (x, y)), abs=1e-9)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3)), min_size=4, max_size=4), st.floats(-3, 3))
def test_no_other_turn_or_shift_leaves_less(noise: list[tuple[float, float]], angle: float) -> None:
    new = turned(POINTS, angle, (0.1, -0.2)) + np.array(noise)
    found = fit(POINTS, new)
    least = (found.off**2).sum()
    for more, x, y in ((1e-4, 0, 0), (-1e-4, 0, 0), (0, 1e-5, 0), (0, -1e-5, 0), (0, 0, 1e-5), (0, 0, -1e-5)):
        other = turned(POINTS, found.turn + more, found.shift) + np.array([x, y])
        assert ((new - other) ** 2).sum() >= least - 1e-15
    assert found.rms == approx(np.sqrt(least / 4))


def test_a_known_figure_by_hand() -> None:
    # a square of side 2 whose four corners move out by 0.1 along x at the right and left: no turn, no shift,
    # 0.1 left at every corner
    square = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    found = fit(square, square * (1.01, 1.0))
    assert (found.turn, found.shift) == (approx(0.0, abs=1e-12), approx((0.0, 0.0), abs=1e-12))
    assert np.abs(found.off) == approx(np.tile([0.01, 0.0], (4, 1)), abs=1e-12)


@given(st.floats(-pi, pi))
def test_a_pattern_from_the_other_face_is_refused_and_named(angle: float) -> None:
    with pytest.raises(SurfaceError, match="fit only turned over"):
        fit(POINTS * (-1.0, 1.0), turned(POINTS, angle, (0.0, 0.0)))


def test_what_can_not_be_fitted() -> None:
    line = np.array([(0.0, 0.0), (0.1, 0.0), (0.3, 0.001)])
    with pytest.raises(SurfaceError, match="on one line of the old pattern"):
        fit(line, line)
    with pytest.raises(SurfaceError, match=r"25\.4 times as far apart"):
        fit(POINTS, POINTS * 25.4)
    with pytest.raises(SurfaceError, match="2 matched points"):
        fit(POINTS[:2], POINTS[:2])


def panel(hatch: Hatch, **fasteners: Any) -> dict[str, Any]:
    match = {name: [f"{x} mm", f"{y} mm"] for name, (x, y) in AT.items()}
    table = {"name": "screws", "file": "old.csv", "match": match} | fasteners
    return hatch(
        surface={"rectangle": ["400 mm", "200 mm"]}, fasteners=[{k: v for k, v in table.items() if v is not None}]
    )


def old_list(folder: Path, extra: str = "", angle: float = 0.4, mirrored: bool = False) -> None:
    """The four screws as measured in a frame turned and shifted, and whatever else."""
    points = np.array([*AT.values(), (100.0, 100.0), (8.0, 100.0)])
    points = turned(points - (50.0, 30.0), -angle, (0.0, 0.0)) * ((-1.0, 1.0) if mirrored else (1.0, 1.0))
    names = [*AT, "middle", "near"]
    lines = [f"{n},{x:.6f},{y:.6f},5" for n, (x, y) in zip(names, points.tolist(), strict=True)]
    (folder / "old.csv").write_text("name,x [mm],y [mm],diameter [mm]\n" + "\n".join(lines) + "\n" + extra)


def test_the_old_pattern_lands_on_the_new_part(hatch: Hatch, tmp_path: Path) -> None:
    old_list(tmp_path)
    job = read_part(panel(hatch), tmp_path)
    (old,) = job.fasteners
    assert old.fit is not None
    assert degrees(old.fit.turn) == approx(degrees(0.4), abs=1e-4)
    places = {h.name: (h.x, h.y) for h in old.pattern.holes}
    assert places["middle"] == approx((0.1, 0.1), abs=1e-8)
    near = old.too_near(trim_line(job.surface, old.plan))
    assert [(n.hole.name, round(n.distance, 6), n.needed) for n in near] == [("near", 0.008, approx(0.016))]
    assert (
        not read_part(panel(hatch, edge=1.0, margin="1 mm", pitch=2.0), tmp_path)
        .fasteners[0]
        .too_near(trim_line(job.surface, old.plan))
    )


def test_a_lightening_hole_is_an_edge_for_a_screw(hatch: Hatch, tmp_path: Path) -> None:
    old_list(tmp_path)
    holes = [{"name": "big", "diameter": "60 mm", "first": ["138 mm", "100 mm"]}]
    job = read_part(panel(hatch) | {"holes": holes}, tmp_path)
    near = job.fasteners[0].too_near(trim_line(job.surface, Plan.along((0, 0, 1))))
    assert {(n.hole.name, n.opening, round(n.distance, 4)) for n in near} == {
        ("near", False, 0.008),
        ("middle", True, 0.008),
    }
    assert "to the edge of an opening" in str(next(n for n in near if n.opening))
    caution = " ".join(predict(panel(hatch) | {"holes": holes}, tmp_path).cautions)
    assert '"screws": 2 of 6 holes too near' in caution


@pytest.mark.parametrize("off", [0, 10, 14])
def test_a_screw_in_a_lightening_hole_has_no_material_under_it(hatch: Hatch, tmp_path: Path, off: float) -> None:
    """On the middle of a hole eight times its size it was taken for the hole's own screw, and nothing was said."""
    (tmp_path / "one.csv").write_text(f"name,x,y,diameter\nlost,{150 + off},100,5\n")
    holes = [{"name": "big", "diameter": "40 mm", "first": ["150 mm", "100 mm"]}]
    bolts = [{"name": "bolts", "file": "one.csv", "unit": "mm"}]
    job = read_part(panel(hatch) | {"holes": holes, "fasteners": bolts}, tmp_path)
    (near,) = job.fasteners[0].too_near(trim_line(job.surface, Plan.along((0, 0, 1))))
    assert "lies in an opening" in str(near)
    assert near.distance == pytest.approx(-(0.020 - off / 1e3), abs=2e-4)


def test_a_matched_point_that_is_off_is_named(hatch: Hatch, tmp_path: Path) -> None:
    old_list(tmp_path)
    text = (tmp_path / "old.csv").read_text().splitlines()
    name, x, y, d = text[3].split(",")
    text[3] = f"{name},{float(x) + 6.0:.6f},{y},{d}"
    (tmp_path / "old.csv").write_text("\n".join(text))
    (old,) = read_part(panel(hatch), tmp_path).fasteners
    assert max(old.strays, key=lambda pair: pair[1])[0] == "C"
    assert read_part(panel(hatch, within="10 mm"), tmp_path).fasteners[0].strays == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"match": {"A": ["20 mm", "20 mm"], "B": ["380 mm", "20 mm"]}}, "three points or more"),
        ({"match": {"A": ["1 mm", "2 mm"], "B": ["3 mm", "20 mm"], "Q": ["3 mm", "9 mm"]}}, 'no hole "Q"'),
        ({"match": ["A", "B"]}, "match gives places by the names"),
        ({"file": "none.csv"}, "none.csv"),
        ({"rule": "wood"}, "'metal' or 'composite'"),
        ({"match": None, "within": "1 mm"}, "it belongs to match"),
        ({"layer": "HOLES"}, "layer is for a drawing"),
        ({"match": {n: [f"{x} in", f"{y} in"] for n, (x, y) in AT.items()}}, "25.4 times"),
    ],
)
def test_mistakes_are_told(hatch: Hatch, tmp_path: Path, change: dict[str, Any], words: str) -> None:
    old_list(tmp_path)
    with pytest.raises(FaultsError) as caught:
        read_part(panel(hatch, **change), tmp_path)
    assert words in str(caught.value)
    assert "fasteners 1" in str(caught.value)


def test_a_mirrored_list_is_told_in_the_part_file(hatch: Hatch, tmp_path: Path) -> None:
    old_list(tmp_path, mirrored=True)
    with pytest.raises(FaultsError, match="measured from the other face"):
        read_part(panel(hatch), tmp_path)


def test_an_old_drawing_with_countersinks_and_its_outline(hatch: Hatch, tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (400, 0), (400, 200), (0, 200)], close=True)
    for x, y in AT.values():
        space.add_circle((x, y), 2.5)
        space.add_circle((x, y), 5.0)  # the countersink
    document.saveas(tmp_path / "old.dxf")
    match = {
        f"hole {n}": [f"{x + 3} mm", f"{y - 2} mm"] for n, (x, y) in enumerate([(20, 20), (380, 20), (20, 180)], 1)
    }
    job = read_part(panel(hatch, file="old.dxf", match=match), tmp_path)
    (old,) = job.fasteners
    assert [(h.diameter, h.countersink) for h in old.pattern.holes] == [(approx(0.005), approx(0.01))] * 4
    assert old.edge is not None
    assert old.edge.min(axis=0) == approx((0.003, -0.002), abs=1e-9)
    picture = tmp_path / "plan.png"
    part = tmp_path / "panel.toml"
    part.write_text(
        'title = "Panel"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nrectangle = ["400 mm", "200 mm"]\n'
        '[[ply]]\nfabric = "carbon plain 200"\n[[fasteners]]\nname = "screws"\nfile = "old.dxf"\n'
        'match = { "hole 1" = ["23 mm", "18 mm"], "hole 2" = ["383 mm", "18 mm"], "hole 3" = ["23 mm", "178 mm"] }\n'
    )
    done = CliRunner().invoke(main, ["holes", str(part), "--picture", str(picture)])
    assert done.exit_code == 0, done.output
    assert "4 of them countersunk" in done.output
    assert "shifted (3.0, -2.0) mm" in done.output
    assert "approved data" in done.output
    assert picture.stat().st_size > 5000
    record = json.loads(CliRunner().invoke(main, ["holes", str(part), "--json"]).output)
    assert record["fasteners"][0]["fit"]["rms_m"] == approx(0.0, abs=1e-9)
    assert {n["to"] for n in record["fasteners"][0]["too_near"]} <= {"trim line"}
