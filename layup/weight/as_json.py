"""Results for other programs: JSON as the contract says, and one tidy CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping

from layup.shape.surface import Surface
from layup.weight.prediction import Prediction, finding_records
from layup.words import no_formula


def json_text(prediction: Prediction) -> str:
    """The prediction as JSON, SI units, keys in a fixed order."""
    return json.dumps(prediction.as_json(), indent=2, ensure_ascii=False, allow_nan=False)


def surface_record(surface: Surface) -> dict[str, object]:
    """A surface for scripts: SI units."""
    whole = surface.whole
    return {
        "name": surface.name,
        "side": surface.side,
        "unit": surface.unit,
        "area_m2": whole.area,
        "centroid_m": None if whole.centroid is None else list(whole.centroid),
        "edge_m": surface.perimeter,
        "box_m": None if whole.box is None else [list(corner) for corner in whole.box],
        "triangles": whole.triangles,
        "groups": list(surface.groups),
        "findings": finding_records(surface),
    }


_UNITS = {"kg": "kg", "m2": "m^2", "m": "m", "deg": "deg", "pa": "Pa"}
_COLUMNS = ("section", "name", "quantity", "value", "unit", "p05", "p95")


def csv_text(prediction: Prediction) -> str:
    """The prediction as one tidy table: section, name, quantity, value, unit, p05, p95; SI units."""
    data = prediction.as_json()
    rows: list[tuple[object, ...]] = []
    _flat(
        rows,
        "part",
        str(data["part"]),
        {k: v for k, v in data.items() if k not in ("plies", "zones", "processes")},
    )
    _flat(rows, "surface", str(data["part"]), data["surface"])
    for ply in data["plies"]:
        _flat(rows, "ply", f"{ply['ply']} {ply['material']}", ply)
    for zone in data["zones"]:
        _flat(rows, "zone", zone["zone"], zone)
    for process in data["processes"]:
        _flat(rows, "process", process["process"], process)
    if data["saving"]:
        for thing in data["replaced"]["items"]:
            _flat(rows, "replaced", thing["name"], thing)
        rows.append(("replaced", "all", "mass", data["replaced"]["mass_kg"], "kg",
                     data["replaced"]["p05_kg"], data["replaced"]["p95_kg"]))  # fmt: skip
        _flat(rows, "saving", "all", data["saving"])
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    writer.writerows([no_formula(cell) for cell in row] for row in rows)
    return out.getvalue()


def _flat(rows: list[tuple[object, ...]], section: str, name: str, record: Mapping[str, object]) -> None:
    """Add the numbers of a record; names, lists and nested records are left to JSON, intervals fill p05 and p95."""
    for key, value in record.items():
        quantity, unit = _split_unit(key)
        if isinstance(value, dict) and set(value) == {"mean", "p05", "p95"}:
            rows.append((section, name, quantity, value["mean"], unit, value["p05"], value["p95"]))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            rows.append((section, name, quantity, value, unit, "", ""))


def _split_unit(key: str) -> tuple[str, str]:
    for ending, unit in (("_kg_m2", "kg/m^2"), ("_kg_m", "kg m")):
        if key.endswith(ending):
            return key.removesuffix(ending), unit
    stem, _, last = key.rpartition("_")
    return (stem, _UNITS[last]) if stem and last in _UNITS else (key, "")
