"""A shop's folder full of traps: part files that try to reach a file beside the folder, by every key and every format.

Beside it lie files that are good to read, each with the same secret number in it, which must never come back.
"""

from __future__ import annotations

import base64
import json
import zipfile
from pathlib import Path

import numpy as np

SECRET = "5.4321987"
"""Stands in every file beside the shop's folder."""
TRIANGLE = np.array([[0, 0, 0], [400, 0, 0], [0, 300, 0]], dtype=np.float32)
HEAD = 'title = "{0}"\nprocess = "wet"\nresin = "epoxy, laminating"\n'
PLY = '[[ply]]\nfabric = "carbon plain 200"\n'


def gltf(buffer: str | None, image: str | None = None) -> bytes:
    """A triangle as glTF, its numbers in another file, or in itself."""
    data = TRIANGLE.tobytes() + np.arange(3, dtype=np.uint32).tobytes()
    uri = buffer or "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    table: dict[str, object] = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0}]}],
        "buffers": [{"byteLength": 48, "uri": uri}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}, {"buffer": 0, "byteOffset": 36, "byteLength": 12}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3", "min": [0, 0, 0], "max": [400, 300,
                0]},
            {"bufferView": 1, "componentType": 5125, "count": 3, "type": "SCALAR"},
        ],
        "materials": [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}} if image else {}}],
        **({"textures": [{"source": 0}], "images": [{"uri": image}]} if image else {}),
    }  # fmt: skip
    return json.dumps(table).encode()


def secrets(out: Path) -> None:
    """Files beside the shop's folder, each of them good to read, each with the secret number in it."""
    out.mkdir()
    (out / "secret.toml").write_text(
        f'title = "{SECRET}"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\narea = "{SECRET} m^2"\n' + PLY
    )
    (out / "secret.stl").write_text(
        f"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex {SECRET} 0 0\nvertex 0 1 0\nendloop\n"
        f"endfacet\nendsolid\n"
    )
    (out / "secret.obj").write_text(f"v 0 0 0\nv {SECRET} 0 0\nv 0 1 0\nf 1 2 3\n")
    (out / "secret.mtl").write_text(f"newmtl a\nmap_Kd {SECRET}.png\n")
    (out / "secret.bin").write_bytes(TRIANGLE.tobytes() + np.arange(3, dtype=np.uint32).tobytes())
    (out / "secret.csv").write_text(f"x,y,diameter\n0,0,{SECRET}\n1,0,{SECRET}\n0,1,{SECRET}\n")
    (out / "secret.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg"><path id="a" d="M0 0h{SECRET}v1z"/></svg>'
    )
    (out / "secret.dxf").write_text(
        f"0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n10\n0\n20\n0\n40\n{SECRET}\n0\nENDSEC\n0\nEOF\n"
    )
    (out / "secret.step").write_text(
        f"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n/*{SECRET}*/\nENDSEC;\nEND-ISO-10303-21;\n"
    )
    (out / "secret.cut.json").write_text(json.dumps({"layup": "cloth layouts", "fabrics": [], "note": SECRET}))
    (out / "secret.jpg").write_bytes(b"\xff\xd8\xff\xe0" + SECRET.encode())
    (out / "shop.sqlite").write_bytes(b"SQLite format 3\0" + SECRET.encode())


def traps(shop: Path, out: Path) -> list[str]:
    """Part files of the shop that try to reach a file beside it, by every key and through every kind of file."""
    parts: dict[str, str] = {}
    ways = {"up": "../out/secret{}", "whole": str(out) + "/secret{}", "link": "leads{}", "deep": "a/../../out/secret{}",
            "folder": "aside/secret{}", "dot": "./aside/../../out/secret{}"}  # fmt: skip
    for ending in (".stl", ".obj", ".mtl", ".bin", ".csv", ".svg", ".dxf", ".step", ".jpg", ".toml"):
        (shop / f"leads{ending}").symlink_to(out / f"secret{ending}")
    (shop / "aside").symlink_to(out)
    forms = {"mesh": (".stl", ".obj"), "step": (".step",), "outline": (".dxf", ".svg", ".csv"), "photo": (".jpg",),
             "stations": (".csv",), "girths": (".csv",)}  # fmt: skip
    for way, pattern in ways.items():
        for key, endings in forms.items():
            for ending in endings:
                unit = "" if key in ("photo", "step") else 'unit = "mm"\n'
                parts[f"{key}{ending}-{way}"] = f'[surface]\n{key} = "{pattern.format(ending)}"\n{unit}'
        area = '[surface]\nrectangle = ["1 m", "1 m"]\n'
        for key, more in (("holes", ""), ("fasteners", "")):
            for ending in (".csv", ".dxf"):
                parts[f"{key}{ending}-{way}"] = (
                    f'{area}[[{key}]]\nname = "a"\nfile = "{pattern.format(ending)}"\nunit = "mm"\n{more}'
                )
        parts[f"materials-{way}"] = f'materials = ["{pattern.format(".csv")}"]\n{area}'
    held = {
        "gltf-up.gltf": gltf("../out/secret.bin"), "gltf-quoted.gltf": gltf("%2e%2e/out/secret.bin"),
        "gltf-whole.gltf": gltf(str(out / "secret.bin")), "gltf-link.gltf": gltf("leads.bin"),
        "gltf-file.gltf": gltf(f"file://{out}/secret.bin"), "gltf-space.gltf": gltf(" ../out/secret.bin "),
        "gltf-image.gltf": gltf(None, "../out/secret.jpg"), "gltf-image-link.gltf": gltf(None, "leads.jpg"),
        "mtl.obj": b"mtllib ../out/secret.mtl\nusemtl a\nv 0 0 0\nv 400 0 0\nv 0 300 0\nf 1 2 3\n",
        "call.obj": b"call ../out/secret.obj\nv 0 0 0\nv 400 0 0\nv 0 300 0\nf 1 2 3\n",
    }  # fmt: skip
    for name, data in held.items():
        (shop / name).write_bytes(data)
        parts[f"through-{name}"] = f'[surface]\nmesh = "{name}"\n' + ('unit = "mm"\n' if name.endswith("obj") else "")
    entity = f'<!DOCTYPE s [<!ENTITY e SYSTEM "file://{out}/secret.csv"><!ENTITY % p SYSTEM "../out/secret.csv">%p;]>'
    box = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="9cm" height="9cm"'
    rect = '<rect width="300" height="200"/>'
    drawn = {
        "entity.svg": f"{entity}<svg {box}><text>&e;</text>{rect}</svg>",
        "entity16.svg": f'<?xml version="1.0" encoding="utf-16"?>{entity}<svg {box}>&e;{rect}</svg>',
        "use.svg": f'<svg {box}><use xlink:href="../out/secret.svg#a"/><use '
        f'href="file://{out}/secret.svg#a"/>{rect}</svg>',
        "image.svg": f'<svg {box}><image href="../out/secret.jpg" width="9" height="9"/>{rect}</svg>',
        "style.svg": f'<?xml-stylesheet href="../out/secret.csv"?><svg {box}><style>@import '
        f'url(../out/secret.csv);</style>{rect}</svg>',
        "include.svg": f'<svg {box}><xi:include xmlns:xi="http://www.w3.org/2001/XInclude" '
        f'href="../out/secret.svg"/>{rect}</svg>',
    }  # fmt: skip
    for name, text in drawn.items():
        (shop / name).write_bytes(text.encode("utf-16" if "16" in name else "utf-8"))
        parts[f"through-{name}"] = f'[surface]\noutline = "{name}"\nunit = "mm"\n'
    (shop / "xref.dxf").write_text(
        "0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n2\nx\n70\n4\n10\n0\n20\n0\n30\n0\n3\nx\n1\n../out/secret.dxf\n0\n"
        "ENDBLK\n0\nENDSEC\n"
        "0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\nx\n10\n0\n20\n0\n0\nCIRCLE\n10\n0\n20\n0\n40\n300\n0\nENDSEC\n0\nEOF\n"
    )
    parts["through-xref.dxf"] = '[surface]\noutline = "xref.dxf"\nunit = "mm"\n'
    mesh = ('<vertices><vertex x="0" y="0" z="0"/><vertex x="400" y="0" z="0"/><vertex x="0" y="300" z="0"/></vertices>'
            '<triangles><triangle v1="0" v2="1" v3="2"/></triangles>')  # fmt: skip
    model = ('<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
             f'<object id="1" name="{{0}}" type="model"><mesh>{mesh}</mesh></object></resources><build><item '
             f'objectid="1"/></build></model>')  # fmt: skip
    for name, before, said in (("entity.3mf", entity, "&e;"), ("plain.3mf", "", "a")):
        with zipfile.ZipFile(shop / name, "w") as packed:
            packed.writestr("3D/3dmodel.model", before + model.format(said))
            packed.writestr("../../out/dropped.model", model.format("dropped"))
            packed.writestr(
                "3D/_rels/3dmodel.model.rels",
                '<Relationships><Relationship Target="../../out/secret.stl"/></Relationships>',
            )
        parts[f"through-{name}"] = f'[surface]\nmesh = "{name}"\n'
    (shop / "outer.step").write_text(
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('a','',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n#1=DOCUMENT_FILE('../out/secret.step','',$,#2,'',$);\n"
        "#2=DOCUMENT_TYPE('geometry');\n#3=EXTERNAL_SOURCE(IDENTIFIER('../out/secret.step'));\nENDSEC;\n"
        "END-ISO-10303-21;\n"
    )
    parts["through-outer.step"] = '[surface]\nstep = "outer.step"\n'
    for name, text in parts.items():
        head, _, rest = text.partition("[surface]")
        (shop / f"{name}.toml").write_text(HEAD.format(name) + head + "[surface]" + rest + PLY)
    (shop / "leads-cut.toml").write_text(HEAD.format("cut") + '[surface]\nrectangle = ["1 m", "1 m"]\n' + PLY)
    (shop / "leads-cut.cut.json").symlink_to(out / "secret.cut.json")
    (shop / "kept").mkdir()
    (shop / "kept" / "shop.sqlite").symlink_to(out / "shop.sqlite")
    (shop / "kept" / "door.toml").write_text(HEAD.format("kept") + '[surface]\narea = "1 m^2"\n' + PLY)
    return sorted(f"{name}.toml" for name in parts)
