"""The process that reads damaged files for `test_surface_fuzz.py`, one after another, under a limit of memory and time.

It is started as a program: first it reads the good files it is given, so that every library is loaded; then it takes
2 GB more address space at most, so that a reader that asks for more ends in a MemoryError. Each line of its input is a
file; each line of its output says how the file ended, how long it took, and the peak of its memory.
"""

from __future__ import annotations

import json
import math
import os
import resource
import signal
import sys
import time
import warnings
from pathlib import Path
from typing import Any

ROOM = 2_000_000_000  # bytes


class TooLong(BaseException):
    """Raised by the alarm; no reader catches it."""


def read(path: Path, words: dict[str, str]) -> str:
    """Read one file with the reader its kind has; how it ended."""
    from layup.errors import LayupError

    try:
        area = area_of(path, words)
    except LayupError as problem:
        said = str(problem)
        if path.name not in said:
            return f"fell: the error does not name the file: {said[:200]}"
        return f"said: {said[:300]}"
    return "read" if math.isfinite(area) and area > 0.0 else f"fell: an area of {area}"


def area_of(path: Path, words: dict[str, str]) -> float:
    kind = words["kind"]
    if kind == "stations":
        from layup.files.stations import from_widths, read_stations

        _, at, size = read_stations(path)
        return from_widths(at, size, name=str(path)).whole.area
    if kind == "part":
        from layup.partfile.read import read_part

        return read_part(path).surface.whole.area
    if kind == "photo":
        from layup.files.read_photo import read_photo

        return read_photo(path, bar="100 mm").surface().whole.area
    from layup.partfile.opened import look_at

    surface = look_at(path, unit=words.get("unit"), side=words.get("side"))
    assert len(surface.faces)
    return surface.whole.area


def peak(of: str) -> int:
    """A line of the process's own account of its memory. [bytes]"""
    text = Path("/proc/self/status").read_text()
    return int(text.split(f"{of}:")[1].split()[0]) * 1024


def alarm(*_: Any) -> None:
    raise TooLong


def main() -> None:
    """Warm up with the files named on the first line, then answer line by line."""
    warnings.simplefilter("ignore")
    signal.signal(signal.SIGALRM, alarm)
    seconds = int(sys.argv[1])
    first = json.loads(sys.stdin.readline())
    for path, words in first:
        ended = read(Path(path), words)
        if ended != "read":
            print(json.dumps({"ended": f"fell: the good file {path}: {ended}"}), flush=True)
            return
    from layup.files import read_step

    read_step.PATIENCE = float(seconds)
    read_step.MEMORY = ROOM
    size = peak("VmSize") + ROOM
    resource.setrlimit(resource.RLIMIT_AS, (size, size))
    print(json.dumps({"ended": "ready"}), flush=True)
    for line in sys.stdin:
        path, words = json.loads(line)
        Path("/proc/self/clear_refs").write_text("5")  # the peak starts afresh
        begin = time.perf_counter()
        signal.alarm(seconds)
        try:
            ended = read(Path(path), words)
        except TooLong:
            ended = f"fell: not done after {seconds} s"
        except BaseException as problem:
            import traceback

            place = traceback.extract_tb(problem.__traceback__)
            where = next((f for f in reversed(place) if "/layup/" in f.filename), place[-1])
            file = os.path.basename(where.filename)
            ended = f"fell: {type(problem).__name__}: {str(problem)[:200]} at {file}:{where.lineno}"
        finally:
            signal.alarm(0)
        child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
        took = time.perf_counter() - begin
        print(json.dumps({"ended": ended, "seconds": took, "bytes": max(peak("VmHWM"), child)}), flush=True)


if __name__ == "__main__":
    main()
