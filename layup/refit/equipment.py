"""Read an equipment list that somebody else keeps: a CSV file or a spreadsheet, one item a row.

The columns are found by their headings: the item (item, name, description, equipment), its weight (weight, mass, or
two columns, lb and oz), its arm (arm, station), or the same in German, French or Spanish. A figure carries
its unit, `3 lb 7 oz`, or its heading does:
`weight (lb)`. A bare number with no unit in sight is a fault, not a guess.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from layup.errors import Fault, FaultsError, LayupError, UnitError
from layup.files.reading import LONGEST, TABLE, read_file, too_large
from layup.units import parse

Row = tuple[int, list[str]]


@dataclass(frozen=True, slots=True)
class Listed:
    """One item of a list.

    Attributes:
        name: As it stands there.
        mass: [kg]
        mass_text: With its unit.
        arm: None where the list has none. [m]
        arm_text: With its unit, or empty.
        line: Row of the file, from 1.
    """

    name: str
    mass: float
    mass_text: str
    arm: float | None
    arm_text: str
    line: int


HEAVIEST = 50_000.0
"""Of one item. [kg]"""
FARTHEST = 200.0
"""From the datum, either way. [m]"""


def read_equipment(path: Path) -> tuple[Listed, ...]:
    """Read a list.

    Args:
        path: A file ending in .csv, .tsv, .txt or .xlsx; of a spreadsheet the first sheet counts.

    Returns:
        Its items, in the order of the file.

    Raises:
        FaultsError: It can't be read, has no such columns, or rows of it can't be read; all are named.
    """
    rows = _sheet_rows(path) if path.suffix.casefold() in (".xlsx", ".xlsm") else _text_rows(path)
    at, columns = _heading(rows, path.name)
    faults: list[Fault] = []
    found = []
    for line, cells in rows[at + 1 :]:
        name = _cell(cells, columns["name"])
        if not name or not any(cells):
            continue
        try:
            found.append(_item(line, name, cells, columns, rows[at][1]))
        except LayupError as error:
            faults.append(Fault(path.name, line, name, str(error)))
    if faults:
        raise FaultsError(faults)
    if not found:
        raise FaultsError([Fault(path.name, None, "", "no items below the headings", "One item a row.")])
    return tuple(found)


def as_entries(listed: Iterable[Listed]) -> str:
    """Items of a list as `[[removed]]` tables, to copy into a refit file and cut down to what comes out."""
    lines = []
    for entry in listed:
        lines += ["[[removed]]", f"name = {_quoted(entry.name)}", f"listed = {_quoted(entry.mass_text)}"]
        lines += [f"arm = {_quoted(entry.arm_text)}", ""] if entry.arm_text else ['arm = ""  # the list has none', ""]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    import json

    return json.dumps(text, ensure_ascii=False)


def _text_rows(path: Path) -> list[Row]:
    try:
        raw = read_file(path, TABLE)
        wide = raw[:2] in (b"\xff\xfe", b"\xfe\xff")
        text = raw.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    except OSError as error:
        raise FaultsError([Fault(str(path), None, "", f"cannot be opened ({error.strerror})")]) from None
    head = text.split("\n", 1)[0]
    mark = max(",;\t", key=head.count)
    if long := next((n for n, line in enumerate(text.splitlines(), 1) if len(line) > LONGEST), 0):
        wrong = f"this line has more than {LONGEST:,} letters"
        raise FaultsError([Fault(path.name, long, "", wrong, "Check the quotes in it.")])
    reader = csv.reader(text.splitlines(), delimiter=mark)
    rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    if mark == ",":
        _no_shifted_figures(path.name, rows)
        return rows
    if not any(_POINTED.match(cell) for _, cells in rows for cell in cells):
        return rows
    # one figure shows that the comma is this list's decimal sign: 1,234 kg is no ton there
    return [(line, [_DECIMAL.sub(r"\1.\2", cell) for cell in cells]) for line, cells in rows]


_DECIMAL = re.compile(r"^([+\-−]?\d+),(\d+)(?=\s*[a-zA-Z]*$)")
_POINTED = re.compile(r"[+\-−]?(?:0,\d+|\d{4,},\d+|\d+,(?:\d{1,2}|\d{4,}))(?=\s*[a-zA-Z]*$)")


def _no_shifted_figures(file: str, rows: list[Row]) -> None:
    """Refuses rows of more cells than there are headings: an unquoted decimal comma shifts all that follows it."""
    at = next((at for at, (_, heads) in enumerate(rows[:30]) if _columns(heads)), len(rows) - 1)
    heads = len(rows[at][1]) if rows else 0
    remedy = 'Where the comma is a decimal sign, write a point, 12.5, or put the figure in quotes, "12,5".'
    faults = [
        Fault(
            file,
            line,
            cells[0],
            f"{len(cells)} cells under {heads} headings: figures stand under the wrong ones",
            remedy,
        )
        for line, cells in rows[at + 1 :]
        if any(cells[heads:])
    ]
    if faults:
        raise FaultsError(faults)


def _sheet_rows(path: Path) -> list[Row]:
    from zipfile import BadZipFile, ZipFile

    try:
        raw = read_file(path, TABLE)
        with ZipFile(io.BytesIO(raw)) as packed:
            whole = sum(entry.file_size for entry in packed.infolist())
        if whole > 4 * TABLE:
            raise too_large(whole, 4 * TABLE)
    except (BadZipFile, NotImplementedError, ValueError, OverflowError):  # or of a version that no spreadsheet has
        raise FaultsError(
            [Fault(path.name, None, "", "this is not a spreadsheet", "Save it as .xlsx or .csv.")]
        ) from None
    except OSError as error:
        raise FaultsError([Fault(str(path), None, "", f"cannot be opened ({error.strerror})")]) from None
    try:
        return _cells(raw)
    except Exception as error:  # whatever the library makes of a damaged sheet
        wrong = f"this spreadsheet is damaged ({type(error).__name__})"
        raise FaultsError([Fault(path.name, None, "", wrong, "Open it, and save it again as .xlsx or .csv.")]) from None


def _cells(raw: bytes) -> list[Row]:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
    sheet = book.worksheets[0]
    sheet.reset_dimensions()  # what the file says of its own size can be stale: rows beyond it would be lost
    rows = [
        (
            number,
            [
                "" if value is None else f"{value:.12g}" if isinstance(value, float) else str(value).strip()
                for value in row
            ],
        )
        for number, row in enumerate(sheet.iter_rows(values_only=True), start=1)
    ]
    book.close()
    return rows


_HEADINGS = {
    "name": r"item|name|description|equipment|part|bezeichnung|benennung|gegenstand|teil|désignation|designation|"
    r"article|équipement|equipement|descripción|descripcion|artículo|articulo|equipo",
    "mass": r"weight|mass|wt|gewicht|masse|poids|peso|masa",
    "pounds": r"lbs?|pounds",
    "ounces": r"oz|ounces",
    "arm": r"arm|station|sta|hebelarm|bras|brazo",
}


def _heading(rows: list[Row], file: str) -> tuple[int, dict[str, int]]:
    """Row of the headings, and the column of each figure."""
    for at, (_, cells) in enumerate(rows[:30]):
        if columns := _columns(cells):
            return at, columns
    remedy = "Head the columns: item, weight (lb), arm (in)."
    raise FaultsError([Fault(file, 1, "", "no row of headings with an item and its weight", remedy)])


def _columns(cells: list[str]) -> dict[str, int]:
    """The column of each figure in a row of headings; none where it is no such row."""
    columns: dict[str, int] = {}
    for number, cell in enumerate(cells):
        for key, pattern in _HEADINGS.items():
            if key not in columns and re.match(rf"(?:{pattern})\b", cell.casefold()):
                columns[key] = number
                break
    return columns if "name" in columns and ("mass" in columns or "pounds" in columns) else {}


def _cell(cells: list[str], column: int | None) -> str:
    return cells[column] if column is not None and column < len(cells) else ""


def _unit(heading: str) -> str | None:
    """The unit a heading names: `weight (lb)`, `Arm, in`, `weight lb`."""
    match = re.search(r"[(\[,]\s*([^)\]]+?)\s*[)\]]?$", heading) or re.search(r"\s(\S+)$", heading.strip())
    return match[1].strip() if match else None


def _item(line: int, name: str, cells: list[str], columns: dict[str, int], heads: list[str]) -> Listed:
    if "mass" in columns:
        text, mass = _figure(_cell(cells, columns["mass"]), _cell(heads, columns["mass"]), "mass")
    else:
        pounds, ounces = _cell(cells, columns["pounds"]) or "0", _cell(cells, columns.get("ounces")) or "0"
        text = " ".join(w for w, n in ((f"{pounds} lb", pounds), (f"{ounces} oz", ounces)) if n != "0") or "0 lb"
        mass = parse(text, "mass")
    if not 0.0 <= mass <= HEAVIEST:
        raise UnitError(f'a weight of "{text}" can\'t be. Write what the item weighs, without a sign')
    arm_cell = _cell(cells, columns.get("arm"))
    if not arm_cell:
        return Listed(name, mass, text, None, "", line)
    arm_text, arm = _figure(arm_cell, _cell(heads, columns.get("arm")), "length")
    if not abs(arm) <= FARTHEST:
        raise UnitError(f'an arm of "{arm_text}" can\'t be. Check its unit, in the heading or in the row')
    return Listed(name, mass, text, arm, arm_text, line)


def _figure(cell: str, heading: str, dimension: str) -> tuple[str, float]:
    if re.fullmatch(r"[+\-−]?(nan|inf(inity)?|[\d.,]+[eE][+\-]?\d+)", cell.casefold()):
        raise UnitError(f'"{cell}" is no plain number. Write it out: 12.5')
    bare = re.fullmatch(r"[+\-−]?[\d.,/ ]+", cell) is not None
    unit = _unit(heading) if bare else None
    text = f"{cell} {unit}" if unit else cell
    return text, parse(text, dimension)
