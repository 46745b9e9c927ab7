"""`layup bag PART`: what goes into the bag, and what vacuum it can hold."""

from __future__ import annotations

import click

from layup.commands.options import Asked, about_part


@click.command("bag")
@about_part
def command(asked: Asked) -> None:
    """The bag from the tool up: areas, lengths, price, vacuum and leak test."""
    from layup.make.bag import bag

    prediction = asked.prediction()
    found = bag(prediction.job, prediction.weighed)
    if asked.as_json:
        from layup.make.as_json import bag_json

        click.echo(bag_json(found))
        return
    from layup.make.screen import bag_screen
    from layup.weight import screen

    screen.show(bag_screen(prediction.title, found, prediction.job.part.units, prediction.at_hand("bag")))
