"""What a person should know of where the layers lie, and of their height over the surface that was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.partfile.job import Job
from layup.partfile.model import WHOLE
from layup.partfile.zones import zone_spec
from layup.shape.surface import Surface
from layup.shape.zones import zone_key
from layup.weight.plies import Layer
from layup.weight.regions import lies_of
from layup.words import area_words, mass_both

Floats = NDArray[np.float64]

WORTH_A_LINE = 0.005
"""Share of the part's mass or area that height must change for a line of its own. [-]"""


_KEPT: WeakKeyDictionary[Surface, dict[str, Floats]] = WeakKeyDictionary()


def pinched(job: Job, layers: Sequence[Layer]) -> float:
    """Area over which a hollow is tighter than the layers in it are thick. [m^2]"""
    lie = lies_of(job)
    if lie is None or not lie.known:
        return 0.0
    deep: dict[str, float] = {}
    for layer in layers:
        deep[layer.zone] = deep.get(layer.zone, 0.0) + layer.thickness
    entries = {z.name: z for z in job.part.zone if z.area is None}
    kept = _KEPT.setdefault(job.surface, {})
    height = np.full(len(lie.bend.faces), deep.get(WHOLE, 0.0))
    for zone in deep.keys() & entries.keys():
        spec = zone_spec(entries[zone], entries)
        if zone_key(spec) not in kept:
            cut = job.surface.cut(spec)
            kept[zone_key(spec)] = lie.bend.shares(cut.inner, cut.faces)
        height += deep[zone] * kept[zone_key(spec)]
    return float(lie.bend.pinched(lie.sign, height).sum())


def remarks(job: Job, layers: Sequence[Layer], mass: float, by_height: float, doubt: float) -> list[str]:
    """What a person should know of the layers' heights, as far as it is worth a line.

    Args:
        job: The part file, read.
        layers: Of the part, where they lie.
        mass: Of the part. [kg]
        by_height: Of it, what height has brought; negative for less. [kg]
        doubt: Mass more or less, where the side the layers lie on is not known. [kg]
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
    tight = pinched(job, layers)
    if tight > WORTH_A_LINE * job.surface.whole.area:
        found.append(
            f"Over {area_words(tight, 'both')} a hollow is tighter than the layers in it are thick: they cannot lie "
            "there as drawn, and resin or a bridge will fill it. Give it a radius, or end the core before it."
        )
    stopped = [str(layer.number) for layer in layers if layer.risen.stopped]
    if stopped:
        found.append(
            f"Ply {', '.join(stopped)}: past the radius of the hollow it lies in; no area is left there, and none is "
            "counted."
        )
    return found


def lie_record(job: Job) -> dict[str, object]:
    """Where the layers lie, as scripts get it; null where height changes no area."""
    lie = lies_of(job)
    return {
        "mould": job.part.surface.mould,
        "drawn": job.part.surface.drawn if lie is None else "tool side" if lie.tool else "bag side",
        "layers_known": None if lie is None else lie.known,
        "layers_taken": None if lie is None else lie.taken or None,
    }
