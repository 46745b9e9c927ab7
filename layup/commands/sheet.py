"""`layup sheet PART`: the build sheet for the wall, as PDF and as a page for a tablet."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import Asked, about_part, check_outputs, mixing, paper_of, paper_option, yes_option

if TYPE_CHECKING:
    from layup.make.mixing import Mixing


@click.command("sheet")
@partial(about_part, json=False)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="door.pdf or door.html; else PART.pdf here."
)
@click.option("--html", is_flag=True, help="Write a page for a tablet as well.")
@paper_option
@mixing
@click.option(
    "--seconds",
    default=0.0,
    type=click.FloatRange(min=0.0, max=3600.0),
    help="Search so long for a short cut, where `layup cut --save` stored none.",
)
@yes_option
def command(
    asked: Asked, mixed: Mixing, out: Path | None, html: bool, paper: str | None, seconds: float, yes: bool
) -> None:
    """Write the build sheet: plies, cloth, batches, bag, cure, weigh points, with boxes to write in."""
    from layup.make.build_sheet import build_sheet, prepare
    from layup.report.document_file import write_document

    path = out or Path(f"{asked.part.stem}.pdf")
    tablet = path.with_suffix(".html") if html and path.suffix.casefold() == ".pdf" else None
    check_outputs([path, tablet], yes, [asked.part])
    prediction = asked.prediction()
    bench = prepare(prediction, asked.part, seconds=seconds, **mixed)
    system = asked.system(prediction.job)
    sheet, paper = build_sheet(bench, system), paper_of(paper, system)
    click.echo(f"Build sheet: {write_document(sheet, path, paper)}")
    if tablet is not None:
        click.echo(f"Build sheet: {write_document(sheet, tablet, paper)}")
