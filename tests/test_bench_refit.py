"""The refit's page: every figure is the one of `layup ledger --json`, and every entry can be taken back."""

from __future__ import annotations

import html
import json
import re
import shutil
import time
import tomllib
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bench_page import alike, forms
from click.testing import CliRunner
from pytest import approx

from layup.bench.app import build
from layup.commands.cli import main
from layup.learn.store import FILE, open_store
from layup.learn.weighins import weigh_ins
from layup.refit.record_words import arm_kept, change_kept, mass_kept, moment_kept

PORT, KEY = 8444, "key-of-the-tests"
ORIGIN = f"http://127.0.0.1:{PORT}"
DOOR = """\
title = "Door"
process = "vacuum bag"
resin = "epoxy, laminating"
units = "lb"
arm = "62 in"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 2
[[replaces]]
name = "old door"
weighed = "3 lb 4 oz"
"""
REFIT = """\
# A remark that must stay.
title = "Winter"
datum = "tip of the spinner"
units = "lb"

[start]
date = "2025-11-08"

[[start.scale]]
at = "left"                       # under the left wheel
reading = "556 lb 8 oz"
tare = "3 lb 4 oz"
arm = "82.1 in"

[[start.scale]]
at = "right"
reading = "551 lb"
arm = "82.1 in"

[[start.scale]]
at = "tail"
reading = "91 lb 12 oz"
arm = "259.6 in"

[limits]
most = "1653 lb"
forward = "83 in"
aft = "97 in"

[target]
saving = "6 lb"

[[place]]
name = "seat"
arm = "77 in"

[[load]]
name = "pilot alone"
aboard = { "seat" = "176 lb" }

[[removed]]
name = "vacuum pump"
weighed = "3 lb 7 oz"             # with its hoses
arm = "28.5 in"

[[removed]]
name = "old door"
predicted = "door.toml"

[[added]]
name = "new door"
predicted = "door.toml"

[[candidate]]
name = "seat pans"
saves = "4 lb"
give_or_take = "8 oz"
arm = "78 in"
cost = "210 EUR"
hours = "30 h"

[[candidate]]
name = "shroud"
saves = "1 lb 2 oz"
arm = "36 in"
cost = "60 EUR"
hours = "8 h"
"""


class Page:
    """The page as a browser without script uses it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.guard = build(folder, KEY, PORT)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the test client's advice on which of two clients to install
            from starlette.testclient import TestClient
        self.client = TestClient(
            self.guard, base_url=ORIGIN, cookies={f"bench-{PORT}": KEY}, headers={"origin": ORIGIN}
        )

    def get(self, path: str = "/refit", status: int = 200, **query: str) -> str:
        answer = self.client.get(path, params={"file": "refit.toml", **query})
        assert answer.status_code == status, answer.text
        return html.unescape(answer.text)

    def post(self, path: str, form: dict[str, str] | None = None, status: int = 200) -> str:
        answer = self.client.post(path, params={"file": "refit.toml"}, data=form or {})
        assert answer.status_code == status, answer.text
        return html.unescape(answer.text)

    def json(self, **query: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.client.get("/refit/json", params={"file": "refit.toml", **query}).text)
        return found

    @property
    def text(self) -> str:
        return (self.folder / "refit.toml").read_text(encoding="utf-8")


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    (tmp_path / "door.toml").write_text(DOOR, encoding="utf-8")
    (tmp_path / "refit.toml").write_text(REFIT, encoding="utf-8")
    made = Page(tmp_path)
    yield made
    made.guard.close()


def command(folder: Path, *words: str) -> str:
    done = CliRunner().invoke(main, ["ledger", *words], env={"LAYUP_SHOP": None})
    assert done.exit_code == 0, done.output
    return done.output


def told(folder: Path, *more: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(command(folder, "show", str(folder / "refit.toml"), "--json", *more))
    return found


def figures(text: str) -> str:
    """The words of a page without its tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_every_figure_is_the_commands(page: Page) -> None:
    page.post("/refit/enter")
    theirs, ours, text = told(page.folder), page.json(), figures(page.get())
    assert ours == theirs
    for what in ("start", "now"):
        for word in (mass_kept(theirs[what]["mass_kg"], "lb"), arm_kept(theirs[what]["cg_m"], "lb"),
                     moment_kept(theirs[what]["moment_kg_m"], "lb")):  # fmt: skip
            assert word in text, (what, word)
    saving = theirs["saving_kg"]
    assert mass_kept(saving["mean"], "lb") + " saved so far" in text
    assert f"{mass_kept(saving['p05'], 'lb')} to {mass_kept(saving['p95'], 'lb')}" in text
    assert len(theirs["items"]) == 3
    for item in theirs["items"]:
        row = text[text.index(item["name"]) :][:400]
        for word in (change_kept(item["change_kg"], "lb"), arm_kept(item["arm_m"], "lb"),
                     moment_kept(item["moment_kg_m"], "lb")):  # fmt: skip
            assert word in row, (item["name"], word)
    (case,) = theirs["load_cases"]
    for word in (mass_kept(case["mass_kg"], "lb"), arm_kept(case["from_aft_limit_m"], "lb")):
        assert word in text


def test_the_example_is_the_commands_too(tmp_path: Path, examples: Path) -> None:
    for name in (
        "refit.toml",
        "equipment.csv",
        "shop.csv",
        "instrument-hood.toml",
        "instrument-hood.obj",
        "rear-window.toml",
    ):
        shutil.copy(examples / "motor-glider" / name, tmp_path / name)
    text = (tmp_path / "refit.toml").read_text(encoding="utf-8")
    dear = r"\[\[(added|candidate)\]\]\nname = \"(engine-bay door, carbon|baggage floor|belly cover)\".*?\n\n"
    text = re.sub(dear, "", text, flags=re.DOTALL)  # what takes long to read
    (tmp_path / "refit.toml").write_text(text, encoding="utf-8")
    page = Page(tmp_path)
    assert alike(page.json(), told(tmp_path))
    shown = figures(page.get())
    assert "Motor glider, winter refit" in shown
    assert "11 3/4 oz of it is seams" in shown
    page.guard.close()


def test_entering_weighing_and_taking_back(page: Page) -> None:
    assert "3 items of the file differ" in figures(page.get())
    assert "4 entered: entries 1 to 4" in page.post("/refit/enter", {"why": "from the list"})
    assert "nothing to enter" in page.post("/refit/enter")
    before = page.json()
    text = page.post("/refit/weigh", {"item": "added|new door", "item.weight": "1 lb 1 oz", "item.by": "club"})
    assert "Entry 5 (corrects entry 4): new door weighs 1 lb 1 oz" in text
    assert "1 lb 1 oz or 482 g" in text
    weighed = page.json()
    assert alike(weighed, told(page.folder))
    (door,) = [item for item in weighed["items"] if item["name"] == "new door"]
    assert (door["known_by"], door["mass_kg"]["mean"]) == ("weighed", approx(17 * 0.45359237 / 16))
    text = page.post("/refit/take-back", {"number": "5"})
    assert "Restore entry" in text
    assert page.json() == before
    assert alike(before, told(page.folder))
    undo = re.search(r'name="number" value="(\d+)"><input type="hidden" name="again"', text)
    assert undo is not None
    page.post("/refit/take-back", {"number": undo[1], "again": "1"})
    assert page.json() == weighed


def test_an_absurd_weight_is_questioned(page: Page) -> None:
    page.post("/refit/enter")
    form = {"item": "removed|vacuum pump", "item.weight": "350 lb"}
    text = page.post("/refit/weigh", form)
    assert '"vacuum pump": 350 lb is 102 times what is expected' in text
    assert 'value="350 lb"' in text, "it stays typed"
    assert len(page.json()["items"]) == 3
    assert page.json()["items"][0]["as_written"] == "3 lb 7 oz"
    other = page.post("/refit/weigh", {**form, "item.weight": "340 lb", "sure": "removed|vacuum pump: 350 lb"})
    assert "340 lb is" in other, "the answer was about another weight"
    text = page.post("/refit/weigh", {**form, "sure": "removed|vacuum pump: 350 lb"})
    assert "vacuum pump weighs 350 lb" in text
    assert page.json()["items"][0]["as_written"] == "350 lb"


def test_a_decimal_of_a_pound_is_asked_about(page: Page) -> None:
    page.post("/refit/enter")
    text = page.post("/refit/weigh", {"item": "removed|vacuum pump", "item.weight": "3.7 lb"})
    assert "3.7 lb is 3 lb 11 1/4 oz" in text
    assert page.json()["items"][0]["as_written"] == "3 lb 7 oz"
    text = page.post("/refit/weigh", {"item": "removed|vacuum pump", "item.weight": "3.7"}, 422)
    assert "needs its unit" in text


def test_a_weight_stays_with_its_item_through_a_question_and_a_reload(page: Page) -> None:
    page.post("/refit/enter")
    asked = page.post("/refit/weigh", {"item": "added|new door", "item.weight": "350 lb"})
    assert "times what is expected" in asked
    for text in (asked, page.get()):
        typed = [f["fields"] for f in forms(text) if f["fields"].get("item.weight")]
        assert [(f["item"], f["item.weight"]) for f in typed] == [("added|new door", "350 lb")]
    sent = next(f["fields"] for f in forms(asked) if f["fields"].get("item.weight"))
    page.post("/refit/weigh", sent)
    assert [i["as_written"] for i in page.json()["items"] if i["name"] == "new door"] == ["350 lb"]
    assert page.json()["items"][0]["as_written"] == "3 lb 7 oz"


def test_a_weight_that_cannot_be_read_stays_typed(page: Page) -> None:
    text = page.post("/refit/weigh", {"item": "removed|vacuum pump", "item.weight": "3 lbz", "item.by": "club"}, 422)
    assert 'name="item.weight" value="3 lbz"' in text
    assert 'name="item.by" value="club"' in page.get()
    assert not (page.folder / FILE).exists()


def test_a_weigh_in_of_the_part_is_taken_over(page: Page) -> None:
    page.post("/refit/enter")
    done = CliRunner().invoke(main, ["weigh", str(page.folder / "door.toml"), "1 lb 2 oz"], env={"LAYUP_SHOP": None})
    assert done.exit_code == 0
    with open_store(page.folder) as store:
        assert len(weigh_ins(store)) == 1
    assert "On the scale since" in page.get()
    page.post("/refit/weigh", {"item": "added|new door", "do": "over", "sure": "added|new door: 1 lb 2 oz"})
    assert alike(page.json(), told(page.folder))
    assert [i["as_written"] for i in page.json()["items"] if i["name"] == "new door"] == ["1 lb 2 oz"]


def test_how_it_stood_then(page: Page) -> None:
    page.post("/refit/enter")
    page.post("/refit/weigh", {"item": "removed|vacuum pump", "item.weight": "3 lb 6 oz"})
    assert alike(page.json(as_of="3"), told(page.folder, "--as-of", "3"))
    text = page.get(as_of="3")
    assert "As it stood after entry 3" in text
    assert 'id="enter"' not in text
    assert 'id="weigh-enter"' not in text, "nothing can be changed there"
    assert "there is no entry 99" in page.get(as_of="99").casefold()
    assert "is still to come" in page.get(as_of="2999-01-01")


def test_an_item_is_added_to_the_file_and_nothing_else_is_touched(page: Page) -> None:
    before = page.text
    form = {"op": "add", "form": "listed", "new.table": "removed", "new.name": "old radio", "new.weight": "4 lb 2 oz",
            "new.give": "2 oz", "new.arm": "42.5 in"}  # fmt: skip
    page.post("/refit/edit", form)
    lines = page.text.splitlines()
    assert [line for line in before.splitlines() if line not in lines] == []
    assert [line for line in lines if line not in before.splitlines()] == [
        'name = "old radio"', 'listed = "4 lb 2 oz"', 'give_or_take = "2 oz"', 'arm = "42.5 in"',
    ]  # fmt: skip
    assert page.json()["items"][2]["name"] == "old radio"
    page.post("/refit/undo")
    assert page.text == before
    page.post("/refit/redo")
    assert 'name = "old radio"' in page.text


def test_the_first_weighing_is_changed_with_its_remarks_kept(page: Page) -> None:
    page.post("/refit/enter")
    form = {"op": "weighing", "start.scale.0.reading": "557 lb", "start.scale.0.at": "left", "start.date": "2025-11-08"}
    text = page.post("/refit/edit", form)
    assert page.text == REFIT.replace("556 lb 8 oz", "557 lb")
    assert "The first weighing in the file is not the one in the ledger" in figures(text)
    page.post("/refit/edit", {"op": "target", "target.saving": "9 lb"})
    assert 'saving = "9 lb"' in page.text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"new.name": "x", "new.weight": "4", "new.arm": "1 in"}, "needs its unit"),
        ({"new.name": "x", "new.weight": "4 lb"}, "where it is is missing"),
        ({"new.name": "vacuum pump", "new.weight": "4 lb", "new.arm": "1 in"}, "another entry has this name"),
        ({"new.name": "", "new.weight": "4 lb"}, "needs a name"),
        ({"new.name": "x", "new.weight": "4000 lb", "new.arm": "1 in"}, "the empty aircraft itself weighs"),
    ],
)
def test_what_would_break_the_file_is_not_written(page: Page, form: dict[str, str], said: str) -> None:
    text = page.post("/refit/edit", {"op": "add", "form": "weighed", "new.table": "removed", **form}, 422)
    assert said in text.replace("Where", "where").replace("The item", "the item")
    assert page.text == REFIT
    assert all(f'value="{value}"' in text for value in form.values() if value), "what was typed stays"


def test_an_edit_on_an_old_page_is_refused(page: Page) -> None:
    base = re.search(r'name="base" value="(\w+)"', page.get())
    assert base is not None
    (page.folder / "refit.toml").write_text(REFIT.replace("6 lb", "7 lb", 1), encoding="utf-8")
    changed = page.text
    text = page.post("/refit/edit", {"op": "target", "target.saving": "9 lb", "base": base[1]}, 409)
    assert "changed in another window" in text
    assert page.text == changed


def test_the_next_set_is_the_commands(page: Page) -> None:
    page.post("/refit/enter")
    page.post("/refit/next", {"least": "hours"})
    looked = page.get()
    assert 'id="searching"' in looked or '<option value="hours" selected>' in looked, "it looks again for the same"
    page.post("/refit/next", {"least": "cost"})
    for _ in range(300):
        text = page.get()
        if 'id="choice"' in text:
            break
        time.sleep(0.1)
    shown = figures(text)
    assert 'id="choice"' in text
    printed = re.sub(r"\s+", " ", command(page.folder, "next", str(page.folder / "refit.toml")))
    sentence = re.search(r"Least cost, \d+ EUR: [^.]*\.", printed)
    assert sentence is not None
    assert sentence[0] in shown
    assert "(proved)" in shown
    by_cost = figures(page.get(rank="cost"))
    assert by_cost.index("seat pans 4 lb") < by_cost.index("shroud 1 lb")


def test_papers_come_as_files(page: Page) -> None:
    page.post("/refit/enter")
    marks = {"pdf": b"%PDF", "html": b"<!doctype html", "xlsx": b"PK", "csv": b"\xef\xbb\xbf"}
    for form, mark in marks.items():
        answer = page.client.get("/refit/paper", params={"file": "refit.toml", "form": form, "by": "club"})
        assert answer.status_code == 200
        assert answer.headers["content-disposition"] == f'attachment; filename="refit.{form}"'
        assert answer.content[:20].lower().startswith(mark.lower()), form
    words = answer.content.decode("utf-8-sig")
    assert "vacuum pump" in words
    assert "club" in words
    assert sorted(p.name for p in page.folder.iterdir() if p.suffix in (".pdf", ".html", ".xlsx", ".csv")) == []
    page.get("/refit/paper", 422, form="exe")


def test_the_limits_are_drawn_and_every_load_case_can_be_pressed(page: Page) -> None:
    drawn = page.get().split('id="envelope"')[1].split("</svg>")[0]
    checked = page.json()["load_cases"]
    assert len(checked) == drawn.count("<a ") > 0
    for number, case in enumerate(checked, start=1):
        assert f'href="#case-{number}"' in drawn
        told = figures(page.get().split(f'id="case-{number}"')[1].split("</div>")[0])
        assert case["name"] in told
        assert mass_kept(case["mass_kg"], "lb") in told
        assert arm_kept(case["cg_m"]["mean"], "lb") in told
        assert "Aboard: seat 176 lb" in told
    spots = [tuple(map(float, at)) for at in re.findall(r'class="dot" cx="([0-9.]+)" cy="([0-9.]+)"', drawn)]
    heavy = [case["mass_kg"] for case in checked]
    order = sorted(range(len(heavy)), key=lambda n: heavy[n])
    assert [spots[n][1] for n in order] == sorted((y for _, y in spots), reverse=True)  # the heavier, the higher


def row(page: Page, table: str, number: int, status: int = 200, /, do: str = "", **values: str) -> str:
    """A table's own form, sent with these fields as typed and the others as they stand."""
    found = [f for f in forms(page.get(status=200)) if f["fields"].get("op") == "row"]
    one = next(f for f in found if (f["fields"]["table"], f["fields"]["number"]) == (table, str(number)))
    more = {f"row.{key.replace('__', '.').replace('_ ', ' ')}": value for key, value in values.items()}
    return page.post("/refit/edit", {**one["fields"], **more, **({"do": do} if do else {})}, status)


def test_parts_that_become_one_are_begun_and_changed_by_forms(page: Page) -> None:
    before = page.text
    weights = {"old__name": "two halves", "old__weighed": "2 lb", "new__name": "one piece", "new__weighed": "1 lb 4 oz"}
    row(page, "consolidation", -1, name="tail cone", **weights)
    row(page, "consolidation", -1, name="spinner", **weights)
    row(page, "consolidation.old", -2, name="screws", kind="fasteners", each="1.1 g", count="46")  # of the first
    row(page, "consolidation.new", 1, weighed="5 oz")
    first, second = tomllib.loads(page.text)["consolidation"]
    assert [piece["name"] for piece in first["old"]] == ["two halves", "screws"]
    assert (first["old"][1]["count"], first["old"][1]["kind"]) == (46, "fasteners")
    assert ([p["name"] for p in second["old"]], second["new"][0]["weighed"]) == (["two halves"], "5 oz")
    joined = figures(page.get().split('id="joined"')[1].split("</section>")[0])
    assert "screws fasteners 1 3/4 oz" in " ".join(joined.split())  # 46 of 1.1 g
    now = page.text
    row(page, "consolidation.old", 2, 422, do="drop")  # the only one of the second
    assert page.text == now
    row(page, "consolidation", 0, do="drop")
    (left,) = tomllib.loads(page.text)["consolidation"]
    assert (left["name"], len(left["old"])) == ("spinner", 1)
    row(page, "consolidation", 0, do="drop")
    assert page.text.strip() == before.strip()


def test_pieces_written_in_one_line_have_their_forms_too(page: Page) -> None:
    old = '[{ name = "two halves", weighed = "2 lb" }, { name = "screws", each = "1.1 g", count = 46 }]  # weighed dry'
    joined = f'\n[[consolidation]]\nname = "tail"\nold = {old}\nnew = [{{ name = "one", weighed = "1 lb 4 oz" }}]\n'
    before = page.text + joined
    (page.folder / "refit.toml").write_text(before, encoding="utf-8")
    row(page, "consolidation.old", 1, count="48")
    (first,) = tomllib.loads(page.text)["consolidation"]
    assert [piece.get("count") for piece in first["old"]] == [None, 48]
    assert first["new"] == [{"name": "one", "weighed": "1 lb 4 oz"}]
    assert "# weighed dry" in page.text
    row(page, "consolidation.new", -2, name="sealant", weighed="1 oz")
    assert [piece["name"] for piece in tomllib.loads(page.text)["consolidation"][0]["new"]] == ["one", "sealant"]
    for _ in range(2):
        page.post("/refit/undo", {"base": ""})
    assert page.text == before


def test_a_refusal_speaks_of_fields_and_not_of_the_file(page: Page) -> None:
    said = figures(row(page, "limits", 0, 422, aft=""))
    assert 'Add the aft limit: "Aft limit" 81 in' in said
    assert 'aft = "' not in said


def test_every_table_of_the_file_has_a_form(page: Page) -> None:
    before = page.text
    row(page, "load", -1, name="two aboard", aboard__seat="190 lb")
    assert [case["name"] for case in page.json()["load_cases"]][-1] == "two aboard"
    row(page, "limits", 0, aft="1100 lb at 97 in\n1600 lb at 96,5 in", least="1000 lb")
    limits = tomllib.loads(page.text)["limits"]
    assert limits["aft"] == [["1100 lb", "97 in"], ["1600 lb", "96.5 in"]]
    assert limits["least"] == "1000 lb"
    row(page, "candidate", -1, name="fairing", saves="2 lb", arm="84 in", cost="90 EUR", hours="7 h", needs="shroud")
    assert tomllib.loads(page.text)["candidate"][-1]["needs"] == ["shroud"]
    assert "fairing" in page.get().split('id="candidates"')[1]
    row(page, "start.scale", 0, reading="557 lb")
    assert tomllib.loads(page.text)["start"]["scale"][0]["reading"] == "557 lb"
    count = len(tomllib.loads(page.text)["load"])
    row(page, "load", count - 1, do="drop")
    assert len(tomllib.loads(page.text)["load"]) == count - 1
    row(page, "place", -1, name="shelf", arm="110 in", holds="20 lb")
    assert 'name="row.aboard.shelf"' in page.get()  # the next load case can put something there
    kept = [line for line in before.splitlines() if "#" in line]
    assert [line for line in page.text.splitlines() if "#" in line] == [
        line.replace("556 lb 8 oz", "557 lb") for line in kept
    ]
    now = page.text
    assert "limits" in figures(row(page, "limits", 0, 422, most="heavy")).casefold()
    assert page.text == now
    for _ in range(6):
        page.post("/refit/undo", {"base": ""})
    assert page.text == before


def test_a_second_refit_can_be_begun(page: Page) -> None:
    assert 'href="/refit?new=1"' in page.get()
    text = html.unescape(page.client.get("/refit", params={"new": "1"}).text)
    assert "Or begin another" in text


def test_a_limit_that_is_broken_cannot_be_missed(page: Page) -> None:
    (page.folder / "refit.toml").write_text(REFIT.replace('aft = "97 in"', 'aft = "84 in"'), encoding="utf-8")
    text = page.get()
    assert text.count("OUTSIDE LIMITS: pilot alone") == 1
    assert "OUTSIDE: aft" in text
    assert "A licensed person checks it" in text


def test_files_outside_the_folder_are_not_read(page: Page, tmp_path_factory: pytest.TempPathFactory) -> None:
    outside = tmp_path_factory.mktemp("outside")
    (outside / "door.toml").write_text(DOOR.replace("Door", "Secret"), encoding="utf-8")
    (outside / "list.csv").write_text("item,weight (lb),arm (in)\nsecret radio,4,40\n", encoding="utf-8")
    named = REFIT.replace('"door.toml"', f'"../{outside.name}/door.toml"')
    listed = REFIT.replace('units = "lb"', f'units = "lb"\nequipment = "../{outside.name}/list.csv"', 1)
    for text in (named, listed):
        (page.folder / "refit.toml").write_text(text, encoding="utf-8")
        shown = page.get()
        assert "outside the folder" in shown
        assert "ecret" not in shown


def test_faults_of_the_file_are_listed(page: Page) -> None:
    (page.folder / "refit.toml").write_text(REFIT.replace('"3 lb 7 oz"', '"3 lbz"'), encoding="utf-8")
    text = figures(page.get())
    assert "1 thing to put right" in text
    assert "line" in text


def test_from_a_part_to_the_only_refit_and_back(page: Page) -> None:
    answer = page.client.get("/refit", params={"file": "door.toml"}, follow_redirects=False)
    assert answer.headers["location"] == "/refit?file=refit.toml&part=door.toml"
    assert 'href="/part?file=door.toml"' in page.get(part="door.toml")
    shutil.copy(page.folder / "refit.toml", page.folder / "second.toml")
    text = page.client.get("/refit", params={"file": "door.toml"}).text
    assert "Which refit?" in text
    assert "second.toml" in text


def test_a_refit_begins_with_its_first_weighing(tmp_path: Path) -> None:
    page = Page(tmp_path)
    form = {
        "new.title": "Spring", "new.datum": "firewall", "new.units": "lb", "new.limits.most": "1653 lb",
        "new.limits.forward": "83 in", "new.limits.aft": "97", "new.target": "6 lb", "new.start.date": "2026-03-01",
        "new.scale.0.reading": "556 lb 8 oz", "new.scale.0.arm": "82.1 in",
        "new.scale.1.at": "right", "new.scale.1.reading": "551 lb", "new.scale.1.tare": "1 lb",
        "new.scale.1.arm": "82.1 in",
        "new.scale.2.at": "tail", "new.scale.2.reading": "91 lb 12 oz", "new.scale.2.arm": "259.6 in",
    }  # fmt: skip
    answer = page.client.post("/refit/new", data=form)
    assert answer.status_code == 422
    assert "limits.aft" in answer.text
    assert "556 lb 8 oz" in answer.text, "what was typed stays"
    assert not list(tmp_path.glob("*.toml"))
    answer = page.client.post("/refit/new", data=form | {"new.limits.aft": "97 in"})
    assert answer.status_code == 200
    assert alike(page.json(), told(tmp_path))
    assert 'at = "left main wheel"' in page.text
    by_hand = 556.5 + 550 + 91.75
    assert page.json()["start"]["mass_kg"] == approx(by_hand * 0.45359237)
    assert "The first weighing is not in the ledger yet" in figures(page.get())
    assert "1 entered" in page.post("/refit/enter")
    assert "not in the ledger yet" not in page.get()
    assert page.json()["now"]["mass_kg"] == approx(by_hand * 0.45359237)
    page.guard.close()


def test_the_final_weighing_is_written_and_counts(page: Page) -> None:
    page.post("/refit/enter")
    form = {"op": "weighing", "final.date": "2026-03-14"}
    wheels = (
        ("left", "552 lb 8 oz", "3 lb 4 oz", "82.1 in"),
        ("right", "548 lb", "", "82.1 in"),
        ("tail", "91 lb", "", "259.6 in"),
    )
    for n, wheel in enumerate(wheels):
        form |= {
            f"final.scale.{n}.{key}": text for key, text in zip(("at", "reading", "tare", "arm"), wheel, strict=True)
        }
    refused = page.post("/refit/edit", form | {"final.scale.1.reading": ""}, 422)
    assert "The reading of scale 2 is missing" in refused
    assert 'value="552 lb 8 oz"' in refused, "what was typed stays"
    text = page.post("/refit/edit", form)
    assert "The final weighing is not in the ledger yet" in figures(text)
    assert page.text.startswith(REFIT.rstrip("\n"))
    assert "not in the ledger yet" not in page.post("/refit/enter")
    assert alike(page.json(), told(page.folder))
    assert page.json()["final"]["mass_kg"] == approx((549.25 + 548 + 91) * 0.45359237)
    assert "The final scales show" in page.get()
    page.post("/refit/edit", {"op": "weighing", "final.scale.2.reading": "90 lb 8 oz"})
    assert 'reading = "90 lb 8 oz"' in page.text


def test_an_undone_change_is_not_shown_as_typed(page: Page) -> None:
    field = "f-refit-start-scale-0-reading"
    assert f'id="{field}"' in page.get()
    page.client.post("/part/typed", params={"file": "refit.toml"}, data={"field": field, "text": "557 lb", "keep": "1"})
    assert "typed, not in the file yet" in page.get()
    page.post("/refit/edit", {"op": "weighing", "start.scale.0.reading": "557 lb"})
    page.post("/refit/undo")
    text = page.get()
    assert 'value="556 lb 8 oz"' in text
    assert "typed, not in the file yet" not in text
