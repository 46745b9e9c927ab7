"""What an entry of one of our TOML files may be: a quantity with its unit, one of several keys, nothing unknown."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, TypeVar, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr, TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError

from layup.errors import UnitError
from layup.units import parse

_TWO_WAYS = re.compile(r"^\s*[-+]?[0-9.]+\s*/\s*[-+]?[0-9.]+|±|\+\s*/?\s*-")
"""0/90, 90/45, ±45, +-45; a mixed number such as 22 1/2 is one angle."""


class Entry(BaseModel):
    """Base of all tables of our files: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True, defer_build=True)
    _sound: bool = PrivateAttr(default=True)

    @property
    def sound(self) -> bool:
        """Whether it is as its model asks; else it is what `holding` could save of it."""
        return self._sound


E = TypeVar("E", bound=Entry)


@dataclass(frozen=True, slots=True)
class Written:
    """A quantity with the words it was written in, so that it can be printed as the record was kept.

    Attributes:
        si: Its value. [SI]
        text: As it stands in the file.
    """

    si: float
    text: str


@dataclass(frozen=True, slots=True)
class Of:
    """Says of a field that its words name a material of this kind."""

    kind: str


def _marks(hint: object) -> tuple[object, ...]:
    """What an annotation says beside its types, those inside it too."""
    inside = (mark for part in get_args(hint) for mark in _marks(part))
    return (*getattr(hint, "__metadata__", ()), *inside)


@cache
def named(model: type[Entry]) -> dict[str, str]:
    """Fields of a table that name materials, and of which kind."""
    said = {key: (*field.metadata, *_marks(field.annotation)) for key, field in model.model_fields.items()}
    return {key: mark.kind for key, marks in said.items() for mark in marks if isinstance(mark, Of)}


@cache
def tables(model: type[Entry]) -> dict[str, tuple[type[Entry], bool]]:
    """Fields of a table that are tables themselves: the model of each, and whether there can be several."""
    found = {}
    for key, field in model.model_fields.items():
        for one in (field.annotation, *get_args(field.annotation)):
            if isinstance(one, type) and issubclass(one, Entry):
                found[key] = one, get_origin(field.annotation) is list
    return found


@cache
def _reader_of(model: type[Entry], key: str) -> TypeAdapter[object]:
    return TypeAdapter(model.model_fields[key].rebuild_annotation(), config=ConfigDict(str_strip_whitespace=True))


def holding(model: type[E], data: object) -> E:
    """A table of a file with all of it that holds, for the checks that go on after its model found faults.

    Args:
        model: Of the table.
        data: As it stands in the file, whatever it is.

    Returns:
        The table; where it does not hold, its `sound` is false, and None stands for each value that was refused or is
        missing. A list keeps the place of an entry that does not hold.
    """
    given = data if isinstance(data, Mapping) else {}
    try:
        return model.model_validate(data)
    except ValidationError:
        pass
    values: dict[str, object] = {}
    for key, field in model.model_fields.items():
        said = field.alias or key
        inner, many = tables(model).get(key, (None, False))
        raw = given.get(said)
        if inner is not None and (many or raw is not None or field.is_required()):
            listed = raw if isinstance(raw, list) else [] if raw is None else [raw]
            values[said] = [holding(inner, one) for one in listed] if many else holding(inner, raw)
        elif said in given or field.is_required():
            try:
                values[said] = _reader_of(model, key).validate_python(raw)
            except ValidationError:
                values[said] = field.get_default(call_default_factory=True) if not field.is_required() else None
    saved = model.model_construct(None, **values)
    assert isinstance(saved, model)
    saved._sound = False
    return saved


Name = Annotated[str, Field(min_length=1, max_length=200)]
LISTED = BeforeValidator(lambda value: [value] if isinstance(value, str | dict) else value)
"""Makes a list of what stands alone where several may stand."""
Names = Annotated[tuple[Name, ...], LISTED]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Vector = tuple[Number, Number, Number]


def quantity(
    dimension: str, low: float, high: float, range_words: str, *, bare: str | None = None, gauge: bool = False
) -> BeforeValidator:
    """A field that reads a quantity into its SI value.

    Args:
        dimension: One of `layup.units.DIMENSIONS`.
        low: Least value that is believed. [SI]
        high: Largest. [SI]
        range_words: What a value outside is called in the message.
        bare: The unit of a bare number, where the name of the key says it.
        gauge: The sign is that of a gauge, and falls away: -0.8 bar of vacuum.
    """
    return BeforeValidator(_reader(dimension, low, high, range_words, bare, gauge))


def written(dimension: str, low: float, high: float, range_words: str) -> BeforeValidator:
    """A field that reads a quantity and keeps its words; arguments as for `quantity`."""
    read = _reader(dimension, low, high, range_words)

    def keep(value: object) -> Written:
        if isinstance(value, Written):
            return value
        return Written(read(value), str(value))

    return BeforeValidator(keep)


def refuse(kind: str, text: str) -> PydanticCustomError:
    """An error of a model, for its reader; raise it from a validator."""
    return PydanticCustomError(kind, "{text}", {"text": text})


def one_of(entry: Entry, keys: tuple[str, ...], what: str) -> str:
    """The one key that is given; refuses none and several."""
    given = [key for key in keys if getattr(entry, key) is not None]
    if len(given) != 1:
        said = "none is there" if not given else "there are " + " and ".join(given)
        raise refuse("one_of", f"{what} has exactly one of {', '.join(keys)}; {said}")
    return given[0]


def needs(entry: Entry, key: str, others: tuple[str, ...]) -> None:
    """Refuse `others` where the key they belong to is absent."""
    if getattr(entry, key) is None:
        for other in others:
            if getattr(entry, other) is not None:
                raise refuse("needs", f"{other} belongs to {key}, which is not there")


def two_ways(text: str) -> str:
    """What to say of an angle that names two directions: a division would make 2 degrees of 90/45.

    >>> two_ways("0/90").split(":")[0]
    '"0/90" is two directions, and one angle is due'
    """
    return (
        f'"{text}" is two directions, and one angle is due: that of the warp. Write 0 for a woven cloth that lies '
        "0/90, 45 for one that lies ±45; two plies are written one after the other"
    )


def _reader(
    dimension: str, low: float, high: float, range_words: str, bare: str | None = None, gauge: bool = False
) -> Callable[[object], float]:
    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise PydanticCustomError("quantity", 'a quantity in quotes is due, such as "25 mm"')
        if dimension == "angle" and isinstance(value, str) and _TWO_WAYS.search(value):
            raise PydanticCustomError("quantity", "{text}", {"text": two_ways(value)})
        try:
            number = parse(value, dimension, bare=bare)
        except UnitError as error:
            raise PydanticCustomError("quantity", "{text}", {"text": str(error)}) from None
        number = abs(number) if gauge else number
        if not low <= number <= high:
            text = f"{value} is negative" if number < 0 <= low else f"{value} is {range_words}"
            raise PydanticCustomError("quantity", "{text}", {"text": text})
        return number

    return read


Place = Annotated[float, quantity("length", -200.0, 200.0, "more than 200 m away: check the unit")]
