"""The bag, from the tool up: what lies on the laminate, how much of each, what it costs, and what vacuum it can hold.

Every layer reaches past the laminate by a margin; its area is that of the outline grown by it, and its length off the
roll comes from the least rectangle round the part. Film for the bag is larger both ways, for the pleats. All margins
are common practice (`layup.cloth.practice`); the vacuum is the process's at the altitude of the shop (ISO 2533).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from layup.cloth import practice
from layup.cloth.rough import rough_outline
from layup.laminate.atmosphere import greatest_vacuum
from layup.make.batches import is_feed
from layup.make.plies_to_cut import extent
from layup.materials import Material
from layup.partfile.job import Job
from layup.sources import Figure
from layup.weight.cost import price_of
from layup.weight.weigh import Weighed

if TYPE_CHECKING:
    from shapely import Polygon


@dataclass(frozen=True, slots=True)
class BagLayer:
    """One layer or item of the bag.

    Attributes:
        name: What it is.
        material: The consumable of the tables; "" where it has no row.
        note: What to mind.
        area: Of the layer; None for what is counted or measured by length. [m^2]
        length: Off the roll, or of tape and tube; None where it doesn't apply. [m]
        strips: How many widths of the roll lie side by side.
        count: How many, for ports.
        price: Money and currency; None where no table gives one.
    """

    name: str
    material: str
    note: str
    area: float | None = None
    length: float | None = None
    strips: int = 0
    count: int = 0
    price: tuple[float, str] | None = None


@dataclass(frozen=True)
class Bag:
    """The bag of a part.

    Attributes:
        layers: From the tool up.
        bagged: Whether there is a bag; else only the tool's release.
        feed: Whether resin is drawn in under it.
        outline: Area under the bag, cut-outs counted. [m^2]
        length: Of the least rectangle round the part. [m]
        width: [m]
        pressure: What the gauge should read; None without a bag. [Pa]
        ceiling: The most it can read at the shop's altitude. [Pa]
        force: On the mould. [N]
        drinks: Resin that stays in the bag; 0 for a prepreg. [kg]
        leak: Most the gauge may fall, and in what time, before the part is left alone. [Pa, s]
        unpriced: Materials without a price.
        notes: What to know.
        figures: What it rests on.
    """

    layers: tuple[BagLayer, ...]
    bagged: bool
    feed: bool
    outline: float
    length: float
    width: float
    pressure: float | None
    ceiling: float
    force: float
    drinks: float
    leak: tuple[float, float] | None
    unpriced: tuple[str, ...]
    notes: tuple[str, ...]
    figures: tuple[Figure, ...] = field(repr=False)

    @property
    def prices(self) -> dict[str, float]:
        """Money by currency, of what has a price."""
        sums: dict[str, float] = {}
        for layer in self.layers:
            if layer.price is not None:
                sums[layer.price[1]] = sums.get(layer.price[1], 0.0) + layer.price[0]
        return sums


@dataclass(frozen=True, eq=False, slots=True)
class _Flat:
    """The outline of the part laid flat, its holes filled."""

    area: float
    round: float
    length: float
    width: float
    guessed: bool

    def grown(self, margin: float) -> float:
        """Area of the outline grown by a margin: A + P m + pi m^2, exact for a convex one. [m^2]"""
        return self.area + self.round * margin + math.pi * margin**2


def bag(job: Job, weighed: Weighed) -> Bag:
    """What the bag of a part takes.

    Returns:
        The bag; for a process without one, the release alone.
    """
    process = weighed.process
    flat = _flat(job)
    feed = is_feed(weighed)
    ceiling = greatest_vacuum(job.part.altitude or 0.0)
    release = "as its maker says, and on the flange"
    release += "; the strip for the tape stays clean" if process.bagged else ""
    layers = [
        BagLayer("mould release", "", release, area=flat.grown(practice.TAPE_MARGIN.value)),
    ]
    made = partial(Bag, outline=flat.area, length=flat.length, width=flat.width, ceiling=ceiling)
    notes: list[str] = []
    if not process.bagged:
        notes.append("No bag. Peel ply, where something is bonded on later: one layer over the last ply.")
        without = partial(
            made, layers=tuple(layers), bagged=False, feed=False, pressure=None, force=0.0, drinks=0.0, leak=None
        )
        return without(unpriced=(), notes=(*notes, *_guessed(flat)), figures=(practice.TAPE_MARGIN,))
    layers += _layers(job, flat, feed, process.mixes)
    pressure = process.pressure or 0.0
    under = flat.grown(practice.TAPE_MARGIN.value)
    figures = [
        practice.PEEL_MARGIN,
        practice.BREATHER_MARGIN,
        practice.BAG_MARGIN,
        practice.TAPE_MARGIN,
        practice.PLEATS,
        practice.JOIN,
        practice.PORT_AREA,
    ]
    if process.mixes:
        figures.append(process.figure("loss_to_bag"))
    leak = (practice.LEAK_FALL_FEED, practice.LEAK_TIME_FEED) if feed else (practice.LEAK_FALL, practice.LEAK_TIME)
    figures += list(leak)
    if job.part.altitude is None:
        notes.append('The part file gives no altitude, so the air of sea level is taken: altitude = "1500 ft".')
    notes += [*process.notes, *_guessed(flat)]
    unpriced = tuple(dict.fromkeys(y.material for y in layers if y.material and y.price is None))
    return made(
        layers=tuple(layers),
        bagged=True,
        feed=feed,
        pressure=pressure,
        force=pressure * under,
        drinks=weighed.to_bag,
        leak=(leak[0].value, leak[1].value),
        unpriced=unpriced,
        notes=tuple(notes),
        figures=tuple(figures),
    )


def _guessed(flat: _Flat) -> list[str]:
    return ["Only the area is known: a shape of 3 to 2 is taken for lengths and edges."] if flat.guessed else []


def _flat(job: Job) -> _Flat:
    import shapely

    outline = rough_outline(job, None)
    trim = job.part.trim or 0.0
    filled: list[Polygon] = [shapely.Polygon(s.exterior).buffer(trim, join_style="mitre") for s in outline.shapes]
    whole = shapely.union_all(filled)
    length, width = extent(tuple(filled))
    # between a ragged outline and its hull, the hull is what a hand cuts and tapes
    return _Flat(float(whole.area), float(whole.convex_hull.length), length, width, outline.guessed)


def _layers(job: Job, flat: _Flat, feed: bool, mixes: bool) -> list[BagLayer]:
    """Everything above the laminate."""
    peel = practice.PEEL_MARGIN.value
    pleats = 1.0 + practice.PLEATS.value
    round_tape = flat.round + 2 * math.pi * practice.TAPE_MARGIN.value
    tape = round_tape * pleats + flat.width
    tail = "no wrinkles; leave a tail to pull it off by"
    if not mixes:
        tail += "; leave out where the film's face is wanted"
    cloth, run = partial(_cloth, job, flat), partial(_run, job)
    film = "perforated film", "release film, perforated", peel
    layers = [cloth("peel ply", "peel ply, nylon", peel, tail)]
    if feed:
        layers += [
            cloth(*film, "lets resin through, lets the mesh go"),
            cloth("flow mesh", "flow mesh", -peel, "ends 25 mm short of the edge on the vacuum side"),
            run(
                "spiral tube", 2 * flat.length, "feed along one long side, vacuum along the other", "spiral tube 10 mm"
            ),
            run("resin hose", 4.0, "2 m to the feed bucket, 2 m to the catch pot; clamps on both", "resin hose 8 mm"),
        ]
    else:
        bleeder = "also the bleeder; one piece as far as the port, doubled under it"
        layers += [
            cloth(*film, "limits how much resin bleeds into the breather"),
            cloth("breather", "breather 150", practice.BREATHER_MARGIN.value, bleeder),
        ]
    ports = max(1 if flat.length < 1.2 else 2, math.ceil(flat.area / practice.PORT_AREA.value))
    beside = "on a pad of breather, beside the part" + ("; a catch pot between bag and pump" if feed else "")
    return [
        *layers,
        cloth(
            "bagging film",
            "bagging film, nylon 50",
            practice.BAG_MARGIN.value,
            "a pleat at each corner and step",
            pleats=pleats,
        ),
        run("sealant tape", tape, "round the bag, up each pleat and down again, one join across"),
        BagLayer("ports", "", beside, count=ports),
    ]


def _cloth(
    job: Job, flat: _Flat, name: str, material: str, margin: float, note: str, *, pleats: float = 1.0
) -> BagLayer:
    """A layer cut off a roll."""
    own = job.library.get("consumable", material)
    length, width = (flat.length + 2 * margin) * pleats, (flat.width + 2 * margin) * pleats
    area = flat.grown(margin) * pleats**2
    printed = own.optional("width")
    if printed is None:
        return BagLayer(name, material, note, area=area, strips=1, price=_money(own, area, None))
    # whichever way across the roll has fewer joins, then whichever takes less of it
    join = practice.JOIN.value
    choices = []
    for along, across in ((length, width), (width, length)):
        strips = 1 if across <= printed.value else math.ceil((across - join) / (printed.value - join) - 1e-9)
        choices.append((strips, strips * along))
    strips, run = min(choices)
    price = _money(own, run * printed.value, run)
    return BagLayer(name, material, note, area=area, length=run, strips=strips, price=price)


def _run(job: Job, name: str, length: float, note: str, material: str = "") -> BagLayer:
    """Something bought by the length; its row has the same name where no other is given."""
    own = job.library.get("consumable", material or name)
    return BagLayer(name, material or name, note, length=length, price=_money(own, None, length))


def _money(material: Material, area: float | None, length: float | None) -> tuple[float, str] | None:
    price = price_of(material)
    if price is None:
        return None
    amount = {"area": area, "length": length}.get(price.per)
    return None if amount is None else (price.amount * amount, price.currency)
