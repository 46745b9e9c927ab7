"""The turning picture in a real browser: its size, its names, what lights up, and a patch by one tap."""

from __future__ import annotations

import tomllib

import pytest

from browser.conftest import DOOR, Bench, Open, wait_for

pytestmark = pytest.mark.browser


def test_a_tap_lays_a_patch_in_one_step_and_the_picture_keeps_its_size(look: Open, bench: Bench) -> None:
    page, before = look("/part", DOOR, picture=True), bench.text(DOOR)
    page.locator("#stage[data-ready]").wait_for()
    size = page.locator("#stage-canvas").bounding_box()
    page.locator("#stage-canvas").click(position={"x": size["width"] * 0.45, "y": size["height"] * 0.45})
    wait_for(lambda: page.locator("#stage-make").is_enabled())
    now = page.locator("#stage-canvas").bounding_box()
    assert (now["width"], now["height"]) == (size["width"], size["height"])
    page.locator("#stage-cloth").fill("carbon plain 200")
    page.locator("#stage-count").fill("2")
    page.locator("#stage-name").fill("latch")
    wait_for(lambda: page.locator("#stage-make").is_enabled())
    page.locator("#stage-make").click()
    wait_for(lambda: bench.text(DOOR) != before)
    data = tomllib.loads(bench.text(DOOR))
    assert data["zone"][-1]["name"] == "latch"
    assert (data["ply"][-1]["zone"], data["ply"][-1]["count"]) == ("latch", 2)
    wait_for(lambda: page.get_by_text("D latch").count() > 0)  # its name stands beside the part, on a leader
    page.locator("#undo").click()
    wait_for(lambda: bench.text(DOOR) == before)


def test_every_zone_has_its_name_on_a_leader_and_lights_up_from_its_ply(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR, picture=True)
    page.locator("#stage[data-ready]").wait_for()
    page.wait_for_timeout(500)
    zones = [zone["name"] for zone in tomllib.loads(bench.text(DOOR))["zone"]]
    shown = page.locator(".stage-mark.zone").all_inner_texts()
    assert sorted(text.split(" ", 1)[1] for text in shown) == sorted(zones)
    assert page.locator(".stage-labels line").count() == len(zones)

    def colours() -> str:
        found: str = page.evaluate("document.getElementById('stage-canvas').toDataURL()")
        return found

    plain = colours()
    page.locator(".ply").nth(2).hover()
    wait_for(lambda: colours() != plain)
    page.mouse.move(5, 400)
    wait_for(lambda: colours() == plain)


def test_the_wheel_over_a_picture_that_was_not_chosen_scrolls_the_page(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR, size="tablet", picture=True)
    page.locator("#stage[data-ready]").wait_for()
    box = page.locator("#stage-canvas").bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 200)
    page.mouse.wheel(0, 300)
    wait_for(lambda: page.evaluate("scrollY") > 100)
