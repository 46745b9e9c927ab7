"""`layup compare PART`: processes side by side, old against new."""

from __future__ import annotations

import click

from layup.commands.options import Asked, about_part


@click.command("compare", short_help="Wet, bagged, infused and prepreg side by side; old against new.")
@about_part
def command(asked: Asked) -> None:
    """The part wet, bagged, infused and prepreg side by side, and against what it replaces."""
    prediction = asked.prediction()
    if asked.as_json:
        from layup.weight import as_json as machine

        click.echo(machine.json_text(prediction))
        return
    from layup.weight import screen

    system = asked.system(prediction.job)
    screen.show(screen.compare_screen(prediction, system))
    if prediction.published is not None:
        from layup.learn.screen import used_screen

        screen.show(used_screen(prediction, system))
