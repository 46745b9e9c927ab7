"""Faces of many corners, and the readers of PLY, OFF and 3MF, against polygons of known area.

Tolerances: 1e-9 where the numbers of the file are doubles or text, 1e-6 in single precision.
"""

import struct
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files.read import read_surface
from layup.files.read_scene import Grouped
from layup.shape.polygons import triangulate


def shoelace(ring):
    x, y = np.array(ring, dtype=float).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def star(count, inner=0.3):
    angle = np.linspace(0, 2 * np.pi, 2 * count, endpoint=False)
    size = np.where(np.arange(2 * count) % 2, inner, 1.0)
    return np.c_[size * np.cos(angle), size * np.sin(angle)]


COMB = [(0, 0), (9, 0), (9, 5), (8, 5), (8, 1), (7, 1), (7, 5), (6, 5), (6, 1), (5, 1), (5, 5), (4, 5), (4, 1), (0, 1)]
# an outline joined to the edge of a hole by a line that runs to and fro, as CAD programs write a face with a hole
KEYHOLE = [(0, 0), (4, 0), (4, 4), (0, 4), (0, 0), (1, 1), (1, 3), (3, 3), (3, 1), (1, 1)]
RINGS = {
    "arrow": [(0, 0), (2, 1), (0, 2), (1, 1)],
    "arrow from its hollow corner": [(1, 1), (0, 0), (2, 1), (0, 2)],
    "comb": COMB,
    "keyhole": KEYHOLE,
    "star": star(7),
    "star of 400 corners": star(200, 0.9),
    "spiral": [(0, 0), (5, 0), (5, 5), (1, 5), (1, 2), (3, 2), (3, 3), (2, 3), (2, 4), (4, 4), (4, 1), (0, 1)],
}
PLANES = {
    "flat": np.eye(3),
    "steep": np.linalg.qr(np.array([[1.0, 2, 3], [0, 1, 4], [5, 6, 0]]))[0],
}


def in_space(ring, turn):
    return np.c_[np.array(ring, dtype=float), np.zeros(len(ring))] @ turn.T + (3.0, -2.0, 7.0)


@pytest.mark.parametrize("plane", PLANES)
@pytest.mark.parametrize("name", RINGS)
@pytest.mark.parametrize("back", [False, True])
def test_a_hollow_face_keeps_its_area_and_its_side(name, plane, back):
    ring = RINGS[name][::-1] if back else RINGS[name]
    points = in_space(ring, PLANES[plane])
    made = triangulate(points, np.arange(len(ring)), np.array([len(ring)]))
    a, b, c = (points[made.faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a) / 2.0
    normal = PLANES[plane] @ (0, 0, 1) * np.linalg.det(PLANES[plane])
    assert np.linalg.norm(cross, axis=1).sum() == pytest.approx(abs(shoelace(ring)), rel=1e-9)
    assert (cross @ normal * np.sign(shoelace(ring)) > -1e-12).all()
    assert made.crossed == 0
    assert len(made.faces) == len(ring) - 2


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(0.05, 1.0), min_size=4, max_size=30), st.integers(0, 29))
def test_any_star_shaped_face_has_the_surveyors_area(radii, first):
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    ring = np.roll(np.c_[radii * np.cos(angle), radii * np.sin(angle)], first, axis=0)
    points = in_space(ring, PLANES["steep"])
    made = triangulate(points, np.arange(len(ring)), np.array([len(ring)]))
    assert made.area == pytest.approx(abs(shoelace(ring)), rel=1e-9)


def test_many_faces_at_once_keep_their_order():
    rings = [RINGS[name] for name in ("arrow", "star", "comb", "arrow")] + [[(0, 0), (1, 0), (0, 1)]]
    points = np.concatenate([in_space(r, PLANES["flat"]) for r in rings])
    made = triangulate(points, np.arange(len(points)), np.array([len(r) for r in rings]))
    assert (np.diff(made.owner) >= 0).all()
    a, b, c = (points[made.faces[:, k]] for k in range(3))
    size = np.bincount(made.owner, np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2.0)
    assert size == pytest.approx([abs(shoelace(r)) for r in rings], rel=1e-9)


def test_faces_that_cross_themselves_and_bent_ones_are_said(tmp_path):
    bow = in_space([(0, 0), (1, 1), (1, 0), (0, 1)], PLANES["flat"])
    made = triangulate(bow, np.arange(4), np.array([4]))
    assert made.crossed == 1
    assert made.findings()[0].kind == "crossed faces"
    assert "crosses itself" in made.findings()[0].text
    # a square with one corner raised by its side: along one diagonal 1/2 + sqrt(2)/2 ..., along the other another area
    path = tmp_path / "bent.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 1 1 1\nv 0 1 0\nf 1 2 3 4\n")
    surface = read_surface(path, unit="m")
    one = 2 * np.sqrt(2) / 2  # triangles 1 2 3 and 1 3 4, each with sides 1 and sqrt 2 at a right angle
    two = 0.5 + np.sqrt(3) / 2
    assert surface.whole.area == pytest.approx(one, rel=1e-9)
    bent = next(f for f in surface.findings if f.kind == "bent faces")
    assert f"{abs(one - two) / one:.1%}" in bent.text


def test_groups_by_number():
    groups = Grouped(4, [(np.array([0, 0, 1, -1]), ["lid", "rim"]), (np.array([-1, 2, 2, 2]), ["", "x", "rim"])])
    assert list(groups) == ["lid", "rim"]
    assert groups["rim"].tolist() == [False, True, True, True]
    assert "x" not in groups
    kept = groups.kept(np.array([True, False, False, True]))
    assert {word: mask.tolist() for word, mask in kept.items()} == {"lid": [True, False], "rim": [False, True]}
    assert groups.kept(np.array([2, 2, 0]))["rim"].tolist() == [True, True, False]


def test_ten_thousand_groups_take_no_memory_of_their_own(tmp_path):
    rows = ["v 0 0 0", "v 1 0 0", "v 0 1 0"]
    for k in range(10_000):
        rows += [f"g face{k}", "f 1 2 3", "f 3 2 1"]
    (tmp_path / "g.obj").write_text("\n".join(rows))
    from layup.files.read_obj import read_obj

    scene = read_obj(tmp_path / "g.obj", "g.obj")
    assert len(scene.groups) == 10_000
    assert np.flatnonzero(scene.groups["face77"]).tolist() == [154, 155]


# ---- PLY


def ply(order, rings, *, double=False, extra=False, count="uchar", index="int"):
    """A PLY file written here, number by number."""
    kind, code = ("double", "d") if double else ("float", "f")
    points = [p for ring in rings for p in ring]
    head = f"ply\nformat {order} 1.0\ncomment made by hand\n"
    props = f"property {kind} x\nproperty {kind} y\nproperty {kind} z\n" + ("property uchar red\n" if extra else "")
    head += f"element vertex {len(points)}\n{props}"
    material = "element material 1\nproperty list uchar float ambient\nproperty int kind\n" if extra else ""
    faces = ("property uchar flag\n" if extra else "") + f"property list {count} {index} vertex_indices\n"
    head += f"{material}element face {len(rings)}\n{faces}end_header\n"
    base = np.cumsum([0, *(len(r) for r in rings)])
    if order == "ascii":
        rows = [" ".join(repr(float(v)) for v in p) + (" 7" if extra else "") for p in points]
        rows += ["3 0.1 0.2 0.3 5"] if extra else []
        rows += [
            ("1 " if extra else "") + " ".join(map(str, [len(r), *range(b, b + len(r))]))
            for r, b in zip(rings, base, strict=False)
        ]
        return (head + "\n".join(rows) + "\n").encode()
    mark = "<" if "little" in order else ">"
    codes = {"uchar": "B", "int": "i", "ushort": "H", "uint": "I"}
    out = b"".join(struct.pack(f"{mark}3{code}", *p) + (b"\x07" if extra else b"") for p in points)
    out += struct.pack(f"{mark}B3fi", 3, 0.1, 0.2, 0.3, 5) if extra else b""
    for r, b in zip(rings, base, strict=False):
        out += b"\x01" if extra else b""
        out += struct.pack(f"{mark}{codes[count]}{len(r)}{codes[index]}", len(r), *range(b, b + len(r)))
    return head.encode() + out


FACES = [in_space(RINGS[n], PLANES["steep"]) for n in ("comb", "arrow", "keyhole", "star")]
TOTAL = sum(abs(shoelace(RINGS[n])) for n in ("comb", "arrow", "keyhole", "star"))


@pytest.mark.parametrize("extra", [False, True])
@pytest.mark.parametrize("order", ["ascii", "binary_little_endian", "binary_big_endian"])
@pytest.mark.parametrize("same", [True, False])
def test_ply_of_every_order_with_hollow_faces(tmp_path, order, extra, same):
    faces = [FACES[1]] * 3 if same else FACES
    want = 3 * abs(shoelace(RINGS["arrow"])) if same else TOTAL
    (tmp_path / "a.ply").write_bytes(ply(order, faces, double=True, extra=extra))
    from layup.files.read_ply import read_ply

    scene = read_ply(tmp_path / "a.ply", "a.ply")
    a, b, c = (scene.points[scene.faces[:, k]] for k in range(3))
    assert np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0 == pytest.approx(want, rel=1e-9)


def test_ply_with_other_numbers(tmp_path):
    (tmp_path / "a.ply").write_bytes(ply("binary_little_endian", FACES, count="ushort", index="uint"))
    assert read_surface(tmp_path / "a.ply", unit="m").whole.area == pytest.approx(TOTAL, rel=1e-6)


@pytest.mark.parametrize("kind", ["ply", "off"])
def test_what_another_library_writes(tmp_path, kind):
    ball = trimesh.creation.icosphere(3)
    keep = ball.triangles_center[:, 2] > 0.1
    cap = trimesh.Trimesh(ball.vertices, ball.faces[keep], process=False)
    for number, data in enumerate(
        [cap.export(file_type=kind), cap.export(file_type="ply", encoding="ascii")] if kind == "ply" else
        [cap.export(file_type="off")]
    ):  # fmt: skip
        path = tmp_path / f"{number}.{kind}"
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        found = read_surface(path, unit="m")
        assert found.whole.area == pytest.approx(cap.area, rel=1e-6)
        assert found.whole.triangles == len(cap.faces)


def test_off_with_colours_remarks_and_hollow_faces(tmp_path):
    ring = RINGS["comb"]
    rows = ["COFF # made by hand", "# counts", f"{len(ring)} 1 0", ""]
    rows += [f"{x} {y} 0.0 255 0 0" for x, y in ring]
    rows += [f"{len(ring)} " + " ".join(map(str, range(len(ring)))) + " 0.5 0.5 0.5"]
    (tmp_path / "a.off").write_text("\n".join(rows))
    assert read_surface(tmp_path / "a.off", unit="m").whole.area == pytest.approx(shoelace(ring), rel=1e-9)


BAD = {
    "list.ply": (ply("ascii", FACES[:1]).replace(b"14 0 1", b"99 0 1"), "promises 1 of face"),
    "name.ply": (ply("ascii", FACES[:1]).replace(b"14 0 1", b"14 0 77"), "face 1 names point 77.*has 14 points"),
    "half.ply": (ply("ascii", FACES[:1]).replace(b"14 0 1", b"14 0 1.5"), "no whole number"),
    "word.ply": (ply("ascii", FACES[:1]).replace(b"14 0 1", b"14 O 1"), r'line \d+: "14 O 1 2.*not a row of numbers'),
    "many.ply": (ply("ascii", FACES[:1]).replace(b"vertex 14", b"vertex 99999999999"), "promises 99,999,999,999 of"),
    "most.ply": (ply("binary_little_endian", FACES).replace(b"face 4", b"face 4000000000"), "promises 4,000,000,000"),
    "kind.ply": (ply("ascii", FACES).replace(b"float y", b"quad y"), "line 6 of its header"),
    "flat.ply": (ply("ascii", FACES).replace(b" float z", b" float w"), "no x, y and z"),
    "end.ply": (ply("binary_big_endian", FACES)[:-3], "cut short"),
    "two.ply": (ply("ascii", [FACES[0][:2]]), "fewer than three"),
    "strip.ply": (ply("ascii", FACES).replace(b"element face", b"element tristrips"), "strips"),
    "short.off": (b"OFF\n3 1 0\n0 0 0\n1 0 0\n", "promises 3 points and 1 faces, and has 2 lines"),
    "word.off": (b"OFF\n3 1 0\n0 0 0\n1 x 0\n0 1 0\n3 0 1 2\n", 'line 4: "1 x 0"'),
    "list.off": (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n7 0 1 2\n", "line 6: a face promises more"),
    "count.off": (b"OFF\n3 -1 0\n0 0 0\n", "counts of points and faces"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_polygon_files_name_their_place(tmp_path, name):
    data, match = BAD[name]
    (tmp_path / name).write_bytes(data)
    with pytest.raises(SurfaceError, match=match) as caught:
        read_surface(tmp_path / name, unit="mm")
    assert name in str(caught.value)


# ---- 3MF


MODEL = (
    '<?xml version="1.0"?><model unit="{unit}" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" '
    'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"><resources>{things}</resources>'
    "<build>{items}</build></model>"
)
MESH = (
    '<object id="{id}" {more}><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="3" y="0" z="0"/>'
    '<vertex x="0" y="4" z="0"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'
)


def packed(tmp_path, things, items, unit="millimeter", others=()):
    path = tmp_path / "a.3mf"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("3D/3dmodel.model", MODEL.format(unit=unit, things=things, items=items))
        for name, text in others:
            file.writestr(name, text)
    return path


def test_3mf_places_parts_within_parts(tmp_path):
    things = (
        MESH.format(id=1, more='name="fin"')
        + (
            '<object id="2"><components><component objectid="1" transform="2 0 0 0 2 0 0 0 2 10 0 0"/>'
            '<component objectid="1" transform="1 0 0 0 0 1 0 1 0 0 50 0"/></components></object>'
        )
        + MESH.format(id=3, more='type="support"')
    )
    items = '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 7"/><item objectid="3"/>'
    found = read_surface(packed(tmp_path, things, items))
    assert found.whole.area == pytest.approx(6e-6 * (4 + 1), rel=1e-12)
    # (3, 0, 0) doubled and moved is (16, 0, 0), and turned by 90 degrees (0, 16, 0), then up by 7
    assert found.whole.box[1] == pytest.approx((0.0, 16e-3, 11e-3), abs=1e-12)
    assert {f.kind for f in found.findings} == {"left out", "pieces"}
    assert list(found.groups) == ["fin", "fin (2)"]


def test_3mf_in_several_files_and_without_a_build(tmp_path):
    other = MODEL.format(unit="inch", things=MESH.format(id=5, more=""), items="")
    item = '<item p:path="/3D/Objects/other.model" objectid="5"/>'
    path = packed(tmp_path, "", item, unit="centimeter", others=[("3D/Objects/other.model", other)])
    assert read_surface(path).whole.area == pytest.approx(6e-4, rel=1e-12)
    assert read_surface(packed(tmp_path, MESH.format(id=1, more=""), "")).whole.area == pytest.approx(6e-6, rel=1e-12)


def test_what_is_wrong_in_a_3mf(tmp_path):
    mesh = MESH.format(id=1, more="")
    nest = mesh + "".join(
        f'<object id="{n}"><components>' + f'<component objectid="{n - 1}"/>' * 10 + "</components></object>"
        for n in range(2, 14)
    )
    ring = '<object id="1"><components><component objectid="2"/></components></object>'
    ring += '<object id="2"><components><component objectid="1"/></components></object>'
    one = '<item objectid="1"/>'
    bomb = '<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa">]>'
    cases = [
        (mesh, '<item objectid="9"/>', "millimeter", 'object "9" is placed but not there'),
        (ring, one, "millimeter", "holds itself"),
        (nest, '<item objectid="13"/>', "millimeter", "places more than 20,000,000 triangles"),
        (mesh.replace('v3="2"', 'v3="8"'), one, "millimeter", "triangle 1 names point 8"),
        (mesh.replace('v3="2"', 'v3="-1"'), one, "millimeter", 'triangle 1: its v3 is "-1"'),
        (mesh.replace('x="3"', 'x="three"'), one, "millimeter", 'vertex 2: its x is "three"'),
        (mesh.replace('x="3"', 'x="nan"'), one, "millimeter", "not a finite number"),
        (mesh, '<item objectid="1" transform="1 0 0"/>', "millimeter", 'transform "1 0 0"'),
        (mesh, one, "furlong", 'unit as "furlong"'),
        (mesh.replace("</mesh>", ""), one, "millimeter", "line 1, column"),
    ]  # fmt: skip
    for things, items, unit, match in cases:
        with pytest.raises(SurfaceError, match=match):
            read_surface(packed(tmp_path, things, items, unit))
    path = packed(tmp_path, mesh, one)
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("3D/3dmodel.model", bomb + MODEL.format(unit="inch", things=mesh, items=one).partition("?>")[2])
    with pytest.raises(SurfaceError, match="defines entities"):
        read_surface(path)
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("readme.txt", "no model")
    with pytest.raises(SurfaceError, match="not a 3MF"):
        read_surface(path)


# ---- the wrong file


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("door.stl", b"this is a letter about the door, and it goes on for more than eighty-four bytes, surely so",
         'a text, but no STL: it begins "this is a letter'),
        ("door.stl", b"<!DOCTYPE html><html><body>Sign in to download" + b" " * 200, "a web page, not an STL file"),
        ("door.stl", b"ISO-10303-21;\nHEADER;" + b" " * 200, "a STEP file, not an STL file. End its name in .step"),
        ("door.stl", b"version https://git-lfs.github.com/spec/v1\noid sha256:00", "only the label of a file"),
        ("door.stl", b"PK\x03\x04" + bytes(200), "a zip file, not an STL"),
        ("door.obj", b"solid door\nfacet normal 0 0 1\n", "an STL file of text, not an OBJ"),
        ("door.step", b"glTF\x02\x00\x00\x00" + bytes(99), "a GLB file, not a STEP"),
        ("door.3mf", b"%PDF-1.7 ...", "a PDF, not a 3MF"),
        ("door.ply", b"AC1032" + bytes(99), "a DWG drawing, not a PLY"),
        ("door.dxf", b"0\nSECTION", "a flat drawing, not a mesh"),
    ],
)  # fmt: skip
def test_a_file_that_is_not_what_its_name_says(tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(SurfaceError, match=words):
        read_surface(tmp_path / name, unit="mm")


def test_a_binary_stl_may_begin_with_any_words(tmp_path):
    for head in (b"solid", b"ply ", b"OFF and on", b"a binary STL of a door", b"PK\x03\x04"):
        record = struct.pack("<12fH", *([0.0] * 3), 0, 0, 0, 1, 0, 0, 0, 1, 0, 0)
        (tmp_path / "a.stl").write_bytes(head.ljust(80, b" ") + struct.pack("<I", 1) + record)
        assert read_surface(tmp_path / "a.stl", unit="m").whole.area == pytest.approx(0.5)
