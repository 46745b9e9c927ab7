"""`layup shop`: the shop's habits, its record, and what may be told it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import check_outputs, json_option, shop_option, units_option, yes_option

if TYPE_CHECKING:
    from layup.learn.store import Store
    from layup.words import System

NO_RECORD = "there is no record here yet. The first weigh-in starts one: layup weigh door.toml 2 lb 13 oz --at trimmed"
FORMER = {
    "--picture": "picture", "--history": "history", "--forget": "forget", "--since": "since", "--lot": "lot",
    "--start-from": "start-from", "--undo": "undo", "--export": "export", "--import": "import", "--check": "check",
    "--recover": "recover",
}  # fmt: skip
"""What was an option of `layup shop` before it was a command; still understood."""
number_argument = click.argument("entry", type=int)


class _Shop(click.Group):
    """A group that shows the habits where no command is named, and still reads what were options once."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if not args or args[0] not in (*self.commands, "-h", "--help"):
            args = self._former(args, ctx) or ["show", *args]
        return super().parse_args(ctx, args)

    def _former(self, args: list[str], ctx: click.Context) -> list[str]:
        """`FOLDER --undo 3` as `undo 3 --shop FOLDER`; empty where nothing of it was an option."""
        words = [part for word in args for part in (word.split("=", 1) if word.startswith("--") else [word])]
        told = [word for word in words if word in FORMER]
        if not told:
            return []
        if len(told) > 1 and told != ["--forget", "--since"]:
            raise click.UsageError(f"{' and '.join(told)}: one at a time. `layup shop -h` shows how each is said", ctx)
        at = words.index(told[0])
        folder = ["--shop", words[0]] if at and not words[0].startswith("-") else []
        return [FORMER[told[0]], *words[at + 1 :], *words[len(folder) // 2 : at], *folder]


@click.group("shop", cls=_Shop, short_help="This shop's resin factor: what its scale has taught so far.")
def command() -> None:
    """What the shop's scale has taught so far, the record of it, and what the record may be told.

    `layup shop` shows the habits of the shop whose record lies here, or nearest above; `layup shop FOLDER` those of
    another. Nothing that is told deletes anything: each is an entry, and `layup shop undo ENTRY` takes it back.
    """


@contextmanager
def _record(shop: Path | None) -> Iterator[Store]:
    """The record of the shop, open."""
    from layup.errors import LayupError
    from layup.learn.store import find_store

    store = find_store(_home(shop))
    if store is None:
        raise LayupError(NO_RECORD)
    with store:
        yield store


def _home(shop: Path | None) -> Path:
    from layup.learn.calibrate import shop_folder

    return shop or shop_folder("part") or Path()


def _begun(shop: Path | None, told: Callable[[Store], str]) -> None:
    """Tell a record that may have to be made for it; what fails makes none."""
    import tempfile

    from layup.learn.store import find_store, open_store

    home = _home(shop)
    store = find_store(home)
    if store is None:
        with tempfile.TemporaryDirectory() as scratch, open_store(scratch) as trial:
            told(trial)
        store = open_store(home)
    with store:
        click.echo(told(store))


@command.command("show")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), required=False)
@shop_option
@units_option
@json_option
def show_habits(folder: Path | None, shop: Path | None, units: System | None, as_json: bool) -> None:
    """The resin this shop leaves: what `layup shop` does."""
    import json

    from layup.learn.calibrate import as_json as calibration_json
    from layup.learn.calibrate import calibrate
    from layup.learn.screen import shop_screen
    from layup.learn.weighins import weighed_in
    from layup.weight import screen

    with _record(folder or shop) as store:
        calibration = calibrate(store)
        units = units or weighed_in(store)
    if as_json:
        click.echo(json.dumps(calibration_json(calibration), indent=2, ensure_ascii=False))
    else:
        screen.show(shop_screen(calibration, units))


@command.command("picture")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@shop_option
@yes_option
def save_picture(file: Path, shop: Path | None, yes: bool) -> None:
    """Save a picture of the resin factors to FILE: .png, .svg or .pdf."""
    from layup.learn.calibrate import calibrate
    from layup.learn.picture import draw_shop

    check_outputs([file], yes, [])
    with _record(shop) as store:
        click.echo(f"Picture: {draw_shop(calibrate(store), file)}", err=True)


@command.command("history")
@click.argument("rows", type=click.IntRange(1, 100_000), default=20)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Every weigh-in as a table: .csv or .xlsx."
)
@shop_option
@units_option
@yes_option
def show_history(rows: int, out: Path | None, shop: Path | None, units: System | None, yes: bool) -> None:
    """The newest ROWS weigh-ins, by number; with --out all of them, those taken back marked.

    The lossless copy of the record is `layup shop export`.
    """
    from layup.learn.screen import history_screen
    from layup.learn.weighins import newest, weighed_in
    from layup.weight import screen

    if out is not None:
        _write_history(out, shop, units or "metric", yes)
        return
    with _record(shop) as store:
        screen.show(history_screen(newest(store, rows), units or weighed_in(store)))


def _write_history(out: Path, shop: Path | None, system: System, yes: bool) -> None:
    from layup.errors import LayupError
    from layup.files.writing import write_file
    from layup.learn.exchange import history_table
    from layup.report.document_sheet import table_bytes

    form = out.suffix.casefold()
    if form not in (".csv", ".xlsx"):
        raise LayupError(f'the history can\'t be written as "{out.name}". End its name in .csv or .xlsx')
    check_outputs([out], yes, [])
    with _record(shop) as store:
        write_file(out, table_bytes(history_table(store, system), "Weigh-ins", form))
    click.echo(f"History: {out}")


@command.command("forget")
@click.argument("process", default="")
@click.option("--since", type=int, help="The first entry that counts again.")
@shop_option
def forget_weighins(process: str, since: int | None, shop: Path | None) -> None:
    """Leave out all weigh-ins so far, or those of one PROCESS."""
    from layup.learn.calibrate import forget

    with _record(shop) as store:
        entry = forget(store, process, since)
    which = f" of {process}" if process else ""
    click.echo(f"Weigh-ins{which} up to here no longer count. `layup shop undo {entry.number}` brings them back.")


@command.command("since")
@number_argument
@shop_option
@click.pass_context
def count_since(ctx: click.Context, entry: int, shop: Path | None) -> None:
    """The shop changed at ENTRY: only what came since counts."""
    ctx.invoke(forget_weighins, process="", since=entry, shop=shop)


@command.command("lot")
@click.argument("lot")
@shop_option
def use_lot(lot: str, shop: Path | None) -> None:
    """Learn from one LOT of material only; "" for all again."""
    from layup.learn.calibrate import use_lot as use

    with _record(shop) as store:
        use(store, lot or None)
    click.echo(f'Only weigh-ins of lot "{lot}" count now.' if lot else "Weigh-ins of every lot count now.")


@command.command("start-from")
@click.argument("origin", type=click.Path(path_type=Path))
@shop_option
def start_from(origin: Path, shop: Path | None) -> None:
    """Begin with what another shop knows: ORIGIN, its folder or export."""
    from layup.learn.calibrate import start_from as start

    def told(store: Store) -> str:
        entry = start(store, origin)
        back = f"`layup shop undo {entry.number}` takes it back."
        return f"The shop starts from what {origin.name} knows, loosened. {back}"

    _begun(shop, told)


@command.command("pool")
@click.argument("folder", type=click.Path(path_type=Path))
@shop_option
def begin_with_pool(folder: Path, shop: Path | None) -> None:
    """Begin with what many shops share: FOLDER, where their files lie."""
    from layup.learn.pool import pool

    def told(store: Store) -> str:
        entry = pool(store, folder)
        return f"The shop starts from {entry.payload['from']}. `layup shop undo {entry.number}` takes it back."

    _begun(shop, told)


@command.command("share")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@shop_option
@yes_option
def share(file: Path, shop: Path | None, yes: bool) -> None:
    """Write what was learnt to FILE, .json: no part, cloth or name in it."""
    from layup.learn.calibrate import calibrate
    from layup.learn.pool import write_take_up

    check_outputs([file], yes, [])
    with _record(shop) as store:
        click.echo(f"What was learnt, no part named: {write_take_up(calibrate(store, alone=True), file)}")


@command.command("undo")
@number_argument
@shop_option
def undo(entry: int, shop: Path | None) -> None:
    """Take ENTRY back: its number, as `layup shop history` shows it."""
    with _record(shop) as store:
        store.undo(entry)
    click.echo(f"Entry {entry} is taken back.")


@command.command("export")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@shop_option
@yes_option
def export(file: Path, shop: Path | None, yes: bool) -> None:
    """Save the whole record to FILE: .json or .csv."""
    from layup.learn.exchange import write_export

    check_outputs([file], yes, [])
    with _record(shop) as store:
        click.echo(f"Record: {write_export(store, file)}")


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@shop_option
def read_in(file: Path, shop: Path | None) -> None:
    """Copy in what another record exported to FILE."""
    from layup.learn.exchange import read_export

    _begun(shop, lambda store: f"{read_export(store, file)} new entries.")


@command.command("check")
@shop_option
def check(shop: Path | None) -> None:
    """Look through the whole record for damage."""
    from layup.errors import LayupError

    with _record(shop) as store:
        found = store.check()
        if found:
            raise LayupError(f"{store.path.name} is damaged: {'; '.join(found[:5])}. `layup shop recover` saves it")
        click.echo(f"{store.path.name} is sound.")


@command.command("recover")
@shop_option
def recover(shop: Path | None) -> None:
    """Save what is whole of a damaged record; keep the damaged one."""
    from layup.learn.salvage import recover as save

    click.echo(save(_home(shop)).words)
