"""The one long work of the refit: the set of parts that reaches the target."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from layup.refit.balance import Balance
from layup.refit.candidates import Candidate
from layup.refit.envelope import Envelope
from layup.refit.next_parts import Choice, Objective, choose


def find_set(
    candidates: Sequence[Candidate],
    empty: Balance,
    loads: Sequence[Balance],
    envelope: Envelope,
    need: float,
    objective: Objective,
    *,
    tell: Callable[[str], None],
) -> Choice:
    """`layup.refit.next_parts.choose`, in a process of its own."""
    tell(f"looks through every set of {len(candidates)} candidates")
    return choose(candidates, empty, loads, envelope, need, objective)
