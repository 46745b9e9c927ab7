"""A small shaded picture of a part for its card on the shelf."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layup.shape.surface import Surface

WIDE, HIGH = 300, 170
"""Of the picture. [px]"""
MOST = 4000
"""Triangles drawn; a larger mesh is thinned. [-]"""


def thumbnail(surface: Surface) -> bytes:
    """The surface as the page's turning picture first shows it, as PNG."""
    import numpy as np
    from PIL import Image, ImageColor, ImageDraw

    from layup.report import palette
    from layup.report.shape_drawing import project
    from layup.report.surface_picture import eye
    from layup.report.thinned import thinned

    thin = thinned(surface.vertices, surface.faces, MOST)
    at, depth = project(thin.points, eye(surface))
    low, high = at.min(axis=0), at.max(axis=0)
    double = 2  # drawn twice as large and made smaller, so that edges are smooth
    scale = 0.88 * double * min(WIDE / max(high[0] - low[0], 1e-9), HIGH / max(high[1] - low[1], 1e-9))
    flat = (at - 0.5 * (low + high)) * [scale, -scale] + [0.5 * WIDE * double, 0.5 * HIGH * double]
    corners = np.concatenate([at, depth[:, None]], axis=1)[thin.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-30)[:, None]
    normal[normal[:, 2] < 0] *= -1.0
    lamp = np.maximum(normal @ (np.array([-0.42, 0.55, 0.72]) / np.linalg.norm([-0.42, 0.55, 0.72])), 0.0)
    light = 0.42 + 0.5 * lamp + 0.26 * normal[:, 2] ** 2
    colour = 0.7 * np.array(ImageColor.getrgb(palette.PART)) + 0.3 * 190.0
    tones = np.clip(light[:, None] * colour, 0, 255).astype(int)
    image = Image.new("RGB", (WIDE * double, HIGH * double), palette.PALE)
    draw = ImageDraw.Draw(image)
    for face in np.argsort(corners[:, :, 2].mean(axis=1)):
        draw.polygon([tuple(p) for p in flat[thin.faces[face]]], fill=tuple(tones[face]), outline=tuple(tones[face]))
    out = io.BytesIO()
    image.resize((WIDE, HIGH), Image.Resampling.LANCZOS).quantize(64).save(out, format="PNG", optimize=True)
    return out.getvalue()
