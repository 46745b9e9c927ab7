"""The search for a layup, run in a process of its own: what it is asked, and what comes back to the page.

Stopped, it gives the best so far, as Ctrl-C at the terminal does; the part is taken as it stood when the search began.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from layup.choosing.layups import Layup
    from layup.choosing.present import Standing
    from layup.choosing.steps import Step
    from layup.laminate.process import Habits
    from layup.sources import Citation
    from layup.words import System

UNSTOPPABLE = ("cutting the panel into its zones", "stopped")
"""What is said where the search can't end with what it has; it says more soon."""


@dataclass(frozen=True)
class Point:
    """One layup that passes.

    Attributes:
        letter: By which the page calls it; the lighter, the earlier.
        layup: It.
        times: As stiff as the lightest. [-]
        kept: Whether nothing else beats it in weight, cost and stiffness together.
        lightest: Whether it is the answer.
    """

    letter: str
    layup: Layup
    times: float
    kept: bool
    lightest: bool


@dataclass(frozen=True)
class Answer:
    """A choice as the page shows it.

    Attributes:
        points: All that passes, the lightest first; empty where nothing does.
        nearest: Where nothing passes, the one nearest to it.
        now: The part as it stands; None where it has no plies.
        now_times: As stiff as the lightest; None where that is not known. [-]
        lead: What the lightest is: proven, or the best so far.
        proof: How that is known; where nothing passes, that nothing does.
        steps: What one ply more or less buys, the lightest first.
        by_panel: Whether stiffness is a deflection.
        blocked: Checks that could not be made.
        notes: What was assumed.
        cautions: What a reader must know.
        citations: Every figure, with its source.
        system: Units of the part file.
        proven: Whether the search ran to its end, also where nothing passes.
        asked: What was asked of the part, in a sentence; "" where nothing was.
        conditions: For what heat, water and knocks the strengths are; "" where no load is asked.
        left_out: What was not tried, for want of a figure.
        saved: What each point saves against what comes off, by its letter.
        machine: The same as `layup choose --json`.
    """

    points: tuple[Point, ...]
    nearest: Layup | None
    now: Standing | None
    now_times: float | None
    lead: str
    proof: str
    steps: tuple[Step, ...]
    by_panel: bool
    blocked: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    citations: tuple[Citation, ...]
    system: System
    proven: bool
    asked: str
    conditions: str
    left_out: tuple[str, ...]
    saved: dict[str, str]
    machine: dict[str, object]

    @property
    def sure(self) -> bool:
        """Whether the search for the lightest ran to its end."""
        return bool(self.machine["searched_to_the_end"])

    def point(self, letter: str) -> Point | None:
        """A point by its letter."""
        return next((p for p in self.points if p.letter == letter), None)


def search(name: str, text: str, home: str, habits: Habits, tell: Callable[[str], None]) -> Answer:
    """Search for the part's layup.

    Args:
        name: Of the part file, for what is said about it.
        text: What stood in it when the search began.
        home: Folder that the files it names lie in.
        habits: What the shop's scale has taught; empty for published figures alone.
        tell: Told how far the search is.

    Returns:
        The answer; where the search was stopped, the best so far.

    Raises:
        LayupError: The part file has faults, a figure is missing, or nothing can be tried.
        KeyboardInterrupt: Stopped before there was anything to show.
    """
    import tempfile

    from layup.choosing.choice import choose
    from layup.partfile.read import read_part

    tell("reading the part")
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / name
        copy.write_bytes(text.encode())
        job = read_part(copy, home)
    with _held() as stopped:
        from layup.choosing.words import progress_words

        def told(what: str, looked: int, weight: float) -> None:
            tell(progress_words(what, looked, weight, job.part.units))
            if stopped.is_set() and what not in UNSTOPPABLE:
                raise KeyboardInterrupt  # where the search itself ends with what it has

        choice = choose(job, tell=told, habits=habits)
        tell("checking the part as it stands")
        return answer_of(choice)


def answer_of(choice: Any) -> Answer:
    """A choice as the page shows it; everything in it can go from one process to another."""
    from layup.choosing.as_json import as_json
    from layup.choosing.layups import times_as_stiff
    from layup.choosing.present import standing
    from layup.choosing.words import asked_words, lead_words, none_words, proof_words, saving_words

    best, checker = choice.best, choice.searches.checker
    passing = sorted([best, *choice.others] if best else [], key=lambda y: (y.mass.mean, y is not best))
    front = {id(y) for y in choice.front}
    points = tuple(
        Point(letter_of(n), y, times_as_stiff(checker, y.stiffness, best.stiffness), id(y) in front, y is best)
        for n, y in enumerate(passing)
    )
    now = standing(choice)
    times = None
    if best is not None and now is not None and now.layup is not None:
        times = times_as_stiff(checker, now.layup.stiffness, best.stiffness)
    return Answer(
        points=points,
        nearest=choice.nearest,
        now=now,
        now_times=times,
        lead=lead_words(choice),
        proof=proof_words(choice) if best else none_words(choice),
        steps=tuple(sorted(choice.steps, key=lambda s: s.mass)),
        by_panel=choice.by_panel,
        blocked=choice.blocked,
        notes=choice.notes,
        cautions=choice.cautions,
        citations=choice.citations,
        system=choice.job.part.units,
        proven=choice.searches.ended,
        asked=asked_words(choice, choice.job.part.units),
        conditions=choice.conditions,
        left_out=choice.left_out,
        saved={p.letter: saving_words(choice, p.layup, choice.job.part.units) for p in points},
        machine=as_json(choice),
    )


def letter_of(number: int) -> str:
    """A, B, ..., Z, A2, B2, ...

    >>> [letter_of(n) for n in (0, 25, 26)]
    ['A', 'Z', 'A2']
    """
    rounds, at = divmod(number, 26)
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[at] + (str(rounds + 1) if rounds else "")


@contextmanager
def _held() -> Iterator[threading.Event]:
    """Ctrl-C is noted instead of raised, so that it ends the search only where that can say what it has."""
    noted = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield noted
        return
    before = signal.signal(signal.SIGINT, lambda number, frame: noted.set())
    try:
        yield noted
    finally:
        signal.signal(signal.SIGINT, before)
