"""Where to put the part on the scale on its way, and what the scale should show.

Each point has the predicted mass and the limits that nine builds in ten keep, from the same drawn factors as the
prediction, so that a cloth that runs heavy is heavy at every point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layup.partfile.job import Job
from layup.spread import Floats, Interval, interval
from layup.weight.plies import roll_weight
from layup.weight.weigh import Weighed, area_factor, cloth_factor, core_factor


@dataclass(frozen=True, slots=True)
class WeighPoint:
    """One time on the scale.

    Attributes:
        name: When, as the record calls the stage too.
        mass: What the scale should show, with its limits; None where nothing says it. [kg]
        how: What lies on the scale, what is taken off.
    """

    name: str
    mass: Interval | None
    how: str

    @property
    def stage(self) -> str:
        """As it is typed behind `--at`."""
        return self.name.replace(" ", "-")


def weigh_points(job: Job, weighed: Weighed) -> tuple[WeighPoint, ...]:
    """The weigh points of a part, in order.

    Returns:
        Dry cloth, core where there is one, resin mixed, left in cups, wet laminate, bag materials, demoulded, trimmed,
        finished; those that the process has.
    """
    by_area, _ = area_factor(job, weighed.process.habits)
    process = weighed.process
    trimmed = weighed.trimmed_off
    things = np.zeros_like(by_area)
    for thing in (*weighed.finishes, *weighed.extras):
        things = things + thing.drawn(by_area)
    bare = weighed.drawn - things
    bare_mean = weighed.mass.mean - weighed.finish - weighed.extra
    off_mould = bare * ((bare_mean + trimmed) / bare_mean)
    # what lies in the mould before the first ply is on the scale from then on
    gel = sum((thing.drawn(by_area) * thing.in_mould for thing in weighed.finishes), np.zeros_like(by_area))
    gel_laid = gel * (1.0 + weighed.gel_coat_away / weighed.gel_coat) if weighed.gel_coat else gel
    gel_mean = weighed.gel_coat + weighed.gel_coat_away
    cloth, cloth_mean, core = _dry(job, weighed, by_area)
    points = [
        WeighPoint(
            "dry cloth",
            interval(cloth, cloth_mean),
            "all plies, cut"
            + ("" if process.mixes else ", backing taken off")
            + "; more than this is cloth heavier than its label",
        )
    ]
    if weighed.core > 0:
        points.append(WeighPoint("dry core", interval(core, weighed.core), "cut, before any resin"))
    if process.mixes:
        # what the plies, films and cores drink, as drawn, with what stays in pot and bag on top of it
        dry_share = _core_and_cloth_in_part(weighed, by_area)
        resin = np.maximum(bare - dry_share, 0.0)
        scale = weighed.resin_to_mix / weighed.resin
        points.append(
            WeighPoint(
                "resin mixed", interval(resin * scale, weighed.resin_to_mix), "all cups together, full less empty"
            )
        )
        points.append(WeighPoint("left in cups", None, "what stays in cups, brushes and gloves"))
        lost = process.figure("loss").value
        to_pot = lost * weighed.resin * (1 + trimmed / bare_mean if bare_mean > 0 else 1)
        in_bag = cloth + core + resin * scale - to_pot + gel_laid
        mean = cloth_mean + weighed.core + weighed.resin_to_mix - to_pot + gel_mean
        if process.bagged:
            points.append(
                WeighPoint(
                    "wet laminate",
                    interval(in_bag, mean),
                    "on the mould, less the empty mould, before peel ply and bag; or dry cloth, core and resin mixed, "
                    "less what is left in cups" + (", and the gel coat" if weighed.gel_coat else ""),
                )
            )
            points.append(
                WeighPoint(
                    "bag materials", None, "resin that peel ply, breather and bag have gained: after less before"
                )
            )
    with_gel = ", its gel coat on" if weighed.gel_coat else ""
    off_mean = bare_mean + trimmed + gel_mean
    points.append(
        WeighPoint("demoulded", interval(off_mould + gel_laid, off_mean), _off_mould(process.bagged) + with_gel)
    )
    points.append(WeighPoint("trimmed", interval(bare + gel, bare_mean + weighed.gel_coat), _trimmed(job) + with_gel))
    points.append(WeighPoint("finished", weighed.mass, _finished(weighed)))
    return tuple(points)


def _trimmed(job: Job) -> str:
    """What has been cut once it is trimmed; openings only where the surface has a cut-out."""
    if not job.surface.has_mesh:
        return "edges cut, openings cut if it has any, dust off"
    from layup.shape.loops import free_loops

    openings = any(not loop.outer for loop in free_loops(job.surface.vertices, job.surface.faces))
    return "edges cut, openings cut, dust off" if openings else "edges cut, dust off"


def _finished(weighed: Weighed) -> str:
    names = [thing.name for thing in (*weighed.finishes, *weighed.extras)]
    return "with " + ", ".join(names) if names else "nothing is added after trimming"


def _core_and_cloth_in_part(weighed: Weighed, by_area: Floats) -> Floats:
    """Dry cloth and core of the trimmed part, as drawn. [kg]"""
    total = np.zeros_like(by_area)
    for layer in weighed.layers:
        factor = cloth_factor(layer) * layer.fibre if layer.kind == "fabric" else core_factor(layer) * layer.core
        total = total + factor * layer.area * by_area
    return total


def _dry(job: Job, weighed: Weighed, by_area: Floats) -> tuple[Floats, float, Floats]:
    """Dry cloth as cut, with what is cut away later, its mean, and the dry core, as drawn. [kg]"""
    cloth, core = np.zeros_like(by_area), np.zeros_like(by_area)
    mean = 0.0
    for layer in weighed.layers:
        if layer.kind != "fabric":
            core = core + core_factor(layer) * layer.core * layer.area * by_area
            continue
        weight = layer.fibre
        if not weighed.process.mixes:
            weight = roll_weight(job, job.library.get("fabric", layer.name))
        mean += weight * layer.laid
        cloth = cloth + cloth_factor(layer) * weight * layer.laid * by_area
    return cloth, mean, core


def _off_mould(bagged: bool) -> str:
    return "peel ply and bag off, edges as laid" if bagged else "off the mould, edges as laid"
