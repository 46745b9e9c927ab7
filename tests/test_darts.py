"""Shapes that do not lie flat, slit where they must be: nets that are known, nothing torn, nothing over itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from pytest import approx

from layup.cloth import practice
from layup.cloth.darts import cut_open
from layup.cloth.flatten import flatten
from layup.cloth.laid_flat import from_gores
from layup.cloth.laps import lap_of
from layup.cloth.pattern import FlatPly, flat_plies
from layup.errors import FaultsError, PatternError
from layup.make.cut import cut
from layup.partfile.read import read_part
from layup.shape.measure import measure_triangles
from layup.shape.topology import weld
from tests.shapes import frustum, hemisphere

Mesh = tuple[np.ndarray, np.ndarray]
Hatch = Callable[..., dict[str, Any]]
LONG, WIDE, HIGH = 0.4, 0.3, 0.05
WHOLE_ROLL = {"carbon unidirectional 200": 5.0, "carbon plain 200": 5.0}


def pan(step: float = 0.025) -> Mesh:
    """A box without a lid, its four corners closed. [m]"""
    soup = []
    x, y, z = np.diag([LONG, WIDE, HIGH])
    o = np.zeros(3)
    for begin, u, v in ((o, x, y), (o + x, -x, z), (o + y, x, z), (o, y, z), (o + x + y, -y, z)):
        across, up = (max(1, round(float(np.linalg.norm(w)) / step)) for w in (u, v))
        for i in range(across):
            for j in range(up):
                a, b, c, d = (
                    begin + u * (i + k) / across + v * (j + n) / up for k, n in ((0, 0), (1, 0), (1, 1), (0, 1))
                )
                soup += [[a, b, c], [a, c, d]]
    return weld(np.round(np.array(soup), 9))


def tube(radius: float = 0.06, long: float = 0.3) -> Mesh:
    """Closed all round, open at both ends, about the z axis."""
    points, faces = frustum(radius, radius, long, around=60, up=15)
    return weld(np.round(points[faces], 9))


def area_of(mesh: Mesh) -> float:
    return measure_triangles(mesh[0][mesh[1]]).area


def test_the_corners_of_a_box_are_slit_and_it_lies_flat_exactly() -> None:
    points, faces = pan()
    opened = cut_open(points, faces)
    assert len(opened.pieces) == 1
    assert len(opened.slits) == 4
    for slit in opened.slits:  # along the upright edges, from the foot to the rim
        assert opened.points[slit.left] == approx(points[slit.points])
        assert opened.points[slit.right] == approx(points[slit.points])
        foot, top = points[slit.points[0]], points[slit.points[-1]]
        assert foot[:2] == approx(top[:2])
        assert (foot[2], top[2]) == (0.0, approx(HIGH))
    flat = flatten(opened.points, opened.faces)
    assert flat.stretch == approx(np.ones_like(flat.stretch), abs=1e-6)
    outline = shapely.union_all(shapely.polygons(flat.places[opened.faces]), grid_size=1e-8)
    box = shapely.minimum_rotated_rectangle(outline)
    assert box.area == approx((LONG + 2 * HIGH) * (WIDE + 2 * HIGH), rel=1e-6)  # the net of the box
    assert outline.area == approx(area_of((points, faces)), rel=1e-6)


@pytest.mark.parametrize("low", [0.06, 0.03])
def test_a_round_part_gets_one_seam(low: float) -> None:
    points, faces = frustum(low, 0.06, 0.3, around=60, up=15)
    points, faces = weld(np.round(points[faces], 9))
    opened = cut_open(points, faces)
    assert len(opened.slits) == 1
    assert len(opened.pieces) == 1
    flat = flatten(opened.points, opened.faces)
    assert flat.stretch == approx(np.ones_like(flat.stretch), abs=1e-3)
    assert flat.area @ flat.stretch.prod(axis=1) / flat.area.sum() == approx(1.0, abs=1e-3)


def test_a_flat_sheet_and_a_fold_are_left_whole() -> None:
    points, faces = pan()
    floor = faces[(points[faces][:, :, 2] < 1e-9).all(axis=1)]
    assert cut_open(points, floor).slits == ()
    folded = faces[(points[faces][:, :, 1] < 1e-9).all(axis=1) | (points[faces][:, :, 2] < 1e-9).all(axis=1)]
    assert cut_open(points, folded).slits == ()


def plies(hatch: Hatch, tmp_path: Path, mesh: Mesh, fabric: str, **surface: Any) -> tuple[FlatPly, ...]:
    points, faces = mesh
    lines = [f"v {x:.9f} {y:.9f} {z:.9f}" for x, y, z in points]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    (tmp_path / "shape.obj").write_text("\n".join(lines))
    part = hatch(surface={"mesh": str(tmp_path / "shape.obj"), "unit": "m", **surface}, ply=[{"fabric": fabric}])
    job = read_part(part)
    assert not any(
        "No flat" in note or "not printed" in note for note in cut([job], seconds=0, widths=WHOLE_ROLL).notes
    )
    return flat_plies(job, widths=WHOLE_ROLL)


@pytest.mark.parametrize("fabric", ["carbon plain 200", "carbon unidirectional 200"])
def test_the_pattern_of_a_box_has_its_overlaps_and_marks(hatch: Hatch, tmp_path: Path, fabric: str) -> None:
    (ply,) = plies(hatch, tmp_path, pan(), fabric, mould="female")
    lap = practice.OVERLAP.value
    assert ply.outline.is_valid
    assert len(ply.outline.interiors) == 0
    # the net of the box, and at each corner an overlap beside one of its walls
    assert ply.edge.area == approx(area_of(pan()), rel=1e-3)
    assert ply.outline.area == approx(area_of(pan()) + 4 * lap * HIGH, rel=0.01)
    assert len(ply.slits) == 0 or all(line.length <= HIGH + 1e-6 for line in ply.slits)
    assert len(ply.seams) == 4
    for seam in ply.seams:
        assert seam.length == approx(HIGH, rel=1e-3)
    assert sorted(letter for letter, _ in ply.letters) == ["A", "A", "B", "B", "C", "C", "D", "D"]
    assert any("slit at A, B, C, D" in note for note in ply.notes)
    # no saw-teeth: the outline turns at the corners of the net and of the overlaps, and nowhere else
    assert len(ply.outline.simplify(2e-4).exterior.coords) <= 40


@pytest.mark.parametrize("fabric", ["carbon plain 200", "carbon unidirectional 200"])
def test_the_pattern_of_a_tube_is_a_rectangle_with_its_overlap(hatch: Hatch, tmp_path: Path, fabric: str) -> None:
    (ply,) = plies(hatch, tmp_path, tube(), fabric, mould="male", warp=[0, 0, 1])
    low_x, low_y, high_x, high_y = ply.outline.bounds
    around = 120 * 0.06 * math.sin(math.pi / 60)
    assert high_x - low_x == approx(0.3, abs=1e-4)
    assert high_y - low_y == approx(around + practice.OVERLAP.value, abs=1e-3)
    assert ply.outline.area == approx(0.3 * (around + practice.OVERLAP.value), rel=2e-3)
    assert [letter for letter, _ in ply.letters] == ["A", "A"]


def test_the_laps_of_a_box_are_predicted_where_it_is_draped(hatch: Hatch, tmp_path: Path) -> None:
    from layup.cloth.patterns_screen import lap_lines
    from layup.weight.prediction import predict

    file = tmp_path / "pan.stl"
    file.write_bytes(_stl(*pan()))
    surface = {"mesh": str(file), "unit": "m", "mould": "female"}
    part = hatch(surface=surface, ply=[{"fabric": "carbon plain 200"}])
    job = read_part(part)
    [said] = lap_lines(job, flat_plies(job, widths=WHOLE_ROLL))
    assert 'overlap = "25 mm" and seam = "200 mm"' in said  # four upright edges of 50 mm
    draped = read_part({**part, "surface": {**surface, "drape": True}})
    told = read_part({**part, "ply": [{"fabric": "carbon plain 200", "overlap": "25 mm", "seam": "200 mm"}]})
    plain, with_laps, as_told = (predict(one).weighed for one in (job, draped, told))
    assert plain.layers[0].lapped == 0.0
    assert [one.layers[0].lapped for one in (with_laps, as_told)] == [approx(4 * 0.05 * 0.025, rel=1e-3)] * 2
    assert as_told.fibre / plain.fibre - 1 == approx(4 * 0.05 * 0.025 / area_of(pan()), rel=0.02)
    assert "which the prediction counts." in lap_lines(draped, flat_plies(draped, widths=WHOLE_ROLL))[0]


@pytest.mark.parametrize(("count", "top"), [(6, None), (8, (0.0, 0.0, 1.0)), (16, None)])
def test_a_hemisphere_in_gores(count: int, top: tuple[float, float, float] | None) -> None:
    """Area 2 pi r^2 and seams of a quarter circle, by the sphere's own formulas; the mesh has 0.08 % less area."""
    points, faces = hemisphere(5)
    made = from_gores(points, faces, points[faces], count, top, (1.0, 0.0, 0.0), 0.0)
    assert len(made) == count
    true = [measure_triangles(gore.triangles).area for gore in made]
    flat = [sum(shape.area for shape in gore.found) for gore in made]
    assert sum(true) == approx(area_of((points, faces)), rel=1e-6) == approx(2.0 * math.pi, rel=1e-3)
    assert sum(flat) == approx(sum(true), rel=2e-3)
    assert true == approx([2.0 * math.pi / count] * count, rel=2e-3)
    for number in range(count):  # both edges of a seam are as long, or they could not be lapped
        left, right = made[number].legs[number][0], made[number - 1].legs[number][1]
        assert left is not None
        assert right is not None
        one, two = (float(np.linalg.norm(np.diff(leg, axis=0), axis=1).sum()) for leg in (left, right))
        assert one == approx(two, rel=5e-4)
        # a gore as wide everywhere as it is on the sphere and as long in the middle has edges longer by this
        height = np.linspace(0.0, 0.5 * math.pi, 400)
        drawn = float(np.trapezoid(np.sqrt(1.0 + (math.pi / count * np.sin(height)) ** 2), height))
        assert 0.5 * math.pi < one < 0.5 * math.pi + 0.6 * (drawn - 0.5 * math.pi)


def test_gores_asked_for_in_the_part_file(hatch: Hatch, tmp_path: Path) -> None:
    points, faces = hemisphere(4)
    file = tmp_path / "dome.stl"
    file.write_bytes(_stl(points * [0.3, 0.24, 0.27], faces))  # no surface of revolution
    surface = {"mesh": str(file), "unit": "m", "mould": "male", "drape": True}
    job = read_part(hatch(surface=surface, ply=[{"fabric": "carbon plain 200", "gores": 6, "overlap": "20 mm"}]))
    made = flat_plies(job, widths=WHOLE_ROLL)
    assert [ply.name for ply in made] == [f"1{letter}" for letter in "abcdef"]
    assert sorted(letter for ply in made for letter, _ in ply.letters) == sorted("ABCDEF" * 2)
    seams = sum(seam.length for ply in made for seam in ply.seams)
    area = job.surface.whole.area
    assert sum(ply.outline.area for ply in made) == approx(area + 0.02 * seams, rel=5e-3)
    assert lap_of(job, job.part.plies()[0]) == approx(0.02 * seams, rel=1e-6)
    assert "is 6 gores that meet at the top: seams A, B, C, D, E, F" in made[0].notes[0]
    assert len({ply.notes for ply in made}) == 1
    for ply in made:
        assert ply.outline.is_valid
        assert ply.outline.geom_type == "Polygon"


def test_gores_that_cannot_be(hatch: Hatch, tmp_path: Path) -> None:
    file = tmp_path / "ball.stl"
    half, faces = hemisphere(3)
    ball = weld(np.concatenate([half[faces], (half * [1, 1, -1])[faces[:, ::-1]]]).round(9))
    file.write_bytes(_stl(*ball))
    surface = {"mesh": str(file), "unit": "m", "mould": "male", "side": "all"}
    job = read_part(hatch(surface=surface, ply=[{"fabric": "carbon plain 200", "gores": 6}]))
    with pytest.raises(PatternError, match="in 6 gores, gores run from a top to an edge"):
        flat_plies(job)
    for ply in ({"fabric": "carbon plain 200", "gores": 6, "area": "1 m^2"}, {"core": "PVC foam 60", "gores": 6}):
        with pytest.raises(FaultsError, match="gore"):
            read_part(hatch(ply=[{**ply, **({"thickness": "5 mm"} if "core" in ply else {})}]))


def _stl(points: np.ndarray, faces: np.ndarray) -> bytes:
    import trimesh

    return bytes(trimesh.Trimesh(points, faces, process=False).export(file_type="stl"))
