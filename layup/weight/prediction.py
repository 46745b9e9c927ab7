"""The whole answer for one part: its weight, what it replaces, every process, the money, the cautions, the sources.

`predict` runs the job from a part file to a `Prediction`. A prediction is frozen; `as_json` gives it in the stable SI
form that scripts rely on, and the `*_frame` methods give pandas tables.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import Fault, FaultsError
from layup.files.reading import Json
from layup.laminate.process import Habit, Habits
from layup.partfile.cautions import ALWAYS, DUST, LICENSED, RESIN, Caution, Where, cautions_of, see
from layup.partfile.clashes import too_thick
from layup.partfile.holes import fastener_cautions, fastener_records, hole_records
from layup.partfile.job import Job
from layup.partfile.model import WHOLE
from layup.partfile.read import read_part
from layup.shape.surface import Surface
from layup.sources import Citation, cite
from layup.spread import Interval
from layup.weight.compare import (
    Alternative,
    ProcessShare,
    Saving,
    compare_processes,
    left_out,
    partly_weighed,
    process_for,
    process_share,
    saving,
)
from layup.weight.cost import Cost, material_cost
from layup.weight.heights import lie_record, remarks
from layup.weight.plies import Layer, bare_faces
from layup.weight.replaced import Replaced, weigh_replaced
from layup.weight.weigh import Weighed, weigh_layup
from layup.words import area_words, mass_both

if TYPE_CHECKING:
    import pandas as pd

DOUBT = "Is that right?"
"""So begins what asks for a unit or a zone on which the figures rest; it stands above them."""
SMALLEST = 1e-4
"""A part smaller than this is doubted: metres read as millimetres. [m^2]"""
UNLIKELY = 20.0
"""Times the new part that an old one may weigh before its unit is doubted. [-]"""


@dataclass(frozen=True, slots=True)
class ZoneWeight:
    """One zone of the part.

    Attributes:
        name: "whole", a zone's name, or "patch".
        area: [m^2]
        plies: How many layers lie there, where most of the zone is alike; of the part, where most of the part is.
        areal_weight: Of all that lies there, films counted. [kg/m^2]
        thickness: There. [m]
        mass: Of the layers laid for this zone alone. [kg]
        laminate: Of all that lies in the zone, films counted. [kg]
    """

    name: str
    area: float
    plies: int
    areal_weight: float
    thickness: float
    mass: float
    laminate: float


@dataclass(frozen=True)
class Prediction:
    """What a part will weigh, within what limits, and what it saves.

    Attributes:
        job: The part file, the materials and the surface it rests on.
        weighed: The weight in the part's own process.
        zones: Zone by zone.
        alternatives: The part in each process.
        replaced: What comes off; None where the file names nothing.
        saving: Old against new; None where the file names nothing.
        cost: Of the material.
        made: How much of the difference between weighed versions the process explains.
        cautions: What a reader must know before acting on it; doubts of units and zones first, each begun by `DOUBT`.
        citations: Every figure used, with its source.
        published: The weight by the published figures alone, where the shop's weigh-ins changed it.
        rules: Every rule of caution that the part triggers, and where the hand is.
    """

    job: Job = field(repr=False)
    weighed: Weighed
    zones: tuple[ZoneWeight, ...]
    alternatives: tuple[Alternative, ...] = field(repr=False)
    replaced: Replaced | None
    saving: Saving | None
    cost: Cost
    made: tuple[ProcessShare, ...]
    cautions: tuple[str, ...] = field(repr=False)
    citations: tuple[Citation, ...] = field(repr=False)
    published: Weighed | None = field(default=None, repr=False)
    rules: tuple[Caution, ...] = field(default=(), repr=False)

    def __repr__(self) -> str:
        saves = f", saves {mass_both(self.saving.mass.mean, 'both')}" if self.saving else ""
        low, high = (mass_both(kg, "both") for kg in (self.mass.p05, self.mass.p95))
        weight = mass_both(self.mass.mean, "both")
        return f"Prediction({self.title!r}: {weight}, 9 builds in 10: {low} to {high}{saves})"

    def at_hand(self, *where: Where) -> tuple[str, ...]:
        """What is said where the hand is: at mixing, cutting, bagging, trimming, finishing, fitting."""
        return tuple(one.words for one in self.rules if one.where in where)

    @property
    def habits(self) -> tuple[Habit, ...]:
        """The shop's habits it rests on, each once; empty where only published figures were used."""
        used = (layer.take_up.habit for layer in self.weighed.layers if layer.take_up is not None)
        return tuple(dict.fromkeys(habit for habit in used if habit is not None))

    @property
    def title(self) -> str:
        """Name of the part."""
        return self.job.part.title

    @property
    def mass(self) -> Interval:
        """Mean and 90 % interval. [kg]"""
        return self.weighed.mass

    @property
    def area(self) -> float:
        """Of the surface. [m^2]"""
        return self.job.surface.whole.area

    @property
    def areal_weight(self) -> float:
        """Mean mass over the area. [kg/m^2]"""
        return self.weighed.mass.mean / self.area

    def as_json(self) -> Json:
        """The stable form for scripts: SI units throughout; keys are only ever added."""
        return _as_json(self)

    def plies_frame(self) -> pd.DataFrame:
        """One row a ply: its fabric, place and masses. [deg, m, m^2, kg]"""
        import pandas as pd

        return pd.DataFrame([ply_record(layer) for layer in self.weighed.layers])

    def zones_frame(self) -> pd.DataFrame:
        """One row a zone. [m^2, kg/m^2, m, kg]"""
        import pandas as pd

        return pd.DataFrame([zone_record(zone) for zone in self.zones])

    def processes_frame(self) -> pd.DataFrame:
        """One row a process: mass with its interval, thickness, resin, saving. [kg, m]"""
        import pandas as pd

        rows = []
        for record in self.as_json()["processes"]:
            mass, gain = record.pop("mass_kg"), record.pop("saving_kg")
            record.update({f"mass_kg_{key}": value for key, value in mass.items()})
            record["saving_kg"] = gain["mean"] if gain else None
            rows.append(record)
        return pd.DataFrame(rows)

    def sources_frame(self) -> pd.DataFrame:
        """One row a figure used: value as printed, kind, source, page."""
        import pandas as pd

        return pd.DataFrame([source_record(citation) for citation in self.citations])


def predict(
    source: str | Path | Mapping[str, object] | Job, folder: str | Path | None = None, habits: Habits | None = None
) -> Prediction:
    """Predict what a part will weigh before it is laid up.

    Args:
        source: A part file's path, its content as a mapping of the same keys, or a job already read.
        folder: Where the files it names lie; the part file's own folder if left out.
        habits: What the shop's weigh-ins say of its resin (`layup.learn.calibrate`); else published figures alone.

    Raises:
        FaultsError: The part file, a table or the surface has faults; all are named.
        LayupError: A figure that the computation needs is in no table.
    """
    job = source if isinstance(source, Job) else read_part(source, folder)
    if habits is not None:  # none at all, said so, is another thing than nothing said
        job = replace(job, habits=habits)
    weighed = weigh_layup(job, process_for(job, job.part.process, own=True))
    thickest, resin = _thickest(weighed)
    _refuse_what_burns(job, weighed, thickest, resin)
    seen = see(job.part, job.library, weighed.process.pressure, thickest / job.part.stages, job.part.units)
    rules = cautions_of(seen)
    replaced = weigh_replaced(job)
    alternatives = compare_processes(job, weighed, replaced)
    cost = next((a.cost for a in alternatives if a.chosen), None) or material_cost(job, weighed)
    figures = [*weighed.figures, *(replaced.figures if replaced else ())]
    return Prediction(
        job=job,
        weighed=weighed,
        zones=_zones(job, weighed),
        alternatives=alternatives,
        replaced=replaced,
        saving=saving(job, weighed, replaced, cost) if replaced else None,
        cost=cost,
        made=_made(job),
        cautions=_cautions(job, weighed, alternatives, replaced, rules),
        rules=rules,
        citations=cite(figures, job.library.sources),
        published=_published(job, weighed),
    )


def _published(job: Job, weighed: Weighed) -> Weighed | None:
    """The weight without the shop's habits; None where none was used."""
    if not any(layer.take_up is not None and layer.take_up.habit is not None for layer in weighed.layers):
        return None
    return weigh_layup(job, replace(weighed.process, habits={}))


def _zones(job: Job, weighed: Weighed) -> tuple[ZoneWeight, ...]:
    """The whole, each zone and the patches, summed over their regions."""
    regions, mass, thick = weighed.regions, weighed.by_region, weighed.thickness_by_region
    count = weighed.laid.on.sum(axis=0)
    own: dict[str, float] = {}
    for layer in weighed.layers:
        own[layer.zone] = own.get(layer.zone, 0.0) + layer.mass
    places = {key[0]: regions.on[:, n] for n, key in enumerate(regions.keys) if not key[1]}
    patches = [places[name] for name in places if name.startswith("patch ")] if "patch" in own else []
    places = {name: places[name] for name in (WHOLE, *job.zones)}
    if patches:
        places["patch"] = np.any(patches, axis=0)
    rows = []
    for name, there in places.items():
        area = float(regions.area[there].sum())
        kinds, back = np.unique(np.round(thick[there], 9), return_inverse=True)
        most = np.flatnonzero(there)[back == np.argmax(np.bincount(back, regions.area[there], len(kinds)))]
        rows.append(
            ZoneWeight(
                name=name,
                area=job.place(name).area if name != "patch" else area,
                plies=int(count[most[0]]),
                areal_weight=float(mass[most].sum() / regions.area[most].sum()),
                thickness=float(thick[most[0]]),
                mass=own.get(name, 0.0),
                laminate=float(mass[there].sum()),
            )
        )
    return tuple(rows)


def _made(job: Job) -> tuple[ProcessShare, ...]:
    """Each weighed version against the next, heavier first."""
    listed = [(m.name or m.process, m.process, m.weighed) for m in job.part.made]
    listed.sort(key=lambda version: -version[2])
    return tuple(process_share(job, heavy, light) for heavy, light in pairwise(listed))


def _doubts(job: Job, weighed: Weighed, replaced: Replaced | None) -> list[str]:
    """Questions about the units and zones that the figures rest on."""
    found = []
    area = job.surface.whole.area
    if area < SMALLEST:
        found.append(f"{DOUBT} The whole part is {area * 1e6:.2g} mm². Check the unit of [surface].")
    if replaced is not None and replaced.mass.mean > UNLIKELY * weighed.mass.mean:
        found.append(
            f"{DOUBT} The old part weighs more than twenty times the new one. Check the units of [[replaces]]."
        )
    if weighed.extra > weighed.mass.mean / 2:
        found.append(f"{DOUBT} The extras weigh more than the laminate. Check their units.")
    found += [
        f'{DOUBT} Zone "{zone.name}" covers the whole part. Check its distance and its unit.'
        for zone in job.part.zone
        if (zone.within or zone.between) and job.zones[zone.name].area > 0.999 * area
    ]
    return found


def _cautions(
    job: Job,
    weighed: Weighed,
    alternatives: tuple[Alternative, ...],
    replaced: Replaced | None,
    rules: tuple[Caution, ...],
) -> tuple[str, ...]:
    found = [*_doubts(job, weighed, replaced), *weighed.process.notes]
    others = [a.resin_name for a in alternatives if a.resin_name != _resin(weighed)]
    if others:
        named = "; ".join(f"{a.process}: {a.resin_name}" for a in alternatives if a.resin_name != _resin(weighed))
        found.append(f"Each process is compared with the resin it is used with ({named}).")
    missing = left_out(job, alternatives)
    if missing:
        found.append(missing)
    mixed = partly_weighed(alternatives)
    if mixed:
        found.append(mixed)
    found += _draped(weighed)
    found += fastener_cautions(job.fasteners, job.surface)
    found += _risen(job, weighed)
    if weighed.cg is None:
        found.append("Only the area is known: no centre of gravity and no inertia.")
    if any(layer.zone == "patch" for layer in weighed.layers):
        found.append("A patch given by its area is taken to balance where the whole surface does.")
    dry = [y.name for y in weighed.layers if y.kind == "fabric" and not weighed.process.mixes and not _bought(job, y)]
    if dry:
        found.append(f"{dry[0]} does not say its resin content: taken as a prepreg of the usual fibre fraction.")
    for number, area in list(bare_faces(weighed.laid).items())[:1]:
        core = weighed.layers[number - 1]
        found.append(
            f"{core.name} has a bare face over {area_words(area, 'both')}: a ply is missing over or under it there, or "
            "the order is wrong. A bare face takes no bond resin."
        )
    if weighed.process.infuses and any(y.kind == "core" for y in weighed.layers):
        found.append("An infused core fills every slit, hole and groove it has; what is drilled or cut is not counted.")
    return (
        *found,
        *(one.words for one in rules if one.where == "part"),
        ALWAYS,
        *([RESIN] if weighed.process.mixes else [DUST]),
        LICENSED,
    )


def _thickest(weighed: Weighed) -> tuple[float, str]:
    """Wet plies on one another between cores that soak up nothing, at the thickest place, and their resin. [m]"""
    most, resin = 0.0, ""
    run = np.zeros(len(weighed.regions))
    for layer, on in zip(weighed.layers, weighed.laid.on, strict=True):
        wet = layer.kind == "fabric" or layer.resin > 0
        run = np.where(on, run + layer.thickness if wet else 0.0, run)
        if run.max() > most:
            most, resin = float(run.max()), layer.resin_name
    return most, resin


def _refuse_what_burns(job: Job, weighed: Weighed, thickest: float, resin: str) -> None:
    """Wet plies that are too thick for one go are a fault of the part file, found only once they are weighed."""
    found = too_thick(weighed.process.material, job.library.get("resin", resin), thickest, job.part.stages)
    if found is not None:
        raise FaultsError([Fault(job.file or "part", None, "stages", found.wrong, found.remedy)])


def _risen(job: Job, weighed: Weighed) -> list[str]:
    """What the layers' height over the drawn surface does to their area."""
    return remarks(job, weighed.layers, weighed.mass.mean, weighed.by_height, weighed.either_way)


def _draped(weighed: Weighed) -> list[str]:
    """What draping the plies did to the weight, and where a cloth locks."""
    lies = [layer for layer in weighed.layers if layer.draped is not None]
    if not lies:
        return []
    more = sum(layer.mass * (1.0 - 1.0 / layer.draped.factor) for layer in lies if layer.draped is not None)
    found = [f"Draped over the shape: sheared cloth adds {mass_both(more, 'both')}, which is in the weight above."]
    locked = [layer for layer in lies if layer.draped is not None and layer.draped.locked > 0.001]
    if locked:
        numbers = ", ".join(str(layer.number) for layer in locked)
        worst = max(layer.draped.locked for layer in locked if layer.draped is not None)
        found.append(
            f"Ply {numbers}: the weave locks on up to {worst * 100:.1f} % of its area and wrinkles there; "
            "`layup patterns` proposes where to splice it."
        )
    bare = [str(layer.number) for layer in lies if layer.draped is not None and layer.draped.bare > 0.005]
    if bare:
        found.append(f"Ply {', '.join(bare)}: the draped cloth does not reach all of the surface; give it a start.")
    return found


def _bought(job: Job, layer: Layer) -> bool:
    """Whether a cloth is bought with its resin in it, or the part file says how much it holds."""
    material = job.library.find("fabric", layer.name)
    told = any(e.fabric == layer.name and (e.resin_content or e.fibre_volume_fraction) for e in job.part.ply)
    return told or (material is not None and material.optional("resin_content") is not None)


def _resin(weighed: Weighed) -> str:
    return next(layer.resin_name for layer in weighed.layers if layer.kind == "fabric")


def ply_record(layer: Layer) -> dict[str, object]:
    """One ply as scripts and tables get it."""
    return {
        "ply": layer.number,
        "material": layer.name,
        "fabric": layer.name if layer.kind == "fabric" else None,
        "core": layer.name if layer.kind == "core" else None,
        "kind": layer.kind,
        "form": layer.form,
        "angle_deg": layer.angle,
        "zone": layer.zone,
        "covers": list(layer.covers),
        "area_m2": layer.area,
        "height_m": layer.risen.height,
        "area_by_height_m2": layer.risen.gained,
        "area_either_way_m2": layer.risen.either_way,
        "cut_away_m2": layer.cut_away,
        "lapped_m2": layer.lapped,
        "fibre_kg": layer.fibre * layer.area,
        "resin_kg": (layer.resin + layer.bond) * layer.area,
        "core_kg": layer.core * layer.area,
        "mass_kg": layer.mass,
        "areal_kg_m2": layer.areal_weight,
        "thickness_m": layer.thickness,
        "fibre_volume_fraction": layer.fibre / layer.fibre_density / layer.thickness if layer.take_up else None,
        "drape": None if layer.draped is None else layer.draped.as_json(),
    }


def zone_record(zone: ZoneWeight) -> dict[str, object]:
    """One zone as scripts and tables get it."""
    return {
        "zone": zone.name,
        "name": zone.name,
        "area_m2": zone.area,
        "plies": zone.plies,
        "areal_kg_m2": zone.areal_weight,
        "thickness_m": zone.thickness,
        "mass_kg": zone.mass,
        "laminate_kg": zone.laminate,
    }


def finding_records(surface: Surface) -> list[dict[str, object]]:
    """What was found in a surface as scripts get it."""
    return [
        {"kind": f.kind, "count": f.count, "text": f.text, "area_effect_m2": f.area_effect} for f in surface.findings
    ]


def source_record(citation: Citation) -> dict[str, str]:
    """One figure with its source as scripts and tables get it."""
    return {
        "material": citation.material,
        "property": citation.property,
        "value": citation.printed,
        "kind": citation.kind,
        "source": citation.source,
        "reference": citation.reference,
        "at": citation.at,
    }


def _as_json(prediction: Prediction) -> Json:
    job, weighed = prediction.job, prediction.weighed
    surface, replaced, gain = job.surface, prediction.replaced, prediction.saving
    whole = surface.whole
    cost = prediction.cost
    return {
        "part": job.part.title,
        "file": job.file,
        "surface": {
            "area_m2": whole.area,
            "centroid_m": None if whole.centroid is None else list(whole.centroid),
            "side": surface.side,
            "edge_m": job.part.surface.edge if job.part.surface.edge is not None else surface.perimeter,
            "triangles": whole.triangles,
            **lie_record(job),
            "findings": finding_records(surface),
        },
        "process": weighed.process.name,
        "pressure_pa": weighed.process.pressure,
        "mass_kg": weighed.mass.as_dict(),
        "areal_kg_m2": prediction.areal_weight,
        "thickness_m": weighed.thickness.mean,
        "thickness_interval_m": weighed.thickness.as_dict(),
        "fibre_volume_fraction": weighed.fibre_fraction.mean,
        "fibre_volume_fraction_interval": weighed.fibre_fraction.as_dict(),
        "fibre_kg": weighed.fibre,
        "resin_in_part_kg": weighed.resin,
        "resin_on_faces_kg": weighed.film,
        "resin_at_cores_kg": weighed.bond,
        "resin_to_mix_kg": weighed.resin_to_mix,
        "core_kg": weighed.core,
        "finish_kg": weighed.finish,
        "extras_kg": weighed.extra,
        "by_height_kg": weighed.by_height,
        "either_way_kg": weighed.either_way,
        "trimmed_off_kg": weighed.trimmed_off,
        "as_moulded_kg": weighed.moulded,
        "cg_m": None if weighed.cg is None else list(weighed.cg),
        "inertia_kg_m2": None if weighed.inertia is None else [list(row) for row in weighed.inertia],
        "holes": hole_records(job.holes),
        "fasteners": fastener_records(job.fasteners, surface),
        "plies": [ply_record(layer) for layer in weighed.layers],
        "zones": [zone_record(zone) for zone in prediction.zones],
        "processes": [
            {
                "process": a.process,
                "mass_kg": a.weighed.mass.as_dict(),
                "thickness_m": a.weighed.thickness.mean,
                "fibre_volume_fraction": a.weighed.fibre_fraction.mean,
                "resin_in_part_kg": a.weighed.resin,
                "resin_to_mix_kg": a.weighed.resin_to_mix,
                "resin": a.resin_name,
                "saving_kg": None if a.saving is None else a.saving.as_dict(),
                "cost": dict(a.cost.amounts),
            }
            for a in prediction.alternatives
        ],
        "replaced": {
            "mass_kg": replaced.mass.mean if replaced else 0.0,
            "p05_kg": replaced.mass.p05 if replaced else 0.0,
            "p95_kg": replaced.mass.p95 if replaced else 0.0,
            "items": [{"name": t.name, "mass_kg": t.mass, "how": t.how} for t in (replaced.items if replaced else ())],
        },
        "saving": None
        if gain is None
        else {
            "mass_kg": gain.mass.as_dict(),
            "fraction": gain.fraction,
            "moment_kg_m": gain.moment,
            "cost_per_kg": None if gain.cost_per_mass is None else gain.cost_per_mass[0],
            "currency": None if gain.cost_per_mass is None else gain.cost_per_mass[1],
        },
        "cost": {"amounts": dict(cost.amounts), "unpriced": list(cost.unpriced)},
        "made": [
            {
                "heavier": m.heavier,
                "lighter": m.lighter,
                "difference_kg": m.difference,
                "fraction": m.fraction,
                "process_explains_kg": m.explained.as_dict(),
                "process_share": m.share,
                "process_alone_is_enough": m.enough,
                "rest_kg": m.rest,
            }
            for m in prediction.made
        ],
        "shop": None
        if prediction.published is None
        else {
            "published_mass_kg": prediction.published.mass.as_dict(),
            "habits": [
                {
                    "of": list(h.of),
                    "weighed_parts": h.parts,
                    "resin_factor": math.exp(h.shift),
                    "spread": h.spread,
                    "published_spread": h.published_spread,
                }
                for h in prediction.habits
            ],
        },
        "cautions": list(prediction.cautions),
        "safety": [
            {"rule": one.rule, "words": one.words, "where": one.where, "source": one.source} for one in prediction.rules
        ],
        "sources": [source_record(citation) for citation in prediction.citations],
    }
