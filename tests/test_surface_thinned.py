"""Fewer triangles for a picture: the shape stays, and nothing is lost that a person would miss."""

from __future__ import annotations

import time

import numpy as np
import pytest

from layup.report.thinned import thinned
from layup.shape.loops import free_loops
from layup.shape.measure import measure_triangles
from layup.shape.topology import Faces, Points, free_edges, length_of

pytestmark = pytest.mark.filterwarnings("error")


def grid(n: int, m: int) -> tuple[Points, Faces]:
    """A sheet of unit sides in x and y, n by m points."""
    x, y = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, m), indexing="ij")
    number = np.arange(n * m).reshape(n, m)
    a, b, c, d = number[:-1, :-1].ravel(), number[1:, :-1].ravel(), number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(n * m)])
    return points, np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def shell(n: int, m: int) -> tuple[Points, Faces]:
    """A cowling: curved both ways, with a sharp crease along its middle and a round opening. [m]"""
    points, faces = grid(n, m)
    u, v, _ = points.T
    z = 0.15 * np.sin(np.pi * u) * np.sin(np.pi * v) + 0.03 * np.abs(v - 0.5)
    points = np.column_stack([1.2 * u, 0.6 * v, z])
    middle = points[faces].mean(axis=1)
    return points, faces[np.hypot(middle[:, 0] - 0.3, middle[:, 1] - 0.3) > 0.06]


def test_a_small_mesh_stays_as_it_is() -> None:
    points, faces = grid(20, 20)
    thin = thinned(points, faces, most=len(faces))
    assert thin.points is points
    assert thin.faces is faces
    assert not thin.fewer
    assert thin.before == len(faces)


@pytest.mark.parametrize("most", [2_000, 8_000, 20_000])
def test_a_curved_shell_keeps_its_area_box_and_edges(most: int) -> None:
    points, faces = shell(201, 101)
    thin = thinned(points, faces, most)
    whole, few = measure_triangles(points[faces]), measure_triangles(thin.points[thin.faces])
    assert thin.fewer
    assert most / 4 < len(thin.faces) <= most
    assert few.area == pytest.approx(whole.area, rel=2e-3)
    assert few.box is not None
    assert whole.box is not None
    assert np.allclose(few.box, whole.box, atol=0.25 * thin.cell)
    assert few.centroid == pytest.approx(whole.centroid, abs=1e-3)
    outer = [loop for loop in free_loops(thin.points, thin.faces) if loop.length > 0.2]
    assert [loop.outer for loop in outer] == [True, False]
    edge = length_of(points, free_edges(faces, once=True))
    assert length_of(thin.points, free_edges(thin.faces, once=True)) == pytest.approx(edge, rel=0.06)


def test_no_point_moves_further_than_a_cell_is_wide_across() -> None:
    points, faces = shell(121, 61)
    thin = thinned(points, faces, 3_000)
    from scipy.spatial import cKDTree

    apart, _ = cKDTree(points).query(thin.points)
    assert apart.max() < np.sqrt(3) * thin.cell


def test_each_triangle_stands_for_one_close_by() -> None:
    points, faces = shell(121, 61)
    thin = thinned(points, faces, 3_000)
    there, here = points[faces[thin.source]].mean(axis=1), thin.points[thin.faces].mean(axis=1)
    assert np.linalg.norm(there - here, axis=1).max() < 3.0 * thin.cell


def test_the_two_skins_of_a_wall_stay_two() -> None:
    points, faces = grid(141, 141)
    under = points - [0.0, 0.0, 0.001]  # a wall of a millimetre; cells are seven times as wide
    both, all_faces = np.concatenate([points, under]), np.concatenate([faces, faces[:, ::-1] + len(points)])
    thin = thinned(both, all_faces, 6_000)
    corners = thin.points[thin.faces]
    assert thin.cell > 0.007
    upper = corners[:, :, 2].mean(axis=1) > -0.0005
    for skin in (corners[upper], corners[~upper]):
        assert measure_triangles(skin).area == pytest.approx(1.0, rel=1e-3)
    assert np.abs(corners[upper][:, :, 2]).max() < 1e-6


def test_how_long_it_takes() -> None:
    points, faces = shell(351, 301)
    start = time.perf_counter()
    thin = thinned(points, faces, 50_000)
    print(f"{len(faces):,} triangles to {len(thin.faces):,} in {time.perf_counter() - start:.2f} s")
    assert len(thin.faces) <= 50_000
