"""What the part weighs: fibre, resin, core, finish and the rest, with the limits it stays within.

- `weigh_layup` sums the layers, films, finishes and extras of a job in one process.
- The mean of every figure is the nominal one; the interval comes from the drawn factors of `layup.spread`.
- Centre of gravity and inertia take each layer as a sheet on the surface that was drawn; its offset through the
  thickness is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from layup.cloth.heights import risen
from layup.errors import LayupError
from layup.laminate import allowances as allow
from layup.laminate.process import Process
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, ExtraEntry, FinishEntry, ItemEntry
from layup.shape.measure import Measured
from layup.sources import Figure
from layup.spread import DRAWS, Floats, Interval, around_one, interval, skewed_around_one, standard_normal
from layup.weight.plies import Layer, build, place_of

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Thing:
    """A finish, or an item of known mass, on the part or on the old one.

    Attributes:
        name: For a person.
        mass: [kg]
        spread: Standard deviation over mass. [-]
        cause: Name of what makes it stray; things of one cause stray together.
        how: "weighed", "stated", "coat", "sheet", ...: how its mass is known.
        place: Where, as the measures of its zone, or None.
        at: Where, as a point. [m]
        figures: What its mass rests on.
    """

    name: str
    mass: float
    spread: float
    cause: str
    how: str
    place: Measured | None = None
    at: Vector | None = None
    figures: tuple[Figure, ...] = ()

    def drawn(self, area_factor: Floats | None) -> Floats:
        """Its mass as drawn; what lies on the surface strays with the surface's area."""
        values = self.mass * around_one(self.cause, self.spread)
        if self.place is not None and area_factor is not None:
            values = values * area_factor
        return values


@dataclass(frozen=True)
class Weighed:
    """The weight of one job in one process.

    Attributes:
        process: At its pressure.
        layers: From the mould up.
        finishes: Coats and fillers.
        extras: Fasteners, inserts, adhesive.
        mass: [kg]
        drawn: The same as drawn, (DRAWS,). [kg]
        fibre: [kg]
        resin: All resin in the part: in the plies, on the faces, at the cores. [kg]
        film: Of it, on the faces. [kg]
        bond: Of it, at the cores. [kg]
        core: Dry. [kg]
        finish: [kg]
        extra: [kg]
        resin_to_mix: What to have mixed, losses and the trimmed edge counted. [kg]
        trimmed_off: Cured edge and drilled holes that are cut away, their films counted. [kg]
        thickness: Of the laminate over the whole surface, the films on its faces counted. [m]
        fibre_fraction: Fibre volume over the volume of the plies; the mean is the nominal one. [-]
        cg: Centre of gravity; None where the shape is not known. [m]
        inertia: About the centre of gravity; None where the shape is not known. [kg m^2]
        figures: All figures it rests on.
        by_height: Mass the layers and films have more at their height than on the surface that was drawn. [kg]
        either_way: Mass they have more on the bulging side and less on the hollow one, where it is not known which of
            them they lie on; 0 where it is. [kg]
    """

    process: Process
    layers: tuple[Layer, ...]
    finishes: tuple[Thing, ...]
    extras: tuple[Thing, ...]
    mass: Interval
    drawn: Floats = field(repr=False)
    fibre: float
    resin: float
    film: float
    bond: float
    core: float
    finish: float
    extra: float
    resin_to_mix: float
    trimmed_off: float
    thickness: Interval
    fibre_fraction: Interval
    cg: Vector | None
    inertia: tuple[Vector, Vector, Vector] | None
    figures: tuple[Figure, ...] = field(repr=False)
    by_height: float = 0.0
    either_way: float = 0.0

    @property
    def moulded(self) -> float:
        """Mass as it comes off the mould: the laminate with its edge, without finish and extras. [kg]"""
        return self.fibre + self.resin + self.core + self.trimmed_off


def area_factor(job: Job) -> tuple[Floats, tuple[Figure, ...]]:
    """How the real area strays from the measured one, and the figure behind it.

    What the part file says, else our allowance; stations are trusted no better than their two ways of joining agree,
    a photograph no better than it says of itself.
    """
    stated = job.part.surface.area_tolerance
    if stated is not None:
        return around_one("area", stated / allow.Z90), ()
    effects = [abs(f.area_effect or 0.0) for f in job.surface.findings if f.kind in ("stations", "photo")]
    apart = max(effects, default=0.0) / job.surface.whole.area
    return around_one("area", max(apart, allow.SURFACE.value) / allow.Z90), (allow.SURFACE,)


def weigh_layup(job: Job, process: Process, *, own_process: bool = True) -> Weighed:
    """Weigh a job in one process, before it exists.

    Args:
        job: The part file, read.
        process: At its pressure.
        own_process: False when the process is only compared with the part's own.

    Returns:
        The weight with its interval.

    Raises:
        LayupError: A figure is missing from the tables.
    """
    layers = build(job, process, own_process=own_process)
    fabrics = [layer for layer in layers if layer.kind == "fabric"]
    if not fabrics:
        raise LayupError(
            "there is no ply of fabric in the layup. Add a [[ply]] with a fabric, or let `layup choose PART` find one"
        )
    on_faces = [process.film(face, ply.fibre) for face, ply in (("tool", fabrics[0]), ("bag", fabrics[-1]))]
    per_face = sum(face.areal_weight for face in on_faces) / 2
    film_area = max(layer.place.area for layer in fabrics)
    far = risen(job, [(layer.zone, layer.thickness, layer.place.area) for layer in layers])[-1]
    film = 2 * per_face * (film_area + far.gained / 2)
    film_density = fabrics[0].resin_density
    finishes = tuple(_finish(job, entry) for entry in job.part.finish)
    extras = tuple(_extra(entry) for entry in job.part.extra)
    by_area, area_figures = area_factor(job)

    by_film = around_one(f"film, {process.name}", _film_deviation(fabrics))
    drawn = film * by_film * by_area
    for layer in layers:
        drawn = drawn + _drawn_layer(layer, process.name) * by_area
    for thing in (*finishes, *extras):
        drawn = drawn + thing.drawn(by_area)
    doubt = sum(y.areal_weight * y.risen.either_way for y in layers) + per_face * far.either_way
    by_height = sum(y.areal_weight * y.risen.gained for y in layers) + per_face * far.gained
    if doubt:
        drawn = drawn + doubt * np.sign(standard_normal("side the layers lie on"))

    fibre = sum(layer.fibre * layer.area for layer in layers)
    bond = sum(layer.bond * layer.area for layer in layers)
    resin = sum(layer.resin * layer.area for layer in layers) + bond + film
    core = sum(layer.core * layer.area for layer in layers)
    finish = sum(thing.mass for thing in finishes)
    extra = sum(thing.mass for thing in extras)
    mean = fibre + resin + core + finish + extra
    trim_layers, trimmed_off, trim_resin = _trim(job, layers, 2 * per_face)
    loss = process.figure("loss")
    to_bag = process.figure("loss_to_bag") if process.bagged else None
    resin_to_mix = 0.0
    if process.mixes:
        laid = max(layer.area for layer in fabrics) + trim_layers
        resin_to_mix = (resin + trim_resin) * (1 + loss.value) + (to_bag.value * laid if to_bag else 0.0)
    cg, inertia = _balance(job, layers, film, film_area, (*finishes, *extras))
    films = 2 * per_face / film_density
    figures = (
        *(figure for layer in layers for figure in layer.figures),
        *on_faces[0].figures,
        *((loss,) if process.mixes else ()),
        *((to_bag,) if to_bag and process.mixes else ()),
        *(figure for thing in (*finishes, *extras) for figure in thing.figures),
        *area_figures,
        *_allowances_used(layers, finishes, extras),
    )
    return Weighed(
        process, layers, finishes, extras, interval(drawn, mean), drawn, fibre, resin, film, bond, core, finish, extra,
        resin_to_mix, trimmed_off, _thickness(layers, process.name, films, by_film),
        _fibre_fraction(fabrics, process.name), cg, inertia, figures, by_height, doubt,
    )  # fmt: skip


def stack_thickness(layers: Iterable[Layer], zone: str, films: float) -> float:
    """Thickness of the laminate in a zone: what lies over the whole surface, what lies in the zone, and the films.

    Where nothing lies over the whole surface, "whole" means the thickest zone.
    """
    listed = list(layers)
    base = sum(layer.thickness for layer in listed if layer.zone == WHOLE)
    if zone != WHOLE:
        return base + sum(layer.thickness for layer in listed if layer.zone == zone) + films
    if base > 0:
        return base + films
    zones = {layer.zone for layer in listed}
    return max(sum(layer.thickness for layer in listed if layer.zone == z) for z in zones) + films


def _thickness(layers: tuple[Layer, ...], process: str, films: float, by_film: Floats) -> Interval:
    """Thickness over the whole surface with its interval; a core's thickness is taken as certain."""
    drawn = films * by_film
    whole = [layer for layer in layers if layer.zone == WHOLE]
    if not whole:
        thickest = max({y.zone for y in layers}, key=lambda z: sum(y.thickness for y in layers if y.zone == z))
        whole = [layer for layer in layers if layer.zone == thickest]
    for layer in whole:
        drawn = drawn + _drawn_thickness(layer, process)
    return interval(drawn, stack_thickness(layers, WHOLE, films))


def _fibre_fraction(fabrics: list[Layer], process: str) -> Interval:
    """Fibre volume over the volume of the plies, with its interval."""
    fibre = sum(layer.fibre * layer.area / layer.fibre_density for layer in fabrics)
    nominal = sum(layer.thickness * layer.area for layer in fabrics)
    drawn_fibre: Floats | float = 0.0
    volume: Floats | float = 0.0
    for layer in fabrics:
        cloth = around_one(f"cloth, {layer.name}", _cloth_deviation(layer))
        drawn_fibre = drawn_fibre + layer.fibre * layer.area / layer.fibre_density * cloth
        volume = volume + _drawn_thickness(layer, process) * layer.area
    return interval(drawn_fibre / volume, fibre / nominal)


def _drawn_thickness(layer: Layer, process: str) -> Floats:
    """Thickness of one layer as drawn: w_f / rho_f + w_r / rho_r, over 1 - V_v."""
    if layer.take_up is None:
        return np.full(DRAWS, layer.thickness)
    cloth = around_one(f"cloth, {layer.name}", _cloth_deviation(layer))
    resin = layer.resin / layer.resin_density * _hand(layer, process)
    return cloth * (layer.fibre / layer.fibre_density + resin) / (1 - layer.take_up.void_fraction)


def _drawn_layer(layer: Layer, process: str) -> Floats:
    """Mass of one layer as drawn, but for the area."""
    if layer.take_up is None:
        core = layer.core * around_one(f"core, {layer.name}", allow.deviation(allow.CORE))
        wet = (layer.bond + layer.resin) * around_one("bond", allow.deviation(allow.BOND))
        return (core + wet) * layer.area
    cloth = around_one(f"cloth, {layer.name}", _cloth_deviation(layer))
    return layer.area * cloth * (layer.fibre + layer.resin * _hand(layer, process))


def _hand(layer: Layer, process: str) -> Floats:
    """How the resin taken up strays: the shop's hand, the part's luck, the cloth's answer to pressure; mean 1."""
    take_up = layer.take_up
    if take_up is None:
        return np.ones(DRAWS)
    hand: Floats = (
        skewed_around_one(f"shop's hand, {process}", take_up.shop_spread)
        * skewed_around_one(f"part's luck, {process}", take_up.part_spread)
        * skewed_around_one("answer to pressure", take_up.pressure_spread)
    )
    return np.maximum(hand / float(np.mean(hand)), take_up.least)


def _film_deviation(fabrics: list[Layer]) -> float:
    """Spread of the film on the faces; part of what a shop keeps from part to part is in its habit, if known."""
    known = [y.take_up.habit for y in fabrics if y.take_up is not None and y.take_up.learns]
    if known and all(habit is not None and habit.cloth_known for habit in known):
        return allow.deviation(allow.FILM) * math.sqrt(allow.FILM_LEFT)
    return allow.deviation(allow.FILM)


def _cloth_deviation(layer: Layer) -> float:
    if layer.take_up is not None and layer.take_up.habit is not None and layer.take_up.habit.cloth_known:
        return 0.0  # what this roll weighs more or less is in the shop's habit with it
    printed = next((f for f in layer.figures if f.property == "areal_weight_tolerance"), None)
    return allow.deviation(printed or allow.CLOTH)


def _allowances_used(
    layers: Iterable[Layer], finishes: tuple[Thing, ...], extras: tuple[Thing, ...]
) -> tuple[Figure, ...]:
    listed = list(layers)
    used = [allow.CLOTH, allow.FILM]
    if any(layer.kind == "core" for layer in listed):
        used += [allow.CORE, allow.BOND]
    if finishes:
        used.append(allow.FINISH)
    if any(thing.how == "weighed" for thing in extras):
        used.append(allow.WEIGHED)
    if any(thing.how == "stated" for thing in extras):
        used.append(allow.STATED)
    return tuple(used)


def coat(job: Job, finish: str, coats: int, sides: int, thickness: float | None, place: Measured) -> Thing:
    """A finish of the library on an area, on the new part or on the old."""
    material = job.library.get("finish", finish)
    printed = material.figure("areal_weight")
    figures: tuple[Figure, ...] = (printed,)
    areal = printed.value
    if thickness is not None:
        per = material.figure("thickness")
        areal *= thickness / per.value
        figures = (printed, per)
    return _coat(material.name, areal, coats, sides, place, figures)


def _coat(name: str, areal: float, coats: int, sides: int, place: Measured, figures: tuple[Figure, ...]) -> Thing:
    words = name + (f", {coats} coats" if coats > 1 else "") + (", both sides" if sides > 1 else "")
    mass = areal * coats * sides * place.area
    spread = allow.deviation(allow.FINISH)
    return Thing(words, mass, spread, f"finish, {name}", "coat", place=place, figures=figures)


def _finish(job: Job, entry: FinishEntry) -> Thing:
    _, place = place_of(job, entry.zone, None)
    if entry.areal_weight is not None:
        name = entry.name or entry.finish or "finish"
        return _coat(name, entry.areal_weight, entry.coats, entry.sides, place, ())
    return coat(job, entry.finish or "", entry.coats, entry.sides, entry.thickness, place)


def item(entry: ItemEntry, at: Vector | None = None) -> Thing:
    """An item whose mass is weighed, stated, counted or by the length.

    Raises:
        LayupError: The entry gives no mass; the model of the part file rules it out.
    """
    if entry.weighed is not None:
        return Thing(
            entry.name,
            entry.weighed,
            allow.deviation(allow.WEIGHED),
            f"scale, {entry.name}",
            "weighed",
            at=at,
        )
    if entry.mass is not None:
        mass = entry.mass
    elif entry.each is not None:
        mass = entry.each * (entry.count or 1)
    elif entry.per_length is not None and entry.length is not None:
        mass = entry.per_length * entry.length
    else:
        raise LayupError(f"{entry.name}: no mass is given")
    return Thing(entry.name, mass, allow.deviation(allow.STATED), f"stated, {entry.name}", "stated", at=at)


def _extra(entry: ExtraEntry) -> Thing:
    return item(entry, entry.at)


def _trim(job: Job, layers: tuple[Layer, ...], films: float) -> tuple[float, float, float]:
    """What is cut away after the cure: area laid beyond the largest layer [m^2], mass, and resin in it [kg].

    `films` on both faces. [kg/m^2]
    """
    whole = [layer for layer in layers if layer.zone == WHOLE]
    if not whole:
        return 0.0, 0.0, 0.0
    more = [beyond(job, layer.place) for layer in whole]
    widest = max(whole, key=lambda layer: layer.place.area)
    film = films * beyond(job, widest.place)
    mass = film + sum(m * layer.areal_weight for m, layer in zip(more, whole, strict=True))
    resin = film + sum(m * (layer.resin + layer.bond) for m, layer in zip(more, whole, strict=True))
    return beyond(job, widest.place), mass, resin


def beyond(job: Job, place: Measured) -> float:
    """Area of a ply over the whole surface that is cut away after the cure.

    The strip beyond the trim line, and the holes of `[[holes]]`: cloth runs across them and they are drilled when the
    part is hard. An opening that the surface's file has is taken to be laid up to its edge, and trimmed like one.

    Args:
        job: The part file, read.
        place: Of the ply; one that covers the holes has nothing drilled out of it.

    Returns:
        The area. [m^2]
    """
    strip = (job.part.trim or 0.0) * (edge_length(job) or 0.0)
    if not job.holes:
        return strip
    drilled = sum(one.area for one in job.holes.values())
    return strip + max(0.0, min(drilled, job.surface.whole.area + drilled - place.area))


def edge_length(job: Job) -> float | None:
    """Length of the edge that is trimmed: what the file says, else what the mesh measures less drilled holes. [m]"""
    stated = job.part.surface.edge
    if stated is not None or job.surface.perimeter is None:
        return stated
    return job.surface.perimeter - sum(one.rim for one in job.holes.values())


def _balance(
    job: Job, layers: tuple[Layer, ...], film: float, film_area: float, things: tuple[Thing, ...]
) -> tuple[Vector | None, tuple[Vector, Vector, Vector] | None]:
    """Centre of gravity and inertia about it, from sheets and points."""
    whole = job.surface.whole
    if whole.centroid is None:
        return None, None
    sheets = [(layer.mass, layer.place) for layer in layers]
    sheets.append((film, whole))
    sheets += [(thing.mass, thing.place) for thing in things if thing.place is not None]
    points = [(thing.mass, thing.at or whole.centroid) for thing in things if thing.place is None]
    mass = 0.0
    first = np.zeros(3)
    second = np.zeros((3, 3))
    for weight, place in sheets:
        known = place if place.centroid is not None else whole
        centre = np.array(known.centroid)
        mass += weight
        first += weight * centre
        second += weight * np.outer(centre, centre)
        if known.second_moment is not None and known.area > 0:
            second += weight / known.area * np.array(known.second_moment)
    for weight, at in points:
        mass += weight
        first += weight * np.array(at)
        second += weight * np.outer(at, at)
    cg = first / mass
    about = second - mass * np.outer(cg, cg)
    inertia = np.trace(about) * np.eye(3) - about
    x, y, z = (float(v) for v in cg)
    rows = [(float(r[0]), float(r[1]), float(r[2])) for r in inertia]
    return (x, y, z), (rows[0], rows[1], rows[2])
