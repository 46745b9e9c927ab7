"""Work that takes long: it runs beside the page, says how far it is, and can be stopped with the best so far.

A work is a function of this package that is called in a process of its own with its arguments and `tell`. Stopping it
is the same as Ctrl-C at the terminal: what the function gives back then is the best so far.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
import traceback
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from multiprocessing.synchronize import Event
from typing import Any

from layup.errors import LayupError
from layup.files.systems import listen_for_stop, press_stop

MOST = 2
"""Works at a time; this machine has other things to do. [-]"""
KEPT = 12
"""Ended works whose answer is still there. [-]"""
LAST = 1.5
"""When the page ends, a work has so long to end by itself. [s]"""
WAITING = 20
"""Works that may wait for another to end. [-]"""

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
    answer: Any = None  # what the function of the work gives
    stopped: bool = False
    begun: float = field(default_factory=time.monotonic)
    seconds: float = 0.0
    process: SpawnProcess | None = field(default=None, repr=False)
    listens: bool = field(default=False, repr=False)
    told: Event | None = field(default=None, repr=False)

    @property
    def ended(self) -> bool:
        """Whether there is an answer, or there won't be one."""
        return self.state in ("done", "failed")

    @property
    def lasted(self) -> float:
        """How long it took, or has taken so far. [s]"""
        return self.seconds if self.ended else time.monotonic() - self.begun


class Works:
    """All works of this start of the page."""

    def __init__(self, plain: Callable[[str], str] = str) -> None:
        """No work yet.

        Args:
            plain: What becomes of the words of one that failed, before a page shows them.
        """
        self._plain = plain
        self._works: dict[str, Work] = {}
        self._lock = threading.Lock()
        self._free = threading.Semaphore(MOST)
        self._context = multiprocessing.get_context("spawn")
        self._closed = False

    def start(self, about: tuple[str, ...], function: Callable[..., object], *args: object, **named: object) -> Work:
        """Start a work, or give the one that is about the same thing and has not failed.

        Args:
            about: What it is for.
            function: Of a module; called as `function(*args, **named, tell=...)`. It raises LayupError in plain words.
            args: What can be pickled.
            named: The same, by name.

        Raises:
            LayupError: Too many wait already.
        """
        with self._lock:
            for work in self._works.values():
                if work.about == about and work.state != "failed" and not work.stopped:
                    return work
            if sum(work.state == "waiting" for work in self._works.values()) >= WAITING:
                raise LayupError(f"{WAITING} works wait already for others to end. Stop one, or wait")
            work = Work(uuid.uuid4().hex, about)
            self._works[work.name] = work
            ended = [w.name for w in self._works.values() if w.ended]
            for name in ended[:-KEPT]:
                del self._works[name]
        threading.Thread(target=self._run, args=(work, partial(function, *args, **named)), daemon=True).start()
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
        with self._lock:
            work.stopped = True
            if work.state == "waiting":
                work.state, work.answer = "failed", "Stopped before it began."
            elif work.listens:
                _interrupt(work)

    def close(self) -> None:
        """End every work without its answer."""
        with self._lock:
            self._closed = True
            works = list(self._works.values())
            for work in works:
                work.stopped = True
                if work.process is not None and work.process.is_alive():
                    _interrupt(work)  # so that it can end the programs it began itself
        until = time.monotonic() + LAST
        for work in works:
            if work.process is not None:
                work.process.join(max(until - time.monotonic(), 0.0))
                work.process.kill()
                work.process.join(1.0)

    def _run(self, work: Work, function: Callable[..., object]) -> None:
        with self._free:
            here, there = self._context.Pipe(duplex=False)
            with here:
                with there, self._lock:
                    if work.ended or self._closed:
                        return
                    work.told = None if os.name == "posix" else self._context.Event()
                    process = self._context.Process(
                        target=_in_its_process, args=(there, work.told, function), daemon=True
                    )
                    work.begun, work.state, work.words = time.monotonic(), "running", "begins"
                    try:
                        _start(process)
                    except Exception as error:  # whatever the system or the arguments say: it must not run for ever
                        _end(work, "failed", f"It could not be begun ({type(error).__name__}).")
                        return
                    work.process = process
                self._listen(work, here)
            process.join(5.0)
            if process.is_alive():
                process.kill()
                process.join()

    def _listen(self, work: Work, pipe: Connection) -> None:
        while True:
            try:
                kind, said = pipe.recv()
            except (EOFError, OSError):
                lost = "Stopped." if work.stopped else "It ended without an answer: perhaps the memory ran out."
                with self._lock:
                    _end(work, "failed", lost)
                return
            except Exception as error:  # an answer that can't be taken apart: whatever its class raises
                with self._lock:
                    _end(work, "failed", f"Its answer could not be read ({type(error).__name__}).")
                return
            with self._lock:
                if kind == "listens":
                    work.listens = True
                    if work.stopped:
                        _interrupt(work)
                elif kind == "told":
                    work.words = said
                else:
                    _end(work, kind, self._plain(said) if kind == "failed" else said)
                    return


def _start(process: SpawnProcess) -> None:
    """Begin it with Ctrl-C held back until it listens: before that it would only make a mess of the terminal."""
    if not hasattr(signal, "pthread_sigmask"):
        process.start()
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        process.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end(work: Work, state: str, answer: object) -> None:
    """The answer first: who sees that it is done finds it."""
    work.seconds = time.monotonic() - work.begun
    work.answer = answer
    work.state = state


def _interrupt(work: Work) -> None:
    if work.process is not None and work.process.pid is not None:
        press_stop(work.process.pid, work.told)


def _in_its_process(pipe: Connection, told: Event | None, function: Callable[..., object]) -> None:
    """What runs in the other process."""
    listen_for_stop(told)
    threading.Thread(target=_end_with_the_page, daemon=True).start()
    last = 0.0

    def tell(words: str) -> None:
        nonlocal last
        if time.monotonic() - last > 0.1:
            last = time.monotonic()
            pipe.send(("told", words[:400]))

    try:
        if hasattr(signal, "pthread_sigmask"):
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
        pipe.send(("listens", ""))
        answer = function(tell=tell)
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # it has ended: a late stop must not cut the answer in two
        pipe.send(("done", answer))
    except KeyboardInterrupt:
        pipe.send(("failed", "Stopped before there was anything to show."))
    except LayupError as error:
        pipe.send(("failed", str(error)))
    except MemoryError:
        pipe.send(("failed", "There is not enough memory for it on this machine."))
    except BrokenPipeError:
        return  # the page has ended
    except Exception as error:  # a fault of the program itself: said on the page, with its place at the terminal
        last_step = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{os.path.basename(last_step.filename)}, line {last_step.lineno}"
        print(f"A fault of a work of the bench page: {type(error).__name__}: {error} ({where})", file=sys.stderr)
        pipe.send(("failed", f"Something is wrong in the program itself ({type(error).__name__} in {where})."))


def _end_with_the_page() -> None:
    """A page that was killed can't end its works: each sees to it by itself."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(LAST)
        os._exit(1)
