"""The area of rings of plies round holes by union and difference of discs, to check zones."""

from __future__ import annotations

import math

import shapely

from layup.shape.curves import circle
from layup.shape.holes import Pattern


def collar(pattern: Pattern, width: float) -> float:
    """Area of a ring of this width round every hole, once where rings overlap. [m^2]"""
    reach = [h.diameter / 2.0 + width for h in pattern.holes]
    if not any(apart < reach[a] + reach[b] for a, b, apart in pattern.pairs(2.0 * max(reach))):
        return math.fsum(math.pi * (r * r - h.diameter**2 / 4.0) for r, h in zip(reach, pattern.holes, strict=True))
    discs = [shapely.Polygon(circle(h.x, h.y, 2.0 * r)) for r, h in zip(reach, pattern.holes, strict=True)]
    holes = [shapely.Polygon(line) for line in pattern.cutouts()]
    return float(shapely.difference(shapely.union_all(discs), shapely.union_all(holes)).area)
