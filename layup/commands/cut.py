"""`layup cut PART...`: the cloth to cut off each roll, and where every ply lies on it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, job_of, json_option, units_option, yes_option

if TYPE_CHECKING:
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
@click.option("--save", is_flag=True, help="Store the layouts beside the first part, for the build sheet.")
@yes_option
def command(
    parts: tuple[Path, ...], units: System | None, as_json: bool, seconds: float, gap: str, edge: str,
    rolls: tuple[str, ...], defects: tuple[str, ...], used_files: tuple[Path, ...], face_down: bool, rough: bool,
    quarter_rings: bool,
    picture: Path | None, save: bool, yes: bool,
) -> None:  # fmt: skip
    """What length of each cloth do these PARTS need? Ctrl-C takes the best layout so far."""
    from layup.make.cut import cut
    from layup.make.nest_file import path_beside, write_cut
    from layup.make.rolls import check_cloths, read_blocked, read_paid, read_widths
    from layup.partfile.cautions import at_hand
    from layup.report.work_bar import WorkBar
    from layup.units import parse

    check_outputs([picture, path_beside(parts[0]) if save else None], yes, [*parts, *used_files])
    jobs = [job_of(part, as_json, units) for part in parts]
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
            told=lambda words, share: bar.told(f"{words}; Ctrl-C takes it", share),
        )
    system: System = units or jobs[0].part.units
    if picture is not None:
        from layup.make.nest_picture import draw_cut

        click.echo(f"Picture: {draw_cut(result, picture, system)}", err=True)
    if save:
        write_cut(result, path_beside(parts[0]))
        click.echo(f"Stored: {path_beside(parts[0])}", err=True)
    if as_json:
        from layup.make.as_json import cut_json

        click.echo(cut_json(result))
        return
    from layup.make.screen import cut_screen
    from layup.weight import screen

    safety = dict.fromkeys(words for job in jobs for words in at_hand(job.part, job.library, "cut"))
    screen.show(cut_screen(result, system, tuple(safety)))
