"""Options that several commands share, and the unit system a screen is printed in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from layup.prediction import Prediction
    from layup.words import System

units_option = click.option(
    "--units",
    type=click.Choice(["lb", "metric", "both"]),
    envvar="LAYUP_UNITS",
    help="Pounds and ounces, metric, or both. Else as the part file says.",
)
part_argument = click.argument("part", type=click.Path(path_type=Path))
json_option = click.option("--json", "as_json", is_flag=True, help="SI figures for another program.")


def system_of(units: System | None, prediction: Prediction) -> System:
    """The option's system, else the part file's."""
    return units or prediction.job.part.units
