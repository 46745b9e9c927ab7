"""What if: each row is the weight that the part file so changed would have, and nothing else is guessed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pytest import approx

from layup.choosing.what_if import adds, what_if
from layup.commands.cli import main
from layup.errors import LayupError
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
PLY = {"fabric": "carbon plain 200"}


@pytest.fixture
def plain(hatch: Hatch) -> dict[str, Any]:
    return hatch(
        surface={"rectangle": ["700 mm", "500 mm"]}, ply=[{**PLY, "angle": 45}, PLY],
        replaces=[{"name": "skin", "sheet": "aluminium 2024-T3", "thickness": "0.8 mm"}],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "change"),
    [
        ({"plies": [3]}, {"ply": [{**PLY, "angle": 45}, PLY, {**PLY, "angle": 45}]}),
        ({"plies": [1]}, {"ply": [{**PLY, "angle": 45}]}),
        ({"processes": ["wet"]}, {"process": "wet", "vacuum": None}),
        ({"processes": ["hand layup"]}, {"process": "wet", "vacuum": None}),
        (
            {"cores": ["PVC foam 60=5 mm"]},
            {"ply": [{**PLY, "angle": 45}, {"core": "PVC foam 60", "thickness": "5 mm"}, PLY]},
        ),
    ],
)
def test_a_row_weighs_what_the_file_so_written_weighs(plain: dict[str, Any], asked: Any, change: Any) -> None:
    first, row = what_if(predict(plain), **asked)
    assert first.asked == "as written"
    assert first.weighed is not None
    assert row.weighed is not None
    assert first.weighed.mass == predict(plain).mass
    written = {key: value for key, value in {**plain, **change}.items() if value is not None}
    assert row.weighed.mass.mean == approx(predict(written).mass.mean, rel=1e-12)
    assert row.saving is not None
    assert row.saving.mean + row.weighed.mass.mean == approx(first.saving.mean + first.weighed.mass.mean)  # type: ignore[union-attr]


def test_a_core_taken_out_and_skins_that_grow_alike(plain: dict[str, Any]) -> None:
    core = {"core": "PVC foam 60", "thickness": "5 mm"}
    plain["ply"] = [PLY, core, PLY]
    rows = what_if(predict(plain), plies=[4], cores=["none", "8 mm"])
    assert [row.asked for row in rows] == ["as written", "4 plies, no core", "4 plies, 8 mm"]
    assert [row.layup for row in rows] == ["0°, core, 0°", "0°, 0°, 0°, 0°", "0°, 0°, core, 0°, 0°"]
    assert rows[2].weighed is not None
    assert rows[2].weighed.layers[2].thickness == approx(8e-3)
    with pytest.raises(LayupError, match="write 2 to"):
        what_if(predict(plain), plies=[1])


def test_stiffness_against_the_old_part_by_hand(plain: dict[str, Any]) -> None:
    # a 0.8 mm sheet in place of two of 0.4 mm, bent: D goes with the cube of the thickness
    plain["replaces"] = [{"name": "skin", "sheet": "aluminium 2024-T3", "thickness": "0.4 mm"}]
    thin = what_if(predict(plain))[0].stiffness
    plain["replaces"][0]["thickness"] = "0.8 mm"
    thick = what_if(predict(plain))[0].stiffness
    assert thin is not None
    assert thick is not None
    assert thin == approx([8 * x for x in thick], rel=1e-9)
    plain["replaces"] = [{"name": "skin", "weighed": "900 g"}]
    row = what_if(predict(plain))[0]
    assert row.stiffness is None
    assert "no stiffness" in row.why


def test_what_a_coat_and_a_slip_of_the_saw_add(plain: dict[str, Any]) -> None:
    prediction = predict(plain)
    found = {one.what: one.mass for one in adds(prediction)}
    painted = predict({**plain, "finish": [{"finish": "paint, polyurethane"}]})
    assert found["one coat of paint, polyurethane"] == approx(painted.mass.mean - prediction.mass.mean)
    assert found["2 mm left at the edge"] == approx(2.4 * 0.002 * prediction.mass.mean / 0.35)  # 2.4 m round 0.35 m^2
    more = predict({**plain, "ply": [*plain["ply"], {**PLY, "angle": 45}]})
    assert found["one more ply"] == approx(more.mass.mean - prediction.mass.mean)


def test_what_cannot_be_laid_is_a_row_that_says_why(plain: dict[str, Any]) -> None:
    row = what_if(predict(plain), processes=["prepreg"])[1]
    assert (row.weighed is None) == bool(row.why)
    with pytest.raises(LayupError, match="no process"):
        what_if(predict(plain), processes=["by magic"])
    with pytest.raises(LayupError, match="mixtures"):
        what_if(predict(plain), plies=range(1, 60), cores=["none", "5 mm"])


def test_the_command(examples: Path) -> None:
    part = str(examples / "motor-glider" / "rear-window.toml")
    done = CliRunner().invoke(main, ["predict", part, "--plies", "3", "--process", "wet", "--adds", "--units", "lb"])
    assert done.exit_code == 0, done.output
    assert "3 plies, wet" in done.output
    assert "one more ply" in done.output
    told = json.loads(CliRunner().invoke(main, ["predict", part, "--plies", "3", "--json"]).output)
    assert [row["asked"] for row in told["what_if"]] == ["as written", "3 plies"]
    assert told["what_if"][0]["mass_kg"] == told["mass_kg"]
    wrong = CliRunner().invoke(main, ["predict", part, "--core", "cheese"])
    assert wrong.exit_code == 2
    assert "Traceback" not in wrong.output
