"""The shelf: remnants first, what is left and to order, resin and its age; booked when asked, and undone."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pytest import approx

from layup.commands.cli import main
from layup.errors import FaultsError, LayupError
from layup.make.batches import mixes
from layup.make.cut import cut
from layup.make.stock import of_cut, of_mix, read_stock
from layup.partfile.read import read_part
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
LIST = """label,kind,material,lot,width,length,thickness,amount,made,keeps,outline,least,note
R1,roll,glass plain 200,L17,1.27 m,12 m,,,,,,5 m,by the door
rem1,remnant,glass plain 200,L12,600 mm,700 mm,,,,,,,
rem2,remnant,glass plain 200,L12,,,,,,,"0 0, 900 0, 900 500, 500 900, 0 900 mm",,one corner is gone
E1,resin,"epoxy, laminating",A9,,,,1.2 kg,2026-01-10,12 months,,,
E2,resin,"epoxy, laminating",A7,,,,300 g,2024-01-10,12 months,,,
P1,resin,"polyester, laminating",B3,,,,2 kg,2026-09-01,2026-12-24,,,
C1,core,PVC foam 60,,600 mm,1.2 m,5 mm,,,,,,
"""
GLASS = {"fabric": "glass plain 200", "count": 2}
SIZES = ((0.5, 0.4), (0.55, 0.35), (0.6, 0.5), (0.9, 0.6), (0.3, 0.25))


def parts(hatch: Hatch) -> list[dict[str, Any]]:
    """Five parts of one cloth, three in epoxy and two in polyester."""
    made = []
    for number, (long, wide) in enumerate(SIZES):
        wet = {"process": "wet", "resin": "polyester, laminating"} if number > 2 else {}
        surface = {"rectangle": [f"{long} m", f"{wide} m"]}
        made.append(hatch(title=f"Part {number + 1}", surface=surface, ply=[GLASS], **wet))
    return made


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    path = tmp_path / "stock.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


def test_a_whole_day_to_the_gram(hatch: Hatch, shelf: Path) -> None:
    """Five parts, one roll, two remnants, two resins: what is taken and what is left is what was there."""
    jobs = [read_part(part) for part in parts(hatch)]
    stock = read_stock(shelf, jobs[0].library)
    made = cut(jobs, seconds=0, shelf=stock.shelf())
    pieces = [piece for one in made.fabrics for piece in one.pieces]
    # by hand: two plies of each rectangle
    assert sorted(piece.shape.area for piece in pieces) == approx(sorted(2 * [a * b for a, b in SIZES]))
    assert len({piece.name for piece in pieces}) == 10
    said, takes = of_cut(stock, made, "metric")
    from_remnants = [one for one in made.fabrics if one.of is not None and not one.of.roll]
    assert from_remnants
    assert made.fabrics.index(from_remnants[0]) == 0  # remnants first
    for one in from_remnants:
        assert one.of is not None
        assert one.of.outline is not None
        for laid in one.nest.laid():
            assert one.of.outline.buffer(1e-6).covers(laid)
    # cloth: what is on the list before, less what is on it after, is what the cut says it takes
    weight = jobs[0].library.get("fabric", "glass plain 200").figure("areal_weight").value

    def cloth(listed: Any) -> float:
        areas = [
            listed.left(t) * (t.width if t.kind == "roll" else 1.0)
            for t in listed.things
            if t.kind in ("roll", "remnant")
        ]
        return math.fsum(areas) * weight

    # resin: the batches of both
    predictions = [predict(job) for job in jobs]
    mixed = [mix for one in predictions for mix in mixes(one.job, one.weighed)]
    _more, poured = of_mix(stock, mixed, "metric", dt.date(2026, 11, 29))
    text, number = stock.booked((*takes, *poured), "the day")
    shelf.write_text(text, encoding="utf-8")
    after = read_stock(shelf, jobs[0].library)
    assert number == 1
    assert cloth(stock) - cloth(after) == approx(math.fsum(one.mass for one in made.fabrics), abs=1e-3)
    for resin, labels in (("epoxy, laminating", ("E1", "E2")), ("polyester, laminating", ("P1",))):
        gone = sum(s.left(t) * sign for s, sign in ((stock, 1), (after, -1)) for t in s.things if t.label in labels)
        assert gone == approx(math.fsum(mix.total for mix in mixed if mix.resin == resin), abs=1e-3)
    assert any("R1" in line and "left on it" in line for line in said)
    # undone: the very file of before
    shelf.write_text(after.undone(1), encoding="utf-8")
    again = read_stock(shelf)
    assert [(t.label, again.left(t)) for t in again.things] == [(t.label, stock.left(t)) for t in stock.things]


def test_what_to_order_in_yards_or_metres(hatch: Hatch, shelf: Path) -> None:
    shelf.write_text(LIST.replace("12 m,,,,,,5 m", "40 cm,,,,,,5 m"), encoding="utf-8")
    job = read_part(parts(hatch)[3])
    stock = read_stock(shelf, job.library)
    said, takes = of_cut(stock, cut([job, job], seconds=0, shelf=stock.shelf()), "lb")
    [order] = [line for line in said if "order" in line]
    assert "order 5.5 yd" in order  # sold from 5 m on
    assert "the least that is sold: 5.5 yd" in order
    assert takes == ()  # neither remnant holds it, the one for the corner that is gone
    metric, _ = of_cut(stock, cut([job, job], seconds=0, shelf=stock.shelf()), "metric")
    assert "order 5.0 m" in " ".join(metric)


def test_resin_that_does_not_reach_and_resin_of_no_known_age(hatch: Hatch, shelf: Path) -> None:
    shelf.write_text(LIST.replace("1.2 kg,2026-01-10,12 months", "70 g,,").replace("300 g", "30 g"), encoding="utf-8")
    stock = read_stock(shelf)
    one = predict(parts(hatch)[2])
    said, takes = of_mix(stock, mixes(one.job, one.weighed, ratio=0.3), "metric", dt.date(2024, 12, 20))
    words = " ".join(said)
    assert "its shelf life is not in the list" in words
    assert "E2 (lot A7) keeps 20 days more: use it first" in words
    assert [take.label for take in takes][:1] == ["E2"]  # the older first
    big = predict({**parts(hatch)[2], "ply": [{**GLASS, "count": 12}]})
    assert "ORDER" in " ".join(of_mix(stock, mixes(big.job, big.weighed), "metric")[0])


def test_resin_past_its_shelf_life_is_told_apart_and_never_booked(hatch: Hatch, shelf: Path) -> None:
    """E2 is past it: E1 alone must suffice, though both together would."""
    one = predict(parts(hatch)[2])
    found = mixes(one.job, one.weighed, ratio=0.3)
    need = math.fsum(batch.resin or 0.0 for mix in found for batch in mix.batches)
    day = dt.date(2026, 11, 29)
    stock = read_stock(shelf, one.job.library)
    said, takes = of_mix(stock, found, "metric", day)
    assert [(take.label, take.amount) for take in takes] == [("E1", approx(need))]
    assert "E2 (lot A7), 300 g, is 689 days past its shelf life: not counted and not taken" in " ".join(said)
    shelf.write_text(LIST.replace("1.2 kg", f"{need * 900:.1f} g"), encoding="utf-8")
    said, takes = of_mix(read_stock(shelf, one.job.library), found, "metric", day)
    assert [take.label for take in takes] == ["E1"]
    assert "ORDER" in said[0]


def test_core_comes_off_the_smallest_sheet_that_holds_it(hatch: Hatch, shelf: Path) -> None:
    ply = [GLASS, {"core": "PVC foam 60", "thickness": "5 mm"}, GLASS]
    job = read_part(hatch(surface={"rectangle": ["500 mm", "400 mm"]}, ply=ply))
    stock = read_stock(shelf, job.library)
    said, takes = of_cut(stock, cut([job], seconds=0, shelf=stock.shelf()), "metric")
    assert any("from sheet C1" in line for line in said)
    [sheet] = [take for take in takes if take.label == "C1"]
    assert sheet.over[0].area == approx(0.7 * 0.6)  # what is left of 1.2 m by 0.6 m


def test_a_booking_that_was_built_on_is_not_undone_under_it(shelf: Path) -> None:
    from shapely import box

    from layup.make.stock import Take

    stock = read_stock(shelf)
    shelf.write_text(stock.booked([Take("rem1", over=(box(0, 0, 0.3, 0.3),))], "first")[0], encoding="utf-8")
    stock = read_stock(shelf)
    assert [t.label for t in stock.things if t.booking == 1] == ["rem1-1"]
    shelf.write_text(stock.booked([Take("rem1-1")], "second")[0], encoding="utf-8")
    stock = read_stock(shelf)
    with pytest.raises(LayupError, match="Undo 2 first"):
        stock.undone(1)
    with pytest.raises(LayupError, match="no booking 7"):
        stock.undone(7)
    shelf.write_text(stock.undone(2), encoding="utf-8")
    shelf.write_text(read_stock(shelf).undone(1), encoding="utf-8")
    assert [t.label for t in read_stock(shelf).things] == ["R1", "rem1", "rem2", "E1", "E2", "P1", "C1"]


def test_every_fault_of_the_list_at_once(shelf: Path) -> None:
    shelf.write_text(
        "label,kind,material,width,length,keep\n"
        "R1,roll,glass plain 200,1.27 m,\n"
        "R1,rol,glass plain 200,1 m,1 m\n"
        "C,resin,epoxy,,,\n",
        encoding="utf-8",
    )
    with pytest.raises(FaultsError) as caught:
        read_stock(shelf)
    words = str(caught.value)
    for wrong in (
        "line 1",
        'no column "keep"',
        "line 2",
        "length",
        'line 3: kind: "rol" is none',
        "is there twice",
        "line 4",
    ):
        assert wrong in words
    assert len(caught.value.faults) >= 5


PART = """title = "Lid"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
outline = [[0, 0], [620, 0], [620, 200], [0, 410]]
unit = "mm"
[[ply]]
fabric = "glass plain 200"
angle = 30
count = 2
"""


def test_the_commands(shelf: Path) -> None:
    part = str(shelf.with_name("lid.toml"))
    Path(part).write_text(PART, encoding="utf-8")
    before = shelf.read_text(encoding="utf-8")
    day = shelf.with_name("day.pdf")
    told = CliRunner().invoke(
        main, ["cut", part, "--rough", "--seconds", "0", "--stock", str(shelf), "--copies", "2", "--mirrored", "y",
               "--day", str(day), "--paper", "letter", "--json"],
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    assert shelf.read_text(encoding="utf-8") == before  # nothing is booked until it is asked for
    data = json.loads(told.stdout)
    assert len(data["parts"]) == 4
    assert sum("other hand" in title for title in data["parts"]) == 2
    assert {one["from"]["label"] for one in data["fabrics"] if one["from"]} <= {"R1", "rem1", "rem2"}
    assert day.read_bytes().startswith(b"%PDF")
    for line in ("cut", "mix"):
        more = ["--rough", "--seconds", "0"] if line == "cut" else []
        done = CliRunner().invoke(main, [line, part, *more, "--stock", str(shelf), "--book"])
        assert done.exit_code == 0, done.output
    shown = CliRunner().invoke(main, ["stock", str(shelf), "--units", "metric"])
    assert "used up" in shown.output
    assert CliRunner().invoke(main, ["stock", str(shelf), "--undo", "2"]).exit_code == 0
    assert CliRunner().invoke(main, ["stock", str(shelf), "--undo", "1"]).exit_code == 0
    assert [t.label for t in read_stock(shelf).things] == ["R1", "rem1", "rem2", "E1", "E2", "P1", "C1"]
