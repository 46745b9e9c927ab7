"""The bar that stays in sight: which part, what it weighs and saves within what limits, the processes, the last change.

While something is wrong with the part the last good number stays, greyed, with what is not counted yet; see `bar_of`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.bench import labels
from layup.bench.desk import Cost, Desk, Sheet

if TYPE_CHECKING:
    from layup.bench.journal import Change
    from layup.weight.prediction import Prediction

STANDARD = ("wet", "vacuum bag", "infusion", "prepreg")
"""The processes that have a button. Others of a shop's own follow."""
WIDE = 100.0
"""Width of the small drawing on a button, in its own units. [-]"""


@dataclass(frozen=True)
class Way:
    """A process as its button shows it.

    Attributes:
        name: Of the process.
        chosen: Whether the part is made so.
        mass: Mean, 5 % and 95 %; None where it can't be compared. [kg]
        drawn: The same on the common scale of all buttons, 0 to `WIDE`.
    """

    name: str
    chosen: bool
    mass: tuple[float, float, float] | None = None
    drawn: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Bar:
    """What the bar shows.

    Attributes:
        sheet: The part file as it stands.
        shown: The prediction that is shown: of the part as it stands, else the last good one, else None.
        old: Whether it is not of the part as it stands.
        why: What is not counted yet, the first of several; "" where nothing is wrong.
        more: How many more things are wrong. [-]
        ways: The processes.
        cost: What the last change did; None where there is none.
        again: The change that can be made again.
    """

    sheet: Sheet
    shown: Prediction | None
    old: bool
    why: str
    more: int
    ways: tuple[Way, ...]
    cost: Cost | None
    again: Change | None

    @property
    def bare(self) -> bool:
        """Whether nothing is wrong but that no ply is laid yet."""
        return len(self.sheet.faults) == 1 and not self.sheet.entries("ply") and not self.sheet.value("stack")


def bar_of(desk: Desk, sheet: Sheet) -> Bar:
    """The bar of a part."""
    shown = sheet.prediction or desk.last_good(sheet)
    first = sheet.faults[0] if sheet.faults else None
    why = ""
    if first is not None:
        why = labels.place(first.place) or (f"line {first.line}" if first.line else "the part file")
        why = why.partition(":")[0].partition(' "')[0]
    again = desk.journal.next(sheet.name)
    return Bar(
        sheet=sheet,
        shown=shown,
        old=shown is not None and sheet.prediction is None,
        why=why,
        more=max(len(sheet.faults) - 1, 0),
        ways=_ways(sheet, shown),
        cost=desk.last_change(sheet),
        again=again if again is not None and again.before == sheet.text else None,
    )


def _ways(sheet: Sheet, shown: Prediction | None) -> tuple[Way, ...]:
    now = sheet.value("process")
    found = {a.process: a.weighed.mass for a in shown.alternatives} if shown else {}
    names = [*STANDARD, *(name for name in found if name not in STANDARD)]
    if now and now not in names:
        names.append(now)
    low = min((m.p05 for m in found.values()), default=0.0)
    high = max((m.p95 for m in found.values()), default=0.0)
    scale = WIDE / (high - low) if high > low else 0.0
    ways = []
    for name in names:
        mass = found.get(name)
        if mass is None:
            ways.append(Way(name, name == now))
            continue
        ends = (mass.mean, mass.p05, mass.p95)
        mean, p05, p95 = ((v - low) * scale for v in ends)
        ways.append(Way(name, name == now, ends, (mean, p05, p95)))
    return tuple(ways)
