"""An old weigh-in seen again from its record alone: what is noted is enough for it, though no command asks yet."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from layup.learn.schema import Payload
from layup.learn.store import Store
from layup.learn.weighins import WeighIn, coupon_of
from layup.partfile.read import read_part
from layup.partfile.regions import Regions
from layup.weight.prediction import Prediction, predict


@dataclass(frozen=True, slots=True)
class Replay:
    """An old weigh-in seen again.

    Attributes:
        part_text: The part file as it was.
        then: The prediction as it was, in the form of `layup predict --json`.
        now: What today's tables and program predict for the part as it was, by published figures alone.
    """

    part_text: str
    then: Payload
    now: Prediction


def replay(store: Store, weighed: WeighIn, scratch: Path) -> Replay:
    """See an old weigh-in again, though its files may have changed or gone; areas are those measured then.

    Args:
        store: The shop's record.
        weighed: Which.
        scratch: An empty folder for the shop's tables as they were.

    Returns:
        Then and now.
    """
    told = weighed.entry.payload
    text = store.text(told["part_text"])
    data = tomllib.loads(text)
    for name, digest in told["tables"].items():
        target = scratch / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(store.text(digest), encoding="utf-8")
    measured = told["measured"]
    data = plain_shape(data, measured["area"], measured["edge"], measured["zones"], measured.get("holes"))
    job = read_part(data, scratch)
    if weighed.coupon is not None:
        job = coupon_of(job, *weighed.coupon)
    elif measured.get("regions") is not None:  # a record of an earlier version has areas alone
        job = replace(job, told=regions_of(measured["regions"]))
    if told["vacuum"] is not None:
        job = replace(job, part=job.part.model_copy(update={"vacuum": told["vacuum"]}))
    return Replay(text, json.loads(store.text(told["prediction"])), predict(job))


def plain_shape(
    data: Payload,
    area: float,
    edge: float | None,
    zones: dict[str, float],
    holes: dict[str, list[float]] | None = None,
) -> Payload:
    """A part file's data with its shapes replaced by their measured areas; holes by number and mean size. [m^2, m]"""
    old = data.get("surface", {})
    drilled = holes or {}
    surface = {"area": f"{area + sum(taken for _, taken, _ in drilled.values())!r} m^2"}
    edge = None if edge is None else edge - sum(rim for _, _, rim in drilled.values())
    if "area_tolerance" in old:
        surface["area_tolerance"] = old["area_tolerance"]
    if edge is not None or "edge" in old:
        surface["edge"] = old.get("edge", f"{edge!r} m")
    listed: Iterable[Payload] = data.get("zone", [])
    plain = [{"name": z["name"], "area": f"{zones.get(z['name'], area)!r} m^2"} for z in listed]
    data = {key: value for key, value in data.items() if key not in ("holes", "fasteners")}
    round_ = [
        {"name": name, "count": int(count), "diameter": f"{math.sqrt(4.0 * taken / math.pi / count)!r} m"}
        for name, (count, taken, _) in drilled.items()
    ]
    return {**data, "surface": surface, **({"zone": plain} if plain else {}), **({"holes": round_} if round_ else {})}


def regions_of(told: Mapping[str, Any]) -> Regions:
    """From such a record."""
    count, ways = len(told["area"]), len(told["openings"])
    openings = tuple(told["openings"])
    keys = tuple((name, ()) for name in told["keys"])
    return Regions(
        area=np.array(told["area"]),
        centroid=None,
        second=None,
        turn=np.array(told["turn"]),
        round=np.array(told["round"]),
        known=told["known"],
        tool=told["tool"],
        flat=told["flat"],
        edge=np.array(told["edge"]),
        openings=openings,
        rim=np.array(told["rim"]).reshape(count, ways),
        opening=np.array(told["opening"]).reshape(count, ways),
        drilled=np.array(told["drilled"], dtype=bool),
        keys=keys,
        on=np.array(told["on"], dtype=bool).reshape(count, len(keys)),
    )
