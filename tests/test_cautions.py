"""What can hurt somebody: combinations that melt, flood, burn or are crushed are faults; the rest is told, once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from layup.errors import FaultsError
from layup.partfile.job import read_part
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
SKIN = {"fabric": "glass plain 200"}
MAT = {"fabric": "glass chopped mat 600", "count": 24}


def cored(core: str, thickness: str = "10 mm") -> list[dict[str, Any]]:
    return [SKIN, {"core": core, "thickness": thickness}, SKIN]


FAULTS = [
    ("styrene", {"process": "wet", "resin": "polyester, laminating", "ply": cored("XPS foam 30")}, "dissolves"),
    ("styrene, vinyl ester", {"process": "wet", "resin": "vinyl ester", "ply": cored("EPS foam 15")}, "dissolves"),
    (
        "infused honeycomb",
        {"process": "infusion", "resin": "epoxy, infusion", "ply": cored("aramid honeycomb 48")},
        "floods",
    ),
    (
        "prepreg on soaking mat",
        {"process": "prepreg", "resin": None, "ply": [
            {"fabric": "carbon plain 193 prepreg"}, {"core": "core mat 3 mm"}, {"fabric": "carbon plain 193 prepreg"}]},
        "soak up wet resin",
    ),
    ("prepreg on polystyrene", {"process": "prepreg", "resin": None, "ply": cored("XPS foam 30")}, "melts in the oven"),
    ("crushed", {"process": "vacuum bag", "vacuum": "25 inHg", "ply": cored("EPS foam 15")}, "crushes it"),
    ("thick, polyester", {"process": "wet", "resin": "polyester, laminating", "ply": [MAT]}, "stages = 6"),
    ("thick, epoxy", {"process": "vacuum bag", "ply": [{"fabric": "carbon plain 200", "count": 80}]}, "catch fire"),
]  # fmt: skip
PASSES = [
    {"process": "wet", "ply": cored("XPS foam 30")},
    {"process": "wet", "resin": "polyester, laminating", "ply": cored("PVC foam 60")},
    {"process": "infusion", "resin": "epoxy, infusion", "ply": cored("PVC foam 60")},
    {"process": "vacuum bag", "ply": cored("aramid honeycomb 48")},
    {"process": "wet", "ply": cored("core mat 3 mm", "3 mm")},
    {"process": "vacuum bag", "vacuum": "10 inHg", "ply": cored("EPS foam 15")},
    {"process": "wet", "resin": "polyester, laminating", "stages": 6, "ply": [MAT]},
    {"process": "wet", "resin": "polyester, laminating", "ply": [{"fabric": "glass chopped mat 450", "count": 4}]},
]


@pytest.mark.parametrize(("name", "part", "words"), FAULTS, ids=[name for name, _, _ in FAULTS])
def test_what_melts_floods_or_burns_is_a_fault(name: str, part: dict[str, Any], words: str, hatch: Hatch) -> None:
    with pytest.raises(FaultsError) as caught:
        predict(hatch(**part))
    [fault] = caught.value.faults
    assert words in str(fault)
    assert fault.remedy


@pytest.mark.parametrize("part", PASSES, ids=str)
def test_what_can_be_laid_passes(part: dict[str, Any], hatch: Hatch) -> None:
    assert predict(hatch(**part)).mass.mean > 0


def test_a_fault_of_a_core_has_its_line(tmp_path: Path) -> None:
    path = tmp_path / "cover.toml"
    path.write_text(
        'title = "Cover"\nprocess = "wet"\nresin = "polyester, laminating"\n[surface]\narea = "1 m^2"\n[[ply]]\n'
        'fabric = "glass plain 200"\n[[ply]]\ncore = "XPS foam 30"\nthickness = "10 mm"\n',
        encoding="utf-8",
    )
    with pytest.raises(FaultsError, match=r'line 9: ply 2, core "XPS foam 30"'):
        read_part(path)


def test_a_shops_own_foam_and_resin_are_known_by_what_they_say(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\n"
        "blue board,type,core,measured,shop,\nblue board,density,33 kg/m^3,measured,shop,\n"
        "blue board,dissolved_by,styrene,measured,shop,\nblue board,bond_resin,100 g/m^2,measured,shop,\n"
        "green gel,type,resin,measured,shop,\ngreen gel,density,1.2 g/cm^3,measured,shop,\n"
        "green gel,cured_by,peroxide,measured,shop,\n",
        encoding="utf-8",
    )
    part = hatch(process="wet", materials=["shop.csv"], ply=cored("blue board"), resin="green gel")
    with pytest.raises(FaultsError, match="green gel dissolves"):
        read_part(part, tmp_path)


def test_a_process_that_ruins_the_core_is_not_compared(hatch: Hatch) -> None:
    made = predict(hatch(process="vacuum bag", ply=cored("aramid honeycomb 48")))
    assert "infusion" not in {one.process for one in made.alternatives}
    assert any("infusion (aramid honeycomb 48: the feed floods" in said for said in made.cautions)


def test_choose_leaves_out_what_ruins_the_core(hatch: Hatch) -> None:
    from layup.choose.shelf import shelf_of, stock

    shelf = {"fabrics": ["glass plain 200"], "processes": ["vacuum bag", "infusion"],
             "cores": [{"core": "aramid honeycomb 48", "thickness": "5 mm"}]}  # fmt: skip
    job = read_part(hatch(shelf=shelf, needs={"hand_load": "200 N"}))
    assert job.part.needs is not None
    bagged, infused = stock(job, job.part.needs, shelf_of(job))
    assert len(bagged.cores) == 1
    assert infused.cores == ()
    assert any("not tried in infusion" in note for note in bagged.notes)


def test_a_core_that_bonds_with_nothing_is_a_fault(hatch: Hatch, tmp_path: Path) -> None:
    head = "material,property,value,kind,source,at\nown foam,type,core,measured,shop,\n"
    rows = "own foam,density,60 kg/m^3,measured,shop,\n"
    (tmp_path / "shop.csv").write_text(head + rows, encoding="utf-8")
    part = hatch(process="wet", materials=["shop.csv"], ply=cored("own foam"))
    with pytest.raises(FaultsError, match="own foam,bond_resin,150 g/m"):
        read_part(part, tmp_path)
    shelf = {"fabrics": ["glass plain 200"], "cores": [{"core": "own foam", "thickness": "5 mm"}]}
    with pytest.raises(FaultsError, match="0 g would be taken"):
        read_part(hatch(materials=["shop.csv"], shelf=shelf), tmp_path)
    (tmp_path / "shop.csv").write_text(head + rows + "own foam,bond_resin,0 g/m^2,measured,shop,\n", encoding="utf-8")
    assert predict(part, tmp_path).weighed.bond == 0.0  # nothing, where the shop says nothing


PLACES = [
    ("control surface", {"title": "Rudder"}, {"control_surface": True}, {"control_surface": False}, "mass balance"),
    ("engine", {"title": "Lower cowl"}, {"near": "engine"}, {"near": "nothing"}, "fire"),
    ("seat", {"title": "Seat pan"}, {"holds_person": True}, {"holds_person": False}, "crash loads"),
]


@pytest.mark.parametrize(("rule", "named", "yes", "no", "words"), PLACES, ids=[one[0] for one in PLACES])
def test_the_caution_that_belongs_there(
    rule: str, named: dict[str, Any], yes: dict[str, Any], no: dict[str, Any], words: str, hatch: Hatch
) -> None:
    said = [c for c in predict(hatch(**yes)).cautions if words in c]
    assert len(said) == 1
    assert "does not say" not in said[0]
    asked = [c for c in predict(hatch(**named)).cautions if words in c]
    assert len(asked) == 1
    assert f"write {next(iter(yes))} = " in asked[0]
    assert not [c for c in predict(hatch(**named, **no)).cautions if words in c]
    assert not [c for c in predict(hatch()).cautions if words in c]


def test_a_closed_window_is_asked_about(hatch: Hatch) -> None:
    pane = [{"name": "pane", "sheet": "polycarbonate", "thickness": "3 mm"}]
    assert sum("rescuers cut" in c for c in predict(hatch(replaces=pane)).cautions) == 1
    assert not any("rescuers cut" in c for c in predict(hatch()).cautions)
