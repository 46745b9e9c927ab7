"""The bar that never scrolls away, in a real browser: weight, limits, processes, faults, refusals."""

from __future__ import annotations

import shutil

import pytest

from browser.conftest import DOOR, Bench, Open, wait_for
from layup.bench.desk import LARGE

pytestmark = pytest.mark.browser


def in_sight(page: object, what: str) -> bool:
    found: bool = page.evaluate(  # type: ignore[attr-defined]
        """what => { const b = document.querySelector(what).getBoundingClientRect();
        return b.top >= 0 && b.bottom <= innerHeight && b.height > 0; }""", what,
    )  # fmt: skip
    return found


@pytest.mark.parametrize("size", ["laptop", "tablet"])
def test_the_weight_stays_in_sight_however_far_one_scrolls(look: Open, bench: Bench, size: str) -> None:
    page = look("/part", DOOR, size=size)
    page.locator("#mass").wait_for()
    for what in ("#mass", "#limits", "#saving", "#saving-limits", ".ways", "#undo", "#redo"):
        page.evaluate("scrollTo(0, document.body.scrollHeight)")
        page.wait_for_timeout(100)
        assert in_sight(page, what), what
    assert page.locator(".ways button").count() == 4


def test_a_process_is_pressed_and_undone(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    before, text = page.inner_text("#mass"), bench.text(DOOR)
    said = page.locator("#way-4 b").inner_text()
    page.locator("#way-4").click()
    wait_for(lambda: page.locator("#mass").inner_text().startswith(said))
    assert page.locator("#way-4").get_attribute("aria-pressed") == "true"
    assert "process prepreg" in page.inner_text(".last")
    assert "process prepreg" in page.locator("#told").text_content()  # what a screen reader says: the change alone
    page.locator("#undo").click()
    wait_for(lambda: bench.text(DOOR) == text)
    wait_for(lambda: page.inner_text("#mass") == before)


def test_a_typo_greys_the_last_good_weight_and_takes_nothing_away(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    good = page.inner_text("#mass")
    page.locator("details[data-key=ply-2] > summary").click()
    page.locator("#f-ply-2-angle").fill("90/45")
    page.keyboard.press("Tab")
    page.locator("#uncounted").wait_for()
    assert page.inner_text("#mass") == good
    assert "Ply 3" in page.inner_text("#uncounted")
    assert page.locator(".bar.old").count() == 1
    assert page.locator(".ways button").count() == 4
    page.locator("#f-ply-2-angle").fill("45")
    page.keyboard.press("Tab")
    wait_for(lambda: page.locator("#uncounted").count() == 0)
    assert page.locator(".bar.old").count() == 0


def test_a_refusal_stands_beside_what_was_pressed_and_in_sight_above(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=new-replaces] > summary").click()
    page.locator("#add-replaces").fill("a bracket")
    page.locator("form.adder:has(#add-replaces) button").click()
    page.locator("form.adder:has(#add-replaces) .refused").wait_for()
    assert "Still needed" in page.inner_text("form.adder:has(#add-replaces) .refused")
    assert in_sight(page, "#said .wrong")
    assert page.locator("#add-replaces").input_value() == "a bracket"
    assert "a bracket" not in bench.text(DOOR)


def test_a_mesh_replaced_on_the_disk_is_weighed_anew(look: Open, bench: Bench) -> None:
    part = bench.root / "plate.toml"
    part.write_text(
        'title = "Plate"\nprocess = "wet"\nresin = "epoxy, laminating"\n\n[surface]\nmesh = "plate.stl"\nunit = "mm"\n'
        'side = "all"\n\n[[ply]]\nfabric = "carbon plain 200"\n', encoding="utf-8",
    )  # fmt: skip
    file = bench.root / "plate.stl"
    flat(file, 400)
    file.write_text(file.read_text(encoding="ascii") + "\n" * LARGE, encoding="ascii")
    page = look("/part", "plate.toml")
    assert "plate.stl" in page.inner_text("[data-words]")  # a large one: said at once, and the page follows by itself
    page.locator("#mass").wait_for()
    before = page.inner_text("#mass")
    scratch = bench.root / "other.stl"
    flat(scratch, 800)
    shutil.move(scratch, file)
    wait_for(lambda: page.inner_text("#mass") != before)


def flat(path: object, wide: int) -> None:
    """A plate of two triangles, `wide` by 300 mm."""
    a, b, c, d = "0 0 0", f"{wide} 0 0", f"{wide} 300 0", "0 300 0"
    faces = "".join(
        "facet normal 0 0 1\nouter loop\n" + "".join(f"vertex {v}\n" for v in three) + "endloop\nendfacet\n"
        for three in ((a, b, c), (a, c, d))
    )
    path.write_text(f"solid plate\n{faces}endsolid plate\n", encoding="ascii")  # type: ignore[attr-defined]


def test_half_typed_text_is_in_sight_after_a_reload(look: Open, bench: Bench) -> None:
    page = look("/part", DOOR)
    page.locator("details[data-key=ply-1] > summary").click()
    page.locator("#f-ply-1-angle").press_sequentially("7", delay=10)
    page.wait_for_timeout(500)
    page.reload()
    page.locator("#f-ply-1-angle").wait_for(state="visible")
    assert "typed, not entered yet" in page.inner_text("details[data-key=ply-1]")
