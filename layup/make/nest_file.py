"""Layouts kept in a file, so that what was cut is what the sheet shows.

A search by the clock never gives the same layout twice. `write_cut` stores every layout with its outlines; `stored`
gives back the layout of a fabric if the pieces, the roll and the gap are still the same to a tenth of a millimetre,
else None; `used` gives the outlines that are gone from a roll, to cut the next parts from what is left of it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from layup.errors import LayupError
from layup.files.reading import TABLE, Json, read_file
from layup.files.writing import write_file
from layup.make.nest import Nest, faults
from layup.make.pieces import LONGEST, Piece, Placed, Roll

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.make.cut import Cut

ENDING = ".cut.json"
_SAME = 1e-4  # [m]


def path_beside(part: Path) -> Path:
    """Where the layouts of a part lie: `door.cut.json` beside `door.toml`."""
    return part.with_name(part.stem + ENDING)


def write_cut(cut: Cut, path: Path) -> None:
    """Store every layout of a cut.

    Raises:
        LayupError: It can't be written.
    """
    data = {
        "layup": "cloth layouts, metres; x along the roll from its end, y across it",
        "quarter_rings": cut.quarter_rings,
        "face_down": cut.face_down,
        "fabrics": [
            {
                "fabric": f.fabric,
                "roll": {"width": f.nest.roll.width, "edge": f.nest.roll.edge,
                         "blocked": [_points(b) for b in f.nest.roll.blocked]},
                "gap": f.nest.gap,
                "length": f.length,
                "how": f.nest.how,
                "pieces": [
                    {"name": piece.name, "outline": _points(piece.shape), "x": place.x, "y": place.y,
                     "turned": place.turned, "face_down": place.flipped}
                    for place, piece in ((p, f.nest.pieces[p.piece]) for p in f.nest.placed)
                ],
            }
            for f in cut.fabrics
        ],
    }  # fmt: skip
    write_file(path, json.dumps(data, indent=1) + "\n")


def _points(shape: Polygon) -> list[list[list[float]]]:
    """Outer line and holes. [m]"""
    return [[[float(x), float(y)] for x, y in ring.coords[:-1]] for ring in (shape.exterior, *shape.interiors)]


def _shape(rings: Any) -> Polygon:
    """An outline as stored.

    Raises:
        ValueError: It is none: a number that is none, or off every roll; or it crosses itself.
    """
    from shapely import GEOSException, Polygon

    for ring in rings:
        for x, y in ring:
            _placed(x, y)
    try:
        shape = Polygon(rings[0], rings[1:])
    except GEOSException as error:
        raise ValueError(str(error)) from None
    if shape.is_empty or not shape.is_valid:
        raise ValueError("an outline is empty or crosses itself")
    return shape


def _placed(*values: Any) -> None:
    """Refuse what is no place on a roll."""
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= LONGEST:
            raise ValueError("no place on a roll")


def _read(path: Path) -> list[Json]:
    listed: list[Json] = _whole(path)["fabrics"]
    return listed


def _whole(path: Path) -> Json:
    try:
        data = json.loads(read_file(path, TABLE))
        listed = data["fabrics"]
    except FileNotFoundError:
        raise LayupError(f'no such file "{path}". `layup cut PART --save` writes one') from None
    except (OSError, ValueError, KeyError, TypeError):
        raise LayupError(f'"{path}" holds no layouts. `layup cut PART --save` writes them') from None
    if not isinstance(listed, list):
        raise LayupError(f'"{path}" holds no layouts. `layup cut PART --save` writes them')
    whole: Json = data
    return whole


def how_it_was_cut(path: Path) -> Json:
    """What `cut` was told when it was stored, so that it is told the same when its layouts are looked for.

    Returns:
        Arguments of `cut`: gap, edge, widths, blocked, quarter_rings, face_down.

    Raises:
        LayupError: The file can't be read.
    """
    data = _whole(path)
    try:
        listed = data["fabrics"]
        for one in listed:
            _placed(one["gap"], one["roll"]["edge"], one["roll"]["width"])
        return {
            "gap": float(listed[0]["gap"]),
            "edge": float(listed[0]["roll"]["edge"]),
            "widths": {str(one["fabric"]): float(one["roll"]["width"]) for one in listed},
            "blocked": {str(one["fabric"]): [_shape(b) for b in one["roll"]["blocked"]] for one in listed},
            "quarter_rings": bool(data["quarter_rings"]),
            "face_down": bool(data["face_down"]),
        }
    except (KeyError, TypeError, ValueError, IndexError, OverflowError, AttributeError):
        raise LayupError(f'"{path}" holds no layouts. `layup cut PART --save` writes them') from None


def stored(path: Path) -> Callable[[str, tuple[Piece, ...], Roll, float], Nest | None]:
    """A finder of stored layouts.

    Returns:
        A function of fabric, pieces, roll and gap: the stored layout if it still holds for them, else None.

    Raises:
        LayupError: The file can't be read.
    """
    by_name = {str(one.get("fabric")): one for one in _read(path) if isinstance(one, dict)}

    def find(fabric: str, pieces: tuple[Piece, ...], roll: Roll, gap: float) -> Nest | None:
        one = by_name.get(fabric)
        try:
            return None if one is None else _again(one, pieces, roll, gap)
        except (KeyError, TypeError, ValueError, IndexError, OverflowError, AttributeError):
            return None

    return find


def _again(one: Json, pieces: tuple[Piece, ...], roll: Roll, gap: float) -> Nest | None:
    kept = {entry["name"]: entry for entry in one["pieces"]}
    if set(kept) != {piece.name for piece in pieces} or abs(one["gap"] - gap) > 1e-6:
        return None
    if abs(one["roll"]["width"] - roll.width) > 1e-6 or abs(one["roll"]["edge"] - roll.edge) > 1e-6:
        return None
    placed = []
    for index, piece in enumerate(pieces):
        entry = kept[piece.name]
        _placed(entry["x"], entry["y"])
        if piece.shape.hausdorff_distance(_shape(entry["outline"])) > _SAME:
            return None
        placed.append(
            Placed(index, float(entry["x"]), float(entry["y"]), bool(entry["turned"]), bool(entry["face_down"]))
        )
    layout = Nest(pieces, roll, gap, tuple(placed), str(one["how"]))
    return None if faults(layout) else layout


def used(path: Path) -> dict[str, tuple[Polygon, ...]]:
    """What a stored cut took out of each roll.

    Returns:
        Outlines by fabric, in the frame of the roll, what was blocked then included. [m]

    Raises:
        LayupError: The file can't be read.
    """
    return _outlines(path, blocked=True)


def taken(path: Path) -> dict[str, tuple[Polygon, ...]]:
    """The pieces of a stored cut alone, as `used`."""
    return _outlines(path, blocked=False)


def _outlines(path: Path, *, blocked: bool) -> dict[str, tuple[Polygon, ...]]:
    from layup.make.pieces import lay

    gone: dict[str, tuple[Polygon, ...]] = {}
    try:
        for one in _read(path):
            shapes = [_shape(rings) for rings in one["roll"]["blocked"]] if blocked else []
            for entry in one["pieces"]:
                _placed(entry["x"], entry["y"])
                place = Placed(0, entry["x"], entry["y"], entry["turned"], entry["face_down"])
                shapes.append(lay(_shape(entry["outline"]), place))
            gone[str(one["fabric"])] = tuple(shapes)
    except (KeyError, TypeError, ValueError, IndexError, OverflowError, AttributeError):
        raise LayupError(f'"{path}" holds no layouts. `layup cut PART --save` writes them') from None
    return gone
