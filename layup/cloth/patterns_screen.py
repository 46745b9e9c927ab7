"""Flat patterns on the screen and for scripts: what each ply measures, how it lies, where to splice it."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from layup.cloth.cores import sheet_of
from layup.cloth.draped import asked, drape_ply, shears
from layup.cloth.pattern import FlatPly, overlap_of
from layup.cloth.splice_line import Splice
from layup.partfile.job import Job
from layup.report.document import Grid, Section, Words
from layup.report.surface_words import in_units
from layup.sides.mould import seen
from layup.words import System, angle_words, area_words, length_words, mass_both, thickness_words

if TYPE_CHECKING:
    from rich.console import RenderableType

Found = Sequence[tuple[int, Splice | None]]


def patterns_screen(job: Job, plies: Sequence[FlatPly], splices: Found, system: System) -> RenderableType:
    """What the patterns measure, and what to know before they are cut."""
    from rich.console import Group
    from rich.text import Text

    from layup.report.document_text import sections_text

    return Group(Text(job.part.title, style="bold"), *sections_text(patterns_told(job, plies, splices, system)))


def patterns_told(job: Job, plies: Sequence[FlatPly], splices: Found, system: System) -> list[Section]:
    """The same for terminal and page: what each ply measures, then what to know of it; only what there is to say."""
    cores = any(ply.thickness is not None for ply in plies)
    rows = []
    for ply in plies:
        x0, y0, x1, y1 = ply.outline.bounds
        thick = "" if ply.thickness is None else thickness_words(ply.thickness, system)
        rows.append(
            (
                ply.name + (f" ×{ply.pieces}" if ply.pieces > 1 else ""),
                f"{ply.fabric}, {ply.zone}",
                *([thick] if cores else []),
                angle_words(ply.angle) if ply.directed else "none",
                length_words(x1 - x0, system),
                length_words(y1 - y0, system),
                area_words(ply.outline.area, "metric" if system == "both" else system),
            )
        )
    head = ("ply", *(("cloth or core", "thick") if cores else ("cloth",)), "warp", "along", "across", "area")
    notes = dict.fromkeys(
        f"{'Ply' if ply.thickness is None else 'Core'} {ply.number}: {note}." for ply in plies for note in ply.notes
    )
    for name in dict.fromkeys(ply.fabric for ply in plies if ply.thickness is not None):
        if sheet_of(job, name) is None:
            wanted = f"rows {name},length,... and {name},width,... in a table of your own"
            notes[f"{name}: joints are drawn where the size of a sheet is known: {wanted}."] = None
    said = (
        ("Which way round", seen(job.surface, job.part.surface.mould).sentences),
        ("Draped", drape_lines(job)),
        ("Before cutting", notes),
        ("Laps of slits", lap_lines(job, plies)),
        ("Splices", [splice_words(number, splice) for number, splice in splices]),
    )
    careful = "Geometry only: a cloth laid by hand slips and stretches a little. Cut one in paper first."
    return [
        Section("What each ply measures", (Grid(head, tuple(rows), right=frozenset(range(2, len(head)))),)),
        *(Section(title, (Words(tuple(in_units(line, system) for line in lines)),)) for title, lines in said if lines),
        Section("On the mould", (Words((careful,)),)),
    ]


def lap_lines(job: Job, plies: Sequence[FlatPly]) -> list[str]:
    """What the laps of slit plies weigh, and where the prediction does not count them, what to write; a line a ply."""
    lines, first = [], 1
    for entry in job.part.plies():
        own = [ply for ply in plies if ply.number == first and ply.letters]
        first += entry.count
        long = sum(line.length for ply in own for line in ply.seams)
        if entry.fabric is None or entry.seam is not None or not long:
            continue
        heavier = long * overlap_of(entry) * job.library.get("fabric", entry.fabric).figure("areal_weight").value
        said = f"Ply {own[0].number}: its laps are {mass_both(heavier, 'both')} more cloth, each time it is laid"
        counts = (
            ", which the prediction counts"
            if asked(job, entry)
            else (
                ', which the prediction counts where [surface] says drape = true, or the ply overlap = "'
                f'{overlap_of(entry) * 1e3:.0f} mm" and seam = "{long * 1e3:.0f} mm"'
            )
        )
        lines.append(f"{said}{counts}.")
    return lines


def drape_lines(job: Job) -> list[str]:
    """One line for each ply of cloth: shear, cloth per area, where its threads run."""
    lines, number = [], 0
    for entry in job.part.plies():
        number += 1
        first, number = number, number + entry.count - 1
        if entry.fabric is None or entry.area is not None or not shears(job, entry):
            continue
        lies = drape_ply(job, entry)
        found = lies.as_json()
        warp = found["warp_angle_deg"]
        lines.append(
            f"ply {first}: cloth up {abs(lies.factor - 1) * 100:.1f} %, "
            f"shear {found['shear_mean_deg']:.1f}° on average, {found['shear_max_deg']:.0f}° at most; "
            f"warp {_whole(warp['mean'])}° ({_whole(warp['p05'])} to {_whole(warp['p95'])})"
        )
    return lines


def _whole(value: float) -> str:
    """A whole number, never minus nought; a dash where there is none."""
    return "-" if math.isnan(value) else f"{round(value) + 0:d}"


def splice_words(number: int, splice: Splice | None) -> str:
    """What to do about a ply that locks, a sentence."""
    if splice is None:
        return (
            f"Ply {number} locks, and no single straight splice takes a quarter of it away: slit it from the edge to "
            "each place and lap it, start it elsewhere, turn it, or take a cloth that shears further."
        )
    a, b = (", ".join(f"{v * 1e3:.0f}" for v in end) for end in splice.ends)
    return (
        f"Ply {number}: splice it from ({a}) to ({b}) mm, {length_words(splice.length, 'both')} long with "
        f"{splice.overlap * 1e3:.0f} mm overlap. Past locking falls from {splice.before * 1e4:.0f} cm² to "
        f"{splice.after * 1e4:.0f} cm², the greatest shear from {math.degrees(splice.most_before):.0f}° to "
        f"{math.degrees(splice.most_after):.0f}°, for {mass_both(splice.more, 'both')} more cloth."
    )


def patterns_json(job: Job, plies: Sequence[FlatPly], splices: Found) -> str:
    """The same for scripts, in SI units; the outline of each ply in the frame of the roll."""
    way = seen(job.surface, job.part.surface.mould)
    drapes: dict[str, object] = {}
    number = 0
    for entry in job.part.plies():
        number += 1
        first, number = number, number + entry.count - 1
        if entry.fabric is not None and entry.area is None and shears(job, entry):
            drapes[str(first)] = drape_ply(job, entry).as_json()
    return json.dumps(
        {
            "part": job.part.title,
            "seen_from": "bag side" if way.known else None,
            "mould_wanted": way.wanted or None,
            "plies": [
                {
                    "ply": ply.number,
                    "name": ply.name,
                    "count": ply.count,
                    "alike": ply.alike,
                    "fabric": ply.fabric,
                    "angle_deg": ply.angle,
                    "zone": ply.zone,
                    "has_warp": ply.directed,
                    "directions": {name: list(unit) for name, unit in ply.ways},
                    "flat_area_m2": ply.outline.area,
                    "surface_area_m2": ply.area,
                    "stretch": None if ply.stretch is None else {"least": ply.stretch[0], "most": ply.stretch[1]},
                    "outline_m": [[float(x), float(y)] for x, y, *_ in ply.outline.exterior.coords],
                    "cutouts_m": [[[float(x), float(y)] for x, y, *_ in r.coords] for r in ply.outline.interiors],
                    "core_thickness_m": ply.thickness,
                    "bevels_m": [[[float(x), float(y)] for x, y in line.coords] for line in ply.bevels],
                    "scores_m": [[[float(x), float(y)] for x, y in line.coords] for line in ply.scores],
                    "slits_m": [[[float(x), float(y)] for x, y in line.coords] for line in ply.slits],
                    "drills": [{"at_m": list(d.at), "diameter_m": d.diameter, "name": d.name} for d in ply.drills],
                    "drape": drapes.get(str(ply.number)),
                    "notes": list(ply.notes),
                }
                for ply in plies
            ],
            "splices": [
                {
                    "ply": number,
                    "splice": None
                    if splice is None
                    else {
                        "ends_m": [[float(v) for v in end] for end in splice.ends],
                        "length_m": splice.length,
                        "overlap_m": splice.overlap,
                        "locked_before_m2": splice.before,
                        "locked_after_m2": splice.after,
                        "shear_max_before_deg": math.degrees(splice.most_before),
                        "shear_max_after_deg": math.degrees(splice.most_after),
                        "more_cloth_kg": splice.more,
                    },
                }
                for number, splice in splices
            ],
        },
        indent=2,
        ensure_ascii=False,
    )
