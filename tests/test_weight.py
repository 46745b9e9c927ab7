"""The weight of a part, against sums done by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytest import approx

from layup.errors import LayupError
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
TABLE = """material,property,value,kind,source,at
test cloth,fibre,"carbon, standard modulus",nominal,shop,
test cloth,form,cloth,nominal,shop,
test cloth,areal_weight,200 g/m^2,nominal,shop,
test cloth,price,50 EUR/m^2,assumed,shop,
test fibre,type,fibre,nominal,shop,
test fibre,density,1800 kg/m^3,nominal,shop,
test cloth,fibre,test fibre,nominal,shop,
test resin,type,resin,nominal,shop,
test resin,density,1200 kg/m^3,nominal,shop,
test resin,mix_ratio_by_weight,100:30,nominal,shop,
test resin,price,40 EUR/kg,assumed,shop,
test bag,like,vacuum bag,nominal,shop,
test bag,fibre_volume_fraction (cloth),0.50,nominal,shop,
test bag,void_content,0.02,nominal,shop,
test bag,surface_resin,30 g/m^2,nominal,shop,
test bag,loss,0.10,nominal,shop,
test bag,loss_to_bag,80 g/m^2,nominal,shop,
test bag,core_bond,1,nominal,shop,
test foam,density,60 kg/m^3,nominal,shop,
test foam,bond_resin,200 g/m^2,nominal,shop,
test foam,form,foam,nominal,shop,
test foam,price,20 EUR/m^2,assumed,shop,
"""


@pytest.fixture
def exact(tmp_path: Path, hatch: Hatch) -> Hatch:
    """The hatch in materials whose figures are round, so that sums can be done by hand."""
    lines = TABLE.replace('test cloth,fibre,"carbon, standard modulus",nominal,shop,\n', "")
    (tmp_path / "shop.csv").write_text(lines, encoding="utf-8")

    def make(**changes: Any) -> dict[str, Any]:
        base = {
            "materials": [str(tmp_path / "shop.csv")],
            "process": "test bag",
            "resin": "test resin",
            "ply": [{"fabric": "test cloth", "count": 2}],
        }
        return hatch(**(base | changes))

    return make


# One ply by hand: w_r = 0.2 * (1200/1800) * (1 - 0.50 - 0.02) / 0.50 = 0.128 kg/m^2; thickness 0.2/(1800*0.5) m.
RESIN = 0.128
FILMS = 2 * 0.030


def test_two_plies_by_hand(exact: Hatch) -> None:
    data = predict(exact()).as_json()
    assert data["fibre_kg"] == approx(0.400)
    assert data["resin_in_part_kg"] == approx(2 * RESIN + FILMS)
    assert data["mass_kg"]["mean"] == approx(0.400 + 2 * RESIN + FILMS)
    assert data["areal_kg_m2"] == approx(data["mass_kg"]["mean"])
    assert data["thickness_m"] == approx(2 * 0.2 / 900 + FILMS / 1200)
    assert data["fibre_volume_fraction"] == approx(0.50)
    assert data["resin_to_mix_kg"] == approx((2 * RESIN + FILMS) * 1.10 + 0.080)
    assert data["mass_kg"]["p05"] < data["mass_kg"]["mean"] < data["mass_kg"]["p95"]


def test_the_parts_add_up_to_the_whole(exact: Hatch) -> None:
    part = exact(
        ply=[{"fabric": "test cloth"}, {"core": "test foam", "thickness": "5 mm"}, {"fabric": "test cloth"}],
        finish=[{"finish": "primer, epoxy", "areal_weight": "100 g/m^2", "sides": 2}],
        extra=[
            {"name": "inserts", "each": "10 g", "count": 4},
            {"name": "bead", "per_length": "20 g/m", "length": "2 m"},
        ],
    )
    data = predict(part).as_json()
    assert data["core_kg"] == approx(60 * 0.005)
    assert data["resin_at_cores_kg"] == approx(2 * 0.200)
    assert data["resin_in_part_kg"] == approx(2 * RESIN + FILMS + 0.400)
    assert data["finish_kg"] == approx(0.200)
    assert data["extras_kg"] == approx(0.080)
    total = sum(data[key] for key in ("fibre_kg", "resin_in_part_kg", "core_kg", "finish_kg", "extras_kg"))
    assert data["mass_kg"]["mean"] == approx(total)
    plies = sum(ply["mass_kg"] for ply in data["plies"])
    assert total == approx(plies + data["resin_on_faces_kg"] + data["finish_kg"] + data["extras_kg"])
    assert data["thickness_m"] == approx(2 * 0.2 / 900 + 0.005 + FILMS / 1200)


def test_a_core_bonds_only_where_it_is_covered(exact: Hatch) -> None:
    core = {"core": "test foam", "thickness": "5 mm"}
    bare = predict(exact(ply=[{"fabric": "test cloth"}, core]))
    assert bare.weighed.bond == approx(0.200)
    assert any("bare face" in caution for caution in bare.cautions)
    closed = predict(exact(ply=[{"fabric": "test cloth"}, core, {"fabric": "test cloth"}]))
    assert closed.weighed.bond == approx(0.400)
    assert not any("bare face" in caution for caution in closed.cautions)


def test_zones_patches_and_overlaps_are_counted(exact: Hatch) -> None:
    part = exact(
        zone=[{"name": "strip", "between": "x 0 mm 250 mm"}],
        ply=[
            {"fabric": "test cloth", "overlap": "50 mm", "seam": "1 m"},
            {"fabric": "test cloth", "zone": "strip", "count": 2},
            {"fabric": "test cloth", "area": "0.1 m^2"},
        ],
    )
    data = predict(part).as_json()
    assert data["fibre_kg"] == approx(0.2 * (1.05 + 2 * 0.25 + 0.1))
    assert [ply["zone"] for ply in data["plies"]] == ["whole", "strip", "strip", "patch"]
    zones = {zone["zone"]: zone for zone in data["zones"]}
    assert zones["strip"]["plies"] == 3
    assert zones["strip"]["thickness_m"] == approx(3 * 0.2 / 900 + FILMS / 1200)
    assert zones["whole"]["thickness_m"] == approx(0.2 / 900 + FILMS / 1200)
    assert any("balance" in caution for caution in data["cautions"])


def test_trim_takes_resin_but_no_weight(exact: Hatch) -> None:
    plain, trimmed = predict(exact()).as_json(), predict(exact(trim="25 mm")).as_json()
    strip = 4 * 0.025
    assert trimmed["mass_kg"]["mean"] == approx(plain["mass_kg"]["mean"])
    assert trimmed["trimmed_off_kg"] == approx(strip * (2 * (0.2 + RESIN) + FILMS))
    assert trimmed["resin_to_mix_kg"] == approx(plain["resin_to_mix_kg"] + strip * ((2 * RESIN + FILMS) * 1.10 + 0.080))


def test_the_edge_of_a_sandwich_is_cut_away_with_its_core(exact: Hatch) -> None:
    plies = [{"fabric": "test cloth"}, {"core": "test foam", "thickness": "5 mm"}, {"fabric": "test cloth"}]
    data = predict(exact(trim="25 mm", ply=plies)).as_json()
    areal = 2 * (0.2 + RESIN) + 60 * 0.005 + 2 * 0.200 + FILMS  # cloth, foam, bond on both its faces, films
    assert data["trimmed_off_kg"] == approx(4 * 0.025 * areal)
    assert data["as_moulded_kg"] == approx(1.1 * areal)


def test_balance_and_inertia_of_a_plate_with_a_weight(exact: Hatch) -> None:
    plain = predict(exact()).as_json()
    mass = plain["mass_kg"]["mean"]
    assert plain["cg_m"] == approx([0.5, 0.5, 0.0])
    # A thin square plate: m a^2 / 12 about each axis in its plane, twice that about the normal.
    assert np.diag(plain["inertia_kg_m2"]) == approx([mass / 12, mass / 12, mass / 6])
    loaded = predict(exact(extra=[{"name": "lump", "weighed": "1 kg", "at": ["1 m", "1 m", "100 mm"]}])).as_json()
    assert loaded["cg_m"] == approx([(mass * 0.5 + 1.0) / (mass + 1)] * 2 + [0.1 / (mass + 1)])


def test_an_area_alone_has_weight_but_no_balance(exact: Hatch) -> None:
    data = predict(exact(surface={"area": "1 m^2"})).as_json()
    assert data["mass_kg"]["mean"] == approx(predict(exact()).mass.mean)
    assert data["cg_m"] is None
    assert data["inertia_kg_m2"] is None


def test_weight_goes_with_area_and_interval_with_it(exact: Hatch) -> None:
    one = predict(exact(surface={"area": "1 m^2"})).mass
    three = predict(exact(surface={"area": "3 m^2"})).mass
    assert (three.mean, three.p05, three.p95) == approx((3 * one.mean, 3 * one.p05, 3 * one.p95))


def test_a_coupon_narrows_the_interval_and_moves_the_mean(hatch: Hatch) -> None:
    wide = predict(hatch()).mass
    ply = {"fabric": "carbon plain 200", "fibre_volume_fraction": 0.55}
    narrow = predict(hatch(ply=[ply, ply])).mass
    assert narrow.mean < wide.mean
    assert narrow.p95 - narrow.p05 < 0.6 * (wide.p95 - wide.p05)


def test_a_prepreg_brings_its_own_resin(hatch: Hatch) -> None:
    part = hatch(process="prepreg", resin=None, ply=[{"fabric": "carbon plain 193 prepreg", "count": 2}])
    data = predict(part).as_json()
    share = (data["resin_in_part_kg"] - data["resin_on_faces_kg"]) / (
        data["mass_kg"]["mean"] - data["resin_on_faces_kg"]
    )
    printed = {
        s["property"]: float(s["value"]) for s in data["sources"] if s["property"] in ("resin_content", "bled_away")
    }
    bought = printed["resin_content"] / (1 - printed["resin_content"])
    left = bought * (1 - printed["bled_away"])
    assert share == approx(left / (1 + left), abs=1e-9)
    assert data["resin_to_mix_kg"] == 0.0


def test_a_hybrid_is_weighed_by_the_volume_of_its_fibres(hatch: Hatch) -> None:
    layer = predict(hatch(ply=[{"fabric": "carbon aramid plain 190"}])).weighed.layers[0]
    assert 1440 < layer.fibre_density < 1790


def test_the_film_strays_with_the_part(exact: Hatch, tmp_path: Path) -> None:
    """Where three quarters of a part are film, its limits are at least as wide as the film's own."""
    table = tmp_path / "shop.csv"
    exact()
    thick = "test bag,surface_resin,1 kg/m^2,nominal,shop,\n"
    table.write_text(thick_first(table.read_text(encoding="utf-8"), thick), encoding="utf-8")
    weighed = predict(exact()).weighed
    assert weighed.film > 0.7 * weighed.mass.mean
    assert weighed.films.on_face is not None
    assert np.std(weighed.drawn) > 0.9 * weighed.films.on_face.spread * weighed.film


def thick_first(table: str, row: str) -> str:
    """The table with another row of one property in place of its own."""
    key = ",".join(row.split(",")[:2])
    return "".join(row if line.startswith(key) else line for line in table.splitlines(keepends=True))


def test_mat_and_cloth_of_one_fabric_share_by_weight(exact: Hatch, tmp_path: Path) -> None:
    """A quarter of the fabric's weight is mat: its take-up is three quarters of the cloth's and one of the mat's."""
    table = tmp_path / "shop.csv"
    rows = "test cloth,mat_share,0.25,nominal,shop,\ntest bag,fibre_volume_fraction (mat),0.25,nominal,shop,\n"
    plain = predict(exact()).weighed.layers[0]
    table.write_text(table.read_text(encoding="utf-8") + rows, encoding="utf-8")
    backed = predict(exact()).weighed.layers[0]
    bedded = replace(predict(exact()).weighed.process, habits={}).take_up(
        "mat", 1800.0, 1200.0, areal_weight=0.2, backing=True
    )
    assert backed.resin == approx(0.75 * plain.resin + 0.25 * 0.2 * bedded.ratio, rel=1e-9)


def test_mat_stitched_to_a_biaxial_drinks_more(hatch: Hatch) -> None:
    def ratio(fabric: str) -> float:
        layer = predict(hatch(process="wet", ply=[{"fabric": fabric}])).weighed.layers[0]
        return layer.resin / layer.fibre

    assert ratio("glass biaxial 600") < ratio("glass biaxial with mat 1708") < ratio("glass chopped mat 225")


def test_money_by_hand(exact: Hatch) -> None:
    cost = predict(
        exact(ply=[{"fabric": "test cloth"}, {"core": "test foam", "thickness": "5 mm"}, {"fabric": "test cloth"}])
    ).cost
    resin_to_mix = (2 * RESIN + FILMS + 0.400) * 1.10 + 0.080
    assert cost.amounts == {"EUR": approx(2 * 50 + 20 + 40 * resin_to_mix)}
    assert cost.unpriced == ()


def test_a_dry_cloth_stands_for_a_prepreg_without_a_price_for_its_resin(exact: Hatch) -> None:
    part = exact(process="prepreg", resin=None, ply=[{"fabric": "test cloth"}])
    cost = predict(part).cost
    assert cost.amounts == {"EUR": approx(50.0)}
    assert cost.unpriced == ("epoxy, prepreg, in the test cloth",)
    assert cost.single is None
    own = predict(part | {"ply": [{"fabric": "carbon plain 193 prepreg"}]}).cost
    assert not [name for name in own.unpriced if name.startswith("epoxy")]


def test_a_mapping_and_a_file_give_the_same(tmp_path: Path, hatch: Hatch) -> None:
    text = """title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "1 m"]
[[ply]]
fabric = "carbon plain 200"
[[ply]]
fabric = "carbon plain 200"
angle = 45
"""
    path = tmp_path / "hatch.toml"
    path.write_text(text, encoding="utf-8")
    assert predict(path).mass == predict(hatch()).mass


def test_a_finish_by_its_measured_weight_and_the_weight_off_the_mould(exact: Hatch) -> None:
    part = exact(finish=[{"areal_weight": "60 g/m^2", "name": "wipe"}], extra=[{"name": "bead", "mass": "100 g"}])
    weighed = predict(part | {"trim": "25 mm"}).weighed
    assert weighed.finish == approx(0.060)
    assert weighed.moulded == approx(weighed.mass.mean - 0.060 - 0.100 + weighed.trimmed_off)


def test_each_resin_is_priced_with_what_it_is_mixed_for(exact: Hatch) -> None:
    part = exact(ply=[{"fabric": "test cloth"}, {"fabric": "test cloth", "resin": "epoxy, infusion"}])
    cost = predict(part).cost
    assert cost.unpriced == ("epoxy, infusion",)
    total = (2 * RESIN + FILMS) * 1.10 + 0.080
    assert cost.amounts["EUR"] == approx(2 * 50 + 40 * total / 2, rel=0.03)  # the two resins differ a little in density


def test_figures_that_cant_be_meant_are_doubted(exact: Hatch) -> None:
    heavy = predict(exact(replaces=[{"name": "lid", "weighed": "2813 lb"}]))
    assert any("twenty times" in caution for caution in heavy.cautions)
    lead = predict(exact(extra=[{"name": "bead", "mass": "20 lb"}]))
    assert any("Check their units" in caution for caution in lead.cautions)


def test_a_fillet_and_a_core_s_edge_weigh_by_their_section() -> None:
    """A fillet between walls at a right angle: (1 - pi/4) r^2; an edge: depth times thickness, by its density."""
    part = {
        "title": "Box",
        "process": "wet",
        "resin": "epoxy, laminating",
        "surface": {"area": "0.5 m^2"},
        "ply": [{"fabric": "glass plain 200", "count": 2}],
    }
    fillet = {"name": "fillet", "filler": "flox", "radius": "6 mm", "length": "2 m"}
    edge = {"name": "edge", "filler": "micro", "depth": "6 mm", "thickness": "8 mm", "length": "3 m"}
    bare = predict(part).mass
    both = predict({**part, "extra": [fillet, edge]}).mass
    filled = (1 - math.pi / 4) * 0.006**2 * 2 * 1150.0 + 0.006 * 0.008 * 3 * 400.0
    assert both.mean - bare.mean == approx(filled)
    assert both.p95 - both.p05 > bare.p95 - bare.p05
    for wrong in ({"radius": "6 mm", "depth": "6 mm", "thickness": "8 mm"}, {"depth": "6 mm"}, {}):
        with pytest.raises(LayupError, match="section"):
            predict({**part, "extra": [{"name": "x", "filler": "flox", "length": "2 m", **wrong}]})
