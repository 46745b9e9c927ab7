"""What was pointed at in a picture, and how the part file says it: a side, or the place of a zone.

    The first point along the line of sight                seen_point(points, faces, at, toward)
    side = "touching (120 mm, 40 mm, 3 mm)"                touching(at)
    within = "60 mm of (120.5 mm, 0 mm, 30 mm)"            round_point(at, "60 mm")
    within = "30 mm of cut-out 2"                          near_edge("30 mm", edge_at(points, faces, at))
    between = "x 100 mm 350 mm"                            band(one, two)
    inside = [[0, 0], [80, 0], [80, 50]]                   outline(corners, "z")

A picture may show fewer triangles than there are, so what was pointed at is looked for again on the whole mesh.
Places in the part file are rounded to a tenth of a millimetre or a hundredth of an inch; those that pick a side ten
times finer.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError
from layup.shape.loops import free_loops
from layup.shape.measure import Vector, vector
from layup.shape.nearest import nearest_points, to_segments
from layup.shape.topology import Faces, Points
from layup.units import INCH, parse

Floats = NDArray[np.float64]
AXES = "xyz"
_UNITS = {"mm": (1e-3, 1), "in": (INCH, 2)}  # length [m], decimals


def place(at: Vector, unit: str = "mm", finer: bool = False) -> str:
    """A point in space as the part file has it.

    >>> place((0.1205, -0.0, 0.03))
    '(120.5 mm, 0 mm, 30 mm)'

    Args:
        at: [m]
        unit: "mm" or "in".
        finer: With one decimal more.
    """
    return "(" + ", ".join(f"{_number(v, unit, finer)} {unit}" for v in at) + ")"


def touching(at: Vector) -> str:
    """The side of a solid with this point on it, as `side` has it.

    >>> touching((0.12, 0.04, 0.00312))
    'touching (120 mm, 40 mm, 3.12 mm)'
    """
    return f"touching {place(at, finer=True)}"


def round_point(at: Vector, reach: str, unit: str = "mm") -> str:
    """A zone round a point, as `within` has it.

    Args:
        at: [m]
        reach: A distance as typed; a bare number is in `unit`.
        unit: "mm" or "in".

    Raises:
        SurfaceError: The distance can't be read.
    """
    return f"{_reach(reach, unit)} of {place(at, unit)}"


def near_edge(reach: str, edge: str, unit: str = "mm") -> str:
    """A zone along an edge, as `within` has it.

    Args:
        reach: Its width as typed; a bare number is in `unit`.
        edge: "edge", "outer edge" or "cut-out 2".
        unit: "mm" or "in".

    Raises:
        SurfaceError: The width can't be read.
    """
    return f"{_reach(reach, unit)} of {edge if edge.startswith('cut-out') else 'the ' + edge}"


def band(one: Vector, two: Vector, axis: str = "", unit: str = "mm") -> str:
    """A zone between two points, as `between` has it.

    >>> band((0.35, 0.02, 0.0), (0.1, 0.0, 0.0))
    'x 100 mm 350 mm'

    Args:
        one: [m]
        two: [m]
        axis: "x", "y" or "z"; "" for the one along which they lie furthest apart.
        unit: "mm" or "in".

    Raises:
        SurfaceError: No width is left between them.
    """
    apart = np.abs(np.subtract(two, one))
    number = AXES.index(axis) if axis in AXES and axis else int(np.argmax(apart))
    low, high = sorted((one[number], two[number]))
    ends = [_number(v, unit) for v in (low, high)]
    if ends[0] == ends[1]:
        raise SurfaceError("the two points lie on one line across the band", "Click two places further apart")
    return f"{AXES[number]} {ends[0]} {unit} {ends[1]} {unit}"


def outline(corners: Sequence[Vector], axis: str, unit: str = "mm") -> dict[str, str]:
    """A zone inside an outline: the keys `inside`, `along` and `unit`, as typed into the file.

    Args:
        corners: In order round it. [m]
        axis: "x", "y" or "z": the direction it is seen along.
        unit: "mm" or "in".

    Raises:
        SurfaceError: Fewer than three corners.
    """
    number = AXES.index(axis)
    others = [k for k in range(3) if k != number]
    pairs = [[_number(at[k], unit) for k in others] for at in corners]
    pairs = [p for k, p in enumerate(pairs) if p != pairs[k - 1]]
    if len(pairs) < 3:
        raise SurfaceError("an outline needs three corners at least", "Click one more")
    inside = "[" + ", ".join("[" + ", ".join(p) + "]" for p in pairs) + "]"
    return {"inside": inside, "along": json.dumps([int(k == number) for k in range(3)]), "unit": unit}


def edge_at(points: Points, faces: Faces, at: Vector) -> str:
    """The free edge nearest to a point: "outer edge" or "cut-out 2"; "" where the surface has none.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: [m]
    """
    best, found, cut_outs = np.inf, "", 0
    for loop in free_loops(points, faces):
        cut_outs += not loop.outer
        apart = float(to_segments(np.array(at), points[loop.edges[:, 0]], points[loop.edges[:, 1]]).min())
        if apart < best:
            best, found = apart, "outer edge" if loop.outer else f"cut-out {cut_outs}"
    return found


def _number(value: float, unit: str, finer: bool = False) -> str:
    size, decimals = _UNITS[unit]
    text = f"{value / size:.{decimals + finer}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _reach(text: str, unit: str) -> str:
    """A distance as the file has it: as typed, with its unit."""
    plain = " ".join(text.split())
    try:
        size = parse(plain, "length", bare=unit)
    except UnitError as problem:
        raise SurfaceError(f"the distance: {problem}".rstrip("."), "") from None
    if not 0.0 < size < 100.0:
        raise SurfaceError(f"{plain} is no distance for a zone", 'Write "60 mm" or "2.5 in"')
    return plain if any(c.isalpha() or c in "\"'" for c in plain) else f"{plain} {unit}"


def seen_point(points: Points, faces: Faces, at: Vector, toward: Vector) -> tuple[Vector, int]:
    """Where the line of sight through a point first meets the mesh; the nearest point of the mesh if it does not.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
        at: A point on the line of sight. [m]
        toward: From there towards the eye, which is far away. [-]

    Returns:
        The point, and the face it lies on. [m, -]

    Raises:
        SurfaceError: The direction has no length, or a number is not finite.
    """
    eye, spot = np.array(toward, dtype=np.float64), np.array(at, dtype=np.float64)
    size = float(np.linalg.norm(eye))
    if not (0.0 < size < np.inf and np.isfinite(spot).all()):
        raise SurfaceError("that is no point of the picture", "Click on the part")
    eye /= size
    right = np.cross(eye, np.eye(3)[int(np.argmin(np.abs(eye)))])
    right /= np.linalg.norm(right)
    flat = (points - spot) @ np.stack([right, np.cross(eye, right)]).T
    corners = flat[faces]
    rows = np.flatnonzero(((corners.min(axis=1) <= 0.0) & (corners.max(axis=1) >= 0.0)).all(axis=1))
    a, b, c = (corners[rows, k] for k in range(3))
    share = np.stack([_twice(b, c), _twice(c, a), _twice(a, b)], axis=1)
    whole = share.sum(axis=1)
    hit = (whole != 0.0) & (share * np.sign(whole)[:, None] >= 0.0).all(axis=1)
    if not hit.any():
        feet = nearest_points(points, faces, spot)
        face = int(np.argmin(np.linalg.norm(feet - spot, axis=1)))
        return vector(feet[face]), face
    rows, share = rows[hit], share[hit] / whole[hit][:, None]
    places = np.einsum("ij,ijk->ik", share, points[faces[rows]])
    first = int(np.argmax(places @ eye))
    return vector(places[first]), int(rows[first])


def _twice(p: Floats, q: Floats) -> Floats:
    """Twice the area of the triangles from the origin to p and q."""
    return np.asarray(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0], dtype=np.float64)
