"""What can make a part heavier or lighter than expected, by how much, and how to find out.

Each candidate has a range of what it can add and how often it is to blame. The ranges and the odds are the project's
choices, not published: they order the list that a builder reads, nothing else rests on them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from layup.learn.expected import Ground, edge_width
from layup.units import LB, OZ
from layup.weight.prediction import Prediction
from layup.weight.weigh import edge_length
from layup.words import length_words, mass_words

FILLER = 1.0
"""Filler and paint beyond the plan: up to this much, about 1 mm of a light filler and its paint. [kg/m^2]"""
FORGOTTEN_TRIM = 0.025
"""Width of an edge left on, where the part file names none. [m]"""
AREA_OFF = 0.06
"""Area that a mould, a flange or a drawing may be off by. [-]"""
SOAK_DEPTH = 0.002
"""Depth to which resin may fill a core's open face, on either side. [m]"""


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be to blame.

    Attributes:
        about: What it is about: two causes about one thing never stand in one list.
        words: For a person.
        low: Least that it adds. [kg]
        high: Most that it adds. [kg]
        odds: How often it is to blame, before looking. [-]
        check: What to look at next.
        at: Stages after which it can be in the weight for the first time.
    """

    about: str
    words: str
    low: float
    high: float
    odds: float
    check: str
    at: tuple[str, ...]


def odds_of(cause: Cause, off: float) -> float:
    """Odds of a cause, much less where it only works the other way."""
    helps = cause.high if off > 0 else -cause.low
    return cause.odds * (1.0 if helps > 0 else 0.01)


_LAID = ("demoulded", "trimmed", "finished")


def candidates(
    prediction: Prediction, stage: str, mass: float, resolution: float | None, ground: Ground | None
) -> tuple[Cause, ...]:
    """Everything that can be to blame for a part's weight at a stage.

    Args:
        prediction: Of the part.
        stage: Of a whole part.
        mass: On the scale. [kg]
        resolution: Of the scale. [kg]
        ground: The expected mass, divided.
    """
    found: list[Cause] = []
    if ground is not None:
        found.append(_resin(prediction, ground))
    found += _plies(prediction)
    found += _finish(prediction, stage)
    found += _core(prediction)
    found += _edge(prediction, stage)
    found += _fitted(prediction, stage)
    laminate = prediction.mass.mean - prediction.weighed.extra
    found.append(
        Cause(
            about="area",
            words="the part is larger or smaller than the surface in the part file",
            low=-AREA_OFF * laminate,
            high=AREA_OFF * laminate,
            odds=0.10,
            check="measure the part along and across with a tape, over the curve; look for flanges the mesh has not",
            at=("demoulded",),
        ),
    )
    found += _scale(prediction, mass, resolution)
    return tuple(cause for cause in found if cause.high > cause.low)


def _resin(prediction: Prediction, ground: Ground) -> Cause:
    spread = math.hypot(ground.shop_spread, ground.part_spread)
    bagged = prediction.weighed.process.bagged
    low, high = (ground.resin * (math.exp(z * spread) - 1) for z in (-2.576, 2.576))
    check = "cut a 100 mm square from the trimmed edge, weigh it and measure its thickness at four places"
    check += (
        "; look at the vacuum that was reached and at the breather" if bagged else "; feel for pools and shiny spots"
    )
    return Cause(
        about="resin",
        words="more or less resin in the plies than expected",
        low=low,
        high=high,
        odds=0.40,
        check=check,
        at=("demoulded",),
    )


def _plies(prediction: Prediction) -> list[Cause]:
    found: list[Cause] = []
    seen: set[tuple[str, str]] = set()
    for layer in prediction.weighed.layers:
        if layer.kind != "fabric" or (layer.name, layer.zone) in seen:
            continue
        seen.add((layer.name, layer.zone))
        where = "all over" if layer.zone == "whole" else f'in the zone "{layer.zone}"'
        for times, word in ((1, "too many"), (-1, "too few"), (2, "too many"), (-2, "too few")):
            ends = sorted((times * 0.9 * layer.mass, times * 1.1 * layer.mass))
            many = "a ply" if abs(times) == 1 else "two plies"
            found.append(
                Cause(
                    about="plies",
                    words=f"{many} of {layer.name} {word} {where}",
                    low=ends[0],
                    high=ends[1],
                    odds=0.06 / times**2,
                    check="count the plies at the trimmed edge with a glass, or on the offcut after burning it; "
                    "count what is left of the cut pieces",
                    at=("demoulded",),
                )
            )
    return found


def _finish(prediction: Prediction, stage: str) -> list[Cause]:
    area = prediction.area
    planned = prediction.weighed.finish
    if stage == "finished":
        check = "weigh the next part before filler and paint; rub a patch down to the cloth and measure what came off"
        return [
            Cause(about="finish", words="filler and paint: more or less than the plan", low=-0.7 * planned,
                  high=planned + FILLER * area, odds=0.30, check=check, at=("finished",))
        ]  # fmt: skip
    check = "look for gel coat, surface filler or primer that is on already but stands under [[finish]]"
    return [
        Cause(
            about="finish",
            words="gel coat, filler or primer is on already",
            low=0.0,
            high=max(planned, 0.4 * area),
            odds=0.08,
            check=check,
            at=_LAID,
        )
    ]


def _core(prediction: Prediction) -> list[Cause]:
    cores = [layer for layer in prediction.weighed.layers if layer.kind == "core"]
    if not cores:
        return []
    most = sum(2 * min(SOAK_DEPTH, y.thickness / 2) * y.resin_density * y.area * 0.6 for y in cores)
    least = -0.6 * sum((y.bond + y.resin) * y.area for y in cores)
    check = "drill the core in a corner of the offcut and look for resin in cells, slits or dust; weigh the dry core"
    return [
        Cause(
            about="core",
            words="resin soaked into the core",
            low=least,
            high=most,
            odds=0.12,
            check=check,
            at=("demoulded",),
        )
    ]


def _edge(prediction: Prediction, stage: str) -> list[Cause]:
    edge = edge_length(prediction.job)
    if edge is None or stage == "demoulded":
        return []
    width = edge_width(prediction.job) or FORGOTTEN_TRIM
    areal = prediction.weighed.edge_areal
    check = f"measure the part against the trim line; {length_words(width, 'both')} all round weighs "
    check += mass_words(width * edge * areal)
    return [
        Cause(
            about="trim",
            words="trim left on",
            low=0.0,
            high=width * edge * areal * 1.1,
            odds=0.10,
            check=check,
            at=("trimmed",),
        )
    ]


def _fitted(prediction: Prediction, stage: str) -> list[Cause]:
    extra = prediction.weighed.extra
    if extra <= 0:
        return []
    if stage == "finished":
        check = "look down the [[extra]] entries with the part in hand"
        return [
            Cause(
                about="extras",
                words="something of the extras is not fitted",
                low=-extra * 1.05,
                high=0.0,
                odds=0.08,
                check=check,
                at=("finished",),
            )
        ]
    check = "take off what stands under [[extra]], or weigh it --at finished"
    return [
        Cause(
            about="extras",
            words="extras are fitted already",
            low=0.0,
            high=extra * 1.05,
            odds=0.10,
            check=check,
            at=_LAID,
        )
    ]


def _scale(prediction: Prediction, mass: float, resolution: float | None) -> list[Cause]:
    slack = max(3 * (resolution or 0.0), 0.02 * mass)
    check = "weigh a full 1 litre or 1 quart carton of water on the same scale; weigh the part on another scale"
    found = [
        Cause(
            about="scale",
            words="the scale, or what lay on it with the part",
            low=-slack,
            high=slack,
            odds=0.06,
            check=check,
            at=_LAID,
        )
    ]
    mean = prediction.mass.mean
    readings = [("kilograms were read as pounds", mass / LB), ("pounds were read as kilograms", mass * LB)]
    pounds = mass / LB
    if pounds % 1 > 0.005:
        hundredths = round(pounds % 1 * 100)
        readings.append(("a decimal of pounds was meant as ounces", math.floor(pounds) * LB + hundredths * OZ))
    ounces = mass / OZ
    whole, rest = divmod(ounces, 16)
    if 0 < rest < 10:
        readings.append(("ounces were a decimal of pounds", (whole + rest / 10) * LB))
    for words, meant in readings:
        if abs(meant - mean) < 0.12 * mean and abs(mass - mean) > 0.12 * mean:
            off = mass - meant
            found.append(
                Cause(
                    about="unit",
                    words=f"the unit: {words} ({mass_words(meant)} then)",
                    low=min(off * 0.99, off * 1.01),
                    high=max(off * 0.99, off * 1.01),
                    odds=0.05,
                    check="read the scale's unit again, and look whether its figure has a point or a colon",
                    at=_LAID,
                )
            )
    return found
