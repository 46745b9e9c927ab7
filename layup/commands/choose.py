"""`layup choose PART`: the lightest layup that is stiff and strong enough."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import (
    check_outputs,
    habits_of,
    json_option,
    no_shop_option,
    part_argument,
    shop_option,
    units_option,
    yes_option,
)

if TYPE_CHECKING:
    from layup.words import System


@click.command("choose", short_help="The lightest layup that is stiff and strong enough.")
@part_argument
@click.option("--explain", is_flag=True, help="Every check of the chosen layup: formula, numbers, source.")
@click.option("--quick", is_flag=True, help="Only the lightest; no front of weight, cost and stiffness.")
@click.option("--picture", type=click.Path(path_type=Path), help="Save the front as a picture: .png, .svg or .pdf.")
@click.option("--write", "out", type=click.Path(path_type=Path), help="Save the part file with the chosen layup in it.")
@yes_option
@units_option
@json_option
@shop_option
@no_shop_option
def command(
    part: Path, explain: bool, quick: bool, picture: Path | None, out: Path | None, yes: bool, units: System | None,
    as_json: bool, shop: Path | None, no_shop: bool,
) -> None:  # fmt: skip
    """The lightest layup that does what [needs] asks of the part, of what [shelf] has.

    Without [needs] the part must be as stiff in bending as what it replaces; without [shelf] its own fabrics, cores and
    process are tried. Ctrl-C stops the search and shows the best so far.
    """
    from layup.choosing.choice import choose
    from layup.choosing.words import progress_words
    from layup.report.work_bar import WorkBar

    if out is not None:
        from layup.choosing.writeback import may_write_part

        may_write_part(part, out, yes)  # before the search, not after it
    check_outputs([picture], yes, [part])
    with WorkBar(shown=not as_json) as bar:

        def tell(what: str, looked: int, weight: float) -> None:
            bar.told(progress_words(what, looked, weight, units or "metric"), 0.0)

        choice = choose(part, tell=tell, wide=not quick, habits=habits_of(part, shop, no_shop))
    if out is not None:
        from layup.choosing.writeback import write_part

        if choice.best is None:
            click.echo("Nothing was written: no layup passes.", err=True)
        else:
            click.echo(f"Wrote {write_part(part, choice.best, out)}.", err=True)
    if picture is not None:
        from layup.choosing.picture import draw_choice

        click.echo(f"Wrote {draw_choice(choice, picture)}.", err=True)
    if as_json:
        from layup.choosing.as_json import json_text

        click.echo(json_text(choice))
    else:
        from layup.choosing.screen import choice_screen
        from layup.weight import screen

        screen.show(choice_screen(choice, units or choice.job.part.units, explain))
    if choice.best is None:
        raise click.exceptions.Exit(1)
