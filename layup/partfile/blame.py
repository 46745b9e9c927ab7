"""Which table of a part file is behind a mistake of the program: the last thing asked, when all else has failed."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

from layup.errors import LayupError
from layup.partfile.lines import key_lines, line_of
from layup.partfile.read import read_part

PATIENCE = 5.0
"""How long it is looked for. [s]"""


def culprit(name: str) -> str:
    """Leave the tables and keys of a part file out one by one, until reading it no longer makes the mistake.

    Returns:
        "door.toml, line 12, ply 2: ", or empty where reading the file makes no mistake or no one table is behind it.
    """
    path = Path(name)
    until = time.monotonic() + PATIENCE
    try:
        text = path.read_text(encoding="utf-8-sig")
        data = tomllib.loads(text)
        if _ends(data, path.parent) != "mistake":
            return ""
        lines = key_lines(text)
    except (OSError, ValueError, RecursionError):
        return ""
    for key, less in _less(data):
        if time.monotonic() > until:
            break
        if _ends(less, path.parent) == "read":  # a fault for want of a key that was left out tells nothing
            words = " ".join(str(step + 1) if isinstance(step, int) else step for step in key)
            return f"{path.name}, line {line_of(key, lines)}, {words}: "
    return ""


def _less(data: dict[str, object]) -> Iterator[tuple[tuple[str | int, ...], dict[str, object]]]:
    """The file without one of its keys, tables, or entries of a list of tables."""
    for key, value in data.items():
        if isinstance(value, list) and len(value) > 1:
            for number in range(len(value)):
                yield (key, number), {**data, key: value[:number] + value[number + 1 :]}
        if isinstance(value, dict):
            for inner in value:
                yield (key, inner), {**data, key: {k: v for k, v in value.items() if k != inner}}
        yield (key,), {k: v for k, v in data.items() if k != key}


def _ends(data: dict[str, object], folder: Path) -> str:
    """How reading a part ends: "read", "fault", or "mistake"."""
    try:
        read_part(data, folder)
    except LayupError:
        return "fault"
    except Exception:  # the very mistake that is looked for
        return "mistake"
    return "read"
