"""The other hand of a part: everything follows, and nothing that has no hand moves."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from pytest import approx
from shapely import affinity

from layup.cloth.pattern import flat_plies
from layup.commands.cli import main
from layup.partfile.read import read_part
from layup.weight.prediction import predict


def door(examples: Path, mirror: str, tmp_path: Path) -> Path:
    """The shipped door, or its other hand, at a start and angles that have one."""
    folder = examples / "motor-glider"
    text = (folder / "engine-bay-door.toml").read_text(encoding="utf-8")
    text = text.replace("angle = 45", "angle = 30")
    if mirror:
        text = f'mirror = "{mirror}"\n{text}'
    path = tmp_path / f"door{mirror}.toml"
    path.write_text(text, encoding="utf-8")
    for file in (*folder.glob("*.stl"), *folder.glob("*.csv")):
        if not (tmp_path / file.name).exists():
            (tmp_path / file.name).symlink_to(file)
    return path


def told(path: Path) -> dict[str, Any]:
    done = CliRunner().invoke(main, ["predict", str(path), "--json"])
    assert done.exit_code == 0, done.output
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


@pytest.mark.parametrize(("axis", "number"), [("y", 1), ("x", 0), ("z", 2)])
def test_the_other_hand_of_the_shipped_door(examples: Path, tmp_path: Path, axis: str, number: int) -> None:
    one, other = told(door(examples, "", tmp_path)), told(door(examples, axis, tmp_path))
    assert other["mass_kg"] == approx(one["mass_kg"], rel=1e-9)
    sign = np.ones(3)
    sign[number] = -1.0
    assert other["cg_m"] == approx((np.array(one["cg_m"]) * sign).tolist(), abs=1e-9)
    assert [p["angle_deg"] for p in other["plies"]] == [-p["angle_deg"] for p in one["plies"]]
    assert [z["area_m2"] for z in other["zones"]] == approx([z["area_m2"] for z in one["zones"]], rel=1e-9)


def test_its_patterns_are_mirror_images(examples: Path, tmp_path: Path) -> None:
    right, left = (flat_plies(read_part(door(examples, mirror, tmp_path))) for mirror in ("", "y"))
    assert [p.name for p in left] == [p.name for p in right]
    for one, other in zip(right, left, strict=True):
        assert other.angle == -one.angle
        mirror = affinity.scale(one.outline, 1, -1, origin=(0, 0))
        assert other.outline.intersection(mirror).area / other.outline.union(mirror).area > 0.99
        assert other.sides == one.sides
    # the hinge pieces, which are no mirror image of themselves at 30, tell a hand from the other
    whole = right[0].outline
    assert left[0].outline.symmetric_difference(whole).area > 0.02 * whole.area


def test_mirrored_twice_is_the_part_again(hatch: Callable[..., dict[str, Any]], examples: Path, tmp_path: Path) -> None:
    from layup.partfile.mirrored import mirrored

    job = read_part(door(examples, "", tmp_path))
    twice = mirrored(mirrored(job, "y"), "y")
    assert twice.surface.vertices == approx(job.surface.vertices)
    assert (twice.surface.faces == job.surface.faces).all()
    assert predict(twice).weighed.mass.mean == approx(predict(job).weighed.mass.mean, rel=1e-12)
    assert [p.angle for p in twice.part.plies()] == [p.angle for p in job.part.plies()]


def test_holes_starts_stacks_and_extras_follow(hatch: Callable[..., dict[str, Any]]) -> None:
    made = {
        "surface": {"outline": [[0, 0], [600, 0], [600, 120], [0, 400]], "unit": "mm", "mould": "facing (0, 0, 1)",
                    "start": ["130 mm", "60 mm", "0 mm"]},
        "holes": [{"name": "row", "diameter": "30 mm", "first": ["100 mm", "60 mm"], "pitch": "60 mm", "count": 3}],
        "ply": None,
        "stack": "[30/0]",
        "fabric": "carbon plain 200",
        "extra": [{"name": "nut", "weighed": "20 g", "at": ["50 mm", "100 mm", "0 mm"]}],
        "zone": [{"name": "corner", "within": "60 mm of (0 mm, 400 mm, 0 mm)"}],
    }  # fmt: skip
    one, other = read_part(hatch(**made)), read_part(hatch(**made, mirror="y"))
    assert [p.angle for p in other.part.plies()] == [-30.0, 0.0]
    assert other.holes["row"].places == approx(one.holes["row"].places * (1, -1, 1))
    assert other.part.extra[0].at == approx((0.05, -0.1, 0.0))
    assert other.part.surface.start == approx((0.13, -0.06, 0.0))
    assert other.part.surface.mould == "facing (0, 0, 1)"
    assert other.zones["corner"].centroid[1] == approx(-one.zones["corner"].centroid[1])  # type: ignore[index]
    before, after = predict(one).weighed, predict(other).weighed
    assert after.mass.mean == approx(before.mass.mean, rel=1e-12)
    assert after.cg == approx(np.array(before.cg) * (1, -1, 1))
    pattern, image = flat_plies(one)[0], flat_plies(other)[0]
    mirror = affinity.scale(pattern.outline, 1, -1, origin=(0, 0))
    assert image.outline.symmetric_difference(mirror).area < 1e-6
    assert np.array(sorted(d.at for d in image.drills)) == approx(
        np.array(sorted((d.at[0], -d.at[1]) for d in pattern.drills)), abs=1e-6
    )
