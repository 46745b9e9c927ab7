"""STEP files written here entity by entity (ISO 10303-21, AP214) against their closed forms.

Tolerances: a plane face is exact to the single precision in which the kernel hands over points, 1e-7 of the size; one
with a round hole, and the wall of the hole, to the facets: at 0.05 rad a step the wall is 0.05^2 / 24 = 1.04e-4 low.
"""

import random
import re
import subprocess
from importlib.util import find_spec
from math import pi
from pathlib import Path

import numpy as np
import pytest

from layup.errors import SurfaceError
from layup.files import read_step as module
from layup.files.read_step import MISSING, face_list, read_step, step_surface

needs_kernel = pytest.mark.skipif(
    find_spec("cascadio") is None, reason="the extra layup[step] (cascadio) is not installed"
)
FACET = 1.1e-4


def plate(length, width, thickness, bore, unit="mm", at=(0.0, 0.0, 0.0)):
    """Text of a STEP file: a plate in x, y, z from `at`, with a round hole through its middle along z."""
    rows = []

    def reals(values):
        return ",".join(repr(float(v)) for v in values)

    def add(text):
        rows.append(text)
        return f"#{len(rows)}"

    def point(p):
        return add(f"CARTESIAN_POINT('',({reals(p)}))")

    def direction(d):
        return add(f"DIRECTION('',({reals(d)}))")

    def vector(d):
        return add(f"VECTOR('',{direction(d)},1.0)")

    def edge_loop(edges_):
        return add(f"EDGE_LOOP('',({','.join(edges_)}))")

    def placement(p, z, x):
        return add(f"AXIS2_PLACEMENT_3D('',{point(p)},{direction(z)},{direction(x)})")

    def vertex(p):
        return add(f"VERTEX_POINT('',{point(p)})")

    x0, y0, z0 = at
    corners = {}
    for i, x in enumerate((0.0, length)):
        for j, y in enumerate((0.0, width)):
            for k, z in enumerate((0.0, thickness)):
                corners[i, j, k] = (x0 + x, y0 + y, z0 + z)
    vertices = {key: vertex(p) for key, p in corners.items()}
    edges = {}

    def edge(a, b):
        if (a, b) in edges:
            return edges[a, b], ".T."
        if (b, a) in edges:
            return edges[b, a], ".F."
        p, q = corners[a], corners[b]
        d = [v - u for u, v in zip(p, q, strict=True)]
        size = sum(v * v for v in d) ** 0.5
        line = add(f"LINE('',{point(p)},{vector([v / size for v in d])})")
        edges[a, b] = add(f"EDGE_CURVE('',{vertices[a]},{vertices[b]},{line},.T.)")
        return edges[a, b], ".T."

    def loop(keys):
        out = []
        for a, b in zip(keys, keys[1:] + keys[:1], strict=True):
            e, way = edge(a, b)
            out.append(add(f"ORIENTED_EDGE('',*,*,{e},{way})"))
        return edge_loop(out)

    cx, cy, r = x0 + length / 2, y0 + width / 2, bore / 2
    rims = []
    if bore:
        for z in (z0, z0 + thickness):
            v = vertex((cx + r, cy, z))
            circle = add(f"CIRCLE('',{placement((cx, cy, z), (0, 0, 1), (1, 0, 0))},{float(r)!r})")
            rims.append((v, add(f"EDGE_CURVE('',{v},{v},{circle},.T.)")))
    quads = [
        ([(0, 0, 0), (0, 1, 0), (1, 1, 0), (1, 0, 0)], (0, 0, -1), (1, 0, 0)),
        ([(0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)], (0, 0, 1), (1, 0, 0)),
        ([(0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1)], (0, -1, 0), (1, 0, 0)),
        ([(0, 1, 0), (0, 1, 1), (1, 1, 1), (1, 1, 0)], (0, 1, 0), (1, 0, 0)),
        ([(0, 0, 0), (0, 0, 1), (0, 1, 1), (0, 1, 0)], (-1, 0, 0), (0, 1, 0)),
        ([(1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1)], (1, 0, 0), (0, 1, 0)),
    ]
    faces = []
    for number, (keys, normal, x) in enumerate(quads):
        bounds = [add(f"FACE_OUTER_BOUND('',{loop(keys)},.T.)")]
        if bore and number < 2:
            way = ".T." if number == 0 else ".F."
            o = add(f"ORIENTED_EDGE('',*,*,{rims[number][1]},{way})")
            bounds.append(add(f"FACE_BOUND('',{edge_loop([o])},.T.)"))
        plane = add(f"PLANE('',{placement(corners[keys[0]], normal, x)})")
        faces.append(add(f"ADVANCED_FACE('',({','.join(bounds)}),{plane},.T.)"))
    if bore:
        line = add(f"LINE('',{point((cx + r, cy, z0))},{vector((0, 0, 1))})")
        seam = add(f"EDGE_CURVE('',{rims[0][0]},{rims[1][0]},{line},.T.)")
        turns = [(rims[0][1], ".F."), (seam, ".T."), (rims[1][1], ".T."), (seam, ".F.")]
        ring = [add(f"ORIENTED_EDGE('',*,*,{e},{way})") for e, way in turns]
        bound = add(f"FACE_OUTER_BOUND('',{edge_loop(ring)},.T.)")
        wall = add(f"CYLINDRICAL_SURFACE('',{placement((cx, cy, z0), (0, 0, 1), (1, 0, 0))},{float(r)!r})")
        faces.append(add(f"ADVANCED_FACE('',({bound}),{wall},.F.)"))
    shell = add(f"CLOSED_SHELL('',({','.join(faces)}))")
    solid = add(f"MANIFOLD_SOLID_BREP('plate',{shell})")
    if unit == "in":
        base = add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
        measure = add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{base})")
        dims = add("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
        length_unit = add(f"(CONVERSION_BASED_UNIT('INCH',{measure})LENGTH_UNIT()NAMED_UNIT({dims}))")
    else:
        prefix = {"mm": ".MILLI.", "m": "$", "cm": ".CENTI."}[unit]
        length_unit = add(f"(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT({prefix},.METRE.))")
    angle = add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
    solid_angle = add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
    sure = add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-7),{length_unit},'distance_accuracy_value','')")
    context = add(
        "(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((" + sure + "))"
        f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({length_unit},{angle},{solid_angle}))REPRESENTATION_CONTEXT('',''))"
    )
    origin = placement((0, 0, 0), (0, 0, 1), (1, 0, 0))
    shape = add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({origin},{solid}),{context})")
    app = add("APPLICATION_CONTEXT('automotive_design')")
    add(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{app})")
    context = add(f"PRODUCT_CONTEXT('',{app},'mechanical')")
    product = add(f"PRODUCT('plate','plate','',({context}))")
    formation = add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    context = add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{app},'design')")
    design = add(f"PRODUCT_DEFINITION('design','',{formation},{context})")
    holder = add(f"PRODUCT_DEFINITION_SHAPE('','',{design})")
    add(f"SHAPE_DEFINITION_REPRESENTATION({holder},{shape})")
    body = "\n".join(f"#{n}={row};" for n, row in enumerate(rows, 1))
    return (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
        "FILE_NAME('plate','2026-01-01T00:00:00',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\nENDSEC;\nDATA;\n"
        f"{body}\nENDSEC;\nEND-ISO-10303-21;\n"
    )


def written(tmp_path, *, unit="mm", at=(10.0, 20.0, 30.0), name="plate.step"):
    path = tmp_path / name
    path.write_text(plate(100.0, 60.0, 8.0, 20.0, unit, at))
    return path


class Rows:
    """The rows of a STEP text, for more to be added."""

    def __init__(self, text):
        self.head, body = text.split("DATA;\n")
        self.rows = re.findall(r"^#\d+=(.*);$", body, re.M)

    def add(self, row):
        self.rows.append(row)
        return f"#{len(self.rows)}"

    def of(self, start):
        return [f"#{number}" for number, row in enumerate(self.rows, 1) if row.startswith(start)]

    def text(self):
        body = "\n".join(f"#{number}={row};" for number, row in enumerate(self.rows, 1))
        return f"{self.head}DATA;\n{body}\nENDSEC;\nEND-ISO-10303-21;\n"


def coloured(text):
    """The solid in one colour, three of its faces in others."""
    made = Rows(text)
    styled = []
    faces = made.of("ADVANCED_FACE")
    for shade, item in enumerate((*made.of("MANIFOLD_SOLID_BREP"), faces[1], faces[4], faces[6])):
        last = made.add(f"COLOUR_RGB('',0.{shade},0.5,0.9)")
        for row in (
            "FILL_AREA_STYLE_COLOUR('',{})",
            "FILL_AREA_STYLE('',({}))",
            "SURFACE_STYLE_FILL_AREA({})",
            "SURFACE_SIDE_STYLE('',({}))",
            "SURFACE_STYLE_USAGE(.BOTH.,{})",
            "PRESENTATION_STYLE_ASSIGNMENT(({}))",
        ):
            last = made.add(row.format(last))
        styled.append(made.add(f"STYLED_ITEM('it''s blue; or so',({last}),{item})"))
    context = made.of("(GEOMETRIC_REPRESENTATION_CONTEXT")[0]
    made.add(f"MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',({','.join(styled)}),{context})")
    return made.text()


def assembly(text, *, mirror):
    """The plate where it is, and once more: turned by 90 degrees about z and moved by 200 along y, or mirrored in x."""
    made = Rows(text)
    add = made.add
    shape, context = made.of("ADVANCED_BREP_SHAPE_REPRESENTATION")[0], made.of("(GEOMETRIC_REPRESENTATION_CONTEXT")[0]
    frame = re.match(r"\D*(#\d+)", made.rows[int(shape[1:]) - 1])[1]
    piece, app = made.of("PRODUCT_DEFINITION('design'")[0], made.of("APPLICATION_CONTEXT")[0]
    x, y, z, back = (add(f"DIRECTION('',({axis}))") for axis in ("1.,0.,0.", "0.,1.,0.", "0.,0.,1.", "-1.,0.,0."))
    nought, far = add("CARTESIAN_POINT('',(0.,0.,0.))"), add("CARTESIAN_POINT('',(0.,200.,0.))")
    here, there = (add(f"AXIS2_PLACEMENT_3D('',{at},{z},{way})") for at, way in ((nought, x), (far, y)))
    moves = [add(f"ITEM_DEFINED_TRANSFORMATION('','',{frame},{to})") for to in (here, there)]
    if mirror:
        moves[1] = add(f"CARTESIAN_TRANSFORMATION_OPERATOR_3D('',$,$,{back},{y},{nought},1.,{z})")
    whole = add(f"SHAPE_REPRESENTATION('',({here},{there}),{context})")
    last = add(f"PRODUCT_CONTEXT('',{app},'mechanical')")
    last = add(f"PRODUCT('pair','pair','',({last}))")
    last = add(f"PRODUCT_DEFINITION_FORMATION('','',{last})")
    design = add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{app},'design')")
    pair = add(f"PRODUCT_DEFINITION('design','',{last},{design})")
    last = add(f"PRODUCT_DEFINITION_SHAPE('','',{pair})")
    add(f"SHAPE_DEFINITION_REPRESENTATION({last},{whole})")
    for number, move in enumerate(moves, 1):
        last = add(f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{number}','plate {number}','',{pair},{piece},$)")
        last = add(f"PRODUCT_DEFINITION_SHAPE('','',{last})")
        related = add(
            f"(REPRESENTATION_RELATIONSHIP('','',{shape},{whole})REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION({move})"
            "SHAPE_REPRESENTATION_RELATIONSHIP())"
        )
        add(f"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION({related},{last})")
    return made.text()


@needs_kernel
def test_colours_change_neither_faces_nor_their_numbers(tmp_path):
    path = written(tmp_path)
    plain = read_step(path, "plate.step")
    path.write_text(coloured(path.read_text()))
    found = read_step(path, "plate.step")
    assert np.array_equal(found.points, plain.points)
    assert np.array_equal(found.number, plain.number)
    assert found.kinds == plain.kinds


@needs_kernel
def test_an_assembly_of_coloured_pieces_turned_and_mirrored(tmp_path):
    path = written(tmp_path, name="pair.step")
    text = coloured(path.read_text())
    path.write_text(assembly(text, mirror=False))
    pair = read_step(path, "pair.step")
    assert len(np.unique(pair.number)) == 2 * 7
    sizes = []
    for name in ("plate 1", "plate 2"):
        corner = pair.points[pair.faces[pair.groups[name]]]
        sizes.append(
            0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1).sum()
        )
    plane = 2 * (100 * 60 + 160 * 8 - pi * 10**2)
    assert sizes == pytest.approx([plane + pi * 20 * 8] * 2, rel=FACET)
    # (x, y) goes to (-y, x + 200): 10 to 110 by 20 to 80
    turned = corner.reshape(-1, 3)
    assert [*turned.min(axis=0), *turned.max(axis=0)] == pytest.approx([-80, 210, 30, -20, 310, 38], abs=1e-4)
    path.write_text(assembly(text, mirror=True))
    with pytest.raises(SurfaceError, match="places 1 of its pieces mirrored"):
        read_step(path, "pair.step")


@needs_kernel
@pytest.mark.parametrize(("unit", "metre"), [("mm", 1e-3), ("cm", 1e-2), ("m", 1.0), ("in", 0.0254)])
def test_units_axes_and_area_by_face(tmp_path, unit, metre):
    path = written(tmp_path, unit=unit)
    step = read_step(path, "plate.step")
    assert step.unit == pytest.approx(metre, rel=1e-12)
    assert step.unit_reason.startswith(f"{unit}, ")
    # the axes are the file's: z stays z, y is not turned up
    assert step.points.min(axis=0) == pytest.approx((10.0, 20.0, 30.0), rel=1e-6)
    assert step.points.max(axis=0) == pytest.approx((110.0, 80.0, 38.0), rel=1e-6)
    top = step_surface(path, face="2", unit=unit)
    assert top.whole.area == pytest.approx((6000.0 - pi * 100.0) * metre**2, rel=1e-5)
    assert top.whole.centroid == pytest.approx(np.array((60.0, 50.0, 38.0)) * metre, rel=1e-6)
    assert top.perimeter == pytest.approx((320.0 + pi * 20.0) * metre, rel=FACET)
    side = step_surface(path, face="face 3")
    assert side.whole.area == pytest.approx(800.0 * metre**2, rel=1e-6)
    wall = step_surface(path, face="7")
    assert wall.whole.area == pytest.approx(pi * 20.0 * 8.0 * metre**2, rel=FACET)


@needs_kernel
def test_faces_by_number_and_by_touching(tmp_path):
    path = written(tmp_path)
    assert step_surface(path, face="touching (60 mm, 40 mm, 34 mm)").side == "face 7"
    assert step_surface(path, face="touching (20 mm, 30 mm, 30 mm)").side == "face 1"
    assert step_surface(path, face="touching (4.33 in, 50 mm, 34 mm)").side == "face 6"
    several = step_surface(path, face="3, 4 and 5")
    assert several.whole.area == pytest.approx((2 * 800 + 480) * 1e-6, rel=1e-6)
    assert set(several.groups) == {"face 3", "face 4", "face 5"}
    assert several.zone({"group": "face 5"}).area == pytest.approx(480e-6, rel=1e-6)
    assert "3 of 7 faces taken" in several.findings[0].text


@needs_kernel
def test_a_solid_of_flat_and_free_form_faces(tmp_path):
    """Of a free-form face the kernel says nothing, between what it says of the flat ones: that was "damaged"."""
    text = plate(100.0, 60.0, 8.0, 0.0)
    rows = re.findall(r"^#(\d+)=PLANE.*$", text, re.M)
    last = int(re.findall(r"^#(\d+)=", text, re.M)[-1])
    spots = [(0, 0, 0), (0, 0, 8), (100, 0, 0), (100, 0, 8)]  # the side at y = 0, as a B-spline of degree 1
    points = [f"#{last + n}=CARTESIAN_POINT('',({x}.,{y}.,{z}.));" for n, (x, y, z) in enumerate(spots, 1)]
    net = "".join(f"(#{last + n},#{last + n + 1})," for n in (3, 1))[:-1]
    free = f"B_SPLINE_SURFACE_WITH_KNOTS('',1,1,({net}),.UNSPECIFIED.,.F.,.F.,.F.,(2,2),(2,2),(0.,1.),(0.,1.),"
    text = re.sub(rf"^#{rows[2]}=PLANE.*$", f"#{rows[2]}={free}.UNSPECIFIED.);", text, flags=re.M)
    path = tmp_path / "mixed.step"
    path.write_text(text.replace("\nENDSEC;\nEND-ISO", "\n" + "\n".join(points) + "\nENDSEC;\nEND-ISO"))
    step = read_step(path, "mixed.step")
    (free_form,) = {1, 2, 3, 4, 5, 6} - set(step.kinds)
    assert step_surface(path, face=str(free_form)).whole.area == pytest.approx(800e-6, rel=1e-6)
    assert f"{free_form} (curved" in face_list(step)
    assert step_surface(path, face="1, 2, 3, 4, 5, 6").whole.area == pytest.approx(14560e-6, rel=1e-6)


def test_loose_curves_beside_a_solid_are_left_out_and_said(tmp_path, monkeypatch):
    """A kernel hands curves over as lines, which have no faces."""
    import trimesh

    solid = trimesh.creation.box((0.1, 0.06, 0.008))
    solid.face_attributes["brep_index"] = np.repeat(np.arange(6), 2)
    line = trimesh.load_path(np.array([[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]]))
    scene = trimesh.Scene([solid, line])
    monkeypatch.setattr(trimesh, "load_scene", lambda *_, **__: scene)
    monkeypatch.setattr(module, "_kernel", lambda *_: b"")
    path = tmp_path / "plate.step"
    path.write_text(plate(100.0, 60.0, 8.0, 0.0))
    step = read_step(path, "plate.step")
    assert len(step.faces) == 12
    assert "left out" in [finding.kind for finding in step.findings]


@needs_kernel
def test_every_face_together_closes(tmp_path):
    from layup.shape.topology import free_edges, reweld

    step = read_step(written(tmp_path), "plate.step")
    _, faces = reweld(step.points, step.faces)
    assert len(free_edges(faces)) == 0
    assert sorted(step.groups) == [f"face {n}" for n in range(1, 8)]
    assert step.kinds == {**dict.fromkeys(range(1, 7), "plane"), 7: "cylinder"}
    assert face_list(step).startswith("1 (plane, 0.005686 m^2")


@needs_kernel
@pytest.mark.parametrize(
    ("face", "words"),
    [
        ("9", r"no face 9\. Faces: 1 \(plane"),
        ("top", 'face "top" can\'t be read'),
        ("touching (0 mm, 0 mm, 0 mm)", "no face at .* face 1 is nearest, 37.42 mm away"),
        ("touching (10 mm, 50 mm, 38 mm)", "on the edge between faces 2 and 5"),
        ("touching (1, 2, 3)", "the point"),
        ("", "can't be read"),
    ],
)
def test_faces_that_can_not_be_picked(tmp_path, face, words):
    with pytest.raises(SurfaceError, match=words):
        step_surface(written(tmp_path), face=face)


@needs_kernel
def test_unit_that_disagrees(tmp_path):
    with pytest.raises(SurfaceError, match='unit = "in" was given, but the STEP file itself says mm'):
        step_surface(written(tmp_path), face="1", unit="in")


def test_without_the_extra_it_says_what_to_type(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "find_spec", lambda name: None)
    with pytest.raises(SurfaceError) as caught:
        read_step(written(tmp_path), "plate.step")
    assert MISSING in str(caught.value)
    assert "pip install cascadio" in str(caught.value)


def test_truncated_and_foreign_files(tmp_path):
    data = written(tmp_path).read_bytes()
    cases = {"not a STEP file": b"solid plate", "cut short": data[: len(data) // 2], "not a STEP": b""}
    for words, content in cases.items():
        (tmp_path / "x.step").write_bytes(content)
        with pytest.raises(SurfaceError, match=words):
            read_step(tmp_path / "x.step", "x.step")
    with pytest.raises(SurfaceError, match="can't be read"):
        read_step(tmp_path / "none.step", "none.step")


@needs_kernel
def test_a_face_that_is_lost_is_no_smaller_part(tmp_path):
    path = written(tmp_path)
    text = path.read_text()
    number = text[: text.index("=CYLINDRICAL_SURFACE")].rpartition("#")[2]
    path.write_text("\n".join(row for row in text.split("\n") if not row.startswith(f"#{number}=")))
    with pytest.raises(SurfaceError, match="damaged"):
        read_step(path, "plate.step")


def test_a_kernel_that_hangs_or_dies_ends_in_an_error(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "find_spec", lambda name: True)
    monkeypatch.setattr(module, "_KERNEL", "import os; os.abort()")
    with pytest.raises(SurfaceError, match="damaged, or without any surface"):
        read_step(written(tmp_path), "plate.step")
    monkeypatch.setattr(module, "_KERNEL", "import time; time.sleep(60)")
    monkeypatch.setattr(module, "PATIENCE", 0.2)
    with pytest.raises(SurfaceError, match="not read within"):
        read_step(written(tmp_path), "plate.step")


@needs_kernel
def test_sixty_damaged_files(tmp_path):
    data = written(tmp_path).read_bytes()
    rng, path, started = random.Random(1), Path(tmp_path / "f.step"), 0
    said: list[str] = []
    begin = subprocess.Popen

    def counted(*args, **more):
        nonlocal started
        started += 1
        return begin(*args, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module.subprocess, "Popen", counted)
        patch.setattr(module, "PATIENCE", 3.0)  # a coordinate made huge can keep the kernel busy for minutes
        for number in range(60):
            lines = data.split(b"\n")
            kind = number % 8
            if kind in (5, 6):  # rubbish over the head or foot: found without the kernel
                row = 0 if kind == 5 else -2
                lines[row] = bytes(rng.randrange(32, 127) for _ in lines[row])
            elif kind in (0, 1, 7):  # cut short
                out = bytearray(data[: rng.randrange(len(data))])
                lines = [bytes(out)]
            elif kind == 2:
                del lines[rng.randrange(8, len(lines) - 4)]
            elif kind == 3:
                at = rng.randrange(8, len(lines) - 4)
                lines[at] = lines[at].replace(b"0.0", rng.choice([b"1.E308", b"NAN", b"$", b"-9.E99"]), 1)
            else:
                row = bytearray(lines[at := rng.randrange(8, len(lines) - 4)])
                row[rng.randrange(len(row))] = rng.randrange(32, 127)
                lines[at] = bytes(row)
            path.write_bytes(b"\n".join(lines))
            try:
                step = read_step(path, "f.step")
                assert np.isfinite(step.points).all()
                assert step.faces.max() < len(step.points)
            except SurfaceError as problem:
                said.append(str(problem))
    assert len(said) > 24
    assert all(words.startswith("f.step") for words in said)
    assert started > 18
