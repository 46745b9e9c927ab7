"""Flat patterns: every ply as it is cut, the warp along +x, with what it needs to find its place on the mould.

    All plies of a part            flat_plies(job)

A pattern is seen by the person who lays up, from the bag side, looking at the mould; where the part file does not say
where the mould is, from the side that the drawn surface faces, and each piece asks. Its cut line is the edge of the
zone, grown by what is trimmed off later; the edge itself, cut-outs and holes are marked to be drawn, not cut: a cut-out
in a ply over the whole surface is cut after the cure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.cloth import practice
from layup.cloth.draped import DrapedPly, directed, drape_ply, ring_pieces, seen_faces, shears
from layup.cloth.splice import splice
from layup.errors import LayupError, PatternError, SurfaceError, WrongSizeError
from layup.partfile.job import Job
from layup.partfile.model import OPENINGS, WHOLE, PlyEntry
from layup.shape.measure import measure_triangles
from layup.shape.plan import Plan
from layup.sides.mould import seen
from layup.words import angle_words, area_words, length_words

if TYPE_CHECKING:
    from shapely import LineString, Polygon
    from shapely.geometry.base import BaseGeometry

    from layup.cloth.drape import Net
    from layup.cloth.laid_flat import Map
    from layup.shape.holes import Pattern

Floats = NDArray[np.float64]
Pair = tuple[float, float]

ALIKE = 0.01
"""Pieces whose outlines differ by less than this share of their area are cut alike. [-]"""
NOTCH = 0.006
"""Length of the mark where a centre line meets the edge; common practice. [m]"""
STEEP = 0.35
"""Part of a direction that must lie in the surface for it to be drawn on a pattern: it is within 70° of it. [-]"""
STIFF = 0.02
"""Stretch beyond which a ply that doesn't shear needs a cut; common practice: beyond 2 % it wrinkles. [-]"""


OFF = 0.02
"""A pattern whose area is further than this from that of the cloth it stands for is not printed. [-]"""


@dataclass(frozen=True, slots=True)
class Drill:
    """A hole of the part, to be marked on the ply.

    Attributes:
        at: Its middle. [m]
        diameter: [m]
        name: What the drawing calls it.
    """

    at: Pair
    diameter: float
    name: str


@dataclass(frozen=True, eq=False)
class FlatPly:
    """One piece of one ply, flat, the warp along +x. All lengths in metres.

    Attributes:
        number: Of the ply in the layup, from 1, from the mould up; cores counted.
        name: What is written on it: "4", or "4a" and "4b" where it is in pieces.
        count: How many of this number follow each other alike; it is cut so many times.
        fabric: Name of the cloth.
        angle: Of the warp on the part. [deg]
        zone: Where it goes.
        outline: The cut line.
        edge: The edge of the part or zone inside it, with its cut-outs.
        centre: Centre lines through the start, along the warp and square to it.
        notches: Short marks at the cut line where the centre lines meet it.
        start: Where the ply is laid first; outside the outline where another piece has it.
        drills: Holes of the part.
        seams: Where the edge of the neighbouring strip comes to lie.
        area: True area of the surface that it covers (m^2), without what is trimmed; of the whole ply.
        stretch: Least and greatest stretch of a stiff ply; None for a cloth that shears. [-]
        notes: What to know before it is cut, a sentence each.
        alike: How many pieces of this shape the ply has, at different places: one for each hole.
        directed: Whether the cloth has a warp; mat and veil have none.
        sides: Two short lines: how it is seen, and which face of it goes to the mould.
        ways: Directions of the part drawn beside the warp, as name and unit vector: 0°, forward, up.
    """

    number: int
    name: str
    count: int
    fabric: str
    angle: float
    zone: str
    outline: Polygon
    edge: BaseGeometry
    centre: tuple[LineString, ...]
    notches: tuple[LineString, ...]
    start: Pair
    drills: tuple[Drill, ...]
    seams: tuple[LineString, ...]
    area: float
    stretch: tuple[float, float] | None
    notes: tuple[str, ...]
    alike: int = 1
    directed: bool = True
    sides: tuple[str, str] = ("", "")
    ways: tuple[tuple[str, Pair], ...] = ()

    def __repr__(self) -> str:
        return f"FlatPly({self.title!r}, {self.area:.4f} m^2)"

    @property
    def pieces(self) -> int:
        """How often it is cut. [-]"""
        return self.count * self.alike

    @property
    def title(self) -> str:
        """What stands on it: number, cloth, angle, zone."""
        times = f" (cut {self.pieces})" if self.pieces > 1 else ""
        angle = angle_words(self.angle) if self.directed else "no warp, any way round"
        return f"Ply {self.name}: {self.fabric}, {angle}, {self.zone}{times}"


Progress = Callable[[int, int], None]
"""Called with how many lines of the layup are done, of how many."""


def flat_plies(
    job: Job,
    *,
    trim: float | None = None,
    holes: Pattern | None = None,
    along: tuple[float, float, float] = (0.0, 0.0, 1.0),
    widths: dict[str, float] | None = None,
    nodes: int | None = None,
    progress: Progress | None = None,
) -> tuple[FlatPly, ...]:
    """Flat patterns of all plies of fabric, in laying order.

    Args:
        job: The part file, read.
        trim: Laid up beyond the edge and cut off later; the part file's `trim` if left out. [m]
        holes: Holes of the part in plan, to be marked.
        along: Direction from which the plan is seen.
        widths: Width of the roll in the shop, by fabric, where it is not the table's. [m]
        nodes: About how many nodes of the net to lay.
        progress: Called after each line of the layup.

    Returns:
        The patterns; a ply wider than its roll is in strips.

    Raises:
        PatternError: A pattern would leave out cloth, or have more than there is; it holds the other patterns.
        LayupError: A ply given only by its area has no shape; a start off the surface; a warp square to it.
    """
    width = job.part.trim if trim is None else trim
    if width is not None and not 0.0 <= width <= 0.5:
        raise LayupError(
            f"a trim of {width * 1e3:g} mm can't be: it is what is laid up beyond the edge and cut off later. "
            "Write 0 to 500 mm"
        )
    entries = job.part.plies()
    made: list[FlatPly] = []
    number = 0
    kept: dict[tuple[object, ...], tuple[FlatPly, ...] | str] = {}
    refused: dict[int, str] = {}
    for line, entry in enumerate(entries):
        number += 1
        first, number = number, number + entry.count - 1
        if entry.fabric is not None:
            if entry.area is not None:
                raise LayupError(
                    f"ply {first} is given by its area alone, so it has no pattern. Give it a zone, or cut it by hand"
                )
            key = (entry.fabric, entry.angle, entry.zone, entry.start, entry.overlap, entry.over)
            if key not in kept:
                try:
                    kept[key] = _one(job, entry, width or 0.0, holes, along, widths or {}, nodes)
                except SurfaceError as error:
                    if not isinstance(error, WrongSizeError):
                        raise
                    kept[key] = str(error)
            found = kept[key]
            if isinstance(found, str):
                refused[line] = f"Ply {first}, {entry.fabric} on {entry.zone or WHOLE}: {found}"
            else:
                made += [replace(p, number=first, name=f"{first}{p.name}", count=entry.count) for p in found]
        if progress is not None:
            progress(line + 1, len(entries))
    if refused:
        raise PatternError(refused, tuple(made))
    if not made:
        raise LayupError("there is no ply of fabric in the layup, so there is nothing to cut")
    return tuple(made)


def _one(
    job: Job, entry: PlyEntry, trim: float, holes: Pattern | None, along: tuple[float, float, float],
    widths: dict[str, float], nodes: int | None,
) -> tuple[FlatPly, ...]:  # fmt: skip
    """The pieces of one ply; their names are only letters."""
    import shapely

    lies = drape_ply(job, entry, nodes=nodes)
    whole = entry.zone in (None, WHOLE)
    grow = trim if whole else 0.0
    pieces: list[FlatPly] = []
    marked = _on_surface(job, holes, along) if holes is not None else []
    marked += _of_part(job, entry)
    rings = bool(ring_pieces(job, entry.zone, np.concatenate(lies.triangles))) and entry.start is None
    for net, laid, alike in zip(lies.nets, lies.triangles, lies.alike, strict=True):
        begun = len(pieces)
        there, triangles, found, notes, stretch = _laid_flat(job, entry, lies, net, laid, whole)
        if not found:
            continue
        edge = shapely.union_all(found)
        area = measure_triangles(triangles).area
        cut = shapely.union_all([shapely.Polygon(p.exterior) for p in found]) if whole else edge
        cut = cut.buffer(grow, join_style="mitre", mitre_limit=2.0) if grow else cut
        near = [d for d in marked if _covers(triangles, d[0], max(there.link, 1.1 * d[1]))]
        drills = tuple(
            Drill((float(x), float(y)), d[1], d[2])
            for d, (x, y) in zip(near, there.there(np.array([d[0] for d in near])) if near else [], strict=True)
        )
        for part in sorted(shapely.get_parts(cut), key=lambda p: (-p.area, p.bounds)):
            pieces += _strips(job, entry, part, edge, drills, area, stretch, tuple(notes), widths)
        ways = _ways(job, entry, net)
        pieces[begun:] = [replace(piece, alike=alike, ways=ways) for piece in pieces[begun:]]
    pieces = _alike(pieces) if rings else pieces
    letters = len(pieces) > 1
    sides, warp = seen(job.surface, job.part.surface.mould).piece, directed(job, entry)
    return tuple(
        replace(p, name=_letter(n) if letters else "", sides=sides, directed=warp) for n, p in enumerate(pieces)
    )


def _laid_flat(
    job: Job, entry: PlyEntry, lies: DrapedPly, net: Net, laid: Floats, whole: bool
) -> tuple[Map, Floats, list[Polygon], list[str], Pair | None]:
    """A piece of a ply in the flat: its map, its triangles, its outlines, what to know of it, and its stretch.

    Cloth that shears lies as its net does. Where that net tears, round a closed corner or a turned lip, the shape is
    laid flat stiffly. What then has another area than the cloth is no pattern.

    Raises:
        WrongSizeError: Its area is not the cloth's.
    """
    import shapely

    from layup.cloth.drape import over, without_lips
    from layup.cloth.laid_flat import from_net, outlines

    tries: list[tuple[float, float]] = []
    if shears(job, entry):
        there = from_net(net)
        triangles = without_lips(net, laid) if whole else laid
        found = outlines(triangles, there)
        cloth = over(net, laid)
        flat = shapely.union_all(found).area
        # what is turned down round a cut-out is cloth too: the cloth that runs across it, slit and folded over
        across = shapely.union_all([shapely.Polygon(p.exterior) for p in found]).area - flat if whole else 0.0
        turned = measure_triangles(laid).area - measure_triangles(triangles).area
        tries.append((flat + min(turned, across), cloth.area * cloth.factor))
        if _fits(*tries[-1]):
            return there, triangles, found, _cloth_notes(lies), None
    there = _stiff(job, entry, net.start, laid)
    assert there.flat is not None
    found = outlines(laid, there)
    tries.append((shapely.union_all(found).area, measure_triangles(laid).area))
    if not _fits(*tries[-1]) or there.flat.folded:
        flat, wanted = min(tries, key=lambda pair: abs(pair[0] - pair[1]))
        raise WrongSizeError(
            f"the flat pattern has {area_words(flat, 'both')} and the cloth on the part {area_words(wanted, 'both')}, "
            f"{abs(flat / wanted - 1.0) * 100:.1f} % {'less' if flat < wanted else 'more'}, so it is not printed: it "
            "can't be laid flat in one piece without tearing or folding",
            "A closed corner, a tube, a nose or a deep draw needs a seam: part the ply in zones that each open flat",
        )
    stretch = there.flat.worst
    notes = []
    if max(1.0 - stretch[0], stretch[1] - 1.0) > STIFF:
        why = "doesn't shear" if not tries[:-1] else "does not follow by shearing alone"
        notes.append(
            f"{why} and would have to stretch {(stretch[0] - 1) * 100:.1f} to {(stretch[1] - 1) * 100:+.1f} %: cut it "
            "in narrower strips or slit it"
        )
    return there, laid, found, notes, stretch


def _fits(flat: float, cloth: float) -> bool:
    return abs(flat - cloth) <= OFF * cloth


def _ways(job: Job, entry: PlyEntry, net: Net) -> tuple[tuple[str, Pair], ...]:
    """Directions of the part as they lie in the flat where the ply is laid first, the warp along +x."""
    from layup.shape.walkable import foot

    turn = math.radians(entry.angle)
    ways = [("0°", (math.cos(turn), -math.sin(turn)))] if directed(job, entry) else []
    face, _, _ = foot(net.sheet, net.start)
    weft = np.cross(net.sheet.normal[face], net.warp)
    for name, way in (("forward", job.part.surface.forward), ("up", job.part.surface.up)):
        if way is None:
            continue
        unit = np.asarray(way, dtype=np.float64) / np.linalg.norm(way)
        x, y = float(unit @ net.warp), float(unit @ weft)
        if (size := math.hypot(x, y)) > STEEP:  # it runs along the surface there, not through it
            ways.append((name, (x / size, y / size)))
    return tuple(ways)


def _of_part(job: Job, entry: PlyEntry) -> list[tuple[Floats, float, str]]:
    """Holes of the part that are drilled through this ply, and fasteners it has to match: place, diameter, name."""
    marked = [
        (place, hole.diameter, f"{hole.name} of {name}")
        for name, one in job.holes.items() if name not in entry.over and OPENINGS not in entry.over
        for place, hole in zip(one.places, one.pattern.holes, strict=True)
    ]  # fmt: skip
    for old in job.fasteners:
        marked += _on_surface(job, old.pattern, old.plan.way, off=False)
    return marked


def _alike(pieces: list[FlatPly]) -> list[FlatPly]:
    """Pieces of one shape taken as one, with how many there are."""
    import shapely

    kinds: list[FlatPly] = []
    for piece in pieces:
        for number, kind in enumerate(kinds):
            one, two = piece.outline, kind.outline
            if abs(one.area - two.area) > ALIKE * two.area:
                continue
            if shapely.symmetric_difference(one, two).area < ALIKE * two.area:
                kinds[number] = replace(kind, alike=kind.alike + piece.alike)
                break
        else:
            kinds.append(piece)
    return [
        replace(k, notes=(*k.notes, f"is {k.alike} pieces of one shape, one for each hole")) if k.alike > 1 else k
        for k in kinds
    ]


def _cloth_notes(lies: DrapedPly) -> list[str]:
    notes = []
    if lies.locked > 0.001:
        lock = math.degrees(lies.locking)
        notes.append(
            f"locks (past {lock:.0f}°) on {lies.locked * 100:.1f} % of its area: it wrinkles there, or needs a cut"
        )
    if lies.bare > 0.005:
        notes.append(f"the net doesn't reach {lies.bare * 100:.1f} % of the surface: the outline is a guess there")
    return notes


def _stiff(job: Job, entry: PlyEntry, start: Floats, triangles: Floats) -> Map:
    """The map of a ply that doesn't shear, over the piece of the surface that it lies on."""
    from layup.cloth.laid_flat import from_stiff
    from layup.shape.nearest import nearest_face, nearest_points
    from layup.shape.topology import face_pairs, pieces

    job = job.covering(entry.over)
    points, faces = job.surface.vertices, seen_faces(job)
    if entry.zone not in (None, WHOLE):
        from layup.cloth.draped import near_faces

        feet = nearest_points(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3), start)
        start = feet[int(np.argmin(np.linalg.norm(feet - start, axis=1)))]  # the middle of a ring is a hole
        faces = near_faces(points, faces, triangles, start)
    pairs, _, _ = face_pairs(faces)
    _, label = pieces(len(faces), pairs)
    own = faces[label == label[nearest_face(points, faces, start)]]
    warp = job.part.surface.warp or (1.0, 0.0, 0.0)
    return from_stiff(points, own, start, warp, math.radians(entry.angle))


def _strips(
    job: Job, entry: PlyEntry, cut: Polygon, edge: BaseGeometry, drills: tuple[Drill, ...], area: float,
    stretch: tuple[float, float] | None, notes: tuple[str, ...], widths: dict[str, float],
) -> list[FlatPly]:  # fmt: skip
    """One outline as one piece, or in strips along its warp where it is wider than the roll."""
    import shapely

    fabric = entry.fabric or ""
    figure = job.library.get("fabric", fabric).optional("width")
    width = widths.get(fabric, figure.value if figure is not None else None)
    overlap = entry.overlap if entry.overlap is not None else practice.OVERLAP.value
    shapes: Sequence[Polygon] = (cut,)
    seams: list[LineString] = []
    if width is not None:
        usable = width - 2 * practice.EDGE.value
        joined = splice(cut, usable, overlap)
        shapes = joined.shapes
        if len(shapes) > 1:
            _, low, _, high = cut.bounds
            count = math.ceil((high - low - overlap) / (usable - overlap) - 1e-9)
            strip = (high - low + (count - 1) * overlap) / count
            for number in range(1, count):
                for y in (low + number * (strip - overlap), low + number * (strip - overlap) + overlap):
                    line = shapely.LineString([(cut.bounds[0] - 1, y), (cut.bounds[2] + 1, y)])
                    seams.append(line)
            notes = (
                *notes,
                f"{length_words(high - low, 'both')} across the warp, the roll has {length_words(usable, 'both')} "
                f"to use: in {count} strips that overlap by {length_words(overlap, 'metric')}",
            )
    far = 2.0 * float(np.hypot(*(np.array(cut.bounds[2:]) - cut.bounds[:2]))) + 1.0
    lines = [shapely.LineString([(-far, 0.0), (far, 0.0)]), shapely.LineString([(0.0, -far), (0.0, far)])]
    made = []
    for shape in shapes:
        centre = [part for line in lines for part in _lines(line.intersection(shape))]
        own_seams = [p for line in seams for p in _lines(line.intersection(shape.buffer(-1e-6)))]
        made.append(
            FlatPly(
                0, "", 1, fabric, entry.angle, entry.zone or WHOLE, shape, edge.intersection(shape), tuple(centre),
                tuple(_notches(centre, shape)), (0.0, 0.0),
                tuple(d for d in drills if shape.buffer(d.diameter).contains(shapely.Point(d.at))),
                tuple(own_seams), area, stretch, notes,
            )
        )  # fmt: skip
    return made


def _lines(shape: BaseGeometry) -> list[LineString]:
    import shapely

    return [p for p in shapely.get_parts(shape) if p.geom_type == "LineString" and p.length > 1e-6]


def _notches(centre: Sequence[LineString], shape: Polygon) -> list[LineString]:
    """Short marks into the cloth where a centre line meets its edge."""
    import shapely

    marks = []
    for line in centre:
        ends = np.asarray(line.coords)
        for here, there in ((ends[0], ends[-1]), (ends[-1], ends[0])):
            if shape.exterior.distance(shapely.Point(here)) > 1e-6:
                continue
            inward = (there - here) / np.linalg.norm(there - here)
            marks.append(shapely.LineString([here, here + inward * min(NOTCH, 0.3 * line.length)]))
    return marks


def _on_surface(
    job: Job, holes: Pattern, along: tuple[float, float, float], *, off: bool = True
) -> list[tuple[Floats, float, str]]:
    """Holes seen in plan, brought onto the surface: place, diameter, name; `off` refuses those beside it.

    Raises:
        SurfaceError: A hole lies beside the part.
    """
    plan = Plan.along(along)
    way = np.array(plan.way)
    corner = job.surface.vertices[job.surface.faces]
    flat = plan.seen(corner)
    found = []
    for hole in holes.holes:
        at = np.array([hole.x, hole.y])
        a, u, v = flat[:, 0], flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
        det = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        w = at - a
        with np.errstate(divide="ignore", invalid="ignore"):
            s, t = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / det, (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / det
        inside = np.flatnonzero((s >= -1e-9) & (t >= -1e-9) & (s + t <= 1 + 1e-9) & (np.abs(det) > 1e-18))
        if len(inside):
            s, t = s[inside, None], t[inside, None]
            c = corner[inside]
            places = c[:, 0] + s * (c[:, 1] - c[:, 0]) + t * (c[:, 2] - c[:, 0])
            found.append((places[int(np.argmax(places @ way))], hole.diameter, hole.name))
            continue
        if not off or _in_cutout(flat, at, hole.diameter):
            continue  # it is drilled through the mesh already: its edge is marked as a cut-out
        raise SurfaceError(
            f"{hole} lies beside the part as seen along ({', '.join(f'{v:g}' for v in along)})",
            "Check its coordinates and unit, or give the direction the plan is seen from",
        )
    return found


def _in_cutout(flat: Floats, at: Floats, diameter: float) -> bool:
    return bool(np.linalg.norm(flat.reshape(-1, 2) - at, axis=1).min() < diameter)


def _covers(triangles: Floats, place: Floats, link: float) -> bool:
    from layup.shape.nearest import nearest_points

    soup = triangles.reshape(-1, 3)
    feet = nearest_points(soup, np.arange(len(soup)).reshape(-1, 3), place)
    return float(np.linalg.norm(feet - place, axis=1).min()) < 0.5 * link


def _letter(number: int) -> str:
    return chr(ord("a") + number) if number < 26 else f"-{number + 1}"
