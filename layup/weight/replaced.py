"""The old part, item by item: sheet, glass laminate, core, doped fabric, finish, fasteners, seams, weighed pieces."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from layup.laminate import allowances as allow
from layup.laminate.process import settle
from layup.partfile.job import Job
from layup.partfile.model import PlyEntry, ReplacesEntry
from layup.shape.measure import Measured
from layup.sources import Figure
from layup.spread import Floats, Interval, interval
from layup.weight.weigh import Thing, area_factor, coat, item, weigh_layup


@dataclass(frozen=True)
class Replaced:
    """What comes off.

    Attributes:
        items: In the order of the file.
        arms: Of each item, where given; else the part's. [m]
        mass: [kg]
        drawn: The same as drawn. [kg]
        figures: What it rests on.
    """

    items: tuple[Thing, ...]
    arms: tuple[float | None, ...]
    mass: Interval
    drawn: Floats = field(repr=False)
    figures: tuple[Figure, ...] = field(repr=False)

    def moment(self) -> float | None:
        """Sum of mass times arm; None unless every item has an arm. [kg m]"""
        if any(arm is None for arm in self.arms):
            return None
        return sum(thing.mass * arm for thing, arm in zip(self.items, self.arms, strict=True) if arm is not None)


def weigh_replaced(job: Job) -> Replaced | None:
    """Weigh what the part replaces; None where the file names nothing.

    Raises:
        LayupError: A figure is missing from the tables.
    """
    entries = job.part.replaces
    if not entries:
        return None
    by_area, _ = area_factor(job, job.habits)
    things: list[Thing] = []
    drawn = 0.0 * by_area
    for entry in entries:
        if entry.form == "fabric":
            thing, mass = _laminate(job, entry)
            drawn = drawn + mass
        else:
            thing = _thing(job, entry)
            drawn = drawn + thing.drawn(by_area if entry.area is None else None)
        things.append(thing)
    total = sum(thing.mass for thing in things)
    figures = [figure for thing in things for figure in thing.figures]
    hows = {thing.how for thing in things}
    figures += [
        figure
        for how, figure in (
            ("sheet", allow.SHEET),
            ("coat", allow.FINISH),
            ("core", allow.CORE),
            ("weighed", allow.WEIGHED),
            ("stated", allow.STATED),
        )
        if how in hows
    ]
    arms = tuple(entry.arm if entry.arm is not None else job.part.arm for entry in entries)
    return Replaced(tuple(things), arms, interval(drawn, total), drawn, tuple(figures))


def _thing(job: Job, entry: ReplacesEntry) -> Thing:
    if entry.form in ("weighed", "mass", "each", "per_length"):
        return item(entry)
    area = entry.area if entry.area is not None else job.surface.whole.area * (entry.times or 1.0)
    place = Measured(area)
    if entry.form == "sheet":
        return _sheet(job, entry, place)
    if entry.form == "core":
        density = job.library.get("core", entry.core or "").figure("density")
        mass = density.value * (entry.thickness or 0.0) * area
        return Thing(
            entry.name, mass, allow.deviation(allow.CORE), f"core, {entry.core}", "core", place, figures=(density,)
        )
    if entry.form == "covering":
        weight = job.library.get("covering", entry.covering or "").figure("areal_weight")
        return Thing(entry.name, weight.value * area, allow.deviation(allow.CLOTH), f"covering, {entry.covering}",
                     "covering", place, figures=(weight,))  # fmt: skip
    if entry.form == "finish":
        laid = coat(job, entry.finish or "", entry.coats or 1, 1, entry.thickness, place)
        return Thing(entry.name, laid.mass, laid.spread, laid.cause, "coat", place, figures=laid.figures)
    mass = (entry.areal_weight or 0.0) * area
    return Thing(entry.name, mass, allow.deviation(allow.STATED), f"stated, {entry.name}", "stated", place)


def _sheet(job: Job, entry: ReplacesEntry, place: Measured) -> Thing:
    sheet = job.library.get("sheet", entry.sheet or "")
    density = sheet.figure("density")
    tolerance = sheet.optional("thickness_tolerance") or allow.SHEET
    mass = density.value * (entry.thickness or 0.0) * place.area
    figures = (density,) if tolerance is allow.SHEET else (density, tolerance)
    return Thing(entry.name, mass, allow.deviation(tolerance), f"sheet, {entry.sheet}", "sheet", place, figures=figures)


def _laminate(job: Job, entry: ReplacesEntry) -> tuple[Thing, Floats]:
    """An old laminate: so many plies of one cloth, weighed as a part of its own is; and its mass as drawn.

    It is taken as laid over the same surface, so that what a shop lays anew like the old one saves nothing.
    """
    process = settle(job.library.get("process", entry.process or ""), None, job.part.altitude)
    ply = PlyEntry.model_construct(fabric=entry.fabric, count=entry.count or 1)
    part = job.part.model_copy(
        update={"process": process.name, "resin": entry.resin or job.part.resin, "ply": [ply], "stack": None,
                "fabric": None, "finish": [], "extra": [], "trim": None}
    )  # fmt: skip
    old = weigh_layup(replace(job, part=part, habits={}), process)
    area = entry.area if entry.area is not None else job.surface.whole.area * (entry.times or 1.0)
    times = area / job.surface.whole.area
    thing = Thing(
        entry.name,
        old.mass.mean * times,
        0.0,
        f"old laminate, {entry.name}",
        "laminate",
        Measured(area),
        figures=old.figures,
    )
    return thing, old.drawn * times
