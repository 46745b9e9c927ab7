"""What lies double in a ply: overlaps of strips where it is wider than its roll, and of slits where it has to be cut.

A ply of the part file     lap_of(job, entry)

What the part file says of a ply's seams comes first. A flat part is its own pattern, so its strips are always counted.
A curved one has to be laid flat for it, which takes seconds where a prediction takes none: strips and slits are counted
where the part file asks for its cloth to be draped.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import replace
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from layup.cloth import practice
from layup.cloth.draped import asked
from layup.cloth.rough import rough_outline, turned
from layup.cloth.splice import splice
from layup.errors import LayupError, PatternError
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.shape.surface import Surface
from layup.sides.mould import is_flat

if TYPE_CHECKING:
    from shapely import Polygon

_KEPT: WeakKeyDictionary[Surface, dict[Hashable, float]] = WeakKeyDictionary()


def lap_of(job: Job, entry: PlyEntry) -> float:
    """Area of cloth that lies double in a ply. [m^2]"""
    if entry.overlap is not None and entry.seam is not None:
        return entry.overlap * entry.seam
    if entry.fabric is None or entry.area is not None or not job.surface.has_mesh:
        return 0.0
    flat = is_flat(job.surface)
    if not flat and not asked(job, entry):
        return 0.0
    figure = job.library.get("fabric", entry.fabric).optional("width")
    usable = math.inf if figure is None else figure.value - 2 * practice.EDGE.value
    surface = job.part.surface
    key = (*(value for name, value in entry if name != "count"), usable, surface.warp, surface.mould)
    kept = _KEPT.setdefault(job.surface, {})
    name = repr(key)
    if name not in kept:
        overlap = practice.overlap(entry.overlap)
        shapes, flaps = _flat(job, entry, usable) if flat else _curved(job, entry)
        kept[name] = flaps * overlap + sum(splice(shape, usable, overlap).doubled * n for shape, n in shapes)
    return kept[name]


def _flat(job: Job, entry: PlyEntry, usable: float) -> tuple[list[tuple[Polygon, int]], float]:
    """Outlines of a ply on a flat part, none where it fits its roll however it lies; it has no slits."""
    under = job.covering(entry.over)
    if np.linalg.norm(np.ptp(under.surface.vertices, axis=0)) <= usable:
        return [], 0.0
    zone = None if entry.zone in (None, WHOLE) else entry.zone
    return [(shape, 1) for shape in turned(rough_outline(under, zone), entry.angle).shapes], 0.0


def _curved(job: Job, entry: PlyEntry) -> tuple[list[tuple[Polygon, int]], float]:
    """Outlines of a ply by its flat pattern, with how many there are of each, and the length of its slits. [m]"""
    from layup.cloth.pattern import flat_plies

    alone = {"ply": [entry.model_copy(update={"count": 1})], "stack": None, "fabric": None, "trim": None}
    single = replace(job, part=job.part.model_copy(update=alone))
    try:
        made = flat_plies(single, widths={entry.fabric or "": 1000.0})
    except PatternError as error:
        made = error.made
    except LayupError:
        return [], 0.0  # it has no pattern, as `layup patterns` says
    slits = sum(line.length * ply.alike for ply in made if ply.letters for line in ply.seams)
    return [(ply.outline, ply.alike) for ply in made], slits
