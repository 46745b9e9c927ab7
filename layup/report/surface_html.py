"""A surface as one HTML file to turn about in a browser: nothing is fetched, no program is needed.

The page is `surface_viewer.html` beside this module, with the mesh written into it.
"""

from __future__ import annotations

import base64
import json
from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.files.writing import write_file
from layup.report import palette
from layup.report.surface_marks import CUT_OUT, facts, marks_of
from layup.report.surface_picture import eye
from layup.report.surface_words import in_units, system_of
from layup.shape.surface import Finding, Surface
from layup.words import System

MOST = 1_000_000
"""Of more triangles, every second, third, ... is in the page. [-]"""


def surface_html(surface: Surface, path: str | Path, system: System | None = None) -> Path:
    """Write a page that shows a surface.

    Args:
        surface: With a mesh.
        path: Where.
        system: "lb", "metric" or "both"; None for the units of the file.

    Raises:
        SurfaceError: a surface known only by its area.
    """
    path = Path(path)
    page = (Path(__file__).parent / "surface_viewer.html").read_text(encoding="utf-8")
    for word in ("INK", "QUIET", "PAPER", "PALE", "PART", "OLD"):
        page = page.replace("{{" + word + "}}", getattr(palette, word))
    marks = marks_of(surface)
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    middle = 0.5 * (low + high)
    thinned = len(surface.faces) > MOST
    keys = [_key(palette.PART, "counts", "counts", "")]
    if len(surface.left_out[1]):
        keys.append(_key(palette.OTHER, "left out", "left", ""))
    keys += [_key(colour, word, _name(colour), "line") for colour, word in marks.keys]
    if thinned:
        keys.append("<p>Only some of the triangles are drawn; all of them count.</p>")
    data = {
        "radius": float(np.linalg.norm(high - low)) / 2.0,
        "half": (0.5 * (high - low)).tolist(),
        "view": eye(surface),
        "solids": [
            _solid(surface.vertices, surface.faces, middle, palette.PART, "counts"),
            *([_solid(*surface.left_out, middle, palette.OTHER, "left")] if len(surface.left_out[1]) else []),
        ],
        "lines": [
            {"ends": _packed(lines - middle, "<f4"), "count": len(lines), "colour": colour, "key": _name(colour)}
            for colour, lines in marks.lines
        ],
        "labels": [[text, np.subtract(place, middle).tolist()] for text, place in marks.labels],
    }
    words = {
        "name": escape(surface.name),
        "facts": "".join(f"<span>{escape(word)} {escape(text)}</span>" for word, text in facts(surface, system)),
        "heading": "What was found" if surface.findings else "Nothing odd was found",
        "findings": "".join(_finding(finding, system or system_of(surface)) for finding in surface.findings),
        "keys": "\n".join(keys),
        "data": json.dumps(data, separators=(",", ":")),
    }
    for word, text in words.items():
        page = page.replace("{{" + word + "}}", text)
    write_file(path, page)
    return path


def _solid(
    points: NDArray[np.float64], faces: NDArray[np.int64], middle: NDArray[np.float64], colour: str, key: str
) -> dict[str, object]:
    faces = faces[:: max(1, -(-len(faces) // MOST))]
    used, back = np.unique(faces, return_inverse=True)
    return {
        "points": _packed(points[used] - middle, "<f4"),
        "faces": _packed(back, "<u4"),
        "count": int(back.size),
        "colour": colour,
        "key": key,
    }


def _packed(values: NDArray[np.generic], kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")


def _name(colour: str) -> str:
    return "cut" if colour == CUT_OUT else colour.lstrip("#")


def _key(colour: str, word: str, name: str, kind: str) -> str:
    return (
        f'<label class="key"><input type="checkbox" checked data-key="{name}"><i class="{kind}" '
        f'style="background:{colour}"></i>{escape(word)}</label>'
    )


def _finding(finding: Finding, system: System) -> str:
    text = escape(in_units(finding.text[0].upper() + finding.text[1:], system))
    effect = ""
    if finding.area_effect:
        size = in_units(f"{abs(finding.area_effect):.4g} m^2", system)
        effect = f" <b>{'+' if finding.area_effect > 0 else '−'}{size}</b>"
    return f"<li>{text}{effect}</li>"
