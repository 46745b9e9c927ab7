"""A drawing once it is read: closed loops and open lines in metres, on layers, and the flat part they make.

    Curves as read become a drawing         assemble(curves, "rib.dxf", given="mm")
    What is edge, hole, countersink, area   drawing.sort()
    The flat part                           drawing.surface()

Which loop is what: the outermost loop is the outline. A loop in it is a cut-out, except on a layer that is named as
an area (`areas`, or a layer name with a word of AREA_WORDS in it): that becomes a named group of the surface.
Of circles about one centre inside an outline the smallest is the hole; the rings round it, up to RING times as
wide, are countersinks or counterbores and are not cut out. Frames, and layers of dimensions and notes, are left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError, nearest
from layup.files.chain import Piece, chain
from layup.shape.curves import Curve, Line2, circle_of
from layup.shape.flat import triangles_of
from layup.shape.measure import FARTHEST, measure_triangles
from layup.shape.surface import Finding, Surface
from layup.units import parse
from layup.words import plain

if TYPE_CHECKING:
    from shapely import Polygon

GAP = 1e-4
"""Ends this share of the drawing's size apart are joined, unless a gap is given. [-]"""
SAME = 1e-9
"""Points nearer than this share of the drawing's size are one. [-]"""
SAGITTA = 2e-6
"""Curves are drawn to this share of the drawing's size. [-]"""
MOST_POINTS = 2_000_000
"""A drawing with more points than this is refused. [-]"""
_LARGE, _SMALL = 15.0, 0.01  # a longest side outside this is a finding [m]


@dataclass(frozen=True)
class Loop:
    """A closed line; the first point is not repeated.

    Attributes:
        points: Shape (n, 2). [m]
        layer: Its layer, "" where there is none.
        fill: Number of the fill that has it as its edge, 0 for a line that is drawn. [-]
    """

    points: Line2
    layer: str
    fill: int = 0

    @cached_property
    def area(self) -> float:
        """Enclosed area. [m^2]"""
        x, y = (self.points - self.points[0]).T
        return abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())) / 2.0

    @cached_property
    def circle(self) -> tuple[float, float, float] | None:
        """Centre x, y and diameter if the loop is a circle to 1 % of its radius, else None. [m]"""
        return circle_of(self.points)

    @cached_property
    def polygon(self) -> Polygon:
        """The same as a shape of the geometry library; it may cross itself."""
        import shapely

        return shapely.Polygon(self.points)

    @property
    def size(self) -> str:
        """Its box in words, or its diameter."""
        if self.circle:
            return f"{plain(self.circle[2] * 1e3, 4)} mm across, round"
        wide, high = np.ptp(self.points, axis=0) * 1e3
        return f"{plain(wide, 4)} x {plain(high, 4)} mm"

    def __str__(self) -> str:
        return self.size + (f' on layer "{self.layer}"' if self.layer else "")


@dataclass(frozen=True)
class Drawing:
    """A drawing in metres.

    Attributes:
        name: As errors call it.
        unit: The unit it was read in, as words.
        loops: Closed lines, largest first.
        open: Lines that close nowhere, points (n, 2) and layer. [m]
        findings: What reading it showed.
    """

    name: str
    unit: str
    loops: tuple[Loop, ...]
    open: tuple[Piece, ...] = ()
    findings: tuple[Finding, ...] = field(default=())

    @property
    def layers(self) -> tuple[str, ...]:
        """Layers with a closed line on them."""
        return tuple(dict.fromkeys(loop.layer for loop in self.loops))

    def sort(self, *, pick: int | str | None = None, areas: Iterable[str] = (), cut: Iterable[str] = ()) -> Sorted:
        """Outline, cut-outs, countersinks and named areas; arguments and errors as for `surface`."""
        return sort_loops(self, pick=pick, areas=tuple(areas), cut=tuple(cut))

    def surface(self, *, pick: int | str | None = None, areas: Iterable[str] = (), cut: Iterable[str] = ()) -> Surface:
        """The flat part of the drawing, its named areas as groups.

        Args:
            pick: Which outline, where the drawing holds several: its number in the list of the error, the name
                of its layer, or "all" for all of them as one surface in pieces.
            areas: Layers whose loops are areas of the surface, not cut-outs; the groups that zones name.
            cut: Layers whose loops are cut-outs in spite of their name.

        Raises:
            SurfaceError: no closed line; several outlines and no pick; a line that crosses itself or the outline
                (naming where); a layer that is not there.
        """
        return surface_of(self, self.sort(pick=pick, areas=areas, cut=cut))


def assemble(
    curves: Sequence[Curve],
    name: str,
    *,
    stated: float | None = None,
    reason: str = "",
    given: str | None = None,
    gap: float | None = None,
    findings: Sequence[Finding] = (),
) -> Drawing:
    """Curves as read become a drawing: unit settled, curves drawn to size, loose lines joined, doubles taken once.

    Args:
        curves: In the unit of the file.
        name: What errors call the file.
        stated: Unit that the file states, None when it states none. [m]
        reason: The unit, a comma, and where the file states it: "mm, $INSUNITS says mm"; or why it states none.
        given: Unit the user gives.
        gap: Widest gap to be closed; None for GAP of the size of the drawing. [m]
        findings: Of the reader.

    Raises:
        SurfaceError: nothing drawn, a point that is not a number, no unit, two units, too many points.
    """
    with np.errstate(all="ignore"):  # a number out of range shows as one that is not finite, below
        rough = [curve.points(np.inf) for curve in curves]
    rough = [line for line in rough if len(line)]
    if not rough:
        raise SurfaceError(f"{name}: there is no line in it", "Export it again with the outline selected")
    every = np.concatenate(rough)
    if not np.isfinite(every).all() or np.abs(every).max() > 1e12:
        raise SurfaceError(f"{name}: a point is not a finite number", "Export it again")
    spans = np.ptp(every, axis=0)
    size = float(spans.max())
    if not size > 1e-9 * float(np.abs(every).max()):
        raise SurfaceError(f"{name}: all its points are in one place", "Export it again with the outline selected")
    factor, unit = settle_unit(name, (float(spans[0]), float(spans[1])), stated, reason, given)
    if not float(np.abs(every).max()) * factor < FARTHEST:
        far = float(np.abs(every).max()) * factor / 1e3
        raise SurfaceError(
            f"{name}: a point lies {far:.3g} km from the origin: a damaged number, or a wrong unit", "Check its unit"
        )
    sagitta, same = SAGITTA * size, SAME * size
    widest = GAP * size if gap is None else gap / factor
    pieces: list[Piece] = []
    fills: dict[int, list[Piece]] = {}
    count = 0
    for curve in curves:
        points = _stripped(curve.points(sagitta), curve.closed, same)
        count += len(points)
        if count > MOST_POINTS:
            raise SurfaceError(f"{name}: more than {MOST_POINTS:,} points", "Export only the outline and its holes")
        if len(points) > 1:
            own = fills.setdefault(curve.fill, []) if curve.fill else pieces
            own.append(Piece(points, curve.layer, curve.closed and len(points) > 2))
    chained = chain(pieces, widest)
    notes = list(findings)
    if chained.twice:
        text = f"{count_of(chained.twice, 'line')} drawn twice, taken once"
        notes.append(Finding("duplicate", chained.twice, text, 0.0))
    if chained.joined or chained.widest > 0.0:
        notes.append(
            Finding(
                "joined",
                chained.joined,
                f"{count_of(chained.joined, 'loose piece')} joined end to end; widest gap closed "
                f"{chained.widest * factor * 1e3:.3g} mm (gaps up to {widest * factor * 1e3:.3g} mm are closed)",
            )
        )
    if chained.branches:
        notes.append(
            Finding(
                "branches",
                chained.branches,
                f"lines meet in threes: {count_of(chained.branches, 'loop')} taken as the border of all they enclose",
            )
        )
    loops, flat = [], []
    for piece in chained.loops:
        loop = Loop(_stripped(piece.points, True, same) * factor, piece.layer)
        if len(loop.points) > 2 and loop.polygon.convex_hull.area > 1e-12 * (size * factor) ** 2:
            loops.append(loop)
        else:
            flat.append(piece)
    near = max(widest, 1e-9 * size) * factor
    loops, twice = _once(sorted(loops, key=lambda a: -a.area), near)
    filled = [
        Loop(_stripped(piece.points, True, same) * factor, piece.layer, number)
        for number, own in fills.items()
        for piece in chain(own, widest).loops
    ]
    filled = [loop for loop in filled if loop.polygon.convex_hull.area > 1e-12 * (size * factor) ** 2]
    loops, _ = _once([*loops, *sorted(filled, key=lambda a: -a.area)], near)  # a fill of what is drawn says nothing new
    loops.sort(key=lambda a: -a.area)
    if twice:
        notes.append(Finding("duplicate", twice, f"{count_of(twice, 'closed line')} drawn twice, taken once", 0.0))
    open_ = tuple(Piece(p.points * factor, p.layer) for p in (*chained.open, *flat))
    if open_:
        notes.append(_open_finding(open_))
    if not _SMALL <= size * factor <= _LARGE:
        notes.append(
            Finding("unit", 1, f"the drawing is {_long(size * factor)} long read in {unit}: is that its unit?")
        )
    if not loops:
        raise SurfaceError(
            f"{name}: no line in it closes ({count_of(len(open_), 'open line')}: {_open_words(open_)})",
            f"Join the ends in the drawing; gaps up to {plain(widest * factor * 1e3, 3)} mm are closed here",
        )
    return Drawing(name, unit, tuple(loops), open_, tuple(notes))


def settle_unit(
    name: str, spans: tuple[float, float], stated: float | None, reason: str, given: str | None
) -> tuple[float, str]:
    """The unit of a file's numbers from what it states and what the user gives.

    Args:
        name: What errors call the file.
        spans: Size of the drawing in its own numbers. [unit of the file]
        stated: What the file states. [m]
        reason: The unit, a comma, and where the file states it; or why it states none.
        given: What the user gives: "mm".

    Returns:
        The unit, and its words. [m]

    Raises:
        SurfaceError: neither, with the three usual readings; a given unit that is no length; two that disagree.
    """
    factor = None
    if given is not None:
        try:
            factor = parse(f"1 {given.strip()}", "length")
        except UnitError:
            raise SurfaceError(
                f'{name}: unit "{given}" is not a unit of length', 'Write unit = "mm", "cm", "m", "in" or "ft"'
            ) from None
    if factor is None and stated is None:
        why = f" ({reason})" if reason else ""
        raise SurfaceError(
            f"{name}: no unit{why}. The drawing measures {plain(spans[0], 4)} x {plain(spans[1], 4)}: "
            f"{readings(spans)}",
            'Add unit = "mm", or "in", or "m"',
        )
    if factor is not None and stated is not None and abs(factor / stated - 1.0) > 1e-5:
        raise SurfaceError(
            f'{name}: unit = "{given}" was given, but {reason.partition(", ")[2] or reason}; '
            f"read in {given} it measures {_pair(spans, factor)}, as the file says {_pair(spans, stated)}",
            "Take the unit out if the file is right, or set the unit in the drawing and export it again",
        )
    if factor is not None:
        return factor, str(given).strip()
    assert stated is not None
    return stated, reason.partition(",")[0]


def readings(spans: tuple[float, float]) -> str:
    """The three usual readings of a size without a unit.

    >>> readings((620.0, 380.0))
    'in mm that is 620 x 380 mm, in inches 15.75 x 9.652 m (51.7 x 31.7 ft), in m 620 x 380 m'
    """
    inch = f"{plain(spans[0] / 12, 3)} x {plain(spans[1] / 12, 3)} ft" if max(spans) >= 12 else ""
    feet = f" ({inch})" if inch else ""
    return f"in mm that is {_pair(spans, 1e-3)}, in inches {_pair(spans, 0.0254)}{feet}, in m {_pair(spans, 1.0)}"


def _pair(spans: tuple[float, float], factor: float) -> str:
    a, b = spans[0] * factor, spans[1] * factor
    return f"{plain(a * 1e3, 4)} x {plain(b * 1e3, 4)} mm" if max(a, b) < 1.0 else f"{plain(a, 4)} x {plain(b, 4)} m"


def _long(size: float) -> str:
    return f"{plain(size * 1e3, 3)} mm" if size < 1.0 else f"{plain(size, 3)} m"


def _stripped(points: Line2, closed: bool, near: float) -> Line2:
    """Without points that lie on the one before, round the end too.

    A path of relative steps comes back to where it began but for round-off, and would cross itself there.
    """
    if len(points) < 2:
        return points
    same = np.abs(points[1:] - points[:-1]).max(axis=1) <= near
    points = points[np.concatenate([[True], ~same])]
    if closed and len(points) > 1 and np.abs(points[0] - points[-1]).max() <= near:
        points = points[:-1]
    return points


def _once(loops: list[Loop], near: float) -> tuple[list[Loop], int]:
    """Loops without those that lie on each other; largest first."""
    kept: list[Loop] = []
    boxes: dict[tuple[int, ...], list[tuple[Line2, float]]] = {}
    for loop in loops:
        box = np.concatenate([loop.points.min(axis=0), loop.points.max(axis=0)])
        cell = np.floor(box / (16.0 * near)).astype(np.int64)
        around = {tuple(int(c) for c in np.floor((box + s * near) / (16.0 * near))) for s in (-1.0, 0.0, 1.0)}
        length = float(np.hypot(*np.diff(loop.points, axis=0).T).sum())
        rivals = [r for key in around for r in boxes.get(key, [])]
        if any(np.abs(box - b).max() <= near and abs(loop.area - a) <= near * length for b, a in rivals):
            continue
        boxes.setdefault(tuple(int(c) for c in cell), []).append((box, loop.area))
        kept.append(loop)
    return kept, len(loops) - len(kept)


def _open_finding(open_: Sequence[Piece]) -> Finding:
    text = f"{count_of(len(open_), 'open line')}, enclosing nothing: {_open_words(open_)}"
    return Finding("open", len(open_), text, 0.0)


def _open_words(open_: Sequence[Piece]) -> str:
    words = []
    for piece in sorted(open_, key=lambda p: -p.length)[:3]:
        ends = piece.points[[0, -1]] * 1e3
        layer = f'on layer "{piece.layer}" ' if piece.layer else ""
        words.append(
            f"{layer}from ({plain(ends[0, 0], 4)}, {plain(ends[0, 1], 4)}) to "
            f"({plain(ends[1, 0], 4)}, {plain(ends[1, 1], 4)}) mm, "
            f"ends {plain(float(np.hypot(*(ends[1] - ends[0]))), 3)} mm apart"
        )
    more = f"; and {len(open_) - 3} more" if len(open_) > 3 else ""
    return "; ".join(words) + more


def known_layer(word: str, drawing: Drawing, what: str) -> str:
    """The layer of the drawing with this name, whatever the case of its letters.

    Raises:
        SurfaceError: no such layer with a closed line on it.
    """
    for layer in drawing.layers:
        if layer.casefold() == word.strip().casefold():
            return layer
    there = ", ".join(f'"{name}"' for name in drawing.layers)
    raise SurfaceError(
        f'{drawing.name}: {what}: no closed line on a layer "{word}"',
        nearest(word, drawing.layers) or f"Layers with closed lines: {there}",
    )


def has_word(layer: str, words: Iterable[str]) -> bool:
    """Whether the name of a layer has one of the words in it, as a word or the start of one.

    >>> has_word("HOLES-6mm", ["hole"]), has_word("shole", ["hole"])
    (True, False)
    """
    return any(re.search(rf"(?:^|[^a-z]){word}", layer.casefold()) for word in words)


def count_of(number: int, noun: str) -> str:
    """A count with its noun: "1 cut-out", "3 cut-outs"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


RING = 3.0
"""A circle about a hole, up to so many times as wide, is a countersink or counterbore: common practice, no source;
the head of a countersunk screw is about twice as wide as its hole."""
CUT_WORDS = ("hole", "cut", "drill", "bore", "open", "window", "lighten", "slot")
AREA_WORDS = ("zone", "area", "ply", "plies", "patch", "reinf", "doubler", "core", "pad", "band")
SINK_WORDS = ("csk", "countersink", "countersunk", "counterbore", "cbore", "spotface")
FRAME_WORDS = ("frame", "border", "title", "sheet")
"""A frame in an aircraft is a part: what a layer of this name holds has to look like the frame of a drawing too."""
LEFT_OUT_WORDS = (
    *FRAME_WORDS, "dim", "text", "note", "anno", "cent(?:er|re)", "constr", "hidden", "defpoints", "hatch",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outline:
    """One outline and what is cut out of it."""

    edge: Loop
    cutouts: tuple[Loop, ...]


@dataclass(frozen=True, slots=True)
class Sorted:
    """The loops of a drawing by what they are.

    Attributes:
        outlines: One, or more if all were asked for.
        areas: Loops that are named areas, by layer.
        countersinks: Rings that are not cut, each with the hole in it (None if only its layer says so).
        findings: What was found and assumed.
    """

    outlines: tuple[Outline, ...]
    areas: dict[str, tuple[Loop, ...]]
    countersinks: tuple[tuple[Loop, Loop | None], ...]
    findings: tuple[Finding, ...]


def sort_loops(drawing: Drawing, *, pick: int | str | None, areas: Sequence[str], cut: Sequence[str]) -> Sorted:
    """Say what each loop is; see `Drawing.surface` for the arguments and the errors."""
    area_layers = {known_layer(word, drawing, "areas") for word in areas}
    cut_layers = {known_layer(word, drawing, "cut") for word in cut}
    both = area_layers & cut_layers
    if both:
        raise SurfaceError(f'{drawing.name}: layer "{min(both)}" is both an area and cut', "Keep one of the two")
    notes: list[Finding] = []
    own = pick.strip().casefold() if isinstance(pick, str) and not pick.strip().isdigit() else None
    kinds: dict[str, list[Loop]] = {"shape": [], "area": [], "sink": [], "left out": [], "fill": []}
    for loop in drawing.loops:
        kinds[_kind(loop, area_layers, cut_layers, own)].append(loop)
    _back_from_frames(kinds, drawing.loops)
    notes += _fills(kinds)
    if not kinds["shape"]:  # nothing but frames or areas: then their names say nothing
        kinds["shape"] = [loop for loop in drawing.loops if loop.layer not in area_layers]
        kinds["sink"], kinds["left out"] = [], []
        kinds["area"] = [loop for loop in kinds["area"] if loop.layer in area_layers]
    if not kinds["shape"]:
        raise SurfaceError(
            f"{drawing.name}: every closed line is on a layer named as an area", "Leave the outline out of areas"
        )
    if kinds["left out"]:
        names = ", ".join(f'"{n}"' for n in dict.fromkeys(loop.layer for loop in kinds["left out"]))
        count = len(kinds["left out"])
        text = f"{count_of(count, 'closed line')} on layer {names} left out, by the name of the layer"
        notes.append(Finding("left out", count, text, 0.0))
    for loop in kinds["shape"] + kinds["area"]:
        _check_simple(loop, drawing.name)
    shapes = kinds["shape"]
    inside = _nesting(shapes)
    frames = _sheet_frames(shapes, inside)
    if frames:
        sheet = frames[0]
        own_layer = own is not None and shapes[sheet].layer.casefold() == own
        whole = own == "all" or own_layer or str(pick).strip() == "1"
        if pick is None:
            raise _is_frame(drawing, shapes, inside, frames)
        if not whole:
            number = str(pick).strip()
            pick = int(number) - 1 if number.isdigit() else pick
            text = f"the rectangle {shapes[sheet]} is as large as a drawing sheet or its frame, and is left out"
            notes.append(Finding("left out", 1, text, 0.0))
            shapes = [loop for k, loop in enumerate(shapes) if k not in frames]
            inside = _nesting(shapes)
    sinks = _countersinks(shapes, inside)
    rings: list[tuple[Loop, Loop | None]] = [(shapes[ring], shapes[hole]) for ring, hole in sinks.items()]
    rings += [(loop, None) for loop in kinds["sink"]]
    kept = [k for k in range(len(shapes)) if k not in sinks]
    within = {k: inside[k] - set(sinks) for k in kept}
    tops = [k for k in kept if not len(within[k]) % 2]
    if pick is None:
        _check_crossing(drawing, [shapes[k] for k in tops[:1]], shapes)
    chosen, top = _choose(drawing, shapes, tops, within, pick)
    outlines, islands = [], 0
    for k in chosen:
        base = len(within[k])
        holes = [j for j in kept if k in within[j] and len(within[j]) == base + 1]
        deeper = [j for j in tops if k in within[j] and j not in chosen]
        islands += len(deeper)
        outlines.append(Outline(shapes[k], tuple(shapes[j] for j in holes)))
    _check_crossing(drawing, [shapes[k] for k in chosen], shapes)
    notes += _outline_findings(outlines)
    if rings:
        notes.append(_sink_finding(rings))
    if islands:
        text = f"{count_of(islands, 'closed line')} inside a cut-out: another part, not counted"
        notes.append(Finding("islands", islands, text, 0.0))
    if len(top) > len(chosen):
        rest = len(top) - len(chosen)
        text = f"{count_of(rest, 'more outline')} in the drawing, not counted"
        notes.append(Finding("other outlines", rest, text, 0.0))
    named: dict[str, tuple[Loop, ...]] = {}
    for layer in dict.fromkeys(loop.layer for loop in kinds["area"]):
        members = tuple(loop for loop in kinds["area"] if loop.layer == layer)
        named[layer] = members
        total = sum(loop.area for loop in members)
        text = (
            f'layer "{layer}": {count_of(len(members), "closed line")}, {total:.4g} m^2, taken as a named area and '
            f'not cut out; cut = ["{layer}"] cuts them'
        )
        notes.append(Finding("named area", len(members), text, 0.0))
    return Sorted(tuple(outlines), named, tuple(rings), tuple(notes))


def _fills(kinds: dict[str, list[Loop]]) -> list[Finding]:
    """Take the fills for shapes that are drawn in no other way; leave out the rest."""
    import shapely

    drawn, fills = kinds["shape"], kinds["fill"]
    if not fills:
        return []
    if drawn:
        tree = shapely.STRtree([loop.polygon for loop in drawn])
        inside = {fills[k].fill for k in tree.query([f.polygon for f in fills], predicate="covered_by")[0].tolist()}
        round_ = {fills[k].fill for k in tree.query([f.polygon for f in fills], predicate="covers")[0].tolist()}
        used = round_ - inside
    else:
        used = {loop.fill for loop in fills}
    taken = [loop for loop in fills if loop.fill in used]
    rest = [loop for loop in fills if loop.fill not in used]
    kinds["shape"] = sorted([*drawn, *taken], key=lambda loop: -loop.area)
    notes = []
    if taken:
        text = f"{count_of(len(taken), 'closed line')} drawn only as the edge of a fill (a hatch), taken as drawn"
        notes.append(Finding("from fills", len(taken), text))
    if rest:
        layers = ", ".join(f'"{word}"' for word in dict.fromkeys(loop.layer for loop in rest))
        text = (
            f"{count_of(len(rest), 'filled area')} (hatches) whose edge is not drawn, on layer {layers}, "
            f"{sum(loop.area for loop in rest):.4g} m^2 in all, left out; name the layer under areas or cut to use it"
        )
        notes.append(Finding("fills", len(rest), text))
    return notes


def _kind(loop: Loop, areas: set[str], cut: set[str], own: str | None) -> str:
    layer = loop.layer
    if layer in areas:
        return "area"
    if layer in cut or (own is not None and layer.casefold() == own):
        return "shape"
    for kind, words in (("sink", SINK_WORDS), ("left out", LEFT_OUT_WORDS)):
        if has_word(layer, words):
            return kind
    if has_word(layer, AREA_WORDS) and not has_word(layer, CUT_WORDS):
        return "area"
    return "fill" if loop.fill else "shape"


def _check_simple(loop: Loop, name: str) -> None:
    import shapely

    if shapely.is_valid(loop.polygon):
        return
    reason = str(shapely.is_valid_reason(loop.polygon))
    where = reason[reason.find("[") + 1 : reason.find("]")].split() if "[" in reason else []
    at = f" at ({', '.join(f'{plain(float(v) * 1e3, 4)} mm' for v in where[:2])})" if len(where) >= 2 else ""
    raise SurfaceError(
        f"{name}: the closed line {loop} crosses or touches itself{at}",
        "Put the points in order round the edge, or trim the lines where they cross",
    )


SHEETS = (
    *((0.841, 1.189), (0.594, 0.841), (0.42, 0.594), (0.297, 0.42), (0.21, 0.297)),  # A0 to A4, ISO 216
    *((0.821, 1.159), (0.574, 0.811), (0.4, 0.564), (0.277, 0.39), (0.18, 0.277)),  # drawing space in them, ISO 5457
    *((w * 0.0254, h * 0.0254) for w, h in ((8.5, 11), (11, 17), (17, 22), (22, 34), (34, 44))),  # ANSI A to E
)
"""Drawing sheets and the frames on them; from memory. [m]"""
_SCALES = (1.0, 2.0, 5.0, 10.0)  # at which a frame is drawn round a part of true size


_MARGIN = 0.12  # of the shorter side of a sheet, how far its frame lies within it: 25 mm to bind it on A4


def _upright(loop: Loop) -> bool:
    """Whether a loop is a rectangle along the axes."""
    size = np.ptp(loop.points, axis=0)
    return len(loop.points) == 4 and loop.area >= 0.9999 * float(size[0] * size[1])


def _back_from_frames(kinds: dict[str, list[Loop]], loops: Sequence[Loop]) -> None:
    """Shapes again what is on a layer named as a frame and looks like none: a bulkhead is a frame too.

    The frame of a drawing is a rectangle round what is on other layers; the boxes of its title hold nothing but boxes.
    """
    named = [loop for loop in kinds["left out"] if has_word(loop.layer, FRAME_WORDS)]
    if not named:
        return
    inside = _nesting(loops)
    held = {id(loop): [loops[j] for j in inside if k in inside[j]] for k, loop in enumerate(loops)}
    back = [
        loop
        for loop in named
        if not _upright(loop)
        or (all(one.layer == loop.layer for one in held[id(loop)]) and not all(_upright(one) for one in held[id(loop)]))
    ]
    whole = {id(loop) for loop in back} | {id(one) for loop in back for one in held[id(loop)]}
    shapes = {id(loop) for loop in kinds["shape"]} | {id(loop) for loop in named if id(loop) in whole}
    kinds["shape"] = [loop for loop in loops if id(loop) in shapes]  # in the order that numbers count them in
    kinds["left out"] = [loop for loop in kinds["left out"] if id(loop) not in whole]


def _sheet_frames(loops: Sequence[Loop], inside: dict[int, set[int]]) -> list[int]:
    """The outermost rectangle, where it is as large as a sheet and something that is no plain hole lies in it.

    Behind it the frames that lie close within it.
    """
    found = _sheet_frame(loops, inside)
    frames = [] if found is None else [found]
    while frames:
        outer = loops[frames[-1]].points
        margin = _MARGIN * float(np.ptp(loops[frames[0]].points, axis=0).min())
        close = [
            k
            for k, loop in enumerate(loops)
            if inside[k] == set(frames)
            and _upright(loop)
            and (np.abs(loop.points.min(axis=0) - outer.min(axis=0)) < margin).all()
            and (np.abs(loop.points.max(axis=0) - outer.max(axis=0)) < margin).all()
            and any(k in held for held in inside.values())
        ]
        if not close:
            break
        frames.append(close[0])
    return frames


def _sheet_frame(loops: Sequence[Loop], inside: dict[int, set[int]]) -> int | None:
    for k, loop in enumerate(loops):
        if inside[k] or not _upright(loop):
            continue
        size = sorted(np.ptp(loop.points, axis=0).tolist())
        held = [loops[j] for j in range(len(loops)) if inside[j] == {k}]
        if not any(one.circle is None or one.area > 0.2 * loop.area for one in held):
            continue  # a plate with holes
        for sheet in SHEETS:
            if any(all(abs(a - s * b) < 0.0015 * s for a, b in zip(size, sheet, strict=True)) for s in _SCALES):
                return k
    return None


def _is_frame(
    drawing: Drawing, loops: Sequence[Loop], inside: dict[int, set[int]], frames: Sequence[int]
) -> SurfaceError:
    within = [loop for j, loop in enumerate(loops) if inside[j] == set(frames)]
    sheet = loops[frames[0]]
    shown = "; ".join(f"{n}: {loop}" for n, loop in enumerate([sheet, *within[:11]], 1))
    return SurfaceError(
        f"{drawing.name}: the rectangle {sheet} round all is as large as a drawing sheet or its frame ({shown})",
        "Say which outline is the part: pick = 2, or pick = 1 where the rectangle itself is",
    )


def _nesting(loops: Sequence[Loop]) -> dict[int, set[int]]:
    """For each loop the loops it lies inside."""
    import shapely

    shapes = [loop.polygon for loop in loops]
    tree = shapely.STRtree(shapes)
    inner, outer = tree.query(shapes, predicate="covered_by")
    inside: dict[int, set[int]] = {k: set() for k in range(len(loops))}
    for a, b in zip(inner.tolist(), outer.tolist(), strict=True):
        if a != b and loops[b].area > loops[a].area:
            inside[a].add(b)
    return inside


def _countersinks(loops: Sequence[Loop], inside: dict[int, set[int]]) -> dict[int, int]:
    """Circles that are rings round a smaller circle about the same centre, and lie in some outline; their hole."""
    found: dict[int, int] = {}
    for k, loop in enumerate(loops):
        if loop.circle is None:
            continue
        x, y, d = loop.circle
        for j in inside[k]:
            ring = loops[j].circle
            if ring is None or not inside[j] or ring[2] > RING * d:
                continue
            if np.hypot(ring[0] - x, ring[1] - y) <= 0.05 * d and (j not in found or loops[found[j]].area > loop.area):
                found[j] = k
    return found


def _choose(
    drawing: Drawing, loops: Sequence[Loop], tops: list[int], within: dict[int, set[int]], pick: int | str | None
) -> tuple[list[int], list[int]]:
    """The outlines picked, and the outermost ones there are; both as places in `loops`."""
    outermost = [k for k in tops if not within[k]]
    shown = "; ".join(f"{n}: {loops[k]}" for n, k in enumerate(tops[:12], 1))
    shown += f"; and {len(tops) - 12} more" if len(tops) > 12 else ""
    if pick is None:
        if len(outermost) > 1:
            raise SurfaceError(
                f"{drawing.name}: it holds {len(outermost)} outlines, not one ({shown})",
                'Say which with pick = 1 or pick = "LAYER", or pick = "all" for all of them as one part',
            )
        return outermost, outermost
    if isinstance(pick, int) or pick.strip().isdigit():
        number = int(pick)
        if not 1 <= number <= len(tops):
            raise SurfaceError(f"{drawing.name}: there is no outline {number}", f"Outlines: {shown}")
        return [tops[number - 1]], outermost
    if pick.strip().casefold() == "all":
        return outermost, outermost
    layer = known_layer(pick, drawing, "pick")
    mine = [k for k in within if loops[k].layer == layer and not any(loops[j].layer == layer for j in within[k])]
    if len(mine) != 1:
        raise SurfaceError(
            f'{drawing.name}: layer "{layer}" holds {len(mine)} outlines',
            f"Pick one by its number. Outlines: {shown}",
        )
    return mine, outermost


def _check_crossing(drawing: Drawing, edges: Sequence[Loop], loops: Sequence[Loop]) -> None:
    """A loop that lies partly in the outline is neither a cut-out nor another part."""
    import shapely

    tree = shapely.STRtree([loop.polygon for loop in loops])
    for edge in edges:
        for j in tree.query(edge.polygon, predicate="overlaps").tolist():
            other = loops[j]
            shared = float(shapely.intersection(edge.polygon, other.polygon).area)
            if shared <= 1e-9 * min(edge.area, other.area):
                continue
            at = shapely.intersection(edge.polygon.exterior, other.polygon.exterior).representative_point()
            raise SurfaceError(
                f"{drawing.name}: the closed line {other} crosses the outline {edge} near "
                f"({plain(at.x * 1e3, 4)} mm, {plain(at.y * 1e3, 4)} mm)",
                "Draw that part of the edge in the outline itself, or move the line inside",
            )


def _outline_findings(outlines: Sequence[Outline]) -> list[Finding]:
    notes = []
    for part in outlines:
        taken = sum(loop.area for loop in part.cutouts)
        text = f"outline {part.edge}"
        if part.cutouts:
            round_ = sum(loop.circle is not None for loop in part.cutouts)
            what = f"{count_of(len(part.cutouts), 'cut-out')} ({round_} round)"
            cuts = Finding("cut-outs", len(part.cutouts), f"{what}, {plain(taken, 4)} m^2 together", -taken)
            notes += [Finding("outline", 1, text, part.edge.area), cuts]
        else:
            notes.append(Finding("outline", 1, text, part.edge.area))
        if taken > 0.6 * part.edge.area:
            notes.append(
                Finding(
                    "frame",
                    1,
                    f"the cut-outs take {taken / part.edge.area:.0%} of the outline: if it is the frame of the "
                    "drawing sheet, pick the outline by number or layer",
                )
            )
    return notes


def _sink_finding(rings: Sequence[tuple[Loop, Loop | None]]) -> Finding:
    extra = sum(ring.area - (hole.area if hole else 0.0) for ring, hole in rings)
    ring, hole = rings[0]
    first = f"the first {ring.size}" + (f" about a hole {hole.size}" if hole else f", {ring}")
    return Finding(
        "countersinks",
        len(rings),
        f"{count_of(len(rings), 'ring')} about a hole ({first}) taken as a countersink and not cut out; it would take "
        f"{plain(extra, 4)} m^2 more",
        0.0,
    )


def surface_of(drawing: Drawing, sorted_: Sorted) -> Surface:
    """The flat surface of sorted loops.

    Raises:
        SurfaceError: cut-outs that leave nothing.
    """
    import shapely

    notes = [*drawing.findings, *sorted_.findings]
    cutouts = [shapely.union_all([c.polygon for c in o.cutouts]) for o in sorted_.outlines]
    part = shapely.union_all([o.edge.polygon.difference(c) for o, c in zip(sorted_.outlines, cutouts, strict=True)])
    if not part.area > 0.0:
        raise SurfaceError(f"{drawing.name}: the cut-outs leave nothing of the outline", "Check the cut-outs")
    twice = sum(loop.area for o in sorted_.outlines for loop in o.cutouts) - sum(c.area for c in cutouts)
    if twice > 1e-9 * part.area:
        notes.append(Finding("overlap", 1, f"cut-outs overlap by {plain(twice, 4)} m^2, taken off once", twice))
    count = len(shapely.get_parts(part))
    if count > len(sorted_.outlines):
        notes.append(Finding("pieces", count, f"the cut-outs part the outline into {count} pieces"))
    mesh = triangles_of(part, [loop.polygon.exterior for loops in sorted_.areas.values() for loop in loops])
    measured = replace(measure_triangles(mesh[0][mesh[1]]), perimeter=float(part.length))
    middles = mesh[0][mesh[1]].mean(axis=1)[:, :2]
    groups = {layer: _covered(middles, loops) for layer, loops in sorted_.areas.items()}
    for layer, mask in groups.items():
        if not mask.any():
            notes.append(Finding("empty area", 1, f'layer "{layer}": none of it lies on the part', 0.0))
    return Surface(
        drawing.name, measured, lambda: mesh, unit=drawing.unit, findings=tuple(notes), groups=lambda: groups
    )


def _covered(middles: Line2, loops: Iterable[Loop]) -> NDArray[np.bool_]:
    import shapely

    hit = np.zeros(len(middles), dtype=np.bool_)
    for loop in loops:
        hit |= shapely.contains_xy(loop.polygon, middles[:, 0], middles[:, 1])
    return hit
