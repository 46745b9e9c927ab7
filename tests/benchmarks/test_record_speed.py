"""A long record: 20,000 weigh-ins calibrated and listed, as ratios to reading the same rows on the same machine.

The joint posterior takes some 25 s for 100,000 weigh-ins, where the goal was 2 s; a shop's few hundred take a tenth of
a second. It grows no faster than the entries do. The history must not read the whole record.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layup.learn.calibrate import calibrate
from layup.learn.pool import between_shops
from layup.learn.schema import as_text, digest_of
from layup.learn.store import open_store
from layup.learn.weighins import Circumstances, newest, weigh_in

COUNT = 20_000


@pytest.fixture(scope="module")
def long_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of many weigh-ins of one door, written straight into the tables; the first comes from the program."""
    folder = tmp_path_factory.mktemp("long")
    part = folder / "door.toml"
    part.write_text(
        'title = "Door"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\narea = "1 m^2"\n'
        '[[ply]]\nfabric = "glass plain 200"\ncount = 3\n',
        encoding="utf-8",
    )
    with open_store(folder) as store:
        first = weigh_in(store, part, 1.1, "trimmed", circumstances=Circumstances("p0"))
        told, ground = first.entry.payload, first.ground
        assert ground is not None
        rng = np.random.default_rng(1)
        with store.writing() as connection:
            entries, index = [], []
            before, between, after = as_text({**told, "mass": 0.125, "piece": "@@"}).replace("0.125", "@@").split("@@")
            for n in range(1, COUNT):
                mass = ground.rest + ground.resin * float(np.exp(0.1 + 0.12 * rng.standard_normal()))
                payload = f"{before}{mass!r}{between}p{n}{after}"
                row = (f"k{n}", "2026-01-01T00:00:00.000000+00:00", "weigh-in", payload)
                entries.append((n + 1, *row, digest_of(*row)))
                index.append((n + 1, row[0], row[1], "Door", f"p{n}", "trimmed", mass, "", ground.process, ground.form,
                              ground.fabric, ground.rest, ground.resin, ground.rest_spread, ground.shop_spread,
                              ground.part_spread, ground.cloth_spread, 1, None))  # fmt: skip
            connection.executemany("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", entries)
            connection.executemany(f"INSERT INTO weighins VALUES ({', '.join('?' * 19)})", index)
            connection.execute("UPDATE versions SET seen = ? WHERE module = 'weigh-ins'", (COUNT,))
    return folder


def best_of(count: int, work: Callable[[], object]) -> float:
    """Least time of work on the processor, so that what else the machine does is left out. [s]"""
    times = []
    for _ in range(count):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def test_calibrating_a_long_record(long_record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_store(long_record) as store:
        found = calibrate(store)
        assert found.habits["wet", "cloth", "glass plain 200"].parts > 0.95 * COUNT
        took = best_of(1, lambda: calibrate(store))
        reading = best_of(3, lambda: store.query("SELECT * FROM weighins WHERE stands = 1 ORDER BY number"))
    with capsys.disabled():
        print(f"\n  calibrate {COUNT:,}: {took:.2f} s; reading {reading:.2f} s, {took / reading:.0f} times")
    # one posterior over all that parts share is solved some hundred times: linear in the entries, and far from a read
    assert took < 150 * reading


def test_the_history_of_a_long_record(long_record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from io import StringIO

    from rich.console import Console

    from layup.learn.screen import history_screen

    def show() -> None:
        with open_store(long_record) as store:
            Console(file=StringIO(), width=110).print(history_screen(newest(store, 20), "both"))

    took = best_of(3, show)
    with open_store(long_record) as store:
        reading = best_of(2, lambda: store.query("SELECT * FROM weighins WHERE stands = 1 ORDER BY number"))
    with capsys.disabled():
        print(f"\n  history of {COUNT:,}: {took * 1000:.0f} ms, opening the file included; all rows {reading:.2f} s")
    assert took < reading, "the history must not read the whole record"


def test_a_hundred_thousand_shops_pool(capsys: pytest.CaptureFixture[str]) -> None:
    """The fit over shops that weighed a million parts, against the plain logarithms of its 120 passes over as many."""
    rng = np.random.default_rng(1)
    spreads = rng.uniform(0.08, 0.16, 100_000)
    logs = -0.03 + np.hypot(0.2, spreads) * rng.standard_normal(100_000)
    found = between_shops("wet", "cloth", logs, spreads, 0.25, 1_000_000)
    assert abs(found.mean + 0.03) < 0.003
    assert abs(found.between - 0.2) < 0.003
    took = best_of(3, lambda: between_shops("wet", "cloth", logs, spreads, 0.25, 1_000_000))
    plain = best_of(3, lambda: [np.log(1 / (0.04 + spreads * spreads)).sum() for _ in range(120)])
    with capsys.disabled():
        print(f"\n  a pool of 100,000 shops: {took:.2f} s, {took / plain:.1f} times its logarithms")
    assert took < 15 * plain
