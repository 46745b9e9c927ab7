"""Forty plies on one roll: how much of the cloth is used after 3 s and after 30 s.

The plies are forty ragged outlines of 5 to 11 corners, 6.39 m^2 together, on a roll of 1.27 m, half turns allowed, no
gap: the size of the job on which bounding boxes reached 57 % and the bare search library 75 to 76 % in 3 s and 80 % in
30 s, measured on two cores. The outlines themselves are our own, drawn from a fixed seed, so a per cent either way is
the outlines'. Seconds are those of a clock, so a busy machine lowers what is reached.
"""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from shapely import Polygon, affinity

from layup.make.nest import Nest, faults, nest
from layup.make.pieces import Piece, Roll


def forty_plies() -> list[Piece]:
    random = np.random.default_rng(7)
    outlines = []
    for _ in range(40):
        corners = int(random.integers(5, 12))
        step = 2 * np.pi / corners
        random.uniform(0, 2 * np.pi, corners)
        angles = np.arange(corners) * step + random.uniform(-0.25, 0.25, corners) * step
        radii = random.uniform(0.55, 1.0, corners)
        wide, high = random.uniform(0.12, 0.45), random.uniform(0.10, 0.35)
        outlines.append(Polygon(np.c_[wide * radii * np.cos(angles), high * radii * np.sin(angles)]))
    scale = (6.39 / sum(outline.area for outline in outlines)) ** 0.5
    return [
        Piece(f"ply {i + 1}", affinity.scale(outline, scale, scale, origin=(0, 0)))
        for i, outline in enumerate(outlines)
    ]


def run(seconds: float) -> tuple[Nest, float]:
    start = time.monotonic()
    layout = nest(forty_plies(), Roll(1.27), gap=0.0, seconds=seconds)
    return layout, time.monotonic() - start


def test_the_plain_layout_beats_boxes_at_once() -> None:
    layout, took = run(0)
    assert faults(layout) == []
    assert layout.use > 0.66  # bounding boxes reach 0.57; 0.695 measured
    print(f"plain: {took:.2f} s")


def test_three_seconds() -> None:
    layout, took = run(3)
    assert faults(layout) == []
    if (os.cpu_count() or 1) >= 2 and os.getloadavg()[0] < 1.5:
        assert took < 2.0 * 3.0  # of the time it was given; a moment over on a quiet machine
        assert layout.how == "search"
        assert layout.use >= 0.74
    else:  # a busy machine gets less done in three seconds, and perhaps nothing
        assert layout.use > 0.66


@pytest.mark.skipif("LAYUP_SLOW" not in os.environ, reason="takes half a minute; LAYUP_SLOW=1 runs it")
def test_thirty_seconds() -> None:
    layout, took = run(30)
    assert faults(layout) == []
    assert took < 1.2 * 30.0
    assert layout.use >= 0.79
