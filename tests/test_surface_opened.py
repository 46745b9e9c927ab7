"""Every way that a part file gives its surface, end to end: the area, the zones, and what a mistake says."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from pytest import approx

from layup.errors import FaultsError
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]


@pytest.fixture
def drawing(tmp_path: Path) -> Path:
    """A plate of 400 x 300 mm with a hole of 50 mm radius, and a doubler's outline on a layer of its own."""
    document = ezdxf.new(units=4)
    model = document.modelspace()
    model.add_lwpolyline([(0, 0), (400, 0), (400, 300), (0, 300)], close=True)
    model.add_circle((200, 150), 50)
    document.layers.add("DOUBLER")
    model.add_lwpolyline([(10, 10), (110, 10), (110, 60), (10, 60)], close=True, dxfattribs={"layer": "DOUBLER"})
    path = tmp_path / "plate.dxf"
    document.saveas(path)
    return path


PLATE = 0.4 * 0.3 - math.pi * 0.05**2


def area(hatch: Hatch, folder: Path, surface: dict[str, Any], **changes: Any) -> float:
    whole: float = predict(hatch(surface=surface, **changes), folder).job.surface.whole.area
    return whole


def test_a_drawing_is_its_outline_less_its_holes(hatch: Hatch, drawing: Path) -> None:
    ply = [{"fabric": "carbon plain 200"}, {"fabric": "carbon plain 200", "zone": "doubler"}]
    zone = [{"name": "doubler", "group": "DOUBLER"}]
    job = predict(hatch(surface={"outline": drawing.name}, zone=zone, ply=ply), drawing.parent).job
    assert job.surface.whole.area == approx(PLATE, rel=1e-4)
    assert job.zones["doubler"].area == approx(0.1 * 0.05, rel=1e-9)


@pytest.mark.parametrize("group", ["GREEN", ["GREEN"]])
def test_a_layer_that_a_zone_names_alone_or_in_a_list_is_no_cut_out(
    hatch: Hatch, drawing: Path, group: str | list[str]
) -> None:
    document = ezdxf.readfile(drawing)
    document.layers.get("DOUBLER").rename("GREEN")
    document.saveas(drawing)
    job = predict(hatch(surface={"outline": drawing.name}, zone=[{"name": "z", "group": group}]), drawing.parent).job
    assert job.surface.whole.area == approx(PLATE, rel=1e-4)
    assert job.zones["z"].area == approx(0.1 * 0.05, rel=1e-9)


def test_a_drawing_without_a_unit_shows_three_readings(hatch: Hatch, drawing: Path) -> None:
    document = ezdxf.readfile(drawing)
    document.header["$INSUNITS"] = 0
    document.saveas(drawing)
    with pytest.raises(FaultsError) as caught:
        predict(hatch(surface={"outline": drawing.name}), drawing.parent)
    assert all(unit in str(caught.value) for unit in ("mm", "in", " m"))
    assert area(hatch, drawing.parent, {"outline": drawing.name, "unit": "in"}) == approx(PLATE * 25.4**2, rel=1e-4)


def test_an_svg_and_points_in_a_csv(hatch: Hatch, tmp_path: Path) -> None:
    (tmp_path / "p.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">'
        '<rect width="400" height="300"/><circle cx="200" cy="150" r="50"/></svg>',
        encoding="utf-8",
    )
    (tmp_path / "p.csv").write_text("x [mm],y [mm]\n0,0\n400,0\n400,300\n0,300\n", encoding="utf-8")
    assert area(hatch, tmp_path, {"outline": "p.svg"}) == approx(PLATE, rel=1e-4)
    assert area(hatch, tmp_path, {"outline": "p.csv"}) == approx(0.12)


def test_widths_and_girths_at_stations(hatch: Hatch) -> None:
    folder = Path(".")
    trapezoid = {"unit": "mm", "stations": [[0, 200], [1000, 400]]}
    assert area(hatch, folder, trapezoid) == approx(0.3)
    cylinder = {"unit": "mm", "girths": [[0, 600], [500, 600], [1000, 600]]}
    assert area(hatch, folder, cylinder) == approx(0.6)


def test_rough_stations_widen_the_interval(hatch: Hatch) -> None:
    rough = {"unit": "mm", "stations": [[0, 0], [250, 180], [500, 260], [900, 210], [1200, 40]]}
    fine = {"area": "0.224 m^2"}
    wide, narrow = predict(hatch(surface=rough)).mass, predict(hatch(surface=fine)).mass
    assert (wide.p95 - wide.p05) / wide.mean > (narrow.p95 - narrow.p05) / narrow.mean


@pytest.mark.parametrize(
    ("surface", "said"),
    [
        ({"outline": "plate.dwg"}, ".dxf"),
        ({"outline": "nothing.dxf"}, "nothing.dxf"),
        ({"outline": [[0, 0], [1, 0], [1, 1]], "unit": "m", "pick": 1}, "outline from a file"),
        ({"stations": [[0, 200], [1000, 400]]}, "unit"),
        ({"stations": [[0, 200, 3]], "unit": "mm"}, "not two numbers"),
        ({"stations": [], "unit": "mm"}, "not a list"),
        ({"area": "1 m^2", "rule": "spline"}, "stations"),
        ({"area": "1 m^2", "side": "outer"}, "mesh"),
        ({"stations": [[0, 200], [0, 300], [0, 400]], "unit": "mm"}, "station"),
    ],
)
def test_a_wrong_surface_is_told_what_to_write(
    hatch: Hatch, tmp_path: Path, surface: dict[str, Any], said: str
) -> None:
    with pytest.raises(FaultsError) as caught:
        predict(hatch(surface=surface), tmp_path)
    assert said in str(caught.value)


def test_the_command_takes_what_its_words_ask_for(drawing: Path, tmp_path: Path) -> None:
    """`layup surface` asked for pick, gap and face, and had no such options."""
    import json

    from click.testing import CliRunner

    from layup.commands.cli import main

    document = ezdxf.readfile(drawing)
    document.modelspace().add_lwpolyline([(500, 0), (600, 0), (600, 100), (500, 100)], close=True)
    document.saveas(drawing)

    def asked(*words: str) -> Any:
        return CliRunner().invoke(main, ["surface", *words, "--json"])

    two = asked(str(drawing))
    assert "--pick 1" in two.output
    for pick, due in (("1", PLATE), ("2", 0.01), ("all", PLATE + 0.01)):
        assert json.loads(asked(str(drawing), "--pick", pick).output)["area_m2"] == approx(due, rel=1e-4)
    loose = ezdxf.new(units=4)
    for a, b in (((0, 0), (400, 0)), ((400, 0), (400, 300)), ((400, 300), (0, 300)), ((0, 300), (0, 0.9))):
        loose.modelspace().add_line(a, b)
    loose.saveas(tmp_path / "loose.dxf")
    assert asked(str(tmp_path / "loose.dxf")).exit_code == 2
    assert json.loads(asked(str(tmp_path / "loose.dxf"), "--gap", "1 mm").output)["area_m2"] == approx(0.12, rel=1e-2)
    for words in (["--gap", "-1 mm"], ["--gap", "x"], ["--face", "1"], ["--pick", "1", "--side", "facing (0, 0, 1)"]):
        done = asked(str(drawing), *words)
        assert done.exit_code == 2, words
        assert "mistake of its own" not in done.output
