# Source: the pin-jointed (Chebyshev) net on a sphere with two perpendicular great circles through the pole as
# generators. With u, v the lengths along the two threads the metric is du^2 + 2 cos(w) du dv + dv^2 and the curvature
# gives w_uv = -K sin(w) (P. L. Chebyshev, 1878, from memory; any text on surfaces of constant curvature). On great
# circles w stays at 90 degrees, so w depends on s = u v / R^2 alone: (s w')' = -sin(w), w(0) = pi/2. The table below is
# that equation integrated to seven digits, outside this program; `exact` integrates it once more here.
# Tolerances: the mesh is flat facets (curvature sits in its corners) and the net has finite links; the error of both
# falls with their size, which the tests on convergence show.
"""A hemisphere draped from its pole; and cones, whose flat pattern is a sector exactly."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from layup.cloth.drape import Net, drape, over
from layup.cloth.flatten import flatten
from tests.shapes import frustum, hemisphere

POLE = (0.0, 0.0, 1.0)
# polar angle on the line at 45 degrees to both threads, shear [deg]
TABLE = [(15, 1.9415), (30, 7.5204), (45, 16.1128), (60, 26.9457), (75, 39.2695), (90, 52.4252)]
COVERED = 6.79385  # cloth that covers the hemisphere, over R^2


def exact() -> tuple[np.ndarray, np.ndarray]:
    """Polar angle and shear along the 45 degree line, by integrating the equation above. [rad]"""
    from scipy.integrate import solve_ivp

    def along(t: float, y: np.ndarray) -> list[float]:
        # with u = v = t R, s = t^2: (s w')' = -sin w becomes, for p = s dw/ds, dw/dt = 2 p / t, dp/dt = -2 t sin w
        w, p, _ = y
        return [2 * p / t if t > 0 else 0.0, -2 * t * math.sin(w), 2 * math.cos(w / 2)]

    small = 1e-6
    start = [math.pi / 2 - small**2, -(small**2), math.sqrt(2) * small]
    got = solve_ivp(along, (small, 1.0), start, rtol=1e-10, atol=1e-12, max_step=2e-3)
    return got.y[2], math.pi / 2 - got.y[0]


def on_the_line(net: Net) -> tuple[np.ndarray, np.ndarray]:
    """Polar angle and shear of the cells on the 45 degree line. [rad]"""
    corner = net.ij[net.cells[:, 0]]
    line = corner[:, 0] == corner[:, 1]
    middle = net.middles[line]
    polar = np.arccos(middle[:, 2] / np.linalg.norm(middle, axis=1))
    order = np.argsort(polar)
    return polar[order], np.abs(net.shear[line])[order]


def test_the_table_is_the_equation() -> None:
    polar, shear = exact()
    for theta, gamma in TABLE:
        assert math.degrees(np.interp(math.radians(theta), polar, shear)) == approx(gamma, abs=2e-3)


def test_shear_along_the_diagonal() -> None:
    points, faces = hemisphere(7)
    polar, shear = on_the_line(drape(points, faces, POLE, nodes=20_000))
    got = [math.degrees(np.interp(math.radians(theta), polar, shear)) for theta, _ in TABLE]
    for value, (theta, gamma) in zip(got, TABLE, strict=True):
        # 0.1 degrees: facets of 0.012 R; the equator lies at the edge of the mesh, half a cell beyond the last middle
        assert value == approx(gamma, abs=0.1), theta


def test_equator_converges() -> None:
    """Each halving of facets and links brings the net nearer to the equation, all along the line."""
    polar, shear = exact()
    misses = []
    for fine, nodes in ((4, 600), (5, 2400), (6, 9600), (7, 38_400)):
        points, faces = hemisphere(fine)
        got_polar, got = on_the_line(drape(points, faces, POLE, nodes=nodes))
        inside = got_polar < math.radians(88)
        miss = got[inside] - np.interp(got_polar[inside], polar, shear)
        misses.append(math.degrees(float(np.sqrt(np.mean(miss**2)))))
    assert misses[0] > 2 * misses[2]
    assert misses[1] > 2 * misses[3]
    assert misses[-1] < 0.05


@pytest.mark.parametrize(("fine", "nodes", "within"), [(5, 2500, 2e-3), (6, 10_000, 5e-4), (7, 40_000, 2e-4)])
def test_cloth_that_covers_a_hemisphere(fine: int, nodes: int, within: float) -> None:
    points, faces = hemisphere(fine)
    found = over(drape(points, faces, POLE, nodes=nodes), points[faces])
    # the area of the cloth over that of the facets, times the area of the true hemisphere
    assert found.factor * 2 * math.pi == approx(COVERED, rel=within)
    assert found.bare == 0.0


def test_the_answer_has_no_scale() -> None:
    for radius in (0.01, 25.0):
        points, faces = hemisphere(5, radius)
        found = over(drape(points, faces, (0, 0, radius), nodes=2500), points[faces])
        assert found.factor == approx(COVERED / (2 * math.pi), rel=2e-3)


# Source: a cone unrolls into a sector of angle 360 (r1 - r2) / slant, its radii the slant lengths to the apex; any
# handbook of sheet-metal work. The figures are r 0.3 -> 0.1, H 0.5: angle 133.7006435, radii 0.8077747211 and
# 0.2692582404; r 0.3, h 0.4: 216 degrees, slant 0.5. Tolerance: around facets of the mesh are chords, 96 of them, and
# the facets are laid flat exactly: each has the angle 2 asin(r sin(pi/96) / slant) at the apex, which is taken here.
@pytest.mark.parametrize(
    ("low", "high", "height", "outer", "inner", "angle"),
    [(0.3, 0.1, 0.5, 0.8077747211, 0.2692582404, 133.7006435), (0.3, 0.0, 0.4, 0.5, 0.0, 216.0)],
)
def test_cone_against_its_sector(
    low: float, high: float, height: float, outer: float, inner: float, angle: float
) -> None:
    around = 96
    points, faces = frustum(low, max(high, 1e-4), height * (1 - max(1e-4 - high, 0) / low), around)
    flat = flatten(points, faces)
    assert flat.folded == 0
    assert np.abs(flat.stretch - 1.0).max() < 1e-9  # a developable is laid flat without any distortion
    places = flat.places.reshape(25, around + 1, 2)
    # the apex is where the two straight edges meet
    a, b, c, d = places[0, 0], places[-1, 0], places[0, -1], places[-1, -1]
    share = np.linalg.solve(np.stack([b - a, c - d], axis=1), c - a)
    apex = a + share[0] * (b - a)
    assert np.linalg.norm(places[0] - apex, axis=1) == approx(np.full(around + 1, outer), rel=1e-9)
    if inner:
        assert np.linalg.norm(places[-1] - apex, axis=1) == approx(np.full(around + 1, inner), rel=1e-9)
    facets = around * 2 * math.degrees(math.asin(low * math.sin(math.pi / around) / outer))
    first, last = a - apex, c - apex
    got = math.degrees(math.atan2(first[0] * last[1] - first[1] * last[0], first @ last)) % 360.0
    assert min(got, 360 - got) == approx(min(facets, 360 - facets), rel=1e-7)
    assert facets == approx(angle, rel=5e-4)  # and with more facets the cone itself


def test_flat_area_is_the_area_of_the_surface() -> None:
    points, faces = frustum(0.3, 0.1, 0.5, 400, 60)
    flat = flatten(points, faces)
    assert flat.area @ flat.stretch.prod(axis=1) / flat.area.sum() == approx(1.0, abs=1e-9)
    # 0.6767197679: pi (r1 + r2) slant, exact; 400 chords round are short by (pi/400)^2 / 6 and more by the slant
    assert float(flat.area.sum()) == approx(0.6767197679, rel=1e-4)
