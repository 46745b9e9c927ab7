"""Where operating systems differ: how work is stopped, how a file is held, how long and how large a child may become.

- The program is asked to stop (Ctrl-C):       `run(main)`, `asked_to_stop()`, `STOPPED`
- One program at a time:                       `lock(handle)`, `unlock(handle)`
- A reader is bounded in time:                `within(seconds, say)`
- Two files change names:                     `exchange(one, two)`
- A child process: `press_stop`, `listen_for_stop`, `bound(seconds, size)`, `end_with_parent()`

Nothing else in `layup` imports `fcntl`, `msvcrt` or `resource`, so that this is the one page to read when a system
lacks one of them; the tests take them away one by one.
"""

from __future__ import annotations

import _thread
import codecs
import io
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType, ModuleType
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from multiprocessing.synchronize import Event

STOPPED = 130
"""Exit status of a command stopped before it had an answer: 128 and the number of the signal, as in a shell."""

_asked = False


def asked_to_stop() -> bool:
    """Whether Ctrl-C was pressed; true as well where a library made another error of it."""
    return _asked


def _stop(number: int, frame: FrameType | None) -> None:
    """Raise KeyboardInterrupt, but only where something catches it: inside the program that `run` runs.

    No lock and no thread in here: it may interrupt itself.
    """
    global _asked
    _asked = True
    while frame is not None:
        if frame.f_code is _swallowed.__code__:
            _press_again()
            return
        if frame.f_code is _program.__code__:
            raise KeyboardInterrupt
        frame = frame.f_back


def _swallowed(what: sys.UnraisableHookArgs) -> None:
    """Ctrl-C while Python was clearing up behind the program's back is not lost: it is pressed again."""
    if what.exc_type is KeyboardInterrupt:
        _press_again()
        return
    sys.__unraisablehook__(what)


def _press_again() -> None:
    """Press Ctrl-C at the next step of the program that is not part of `_swallowed`.

    What is raised in the hook is printed by Python and lost, and a timer may go off while the hook still runs. The
    profiler's function is called at the next call or return, on every system, and what it raises goes on from there.
    """

    def step(frame: FrameType, event: str, arg: object) -> None:
        if frame.f_code not in (_press_again.__code__, _swallowed.__code__, _stop.__code__):
            sys.setprofile(None)
            signal.raise_signal(signal.SIGINT)  # to who listens for it now, as the key would be

    sys.setprofile(step)


def _program(main: Callable[[], object]) -> None:
    """The part of `run` in which Ctrl-C raises; before and behind it, it is only noted."""
    if _asked:
        raise KeyboardInterrupt
    main()


def _escaped(error: UnicodeError) -> tuple[str, int]:
    r"""A letter that the terminal's encoding lacks, as JSON and Python write it: \u6f22."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    pairs = (int.from_bytes(units[k : k + 2], "big") for k in range(0, len(units), 2))
    return "".join(f"\\u{unit:04x}" for unit in pairs), error.end


def run(main: Callable[[], object]) -> NoReturn:
    """Run the program, so that Ctrl-C ends it with a sentence at any moment, and never with a traceback.

    Args:
        main: The program; it is left by SystemExit or by returning.
    """
    codecs.register_error("escaped", _escaped)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and codecs.lookup(stream.encoding).name != "utf-8":
            stream.reconfigure(errors="escaped")
    with suppress(ValueError):  # not in the main thread: then nobody presses a key for it
        signal.signal(signal.SIGINT, _stop)
    sys.unraisablehook = _swallowed
    status: object = 0
    try:
        _program(main)
    except SystemExit as left:
        status = left.code
    except BaseException as error:  # a library turns Ctrl-C into whatever error it has
        if not isinstance(error, KeyboardInterrupt) and not _asked:
            raise
        status = STOPPED
        with suppress(OSError):
            sys.stderr.write(SAID + "\n")
    finally:
        with suppress(ValueError):
            signal.signal(signal.SIGINT, signal.SIG_IGN)  # all is said: only clearing up is left
    if _asked and status == STOPPED:  # Python may have noted Ctrl-C for itself and would end another way
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError, ValueError):
                stream.flush()
        os._exit(STOPPED)
    sys.exit(status)  # type: ignore[arg-type]  # what SystemExit carried


SAID = "Stopped before there was an answer. No file was left half written."


def _module(name: str) -> ModuleType | None:
    """A part of Python that not every system has."""
    from importlib import import_module

    try:
        return import_module(name)
    except ImportError:
        return None


def lock(handle: int) -> bool:
    """Hold an open file alone; False where another program holds it.

    Raises:
        OSError: This disk knows no locks.
    """
    fcntl = _module("fcntl")
    if fcntl is not None:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
    msvcrt = _module("msvcrt")
    if msvcrt is None:
        raise OSError(38, "this system knows no locks")  # ENOSYS
    try:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    except PermissionError:
        return False
    return True


def unlock(handle: int) -> None:
    """Let go of it."""
    fcntl, msvcrt = _module("fcntl"), _module("msvcrt")
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_UN)
    elif msvcrt is not None:
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)


def press_stop(number: int, told: Event | None) -> None:
    """Press Ctrl-C for a child process, so that it ends with what it has.

    Args:
        number: Of the process.
        told: An event that the child listens for (`listen_for_stop`): Windows has no signal for one process alone, and
            would end it on the spot.
    """
    if os.name == "posix":
        with suppress(ProcessLookupError):
            os.kill(number, signal.SIGINT)
    elif told is not None:
        told.set()


def listen_for_stop(told: Event | None) -> None:
    """In a child process: take an event for Ctrl-C, where the system can't send the signal."""
    if os.name == "posix" or told is None:
        return

    def listen() -> None:
        told.wait()
        _thread.interrupt_main()

    threading.Thread(target=listen, daemon=True).start()


@contextmanager
def within(seconds: float, say: Callable[[], Exception]) -> Iterator[None]:
    """End a block that takes more time of the processor; one inside another adds nothing.

    It holds in the main thread of a system that has the signal; elsewhere (the bench page's threads, Windows) the block
    is not bounded.

    Args:
        seconds: Of the processor, in all threads. [s]
        say: Makes the error.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return
    if signal.getitimer(signal.ITIMER_PROF)[0] > 0.0:
        yield
        return

    def over(number: int, frame: FrameType | None) -> NoReturn:
        raise say()

    before = signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, seconds, 1.0)  # again each second, where a library makes nothing of it
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def exchange(one: Path, two: Path) -> bool:
    """Let two files change names in one step, so that whatever was there a moment ago is still to be looked at.

    Returns:
        Whether it was done; the system (Windows) or the disk (FAT) may know no such step, and nothing was changed then.
    """
    import ctypes

    names = os.fsencode(one), os.fsencode(two)
    try:
        library = ctypes.CDLL(None)
        if sys.platform == "linux":  # renameat2(2), RENAME_EXCHANGE; from the folder we are in
            return bool(library.renameat2(-100, names[0], -100, names[1], ctypes.c_uint(2)) == 0)
        if sys.platform == "darwin":  # renamex_np(2), RENAME_SWAP
            return bool(library.renamex_np(*names, ctypes.c_uint(2)) == 0)
    except (OSError, AttributeError, TypeError):  # an older C library; no library of that kind at all
        pass
    return False


def end_with_parent() -> None:
    """In a child process whose input is a pipe from its parent: end when the parent does, also where that is killed.

    The pipe is the way on every system; a library that holds Python still for minutes would not let the thread see it,
    and there Linux ends the process by itself.
    """
    if sys.platform == "linux":
        import ctypes

        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG, prctl(2)

    def wait() -> None:
        sys.stdin.read()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def bound(seconds: float, size: int) -> None:
    """In a child process that reads a file: end it after so much time of the processor, and refuse it more memory.

    Args:
        seconds: Of the processor. [s]
        size: Address space. [bytes]
    """
    resource = _module("resource")
    if resource is None:  # Windows: the time on the clock that the parent waits is the only bound there
        return
    for limit, value in ((resource.RLIMIT_CPU, int(seconds) + 1), (resource.RLIMIT_AS, size)):
        with suppress(ValueError, OSError):
            resource.setrlimit(limit, (value, value))


def few_arenas() -> None:
    """Have all threads take memory from the same two heaps, where the C library (glibc) would give each its own."""
    _glibc("mallopt", -8, 2)


def give_back() -> None:
    """Give memory that is free again back to the system, where the C library (glibc) keeps it for later."""
    _glibc("malloc_trim", 0)


def _glibc(name: str, *numbers: int) -> None:
    """Call a function of glibc; nothing where the system has another C library."""
    import ctypes

    if sys.platform == "linux":
        function = getattr(ctypes.CDLL(None), name, None)
        if function is not None:
            function(*numbers)
