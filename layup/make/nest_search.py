"""The search for a short layout, in a process of its own.

`search` starts this module as a program, hands it outlines and reads the layouts it finds, the shorter ones later. The
library behind it stops the whole program on an outline it cannot digest, and overruns the time it is given: in a
process of its own neither matters. If it cannot be started or finds nothing, nothing is yielded.

Run as a program it reads one line of JSON (`height`, `seconds`, `seed`, `items`: id, outline, angles, in millimetres)
and writes one line for each layout found: `width` and `placed`, a list of [id, angle, x, y]. It ends when its input
does: the other end of that pipe closes with the process that holds it, however that one ends, on every system. And it
ends by itself soon after its time.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.make.pieces import Piece, Placed, Roll

GRACE = 0.15
"""How long after its time the search may still hand over its last layout. [s]"""
MOST_POINTS = 60
"""An outline with more points is drawn with fewer, on the outside."""
SEED = 1
BOUND = 10.0
"""How long after its time the program ends itself, whatever the library is at. [s]"""


def search(
    pieces: tuple[Piece, ...], flips: list[bool], roll: Roll, gap: float, deadline: float
) -> Iterator[tuple[Placed, ...]]:
    """Layouts as they are found, until the deadline.

    Args:
        pieces: What to place.
        flips: Which of them lie face down.
        roll: Where; nothing on it is blocked.
        gap: [m]
        deadline: On the monotonic clock. [s]

    Yields:
        Layouts, unchecked.
    """
    seconds = math.ceil(deadline - time.monotonic() - 0.15)
    if seconds < 1:
        return
    outlines = [_grown(piece.shape, flip, gap) for piece, flip in zip(pieces, flips, strict=True)]
    task = {
        "height": (roll.usable + gap) * 1e3,
        "seconds": seconds,
        "seed": SEED,
        "items": [
            [str(i), [[x * 1e3, y * 1e3] for x, y in outline], [0.0, 180.0] if piece.turns else [0.0]]
            for i, (piece, outline) in enumerate(zip(pieces, outlines, strict=True))
        ],
    }
    try:
        program = subprocess.Popen(
            [sys.executable, "-P", __file__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # a Ctrl-C at the keyboard reaches us, and we stop it
        )
    except OSError:
        return
    try:
        for line in _lines(program, json.dumps(task), deadline + GRACE):
            placed = _read(line, pieces, flips, roll, gap)
            if placed is not None:
                yield placed
    finally:
        program.kill()
        program.wait()


def _lines(program: subprocess.Popen[str], task: str, end: float) -> Iterator[str]:
    """Lines of its output until it ends or its time is up."""
    assert program.stdin is not None
    assert program.stdout is not None
    lines: queue.Queue[str | None] = queue.Queue()
    output, given = program.stdout, program.stdin

    def read() -> None:
        for line in output:
            lines.put(line)
        lines.put(None)

    def write() -> None:
        with contextlib.suppress(OSError, ValueError):  # it ended first
            given.write(task + "\n")
            given.flush()  # and stays open: its end is the sign to stop

    threading.Thread(target=read, daemon=True).start()
    threading.Thread(target=write, daemon=True).start()  # one that does not read must not hold us up
    while (left := end - time.monotonic()) > 0:
        try:
            line = lines.get(timeout=min(left, 0.25))
        except queue.Empty:
            continue
        if line is None:
            return
        yield line


def _grown(shape: Polygon, flip: bool, gap: float) -> list[tuple[float, float]]:
    """The outline grown by half the gap, with few points, nothing of it cut away."""
    from shapely import affinity

    if flip:
        shape = affinity.scale(shape, 1.0, -1.0, origin=(0.0, 0.0))
    grown = shape.buffer(gap / 2, join_style="mitre", mitre_limit=2.0)
    step = 2e-4
    while len(grown.exterior.coords) > MOST_POINTS and step < 4e-3:
        grown = shape.buffer(gap / 2 + step, join_style="mitre", mitre_limit=2.0).simplify(step)
        step *= 2
    return [(float(x), float(y)) for x, y in grown.exterior.coords[:-1]]


def _read(line: str, pieces: tuple[Piece, ...], flips: list[bool], roll: Roll, gap: float) -> tuple[Placed, ...] | None:
    """One line as a layout on the roll; None where it is not one."""
    from layup.make.pieces import SLACK, Placed, lay

    try:
        rows = json.loads(line)["placed"]
        found = {int(r[0]): (round(float(r[1])) % 360, float(r[2]) / 1e3, float(r[3]) / 1e3) for r in rows}
    except (ValueError, KeyError, TypeError, IndexError):
        return None
    if sorted(found) != list(range(len(pieces))):
        return None
    placed = []
    low, high = roll.edge, roll.width - roll.edge
    for index, (angle, x, y) in sorted(found.items()):
        if angle not in (0, 180):
            return None
        place = Placed(index, x - gap / 2, y + roll.edge - gap / 2, angle == 180, flips[index])
        x0, y0, _, y1 = lay(pieces[index].shape, place).bounds
        # its rounding may put a piece off the edge by less than the slack in the gap: push it back
        nudge_x = -x0 if -SLACK < x0 < 0 else 0.0
        nudge_y = low - y0 if low - SLACK < y0 < low else high - y1 if high < y1 < high + SLACK else 0.0
        placed.append(Placed(index, place.x + nudge_x, place.y + nudge_y, place.turned, place.flipped))
    return tuple(placed)


def _main() -> None:
    task = json.loads(sys.stdin.readline())
    threading.Thread(target=_until_the_parent_ends, daemon=True).start()
    bound = threading.Timer(task["seconds"] + BOUND, os._exit, (1,))
    bound.daemon = True
    bound.start()
    import spyrrow

    items = [spyrrow.Item(name, [tuple(p) for p in shape], 1, angles) for name, shape, angles in task["items"]]
    instance = spyrrow.StripPackingInstance("", task["height"], items)
    # a fifth of the time, a second at least, goes into pressing the best layout together
    last = max(1, round(task["seconds"] / 5)) if task["seconds"] > 1 else 0
    times = (
        {"total_computation_time": 1}
        if not last
        else {
            "total_computation_time": None,
            "exploration_time": task["seconds"] - last,
            "compression_time": last,
        }
    )
    config = spyrrow.StripPackingConfig(early_termination=False, seed=task["seed"], **times)
    progress = spyrrow.ProgressQueue()
    ended = threading.Event()

    def solve() -> None:
        try:
            _write(instance.solve(config, progress))
        finally:
            ended.set()

    threading.Thread(target=solve, daemon=True).start()
    shortest = float("inf")
    done = False
    while not done:
        done = ended.wait(0.1)
        found = [s for kind, s in progress.drain() if kind in (0, 3, 4) and s.width < shortest]
        if found:
            best = min(found, key=lambda s: s.width)
            shortest = best.width
            _write(best)


def _until_the_parent_ends() -> None:
    sys.stdin.read()
    os._exit(1)


_writing = threading.Lock()


def _write(solution: Any) -> None:
    placed = [[p.id, p.rotation, *p.translation] for p in solution.placed_items]
    with _writing:
        print(json.dumps({"width": solution.width, "placed": placed}), flush=True)


if __name__ == "__main__":
    _main()
