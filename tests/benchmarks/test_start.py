"""How long a person waits for the first letter, as ratios to importing numpy in the same run.

Each figure is the least of several whole processes: what the machine can do when nothing else disturbs it. Cost: the
help loads click alone; the example grows with the triangles of its mesh and the plies of its layup.

The example's target is 8 times. It is measured at 8.6 to 9.8 on one machine from run to run, so the target is missed;
the test guards 14, so that a change that makes it worse shows and noise does not.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLE = "examples/motor-glider/engine-bay-door.toml"


def least(*commands: tuple[str, ...], rounds: int = 5) -> list[float]:
    """Least time of each command, the commands in turn, so that what else the machine does meets them alike. [s]"""
    times: list[list[float]] = [[] for _ in commands]
    for _ in range(rounds):
        for own, words in zip(times, commands, strict=True):
            start = time.perf_counter()
            subprocess.run([sys.executable, *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
            own.append(time.perf_counter() - start)
    return [min(own) for own in times]


@pytest.mark.parametrize(
    ("name", "words", "target", "guard"),
    [
        ("layup --help", ["-m", "layup", "--help"], 3.0, 3.0),
        ("the shipped example", ["-m", "layup", "predict", EXAMPLE], 8.0, 14.0),
    ],
)
def test_start_against_importing_numpy(
    name: str, words: list[str], target: float, guard: float, capsys: pytest.CaptureFixture[str]
) -> None:
    numpy, own = least(("-c", "import numpy"), tuple(words))
    ratio = own / numpy
    with capsys.disabled():
        print(f"\n{name}: {ratio:.2f} times the import of numpy ({numpy * 1e3:.0f} ms), target {target:g}")
    assert ratio < guard
