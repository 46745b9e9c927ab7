"""Ctrl-C at any moment: the best so far or one sentence, the exit status the docs give, and no file left behind.

The program is started as it is from a terminal, and gets the signal after a time drawn at random from its own length.
The moments before Python has begun to run the program are not its own, and are left out.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from layup.files.systems import SAID, STOPPED

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a signal to one process alone")

PART = """title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
[[ply]]
fabric = "carbon plain 200"
angle = 45
[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.8 mm"
[needs]
hand_load = "200 N"
hand_deflection = "6 mm"
[shelf]
fabrics = ["carbon plain 200", "carbon plain 160", "glass plain 200"]
cores = [{ core = "PVC foam 60", thickness = "5 mm" }]
"""
BEGUN = 0.25
"""Share of a run in which Python may still be starting. [-]"""


def began(words: list[str], folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "layup", *words], cwd=folder, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


COMMANDS = {
    "choose": ["choose", "hatch.toml", "--write", "out.toml"],
    "predict": ["predict", "hatch.toml", "--picture", "out.png"],
    "cut": ["cut", "hatch.toml", "--seconds", "2", "--save"],
    "sheet": ["sheet", "hatch.toml"],
    "next": ["ledger", "next", "refit.toml"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_stopped_at_any_moment(tmp_path: Path, name: str) -> None:
    (tmp_path / "hatch.toml").write_text(PART)
    for path in (Path(__file__).parent.parent / "examples" / "motor-glider").iterdir():
        if path.is_file():
            shutil.copy(path, tmp_path)
    there = {path.name for path in tmp_path.iterdir()}
    begin = time.monotonic()
    whole = began(COMMANDS[name], tmp_path)
    out, said = whole.communicate(timeout=300)
    long = time.monotonic() - begin
    assert whole.returncode == 0, said
    written = {path.name for path in tmp_path.iterdir()}
    for path in written - there:
        (tmp_path / path).unlink()
    dice = random.Random()
    for moment in [dice.uniform(BEGUN, 1.0) * long for _ in range(MOMENTS)]:
        program = began(COMMANDS[name], tmp_path)
        time.sleep(moment)
        program.send_signal(signal.SIGINT)
        out, said = program.communicate(timeout=300)
        at = f"{name} stopped after {moment:.2f} s of {long:.2f} s: {program.returncode} {said[-400:]}"
        assert "Traceback" not in said, at
        assert "Aborted" not in said, at
        if program.returncode == STOPPED:
            assert SAID in said, at
        else:
            assert program.returncode == 0, at
            assert len(out) > 10, at
        left = {path.name for path in tmp_path.iterdir()}
        assert left <= written, at
        for path in left - there:
            (tmp_path / path).unlink()


MOMENTS = int(os.environ.get("LAYUP_MOMENTS", "2"))
"""A full run takes 40 of each command."""
