"""The shelf: it stands at once whatever the number of parts, fills in afterwards, and says what is next."""

from __future__ import annotations

import re
from html import unescape

import pytest
from bench_page import Page

from layup.bench.desk import Desk
from layup.weight.prediction import predict
from layup.words import mass_both

PANEL = """title = "Rib {}"
process = "wet"
resin = "epoxy, laminating"

[surface]
rectangle = ["300 mm", "100 mm"]

[[ply]]
fabric = "glass plain 200"
"""
DOOR = "motor-glider/engine-bay-door.toml"


def test_the_shelf_of_many_parts_computes_none_and_has_them_in_natural_order(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1, 61):
        (page.root / f"rib {number}.toml").write_text(PANEL.format(number), encoding="utf-8")

    def worked_out(self: Desk, *args: object) -> None:
        raise AssertionError("a part was worked out before the shelf stood")

    monkeypatch.setattr(Desk, "_work_out", worked_out)
    text = unescape(page.get("/").text)
    shown = re.findall(r"<strong>Rib (\d+)</strong>", text)
    assert shown == [str(number) for number in range(1, 61)]


def test_a_card_says_the_weight_of_the_command_and_the_total_is_their_sum(page: Page) -> None:
    cards = {name: unescape(page.get("/card", file=name).text) for name in page.bench.folder.parts()}
    total = 0.0
    for name, text in cards.items():
        told = predict(page.root / name)
        assert mass_both(told.mass.mean, told.job.part.units) in text
        total += told.saving.mass.mean if told.saving is not None else 0.0
    last = page.get("/card", file=next(iter(cards))).text
    assert mass_both(total, "both") in unescape(last.split('id="total"')[1])
    (page.root / DOOR).write_text(page.text(DOOR).replace("angle = 0", "angle = 0 deg", 1), encoding="utf-8")
    assert "Next: put 1 thing right" in page.get("/card", file=DOOR).text  # a card is not kept beyond its part


def test_what_is_next_follows_the_part(page: Page) -> None:
    form = {"title": "Lid", "process": "wet", "resin": "epoxy, laminating", "size": "24 x 36 in"}
    answer = page.client.post("/new", data=form, follow_redirects=False)  # one place: a file, or a size
    assert answer.headers["location"] == "/part?file=lid.toml"
    assert "lay the first ply" in page.get("/card", file="lid.toml").text
    page.edit("lid.toml", table="ply", op="add", set_cloth="glass plain 200", set_angle="0")
    assert "say what comes off" in page.get("/card", file="lid.toml").text


def test_a_card_has_a_picture_of_its_shape(page: Page) -> None:
    answer = page.get("/card/picture", file=DOOR)
    assert answer.headers["content-type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG")
    assert len(answer.content) < 40_000
