"""The pictures of the build sheet: the part with its zones, and each layout of the cloth."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.cloth.pattern import on_surface
from layup.make.cut import FabricCut
from layup.partfile.job import Job
from layup.report.document import Plate
from layup.weight.prediction import Prediction
from layup.words import System, length_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_DOTS = 220
"""To the inch."""


def part_plate(prediction: Prediction, system: System) -> Plate:
    """The part as the person at the mould sees it, with its zones, its 0° arrow, its axes and its sizes."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as NewFigure

    from layup.report import palette
    from layup.report.shape_drawing import draw_shape, draw_ways, label_zones, view_of
    from layup.sides.mould import seen

    job = prediction.job
    entry, known = job.part.surface, seen(job.surface, job.part.surface.mould).known
    named = {name: way for name, way in (("forward", entry.forward), ("up", entry.up)) if way is not None}
    with mpl.rc_context({"font.family": "DejaVu Sans", "text.color": palette.INK}):
        figure = NewFigure(figsize=(7.0, 3.3))
        axes = figure.add_axes((0.01, 0.02, 0.74, 0.89))
        draw_shape(axes, job)
        label_zones(axes, job, 10.0, _hole_flags(job, system))
        draw_ways(axes, job.surface, view_of(job.surface, entry.mould), 8.5, system, mould=entry.mould, warp=entry.warp,
                  named=named)  # fmt: skip
        said = "Seen from the bag side, looking at the mould." if known else "Mould side not said: see the plies."
        figure.text(0.01, 0.99, said, fontsize=10, fontweight="bold", va="top")
    names = ", ".join(zone.name for zone in prediction.job.part.zone)
    return _as_plate(figure, f"{said}{' Zones: ' + names if names else ''}", vector=False)


def _hole_flags(job: Job, system: System) -> list[tuple[str, NDArray[np.float64]]]:
    """Holes and old fasteners by pattern: how many of what size, its name, and where they are. [m]"""
    found = [(name, np.asarray(one.places), [h.diameter for h in one.pattern.holes]) for name, one in job.holes.items()]
    for old in job.fasteners:
        there = on_surface(job, old.pattern, old.plan.way, off=False)
        found.append((old.name, np.array([place for place, _, _ in there]), [wide for _, wide, _ in there]))
    one = "metric" if system == "both" else system
    flags = []
    for name, places, wide in found:
        if len(places):
            sizes = " to ".join(dict.fromkeys(length_words(d, one) for d in (min(wide), max(wide))))
            flags.append((f"{len(places)} × ⌀{sizes}, {name}", places))
    return flags


def _as_plate(figure: Figure, says: str, *, vector: bool = True) -> Plate:
    """A figure as PNG, and as SVG where it is of lines."""
    import matplotlib as mpl

    png = io.BytesIO()
    tight: Any = {"facecolor": "#ffffff", "bbox_inches": "tight", "pad_inches": 0.03}  # a page has no room for margins
    figure.savefig(png, format="png", dpi=_DOTS, metadata={"Software": None}, **tight)
    # the size stands in the head of a PNG, in dots
    width, height = (int.from_bytes(png.getvalue()[at : at + 4], "big") / _DOTS for at in (16, 20))
    svg = ""
    if vector:
        text = io.StringIO()
        with mpl.rc_context({"svg.hashsalt": "layup", "svg.fonttype": "path"}):
            figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None}, **tight)
        svg = text.getvalue()
        svg = svg[svg.index("<svg") :]
    return Plate(png.getvalue(), svg, width, height, says)


def cut_plate(fabric: FabricCut, system: System) -> Plate:
    """Where the pieces of one cloth lie on its roll."""
    from layup.make.nest_picture import cut_figure

    return _as_plate(
        cut_figure([fabric], system, wide=5.4, high=1.4), f"{fabric.fabric}: where the pieces lie on the roll"
    )
