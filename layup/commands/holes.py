"""`layup holes PART`: what holes take away, and whether an existing pattern of fasteners suits the new part."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, job_of, json_option, units_option, yes_option

if TYPE_CHECKING:
    from layup.words import System


@click.command("holes", short_help="What holes take away; an old fastener pattern laid over the new part.")
@click.argument("part", type=click.Path(path_type=Path))
@click.option(
    "--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save the plan, old over new: .png, .svg, .pdf."
)
@yes_option
@units_option
@json_option
def command(part: Path, picture: Path | None, yes: bool, units: System | None, as_json: bool) -> None:
    """What do the [[holes]] of this PART take away, and do its [[fasteners]] keep their distance from the new edge?

    An existing pattern (circles of a DXF, or measured points) is turned and shifted so that its matched points come
    nearest to where the new part has them; what is left over is shown, and every hole too near the new trim line,
    an opening or another hole is named.
    """
    check_outputs([picture], yes, [part])
    job = job_of(part, as_json, units)
    if picture is not None:
        from layup.report.holes import draw_holes
        from layup.report.saving import save

        save("Picture", picture, lambda: draw_holes(job, picture))
    if as_json:
        import json

        from layup.partfile.holes import fastener_records, hole_records

        record = {
            "part": job.part.title,
            "area_m2": job.surface.whole.area,
            "holes": hole_records(job.holes),
            "fasteners": fastener_records(job.fasteners, job.surface),
        }
        click.echo(json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False))
        return
    from rich.console import Group

    from layup.make.screen import care
    from layup.partfile.cautions import at_hand
    from layup.report.holes import holes_screen
    from layup.weight import screen

    screen.show(holes_screen(job, job.part.units))
    screen.show(Group(*care(at_hand(job.part, job.library, "trim", "fit"), job.part.units)))
