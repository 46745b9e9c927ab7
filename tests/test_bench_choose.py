"""The Choose page: needs and shelf into the part file, the search, its answer, and a layup into the part."""

from __future__ import annotations

import io
import json
import math
import re
import shutil
import time
import tomllib
from html import unescape
from pathlib import Path

import pytest
from bench_page import alike
from pytest import approx
from rich.console import Console
from starlette.testclient import TestClient

from layup.bench.app import build
from layup.bench.choose_needs import JOINTS, needs_changes, shelf_of, stiffness_of, supports_of
from layup.bench.choose_work import letter_of, search
from layup.bench.rendering import sentence
from layup.choosing.as_json import as_json
from layup.choosing.choice import choose
from layup.choosing.front_svg import LABEL_HEIGHT, LABEL_WIDTH, FrontMark, front_svg, times_words
from layup.choosing.present import standing
from layup.choosing.screen import choice_screen
from layup.choosing.shelf import panel_shape, zone_shape
from layup.choosing.stack_svg import StackLine, stack_svg
from layup.choosing.words import PHASES, asked_words, lead_words, progress_words, proof_words, verdict_words
from layup.choosing.writeback import with_plies
from layup.partfile import edit as parttext
from layup.partfile.read import read_part
from layup.weight.prediction import predict
from layup.words import mass_both

PORT, KEY = 8437, "a-key-of-the-test"
PANEL = "access-panel.toml"
GLIDER = Path(__file__).parent.parent / "examples" / "motor-glider"
LONGEST = 90.0
"""A search of these parts takes some seconds; on a busy machine more. [s]"""
HARD = """title = "Hard panel"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["400 mm", "300 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 2
[needs]
pressure = "20 kPa"
deflection = "0.2 mm"
greatest_thickness = "2 mm"
[[replaces]]
name = "panel"
sheet = "aluminium 2024-T3"
thickness = "0.032 in"
"""
SLOW = """title = "Slow panel"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["400 mm", "300 mm"]
[[ply]]
fabric = "carbon plain 200"
count = 2
[needs]
stiffness = "not asked"
pressure = "25 kPa"
angles = [0, 15, -15, 30, -30, 45, -45, 60, 90]
[shelf]
fabrics = ["carbon unidirectional 200", "carbon plain 160"]
"""
"""Strength decides and there are many angles: minutes, where nobody stops it."""


class Shop:
    """A folder with its page."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.guard = build(folder, KEY, PORT)
        origin = f"http://127.0.0.1:{PORT}"
        self.client = TestClient(
            self.guard, base_url=origin, cookies={f"bench-{PORT}": KEY}, headers={"Origin": origin}
        )

    def text(self, name: str = PANEL) -> str:
        return (self.folder / name).read_text(encoding="utf-8")

    def needs(self, name: str = PANEL) -> dict[str, object]:
        return tomllib.loads(self.text(name)).get("needs", {})

    def page(self, name: str = PANEL, **query: str) -> str:
        answer = self.client.get("/choose", params={"file": name, **query})
        assert answer.status_code == 200, answer.text
        return unescape(answer.text)

    def post(self, path: str, name: str = PANEL, /, **form: str) -> str:
        answer = self.client.post(f"/choose/{path}?file={name}", data=form)
        assert answer.status_code == 200, answer.text
        return unescape(answer.text)

    def edit(self, name: str = PANEL, /, **form: str) -> str:
        return self.post("edit", name, table="needs", **form)

    def progress(self, name: str = PANEL) -> dict[str, object]:
        return self.client.get(f"/choose/progress?file={name}").json()

    def wait(self, name: str = PANEL, until: str = "") -> dict[str, object]:
        """Until the search has ended, or says something."""
        end = time.monotonic() + LONGEST
        while time.monotonic() < end:
            far = self.progress(name)
            if far["state"] in ("done", "failed") or (until and until in str(far["words"])):
                return far
            time.sleep(0.1)
        raise AssertionError(f"the search of {name} did not end in {LONGEST:.0f} s")


@pytest.fixture
def shop(tmp_path):
    for name in (PANEL, "shop.csv"):
        shutil.copy(GLIDER / name, tmp_path / name)
    made = Shop(tmp_path)
    yield made
    made.guard.close()


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """A shop whose panel was searched; tests that change it work on what they change alone."""
    folder = tmp_path_factory.mktemp("answered")
    for name in (PANEL, "shop.csv"):
        shutil.copy(GLIDER / name, folder / name)
    made = Shop(folder)
    made.post("start")
    assert made.wait()["state"] == "done"
    yield made
    made.guard.close()


@pytest.fixture(scope="module")
def choice():
    return choose(GLIDER / PANEL)


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


def test_without_a_file_it_leads_to_the_parts(shop):
    answer = shop.client.get("/choose", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/?said=take+a+part+first%2C+or+begin+one")


def test_every_key_of_the_needs_has_a_field(shop):
    from layup.partfile.fields import tables
    from layup.partfile.needs import LocalNeeds, Needs

    names = set(re.findall(r'name="([a-z_]+)"', shop.page()))
    assert set(Needs.model_fields) - {"local", "bolts", "laps", "inserts"} <= names
    for kind, (model, _) in tables(Needs).items():
        if kind in JOINTS:
            assert set(model.model_fields) == {key for key, *_ in JOINTS[kind][3]} <= names
    (shop.folder / "zoned.toml").write_text(
        shop.text()
        + '\n[[zone]]\nname = "corner"\nwithin = "60 mm of (0 mm, 0 mm)"\n[[needs.local]]\nzone = "corner"\n',
        encoding="utf-8",
    )
    page = shop.page("zoned.toml")
    own = page[page.index("Needs of zone corner") :]
    assert set(LocalNeeds.model_fields) - {"zone"} <= set(re.findall(r'name="([a-z_]+)"', own))


def test_what_is_typed_goes_into_the_file_and_back(shop):
    before = shop.text()
    page = shop.edit(speed="150 kt", hand_deflection="3 mm", hand_patch="60 mm x 40 mm", angles="0, 45, 90",
                     least_plies="3", symmetric="false", held_at="10 mm, 20 mm; 30 mm, 20 mm")  # fmt: skip
    needs = shop.needs()
    assert needs["speed"] == "150 kt"
    assert needs["hand_deflection"] == "3 mm"
    assert needs["hand_patch"] == ["60 mm", "40 mm"]
    assert needs["angles"] == [0, 45, 90]
    assert (needs["minimum_plies"], needs["symmetric"]) == (3, False)  # a key the file had not: the trade's name
    assert needs["held_at"] == [["10 mm", "20 mm"], ["30 mm", "20 mm"]]
    gone, _ = lines_changed(before, shop.text())
    assert len(gone) == 2, "only speed and hand_patch stood there before"
    assert "# the fastest it may fly" in shop.text(), "remarks stay"
    assert 'value="150 kt"' in page
    assert predict(shop.folder / PANEL).job.part.needs.hand_patch == approx((0.06, 0.04))
    shop.edit(speed="", held_at="")
    assert not {"speed", "held_at"} & set(shop.needs())
    shop.post("undo")
    shop.post("undo")
    assert shop.text() == before


def test_a_form_with_nothing_new_changes_nothing(shop):
    page, before = shop.page(), shop.text()
    form = "".join(piece.split("</form>")[0] for piece in page.split('action="/choose/edit')[1:3])  # sentence, and more
    fields = dict(re.findall(r'<input id="[^"]+" name="([a-z_]+)" value="([^"]*)"', form))
    assert fields["hand_at"] == "290 mm, 130 mm"
    assert len(fields) > 18
    shop.edit(**fields, stiffness="as", supports="simple", criterion="", surface_ply="")
    after = shop.needs()
    assert after == tomllib.loads(before)["needs"]
    assert shop.text() == before


def test_a_section_is_asked_with_its_own_fields(shop):
    tube = {"section": "tube", "section.diameter": "60 mm", "section.length": "800 mm", "section.moment": "90 N m"}
    shop.edit(**tube)
    written = {"shape": "tube", "diameter": "60 mm", "length": "800 mm", "moment": "90 N m"}
    assert shop.needs()["section"] == written
    assert needs_changes({"section": written}, tube) == {}
    shop.edit(**{**tube, "section": ""})
    assert "section" not in shop.needs()


@pytest.mark.parametrize(
    ("form", "written"),
    [
        ({"stiffness": "times", "times": "1.5"}, "1.5 times what it replaces"),
        ({"stiffness": "times", "times": ""}, "1.5 times what it replaces"),
        ({"stiffness": "no"}, "not asked"),
        ({"stiffness": "as"}, "as what it replaces"),
    ],
)
def test_stiffness_in_its_three_ways(shop, form, written):
    shop.edit(**form)
    assert shop.needs()["stiffness"] == written
    assert stiffness_of(written)[0] == form["stiffness"]


def test_supports_side_by_side(shop):
    shop.edit(supports="sides")
    assert shop.needs()["supports"] == dict.fromkeys(("left", "right", "bottom", "top"), "simple")
    shop.edit(supports="sides", **{"supports.left": "clamped", "supports.top": "free"})
    assert supports_of(shop.needs()["supports"])[1] == {
        "left": "clamped", "right": "simple", "bottom": "simple", "top": "free",
    }  # fmt: skip
    assert predict(shop.folder / PANEL).job.part.needs.supports["left"] == "clamped"
    shop.edit(supports="clamped")
    assert shop.needs()["supports"] == "clamped"


def test_a_table_in_braces_is_written_for_supports_alone():
    assert 'supports = { left = "free" }' in parttext.put("[needs]\n", ("needs", "supports"), '{ left = "free" }')
    assert tomllib.loads(parttext.put("", ("title",), "{ a = 1 }"))["title"] == "{ a = 1 }"
    assert tomllib.loads(parttext.put("[needs]\n", ("needs", "supports"), "{ left"))["needs"]["supports"] == "{ left"


def test_a_fault_stands_at_its_field_and_holds_the_search(shop):
    page = shop.edit(speed="very fast")
    field = page[page.index('name="speed"') :]
    assert "very fast" in field[: field.index("</label>")]
    assert 'class="fault"' in field[: field.index("</label>")]
    assert re.search(r'<button id="start"[^>]* disabled', page)
    answer = shop.client.post(f"/choose/start?file={PANEL}")
    assert answer.status_code == 422
    assert "put right what is wrong" in answer.text.casefold()


def test_a_file_outside_the_folder_is_not_read_by_a_search(shop, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "shop.csv"
    shutil.copy(shop.folder / "shop.csv", outside)
    text = shop.text().replace('["shop.csv"]', json.dumps([f"../../{outside.parent.name}/shop.csv"]))
    (shop.folder / PANEL).write_text(text, encoding="utf-8")
    assert shop.client.post(f"/choose/start?file={PANEL}").status_code == 422
    assert shop.client.post("/choose/start?file=../other.toml").status_code == 403
    assert shop.client.get("/choose/progress?file=../other.toml").status_code == 403


def test_the_first_change_of_the_shelf_keeps_what_the_part_is_made_of(shop):
    (shop.folder / "hard.toml").write_text(HARD.replace("count = 2", 'count = 2\n[[ply]]\ncore = "PVC foam 60"\n'
                                                        'thickness = "3 mm"'), encoding="utf-8")  # fmt: skip
    page = shop.post("shelf", "hard.toml", op="add-fabric", name="glass plain 200")
    assert tomllib.loads(shop.text("hard.toml"))["shelf"] == {
        "fabrics": ["carbon plain 200", "glass plain 200"], "cores": [{"core": "PVC foam 60", "thickness": "3 mm"}],
        "processes": ["vacuum bag"],
    }  # fmt: skip
    assert "Take glass plain 200 off the shelf" in page


def test_the_shelf_by_its_forms(shop):
    before = shop.text()
    shop.post("shelf", op="add-core", name="balsa, end grain 150", thickness="5 mm")
    shop.post("shelf", op="save-core", number="0", thickness="6 mm")
    shop.post("shelf", op="drop-fabric", number="0")
    shop.post("shelf", op="add-fabric", name="carbon satin 370, 3K")
    shop.post("shelf", op="save", ways="1", **{"process.wet": "on", "process.infusion": "on"})
    held = tomllib.loads(shop.text())["shelf"]
    assert held == {
        "fabrics": ["carbon plain 160", "glass plain 200", "carbon satin 370, 3K"],
        "cores": [{"core": "PVC foam 60", "thickness": "6 mm"}, {"core": "balsa, end grain 150", "thickness": "5 mm"}],
        "processes": ["wet", "infusion"], "solid": False,
    }  # fmt: skip
    assert not predict(shop.folder / PANEL).job.part.shelf.solid
    shop.post("shelf", op="drop-core", number="1")
    assert len(tomllib.loads(shop.text())["shelf"]["cores"]) == 1
    for _ in range(6):
        shop.post("undo")
    assert shop.text() == before


def test_the_shelf_shown_is_the_shelf_searched(shop):
    from layup.choosing.shelf import shelf_of as searched

    shutil.copy(GLIDER / "engine-bay-door.stl", shop.folder)
    for name in (PANEL, "engine-bay-door.toml", "rear-window.toml"):
        shutil.copy(GLIDER / name, shop.folder)
        sheet = shop.guard.app.state.bench.desk.sheet(name)
        here, there = shelf_of(sheet), searched(sheet.prediction.job)
        assert list(here.fabrics) == there.fabrics
        assert [name for name, _ in here.cores] == [core.core for core in there.cores]
        assert (list(here.processes), here.solid) == (there.processes, there.solid)


def test_local_needs_are_added_changed_and_taken_out(shop):
    zone = '\n[[zone]]\nname = "corner"\nwithin = "60 mm of (0 mm, 0 mm)"\n'
    (shop.folder / PANEL).write_text(shop.text() + zone, encoding="utf-8")
    shop.post("edit", table="needs.local", op="add", zone="corner")
    shop.post("edit", table="needs.local", number="0", fabrics="1", hand_load="200 N", most_plies="2",
              hand_patch="40 mm x 40 mm", **{"fabric.carbon plain 160": "on"})  # fmt: skip
    assert shop.needs()["local"] == [
        {"zone": "corner", "hand_load": "200 N", "most_plies": 2, "hand_patch": ["40 mm", "40 mm"],
         "fabrics": ["carbon plain 160"]}
    ]  # fmt: skip
    shop.post("edit", table="needs.local", number="0", op="drop")
    assert "local" not in shop.needs()


LAP = {
    "name": "rear edge", "load": "800 N", "width": "100 mm", "overlap": "20 mm", "glue": "0,3 mm",
    "glue_shear_modulus": "1 GPa", "glue_modulus": "2.8 GPa", "shear_strength": "15 MPa", "peel_strength": "6 MPa",
}  # fmt: skip


def test_joints_are_added_changed_and_taken_out(shop):
    before, lap = shop.text(), {"table": "needs.laps", "op": "add"}
    answer = shop.client.post(f"/choose/edit?file={PANEL}", data={**lap, "name": "rear edge", "load": "800 N"})
    assert answer.status_code == 422
    assert "Still needed: Over a width of, Overlap, Thickness of the glue" in unescape(answer.text)
    bolts = {"table": "needs.bolts", "op": "add", "name": "hinge", "pull": "200 N"}
    answer = unescape(shop.client.post(f"/choose/edit?file={PANEL}", data=bolts).text)
    assert '"Washer or head" 12 mm, "Shear strength through the laminate" 40 MPa' in answer
    assert shop.text() == before, "no figure that nobody typed, and nothing half"
    shop.post("edit", **lap, **LAP)
    assert shop.needs()["laps"] == [LAP]
    page = shop.post("edit", table="needs.laps", number="0", **{**LAP, "load": "900 N", "double": "true"})
    assert shop.needs()["laps"] == [{**LAP, "load": "900 N", "double": True}]
    assert 'aria-label="Bonded lap rear edge"' in page
    assert predict(shop.folder / PANEL).job.part.needs.laps[0].glue == approx(0.0003)
    page = shop.post("edit", table="needs.laps", number="0", **{**LAP, "load": "900", "double": "true"})
    assert "needs its unit" in page.split('aria-label="Bonded lap rear edge"')[1].split("</label>")[1]  # at its field
    shop.post("edit", table="needs.laps", number="0", op="drop")
    shop.post("edit", table="needs.inserts", op="add", name="latch", pull="300 N", diameter="20 mm")
    assert (shop.needs().get("laps"), len(shop.needs()["inserts"])) == (None, 1)
    for _ in range(5):
        shop.post("undo")
    assert shop.text() == before


def test_where_it_stands_is_said_in_the_sentence(shop):
    before = shop.text()
    page = shop.edit(near="dark in the sun")
    assert tomllib.loads(shop.text())["near"] == "dark in the sun"
    assert '<option value="dark in the sun" selected>' in page
    shop.edit(near="")
    assert shop.text() == before


def test_the_answer_speaks_of_the_page_and_not_of_the_file(answered):
    page = re.sub(r"<[^>]*>", " ", answered.page())
    assert "Where it gets hot, say so in the sentence: dark in the sun, or beside the engine." in page
    assert not re.search(r"\[\[|\[needs\]|[a-z]+_[a-z]+ = |--[a-z]", page)


def test_a_change_made_on_an_older_page_is_refused(shop):
    answer = shop.client.post(f"/choose/edit?file={PANEL}", data={"base": "0" * 16, "speed": "10 kt"})
    assert answer.status_code == 409
    assert shop.needs()["speed"] == "280 km/h"


def test_the_answer_is_that_of_the_command(answered, choice):
    assert len(repr(choice)) < 300
    there, here = as_json(choice), answered.client.get(f"/choose/json?file={PANEL}").json()
    there.pop("seconds"), here.pop("seconds")
    assert alike(json.loads(json.dumps(there)), here)
    page = answered.page()
    table = page[page.index('id="passing"') : page.index("</table>")]
    for layup in [there["best"], *there["others"]]:
        assert mass_both(layup["mass_kg"]["mean"], "both") in table
        assert layup["why"] in table
    assert re.search(rf'id="point-mass">{re.escape(mass_both(there["best"]["mass_kg"]["mean"], "both"))}<', page)
    assert page.count('class="mark ') == 1 + len(there["others"]) + 1, "every layup and the part as it stands"
    assert page.count("lightest</text>") == 1


def test_one_layup_shows_its_stack_and_every_check(answered, choice):
    rows = sorted([choice.best, *choice.others], key=lambda y: y.mass.mean)
    letter = letter_of(next(n for n, y in enumerate(rows) if y.label == "no core"))
    layup = next(y for y in rows if y.label == "no core")
    page = answered.page(point=letter)
    point = page[page.index('id="point"') : page.index('data-region="needs"')]
    assert mass_both(layup.mass.mean, "both") in point
    for kind in layup.found.assessment.kinds:
        assert kind.name in point
        assert kind.source in point
    assert point.count('class="ply ') == layup.plies
    assert 'aria-current="true"' in page[page.index(f'id="mark-{letter}"') : page.index(f'id="mark-{letter}"') + 200]


def test_cautions_are_on_the_page_before_and_after(shop, answered):
    for page in (shop.page(), answered.page()):
        assert "Primary structure needs test coupons and a qualified person" in page
        assert "The load factors are yours" in page


def test_page_and_terminal_say_the_answer_in_the_same_words(answered, choice):
    console = Console(width=2000, record=True, file=io.StringIO())
    console.print(choice_screen(choice, choice.job.part.units))
    took = re.compile(r" \([^()]* in all\)")  # the two searched one after the other
    screen, page = took.sub("", console.export_text()), took.sub("", answered.page())
    lead, proof = lead_words(choice), took.sub("", proof_words(choice))
    said = [asked_words(choice, choice.job.part.units), proof, *(verdict_words(step) for step in choice.steps)]
    assert lead in screen
    assert lead[:1].upper() + lead[1:] in page
    for words in said:
        assert words in screen
        assert sentence(words) in page or words in page
    for step in choice.steps:
        assert f"{step.stiffness:.2f} x" in page


def test_the_part_as_it_stands_is_judged_by_the_same_checks(answered, choice):
    now = standing(choice)
    assert now.mass.mean == approx(predict(GLIDER / PANEL).mass.mean, rel=1e-12)
    assert not now.layup.passed
    page = answered.page(point="Now")
    assert "The part as it stands" in page
    assert "fails" in page[page.index('id="failing"') : page.index("</ul>", page.index('id="failing"'))].casefold()
    assert 'id="take"' not in page


def test_a_chosen_layup_taken_as_the_part_stands_as_it_was_chosen(choice, tmp_path):
    """Judged as the part's own, the lightest layup has the stiffness and, on the search's mesh, the reserves it had."""
    part = GLIDER / PANEL
    shutil.copy(part.parent / "shop.csv", tmp_path / "shop.csv")
    (tmp_path / PANEL).write_text(with_plies(part.read_text(encoding="utf-8"), choice.best), encoding="utf-8")
    now = standing(choose(tmp_path / PANEL, wide=False)).layup
    assert now.mass.mean == approx(choice.best.mass.mean, rel=1e-9)
    assert now.stiffness == approx(choice.best.stiffness, rel=1e-6)
    searched = choice.searches.checker.assess(choice.best.found.batch)
    assert now.found.least == approx(searched.least, rel=1e-6)
    assert now.words == choice.best.words


def test_taking_a_layup_leaves_every_other_line_and_can_be_taken_back(answered, choice):
    before, page = answered.text(), answered.page()
    work = re.search(r'name="work" value="(\w+)"', page)[1]
    base = re.search(r'name="base" value="(\w+)"', page)[1]
    form = {"work": work, "base": base, "point": "A"}
    answer = answered.client.post(f"/choose/take?file={PANEL}", data=form, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(f"/part?file={PANEL}")
    after = answered.text()
    gone, come = lines_changed(before, after)
    assert all(re.match(r'fabric = "carbon plain 200"  |count = 4', line) for line in gone), gone
    assert all(re.match(r"# Chosen|fabric =|core =|thickness =|angle|count", line) for line in come), come
    assert predict(answered.folder / PANEL).mass.mean == approx(choice.best.mass.mean, rel=1e-9)
    stale = answered.page()
    assert "for the part as it stood then" in stale
    answered.post("undo")
    assert answered.text() == before
    assert "for the part as it stood then" not in answered.page()


def test_a_layup_of_another_search_is_not_taken(answered):
    for form in ({"work": "no such", "point": "A"}, {"work": "", "point": "Z"}):
        assert answered.client.post(f"/choose/take?file={PANEL}", data=form).status_code == 422
    assert "5 3/8 oz" in answered.page()


def test_where_nothing_passes_the_page_says_what_the_command_says(shop):
    (shop.folder / "hard.toml").write_text(HARD, encoding="utf-8")
    shop.post("start", "hard.toml")
    assert shop.wait("hard.toml")["state"] == "done"
    console = Console(width=400, record=True, file=io.StringIO())
    console.print(choice_screen(choose(shop.folder / "hard.toml"), "both"))
    said = console.export_text()
    page = shop.page("hard.toml")
    fails = [line.strip() for line in said.splitlines() if line.strip().startswith("fails:")]
    assert fails
    for line in [*fails, "none of the 58 layups on the shelf passes", "Put a stiffer fabric"]:
        assert line in said
        assert line.removeprefix("fails: ").removeprefix("none ") in page
    assert 'id="take"' not in page
    assert 'id="passing"' not in page


def test_stopping_gives_the_best_so_far_and_a_reload_finds_the_work(shop):
    (shop.folder / "slow.toml").write_text(SLOW, encoding="utf-8")
    page = shop.post("start", "slow.toml")
    assert 'id="progress"' in page
    name = shop.wait("slow.toml", until=PHASES[1])["name"]
    again = shop.page("slow.toml")
    assert f'data-work="{name}"' in again, "a page loaded again finds the search"
    shop.post("start", "slow.toml")
    assert shop.progress("slow.toml")["name"] == name, "and does not begin another"
    page = shop.edit("slow.toml", load_factor="1.1")
    assert "it goes on for the part as it stood then" in page
    shop.post("stop", "slow.toml")
    assert shop.wait("slow.toml")["state"] == "done"
    page = shop.page("slow.toml")
    assert "stopped before it was proven the lightest" in page
    assert "for the part as it stood then" in page
    assert "A so far</text>" in page
    assert "A lightest</text>" not in page
    answer = shop.client.get("/choose/json?file=slow.toml").json()
    assert answer["passes"]
    assert not answer["proven_lightest"]
    assert answer["others"] == []


def test_a_search_stopped_at_once_looks_for_nothing_else(choice):
    """One Ctrl-C is enough: no front is begun, and no guess is called the lightest under a restriction."""
    told: list[str] = []

    def stop(what: str, looked: int, weight: float) -> None:
        told.append(what)
        if what == PHASES[1] and told.count(what) == 1:
            raise KeyboardInterrupt

    stopped = choose(GLIDER / PANEL, tell=stop)
    assert (stopped.proven, stopped.others) == (False, ())
    assert stopped.best.mass.mean >= choice.best.mass.mean - 1e-9
    assert set(told) == set(PHASES[:2])


def test_a_front_stopped_half_way_keeps_what_was_proven(choice):
    labels: list[str] = []

    def stop(what: str, looked: int, weight: float) -> None:
        labels.append(what)
        if what == "no core":
            raise KeyboardInterrupt

    stopped = choose(GLIDER / PANEL, tell=stop)
    assert stopped.ended
    assert stopped.best.words == choice.best.words
    assert [y.label for y in stopped.others] == ["wet"]
    assert labels[-1] == "stopped"


def test_a_zone_in_the_middle_of_a_panel_has_its_outline(hatch):
    """Its triangles do not share whole edges where the zone was cut out; a circle of 80 mm has 0.0201 m^2."""
    job = read_part(hatch(surface={"rectangle": ["500 mm", "400 mm"]},
                          zone=[{"name": "step", "within": "80 mm of (250 mm, 200 mm, 0 mm)"}]))  # fmt: skip
    outline = zone_shape(job, panel_shape(job), "step")
    assert outline.area == approx(math.pi * 0.08**2, rel=0.02)
    assert (outline.centroid.x, outline.centroid.y) == approx((0.25, 0.2), abs=1e-3)


def test_what_cannot_be_searched_says_why(shop):
    text = HARD[: HARD.index("[needs]")]
    (shop.folder / "asks-nothing.toml").write_text(text, encoding="utf-8")
    shop.post("start", "asks-nothing.toml")
    assert shop.wait("asks-nothing.toml")["state"] == "failed"
    page = shop.page("asks-nothing.toml")
    assert "Nothing is asked of the part" in page
    assert shop.client.get("/choose/json?file=asks-nothing.toml").status_code == 422


def test_a_part_without_plies_can_be_searched(tmp_path):
    text = HARD.replace('[[ply]]\nfabric = "carbon plain 200"\ncount = 2\n', "").replace('"0.2 mm"', '"60 mm"')
    text = text.replace("greatest_thickness", "# thickness") + '[shelf]\nfabrics = ["carbon plain 200"]\n'
    told: list[str] = []
    answer = search("bare.toml", text, str(tmp_path), {}, told.append)
    assert answer.now is None
    assert answer.points[0].lightest
    assert PHASES[0] in told


def test_progress_in_words():
    assert progress_words(PHASES[1], 1234, 0.4, "metric") == f"{PHASES[1]}: 400 g/m² reached, 1,234 layups looked at"
    assert progress_words("no core", 1, 0.0, "lb") == "the lightest with no core: 1 layup looked at"
    assert progress_words(PHASES[0], 0, 0.0, "lb") == PHASES[0]


def test_changes_are_only_what_differs():
    now = {"speed": "280 km/h", "angles": [0, 45], "stiffness": 2, "hand_at": ["1 mm", "2 mm"]}
    same = {"speed": " 280 km/h ", "angles": "0, 45", "stiffness": "times", "times": "2", "hand_at": "1 mm, 2 mm"}
    assert needs_changes(now, same) == {}
    assert needs_changes(now, {**same, "angles": "", "hand_at": "3 mm by 4 mm"}) == {
        "angles": "", "hand_at": '["3 mm", "4 mm"]',
    }  # fmt: skip


def marks(*figures: tuple[float, float, float]) -> list[FrontMark]:
    return [
        FrontMark(letter_of(n), m, (c, "EUR"), t, letter_of(n), "#", True, "" if n else "lightest")
        for n, (m, c, t) in enumerate(figures)
    ]


@pytest.mark.parametrize(
    "figures",
    [
        [(0.155, 20.0, 1.0)],
        [(0.155, 20.0, 1.0), (0.155, 20.0, 1.0), (0.156, 20.1, 1.1), (0.157, 20.2, 1.2)],
        [(0.1 + 0.001 * k, 20.0 + k % 3, 1.0 + k) for k in range(12)],
    ],
)
def test_labels_of_the_front_are_a_finger_wide_and_lie_on_no_other(figures):
    drawing = front_svg(marks(*figures), "lb")
    found = re.findall(r'class="label" x="([\d.]+)" y="([\d.]+)"', drawing)
    corners = [(float(x), float(y)) for x, y in found]
    assert len(corners) == len(figures)
    assert min(LABEL_WIDTH, LABEL_HEIGHT) >= 46
    for n, (a, b) in enumerate(corners):
        for c, d in corners[:n]:
            assert abs(a - c) >= LABEL_WIDTH or abs(b - d) >= LABEL_HEIGHT


def test_dots_lie_where_weight_and_price_are():
    drawing = front_svg(marks((0.1, 10.0, 1.0), (0.2, 20.0, 4.0), (0.15, 15.0, 2.0)), "metric")
    dots = [tuple(map(float, d)) for d in re.findall(r'class="dot" cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', drawing)]
    assert dots[2][0] == approx((dots[0][0] + dots[1][0]) / 2, abs=0.11)
    assert dots[2][1] == approx((dots[0][1] + dots[1][1]) / 2, abs=0.11)
    assert dots[0][1] > dots[1][1], "dearer is higher up"
    assert dots[0][2] < dots[2][2] < dots[1][2], "stiffer is larger"


def test_without_a_full_price_stiffness_goes_upwards():
    bare = [FrontMark(letter, m, None, t, letter, "#") for letter, m, t in (("A", 0.1, 1.0), ("B", 0.2, 2.0))]
    drawing = front_svg(bare, "lb")
    assert "times as stiff as the lightest" in drawing
    assert "EUR" not in drawing
    heights = [float(y) for y in re.findall(r'class="dot" cx="[\d.]+" cy="([\d.]+)"', drawing)]
    assert heights[1] < heights[0]


def test_a_name_from_a_file_is_not_markup():
    one = FrontMark("A", 0.1, None, 1.0, '<script>"', '"><b>')
    assert "<script>" not in front_svg([one], "lb")
    assert "<b>" not in front_svg([one], "lb")
    assert "<b>" not in stack_svg([StackLine("<b>", 0.0, (1e-3,), "cloth")], "lb")


def test_a_stack_is_drawn_to_scale_from_the_mould_up():
    lines = [
        StackLine("carbon plain 200", 45.0, (0.2e-3, 0.2e-3), "cloth"),
        StackLine("PVC foam 60", 0.0, (3e-3,), "core"),
        StackLine("glass plain 100", 0.0, (0.1e-3,), "cloth"),
    ]
    drawing = stack_svg(lines, "metric")
    bars = re.findall(r'class="ply ([\w-]+)" x="\d+" y="([\d.]+)" width="\d+" height="([\d.]+)"', drawing)
    assert [kind for kind, _, _ in bars] == ["cloth-0", "cloth-0", "core", "cloth-1"]
    tall = [float(h) for _, _, h in bars]
    assert tall[2] / tall[0] == approx(15.0, rel=0.01)
    assert tall[3] / tall[0] == approx(0.5, rel=0.01)
    heights = [float(y) for _, y, _ in bars]
    assert heights == sorted(heights, reverse=True), "the mould is below"
    assert "2 × carbon plain 200, 45°, 0.40 mm" in drawing


def test_times_words_keep_what_matters():
    assert [times_words(v) for v in (0.0029, 0.0986, 1.0, 10.4)] == ["0.003 ×", "0.10 ×", "1.00 ×", "10 ×"]


@pytest.mark.parametrize(
    ("written", "key"),
    [({"minimum_plies": 3}, "minimum_plies"), ({"least_plies": 3}, "least_plies"), ({}, "minimum_plies")],
)
def test_a_key_is_changed_under_the_name_the_file_has_for_it(written, key):
    assert needs_changes(written, {"least_plies": "4"}) == {key: "4"}
    assert needs_changes({"minimum_plies": 3}, {"least_plies": "3"}) == {}
