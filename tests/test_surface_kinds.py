"""What kind of thing a file holds: a sheet is taken only where everything adds up, and the rest is asked about."""

import numpy as np
import pytest
import trimesh
from solids import extruded, ribbed_sheet, thin_solid, write_stl

from layup.errors import SurfaceError
from layup.files.read import read_surface


def saved(tmp_path, points, faces):
    return write_stl(tmp_path / "part.stl", np.asarray(points, dtype=np.float32), faces)


def half_cylinder(tmp_path, radius=60.0, length=1000.0):
    """A plug: half a cylinder on a flat base."""
    turn = np.linspace(0.0, np.pi, 37)
    return saved(tmp_path, *extruded(np.c_[radius * np.cos(turn), radius * np.sin(turn)], length, 4))


def wing(tmp_path, chord=250.0, span=600.0, thick=0.12, blunt=0.0):
    """A solid wing of the four-digit thickness law, camber none; its skin's area. [mm, m^2]

    Source: NACA Report 460 (Jacobs, Ward, Pinkerton 1933), the thickness law; from memory.
    """
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 60)))
    y = 5.0 * thick * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    y += blunt * x
    upper, lower = np.c_[x, y] * chord, np.c_[x, -y] * chord
    line = np.concatenate([upper[::-1], lower[1:-1] if not blunt else lower[1:]])
    around = np.linalg.norm(np.diff(np.concatenate([upper[::-1], lower[1:]]), axis=0), axis=1).sum()
    return saved(tmp_path, *extruded(line, span, 6)), around * span * 1e-6


def test_a_plug_is_no_sheet(tmp_path):
    path = half_cylinder(tmp_path)
    with pytest.raises(SurfaceError, match="no outer skin") as caught:
        read_surface(path, unit="mm", side="outer")
    skin = 36 * 2 * 60 * np.sin(np.pi / 72) * 1000 * 1e-6
    assert f"{skin:.4g} m^2" in caught.value.remedy
    assert read_surface(path, unit="mm", side="facing (0, 0, 1)").whole.area == pytest.approx(skin, rel=1e-5)


@pytest.mark.parametrize("blunt", [0.0, 0.004])
@pytest.mark.parametrize("thick", [0.09, 0.12, 0.18])
def test_a_solid_wing_is_asked_about(tmp_path, thick, blunt):
    path, skin = wing(tmp_path, thick=thick, blunt=blunt)
    with pytest.raises(SurfaceError, match=r"no plain sheet|no outer skin") as caught:
        read_surface(path, unit="mm", side="outer")
    line = caught.value.remedy.split('side = "')[1].split('"')[0]
    assert read_surface(path, unit="mm", side=line).whole.area == pytest.approx(skin, rel=1e-3)  # the line it offers
    with pytest.raises(SurfaceError, match=r"goes round|no plain sheet"):
        read_surface(path, unit="mm", side="facing (0, 0, 1)")


def test_a_tray_with_walls_thicker_than_its_floor_is_asked_about(tmp_path):
    """Its walls were "edges": floor 2 mm, walls 8 mm."""
    outside = np.array([[0, 0], [300, 0], [300, 60], [292, 60], [292, 2], [8, 2], [8, 60], [0, 60]], dtype=float)
    path = saved(tmp_path, *extruded(outside, 400.0, 8))
    with pytest.raises(SurfaceError, match=r"no plain sheet|solid block"):
        read_surface(path, unit="mm", side="outer")


def test_bodies_in_and_on_each_other_are_asked_about(tmp_path):
    box = trimesh.creation.box
    inner, outer = box((50, 40, 30)), box((200, 100, 80))
    beside, apart = box((200, 100, 80)), box((200, 100, 80))
    beside.apply_translation((200, 0, 0))
    apart.apply_translation((500, 0, 0))
    for pair, word in (((outer, inner), "2 lies in 1"), ((outer, beside), "touches")):
        both = trimesh.util.concatenate(pair)
        path = saved(tmp_path, both.vertices, both.faces)
        for side in (None, "facing (0, 0, 1)", "outer"):
            with pytest.raises(SurfaceError, match=word):
                read_surface(path, unit="mm", side=side)
        assert read_surface(path, unit="mm", side="facing (0, 0, 1)", body=1).whole.area == pytest.approx(0.02)
    both = trimesh.util.concatenate((outer, apart))
    found = read_surface(saved(tmp_path, both.vertices, both.faces), unit="mm", side="facing (0, 0, 1)")
    assert found.whole.area == pytest.approx(0.04)
    assert "2 closed bodies that don't touch" in found.findings[-1].text


def test_the_side_without_ribs_and_the_side_with_them(tmp_path):
    path = saved(tmp_path, *ribbed_sheet(60, 20))
    top = read_surface(path, unit="mm", side="facing (0, 0, 1)")
    assert top.whole.area == pytest.approx(0.2, rel=1e-6)
    assert "edges and ribs" in top.findings[-1].text


def test_a_plate_whose_tab_joins_both_faces_is_a_sheet(tmp_path):
    """A tab as wide as the plate is thick: rays can't tell its faces from the plate's."""
    from layup.shape.flat import outline

    plan = [(0, 0), (0.2, 0), (0.2, 0.05), (0.212, 0.05), (0.212, 0.053), (0.2, 0.053), (0.2, 0.1), (0, 0.1)]
    flat = outline(plan)
    made = trimesh.creation.extrude_triangulation(flat.vertices[:, :2] * 1e3, flat.faces, 3.0)
    found = read_surface(saved(tmp_path, made.vertices, made.faces), unit="mm", side="outer")
    assert found.whole.area == pytest.approx(flat.whole.area, rel=1e-6)


def test_the_parts_of_a_sheet_add_up(tmp_path):
    points, faces, _ = thin_solid(6_000)
    found = read_surface(saved(tmp_path, points, faces), unit="mm", side="outer")
    whole = trimesh.Trimesh(points, faces, process=False).area * 1e-6
    assert found.whole.area - found.findings[-1].area_effect == pytest.approx(whole, rel=1e-6)


# Faces that don't quite meet


def panel(nx=30, ny=20):
    x, y = np.meshgrid(np.linspace(0, 300, nx + 1), np.linspace(0, 200, ny + 1), indexing="ij")
    p = np.stack([x, y, 20 * np.sin(x / 90)], axis=-1).reshape(-1, 3)
    i = np.arange(len(p)).reshape(nx + 1, ny + 1)
    a, b, c, d = (v.ravel() for v in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    return p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])


ZONES = ("50 mm of (150 mm, 100 mm, 0 mm)", "20 mm of the edge")


@pytest.mark.parametrize("gap", [1e-5, 1e-4, 2e-3])
def test_corners_that_nearly_meet_are_joined(tmp_path, gap):
    p, f = panel()
    soup = p[f] + np.random.default_rng(1).uniform(-gap, gap, (len(f), 3, 3)) / 2
    loose = read_surface(saved(tmp_path, soup.reshape(-1, 3), np.arange(3 * len(f)).reshape(-1, 3)), unit="mm")
    whole = read_surface(saved(tmp_path, p, f), unit="mm")
    assert loose.perimeter == pytest.approx(whole.perimeter, rel=1e-4)
    assert loose.whole.area == pytest.approx(whole.whole.area, rel=2e-5)
    for zone in ZONES:
        assert loose.zone({"within": zone}).area == pytest.approx(whole.zone({"within": zone}).area, rel=2e-3)
    said = next(finding for finding in loose.findings if finding.kind == "welded")
    assert "points made one" in said.text


def test_edges_that_end_on_other_edges_are_joined(tmp_path):
    """The right half has twice as many rows as the left one."""
    p, f = panel()
    q, g = panel(30, 40)
    left, right = p[f][p[f][..., 0].max(axis=1) <= 150.01], q[g][q[g][..., 0].min(axis=1) >= 149.99]
    soup = np.concatenate([left, right])
    mixed = read_surface(saved(tmp_path, soup.reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3)), unit="mm")
    whole = read_surface(saved(tmp_path, p, f), unit="mm")
    assert mixed.perimeter == pytest.approx(whole.perimeter, rel=1e-6)
    for zone in ZONES:
        assert mixed.zone({"within": zone}).area == pytest.approx(whole.zone({"within": zone}).area, rel=1e-3)
    assert any("edges parted" in finding.text for finding in mixed.findings)


def test_a_mesh_that_cannot_be_joined_gives_no_distance(tmp_path):
    p, f = panel()
    soup = p[f]
    right = soup[..., 0].min(axis=1) >= 149.99
    soup[right, :, 0] += 0.05  # a slit of 0.05 mm down the middle
    found = read_surface(saved(tmp_path, soup.reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3)), unit="mm")
    assert any(finding.kind == "not welded" for finding in found.findings)
    for zone in ZONES:
        with pytest.raises(SurfaceError, match="not joined"):
            found.zone({"within": zone})
        with pytest.raises(SurfaceError, match="not joined"):
            found.zone({"or": [{"within": zone}]})
    assert found.zone({"between": "x 20 mm 40 mm"}).area > 0


def test_a_real_slot_is_no_slit(tmp_path):
    p, f = panel()
    keep = ~((np.abs(p[f][..., 0].mean(axis=1) - 155) < 5) & (p[f][..., 1].max(axis=1) < 150))
    found = read_surface(saved(tmp_path, p, f[keep]), unit="mm")
    assert not any(finding.kind in ("not welded", "welded") for finding in found.findings)
    assert found.zone({"within": ZONES[1]}).area > 0


def test_several_points_name_several_faces_of_a_block(tmp_path):
    made = trimesh.creation.box((300, 200, 100))
    path = saved(tmp_path, made.vertices, made.faces)
    top, front, below = "(0 mm, 0 mm, 50 mm)", "(0 mm, -100 mm, 0 mm)", "(0 mm, 0 mm, -50 mm)"
    found = read_surface(path, unit="mm", side=f"touching {top} and {front}")
    assert found.whole.area == pytest.approx(0.06 + 0.03, rel=1e-6)
    assert "the 2 touching" in found.findings[-1].text
    again = read_surface(path, unit="mm", side=f"touching {top}, (10 mm, 10 mm, 50 mm)")
    assert again.whole.area == pytest.approx(0.06, rel=1e-6)
    flat = trimesh.creation.box((300, 200, 2))
    both_sides = f"touching {top}, {below}"
    with pytest.raises(SurfaceError, match="both sides"):
        read_surface(saved(tmp_path, flat.vertices, flat.faces), unit="mm", side=both_sides)


def test_points_on_two_bodies_take_both(tmp_path):
    one, two, three = (trimesh.creation.box((100, 100, 100)) for _ in range(3))
    two.apply_translation((200, 0, 0))
    three.apply_translation((400, 0, 0))
    made = trimesh.util.concatenate((one, two, three))
    path = saved(tmp_path, made.vertices, made.faces)
    found = read_surface(path, unit="mm", side="touching (0 mm, 0 mm, 50 mm) and (200 mm, 0 mm, 50 mm)")
    assert found.whole.area == pytest.approx(0.02, rel=1e-6)
    assert "2 are touched" in found.findings[-1].text


def test_a_crease_limit_says_where_a_face_ends(tmp_path):
    """An eight-sided plug: its sides meet at 45 degrees, which parts them by the usual limit of 40."""
    turn = np.linspace(0.0, 2.0 * np.pi, 9)[:-1]
    path = saved(tmp_path, *extruded(np.c_[50.0 * np.cos(turn), 50.0 * np.sin(turn)], 300.0, 3))
    facet = 2.0 * 50.0 * np.sin(np.pi / 8) * 300.0 * 1e-6
    y, z = 46.1 * np.cos(np.pi / 8), 46.1 * np.sin(np.pi / 8)  # the middle of a facet
    point = f"touching (150 mm, {y:.2f} mm, {z:.2f} mm)"
    assert read_surface(path, unit="mm", side=point).whole.area == pytest.approx(facet, rel=1e-5)
    assert read_surface(path, unit="mm", side=f"{point} crease 50 deg").whole.area == pytest.approx(8 * facet, rel=1e-5)
    for limit in ("crease 0 deg", "crease 170 deg", "crease x", "crease 5 mm"):
        with pytest.raises(SurfaceError, match=r"crease|side"):
            read_surface(path, unit="mm", side=f"{point} {limit}")
