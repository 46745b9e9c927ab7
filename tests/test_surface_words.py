"""Findings in the units of the one who reads them: every conversion by hand, 1 in = 25.4 mm."""

import json

import ezdxf
import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.report.surface_words import in_units, system_of
from layup.shape.flat import rectangle


@pytest.mark.parametrize(
    ("metric", "inches"),
    [
        ("outline 508 x 254 mm on layer \"A\"", 'outline 20 x 10 in on layer "A"'),
        ("a wall of 3.175 mm: its outer side", "a wall of 1/8 in: its outer side"),
        ("0.0929030400 m^2 (0.009290304 and 0.185806 m^2)", "1.00 ft² (0.1 and 2 ft²)"),
        ("1: 25.4 mm round at (254, -50.8, 0) mm; 2", "1: 1 in round at (10, -2, 0) in; 2"),
        ("6.4516 cm^2 in all", "1.0 in² in all"),
        ("3 pieces that don't touch (0.09290304, 0.04645152, ... m^2); all count", None),
        ("1,270 mm long, 12 m^3 and 7 of 9 faces", "50 in long, 12 m^3 and 7 of 9 faces"),
        ("1 in 3 stays, 40 % too", "1 in 3 stays, 40 % too"),
    ],
)  # fmt: skip
def test_every_number_with_a_unit_is_said_again(metric, inches):
    said = in_units(metric, "lb")
    if inches is None:
        assert said.startswith("3 pieces that don't touch (1, 0.5, ...")
        assert said.endswith("ft²); all count")
    else:
        assert said == inches
    assert in_units(metric, "metric") == metric.replace("m^2", "m²")


def test_the_units_of_the_file():
    surface = rectangle(1.0, 1.0)
    for unit, system in (("in", "lb"), ("inch", "lb"), ("ft", "lb"), ("mm", "metric"), ("", "metric"), ("m", "metric")):
        surface.unit = unit
        assert system_of(surface) == system


def test_a_drawing_in_inches_is_reported_in_inches(tmp_path):
    document = ezdxf.new(units=1)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (20, 0), (20, 10), (0, 10)], close=True)
    space.add_circle((10, 5), 2)
    document.saveas(tmp_path / "rib.dxf")
    run = CliRunner()
    said = run.invoke(main, ["surface", str(tmp_path / "rib.dxf")], catch_exceptions=False).output
    assert "outline 20 x 10 in on layer" in said
    assert "1 cut-out (1 round), 12.6 in² together" in " ".join(said.split())
    assert "m^2" not in said
    metric = run.invoke(main, ["surface", str(tmp_path / "rib.dxf"), "--units", "metric"]).output
    assert "outline 508 x 254 mm" in metric
    page = tmp_path / "rib.html"
    run.invoke(main, ["surface", str(tmp_path / "rib.dxf"), "--page", str(page)], catch_exceptions=False)
    assert "Outline 20 x 10 in" in page.read_text()
    data = json.loads(run.invoke(main, ["surface", str(tmp_path / "rib.dxf"), "--json"]).output)
    assert data["area_m2"] == pytest.approx((200 - 4 * 3.14159265) * 0.0254**2, rel=1e-6)
