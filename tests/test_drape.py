"""The net on shapes where the answer is plain: what unrolls doesn't shear, and every part of the surface is reached."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.cloth.drape import Net, drape, over
from layup.cloth.draped import drape_ply
from layup.cloth.flatten import in_cloth
from layup.cloth.splice_line import propose
from layup.errors import FaultsError, LayupError, SurfaceError
from layup.partfile.read import read_part
from layup.shape.flat import outline
from layup.shape.walkable import ready
from layup.weight.prediction import predict
from tests.shapes import dish, folded, frustum, hemisphere

ANGLES = st.floats(-180.0, 180.0).map(math.radians)


def soup(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    return points[faces]


def laid(net: Net, points: np.ndarray, faces: np.ndarray):
    return over(net, soup(points, faces), locking=math.radians(45), along=np.array([1.0, 0.0, 0.0]))


@settings(max_examples=15, deadline=None)
@given(ANGLES)
def test_a_flat_panel_does_not_shear(angle: float) -> None:
    made = outline([(0, 0), (0.5, 0), (0.5, 0.3), (0, 0.3)])
    net = drape(made.vertices, made.faces, angle=angle, nodes=400)
    assert np.abs(net.shear).max() < 1e-9
    found = laid(net, made.vertices, made.faces)
    assert found.factor == approx(1.0, abs=1e-12)
    assert found.bare == 0.0
    assert found.area == approx(0.15, rel=1e-12)
    miss = math.remainder(found.warp_angle[0] - angle, math.pi)
    assert abs(miss) < 1e-9


@settings(max_examples=12, deadline=None)
@given(ANGLES, st.floats(0.1, 3.0))
def test_a_sharp_fold_does_not_shear(angle: float, fold: float) -> None:
    points, faces = folded(fold)
    net = drape(points, faces, start=(0.05, 0.1, 0.0), angle=angle, nodes=900)
    # where the fold runs out at the edge, a cell may reach past the part on either side of it: those don't count
    assert np.abs(net.shear[~net.off[net.cells].any(axis=1)]).max() < 1e-5
    found = laid(net, points, faces)
    assert found.factor == approx(1.0, abs=2e-3)
    assert found.bare < 2e-3


@settings(max_examples=10, deadline=None)
@given(ANGLES)
def test_a_cone_does_not_shear(angle: float) -> None:
    """As facets, a cone is still developable: the net is exact on it, not only nearly so."""
    points, faces = frustum(0.3, 0.1, 0.5, turn=math.pi)
    net = drape(points, faces, warp=(0.0, 0.0, 1.0), angle=angle, nodes=900)
    assert np.abs(net.shear[~net.off[net.cells].any(axis=1)]).max() < 1e-5
    found = laid(net, points, faces)
    assert found.factor == approx(1.0, abs=1e-4)
    assert found.bare < 2e-3


def test_links_keep_their_length_on_the_flat() -> None:
    made = outline([(0, 0), (0.5, 0), (0.5, 0.3), (0, 0.3)])
    net = drape(made.vertices, made.faces, angle=0.4, nodes=400)
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)):
        long = np.linalg.norm(net.nodes[net.cells[:, a]] - net.nodes[net.cells[:, b]], axis=1)
        assert long == approx(np.full(len(long), net.link), rel=1e-9)


def test_every_corner_of_a_crooked_part_is_reached() -> None:
    u_shape = [(0, 0), (0.6, 0), (0.6, 0.5), (0.45, 0.5), (0.45, 0.12), (0.15, 0.12), (0.15, 0.5), (0, 0.5)]
    window = [(0.2, 0.03), (0.4, 0.03), (0.4, 0.09), (0.2, 0.09)]
    made = outline(u_shape, [window])
    for angle in (0.0, 0.3, math.pi / 4):
        net = drape(made.vertices, made.faces, start=(0.07, 0.4, 0.0), angle=angle, nodes=3000)
        assert laid(net, made.vertices, made.faces).bare < 1e-3
        assert np.abs(net.shear).max() < 1e-6
    assert ready(made.vertices, made.faces).filled == 1


def test_a_long_strip_askew_is_reached_to_its_ends() -> None:
    made = outline([(0, 0), (2.0, 0), (2.0, 0.1), (0, 0.1)])
    net = drape(made.vertices, made.faces, angle=math.pi / 4, nodes=3000)
    assert laid(net, made.vertices, made.faces).bare == 0.0
    assert np.abs(net.shear).max() < 1e-6


@pytest.mark.parametrize("warp", [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0)])
def test_a_tube_is_wrapped_once(warp: tuple[float, float, float]) -> None:
    """Its open end was closed with a lid, its rim taken for a lip: what can be unrolled sheared by 79 degrees."""
    points, faces = frustum(0.2, 0.2, 0.5)
    last, first = 97 * np.arange(25) + 96, 97 * np.arange(25)
    joined = faces.copy()
    for one, other in zip(last, first, strict=True):
        joined[faces == one] = other
    net = drape(points, joined, warp=warp, nodes=2000)
    assert len(net.cells) * net.link**2 < 1.25 * net.sheet.area
    assert not net.sheet.filled
    assert not len(net.sheet.lips)
    assert np.abs(net.shear).max() < 1e-6
    assert laid(net, points, joined).factor == pytest.approx(1.0, abs=1e-9)


def test_a_lip_round_a_hole_does_not_pull_the_cloth_in() -> None:
    points, faces = dish(0.08, 0.03)
    sheet = ready(points, faces)
    assert len(sheet.lips) == 4 * 48
    net = drape(points, faces, start=(0.2, 0.2, 0.0), nodes=2000)
    assert np.abs(net.shear).max() < 1e-9
    assert laid(net, points, faces).bare == 0.0


def test_faces_that_look_every_way_drape_the_same() -> None:
    points, faces = hemisphere(4)
    mixed = faces.copy()
    turn = np.random.default_rng(3).random(len(faces)) < 0.5
    mixed[turn] = mixed[turn][:, ::-1]
    one = over(drape(points, faces, (0, 0, 1.0), nodes=900), points[faces])
    other = over(drape(points, mixed, (0, 0, 1.0), nodes=900), points[faces])
    assert other.factor == approx(one.factor, rel=1e-4)
    assert other.most == approx(one.most, rel=1e-2)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.05, 20.0), st.floats(-3.0, 3.0), st.floats(0, 6.0))
def test_moving_and_scaling_change_nothing(size: float, shift: float, turn: float) -> None:
    points, faces = hemisphere(4)
    c, s = math.cos(turn), math.sin(turn)
    spin = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    moved = (points @ spin.T) * size + shift
    one = over(drape(points, faces, (0, 0, 1.0), (1, 0, 0), nodes=900), points[faces])
    net = drape(moved, faces, np.array([0, 0, 1.0]) * size + shift, spin @ np.array([1.0, 0, 0]), nodes=900)
    other = over(net, moved[faces])
    assert other.factor == approx(one.factor, rel=2e-4)


def test_places_in_the_cloth_and_back() -> None:
    points, faces = hemisphere(5)
    net = drape(points, faces, (0, 0, 1.0), nodes=4000)
    some = np.flatnonzero(~net.off)[::37]
    flat, outside = in_cloth(net, net.nodes[some])
    assert flat == approx(net.ij[some] * net.link, abs=1e-6 * net.link)
    assert outside.max() < 1e-6


def test_the_net_stops_at_its_limit_and_says_so() -> None:
    points, faces = hemisphere(5)
    net = drape(points, faces, (0, 0, 1.0), nodes=4000, limit=math.radians(30))
    assert net.stopped > 0
    assert np.degrees(np.abs(net.shear)).max() < 31.0  # a cell's middle may lie a little past its corner
    assert over(net, points[faces]).bare > 0.05


def test_a_start_off_the_surface() -> None:
    points, faces = hemisphere(3)
    with pytest.raises(
        SurfaceError, match=r"lies 1000 mm off the surface.*nearest point of the surface is \(0 mm, 0 mm, 1000 mm\)"
    ):
        drape(points, faces, start=(0, 0, 2.0))


def test_a_warp_square_to_the_surface() -> None:
    points, faces = hemisphere(3)
    with pytest.raises(SurfaceError, match=r"warp \(0, 0, 1\) stands square.*such as warp = \[1, 0, 0\]"):
        drape(points, faces, start=(0, 0, 1.0), warp=(0, 0, 1.0))
    with pytest.raises(SurfaceError, match=r"\(0, 0, 0\)"):
        drape(points, faces, start=(0, 0, 1.0), warp=(0, 0, 0))


def write_bowl(folder: Path, fine: int = 5) -> None:
    points, faces = hemisphere(fine, 0.3)
    lines = [f"v {x:.9f} {y:.9f} {z:.9f}" for x, y, z in points]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    (folder / "bowl.obj").write_text("\n".join(lines))


def bowl(hatch: Callable[..., dict[str, Any]], **surface: Any) -> dict[str, Any]:
    return hatch(surface={"mesh": "bowl.obj", "unit": "m", **surface}, ply=[{"fabric": "carbon plain 200"}])


def test_predict_counts_the_sheared_cloth_only_where_it_is_asked(
    hatch: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    write_bowl(tmp_path)
    plain = predict(bowl(hatch), tmp_path)
    at = ["0 m", "0 m", "0.3 m"]
    for keys in ({"drape": True, "start": at}, {"start": at}):
        found = predict(bowl(hatch, **keys), tmp_path)
        ply, bare = found.as_json()["plies"][0], plain.as_json()["plies"][0]
        assert bare["drape"] is None
        # mean sin w = .9248 over the cloth that covers a hemisphere: see tests/published/test_draped_sphere.py
        assert ply["drape"]["factor"] == approx(1.0813, rel=1e-3)
        assert ply["fibre_kg"] / bare["fibre_kg"] == approx(ply["drape"]["factor"], rel=1e-12)
        assert ply["thickness_m"] / bare["thickness_m"] == approx(ply["drape"]["factor"], rel=1e-12)
        assert found.mass.mean > plain.mass.mean
        assert any("sheared cloth adds" in c for c in found.cautions)
        assert any("locks" in c for c in found.cautions)
    assert not any("sheared" in c for c in plain.cautions)
    off = predict(bowl(hatch, start=at, drape=False), tmp_path)
    assert off.mass.mean == plain.mass.mean


def test_what_does_not_shear_keeps_its_weight(hatch: Callable[..., dict[str, Any]], tmp_path: Path) -> None:
    write_bowl(tmp_path, 3)
    part = bowl(hatch, drape=True)
    part["ply"] = [{"fabric": "carbon unidirectional 200"}]
    assert predict(part, tmp_path).as_json()["plies"][0]["drape"] is None


def test_a_surface_without_a_shape_can_not_be_draped(hatch: Callable[..., dict[str, Any]]) -> None:
    with pytest.raises(FaultsError, match="no shape to drape"):
        read_part(hatch(surface={"area": "1 m^2", "drape": True}))


def test_a_start_off_the_part_is_told_to_the_builder(hatch: Callable[..., dict[str, Any]], tmp_path: Path) -> None:
    write_bowl(tmp_path, 3)
    with pytest.raises(LayupError, match="off the surface"):
        predict(bowl(hatch, start=["0 m", "0 m", "3 m"]), tmp_path)


def test_a_splice_takes_locked_area_away(hatch: Callable[..., dict[str, Any]], tmp_path: Path) -> None:
    write_bowl(tmp_path, 4)
    job = read_part(bowl(hatch, start=["0 m", "0 m", "0.3 m"]), tmp_path)
    entry = job.part.plies()[0]
    lies = drape_ply(job, entry)
    found = propose(job, entry)
    assert found is not None
    assert found.before == approx(lies.locked * lies.on[0].area)
    assert found.after < 0.75 * found.before
    assert found.most_after < found.most_before
    assert found.more == approx(found.length * found.overlap * 0.2, rel=1e-9)
    flat = read_part(hatch())
    assert propose(flat, flat.part.plies()[0]) is None
