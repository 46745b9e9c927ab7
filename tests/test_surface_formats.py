"""One parametric part, written in every mesh and CAD format, measures the same.

A plate 100 x 60 x 8 mm with a round hole of 20 mm through it, at (10, 20, 30) mm. The flat face has the closed form
L W - pi r^2, the wall of the hole 2 pi r t. The meshes are cut at the same angle as the CAD kernel cuts a STEP file,
0.05 rad a step (126 corners), so both are off by their facets: the hole's polygon is pi^2 2 / (3 n^2) = 4.1e-4 smaller
than the circle, which is 2.4e-5 of the face; the wall is pi^2 / (6 n^2) = 1.04e-4 low. Single precision adds 1e-6.
"""

from __future__ import annotations

import zipfile
from importlib.util import find_spec
from math import pi, sin

import numpy as np
import pytest
import trimesh
from test_surface_step import plate

from layup.files.read import read_surface

LONG, WIDE, THICK, BORE, AT = 100.0, 60.0, 8.0, 20.0, (10.0, 20.0, 30.0)
STEPS = 126
FACE = (LONG * WIDE - pi * BORE**2 / 4) * 1e-6
WALL = pi * BORE * THICK * 1e-6
FORMATS = ("stl", "ascii stl", "obj", "ply", "ascii ply", "off", "3mf", "glb", "gltf", "step")
"""What docs/surfaces.md calls the mesh and CAD formats."""
TOLD = {"3mf": "millimeter", "glb": "m", "gltf": "m", "step": "mm"}  # formats that carry a unit of their own


def meshed() -> trimesh.Trimesh:
    """The plate as triangles, in millimetres, its border welded."""
    import shapely

    angle = np.linspace(0.0, 2 * pi, STEPS, endpoint=False)
    ring = np.c_[LONG / 2 + BORE / 2 * np.cos(angle), WIDE / 2 + BORE / 2 * np.sin(angle)]
    edge = [(0.0, 0.0), (LONG, 0.0), (LONG, WIDE), (0.0, WIDE)]
    cells = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.Polygon(edge, [ring])))
    corners = shapely.get_coordinates(cells).reshape(-1, 4, 2)[:, :3]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    corners[turn < 0] = corners[turn < 0][:, ::-1]
    at = np.concatenate([edge, ring])
    place = {(x, y): n for n, (x, y) in enumerate(at.tolist())}
    flat = np.array([[place[x, y] for x, y in c] for c in corners.tolist()])
    many = len(at)
    walls = []
    for line in (np.arange(4), np.arange(4, many)[::-1]):  # the edge to the left, the hole to the right
        a, b = line, np.roll(line, -1)
        walls += [np.c_[a, b, b + many], np.c_[a, b + many, a + many]]
    faces = np.concatenate([flat[:, ::-1], flat + many, *walls])
    points = np.concatenate([np.c_[at, np.zeros(many)], np.c_[at, np.full(many, THICK)]]) + AT
    return trimesh.Trimesh(points, faces, process=False)


def write(folder, kind):
    """The plate in one format; the path, and the unit that has to be given."""
    if kind == "step":
        path = folder / "plate.step"
        path.write_text(plate(LONG, WIDE, THICK, BORE, "mm", AT))
        return path, None
    mesh = meshed()
    ending = kind.rpartition(" ")[2]
    path = folder / f"plate.{ending}"
    if kind in ("glb", "gltf"):
        mesh.apply_scale(1e-3)
    if kind == "gltf":
        for name, data in trimesh.Scene(mesh).export(file_type="gltf").items():
            (folder / name).write_bytes(data)
        return folder / "model.gltf", None
    if kind == "ascii stl":
        path.write_text(mesh.export(file_type="stl_ascii"))
    elif kind == "ascii ply":
        path.write_bytes(mesh.export(file_type="ply", encoding="ascii"))
    else:
        mesh.export(str(path))
    return path, None if kind in TOLD else "mm"


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    """Area of the upper face and of the wall of the hole, by format."""
    out = {}
    for kind in FORMATS:
        if kind == "step" and find_spec("cascadio") is None:
            continue
        path, unit = write(tmp_path_factory.mktemp(kind.replace(" ", "-")), kind)
        upper = read_surface(path, unit=unit, side="facing (0, 0, 1)")
        wall = read_surface(path, unit=unit, side="all")
        out[kind] = (upper, wall)
    return out


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_agrees_with_the_closed_form(table, kind):
    if kind not in table:
        pytest.skip("the extra layup[step] is not installed")
    upper, every = table[kind]
    assert upper.whole.area == pytest.approx(FACE, rel=2.4e-5 + 3e-6)
    assert upper.whole.centroid == pytest.approx((0.06, 0.05, 0.038), abs=2e-7)
    sides = 2 * (LONG + WIDE) * THICK * 1e-6
    assert every.whole.area == pytest.approx(2 * FACE + sides + WALL, rel=3e-5)
    assert every.whole.perimeter == 0.0
    if kind in TOLD:
        assert upper.unit == TOLD[kind]


def test_all_formats_agree_with_each_other(table):
    """To single precision among the meshes; the STEP to its facets, which start at another angle."""
    areas = {kind: upper.whole.area for kind, (upper, _) in table.items()}
    chord = (LONG * WIDE - STEPS / 2 * sin(2 * pi / STEPS) * BORE**2 / 4) * 1e-6
    for kind, area in areas.items():
        assert area == pytest.approx(chord, rel=2e-5 if kind == "step" else 1e-6), kind


def test_the_same_part_smaller_where_the_file_says_another_unit(tmp_path):
    """A 3MF in inches and a STEP in inches of the same numbers are 25.4 times as long."""
    path, _ = write(tmp_path, "3mf")
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    with zipfile.ZipFile(tmp_path / "inch.3mf", "w") as packed:
        for name, data in parts.items():
            packed.writestr(name, data.replace(b'unit="millimeter"', b'unit="inch"'))
    inch = read_surface(tmp_path / "inch.3mf", side="facing (0, 0, 1)")
    assert inch.whole.area == pytest.approx(FACE * 25.4**2, rel=3e-5)
    if find_spec("cascadio"):
        (tmp_path / "inch.step").write_text(plate(LONG, WIDE, THICK, BORE, "in", AT))
        step = read_surface(tmp_path / "inch.step", side="facing (0, 0, 1)")
        assert step.whole.area == pytest.approx(FACE * 25.4**2, rel=3e-5)
