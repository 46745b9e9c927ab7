"""The area of a surface at a distance, of what the program knows of how it bends; no command asks for it as a whole."""

from __future__ import annotations

import numpy as np

from layup.shape.surface import Surface
from layup.sides.offset import bend_of


def offset_area(surface: Surface, distance: float) -> float:
    """Area of the surface moved along its normals; its edges move square to it.

    The faces of a side picked from a solid look outward. Those of an open shell look as most of them were drawn; where
    that is not known, look at both signs.

    Args:
        surface: With a mesh.
        distance: To the side the faces look to; negative to the other side. [m]

    Returns:
        Never less than nothing. [m^2]

    Raises:
        SurfaceError: a surface known only by its area.
    """
    bend = bend_of(surface)
    curved = bend.place(None, np.ones(len(bend.faces)))
    return (curved if distance >= 0.0 else curved.other).through(abs(distance), abs(distance))
