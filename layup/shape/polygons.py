"""Faces of more than three corners become triangles, without the overlap a plain fan makes of a hollow one.

    Triangles of faces of any number of corners     triangulate(points, corners, counts)
    Faces that close small cut-outs                 lids(points, faces, widest)

A fan from the first corner is right for a face that bulges outward all round. Where a triangle of the fan turns
against the face, the face is hollow there. A hollow face of four corners is parted along its other diagonal. Of one
with more, the corners are cut off one by one, always one that bulges and holds no other corner; many corners go to
the geometry library's triangulation. Hollow or not is seen along the face's own normal, the sum of the normals of
the fan, so that a face need not be flat; how much of its area hangs on the diagonal is then said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import free_loops
from layup.shape.surface import Finding
from layup.shape.topology import edges_of

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

_MANY = 64  # corners of a hollow face, from which the geometry library cuts it
_BENT = 1e-3  # share of the area that hangs on the choice of diagonals, from which it is said


@dataclass(frozen=True, slots=True)
class Triangulated:
    """Triangles of polygon faces.

    Attributes:
        faces: Shape (m, 3).
        owner: The face each came from, in the order of the faces, shape (m,).
        crossed: Faces whose border crosses itself: they have no right answer. [-]
        bent: Faces of four corners that are not flat. [-]
        either: Area that hangs on which of the two diagonals a bent face is folded along. [area]
        area: Of all triangles. [area]
    """

    faces: Numbers
    owner: Numbers
    crossed: int = 0
    bent: int = 0
    either: float = 0.0
    area: float = 0.0

    def findings(self) -> tuple[Finding, ...]:
        """What is to be said of faces that cross themselves, or are bent so far that it shows in the area."""
        out = []
        if self.crossed:
            text = f"{self.crossed:,} faces of four or more corners whose border crosses itself; their area is a guess"
            out.append(Finding("crossed faces", self.crossed, text))
        if self.either > _BENT * self.area:
            share = self.either / self.area
            text = (
                f"{self.bent:,} faces of four corners are not flat; folded along the other diagonal they would have "
                f"another area, {share:.1%} of the whole in all"
            )
            out.append(Finding("bent faces", self.bent, text))
        return tuple(out)


def triangulate(points: Floats, corners: Numbers, counts: Numbers) -> Triangulated:
    """Triangles of polygon faces.

    Args:
        points: Shape (n, 3). [m]
        corners: Point numbers of all faces, one face after another.
        counts: Corners of each face; those below three give no triangle. [-]
    """
    start = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    each = np.maximum(counts - 2, 0)
    owner = np.repeat(np.arange(len(counts)), each)
    first_row = np.cumsum(each) - each
    step = np.arange(len(owner)) - np.repeat(first_row, each)
    first = start[owner]
    faces = np.column_stack([corners[first], corners[first + step + 1], corners[first + step + 2]])
    if not len(faces) or counts.max() <= 3:
        return Triangulated(faces, owner)
    cross = _cross(points, faces)
    whole = np.zeros((len(counts), 3))
    for axis in range(3):
        whole[:, axis] = np.bincount(owner, cross[:, axis], minlength=len(counts))
    hollow = np.zeros(len(counts), dtype=bool)
    hollow[owner[np.einsum("ij,ij->i", cross, whole[owner]) < 0.0]] = True
    bad = 0
    quads = np.flatnonzero(hollow & (counts == 4))
    if len(quads):
        a, b, c, d = (corners[start[quads] + k] for k in range(4))
        one, two = np.column_stack([b, c, d]), np.column_stack([b, d, a])
        faces[first_row[quads]], faces[first_row[quads] + 1] = one, two
        turned = [np.einsum("ij,ij->i", _cross(points, f), whole[quads]) < 0.0 for f in (one, two)]
        bad += int(np.count_nonzero(turned[0] | turned[1]))
    for face in np.flatnonzero(hollow & (counts > 4)).tolist():
        ring = corners[start[face] : start[face] + counts[face]]
        cut, clean = _hollow(points[ring], whole[face])
        faces[first_row[face] : first_row[face] + each[face]] = ring[cut]
        bad += not clean
    size = np.linalg.norm(_cross(points, faces), axis=1)
    apart = np.bincount(owner, size, minlength=len(counts))
    bad += int(np.count_nonzero((np.linalg.norm(whole, axis=1) < 0.1 * apart) & ~hollow & (counts > 3)))
    bent, either = _bent(points, corners, start[(counts == 4) & ~hollow])
    return Triangulated(faces, owner, bad, bent, either, 0.5 * float(size.sum()))


def lids(points: Floats, faces: Numbers, widest: float) -> tuple[Numbers, Numbers, int]:
    """Faces that close cut-outs.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        widest: How far apart two points of the edge of a cut-out that is closed may be, about. [m]

    Returns:
        The faces (k, 3), for each a face beside its cut-out (k,), and how many cut-outs no wider were left, because
        their edge meets itself.
    """
    edges, owner = edges_of(faces)
    of_edge = dict(zip(map(tuple, edges.tolist()), owner.tolist(), strict=True))
    rings, beside, left = [], [], 0
    for loop in free_loops(points, faces):
        away = points[loop.edges[:, 0]] - np.array(loop.middle)
        if loop.outer or 2.0 * float(np.sqrt((away * away).sum(axis=1).max())) > widest:
            continue
        after = dict(loop.edges[:, ::-1].tolist())  # a lid runs against the faces round it
        ring = [int(loop.edges[0, 0])]
        while len(ring) < len(after) and after.get(ring[-1], ring[0]) != ring[0]:
            ring.append(after[ring[-1]])
        if len(ring) != len(loop.edges):
            left += 1
            continue
        rings.append(np.array(ring))
        beside.append(of_edge[tuple(loop.edges[0].tolist())])
    if not rings:
        return np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64), left
    made = triangulate(points, np.concatenate(rings), np.array([len(ring) for ring in rings]))
    return made.faces, np.array(beside)[made.owner], left


def _cross(points: Floats, faces: Numbers) -> Floats:
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    with np.errstate(all="ignore"):  # numbers out of range show as points that are not finite, when they are measured
        out: Floats = np.cross(b - a, c - a)
    return out


def _bent(points: Floats, corners: Numbers, start: Numbers) -> tuple[int, float]:
    """How many faces of four corners are not flat, and how much area hangs on their diagonals."""
    if not len(start):
        return 0, 0.0
    a, b, c, d = (corners[start + k] for k in range(4))

    def area(*faces: Numbers) -> Floats:
        out: Floats = sum(np.linalg.norm(_cross(points, f), axis=1) for f in faces) / 2.0
        return out

    one = area(np.column_stack([a, b, c]), np.column_stack([a, c, d]))
    two = area(np.column_stack([a, b, d]), np.column_stack([b, c, d]))
    off = np.abs(one - two)
    return int(np.count_nonzero(off > 1e-6 * one)), float(off.sum())


def _hollow(ring: Floats, normal: Floats) -> tuple[Numbers, bool]:
    """Triangles (n - 2, 3) of one hollow face, as places in its ring, and whether they fill just the face."""
    if not (np.abs(ring) < 1e100).all() or not float(np.linalg.norm(normal)) > 0.0:
        return _fan(len(ring)), False
    drop = int(np.argmax(np.abs(normal)))
    u, v = ((1, 2), (2, 0), (0, 1))[drop]
    flat = np.ascontiguousarray(ring[:, [u, v]] * (1.0, np.sign(normal[drop])))
    made = _by_library(flat) if len(flat) > _MANY else _clip_ears(flat)
    if made is None:
        return _fan(len(ring)), False
    a, b, c = (flat[made[:, k]] for k in range(3))
    signed = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    total = float(np.abs(signed).sum())
    return made, abs(total - abs(float(normal[drop]))) <= 1e-6 * total


def _fan(count: int) -> Numbers:
    step = np.arange(count - 2)
    return np.column_stack([np.zeros_like(step), step + 1, step + 2])


def _by_library(flat: Floats) -> Numbers | None:
    """The same of a face with many corners; None where its border crosses or touches itself."""
    import shapely

    outline = shapely.Polygon(flat)
    if not outline.is_valid:
        return None
    parts = shapely.get_coordinates(shapely.get_parts(shapely.constrained_delaunay_triangles(outline)))
    place = {(x, y): number for number, (x, y) in enumerate(flat.tolist())}
    made = np.array([place[x, y] for x, y in parts.tolist()], dtype=np.int64).reshape(-1, 4)[:, :3]
    if len(made) != len(flat) - 2:
        return None
    a, b, c = (flat[made[:, k]] for k in range(3))
    down = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) < (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    made[down] = made[down][:, ::-1]
    return made


def _clip_ears(flat: Floats) -> Numbers:
    """Triangles of a hollow face that turns to the left; a bridge to an inner border may run to and fro."""
    at = (flat - flat[0]).tolist()
    left = list(range(len(at)))
    out: list[tuple[int, int, int]] = []
    scale = max(max(abs(x), abs(y)) for x, y in at) ** 2 or 1.0
    while len(left) > 3:
        best, place = None, 0
        for here in range(len(left)):
            i, j, k = left[here - 1], left[here], left[(here + 1) % len(left)]
            turn = _turn(at[i], at[j], at[k])
            if turn <= 1e-15 * scale:
                if turn > -1e-15 * scale and best is None:
                    best = here  # on one line, or to and fro: nothing is lost with it, if no ear is left
                continue
            corner = {tuple(at[i]), tuple(at[j]), tuple(at[k])}
            if not any(_inside(at[i], at[j], at[k], at[m]) for m in left if tuple(at[m]) not in corner):
                place = here
                break
        else:
            place = best or 0
        i, j, k = left[place - 1], left[place], left[(place + 1) % len(left)]
        out.append((i, j, k))
        del left[place]
    out.append((left[0], left[1], left[2]))
    return np.array(out, dtype=np.int64)


def _turn(a: list[float], b: list[float], p: list[float]) -> float:
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])


def _inside(a: list[float], b: list[float], c: list[float], p: list[float]) -> bool:
    return _turn(a, b, p) >= 0.0 and _turn(b, c, p) >= 0.0 and _turn(c, a, p) >= 0.0
