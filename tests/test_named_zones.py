"""Zones that name other zones, bodies of a mesh, and mistakes in both, through a part file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import trimesh
from pytest import approx

from layup.errors import FaultsError
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]
LEFT = {"name": "left", "between": "x 0 mm 300 mm"}
TOP = {"name": "top", "between": "y 600 mm 1000 mm"}


def areas(hatch: Hatch, *zones: dict[str, Any]) -> dict[str, float]:
    return {name: zone.area for name, zone in predict(hatch(zone=list(zones))).job.zones.items()}


def test_zones_combine_by_name(hatch: Hatch) -> None:
    found = areas(
        hatch,
        LEFT,
        TOP,
        {"name": "either", "or": ["left", "top"]},
        {"name": "corner", "between": "x 0 mm 300 mm", "and": "top"},
        {"name": "rest", "between": "x 0 mm 1000 mm", "not": ["left", "top"]},
    )
    assert found["left"] == approx(0.3)
    assert found["top"] == approx(0.4)
    assert found["corner"] == approx(0.12)
    assert found["either"] == approx(0.3 + 0.4 - 0.12)
    assert found["rest"] == approx(1 - found["either"], abs=1e-9)


def test_a_list_means_any_of_them(hatch: Hatch) -> None:
    bands = areas(hatch, {"name": "ends", "between": ["x 0 mm 100 mm", "x 900 mm 1000 mm"]})
    assert bands["ends"] == approx(0.2)


def faults(part: dict[str, Any], folder: Path) -> str:
    with pytest.raises(FaultsError) as caught:
        predict(part, folder)
    return str(caught.value)


def test_a_zone_that_names_itself_or_nobody(hatch: Hatch, tmp_path: Path) -> None:
    ring = [{"name": "a", "or": "b"}, {"name": "b", "or": "a"}]
    assert "names itself" in faults(hatch(zone=ring), tmp_path)
    assert 'no such zone "letf"' in faults(hatch(zone=[LEFT, {"name": "b", "or": "letf"}]), tmp_path)
    assert "only an area" in faults(hatch(zone=[{"name": "a", "area": "10 cm^2"}, {**TOP, "not": "a"}]), tmp_path)


def test_a_mistake_in_a_zone_shows_even_where_the_surface_cant_be_read(hatch: Hatch, tmp_path: Path) -> None:
    part = hatch(surface={"mesh": "none.stl", "unit": "mm"}, zone=[{"name": "a", "within": "60 of (1, 2, 3)"}])
    text = faults(part, tmp_path)
    assert "none.stl" in text
    assert "zone 1" in text


def test_a_body_is_picked_by_size_or_by_name(hatch: Hatch, tmp_path: Path) -> None:
    scene = trimesh.Scene()
    for name, size in (("small", 0.1), ("large", 0.4)):
        sheet = trimesh.Trimesh([[0, 0, 0], [size, 0, 0], [size, size, 0], [0, size, 0]], [[0, 1, 2], [0, 2, 3]])
        sheet.apply_translation([2 * size, 0, 0])
        scene.add_geometry(sheet, geom_name=name, node_name=name)
    scene.export(tmp_path / "two.glb")

    def area(**keys: Any) -> float:
        surface = predict(hatch(surface={"mesh": "two.glb", **keys}), tmp_path).job.surface
        return float(surface.whole.area)

    assert area() == approx(0.17, rel=1e-6)
    assert area(body=1) == approx(0.16, rel=1e-6)
    assert area(body=2) == approx(0.01, rel=1e-6)
    assert area(body="small") == approx(0.01, rel=1e-6)
    assert "2 bodies" in faults(hatch(surface={"mesh": "two.glb", "body": 3}), tmp_path)


def test_all_but_the_rim_and_whole_as_a_name(hatch: Hatch) -> None:
    rim = {"name": "rim", "within": "50 mm of the edge"}
    zones = [
        rim,
        {"name": "field", "not": "rim"},
        {"name": "said so", "or": "whole", "not": ["rim"]},
        {"name": "every bit", "or": ["rim", "whole"]},
    ]
    part = hatch(surface={"rectangle": ["1 m", "0.6 m"]}, zone=zones, ply=[{"fabric": "carbon plain 200"}])
    found = {zone.name: zone.area for zone in predict(_laid(part, zones)).zones}
    assert found["field"] == found["said so"] == approx(0.9 * 0.5, rel=1e-3)  # a band is walked, as near as that
    assert found["field"] + found["rim"] == approx(0.6, rel=1e-9)
    assert found["every bit"] == approx(0.6)


def _laid(part: dict[str, Any], zones: list[dict[str, Any]]) -> dict[str, Any]:
    """The part with a ply in each zone, so that each is told."""
    return {**part, "ply": [*part["ply"], *({"fabric": "carbon plain 200", "zone": zone["name"]} for zone in zones)]}
