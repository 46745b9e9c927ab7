"""From an edit on the bench page to the new weight, as a ratio to the computation itself, in one run.

The part is a curved shell of 200 k triangles with a zone near its edge. "The computation" is the part file read and
checked and the prediction made, with the surface at hand as the page holds it. On top of it the page writes the file
and what can be taken back (the disk works while it computes) and makes the whole page anew. Cost: grows with the plies
and the zones; not with the triangles, as long as surface and zones stay the same.

Target: 1.6 times the computation, and under 150 ms. It is 2.1 times since a computation takes a sixth of what it did
when that was asked: an edit then took 106 ms of processor time and the computation 91, now 32 and 16. Edits and
computations take turns and their medians are compared; the ratio is guarded at 3.5. The way through the browser is
measured in tests/browser.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from bench_page import open_page

from layup.bench import part_page
from layup.bench.request import Asked
from layup.partfile.read import read_part
from layup.weight.prediction import predict

PART = """\
title = "Large shell"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
mesh = "shell.stl"
unit = "mm"
[[zone]]
name = "edge"
within = "40 mm of the edge"
[[ply]]
fabric = "carbon plain 200"
angle = 45
[[ply]]
fabric = "carbon plain 200"
[[ply]]
fabric = "carbon plain 160"
zone = "edge"
[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.032 in"
"""


def shell(path: Path, side: int) -> int:
    """A curved shell of 2 (side - 1)^2 triangles as binary STL."""
    u, v = np.meshgrid(np.linspace(0, 1, side), np.linspace(0, 0.7, side), indexing="ij")
    points = np.stack([u, v, 0.05 * np.sin(5 * u) * np.cos(4 * v)], -1).reshape(-1, 3) * 1000
    at = np.arange(side * side).reshape(side, side)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    records = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    records["corners"] = points[faces]
    path.write_bytes(b"\0" * 80 + np.uint32(len(faces)).tobytes() + records.tobytes())
    return len(faces)


def test_edit_against_the_computation(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    triangles = shell(tmp_path / "shell.stl", 317)
    file = tmp_path / "shell.toml"
    file.write_text(PART, encoding="utf-8")
    page = open_page(tmp_path)
    assert page.get("/part", file="shell.toml").status_code == 200
    bench, desk = page.bench, page.bench.desk

    edits, sums = [], []
    for angle in range(30):
        form = {"script": "1", "table": "ply", "number": "0", "set.angle": str(angle)}
        begun = time.perf_counter()
        answer = part_page.edit(Asked(bench, "shell.toml", {}, form))
        edits.append(time.perf_counter() - begun)
        assert answer.status_code == 200
        assert f"angle {angle}" in bytes(answer.body).decode()
        begun = time.perf_counter()
        predict(read_part(file, opener=desk._open))
        sums.append(time.perf_counter() - begun)
    edit, alone = float(np.median(edits)), float(np.median(sums))
    desk.journal.close()
    with capsys.disabled():
        print(
            f"\nedit on the bench page, {triangles:,} triangles: {edit * 1e3:.0f} ms (least {min(edits) * 1e3:.0f}), "
            f"the computation {alone * 1e3:.0f} ms (least {min(sums) * 1e3:.0f}): {edit / alone:.2f} times; "
            "targets 1.6 times, 150 ms"
        )
    assert edit < 3.5 * alone
