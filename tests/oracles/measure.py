"""Measured pieces added up as one: no command needs it, a zone and its rest are checked by it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from layup.shape.measure import Measured, tensor, vector


def combine(parts: Iterable[Measured]) -> Measured:
    """Several measured pieces as one; what a piece with area lacks, the whole lacks.

    The free edges add up, so a seam between two pieces counts on both sides.

    Args:
        parts: Any number of pieces; those without area add only their triangles.
    """
    pieces = list(parts)
    triangles = sum(p.triangles for p in pieces)
    pieces = [p for p in pieces if p.area > 0.0]
    if not pieces:
        return Measured(0.0, triangles=triangles)
    area = sum(p.area for p in pieces)
    edges = [p.perimeter for p in pieces if p.perimeter is not None]
    perimeter = sum(edges) if len(edges) == len(pieces) else None
    boxes = np.array([p.box for p in pieces if p.box is not None])
    box = None
    if len(boxes) == len(pieces):
        box = (vector(boxes[:, 0].min(axis=0)), vector(boxes[:, 1].max(axis=0)))
    places = [p.centroid for p in pieces if p.centroid is not None]
    if len(places) < len(pieces):
        return Measured(area, perimeter=perimeter, box=box, triangles=triangles)
    weights = np.array([p.area for p in pieces])
    at = np.array(places)
    mean = weights @ at / area
    moments = [p.second_moment for p in pieces if p.second_moment is not None]
    second = None
    if len(moments) == len(pieces):
        apart = at - mean
        second = tensor(np.sum(moments, axis=0) + np.einsum("n,ni,nj->ij", weights, apart, apart))
    return Measured(area, vector(mean), second, perimeter, box, triangles)
