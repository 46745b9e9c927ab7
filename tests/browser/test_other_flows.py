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

from browser.conftest import Bench, Open, wait_for
from layup.cli import main as layup_command

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
    page.locator("#passing").wait_for(timeout=180_000)
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
    page.get_by_role("button", name="Take back").click()
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
    page.locator("#answer, #failed").first.wait_for(timeout=180_000)


def test_prepare_cloth_and_print_the_sheet(look: Open, bench: Bench, tmp_path: Path) -> None:
    page = look("/prepare", PANEL)
    page.locator("#start-cloth").click()
    page.locator("#cloth img").wait_for(timeout=120_000)
    assert page.locator("#cloth img").evaluate("image => image.complete && image.naturalWidth") > 100
    page.get_by_role("button", name="Keep this layout").click()
    wait_for(lambda: (bench.root / "motor-glider/access-panel.cut.json").is_file())
    page.locator("#start-sheet").click()
    link = page.get_by_role("link", name="Build sheet (PDF)")
    link.wait_for(timeout=120_000)
    sheet = pypdf.PdfReader(io.BytesIO(downloaded(page, link, tmp_path / "sheet.pdf")))
    assert "Access panel" in sheet.pages[0].extract_text()
    page.locator("#start-shapes").click()
    link = page.get_by_role("link", name="Full-size templates")
    link.wait_for(timeout=120_000)
    assert downloaded(page, link, tmp_path / "plies.pdf").startswith(b"%PDF")


def test_the_bar_of_a_long_work_moves_and_stop_takes_the_best(look: Open, bench: Bench) -> None:
    page = look("/prepare", "solar-car/battery-lid.toml")
    page.locator("#f-prepare-seconds").fill("200")
    page.get_by_role("button", name="Take these").click()
    page.locator("#start-cloth").click()
    page.locator("#cloth [data-words]").wait_for()
    wait_for(lambda: "used" in page.locator("#cloth [data-words]").inner_text(), 120)
    page.reload()
    page.get_by_role("button", name="Stop and take").click()
    page.locator("#cloth table").wait_for(timeout=120_000)
    assert "best layouts so far" in page.inner_text("#cloth")
