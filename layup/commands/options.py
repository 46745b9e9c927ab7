"""Options that several commands share, each stack of them as one decorator, and what they say."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Concatenate, ParamSpec

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
    help="Of a PDF; else A4, or Letter where results print in pounds.",
)
yes_option = click.option("--yes", is_flag=True, help="Write over a file that is there already.")


def paper_of(paper: str | None, system: str) -> str:
    """The paper asked for, else what the printers of a shop hold that counts in these units.

    >>> paper_of(None, "lb"), paper_of(None, "both"), paper_of("A4", "lb")
    ('Letter', 'A4', 'A4')
    """
    return paper or ("Letter" if system == "lb" else "A4")


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


P = ParamSpec("P")


@dataclass(frozen=True)
class Asked:
    """What the stack of a command about one part says: PART --units --json --shop --no-shop."""

    part: Path
    units: System | None
    as_json: bool
    shop: Path | None
    no_shop: bool

    def prediction(self) -> Prediction:
        """Of the part, as the shop's scale has taught."""
        from layup.weight.prediction import predict

        return predict(job_of(self.part, self.as_json, self.units), habits=self.habits())

    def habits(self) -> Habits:
        """What the shop's scale has taught; empty where it is not wanted."""
        return habits_of(self.part, self.shop, self.no_shop)

    def system(self, job: Job) -> System:
        """The option's system, else the part file's."""
        return self.units or job.part.units


def about_part(command: Callable[Concatenate[Asked, P], None], json: bool = True) -> Callable[..., None]:
    """Put the stack of a command about one part on it, which gets it as one `Asked`.

    Args:
        command: What runs.
        json: Whether it can answer another program.
    """

    @no_shop_option
    @wraps(command)
    def run(
        part: Path, units: System | None, shop: Path | None, no_shop: bool, *args: P.args, **rest: P.kwargs
    ) -> None:
        command(Asked(part, units, bool(rest.pop("as_json", False)), shop, no_shop), *args, **rest)

    stacked = shop_option(run)
    return part_argument(units_option(json_option(stacked) if json else stacked))


def mixing(command: Callable[..., None]) -> Callable[..., None]:
    """Put the stack that says how resin is mixed on a command, under `about_part`; it comes as `mixed`, read."""

    @click.option("--people", default=1, show_default=True, type=click.IntRange(1, 20), help="People laying up.")
    @click.option("--temperature", help='Of shop and resin: "18 degC"; else that of the printed pot life.')
    @click.option("--ratio", help='Resin to hardener by weight, from the can: "100:30"; catalyst: "1.5 %".')
    @click.option("--pot", help='Most to mix at once: "150 g".')
    @click.option(
        "--cup", multiple=True, help='A size of cup you have, brimful: "250 ml", "9 fl oz"; once for each size.'
    )
    @click.option("--scale", help='What your resin scale shows at the least: "1 g", "1/8 oz".')
    @wraps(command)
    def run(
        asked: Asked, *, people: int, temperature: str | None, ratio: str | None, pot: str | None, cup: tuple[str, ...],
        scale: str | None, **rest: object,
    ) -> None:  # fmt: skip
        from layup.make.mixing import read_mixing

        command(asked, mixed=read_mixing(people, temperature, ratio, pot, cup, scale), **rest)

    return run


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


def ask(asked: Sequence[str], said: str, yes: bool, act: str, done: str) -> None:
    """Question an absurd weight before anything is kept.

    Args:
        asked: What is odd about it; nothing where it is as expected.
        said: As it was written.
        yes: Whether it is kept whatever is odd.
        act: "Note".
        done: "noted".
    """
    from layup.errors import LayupError

    if not asked or yes:
        return
    if not sys.stdin.isatty():
        raise LayupError(
            f"{asked[0]} Nothing was {done}: write the weight with its right unit, or add --yes if it is right"
        )
    if not click.confirm(f"{asked[0]} {act} {said}?", default=False):
        raise LayupError(f"Nothing was {done}")


def two_sides(text: str) -> tuple[float, float]:
    """Sides of a plate, "100 mm x 100 mm". [m]"""
    from layup.learn.scale import two_sides as read

    return read(text)
