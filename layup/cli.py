"""The command line: it reads the words, calls the library and prints; it holds no arithmetic.

Exit status: 0 done, 1 stopped or failed, 2 something in the input is wrong (each fault is named on standard error).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from layup.prediction import Prediction
    from layup.words import System

SYSTEMS = click.Choice(["lb", "metric", "both"])

_units = click.option(
    "--units",
    type=SYSTEMS,
    envvar="LAYUP_UNITS",
    help="Pounds and ounces, metric, or both. Else as the part file says.",
)
_part = click.argument("part", type=click.Path(path_type=Path))


class _Commands(click.Group):
    """A group that says every expected error as plain text and never shows a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        from layup.errors import LayupError

        try:
            return super().invoke(ctx)
        except LayupError as error:
            click.echo(str(error), err=True)
            ctx.exit(2)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except (click.ClickException, click.exceptions.Exit, click.Abort, KeyboardInterrupt):
            raise
        except MemoryError:
            click.echo("This needs more memory than the machine has. Use a coarser mesh.", err=True)
            ctx.exit(1)
        except (
            Exception
        ) as error:  # the last net: whatever slipped through is our fault and must still read as a sentence
            if os.environ.get("LAYUP_TRACE"):
                raise
            click.echo(
                f"layup made a mistake of its own ({type(error).__name__}: {error}). Nothing was written. "
                "Please report it with the part file; LAYUP_TRACE=1 shows where it happened.",
                err=True,
            )
            ctx.exit(1)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="layup", message="layup %(version)s")
def main() -> None:
    r"""Predict what a hand-made composite part will weigh before it is laid up, and what it saves.

    \b
    Start here:  layup predict examples/motor-glider/engine-bay-door.toml
    A part file is a short text file; docs/first-hour.md writes one from nothing.
    """


def _system(units: System | None, prediction: Prediction) -> System:
    return units or prediction.job.part.units


@main.command()
@_part
@_units
@click.option("--json", "as_json", is_flag=True, help="SI figures for another program.")
@click.option("--csv", "as_csv", is_flag=True, help="The same as one table for a spreadsheet.")
@click.option("--sources", is_flag=True, help="Show every figure used with its source.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save a picture: .png, .svg or .pdf.")
def predict(part: Path, units: System | None, as_json: bool, as_csv: bool, sources: bool, picture: Path | None) -> None:
    """What will the part of this PART file weigh, within what limits, and what does it save?"""
    from layup.prediction import predict as run

    if as_json and as_csv:
        raise click.UsageError("--json and --csv say two things: keep one.")
    prediction = run(part)
    if picture is not None:
        _draw(prediction, picture)
    if as_json or as_csv:
        from layup.show import machine

        click.echo(machine.json_text(prediction) if as_json else machine.csv_text(prediction), nl=as_json)
        return
    from layup.show import screen

    screen.show(screen.prediction_screen(prediction, _system(units, prediction)))
    if sources:
        screen.show(screen.sources_screen(prediction.citations))
    else:
        click.echo("  --sources shows every figure this rests on and where it is printed.")


def _draw(prediction: Prediction, picture: Path) -> None:
    from layup.errors import LayupError
    from layup.show.picture import draw_prediction

    try:
        draw_prediction(prediction, picture)
    except OSError as error:
        raise LayupError(f'"{picture}" can\'t be written ({error.strerror}). Name a folder that exists') from None
    click.echo(f"Picture: {picture}", err=True)


@main.command()
@_part
@_units
@click.option("--json", "as_json", is_flag=True, help="SI figures for another program, as layup predict gives them.")
def compare(part: Path, units: System | None, as_json: bool) -> None:
    """The part wet, bagged, infused and prepreg side by side, and against what it replaces."""
    from layup.prediction import predict as run

    prediction = run(part)
    if as_json:
        from layup.show import machine

        click.echo(machine.json_text(prediction))
        return
    from layup.show import screen

    screen.show(screen.compare_screen(prediction, _system(units, prediction)))


@main.command()
@click.argument("word", nargs=-1)
@click.option("--table", "tables", multiple=True, type=click.Path(path_type=Path, dir_okay=False),
              help="A table of the shop's own, laid over the library.")  # fmt: skip
@click.option("--csv", "as_csv", is_flag=True, help="All rows as one table.")
def materials(word: tuple[str, ...], tables: tuple[Path, ...], as_csv: bool) -> None:
    """List the materials that match a WORD, or show one with every figure's source."""
    from layup.materials import load_library

    library = load_library(tables)
    text = " ".join(word)
    if as_csv:
        frame = library.frame()
        names = {m.name for m in library.matching(text)}
        click.echo(frame[frame["material"].isin(names)].to_csv(index=False), nl=False)
        return
    from layup.show import screen

    screen.show(screen.materials_screen(library, text))


if __name__ == "__main__":
    main()
