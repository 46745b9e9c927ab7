"""`layup bag PART`: what goes into the bag, and what vacuum it can hold."""

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


@click.command("bag")
@part_argument
@units_option
@json_option
@shop_option
@no_shop_option
def command(part: Path, units: System | None, as_json: bool, shop: Path | None, no_shop: bool) -> None:
    """The bag from the tool up: areas, lengths, price, vacuum and leak test."""
    from layup.make.bag import bag
    from layup.weight.prediction import predict

    prediction = predict(job_of(part, as_json, units), habits=habits_of(part, shop, no_shop))
    found = bag(prediction.job, prediction.weighed)
    if as_json:
        from layup.make.as_json import bag_json

        click.echo(bag_json(found))
        return
    from layup.make.screen import bag_screen
    from layup.weight import screen

    screen.show(bag_screen(prediction.title, found, prediction.job.part.units, prediction.at_hand("bag")))
