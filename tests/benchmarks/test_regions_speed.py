"""How the weight of a part grows with its zones and its plies: ratios of two sizes measured in one run."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from layup.partfile.job import Job
from layup.partfile.read import read_part
from layup.shape.measure import measure_triangles
from layup.shape.surface import Surface
from layup.weight.compare import process_for
from layup.weight.weigh import weigh_layup


def wavy(n: int) -> Surface:
    """A gently waved square of 2 n^2 triangles."""
    at = np.linspace(0.0, 1.0, n + 1)
    x, y = np.meshgrid(at, at, indexing="ij")
    points = np.c_[x.ravel(), y.ravel(), 0.05 * np.sin(3 * x.ravel()) * np.cos(2 * y.ravel())]
    i = np.arange(n * (n + 1)).reshape(n, n + 1)[:, :-1].ravel()
    faces = np.concatenate([np.c_[i, i + n + 1, i + n + 2], np.c_[i, i + n + 2, i + 1]])
    return Surface("wavy", measure_triangles(points[faces]), lambda: (points, faces))


def part(zones: int) -> dict[str, Any]:
    spots = np.random.default_rng(1).uniform(0.05, 0.95, (zones, 2))
    listed = [
        {"name": f"z{k}", "within": f"10 mm of ({a:.4f} m, {b:.4f} m, {0.05 * np.sin(3 * a) * np.cos(2 * b):.4f} m)"}
        for k, (a, b) in enumerate(spots)
    ]
    cloth = {"fabric": "carbon plain 200"}
    return {
        "title": "Waved", "process": "vacuum bag", "resin": "epoxy, laminating", "zone": listed,
        "surface": {"rectangle": ["1 m", "1 m"], "mould": "female"},
        "ply": [cloth, *({**cloth, "zone": zone["name"]} for zone in listed)],
    }  # fmt: skip


def weigh(job: Job) -> None:
    weigh_layup(job, process_for(job, job.part.process, own=True))


def taken(zones: int) -> float:
    """Processor time to read and weigh a part with so many zones on 45,000 triangles. [s]"""
    surface = wavy(150)
    start = time.process_time()
    weigh(read_part(part(zones), opener=lambda *_args, **_kept: surface))
    return time.process_time() - start


def test_many_zones_cost_what_so_many_single_ones_do() -> None:
    """Four times the zones on one mesh: no more than five times the time, where their product would be sixteen."""
    taken(4)  # imports and compiled code
    few, many = min(taken(20), taken(20)), taken(80)
    print(f"\n80 zones on 45,000 triangles: {many:.2f} s, 20: {few:.2f} s, {many / few:.1f} times")
    assert many < 6.0 * few


def crossing(zones: int, apart: bool = False) -> float:
    """Processor time to read and weigh a flat panel with strips 400 mm long that cross each other, or do not. [s]"""
    told = part(zones)
    turn = np.linspace(0.1, 3.0, zones)
    for k, zone in enumerate(told["zone"]):
        x, y = 0.2 * np.cos(turn[k]), 0.2 * np.sin(turn[k])
        ends = f"({0.5 + x:.4f} m, {0.5 + y:.4f} m, 0 m) ({0.5 - x:.4f} m, {0.5 - y:.4f} m, 0 m)"
        if apart:
            ends = f"(0.3 m, {(k + 1) / (zones + 1):.4f} m, 0 m) (0.7 m, {(k + 1) / (zones + 1):.4f} m, 0 m)"
        zone["within"] = f"30 mm of the line {ends}"
    start = time.process_time()
    weigh(read_part(told))
    return time.process_time() - start


def test_strips_that_cross_on_two_faces() -> None:
    """Five that cross: no more than four times five apart. Twenty: no more than eight times five."""
    crossing(2)  # imports
    apart = min(crossing(5, apart=True) for _ in range(2))
    five, twenty = (min(crossing(zones) for _ in range(2)) for zones in (5, 20))
    print(f"\n5 strips apart {apart:.3f} s, 5 that cross {five:.3f} s, 20 that cross {twenty:.3f} s")
    assert five < 4.0 * apart
    assert twenty < 8.0 * five


def test_many_plies() -> None:
    """Ten thousand plies: no more than fifteen times a thousand."""

    def plies(count: int) -> float:
        cloth = [{"fabric": "carbon plain 200", "angle": angle, "count": 100} for angle in range(count // 100)]
        job = read_part(
            {
                "title": "Thick",
                "process": "infusion",
                "resin": "epoxy, infusion",
                "ply": cloth,
                "surface": {"rectangle": ["1 m", "1 m"]},
            }
        )
        start = time.process_time()
        weigh(job)
        return time.process_time() - start

    plies(1000)
    few, many = (min(plies(count) for _ in range(3)) for count in (1000, 10_000))
    print(f"\n10,000 plies weighed in {many:.2f} s, 1,000 in {few:.3f} s, {many / few:.1f} times")
    assert many < 15.0 * few
