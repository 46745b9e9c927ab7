"""Makes the meshes of the example parts: python examples/make_meshes.py [FOLDER].

Every part is invented. Each is one open sheet, the mould side, with turned edges and cut-outs; its triangles
run anticlockwise when seen from the side that lies against the mould. The closed door is the same door as a
CAD program would give it: two skins 2 mm apart, joined at their edges.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from mesh_files import write_3mf, write_glb, write_obj, write_ply, write_stl
from plan_grid import Bend, Floats, Hole, Mesh, Profile, Rounded, Shape, Straight, circle, sheet, thickened


def smooth(share: Floats) -> Floats:
    """From 0 to 1 between 0 and 1, level and without bending at both ends."""
    t = np.clip(share, 0.0, 1.0)
    return t * t * t * (10 - t * (15 - 6 * t))


@dataclass(frozen=True)
class Part:
    """What one example part is made from; lengths in its own unit."""

    outline: Rounded
    holes: Sequence[Hole]
    shape: Shape
    edge: Profile
    inset: float
    cell: float
    grain: float

    def mesh(self, coarser: float = 1.0) -> Mesh:
        """The mould side as triangles."""
        return sheet(
            self.outline, self.holes, self.shape, self.edge,
            inset=self.inset, cell=self.cell * coarser, grain=self.grain,
        )  # fmt: skip


# Engine-bay door, left side, mm: x aft, y up the cowling from the hinge line, z out of the cowling.
LOUVRES = [(165.0, 255.0), (165.0, 335.0), (275.0, 255.0), (275.0, 335.0)]


def door_shape(x: Floats, y: Floats) -> Floats:
    """Crown of 1.5 m radius across and 5 m along; four louvres pressed outwards ahead of their slots."""
    z = np.sqrt(1500.0**2 - (y - 205) ** 2) - np.sqrt(1500.0**2 - 205**2) - (x - 310) ** 2 / 10000 + 8.0
    for cx, cy in LOUVRES:
        rise = smooth((x - cx + 52) / 45) * (1 - smooth((x - cx + 7) / 14))
        z = z + 9.0 * rise * (1 - smooth((np.abs(y - cy) - 8) / 22))
    return np.stack([x, y, z], axis=1)


DOOR = Part(
    outline=Rounded(310, 205, 604, 394, 55),
    holes=[
        *(Hole(Rounded(cx, cy, 14, 60, 7), margin=10) for cx, cy in LOUVRES),
        Hole(circle(460, 290, 64), margin=20, edge=[Bend(5, 90), Straight(6)]),
        Hole(Rounded(460, 110, 90, 44, 10), margin=18),
    ],
    shape=door_shape,
    edge=[Bend(8, 90), Straight(12)],
    inset=36,
    cell=4.7,
    grain=1e-3,
)


# Instrument hood, inches: x aft towards the pilots, y to the right, z up. The plan is (x, girth).
def arch(girth: Floats, slope: Callable[[Floats], Floats]) -> tuple[Floats, Floats]:
    """Distance across and away from level after each girth, for a curve given by its slope (radians)."""
    nodes, weights = np.polynomial.legendre.leggauss(48)
    shares = (nodes + 1) / 2
    angles = slope(girth[:, None] * shares)
    return girth * (np.cos(angles) @ weights) / 2, girth * (np.sin(angles) @ weights) / 2


def hood_slope(girth: Floats) -> Floats:
    """Nearly flat on top, round shoulders, steep sides."""
    shoulder = np.radians(62) * smooth((np.abs(girth) - 8) / 14)
    return np.sign(girth) * shoulder + np.radians(9) * girth / 22


def hood_shape(x: Floats, girth: Floats) -> Floats:
    """An arch that widens and rises towards the pilots, with a brow over the left-hand instruments."""
    across, down = arch(girth, hood_slope)
    size = 0.88 + 0.12 * smooth(x / 15)
    brow = 1.1 * np.exp(-(((girth + 8.5) / 5) ** 2)) * smooth(x / 15)
    return np.stack([x, size * across, 1.3 * (x / 15) ** 2 + brow - size * down], axis=1)


HOOD = Part(
    outline=Rounded(7.5, 0, 15, 46, 1.5),
    holes=[
        Hole(circle(7.0, 0, 3.125), margin=0.8, edge=[Bend(0.2, 90), Straight(0.25)]),
        Hole(circle(10.2, 8.5, 2.25), margin=0.7),
        Hole(circle(10.2, -8.5, 2.25), margin=0.7),
        Hole(Rounded(2.2, 8.5, 0.8, 9, 0.4), margin=0.5),
        Hole(Rounded(2.2, -8.5, 0.8, 9, 0.4), margin=0.5),
    ],
    shape=hood_shape,
    edge=[Bend(0.4, 90), Straight(0.55)],
    inset=1.0,
    cell=0.25,
    grain=1e-4,
)


# Baggage floor, metres: x aft, y to the right, z up. The mould side is the underside, so the plan is (y, x).
def floor_shape(y: Floats, x: Floats) -> Floats:
    """Dished across to the belly's 1.4 m radius, and sloping up behind the wing spar."""
    z = 1.4 - np.sqrt(1.4**2 - y**2) + 0.045 * smooth((x - 0.42) / 0.5)
    return np.stack([x, y, z], axis=1)


FLOOR = Part(
    outline=Rounded(0, 0.41, 0.56, 0.82, 0.07),
    holes=[
        Hole(Rounded(0, 0.21, 0.18, 0.13, 0.03), margin=0.03, edge=[Bend(0.008, 90), Straight(0.008)]),
        Hole(circle(0, 0.60, 0.09), margin=0.025),
        *(Hole(circle(y, x, 0.026), margin=0.014) for y in (-0.2, 0.2) for x in (0.08, 0.41, 0.74)),
    ],
    shape=floor_shape,
    edge=[Bend(0.015, 90), Straight(0.025)],
    inset=0.04,
    cell=0.0064,
    grain=1e-6,
)


# Belly cover, metres: x aft, y up, z to the left (glTF has y upwards). The plan is (girth, x).
def belly_slope(girth: Floats) -> Floats:
    """Flat keel, round chines."""
    chine = np.radians(60) * smooth((np.abs(girth) - 0.06) / 0.3)
    return np.sign(girth) * chine + np.radians(12) * girth / 0.42


def belly_shape(girth: Floats, x: Floats) -> Floats:
    """A trough that narrows and rises towards the tail, with a fairing bulge ahead of the wheel opening."""
    across, rise = arch(girth, belly_slope)
    size = 1.0 - 0.3 * smooth(x / 1.6)
    bulge = 0.022 * np.exp(-(((x - 0.5) / 0.26) ** 2) - (girth / 0.13) ** 2)
    return np.stack([x, size * rise + 0.05 * (x / 1.35) ** 2 - bulge, -size * across], axis=1)


BELLY = Part(
    outline=Rounded(0, 0.675, 0.84, 1.35, 0.08),
    holes=[
        Hole(Rounded(0, 0.5, 0.15, 0.36, 0.05), margin=0.04, edge=[Bend(0.008, 90), Straight(0.014)]),
        Hole(Rounded(0, 1.1, 0.16, 0.05, 0.02), margin=0.03),
        Hole(circle(0.22, 0.85, 0.05), margin=0.022),
        Hole(circle(0, 0.16, 0.012), margin=0.01),
        Hole(circle(0, 1.28, 0.012), margin=0.01),
    ],
    shape=belly_shape,
    edge=[Bend(0.006, 40), Bend(0.006, -40), Straight(0.028)],
    inset=0.05,
    cell=0.0108,
    grain=1e-6,
)


# Battery lid of the solar car, mm: x forwards, y to the left, z up.
def lid_shape(x: Floats, y: Floats) -> Floats:
    """A shallow dome with two ribs along it."""
    z = -(x**2) / 9000 - y**2 / 5200
    for rib in (-125.0, 125.0):
        away = np.hypot(np.maximum(np.abs(x) - 220, 0), y - rib)
        z = z + 6.0 * (1 - smooth((away - 3) / 22))
    return np.stack([x, y, z], axis=1)


LID = Part(
    outline=Rounded(0, 0, 640, 420, 45),
    holes=[
        *(Hole(Rounded(x, 0, 8, 46, 4), margin=9) for x in (-60.0, -20.0, 20.0, 60.0)),
        Hole(circle(-215, 0, 92), margin=22, edge=[Bend(5, 90), Straight(5)]),
        Hole(Rounded(215, 0, 76, 34, 8), margin=16),
    ],
    shape=lid_shape,
    edge=[Bend(12, 84), Straight(34), Bend(6, -84), Straight(18)],
    inset=32,
    cell=6.0,
    grain=1e-3,
)


KINDS = {".stl", ".obj", ".ply", ".glb", ".3mf"}
COARSER = 1.45
"""Cells of the closed door against those of the open one: it has two skins, and its file must stay small."""


def make_all(folder: Path) -> list[Path]:
    """Writes every mesh under the folder and returns the paths."""
    glider, car = folder / "motor-glider", folder / "solar-car"
    for place in (glider, car):
        place.mkdir(parents=True, exist_ok=True)
    write_stl(DOOR.mesh(), glider / "engine-bay-door.stl")
    write_stl(thickened(DOOR.mesh(COARSER), 2.0, DOOR.grain), glider / "engine-bay-door-solid.stl")
    write_obj(HOOD.mesh(), glider / "instrument-hood.obj", decimals=4)
    write_ply(FLOOR.mesh(), glider / "baggage-floor.ply")
    write_glb(BELLY.mesh(), glider / "belly-cover.glb", "belly cover")
    write_3mf(LID.mesh(), car / "battery-lid.3mf", "millimeter", decimals=3)
    return sorted(path for place in (glider, car) for path in place.iterdir() if path.suffix in KINDS)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    for made in make_all(target):
        print(f"{made.relative_to(target)}  {made.stat().st_size / 1e6:.2f} MB")
