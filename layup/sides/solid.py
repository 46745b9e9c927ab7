"""A closed solid: what kind of thing it is, told from its geometry, and the side of it that is laid up.

    solid = Solid(mesh)
    Sheet with two sides, or a block?          solid.kind
    The side asked for                         solid.pick(side, name)
    Every face it has, largest first           solid.candidates()

It is a sheet when everything adds up: side + side + edges are the whole; the two sides differ by no more than a wall of
that thickness explains (Steiner's formula, as in `offset.py`); the wall is even; the sides nowhere meet in a knife
edge; and what belongs to neither side lies within a few wall thicknesses of the side's own edge, as edges do, or meets
the other side only, as ribs do. Plugs, mould blocks and wings have two faces back to back too, but fail one of these.
What fails is asked about, never taken: of a block, and of what may be either, one smooth face is laid up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.measure import Vector, vector
from layup.shape.nearest import alone
from layup.shape.surface import Mesh
from layup.sides.box_rays import Boxes
from layup.sides.cells import edge_marks, mean_of, wound_against
from layup.sides.seen_skin import Seen
from layup.sides.side import Side
from layup.sides.side_sums import fans, measure_chosen, nearest_of, side_sums
from layup.sides.skin import BACK, FOLD, REACHES, SMOOTH, Chosen, apart, choose, is_flat, is_thin
from layup.sides.welded import Welded
from layup.words import plain

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SAME = 0.1
"""The two sides of a sheet differ by at most this share of their area, and what the wall explains. [-]"""
EXPLAINED = 0.3
"""What the wall explains is known to this share of itself: a sharp corner and a round one differ by so much. [-]"""
EVEN = 0.25
"""A wall is even where it is within this share of its median ... [-]"""
MOSTLY = 0.75
"""... and the wall of a sheet is even over this share of its side. [-]"""
KNIFE = 0.05
"""A sheet's two sides meet without an edge between them along less than this share of its rim. [-]"""
REACH = 2.5
"""An edge strip lies within so many wall thicknesses of the side's own rim. [-]"""
PARTNER = 0.2
"""A patch lies back to back with others if this share of its rays meets them. [-]"""
UNEXPLAINED = 0.02
"""Up to this share of a side may be neither. [-]"""
BARE = 0.4
"""Edges below this share of rim x wall are no edges of a sheet. [-]"""
AWAY = 0.01
"""A face that is to look one way has at most this share of its area looking the other way. [-]"""
_SLANT = -0.05
_SAMPLES = 20_000
_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Kind:
    """What a closed solid is.

    Attributes:
        word: "sheet", "block", or "either" where it may be both.
        thickness: Median of the wall over the area; None where nothing lies back to back. [m]
        sizes: Areas of the two sides; empty where they can't be told apart. [m^2]
        strip: Area that belongs to neither. [m^2]
        rim: Rim x wall: what the edges of a sheet come to. [m^2]
        doubts: For each side, why it isn't one side of a sheet.
    """

    word: str
    thickness: float | None
    sizes: tuple[float, ...] = ()
    strip: float = 0.0
    rim: float = 0.0
    doubts: tuple[tuple[str, ...], ...] = ((), ())


@dataclass(frozen=True, slots=True)
class Candidate:
    """A smooth face that might be laid up: its area, where it looks, and a point on it. [m^2, -, m]"""

    area: float
    facing: Vector
    at: Vector


class Solid:
    """A closed solid and what lies behind its faces; the two sides once they have been told apart."""

    def __init__(self, mesh: Welded, crease: float = SMOOTH, every: int | None = None) -> None:
        """`crease` is the cosine above which an edge is smooth; `every` is for `Seen`."""
        self.mesh = mesh
        normal, area, volume = mesh.normals
        mate = mesh.mates.mate
        marks, disagree = edge_marks(mesh.faces, mate, normal, crease, FOLD)
        turned = np.zeros(len(mesh.faces), dtype=np.bool_)
        if disagree:
            turned = wound_against(mesh.faces, mate, area)
            normal = np.where(turned[:, None], -normal, normal)
            start = mesh.points[mesh.faces[:, 0]] - mean_of(mesh.points)
            volume = float(np.einsum("ij,ij,i->", start, normal, area))
        if volume < 0.0:
            normal = -normal
            turned = ~turned
        if disagree:
            marks, _ = edge_marks(mesh.faces, mate, normal, crease, FOLD)
        self.normal, self.area, self.turned = normal, area, turned
        boxes = Boxes(mesh.points, mesh.faces)
        self.seen = Seen(
            mesh.faces, mate=mate, marks=marks, normal=normal, area=area, boxes=boxes, back=BACK, every=every
        )
        self.total = float(area.sum())
        self.side = np.full(len(mesh.faces), -1, dtype=np.int8)

    @cached_property
    def kind(self) -> Kind:
        """What it is; the sides are told apart on the way."""
        thickness = self.seen.thickness
        if thickness is None or not is_thin(thickness, self.total):
            return Kind("block", thickness)
        for reach, by_creases in (*((reach, False) for reach in REACHES), (REACHES[0], True)):
            self.seen.settle(reach * thickness)
            self.side = self.seen.sides(by_creases)
            vars(self).pop("_measured", None)
            sizes = [float(size) for size in self._sums[:, 0]]
            if apart(sizes):
                break
        else:
            return Kind("block", thickness)
        strip = self.total - sum(sizes)
        rims = [self._rim(side) for side in (0, 1)]
        long = [_length(*ends) for ends in rims]
        rim = 0.5 * sum(long) * thickness
        left = min(
            self._unexplained(side, thickness, rims[side]) for side in (0, 1)
        )  # a rib to one is none to the other
        doubts = self._doubts(thickness, sizes, strip, rim, long, left)
        return Kind("either" if all(doubts) else "sheet", thickness, tuple(sizes), strip, rim, doubts)

    def _doubts(
        self, thickness: float, sizes: list[float], strip: float, rim: float, long: list[float], left: float
    ) -> tuple[tuple[str, ...], ...]:
        """Why each side isn't one side of a sheet; `left` is the area that nothing explains."""
        both = []
        bulge = self._sums[:, 4]
        differ, due = sizes[0] - sizes[1], 0.5 * thickness * float(bulge[0] - bulge[1])
        if abs(differ - due) > SAME * 0.5 * sum(sizes) + EXPLAINED * abs(due):
            both.append(f"its two sides, {sizes[0]:.4g} and {sizes[1]:.4g} m^2, differ by more than its wall explains")
        if self._even(thickness) < MOSTLY:
            low, high = self._wall_range()
            both.append(f"what lies back to back is {low * 1e3:.3g} to {high * 1e3:.3g} mm apart, no even wall")
        knife = self._knife()
        bare = strip < BARE * rim and not len(self._cracks())
        out = []
        for size, length in zip(sizes, long, strict=True):
            own = both.copy()
            if knife > KNIFE * length:
                own.append(f"its two sides meet in a knife edge along {knife * 1e3:,.4g} mm")
            if left > UNEXPLAINED * size:
                own.append(f"{plain(left, 3)} m^2 are neither a side nor within an edge of it")
            if bare and rim > UNEXPLAINED * size:
                own.append(f"its edges are {plain(strip, 3)} m^2 where rim x wall makes {plain(rim, 3)} m^2")
            out.append(tuple(own))
        return tuple(out)

    def _even(self, thickness: float) -> float:
        """Share of the sides, by area, whose wall is about the median one. [-]"""
        rows, behind, _, parallel = self.seen.first
        weight = self.seen.weight * (self.side[rows] >= 0)
        good = parallel & (np.abs(behind / thickness - 1.0) < EVEN)
        return float(weight[good].sum() / max(weight.sum(), 1e-300))

    def _wall_range(self) -> tuple[float, float]:
        """The wall at the first and last tenth of the area of what lies back to back. [m]"""
        _, behind, _, parallel = self.seen.first
        order = np.argsort(behind[parallel])
        share = np.cumsum(self.seen.weight[parallel][order])
        low, high = (behind[parallel][order[np.searchsorted(share, part * share[-1])]] for part in (0.1, 0.9))
        return float(low), float(high)

    @property
    def _ends(self) -> tuple[NDArray[np.int64], NDArray[np.int8], NDArray[np.int8]]:
        """The half-edges at which a side ends, whose side that is, and which one is beyond (-1 for neither)."""
        mate = self.mesh.mates.mate
        rows = self._measured[1]
        beyond = mate[rows]
        other = np.where(beyond >= 0, self.side[beyond // 3], np.int8(-1))
        return rows, self.side[rows // 3], other

    def _rim(self, side: int) -> tuple[Floats, Floats]:
        """Both ends of each edge where a side ends. [m]"""
        shared = self.mesh.mates.shared
        rows, own, _ = self._ends
        rows = rows[own == side]
        if len(shared):  # edges of many faces: only where an odd number of them is of the side
            many = np.concatenate([shared.ravel(), self.mesh.mates.many])
            odd = [of[0] for fan in fans(shared) if len(of := fan[self.side[fan // 3] == side]) % 2]
            rows = np.concatenate([rows[~np.isin(rows, many)], odd]).astype(np.int64)
        return self._edges(rows)

    def _edges(self, rows: NDArray[np.int64]) -> tuple[Floats, Floats]:
        mesh, (f, k) = self.mesh, np.divmod(rows, 3)
        return mesh.points[mesh.faces[f, k]], mesh.points[mesh.faces[f, (k + 1) % 3]]

    def _knife(self) -> float:
        """Length of the edges at which the two sides meet. [m]"""
        rows, own, other = self._ends
        return _length(*self._edges(rows[(own == 0) & (other == 1)]))

    def _cracks(self) -> NDArray[np.int64]:
        return np.flatnonzero(self.mesh.mates.mate == -1)

    def _unexplained(self, side: int, thickness: float, rim: tuple[Floats, Floats]) -> float:
        """Area of what is no side, no edge of this side, and no rib of the other.

        What lies far from this side's rim is a rib where its smooth patch doesn't meet this side, nor lies back to back
        with one that does: the walls of a tray, thicker than its floor, do.
        """
        rows = np.flatnonzero((self.side < 0) & (self.area > 0.0))
        if not len(rows):
            return 0.0
        patch = self.seen.patch
        meets = self._meeting(side)
        first, _, hit, _ = self.seen.first
        weight = self.seen.weight * (self.side[first] < 0)
        to_edge = (hit >= 0) & (self.side[hit] < 0) & meets[patch[hit]]
        met = np.bincount(patch[first], weight * to_edge, minlength=len(meets))
        meets |= met > PARTNER * np.bincount(patch[first], weight, minlength=len(meets))
        rows = rows[meets[patch[rows]]]
        if not len(rows):
            return 0.0
        few = rows[:: -(-len(rows) // _SAMPLES)]
        places = _along(*rim, thickness)
        if not len(places):
            return float(self.area[rows].sum())
        middle = self.mesh.points[self.mesh.faces[few]].mean(axis=1)
        far = alone(middle, places, REACH * thickness)
        return float(self.area[few[far]].sum() / self.area[few].sum() * self.area[rows].sum())

    def _meeting(self, side: int) -> Mask:
        """The smooth patches with something that is no side and meets this side at an edge, or within the patch."""
        rows, own, _ = self._ends
        there = self.mesh.mates.mate[rows[own == side]] // 3
        there = there[there >= 0]
        out = np.zeros(self.seen.patches, dtype=np.bool_)
        out[self.seen.patch[there[self.side[there] < 0]]] = True
        return out

    def pick(self, side: Side, name: str) -> Chosen:
        """The side asked for.

        Args:
            side: Which; see `side.parse_side`.
            name: What errors call the file.

        Raises:
            SurfaceError: a side that this shape does not have, with what can be written instead.
        """
        kind = self.kind
        if kind.word == "block":
            return self._of_block(side, name)
        if kind.word == "either":
            return self._in_doubt(side, name, 0)
        taken = self._of_two(side, name)
        if kind.doubts[taken]:
            return self._in_doubt(side, name, taken)
        other = kind.sizes[1 - taken]
        text = self.words_of_sheet(side, kind.sizes[taken], other)
        return self._chosen(taken, self._sums[taken, 1:4], text, kind.thickness, kind.strip, other)

    def _of_two(self, side: Side, name: str) -> int:
        return choose(self, [float(size) for size in self._sums[:, 0]], side, name)

    def words_of_sheet(self, side: Side, size: float, other: float) -> str:
        """What was found of a sheet, for a person. [m^2]"""
        kind = self.kind
        ribs = " and ribs" if kind.strip > 2.0 * kind.rim + UNEXPLAINED * size else ""
        return (
            f"a closed solid with a wall of {plain((kind.thickness or 0.0) * 1e3, 3)} mm: its {side.words} is used, "
            f"{plain(size, 4)} m^2; the other side ({plain(other, 4)} m^2) "
            f"and its edges{ribs} ({plain(kind.strip, 3)} m^2) are left out"
        )

    def _in_doubt(self, side: Side, name: str, taken: int) -> Chosen:
        """What may be a sheet or a block gives only the smooth face that a point names."""
        if side.kind == "touching":
            return self._of_block(side, name)
        doubts = "; ".join(self.kind.doubts[taken])
        raise SurfaceError(f"{name}: closed, but no plain sheet: {doubts}", self.remedy())

    def _of_block(self, side: Side, name: str) -> Chosen:
        """A smooth face of a block; see `pick`."""
        kind = self.kind
        if side.kind in ("outer", "inner"):
            depth = "" if kind.thickness is None else f", {plain(kind.thickness * 1e3, 3)} mm through"
            raise SurfaceError(f"{name}: a solid block{depth}: it has no {side.kind} skin", self.remedy())
        label, count = self.seen.patch, self.seen.patches
        if side.kind == "touching":
            taken = np.unique([label[self._nearest(place)] for place in (side.vector, *side.more)])
        else:
            towards = self.normal @ np.array(side.vector)
            taken = np.array([np.argmax(np.bincount(label, self.area * np.maximum(towards, 0.0), minlength=count))])
            own = label == taken
            if not towards[own].max() > 0.0:
                raise SurfaceError(f"{name}: no face looks that way", "Turn the direction of side round")
            behind = float(self.area[own & (towards < _SLANT)].sum())
            if behind > AWAY * float(self.area[own].sum()):
                whole = float(self.area[own].sum())
                raise SurfaceError(
                    f"{name}: the smooth face {side.text} goes round: {behind:.4g} of its {whole:.4g} m^2 look the "
                    "other way",
                    self.remedy(),
                )
        mask = np.isin(label, taken)
        self.side = np.where(mask, np.int8(0), np.int8(-1))
        area = float(self.area[mask].sum())
        text = (
            f"a closed solid block: of its {count} faces (parted at edges sharper than {plain(side.crease or 40.0, 4)} "
            f"degrees) {'the one' if len(taken) == 1 else f'the {len(taken)}'} {side.text} "
            f"{'is' if len(taken) == 1 else 'are'} used, {plain(area, 4)} m^2, {area / self.total:.0%} of the whole"
        )
        return self._chosen(0, self.area[mask] @ self.normal[mask], text)

    @property
    def flat(self) -> bool:
        """Whether the larger side of a sheet looks one way all over."""
        taken = int(np.argmax(self.kind.sizes))
        return is_flat(self._sums[taken, 1:4], self.kind.sizes[taken])

    def outer_first(self) -> tuple[int, int]:
        """The side that bulges, and the other one."""
        bulge = self.bulge()
        return (0, 1) if bulge[0] >= bulge[1] else (1, 0)

    def candidates(self) -> list[Candidate]:
        """The smooth faces, largest first, that are worth naming."""
        label, count = self.seen.patch, self.seen.patches
        size = np.bincount(label, self.area, minlength=count)
        out = []
        for patch in np.argsort(-size, kind="stable")[:_SHOWN].tolist():
            if size[patch] < 0.05 * self.total:
                break
            rows = np.flatnonzero(label == patch)
            weight = self.area[rows]
            facing = weight @ self.normal[rows]
            middles = self.mesh.points[self.mesh.faces[rows]].mean(axis=1)
            near = int(np.argmin(np.linalg.norm(middles - weight @ middles / weight.sum(), axis=1)))
            long = float(np.linalg.norm(facing))
            way = facing / long if long > 0.2 * size[patch] else np.zeros(3)
            out.append(Candidate(float(size[patch]), vector(way), vector(middles[near])))
        return out

    def remedy(self) -> str:
        """What can be written for the side of a block, its largest face first."""
        found = self.candidates()
        if not found:
            return 'Write side = "touching (x, y, z)" with a point of the face that is laid up'
        lines = [f"{touching(one.at)} ({plain(one.area, 4)} m^2, {looks(one.facing)})" for one in found]
        return (
            "Name the face that is laid up by a point on it (a face ends at edges sharper than 40 degrees): "
            + " or ".join(lines)
        )

    def _chosen(
        self,
        wanted: int,
        facing: Floats,
        text: str,
        thickness: float | None = None,
        strip: float | None = None,
        other: float | None = None,
    ) -> Chosen:
        mesh, turned, mask = self.mesh, self.turned, self.side == wanted
        return chosen(mesh, mask, turned, facing, text, (thickness, strip, other))

    @property
    def _sums(self) -> Floats:
        sums: Floats = self._measured[0]
        return sums

    @cached_property
    def _measured(self) -> tuple[Floats, NDArray[np.int64]]:
        mesh = self.mesh
        return side_sums(
            points=mesh.points,
            faces=mesh.faces,
            mate=mesh.mates.mate,
            normal=self.normal,
            area=self.area,
            turned=self.turned,
            side=self.side,
            shared=mesh.mates.shared,
        )

    def _nearest(self, place: Vector) -> int:
        return nearest_of(self.mesh.points, self.mesh.faces, np.array(place))

    def towards(self, direction: Vector) -> list[float]:
        """Area of each side times how far it faces a direction. [m^2]"""
        return [float(v) for v in self._sums[:, 1:4] @ np.array(direction)]

    def touched(self, place: Vector) -> int | None:
        """The side with the face nearest to a point; None where that face is an edge. [m]"""
        found = int(self.side[self._nearest(place)])
        return found if found >= 0 else None

    def bulge(self) -> list[float]:
        """Curvature of each side: sum of length times turning angle, positive where it bulges. [m]"""
        return [float(v) for v in self._sums[:, 4]]


def chosen(
    mesh: Welded,
    mask: Mask,
    turned: Mask,
    facing: Floats,
    text: str,
    wall: tuple[float | None, float | None, float | None],
) -> Chosen:
    """Some faces of a mesh as the side that was asked for.

    Args:
        mesh: All faces.
        mask: Those taken.
        turned: Those wound the other way.
        facing: Sum of area times normal of those taken. [m^2]
        text: What was found.
        wall: Thickness, strip and other side, as in `Chosen`.
    """
    side = np.where(mask, np.int8(0), np.int8(-1))
    whole = measure_chosen(mesh.points, mesh.faces, mesh.mates.mate, side, 0, mesh.mates.shared)
    in_file = mesh.in_order(mask)

    def rest() -> Mesh:
        points, faces = mesh.mesh()
        return points, faces[~in_file]

    thickness, strip, other = wall
    return Chosen(
        whole=whole,
        faces=in_file,
        mesh=lambda: mesh.taken(mask, turned),
        rest=rest,
        loops=lambda: mesh.loops(mask),
        thickness=thickness,
        strip=strip,
        other=other,
        flat=is_flat(facing, whole.area),
        text=text,
    )


def touching(at: Vector) -> str:
    """The `side` that names a point."""
    return 'side = "touching (' + ", ".join(f"{round(v * 1e3, 2) + 0.0:g} mm" for v in at) + ')"'


def looks(facing: Vector) -> str:
    """Where a face looks, in words."""
    if not any(facing):
        return "going round"
    return "facing (" + ", ".join(f"{round(v, 2) + 0.0:g}" for v in facing) + ")"


def _length(a: Floats, b: Floats) -> float:
    return float(np.linalg.norm(b - a, axis=1).sum())


def _along(a: Floats, b: Floats, thickness: float) -> Floats:
    """Points along lines, no further apart than half a wall, but at most some hundred thousand."""
    if not len(a):
        return a
    length = np.linalg.norm(b - a, axis=1)
    step = max(0.5 * thickness, float(length.sum()) / 200_000)
    many = np.maximum(np.ceil(length / step), 1).astype(np.int64)
    row = np.repeat(np.arange(len(a)), many)
    first = np.repeat(np.cumsum(many) - many, many)
    share = (np.arange(len(row)) - first + 0.5) / many[row]
    return np.asarray(a[row] + share[:, None] * (b - a)[row])
