"""`layup choose PART`: the lightest layup that is stiff and strong enough."""

from __future__ import annotations

from pathlib import Path

import click

from layup.commands.options import Asked, about_part, check_outputs, yes_option


@click.command("choose", short_help="The lightest layup that is stiff and strong enough.")
@about_part
@click.option("--explain", is_flag=True, help="Every check of the chosen layup: formula, numbers, source.")
@click.option("--quick", is_flag=True, help="Only the lightest; no front of weight, cost and stiffness.")
@click.option("--picture", type=click.Path(path_type=Path), help="Save the front as a picture: .png, .svg or .pdf.")
@click.option("--write", "out", type=click.Path(path_type=Path), help="Save the part file with the chosen layup in it.")
@yes_option
def command(asked: Asked, explain: bool, quick: bool, picture: Path | None, out: Path | None, yes: bool) -> None:
    """The lightest layup that does what [needs] asks of the part, of what [shelf] has.

    Without [needs] the part must be as stiff in bending as what it replaces; without [shelf] its own fabrics, cores and
    process are tried. Ctrl-C stops the search and shows the best so far.
    """
    from layup.choosing.choice import choose
    from layup.choosing.words import progress_words
    from layup.report.work_bar import WorkBar

    if out is not None:
        from layup.choosing.writeback import may_write_part

        may_write_part(asked.part, out, yes)  # before the search, not after it
    check_outputs([picture], yes, [asked.part])
    with WorkBar(shown=not asked.as_json) as bar:

        def tell(what: str, looked: int, weight: float) -> None:
            bar.told(progress_words(what, looked, weight, asked.units or "metric"), 0.0)

        choice = choose(asked.part, tell=tell, wide=not quick, habits=asked.habits())
    if out is not None:
        from layup.choosing.writeback import write_part

        if choice.best is None:
            click.echo("Nothing was written: no layup passes.", err=True)
        else:
            click.echo(f"Wrote {write_part(asked.part, choice.best, out)}.", err=True)
    if picture is not None:
        from layup.choosing.picture import draw_choice

        click.echo(f"Wrote {draw_choice(choice, picture)}.", err=True)
    if asked.as_json:
        from layup.choosing.as_json import json_text

        click.echo(json_text(choice))
    else:
        from layup.choosing.screen import choice_screen
        from layup.weight import screen

        screen.show(choice_screen(choice, asked.system(choice.job), explain))
    if choice.best is None:
        raise click.exceptions.Exit(1)
