"""The picture of the part on the bench page: what its buffer holds, and what a click on it comes to."""

from __future__ import annotations

import json
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from layup.bench.app import build
from layup.bench.desk import Kept
from layup.files.read import read_surface
from layup.partfile.read import read_part
from layup.partfile.zones import zone_spec
from layup.report.stage_buffer import Shown, packed, stage
from layup.shape.nearest import nearest_points
from layup.shape.surface import Surface
from layup.sides.side import parse_side

KEY, PORT = "k" * 32, 8790
ADDRESS = f"http://127.0.0.1:{PORT}"
HEAD = """title = "{}"
process = "vacuum bag"
resin = "epoxy, laminating"

[surface]
{}

{}[[ply]]
fabric = "carbon plain 200"
"""
DOOR = "engine-bay-door.toml"


def unpacked(data: bytes) -> tuple[dict[str, object], bytes]:
    """The head and the arrays of a buffer; `array_of` reads one."""
    length = int.from_bytes(data[:4], "little")
    return json.loads(data[4 : 4 + length]), data[4 + length :]


def array_of(arrays: bytes, place: list[int], kind: str = "<f4") -> np.ndarray:
    """One array by its place, (start, count); "<f4" for floats, "<u4" for whole numbers."""
    return np.frombuffer(arrays, kind, place[1], place[0])


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    here = Path(__file__).parent.parent / "examples" / "motor-glider"
    for name in (DOOR, "engine-bay-door.stl", "engine-bay-door-solid.stl", "shop.csv"):
        shutil.copy(here / name, folder / name)
    strip = '[[zone]]\nname = "strip"\nbetween = "x 100 mm 160 mm"\n\n'
    cut_out = "[[60, 60], [160, 60], [160, 140], [60, 140]]"
    flat = f'outline = [[0, 0], [420, 0], [420, 300], [0, 300]]\ncutouts = [{cut_out}]\nunit = "mm"'
    parts = {
        "solid": ('mesh = "engine-bay-door-solid.stl"\nunit = "mm"', ""),
        "nounit": ('mesh = "engine-bay-door-solid.stl"', ""),
        "flat": (flat, strip),
        "area": ('area = "0.54 m^2"', ""),
        "broken": (flat, '[[zone]]\nname = "off"\nbetween = "x 5 m 6 m"\n\n' + strip),
        "outside": ('mesh = "../secret.stl"\nunit = "mm"', ""),
    }
    for name, (surface, zones) in parts.items():
        (folder / f"{name}.toml").write_text(HEAD.format(name, surface, zones))
    shutil.copy(folder / "engine-bay-door-solid.stl", folder.parent / "secret.stl")
    return folder


@pytest.fixture(scope="module")
def page(shop: Path) -> Iterator[TestClient]:
    app = build(shop, KEY, PORT)
    with TestClient(app, base_url=ADDRESS, cookies={f"bench-{PORT}": KEY}, headers={"origin": ADDRESS}) as client:
        yield client
    app.close()


def got(page: TestClient, path: str = "/shape", **query: Any) -> tuple[dict[str, Any], bytes]:
    answer = page.get(path, params=query)
    assert answer.status_code == 200, answer.text
    return unpacked(answer.content)


def triangles(head: dict[str, Any], arrays: bytes, part: dict[str, Any]) -> np.ndarray:
    """Triangles of a part of the picture where they lie in space. [m]"""
    points = array_of(arrays, part["points"]).reshape(-1, 3).astype(float) + head["middle"]
    return points[array_of(arrays, part["faces"], "<u4").reshape(-1, 3)]


def loose(head: dict[str, Any], arrays: bytes, place: list[int]) -> np.ndarray:
    return array_of(arrays, place).reshape(-1, 3, 3).astype(float) + head.get("middle", 0.0)


def area(soup: np.ndarray) -> float:
    return float(0.5 * np.linalg.norm(np.cross(soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0]), axis=1).sum())


def post(page: TestClient, file: str, table: str, values: dict[str, str], op: str = "save") -> None:
    form = {"table": table, "op": op, "script": "1", **{f"set.{key}": value for key, value in values.items()}}
    answer = page.post("/part/edit", params={"file": file}, data=form)
    assert answer.status_code == 200, answer.text


def test_the_buffer_holds_the_surface(page: TestClient, shop: Path) -> None:
    job = read_part(shop / DOOR)
    start = time.perf_counter()
    head, arrays = got(page, file=DOOR)
    print(f"{len(job.surface.faces):,} triangles, {len(arrays):,} bytes, {time.perf_counter() - start:.2f} s")
    (part,) = head["parts"]
    soup = triangles(head, arrays, part)
    assert part["drawn"] == part["triangles"] == len(job.surface.faces)
    assert part["cell"] == 0
    assert area(soup) == pytest.approx(job.surface.whole.area, rel=1e-5)
    assert job.surface.whole.box is not None
    assert np.allclose([soup.min(axis=(0, 1)), soup.max(axis=(0, 1))], job.surface.whole.box, atol=1e-6)
    lines = {line["key"]: array_of(arrays, line["ends"]).reshape(-1, 2, 3).astype(float) for line in head["lines"]}
    assert set(lines) == {"edge", "cut-out"}
    length = sum(float(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).sum()) for ends in lines.values())
    assert length == pytest.approx(job.surface.perimeter, rel=1e-5)
    assert [text for text, _ in head["labels"]] == ["1", "2", "3", "4", "5", "6"]
    assert head["asks"] == ""
    assert head["missing"] == []


def test_the_buffer_holds_the_zones(page: TestClient, shop: Path) -> None:
    job = read_part(shop / DOOR)
    head, arrays = got(page, file=DOOR)
    assert [(z["letter"], z["name"]) for z in head["zones"]] == [
        ("A", "front hinge"),
        ("B", "rear hinge"),
        ("C", "edge"),
    ]
    for zone in head["zones"]:
        soup = loose(head, arrays, zone["triangles"])
        assert area(soup) == pytest.approx(job.zones[zone["name"]].area, rel=1e-4)
        near = np.linalg.norm(soup.mean(axis=1) - (np.array(zone["at"]) + head["middle"]), axis=1).min()
        assert near < 1e-5  # its letter stands on it


def test_a_large_mesh_is_thinned_and_says_so(shop: Path) -> None:
    job = read_part(shop / DOOR)
    surface = job.surface
    made = stage(surface, most=6_000)
    named = {z.name: z for z in job.part.zone}
    shown = [Shown(z.name, n, surface.cut(zone_spec(z, named))) for n, z in enumerate(job.part.zone)]
    head, arrays = unpacked(packed(made, shown))
    (part,) = head["parts"]
    assert part["triangles"] == len(surface.faces)
    assert part["drawn"] <= 6_000
    assert part["cell"] > 0
    soup = triangles(head, arrays, part)
    assert area(soup) == pytest.approx(surface.whole.area, rel=0.01)
    assert surface.whole.box is not None
    assert np.allclose([soup.min(axis=(0, 1)), soup.max(axis=(0, 1))], surface.whole.box, atol=part["cell"])
    for zone in head["zones"]:  # those triangles that lie mostly in it
        ring = job.zones[zone["name"]].area
        assert area(loose(head, arrays, zone["triangles"])) == pytest.approx(ring, rel=0.25)


def test_a_large_mesh_has_a_coarse_one_for_slow_machines(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = read_part(shop / DOOR)
    monkeypatch.setattr("layup.report.stage_buffer._LARGE", 10_000)
    monkeypatch.setattr("layup.report.stage_buffer.COARSE", 4_000)
    cut = job.surface.cut({"within": "30 mm of the outer edge"})
    head, arrays = unpacked(packed(stage(job.surface), [Shown("edge", 0, cut)]))
    (part,), (zone,) = head["parts"], head["zones"]
    assert part["cell"] == 0  # the mesh itself is whole
    coarse = triangles(head, arrays, part["coarse"])
    assert 1_000 < len(coarse) <= 4_000
    assert area(coarse) == pytest.approx(job.surface.whole.area, rel=0.01)
    points = array_of(arrays, part["coarse"]["points"]).reshape(-1, 3)
    ring = points[array_of(arrays, zone["coarse"], "<u4").reshape(-1, 3)]
    assert area(ring) == pytest.approx(cut.inside.area, rel=0.25)
    assert area(loose(head, arrays, zone["triangles"])) == pytest.approx(cut.inside.area, rel=1e-4)


def test_a_solid_without_a_side_is_shown_and_a_click_picks_it(page: TestClient, shop: Path) -> None:
    file = "solid.toml"
    head, arrays = got(page, file=file)
    raw = read_surface(shop / "engine-bay-door-solid.stl", unit="mm", side="all")
    assert head["asks"] == "side"
    assert area(triangles(head, arrays, head["parts"][0])) == pytest.approx(raw.whole.area, rel=1e-5)
    seen = {}
    for way, toward in (("above", "0,0,1"), ("below", "0,0,-1")):
        # a point in the wall, as the thinned picture of a large mesh may give
        answer, soup = got(page, "/shape/side", file=file, at="0.3,0.2,0.021", toward=toward)
        side = parse_side(answer["side"])
        assert side.kind == "touching"
        feet = nearest_points(raw.vertices, raw.faces, np.array(side.vector))
        assert np.linalg.norm(feet - side.vector, axis=1).min() < 2e-5
        one = read_surface(shop / "engine-bay-door-solid.stl", unit="mm", side=answer["side"])
        assert area(loose({}, soup, answer["triangles"])) == pytest.approx(one.whole.area, rel=1e-5)
        assert "left out" in answer["words"][0]
        seen[way] = (answer["side"], one.whole.area)
    assert abs(seen["above"][1] - seen["below"][1]) > 1e-3  # the two skins are not the same
    post(page, file, "surface", {"side": seen["above"][0]})
    job = read_part(shop / file)
    assert job.part.surface.side == seen["above"][0]
    assert job.surface.whole.area == pytest.approx(seen["above"][1], rel=1e-9)
    head, arrays = got(page, file=file)
    assert head["asks"] == ""
    assert [part["key"] for part in head["parts"]] == ["counts", "left out"]
    assert sum(area(triangles(head, arrays, p)) for p in head["parts"]) == pytest.approx(raw.whole.area, rel=1e-5)


def test_a_mesh_without_a_unit_is_shown_with_three_sizes(page: TestClient, shop: Path) -> None:
    head, arrays = got(page, file="nounit.toml")
    assert head["asks"] == "unit"
    assert [one["unit"] for one in head["readings"]] == ["mm", "in", "m"]
    assert head["readings"][0]["size"] == "619 mm x 408 mm x 49 mm"
    assert "ft" in head["readings"][1]["size"]
    assert head["readings"][2]["size"].startswith("619.0 m")
    assert np.ptp(triangles(head, arrays, head["parts"][0])[:, :, 0]) == pytest.approx(619.0, abs=0.5)  # file units
    post(page, "nounit.toml", "surface", {"unit": "mm"})
    head, _ = got(page, file="nounit.toml")
    assert head["asks"] == "side"
    assert head["half"][0] == pytest.approx(0.3095, abs=1e-3)


@pytest.mark.parametrize(
    ("query", "values", "size"),
    [
        (
            {"tool": "point", "at": "0.25,0.2,0", "toward": "0,0,1", "reach": "60"},
            {"within": "60 mm of (250 mm, 200 mm, 0 mm)"},
            np.pi * 0.06**2,
        ),
        (
            {"tool": "edge", "at": "0.41,0.2,0", "toward": "0,0,1", "reach": "40 mm"},
            {"within": "40 mm of the outer edge"},
            0.42 * 0.3 - 0.34 * 0.22,
        ),
        (
            {"tool": "edge", "at": "0.165,0.1,0", "toward": "0,0,1", "reach": "10 mm"},
            {"within": "10 mm of cut-out 1"},
            0.36 * 0.01 + np.pi * 0.01**2,
        ),
        (
            {"tool": "outline", "at": "0.2,0.2,9;0.4,0.2,-3;0.4,0.28,0", "axis": "z"},
            {"inside": "[[200, 200], [400, 200], [400, 280]]", "along": "[0, 0, 1]", "unit": "mm"},
            0.5 * 0.2 * 0.08,
        ),
        ({"tool": "band", "at": "0.3,0.1,0;0.2,0.12,0"}, {"between": "x 200 mm 300 mm"}, 0.1 * 0.3),
        ({"tool": "band", "at": "0.3,0.2,0;0.2,0.22,0", "axis": "y"}, {"between": "y 200 mm 220 mm"}, 0.42 * 0.02),
    ],
)
def test_a_zone_by_clicks(
    page: TestClient, shop: Path, query: dict[str, str], values: dict[str, str], size: float
) -> None:
    file = "flat.toml"
    before = got(page, file=file)[0]["version"]
    head, soup = got(page, "/shape/zone", file=file, **query)
    assert head.get("wrong") is None
    assert head["values"] == values
    shown = area(loose({}, soup, head["triangles"]))
    assert shown == pytest.approx(size, rel=5e-3)  # a disc is drawn with straight lines
    post(page, file, "zone", {"name": head["name"], **head["values"]}, "add")
    try:
        assert read_part(shop / file).zones[head["name"]].area == pytest.approx(shown, rel=1e-5)
        after, arrays = got(page, file=file)
        assert after["version"] != before
        assert after["zones"][-1]["name"] == head["name"]
        assert area(loose(after, arrays, after["zones"][-1]["triangles"])) == pytest.approx(shown, rel=1e-4)
    finally:
        page.post("/part/undo", params={"file": file})
    assert got(page, file=file)[0]["version"] == before


def test_names_are_proposed_and_a_name_that_is_taken_is_told(page: TestClient) -> None:
    query = {"tool": "band", "at": "0.3,0.1,0;0.2,0.12,0"}
    assert got(page, "/shape/zone", file="flat.toml", **query)[0]["name"] == "band 1"
    for name in ("strip", "Whole"):
        assert name in got(page, "/shape/zone", file="flat.toml", name=name, **query)[0]["taken"]
    assert "taken" not in got(page, "/shape/zone", file="flat.toml", name="spar", **query)[0]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"tool": "point", "at": "0.2,0.2,0", "toward": "0,0,1", "reach": "wide"}, "distance"),
        ({"tool": "point", "at": "0.2,0.2", "toward": "0,0,1", "reach": "60"}, "three numbers"),
        ({"tool": "point", "at": "nan,0,0", "toward": "0,0,1", "reach": "60"}, "too far"),
        ({"tool": "point", "at": "", "toward": "0,0,1", "reach": "60"}, "1 places at least"),
        ({"tool": "edge", "at": "0,0,0", "toward": "0,0,1", "reach": "4 mm", "edge": 'edge"\nx = 1'}, "no such edge"),
        ({"tool": "edge", "at": "0,0,0", "toward": "0,0,1", "reach": "4 mm", "edge": "cut-out 9"}, "no cut-out 9"),
        ({"tool": "outline", "at": "0,0,0;1,1,0;1,0,0;0,1,0"}, "crosses itself"),
        ({"tool": "outline", "at": ";".join(["0,0,0"] * 201)}, "at most"),
        ({"tool": "band", "at": "5,0,0;6,0,0"}, "no part of the surface"),
        ({"tool": "band", "at": "0,0,0;1,0,0", "axis": "w"}, "x, y or z"),
        ({"tool": "rm -rf"}, "no way to make a zone"),
    ],
)
def test_what_is_wrong_with_a_click_comes_in_words(page: TestClient, query: dict[str, str], says: str) -> None:
    head, _ = got(page, "/shape/zone", file="flat.toml", **query)
    assert says in head["wrong"]
    assert "Traceback" not in head["wrong"]


def test_a_surface_with_one_side_has_none_to_choose(page: TestClient) -> None:
    assert "only one" in got(page, "/shape/side", file=DOOR, at="0,0,0", toward="0,0,1")[0]["wrong"]


def test_a_part_of_which_only_the_area_is_known_says_so(page: TestClient) -> None:
    head, arrays = got(page, file="area.toml")
    assert "parts" not in head
    assert not arrays
    assert "0.540 m²" in head["why"]


def test_a_zone_that_lies_off_the_part_is_named_and_the_others_are_drawn(page: TestClient) -> None:
    head, _ = got(page, file="broken.toml")
    assert head["missing"] == ["off"]
    assert [zone["name"] for zone in head["zones"]] == ["strip"]
    assert [zone["letter"] for zone in head["zones"]] == ["B"]


def test_a_mesh_too_large_to_draw_says_so(page: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layup.bench.shape._BUFFERS", Kept(4))
    monkeypatch.setattr("layup.bench.shape.LARGEST", 10_000)
    head, arrays = got(page, file=DOOR)
    assert not arrays
    assert "28,002 triangles is too large" in head["why"]
    monkeypatch.setattr("layup.bench.shape.LARGEST", 30_000)
    monkeypatch.setattr("layup.bench.shape._BUFFERS", Kept(4))
    monkeypatch.setattr("layup.bench.shape.MOST_IN_ZONES", 4_000)
    head, _ = got(page, file=DOOR)
    assert len(head["zones"]) + len(head["missing"]) == 3
    assert head["missing"][-1] == "edge"


def test_the_browser_keeps_a_shape_until_it_changes(page: TestClient) -> None:
    head, _ = got(page, file="flat.toml")
    kept = page.get("/shape", params={"file": "flat.toml", "of": head["version"]}).headers["cache-control"]
    assert "immutable" in kept
    for other in ("", "0123456789abcdef"):
        assert page.get("/shape", params={"file": "flat.toml", "of": other}).headers["cache-control"] == "no-store"
    post(page, "flat.toml", "ply", {"angle": "45"})
    assert got(page, file="flat.toml")[0]["version"] == head["version"]  # plies don't show
    post(page, "flat.toml", "zone", {"between": "x 100 mm 170 mm"})
    assert got(page, file="flat.toml")[0]["version"] != head["version"]


def test_no_mesh_outside_the_folder_is_shown(page: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*args: object) -> Surface:
        raise AssertionError("the file was opened")

    monkeypatch.setattr("layup.partfile.opened.open_surface", never)
    head, arrays = got(page, file="outside.toml")
    assert "parts" not in head
    assert not arrays
    assert "wrong" in got(page, "/shape/side", file="outside.toml", at="0,0,0", toward="0,0,1")[0]
    for path in ("/shape", "/shape/side", "/shape/zone"):
        assert page.get(path, params={"file": "../shop/solid.toml"}).status_code == 403
        assert page.get(path, params={"file": "/etc/passwd"}).status_code == 403


def test_the_page_says_it_in_words_too(page: TestClient) -> None:
    text = page.get("/part", params={"file": DOOR}).text
    head, _ = got(page, file=DOOR)
    assert re.search(f'id="stage-words" data-version="{head["version"]}"', text)
    for words in ("2.97 ft² (0.276 m²)", "619 mm x 408 mm x 49 mm", "<b>C</b> edge", "/look/stage.css"):
        assert words in text
    solid = page.get("/part", params={"file": "solid.toml"}).text
    assert "closed solid" in solid


def test_nothing_of_the_page_needs_what_the_policy_forbids(page: TestClient) -> None:
    text = page.get("/part", params={"file": DOOR}).text
    stage_html = text[text.index('id="stage"') : text.index('id="stage-words"')]
    assert " style=" not in stage_html
    assert " onclick=" not in stage_html
    assert json.dumps(stage_html).count("<script") == 0
    for name in ("stage.js", "stage_view.js"):
        code = page.get(f"/look/{name}").text
        assert "eval(" not in code
        assert "http" not in code.replace("https://developer", "")


def test_the_head_tells_the_sides_the_grid_and_the_arrow(page: TestClient) -> None:
    head, _ = got(page, file=DOOR)
    assert head["grid"] == pytest.approx(0.05)  # 619 mm long, kept in millimetres
    assert sorted(head["sides"]) == ["bag side", "mould side"]  # the file says which way its mould is
    foot, tip, *barbs = (np.array(p) for p in head["arrow"])
    assert len(barbs) == 2
    warp = (tip - foot) / np.linalg.norm(tip - foot)
    assert warp[0] > 0.95  # warp = [1, 0, 0], laid into a nearly flat surface
    head, _ = got(page, file="flat.toml")
    assert head["sides"] == ["", ""]  # nobody said it: the page asks


def test_a_female_mould_and_a_male_one_have_their_sides_the_other_way_round(page: TestClient, shop: Path) -> None:
    text = (shop / DOOR).read_text(encoding="utf-8")
    assert 'mould = "female"' in text
    (shop / "male.toml").write_text(text.replace('mould = "female"', 'mould = "male"'), encoding="utf-8")
    female, male = (got(page, file=name)[0]["sides"] for name in (DOOR, "male.toml"))
    assert female == male[::-1]


def test_without_webgl_there_is_a_still_picture(page: TestClient) -> None:
    answer = page.get("/shape/still", params={"file": "flat.toml"})
    assert answer.headers["content-type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG")
    assert page.get("/shape/still", params={"file": "area.toml"}).status_code == 422
