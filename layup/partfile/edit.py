"""Change a part file the way a person would: one value, one table, and every other line stays as it was.

- One value:             `put(text, ("ply", 1, "angle"), "45")`; empty text takes the key out
- A new table:           `add(text, "ply", {"fabric": "carbon plain 200"})`
- A table again:         `copy(text, "ply", 1)`
- Another order:         `move(text, "ply", 3, 0)`
- Out with it:           `drop(text, "ply", 1)`
- A stack as plies:      `write_out(text)`
- A list in one line:    `spread(text, "ply")`, which all of these do first

Tables are counted from 0 in the order of the file. Values come as a person types them; what is a number and what a word
follows from the key. Nothing is judged here: the part file's own reader does that, in words.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from layup.errors import EditError
from layup.partfile.lines import blocks, header

ORDER = (
    "surface", "holes", "fasteners", "zone", "ply", "finish", "extra", "replaces", "made", "needs", "needs.local",
    "needs.bolts", "needs.laps", "needs.inserts", "shelf",
)  # fmt: skip
"""Tables in the order of a part file."""
ONCE = ("surface", "needs", "shelf", "start", "final", "limits", "target", "chord", "index")
"""Tables that stand once in a file, a part file or a refit file."""
NUMBERS = ("angle", "bevel", "count", "columns", "rows", "edge", "coats", "gores", "sides", "times", "least_plies",
           "most_plies", "least_skin", "stages", "minimum_plies", "maximum_plies", "minimum_skin_plies", "run_at_most",
           "load_factor", "of_dynamic_pressure", "fibre_volume_fraction")  # fmt: skip
"""Keys whose value is a plain number."""
_NUMBER = re.compile(r"[-+]?(0|[1-9][0-9]{0,14})(\.[0-9]{1,15})?")
SWITCHES = ("drape", "symmetric", "solid", "staggered", "control_surface", "holds_person", "double")
"""Keys that are yes or no."""
LISTS = ("start", "at", "first", "centre", "pitch", "rectangle", "or", "and", "not", "fabrics", "processes",
         "materials", "angles", "cut", "drop_rules", "keep_rules", "near", "hand")  # fmt: skip
"""Keys that may hold several, written with commas between."""
VECTORS = ("warp", "along", "forward", "up")
"""Keys that hold a direction, three numbers with commas between."""
ROWS = ("inside", "outline", "stations", "girths")
"""Keys that may hold points or measures, two or three numbers each, a semicolon between."""
SIDES = ("supports", "aboard", "section", "stiffeners", "match")
"""Keys that may be a table in one line: { left = "clamped" }."""

Key = tuple[str | int, ...]


def put(text: str, key: Key, value: str) -> str:
    """One value changed, added or, where nothing is written, taken out.

    Args:
        text: The part file.
        key: `("title",)`, `("surface", "side")`, `("ply", 1, "angle")`, `("needs", "local", 0, "zone")`.
        value: As typed.

    Raises:
        EditError: There is no such table in the file.
    """
    table, number, name = _split(key)
    text = spread(text, table)
    parts = blocks(text)
    if table == "":
        parts[0] = _set(parts[0], (), name, value)
        return "".join(parts)
    places = _places(parts, table)
    if number is None and not places:
        return add(text, table, {name: value}) if value.strip() else text
    at = number or 0
    if at >= len(places):
        raise EditError(f"there is no {table} {at + 1} in the file any more: it was changed elsewhere")
    place = places[at]
    parts[place] = _set(parts[place], tuple(table.split(".")), name, value)
    return "".join(parts)


def add(text: str, table: str, values: Mapping[str, str], after: int | None = None) -> str:
    """A new table, behind the last one of its kind, or behind one of them.

    Args:
        text: The part file.
        table: "ply", "zone", ..., "surface".
        values: Its keys, as typed; empty ones are left out. "old.name" is a key of a table below it, `[[table.old]]`.
        after: Number of the table it goes behind; -1 puts it first.
    """
    parts = blocks(spread(text, table))
    head = f"[{table}]" if table in ONCE else f"[[{table}]]"
    inside: dict[str, str] = {}
    for name, value in values.items():
        found = re.fullmatch(r"([a-z]+)\.([a-z_]+)", name)
        below, key = found.groups() if found else ("", name)
        if value.strip():
            inside[below] = inside.get(below, "") + f"{_key(key)} = {_written(key, value)}\n"
    tables = (f"\n[[{table}.{below}]]\n{lines}" for below, lines in inside.items() if below)
    return _insert(parts, head + "\n" + inside.get("", "") + "".join(tables), table, after)


def copy(text: str, table: str, number: int) -> str:
    """A table written a second time, right behind itself; its remarks stay with the first."""
    parts = blocks(spread(text, table))
    block = parts[_place(parts, table, number)]
    bare = "".join(line for line in block.splitlines(keepends=True) if not line.lstrip().startswith("#"))
    return _insert(parts, bare.strip("\n") + "\n", table, number)


def drop(text: str, table: str, number: int) -> str:
    """A table taken out, with the remarks right above it; those above the first of several stay: they head the list."""
    parts = blocks(spread(text, table))
    place = _place(parts, table, number)
    places = _places(parts, table)
    heading = _heading(parts, place) if number == 0 and len(places) > 1 else ""
    if heading:
        parts[places[1]] = _headed(heading, parts[places[1]])
    del parts[place : _end(parts, place, table)]
    return _tidy("".join(parts))


def move(text: str, table: str, number: int, to: int) -> str:
    """A table moved to another place among its kind, with its remarks; those above the first stay: they head the list.

    Args:
        text: The part file.
        table: Its kind.
        number: Which, from 0.
        to: Where it stands afterwards, from 0.
    """
    parts = blocks(spread(text, table))
    places = _places(parts, table)
    _place(parts, table, number)
    heading = _heading(parts, places[0])
    parts[places[0]] = parts[places[0]].removeprefix(heading)
    to = min(max(to, 0), len(places) - 1)
    order = list(range(len(places)))
    order.insert(to, order.pop(number))
    moved = [_ended(parts[places[one]]) for one in order]
    for place, block in zip(places, moved, strict=True):
        parts[place] = block
    parts[places[0]] = _headed(heading, parts[places[0]])
    return _tidy("".join(parts))


def _heading(parts: list[str], place: int) -> str:
    """Remarks above the first table that head the whole list; none where a heading stands above a blank line."""
    above = parts[place - 1].rstrip().splitlines() if place else []
    return "" if above and above[-1].lstrip().startswith("#") else _remarks(parts[place])[0]


def _headed(heading: str, block: str) -> str:
    """A heading over a table; a blank line keeps it from the table's own remarks."""
    return heading + ("\n" if heading and _remarks(block)[0] else "") + block


def _remarks(block: str) -> tuple[str, str]:
    """The remarks above a table, and the table."""
    lines = block.splitlines(keepends=True)
    first = next((n for n, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), len(lines))
    return "".join(lines[:first]), "".join(lines[first:])


def count(text: str, table: str) -> int:
    """How many tables of a kind the file holds."""
    return len(_places(blocks(spread(text, table)), table))


def spread(text: str, table: str) -> str:
    r"""The text with tables of a kind that stand in one line as tables of their own, its remarks above the first.

    Args:
        text: The file.
        table: "ply", "needs.bolts", "consolidation.old".

    Returns:
        The new text; the old one where there is nothing to spread, or where it would come to say something else.

    >>> spread('title = "a"\nply = [{ fabric = "b" }, { core = "c" }]\n', "ply")
    'title = "a"\n\n[[ply]]\nfabric = "b"\n\n[[ply]]\ncore = "c"\n\n'
    """
    steps, new = table.split(".") if table else [], text
    for deep, key in enumerate(steps):
        if not re.search(rf"(?m)^\s*{key}\s*=\s*[\[{{]", new):
            continue
        parts, within = blocks(new), ".".join(steps[:deep])
        for place in _places(parts, within) if within else [0]:
            parts[place] = _spread(parts[place], steps[:deep], key)
        new = "".join(parts)
    return new if new == text or _same(text, new) else text


def _spread(block: str, within: list[str], key: str) -> str:
    """One block, with the tables of a key of it behind it."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import Array, InlineTable

    try:
        document: Any = tomlkit.parse(block)
    except TOMLKitError:
        return block
    held = document
    for step in within:
        held = held[step] if isinstance(held[step], dict) else held[step][0]
    value = held.get(key)
    entries = list(value) if isinstance(value, Array) else [value] if isinstance(value, InlineTable) else []
    if not entries or not all(isinstance(entry, InlineTable) for entry in entries):
        return block
    name = ".".join([*within, key])
    head = f"[{name}]" if name in ONCE else f"[[{name}]]"
    inner = "".join(entry.as_string() for entry in entries)  # those within an entry stay there
    found = re.findall(_REMARK, value.as_string() + value.trivia.comment)
    remarks = "".join(f"{said}\n" for said in found if said and said not in inner)
    tables = (
        head + "\n" + "".join(f"{_key(k)} = {one.as_string()}\n" for k, one in entry.items()) for entry in entries
    )
    del held[key]
    return _ended(tomlkit.dumps(document)) + remarks + "\n".join(tables) + "\n"


_REMARK = r'"(?:\\.|[^"\\])*"|\'[^\']*\'|(#[^\n]*)'
"""A remark, or a text in quotes, in which a # is none."""


def _same(one: str, other: str) -> bool:
    """Whether two texts say the same."""
    try:
        return tomllib.loads(one) == tomllib.loads(other)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return False


def write_out(text: str, plies: Sequence[tuple[str, float]]) -> str:
    """A layup given as `stack` written as one table a ply.

    Args:
        text: The part file.
        plies: Fabric and angle of each. [deg]
    """
    parts = blocks(text)
    for key in ("stack", "fabric"):
        parts[0] = _set(parts[0], (), key, "")
    text = "".join(parts)
    for fabric, angle in plies:
        text = add(text, "ply", {"fabric": fabric, "angle": f"{angle:g}"})
    return text


def new_part(title: str, process: str, resin: str, surface: Mapping[str, str]) -> str:
    """The text of a part file that has no plies yet."""
    head = "".join(
        f"{key} = {_written(key, value)}\n"
        for key, value in (("title", title), ("process", process), ("resin", resin))
        if value.strip()
    )
    return add(head, "surface", surface)


def _split(key: Key) -> tuple[str, int | None, str]:
    """Table, its number (None for one that stands once) and the key in it."""
    numbers = [k for k in key if isinstance(k, int)]
    words = [str(k) for k in key if isinstance(k, str)]
    return ".".join(words[:-1]), numbers[-1] if numbers else None, words[-1]


def _places(parts: list[str], table: str) -> list[int]:
    heads = (f"[[{table}]]", f"[{table}]")
    return [n for n, block in enumerate(parts) if re.sub(r"\s", "", header(block)) in heads]


def _place(parts: list[str], table: str, number: int) -> int:
    places = _places(parts, table)
    if not 0 <= number < len(places):
        raise EditError(f"there is no {table} {number + 1} in the file any more: it was changed elsewhere")
    return places[number]


def _insert(parts: list[str], block: str, table: str, after: int | None) -> str:
    places = _places(parts, table)
    if places:
        behind = places[-1 if after is None else max(after, 0)]
        at = places[0] if after is not None and after < 0 else _end(parts, behind, table)
    else:
        later = ORDER[ORDER.index(table) + 1 :] if table in ORDER else ()
        found = [n for name in later for n in _places(parts, name)]
        at = min(found, default=len(parts))
    joined = [_ended(part) for part in parts[:at]]
    return _tidy("".join([*joined, _ended(block), *parts[at:]]))


def _end(parts: list[str], place: int, table: str) -> int:
    """Where a table ends, with the tables below it where it is one of several."""
    end = place + 1
    while table not in ONCE and end < len(parts) and header(parts[end]).startswith(f"[[{table}."):
        end += 1
    return end


def _ended(block: str) -> str:
    """A block with one blank line behind it; nothing stays nothing."""
    return block.rstrip("\n") + "\n\n" if block.strip() else ""


def _tidy(text: str) -> str:
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"


def _set(block: str, table: tuple[str, ...], name: str, value: str) -> str:
    """One key of a block; the blank lines behind it and the remarks stay."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    name = _clean(name)
    if not name:
        raise EditError("the key has no letter that can be written. Give it a name")
    try:
        tomllib.loads(block)
        document = tomlkit.parse(block)
    except (ValueError, TOMLKitError):
        raise EditError(
            "a line of this part of the file can't be read. Put it right in an editor, or take the last change back"
        ) from None
    held: Any = document
    for step in table:
        held = held[step]
        if not isinstance(held, dict):
            held = held[0]
    if not value.strip():
        if name in held:
            del held[name]
    else:
        new = tomlkit.parse(f"{_key(name)} = {_written(name, value)}")[name]
        if name in held:
            new.trivia.comment, new.trivia.comment_ws = held[name].trivia.comment, held[name].trivia.comment_ws
            held[name] = new
        else:
            return _appended(block, f"{_key(name)} = {_written(name, value)}")
    return tomlkit.dumps(document)


def _appended(block: str, line: str) -> str:
    """A line behind the last key of a block, before its blank lines."""
    body = block.rstrip()
    tail = block[len(body) :] or "\n"
    return (body + "\n" if body else "") + line + ("\n" + tail.lstrip("\n") if not tail.startswith("\n") else tail)


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)


def _written(name: str, value: str) -> str:
    """A typed value as TOML has it."""
    value = value.strip()
    if name in NUMBERS and _NUMBER.fullmatch(value):
        return value.lstrip("+")
    if name in SWITCHES and value in ("true", "false"):
        return value
    if value.startswith(("{", "[") if name in SIDES else "[") and _is_value(value):
        return value
    numbers = [[n.strip() for n in row.split(",")] for row in value.split(";")]
    if all(_NUMBER.fullmatch(n) for row in numbers for n in row):
        if name in VECTORS and len(numbers) == 1 and len(numbers[0]) == 3:
            return f"[{', '.join(numbers[0])}]"
        if name in ROWS and len(numbers) > 1:
            return "[" + ", ".join(f"[{', '.join(row)}]" for row in numbers) + "]"
    if name in LISTS:
        entries = [entry.strip() for entry in value.split(",") if entry.strip()]
        if name == "angles":
            return "[" + ", ".join(e if _NUMBER.fullmatch(e) else _quoted(e) for e in entries) + "]"
        if len(entries) > 1 or name in ("fabrics", "processes", "materials", "cut"):
            return "[" + ", ".join(_quoted(e) for e in entries) + "]"
    return _quoted(value)


def _is_value(text: str) -> bool:
    try:
        tomllib.loads(f"a = {text}")
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):  # a number of thousands of digits is a ValueError
        return False
    return "\n" not in text


def _quoted(value: str) -> str:
    import json

    return json.dumps(_clean(value), ensure_ascii=False)


def _clean(value: str) -> str:
    """A text without what no editor shows."""
    return "".join(c for c in value if c == "\t" or (c.isprintable() and c not in "\u2028\u2029")).replace("\t", " ")
