"""The refit file: what it may say, and every fault of it at once with its line and remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from layup.errors import FaultsError
from layup.refit.equipment import as_entries, read_equipment
from layup.refit.items import around, causes_of
from layup.refit.model import Placing, balance_point
from layup.refit.refitfile import read_refit
from layup.units import INCH, LB
from layup.weight.prediction import predict


def refit(**changes: Any) -> dict[str, Any]:
    data: dict[str, Any] = {
        "title": "Refit",
        "datum": "firewall",
        "start": {"weight": "1200 lb", "cg": "78 in"},
        "limits": {"most": "1600 lb", "forward": "70 in", "aft": "86 in"},
    }
    data.update(changes)
    return data


def faults(**changes: Any) -> str:
    with pytest.raises(FaultsError) as caught:
        read_refit(refit(**changes))
    return str(caught.value)


def test_the_shortest_file() -> None:
    job = read_refit(refit())
    assert job.start.empty.mass == pytest.approx(1200 * LB)
    assert job.start.empty.cg == pytest.approx(78 * INCH)
    assert job.items == ()


def test_scales_with_tare_and_what_was_aboard() -> None:
    start = {
        "scale": [
            {"at": "left", "reading": "505 lb", "tare": "5 lb", "arm": "80 in"},
            {"at": "right", "reading": "500 lb", "arm": "80 in"},
            {"at": "tail", "reading": "100 lb", "arm": "260 in"},
        ],
        "aboard": [{"name": "bag", "weighed": "10 lb", "arm": "100 in"}],
        "missing": [{"name": "seat", "weighed": "6 lb", "arm": "75 in"}],
    }
    empty = read_refit(refit(start=start)).start.empty
    assert empty.mass / LB == pytest.approx(1100 - 10 + 6)
    assert empty.cg / INCH == pytest.approx((80 * 1000 + 26000 - 1000 + 450) / 1096)


def test_every_way_to_give_a_mass() -> None:
    removed = [
        {"name": "a", "weighed": "3 lb 7 oz", "arm": "10 in"},
        {"name": "b", "listed": "2 lb", "give_or_take": "4 oz", "arm": "10 in"},
        {"name": "c", "each": "0.5 oz", "count": 32, "arm": "10 in"},
        {"name": "d", "volume": "2 gal", "density": "6.0 lb/gal", "level": "50 %", "arm": "10 in"},
    ]
    items = read_refit(refit(removed=removed)).items
    assert [item.mass / LB for item in items] == pytest.approx([3.4375, 2.0, 1.0, 6.0])
    assert [item.how for item in items] == ["weighed", "listed", "listed", "weighed"]
    assert items[0].mass_text == "3 lb 7 oz"
    assert items[1].spread.p95 - items[1].mass == pytest.approx(0.25 * LB)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("station 142.5 in", 142.5),
        ("14 1/4 in aft of the front bolt, station 128 1/4 in", 142.5),
        ("2 in ahead of the mark at station 100 in", 98.0),
        ("6 in forward of station 30 in", 24.0),
    ],
)
def test_balanced_on_a_bar(text: str, inches: float) -> None:
    assert balance_point(text).si / INCH == pytest.approx(inches)


def test_a_mesh_placed_in_the_aircraft(examples: Path) -> None:
    folder = examples / "motor-glider"
    x, y, z = predict(folder / "instrument-hood.toml").weighed.cg or (0, 0, 0)
    placed = {"origin": ["23 in", "1 in", "38 in"], "axes": "x aft, y right, z up"}
    job = read_refit(refit(added=[{"name": "hood", "predicted": "instrument-hood.toml", "placed": placed}]), folder)
    item = job.items[0]
    assert (item.arm, item.side, item.height) == pytest.approx((23 * INCH + x, INCH + y, 38 * INCH + z))
    assert item.how == "predicted"
    turned = Placing.model_validate({"origin": ["0 in", "0 in", "0 in"], "axes": "x forward, y left, z up"})
    assert turned.place((1.0, 2.0, 3.0)) == (-1.0, -2.0, 3.0)
    belly = Placing.model_validate({"origin": ["0 in", "0 in", "0 in"], "axes": "x aft, y up, z left"})
    assert belly.place((1.0, 2.0, 3.0)) == (1.0, -3.0, 2.0)


def test_a_mirrored_part_is_refused() -> None:
    placed = {"origin": ["0 in", "0 in", "0 in"], "axes": "x aft, y left, z up"}
    assert "mirror the part" in faults(added=[{"name": "a", "predicted": "x.toml", "placed": placed}])


def test_old_and_new_of_one_part_share_their_area(examples: Path) -> None:
    # What the file's own saving says, from its draws, against the sum of the two items with their causes.
    found = predict(examples / "motor-glider" / "engine-bay-door.toml")
    assert found.replaced is not None
    assert found.saving is not None
    causes = [*causes_of(found, "old"), *((n, -v) for n, v in causes_of(found, "new"))]
    both = around(found.saving.mass.mean, causes)
    own = found.saving.mass
    assert both.p95 - both.p05 == pytest.approx(own.p95 - own.p05, rel=0.06)
    apart = around(0.0, [(f"{side} {n}", v) for side in ("old", "new") for n, v in causes_of(found, side)])  # type: ignore[arg-type]
    assert apart.p95 - apart.p05 > 1.02 * (both.p95 - both.p05)


def test_load_cases_by_level_volume_and_mass() -> None:
    rows = [["0 %", "90 in"], ["100 %", "94 in"]]
    data = refit(
        tank=[{"name": "fuel", "holds": "20 gal", "density": "6.0 lb/gal", "arm": rows}],
        place=[{"name": "pilot", "arm": "76 in", "holds": "250 lb"}],
        load=[
            {"name": "a", "aboard": {"pilot": "180 lb", "fuel": "full"}},
            {"name": "b", "aboard": {"fuel": "5 gal"}},
            {"name": "c", "aboard": {"fuel": "60 lb"}},
            {"name": "d", "aboard": {"fuel": "half"}},
        ],
    )
    loads = read_refit(data).loads
    assert [case.sum.mass / LB for case in loads] == pytest.approx([300, 30, 60, 60])
    assert loads[0].sum.moment / LB / INCH == pytest.approx(180 * 76 + 120 * 94)
    assert loads[1].sum.cg / INCH == pytest.approx(91)
    assert loads[2].sum == pytest.approx(loads[3].sum)


def test_all_faults_at_once_with_their_lines(tmp_path: Path) -> None:
    file = tmp_path / "refit.toml"
    file.write_text(
        """title = "R"
datum = "firewall"
[start]
weight = "1200"
cg = "78 in"
[limits]
most = "1600 lb"
forward = "70 lb"
aft = "86 in"
[[removed]]
name = "pump"
weighed = "3 lb 7 oz"
[[removed]]
name = "radio"
wieghed = "4 lb"
arm = "40 in"
[[moved]]
name = "battery"
weighed = "12 lb"
from = "110 in"
"""
    )
    with pytest.raises(FaultsError) as caught:
        read_refit(file)
    text = str(caught.value)
    for words in (
        'line 4: start, weight "1200": a mass needs its unit',
        'line 8: limits, forward "70 lb"',
        "line 10: removed 1: where it is is missing",
        'line 15: removed 2, wieghed "4 lb": there is no such key. Nearest: "weighed"',
        "line 17: moved 1, to: it is missing",
    ):
        assert words in text, text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"limits": {"most": "1600 lb", "forward": "88 in", "aft": "86 in"}}, "forward limit lies behind"),
        ({"load": [{"name": "a", "aboard": {"pilto": "180 lb"}}], "place": [{"name": "pilot", "arm": "76 in"}]},
         'Nearest: "pilot"'),
        ({"load": [{"name": "a", "aboard": {"bag": "50 lb"}}],
          "place": [{"name": "bag", "arm": "90 in", "holds": "44 lb"}]}, "holds 44 lb"),
        ({"load": [{"name": "a", "aboard": {"fuel": "30 gal"}}],
          "tank": [{"name": "fuel", "holds": "20 gal", "density": "6 lb/gal", "arm": "90 in"}]}, "does not go into"),
        ({"removed": [{"name": "a", "weighed": "1 lb", "arm": "1 in"}] * 2}, "another entry has this name"),
        ({"removed": [{"name": "a", "weighed": "1 lb", "listed": "1 lb", "arm": "1 in"}]}, "exactly one of"),
        ({"removed": [{"name": "a", "predicted": "nowhere.toml", "arm": "1 in"}]}, "no such file"),
        ({"removed": [{"name": "a", "from_list": "pump", "arm": "1 in"}]}, "Name the list at the top"),
        ({"start": {"weight": "1200 lb", "cg": "78 in",
                    "aboard": [{"name": "x", "liquid": "beer", "weighed": "1 lb", "arm": "1 in"}]}},
         "not known whether this liquid"),
        ({"start": {"scale": [{"at": "l", "reading": "5 lb", "tare": "6 lb", "arm": "1 in"}] * 2}},
         "more than the reading"),
        ({"start": {"scale": [{"at": "l", "reading": "5 lb", "arm": "1 in"}]}}, "give every wheel"),
        ({"candidate": [{"name": "a", "saves": "1 lb", "arm": "1 in", "needs": ["b"]}]}, "no such other candidate"),
        ({"target": {"saving": "1 lb", "empty": "2 lb"}}, "exactly one of"),
        ({"load": [{"name": "a"}]}, "aboard: it is missing"),
        ({"removed": [{"name": "a", "weighed": "-1 lb", "arm": "1 in"}]}, "is negative"),
        ({"removed": [{"name": "a", "weighed": "1 lb", "balance_point": "about there"}]}, "station 142.5 in"),
        ({"moved": [{"name": "a", "weighed": "1 lb", "from": "1 in", "to": "2 in", "date": "3 May"}]},
         "year-month-day"),
        ({"removed": [{"name": "a", "weighed": "3437 lb", "arm": "1 in"}]},
         'removed 1, weighed "3437 lb": the empty aircraft itself weighs 1200 lb'),
        ({"moved": [{"name": "a", "listed": "1200 lb", "from": "1 in", "to": "2 in"}]}, "moved 1, listed"),
        ({"removed": [{"name": n, "weighed": "700 lb", "arm": "1 in"} for n in "ab"]}, "together more comes off"),
        ({"ballast": [{"name": "a", "arm": "1 in", "aboard": "3000 lb"}]}, 'ballast 1, aboard "3000 lb"'),
        ({"candidate": [{"name": "a", "saves": "3000 lb", "arm": "1 in"}]}, 'candidate 1, saves "3000 lb"'),
    ],
)  # fmt: skip
def test_what_is_refused_and_what_to_write(changes: dict[str, Any], words: str) -> None:
    assert words in faults(**changes)


def test_more_off_than_there_is_has_its_line(tmp_path: Path) -> None:
    file = tmp_path / "refit.toml"
    file.write_text(
        'title = "R"\ndatum = "firewall"\n[start]\nweight = "1200 lb"\ncg = "78 in"\n[limits]\nmost = "1600 lb"\n'
        'forward = "70 in"\naft = "86 in"\n[[removed]]\nname = "pump"\nweighed = "3437 lb"\narm = "20 in"\n'
    )
    with pytest.raises(FaultsError, match=r'line 12: removed 1, weighed "3437 lb"'):
        read_refit(file)


def test_an_equipment_list_from_csv_and_spreadsheet_agree(tmp_path: Path) -> None:
    from openpyxl import Workbook

    rows = [["Item", "Weight (lb)", "Arm (in)"], ["Radio", 4.125, 42.5], ["Pump", "3 lb 7 oz", 28.5], ["Mat", 2, None]]
    (tmp_path / "e.csv").write_text("\n".join(";".join("" if v is None else str(v) for v in row) for row in rows))
    book = Workbook()
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "e.xlsx")
    for name in ("e.csv", "e.xlsx"):
        found = read_equipment(tmp_path / name)
        assert [(e.name, round(e.mass / LB, 6), e.arm and round(e.arm / INCH, 6)) for e in found] == [
            ("Radio", 4.125, 42.5), ("Pump", 3.4375, 28.5), ("Mat", 2.0, None)
        ]  # fmt: skip
    job = read_refit(refit(equipment="e.csv", removed=[{"name": "old radio", "from_list": "radio"}]), tmp_path)
    assert (job.items[0].mass / LB, job.items[0].arm / INCH) == pytest.approx((4.125, 42.5))
    assert 'listed = "3 lb 7 oz"' in as_entries(read_equipment(tmp_path / "e.csv"))


def test_a_list_with_decimal_commas(tmp_path: Path) -> None:
    """One reading is read, two are asked, and a comma that shifts the row is a fault and no arm of 62 m."""
    file = tmp_path / "e.csv"
    file.write_text("Bezeichnung;Gewicht (kg);Hebelarm (m)\nFunk;2,400;0,85\n", encoding="utf-8")
    [radio] = read_equipment(file)
    assert (radio.mass, radio.arm) == pytest.approx((2.4, 0.85))  # the arm shows what the comma is in this list
    file.write_text("Bezeichnung\tGewicht (kg)\tHebelarm (m)\nFunk\t2,400\t1,250\n", encoding="utf-8")
    with pytest.raises(FaultsError, match=r'"2.400 kg" or "2400 kg"'):
        read_equipment(file)
    file.write_text("item,weight (kg),arm (m)\nPump,2.4,0.9\nRadio,0,62,1\n")
    with pytest.raises(FaultsError, match=r'line 3: Radio: 4 cells under 3 headings.*"12,5"'):
        read_equipment(file)


def test_pounds_and_ounces_in_two_columns(tmp_path: Path) -> None:
    (tmp_path / "e.csv").write_text("description,lb,oz,station in\nPump,3,7,28.5\nCap,,5 1/2,30\n")
    found = read_equipment(tmp_path / "e.csv")
    assert [entry.mass / LB for entry in found] == pytest.approx([3.4375, 5.5 / 16])


def test_a_list_without_units_is_a_fault_on_every_row(tmp_path: Path) -> None:
    (tmp_path / "e.csv").write_text("item,weight,arm\nRadio,4.1,42 in\nPump,3.7,28 in\n")
    with pytest.raises(FaultsError) as caught:
        read_equipment(tmp_path / "e.csv")
    assert str(caught.value).count("a mass needs its unit") == 2
    (tmp_path / "f.csv").write_text("colour,size\nred,4\n")
    with pytest.raises(FaultsError, match="no row of headings"):
        read_equipment(tmp_path / "f.csv")


def test_the_example_reads(examples: Path) -> None:
    job = read_refit(examples / "motor-glider" / "refit.toml")
    assert len(job.items) == 13
    assert len(job.loads) == 5
    assert len(job.candidates) == 8


DOCS = Path(__file__).parent.parent / "docs" / "refit.md"


def test_the_page_names_every_key() -> None:
    from pydantic import BaseModel

    from layup.refit import model as models

    text = DOCS.read_text(encoding="utf-8")
    tables = [m for m in vars(models).values() if isinstance(m, type) and issubclass(m, BaseModel)]
    keys = {field.alias or name for table in tables for name, field in table.model_fields.items()}
    assert len(keys) > 60
    shown = ("`{}", "{} =", ".{}]", "[{}]")
    assert not [key for key in sorted(keys) if not any(form.format(key) in text for form in shown)]


def test_the_final_weighing_of_the_page(examples: Path) -> None:
    import tomllib

    block = DOCS.read_text(encoding="utf-8").split("```toml\n")[1].split("```")[0]
    final = tomllib.loads(block)["final"]
    empty = read_refit(refit(start=final)).start.empty
    # By hand: 537.25 + 537.25 at 82.1, 87.125 at 259.6.
    assert empty.mass / LB == pytest.approx(1161.625)
    assert empty.cg / INCH == pytest.approx((1074.5 * 82.1 + 87.125 * 259.6) / 1161.625)


def test_limits_in_the_words_of_the_papers() -> None:
    from layup.refit.model import LimitsEntry

    said = LimitsEntry.model_validate({"maximum": "1600 lb", "minimum": "1100 lb", "forward": "70 in", "aft": "86 in"})
    assert said == LimitsEntry.model_validate(
        {"most": "1600 lb", "least": "1100 lb", "forward": "70 in", "aft": "86 in"}
    )
    with pytest.raises(ValueError, match="keep one"):
        LimitsEntry.model_validate({"maximum": "1 lb", "most": "1 lb", "forward": "70 in", "aft": "86 in"})


def test_what_the_seams_weigh_under_both_names() -> None:
    from click.testing import CliRunner

    from layup.commands.cli import main

    told = [CliRunner().invoke(main, ["ledger", word, "--help"]) for word in ("seams", "join")]
    assert [one.exit_code for one in told] == [0, 0]
    shown = CliRunner().invoke(main, ["ledger", "--help"]).output
    assert "seams" in shown
    assert "\n  join" not in shown
