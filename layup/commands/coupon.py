"""`layup coupon PART`: what a coupon of the layup weighs, and how many are worth making."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from layup.commands.options import habits_of, no_shop_option, part_argument, shop_option, two_sides, units_option

if TYPE_CHECKING:
    from layup.words import System


@click.command("coupon", short_help="How many coupons are worth making before a big part?")
@part_argument
@click.option("--size", default="100 mm x 100 mm", show_default=True, help="Sides of the coupon or practice panel.")
@click.option("--scale", default="0.1 g", show_default=True, help="What the scale shows at the least.")
@click.option("--card", is_flag=True, help="A card for the bench: two coupons that tell film and resin apart.")
@shop_option
@no_shop_option
@units_option
def command(
    part: Path, size: str, scale: str, card: bool, shop: Path | None, no_shop: bool, units: System | None
) -> None:
    """How much narrower the prediction of PART becomes for each coupon cut, weighed and noted."""
    from layup.learn.answers_screen import card_screen, coupon_screen
    from layup.learn.coupons import card_of, value_of_coupons
    from layup.partfile.read import read_part
    from layup.units import parse
    from layup.weight import screen

    job = read_part(part)
    if card:
        screen.show(card_screen(part, card_of(job, two_sides(size)), two_sides(size)))
        return
    value = value_of_coupons(job, habits_of(part, shop, no_shop), two_sides(size), parse(scale, "mass"))
    screen.show(coupon_screen(part, job.part.title, value, units or job.part.units))
