"""`layup mix PART`: how much resin in each batch, when, and for which plies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import (
    habits_of,
    job_of,
    json_option,
    no_shop_option,
    part_argument,
    shop_option,
    units_option,
)

if TYPE_CHECKING:
    from layup.words import System


@click.command("mix")
@part_argument
@units_option
@json_option
@click.option("--people", default=1, show_default=True, type=click.IntRange(1, 20), help="People laying up.")
@click.option("--temperature", help='Of shop and resin: "18 degC"; else that of the printed pot life.')
@click.option("--ratio", help='Resin to hardener by weight, from the can: "100:30"; catalyst: "1.5 %".')
@click.option("--pot", help='Most to mix at once: "150 g".')
@click.option("--cup", multiple=True, help='A size of cup you have, brimful: "250 ml", "9 fl oz"; once for each size.')
@click.option("--scale", help='What your resin scale shows at the least: "1 g", "1/8 oz".')
@click.option("--stock", type=click.Path(path_type=Path, dir_okay=False), help="The stock list: what its resin allows.")
@click.option("--book", is_flag=True, help="Book in the stock list what is taken of it; else nothing is written there.")
@shop_option
@no_shop_option
def command(
    part: Path, units: System | None, as_json: bool, people: int, temperature: str | None, ratio: str | None,
    pot: str | None, cup: tuple[str, ...], scale: str | None, stock: Path | None, book: bool,
    shop: Path | None, no_shop: bool,
) -> None:  # fmt: skip
    """How much resin in each batch, when to mix it, and hardener for the scale."""
    from layup.make.batches import mixes
    from layup.make.mixing import read_scale
    from layup.units import parse, parse_ratio
    from layup.weight.prediction import predict

    prediction = predict(job_of(part, as_json, units), habits=habits_of(part, shop, no_shop))
    found = mixes(
        prediction.job,
        prediction.weighed,
        people=people,
        temperature=None if temperature is None else parse(temperature, "temperature"),
        ratio=None if ratio is None else parse_ratio(ratio),
        pot=None if pot is None else parse(pot, "mass"),
        cups=[parse(one, "volume") for one in cup],
        scale=None if scale is None else read_scale(scale),
    )
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
    if as_json:
        from layup.make.as_json import mix_json

        click.echo(mix_json(found))
        return
    from layup.make.screen import mix_screen
    from layup.weight import screen

    screen.show(mix_screen(prediction.title, found, prediction.job.part.units, prediction.at_hand("mix"), said))
    if found and prediction.published is not None:
        from layup.learn.screen import used_screen

        screen.show(used_screen(prediction, units or prediction.job.part.units))
