"""What there is to choose from: every fabric of the shelf in every process and at every angle, weighed.

- What may a ply be, in each process?              `stock`, giving a `Bench` a process
- The part with another layup?                     `with_layup`
- How stiff is what comes off?                     `old_stiffness`
- The flat panel that the part is?                 `panel_shape`, `zone_shape`
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.choosing.conditions import strength_left
from layup.cloth.laps import lap_of
from layup.errors import LayupError, SurfaceError
from layup.laminate.elastic import (
    LEAST_OF_CORE,
    CoreProperties,
    CuredPly,
    SheetProperties,
    core_properties,
    cured_ply,
    sheet_properties,
)
from layup.laminate.panel import terms_of
from layup.laminate.process import FACES, Process, settle
from layup.laminate.search import Options
from layup.laminate.shallow_shell import curvature_of
from layup.laminate.stiffness import Ribs, reduced_stiffness, rotated_stiffness, stack_stiffness, with_ribs
from layup.partfile.clashes import clash
from layup.partfile.job import Job
from layup.partfile.model import PlyEntry, Stiffeners
from layup.partfile.needs import Needs, Shelf, ShelfCore
from layup.sources import Figure
from layup.weight.compare import process_for
from layup.weight.plies import CoreLayer, FabricLayer, cure

if TYPE_CHECKING:
    from shapely import Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

USUAL_ANGLES = {"unidirectional": (0.0, 45.0, -45.0, 90.0), "mat": (0.0,), "veil": (0.0,)}
"""Angles tried where the part file names none; cloth is tried at 0 and 45."""


@dataclass(frozen=True)
class PlyChoice:
    """One fabric at one angle, in one process.

    Attributes:
        angle: [deg]
        cured: Stiffness and strength, in the leanest of nine builds in ten.
        thickness: There. [m]
        layer: As it is weighed: the average build.
    """

    angle: float
    cured: CuredPly
    thickness: float
    layer: FabricLayer = field(repr=False)

    @property
    def fabric(self) -> str:
        """Its name."""
        return self.cured.fabric

    @property
    def direction(self) -> float:
        """From x to axis 1 of the ply. [rad]"""
        return float(np.radians(self.angle + self.cured.turn))

    @cached_property
    def qbar(self) -> Floats:
        """Stiffness in the part's axes. [Pa]"""
        e1, e2, nu12, g12 = self.cured.moduli
        return rotated_stiffness(reduced_stiffness(e1, e2, nu12, g12), self.direction)


@dataclass(frozen=True)
class CoreChoice:
    """One core in one thickness, in one process."""

    layer: CoreLayer = field(repr=False)
    properties: CoreProperties

    @property
    def name(self) -> str:
        """Of the core."""
        return self.layer.name

    @property
    def thickness(self) -> float:
        """[m]"""
        return self.layer.thickness


@dataclass(frozen=True, eq=False)
class Bench:
    """All that can be laid in one process.

    Attributes:
        process: At its pressure.
        own: Whether it is the part's own process.
        plies: What a ply may be.
        cores: What may lie in the middle.
        film_thickness: Of the film on one face of each ply, where it lies outermost, (o,). [m]
        options: The plies as the search takes them.
        notes: What was assumed, for a person.
        figures: What it rests on.
        lacking: What can't be laid for want of a figure, and of which.
    """

    process: Process
    own: bool
    plies: tuple[PlyChoice, ...]
    cores: tuple[CoreChoice, ...]
    film_thickness: Floats
    options: Options = field(repr=False)
    notes: tuple[str, ...] = field(repr=False)
    figures: tuple[Figure, ...] = field(repr=False)
    lacking: tuple[str, ...] = ()

    def only(self, plies: Sequence[bool], cores: Sequence[CoreChoice]) -> Bench:
        """The bench with some of its plies and cores."""
        kept, own = np.array(plies, dtype=bool), self.options
        options = Options(
            weight=own.weight[kept],
            thickness=own.thickness[kept],
            terms=own.terms[kept],
            surface=own.surface[kept],
            inside=own.inside[kept],
            most_alike=own.most_alike,
            film=None if own.film is None else own.film[kept],
            counted=None if own.counted is None else own.counted[kept],
        )
        left = tuple(p for p, keep in zip(self.plies, plies, strict=True) if keep)
        thin = self.film_thickness[kept]
        return replace(self, plies=left, cores=tuple(cores), options=options, film_thickness=thin)

    def areal_weight(self, core: CoreChoice | None, stacks: Ints) -> Floats:
        """Areal weight of stacks, (n,): plies with their laps, core with its bond, films on the outermost. [kg/m^2]"""
        return (0.0 if core is None else core.layer.areal_weight) + self.options.stack_weight(stacks)


def with_layup(job: Job, process: str, plies: Sequence[PlyEntry]) -> Job:
    """The same part with another layup and process."""
    part = job.part.model_copy(update={"ply": list(plies), "stack": None, "fabric": None, "process": process})
    return replace(job, part=part)


def shelf_of(job: Job) -> Shelf:
    """The shelf of the part file; what it leaves out comes from the part's own plies and process."""
    written = job.part.shelf or Shelf()
    own = job.part.plies()
    fabrics = written.fabrics or list(dict.fromkeys(p.fabric for p in own if p.fabric))
    cores = written.cores
    if job.part.shelf is None:
        listed = dict.fromkeys((p.core, p.thickness) for p in own if p.core)
        cores = [ShelfCore.model_construct(core=name, thickness=thick) for name, thick in listed if name]
    processes = written.processes or [job.part.process]
    return written.model_copy(update={"fabrics": fabrics, "cores": cores, "processes": processes})


def stock(job: Job, needs: Needs, shelf: Shelf, nine_in_ten: bool = True) -> tuple[Bench, ...]:
    """What can be laid, process by process.

    Args:
        job: The part file, read.
        needs: Says the angles, the surface ply and how many equal plies may lie together.
        shelf: Fabrics, cores and processes.
        nine_in_ten: Whether plies are as stiff as nine builds in ten have them; else as the average build.

    Returns:
        One bench a process in which at least one fabric can be laid.

    Raises:
        LayupError: A figure is missing from the tables, or nothing can be laid.
    """
    benches, passed = [], []
    for name in shelf.processes:
        bench, why = _bench(job, needs, shelf, name, nine_in_ten)
        passed += why
        if bench is not None:
            benches.append(bench)
    if not benches:
        raise LayupError("nothing on the shelf can be laid. " + " ".join(passed))
    if passed:
        benches[0] = replace(benches[0], notes=(*benches[0].notes, *passed))
    return tuple(benches)


MOST_TOGETHER = 4
"""Plies of one tape at one angle that may lie together by the rules of the trade (common practice, no source). [-]"""
NINE_IN_TEN = 1.2816
"""Standard deviations below the mean that nine builds in ten stay above. [-]"""


def lean_thickness(layer: FabricLayer) -> float:
    """How thin a ply cures in the leanest of nine builds in ten: less resin leaves a thinner ply, that bends more. [m]

    The spread is that of the weight: between fabrics, shops and parts, and what the pressure leaves open. The fibres
    stay, so along them a ply carries and stretches as before; bent, a stack of them loses with the square of its
    height.
    """
    least = max(math.exp(-NINE_IN_TEN * layer.take_up.spread), layer.take_up.least)
    resin = least * layer.resin
    return (layer.fibre / layer.fibre_density + resin / layer.resin_density) / (1 - layer.take_up.void_fraction)


def _bench(job: Job, needs: Needs, shelf: Shelf, name: str, nine_in_ten: bool = True) -> tuple[Bench | None, list[str]]:
    own = name == job.part.process
    process = process_for(job, name, own=own)
    extra = [needs.surface_ply] if needs.surface_ply and needs.surface_ply not in shelf.fabrics else []
    local = [f for place in needs.local for f in place.fabrics if f not in shelf.fabrics]
    fabrics, why = [], []
    for fabric in dict.fromkeys([*shelf.fabrics, *extra, *local]):
        soaked = job.library.get("fabric", fabric).word("prepreg_resin") is not None
        if soaked == process.mixes:
            said = "brings its own resin" if soaked else "is dry cloth"
            why.append(f'"{fabric}" {said}, so it is not tried in {process.name}.')
        else:
            fabrics.append(fabric)
    if not any(f in shelf.fabrics for f in fabrics):
        return None, why
    made = with_layup(job, name, [PlyEntry.model_construct(fabric=f) for f in fabrics])
    entries = [PlyEntry.model_construct(fabric=f) for f in fabrics]
    entries += [PlyEntry.model_construct(core=c.core, thickness=c.thickness) for c in shelf.cores]
    layers, lacking = _layers(made, process, entries, own)
    left = strength_left(job)
    share = LEAST_OF_CORE * left
    plies: list[PlyChoice] = []
    notes: list[str] = []
    figures: list[Figure] = []
    for layer in layers:
        if not isinstance(layer, FabricLayer):
            continue
        material = job.library.get("fabric", layer.name)
        resin = job.library.get("resin", layer.resin_name)
        fraction = layer.fibre / layer.fibre_density / layer.thickness
        voids = layer.take_up.void_fraction
        thickness = lean_thickness(layer) if nine_in_ten else layer.thickness
        fraction *= layer.thickness / thickness
        try:
            cured = cured_ply(
                library=job.library,
                fabric=material,
                resin=resin,
                process=process,
                fibre_fraction=fraction,
                void_fraction=voids,
                thickness=thickness,
            )
        except LayupError as error:
            lacking.append(str(error))
            continue
        cured = replace(cured, allowables=cured.allowables.scaled(left, left, left))
        notes += [note for note in cured.notes if note not in notes]
        figures += [*cured.figures, *layer.figures]
        angles = needs.angles if needs.angles is not None else USUAL_ANGLES.get(layer.form, (0.0, 45.0))
        for angle in angles:
            choice = PlyChoice(float(angle), cured, thickness, layer)
            alike = (p for p in plies if p.fabric == choice.fabric)
            if not any(np.allclose(p.qbar, choice.qbar, rtol=1e-9, atol=1.0) for p in alike):
                plies.append(choice)
    laid = []
    for layer in layers:
        if not isinstance(layer, CoreLayer):
            continue
        material, wet = job.library.get("core", layer.name), job.library.get("resin", layer.resin_name)
        found = clash(process.material, process.pressure, material, wet)
        if found is None:  # a core of a stack lies between skins, so it takes bond resin on both its faces
            laid.append(CoreChoice(replace(layer, bond=2 * layer.face_bond), core_properties(material).at_least(share)))
        else:
            why.append(f"{layer.name} is not tried in {process.name}: {found.wrong}.")
    cores = tuple(laid)
    for core in cores:
        figures += [*core.layer.figures, *core.properties.figures]
    films = [[process.film(face, p.layer.fibre) for face in FACES] for p in plies]
    film = np.array([sum(face.areal_weight for face in both) / len(both) for both in films])
    figures += [figure for both in films[:1] for face in both for figure in face.figures]
    double = [lap_of(made, PlyEntry.model_construct(fabric=p.fabric, angle=p.angle)) for p in plies]
    options = Options(
        weight=np.array([p.layer.areal_weight for p in plies]) * (1 + np.array(double) / job.surface.whole.area),
        thickness=np.array([p.thickness for p in plies]),
        terms=np.array([terms_of(p.qbar) for p in plies]),
        surface=np.array([_outermost(p, needs) for p in plies]),
        inside=np.array([p.fabric in {job.library.get("fabric", f).name for f in shelf.fabrics} for p in plies]),
        most_alike=needs.run_at_most or (MOST_TOGETHER if needs.keeps("short runs") else 0),
        film=film,
        counted=None if needs.run_at_most else np.array([not p.cured.even for p in plies]),
    )
    missing = tuple(dict.fromkeys(lacking))
    if needs.keeps("45 outermost") and not options.surface.any():
        why.append(
            f'No ply that may lie outermost is tried at 45 in {name}: add angles = [0, 45] or drop "45 outermost".'
        )
        return None, why
    if not options.inside.any():
        return None, [*why, *missing]
    thin = film / np.array([p.layer.resin_density for p in plies])
    return Bench(
        process=process,
        own=own,
        plies=tuple(plies),
        cores=cores,
        film_thickness=thin,
        options=options,
        notes=tuple(notes),
        figures=tuple(figures),
        lacking=missing,
    ), why


def _layers(
    job: Job, process: Process, entries: list[PlyEntry], own: bool
) -> tuple[list[FabricLayer | CoreLayer], list[str]]:
    """The layers that can be weighed, each by itself; and what is missing of the others."""
    sound: list[FabricLayer | CoreLayer] = []
    lacking: list[LayupError] = []
    for entry in entries:
        try:
            sound.append(cure(job, entry, process, own_process=own))
        except LayupError as error:
            lacking.append(error)
    if lacking and not any(isinstance(layer, FabricLayer) for layer in sound):
        raise lacking[0]
    return sound, [str(error) for error in lacking]


def _outermost(ply: PlyChoice, needs: Needs) -> bool:
    """Whether a ply may be the first the stone hits."""
    turned = abs(ply.angle + ply.cured.turn) % 90
    slanted = abs(turned - 45) < 1 or not needs.keeps("45 outermost")
    return slanted and (needs.surface_ply is None or _same(ply.fabric, needs.surface_ply))


def _same(one: str, other: str) -> bool:
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


@dataclass(frozen=True)
class OldPart:
    """How stiff is what comes off, bent and in its own plane.

    Attributes:
        name: For a person.
        terms: D of the old sheet or laminate, (6,). [N m]
        membrane: A of it, (6,). [N/m]
        notes: What of the old part is not in that figure.
        figures: What it rests on.
    """

    name: str
    terms: Floats
    membrane: Floats
    notes: tuple[str, ...]
    figures: tuple[Figure, ...] = field(repr=False)


WIDE = 0.5
"""Share of the largest replaced sheet above which another stands for the whole part too. Common practice, no source."""


def old_stiffness(job: Job, flat: Flat | None = None) -> OldPart | None:
    """Stiffness of the sheet or laminate that the part replaces; None where the file names none.

    Args:
        job: The part file, read.
        flat: The panel, along whose longer side the grain of a board is taken to run; along x without one.

    Returns:
        The stiffest of the replaced sheets and laminates as one plate, bent and in its plane each for itself; a window
        or a patch, smaller than half of the largest of them, is told of and does not stand for the whole.

    Raises:
        LayupError: A figure is missing from the tables.
    """
    found: list[OldPart] = []
    shares: list[float] = []
    left_out = []
    for entry in job.part.replaces:
        if entry.form == "sheet":
            sheet = sheet_properties(job.library.get("sheet", entry.sheet or ""))
            thick = entry.thickness or 0.0
            q = reduced_stiffness(sheet.modulus, sheet.across, sheet.nu, sheet.shear)
            said: tuple[str, ...] = ()
            if sheet.across != sheet.modulus:
                wide, high = (1.0, 0.0) if flat is None else (flat.sides[0], flat.sides[1])
                q = rotated_stiffness(q, 0.0 if wide >= high else np.pi / 2)
                said = (
                    f"The grain of {entry.name} is taken to run along the {'panel' if flat else 'part'}'s longer side.",
                )
            flat_of_it, bent = with_ribs(
                q * thick, q * thick**3 / 12, [_ribs(r, sheet, thick) for r in entry.stiffeners]
            )
            if entry.stiffeners:
                said += (
                    f"The stiffeners of {entry.name} count as smeared over their pitch; between them it is softer.",
                )
            found.append(OldPart(entry.name, terms_of(bent), terms_of(flat_of_it), said, sheet.figures))
        elif entry.form == "fabric":
            found.append(
                _old_laminate(job, entry.name, entry.fabric or "", entry.resin, entry.process or "", entry.count or 1)
            )
        elif entry.form not in ("finish", "covering"):
            left_out.append(entry.name)
        if len(found) > len(shares):
            area = job.surface.whole.area
            shares.append((entry.area if entry.area is not None else area * (entry.times or 1.0)) / area)
    if not found:
        return None
    most = max(shares)
    over = [old for old, share in zip(found, shares, strict=True) if share >= WIDE * most]
    stiff_bent = max(over, key=lambda old: float(old.terms[0] + old.terms[2]))
    stiff_in_plane = max(over, key=lambda old: float(old.membrane[0] + old.membrane[2]))
    notes = tuple(dict.fromkeys((*stiff_bent.notes, *stiff_in_plane.notes)))
    name = stiff_bent.name
    if stiff_in_plane is not stiff_bent:
        name += f" when bent and {stiff_in_plane.name} in its plane"
    if left_out:
        notes += (
            f"Of the old part {name} alone counts as stiffness; not known, and so not counted: "
            + ", ".join(left_out)
            + ".",
        )
    softer = [old.name for old in over if old is not stiff_bent and old is not stiff_in_plane]
    if softer:
        notes += (f"Softer than {name} and beside it, and so not asked for: {', '.join(softer)}.",)
    if most < WIDE:
        notes += (f"{name} was {most * 100:.0f} % of the part's area; the whole part is to be as stiff as it.",)
    for old, share in zip(found, shares, strict=True):
        if old not in over:
            notes += (
                f"{old.name} was {share * 100:.0f} % of the part's area: what takes its place is to be as stiff as "
                f"{name}, not as it was.",
            )
    figures = tuple(dict.fromkeys((*stiff_bent.figures, *stiff_in_plane.figures)))
    return OldPart(name, stiff_bent.terms, stiff_in_plane.membrane, notes, figures)


def _ribs(own: Stiffeners, sheet: SheetProperties, skin: float) -> Ribs:
    """Stiffeners of the sheet's own metal: a leg on the sheet, and one that stands up from it."""
    t, flange = own.thickness, own.flange or 0.0
    low, up = flange * t, t * (own.height - (t if own.flange else 0.0))
    at = skin / 2 + t / 2, skin / 2 + own.height - up / t / 2
    area = low + up
    middle = (low * at[0] + up * at[1]) / area
    inertia = low * (t**2 / 12 + (at[0] - middle) ** 2) + up * ((up / t) ** 2 / 12 + (at[1] - middle) ** 2)
    e = (sheet.modulus, sheet.across)["xy".index(own.along)]
    return Ribs(
        way="xy".index(own.along),
        stretch=e * area / own.pitch,
        height=middle,
        bending=e * inertia / own.pitch,
        twisting=sheet.shear * (flange + up / t) * t**3 / 3 / own.pitch,
    )


def _old_laminate(job: Job, name: str, fabric: str, resin: str | None, process: str, count: int) -> OldPart:
    settled = settle(job.library.get("process", process), None, job.part.altitude)
    part = job.part.model_copy(update={"resin": resin or job.part.resin, "process": process})
    old_job = replace(job, part=part)
    layer = cure(old_job, PlyEntry.model_construct(fabric=fabric), settled)
    assert isinstance(layer, FabricLayer)
    ply = cured_ply(
        library=job.library,
        fabric=job.library.get("fabric", fabric),
        resin=job.library.get("resin", layer.resin_name),
        process=settled,
        fibre_fraction=layer.fibre / layer.fibre_density / layer.thickness,
        void_fraction=layer.take_up.void_fraction,
        thickness=layer.thickness,
    )
    qbar = PlyChoice(0.0, ply, layer.thickness, layer).qbar
    whole = stack_stiffness(np.broadcast_to(qbar, (count, 3, 3)), np.full(count, layer.thickness))
    return OldPart(name, terms_of(whole.d), terms_of(whole.a), (), (*ply.figures, *layer.figures))


MOST_POINTS = 20_000
"""Of a surface whose heights are looked up: more add nothing to a mesh of some hundred triangles."""
FLAT_ENOUGH = 0.002
"""Rise over span that is taken as flat: what a sheet on a bench does. [-]"""


@dataclass(frozen=True)
class Flat:
    """A part taken as a flat panel.

    Attributes:
        shape: Its outline with cut-outs. [m]
        axes: Which two of the surface's axes are the panel's x and y.
        rise: How far the surface leaves that plane. [m]
        curvature: Of the quadric that fits it best: along x, along y, twist. [1/m]
        points: Of the surface, x, y in the plane and z out of it, (n, 3). [m]
    """

    shape: Polygon
    axes: tuple[int, int]
    rise: float
    curvature: tuple[float, float, float] = (0.0, 0.0, 0.0)
    points: Floats | None = field(default=None, repr=False, compare=False)

    @property
    def curved(self) -> bool:
        """Whether it is more than a sheet on a bench that doesn't lie quite flat."""
        return self.rise > FLAT_ENOUGH * self.span

    @property
    def sides(self) -> tuple[float, float]:
        """Sides of its box, along x and along y. [m]"""
        left, low, right, high = self.shape.bounds
        return float(right - left), float(high - low)

    @property
    def span(self) -> float:
        """Shorter side of its box. [m]"""
        return min(self.sides)


def panel_shape(job: Job) -> Flat | None:
    """The part as a flat panel; None where only its area is known.

    Raises:
        SurfaceError: The surface is curved so far that a flat panel says nothing about it.
    """
    if not job.surface.has_mesh:
        return None
    triangles = job.surface.vertices[job.surface.faces]
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    facing = int(np.argmax(np.abs(normal).sum(axis=0)))
    axes = tuple(k for k in range(3) if k != facing)
    size = np.linalg.norm(normal, axis=1)
    level = np.abs(normal[:, facing]) > 0.5 * np.where(size > 0, size, 1.0)
    if not level.any():
        raise SurfaceError("the surface faces every way", "A panel check needs a panel: use a flatter part")
    kept = triangles[level]
    shape = _outline_of(kept[:, :, list(axes)])
    low, high = np.percentile(kept[:, :, facing], [1, 99])
    middles, size = kept.mean(axis=1), np.linalg.norm(normal, axis=1)[level]
    curvature = curvature_of(middles[:, [*axes, facing]], size) if len(kept) >= 12 else (0.0, 0.0, 0.0)
    points = np.unique(kept[:, :, [*axes, facing]].reshape(-1, 3), axis=0)
    flat = Flat(shape, (axes[0], axes[1]), float(high - low), curvature, points[:: 1 + len(points) // MOST_POINTS])
    if flat.rise > 0.25 * flat.span:
        raise SurfaceError(
            f"the surface rises {flat.rise * 1e3:.0f} mm over {flat.span * 1e3:.0f} mm: too curved to be taken flat",
            "Ask for stiffness alone, in bending and in its own plane, or give a flatter piece a part file of its own",
        )
    return flat


def zone_shape(job: Job, flat: Flat, name: str) -> Polygon:
    """A zone on the flat panel.

    Raises:
        SurfaceError: The zone is only an area, or lies nowhere on the panel.
    """
    triangles = job.zone_triangles(name)
    if triangles is None or not len(triangles):
        raise SurfaceError(f'zone "{name}" has no place on the panel', 'Give it one: within = "60 mm of (...)"')
    return _outline_of(triangles[:, :, list(flat.axes)])


def _outline_of(triangles: Floats) -> Polygon:
    """The outline of flat triangles: the largest piece, without holes too small to matter."""
    import shapely

    pieces = shapely.polygons(triangles)
    pieces = pieces[shapely.area(pieces) > 0]
    try:
        merged = shapely.coverage_union_all(pieces)  # quick; right where triangles share edges and do not overlap
        sound = merged.is_valid and abs(merged.area / shapely.area(pieces).sum() - 1) <= 1e-3
    except shapely.errors.GEOSException:  # a corner of one on the edge of another, where a zone was cut
        sound = False
    if not sound:
        merged = shapely.union_all(shapely.set_precision(pieces, 1e-7))
    whole = max(shapely.get_parts(merged), key=lambda p: p.area)
    size = float(np.sqrt(whole.area))
    holes = [ring for ring in whole.interiors if shapely.Polygon(ring).area > 1e-4 * whole.area]
    shape = shapely.Polygon(whole.exterior, holes).simplify(0.002 * size if len(triangles) > 200 else 1e-9)
    return max(shapely.get_parts(shapely.make_valid(shape)), key=lambda p: p.area)
