"""Any type for any key: whatever stands in a part file, the answer is a prediction or a sentence with the file's name.

Every key that the models of a part file know is set to every kind of value, one at a time, on one part that has every
table; and some values that are well-formed and absurd. A part that is read is also predicted and written as JSON.
"""

from __future__ import annotations

import copy
import datetime as dt
import os
import random
import tomllib
import typing
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from layup.errors import LayupError
from layup.partfile.model import Part
from layup.partfile.read import read_part
from layup.weight import as_json
from layup.weight.prediction import predict

RICH = """title = "Rich"
process = "vacuum bag"
resin = "epoxy, laminating"
vacuum = "24 inHg"
altitude = "500 m"
arm = "1 m"
[surface]
rectangle = ["1 m", "600 mm"]
[[holes]]
name = "lightening"
first = ["300 mm", "300 mm"]
pitch = "150 mm"
count = 2
diameter = "60 mm"
[[zone]]
name = "hinge"
within = "60 mm of (120 mm, 100 mm, 0 mm)"
[[ply]]
fabric = "carbon plain 200"
angle = 45
count = 2
[[ply]]
core = "PVC foam 60"
thickness = "6 mm"
[[ply]]
fabric = "carbon plain 200"
zone = "hinge"
[[ply]]
fabric = "carbon plain 160"
[[finish]]
finish = "primer, epoxy"
[[extra]]
name = "pads"
mass = "2 oz"
at = ["10 mm", "10 mm", "0 mm"]
[[replaces]]
name = "door skin"
sheet = "aluminium 2024-T3"
thickness = "0.032 in"
[[replaces]]
name = "stiffeners"
weighed = "9 1/4 oz"
[[made]]
process = "wet"
weighed = "3 lb"
[needs]
hand_load = "200 N"
hand_deflection = "5 mm"
[shelf]
fabrics = ["carbon plain 200"]
processes = ["wet"]
"""
VALUES: list[Any] = [
    True, False, 0, -1, 1, 5, 100000, 10**400, 2.5, 1e308, -1e308, 1e-308, float("nan"), float("inf"),
    "", "x", " ", "\0", "a" * 5000, "-1 mm", "1e308 mm", "nan mm", "0 mm", "1 mm", "5 kg", "1e12 kg",
    "-20 inHg", "0 inHg", "0 kPa", "400 %", "60 mm of", "1/0 in", "../../etc/passwd", "/dev/zero", "/",
    [], [1], [1.5, float("nan")], ["x"], [""], [[1, 2], [3, 4], [5, 6]], [[]], [[["x"]]], [0],
    {}, {"a": 1}, {"x": "1 mm"}, [{}], [{"name": "x"}], [True],
    dt.date(2020, 1, 1), dt.time(1, 2), dt.datetime(2020, 1, 1, tzinfo=dt.UTC),
]  # fmt: skip


VALUES_A_KEY = int(os.environ.get("LAYUP_FUZZ", "2"))
"""Of `VALUES`, drawn alike in every run. A full run takes them all: 1000."""


def models(model: type[BaseModel], at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The path of every key: of the first entry, where there are several."""
    for name, field in model.model_fields.items():
        key = field.alias or name
        yield (*at, key)
        for kind in _kinds(field.annotation):
            several = list in [typing.get_origin(a) for a in (field.annotation, *typing.get_args(field.annotation))]
            yield from models(kind, (*at, key, 0) if several else (*at, key))


def _kinds(annotation: Any) -> Iterator[type[BaseModel]]:
    for kind in (annotation, *typing.get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield kind
        elif kind is not annotation:
            yield from _kinds(kind)


KEYS = list(models(Part))


def put(data: dict[str, Any], path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    changed = copy.deepcopy(data)
    here: Any = changed
    for step in path[:-1]:
        if isinstance(here, dict):
            here = here.setdefault(step, [{}] if path[path.index(step) + 1 : path.index(step) + 2] == (0,) else {})
        else:
            here = here[step]
    here[path[-1]] = value
    return changed


def answer(data: dict[str, Any], folder: Path) -> str:
    """How it ends; any other error is let out."""
    try:
        prediction = predict(read_part(data, folder))
    except LayupError as error:
        return str(error)
    as_json.json_text(prediction)
    as_json.csv_text(prediction)
    return ""


def test_the_part_that_is_mutated_holds(tmp_path: Path) -> None:
    assert answer(tomllib.loads(RICH), tmp_path) == ""
    assert len(KEYS) > 120
    assert ("needs", "supports") in KEYS
    assert ("holes", 0, "pitch") in KEYS


@pytest.mark.parametrize("table", sorted({str(key[0]) for key in KEYS}))
def test_any_type_for_any_key(tmp_path: Path, table: str) -> None:
    warnings.simplefilter("error")  # what numpy murmurs about is not a sentence
    data = tomllib.loads(RICH)
    dice = random.Random(table)
    for path in (key for key in KEYS if key[0] == table):
        for value in dice.sample(VALUES, min(VALUES_A_KEY if len(path) > 1 else 3 * VALUES_A_KEY, len(VALUES))):
            try:
                said = answer(put(data, path, value), tmp_path)
            except Exception as error:
                raise AssertionError(f"{path} = {value!r:.60}") from error
            assert "Traceback" not in said
