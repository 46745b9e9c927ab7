"""A zone of a surface: which part of it, cut out exactly along its border.

    Measures of a zone and of everything else     cut_zone(points, faces, spec, groups)

Keys of a zone, all of which must hold; for the first four a list means that one of its entries must:

    within  = "60 mm of (120 mm, 0 mm, 0 mm)"       along the surface, from its point nearest to the place
    within  = "40 mm of the edge"                   along the surface, from every free edge
    within  = "40 mm of the outer edge"             ... from the longest free edge of each piece
    within  = "30 mm of cut-out 2"                  ... from one of the others, the longest is number 1
    within  = "30 mm of the cut-out at (9 mm, 0 mm, 0 mm)"
    within  = "25 mm of the line (0 mm, 0 mm, 0 mm) (300 mm, 0 mm, 0 mm)"
    within  = "25 mm of the line (0 mm, 0 mm, 0 mm) (90 mm, 9 mm, 0 mm) (180 mm, 0 mm, 0 mm)"   a curve, by its points
    within  = "20 mm of the holes lightening"       a ring round each hole of a pattern
    within  = "20 mm of hole 3 of lightening"       ... round one of them
    between = "x 100 mm 350 mm"                     a band between two stations
    between = "the middle third of x"               ... or "x 20 % 80 %": shares of the whole surface
    group   = "flange"                              a body, group or layer of the file
    inside  = [["0 mm", "0 mm"], ...]               an outline, shone through the part
    along   = [0, 0, 1]                             ... in this direction

Zones combine: `or`, `and` and `not` hold one zone or a list of them, each a mapping of these keys. A zone is what
its own keys give, with what any zone of `or` gives, as far as it lies in every zone of `and` and in none of `not`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, nearest
from layup.shape.clip import Soup
from layup.shape.conditions import between, inside, of_group, segments, with_marks, within
from layup.shape.geodesic import Curve, finer
from layup.shape.measure import Measured, measure_triangles
from layup.shape.overlay import overlay
from layup.shape.topology import Faces, Points, normals
from layup.words import plain

if TYPE_CHECKING:
    from layup.shape.holes import HoleSet

OWN = ("within", "between", "group", "inside", "along")
JOINED = ("or", "and", "not")
KEYS = OWN + JOINED

_FINE = 2_000.0  # faces are at most this part of the surface where several distances are laid over each other

Spec = Mapping[str, object]
Numbers = NDArray[np.int64]
_Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Cut:
    """A surface parted by a zone.

    Attributes:
        inside: Measures of the zone.
        inner: Triangles of the zone, shape (n, 3, 3). [m]
        faces: The face of the surface that each triangle of the zone is part of, shape (n,).
        rest: Triangles of the rest on faces that the zone has a share of. [m]
        rest_faces: The face that each of those is part of.
        points: Of the surface. [m]
        every: Faces of the surface, shape (m, 3).
    """

    inside: Measured
    inner: Soup
    faces: Numbers
    rest: Soup
    rest_faces: Numbers
    points: Points
    every: Faces

    @cached_property
    def split(self) -> Numbers:
        """Faces that lie partly in the zone, sorted."""
        return np.unique(self.rest_faces)

    @property
    def on_split(self) -> tuple[Soup, Numbers, Soup, Numbers, Numbers]:
        """Triangles of the zone on its split faces with their faces, those of the rest likewise, and these faces."""
        mine = np.isin(self.faces, self.split)
        return self.inner[mine], self.faces[mine], self.rest, self.rest_faces, self.split

    @property
    def outer(self) -> Soup:
        """Triangles of the rest, made up anew at each call: kept, those of many zones would fill the memory. [m]"""
        away = np.ones(len(self.every), dtype=bool)
        away[self.faces] = False
        away[self.rest_faces] = False
        return np.concatenate([self.points[self.every[away]], self.rest])

    @cached_property
    def outside(self) -> Measured:
        """Measures of the rest, worked out when they are first asked for."""
        return measure_triangles(self.outer)


def zone_key(spec: Spec) -> str:
    """The same text for the same zone, whatever its name."""
    return repr(sorted((k, repr(v)) for k, v in spec.items() if k != "name" and v is not None))


def walks(spec: Spec) -> bool:
    """Whether a zone asks for a distance along the surface, itself or in what it is combined with."""
    if spec.get("within") is not None:
        return True
    parts = [part for word in JOINED for part in _each(spec.get(word))]
    return any(walks(part) for part in parts if isinstance(part, Mapping))


def _each(value: object) -> list[object]:
    return [] if value is None else list(value) if isinstance(value, list | tuple) else [value]


def cut_zone(
    points: Points,
    faces: Faces,
    spec: Spec,
    groups: Mapping[str, NDArray[np.bool_]],
    holes: Mapping[str, HoleSet] | None = None,
) -> Cut:
    """Part a surface by a zone.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        spec: The keys of the zone; `name` is used in errors only, keys that are None count as not there.
        groups: Named groups of the surface, masks over its faces.
        holes: Patterns of holes in it, by name.

    Raises:
        SurfaceError: a key or text that can't be read, or a zone with no area on this surface.
    """
    name = _name(spec)
    alone = _only_within(spec)
    if alone is not None:  # one distance and nothing else: nothing to lay over each other
        inner, outer = within(points, faces, alone, name, None, holes, whole=False)
        return _parted(inner, outer, points, faces, name)
    drawn = points, faces
    curve = None
    owner: Numbers | None = None
    if _fronts(spec) > 1:  # so that few pieces of one zone share a face with pieces of another
        size = float(normals(points, faces)[1].sum())
        points, faces, owner, curve = finer(points, faces, float(np.sqrt(size / _FINE)))
        groups = {word: mask[owner] for word, mask in groups.items()}
    whole = np.concatenate([points[faces], np.arange(len(faces))[:, None, None].repeat(3, axis=1)], axis=2)
    work = _Work(points, faces, groups, holes or {}, curve, whole)
    rule = work.rule(spec, name)
    held = rule(work.soup)
    return _parted(work.soup[held], work.soup[~held], *drawn, name, owner)


def _parted(inner: Soup, outer: Soup, points: Points, every: Faces, name: str, owner: Numbers | None = None) -> Cut:
    """The cut; `owner` gives the faces of the surface where its mesh has been made finer."""
    faces, others = (soup[:, 0, 3].astype(np.int64) for soup in (inner, outer))
    if owner is not None:
        faces, others = owner[faces], owner[others]
    area = measure_triangles(inner[:, :, :3])
    if not area.area > 0.0:
        raise SurfaceError(f"{name}: no part of the surface lies in it", _box_hint(points))
    touched = np.zeros(len(every), dtype=bool)
    touched[faces] = True
    shared = touched[others]
    inner = np.ascontiguousarray(inner[:, :, :3])  # a view would keep all columns in memory
    rest = np.ascontiguousarray(outer[shared][:, :, :3])
    return Cut(inside=area, inner=inner, faces=faces, rest=rest, rest_faces=others[shared], points=points, every=every)


def _only_within(spec: Spec) -> str | None:
    """The text of a zone that is one distance along the surface and nothing else."""
    given = {key for key, value in spec.items() if key != "name" and value is not None}
    text = spec.get("within")
    alone = given == {"within"} and isinstance(text, str) and len(segments(text)) == 1
    return text if alone and isinstance(text, str) else None


def _fronts(spec: object) -> int:
    """How many distances along the surface a zone asks for."""
    if isinstance(spec, Mapping):
        own = spec.get("within")
        number = len(own) if isinstance(own, (list, tuple)) else len(segments(own)) if own is not None else 0
        return number + sum(_fronts(spec.get(key)) for key in JOINED)
    return sum(_fronts(s) for s in spec) if isinstance(spec, (list, tuple)) else 0


_Rule = Callable[[Soup], _Mask]


@dataclass
class _Work:
    """The surface as it is cut up, condition by condition; each leaves a column of marks in the soup."""

    points: Points
    faces: Faces
    groups: Mapping[str, NDArray[np.bool_]]
    holes: Mapping[str, HoleSet]
    curve: Curve | None
    soup: Soup

    def rule(self, spec: Spec, name: str) -> _Rule:
        """Cut the soup by the conditions of a zone; the rule says of each triangle whether it lies in the zone."""
        given = {k: v for k, v in spec.items() if k != "name" and v is not None}
        for key in given:
            if key not in KEYS:
                raise SurfaceError(f"{name}: there is no key {key}", nearest(key, KEYS) or f"Keys: {', '.join(KEYS)}")
        if ("inside" in given) != ("along" in given):
            raise SurfaceError(
                f'{name}: "inside" and "along" go together', "Give the outline and the direction it is seen from"
            )
        own: list[_Rule] = []
        for key in ("within", "between", "group"):
            if key in given:
                entries = [one for entry in _listed(given[key], name, key) for one in segments(entry)]
                own.append(_any([self._mark(key, entry, name) for entry in entries]))
        if "inside" in given:
            own.append(self._mark("inside", (given["inside"], given["along"]), name))
        joined = {
            key: [self.rule(*self._sub(s, name, key)) for s in _listed(given.get(key, []), name, key)] for key in JOINED
        }
        start = [_all(own)] if own or not joined["or"] else []
        return _all([_any(start + joined["or"]), *joined["and"], *(_not(rule) for rule in joined["not"])])

    def _sub(self, spec: object, name: str, key: str) -> tuple[Spec, str]:
        if not isinstance(spec, Mapping):
            raise SurfaceError(f"{name}: {key} holds {spec!r}, which is no zone", "Name a zone, or write its keys")
        return spec, _name(spec) if spec.get("name") else name

    def _mark(self, key: str, entry: Any, name: str) -> _Rule:
        """Cut the soup by one condition, and give the rule that reads its marks."""
        column = self.soup.shape[2]
        if key == "within":
            parts = within(self.points, self.faces, entry, name, self.curve, self.holes)
            self.soup = overlay(self.soup, with_marks(*parts))
        elif key == "between":
            self.soup = with_marks(*between(self.soup, entry, name))
        elif key == "group":
            self.soup = with_marks(*of_group(self.soup, entry, self.groups, name))
        else:
            outline, along = entry
            self.soup = with_marks(*inside(self.soup, outline, along, name))
        return lambda soup: soup[:, 0, column] > 0.5


def _any(rules: list[_Rule]) -> _Rule:
    return lambda soup: np.any([rule(soup) for rule in rules] or [np.zeros(len(soup), dtype=bool)], axis=0)


def _all(rules: list[_Rule]) -> _Rule:
    return lambda soup: np.all([rule(soup) for rule in rules] or [np.ones(len(soup), dtype=bool)], axis=0)


def _not(rule: _Rule) -> _Rule:
    return lambda soup: ~rule(soup)


def _listed(value: object, name: str, key: str) -> list[object]:
    """One entry or a list of them as a list."""
    if not isinstance(value, (list, tuple)):
        return [value]
    if not value and key not in JOINED:
        raise SurfaceError(f"{name}: {key} is an empty list", "Write at least one entry, or leave the key out")
    return list(value)


def _name(spec: Spec) -> str:
    return f'zone "{spec["name"]}"' if spec.get("name") else "zone"


def _box_hint(points: Points) -> str:
    low, high = points.min(axis=0) * 1e3, points.max(axis=0) * 1e3
    spans = ", ".join(f"{axis} {plain(a, 4)} to {plain(b, 4)} mm" for axis, a, b in zip("xyz", low, high, strict=True))
    return f"The surface spans {spans}"
