"""Read a surface file into metres, with its side settled."""

from __future__ import annotations

from pathlib import Path

from layup.surface.mesh import Surface


def read_surface(path: str | Path, *, unit: str | None = None, side: str | None = None) -> Surface:
    """Read STL, OBJ, PLY, OFF, GLB, GLTF or 3MF; `path` as given is what errors show.

    side: None, "outer", "inner", "facing (0, 0, 1)" or "touching (120 mm, 0 mm, 30 mm)".
    Raises: SurfaceError (always with a remedy).
    """
    raise NotImplementedError
