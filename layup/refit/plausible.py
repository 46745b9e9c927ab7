"""Is what the ledger is told, or comes to, believable?

What to ask before a scale's figure is entered?    doubts
Is anything of the aircraft left?                  sound
"""

from __future__ import annotations

from layup.errors import LayupError
from layup.learn.weighins import questions
from layup.refit.job import RefitJob
from layup.refit.ledger import Ledger, Row
from layup.words import in_system, mass_both


def doubts(job: RefitJob, ledger: Ledger, row: Row, mass: float, said: str) -> tuple[str, ...]:
    """What to ask before a weight takes an item's place: the question `layup weigh` asks of a part.

    Args:
        job: The refit file, read.
        ledger: As it stands.
        row: Of the item.
        mass: What the scale is said to show. [kg]
        said: As written: "350 lb".

    Returns:
        Questions in words; none where it is near what the file says of the item, or what the ledger holds of it.
    """
    filed = next((item for item in job.items if item.key == row.item.key), row.item)
    asked: list[str] = []
    for item in (filed, row.item):
        found = questions(mass, said, item.spread.as_dict() if item.mass > 0.0 else None)
        if not found:
            return ()
        asked += found
    return (f'"{row.item.name}": {in_system(asked[0], job.refit.units)}',)


def sound(ledger: Ledger) -> None:
    """Refuse a ledger that leaves nothing of the aircraft.

    Raises:
        LayupError: More comes off than the aircraft weighs; it names the heaviest item and how to correct it.
    """
    if ledger.now.mass > 0.0:
        return
    heavy = max((row for row in ledger.rows if row.item.action == "removed"), key=lambda row: row.item.mass)
    where = f"entry {heavy.number}" if heavy.number is not None else "the refit file"
    raise LayupError(
        f'more comes off than the aircraft weighs. The heaviest is "{heavy.item.name}" in {where}, '
        f"{heavy.item.mass_text or mass_both(heavy.item.mass, 'both')}. Correct it in the file and enter it, or: "
        f'layup ledger weigh REFIT "{heavy.item.name}" WEIGHT'
    )
