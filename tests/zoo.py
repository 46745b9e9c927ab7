"""A zoo of surfaces made with known truth: thin, thick, plugs, blocks, wings, ducts, nested, touching, crossing,
gapped, junctioned, ribbed, tabbed, noisy, broken, in every mesh format and STEP. Millimetres; each truth is worked out
from the shape, not read off.

Run it from anywhere, and it writes its table into docs/surfaces.md: python tests/zoo.py
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import trimesh
from solids import extruded, ribbed_sheet, rounded_sheet
from test_surface_step import plate

from layup.errors import SurfaceError
from layup.files.read import read_surface

PAGE = Path(__file__).parents[1] / "docs" / "surfaces.md"
START, END = "<!-- table: written by tests/zoo.py -->", "<!-- end of table -->"
RIGHT, ASKED, DOUBT, WRONG = "right", "asked about", "in doubt, and said", "silently wrong"
FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")


@dataclass
class Animal:
    """A made surface: what is asked of it, and what is true (m^2); None where any area would be wrong."""

    name: str
    mesh: trimesh.Trimesh | str  # the text of a file, where it is no mesh
    side: str | None
    truth: float | None
    format: str = "stl"

    def answer(self, folder: Path) -> tuple[str, str]:
        """What reading it comes to, and in which words or with which area."""
        path = folder / f"animal.{self.format}"
        if isinstance(self.mesh, str):
            path.write_text(self.mesh)
        else:
            mesh = self.mesh.copy()
            if self.format == "glb":
                mesh.apply_scale(1e-3)
            mesh.export(str(path))
        unit = None if self.format in ("glb", "3mf", "step") else "mm"
        try:
            found = read_surface(path, unit=unit, side=self.side)
        except SurfaceError as fault:
            return ASKED, str(fault)[len(str(path)) :][:110]
        area = found.whole.area
        told = f"{area:.5g} for {self.truth}"
        if self.truth is None:
            return WRONG, told
        if abs(area / self.truth - 1.0) < 0.01:
            return RIGHT, told
        doubt = max((abs(f.area_effect or 0.0) for f in found.findings if f.kind == "doubt"), default=0.0)
        return (DOUBT if abs(area - self.truth) <= doubt else WRONG), told


def mesh_of(points, faces) -> trimesh.Trimesh:
    return trimesh.Trimesh(np.asarray(points, dtype=float), np.asarray(faces), process=False)


def box(x, y, z, at=(0, 0, 0), fine=0) -> trimesh.Trimesh:
    made = trimesh.creation.box((x, y, z))
    for _ in range(fine):
        made = made.subdivide()
    made.apply_translation(at)
    return made


def chords(radius, turn, count) -> float:
    """Length of an arc drawn as so many chords."""
    return 2 * radius * np.sin(turn / count / 2) * count


def bent(radius, wall, turn, length, count):
    a = np.linspace(0, turn, count + 1)
    outer = np.c_[radius * np.cos(a), radius * np.sin(a)]
    inner = outer * (radius - wall) / radius
    return mesh_of(*extruded(np.concatenate([outer, inner[::-1]]), length, 6))


def channel(width, height, floor, side, length):
    """A channel open above: a floor and two upright sides. Outer line, inner line."""
    line = [(0, 0), (width, 0), (width, height), (width - side, height), (width - side, floor), (side, floor),
            (side, height), (0, height)]  # fmt: skip
    return mesh_of(*extruded(np.array(line, dtype=float), length, 8))


def wing_line(count, thick, camber, blunt):
    """Upper line from tail to nose and lower line back, chord 1: four-digit law, NACA Report 460, from memory."""
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, count)))
    y = 5 * thick * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4) + blunt * x
    mean = camber * (1 - (2 * x - 1) ** 2)
    return np.c_[x, mean + y][::-1], np.c_[x, mean - y][1:]


def wing(chord, span, count, thick, camber, blunt):
    upper, lower = wing_line(count, thick, camber, blunt)
    around = np.concatenate([upper, lower]) * chord
    skin = np.linalg.norm(np.diff(around, axis=0), axis=1).sum() * span
    over = np.linalg.norm(np.diff(upper * chord, axis=0), axis=1).sum() * span
    return mesh_of(*extruded(around if blunt else around[:-1], span, 5)), skin * 1e-6, over * 1e-6


def dome(radius, count):
    """Half a ball on a flat base, and its round area."""
    ball = trimesh.creation.uv_sphere(radius, count=(count, 2 * count))
    half = trimesh.intersections.slice_mesh_plane(ball, (0, 0, 1), (0, 0, 0), cap=False)
    half.merge_vertices()
    rim = half.outline().discrete[0][:-1]
    area = half.area
    base = np.array([[[0, 0, 0], a, b] for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)])
    both = np.concatenate([half.triangles, base])
    made = mesh_of(both.reshape(-1, 3), np.arange(3 * len(both)).reshape(-1, 3))
    made.merge_vertices()
    trimesh.repair.fix_normals(made)
    return made, area * 1e-6


def sheet(nx=40, ny=30, wide=400.0, high=300.0, bow=30.0):
    x, y = np.meshgrid(np.linspace(0, wide, nx + 1), np.linspace(0, high, ny + 1), indexing="ij")
    p = np.stack([x, y, bow * np.sin(x / 120) * np.cos(y / 150)], axis=-1).reshape(-1, 3)
    i = np.arange(len(p)).reshape(nx + 1, ny + 1)
    a, b, c, d = (v.ravel() for v in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    return mesh_of(p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))


def soup(mesh, gap, seed=0):
    t = mesh.triangles + np.random.default_rng(seed).uniform(-gap, gap, mesh.triangles.shape) / 2
    return mesh_of(t.reshape(-1, 3), np.arange(3 * len(t)).reshape(-1, 3))


def plates():
    for x, y, z in ((300, 200, 2), (300, 200, 6), (100, 60, 4), (1200, 40, 3), (60, 40, 1.5), (500, 500, 12)):
        for side in ("outer", "facing (0, 0, 1)", f"touching (0 mm, 0 mm, {z / 2} mm)"):
            yield Animal(f"plate {x}x{y}x{z}", box(x, y, z, fine=1), side, x * y * 1e-6)
    for wide in (3.0, 6.0, 20.0):
        plan = [(0, 0), (200, 0), (200, 50), (220, 50), (220, 50 + wide), (200, 50 + wide), (200, 100), (0, 100)]
        made = mesh_of(*extruded(np.array(plan, dtype=float), 3.0, 1))
        yield Animal(f"tabbed {wide}", made, "outer", (20_000 + 20 * wide) * 1e-6)
        yield Animal(f"tabbed {wide}", made, "facing (1, 0, 0)", (20_000 + 20 * wide) * 1e-6)


def bent_sheets():
    for radius, wall in ((300, 2), (300, 8), (100, 3), (1000, 4), (60, 5)):
        made = bent(radius, wall, 1.6, 400, 48)
        yield Animal(f"bent R{radius} t{wall}", made, "outer", chords(radius, 1.6, 48) * 400e-6)
        yield Animal(f"bent R{radius} t{wall}", made, "inner", chords(radius - wall, 1.6, 48) * 400e-6)
    for wide, high, t, length in ((300, 60, 2, 400), (100, 100, 3, 500), (600, 20, 4, 300), (200, 150, 5, 600)):
        made = channel(wide, high, t, t, length)
        inner = (wide - 2 * t + 2 * (high - t)) * length * 1e-6
        for side in ("outer", "facing (0, 0, -1)"):
            yield Animal(f"channel {wide}x{high}x{t}", made, side, (wide + 2 * high) * length * 1e-6)
        for side in ("inner", "facing (0, 0, 1)"):
            yield Animal(f"channel {wide}x{high}x{t}", made, side, inner)
        yield Animal(f"channel {wide}x{high}x{t}", made, "facing (0, 1, 0)", None)
    for side in (6.0, 10.0, 15.0):
        yield Animal(f"channel with sides of {side}", channel(300, 60, 2, side, 400), "outer", 420 * 400e-6)
        yield Animal(f"channel with sides of {side}", channel(300, 60, 2, side, 400), "facing (0, 0, -1)", 420 * 400e-6)
    points, faces = rounded_sheet(80, 20)
    yield Animal("round edges", mesh_of(points, faces), "outer", chords(300, 2.0, 79) * 500e-6)
    for count in (30, 80):
        made = mesh_of(*ribbed_sheet(count, 12))
        yield Animal("ribbed", made, "facing (0, 0, 1)", 0.2)
        yield Animal("ribbed", made, "facing (0, 0, -1)", 0.196)
        yield Animal("ribbed", made, "outer", 0.2)


def ducts():
    for radius, wall, length in ((50, 2, 300), (100, 5, 200), (20, 1, 500), (12, 3, 100)):
        made = trimesh.creation.annulus(radius - wall, radius, length, sections=64)
        yield Animal(f"tube R{radius} t{wall}", made, "outer", chords(radius, 2 * np.pi, 64) * length * 1e-6)
        yield Animal(f"tube R{radius} t{wall}", made, "inner", chords(radius - wall, 2 * np.pi, 64) * length * 1e-6)
        yield Animal(f"tube R{radius} t{wall}", made, "facing (0, 0, 1)", None)
    for radius, wall in ((100, 3), (100, 15), (40, 2)):
        ball = trimesh.creation.icosphere(3, radius)
        inside = trimesh.creation.icosphere(3, radius - wall)
        inside.invert()
        both = trimesh.util.concatenate((ball, inside))
        yield Animal(f"hollow ball R{radius} t{wall}", both, "outer", ball.area * 1e-6)
        yield Animal(f"hollow ball R{radius} t{wall}", both, "inner", inside.area * 1e-6)


def blocks():
    for radius, length, count in ((60, 1000, 36), (60, 1000, 12), (150, 400, 60), (30, 2000, 24)):
        turn = np.linspace(0, np.pi, count + 1)
        made = mesh_of(*extruded(np.c_[radius * np.cos(turn), radius * np.sin(turn)], length, 4))
        skin = chords(radius, np.pi, count) * length * 1e-6
        for side in ("outer", "inner"):
            yield Animal(f"half cylinder R{radius}", made, side, skin)
        yield Animal(f"half cylinder R{radius}", made, "facing (0, 0, 1)", skin)
        yield Animal(f"half cylinder R{radius}", made, "facing (0, 0, -1)", 2 * radius * length * 1e-6)
    for radius, count in ((100, 24), (300, 40)):
        made, skin = dome(radius, count)
        for side in ("outer", "facing (0, 0, 1)", f"touching (0 mm, 0 mm, {radius} mm)"):
            yield Animal(f"dome R{radius}", made, side, skin)
    for x, y, z in ((300, 200, 100), (100, 100, 100), (500, 80, 60)):
        for side in ("outer", "inner"):
            yield Animal(f"block {x}x{y}x{z}", box(x, y, z), side, None)
        yield Animal(f"block {x}x{y}x{z}", box(x, y, z), "facing (0, 0, 1)", x * y * 1e-6)
    ball = trimesh.creation.icosphere(4, 100)
    for side, truth in (("outer", ball.area * 1e-6), ("facing (0, 0, 1)", ball.area * 0.5e-6),
                        ("touching (0 mm, 0 mm, 100 mm)", ball.area * 1e-6)):  # fmt: skip
        yield Animal("ball", ball, side, truth)
    for depth in (20, 40):  # a mould: a trough in a block
        turn = np.linspace(np.pi, 2 * np.pi, 41)
        hollow = np.c_[90 * np.cos(turn), depth * np.sin(turn)]
        line = np.concatenate([hollow, [(150, 0), (150, -80), (-150, -80), (-150, 0)]])
        made = mesh_of(*extruded(line, 600, 5))
        skin = np.linalg.norm(np.diff(hollow, axis=0), axis=1).sum() * 600e-6
        yield Animal(f"mould, trough of {depth}", made, "outer", None)
        yield Animal(f"mould, trough of {depth}", made, f"touching (300 mm, 0 mm, {-depth} mm)", skin)


def wings():
    for chord, span, count, thick, camber, blunt in (
        (250, 600, 60, 0.12, 0.04, 0.0), (250, 600, 60, 0.12, 0.0, 0.0), (250, 600, 20, 0.12, 0.04, 0.0),
        (1000, 3000, 80, 0.09, 0.02, 0.0), (250, 600, 60, 0.18, 0.0, 0.004), (250, 600, 60, 0.06, 0.02, 0.002),
        (400, 400, 100, 0.15, 0.06, 0.0), (200, 1500, 40, 0.05, 0.03, 0.002),
    ):  # fmt: skip
        made, skin, over = wing(chord, span, count, thick, camber, blunt)
        for side in ("outer", "inner"):
            yield Animal(f"wing {thick} {camber} {blunt} {count}", made, side, skin)
        yield Animal(f"wing {thick} {camber} {blunt} {count}", made, "facing (0, 0, 1)", over)


def bodies():
    a = box(200, 100, 80)
    for name, b in (
        ("nested", box(50, 40, 30)), ("touching", box(200, 100, 80, (200, 0, 0))),
        ("touching in part", box(200, 60, 40, (200, 10, 7))), ("crossing", box(100, 50, 200, (60, 10, 0))),
        ("touching below", box(80, 80, 80, (0, 0, -80))),
    ):  # fmt: skip
        for side in ("outer", "facing (0, 0, 1)"):
            yield Animal(f"bodies {name}", trimesh.util.concatenate((a, b)), side, None)
    flat, more = box(300, 200, 2), box(300, 200, 2, (0, 400, 0))
    for side in ("outer", "facing (0, 0, 1)"):
        yield Animal("two plates apart", trimesh.util.concatenate((flat, more)), side, 0.12)
    three = trimesh.util.concatenate([box(100, 100, 2, (0, 0, 100 * n)) for n in range(3)])
    yield Animal("three plates over each other", three, "facing (0, 0, 1)", 0.03)
    case = [box(200, 100, 4, (0, 0, 48)), box(200, 100, 4, (0, 0, -48)), box(4, 100, 92, (98, 0, 0)),
            box(4, 100, 92, (-98, 0, 0))]  # fmt: skip
    for side in ("outer", "facing (0, 0, 1)"):
        yield Animal("a case of plates", trimesh.util.concatenate(case), side, None)


def open_shells():
    plain = sheet()
    yield Animal("open sheet", plain, None, plain.area * 1e-6)
    for gap in (1e-5, 1e-4, 1e-3, 5e-3):
        yield Animal(f"gaps {gap}", soup(plain, gap), None, plain.area * 1e-6)
    fine = sheet(80, 60)
    left = plain.triangles[plain.triangles[..., 0].max(axis=1) <= 200.01]
    right = fine.triangles[fine.triangles[..., 0].min(axis=1) >= 199.99]
    both = np.concatenate([left, right])
    joint = mesh_of(both.reshape(-1, 3), np.arange(3 * len(both)).reshape(-1, 3))
    yield Animal("junctions", joint, None, float(joint.area) * 1e-6)
    slit = plain.triangles.copy()
    slit[slit[..., 0].min(axis=1) >= 199.99, :, 0] += 0.05
    yield Animal(
        "slit", mesh_of(slit.reshape(-1, 3), np.arange(slit.size // 3).reshape(-1, 3)), None, plain.area * 1e-6
    )
    twice = mesh_of(plain.vertices, np.concatenate([plain.faces, plain.faces]))
    yield Animal("every face twice", twice, None, plain.area * 1e-6)
    wrong = plain.faces.copy()
    wrong[::3] = wrong[::3, ::-1]
    yield Animal("wound at random", mesh_of(plain.vertices, wrong), None, plain.area * 1e-6)
    skins = bent(300, 3, 1.6, 400, 48)
    inside = np.linalg.norm(skins.triangles[..., 1:], axis=2)
    rim = ~((inside > 299.9).all(axis=1) | (inside < 297.2).all(axis=1))
    loose = mesh_of(skins.vertices, skins.faces[~rim])
    yield Animal("two skins without a rim", loose, "outer", chords(300, 1.6, 48) * 400e-6)
    yield Animal("two skins without a rim", loose, None, None)
    for wall in (2.0, 4.0):
        made = bent(300, wall, 1.6, 400, 48)
        for gap in (1e-4, 1e-3):
            yield Animal(f"gapped solid t{wall} {gap}", soup(made, gap), "outer", chords(300, 1.6, 48) * 400e-6)


def scans():
    """Noise of 0.05 to 1 mm on meshes of 1 to 5 mm; in two, one face in fifty has dropped out."""
    rng = np.random.default_rng(8)
    for edge in (1.0, 2.0, 5.0):
        plain = sheet(60, 40, 60 * edge, 40 * edge, 6 * edge)
        for noise in (0.05, 0.1, 0.2, 0.5, 1.0):
            made = mesh_of(plain.vertices + rng.normal(0, noise, plain.vertices.shape), plain.faces)
            yield Animal(f"noise {noise} on {edge}", made, None, plain.area * 1e-6)
    for noise in (0.0, 0.2):
        made = mesh_of(plain.vertices + rng.normal(0, noise, plain.vertices.shape), plain.faces)
        made.update_faces(rng.random(len(made.faces)) > 0.02)
        yield Animal(f"drop-outs, noise {noise}", made, None, plain.area * 1e-6)


def wrecks():
    rng = np.random.default_rng(9)
    plain = sheet(60, 45)
    t = plain.triangles
    row = np.unique(t.reshape(-1, 3)[np.abs(t.reshape(-1, 3)[:, 1] - 100.0) < 1e-9], axis=0)
    a, b, down = row[:-1], row[1:], np.array([0.0, 0.0, -30.0])
    for name, made in (
        ("gaps", t[rng.random(len(t)) > 0.04]),
        ("half of it scanned twice", np.concatenate([t, t[t[..., 0].max(axis=1) < 150] + [0.3, 0.2, 0.8]])),
        ("strewn", np.concatenate([t, t[rng.choice(len(t), 90)] + rng.normal(0, 200, (90, 1, 3))])),
        ("a rib left on", np.concatenate([t, np.stack([a, b, b + down], 1), np.stack([a, b + down, a + down], 1)])),
    ):
        yield Animal(
            name, mesh_of(made.reshape(-1, 3), np.arange(made.size // 3).reshape(-1, 3)), None, plain.area * 1e-6
        )


def formats():
    """The same shapes in every format."""
    for kind in FORMATS[1:]:
        yield Animal("bent", bent(300, 3, 1.6, 400, 48), "outer", chords(300, 1.6, 48) * 400e-6, kind)
        yield Animal("plug", dome(100, 24)[0], "outer", dome(100, 24)[1], kind)
        yield Animal("open", sheet(), None, sheet().area * 1e-6, kind)
    if find_spec("cascadio") is not None:
        for wall, bore in ((3.0, 0.0), (4.0, 60.0), (90.0, 40.0)):
            face = (240 * 160 - np.pi * bore**2 / 4) * 1e-6
            for side in ("outer", "facing (0, 0, 1)"):
                truth = None if side == "outer" and wall > 50 else face
                yield Animal(f"plate of {wall}", plate(240.0, 160.0, wall, bore), side, truth, "step")


FAMILIES = {
    "thin plates, some with tabs": plates,
    "bent sheets, channels, ribs": bent_sheets,
    "tubes, hollow balls": ducts,
    "plugs, blocks, moulds": blocks,
    "solid wings": wings,
    "several bodies": bodies,
    "open shells, gaps, slits": open_shells,
    "scans, 0.05 to 1 mm of noise": scans,
    "wrecks": wrecks,
    "OBJ, PLY, OFF, GLB, 3MF, STEP": formats,
}


@dataclass
class Tour:
    """All families read: the tally of each, and what was asked or wrong."""

    tally: dict[str, Counter[str]] = field(default_factory=dict)
    said: list[tuple[str, str]] = field(default_factory=list)

    @classmethod
    def taken(cls) -> Tour:
        tour = cls()
        with TemporaryDirectory() as folder:
            for family, animals in FAMILIES.items():
                tour.tally[family] = Counter()
                for one in animals():
                    kind, words = one.answer(Path(folder))
                    tour.tally[family][kind] += 1
                    if kind != RIGHT:
                        tour.said.append((kind, f"{one.name}, {one.side}, {one.format}: {words}"))
        return tour

    def all(self) -> Counter[str]:
        return sum(self.tally.values(), Counter())

    def table(self) -> str:
        rows = [["surfaces made", "read", RIGHT, ASKED, DOUBT, WRONG], ["---"] * 6]
        for family, tally in [*self.tally.items(), ("all", self.all())]:
            rows.append([family, str(tally.total()), *(str(tally[kind]) for kind in (RIGHT, ASKED, DOUBT, WRONG))])
        return "\n".join(f"| {' | '.join(row)} |" for row in rows)


if __name__ == "__main__":
    tour = Tour.taken()
    print(tour.table(), *(f"{kind}: {words}" for kind, words in tour.said), sep="\n")
    page = PAGE.read_text()
    start, end = page.index(START) + len(START), page.index(END)
    PAGE.write_text(f"{page[:start]}\n\n{tour.table()}\n\n{page[end:]}")
