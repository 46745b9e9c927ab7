"""What the terminal shows of coupons before a big part, and of two weighed versions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Group as Screen
from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.learn.coupons import WORTH, CardCoupon, Value
from layup.learn.versions import Division
from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.words import MINUS, System, area_words, mass_both, mass_metric, plain

_SHARES = {
    "process": "process, resin and vacuum",
    "plies": "plies",
    "core": "core",
    "finish": "finish and extras",
    "area": "area",
}


def _one(system: System) -> System:
    return "lb" if system == "both" else system


def coupon_screen(part: Path, title: str, value: Value, system: System) -> RenderableType:
    """The screen of `layup coupon`."""
    coupon = value.coupon
    sides = " x ".join(f"{plain(side * 1e3, 4)} mm" for side in value.sides)
    shown = f"{plain(value.resolution * 1e3, 4)} g"
    grams = f"{mass_metric(coupon.p05)} to {mass_metric(coupon.p95)}"
    lines: list[RenderableType] = [
        Text(title, style="bold"),
        Text(f"  A coupon of {area_words(value.area, system)} should weigh {mass_metric(coupon.mean)} ({grams})."),
        Text(f"  Cut it from its own small plate, square and measured, and weigh it to {shown}."),
        Text("  Note what the scale says; if it is the weight above:"),
        Text(
            f"    layup weigh {part} {mass_metric(coupon.mean)} --at trimmed --coupon {sides} --scale {shown} "
            '--piece "coupon 1"',
            no_wrap=True,
            overflow="ignore",
        ),
        Text(),
    ]
    one = _one(system)
    rows = tuple(
        (
            str(step.coupons),
            f"{mass_both(step.mass.p05, one)} to {mass_both(step.mass.p95, one)}",
            mass_both(step.width, one),
            f"{step.narrower * 100:.0f} %" if step.coupons else "",
            f"{(1 - step.width / value.after[0].width) * 100:.0f} %" if step.coupons else "",
        )
        for step in value.after
    )
    head = ("  coupons", "the part, nine in ten", "width", "narrower by this one", "in all")
    lines += [grid_text(Grid(head, rows, right=frozenset(range(5))), 3), Text()]
    many = {0: "No coupon is", 1: "One coupon is"}.get(value.worth, f"{value.worth} coupons are")
    told = f"{many} worth making before the part: each further one takes less than {WORTH * 100:.0f} % off the width. "
    told += f"No number of them brings it under {mass_both(value.floor, _one(system))}: "
    told += "the scatter from part to part remains."
    lines.append(Padding(Text(told), (0, 0, 0, 2)))
    return Screen(*lines)


def card_screen(part: Path, card: Sequence[CardCoupon], sides: tuple[float, float]) -> RenderableType:
    """The card of `layup coupon --card`, to print and to lay on the bench."""
    size = " x ".join(f"{plain(side * 1e3, 4)} mm" for side in sides)
    lines: list[RenderableType] = [
        Text(f"Two coupons of {card[0].fabric}, {size}", style="bold"),
        Text("  Lay them as the part will be laid: same process, same resin, same hand, on one flat plate."),
        Text("  Cut the cloth to size first, weigh it dry; trim the cured coupon to the same size, weigh it again."),
        Text("  One ply and four tell the resin in the plies and the film on the faces apart."),
        Text(),
        Text(f"  {'plies':<8}{'dry, should be':<18}{'dry, is':<14}{'cured, should be':<26}cured, is"),
    ]
    for one in card:
        span = f"{mass_metric(one.cured.p05)} to {mass_metric(one.cured.p95)}"
        lines.append(Text(f"  {one.plies:<8}{mass_metric(one.dry):<18}{'_______ g':<14}{span:<26}_______ g"))
    lines += [Text(), Text("  Then enter them:")]
    for one in card:
        for stage in ("dry-cloth", "trimmed"):
            lines.append(
                Text(
                    f'    layup weigh {part} ... g --at {stage} --coupon "{size}" --plies {one.plies} '
                    f'--piece "card, {one.plies}" --scale 0.1 g',
                    no_wrap=True,
                    overflow="ignore",
                )
            )
    return Screen(*lines)


def versions_screen(division: Division, system: System) -> RenderableType:
    """The screen of `layup two-builds`."""
    one = _one(system)
    whole = division.difference or 1.0
    rows = [
        (
            _SHARES[thing],
            mass_both(share.mean, one),
            f"{mass_both(share.p05, one)} to {mass_both(share.p95, one)}",
            f"{share.mean / whole * 100:.0f} %".replace("-0 %", "0 %").replace("-", MINUS),
        )
        for thing, share in division.shares.items()
        if share.mean != 0 or share.p05 != share.p95
    ]
    chance = "may be chance" if division.chance else "more than chance"
    rest = f"{division.unexplained / whole * 100:.0f} %"
    rows.append(("unexplained", mass_both(division.unexplained, one), chance, rest))
    columns = ("because of", "lighter by", "nine in ten", "share")
    table = grid_text(Grid(columns, tuple(rows), right=frozenset({1, 2, 3})), 3)
    head = f"{division.heavier} against {division.lighter}: {mass_both(division.difference, system)} on the scale"
    alone = division.alone
    word = "is enough for all of it" if alone.enough else "can't explain all of it"
    told = f"Process alone, on the layup of the heavier: {mass_both(alone.explained.mean, system)}, "
    told += f"{mass_both(alone.explained.p05, one)} to {mass_both(alone.explained.p95, one)}. It {word}."
    return Screen(Text(head, style="bold"), Text(), table, Text(), Padding(Text(told), (0, 0, 0, 2)))
