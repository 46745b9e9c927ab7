"""Every screen before an accessibility checker, at both sizes, and in grey print.

The checker is axe-core, from the wheel of axe-playwright-python; findings of impact "serious" and "critical" fail.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

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


@pytest.mark.parametrize("size", ["laptop", "tablet"])
@pytest.mark.parametrize(("path", "file"), SCREENS)
def test_the_checker_finds_nothing_serious(look: Open, path: str, file: str, size: str) -> None:
    page = look(path, file, size=size)
    page.wait_for_timeout(600)
    for summary in page.locator("main details > summary").all()[:6]:
        if summary.is_visible():
            summary.click()
    assert not serious(page)
    assert page.locator("h1").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")


@pytest.mark.parametrize(("path", "file"), [("/", ""), ("/part", DOOR), ("/weigh", DOOR)])
def test_the_dark_scheme_has_the_contrast_too(look: Open, path: str, file: str) -> None:
    page = look(path, file)
    page.emulate_media(color_scheme="dark")
    page.wait_for_timeout(600)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(18, 25, 32)"
    assert not serious(page)


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


def test_print_is_grey_and_has_the_weight(look: Open) -> None:
    page = look("/part", DOOR)
    page.emulate_media(media="print")
    assert page.locator("#mass").is_visible()
    assert not page.locator(".top").is_visible()
    assert not page.get_by_role("button", name="Lay it on top").first.is_visible()
