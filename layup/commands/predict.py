"""`layup predict PART`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import Asked, about_part, check_outputs, yes_option

if TYPE_CHECKING:
    from layup.weight.prediction import Prediction
    from layup.words import System


@click.command("predict", short_help="What will the part weigh, within what limits, and what does it save?")
@about_part
@click.option("--csv", "as_csv", is_flag=True, help="The same as one table for a spreadsheet.")
@click.option("--sources", is_flag=True, help="Show every figure used with its source.")
@click.option("--plies", type=int, multiple=True, help="What if so many plies lay all over; once for each number.")
@click.option(
    "--process", "processes", multiple=True, metavar="NAME", help="What if it were laid up so; once for each."
)
@click.option(
    "--core",
    "cores",
    multiple=True,
    metavar="CORE",
    help='What if it had this core: none, "5 mm", a name, or "PVC foam 60=5 mm"; once for each.',
)
@click.option("--adds", is_flag=True, help="How much a coat, a ply more, 2 mm left at the edge adds.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save a picture: .png, .svg or .pdf.")
@yes_option
def command(
    asked: Asked, as_csv: bool, sources: bool, plies: tuple[int, ...], processes: tuple[str, ...],
    cores: tuple[str, ...], adds: bool, picture: Path | None, yes: bool,
) -> None:  # fmt: skip
    """What will the part of this PART file weigh, within what limits, and what does it save?

    With --plies, --process or --core: the part as written beside each mixture of what is asked.
    """
    if asked.as_json and as_csv:
        raise click.UsageError("--json and --csv say two things: keep one.")
    check_outputs([picture], yes, [asked.part])
    prediction = asked.prediction()
    system = asked.system(prediction.job)
    if picture is not None:
        _draw(prediction, picture)
    if plies or processes or cores or adds:
        if as_csv:
            raise click.UsageError("what-ifs are shown as a table or as --json, not as --csv.")
        _ask(prediction, (plies, processes, cores), adds, asked.as_json, system)
        return
    if asked.as_json or as_csv:
        from layup.weight import as_json as machine

        click.echo(machine.json_text(prediction) if asked.as_json else machine.csv_text(prediction), nl=asked.as_json)
        return
    from layup.weight import screen

    screen.show(screen.prediction_screen(prediction, system, screen.columns_here()))
    if prediction.published is not None:
        from layup.learn.screen import used_screen

        screen.show(used_screen(prediction, system))
    if sources:
        from layup.report.materials_screen import sources_screen

        screen.show(sources_screen(prediction.citations))
    else:
        click.echo("  --sources shows every figure this rests on and where it is printed.")


def _draw(prediction: Prediction, picture: Path) -> None:
    from layup.weight.picture import draw_prediction

    click.echo(f"Picture: {draw_prediction(prediction, picture)}", err=True)


def _ask(
    prediction: Prediction,
    asked_for: tuple[tuple[int, ...], tuple[str, ...], tuple[str, ...]],
    adds: bool,
    as_json: bool,
    system: System,
) -> None:
    """Answer what-ifs, of plies, processes and cores: a table, or the prediction's JSON with them beside it."""
    from layup.choosing import what_if as asked
    from layup.weight import screen

    rows = asked.what_if(prediction, *asked_for) if any(asked_for) else ()
    added = asked.adds(prediction) if adds else ()
    if as_json:
        import json

        told = {
            **prediction.as_json(),
            "what_if": [asked.variant_record(row) for row in rows],
            "adds": [{"what": one.what, "mass_kg": one.mass, "how": one.how} for one in added],
        }
        click.echo(json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False))
        return
    if rows:
        screen.show(asked.what_if_screen(prediction, rows, system))
    if added:
        screen.show(asked.adds_screen(prediction, added, system))
