"""Curves of a drawing as points: arcs, ellipses, bulges and Beziers, with a stated height over the chord.

    A circle, an ellipse, an arc of either      arc(centre, u, v, start, end, sagitta)
    A polyline with bulges                      bulged(points, bulges, closed, sagitta)
    A quadratic or cubic Bezier                 bezier(controls, sagitta)
    Is a closed line a circle?                  circle_of(points)

The points of an arc lie a trifle outside it, by less than the sagitta, so that the line through them encloses
the area of the true arc exactly: with n steps of d each, the inner points are pushed out by k, and
(n - 2) k^2 + 2 k = |turn| / sin d. A whole circle has k^2 = d / sin d.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import acos, atan, ceil, cos, hypot, pi, sin, sqrt

import numpy as np
from numpy.typing import NDArray

Line2 = NDArray[np.float64]
Pair = tuple[float, float]

COARSEST = 1e-3
"""The sagitta of an arc is never more than this share of its radius. [-]"""
FINEST = 1e-7
"""Nor less than this share: more points than that say nothing. [-]"""
MOST = 4000
"""Points of one curve, at most. [-]"""


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve of a drawing, in the unit of the file, before it is joined to others.

    Attributes:
        layer: Name of the layer it is drawn on, "" where there is none.
        points: Gives its points (n, 2) when called with the sagitta that is wanted.
        closed: The last point joins the first; the first is not repeated.
        fill: Number of the fill whose edge it is, 0 for a line that is drawn. [-]
    """

    layer: str
    points: Callable[[float], Line2]
    closed: bool = False
    fill: int = 0


def arc(centre: Pair, u: Pair, v: Pair, start: float, end: float, sagitta: float) -> Line2:
    """Points of centre + u cos t + v sin t, from t = start to t = end.

    With |u| = |v| at right angles it is an arc of a circle, else of an ellipse.

    Args:
        centre: Of the circle or ellipse. [length]
        u: Radius at t = 0. [length]
        v: Radius at t = 90 degrees; any two conjugate radii of an ellipse will do. [length]
        start: [rad]
        end: Less than `start` for an arc that runs backward; a whole turn gives a ring whose first point is
            not repeated. [rad]
        sagitta: Largest distance from the true arc. [length]

    Returns:
        Shape (n, 2); enclosing the area of the true arc.
    """
    if not np.isfinite([*centre, *u, *v, start, end]).all():
        return np.full((1, 2), np.nan)
    size = max(hypot(*u), hypot(*v))
    turn = min(abs(end - start), 2.0 * pi)
    share = min(max(sagitta / size if size > 0.0 else COARSEST, FINEST), COARSEST)
    n = min(max(ceil(turn / (2.0 * acos(1.0 - share))), 2), MOST)
    d = turn / n
    whole = abs(turn - 2.0 * pi) < 1e-9
    t = start + np.copysign(d, end - start) * np.arange(n + 1)
    k = np.ones(n + 1)
    if turn > 1e-6:
        if whole:
            k[:] = sqrt(d / sin(d))
        elif n == 2:
            k[1] = turn / (2.0 * sin(d))
        else:
            k[1:-1] = (sqrt(1.0 + (n - 2) * turn / sin(d)) - 1.0) / (n - 2)
    across, up = k * np.cos(t), k * np.sin(t)
    points = np.column_stack([centre[0] + u[0] * across + v[0] * up, centre[1] + u[1] * across + v[1] * up])
    return points[:-1] if whole else points


def bulged(points: Sequence[Pair], bulges: Sequence[float], closed: bool, sagitta: float) -> Line2:
    """Points of a polyline whose sides may be arcs.

    Args:
        points: The corners. [length]
        bulges: For the side after each corner: the tangent of a quarter of its arc's angle, positive to the
            left, 0 for a straight side. [-]
        closed: The last corner joins the first.
        sagitta: [length]

    Returns:
        Shape (n, 2); of a closed line the first point is not repeated.
    """
    corners = [(float(x), float(y)) for x, y in points]
    parts: list[Line2] = []
    for number in range(len(corners) if closed else len(corners) - 1):
        p, q, bulge = corners[number], corners[(number + 1) % len(corners)], float(bulges[number])
        if bulge == 0.0 or p == q:
            parts.append(np.array([p]))
        else:
            parts.append(_bulge(p, q, bulge, sagitta)[:-1])
    if not closed and corners:
        parts.append(np.array([corners[-1]]))
    return np.concatenate([*parts, np.zeros((0, 2))])


def _bulge(p: Pair, q: Pair, bulge: float, sagitta: float) -> Line2:
    """An arc from p to q, both exactly met."""
    turn = 4.0 * atan(bulge)
    chord = (q[0] - p[0], q[1] - p[1])
    # centre: from the middle of the chord, to its left by half the chord over tan(turn / 2)
    offset = (1.0 - bulge * bulge) / (4.0 * bulge)
    centre = (
        (p[0] + q[0]) / 2.0 - chord[1] * offset,
        (p[1] + q[1]) / 2.0 + chord[0] * offset,
    )
    u = (p[0] - centre[0], p[1] - centre[1])
    line = arc(centre, u, (-u[1], u[0]), 0.0, turn, sagitta)
    if len(line) < 2:
        return np.full((2, 2), np.nan)
    line[0], line[-1] = p, q
    return line


def bezier(controls: Sequence[Pair], sagitta: float) -> Line2:
    """Points of a Bezier curve of three or four control points, both ends met.

    The chord of a step h in the parameter is off by at most h^2 / 8 times the largest second derivative.

    Args:
        controls: Shape (3, 2) or (4, 2). [length]
        sagitta: [length]
    """
    c = np.asarray(controls, dtype=np.float64)
    if len(c) == 3:
        c = np.array([c[0], (c[0] + 2.0 * c[1]) / 3.0, (2.0 * c[1] + c[2]) / 3.0, c[2]])
    if not np.isfinite(c).all():
        return np.full((1, 2), np.nan)
    size = float(np.ptp(c, axis=0).max())
    bend = 6.0 * float(np.hypot(*np.diff(c, n=2, axis=0).T).max())
    height = min(max(sagitta, FINEST * size), COARSEST * size)
    n = min(max(ceil(sqrt(bend / (8.0 * height))) if height > 0.0 else 1, 1), MOST)
    t = np.linspace(0.0, 1.0, n + 1)[:, None]
    s = 1.0 - t
    points: Line2 = s**3 * c[0] + 3.0 * s**2 * t * c[1] + 3.0 * s * t**2 * c[2] + t**3 * c[3]
    points[0], points[-1] = c[0], c[-1]
    return points


def circle(x: float, y: float, diameter: float, sagitta: float = 0.0) -> Line2:
    """A circle as a ring of points that encloses its area exactly.

    >>> ring = circle(0.0, 0.0, 2.0, 0.01)
    >>> x, y = ring.T
    >>> float(round((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2, 12)) == round(pi, 12)
    True

    Args:
        x: Of the centre. [m]
        y: Of the centre. [m]
        diameter: [m]
        sagitta: Largest distance from the true circle, 0 for a thousandth of its radius. [m]
    """
    r = diameter / 2.0
    return arc((x, y), (r, 0.0), (0.0, r), 0.0, 2.0 * pi, sagitta or COARSEST * r)


def turned(angle: float, size: float) -> tuple[Pair, Pair]:
    """Two radii of a circle at right angles, the first at an angle. [rad, length]"""
    return (size * cos(angle), size * sin(angle)), (-size * sin(angle), size * cos(angle))


def circle_of(points: Line2) -> tuple[float, float, float] | None:
    """Centre x, y and diameter of a closed line that is a circle to 1 % of its radius, else None. [m]"""
    if len(points) < 16:
        return None
    x, y = (points - points[0]).T
    cross = x * np.roll(y, -1) - y * np.roll(x, -1)
    total = float(cross.sum())
    if total == 0.0:
        return None
    cx = float(((x + np.roll(x, -1)) * cross).sum()) / (3.0 * total)
    cy = float(((y + np.roll(y, -1)) * cross).sum()) / (3.0 * total)
    radius = float(np.sqrt(abs(total) / (2.0 * np.pi)))
    off = np.abs(np.hypot(x - cx, y - cy) - radius).max()
    if off > 0.01 * radius:
        return None
    return float(points[0, 0]) + cx, float(points[0, 1]) + cy, 2.0 * radius
