"""Everything that can be said about a surface file, for a person who wants to know what he has got.

    report("door.stl", unit="mm")

The same as reading the file, but nothing odd is passed over: winding, seams, stray pieces, the list of free edges
with the numbers of the cut-outs.
"""

from __future__ import annotations

from pathlib import Path

from layup.files.read import read_surface
from layup.shape.progress import Told, nobody
from layup.shape.surface import Surface


def report(
    path: str | Path,
    unit: str | None = None,
    side: str | None = None,
    body: str | None = None,
    told: Told = nobody,
) -> Surface:
    """Read a surface file and look for everything that is odd about it.

    Args:
        path: As for `read_surface`.
        unit: As for `read_surface`.
        side: As for `read_surface`.
        body: As for `read_surface`.
        told: As for `read_surface`.

    Returns:
        The surface; its `findings` are complete.

    Raises:
        SurfaceError: as for `read_surface`.
    """
    return read_surface(path, unit=unit, side=side, body=body, thorough=True, told=told)
