"""`layup sheet PART`: the build sheet for the wall, as PDF and as a page for a tablet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import (
    check_outputs,
    habits_of,
    job_of,
    no_shop_option,
    paper_option,
    part_argument,
    shop_option,
    units_option,
    yes_option,
)

if TYPE_CHECKING:
    from layup.words import System


@click.command("sheet")
@part_argument
@units_option
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="door.pdf or door.html; else PART.pdf here."
)
@click.option("--html", is_flag=True, help="Write a page for a tablet as well.")
@paper_option
@click.option("--people", default=1, show_default=True, type=click.IntRange(1, 20), help="People laying up.")
@click.option("--temperature", help='Of shop and resin: "18 degC"; else that of the printed pot life.')
@click.option("--ratio", help='Resin to hardener by weight, from the can: "100:30"; catalyst: "1.5 %".')
@click.option("--pot", help='Most to mix at once: "150 g".')
@click.option("--cup", multiple=True, help='A size of cup you have, brimful: "250 ml", "9 fl oz"; once for each size.')
@click.option("--scale", help='What your resin scale shows at the least: "1 g", "1/8 oz".')
@click.option(
    "--seconds",
    default=0.0,
    type=click.FloatRange(min=0.0, max=3600.0),
    help="Search so long for a short cut, where `layup cut --save` stored none.",
)
@yes_option
@shop_option
@no_shop_option
def command(
    part: Path, units: System | None, out: Path | None, html: bool, paper: str, people: int,
    temperature: str | None, ratio: str | None, pot: str | None, cup: tuple[str, ...],
    scale: str | None, seconds: float, yes: bool,
    shop: Path | None, no_shop: bool,
) -> None:  # fmt: skip
    """Write the build sheet: plies, cloth, batches, bag, cure, weigh points, with boxes to write in."""
    from layup.make.build_sheet import build_sheet, prepare
    from layup.make.mixing import read_scale
    from layup.report.document_file import write_document
    from layup.units import parse, parse_ratio
    from layup.weight.prediction import predict

    path = out or Path(f"{part.stem}.pdf")
    tablet = path.with_suffix(".html") if html and path.suffix.casefold() == ".pdf" else None
    check_outputs([path, tablet], yes, [part])
    prediction = predict(job_of(part, units=units), habits=habits_of(part, shop, no_shop))
    bench = prepare(
        prediction,
        part,
        people=people,
        seconds=seconds,
        temperature=None if temperature is None else parse(temperature, "temperature"),
        ratio=None if ratio is None else parse_ratio(ratio),
        pot=None if pot is None else parse(pot, "mass"),
        cups=[parse(one, "volume") for one in cup],
        scale=None if scale is None else read_scale(scale),
    )
    sheet = build_sheet(bench, units or prediction.job.part.units)
    click.echo(f"Build sheet: {write_document(sheet, path, paper)}")
    if tablet is not None:
        click.echo(f"Build sheet: {write_document(sheet, tablet, paper)}")
