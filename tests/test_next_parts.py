"""The choice of parts against every subset there is, and what the ranking says."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from pytest import approx

from layup.errors import LayupError
from layup.refit.balance import Balance
from layup.refit.candidates import Candidate, ballast_steps, read_candidate
from layup.refit.envelope import Envelope
from layup.refit.loading import burnt
from layup.refit.model import CandidateEntry
from layup.refit.next_parts import choose, rank
from layup.refit.refitfile import read_refit

ROOMY = Envelope(0.0, 2000.0, ((0.0, 0.0),), ((0.0, 10.0),))
EMPTY = Balance(540.0, 540.0 * 2.4)


def part(name: str, saves: float, cost: float, arm: float = 2.0, **more: object) -> Candidate:
    return Candidate(name, saves, -saves * arm, cost=(cost, "EUR"), **more)  # type: ignore[arg-type]


def holds(chosen: tuple[Candidate, ...], loads: list[Balance], envelope: Envelope, empty: Balance) -> bool:
    names = {one.name for one in chosen}
    if any(set(one.needs) - names or set(one.instead_of) & names for one in chosen):
        return False
    off = math.fsum(one.saves for one in chosen)
    moved = math.fsum(one.moment for one in chosen)
    mass = np.array([empty.mass - off + load.mass for load in loads])
    moment = np.array([empty.moment + moved + load.moment for load in loads])
    return bool(np.all(envelope.check(mass, moment).inside))


def by_trying_all(
    candidates: list[Candidate], empty: Balance, loads: list[Balance], envelope: Envelope, need: float
) -> tuple[float, float] | None:
    """Least cost, and the most saved at that cost, over every subset."""
    best: tuple[float, float] | None = None
    for size in range(len(candidates) + 1):
        for chosen in combinations(candidates, size):
            off = math.fsum(one.saves for one in chosen)
            if off >= need - 1e-9 and holds(chosen, loads, envelope, empty):
                cost = math.fsum(one.cost[0] for one in chosen if one.cost)
                if best is None or (cost, -off) < (best[0], -best[1]):  # costs are whole numbers: ties are exact
                    best = (cost, off)
    return best


@st.composite
def problems(draw: st.DrawFn) -> tuple[list[Candidate], Balance, list[Balance], Envelope, float]:
    count = draw(st.integers(1, 8))
    candidates: list[Candidate] = []
    for number in range(count):
        earlier = [one.name for one in candidates]
        more: dict[str, tuple[str, ...]] = {}
        if earlier and draw(st.integers(0, 4)) == 0:
            more[draw(st.sampled_from(["needs", "instead_of"]))] = (draw(st.sampled_from(earlier)),)
        saves = draw(st.floats(-1.0, 6.0).map(lambda v: round(v, 2)))
        candidates.append(part(f"p{number}", saves, draw(st.integers(1, 40)), draw(st.floats(0.2, 6.0)), **more))
    pairs = draw(st.lists(st.tuples(st.floats(50, 210), st.floats(2.1, 2.6)), min_size=1, max_size=3))
    loads = [Balance(m, m * x) for m, x in pairs]
    # Limits drawn close about where the cases are before anything is made, so that they bind; both may slope.
    masses = [EMPTY.mass + load.mass for load in loads]
    cgs = [(EMPTY.moment + load.moment) / m for load, m in zip(loads, masses, strict=True)]
    ahead, behind = min(cgs) - draw(st.floats(0.0, 0.02)), max(cgs) + draw(st.floats(0.0, 0.02))
    slopes = st.sampled_from([0.0, 0.0005, 0.002, -0.0005])
    forward, aft, low, high = draw(slopes), -draw(slopes), min(masses), max(masses)
    envelope = Envelope(
        450.0, high - draw(st.sampled_from([-5.0, 0.0, 2.0])),
        ((400.0, ahead + forward * (400.0 - low)), (low, ahead), (900.0, ahead + forward * (900.0 - low))),
        ((400.0, behind), (high - 10.0, behind), (900.0, behind + aft * (910.0 - high))),
    )  # fmt: skip
    return candidates, EMPTY, loads, envelope, draw(st.floats(0.3, 8.0))


@given(problems())
@settings(max_examples=120, deadline=None)
def test_the_choice_is_that_of_trying_all(
    problem: tuple[list[Candidate], Balance, list[Balance], Envelope, float],
) -> None:
    candidates, empty, loads, envelope, need = problem
    best = by_trying_all(candidates, empty, loads, envelope, need)
    found = choose(candidates, empty, loads, envelope, need)
    assert found.proved
    if best is None:
        assert not found.chosen
        return
    assert holds(found.chosen, loads, envelope, empty)
    assert found.saving.mean >= need - 1e-9
    assert found.amount == pytest.approx(best[0], abs=1e-6)
    assert found.saving.mean == pytest.approx(best[1], abs=1e-6)


def test_balance_forbids_the_cheap_set() -> None:
    # Both reach the target; the cheap one is so far ahead that taking it out puts the CG over the aft limit.
    cheap, dear = part("ahead", 5.0, 10, arm=0.2), part("at the CG", 5.0, 90, arm=2.4)
    tight = Envelope(0.0, 2000.0, ((0.0, 2.0),), ((0.0, 2.41),))
    assert [c.name for c in choose([cheap, dear], EMPTY, [], tight, 5.0).chosen] == ["ahead"]  # no case, no limit
    load = [Balance(0.0, 0.0)]
    assert [c.name for c in choose([cheap, dear], EMPTY, load, ROOMY, 5.0).chosen] == ["ahead"]
    assert [c.name for c in choose([cheap, dear], EMPTY, load, tight, 5.0).chosen] == ["at the CG"]


def test_out_of_reach_says_how_far() -> None:
    found = choose([part("a", 1.0, 5), part("b", 2.0, 5)], EMPTY, [Balance(0, 0)], ROOMY, 10.0)
    assert found.chosen == ()
    assert found.reachable == pytest.approx(3.0)
    assert found.proved


def test_hours_instead_of_cost() -> None:
    quick = part("quick", 3.0, 900, hours=3600.0)
    slow = part("slow", 3.0, 10, hours=360000.0)
    assert choose([quick, slow], EMPTY, [], ROOMY, 3.0, "hours").chosen == (quick,)
    assert choose([quick, slow], EMPTY, [], ROOMY, 3.0, "cost").chosen == (slow,)


def test_what_is_missing_is_said() -> None:
    assert choose([part("a", 1, 1)], EMPTY, [], ROOMY, 1, "hours").left_out == ("a",)
    after = part("after", 2, 1, needs=("bare",))
    found = choose([Candidate("bare", 9, 1), after, part("b", 2, 5)], EMPTY, [], ROOMY, 1)
    assert found.left_out == ("bare", "after")  # what needs one that is left out is left out too
    assert [one.name for one in found.chosen] == ["b"]
    with pytest.raises(LayupError, match="EUR and USD"):
        choose([part("a", 1, 1), Candidate("b", 1, 1, cost=(1.0, "USD"))], EMPTY, [], ROOMY, 1)


def test_saving_at_risk_by_hand() -> None:
    # Two parts share one cause (0.3 and 0.1 kg together: 0.4) and one has its own (0.3): the sum strays by 0.5 kg.
    one = part("one", 5.0, 1, causes=(("shop's hand", 0.3),))
    two = part("two", 5.0, 1, causes=(("shop's hand", 0.1), ("luck, two", 0.3)))
    found = choose([one, two], EMPTY, [], ROOMY, 9.5)
    assert found.saving.mean - found.saving.p05 == pytest.approx(1.6448536 * 0.5, rel=1e-6)
    assert found.chance == pytest.approx(0.8413447, abs=1e-6)  # one standard deviation to spare
    assert dict(found.risk) == pytest.approx({"two": (0.1 * 0.4 + 0.09) / 0.25, "one": 0.3 * 0.4 / 0.25})


def test_ranking() -> None:
    a, b, c = part("a", 4.0, 100, 1.0), part("b", 2.0, 10, 2.4), Candidate("c", 1.0, -6.0)
    assert [r.candidate.name for r in rank([c, b, a], EMPTY, 3.0, "saving")] == ["a", "b", "c"]
    assert [r.candidate.name for r in rank([c, b, a], EMPTY, 3.0, "cost")] == ["b", "a", "c"]
    by_balance = rank([c, b, a], EMPTY, 3.0, "balance")
    assert by_balance[-1].candidate.name == "b"  # it lies at the CG
    assert by_balance[-1].cg_shift == pytest.approx(0.0, abs=1e-12)
    first = rank([a], EMPTY, 3.0)[0]
    assert first.cg == pytest.approx((540 * 2.4 - 4.0) / 536)
    assert first.cost_per_mass == 25
    assert first.enough
    with pytest.raises(LayupError, match="nothing is ranked"):
        rank([a], EMPTY, 3.0, "colour")


def test_within_a_budget_and_hours() -> None:
    listed = [part("a", 3.0, 100, hours=3600.0), part("b", 2.0, 40, hours=36000.0), part("c", 1.5, 30, hours=3600.0)]
    assert {c.name for c in choose(listed, EMPTY, [], ROOMY, 3.0, budget=75).chosen} == {"b", "c"}
    assert {c.name for c in choose(listed, EMPTY, [], ROOMY, 4.0, hours=2 * 3600.0).chosen} == {"a", "c"}
    short = choose(listed, EMPTY, [], ROOMY, 6.0, budget=75)  # out of reach: the most that the money buys
    assert {c.name for c in short.chosen} == {"b", "c"}
    assert short.reachable == pytest.approx(3.5)
    assert short.amount <= 75


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 30), st.integers(1, 20)), min_size=1, max_size=7),
       st.integers(5, 60), st.integers(5, 60))  # fmt: skip
def test_no_set_within_the_caps_saves_more(rows: list[tuple[int, int, int]], budget: int, hours: int) -> None:
    listed = [part(str(n), s, c, hours=float(h)) for n, (s, c, h) in enumerate(rows)]
    found = choose(listed, EMPTY, [], ROOMY, 1000.0, budget=budget, hours=hours)
    most = max(
        sum(s for s, _, _ in some)
        for size in range(len(rows) + 1) for some in combinations(rows, size)
        if sum(c for _, c, _ in some) <= budget and sum(h for _, _, h in some) <= hours
    )  # fmt: skip
    assert sum(c.saves for c in found.chosen) == most


def test_ballast_is_a_choice_like_any_other() -> None:
    """A tail part comes out; the lead in the nose that balanced it may follow, and then it must."""
    empty, envelope = Balance(500.0, 500.0 * 2.0), Envelope(100.0, 600.0, ((100.0, 1.99),), ((100.0, 2.01),))
    tail = part("tail", 4.0, 100.0, arm=5.0)
    loads = [Balance(0.0, 0.0)]
    assert choose([tail], empty, loads, envelope, 3.0).chosen == ()
    lead = ballast_steps("nose", 0.2, 10.0, 12.0, [tail], "metric")
    assert max(one.saves for one in lead) == 10.0
    assert min(one.saves for one in lead) == -2.0
    found = choose([tail, *lead], empty, loads, envelope, 3.0, "cost")
    assert len([one for one in found.chosen if one in lead]) == 1
    assert holds(found.chosen, loads, envelope, empty)
    assert found.saving.mean >= 3.0
    # nothing is paid for ballast, so where ballast alone will do, no part is made
    assert found.amount == (0.0 if tail not in found.chosen else 100.0)


def test_a_swap_moves_by_both_arms() -> None:
    entry = CandidateEntry.model_validate(
        {"name": "battery", "removes": "8 kg", "adds": "2.5 kg", "arm": "0.6 m", "old_arm": "2.8 m"}
    )
    one = read_candidate(entry, None, None)
    assert one.saves == approx(5.5)
    assert one.moment == approx(2.5 * 0.6 - 8.0 * 2.8)
    with pytest.raises(ValidationError, match="removes belongs to adds"):
        CandidateEntry.model_validate({"name": "x", "saves": "1 kg", "removes": "1 kg", "arm": "1 m"})


def test_limits_hold_while_the_fuel_burns() -> None:
    tank = {"name": "fuel", "holds": "100 l", "density": "0.72 kg/l", "arm": [["0 %", "1 m"], ["100 %", "1.2 m"]]}
    loads = [
        {"name": "full", "aboard": {"fuel": "full", "seat": "80 kg"}},
        {"name": "dry", "aboard": {"fuel": "empty", "seat": "80 kg"}},
    ]
    limits = {"most": "700 kg", "least": "400 kg", "forward": "1 m", "aft": "3 m"}
    written = {"title": "Refit", "datum": "nose", "start": {"weight": "500 kg", "cg": "2 m"}, "limits": limits}
    job = read_refit({**written, "tank": [tank], "place": [{"name": "seat", "arm": "2 m"}], "load": loads})
    full, dry = (case.sum for case in job.loads)
    every = burnt(job)
    assert len(every) == 10 + 2
    assert every[0] == full
    assert every[1].mass == approx(dry.mass)
    assert every[1].moment == approx(dry.moment)
    half = 0.5 * 72.0  # litre by litre: half full at 1.1 m
    assert every[6].mass == approx(80.0 + half)
    assert every[6].moment == approx(80.0 * 2.0 + half * 1.1)
