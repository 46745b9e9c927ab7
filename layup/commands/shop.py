"""`layup shop`: the shop's habits, its record, and what may be told it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, json_option, units_option, yes_option

if TYPE_CHECKING:
    from layup.learn.calibrate import Calibration
    from layup.learn.store import Store
    from layup.words import System


@click.command("shop", short_help="This shop's habits: what its scale has taught so far.")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), required=False)
@units_option
@json_option
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save a picture: .png, .svg or .pdf.")
@click.option("--history", type=int, is_flag=False, flag_value=20, help="The newest weigh-ins, 20 or so many.")
@click.option("--forget", is_flag=False, flag_value="", help="Leave out all weigh-ins so far, or those of one process.")
@click.option("--since", type=int, help="With --forget, or alone: the first entry that counts, where the shop changed.")
@click.option("--lot", help='Learn from one lot of material only; "" for all again.')
@click.option("--start-from", "origin", type=click.Path(path_type=Path), help="Another shop's folder, or its export.")
@click.option("--undo", type=int, help="Take an entry back: its number.")
@click.option("--export", type=click.Path(path_type=Path, dir_okay=False), help="The whole record: .json or .csv.")
@yes_option
@click.option("--import", "imported", type=click.Path(path_type=Path, dir_okay=False), help="Copy an export in.")
@click.option("--check", is_flag=True, help="Look through the whole file for damage.")
@click.option("--recover", is_flag=True, help="Keep a damaged file under another name, save what is whole.")
def command(
    folder: Path | None, units: System | None, as_json: bool, picture: Path | None, history: int | None,
    forget: str | None, since: int | None, lot: str | None, origin: Path | None, undo: int | None, export: Path | None,
    yes: bool, imported: Path | None, check: bool, recover: bool,
) -> None:  # fmt: skip
    """The resin factor of the shop whose record lies in FOLDER (else here, or the nearest above).

    Nothing that is told here deletes anything: each is an entry, and --undo takes it back.
    """
    from layup.errors import LayupError
    from layup.learn.calibrate import shop_folder
    from layup.learn.store import find_store, open_store

    check_outputs([picture, export], yes, [imported, origin])
    forget = "" if since is not None and forget is None else forget
    home = folder or shop_folder("part") or Path()
    if recover:
        from layup.learn.salvage import recover as save

        click.echo(save(home).words)
        return
    store = find_store(home)
    if store is None and (imported is not None or origin is not None):
        _try_out(forget, since, lot, origin, undo, imported)  # what fails makes no record
        store = open_store(home)
    if store is None:
        raise LayupError(
            "there is no record here yet. The first weigh-in starts one: layup weigh door.toml 2 lb 13 oz --at trimmed"
        )
    with store:
        told = _tell(store, forget, since, lot, origin, undo, imported)
        if check:
            found = store.check()
            if found:
                raise LayupError(
                    f"{store.path.name} is damaged: {'; '.join(found[:5])}. `layup shop --recover` saves it"
                )
            told = f"{store.path.name} is sound."
        if export is not None:
            from layup.learn.exchange import write_export

            told = f"Record: {write_export(store, export)}"
        if told:
            click.echo(told)
            return
        _show(store, units, as_json, picture, history)


def _try_out(
    forget: str | None, since: int | None, lot: str | None, origin: Path | None, undo: int | None, imported: Path | None
) -> None:
    """Do what was asked in a record that is thrown away, so that its faults are known before one is made."""
    import tempfile

    from layup.learn.store import open_store

    with tempfile.TemporaryDirectory() as scratch, open_store(scratch) as trial:
        _tell(trial, forget, since, lot, origin, undo, imported)


def _tell(
    store: Store,
    forget: str | None,
    since: int | None,
    lot: str | None,
    origin: Path | None,
    undo: int | None,
    imported: Path | None,
) -> str:
    """Do what was asked, and say it; empty where nothing was."""
    from layup.learn import calibrate

    said = []
    if imported is not None:
        from layup.learn.exchange import read_export

        said.append(f"{read_export(store, imported)} new entries.")
    if undo is not None:
        store.undo(undo)
        said.append(f"Entry {undo} is taken back.")
    if forget is not None:
        entry = calibrate.forget(store, forget, since)
        which = f" of {forget}" if forget else ""
        said.append(f"Weigh-ins{which} up to here no longer count. --undo {entry.number} brings them back.")
    if lot is not None:
        calibrate.use_lot(store, lot or None)
        said.append(f'Only weigh-ins of lot "{lot}" count now.' if lot else "Weigh-ins of every lot count now.")
    if origin is not None:
        entry = calibrate.start_from(store, origin)
        said.append(f"The shop starts from what {origin.name} knows, loosened. --undo {entry.number} takes it back.")
    return " ".join(said)


def _show(store: Store, units: System | None, as_json: bool, picture: Path | None, history: int | None) -> None:
    from layup.learn import screen as shop_screen
    from layup.weight import screen

    system: System = units or "both"
    if history is not None:
        from layup.learn.weighins import newest

        screen.show(shop_screen.history_screen(newest(store, history), system))
        return
    from layup.learn.calibrate import calibrate

    calibration = calibrate(store)
    if picture is not None:
        from layup.learn.picture import draw_shop

        click.echo(f"Picture: {draw_shop(calibration, picture)}", err=True)
    if as_json:
        click.echo(_json(calibration))
        return
    screen.show(shop_screen.shop_screen(calibration, system))


def _json(calibration: Calibration) -> str:
    import json

    from layup.learn.calibrate import as_json

    return json.dumps(as_json(calibration), indent=2, ensure_ascii=False)
