"""`layup weigh PART 2 lb 13 oz --at trimmed`: what the scale said."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import ask, part_argument, shop_option, two_sides, units_option

if TYPE_CHECKING:
    from layup.learn.weighins import Circumstances
    from layup.partfile.cautions import Where
    from layup.words import System


_QUANTITIES = ("--scale", "--temperature", "--vacuum", "--coupon", "--note", "--person", "--lot")


class _Words(click.Command):
    """A command whose quantities may be written without quotes: `--scale 1/8 oz` takes both words."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        joined: list[str] = []
        taking = False
        for word in args:
            if word.startswith("--"):
                taking = word in _QUANTITIES
                joined.append(word)
            elif taking and joined[-1] not in _QUANTITIES:
                joined[-1] += f" {word}"
            else:
                joined.append(word)
        return super().parse_args(ctx, joined)


@click.command(
    "weigh",
    cls=_Words,
    short_help="Note what the scale said; see why it is off.",
    context_settings={"ignore_unknown_options": True},
)
@part_argument
@click.argument("weight", nargs=-1)
@click.option(
    "--at",
    "stage",
    default="finished",
    show_default=True,
    help="dry-cloth, resin-mixed, left-in-cups, wet-laminate, bag-materials, demoulded, trimmed or finished.",
)
@click.option("--piece", default="1", show_default=True, help="Which copy of the part: a name or a number.")
@click.option("--plies", type=int, help="Of a coupon: so many plies of the first cloth alone, for the card.")
@click.option("--coupon", help='A coupon of this layup was weighed: its sides, "100 mm x 100 mm".')
@click.option("--scale", help='What the scale shows at the least: "1 g".')
@click.option("--person", default="", help="Who, as they want to be called.")
@click.option("--temperature", help='Of the shop: "70 degF".')
@click.option("--vacuum", help='What the gauge reached: "23 inHg".')
@click.option("--lot", default="", help="Of cloth or resin, as on its label.")
@click.option("--note", default="", help="In your words.")
@click.option("--photo", default="", help="Path of a picture.")
@click.option("--yes", is_flag=True, help="Note it even if it looks wrong.")
@click.option("--undo", type=int, help="Take an entry back: its number. Nothing is deleted.")
@shop_option
@units_option
def command(
    part: Path, weight: tuple[str, ...], stage: str, piece: str, plies: int | None, coupon: str | None,
    scale: str | None, person: str, temperature: str | None, vacuum: str | None, lot: str, note: str, photo: str,
    yes: bool, undo: int | None, shop: Path | None, units: System | None,
) -> None:  # fmt: skip
    """Note that the part of this PART file weighs WEIGHT, and see what that says.

    The weight is written as it is said: layup weigh door.toml 2 lb 13 oz --at trimmed
    """
    from layup.errors import LayupError
    from layup.learn.calibrate import shop_folder
    from layup.learn.expected import stage_of
    from layup.learn.store import find_store
    from layup.learn.weighins import circumstances

    home = shop or shop_folder(part)
    folder = home or part.absolute().parent
    if undo is not None:
        kept = find_store(folder)
        if kept is None:
            raise LayupError(
                f"there is no entry {undo}: there is no record beside {part.name} or above it. Name the shop's folder "
                "with --shop"
            )
        with kept:
            kept.undo(undo, note)
        click.echo(f"Entry {undo} is taken back, by a new entry. Undo that one, and it counts again.")
        return
    said, stage = " ".join(weight), stage_of(stage)
    mass = _mass(said, stage, None if coupon else part)
    around = circumstances(
        piece=piece,
        scale=scale or "",
        person=person,
        temperature=temperature or "",
        vacuum=vacuum or "",
        lot=lot,
        note=note,
        photo=photo,
    )
    plate: tuple[float, ...] | None = two_sides(coupon) if coupon else None
    if plies is not None:
        if plate is None or not 1 <= plies <= 100:
            raise LayupError('--plies counts the plies of a coupon, 1 to 100: --coupon "200 mm x 200 mm" --plies 1')
        plate = (*plate, float(plies))
    _note(part, folder, mass=mass, said=said, stage=stage, coupon=plate, around=around, yes=yes, units=units)


def _mass(said: str, stage: str, part: Path | None) -> float:
    from layup.errors import LayupError, UnitError, nearest
    from layup.learn.expected import STAGES
    from layup.learn.scale import echo
    from layup.units import parse

    if stage not in STAGES:
        raise LayupError(
            f'there is no stage "{stage}". {nearest(stage, STAGES) or "Stages: " + ", ".join(STAGES) + "."}'
        )
    if not said:
        raise LayupError("there is no weight. Write it behind the part: layup weigh door.toml 2 lb 13 oz --at trimmed")
    try:
        return echo(said).mass
    except UnitError:
        due = _due(part, stage) if part is not None else None
        if due is not None:
            parse(said, "mass", near=due)  # which says it again, in units that come near
        raise


def _due(part: Path, stage: str) -> float | None:
    """What is expected on the scale; None where that is not known. [kg]"""
    from layup.errors import LayupError
    from layup.learn.weighins import expected_at
    from layup.weight.prediction import predict

    try:
        found = expected_at(predict(part), stage)
    except LayupError:
        return None
    return found["mean"] if found else None


def _note(
    part: Path, folder: Path, mass: float, said: str, stage: str, coupon: tuple[float, ...] | None,
    around: Circumstances, yes: bool, units: System | None,
) -> None:  # fmt: skip
    from layup.learn.screen import weigh_in_screen
    from layup.learn.store import FILE
    from layup.learn.weigh_part import read_scale
    from layup.weight import screen

    on_scale = read_scale(part, folder, mass=mass, said=said, stage=stage, coupon=coupon, around=around)
    ask(on_scale.questions(), said, yes, "Note", "noted")
    noted = on_scale.note()
    if noted.begun:
        click.echo(f"This starts the shop's record: {FILE} beside {part.name}.", err=True)
    screen.show(weigh_in_screen(noted.weighed, noted.explanation, units or noted.prediction.job.part.units))
    next_hand: dict[str, tuple[Where, ...]] = {"demoulded": ("trim",), "trimmed": ("finish", "fit")}
    for words in noted.prediction.at_hand(*next_hand.get(stage, ())):
        screen.show(screen.caution_text(words))
    if noted.replaces is not None:
        click.echo(
            f"  It stands in place of entry {noted.replaces.entry.number}, the same piece at the same stage. "
            "Another copy of the part? Undo this and add --piece 2."
        )
