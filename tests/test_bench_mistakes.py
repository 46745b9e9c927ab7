"""Mistakes on the bench page: what was typed stays, nothing is misread, and what is said needs no file opened."""

from __future__ import annotations

import re
import shutil
import tomllib
from html import unescape

import pytest
from bench_page import Page

DOOR = "motor-glider/engine-bay-door.toml"
BEGUN = {"title": "Tip", "process": "infusion", "resin": "epoxy, infusion"}


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("size", "1 x 2"), ("size", "-1 m x 2 m"), ("size", "1 m"), ("size", "1 kg x 2 m"), ("size", "0 m x 1 m"),
        ("size", "6"), ("size", "six"), ("size", "5 m"), ("size", "-3 m2"), ("size", ""),
        ("stations", "0mm, 200mm\n20in, 13in"), ("stations", "0,5, 200\n1,5, 300"), ("stations", "0, 1/2\n3, 4"),
    ],
)  # fmt: skip
def test_a_measure_that_cannot_be_read_begins_no_part_and_stays_in_its_field(
    page: Page, field: str, typed: str
) -> None:
    before = set(page.root.rglob("*.toml"))
    answer = page.client.post("/new", data={**BEGUN, "size": "", field: typed, "form": "girths", "unit": "in"})
    assert answer.status_code == 422
    assert set(page.root.rglob("*.toml")) == before
    text = unescape(answer.text)
    assert '<option value="girths" selected>' in text
    assert 'value="Tip"' in text
    assert "<option selected>infusion</option>" in text
    assert '<option value="in" selected>' in text
    if typed:
        assert (f">{typed}</textarea>" if field == "stations" else f'value="{typed}"') in text


def test_a_file_and_a_size_at_once_begin_nothing(page: Page) -> None:
    before = set(page.root.rglob("*.*"))
    files = {"surface": ("a.csv", b"x,y\n0,0\n1,0\n1,1\n")}
    answer = page.client.post("/new", data={**BEGUN, "size": "1 m x 2 m"}, files=files)
    assert answer.status_code == 422
    assert "one of them" in answer.text
    assert set(page.root.rglob("*.*")) == before


def test_parts_without_a_name_are_called_after_their_size_each_by_its_own(page: Page) -> None:
    for _ in range(2):  # two of one name would share their weigh-ins
        page.client.post("/new", data={"process": "wet", "resin": "epoxy, laminating", "size": '24x36"'})
    named = [tomllib.loads(p.read_text())["title"] for p in sorted(page.root.glob("24*.toml"), reverse=True)]
    assert named == ["24 in x 36 in", "24 in x 36 in 2"]


@pytest.mark.parametrize(
    ("typed", "sides"),
    [
        ("24 x 36 in", ["24 in", "36 in"]), ("24in X 36in", ["24in", "36in"]), ("1 m by 600 mm", ["1 m", "600 mm"]),
        ('2\'6" x 3\'', ["2'6 in", "3'"]),
    ],
)  # fmt: skip
def test_two_sides_as_a_shop_writes_them(page: Page, typed: str, sides: list[str]) -> None:
    page.client.post("/new", data={**BEGUN, "size": typed})
    assert tomllib.loads(page.text("tip.toml"))["surface"]["rectangle"] == sides


def shown_mass(page: Page) -> str:
    found = re.search(r'id="mass">([^<]*)<', page.get("/part", file=DOOR).text)
    assert found
    return found[1]


def test_a_zone_with_a_new_name_keeps_its_plies(page: Page) -> None:
    mass = shown_mass(page)
    number = [z["name"] for z in tomllib.loads(page.text(DOOR))["zone"]].index("edge")
    assert page.edit(DOOR, table="zone", number=str(number), op="save", set_name="rim").status_code == 200
    read = tomllib.loads(page.text(DOOR))
    assert [p["zone"] for p in read["ply"] if "zone" in p] == ["rim", "front hinge", "rear hinge"]
    assert shown_mass(page) == mass
    page.edit(DOOR, table="zone", number=str(number), op="save", set_name="front hinge")  # a name that is taken
    assert "Another zone has this name" in page.get("/part", file=DOOR).text
    assert next(p["zone"] for p in tomllib.loads(page.text(DOOR))["ply"] if "zone" in p) == "rim"


def test_faults_on_the_page_name_its_fields_and_not_the_tables_of_the_file(page: Page) -> None:
    page.client.post("/new", data={**BEGUN, "size": "1 m x 600 mm"})
    text = unescape(page.get("/part", file="tip.toml").text)
    assert "There is no ply yet" in text
    assert "[[" not in text.split("<main")[1]
    page.edit("tip.toml", table="ply", op="add", set_material="fabric|carbon plain 193 prepreg", set_angle="0")
    assert 'Choose "prepreg" under "Process"' in unescape(page.get("/part", file="tip.toml").text)


def test_a_file_that_is_gone_keeps_its_own_name_and_offers_no_way_back_to_it(page: Page) -> None:
    text = page.get("/part", file="nothing.toml").text
    assert "nothing.toml is not in this folder any more" in text
    assert "Back to the part" not in text


def test_a_folder_that_was_renamed_is_not_called_empty(page: Page) -> None:
    shutil.move(page.root, page.root.with_name("elsewhere"))
    assert "is not where it was" in page.get("/").text


@pytest.mark.parametrize("pot", ["0 g", "-5 g", "0.001 g"])
def test_a_pot_of_nothing_is_refused_in_words(page: Page, pot: str) -> None:
    answer = page.get("/prepare", file=DOOR, pot=pot)
    assert answer.status_code < 500
    assert "is too little to mix" in unescape(answer.text)
