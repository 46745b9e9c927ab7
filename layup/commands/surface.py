"""`layup surface FILE`: what a surface file holds, what is odd about it, and how it looks."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, json_option, units_option, yes_option

if TYPE_CHECKING:
    from layup.shape.surface import Surface
    from layup.words import System


@click.command("surface", short_help="What a mesh, CAD file or drawing holds, and what is odd about it.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--unit", help='Unit of the numbers, where the file states none: "mm", "in", "m".')
@click.option("--side", help='Of a closed solid: "outer", "inner", "facing (0, 0, 1)", "touching (10 mm, 0 mm, 0 mm)".')
@click.option("--body", help="Which body of several: its name, or its number with the largest as 1.")
@click.option("--pick", help='Which outline of a drawing: its number, the name of its layer, or "all".')
@click.option("--gap", help='Widest gap between loose lines that is closed: "0.5 mm".')
@click.option("--face", help='Faces of a STEP file: "3, 4, 7", or "touching (120 mm, 0 mm, 30 mm)".')
@click.option("--fill", help='Of a scan: cut-outs up to this wide are closed: "20 mm".')
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save a picture: .png, .svg or .pdf.")
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), help="Save an .html page to turn the part on.")
@yes_option
@units_option
@json_option
def command(
    file: Path,
    unit: str | None,
    side: str | None,
    body: str | None,
    pick: str | None,
    gap: str | None,
    face: str | None,
    fill: str | None,
    picture: Path | None,
    page: Path | None,
    yes: bool,
    units: System | None,
    as_json: bool,
) -> None:
    """What does FILE hold, which side is taken, and what is odd about it?

    FILE is a mesh (STL, OBJ, PLY, OFF, GLB, 3MF), a CAD solid (STEP), a flat drawing (DXF, SVG, CSV of points), or a
    CSV of stations with their widths or girths.
    """
    from layup.errors import LayupError
    from layup.partfile.opened import look_at
    from layup.report.saving import save
    from layup.report.work_bar import WorkBar

    check_outputs([picture, page], yes, [file])
    with WorkBar(shown=not as_json) as bar:
        try:
            surface = look_at(
                file, unit=unit, side=side, body=body, pick=pick, gap=gap, face=face, fill=fill, told=bar.told
            )
        except LayupError as error:
            raise LayupError(_as_options(str(error))) from None
    if picture is not None:
        from layup.report.surface_picture import draw_surface

        save("Picture", picture, lambda: draw_surface(surface, picture, units))
    if page is not None:
        from layup.report.surface_html import surface_html

        save("Page", page, lambda: surface_html(surface, page, units))
    if as_json:
        _print_json(surface)
        return
    from layup.report.surface_screen import surface_screen
    from layup.weight import screen

    screen.show(surface_screen(surface, units))


def _as_options(said: str) -> str:
    """What is said of a surface in a part file, for the command line: keys become options.

    >>> _as_options('Add unit = "mm", or "in"; or side = "all"')
    'Add --unit mm, or --unit in; or --side all'
    """

    def option(found: re.Match[str]) -> str:
        values = re.findall(r'"([^"]*)"|([0-9]+)', found["values"])
        written = [word if re.fullmatch(r"[\w.-]+", word) else f'"{word}"' for one in values for word in one if word]
        joined = ["or " if "or" in gap else "" for gap in re.split(r'"[^"]*"|[0-9]+', found["values"])[1:-1]]
        return "".join(
            f"{', ' if at else ''}{gap}--{found['key']} {word}"
            for at, (gap, word) in enumerate(zip(["", *joined], written, strict=True))
        )

    keys = "unit|side|body|pick|gap|face|fill"
    value = r'(?:"[^"]*"|[0-9]+)'
    said = re.sub(rf"\b(?P<key>{keys}) = (?P<values>{value}(?:,? (?:or )?{value})*)", option, said)
    return said.replace("the part file says --", "you wrote --")


def _print_json(surface: Surface) -> None:
    import json

    from layup.weight.as_json import surface_record

    click.echo(json.dumps(surface_record(surface), indent=2, ensure_ascii=False, allow_nan=False))
