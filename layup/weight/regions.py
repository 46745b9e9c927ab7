"""The regions of a part: pieces of its surface on each of which the same layers lie. Names of zones end here.

    The surface cut along all zones              located(job)
    The same with every ply's place in it        regions_of(job)

A region has an area, a centroid, a second moment, how it bends, its free edge, and a share of the openings beside it.
Whatever is summed over a part (weight, trim, balance, thickness) is summed over regions and the layers on them, so that
two halves are the whole and a zone's name means nothing.

Three kinds of place have no border on the surface. A zone or a patch that is only an area lies somewhere on what is
laid: those places are taken to lie one beside the other, and where they no longer find room the next lies over the
first. What a ply covers that runs over openings uncut is a region of its own, the lid. A part known only by its area is
one region without a shape.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.partfile.job import Job
from layup.partfile.model import OPENINGS, WHOLE, PlyEntry, ZoneEntry
from layup.partfile.regions import Key, Regions, covered_by
from layup.partfile.zones import zone_spec
from layup.shape.measure import Measured
from layup.shape.partition import NOTHING, Piece, cut_outs, free_edges_of, less, partition
from layup.shape.surface import Surface
from layup.shape.topology import edge_keys
from layup.shape.zones import zone_key
from layup.sides.mould import Lies, lies

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


def key_of(job: Job, line: int, entry: PlyEntry) -> Key:
    """The place of a ply.

    Args:
        job: The part file, read.
        line: Number of the ply's table, from 0.
        entry: The ply.
    """
    covers = tuple(sorted(entry.over)) if job.opened is not None else ()
    return (f"patch {line + 1}" if entry.area is not None else entry.zone or WHOLE), covers


_KEPT: WeakKeyDictionary[Surface, dict[tuple[Any, ...], Any]] = WeakKeyDictionary()


def lies_of(job: Job) -> Lies | None:
    """Where the layers of a job lie; None where height changes no area."""
    entry = job.part.surface
    kept = _KEPT.setdefault(job.surface, {})
    key = ("lies", entry.mould, entry.drawn)
    if key not in kept:
        kept[key] = lies(job.surface, entry.mould, entry.drawn)
    found: Lies | None = kept[key]
    return found


def located(job: Job) -> Regions:
    """The surface cut along the border of every zone of the part that has one.

    Returns:
        The regions; their places are the zones, and the whole first.
    """
    if job.told is not None:
        return job.told
    zones = [z for z in job.part.zone if z.area is None] if job.surface.has_mesh else []
    entries = {z.name: z for z in job.part.zone}
    specs = [zone_spec(z, entries) for z in zones]
    entry = job.part.surface
    key = ("regions", entry.mould, entry.drawn, entry.edge, tuple(z.name for z in zones), tuple(map(zone_key, specs)))
    kept = _KEPT.setdefault(job.surface, {})
    if key not in kept:
        old = [k for k in kept if k[0] == "regions"]
        if len(old) >= 8:  # a page on which one zone is changed again and again
            del kept[old[0]]
        kept[key] = _cut(job, zones, specs)
    found: Regions = kept[key]
    return found


def _lying(zones: Sequence[ZoneEntry], drawn: Sequence[int], piece: Piece) -> dict[str, bool]:
    """Whether a piece lies in each zone: in a drawn one by its cut, in one of other zones by what it says of them."""
    by_name = {zone.name: zone for zone in zones}
    known = {zones[n].name: place in piece.zones for place, n in enumerate(drawn)}

    def held(name: str) -> bool:
        if name not in by_name:
            return True  # the whole
        if name not in known:
            said = by_name[name].joined()
            some = [held(other) for other in said.get("or", [])] or [True]
            barred = any(held(other) for other in said.get("not", []))
            known[name] = any(some) and all(held(other) for other in said.get("and", [])) and not barred
        return known[name]

    return {zone.name: held(zone.name) for zone in zones}


def _cut(job: Job, zones: Sequence[ZoneEntry], specs: list[dict[str, object]]) -> Regions:
    surface = job.surface
    if not surface.has_mesh:
        return _by_area(job)
    names = [zone.name for zone in zones]
    # a zone of other zones has no border of its own: cut once more along theirs it would cost much and change nothing
    drawn = [n for n, z in enumerate(zones) if z.within or z.between or z.group or z.inside is not None]
    parted = partition(surface, [specs[n] for n in drawn])
    pieces = parted.pieces
    area = np.array([piece.measured.area for piece in pieces])
    lie = lies_of(job)
    turn, round_ = np.zeros(len(pieces)), np.zeros(len(pieces))
    if lie is not None and len(pieces) == 1:
        bend = lie.bend.place(None, lie.sign)
        turn[0], round_[0] = bend.turn, bend.round
    elif lie is not None:
        towards = lie.bend.turn * lie.sign
        for number, piece in enumerate(pieces):
            turn[number] = piece.total(towards, lie.bend.area)
            round_[number] = piece.total(lie.bend.round, lie.bend.area)
    openings, edges, owner, kinds, sizes = _edges(job)
    rims = parted.rims(kinds, edges, owner, 1 + len(openings))
    edge, rim = rims[:, 0], rims[:, 1:]
    total = rim.sum(axis=0)
    share = np.divide(rim, total, out=np.zeros_like(rim), where=total > 0.0)
    drilled = np.array([name in job.holes for name in openings], dtype=bool)
    edge, rim = _stated(job, edge, rim, drilled)
    known = all(p.measured.centroid is not None and p.measured.second_moment is not None for p in pieces)
    keys: tuple[Key, ...] = ((WHOLE, ()), *((name, ()) for name in names))
    on = np.array([[True, *_lying(zones, drawn, piece).values()] for piece in pieces], dtype=bool)
    return Regions(
        area=area,
        centroid=np.array([p.measured.centroid for p in pieces], dtype=np.float64) if known else None,
        second=np.array([p.measured.second_moment for p in pieces], dtype=np.float64) if known else None,
        turn=turn,
        round=round_,
        known=lie is not None and lie.known,
        tool=lie is None or lie.tool,
        flat=lie is None,
        edge=edge,
        openings=openings,
        rim=rim,
        opening=share * sizes,
        drilled=drilled,
        keys=keys,
        on=on,
    )


def _edges(job: Job) -> tuple[tuple[str, ...], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], Floats]:
    """The openings of a part; its free edges, their faces and what each is of (0 for the outer edge); areas."""
    from layup.shape.holes import rim_edges

    surface = job.surface
    edges, owner = free_edges_of(surface)
    keys = edge_keys(edges)
    kinds = np.zeros(len(edges), dtype=np.int64)
    names: list[str] = []
    sizes: list[float] = []
    for name, one in job.holes.items():
        names.append(name)
        sizes.append(one.area)
        kinds[np.isin(keys, edge_keys(rim_edges(surface.vertices, surface.faces, one)))] = len(names)
    for opening in cut_outs(surface):
        mine = np.isin(keys, edge_keys(opening.edges))
        if not kinds[mine].any():  # a drilled hole is named already
            names.append(f"cut-out {sum(n not in job.holes for n in names) + 1}")
            sizes.append(opening.area)
            kinds[mine] = len(names)
    return tuple(names), edges, owner, kinds, np.array(sizes)


def _stated(job: Job, edge: Floats, rim: Floats, drilled: Mask) -> tuple[Floats, Floats]:
    """Lengths of the edges that are trimmed, stretched to the length that the part file states."""
    stated = job.part.surface.edge
    there = float(edge.sum() + rim[:, ~drilled].sum())
    if stated is None or not there > 0.0:
        return edge, rim
    rim = rim.copy()
    rim[:, ~drilled] *= stated / there
    return edge * (stated / there), rim


def _by_area(job: Job) -> Regions:
    """A part known only by its area: one region without a shape."""
    area = job.surface.whole.area
    names = tuple(job.holes)
    sizes = np.array([[one.area for one in job.holes.values()]]).reshape(1, len(names))
    rims = np.array([[one.rim for one in job.holes.values()]]).reshape(1, len(names))
    stated = job.part.surface.edge
    edge = stated if stated is not None else (job.surface.perimeter or 0.0) - float(rims.sum())
    return Regions(
        area=np.array([area]),
        centroid=None,
        second=None,
        turn=np.zeros(1),
        round=np.zeros(1),
        known=False,
        tool=True,
        flat=True,
        edge=np.array([max(edge, 0.0)]),
        openings=names,
        rim=rims,
        opening=sizes,
        drilled=np.ones(len(names), dtype=bool),
        keys=((WHOLE, ()),),
        on=np.ones((1, 1), dtype=bool),
    )


def regions_of(job: Job) -> Regions:
    """The regions of a part with the place of every ply on them.

    Returns:
        The regions. Their places are the whole, the zones, and what else the plies need.

    Raises:
        SurfaceError: A ply covers openings that its zone can't be measured over.
    """
    found = located(job)
    plies = [(key_of(job, line, entry), entry) for line, entry in enumerate(job.part.plies())]
    places = {key: job.place(key[0]) for key in found.keys}
    found = replace(found, place=tuple(places[key] for key in found.keys))
    known = {key[0] for key in found.keys}
    loose: dict[str, float] = {}
    for key, entry in plies:
        if key[0] not in known and key[0] not in loose:
            loose[key[0]] = entry.area if entry.area is not None else job.zones[key[0]].area
    for zone in job.part.zone:
        if zone.name not in known and zone.name in job.zones:
            loose.setdefault(zone.name, job.zones[zone.name].area)
    if loose:
        laid = np.zeros(len(found), dtype=bool)
        for key, _ in plies:
            if key[0] in known:
                laid |= found.on[:, found.keys.index((key[0], ()))]
        found = _scattered(found, loose, laid)
    covering = list(dict.fromkeys(key for key, _ in plies if key[1]))
    return _with_lids(job, found, covering) if covering else found


def _scattered(found: Regions, loose: Mapping[str, float], laid: Mask) -> Regions:
    """Regions with places that are only areas, one beside the other over what is laid."""
    room = float(found.area[laid].sum())
    if not laid.any() or max(loose.values()) > room * (1.0 + NOTHING):
        laid = np.ones(len(found), dtype=bool)
        room = float(found.area.sum())
    spans: list[list[tuple[float, float]]] = []
    at = 0.0
    for area in loose.values():
        share = min(area / room, 1.0)
        end = at + share
        spans.append([(at, min(end, 1.0)), (0.0, end - 1.0)] if end > 1.0 else [(at, end)])
        at = end % 1.0
    marks = np.unique(np.clip(np.array([0.0, 1.0, *(v for span in spans for pair in span for v in pair)]), 0.0, 1.0))
    marks = marks[np.r_[True, np.diff(marks) > NOTHING]]
    marks[-1] = 1.0
    shares = np.diff(marks)
    middle = 0.5 * (marks[1:] + marks[:-1])
    taken = np.array([[any(a <= m < b for a, b in span) for span in spans] for m in middle], dtype=bool)
    rows = np.concatenate([np.repeat(np.flatnonzero(laid), len(shares)), np.flatnonzero(~laid)])
    factor = np.concatenate([np.tile(shares, int(laid.sum())), np.ones(int((~laid).sum()))])
    none = np.zeros((int((~laid).sum()), len(spans)), dtype=bool)
    more = np.concatenate([np.tile(taken, (int(laid.sum()), 1)), none])

    def part(values: Floats) -> Floats:
        return np.asarray(values[rows] * factor.reshape(-1, *(1,) * (values.ndim - 1)))

    return replace(
        found,
        area=part(found.area),
        centroid=None if found.centroid is None else found.centroid[rows],
        second=None if found.second is None else part(found.second),
        turn=part(found.turn),
        round=part(found.round),
        edge=part(found.edge),
        rim=part(found.rim),
        opening=part(found.opening),
        keys=(*found.keys, *((name, ()) for name in loose)),
        on=np.concatenate([found.on[rows], more], axis=1),
        place=(*found.place, *(Measured(area) for area in loose.values())),
    )


def _with_lids(job: Job, found: Regions, covering: Sequence[Key]) -> Regions:
    """Regions with those that only plies lie on which run over openings uncut."""
    places = [found.place[found.keys.index((zone, ()))] for zone, _ in covering]
    over = [
        Measured(under.area) if zone.startswith("patch ") else job.place(zone, covers)
        for (zone, covers), under in zip(covering, places, strict=True)
    ]
    more = [max(there.area - under.area, 0.0) for there, under in zip(over, places, strict=True)]
    names = list(found.openings) or [OPENINGS]
    lids: list[tuple[float, list[bool]]] = []
    for at in range(len(names)):
        size = float(found.opening[:, at].sum()) if found.openings else max(more)
        # one lid under several zones: the larger takes what the smaller does, and more
        shares: list[float] = []
        for (_, covers), extra in zip(covering, more, strict=True):
            mine = [k for k, n in enumerate(names) if covered_by(n, covers)]
            total = float(found.opening[:, mine].sum()) if found.openings else extra
            shares.append(extra * size / total if at in mine and total > 0.0 else 0.0)
        last = 0.0
        for step in sorted({s for s in shares if s > 0.0}):
            if step - last > NOTHING * found.area.sum():
                lids.append((step - last, [s >= step for s in shares]))
                last = step
    count = len(lids)
    centre, second = _lid_place(found, places, over)
    sizes = np.array([lid[0] for lid in lids])
    on = np.concatenate([found.on, np.zeros((count, found.on.shape[1]), dtype=bool)])
    lies_on = np.zeros((len(on), len(covering)), dtype=bool)
    for column, (zone, _) in enumerate(covering):
        lies_on[: len(found), column] = found.on[:, found.keys.index((zone, ()))]
        lies_on[len(found) :, column] = [lid[1][column] for lid in lids]

    def longer(values: Floats) -> Floats:
        return np.concatenate([values, np.zeros((count, *values.shape[1:]))])

    return replace(
        found,
        area=np.concatenate([found.area, sizes]),
        centroid=None if found.centroid is None else np.concatenate([found.centroid, np.tile(centre, (count, 1))]),
        second=None if found.second is None else np.concatenate([found.second, sizes[:, None, None] * second]),
        turn=longer(found.turn),
        round=longer(found.round),
        edge=longer(found.edge),
        rim=longer(found.rim),
        opening=longer(found.opening),
        keys=(*found.keys, *covering),
        on=np.concatenate([on, lies_on], axis=1),
        place=(*found.place, *over),
    )


def _lid_place(found: Regions, places: Sequence[Measured], over: Sequence[Measured]) -> tuple[Floats, Floats]:
    """Where the lids balance, all as one, and their second moment over their area. [m, m^2]"""
    for under, there in zip(places, over, strict=True):
        lid = less(there, [under]) if under.centroid is not None else Measured(0.0)
        if lid.centroid is not None and lid.second_moment is not None and lid.area > 0.0:
            return np.array(lid.centroid), np.array(lid.second_moment) / lid.area
    if found.centroid is None:
        return np.zeros(3), np.zeros((3, 3))
    return np.asarray(found.area @ found.centroid / found.area.sum()), np.zeros((3, 3))
