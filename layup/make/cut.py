"""The cloth of one part, or of several at once: what length to cut off each roll, what is wasted, what it costs.

`cut` makes pieces of every ply, splices those that are wider than the roll, and nests them fabric by fabric.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from layup.cloth import practice
from layup.cloth.practice import cut_length, within
from layup.cloth.splice import splice
from layup.errors import LayupError, NestError
from layup.make.nest import Nest, nest
from layup.make.pieces import Cloth, Piece, Roll
from layup.make.plies_to_cut import SLIVER, ClothPly, CorePiece, part_letter, plies_to_cut
from layup.make.rings import quarters, worth_parting
from layup.materials import Material
from layup.partfile.job import Job
from layup.partfile.model import OPENINGS, WHOLE
from layup.shape.progress import Told, nobody
from layup.sources import Figure
from layup.units import Price
from layup.weight.cost import price_of
from layup.weight.plies import roll_weight
from layup.words import System, length_words, mass_both, percent_words, tape_words

if TYPE_CHECKING:
    from shapely import Polygon


@dataclass(frozen=True, eq=False, slots=True)
class CutPiece:
    """One piece of cloth.

    Attributes:
        name: What is written on it: "4", "4a" and "4b" for a ply in pieces, "B4" for the second of several parts.
        part: Index of its part.
        ply: The ply it belongs to.
        shape: Its outline, the warp along +x. [m]
    """

    name: str
    part: int
    ply: ClothPly
    shape: Polygon


@dataclass(frozen=True, eq=False)
class FabricCut:
    """What is cut from one roll.

    Attributes:
        fabric: Name of the cloth.
        pieces: As in `nest.pieces`.
        nest: Where they lie.
        length: To cut off, its end squared and rounded up to a whole centimetre. [m]
        mass: Of the cloth that this cut takes. [kg]
        price: Of it, money and currency; None where no table gives a price.
        paid: Of the length, what stored cuts of the same roll took before; it is not weighed or paid again. [m]
        of: The shop's roll or remnant that it is cut from; None where no stock was asked.
        left: Of a remnant, what is left worth keeping. [m]
    """

    fabric: str
    pieces: tuple[CutPiece, ...]
    nest: Nest
    length: float
    mass: float
    price: tuple[float, str] | None
    paid: float = 0.0
    of: Cloth | None = None
    left: tuple[Polygon, ...] = ()

    @property
    def area(self) -> float:
        """Of the cloth cut off; of a remnant, of what is not left of it. [m^2]"""
        if self.of is not None and self.of.outline is not None:
            return float(self.of.outline.area - sum(piece.area for piece in self.left))
        return self.length * self.nest.roll.width

    @property
    def waste(self) -> float:
        """Share of the cloth cut off that is in no piece. [-]"""
        return 1.0 - self.nest.area / self.area


@dataclass(frozen=True, eq=False)
class Cut:
    """All cloth of some parts.

    Attributes:
        jobs: The parts.
        plies: Of each part, in laying order.
        fabrics: Roll by roll, in the order of laying.
        cores: Of each part.
        proposals: What the builder has to decide, such as a splice, a sentence each.
        notes: What to know about the outlines.
        quarter_rings: Whether rings are cut in four.
        face_down: Whether plain weaves may be cut face down.
        figures: What it rests on.
    """

    jobs: tuple[Job, ...]
    plies: tuple[tuple[ClothPly, ...], ...]
    fabrics: tuple[FabricCut, ...]
    cores: tuple[tuple[CorePiece, ...], ...]
    proposals: tuple[str, ...]
    notes: tuple[str, ...]
    quarter_rings: bool = False
    face_down: bool = False
    figures: tuple[Figure, ...] = field(default=(), repr=False)

    def __repr__(self) -> str:
        rolls = "; ".join(f"{one.length:.2f} m of {one.fabric}" for one in self.fabrics)
        return f"Cut({', '.join(repr(job.part.title) for job in self.jobs)}: {rolls})"

    @property
    def stopped(self) -> bool:
        """Whether the search was ended before its time."""
        return any(fabric.nest.stopped for fabric in self.fabrics)

    @property
    def prices(self) -> dict[str, float]:
        """Money by currency, of the cloth that has a price."""
        sums: dict[str, float] = {}
        for fabric in self.fabrics:
            if fabric.price is not None:
                sums[fabric.price[1]] = sums.get(fabric.price[1], 0.0) + fabric.price[0]
        return sums


SEARCHED = 3600.0
"""The longest search; a layout is as good as found after a minute. [s]"""
Finder = Callable[[str, tuple[Piece, ...], Roll, float], Nest | None]
"""Gives a stored layout of a fabric, or None."""


def cut(
    jobs: Sequence[Job],
    *,
    gap: float = practice.GAP.value,
    edge: float = practice.EDGE.value,
    seconds: float = 5.0,
    widths: Mapping[str, float] | None = None,
    blocked: Mapping[str, Sequence[Polygon]] | None = None,
    paid: Mapping[str, float] | None = None,
    face_down: bool = False,
    patterns: bool = True,
    quarter_rings: bool = False,
    stored: Finder | None = None,
    shelf: Mapping[str, Sequence[Cloth]] | None = None,
    told: Told = nobody,
) -> Cut:
    """Cut the cloth of some parts.

    Args:
        jobs: The parts, read.
        gap: Between pieces. [m]
        edge: Strip along each edge of a roll that is not used. [m]
        seconds: To search, over all fabrics together; 0 for a plain layout that is always the same. [s]
        widths: Width of the roll in the shop, by fabric, where it is not the table's. [m]
        blocked: Defects and what is already cut out, by fabric, in the frame of the roll. [m]
        paid: Length of the roll that stored cuts took, by fabric: it is not weighed or paid again. [m]
        face_down: Whether pieces of a plain weave may be cut face down.
        patterns: Whether to make flat patterns; else rough outlines stand in for them, which is quicker.
        quarter_rings: Whether to cut a ply that is a ring in four, which saves the cloth of its middle.
        stored: Looks for a layout that was stored before, instead of a search.
        shelf: Rolls and remnants in the shop by fabric: remnants are used first, then the first roll that is long
            enough.
        told: How far patterns are, then the best layout so far.

    Returns:
        The cut. A keyboard interrupt ends the search of the fabric at hand and of those after it.

    Raises:
        LayupError: A fabric has no width, or pieces cannot be nested.
    """
    within(edge, 0.0, 0.2, f"an edge of {edge * 1e3:g} mm", "from 0 to 200 mm")
    within(seconds, 0.0, SEARCHED, f"a search of {seconds:g} s", f"of up to {SEARCHED:.0f} s")
    within(gap, 0.0, 0.2, f"a gap of {gap * 1e3:g} mm", "from 0 to 200 mm; a rotary cutter needs about 3 mm")
    listed = tuple(jobs)
    found = [plies_to_cut(job, patterns=patterns, told=told) for job in listed]
    by_fabric: dict[str, list[CutPiece]] = {}
    proposals: list[str] = []
    figures: list[Figure] = [practice.GAP, practice.EDGE, practice.END]
    rolls: dict[str, Roll] = {}
    for number, (job, (plies, _, _)) in enumerate(zip(listed, found, strict=True)):
        mark = chr(ord("A") + number % 26) if len(listed) > 1 else ""
        for ply in plies:
            roll = rolls.get(ply.fabric)
            if roll is None:
                in_shop = [cloth for cloth in (shelf or {}).get(ply.fabric, ()) if cloth.roll]
                width = (widths or {}).get(ply.fabric, in_shop[0].width if in_shop else None)
                if width is None:
                    printed = job.library.get("fabric", ply.fabric).figure("width")
                    figures.append(printed)
                    width = printed.value
                for shape in (blocked or {}).get(ply.fabric, ()):
                    if shape.bounds[1] >= width:
                        raise LayupError(
                            f"a bad place on {ply.fabric} begins {shape.bounds[1] * 1e3:.0f} mm from the lower edge, "
                            f"and the roll is {width * 1e3:.0f} mm wide. Measure it from the lower edge of the roll"
                        )
                roll = Roll(width, edge, None, tuple((blocked or {}).get(ply.fabric, ())))
                rolls[ply.fabric] = roll
            pieces, proposal = _pieces(job, ply, roll, number, mark, quarter_rings)
            by_fabric.setdefault(ply.fabric, []).extend(pieces)
            proposals += [f"{mark}: {proposal}" if mark else proposal] if proposal else []
    total = sum(len(pieces) for pieces in by_fabric.values())
    fabrics: list[FabricCut] = []
    stopped = False
    for fabric, own in by_fabric.items():
        # of the parts that use it; one part's own table may price what another's does not
        known = [listed[part].library.get("fabric", fabric) for part in dict.fromkeys(piece.part for piece in own)]
        material = next((m for m in known if price_of(m) is not None), known[0])
        turns, flips = _directions(material, face_down)
        remnants = [cloth for cloth in (shelf or {}).get(fabric, ()) if not cloth.roll]
        for cloth, taken, laid in _from_remnants(own, remnants, turns, flips, gap, 0.0 if stopped else seconds / 3):
            fabrics.append(_of_remnant(listed, material, taken, laid, cloth))
            own = [piece for piece in own if piece not in taken]
        if not own:
            continue
        nested = tuple(Piece(piece.name, piece.shape, turns, flips) for piece in own)
        layout = stored(fabric, nested, rolls[fabric], gap) if stored is not None else None
        if layout is None:
            share = 0.0 if stopped or len(own) == 1 or seconds < 1 else max(1.0, seconds * len(own) / total)
            layout = nest(
                nested,
                rolls[fabric],
                gap=gap,
                seconds=share,
                progress=partial(_so_far, told, fabric, share, listed[0].part.units),
            )
        stopped = stopped or layout.stopped
        whole = _fabric_cut(listed, material, tuple(own), layout, (paid or {}).get(fabric, 0.0))
        rolls_here = [c for c in (shelf or {}).get(fabric, ()) if c.roll and abs(c.width - layout.roll.width) < 1e-6]
        long_enough = [cloth for cloth in rolls_here if cloth.length >= whole.length - 1e-9]
        fabrics.append(replace(whole, of=next(iter((*long_enough, *rolls_here)), None)))
        proposals += _ring_proposal(fabrics[-1]) if not stopped else []
    plain, cores = tuple(one[0] for one in found), tuple(one[1] for one in found)
    made = Cut(listed, plain, tuple(fabrics), cores, tuple(proposals), _notes(listed, found), figures=tuple(figures))
    return replace(made, quarter_rings=quarter_rings, face_down=face_down)


KEPT = 0.05
"""What is left of a remnant is kept where it is at least twice as wide as this, and cut down to that; common practice,
no source. [m]"""


def _from_remnants(
    own: Sequence[CutPiece], remnants: Sequence[Cloth], turns: bool, flips: bool, gap: float, seconds: float
) -> list[tuple[Cloth, tuple[CutPiece, ...], Nest]]:
    """Pieces on remnants, the smallest remnant first, the largest piece that fits it first; so long it is searched."""
    until = time.monotonic() + seconds
    rest = sorted(own, key=lambda piece: -piece.shape.area)
    found = []
    for cloth in sorted(remnants, key=lambda one: one.outline.area if one.outline is not None else 0.0):
        room = cloth.outline.area if cloth.outline is not None else 0.0
        chosen: list[CutPiece] = []
        layout: Nest | None = None
        for piece in rest:
            if piece.shape.area > room:
                continue
            tried = [Piece(one.name, one.shape, turns, flips) for one in (*chosen, piece)]
            try:
                left = min(max(until - time.monotonic(), 0.0), seconds / 4)
                layout = nest(tried, cloth.as_roll(), gap=gap, seconds=left, fits=True)
            except NestError:
                continue
            chosen.append(piece)
            room -= piece.shape.area
        if layout is not None:
            found.append((cloth, tuple(chosen), layout))
            rest = [piece for piece in rest if piece not in chosen]
    return found


def _of_remnant(
    jobs: tuple[Job, ...], material: Material, pieces: tuple[CutPiece, ...], layout: Nest, cloth: Cloth
) -> FabricCut:
    import shapely

    assert cloth.outline is not None
    rest = cloth.outline.difference(shapely.union_all([shape.buffer(layout.gap) for shape in layout.laid()]))
    wide = rest.buffer(-KEPT).buffer(KEPT, join_style="mitre").intersection(rest).simplify(1e-3)
    left = tuple(
        shapely.Polygon(part.exterior)
        for part in shapely.get_parts(wide)
        if part.geom_type == "Polygon" and part.area > 0.02 and not part.interiors
    )
    made = FabricCut(material.name, pieces, layout, cloth.length, 0.0, None, of=cloth, left=left)
    return replace(made, mass=made.area * roll_weight(jobs[pieces[0].part], material))


def _so_far(told: Told, fabric: str, given: float, system: System, layout: Nest, seconds: float) -> None:
    words = f"{fabric}: {length_words(layout.length, system)}, {percent_words(layout.use)} used"
    told(words, min(seconds / given, 1.0) if given else 1.0)


def _pieces(
    job: Job, ply: ClothPly, roll: Roll, part: int, mark: str, quarter_rings: bool
) -> tuple[list[CutPiece], str]:
    """The pieces of one ply, in strips where it is wider than the roll, and what to say then."""
    overlap = practice.overlap(ply.overlap)
    shapes: list[Polygon] = []
    doubled = 0.0
    strips = 0
    whole = [q for s in ply.shapes for q in (quarters(s, overlap) if quarter_rings and worth_parting(s) else (s,))]
    for shape in whole:
        joined = splice(shape, roll.usable, overlap)
        shapes += [strip for strip in joined.shapes if strip.area > SLIVER * shape.area]
        doubled += joined.doubled
        strips += joined.count if joined.seam else 0
    letters = [part_letter(n) if len(shapes) > 1 else "" for n in range(len(shapes))]
    names = [f"{mark}{ply.number}{letter}" for letter in letters]
    pieces = [CutPiece(name, part, ply, shape) for name, shape in zip(names, shapes, strict=True)]
    if not strips:
        return pieces, ""
    aw = job.library.get("fabric", ply.fabric).figure("areal_weight").value
    wide = max(shape.bounds[3] - shape.bounds[1] for shape in ply.shapes)
    counts = "the prediction counts them"
    if abs(ply.lapped - doubled) > 0.1 * doubled:  # of another roll than the tables', or as the part file says
        counts = f"the prediction counts {mass_both(ply.lapped * aw, 'both')}"
        counts += "" if ply.lapped else ", and all of them with drape = true in [surface]"
    return pieces, (
        f"Ply {ply.number} is {length_words(wide, 'both')} across its warp and the roll has "
        f"{length_words(roll.usable, 'both')} to use, so it is cut in {strips} strips that overlap by "
        f"{tape_words(overlap, 'both')}. The overlaps take {mass_both(doubled * aw, 'both')} of cloth; {counts}."
    )


def _ring_proposal(fabric: FabricCut) -> list[str]:
    """What cutting rings in four would save, where it is a tenth of the cloth or more."""
    layout = fabric.nest
    rings = [piece for piece in fabric.pieces if worth_parting(piece.shape)]
    if not rings:
        return []
    parted: list[Piece] = []
    for piece, nested in zip(fabric.pieces, layout.pieces, strict=True):
        overlap = practice.overlap(piece.ply.overlap)
        shapes = quarters(piece.shape, overlap) if worth_parting(piece.shape) else (piece.shape,)
        parted += [Piece(nested.name, shape, nested.turns, nested.flips) for shape in shapes]
    shorter = nest(parted, layout.roll, gap=layout.gap, seconds=0)
    if shorter.length > 0.9 * layout.length:
        return []
    names = ", ".join(piece.name for piece in rings)
    off, whole = (tape_words(length, "both", up=True) for length in (shorter.length, fabric.length))
    return [
        f"Piece {names} of {fabric.fabric} is a frame, and its middle is waste. In four strips with overlaps of "
        f"{length_words(practice.OVERLAP.value, 'metric')}, it takes about {off} of cloth instead of {whole}."
    ]


def _directions(material: Material, face_down: bool) -> tuple[bool, bool]:
    """Whether pieces of a cloth may be turned end for end, and cut face down."""
    turns = material.word("same_turned") != "no"
    said = material.word("same_flipped")
    flips = said == "yes" or (
        said is None and face_down and material.word("weave") == "plain" and material.word("prepreg_resin") is None
    )
    return turns, flips


def _fabric_cut(
    jobs: tuple[Job, ...], material: Material, pieces: tuple[CutPiece, ...], layout: Nest, paid: float
) -> FabricCut:
    length = cut_length(layout.length)
    more = max(length - paid, 0.0)
    area = more * layout.roll.width
    mass = area * roll_weight(jobs[pieces[0].part], material)
    return FabricCut(
        fabric=material.name,
        pieces=pieces,
        nest=layout,
        length=length,
        mass=mass,
        price=_money(price_of(material), more, area, mass),
        paid=paid,
    )


def _money(price: Price | None, length: float, area: float, mass: float) -> tuple[float, str] | None:
    if price is None or price.per not in ("area", "length", "mass"):
        return None
    amount = {"area": area, "length": length, "mass": mass}[price.per]
    return price.amount * amount, price.currency


MORE_CLOTH = 0.05
"""Share of cloth in a pattern above what the weight counts from which it is told: below it lie the corners of the
trimmed edge, and how high a ply lies over the surface that was drawn. [-]"""


def _notes(
    jobs: tuple[Job, ...],
    found: Sequence[tuple[tuple[ClothPly, ...], tuple[CorePiece, ...], tuple[str, ...]]],
) -> tuple[str, ...]:
    notes: list[str] = []
    for job, (plies, cores, why) in zip(jobs, found, strict=True):
        who = f"{job.part.title}: " if len(jobs) > 1 else ""
        guessed = [p.number for p in plies if p.guessed]
        rough = [p.number for p in plies if p.rough and not p.guessed]
        notes += [f"{who}{reason}" for reason in why]
        if guessed:
            notes.append(
                f"{who}Ply {_numbers(guessed)}: only the area is known, so its shape is made up (3 to 2) and so is the "
                "length of cloth."
            )
        if rough:
            notes.append(
                f"{who}Ply {_numbers(rough)}: a rough outline, the shadow of the shape scaled to its true area; "
                "good for the length to buy, not to cut by."
            )
        more = {p.number: sum(s.area for s in p.shapes) / p.area - 1 for p in plies if not (p.rough or p.guessed)}
        much = [number for number, share in more.items() if share > MORE_CLOTH]
        if much and job.surface.has_mesh and not job.part.surface.drape:
            most = f"{max(more.values()) * 100:.0f} %"
            notes.append(
                f"{who}Ply {_numbers(much)}: cut by its pattern it is up to {most} more cloth "
                "than the weight counts, for cloth shears over the shape. Write drape = true under [surface], and the "
                "weight, the resin and what the scale should say count it."
            )
        by_note: dict[str, list[int]] = {}
        for ply in plies:
            for note in ply.notes:
                by_note.setdefault(note, []).append(ply.number)
        notes += [f"{who}Ply {_numbers(numbers)} {note}." for note, numbers in by_note.items()]
        notes += [f"{who}{sentence}" for sentence in openings_notes(job, plies)]
        notes += [f"{who}Core {core.number} {note}." for core in cores for note in core.notes]
    return tuple(notes)


def openings_notes(job: Job, plies: Sequence[ClothPly]) -> list[str]:
    """Whether the cloth is cut out at the openings of the part, and what that does to its dry weight.

    Returns:
        Sentences; none for a part without openings.
    """
    if not job.surface.has_mesh:
        return []
    whole = [ply for ply in plies if ply.zone == WHOLE and not ply.over]
    over = [ply for ply in plies if ply.over]
    notes = []
    if job.holes and whole:
        count = sum(len(one.pattern.holes) for one in job.holes.values())
        area = sum(one.area for one in job.holes.values())
        notes.append(
            f"Ply {_numbers([p.number for p in whole])}: cloth runs across the {count} holes ({area * 1e4:.4g} cm²), "
            "which are drilled when the part is hard; cloth, resin to mix and the weight off the mould count it, the "
            "part's weight doesn't."
        )
    if over:
        notes.append(f"Ply {_numbers([p.number for p in over])} runs over openings and stays whole there.")
    open_ = job.covering((OPENINGS,)).surface.whole.area - job.surface.whole.area
    cutouts = open_ - sum(one.area for one in job.holes.values())
    filled = [ply for ply in whole if all(len(shape.interiors) == 0 for shape in ply.shapes)]
    if cutouts > 1e-4 * job.surface.whole.area:
        if filled:
            notes.append(
                f"Ply {_numbers([p.number for p in filled])}: cloth is cut with the part's cut-outs filled "
                f"({cutouts * 1e4:.4g} cm²), which are cut out when the part is hard; dry cloth, resin to mix and the "
                "weight off the mould count it, the part's weight doesn't."
            )
        kept = [ply for ply in whole if ply not in filled]
        if kept:
            notes.append(f"Ply {_numbers([p.number for p in kept])} is cut with its opening left out, as a frame is.")
    return notes


def _numbers(numbers: Sequence[int]) -> str:
    """1, 2 and 5 as words; a run as 3 to 7."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [str(r[0]) if len(r) == 1 else f"{r[0]} and {r[1]}" if len(r) == 2 else f"{r[0]} to {r[-1]}" for r in runs]
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else words[0]
