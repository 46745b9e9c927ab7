"""How long a person waits for the first letter, as ratios to importing numpy in the same run.

Each figure is the least of several whole processes: what the machine can do when nothing else disturbs it. Cost: the
help loads click alone; the example grows with the triangles of its mesh and the plies of its layup.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLE = "examples/motor-glider/engine-bay-door.toml"


def least(*words: str, rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        subprocess.run([sys.executable, *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.parametrize(
    ("name", "words", "limit"),
    [
        ("layup --help", ["-m", "layup", "--help"], 3.0),
        ("the shipped example", ["-m", "layup", "predict", EXAMPLE], 8.0),
    ],
)
def test_start_against_importing_numpy(
    name: str, words: list[str], limit: float, capsys: pytest.CaptureFixture[str]
) -> None:
    numpy = least("-c", "import numpy")
    ratio = least(*words) / numpy
    with capsys.disabled():
        print(f"\n{name}: {ratio:.2f} times the import of numpy ({numpy * 1e3:.0f} ms), limit {limit:g}")
    assert ratio < limit
