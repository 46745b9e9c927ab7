"""Ctrl-C at any moment: the best so far or one sentence, the exit status the docs give, and no file left behind.

The program gets the signal at one of its own calls, counted in a run before: no clock is asked, so that a machine busy
with other work changes nothing. The moments before Python has begun to run the program are not its own.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from layup.files.systems import SAID, STOPPED

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a signal to one process alone")

PART = """title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["300 mm", "200 mm"]
[[ply]]
fabric = "carbon plain 200"
[[ply]]
fabric = "carbon plain 200"
angle = 45
[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.3 mm"
[needs]
hand_load = "20 N"
hand_deflection = "10 mm"
most_plies = 4
[shelf]
fabrics = ["carbon plain 200"]
"""
COMMANDS = {
    "choose": ["choose", "hatch.toml", "--write", "out.toml"],
    "predict": ["predict", "hatch.toml", "--picture", "out.png"],
    "cut": ["cut", "hatch.toml", "--seconds", "0.5", "--save"],
    "sheet": ["sheet", "hatch.toml"],
    "next": ["ledger", "next", "refit.toml"],
}
MOMENTS = int(os.environ.get("LAYUP_MOMENTS", "1"))
"""Drawn at random, beside the fixed ones. A full run takes 40 of each command."""
PRESSED = """
import os, signal, sys
from pathlib import Path
import layup.__main__ as start
counted, at = Path(sys.argv.pop(1)), int(sys.argv.pop(1))
calls = 0
def trace(frame, event, arg):
    global calls
    calls += 1
    if calls == at:
        os.kill(os.getpid(), signal.SIGINT)
def counting(program, run=start.run):
    def traced():
        sys.settrace(trace)
        try:
            program()
        finally:
            sys.settrace(None)
            counted.write_text(str(calls))
    run(traced)
start.run = counting
start.start()
"""
"""`python -m layup`, which presses Ctrl-C for itself at one of its calls and writes down how many there were."""


def ran(words: list[str], folder: Path, at: int) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", PRESSED, str(folder.parent / "calls"), str(at), *words],
        cwd=folder, text=True, capture_output=True, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("name", COMMANDS)
def test_stopped_at_any_moment(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "hatch.toml").write_text(PART)
    for path in (Path(__file__).parent.parent / "examples" / "motor-glider").iterdir():
        if path.is_file():
            shutil.copy(path, folder)
    candidates = (folder / "refit.toml").read_text().split("[[candidate]]")
    (folder / "refit.toml").write_text("[[candidate]]".join(candidates[:3]))  # each is a part to work out
    there = {path.name for path in folder.iterdir()}
    whole = ran(COMMANDS[name], folder, 0)
    assert whole.returncode == 0, whole.stderr
    calls = int((tmp_path / "calls").read_text())
    written = {path.name for path in folder.iterdir()}
    for new in written - there:
        (folder / new).unlink()
    stopped = 0
    for moment in [1, calls - 1, *(random.randint(1, calls) for _ in range(MOMENTS))]:
        ended = ran(COMMANDS[name], folder, moment)
        at = f"{name} stopped at call {moment} of {calls}: {ended.returncode} {ended.stderr[-400:]}"
        assert "Traceback" not in ended.stderr, at
        assert "Aborted" not in ended.stderr, at
        if ended.returncode == STOPPED:
            stopped += 1
            assert ended.stderr.count(SAID) == 1, at
        else:
            assert ended.returncode == 0, at
            assert len(ended.stdout) > 10, at
        left = {path.name for path in folder.iterdir()}
        assert left <= written, at
        for new in left - there:
            (folder / new).unlink()
    assert stopped, "no press arrived"


CLEARING_UP = """
import os, signal, sys
from layup.files import systems
class Left:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        abs(0)
def trace(frame, event, arg):
    if frame.f_code.co_name in {again!r}:
        os.kill(os.getpid(), signal.SIGINT)
def program():
    sys.settrace(trace)
    Left()
    for step in range(100):
        systems.asked_to_stop()
    print("went on")
systems.run(program)
"""
"""Ctrl-C while Python clears up, where it takes no exception; and pressed again at some functions of the program."""


@pytest.mark.parametrize("again", [(), ("_swallowed",), ("_press_again",), ("_swallowed", "_press_again", "_stop")])
def test_a_press_while_python_clears_up_is_not_lost(again: tuple[str, ...]) -> None:
    """It was pressed again by a timer, which went off in the hook on a busy machine: lost, with a trace."""
    ended = subprocess.run(
        [sys.executable, "-c", CLEARING_UP.format(again=again)], text=True, capture_output=True, check=False
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (STOPPED, "", SAID + "\n")


AGAIN = """
import os, signal, sys
from layup.files import systems
class Pressing:
    def __init__(self, stream): self.stream = stream
    def __getattr__(self, name): return getattr(self.stream, name)
    def write(self, text):
        os.kill(os.getpid(), signal.SIGINT)
        return self.stream.write(text)
sys.stderr = Pressing(sys.stderr)
def program():
    os.kill(os.getpid(), signal.SIGINT)
    abs(0)
systems.run(program)
"""


def test_pressed_again_while_it_says_that_it_stopped() -> None:
    ended = subprocess.run([sys.executable, "-c", AGAIN], text=True, capture_output=True, check=False)
    assert (ended.returncode, ended.stderr) == (STOPPED, SAID + "\n")
