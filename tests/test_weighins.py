"""Weigh-ins: kept with the part file and prediction of their moment, questioned when absurd, and replayed."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from oracles.replay import replay
from pytest import approx

from layup.commands.cli import main
from layup.commands.options import two_sides
from layup.errors import LayupError
from layup.learn.exchange import read_export, to_json, write_export
from layup.learn.expected import STAGES, expect, stage_mass
from layup.learn.store import FILE, open_store
from layup.learn.weighins import (
    Circumstances,
    from_entry,
    newest,
    of_piece,
    predict_piece,
    questions,
    weigh_in,
    weigh_ins,
)
from layup.units import LB, OZ

HATCH = """\
title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
trim = "20 mm"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 4
[[finish]]
finish = "paint, polyurethane"
[[extra]]
name = "latch"
mass = "50 g"
"""


@pytest.fixture
def hatch_file(tmp_path: Path) -> Path:
    path = tmp_path / "hatch.toml"
    path.write_text(HATCH, encoding="utf-8")
    return path


def run(*words: str | Path, **env: str) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], env={"LAYUP_SHOP": None, **env})


def test_a_weigh_in_is_kept_with_all_that_was_said(hatch_file: Path) -> None:
    around = Circumstances("left", 0.001, "K", 294.0, 80e3, "A-117", "slow hardener", "hatch.jpg")
    with open_store(hatch_file.parent) as store:
        noted = weigh_in(store, hatch_file, 0.9, "trimmed", "900 g", around)
        assert weigh_ins(store) == [noted]
        assert newest(store, 5) == of_piece(store, "Hatch", "left") == [noted]
        assert of_piece(store, "Hatch", "right") == []
        assert noted.circumstances == around
        assert noted.said == "900 g"
        text = store.text(noted.entry.payload["part_text"])
        then = json.loads(store.text(noted.entry.payload["prediction"]))
    assert text == HATCH
    assert then["part"] == "Hatch"
    assert then["pressure_pa"] == approx(80e3), "the vacuum that was reached, not the one hoped for"


def test_the_same_part_file_is_kept_once(hatch_file: Path) -> None:
    with open_store(hatch_file.parent) as store:
        for piece in "abc":
            weigh_in(store, hatch_file, 0.9, "trimmed", circumstances=Circumstances(piece))
        assert store.query("SELECT count(*) FROM texts") == [(2,)], "one part file, one prediction"


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_can_be_noted(hatch_file: Path, stage: str) -> None:
    with open_store(hatch_file.parent) as store:
        noted = weigh_in(store, hatch_file, 0.5, stage)
    assert noted.stage == stage
    assert (noted.ground is not None) == (stage in ("demoulded", "trimmed", "finished"))
    assert (noted.expected is None) == (stage == "left-in-cups")


def test_what_each_stage_should_weigh_adds_up(hatch_file: Path) -> None:
    prediction = predict_piece(hatch_file, None)
    job, weighed = prediction.job, prediction.weighed

    def at(stage: str) -> float:
        return stage_mass(job, weighed, stage) or 0.0

    assert at("finished") == approx(prediction.mass.mean)
    assert at("finished") - at("trimmed") == approx(weighed.finish + 0.050)
    assert at("demoulded") - at("trimmed") == approx(weighed.trimmed_off)
    # 4 plies of 0.2 kg/m^2 over 0.6 m^2 and a 20 mm strip along 3.2 m: by hand
    assert at("dry-cloth") == approx(4 * 0.2 * (0.6 + 0.02 * 3.2))
    for stage in ("demoulded", "trimmed", "finished"):
        ground = expect(job, weighed, stage)
        assert ground is not None
        assert ground.mass == approx(at(stage))
        assert 0 < ground.rest_spread < 0.1 * ground.mass


def test_an_old_weigh_in_is_replayed_after_its_files_are_gone(tmp_path: Path, examples: Path) -> None:
    home = tmp_path / "shop"
    shutil.copytree(examples / "motor-glider", home)
    door = home / "engine-bay-door.toml"
    with open_store(tmp_path) as store:
        noted = weigh_in(store, door, 0.3, "finished")
        shutil.rmtree(home)
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        seen = replay(store, noted, scratch)
    assert seen.then["mass_kg"]["mean"] == approx(seen.now.mass.mean, rel=1e-9)
    assert seen.part_text.startswith("# The left door")
    assert {z["zone"] for z in seen.then["zones"]} == {z.name for z in seen.now.zones}


def test_a_coupon_is_the_bare_layup(hatch_file: Path) -> None:
    coupon = predict_piece(hatch_file, None, (0.1, 0.1))
    weighed = coupon.weighed
    assert coupon.title == "Coupon of Hatch"
    assert weighed.fibre == approx(4 * 0.2 * 0.01)
    assert weighed.finish == weighed.extra == weighed.trimmed_off == 0.0


def test_a_record_goes_to_another_folder_and_back_exactly(hatch_file: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    with open_store(tmp_path) as store, open_store(other) as second:
        first = weigh_in(store, hatch_file, 0.1 + 0.2, "trimmed", "ein Stück", Circumstances(notes='"a", b\nc'))
        store.undo(first.entry)
        weigh_in(store, hatch_file, 0.7, "trimmed")
        for ending in (".csv", ".json"):
            read_export(second, write_export(store, tmp_path / f"r{ending}"))
        assert to_json(second) == to_json(store)
        assert [w.mass for w in weigh_ins(second)] == [0.7]
        table = "SELECT key, part, stage, mass, rest, resin, stands FROM weighins ORDER BY number"
        assert second.query(table) == store.query(table)


def test_undo_of_an_undo_reaches_the_index(hatch_file: Path) -> None:
    with open_store(hatch_file.parent) as store:
        noted = weigh_in(store, hatch_file, 0.7, "trimmed")
        undo = store.undo(noted.entry)
        assert newest(store, 9) == weigh_ins(store) == []
        again = store.undo(undo)
        assert newest(store, 9) == weigh_ins(store) == [noted]
        store.undo(again)
        assert newest(store, 9) == weigh_ins(store) == []
        assert weigh_ins(store, as_of=noted.entry.number) == [noted]


@pytest.mark.parametrize("mass", [0.0, -0.2])
def test_nothing_weighs_nothing_or_less(hatch_file: Path, mass: float) -> None:
    with open_store(hatch_file.parent) as store, pytest.raises(LayupError, match="above zero"):
        weigh_in(store, hatch_file, mass, "trimmed")


EXPECTED = {"mean": 2.7, "p05": 2.4, "p95": 3.0}


@pytest.mark.parametrize(
    ("said", "mass", "meant"),
    [
        ("2813 lb", 2813 * LB, "2813 g"),
        ("2.9 g", 0.0029, "2.9 kg"),
        ("96 lb", 96 * LB, "96 oz"),
        ("6 oz", 6 * OZ, "6 lb"),
    ],
)
def test_a_wrong_unit_is_guessed(said: str, mass: float, meant: str) -> None:
    assert meant in questions(mass, said, EXPECTED)[0]


def test_a_believable_weight_is_not_questioned() -> None:
    assert questions(2.2, "2.2 kg", EXPECTED) == ()
    assert questions(3.9, "3.9 kg", EXPECTED) == (), "far off, but no mistake of units"


# The command


def test_words_are_joined_and_the_record_starts(hatch_file: Path) -> None:
    done = run("weigh", hatch_file, "1", "lb", "14", "1/2", "oz", "--at", "trimmed", "--scale", "1/8", "oz")
    assert done.exit_code == 0, done.stderr
    assert "starts the shop's record" in done.stderr
    with open_store(hatch_file.parent) as store:
        (noted,) = weigh_ins(store)
    assert noted.mass == approx(30.5 * OZ)
    assert noted.said == "1 lb 14 1/2 oz"
    assert noted.circumstances.resolution == approx(OZ / 8)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("870", "lb"), "Did you mean 870 g?"),
        (("-3", "oz"), "not above zero"),
        (("--at", "trimmed"), "there is no weight"),
        (("2", "lb", "--at", "trimed"), 'Nearest: "trimmed"'),
        (("2813",), "2813"),
    ],
)
def test_an_absurd_weight_is_questioned_and_not_kept(hatch_file: Path, words: tuple[str, ...], told: str) -> None:
    done = run("weigh", hatch_file, *words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert not (hatch_file.parent / FILE).exists()


def test_a_weight_at_the_wrong_stage_is_questioned_with_the_one_it_fits(hatch_file: Path) -> None:
    job = predict_piece(hatch_file, None)
    wet = stage_mass(job.job, job.weighed, "wet-laminate")
    assert wet is not None
    done = run("weigh", hatch_file, f"{wet * 1e3:.0f}", "g", "--at", "bag-materials")
    assert done.exit_code == 2
    assert "--at wet-laminate?" in " ".join(done.stderr.split())
    assert not (hatch_file.parent / FILE).exists()


def test_weights_that_cant_follow_from_each_other_are_questioned(hatch_file: Path) -> None:
    assert run("weigh", hatch_file, "2", "lb", "--at", "trimmed").exit_code == 0
    done = run("weigh", hatch_file, "1", "lb", "15", "oz", "--at", "finished")
    assert "less than the 2 lb" in " ".join(done.stderr.split())
    assert run("weigh", hatch_file, "2", "lb", "2", "oz", "--at", "finished").exit_code == 0


def test_old_names_and_spellings_of_stages_are_read(hatch_file: Path) -> None:
    assert run("weigh", hatch_file, "2", "lb", "--at", "demolded").exit_code == 0
    assert run("weigh", hatch_file, "5", "oz", "--at", "cup").exit_code == 0
    with open_store(hatch_file.parent) as store:
        assert [one.stage for one in weigh_ins(store)] == ["demoulded", "left-in-cups"]
        entry = weigh_ins(store)[1].entry
        entry.payload["stage"] = "bag"  # as a record of before holds it
        assert from_entry(entry).stage == "bag-materials"


def test_what_is_typed_is_echoed_as_typed(hatch_file: Path) -> None:
    """9 1/8 oz is 258.7 g, by definition of the ounce; a rounded 9 oz is not what was typed."""
    said = run("weigh", hatch_file, "30", "1/8", "oz", "--at", "trimmed").stdout
    assert "30 1/8 oz (854 g)" in said


def test_the_sheet_names_the_stages_as_the_record_does(hatch_file: Path) -> None:
    from layup.make.points import weigh_points

    made = predict_piece(hatch_file, None)
    points = [point.stage for point in weigh_points(made.job, made.weighed)]
    assert [stage for stage in points if stage != "dry-core"] == list(STAGES)


def test_the_screen_does_not_contradict_itself(hatch_file: Path) -> None:
    for words in (("15", "oz", "--at", "resin-mixed"), ("5", "oz", "--at", "cup"), ("2", "oz", "--at", "bag")):
        assert run("weigh", hatch_file, *words).exit_code == 0
    told = run("weigh", hatch_file, "2", "lb", "4", "oz", "--at", "trimmed").stdout
    assert "not enough for it" in " ".join(told.split())
    assert "Resin alone could" not in told
    assert "more or less resin" not in told


def test_it_is_kept_where_one_insists(hatch_file: Path) -> None:
    assert run("weigh", hatch_file, "20", "lb", "--at", "trimmed", "--yes").exit_code == 0
    with open_store(hatch_file.parent) as store:
        assert weigh_ins(store)[0].mass == approx(20 * LB)


def test_the_next_prediction_says_so_and_narrows(hatch_file: Path) -> None:
    def predicted(*words: str) -> dict[str, Any]:
        done = run("predict", hatch_file, "--json", *words)
        assert done.exit_code == 0, done.stderr
        answer: dict[str, Any] = json.loads(done.stdout)
        return answer

    before = predicted()
    assert before["shop"] is None
    for piece in "123":
        assert run("weigh", hatch_file, "2", "lb", "--at", "trimmed", "--piece", piece).exit_code == 0
    after, without = predicted(), predicted("--no-shop")
    assert without == before
    assert after["shop"]["published_mass_kg"] == before["mass_kg"]
    assert after["shop"]["habits"][0]["weighed_parts"] == 3
    width = [d["mass_kg"]["p95"] - d["mass_kg"]["p05"] for d in (before, after)]
    assert width[1] < 0.6 * width[0]
    # 2 lb trimmed, the finish and the latch on top: the prediction has moved most of the way
    told = 2 * LB + before["finish_kg"] + 0.050
    assert abs(after["mass_kg"]["mean"] - told) < 0.35 * abs(before["mass_kg"]["mean"] - told)
    screen = run("predict", hatch_file).stdout
    assert "From this shop's scale (3 weighed parts)" in screen
    assert "narrower" in screen
    assert "From this shop's scale" in run("compare", hatch_file).stdout


def test_a_second_weighing_of_a_piece_stands_in_place_of_the_first(hatch_file: Path) -> None:
    run("weigh", hatch_file, "2", "lb", "--at", "trimmed")
    done = run("weigh", hatch_file, "1", "lb", "15", "oz", "--at", "trimmed")
    assert "in place of entry 1" in done.stdout
    shop = json.loads(run("shop", hatch_file.parent, "--json").stdout)
    assert [w["entry"] for w in shop["weigh_ins"]] == [2]


def test_a_metric_shop_reads_no_ounces(hatch_file: Path) -> None:
    hatch_file.write_text('units = "metric"\n' + hatch_file.read_text(encoding="utf-8"), encoding="utf-8")
    bare = run("weigh", hatch_file, "1,3", "--at", "trimmed")
    assert '"1.3 kg" or "1.3 lb"' in bare.stderr
    asked = run("weigh", hatch_file, "90", "kg", "--at", "trimmed")
    assert "times what is expected" in asked.stdout + asked.stderr
    assert not re.search(r"\b(lb|oz)\b", asked.stdout + asked.stderr)
    assert run("weigh", hatch_file, "1,3", "kg", "--at", "trimmed", "--yes").exit_code == 0
    for said in (run("shop", hatch_file.parent), run("shop", hatch_file.parent, "--history")):
        assert said.exit_code == 0
        assert not re.search(r"\b(lb|oz)\b", said.stdout), said.stdout


def test_the_shop_command_tells_and_is_told(hatch_file: Path, tmp_path: Path) -> None:
    home = hatch_file.parent
    empty = run("shop", home)
    assert empty.exit_code == 2
    assert "no record here yet" in empty.stderr
    for piece, lot in (("1", "A"), ("2", "B")):
        run("weigh", hatch_file, "2", "lb", "--at", "trimmed", "--piece", piece, "--lot", lot)
    assert "carbon plain 200" in run("shop", home).stdout
    assert "Hatch" in run("shop", home, "--history").stdout
    assert "sound" in run("shop", home, "--check").stdout
    picture = tmp_path / "shop.png"
    assert run("shop", home, "--picture", picture).exit_code == 0
    assert picture.stat().st_size > 10_000
    assert run("shop", home, "--lot", "C").exit_code == 2
    assert run("shop", home, "--lot", "A").exit_code == 0
    assert len(json.loads(run("shop", home, "--json").stdout)["weigh_ins"]) == 1
    run("shop", home, "--lot", "")
    assert run("shop", home, "--forget").exit_code == 0
    assert json.loads(run("shop", home, "--json").stdout)["habits"] == []
    out = tmp_path / "out.csv"
    assert run("shop", home, "--export", out).exit_code == 0
    new = tmp_path / "new"
    new.mkdir()
    assert run("shop", new, "--import", out).exit_code == 0
    assert (new / FILE).exists()


def test_a_damaged_record_is_said_to_be_and_recovered(hatch_file: Path) -> None:
    run("weigh", hatch_file, "2", "lb", "--at", "trimmed")
    path = hatch_file.parent / FILE
    data = bytearray(path.read_bytes())
    data[:100] = bytes(100)
    path.write_bytes(data)
    told = run("predict", hatch_file)
    assert told.exit_code == 2
    assert "shop recover" in told.stderr
    assert run("predict", hatch_file, "--no-shop").exit_code == 0
    done = run("shop", "recover", "--shop", hatch_file.parent)
    assert "1 entry and 2 texts" in done.stdout
    assert "is sound" in run("shop", "recover", "--shop", hatch_file.parent).stderr
    assert run("predict", hatch_file).exit_code == 0


def test_one_prediction_stands_behind_mix_bag_and_sheet(hatch_file: Path) -> None:
    def mass(name: str, *more: str) -> Any:
        done = run(name, hatch_file, "--json", *more)
        assert done.exit_code == 0, done.stderr
        return json.loads(done.stdout)

    published = mass("predict")
    assert run("weigh", hatch_file, "2", "lb", "--at", "trimmed").exit_code == 0
    told = mass("predict")
    chosen = next(p for p in told["processes"] if p["process"] == "vacuum bag")
    assert chosen["resin_to_mix_kg"] > 1.05 * next(
        p["resin_to_mix_kg"] for p in published["processes"] if p["process"] == "vacuum bag"
    )
    assert mass("mix")[0]["to_mix_kg"] == approx(chosen["resin_to_mix_kg"])
    assert mass("mix", "--no-shop")[0]["to_mix_kg"] == approx(
        next(p["resin_to_mix_kg"] for p in published["processes"] if p["process"] == "vacuum bag")
    )
    assert mass("bag")["resin_kept_kg"] == approx(mass("bag", "--no-shop")["resin_kept_kg"])  # per area, not per resin
    assert "From this shop's scale (1 weighed part)" in run("mix", hatch_file).stdout
    assert "From this shop's scale" not in run("mix", hatch_file, "--no-shop").stdout
    page = hatch_file.with_name("sheet.html")
    assert run("sheet", hatch_file, "--out", str(page)).exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert "weigh-ins were used in every weight here" in text
    assert f"{told['mass_kg']['mean'] * 1e3:.0f} g" in text
    assert run("sheet", hatch_file, "--out", str(page), "--no-shop", "--yes").exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert "weigh-ins were used" not in text
    assert f"{published['mass_kg']['mean'] * 1e3:.0f} g" in text


def test_processes_that_were_never_weighed_are_said_to_be(hatch_file: Path) -> None:
    told = "the other processes (wet, infusion, prepreg) are by published figures: the shop has weighed none of them"
    assert "weighed none of them" not in run("compare", hatch_file).stdout
    assert run("weigh", hatch_file, "2", "lb", "--at", "trimmed").exit_code == 0
    for name in ("compare", "predict"):
        assert told in " ".join(run(name, hatch_file).stdout.split())
    assert "weighed none of them" not in run("compare", hatch_file, "--no-shop").stdout


def test_each_habit_says_which_cloth_it_counts_for(hatch_file: Path) -> None:
    assert run("weigh", hatch_file, "1.2", "kg", "--at", "trimmed").exit_code == 0
    hatch_file.write_text(HATCH + '[[ply]]\nfabric = "carbon plain 160"\n', encoding="utf-8")
    text = " ".join(run("predict", hatch_file).stdout.split())
    assert "vacuum bag, carbon plain 200: " in text
    assert "vacuum bag, carbon plain 160 (not weighed itself, so as the shop's other cloth): " in text


def test_the_resin_of_a_part_as_predicted_is_the_predicted_share(hatch_file: Path) -> None:
    weighed = predict_piece(hatch_file, {}).weighed
    share = weighed.resin / (weighed.resin + weighed.fibre) * 100
    done = run("weigh", hatch_file, f"{weighed.mass.mean!r}", "kg")
    assert f"resin {share:.1f} % of fibre and resin by weight" in " ".join(done.stdout.split())


def test_what_fails_makes_no_record(hatch_file: Path) -> None:
    folder = hatch_file.parent
    listed = sorted(p.name for p in folder.iterdir())
    (folder / "not-a-record.json").write_text("{", encoding="utf-8")
    for words in (
        ("weigh", str(hatch_file), "--undo", "99"),
        ("shop", "undo", "5", "--shop", str(folder)),
        ("shop", "import", str(folder / "nothing.json"), "--shop", str(folder)),
        ("shop", str(folder), "--import", str(folder / "not-a-record.json")),
        ("shop", str(folder), "--start-from", str(folder / "nobody")),
    ):
        done = CliRunner().invoke(main, list(words))
        assert done.exit_code == 2, done.output
        assert "record" in done.stderr or "can't be read" in done.stderr
    assert sorted(p.name for p in folder.iterdir()) == sorted([*listed, "not-a-record.json"])


@pytest.mark.parametrize(("name", "said"), [("two-builds", "-2 oz"), ("two-builds", "0 oz"), ("versions", "0 oz")])
def test_no_version_weighs_nothing(hatch_file: Path, name: str, said: str) -> None:
    done = CliRunner().invoke(main, [name, str(hatch_file), str(hatch_file), "--weighed", "2 lb", "--weighed", said])
    assert done.exit_code == 2
    assert "not above zero" in done.stderr


@pytest.mark.parametrize("sides", ["100x100", "100", "100 mm", "0 mm x 100 mm", "100 mm x -1 mm"])
def test_sides_are_shown_as_they_are_due(hatch_file: Path, sides: str) -> None:
    for words in (
        ("weigh", str(hatch_file), "9", "g", "--coupon", sides),
        ("coupon", str(hatch_file), "--size", sides),
    ):
        done = CliRunner().invoke(main, list(words))
        assert done.exit_code == 2
        assert 'Write "100 mm x 100 mm"' in done.stderr
    assert not (hatch_file.parent / FILE).exists()


def test_sides_without_spaces_are_read() -> None:
    assert two_sides("100mmx4 in") == approx((0.1, 0.1016))


@pytest.mark.parametrize(
    ("former", "now"),
    [
        (["{}", "--history", "5"], ["history", "5", "--shop", "{}"]),
        (["{}", "--history"], ["history", "--shop", "{}"]),
        (["{}", "--undo=1"], ["undo", "1", "--shop", "{}"]),
        (["{}", "--forget", "vacuum bag"], ["forget", "vacuum bag", "--shop", "{}"]),
        (["{}", "--forget", "--since", "1"], ["forget", "--since", "1", "--shop", "{}"]),
        (["{}", "--lot", ""], ["lot", "", "--shop", "{}"]),
        (["{}", "--check"], ["check", "--shop", "{}"]),
        (["{}"], ["show", "{}"]),
    ],
)
def test_what_were_options_of_shop_are_still_understood(
    former: list[str], now: list[str], hatch_file: Path, tmp_path: Path
) -> None:
    said = []
    for number, words in enumerate((former, now)):
        home = tmp_path / f"shop {number}"
        home.mkdir()
        (home / "hatch.toml").write_text(hatch_file.read_text())
        assert run("weigh", home / "hatch.toml", "2 lb 13 oz", "--at", "trimmed", "--yes").exit_code == 0
        done = run("shop", *(word.format(home) for word in words))
        assert done.exit_code == 0, done.output
        said.append(re.sub(r"\d\d:\d\d", "", done.output))
    assert said[0] == said[1]


def test_two_things_told_the_shop_at_once_are_refused() -> None:
    done = run("shop", "--undo", "3", "--lot", "A-117")
    assert done.exit_code == 2
    assert "one at a time" in done.output


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_the_history_is_one_plain_table_with_what_was_taken_back(hatch_file: Path, form: str) -> None:
    with open_store(hatch_file.parent) as store:
        weigh_in(store, hatch_file, 0.9, "trimmed", "=900 g", Circumstances("1", person="A"))
        second = weigh_in(store, hatch_file, 1.4, "finished")
        store.undo(second.entry.number)
    out = hatch_file.with_name(f"history.{form}")
    done = run("shop", "history", "--out", out, "--shop", hatch_file.parent, "--units", "lb")
    assert done.exit_code == 0, done.output
    if form == "csv":
        import csv

        rows = list(csv.reader(out.read_text("utf-8-sig").splitlines()))
    else:
        from openpyxl import load_workbook

        rows = [list(row) for row in load_workbook(out).active.iter_rows(values_only=True)]
    assert len(rows) == 3  # a row a weigh-in, and the headings
    first, other = (dict(zip(rows[0], row, strict=True)) for row in rows[1:])
    assert float(first["weighed, oz"]) == approx(0.9 / OZ, abs=1e-5)
    assert float(first["from"]) < float(first["expected, oz"]) < float(first["to"])
    assert first["who"] == "A"
    assert not str(first["as typed"]).startswith("=")
    assert (first["stands"] or "", other["stands"]) == ("", "taken back")
    assert run("shop", "history", "--out", out.with_suffix(".doc"), "--shop", hatch_file.parent).exit_code == 2
