"""The part's page: what it shows is what the command line says, and what is done on it stands in the file."""

from __future__ import annotations

import json
import re
import threading
import tomllib
from html import unescape
from typing import Any, get_args

import pytest
from bench_page import Page, alike, forms, open_page
from click.testing import CliRunner

from layup.bench import desk, part_page
from layup.bench.desk import Desk
from layup.bench.rendering import span
from layup.commands.cli import main as layup_command
from layup.partfile.fields import tables
from layup.partfile.model import Near, Part, ReplacesEntry
from layup.weight.prediction import predict
from layup.weight.screen import made_of
from layup.words import mass_both, mass_words

DOOR = "motor-glider/engine-bay-door.toml"


def shown(text: str, element: str) -> str:
    found = re.search(rf'id="{element}"[^>]*>([^<]*)<', text)
    assert found, element
    return unescape(found[1])


def test_the_weight_on_the_page_is_the_weight_of_the_command(page: Page) -> None:
    for file in page.bench.folder.parts():
        answer = page.get("/part", file=file)
        assert answer.status_code == 200, file
        expected = predict(page.root / file)
        system = expected.job.part.units
        assert shown(answer.text, "mass") == mass_both(expected.mass.mean, system)
        assert shown(answer.text, "limits") == span(expected.mass, system)
        if expected.saving is not None:
            assert shown(answer.text, "saving-limits") == span(expected.saving.mass, system)


def test_the_json_of_the_page_is_the_json_of_the_command(page: Page) -> None:
    told = CliRunner().invoke(layup_command, ["predict", str(page.root / DOOR), "--json"])
    assert alike(page.get("/part/json", file=DOOR).json(), json.loads(told.output))


def test_an_edit_stands_in_the_file_with_every_other_line_as_it_was(page: Page) -> None:
    before = page.text(DOOR)
    answer = page.edit(DOOR, table="ply", number="0", op="save", set_angle="30")
    assert answer.status_code == 200
    after = page.text(DOOR)
    changed = [(a, b) for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]
    assert [b.split("#")[0].strip() for _, b in changed] == ["angle = 30"]
    assert "ply 1: angle 30" in answer.text


def test_what_the_last_edit_cost_is_the_difference_of_two_predictions(page: Page) -> None:
    before = predict(page.root / DOOR).mass.mean
    answer = page.edit(DOOR, table="ply", op="add", set_material="fabric|carbon plain 200", set_angle="0")
    after = predict(page.root / DOOR).mass.mean
    assert after > before
    assert f"adds {mass_both(after - before, 'both')}" in unescape(answer.text)


def test_plies_added_moved_doubled_and_taken_out_then_all_taken_back(page: Page) -> None:
    before = page.text(DOOR)
    steps = (
        {"op": "add", "set_material": "core|PVC foam 60", "set_thickness": "6 mm"},
        {"op": "move", "number": "5", "to": "1"},
        {"op": "copy", "number": "0"},
        {"op": "drop", "number": "3"},
        {"op": "down", "number": "1"},
    )
    for step in steps:
        assert page.edit(DOOR, table="ply", **step).status_code == 200, step
    assert page.text(DOOR) != before
    for _ in steps:
        assert page.post("/part/undo", file=DOOR).status_code == 303
    assert page.text(DOOR) == before
    assert "nothing to take back" in page.post("/part/undo", file=DOOR).text
    for _ in steps:
        page.post("/part/redo", file=DOOR)
    page.post("/part/undo", file=DOOR)
    assert page.text(DOOR) != before


def test_a_new_edit_after_taking_back_forgets_what_could_be_made_again(page: Page) -> None:
    page.edit(DOOR, table="ply", number="0", set_angle="10")
    page.post("/part/undo", file=DOOR)
    page.edit(DOOR, table="ply", number="0", set_angle="20")
    assert "nothing to make again" in page.post("/part/redo", file=DOOR).text


def test_windows_line_ends_stay(page: Page) -> None:
    file = page.root / DOOR
    file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    page.edit(DOOR, table="ply", number="0", set_angle="30")
    assert file.read_bytes().count(b"\n") == file.read_bytes().count(b"\r\n") > 20


def test_two_windows_the_second_learns_that_the_part_has_changed(page: Page) -> None:
    base = page.bench.desk.sheet(DOOR).version
    assert page.edit(DOOR, base=base, table="ply", number="0", set_angle="10").status_code == 200
    text = page.text(DOOR)
    late = page.edit(DOOR, base=base, table="ply", number="0", set_angle="20")
    assert late.status_code == 409
    assert "another window" in late.text
    assert page.text(DOOR) == text


def test_what_another_program_writes_is_seen_and_not_overwritten_by_taking_back(page: Page) -> None:
    page.edit(DOOR, table="ply", number="0", set_angle="10")
    (page.root / DOOR).write_text(page.text(DOOR).replace("angle = 10", "angle = 11"), encoding="utf-8")
    assert "another program" in page.post("/part/undo", file=DOOR).text
    assert "angle = 11" in page.text(DOOR)


def test_a_mistake_is_said_at_its_field_and_the_text_stays(page: Page) -> None:
    answer = page.edit(DOOR, table="ply", number="2", set_material="", set_zone="edje")
    assert answer.status_code == 200
    said = unescape(answer.text)
    assert "no such zone" in said.casefold()
    assert "1 thing to put right" in said
    assert 'zone = "edje"' in page.text(DOOR)
    answer = page.edit(DOOR, table="ply", number="2", set_zone="edge")
    assert shown(answer.text, "mass")


def test_a_fault_greys_the_last_good_weight_and_names_what_is_not_counted(page: Page) -> None:
    good = shown(page.get("/part", file=DOOR).text, "mass")
    answer = page.edit(DOOR, table="ply", number="2", set_angle="90/45")
    assert shown(answer.text, "mass") == good
    assert "Ply 3, angle is not counted yet" in shown(answer.text, "uncounted")
    assert 'class="bar weight old"' in answer.text
    for path in ("/prepare", "/weigh", "/choose"):  # on every screen of the part
        assert shown(page.get(path, file=DOOR).text, "mass") == good
    answer = page.edit(DOOR, table="ply", number="2", set_angle="45")
    assert 'class="bar weight"' in answer.text
    assert "uncounted" not in answer.text


def test_a_change_of_the_old_part_is_not_called_nothing(page: Page) -> None:
    before = predict(page.root / DOOR)
    answer = page.post("/part/add-item", add_form("replaces", "weighed", weighed="5 oz"), file=DOOR)
    after = predict(page.root / DOOR)
    assert before.replaced is not None
    assert after.replaced is not None
    gained = mass_both(after.replaced.mass.mean - before.replaced.mass.mean, "both")
    last = re.sub("<[^>]*>", "", unescape(answer.text.split('class="last"')[1].split("</p>")[0]))
    assert f"the old part gains {gained}" in last


@pytest.mark.parametrize("way", ["wet", "vacuum bag", "infusion", "prepreg"])
def test_a_process_button_makes_the_part_weigh_what_it_says(page: Page, way: str) -> None:
    text = page.get("/part", file=DOOR).text
    said = re.search(rf'name="process" value="{way}"[^>]*>[^<]*<b>([^<]*)</b>', text)
    assert said is not None
    answer = page.post("/part/process", {"process": way, "script": "1"}, file=DOOR)
    assert answer.status_code == 200
    now = predict(page.root / DOOR)
    assert now.weighed.process.name == way
    assert mass_words(now.mass.mean) == said[1]
    assert shown(answer.text, "mass").startswith(said[1])


def test_a_mesh_put_in_its_place_on_the_disk_is_another_state(page: Page) -> None:
    surface = page.bench.desk.sheet(DOOR).data["surface"]
    file = page.root / "motor-glider" / (surface.get("mesh") or surface.get("step"))
    before = page.get("/part/version", file=DOOR).text.split()
    assert page.get("/part/version", file=DOOR).text.split() == before
    file.write_bytes(file.read_bytes() + b" ")
    after = page.get("/part/version", file=DOOR).text.split()
    assert after[0] == before[0]
    assert after[1] != before[1]
    assert f'data-state="{after[1]}"' in page.get("/part", file=DOOR).text


def test_a_decimal_comma_is_read_where_it_has_one_meaning(page: Page) -> None:
    page.edit(DOOR, table="ply", number="0", op="save", set_angle="22,5")
    assert predict(page.root / DOOR).job.part.plies()[0].angle == 22.5


def test_a_browser_that_leaves_while_it_sends_is_no_fault_of_the_page(
    page: Page, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing was changed, and nothing is said at the terminal."""
    import asyncio

    app, text, said = page.client.app.app, page.text(DOOR), []
    pieces = [
        {"type": "http.request", "body": b"table=ply&number=0&set.an", "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def receive() -> dict[str, object]:
        return pieces.pop(0)

    async def send(message: dict[str, object]) -> None:
        said.append(message)

    head = [(b"content-type", b"application/x-www-form-urlencoded"), (b"host", b"127.0.0.1")]
    scope = {"type": "http", "method": "POST", "path": "/part/edit", "raw_path": b"/part/edit", "headers": head,
             "query_string": f"file={DOOR}".encode(), "http_version": "1.1", "scheme": "http", "root_path": "",
             "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1)}  # fmt: skip
    asyncio.run(app(scope, receive, send))
    assert "fault" not in capsys.readouterr().err
    assert page.text(DOOR) == text


def test_a_cloth_is_found_by_what_a_shop_calls_it(page: Page) -> None:
    page.edit(DOOR, table="ply", number="0", op="save", set_cloth="  Carbon  PLAIN 160 ")
    assert predict(page.root / DOOR).job.part.plies()[0].fabric == "carbon plain 160"
    answer = page.edit(DOOR, table="ply", number="0", op="save", set_cloth="CSM")
    assert answer.status_code == 422
    assert "Choose one" in unescape(answer.text)
    answer = page.edit(DOOR, table="ply", number="0", op="save", set_cloth="carbon plane 200")
    assert answer.status_code == 422
    assert "carbon plain 200" in unescape(answer.text)
    assert predict(page.root / DOOR).job.part.plies()[0].fabric == "carbon plain 160"


def test_a_patch_is_a_zone_and_its_ply_in_one_step(page: Page) -> None:
    text, before = page.text(DOOR), predict(page.root / DOOR).mass.mean
    form = {"table": "zone", "op": "add", "set.name": "latch", "set.within": "50 mm of (300 mm, 200 mm, 22 mm)",
            "patch.cloth": "carbon plain 200", "patch.angle": "45", "patch.count": "2", "script": "1"}  # fmt: skip
    assert page.post("/part/edit", form, file=DOOR).status_code == 200
    now = predict(page.root / DOOR)
    assert now.mass.mean > before
    last = now.job.part.plies()[-1]
    assert (last.zone, last.fabric, last.angle, last.count) == ("latch", "carbon plain 200", 45.0, 2)
    page.post("/part/undo", file=DOOR)
    assert page.text(DOOR) == text


def test_a_cloth_of_ones_own_goes_into_the_table_and_can_be_laid(page: Page) -> None:
    form = {"size": "1 m x 600 mm", "title": "Floor", "process": "wet",
            "resin": "epoxy, laminating"}  # fmt: skip
    page.post("/new", form)
    mine = {"kind": "fabric", "name": "barn roll", "script": "1"}
    answer = page.post("/part/mine", mine, file="floor.toml")
    assert answer.status_code == 422
    assert "Still needed" in answer.text
    assert not (page.root / "shop.csv").exists()
    whole = {**mine, "own.fibre": "E-glass", "own.form": "cloth", "own.areal_weight": "8.8 oz/yd^2"}
    wrong = page.post("/part/mine", {**whole, "own.areal_weight": "8.8"}, file="floor.toml")
    assert wrong.status_code == 422
    assert not (page.root / "shop.csv").exists()
    assert page.post("/part/mine", whole, file="floor.toml").status_code == 200
    page.edit("floor.toml", table="ply", op="add", set_cloth="barn roll", set_angle="0")
    now = predict(page.root / "floor.toml")
    assert now.weighed.fibre == pytest.approx(0.6 * 8.8 * 0.028349523125 / 0.83612736, rel=1e-6)
    assert "already" in page.post("/part/mine", whole, file="floor.toml").text


def test_a_file_broken_in_an_editor_is_shown_with_its_line(page: Page) -> None:
    (page.root / DOOR).write_text(page.text(DOOR).replace("angle = 0", "angle = 0 deg"), encoding="utf-8")
    answer = page.get("/part", file=DOOR)
    assert answer.status_code == 200
    assert "line can" in unescape(answer.text)
    assert "editor" in unescape(page.edit(DOOR, table="ply", number="1", set_angle="5").text)


def test_what_is_typed_is_kept_until_it_is_entered(page: Page) -> None:
    field = "f-ply-0-angle"
    page.post("/part/typed", {"field": field, "text": "3", "keep": "1"}, file=DOOR)
    again = open_page(page.root)  # as after a crash
    assert re.search(rf'id="{field}"[^>]*value="3"', again.get("/part", file=DOOR).text)
    again.edit(DOOR, table="ply", number="0", set_angle="30")
    assert re.search(rf'id="{field}"[^>]*value="30"', again.get("/part", file=DOOR).text)
    assert "not entered yet" not in again.get("/part", file=DOOR).text


def test_a_new_part_from_two_sides_with_its_first_ply(page: Page) -> None:
    form = {"size": "1 m x 600 mm", "title": "Floor", "process": "vacuum bag",
            "resin": "epoxy, laminating"}  # fmt: skip
    answer = page.post("/new", form)
    assert answer.headers["location"] == "/part?file=floor.toml"
    assert "Lay the first ply" in page.get("/part", file="floor.toml").text
    page.edit("floor.toml", table="ply", op="add", set_material="fabric|carbon plain 200")
    assert predict(page.root / "floor.toml").area == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("form", "area"),
    [
        ({"size": "6 ft²"}, 6 * 0.3048**2),
        ({"form": "stations", "stations": "0, 200\n500 200\n", "unit": "mm"}, 0.1),
        ({"form": "girths", "stations": "0; 2\n1; 2", "unit": "m"}, 2.0),
    ],
)
def test_a_new_part_from_what_was_measured(page: Page, form: dict[str, str], area: float) -> None:
    more = {"title": "Cover", "process": "wet", "resin": "epoxy, laminating"}
    answer = page.post("/new", {**form, **more})
    assert answer.status_code == 303, answer.text
    page.edit("cover.toml", table="ply", op="add", set_material="fabric|carbon plain 200")
    assert predict(page.root / "cover.toml").area == pytest.approx(area)


def test_a_new_part_from_a_mesh_without_unit_and_side(page: Page) -> None:
    solid = (page.root / "motor-glider/engine-bay-door-solid.stl").read_bytes()
    form = {"title": "Solid door", "process": "vacuum bag", "resin": "epoxy, laminating"}
    sent = page.client.post("/new", data=form, files={"surface": ("my door.stl", solid)}, follow_redirects=False)
    assert sent.headers["location"] == "/part?file=solid-door.toml"
    assert "Which unit is the file in?" in page.get("/part", file="solid-door.toml").text
    page.edit("solid-door.toml", table="surface", set_unit="mm")
    assert "two sides, and one is laid up" in page.get("/part", file="solid-door.toml").text
    page.edit("solid-door.toml", table="surface", set_side="outer")
    page.edit("solid-door.toml", table="ply", op="add", set_material="fabric|carbon plain 200")
    assert predict(page.root / "solid-door.toml").job.surface.side.startswith("outer")


def test_a_large_surface_is_told_of_at_once_and_read_beside_the_page(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = threading.Event()
    work_out = Desk._work_out

    def held(self: Desk, *given: Any) -> Any:
        gate.wait()
        return work_out(self, *given)

    monkeypatch.setattr(desk, "LARGE", 1000)
    monkeypatch.setattr(Desk, "_work_out", held)
    for path in ("/part", "/choose", "/prepare", "/weigh"):
        text = page.get(path, file=DOOR).text
        assert "is being read" in text
        assert 'id="mass"' not in text
    assert page.get("/part/reading", file=DOOR).json()["state"] == "running"
    gate.set()
    page.get("/part/version", file=DOOR)  # which waits until it is read
    assert page.get("/part/reading", file=DOOR).json()["state"] == "done"
    assert 'id="mass"' in page.get("/part", file=DOOR).text


def test_a_file_sent_twice_does_not_write_over_the_first(page: Page) -> None:
    form = {"title": "A", "process": "wet", "resin": "epoxy, laminating"}
    for _ in range(2):
        page.client.post(
            "/new", data=form, files={"surface": ("a.csv", b"x,y\n0,0\n1,0\n1,1\n")}, follow_redirects=False
        )
    assert {p.name for p in page.root.glob("a*")} == {"a.csv", "a-2.csv", "a.toml", "a-2.toml"}


def test_a_copy_of_a_part_has_its_own_name(page: Page) -> None:
    answer = page.post("/new/copy", {"from": DOOR, "title": "Door, right"})
    assert answer.headers["location"] == "/part?file=motor-glider%2Fdoor-right.toml"
    assert predict(page.root / "motor-glider/door-right.toml").title == "Door, right"


def test_a_stack_is_written_out_ply_by_ply(page: Page) -> None:
    text = (
        'title = "S"\nprocess = "wet"\nresin = "epoxy, laminating"\nstack = "[0/45]s"\nfabric = "carbon plain 200"\n\n'
    )
    (page.root / "s.toml").write_text(text + '[surface]\narea = "1 m^2"\n', encoding="utf-8")
    before = predict(page.root / "s.toml").mass.mean
    page.post("/part/write-out", {"script": "1"}, file="s.toml")
    assert page.text("s.toml").count("[[ply]]") == 4
    assert predict(page.root / "s.toml").mass.mean == pytest.approx(before)


TYPED = {
    "sheet": {"sheet": "aluminium 2024-T3", "thickness": "0.8 mm"}, "weighed": {"weighed": "120 g"},
    "fabric": {"fabric": "glass plain 200", "resin": "polyester, laminating", "process": "wet"},
    "covering": {"covering": "polyester, light"}, "finish": {"finish": "primer, epoxy"},
    "core": {"core": "PVC foam 60", "thickness": "5 mm"}, "each": {"each": "4 g", "count": "10"},
    "per_length": {"per_length": "20 g/m", "length": "2 m"}, "mass": {"mass": "50 g"},
    "grid": {"diameter": "30 mm", "first": '["100 mm", "100 mm"]', "pitch": "90 mm", "columns": "3", "rows": "2"},
    "row": {"diameter": "30 mm", "first": '["100 mm", "100 mm"]', "pitch": "90 mm", "count": "4"},
    "circle": {"diameter": "15 mm", "centre": '["200 mm", "200 mm"]', "ring": "140 mm", "count": "8"},
}  # fmt: skip
"""What a person types for an item of each kind."""


def add_form(table: str, kind: str, **typed: str) -> dict[str, str]:
    said = {f"set.{kind}.{key}": value for key, value in typed.items()}
    return {"table": table, "kind": kind, "name": "more of it", "script": "1", **said}


def test_no_figure_is_written_that_nobody_typed(page: Page) -> None:
    before = page.text(DOOR)
    for table, kinds in part_page.ASKED.items():
        for kind in kinds:
            answer = page.post("/part/add-item", add_form(table, kind), file=DOOR)
            assert page.text(DOOR) == before
            assert answer.status_code == 422, kind
            assert "Still needed" in answer.text


def test_every_key_of_the_part_file_has_a_field() -> None:
    """Of what is laid, taken off and put on; the surface comes as a file, [needs] and [shelf] stand on Choose."""
    told = {**part_page.MORE, "": tuple(key for key, _ in part_page.HEAD)}
    elsewhere = {
        "": {"materials", "stack", "fabric"},  # My cloth; shown in short; the cloth of a stack
        "surface": {"area", "cutouts", "girths", "mesh", "outline", "photo", "rectangle", "stations", "step"},
        "ply": {"fabric", "core"},  # the field that searches
    }
    models = {"": Part, **{key: model for key, (model, _) in tables(Part).items() if key not in ("needs", "shelf")}}
    for table, model in models.items():
        keys = {field.alias or key for key, field in model.model_fields.items()} - set(tables(model))
        assert keys - elsewhere.get(table, set()) == set(told[table]), table
    assert set(tables(ReplacesEntry)["stiffeners"][0].model_fields) == {"along", *(k for k, _ in part_page.STIFFENED)}
    assert set(part_page.TICKED["near"]) == set(get_args(get_args(get_args(Near)[0])[0]))


def test_what_it_stands_beside_is_ticked(page: Page) -> None:
    page.edit(DOOR, **{"ticks.near": "1"})
    before = page.text(DOOR)
    assert "near" not in tomllib.loads(before)
    page.edit(DOOR, **{"ticks.near": "1", "tick.near.fuel": "on", "tick.near.engine": "on"})
    assert tomllib.loads(page.text(DOOR))["near"] == ["engine", "fuel"]
    page.edit(
        DOOR, **{"ticks.near": "1", "tick.near.fuel": "on", "tick.near.engine": "on", "set.control_surface": "false"}
    )
    assert tomllib.loads(page.text(DOOR))["control_surface"] is False
    page.edit(DOOR, **{"ticks.near": "1", "set.control_surface": ""})
    assert page.text(DOOR) == before


def test_gores_fillets_stiffeners_and_made_versions_have_their_forms(page: Page) -> None:
    before = tomllib.loads(page.text(DOOR))
    page.edit(DOOR, table="ply", number="0", set_gores="8")
    assert tomllib.loads(page.text(DOOR))["ply"][0]["gores"] == 8
    page.post("/part/add-item", add_form("extra", "fillet", filler="flox", radius="6 mm", length="1.4 m"), file=DOOR)
    assert predict(page.root / DOOR).weighed.extras[-1].mass == pytest.approx(0.009 * 1.4, rel=0.3)  # docs: 9 g a metre
    page.post("/part/add-item", add_form("made", "weighed", process="wet", weighed="1 lb"), file=DOOR)
    assert tomllib.loads(page.text(DOOR))["made"][-1] == {"name": "more of it", "process": "wet", "weighed": "1 lb"}
    sheet = next(n for n, item in enumerate(before["replaces"]) if "sheet" in item)
    angle = {
        "stiff.x.pitch": "120 mm",
        "stiff.x.height": "15 mm",
        "stiff.x.thickness": "0,8 mm",
        "stiff.x.flange": "12 mm",
    }
    page.edit(DOOR, table="replaces", number=str(sheet), **angle)
    (one,) = predict(page.root / DOOR).job.part.replaces[sheet].stiffeners
    assert (one.along, one.pitch, one.thickness) == ("x", 0.12, 0.0008)
    stands = page.text(DOOR)
    shown = next(f["fields"] for f in forms(page.get("/part", file=DOOR).text)
                 if (f["fields"].get("table"), f["fields"].get("number")) == ("replaces", str(sheet)))  # fmt: skip
    assert shown["stiff.x.flange"] == "12 mm"
    page.edit(DOOR, **shown)
    assert page.text(DOOR) == stands, "a form that was not changed changes nothing"
    page.edit(DOOR, **{**shown, **dict.fromkeys(angle, "")})
    assert "stiffeners" not in tomllib.loads(page.text(DOOR))["replaces"][sheet]


def test_matched_fasteners_are_written_a_line_each(page: Page) -> None:
    file = "motor-glider/seat-back.toml"
    before = page.text(file)
    shown = next(
        f["fields"] for f in forms(page.get("/part", file=file).text) if f["fields"].get("table") == "fasteners"
    )
    page.edit(file, **shown)
    assert page.text(file) == before
    match = tomllib.loads(before)["fasteners"][0]["match"]
    lines = part_page.shown_match(match).splitlines()
    name = next(iter(match))
    page.edit(file, table="fasteners", number="0", set_match="\r\n".join([f"{name}: 45,5 mm, 17 mm", *lines[1:]]))
    assert tomllib.loads(page.text(file))["fasteners"][0]["match"] == {**match, name: ["45.5 mm", "17 mm"]}


def test_a_cloth_that_becomes_a_core_is_asked_for_its_thickness(page: Page) -> None:
    page.edit(DOOR, table="ply", number="0", op="save", set_material="core|PVC foam 60")
    added = [line for line in page.text(DOOR).splitlines() if "thickness" in line]
    assert "5 mm" not in "".join(added)
    assert "thickness" in page.get("/part", file=DOOR).text


def test_two_directions_in_one_angle_are_not_divided(page: Page) -> None:
    for typed in ("90/45", "0/90", "±45", "+-45"):
        answer = page.edit(DOOR, table="ply", number="0", op="save", set_angle=typed)
        assert "is two directions, and one angle is due" in unescape(answer.text), typed
    page.edit(DOOR, table="ply", number="0", op="save", set_angle="22 1/2")
    assert predict(page.root / DOOR).job.part.plies()[0].angle == 22.5


@pytest.mark.parametrize(
    "kind", ["sheet", "weighed", "fabric", "covering", "finish", "core", "each", "per_length", "mass"]
)
def test_every_kind_of_old_item_can_be_added_and_counts(page: Page, kind: str) -> None:
    before = predict(page.root / DOOR).replaced
    form = add_form("replaces", kind, **TYPED[kind])
    assert page.post("/part/add-item", form, file=DOOR).status_code == 200
    after = predict(page.root / DOOR).replaced
    assert before is not None
    assert after is not None
    assert after.mass.mean > before.mass.mean


def test_the_weigh_ins_of_the_shop_move_the_page_as_they_move_the_command(page: Page) -> None:
    runner = CliRunner()
    done = runner.invoke(layup_command, ["weigh", str(page.root / DOOR), "14 oz", "--at", "finished", "--yes"])
    assert done.exit_code == 0, done.output
    told = json.loads(runner.invoke(layup_command, ["predict", str(page.root / DOOR), "--json"]).output)
    assert page.get("/part/json", file=DOOR).json()["mass_kg"] == told["mass_kg"]


def test_no_page_answers_with_a_traceback(page: Page) -> None:
    for path, file in (
        ("/part", "no.toml"),
        ("/part", "../x.toml"),
        ("/part/json", "motor-glider/refit.toml"),
        ("/x", ""),
    ):
        answer = page.get(path, file=file)
        assert answer.status_code in (403, 404, 422)
        assert "Traceback" not in answer.text
        assert str(page.root) not in answer.text


def test_places_shown_in_a_field_can_be_entered_as_they_are_shown(page: Page) -> None:
    file = "motor-glider/seat-back.toml"
    before = page.text(file)
    form = page.get("/part", file=file).text
    shown_first = re.search(r'id="f-holes-0-first"[^>]*value="([^"]*)"', form)
    assert shown_first
    page.edit(file, table="holes", number="0", set_first=unescape(shown_first[1]))
    assert page.text(file) == before
    answer = page.edit(file, table="holes", number="0", set_first="100 mm, 150 mm")
    assert 'first = ["100 mm", "150 mm"]' in page.text(file)
    assert "to put right" not in answer.text


@pytest.mark.parametrize("kind", ["grid", "row", "circle"])
def test_a_pattern_of_holes_can_be_added_and_takes_weight_out(page: Page, kind: str) -> None:
    text = 'title = "Floor"\nprocess = "wet"\nresin = "epoxy, laminating"\n\n[surface]\nrectangle = ["1 m", "600 mm"]\n'
    (page.root / "floor.toml").write_text(text + '\n[[ply]]\nfabric = "carbon plain 200"\n', encoding="utf-8")
    before = predict(page.root / "floor.toml").mass.mean
    form = add_form("holes", kind, **TYPED[kind])
    assert page.post("/part/add-item", form, file="floor.toml").status_code == 200
    assert predict(page.root / "floor.toml").mass.mean < before


def test_the_plan_of_holes_and_old_fasteners_is_drawn(page: Page) -> None:
    answer = page.get("/part/plan", file="motor-glider/seat-back.toml")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert b"<svg" in answer.content


def test_an_edit_sends_what_is_new_and_less_than_ten_kilobytes(page: Page) -> None:
    def shown(text: str) -> dict[str, str]:
        return dict(re.findall(r'data-region="([^"]*)" data-mark="([^"]*)"', text))

    whole = page.get("/part", file=DOOR)
    marks = shown(whole.text)
    assert len(marks) > 10
    now, sent = dict(marks), []
    for form in (
        {"table": "ply", "number": "0", "set.angle": "30"},
        {"table": "ply", "op": "add", "set.cloth": "carbon plain 200", "set.angle": "0"},
        {"table": "ply", "number": "1", "op": "down"},
        {"table": "", "set.process": "infusion"},
        {"table": "", "ticks.near": "1", "tick.near.fuel": "on"},
        {
            "table": "replaces",
            "number": "0",
            "stiff.x.pitch": "120 mm",
            "stiff.x.height": "15 mm",
            "stiff.x.thickness": "1 mm",
        },
        {"table": "ply", "number": "0", "set.angle": "90/45"},
    ):
        told = {"X-Marks": ",".join(f"{name}={mark}" for name, mark in now.items())}
        answer = page.client.post("/part/edit", params={"file": DOOR}, data={"script": "1", **form}, headers=told)
        assert answer.status_code == 200
        assert int(answer.headers["content-length"]) < 10_000
        new = shown(answer.text)
        assert "bar" in new  # the weight
        assert len(new) < len(marks)
        now |= new
        sent.append(answer.headers["x-version"])
    assert len(set(sent)) == len(sent)
    again = shown(page.get("/part", file=DOOR).text)
    assert again == now  # piece by piece the page became what a fresh one is


@pytest.mark.parametrize("file", [DOOR, "motor-glider/baggage-floor.toml"])
def test_where_the_weight_is_adds_up_and_every_figure_has_its_source(page: Page, file: str) -> None:
    table = unescape(page.get("/part", file=file).text).split('id="made-of"')[1].split("</table>")[0]
    rows = re.findall(r'<tr><th scope="row">(.*?)</th><td class="number">(.*?)</td><td>(.*?)</td></tr>', table)
    told = predict(page.root / file)
    parts = made_of(told)
    assert sum(mass for _, mass, _ in parts) == pytest.approx(told.mass.mean, rel=1e-9)
    assert [(name, shown) for name, shown, _ in rows] == [
        (name, mass_both(mass, told.job.part.units)) for name, mass, _ in parts
    ]
    names = [name for name, _, _ in rows]
    assert names[:2] == ["fibre", "resin in the plies"]
    if file == DOOR:
        assert "finish: primer, epoxy" in names
        assert "fitting: birch pads under the hinges" in names
    else:
        assert {"resin at the core", "core"} <= set(names)
    cited = {c.reference for c in told.citations} | {"the part file"}
    for name, _, figures in rows:
        found = re.findall(r'([^<>]+)<span class="where">(.*?)</span>', figures)
        assert found, name
        assert all(any(source.startswith(one) for one in cited) for _, source in found), name


@pytest.mark.parametrize(
    ("path", "file"),
    [
        ("/part", DOOR),
        ("/part", "motor-glider/baggage-floor.toml"),
        ("/choose", "motor-glider/access-panel.toml"),
        ("/prepare", DOOR),
        ("/weigh", DOOR),
        ("/refit", "motor-glider/refit.toml"),
    ],
)
def test_no_field_stands_on_a_page_twice(page: Page, path: str, file: str) -> None:
    text = page.get(path, file=file).text
    ids = re.findall(r'\sid="([^"]*)"', text)
    assert len(ids) > 10
    assert sorted({one for one in ids if ids.count(one) > 1}) == []
    for form in re.findall(r"<form\b.*?</form>", text, re.DOTALL):
        names = re.findall(r'<(?:input(?![^>]*type="radio")|select|textarea)\b[^>]*\sname="([^"]*)"', form)
        assert sorted({one for one in names if names.count(one) > 1}) == [], form[:200]  # the second would win


def test_how_many_of_a_ply_is_changed_by_its_form_as_it_stands(page: Page) -> None:
    text = page.get("/part", file=DOOR).text
    one = next(f for f in forms(text) if f["fields"].get("table") == "ply" and f["fields"].get("number") == "0")
    page.post("/part/edit", {**one["fields"], "set.count": "3", "op": "save"}, file=DOOR)
    assert tomllib.loads(page.text(DOOR))["ply"][0]["count"] == 3
