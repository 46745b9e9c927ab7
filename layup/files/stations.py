"""Area from a tape measure: widths of a flat panel, or girths of a body, at stations along its length.

    Area both ways, centroid along the length      integrate([0, 0.5, 1], [0.2, 0.3, 0.25])
    A flat panel from its widths                   from_widths(stations, widths)
    A body from its girths                         from_girths(stations, girths)
    A list of stations in a file                   read_stations("wing.csv")

Straight from station to station (trapezoid; for girths the cone between two girths), and along a smooth curve
through them (spline): the area is the spline's, and the difference of the two says how far to trust it. A station
written twice is a step. The first and last widths may be zero.

    width:  A = integral of w dx
    girth:  A = integral of g ds, with ds^2 = dx^2 + (dg / turn)^2: a body round enough that its radius is g / turn;
            stations measured along the skin instead of the axis need no such correction: ds = dx

The spline is a cubic (not-a-knot) in the length of the polygon through the points (x, w/2), w stretched so that the
greatest width is the length: so a round end, where the width rises steeply from zero, stays within reach. Where
the cubic overshoots, a shape-keeping one (PCHIP) in x takes its place.

Source: the girth form is the area of a surface of revolution, 2 pi integral r ds; any handbook of mathematics.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.flat import outline
from layup.shape.measure import FARTHEST, Measured
from layup.shape.surface import Finding, Surface
from layup.words import plain

Array = NDArray[np.float64]
Rule = Literal["spline", "trapezoid"]
_FINE = 64
"""Steps of the smooth outline between two stations. [-]"""


@dataclass(frozen=True, slots=True)
class Stations:
    """What stations and sizes come to.

    Attributes:
        trapezoid: Area with straight lines from station to station. [m^2]
        spline: Area under a smooth curve. [m^2]
        rule: Which of the two is `area`.
        curve: How the smooth curve was drawn: "cubic" or "shape-keeping cubic".
        centroid: Where the area balances along the length, by the same rule. [m]
        reading: Standard uncertainty of the area from the reading of the tape. [m^2]
        line: Points (x, size) of the curve of the rule, shape (n, 2). [m]
    """

    trapezoid: float
    spline: float
    rule: Rule
    curve: str
    centroid: float
    reading: float
    line: Array

    @property
    def area(self) -> float:
        """Area by the rule that was asked for. [m^2]"""
        return self.spline if self.rule == "spline" else self.trapezoid

    @property
    def spread(self) -> float:
        """How far the two rules lie apart, and the tape's reading with it: the area's uncertainty. [m^2]"""
        return math.hypot(self.spline - self.trapezoid, self.reading)


def integrate(
    stations: Sequence[float],
    sizes: Sequence[float],
    *,
    turn: float | None = None,
    along: Literal["axis", "skin"] = "axis",
    rule: Rule = "spline",
    reading: float = 0.0,
    name: str = "stations",
) -> Stations:
    """Area from sizes at stations, by both rules.

    Args:
        stations: In rising order; one written twice is a step in size. [m]
        sizes: Width or girth at each, not less than 0. [m]
        turn: Of a girth, the angle the tape goes round: 2 pi for a closed girth; None for widths. [rad]
        along: Whether stations of girths are measured along the axis or along the skin.
        rule: Which area counts.
        reading: Standard uncertainty of one size read off the tape. [m]
        name: What errors call it.

    Raises:
        SurfaceError: fewer than two stations, stations out of order, a size below zero, nothing but zeros.
    """
    x, w = _checked(stations, sizes, name)
    if reading < 0.0 or not math.isfinite(reading):
        raise SurfaceError(f"{name}: a reading uncertainty of {reading:g} m", "It must be 0 or more")
    slope = 0.0 if turn is None or along == "skin" else 1.0 / turn
    lines: dict[str, Array] = {"trapezoid": np.column_stack([x, w])}
    curve = "cubic"
    parts = []
    for first, last in _runs(x):
        part, kind = _smooth(x[first:last], w[first:last])
        parts.append(part)
        curve = kind if kind != "cubic" else curve
    lines["spline"] = np.concatenate(parts)
    areas = {word: _area(line, slope) for word, line in lines.items()}
    chosen = lines[rule]
    if not all(area > 0.0 and math.isfinite(area) for area in areas.values()):
        raise SurfaceError(f"{name}: stations or sizes too small or too far apart to draw a curve", "Check the numbers")
    middle = _area(chosen, slope, lambda line: line[:, 0]) / areas[rule]
    weights = np.zeros(len(x))
    weights[:-1] += np.diff(x) / 2.0
    weights[1:] += np.diff(x) / 2.0
    return Stations(
        trapezoid=areas["trapezoid"],
        spline=areas["spline"],
        rule=rule,
        curve=curve,
        centroid=middle,
        reading=reading * float(np.hypot.reduce(weights)),
        line=chosen,
    )


def from_widths(
    stations: Sequence[float],
    widths: Sequence[float],
    *,
    rule: Rule = "spline",
    reading: float = 0.0,
    name: str = "widths",
) -> Surface:
    """A flat panel from its widths, symmetric about the centre line y = 0, its length along x.

    Args:
        stations: In rising order. [m]
        widths: Full width at each. [m]
        rule: "spline" draws the edge as a smooth curve, "trapezoid" as straight lines.
        reading: Standard uncertainty of one width. [m]
        name: What errors call them.

    Raises:
        SurfaceError: as `integrate`; a panel that a width of zero parts in two.
    """
    found = integrate(stations, widths, rule=rule, reading=reading, name=name)
    line = found.line
    inner = line[1:-1, 1]
    if len(inner) and not inner.min() > 0.0:
        at = float(line[1:-1][inner <= 0.0][0, 0])
        raise SurfaceError(
            f"{name}: the width is 0 at station {plain(at * 1e3, 4)} mm, between the ends", "Give each panel on its own"
        )
    upper = line * (1.0, 0.5)
    lower = upper[::-1] * (1.0, -1.0)
    ring = np.concatenate([upper, lower])
    ring = ring[np.concatenate([[True], (np.diff(ring, axis=0) != 0.0).any(axis=1)])]
    try:
        flat = outline([(float(a), float(b)) for a, b in ring])
    except SurfaceError as problem:
        raise SurfaceError(f"{name}: {problem.wrong.removeprefix('outline: ')}", problem.remedy) from None
    return Surface(
        "widths at stations",
        flat.whole,
        lambda: (flat.vertices, flat.faces),
        findings=tuple(_findings(found, len(stations), "widths", "")),
    )


def from_girths(
    stations: Sequence[float],
    girths: Sequence[float],
    *,
    turn: float = 2.0 * math.pi,
    along: Literal["axis", "skin"] = "axis",
    rule: Rule = "spline",
    reading: float = 0.0,
    name: str = "girths",
) -> Surface:
    """The skin of a body from its girths: known by its area, and by where it balances along its length (x).

    Args:
        stations: In rising order. [m]
        girths: Tape length round the body at each; 0 at a pointed or round end. The ends stay open. [m]
        turn: Angle the tape goes round: a whole turn, or half of one for the upper half of a fairing. [rad]
        along: Whether stations are measured along the axis, or along the skin.
        rule: "spline" or "trapezoid" (cones from station to station).
        reading: Standard uncertainty of one girth. [m]
        name: What errors call them.

    Raises:
        SurfaceError: as `integrate`; a turn outside 0 to 2 pi.
    """
    if not 0.0 < turn <= 2.0 * math.pi + 1e-9:
        raise SurfaceError(
            f"{name}: the tape goes round {plain(math.degrees(turn), 4)} degrees", "Write an angle up to 360 deg"
        )
    found = integrate(stations, girths, turn=turn, along=along, rule=rule, reading=reading, name=name)
    whole = abs(turn - 2.0 * math.pi) < 1e-9 and along == "axis"
    measured = Measured(found.area)
    if whole:  # balances on its axis; part of a turn does not, and how far off it lies is not known from girths
        measured = replace(measured, centroid=(found.centroid, 0.0, 0.0))
    how = "taken as round" if along == "axis" else "stations along the skin"
    return Surface("girths at stations", measured, None, findings=tuple(_findings(found, len(stations), "girths", how)))


def read_stations(path: str | Path, *, unit: str | None = None) -> tuple[str, list[float], list[float]]:
    """Stations from a CSV with the columns station and width, or station and girth.

    Args:
        path: The file.
        unit: Unit of the numbers, where the header states none: `station [mm], width [mm]`.

    Returns:
        "width" or "girth", the stations and the sizes. [m]

    Raises:
        SurfaceError: as `read_table`; no unit, both columns or neither.
    """
    from layup.files.drawing import settle_unit
    from layup.files.read_points import read_table, unit_of

    name = str(path)
    columns = {"station": ("x", "at", "stations"), "width": ("widths", "w"), "girth": ("girths", "g")}
    table = read_table(path, columns, needed=("station",))
    kinds = [word for word in ("width", "girth") if word in table.columns]
    filled = [k for k in kinds if any(k in row.values for row in table.rows)]
    if len(filled) != 1:
        raise SurfaceError(
            f"{name}: {'a width and a girth' if filled else 'neither width nor girth'} in its columns",
            "Head the columns: station [mm], width [mm] (or girth [mm])",
        )
    kind = filled[0]
    for row in table.rows:
        if kind not in row.values:
            raise SurfaceError(f"{name}: line {row.line}: no {kind}", "Each station needs one; at the ends it may be 0")
    at = [row.values["station"] for row in table.rows]
    size = [row.values[kind] for row in table.rows]
    stated, reason = unit_of(table, name)
    factor, _ = settle_unit(name, (max(at) - min(at), max(size)), stated, reason, unit)
    return kind, [v * factor for v in at], [v * factor for v in size]


def _checked(stations: Sequence[float], sizes: Sequence[float], name: str) -> tuple[Array, Array]:
    x, w = np.asarray(stations, dtype=np.float64).ravel(), np.asarray(sizes, dtype=np.float64).ravel()
    if len(x) != len(w):
        raise SurfaceError(f"{name}: {len(x)} stations but {len(w)} sizes", "Give one size for each station")
    if len(x) < 2:
        raise SurfaceError(f"{name}: {len(x)} stations", "Measure at two stations at least, better at seven or more")
    for number, (at, size) in enumerate(zip(x, w, strict=True), 1):
        if not (abs(at) < FARTHEST and 0.0 <= size < FARTHEST):
            raise SurfaceError(
                f"{name}: station {number}: size {_mm(size)} at {_mm(at)}", "Give sizes of 0 or more, in the right unit"
            )
    for number, step in enumerate(np.diff(x), 2):
        if step < 0.0:
            raise SurfaceError(
                f"{name}: station {number} at {_mm(x[number - 1])} lies before the one ahead of it",
                "Write the stations in rising order",
            )
        if step == 0.0 and number > 2 and x[number - 3] == x[number - 1]:
            raise SurfaceError(f"{name}: three sizes at station {_mm(x[number - 1])}", "Two make a step; take one out")
    if x[0] == x[-1] or (len(x) > 1 and (x[0] == x[1] or x[-1] == x[-2])):
        raise SurfaceError(f"{name}: a step at the first or last station", "Write one size there")
    if not w.max() > 0.0:
        raise SurfaceError(f"{name}: every size is 0", "Give the sizes that were measured")
    return x, w


def _mm(value: float) -> str:
    return f"{plain(value * 1e3, 4)} mm"


def _runs(x: Array) -> list[tuple[int, int]]:
    """Stretches between steps, as places in the stations."""
    cuts = [0, *(np.flatnonzero(np.diff(x) == 0.0) + 1).tolist(), len(x)]
    return list(pairwise(cuts))


def _smooth(x: Array, w: Array) -> tuple[Array, str]:
    """Points of a smooth curve through stations without a step."""
    if len(x) < 3:
        return np.column_stack([x, w]), "cubic"
    from scipy.interpolate import CubicSpline, PchipInterpolator

    tall = 0.5 * float(x[-1] - x[0]) / float(w.max()) if w.max() > 0.0 else 0.0
    t = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(w) * tall))])
    line = np.asarray(CubicSpline(t, np.column_stack([x, w]))(_between(t)), dtype=np.float64)
    line[::_FINE] = np.column_stack([x, w])
    low = np.minimum(w[:-1], w[1:]).repeat(_FINE)
    high = np.maximum(w[:-1], w[1:]).repeat(_FINE)
    room = 0.25 * float(np.ptp(w)) + 1e-12 * float(w.max())  # more than this past its neighbours is overshoot
    own = line[:-1, 1]
    back = -float(np.minimum(np.diff(line[:, 0]), 0.0).sum())  # a round end may bulge past its station a little
    within = (own >= np.maximum(low - room, 0.0)).all() and (own <= high + room).all()
    if within and back <= 0.02 * float(x[-1] - x[0]):
        return line, "cubic"
    at = _between(x)
    size = np.maximum(np.asarray(PchipInterpolator(x, w)(at), dtype=np.float64), 0.0)
    size[::_FINE] = w
    return np.column_stack([at, size]), "shape-keeping cubic"


def _between(values: Array) -> Array:
    """The values with _FINE even steps from each to the next."""
    steps = (np.linspace(a, b, _FINE + 1)[:-1] for a, b in pairwise(values))
    return np.concatenate([*steps, values[-1:]])


def _area(line: Array, slope: float, weight: Callable[[Array], Array] | None = None) -> float:
    """Integral of size ds over a polygon, times a weight that runs straight between its points. [m^2]"""
    w = line[:, 1]
    ds = np.diff(line[:, 0])
    if slope > 0.0:
        ds = np.hypot(ds, np.diff(w) * slope)
        # a step is no ring-shaped wall: that was not measured
        ds[np.diff(line[:, 0]) == 0.0] = 0.0
    a, b = w[:-1], w[1:]
    if weight is None:
        return float((ds * (a + b)).sum()) / 2.0
    p, q = weight(line)[:-1], weight(line)[1:]
    return float((ds * (2.0 * a * p + a * q + b * p + 2.0 * b * q)).sum()) / 6.0


def _findings(found: Stations, count: int, what: str, how: str) -> list[Finding]:
    share = found.spread / found.area
    straight = "cones" if how == "taken as round" else "straight lines"
    used, verb = ("curve", "is") if found.rule == "spline" else (straight, "are")
    text = (
        f"area from {what} at {count} stations{', ' + how if how else ''}: {straight} between stations give "
        f"{found.trapezoid:.4g} m^2, a smooth curve through them {found.spline:.4g} m^2. The {used} {verb} used "
        f"here: the area is known to about {found.spread:.2g} m^2 ({share:.1%}), and it balances at "
        f"{_mm(found.centroid)} along the length"
    )
    out = [Finding("stations", count, text, found.trapezoid - found.spline if found.rule == "spline" else None)]
    if share > 0.02:
        out.append(
            Finding("coarse stations", 1, f"the areas differ by {share:.1%}: measure at more stations", found.spread)
        )
    return out
