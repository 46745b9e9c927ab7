"""What can hurt somebody: combinations that melt, flood, burn or are crushed are faults; the rest is told, once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.errors import FaultsError
from layup.materials import load_library
from layup.partfile.cautions import RULES, cautions_of, see, suggested
from layup.partfile.read import read_part
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
    ("thick, polyester", {"process": "wet", "resin": "polyester, laminating", "ply": [MAT]}, "stages = "),
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
    from layup.choosing.shelf import shelf_of, stock

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
    ("fuel", {"title": "Fuel bay cover"}, {"near": ["engine", "fuel"]}, {"near": "aerial"}, "alcohol"),
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
    assert not [c for c in predict(hatch(ply=[SKIN])).cautions if words in c]


@pytest.mark.parametrize(
    ("title", "rule"),
    [
        ("Höhenruder", "control surface"), ("Querruder links", "control surface"), ("Gouverne", "control surface"),
        ("Sitzschale", "seat"), ("Siège avant", "seat"), ("Asiento", "seat"), ("Deck hatch", "seat"),
        ("Motorhaube", "engine"), ("Abdeckung", None), ("Deckel", None),
    ],
)  # fmt: skip
def test_a_title_in_another_language_asks_alike(title: str, rule: str | None, hatch: Hatch) -> None:
    job = read_part(hatch(title=title))
    seen = see(job.part, job.library, None, 0.0, "both")
    asked = [one.rule for one in cautions_of(seen) if "does not say" in one.words]
    assert asked == ([rule] if rule else [])


METAL = [{"name": "old", "sheet": "aluminium 2024-T3", "thickness": "0.032 in"}]
PAINT = [{"finish": "paint, polyurethane"}]
GLASS = {"ply": [SKIN], "process": "wet"}
CARBON = {"ply": [{"fabric": "carbon plain 200"}], "process": "wet"}
TRIGGERS: dict[str, dict[str, Any]] = {
    "control surface": {**GLASS, "control_surface": True},
    "engine": {**GLASS, "near": "engine"},
    "fuel": {**GLASS, "near": "fuel"},
    "window": {**GLASS, "replaces": [{"name": "pane", "sheet": "acrylic", "thickness": "3 mm"}]},
    "radio": {**CARBON, "replaces": [{"name": "skin", "covering": "polyester, medium, finished"}]},
    "lightning": {**GLASS, "replaces": METAL, "arm": "62 in"},
    "seat": {**GLASS, "holds_person": True},
    "battery": {**GLASS, "extra": [{"name": "lithium cells", "mass": "2 lb"}]},
    "mat and epoxy": {**GLASS, "ply": [{"fabric": "glass chopped mat 450"}]},
    "amine": GLASS,
    "peroxide": {**GLASS, "resin": "polyester, laminating"},
    "styrene": {**GLASS, "resin": "vinyl ester"},
    "thick": {**GLASS, "ply": [{"fabric": "glass plain 200", "count": 40}]},
    "foam": {**GLASS, "ply": cored("PVC foam 60")},
    "implosion": {**GLASS, "process": "vacuum bag"},
    "crush": {**GLASS, "process": "vacuum bag", "ply": cored("PU foam 32")},
    "carbon dust": CARBON,
    "dust": GLASS,
    "isocyanate": {**GLASS, "finish": PAINT},
    "paint and heat": {**GLASS, "finish": [{"finish": "paint, lacquer"}]},
    "polyester on epoxy": {**GLASS, "finish": [{"finish": "gel coat"}]},
    "corrosion": {**CARBON, "replaces": METAL},
}
NONE_OF_THEM = {"process": "prepreg", "resin": None, "ply": [{"fabric": "glass satin 300 prepreg"}]}


def triggered(part: dict[str, Any], hatch: Hatch) -> set[str]:
    return {one.rule for one in predict(hatch(**{"title": "Hatch", "finish": [], **part})).rules}


def test_every_rule_has_its_trigger_here() -> None:
    assert set(TRIGGERS) == {rule.name for rule in RULES}


@pytest.mark.parametrize("rule", TRIGGERS)
def test_a_rule_speaks_where_it_is_triggered_and_not_where_it_is_not(rule: str, hatch: Hatch) -> None:
    made = predict(hatch(**{"finish": [], **TRIGGERS[rule]}))
    said = [one for one in made.rules if one.rule == rule]
    assert len(said) == 1
    assert said[0].words.endswith(".")
    source = said[0].source
    assert source == "common practice" or source in load_library().sources
    other = GLASS if rule in ("carbon dust", "implosion", "peroxide", "styrene") else NONE_OF_THEM
    if rule != "dust":
        assert rule not in triggered(other, hatch)
    else:
        assert rule not in triggered(CARBON, hatch)


def test_a_part_that_has_none_of_them_is_told_of_none(hatch: Hatch) -> None:
    """A bagged glass prepreg: its dust, its bag, and nothing else."""
    assert triggered(NONE_OF_THEM, hatch) == {"dust", "implosion"}
    assert triggered(GLASS, hatch) == {"dust", "amine"}


def test_each_is_said_once_where_the_hand_is(hatch: Hatch, tmp_path: Path) -> None:
    from layup.make.build_sheet import build_sheet, prepare
    from layup.report.document import Words

    made = predict(hatch(**{**CARBON, "process": "vacuum bag", "finish": PAINT, "replaces": METAL, "near": "engine"}))
    sheet = build_sheet(prepare(made, patterns=False), "both")
    where = {
        line: section.title for section in sheet.sections for block in section.blocks if isinstance(block, Words)
        for line in block.lines
    }  # fmt: skip
    lines = [line for s in sheet.sections for b in s.blocks if isinstance(b, Words) for line in b.lines]
    places = {
        "mix": "Resin",
        "bag": "The bag, from the tool up",
        "trim": "Trimming, finish, fitting",
        "part": "Cautions",
    }
    for one in made.rules:
        assert lines.count(one.words) == 1, one.rule
        assert where[one.words] == places.get(one.where, "Trimming, finish, fitting")


COMMANDS = [("mix", "The allergy is for life"), ("bag", "break inwards"), ("cut", "No hot wire"), ("holes", "HEPA")]


@pytest.mark.parametrize(("command", "words"), COMMANDS)
def test_the_command_says_it(command: str, words: str, tmp_path: Path) -> None:
    part = tmp_path / "panel.toml"
    part.write_text(
        'title = "Panel"\nprocess = "vacuum bag"\nresin = "epoxy, laminating"\n[surface]\n'
        'rectangle = ["300 mm", "200 mm"]\n[[holes]]\nname = "port"\ndiameter = "20 mm"\n'
        'first = ["100 mm", "100 mm"]\n[[ply]]\n'
        'fabric = "carbon plain 200"\n[[ply]]\ncore = "PVC foam 60"\nthickness = "5 mm"\n[[ply]]\n'
        'fabric = "carbon plain 200"\n',
        encoding="utf-8",
    )
    done = CliRunner().invoke(main, [command, str(part)])
    assert done.exit_code == 0, done.output
    assert " ".join(done.output.split()).count(words) == 1


def test_the_refit_names_what_its_items_call_for() -> None:
    said = suggested(["rudder", "battery, lithium", "aileron", "seat cushion"])
    assert [one.rule for one in said] == ["control surface", "battery"]
    assert said[0].words.startswith("rudder, aileron: Control surface")
    assert suggested(["wheel fairing"]) == ()
