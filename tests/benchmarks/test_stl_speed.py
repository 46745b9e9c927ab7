"""Binary STL: area, centroid and inertia against the time of reading the same bytes, in one run.

Part of every run: a file of 1 M triangles (50 MB). With `-k ten_million`: 10 M triangles (500 MB), where the whole
pass must take less than 3 times the read and the process stay under 800 MB.
The read is the copy of the bytes from the file cache into memory that is already there.
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from layup.files.read import read_surface
from layup.files.stl import LARGE, RECORD, open_stl

PEAK = """
import re, resource, sys
from pathlib import Path
from layup.files.read import read_surface
found = read_surface(sys.argv[1], unit="mm")
status = Path("/proc/self/status")  # the other figure may still hold that of the process which started this one
high = re.search(r"VmHWM:\\s+(\\d+)", status.read_text()) if status.exists() else None
peak = int(high.group(1)) if high else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(found.whole.area, found.whole.triangles, peak / 1024)
"""


def wavy_panel(path: Path, triangles: int) -> float:
    """Write an open panel of 1000 by 700 mm with waves; its area from the coordinates as stored. [m^2]"""
    n = round((triangles / 2) ** 0.5)
    x, y = np.linspace(0, 1000, n + 1), np.linspace(0, 700, n + 1)
    area = 0.0
    with path.open("wb") as file:
        file.write(b"a panel with waves".ljust(80) + (2 * n * n).to_bytes(4, "little"))
        for start in range(0, n, 200):
            u, v = np.meshgrid(x[start : start + 201], y, indexing="ij")
            p = np.stack([u, v, 50 * np.sin(u / 200) * np.cos(v / 150)], axis=-1).astype(np.float32)
            a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
            corners = np.stack([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)], axis=2)
            records = np.zeros(corners.shape[0] * corners.shape[1] * 2, dtype=RECORD)
            records["corners"] = corners.reshape(-1, 3, 3)
            file.write(records.tobytes())
            t = corners.reshape(-1, 3, 3).astype(np.float64) * 1e-3
            area += 0.5 * np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum()
    return area


def read_time(path: Path, rounds: int) -> float:
    """Median seconds to copy a file from the cache into memory that is already there."""
    buffer = memoryview(bytearray(path.stat().st_size))
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        with path.open("rb", buffering=0) as file:
            done = 0
            while count := file.readinto(buffer[done:]):
                done += count
        times.append(time.perf_counter() - begin)
        assert done == len(buffer)
    return statistics.median(times)


def peak(path: Path) -> tuple[float, int, float]:
    """Area, triangles and peak memory in MB of a fresh process that reads the file."""
    out = subprocess.run([sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True)
    area, triangles, memory = out.stdout.split()
    return float(area), int(triangles), float(memory)


def integrate(path: Path):
    return read_surface(path, unit="mm")


def run(tmp_path, benchmark, capsys, triangles, rounds):
    path = tmp_path / "panel.stl"
    area = wavy_panel(path, triangles)
    assert len(open_stl(path, "panel.stl")) > 0.99 * triangles
    integrate(path)  # compiles or loads the compiled pass
    copy = read_time(path, 5)
    found = benchmark.pedantic(integrate, (path,), rounds=rounds)
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        integrate(path)
        times.append(time.perf_counter() - begin)
    copy = min(copy, read_time(path, 5))
    whole = statistics.median(times)
    assert found.whole.area == pytest.approx(area, rel=1e-9)
    fresh_area, count, memory = peak(path)
    assert fresh_area == pytest.approx(area, rel=1e-9)
    size = path.stat().st_size / 1e6
    with capsys.disabled():
        print(
            f"\n{count:,} triangles, {size:.0f} MB: read {copy:.3f} s, area, centroid and inertia {whole:.3f} s, "
            f"ratio {whole / copy:.2f}; peak of a fresh process {memory:.0f} MB"
        )
    return whole / copy, memory


def test_one_million(tmp_path, benchmark, capsys):
    """The ratio is printed, not held to 3: at 50 MB a busy machine moves it more than the code does."""
    ratio, memory = run(tmp_path, benchmark, capsys, 1.01 * LARGE, 3)
    assert ratio < 20
    assert memory < 800


def test_ten_million(tmp_path, benchmark, capsys, request):
    if "ten_million" not in request.config.getoption("keyword"):
        pytest.skip("writes 500 MB: ask for it with -k ten_million")
    ratio, memory = run(tmp_path, benchmark, capsys, 10_000_000, 7)
    assert ratio < 3
    assert memory < 800
