"""A CSV of points measured round a part: x and y in columns, one loop after another.

    Points to a drawing                       read_points("rib.csv", unit="mm")
    Any table of numbers, for its columns     read_table("rib.csv", columns)

    x [mm], y [mm]          the header may carry the unit; without a header the columns are x, y
    0, 0
    620, 0
    620, 380
                            a blank line starts the next loop; or a column named loop says which one
    100, 100
    ...

The separator is a comma, a semicolon, a tab or spaces; a line that starts with # is a remark. With a semicolon or a
tab a decimal comma is read as such. Each loop closes by itself. A loop inside another is a cut-out.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from layup.errors import SurfaceError, UnitError
from layup.files.drawing import Drawing, assemble
from layup.files.reading import read_file
from layup.shape.curves import Curve, Line2
from layup.units import parse
from layup.words import plain

LARGEST = 50_000_000
"""A file with more bytes is refused. [bytes]"""
_HEAD = re.compile(r"\s*(?P<word>[^\[\](),;]*?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table.

    Attributes:
        line: Its number in the file, from 1.
        values: Numbers by column, as written.
        words: Texts by column.
        block: How many blank lines went before, counting several in a row as one. [-]
    """

    line: int
    values: dict[str, float]
    words: dict[str, str]
    block: int


@dataclass(frozen=True, slots=True)
class Table:
    """A table of numbers; `unit` is what its header says, "" if it says nothing."""

    rows: tuple[Row, ...]
    columns: tuple[str, ...]
    unit: str


def read_table(
    path: str | Path,
    columns: Mapping[str, tuple[str, ...]],
    *,
    needed: tuple[str, ...],
    words: tuple[str, ...] = (),
) -> Table:
    """Read a CSV of numbers.

    Args:
        path: The file; errors show it as given, with the line.
        columns: Columns that are known, each with the other names it goes by; without a header they are taken
            in this order.
        needed: Columns that must be there.
        words: Columns that hold texts.

    Raises:
        SurfaceError: missing, not a text, a column or number missing, two units, a number that can't be read.
    """
    name = str(path)
    lines = _lines(Path(path), name)
    separator = _separator(lines)
    heads: list[str] | None = None
    unit = ""
    rows: list[Row] = []
    block, blank = 0, False
    for number, line in lines:
        cells = _split(line, separator)
        if not any(cells):
            blank = bool(rows)
            continue
        if heads is None:
            heads, unit, is_head = _header(cells, columns, needed, name, number)
            if is_head:
                continue
        if blank:
            block, blank = block + 1, False
        rows.append(_row(cells, heads, words, needed, block=block, separator=separator, where=(name, number)))
    if heads is None or not rows:
        raise SurfaceError(f"{name}: there are no numbers in it", f"Write a header, {', '.join(needed)}, then rows")
    return Table(tuple(rows), tuple(heads), unit)


def _lines(path: Path, name: str) -> list[tuple[int, str]]:
    try:
        if path.stat().st_size > LARGEST:
            raise SurfaceError(f"{name}: more than {LARGEST / 1e6:.0f} MB", "A list of points is far smaller")
        data = read_file(path, LARGEST)
    except OSError as problem:
        raise SurfaceError(f"{name}: can't be read ({problem.strerror})", "Check the name") from None
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\x00" in text:
        raise SurfaceError(f"{name}: not a text file", "Save the points as CSV")
    numbered = enumerate(re.split(r"\r\n|\r|\n", text), 1)
    return [(number, line) for number, line in numbered if not line.lstrip().startswith("#")]


def _separator(lines: list[tuple[int, str]]) -> str:
    first = [line for _, line in lines if line.strip(" \t,;")][:20]
    for mark in (";", "\t", ","):
        if first and mark in first[0] and 2 * sum(mark in line for line in first) > len(first):
            return mark
    return " "


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.replace("\t", " ").split()
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return [cell.strip() for cell in line.split(separator)]


def _header(
    cells: list[str], columns: Mapping[str, tuple[str, ...]], needed: tuple[str, ...], name: str, number: int
) -> tuple[list[str], str, bool]:
    """Names of the columns, the unit they carry, and whether the line is a header at all."""
    if _NUMBER.fullmatch(cells[0].replace(",", ".")):
        return list(columns)[: max(len(cells), len(needed))], "", False
    known = {other: word for word, others in columns.items() for other in (word, *others)}
    if len(cells) == 2 * len(needed) and all(re.fullmatch(r"[\[(].*[\])]", c) for c in cells[1::2]):
        cells = [f"{a} {b}" for a, b in zip(cells[::2], cells[1::2], strict=True)]  # split at spaces
    heads, units = [], {}
    for cell in cells:
        match = _HEAD.fullmatch(cell)
        word = match["word"].casefold() if match else cell.casefold()
        heads.append(known.get(word, word))
        if match and match["unit"] and heads[-1] in columns:
            units[heads[-1]] = match["unit"]
    missing = [word for word in needed if word not in heads]
    if missing:
        raise SurfaceError(
            f"{name}: line {number}: no column {' and no column '.join(missing)}; it has {', '.join(cells)[:120]}",
            f"Name the columns in the first line: {', '.join(needed)}",
        )
    twice = [word for word in needed if heads.count(word) > 1]
    if twice:
        raise SurfaceError(f"{name}: line {number}: two columns {twice[0]}", "Keep one of them")
    lengths = set(units.values())
    if len(lengths) > 1:
        raise SurfaceError(
            f"{name}: line {number}: the columns are in different units, {' and '.join(sorted(lengths))}",
            "Write all of them in one unit",
        )
    return heads, lengths.pop() if lengths else "", True


def _row(
    cells: list[str], heads: list[str], words: tuple[str, ...], needed: tuple[str, ...], *,
    separator: str, where: tuple[str, int], block: int,
) -> Row:  # fmt: skip
    name, number = where
    texts = {head: cell for head, cell in zip(heads, cells, strict=False) if head in words}
    values = {}
    for head, cell in zip(heads, cells, strict=False):
        if head in words or not cell:
            continue
        plain = cell.replace(",", ".") if separator != "," and cell.count(",") == 1 and "." not in cell else cell
        if not _NUMBER.fullmatch(plain):
            if head not in needed:
                texts[head] = cell
                continue
            hint = f"Write a plain number in column {head}, its unit in the header: {head} [mm]"
            raise SurfaceError(f'{name}: line {number}: "{cell[:40]}" is not a number', hint)
        values[head] = float(plain)
        if not math.isfinite(values[head]):
            raise SurfaceError(f'{name}: line {number}: "{cell[:40]}" is no finite number', "Measure it again")
    for head in needed:
        if head not in values:
            raise SurfaceError(f"{name}: line {number}: no number for {head}", f"Each line needs {', '.join(needed)}")
    return Row(number, values, texts, block)


def unit_of(table: Table, name: str) -> tuple[float | None, str]:
    """The unit a table's header states and where it states it. [m]

    Raises:
        SurfaceError: a unit that is no length.
    """
    if not table.unit:
        return None, "its header states none"
    try:
        return parse(f"1 {table.unit}", "length"), f"{table.unit}, the header of the file says {table.unit}"
    except UnitError:
        raise SurfaceError(
            f'{name}: the header\'s unit "{table.unit}" is not a unit of length', "Write x [mm], y [mm]"
        ) from None


def read_points(path: str | Path, *, unit: str | None = None) -> Drawing:
    """Read loops of points.

    Args:
        path: The file.
        unit: Unit of the numbers, needed where the header states none.

    Returns:
        The loops, on layers named by the `loop` column where it holds words.

    Raises:
        SurfaceError: as `read_table`; no unit (with the three readings), a loop of fewer than three points, a line
            that crosses itself, naming the lines of the file.
    """
    name = str(path)
    table = read_table(path, {"x": (), "y": (), "z": (), "loop": ("layer", "name")}, needed=("x", "y"), words=("loop",))
    heights = [row.values["z"] for row in table.rows if "z" in row.values]
    if heights:
        wide = max(abs(row.values[k] - table.rows[0].values[k]) for row in table.rows for k in ("x", "y"))
        if max(heights) - min(heights) > 1e-3 * wide:
            raise SurfaceError(
                f"{name}: the points differ in z by {plain(max(heights) - min(heights), 4)}: no flat outline",
                "Give a mesh of the surface, or leave z out for the plan view",
            )
    loops: dict[tuple[str, int], list[Row]] = {}
    named = "loop" in table.columns
    for row in table.rows:
        loops.setdefault((row.words.get("loop", ""), 0) if named else ("", row.block), []).append(row)
    curves = []
    for (word, _), rows in loops.items():
        points = np.array([(row.values["x"], row.values["y"]) for row in rows], dtype=np.float64)
        _check(points, rows, word, name)
        layer = "" if _NUMBER.fullmatch(word) else word
        curves.append(Curve(layer, partial(_as_measured, points), True))
    stated, reason = unit_of(table, name)
    return assemble(curves, name, stated=stated, reason=reason, given=unit)


def _as_measured(points: Line2, sagitta: float) -> Line2:
    """The points themselves, however fine a curve is asked for."""
    return points


def _check(points: Line2, rows: list[Row], word: str, name: str) -> None:
    """Refuse a loop of too few points or one that crosses itself, by the lines of the file."""
    import shapely

    which = f'loop "{word}"' if word else f"the loop that starts at line {rows[0].line}"
    if len(np.unique(points, axis=0)) < 3:
        raise SurfaceError(
            f"{name}: line {rows[0].line}: {which} has {len(points)} points and encloses nothing",
            "A loop needs at least three different points; a blank line starts a new loop",
        )
    shape = shapely.Polygon(points)
    if shapely.is_valid(shape):
        return
    place = str(shapely.is_valid_reason(shape)).rpartition("[")[2].rstrip("]").split()
    at = np.array([float(v) for v in place[:2]])
    ends = np.roll(points, -1, axis=0)
    along = ends - points
    share = np.clip(((at - points) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-300), 0.0, 1.0)
    away = np.hypot(*(points + share[:, None] * along - at).T)
    near = np.flatnonzero(away <= away.min() + 1e-9 * float(np.ptp(points, axis=0).max()))[:2]
    sides = " and ".join(f"line {rows[k].line} to {rows[(k + 1) % len(rows)].line}" for k in near)
    raise SurfaceError(
        f"{name}: {which} crosses or touches itself at ({plain(at[0], 6)}, {plain(at[1], 6)}), {sides}",
        "Put the points in order round the edge; a blank line starts a new loop",
    )
