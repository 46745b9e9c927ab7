"""Side by side: processes, the old part, what a process can explain."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pytest import approx

from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
LB, OZ, INCH = 0.45359237, 0.45359237 / 16, 0.0254


def test_four_processes_and_the_chosen_one(hatch: Hatch) -> None:
    prediction = predict(hatch())
    assert [a.process for a in prediction.alternatives] == ["wet", "vacuum bag", "infusion", "prepreg"]
    chosen = [a for a in prediction.alternatives if a.chosen]
    assert [a.process for a in chosen] == ["vacuum bag"]
    assert chosen[0].weighed.mass == prediction.mass


def test_carbon_gets_lighter_from_wet_to_prepreg(hatch: Hatch) -> None:
    masses = [a.weighed.mass.mean for a in predict(hatch()).alternatives]
    assert masses == sorted(masses, reverse=True)


def test_a_sheet_weighs_its_volume(hatch: Hatch) -> None:
    part = hatch(replaces=[{"name": "skin", "sheet": "aluminium 2024-T3", "thickness": "0.032 in"}])
    replaced = predict(part).replaced
    assert replaced is not None
    assert replaced.mass.mean == approx(2780 * 0.032 * INCH, rel=1e-9)


def test_every_way_to_give_an_old_item(hatch: Hatch) -> None:
    part = hatch(
        replaces=[
            {"name": "sheet", "sheet": "polycarbonate", "thickness": "3 mm", "area": "2 m^2"},
            {"name": "half", "sheet": "polycarbonate", "thickness": "3 mm", "times": 0.5},
            {
                "name": "glass",
                "fabric": "glass twill 300",
                "process": "wet",
                "resin": "polyester, laminating",
                "count": 3,
            },
            {"name": "core", "core": "PVC foam 60", "thickness": "10 mm"},
            {"name": "cover", "covering": "polyester, medium"},
            {"name": "dope", "finish": "dope, silver", "coats": 4},
            {"name": "by area", "areal_weight": "100 g/m^2"},
            {"name": "weighed", "weighed": "9 1/4 oz"},
            {"name": "rivets", "each": "0.5 g", "count": 100},
            {"name": "seam", "per_length": "30 g/m", "length": "2 m"},
            {"name": "known", "mass": "40 g"},
        ]
    )
    replaced = predict(part).replaced
    assert replaced is not None
    masses = {thing.name: thing.mass for thing in replaced.items}
    assert masses["half"] == approx(masses["sheet"] / 4)
    assert masses["core"] == approx(60 * 0.010)
    assert masses["by area"] == approx(0.1)
    assert masses["weighed"] == approx(9.25 * OZ)
    assert masses["rivets"] == approx(0.05)
    assert masses["seam"] == approx(0.06)
    assert masses["known"] == approx(0.04)
    assert 1.3 < masses["glass"] / 0.9 < 2.6  # glass alone is three times 300 g; resin comes on top
    assert replaced.mass.mean == approx(sum(masses.values()))
    assert len(masses) == 11


def test_saving_carries_shared_causes_once(hatch: Hatch) -> None:
    """Both weights grow with the same area, so its error cancels where they are alike."""
    part = hatch(
        surface={"area": "1 m^2", "area_tolerance": "20 %"},
        ply=[{"fabric": "carbon plain 200", "fibre_volume_fraction": 0.5, "count": 2}],
        replaces=[{"name": "skin", "areal_weight": "770 g/m^2"}],
    )
    prediction = predict(part)
    assert prediction.saving is not None
    assert prediction.replaced is not None
    width = prediction.saving.mass.p95 - prediction.saving.mass.p05
    assert width < 0.5 * (prediction.mass.p95 - prediction.mass.p05)


def test_moment_of_a_saving(hatch: Hatch) -> None:
    part = hatch(
        arm="100 in", replaces=[{"name": "a", "weighed": "2 lb"}, {"name": "b", "weighed": "1 lb", "arm": "-20 in"}]
    )
    prediction = predict(part)
    assert prediction.saving is not None
    assert prediction.saving.moment == approx((2 * 100 - 1 * 20) * LB * INCH - prediction.mass.mean * 100 * INCH)
    assert predict(hatch(replaces=[{"name": "a", "weighed": "2 lb"}])).saving.moment is None  # type: ignore[union-attr]


def test_a_heavier_new_part_is_said_to_add(hatch: Hatch) -> None:
    saving = predict(hatch(replaces=[{"name": "film", "weighed": "1 oz"}])).saving
    assert saving is not None
    assert saving.mass.mean < 0
    assert saving.fraction < 0
    assert saving.cost_per_mass is None


def test_an_own_process_stands_beside_the_four(hatch: Hatch, tmp_path: Any) -> None:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\nhot bag,like,vacuum bag,measured,shop,\n"
        "hot bag,fibre_volume_fraction (cloth),0.56,measured,shop,\n",
        encoding="utf-8",
    )
    prediction = predict(hatch(process="hot bag", materials=["shop.csv"]), folder=tmp_path)
    assert [a.process for a in prediction.alternatives] == ["wet", "vacuum bag", "infusion", "prepreg", "hot bag"]
    assert prediction.mass.mean < prediction.alternatives[1].weighed.mass.mean


def made(hatch: Hatch, *versions: tuple[str, str], **changes: Any) -> Any:
    listed = [{"process": process, "weighed": weight} for process, weight in versions]
    return predict(hatch(made=listed, **changes)).made


def test_a_small_difference_is_within_the_process(hatch: Hatch) -> None:
    (share,) = made(hatch, ("vacuum bag", "1 lb 6 oz"), ("wet", "1 lb 9 oz"))
    assert (share.heavier, share.lighter) == ("wet", "vacuum bag")
    assert share.enough


def test_two_of_one_process_differ_by_the_hand_only(hatch: Hatch) -> None:
    (share,) = made(hatch, ("wet", "20 oz"), ("wet", "19 oz"))
    assert share.explained.mean == approx(0.0)
    assert share.enough
    (far,) = made(hatch, ("wet", "40 oz"), ("wet", "10 oz"))
    assert not far.enough


@pytest.mark.parametrize("fabric", ["carbon plain 200", "glass twill 300", "carbon twill 245"])
@pytest.mark.parametrize("count", [1, 2, 4, 8])
def test_the_share_and_the_rest_make_the_difference(hatch: Hatch, fabric: str, count: int) -> None:
    (share,) = made(hatch, ("wet", "5 lb"), ("vacuum bag", "2 lb"), ply=[{"fabric": fabric, "count": count}])
    assert share.explained.mean + share.rest == approx(share.difference)
    assert share.share == approx(share.explained.mean / share.difference)
