"""What the terminal shows of the day of the layup: the tables of the build sheet for cloth, resin and bag."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.text import Text

from layup.make.bag import Bag
from layup.make.batches import Mix
from layup.make.build_sheet_tables import bag_blocks, cut_tables, money_words, resin_blocks, ways_asked
from layup.make.cut import Cut
from layup.make.stock import Stock
from layup.report.document import Block, Grid, Words, in_system
from layup.report.document_text import as_text
from layup.words import System, area_words, length_words, mass_both


def care(lines: tuple[str, ...], system: System) -> list[RenderableType]:
    """What can hurt somebody here and now, set apart from notes."""
    return as_text([in_system(Words(lines, caution=True), system)]) if lines else []


def _screen(title: str, blocks: Iterable[Block], system: System, safety: tuple[str, ...]) -> RenderableType:
    shown = as_text(in_system(block, system) for block in blocks)
    return Group(Text(title, style="bold"), *shown, *care(safety, system))


def cut_screen(cut: Cut, system: System, safety: tuple[str, ...] = (), shelf: tuple[str, ...] = ()) -> RenderableType:
    """The screen of `layup cut`; `shelf` is what the stock list says."""
    proposed = any(" is a frame" in proposal for proposal in cut.proposals)
    more = (("--quarter-rings cuts it so.",) if proposed else (), shelf)
    blocks = [*cut_told(cut, system), *(Words(lines) for lines in more if lines)]
    return _screen(" + ".join(job.part.title for job in cut.jobs), blocks, system, safety)


def cut_told(cut: Cut, system: System) -> list[Block]:
    """What terminal and page say of a cut, beside its picture."""
    blocks = list(cut_tables(cut, system))
    if cut.prices:
        cores = "; layup predict says what the cores cost" if any(cut.cores) else ""
        blocks.append(Words((f"cloth together {money_words(cut.prices)}{cores}",)))
    blocks += ways_asked(cut.jobs)
    if cut.stopped:
        blocks.append(Words(("Stopped: these are the best layouts so far.",)))
    return blocks


def mix_screen(
    title: str, mixes: tuple[Mix, ...], system: System, safety: tuple[str, ...] = (), shelf: tuple[str, ...] = ()
) -> RenderableType:
    """The screen of `layup mix`; `shelf` is what the stock list says."""
    blocks = resin_blocks(mixes, system) or (Words(("Nothing to mix: the resin comes in the cloth.",)),)
    return _screen(title, (*blocks, Words(shelf)) if shelf else blocks, system, safety)


def bag_screen(title: str, bag: Bag, system: System, safety: tuple[str, ...] = ()) -> RenderableType:
    """The screen of `layup bag`."""
    unpriced = (Words(("not priced: " + "; ".join(bag.unpriced),)),) if bag.unpriced else ()
    return _screen(title, (*bag_blocks(bag, system), *unpriced), system, safety)


def stock_screen(stock: Stock, system: System) -> RenderableType:
    """The screen of `layup stock`."""
    rows = []
    for thing in stock.things:
        left = stock.left(thing)
        liquid, roll = thing.kind in ("resin", "hardener"), thing.kind == "roll"
        there = mass_both(left, system) if liquid else length_words(left, system) if roll else area_words(left, system)
        keeps = thing.until.isoformat() if thing.until is not None else ""
        booked = ", ".join(str(one.booking) for one in stock.used if one.label == thing.label)
        rows.append(
            (thing.label, thing.kind, thing.material, thing.lot, there if left > 1e-9 else "used up", keeps, booked)
        )
    head = ("label", "kind", "material", "lot", "left", "keeps until", "bookings")
    return _screen(stock.path.name, [Grid(head, tuple(rows))], system, ())
