"""`layup mix PART`: how much resin in each batch, when, and for which plies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import Asked, about_part, mixing

if TYPE_CHECKING:
    from layup.make.mixing import Mixing


@click.command("mix")
@about_part
@mixing
@click.option("--stock", type=click.Path(path_type=Path, dir_okay=False), help="The stock list: what its resin allows.")
@click.option("--book", is_flag=True, help="Book in the stock list what is taken of it; else nothing is written there.")
def command(asked: Asked, mixed: Mixing, stock: Path | None, book: bool) -> None:
    """How much resin in each batch, when to mix it, and hardener for the scale."""
    from layup.make.batches import mixes

    prediction = asked.prediction()
    found = mixes(prediction.job, prediction.weighed, **mixed)
    if book and stock is None:
        raise click.UsageError("--book needs the stock list: --stock stock.csv.")
    said: tuple[str, ...] = ()
    if stock is not None:
        from layup.files.writing import replace_text
        from layup.make.stock import of_mix, read_stock

        listed = read_stock(stock, prediction.job.library)
        said, takes = of_mix(listed, found, prediction.job.part.units)
        if book:
            text, number = listed.booked(takes, prediction.title)
            replace_text(stock, listed.text, text)
            click.echo(f"Booking {number} in {stock}; `layup stock {stock} --undo {number}` undoes it.", err=True)
    if asked.as_json:
        from layup.make.as_json import mix_json

        click.echo(mix_json(found))
        return
    from layup.make.screen import mix_screen
    from layup.weight import screen

    screen.show(mix_screen(prediction.title, found, prediction.job.part.units, prediction.at_hand("mix"), said))
    if found and prediction.published is not None:
        from layup.learn.screen import used_screen

        screen.show(used_screen(prediction, asked.system(prediction.job)))
