"""The Prepare page: what it shows is what the commands print, and the papers are the commands' papers."""

from __future__ import annotations

import json
import re
import time
from html import unescape

import pytest
from bench_page import Page, alike, forms
from click.testing import CliRunner

from layup.commands.cli import main as layup_command
from layup.report.document import Grid
from layup.words import scale_words

PANEL = "motor-glider/access-panel.toml"
LID = "solar-car/battery-lid.toml"


def told(page: Page, command: str, file: str, *more: str) -> object:
    done = CliRunner().invoke(layup_command, [command, str(page.root / file), "--json", *more])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def ended(page: Page, what: str, file: str, **form: str) -> str:
    """Start a work and wait for its end; gives its name."""
    assert page.post("/prepare/start", {"what": what, **form}, file=file).status_code == 303
    work = next(w for w in page.bench.works._works.values() if w.about[0] == what)
    begun = time.monotonic()
    while not work.ended:
        assert time.monotonic() - begun < 600, work.words
        time.sleep(0.05)
    assert work.state == "done", work.answer
    return str(work.name)


def test_pots_and_bag_are_those_of_the_commands(page: Page) -> None:
    text = unescape(page.get("/prepare", file=PANEL, people="2", ratio="100:30").text)
    mixes = told(page, "mix", PANEL, "--people", "2", "--ratio", "100:30")
    assert isinstance(mixes, list)
    for pot in mixes[0]["pots"]:
        cell = "\n".join(scale_words(pot["resin_kg"], system) for system in ("metric", "lb"))
        assert f">{cell}<" in text.replace("\u00a0", " ")
    bag = told(page, "bag", PANEL)
    assert isinstance(bag, dict)
    for layer in bag["layers"]:
        assert f'<td class="strong">{layer["name"]}</td>' in text


def test_a_wrong_temperature_is_said_and_the_rest_stays(page: Page) -> None:
    answer = page.get("/prepare", file=PANEL, temperature="70")
    assert answer.status_code == 200
    assert "unit" in answer.text
    assert "from the mould up" in answer.text


def test_the_cloth_is_what_the_command_cuts_and_can_be_kept(page: Page) -> None:
    name = ended(page, "cloth", PANEL, seconds="0")
    given = page.get("/prepare/paper", file=PANEL, work=name, **{"as": "json"}).json()
    assert alike(given, told(page, "cut", PANEL, "--seconds", "0"))
    assert page.get("/prepare/picture", work=name).text.lstrip().startswith("<?xml")
    page.post("/prepare/keep", {"work": name}, file=PANEL)
    kept = page.root / "motor-glider/access-panel.cut.json"
    assert {f["fabric"] for f in json.loads(kept.read_text())["fabrics"]} == {f["fabric"] for f in given["fabrics"]}


def test_the_shapes_are_those_of_the_command_with_drawings_to_cut_by(page: Page) -> None:
    name = ended(page, "shapes", PANEL)
    given = page.get("/prepare/paper", file=PANEL, work=name, **{"as": "json"}).json()
    assert alike(given, told(page, "patterns", PANEL))
    for ending, begin in (("pdf", b"%PDF"), ("dxf", b"  0"), ("svg", b"<")):
        answer = page.get("/prepare/paper", file=PANEL, work=name, **{"as": ending})
        assert answer.content[:4].startswith(begin), ending
        assert f'filename="access-panel-plies.{ending}"' in answer.headers["content-disposition"]


def test_the_build_sheet_is_a_pdf_with_the_predicted_weight(page: Page) -> None:
    import io

    import pypdf

    name = ended(page, "sheet", PANEL, people="2")
    data = page.get("/prepare/paper", file=PANEL, work=name, **{"as": "pdf"}).content
    text = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(data)).pages)
    assert "Access panel" in text
    html = page.get("/prepare/paper", file=PANEL, work=name, **{"as": "html"})
    assert "attachment" in html.headers["content-disposition"]


def asks(page: Page) -> dict[str, str]:
    """The one form of the page as it stands."""
    form = next(f for f in forms(page.get("/prepare", file=PANEL).text) if f["action"].startswith("/prepare/start"))
    return dict(form["fields"])


def test_every_button_uses_what_stands_in_its_fields(page: Page) -> None:
    import io

    import pypdf

    form = asks(page)
    assert {"ratio", "temperature", "people", "pot", "gap", "edge", "seconds", "rolls", "paper"} <= set(form)
    typed = {**form, "ratio": "100:45", "temperature": "30 degC"}
    assert page.post("/prepare/start", {**typed, "what": "sheet"}, file=PANEL).status_code == 303
    work = page.bench.works.newest("sheet", PANEL)
    begun = time.monotonic()
    while not work.ended:
        assert time.monotonic() - begun < 600, work.words
        time.sleep(0.05)
    assert work.state == "done", work.answer
    printed = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(work.answer["files"]["pdf"])).pages)
    assert "100 : 45" in printed
    assert "100 : 27" not in printed
    assert "30 °C" in printed
    text = unescape(page.get("/prepare", file=PANEL).text)
    assert "resin to hardener by weight 100:45" in text
    assert asks(page)["ratio"] == "100:45"  # after a reload it still holds


def test_a_changed_gap_is_another_layout_and_the_old_one_is_called_old(page: Page) -> None:
    form = {**asks(page), "seconds": "0"}
    ended(page, "cloth", PANEL, **form)
    assert "prepare/picture" in page.get("/prepare", file=PANEL).text
    page.post("/prepare/start", {**form, "what": "pots", "gap": "300 mm"}, file=PANEL)
    text = page.get("/prepare", file=PANEL).text
    assert "Out of date: other fields hold now" in text
    assert "prepare/picture" not in text


@pytest.mark.parametrize(
    ("what", "key", "value", "name"),
    [("cloth", "gap", "abc", "between two pieces"), ("cloth", "edge", "-4 mm", "not used at each edge"),
     ("pots", "ratio", "lots", "resin to hardener"), ("sheet", "temperature", "70", "shop and resin at")],
)  # fmt: skip
def test_a_field_that_cannot_be_read_is_named_beside_the_button(
    page: Page, what: str, key: str, value: str, name: str
) -> None:
    answer = page.post("/prepare/start", {**asks(page), "what": what, key: value}, file=PANEL)
    assert answer.status_code == 422
    beside = unescape(answer.text.split(f'id="start-{what}"')[1][:600])
    assert 'class="wrong refused"' in beside
    assert name in beside.casefold()
    assert f'value="{value}"' in answer.text
    assert page.bench.works.newest(what, PANEL) is None


def test_no_hardener_by_the_gram_for_a_ratio_nobody_gave(page: Page) -> None:
    mixes = told(page, "mix", PANEL, "--ratio", "100:27")  # the row of the table, which is from memory
    assert isinstance(mixes, list)
    hardener = f"{mixes[0]['pots'][0]['hardener_kg'] * 1e3:.1f}\u00a0g"
    text = page.get("/prepare", file=PANEL).text
    assert hardener not in text
    assert "on the label of your" in text
    assert "--ratio" not in text
    assert hardener in page.get("/prepare", file=PANEL, ratio="100:27").text


def test_a_picture_of_a_work_that_made_none_is_refused_in_words(page: Page) -> None:
    name = ended(page, "sheet", PANEL)
    answer = page.get("/prepare/picture", work=name)
    assert answer.status_code == 422
    assert "made no picture" in answer.text


def test_an_edit_of_the_part_makes_the_layout_old(page: Page) -> None:
    ended(page, "cloth", PANEL, seconds="0")
    assert "prepare/picture" in page.get("/prepare", file=PANEL, seconds="0").text
    page.edit(PANEL, table="ply", number="0", set_angle="7")
    assert "prepare/picture" not in page.get("/prepare", file=PANEL, seconds="0").text


def test_a_search_that_is_stopped_gives_the_best_so_far(page: Page) -> None:
    page.post("/prepare/start", {"what": "cloth", "seconds": "300"}, file=LID)
    work = next(iter(page.bench.works._works.values()))
    begun = time.monotonic()
    while "used" not in work.words and not work.ended:
        assert time.monotonic() - begun < 600, work.words
        time.sleep(0.05)
    page.post("/prepare/stop", {"work": work.name, "seconds": "300"}, file=LID)
    while not work.ended:
        assert time.monotonic() - begun < 600
        time.sleep(0.05)
    assert work.state == "done", work.answer
    assert any(isinstance(block, Grid) and block.rows for block in work.answer["blocks"])
    assert re.search("best layouts so far", page.get("/prepare", file=LID, seconds="300").text)


@pytest.mark.parametrize(("key", "value"), [("seconds", "-3"), ("seconds", "x"), ("people", "0"), ("what", "mischief")])
def test_what_cannot_be_asked_is_said(page: Page, key: str, value: str) -> None:
    form = {"what": "sheet" if key == "people" else "cloth", key: value}
    answer = page.post("/prepare/start", form, file=PANEL)
    assert answer.status_code == 422
    assert "Traceback" not in answer.text
