"""`layup cut PART...`: the cloth to cut off each roll, and where every ply lies on it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, job_of, json_option, paper_of, paper_option, units_option, yes_option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layup.make.cut import Cut
    from layup.make.stock import Stock, Take
    from layup.partfile.job import Job
    from layup.words import System


@click.command("cut")
@click.argument("parts", nargs=-1, required=True, type=click.Path(path_type=Path))
@units_option
@json_option
@click.option(
    "--seconds",
    default=6.0,
    show_default=True,
    type=click.FloatRange(min=0.0, max=3600.0),
    help="How long to search; 0 for a plain, repeatable layout.",
)
@click.option("--gap", default="3 mm", show_default=True, help="Between two pieces, for the cutter.")
@click.option("--edge", default="5 mm", show_default=True, help="Not used along each edge of a roll.")
@click.option(
    "--roll", "rolls", multiple=True, metavar="CLOTH=WIDTH", help='A roll of another width: "glass plain 200=1 m".'
)
@click.option(
    "--defect",
    "defects",
    multiple=True,
    metavar="CLOTH=X,Y,LENGTH,WIDTH",
    help="A bad place: from the end of the roll, from its lower edge, along, across.",
)
@click.option(
    "--used",
    "used_files",
    multiple=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="A stored cut that was taken from the same rolls: what it took is not there any more.",
)
@click.option("--rough", is_flag=True, help="Rough outlines instead of flat patterns: quicker, near enough to buy by.")
@click.option("--quarter-rings", is_flag=True, help="Cut a ply that is a ring in four; its middle is not lost then.")
@click.option("--face-down", is_flag=True, help="Plain weaves may also be cut face down.")
@click.option(
    "--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save the layouts: .png, .svg or .pdf."
)
@click.option(
    "--stock", type=click.Path(path_type=Path, dir_okay=False), help="The stock list: remnants are cut first."
)
@click.option("--book", is_flag=True, help="Book in the stock list what is taken of it; else nothing is written there.")
@click.option("--copies", default=1, show_default=True, type=click.IntRange(1, 50), help="So many of each part.")
@click.option(
    "--mirrored", type=click.Choice(["x", "y", "z"]), help="The other hand of each part too, mirrored in this."
)
@click.option(
    "--day", type=click.Path(path_type=Path, dir_okay=False), help="Write one sheet for the day: .pdf or .html."
)
@paper_option
@click.option("--save", is_flag=True, help="Store the layouts beside the first part, for the build sheet.")
@yes_option
def command(
    parts: tuple[Path, ...], units: System | None, as_json: bool, seconds: float, gap: str, edge: str,
    rolls: tuple[str, ...], defects: tuple[str, ...], used_files: tuple[Path, ...], face_down: bool, rough: bool,
    quarter_rings: bool, picture: Path | None, stock: Path | None, book: bool, copies: int, mirrored: str | None,
    day: Path | None, paper: str | None, save: bool, yes: bool,
) -> None:  # fmt: skip
    """What length of each cloth do these PARTS need? Ctrl-C takes the best layout so far."""
    from layup.make.cut import cut
    from layup.make.nest_file import path_beside, write_cut
    from layup.make.rolls import check_cloths, read_blocked, read_paid, read_widths
    from layup.partfile.cautions import at_hand
    from layup.report.work_bar import WorkBar
    from layup.units import parse

    if save and stock is not None:
        raise click.UsageError("--save stores one roll for each cloth; with --stock, --day writes what lies where.")
    if book and stock is None:
        raise click.UsageError("--book needs the stock list: --stock stock.csv.")
    check_outputs([picture, day, path_beside(parts[0]) if save else None], yes, [*parts, *used_files, stock])
    jobs = _hands([job_of(part, as_json, units) for part in parts], mirrored) * copies
    listed = None
    if stock is not None:
        from layup.make.stock import read_stock

        listed = read_stock(stock, jobs[0].library)
    check_cloths((*rolls, *defects), jobs)
    with WorkBar(shown=not as_json) as bar:
        result = cut(
            jobs,
            gap=parse(gap, "length"),
            edge=parse(edge, "length"),
            seconds=seconds,
            widths=read_widths(rolls),
            blocked=read_blocked(defects, used_files),
            paid=read_paid(used_files),
            face_down=face_down,
            patterns=not rough,
            quarter_rings=quarter_rings,
            shelf=None if listed is None else listed.shelf(),
            told=lambda words, share: bar.told(f"{words}; Ctrl-C takes it", share),
        )
    system: System = units or jobs[0].part.units
    if picture is not None:
        from layup.make.nest_picture import draw_cut

        click.echo(f"Picture: {draw_cut(result, picture, system)}", err=True)
    if save:
        write_cut(result, path_beside(parts[0]))
        click.echo(f"Stored: {path_beside(parts[0])}", err=True)
    said: tuple[str, ...] = ()
    if listed is not None:
        from layup.make.stock import of_cut

        said, takes = of_cut(listed, result, system)
        if book:
            _book(listed, takes, ", ".join(dict.fromkeys(job.part.title for job in jobs)))
    if day is not None:
        _day_sheet(jobs, result, listed=listed, said=said, day=day, paper=paper_of(paper, system), system=system)
    if as_json:
        from layup.make.as_json import cut_json

        click.echo(cut_json(result, said))
        return
    from layup.make.screen import cut_screen
    from layup.weight import screen

    safety = dict.fromkeys(words for job in jobs for words in at_hand(job.part, job.library, "cut"))
    screen.show(cut_screen(result, system, tuple(safety), said))


def _hands(jobs: list[Job], axis: str | None) -> list[Job]:
    """Parts, each with its other hand behind it where that is asked for."""
    if axis is None:
        return jobs
    from dataclasses import replace

    from layup.partfile.mirrored import mirrored

    found = []
    for job in jobs:
        other = mirrored(job, axis)
        part = other.part.model_copy(update={"title": f"{job.part.title}, other hand"})
        found += [job, replace(other, part=part)]
    return found


def _book(listed: Stock, takes: tuple[Take, ...], note: str) -> None:
    from layup.files.writing import replace_text

    text, number = listed.booked(takes, note)
    replace_text(listed.path, listed.text, text)
    click.echo(f"Booking {number} in {listed.path}; `layup stock {listed.path} --undo {number}` undoes it.", err=True)


def _day_sheet(
    jobs: Sequence[Job], result: Cut, listed: Stock | None, said: tuple[str, ...], day: Path, paper: str, system: System
) -> None:
    from layup.make.batches import mixes
    from layup.make.build_sheet import day_sheet
    from layup.make.stock import of_mix
    from layup.report.document_file import write_document
    from layup.weight.prediction import predict

    predictions = [predict(job) for job in jobs]
    mixed = [mixes(one.job, one.weighed) for one in predictions]
    if listed is not None:
        said += of_mix(listed, [mix for of_part in mixed for mix in of_part], system)[0]
    click.echo(
        f"Day sheet: {write_document(day_sheet(predictions, result, mixed, said, system), day, paper)}", err=True
    )
