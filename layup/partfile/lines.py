"""The text of a TOML file: the line of every key, and its tables with the remarks right above each.

- Where does a key stand, so that a fault can be shown there?    `key_lines`
- The head and the tables, to move, copy or take out whole?      `blocks`, `header`

The standard library's reader gives no positions. `key_lines` walks the text once, following table heads, dotted keys,
multi-line strings and arrays, and notes the line of every key it meets. Keys inside an inline table or array share the
line on which their own text starts.
"""

from __future__ import annotations

import re
import tomllib
from itertools import pairwise

Path = tuple[str | int, ...]

_HEAD = re.compile(r"^\s*(\[\[?)\s*(.*?)\s*\]\]?\s*(?:#.*)?$")
_TABLE = re.compile(r"^\s*\[\[?[A-Za-z_.]+\]\]?\s*(#.*)?$")
_BARE_OR_QUOTED = re.compile(r'\s*("(?:[^"\\]|\\.)*"|\'[^\']*\'|[A-Za-z0-9_-]+)\s*(\.|=|$)')


def _key_parts(text: str) -> tuple[list[str], int]:
    """Split `a."b c".d = ...` into its parts and the position after the equals sign (or the end)."""
    parts: list[str] = []
    at = 0
    while True:
        match = _BARE_OR_QUOTED.match(text, at)
        if match is None:
            return parts, at
        word = match[1]
        parts.append(word[1:-1] if word[0] in "\"'" else word)
        at = match.end()
        if match[2] != ".":
            return parts, at


def open_after(text: str, state: str, depth: int) -> tuple[str, int]:
    """Follow a value's text to the end of its line: the string it is inside ('' for none) and its bracket depth."""
    at = 0
    while at < len(text):
        if state:
            if state[0] == '"' and text[at] == "\\":
                at += 2
                continue
            if text.startswith(state, at):
                at += len(state)
                state = ""
                continue
            at += 1
            continue
        char = text[at]
        if char == "#":
            break
        if char in "\"'":
            state = char * 3 if text.startswith(char * 3, at) else char
            at += len(state)
            continue
        depth += (char in "[{") - (char in "]}")
        at += 1
    if state in ('"', "'"):
        state = ""  # a single-line string cannot go on; the TOML reader reports it
    return state, depth


def key_lines(text: str) -> dict[Path, int]:
    r"""Line numbers (from 1) of all keys and tables of a TOML text.

    Returns:
        Lines by path: `("ply", 1, "angle")` is the key `angle` of the second `[[ply]]`; elements of an array written
        over several lines have their own line.

    >>> key_lines('title = "a"\n[[ply]]\nfabric = "b"')[("ply", 0, "fabric")]
    3
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    state, depth = "", 0
    open_path: Path = ()
    element = 0
    for number, line in enumerate(text.split("\n"), start=1):
        if state or depth > 0:
            if not state and depth == 1 and line.strip() and not line.strip().startswith(("#", "]")):
                lines.setdefault((*open_path, element), number)
                element += 1
            state, depth = open_after(line, state, depth)
            continue
        head = _HEAD.match(line)
        if head:
            parts, _ = _key_parts(head[2])
            path: Path = ()
            for part in parts[:-1]:
                path = (*path, part)
                if path in counts:
                    path = (*path, counts[path] - 1)
            path = (*path, *parts[-1:])
            if head[1] == "[[":
                counts[path] = counts.get(path, 0) + 1
                lines.setdefault(path, number)
                path = (*path, counts[path] - 1)
            table = path
            lines.setdefault(table, number)
            continue
        parts, after = _key_parts(line)
        if not parts or "=" not in line:
            continue
        for upto in range(1, len(parts) + 1):
            lines.setdefault((*table, *parts[:upto]), number)
        open_path, element = (*table, *parts), 0
        state, depth = open_after(line[after:], "", 0)
    return lines


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Line of a key, or of the nearest table around it; None at the top level."""
    for upto in range(len(path), 0, -1):
        if path[:upto] in lines:
            return lines[path[:upto]]
    return None


_SYNTAX = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")


_SAID = (  # the beginning of what the reader of TOML says, and the same for a person
    ("Expected newline or end of document", "more stands behind the value than belongs there"),
    ("Expected '=' after a key", "no equals sign stands behind the key"),
    ("Expected ']", "the name of a table is not closed by its bracket"),
    ("Cannot overwrite a value", "this key stands twice"),
    ("Cannot declare", "this table stands twice"),
    ("Cannot mutate", "this table is complete already"),
    ("Duplicate inline table key", "a name in these braces stands twice"),
    ("Cannot redefine", "this table stands twice"),
    ("Invalid initial character for a key", "no line begins like this"),
    ("Invalid statement", "no line begins like this"),
    ("Invalid value", "this value is neither a number nor in quotes"),
    ("Invalid hex value", "a backslash in the quotes begins something else"),
    ("Unescaped '\\'", "a backslash in the quotes begins something else"),
    ("Invalid date", "this is no date"),
    ("Unclosed array", "a list is not closed"),
    ("Unclosed inline table", "a brace is not closed"),
    ("Unterminated string", "a quote is not closed"),
    ('Expected "', "a quote is not closed"),
    ("Illegal character", "a quote is not closed, or a letter can't stand here"),
    ("Found invalid character", "a letter can't stand here"),
)


def _in_words(said: str) -> str:
    return next((words for begin, words in _SAID if said.startswith(begin)), said)


def syntax_place(error: tomllib.TOMLDecodeError, text: str) -> tuple[int, str]:
    """Line of a TOML syntax error and what is wrong there, in words."""
    message = str(error)
    match = _SYNTAX.search(message)
    said = _in_words(_SYNTAX.sub("", message).strip().rstrip(":"))
    if match and match[1]:
        return int(match[1]), said
    return text.count("\n") + 1, said


def blocks(text: str) -> list[str]:
    r"""The head of the file and its tables, in order; joined they are the text again.

    >>> blocks('title = "a"\n\n# the first\n[[ply]]\nangle = 0\n')
    ['title = "a"\n\n', '# the first\n[[ply]]\nangle = 0\n']
    """
    lines = text.splitlines(keepends=True)
    starts = [0]
    state, depth = "", 0
    for number, line in enumerate(lines):
        if not state and depth <= 0 and _TABLE.match(line):
            at = number
            while at > 0 and lines[at - 1].lstrip().startswith("#"):
                at -= 1
            starts.append(at)
            continue
        state, depth = open_after(line, state, max(depth, 0))
    bounds = [*dict.fromkeys(starts), len(lines)]
    return ["".join(lines[a:b]) for a, b in pairwise(bounds)] or [""]


def header(block: str) -> str:
    r"""First line of a table that is no remark: `[[ply]]`; "" for the head of a file that begins with a key.

    >>> header("# the first\n[[ply]]  # here\nangle = 0\n")
    '[[ply]]'
    """
    for line in block.splitlines():
        if line.strip() and not line.lstrip().startswith("#"):
            return line.split("#")[0].strip()
    return ""
