"""What the next coupon is worth: how much narrower the big part's interval becomes for each one cut and weighed.

A coupon is the layup of the part on a flat plate of 100 x 100 mm; a practice panel is the same, larger. What it teaches
follows from its own noise (cut edges, the film on its faces, the scale) and the luck that every piece has. Counting on
no wrong entry, the rule is the conjugate one, so the value is known before any coupon is made.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from layup.errors import LayupError
from layup.laminate.process import Habit, Habits
from layup.learn.expected import Ground, expect
from layup.learn.posterior import value_of_more
from layup.learn.weighins import coupon_of
from layup.partfile.job import Job
from layup.spread import Interval
from layup.weight.compare import process_for
from layup.weight.weigh import Weighed, weigh_layup

WORTH = 0.10
"""A coupon is worth making where it takes at least this share off the interval that is left."""


@dataclass(frozen=True, slots=True)
class Next:
    """The big part's interval after so many coupons.

    Attributes:
        coupons: How many.
        mass: Of the big part; its mean is today's, since no one knows yet what the coupons will say. [kg]
        width: Of the 90 % interval. [kg]
        narrower: Against one coupon less. [-]
    """

    coupons: int
    mass: Interval
    width: float
    narrower: float


@dataclass(frozen=True)
class Value:
    """What coupons are worth before one part.

    Attributes:
        coupon: Predicted weight of one. [kg]
        area: Of one. [m^2]
        noise: Spread of ln take-up that one coupon shows beside the shop's hand. [-]
        after: The part's interval after none, one, two, ...
        worth: How many are worth making.
        floor: Width that no number of coupons goes under. [kg]
        sides: Of one. [m]
        resolution: Of the scale. [kg]
    """

    coupon: Interval
    area: float
    noise: float
    after: tuple[Next, ...]
    worth: int
    floor: float
    sides: tuple[float, float]
    resolution: float


def value_of_coupons(
    job: Job,
    habits: Habits | None = None,
    sides: tuple[float, float] = (0.1, 0.1),
    resolution: float = 0.0001,
    most: int = 6,
) -> Value:
    """How much each further coupon narrows the interval of a part.

    Args:
        job: The part, read.
        habits: What the shop knows already.
        sides: Of the coupon. [m]
        resolution: Of the scale. [kg]
        most: Coupons to look ahead.

    Raises:
        LayupError: The part has no layup that a coupon can stand for, or its resin does not follow the shop's hand.
    """
    known: dict[tuple[str, ...], Habit] = dict(habits or {})
    bare = replace(job, habits={})
    plate = coupon_of(bare, *sides)
    process = process_for(bare, job.part.process, own=True)
    ground = expect(plate, weigh_layup(plate, process), "trimmed", resolution)
    if ground is None:
        raise LayupError("a coupon teaches nothing here: the part file says how much resin each ply holds")
    whole = expect(bare, weigh_layup(bare, process), "trimmed", resolution)
    if whole is None or whole.fabric != ground.fabric:
        raise LayupError(f"a coupon of what lies over the whole part is mostly {ground.fabric}, the part is not")
    now = _now(known, ground)
    noise = math.hypot(
        ground.part_spread if now.part_spread is None else now.part_spread, ground.rest_spread / ground.resin
    )
    after: list[Next] = []
    before = None
    for count in range(most + 1):
        weighed = _weigh(job, _taught(known, now, noise, count))
        width = weighed.mass.p95 - weighed.mass.p05
        after.append(Next(count, weighed.mass, width, max(1 - width / before, 0.0) if before else 0.0))
        before = width
    least = _weigh(job, _taught(known, now, 1e-6, 1)).mass
    worth = 0
    for step in after[1:]:
        if step.narrower < WORTH:
            break
        worth = step.coupons
    coupon = _weigh(coupon_of(job, *sides), known)
    return Value(
        coupon=coupon.mass,
        area=sides[0] * sides[1],
        noise=noise,
        after=tuple(after),
        worth=worth,
        floor=least.p95 - least.p05,
        sides=sides,
        resolution=resolution,
    )


CARD = (1, 4)
"""Plies of the two coupons of a card: the film is nearly all of the difference that plies don't make."""


@dataclass(frozen=True, slots=True)
class CardCoupon:
    """One coupon of a card.

    Attributes:
        plies: Of the cloth.
        fabric: Its name.
        dry: What its cloth should weigh. [kg]
        cured: What it should weigh by published figures. [kg]
    """

    plies: int
    fabric: str
    dry: float
    cured: Interval


def card_of(job: Job, sides: tuple[float, float]) -> tuple[CardCoupon, ...]:
    """The two coupons of a card: one ply and four of the part's first cloth.

    Args:
        job: The part, read.
        sides: Of either. [m]

    Raises:
        LayupError: No ply of fabric lies over the whole part.
    """
    found = []
    bare = replace(job, habits={})
    for plies in CARD:
        weighed = _weigh(coupon_of(bare, *sides, plies), {})
        found.append(CardCoupon(plies, weighed.layers[0].name, weighed.fibre, weighed.mass))
    return tuple(found)


def _weigh(job: Job, habits: Mapping[tuple[str, ...], Habit]) -> Weighed:
    there = replace(job, habits=habits)
    return weigh_layup(there, process_for(there, job.part.process, own=True))


def _taught(known: Habits, now: Habit, noise: float, count: int) -> Habits:
    """What the shop knows after so many coupons of a cloth, whose weights no one knows yet: its spreads alone change.

    What a record taught together strays together, so a coupon of one cloth narrows all that hangs on the same
    variables: with its loads l, another's loads v become v - c (v l) l, whose products are the covariances that Gauss's
    rule leaves after one more observation.
    """
    if count == 0:
        return known
    if not now.loads:
        left = value_of_more(now.spread**2, [noise] * count)[-1]
        return {**known, now.of: replace(now, spread=math.sqrt(left), parts=now.parts + count)}
    # the cloth's own answer is one variable more, which only this coupon knows of
    size = max(len(habit.loads) for habit in known.values())
    own = np.append(np.pad(now.loads, (0, size - len(now.loads))), now.open)
    square = float(own @ own)
    share = (1.0 - math.sqrt(1.0 - square / (square + noise**2 / count))) / square if square else 0.0
    taught: dict[tuple[str, ...], Habit] = {}
    for of, habit in {**known, now.of: replace(now, open=0.0)}.items():
        loads = own if of == now.of else np.pad(habit.loads, (0, size + 1 - len(habit.loads)))
        if of == now.of or habit.loads:
            loads = loads - share * float(loads @ own) * own
            spread = math.hypot(float(np.linalg.norm(loads)), habit.open)
            habit = replace(habit, loads=tuple(loads.tolist()), spread=spread)
        taught[of] = habit
    return taught


def _now(habits: Habits, ground: Ground) -> Habit:
    """What is known of this fabric before any coupon, its roll's tolerance counted."""
    of = (ground.process, ground.form, ground.fabric)
    if of in habits:
        return habits[of]
    for wider in (of[:2], of[:1]):
        if wider in habits:
            habit = habits[wider]
            return replace(habit, of=of, spread=math.hypot(habit.spread, ground.cloth_spread), parts=0)
    return Habit(of, 0.0, math.hypot(ground.shop_spread, ground.cloth_spread), ground.shop_spread, 0)
