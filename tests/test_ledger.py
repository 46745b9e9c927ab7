"""The ledger: order does not matter, nothing is ever lost, and every earlier state can be shown."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from layup.commands.cli import main
from layup.errors import LayupError
from layup.learn.store import open_store
from layup.refit.balance import Balance
from layup.refit.envelope_picture import FOOT, HIGH, envelope_svg
from layup.refit.items import Item, around, from_payload
from layup.refit.job import RefitJob
from layup.refit.ledger import Ledger, enter, history, read_ledger, running, weigh
from layup.refit.loading import load_cases
from layup.refit.refitfile import read_refit
from layup.units import INCH, LB


def file(**changes: Any) -> dict[str, Any]:
    data: dict[str, Any] = {
        "title": "Refit",
        "datum": "firewall",
        "start": {"weight": "1200 lb", "cg": "78 in"},
        "limits": {"most": "1600 lb", "forward": "70 in", "aft": "86 in"},
        "place": [{"name": "pilot", "arm": "76 in"}],
        "load": [{"name": "one", "aboard": {"pilot": "180 lb"}}],
        "removed": [
            {"name": "pump", "weighed": "3 lb 7 oz", "arm": "20 in"},
            {"name": "nose weight", "weighed": "2 lb", "arm": "-30 in"},
        ],
        "added": [{"name": "panel", "listed": "1 lb", "give_or_take": "2 oz", "arm": "40 in"}],
        "moved": [{"name": "battery", "weighed": "10 lb", "from": "100 in", "to": "60 in"}],
    }
    data.update(changes)
    return data


def job(**changes: Any) -> RefitJob:
    return read_refit(file(**changes))


items = st.builds(
    Item,
    st.sampled_from(["removed", "added", "moved"]),
    st.text("abc", min_size=1, max_size=3),
    st.floats(0.0, 50.0),
    st.sampled_from(["weighed", "listed", "predicted"]),
    st.floats(-3.0, 8.0),
    st.floats(-3.0, 8.0),
)
START = Balance(540.0, 1200.0)


@given(st.lists(items, max_size=30), st.randoms(use_true_random=False))
def test_the_order_of_entries_does_not_matter(listed: list[Item], random: Any) -> None:
    shuffled = list(listed)
    random.shuffle(shuffled)
    assert running(START, shuffled) == running(START, listed)


@given(st.lists(items, max_size=10), items)
def test_remove_then_add_the_same_is_nothing(listed: list[Item], one: Item) -> None:
    off, on = replace(one, action="removed"), replace(one, action="added")
    before, after = running(START, listed), running(START, [*listed, off, on])
    assert after.mass == pytest.approx(before.mass, abs=1e-12)
    assert after.moment == pytest.approx(before.moment, abs=1e-12)
    causes = [("hand", off.change * 0.1), ("hand", on.change * 0.1)]
    assert around(0.0, causes).p95 == pytest.approx(0.0, abs=1e-12)


@given(st.lists(items, max_size=10), st.floats(-5.0, 5.0))
def test_moving_the_datum_moves_no_physical_point(listed: list[Item], by: float) -> None:
    shifted = [replace(i, arm=i.arm - by, arm_to=None if i.arm_to is None else i.arm_to - by) for i in listed]
    old = running(START, listed)
    new = running(Balance(START.mass, START.moment - by * START.mass), shifted)
    if old.mass > 1.0:
        assert new.cg + by == pytest.approx(old.cg, abs=1e-9)


def test_running_figures_by_hand() -> None:
    ledger = read_ledger(job(), None)
    pounds = 1200 - 3.4375 - 2 + 1
    moment = 1200 * 78 - 3.4375 * 20 - 2 * -30 + 1 * 40 + 10 * -40
    assert ledger.now.mass / LB == pytest.approx(pounds)
    assert ledger.now.moment / LB / INCH == pytest.approx(moment)
    assert ledger.saving.mean / LB == pytest.approx(4.4375)
    assert (ledger.saving.p95 - ledger.saving.p05) / LB == pytest.approx(0.25)  # only the listed item strays
    assert ledger.known() == {
        "weighed": (3, pytest.approx(15.4375 * LB)), "predicted": (0, 0.0), "listed": (1, pytest.approx(LB))
    }  # fmt: skip
    # The moment of what went out ahead of the datum is positive.
    assert next(r.item.moment for r in ledger.rows if r.item.name == "nose weight") > 0


def test_an_item_comes_back_from_its_payload() -> None:
    for item in job().items:
        assert from_payload(item.payload()) == item
    with pytest.raises(LayupError, match="newer layup"):
        from_payload({"colour": "red"})


def test_entering_twice_enters_nothing_twice(tmp_path: Path) -> None:
    one = job()
    with open_store(tmp_path) as store:
        assert len(enter(one, store)) == 5
        assert enter(one, store) == []
        ledger = read_ledger(one, store)
        assert not ledger.pending()
        assert ledger.now == read_ledger(one, None).now


def test_corrections_are_entries_and_every_state_can_be_shown(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        first = enter(job(), store)[-1].number
        before = read_ledger(job(), store, first).now
        heavier = job(removed=[{"name": "pump", "weighed": "4 lb", "arm": "20 in"}])
        made = enter(heavier, store, why="weighed again with its hoses")
        assert [e.payload["does"] for e in made] == ["item", "withdrawn"]
        assert made[0].payload["corrects"] == 2
        assert made[0].payload["why"] == "weighed again with its hoses"
        now = read_ledger(heavier, store)
        assert now.now.mass / LB == pytest.approx(1200 - 4 + 1)
        then = read_ledger(heavier, store, first)
        assert then.now == before
        assert then.as_of == str(first)
        assert read_ledger(heavier, store, "2999-01-01").now == now.now
        with pytest.raises(LayupError, match="nothing of"):
            read_ledger(heavier, store, "2001-01-01")
        assert len(history(store, "Refit")) == 7


def test_the_scale_takes_the_place_of_the_list_and_a_later_file_that_of_the_scale(tmp_path: Path) -> None:
    one = job()
    with open_store(tmp_path) as store:
        enter(one, store)
        entry = weigh(one, store, "Panel", 0.9 * LB, "14.4 oz", by="bench", date="2026-01-01")
        assert entry.payload["corrects"] == 4
        row = next(r for r in read_ledger(one, store).rows if r.item.name == "panel")
        assert (row.item.how, row.item.mass_text, row.item.causes, row.standing) == (
            "weighed",
            "14.4 oz",
            (),
            "entered",
        )
        assert enter(one, store) == []  # the file has not changed, so the scale stands
        other = job(added=[{"name": "panel", "weighed": "15 oz", "arm": "40 in"}])
        assert (
            next(r for r in read_ledger(other, store).rows if r.item.name == "panel").standing == "changed in the file"
        )
        assert len(enter(other, store)) == 1
        with pytest.raises(LayupError, match='Nearest: "panel"'):
            weigh(one, store, "pannel", 1.0, "1 kg")


def test_a_new_prediction_does_not_displace_what_the_scale_said(tmp_path: Path, examples: Path) -> None:
    part = {"name": "hood", "predicted": "instrument-hood.toml", "arm": "31 in"}
    one = read_refit(file(added=[part]), examples / "motor-glider")
    item = next(i for i in one.items if i.name == "hood")
    other = replace(one, items=tuple(replace(i, mass=i.mass + 0.05) if i is item else i for i in one.items))
    with open_store(tmp_path) as store:
        enter(one, store)
        row = next(r for r in read_ledger(other, store).rows if r.item.name == "hood")
        assert row.standing == "changed in the file"
        weigh(one, store, "hood", 0.52, "520 g")
        row = next(r for r in read_ledger(other, store).rows if r.item.name == "hood")
        assert (row.standing, row.item.mass, row.item.how) == ("entered", 0.52, "weighed")
        assert enter(other, store) == []


def test_a_weigh_in_of_the_part_is_offered_and_taken_over(tmp_path: Path, examples: Path) -> None:
    import shutil

    for name in ("instrument-hood.toml", "instrument-hood.obj", "shop.csv"):
        shutil.copy(examples / "motor-glider" / name, tmp_path)
    extra = '[[added]]\nname = "hood"\npredicted = "instrument-hood.toml"\n'
    path = tmp_path / "r.toml"
    path.write_text(TOML + extra)
    assert "no finished weigh-in" in run("weigh", str(path), "hood").output
    weighed = CliRunner().invoke(main, ["weigh", str(tmp_path / "instrument-hood.toml"), "1 lb 2 1/4 oz"])
    assert weighed.exit_code == 0, weighed.output
    assert "On the scale since: hood, 1 lb 2 1/4 oz" in run(str(path)).output
    assert "hood weighs 1 lb 2 1/4 oz" in run("weigh", str(path), "hood").output
    after = run(str(path)).output
    assert "On the scale since" not in after
    assert "+1 lb 2 1/4 oz" in after


def test_a_name_in_two_lists_must_be_told_apart(tmp_path: Path) -> None:
    one = job(added=[{"name": "pump", "weighed": "1 lb", "arm": "20 in"}])
    with open_store(tmp_path) as store, pytest.raises(LayupError, match="--which removed"):
        weigh(one, store, "pump", 1.0, "1 kg")


def test_a_final_weighing_is_what_counts_and_the_difference_is_told(tmp_path: Path) -> None:
    one = job(final={"weight": "1196 lb", "cg": "78.2 in"})
    ledger = read_ledger(one, None)
    assert ledger.empty.mass / LB == pytest.approx(1196)
    assert ledger.unexplained is not None
    assert ledger.unexplained / LB == pytest.approx(1196 - (1200 - 4.4375))
    loading = load_cases(one, ledger)
    assert loading is not None
    assert loading.sums[0].mass / LB == pytest.approx(1376)
    with open_store(tmp_path) as store:
        enter(one, store)
        assert read_ledger(one, store, "2999-01-01").final is not None


def test_two_refits_share_a_record_and_nothing_else(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        enter(job(), store)
        other = job(title="Another", removed=[], added=[], moved=[])
        assert read_ledger(other, store).now.mass / LB == pytest.approx(1200)
        enter(other, store)
        assert len(history(store, "Another")) == 1


def test_inside_but_not_surely() -> None:
    # 0.05 in of room aft and an item far back that strays by a pound.
    listed = {"name": "tail", "listed": "3 lb", "give_or_take": "2 lb", "arm": "250 in"}
    one = job(removed=[], moved=[], added=[listed], limits={"most": "1600 lb", "forward": "70 in", "aft": "78.2 in"})
    loading = load_cases(one, read_ledger(one, None))
    assert loading is not None
    assert loading.all_inside
    assert loading.unsure == (0,)


@pytest.mark.parametrize("least", ["1100 lb", None])
def test_the_limits_are_closed_below_only_by_a_least_weight(least: str | None) -> None:
    """Where none is given, the drawing's box runs out of its frame: no line that the lightest case lies on."""
    limits = {"most": "1600 lb", "forward": "70 in", "aft": "86 in"} | ({"least": least} if least else {})
    one = job(limits=limits)
    ledger = read_ledger(one, None)
    loading = load_cases(one, ledger)
    assert loading is not None
    svg = envelope_svg(ledger, loading, "lb", ["case"] * len(loading.names))
    box = svg.split('class="limits"')[1].split('"')[3]
    lowest = max(float(y) for y in re.findall(r" ([0-9.]+)", box))
    assert (lowest > HIGH - FOOT) == (least is None)


def test_load_case_spread_against_drawing_it() -> None:
    import numpy as np

    one = job(added=[{"name": "panel", "listed": "8 lb", "give_or_take": "2 lb", "arm": "200 in"}])
    ledger = read_ledger(one, None)
    loading = load_cases(one, ledger)
    assert loading is not None
    drawn = np.random.default_rng(1).normal(0.0, 2 * LB / 1.6448536, 200_000)
    mass, moment = loading.sums[0].mass + drawn, loading.sums[0].moment + drawn * 200 * INCH
    low, high = np.quantile(moment / mass, [0.05, 0.95])
    # First order in the spread: 2 lb on 1,380 lb curve the quotient by 0.2 %; 200,000 draws are good to 1 %.
    assert loading.cg[0].p95 - loading.cg[0].p05 == pytest.approx(high - low, rel=0.01)


WRITER = """
import sys
from layup.refit.refitfile import read_refit
from layup.refit.ledger import enter, weigh
from layup.learn.store import open_store
sys.path.insert(0, sys.argv[1])
from test_ledger import job
one = job()
with open_store(sys.argv[2]) as store:
    for n in range(int(sys.argv[3])):
        enter(one, store)
        entry = weigh(one, store, "pump", 1.5 + n / 1000, f"{1.5 + n / 1000:.3f} kg", by=sys.argv[4])
        print(entry.number, flush=True)
"""


def writer(folder: Path, count: int, name: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(Path(__file__).parent), str(folder), str(count), name]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parent.parent)


def test_writers_at_the_same_time_lose_nothing(tmp_path: Path) -> None:
    running_now = [writer(tmp_path, 12, name) for name in ("one", "two", "three")]
    told = [set(map(int, process.communicate(timeout=300)[0].split())) for process in running_now]
    assert [len(numbers) for numbers in told] == [12, 12, 12]
    with open_store(tmp_path) as store:
        entries = history(store, "Refit")
        assert set.union(*told) <= {entry.number for entry in entries}
        # The first to come entered the file's five things; nobody entered them again.
        assert len(entries) == 36 + 5
        assert store.check() == ()


def test_a_writer_killed_keeps_what_it_acknowledged(tmp_path: Path) -> None:
    process = writer(tmp_path, 10_000, "killed")
    assert process.stdout is not None
    told = [int(process.stdout.readline()) for _ in range(5)]
    time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    rest = process.communicate()[0].split("\n")
    told += [int(line) for line in rest[:-1] if line]
    with open_store(tmp_path) as store:
        assert store.check() == ()
        assert set(told) <= {entry.number for entry in history(store, "Refit")}
        assert isinstance(read_ledger(job(), store), Ledger)


def run(*words: str) -> Any:
    return CliRunner().invoke(main, ["ledger", *words])


TOML = """
title = "Refit"
datum = "firewall"
[start]
weight = "1200 lb"
cg = "78 in"
[limits]
most = "1370 lb"
forward = "70 in"
aft = "86 in"
[target]
saving = "12 lb"
[[place]]
name = "pilot"
arm = "76 in"
[[load]]
name = "heavy"
aboard = { "pilot" = "180 lb" }
[[removed]]
name = "pump"
weighed = "3 lb 7 oz"
arm = "-20 in"
"""


def test_a_limit_exceeded_cannot_be_missed_on_the_screen(tmp_path: Path) -> None:
    (tmp_path / "r.toml").write_text(TOML)
    done = run(str(tmp_path / "r.toml"))
    assert done.exit_code == 0
    lines = done.output.splitlines()
    alarm = "!!! OUTSIDE LIMITS: heavy: 6 lb 9 oz TOO HEAVY !!!"
    assert alarm in lines[0]  # first
    assert alarm in lines[-1]  # and last
    assert re.search("OUTSIDE: too heavy.* 1 heavy ", done.output)  # in its row, before its name
    assert "+68.8 lb-in" in done.output  # what is removed ahead of the datum adds moment
    assert not (tmp_path / "shop.sqlite").exists()  # looking makes nothing


def test_the_commands_in_a_row(tmp_path: Path) -> None:
    path = str(tmp_path / "r.toml")
    Path(path).write_text(TOML)
    assert "entry 2: item, removed: pump" in run("enter", path).output
    assert "nothing to enter" in run("enter", path).output
    assert "corrects entry 2" in run("weigh", path, "pump", "3 lb 9 oz", "--why", "with its hose").output
    assert "with its hose" in run("history", path).output
    assert "3 lb 7 oz" in run(path, "--as-of", "2").output
    assert "3 lb 9 oz" in run(path).output
    assert "add a [[candidate]]" in run("next", path).output
    assert "add a [[consolidation]]" in run("join", path).output
    wrong = run("weigh", path, "pump", "3.7")
    assert wrong.exit_code == 2
    assert "needs its unit" in wrong.output
    assert run(path, "--as-of", "yesterday").exit_code == 2
    assert "without a sign" in run("weigh", path, "pump", "0 oz").output
    assert "year-month-day" in run("weigh", path, "pump", "3 oz", "--date", "today").output
    Path(path).write_text(TOML.replace("1200 lb", "1201 lb"))
    assert "The first weighing in the file is not the one in the ledger" in run(path).output
    assert "entry 4: first weighing" in run("enter", path).output


def test_a_weight_far_off_is_asked_about_and_not_entered(tmp_path: Path) -> None:
    path = str(tmp_path / "r.toml")
    Path(path).write_text(
        TOML
        + '[[removed]]\nname = "radio"\nlisted = "4 lb"\narm = "40 in"\n'
        + '[[removed]]\nname = "hood"\npredicted = "hood.toml"\narm = "31 in"\n'
    )
    (tmp_path / "hood.toml").write_text(
        'title = "Hood"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nrectangle = ["700 mm", "400 mm"]\n'
        '[[ply]]\nfabric = "carbon plain 200"\n[[replaces]]\nname = "old"\nweighed = "2 lb 8 oz"\n'
    )
    run("enter", path)
    before = run("history", path).output
    for name, said, words in (
        ("pump", "350 lb", "350 lb is 102 times what is expected (3 lb 7 oz"),
        ("radio", "4 oz", "Did you mean 4 lb?"),
        ("hood", "25 lb", "times what is expected (2 lb 8 oz"),
    ):
        asked = run("weigh", path, name, said)
        assert asked.exit_code == 2, asked.output
        assert words in asked.output
        assert "Nothing was entered" in asked.output
        assert "--yes" in asked.output
    assert run("history", path).output == before
    assert run("weigh", path, "radio", "4 lb 2 oz").exit_code == 0
    assert "radio weighs 9 lb" in run("weigh", path, "radio", "9 lb", "--yes").output
    assert run("weigh", path, "radio", "9 lb 1 oz").exit_code == 0  # near what stands in the ledger
    assert run("weigh", path, "radio", "4 lb").exit_code == 0  # near what the file says
    whole = run("weigh", path, "pump", "1300 lb", "--yes")
    assert whole.exit_code == 2
    assert "more than the empty aircraft weighs" in whole.output


def test_a_ledger_that_leaves_nothing_says_so_and_what_to_do() -> None:
    whole = job()
    rows = tuple(
        replace(row, item=replace(row.item, mass=2000.0, mass_text="")) if row.item.name == "pump" else row
        for row in read_ledger(whole, None).rows
    )
    with pytest.raises(LayupError, match='heaviest is "pump" in the refit file'):
        load_cases(whole, replace(read_ledger(whole, None), rows=rows))


def test_the_interval_beside_the_move_is_that_of_the_move(tmp_path: Path) -> None:
    """1200 lb at 78 in, 4 lb (give or take 8 oz) off at 18 in: moves 4 x 60 / 1196 in = 0.2007 in, by hand."""
    listed = {"name": "radio", "listed": "4 lb", "give_or_take": "8 oz", "arm": "18 in"}
    moved = read_ledger(job(removed=[listed], added=[], moved=[]), None).cg_moved
    assert moved.mean / INCH == pytest.approx(4 * 60 / 1196)
    low, high = (off * 60 / (1200 - off) for off in (3.5, 4.5))
    assert moved.p05 / INCH == pytest.approx(low, rel=1e-3)  # the ledger's interval is to first order
    assert moved.p95 / INCH == pytest.approx(high, rel=1e-3)
    path = tmp_path / "r.toml"
    path.write_text(TOML + '[[removed]]\nname = "radio"\nlisted = "4 lb"\ngive_or_take = "8 oz"\narm = "18 in"\n')
    line = next(line for line in run(str(path)).output.splitlines() if "CG moved" in line)
    # the pump, 3 lb 7 oz off at -20 in, moves it as well: 78 - (93600 - 72 + 68.75) / 1192.5625 = 0.483 in aft
    assert " ".join(line.split()) == "CG moved +0.48 in (aft); nine in ten: +0.46 in to +0.51 in"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("weigh", "r.toml", "pump", "-3 lb"), 'a scale does not show "-3 lb". Write what it shows, without a sign'),
        (("weigh", "r.toml", "pump", "- 3 lb"), "without a sign"),
        (("frob", "r.toml"), 'has no "frob", and there is no such file'),
        (("hystory", "r.toml"), 'Nearest: "history"'),
        (("r.toml", "enter"), "enter comes before the file: layup ledger enter r.toml"),
        (("r.toml", "--as-of", "999"), "there is no entry 999: the last in the record is 2. `layup ledger history`"),
        (("history", "r.toml", "--as-of", "3"), "there is no entry 3"),
        (("r.toml", "--as-of", "2999-01-01"), "is still to come. Leave --as-of out"),
        (("r.toml", "--as-of", "0"), "was entered by entry 0"),
        (("nowhere.toml",), "no such file"),
    ],
)
def test_a_slip_is_told_with_what_to_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("r.toml").write_text(TOML)
    run("enter", "r.toml")
    done = run(*words)
    assert done.exit_code == 2
    assert said in " ".join(done.output.split())
    assert run("r.toml", "--as-of", "2").exit_code == 0


def test_names_with_brackets_are_printed_whole(tmp_path: Path) -> None:
    text = TOML.replace('"pump"', '"pump [old] [/b]"')
    text += '[[candidate]]\nname = "[red]x"\nsaves = "13 lb"\narm = "1 in"\ncost = "1 EUR"\n'
    text += '[[consolidation]]\nname = "c"\n[[consolidation.old]]\nname = "[a]"\nweighed = "1 lb"\n'
    text += '[[consolidation.new]]\nname = "[b]"\nweighed = "1 oz"\n'
    path = tmp_path / "r.toml"
    path.write_text(text)
    run("enter", str(path))
    for words, shown in ((("show",), "pump [old] [/b]"), (("next",), "[red]x"), (("join",), "[a]"),
                         (("history",), "pump [old] [/b]")):  # fmt: skip
        assert shown in run(*words, str(path)).output, words


def test_json_is_si_and_says_whether_all_is_inside(tmp_path: Path) -> None:
    import json

    (tmp_path / "r.toml").write_text(TOML)
    data = json.loads(run("show", str(tmp_path / "r.toml"), "--json").output)
    assert data["all_inside"] is False
    assert data["load_cases"][0]["breaks"] == ["too heavy"]
    assert data["now"]["mass_kg"] == pytest.approx(1196.5625 * LB)
    assert data["items"][0]["moment_kg_m"] == pytest.approx(3.4375 * 20 * LB * INCH)
