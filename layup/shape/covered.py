"""A surface whose openings are covered: what a ply lies on that runs over them uncut.

    Every opening closed                    closed(surface)
    Only some patterns of holes closed      covered(base, holes, names)

Holes of a `[[holes]]` table are covered by the surface as it was before they were cut. An opening that the file itself
has (a cut-out of an outline, a hole in a mesh) is closed with flat triangles between the points of its edge: over a
hollow or a bulge the true cover is larger, by little where the opening is small against the curve.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layup.partfile.holes import rim_edges, same
from layup.shape.measure import measure_triangles
from layup.shape.perforate import HoleSet, perforate
from layup.shape.surface import Surface
from layup.shape.topology import Faces, Points, edge_keys, free_edges, length_of

Floats = NDArray[np.float64]


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
        surface.name, whole, lambda: (points, every), side=surface.side, unit=surface.unit, findings=surface.findings,
        groups=lambda: {word: np.concatenate([mask, np.zeros(added, dtype=bool)]) for word, mask in groups.items()},
        laminate=surface.laminate,
    )  # fmt: skip


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
