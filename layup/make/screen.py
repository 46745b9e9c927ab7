"""What the terminal shows of the bench: cloth to cut, batches to mix, the bag from the tool up."""

from __future__ import annotations

from functools import partial

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from layup.make.bag import Bag
from layup.make.build_sheet_tables import (
    amount,
    amounts_head,
    clock,
    cups_words,
    each,
    force_words,
    hardener_word,
    money_words,
    one_of,
    pot_life_words,
    ratio_words,
    tape,
    volumes,
)
from layup.make.cut import Cut
from layup.make.pots import Mix
from layup.report.surface_words import in_units
from layup.words import System, area_words, length_words, mass_both, percent_words, pressure_words, temperature_words


def _table(*heads: str, right: tuple[int, ...] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number in right else "left")
    return table


def _notes(lines: tuple[str, ...], system: System) -> list[RenderableType]:
    return [Text(), *(Text(f"  {in_units(line, system)}") for line in lines)] if lines else []


def care(lines: tuple[str, ...], system: System) -> list[RenderableType]:
    """What can hurt somebody here and now, set apart from notes."""
    return [Text(), *(Text(f"  ! {in_units(line, system)}") for line in lines)] if lines else []


def cut_screen(cut: Cut, system: System, safety: tuple[str, ...] = ()) -> RenderableType:
    """The screen of `layup cut`."""
    parts: list[RenderableType] = [Text(" + ".join(job.part.title for job in cut.jobs), style="bold")]
    table = _table("  cloth", "roll", "cut off", "waste", "price", "pieces", right=(3,))
    for f in cut.fabrics:
        price = "not priced" if f.price is None else f"{f.price[0]:.2f} {f.price[1]}"
        table.add_row(
            Text(f"  {f.fabric}"),
            tape(f.nest.roll.width, one_of(system)),
            Text(each(system, partial(tape, f.length)), style="bold"),
            percent_words(f.waste),
            price,
            ", ".join(piece.name for piece in f.pieces),
        )
    parts += [Text(), table]
    if len(cut.jobs) > 1:
        parts.append(Text("  " + ", ".join(f"{chr(65 + i % 26)}: {j.part.title}" for i, j in enumerate(cut.jobs))))
    if cut.prices:
        parts.append(Text(f"  together {money_words(cut.prices)}"))
    cores = [
        f"  core, ply {core.number}: {core.name}, {length_words(core.thickness, one_of(system))} thick, fits in "
        f"{length_words(core.length, one_of(system))} × {length_words(core.width, one_of(system))}"
        for listed in cut.cores
        for core in listed
    ]
    parts += [Text(line) for line in cores]
    parts += _notes(cut.proposals, system)
    if any(" is a frame" in proposal for proposal in cut.proposals):
        parts.append(Text("  --quarter-rings cuts it so."))
    parts += _notes(cut.notes, system)
    if cut.stopped:
        parts += [Text(), Text("  Stopped: these are the best layouts so far.")]
    parts += care(safety, system)
    return Group(*parts)


def mix_screen(title: str, mixes: tuple[Mix, ...], system: System, safety: tuple[str, ...] = ()) -> RenderableType:
    """The screen of `layup mix`."""
    parts: list[RenderableType] = [Text(title, style="bold")]
    if not mixes:
        parts += [Text(), Text("  Nothing to mix: the resin comes in the cloth.")]
    for mix in mixes:
        volume = "" if mix.volume_ratio is None else f", 100 : {mix.volume_ratio * 100:.1f} by volume"
        parts.append(Text(f"  {mix.resin}: {mass_both(mix.total, system)} to mix, losses counted", style="bold"))
        if mix.asks:
            parts.append(Text(f"  ! {mix.asks}", style="bold"))
        else:
            parts.append(Text(f"  {hardener_word(mix)} {ratio_words(mix)} by weight{volume}"))
        table = _table(
            "  batch", "resin", hardener_word(mix), "total", "by volume", "mix at", "used by", "gels in", "for ply",
            right=(1, 2, 3),
        )  # fmt: skip
        for b in mix.batches:
            table.add_row(
                f"  {b.number}",
                Text(amount(b.resin, mix, system), style="bold"),
                Text(amount(b.hardener, mix, system), style="bold"),
                amount(b.mass, mix, system),
                volumes(mix, b, system),
                clock(b.start),
                clock(b.used),
                f"{b.lasts / 60:.0f} min",
                b.covers,
            )
        parts += [Text(), table, Text()]
        unit, rounds = amounts_head(mix, system)
        if rounds:
            scale = _table(
                f"  {hardener_word(mix)} for this much resin, {unit}",
                *(resin for resin, _, _ in rounds),
                right=tuple(range(1, len(rounds) + 1)),
            )
            scale.add_row("  ", *(hardener for _, hardener, _ in rounds))
            parts.append(scale)
        if cups_words(mix, system):
            parts.append(Text(f"  {cups_words(mix, system)}"))
        people = "1 person" if mix.people == 1 else f"{mix.people} people"
        hands = "the bag feeds itself" if mix.feed else f"{people} laying up"
        parts.append(
            Text(
                f"  Pot life printed: {pot_life_words(mix, system)}; here "
                f"{temperature_words(mix.temperature, system)}, {hands}. Times are hours:minutes from the first batch.",
                style="dim",
            )
        )
        parts += _notes(mix.cautions, system)
    parts += care(safety, system)
    return Group(*parts)


def bag_screen(title: str, bag: Bag, system: System, safety: tuple[str, ...] = ()) -> RenderableType:
    """The screen of `layup bag`."""
    one = one_of(system)
    parts: list[RenderableType] = [Text(title, style="bold"), Text()]
    table = _table("  from the tool up", "", "area", "length", "price")
    for layer in bag.layers:
        off = "" if layer.length is None else tape(layer.length, one)
        if layer.strips > 1:
            off += f", as {layer.strips} strips"
        if layer.count:
            off = f"{layer.count} each"
        table.add_row(
            f"  {layer.name}",
            layer.material,
            "" if layer.area is None else area_words(layer.area, one),
            off,
            "" if layer.price is None else f"{layer.price[0]:.2f} {layer.price[1]}",
        )
    parts.append(table)
    if bag.bagged and bag.pressure is not None and bag.leak is not None:
        parts += [
            Text(),
            Text(f"  gauge should read {pressure_words(bag.pressure, system)}", style="bold"),
            Text(f"  the air at this altitude allows {pressure_words(bag.ceiling, system)} at most (ISO 2533)"),
            Text(f"  force of the air on the mould: {force_words(bag.force, system)}".replace("\n", ", ")),
            Text(
                f"  leak-down: pump shut off, it may fall by {pressure_words(bag.leak[0], system)} in "
                f"{bag.leak[1] / 60:.0f} min (common practice, no source)"
            ),
        ]
        if bag.drinks:
            parts.append(Text(f"  resin that stays in the bag: {mass_both(bag.drinks, system)}"))
        if bag.prices:
            parts.append(Text(f"  together {money_words(bag.prices)}"))
        if bag.unpriced:
            parts.append(Text("  not priced: " + "; ".join(bag.unpriced), style="dim"))
    parts += _notes(bag.notes, system)
    parts += care(safety, system)
    return Group(*parts)
