"""Damaged and hostile files: no reader ever fails in other words than its own, hangs, or takes more than 2 GB.

All files of a run are read by one process (`fuzzed.py`) whose address space is limited to 2 GB more than it has when
every library is loaded, and whose peak of memory is taken for each file. The damage is the same in every run: each
kind has its own seeded generator.
"""

from __future__ import annotations

import io
import json
import os
import random
import re
import select
import struct
import subprocess
import sys
import zipfile
import zlib
from importlib.util import find_spec
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh

HERE = Path(__file__).parent
SECONDS = 20
ROOM = 2_000_000_000
ABSURD = [b"1e308", b"-1e308", b"nan", b"inf", b"-1", b"0", b"99999999999", b"4294967295", b"x", b"", b"1e-300", b"2.5"]
COUNTS = [0, 1, 2, 255, 65535, 2**31 - 1, 2**31, 2**32 - 1, 2**32 - 16]


# ---- the good files


def solid():
    """A bent sheet, closed: two skins and a rim, in millimetres."""
    u, v = np.meshgrid(np.linspace(-0.6, 0.6, 9), np.linspace(0, 300, 5), indexing="ij")
    n = np.arange(45).reshape(9, 5)
    skins = [np.stack([r * np.sin(u), v, r * np.cos(u)], axis=-1).reshape(-1, 3) for r in (500.0, 496.0)]
    a, b, c, d = n[:-1, :-1].ravel(), n[1:, :-1].ravel(), n[1:, 1:].ravel(), n[:-1, 1:].ravel()
    top = np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])
    ring = np.concatenate([n[:, 0], n[-1, 1:], n[-2::-1, -1], n[0, -2:0:-1]])
    after = np.roll(ring, -1)
    rim = np.concatenate([np.c_[ring, ring + 45, after + 45], np.c_[ring, after + 45, after]])
    return trimesh.Trimesh(np.concatenate(skins), np.concatenate([top, top[:, ::-1] + 45, rim]), process=False)


def drawing():
    doc = ezdxf.new("R2000", units=4)
    space = doc.modelspace()
    space.add_lwpolyline([(0, 0), (400, 0), (400, 300), (0, 300)], close=True, dxfattribs={"layer": "TRIM"})
    space.add_lwpolyline([(50, 50, 0), (90, 50, 1), (90, 90, 0), (50, 90, 1)], format="xyb", close=True)
    space.add_ellipse((200, 150), (30, 0), 0.5)
    space.add_spline(fit_points=[(300, 100), (340, 140), (300, 180), (280, 140), (300, 100)])
    doc.blocks.new("H").add_circle((0, 0), 5)
    space.add_blockref("H", (200, 50), dxfattribs={"row_count": 2, "row_spacing": 20})
    fill = space.add_hatch(dxfattribs={"layer": "PLY 2"})
    fill.paths.add_polyline_path([(10, 210), (60, 210), (60, 260)], is_closed=True)
    fill.paths.add_edge_path().add_arc((100, 240), 20, 0, 360)
    for a, b in (((20, 200), (30, 200)), ((30, 200), (25, 205)), ((25, 205), (20, 200))):
        space.add_line(a, b)
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode()


SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">
<style>.gone {display:none}</style><g id="trim" transform="rotate(3) scale(1.1)">
<rect x="10" y="10" width="300" height="200" rx="9"/>
<path d="M50 60 A 20 10 30 1 1 90 60 C 95 65 90 90 70 90 Q 40 80 50 60 Z"/><use href="#c" x="9"/></g>
<symbol id="s" viewBox="0 0 9 9"><circle cx="4" cy="4" r="3"/></symbol>
<use href="#s" x="150" y="150" width="20" height="20"/>
<svg x="20" y="100" width="30" height="30" viewBox="0 0 3 3"><rect width="1" height="50%"/></svg>
<defs><circle id="c" cx="200" cy="100" r="12"/></defs><polygon class="gone" points="100,150 120,150 110,170"/></svg>"""
POINTS = (
    b"x [mm],y [mm],loop\n0,0,edge\n620,0,edge\n620,380,edge\n0,380,edge\n100,100,hole\n200,100,hole\n150,180,hole\n"
)
STATIONS = b"# along the datum\nstation [mm];width [mm]\n0;0\n250;180,5\n500;260\n500;250\n900;210\n1200;40\n"
PART = b"""title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
unit = "mm"
stations = [[0, 0], [250, 180], [500, 260], [900, 210], [1200, 40]]
[[ply]]
fabric = "carbon plain 200"
"""


def plain_glb():
    return solid().apply_scale(1e-3).export(file_type="glb")


def good() -> dict[str, tuple[bytes, dict[str, str]]]:
    """A good file of each kind by name, and how it is read."""
    mesh = solid()
    hollow = [(0, 0), (9, 0), (9, 5), (8, 5), (8, 1), (4, 1), (4, 5), (0, 5)]
    obj = [f"v {x} {y} {z}" for x, y, z in mesh.vertices] + [f"v {x} {y} -900" for x, y in hollow]
    obj += ["o sheet", "g skin"] + [f"f {a}//1 {b} {c}" for a, b, c in mesh.faces[:64] + 1]
    obj += ["g flag", "f -8 -7 -6 -5 -4 -3 -2 -1"]
    picked = {"kind": "mesh", "unit": "mm", "side": "outer"}
    open_ = {"kind": "mesh", "unit": "mm"}
    out: dict[str, tuple[bytes, dict[str, str]]] = {
        "b.stl": (mesh.export(file_type="stl"), picked),
        "a.stl": (mesh.export(file_type="stl_ascii").encode(), picked),
        "a.obj": ("\n".join(obj).encode(), open_),
        "a.ply": (mesh.export(file_type="ply", encoding="ascii"), picked),
        "b.ply": (mesh.export(file_type="ply"), picked),
        "a.off": (mesh.export(file_type="off").encode(), picked),
        "a.3mf": (mesh.export(file_type="3mf"), {"kind": "mesh", "side": "outer"}),
        "a.glb": (plain_glb(), {"kind": "mesh", "side": "outer"}),
        "a.dxf": (drawing(), {"kind": "mesh"}),
        "a.svg": (SVG, {"kind": "mesh"}),
        "points.csv": (POINTS, {"kind": "mesh"}),
        "stations.csv": (STATIONS, {"kind": "stations"}),
        "part.toml": (PART, {"kind": "part"}),
    }
    if find_spec("cascadio"):
        from test_surface_step import plate

        step = plate(60.0, 40.0, 8.0, 12.0).encode()
        out["a.step"] = (step, {"kind": "mesh", "side": "all"})
    if find_spec("cv2"):
        out["photo.jpg"] = (photograph(), {"kind": "photo"})
    return out


def photograph():
    import cv2
    from photographs import Camera, Shape, photograph
    from photographs import table as scene

    picture = photograph(scene(Shape(), places=((1, 0.31, 0.36, 0.0),)), Camera(tilt=25, swing=40, sees=0.8))
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()


# ---- the damage


def hurt(data: bytes, rng: random.Random) -> bytes:
    """One damaged copy: cut, flipped, doubled, a number made absurd, a count made huge."""
    out = bytearray(data)
    kind = rng.randrange(8)
    if kind == 0:
        return bytes(out[: rng.randrange(len(out))])
    if kind == 1:
        for _ in range(rng.randint(1, 12)):
            out[rng.randrange(len(out))] = rng.randrange(256)
    elif kind == 2:
        at = rng.randrange(len(out))
        del out[at : at + rng.choice([1, 4, 50, len(out) // 4])]
    elif kind == 3:
        at, many = rng.randrange(len(out)), rng.choice([1, 4, 50, 2000])
        out[at:at] = out[at : at + many]
    elif kind == 4:
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(max(len(out) - 4, 1))
            out[at : at + 4] = struct.pack(rng.choice("<>") + "I", rng.choice(COUNTS))
    elif kind == 5:
        at = rng.randrange(min(len(out), 200))
        out[at : at + 4] = struct.pack("<I", rng.choice(COUNTS))
    else:
        spots = list(re.finditer(rb"[-+]?\d[\d.]*(?:[eE][-+]?\d+)?", bytes(out)))
        early = spots[:40] if kind == 6 else spots
        for spot in sorted(rng.sample(early, min(len(early), rng.randint(1, 3))), key=lambda s: -s.start()):
            out[spot.start() : spot.end()] = rng.choice(ABSURD)
    return bytes(out)


def hurt_zip(data: bytes, rng: random.Random) -> bytes:
    """The model inside a zip damaged, and packed again."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as whole, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name in whole.namelist():
            part = whole.read(name)
            made.writestr(name, hurt(part, rng) if name.endswith(".model") else part)
    return out.getvalue()


def hurt_table(data: bytes, rng: random.Random) -> bytes:
    """A number in the table of a GLB replaced by another; the lengths around it are right."""
    size = int.from_bytes(data[12:16], "little")
    table, rest = data[20 : 20 + size], data[20 + size :]
    spots = list(re.finditer(rb"\d+", table))
    for spot in sorted(rng.sample(spots, rng.randint(1, 2)), key=lambda s: -s.start()):
        table = table[: spot.start()] + str(rng.choice([*COUNTS, -1, 3])).encode() + table[spot.end() :]
    table += b" " * (-len(table) % 4)
    return glb(table, rest)


def glb(table: bytes, rest: bytes = b"") -> bytes:
    table += b" " * (-len(table) % 4)
    body = struct.pack("<I", len(table)) + b"JSON" + table + rest
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body


# ---- hostile files, made by hand


def zipped(model: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("3D/3dmodel.model", model)
    return out.getvalue()


def lying_zip() -> bytes:
    """A zip that unpacks to 600 MB and says 1,000 bytes."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    block = b" " * 10_000_000
    squeezed = b"".join(packer.compress(block) for _ in range(60)) + packer.flush()
    name = b"3D/3dmodel.model"
    head = struct.pack("<HHHHHIIIHH", 20, 0, 8, 0, 0, 0, len(squeezed), 1000, len(name), 0)
    local = b"PK\x03\x04" + head + name + squeezed
    central = b"PK\x01\x02" + struct.pack("<H", 20) + head + struct.pack("<HHHII", 0, 0, 0, 0, 0) + name
    end = b"PK\x05\x06" + struct.pack("<HHHHIIH", 0, 0, 1, 1, len(central), len(local), 0)
    return local + central + end


def blocks(deep: int, wide: int) -> bytes:
    doc = ezdxf.new("R2000", units=4)
    doc.blocks.new("B0").add_circle((0, 0), 5)
    for n in range(1, deep):
        block = doc.blocks.new(f"B{n}")
        for k in range(wide):
            block.add_blockref(f"B{n - 1}", (20 * k, 0))
    doc.modelspace().add_blockref(f"B{deep - 1}", (0, 0))
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode()


def ring_of_blocks() -> bytes:
    doc = ezdxf.new("R2000", units=4)
    doc.blocks.new("A").add_blockref("B", (1, 1))
    doc.blocks.new("B").add_blockref("A", (1, 1))
    doc.modelspace().add_blockref("A", (0, 0))
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode()


def xml(body: str, before: str = "") -> bytes:
    return f'{before}<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">{body}</svg>'.encode()


ENTITIES = '<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9)
) + "]>"  # fmt: skip
CORE = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'
TABLE = {
    "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
    "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
    "accessors": [{"componentType": 5126, "count": 3, "type": "VEC3"}],
}  # fmt: skip


def tabled(**changes: object) -> bytes:
    return glb(json.dumps({**TABLE, **changes}).encode())


def many_placed() -> bytes:
    """A table that places one mesh of 3,000 points two hundred thousand times."""
    points = np.random.default_rng(1).random((3000, 3)).astype("<f4").tobytes()
    nodes = 200_000
    made = {
        **TABLE, "nodes": [{"mesh": 0}] * nodes, "scenes": [{"nodes": list(range(nodes))}],
        "accessors": [{"componentType": 5126, "count": 3000, "type": "VEC3", "bufferView": 0}],
        "bufferViews": [{"buffer": 0, "byteLength": len(points)}], "buffers": [{"byteLength": len(points)}],
    }  # fmt: skip
    return glb(json.dumps(made).encode(), struct.pack("<I", len(points)) + b"BIN\0" + points)


def crossing(count: int) -> bytes:
    """One face of many corners that crosses itself over and over."""
    rng = np.random.default_rng(5)
    rows = [f"v {x:.6f} {y:.6f} 0" for x, y in rng.random((count, 2))]
    return ("\n".join(rows) + "\nf " + " ".join(map(str, range(1, count + 1))) + "\n").encode()


def bombs() -> dict[str, bytes]:
    """Files that ask for more than there is, by name."""
    sheet = b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\nproperty float x\nproperty float y\n"
    out = {
        "count.stl": b"\0" * 80 + struct.pack("<I", 4_000_000_000) + b"\0" * 100,
        "text.stl": b"solid a\nfacet normal 0 0 1\n" + b"vertex 0 0 0 " * 700_000,
        "count.ply": sheet + b"property float z\nend_header\n" + b"\0" * 100,
        "lists.ply": b"ply\nformat ascii 1.0\nelement vertex 1\nproperty list int int x\nproperty int y\n"
                     b"property int z\nelement face 1\nproperty list int int vertex_index\nend_header\n999999999 1\n",
        "null.ply": b"ply\nformat ascii 1.0\nelement junk 99999999999999\nelement vertex 0\nproperty float x\n"
                    b"property float y\nproperty float z\nend_header\n",
        "count.off": b"OFF\n4000000000 4000000000 0\n0 0 0\n",
        "corners.obj": crossing(3000),
        "hollow.obj": b"".join(b"v %d %d 0\n" % (k, (k * 7919) % 101) for k in range(60)) + b"f " + b" ".join(
            b"%d" % (k + 1) for k in range(60)) + b"\n",
        "groups.obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\n" + b"".join(b"g a%d\nf 1 2 3\n" % k for k in range(20_000)),
        "bomb.3mf": zipped(b"<model>" + b" " * 500_000_000),
        "liar.3mf": lying_zip(),
        "entities.3mf": zipped(f"{ENTITIES}<model {CORE}>&j;</model>".encode()),
        "deep.3mf": zipped(b"<a>" * 500_000),
        "nest.3mf": zipped((f"<model {CORE}><resources>" + "".join(
            f'<object id="{n}"><components>' + f'<component objectid="{n + 1}"/>' * 2 + "</components></object>"
            for n in range(2000)) + '</resources><build><item objectid="0"/></build></model>').encode()),
        "count.glb": tabled(accessors=[{"componentType": 5126, "count": 4_000_000_000, "type": "VEC3"}]),
        "buffer.glb": tabled(buffers=[{"byteLength": 4_000_000_000}]),
        "nodes.glb": tabled(nodes=[{"mesh": 0, "children": [1]}, {"children": [0]}]),
        "many.glb": many_placed(),
        "deep.glb": glb(b"[" * 200_000),
        "outside.gltf": json.dumps({**TABLE, "buffers": [{"uri": "/etc/passwd", "byteLength": 36}]}).encode(),
        "ring.dxf": ring_of_blocks(),
        "wide.dxf": blocks(9, 9),
        "deep.dxf": blocks(60, 1),
        "nest.svg": xml("<g>" * 100_000 + "</g>" * 100_000),
        "entities.svg": xml("&j;", ENTITIES),
        "ring.svg": xml('<g id="a"><use href="#b"/></g><symbol id="b"><use href="#a"/></symbol>'),
        "wide.svg": xml('<rect id="a0" width="9" height="9"/>' + "".join(
            f'<g id="a{n}">' + f'<use href="#a{n - 1}"/>' * 20 + "</g>" for n in range(1, 20))),
        "path.svg": xml('<path d="M0 0' + " C 1e9 9 -1e9 3 2 2" * 1500 + ' Z"/>'),
        "quote.csv": b'x [mm],y [mm]\n"' + b"0,0\n" * 200_000,
        "columns.csv": b"x,y" + b",z" * 300_000 + b"\n0,0\n1,0\n0,1\n",
        "count.step": b"ISO-10303-21;\nDATA;\n" + b"#1=CARTESIAN_POINT('',(0.,0.,0.));\n" * 30_000
                      + b"ENDSEC;\nEND-ISO-10303-21;\n",
        "deep.toml": PART.replace(b"[[0, 0]", b"[" * 5000 + b"[0, 0]"),
        "huge.png": png(60_000, 60_000),
        "large.png": png(4_000, 4_000),
    }  # fmt: skip
    if not find_spec("cascadio"):
        del out["count.step"]
    return out


def png(wide: int, high: int) -> bytes:
    """A black picture of so many pixels in a few kilobytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    packer = zlib.compressobj(9)
    row = b"\0" * (1 + wide)
    rows = min(high, 4_000)
    data = b"".join(packer.compress(row) for _ in range(rows)) + packer.flush()
    head = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


# ---- the reading


class Reader:
    """The one process that reads all files."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.files = folder, good()
        for name, (data, _) in self.files.items():
            (folder / f"good-{name}").write_bytes(data)
        self.child = subprocess.Popen(
            [sys.executable, str(HERE / "fuzzed.py"), str(SECONDS)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=HERE.parent, bufsize=1,
        )  # fmt: skip
        warm = [(str(folder / f"good-{name}"), words) for name, (_, words) in self.files.items()]
        ready = self.ask(warm, wait=120.0)
        assert ready["ended"] == "ready", ready

    def ask(self, question: object, wait: float = 3.0 * SECONDS) -> dict:
        """What the process answers; the test fails where it dies or says nothing for long."""
        assert self.child.stdin is not None
        assert self.child.stdout is not None
        self.child.stdin.write(json.dumps(question) + "\n")
        self.child.stdin.flush()
        if not select.select([self.child.stdout], [], [], wait)[0]:
            self.child.kill()
            pytest.fail(f"no answer after {wait:.0f} s: {str(question)[:200]}")
        line = self.child.stdout.readline()
        if not line:
            pytest.fail(f"the reader died ({self.child.wait()}): {str(question)[:200]}")
        answer: dict = json.loads(line)
        return answer

    def read(self, name: str, data: bytes, words: dict[str, str]) -> dict:
        path = self.folder / name
        path.write_bytes(data)
        return self.ask((str(path), words))


@pytest.fixture(scope="module")
def reader(tmp_path_factory):
    made = Reader(tmp_path_factory.mktemp("fuzz"))
    yield made
    made.child.stdin.close()
    made.child.wait(timeout=30)


FEW = {"a.step": 6, "photo.jpg": 8}
KINDS = [
    "b.stl", "a.stl", "a.obj", "a.ply", "b.ply", "a.off", "a.3mf", "a.glb", "a.dxf", "a.svg", "points.csv",
    "stations.csv", "part.toml", "a.step", "photo.jpg",
]  # fmt: skip


def bad_ones(found: list[tuple[str, dict]]) -> list[str]:
    """Those that fell, took too long or too much."""
    return [
        f"{name}: {answer['ended']} ({answer['seconds']:.1f} s, {answer['bytes'] / 1e9:.2f} GB)"
        for name, answer in found
        if answer["ended"].startswith("fell") or answer["seconds"] > SECONDS or answer["bytes"] > ROOM
    ]


@pytest.mark.parametrize("name", KINDS)
def test_damaged_files(reader, name):
    if name not in reader.files:
        pytest.skip("the library of this kind is not installed")
    data, words = reader.files[name]
    count = int(os.environ.get("LAYUP_FUZZ", FEW.get(name, 30)))
    rng = random.Random(f"layup {name}")
    found = []
    for number in range(count):
        damage = hurt
        if number % 2 and name == "a.3mf":
            damage = hurt_zip
        elif number % 2 and name == "a.glb":
            damage = hurt_table
        ended = reader.read(f"hurt-{number}.{name.rpartition('.')[2]}", damage(data, rng), words)
        found.append((f"hurt-{number}.{name}", ended))
    assert bad_ones(found) == []
    assert sum(answer["ended"].startswith("said") for _, answer in found) >= count // 6, "hardly any was damaged"


def test_hostile_files(reader):
    found = []
    for name, data in bombs().items():
        kind = {"toml": "part", "png": "photo", "jpg": "photo"}.get(name.rpartition(".")[2], "mesh")
        if kind == "photo" and "photo.jpg" not in reader.files:
            continue
        unit = {} if name.endswith((".3mf", ".glb", ".gltf", ".svg", ".step", ".dxf")) else {"unit": "mm"}
        found.append((name, reader.read(name, data, {"kind": kind, **unit})))
    assert bad_ones(found) == []
    read = {name for name, answer in found if answer["ended"] == "read"}
    assert read <= {"hollow.obj", "corners.obj", "groups.obj", "path.svg", "columns.csv"}


def test_the_limit_is_a_limit(reader):
    """The process that reads is really short of memory beyond 2 GB: numpy can't have 2.5 GB there."""
    code = "import sys, json\nsys.path.insert(0, 'tests')\nimport fuzzed\n"
    code += "fuzzed.area_of = lambda path, words: float(len(__import__('numpy').ones(int(words['kind']), 'u1')))\n"
    code += "fuzzed.main()\n"
    asked = "[]\n" + json.dumps(["a", {"kind": "2500000000"}]) + "\n" + json.dumps(["a", {"kind": "1000000000"}]) + "\n"
    ran = subprocess.run(
        [sys.executable, "-c", code, "9"], input=asked, capture_output=True, text=True, cwd=HERE.parent, check=True
    )
    ready, large, small = (json.loads(line) for line in ran.stdout.splitlines())
    assert ready["ended"] == "ready"
    assert large["ended"].startswith("fell: ")
    assert "MemoryError" in large["ended"]
    assert small["ended"] == "read"
    assert 1e9 < small["bytes"] < 1.6e9
