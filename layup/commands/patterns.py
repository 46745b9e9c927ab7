"""`layup patterns PART`: every ply flat, as it is cut."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, job_of, json_option, paper_of, units_option, yes_option

if TYPE_CHECKING:
    from layup.cloth.pattern import FlatPly
    from layup.cloth.patterns_screen import Found
    from layup.cloth.templates import Unit
    from layup.cloth.tiled_pdf import Paper
    from layup.partfile.job import Job
    from layup.shape.holes import Pattern
    from layup.words import System

_file = click.Path(path_type=Path, dir_okay=False)


_PAPERS: dict[str, Paper] = {"A4": "a4", "Letter": "letter", "roll": "roll"}


@click.command("patterns", short_help="Every ply flat, as it is cut: DXF, SVG, full-size PDF.")
@click.argument("part", type=click.Path(path_type=Path))
@units_option
@json_option
@click.option("--dxf", type=_file, help="Write a drawing for a cutter.")
@click.option("--dxf-unit", type=click.Choice(["mm", "in"]), help="Its unit; else mm, or in for pounds.")
@click.option("--svg", type=_file, help="Write a drawing in millimetres.")
@click.option("--pdf", type=_file, help="Write full-size patterns to print.")
@click.option(
    "--paper",
    type=click.Choice(list(_PAPERS), case_sensitive=False),
    help="Of the full-size patterns; else A4, or Letter where results print in pounds.",
)
@click.option("--roll-width", default="36 in", show_default=True, help="Of the plotter's paper, with --paper roll.")
@click.option("--trim", help="Laid up beyond the edge and cut off later; else as the part file says.")
@click.option("--holes", type=click.Path(path_type=Path, dir_okay=False), help="Holes to mark: .csv or .dxf, in plan.")
@click.option("--holes-unit", help="Their unit, where the file states none: mm or in.")
@click.option("--picture", type=_file, help="Save a picture of the shear: .png, .svg or .pdf.")
@yes_option
@click.option("--no-splices", is_flag=True, help="Don't look for a splice where the cloth locks.")
def command(
    part: Path, units: System | None, as_json: bool, dxf: Path | None, dxf_unit: Unit | None, svg: Path | None,
    pdf: Path | None, paper: str | None, roll_width: str, trim: str | None, holes: Path | None, holes_unit: str | None,
    picture: Path | None, yes: bool, no_splices: bool,
) -> None:  # fmt: skip
    """The flat pattern of every ply of this PART, and where a cloth locks on its shape."""
    from layup.cloth.pattern import flat_plies
    from layup.cloth.templates import right_ending
    from layup.errors import PatternError
    from layup.report.work_bar import WorkBar
    from layup.units import parse

    for path, ending in ((dxf, ".dxf"), (svg, ".svg"), (pdf, ".pdf")):
        if path is not None:
            right_ending(path, ending)  # before the work, not after it
    check_outputs([dxf, svg, pdf, picture], yes, [part, holes])
    job = job_of(part, as_json, units)
    system: System = units or job.part.units
    refused: PatternError | None = None
    with WorkBar(shown=not as_json) as bar:
        try:
            plies = flat_plies(
                job,
                trim=parse(trim, "length") if trim is not None else None,
                holes=_holes(holes, holes_unit) if holes is not None else None,
                told=bar.told,
            )
        except PatternError as error:
            plies, refused = error.made, error
            if not plies:
                raise
    without = f", without {', '.join(f'ply {number}' for number in refused.refused)}" if refused is not None else ""
    _write(
        job,
        plies,
        dxf=dxf,
        dxf_unit=dxf_unit or ("in" if system == "lb" else "mm"),
        svg=svg,
        pdf=pdf,
        paper=paper_of(paper, system),
        roll=parse(roll_width, "length"),
        system=system,
        without=without,
    )
    if picture is not None:
        _draw(job, picture)
    try:
        splices = [] if no_splices else _splices(job, not as_json)
    except KeyboardInterrupt:
        splices = []
        click.echo("Stopped before a splice was found; the patterns are as they are without one.", err=True)
    if as_json:
        from layup.cloth.patterns_screen import patterns_json

        click.echo(patterns_json(job, plies, splices))
    else:
        from layup.cloth.patterns_screen import patterns_screen
        from layup.weight import screen

        screen.show(patterns_screen(job, plies, splices, system))
    if refused is not None:  # said last, where it is seen, and the status tells a script that plies are missing
        raise refused


def _holes(path: Path, unit: str | None) -> Pattern:
    from layup.files.read_drawing import holes_of, read_holes

    if path.suffix.casefold() == ".dxf":
        from layup.files.read_dxf import read_dxf

        return holes_of(read_dxf(path, unit=unit))
    return read_holes(path, unit=unit)


def _write(
    job: Job, plies: tuple[FlatPly, ...], dxf: Path | None, dxf_unit: Unit, svg: Path | None, pdf: Path | None,
    paper: str, roll: float, system: System, without: str,
) -> None:  # fmt: skip
    if dxf is not None:
        from layup.cloth.templates import write_dxf

        click.echo(f"Drawing: {write_dxf(plies, dxf, dxf_unit)}{without}", err=True)
    if svg is not None:
        from layup.cloth.templates import write_svg

        click.echo(f"Drawing: {write_svg(plies, svg)}{without}", err=True)
    if pdf is not None:
        from layup.cloth.tiled_pdf import write_pdf

        made = write_pdf(plies, pdf, _PAPERS[paper], roll=roll, title=job.part.title + without, system=system)
        click.echo(f"Full-size patterns: {made}{without}", err=True)


def _draw(job: Job, picture: Path) -> None:
    from layup.cloth.draped import drape_ply, shears
    from layup.cloth.shear_picture import draw_shear

    shown = [
        (f"{e.fabric} at {e.angle:g}°, {e.zone or 'whole'}", drape_ply(job, e))
        for e in job.part.plies()
        if e.fabric is not None and e.area is None and shears(job, e)
    ]
    drawn = draw_shear(job.surface, shown, picture, f"{job.part.title}: shear of the cloth", job.part.surface.mould)
    click.echo(f"Picture: {drawn}", err=True)


def _splices(job: Job, shown: bool) -> Found:
    from layup.cloth.splice_line import splices_of
    from layup.report.work_bar import WorkBar

    with WorkBar(shown=shown) as bar:
        return splices_of(job, bar.told)
