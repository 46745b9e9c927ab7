"""A line that moves while a search runs longer than a second; nothing where the screen is not a terminal."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any


class Waiting:
    """Shows what is being done, how many stacks were looked at, and the areal weight reached."""

    def __init__(self, patience: float = 1.0) -> None:
        self.patience = patience
        self.begin = time.perf_counter()
        self.bar: Any = None
        self.task: Any = None
        self.lightest: float | None = None

    def tell(self, what: str, looked: int, weight: float) -> None:
        """Take note of how far the search is."""
        if time.perf_counter() - self.begin < self.patience or not sys.stderr.isatty():
            return
        if self.bar is None:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

            self.bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(bar_width=24),
                TextColumn("{task.fields[reached]}"),
                TimeElapsedColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self.bar.start()
            self.task = self.bar.add_task(what, total=None, reached="")
        reached = f"{weight * 1e3:.0f} g/m² reached" if 0 < weight < 1e6 else ""
        if looked:
            reached += f", {looked:,} looked at"
        self.bar.update(self.task, description=what, reached=reached.lstrip(", "))

    def __enter__(self) -> Waiting:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.bar is not None:
            self.bar.stop()
