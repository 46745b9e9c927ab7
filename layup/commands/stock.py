"""`layup stock LIST`: what is on the shelf, and what was booked of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import units_option

if TYPE_CHECKING:
    from layup.words import System


@click.command("stock", short_help="What is on the shelf: rolls, remnants, resin, core.")
@click.argument("stock", type=click.Path(path_type=Path, dir_okay=False))
@units_option
@click.option("--undo", type=int, help="Take a booking back: its number.")
def command(stock: Path, units: System | None, undo: int | None) -> None:
    """What is left of everything in this stock LIST, a CSV kept by hand; `cut` and `mix` book in it when asked.

    docs/bench-day.md has its columns.
    """
    from layup.files.writing import replace_text
    from layup.make.screen import stock_screen
    from layup.make.stock import read_stock
    from layup.materials import load_library
    from layup.weight import screen

    listed = read_stock(stock, load_library())
    if undo is not None:
        replace_text(stock, listed.text, listed.undone(undo))
        click.echo(f"Booking {undo} is undone.")
        return
    screen.show(stock_screen(listed, units or "both"))
