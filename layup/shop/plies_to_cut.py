"""Every ply of a part as pieces of cloth: number, fabric, angle, and its outline in the frame of the roll.

Where a flat pattern can be made it is taken; else a rough outline stands in for it, marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.part import WHOLE
from layup.plies import place_of
from layup.shop.rough import Outline, rough_outline, turned
from layup.weight import edge_length

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.partfile import Job


@dataclass(frozen=True, eq=False, slots=True)
class ClothPly:
    """One ply of cloth before it is nested.

    Attributes:
        number: In the layup, from 1, from the mould up; cores counted.
        fabric: Name of the cloth.
        angle: Of the warp. [deg]
        zone: Name of its zone, or "patch".
        shapes: Its pieces, the warp along +x. [m]
        area: That the prediction lays, the joins and the trimmed edge counted. [m^2]
        overlap: That the part file gives for joins; None where it gives none. [m]
        rough: Whether the outline stands in for a flat pattern.
        guessed: Whether even the proportions are made up.
    """

    number: int
    fabric: str
    angle: float
    zone: str
    shapes: tuple[Polygon, ...]
    area: float
    overlap: float | None
    rough: bool
    guessed: bool


@dataclass(frozen=True, slots=True)
class CorePiece:
    """One core, which is cut from a sheet.

    Attributes:
        number: In the layup.
        name: Of the core.
        zone: Name of its zone.
        thickness: [m]
        area: [m^2]
        length: Longer side of the least rectangle round it. [m]
        width: Shorter side. [m]
    """

    number: int
    name: str
    zone: str
    thickness: float
    area: float
    length: float
    width: float


def plies_to_cut(job: Job) -> tuple[tuple[ClothPly, ...], tuple[CorePiece, ...]]:
    """All plies and cores of a part, in laying order.

    Args:
        job: The part file, read.

    Returns:
        The plies of cloth and the cores, counts written out.
    """
    found: dict[tuple[str, float | None], Outline] = {}
    cloth: list[ClothPly] = []
    cores: list[CorePiece] = []
    number = 0
    trim = job.part.trim or 0.0
    strip = trim * (edge_length(job) or 0.0)
    for entry in job.part.plies():
        zone, place = place_of(job, entry.zone, entry.area)
        key = (zone, entry.area)
        if key not in found:
            found[key] = rough_outline(job, None if zone in (WHOLE, "patch") else zone, entry.area)
        outline = turned(found[key], entry.angle)
        for _ in range(entry.count):
            number += 1
            if entry.core is not None:
                thickness = entry.thickness or job.library.get("core", entry.core).figure("thickness").value
                length, width = extent(outline.shapes)
                cores.append(CorePiece(number, entry.core, zone, thickness, place.area, length, width))
                continue
            area = place.area + (entry.overlap or 0.0) * (entry.seam or 0.0) + (strip if zone == WHOLE else 0.0)
            shapes = _with_edge(outline.shapes, trim) if zone == WHOLE and trim else outline.shapes
            cloth.append(
                ClothPly(
                    number,
                    entry.fabric or "",
                    entry.angle,
                    zone,
                    shapes,
                    area,
                    entry.overlap,
                    outline.stretch > 1.001,
                    outline.guessed,
                )
            )
    return tuple(cloth), tuple(cores)


def _with_edge(shapes: tuple[Polygon, ...], trim: float) -> tuple[Polygon, ...]:
    """Outlines grown by the width that is trimmed off later."""
    import shapely

    grown = shapely.union_all([shape.buffer(trim, join_style="mitre", mitre_limit=2.0) for shape in shapes])
    return tuple(part for part in shapely.get_parts(grown) if part.geom_type == "Polygon")


def extent(shapes: tuple[Polygon, ...]) -> tuple[float, float]:
    """Sides of the least rectangle round some outlines, the longer first. [m]"""
    import shapely

    box = shapely.minimum_rotated_rectangle(shapely.union_all(list(shapes)))
    corners = shapely.get_coordinates(box)
    first = float(((corners[1] - corners[0]) ** 2).sum() ** 0.5)
    second = float(((corners[2] - corners[1]) ** 2).sum() ** 0.5)
    return max(first, second), min(first, second)
