"""The search against plain enumeration, and the panel's solve against its size, in one run.

`-k billion` runs the large space (1.07 thousand million stacks); the everyday run takes 134 million. `-k proved` proves
the lightest where strength and the greatest deflection decide, which no linear limit bounds: asked within 10 s.
Plain enumeration is numpy over the same halves in chunks, with the same limits: what a careful script would do.
"""

import time

import numpy as np
import pytest
import shapely

from layup.choosing.choice import choose
from layup.laminate.panel import PanelLoad, build_panel, terms_of
from layup.laminate.search import Frame, Options, Queue
from layup.laminate.search_kernel import lightest, sweep
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness

PLIES = [(130e9, 8e9, 0.3, 4e9, 0.20e-3, 0.31, (0, 45, -45, 90)), (60e9, 60e9, 0.05, 3.5e9, 0.23e-3, 0.36, (0, 45)),
         (23e9, 23e9, 0.10, 3.5e9, 0.16e-3, 0.29, (0, 45))]  # fmt: skip


def options():
    weight, thickness, terms = [], [], []
    for e1, e2, nu, g, t, w, angles in PLIES:
        for angle in angles:
            weight.append(w)
            thickness.append(t)
            terms.append(terms_of(rotated_stiffness(reduced_stiffness(e1, e2, nu, g), np.radians(angle))))
    some = np.ones(len(weight), bool)
    return Options(np.array(weight), np.array(thickness), np.array(terms), some, some)


def asked(queue, plies):
    h = 2 * plies * 0.2e-3
    for axis, stiff in ((0, 45e9), (2, 40e9), (5, 12e9)):
        g = np.zeros(6)
        g[axis] = 1.0
        queue.limit(g, stiff * h**3 / 12)


def plain(frame, limits, most):
    """Lightest of the first `most` stacks by numpy over chunks: stacks looked at, seconds, weight."""
    inner, outer = frame._split
    d_in, high, _ = frame._inner
    begin, looked, best = time.perf_counter(), 0, np.inf
    for i in range(len(inner.weight)):
        h = high[i]
        d = d_in[i] + 2 * (outer.c + h * outer.b + h * h * outer.a)
        weight = 2 * (inner.weight[i] + outer.weight)
        kept = limits.kept(d, weight)
        if kept.any():
            best = min(best, float(weight[kept].min()))
        looked += len(weight)
        if looked >= most:
            break
    return looked, time.perf_counter() - begin, best


def run(plies, most_plain, capsys):
    frame = Frame("x", options(), plies)
    queue = Queue([frame])
    asked(queue, plies)
    tables = frame._tables(queue.limits)
    lightest(*tables, -np.inf, np.inf)
    lightest(*tables, -np.inf, 0.0)
    args = (*tables[:7], *tables[10:13])
    small = Frame("s", options(), 4)
    first = Queue([small])
    asked(first, 4)
    few = small._tables(first.limits)
    sweep(*few[:7], *few[10:13])  # compiled before the clock runs
    begin = time.perf_counter()
    every, _ = sweep(*args)
    swept = time.perf_counter() - begin
    begin = time.perf_counter()
    queue = Queue([Frame("x", options(), plies)])
    asked(queue, plies)
    weight = queue.next_weight()
    searched = time.perf_counter() - begin
    looked, seconds, _ = plain(frame, queue.limits, most_plain)
    rate = looked / seconds
    with capsys.disabled():
        print(
            f"\n{frame.count:,} stacks: exact search {searched:.3f} s (with tables), {queue.looked_at:,} looked at; "
            f"every one of them {swept:.2f} s, {frame.count / swept / 1e6:.0f} M/s; plain numpy {rate / 1e6:.1f} M/s; "
            f"the search is {frame.count / searched / rate:.0f} times as fast, without passing over "
            f"{frame.count / swept / rate:.0f} times"
        )
    assert weight == pytest.approx(every, abs=1e-9)
    return frame.count / swept / rate, frame.count / searched / rate, searched


def test_every_stack_faster_than_numpy(capsys):
    swept, searched, _ = run(9, 2_000_000, capsys)
    assert swept > 5
    assert searched > 20


def test_a_billion(capsys, request):
    if "billion" not in request.config.getoption("keyword"):
        pytest.skip("1.07 thousand million stacks: ask for it with -k billion")
    _, searched, _ = run(10, 20_000_000, capsys)
    assert searched > 100


@pytest.mark.parametrize("pressure", [6, 12, 40])
def test_strength_proved(pressure, capsys, request):
    """Eight angles of four fabrics in up to 16 plies, 50 million stacks that keep the rules of the trade."""
    if "proved" not in request.config.getoption("keyword"):
        pytest.skip("half a minute: ask for it with -k proved")
    fabrics = ["carbon plain 200", "carbon twill 200", "glass plain 200", "carbon unidirectional 200"]
    part = {
        "title": "Panel",
        "process": "vacuum bag",
        "resin": "epoxy, laminating",
        "surface": {"rectangle": ["400 mm", "250 mm"]},
        "needs": {"stiffness": "not asked", "pressure": f"{pressure} kPa", "load_factor": 1.5, "most_plies": 16,
                  "angles": [0, 15, 30, 45, -15, -30, -45, 90]},
        "shelf": {"fabrics": fabrics},
    }  # fmt: skip
    begin, own = time.perf_counter(), time.process_time()
    choice = choose(part, wide=False)
    seconds, own = time.perf_counter() - begin, time.process_time() - own
    search = choice.searches
    with capsys.disabled():
        print(
            f"\n{pressure} kPa: {search.size:,} stacks, {search.checked:,} one by one, {search.measured} of them not "
            f"proved to fail: {seconds:.1f} s, {own:.1f} s of processor"
        )
    assert choice.proven
    assert own < 20


def solve_time(count, rounds=3):
    shape = shapely.box(0, 0, 0.6, 0.4).difference(shapely.Point(0.3, 0.2).buffer(0.06))
    panel = build_panel(shape, "simple", count=count)
    d = np.array([10, 2, 4, 1.5, 0.5, 3.0, 1e5])
    vector = panel.load_vector(PanelLoad("p", pressure=1.0))[:, None]
    panel.solve(d, vector)
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        panel.solve(d, vector)
        times.append(time.perf_counter() - begin)
    return panel.count, min(times)


def test_panel_solve(capsys):
    """Assemble and solve up to 18,000 unknowns with a hole; growing no worse than n^1.3 (busy: 1.5)."""
    sizes = [solve_time(count) for count in (700, 1400, 2800)]
    slope = float(np.polyfit(np.log([n for n, _ in sizes]), np.log([t for _, t in sizes]), 1)[0])
    with capsys.disabled():
        print("\n" + "; ".join(f"{n:,} unknowns {t:.3f} s" for n, t in sizes) + f"; time grows as n^{slope:.2f}")
    assert slope < 1.5
