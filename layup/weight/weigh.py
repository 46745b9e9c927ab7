"""What the part weighs: fibre, resin, core, finish and the rest, with the limits it stays within.

- `weigh_layup` sums the layers, films, finishes and extras of a job in one process, region by region.
- The mean of every figure is the nominal one; the interval comes from the drawn factors of `layup.spread`.
- Centre of gravity and inertia take each layer as a sheet on the surface that was drawn; its offset through the
  thickness is left out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from layup.errors import LayupError
from layup.laminate import allowances as allow
from layup.laminate.process import FaceResin, Habits, Process, area_key
from layup.partfile.job import Job
from layup.partfile.model import ExtraEntry, FinishEntry, ItemEntry
from layup.partfile.regions import Regions
from layup.shape.measure import Measured
from layup.sources import Figure
from layup.spread import DRAWS, Floats, Interval, along, around_one, interval, standard_normal
from layup.weight.plies import CoreLayer, FabricLayer, Laid, Layer, lay, place_of

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
        in_mould: Share of it that lies in the mould before the first ply: all of a gel coat, half of one on both sides.
    """

    name: str
    mass: float
    spread: float
    cause: str
    how: str
    place: Measured | None = None
    at: Vector | None = None
    figures: tuple[Figure, ...] = ()
    in_mould: float = 0.0

    def drawn(self, area_factor: Floats | None) -> Floats:
        """Its mass as drawn; what lies on the surface strays with the surface's area."""
        values = self.mass * around_one(self.cause, self.spread)
        if self.place is not None and area_factor is not None:
            values = values * area_factor
        return values


@dataclass(frozen=True, eq=False)
class Films:
    """The resin films on the faces of a laminate, region by region.

    Attributes:
        tool: On the face against the mould, (R,). [kg/m^2]
        bag: On the other, (R,). [kg/m^2]
        thickness: Of both, (R,). [m]
        mass: On both faces, the outer one at its height, (R,). [kg]
        cut_away: Of the films beyond each region, cut away later, (R,). [kg]
        either_way: More or less where the side is not known. [kg]
        by_height: More by the height of the outer face. [kg]
        on_face: One of them as the process gives it, with how it strays; None where every face is a bare core.
        figures: What they rest on.
    """

    tool: Floats
    bag: Floats
    thickness: Floats
    mass: Floats
    cut_away: Floats
    either_way: float
    by_height: float
    on_face: FaceResin | None
    figures: tuple[Figure, ...]

    def drawn(self, name: str) -> Floats:
        """How they stray, mean 1; `name` is the cause."""
        return np.ones(DRAWS) if self.on_face is None else self.on_face.drawn(name)


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """The weight of one job in one process.

    Attributes:
        process: At its pressure.
        layers: From the mould up.
        laid: The same on the part's regions.
        films: On the faces, by region.
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
        resin_to_mix: What to have mixed, losses and what is cut away counted. [kg]
        to_bag: Of it, what stays in peel ply, breather and bag; 0 where there is none, or nothing is mixed. [kg]
        covered: Area that a mould and a bag see laminate on, what is cut away counted. [m^2]
        trimmed_off: Cured edge and openings that are cut away, their films counted. [kg]
        gel_coat: Of `finish`, what lies in the mould first. [kg]
        gel_coat_away: Of it, beside the part on what is cut away. [kg]
        thickness: Of the laminate where most of the part is alike, the films on its faces counted. [m]
        fibre_fraction: Fibre volume over the volume of the plies; the mean is the nominal one. [-]
        cg: Centre of gravity; None where the shape is not known. [m]
        inertia: About the centre of gravity; None where the shape is not known. [kg m^2]
        figures: All figures it rests on.
        by_height: Mass the layers and films have more at their height than on the surface that was drawn. [kg]
        either_way: Mass they have more on the bulging side and less on the hollow one, where it is not known which of
            them they lie on; 0 where it is. [kg]
    """

    process: Process
    layers: tuple[FabricLayer | CoreLayer, ...]
    laid: Laid = field(repr=False)
    films: Films = field(repr=False)
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
    to_bag: float
    covered: float
    trimmed_off: float
    gel_coat: float
    gel_coat_away: float
    thickness: Interval
    fibre_fraction: Interval
    cg: Vector | None
    inertia: tuple[Vector, Vector, Vector] | None
    figures: tuple[Figure, ...] = field(repr=False)
    by_height: float = 0.0
    either_way: float = 0.0

    @property
    def shares(self) -> tuple[tuple[str, float], ...]:
        """What the weight is made of; the shares add up to it. [kg]"""
        return (
            ("fibre", self.fibre),
            ("resin in the plies", self.resin - self.film - self.bond),
            ("resin on the faces", self.film),
            ("resin at the core", self.bond),
            ("core", self.core),
            ("finish", self.finish),
            ("extras", self.extra),
        )

    @property
    def moulded(self) -> float:
        """Mass as it comes off the mould: the laminate and its gel coat with what is cut away later. [kg]"""
        return self.fibre + self.resin + self.core + self.trimmed_off + self.gel_coat + self.gel_coat_away

    @property
    def regions(self) -> Regions:
        """The part's regions."""
        return self.laid.regions

    @property
    def by_region(self) -> Floats:
        """Mass of the laminate on each region, films counted, (R,). [kg]"""
        weight = np.array([y.fibre + y.resin + y.core for y in self.layers])
        mass: Floats = ((weight[:, None] + self.laid.bond) * self.laid.area).sum(axis=0) + self.films.mass
        return mass

    @property
    def thickness_by_region(self) -> Floats:
        """Of the laminate on each region, films counted, (R,). [m]"""
        thick: Floats = np.array([y.thickness for y in self.layers]) @ self.laid.on + self.films.thickness
        return thick

    @property
    def edge_areal(self) -> float:
        """Mean areal weight of what lies along the free edge, films left out; 0 where there is no edge. [kg/m^2]"""
        weight = np.array([y.fibre + y.resin + y.core for y in self.layers])
        areal = ((weight[:, None] + self.laid.bond) * self.laid.on).sum(axis=0)
        edge = float(self.regions.edge.sum())
        return float(areal @ self.regions.edge) / edge if edge > 0.0 else 0.0


def area_factor(job: Job, habits: Habits) -> tuple[Floats, tuple[Figure, ...]]:
    """How the real area strays from the measured one, and the figure behind it.

    What the part file says, else our allowance; stations are trusted no better than their two ways of joining agree,
    a photograph no better than it says of itself, a mesh in doubt no better than its verdict. Of a part that was
    weighed before, it strays along with what the shop learnt from that weight.
    """
    stated = job.part.surface.area_tolerance
    figures: tuple[Figure, ...] = ()
    if stated is None:
        effects = [abs(f.area_effect or 0.0) for f in job.surface.findings if f.kind in ("stations", "photo", "doubt")]
        stated = max(max(effects, default=0.0) / job.surface.whole.area, allow.SURFACE.value)
        figures = (allow.SURFACE,)
    habit = habits.get(area_key(job.part.title, job.surface.whole.area))
    if habit is None:
        return around_one("area", stated / allow.Z90), figures
    strays = along(habit.loads) + habit.open * standard_normal("area")
    return np.maximum(1.0 + stated / allow.Z90 * strays, 0.0), figures


def weigh_layup(job: Job, process: Process, *, own_process: bool = True) -> Weighed:
    """Weigh a job in one process, before it exists.

    Args:
        job: The part file, read.
        process: At its pressure.
        own_process: False when the process is only compared with the part's own.

    Raises:
        LayupError: A figure is missing from the tables.
    """
    laid = lay(job, process, own_process=own_process)
    layers = laid.layers
    fabrics = [layer for layer in layers if isinstance(layer, FabricLayer)]
    cores = [layer for layer in layers if isinstance(layer, CoreLayer)]
    if not fabrics:
        raise LayupError(
            "there is no ply of fabric in the layup. Add a [[ply]] with a fabric, or let `layup choose PART` find one"
        )
    films = _films(laid, process)
    finishes = tuple(_finish(job, entry) for entry in job.part.finish)
    extras = tuple(_extra(job, entry) for entry in job.part.extra)
    by_area, area_figures = area_factor(job, process.habits)

    film = float(films.mass.sum())
    by_film = films.drawn(f"film, {process.name}")
    drawn = film * by_film * by_area + (_drawn_fabrics(fabrics, process.name) + _drawn_cores(cores)) * by_area
    for thing in (*finishes, *extras):
        drawn = drawn + thing.drawn(by_area)
    doubt = sum(y.areal_weight * y.risen.either_way for y in layers) + films.either_way
    by_height = sum(y.areal_weight * y.risen.gained for y in layers) + films.by_height
    if doubt:
        drawn = drawn + doubt * np.sign(standard_normal("side the layers lie on"))

    fibre = sum(layer.fibre * layer.area for layer in layers)
    bond = float((laid.bond * laid.area).sum())
    resin = sum(layer.resin * layer.area for layer in layers) + bond + film
    core = sum(layer.core * layer.area for layer in layers)
    finish = sum(thing.mass for thing in finishes)
    extra = sum(thing.mass for thing in extras)
    away_resin = sum(layer.resin * layer.cut_away for layer in layers) + float((laid.bond * laid.cut_away).sum())
    away_resin += float(films.cut_away.sum())
    trimmed_off = sum((layer.fibre + layer.core) * layer.cut_away for layer in layers) + away_resin
    covered, away = _covered(laid)
    gel_coat = sum(thing.mass * thing.in_mould for thing in finishes)
    loss = process.figure("loss")
    bag = process.figure("loss_to_bag") if process.bagged and process.mixes else None
    to_bag = bag.value * covered if bag else 0.0
    resin_to_mix = (resin + away_resin) * (1 + loss.value) + to_bag if process.mixes else 0.0
    things = (*finishes, *extras)
    cg, inertia = _balance(job, laid, films, things)
    figures = (
        *(figure for layer in layers for figure in layer.figures),
        *films.figures,
        *((loss,) if process.mixes else ()),
        *((bag,) if bag else ()),
        *(figure for thing in things for figure in thing.figures),
        *area_figures,
        *_allowances_used(layers, finishes, extras),
    )
    return Weighed(
        process=process, layers=layers, laid=laid, films=films, finishes=finishes, extras=extras,
        mass=interval(drawn, fibre + resin + core + finish + extra), drawn=drawn, fibre=fibre, resin=resin, film=film,
        bond=bond, core=core, finish=finish, extra=extra, resin_to_mix=resin_to_mix, to_bag=to_bag, covered=covered,
        trimmed_off=trimmed_off, gel_coat=gel_coat, gel_coat_away=gel_coat * away / max(covered - away, 1e-9),
        thickness=_thickness(laid, films, process.name, by_film),
        fibre_fraction=_fibre_fraction(fabrics, process.name), cg=cg, inertia=inertia, figures=figures,
        by_height=by_height, either_way=doubt,
    )  # fmt: skip


def _films(laid: Laid, process: Process) -> Films:
    """The film on every face of every region that ends in a fabric; a bare core has none."""
    regions, count = laid.regions, len(laid.regions)
    on: dict[str, Floats] = {}
    thickness = np.zeros(count)
    figures: dict[Figure, None] = {}
    on_face: FaceResin | None = None
    for face, outermost in (("tool", laid.first), ("bag", laid.last)):
        on[face] = np.zeros(count)
        known: dict[tuple[str, float], FaceResin] = {}
        for number in np.unique(outermost[outermost >= 0]).tolist():
            layer = laid.layers[number]
            if not isinstance(layer, FabricLayer):
                continue
            key = (layer.name, layer.fibre)
            if key not in known:
                known[key] = process.film(face, layer.fibre)
            mine = outermost == number
            on[face][mine] = known[key].areal_weight
            thickness[mine] += known[key].areal_weight / layer.resin_density
            figures |= dict.fromkeys(known[key].figures)
            on_face = known[key]
    outer = on["bag"] if regions.tool else on["tool"]
    mass = (on["tool"] + on["bag"]) * regions.area + outer * laid.far
    fabric = np.array([isinstance(layer, FabricLayer) for layer in laid.layers])
    away = (on["tool"] + on["bag"]) * laid.cut_away[fabric].max(axis=0, initial=0.0)
    return Films(
        tool=on["tool"],
        bag=on["bag"],
        thickness=thickness,
        mass=mass,
        cut_away=away,
        either_way=float(outer @ laid.far_either_way),
        by_height=float(outer @ laid.far),
        on_face=on_face,
        figures=tuple(figures),
    )


def _covered(laid: Laid) -> tuple[float, float]:
    """Area of the regions that a fabric lies on, what is cut away beside them counted; and that alone. [m^2]"""
    fabric = np.array([isinstance(layer, FabricLayer) for layer in laid.layers])
    there = laid.on[fabric].any(axis=0)
    away = float(laid.cut_away[fabric].max(axis=0, initial=0.0).sum())
    return float(laid.regions.area[there].sum()) + away, away


def alike(laid: Laid, films: Films) -> int:
    """Number of a region of the thickness that most of the part has."""
    thick = np.array([y.thickness for y in laid.layers]) @ laid.on + films.thickness
    there = laid.on.any(axis=0)
    values, back = np.unique(np.round(thick[there], 9), return_inverse=True)
    most = int(np.argmax(np.bincount(back, laid.regions.area[there], len(values))))
    rows = np.flatnonzero(there)[back == most]
    return int(rows[np.argmax(laid.regions.area[rows])])


def _thickness(laid: Laid, films: Films, process: str, by_film: Floats) -> Interval:
    """Thickness where most of the part is alike, with its interval; a core's thickness is taken as certain."""
    region = alike(laid, films)
    drawn = films.thickness[region] * by_film
    mean = float(films.thickness[region])
    times: dict[int, int] = {}
    layers = {}
    for layer in (layer for layer, there in zip(laid.layers, laid.on[:, region], strict=True) if there):
        alike_ = id(layer.take_up) if layer.take_up is not None else -layer.number
        times[alike_] = times.get(alike_, 0) + 1
        layers[alike_] = layer
        mean += layer.thickness
    for key, count in times.items():
        drawn = drawn + count * _drawn_thickness(layers[key], process)
    return interval(drawn, mean)


def _kinds(fabrics: Iterable[FabricLayer]) -> list[tuple[FabricLayer, float, float]]:
    """Fabrics that stray alike, one of each kind, with the fibre and resin of all of it. [kg]"""
    found: dict[tuple[object, ...], tuple[FabricLayer, list[float], list[float]]] = {}
    for layer in fabrics:
        up = layer.take_up
        key = (layer.name, layer.fibre_density, layer.resin_density, up.void_fraction, up.shop_spread, up.part_spread,
               up.pressure_spread, cloth_deviation(layer))  # fmt: skip
        _, fibre, resin = found.setdefault(key, (layer, [], []))
        fibre.append(layer.fibre * layer.area)
        resin.append(layer.resin * layer.area)
    return [(layer, math.fsum(fibre), math.fsum(resin)) for layer, fibre, resin in found.values()]


def _drawn_fabrics(fabrics: list[FabricLayer], process: str) -> Floats:
    """Mass of all plies of fabric as drawn, but for the area. [kg]"""
    drawn: Floats = np.zeros(DRAWS)
    for layer, fibre, resin in _kinds(fabrics):
        drawn = drawn + cloth_factor(layer) * (fibre + resin * _hand(layer, process))
    return drawn


def _drawn_cores(cores: list[CoreLayer]) -> Floats:
    """Mass of all cores with their resin as drawn, but for the area. [kg]"""
    drawn: Floats = np.zeros(DRAWS)
    for layer in cores:
        wet = (layer.bond + layer.resin) * layer.on_face.drawn("bond")
        drawn = drawn + (layer.core * core_factor(layer) + wet) * layer.area
    return drawn


def _fibre_fraction(fabrics: list[FabricLayer], process: str) -> Interval:
    """Fibre volume over the volume of the plies, with its interval."""
    nominal = sum(layer.thickness * layer.area for layer in fabrics)
    solid = sum(layer.fibre * layer.area / layer.fibre_density for layer in fabrics)
    drawn_fibre: Floats = np.zeros(DRAWS)
    volume: Floats = np.zeros(DRAWS)
    for layer, fibre, resin in _kinds(fabrics):
        cloth = cloth_factor(layer)
        wet = resin / layer.resin_density * _hand(layer, process)
        drawn_fibre = drawn_fibre + fibre / layer.fibre_density * cloth
        volume = volume + cloth * (fibre / layer.fibre_density + wet) / (1 - layer.take_up.void_fraction)
    return interval(drawn_fibre / volume, solid / nominal)


def _drawn_thickness(layer: Layer, process: str) -> Floats:
    """Thickness of one layer as drawn: w_f / rho_f + w_r / rho_r, over 1 - V_v."""
    if not isinstance(layer, FabricLayer):
        return np.full(DRAWS, layer.thickness)
    resin = layer.resin / layer.resin_density * _hand(layer, process)
    return cloth_factor(layer) * (layer.fibre / layer.fibre_density + resin) / (1 - layer.take_up.void_fraction)


def cloth_factor(layer: Layer) -> Floats:
    """How the areal weight of a cloth strays, mean 1."""
    return around_one(f"cloth, {layer.name}", cloth_deviation(layer))


def core_factor(layer: Layer) -> Floats:
    """How the density of a core strays, mean 1."""
    known = isinstance(layer, CoreLayer) and layer.on_face.habit is not None  # what its maker keeps is in the habit
    share = 1 - allow.CORE_OF_SHOP if known else 1.0
    return around_one(f"core, {layer.name}", math.sqrt(share) * allow.deviation(allow.CORE))


def _hand(layer: Layer, process: str) -> Floats:
    """How the resin taken up strays: the shop's hand, the part's luck, the cloth's answer to pressure; mean 1."""
    return np.ones(DRAWS) if layer.take_up is None else layer.take_up.drawn(process, layer.name)


def cloth_deviation(layer: Layer) -> float:
    """Tolerance of a cloth's areal weight as a standard deviation. [-]"""
    printed = next((f for f in layer.figures if f.property == "areal_weight_tolerance"), None)
    deviation = allow.deviation(printed or allow.CLOTH)
    if layer.take_up is not None and layer.take_up.habit is not None and layer.take_up.habit.cloth_known:
        return deviation * math.sqrt(1 - allow.CLOTH_OF_SHOP)  # the rest is in the shop's habit with it
    return deviation


def _allowances_used(
    layers: Iterable[Layer], finishes: tuple[Thing, ...], extras: tuple[Thing, ...]
) -> tuple[Figure, ...]:
    listed = list(layers)
    used = [allow.CLOTH, allow.FILM]
    if any(layer.kind == "core" for layer in listed):
        used += [allow.CORE, allow.BOND]
    if finishes or any(thing.how == "filler" for thing in extras):
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


_GEL_COAT = re.compile(r"\bgel[ -]?coat", re.IGNORECASE)
"""What is sprayed or brushed into the mould and comes off it with the part; common practice, no source."""


def _coat(name: str, areal: float, coats: int, sides: int, place: Measured, figures: tuple[Figure, ...]) -> Thing:
    words = name + (f", {coats} coats" if coats > 1 else "") + (", both sides" if sides > 1 else "")
    mass = areal * coats * sides * place.area
    spread = allow.deviation(allow.FINISH)
    first = 1.0 / sides if _GEL_COAT.search(name) else 0.0
    return Thing(words, mass, spread, f"finish, {name}", "coat", place=place, figures=figures, in_mould=first)


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


def _extra(job: Job, entry: ExtraEntry) -> Thing:
    if entry.filler is None or entry.length is None:
        return item(entry, entry.at)
    filler = job.library.get("finish", entry.filler)
    density = filler.figure("density")
    if entry.radius is not None:  # between two walls at a right angle and the arc that touches both
        section = (1 - math.pi / 4) * entry.radius**2
    else:
        section = (entry.depth or 0.0) * (entry.thickness or 0.0)
    return Thing(
        name=entry.name,
        mass=section * entry.length * density.value,
        spread=allow.deviation(allow.FINISH),
        cause=f"finish, {filler.name}",
        how="filler",
        at=entry.at,
        figures=(density,),
    )


def edge_length(job: Job) -> float | None:
    """Length of the edge that is trimmed: what the file says, else what the mesh measures less drilled holes. [m]"""
    stated = job.part.surface.edge
    if stated is not None or job.surface.perimeter is None:
        return stated
    return job.surface.perimeter - sum(one.rim for one in job.holes.values())


def _balance(
    job: Job, laid: Laid, films: Films, things: tuple[Thing, ...]
) -> tuple[Vector | None, tuple[Vector, Vector, Vector] | None]:
    """Centre of gravity and inertia about it, from sheets and points."""
    whole, regions = job.surface.whole, laid.regions
    if whole.centroid is None or regions.centroid is None or regions.second is None:
        return None, None
    weight = np.array([y.fibre + y.resin + y.core for y in laid.layers])
    sheet = ((weight[:, None] + laid.bond) * laid.area).sum(axis=0) + films.mass
    per = np.divide(sheet, regions.area, out=np.zeros_like(sheet), where=regions.area > 0.0)
    mass = float(sheet.sum())
    first = sheet @ regions.centroid
    second = np.einsum("r,ri,rj->ij", sheet, regions.centroid, regions.centroid)
    second += np.einsum("r,rij->ij", per, regions.second)
    points = [(thing.mass, thing.at or whole.centroid) for thing in things if thing.place is None]
    for amount, place in ((thing.mass, thing.place) for thing in things if thing.place is not None):
        known = place if place.centroid is not None else whole
        centre = np.array(known.centroid)
        mass += amount
        first = first + amount * centre
        second += amount * np.outer(centre, centre)
        if known.second_moment is not None and known.area > 0:
            second += amount / known.area * np.array(known.second_moment)
    for amount, at in points:
        mass += amount
        first = first + amount * np.array(at)
        second += amount * np.outer(at, at)
    cg = first / mass
    about = second - mass * np.outer(cg, cg)
    inertia = np.trace(about) * np.eye(3) - about
    x, y, z = (float(v) for v in cg)
    rows = [(float(r[0]), float(r[1]), float(r[2])) for r in inertia]
    return (x, y, z), (rows[0], rows[1], rows[2])
