"""The build sheet: everything the bench needs for one part, in the order it is needed.

`build_sheet` gathers prediction, cut, pots, bag and weigh points into a `Document`, which `layup.report.document_file`
writes. Nothing is computed here that its own module does not compute; a figure on the sheet is that of the command.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layup import __version__
from layup.make.bag import Bag, bag
from layup.make.batches import Mix, mixes
from layup.make.build_sheet_plates import part_plate
from layup.make.build_sheet_tables import (
    bag_blocks,
    cure_blocks,
    cut_blocks,
    each,
    habit_name,
    hold_blocks,
    limit_words,
    names_words,
    one_of,
    ply_blocks,
    point_blocks,
    resin_blocks,
    ways_asked,
)
from layup.make.cut import Cut, cut
from layup.make.mixing import Scale
from layup.make.nest_file import how_it_was_cut, path_beside, stored
from layup.make.points import WeighPoint, weigh_points
from layup.partfile.cautions import DUST, RESIN, Where
from layup.partfile.model import WHOLE
from layup.report.document import TICK, Block, Document, Facts, Grid, Section, Words, in_system
from layup.weight.prediction import Prediction
from layup.words import (
    System,
    angle_words,
    area_words,
    length_words,
    mass_both,
    panel_weight_words,
    pressure_words,
    thickness_words,
)


@dataclass(frozen=True)
class Bench:
    """All that a build sheet shows.

    Attributes:
        prediction: The part.
        cut: Its cloth.
        mixes: Its pots, by resin.
        bag: Its bag.
        points: Its weigh points.
    """

    prediction: Prediction
    cut: Cut
    mixes: tuple[Mix, ...]
    bag: Bag
    points: tuple[WeighPoint, ...]


def prepare(
    prediction: Prediction, part: Path | None = None, *, people: int = 1, seconds: float = 0.0, patterns: bool = True,
    ratio: float | None = None, temperature: float | None = None, pot: float | None = None,
    cups: Sequence[float] = (), scale: Scale | None = None,
) -> Bench:  # fmt: skip
    """Work out everything the sheet shows.

    Args:
        prediction: Of the part.
        part: Its part file; a cut stored beside it is taken where it still fits.
        people: Pairs of hands. [-]
        patterns: Whether to make flat patterns; else rough outlines stand in for them, which is quicker.
        seconds: To search for a short cut where none is stored; 0 for one that is always the same. [s]
        ratio: Hardener over resin by mass, from the can. [-]
        temperature: Of shop and resin. [K]
        pot: Most to mix at once. [kg]
        cups: Sizes of the shop's cups. [m^3]
        scale: The shop's resin scale.

    Raises:
        LayupError: A figure is missing, or the resin is too fast.
    """
    job, weighed = prediction.job, prediction.weighed
    told: dict[str, Any] = {}
    if part is not None and path_beside(part).is_file():
        told = {**how_it_was_cut(path_beside(part)), "stored": stored(path_beside(part))}
    return Bench(
        prediction,
        cut([job], seconds=seconds, patterns=patterns, **told),
        mixes(job, weighed, people=people, ratio=ratio, temperature=temperature, pot=pot, cups=cups, scale=scale),
        bag(job, weighed),
        weigh_points(job, weighed),
    )


def build_sheet(bench: Bench, system: System) -> Document:
    """Lay the bench out as a sheet."""
    prediction = bench.prediction
    weighed = prediction.weighed
    resins = ", ".join(dict.fromkeys(layer.resin_name for layer in weighed.layers if layer.kind == "fabric"))
    plate = (
        ("process", weighed.process.name),
        ("resin", resins),
        ("file", prediction.job.file or "part"),
        ("will weigh", mass_both(weighed.mass.mean, system)),
        ("made with", f"layup {__version__}"),
        ("date", ""),
    )
    sections = [
        Section("The part", _part(prediction, system)),
        Section("Plies, in laying order", ply_blocks(bench.prediction, bench.cut, bench.mixes, system)),
        Section("Cloth to cut", (*_care(prediction, "cut"), *cut_blocks(bench.cut, system))),
    ]
    if bench.mixes:
        sections.append(Section("Resin", (*_care(prediction, "mix"), *resin_blocks(bench.mixes, system, wall=True))))
    title = "The bag, from the tool up" if bench.bag.bagged else "The tool"
    sections.append(
        Section(
            title,
            (*_care(prediction, "bag"), *bag_blocks(bench.bag, system)),
        )
    )
    sections.append(Section("Cure", cure_blocks(prediction, bench.bag, system)))
    sections.append(Section("On the scale", point_blocks(bench.points, system)))
    sections.append(Section("Hold points", hold_blocks(bench.bag)))
    sections.append(Section("Trimming, finish, fitting", _care(prediction, "trim", "finish", "fit")))
    sections.append(Section("Cautions", (Words(_cautions(prediction), caution=True),)))
    said = tuple(Section(s.title, tuple(in_system(block, system) for block in s.blocks)) for s in sections)
    return Document("Build sheet", prediction.title, plate, said)


def _care(prediction: Prediction, *where: Where) -> tuple[Block, ...]:
    """What can hurt somebody, where the hand is."""
    said = prediction.at_hand(*where)
    return (Words(said, caution=True),) if said else ()


def _cautions(prediction: Prediction) -> tuple[str, ...]:
    """Those of the prediction, but for how processes were compared, and for resin and dust, which stand in their "
    "place.
    """
    return tuple(text for text in prediction.cautions if "ompared" not in text and text not in (RESIN, DUST))


def _part(prediction: Prediction, system: System) -> tuple[Block, ...]:
    weighed, job = prediction.weighed, prediction.job
    pairs = [
        ("will weigh, finished", mass_both(weighed.mass.mean, system)),
        ("9 builds in 10 between", each(system, lambda one: limit_words(weighed.mass, one))),
        ("surface", area_words(job.surface.whole.area, system)),
        ("thickness", thickness_words(weighed.thickness.mean, system)),
        ("areal weight, finished", panel_weight_words(prediction.areal_weight, system)),
    ]
    if weighed.process.pressure is not None:
        pairs.append(("vacuum on the gauge", pressure_words(weighed.process.pressure, system)))
    if job.part.trim:
        pairs.append(("laid beyond the trim line", length_words(job.part.trim, system)))
    blocks: list[Block] = [Facts(tuple(pairs), 2 if len(pairs) > 5 else 1)]
    if prediction.published is not None:
        blocks.append(Words((_from_the_scale(prediction, system),)))
    if job.surface.has_mesh:
        blocks.insert(0, part_plate(prediction, system))
    return tuple(blocks)


def _from_the_scale(prediction: Prediction, system: System) -> str:
    """That the shop's weigh-ins stand behind the figures, and what they would be without."""
    published = prediction.published
    before = mass_both((published or prediction.weighed).mass.mean, system)
    told = [
        f"{habit_of} {abs(math.expm1(habit.shift)) * 100:.0f} % {'more' if habit.shift >= 0 else 'less'} resin than "
        f"published ({habit.parts} weighed)"
        for habit, habit_of in ((one, habit_name(one, prediction.weighed)) for one in prediction.habits)
    ]
    return (
        f"This shop's weigh-ins were used in every weight here: {'; '.join(told)}. By published figures alone it would "
        f"weigh {before}."
    )


def _place(zone: str) -> str:
    return "whole surface" if zone == WHOLE else zone


def day_sheet(
    predictions: Sequence[Prediction], cut: Cut, mixed: Sequence[tuple[Mix, ...]], shelf: Sequence[str], system: System
) -> Document:
    """One sheet for a day: several parts in one cut, which piece is for which, in laying order.

    Args:
        predictions: Of the parts, in the order of the cut.
        cut: Of all of them.
        mixed: Resin of each part.
        shelf: What the stock list says, a sentence each.
        system: "lb", "metric" or "both".
    """
    marks = [chr(65 + n % 26) for n in range(len(predictions))]
    parts = tuple(
        (mark, one.title, one.weighed.process.name, mass_both(one.mass.mean, system), TICK, TICK)
        for mark, one in zip(marks, predictions, strict=True)
    )
    where = {piece.name: f for f in cut.fabrics for piece in f.pieces}
    rows: list[tuple[str, ...]] = []
    for number, (mark, plies, cores) in enumerate(zip(marks, cut.plies, cut.cores, strict=True)):
        laid: list[tuple[int, tuple[str, ...]]] = []
        for ply in plies:
            own = [p.name for f in cut.fabrics for p in f.pieces if p.part == number and p.ply.number == ply.number]
            cloths = dict.fromkeys(of.label for name in own if (of := where[name].of) is not None)
            angle = angle_words(ply.angle) if ply.directed else "no warp"
            laid.append((ply.number, (names_words(own), ply.fabric, angle, _place(ply.zone), ", ".join(cloths))))
        for core in cores:
            thick = thickness_words(core.thickness, one_of(system))
            named = names_words([name for name, _ in core.pieces])
            laid.append((core.number, (named, f"{core.name}, {thick}", "core", _place(core.zone), "")))
        rows += [(mark, str(ply_number), *cells, TICK, TICK) for ply_number, cells in sorted(laid)]
    resin = tuple(
        (mark, mix.resin, mass_both(mix.total, system), str(len(mix.batches)), mix.batches[0].covers, TICK)
        for mark, mixes_of in zip(marks, mixed, strict=True)
        for mix in mixes_of
    )
    sections = [
        Section("The parts", (Grid(("", "part", "process", "will weigh", "laid", "on the scale"), parts,
                                   (0.05, 0.42, 0.15, 0.2, 0.08, 0.1), strong=frozenset({0})),)),
        Section("Cloth to cut", (*ways_asked(cut.jobs), *cut_blocks(cut, system))),
        Section("Pieces, part by part, in laying order",
                (Grid(("part", "ply", "pieces", "cloth or core", "warp", "where", "from", "cut", "laid"), tuple(rows),
                      (0.06, 0.05, 0.14, 0.22, 0.08, 0.19, 0.12, 0.06, 0.06), strong=frozenset({0, 2})),)),
    ]  # fmt: skip
    if resin:
        head = ("part", "resin", "to mix, losses counted", "batches", "the first for ply", "mixed")
        sections.append(
            Section("Resin", (Grid(head, resin, (0.07, 0.33, 0.25, 0.1, 0.17, 0.08), strong=frozenset({0})),))
        )
    if shelf:
        sections.append(Section("From the shelf", (Words(tuple(shelf)),)))
    care = dict.fromkeys(words for one in predictions for words in one.at_hand("cut", "mix", "bag"))
    if care:
        sections.append(Section("Cautions", (Words(tuple(care), caution=True),)))
    plate = (("parts", str(len(predictions))), ("made with", f"layup {__version__}"), ("date", ""))
    said = tuple(Section(s.title, tuple(in_system(block, system) for block in s.blocks)) for s in sections)
    title = predictions[0].title if len(predictions) == 1 else f"{predictions[0].title} and {len(predictions) - 1} more"
    return Document("Day sheet", title, plate, said)
