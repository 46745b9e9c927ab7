"""How far a long job is, told in words and as a share; whoever draws it is no concern of a surface.

read_surface("door.stl", unit="mm", told=lambda words, share: print(f"{words}: {share:.0%}"))
"""

from __future__ import annotations

from collections.abc import Callable

Told = Callable[[str, float], None]
"""Called with what is being done and the share that is done, 0 to 1; 0 too where nobody knows how much is left."""


def nobody(words: str, share: float) -> None:
    """Where nobody wants to know."""


def stretch(told: Told, first: float, last: float) -> Told:
    """A listener for a part of a job, whose 0 to 1 is `first` to `last` of the whole. [-]"""
    return lambda words, share: told(words, first + (last - first) * share)
