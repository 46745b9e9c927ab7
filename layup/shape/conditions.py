"""The conditions of a zone, one at a time: each parts triangles into those that hold and the others.

    Along the surface from a place        within(points, faces, text, name)
    Between two stations                  between(soup, text, name)
    Inside an outline, shone through      inside(soup, outline, along, name)
    A body, group or layer                of_group(soup, group, groups, name)

Triangles are rows of three corners: x, y, z, the face of the surface they are part of, and any marks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError, nearest
from layup.shape.clip import Soup, split
from layup.shape.geodesic import Curve, Front, near_edges, near_line, near_point, part
from layup.shape.loops import Loop, free_loops
from layup.shape.nearest import faces_near, to_segments
from layup.shape.plan import parse_place
from layup.shape.topology import Faces, Points, edge_keys, edges_of, free_edges, normals
from layup.units import parse

if TYPE_CHECKING:
    from layup.shape.holes import HoleSet

_WITHIN = re.compile(r"(?P<reach>.+?)\s+of\s+(?P<what>.+)", re.IGNORECASE | re.DOTALL)
_PLACES = re.compile(r"\([^()]*\)")
_HOLES = re.compile(
    r"(?:the\s+)?(?:hole\s+(?P<number>\d+)\s+of\s+(?:the\s+)?(?:holes\s+)?(?P<own>.+)|holes(?:\s+(?P<name>.+))?)",
    re.IGNORECASE | re.DOTALL,
)
_EVERY_EDGE = re.compile(r"(?:the\s+)?(?:free\s+)?edges?", re.IGNORECASE)
_AXES = {"x": 0, "y": 1, "z": 2}
_FORMS = (
    'Write "60 mm of (120 mm, 0 mm, 0 mm)", "40 mm of the edge", "40 mm of the outer edge", "30 mm of cut-out 2", '
    '"30 mm of the cut-out at (120 mm, 80 mm, 0 mm)", "25 mm of the line (0 mm, 0 mm, 0 mm) (300 mm, 0 mm, 0 mm)" or '
    '"20 mm of the holes NAME"'
)


def _length(text: str, key: str, name: str) -> float:
    try:
        return parse(text, "length")
    except UnitError as problem:
        raise SurfaceError(f"{name}: {key}: {problem}".rstrip("."), "") from None


def within(
    points: Points,
    faces: Faces,
    text: object,
    name: str,
    curve: Curve | None = None,
    holes: Mapping[str, HoleSet] | None = None,
    *,
    whole: bool = True,
) -> tuple[Soup, Soup]:
    """Part a surface by distance along it.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        text: As written: a reach "of" a place.
        name: What errors call the zone.
        curve: How the free edge bends, where the mesh has been made finer.
        holes: Patterns of holes in the surface, by name.
        whole: Whether faces far off are wanted among the others, or may be left out.

    Returns:
        Triangles within reach and the others, with the face each is part of.

    Raises:
        SurfaceError: a text that can't be read, a place off the surface, a cut-out that is not there.
    """
    match = _WITHIN.fullmatch(text.strip()) if isinstance(text, str) else None
    if not match:
        raise SurfaceError(f'{name}: within "{text}" can\'t be read', _FORMS)
    reach = _length(match["reach"], "within", name)
    if not reach > 0.0:
        raise SurfaceError(f"{name}: within {match['reach']} is no distance", "It must be greater than 0")
    asked = _HOLES.fullmatch(match["what"].strip())
    if asked:
        return _near_holes(points, faces, _asked(asked, holes or {}, name), reach, name, curve)
    if holes and _EVERY_EDGE.fullmatch(match["what"].strip()):
        both = _edges_and_rings(points, faces, list(holes.values()), reach, name, curve)
        if both is not None:
            return both
    ends = _ends(match["what"], name)
    if ends is not None:
        drawn = _on_the_flat(points, faces, ends, reach) or _long_strip(points, faces, ends, reach)
        if drawn is not None:
            return drawn
    return part(_front(points, faces, match["what"], reach, name, curve), reach, whole=whole)


_LONG = 20.0
"""Times its half width from which a line is long. [-]"""
_LEVEL = 0.04
"""Slope across a strip up to which its shadow is as wide as the strip: 0.8 in a thousand is lost there. [-]"""


def segments(text: object) -> list[object]:
    """A line of more than two points as one line from each to the next; anything else as it is.

    >>> segments("9 mm of the line (0, 0, 0) (1 m, 0, 0) (2 m, 1 m, 0)")
    ['9 mm of the line (0, 0, 0) (1 m, 0, 0)', '9 mm of the line (1 m, 0, 0) (2 m, 1 m, 0)']
    """
    places = _PLACES.findall(text) if isinstance(text, str) else []
    head = text[: text.index("(")] if isinstance(text, str) and places else ""
    if len(places) < 3 or not head.rstrip().casefold().endswith(" line"):
        return [text]
    return [f"{head}{a} {b}" for a, b in pairwise(places)]


def _ends(what: str, name: str) -> NDArray[np.float64] | None:
    """Both ends of a straight line (2, 3), or one point twice; None for anything else. [m]"""
    places = _PLACES.findall(what)
    words = " ".join(_PLACES.sub(" ", what).casefold().split()).removeprefix("the ")
    if (words, len(places)) not in (("line", 2), ("point", 1), ("", 1)):
        return None
    return np.array([parse_place(places[k], f"{name}: within") for k in (0, -1)]).reshape(2, 3)


_ARC = 48
"""Chords of a half circle that is drawn, with corners so far out that its area is the circle's. [-]"""


def _capsule(ends: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """What lies within reach of a straight line in the plane (2, 2), its outline (n, 2)."""
    start, end = ends
    step = end - start
    long = float(np.hypot(*step))
    along = step / long if long > 0.0 else np.array([1.0, 0.0])
    turn = np.linspace(-np.pi / 2, np.pi / 2, _ARC + 1)
    n, chord = _ARC - 2, np.pi / np.sin(np.pi / _ARC)  # n q^2 + 2 q = chord: a fan whose first and last spoke are 1
    out = np.full(_ARC + 1, (np.sqrt(1.0 + n * chord) - 1.0) / n)
    out[[0, -1]] = 1.0
    cap = reach * out[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    axes = np.stack([along, np.array([-along[1], along[0]])])
    return np.concatenate([cap @ axes + end, -cap @ axes + start])


def _on_the_flat(points: Points, faces: Faces, ends: NDArray[np.float64], reach: float) -> tuple[Soup, Soup] | None:
    """What lies within reach of a line or point, cut as it is; None where the surface is not flat and whole there.

    Where all that lies within reach is one flat piece without a gap or a corner that reaches in, the shortest way is
    the straight one. It takes no fine mesh, and twenty zones that overlap are cut in the time of twenty.
    """
    import shapely

    from layup.shape.holes import parted
    from layup.shape.plan import Plan

    some = faces_near(points, faces, ends[0], reach) if np.array_equal(*ends) else np.arange(len(faces))
    corners = points[faces[some]]
    middle = corners.mean(axis=1)
    size = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    for _ in range(2):  # the second time from the feet of a line that lies off the surface
        near = to_segments(middle, ends[:1].repeat(len(some), 0), ends[1:].repeat(len(some), 0)) - size <= reach
        unit, area = normals(points, faces[some[near]])
        up = unit[np.argmax(area)] if area.any() else np.zeros(3)
        if not (np.abs(unit @ up) > 1.0 - 1e-9).all() or not near.any():
            return None
        height = (corners[near] - ends[0]) @ up
        if np.ptp(height) > 1e-6 * reach or abs(height[0, 0]) > reach:
            return None
        ends = ends + np.outer(np.full(2, height[0, 0]), up)
    plan = Plan.along(up.tolist())
    feet, rows = plan.seen(ends), some[near]
    outline = shapely.Polygon(_capsule(feet, reach))
    shapely.prepare(outline)
    inner, outer = parted(points, faces, rows, plan.seen(corners[near]), np.full(len(rows), outline))
    edges, keys = edges_of(faces[rows])[0], edge_keys(edges_of(faces[rows])[0])
    _, first, count = np.unique(keys, return_index=True, return_counts=True)
    rim = plan.seen(points[edges[first[count == 1]]])
    rim = rim[shapely.length(shapely.intersection(shapely.linestrings(rim), outline)) > 1e-6 * reach]
    seen = plan.seen(inner[:, :, :3])
    if not shapely.intersects(shapely.polygons(seen), shapely.LineString(feet)).any():
        return None  # a line beside the part is laid on its edge
    inside = seen.reshape(-1, 2)
    for a, b in rim:  # a free edge with the zone on both sides is one that the way has to go round
        way = (b - a) / np.linalg.norm(b - a)
        off = (inside - a) @ np.array([-way[1], way[0]])
        if min(off.max(), -off.min()) > 1e-6 * reach:
            return None
    away = np.ones(len(faces), dtype=bool)
    away[rows] = False
    far = np.flatnonzero(away)
    return inner, np.concatenate([outer, np.concatenate([points[faces[far]], np.repeat(far, 3).reshape(-1, 3, 1)], 2)])


def _long_strip(points: Points, faces: Faces, ends: NDArray[np.float64], reach: float) -> tuple[Soup, Soup] | None:
    """A strip along a straight line that is long for its width, cut by its shadow; None where that is not exact.

    Where the surface is level across the strip, its edges lie in two planes beside the line, however the surface bends
    along it: so nothing needs to be made finer, on a mesh of a million triangles or on a few stations.
    """
    long = float(np.linalg.norm(ends[1] - ends[0]))
    if long < _LONG * reach:
        return None
    soup = np.concatenate([points[faces], np.arange(len(faces))[:, None, None].repeat(3, axis=1)], axis=2)
    along = (ends[1] - ends[0]) / long
    off = np.empty(len(faces))  # how far each face is from the line at least
    corners = points[faces]
    middle = corners.mean(axis=1)
    size = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    off = to_segments(middle, ends[:1].repeat(len(faces), 0), ends[1:].repeat(len(faces), 0)) - size
    near = off <= reach
    if not near.any():
        return None
    normal, area = normals(points, faces[near])
    mean = (normal * area[:, None]).sum(axis=0)
    up = mean - (mean @ along) * along
    if not np.linalg.norm(up) > 0.5 * area.sum():
        return None
    up /= np.linalg.norm(up)
    side = np.cross(up, along)
    flat = np.stack([along, side])
    outline = _capsule(ends @ flat.T, reach)
    inner, outer = _in_shadow(soup[near], flat, outline)
    if not len(inner):
        return None
    normal, area = normals(inner[:, :, :3].reshape(-1, 3), np.arange(3 * len(inner)).reshape(-1, 3))
    normal = normal[area > 1e-9 * area.sum()]  # a sliver that the cut left has no direction
    height = (inner[:, :, :3] - ends[0]) @ up
    if np.abs(normal @ side).max() > _LEVEL or np.abs(height).max() > 0.1 * long or (normal @ up).min() <= 0.0:
        return None  # it bends across the strip, or another skin lies in the same shadow
    return inner, np.concatenate([outer, soup[~near]])


def _edges_and_rings(
    points: Points, faces: Faces, holes: list[HoleSet], reach: float, name: str, curve: Curve | None
) -> tuple[Soup, Soup] | None:
    """Every free edge of a flat surface with holes: the rings as discs, the other edges walked; None elsewhere."""
    from layup.shape.holes import rim_edges, ring_parts
    from layup.shape.overlay import overlay

    rings = ring_parts(points, faces, [(one, one.pattern.holes) for one in holes], reach)
    if rings is None:
        return None
    rims = edge_keys(np.concatenate([rim_edges(points, faces, one) for one in holes]))
    free = free_edges(faces, once=True)
    rest = free[~np.isin(edge_keys(free), rims)]
    if not len(rest):
        return rings
    edges = part(near_edges(points, faces, rest, reach, name, curve), reach)
    soup = overlay(with_marks(*rings), with_marks(*edges))
    held = (soup[:, 0, 4:] > 0.5).any(axis=1)
    return soup[held][:, :, :4], soup[~held][:, :, :4]


def with_marks(inner: Soup, outer: Soup) -> Soup:
    """Triangles that a condition holds for and the others as one, with a column of marks, 1 and 0."""
    marks = np.repeat([1.0, 0.0], [len(inner), len(outer)])
    return np.concatenate([np.concatenate([inner, outer]), np.repeat(marks, 3).reshape(-1, 3, 1)], axis=2)


def _front(points: Points, faces: Faces, what: str, reach: float, name: str, curve: Curve | None) -> Front:
    places = _PLACES.findall(what)
    words = " ".join(
        _PLACES.sub(" ", what).casefold().replace("cut-out", "cutout").replace("cut out", "cutout").split()
    )
    words = words.removeprefix("the ").removeprefix("free ")
    spots = np.array([parse_place(place, f"{name}: within") for place in places]).reshape(-1, 3)
    if words in ("", "point") and len(spots) == 1:
        return near_point(points, faces, spots[0], reach, name)
    if words == "line" and len(spots) == 2:
        return near_line(points, faces, spots, reach, name)
    if words in ("edge", "edges") and not places:
        return near_edges(points, faces, free_edges(faces, once=True), reach, name, curve)
    loops = free_loops(points, faces)
    openings = [loop for loop in loops if not loop.outer]
    if words == "outer edge" and not places:
        return near_edges(points, faces, _edges([loop for loop in loops if loop.outer]), reach, name, curve)
    if words in ("cutouts", "cutout") and not places:
        return near_edges(points, faces, _edges(_some(openings, name)), reach, name, curve)
    if words == "cutout at" and len(spots) == 1:
        opening = _nearest_loop(points, _some(openings, name), spots[0])
        return near_edges(points, faces, opening.edges, reach, name, curve)
    number = words.removeprefix("cutout ").removeprefix("number ")
    if words.startswith("cutout ") and number.isdecimal() and not places:
        if not 1 <= int(number) <= len(_some(openings, name)):
            raise SurfaceError(
                f"{name}: there is no cut-out {number}, the surface has {len(openings)}",
                "They are numbered from the longest edge down; layup surface lists them",
            )
        return near_edges(points, faces, openings[int(number) - 1].edges, reach, name, curve)
    raise SurfaceError(f'{name}: within ... of "{what}" is not known', _FORMS)


def asks_for_rings(text: object) -> bool:
    """Whether what stands under `within` asks for rings round holes.

    >>> asks_for_rings("20 mm of the holes lightening"), asks_for_rings("20 mm of the edge")
    (True, False)
    """
    if isinstance(text, list | tuple):
        return any(asks_for_rings(one) for one in text)
    match = _WITHIN.fullmatch(text.strip()) if isinstance(text, str) else None
    return match is not None and _HOLES.fullmatch(match["what"].strip()) is not None


def _near_holes(
    points: Points, faces: Faces, sets: list[tuple[HoleSet, int | None]], reach: float, name: str, curve: Curve | None
) -> tuple[Soup, Soup]:
    """Rings round holes: as discs on a flat surface, else walked from their edges."""
    from layup.shape.holes import rim_edges, ring_parts

    listed = [(one, one.pattern.holes if n is None else (one.pattern.holes[n],)) for one, n in sets]
    flat = ring_parts(points, faces, listed, reach)
    if flat is not None:
        return flat
    rims = np.concatenate([rim_edges(points, faces, one, n) for one, n in sets])
    if not len(rims):
        raise SurfaceError(f"{name}: these holes are covered here", "Leave covers out, or give the zone another place")
    return part(near_edges(points, faces, rims, reach, name, curve), reach)


def _asked(asked: re.Match[str], holes: Mapping[str, HoleSet], name: str) -> list[tuple[HoleSet, int | None]]:
    """The patterns that a zone names, each with the number of one hole from 0 or None for all."""
    word = (asked["name"] or asked["own"] or "").strip().strip("'\"")
    if not holes:
        raise SurfaceError(f"{name}: the part has no [[holes]]", "Add a [[holes]] table, or name a cut-out")
    known = {key.casefold(): key for key in holes}
    if word and word.casefold() not in known:
        there = ", ".join(f'"{key}"' for key in holes)
        raise SurfaceError(
            f'{name}: there are no holes "{word}"', nearest(word, list(holes)) or f"Holes of this part: {there}"
        )
    chosen = [holes[known[word.casefold()]]] if word else list(holes.values())
    if not asked["number"]:
        return [(one, None) for one in chosen]
    number = int(asked["number"]) - 1
    if not 0 <= number < len(chosen[0].pattern.holes):
        raise SurfaceError(
            f"{name}: there is no hole {number + 1} of {chosen[0].name}",
            f"It has {len(chosen[0].pattern.holes)}, numbered from 1; layup holes shows them",
        )
    return [(chosen[0], number)]


def _some(holes: list[Loop], name: str) -> list[Loop]:
    if not holes:
        raise SurfaceError(f"{name}: the surface has no cut-out", 'Write "40 mm of the edge", or of a point')
    return holes


def _edges(loops: list[Loop]) -> Faces:
    return np.concatenate([loop.edges for loop in loops] or [np.zeros((0, 2), dtype=np.int64)])


def _nearest_loop(points: Points, loops: list[Loop], at: NDArray[np.float64]) -> Loop:
    """The loop whose middle, or else whose edge, lies nearest to a place."""
    return min(
        loops,
        key=lambda loop: min(
            float(np.linalg.norm(np.subtract(loop.middle, at))),
            float(np.linalg.norm(points[loop.edges].reshape(-1, 3) - at, axis=1).min()),
        ),
    )


def of_group(soup: Soup, group: object, groups: Mapping[str, NDArray[np.bool_]], name: str) -> tuple[Soup, Soup]:
    """Part triangles by the body, group or layer of the file they are part of.

    Args:
        soup: Triangles.
        group: Its name.
        groups: Masks over the faces of the surface.
        name: What errors call the zone.

    Raises:
        SurfaceError: the file has no such group.
    """
    if group not in groups:
        known = nearest(str(group), groups) or ("It has " + ", ".join(groups) if groups else "It has no named groups")
        raise SurfaceError(f'{name}: the file has no group "{group}"', known)
    mask = groups[str(group)][soup[:, 0, 3].astype(np.int64)]
    return soup[mask], soup[~mask]


def between(soup: Soup, text: object, name: str) -> tuple[Soup, Soup]:
    """Part triangles at two stations.

    Args:
        soup: Triangles of the whole surface.
        text: As written: "x 100 mm 350 mm", "x 20 % 80 %", or "the middle third of x".
        name: What errors call the zone.

    Raises:
        SurfaceError: a text that can't be read, or no width.
    """
    axis, low, high = _share(soup, text) or _stations(text, name)
    outer = []
    for sign, station in ((-1.0, low), (1.0, high)):
        soup, out = split(soup, sign * (soup[:, :, axis] - station))
        outer.append(out)
    return soup, np.concatenate(outer)


_SHARE = re.compile(
    r"(?:the\s+)?(?P<which>first|middle|last)\s+(?P<part>half|third|quarter|fifth)\s+of\s+(?P<axis>[xyz])",
    re.IGNORECASE,
)
_PARTS = {"half": 2, "third": 3, "quarter": 4, "fifth": 5}
_PER_CENT = re.compile(
    r"(?P<axis>[xyz])[\s,]+(?P<low>[0-9.]+)\s*%[\s,]*(?:(?:to|and)\s+)?(?P<high>[0-9.]+)\s*%", re.IGNORECASE
)


def _share(soup: Soup, text: object) -> tuple[int, float, float] | None:
    """Stations said as a share of the whole surface; None where the text says lengths."""
    words = text.strip() if isinstance(text, str) else ""
    said, cent = _SHARE.fullmatch(words), _PER_CENT.fullmatch(words)
    if said:
        part = 1.0 / _PARTS[said["part"].casefold()]
        low = {"first": 0.0, "middle": 0.5 - 0.5 * part, "last": 1.0 - part}[said["which"].casefold()]
        axis, high = _AXES[said["axis"].casefold()], low + part
    elif cent and float(cent["low"]) < float(cent["high"]) <= 100.0:
        axis, low, high = _AXES[cent["axis"].casefold()], float(cent["low"]) / 100, float(cent["high"]) / 100
    else:
        return None
    least, most = float(soup[:, :, axis].min()), float(soup[:, :, axis].max())
    return axis, least + low * (most - least), least + high * (most - least)


def _stations(text: object, name: str) -> tuple[int, float, float]:
    words = text.replace(",", " ").split() if isinstance(text, str) else []
    axis = words[0].casefold() if words else ""
    rest = [w for w in words[1:] if w.casefold() not in ("to", "and")]
    found = set()
    for cut in range(1, len(rest)):
        try:
            found.add((parse(" ".join(rest[:cut]), "length"), parse(" ".join(rest[cut:]), "length")))
        except UnitError:
            continue
    if axis not in _AXES or len(found) != 1:
        raise SurfaceError(
            f'{name}: between "{text}" can\'t be read',
            'Write "x 100 mm 350 mm", "x 20 % 80 %" or "the middle third of x"',
        )
    low, high = sorted(found.pop())
    if not low < high:
        raise SurfaceError(f'{name}: between "{text}" has no width', "Give two different stations")
    return _AXES[axis], low, high


def inside(soup: Soup, outline: object, along: object, name: str) -> tuple[Soup, Soup]:
    """Part triangles by an outline shone along a direction: by the plane through each of its sides, then sorted.

    Args:
        soup: Triangles.
        outline: Points, each of two or three lengths as written.
        along: The direction, three numbers. [-]
        name: What errors call the zone.

    Raises:
        SurfaceError: no outline, no direction, an outline that crosses itself.
    """
    import shapely

    try:
        way = np.array(along, dtype=np.float64).reshape(3)
        size = float(np.linalg.norm(way))
    except (TypeError, ValueError):
        size = 0.0
    if not 0.0 < size < np.inf:
        raise SurfaceError(f"{name}: along = {along} is no direction", "Write along = [0, 0, 1]")
    way = way / size
    rows = outline if isinstance(outline, (list, tuple)) else []
    if len(rows) < 3 or any(not isinstance(r, (list, tuple)) or len(r) not in (2, 3) for r in rows):
        raise SurfaceError(
            f"{name}: inside is no outline", 'Write at least three points, inside = [["0 mm", "0 mm"], ...]'
        )
    axis = int(np.argmax(np.abs(way)))
    others = [a for a in range(3) if a != axis]
    corners = np.zeros((len(rows), 3))
    for number, row in enumerate(rows):
        if len(row) == 2 and abs(way[axis]) < 1.0 - 1e-9:
            raise SurfaceError(
                f"{name}: seen along a slanting direction, a point of the outline needs x, y and z",
                'Write ["0 mm", "0 mm", "0 mm"] for each point',
            )
        at = others if len(row) == 2 else [0, 1, 2]
        corners[number, at] = [_length(str(word), f"inside, point {number + 1}", name) for word in row]
    u = np.cross(way, np.eye(3)[others[0]])
    u /= np.linalg.norm(u)
    flat = np.stack([u, np.cross(way, u)])
    line = corners @ flat.T
    shape = shapely.Polygon(line)
    if not shape.is_valid or not shape.area > 0.0:
        raise SurfaceError(f"{name}: the outline crosses itself or has no area", "Put its points in order")
    return _in_shadow(soup, flat, line)


def _in_shadow(soup: Soup, flat: NDArray[np.float64], line: NDArray[np.float64]) -> tuple[Soup, Soup]:
    """Part triangles by an outline (n, 2) in the plane of two unit directions (2, 3), shone square to it."""
    import shapely

    shape = shapely.Polygon(line)
    for p, q in zip(line, np.roll(line, -1, axis=0), strict=True):
        if np.array_equal(p, q):
            continue
        seen = soup[:, :, :3] @ flat.T
        low, high = np.minimum(p, q), np.maximum(p, q)
        near = ((seen.min(axis=1) <= high) & (seen.max(axis=1) >= low)).all(axis=1)
        normal = np.array([q[1] - p[1], p[0] - q[0]]) / np.linalg.norm(q - p)
        one, two = split(soup[near], (seen[near] - p) @ normal)
        soup = np.concatenate([soup[~near], one, two])
    middle = (soup[:, :, :3] @ flat.T).mean(axis=1)
    hit = shapely.contains_xy(shape, middle[:, 0], middle[:, 1])
    return soup[hit], soup[~hit]
