"""`layup compare PART`: processes side by side, old against new."""

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
    system_of,
    units_option,
)

if TYPE_CHECKING:
    from layup.words import System


@click.command("compare", short_help="Wet, bagged, infused and prepreg side by side; old against new.")
@part_argument
@units_option
@json_option
@shop_option
@no_shop_option
def command(part: Path, units: System | None, as_json: bool, shop: Path | None, no_shop: bool) -> None:
    """The part wet, bagged, infused and prepreg side by side, and against what it replaces."""
    from layup.weight.prediction import predict

    prediction = predict(job_of(part, as_json, units), habits=habits_of(part, shop, no_shop))
    if as_json:
        from layup.weight import as_json as machine

        click.echo(machine.json_text(prediction))
        return
    from layup.weight import screen

    screen.show(screen.compare_screen(prediction, system_of(units, prediction)))
    if prediction.published is not None:
        from layup.learn.screen import used_screen

        screen.show(used_screen(prediction, system_of(units, prediction)))
