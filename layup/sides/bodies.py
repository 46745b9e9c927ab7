"""The bodies of a closed mesh: pieces that hang together, hollows put with the body they are in; do they touch?

    bodies = bodies_of(mesh)
    The side asked for, of each body           pick(mesh, side, name)
    Bodies that touch, cross or hold others    clashes(mesh, bodies)

Every body is judged by itself (`solid.py`). Where bodies touch, cross or lie in one another, parts of their faces are
inside the whole and would count, so nothing is picked: one body has to be named, or all faces asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import Vector
from layup.shape.nearest import nearest_points
from layup.shape.topology import pieces as hang_together
from layup.sides.cells import edge_marks, wound_against
from layup.sides.shared_edges import FREE
from layup.sides.side import Side
from layup.sides.side_sums import fans, nearest_of
from layup.sides.skin import FOLD, SMOOTH, Chosen
from layup.sides.solid import Solid, chosen
from layup.sides.welded import Welded
from layup.words import plain

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

STRAY = 0.02
"""A closed piece with less than this share of the largest one's area is stray: a screw, a crumb. [-]"""
TOUCH = 1e-5
"""Bodies nearer than this share of the box touch. [-]"""
MANY = 200
"""Of more bodies than this only the largest are looked at for clashes. [-]"""
_PLACES = 96
_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Bodies:
    """The bodies of a closed mesh, largest first.

    Attributes:
        number: Body of each face, -1 for what is stray.
        area: Of each body, hollows included. [m^2]
        stray: How many pieces are stray. [-]
        stray_area: [m^2]
        nested: Pairs of bodies, the first of which lies in the second, wound as a body of its own.
    """

    number: NDArray[np.int64]
    area: Floats
    stray: int
    stray_area: float
    nested: tuple[tuple[int, int], ...]

    def __len__(self) -> int:
        return len(self.area)


def bodies_of(mesh: Welded) -> Bodies:
    """Part a closed mesh into its bodies.

    Pieces with cracks may be parts of one body, so that all of them count as one.
    """
    piece = _wedges(mesh)
    count = int(piece.max()) + 1
    if count == 1:
        whole = float(mesh.normals[1].sum())
        return Bodies(np.zeros(len(piece), dtype=np.int64), np.array([whole]), 0, 0.0, ())
    normal, area, _ = mesh.normals
    cracked = np.zeros(count, dtype=np.bool_)
    cracked[piece[np.flatnonzero(mesh.mates.mate == FREE) // 3]] = True
    if cracked.any():
        number = np.where(cracked, 0, np.cumsum(~cracked))
        piece = number[piece]
        count = int(number.max()) + 1
    size = np.bincount(piece, area, minlength=count)
    large = np.flatnonzero(size >= STRAY * size.max())
    large = large[np.argsort(-size[large], kind="stable")][:MANY]
    marks, disagree = edge_marks(mesh.faces, mesh.mates.mate, normal, SMOOTH, FOLD)
    del marks
    if disagree:
        normal = np.where(wound_against(mesh.faces, mesh.mates.mate, area)[:, None], -normal, normal)
    start = mesh.points[mesh.faces[:, 0]]
    volume = np.bincount(piece, np.einsum("ij,ij->i", start - start.mean(axis=0), normal) * area, minlength=count)
    boxes = {p: _box(start[piece == p]) for p in large.tolist()}
    inside: dict[int, int] = {}
    for p in large.tolist():
        holders = [q for q in large.tolist() if q != p and _within(boxes[p], boxes[q])]
        place = start[int(np.argmax(piece == p))]
        holders = [q for q in holders if _holds(mesh, piece == q, place)]
        if holders:
            inside[p] = min(holders, key=lambda q: size[q])
    hollow = {p: q for p, q in inside.items() if (volume[p] > 0.0) != (volume[q] > 0.0)}
    own = [p for p in large.tolist() if p not in hollow]
    to = np.full(count, -1, dtype=np.int64)
    to[own] = np.arange(len(own))
    for p, q in hollow.items():
        to[p] = to[q] if q not in hollow else -1
    number = to[piece]
    areas = np.bincount(number[number >= 0], area[number >= 0], minlength=len(own)).astype(np.float64)
    nested = tuple((int(to[p]), int(to[q])) for p, q in inside.items() if p not in hollow and to[q] >= 0)
    stray = number < 0
    return Bodies(number, areas, len(np.unique(piece[stray])), float(area[stray].sum()), nested)


def _wedges(mesh: Welded) -> NDArray[np.int64]:
    """Number of the piece each face is of, where of several faces at one edge only those bounding one wedge join.

    Round an edge of four, six, ... faces material begins at one face and ends at the next: these two are of one body.
    """
    label, count = mesh.pieces_by_pairs()
    pairs = []
    inside_out = len(mesh.mates.shared) > 0 and mesh.normals[2] < 0.0
    for fan in fans(mesh.mates.shared):
        faces, corner = fan // 3, fan % 3
        a = mesh.faces[faces, corner].astype(np.int64)
        b = mesh.faces[faces, (corner + 1) % 3].astype(np.int64)
        c = mesh.points[mesh.faces[faces, (corner + 2) % 3]]
        start, stop = mesh.points[min(a[0], b[0])], mesh.points[max(a[0], b[0])]
        way = (stop - start) / max(float(np.linalg.norm(stop - start)), 1e-300)
        out = c - start - ((c - start) @ way)[:, None] * way
        first = out[0] / max(float(np.linalg.norm(out[0])), 1e-300)
        angle = np.arctan2(out @ np.cross(way, first), out @ first) % (2.0 * np.pi)
        angle = np.where(angle > 2.0 * np.pi - 1e-6, 0.0, angle.round(6))
        begins = (a > b) != inside_out  # material follows the face, turning about the edge
        order = np.lexsort((begins, angle))
        begins, faces = begins[order], faces[order]
        if begins.sum() * 2 != len(faces) or not (begins != np.roll(begins, 1)).all():
            pairs += [(label[faces[0]], label[face]) for face in faces[1:]]
            continue
        ends = np.roll(faces, -1)
        pairs += [(label[faces[k]], label[ends[k]]) for k in np.flatnonzero(begins)]
    if not pairs:
        return label.astype(np.int64)
    joined: NDArray[np.int64] = hang_together(count, np.array(pairs, dtype=np.int64))[1][label]
    return joined


def _box(points: Floats) -> tuple[Floats, Floats]:
    return points.min(axis=0), points.max(axis=0)


def _within(inner: tuple[Floats, Floats], outer: tuple[Floats, Floats]) -> bool:
    return bool((inner[0] >= outer[0]).all() and (inner[1] <= outer[1]).all())


def _holds(mesh: Welded, mask: Mask, place: Floats) -> bool:
    """Whether a closed piece holds a point: its faces fill the whole sphere of directions round it.

    Source: the solid angle of a triangle by van Oosterom and Strackee (1983), from memory.
    """
    a, b, c = (mesh.points[mesh.faces[mask, k]] - place for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    over = np.einsum("ij,ij->i", a, np.cross(b, c))
    under = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", a, c) * lb
        + np.einsum("ij,ij->i", b, c) * la
    )
    return bool(abs(2.0 * np.arctan2(over, under).sum()) > 2.0 * np.pi)


def clashes(mesh: Welded, bodies: Bodies) -> list[tuple[int, int, str]]:
    """Pairs of bodies that touch, cross or lie in one another, and which of the three, up to a few."""
    out = [(p, q, "lies in") for p, q in bodies.nested]
    faces = [np.flatnonzero(bodies.number == n) for n in range(len(bodies))]
    boxes = [_box(mesh.points[mesh.faces[own]].reshape(-1, 3)) for own in faces]
    size = float(np.linalg.norm(mesh.points.max(axis=0) - mesh.points.min(axis=0)))
    near = TOUCH * size
    for p in range(len(bodies)):
        for q in range(p + 1, len(bodies)):
            if len(out) > _SHOWN:
                return out
            low = np.maximum(boxes[p][0], boxes[q][0]) - near
            high = np.minimum(boxes[p][1], boxes[q][1]) + near
            if (low > high).any() or any({p, q} == {a, b} for a, b, _ in out):
                continue
            word = _meet(mesh, faces[p], faces[q], (low, high), near) or _meet(
                mesh, faces[q], faces[p], (low, high), near
            )
            if word:
                out.append((p, q, word))
    return out


def _meet(mesh: Welded, one: NDArray[np.int64], two: NDArray[np.int64], box: tuple[Floats, Floats], near: float) -> str:
    """Whether points of one body lie on or in another, in the box that both share."""
    corners = mesh.points[mesh.faces[one]]
    places = np.concatenate(
        [corners.mean(axis=1), corners.reshape(-1, 3), 0.5 * (corners + np.roll(corners, 1, 1)).reshape(-1, 3)]
    )
    places = places[((places >= box[0]) & (places <= box[1])).all(axis=1)]
    if not len(places):
        return ""
    places = places[np.linspace(0, len(places) - 1, min(len(places), _PLACES)).astype(np.int64)]
    other = mesh.faces[two].astype(np.int64)
    mask = np.zeros(len(mesh.faces), dtype=np.bool_)
    mask[two] = True
    for place in places:
        if np.min(np.linalg.norm(nearest_points(mesh.points, other, place) - place, axis=1)) < near:
            return "touches"
        if _holds(mesh, mask, place):
            return "crosses"
    return ""


def pick(mesh: Welded, side: Side, name: str) -> Chosen:
    """The side asked for of a closed mesh, of each of its bodies.

    Args:
        mesh: Closed.
        side: Which; see `side.parse_side`.
        name: What errors call the file.

    Raises:
        SurfaceError: bodies that touch, cross or lie in one another, and what `solid.Solid.pick` refuses.
    """
    bodies = bodies_of(mesh)
    crease = SMOOTH if side.crease is None else math.cos(math.radians(side.crease))
    if len(bodies) == 1 and not bodies.stray:
        return Solid(mesh, crease).pick(side, name)
    refuse_clashes(mesh, bodies, name)
    mask, turned = np.zeros(len(mesh.faces), dtype=np.bool_), np.zeros(len(mesh.faces), dtype=np.bool_)
    asked = dict.fromkeys(range(len(bodies)), side)
    if side.kind == "touching":
        asked = _touched(mesh, bodies, side)
    facing, walls, texts = np.zeros(3), [], []
    for n, wanted in asked.items():
        rows = np.flatnonzero(bodies.number == n)
        used, faces = np.unique(mesh.faces[rows], return_inverse=True)
        solid = Solid(Welded(mesh.points[used], faces.reshape(-1, 3).astype(np.int32), None), crease)
        word = name if len(bodies) == 1 else f"{name}, body {n + 1} of {len(bodies)}"
        made = solid.pick(wanted, word)
        mask[rows], turned[rows] = made.faces, solid.turned
        facing = facing + solid.area[made.faces] @ solid.normal[made.faces]
        walls.append((made.thickness, made.strip, made.other))
        texts.append(made.text)
    text = "; ".join(texts[:_SHOWN]) + ("; ..." if len(texts) > _SHOWN else "")
    if len(bodies) > 1:
        many = "the side is taken of each" if len(walls) == len(bodies) else f"{len(walls)} are touched, and taken"
        how = many if len(walls) > 1 else f"only body {min(asked) + 1} is touched, and taken"
        text = f"{len(bodies)} closed bodies that don't touch, {how}: {text}"
    if bodies.stray:
        text += f"; {bodies.stray} stray closed pieces, {plain(bodies.stray_area, 3)} m^2 in all, are left out"
    wall = walls[0]
    if len(walls) > 1:
        thin = [w for w in walls if w[0] is not None and w[1] is not None and w[2] is not None]
        wall = (None, None, None)
        if len(thin) == len(walls):
            wall = (
                float(np.median([w[0] for w in thin])),
                sum(w[1] or 0.0 for w in thin),
                sum(w[2] or 0.0 for w in thin),
            )
    return chosen(mesh, mask, turned, facing, text, wall)


def _touched(mesh: Welded, bodies: Bodies, side: Side) -> dict[int, Side]:
    """The bodies that points touch, each with the side that its own points ask for."""
    rows = np.flatnonzero(bodies.number >= 0)
    faces = np.ascontiguousarray(mesh.faces[rows])
    places: dict[int, list[Vector]] = {}
    for place in (side.vector, *side.more):
        near = rows[nearest_of(mesh.points, faces, np.array(place))]
        places.setdefault(int(bodies.number[near]), []).append(place)
    return {n: replace(side, vector=own[0], more=tuple(own[1:])) for n, own in sorted(places.items())}


def refuse_clashes(mesh: Welded, bodies: Bodies, name: str) -> None:
    """Bodies that touch, cross or lie in one another have faces inside the whole.

    Raises:
        SurfaceError: there are some, with the area of each body.
    """
    if len(bodies) < 2:
        return
    found = clashes(mesh, bodies)
    if found:
        raise SurfaceError(f"{name}: {said(bodies, found)}, so that parts of their faces lie inside", remedy(bodies))


def said(bodies: Bodies, found: list[tuple[int, int, str]]) -> str:
    """Which bodies clash, in words."""
    shown = ", ".join(f"{p + 1} {word} {q + 1}" for p, q, word in found[:_SHOWN])
    more = ", ..." if len(found) > _SHOWN else ""
    return f"{len(bodies)} closed bodies, of which {shown}{more}"


def remedy(bodies: Bodies) -> str:
    """What can be done about them."""
    sizes = ", ".join(f"{n + 1}: {plain(a, 4)} m^2" for n, a in enumerate(bodies.area[:_SHOWN]))
    more = ", ..." if len(bodies) > _SHOWN else ""
    return (
        "Join them to one solid where the file was drawn, or name the one that is laid up: body = 1 "
        f"({sizes}{more} with all faces)"
    )
