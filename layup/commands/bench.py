"""`layup bench [FOLDER]`: the whole job in a browser on this machine."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("bench", short_help="The whole job on a page in the browser, on this machine only.")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--port", type=click.IntRange(1, 65535), help="Of the address; the usual one if left out.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def command(folder: Path | None, port: int | None, no_browser: bool) -> None:
    """Open the bench page on the part files in FOLDER (else here).

    It answers this machine only and asks nothing of the internet. What is done on it stands in the same files that the
    other commands read.
    """
    from layup.bench.app import serve

    try:
        serve(folder or Path(), port, not no_browser, click.echo)
    except KeyboardInterrupt:
        click.echo("Ended. What was entered is saved.")
