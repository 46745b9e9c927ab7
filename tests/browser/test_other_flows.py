"""Choose, prepare, weigh and refit in a real browser, from the first press to the file on the disk."""

from __future__ import annotations

import io
import json
import tomllib
from pathlib import Path
from typing import Any

import pypdf
import pytest
from click.testing import CliRunner

from browser.conftest import DOOR, Bench, Open, wait_for
from layup.commands.cli import main as layup_command
from layup.words import mass_words

pytestmark = pytest.mark.browser
FLOOR, PANEL, REFIT = "motor-glider/baggage-floor.toml", "motor-glider/access-panel.toml", "motor-glider/refit.toml"


def told(bench: Bench, *words: str) -> Any:
    done = CliRunner().invoke(layup_command, [*words])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def downloaded(page: Any, link: Any, to: Path) -> bytes:
    with page.expect_download() as given:
        link.click()
    given.value.save_as(to)
    return to.read_bytes()


def test_choose_a_layup_and_take_it_into_the_part(look: Open, bench: Bench) -> None:
    before = bench.text(PANEL)
    page = look("/choose", PANEL)
    page.locator("#start").click()
    page.locator("#passing").wait_for(timeout=400_000)
    best = told(bench, "choose", str(bench.root / PANEL), "--json")
    page.locator("#mark-A").focus()
    page.keyboard.press("Enter")
    page.locator("#point-mass").wait_for()
    page.locator("#take").click()
    page.wait_for_url("**/part?*")
    data = tomllib.loads(bench.text(PANEL))
    assert best["best"] is not None
    plies = [(e.get("fabric") or e.get("core"), e.get("count", 1)) for e in data["ply"] if not e.get("zone")]
    assert plies == [(e["material"], e.get("count", 1)) for e in best["best"]["plies"]]
    kept = [line for line in before.splitlines() if line.startswith("#")]
    assert kept == [line for line in bench.text(PANEL).splitlines() if line in kept]
    page.get_by_role("button", name="Undo").click()
    wait_for(lambda: bench.text(PANEL) == before)


def test_a_search_goes_on_through_a_reload_and_can_be_stopped(look: Open, bench: Bench) -> None:
    text = bench.text(PANEL) + '\n[shelf]\nfabrics = ["carbon plain 200", "carbon UD 150", "glass plain 200"]\n'
    if "[shelf]" not in bench.text(PANEL):
        (bench.root / PANEL).write_text(text, encoding="utf-8")
    page = look("/choose", PANEL)
    page.locator("#start").click()
    page.locator("#stop, #answer").first.wait_for()
    page.reload()
    page.locator("#stop, #answer").first.wait_for()
    if page.locator("#stop").count():
        page.wait_for_timeout(1500)
        if page.locator("#stop").count():
            page.locator("#stop").click()
    page.locator("#answer, #failed").first.wait_for(timeout=400_000)


def test_prepare_cloth_and_print_the_sheet(look: Open, bench: Bench, tmp_path: Path) -> None:
    page = look("/prepare", PANEL)
    page.locator("#start-cloth").click()
    page.locator("#cloth img").wait_for(timeout=400_000)
    assert page.locator("#cloth img").evaluate("image => image.complete && image.naturalWidth") > 100
    page.get_by_role("button", name="Keep this layout").click()
    wait_for(lambda: (bench.root / "motor-glider/access-panel.cut.json").is_file())
    page.locator("#start-sheet").click()
    link = page.get_by_role("link", name="Build sheet (PDF)")
    link.wait_for(timeout=400_000)
    sheet = pypdf.PdfReader(io.BytesIO(downloaded(page, link, tmp_path / "sheet.pdf")))
    assert "Access panel" in sheet.pages[0].extract_text()
    page.locator("#start-shapes").click()
    link = page.get_by_role("link", name="Full-size patterns")
    link.wait_for(timeout=400_000)
    assert downloaded(page, link, tmp_path / "plies.pdf").startswith(b"%PDF")


def test_the_bar_of_a_long_work_moves_and_stop_takes_the_best(look: Open, bench: Bench) -> None:
    page = look("/prepare", "solar-car/battery-lid.toml")
    page.locator("#f-prepare-seconds").fill("200")
    page.locator("#start-cloth").click()
    page.locator("#cloth [data-words]").wait_for()
    wait_for(lambda: "used" in page.locator("#cloth [data-words]").inner_text(), 400)
    page.reload()
    page.get_by_role("button", name="Stop and take").click()
    page.locator("#cloth table").first.wait_for(timeout=400_000)
    assert "best layouts so far" in page.inner_text("#cloth")


def test_a_field_changed_after_the_press_marks_the_result(look: Open, bench: Bench) -> None:
    page = look("/prepare", PANEL)
    page.locator("#f-prepare-ratio").fill("100:45")
    page.locator("#start-pots").click()
    wait_for(lambda: "100:45" in page.locator("#pots .used").inner_text())
    page.locator("#f-prepare-ratio").fill("100:30")
    wait_for(lambda: page.locator("#pots.outdated").count() == 1)
    page.locator("#f-prepare-gap").fill("abc")
    page.locator("#start-cloth").click()
    page.locator("#cloth .refused").wait_for()  # beside what was pressed
    assert "Between two pieces" in page.inner_text("#cloth .refused")
    assert page.locator("#f-prepare-ratio").input_value() == "100:30"
    page.reload()
    wait_for(lambda: page.locator("#f-prepare-gap").input_value() == "abc")


def test_weighing_in_the_row_survives_a_question_and_a_reload(look: Open, bench: Bench) -> None:
    page = look("/refit", REFIT)
    if page.locator("#enter").count():
        page.locator("#enter").click()
        wait_for(lambda: page.locator("#enter").count() == 0)
    about = "added|radio, new"
    row = page.locator(".weigh-row").filter(has=page.locator(f'input[value="{about}"]'))
    row.locator("summary").click()
    row.locator('input[name="item.weight"]').fill("350 lb")
    row.locator("form button").first.click()
    page.locator("#question").wait_for()
    assert row.locator("#question").count() == 1
    page.wait_for_timeout(400)
    page.reload()
    held = [r for r in page.locator(".weigh-row").all() if r.locator('input[name="item.weight"]').input_value()]
    assert [r.locator('input[name="item"]').input_value() for r in held] == [about]
    held[0].locator('input[name="item.weight"]').fill("15 3/4 oz")
    page.wait_for_timeout(600)
    held[0].locator("form button").first.click()
    page.locator("#said .good").wait_for()
    ledger = told(bench, "ledger", "show", str(bench.root / REFIT), "--json")
    assert [i["name"] for i in ledger["items"] if i["as_written"] == "15 3/4 oz"] == [about.split("|")[1]]


def test_weigh_on_the_keypad_and_take_it_back(look: Open, bench: Bench) -> None:
    page = look("/weigh", DOOR, size="tablet")
    page.locator("#stage-trimmed").click()
    page.locator("#unit-lb-oz").click()
    page.locator("#f-weigh-oz").click()
    for key in ("8", "1/4"):
        page.locator(f'[data-key="{key}"]').click()
    wait_for(lambda: "8 1/4 oz" in page.locator("#heard").inner_text())
    assert "234 g" in page.inner_text("main")  # 8.25 oz of 28.3495 g
    page.locator("#note").click()
    page.locator("#weighed").wait_for()
    record = told(bench, "shop", str(bench.root / "motor-glider"), "--json")
    assert [w["mass_kg"] for w in record["weigh_ins"]] == [pytest.approx(8.25 * 0.028349523125)]
    with_habit = told(bench, "predict", str(bench.root / DOOR), "--json")["mass_kg"]
    without = told(bench, "predict", str(bench.root / DOOR), "--json", "--no-shop")["mass_kg"]
    assert with_habit != without
    page.get_by_role("button", name="Void entry").first.click()
    page.get_by_role("button", name="Restore entry").first.wait_for()
    assert told(bench, "predict", str(bench.root / DOOR), "--json")["mass_kg"] == without


def test_an_absurd_weight_is_questioned_and_nothing_noted(look: Open, bench: Bench) -> None:
    page = look("/weigh", DOOR)
    page.locator("#unit-kg").click()
    page.locator("#f-weigh-value").fill("82")
    wait_for(lambda: "180 lb" in page.locator("#heard").inner_text())
    page.locator("#note").click()
    page.locator("#question").wait_for()
    assert page.locator("#weighed").count() == 0
    text = page.locator("#f-weigh-value").input_value()
    page.reload()
    assert text == "82"


def test_what_stands_on_the_scale_field_is_there_after_a_reload(look: Open, bench: Bench) -> None:
    page = look("/weigh", DOOR)
    page.locator("#unit-g").click()
    page.locator("#f-weigh-value").press_sequentially("23", delay=20)
    page.reload()
    wait_for(lambda: page.locator("#f-weigh-value").input_value() == "23")


def test_the_refit_is_the_commands_ledger(look: Open, bench: Bench, tmp_path: Path) -> None:
    page = look("/refit", REFIT)
    if page.locator("#enter").count():
        page.locator("#enter").click()
        wait_for(lambda: page.locator("#enter").count() == 0)
    ledger = told(bench, "ledger", "show", str(bench.root / REFIT), "--json")
    assert page.locator("#saved").inner_text() in [mass_words(ledger["saving_kg"]["mean"])]
    page.locator("#envelope").scroll_into_view_if_needed()
    wait_for(lambda: page.locator("#envelope").is_visible())
    data = downloaded(page, page.locator("#paper-pdf"), tmp_path / "ledger.pdf")
    text = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(data)).pages)
    assert "Motor glider" in text
    xlsx = downloaded(page, page.locator("#paper-xlsx"), tmp_path / "ledger.xlsx")
    assert xlsx.startswith(b"PK")


def test_an_item_is_added_to_the_refit_and_taken_back(look: Open, bench: Bench) -> None:
    before = bench.text(REFIT)
    page = look("/refit", REFIT)
    page.locator("#new-table").wait_for(state="attached")
    box = page.locator("details:has(#new-table) > summary")
    if box.count() and not page.locator("#new-table").is_visible():
        box.first.click()
    page.locator("#f-refit-new-name").fill("old radio")
    page.locator("#f-refit-new-weight").fill("3 lb 7 oz")
    page.locator("#f-refit-new-arm").fill("40 in")
    page.locator("#add-item").click()
    wait_for(lambda: "old radio" in bench.text(REFIT))
    assert set(before.splitlines()) <= set(bench.text(REFIT).splitlines())
    page.locator("#setup-load > summary").press("Enter")
    page.locator("#f-refit-row-load__new__name").fill("ferry")
    page.keyboard.press("Enter")
    wait_for(lambda: 'name = "ferry"' in bench.text(REFIT))
    page.locator("#undo").click()
    wait_for(lambda: 'name = "ferry"' not in bench.text(REFIT))
    page.wait_for_timeout(600)  # the same button within half a second is one press of a gloved finger
    page.locator("#undo").click()
    wait_for(lambda: bench.text(REFIT) == before)
