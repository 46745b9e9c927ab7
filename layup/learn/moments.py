"""Days and moments as they are asked for: of a weighing, of a paper, of the ledger as it stood."""

from __future__ import annotations

import datetime as dt

from layup.errors import LayupError
from layup.learn.store import moment_at


def day_of(text: str) -> str:
    """A day as year-month-day; today if nothing is written.

    Raises:
        LayupError: It is not a day.

    >>> day_of("2025-11-22")
    '2025-11-22'
    """
    try:
        return (dt.date.fromisoformat(text) if text else dt.date.today()).isoformat()
    except ValueError:
        raise LayupError(f'"{text}" is not a date. Write year-month-day: 2025-11-22') from None


def moment_of(as_of: str | None) -> int | str | None:
    """An entry's number, or a day or time that has begun somewhere; None for now.

    Raises:
        LayupError: It is no time, or that day is still to come.

    >>> moment_of("6"), moment_of("2025-11-22"), moment_of(None)
    (6, '2025-11-22', None)
    """
    if as_of is None:
        return None
    if as_of.isascii() and as_of.isdigit() and len(as_of) < 8:
        return int(as_of)
    tomorrow = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=1)  # begun already, east of Greenwich
    if moment_at(as_of).date() > tomorrow:
        raise LayupError(f"{as_of} is still to come. Leave --as-of out to see the ledger as it stands")
    return as_of
