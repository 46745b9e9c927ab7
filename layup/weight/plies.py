"""The layup as it cures: each line of the part file with its materials, its place and its cured figures.

- What does one layer weigh, of this material in this process?      `cure`
- All layers of a part, where they lie and how large they are there  `lay`

A layer's figures are per area and linear in the resin taken up, so the sums of `layup.weight` are exact for the mean.
What depends on its neighbours is told by region: a core takes bond resin on a face where a layer lies on it, and a film
stands on a face of the laminate where a fabric is its last layer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layup.cloth.cores import bevel_of
from layup.cloth.draped import DrapedPly, draped
from layup.cloth.laps import lap_of
from layup.errors import LayupError
from layup.laminate.process import FaceResin, Process, TakeUp
from layup.materials import Material
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.partfile.regions import LEVEL, Regions, Risen, rise
from layup.shape.measure import Measured
from layup.sources import Figure
from layup.weight.regions import key_of, regions_of

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


NOWHERE = Measured(0.0)
"""The place of a layer that has none yet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Layer:
    """One ply or core as it lies in the part; a `FabricLayer` or a `CoreLayer`.

    Attributes:
        number: From 1, from the mould up.
        name: Of the fabric or core.
        form: Of the reinforcement or core.
        angle: Of the warp. [deg]
        zone: Name of its zone, or "patch" for an area of its own.
        place: Measures of its place; a patch has only an area.
        area: Laid area that stays in the part, overlaps and height counted. [m^2]
        cut_away: Area laid beyond it: the strip beyond the trim line, and openings that it runs across. [m^2]
        thickness: Cured. [m]
        resin: Resin areal weight, nominal; for a core what soaks in. [kg/m^2]
        resin_density: [kg/m^3]
        resin_name: Which resin.
        mixed: Whether its resin is mixed in the shop (a prepreg's is not).
        figures: What its numbers rest on.
        covers: Openings that it runs over uncut, "openings" for all.
        risen: Its height over the surface that was drawn, and what that does to its area, which is in `area`.
        fibre: Fibre areal weight; 0 for a core. [kg/m^2]
        core: Areal weight of the dry core; 0 for a fabric. [kg/m^2]
        bond: Resin that bonds a core, on the faces that are covered, mean over its area; 0 for a fabric. [kg/m^2]
        take_up: How the resin strays; None for a core.
        draped: How its cloth lies on the shape, where the part file asks for it; its weight is in `fibre`.
        fibre_density: Of a fabric; 0 for a core. [kg/m^3]
        lapped: Area of it that lies double, where strips and slits overlap; it is in `area`. [m^2]
    """

    number: int = 0
    name: str
    form: str
    angle: float = 0.0
    zone: str = WHOLE
    place: Measured = NOWHERE
    area: float = 0.0
    cut_away: float = 0.0
    thickness: float
    resin: float
    resin_density: float
    resin_name: str
    mixed: bool
    figures: tuple[Figure, ...]
    covers: tuple[str, ...] = ()
    risen: Risen = LEVEL
    fibre: float = 0.0
    core: float = 0.0
    bond: float = 0.0
    take_up: TakeUp | None = None
    draped: DrapedPly | None = None
    fibre_density: float = 0.0
    lapped: float = 0.0

    @property
    def kind(self) -> str:
        """Whether it is a "fabric" or a "core"."""
        return "core" if self.take_up is None else "fabric"

    @property
    def areal_weight(self) -> float:
        """All of it, per area. [kg/m^2]"""
        return self.fibre + self.resin + self.core + self.bond

    @property
    def mass(self) -> float:
        """All of it. [kg]"""
        return self.areal_weight * self.area

    @property
    def laid(self) -> float:
        """Area of it that is laid, what is cut away later counted. [m^2]"""
        return self.area + self.cut_away

    @property
    def drawn_area(self) -> float:
        """Its area if it lay on the surface that was drawn. [m^2]"""
        return self.area - self.risen.gained


@dataclass(frozen=True, kw_only=True, slots=True)
class FabricLayer(Layer):
    """A ply of cloth, cured."""

    fibre: float
    fibre_density: float
    take_up: TakeUp


@dataclass(frozen=True, kw_only=True, slots=True)
class CoreLayer(Layer):
    """A core.

    Attributes:
        face_bond: Resin that bonds one of its faces, where that is covered. [kg/m^2]
        on_face: The same as the process gives it, with how it strays; what soaks in strays alike.
    """

    core: float
    face_bond: float
    on_face: FaceResin

    @property
    def bonded(self) -> float:
        """Areal weight between two skins, bond resin on both faces. [kg/m^2]"""
        return self.core + self.resin + 2 * self.face_bond


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


def cure(job: Job, entry: PlyEntry, process: Process, *, own_process: bool = True) -> FabricLayer | CoreLayer:
    """One layer by its material and process, wherever it lies: the one place that weighs it.

    Args:
        job: The part file, read.
        entry: The ply.
        process: At its pressure.
        own_process: False when the process is only compared with.

    Returns:
        The layer without a place.

    Raises:
        LayupError: A figure is missing from the tables, or fractions leave no room for resin.
    """
    make = _core if entry.core is not None else _fabric
    return make(job, entry, process, own_process)


@dataclass(frozen=True, eq=False)
class Laid:
    """The layers of a part on its regions: L layers, R regions.

    Attributes:
        layers: From the mould up, counts written out.
        regions: Of the part.
        on: Whether a layer takes a region, (L, R).
        area: Of each layer over each region, overlaps and height counted, (L, R). [m^2]
        cut_away: Laid there beyond it and cut away later, (L, R). [m^2]
        bond: Bond resin of each layer over each region, (L, R). [kg/m^2]
        first: Number from 0 of the layer against the mould on each region, -1 for none, (R,).
        last: Of the layer on the bag side, (R,).
        far: What height does to the area of the outer face, away from the surface that was drawn, (R,). [m^2]
        far_either_way: The same where the side is not known, (R,). [m^2]
    """

    layers: tuple[FabricLayer | CoreLayer, ...]
    regions: Regions
    on: Mask = field(repr=False)
    area: Floats = field(repr=False)
    cut_away: Floats = field(repr=False)
    bond: Floats = field(repr=False)
    first: NDArray[np.int64] = field(repr=False)
    last: NDArray[np.int64] = field(repr=False)
    far: Floats = field(repr=False)
    far_either_way: Floats = field(repr=False)


def lay(job: Job, process: Process, *, own_process: bool = True) -> Laid:
    """All layers of a job in one process, on its regions.

    Args:
        job: The part file, read.
        process: At its pressure.
        own_process: False when the process is only compared with.

    Returns:
        The layers as they lie.

    Raises:
        LayupError: A figure is missing from the tables, or fractions leave no room for resin.
    """
    regions = regions_of(job)
    at: list[int] = []
    flat: list[FabricLayer | CoreLayer] = []
    seams: list[float] = []
    slopes: list[float] = []
    for line, entry in enumerate(job.part.plies()):
        key = regions.keys.index(key_of(job, line, entry))
        place = regions.place[key]
        layer = cure(job, entry, process, own_process=own_process)
        zone = "patch" if entry.area is not None else entry.zone or WHOLE
        bevel = bevel_of(job, entry)
        layer = replace(layer, zone=zone, place=place, covers=entry.over, angle=entry.angle, lapped=lap_of(job, entry))
        for _ in range(entry.count):
            flat.append(layer)
            at.append(key)
            seams.append(layer.lapped - (bevel.gone if bevel is not None else 0.0))
            slopes.append(2.0 * bevel.gone + bevel.slope if bevel is not None else 0.0)
    keys = np.array(at, dtype=np.int64)
    on: Mask = regions.on.T[keys]
    plain = np.where(on, regions.area, 0.0)
    held = plain.sum(axis=1)
    laid = np.array([layer.place.area for layer in flat]) + np.array(seams)
    factor = np.divide(laid, held, out=np.ones(len(flat)), where=held > 0.0)
    thickness = np.array([layer.thickness for layer in flat])
    up = rise(regions, on, thickness)
    area = plain * factor[:, None] + up.gained
    away = regions.cut_away(job.part.trim or 0.0).T[keys] if len(flat) else np.zeros((0, len(regions)))
    number = on.astype(np.int64)
    below = np.cumsum(number, axis=0) - number
    above = number.sum(axis=0) - below - number
    face = np.array([layer.face_bond if isinstance(layer, CoreLayer) else 0.0 for layer in flat])
    face = face * (1.0 + 0.5 * np.array(slopes) / np.maximum(laid, 1e-12))  # both faces are whole: one is a slope
    bond = face[:, None] * ((below > 0).astype(np.float64) + (above > 0)) * on
    some = on.any(axis=0)
    first = np.where(some, np.argmax(on, axis=0), -1) if len(flat) else np.full(len(regions), -1)
    last = np.where(some, len(flat) - 1 - np.argmax(on[::-1], axis=0), -1) if len(flat) else first
    areas, cut, risen = area.sum(axis=1), away.sum(axis=1), up.by_layer(on)
    bonds = np.divide((bond * area).sum(axis=1), areas, out=bond.max(axis=1, initial=0.0), where=areas > 0.0)
    layers = tuple(
        replace(layer, number=n + 1, area=float(areas[n]), cut_away=float(cut[n]), bond=float(bonds[n]), risen=risen[n])
        for n, layer in enumerate(flat)
    )
    return Laid(
        layers=layers,
        regions=regions,
        on=on,
        area=area,
        cut_away=away,
        bond=bond,
        first=first,
        last=last,
        far=up.far,
        far_either_way=up.far_either_way,
    )


def build(job: Job, process: Process, *, own_process: bool = True) -> tuple[FabricLayer | CoreLayer, ...]:
    """All layers of a job in one process, from the mould up; as `lay`."""
    return lay(job, process, own_process=own_process).layers


def bare_faces(laid: Laid) -> dict[int, float]:
    """Area of the faces of each core that nothing covers, by the core's number; only cores that have some. [m^2]"""
    found = {}
    for n, layer in enumerate(laid.layers):
        if not isinstance(layer, CoreLayer):
            continue
        under = np.any(laid.on[:n], axis=0).astype(np.int64) + np.any(laid.on[n + 1 :], axis=0)
        area = float((laid.area[n] * (2 - under))[laid.on[n]].sum())
        if area > 1e-9 * layer.area:
            found[layer.number] = area
    return found


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


def roll_weight(job: Job, fabric: Material) -> float:
    """What a cloth weighs as it comes off the roll: a prepreg with its resin, if the table says how much. [kg/m^2]"""
    fibre_density_of(job, fabric)  # a cloth without a fibre is refused here, as in the prediction
    dry = fabric.figure("areal_weight").value
    content = fabric.optional("resin_content") if fabric.word("prepreg_resin") is not None else None
    return dry / (1.0 - content.value) if content is not None else dry


def _fabric(job: Job, entry: PlyEntry, process: Process, own_process: bool) -> FabricLayer:
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
        bleeds=fabric.word("bleeds") != "no",
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
    lies = draped(job, entry)
    locking = fabric.optional("locking_angle") if lies is not None else None
    figures = (*figures, locking) if locking is not None else figures
    w_f = weight.value * (lies.factor if lies is not None else 1.0)
    # voids are a share of the ply's volume: t = (w_f / rho_f + w_r / rho_r) / (1 - V_v)
    thickness = w_f * (1 / density + ratio / resin_density.value) / (1 - take_up.void_fraction)
    return FabricLayer(
        name=fabric.name, form=form, fibre=w_f, resin=w_f * ratio, thickness=thickness, fibre_density=density,
        resin_density=resin_density.value, resin_name=resin.name, take_up=take_up, mixed=process.mixes,
        figures=figures, draped=lies,
    )  # fmt: skip


def _core(job: Job, entry: PlyEntry, process: Process, own_process: bool) -> CoreLayer:
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
    figures += on_face.figures
    soak = core.optional("soak")
    soaked = 0.0
    if soak is not None:
        soaked = soak.value * thickness
        figures.append(soak)
    return CoreLayer(
        name=core.name, form=core.word("form") or "core", core=density.value * thickness, resin=soaked,
        face_bond=on_face.areal_weight, on_face=on_face, thickness=thickness,
        resin_density=resin_density.value, resin_name=resin.name, mixed=process.mixes, figures=tuple(figures),
    )  # fmt: skip
