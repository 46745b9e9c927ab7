import numpy as np
import pytest
import trimesh
from oracles.plain_sides import Small, pick_side, walls

from layup.errors import SurfaceError
from layup.files.read import read_surface
from layup.sides.side import parse_side


def grid(point, u_span, v_span, n):
    u, v = np.meshgrid(np.linspace(*u_span, n + 1), np.linspace(*v_span, n + 1), indexing="ij")
    p = np.stack(np.broadcast_arrays(*point(u, v)), axis=-1).reshape(-1, 3)
    i = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    rim = np.concatenate([i[:-1, 0], i[-1, :-1], i[:0:-1, -1], i[0, :0:-1]])
    return p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]), rim


def sheet(upper, lower, u_span, v_span, n):
    """Closed solid between two surfaces with an edge strip all round."""
    p, f, rim = grid(upper, u_span, v_span, n)
    q, g, _ = grid(lower, u_span, v_span, n)
    k = len(p)
    a, b = rim, np.roll(rim, -1)
    strip = np.concatenate([np.c_[a, a + k, b + k], np.c_[a, b + k, b]])
    return trimesh.Trimesh(np.concatenate([p, q]), np.concatenate([f, g[:, ::-1] + k, strip]), process=False)


def bent(radius, n=40):
    return lambda u, v: (radius * np.sin(u), v, radius * np.cos(u))


def bent_panel(outer=0.5, wall=0.004, n=40):
    """A third of a cylinder, outer radius 0.5 m, 0.8 m long."""
    return sheet(bent(outer), bent(outer - wall), (-1.0, 1.0), (0.0, 0.8), n)


def area_of(radius, n=40):
    return n * 2 * radius * np.sin(1.0 / n) * 0.8  # the facets of `bent`


def read(tmp_path, mesh, side=None):
    path = tmp_path / "part.stl"
    mesh.export(str(path))
    return read_surface(path, unit="m", side=side)


def test_closed_without_a_side_is_refused(tmp_path):
    with pytest.raises(SurfaceError, match="two skins, its wall 4 mm thick") as caught:
        read(tmp_path, bent_panel())
    assert 'side = "outer"' in caught.value.remedy


@pytest.mark.parametrize("turned", [False, True])
def test_outer_inner_facing_touching(tmp_path, turned):
    mesh = bent_panel()
    if turned:
        mesh.invert()
    for side, radius in [
        ("outer", 0.5), ("inner", 0.496), ("facing (0, 0, 1)", 0.5), ("facing (0, 0, -3)", 0.496),
        ("touching (0 mm, 400 mm, 501 mm)", 0.5), ("touching (0 mm, 400 mm, 495 mm)", 0.496),
    ]:  # fmt: skip
        found = read(tmp_path, mesh, side)
        assert found.whole.area == pytest.approx(area_of(radius), rel=1e-6), side
        assert found.perimeter == pytest.approx(2 * (0.8 + area_of(radius) / 0.8), rel=1e-5)
        assert (found.side, found.findings[-1].kind) == (side, "closed")
        taken = found.whole.area + found.findings[-1].area_effect
        assert taken == pytest.approx(2 * found.whole.area - mesh.area, abs=1e-6)
    corners = found.vertices[found.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (np.einsum("ij,ij->i", normal, corners.mean(axis=1) * [1, 0, 1]) < 0).all()  # inner side faces inward


def test_half_the_area_would_be_wrong(tmp_path):
    """A small thick plate: its edges make half the total 10 % too much."""
    plate = trimesh.creation.box((0.1, 0.06, 0.004))
    found = read(tmp_path, plate, "facing (0, 0, 1)")
    assert found.whole.area == pytest.approx(0.006, rel=1e-6)
    assert plate.area / 2 > 1.1 * found.whole.area


def test_tray_with_sharp_corners(tmp_path):
    """Floor and walls are one skin although they meet at right angles."""
    outside = trimesh.creation.box((0.4, 0.3, 0.1), transform=trimesh.transformations.translation_matrix((0, 0, 0.05)))
    inside = trimesh.creation.box(
        (0.394, 0.294, 0.097), transform=trimesh.transformations.translation_matrix((0, 0, 0.0515))
    )
    top = np.isclose(outside.triangles_center[:, 2], 0.1), np.isclose(inside.triangles_center[:, 2], 0.1)
    k = len(outside.vertices)
    rim = []
    ring = [(x, y) for x, y in [(-1, -1), (1, -1), (1, 1), (-1, 1)]]

    def corner(mesh, size, xy):
        at = np.array([xy[0] * size[0] / 2, xy[1] * size[1] / 2, 0.1])
        return int(np.argmin(np.linalg.norm(mesh.vertices - at, axis=1)))

    for p, q in zip(ring, ring[1:] + ring[:1], strict=True):
        a, b = corner(outside, (0.4, 0.3), p), corner(outside, (0.4, 0.3), q)
        c, d = corner(inside, (0.394, 0.294), p) + k, corner(inside, (0.394, 0.294), q) + k
        rim += [(a, b, d), (a, d, c)]
    tray = trimesh.Trimesh(
        np.concatenate([outside.vertices, inside.vertices]),
        np.concatenate([outside.faces[~top[0]], inside.faces[~top[1]][:, ::-1] + k, rim]),
        process=False,
    )
    assert tray.is_watertight
    tray = tray.subdivide().subdivide().subdivide()
    assert read(tmp_path, tray, "outer").whole.area == pytest.approx(0.4 * 0.3 + 2 * 0.1 * 0.7, rel=1e-6)
    assert read(tmp_path, tray, "inner").whole.area == pytest.approx(0.394 * 0.294 + 2 * 0.097 * 0.688, rel=1e-6)


def test_hollow_ball_of_two_shells(tmp_path):
    ball = trimesh.creation.icosphere(3)
    n = len(ball.vertices)
    shell = trimesh.Trimesh(
        np.vstack([ball.vertices, 0.97 * ball.vertices]),
        np.vstack([ball.faces, ball.faces[:, ::-1] + n]),
        process=False,
    )
    assert read(tmp_path, shell, "outer").whole.area == pytest.approx(ball.area, rel=1e-6)
    assert read(tmp_path, shell, "inner").whole.area == pytest.approx(ball.area * 0.97**2, rel=1e-6)


def test_tube_is_two_skins_and_two_rings(tmp_path):
    tube = trimesh.creation.annulus(0.1, 0.102, 0.3, sections=96)
    facet = 96 * 2 * np.sin(np.pi / 96) * 0.3
    assert read(tmp_path, tube, "outer").whole.area == pytest.approx(0.102 * facet, rel=1e-6)
    assert read(tmp_path, tube, "inner").whole.area == pytest.approx(0.1 * facet, rel=1e-6)
    with pytest.raises(SurfaceError, match=r"neither side faces \(0, 0, 1\)"):
        read(tmp_path, tube, "facing (0, 0, 1)")


def test_point_on_the_edge_strip(tmp_path):
    with pytest.raises(SurfaceError, match="lies on an edge of the sheet"):
        read(tmp_path, bent_panel(), "touching (0 mm, -5 mm, 498 mm)")


def test_flat_sheet_has_two_like_sides_and_wavy_says_so(tmp_path):
    flat = trimesh.creation.box((0.5, 0.3, 0.002))
    assert read(tmp_path, flat, "outer").whole.area == pytest.approx(0.15)
    assert read(tmp_path, flat, "inner").whole.area == pytest.approx(0.15)
    taper = sheet(
        lambda u, v: (u, v, 0.002 + 0 * u * v), lambda u, v: (0.99 * u, v, 0 * u * v), (-0.2, 0.2), (0, 0.3), 8
    )
    with pytest.raises(SurfaceError, match="flat or wavy"):
        read(tmp_path, taper, "outer")


def test_block_gives_only_the_face_asked_for(tmp_path):
    plug = sheet(
        lambda u, v: (u, v, 0.3 - u**2), lambda u, v: (u, v, 0 * u * v), (-0.3, 0.3), (0, 0.4), 30
    )  # a plug with a curved top
    for text in ("outer", "inner"):
        with pytest.raises(SurfaceError, match="solid block"):
            read(tmp_path, plug, text)
    top = read(tmp_path, plug, "facing (0, 0, 1)")
    x = np.linspace(-0.3, 0.3, 31)
    assert top.whole.area == pytest.approx(0.4 * np.hypot(np.diff(x), np.diff(x**2)).sum(), rel=1e-5)
    base = read(tmp_path, plug, "touching (0 mm, 200 mm, -1 mm)")
    assert base.whole.area == pytest.approx(0.6 * 0.4, rel=1e-6)


def test_faces_wound_the_wrong_way_do_not_matter(tmp_path):
    mesh = bent_panel()
    rng = np.random.default_rng(5)
    wrong = rng.random(len(mesh.faces)) < 0.3
    faces = np.where(wrong[:, None], mesh.faces[:, ::-1], mesh.faces)
    found = read(tmp_path, trimesh.Trimesh(mesh.vertices, faces, process=False), "outer")
    assert found.whole.area == pytest.approx(area_of(0.5), rel=1e-6)


def test_thickness_is_measured_not_guessed():
    """Twice volume over area is wrong by the edges; rays are not. A plate 100 x 60 x 4 mm: 2V/A is 3.6 mm."""
    plate = trimesh.creation.box((0.1, 0.06, 0.004)).subdivide().subdivide()
    points, faces = np.asarray(plate.vertices), np.asarray(plate.faces)
    assert 2 * plate.volume / plate.area == pytest.approx(0.00362, abs=1e-5)
    for sample in (None, 50):
        assert walls(points, faces, sample=sample).thickness == pytest.approx(0.004, rel=1e-9)
    for scale in (1e-3, 1e3):
        found = walls(points * scale, faces)
        assert found.thickness == pytest.approx(0.004 * scale, rel=1e-9)
        assert found.thin


def test_picked_is_all_accounted_for():
    mesh = bent_panel()
    points, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    picked = pick_side(points, faces, parse_side("outer"), "x")
    own = mesh.area_faces[picked.faces].sum()
    assert own + picked.other + picked.strip == pytest.approx(mesh.area, rel=1e-9)
    assert picked.thickness == pytest.approx(0.004, rel=2e-3)  # across facets


def test_open_shell_is_not_halved(tmp_path):
    p, f, _ = grid(bent(0.5), (-1.0, 1.0), (0.0, 0.8), 40)
    found = read(tmp_path, trimesh.Trimesh(p, f, process=False), "outer")
    assert found.whole.area == pytest.approx(area_of(0.5), rel=1e-6)
    assert (found.side, found.findings[0].kind) == ("as drawn", "open shell")


@pytest.mark.parametrize(
    "text", ["outside", "facing", "facing (0, 0)", "facing (0, 0, 0)", "facing (a, b, c)", "touching (1, 2, 3)", "",
             "touching (1 mm, 2 mm)", "touching", "outer (1)"],
)  # fmt: skip
def test_bad_sides(text):
    with pytest.raises(SurfaceError, match="side") as caught:
        parse_side(text)
    assert caught.value.remedy


def bored_plate(long, wide, thick, bore, count=48):
    """A plate with a round hole through its middle, as a closed solid. [mm]"""
    from layup.shape import flat
    from layup.shape.topology import face_pairs

    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    ring = np.column_stack([long / 2 + bore / 2 * np.cos(turn), wide / 2 + bore / 2 * np.sin(turn)]) / 1e3
    corners = np.array([[0, 0], [long, 0], [long, wide], [0, wide]]) / 1e3
    plan = flat.outline([tuple(p) for p in corners], [[tuple(p) for p in ring]])
    points, faces = plan.vertices * 1e3, plan.faces.copy()
    way = np.cross(points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]])[:, 2]
    faces[way < 0] = faces[way < 0][:, ::-1]
    n = len(points)
    half = {tuple(e) for e in np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).tolist()}
    rim = np.array([e for e in half if e[::-1] not in half])
    walls = np.concatenate(
        [np.column_stack([rim, rim[:, 1] + n]), np.column_stack([rim[:, 0], rim[:, 1] + n, rim[:, 0] + n])]
    )
    solid = np.concatenate([faces[:, ::-1], faces + n, walls])
    assert len(face_pairs(solid)[0]) * 2 == 3 * len(solid)
    return np.concatenate([points, points + np.array([0, 0, thick])]), solid


@pytest.mark.parametrize(
    ("long", "wide", "thick", "bore"), [(60, 40, 8, 12), (60, 40, 8, 6), (60, 40, 12, 12), (200, 100, 8, 12)]
)
def test_a_stout_plate_with_a_bore_gives_its_face(long, wide, thick, bore):
    """Rays from its short rims meet the bore not far behind; that does not make one skin of its two faces."""
    from layup.sides.bodies import pick
    from layup.sides.welded import Welded

    points, faces = bored_plate(long, wide, thick, bore)
    facet = 0.5 * 48 * (bore / 2) ** 2 * np.sin(2 * np.pi / 48)
    expected = (long * wide - facet) * 1e-6
    for text in ("facing (0, 0, 1)", f"touching (5 mm, 5 mm, {thick} mm)"):
        side = parse_side(text)
        plain = Small(points * 1e-3, faces).pick(side, "plate")
        fast = pick(Welded.of_mesh(points, faces, 1e-3), side, "plate")
        assert plain.whole.area == pytest.approx(expected, rel=1e-9)
        assert fast.whole.area == pytest.approx(expected, rel=1e-9)
