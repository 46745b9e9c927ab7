"""The tables of the build sheet: plies, cloth, pots, bag, cure, weigh points, in the words of the shop."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial

from layup.laminate.process import Habit
from layup.make.bag import Bag
from layup.make.batches import Batch, Mix, scale_table
from layup.make.build_sheet_plates import cut_plate
from layup.make.cut import Cut
from layup.make.plies_to_cut import extent
from layup.make.points import WeighPoint
from layup.partfile.job import Job
from layup.report.document import TICK, WRITE, Block, Facts, Grid, Words
from layup.report.surface_words import in_units
from layup.sides.mould import seen
from layup.sources import Figure
from layup.spread import Interval
from layup.units import OZ, parse
from layup.weight.prediction import Prediction
from layup.weight.weigh import Weighed
from layup.words import (
    System,
    angle_words,
    area_words,
    mass_both,
    percent_words,
    plain,
    pressure_words,
    scale_words,
    tape_words,
    temperature_words,
    thickness_words,
    volume_words,
)

_BY_HAND = (
    "Times run in hours and minutes from the first batch, at an even pace: common practice, no source. A batch is "
    "planned to be used up in half its pot life."
)
_FEED = (
    "How long the part takes to fill is not predicted. Keep the hose under the surface of the bucket; close the feed "
    "when resin has reached the vacuum line all along, and before the bucket is warm."
)
_STIR = "Weigh resin first, then what hardens it; stir a full two minutes, scraping sides and floor."


def one_of(system: System) -> System:
    """A single system for where two do not fit: metric, unless pounds alone are asked for."""
    return "lb" if system == "lb" else "metric"


def money_words(prices: dict[str, float]) -> str:
    """Money of several currencies, or a dash."""
    return ", ".join(f"{amount:.2f} {currency}" for currency, amount in prices.items()) or "not priced"


def each(system: System, words: Callable[[System], str]) -> str:
    """The same in each system, one to a line: a narrow column holds it without breaking a figure from its unit."""
    systems: tuple[System, ...] = ("metric", "lb") if system == "both" else (system,)
    stiff = [words(one).replace(" ", "\u00a0") for one in systems]
    return "\n".join(text.replace("\u00a0to\u00a0", " to\u00a0").replace("×\u00a0", "× ") for text in stiff)


def size_words(along: float, across: float, system: System) -> str:
    """Along the warp by across it."""

    def words(one: System) -> str:
        first, second = tape_words(along, one), tape_words(across, one)
        for unit in (" mm", " in"):
            if first.endswith(unit) and second.endswith(unit) and "ft" not in first + second:
                first = first.removesuffix(unit)
        return f"{first} × {second}"

    return each(system, words)


def limit_words(mass: Interval, system: System) -> str:
    """Both ends of an interval: "89 to 202 g" where both have one unit."""
    low, high = mass_both(mass.p05, system), mass_both(mass.p95, system)
    for unit in (" g", " kg"):
        if low.endswith(unit) and high.endswith(unit):
            low = low.removesuffix(unit)
    return f"{low} to {high}"


def force_words(newton: float, system: System) -> str:
    """A force as the weight that presses like it, to two figures, or to half of the second behind a leading 1."""

    def words(one: System) -> str:
        mass = newton / 9.80665 / (0.45359237 if one == "lb" else 1.0)
        step = 10.0 ** (len(f"{mass:.0f}") - 2)
        step *= 0.5 if mass < 20 * step else 1.0  # 10,500: as near as 9,700 is
        return f"{round(mass / step) * step:,.0f} {'lb' if one == 'lb' else 'kg'}"

    return each(system, words)


def habit_name(habit: Habit, weighed: Weighed) -> str:
    """What one of the shop's habits is used for in this part: its own cloth, or cloth that was not weighed itself."""
    cloth = dict.fromkeys(
        layer.name for layer in weighed.layers if layer.take_up is not None and layer.take_up.habit == habit
    )
    named = " and ".join(cloth) or "anything"
    return named if habit.cloth_known else f"{named} (not weighed itself, so as the shop's other cloth)"


def which_way_round(job: Job) -> tuple[Block, ...]:
    """From which side angles and patterns are seen; a question, set apart, where the part file does not say."""
    if not job.surface.has_mesh:
        return ()
    way = seen(job.surface, job.part.surface.mould)
    return (Words(way.sentences, caution=not way.known),)


def ways_asked(jobs: Iterable[Job]) -> tuple[Block, ...]:
    """Where a layout may be the wrong way round because a part file does not say on which side its mould is."""
    asked = [
        way
        for job in jobs
        if job.surface.has_mesh
        for way in [seen(job.surface, job.part.surface.mould)]
        if not way.known
    ]
    lines = dict.fromkeys(line for way in asked for line in way.sentences)
    return (Words(tuple(lines), caution=True),) if lines else ()


def ply_blocks(prediction: Prediction, cut: Cut, mixes: tuple[Mix, ...], system: System) -> tuple[Block, ...]:
    """The ply table, from the mould up."""
    cloth = {ply.number: ply for ply in cut.plies[0]}
    cores = {core.number: core for core in cut.cores[0]}
    names: dict[int, list[str]] = {}
    sizes: dict[int, list[tuple[float, float]]] = {}
    for fabric in cut.fabrics:
        for piece in fabric.pieces:
            names.setdefault(piece.ply.number, []).append(piece.name)
            x0, y0, x1, y1 = piece.shape.bounds
            sizes.setdefault(piece.ply.number, []).append((x1 - x0, y1 - y0))
    rows = []
    for layer in prediction.weighed.layers:
        where = "whole surface" if layer.zone == "whole" else layer.zone
        where += ", over the openings, uncut" if layer.covers else ""
        if layer.number in cloth:
            listed = names[layer.number]
            largest = sorted(sizes[layer.number], key=lambda s: -s[0] * s[1])[: 3 if len(listed) < 4 else 1]
            size = "\n".join(
                size_words(*s, one_of(system) if len(listed) > 1 else system).replace("\n", ", ") for s in largest
            )
            if len(listed) > 3:
                size += f" and smaller: {len(listed)} pieces"
            pieces = names_words(listed)
            angle = angle_words(layer.angle) if cloth[layer.number].directed else "no warp"
        else:
            core = cores[layer.number]
            size = "\n".join(
                dict.fromkeys(size_words(*extent((p,)), system).replace("\n", ", ") for _, p in core.pieces)
            )
            pieces = ", ".join(name for name, _ in core.pieces)
            angle = "core"
        wet = _wet(layer.number, mixes)
        thick = [thickness_words(layer.thickness, one_of(system))] if cores else []
        rows.append((str(layer.number), layer.name, angle, *thick, where, size, pieces, wet, TICK))
    head = ["ply", "cloth or core", "warp", "where", "size, along × across the warp", "pieces", "batch", "laid"]
    shares = [0.045, 0.18, 0.07, 0.145, 0.31, 0.12, 0.065, 0.065]
    if cores:
        head.insert(3, "thick")
        shares = [0.04, 0.15, 0.06, 0.088, 0.14, 0.322, 0.075, 0.065, 0.06]
    return (
        Words(
            (
                "Ply 1 lies on the mould, the last on the bag side. The angle is that of the warp (of the fibres, in a "
                "unidirectional) from the 0° arrow of the part.",
            )
        ),
        *which_way_round(prediction.job),
        Grid(tuple(head), tuple(rows), tuple(shares), strong=frozenset({0, 2})),
    )


def names_words(names: list[str]) -> str:
    """Names of pieces, a run of letters as its ends: 1, 2, 3a to 3l."""
    runs: list[list[str]] = []
    for name in names:
        last = runs[-1][-1] if runs else ""
        follows = len(last) > 1 and last[:-1] == name[:-1] and ord(name[-1]) == ord(last[-1]) + 1
        if follows and name[-1].isalpha():
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def _wet(number: int, mixes: tuple[Mix, ...]) -> str:
    """Numbers of the pots a ply takes resin from."""
    found = []
    for mix in mixes:
        if mix.feed:
            return "bucket"
        for batch in mix.batches:
            if number in batch.plies:
                found.append(str(batch.number))
    return ", ".join(found) or "–"


def cut_blocks(cut: Cut, system: System) -> tuple[Block, ...]:
    """The cut list with a drawing of each layout."""
    return (*cut_tables(cut, system), *(cut_plate(fabric, system) for fabric in cut.fabrics))


def cut_tables(cut: Cut, system: System) -> tuple[Block, ...]:
    """The cut list: cloth off each roll, cores, what to know."""
    rows = [
        (
            f.fabric,
            tape_words(f.nest.roll.width, one_of(system)) + ("" if f.of is None else f"\n{f.of.label}"),
            each(system, partial(tape_words, f.length, up=True)) if f.of is None or f.of.roll else "remnant",
            names_words([piece.name for piece in f.pieces]),
            percent_words(f.waste),
            "–"
            if f.of is not None and not f.of.roll
            else "not priced"
            if f.price is None
            else f"{f.price[0]:.2f} {f.price[1]}",
            TICK,
        )
        for f in cut.fabrics
    ]
    head = ("cloth", "roll", "cut off", "pieces", "waste", "price", "cut")
    blocks: list[Block] = [
        Grid(head, tuple(rows), (0.2, 0.1, 0.19, 0.22, 0.09, 0.13, 0.07), right=frozenset({4}), strong=frozenset({2}))
    ]
    marks = [chr(65 + n % 26) if len(cut.jobs) > 1 else "" for n in range(len(cut.jobs))]
    cores = [
        (
            f"{mark}{name}",
            c.name,
            thickness_words(c.thickness, one_of(system)),
            size_words(*extent((shape,)), system),
            area_words(shape.area, one_of(system)),
            TICK,
        )
        for mark, cores in zip(marks, cut.cores, strict=True)
        for c in cores
        for name, shape in c.pieces
    ]
    if cores:
        blocks.append(
            Grid(
                ("piece", "core, from the sheet", "thick", "fits in", "area", "cut"),
                tuple(cores),
                (0.07, 0.29, 0.13, 0.27, 0.16, 0.08),
                strong=frozenset({0}),
            )
        )
    edge = max((f.nest.roll.edge for f in cut.fabrics), default=0.0)
    gap = cut.fabrics[0].nest.gap if cut.fabrics else 0.0
    said = (
        f"The arrow is the warp: mark it on every piece, with its number. {tape_words(gap, one_of(system))} between "
        f"pieces for the cutter; {tape_words(edge, one_of(system))} along each edge of the roll is not used."
    )
    blocks.append(Words((said, *cut.notes)))
    if len(cut.jobs) > 1:
        blocks.append(Words((", ".join(f"{chr(65 + i % 26)}: {j.part.title}" for i, j in enumerate(cut.jobs)),)))
    if cut.proposals:
        blocks.append(Words(cut.proposals, caution=True))
    return tuple(blocks)


def clock(seconds: float | None) -> str:
    """Hours and minutes from the start."""
    if seconds is None:
        return "–"
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def hardener_word(mix: Mix) -> str:
    """Hardener, or a catalyst for polyester and vinyl ester."""
    return "catalyst" if mix.cure == "peroxide" else "hardener"


def ratio_words(mix: Mix) -> str:
    """A ratio as it is said: a catalyst in per cent of the resin, a hardener to a hundred of resin."""
    if mix.ratio is None:
        return "not known: see below"
    return f"{plain(mix.ratio * 100, 3)} %" if mix.cure == "peroxide" else f"100 : {plain(mix.ratio * 100, 4)}"


def volumes(mix: Mix, b: Batch, system: System) -> str:
    """Resin and hardener of one batch by volume; of a catalyst the catalyst alone, in ml, as a dispenser gives it."""
    if mix.densities is None or b.resin is None or b.hardener is None:
        return "–"
    resin, hardener = b.resin / mix.densities[0], b.hardener / mix.densities[1]
    if mix.cure == "peroxide":
        return volume_words(hardener, "metric")

    def words(one: System) -> str:
        first, second = volume_words(resin, one), volume_words(hardener, one)
        unit = " ml" if one == "metric" else " fl oz"
        return f"{first.removesuffix(unit)} + {second}"

    return each(system, words)


def amount(kg: float | None, mix: Mix, system: System) -> str:
    """Resin, hardener or both as the shop's scale shows it, else in each system asked for; a dash for not known."""
    if kg is None:
        return "–"
    if mix.scale is not None:
        return mix.scale.words(kg)
    return each(system, partial(scale_words, kg))


def amounts_head(mix: Mix, system: System) -> tuple[str, tuple[tuple[str, str, str], ...]]:
    """The unit of the table of round amounts; resin, hardener and both for each, none where no ratio is known."""
    ounces = mix.scale.ounces if mix.scale is not None else system == "lb"
    listed = scale_table(mix.ratio, max(b.mass for b in mix.batches), ounces)
    unit, digits, name = (OZ, 2, " oz") if ounces else (1e-3, 1, " g")

    def shown(kg: float) -> str:
        return f"{kg / unit:.{digits}f}" if mix.scale is None else mix.scale.words(kg).removesuffix(name)

    rows = tuple((f"{r / unit:g}", shown(h), shown(r + h)) for r, h in listed)
    return "ounces" if ounces else "grams", rows


def cups_words(mix: Mix, system: System) -> str:
    """Which cup a batch goes in; empty where no cup was named."""
    sizes = dict.fromkeys(b.cup for b in mix.batches if b.cup is not None)
    named = " and ".join(volume_words(size, one_of(system)) for size in sizes)
    return f"In a cup of {named}, filled to half at most." if named else ""


def pot_life_words(mix: Mix, system: System) -> str:
    """The printed pot life, with what it holds for."""
    life = mix.pot_life
    return (
        f"{life.seconds / 60:.0f} min for {scale_words(life.mass, one_of(system))} at "
        f"{temperature_words(life.temperature, system)}"
    )


def _hands(people: int) -> str:
    return "1 person" if people == 1 else f"{people} people"


def resin_blocks(mixes: tuple[Mix, ...], system: System, wall: bool = False) -> tuple[Block, ...]:
    """Pots in the order of use, and the table for the scale.

    Args:
        mixes: Resin by resin.
        system: "lb", "metric" or "both".
        wall: Whether it hangs on the wall, where there is a pencil and no keyboard.
    """
    blocks: list[Block] = []
    for mix in mixes:
        by_volume = "" if mix.volume_ratio is None else f"100 : {mix.volume_ratio * 100:.1f}"
        weighed = "catalyst, by weight of the resin" if mix.cure == "peroxide" else "resin : hardener by weight"
        if mix.asks:
            asks, _, typed = mix.asks.partition(" Write --ratio")
            asks += " Write what the can says into the boxes." if wall else f" Write --ratio{typed}"
            blocks.append(Words((asks,), caution=True))
        pairs = [
            ("resin", mix.resin),
            (weighed, ratio_words(mix)),
            ("by volume", by_volume or ("–" if mix.ratio is None else "densities not known: weigh it")),
            ("to mix, losses counted", mass_both(mix.total, system)),
            ("pot life printed", pot_life_words(mix, system)),
            (
                "laying up",
                "feeds itself"
                if mix.feed
                else f"{_hands(mix.people)}, at {temperature_words(mix.temperature, system)}",
            ),
        ]
        blocks.append(Facts(tuple(pairs), 6))
        rows = []
        for b in mix.batches:
            rows.append(
                (
                    str(b.number),
                    amount(b.resin, mix, system) if mix.ratio is not None else WRITE,
                    amount(b.hardener, mix, system) if mix.ratio is not None else WRITE,
                    amount(b.mass, mix, system),
                    volumes(mix, b, system),
                    clock(b.start),
                    clock(b.used),
                    f"{b.lasts / 60:.0f} min",
                    b.covers,
                    WRITE,
                    TICK,
                )
            )
        head = (
            "batch",
            "resin",
            hardener_word(mix),
            "total",
            "by volume",
            "mix at",
            "used by",
            "gels in",
            "for ply",
            "mixed at",
            "done",
        )
        blocks.append(
            Grid(
                head,
                tuple(rows),
                (0.05, 0.085, 0.1, 0.085, 0.145, 0.07, 0.07, 0.085, 0.14, 0.1, 0.07),
                tall=True,
                right=frozenset({1, 2, 3}),
                strong=frozenset({0, 1, 2}),
            )
        )
        unit, rounds = amounts_head(mix, system)
        if rounds:
            count = len(rounds)
            amounts = ("resin", *(resin for resin, _, _ in rounds))
            lines = (
                (hardener_word(mix), *(hardener for _, hardener, _ in rounds)),
                ("together", *(both for _, _, both in rounds)),
            )
            blocks.append(Words((f"{hardener_word(mix).capitalize()} for this much resin, in {unit}:",)))
            right = frozenset(range(1, count + 1))
            blocks.append(Grid(amounts, lines, (0.16, *([0.84 / count] * count)), right=right, strong=frozenset({0})))
        if cups_words(mix, system):
            blocks.append(Words((cups_words(mix, system),)))
        blocks.append(Words((_FEED if mix.feed else _BY_HAND, _STIR)))
        if mix.cautions:
            blocks.append(Words(mix.cautions, caution=True))
    return tuple(blocks)


def bag_blocks(bag: Bag, system: System) -> tuple[Block, ...]:
    """The bag from the tool up, the vacuum and the leak test."""
    one = one_of(system)
    rows = []
    for number, layer in enumerate(bag.layers, 1):
        off = "–" if layer.length is None else tape_words(layer.length, one, up=True)
        if layer.strips > 1:
            off += f", as {layer.strips} strips"
        if layer.count:
            off = f"{layer.count} each"
        rows.append(
            (
                str(number),
                layer.name,
                layer.material or "–",
                "–" if layer.area is None else area_words(layer.area, one),
                off,
                in_units(layer.note, one),
                TICK,
            )
        )
    blocks: list[Block] = [
        Grid(
            ("", "layer", "material", "area", "length from the roll", "watch for", "done"),
            tuple(rows),
            (0.03, 0.15, 0.17, 0.085, 0.105, 0.4, 0.06),
            strong=frozenset({1}),
        )
    ]
    if bag.bagged and bag.pressure is not None:
        fall, time = bag.leak or (0.0, 0.0)
        within = f"may fall by {pressure_words(fall, system)} in {time / 60:.0f} min at most"
        pairs = [
            ("gauge should read", pressure_words(bag.pressure, system)),
            ("most it can read at this altitude", pressure_words(bag.ceiling, system)),
            ("force of the air on the mould", f"{force_words(bag.force, system)} to stand"),
            ("price, items that have one", money_words(bag.prices)),
        ]
        if bag.drinks:
            pairs.insert(3, ("resin that stays in the bag", mass_both(bag.drinks, system)))
        blocks.append(Facts(tuple(pairs), 5))
        blocks.append(
            Grid(
                ("leak-down test: pump shut off", "gauge now", f"after {time / 60:.0f} min", "fell by", "good"),
                (
                    (
                        f"{within} (common practice, no source)",
                        WRITE,
                        WRITE,
                        WRITE,
                        TICK,
                    ),
                ),
                (0.4, 0.17, 0.17, 0.17, 0.09),
                tall=True,
            )
        )
    if bag.notes:
        blocks.append(Words(bag.notes))
    return tuple(blocks)


def cure_blocks(prediction: Prediction, bag: Bag, system: System) -> tuple[Block, ...]:
    """The cure: what the tables know, else what the resin's own sheet says."""
    fabric = next(layer for layer in prediction.weighed.layers if layer.kind == "fabric")
    resin = prediction.job.library.get("resin", fabric.resin_name)
    glass = resin.optional("glass_transition")
    steps: list[tuple[str, str]] = []
    if bag.bagged:
        steps.append(("vacuum on", "until the resin is hard to a fingernail"))
    if prediction.weighed.process.mixes:
        steps.append(("cure", "cooler is slower"))
        steps.append(("demould", "not before it is hard"))
        steps.append(("post-cure", "no warmer than mould and core can stand"))
    else:
        steps.append(("heating up", "a thermocouple on the part"))
        steps.append(("hold", "no shorter than it says"))
        steps.append(("cooling", "vacuum stays on until it is cool"))
    grid = Grid(
        ("step", "how", "temperature", "from (time)", "to (time)", "done"),
        tuple((name, how, WRITE, WRITE, WRITE, TICK) for name, how in steps),
        (0.12, 0.46, 0.13, 0.115, 0.115, 0.06),
        strong=frozenset({0}),
    )
    said = []
    if glass is not None:
        said.append(
            f"Tg, where {resin.name} softens: about {_degrees(glass.printed)}{_remark(glass.at)} ({_standing(glass)})."
            " A black part in the sun gets hotter than the air."
        )
    else:
        said.append("No table gives the temperature at which this resin softens: see its data sheet.")
    said.append("Temperatures and times are those of the resin's data sheet; the rest is common practice, no source.")
    return (Words(tuple(said)), grid)


_TEMPERATURE = re.compile(r"(?P<low>[0-9]+)(?: to (?P<high>[0-9]+))? deg(?P<unit>[CF])")


def _degrees(text: str) -> str:
    """A remark with its temperatures said both ways."""

    def both(found: re.Match[str]) -> str:
        ends = [end for end in (found["low"], found["high"]) if end]
        kelvin = [parse(f"{end} deg{found['unit']}", "temperature") for end in ends]
        metric, ours = (" to ".join(temperature_words(one, system) for one in kelvin) for system in ("metric", "lb"))
        return f"{metric.replace(' °C to', ' to')} ({ours.replace(' °F to', ' to')})"

    return _TEMPERATURE.sub(both, text)


def _remark(at: str) -> str:
    """The remark on a figure, for a wall: whether a page of it was read is in the tables."""
    said = "; ".join(part for part in at.split("; ") if part and part != "not read")
    return f"; {_degrees(said)}" if said else ""


def _standing(figure: Figure) -> str:
    return "a usual figure, from memory" if figure.source == "memory" else figure.source.replace("-", " ")


def point_blocks(points: tuple[WeighPoint, ...], system: System) -> tuple[Block, ...]:
    """The weigh points with boxes to write in."""
    rows = []
    for number, point in enumerate(points, 1):
        mass = point.mass
        should = "–" if mass is None else each(system, partial(mass_both, mass.mean))
        limits = "–" if mass is None else each(system, partial(limit_words, mass))
        rows.append((str(number), point.name, point.how, should, limits, WRITE))
    return (
        Grid(
            ("", "weigh", "what lies on the scale", "should show", "9 builds in 10 between", "scale showed"),
            tuple(rows),
            (0.03, 0.135, 0.36, 0.12, 0.24, 0.115),
            strong=frozenset({1, 3}),
        ),
        Words(
            (
                "Outside the limits: stop, weigh again, and find out why before the next step. Inside them, write it "
                "down all the same: what this shop weighs makes its next prediction narrower.",
            )
        ),
        Facts(
            (
                ("date", WRITE),
                ("laid up by", WRITE),
                ("cloth, roll and lot", WRITE),
                ("resin, lot", WRITE),
                ("shop temperature, humidity", WRITE),
                ("signed", WRITE),
            ),
            6,
        ),
    )


_HOLDS = (
    ("mould clean and released; cloth and resin as listed, in date", False),
    ("plies cut and marked; dry cloth weighed", False),
    ("every ply laid: number, angle, this side up", False),
    ("bag: leak-down test held", True),
    ("cure: temperatures and times written down", False),
    ("demoulded: no voids, no dry places, weight inside its limits", False),
)
"""Where the work waits for a second pair of eyes, and whether only a bag has it; common practice, no source."""


def hold_blocks(bag: Bag) -> tuple[Block, ...]:
    """Where the work stops until somebody else has looked, with a box for them, two side by side."""
    listed = [what for what, bagged in _HOLDS if bag.bagged or not bagged]
    cells = [(f"{number}  {what}", WRITE) for number, what in enumerate(listed, 1)]
    cells += [("", "")] * (len(cells) % 2)
    half = len(cells) // 2
    rows = tuple((*one, *other) for one, other in zip(cells[:half], cells[half:], strict=True))
    said = "Go on when the box is signed: by an inspector where rules ask for one, else by somebody who did not lay it."
    head = ("stop after", "looked at by, date", "stop after", "looked at by, date")
    return Words((said,)), Grid(head, rows, (0.32, 0.18, 0.32, 0.18))
