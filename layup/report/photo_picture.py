"""The check picture of a template read off a photograph: its outline drawn on it, seen straight from above."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.files.photo_sheet import opencv
from layup.files.read_photo import open_picture
from layup.report import palette
from layup.report.saving import picture_path, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from layup.files.read_photo import Photo

_LONG = 1600.0
"""Points along the longer side of the photograph seen from above. [-]"""
_RIM = 0.03
"""Table shown round sheets and template. [m]"""
_LINES = ((4.2, palette.PAPER), (1.5, palette.OLD))


def draw_photo(photo: Photo, path: str | Path) -> Path:
    """Draw the outline on the photograph and save the picture.

    Args:
        photo: The template; its picture is read again.
        path: Where: its ending (.png, .svg, .pdf) says the format.

    Raises:
        LayupError: the ending is not one of these, or the file can't be written.
    """
    path = picture_path(path)
    save_figure(photo_figure(photo), path, 140)
    return path


def photo_figure(photo: Photo) -> Figure:
    """The photograph from above with outline, cut-outs and sheets, in millimetres of the outline."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    seen, extent = _from_above(photo)
    high, wide = seen.shape[:2]
    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 9, "text.color": palette.INK,
                         "axes.edgecolor": palette.QUIET, "svg.hashsalt": "layup"}):  # fmt: skip
        size = (9.0, 9.0 * high / wide + 1.1)
        figure = NewFigure(figsize=size)
        axes = figure.add_axes((0.08, 0.5 / size[1], 0.89, 1.0 - 1.1 / size[1]))
        axes.imshow(seen, extent=extent, interpolation="bilinear")
        for place, frame in enumerate(photo.plane.frames()):
            _line(axes, frame - photo.corner, dashed=True)
            middle = (frame - photo.corner).mean(axis=0) * 1e3
            word = f"sheet {photo.plane.sheets[place]}"
            axes.text(float(middle[0]), float(middle[1]), word, ha="center", va="center", fontsize=10,
                      bbox={"facecolor": palette.PAPER, "edgecolor": "none", "pad": 2.0})  # fmt: skip
        for line in (photo.outline, *photo.holes):
            _line(axes, line, dashed=False)
        axes.set_xlim(extent[0], extent[1])
        axes.set_ylim(extent[2], extent[3])
        axes.set_xlabel("x, along the short side of the sheet [mm]", labelpad=1)
        axes.set_ylabel("y, along its long side [mm]", labelpad=1)
        axes.tick_params(colors=palette.QUIET, labelsize=8)
        holes = len(photo.holes)
        cut = "no cut-out" if not holes else f"less {holes} cut-out{'s' if holes > 1 else ''}"
        figure.text(
            0.08, 1.0 - 0.3 / size[1], f"{Path(photo.name).name}: {photo.area:.4g} m²", fontsize=11, weight="bold"
        )
        said = f"{cut}; nine times in ten within {photo.area_tolerance:.1%}. The line must lie on the edge all round."
        figure.text(0.08, 1.0 - 0.5 / size[1], said, color=palette.QUIET)
    return figure


def _line(axes: Axes, points: NDArray[np.float64], *, dashed: bool) -> None:
    closed = np.concatenate([points, points[:1]]) * 1e3
    for width, colour in _LINES:
        axes.plot(
            *closed.T,
            color=colour,
            linewidth=width / (2.0 if dashed else 1.4),
            solid_joinstyle="round",
            linestyle=(0, (6, 4)) if dashed and colour != palette.PAPER else "solid",
        )


def _from_above(photo: Photo) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]]:
    """The photograph as seen straight from above, red first, and what it spans. [mm]"""
    opencv()
    import cv2

    picture, _ = open_picture(photo.name)
    every = np.concatenate([photo.outline, *(frame - photo.corner for frame in photo.plane.frames())])
    low, high = every.min(axis=0) - _RIM, every.max(axis=0) + _RIM
    step = float((high - low).max()) / _LONG
    x = np.arange(low[0] + step / 2.0, high[0], step)
    y = np.arange(high[1] - step / 2.0, low[1], -step)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    at = photo.plane.to_picture(grid + photo.corner).reshape(len(y), len(x), 2).astype(np.float32)
    seen = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=(255, 255, 255))
    made = np.asarray(seen[:, :, ::-1], dtype=np.uint8)
    return made, (float(low[0]) * 1e3, float(high[0]) * 1e3, float(low[1]) * 1e3, float(high[1]) * 1e3)
