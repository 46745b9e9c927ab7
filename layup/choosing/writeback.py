"""Write a chosen layup back into a part file: its plies and process change, every other line stays as it is."""

from __future__ import annotations

import re
from pathlib import Path

from layup.choosing.layups import Layup
from layup.errors import LayupError
from layup.files.writing import files_named, may_write, write_file
from layup.partfile.lines import blocks, header
from layup.partfile.read import read_part


def may_write_part(source: Path, out: Path, over: bool = False) -> None:
    """Refuse a place that a part file should not go to.

    Args:
        source: The part file the layup is chosen for; it may be written over when that is asked, what it reads never.
        out: Where to.
        over: Whether a file that is there may be written over.

    Raises:
        LayupError: The name does not end in .toml, the folder is not there, or a file is in the way.
    """
    if out.suffix.casefold() != ".toml" and not out.is_dir():
        raise LayupError(f"a part file ends in .toml: --write {out.with_suffix('.toml')}")
    if not over and out.is_file() and source.exists() and out.samefile(source):
        raise LayupError(f'"{out}" is the part file itself. Name another file, or add --yes to write over it')
    may_write(out, over, files_named(source))


def write_part(source: Path, layup: Layup, out: Path) -> Path:
    """Save a part file with another layup.

    Args:
        source: The part file the layup was chosen for.
        layup: The layup.
        out: Where to; the same path overwrites the file.

    Raises:
        LayupError: The name does not end in .toml, the folder is not there, or the new file would not read.
    """
    may_write_part(source, out, over=True)
    text = with_plies(source.read_text(encoding="utf-8-sig"), layup)
    read_part(out, source.parent, text=text)  # before anything is written
    write_file(out, text)
    return out


def with_plies(text: str, layup: Layup) -> str:
    """The text of a part file with its plies over the whole surface, and its process, replaced."""
    kept: list[str] = []
    zones = {zone for zone, _ in layup.local}
    place: int | None = None
    for block in blocks(text):
        if header(block) == "[[ply]]" and _replaced(block, zones):
            if place is None:
                place = len(kept)
            continue
        kept.append(block)
    kept[0] = _head(kept[0], layup.process)
    if place is None:
        after = ("[[finish", "[[extra", "[[replaces", "[[made", "[needs", "[[needs", "[shelf")
        place = next((k for k, b in enumerate(kept) if k and header(b).startswith(after)), len(kept))
    kept.insert(place, _plies(layup))
    return re.sub(r"\n{3,}", "\n\n", "".join(kept)).rstrip("\n") + "\n"


def _replaced(block: str, zones: set[str]) -> bool:
    """Whether a ply gives way: it is a core, lies over the whole surface, or in a zone that got plies of its own."""
    if re.search(r"(?m)^\s*core\s*=", block):
        return True
    zone = re.search(r'(?m)^\s*zone\s*=\s*["\']([^"\']*)["\']', block)
    if zone is not None:
        return zone[1] in zones or zone[1].casefold() == "whole"
    return re.search(r"(?m)^\s*area\s*=", block) is None


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
        said.append(f"count = {entry.count}\n" if entry.count > 1 else "")
        said.append(f'zone = "{entry.zone}"\n\n' if entry.zone else "\n")
    return "".join(said)
