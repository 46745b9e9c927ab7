"""Flat patterns: nothing is lost or stretched where it need not be, and marks land where they belong."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
import trimesh
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.cloth.flatten import flatten
from layup.cloth.pattern import NOTCH, flat_plies
from layup.commands.cli import main
from layup.errors import LayupError, PatternError, SurfaceError
from layup.make.cut import cut
from layup.partfile.read import read_part
from layup.shape.holes import Hole, Pattern
from layup.weight.compare import process_for
from layup.weight.plies import build
from tests.shapes import folded, frustum, hemisphere


@settings(max_examples=12, deadline=None)
@given(st.floats(0.1, 3.0), st.floats(-3.1, 3.1))
def test_a_fold_is_laid_flat_exactly(fold: float, turn: float) -> None:
    points, faces = folded(fold)
    flat = flatten(points, faces, np.array([math.cos(turn), math.sin(turn), 0.0]), 0)
    assert flat.stretch == approx(np.ones_like(flat.stretch), abs=1e-9)
    assert flat.area @ flat.stretch.prod(axis=1) / flat.area.sum() == approx(1.0, abs=1e-12)
    assert flat.folded == 0
    # the first face is flat already: the warp comes to lie along +x
    edge = points[1] - points[0]
    want = math.remainder(math.atan2(edge[1], edge[0]) - turn, 2 * math.pi)
    lies = flat.places[1] - flat.places[0]
    assert math.remainder(math.atan2(lies[1], lies[0]) - want, 2 * math.pi) == approx(0.0, abs=1e-9)


def test_a_dome_is_stretched_little_and_evenly() -> None:
    """Measured outside this program: a cap of 30 degrees about its pole, stretch .981 to 1.054, rms 1.56 %."""
    points, faces = hemisphere(6)
    cap = faces[points[faces][:, :, 2].min(axis=1) > math.cos(math.radians(30))]
    flat = flatten(points, cap)
    low, high = flat.worst
    assert 0.975 < low < 1.0 < high < 1.055
    assert 0.008 < flat.rms < 0.0160
    assert flat.folded == 0
    assert flat.area @ flat.stretch.prod(axis=1) / flat.area.sum() == approx(1.0, abs=2e-3)


def test_what_can_not_be_laid_flat_says_so() -> None:
    points, faces = hemisphere(2)
    below = points.copy()
    below[:, 2] *= -1
    closed = np.concatenate([faces, (faces + len(points))[:, ::-1]])
    both = np.concatenate([points, below])
    from layup.shape.topology import weld

    with pytest.raises(SurfaceError, match="closed all round"):
        flatten(*weld(both[closed]))
    with pytest.raises(SurfaceError, match="in 2 pieces"):
        flatten(np.concatenate([points, points + 5]), np.concatenate([faces, faces + len(points)]))


def test_a_rectangle_comes_out_as_drawn(hatch: Callable[..., dict[str, Any]]) -> None:
    job = read_part(hatch(surface={"rectangle": ["800 mm", "500 mm"], "warp": [0, 1, 0]}, trim="20 mm"))
    ply, other = flat_plies(job)
    assert ply.edge.area == approx(0.4, rel=1e-9)
    assert np.array(ply.edge.bounds) == approx([-0.25, -0.4, 0.25, 0.4], abs=1e-7)
    assert np.array(ply.outline.bounds) == approx([-0.27, -0.42, 0.27, 0.42], abs=1e-7)
    assert ply.outline.area == approx(0.54 * 0.84, rel=1e-9)
    assert other.outline.area == approx(0.54 * 0.84, rel=1e-9)
    assert other.angle == 45
    corners = np.asarray(other.edge.exterior.coords)
    assert np.linalg.norm(corners, axis=1).max() == approx(math.hypot(0.25, 0.4), rel=1e-9)
    assert len(ply.notches) == 4
    assert all(mark.length == approx(NOTCH) for mark in ply.notches)
    assert {round(line.length, 6) for line in ply.centre} == {0.54, 0.84}


@pytest.mark.parametrize("fabric", ["carbon plain 200", "carbon unidirectional 200"])
def test_a_cone_keeps_its_area_either_way(hatch: Callable[..., dict[str, Any]], tmp_path: Path, fabric: str) -> None:
    points, faces = frustum(0.3, 0.1, 0.5, turn=math.pi)
    write(tmp_path, points, faces)
    job = read_part(
        hatch(surface={"mesh": "shape.obj", "unit": "m", "warp": [0, 0, 1]}, ply=[{"fabric": fabric}]), tmp_path
    )
    found = flat_plies(job, widths={fabric: 5.0})
    assert len(found) == 1
    assert found[0].edge.area == approx(job.surface.whole.area, rel=2e-4)
    assert found[0].area == approx(job.surface.whole.area, rel=1e-9)
    # the sector that it unrolls into: two straight sides of the slant's length
    assert found[0].edge.length == approx(job.surface.perimeter, rel=1e-3)


def test_a_ply_wider_than_the_roll_is_spliced(hatch: Callable[..., dict[str, Any]]) -> None:
    job = read_part(hatch(surface={"rectangle": ["1 m", "1.6 m"]}, ply=[{"fabric": "carbon plain 200"}]))
    found = flat_plies(job, widths={"carbon plain 200": 1.0})
    assert [p.name for p in found] == ["1a", "1b"]
    assert all(p.outline.bounds[3] - p.outline.bounds[1] <= 0.99 + 1e-9 for p in found)
    assert sum(p.outline.area for p in found) == approx(1.6 + 1.0 * 0.025, rel=1e-9)
    assert all("in 2 strips" in p.notes[-1] for p in found)
    assert all(len(p.seams) == 1 for p in found)
    both = found[0].outline.intersection(found[1].outline)
    assert both.area == approx(0.025, rel=1e-6)


def test_holes_are_marked_where_they_are(hatch: Callable[..., dict[str, Any]]) -> None:
    job = read_part(hatch(surface={"rectangle": ["800 mm", "500 mm"]}, ply=[{"fabric": "carbon plain 200"}]))
    holes = Pattern((Hole(0.1, 0.1, 0.005, name="A"), Hole(0.7, 0.4, 0.006, name="B")))
    ply = flat_plies(job, holes=holes)[0]
    start = np.array([0.4, 0.25])  # the middle of the panel lies at the origin of the pattern
    got = {d.name: np.array(d.at) + start for d in ply.drills}
    assert got["A"] == approx([0.1, 0.1], abs=1e-6)
    assert got["B"] == approx([0.7, 0.4], abs=1e-6)
    with pytest.raises(SurfaceError, match="beside the part"):
        flat_plies(job, holes=Pattern((Hole(2.0, 0.1, 0.005),)))


def test_a_zone_has_its_own_pattern(hatch: Callable[..., dict[str, Any]]) -> None:
    job = read_part(
        hatch(
            zone=[{"name": "patch", "within": "100 mm of (500 mm, 500 mm, 0 mm)"}],
            ply=[{"fabric": "carbon plain 200"}, {"fabric": "carbon plain 200", "zone": "patch", "count": 3}],
            trim="30 mm",
        )
    )
    whole, patch = flat_plies(job)
    assert (patch.number, patch.count) == (2, 3)
    assert patch.outline.area == approx(math.pi * 0.01, rel=1e-3)  # trim is for the edge of the part alone
    assert whole.outline.area == approx(1.06**2, rel=1e-9)
    with pytest.raises(LayupError, match="given by its area alone"):
        flat_plies(read_part(hatch(ply=[{"fabric": "carbon plain 200", "area": "0.1 m^2"}])))


def test_unidirectional_on_a_dome_says_what_it_would_stretch(
    hatch: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    points, faces = hemisphere(4, 0.3)
    part = hatch(surface={"mesh": "shape.obj", "unit": "m"}, ply=[{"fabric": "carbon unidirectional 200"}])
    write(tmp_path, points, faces)
    with pytest.raises(PatternError, match="not printed"):
        flat_plies(read_part(part, tmp_path))  # all of it would stretch by 4 %: no pattern
    write(tmp_path, points, faces[(points[faces][:, :, 2] > 0.24).all(axis=1)])
    ply = flat_plies(read_part(part, tmp_path))[0]
    assert ply.stretch is not None
    assert ply.stretch[0] < 0.98
    assert any("doesn't shear" in note for note in ply.notes)


def write(folder: Path, points: np.ndarray, faces: np.ndarray) -> None:
    lines = [f"v {x:.9f} {y:.9f} {z:.9f}" for x, y, z in points]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    (folder / "shape.obj").write_text("\n".join(lines))


# A hemisphere of cloth that does not shear stands for what a few slits do not make flat.
def test_a_pattern_that_leaves_out_cloth_is_not_printed(hatch: Callable[..., dict[str, Any]], tmp_path: Path) -> None:
    write(tmp_path, *hemisphere(4, 0.3))
    fabric = "carbon unidirectional 200"
    surface = {"mesh": "shape.obj", "unit": "m", "mould": "female"}
    job = read_part(hatch(surface=surface, ply=[{"fabric": fabric}]), tmp_path)
    with pytest.raises(PatternError, match=r"not printed.*seam"):
        flat_plies(job)
    (tmp_path / "dome.toml").write_text(
        'title = "Dome"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nmesh = "shape.obj"\nunit = "m"\n'
        f'mould = "female"\n[[ply]]\nfabric = "{fabric}"\n'
    )
    for name in ("svg", "pdf", "dxf"):
        paper = tmp_path / f"dome.{name}"
        done = CliRunner().invoke(main, ["patterns", str(tmp_path / "dome.toml"), f"--{name}", str(paper)])
        assert done.exit_code != 0
        assert "not printed" in done.output
        assert not paper.exists()
    assert any("not printed" in note for note in cut([job], seconds=0).notes)


def test_the_patterns_that_can_be_cut_are_written_where_another_cannot(tmp_path: Path) -> None:
    points, faces = hemisphere(3, 0.3)
    write(tmp_path, points, faces[(points[faces][:, :, 2] > 0.05).all(axis=1)])
    (tmp_path / "dome.toml").write_text(
        'title = "Dome"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nmesh = "shape.obj"\nunit = "m"\n'
        'mould = "female"\n[[zone]]\nname = "top"\nwithin = "80 mm of (0 mm, 0 mm, 300 mm)"\n'
        '[[ply]]\nfabric = "carbon plain 200"\nzone = "top"\n[[ply]]\nfabric = "carbon unidirectional 200"\n'
    )
    paper = tmp_path / "dome.pdf"
    done = CliRunner().invoke(main, ["patterns", str(tmp_path / "dome.toml"), "--pdf", str(paper)])
    assert done.exit_code == 2, done.output
    assert "without ply 2" in done.output
    assert "carbon plain 200, top" in done.output
    assert done.stderr.rstrip().splitlines()[-1].startswith("Ply 2, carbon unidirectional 200")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(paper).pages)
    assert "without ply 2" in text


def test_a_zone_that_reaches_the_edge_is_cut_with_its_trim(tmp_path: Path) -> None:
    """What is cut of a zone's ply is what the weight lays there: its strip along the part's edge, and none inside."""
    points, faces = folded(0.4)  # 0.4 m along the fold, two wings of 0.3 m
    trimesh.Trimesh(points, faces, process=False).export(tmp_path / "roof.stl")
    low, high = points.min(axis=0), points.max(axis=0)
    x, y = 0.5 * (low + high)[:2]
    corner = [[float(low[0]) - 1, float(low[1]) - 1], [x, float(low[1]) - 1], [x, y], [float(low[0]) - 1, y]]
    data = {
        "title": "Roof", "process": "wet", "resin": "epoxy, laminating", "trim": "20 mm",
        "surface": {"mesh": "roof.stl", "unit": "m"},
        "zone": [{"name": "corner", "inside": corner, "unit": "m"}, {"name": "band", "within": "15 mm of the edge"}],
        "ply": [{"fabric": "carbon plain 200", "angle": 30, "zone": name} for name in ("corner", "band")],
    }  # fmt: skip
    job = read_part(data, folder=tmp_path)
    wide = {"carbon plain 200": 9.0}
    sizes = [
        sum(p.outline.area * p.alike for p in flat_plies(job, widths=wide, nodes=1500) if p.number == n) for n in (1, 2)
    ]
    strip = 0.02**2
    laid = [layer.laid for layer in build(job, process_for(job, "wet", own=True))]
    assert sizes == approx([laid[0] + strip, laid[1] + 4 * strip], rel=2e-3)
    assert laid[0] > 1.05 * build(job, process_for(job, "wet", own=True))[0].area
