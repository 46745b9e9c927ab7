"""Plies draped over the part: how much heavier the sheared cloth is, and which way its threads come to lie.

    The cloth of one ply on its zone                  drape_ply(job, entry)
    How much its areal weight rises                   draped(job, entry)

Only done where the part file asks for it: `drape = true` or `start = [...]` in its `[surface]`, or a `start` of the
ply's own. What does not shear (unidirectional, mat, veil) keeps its weight.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.reading import Json
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.shape.conditions import asks_for_rings
from layup.shape.measure import measure_triangles
from layup.sides.mould import seen

if TYPE_CHECKING:
    from layup.cloth.drape import Draped, Net
    from layup.shape.surface import Surface

Floats = NDArray[np.float64]

SHEARS = ("cloth", "spread tow", "roving", "biaxial")
"""Forms of reinforcement that follow a shape by shearing."""
TYPICAL_LOCKING = math.radians(45.0)
"""Where a weave is taken to lock when no table says: common practice, no source. [rad]"""
_MOST_PIECES = 12
_FEWEST = 400  # nodes of a piece that is one of many
_CROP = 1.6  # a zone's cloth is laid on so much of the surface round it, in radii of the zone


@dataclass(frozen=True, eq=False)
class DrapedPly:
    """One ply as it lies on its zone.

    Attributes:
        net: The cloth; of the largest piece where the zone is in several.
        nets: One for each piece of the surface.
        triangles: Of the zone, piece by piece, as many as nets. [m]
        on: What the cloth does on each piece.
        locking: Shear at which it locks. [rad]
        typical: Whether that is only assumed, for want of a measured or printed one.
        alike: How many pieces there are like each; more than one only for rings on a flat surface.
    """

    nets: tuple[Net, ...]
    triangles: tuple[Floats, ...]
    on: tuple[Draped, ...]
    locking: float
    typical: bool
    alike: tuple[int, ...]

    @property
    def net(self) -> Net:
        """The cloth on the largest piece."""
        return self.nets[int(np.argmax([d.area for d in self.on]))]

    def mean(self, values: Iterable[float]) -> float:
        """Mean over the pieces, by area."""
        area = np.array([d.area for d in self.on]) * self.alike
        return float(np.array(list(values)) @ area / area.sum())

    @property
    def factor(self) -> float:
        """Areal weight over that of the flat cloth. [-]"""
        return self.mean(d.factor for d in self.on)

    @property
    def locked(self) -> float:
        """Share of the area past the locking angle. [-]"""
        return self.mean(d.locked for d in self.on)

    @property
    def bare(self) -> float:
        """Share of the area the net did not reach. [-]"""
        return self.mean(d.bare for d in self.on)

    @property
    def most(self) -> float:
        """Greatest shear. [rad]"""
        return max(d.most for d in self.on)

    def as_json(self) -> Json:
        """For scripts: angles in degrees, from the part's warp direction."""
        largest = self.on[int(np.argmax([d.area for d in self.on]))]

        def spread(values: tuple[float, float, float]) -> dict[str, float]:
            return {key: math.degrees(v) for key, v in zip(("mean", "p05", "p95"), values, strict=True)}

        return {
            "factor": self.factor,
            "shear_mean_deg": math.degrees(self.mean(d.shear for d in self.on)),
            "shear_max_deg": math.degrees(self.most),
            "locking_angle_deg": math.degrees(self.locking),
            "locking_angle_assumed": self.typical,
            "locked_fraction": self.locked,
            "bare_fraction": self.bare,
            "start_m": [float(v) for v in self.net.start],
            "warp_angle_deg": spread(largest.warp_angle),
            "weft_angle_deg": spread(largest.weft_angle),
        }


_KEPT: WeakKeyDictionary[Surface, dict[Hashable, Any]] = WeakKeyDictionary()


def asked(job: Job, entry: PlyEntry) -> bool:
    """Whether the part file wants this ply draped."""
    surface = job.part.surface
    if entry.fabric is None or entry.area is not None or surface.drape is False or not job.surface.has_mesh:
        return False
    return bool(surface.drape) or surface.start is not None or entry.start is not None


def shears(job: Job, entry: PlyEntry) -> bool:
    """Whether this ply's cloth follows a shape by shearing; cut in gores it need not."""
    if entry.gores is not None:
        return False
    material = job.library.find("fabric", entry.fabric or "")
    return material is not None and (material.word("form") or "cloth") in SHEARS


def directed(job: Job, entry: PlyEntry) -> bool:
    """Whether this ply's cloth has a warp, or its core a ribbon; mat, veil, foam and balsa lie alike either way."""
    if entry.core is not None:
        return (job.library.get("core", entry.core).word("form") or "") == "honeycomb"
    material = job.library.find("fabric", entry.fabric or "")
    return material is None or material.word("form") not in ("mat", "veil")


def seen_faces(job: Job) -> NDArray[np.int64]:
    """The faces of the surface, turned to look at the person at the mould where the part file says where that is.

    So angles turn, and patterns come out, as that person sees them: with `mould = "female"` mirrored to the outside.
    """
    return seen(job.surface, job.part.surface.mould).faces


def seen_triangles(job: Job, triangles: Floats) -> Floats:
    """Triangles of the surface (n, 3, 3), turned as `seen_faces` are. [m]"""
    drawn, shown = job.surface.faces, seen_faces(job)
    away = (drawn != shown).any(axis=1)
    if not away.any():
        return triangles
    if not away.all():
        from scipy.spatial import cKDTree

        middles = job.surface.vertices[drawn].mean(axis=1)
        away = away[cKDTree(middles).query(triangles.mean(axis=1))[1]]
        return np.asarray(np.where(away[:, None, None], triangles[:, ::-1], triangles))
    return np.asarray(triangles[:, ::-1])


def draped(job: Job, entry: PlyEntry) -> DrapedPly | None:
    """The ply draped, where the part file asks for it and the cloth shears; else None."""
    return drape_ply(job, entry) if asked(job, entry) and shears(job, entry) else None


def locking_of(job: Job, fabric: str) -> tuple[float, bool]:
    """Angle at which a fabric locks, and whether that is only assumed. [rad]"""
    material = job.library.find("fabric", fabric)
    figure = material.optional("locking_angle") if material is not None else None
    if figure is None:
        return TYPICAL_LOCKING, True
    return math.radians(figure.value), figure.kind == "assumed"


def drape_ply(job: Job, entry: PlyEntry, *, nodes: int | None = None) -> DrapedPly:
    """Lay the cloth of one ply.

    Args:
        job: The part file, read.
        entry: The ply.
        nodes: About how many nodes to lay.

    Returns:
        The ply as it lies, kept for the next who asks.

    Raises:
        SurfaceError: Its start lies off the surface, the warp stands square to it, or the surface has no shape.
    """
    from layup.cloth.drape import NODES

    job = job.covering(entry.over)
    locking, typical = locking_of(job, entry.fabric or "")
    start = entry.start if entry.start is not None else job.part.surface.start
    own = entry.start is not None
    warp = job.part.surface.warp or (1.0, 0.0, 0.0)
    mould = job.part.surface.mould
    key = (entry.zone or WHOLE, start, own, warp, entry.angle % 360.0, locking, typical, nodes or NODES, mould)
    kept = _KEPT.setdefault(job.surface, {})
    if key not in kept:
        kept[key] = _lay(
            job=job,
            entry=entry,
            start=start,
            own=own,
            warp=warp,
            locking=locking,
            typical=typical,
            nodes=nodes or NODES,
        )
    found: DrapedPly = kept[key]
    return found


def zone_of(job: Job, zone: str | None) -> Floats:
    """Triangles of a zone, or of the whole. [m]"""
    if not job.surface.has_mesh:
        raise SurfaceError(
            f"{job.surface.name}: only its area is known, so nothing can be draped over it",
            "Give a mesh, an outline or a rectangle in [surface]",
        )
    if zone is None or zone == WHOLE:
        return np.asarray(job.surface.vertices[job.surface.faces])
    triangles = job.zone_triangles(zone)
    if triangles is None:
        raise SurfaceError(f'zone "{zone}": only its area is known, so it has no shape', "Say where it lies")
    return triangles


def _lay(
    job: Job,
    entry: PlyEntry,
    start: tuple[float, float, float] | None,
    own: bool,
    warp: tuple[float, float, float],
    locking: float,
    typical: bool,
    nodes: int,
) -> DrapedPly:
    from layup.cloth.drape import lay, over
    from layup.shape.walkable import ready

    zone = zone_of(job, entry.zone)
    nets: list[Net] = []
    parts: list[Floats] = []
    on: list[Draped] = []
    kept = _KEPT.setdefault(job.surface, {})
    rings = [] if own else ring_pieces(job, entry.zone, zone)
    facing = seen_faces(job)
    laid = [(job.surface.vertices, facing, ring[0]) for ring in rings] or _pieces(job, zone)
    nodes = max(nodes // len(laid), _FEWEST) if rings else nodes
    for number, (points, faces, triangles) in enumerate(laid):
        begin = start
        if rings:
            x, y, z = (float(v) for v in rings[number][1])
            begin = (x, y, z)
            mesh = near_faces(points, faces, triangles, rings[number][1])
            sheet = ready(points, mesh, lips=False)
            sheet = replace(sheet, owner=np.maximum(sheet.owner, 0))  # laid from the middle of the hole, over its lid
            link = math.sqrt(_area(triangles) / nodes)
            net = lay(sheet, begin, warp, angle=math.radians(entry.angle), link=link)
            nets.append(net)
            parts.append(triangles)
            on.append(over(net, triangles, locking=locking, along=np.asarray(warp, dtype=np.float64)))
            continue
        if entry.zone not in (None, WHOLE) and not own:
            begin = _centre(triangles, warp) or start
        mesh = faces
        if begin is not None and entry.zone not in (None, WHOLE):
            mesh = near_faces(points, faces, triangles, np.asarray(begin))
        if begin is not None and parts and not own:
            begin = None  # a start belongs to one piece; the others start in their middle
        if mesh is not faces:
            sheet = ready(points, mesh)
        else:
            mark = ("sheet", len(faces), *faces[0].tolist())
            if mark not in kept:
                kept[mark] = ready(points, faces)
            sheet = kept[mark]
        link = math.sqrt(max(_area(triangles), 1e-3 * sheet.area) / nodes)
        net = lay(sheet, begin, warp, angle=math.radians(entry.angle), link=link)
        nets.append(net)
        parts.append(triangles)
        on.append(over(net, triangles, locking=locking, along=np.asarray(warp, dtype=np.float64)))
    alike = tuple(ring[2] for ring in rings) or (1,) * len(nets)
    return DrapedPly(tuple(nets), tuple(parts), tuple(on), locking, typical, alike)


def _area(triangles: Floats) -> float:
    """Of loose triangles, all together. [m^2]"""
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return float(np.linalg.norm(across, axis=1).sum()) / 2.0


def ring_pieces(job: Job, zone: str | None, triangles: Floats) -> list[tuple[Floats, Floats, int]]:
    """Rings round holes one by one, for each is a piece of cloth by itself.

    Args:
        job: The part file, read.
        zone: Name of the zone.
        triangles: Of it. [m]

    Returns:
        Triangles of each piece, the middle of the holes in it, and how many there are like it; from the largest. Rings
        that run into each other are one piece; on a flat surface those of one shape are given once. Empty where the
        zone is not one of rings.
    """
    entry = next((z for z in job.part.zone if z.name == zone), None)
    if entry is None or not job.holes or not asks_for_rings(entry.within):
        return []
    from layup.shape.topology import edges_of, pieces, weld

    points, faces = weld(np.round(triangles, 7))
    edges, _ = edges_of(faces)
    count, label = pieces(len(points), edges)
    own = label[faces[:, 0]]
    middles = np.concatenate([one.places for one in job.holes.values()])
    found = []
    for number in range(count):
        piece = triangles[own == number]
        if not len(piece):
            continue
        soup = piece.reshape(-1, 3)
        low, high = soup.min(axis=0), soup.max(axis=0)
        slack = 0.25 * (high - low).max()
        inside = ((middles >= low - slack) & (middles <= high + slack)).all(axis=1)
        middle = middles[inside].mean(axis=0) if inside.any() else 0.5 * (low + high)
        found.append((piece, middle))
    found.sort(key=lambda pair: (-round(_area(pair[0]), 7), *pair[1].round(6).tolist()))
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    long = np.linalg.norm(across, axis=1)
    flat = bool((np.abs(across @ across[int(long.argmax())]) >= (1.0 - 1e-9) * long * long.max()).all())
    return _once(found) if flat else [(piece, middle, 1) for piece, middle in found]


def _once(found: list[tuple[Floats, Floats]]) -> list[tuple[Floats, Floats, int]]:
    """Flat pieces of one shape once, with how many there are: by area, centroid and second moment from the middle."""
    kinds: list[tuple[Floats, Floats, int]] = []
    shapes: list[Floats] = []
    for piece, middle in found:
        whole = measure_triangles(piece - middle)
        size = math.sqrt(whole.area)
        centre, second = np.array(whole.centroid) / size, np.array(whole.second_moment) / size**4
        shape = np.array([size, *(size * centre), *(size * second.ravel())])
        same = [k for k, other in enumerate(shapes) if np.abs(other - shape).max() < 1e-4 * size]
        if same:
            kinds[same[0]] = (*kinds[same[0]][:2], kinds[same[0]][2] + 1)
        else:
            kinds.append((piece, middle, 1))
            shapes.append(shape)
    return kinds


def _pieces(job: Job, zone: Floats) -> list[tuple[Floats, NDArray[np.int64], Floats]]:
    """Each piece of the surface that the zone has a share of, the largest share first: its mesh, and that share."""
    from scipy.spatial import cKDTree

    from layup.shape.topology import edges_of, pieces

    points, faces = job.surface.vertices, seen_faces(job)
    edges, _ = edges_of(faces)
    _, label = pieces(len(points), edges)
    of_face = label[faces[:, 0]]
    names = np.unique(of_face)
    if len(names) == 1:
        return [(points, faces, zone)]
    _, near = cKDTree(points).query(zone.mean(axis=1))
    own = label[near]
    area = np.linalg.norm(np.cross(zone[:, 1] - zone[:, 0], zone[:, 2] - zone[:, 0]), axis=1)
    share = {int(name): float(area[own == name].sum()) for name in names}
    ranked = sorted((n for n in share if share[n] > 1e-3 * area.sum()), key=lambda n: -share[n])
    return [(points, faces[of_face == name], zone[own == name]) for name in ranked[:_MOST_PIECES]]


def _centre(triangles: Floats, warp: tuple[float, float, float]) -> tuple[float, float, float] | None:
    """The middle of a compact zone; None for a ring or a strip round an edge, which goes with the whole."""
    from layup.cloth.drape import middle_of

    area = 0.5 * np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    whole = float(area.sum())
    middles = triangles.mean(axis=1)
    foot = middle_of(triangles, warp)
    reach = 0.25 * math.sqrt(whole)
    there = float(area[np.linalg.norm(middles - foot, axis=1) < reach].sum())
    if np.linalg.norm(foot - area @ middles / whole) > 2.0 * reach or there < 0.5 * math.pi * reach**2:
        return None
    x, y, z = (float(v) for v in foot)
    return x, y, z


def near_faces(points: Floats, faces: NDArray[np.int64], triangles: Floats, start: Floats) -> NDArray[np.int64]:
    """The faces round a zone that its cloth can reach."""
    soup = triangles.reshape(-1, 3)
    middle = 0.5 * (soup.min(axis=0) + soup.max(axis=0))
    reach = max(float(np.linalg.norm(soup - middle, axis=1).max()), float(np.linalg.norm(start - middle))) * _CROP
    corner = points[faces]
    centre = corner.mean(axis=1)
    round_ = np.linalg.norm(corner - centre[:, None], axis=2).max(axis=1)
    near: NDArray[np.int64] = faces[np.linalg.norm(centre - middle, axis=1) - round_ < reach]
    return near
