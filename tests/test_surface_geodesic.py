"""Distances along a surface: against closed forms, and against an exact search on the same mesh.

The exact search is pygeodesic (Mitchell, Mount and Papadimitriou 1987), a tool of these tests only. Tolerances are
the requirement: distances within 1 % in the mean, areas within 0.5 %; most cases are held closer.
"""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layup.files.read import read_surface
from layup.shape.flat import outline
from layup.shape.geodesic import near_edges, near_line, near_point, part
from layup.shape.measure import measure_triangles
from layup.shape.topology import free_edges


def grid(point, u_span, v_span, nu, nv):
    u, v = np.meshgrid(np.linspace(*u_span, nu + 1), np.linspace(*v_span, nv + 1), indexing="ij")
    p = np.stack(np.broadcast_arrays(*point(u, v)), axis=-1).reshape(-1, 3).astype(float)
    i = np.arange((nu + 1) * (nv + 1)).reshape(nu + 1, nv + 1)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    return p, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])


def areas(front, reach):
    inner, outer = part(front, reach)
    return measure_triangles(inner[:, :, :3]).area, measure_triangles(outer[:, :, :3]).area


def compare(found, true, reach, mean, most):
    seen = (true < reach) & (true > 0.1 * reach)
    share = np.abs(found[seen] - true[seen]) / true[seen]
    assert seen.sum() > 20
    assert share.mean() < mean
    assert share.max() < most


@pytest.mark.parametrize("shear", [0.0, 1.0, 8.0])
def test_point_on_a_plane_of_skewed_triangles(shear):
    """Sheared so far that each triangle is eight times as long as high: the distances stay those of the plane."""
    p, f = grid(lambda u, v: (u + shear * v, v, 0 * u), (0, 0.4), (0, 0.4), 40, 40)
    at = p[len(p) // 2]
    front = near_point(p, f, at, 0.1, "zone")
    compare(front.distance, np.linalg.norm(front.points - at, axis=1), 0.1, 1e-3, 5e-3)
    panel = shapely.Polygon([(0, 0), (0.4, 0), (0.4 + 0.4 * shear, 0.4), (0.4 * shear, 0.4)])
    disc = panel.intersection(shapely.Point(at[:2]).buffer(0.1, quad_segs=256)).area
    assert areas(front, 0.1)[0] == pytest.approx(disc, rel=1e-3)


@pytest.mark.parametrize(("nu", "nv"), [(20, 160), (160, 20), (60, 60)])
def test_point_on_a_cylinder(nu, nv):
    p, f = grid(lambda u, v: (0.2 * np.cos(u), 0.2 * np.sin(u), v), (0, pi), (0, 0.5), nu, nv)
    front = near_point(p, f, np.array([0.0, 0.2, 0.25]), 0.2, "zone")
    radius = nu / pi * 0.2 * 2 * np.sin(pi / 2 / nu)  # of the cylinder as long round as the mesh
    turn = np.arctan2(front.points[:, 1], front.points[:, 0])
    facet = np.clip(np.floor(turn / pi * nu), 0, nu - 1)
    middle = (facet + 0.5) * pi / nu
    around = (middle - pi / 2) * radius + 0.2 * np.cos(pi / 2 / nu) * np.tan(turn - middle)  # unrolled, on its facet
    start = 0.0 if nu % 2 == 0 else np.nan
    true = np.hypot(around - start, front.points[:, 2] - 0.25)
    compare(front.distance, true, 0.2, 1e-4, 1e-3)


def test_point_on_a_sphere():
    """Tolerance: the flat faces of the mesh (12 mm on a radius of 500 mm) shorten a way by 1e-4 or so."""
    p, f = grid(
        lambda u, v: (0.5 * np.sin(v) * np.cos(u), 0.5 * np.sin(v) * np.sin(u), 0.5 * np.cos(v)),
        (0.3, 2.8), (0.4, 2.6), 100, 90,
    )  # fmt: skip
    at = p[np.argmin(np.linalg.norm(p - [0, 0.5, 0.02], axis=1))]
    front = near_point(p, f, at, 0.3, "zone")
    corners = np.isclose(np.linalg.norm(front.points, axis=1), 0.5, atol=1e-9)
    true = np.where(corners, 0.5 * np.arccos(np.clip(front.points @ at / 0.25, -1, 1)), np.inf)
    compare(front.distance, true, 0.3, 5e-4, 2e-3)
    assert areas(front, 0.3)[0] == pytest.approx(2 * pi * 0.25 * (1 - np.cos(0.6)), rel=1e-3)


def test_edge_of_a_cone():
    """A cone unrolls to a sector: its two rims are round edges, of a front that shrinks and of one that grows.

    The rim of the mesh is a polygon with a chord height of 0.1 mm: 2 % of the shortest way looked at.
    """
    p, f = grid(lambda u, v: (0.3 * v * np.cos(u), 0.3 * v * np.sin(u), 0.4 * v), (0, 2 * pi), (0.3, 1.0), 120, 20)
    keep = np.arange(len(p))
    keep[-21:] = np.arange(21)  # close the seam
    f = keep[f]
    front = near_edges(p, f, free_edges(f), 0.05, "zone")
    slant = np.linalg.norm(front.points, axis=1)
    true = np.minimum(slant - 0.5 * 0.3, 0.5 - slant)
    compare(front.distance, true, 0.05, 3e-3, 4e-2)
    ring = 0.6 * pi * ((0.2**2 - 0.15**2) + (0.5**2 - 0.45**2))
    assert areas(front, 0.05)[0] == pytest.approx(ring, rel=2e-3)


HOLE = [(0.2 + 0.06 * np.cos(t), 0.2 + 0.06 * np.sin(t)) for t in np.linspace(0, 2 * pi, 48, endpoint=False)]
SQUARE = [(0.3, 0.3), (0.34, 0.3), (0.34, 0.34), (0.3, 0.34)]
FLAT = {
    "rectangle": (shapely.box(0, 0, 1, 0.6), 0.04),
    "square hole": (shapely.box(0, 0, 1, 0.6).difference(shapely.box(0.4, 0.2, 0.6, 0.4)), 0.05),
    "round and square hole": (shapely.Polygon(shapely.box(0, 0, 0.5, 0.4).exterior, [HOLE, SQUARE]), 0.04),
    "disc": (shapely.Point(0, 0).buffer(0.1, quad_segs=16), 0.04),
    "sharp corners": (shapely.Polygon([(0, 0), (0.4, 0), (1.2, 0.4), (0.8, 0.4)]), 0.04),
}  # fmt: skip


@pytest.mark.parametrize("name", FLAT)
def test_edge_bands_of_flat_panels(name):
    """Truth from shapely: distance to the outline and its inward offset. A round edge given as a polygon is taken as
    round, so that distances may be longer by its chord height (0.12 mm in 40 for both): hence 1 % in the mean."""
    shape, reach = FLAT[name]
    panel = outline(list(shape.exterior.coords)[:-1], [list(r.coords)[:-1] for r in shape.interiors])
    front = near_edges(panel.vertices, panel.faces, free_edges(panel.faces), reach, "zone")
    true = shapely.distance(shapely.points(front.points[:, :2]), shape.boundary)
    compare(front.distance, true, reach, 0.006, 0.5)
    inside, outside = areas(front, reach)
    assert inside == pytest.approx(shape.area - shape.buffer(-reach, quad_segs=128).area, rel=2.5e-3)
    assert inside + outside == pytest.approx(shape.area, rel=1e-12)


def test_point_against_the_exact_search(examples):
    geodesic = pytest.importorskip("pygeodesic.geodesic")
    door = read_surface(examples / "motor-glider" / "engine-bay-door.stl", unit="mm")
    front = near_point(door.vertices, door.faces, np.array([0.13, 0.012, 0.006]), 0.06, "zone")
    source = int(np.argmin(front.distance))
    exact, _ = geodesic.PyGeodesicAlgorithmExact(front.points, front.faces.astype(np.int32)).geodesicDistances([source])
    compare(front.distance, exact, 0.06, 1e-4, 1e-3)


def test_edge_against_the_exact_search(examples):
    """The search starts from corners only, so the free edge is cut into short pieces for it first."""
    geodesic = pytest.importorskip("pygeodesic.geodesic")
    from layup.shape.refine import halve_edges

    door = read_surface(examples / "motor-glider" / "engine-bay-door.stl", unit="mm")
    reach = 0.03
    front = near_edges(door.vertices, door.faces, free_edges(door.faces), reach, "zone")
    near = np.flatnonzero((front.distance[front.faces] < 1.2 * reach).any(axis=1))
    points, faces = front.points, front.faces[near]
    rim = np.zeros(len(points), dtype=bool)
    rim[free_edges(front.faces)] = front.distance[free_edges(front.faces)] == 0.0

    def on_edge(a, b):
        keys = {tuple(p) for p in points[rim].tolist()}
        both = np.array([tuple(p) in keys and tuple(q) in keys for p, q in zip(a.tolist(), b.tolist(), strict=True)])
        return both & (np.linalg.norm(a - b, axis=1) > 0.002)

    old = len(points)
    points, faces, _ = halve_edges(points, faces, np.arange(len(faces)), on_edge)
    free = np.unique(free_edges(faces))
    source = free[(free >= old) | rim[np.minimum(free, old - 1)]]
    search = geodesic.PyGeodesicAlgorithmExact(points, faces.astype(np.int32))
    exact, _ = search.geodesicDistances(source.astype(np.int32))
    compare(front.distance[near_points := np.unique(front.faces[near])], exact[near_points], reach, 5e-3, 0.1)


def test_line_on_a_plane_and_on_a_cylinder():
    p, f = grid(lambda u, v: (u, v, 0 * u), (0, 1), (0, 0.6), 2, 2)
    ends = np.array([[0.3, 0.3, 0.01], [0.6, 0.3, 0.01]])
    inside, outside = areas(near_line(p, f, ends, 0.025, "zone"), 0.025)
    assert inside == pytest.approx(0.3 * 0.05 + pi * 0.025**2, rel=4e-3)  # round ends are drawn with few edges
    assert inside + outside == pytest.approx(0.6, rel=1e-12)
    p, f = grid(lambda u, v: (0.2 * np.cos(u), 0.2 * np.sin(u), v), (0, pi), (0, 0.5), 60, 10)
    ends = np.array([[0.0, 0.2, 0.0], [0.0, 0.2, 0.5]])  # right along it
    assert areas(near_line(p, f, ends, 0.15, "zone"), 0.15)[0] == pytest.approx(0.3 * 0.5, rel=1e-3)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.05, 0.3), st.floats(-0.1, 0.5), st.floats(-0.1, 0.5), st.integers(0, 2**31))
def test_a_front_never_loses_area(reach, x, y, seed):
    """On a crumpled sheet with an odd flap at an inner edge, the zone and the rest are the whole."""
    noise = np.random.default_rng(seed)
    p, f = grid(lambda u, v: (u, v, 0 * u), (0, 0.4), (0, 0.4), 9, 7)
    p = p + noise.uniform(-0.012, 0.012, p.shape)
    p = np.concatenate([p, [[0.2, 0.2, 0.15]]])
    f = np.concatenate([f, [[30, 31, len(p) - 1], f[4], [5, 5, 6]]])  # a third face, a double one, one without area
    whole = measure_triangles(p[f]).area
    front = near_point(p, f, np.array([x, y, 0.0]), reach + 0.2, "zone")
    assert sum(areas(front, reach)) == pytest.approx(whole, rel=1e-9)
    front = near_edges(p, f, free_edges(f), reach, "zone")
    assert sum(areas(front, reach)) == pytest.approx(whole, rel=1e-9)
    assert (front.distance >= -1e-12).all()
