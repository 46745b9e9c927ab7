"""`layup ledger REFIT`: what has been saved, where the balance is, which part next, and the papers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

import click

from layup.commands.options import ask, check_outputs, paper_of, paper_option, shop_option, yes_option

if TYPE_CHECKING:
    from layup.learn.store import Store
    from layup.refit.job import RefitJob
    from layup.refit.ledger import Ledger
    from layup.refit.loading import Loading
    from layup.refit.papers import What
    from layup.refit.record_words import Kept

Least = Literal["cost", "hours"]
Command = TypeVar("Command", bound=Callable[..., object])

refit_argument = click.argument("refit", type=click.Path(path_type=Path))
as_of_option = click.option("--as-of", help="As the ledger stood: a day, a time (UTC) or an entry's number.")
units_option = click.option(
    "--units", type=click.Choice(["lb", "metric"]), help="Pounds, ounces and inches, or metric; else as the file says."
)


class _Ledger(click.Group):
    """A group whose first word may be a refit file: then it shows the ledger."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] not in ("-h", "--help"):
            self._check(args, ctx)
            args = ["show", *args]
        return super().parse_args(ctx, args)

    def _check(self, args: list[str], ctx: click.Context) -> None:
        """The first word must be a refit file, and a command's word does not come behind it."""
        first = args[0]
        if first.startswith("-"):
            return
        path = Path(first)
        if path.suffix.casefold() != ".toml" and not path.exists():
            from layup.errors import nearest

            known = nearest(first, self.commands) or "It has: " + ", ".join(sorted(self.commands)) + "."
            raise click.UsageError(
                f'`layup ledger` has no "{first}", and there is no such file. {known} '
                "Or name the refit file: layup ledger refit.toml",
                ctx,
            )
        if len(args) > 1 and args[1] in self.commands:
            raise click.UsageError(f"{args[1]} comes before the file: layup ledger {args[1]} {first}", ctx)


class _Weigh(click.Command):
    """Says of a weight with a minus what is wrong with it, where click would take it for an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        for before, word in zip(["", *args], args, strict=False):
            of_option = before.startswith("--") and before != "--yes" and "=" not in before
            if re.match(r"[-\u2212]\s*[.\d]", word) and not of_option:
                raise click.UsageError(
                    f'a scale does not show "{word}". Write what it shows, without a sign: '
                    "what comes off is minus by itself",
                    ctx,
                )
        return super().parse_args(ctx, args)


@click.group("ledger", cls=_Ledger, no_args_is_help=True)
def command() -> None:
    """What has come out of the aircraft, where it balances now, what to do next, and the papers for it.

    `layup ledger REFIT` shows it; REFIT is a refit file. The page docs/refit.md walks from the first weighing to the
    final record.
    """


@command.command("show")
@refit_argument
@shop_option
@as_of_option
@units_option
@click.option("--json", "as_json", is_flag=True, help="SI figures for another program.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Save the limits: .png, .svg or .pdf.")
@yes_option
def show_ledger(
    refit: Path,
    shop: Path | None,
    as_of: str | None,
    units: Kept | None,
    as_json: bool,
    picture: Path | None,
    yes: bool,
) -> None:
    """Weight, balance, saving and load cases now, or as they stood (what `layup ledger REFIT` does)."""
    from layup.errors import LayupError
    from layup.refit.ledger import on_the_scale

    check_outputs([picture], yes, [refit])
    with _open(refit, shop, as_of) as (job, ledger, loading, store):
        if picture is not None:
            from layup.refit.envelope_picture import draw_envelope

            if loading is None:
                raise LayupError("there is no load case to draw: add a [[load]] table to the refit file")
            draw_envelope(ledger, loading, units or job.refit.units, picture)
            click.echo(f"Picture: {picture}", err=True)
        if as_json:
            from layup.refit.as_json import ledger_json

            click.echo(ledger_json(job, ledger, loading))
            return
        from layup.refit import screen as ledger_screen
        from layup.weight import screen

        scaled = on_the_scale(job, store, ledger) if as_of is None else {}
        screen.show(ledger_screen.ledger_screen(job, ledger, loading, units or job.refit.units, scaled))


@command.command("enter")
@refit_argument
@shop_option
@click.option("--why", default="", help="Said with every correction.")
def enter_items(refit: Path, shop: Path | None, why: str) -> None:
    """Enter what the refit file says and the ledger does not: new items, corrections, what is withdrawn."""
    from layup.learn.store import open_store
    from layup.refit.ledger import enter

    job = _read(refit, shop)
    with open_store(_home(refit, shop)) as store:
        made = enter(job, store, why)
    words = {"start": "first weighing", "final": "final weighing", "item": "item", "withdrawn": "withdrawn"}
    for entry in made:
        load = entry.payload
        item = load.get("item") or load
        name = f", {item['action']}: {item['name']}" if "name" in item else ""
        corrects = f" (corrects entry {load['corrects']})" if load.get("corrects") else ""
        click.echo(f"  entry {entry.number}: {words[load['does']]}{name}{corrects}")
    click.echo("The file and the ledger agree: nothing to enter." if not made else f"{len(made)} entered.")


@command.command("weigh", cls=_Weigh)
@refit_argument
@click.argument("item")
@click.argument("weight", required=False)
@shop_option
@click.option("--which", type=click.Choice(["removed", "added", "moved"]), help="Where a name is in several lists.")
@click.option("--by", default="", help="Who weighed.")
@click.option("--method", default="", help="On which scale.")
@click.option("--date", default="", help="Year-month-day, if not today.")
@click.option("--why", default="", help="Anything to add.")
@click.option("--yes", is_flag=True, help="Note it even if it looks wrong.")
def weigh_item(
    refit: Path,
    item: str,
    weight: str | None,
    shop: Path | None,
    which: str | None,
    by: str,
    method: str,
    date: str,
    why: str,
    yes: bool,
) -> None:
    """Note what the scale says of an ITEM: it takes the place of the prediction or the list.

    Without a WEIGHT, that of the last `layup weigh` of the finished part is taken over. A weight far from the list's or
    the prediction's is asked about before anything is entered.
    """
    from layup.learn.moments import day_of
    from layup.learn.store import open_store
    from layup.refit.record_words import change_kept
    from layup.refit.weigh_item import item_on_scale

    job = _read(refit, shop)
    day = day_of(date)
    with open_store(_home(refit, shop)) as store:
        on_scale = item_on_scale(job, store, item, weight, which, why)
        ask(on_scale.questions, on_scale.said, yes, "Enter", "entered")
        entry, change = on_scale.enter(store, by, method, day)
    corrects = f", corrects entry {entry.payload['corrects']}" if entry.payload.get("corrects") else ""
    click.echo(f"Entry {entry.number}{corrects}: {item} weighs {on_scale.said}.")
    click.echo(f"The running weight changes by {change_kept(change, job.refit.units)}.")


@command.command("next")
@refit_argument
@shop_option
@units_option
@click.option("--rank", "by", type=click.Choice(["saving", "cost", "hours", "balance"]), default="saving")
@click.option("--least", type=click.Choice(["cost", "hours"]), help="What the set is to be least in.")
@click.option(
    "--budget", type=click.FloatRange(min=0.0), help="Most money for the set, in the currency of the candidates."
)
@click.option("--hours", type=click.FloatRange(min=0.0), help="Most hours of work for it.")
@click.option("--ballast", is_flag=True, help="Let the choice take ballast out, or add what a place still holds.")
@click.option("--burn", is_flag=True, help="Hold the limits of each load case from its fuel down to empty tanks.")
def next_parts(
    refit: Path,
    shop: Path | None,
    units: Kept | None,
    by: str,
    least: Least | None,
    budget: float | None,
    hours: float | None,
    ballast: bool,
    burn: bool,
) -> None:
    """Which part next: the candidates ranked, and the set that reaches the target at least cost or hours."""
    from layup.refit import screen as ledger_screen
    from layup.refit.candidates import ballast_steps
    from layup.refit.envelope import envelope_of
    from layup.refit.loading import burnt
    from layup.refit.next_parts import choose, rank
    from layup.weight import screen

    with _open(refit, shop, None) as (job, ledger, loading, _):
        need = ledger_screen.need_of(job.refit, ledger)
        ranks = rank(job.candidates, ledger.empty, need or 0.0, by)
        choice = None
        if need is not None and job.refit.target is not None and job.candidates:
            loads = burnt(job) if burn else [case.sum for case in job.loads]
            found = list(job.candidates)
            for place in job.refit.ballast if ballast else ():
                there, holds = (None if weight is None else weight.si for weight in (place.aboard, place.holds))
                kept = units or job.refit.units
                found += ballast_steps(place.name, place.arm.si, there or 0.0, holds, job.candidates, kept)
            objective = least or job.refit.target.least
            try:
                limits = envelope_of(job.refit.limits)
                seconds = None if hours is None else hours * 3600.0
                choice = choose(found, ledger.empty, loads, limits, need, objective, budget=budget, hours=seconds)
            except KeyboardInterrupt:
                click.echo("Stopped before a set was found; the parts are ranked one by one.", err=True)
        screen.show(ledger_screen.ranking_screen(ranks, choice, units or job.refit.units, loading))
        if not job.candidates:
            click.echo("There is no candidate: add a [[candidate]] table to the refit file.")
        elif need is None:
            click.echo('There is no target: add [target] with saving = "24 lb" to choose a set.')


@command.command("seams")
@refit_argument
@units_option
def join_parts(refit: Path, units: Kept | None) -> None:
    """Old assemblies with seams, laps, fasteners and sealant against the one part that replaces them."""
    from layup.refit import screen as ledger_screen
    from layup.refit.consolidate import consolidate
    from layup.weight import screen

    job = _read(refit, None)
    if not job.refit.consolidation:
        click.echo("There is none: add a [[consolidation]] table to the refit file.")
    for entry in job.refit.consolidation:
        joined = consolidate(entry, job.predictions)
        screen.show(ledger_screen.consolidation_screen(joined, units or job.refit.units))


_join = copy(join_parts)  # its name of before, which said bond to some and table to others
_join.hidden = True
command.add_command(_join, "join")


@command.command("history")
@refit_argument
@shop_option
@as_of_option
def show_history(refit: Path, shop: Path | None, as_of: str | None) -> None:
    """Every entry of the ledger in the order of noting, corrections and all."""
    from layup.learn.moments import moment_of
    from layup.learn.store import find_store
    from layup.refit import screen as ledger_screen
    from layup.refit.ledger import history, reached
    from layup.weight import screen

    job = _read(refit, shop)
    store = find_store(_home(refit, shop))
    if store is None:
        click.echo("Nothing is entered yet: `layup ledger enter` begins the ledger.")
        return
    with store:
        reached(store, moment_of(as_of))
        entries = history(store, job.refit.title, moment_of(as_of))
    screen.show(ledger_screen.history_screen(entries, job.refit.units))


@command.command("paper")
@refit_argument
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@shop_option
@as_of_option
@units_option
@click.option(
    "--what",
    type=click.Choice(["change", "balance", "both"]),
    default="both",
    show_default=True,
    help="Equipment-change sheet, weight-and-balance report, or both.",
)
@click.option("--by", default="", help="Who prepares it.")
@click.option("--method", default="", help="How the weights were found.")
@click.option("--date", default="", help="Of the paper, year-month-day, if not today.")
@paper_option
@yes_option
def write_paper(
    refit: Path, out: Path, shop: Path | None, as_of: str | None, units: Kept | None, what: What | Literal["both"],
    by: str, method: str, date: str, paper: str | None, yes: bool,
) -> None:  # fmt: skip
    """Write the papers to OUT, which ends in .pdf, .html, .csv or .xlsx, with a space for the signature."""
    from layup.learn.moments import day_of
    from layup.refit.papers import papers
    from layup.refit.screen import alarms
    from layup.report.document_file import write_document

    check_outputs([out], yes, [refit])
    with _open(refit, shop, as_of) as (job, ledger, loading, _):
        kept = units or job.refit.units
        kinds: Sequence[What] = ("change", "balance") if what == "both" else (what,)
        alarm = alarms(loading, kept)
        made = papers(job, ledger, loading, alarm, kept, kinds, by=by, method=method, date=day_of(date),
                      drawn=out.suffix.casefold() != ".csv")  # fmt: skip
        write_document(made, out, paper_of(paper, kept))
    click.echo(f"Written: {out}")
    for line in alarm:
        click.echo(line, err=True)


@command.command("list")
@click.argument("equipment", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--toml", "as_toml", is_flag=True, help="As entries to copy into a refit file.")
def read_list(equipment: Path, as_toml: bool) -> None:
    """Read an EQUIPMENT list, CSV or spreadsheet, and show what it says."""
    from layup.refit import screen as ledger_screen
    from layup.refit.equipment import as_entries, read_equipment
    from layup.weight import screen

    found = read_equipment(equipment)
    if as_toml:
        click.echo(as_entries(found), nl=False)
        return
    screen.show(ledger_screen.equipment_screen(found))


def _home(refit: Path, shop: Path | None) -> Path:
    """The shop's folder: as said, or the nearest that holds a record, or the refit file's own."""
    from layup.learn.calibrate import shop_folder

    return shop or shop_folder(refit) or refit.absolute().parent


def _read(refit: Path, shop: Path | None) -> RefitJob:
    """The refit file, its parts predicted as the shop's own weigh-ins say."""
    from layup.learn.calibrate import habits_near
    from layup.refit.refitfile import read_refit

    return read_refit(refit, habits=habits_near(refit, shop))


@contextmanager
def _open(
    refit: Path, shop: Path | None, as_of: str | None
) -> Iterator[tuple[RefitJob, Ledger, Loading | None, Store | None]]:
    """The refit file, the ledger as it stands or stood, and its load cases."""
    from layup.learn.moments import moment_of
    from layup.learn.store import find_store
    from layup.refit.ledger import read_ledger
    from layup.refit.loading import load_cases

    job = _read(refit, shop)
    store = find_store(_home(refit, shop))
    try:
        ledger = read_ledger(job, store, moment_of(as_of))
        yield job, ledger, load_cases(job, ledger), store
    finally:
        if store is not None:
            store.close()
