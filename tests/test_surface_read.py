import struct
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files.read import read_surface

FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")


def dish(n: int = 24, depth: float = 0.1) -> trimesh.Trimesh:
    """An open shallow dish of 1 m by 0.6 m, in metres."""
    u, v = np.meshgrid(np.linspace(-0.5, 0.5, n + 1), np.linspace(-0.3, 0.3, n + 1), indexing="ij")
    p = np.stack([u, v, depth * (1 - (2 * u) ** 2) * (1 - (v / 0.3) ** 2)], axis=-1).reshape(-1, 3)
    i = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    return trimesh.Trimesh(p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]), process=False)


def write(path, vertices, faces, ascii_stl=False):
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    path.write_bytes(mesh.export(file_type="stl_ascii").encode()) if ascii_stl else mesh.export(str(path))
    return path


def binary_stl(triangles, head=b"", count=None):
    records = np.zeros(len(triangles), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    records["c"] = triangles
    number = len(triangles) if count is None else count
    return head.ljust(80, b" ") + struct.pack("<I", number) + records.tobytes()


ONE = np.array([[[0, 0, 0], [100, 0, 0], [0, 100, 0]]], dtype=float)


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_gives_the_same_surface(tmp_path, kind):
    mesh = dish()
    if kind == "3mf":
        mesh = trimesh.Trimesh(mesh.vertices * 1000.0, mesh.faces, process=False)  # millimetres by default
    mesh.export(str(tmp_path / f"dish.{kind}"))
    found = read_surface(tmp_path / f"dish.{kind}", unit=None if kind in ("glb", "3mf") else "m")
    right = dish()
    assert found.whole.area == pytest.approx(right.area, rel=1e-6)  # single-precision coordinates
    assert found.whole.centroid == pytest.approx(right.triangles_center.T @ right.area_faces / right.area, abs=1e-6)
    assert found.whole.perimeter == pytest.approx(2 * (1.0 + 0.6), rel=1e-6)
    assert found.whole.triangles == len(right.faces)
    assert (found.side, found.findings) == ("as drawn", ())
    assert found.vertices.shape == right.vertices.shape
    assert found.vertices[found.faces].reshape(-1, 3).max(axis=0) == pytest.approx([0.5, 0.3, 0.1], abs=1e-6)


def test_ascii_stl_is_the_binary_one(tmp_path):
    mesh = dish()
    text = mesh.export(file_type="stl_ascii")
    (tmp_path / "a.stl").write_text(text.replace("solid", "solid made by hand, 2 facets", 1).upper())
    found = read_surface(tmp_path / "a.stl", unit="m")
    assert found.whole.area == pytest.approx(mesh.area, rel=1e-6)
    assert found.perimeter == pytest.approx(3.2, rel=1e-6)


def test_ascii_stl_of_several_blocks(tmp_path, monkeypatch):
    monkeypatch.setattr("layup.files.stl._TEXT_BLOCK", 3001)
    (tmp_path / "a.stl").write_text(dish().export(file_type="stl_ascii"))
    assert read_surface(tmp_path / "a.stl", unit="m").whole.triangles == 2 * 24**2


@given(unit=st.sampled_from([("mm", 1e-3), ("cm", 1e-2), ("in", 0.0254), ("inch", 0.0254), ("ft", 0.3048), ("m", 1)]))
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_unit(tmp_path, unit):
    path = tmp_path / "one.stl"
    path.write_bytes(binary_stl(ONE))
    found = read_surface(path, unit=unit[0])
    assert found.whole.area == pytest.approx(5000 * unit[1] ** 2)
    assert found.vertices.max() == pytest.approx(100 * unit[1])


def test_binary_that_says_solid(tmp_path):
    path = tmp_path / "one.stl"
    path.write_bytes(binary_stl(ONE, head=b"solid facet normal"))
    assert read_surface(path, unit="mm").whole.area == pytest.approx(5e-3)


def test_obj_relative_numbers_hollow_faces_groups_and_texture(tmp_path):
    path = tmp_path / "a.obj"
    path.write_text(
        "# hand made\no lid\nv 0 0 0\nv 4 0 0\nv 4 4 0\nv 2 1 0 \nv 0 4 0 1.0\nvt 0 0\nvn 0 0 1\n"
        "g hollow\nf 5/1/1 1/1/1 2//1 3 4\n"  # pentagon hollow at point 4: 16 - 6 = 10
        "g flange\nv 9 0 0\nv 9 9 0\nv 9 0 1\nf -3 -2 \\\n -1\nv 0 0 9\n"  # -3 is point 6, whatever comes after
    )
    found = read_surface(path, unit="m")
    assert found.whole.area == pytest.approx(10.0 + 4.5)
    assert found.zone({"group": "flange"}).area == pytest.approx(4.5)
    assert found.zone({"group": "lid"}).area == pytest.approx(14.5, rel=1e-12)
    assert found.zone({"group": "flange"}, outside=True).area == pytest.approx(10.0)
    with pytest.raises(SurfaceError, match='no group "flanges"') as caught:
        found.zone({"group": "flanges"})
    assert '"flange"' in caught.value.remedy


def test_scene_places_its_bodies(tmp_path):
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(0.3, [0, 1, 0])
    turn[:3, 3] = (1.0, 2.0, 3.0)
    scene.add_geometry(dish(4), node_name="left", transform=turn)
    scene.add_geometry(dish(4), node_name="right", geom_name="right")
    scene.export(str(tmp_path / "two.glb"))
    found = read_surface(tmp_path / "two.glb")
    assert found.whole.area == pytest.approx(2 * dish(4).area, rel=1e-6)
    assert found.whole.box[1][2] > 3.0
    assert set(found.groups) == {"left", "right"}
    assert found.zone({"group": "left"}).centroid[1] == pytest.approx(2.0, abs=1e-6)


def test_3mf_unit_of_its_own(tmp_path):
    mesh = dish(4)
    mesh.export(str(tmp_path / "a.3mf"))
    with zipfile.ZipFile(tmp_path / "a.3mf") as packed:
        parts = {n: packed.read(n) for n in packed.namelist()}
    with zipfile.ZipFile(tmp_path / "b.3mf", "w") as packed:
        for n, data in parts.items():
            if n.endswith(".model"):
                data = data.replace(b'unit="millimeter"', b'unit="inch"')
                assert b'unit="inch"' in data
            packed.writestr(n, data)
    assert read_surface(tmp_path / "b.3mf").whole.area == pytest.approx(mesh.area * 0.0254**2, rel=1e-6)
    with pytest.raises(SurfaceError, match="the 3MF file itself says inch"):
        read_surface(tmp_path / "b.3mf", unit="mm")


def fails(path, match, **given):
    with pytest.raises(SurfaceError, match=match) as caught:
        read_surface(path, **given)
    assert path.name in str(caught.value)
    assert caught.value.remedy
    return caught.value


def test_no_unit_shows_three_readings(tmp_path):
    path = tmp_path / "door.stl"
    path.write_bytes(binary_stl(np.array([[[0, 0, 0], [620, 0, 35], [0, 410, 0]]], dtype=float)))
    text = str(fails(path, "measures 620 x 410 x 35"))
    assert "in mm that is 620 mm" in text
    assert "15.75 m" in text  # 620 x 25.4 mm
    assert "51.7 ft" in text
    assert 'unit = "mm"' in text
    fails(path, 'unit "mn"', unit="mn")
    fails(path, 'unit "kg"', unit="kg")


def test_glb_unit_that_disagrees(tmp_path):
    dish(4).export(str(tmp_path / "a.glb"))
    fails(tmp_path / "a.glb", "metres by its standard", unit="mm")
    assert read_surface(tmp_path / "a.glb", unit="m").whole.area > 0.5


def test_files_that_are_not_there_or_not_read(tmp_path):
    (tmp_path / "doors.stl").write_bytes(binary_stl(ONE))
    assert "doors.stl" in fails(tmp_path / "door.stl", "no such file", unit="mm").remedy
    fails(tmp_path / "no" / "door.stl", "no folder", unit="mm")
    (tmp_path / "a.sldprt").write_bytes(b"x")
    assert "STL, OBJ, PLY, OFF, GLB" in fails(tmp_path / "a.sldprt", "is not read", unit="mm").remedy
    (tmp_path / "b.stl").mkdir()
    fails(tmp_path / "b.stl", "a folder", unit="mm")
    (tmp_path / "c.stl").write_bytes(b"")
    fails(tmp_path / "c.stl", "empty", unit="mm")


HEADER = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
FACES = "element face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n"
BAD = {
    "short.stl": (binary_stl(ONE, count=3), "promises 3 triangles, after 1 it ends"),
    "long.stl": (binary_stl(np.repeat(ONE, 4, axis=0), count=2), "promises 2 triangles, but there is room for 4"),
    "none.stl": (binary_stl(ONE[:0]), "no triangles"),
    "zero.stl": (binary_stl(ONE, count=0), "promises 0 triangles"),
    "tiny.stl": (b"\x00hello", "too few"),
    "nan.stl": (binary_stl(np.array([ONE[0], ONE[0] * np.nan])), "triangle 2 has a corner"),
    "inf.stl": (binary_stl(np.array([ONE[0] + np.inf])), "triangle 1 has a corner"),
    "point.stl": (binary_stl(ONE * 0.0), "no area"),
    "cut.stl": (b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvert", "cut short"),
    "word.stl": (
        b"solid a\n" + b"facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet\n" * 3
        + b"facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 o 0 vertex 0 1 0 endloop endfacet\nendsolid",
        "facet 4 can't be read",
    ),
    "nan2.stl": (
        b"solid a\nfacet normal 0 0 1 outer loop vertex 0 0 0 vertex nan 0 0 vertex 0 1 0 endloop endfacet\nendsolid",
        "triangle 1 has a corner",
    ),
    "void.stl": (b"solid a\nendsolid a\n", "no triangles"),
    "range.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n\nf 1 2 7\n", 'line 5: "f 1 2 7" names point 7, the file has 3'),
    "back.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "names point -4"),
    "nought.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "names point 0"),
    "word.obj": (b"v 0 0 0\nv 1 zero 0\nv 0 1 0\nf 1 2 3\n", 'line 2: "v 1 zero 0"'),
    "two.obj": (b"v 0 0\nv 1 0\nv 0 1\nf 1 2 3\n", "line 1"),
    "face.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 c\n", "line 4"),
    "line.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "fewer than three"),
    "cloud.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "3 points without faces"),
    "nan.obj": (b"v 0 nan 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not a finite number"),
    "words.obj": (b"this is not a mesh\n", "holds nothing"),
    "cloud.ply": ((HEADER + "end_header\n0 0 0\n1 0 0\n0 1 0\n").encode(), "3 points without faces"),
    "range.ply": ((HEADER + FACES + "3 0 1 9\n").encode(), "range.ply"),
    "junk.ply": (b"ply\nnothing", "damaged, or not a PLY"),
    "range.off": (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 9\n", "range.off"),
    "junk.glb": (b"abc" * 100, "damaged, or not a GLB"),
    "junk.3mf": (b"abc" * 100, "damaged, or not a 3MF"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_files(tmp_path, name):
    data, match = BAD[name]
    path = tmp_path / name
    path.write_bytes(data)
    fails(path, match, unit=None if path.suffix in (".glb", ".3mf") else "mm")


def test_3mf_that_unpacks_to_too_much(tmp_path, monkeypatch):
    monkeypatch.setattr("layup.files.read_3mf.UNPACKED", 1_000_000)
    with zipfile.ZipFile(tmp_path / "a.3mf", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("3D/3dmodel.model", b" " * 2_000_000)
    assert (tmp_path / "a.3mf").stat().st_size < 10_000
    fails(tmp_path / "a.3mf", "unpacks to")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(kind=st.sampled_from(FORMATS), at=st.floats(0, 1), drop=st.integers(1, 200), patch=st.binary(max_size=6))
def test_damaged_files_give_a_surface_or_a_clear_error(tmp_path, kind, at, drop, patch):
    """Bytes taken out and put in: never another error than ours."""
    whole = tmp_path / f"whole.{kind}"
    if not whole.exists():
        dish(3).export(str(whole))
    data = whole.read_bytes()
    place = int(at * len(data))
    path = tmp_path / f"hurt.{kind}"
    path.write_bytes(data[:place] + patch + data[place + drop :])
    try:
        found = read_surface(path, unit=None if kind in ("glb", "3mf") else "m")
    except SurfaceError as problem:
        assert path.name in str(problem)  # noqa: PT017
    else:
        assert np.isfinite(found.whole.area)


def shell(level=3, wall=0.02):
    """A hollow ball of 1 m radius with a wall, finely meshed."""
    ball = trimesh.creation.icosphere(level)
    n = len(ball.vertices)
    return np.vstack([ball.vertices, ball.vertices * (1 - wall)]), np.vstack([ball.faces, ball.faces[:, ::-1] + n])


def test_small_cracks_do_not_hide_a_solid(tmp_path, monkeypatch):
    monkeypatch.setattr("layup.files.read._CLOSED", 0.15)
    points, faces = shell()
    path = write(tmp_path / "a.stl", points, faces[1:])
    fails(path, "a closed solid with two skins, its wall 19.9 mm", unit="m")
    found = read_surface(path, unit="m", side="inner")
    assert [f.kind for f in found.findings] == ["cracks", "closed"]
    monkeypatch.setattr("layup.files.read._SMALL", 100)  # as for a file of a million
    fails(path, "a closed solid with two skins", unit="m")


def test_every_face_of_a_float(tmp_path):
    ball = trimesh.creation.icosphere(3)
    path = write(tmp_path / "a.stl", ball.vertices, ball.faces)
    assert 'side = "all"' in fails(path, "a closed solid block", unit="m").remedy
    found = read_surface(path, unit="m", side="all")
    assert found.side == "all"
    assert found.whole.area == pytest.approx(ball.area, rel=1e-6)
    assert found.whole.perimeter == 0.0


def test_large_files_take_the_compiled_pass(tmp_path, monkeypatch):
    path = write(tmp_path / "a.stl", dish().vertices, dish().faces)
    plain = read_surface(path, unit="m").whole
    monkeypatch.setattr("layup.files.stl.LARGE", 100)
    fast = read_surface(path, unit="m").whole
    assert fast.area == pytest.approx(plain.area, rel=1e-12)
    assert fast.centroid == pytest.approx(plain.centroid, abs=1e-12)
    monkeypatch.setattr("layup.files.read._SMALL", 100)
    lazy = read_surface(path, unit="m")
    assert lazy.whole.perimeter is None
    assert lazy.perimeter == pytest.approx(plain.perimeter)
    assert lazy.whole.perimeter == lazy.perimeter
