"""Words of the trade find the right row first, and are understood in a part file where they have one meaning.

Which word means which row is common practice, without a source.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.errors import FaultsError
from layup.materials import load_library
from layup.partfile.read import read_part
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]

FIRST = {
    "BID": "glass twill 300", "bid": "glass twill 300", "7725": "glass twill 300", "8.8 oz": "glass twill 300",
    "UNI": "glass unidirectional 300", "carbon UNI": "carbon unidirectional 150", "UD": "glass unidirectional 300",
    "CSM": "glass chopped mat 225", "CSM 450": "glass chopped mat 450",
    "chopped strand mat": "glass chopped mat 225",
    "1.5 oz mat": "glass chopped mat 450", "1 oz mat": "glass chopped mat 300", "3/4 oz mat": "glass chopped mat 225",
    "WR": "glass woven roving 18 oz", "woven roving": "glass woven roving 18 oz",
    "24 oz WR": "glass woven roving 24 oz",
    "DB": "glass biaxial 300", "biax": "glass biaxial 300", "1708": "glass biaxial with mat 1708",
    "DBM 1708": "glass biaxial with mat 1708", "12 oz DB": "glass biaxial 12 oz",
    "tissue": "glass veil 30", "surface veil": "glass veil 30", "flox": "adhesive, epoxy and flox",
    "micro": "filler, microballoon", "microballoons": "filler, microballoon", "bog": "filler, microballoon",
    "bondo": "filler, polyester", "bleeder": "breather 150", "breather": "breather 150",
    "4 oz breather": "breather 150",
    "10 oz breather": "breather 300", "peel ply": "peel ply, nylon", "perforated film": "release film, perforated",
    "tacky tape": "sealant tape", "flow media": "flow mesh", "7781": "glass satin 300", "282": "carbon plain 193",
    "120": "glass satin 107", "281 kevlar": "aramid plain 173", "5.7 oz carbon": "carbon plain 193",
    "6 oz boat cloth": "glass boat cloth 6 oz", "nomex": "aramid honeycomb 48", "3 lb nomex": "aramid honeycomb 48",
    "divinycell H80": "PVC foam 80", "blue foam": "XPS foam 30", "bead board": "EPS foam 15",
    "urethane foam": "PU foam 32", "coremat": "bulker mat 3 mm", "end grain balsa": "balsa, end grain 150",
    "hand layup": "wet", "hand lay-up": "wet", "vacuum bagging": "vacuum bag", "VARTM": "infusion",
    "pre-preg": "prepreg", "vinylester": "vinyl ester", "VE": "vinyl ester", "aluminum": "aluminium 2024-T3",
    "aluminum 6061-T6": "aluminium 6061-T6", "lexan": "polycarbonate", "plexiglas": "acrylic", "4130": "steel 4130",
    "dacron": "polyester, medium", "gelcoat": "gel coat", "2K paint": "paint, polyurethane",
    "carbon fiber": "carbon, standard modulus", "fiberglass": "E-glass",
}  # fmt: skip
FIRST_OF_KIND = {"kevlar": ("aramid", "aramid plain 170"), "polyester resin": ("polyester, laminating",)}


def test_there_are_sixty_of_them() -> None:
    assert len(FIRST) >= 60


@pytest.mark.parametrize("word", FIRST)
def test_a_trade_word_finds_the_right_row_first(word: str) -> None:
    assert load_library().matching(word)[0].name == FIRST[word]


@pytest.mark.parametrize("word", FIRST_OF_KIND)
def test_a_word_of_several_kinds_finds_the_first_of_each(word: str) -> None:
    first: dict[str, str] = {}
    for material in load_library().matching(word):
        first.setdefault(material.kind, material.name)
    assert set(FIRST_OF_KIND[word]) <= set(first.values())


def test_the_command_answers_one_of_them() -> None:
    said = CliRunner().invoke(main, ["materials", "BID"]).output
    assert said.startswith("glass twill 300 (fabric)")
    assert "also called: BID" in said


SAME = [
    ({"process": "hand layup"}, {"process": "wet"}),
    ({"process": "Vacuum Bagged"}, {"process": "vacuum bag"}),
    ({"resin": "polyester"}, {"resin": "polyester, laminating"}),
    ({"ply": [{"fabric": "BID"}]}, {"ply": [{"fabric": "glass twill 300"}]}),
    ({"ply": [{"fabric": "CSM 450"}]}, {"ply": [{"fabric": "glass chopped mat 450"}]}),
    (
        {"replaces": [{"name": "skin", "sheet": "aluminum 2024-T3", "thickness": "0.032 in"}]},
        {"replaces": [{"name": "skin", "sheet": "aluminium 2024-T3", "thickness": "0.032 in"}]},
    ),
    (
        {"ply": [{"fabric": "glass plain 200"}, {"core": "core mat 3 mm"}, {"fabric": "glass plain 200"}]},
        {"ply": [{"fabric": "glass plain 200"}, {"core": "bulker mat 3 mm"}, {"fabric": "glass plain 200"}]},
    ),
]


@pytest.mark.parametrize(("said", "meant"), SAME, ids=str)
def test_a_part_file_understands_it(said: dict[str, Any], meant: dict[str, Any], hatch: Hatch) -> None:
    ours, theirs = predict(hatch(process="wet") | said), predict(hatch(process="wet") | meant)
    assert ours.mass == theirs.mass
    assert ours.as_json()["plies"] == theirs.as_json()["plies"]
    assert ours.as_json()["process"] == theirs.as_json()["process"]


ASKED = [
    ({"ply": [{"fabric": "UNI"}]}, ("glass unidirectional 300", "carbon unidirectional 150")),
    ({"ply": [{"fabric": "120"}]}, ("glass satin 107", "aramid plain 61")),
    ({"ply": [{"fabric": "8.8 oz"}]}, ("glass twill 300",)),
    ({"resin": "epoxy"}, ("epoxy, laminating", "epoxy, infusion")),
]


@pytest.mark.parametrize(("said", "candidates"), ASKED, ids=str)
def test_where_it_means_several_it_asks(said: dict[str, Any], candidates: tuple[str, ...], hatch: Hatch) -> None:
    with pytest.raises(FaultsError) as caught:
        read_part(hatch(process="wet") | said)
    text = str(caught.value)
    assert "It can mean" in text
    for name in candidates:
        assert f'"{name}"' in text


def test_a_name_of_its_own_is_never_taken_for_another() -> None:
    library = load_library()
    for material in library:
        assert library.find(material.kind, material.name) is material


def test_no_remedy_sends_anyone_to_a_registry_for_a_package_of_our_name() -> None:
    import layup

    root = Path(layup.__file__).parent
    files = [
        *root.rglob("*.py"),
        *root.rglob("*.html"),
        *(root.parent / "docs").glob("*.md"),
        root.parent / "README.md",
    ]
    for path in files:
        assert not re.search(r"pip install [\"']?layup", path.read_text(encoding="utf-8")), path.name
