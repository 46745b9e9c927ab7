"""How far builders scatter: published pairs and limits, simulated shops, and one remake that resin can't explain.

Sources:
- "Same canard, two builders: 19 against 17 lb": alongwayroundtheworld.com, build log, November 2014; its author puts a
  part down to a denser spar-cap tow. Wet glass over foam, layup not published, so only the ratio can be used.
- Practice panel of six plies of glass cloth, 10.5 to 12.5 oz accepted, 11 oz ideal: plans of a homebuilt canard
  aircraft, chapter 3, as quoted on aryship.blogspot.com, 2013. Cloth weight (8.8 oz/yd^2) and size (10 x 16 in) are
  from memory.
- Four two-ply coupons, 0.0095, 0.008, 0.0085, 0.008 in: UC Davis AMAT student team, glass and epoxy, bag at 6 inHg.
- A hand-laid one-piece cover of 5 lb 8 oz and its bagged remake of 2 lb 13 oz: common practice, no source.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest import approx

import layup
from layup.laminate import allowances as allow
from layup.laminate.process import Habit
from layup.learn import calibrate
from layup.learn.expected import Ground, expect
from layup.learn.explain import explain
from layup.partfile.job import Job
from layup.units import LB, OZ, parse
from layup.weight.compare import process_for, process_share
from layup.weight.weigh import weigh_layup

PANEL = {
    "title": "Practice panel",
    "process": "wet",
    "resin": "epoxy, laminating",
    "surface": {"rectangle": ["16 in", "10 in"]},
    "ply": [{"fabric": "glass 8.8 oz", "count": 6}],
    "materials": ["panel.csv"],
}
PANEL_CLOTH = """\
material,property,value,kind,source,at
glass 8.8 oz,fibre,E-glass,nominal,shop,
glass 8.8 oz,form,cloth,nominal,shop,
glass 8.8 oz,areal_weight,8.8 oz/yd^2,nominal,shop,"from memory"
"""


@pytest.fixture
def panel(tmp_path_factory: pytest.TempPathFactory) -> Job:
    folder = tmp_path_factory.mktemp("panel")
    (folder / "panel.csv").write_text(PANEL_CLOTH, encoding="utf-8")
    return layup.read_part(PANEL, folder)


def test_practice_panel_limits_lie_inside_what_shops_do(panel: Job) -> None:
    """Below 10.5 oz the plans call it dry, above 12.5 oz not squeegeed: both happen, so both lie in nine of ten."""
    mass = layup.predict(panel).mass
    for ounces in (10.5, 11.0, 12.5):
        assert mass.holds(ounces * OZ), ounces
    # the figures are fitted to hands of all kinds: within the last digit of 11 oz, which is 4.5 %
    assert mass.mean == approx(11 * OZ, rel=0.045)
    hard = layup.predict(replace(panel, part=panel.part.model_copy(update={"hand": ("squeegeed",)}))).mass
    assert hard.holds(10.5 * OZ)
    assert hard.holds(11 * OZ)
    assert not hard.holds(12.5 * OZ), "not squeegeed, the plans say"


def test_practice_panels_teach_a_heavy_hand(panel: Job) -> None:
    """Three panels at the plans' upper limit: the next prediction of the same panel must come near 12.5 oz."""
    process = process_for(panel, "wet", own=True)
    ground = expect(panel, weigh_layup(panel, process), "trimmed", OZ / 8)
    assert ground is not None
    habits = _habits(ground, np.full(3, 12.5 * OZ))
    taught = layup.predict(panel, habits=habits)
    before = layup.predict(panel).mass
    assert abs(taught.mass.mean - 12.5 * OZ) < 0.25 * abs(before.mean - 12.5 * OZ)
    assert taught.mass.p95 - taught.mass.p05 < 0.65 * (before.p95 - before.p05)
    told = explain(layup.predict(panel), 12.5 * OZ, "trimmed")
    assert told.usual
    assert told.resin_alone


def test_two_builders_of_one_canard() -> None:
    """19 against 17 lb is a ratio of 1.12; two shops of ours must differ so or more about half the time, not always."""
    job = layup.read_part(
        {"title": "Canard skins", "process": "wet", "resin": "epoxy, laminating", "surface": {"area": "2 m^2"},
         "ply": [{"fabric": "glass plain 200", "count": 3}]}
    )  # fmt: skip
    drawn = weigh_layup(job, process_for(job, "wet", own=True)).drawn
    apart = np.abs(np.log(drawn / np.roll(drawn, 1)))
    often = float(np.mean(apart >= math.log(19 / 17)))
    assert 0.2 < often < 0.7


def test_coupons_of_one_team_scatter_as_parts_of_one_shop() -> None:
    """Four coupons of two plies vary by 8.3 % in thickness (their sample figure); of four, 3 to 15 % is no news."""
    thick = np.array([0.0095, 0.008, 0.0085, 0.008])
    published = float(np.std(thick, ddof=1) / np.mean(thick))
    assert published == approx(0.083, abs=0.001)
    job = layup.read_part(
        {"title": "Coupon", "process": "vacuum bag", "vacuum": "6 inHg", "resin": "epoxy, laminating",
         "surface": {"rectangle": ["100 mm", "100 mm"]}, "ply": [{"fabric": "glass plain 80", "count": 2}]}
    )  # fmt: skip
    weighed = weigh_layup(job, process_for(job, "vacuum bag", own=True))
    ground = expect(job, weighed, "trimmed", 1e-5)
    assert ground is not None
    resin = weighed.layers[0].resin / weighed.layers[0].resin_density * 2 / weighed.thickness.mean
    film = allow.deviation(allow.FILM) * math.sqrt(1 - allow.FILM_OF_SHOP)
    film *= 2 * weighed.film / weighed.layers[0].area / weighed.layers[0].resin_density / weighed.thickness.mean / 2
    ours = math.hypot(ground.part_spread * resin, film)
    low, high = (math.sqrt(q / 3) for q in (0.216, 9.348))  # chi-squared of 3 degrees of freedom, 2.5 and 97.5 %
    assert low < published / ours < high


COVER = {
    "title": "One-piece cover",
    "process": "vacuum bag",
    "resin": "epoxy, laminating",
    "surface": {"area": "1.86 m^2", "edge": "5.5 m"},
    "ply": [{"fabric": "carbon plain 200", "count": 2}],
}


@pytest.mark.parametrize("fabric", ["carbon plain 200", "glass plain 200"])
def test_resin_alone_can_not_explain_the_heavy_cover(fabric: str) -> None:
    """The bagged remake fixes the layup; the same layup laid wet must not reach 5 lb 8 oz by resin alone.

    The area is set so that the bagged remake of each cloth is predicted at 2 lb 13 oz; nothing else is known of it.
    """
    plies = [{"fabric": fabric, "count": 2}]
    one = layup.predict({**COVER, "surface": {"area": "1 m^2"}, "ply": plies})
    area = parse("2 lb 13 oz", "mass") / one.mass.mean
    cover = {**COVER, "surface": {"area": f"{area} m^2"}, "ply": plies}
    bagged = layup.predict(cover)
    assert bagged.mass.mean == approx(parse("2 lb 13 oz", "mass"), rel=1e-6)
    assert explain(bagged, parse("2 lb 13 oz", "mass")).usual
    wet = layup.predict({**cover, "process": "wet"})
    heavy = parse("5 lb 8 oz", "mass")
    told = explain(wet, heavy, "finished")
    assert not told.usual
    assert not told.resin_alone
    assert told.needed > 2.576
    assert told.lists
    assert ["resin"] not in [[cause.about for cause in listed] for listed in told.lists]
    assert any("filler" in cause.words for listed in told.lists for cause in listed)
    share = process_share(bagged.job, ("hand-laid", "wet", heavy), ("remake", "vacuum bag", 2 * LB + 13 * OZ))
    assert not share.enough
    assert share.rest > 0.5 * share.difference


# Simulated shops


@dataclass(frozen=True)
class Simulated:
    """What 200 shops showed, a row a stage: weigh-ins before it, share inside the interval, mean absolute error."""

    stages: tuple[int, ...]
    cover: tuple[float, ...]
    error: tuple[float, ...]


def _simulate(process: str, fabric: str, plies: int, shops: int, number: int, stages: tuple[int, ...]) -> Simulated:
    """Shops that make one part again and again, drawn with the spreads of materials/ and of `allowances`."""
    part = {"title": "P", "process": process, "resin": "epoxy, laminating", "surface": {"area": "0.6 m^2"},
            "ply": [{"fabric": fabric, "count": plies}]}  # fmt: skip
    job = layup.read_part(part)
    weighed = weigh_layup(job, process_for(job, process, own=True))
    ground = expect(job, weighed, "trimmed", 0.001)
    assert ground is not None
    luck = ground.part_spread
    film = allow.deviation(allow.FILM)
    laid = weighed.resin - weighed.film
    count = stages[-1] + 1
    drawn = _evenly(shops, 3 + 3 * count, number)
    inside, error = np.zeros((shops, len(stages))), np.zeros((shops, len(stages)))
    for row in range(shops):
        hand, roll, habit = drawn[row, :3]
        own, films, areas = drawn[row, 3:].reshape(3, count)
        hand = ground.shop_spread * (hand - ground.shop_spread / 2)
        resin = laid * np.exp(hand + luck * (own - luck / 2))
        of_shop, of_part = math.sqrt(allow.FILM_OF_SHOP), math.sqrt(1 - allow.FILM_OF_SHOP)
        films = weighed.film * (1 + film * (of_shop * habit + of_part * films))
        cloth = 1 + allow.deviation(allow.CLOTH) * roll
        scale = (cloth * (weighed.fibre + resin) + films) * (1 + allow.deviation(allow.SURFACE) * areas)
        scale = np.round(scale, 3)  # a scale that shows grams
        for column, stage in enumerate(stages):
            there = replace(job, habits=_habits(ground, scale[:stage]) if stage else {})
            found = weigh_layup(there, process_for(there, process, own=True)).mass
            inside[row, column] = found.holds(float(scale[stage]))
            error[row, column] = abs(found.mean - scale[stage]) / scale[stage]
    return Simulated(stages, tuple(inside.mean(0)), tuple(error.mean(0)))


def _evenly(count: int, kinds: int, number: int) -> NDArray[np.float64]:
    """Standard normal values, (count, kinds): each kind has one value in each of `count` equal shares of the normal.

    The kinds are shuffled against each other, so that 200 shops stand for all shops without the luck of the draw.
    """
    normal = NormalDist()
    even = np.array([normal.inv_cdf((n + 0.5) / count) for n in range(count)])
    rng = np.random.default_rng(number)
    return np.stack([rng.permutation(even) for _ in range(kinds)], axis=1)


def _habits(g: Ground, scale: NDArray[np.float64]) -> dict[tuple[str, ...], Habit]:
    rows = [
        (n, "", "P", str(n), "trimmed", float(mass), g.process, g.form, g.fabric, g.rest, g.resin, g.rest_spread,
         g.shop_spread, g.part_spread, g.cloth_spread, json.dumps(g.terms))
        for n, mass in enumerate(scale)
    ]  # fmt: skip
    return calibrate.learn_rows(rows, calibrate.Settings({}, None, {})).habits


def test_two_hundred_simulated_shops(capsys: pytest.CaptureFixture[str]) -> None:
    """Nine in ten at every stage, and an error that halves after three parts and is no more than 4 %.

    85 to 95 %: 200 shops drawn at random spread by 2.1 % about 90. Half a per cent is one shop, which another machine's
    rounding may move.
    """
    found = _simulate("vacuum bag", "carbon plain 200", 4, 200, 2026, (0, 1, 2, 3, 5, 8))
    with capsys.disabled():
        print("\n  weigh-ins  inside  error")
        for stage, cover, error in zip(found.stages, found.cover, found.error, strict=True):
            print(f"  {stage:9d}  {cover * 100:5.1f} %  {error * 100:.2f} %")
    assert all(0.85 <= cover <= 0.955 for cover in found.cover)
    before, after = found.error[0], found.error[3]
    assert after <= 0.5 * before
    assert after <= 0.04


def test_worlds_that_are_not_the_models(capsys: pytest.CaptureFixture[str]) -> None:
    """Panels and solid parts teach each other, with bond of half to one and a half of the table's or one wild entry.

    40 shops a world: nine in ten spread by 4.7 %, so that 80 % is chance and less is not. docs/make_worlds.py makes the
    whole table with 200.
    """
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).parents[2] / "docs"))
    import make_worlds

    for name in ("bond of 0.5 to 1.5", "one wild entry"):
        world = next(world for world in make_worlds.WORLDS if world.name == name)
        inside, error = make_worlds.simulate(world, 40, (0, 3, 6))
        with capsys.disabled():
            print(f"\n  {name}: inside {inside}, error {error}")
        assert min(inside) >= 0.80
        assert error[-1] < 0.6 * error[0]
