"""Reading a part file: what is right is read, and every mistake of a tired builder is named with its line."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel
from pytest import approx

from layup.errors import FaultsError, LayupError
from layup.partfile import model
from layup.partfile.read import read_part
from layup.partfile.toml_file import OTHERWISE

GOOD = """\
title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"

[surface]
rectangle = ["1 m", "600 mm"]

[[zone]]
name = "latch"
between = "x 0 mm 100 mm"

[[ply]]
fabric = "carbon plain 200"
angle = 45

[[ply]]
fabric = "carbon plain 200"
zone = "latch"
"""


def write(tmp_path: Path, text: str, name: str = "hatch.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(FaultsError) as caught:
        read_part(write(tmp_path, text))
    return [str(fault) for fault in caught.value.faults]


def test_a_good_file_is_read(tmp_path: Path) -> None:
    job = read_part(write(tmp_path, GOOD))
    assert job.surface.whole.area == approx(0.6)
    assert job.zones["latch"].area == approx(0.06)
    assert [ply.angle for ply in job.part.plies()] == [45, 0]


def test_a_gauge_that_shows_vacuum_below_nothing_is_read(tmp_path: Path) -> None:
    text = 'vacuum = "-0,8 bar"\n' + GOOD.replace("vacuum = ", "altitude_was = ")
    assert "vacuum =" not in GOOD
    assert read_part(write(tmp_path, text)).part.vacuum == pytest.approx(80e3)


def test_a_stack_stands_in_for_plies(tmp_path: Path) -> None:
    head = GOOD.split("[[zone]]")[0]
    text = 'stack = "[(0/90)/(+-45)]s"\nfabric = "carbon twill 200"\n' + head
    assert [ply.angle for ply in read_part(write(tmp_path, text)).part.plies()] == [0, 45, 45, 0]


def test_all_faults_of_a_file_come_at_once_with_their_lines(tmp_path: Path) -> None:
    text = """\
titel = "Hatch"
process = "vacum bag"
resin = "epoxy, laminating"
vacuum = "25"

[surface]
area = "0.5 m"
edge = "-3 m"

[[zone]]
name = "latch"
area = "10 cm^2"

[[ply]]
fabric = "carbon plane 200"
angle = "45 mm"

[[ply]]
fabric = "carbon plain 200"
zone = "lach"
count = 0

[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "32 in"
"""
    found = faults_of(tmp_path, text)
    joined = "\n".join(found)
    for line in (1, 2, 4, 7, 8, 15, 16, 20, 21, 26):
        assert f"line {line}:" in joined, (line, joined)
    assert 'Nearest: "title"' in joined
    assert 'Nearest: "vacuum bag"' in joined
    assert '"carbon plain 200"' in joined
    assert '"latch"' in joined
    assert "an angle is due" in joined
    assert "it is missing" in joined  # the title


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('process = "vacuum bag"', "process = vacuum bag", 'process = "vacuum bag"'),
        ('title = "Hatch"', "title = “Hatch”", "straight quotes"),
        ('title = "Hatch"', 'title = "Hatch', "quote"),
        ('title = "Hatch"', 'title "Hatch"', "equals sign"),
        ("[surface]", "[surface", "brackets"),
        ("angle = 45", "angle = 45 degrees", "quotes"),
        ('process = "vacuum bag"', 'process = "vacuum bag"\nprocess = "wet"', "once"),
        ("[[ply]]", '[ply]\nfabric = "carbon plain 200"\n\n[ply]', "this table stands twice"),
        ('title = "Hatch"', 'title = "Hatch" here', "more stands behind the value"),
        ('title = "Hatch"', 'title = "C:\\q"', "backslash"),
        ('title = "Hatch"', "title = { a = 1", "brace"),
    ],
)
def test_a_line_that_is_not_toml_is_shown_with_its_remedy(tmp_path: Path, old: str, new: str, said: str) -> None:
    found = faults_of(tmp_path, GOOD.replace(old, new, 1))
    assert len(found) == 1
    assert found[0].startswith("line "), found
    assert said in found[0], found
    assert not re.search("Expected|Cannot|statement|document|Invalid|Illegal|\\('", found[0])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('rectangle = ["1 m", "600 mm"]', "rectangle = [1, 600]", "needs its unit"),
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["1 m"]', "rectangle"),
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["1 kg", "600 mm"]', "a length is due"),
        ('rectangle = ["1 m", "600 mm"]', 'mesh = "nothing.stl"\nunit = "mm"', "nothing.stl"),
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["1 m", "600 mm"]\narea = "1 m^2"', "exactly one of"),
        ('rectangle = ["1 m", "600 mm"]', "outline = [[0, 0], [1, 0], [1, 1]]", "unit"),
        ('between = "x 0 mm 100 mm"', 'between = "x 5 m 6 m"', "no part of the surface"),
        ('between = "x 0 mm 100 mm"', "", "one of within"),
        ('name = "latch"', 'name = "whole"', "taken"),
        ("angle = 45", 'angle = 45\nthickness = "1 mm"', "only a core"),
        ("angle = 45", 'angle = 45\nseam = "1 m"', "belongs to overlap"),
        ("angle = 45", "angle = 45\nfibre_volume_fraction = 1.2", "1.2"),
        ("angle = 45", "angle = 45\nfibre_volume_fraction = 0.5\nresin_content = 0.4", "keep one"),
        ("angle = 45", "angle = 45\ncount = 2.5", "whole number"),
        ("angle = 45", "angle = true", "quantity"),
        ("[[ply]]", "[ply]", "[[ply]]"),
        ('resin = "epoxy, laminating"', "", "resin"),
        ('resin = "epoxy, laminating"', 'resin = "aluminium 2024-T3"', "as a sheet"),
        (
            'resin = "epoxy, laminating"',
            'resin = "epoxy, laminating"\nvacuum = "29 inHg"\naltitude = "5000 ft"',
            "can't read",
        ),
        ('process = "vacuum bag"', 'process = "wet"\nvacuum = "20 inHg"', "no bag"),
        ('title = "Hatch"', 'title = "Hatch"\nmaterials = ["shop.csv"]', "no such table"),
        ('title = "Hatch"', 'title = "Hatch"\nunits = "stone"', "one of the choices"),
        ('title = "Hatch"', 'title = "Hatch"\nstack = "[0/45"\nfabric = "carbon plain 200"', "keep one"),
        ('title = "Hatch"', 'title = "Hatch"\ntrim = "5 m"', "check the unit"),
        ('resin = "epoxy, laminating"', 'resin = "epoxy"', '"epoxy, laminating"'),
        ('process = "vacuum bag"', 'process = "baged"', '"vacuum bag"'),
        ('fabric = "carbon plain 200"\nangle', 'fabric = "carbon plain 200 prepreg"\nangle', "brings its own resin"),
        ('fabric = "carbon plain 200"\nangle', 'core = "PVC foam 60"\nangle', 'thickness = "6 mm"'),
        ('fabric = "carbon plain 200"\nangle', 'fabric = "carbon plain 200"\narea = "10 m^2"\nangle', "Check the area"),
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["90 m", "90 m"]', "Check the unit"),
        ('rectangle = ["1 m", "600 mm"]', 'rectangle = ["1 m", "600 mm"]\nwarp = [0, 0, 0]', "no direction"),
        ('rectangle = ["1 m", "600 mm"]', 'outline = [[0, 0],\n[1, 0],\n[1, 1]\nunit = "m"', "is not closed"),
        ('rectangle = ["1 m", "600 mm"]', 'mesh = "C:\\Users\\me\\door.stl"', "forward slashes"),
        ('title = "Hatch"', 'title = "Hatch"\nmaterials = "shop.csv"', "square brackets"),
    ],
)
def test_one_mistake_gives_one_clear_fault(tmp_path: Path, old: str, new: str, said: str) -> None:
    found = faults_of(tmp_path, GOOD.replace(old, new, 1))
    assert any(said in fault for fault in found), found
    assert len(found) <= 3, found


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('resin = "epoxy, laminating"', "resin = 5", "resin 5: this is not a text"),
        ('between = "x 0 mm 100 mm"', "between = 5", "between 5: this is not a list"),
        ('rectangle = ["1 m", "600 mm"]', "outline = 5", "outline 5: outline: this is not a list"),
        ('rectangle = ["1 m", "600 mm"]', 'unit = "mm"\noutline = [[0, 0], [1, 0], [9]]', "entry 3 is not two numbers"),
    ],
)
def test_a_value_of_the_wrong_kind_is_told_once_and_nothing_follows_from_it(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in GOOD
    found = faults_of(tmp_path, GOOD.replace(old, new, 1))
    assert len(found) == 1, found
    assert said in found[0], found


def test_names_are_looked_up_in_a_table_whose_keys_do_not_go_together(tmp_path: Path) -> None:
    found = faults_of(tmp_path, GOOD + '[[ply]]\nfabric = "carbon plane 200"\ncore = "balsa wod"\n')
    for said in ("a ply has exactly one of fabric, core", "no such fabric", "no such core"):
        assert any(said in fault for fault in found), found


def test_a_key_in_the_wrong_table_is_sent_to_its_place(tmp_path: Path) -> None:
    found = faults_of(tmp_path, GOOD + 'altitude = "1500 ft"\n')
    assert any("top of the file" in fault for fault in found), found


def test_a_missing_file_names_the_nearest(tmp_path: Path) -> None:
    write(tmp_path, GOOD)
    with pytest.raises(FaultsError, match=r"hatch\.toml"):
        read_part(tmp_path / "hach.toml")


def test_a_folder_is_not_a_part_file(tmp_path: Path) -> None:
    write(tmp_path, GOOD)
    with pytest.raises(FaultsError, match=r"hatch\.toml"):
        read_part(tmp_path)


def test_a_file_that_is_not_text(tmp_path: Path) -> None:
    path = tmp_path / "hatch.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(FaultsError, match="UTF-8"):
        read_part(path)


_values = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-5, 5),
    st.floats(allow_nan=False),
    st.text(max_size=8),
    st.lists(st.integers(0, 3), max_size=3),
    st.dictionaries(st.sampled_from(["name", "area", "x"]), st.integers(), max_size=2),
    st.sampled_from(["25 mm", "2 lb", "carbon plain 200", "whole", "0.5 m^2"]),
)
_keys = st.sampled_from(
    [
        "title",
        "process",
        "resin",
        "vacuum",
        "altitude",
        "materials",
        "units",
        "arm",
        "stack",
        "fabric",
        "trim",
        "surface",
        "zone",
        "ply",
        "finish",
        "extra",
        "replaces",
        "made",
        "name",
        "count",
        "core",
        "mesh",
        "area",
        "between",
        "nonsense",
    ]
)
_tables = st.dictionaries(_keys, _values, max_size=4)
_several = st.lists(_tables, max_size=3)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    top=st.dictionaries(_keys, _values, max_size=5),
    tables=st.dictionaries(_keys, st.one_of(_values, _tables, _several), max_size=4),
)
def test_whatever_stands_in_the_file_only_faults_come_out(top: dict[str, Any], tables: dict[str, Any]) -> None:
    text = ""
    try:
        read_part({**top, **tables})
    except LayupError as error:
        text = str(error)
    assert text  # nothing the generator makes is a whole part, so something must have been said


def test_a_refit_file_and_a_mesh_are_no_part_files(tmp_path: Path) -> None:
    refit = write(tmp_path, '[start]\nweight = "1 kg"\n[limits]\n', "refit.toml")
    with pytest.raises(FaultsError, match="layup ledger"):
        read_part(refit)
    mesh = write(tmp_path, "solid\n", "door.stl")
    with pytest.raises(FaultsError, match="no part file"):
        read_part(mesh)


def test_a_letter_that_is_not_utf8_is_found(tmp_path: Path) -> None:
    path = tmp_path / "hatch.toml"
    path.write_bytes(GOOD.replace("Hatch", "T\u00fcr").encode("latin-1"))
    with pytest.raises(FaultsError, match="line 1"):
        read_part(path)


@pytest.mark.parametrize(
    ("table", "key", "said"),
    [
        ("ply", "cloth", "Write fabric."),
        ("ply", "orientation", "Write angle."),
        ("ply", "material", "Write fabric or core."),
        ("replaces", "material", "Write fabric or sheet or covering or core."),
        ("replaces", "gauge", "Write thickness."),
    ],
)
def test_a_builders_word_for_a_key_is_answered_with_the_key(
    hatch: Callable[..., dict[str, Any]], table: str, key: str, said: str
) -> None:
    with pytest.raises(FaultsError, match=f"there is no such key. {said}"):
        read_part(hatch(**{table: [{key: "carbon"}]}))


def test_every_key_that_a_builders_word_means_exists() -> None:
    models = [one for one in vars(model).values() if isinstance(one, type) and issubclass(one, BaseModel)]
    known = {key for one in models for key in one.model_fields}
    assert {key for keys in OTHERWISE.values() for key in keys} <= known
