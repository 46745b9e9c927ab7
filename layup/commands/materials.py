"""`layup materials [WORD]`: what the tables hold, and where each figure is printed."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("materials", short_help="List the materials, or show one with every figure's source.")
@click.argument("word", nargs=-1)
@click.option(
    "--table",
    "tables",
    multiple=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="A table of the shop's own, laid over the library.",
)
@click.option("--csv", "as_csv", is_flag=True, help="All rows as one table.")
def command(word: tuple[str, ...], tables: tuple[Path, ...], as_csv: bool) -> None:
    """List the materials that match a WORD, or show one with every figure's source."""
    from layup.materials import load_library

    library = load_library(tables)
    text = " ".join(word)
    if as_csv:
        frame = library.frame()
        names = {m.name for m in library.matching(text)}
        click.echo(frame[frame["material"].isin(names)].to_csv(index=False), nl=False)
        return
    from layup.report import materials_screen
    from layup.weight import screen

    screen.show(materials_screen.materials_screen(library, text))
