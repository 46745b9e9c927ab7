"""Flat patterns: every ply and core as it is cut, the warp along +x, with what it needs to find its place on the mould.

    All plies and cores of a part  flat_plies(job)

A pattern is seen by the person who lays up, from the bag side, looking at the mould; where the part file does not say
where the mould is, from the side that the drawn surface faces, and each piece asks. Its cut line is the edge of the
zone, grown by what is trimmed off later; the edge itself, cut-outs and holes are marked to be drawn, not cut: a cut-out
in a ply over the whole surface is cut after the cure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.cloth import practice
from layup.cloth.darts import TOLERATED
from layup.cloth.draped import DrapedPly, directed, drape_ply, ring_pieces, seen_faces, shears
from layup.cloth.splice import splice
from layup.errors import LayupError, PatternError, SurfaceError, WrongSizeError
from layup.partfile.job import Job
from layup.partfile.model import OPENINGS, WHOLE, PlyEntry
from layup.shape.measure import measure_triangles
from layup.shape.partition import free_edges_of
from layup.shape.plan import Plan
from layup.shape.progress import Told, nobody
from layup.sides.mould import seen
from layup.words import angle_words, area_words, length_words, tape_words

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


MUCH = 0.2
"""Share of a ply that may be stretched by more than hands give it, such as the lips round its openings, and still have
a pattern: it says so. [-]"""
TORN = 0.003
"""Share of a ply that its net may tear before the ply is slit instead: rounding at its edge. [-]"""
_COARSE = 2_000
"""Nodes of the net of what does not shear. [-]"""
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
    """One piece of one ply or core, flat, the warp along +x. All lengths in metres.

    Attributes:
        number: Of the ply in the layup, from 1, from the mould up; cores counted.
        name: What is written on it: "4", or "4a" and "4b" where it is in pieces.
        count: How many of this number follow each other alike; it is cut so many times.
        fabric: Name of the cloth, or of the core.
        angle: Of the warp on the part, of the ribbon of a honeycomb. [deg]
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
        slits: Lines to cut inside the outline.
        letters: Names of slits and seams, and where they stand: each edge is lapped onto the line of its own letter.
        thickness: Of a core; None for cloth.
        bevels: Edge of a core's bag side, inside of its bevel.
        scores: Where a core is cut part way through so that it bends.
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
    slits: tuple[LineString, ...] = ()
    letters: tuple[tuple[str, Pair], ...] = ()
    thickness: float | None = None
    bevels: tuple[LineString, ...] = ()
    scores: tuple[LineString, ...] = ()

    def __repr__(self) -> str:
        return f"FlatPly({self.title!r}, {self.area:.4f} m^2)"

    @property
    def pieces(self) -> int:
        """How often it is cut. [-]"""
        return self.count * self.alike

    @property
    def title(self) -> str:
        """What stands on it: number, cloth, angle, zone; of a core its thickness."""
        times = f" (cut {self.pieces})" if self.pieces > 1 else ""
        if self.thickness is not None:
            ribbon = f", ribbon {angle_words(self.angle)}" if self.directed else ""
            return (
                f"Core {self.name}: {self.fabric}, {length_words(self.thickness, 'both')}{ribbon}, {self.zone}{times}"
            )
        angle = angle_words(self.angle) if self.directed else "no warp, any way round"
        return f"Ply {self.name}: {self.fabric}, {angle}, {self.zone}{times}"


def flat_plies(
    job: Job,
    *,
    trim: float | None = None,
    holes: Pattern | None = None,
    widths: dict[str, float] | None = None,
    nodes: int | None = None,
    told: Told = nobody,
) -> tuple[FlatPly, ...]:
    """Flat patterns of all plies of fabric and of all cores, in laying order.

    Args:
        job: The part file, read.
        trim: Laid up beyond the edge and cut off later; the part file's `trim` if left out. [m]
        holes: Holes of the part in plan, seen from above, to be marked.
        widths: Width of the roll in the shop, by fabric, where it is not the table's. [m]
        nodes: About how many nodes of the net to lay.
        told: How far it is, after each line of the layup.

    Returns:
        The patterns; a ply wider than its roll is in strips, a core larger than its sheet in pieces.

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
        if entry.area is not None and entry.core is not None:
            continue  # it has no shape, and none to be cut by: its rectangle stands in the cut list
        if entry.area is not None:
            raise LayupError(
                f"ply {first} is given by its area alone, so it has no pattern. Give it a zone, or cut it by hand"
            )
        key = tuple(value for name, value in entry if name != "count")
        if key not in kept:
            try:
                kept[key] = _one(job, entry, width or 0.0, holes, widths or {}, nodes)
            except SurfaceError as error:
                if not isinstance(error, WrongSizeError):
                    raise
                kept[key] = str(error).rstrip(".") + "."
        found = kept[key]
        if isinstance(found, str):
            refused[first] = f"Ply {first}, {entry.fabric or entry.core} on {entry.zone or WHOLE}: {found}"
        else:
            made += [replace(p, number=first, name=f"{first}{p.name}", count=entry.count) for p in found]
        told(f"flat patterns: {line + 1} of {len(entries)} lines of the layup", (line + 1) / len(entries))
    if refused:
        raise PatternError(refused, tuple(made))
    if not made:
        raise LayupError("there is no ply and no core in the layup, so there is nothing to cut")
    return tuple(made)


def _one(
    job: Job,
    entry: PlyEntry,
    trim: float,
    holes: Pattern | None,
    widths: dict[str, float],
    nodes: int | None,
) -> tuple[FlatPly, ...]:
    """The pieces of one ply; their names are only letters."""
    import shapely

    from layup.cloth.laid_flat import edge_lines, with_trim

    # of what does not shear, only where it starts and how it faces is taken from the net
    lies = drape_ply(job, entry, nodes=nodes if nodes is not None or shears(job, entry) else _COARSE)
    whole = entry.zone in (None, WHOLE)
    under = job.covering(entry.over).surface
    free, _ = free_edges_of(under)
    pieces: list[FlatPly] = []
    marked = on_surface(job, holes, (0.0, 0.0, 1.0)) if holes is not None else []
    marked += _of_part(job, entry)
    rings = bool(ring_pieces(job, entry.zone, np.concatenate(lies.triangles))) and entry.start is None
    for net, laid, alike in zip(lies.nets, lies.triangles, lies.alike, strict=True):
        for one in _laid_flat(job, entry, lies, net, laid, whole):
            begun = len(pieces)
            if not one.found:
                continue
            there, triangles = one.there, one.triangles
            edge = shapely.union_all(one.found)
            area = measure_triangles(triangles).area
            if whole:
                cut = shapely.union_all([shapely.Polygon(p.exterior) for p in one.found])
                cut = cut.buffer(trim, join_style="mitre", mitre_limit=2.0) if trim else cut
            else:
                ends = edge_lines(triangles, there, under.vertices, free)
                cut = shapely.union_all([with_trim(p, ends, trim) for p in one.found])
            lines: tuple[Any, Any, Any] = ((), (), ())
            if one.legs:
                overlap = overlap_of(entry)
                cut, *lines_ = _lapped(cut, edge, one.legs, overlap)
                lines = (tuple(lines_[0]), tuple(lines_[1]), tuple(lines_[2]))
            near = [d for d in marked if _covers(triangles, d[0], max(there.link, 1.1 * d[1]))]
            drills = tuple(
                Drill((float(x), float(y)), d[1], d[2])
                for d, (x, y) in zip(near, there.there(np.array([d[0] for d in near])) if near else [], strict=True)
            )
            for part in sorted(shapely.get_parts(cut), key=lambda p: (-p.area, p.bounds)):
                if entry.core is not None:
                    pieces += _of_core(job, entry, part, edge=edge, one=one, drills=drills, area=area)
                    continue
                pieces += _strips(
                    job=job,
                    entry=entry,
                    cut=part,
                    edge=edge,
                    drills=drills,
                    area=area,
                    stretch=one.stretch,
                    notes=tuple(one.notes),
                    widths=widths,
                )
            ways = _ways(job, entry, net)
            pieces[begun:] = [_marked(replace(p, alike=alike, ways=ways), *lines) for p in pieces[begun:]]
    pieces = _alike(pieces) if rings else pieces
    letters = len(pieces) > 1
    sides, warp = seen(job.surface, job.part.surface.mould).piece, directed(job, entry)
    return tuple(
        replace(p, name=_letter(n) if letters else "", sides=sides, directed=warp) for n, p in enumerate(pieces)
    )


@dataclass(frozen=True, eq=False)
class _Laid:
    """A piece of a ply in the flat: map, triangles, outlines, what to know of it, stretch, both legs of its slits."""

    there: Map
    triangles: Floats
    found: list[Polygon]
    notes: list[str]
    stretch: Pair | None = None
    legs: dict[int, tuple[Floats | None, Floats | None]] = field(default_factory=dict)


def _laid_flat(job: Job, entry: PlyEntry, lies: DrapedPly, net: Net, laid: Floats, whole: bool) -> list[_Laid]:
    """A piece of a ply in the flat, in one or in several where it has to be parted.

    Cloth that shears lies as its net does. Where that net tears, round a closed corner or a turned lip, and for cloth
    that does not shear, the shape is laid flat stiffly, slit where it must be. What then has another area than the
    cloth is no pattern.

    Raises:
        WrongSizeError: Its area is not the cloth's.
    """
    import shapely

    from layup.cloth.drape import over, without_lips
    from layup.cloth.laid_flat import from_net, outlines, whole_outlines

    if entry.gores is not None:
        try:
            return _slit(job, entry, net, laid)
        except SurfaceError as error:
            raise WrongSizeError(f"in {entry.gores} gores, {error.wrong}", error.remedy) from None
    flat = wanted = measure_triangles(laid).area
    why = ""
    if shears(job, entry):
        there = from_net(net)
        triangles = without_lips(net, laid) if whole else laid
        clean = whole_outlines(triangles, there)
        found = clean if clean is not None else outlines(triangles, there)
        cloth = over(net, laid)
        flat = shapely.union_all(found).area
        # what is turned down round a cut-out is cloth too: the cloth that runs across it, slit and folded over
        across = shapely.union_all([shapely.Polygon(p.exterior) for p in found]).area - flat if whole else 0.0
        flat += min(measure_triangles(laid).area - measure_triangles(triangles).area, across)
        wanted = cloth.area * cloth.factor
        if (
            clean is not None
            and _fits(flat, wanted)
            and len(found) <= _separate(laid)
            and _torn(there, triangles, lies) <= TORN
        ):
            return [_Laid(there, triangles, found, _cloth_notes(lies))]
    try:
        return _slit(job, entry, net, laid)
    except SurfaceError as error:
        why = error.wrong
    there = _stiff(job, entry, net.start, laid)
    assert there.flat is not None
    found = outlines(laid, there)
    off = np.maximum(there.flat.stretch[:, 0] - 1.0, 1.0 - there.flat.stretch[:, 1])
    much = float(there.flat.area[off > TOLERATED].sum() / there.flat.area.sum())
    stiff = shapely.union_all(found).area
    if (
        not _fits(stiff, measure_triangles(laid).area)
        or there.flat.folded
        or much > MUCH
        or len(found) > _separate(laid)
    ):
        if _fits(flat, wanted):
            flat, wanted = stiff, measure_triangles(laid).area
        raise WrongSizeError(
            f"the flat pattern has {area_words(flat, 'both')} and the cloth on the part {area_words(wanted, 'both')}, "
            f"{abs(flat / wanted - 1.0) * 100:.1f} % {'less' if flat < wanted else 'more'}, so it is not printed: it "
            f"can't be laid flat without tearing or folding ({why})",
            "A closed corner, a tube, a nose or a deep draw needs a seam: part the ply in zones that each open flat",
        )
    return [_Laid(there, laid, found, _stretch_notes(job, entry, there.flat.worst), there.flat.worst)]


def _slit(job: Job, entry: PlyEntry, net: Net, laid: Floats) -> list[_Laid]:
    """The pieces of a shape that is slit open where it must be, none where it need not; or in the gores asked for.

    Raises:
        SurfaceError: A few slits are no help, or a piece has not the area of its cloth.
    """
    from layup.cloth.laid_flat import from_gores, from_slits

    warp = job.part.surface.warp or (1.0, 0.0, 0.0)
    under = job.covering(entry.over)
    points, faces = under.surface.vertices, seen_faces(under)
    turn = math.radians(entry.angle)
    if entry.gores is not None:
        made = from_gores(
            points=points, faces=faces, triangles=laid, count=entry.gores, top=entry.start, warp=warp, angle=turn
        )
    else:
        made = from_slits(points, faces, laid, net.start, warp, turn)
    numbers = {n for piece in made for n in piece.legs}
    said = []
    if numbers:
        names = _slit_names(numbers)
        overlap = overlap_of(entry)
        legs = {n: leg for piece in made for n, both in piece.legs.items() for leg in both if leg is not None}
        whole = length_words(sum(map(_long, legs.values())), "both")
        said.append(
            (
                f"is {entry.gores} gores that meet at the top: seams {names}, {whole} in all. Trim the laps where they "
                "meet there. "
                if entry.gores is not None
                else f"does not lie flat in one piece: slit at {names}, {whole} in all. "
            )
            + (
                "Lap each cut edge onto the dashed line of its own letter, " + tape_words(overlap, "both") + " over"
                if entry.fabric is not None
                else "Butt the edges of each letter and glue them"
            )
        )
    laid_out = []
    for piece in made:
        true = measure_triangles(piece.triangles).area
        if not piece.found or not _fits(sum(shape.area for shape in piece.found), true):
            raise SurfaceError("a piece of it lies over itself", "Part the ply in zones that each open flat")
        assert piece.there.flat is not None
        worst = piece.there.flat.worst
        if entry.gores is not None:  # they are one of a kind
            every = np.array([one.there.flat.worst for one in made if one.there.flat is not None])
            worst = (float(every[:, 0].min()), float(every[:, 1].max()))
        notes = [*said, *_stretch_notes(job, entry, worst)]
        laid_out.append(_Laid(piece.there, piece.triangles, piece.found, notes, worst, piece.legs))
    return laid_out


def _marked(
    piece: FlatPly, slits: Iterable[LineString], mates: Iterable[LineString], letters: Iterable[tuple[str, Pair]]
) -> FlatPly:
    """A piece, or a strip of one, with what of the slits lies in it."""
    import shapely

    inside = piece.outline.buffer(1e-4)
    return replace(
        piece,
        slits=tuple(p for line in slits for p in _lines(line.intersection(inside))),
        seams=(*piece.seams, *(p for line in mates for p in _lines(line.intersection(inside)))),
        letters=tuple(pair for pair in letters if inside.contains(shapely.Point(pair[1]))),
    )


def _slit_names(numbers: Iterable[int]) -> str:
    return ", ".join(_letter(n).upper() for n in sorted(numbers))


def _long(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _stretch_notes(job: Job, entry: PlyEntry, stretch: Pair) -> list[str]:
    if max(1.0 - stretch[0], stretch[1] - 1.0) <= STIFF:
        return []
    if entry.gores is not None:
        return [
            f"in {entry.gores} gores each would have to stretch {(stretch[0] - 1) * 100:.1f} to "
            f"{(stretch[1] - 1) * 100:+.1f} %: more gores stretch less"
        ]
    why = "does not follow by shearing alone" if shears(job, entry) else "doesn't shear"
    return [
        f"{why} and would have to stretch {(stretch[0] - 1) * 100:.1f} to {(stretch[1] - 1) * 100:+.1f} %: cut it "
        "in narrower strips or slit it"
    ]


def _lapped(
    cut: Polygon, shape: Polygon, legs: dict[int, tuple[Floats | None, Floats | None]], overlap: float
) -> tuple[Polygon, list[LineString], list[LineString], list[tuple[str, Pair]]]:
    """A cut line with its slits: the overlap added along one leg of each, the other cut, and both named.

    Returns:
        The cut line, slits inside it, lines that the other leg comes to lie on, and letters with their places.
    """
    import shapely

    flaps, slits, lines, letters = [], [], [], []
    near = shape.buffer(1e-5)
    for number, (left, right) in legs.items():
        if right is not None:
            right = np.asarray(shapely.get_coordinates(shapely.LineString(right).intersection(near)))
            right = right if len(right) > 1 else None
        if left is not None and right is not None:
            gap = shapely.Polygon(np.concatenate([left, right[::-1]]))
            if gap.is_valid and gap.intersection(shape).area < 0.01 * gap.area:
                cut = cut.difference(gap)
        if right is not None:
            line = shapely.LineString(right)
            # the cloth lies on its right; on both sides of the line a flap would come out again beyond a narrow tip
            beside = line.buffer(overlap, join_style="mitre", single_sided=True).difference(shape)
            flaps += [p for p in shapely.get_parts(beside) if p.distance(line) < 1e-6 and p.area > 1e-8]
            lines.append(line)
        for leg in (left, right):
            if leg is not None:
                x, y = leg[len(leg) // 2]
                letters.append((_letter(number).upper(), (float(x), float(y))))
    whole = shapely.union_all([cut, *flaps], grid_size=1e-6)
    whole = max(shapely.get_parts(whole), key=lambda p: p.area)
    inside = whole.buffer(-1e-4)
    for left, _ in legs.values():
        if left is not None:
            slits += _lines(shapely.LineString(left).intersection(inside))
    return whole, slits, lines, letters


def _separate(triangles: Floats) -> int:
    """How many pieces hang together of some triangles of the surface: each may have an outline of its own."""
    from layup.shape.topology import edges_of, pieces, weld

    points, faces = weld(np.round(triangles, 7))
    _, label = pieces(len(points), edges_of(faces)[0])
    return len(np.unique(label[faces[:, 0]]))


def _torn(there: Map, triangles: Floats, lies: DrapedPly) -> float:
    """Share of a draped ply that lies in the flat with far less cloth than it has, or far more. [-]"""
    from layup.cloth.drape import small

    fine = small(triangles, 4.0 * there.link)
    flat = there.there(fine.reshape(-1, 3)).reshape(-1, 3, 2)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    covers = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    true = 0.5 * np.linalg.norm(np.cross(fine[:, 1] - fine[:, 0], fine[:, 2] - fine[:, 0]), axis=1)
    most = 1.25 / math.cos(min(lies.most, math.radians(75.0)))  # what shear alone may bring, and a little
    return float(true[(covers < 0.75 * true) | (covers > most * true)].sum() / true.sum())


def _fits(flat: float, cloth: float) -> bool:
    return abs(flat - cloth) <= OFF * cloth


def _ways(job: Job, entry: PlyEntry, net: Net) -> tuple[tuple[str, Pair], ...]:
    """Directions of the part as they lie in the flat where the ply is laid first, the warp along +x."""
    from layup.shape.walkable import foot

    turn = math.radians(entry.angle)
    ways = [("0°", (math.cos(turn), -math.sin(turn)))] if directed(job, entry) else []
    if entry.gores is not None:
        return tuple(ways)  # each gore looks another way
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
        for name, one in job.holes.items()
        if name not in entry.over and OPENINGS not in entry.over
        for place, hole in zip(one.places, one.pattern.holes, strict=True)
    ]
    for old in job.fasteners:
        marked += on_surface(job, old.pattern, old.plan.way, off=False)
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
    overlap = overlap_of(entry)
    shapes: Sequence[Polygon] = (cut,)
    seams: list[LineString] = []
    if width is not None:
        usable = width - 2 * practice.EDGE.value
        joined = splice(cut, usable, overlap)
        shapes = joined.shapes
        if len(shapes) > 1:
            _, low, _, high = cut.bounds
            for y in (y for join in joined.edges for y in join):
                seams.append(shapely.LineString([(cut.bounds[0] - 1, y), (cut.bounds[2] + 1, y)]))
            notes = (
                *notes,
                f"{length_words(high - low, 'both')} across the warp, the roll has {length_words(usable, 'both')} "
                f"to use: in {joined.count} strips that overlap by {tape_words(overlap, 'both')}",
            )
    made = []
    for shape in shapes:
        own = tuple(p for line in seams for p in _lines(line.intersection(shape.buffer(-1e-6))))
        piece = _piece(entry, shape, edge, drills)
        made.append(replace(piece, seams=own, area=area, stretch=stretch, notes=notes))
    return made


def _piece(entry: PlyEntry, shape: Polygon, edge: BaseGeometry, drills: tuple[Drill, ...]) -> FlatPly:
    """One outline of a ply or a core with what is marked on it; the caller tells its area and what is odd about it."""
    import shapely

    centre = _centre_lines(shape)
    return FlatPly(
        number=0,
        name="",
        count=1,
        fabric=entry.fabric or entry.core or "",
        angle=entry.angle,
        zone=entry.zone or WHOLE,
        outline=shape,
        edge=edge.intersection(shape),
        centre=tuple(centre),
        notches=tuple(_notches(centre, shape)),
        start=(0.0, 0.0),
        drills=tuple(d for d in drills if shape.buffer(d.diameter).contains(shapely.Point(d.at))),
        seams=(),
        area=0.0,
        stretch=None,
        notes=(),
    )


def overlap_of(entry: PlyEntry) -> float:
    """Overlap of a ply's seams: as the part file says, else common practice; cores are butted. [m]"""
    return 0.0 if entry.core is not None else practice.overlap(entry.overlap)


def _of_core(
    job: Job, entry: PlyEntry, cut: Polygon, edge: BaseGeometry, one: _Laid, drills: tuple[Drill, ...], area: float
) -> list[FlatPly]:
    """One outline of a core as the pieces of its sheet, with bevel and scores."""
    from layup.cloth.cores import core_cut

    flat = one.there.there(one.triangles.reshape(-1, 3)).reshape(-1, 3, 2)
    core = core_cut(job, entry, cut, one.triangles, flat)
    made = []
    for shape in core.pieces:
        inside = shape.buffer(1e-6)
        made.append(
            replace(
                _piece(entry, shape, edge, drills),
                area=area,
                stretch=one.stretch,
                notes=(*one.notes, *core.notes),
                thickness=core.thickness,
                bevels=tuple(p for line in core.bevels for p in _lines(line.intersection(inside))),
                scores=tuple(p for line in core.scores for p in _lines(line.intersection(inside))),
            )
        )
    return made


def _centre_lines(shape: Polygon) -> list[LineString]:
    """Lines through the start along the warp and square to it, as far as they lie in a piece."""
    import shapely

    far = 2.0 * float(np.abs(shape.bounds).max()) + 1.0
    lines = [shapely.LineString([(-far, 0.0), (far, 0.0)]), shapely.LineString([(0.0, -far), (0.0, far)])]
    return [part for line in lines for part in _lines(line.intersection(shape))]


def _lines(shape: BaseGeometry) -> list[LineString]:
    import shapely

    lines = [p for p in shapely.get_parts(shape) if p.geom_type == "LineString" and p.length > 1e-6]
    merged = shapely.line_merge(shapely.MultiLineString(lines)) if len(lines) > 1 else shape
    return lines if len(lines) < 2 else [p for p in shapely.get_parts(merged) if p.geom_type == "LineString"]


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


def on_surface(
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
