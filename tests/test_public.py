"""The public face: docs/python.md runs from top to bottom, and a result fits a screen."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
from pathlib import Path

import pytest
from pytest import approx

import layup

ROOT = Path(__file__).parent.parent
FLAT = ROOT / "examples" / "motor-glider" / "access-panel.toml"
DOOR = ROOT / "examples" / "motor-glider" / "engine-bay-door.toml"


def test_the_page_runs_from_top_to_bottom(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"^```python\n(.*?)^```", (ROOT / "docs" / "python.md").read_text("utf-8"), re.S | re.M)
    assert len(blocks) >= 6
    exec(compile("\n".join(blocks), "docs/python.md", "exec"), {"__name__": "page"})
    said = capsys.readouterr().out
    assert "Prediction('Engine-bay door, left'" in said
    assert "Calibration(" in said
    assert "Ledger(" in said


def test_the_notebook_is_the_page(tmp_path: Path) -> None:
    """Cell by cell: whoever changes the page makes the notebook again, `python docs/make_notebook.py`."""
    spec = importlib.util.spec_from_file_location("make_notebook", ROOT / "docs" / "make_notebook.py")
    assert spec is not None
    assert spec.loader is not None
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    page, kept = (ROOT / "docs" / "python.md").read_text("utf-8"), (ROOT / "docs" / "python.ipynb").read_text("utf-8")
    assert kept == maker.notebook(page)
    code = ["".join(c["source"]) for c in json.loads(kept)["cells"] if c["cell_type"] == "code"]
    assert code == [block.strip() for block in re.findall(r"^```python\n(.*?)^```", page, re.S | re.M)]


def test_a_result_fits_a_screen() -> None:
    for value in (
        layup.predict(DOOR),
        layup.cut(FLAT),
        layup.patterns(FLAT)[0],
        layup.ledger(DOOR.parent / "refit.toml"),
        layup.mix(DOOR)[0],
    ):
        assert len(repr(value)) < 300, type(value)


def test_the_functions_say_what_the_commands_say() -> None:
    door = layup.predict(DOOR)
    table = layup.compare(DOOR)
    assert table.loc[table["process"] == "vacuum bag", "mass_kg_mean"].item() == approx(door.mass.mean, rel=1e-12)
    assert layup.mix(DOOR)[0].total == approx(door.weighed.resin_to_mix, rel=1e-12)


def test_pounds_and_back() -> None:
    # 1 lb = 0.45359237 kg, NIST SP 811, appendix B.8; 16 oz to the pound.
    assert layup.kilograms("2 lb 13 oz") == approx(45 / 16 * 0.45359237, rel=1e-15)
    assert layup.pounds(45 / 16 * 0.45359237) == "2 lb 13 oz"
    with pytest.raises(layup.LayupError, match="mass"):
        layup.kilograms("2 m")


def test_an_absurd_weight_is_not_kept(tmp_path: Path) -> None:
    shutil.copytree(DOOR.parent, tmp_path, dirs_exist_ok=True)
    with pytest.raises(layup.LayupError, match="Nothing was noted"):
        layup.weigh(tmp_path / DOOR.name, "12 lb", at="trimmed", folder=tmp_path)
    with pytest.raises(layup.LayupError, match="no record"):
        layup.shop(tmp_path)
    with pytest.raises(layup.LayupError, match="no stage"):
        layup.weigh(tmp_path / DOOR.name, "12 oz", at="trimed", folder=tmp_path)
