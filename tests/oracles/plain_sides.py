"""The sides of a closed solid the plain way, every face by itself: what the compiled passes are held to.

    Small(points, faces).pick(side, name)

One ray from the middle of every face, patches and pieces as sparse graphs, sums as whole-array arithmetic. Nothing of
`layup.sides.seen_skin`, `solid`, `mates`, `cells` or `patches` is used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from oracles.plain_rays import first_hits

from layup.errors import SurfaceError
from layup.shape.loops import free_loops
from layup.shape.measure import Measured, Vector, measure_triangles
from layup.shape.nearest import nearest_face
from layup.shape.surface import Finding, Mesh
from layup.shape.topology import (
    Faces,
    Points,
    edge_keys,
    edges_of,
    face_pairs,
    free_edges,
    length_of,
    normals,
    pieces,
    sums,
)  # fmt: skip
from layup.sides.findings import duplicates, edges_found, pieces_found, seams_found, winding_found
from layup.sides.side import Side
from layup.sides.skin import (
    BACK,
    FOLD,
    ITSELF,
    REACHES,
    SMOOTH,
    Chosen,
    apart,
    choose,
    is_flat,
    is_thin,
    opposite,
)  # fmt: skip

Mask = NDArray[np.bool_]
Pairs = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True)
class Walls:
    """What lies behind each face.

    Attributes:
        thickness: Median over the area; None where no face has a wall behind it. [m]
        behind: Distance to the first wall inward of each face, infinite for none. [m]
        hit: The face it meets, -1 for none.
        normal: Outward unit normals.
        area: Of each face. [m^2]
        turned: Faces whose winding was against the others.
        pairs: Faces that meet at an edge, as `face_pairs` gives them.
    """

    thickness: float | None
    behind: NDArray[np.float64]
    hit: NDArray[np.int64]
    normal: NDArray[np.float64]
    area: NDArray[np.float64]
    turned: Mask
    pairs: Pairs

    @property
    def thin(self) -> bool:
        """Whether the solid is a sheet, not a block."""
        return is_thin(self.thickness, float(self.area.sum()))


Pairs = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]


def against(
    faces: NDArray[np.int64], area: NDArray[np.float64], piece: NDArray[np.int64], joined: Pairs | None = None
) -> Mask:
    """Faces whose winding is against that of most of their piece, by area.

    Args:
        faces: Shape (m, 3).
        area: Of each face. [m^2]
        piece: Number of the piece each face belongs to.
        joined: What `face_pairs` gives for them, where it is known already.
    """
    pairs, _, agree = joined or face_pairs(faces)
    n = len(faces)
    if agree.all():
        return np.zeros(n, dtype=bool)
    one, two, other = pairs[:, 0], pairs[:, 1], np.where(agree, 0, n)
    links = np.concatenate([np.column_stack([one, two + other]), np.column_stack([one + n, two + n - other])])
    _, label = pieces(2 * n, links)  # each face stands twice: as it is, and turned
    turned = label[:n] > label[n:]
    most = np.bincount(piece, area * turned) > 0.5 * np.bincount(piece, area)
    mask: Mask = turned ^ (most[piece] & (label[:n] != label[n:]))
    return mask


def walls(points: NDArray[np.float64], faces: NDArray[np.int64], sample: int | None = None) -> Walls:
    """What lies behind each face of a closed solid.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        sample: Only about this many faces, spread over the mesh, send a ray; None for all.
    """
    normal, area = normals(points, faces)
    joined = face_pairs(faces)
    _, piece = pieces(len(faces), joined[0])
    turned = against(faces, area, piece, joined)
    normal[turned] *= -1.0
    middle = points[faces].mean(axis=1)
    if np.einsum("ij,ij,i->", middle - points.mean(axis=0), normal, area) < 0.0:  # three times the volume
        normal *= -1.0
        turned = ~turned
    rows = np.flatnonzero(area > 0.0)
    if sample is not None and len(rows) > sample:
        rows = rows[np.linspace(0, len(rows) - 1, sample).astype(np.int64)]
    behind, hit = np.full(len(faces), np.inf), np.full(len(faces), -1, dtype=np.int64)
    behind[rows], hit[rows] = first_hits(points, faces, middle[rows], -normal[rows], rows)
    back = np.flatnonzero(hit >= 0)
    back = back[np.einsum("ij,ij->i", normal[back], normal[hit[back]]) < BACK]
    thickness = None
    if len(back):
        order = back[np.argsort(behind[back])]
        share = np.cumsum(area[order])
        thickness = float(behind[order[np.searchsorted(share, 0.5 * share[-1])]])
    return Walls(thickness, behind, hit, normal, area, turned, joined)


@dataclass(frozen=True, slots=True)
class Picked:
    """The side that was asked for.

    Attributes:
        faces: Mask over the faces.
        turned: Faces whose winding has to be reversed to face outward.
        thickness: Of the wall, None for a block. [m]
        strip: Area that belongs to neither skin: edges, hole walls. [m^2]
        other: Area of the opposite skin; None for a block. [m^2]
        text: What was found, for a person.
    """

    faces: Mask
    turned: Mask
    thickness: float | None
    strip: float | None
    other: float | None
    text: str


def pick_side(points: NDArray[np.float64], faces: NDArray[np.int64], side: Side, name: str) -> Picked:
    """Faces of the side asked for of a closed solid.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        side: Which; see `side.parse_side`.
        name: What errors call the file.

    Raises:
        SurfaceError: a side that this shape does not have, with what can be written instead.
    """
    found = walls(points, faces)
    if not found.thin:
        return _of_block(points, faces, found, side, name)
    for reach in REACHES:
        label, skin, close = _skins(faces, found, reach)
        first, second = _back_to_back(label, skin, close, found)
        both = _Both(points, faces, found, (first, second))
        if apart(both.size):
            break
    else:
        return _of_block(points, faces, found, side, name)
    chosen = choose(both, both.size, side, name)
    left_out = float(found.area[~(first | second)].sum())
    return Picked((first, second)[chosen], found.turned, found.thickness, left_out, both.size[1 - chosen], "")


def _skins(faces: NDArray[np.int64], found: Walls, reach: float) -> tuple[NDArray[np.int64], Mask, Mask]:
    """Label of the skin of each face, which faces are skin at all, and which have a wall close behind them."""
    thickness = found.thickness or 0.0
    across = np.zeros(len(faces))
    met = found.hit >= 0
    across[met] = np.einsum("ij,ij->i", found.normal[met], found.normal[found.hit[met]])
    close = met & (across < BACK) & (found.behind < reach * thickness)
    pairs = found.pairs[0]
    turn = np.einsum("ij,ij->i", found.normal[pairs[:, 0]], found.normal[pairs[:, 1]])
    count, patch = pieces(len(faces), pairs[turn > SMOOTH])
    total = np.bincount(patch, found.area, minlength=count)
    whole = np.bincount(patch, found.area * close, minlength=count) > 0.5 * total
    itself = close & (patch == patch[found.hit])
    whole &= np.bincount(patch, found.area * itself, minlength=count) <= ITSELF * total
    skin = close | (whole[patch] & (found.area > 0.0))
    joined = pairs[skin[pairs].all(axis=1) & (turn > FOLD)]
    _, label = pieces(len(faces), joined)
    return label, skin, close


def _back_to_back(label: NDArray[np.int64], skin: Mask, close: Mask, found: Walls) -> tuple[Mask, Mask]:
    """The two sides: from the largest skin, over what lies behind it, to what lies behind that, and so on."""
    size = sums(label, found.area * skin)
    rows = np.flatnonzero(close)
    rows = rows[skin[found.hit[rows]]]
    value = opposite(size, label[rows], label[found.hit[rows]], found.area[rows])
    return (value[label] > 0) & skin, (value[label] < 0) & skin


class _Both:
    """The two sides of a sheet as masks over its faces."""

    def __init__(
        self, points: NDArray[np.float64], faces: NDArray[np.int64], found: Walls, masks: tuple[Mask, Mask]
    ) -> None:
        self.points, self.faces, self.found, self.masks = points, faces, found, masks
        self.size = [float(found.area[mask].sum()) for mask in masks]

    def towards(self, direction: Vector) -> list[float]:
        found = self.found
        return [float(found.area[m] @ (found.normal[m] @ np.array(direction))) for m in self.masks]

    def touched(self, place: Vector) -> int | None:
        near = nearest_face(self.points, self.faces, np.array(place))
        return next((k for k, mask in enumerate(self.masks) if mask[near]), None)

    def bulge(self) -> list[float]:
        return [curvature(self.points, self.faces, mask, self.found.normal) for mask in self.masks]


def curvature(points: NDArray[np.float64], faces: NDArray[np.int64], mask: Mask, normal: NDArray[np.float64]) -> float:
    """Sum over the inner edges of part of a mesh of length times turning angle; bulging is positive. [m]"""
    own = np.flatnonzero(mask)
    pairs, edges, _ = face_pairs(faces[own])
    one, two = own[pairs[:, 0]], own[pairs[:, 1]]
    along = points[edges[:, 1]] - points[edges[:, 0]]
    length = np.linalg.norm(along, axis=1)
    cross = np.linalg.norm(np.cross(normal[one], normal[two]), axis=1)
    angle = np.arctan2(cross, np.einsum("ij,ij->i", normal[one], normal[two]))
    apart = points[faces[two]].mean(axis=1) - points[faces[one]].mean(axis=1)
    bulges = np.einsum("ij,ij->i", apart, normal[two] - normal[one]) > 0.0
    return float(np.sum(length * np.where(bulges, angle, -angle)))


def _of_block(points: NDArray[np.float64], faces: NDArray[np.int64], found: Walls, side: Side, name: str) -> Picked:
    """The smooth face of a thick solid that faces a direction or touches a point."""
    if side.kind in ("outer", "inner"):
        raise SurfaceError(f"{name}: a solid block: it has no {side.kind} skin")
    pairs = found.pairs[0]
    turn = np.einsum("ij,ij->i", found.normal[pairs[:, 0]], found.normal[pairs[:, 1]])
    count, label = pieces(len(faces), pairs[turn > SMOOTH])
    if side.kind == "touching":
        chosen = int(label[nearest_face(points, faces, np.array(side.vector))])
    else:
        towards = found.normal @ np.array(side.vector)
        chosen = int(np.argmax(np.bincount(label, found.area * towards, minlength=count)))
        if not towards[label == chosen].max() > 0.0:
            raise SurfaceError(f"{name}: no face looks that way")
    mask = label == chosen
    return Picked(mask, found.turned, None, None, None, "")


def inspect(points: Points, faces: Faces, closed: bool, thorough: bool = True) -> list[Finding]:
    """What is odd about a mesh whose duplicates are gone; nothing is changed.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        closed: A closed solid: it has no free edges to speak of.
        thorough: Also what can't change the area: winding, and the list of free edges.
    """
    out = _seams(points, faces)
    if thorough or not closed:  # the cracks of a solid part it, and the walls of its hollows are pieces of it
        out += _stray(points, faces)
    if thorough:
        out += _winding(points, faces)
        if not closed:
            out += edges_found(free_loops(points, faces))
    return out


def _winding(points: Points, faces: Faces) -> list[Finding]:
    pairs, _, agree = face_pairs(faces)
    if agree.all():
        return []
    area = normals(points, faces)[1]
    _, piece = pieces(len(faces), pairs)
    turned = against(faces, area, piece)
    return winding_found(int(turned.sum()), float(area[turned].sum()))


def _seams(points: Points, faces: Faces) -> list[Finding]:
    edges, _ = edges_of(faces)
    _, first, count = np.unique(edge_keys(edges), return_index=True, return_counts=True)
    many = edges[first[count > 2]]
    return seams_found(len(many), float(np.linalg.norm(points[many[:, 0]] - points[many[:, 1]], axis=1).sum()))


def _stray(points: Points, faces: Faces) -> list[Finding]:
    edges, owner = edges_of(faces)
    keys = edge_keys(edges)
    order = np.argsort(keys, kind="stable")
    same = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    count, piece = pieces(len(faces), np.column_stack([owner[order[same]], owner[order[same + 1]]]))
    return pieces_found(sums(piece, normals(points, faces)[1], count))


class Small:
    """A mesh of up to some hundred thousand faces; as `Welded`."""

    def __init__(self, points: NDArray[np.float64], faces: NDArray[np.int64]) -> None:
        """Points (n, 3) in metres, each there once, and faces (m, 3)."""
        self.points, self.faces = points, faces

    def mesh(self) -> Mesh:
        """As `Welded`."""
        return self.points, self.faces

    def drop_doubles(self) -> tuple[Mask, Finding | None]:
        """As `Welded`."""
        keep, double = duplicates(self.points, self.faces)
        if double is not None:
            self.faces = self.faces[keep]
        return keep, double

    def measured(self) -> Measured:
        """As `Welded`."""
        return measure_triangles(self.points[self.faces])

    def free_length(self) -> float:
        """As `Welded`."""
        return length_of(self.points, free_edges(self.faces))

    def turn(self, turned: Mask) -> None:
        """As `Welded`."""
        self.faces = np.where(turned[:, None], self.faces[:, ::-1], self.faces)

    def odd(self, closed: bool, thorough: bool) -> list[Finding]:
        """As `Welded`."""
        return inspect(self.points, self.faces, closed, thorough)

    def wall(self) -> tuple[float | None, bool]:
        """As `Welded`."""
        found = walls(self.points, self.faces, sample=4000)
        return found.thickness, found.thin

    def pick(self, side: Side, name: str) -> Chosen:
        """As `Welded`."""
        picked = pick_side(self.points, self.faces, side, name)
        faces = np.where(picked.turned[:, None], self.faces[:, ::-1], self.faces)[picked.faces]
        used, back = np.unique(faces, return_inverse=True)
        own: Mesh = (self.points[used], back.reshape(-1, 3).astype(np.int64))
        whole = replace(measure_triangles(own[0][own[1]]), perimeter=length_of(own[0], free_edges(own[1])))
        a, b, c = (own[0][own[1][:, k]] for k in range(3))
        return Chosen(
            whole,
            picked.faces,
            lambda: own,
            lambda: (self.points, self.faces[~picked.faces]),
            lambda: free_loops(*own),
            picked.thickness,
            picked.strip,
            picked.other,
            is_flat(0.5 * np.cross(b - a, c - a).sum(axis=0), whole.area),
            picked.text,
        )
