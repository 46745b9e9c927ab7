"""The STL file, binary and ASCII: is it whole, and where are its triangles?

    Is it binary, whatever its first word says?    the size decides: 84 bytes and 50 for every triangle
    Its triangles, without reading them            open_stl(path, name)
    Its measures in one pass                       read_stl(path, name)

Source: the layout of a binary STL, 80 bytes of header, a 32-bit count, then records of twelve 32-bit floats
and two attribute bytes, is that of the format's public description; so are the words of the ASCII form.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.reading import is_number
from layup.shape.scan import Scan, scan_triangles

RECORD = np.dtype(
    {
        "names": ["corners", "bits"],
        "formats": [("<f4", (3, 3)), ("<u4", (3, 3))],
        "offsets": [12, 12],
        "itemsize": 50,
    }
)
_HEAD = 84
LARGE = 1_000_000
"""From this many triangles the compiled pass is worth its import. [-]"""

_TEXT_BLOCK = 4 * 1024 * 1024
_NAME_LINE = re.compile(rb"^[ \t]*(?:end)?solid\b[^\r\n]*", re.MULTILINE)
_WORDS = {0: b"facet", 1: b"normal", 5: b"outer", 6: b"loop", 7: b"vertex", 11: b"vertex", 15: b"vertex",
          19: b"endloop", 20: b"endfacet"}  # fmt: skip
_NUMBERS = [8, 9, 10, 12, 13, 14, 16, 17, 18]


def read_stl(path: Path, name: str) -> tuple[Scan, NDArray[np.generic]]:
    """Measures and edge test of an STL file in one pass, in the unit of the file, and its triangles.

    Returns:
        The scan, and the triangles as `open_stl` gives them.

    Raises:
        SurfaceError: not an STL, cut short, empty, or a corner that is no number, naming file and place.
    """
    triangles = open_stl(path, name)
    try:
        if isinstance(triangles, np.memmap) and len(triangles) >= LARGE:
            from layup.files.stl_fast import scan_records

            return scan_records(triangles), triangles
        return scan_triangles(corners_of(triangles)), triangles
    except SurfaceError as problem:
        raise SurfaceError(f"{name}: {problem.wrong}", problem.remedy) from None


def corners_of(triangles: NDArray[np.generic]) -> NDArray[np.floating]:
    """Corners (n, 3, 3) of what `open_stl` gives: a view of the mapped file, or the array itself."""
    plain: Any = triangles
    corners: NDArray[np.floating] = plain["corners"] if plain.dtype.names else plain
    return corners


def open_stl(path: Path, name: str) -> NDArray[np.generic]:
    """The triangles of an STL file.

    Returns:
        For a binary file its records (n,) of dtype RECORD, mapped and not read; for an ASCII file the corners
        (n, 3, 3) in double precision.

    Raises:
        SurfaceError: as in `read_stl`.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_HEAD + 1024)
    count = int.from_bytes(head[80:_HEAD], "little") if len(head) >= _HEAD else -1
    whole = _HEAD + 50 * count
    words = head.lstrip().lower()
    if count > 0 and whole <= size < whole + 50:
        return np.memmap(path, dtype=RECORD, mode="r", offset=_HEAD, shape=(count,))
    if words.startswith(b"solid") and (b"facet" in words or b"endsolid" in words):
        return _read_text(path, name)
    if count < 0:
        raise SurfaceError(f"{name}: {size} bytes are too few for an STL file", "Export it again")
    if count == 0 and size < whole + 50:
        raise SurfaceError(f"{name}: the mesh has no triangles", "Export it again with the part selected")
    there = (size - _HEAD) // 50
    if size < whole:
        raise SurfaceError(
            f"{name}: the file is cut short: its header promises {count:,} triangles, "
            f"after {there:,} it ends (byte {size:,} of {whole:,})",
            "Copy or export it again",
        )
    raise SurfaceError(
        f"{name}: its header promises {count:,} triangles, but there is room for {there:,}",
        "One of the two is wrong and the area would be too: export it again",
    )


def _read_text(path: Path, name: str) -> NDArray[np.float64]:
    """Corners (n, 3, 3) of an ASCII STL, a block at a time."""
    parts: list[NDArray[np.float64]] = []
    done = 0
    rest = b""
    with path.open("rb") as file:
        while block := file.read(_TEXT_BLOCK):
            text = rest + block.lower()
            cut = text.rfind(b"endfacet")
            if cut < 0:
                rest = text
                if len(rest) > 2 * _TEXT_BLOCK:
                    raise SurfaceError(f"{name}: no facet ends after number {done}", "Export it again")
                continue
            cut += len(b"endfacet")
            text, rest = text[:cut], text[cut:]
            parts.append(_facets(text, done, name))
            done += len(parts[-1])
    rest = _NAME_LINE.sub(b"", rest).strip()
    if rest:
        raise SurfaceError(f"{name}: the file is cut short or damaged after facet {done:,}", "Copy or export it again")
    if not done:
        raise SurfaceError(f"{name}: the mesh has no triangles", "Export it again with the part selected")
    return np.concatenate(parts)


def _facets(text: bytes, done: int, name: str) -> NDArray[np.float64]:
    words = _NAME_LINE.sub(b"", text).split()
    whole, odd = divmod(len(words), 21)
    if not odd:
        table = np.array(words, dtype=bytes).reshape(whole, 21)
        if all((table[:, column] == word).all() for column, word in _WORDS.items()):
            try:
                return table[:, _NUMBERS].astype(np.float64).reshape(whole, 3, 3)
            except ValueError:
                pass  # the place is found below, word by word
    for facet in range(whole + 1):
        one = words[21 * facet : 21 * facet + 21]
        right = len(one) == 21 and all(one[column] == word for column, word in _WORDS.items())
        if not right or not all(is_number(one[column]) for column in _NUMBERS):
            shown = b" ".join(one)[:60].decode("ascii", "replace")
            raise SurfaceError(
                f'{name}: facet {done + facet + 1:,} can\'t be read: "{shown} ..."', "Copy or export it again"
            )
    raise SurfaceError(f"{name}: damaged near facet {done + whole + 1:,}", "Copy or export it again")
