"""A part from a file to its weight, in a real browser, as a person does it."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from browser.conftest import DOOR, EXAMPLES, Bench, Open, wait_for
from layup.commands.cli import main as layup_command
from layup.words import mass_both

pytestmark = pytest.mark.browser


def predicted(bench: Bench, file: str) -> dict[str, Any]:
    told = CliRunner().invoke(layup_command, ["predict", str(bench.root / file), "--json"])
    assert told.exit_code == 0, told.output
    data: dict[str, Any] = json.loads(told.output)
    return data


def test_from_a_mesh_to_a_weight_that_is_the_commands(look: Open, bench: Bench) -> None:
    page = look("/")
    solid = EXAMPLES / "motor-glider/engine-bay-door-solid.stl"
    form = page.locator('form[action$="/new"]')
    form.locator("input[type=file]").set_input_files(str(solid))
    form.locator("input[name=title]").fill("Door of my own")
    form.get_by_role("button", name="Begin the part").click()
    page.locator("#stage-unit-mm").click()
    page.locator("#stage-side-outer").click()
    for angle in ("0", "45", "-45"):  # one after the other, while the answer to the last press is on its way
        page.locator("#add-ply").fill("carbon plain 200")
        page.locator('.adder input[name="set.angle"]').fill(angle)
        page.get_by_role("button", name="Lay it on top").first.click()
    wait_for(lambda: page.locator(".ply").count() == 3, 400)
    assert re.findall("angle = (.*)", bench.text("door-of-my-own.toml")) == ["0", "45", "-45"]
    assert page.inner_text("#mass") == mass_both(predicted(bench, "door-of-my-own.toml")["mass_kg"]["mean"], "both")
    assert page.locator(".bars .span").count() == 4
    assert 'side = "outer"' in bench.text("door-of-my-own.toml")


def test_from_an_empty_folder_to_a_weighed_part_by_the_keyboard(look: Open, bench: Bench) -> None:
    for one in bench.root.iterdir():
        shutil.rmtree(one) if one.is_dir() else one.unlink()
    page = look("/")
    page.keyboard.type('24x36"')  # eleven keys to the first number
    page.keyboard.press("Enter")
    page.locator("#add-ply:focus").wait_for()
    page.keyboard.type("BID")
    page.keyboard.press("Enter")
    page.locator("#mass").wait_for()
    file = "24-in-x-36-in.toml"
    assert page.inner_text("#mass") == mass_both(predicted(bench, file)["mass_kg"]["mean"], "both")
    page.get_by_role("link", name="Choose").press("Enter")
    page.locator("#start").press("Enter")  # nothing is asked of the part: said in the words of the page
    page.locator("#failed").wait_for()
    assert "[" not in page.inner_text("#failed")
    assert page.evaluate("document.activeElement.dataset.region || document.activeElement.id") in ("search", "start")
    page.get_by_role("link", name="Weigh").press("Enter")
    page.locator("#f-weigh-lb:focus").wait_for()
    page.keyboard.press("Tab")
    page.keyboard.type("9 3/4")
    page.keyboard.press("Enter")  # before the weight was said back: it is said, and then saved
    page.locator("#weighed").wait_for()
    assert "9 3/4 oz" in page.inner_text("#weighed")


def test_what_is_typed_and_pressed_while_an_answer_is_on_its_way_is_kept(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    plies = page.locator(".ply").count()
    page.evaluate(
        """() => { const real = window.fetch; window.fetch = async (...what) => { const answer = await real(...what);
        if (what[1]?.method === 'POST' && String(what[0]).includes('edit')) await new Promise(d => setTimeout(d, 1200));
        return answer; }; }"""
    )
    # ply 1 becomes ply 2; then, on the old picture, ply 2 is deleted: the one that stood there
    page.evaluate("for (const id of ['b-ply-0-down', 'b-ply-1-drop']) document.getElementById(id).click()")
    page.locator("#add-ply").fill("glass plain 200")
    page.locator("details[data-key=new-replaces] > summary").click()
    page.locator("#add-replaces").fill("a bracket")
    page.locator('.adder input[name="set.angle"]').press_sequentially("5", delay=200)
    wait_for(lambda: page.locator(".ply").count() == plies - 1, 400)
    assert page.locator("#add-ply").input_value() == "glass plain 200"
    assert page.locator('.adder input[name="set.angle"]').input_value() in ("05", "50")
    assert page.locator("#add-replaces").input_value() == "a bracket"
    assert page.evaluate("document.activeElement.name") == "set.angle"
    assert "ply 1 taken out" in page.inner_text(".last")
    page.locator("#b-ply-0-copy").evaluate("one => one.closest('details').open = true")
    page.locator("#b-ply-0-copy").click()
    page.locator("#b-ply-0-drop").hover()
    page.mouse.down()
    page.wait_for_timeout(2500)  # the answer comes while the finger is on another button
    page.mouse.up()
    wait_for(lambda: "taken out" in page.inner_text(".last"), 400)
    assert page.locator(".ply").count() == plies - 1


def test_each_edit_moves_the_weight_and_says_what_it_cost(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    before = predicted(bench, DOOR)["mass_kg"]["mean"]
    page.locator("details[data-key=ply-2] > summary").click()
    page.locator("#f-ply-2-cloth").fill("carbon plain 200")
    page.keyboard.press("Tab")
    page.locator(".last").wait_for()
    after = predicted(bench, DOOR)["mass_kg"]["mean"]
    assert f"adds {mass_both(after - before, 'both')}" in page.inner_text(".last")
    assert page.inner_text("#mass") == mass_both(after, "both")


def test_a_ply_is_dragged_to_another_place_and_taken_back(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    text = bench.text(DOOR)
    handle = page.locator(".ply .handle").first
    page.evaluate("document.querySelector('.plies').scrollIntoView()")
    box = handle.bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + 20, box["y"] + 60, steps=4)
    target = page.locator(".ply").nth(2).bounding_box()
    page.mouse.move(box["x"] + 20, target["y"] + target["height"] - 4, steps=6)
    page.mouse.up()
    wait_for(lambda: "moved to place 3" in page.inner_text(".weight"))
    assert bench.text(DOOR) != text
    page.get_by_role("button", name="Undo").click()
    wait_for(lambda: bench.text(DOOR) == text)


def test_by_the_keyboard_alone(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=ply-1] > summary").focus()
    page.keyboard.press("Enter")
    page.locator("#b-ply-1-up").focus()
    page.keyboard.press("Enter")
    wait_for(lambda: "moved to place 1" in page.inner_text(".weight"))
    assert page.evaluate("document.activeElement.id") in ("b-ply-0-up", "")
    for _ in range(3):
        page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_a_reload_in_the_middle_of_a_word_keeps_it(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=ply-0] > summary").click()
    page.locator("#f-ply-0-angle").press_sequentially("3", delay=10)
    page.reload()
    wait_for(lambda: page.locator("#f-ply-0-angle").input_value() in ("345", "453"))
    assert "angle = 45" in bench.text(DOOR)


def test_a_page_asked_for_before_a_word_arrived_shows_the_word(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=ply-0] > summary").click()
    held: list[Any] = []

    def late(route: Any) -> None:
        before = route.fetch()  # the program makes the page, then the word arrives, then the page is shown
        for word in held:
            word.fulfill(response=word.fetch())
        page.wait_for_timeout(300)
        route.fulfill(response=before)

    page.route("**/part/typed?**", lambda route: held.append(route))
    page.route("**/part?**", late, times=1)
    page.locator("#f-ply-0-angle").press_sequentially("3", delay=10)
    wait_for(lambda: bool(held or page.wait_for_timeout(50)))
    page.reload()
    wait_for(lambda: page.locator("#f-ply-0-angle").input_value() in ("345", "453"))


def test_after_kill_9_the_last_edit_and_the_last_word_are_there(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=ply-0] > summary").click()
    page.locator("#f-ply-0-angle").fill("30")
    page.keyboard.press("Tab")
    page.locator(".last").wait_for()
    page.locator("#f-ply-0-count").fill("7")
    page.wait_for_timeout(400)
    bench.kill()
    assert "angle = 30" in bench.text(DOOR)
    page.locator("#f-ply-0-count").fill("8")  # typed while nothing answers
    bench.start()
    again = look("/part", DOOR, context=page.context)
    wait_for(lambda: again.locator("#f-ply-0-count").input_value() == "8")
    again.get_by_role("button", name="Undo").click()
    wait_for(lambda: "angle = 45" in bench.text(DOOR))


def test_two_windows_at_once(look: Open, bench: Bench) -> None:
    one = look("/part", DOOR)
    two = look("/part", DOOR, context=one.context)
    one.locator('.adder input[name="set.angle"]').fill("15")
    one.get_by_role("button", name="Lay it on top").first.click()
    wait_for(lambda: "added ply" in one.inner_text(".weight"))
    wait_for(lambda: two.inner_text("#mass") == one.inner_text("#mass"))  # the second window learns of it


def test_an_edit_on_what_is_not_there_any_more_is_refused_and_shown(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.route("**/part/version*", lambda route: route.abort())  # so that the window does not learn of it
    text = bench.text(DOOR).replace("angle = 0", "angle = 5")
    (bench.root / DOOR).write_text(text, encoding="utf-8")
    page.locator("details[data-key=ply-0] > summary").click()
    page.locator("#f-ply-0-angle").fill("10")
    page.keyboard.press("Tab")
    wait_for(lambda: "another window" in page.inner_text("#said"))
    assert bench.text(DOOR) == text
    assert page.locator("details[data-key=ply-1]").inner_text().count("5°") == 1


def test_without_script_the_buttons_work(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR, script=False)
    page.locator("details[data-key=ply-0] > summary").click()
    page.locator("#f-ply-0-angle").fill("30")
    page.locator("details[data-key=ply-0]").get_by_role("button", name="Enter").first.click()
    assert "angle = 30" in bench.text(DOOR)
    page.get_by_role("button", name="Undo").click()
    assert "angle = 45" in bench.text(DOOR)


def test_on_the_tablet_nothing_sticks_out_and_every_target_is_large(look: Open, bench: Bench) -> None:
    for size in ("tablet", "laptop"):
        page = look("/part", DOOR, size=size)
        page.locator("details[data-key=ply-0] > summary").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")
        small = page.evaluate(
            """() => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary")]
            .filter(e => e.checkVisibility() && !e.matches(".skip, input[type=checkbox], input[type=radio]"))
            .filter(e => !e.closest("label.check, fieldset label"))
            .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
            .filter(([b]) => b.height < 44 || b.width < 44).map(([b, t]) => `${b.width}x${b.height} ${t}`)"""
        )
        assert not small, small


def test_a_title_full_of_mischief_is_only_text(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=head] > summary").click()
    page.locator("#f-head-0-title").fill("<img src=x onerror=document.title='had'> {{7*7}}")
    page.keyboard.press("Tab")
    wait_for(lambda: "{{7*7}}" in page.inner_text("h1"))
    assert page.title() != "had"
    assert re.search(r"\{\{7\*7\}\}", bench.text(DOOR))


def test_offline_it_is_whole(look: Open, bench: Bench, tmp_path: Path) -> None:
    page = look("/part", DOOR)
    assert page.locator(".bars").count() == 1
    assert bench.asked
    own = (f"http://127.0.0.1:{bench.port}/", "blob:", "data:")
    assert [url for url in bench.asked if not url.startswith(own)] == []


def clicked(page: Any, across: float = 0.5, down: float = 0.5) -> None:
    """A click on the picture, at these shares of its width and height."""
    box = page.locator("#stage-canvas").bounding_box()
    page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])


def test_the_side_of_a_solid_is_picked_by_clicking_it(look: Open, bench: Bench) -> None:
    file = "solid.toml"
    (bench.root / "solid.stl").write_bytes((EXAMPLES / "motor-glider/engine-bay-door-solid.stl").read_bytes())
    text = 'title = "S"\nprocess = "wet"\nresin = "epoxy, laminating"\n\n[surface]\nmesh = "solid.stl"\nunit = "mm"\n'
    (bench.root / file).write_text(text + '\n[[ply]]\nfabric = "carbon plain 200"\n', encoding="utf-8")
    page = look("/part", file, picture=True)
    page.locator("#stage[data-ready]").wait_for()
    clicked(page)
    page.locator("#stage-side-take").click()
    page.locator("#mass").wait_for()
    assert 'side = "touching (' in bench.text(file)
    outer = predicted(bench, file)["surface"]["area_m2"]
    assert outer == pytest.approx(0.276, rel=0.02)  # the outer side of the same door as a shell


def test_a_zone_is_made_by_clicking_round_a_point_and_near_an_edge(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR, picture=True)
    page.locator("#stage[data-ready]").wait_for()
    before = bench.text(DOOR).count("[[zone]]")
    page.locator("[data-tool=point]").click()
    clicked(page, 0.45, 0.45)
    page.locator("#stage-reach").fill("50 mm")
    page.locator("#stage-name").fill("latch")
    page.locator("#stage-make:not([disabled])").wait_for()
    page.locator("#stage-make").click()
    wait_for(lambda: 'name = "latch"' in bench.text(DOOR))
    assert bench.text(DOOR).count("[[zone]]") == before + 1
    areas = {zone["name"]: zone["area_m2"] for zone in predicted(bench, DOOR)["zones"]}
    assert 0.5 * 0.00785 < areas["latch"] <= 1.02 * 0.00785  # pi 0.05^2, less where a cut-out is near
    page.locator("#stage[data-ready]").wait_for()
    page.locator("[data-tool=edge]").click()
    page.keyboard.press("Escape")
    wait_for(lambda: not page.locator("#stage-form").is_visible())
