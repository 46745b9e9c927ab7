"""Which closed line of a drawing is the outline, which a cut-out, a countersink, a named area; the part they make."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.drawing import Drawing, Loop, count_of, has_word, known_layer
from layup.shape.curves import Line2
from layup.shape.flat_triangles import triangles_of
from layup.shape.measure import measure_triangles
from layup.shape.surface import Finding, Surface

RING = 3.0
"""A circle about a hole, up to so many times as wide, is a countersink or counterbore: common practice, no source;
the head of a countersunk screw is about twice as wide as its hole."""
CUT_WORDS = ("hole", "cut", "drill", "bore", "open", "window", "lighten", "slot")
AREA_WORDS = ("zone", "area", "ply", "plies", "patch", "reinf", "doubler", "core", "pad", "band")
SINK_WORDS = ("csk", "countersink", "countersunk", "counterbore", "cbore", "spotface")
LEFT_OUT_WORDS = (
    "frame", "border", "title", "sheet", "dim", "text", "note", "anno", "cent(?:er|re)", "constr", "hidden",
    "defpoints", "hatch",
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
    at = f" at ({', '.join(f'{float(v) * 1e3:.4g} mm' for v in where[:2])})" if len(where) >= 2 else ""
    raise SurfaceError(
        f"{name}: the closed line {loop} crosses or touches itself{at}",
        "Put the points in order round the edge, or trim the lines where they cross",
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
                f"({at.x * 1e3:.4g} mm, {at.y * 1e3:.4g} mm)",
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
            cuts = Finding("cut-outs", len(part.cutouts), f"{what}, {taken:.4g} m^2 together", -taken)
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
        f"{extra:.4g} m^2 more",
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
        notes.append(Finding("overlap", 1, f"cut-outs overlap by {twice:.4g} m^2, taken off once", twice))
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
