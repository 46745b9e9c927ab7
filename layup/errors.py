"""What went wrong, said to a person in a shop.

Every error that `layup` raises on purpose is a `LayupError`. Errors about a file are faults: each has its file,
its line, what is wrong and what to write instead, and all faults of one file come together in one `FaultsError`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches


class LayupError(Exception):
    """Base of all errors meant for the reader; its text is a complete message."""


class RangeError(LayupError, ValueError):
    """A number outside the range in which a formula holds."""


class UnitError(LayupError, ValueError):
    """A quantity that cannot be read, has no unit, or has the wrong one."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with one file.

    Attributes:
        file: Name of the file as the user gave it.
        line: Line number from 1, or None where the fault has no line (a missing key, a mesh).
        place: What the fault is on, in the words of the file: `ply 2, fabric "carbon plane 200"`.
        wrong: What is wrong, a clause without a full stop at its end.
        remedy: What to write or do instead, a sentence; may be empty.
    """

    file: str
    line: int | None
    place: str
    wrong: str
    remedy: str = ""

    def __str__(self) -> str:
        head = f"line {self.line}: " if self.line is not None else ""
        place = f"{self.place}: " if self.place else ""
        tail = f". {self.remedy}" if self.remedy else "."
        return f"{head}{place}{self.wrong}{tail}"


class FaultsError(LayupError):
    """All faults of the files of one job, in the order of their lines."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        if not self.faults:
            raise ValueError("a FaultsError needs at least one fault")
        super().__init__(self._text())

    def _text(self) -> str:
        blocks = []
        for file in dict.fromkeys(fault.file for fault in self.faults):
            own = sorted((f for f in self.faults if f.file == file), key=lambda f: (f.line is None, f.line or 0))
            count = "1 fault" if len(own) == 1 else f"{len(own)} faults"
            blocks.append(f"{file}: {count}\n" + "\n".join(f"  {fault}" for fault in own))
        return "\n".join(blocks)


class SurfaceError(LayupError):
    """A surface that cannot be read or measured; `wrong` and `remedy` make the message."""

    def __init__(self, wrong: str, remedy: str = "") -> None:
        self.wrong = wrong
        self.remedy = remedy
        super().__init__(f"{wrong}. {remedy}" if remedy else f"{wrong}.")


def nearest(word: str, known: Iterable[str], count: int = 3) -> str:
    """The known names nearest to a mistyped one, as a phrase; empty if none is near.

    >>> nearest("carbon plane 200", ["carbon plain 200", "E-glass"])
    'Nearest: "carbon plain 200".'
    """
    names = list(known)
    wanted = " ".join(word.casefold().split())
    folded = {name.casefold(): name for name in names}
    begins = [name for name in names if wanted and name.casefold().startswith(wanted)]
    close = begins + [folded[c] for c in get_close_matches(wanted, folded, n=count, cutoff=0.5)]
    if not close:
        starts = [w[:3] for w in wanted.split() if len(w) > 2]
        close = [n for n in names if any(part.startswith(s) for part in n.casefold().split() for s in starts)]
    close = list(dict.fromkeys(close))[:count]
    return "Nearest: " + ", ".join(f'"{name}"' for name in close) + "." if close else ""
