"""Every ply of a part as pieces of cloth: number, fabric, angle, and its outline in the frame of the roll.

Where a flat pattern can be made it is taken; else a rough outline stands in for it, marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.cloth.cores import core_cut, thickness_of
from layup.cloth.draped import directed
from layup.cloth.rough import Outline, rough_outline, turned
from layup.make.rings import uncut
from layup.partfile.model import WHOLE
from layup.shape.progress import Told, nobody
from layup.sides.mould import is_flat
from layup.weight.compare import process_for
from layup.weight.plies import build, place_of
from layup.weight.regions import key_of, regions_of

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.cloth.pattern import FlatPly
    from layup.partfile.job import Job

SLIVER = 0.003
"""A piece of a ply smaller than this share of it is left out: it is what a ragged border leaves. [-]"""


@dataclass(frozen=True, eq=False, slots=True)
class ClothPly:
    """One ply of cloth before it is nested.

    Attributes:
        number: In the layup, from 1, from the mould up; cores counted.
        fabric: Name of the cloth.
        angle: Of the warp. [deg]
        zone: Name of its zone, or "patch".
        shapes: Its pieces, the warp along +x. [m]
        area: That the prediction lays, the joins and the trimmed edge counted. [m^2]
        overlap: That the part file gives for joins; None where it gives none. [m]
        rough: Whether the outline stands in for a flat pattern.
        guessed: Whether even the proportions are made up.
        notes: What its flat pattern says of it.
        over: Openings that it runs over and covers in the finished part.
        directed: Whether its cloth has a warp; mat and veil have none.
        lapped: Of `area`, what lies double where strips and slits overlap. [m^2]
    """

    number: int
    fabric: str
    angle: float
    zone: str
    shapes: tuple[Polygon, ...]
    area: float
    overlap: float | None
    rough: bool
    guessed: bool
    notes: tuple[str, ...]
    over: tuple[str, ...] = ()
    directed: bool = True
    lapped: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class CorePiece:
    """One core, which is cut from sheets.

    Attributes:
        number: In the layup.
        name: Of the core.
        zone: Name of its zone.
        thickness: [m]
        area: Of its mould side. [m^2]
        pieces: What is cut of sheets for it, by name; one where no table says how large a sheet is. [m]
        notes: Its bevel, scores and joints, a sentence each.
    """

    number: int
    name: str
    zone: str
    thickness: float
    area: float
    pieces: tuple[tuple[str, Polygon], ...]
    notes: tuple[str, ...] = ()


def plies_to_cut(
    job: Job, *, patterns: bool = True, told: Told = nobody
) -> tuple[tuple[ClothPly, ...], tuple[CorePiece, ...], tuple[str, ...]]:
    """All plies and cores of a part, in laying order.

    Args:
        job: The part file, read.
        patterns: Whether to make flat patterns; else rough outlines stand in for them, which is quicker.
        told: How far the patterns are.

    Returns:
        The plies of cloth and the cores, counts written out; and why there are no patterns where there are none.
    """
    flat, why = _patterns(job, told) if patterns else ({}, ())
    outlines: dict[tuple[str, float | None, tuple[str, ...]], Outline] = {}
    cloth: list[ClothPly] = []
    cores: list[CorePiece] = []
    number = 0
    trim = job.part.trim or 0.0
    layers = build(job, process_for(job, job.part.process, own=True))
    regions = regions_of(job)
    for line, entry in enumerate(job.part.plies()):
        zone, place = place_of(job, entry.zone, entry.area)
        made = flat.get(line, ())
        rough = Outline((), 1.0)
        if not made:
            key = (zone, entry.area, entry.over)
            if key not in outlines:
                where = None if zone in (WHOLE, "patch") else zone
                outlines[key] = rough_outline(job.covering(entry.over), where, entry.area)
            rough = turned(outlines[key], entry.angle)
        shapes = tuple(piece.outline for piece in made for _ in range(piece.alike)) or rough.shapes
        key_number = regions.keys.index(key_of(job, line, entry))
        if entry.fabric is not None and regions.runs_across[key_number].any():
            shapes = tuple(uncut(shape) for shape in shapes)
        if not made and trim and zone == WHOLE:
            shapes = _with_edge(shapes, trim)
        elif not made and trim and entry.area is None and job.surface.has_mesh and is_flat(job.surface):
            under = job.covering(entry.over)
            every = turned(rough_outline(under, None), entry.angle).shapes
            shapes = _with_edge(
                turned(rough_outline(under, zone, in_part=True), entry.angle).shapes, trim, inside=every
            )
        notes = tuple(dict.fromkeys(note for piece in made for note in piece.notes))
        for _ in range(entry.count):
            number += 1
            if entry.core is not None:
                cuts = [] if made else [core_cut(job, entry, shape) for shape in shapes]
                parts = [p for one in cuts for p in one.pieces] or list(shapes)
                letters = [part_letter(n) if len(parts) > 1 else "" for n in range(len(parts))]
                cores.append(
                    CorePiece(
                        number=number,
                        name=entry.core,
                        zone=zone,
                        thickness=thickness_of(job, entry),
                        area=place.area,
                        pieces=tuple((f"{number}{a}", shape) for a, shape in zip(letters, parts, strict=True)),
                        notes=notes or tuple(dict.fromkeys(note for one in cuts for note in one.notes)),
                    )
                )
                continue
            cloth.append(
                ClothPly(
                    number=number,
                    fabric=entry.fabric or "",
                    angle=entry.angle,
                    zone=zone,
                    shapes=shapes,
                    area=layers[number - 1].laid,
                    overlap=entry.overlap,
                    rough=not made and rough.stretch > 1.001,
                    guessed=rough.guessed,
                    notes=notes,
                    over=entry.over,
                    directed=directed(job, entry),
                    lapped=layers[number - 1].lapped,
                )
            )
    return tuple(cloth), tuple(cores), why


def _patterns(job: Job, told: Told) -> tuple[dict[int, tuple[FlatPly, ...]], tuple[str, ...]]:
    """Flat patterns by line of the layup, not spliced yet; and why there are none."""
    from dataclasses import replace

    from layup.cloth.pattern import flat_plies
    from layup.errors import LayupError, PatternError

    lines = [(n, e) for n, e in enumerate(job.part.plies()) if e.area is None]
    if not job.surface.has_mesh or not lines or is_flat(job.surface):
        return {}, ()
    # one of each line, so that the n-th pattern number is the n-th line
    single = [entry.model_copy(update={"count": 1}) for _, entry in lines]
    part = job.part.model_copy(update={"ply": single, "stack": None, "fabric": None})
    never = dict.fromkeys(
        (entry.fabric for entry in single if entry.fabric is not None), 1000.0
    )  # spliced when it is cut, not here
    why: tuple[str, ...] = ()
    try:
        made = flat_plies(replace(job, part=part), widths=never, told=told)
    except PatternError as error:
        made, why = error.made, tuple(dict.fromkeys(error.refused.values()))
    except LayupError as error:
        return {}, (f"No flat patterns: {error}",)
    found: dict[int, tuple[FlatPly, ...]] = {}
    for (line, _), number in zip(lines, range(1, len(lines) + 1), strict=True):
        own = [piece for piece in made if piece.number == number]
        whole = sum(piece.outline.area for piece in own)
        found[line] = tuple(piece for piece in own if piece.outline.area > SLIVER * whole)
    return found, why


def part_letter(number: int) -> str:
    """a, b, c ... of the pieces of one ply."""
    return chr(ord("a") + number) if number < 26 else f"-{number + 1}"


def _with_edge(shapes: tuple[Polygon, ...], trim: float, inside: tuple[Polygon, ...] = ()) -> tuple[Polygon, ...]:
    """Outlines grown by the width that is trimmed off later; those of a zone only where the part `inside` ends."""
    import shapely

    grown = shapely.union_all([shape.buffer(trim, join_style="mitre", mitre_limit=2.0) for shape in shapes])
    if inside:
        own = shapely.union_all(list(shapes))
        rest = shapely.union_all(list(inside)).difference(own.buffer(1e-6))
        grown = shapely.union(own, grown.difference(rest.buffer(1e-6))).buffer(0.0)
    return tuple(part for part in shapely.get_parts(grown) if part.geom_type == "Polygon")


def extent(shapes: tuple[Polygon, ...]) -> tuple[float, float]:
    """Sides of the least rectangle round some outlines, the longer first. [m]"""
    import shapely

    box = shapely.minimum_rotated_rectangle(shapely.union_all(list(shapes)))
    corners = shapely.get_coordinates(box)
    first = float(((corners[1] - corners[0]) ** 2).sum() ** 0.5)
    second = float(((corners[2] - corners[1]) ** 2).sum() ** 0.5)
    return max(first, second), min(first, second)
