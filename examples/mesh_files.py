"""Writes a mesh as STL, OBJ, PLY, GLB or 3MF, the same bytes on every run.

Written by hand, because mesh libraries put the hour and random names into some of these formats.
"""

from __future__ import annotations

import json
import struct
import zipfile
from pathlib import Path

import numpy as np
from plan_grid import Mesh

MADE = "made by examples/make_meshes.py; an invented part"


def write_stl(mesh: Mesh, path: Path) -> None:
    """Binary STL; the format has no unit."""
    corners = mesh.points[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.round(normals / np.linalg.norm(normals, axis=1, keepdims=True), 6) + 0.0
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    rows = np.zeros(len(corners), dtype=record)
    rows["normal"], rows["corners"] = normals, corners
    header = MADE.encode().ljust(80)
    path.write_bytes(header + struct.pack("<I", len(rows)) + rows.tobytes())


def write_obj(mesh: Mesh, path: Path, decimals: int) -> None:
    """Wavefront OBJ; the format has no unit."""
    lines = [f"# {MADE}"]
    lines += ["v " + " ".join(f"{x:.{decimals}f}" for x in row) for row in (mesh.points + 0.0).tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (mesh.triangles + 1).tolist()]
    path.write_bytes(("\n".join(lines) + "\n").encode())


def write_ply(mesh: Mesh, path: Path) -> None:
    """Binary PLY; the format has no unit."""
    head = (
        f"ply\nformat binary_little_endian 1.0\ncomment {MADE}\n"
        f"element vertex {len(mesh.points)}\nproperty float x\nproperty float y\nproperty float z\n"
        f"element face {len(mesh.triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    faces = np.zeros(len(mesh.triangles), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, mesh.triangles
    path.write_bytes(head.encode() + (mesh.points + 0.0).astype("<f4").tobytes() + faces.tobytes())


def write_glb(mesh: Mesh, path: Path, name: str) -> None:
    """Binary glTF 2.0: metres, and y upwards."""
    points = (mesh.points + 0.0).astype("<f4")
    numbers = mesh.triangles.astype("<u4")
    body = points.tobytes() + numbers.tobytes()
    content = {
        "asset": {"version": "2.0", "generator": MADE},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": name}],
        "meshes": [{"name": name, "primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "mode": 4}]}],
        "accessors": [
            {
                "bufferView": 0,
                "componentType": 5126,
                "count": len(points),
                "type": "VEC3",
                "min": points.min(axis=0).tolist(),
                "max": points.max(axis=0).tolist(),
            },
            {"bufferView": 1, "componentType": 5125, "count": numbers.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": points.nbytes, "target": 34962},
            {"buffer": 0, "byteOffset": points.nbytes, "byteLength": numbers.nbytes, "target": 34963},
        ],
        "buffers": [{"byteLength": len(body)}],
    }
    text = json.dumps(content, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + len(body)
    path.write_bytes(
        struct.pack("<4sII", b"glTF", 2, total)
        + struct.pack("<I4s", len(text), b"JSON")
        + text
        + struct.pack("<I4s", len(body), b"BIN\0")
        + body
    )


def write_3mf(mesh: Mesh, path: Path, unit: str, decimals: int) -> None:
    """3MF core: the one format here that carries its unit ("millimeter", "inch", ...)."""
    points = "".join(
        '<vertex x="{}" y="{}" z="{}"/>'.format(*(f"{x:.{decimals}f}" for x in row))
        for row in (mesh.points + 0.0).tolist()
    )
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist())
    # An open sheet is a "surface" object: a "model" object has to be a closed solid.
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="{unit}" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<metadata name="Description">{MADE}</metadata>'
        f'<resources><object id="1" type="surface"><mesh><vertices>{points}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>\n'
    )
    types = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        "</Types>\n"
    )
    links = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
    )
    members = {"[Content_Types].xml": types, "_rels/.rels": links, "3D/3dmodel.model": model}
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in members.items():
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            archive.writestr(entry, text.encode(), compresslevel=9)
