"""Rolls that are not as the tables say: another width, a defect, something cut out already."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from layup.cloth.practice import cut_length, within
from layup.errors import LayupError, UnitError, nearest
from layup.make.pieces import LONGEST
from layup.units import parse

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.partfile.job import Job


def _cloth_and_rest(text: str, example: str) -> tuple[str, str]:
    cloth, equals, rest = text.partition("=")
    if not (equals and cloth.strip() and rest.strip()):
        raise UnitError(f'"{text}" can\'t be read: write {example}')
    return cloth.strip(), rest.strip()


def check_cloths(told: Iterable[str], jobs: Sequence[Job]) -> None:
    """Refuse a roll or a defect of a cloth that no ply is made of: it would change nothing.

    Args:
        told: `glass plain 200=1 m` and the like, as written.
        jobs: The parts to cut.

    Raises:
        UnitError: A text that can't be read.
        LayupError: A cloth that isn't in the layup; the nearest that is, is named.
    """
    laid = list(dict.fromkeys(ply.fabric for job in jobs for ply in job.part.plies() if ply.fabric is not None))
    for text in told:
        cloth, _ = _cloth_and_rest(text, '"glass plain 200=1 m"')
        if cloth not in laid:
            hint = nearest(cloth, laid) or "Cloths in the layup: " + ", ".join(f'"{name}"' for name in laid) + "."
            raise LayupError(f'no ply here is of "{cloth}". {hint}')


def read_widths(rolls: Iterable[str]) -> dict[str, float]:
    """Widths of rolls by cloth, from `glass plain 200=1 m`.

    Raises:
        UnitError: A text that can't be read.
    """
    found = {}
    for text in rolls:
        cloth, width = _cloth_and_rest(text, '"glass plain 200=1 m"')
        found[cloth] = within(parse(width, "length"), 0.02, 5.0, f'a roll of "{width}"', "20 mm to 5 m wide")
    return found


def read_paid(used_files: Iterable[Path]) -> dict[str, float]:
    """Length of each roll that stored cuts took, by cloth. [m]

    Raises:
        LayupError: A file that holds no layouts.
    """
    from layup.make.nest_file import taken

    found: dict[str, float] = {}
    for path in used_files:
        for cloth, shapes in taken(path).items():
            reach = max((shape.bounds[2] for shape in shapes), default=0.0)
            found[cloth] = max(found.get(cloth, 0.0), cut_length(reach))
    return found


def read_blocked(defects: Iterable[str], used_files: Iterable[Path]) -> dict[str, list[Polygon]]:
    """Bad places and what stored cuts took, by cloth, in the frame of the roll.

    Args:
        defects: `glass plain 200=1.2 m, 300 mm, 80 mm, 60 mm`: from the end, from the edge, along, across.
        used_files: Stored cuts.

    Returns:
        Outlines by cloth. [m]

    Raises:
        UnitError: A text that can't be read.
        LayupError: A file that holds no layouts.
    """
    import shapely

    from layup.make.nest_file import used

    found: dict[str, list[Polygon]] = {}
    for text in defects:
        example = '"glass plain 200=1.2 m, 300 mm, 80 mm, 60 mm": from the end, from the edge, along, across'
        cloth, rest = _cloth_and_rest(text, example)
        sides = rest.split(",")
        if len(sides) != 4:
            raise UnitError(f'"{text}" does not have four lengths: write {example}')
        x, y, along, across = (parse(side.strip(), "length", bare=None) for side in sides)
        if not (along > 0 and across > 0):
            raise UnitError(f'"{text}" has no size: write {example}')
        for value, said in zip((x, y, along, across), sides, strict=True):
            within(value, 0.0, LONGEST, f'a bad place at "{said.strip()}"', "on the roll, 0 to 300 m from its end")
        found.setdefault(cloth, []).append(shapely.box(x, y, x + along, y + across))
    for path in used_files:
        for cloth, shapes in used(path).items():
            found.setdefault(cloth, []).extend(shapes)
    return found
