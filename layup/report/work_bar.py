"""A bar on the terminal while work takes longer than a second; nothing where nobody looks.

    with WorkBar(shown=not as_json) as bar:
        surface = look_at(file, told=bar.told)

It appears by itself, also in a step of the work that tells nothing for seconds, and is gone when the work is done. It
is drawn on standard error, and only where that is a terminal. Ctrl-C takes it away first.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID


class WorkBar:
    """Draws how far a job is, once it has taken longer than `patience`.

    Attributes:
        drawn: Whether it was ever on the screen.
    """

    def __init__(
        self, *, shown: bool = True, patience: float = 1.0, timer: Callable[..., threading.Timer] | None = None
    ) -> None:
        """`timer` starts a function later, as `threading.Timer` does; tests give one that they run themselves."""
        self.shown = shown and sys.stderr.isatty()
        self.patience = patience
        self.drawn = False
        self._timer = (timer or threading.Timer)(patience, self._draw)
        self._lock = threading.Lock()
        self._bar: Progress | None = None
        self._task: TaskID
        self._over = False
        self._now = ("reading", 0.0)

    def told(self, words: str, share: float) -> None:
        """Take note of how far the work is.

        Args:
            words: What is being done.
            share: Of the work that is done, 0 to 1; 0 too where nobody knows. [-]
        """
        with self._lock:
            self._now = (words, min(max(share, 0.0), 1.0))
            if self._bar is not None:
                words, total, done = self._state()
                self._bar.update(self._task, description=words, total=total, completed=done)

    def _state(self) -> tuple[str, float | None, float]:
        """What the bar shows: words, the whole and what is done of it; without a whole it runs to and fro."""
        words, share = self._now
        return words, 1.0 if share else None, share

    def _draw(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

        with self._lock:
            if self._over or self._bar is not None:
                return
            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(bar_width=32),
                TaskProgressColumn(),
                TimeElapsedColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self._bar.start()
            words, total, done = self._state()
            self._task = self._bar.add_task(words, total=total)
            self._bar.update(self._task, completed=done)
            self.drawn = True

    def __enter__(self) -> WorkBar:
        if self.shown:
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._bar is not None:
                self._bar.stop()
                self._bar = None
