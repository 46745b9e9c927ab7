"""Read one of our TOML files, and say in the words of the shop what is wrong with it and where.

`read_toml` gives the data and the line of every key. `Form` turns the findings of a pydantic model into faults with a
place ("ply 2, fabric ..."), a line and a remedy. The part file and the refit file both report this way.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from pydantic import ValidationError

from layup.errors import Fault, FaultsError, nearest
from layup.files.reading import TEXT, read_file
from layup.partfile.fields import Entry, tables
from layup.partfile.lines import Path as KeyPath
from layup.partfile.lines import key_lines, line_of, open_after, syntax_place

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails


class Tells(Protocol):
    """Notes a fault at a key: what is wrong, and what to write instead."""

    def __call__(self, path: KeyPath, wrong: str, remedy: str = "", /) -> None:
        """Note it."""


MANY = 10
"""A list that may hold more is one of tables; a shorter one has a number of entries that is due. [-]"""


@dataclass
class Report:
    """The faults of one file, as they are found.

    Attributes:
        file: Its name, as faults show it.
        data: What stands in it.
        lines: Line of every key.
        faults: Found so far.
    """

    file: str
    data: Mapping[str, object]
    lines: dict[KeyPath, int]
    faults: list[Fault] = dataclass_field(default_factory=list)

    def fault(self, path: KeyPath, wrong: str, remedy: str = "") -> None:
        """Note a fault at a key."""
        line = line_of(path, self.lines)
        self.faults.append(Fault(self.file, line, place_words(path, self.data), wrong.rstrip("."), remedy))

    def check(self) -> None:
        """Raise what was found.

        Raises:
            FaultsError: There is at least one fault.
        """
        if self.faults:
            raise FaultsError(self.faults)


def read_toml(
    path: Path, kind: str, example: str, text: str | None = None
) -> tuple[dict[str, object], dict[KeyPath, int]]:
    """Read a file.

    Args:
        path: Where it is.
        kind: What it is called: "part file".
        example: A name such a file might have: "door.toml".
        text: What stands in it, where that is at hand already.

    Returns:
        Its data, and the line of every key.

    Raises:
        FaultsError: There is no such file, or its text is not TOML.
    """
    if path.suffix.casefold() in _NOT_TEXT and path.is_file():
        wrong = f"this is no {kind}"
        raise FaultsError(
            [Fault(path.name, None, "", wrong, f"A {kind} is a text file such as {example}, which names this one.")]
        )
    text = _text_of(path, kind, example) if text is None else text.removeprefix("\ufeff").replace("\r\n", "\n")
    try:
        return tomllib.loads(text), key_lines(text)
    except tomllib.TOMLDecodeError as error:
        line, said = syntax_place(error, text)
        remedy = _syntax_remedy(text, line)
        raise FaultsError([Fault(path.name, line, "", f"this line can't be read ({said})", remedy)]) from None
    except ValueError:  # of thousands of digits, which Python does not read
        raise FaultsError([Fault(path.name, None, "", "a number in it has too many digits")]) from None
    except RecursionError:
        wrong = "it has lists within lists without end"
        raise FaultsError([Fault(path.name, None, "", wrong, f"Write it as in {example}, a pair a point")]) from None


_NOT_TEXT = (
    ".stl",
    ".obj",
    ".ply",
    ".off",
    ".glb",
    ".gltf",
    ".3mf",
    ".step",
    ".stp",
    ".dxf",
    ".svg",
    ".csv",
    ".xlsx",
    ".pdf",
)


def _text_of(path: Path, kind: str, example: str) -> str:
    if path.is_dir():
        there = ", ".join(sorted(p.name for p in path.glob("*.toml"))[:6])
        remedy = f"Name the {kind} in it: {there}." if there else f"Name the {kind}: {example}."
        raise FaultsError([Fault(str(path), None, "", f"this is a folder, not a {kind}", remedy)])
    try:
        return read_file(path, TEXT).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except FileNotFoundError:
        others = [p.name for p in path.parent.glob("*.toml")] if path.parent.is_dir() else []
        remedy = nearest(path.name, others) or "Check the name and the folder."
        raise FaultsError([Fault(str(path), None, "", "no such file", remedy)]) from None
    except UnicodeDecodeError:
        raise FaultsError([_not_utf8(path)]) from None
    except OSError as error:
        raise FaultsError([Fault(str(path), None, "", f"cannot be opened ({error.strerror})")]) from None


def _not_utf8(path: Path) -> Fault:
    """Which line of a file is not UTF-8."""
    number = 0
    for line in read_file(path, TEXT).split(b"\n"):
        number += 1
        try:
            line.decode("utf-8")
        except UnicodeDecodeError:
            break
    return Fault(path.name, number, "", "a letter here is not in UTF-8", "Save the file from the editor as UTF-8.")


def _unclosed(text: str, line: int) -> int | None:
    """The line where a list begins that is still open at the end of the line before `line`; None if none is."""
    state, depth, start = "", 0, 0
    for number, row in enumerate(text.split("\n")[: line - 1], start=1):
        value = row if state or depth else row.partition("=")[2]
        before = depth
        state, depth = open_after(value, state, depth)
        if before <= 0 < depth:
            start = number
    return start if depth > 0 else None


def _syntax_remedy(text: str, line: int) -> str:
    lines = text.split("\n")
    there = lines[line - 1].strip() if 0 < line <= len(lines) else ""
    begun = _unclosed(text, line)
    if begun is not None:
        return f'The list that begins on line {begun} is not closed: a "]" is missing.'
    if ("“" in there) or ("”" in there):
        return 'Use straight quotes: "like this".'
    if "=" in there:
        key, _, value = there.partition("=")
        value = value.split("#")[0].strip()
        if value and value[0] not in "\"'[{" and not value.replace(".", "", 1).replace("-", "", 1).isdigit():
            return f'A text or a quantity stands in quotes: {key.strip()} = "{value.strip(chr(34))}".'
        if "\\" in value:
            return 'Write folders with forward slashes: "parts/door.stl".'
        if value.count('"') % 2:
            return 'A quote is missing. An inch mark inside quotes is written in: "1 in".'
        return "Check the quotes and brackets; a key may stand only once in its table."
    if there.startswith("[") and there.endswith("]") and lines[: line - 1].count(there):
        return f"{there} may stand once; each of several is written [{there}]."
    if there.startswith("["):
        return "A table's name stands in brackets: [surface], or [[ply]] for each of several."
    return 'A line is a key, an equals sign and a value: process = "vacuum bag".'


def place_words(path: KeyPath, data: object) -> str:
    """`ply 2, fabric "carbon plane 200"` from the path of a key and the data."""
    words: list[str] = []
    here: object = data
    for step in path:
        if isinstance(here, Mapping) and isinstance(step, str):
            here = here.get(step)
            words.append(step)
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            here = here[step]
            if words:
                words[-1] += f" {step + 1}" if isinstance(here, Mapping) else f", entry {step + 1}:"
        else:
            if isinstance(step, str):
                words.append(step)
            break
    text = ", ".join(words)
    if isinstance(here, str) and text:
        text += f' "{here}"'
    elif isinstance(here, int | float) and not isinstance(here, bool) and text:
        text += f" {here}"
    return text


_LIMITS = {
    "greater_than_equal": ("Write {} or more.", "ge"),
    "greater_than": ("Write more than {}.", "gt"),
    "less_than_equal": ("Write {} or less.", "le"),
    "finite_number": ("Write a number.", ""),
}
_DATE = 'Write the date as year-month-day: "2025-11-22".'
_SHAPES = {
    "string_type": ("this is not a text", "Write it in quotes."),
    "list_type": ("this is not a list", "Put it in square brackets."),
    "tuple_type": ("this is not a list", "Write a list in square brackets."),
    "dict_type": ("this is no pair of names and values", 'Write it in braces: { "pilot" = "180 lb" }.'),
    "model_type": ("this is not a table", "Write it as a table of its own, with its name in brackets."),
    "int_type": ("this is not a whole number", "Write it without quotes and without a point."),
    "int_from_float": ("this is not a whole number", "Write it without a point."),
    "float_type": ("this is not a number", "Write a number without quotes."),
    "bool_type": ("this is neither true nor false", "Write true or false, without quotes."),
    "date_from_datetime_parsing": ("this is not a date", _DATE),
    "date_parsing": ("this is not a date", _DATE),
    "string_too_short": ("this is empty", "Write something between the quotes."),
}


OTHERWISE: dict[str, tuple[str, ...]] = {
    "cloth": ("fabric",),
    "material": ("fabric", "sheet", "covering", "core"),
    "metal": ("sheet",),
    "gauge": ("thickness",),
    "layers": ("count",),
    "plies": ("count",),
    "quantity": ("count", "times"),
    "orientation": ("angle",),
    "direction": ("angle", "warp"),
    "bias": ("angle",),
    "where": ("zone",),
    "mass": ("weighed", "made"),
    "weight": ("mass", "weighed"),
    "size": ("rectangle", "diameter"),
    "mold": ("mould",),
    "fiber_volume_fraction": ("fibre_volume_fraction",),
    "name": ("title",),
    "title": ("name",),
}
"""Words a builder writes, and the keys that say it: by their letters others are nearer."""


@dataclass(frozen=True)
class Form:
    """How the findings of one model are told.

    Attributes:
        model: The model of the whole file.
        missing: What to write where a key is missing, by key.
    """

    model: type[Entry]
    missing: Mapping[str, str]

    def tell(self, error: ValidationError, fault: Tells) -> None:
        """Turn every finding of the model into a fault.

        Args:
            error: What the model found.
            fault: Notes a fault: path, what is wrong, remedy.
        """
        for one in error.errors(include_url=False):
            self._tell(one, fault)

    def _tell(self, one: ErrorDetails, fault: Tells) -> None:
        kind: str = one["type"]
        path: KeyPath = tuple(one["loc"])
        if kind == "extra_forbidden":
            self._unknown(one, path, fault)
        elif kind == "too_long" and one["ctx"]["max_length"] > MANY:
            fault(
                path, f"there are {one['ctx']['actual_length']} of them", f"Up to {one['ctx']['max_length']} are read"
            )
        elif kind in ("too_long", "too_short") or (kind == "missing" and isinstance(path[-1], int)):
            at = path[:-1] if isinstance(path[-1], int) else path
            fault(
                at,
                "it has the wrong number of entries",
                "Write as many as the page docs/part-file.md shows, each in quotes.",
            )
        elif kind == "missing":
            key = str(path[-1])
            fault(path, "it is missing", self.missing.get(key, f"Add {key}."))
        elif kind == "literal_error":
            fault(path, "this is not one of the choices", f"Write {one['ctx']['expected']}.")
        elif kind in _LIMITS:
            words, limit = _LIMITS[kind]
            fault(path, "it is out of range", words.format(one["ctx"][limit]) if limit else words)
        elif kind in _SHAPES:
            wrong, remedy = _SHAPES[kind]
            if kind == "list_type" and len(path) == 1 and tables(self.model).get(str(path[0]), (None, False))[1]:
                fault(path, f"there can be several of these: write [[{path[0]}]] above each")
            else:
                fault(path, wrong, remedy)
        else:
            fault(path, str(one["msg"]))

    def _unknown(self, one: ErrorDetails, path: KeyPath, fault: Tells) -> None:
        model = self._model_at(path[:-1])
        key = str(path[-1])
        if isinstance(one["input"], dict | list) and len(path) == 1:
            known = list(tables(self.model))
            hint = nearest(key, known) or "Tables: " + ", ".join(known) + "."
            fault(path, "there is no such table", hint)
            return
        names = [field.alias or name for name, field in model.model_fields.items()]
        meant = [known for known in OTHERWISE.get(key.casefold(), ()) if known in names]
        hint = f"Write {' or '.join(meant)}." if meant else nearest(key, names) or f"Known here: {', '.join(names)}."
        if model is not self.model and key in self.model.model_fields:
            hint = f"{key} belongs at the top of the file, above the first table."
        fault(path, "there is no such key", hint)

    def _model_at(self, path: KeyPath) -> type[Entry]:
        """The model whose keys are allowed at a path."""
        model = self.model
        for step in path:
            if isinstance(step, str):
                if step not in model.model_fields:
                    return model
                model, _ = tables(model).get(step, (model, False))
        return model
