"""The `side` of a part file: which side of a closed solid is laid up."""

from __future__ import annotations

import re
from dataclasses import dataclass

from layup.errors import SurfaceError
from layup.shape.measure import Vector
from layup.shape.plan import PLACE, parse_place

CHOICES = (
    'side = "outer", "inner", "facing (0, 0, 1)" or "touching (120 mm, 0 mm, 30 mm)"; '
    'or side = "all" where every face is laid up'
)


@dataclass(frozen=True, slots=True)
class Side:
    """A side that was asked for.

    Attributes:
        kind: "outer", "inner", "facing", "touching" or "all".
        vector: Unit direction of facing [-] or point of touching [m]; (0, 0, 0) for the others.
        text: As it was written.
        more: Further points of touching; all faces that any of them names are meant. [m]
        crease: Angle at an edge beyond which a face ends there; None for the usual one. [deg]
    """

    kind: str
    vector: Vector
    text: str
    more: tuple[Vector, ...] = ()
    crease: float | None = None

    @property
    def words(self) -> str:
        """The side in a sentence: "outer side", "side facing (0, 0, 1)"."""
        return f"{self.text} side" if self.kind in ("outer", "inner") else f"side {self.text}"


def parse_side(text: str) -> Side:
    """Read the text of `side`.

    >>> parse_side("facing (0, 0, 2)").vector
    (0.0, 0.0, 1.0)

    Raises:
        SurfaceError: a text that can't be read, with the choices.
    """
    plain = " ".join(text.split())
    body, _, limit = plain.partition(" crease ")
    crease = _crease(limit, plain) if limit else None
    body = body.rstrip(" ,")
    word = body.split("(")[0].strip().casefold()
    if word in ("outer", "inner", "all") and "(" not in body and crease is None:
        return Side(word, (0.0, 0.0, 0.0), plain)
    if word == "facing":
        x, y, z = _direction(body)
        return Side(word, (x, y, z), plain, crease=crease)
    if word == "touching":
        first, *more = (parse_place(place, "side") for place in re.findall(r"\([^)]*\)?", body) or [body])
        return Side(word, first, plain, tuple(more), crease)
    raise SurfaceError(f'side "{plain}" can\'t be read', f"Write {CHOICES}")


def _crease(limit: str, text: str) -> float:
    """The angle of "touching (...) crease 60 deg". [deg]"""
    from layup.errors import UnitError
    from layup.units import parse

    try:
        angle = parse(limit, "angle", bare="deg")
    except UnitError as problem:
        raise SurfaceError(f'side "{text}": {problem}', 'Write "touching (x, y, z) crease 60 deg"') from None
    if not 1.0 <= angle <= 120.0:
        raise SurfaceError(
            f'side "{text}": a crease of {angle:.4g} degrees can\'t be', "Write one of 1 to 120 deg; 40 deg is usual"
        )
    return angle


def _direction(text: str) -> Vector:
    match = PLACE.search(text)
    try:
        x, y, z = (float(word) for word in (match.group(1) if match else "").split(","))
    except ValueError:
        raise SurfaceError(f'side "{text}": a direction is three numbers', 'Write "facing (0, 0, 1)"') from None
    size = (x * x + y * y + z * z) ** 0.5
    if not 0.0 < size < float("inf"):
        raise SurfaceError(f'side "{text}": the direction has no length', 'Write "facing (0, 0, 1)"')
    return (x / size, y / size, z / size)
