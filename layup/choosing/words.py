"""What a choice says in words: values and reserves, a price, what fails and by how much, what was proven."""

from __future__ import annotations

import math
from typing import NamedTuple

from layup.choosing.checks import MOST_TIMES
from layup.choosing.choice import ALL_RULES, Choice
from layup.choosing.layups import Layup
from layup.choosing.seek import NEAR
from layup.choosing.steps import Step
from layup.partfile.needs import USUAL_LOAD_FACTOR
from layup.units import G0, INCH, LB
from layup.words import System, areal_weight_words, length_words, mass_both, plain, thickness_words

ADVICE = "Put a stiffer fabric, a core or more plies on the shelf, or ask for less."
"""What to do where nothing passes."""
PHASES = (
    "setting up the panel",
    "looking for the lightest",
    "what the spread costs",
    "cutting the panel into its zones",
    "trying local plies",
)
"""What the search says of itself; everything else it says is the name of one restriction."""
_SCALES = {
    "m": ("mm", 1e3),
    "Pa": ("MPa", 1e-6),
    "N m": ("N m", 1.0),
    "Hz": ("Hz", 1.0),
    "-": ("", 1.0),
    "N/m": ("N/mm", 1e-3),
}

_POUNDS = {
    "m": ("in", 1 / INCH),
    "Pa": ("psi", INCH**2 / (LB * G0)),
    "N m": ("lb in", 1 / (LB * G0 * INCH)),
    "N/m": ("lb/in", INCH / (LB * G0)),
}


def progress_words(what: str, looked: int, weight: float, system: System) -> str:
    """How far a search is, as a person says it.

    Args:
        what: What it is doing.
        looked: Layups looked at. [-]
        weight: Reached. [kg/m^2]
        system: Units.
    """
    said = what if what in (*PHASES, "stopped") else f"the lightest with {what}"
    more = [f"{areal_weight_words(weight, system)} reached"] if 0 < weight < 1e6 else []
    more += [f"{looked:,} layup{'s' if looked > 1 else ''} looked at"] if looked else []
    return ": ".join([said, ", ".join(more)] if more else [said])


def lead_words(choice: Choice) -> str:
    """What the best of a choice is."""
    if choice.ended:
        return "the lightest" if choice.proven else "the lightest found"
    return "the best so far (stopped before it was proven the lightest)"


def asked_words(choice: Choice, system: System = "metric") -> str:
    """What is asked of the part, in a sentence."""
    needs, pounds = choice.needs, system == "lb"
    out: list[str] = []

    def force(newtons: float) -> str:
        return f"{plain(newtons / (LB * G0), 3)} lbf" if pounds else f"{newtons:.0f} N"

    def most(limit: float | None) -> str:
        one: System = "lb" if pounds else "metric"
        return "" if limit is None else f" and gives at most {length_words(limit, one)}"

    if choice.old is not None and needs.stiffness:
        plane = " and in its own plane" if needs.in_plane == needs.stiffness else ""
        out.append(f'{_as_stiff(needs.stiffness, f"in bending{plane}")} the old "{choice.old.name}"')
    if choice.old is not None and needs.in_plane and needs.in_plane != needs.stiffness:
        out.append(f'{_as_stiff(needs.in_plane, "in its own plane")} the old "{choice.old.name}"')
    if needs.pressure:
        pressed = f"{plain(needs.pressure * INCH**2 / (LB * G0), 3)} psi" if pounds else f"{needs.pressure:.0f} Pa"
        out.append(f"holds {pressed}{most(needs.deflection)}")
    if needs.speed:
        fast = f"{needs.speed * 3600 / 1852:.0f} kn" if pounds else f"{needs.speed * 3.6:.0f} km/h"
        out.append(f"holds the air at {fast}{most(needs.deflection)}")
    if needs.hand_load:
        out.append(f"holds a hand of {force(needs.hand_load)}{most(needs.hand_deflection)}")
    for key, word in (("push", "pushed"), ("pull", "pulled"), ("shear", "sheared")):
        for axis in "xy":
            newtons = getattr(needs, f"{key}_{axis}")
            out += [f"{word} by {force(newtons)} along {axis}"] if newtons else []
    if (section := needs.section) is not None:
        for key, size in (("torque", section.torque), ("moment", section.moment)):
            if size:
                said = f"{plain(size / (LB * G0 * INCH * 12), 3)} lbf ft" if pounds else f"{plain(size, 3)} N m"
                out.append(f"a {key} of {said} on the {section.shape}")
    if needs.frequency is not None:
        out.append(f"its lowest natural frequency at least {needs.frequency:g} Hz")
    factor = needs.load_factor or USUAL_LOAD_FACTOR
    loads = f"; loads times {factor:g} for strength and buckling" if needs.loaded else ""
    return f"Asked: {'; '.join(out)}{loads}." if out else ""


def _as_stiff(times: float, how: str) -> str:
    return f"as stiff {how} as" if times == 1 else f"{times:g} times as stiff {how} as"


def less_words(choice: Choice) -> str:
    """What one ply less would break: of the neighbours with a ply gone the one that comes nearest; else empty."""
    less = [s for s in choice.steps if s.change.startswith("without") and not s.passed]
    if not less:
        return ""
    near = max(less, key=lambda s: (not s.breaks, s.reserve))
    what = f"breaks {near.breaks}" if near.breaks else f"fails {near.governs} ({reserve_words(near.reserve)})"
    return f"{near.change[0].upper()}{near.change[1:]} it {what}."


def unsettled_words(choice: Choice) -> str:
    """Which reserves the finest mesh still moved, and by how much; empty where all of them stand."""
    moved = sorted(choice.searches.unsettled.items(), key=lambda item: -abs(item[1]))
    if not moved or choice.best is None or choice.best.local:
        return ""
    parts = "; ".join(f"{name} by {share:+.1%}" for name, share in moved)
    return f"Still moving on the finest mesh, {MOST_TIMES:g} times as many triangles, are the reserves of {parts}."


def rules_words(choice: Choice, system: System) -> str:
    """Which rules of the trade were kept, and what each costs; empty where that was not asked."""
    if not choice.rules:
        return ""
    costs = {rule: saved for rule, saved in choice.rules.items() if saved > 0}
    named = [rule for rule in choice.rules if rule != ALL_RULES]
    said = f"Rules of the trade kept: {', '.join(named)}; "
    if not costs:
        return said + "they cost no weight here."
    parts = [f'without "{rule}" it would be {mass_both(saved, system)} lighter' for rule, saved in costs.items()]
    if list(costs) == [ALL_RULES] or len(costs) > 2:
        parts[-1] = f"without any of them {mass_both(costs[ALL_RULES], system)}"
    else:
        parts.pop()
    return f"{said}{', '.join(parts)} (write drop_rules under [needs])."


def saving_words(choice: Choice, layup: Layup, system: System) -> str:
    """Whether a layup is lighter than what comes off, and by how much; empty where nothing comes off."""
    old = choice.replaced
    if old is None or not old.mean:
        return ""
    less = old.mean - layup.mass.mean
    said = f"What comes off weighs {mass_both(old.mean, system)}: "
    if less <= 0:
        return said + f"this is {mass_both(-less, system)} HEAVIER. Keep the old part, or ask for less."
    return said + f"this saves {mass_both(less, system)}, {less / old.mean:.0%}."


def proof_words(choice: Choice) -> str:
    """How many layups there were, and what was done with them."""
    s = choice.searches
    text = f"{s.size:,} layups on the shelf"
    if choice.ended:
        seen = _count(s.checked, "layup was", "layups were")
        return (
            f"Of {text}, none lighter passes{_what(choice)}: {seen} checked one by one, lightest first; the rest "
            f"break limits that hold for every layup ({choice.seconds:.1f} s in all).{_measured(choice)}"
        )
    return f"{text}; {s.looked_at:,} were looked at before the search was stopped."


def _measured(choice: Choice) -> str:
    """What of that is measured and not proved; empty where nothing is."""
    if choice.proven:
        return ""
    said = " Best found, not proved:"
    if choice.searches.turned:
        said += " an answer failed on finer meshes or on its own surface, and the search began again with more load"
    if choice.searches.measured or not choice.searches.turned:
        said += " and" if choice.searches.turned else ""
        said += f" some of them failed in strength or greatest deflection alone, by more than {1 - NEAR:.0%} on a small"
        said += " model of the panel, which was seen within 2 % of the whole one"
    return f"{said}."


def _what(choice: Choice) -> str:
    """Nothing is proven of what was not checked."""
    return " what was checked" if choice.blocked else ""


def none_words(choice: Choice) -> str:
    """That nothing passes, or that nothing was found yet."""
    if not choice.searches.ended:
        return "stopped before any layup was found that passes"
    return f"none of the {choice.searches.size:,} layups on the shelf passes"


def failing_words(layup: Layup, system: System = "metric") -> list[str]:
    """Each check that a layup fails, and by how much."""
    result = layup.found.assessment
    said = []
    for kind, value, limit, reserve in zip(
        result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True
    ):
        if reserve < 1:
            text = f"fails: {kind.name}: {value_words(float(value), kind.unit, system)} where "
            text += f"{value_words(float(limit), kind.unit, system)} is {'due' if kind.at_least else 'allowed'}"
            times = 1 / max(float(reserve), 1e-9)
            off = f"only {_apart_from(reserve * 100, 100.0, 0)} % of it" if kind.at_least else f"{_times(times)} that"
            said.append(f"{text}, {off}")
    return said


def reserve_words(value: float) -> str:
    """A reserve; next to 1 with as many digits as show on which side it is."""
    if not math.isfinite(value) or value > 99:
        return "over 99"
    return f"{value:.2f}" if value >= 1 else _apart_from(value, 1.0, 2)


def value_words(value: float, unit: str, system: System = "metric") -> str:
    """A value of a check with its unit.

    >>> value_words(0.0019, "m")
    '1.90 mm'
    """
    name, scale = (_POUNDS if system == "lb" else _SCALES).get(unit) or _SCALES[unit]
    size = value * scale
    if not math.isfinite(size):
        return "no end"
    digits = max(0, 2 - math.floor(math.log10(abs(size)))) if size else 0
    return f"{size:.{min(digits, 4)}f} {name}".rstrip()


def money_words(layup: Layup) -> str:
    """What the material costs."""
    single = layup.cost.single
    if single is not None:
        return f"{single[0]:.2f} {single[1]}"
    said = " + ".join(f"{amount:.2f} {currency}" for currency, amount in layup.cost.amounts.items())
    return f"over {said}" if said else "no price"


PRESS: dict[System, str] = {"lb": "20.9 psf", "metric": "1 kPa", "both": "1 kPa"}
"""The even load under which a panel's stiffness is told: 1 kPa, in the units of the part."""


class LayupWords(NamedTuple):
    """A layup as a row of a table: for terminal and page."""

    label: str
    mass: str
    thick: str
    money: str
    stiff: str
    plies: str


def layup_words(layup: Layup, by_panel: bool, system: System) -> LayupWords:
    """A layup in words; `stiff` is how far the panel gives under `PRESS`, or the stiffness of a strip."""
    one: System = "lb" if system == "lb" else "metric"
    stiff = value_words(layup.stiffness, "m" if by_panel else "N m", one)
    mass, thick = mass_both(layup.mass.mean, system), thickness_words(layup.thickness, system)
    return LayupWords(layup.label, mass, thick, money_words(layup), stiff, f"{layup.process}: {layup.words}")


def verdict_words(step: Step) -> str:
    """What becomes of a changed layup: the rule it breaks, or what holds it."""
    held = f"governed by {step.governs} ({reserve_words(step.reserve)})"
    if not step.breaks:
        return f"{'passes' if step.passed else 'fails'}, {held}"
    return f"breaks {step.breaks}; the checks {'alone would pass' if step.reserve >= 1 else 'fail too'}, {held}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"


def _times(value: float) -> str:
    """`1.24 times`, and more digits where it is next to once."""
    return f"{_apart_from(value, 1.0, 2) if value < 10 else f'{plain(value, 3)}'} times"


def _apart_from(value: float, mark: float, digits: int) -> str:
    """A number with as many digits as it takes to see on which side of a mark it is."""
    for more in range(4):
        text = f"{value:.{digits + more}f}"
        if value == mark or float(text) != mark:
            return text
    return f"just {'under' if value < mark else 'over'} {mark:g}"
