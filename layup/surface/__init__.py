"""Surfaces: read a file or an outline, settle its side, measure it and its zones."""

from layup.surface.flat import from_area, outline, rectangle
from layup.surface.measure import Measured, combine, measure_triangles
from layup.surface.mesh import Finding, Surface
from layup.surface.read import read_surface

__all__ = [
    "Finding",
    "Measured",
    "Surface",
    "combine",
    "from_area",
    "measure_triangles",
    "outline",
    "read_surface",
    "rectangle",
]
