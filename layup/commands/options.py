"""Options that several commands share, and the unit system a screen is printed in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from layup.laminate.process import Habits
    from layup.partfile.job import Job
    from layup.weight.prediction import Prediction
    from layup.words import System

units_option = click.option(
    "--units",
    type=click.Choice(["lb", "metric", "both"]),
    envvar="LAYUP_UNITS",
    help="Pounds and ounces, metric, or both. Else as the part file says.",
)
shop_option = click.option(
    "--shop",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LAYUP_SHOP",
    help="The shop's folder. Else the nearest one above the part file that holds a record.",
)
no_shop_option = click.option("--no-shop", is_flag=True, help="By published figures alone, whatever was weighed here.")
part_argument = click.argument("part", type=click.Path(path_type=Path))
json_option = click.option("--json", "as_json", is_flag=True, help="SI figures for another program.")

paper_option = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Of a PDF.",
)
yes_option = click.option("--yes", is_flag=True, help="Write over a file that is there already.")


def check_outputs(outputs: Iterable[Path | None], yes: bool, inputs: Iterable[Path | None]) -> None:
    """Refuse outputs that would go over a file unasked, or over what is read; before the work, not after it.

    Args:
        outputs: Where they go; None for one that is not wanted.
        yes: Whether files that are there may be written over.
        inputs: What the command reads.
    """
    from layup.errors import LayupError
    from layup.files.writing import may_write

    wanted = [path for path in outputs if path is not None]
    for number, path in enumerate(wanted):
        may_write(path, yes, [read for read in inputs if read is not None])
        if path in wanted[:number]:
            raise LayupError(f'two files would be written to "{path}". Name one of them otherwise')


def system_of(units: System | None, prediction: Prediction) -> System:
    """The option's system, else the part file's."""
    return units or prediction.job.part.units


def job_of(part: Path, quiet: bool = False, units: System | None = None) -> Job:
    """The part file read, with a bar on the terminal where that takes over a second.

    Args:
        part: Path of the part file.
        quiet: No bar: another program reads what is printed.
        units: What everything is to be said in, sentences too; None for what the part file says.
    """
    from functools import partial

    from layup.partfile.opened import open_surface
    from layup.partfile.read import read_part
    from layup.report.work_bar import WorkBar

    with WorkBar(shown=not quiet) as bar:
        job = read_part(part, opener=partial(open_surface, told=bar.told))
    return job if units is None else replace(job, part=job.part.model_copy(update={"units": units}))


def habits_of(part: Path, shop: Path | None, no_shop: bool) -> Habits:
    """What the shop's scale has taught; empty where nothing was weighed, or where it is not wanted."""
    from layup.learn.folder import shop_folder

    if no_shop or (shop is None and shop_folder(part) is None):
        return {}
    from layup.learn.calibrate import habits_near

    return habits_near(part, shop)


def two_sides(text: str) -> tuple[float, float]:
    """Sides of a plate, "100 mm x 100 mm". [m]"""
    from layup.learn.scale import two_sides as read

    return read(text)
