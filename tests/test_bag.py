"""The bag: areas and lengths checked by hand on a rectangle, the vacuum against the air, and the weigh points."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pytest import approx

from layup.commands.cli import main
from layup.laminate.atmosphere import pressure_at
from layup.learn.expected import expect, stage_mass
from layup.make.bag import Bag, BagLayer, bag
from layup.make.batches import mixes
from layup.make.points import WeighPoint, weigh_points
from layup.partfile.job import Job
from layup.partfile.read import read_part
from layup.weight.compare import process_for
from layup.weight.weigh import Weighed, weigh_layup

Hatch = Callable[..., dict[str, Any]]


def work(part: dict[str, Any] | Path, folder: Path | None = None) -> tuple[Job, Weighed]:
    job = read_part(part, folder)
    return job, weigh_layup(job, process_for(job, job.part.process, own=True))


def layers(found: Bag) -> dict[str, BagLayer]:
    return {layer.name: layer for layer in found.layers}


def test_a_rectangle_by_hand(hatch: Hatch) -> None:
    found = bag(*work(hatch(surface={"rectangle": ["1 m", "600 mm"]})))
    by_name = layers(found)
    assert list(by_name) == [
        "mould release", "peel ply", "perforated film", "breather", "bagging film", "sealant tape", "ports",
    ]  # fmt: skip
    assert (found.length, found.width, found.outline) == approx((1.0, 0.6, 0.6))
    # grown by 25 mm: A + P m + pi m^2; off a roll 1.52 m wide, 0.65 m of it with the metre across
    assert by_name["peel ply"].area == approx(0.6 + 3.2 * 0.025 + math.pi * 0.025**2)
    assert by_name["peel ply"].length == approx(0.65)
    assert by_name["breather"].length == approx(0.75)  # 75 mm on each side
    # the bag: 150 mm on each side, a quarter more each way for the pleats: 1.625 by 1.125, too wide for 1.52 across
    assert by_name["bagging film"].length == approx(1.625)
    assert by_name["bagging film"].strips == 1
    # tape: round the outline at 100 mm, a quarter more for pleats, one join across
    assert by_name["sealant tape"].length == approx((3.2 + 2 * math.pi * 0.1) * 1.25 + 0.6)


def test_a_wide_part_takes_strips(hatch: Hatch) -> None:
    by_name = layers(bag(*work(hatch(surface={"rectangle": ["4 m", "2 m"]}))))
    assert by_name["peel ply"].strips == 2
    assert by_name["peel ply"].length == approx(2 * 4.05)
    assert by_name["ports"].count == 6  # 8 m^2, one for 1.5 m^2


def test_trim_is_under_the_bag(hatch: Hatch) -> None:
    plain = bag(*work(hatch()))
    wide = bag(*work(hatch(trim="50 mm")))
    assert (wide.length, wide.width) == approx((plain.length + 0.1, plain.width + 0.1))


def test_an_infusion_has_mesh_and_tubes_and_a_stricter_leak_test(hatch: Hatch) -> None:
    found = bag(*work(hatch(process="infusion", resin="epoxy, infusion")))
    assert {"flow mesh", "spiral tube", "resin hose"} <= set(layers(found))
    assert "breather" not in layers(found)
    usual = bag(*work(hatch()))
    assert found.leak is not None
    assert usual.leak is not None
    assert found.leak[0] / found.leak[1] < usual.leak[0] / usual.leak[1]


def test_a_wet_layup_has_no_bag(hatch: Hatch) -> None:
    found = bag(*work(hatch(process="wet")))
    assert not found.bagged
    assert found.pressure is None
    assert found.leak is None
    assert [layer.name for layer in found.layers] == ["mould release"]


def test_the_air_sets_the_limit(hatch: Hatch) -> None:
    """Source of the ceiling: ISO 2533, 84 307 Pa at 5000 ft."""
    high = bag(*work(hatch(altitude="5000 ft")))
    assert high.ceiling == approx(84307.0, abs=1.0)
    assert high.pressure is not None
    assert high.pressure < high.ceiling
    low = bag(*work(hatch()))
    assert low.ceiling == pressure_at(0.0)
    assert low.pressure is not None
    assert low.pressure > high.pressure
    assert any("altitude" in note for note in low.notes)


def test_force_is_pressure_on_the_area_under_the_tape(hatch: Hatch) -> None:
    found = bag(*work(hatch(vacuum="80 kPa")))
    assert found.force == approx(80e3 * (1.0 + 4 * 0.1 + math.pi * 0.01))


def test_prices_of_the_shop_are_used(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "shop.csv").write_text(
        'material,property,value,kind,source,at\n"peel ply, nylon",price,4 EUR/m^2,nominal,shop,\n'
        "sealant tape,price,0.80 EUR/m,nominal,shop,\n"
    )
    found = bag(*work(hatch(materials=["shop.csv"]), tmp_path))
    by_name = layers(found)
    assert by_name["peel ply"].price == (approx(1.05 * 1.52 * 4), "EUR")
    tape = by_name["sealant tape"]
    assert tape.length is not None
    assert tape.price == (approx(0.8 * tape.length), "EUR")
    assert "peel ply, nylon" not in found.unpriced
    assert "breather 150" in found.unpriced
    assert set(found.prices) == {"EUR"}


def test_only_the_area_is_known(hatch: Hatch) -> None:
    found = bag(*work(hatch(surface={"area": "0.6 m^2"})))
    assert found.outline == approx(0.6)
    assert any("3 to 2" in note for note in found.notes)


def point(points: tuple[WeighPoint, ...], name: str) -> WeighPoint:
    return next(p for p in points if p.name == name)


def test_weigh_points_by_hand(hatch: Hatch) -> None:
    butted = [{"fabric": "carbon plain 200", "angle": angle, "overlap": "0 mm"} for angle in (0, 45)]
    part = hatch(
        trim="20 mm",
        ply=butted,
        finish=[{"finish": "primer, epoxy"}],
        extra=[{"name": "insert", "mass": "50 g"}],
    )
    job, weighed = work(part)
    points = weigh_points(job, weighed)
    assert [p.name for p in points] == [
        "dry cloth", "resin mixed", "left in cups", "wet laminate", "bag materials", "demoulded", "trimmed", "finished",
    ]  # fmt: skip
    assert point(points, "dry cloth").mass.mean == approx(2 * 0.2 * (1.0 + 4 * 0.02))
    assert point(points, "resin mixed").mass.mean == weighed.resin_to_mix
    assert point(points, "finished").mass == weighed.mass
    bare = point(points, "trimmed").mass.mean
    assert bare == approx(weighed.fibre + weighed.resin)
    assert point(points, "demoulded").mass.mean == approx(bare + weighed.trimmed_off)
    # what goes into the bag and does not come out on the part stays in peel ply and breather, 90 g/m^2
    lost = point(points, "wet laminate").mass.mean - point(points, "demoulded").mass.mean
    to_bag = weighed.process.figure("loss_to_bag").value
    assert lost == approx(to_bag * 1.08, rel=0.05)


@pytest.mark.parametrize("process", ["wet", "vacuum bag", "infusion", "prepreg"])
def test_limits_hold_the_mean_and_cloth_is_surer_than_resin(hatch: Hatch, process: str) -> None:
    resin = None if process == "prepreg" else "epoxy, laminating"
    fabric = "carbon plain 193 prepreg" if process == "prepreg" else "carbon plain 200"
    job, weighed = work(hatch(process=process, resin=resin, ply=[{"fabric": fabric, "count": 3}]))
    points = weigh_points(job, weighed)
    for one in points:
        if one.mass is None:  # what stays in cups and bag is weighed, not predicted
            assert one.name in ("left in cups", "bag materials")
            continue
        assert one.mass.p05 < one.mass.mean < one.mass.p95, one.name
    names = [p.name for p in points]
    assert ("resin mixed" in names) == (process != "prepreg")
    assert ("wet laminate" in names) == (process in ("vacuum bag", "infusion"))
    if process != "prepreg":
        spread = [(p.mass.p95 - p.mass.p05) / p.mass.mean for p in points[:2]]
        assert spread[0] < spread[1]


def test_a_core_is_weighed_dry(hatch: Hatch) -> None:
    plies = [
        {"fabric": "carbon plain 200"},
        {"core": "PVC foam 60", "thickness": "6 mm"},
        {"fabric": "carbon plain 200"},
    ]
    job, weighed = work(hatch(ply=plies))
    assert point(weigh_points(job, weighed), "dry core").mass.mean == weighed.core


def test_the_command(examples: Path) -> None:
    part = str(examples / "motor-glider" / "engine-bay-door.toml")
    done = CliRunner().invoke(main, ["bag", part])
    assert done.exit_code == 0, done.output
    for word in ("peel ply", "breather", "bagging film", "gauge should read", "leak-down", "common practice"):
        assert word in done.output
    data = json.loads(CliRunner().invoke(main, ["bag", part, "--json"]).stdout)
    assert data["pressure_pa"] == approx(24 * 3386.388640341, rel=1e-6)


def test_the_bag_keeps_what_it_is_weighed_against(hatch: Hatch) -> None:
    """One figure for what stays in the bag: in the bag, at its weigh-in and in what is mixed, the trim counted."""
    job, weighed = work(hatch(process="vacuum bag", trim="30 mm", surface={"rectangle": ["1 m", "600 mm"]}))
    kept = weighed.process.figure("loss_to_bag").value * (0.6 + 3.2 * 0.03)
    assert bag(job, weighed).drinks == approx(kept, rel=1e-9)
    assert stage_mass(job, weighed, "bag-materials") == approx(kept, rel=1e-9)
    laid = weighed.resin_to_mix - kept
    bare = work(hatch(process="vacuum bag", surface={"rectangle": ["1 m", "600 mm"]}))[1]
    assert laid / (bare.resin_to_mix - bare.to_bag) == approx(1 + 3.2 * 0.03 / 0.6, rel=1e-9)


def test_a_gel_coat_lies_in_the_mould_from_the_first(hatch: Hatch) -> None:
    """On the scale it is there before the paint, on what is trimmed off too."""
    plain = hatch(process="wet", trim="30 mm", surface={"rectangle": ["1 m", "600 mm"]}, finish=None)
    paint = {"name": "paint", "areal_weight": "100 g/m^2"}
    gel = {"name": "white gelcoat", "areal_weight": "500 g/m^2"}
    bare, coated = work(plain | {"finish": [paint]}), work(plain | {"finish": [paint, gel]})
    on, away = 0.5 * 0.6, 0.5 * 3.2 * 0.03
    for stage, more in {"demoulded": on + away, "trimmed": on, "finished": on, "dry-cloth": 0.0}.items():
        assert stage_mass(*coated, stage) - stage_mass(*bare, stage) == approx(more, abs=1e-9), stage
    masses = [{point.stage: point.mass for point in weigh_points(*one)} for one in (bare, coated)]
    for stage in ("demoulded", "trimmed", "finished"):
        assert masses[1][stage].mean == approx(stage_mass(*coated, stage), rel=1e-9)
        assert masses[1][stage].p95 > masses[0][stage].p95 + 0.25
    teaches = [expect(*one, "trimmed") for one in (bare, coated)]
    assert teaches[1].resin == teaches[0].resin, "the gel coat is no resin of the plies"
    assert teaches[1].rest - teaches[0].rest == approx(on)
    both = work(plain | {"finish": [gel | {"sides": 2}]})
    assert both[1].gel_coat == approx(on)
    said = mixes(*coated, ratio=0.3)[-1].cautions
    assert any("to be mixed apart: white gelcoat" in line for line in said)
