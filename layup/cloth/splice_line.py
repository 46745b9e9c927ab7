"""Where a cloth locks: one straight splice that takes most of it away, tried out by draping both halves again.

    The best splice of a ply        propose(job, entry)
    Of every ply that locks         splices_of(job)

Planes square to the surface are tried: through the start in four directions, and before each place that locks, square
to the way there from the start. Each half is draped from its own middle with the warp unchanged. What is left locked
is compared with what was, on nets of the same fineness. A dart is not tried: slit the cloth from the edge to where it
begins to lock and lap it over; how much that gains is not worked out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.cloth import practice
from layup.cloth.draped import DrapedPly, drape_ply, shears
from layup.errors import LayupError
from layup.partfile.job import Job
from layup.partfile.model import PlyEntry
from layup.shape.progress import Told, nobody

Floats = NDArray[np.float64]

_COARSE = 1_500  # nodes to try a splice with
_WORTH = 0.25  # least share of the locked area that a splice must take away to be proposed
_MOST_SPOTS = 8_000
_PLACES = 2  # locked places looked at, the largest first


@dataclass(frozen=True, eq=False)
class Splice:
    """A splice that was tried.

    Attributes:
        through: A point of the line. [m]
        square: Unit vector square to the plane that cuts the ply.
        ends: Ends of the line on the surface (2, 3). [m]
        length: Of the seam. [m]
        overlap: Of the two pieces. [m]
        before: Area past the locking angle, in one piece. [m^2]
        after: The same of both pieces. [m^2]
        most_before: Greatest shear. [rad]
        most_after: The same of both pieces. [rad]
        more: Mass of cloth that the overlap adds. [kg]
    """

    through: Floats
    square: Floats
    ends: Floats
    length: float
    overlap: float
    before: float
    after: float
    most_before: float
    most_after: float
    more: float

    @property
    def gain(self) -> float:
        """Share of the locked area that it takes away. [-]"""
        return 1.0 - self.after / self.before


@dataclass(frozen=True, eq=False, slots=True)
class _Spots:
    """A zone as small spots: middles (n, 3) and areas (n,). [m, m^2]"""

    middle: Floats
    area: Floats


def propose(job: Job, entry: PlyEntry) -> Splice | None:
    """The straight splice that takes most of the locked area of a ply away.

    Returns:
        The splice; None where the ply doesn't lock, or no single splice takes a quarter of it away.

    Raises:
        LayupError: As `layup.cloth.draped.drape_ply`.
    """
    from layup.cloth.drape import small

    lies = drape_ply(job, entry)
    largest = int(np.argmax([d.area * d.locked for d in lies.on]))
    if not lies.on[largest].locked > 0.0:
        return None
    net, zone = lies.nets[largest], lies.triangles[largest]
    whole = net.sheet.points[net.sheet.faces[net.sheet.owner >= 0]]
    angle = math.radians(entry.angle)
    warp = job.part.surface.warp or (1.0, 0.0, 0.0)
    link = math.sqrt(lies.on[largest].area / _COARSE)
    locking = lies.locking
    fine = small(zone, link)
    size = 0.5 * np.linalg.norm(np.cross(fine[:, 1] - fine[:, 0], fine[:, 2] - fine[:, 0]), axis=1)
    middle, step = fine.mean(axis=1), max(1, len(fine) // _MOST_SPOTS)
    spots = _Spots(middle[::step], size[::step] * (size.sum() / size[::step].sum()))
    before = _try([(whole, spots)], warp, angle, link, locking, start=net.start)
    if before is None or before[0] <= 0.0:
        return None
    best: tuple[float, Floats, Floats] | None = None
    for through, square in _candidates(lies, largest):
        found = _halves(whole, spots, through, square)
        tried = _try(found, warp, angle, link, locking) if found is not None else None
        if tried is not None and (best is None or tried[0] < best[0]):
            best = (tried[0], through, square)
    if best is None or best[0] > (1.0 - _WORTH) * before[0]:
        return None
    _, through, square = best
    found = _halves(whole, spots, through, square)
    after = _try(found, warp, angle, net.link, locking) if found is not None else None
    on = lies.on[largest]
    first = on.locked * on.area
    if after is None or after[0] > (1.0 - _WORTH) * first:
        return None
    length, ends = _seam(zone, through, square)
    overlap = practice.overlap(entry.overlap)
    weight = job.library.get("fabric", entry.fabric or "").figure("areal_weight").value
    return Splice(
        through=through,
        square=square,
        ends=ends,
        length=length,
        overlap=overlap,
        before=first,
        after=after[0],
        most_before=on.most,
        most_after=after[1],
        more=length * overlap * weight,
    )


def splices_of(job: Job, told: Told = nobody) -> list[tuple[int, Splice | None]]:
    """For each ply of a part that locks, the cut that takes most of it away.

    Returns:
        Number of the ply and its splice, None where no single one is worth it.
    """
    found: list[tuple[int, Splice | None]] = []
    seen = set()
    number = 0
    for entry in job.part.plies():
        first, number = number + 1, number + entry.count
        key = (entry.fabric, entry.angle, entry.zone, entry.start)
        if entry.fabric is None or entry.area is not None or key in seen or not shears(job, entry):
            continue
        seen.add(key)
        if drape_ply(job, entry).locked > 0.005:
            told(f"ply {first} locks: looking for a splice", 0.0)
            found.append((first, propose(job, entry)))
    return found


def _candidates(lies: DrapedPly, largest: int) -> list[tuple[Floats, Floats]]:
    """Planes to try: a point and a direction square to each."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    net, on = lies.nets[largest], lies.on[largest]
    start, warp = net.start, net.warp
    normal = _normal(net.sheet.normal, net.sheet.points[net.sheet.faces].mean(axis=1), start)
    weft = np.cross(normal, warp)
    made = [
        (start, math.cos(turn) * warp + math.sin(turn) * weft)
        for turn in (0.0, math.pi / 4, math.pi / 2, 3 * math.pi / 4)
    ]
    fine, area, shear = on.pieces
    locked = np.flatnonzero(np.abs(shear) > lies.locking)
    middle = fine[locked].mean(axis=1)
    if len(locked) > 6000:
        pick = np.linspace(0, len(locked) - 1, 6000).astype(int)
        locked, middle = locked[pick], middle[pick]
    pairs = cKDTree(middle).query_pairs(4.0 * net.link, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(middle), len(middle)))
    count, label = connected_components(graph, directed=False)
    size = np.bincount(label, area[locked], count)
    for place in np.argsort(-size)[:_PLACES]:
        own = middle[label == place]
        centre = own.mean(axis=0)
        here = _normal(net.sheet.normal, net.sheet.points[net.sheet.faces].mean(axis=1), centre)
        way = centre - start
        way = way - way @ here * here
        if np.linalg.norm(way) < 1e-9:
            continue
        way = way / np.linalg.norm(way)
        nearest = own[int(np.argmin(own @ way))]
        made.append((nearest - 2.0 * net.link * way, way))
        made.append((centre, way))
    return made


def _normal(normals: Floats, middles: Floats, place: Floats) -> Floats:
    nearest: Floats = normals[int(np.argmin(np.linalg.norm(middles - place, axis=1)))]
    return nearest


def _halves(whole: Floats, spots: _Spots, through: Floats, square: Floats) -> list[tuple[Floats, _Spots]] | None:
    """The surface and the spots on either side of a plane; None where one side is next to nothing."""
    from layup.shape.clip import split

    low = (spots.middle - through) @ square <= 0.0
    share = float(spots.area[low].sum() / spots.area.sum())
    if not 0.02 < share < 0.98:
        return None
    one, two = split(whole, (whole - through) @ square)
    return [
        (one, _Spots(spots.middle[low], spots.area[low])),
        (two, _Spots(spots.middle[~low], spots.area[~low])),
    ]


def _try(
    sides: list[tuple[Floats, _Spots]],
    warp: tuple[float, float, float],
    angle: float,
    link: float,
    locking: float,
    start: Floats | None = None,
) -> tuple[float, float] | None:
    """Drape each side again: the area that locks and the greatest shear; None where one of them can't be draped."""
    from scipy.spatial import cKDTree

    from layup.cloth.drape import lay, middle_of
    from layup.shape.topology import edges_of, pieces, weld
    from layup.shape.walkable import ready

    locked = most = 0.0
    for side, spots in sides:
        points, faces = weld(np.round(side, 9))
        edges, _ = edges_of(faces)
        _, label = pieces(len(points), edges)
        of_face = label[faces[:, 0]]
        own = of_face[cKDTree(points[faces].mean(axis=1)).query(spots.middle)[1]]
        for name in np.unique(own):
            mine = own == name
            if spots.area[mine].sum() < 0.002 * spots.area.sum():
                continue
            part = faces[of_face == name]
            try:
                sheet = ready(points, part, lips=False)
                begin = start if start is not None else middle_of(points[part], warp)
                net = lay(sheet, begin, warp, angle=angle, link=link)
            except LayupError:
                return None
            apart, cell = cKDTree(net.middles).query(spots.middle[mine])
            near = np.asarray(apart < 1.5 * link)
            area, steep = spots.area[mine][near], np.abs(net.shear[np.asarray(cell)[near]])
            if not area.sum() > 0.9 * spots.area[mine].sum():
                return None
            locked += float(area @ (steep > locking))
            order = np.argsort(steep)
            up = np.cumsum(area[order])
            most = max(most, float(steep[order][min(int(np.searchsorted(up, 0.999 * up[-1])), len(up) - 1)]))
    return locked, most


def _seam(zone: Floats, through: Floats, square: Floats) -> tuple[float, Floats]:
    """Length of the line where a plane cuts the zone, and its two ends. [m]"""
    value = (zone - through) @ square
    cut = (value.min(axis=1) < 0) & (value.max(axis=1) > 0)
    soup, value = zone[cut], value[cut]
    ends = []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        crosses = value[:, i] * value[:, j] < 0
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(crosses, value[:, i] / (value[:, i] - value[:, j]), np.nan)
        place = soup[:, i] + share[:, None] * (soup[:, j] - soup[:, i])
        ends.append(place)
    stacked = np.stack(ends, axis=1)
    low, high = np.nanmin(stacked, axis=1), np.nanmax(stacked, axis=1)
    length = float(np.linalg.norm(high - low, axis=1).sum())
    points = stacked.reshape(-1, 3)
    points = points[~np.isnan(points).any(axis=1)]
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    along = (points - middle) @ axes[0]
    return length, np.stack([points[int(np.argmin(along))], points[int(np.argmax(along))]])
