"""Every screen before an accessibility checker, at four sizes, in light, dark and forced colours, and on paper.

The checker is axe-core, from the wheel of axe-playwright-python; findings of impact "serious" and "critical" fail.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pypdf
import pytest

from browser.conftest import DOOR, Bench, Open, running

pytestmark = pytest.mark.browser
SCREENS = (
    ("/", ""),
    ("/part", DOOR),
    ("/choose", "motor-glider/baggage-floor.toml"),
    ("/prepare", DOOR),
    ("/weigh", DOOR),
    ("/refit", "motor-glider/refit.toml"),
)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One program for all of these: they only look."""
    with running(tmp_path_factory.mktemp("bench")) as made:
        yield made


def serious(page: Any) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {one['help']}: {node['html'][:120]} ({node.get('failureSummary', '')[:160]})"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


SMALLEST = 14.0
"""Of any letter that is shown, in the drawings too. [px]"""
SMALL = """() => { const found = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) { const text = walk.currentNode, one = text.parentElement, svg = one.ownerSVGElement;
  if (!text.nodeValue.trim() || !one.checkVisibility()) continue;
  if (one.closest(".hide, .hidden, .skip, option, script")) continue;
  const matrix = svg ? one.getScreenCTM() : { a: 1, b: 0 };
  const size = parseFloat(getComputedStyle(one).fontSize) * Math.hypot(matrix.a, matrix.b);
  if (size < SMALLEST - 0.05) found.push(`${size.toFixed(1)} ${text.nodeValue.trim().slice(0, 30)}`); }
return found; }""".replace("SMALLEST", str(SMALLEST))


@pytest.mark.parametrize(("path", "file"), SCREENS)
def test_every_screen_at_four_sizes_in_light_and_dark(look: Open, path: str, file: str) -> None:
    page = look(path, file, picture=path == "/part")
    page.wait_for_timeout(600)
    page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
    for wide, high in ((1920, 1080), (1366, 768), (820, 1180), (390, 844)):
        page.set_viewport_size({"width": wide, "height": high})
        page.wait_for_timeout(200)
        assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth"), (wide, high)
        assert page.evaluate(SMALL) == [], (wide, high)
    assert page.locator("h1").count() == 1
    for scheme, paper in (("light", "rgb(233, 237, 240)"), ("dark", "rgb(18, 25, 32)")):  # on the phone, on the laptop
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(200)
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == paper
        assert not serious(page), scheme
        page.set_viewport_size({"width": 1366, "height": 768})


def test_with_forced_colours_what_is_chosen_is_still_seen(look: Open) -> None:
    page = look("/part", DOOR)
    page.emulate_media(forced_colors="active")
    colours = page.locator(".ways button").evaluate_all(
        "all => all.map(one => [one.ariaPressed, getComputedStyle(one).backgroundColor])"
    )
    chosen = {colour for pressed, colour in colours if pressed == "true"}
    assert len(chosen) == 1
    assert not chosen & {colour for pressed, colour in colours if pressed == "false"}
    assert page.locator(".section .band").first.evaluate("one => getComputedStyle(one).stroke") == "rgb(0, 0, 0)"


def test_the_checker_can_find_something(look: Open) -> None:
    page = look("/part", DOOR)
    page.evaluate("document.querySelector('.adder input[name=\"set.angle\"]').closest('label').replaceWith("
                  "Object.assign(document.createElement('input'), {className: 'nameless'}))")  # fmt: skip
    assert any("label" in one for one in serious(page))


@pytest.mark.parametrize(("path", "file"), SCREENS)
def test_every_target_is_large_enough_for_a_glove(look: Open, path: str, file: str) -> None:
    page = look(path, file, size="tablet")
    page.wait_for_timeout(600)
    small = page.evaluate(
        """() => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary, [role=button]")]
        .filter(e => e.checkVisibility())
        .filter(e => !e.matches(".skip, [aria-hidden=true], input[type=checkbox], input[type=radio], p a"))
        .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 110)])
        .filter(([b]) => b.width && (b.height < 44 || b.width < 44))
        .map(([b, t]) => `${Math.round(b.width)}x${Math.round(b.height)} ${t}`)"""
    )
    assert not small, "\n".join(small)


def test_a_part_prints_on_one_page_with_its_weight(look: Open) -> None:
    page = look("/part", DOOR, picture=True)
    page.locator("#stage[data-ready]").wait_for()
    page.emulate_media(media="print")
    assert page.locator("#mass").is_visible()
    assert page.locator("#limits").is_visible()
    assert not page.locator(".top").is_visible()
    assert not page.get_by_role("button", name="Lay it on top").first.is_visible()
    fields = page.locator("input, select, textarea")  # a paper with empty fields on it says nothing
    assert fields.evaluate_all("all => all.filter(one => one.checkVisibility()).length") == 0
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4", print_background=True)))
    assert len(printed.pages) == 1
    text = " ".join(printed.pages[0].extract_text().split())
    for word in ("Engine-bay door", "carbon plain 200", "front hinge", "door skin"):
        assert word in text, word
