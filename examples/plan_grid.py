"""Sheets of triangles for the example parts: a grid in a plan, bent into space, its edges turned.

A part starts as a plan in two coordinates (u, v): a round-cornered outline with round-cornered holes.
The plan is cut into a core of straight grid lines, a ring of cells from the core out to the outline, and a
ring of cells from a window of the core in to each hole; so every edge of the part is a line of the grid, with
no stair steps. A shape function bends the plan into space. A turned edge is a profile (bends and straights)
swept along an edge. Points are shared between neighbours by number, so a seam cannot open.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shape = Callable[[Floats, Floats], Floats]
"""Bends plan coordinates u, v (shape n each) into points (n, 3); the mould side is where P_u x P_v points."""


@dataclass(frozen=True)
class Bend:
    """An arc of a turned edge; positive angles turn away from the mould side. [length, degrees]"""

    radius: float
    angle: float


@dataclass(frozen=True)
class Straight:
    """A straight length of a turned edge."""

    length: float


Profile = Sequence[Bend | Straight]


@dataclass(frozen=True)
class Rounded:
    """A rectangle with round corners about (cx, cy); a circle or a slot where the radius is half a side."""

    cx: float
    cy: float
    width: float
    height: float
    radius: float

    def side(self, number: int, fraction: Floats) -> tuple[Floats, Floats]:
        """Points and outward normals along side 0 bottom, 1 right, 2 top or 3 left.

        Fraction 0 is the middle of the side's first corner and 1 of its last, anticlockwise.
        """
        along = np.array([(1, 0), (0, 1), (-1, 0), (0, -1)][number], dtype=float)
        out = np.array([along[1], -along[0]])
        length, depth = (self.width, self.height) if number % 2 == 0 else (self.height, self.width)
        straight = length - 2 * self.radius
        half_corner = self.radius * np.pi / 4
        run = fraction * (straight + 2 * half_corner) - half_corner
        turn = (np.minimum(run, 0) + np.maximum(run - straight, 0)) / self.radius
        normal = np.sin(turn)[:, None] * along + np.cos(turn)[:, None] * out
        centre = (np.clip(run, 0, straight) - straight / 2)[:, None] * along + (depth / 2 - self.radius) * out
        return np.array([self.cx, self.cy]) + centre + self.radius * normal, normal

    def loop(self, fractions: Sequence[Floats]) -> tuple[Floats, Floats]:
        """Points and outward normals anticlockwise round the curve, one array of fractions for each side."""
        sides = [self.side(number, fraction) for number, fraction in enumerate(fractions)]
        points, normals = zip(*sides, strict=True)
        return np.concatenate(points), np.concatenate(normals)

    def contains(self, u: Floats, v: Floats) -> NDArray[np.bool_]:
        """Whether points of the plan lie inside the curve."""
        du = np.maximum(np.abs(u - self.cx) - (self.width / 2 - self.radius), 0)
        dv = np.maximum(np.abs(v - self.cy) - (self.height / 2 - self.radius), 0)
        return np.hypot(du, dv) <= self.radius


def circle(cx: float, cy: float, diameter: float) -> Rounded:
    """A round hole."""
    return Rounded(cx, cy, diameter, diameter, diameter / 2)


@dataclass(frozen=True)
class Hole:
    """A cut-out, the width of the window of the grid around it, and its turned edge if it has one."""

    curve: Rounded
    margin: float
    edge: Profile = ()


@dataclass
class _Edge:
    """A free edge with the sheet on its left: its points by number, directions out of the sheet."""

    points: Ints
    out: Floats


@dataclass
class _Builder:
    points: list[Floats] = field(default_factory=list)
    quads: list[Ints] = field(default_factory=list)
    size: int = 0

    def add(self, points: Floats) -> Ints:
        numbers = np.arange(self.size, self.size + len(points))
        self.points.append(points)
        self.size += len(points)
        return numbers

    def strip(self, inner: Ints, outer: Ints) -> None:
        """Cells between two closed loops of equal length; the sheet is on the left of the inner loop."""
        self.quads.append(np.stack([inner, outer, np.roll(outer, -1), np.roll(inner, -1)], axis=1))

    def ring(self, start: Ints, start_points: Floats, end_points: Floats, cell: float) -> Ints:
        """Cells from a loop of known points to new points, in steps of about one cell."""
        layers = max(1, round(float(np.linalg.norm(end_points - start_points, axis=1).mean()) / cell))
        loop = start
        for step in range(1, layers + 1):
            share = step / layers
            numbers = self.add((1 - share) * start_points + share * end_points)
            self.strip(loop, numbers)
            loop = numbers
        return loop


def _lines(stops: Sequence[float], cell: float) -> Floats:
    """Grid lines through all stops, about one cell apart."""
    known = sorted({round(stop, 9) for stop in stops})
    runs = [np.linspace(a, b, max(1, round((b - a) / cell)), endpoint=False) for a, b in pairwise(known)]
    return np.concatenate([*runs, [known[-1]]])


def _rectangle(numbers: Ints) -> list[Ints]:
    """The four sides of a block of grid points (rows by v), anticlockwise, each without its last point."""
    return [numbers[0, :-1], numbers[:-1, -1], numbers[-1, :0:-1], numbers[:0:-1, 0]]


def _plan(outline: Rounded, holes: Sequence[Hole], inset: float, cell: float) -> tuple[_Builder, list[_Edge]]:
    """Points, cells and free edges of the plan: the outline first, then the holes in their order."""
    spans = [
        (h.curve.cx - h.curve.width / 2 - h.margin, h.curve.cx + h.curve.width / 2 + h.margin,
         h.curve.cy - h.curve.height / 2 - h.margin, h.curve.cy + h.curve.height / 2 + h.margin)
        for h in holes
    ]  # fmt: skip
    half_u, half_v = outline.width / 2 - inset, outline.height / 2 - inset
    us = _lines([outline.cx - half_u, outline.cx + half_u, *(s for span in spans for s in span[:2])], cell)
    vs = _lines([outline.cy - half_v, outline.cy + half_v, *(s for span in spans for s in span[2:])], cell)
    grid = np.stack(np.meshgrid(us, vs), axis=-1)
    build = _Builder()
    numbers = build.add(grid.reshape(-1, 2)).reshape(len(vs), len(us))
    flat = build.points[0]
    free = np.ones((len(vs) - 1, len(us) - 1), dtype=bool)

    sides = _rectangle(numbers)
    rim = [np.abs(flat[side] - flat[side[0]]).sum(axis=1) for side in sides]
    whole = [us[-1] - us[0], vs[-1] - vs[0]] * 2
    ends, out = outline.loop([run / total for run, total in zip(rim, whole, strict=True)])
    start = np.concatenate(sides)
    edges = [_Edge(build.ring(start, flat[start], ends, cell), out)]

    for hole, (u0, u1, v0, v1) in zip(holes, spans, strict=True):
        i0, i1 = (int(np.abs(us - u).argmin()) for u in (u0, u1))
        j0, j1 = (int(np.abs(vs - v).argmin()) for v in (v0, v1))
        if not free[j0:j1, i0:i1].all():
            raise ValueError(f"the window of the hole at ({hole.curve.cx}, {hole.curve.cy}) meets another")
        free[j0:j1, i0:i1] = False
        sides = _rectangle(numbers[j0 : j1 + 1, i0 : i1 + 1])
        ends, out = hole.curve.loop([np.arange(len(side)) / len(side) for side in sides])
        start = np.concatenate(sides)[::-1]  # clockwise, so that the sheet is on the left
        edges.append(_Edge(build.ring(start, flat[start], ends[::-1], cell), -out[::-1]))

    cells = np.stack([numbers[:-1, :-1], numbers[:-1, 1:], numbers[1:, 1:], numbers[1:, :-1]], axis=-1)
    build.quads.append(cells[free])
    return build, edges


def frame(shape: Shape, uv: Floats, out: Floats, step: float) -> tuple[Floats, Floats, Floats]:
    """Points, unit normals of the mould side and unit directions out of the sheet, at an edge of the plan."""
    u, v = uv.T
    p_u = (shape(u + step, v) - shape(u - step, v)) / (2 * step)
    p_v = (shape(u, v + step) - shape(u, v - step)) / (2 * step)
    normal = np.cross(p_u, p_v)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    tangent = -out[:, 1:] * p_u + out[:, :1] * p_v
    outward = np.cross(tangent, normal)
    return shape(u, v), normal, outward / np.linalg.norm(outward, axis=1, keepdims=True)


def profile_points(profile: Profile, cell: float, degrees: float = 18.0) -> Floats:
    """The profile as points (out of the sheet, away from the mould side), without its start at (0, 0)."""
    a = b = heading = 0.0
    rows: list[tuple[float, float]] = []
    for piece in profile:
        if isinstance(piece, Straight):
            count = max(1, round(piece.length / cell))
            steps = np.arange(1, count + 1) * piece.length / count
            rows += [(a + s * np.cos(heading), b + s * np.sin(heading)) for s in steps]
        else:
            turn, sign = np.radians(piece.angle), np.sign(piece.angle)
            count = max(2, round(abs(piece.angle) / degrees), round(piece.radius * abs(turn) / cell))
            angles = heading + turn * np.arange(1, count + 1) / count
            rows += [
                (a + sign * piece.radius * (np.sin(t) - np.sin(heading)),
                 b + sign * piece.radius * (np.cos(heading) - np.cos(t)))
                for t in angles
            ]  # fmt: skip
            heading += turn
        a, b = rows[-1]
    return np.array(rows)


@dataclass(frozen=True)
class Mesh:
    """Points (n, 3) and triangles (m, 3), anticlockwise when seen from the mould side."""

    points: Floats
    triangles: Ints

    def scaled(self, factor: float) -> Mesh:
        """The mesh in another unit."""
        return Mesh(self.points * factor, self.triangles)

    def area(self) -> float:
        """Sum of the triangles, in the square of the mesh's unit."""
        a, b, c = (self.points[self.triangles[:, k]] for k in range(3))
        return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def _compact(points: Floats, quads: Ints, grain: float) -> Mesh:
    """Cells cut along their shorter diagonal, points without a cell dropped, coordinates on a fine raster."""
    used, renumbered = np.unique(quads, return_inverse=True)
    points = np.round(points[used] / grain) * grain
    quads = renumbered.reshape(quads.shape)
    a, b, c, d = (points[quads[:, k]] for k in range(4))
    first = np.linalg.norm(a - c, axis=1) <= np.linalg.norm(b - d, axis=1) + 10 * grain
    one = np.where(first[:, None], quads[:, [0, 1, 2]], quads[:, [0, 1, 3]])
    two = np.where(first[:, None], quads[:, [0, 2, 3]], quads[:, [1, 2, 3]])
    return Mesh(points, np.stack([one, two], axis=1).reshape(-1, 3))


def sheet(
    outline: Rounded,
    holes: Sequence[Hole],
    shape: Shape,
    edge: Profile,
    *,
    inset: float,
    cell: float,
    grain: float,
) -> Mesh:
    """The mould side of a part as one open sheet.

    Args:
        outline: The plan before its edges are turned.
        holes: Cut-outs of the plan.
        shape: Bends the plan into space.
        edge: Turned edge along the outline.
        inset: Width of the ring of cells between the straight grid and the outline.
        cell: Size of a cell.
        grain: Coordinates are rounded to multiples of this, so that every machine writes the same bytes.
    """
    build, edges = _plan(outline, holes, inset, cell)
    plan = np.concatenate(build.points)
    build.points = [shape(*plan.T)]
    for border, profile in zip(edges, [edge, *(hole.edge for hole in holes)], strict=True):
        if not profile:
            continue
        start, normal, outward = frame(shape, plan[border.points], border.out, 1e-4 * cell)
        loop = border.points
        for a, b in profile_points(profile, cell):
            numbers = build.add(start + a * outward - b * normal)
            build.strip(loop, numbers)
            loop = numbers
    return _compact(np.concatenate(build.points), np.concatenate(build.quads), grain)


def free_edges(triangles: Ints) -> Ints:
    """Directed edges (k, 2) that belong to one triangle only."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    _, first, count = np.unique(np.sort(edges, axis=1), axis=0, return_index=True, return_counts=True)
    return edges[np.sort(first[count == 1])]


def thickened(mesh: Mesh, thickness: float, grain: float) -> Mesh:
    """A closed solid: the sheet, a second skin behind it, and strips along every free edge."""
    a, b, c = (mesh.points[mesh.triangles[:, k]] for k in range(3))
    faces = np.cross(b - a, c - a)
    normals = np.zeros_like(mesh.points)
    for k in range(3):
        np.add.at(normals, mesh.triangles[:, k], faces)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    back = np.round((mesh.points - thickness * normals) / grain) * grain
    count = len(mesh.points)
    start, end = free_edges(mesh.triangles).T
    strips = [
        np.stack([end, start, start + count], axis=1),
        np.stack([end, start + count, end + count], axis=1),
    ]
    triangles = np.concatenate([mesh.triangles, mesh.triangles[:, ::-1] + count, *strips])
    return Mesh(np.concatenate([mesh.points, back]), triangles)
