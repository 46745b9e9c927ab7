"""A zone of a surface: which part of it, cut out exactly along its border.

    Measures of a zone and of everything else     cut_zone(points, faces, spec, groups)

Keys of a zone, all of which must hold:

    within  = "60 mm of (120 mm, 0 mm, 0 mm)"       along the surface, from its point nearest to the place
    within  = "40 mm of the edge"                   along the surface, from the free edge
    between = "x 100 mm 350 mm"                     a band between two stations
    inside  = [["0 mm", "0 mm"], ...]               an outline, shone through the part
    along   = [0, 0, 1]                             ... in this direction
    group   = "flange"                              a body, group or layer of the file
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError, nearest
from layup.surface.clip import Soup, split
from layup.surface.geodesic import near_edges, near_point, part
from layup.surface.measure import Measured, measure_triangles
from layup.surface.side import parse_place
from layup.surface.topology import Faces, Points, free_edges
from layup.units import parse

KEYS = ("within", "between", "inside", "along", "group")
_WITHIN = re.compile(r"(?P<reach>.+?)\s+of\s+(?P<what>.+)", re.IGNORECASE | re.DOTALL)
_AXES = {"x": 0, "y": 1, "z": 2}


@dataclass(frozen=True, slots=True)
class Cut:
    """A surface parted by a zone.

    Attributes:
        inside: Measures of the zone.
        outside: Measures of the rest.
        inner: Triangles of the zone, shape (n, 3, 3). [m]
        outer: Triangles of the rest. [m]
    """

    inside: Measured
    outside: Measured
    inner: Soup
    outer: Soup


def zone_key(spec: Mapping[str, object]) -> str:
    """The same text for the same zone, whatever its name."""
    return repr(sorted((k, repr(v)) for k, v in spec.items() if k != "name" and v is not None))


def cut_zone(points: Points, faces: Faces, spec: Mapping[str, object], groups: Mapping[str, NDArray[np.bool_]]) -> Cut:
    """Part a surface by a zone.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        spec: The keys of the zone; `name` is used in errors only, keys that are None count as not there.
        groups: Named groups of the surface, masks over its faces.

    Raises:
        SurfaceError: a key or text that can't be read, or a zone with no area on this surface.
    """
    name = f'zone "{spec["name"]}"' if spec.get("name") else "zone"
    given = {k: v for k, v in spec.items() if k != "name" and v is not None}
    for key in given:
        if key not in KEYS:
            raise SurfaceError(f"{name}: there is no key {key}", nearest(key, KEYS) or f"Keys: {', '.join(KEYS)}")
    if ("inside" in given) != ("along" in given):
        raise SurfaceError(
            f'{name}: "inside" and "along" go together', "Give the outline and the direction it is seen from"
        )
    if "within" in given:
        inner, outer = _within(points, faces, given["within"], name)
    else:
        inner = np.concatenate([points[faces], np.arange(len(faces))[:, None, None].repeat(3, axis=1)], axis=2)
        outer = inner[:0]
    if "group" in given:
        inner, out = _of_group(inner, given["group"], groups, name)
        outer = np.concatenate([outer, out])
    if "between" in given:
        axis, low, high = _between(given["between"], name)
        for sign, station in ((-1.0, low), (1.0, high)):
            inner, out = split(inner, sign * (inner[:, :, axis] - station))
            outer = np.concatenate([outer, out])
    if "inside" in given:
        inner, out = _inside(inner, given["inside"], given["along"], name)
        outer = np.concatenate([outer, out])
    inner, outer = inner[:, :, :3], outer[:, :, :3]
    inside, outside = measure_triangles(inner), measure_triangles(outer)
    if not inside.area > 0.0:
        raise SurfaceError(f"{name}: no part of the surface lies in it", _box_hint(points))
    return Cut(inside, outside, inner, outer)


def _box_hint(points: Points) -> str:
    low, high = points.min(axis=0) * 1e3, points.max(axis=0) * 1e3
    spans = ", ".join(f"{axis} {a:.4g} to {b:.4g} mm" for axis, a, b in zip("xyz", low, high, strict=True))
    return f"The surface spans {spans}"


def _length(text: str, key: str, name: str) -> float:
    try:
        return parse(text, "length")
    except UnitError as problem:
        raise SurfaceError(f"{name}: {key}: {problem}".rstrip("."), "") from None


def _within(points: Points, faces: Faces, text: object, name: str) -> tuple[Soup, Soup]:
    """Triangles within reach and the others, with the face each is part of."""
    match = _WITHIN.fullmatch(text.strip()) if isinstance(text, str) else None
    if not match:
        raise SurfaceError(
            f'{name}: within "{text}" can\'t be read',
            'Write "60 mm of (120 mm, 0 mm, 0 mm)" or "40 mm of the edge"',
        )
    reach = _length(match["reach"], "within", name)
    if not reach > 0.0:
        raise SurfaceError(f"{name}: within {match['reach']} is no distance", "It must be greater than 0")
    what = " ".join(match["what"].casefold().split()).removeprefix("the ").removeprefix("free ")
    if what == "edge":
        front = near_edges(points, faces, free_edges(faces, once=True), reach, name)
        return part(front, reach)
    if "(" in what:
        place = np.array(parse_place(match["what"], f"{name}: within"))
        front = near_point(points, faces, place, reach, name)
        return part(front, reach)
    raise SurfaceError(
        f'{name}: within ... of "{match["what"]}" is not known',
        'Write a point, "60 mm of (120 mm, 0 mm, 0 mm)", or "40 mm of the edge"',
    )


def _of_group(soup: Soup, group: object, groups: Mapping[str, NDArray[np.bool_]], name: str) -> tuple[Soup, Soup]:
    if group not in groups:
        known = nearest(str(group), groups) or ("It has " + ", ".join(groups) if groups else "It has no named groups")
        raise SurfaceError(f'{name}: the file has no group "{group}"', known)
    mask = groups[str(group)][soup[:, 0, 3].astype(np.int64)]
    return soup[mask], soup[~mask]


def _between(text: object, name: str) -> tuple[int, float, float]:
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
        raise SurfaceError(f'{name}: between "{text}" can\'t be read', 'Write "x 100 mm 350 mm"')
    low, high = sorted(found.pop())
    if not low < high:
        raise SurfaceError(f'{name}: between "{text}" has no width', "Give two different stations")
    return _AXES[axis], low, high


def _inside(soup: Soup, outline: object, along: object, name: str) -> tuple[Soup, Soup]:
    """Split by an outline shone along a direction: by the plane through each of its sides, then sorted."""
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
