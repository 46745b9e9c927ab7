"""Round holes cut out of a surface, looked at along a direction.

    The surface with its holes, and what each took away      perforate(surface, sets)
    Triangles with discs cut out of them                     cut_discs(points, faces, plan, pattern)
    The surface with every opening closed                    closed(surface)
    With only some patterns of holes closed                  covered(base, holes, names)

A hole is drilled straight along the direction it is seen from: seen so it is a circle, and on a surface that slants by
t it takes 1/cos t of the circle's area away. Every triangle that a circle touches is cut along it; a circle is a ring
of points that encloses its area exactly. On a flat surface seen square on, area, edge, centroid and second moment are
those of true circles:

    a disc of radius r: area pi r^2, second moment pi r^4 / 4 about each of two axes through its middle, in its plane

A hole goes through everything that lies in its way; where that is more than one skin, a finding says so.

A ply may run over openings uncut: it lies on the surface as it was before its `[[holes]]` were cut. An opening that
the file itself has (a cut-out of an outline, a hole in a mesh) is closed with flat triangles between the points of its
edge: over a hollow or a bulge the true cover is larger, by little where the opening is small against the curve.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.curves import circle
from layup.shape.holes import HoleSet, Pattern, as_triangles, lifted, rim_edges
from layup.shape.measure import Measured, measure_triangles, tensor, vector
from layup.shape.plan import Plan
from layup.shape.surface import Finding, Surface
from layup.shape.topology import Faces, Points, edge_keys, free_edges, length_of, normals, pieces
from layup.words import plain

if TYPE_CHECKING:
    pass

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

STEEP = math.cos(math.radians(80.0))
"""A hole is refused where the surface stands within 10 degrees of the direction it is drilled along. [-]"""
SLANT = math.cos(math.radians(20.0))
"""Beyond 20 degrees a finding says by how much the hole grows. [-]"""
_GRAIN = 0.5  # of the widest hole, how long edges near a hole may be
_FRAY = 1e-4  # share of a hole that may be missing before it counts as running over an edge


@dataclass(frozen=True, eq=False)
class Discs:
    """Triangles with discs cut out.

    Attributes:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        owner: The face of the old mesh each is part of (m,).
        removed: Area that each disc took (h,). [m^2]
        shadow: The same as seen (h,). [m^2]
        first: First moment of what each took (h, 3). [m^3]
        least: Least cosine between the surface and the plan under each (h,). [-]
    """

    points: Points
    faces: Faces
    owner: Numbers
    removed: Floats
    shadow: Floats
    first: Floats
    least: Floats


def cut_discs(points: Points, faces: Faces, plan: Plan, pattern: Pattern) -> Discs:
    """Cut discs out of triangles along the direction of a plan.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: Shape (m, 3).
        plan: The direction.
        pattern: Holes in plan, not running into each other.

    Returns:
        The rest, welded as before, and what each hole took.
    """
    import shapely

    count = len(pattern.holes)
    points, faces, source = _finer_near(points, faces, plan, pattern)
    unit, _ = normals(points, faces)
    cosine = np.abs(unit @ np.array(plan.way))
    corner = plan.seen(points[faces])
    radius = np.array([h.diameter / 2.0 for h in pattern.holes])
    rings = [shapely.Polygon(circle(h.x, h.y, h.diameter)) for h in pattern.holes]
    low, high = corner.min(axis=1), corner.max(axis=1)
    reach = 1.01 * radius[:, None]
    box = (pattern.centres - reach).min(axis=0), (pattern.centres + reach).max(axis=0)
    near = np.flatnonzero(((high >= box[0]) & (low <= box[1])).all(axis=1) & unit.any(axis=1))
    shadows = shapely.polygons(corner[near])
    level = cosine[near] > 1e-6
    disc, hit = shapely.STRtree(shadows).query(rings, predicate="intersects")
    least = np.ones(count)
    np.minimum.at(least, disc, cosine[near][hit])
    keep = level[hit]
    disc, hit = disc[keep], hit[keep]
    taken = shapely.intersection(shadows[hit], np.array(rings, dtype=object)[disc])
    size = shapely.area(taken)
    real = size > 1e-12 * shapely.area(shadows[hit])
    grown = size / cosine[near][hit]
    removed, shadow, first = np.zeros(count), np.zeros(count), np.zeros((count, 3))
    np.add.at(removed, disc, grown)
    np.add.at(shadow, disc, size)
    middle = shapely.get_coordinates(shapely.centroid(taken[real]))
    np.add.at(
        first, disc[real], grown[real, None] * lifted(points, faces[near[hit[real]]], corner[near[hit[real]]], middle)
    )
    parted, rows = _less(shadows, np.array(rings, dtype=object), disc, hit)
    new, owner = as_triangles(parted, near[rows])
    turned = np.sign(unit[owner] @ np.array(plan.way))
    shape = _lifted_corners(points, faces, corner, owner, new)
    spin = _spin(new) * np.sign(np.cross(np.array(plan.u), np.array(plan.v)) @ np.array(plan.way))
    shape[turned * spin < 0.0] = shape[turned * spin < 0.0][:, ::-1]
    whole = np.ones(len(faces), dtype=bool)
    whole[near[rows]] = False
    places, rest, own = _joined(points, faces, np.flatnonzero(whole), shape, owner, 1e-6 * float(radius.min()))
    return Discs(points=places, faces=rest, owner=source[own], removed=removed, shadow=shadow, first=first, least=least)


def _finer_near(points: Points, faces: Faces, plan: Plan, pattern: Pattern) -> tuple[Points, Faces, Numbers]:
    """The mesh with edges near the holes no longer than they are wide: distances run badly over long thin triangles."""
    from scipy.spatial import cKDTree

    from layup.shape.refine import halve_edges

    tree = cKDTree(pattern.centres)
    widest = max(h.diameter for h in pattern.holes)

    def long_and_near(a: Points, b: Points) -> NDArray[np.bool_]:
        p, q = plan.seen(a), plan.seen(b)
        length = np.linalg.norm(p - q, axis=1)
        marked: NDArray[np.bool_] = length > _GRAIN * widest
        rows = np.flatnonzero(marked)
        away, _ = tree.query(0.5 * (p[rows] + q[rows]))
        marked[rows] = away < widest + 0.5 * length[rows]
        return marked

    return halve_edges(points, faces, np.arange(len(faces)), long_and_near)


def _less(
    shadows: NDArray[np.object_], rings: NDArray[np.object_], disc: Numbers, hit: Numbers
) -> tuple[NDArray[np.object_], Numbers]:
    """Each triangle that a disc touches less the discs that touch it, and its number."""
    import shapely

    order = np.argsort(hit, kind="stable")
    rows, start = np.unique(hit[order], return_index=True)
    groups = np.split(disc[order], start[1:])
    cutters = np.array([rings[g[0]] if len(g) == 1 else shapely.union_all(rings[g]) for g in groups], dtype=object)
    return shapely.difference(shadows[rows], cutters) if len(rows) else np.zeros(0, dtype=object), rows


def _spin(flat: Floats) -> Floats:
    """Whether triangles in plan run anticlockwise, +1, or clockwise, -1."""
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    spin: Floats = np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return spin


def _lifted_corners(points: Points, faces: Faces, corner: Floats, owner: Numbers, flat: Floats) -> Floats:
    many = np.repeat(owner, 3)
    return lifted(points, faces[many], corner[many], flat.reshape(-1, 2)).reshape(-1, 3, 3)


def _joined(
    points: Points, faces: Faces, whole: Numbers, shape: Floats, owner: Numbers, near: float
) -> tuple[Points, Faces, Numbers]:
    """The faces left whole and the new triangles as one mesh: corners no further apart than `near` are one."""
    from scipy.spatial import cKDTree

    used = np.unique(faces[np.unique(owner)]) if len(owner) else np.zeros(0, dtype=np.int64)
    corners = np.concatenate([points[used], shape.reshape(-1, 3)])
    pairs = cKDTree(corners).query_pairs(near, output_type="ndarray") if len(corners) else np.zeros((0, 2), np.int64)
    number, label = pieces(len(corners), pairs.astype(np.int64))
    first = np.full(number, len(corners))
    np.minimum.at(first, label, np.arange(len(corners)))  # an old point before a new one
    new = np.full(number, -1, dtype=np.int64)
    old = first < len(used)
    new[old] = used[first[old]]
    new[~old] = len(points) + np.arange(int((~old).sum()))
    added = corners[first[~old]]
    fresh = new[label[len(used) :]].reshape(-1, 3)
    real = (fresh[:, 0] != fresh[:, 1]) & (fresh[:, 1] != fresh[:, 2]) & (fresh[:, 0] != fresh[:, 2])
    every = np.concatenate([faces[whole], fresh[real]])
    places = np.concatenate([points, added])
    kept, back = np.unique(every, return_inverse=True)
    return places[kept], back.reshape(-1, 3).astype(np.int64), np.concatenate([whole, owner[real]])


def perforate(surface: Surface, sets: Sequence[tuple[str, Pattern, Plan]]) -> tuple[Surface, tuple[HoleSet, ...]]:
    """Cut patterns of holes out of a surface.

    Args:
        surface: With a shape.
        sets: Of each pattern its name, its holes in plan, and the direction they are drilled along.

    Returns:
        The surface with its holes, a finding for each pattern; and what each took away.

    Raises:
        SurfaceError: a hole that lies off the part, runs over its edge or into another opening, or is drilled along
            a wall; naming the hole.
    """
    points, faces = surface.vertices, surface.faces
    owner = np.arange(len(faces))
    whole = replace(surface.whole, perimeter=surface.perimeter)
    exact = True
    done: list[HoleSet] = []
    notes: list[Finding] = []
    for name, pattern, plan in sets:
        unit, _ = normals(points, faces)
        flat = bool((np.abs(unit @ np.array(plan.way))[unit.any(axis=1)] > 1.0 - 1e-9).all())
        before = length_of(points, free_edges(faces))
        found = cut_discs(points, faces, plan, pattern)
        _check(pattern, found, plan, points)
        points, faces, owner = found.points, found.faces, owner[found.owner]
        flat = flat and bool((found.shadow < 1.5 * np.array([h.area for h in pattern.holes])).all())
        if flat:
            rim, removed = pattern.rim, np.array([h.area for h in pattern.holes])
        else:
            exact = False
            rim, removed = length_of(points, free_edges(faces)) - before, found.removed
        places = found.first / found.removed[:, None]
        done.append(
            HoleSet(name=name, pattern=pattern, plan=plan, drawn=False, places=places, removed=removed, rim=rim)
        )
        notes += _notes(done[-1], found)
        if flat and exact:
            whole = _less_discs(whole, done[-1])
    if not exact:
        whole = replace(measure_triangles(points[faces]), perimeter=length_of(points, free_edges(faces)))
    whole = replace(whole, triangles=len(faces))
    groups = surface.groups
    made = Surface(
        surface.name,
        whole,
        lambda: (points, faces),
        side=surface.side,
        unit=surface.unit,
        findings=(*surface.findings, *notes),
        groups=lambda: {word: mask[owner] for word, mask in groups.items()},
        left_out=lambda: surface.left_out,
        laminate=surface.laminate,
    )
    return made, tuple(done)


def _check(pattern: Pattern, found: Discs, plan: Plan, points: Points) -> None:
    along = ", ".join(f"{v:g}" for v in plan.way)
    low, high = plan.seen(points).min(axis=0) * 1e3, plan.seen(points).max(axis=0) * 1e3
    spans = " and ".join(f"{axis} {a:.4g} to {b:.4g} mm" for axis, a, b in zip(plan.names, low, high, strict=True))
    for number, hole in enumerate(pattern.holes):
        skins = float(found.shadow[number]) / hole.area
        if skins < 1e-9:
            raise SurfaceError(
                f"{hole} lies off the part, as seen along ({along})",
                f"Move it; the part spans {spans} there, and its cut-outs are off it too",
            )
        if found.least[number] < STEEP:
            raise SurfaceError(
                f"{hole}: the surface stands nearly along ({along}) there, so no round hole can be drilled",
                "Give the direction it is drilled along: along = [1, 0, 0]",
            )
        if abs(skins - round(skins)) > _FRAY:
            share = (skins - math.floor(skins)) * 100
            raise SurfaceError(
                f"{hole}, {hole.diameter * 1e3:.4g} mm across, runs over the edge of the part or into another opening "
                f"({plain(share, 3)} % of it lies on the part)",
                "Move it, or make it smaller; what is open to the edge belongs in the outline",
            )


def _notes(holes: HoleSet, found: Discs) -> list[Finding]:
    count = len(holes.pattern.holes)
    what = f'{count} hole{"s" if count > 1 else ""} "{holes.name}"'
    notes = [Finding("holes", count, f"{what} take {plain(holes.area * 1e4, 4)} cm² away", -holes.area)]
    slanted = int((found.least < SLANT).sum())
    if slanted:
        more = holes.area / holes.pattern.removed - 1.0
        worst = math.degrees(math.acos(min(1.0, float(found.least.min()))))
        text = (
            f"{what}: the surface slants by up to {worst:.0f} degrees there; drilled straight they take {more:.1%} more"
        )
        notes.append(Finding("slanted holes", slanted, text + " than holes square to it"))
    through = int((np.rint(found.shadow / np.array([h.area for h in holes.pattern.holes])) > 1).sum())
    if through:
        text = f"{what}: {through} of them go through more than one skin, and every skin is cut"
        notes.append(Finding("through holes", through, text))
    return notes


def _less_discs(whole: Measured, holes: HoleSet) -> Measured:
    """Measures of a flat surface less true circles."""
    assert whole.centroid is not None
    centre = np.array(whole.centroid)
    area = whole.area - holes.area
    off = holes.places - centre
    first = -(holes.removed @ off)
    shift = first / area
    second = None
    if whole.second_moment is not None:
        in_plane = np.eye(3) - np.outer(holes.plan.way, holes.plan.way)
        own = sum(math.pi * (h.diameter / 2.0) ** 4 / 4.0 for h in holes.pattern.holes) * in_plane
        taken = own + np.einsum("n,ni,nj->ij", holes.removed, off, off)
        second = tensor(np.array(whole.second_moment) - taken - area * np.outer(shift, shift))
    edge = None if whole.perimeter is None else whole.perimeter + holes.rim
    return replace(whole, area=area, centroid=vector(centre + shift), second_moment=second, perimeter=edge)


def same(surface: Surface) -> Surface:
    """The surface as another one, whose holes and zones are its own."""
    return Surface(
        surface.name,
        surface.whole,
        lambda: (surface.vertices, surface.faces),
        side=surface.side,
        unit=surface.unit,
        findings=surface.findings,
        groups=lambda: surface.groups,
        left_out=lambda: surface.left_out,
        laminate=surface.laminate,
    )


def covered(base: Surface, holes: Mapping[str, HoleSet], names: Sequence[str] | None) -> Surface:
    """A surface with some patterns of holes covered, or with every opening covered.

    Args:
        base: As it was before the holes were cut.
        holes: All patterns, by name.
        names: Those that are covered; None for every opening there is.

    Returns:
        The surface under a ply that runs over them.
    """
    if names is None:
        under = closed(base)
        under.holes = dict(holes)
        return under
    drawn = [one for name, one in holes.items() if name in names and one.drawn]
    left = [(n, one.pattern, one.plan) for n, one in holes.items() if n not in names and not one.drawn]
    under = same(base)
    if drawn:
        rims = np.concatenate([rim_edges(base.vertices, base.faces, one) for one in drawn])
        under = _filled(base, rims)
    if left:
        under, _ = perforate(under, left)
    under.holes = dict(holes)  # covered ones too: a zone may be a patch over each hole
    return under


def closed(surface: Surface) -> Surface:
    """A surface with every opening closed; of each piece the longest edge is its outer edge and stays open."""
    from layup.shape.loops import free_loops

    inner = [loop.edges for loop in free_loops(surface.vertices, surface.faces) if not loop.outer]
    return _filled(surface, np.concatenate(inner)) if inner else same(surface)


def _filled(surface: Surface, rims: Faces) -> Surface:
    """A surface with the openings closed that have these edges."""
    from layup.shape.walkable import chained

    points, faces = surface.vertices, surface.faces
    free = free_edges(faces, once=True)  # in the direction of their faces
    own = free[np.isin(edge_keys(free), edge_keys(rims))]
    lids = [_lid(points, ring) for ring in chained(own)]
    every = np.concatenate([faces, *lids])
    whole = replace(measure_triangles(points[every]), perimeter=length_of(points, free_edges(every)))
    added = len(every) - len(faces)
    groups = surface.groups
    return Surface(
        surface.name,
        whole,
        lambda: (points, every),
        side=surface.side,
        unit=surface.unit,
        findings=surface.findings,
        groups=lambda: {word: np.concatenate([mask, np.zeros(added, dtype=bool)]) for word, mask in groups.items()},
        laminate=surface.laminate,
    )


def _lid(points: Points, ring: NDArray[np.int64]) -> Faces:
    """Triangles between the points of a closed edge, facing as the surface round it does."""
    import shapely

    corner = points[ring]
    off = corner - corner.mean(axis=0)
    _, _, axes = np.linalg.svd(off)
    flat = off @ axes[:2].T
    shape = shapely.Polygon(flat)
    if not shape.is_valid or not shape.area > 0.0:
        middle = np.arange(1, len(ring) - 1)  # a fan: its area is right where the edge is plane, near enough elsewhere
        fan: Faces = np.column_stack([np.full(len(middle), ring[0]), ring[middle + 1], ring[middle]])
        return fan
    soup = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    places = shapely.get_coordinates(soup).reshape(-1, 4, 2)[:, :3]
    near = np.linalg.norm(places.reshape(-1, 1, 2) - flat[None], axis=2).argmin(axis=1).reshape(-1, 3)
    u, v = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    spin = np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    x, y = flat.T
    way = np.sign((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())  # free edges run with their faces: lids against
    turned = spin * way > 0.0
    near[turned] = near[turned][:, ::-1]
    lid: Faces = ring[near].astype(np.int64)
    return lid
