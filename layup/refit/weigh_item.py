"""An item of the ledger on the scale: what `layup ledger weigh` and the bench page both do with its weight."""

from __future__ import annotations

from dataclasses import dataclass

from layup.errors import LayupError
from layup.learn.schema import Entry
from layup.learn.store import Store
from layup.refit.job import RefitJob
from layup.refit.ledger import Row, on_the_scale, read_ledger, row_of, weigh
from layup.refit.plausible import doubts
from layup.units import parse


@dataclass(frozen=True)
class ItemOnScale:
    """An item's weight that was read and not entered yet.

    Attributes:
        job: The refit file, read.
        row: Of the item.
        mass: [kg]
        said: As it was written.
        why: What is added to the entry.
        before: Running weight before. [kg]
        questions: What to ask first; none where it is believable.
    """

    job: RefitJob
    row: Row
    mass: float
    said: str
    why: str
    before: float
    questions: tuple[str, ...]

    def enter(self, store: Store, by: str = "", method: str = "", date: str = "") -> tuple[Entry, float]:
        """Enter it; gives the entry and what the running weight changes by. [kg]"""
        item = self.row.item
        entry = weigh(self.job, store, item.name, self.mass, self.said, action=item.action, by=by, method=method,
                      date=date, why=self.why)  # fmt: skip
        return entry, read_ledger(self.job, store).now.mass - self.before


def item_on_scale(
    job: RefitJob, store: Store, name: str, said: str | None, action: str | None = None, why: str = ""
) -> ItemOnScale:
    """An item's weight held against what the file and the ledger say of it.

    Args:
        job: The refit file, read.
        store: The shop's record.
        name: Of the item.
        said: What the scale shows; None takes over the last weigh-in of the finished part.
        action: "removed", "added" or "moved", where the name is in more than one list.
        why: Anything to add.

    Returns:
        The weight; nothing is entered.

    Raises:
        LayupError: There is no such item, or more than one, or no weigh-in of it.
    """
    mass = parse(said, "mass") if said is not None else 0.0
    ledger = read_ledger(job, store)
    if said is None:
        scaled = {key[1].casefold(): one for key, one in on_the_scale(job, store, ledger).items()}
        found = scaled.get(name.casefold())
        if found is None:
            raise LayupError(f'no finished weigh-in of "{name}" is in the record: add its weight, "14 oz"')
        mass, said = found.mass, found.said
        why = why or f"weigh-in {found.entry.number}"
    row = row_of(ledger, name, action)
    asked = doubts(job, ledger, row, mass, said) if mass > 0.0 else ()  # `weigh` refuses any other
    return ItemOnScale(job=job, row=row, mass=mass, said=said, why=why, before=ledger.now.mass, questions=asked)
