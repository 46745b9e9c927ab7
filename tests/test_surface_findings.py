"""What is odd about a mesh: planted, and found with its count and its effect on area."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files.read import read_surface
from layup.partfile.read import read_part
from layup.shape.loops import free_loops
from layup.sides.findings import duplicates, in_doubt, odd_size
from layup.sides.two_skins import twin_skins
from layup.sides.welded import Welded
from layup.weight.compare import process_for
from layup.weight.weigh import area_factor


def report(path, unit=None, side=None):
    return read_surface(path, unit=unit, side=side, thorough=True)


def odd(points, faces):
    return Welded.of_mesh(np.asarray(points, dtype=float), faces, 1.0).odd(False, True)


def panel(nx=20, ny=12, hole=True):
    """A curved panel of 400 by 240 mm, with a hole of 4 by 4 cells."""
    x, y = np.meshgrid(np.linspace(0, 0.4, nx + 1), np.linspace(0, 0.24, ny + 1), indexing="ij")
    p = np.stack([x, y, 0.03 * np.sin(5 * x) + 0.2 * y * y], axis=-1).reshape(-1, 3)
    i = np.arange(len(p)).reshape(nx + 1, ny + 1)
    cells = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1)
    keep = np.ones((nx, ny), dtype=bool)
    if hole:
        keep[6:10, 4:8] = False
    a, b, c, d = cells[keep].T
    return p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])


def area(p, f):
    return float(0.5 * np.linalg.norm(np.cross(p[f[:, 1]] - p[f[:, 0]], p[f[:, 2]] - p[f[:, 0]]), axis=1).sum())


def save(tmp_path, p, f, name="part.stl"):
    trimesh.Trimesh(p * 1e3, f, process=False).export(str(tmp_path / name))
    return tmp_path / name


def found(surface):
    return {f.kind: f for f in surface.findings}


def test_clean_panel(tmp_path):
    p, f = panel()
    read = report(save(tmp_path, p, f), "mm")
    kinds = found(read)
    assert set(kinds) == {"outer edge", "hole"}
    assert kinds["hole"].count == 1
    assert "cut-outs by number: 1: 32" in kinds["hole"].text  # 4 x 80 mm and a little for the curve
    assert read.name == "part.stl"
    assert not read_surface(tmp_path / "part.stl", unit="mm").findings


@settings(max_examples=12, deadline=None)
@given(st.lists(st.integers(0, 447), min_size=1, max_size=60, unique=True), st.integers(0, 5), st.booleans())
def test_duplicates_count_once(tmp_path_factory, again, turn, over):
    p, f = panel()
    copy = np.roll(f[again], turn, axis=1)
    copy = copy[:, ::-1] if over else copy
    read = report(save(tmp_path_factory.mktemp("d"), p, np.concatenate([f, copy])), "mm")
    one = found(read)["duplicate"]
    assert one.count == len(again)
    assert one.area_effect == pytest.approx(-area(p, f[again]), rel=1e-5)
    assert read.whole.area == pytest.approx(area(p, f), rel=1e-5)
    assert len(read.faces) == len(f)


def test_every_face_twice_is_an_open_shell(tmp_path):
    p, f = panel()
    read = read_surface(save(tmp_path, p, np.concatenate([f, f[:, ::-1]])), unit="mm")
    assert read.side == "as drawn"
    assert read.whole.area == pytest.approx(area(p, f), rel=1e-5)
    assert read.perimeter == pytest.approx(read_surface(save(tmp_path, p, f), unit="mm").perimeter, rel=1e-9)


def test_flipped_faces(tmp_path):
    p, f = panel()
    f[10:17] = f[10:17, ::-1]
    one = found(report(save(tmp_path, p, f), "mm"))["flipped"]
    assert one.count == 7
    assert one.area_effect == 0.0
    p, f = panel(hole=False)
    ring = f.copy()
    ring[:3] = ring[:3, ::-1]
    assert odd(p, ring)[0].count == 3


def test_a_twisted_band_has_one_side():
    turn = np.linspace(0, 2 * np.pi, 41)[:-1]
    across = np.stack([np.cos(turn / 2) * np.cos(turn), np.cos(turn / 2) * np.sin(turn), np.sin(turn / 2)], axis=1)
    middle = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    p = np.concatenate([middle + 0.2 * across, middle - 0.2 * across])
    i = np.arange(40)
    j = (i + 1) % 40
    low, high = np.where(j == 0, j + 40, j), np.where(j == 0, j, j + 40)  # the last one meets the first turned over
    f = np.concatenate([np.c_[i, low, high], np.c_[i, high, i + 40]])
    kinds = [x.kind for x in odd(p, f)]
    assert "one-sided" in kinds


def test_rib_and_stray_piece(tmp_path):
    p, f = panel()
    row = np.arange(8) * 13  # along x at y = 0: use an inner row instead
    row = row + 2
    top = p[row] + [0, 0, 0.02]
    q = np.concatenate([p, top, [[0.1, 0.1, 0.2], [0.11, 0.1, 0.2], [0.1, 0.11, 0.2]]])
    n = len(p)
    rib = np.concatenate([np.c_[row[:-1], row[1:], np.arange(n + 1, n + 8)],
                          np.c_[row[:-1], np.arange(n + 1, n + 8), np.arange(n, n + 7)]])  # fmt: skip
    g = np.concatenate([f, rib, [[n + 8, n + 9, n + 10]]])
    kinds = found(read_surface(save(tmp_path, q, g), unit="mm"))
    assert kinds["seam"].count == 7
    assert kinds["stray"].count == 1
    assert kinds["stray"].area_effect == pytest.approx(5e-5, rel=1e-4)


def fine_panel():
    p, f = panel(60, 40, hole=False)
    return p, f, p[f], area(p, f)


def gapped(t, rng):
    return t[rng.random(len(t)) > 0.04]


def doubled(t, rng):
    return np.concatenate([t, t[t[..., 0].max(axis=1) < 0.15] + [1e-4, 2e-4, 8e-4]])


def strewn(t, rng):
    return np.concatenate([t, t[rng.choice(len(t), 90)] + rng.normal(0, 0.2, (90, 1, 3))])


def ribbed(t, rng):
    row = np.unique(t.reshape(-1, 3)[np.abs(t.reshape(-1, 3)[:, 1] - 0.12) < 1e-9], axis=0)
    a, b = row[:-1], row[1:]
    down = np.array([0.0, 0.0, -0.03])
    return np.concatenate([t, np.stack([a, b, b + down], axis=1), np.stack([a, b + down, a + down], axis=1)])


@pytest.mark.parametrize("wreck", [gapped, doubled, strewn, ribbed])
def test_a_wreck_has_a_verdict_and_limits_that_hold_the_truth(tmp_path, wreck):
    """It was listed, without a verdict, and weighed to 2 %; `predict` left the list out."""
    _, _, t, truth = fine_panel()
    made = wreck(t, np.random.default_rng(3))
    path = save(tmp_path, made.reshape(-1, 3), np.arange(3 * len(made)).reshape(-1, 3))
    said = found(report(path, "mm"))["doubt"]
    part = {
        "title": "Wreck",
        "process": "wet",
        "resin": "epoxy, laminating",
        "surface": {"mesh": str(path), "unit": "mm"},
        "ply": [{"fabric": "carbon plain 200"}],
    }
    job = read_part(part)
    assert [f.text for f in job.surface.findings if f.kind == "doubt"] == [said.text]
    assert abs(job.surface.whole.area - truth) <= 1.25 * said.area_effect
    factor, _ = area_factor(job, process_for(job, "wet", own=True).habits)
    low, high = np.quantile(factor, [0.02, 0.98])
    assert low <= truth / job.surface.whole.area <= high


def test_what_is_sound_has_no_verdict():
    p, f, t, _ = fine_panel()
    assert in_doubt(p, f) is None
    side = p + np.array([0.4005, 0.0, 0.0])  # a second panel beside it
    assert in_doubt(np.concatenate([p, side]), np.concatenate([f, f + len(p)])) is None
    windows = f[~((t.mean(axis=1)[:, 0] % 0.1 < 0.04) & (np.abs(t.mean(axis=1)[:, 1] - 0.12) < 0.04))]
    assert in_doubt(p, windows) is None


def test_two_parts_are_named(tmp_path):
    p, f = panel()
    both = np.concatenate([p, p + np.array([0.5, 0.0, 0.0])])
    kinds = found(read_surface(save(tmp_path, both, np.concatenate([f, f + len(p)])), unit="mm"))
    assert kinds["pieces"].count == 2


def test_faces_without_area(tmp_path):
    p, f = panel()
    read = report(save(tmp_path, p, np.concatenate([f, [[0, 0, 5], [1, 2, 2]]])), "mm")
    assert found(read)["no area"].count == 2
    assert read.whole.area == pytest.approx(area(p, f), rel=1e-5)


def test_wrong_unit(tmp_path):
    p, f = panel()
    path = save(tmp_path, p, f)
    long = found(read_surface(path, unit="m"))["unit"]  # 400 m
    assert "very long" in long.text
    assert 'in "mm"' in long.text
    path = save(tmp_path, p * 1e-3, f)
    assert "very small" in found(read_surface(path, unit="mm"))["unit"].text
    assert odd_size(((0, 0, 0), (0.6, 0.4, 0.1)), "mm") is None
    assert odd_size(None, "mm") is None


def test_loops():
    p, f = panel()
    outer, hole = free_loops(p, f)
    assert outer.outer
    assert not hole.outer
    assert len(hole.edges) == 16
    assert np.allclose(hole.middle[:2], [0.16, 0.12], atol=1e-3)
    assert free_loops(*closed()) == ()


def closed():
    ball = trimesh.creation.icosphere(2, 0.3)
    return np.asarray(ball.vertices), np.asarray(ball.faces)


def skins(gap, turn, rim=()):
    p, f = panel()
    n = np.zeros_like(p)
    np.add.at(n, f.ravel(), np.repeat(np.cross(p[f[:, 1]] - p[f[:, 0]], p[f[:, 2]] - p[f[:, 0]]), 3, axis=0))
    n /= np.maximum(np.linalg.norm(n, axis=1), 1e-30)[:, None]
    g = f[:, ::-1] if turn else f
    q = np.concatenate([p, p - gap * n])
    sides = [[a, b, b + len(p)] for a, b in rim] + [[a, b + len(p), a + len(p)] for a, b in rim]
    faces = np.concatenate([f, g + len(p), *([sides] if len(rim) else [])])
    return q, faces, area(p, f)


@pytest.mark.parametrize("turn", [True, False])
@pytest.mark.parametrize("gap", [0.001, 0.003, 0.01])
def test_two_skins_without_a_rim_ask_for_a_side(tmp_path, turn, gap):
    p, f, one = skins(gap, turn)
    path = save(tmp_path, p, f)
    with pytest.raises(SurfaceError, match="two skins about"):
        read_surface(path, unit="mm")
    picked = read_surface(path, unit="mm", side="facing (0, 0, 1)")
    assert picked.whole.area == pytest.approx(one, rel=1e-5)
    assert found(picked)["two skins"].count == 1
    assert read_surface(path, unit="mm", side="all").whole.area == pytest.approx(area(p, f), rel=1e-5)


def test_two_skins_with_half_a_rim(tmp_path):
    p, f = panel()
    rim = free_loops(p, f)[0].edges[:30, ::-1]
    q, g, one = skins(0.003, True, rim)
    with pytest.raises(SurfaceError, match="two skins about"):
        read_surface(save(tmp_path, q, g), unit="mm")
    picked = read_surface(save(tmp_path, q, g), unit="mm", side="facing (0, 0, 1)")
    assert picked.whole.area == pytest.approx(one, rel=1e-3)


def test_honest_shells_are_not_two_skins(examples):
    for path, unit in (
        ("motor-glider/engine-bay-door.stl", "mm"),
        ("motor-glider/instrument-hood.obj", "mm"),
        ("motor-glider/baggage-floor.ply", "mm"),
        ("motor-glider/belly-cover.glb", None),
        ("solar-car/battery-lid.3mf", None),
    ):
        read = read_surface(examples / path, unit=unit)
        assert read.side == "as drawn"
        assert twin_skins(read.vertices, read.faces) is None
    tube = trimesh.creation.cylinder(0.05, 1.0, sections=48)
    side = np.abs(tube.face_normals[:, 2]) < 0.5
    assert twin_skins(np.asarray(tube.vertices), np.asarray(tube.faces)[side]) is None


def test_duplicates_of_degenerate_faces_are_left():
    p, f = panel()
    keep, finding = duplicates(p, np.concatenate([f, [[3, 3, 4], [3, 3, 4]]]))
    assert finding is None
    assert keep.all()
