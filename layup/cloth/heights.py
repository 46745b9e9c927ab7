"""How high each layer lies over the surface that was drawn, and what area it has there.

    What height does to every layer        risen(job, places)
    What a person should know of it        remarks(job, places, ...)

A layer's area is the mean, over its own thickness, of the parallel surfaces it fills (`layup.sides.offset`), so that
areas times thicknesses add up to the volume between the outermost of them. A ply over the whole surface climbs over
what a zone has under it: it is as much higher there as that is thick. Where zones overlap, a layer counts what lies in
its own zone and over the whole, not what lies in the other. A place known only by its area, and a flat one, keep
their areas to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.partfile.job import Job
from layup.partfile.model import WHOLE
from layup.partfile.zones import zone_spec
from layup.shape.surface import Surface
from layup.shape.zones import zone_key
from layup.sides.mould import Lies, lies
from layup.sides.offset import Bent, Curved
from layup.words import area_words, mass_both

Place = tuple[str, float, float]
"""A layer: the name of its zone, its thickness [m], the area of its zone [m^2]."""

WORTH_A_LINE = 0.005
"""Share of the part's mass or area that height must change for a line of its own. [-]"""


@dataclass(frozen=True, slots=True)
class Risen:
    """What height does to one layer.

    Attributes:
        height: Of its middle over the surface that was drawn, in its own zone; None where nothing moves. [m]
        gained: Area it has more than on that surface. [m^2]
        either_way: Area it has more or less, where the side it lies on is not known: more on the bulging side. [m^2]
        stopped: Whether it lies past the radius of its hollow, where no area is left to lose.
    """

    height: float | None = None
    gained: float = 0.0
    either_way: float = 0.0
    stopped: bool = False


LEVEL = Risen()
"""A layer that height does nothing to."""

_KEPT: WeakKeyDictionary[Surface, dict[Any, Any]] = WeakKeyDictionary()


def lies_of(job: Job) -> Lies | None:
    """Where the layers of a job lie; None where height changes no area."""
    entry = job.part.surface
    kept = _KEPT.setdefault(job.surface, {})
    key = ("lies", entry.mould, entry.drawn)
    if key not in kept:
        kept[key] = lies(job.surface, entry.mould, entry.drawn)
    found: Lies | None = kept[key]
    return found


def bent_of(job: Job, zones: Iterable[str]) -> Bent | None:
    """How the whole and some zones bend: as the record of the job says, else from its mesh; None for nothing to say."""
    if job.bent is not None:
        return job.bent
    lie = lies_of(job)
    if lie is None:
        return None
    curved = {zone: _curved(job, lie, zone) for zone in {WHOLE, *zones}}
    return Bent({zone: place for zone, place in curved.items() if place is not None}, lie.known, lie.tool)


def risen(job: Job, places: Sequence[Place]) -> tuple[Risen, ...]:
    """What height does to every layer, and last to the film on the face away from the surface that was drawn.

    Args:
        job: The part file, read.
        places: The layers from the mould up.

    Returns:
        One for each layer, and one more for the film: over the largest place.
    """
    none = (LEVEL,) * (len(places) + 1)
    bent = bent_of(job, {place[0] for place in places}) if places else None
    if bent is None:
        return none
    order = range(len(places)) if bent.tool else range(len(places) - 1, -1, -1)
    largest = max(places, key=lambda place: place[2])
    stack = [places[n] for n in order] + [(largest[0], 0.0, largest[2])]
    found = _heights(stack, bent.places, bent.known)
    back = list(none)
    for place, one in zip(order, found, strict=False):
        back[place] = one
    back[-1] = found[-1]
    return tuple(back)


def pinched(job: Job, places: Sequence[Place]) -> float:
    """Area over which a hollow is tighter than the layers in it are thick. [m^2]"""
    lie = lies_of(job)
    if lie is None or not lie.known:
        return 0.0
    height = np.zeros(len(lie.bend.faces))
    for zone, thickness, _ in places:
        share = _shares(job, lie, zone)
        if share is not None:
            height += thickness * share
    return float(lie.bend.pinched(lie.sign, height).sum())


def remarks(job: Job, places: Sequence[Place], mass: float, by_height: float, doubt: float) -> list[str]:
    """What a person should know of the layers' heights, as far as it is worth a line.

    Args:
        job: The part file, read.
        places: As for `risen`.
        mass: Of the part. [kg]
        by_height: Of it, what height has brought; negative for less. [kg]
        doubt: Mass more or less, where the side the layers lie on is not known. [kg]

    Returns:
        Sentences.
    """
    lie = lies_of(job)
    if lie is None:
        return []
    found = [f"Which way the layers lie: {lie.doubt}."] if lie.doubt else []
    if abs(doubt) > WORTH_A_LINE * mass:
        found.append(
            "Which side of the surface the layers lie on is not known: on its hollow side the part is "
            f"{mass_both(abs(doubt), 'both')} lighter, on the other as much heavier, and the interval holds both. "
            'Write mould = "female" or "male" in [surface].'
        )
    if abs(by_height) > WORTH_A_LINE * mass:
        taken = f"; {lie.taken}" if lie.taken else ""
        found.append(
            f"The layers lie on the {'hollow' if by_height < 0.0 else 'bulging'} side of the drawn surface, and their "
            f"height over it makes the part {mass_both(abs(by_height), 'both')} "
            f"{'lighter' if by_height < 0.0 else 'heavier'}{taken}."
        )
    tight = pinched(job, places)
    if tight > WORTH_A_LINE * job.surface.whole.area:
        found.append(
            f"Over {area_words(tight, 'both')} a hollow is tighter than the layers in it are thick: they cannot lie "
            "there as drawn, and resin or a bridge will fill it. Give it a radius, or end the core before it."
        )
    stopped = [str(number) for number, up in enumerate(risen(job, places)[:-1], start=1) if up.stopped]
    if stopped:
        found.append(
            f"Ply {', '.join(stopped)}: past the radius of the hollow it lies in; no area is left there, and none is "
            "counted."
        )
    return found


def lie_record(job: Job) -> dict[str, Any]:
    """Where the layers lie, as scripts get it; null where height changes no area."""
    lie = lies_of(job)
    return {
        "mould": job.part.surface.mould,
        "drawn": job.part.surface.drawn if lie is None else "tool side" if lie.tool else "bag side",
        "layers_known": None if lie is None else lie.known,
        "layers_taken": None if lie is None else lie.taken or None,
    }


def _heights(stack: Sequence[Place], curved: Mapping[str, Curved], known: bool) -> list[Risen]:
    """Every layer of a stack, from the surface that was drawn."""
    other = {zone: place.other for zone, place in curved.items()}
    under: dict[str, float] = {}
    found = []
    for zone, thickness, area in stack:
        if zone not in curved:
            found.append(LEVEL)
            continue
        base = under.get(WHOLE, 0.0) + (under.get(zone, 0.0) if zone != WHOLE else 0.0)
        middle = base + 0.5 * thickness
        here = _gain(zone, area, base, thickness, under, curved)
        if known:
            found.append(Risen(middle, here, stopped=base + thickness > curved[zone].limit[0]))
        else:
            there = _gain(zone, area, base, thickness, under, other)
            found.append(Risen(None, 0.0, 0.5 * (here - there)))
        under[zone] = under.get(zone, 0.0) + thickness
    return found


def _gain(
    zone: str, area: float, base: float, thickness: float, under: dict[str, float], curved: Mapping[str, Curved]
) -> float:
    """Area that a layer has more than on the surface that was drawn. [m^2]"""
    place = curved[zone]
    more = place.through(base, base + thickness) - place.area
    if zone == WHOLE:
        for other, step in under.items():
            if other != WHOLE:
                low, its = base + step, curved[other]
                more += its.through(low, low + thickness) - its.through(base, base + thickness)
    if more == 0.0 or not place.area > 0.0:
        return 0.0
    return max(more * (area / place.area), -area)


def _shares(job: Job, lie: Lies, zone: str) -> NDArray[np.float64] | None:
    """How much of each face a zone takes; None for a patch, or a zone that is only an area."""
    if zone == WHOLE:
        return np.ones(len(lie.bend.faces))
    entries = {z.name: z for z in job.part.zone}
    if zone not in entries or entries[zone].area is not None:
        return None
    spec = zone_spec(entries[zone], entries)
    kept = _KEPT.setdefault(job.surface, {})
    key = ("shares", zone_key(spec))
    if key not in kept:
        cut = job.surface.cut(spec)
        kept[key] = lie.bend.shares(cut.inner, cut.faces)
    found: NDArray[np.float64] = kept[key]
    return found


def _curved(job: Job, lie: Lies, zone: str) -> Curved | None:
    kept = _KEPT.setdefault(job.surface, {})
    entries = {z.name: z for z in job.part.zone}
    spec = zone_key(zone_spec(entries[zone], entries)) if zone in entries and entries[zone].area is None else zone
    key = ("curved", job.part.surface.mould, job.part.surface.drawn, spec)
    if key not in kept:
        share = _shares(job, lie, zone)
        kept[key] = None if share is None else lie.bend.place(None if zone == WHOLE else share, lie.sign)
    found: Curved | None = kept[key]
    return found
