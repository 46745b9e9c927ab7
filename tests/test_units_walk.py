"""One system of units is one system: with `lb` no screen or paper says a metric quantity, with `metric` no other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.make.build_sheet import build_sheet, prepare
from layup.materials import load_library
from layup.partfile.read import read_part
from layup.report.document import Facts, Grid, Words
from layup.weight.prediction import predict

METRIC = r"mm|cm|m|km|m²|cm²|mm²|g|kg|°C|kPa|MPa|GPa|ml|l|g/m²|kg/m²|kg m|N|N m|kN|N/mm|km/h"
OURS = r"in|ft|yd|oz|lb|°F|psi|psf|inHg|in²|ft²|oz/yd²|lb in|fl oz|lbf|ksi|Msi|kt"
FOREIGN = {
    system: re.compile(rf"(?<![\w/])[0-9][0-9.,/]*\s?(?:{units})(?![\w²/'’])")
    for system, units in (("lb", METRIC), ("metric", OURS))
}
EXAMPLES = Path(__file__).parent.parent / "examples"
PARTS = [
    "motor-glider/engine-bay-door.toml", "motor-glider/baggage-floor.toml", "motor-glider/seat-back.toml",
    "motor-glider/rear-window.toml", "motor-glider/belly-cover.toml", "solar-car/battery-lid.toml",
]  # fmt: skip
COMMANDS = [
    *(("predict", part) for part in PARTS[:4]), ("compare", "motor-glider/instrument-hood.toml"),
    ("mix", PARTS[1], "--ratio", "100:30", "--temperature", "18 degC"), ("mix", PARTS[3]), ("bag", PARTS[3]),
    ("holes", PARTS[2]), ("cut", PARTS[1], "--rough", "--seconds", "0"), ("patterns", PARTS[3]),
    ("ledger", "motor-glider/refit.toml"), ("surface", "motor-glider/engine-bay-door.stl", "--unit", "mm"),
    ("predict", PARTS[3], "--plies", "3", "--adds"),
]  # fmt: skip
NAMES = sorted((m.name for m in load_library()), key=len, reverse=True)


def foreign(text: str, system: str) -> list[str]:
    """Lines that hold a quantity of the other system; names of materials, commands and what is in quotes are none."""
    for name in NAMES:
        text = text.replace(name, "NAME")
    text = re.sub(r"`[^`]*`|\"[^\"]*\"", "QUOTED", " ".join(text.split(" ")))
    return [line.strip() for line in text.splitlines() if FOREIGN[system].search(line)]


@pytest.mark.parametrize("system", ["lb", "metric"])
@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: f"{words[0]} {Path(words[1]).stem}")
def test_a_screen_keeps_to_its_units(words: tuple[str, ...], system: str) -> None:
    command, part, *more = words
    done = CliRunner().invoke(main, [command, str(EXAMPLES / part), *more, "--units", system])
    assert done.exit_code == 0, done.output
    assert foreign(done.output, system) == []


@pytest.mark.parametrize("system", ["lb", "metric"])
@pytest.mark.parametrize("part", ["motor-glider/rear-window.toml"])
def test_the_build_sheet_keeps_to_its_units(part: str, system: str) -> None:
    job = read_part(EXAMPLES / part)
    job = type(job)(**{**vars(job), "part": job.part.model_copy(update={"units": system})})
    sheet = build_sheet(prepare(predict(job), patterns=False, ratio=0.3), system)  # type: ignore[arg-type]
    lines: list[str] = []
    for section in sheet.sections:
        for block in section.blocks:
            if isinstance(block, Words):
                lines += block.lines
            elif isinstance(block, Facts):
                lines += [f"{label}: {value}" for label, value in block.pairs]
            elif isinstance(block, Grid):
                lines += [cell for row in (block.head, *block.rows) for cell in row]
    assert foreign("\n".join(lines), system) == []


def test_the_walk_finds_what_it_looks_for() -> None:
    assert foreign("ply 1 weighs 82 g", "lb")
    assert foreign("ply 1 weighs 2 7/8 oz", "metric")
    assert not foreign("glass boat cloth 4 oz: 82 g", "metric")


CHOOSE = """title = "Lid"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["320 mm", "220 mm"]
[needs]
hand_load = "200 N"
hand_deflection = "6 mm"
angles = [0, 45]
[shelf]
fabrics = ["carbon plain 200"]
processes = ["vacuum bag"]
[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.8 mm"
"""
STOCK = """label,kind,material,width,length,amount,made,keeps
R1,roll,carbon plain 200,1.27 m,1 m,,,
E1,resin,"epoxy, laminating",,,1.2 kg,2026-01-10,12 months
"""


@pytest.mark.parametrize("system", ["lb", "metric"])
@pytest.mark.parametrize(
    "line", ["choose lid.toml", "cut door.toml --rough --seconds 0 --stock stock.csv", "stock stock.csv"]
)
def test_choose_and_the_shelf_keep_to_their_units(line: str, system: str, tmp_path: Path) -> None:
    (tmp_path / "lid.toml").write_text(CHOOSE, encoding="utf-8")
    door = CHOOSE.split("[needs]")[0] + '[[ply]]\nfabric = "carbon plain 200"\ncount = 12\n'
    (tmp_path / "door.toml").write_text(door, encoding="utf-8")
    (tmp_path / "stock.csv").write_text(STOCK, encoding="utf-8")
    words = [str(tmp_path / word) if "." in word else word for word in line.split()]
    done = CliRunner().invoke(main, [*words, "--units", system])
    assert done.exit_code == 0, done.output
    assert foreign(done.output, system) == []
