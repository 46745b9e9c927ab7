"""A drawing once it is read: closed loops and open lines in metres, on layers, and the flat part they make.

    Curves as read become a drawing         assemble(curves, "rib.dxf", given="mm")
    What is edge, hole, countersink, area   drawing.sort()
    The flat part                           drawing.surface()

Which loop is what: the outermost loop is the outline. A loop in it is a cut-out, except on a layer that is named as
an area (`areas`, or a layer name with a word of AREA_WORDS in it): that becomes a named group of the surface.
Of circles about one centre inside an outline the smallest is the hole; the rings round it, up to RING times as
wide, are countersinks or counterbores and are not cut out. Layers of frames, dimensions and notes are left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import SurfaceError, UnitError, nearest
from layup.files.chain import Piece, chain
from layup.shape.curves import Curve, Line2
from layup.shape.measure import FARTHEST
from layup.shape.surface import Finding, Surface
from layup.units import parse

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.files.layers import Sorted

GAP = 1e-4
"""Ends this share of the drawing's size apart are joined, unless a gap is given. [-]"""
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
        if len(self.points) < 16:
            return None
        x, y = (self.points - self.points[0]).T
        cross = x * np.roll(y, -1) - y * np.roll(x, -1)
        total = float(cross.sum())
        if total == 0.0:
            return None
        cx = float(((x + np.roll(x, -1)) * cross).sum()) / (3.0 * total)
        cy = float(((y + np.roll(y, -1)) * cross).sum()) / (3.0 * total)
        radius = float(np.sqrt(abs(total) / (2.0 * np.pi)))
        off = np.abs(np.hypot(x - cx, y - cy) - radius).max()
        if off > 0.01 * radius:
            return None
        return float(self.points[0, 0]) + cx, float(self.points[0, 1]) + cy, 2.0 * radius

    @cached_property
    def polygon(self) -> Polygon:
        """The same as a shape of the geometry library; it may cross itself."""
        import shapely

        return shapely.Polygon(self.points)

    @property
    def size(self) -> str:
        """Its box in words, or its diameter."""
        if self.circle:
            return f"{self.circle[2] * 1e3:.4g} mm across, round"
        wide, high = np.ptp(self.points, axis=0) * 1e3
        return f"{wide:.4g} x {high:.4g} mm"

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
        from layup.files.layers import sort_loops

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
        from layup.files.layers import surface_of

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
    sagitta = SAGITTA * size
    widest = GAP * size if gap is None else gap / factor
    pieces: list[Piece] = []
    fills: dict[int, list[Piece]] = {}
    count = 0
    for curve in curves:
        points = _stripped(curve.points(sagitta), curve.closed)
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
        loop = Loop(_stripped(piece.points, True) * factor, piece.layer)
        if len(loop.points) > 2 and loop.polygon.convex_hull.area > 1e-12 * (size * factor) ** 2:
            loops.append(loop)
        else:
            flat.append(piece)
    near = max(widest, 1e-9 * size) * factor
    loops, twice = _once(sorted(loops, key=lambda a: -a.area), near)
    filled = [
        Loop(_stripped(piece.points, True) * factor, piece.layer, number)
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
            f"Join the ends in the drawing; gaps up to {widest * factor * 1e3:.3g} mm are closed here",
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
            f"{name}: no unit{why}. The drawing measures {spans[0]:.4g} x {spans[1]:.4g}: {readings(spans)}",
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
    inch = f"{spans[0] / 12:.3g} x {spans[1] / 12:.3g} ft" if max(spans) >= 12 else ""
    feet = f" ({inch})" if inch else ""
    return f"in mm that is {_pair(spans, 1e-3)}, in inches {_pair(spans, 0.0254)}{feet}, in m {_pair(spans, 1.0)}"


def _pair(spans: tuple[float, float], factor: float) -> str:
    a, b = spans[0] * factor, spans[1] * factor
    return f"{a * 1e3:.4g} x {b * 1e3:.4g} mm" if max(a, b) < 1.0 else f"{a:.4g} x {b:.4g} m"


def _long(size: float) -> str:
    return f"{size * 1e3:.3g} mm" if size < 1.0 else f"{size:.3g} m"


def _stripped(points: Line2, closed: bool) -> Line2:
    """Without points equal to the one before, round the end too."""
    if len(points) < 2:
        return points
    same = (points[1:] == points[:-1]).all(axis=1)
    points = points[np.concatenate([[True], ~same])]
    if closed and len(points) > 1 and (points[0] == points[-1]).all():
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
            f"{layer}from ({ends[0, 0]:.4g}, {ends[0, 1]:.4g}) to ({ends[1, 0]:.4g}, {ends[1, 1]:.4g}) mm, "
            f"ends {float(np.hypot(*(ends[1] - ends[0]))):.3g} mm apart"
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
