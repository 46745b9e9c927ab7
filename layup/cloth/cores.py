"""A core as it is cut from its sheet: thickness, bevel, where it is scored so that it bends, where sheets are joined.

An outline of a core as its pieces                core_cut(job, entry, outline, triangles, flat)
How thick is it, how wide and long its bevel?     thickness_of(job, entry), bevel_of(job, entry)
Where the bevel begins on the bag side            bevel_lines(outline, width)
Where it is scored                                scores(triangles, flat, outline, thickness)
Pieces of a sheet of stock                        joined(outline, sheet)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.cloth import practice
from layup.cloth.laid_flat import border_length
from layup.errors import LayupError
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.shape.measure import measure_triangles
from layup.words import length_words, tape_words, volume_words

if TYPE_CHECKING:
    from shapely import LineString, Polygon

Floats = NDArray[np.float64]

_BANDS = 240
"""Across a piece, for the curvature there. [-]"""
_FOLD = math.radians(30.0)
"""A bend between two triangles that is a fold and not a step of a coarse mesh. [rad]"""


@dataclass(frozen=True, slots=True)
class Bevel:
    """The slope at the edge of a core.

    Attributes:
        angle: Of the slope from the panel. [rad]
        width: In plan. [m]
        length: Of the edge it runs along; holes that are drilled later have none. [m]
    """

    angle: float
    width: float
    length: float

    @property
    def gone(self) -> float:
        """Area by which the middle of the core is smaller than its mould side. [m^2]"""
        return 0.5 * self.width * self.length

    @property
    def slope(self) -> float:
        """How much larger the slope is than what it covers in plan. [m^2]"""
        return self.width * self.length * (1.0 / math.cos(self.angle) - 1.0)


@dataclass(frozen=True, eq=False, slots=True)
class Scores:
    """Where a core is cut part way through so that it bends.

    Attributes:
        lines: To cut. [m]
        apart: The most by which two of one way may lie apart where it bends most; 0 for a single line. [m]
        opened: Volume by which they open on the hollow's other side. [m^3]
        round: Radius to which it bends where it bends most. [m]
    """

    lines: tuple[LineString, ...]
    apart: float
    opened: float
    round: float


@dataclass(frozen=True, eq=False, slots=True)
class CoreCut:
    """A core as it is cut.

    Attributes:
        thickness: [m]
        pieces: Of its sheets, butted and glued. [m]
        bevels: Edge of its bag side. [m]
        scores: To cut part way through. [m]
        notes: What to know before it is cut, a sentence each.
    """

    thickness: float
    pieces: tuple[Polygon, ...]
    bevels: tuple[LineString, ...]
    scores: tuple[LineString, ...]
    notes: tuple[str, ...]


def core_cut(
    job: Job, entry: PlyEntry, outline: Polygon, triangles: Floats | None = None, flat: Floats | None = None
) -> CoreCut:
    """One outline of a core as the pieces of its sheet, with bevel and scores.

    Args:
        job: The part file, read.
        entry: The core.
        outline: Laid flat. [m]
        triangles: Of the surface under it (n, 3, 3); None where it is flat. [m]
        flat: The same in the flat (n, 3, 2). [m]
    """
    core = job.library.get("core", entry.core or "")
    thickness, bevel, sheet = thickness_of(job, entry), bevel_of(job, entry), sheet_of(job, core.name)
    notes: list[str] = []
    top = bevel_lines(outline, bevel.width) if bevel is not None else ()
    if bevel is not None:
        notes.append(
            f"has a bevel of {entry.bevel:g}° all round, {length_words(bevel.width, 'both')} wide and "
            f"{length_words(bevel.length, 'both')} long: the cut line is the mould side, the dashed line the bag side"
            + ("" if top else "; IT IS TOO WIDE, no bag side is left")
        )
    scored = None
    if triangles is not None and flat is not None and core.word("form") != "core mat":  # which drapes
        scored = scores(triangles, flat, outline, thickness)
    if scored is not None:
        apart = f", at most {tape_words(scored.apart, 'both', down=True)} apart" if scored.apart else ""
        notes.append(
            f"bends to a radius of {length_words(scored.round, 'both')}: score it part way through along the dotted "
            f"lines ({len(scored.lines)}{apart}), or take grid-scored or contour-cut sheet. Open scores hold up to "
            f"{volume_words(scored.opened, 'both')} in all; what fills them is not in the predicted weight"
        )
    pieces, joints = joined(outline, sheet)
    if sheet is not None and len(pieces) > 1:
        notes.append(
            f"is larger than a sheet of {length_words(sheet[0], 'both')} × {length_words(sheet[1], 'both')}: "
            f"{len(pieces)} pieces, butted and glued, {length_words(joints, 'both')} of joints"
        )
    return CoreCut(thickness, pieces, top, scored.lines if scored is not None else (), tuple(notes))


def thickness_of(job: Job, entry: PlyEntry) -> float:
    """Thickness of a core: the part file's, else the table's. [m]"""
    return entry.thickness or job.library.get("core", entry.core or "").figure("thickness").value


def sheet_of(job: Job, core: str) -> tuple[float, float] | None:
    """Length and width of a sheet of a core as it is bought; None where no table says. [m]"""
    material = job.library.get("core", core)
    long, wide = material.optional("length"), material.optional("width")
    return (long.value, wide.value) if long is not None and wide is not None else None


def bevel_of(job: Job, entry: PlyEntry) -> Bevel | None:
    """The bevel of a core; None where the part file asks for none.

    Raises:
        LayupError: Only its area is known, so its edge has no length.
    """
    if entry.bevel is None:
        return None
    angle = math.radians(entry.bevel)
    thickness = thickness_of(job, entry)
    width = thickness / math.tan(angle)
    under = job.covering(tuple(job.holes)) if job.holes else job
    triangles: Floats | None = None
    if entry.area is None and under.surface.has_mesh:
        whole = entry.zone in (None, WHOLE)
        triangles = under.surface.vertices[under.surface.faces] if whole else under.zone_triangles(entry.zone or "")
    if triangles is None:
        raise LayupError(
            f"a bevel of {entry.core} needs the length of its edge, and only its area is known. Give it a zone on a "
            "surface with a shape, or leave bevel out"
        )
    found = Bevel(angle, width, border_length(triangles))
    if found.gone >= measure_triangles(triangles).area:
        raise LayupError(
            f"a bevel of {entry.bevel:g}° on {thickness * 1e3:g} mm of {entry.core} is {width * 1e3:.0f} mm wide, and "
            "the core is too narrow for it. Write a steeper bevel, or leave it out"
        )
    return found


def bevel_lines(outline: Polygon, width: float) -> tuple[LineString, ...]:
    """The edge of a core's bag side; none where the bevels meet before they reach it."""
    import shapely

    inner = outline.buffer(-width, join_style="mitre")
    parts = [part for part in shapely.get_parts(inner) if part.geom_type == "Polygon" and part.area > 0.0]
    return tuple(shapely.LineString(ring.coords) for part in parts for ring in (part.exterior, *part.interiors))


def scores(triangles: Floats, flat: Floats, outline: Polygon, thickness: float) -> Scores | None:
    """Where a core has to be scored to lie on its mould.

    It is bent cold until its faces are strained by `practice.BEND`; beyond, it is scored along the lines that stay
    straight, so close that each strip lies within `practice.SAG` of the mould: s = (8 r sag)^(1/2), a chord on its arc.
    A score opens by the angle it turns through, so per area the gaps hold t^2 / (2 r).

    Args:
        triangles: Of the surface under it (n, 3, 3). [m]
        flat: The same in the flat (n, 3, 2). [m]
        outline: Of the piece. [m]
        thickness: Of the core. [m]

    Returns:
        The lines; None where it bends as it is.
    """
    import shapely

    angle, length, way, low, high = _hinges(triangles, flat)
    if not len(angle):
        return None
    lines: list[LineString] = []
    several, opened, least = False, 0.0, math.inf
    tensor = np.einsum("n,ni,nj->ij", angle * length, way, way)
    _, axes = np.linalg.eigh(tensor)
    reach = 2.0 * float(np.hypot(*(np.array(outline.bounds[2:]) - outline.bounds[:2]))) + 1.0
    for along in axes.T:
        across = np.array([-along[1], along[0]])
        spot = np.array(outline.exterior.coords)[:, :2] @ across
        edge = np.linspace(spot.min(), spot.max(), _BANDS + 1)
        middle, step = 0.5 * (edge[1:] + edge[:-1]), float(edge[1] - edge[0])
        turn = angle * length * (way @ along) ** 2
        rate, bands = np.zeros(_BANDS), np.arange(_BANDS)
        ends = np.sort(np.stack([low @ across, high @ across]), axis=0)
        for amount, first, last in zip(turn, *((ends - edge[0]) / step), strict=True):
            upto = np.minimum(bands + 1, max(last, first + 1e-3))
            covers = np.clip(upto - np.maximum(bands, first), 0.0, 1.0)
            rate += amount * covers / max(covers.sum(), 1e-300) / step
        through = [shapely.LineString([v * across - reach * along, v * across + reach * along]) for v in middle]
        chord = shapely.length(shapely.intersection(through, outline))
        window = np.ones(
            max(1, min(_BANDS, round(2.0 * thickness / step)))
        )  # a sheet does not bend within its own depth
        turned, wide = (np.convolve(values, window, "same") for values in (rate, chord))
        curve = np.abs(turned) / np.maximum(wide, 0.1 * float(wide.max()) + 1e-12)
        bends = curve * thickness > 2.0 * practice.BEND.value
        if not bends.any():
            continue
        count = np.cumsum(np.where(bends, np.sqrt(curve / (8.0 * practice.SAG.value)), 0.0)) * step
        total = max(math.ceil(round(float(count[-1]), 2)), 1)
        places = np.interp((np.arange(total) + 0.5) / total * count[-1], count, middle)
        for place in places:
            cut = shapely.LineString([place * across - reach * along, place * across + reach * along])
            lines += [part for part in shapely.get_parts(cut.intersection(outline)) if part.length > 5e-3]
        several = several or len(places) > 1
        opened += float((curve * chord)[bends].sum()) * step * thickness**2 / 2.0
        least = min(least, 1.0 / float(curve[bends].max()))
    apart = math.sqrt(8.0 * least * practice.SAG.value) if several else 0.0
    return Scores(tuple(lines), apart, opened, least) if lines else None


def _hinges(triangles: Floats, flat: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Every bend between two triangles: its angle [rad], length, direction in the flat, and what it is spread over.

    A step of a curve that is drawn in facets is spread over both of them; a fold stays where it is.
    """
    from layup.shape.topology import face_pairs, normals, weld

    points, faces = weld(np.round(triangles, 7))
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    faces, flat = faces[real], flat[real]
    pairs, edges, _ = face_pairs(faces)
    unit, _ = normals(points, faces)
    one, two = pairs.T
    middle = points[faces].mean(axis=1)
    turn = np.arctan2(np.linalg.norm(np.cross(unit[one], unit[two]), axis=1), (unit[one] * unit[two]).sum(axis=1))
    angle = turn * np.sign(((middle[two] - middle[one]) * unit[one]).sum(axis=1))
    at = (faces[one] == edges[:, :1]).argmax(axis=1), (faces[one] == edges[:, 1:]).argmax(axis=1)
    ends = flat[one, at[0]], flat[one, at[1]]
    lies = ends[1] - ends[0]
    length = np.linalg.norm(lies, axis=1)
    kept = (length > 1e-9) & (turn > 1e-6)
    way = lies[kept] / length[kept, None]
    # along the hinge's own normal in the flat, from the far corner of one facet to that of the other
    across = np.stack([-way[:, 1], way[:, 0]], axis=1)
    far = [np.einsum("nki,ni->nk", flat[side[kept]] - ends[0][kept][:, None], across) for side in (one, two)]
    both = np.concatenate(far, axis=1)
    fold = turn[kept] > _FOLD
    low, high = (np.where(fold, 0.0, 0.5 * side) for side in (both.min(axis=1), both.max(axis=1)))
    start = 0.5 * (ends[0] + ends[1])[kept]
    return angle[kept], length[kept], way, start + low[:, None] * across, start + high[:, None] * across


def joined(outline: Polygon, sheet: tuple[float, float] | None) -> tuple[tuple[Polygon, ...], float]:
    """The pieces of a sheet of stock that make up a core, butted and glued, and how long their joints are.

    Args:
        outline: Of the core. [m]
        sheet: Length and width of the sheet; None where they are not known. [m]

    Returns:
        The pieces, from the lower left; and the length of the joints. [m]
    """
    import shapely

    low_x, low_y, high_x, high_y = outline.bounds
    wide, high = high_x - low_x, high_y - low_y
    if sheet is None:
        return (outline,), 0.0
    best = min(
        (math.ceil(wide / along - 1e-9) * math.ceil(high / across - 1e-9), along, across)
        for along, across in (sheet, sheet[::-1])
    )
    columns, rows = math.ceil(wide / best[1] - 1e-9), math.ceil(high / best[2] - 1e-9)
    if columns * rows == 1:
        return (outline,), 0.0
    pieces = []
    for row in range(rows):
        for column in range(columns):
            left, below = low_x + wide * column / columns, low_y + high * row / rows
            cell = shapely.box(left, below, left + wide / columns, below + high / rows)
            pieces += [p for p in shapely.get_parts(outline.intersection(cell)) if p.geom_type == "Polygon"]
    cuts = [shapely.LineString([(x, low_y), (x, high_y)]) for x in low_x + wide * np.arange(1, columns) / columns]
    cuts += [shapely.LineString([(low_x, y), (high_x, y)]) for y in low_y + high * np.arange(1, rows) / rows]
    return tuple(pieces), float(sum(cut.intersection(outline).length for cut in cuts))
