"""What went wrong, said to a person in a shop.

Every error that `layup` raises on purpose is a `LayupError` of this page. Errors about a file are faults: each has its
file, its line, what is wrong and what to write instead, and all faults of one file come together in one `FaultsError`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any


class LayupError(Exception):
    """Base of all errors meant for the reader; its text is a complete message."""


class RangeError(LayupError, ValueError):
    """A number outside the range in which a formula holds."""


class UnitError(LayupError, ValueError):
    """A quantity that cannot be read, has no unit, or has the wrong one."""


class StackError(LayupError, ValueError):
    """A stack that cannot be read; the message has the position from 1 and what to write instead."""

    def __init__(self, text: str, at: int, wrong: str, remedy: str) -> None:
        self.at = at
        shown = text if len(text) <= 80 else text[:77] + "..."
        super().__init__(f'stack "{shown}", position {at}: {wrong}. {remedy}')


class MissingFigureError(LayupError):
    """A figure that the computation needs and that no table gives."""


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


class RemedyError(LayupError):
    """What is wrong, a clause, and what to do about it, a sentence without its full stop or with it."""

    def __init__(self, wrong: str, remedy: str = "") -> None:
        self.wrong = wrong
        self.remedy = remedy
        super().__init__(f"{wrong}. {remedy}" if remedy else f"{wrong}.")


class SurfaceError(RemedyError):
    """A surface that cannot be read or measured."""


class HoleError(SurfaceError):
    """A pattern of holes that can't be; `key` says where it stands."""

    def __init__(self, key: str, wrong: str, remedy: str = "") -> None:
        super().__init__(wrong, remedy)
        self.key = key


class WrongSizeError(SurfaceError):
    """A flat pattern that is not the cloth's size."""


class PatternError(LayupError):
    """Plies without a pattern worth cutting by.

    Attributes:
        refused: Why, a sentence by the number of the ply that has none, the first of its line, from 1.
        made: The patterns of all other plies, `layup.cloth.pattern.FlatPly`.
    """

    def __init__(self, refused: dict[int, str], made: tuple[Any, ...]) -> None:
        self.refused = refused
        self.made = made
        super().__init__("\n".join(dict.fromkeys(refused.values())))


class VacuumError(RemedyError):
    """A vacuum that the air outside, or the process, cannot give."""


class NestError(RemedyError):
    """Pieces that cannot be nested."""


class TooWideError(NestError):
    """A piece that is wider than the usable roll; `piece` is its index."""

    def __init__(self, piece: int, wrong: str, remedy: str) -> None:
        self.piece = piece
        super().__init__(wrong, remedy)


class TooFastError(LayupError):
    """A resin that goes off before the smallest sensible batch can be used up."""


class EditError(LayupError):
    """A part file is written in a way the page does not change; an editor does."""


class OutsideError(LayupError):
    """A name that leads out of the shop's folder."""


class StaleError(LayupError):
    """A file is not any more what the page showed when the edit was made."""


class ChangedError(LayupError):
    """A file does not hold any more what was read from it; it was not written over."""


class StoreError(LayupError):
    """The record can't be read or written; the text says what was and what was not kept.

    Attributes:
        unwritable: Whether it is the folder that can't be written to; the record may still be read.
    """

    unwritable = False


class DamageError(StoreError):
    """The record's file is damaged. It has not been touched."""

    def __init__(self, path: Path, findings: Sequence[str]) -> None:
        self.path = path
        self.findings = tuple(findings)
        told = "; ".join(findings[:3])
        super().__init__(
            f"{path.name} is damaged: {told}. Nothing has been changed. "
            "`layup shop recover` keeps the damaged file under another name and saves every entry that is whole."
        )


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
