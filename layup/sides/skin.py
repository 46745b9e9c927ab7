"""One side of a closed solid: a part of sheet has two skins, and only one of them is laid up.

    How thick is its wall?                 walls(points, faces).thickness
    Which faces are the side asked for?    pick_side(points, faces, side, name)

From the middle of every face a ray goes inward to the first wall it meets. The thickness is the median over
the area of the faces whose far wall faces the other way. Faces with about that much behind them are skin, and so is
all of a smooth patch that is skin for the most part: beside a sharp bend, and over the foot of a rib, a ray finds no
wall of that thickness. A patch that is back to back with itself goes round the rim and is judged face by face. What is
left is edge strip. The skin faces that hang together are a skin, and the rays tell which skins lie back to back.

The outer skin is the one that bulges: the sum over its inner edges of length times turning angle (the
integral of the mean curvature, as for any polyhedron) is positive outside and negative inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import Vector
from layup.shape.nearest import nearest_face
from layup.shape.topology import face_pairs, normals, pieces, sums
from layup.sides.side import Side

Mask = NDArray[np.bool_]

THIN = 0.2
"""A wall is thin below this share of the root of one side's area; above it the solid is a block. [-]"""
BACK = -0.8
"""Cosine between a face and the wall behind it, below which the two count as back to back. [-]"""
REACHES = (2.5, 1.5, 1.1)
"""Skin has its partner within so many wall thicknesses; the next one where the two skins hang together by the first, as
they do over the short rims of a stout plate. [-]"""
FOLD = -0.5
"""Cosine between two faces at an edge, below which a skin ends there (a knife edge). [-]"""
SMOOTH = 0.766
"""Cosine of 40 degrees: patches of faces grow over edges that turn less. [-]"""
ITSELF = 1e-3
"""A patch with more than this share of its area back to back with itself goes round the rim. [-]"""
_FLAT = 1e-3  # share of the two skins' curvature sums to the square root of their area that counts as flat


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


def is_thin(thickness: float | None, area: float) -> bool:
    """Whether a solid with this wall (None for no wall at all) and this area is a sheet, not a block. [m, m^2]"""
    return thickness is not None and thickness < THIN * (0.5 * area) ** 0.5


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
    from layup.sides.rays import first_hits

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
    text = words_of_sheet(side, found.thickness or 0.0, both.size[chosen], both.size[1 - chosen], left_out)
    return Picked((first, second)[chosen], found.turned, found.thickness, left_out, both.size[1 - chosen], text)


def words_of_sheet(side: Side, thickness: float, size: float, other: float, left_out: float) -> str:
    """What was found of a sheet, for a person. [m, m^2]"""
    return (
        f"a closed solid with a wall of {thickness * 1e3:.3g} mm: its {side.words} is used, "
        f"{size:.4g} m^2; the other side ({other:.4g} m^2) "
        f"and its edges ({left_out:.3g} m^2) are left out"
    )


def words_of_block(side: Side, count: int, area: float) -> str:
    """What was found of a block, for a person. [-, m^2]"""
    return (
        f"a closed solid block: of its {count} faces (parted at edges sharper than 40 degrees) "
        f"the one {side.text} is used, {area:.4g} m^2"
    )


def apart(size: list[float]) -> bool:
    """Whether two sides were told apart, by their areas. [m^2]"""
    return min(size) > 0.1 * max(size)


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


def opposite(
    size: NDArray[np.float64], from_: NDArray[np.int64], to: NDArray[np.int64], weight: NDArray[np.float64]
) -> NDArray[np.int64]:
    """The side each skin is on: 1 for that of the largest one, -1 for the other, 0 for neither.

    Args:
        size: Area of each skin. [m^2]
        from_: Skins that see another one behind them.
        to: The skins they see.
        weight: How much area says so. [m^2]
    """
    apart = from_ != to
    links: dict[int, dict[int, float]] = {}
    both, place = np.unique(from_[apart] * np.int64(len(size)) + to[apart], return_inverse=True)
    for pair, w in zip(both.tolist(), np.bincount(place, weight[apart]).tolist(), strict=True):
        a, b = divmod(pair, len(size))
        for x, y in ((a, b), (b, a)):
            links.setdefault(x, {}).setdefault(y, 0.0)
            links[x][y] += w
    sign = {int(np.argmax(size)): 1}
    queue = list(sign)
    while queue:
        here = max(queue, key=lambda x: size[x])
        queue.remove(here)
        for there in sorted(links.get(here, {}), key=lambda x: -links[here][x]):
            if there not in sign:
                sign[there] = -sign[here]
                queue.append(there)
    value = np.zeros(len(size), dtype=np.int64)
    for piece, s in sign.items():
        value[piece] = s
    return value


class Sides(Protocol):
    """What has to be known of two sides to choose between them."""

    def towards(self, direction: Vector) -> list[float]:
        """Area of each side times how far it faces a direction. [m^2]"""

    def touched(self, place: Vector) -> int | None:
        """The side with the face nearest to a point; None where that face is an edge. [m]"""

    def bulge(self) -> list[float]:
        """Curvature of each side, see `curvature`. [m]"""


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


def choose(both: Sides, size: list[float], side: Side, name: str) -> int:
    """Which of two sides was asked for, 0 or 1.

    Args:
        both: The sides.
        size: Their areas. [m^2]
        side: Which; see `side.parse_side`.
        name: What errors call the file.

    Raises:
        SurfaceError: they can't be told apart in the way asked for.
    """
    mean = 0.5 * (size[0] + size[1])
    if side.kind == "facing":
        towards = both.towards(side.vector)
        if abs(towards[0] - towards[1]) < 0.05 * mean:
            raise SurfaceError(
                f"{name}: neither side faces {side.text.removeprefix('facing ')}",
                'Give another direction, or side = "touching (x, y, z)" with a point on the mould side',
            )
        return int(np.argmax(towards))
    if side.kind == "touching":
        near = both.touched(side.vector)
        if near is None:
            raise SurfaceError(
                f"{name}: the point of {side.text} lies on an edge of the sheet, not on one of its sides",
                "Give a point well inside the mould side",
            )
        return near
    bulge = both.bulge()
    even = bulge[0] - bulge[1]
    if abs(even) < _FLAT * mean**0.5:
        if abs(size[0] - size[1]) < 1e-3 * mean:
            return 0
        raise SurfaceError(
            f"{name}: flat or wavy, so that neither side is the {side.kind} one ({size[0]:.4g} and {size[1]:.4g} m^2)",
            'Write side = "facing (0, 0, 1)" or side = "touching (x, y, z)" instead',
        )
    outer = 0 if even > 0.0 else 1
    return outer if side.kind == "outer" else 1 - outer


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
    refuse_block(found.thickness, side, name)
    pairs = found.pairs[0]
    turn = np.einsum("ij,ij->i", found.normal[pairs[:, 0]], found.normal[pairs[:, 1]])
    count, label = pieces(len(faces), pairs[turn > SMOOTH])
    if side.kind == "touching":
        chosen = int(label[nearest_face(points, faces, np.array(side.vector))])
    else:
        towards = found.normal @ np.array(side.vector)
        chosen = int(np.argmax(np.bincount(label, found.area * towards, minlength=count)))
        if not towards[label == chosen].max() > 0.0:
            raise looks_away(name)
    mask = label == chosen
    return Picked(mask, found.turned, None, None, None, words_of_block(side, count, float(found.area[mask].sum())))


def refuse_block(thickness: float | None, side: Side, name: str) -> None:
    """A block has faces, no skins.

    Raises:
        SurfaceError: its outer or inner skin was asked for.
    """
    if side.kind in ("outer", "inner"):
        depth = "" if thickness is None else f", {thickness * 1e3:.3g} mm through"
        raise SurfaceError(
            f"{name}: a solid block{depth}: it has no {side.kind} skin",
            'Write side = "facing (0, 0, 1)" or side = "touching (x, y, z)" for the face that is laid up',
        )


def looks_away(name: str) -> SurfaceError:
    """The error for a direction that no face of a block looks in."""
    return SurfaceError(f"{name}: no face looks that way", "Turn the direction of side round")
