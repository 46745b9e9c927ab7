"""Areas, centroids and radii of gyration of thin shells against their closed forms.

Source: closed forms of solid geometry. Spherical cap, frustum, paraboloid, half ellipsoid and torus are given in any
handbook of mathematics (area of a surface of revolution 2 pi integral r ds; theorems of Pappus and Guldin for the torus
halves); the ten-digit values below are these formulas evaluated, and were checked by quadrature to 1e-9.
Tolerance: a mesh of flat triangles is smaller than the shell by a share that falls with the square of the
triangle size. Each shell is meshed twice, n and 2n. The error must fall fourfold (3.8 to 4.2 allowed, because of the
next order), and the value extrapolated from the two must agree to 2e-7 of the size.
"""

from math import cos, pi, sin, sqrt

import numpy as np
import pytest

from layup.shape.measure import measure_triangles


def grid(point, u_span, v_span, n):
    """Triangles (m, 3, 3) of a surface point(u, v), n by n patches."""
    u, v = np.meshgrid(np.linspace(*u_span, n + 1), np.linspace(*v_span, n + 1), indexing="ij")
    p = np.stack(np.broadcast_arrays(*point(u, v)), axis=-1)
    a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
    return np.concatenate([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)]).reshape(-1, 3, 3)


def revolved(radius, height, s_span, turn=(0.0, 2.0 * pi)):
    return lambda n: grid(lambda s, t: (radius(s) * np.cos(t), radius(s) * np.sin(t), height(s)), s_span, turn, n)


def cap_angle(h):
    return np.arccos(1.0 - h)


SLANT = sqrt(0.2**2 + 0.5**2)

# name: mesher, area, centroid (x, y, z), k^2 = polar radius of gyration about the z axis, squared
SHELLS = {
    "spherical cap R=1 h=0.4, apex at the origin": (
        revolved(np.sin, lambda s: 1.0 - np.cos(s), (0.0, cap_angle(0.4))),
        2.5132741229, (0.0, 0.0, 0.2), 0.3466666667,
    ),
    "hemisphere R=1": (revolved(np.sin, np.cos, (0.0, pi / 2)), 6.2831853072, (0.0, 0.0, 0.5), 2.0 / 3.0),
    "frustum r 0.3 to 0.1, H=0.5": (
        revolved(lambda s: 0.3 - 0.2 * s, lambda s: 0.5 * s, (0.0, 1.0)),
        0.6767197679, (0.0, 0.0, 0.2083333333), 0.05,
    ),
    "paraboloid a=0.5 h=0.3": (
        revolved(lambda s: s, lambda s: 0.3 * (s / 0.5) ** 2, (0.0, 0.5)),
        1.0222545570, (0.0, 0.0, 0.1606916656), 0.1339097214,
    ),
    "oblate half ellipsoid a=0.5 c=0.3": (
        revolved(lambda s: 0.5 * np.sin(s), lambda s: 0.3 * np.cos(s), (0.0, pi / 2)),
        1.1736797966, (0.0, 0.0, 0.1639480807), 0.1544578438,
    ),
    "torus outer half R=0.5 r=0.1": (
        revolved(lambda s: 0.5 + 0.1 * np.cos(s), lambda s: 0.1 * np.sin(s), (-pi / 2, pi / 2)),
        1.1126241463, (0.0, 0.0, 0.0), 0.3205305722,
    ),
    "torus outer upper quarter": (
        revolved(lambda s: 0.5 + 0.1 * np.cos(s), lambda s: 0.1 * np.sin(s), (0.0, pi / 2)),
        0.5563120731, (0.0, 0.0, 0.0621189452), None,
    ),
    "cylinder segment R=0.5, half angle 30 deg, length 1": (
        revolved(lambda s: 0.5 + 0.0 * s, lambda s: s - 0.5, (0.0, 1.0), (-pi / 6, pi / 6)),
        0.5235987756, (0.4774648293, 0.0, 0.0), 0.25,
    ),
    "cone r=0.3 h=0.4": (
        revolved(lambda s: 0.3 * s, lambda s: 0.4 * s, (0.0, 1.0)), 0.4712388980, None, None,
    ),
}  # fmt: skip


def figures(mesher, n):
    """Area, centroid and k^2 about the z axis of a mesh."""
    found = measure_triangles(mesher(n))
    x, y, z = found.centroid
    second = np.array(found.second_moment)
    k2 = (second[0, 0] + second[1, 1]) / found.area + x * x + y * y
    return np.array([found.area, x, y, z, k2])


@pytest.mark.parametrize("name", SHELLS)
def test_shell(name):
    mesher, area, centroid, k2 = SHELLS[name]
    coarse, fine = figures(mesher, 64), figures(mesher, 128)
    best = fine + (fine - coarse) / 3.0
    assert best[0] == pytest.approx(area, rel=2e-7)
    assert 3.8 < (area - coarse[0]) / (area - fine[0]) < 4.2
    if centroid is not None:
        assert best[1:4] == pytest.approx(centroid, abs=2e-7)
    if k2 is not None:
        assert best[4] == pytest.approx(k2, rel=5e-7)
        assert 3.8 < (k2 - coarse[4]) / (k2 - fine[4]) < 4.2


# Pappus: area = path of the centroid of the curve times its length; torus of R=0.5, r=0.1 is 4 pi^2 R r.
def test_torus_halves_make_the_whole():
    tube = lambda span: revolved(lambda s: 0.5 + 0.1 * np.cos(s), lambda s: 0.1 * np.sin(s), span)  # noqa: E731
    outer, inner = (figures(tube(span), 128)[0] for span in ((-pi / 2, pi / 2), (pi / 2, 3 * pi / 2)))
    assert outer == pytest.approx(2 * pi * 0.1 * (pi * 0.5 + 0.2), rel=3e-4)
    assert inner == pytest.approx(0.8612967340, rel=3e-4)
    assert outer + inner == pytest.approx(1.9739208802, rel=3e-4)


# A flat triangle is exact, not an approximation: second moments b h^3/36 and h b^3/36 about the centroid of a
# right triangle, product of inertia -b^2 h^2/72 (any handbook of mechanics). Rounding only: 1e-12.
def test_right_triangle():
    b, h = 0.3, 0.2
    found = measure_triangles(np.array([[[0, 0, 0], [b, 0, 0], [0, h, 0]]], dtype=float))
    assert found.area == pytest.approx(0.5 * b * h, rel=1e-12)
    assert found.centroid == pytest.approx((b / 3, h / 3, 0.0), rel=1e-12)
    second = np.array(found.second_moment)
    assert second[1, 1] == pytest.approx(b * h**3 / 36, rel=1e-12)
    assert second[0, 0] == pytest.approx(h * b**3 / 36, rel=1e-12)
    assert second[0, 1] == pytest.approx(-(b**2) * h**2 / 72, rel=1e-12)


# A curve of 30 degrees checked against its chord: the segment's centroid R sin(a)/a, written out once more.
def test_arc_centroid_formula():
    a = pi / 6
    assert 0.5 * sin(a) / a == pytest.approx(SHELLS["cylinder segment R=0.5, half angle 30 deg, length 1"][2][0])
    assert 1.0 - cos(cap_angle(0.4)) == pytest.approx(0.4)
    assert pi * (0.3 + 0.1) * SLANT == pytest.approx(SHELLS["frustum r 0.3 to 0.1, H=0.5"][1])
