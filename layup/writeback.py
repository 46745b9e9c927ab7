"""Write a chosen layup back into a part file: its plies and process change, every other line stays as it is."""

from __future__ import annotations

import re
from pathlib import Path

from layup.errors import LayupError
from layup.layups import Layup
from layup.partfile import read_part

_HEAD = re.compile(r"^\s*\[")


def write_part(source: Path, layup: Layup, out: Path) -> Path:
    """Save a part file with another layup.

    Args:
        source: The part file the layup was chosen for.
        layup: The layup.
        out: Where to; the same path overwrites the file.

    Returns:
        The path written.

    Raises:
        LayupError: The folder is not there, or the new file would not read.
    """
    if not out.parent.is_dir():
        raise LayupError(f'there is no folder "{out.parent}". Make it first, or write beside the part file')
    text = with_plies(source.read_text(encoding="utf-8-sig"), layup)
    before = out.read_text(encoding="utf-8-sig") if out.is_file() else None
    out.write_text(text, encoding="utf-8")
    try:
        read_part(out, source.parent)
    except LayupError:
        if before is None:
            out.unlink()
        else:
            out.write_text(before, encoding="utf-8")
        raise
    return out


def with_plies(text: str, layup: Layup) -> str:
    """The text of a part file with its plies over the whole surface, and its process, replaced.

    Args:
        text: The part file.
        layup: The layup.

    Returns:
        The new text.
    """
    blocks = _blocks(text)
    kept: list[str] = []
    place: int | None = None
    for block in blocks:
        if block.lstrip().startswith("[[ply]]") and not re.search(r"(?m)^\s*(zone|area)\s*=", block):
            if place is None:
                place = len(kept)
            continue
        kept.append(block)
    kept[0] = _head(kept[0], layup.process)
    if place is None:
        after = ("[[finish", "[[extra", "[[replaces", "[[made", "[needs", "[[needs", "[shelf")
        place = next((k for k, b in enumerate(kept) if b.lstrip().startswith(after)), len(kept))
    kept.insert(place, _plies(layup))
    return re.sub(r"\n{3,}", "\n\n", "".join(kept)).rstrip("\n") + "\n"


def _blocks(text: str) -> list[str]:
    """The head of the file and its tables, each with the remarks right above it."""
    lines = text.splitlines(keepends=True)
    starts = [0]
    for number, line in enumerate(lines):
        if _HEAD.match(line) and re.match(r"^\s*\[\[?[A-Za-z_.]+\]\]?\s*(#.*)?$", line):
            at = number
            while at > 0 and lines[at - 1].lstrip().startswith("#"):
                at -= 1
            starts.append(at)
    bounds = [*dict.fromkeys(starts), len(lines)]
    return ["".join(lines[a:b]) for a, b in zip(bounds, bounds[1:], strict=False)]


def _head(head: str, process: str) -> str:
    head = re.sub(r"(?m)^\s*(stack|fabric)\s*=.*\n?", "", head)
    return re.sub(r'(?m)^(\s*process\s*=\s*)("[^"]*"|\'[^\']*\')', lambda m: f'{m[1]}"{process}"', head, count=1)


def _plies(layup: Layup) -> str:
    said = [f"# Chosen for weight: {layup.words}.\n"]
    for entry in layup.entries:
        said.append("[[ply]]\n")
        if entry.core is not None:
            said.append(f'core = "{entry.core}"\nthickness = "{(entry.thickness or 0.0) * 1e3:g} mm"\n\n')
            continue
        said.append(f'fabric = "{entry.fabric}"\nangle = {entry.angle:g}\n')
        said.append(f"count = {entry.count}\n\n" if entry.count > 1 else "\n")
    return "".join(said)
