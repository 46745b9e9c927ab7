"""`layup template`: the sheet to print, and the outline of a template from its photograph."""

from __future__ import annotations

import os
from pathlib import Path

import click

from layup.commands.options import check_outputs, paper_of, paper_option, yes_option


@click.group("template", short_help="Turn a photograph of a paper template into an outline.")
def command() -> None:
    """Turn a photograph of a paper or card template into an outline with cut-outs.

    Print the sheets, measure their bars, lay one at either side of the template on a plain table, take the picture.
    The page docs/template-by-photo.md says how to get a good one.
    """


@command.command("sheet", short_help="Print the sheets that lie beside the template.")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@paper_option
@click.option("--sheets", type=click.IntRange(1, 4), default=2, show_default=True, help="How many different ones.")
@yes_option
def sheet(out: Path, paper: str | None, sheets: int, yes: bool) -> None:
    """Write the sheets to OUT, a PDF to print at 100 %."""
    from layup.errors import LayupError
    from layup.files.photo_sheet import sheet_pdf

    if out.suffix.casefold() != ".pdf":
        raise LayupError(f'the sheet can\'t be saved as "{out.name}". End its name in .pdf')
    from layup.files.writing import write_file

    check_outputs([out], yes, [])
    data = sheet_pdf(paper_of(paper, os.environ.get("LAYUP_UNITS", "both")), sheets)
    write_file(out, data)
    pages = "one page" if sheets == 1 else f"{sheets} pages, all different"
    click.echo(f'{out}: {pages}. Print at 100 % ("actual size"), not "fit to page".')
    click.echo(
        "Then measure bar A (100 mm) and bar B (200 mm) with a steel rule; the reading takes --bar and --bar-along."
    )


@command.command("read", short_help="Read the outline off a photograph.")
@click.argument("photo", type=click.Path(path_type=Path))
@click.option(
    "--scale-bar", "--bar", "bar", metavar="LENGTH", help='Bar A of the printed sheet as measured: "99.6 mm".'
)
@click.option("--scale-bar-along", "--bar-along", "bar_along", metavar="LENGTH", help='Bar B as measured: "199.4 mm".')
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Save the outline: .csv or .dxf.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save a picture to check: .png, .pdf.")
@yes_option
@click.option("--units", type=click.Choice(["lb", "metric", "both"]), envvar="LAYUP_UNITS", default="both")
def read(
    photo: Path, bar: str | None, bar_along: str | None, out: Path | None, picture: Path | None, yes: bool, units: str
) -> None:
    """Read the template in PHOTO: its area, how surely it is known, and its outline."""
    from typing import cast

    from layup.files.read_photo import read_photo, write_outline
    from layup.units import FOOT
    from layup.words import System, length_words, percent_words, plain

    check_outputs([out, picture], yes, [photo])
    system = cast(System, units)
    found = read_photo(photo, bar=bar, bar_along=bar_along)
    wide, high = (float(v) for v in found.outline.max(axis=0))
    holes = f", less {len(found.holes)} cut-outs" if len(found.holes) > 1 else ", less 1 cut-out" if found.holes else ""
    areas = {"lb": f"{plain(found.area / FOOT**2, 4)} ft²", "metric": f"{plain(found.area, 4)} m²"}
    areas["both"] = f"{areas['lb']} ({areas['metric']})"
    click.echo(f"{photo}: {areas[system]}{holes}")
    click.echo(f"  {length_words(wide, system)} by {length_words(high, system)}")
    click.echo(f"  nine times in ten within {percent_words(found.area_tolerance)} of that area; of it come from")
    for cause, spread in sorted(found.causes.items(), key=lambda item: -item[1]):
        click.echo(f"    {cause:24s}{percent_words(spread * found.area_tolerance / found.spread)}")
    for finding in found.findings:
        click.echo(f"  {finding.text}")
    if out is not None:
        click.echo(f"Outline: {write_outline(found, out)}", err=True)
    if picture is not None:
        from layup.report.photo_picture import draw_photo

        click.echo(f"Picture: {draw_photo(found, picture)}", err=True)
