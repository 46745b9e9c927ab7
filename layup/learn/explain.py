"""Why is the part off? What its weight implies, whether that can be, and the shortest list of causes that fit.

- What would the resin have to be?      `implied_by`
- Which causes, alone or together?      `explain`, from the candidates of `layup.learn.causes`
- Between which two weighings?          `locate`
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from layup.errors import LayupError
from layup.laminate.process import TIGHTEST
from layup.learn.causes import Cause, candidates, odds_of
from layup.learn.expected import STAGES, WHOLE_STAGES, Ground, expect, stage_mass, trim_strip
from layup.spread import Z90, Interval
from layup.weight.prediction import Prediction
from layup.weight.weigh import Weighed, alike
from layup.words import mass_words

FAR = 2.576
"""Standard deviations within which 99 shops in 100 stay: the furthest that resin alone is believed to stray."""
WEIGHED_OFF = 0.05
"""What mixed resin may be off by on a shop's scale, with what sticks to brush and gloves left out. [-]"""
ASK_FROM = 0.10
"""How far off a weight may be before something to look at is named, though nine in ten come out so. [-]"""
LOOSEST = 0.10
"""Fibre volume fraction under which a laminate is a pool of resin with some fibre in it; a random mat has 0.17. [-]"""


@dataclass(frozen=True, slots=True)
class Implied:
    """What the laminate would be if the resin in the plies explained the whole weight.

    Attributes:
        factor: Resin of the plies over what is expected. [-]
        resin_content: Of fibre and resin, by mass, films and what bonds the cores counted, as `predict` says it. [-]
        fibre_fraction: Of the plies, by volume. [-]
        thickness: Over the whole surface, films counted. [m]
    """

    factor: float
    resin_content: float
    fibre_fraction: float
    thickness: float


@dataclass(frozen=True, slots=True)
class Step:
    """What happened between two weighings.

    Attributes:
        before: Stage; "" for the prediction of the first weighing.
        after: Stage.
        change: Weighed. [kg]
        expected: [kg]
        spread: Standard deviation of what is expected. [kg]
    """

    before: str
    after: str
    change: float
    expected: float
    spread: float

    @property
    def off(self) -> float:
        """Weighed less expected. [kg]"""
        return self.change - self.expected


@dataclass(frozen=True, slots=True)
class Explanation:
    """What a weigh-in says.

    Attributes:
        stage: Where in the work.
        mass: Weighed. [kg]
        expected: At this stage. [kg]
        implied: If resin alone explained it; None where no resin is the shop's, or where it would be less than none.
        impossible: Why the weight can't be what it seems; empty if it can.
        resin_alone: Whether resin alone can explain it: not further off than 99 shops in 100.
        needed: How many standard deviations off the resin would be. [-]
        lists: The shortest lists of causes that fit, likeliest first; empty where nothing needs a cause.
        steps: What happened between the weighings of this piece, in the order of the work.
        located: The step that the difference comes from, if one of them has more than half of it.
        resin_kept: Most resin that can be in the part by what was mixed and left; None if not weighed. [kg]
        resin_due: Resin in the part if resin alone explained its weight. [kg]
        too_much: Whether that is more than went in: mixed, less what was left.
    """

    stage: str
    mass: float
    expected: Interval
    implied: Implied | None
    impossible: str
    resin_alone: bool
    needed: float
    lists: tuple[tuple[Cause, ...], ...]
    steps: tuple[Step, ...]
    located: Step | None
    resin_kept: float | None
    resin_due: float
    too_much: bool = False

    @property
    def usual(self) -> bool:
        """Whether the weight is one of nine in ten, and no more is in the part than went in."""
        return self.expected.holds(self.mass) and not self.too_much

    @property
    def off(self) -> float:
        """Weighed over expected, less one. [-]"""
        return self.mass / self.expected.mean - 1


def explain(
    prediction: Prediction,
    mass: float,
    stage: str = "finished",
    resolution: float | None = None,
    weighed_at: Sequence[tuple[str, float]] = (),
) -> Explanation:
    """Explain the weight of a whole part.

    Args:
        prediction: Of the part, with the shop's habits where they are known.
        mass: On the scale. [kg]
        stage: "demoulded", "trimmed" or "finished".
        resolution: Of the scale. [kg]
        weighed_at: Other weighings of the same piece: stage and mass. [kg]

    Raises:
        LayupError: The stage is not one of a whole part.
    """
    if stage not in WHOLE_STAGES:
        raise LayupError(f'"{stage}" is not a stage of a whole part. Stages: {", ".join(WHOLE_STAGES)}')
    job, weighed = prediction.job, prediction.weighed
    mean = stage_mass(job, weighed, stage) or 0.0
    whole = weighed.mass
    expected = Interval(mean, mean + whole.p05 - whole.mean, mean + whole.p95 - whole.mean)
    ground = expect(job, weighed, stage, resolution)
    implied = implied_by(weighed, ground, mass) if ground else None
    impossible = _impossible(weighed, ground, mass, implied)
    needed = _needed(ground, mass)
    stages = {**dict(weighed_at), stage: mass}
    steps = locate(prediction, stages)
    off = mass - mean
    located = next((s for s in steps if s.before and abs(s.off) > 0.5 * abs(off) and s.off * off > 0), None)
    kept = resin_kept(dict(weighed_at))
    due = weighed.resin + off + (trim_strip(weighed)[1] if stage == "demoulded" else 0.0)
    laid = dict(weighed_at).get("dry-cloth")
    planned = stage_mass(job, weighed, "dry-cloth")
    if laid is not None and planned is not None:
        due -= laid - planned  # cloth that weighed more than planned is no resin
    too_much = kept is not None and due > kept + WEIGHED_OFF * kept
    alone = abs(needed) <= FAR and not impossible and not too_much
    lists: tuple[tuple[Cause, ...], ...] = ()
    if not expected.holds(mass) or impossible or too_much or abs(off) > ASK_FROM * mean:
        found = candidates(prediction, stage, mass, resolution, ground)
        if located is not None:
            found = tuple(c for c in found if located.after in c.at)
        if too_much:
            found = tuple(c for c in found if c.about != "resin")
        lists = _shortest(found, off, expected, _quiet(ground), alone)
    return Explanation(
        stage=stage,
        mass=mass,
        expected=expected,
        implied=implied,
        impossible=impossible,
        resin_alone=alone,
        needed=needed,
        lists=lists,
        steps=steps,
        located=located,
        resin_kept=kept,
        resin_due=due,
        too_much=too_much,
    )


def implied_by(weighed: Weighed, ground: Ground, mass: float) -> Implied | None:
    """The laminate that the weight implies if only the resin of the plies differs; None where it would be negative."""
    factor = (mass - ground.rest) / ground.resin
    if factor <= 0:
        return None
    more = fibre_volume = volume = 0.0
    thicker = {}
    for layer in weighed.layers:
        if layer.take_up is None:
            continue
        taken = layer.resin * (factor if layer.take_up.learns else 1.0)
        solid = layer.fibre / layer.fibre_density
        thick = (solid + taken / layer.resin_density) / (1 - layer.take_up.void_fraction)
        thicker[layer.number] = thick - layer.thickness
        more += (taken - layer.resin) * layer.area
        fibre_volume += solid * layer.area
        volume += thick * layer.area
    there = weighed.laid.on[:, alike(weighed.laid, weighed.films)]
    more_there = sum(thicker.get(y.number, 0.0) for y, lies in zip(weighed.layers, there, strict=True) if lies)
    resin = weighed.resin + more
    content = resin / (resin + weighed.fibre)
    return Implied(factor, content, fibre_volume / volume, weighed.thickness.mean + more_there)


def _impossible(weighed: Weighed, ground: Ground | None, mass: float, implied: Implied | None) -> str:
    if ground is None:
        return ""
    if implied is None:
        return (
            f"it is less than the dry cloth, the core and the rest weigh ({mass_words(ground.rest)}): "
            "something is missing from the part, or the layup in the part file is not the one on the mould"
        )
    if implied.fibre_fraction > TIGHTEST:
        return (
            f"so little resin would leave {implied.fibre_fraction * 100:.0f} % fibre by volume; "
            f"fibres can't be packed tighter than about {TIGHTEST * 100:.0f} %"
        )
    if implied.fibre_fraction < LOOSEST:
        return (
            f"so much resin would leave {implied.fibre_fraction * 100:.0f} % fibre by volume: "
            "a pool of resin, not a laminate"
        )
    return ""


def _needed(ground: Ground | None, mass: float) -> float:
    """How far off the resin would have to be, in standard deviations of the shop's hand and the part's luck."""
    if ground is None:
        return 0.0 if mass > 0 else math.inf
    factor = (mass - ground.rest) / ground.resin
    if factor <= 0:
        return -math.inf
    noise = ground.rest_spread / ground.resin / factor
    spread = math.hypot(ground.shop_spread, ground.part_spread, ground.cloth_spread, noise)
    centre = -0.5 * (ground.shop_spread**2 + ground.part_spread**2)
    return (math.log(factor) - centre) / spread


def _quiet(ground: Ground | None) -> float:
    """Spread of all but the shop's hand and the part's luck. [kg]"""
    return math.hypot(ground.rest_spread, ground.cloth_spread * ground.resin) if ground else 0.0


def _shortest(
    found: Sequence[Cause], off: float, expected: Interval, quiet: float, resin_alone: bool
) -> tuple[tuple[Cause, ...], ...]:
    """The lists of fewest causes that bring the weight inside what is expected, likeliest first, five at most.

    A list with the resin in it may use the whole reach of the resin, and then only the quiet spread of the rest.
    """
    for size in (1, 2, 3):
        fits = []
        for chosen in combinations(found, size):
            about = {cause.about for cause in chosen}
            if len(about) < size:
                continue
            low, high = expected.p05 - expected.mean, expected.p95 - expected.mean
            if "resin" in about:
                low, high = -Z90 * quiet, Z90 * quiet
            spread = max((high - low) / (2 * Z90), 1e-9)
            least, most = sum(c.low for c in chosen), sum(c.high for c in chosen)
            left = off - min(max(off, least), most)
            fit = resin_alone if about == {"resin"} else low <= left <= high
            if fit:
                odds = sum(math.log(odds_of(cause, off)) for cause in chosen)
                fits.append((odds - 0.5 * (left / spread) ** 2, chosen))
        if fits:
            fits.sort(key=lambda pair: -pair[0])
            return tuple(chosen for _, chosen in fits[:5])
    return ()


def locate(prediction: Prediction, stages: dict[str, float]) -> tuple[Step, ...]:
    """What happened between the weighings of one piece.

    The first weighing of the whole part stands against the prediction (or, where the dry cloth and the resin were
    weighed too, against those); each later one against the one before.

    Args:
        prediction: Of the part.
        stages: Mass at each stage that was weighed. [kg]

    Returns:
        One step a weighing of the whole part.
    """
    job, weighed = prediction.job, prediction.weighed
    whole = [stage for stage in STAGES if stage in stages and stage in WHOLE_STAGES]
    if not whole:
        return ()
    first = whole[0]
    expected = stage_mass(job, weighed, first) or 0.0
    spread = (weighed.mass.p95 - weighed.mass.p05) / (2 * Z90)
    if "dry-cloth" in stages:
        expected += stages["dry-cloth"] - (stage_mass(job, weighed, "dry-cloth") or 0.0)
    steps = [Step("", first, stages[first], expected, spread)]
    strip_mass, _ = trim_strip(weighed)
    for before, after in pairwise(whole):
        change = (stage_mass(job, weighed, after) or 0.0) - (stage_mass(job, weighed, before) or 0.0)
        unsure = 0.0
        if before == "demoulded":
            unsure = math.hypot(unsure, 0.25 * strip_mass)
        if after == "finished":
            things = (*weighed.finishes, *weighed.extras)
            unsure = math.hypot(unsure, *(thing.spread * thing.mass for thing in things))
        steps.append(Step(before, after, stages[after] - stages[before], change, unsure))
    return tuple(steps)


def resin_kept(stages: dict[str, float]) -> float | None:
    """Most resin that can be in the part: mixed, less what is left in the cup and in the bag. [kg]"""
    if "resin-mixed" not in stages:
        return None
    return max(stages["resin-mixed"] - stages.get("left-in-cups", 0.0) - stages.get("bag-materials", 0.0), 0.0)
