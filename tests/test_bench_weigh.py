"""The scale's page: nothing is noted before it was said again, and the record is the one `layup weigh` writes."""

from __future__ import annotations

import html
import json
import re
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pytest import approx

from layup.bench.app import build
from layup.bench.labels import plain
from layup.bench.rendering import signs
from layup.bench.weigh_page import NEXT_HAND
from layup.commands.cli import main
from layup.errors import LayupError
from layup.learn.habits_svg import habits_svg
from layup.learn.scale import UNITS, echo, said_of
from layup.learn.store import FILE, open_store
from layup.learn.weigh_part import newest_noted, take_back
from layup.learn.weighins import weigh_ins
from layup.units import LB, OZ, parse
from layup.weight.prediction import predict

PORT, KEY = 8443, "key-of-the-tests"
ORIGIN = f"http://127.0.0.1:{PORT}"
HATCH = """\
title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
units = "lb"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 4
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
            self.guard, base_url=ORIGIN, cookies={f"bench-{PORT}": KEY}, headers={"origin": ORIGIN},
            follow_redirects=True,
        )  # fmt: skip

    def get(self, path: str, **query: Any) -> str:
        answer = self.client.get(path, params=query)
        assert answer.status_code == 200, answer.text
        return html.unescape(answer.text)

    def post(self, path: str, file: str, status: int = 200, **form: str) -> str:
        answer = self.client.post(path, params={"file": file}, data=form)
        assert answer.status_code == status, answer.text
        return html.unescape(answer.text)

    def weigh(self, file: str = "hatch.toml", status: int = 200, **fields: str) -> str:
        """Type, press "Note it" until it was said again and noted, or something is asked."""
        first = self.post("/weigh", file, status, do="note", **fields)
        if status != 200 or 'name="echoed"' not in first:
            return first
        heard = re.search(r'name="echoed" value="([^"]*)"', first)
        assert heard is not None
        return self.post("/weigh", file, echoed=heard[1], do="note", **fields)


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    (tmp_path / "hatch.toml").write_text(HATCH, encoding="utf-8")
    made = Page(tmp_path)
    yield made
    made.guard.close()


def kept(folder: Path) -> list[Any]:
    with open_store(folder) as store:
        return weigh_ins(store)


def test_what_stands_in_the_fields_is_one_quantity() -> None:
    assert parse(said_of("lb-oz", pounds="2", ounces="13 1/4"), "mass") == approx(2 * LB + 13.25 * OZ)
    assert said_of("lb-oz", ounces="13.2") == "13.2 oz"
    assert said_of("lb-oz", pounds="2") == "2 lb"
    assert said_of("g", "2 lb 13 oz") == "2 lb 13 oz", "a unit typed along is kept"
    assert [said_of(unit) for unit in UNITS] == [""] * len(UNITS)
    with pytest.raises(LayupError, match="no scale"):
        said_of("stone", "3")


@pytest.mark.parametrize(
    ("said", "imperial", "metric"),
    [("2.13 lb", "2 lb 2 1/8 oz", "966 g"), ("870 g", "1 lb 14 3/4 oz", "870 g"), ("9.2 g", "5/16 oz", "9.2 g"),
     ("12 kg", "26 lb 7 1/4 oz", "12.00 kg"), ("13 1/8 oz", "13 1/8 oz", "372 g")],
)  # fmt: skip
def test_a_weight_is_said_again_both_ways(said: str, imperial: str, metric: str) -> None:
    heard = echo(said)
    assert (heard.imperial, heard.metric) == (imperial, metric)
    assert bool(heard.warning) == (said == "2.13 lb")


@pytest.mark.parametrize(("stage", "hand"), [*NEXT_HAND.items(), ("finished", ())])
def test_what_the_hand_does_next_is_cautioned_of_where_it_is_weighed(
    page: Page, stage: str, hand: tuple[str, ...]
) -> None:
    painted = HATCH + '[[finish]]\nfinish = "paint, polyurethane"\n'
    (page.folder / "hatch.toml").write_text(painted, encoding="utf-8")
    page.post("/weigh", "hatch.toml", do=f"stage:{stage}")
    shown = page.get("/weigh", file="hatch.toml").split('data-region="next-hand"')[1].split("</section>")[0]
    made = predict(page.folder / "hatch.toml")
    due = [signs(plain(text)) for text in made.at_hand(*hand)]
    assert re.findall("<li>(.*?)</li>", shown) == due
    assert bool(due) == bool(hand)
    assert set(due) <= {signs(plain(one.words)) for one in made.rules}


def test_nothing_is_noted_before_it_was_said_again(page: Page) -> None:
    text = page.post("/weigh", "hatch.toml", do="note", lb="2", oz="3", piece="1")
    assert "2 lb 3 oz" in text
    assert "Is that what the scale shows?" in text
    assert not (page.folder / FILE).exists()
    text = page.weigh(lb="2", oz="3", piece="1")
    assert "Noted: 2 lb 3 oz, trimmed" in text
    (one,) = kept(page.folder)
    assert (one.mass, one.said, one.stage) == (approx(parse("2 lb 3 oz", "mass")), "2 lb 3 oz", "trimmed")
    assert 'id="f-weigh-lb" name="lb" value=""' in text, "the fields are empty for the next weight"


def test_a_weight_has_one_reading_while_it_is_typed_and_once_it_is_saved(page: Page) -> None:
    form = {"do": "note", "unit": "g", "value": "232", "stage": "trimmed"}
    page.client.post("/weigh", params={"file": "hatch.toml"}, data={"do": "unit:g"})
    typed = page.get("/weigh/said", file="hatch.toml", unit="g", value="232")
    assert "8 1/8 oz" in typed
    page.client.post("/weigh", params={"file": "hatch.toml"}, data={**form, "echoed": "232 g", "sure": "232 g"})
    page.client.post("/weigh", params={"file": "hatch.toml"},
                     data={**form, "do": "anyway", "echoed": "232 g", "sure": "232 g"})  # fmt: skip
    text = page.get("/weigh", file="hatch.toml")
    assert '<b id="weighed">8 1/8 oz' in text
    assert "8 1/4 oz" not in text


def test_another_weight_than_the_one_said_again_is_not_noted(page: Page) -> None:
    page.post("/weigh", "hatch.toml", do="note", lb="2", oz="3", echoed="2 lb 2 oz")
    assert not (page.folder / FILE).exists()


def test_the_page_and_the_command_write_the_same_entry(page: Page, tmp_path_factory: pytest.TempPathFactory) -> None:
    page.post("/weigh", "hatch.toml", do="unit:g")
    page.post("/weigh", "hatch.toml", do="stage:finished")
    more = {
        "scale": "1 g",
        "vacuum": "23 inHg",
        "temperature": "70 degF",
        "lot": "A-117",
        "person": "K",
        "note": "slow",
    }
    page.weigh(value="900", piece="left", **more)
    other = tmp_path_factory.mktemp("other")
    (other / "hatch.toml").write_text(HATCH, encoding="utf-8")
    words = ["weigh", str(other / "hatch.toml"), "900", "g", "--at", "finished", "--piece", "left", "--yes"]
    words += [word for name, text in more.items() for word in (f"--{name}", text)]
    done = CliRunner().invoke(main, words, env={"LAYUP_SHOP": None})
    assert done.exit_code == 0, done.output
    (ours,), (theirs,) = kept(page.folder), kept(other)
    assert ours.entry.payload == theirs.entry.payload
    shown = page.get("/weigh", file="hatch.toml")
    factor = re.search(r"differs: ([0-9.]+ times the)", done.output)
    assert factor is not None
    assert factor[1] in shown, "the same explanation"


def test_an_absurd_weight_is_questioned_and_noted_all_the_same_if_meant(page: Page) -> None:
    page.post("/weigh", "hatch.toml", do="unit:lb")
    text = page.weigh(value="870", piece="1")
    assert "times what is expected" in text
    assert "Did you mean 870 g?" in text
    assert not (page.folder / FILE).exists()
    text = page.post("/weigh", "hatch.toml", do="anyway", sure="87 lb", echoed="870 lb", value="870")
    assert "times what is expected" in text, "the answer was about another weight"
    text = page.post("/weigh", "hatch.toml", do="anyway", sure="870 lb", echoed="870 lb", value="870", once="a")
    assert "Noted: 870 lb" in text
    assert [one.mass for one in kept(page.folder)] == [approx(870 * LB)]


def test_a_button_pressed_twice_notes_once(page: Page) -> None:
    for _ in range(2):
        page.post("/weigh", "hatch.toml", do="note", lb="2", oz="3", echoed="2 lb 3 oz", once="the same")
    assert len(kept(page.folder)) == 1


def test_a_second_copy_of_a_piece_is_offered_a_name(page: Page) -> None:
    text = page.weigh(lb="2", oz="3", piece="1")
    assert "a new weight takes its place" in text
    assert 'value="piece:2"' in text
    text = page.post("/weigh", "hatch.toml", do="piece:2")
    assert "a new weight takes its place" not in text
    page.weigh(lb="2", oz="5", piece="2")
    assert [one.circumstances.piece for one in kept(page.folder)] == ["1", "2"]
    text = page.weigh(lb="2", oz="4", piece="1")
    assert "It stands in place of entry 1" in text


def test_taken_back_and_brought_back(page: Page) -> None:
    page.weigh(lb="2", oz="3", piece="1")
    number = kept(page.folder)[0].entry.number
    text = page.post("/weigh/undo", "hatch.toml", number=str(number))
    assert kept(page.folder) == []
    assert "Restore entry" in text
    with open_store(page.folder) as store:
        (listed,) = newest_noted(store, 5)
        assert listed.undone_by is not None
    page.post("/weigh/undo", "hatch.toml", number=str(listed.undone_by), again="1")
    assert [one.entry.number for one in kept(page.folder)] == [number]
    page.post("/weigh/undo", "hatch.toml", number=str(number))
    assert kept(page.folder) == [], "an undo of an undo of an undo"
    page.post("/weigh/undo", "hatch.toml", status=422, number=str(number))


def test_entries_that_are_no_weigh_in_are_left_alone(page: Page) -> None:
    with open_store(page.folder) as store:
        other = store.append("setting", {"lot": None})
        with pytest.raises(LayupError, match="something else"):
            take_back(store, other.number)
    assert "something else" in page.post("/weigh/undo", "hatch.toml", status=422, number=str(other.number))


def test_what_is_typed_stays_through_a_reload_and_a_fault(page: Page) -> None:
    page.client.post(
        "/part/typed", params={"file": "hatch.toml"}, data={"field": "f-weigh-oz", "text": "1", "keep": "1"}
    )
    assert 'id="f-weigh-oz" name="oz" value="1"' in page.get("/weigh", file="hatch.toml")
    text = page.weigh(status=422, lb="2", oz="thirteen", note="heavy filler")
    assert 'value="thirteen"' in text
    assert 'value="heavy filler"' in text
    assert 'value="heavy filler"' in page.get("/weigh", file="hatch.toml")
    assert not (page.folder / FILE).exists()


def test_the_unit_is_remembered_for_the_shop_and_the_stage_for_the_part(page: Page) -> None:
    (page.folder / "second.toml").write_text(HATCH.replace("Hatch", "Second"), encoding="utf-8")
    page.post("/weigh", "hatch.toml", do="unit:kg")
    page.post("/weigh", "hatch.toml", do="stage:left-in-cups")
    assert 'value="unit:kg" id="unit-kg" aria-pressed="true"' in page.get("/weigh", file="second.toml")
    assert 'id="stage-left-in-cups" aria-pressed="true"' in page.get("/weigh", file="hatch.toml")
    assert 'id="stage-trimmed" aria-pressed="true"' in page.get("/weigh", file="second.toml")


def test_it_is_said_again_while_it_is_typed(page: Page) -> None:
    text = page.get("/weigh/said", file="hatch.toml", unit="lb", value="2.13")
    assert "2 lb 2 1/8 oz" in text
    assert "966 g" in text
    assert "not ounces" in text
    assert "2 lb 2 1/8 oz" in page.get("/weigh/said", file="hatch.toml", unit="lb", value="2,13"), "one meaning"
    assert "3 lb 2 oz" in page.get("/weigh/said", file="hatch.toml", unit="lb-oz", lb="2", oz="18")


def test_the_record_is_the_nearest_inside_the_folder_and_one_above_is_named(tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    (shop / "wing").mkdir(parents=True)
    (shop / "wing" / "hatch.toml").write_text(HATCH, encoding="utf-8")
    open_store(tmp_path).close()
    page = Page(shop)
    text = page.get("/weigh", file="wing/hatch.toml")
    assert "begins shop.sqlite beside hatch.toml" in text
    assert f'A shop\'s record lies above this folder, in the folder "{tmp_path.name}"' in text
    assert str(tmp_path) not in text
    open_store(shop).close()
    text = page.weigh("wing/hatch.toml", lb="2", oz="3")
    assert "at the top of this folder" in text
    assert "lies above" not in text
    assert len(kept(shop)) == 1
    assert kept(tmp_path) == []
    page.guard.close()


def test_a_record_that_is_a_link_out_is_not_written(tmp_path: Path) -> None:
    shop, outside = tmp_path / "shop", tmp_path / "outside.sqlite"
    shop.mkdir()
    (shop / "hatch.toml").write_text(HATCH, encoding="utf-8")
    (shop / FILE).symlink_to(outside)
    page = Page(shop)
    page.client.post(
        "/weigh", params={"file": "hatch.toml"}, data={"do": "note", "lb": "2", "oz": "3", "echoed": "2 lb 3 oz"}
    )
    assert not outside.exists()
    page.guard.close()


def test_a_part_with_faults_keeps_what_was_typed(page: Page) -> None:
    (page.folder / "hatch.toml").write_text(HATCH.replace("carbon plain 200", "carbon plane 200"), encoding="utf-8")
    assert "to put right first" in page.get("/weigh", file="hatch.toml")
    text = page.post("/weigh", "hatch.toml", 422, do="note", lb="2", oz="3", echoed="2 lb 3 oz")
    assert "has faults" in text
    assert 'name="lb" value="2"' in text


def test_the_hand_so_far_is_drawn_and_said(page: Page) -> None:
    for piece, weight in (("1", "3"), ("2", "5"), ("3", "4")):
        page.weigh(lb="2", oz=weight, piece=piece)
    text = page.get("/weigh", file="hatch.toml")
    assert text.count('<circle class="part"') == 3
    done = CliRunner().invoke(main, ["shop", str(page.folder), "--json"], env={"LAYUP_SHOP": None})
    habit = next(h for h in json.loads(done.output)["habits"] if len(h["of"]) == 3)
    percent = abs(habit["resin_factor"] - 1) * 100
    assert f"3 parts: {percent:.0f} %" in text


def test_no_habit_no_drawing(tmp_path: Path) -> None:
    from layup.learn.calibrate import calibrate

    with open_store(tmp_path) as store:
        assert habits_svg(calibrate(store)) == ""


def test_without_a_part_the_parts_are_listed(page: Page) -> None:
    assert "hatch.toml" in page.get("/weigh")
