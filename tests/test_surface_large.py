"""The compiled passes give what the plain ones of tests/oracles give: with every ray sent, and with few."""

from __future__ import annotations

import numpy as np
import pytest
from oracles.plain_sides import Small, curvature
from solids import plug, ribbed_sheet, rounded_sheet, shuffled, thin_solid, write_stl

from layup.errors import SurfaceError
from layup.files.read import read_surface
from layup.shape.topology import face_pairs, free_edges, length_of, weld
from layup.sides.bodies import pick
from layup.sides.shared_edges import find_mates
from layup.sides.side import parse_side
from layup.sides.skin import Chosen
from layup.sides.solid import Solid
from layup.sides.welded import Welded


def both(points, faces, factor=1e-3):
    """The same triangles, welded and joined by each."""
    corners = np.asarray(points, dtype=np.float32)[faces]
    welded, numbers = weld(corners)
    return Small(welded * factor, numbers), Welded.of_triangles(corners, factor)


def picked(mesh, side, name="x", every=0):
    """The side with few rays, or with all of them."""
    return Solid(mesh, every=every).pick(parse_side(side), name)


def measures_agree(plain, fast):
    assert fast.triangles == plain.triangles
    assert fast.area == pytest.approx(plain.area, rel=1e-11)
    size = float(np.abs(plain.box).max())
    assert fast.centroid == pytest.approx(plain.centroid, abs=1e-11 * size)
    near = 1e-11 * size**2 * plain.area
    assert np.array(fast.second_moment) == pytest.approx(np.array(plain.second_moment), abs=near)
    assert fast.perimeter == pytest.approx(plain.perimeter, rel=1e-11)
    assert fast.box == plain.box


def agree(plain: Chosen, fast: Chosen, thickness=2e-3):
    assert np.array_equal(fast.faces, plain.faces)
    measures_agree(plain.whole, fast.whole)
    assert fast.flat == plain.flat
    if plain.thickness is None:
        assert (fast.thickness, fast.strip, fast.other) == (None, None, None)
    else:
        assert fast.thickness == pytest.approx(plain.thickness, rel=thickness)
        assert fast.strip == pytest.approx(plain.strip, rel=1e-9)
        assert fast.other == pytest.approx(plain.other, rel=1e-11)


def same_side(points, faces, side, name="x"):
    small, large = both(points, faces)
    doubles = small.drop_doubles(), large.drop_doubles()
    assert np.array_equal(doubles[0][0], doubles[1][0])
    assert (doubles[0][1] is None) == (doubles[1][1] is None)
    plain, fast = small.pick(parse_side(side), name), picked(large, side, name)
    agree(plain, fast)
    agree(plain, picked(large, side, name, every=10**9), thickness=1e-9)
    for one, two in ((plain.mesh(), fast.mesh()), (plain.rest(), fast.rest())):
        assert np.array_equal(one[0][one[1]], two[0][two[1]])  # the same triangles, in the same order and winding
    assert len(fast.mesh()[0]) == len(plain.mesh()[0])
    return plain, fast


SIDES = ["outer", "inner", "facing (0, 0, 1)", "facing (0, 0, -1)", "touching (600 mm, 0 mm, 60 mm)"]


@pytest.fixture(scope="module")
def thin():
    points, faces, counts = thin_solid(12_000)
    return points, faces, counts["side"]


@pytest.mark.parametrize("side", SIDES)
def test_every_side_of_a_thin_solid(thin, side):
    points, faces, count = thin
    plain, _ = same_side(points, faces, side)
    rows = np.flatnonzero(plain.faces)
    assert len(rows) == count  # all of one side, and nothing else
    assert rows.min() // count == rows.max() // count


def test_order_of_faces_and_corners(thin):
    points, faces, count = thin
    rng = np.random.default_rng(3)
    mixed = shuffled(faces)
    renamed = rng.permutation(len(points))
    moved = np.empty_like(points)
    moved[renamed] = points
    plain, fast = same_side(points, mixed, "outer")
    again = same_side(moved, renamed[mixed], "outer")[1]
    assert fast.whole.area == pytest.approx(again.whole.area, rel=1e-12)
    assert fast.whole.triangles == plain.whole.triangles == count


def test_a_jumping_order_is_put_right_and_given_back(thin):
    points, faces, _ = thin
    corners = points[shuffled(faces)]
    large = Welded.of_triangles(corners, 1.0)
    assert large.order is not None
    own, numbers = large.mesh()
    assert np.array_equal(own[numbers], corners)
    assert Welded.of_triangles(points[faces], 1.0).order is None


@pytest.mark.parametrize("factor", [1e-3, 40.0])
def test_scaled_and_turned(thin, factor):
    points, faces, count = thin
    turn, _ = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))
    turn[:, 0] *= np.sign(np.linalg.det(turn))
    plain, _ = same_side((points.astype(np.float64) @ turn.T * factor).astype(np.float32), faces, "outer")
    assert plain.whole.triangles == count


def test_faces_that_are_there_twice_and_thrice(thin):
    points, faces, _ = thin
    again = np.concatenate([faces[100:140], np.roll(faces[100:120], 1, axis=1), faces[50:60, ::-1], faces[-5:]])
    for mixed in (np.concatenate([faces, again]), shuffled(np.concatenate([faces, again]))):
        small, large = both(points, mixed)
        (keep, one), (keep2, two) = small.drop_doubles(), large.drop_doubles()
        assert np.array_equal(keep, keep2)
        assert one.count == two.count == len(again)
        assert two.area_effect == pytest.approx(one.area_effect, rel=1e-11)
        assert large.free_length() == 0.0
        agree(small.pick(parse_side("outer"), "x"), picked(large, "outer"))


def test_a_face_without_area_is_no_double():
    points, faces, _ = thin_solid(3_000)
    flat = np.array([[3, 3, 4], [3, 3, 4], [5, 5, 5]])
    small, large = both(points, np.concatenate([faces, flat]))
    assert small.drop_doubles()[1] is large.drop_doubles()[1] is None
    agree(small.pick(parse_side("inner"), "x"), picked(large, "inner"))


@pytest.mark.parametrize("share", [0.02, 0.4, 1.0])
def test_faces_wound_the_other_way(thin, share):
    points, faces, count = thin
    wrong = np.random.default_rng(5).random(len(faces)) < share
    plain, _ = same_side(points, np.where(wrong[:, None], faces[:, ::-1], faces), "outer")
    assert plain.whole.triangles == count


def test_cracks_and_gaps(thin):
    points, faces, _ = thin
    gone = np.ones(len(faces), dtype=bool)
    gone[[7, 500, 501, 9000, len(faces) - 9]] = False
    small, large = both(points, faces[gone])
    assert large.free_length() == pytest.approx(small.free_length(), rel=1e-11)
    agree(small.pick(parse_side("outer"), "x"), picked(large, "outer"))


def test_edges_of_three_and_four_faces(thin):
    points, faces, _ = thin
    fin = np.array([[*faces[40, :2], len(points)], [*faces[900, 1:], len(points)], [*faces[900, 2:0:-1], len(points)]])
    more = np.concatenate([points, [[300.0, 50.0, 90.0]]]).astype(np.float32)
    small, large = both(more, np.concatenate([faces, fin]))
    one, two = small.odd(True, False), large.odd(True, False)
    assert one[0].count == 2
    assert [(f.kind, f.count, f.text) for f in one] == [(f.kind, f.count, f.text) for f in two]
    assert large.free_length() == pytest.approx(small.free_length(), rel=1e-11)
    agree(small.pick(parse_side("outer"), "x"), picked(large, "outer"))


def test_several_bodies_give_a_side_each(thin):
    points, faces, count = thin
    far = points + np.array([0, 2000, 0], dtype=np.float32)
    mesh = both(np.concatenate([points, far]), np.concatenate([faces, faces + len(points)]))[1]
    made = pick(mesh, parse_side("outer"), "x")
    assert made.whole.triangles == 2 * count
    assert made.whole.area == pytest.approx(2 * picked(both(points, faces)[1], "outer").whole.area, rel=1e-6)


@pytest.mark.parametrize("side", ["facing (0, 0, 1)", "facing (0, -1, 0)", "touching (600 mm, 0 mm, -301 mm)"])
def test_a_plug_gives_one_face(side):
    points, faces, _ = plug(20_000)
    same_side(points, faces, side)
    for word in ("outer", "inner"):
        with pytest.raises(SurfaceError, match="solid block"):
            picked(both(points, faces)[1], word)


@pytest.mark.parametrize("side", ["outer", "inner", "facing (0, 0, 1)"])
def test_round_edges_are_parted_face_by_face(side):
    """One smooth face goes round both sides: many rays are sent, and the border is the same to the face."""
    points, faces = rounded_sheet(150, 60)
    plain, fast = same_side(points, faces, side)
    solid = Solid(both(points, faces)[1], every=0)
    assert solid.pick(parse_side(side), "x").whole == fast.whole
    assert 0.02 < plain.strip / plain.whole.area < 0.08
    assert solid.seen.rays < 0.6 * len(faces)


def test_the_foot_of_a_rib_is_part_of_the_other_side():
    points, faces = ribbed_sheet(80, 40)
    plain, _ = same_side(points, faces, "facing (0, 0, 1)")
    assert plain.whole.area == pytest.approx(0.4 * 0.5, rel=1e-6)
    plain, _ = same_side(points, faces, "facing (0, 0, -1)")
    assert plain.whole.area == pytest.approx(0.392 * 0.5, rel=1e-6)


@pytest.mark.parametrize("triangles", [3_000, 30_000, 150_000])
def test_the_side_of_a_bent_sheet_does_not_depend_on_its_mesh(triangles):
    """Beside a sharp bend the rays of a fine mesh find no wall; those faces belong to the side all the same."""
    points, faces, counts = thin_solid(triangles)
    chosen = picked(both(points, faces)[1], "outer")
    assert chosen.whole.triangles == counts["side"]
    a, b, c = (points[faces[: counts["side"], k]].astype(np.float64) * 1e-3 for k in range(3))
    assert chosen.whole.area == pytest.approx(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum(), rel=1e-12)


def test_touching_an_edge_and_facing_nothing(thin):
    points, faces, _ = thin
    for side in ("touching (-5 mm, 0 mm, 1.5 mm)", "facing (1, 0, 0)"):
        said = []
        small, large = both(points, faces)
        for give in (small.pick, Solid(large).pick):
            with pytest.raises(SurfaceError) as caught:
                give(parse_side(side), "x")
            said.append(str(caught.value))
        assert said[0] == said[1]


def test_half_edges_are_those_of_the_plain_pairs(thin):
    points, faces, _ = thin
    rng = np.random.default_rng(0)
    soup = np.concatenate([faces, rng.integers(0, 12, (60, 3))])[rng.permutation(len(faces) + 60)]
    mates = find_mates(np.ascontiguousarray(soup, dtype=np.int32), len(points))
    pairs, _, _ = face_pairs(soup)
    h = np.flatnonzero(mates.mate >= 0)
    assert np.array_equal(mates.mate[mates.mate[h]], h)
    mine = np.sort(np.stack([h // 3, mates.mate[h] // 3], axis=1)[h < mates.mate[h]], axis=1)
    theirs = np.sort(pairs, axis=1)
    assert np.array_equal(np.unique(mine, axis=0), np.unique(theirs, axis=0))
    large = Welded(points.astype(np.float64), soup.astype(np.int32), None)
    assert large.free_length() == pytest.approx(length_of(points.astype(np.float64), free_edges(soup)), rel=1e-11)
    (one,), (two,) = Small(points.astype(np.float64), soup).odd(True, False), large.odd(True, False)
    assert (one.count, one.text) == (two.count, two.text)
    assert one.count > 30


def test_curvature_is_the_plain_sum(thin):
    points, faces, _ = thin
    small, large = both(points, faces)
    looked = Solid(large)
    assert looked.kind.word == "sheet"
    for side in (0, 1):
        plain = curvature(small.points, small.faces, looked.side == side, looked.normal)
        assert abs(plain) > 0.1
        assert looked.bulge()[side] == pytest.approx(plain, rel=1e-9)


def test_meshes_with_points_of_their_own(thin):
    points, faces, _ = thin
    split = points[faces].reshape(-1, 3).astype(np.float64)  # as a file with a texture has them
    large = Welded.of_mesh(split, np.arange(len(split)).reshape(-1, 3), 1e-3)
    assert len(large.points) == len(points)
    assert large.free_length() == 0.0
    agree(both(points, faces)[0].pick(parse_side("outer"), "x"), picked(large, "outer"))


def test_minus_nought_is_nought_and_a_full_table_grows():
    rng = np.random.default_rng(2)
    soup = rng.normal(size=(40_000, 3, 3)).astype(np.float32)
    soup[::2, 0] = 0.0
    soup[1::2, 0] = -0.0
    large = Welded.of_triangles(soup, 1.0)
    assert len(large.points) == 1 + 2 * len(soup)
    own, numbers = large.mesh()
    assert np.array_equal(own[numbers], soup)


def test_read_through_the_file(tmp_path, monkeypatch, thin):
    points, faces, count = thin
    path = write_stl(tmp_path / "a.stl", points, np.concatenate([faces, faces[:9]]))
    plain = read_surface(path, unit="mm", side="outer")
    with pytest.raises(SurfaceError, match=r"two skins, its wall 2\.9") as caught:
        read_surface(path, unit="mm")
    monkeypatch.setattr("layup.sides.seen_skin.EVERY", 0)
    fast = read_surface(path, unit="mm", side="outer")
    measures_agree(plain.whole, fast.whole)
    assert fast.whole.triangles == count
    assert [(f.kind, f.count) for f in fast.findings] == [(f.kind, f.count) for f in plain.findings]
    for one, two in zip(plain.findings, fast.findings, strict=True):
        assert two.area_effect == pytest.approx(one.area_effect, rel=1e-9)
    assert len(fast.left_out[1]) == len(plain.left_out[1])
    assert np.array_equal(fast.vertices[fast.faces], plain.vertices[plain.faces])
    with pytest.raises(SurfaceError, match=r"two skins, its wall 2\.9") as again:
        read_surface(path, unit="mm")
    assert str(again.value)[-60:] == str(caught.value)[-60:]


def test_two_skins_without_a_rim(tmp_path, monkeypatch, thin):
    points, faces, count = thin
    path = write_stl(tmp_path / "a.stl", points, faces[: 2 * count])
    plain = read_surface(path, unit="mm", side="facing (0, 0, 1)")
    monkeypatch.setattr("layup.sides.seen_skin.EVERY", 0)
    fast = read_surface(path, unit="mm", side="facing (0, 0, 1)")
    measures_agree(plain.whole, fast.whole)
    assert [f.kind for f in fast.findings] == [f.kind for f in plain.findings]
    assert {"two skins", "closed"} <= {f.kind for f in fast.findings}


def test_everything_odd_is_said_alike(tmp_path, monkeypatch, thin):
    """Two solids, a crumb, a rib, wrong winding, a gap, and an open sheet with holes: a thorough look."""
    points, faces, count = thin
    rng = np.random.default_rng(8)
    n = len(points)
    rows = np.arange(0, 900, 2)
    rib = np.stack([faces[rows, 0], faces[rows, 1], np.full(len(rows), n)], axis=1)
    more = np.concatenate([points, [[300, 50, 90], [0, 0, 500], [9, 0, 500], [0, 9, 500]]]).astype(np.float32)
    messy = np.concatenate([faces, rib, [[n + 1, n + 2, n + 3]]])
    far = np.concatenate([more, more + np.array([0, 2000, 0], dtype=np.float32)])
    two = np.concatenate([messy, faces + len(more)])
    gone = np.ones(count, dtype=bool)
    for place in (2_000, 2_300, 5_000):
        gone[place : place + 8] = False
    sheet = faces[:count][gone]
    wrong = rng.random(len(sheet)) < 0.05
    sheet = np.where(wrong[:, None], sheet[:, ::-1], sheet)
    for name, where, what, side in (
        ("two.stl", far, two, "all"),
        ("sheet.stl", points, sheet, None),
        ("shuffled.stl", points, shuffled(sheet), None),
        ("twice.stl", points, np.concatenate([faces, faces[:5], faces[900:910, ::-1]]), "inner"),
    ):
        path = write_stl(tmp_path / name, where, what)
        monkeypatch.setattr("layup.sides.seen_skin.EVERY", 1_000_000)
        plain = read_surface(path, unit="mm", side=side, thorough=True)
        monkeypatch.setattr("layup.sides.seen_skin.EVERY", 0)
        fast = read_surface(path, unit="mm", side=side, thorough=True)
        assert [(f.kind, f.count, f.text) for f in fast.findings] == [(f.kind, f.count, f.text) for f in plain.findings]
        assert len(fast.findings) >= 2
        known = [(one.area_effect, other.area_effect) for one, other in zip(plain.findings, fast.findings, strict=True)]
        assert all((one is None) == (other is None) for one, other in known)
        assert all(other == pytest.approx(one, rel=1e-9) for one, other in known if one is not None)
