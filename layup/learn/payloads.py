"""What an entry of the record may hold, by its kind: asked of every entry that comes from outside.

    What is wrong with a payload, in words; empty where it holds      odd(kind, payload)

An entry of a kind that is not known here may hold anything: a newer layup wrote it, and keeps it.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from layup.errors import LayupError
from layup.learn.schema import UNDO, Entry

Number = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-1e12, le=1e12)]
Spread = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.0, le=1e3)]
Mass = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0.0, lt=1e5)]  # [kg]
Text = Annotated[str, Field(strict=True)]
Digest = Annotated[str, Field(strict=True, pattern=r"^[0-9a-f]{64}$")]


class _Payload(BaseModel):
    model_config = ConfigDict(extra="allow")


class _Terms(_Payload):
    """The expected mass by what strays alike: see `layup.learn.posterior.Piece`."""

    resins: Annotated[list[tuple[Text, Text, Text, Mass, Spread, Spread]], Field(min_length=1)]
    faces: list[tuple[Annotated[list[Text], Field(min_length=2, max_length=3)], Mass, Spread]]
    cloth: dict[str, tuple[Mass, Mass]]
    part_spread: Spread
    own: Spread
    area: Spread
    lots: Spread = 0.0
    dry: Mass | None = None


class _Ground(_Payload):
    process: Text
    form: Text
    fabric: Text
    rest: Number
    resin: Number
    rest_spread: Spread
    shop_spread: Spread
    part_spread: Spread
    cloth_spread: Spread
    terms: _Terms | None = None


class _Measured(_Payload):
    area: Number
    edge: Number | None
    zones: dict[str, Number]


class _WeighIn(_Payload):
    part: Text
    file: Text
    piece: Text
    stage: Text
    mass: Mass
    said: Text
    resolution: Number | None
    person: Text
    temperature: Number | None
    vacuum: Number | None
    lot: Text
    notes: Text
    photo: Text
    coupon: tuple[Mass, Mass] | tuple[Mass, Mass, Mass] | None = None
    expected: dict[str, Number] | None = None
    ground: _Ground | None = None
    part_text: Digest
    tables: dict[str, Digest]
    measured: _Measured
    prediction: Digest


class _Undo(_Payload):
    entry: Text
    why: Text = ""


class _Start(_Payload):
    process: Text
    form: Text
    mean: Number
    spread: Annotated[float, Field(strict=True, gt=0.0, le=1e3)]
    parts: Number


class _Setting(_Payload):
    forget: Text | None = None
    lot: Text | None = None
    start: list[_Start] = []
    pooled: bool = False


class _Line(_Payload):
    name: Text
    mass: Number
    arm: Number
    mass_text: Text
    arm_text: Text


class _Weighing(_Payload):
    lines: Annotated[list[_Line], Field(min_length=1)]
    date: Text
    by: Text
    method: Text
    record: Text


class _Item(_Payload):
    name: Text
    action: Text
    mass: Number
    arm: Number


class _Ledger(_Payload):
    refit: Text
    does: Literal["start", "final", "item", "withdrawn"]
    weighing: _Weighing | None = None
    item: _Item | None = None
    filed: _Item | None = None
    corrects: Annotated[int, Field(strict=True)] | None = None


_NEEDED = {"start": "weighing", "final": "weighing", "item": "item", "withdrawn": "name"}
_KINDS: dict[str, type[_Payload]] = {
    "weigh-in": _WeighIn,
    UNDO: _Undo,
    "habit-setting": _Setting,
    "ledger": _Ledger,
}


def odd(kind: str, payload: object) -> str:
    """What is wrong with a payload, in words; empty where it holds, or where the kind is not known here."""
    model = _KINDS.get(kind)
    if not isinstance(payload, dict):
        return "it holds no names and values"
    if model is None:
        return ""
    try:
        model.model_validate(payload)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        return f"{'.'.join(map(str, first['loc']))}: {str(first['msg'])[:1].lower()}{str(first['msg'])[1:]}"
    if kind == "ledger" and payload.get(_NEEDED[payload["does"]]) is None:
        return f"{_NEEDED[payload['does']]}: it is missing"
    return ""


def must_hold(entry: Entry) -> None:
    """Refuse an entry that does not hold what its kind holds.

    Raises:
        LayupError: It does not; the sentence says how to take it out.
    """
    wrong = odd(entry.kind, entry.payload)
    if wrong:
        raise LayupError(
            f"entry {entry.number} of the record is no {entry.kind} as layup notes it ({wrong}). It came from outside: "
            f"`layup shop undo {entry.number}` takes it out"
        )
