"""What if: the same part with other plies, in another process, on another core or on none, side by side.

- Each question a row: weight, saving, money, stiffness     `what_if`
- What a coat, a ply or a slip of the saw adds              `adds`

Every row is weighed as the prediction weighs it, from the part file with those lines changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.choosing.shelf import OldPart, PlyChoice, old_stiffness
from layup.errors import LayupError, UnitError
from layup.laminate.elastic import cured_ply
from layup.laminate.panel import terms_of
from layup.laminate.panel_model import strip_stiffness
from layup.laminate.stiffness import stack_stiffness
from layup.materials import Material
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, FinishEntry, PlyEntry
from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.report.surface_words import in_units
from layup.spread import Interval, interval
from layup.units import parse
from layup.weight.compare import process_for, unfit
from layup.weight.cost import Cost, material_cost
from layup.weight.plies import FabricLayer
from layup.weight.prediction import Prediction
from layup.weight.weigh import Weighed, weigh_layup
from layup.words import System, angle_words, mass_both, percent_words

Floats = NDArray[np.float64]

MOST_ROWS = 60
"""More questions than that are no table any more. [-]"""
MOST_PLIES = 60
SLIP = 2e-3
"""How far off the line a saw may run; common practice, no source. [m]"""


@dataclass(frozen=True, slots=True)
class Variant:
    """The part with some lines changed.

    Attributes:
        asked: What was changed, "3 plies, wet"; "as written" for the part itself.
        layup: Plies and cores all over, from the mould up, in words.
        weighed: None where it can't be laid.
        saving: Against the old part; None without one.
        cost: Of its material; None where it can't be laid.
        stiffness: Bent along x and along y, over the old part's; None where that can't be said. [-]
        why: Why it can't be laid, or why nothing is said of its stiffness.
    """

    asked: str
    layup: str
    weighed: Weighed | None = field(repr=False)
    saving: Interval | None
    cost: Cost | None
    stiffness: tuple[float, float] | None
    why: str


def what_if(
    prediction: Prediction, plies: Sequence[int] = (), processes: Sequence[str] = (), cores: Sequence[str] = ()
) -> tuple[Variant, ...]:
    """The part as written, and each mixture of what is asked.

    Args:
        prediction: Of the part as written.
        plies: How many plies of cloth lie all over, cores not counted. [-]
        processes: Names of processes.
        cores: "none", a core's name, a thickness, or both: "PVC foam 60=5 mm".

    Returns:
        One row each, the part as written first.

    Raises:
        LayupError: A number, name or thickness that can't be, or more than `MOST_ROWS` rows.
    """
    job = prediction.job
    names = [job.library.get("process", name).name for name in processes]
    try:
        old, nothing = old_stiffness(job), "what comes off has no stiffness in the tables"
    except LayupError as error:
        old, nothing = None, str(error)
    rows = [_variant(prediction, job, "as written", old, nothing)]
    nothing_of: list[None] = [None]
    asked = list(product(plies or nothing_of, names or nothing_of, cores or nothing_of))
    if len(asked) > MOST_ROWS:
        raise LayupError(f"{len(asked)} mixtures are asked for, and {MOST_ROWS} fit a table. Ask for fewer at once")
    for count, process, core in asked if (plies or names or cores) else []:
        entries = [entry.model_copy(update={"count": 1}) for entry in job.part.plies() for _ in range(entry.count)]
        said = []
        if core is not None:
            entries, word = _with_core(job, entries, core)
            said.append(word)
        if count is not None:
            entries = _with_plies(entries, count)
            said.insert(0, f"{count} {'ply' if count == 1 else 'plies'}")
        if process is not None:
            said.append(process)
        part = job.part.model_copy(
            update={"ply": entries, "stack": None, "fabric": None, "process": process or job.part.process}
        )
        rows.append(_variant(prediction, replace(job, part=part), ", ".join(said), old, nothing))
    return tuple(rows)


def _variant(prediction: Prediction, job: Job, asked: str, old: OldPart | None, nothing: str) -> Variant:
    own = job.part.process == prediction.job.part.process
    layup = _layup_words(job)
    try:
        weighed = weigh_layup(job, process_for(job, job.part.process, own=own), own_process=own)
    except LayupError as error:
        return Variant(asked=asked, layup=layup, weighed=None, saving=None, cost=None, stiffness=None, why=str(error))
    wrong = unfit(job, weighed)
    if wrong:
        return Variant(asked=asked, layup=layup, weighed=None, saving=None, cost=None, stiffness=None, why=wrong)
    comes_off = prediction.replaced
    gain = None
    if comes_off is not None:
        gain = interval(comes_off.drawn - weighed.drawn, comes_off.mass.mean - weighed.mass.mean)
    stiffness, why = None, nothing
    if old is not None:
        try:
            bends = strip_stiffness(_bending(job, weighed)[None])[0] / strip_stiffness(old.terms[None])[0]
            stiffness, why = (float(bends[0]), float(bends[1])), ""
        except LayupError as error:
            why = str(error)
    return Variant(
        asked=asked,
        layup=layup,
        weighed=weighed,
        saving=gain,
        cost=material_cost(job, weighed),
        stiffness=stiffness,
        why=why,
    )


def _bending(job: Job, weighed: Weighed) -> Floats:
    """D of what lies all over, free to stretch, as six numbers: plies as the average build has them. [N m]

    A core keeps the skins apart and adds nothing of its own; how it gives in shear is not in it.
    """
    qbars, thick = [], []
    for layer in weighed.layers:
        if layer.zone != WHOLE:
            continue
        thick.append(layer.thickness)
        if not isinstance(layer, FabricLayer):
            qbars.append(np.zeros((3, 3)))
            continue
        cloth, resin = job.library.get("fabric", layer.name), job.library.get("resin", layer.resin_name)
        fraction = layer.fibre / layer.fibre_density / layer.thickness
        ply = cured_ply(
            job.library,
            cloth,
            resin=resin,
            process=weighed.process,
            fibre_fraction=fraction,
            void_fraction=layer.take_up.void_fraction,
            thickness=layer.thickness,
        )
        qbars.append(PlyChoice(layer.angle, ply, layer.thickness, layer).qbar)
    if not qbars:
        raise LayupError("no ply lies all over")
    return terms_of(stack_stiffness(np.array(qbars), np.array(thick)).reduced_bending)


def _all_over(entry: PlyEntry) -> bool:
    return entry.fabric is not None and entry.zone is None and entry.area is None


def _with_plies(entries: list[PlyEntry], count: int) -> list[PlyEntry]:
    """As many plies all over as asked: the last of a skin left out, or its own order laid on.

    On a core both skins keep their shares, so that one does not grow alone.
    """
    over = [n for n, entry in enumerate(entries) if _all_over(entry)]
    if not over:
        raise LayupError("no ply of this part lies all over, so their number can't be changed")
    core = next((n for n, entry in enumerate(entries) if entry.core is not None), None)
    tool = [n for n in over if core is None or n < core]
    bag = [n for n in over if n not in tool]
    least = 1 if not tool or not bag else 2
    if not least <= count <= MOST_PLIES:
        raise LayupError(f"{count} plies can't be laid: write {least} to {MOST_PLIES}")
    first = count if not bag else 0 if not tool else min(max(round(count * len(tool) / len(over)), 1), count - 1)
    made = list(entries)
    for side, wanted, low in ((bag, count - first, False), (tool, first, True)):  # from the bag side down: places hold
        if not side:
            continue
        gone = set(side[wanted:]) if low else set(side[: len(side) - wanted])
        more = [made[side[n % len(side)]] for n in range(len(side), wanted)]
        at = side[-1] + 1 if low else side[0]
        made = [*made[:at], *(more if low else more[::-1]), *made[at:]] if more else made
        made = [entry for n, entry in enumerate(made) if n not in gone]
    return made


def _with_core(job: Job, entries: list[PlyEntry], text: str) -> tuple[list[PlyEntry], str]:
    """The plies with another core, or with none; and the words for it."""
    if text.strip().casefold() == "none":
        return [entry for entry in entries if entry.core is None], "no core"
    name, _, thick = (piece.strip() for piece in text.partition("="))
    update: dict[str, object] = {}
    try:
        update["thickness"] = parse(thick or name, "length")
    except UnitError:
        if thick:
            raise
    said = text.strip() if "thickness" in update and not thick else ""
    if not said:
        material: Material = job.library.get("core", name)
        update["core"] = material.name
        said = material.name + (f", {thick}" if thick else "")
    if any(entry.core is not None for entry in entries):
        return [e if e.core is None else e.model_copy(update=update) for e in entries], said
    if "core" not in update:
        raise LayupError(f'this part has no core to be {said} thick. Write --core "PVC foam 60={said}"')
    over = [n for n, entry in enumerate(entries) if _all_over(entry)]
    if len(over) < 2:
        raise LayupError("a core needs a ply on each of its faces, and fewer than two plies lie all over")
    at = over[(len(over) + 1) // 2]
    core = PlyEntry.model_validate({"core": update["core"]}).model_copy(update=update)
    return [*entries[:at], core, *entries[at:]], said


def _layup_words(job: Job) -> str:
    """What lies all over, from the mould up: angles of plies, names of cores."""
    words = []
    for entry in job.part.plies():
        if entry.core is not None and entry.zone is None and entry.area is None:
            words.append("core")
        elif _all_over(entry):
            words += [angle_words(entry.angle)] * entry.count
    return ", ".join(words)


@dataclass(frozen=True, slots=True)
class Added:
    """What one thing adds to the part.

    Attributes:
        what: In words.
        mass: [kg]
        how: What was taken for it.
    """

    what: str
    mass: float
    how: str


def adds(prediction: Prediction) -> tuple[Added, ...]:
    """What a coat more, a ply more, or a trim line missed adds.

    Returns:
        Coats of the tables' paints, primers and gel coats, one ply more all over, two millimetres left at the edge.
    """
    job, now = prediction.job, prediction.weighed.mass.mean

    def heavier(**update: object) -> float:
        part = job.part.model_copy(update=update)
        changed = replace(job, part=part)
        return weigh_layup(changed, process_for(changed, part.process, own=True)).mass.mean - now

    found = []
    coats = [m for m in job.library if m.kind == "finish" and m.name.split(",")[0] in ("paint", "primer", "gel coat")]
    for material in coats:
        entry = FinishEntry.model_validate({"finish": material.name})
        found.append(
            Added(f"one coat of {material.name}", heavier(finish=[*job.part.finish, entry]), "one side, all over")
        )
    entries = [entry.model_copy(update={"count": 1}) for entry in job.part.plies() for _ in range(entry.count)]
    count = sum(_all_over(entry) for entry in entries)
    if count:
        more = _with_plies(entries, count + 1)
        last = next(e for e in reversed(more) if _all_over(e))
        found.append(Added("one more ply", heavier(ply=more, stack=None, fabric=None), f"{last.fabric}, all over"))
    edge = job.part.surface.edge or job.surface.perimeter
    if edge:
        found.append(
            Added("2 mm left at the edge", edge * SLIP * prediction.areal_weight, "all round, at the mean areal weight")
        )
    return tuple(found)


def what_if_screen(prediction: Prediction, rows: Sequence[Variant], system: System) -> RenderableType:
    """The table of `layup predict --plies --process --core`."""
    one: System = "lb" if system != "metric" else "metric"
    saves = any(row.saving is not None for row in rows)
    priced = any(row.cost is not None and row.cost.amounts for row in rows)
    stiff = any(row.stiffness is not None for row in rows)
    heads = [
        "what if",
        "weight",
        "9 builds in 10 within",
        *(["saves"] if saves else []),
        *(["material"] if priced else []),
        *(["bends"] if stiff else []),
        "all over, from the mould up",
    ]
    lines = []
    for row in rows:
        if row.weighed is None or row.cost is None:
            lines.append((row.asked, "not laid so", *[""] * (len(heads) - 2)))
            continue
        mass = row.weighed.mass
        low, high = (abs(end / mass.mean - 1) * 100 for end in (mass.p05, mass.p95))
        cells = [row.asked, mass_both(mass.mean, one), f"−{low:.0f} to +{high:.0f} %"]
        if saves:
            cells.append("" if row.saving is None else _signed(row.saving.mean, one))
        if priced:
            money = " + ".join(f"{amount:.2f} {currency}" for currency, amount in row.cost.amounts.items())
            cells.append(f"{money} and more" if money and row.cost.unpriced else money)
        if stiff:
            cells.append("" if row.stiffness is None else "; ".join(f"{x:.2g}" for x in row.stiffness))
        lines.append((*cells, row.layup))
    last = len(heads) - 1
    right = frozenset({1, *range(3, last)})
    table = Grid(tuple(heads), tuple(lines), right=right, strong=frozenset({1}), quiet=frozenset({2, last}))
    parts: list[RenderableType] = [Text(prediction.title, style="bold"), Text(), grid_text(table)]
    said = [f"{row.asked}: {row.why}" for row in rows if row.weighed is None]
    if stiff:
        said.append(
            "Bends: stiffness along x; along y, the old part's being 1, of what lies all over; what lies in a zone, "
            "and how a core gives in shear, is not in it. It says nothing of strength."
        )
        said += [
            f"{row.asked}: nothing is said of its stiffness: {row.why}"
            for row in rows
            if row.weighed is not None and row.stiffness is None
        ]
    elif saves:
        said.append(f"Nothing is said of stiffness: {rows[0].why}.")
    if priced:
        said.append("Material: cloth, core and resin as laid; offcuts are not counted.")
    return Group(*parts, Text(), *(Padding(Text(line, style="dim"), (0, 0, 0, 2)) for line in said))


def _signed(kg: float, system: System) -> str:
    return mass_both(kg, system) if kg >= 0 else f"adds {mass_both(-kg, system)}"


def adds_screen(prediction: Prediction, rows: Sequence[Added], system: System) -> RenderableType:
    """The table of `layup predict --adds`."""
    lines = tuple(
        (
            in_units(row.what, system),
            mass_both(row.mass, system),
            percent_words(row.mass / prediction.mass.mean),
            row.how,
        )
        for row in rows
    )
    head, right = ("this", "adds", "of the part", "taken as"), frozenset({1, 2})
    table = Grid(head, lines, right=right, strong=frozenset({1}), quiet=frozenset({3}))
    return Group(Text(prediction.title, style="bold"), Text(), grid_text(table))


def variant_record(row: Variant) -> dict[str, object]:
    """A row for scripts: SI units."""
    laid = row.weighed

    def ends(one: Interval | None) -> dict[str, float] | None:
        return None if one is None else {"mean": one.mean, "p05": one.p05, "p95": one.p95}

    return {
        "asked": row.asked,
        "layup": row.layup,
        "mass_kg": ends(laid.mass if laid else None),
        "saving_kg": ends(row.saving),
        "thickness_m": laid.thickness.mean if laid else None,
        "cost": dict(row.cost.amounts) if row.cost else None,
        "unpriced": list(row.cost.unpriced) if row.cost else [],
        "stiffness_over_old": list(row.stiffness) if row.stiffness else None,
        "why": row.why or None,
    }
