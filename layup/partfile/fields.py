"""What an entry of one of our TOML files may be: a quantity with its unit, one of several keys, nothing unknown."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from pydantic import BaseModel, BeforeValidator, ConfigDict
from pydantic_core import PydanticCustomError

from layup.errors import UnitError
from layup.units import parse

_TWO_WAYS = re.compile(r"^\s*[-+]?[0-9.]+\s*/\s*[-+]?[0-9.]+|±|\+\s*/?\s*-")
"""0/90, 90/45, ±45, +-45; a mixed number such as 22 1/2 is one angle."""


class Entry(BaseModel):
    """Base of all tables of our files: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True, defer_build=True)


@dataclass(frozen=True, slots=True)
class Written:
    """A quantity with the words it was written in, so that it can be printed as the record was kept.

    Attributes:
        si: Its value. [SI]
        text: As it stands in the file.
    """

    si: float
    text: str


def quantity(dimension: str, low: float, high: float, range_words: str) -> BeforeValidator:
    """A field that reads a quantity into its SI value.

    Args:
        dimension: One of `layup.units.DIMENSIONS`.
        low: Least value that is believed. [SI]
        high: Largest. [SI]
        range_words: What a value outside is called in the message.

    Returns:
        The validator.
    """
    return BeforeValidator(_reader(dimension, low, high, range_words))


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


def _reader(dimension: str, low: float, high: float, range_words: str) -> Callable[[object], float]:
    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise PydanticCustomError("quantity", 'a quantity in quotes is due, such as "25 mm"')
        if dimension == "angle" and isinstance(value, str) and _TWO_WAYS.search(value):
            raise PydanticCustomError("quantity", "{text}", {"text": two_ways(value)})
        try:
            number = parse(value, dimension)
        except UnitError as error:
            raise PydanticCustomError("quantity", "{text}", {"text": str(error)}) from None
        if not low <= number <= high:
            text = f"{value} is negative" if number < 0 <= low else f"{value} is {range_words}"
            raise PydanticCustomError("quantity", "{text}", {"text": text})
        return number

    return read
