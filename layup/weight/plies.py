"""The layup as it cures: each line of the part file with its materials, place and cured figures.

`build` turns the plies of a job into `Layer`s for one process. A layer's figures are per area and linear in the resin
taken up, so the sums of `layup.weight` are exact for the mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from layup.cloth.draped import DrapedPly, draped
from layup.cloth.heights import LEVEL, Risen, risen
from layup.errors import LayupError
from layup.laminate.process import Process, TakeUp
from layup.materials import Material
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.shape.measure import Measured
from layup.sources import Figure


@dataclass(frozen=True, slots=True)
class Layer:
    """One ply or core as it lies in the part.

    Attributes:
        number: From 1, from the mould up.
        name: Of the fabric or core.
        kind: "fabric" or "core".
        form: Of the reinforcement or core.
        angle: Of the warp. [deg]
        zone: Name of its zone, or "patch" for an area of its own.
        place: Measures of its zone; a patch has only an area.
        area: Laid area that stays in the part, overlaps counted. [m^2]
        fibre: Fibre areal weight. [kg/m^2]
        resin: Resin areal weight, nominal; for a core what soaks in. [kg/m^2]
        core: Areal weight of the dry core. [kg/m^2]
        bond: Resin that bonds a core, on the faces that are covered. [kg/m^2]
        thickness: Cured. [m]
        fibre_density: [kg/m^3]
        resin_density: [kg/m^3]
        resin_name: Which resin.
        take_up: How the resin strays; None for a core.
        mixed: Whether its resin is mixed in the shop (a prepreg's is not).
        figures: What its numbers rest on.
        draped: How its cloth lies on the shape, where the part file asks for it; its weight is in `fibre`.
        covers: Openings that it runs over uncut, "openings" for all.
        risen: Its height over the surface that was drawn, and what that does to its area, which is in `area`.
    """

    number: int
    name: str
    kind: str
    form: str
    angle: float
    zone: str
    place: Measured
    area: float
    fibre: float
    resin: float
    core: float
    bond: float
    thickness: float
    fibre_density: float
    resin_density: float
    resin_name: str
    take_up: TakeUp | None
    mixed: bool
    figures: tuple[Figure, ...]
    draped: DrapedPly | None = None
    risen: Risen = LEVEL
    covers: tuple[str, ...] = ()

    @property
    def areal_weight(self) -> float:
        """All of it, per area. [kg/m^2]"""
        return self.fibre + self.resin + self.core + self.bond

    @property
    def mass(self) -> float:
        """All of it. [kg]"""
        return self.areal_weight * self.area

    @property
    def drawn_area(self) -> float:
        """Its area if it lay on the surface that was drawn. [m^2]"""
        return self.area - self.risen.gained

    @property
    def overlap_factor(self) -> float:
        """Laid area over the area of its place, at its own height. [-]"""
        return self.area / (self.place.area + self.risen.gained)


FALLBACK_RESIN = "epoxy, laminating"
"""Resin of a process that has none of its own, when a prepreg part is compared with it."""


def resin_of(job: Job, entry: PlyEntry, fabric: Material | None, process: Process, own_process: bool) -> Material:
    """The resin of one ply: its own, else the part's, else the prepreg's, else the process's.

    A process that is only compared with uses its own resin where it has one: a prepreg can't be made of hand-layup
    resin.
    """
    prepreg = fabric.word("prepreg_resin") if fabric is not None and not process.mixes else None
    if own_process:
        names = (entry.resin, prepreg, job.part.resin, process.own_resin, FALLBACK_RESIN)
    else:
        part_process = job.library.get("process", job.part.process)
        part_mixes = part_process.word("mixed") != "no"
        names = (
            prepreg,
            process.own_resin,
            *((entry.resin, job.part.resin) if part_mixes else ()),
            FALLBACK_RESIN,
        )
    return job.library.get("resin", next(name for name in names if name))


def build(job: Job, process: Process, *, own_process: bool = True) -> tuple[Layer, ...]:
    """All layers of a job in one process, counts written out, from the mould up.

    Args:
        job: The part file, read.
        process: At its pressure.
        own_process: False when the process is only compared with.

    Returns:
        The layers.

    Raises:
        LayupError: A figure is missing from the tables, or fractions leave no room for resin.
    """
    layers: list[Layer] = []
    for entry in job.part.plies():
        make = _core_layer if entry.core is not None else _fabric_layer
        layer = replace(make(job, entry, process, own_process, len(layers) + 1), covers=entry.over)
        for extra in range(entry.count):
            layers.append(_numbered(layer, layer.number + extra))
    return _risen(job, _bonded(layers))


def covered_faces(layers: Sequence[Layer], core: Layer) -> int:
    """How many faces of a core have another layer on them: over the whole surface, or in the core's own zone."""
    there = [y.number for y in layers if y is not core and (y.zone in (WHOLE, core.zone) or core.zone == WHOLE)]
    return any(n < core.number for n in there) + any(n > core.number for n in there)


def _bonded(layers: list[Layer]) -> list[Layer]:
    """The layers with each core's bond resin on the faces that are covered; a bare face takes none."""
    return [
        replace(y, bond=y.bond * covered_faces(layers, y) / 2) if y.kind == "core" and y.bond else y for y in layers
    ]


def _risen(job: Job, layers: list[Layer]) -> tuple[Layer, ...]:
    """The layers with the area they have at their height."""
    high = risen(job, [(y.zone, y.thickness, y.place.area) for y in layers])
    return tuple(
        replace(y, area=y.area + up.gained, risen=up) if up.height is not None or up.either_way else y
        for y, up in zip(layers, high, strict=False)
    )


def _numbered(layer: Layer, number: int) -> Layer:
    return replace(layer, number=number)


def place_of(job: Job, zone: str | None, area: float | None, covers: Sequence[str] = ()) -> tuple[str, Measured]:
    """Name and measures of the place of a ply or finish; `covers` names the openings that it runs over uncut."""
    if area is not None:
        return "patch", Measured(area)
    return zone or WHOLE, job.place(zone, covers)


def fibre_density_of(job: Job, fabric: Material) -> tuple[float, str, tuple[Figure, ...]]:
    """Density of a fabric's fibre, a hybrid's by volume, with the fibre's name and the figures used."""
    name = fabric.word("fibre")
    if name is None:
        raise LayupError(f'fabric "{fabric.name}" does not say its fibre. Add a row: {fabric.name},fibre,E-glass,...')
    density = job.library.get("fibre", name).figure("density")
    second = fabric.word("second_fibre")
    share = fabric.optional("second_share")
    if second is None or share is None:
        return density.value, name, (density,)
    other = job.library.get("fibre", second).figure("density")
    mixed = 1.0 / ((1 - share.value) / density.value + share.value / other.value)
    return mixed, f"{name} and {second}", (density, other, share)


def _fabric_layer(job: Job, entry: PlyEntry, process: Process, own_process: bool, number: int) -> Layer:
    fabric = job.library.get("fabric", entry.fabric or "")
    weight = fabric.figure("areal_weight")
    form = fabric.word("form") or "cloth"
    density, _, fibre_figures = fibre_density_of(job, fabric)
    resin = resin_of(job, entry, fabric, process, own_process)
    resin_density = resin.figure("density")
    bought = fabric.optional("resin_content") if not process.mixes else None
    coupon = own_process and (entry.fibre_volume_fraction is not None or entry.resin_content is not None)
    take_up = process.take_up(
        form,
        density,
        resin_density.value,
        fibre_fraction=entry.fibre_volume_fraction if coupon else None,
        resin_content=entry.resin_content if coupon else None,
        resin_content_figure=None if coupon else bought,
        fabric=fabric.name,
        areal_weight=weight.value,
    )
    ratio = take_up.ratio
    figures = (weight, *fibre_figures, resin_density, *take_up.figures)
    mat_share = fabric.optional("mat_share")
    if mat_share is not None and not coupon and bought is None:
        mat = replace(process, habits={}).take_up(
            "mat", density, resin_density.value, areal_weight=weight.value, backing=True
        )
        shift = take_up.habit.shift if take_up.habit is not None else 0.0  # a habit is of the fabric as a whole
        ratio = (1 - mat_share.value) * take_up.ratio + mat_share.value * mat.ratio * math.exp(shift)
        figures = (*figures, mat_share, *mat.figures)
    zone, place = place_of(job, entry.zone, entry.area, entry.over)
    area = place.area + (entry.overlap or 0.0) * (entry.seam or 0.0)
    lies = draped(job, entry)
    locking = fabric.optional("locking_angle") if lies is not None else None
    figures = (*figures, locking) if locking is not None else figures
    w_f = weight.value * (lies.factor if lies is not None else 1.0)
    # voids are a share of the ply's volume: t = (w_f / rho_f + w_r / rho_r) / (1 - V_v)
    thickness = w_f * (1 / density + ratio / resin_density.value) / (1 - take_up.void_fraction)
    return Layer(
        number, fabric.name, "fabric", form, entry.angle, zone, place, area, w_f, w_f * ratio, 0.0, 0.0, thickness,
        density, resin_density.value, resin.name, take_up, process.mixes, figures, lies,
    )  # fmt: skip


def _core_layer(job: Job, entry: PlyEntry, process: Process, own_process: bool, number: int) -> Layer:
    core = job.library.get("core", entry.core or "")
    density = core.figure("density")
    figures: list[Figure] = [density]
    thickness = entry.thickness
    if thickness is None:
        printed = core.figure("thickness")
        figures.append(printed)
        thickness = printed.value
    resin = resin_of(job, entry, None, process, own_process)
    resin_density = resin.figure("density")
    figures.append(resin_density)
    on_face = process.bond(core)
    bond = 2 * on_face.areal_weight
    figures += on_face.figures
    soak = core.optional("soak")
    soaked = 0.0
    if soak is not None:
        soaked = soak.value * thickness
        figures.append(soak)
    zone, place = place_of(job, entry.zone, entry.area, entry.over)
    return Layer(
        number, core.name, "core", core.word("form") or "core", entry.angle, zone, place, place.area, 0.0, soaked,
        density.value * thickness, bond, thickness, density.value, resin_density.value, resin.name, None,
        process.mixes, tuple(figures),
    )  # fmt: skip
