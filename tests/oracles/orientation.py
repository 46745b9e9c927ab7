"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

from collections.abc import Sequence

from layup.errors import RangeError
from layup.laminate.orientation import MOST_PLIES, StackPly, _one, _runs


def write_stack(plies: Sequence[StackPly]) -> str:
    """The short code of a stack: half of it where it is symmetric, and runs of one ply counted.

    Args:
        plies: From the tool side, at least one.
    Returns:
        A code that `parse_stack` reads back to the same plies.
    Raises:
        RangeError: no plies, more than `MOST_PLIES`, or an angle beyond 90 degrees.

    >>> from layup.laminate.orientation import parse_stack
    >>> write_stack(parse_stack("[0/0/45/90/45/0/0]"))
    '[0_2/45/90bar]s'
    """
    if not 1 <= len(plies) <= MOST_PLIES:
        raise RangeError(f"a stack of {len(plies)} plies cannot be written: give 1 to {MOST_PLIES}")
    if any(not -90 <= ply.angle <= 90 for ply in plies):
        raise RangeError("a ply angle beyond 90 degrees: measure it the other way round, -60 for 120")
    half = len(plies) // 2
    symmetric = len(plies) > 2 and list(plies) == list(reversed(plies)) and len(set(plies)) > 1
    if not symmetric:
        return "[" + "/".join(_runs(plies)) + "]"
    if len(plies) % 2 == 0:
        return "[" + "/".join(_runs(plies[:half])) + "]s"
    middle = plies[half]
    before = list(plies[:half])
    inside = 0
    while before and before[-1] == middle:
        before.pop()
        inside += 1
    # A run about the middle: so many half plies on either side of the plane of symmetry.
    count = f"_{2 * inside + 1}" if inside else ""
    return "[" + "/".join([*_runs(before), f"{_one(middle)}bar{count}"]) + "]s"
