"""What is well-formed and can't be: each command refuses it with a sentence, or asks, and what is likely it takes."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from layup.commands.cli import main

PART = """title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
"""
CLOTH = "carbon plain 200"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "hatch.toml").write_text(PART)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(result: Result, *said: str) -> None:
    assert result.exit_code == 2, result.output
    assert "mistake of its own" not in result.output
    assert "Traceback" not in result.output
    for words in said:
        assert words in result.output


# What stands in a part file, and the words of the fault.
IN_PART = {
    'fabric = "carbon plain 200"\ncount = 400': "Write 100 or less",
    'fabric = "carbon plain 200"\noverlap = "2 m"\nseam = "1 m"': "more than 500 mm",
    'fabric = "carbon plain 200"\nresin_content = "97 %"': "10 % to 92 %",
    'fabric = "carbon plain 200"\nresin_content = "300 %"': "resin_content",
    'fabric = "carbon plain 200"\nfibre_volume_fraction = 0.01': "0.05 to 0.80",
    'fabric = "carbon plain 200"\nfibre_volume_fraction = 1': "0.05 to 0.80",
    'fabric = "carbon plain 200"\n[[finish]]\nfinish = "primer, epoxy"\ncoats = 10000': "Write 20 or less",
    'fabric = "carbon plain 200"\n[[finish]]\nfinish = "filler, epoxy light"\nthickness = "290 mm"': "50 mm",
}


@pytest.mark.parametrize("ply", IN_PART)
def test_a_part_file(shop: Path, ply: str) -> None:
    (shop / "odd.toml").write_text(PART.replace('fabric = "carbon plain 200"', ply))
    refused(run("predict", "odd.toml"), "odd.toml", "line ", IN_PART[ply])


def test_more_zones_than_a_part_has(shop: Path) -> None:
    """Thousands that lie over each other would keep the program busy for hours."""
    zones = "".join(f'[[zone]]\nname = "z{n}"\nbetween = "x {n} mm {n + 50} mm"\n' for n in range(501))
    (shop / "odd.toml").write_text(PART + zones)
    refused(run("predict", "odd.toml"), "odd.toml", "501 of them", "Up to 500")


def test_a_trim_in_a_part_file(shop: Path) -> None:
    for trim in ("-5 mm", "2 m"):
        (shop / "odd.toml").write_text(f'trim = "{trim}"\n{PART}')
        refused(run("predict", "odd.toml"), "line 1", "trim")


@pytest.mark.parametrize("vacuum", ["-40 inHg", "0 inHg", "0 kPa", "-1.8 bar"])
def test_a_vacuum_that_no_bag_holds(shop: Path, vacuum: str) -> None:
    (shop / "odd.toml").write_text(f'vacuum = "{vacuum}"\n{PART}')
    refused(run("predict", "odd.toml"), "line 1", "vacuum")


# Rows of a shop's own table, and where the figure can lie.
IN_TABLE = {
    ("ours resin,type,resin", "ours resin,density,0.115 g/cm^3"): "0.8 to 2.5 g/cm^3",
    ("ours resin,type,resin", "ours resin,density,25 g/cm^3"): "0.8 to 2.5 g/cm^3",
    ("ours cloth,type,fabric", "ours cloth,areal_weight,20 kg/m^2"): "3 to 6000 g/m^2",
    ("ours,like,vacuum bag", "ours,fibre_volume_fraction (cloth),1"): "0.05 to 0.80",
    ("ours,like,vacuum bag", "ours,fibre_volume_fraction (cloth),0.01"): "0.05 to 0.80",
    ("ours fibre,type,fibre", "ours fibre,density,17.6 g/cm^3"): "0.6 to 5 g/cm^3",
    ("ours,type,process", "ours,surface_resin,5 kg/m^2"): "0 to 1 kg/m^2",
    ("ours,type,process", "ours,loss,1"): "0 to 80 %",
    ("ours,type,process", "ours,pressure,0 kPa"): "1 to 5000 kPa",
}


@pytest.mark.parametrize("rows", IN_TABLE)
def test_a_table(shop: Path, rows: tuple[str, str]) -> None:
    text = "\n".join(f"{row},assumed,ours,here" for row in rows)
    (shop / "shop.csv").write_text(f"material,property,value,kind,source,at\n{text}\n")
    (shop / "odd.toml").write_text(f'materials = ["shop.csv"]\n{PART}')
    refused(run("predict", "odd.toml"), "shop.csv", "line 3", IN_TABLE[rows])


CUT = ["cut", "hatch.toml", "--rough", "--seconds", "0"]


@pytest.mark.parametrize(
    "words",
    [
        [*CUT, "--gap", "-5 mm"], [*CUT, "--gap", "1 m"], [*CUT, "--edge", "-50 mm"], [*CUT, "--edge", "1 m"],
        [*CUT, "--roll", f"{CLOTH}=-1 m"], [*CUT, "--roll", f"{CLOTH}=90 m"], [*CUT, "--roll", f"{CLOTH}=1e300 m"],
        [*CUT, "--defect", f"{CLOTH}=1e300 m,0 m,1 m,1 m"], [*CUT, "--defect", f"{CLOTH}=-5 m,0 m,1 m,1 m"],
        [*CUT, "--defect", f"{CLOTH}=1 m,4 m,1 m,1 m"], [*CUT, "--defect", f"{CLOTH}=1 m,0 m,0 m,1 m"],
        ["cut", "hatch.toml", "--rough", "--seconds", "inf"], ["cut", "hatch.toml", "--rough", "--seconds", "1e9"],
        ["cut", "hatch.toml", "--rough", "--seconds", "nan"],
        ["sheet", "hatch.toml", "--seconds", "inf"],
        ["patterns", "hatch.toml", "--no-splices", "--trim", "-5 mm"],
        ["patterns", "hatch.toml", "--no-splices", "--trim", "2 m"],
    ],
    ids=lambda words: " ".join(words[2:]),
)  # fmt: skip
def test_an_option(shop: Path, words: list[str]) -> None:
    refused(run(*words))


# What stands beside a weight, or where a scale is read; the words of the answer. `--yes` enters none of them.
BESIDE = {
    ("250 g", "--vacuum", "0 inHg"): "0.1 to 110 kPa",
    ("250 g", "--vacuum", "-90 inHg"): "0.1 to 110 kPa",
    ("250 g", "--temperature", "500 degC"): "Check the unit",
    ("250 g", "--scale", "0 g"): "0.001 g to 10 kg",
    ("250 g", "--scale", "-1 g"): "0.001 g to 10 kg",
    ("250 g", "--piece", " "): "The piece has no name",
    ("250 g", "--piece", "a\0b"): "can't be kept",
    ("250 g", "--note", "a\udcffb"): "can't be kept",
    ("250 g", "--lot", "\x1b[31m"): "can't be kept",
    ("250 g", "--person", "x" * 201): "200 or fewer",
    ("5 g", "--coupon", "100 mm x 100 mm", "--plies", "9" * 20): "1 to 100",
    ("-2 lb",): "not above zero",
    ("nan lb",): "cannot be read",
}


@pytest.mark.parametrize("words", BESIDE, ids=ascii)
def test_what_is_noted_beside_a_weight(shop: Path, words: tuple[str, ...]) -> None:
    refused(run("weigh", "hatch.toml", "--yes", *words[1:], "--", words[0]), BESIDE[words])
    assert not (shop / "shop.sqlite").exists()


def test_a_weight_that_can_hardly_be_is_asked_about(shop: Path) -> None:
    for weight, stage, said in (
        ("40 kg", "finished", "Is that right?"), ("200 g", "left-in-cups", "more than all the resin"),
        ("30 kg", "resin-mixed", "Is that right?"), ("1 g", "dry-cloth", "Is that right?"),
    ):  # fmt: skip
        refused(run("weigh", "hatch.toml", weight, "--at", stage), said, "Nothing was noted")
    assert not (shop / "shop.sqlite").exists()
    assert run("weigh", "hatch.toml", "150 g", "--at", "left-in-cups").exit_code == 0


def test_a_gauge_that_marks_vacuum_with_a_minus_is_read(shop: Path) -> None:
    from layup.learn.store import open_store

    assert run("weigh", "hatch.toml", "250 g", "--vacuum", "-20 inHg", "--yes").exit_code == 0
    with open_store(shop) as store:
        (entry,) = store.entries("weigh-in")
    assert entry.payload["vacuum"] == pytest.approx(20 * 3386.389, rel=1e-5)


@pytest.mark.parametrize(
    "words",
    [["mix", "hatch.toml", "--cup", "0 ml"], ["mix", "hatch.toml", "--cup", "-250 ml"],
     ["mix", "hatch.toml", "--cup", "1e9 l"], ["shop", "history", "9" * 25], ["shop", "history", "0"]],
    ids=lambda words: words[-1][:9],
)  # fmt: skip
def test_a_size_or_a_number_that_cannot_be(shop: Path, words: list[str]) -> None:
    refused(run(*words))


@pytest.mark.parametrize(
    ("moment", "said"),
    [("2026-13-45", "not a time"), ("0001-01-01T00:00+14:00", "not a time"), ("yesterday", "not a time"),
     ("9999-12-31", "still to come")],
)  # fmt: skip
def test_a_moment_that_never_was(moment: str, said: str) -> None:
    from layup.errors import LayupError
    from layup.learn.moments import moment_of

    with pytest.raises(LayupError, match=said):
        moment_of(moment)


ODD = [float("nan"), float("inf"), 1e9, 1e300, -1e9, "x", None, True, [], {}]


def test_a_layout_file_with_any_value_anywhere(shop: Path) -> None:
    """Of a layout, each number and list is set to each kind of value: it is refused, or the cut is made."""
    assert run(*CUT, "--save").exit_code == 0
    whole = json.loads((shop / "hatch.cut.json").read_text())
    fabric = whole["fabrics"][0]
    places: list[tuple[str | int, ...]] = [("fabrics",), ("fabrics", 0)]
    places += [("fabrics", 0, key) for key in fabric]
    places += [("fabrics", 0, "roll", key) for key in fabric["roll"]]
    places += [("fabrics", 0, "pieces", 0)] + [("fabrics", 0, "pieces", 0, key) for key in fabric["pieces"][0]]
    places += [("fabrics", 0, "pieces", 0, "outline", 0), ("fabrics", 0, "pieces", 0, "outline", 0, 0, 0)]
    dice = random.Random(5)
    count = 0
    for place in places:
        for value in dice.sample(ODD, 3):
            odd = json.loads(json.dumps(whole))
            here = odd
            for step in place[:-1]:
                here = here[step]
            here[place[-1]] = value
            (shop / "odd.json").write_text(json.dumps(odd))
            done = run(*CUT, "--used", "odd.json")
            count += 1
            assert done.exit_code in (0, 2), f"{place} = {value}: {done.output}"
            assert "mistake of its own" not in done.output, f"{place} = {value}: {done.output}"
            assert "more memory" not in done.output, f"{place} = {value}"
    assert count > 50
    for value in (float("nan"), 1e9):
        fabric["pieces"][0]["x"] = value
        (shop / "odd.json").write_text(json.dumps(whole))
        refused(run(*CUT, "--used", "odd.json"), "holds no layouts")


def test_a_prepreg_part_that_replaces_a_wet_laminate(shop: Path) -> None:
    (shop / "pre.toml").write_text(
        PART.replace('process = "vacuum bag"\nresin = "epoxy, laminating"', 'process = "prepreg"')
        + '[[replaces]]\nname = "old"\nfabric = "glass plain 200"\nprocess = "wet"\n'
    )
    done = run("predict", "pre.toml")
    assert "mistake of its own" not in done.output
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["0.62 mm", "0.38 mm"]', "Check the unit of [surface]"),
        (
            "[[ply]]",
            '[[zone]]\nname = "edge"\nwithin = "60 cm of edge"\n[[ply]]\nzone = "edge"',
            "covers the whole part",
        ),
        ("[[ply]]", '[[zone]]\nname = "edge"\nwithin = "60 mm of edge"\n[[ply]]\nzone = "edge"', ""),
    ],
)
def test_a_unit_that_is_doubted_is_asked_above_the_figures(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = tmp_path / "hatch.toml"
    path.write_text(PART.replace(old, new), encoding="utf-8")
    out = run("predict", path).stdout
    head = out.split("will weigh")[0]
    assert ("Is that right?" in head) == bool(said), head
    assert said in head
    assert out.count("Is that right?") == bool(said)
