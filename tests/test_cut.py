"""Cloth: lengths, waste and money that can be checked by hand; too wide a ply; several parts; a stored cut."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from click.testing import CliRunner
from pytest import approx

from layup.commands.cli import main
from layup.errors import LayupError, UnitError
from layup.make.cut import Cut, _notes, cut
from layup.make.nest import faults
from layup.make.nest_file import path_beside, stored, used, write_cut
from layup.make.nest_picture import draw_cut
from layup.make.plies_to_cut import ClothPly
from layup.make.rolls import read_blocked, read_widths
from layup.partfile.job import Job
from layup.partfile.read import read_part
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]


def plain(*jobs: Job, **more: Any) -> Cut:
    result = cut(jobs, seconds=0, **more)
    for fabric in result.fabrics:
        assert faults(fabric.nest) == []
    return result


@pytest.fixture
def priced(tmp_path: Path) -> Path:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\n"
        "carbon plain 200,width,1.2 m,measured,shop,\n"
        "carbon plain 200,price,40 EUR/m^2,nominal,shop,\n"
        "glass plain 200,price,5 USD/yd,nominal,shop,\n",
        encoding="utf-8",
    )
    return tmp_path


def test_a_square_ply_by_hand(hatch: Hatch, priced: Path) -> None:
    job = read_part(hatch(ply=[{"fabric": "carbon plain 200"}], materials=["shop.csv"]), priced)
    [fabric] = plain(job).fabrics
    # one metre of a roll 1.2 m wide, 20 mm to square its end
    assert fabric.length == approx(1.02)
    assert fabric.waste == approx(1 - 1.0 / (1.02 * 1.2))
    assert fabric.mass == approx(1.02 * 1.2 * 0.200)
    assert fabric.price == (approx(1.02 * 1.2 * 40), "EUR")


def test_cloth_sold_by_the_length(hatch: Hatch, priced: Path) -> None:
    job = read_part(hatch(ply=[{"fabric": "glass plain 200"}], materials=["shop.csv"]), priced)
    [fabric] = plain(job).fabrics
    assert fabric.price == (approx(1.02 / 0.9144 * 5), "USD")


def test_a_ply_at_45_degrees_takes_its_diagonal(hatch: Hatch) -> None:
    part = hatch(surface={"rectangle": ["600 mm", "600 mm"]}, ply=[{"fabric": "carbon plain 200", "angle": 45}])
    [fabric] = plain(read_part(part)).fabrics
    x0, y0, x1, y1 = fabric.nest.laid()[0].bounds
    assert (x1 - x0, y1 - y0) == approx((0.6 * 2**0.5, 0.6 * 2**0.5), rel=1e-6)


def test_counts_zones_and_trim_reach_the_cloth(hatch: Hatch) -> None:
    part = hatch(
        surface={"rectangle": ["600 mm", "300 mm"]}, trim="25 mm",
        zone=[{"name": "end", "between": "x 0 mm 100 mm"}],
        ply=[{"fabric": "carbon plain 200", "count": 2}, {"fabric": "carbon plain 200", "zone": "end"}],
    )  # fmt: skip
    result = plain(read_part(part))
    [fabric] = result.fabrics
    assert [piece.name for piece in fabric.pieces] == ["1", "2", "3"]
    # the end reaches beyond the trim line on its three free sides, and by the same width along it
    end = 0.15 * 0.35 - 0.025 * 0.3
    assert [piece.shape.area for piece in fabric.pieces] == approx([0.65 * 0.35, 0.65 * 0.35, end], rel=1e-5)
    assert not any(ply.rough for ply in result.plies[0])  # a flat part needs no stand-in


def test_a_ply_wider_than_the_roll_is_spliced_and_its_overlap_is_predicted(hatch: Hatch) -> None:
    part = hatch(surface={"rectangle": ["2 m", "1.5 m"]}, ply=[{"fabric": "carbon plain 200"}])
    job = read_part(part)
    result = plain(job)
    [fabric] = result.fabrics
    assert [piece.name for piece in fabric.pieces] == ["1a", "1b"]
    assert sum(piece.shape.area for piece in fabric.pieces) == approx(2 * 1.5 + 2 * 0.025)
    [proposal] = result.proposals
    assert "Ply 1 is" in proposal
    assert "the prediction counts them" in proposal
    assert predict(job).weighed.fibre == approx(0.2 * (2 * 1.5 + 2 * 0.025))
    # what the part file says comes first; an overlap alone is that of the strips
    part["ply"] = [{"fabric": "carbon plain 200", "overlap": "25 mm", "seam": "4.00 m"}]
    assert predict(read_part(part)).weighed.fibre == approx(0.2 * (2 * 1.5 + 4 * 0.025))
    part["ply"] = [{"fabric": "carbon plain 200", "overlap": "50 mm"}]
    assert predict(read_part(part)).weighed.fibre == approx(0.2 * (2 * 1.5 + 2 * 0.05))


def test_several_parts_share_the_rolls(hatch: Hatch) -> None:
    one = read_part(hatch(surface={"rectangle": ["600 mm", "500 mm"]}))
    two = read_part(hatch(title="Lid", surface={"rectangle": ["400 mm", "300 mm"]}))
    result = plain(one, two)
    [fabric] = result.fabrics
    assert {piece.name for piece in fabric.pieces} == {"A1", "A2", "B1", "B2"}
    apart = sum(plain(job).fabrics[0].length for job in (one, two))
    assert fabric.length <= apart


def test_a_ring_in_four_saves_its_middle(hatch: Hatch) -> None:
    frame = {"unit": "mm", "outline": [[0, 0], [900, 0], [900, 600], [0, 600]]}
    frame["cutouts"] = [[[50, 50], [850, 50], [850, 550], [50, 550]]]
    job = read_part(hatch(surface=frame, ply=[{"fabric": "carbon plain 200", "count": 2}]))
    whole = plain(job)
    assert any("is a frame" in proposal for proposal in whole.proposals)
    parted = plain(job, quarter_rings=True)
    [fabric] = parted.fabrics
    assert [piece.name for piece in fabric.pieces] == ["1a", "1b", "1c", "1d", "2a", "2b", "2c", "2d"]
    assert fabric.length < 0.7 * whole.fabrics[0].length
    # each ring: four sides 50 mm wide, doubled where the quarters overlap by 25 mm
    ring = 0.9 * 0.6 - 0.8 * 0.5
    assert sum(piece.shape.area for piece in fabric.pieces) == approx(2 * (ring + 4 * 0.05 * 0.025))
    assert not any("is a frame" in proposal for proposal in parted.proposals)


def test_a_price_in_any_part_s_table_counts(hatch: Hatch, priced: Path) -> None:
    one = read_part(hatch(surface={"rectangle": ["600 mm", "500 mm"]}))
    two = read_part(hatch(surface={"rectangle": ["600 mm", "500 mm"]}, materials=["shop.csv"]), priced)
    assert plain(one).fabrics[0].price is None
    assert plain(one, two).fabrics[0].price is not None


def test_only_the_area_is_known(hatch: Hatch) -> None:
    result = plain(read_part(hatch(surface={"area": "0.54 m^2"})))
    assert result.fabrics[0].pieces[0].shape.area == approx(0.54)
    assert any("made up" in note for note in result.notes)


def test_a_curved_part_has_patterns_or_says_that_its_outlines_are_rough(examples: Path) -> None:
    job = read_part(examples / "motor-glider" / "engine-bay-door.toml")
    rough = plain(job, patterns=False)
    assert all(ply.rough for ply in rough.plies[0])
    assert any("rough outline" in note for note in rough.notes)
    openings = job.covering(("openings",)).surface.whole.area - job.surface.whole.area
    for ply in rough.plies[0]:  # cloth over the whole surface runs across the cut-outs
        drawn = job.surface.whole.area + openings if ply.zone == "whole" else job.zones[ply.zone].area
        assert sum(shape.area for shape in ply.shapes) == approx(drawn, rel=0.03)
    seen: list[tuple[str, float]] = []
    exact = plain(job, told=lambda words, share: seen.append((words, share)))
    assert not any(ply.rough for ply in exact.plies[0])
    assert not any("rough outline" in note for note in exact.notes)
    assert [share for words, share in seen if "flat patterns" in words][-1] == 1.0
    assert [ply.number for ply in exact.plies[0]] == [ply.number for ply in rough.plies[0]] == list(range(1, 8))
    # the stand-in is near enough to buy by; for a ring along the edge it asks for more, never for less
    lengths = {one.fabric: (one.length, other.length) for one, other in zip(exact.fabrics, rough.fabrics, strict=True)}
    assert lengths["carbon plain 200"][0] == approx(lengths["carbon plain 200"][1], rel=0.25)
    assert 0.7 * lengths["carbon plain 160"][1] < lengths["carbon plain 160"][0] <= lengths["carbon plain 160"][1]


def test_face_down_only_where_it_may_be(hatch: Hatch) -> None:
    wedge = {"unit": "mm", "outline": [[0, 0], [700, 0], [0, 620]]}
    for fabric, allowed in (("carbon plain 200", True), ("carbon twill 200", False)):
        job = read_part(hatch(surface=wedge, ply=[{"fabric": fabric, "count": 2}]))
        assert not any(piece.flips for piece in plain(job).fabrics[0].nest.pieces)
        assert all(piece.flips == allowed for piece in plain(job, face_down=True).fabrics[0].nest.pieces)


def test_a_cloth_with_a_direction_is_not_turned(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\ncarbon plain 200,same_turned,no,measured,shop,tracer on one edge\n"
    )
    job = read_part(hatch(materials=["shop.csv"], surface={"rectangle": ["500 mm", "300 mm"]}), tmp_path)
    layout = plain(job).fabrics[0].nest
    assert not any(piece.turns for piece in layout.pieces)
    assert not any(place.turned for place in layout.placed)


def test_a_cut_is_stored_and_found_again(hatch: Hatch, tmp_path: Path) -> None:
    job = read_part(hatch(surface={"rectangle": ["500 mm", "400 mm"]}))
    first = plain(job)
    path = tmp_path / "hatch.cut.json"
    write_cut(first, path)
    again = cut([job], seconds=0, stored=stored(path))
    assert again.fabrics[0].nest.placed == first.fabrics[0].nest.placed
    data = json.loads(path.read_text())
    data["fabrics"][0]["pieces"][1]["x"] = data["fabrics"][0]["pieces"][0]["x"]
    data["fabrics"][0]["pieces"][1]["y"] = data["fabrics"][0]["pieces"][0]["y"]
    path.write_text(json.dumps(data))
    assert stored(path)("carbon plain 200", first.fabrics[0].nest.pieces, first.fabrics[0].nest.roll, 0.003) is None
    other = read_part(hatch(surface={"rectangle": ["500 mm", "410 mm"]}))
    write_cut(first, path)
    assert cut([other], seconds=0, stored=stored(path)).fabrics[0].length != approx(0)
    assert (
        stored(path)("carbon plain 200", plain(other).fabrics[0].nest.pieces, plain(other).fabrics[0].nest.roll, 0.003)
        is None
    )


def test_the_rest_of_a_roll_is_used(hatch: Hatch, tmp_path: Path) -> None:
    job = read_part(hatch(surface={"rectangle": ["500 mm", "400 mm"]}, ply=[{"fabric": "carbon plain 200"}]))
    path = tmp_path / "a.cut.json"
    write_cut(plain(job), path)
    gone = used(path)
    assert gone["carbon plain 200"][0].area == approx(0.2)
    late = plain(job, blocked=read_blocked((), [path]))
    assert late.fabrics[0].nest.laid()[0].distance(gone["carbon plain 200"][0]) >= 0.003 - 1e-9


def test_defects_and_widths_are_read_or_refused() -> None:
    blocked = read_blocked(["glass plain 200=1.2 m, 300 mm, 80 mm, 60 mm"], [])
    assert blocked["glass plain 200"][0].bounds == approx((1.2, 0.3, 1.28, 0.36))
    assert read_widths(["glass plain 200=1 m"]) == {"glass plain 200": approx(1.0)}
    for bad in ("glass plain 200", "glass plain 200=1 m, 2 m", "glass plain 200=1 m, 2 m, 0 m, 1 m", "x=1, 2, 3, 4"):
        with pytest.raises(UnitError):
            read_blocked([bad], [])
    with pytest.raises(UnitError):
        read_widths(["glass plain 200 = wide"])


def test_a_cloth_without_a_width_says_what_to_add(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "shop.csv").write_text(
        "material,property,value,kind,source,at\nmy cloth,type,fabric,measured,shop,\n"
        "my cloth,fibre,E-glass,nominal,shop,\n"
        "my cloth,form,cloth,nominal,shop,\nmy cloth,areal_weight,200 g/m^2,nominal,shop,\n"
    )
    job = read_part(hatch(materials=["shop.csv"], ply=[{"fabric": "my cloth"}]), tmp_path)
    with pytest.raises(LayupError, match=r"has no width.*Add a row"):
        plain(job)
    assert plain(job, widths={"my cloth": 1.1}).fabrics[0].nest.roll.width == 1.1


def test_pictures_are_drawn(hatch: Hatch, tmp_path: Path) -> None:
    result = plain(read_part(hatch(surface={"rectangle": ["500 mm", "400 mm"]})))
    for ending in (".png", ".svg", ".pdf"):
        path = draw_cut(result, tmp_path / f"cut{ending}")
        assert path.stat().st_size > 2000
    with pytest.raises(LayupError, match="End its name"):
        draw_cut(result, tmp_path / "cut.bmp")


def test_the_command(examples: Path, tmp_path: Path) -> None:
    for name in ("rear-window.toml", "shop.csv"):
        shutil.copy(examples / "motor-glider" / name, tmp_path / name)
    part = tmp_path / "rear-window.toml"
    words = ["cut", str(part), "--seconds", "0", "--save", "--picture", str(tmp_path / "cut.png")]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert "carbon twill 200" in done.output
    assert path_beside(part).is_file()
    assert (tmp_path / "cut.png").is_file()
    data = json.loads(CliRunner().invoke(main, ["cut", str(part), "--seconds", "0", "--json"]).stdout)
    assert data["fabrics"][0]["cut_off_m"] > 1.0
    assert len(data["fabrics"][0]["pieces"]) == 4
    wrong = CliRunner().invoke(main, ["cut", str(part), "--seconds", "0", "--gap", "3"])
    assert wrong.exit_code == 2
    assert "Traceback" not in wrong.output


def test_the_second_part_s_proposal_has_its_mark(hatch: Hatch) -> None:
    wide = hatch(surface={"rectangle": ["1 m", "2 m"]}, ply=[{"fabric": "carbon plain 200"}])
    told = plain(read_part(hatch()), read_part(wide)).proposals
    assert [text for text in told if text.startswith("B: Ply 1 is ")]


@pytest.mark.parametrize(
    "option", [("--roll", "carbon plain=1 m"), ("--defect", "carbon plain=1 m, 0 m, 10 mm, 10 mm")]
)
def test_a_roll_of_a_cloth_that_is_not_laid_is_refused(examples: Path, option: tuple[str, str]) -> None:
    part = str(examples / "motor-glider" / "engine-bay-door.toml")
    done = CliRunner().invoke(main, ["cut", part, "--seconds", "0", "--rough", *option])
    assert done.exit_code == 2
    assert 'no ply here is of "carbon plain". Nearest: "carbon plain 200"' in done.stderr


def test_no_search_of_less_than_no_time(examples: Path) -> None:
    part = str(examples / "motor-glider" / "engine-bay-door.toml")
    done = CliRunner().invoke(main, ["cut", part, "--seconds", "-3"])
    assert done.exit_code == 2
    assert "--seconds" in done.stderr


def test_a_layout_asks_on_which_side_the_mould_is(hatch: Hatch) -> None:
    from rich.console import Console

    from layup.make.screen import cut_screen

    def told(**surface: Any) -> str:
        corner = {"outline": [[0, 0], [600, 0], [600, 200], [0, 400]], "unit": "mm", **surface}
        screen = Console(width=200, no_color=True, file=io.StringIO(), record=True)
        screen.print(cut_screen(plain(read_part(hatch(surface=corner))), "metric"))
        return screen.export_text()

    assert "mould" in told()
    assert told().count("mould = ") == 1
    assert "mould = " not in told(mould="facing (0, 0, 1)")


def test_cloth_that_the_weight_does_not_count_is_told(examples: Path) -> None:
    """A seventh more than is weighed is told of; less than a twentieth, or a weight that counts it, is not."""
    part = examples / "motor-glider" / "instrument-hood.toml"
    told = "shears over the shape. Write drape = true"

    def notes(share: float, text: str) -> list[str]:
        job = read_part(part, part.parent, text=text)
        piece = shapely.box(0, 0, share, 1)
        ply = ClothPly(2, "carbon twill 200", 45.0, "whole", (piece,), 1.0, None, False, False, ())
        return [note for note in _notes((job,), [((ply,), (), ())]) if told in note]

    text = part.read_text(encoding="utf-8")
    assert "up to 15 % more" in notes(1.15, text)[0]
    assert not notes(1.04, text)
    assert not notes(1.15, text.replace("[surface]\n", "[surface]\ndrape = true\n", 1))
