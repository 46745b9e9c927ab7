"""The command line as its user meets it: what it prints, its exit status, and that no traceback ever shows."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pytest import approx

from layup.commands.cli import main

GOOD = """\
title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 2
[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.032 in"
[[made]]
process = "wet"
weighed = "5 lb 8 oz"
[[made]]
process = "vacuum bag"
weighed = "2 lb 13 oz"
"""


def run(*words: str | Path, **env: str) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], env=env)


@pytest.fixture
def part(tmp_path: Path) -> Path:
    path = tmp_path / "hatch.toml"
    path.write_text(GOOD, encoding="utf-8")
    return path


def test_predict_prints_what_a_person_needs_first(part: Path) -> None:
    result = run("predict", part)
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert lines[0] == "Hatch"
    assert "will weigh" in lines[1]
    assert " oz (" in lines[1]
    assert "saves" in lines[2]
    for word in ("wet", "vacuum bag", "infusion", "prepreg", "old part", "resin to mix", "filler and paint"):
        assert word in result.output, word
    assert not any(line != line.rstrip() for line in lines)
    assert max(len(line) for line in lines) <= 110


def test_pounds_never_print_as_a_decimal(part: Path) -> None:
    import re

    for command in ("predict", "compare"):
        output = run(command, part).output
        assert re.search(r"\d\.\d+ lb(?! in)", output) is None, output


def test_units_follow_the_option_the_setting_and_the_file(part: Path) -> None:
    assert " lb" not in run("predict", part, "--units", "metric").output.split("!")[0]
    assert " kg" not in run("predict", part, "--units", "lb").output.split("!")[0]
    assert " lb" not in run("predict", part, LAYUP_UNITS="metric").output.split("!")[0]
    part.write_text('units = "metric"\n' + GOOD, encoding="utf-8")
    assert " lb" not in run("predict", part).output.split("!")[0]


CONTRACT: dict[str, Any] = {
    "part": str,
    "surface": {"area_m2": float, "centroid_m": list, "side": str, "findings": list},
    "process": str,
    "mass_kg": {"mean": float, "p05": float, "p95": float},
    "areal_kg_m2": float,
    "thickness_m": float,
    "fibre_kg": float,
    "resin_in_part_kg": float,
    "resin_to_mix_kg": float,
    "cg_m": list,
    "plies": list,
    "zones": list,
    "processes": list,
    "replaced": {"mass_kg": float, "items": list},
    "saving": {"mass_kg": {"mean": float, "p05": float, "p95": float}, "fraction": float},
    "cautions": list,
    "sources": list,
}


def _holds(data: Any, shape: Any, path: str = "") -> None:
    if isinstance(shape, dict):
        for key, inner in shape.items():
            assert key in data, f"{path}.{key}"
            _holds(data[key], inner, f"{path}.{key}")
    else:
        assert isinstance(data, shape), f"{path} is {type(data).__name__}"


def test_json_keeps_the_contract(part: Path) -> None:
    result = run("predict", part, "--json")
    assert result.exit_code == 0
    data = json.loads(result.output)
    _holds(data, CONTRACT)
    for process in data["processes"]:
        _holds(
            process,
            {"process": str, "mass_kg": CONTRACT["mass_kg"], "thickness_m": float, "fibre_volume_fraction": float},
        )
    assert {"material", "property", "value", "kind", "source", "at"} <= set(data["sources"][0])


def test_json_of_a_part_that_replaces_nothing(part: Path) -> None:
    part.write_text(GOOD.split("[[replaces]]")[0], encoding="utf-8")
    data = json.loads(run("predict", part, "--json").output)
    assert data["replaced"] == {"mass_kg": 0.0, "p05_kg": 0.0, "p95_kg": 0.0, "items": []}
    assert data["saving"] is None
    assert run("predict", part, "--csv").exit_code == 0


def test_csv_says_the_same_as_json(part: Path) -> None:
    data = json.loads(run("predict", part, "--json").output)
    rows = list(csv.DictReader(io.StringIO(run("predict", part, "--csv").output)))
    mass = next(row for row in rows if row["section"] == "part" and row["quantity"] == "mass")
    assert (float(mass["value"]), mass["unit"]) == (approx(data["mass_kg"]["mean"]), "kg")
    assert float(mass["p95"]) == approx(data["mass_kg"]["p95"])
    assert {row["section"] for row in rows} == {"part", "surface", "ply", "zone", "process", "replaced", "saving"}


def test_json_and_csv_together_are_refused(part: Path) -> None:
    result = run("predict", part, "--json", "--csv")
    assert result.exit_code == 2
    assert "keep one" in result.output


def test_sources_are_shown_on_request(part: Path) -> None:
    output = run("predict", part, "--sources").output
    assert "Figures this rests on" in output
    assert "aluminium 2024-T3, density" in output
    assert "2.78 g/cm^3" in output


def test_compare_shows_old_against_new(part: Path) -> None:
    output = run("compare", part).output
    for word in ("thickness", "fibre of the plies", "resin to mix", "old part", "new part", "saved"):
        assert word in output, word


def test_a_picture_is_saved_and_a_wrong_name_is_not(part: Path, tmp_path: Path) -> None:
    path = tmp_path / "hatch.png"
    assert run("predict", part, "--picture", path).exit_code == 0
    assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    wrong = run("predict", part, "--picture", tmp_path / "hatch.doc")
    assert wrong.exit_code == 2
    assert ".png" in wrong.output
    lost = run("predict", part, "--picture", tmp_path / "no" / "hatch.png")
    assert lost.exit_code == 2
    assert "Make it first" in lost.output


def test_materials_are_listed_and_one_is_shown() -> None:
    assert "carbon plain 200" in run("materials", "carbon").output
    one = run("materials", "carbon", "plain", "200").output
    assert "areal weight" in one
    assert "source" in one
    assert "carbon plain 200" in run("materials", "carbn plain 200").output  # the nearest
    rows = list(csv.DictReader(io.StringIO(run("materials", "E-glass", "--csv").output)))
    assert any(row["material"] == "E-glass" and row["property"] == "density" for row in rows)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "title"),
        ("title = ", "can't be read"),
        ('title = "x"', "surface"),
        (GOOD.replace("carbon plain 200", "carbon plane 200"), "carbon plain 200"),
        (GOOD.replace('"0.032 in"', "0.032"), "needs its unit"),
        (GOOD.replace('rectangle = ["1 m", "600 mm"]', 'mesh = "none.stl"\nunit = "mm"'), "none.stl"),
        (GOOD.replace("count = 2", "count = -2"), "count"),
    ],
)
def test_wrong_input_exits_with_2_and_a_sentence(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "part.toml"
    path.write_text(text, encoding="utf-8")
    for command in ("predict", "compare"):
        result = run(command, path)
        assert result.exit_code == 2, result.output
        assert said in result.output
        assert "Traceback" not in result.output
        assert result.exception is None or isinstance(result.exception, SystemExit)


def test_a_mistake_of_our_own_is_a_sentence_too(part: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("layup.weight.prediction.weigh_layup", broken)
    result = run("predict", part)
    assert result.exit_code == 1
    assert "mistake of its own" in result.output
    assert "Traceback" not in result.output


def test_help_is_there_for_every_command() -> None:
    for words in ([], ["predict"], ["compare"], ["materials"]):
        result = run(*words, "--help")
        assert result.exit_code == 0
        assert "Usage" in result.output


@pytest.mark.parametrize("name", ["motor-glider", "solar-car"])
def test_every_example_runs(examples: Path, name: str) -> None:
    found = [
        p
        for p in sorted((examples / name).glob("*.toml"))
        if "[[ply]]" in p.read_text(encoding="utf-8") or "stack" in p.read_text(encoding="utf-8")
    ]
    assert found
    for path in found:
        data = json.loads(run("predict", path, "--json").output)
        assert data["mass_kg"]["p05"] < data["mass_kg"]["mean"] < data["mass_kg"]["p95"], path.name
        assert data["saving"]["fraction"] > 0, path.name


def test_surface_says_what_a_file_holds(examples: Path, tmp_path: Path) -> None:
    solid = examples / "motor-glider" / "engine-bay-door-solid.stl"
    refused = run("surface", solid, "--unit", "mm")
    assert refused.exit_code == 2
    assert "--side outer" in refused.output  # as the option is written, not the key of a part file
    picture, page = tmp_path / "solid.png", tmp_path / "solid.html"
    shown = run("surface", solid, "--unit", "mm", "--side", "outer", "--picture", picture, "--page", page)
    assert shown.exit_code == 0, shown.output
    assert "cut-outs by number" in shown.output
    assert picture.read_bytes()[:4] == b"\x89PNG"
    assert "http" not in page.read_text(encoding="utf-8").replace("http://www.w3.org", "")
    data = json.loads(run("surface", solid, "--unit", "mm", "--side", "outer", "--json").output)
    assert data["area_m2"] == approx(0.2764, rel=1e-3)
    missing = run("surface", solid)
    assert missing.exit_code == 2
    assert "in inches" in missing.output
