"""Work that takes long: it runs beside the page, says how far it is, and can be stopped with the best so far.

A work is a function of this package that is called in a process of its own with its arguments and `tell`. Stopping it
is the same as Ctrl-C at the terminal: what the function gives back then is the best so far.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from layup.errors import LayupError

MOST = 2
"""Works at a time; this machine has other things to do. [-]"""
KEPT = 12
"""Ended works whose answer is still there. [-]"""

Tell = Callable[[str], None]


@dataclass
class Work:
    """One work.

    Attributes:
        name: A word no other has, by which a page asks for it.
        about: What it is for, so that a page finds it again: (flow, file, version, ...).
        words: How far it is, as a person says it.
        state: "waiting", "running", "done", "failed".
        answer: What it gave, or the words of what went wrong.
        stopped: Whether it was told to stop.
    """

    name: str
    about: tuple[str, ...]
    words: str = "waits for another to end"
    state: str = "waiting"
    answer: Any = None
    stopped: bool = False
    begun: float = field(default_factory=time.monotonic)
    seconds: float = 0.0
    process: Any = field(default=None, repr=False)

    @property
    def ended(self) -> bool:
        """Whether there is an answer, or there won't be one."""
        return self.state in ("done", "failed")


class Works:
    """All works of this start of the page."""

    def __init__(self) -> None:
        self._works: dict[str, Work] = {}
        self._lock = threading.Lock()
        self._free = threading.Semaphore(MOST)
        self._context = multiprocessing.get_context("spawn")

    def start(self, about: tuple[str, ...], function: Callable[..., Any], *args: Any) -> Work:
        """Start a work, or give the one that is about the same thing and has not failed.

        Args:
            about: What it is for.
            function: Of a module; called as `function(*args, tell=...)`. It raises LayupError in plain words.
            args: What can be pickled.
        """
        with self._lock:
            for work in self._works.values():
                if work.about == about and work.state != "failed" and not work.stopped:
                    return work
            work = Work(uuid.uuid4().hex, about)
            self._works[work.name] = work
            ended = [w.name for w in self._works.values() if w.ended]
            for name in ended[:-KEPT]:
                del self._works[name]
        threading.Thread(target=self._run, args=(work, function, args), daemon=True).start()
        return work

    def get(self, name: str) -> Work | None:
        """A work by its name."""
        return self._works.get(name)

    def about(self, about: tuple[str, ...]) -> Work | None:
        """The newest work about something."""
        found = [work for work in list(self._works.values()) if work.about == about]
        return found[-1] if found else None

    def newest(self, *begins: str) -> Work | None:
        """The newest work whose `about` begins with these words, whatever follows them."""
        found = [work for work in list(self._works.values()) if work.about[: len(begins)] == begins]
        return found[-1] if found else None

    def stop(self, name: str) -> None:
        """Tell a work to end with what it has, as Ctrl-C does."""
        work = self.get(name)
        if work is None or work.ended:
            return
        work.stopped = True
        if work.process is not None and work.process.pid is not None:
            os.kill(work.process.pid, signal.SIGINT)

    def close(self) -> None:
        """End every work without its answer."""
        for work in list(self._works.values()):
            if work.process is not None and work.process.is_alive():
                work.process.kill()

    def _run(self, work: Work, function: Callable[..., Any], args: tuple[Any, ...]) -> None:
        with self._free:
            if work.stopped:
                work.state, work.answer = "failed", "Stopped before it began."
                return
            here, there = self._context.Pipe(duplex=False)
            work.process = self._context.Process(target=_in_its_process, args=(there, function, args), daemon=True)
            work.begun, work.state, work.words = time.monotonic(), "running", "begins"
            work.process.start()
            there.close()
            self._listen(work, here)
            work.seconds = time.monotonic() - work.begun
            work.process.join()

    def _listen(self, work: Work, pipe: Connection) -> None:
        while True:
            try:
                kind, said = pipe.recv()
            except EOFError:
                work.answer = "Stopped." if work.stopped else "It ended without an answer: perhaps the memory ran out."
                work.state = "failed"
                return
            if kind == "told":
                work.words = said
                continue
            work.answer = said
            work.state = kind
            return


def _in_its_process(pipe: Connection, function: Callable[..., Any], args: tuple[Any, ...]) -> None:
    """What runs in the other process."""
    last = 0.0

    def tell(words: str) -> None:
        nonlocal last
        if time.monotonic() - last > 0.1:
            last = time.monotonic()
            pipe.send(("told", words))

    try:
        answer = function(*args, tell=tell)
    except KeyboardInterrupt:
        pipe.send(("failed", "Stopped before there was anything to show."))
    except LayupError as error:
        pipe.send(("failed", str(error)))
    except MemoryError:
        pipe.send(("failed", "There is not enough memory for it on this machine."))
    else:
        pipe.send(("done", answer))
