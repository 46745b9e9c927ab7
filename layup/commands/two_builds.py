"""`layup two-builds FIRST SECOND`: two weighed versions of one part, and what the difference is made of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import shop_option, units_option

if TYPE_CHECKING:
    from layup.partfile.job import Job
    from layup.words import System


@click.command("two-builds", short_help="Two weighed versions of one part: what is the difference made of?")
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@click.option("--weighed", multiple=True, help="Weight of the first, then the second; else the newest noted.")
@shop_option
@units_option
def command(first: Path, second: Path, weighed: tuple[str, ...], shop: Path | None, units: System | None) -> None:
    """How the difference between the weighed versions of two part files divides: process, plies, core, finish, area."""
    from layup.errors import LayupError
    from layup.learn.answers_screen import versions_screen
    from layup.learn.versions import divide
    from layup.partfile.read import read_part
    from layup.units import parse
    from layup.weight import screen

    if weighed and len(weighed) != 2:
        raise LayupError('two weights are due: --weighed "5 lb 8 oz" --weighed "2 lb 13 oz"')
    sides = []
    for number, path in enumerate((first, second)):
        job = read_part(path)
        mass = parse(weighed[number], "mass") if weighed else _noted(path, job, shop)
        if mass <= 0:
            raise LayupError(f'"{weighed[number]}" is not above zero: no version weighs that. Write "2 lb 13 oz"')
        sides.append((path.stem if job.part.title else path.name, job, mass))
    screen.show(versions_screen(divide(sides[0], sides[1]), units or sides[0][1].part.units))


def _noted(path: Path, job: Job, shop: Path | None) -> float:
    """The newest weight of the finished part in the shop's record. [kg]"""
    from layup.errors import LayupError
    from layup.learn.calibrate import shop_folder
    from layup.learn.store import find_store
    from layup.learn.weighins import of_piece

    folder = shop or shop_folder(path)
    store = find_store(folder) if folder is not None else None
    found = []
    if store is not None:
        with store:
            found = [w for w in of_piece(store, job.part.title) if w.file == path.name and w.stage == "finished"]
    if not found:
        raise LayupError(
            f"{path.name} has not been weighed finished. Weigh it, or write its weight: "
            '--weighed "5 lb 8 oz" --weighed "2 lb 13 oz"'
        )
    return found[-1].mass
