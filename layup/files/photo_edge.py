"""The edge of a template in a photograph, to a fraction of a pixel: what stands out from the table beside the sheet.

    Edge and cut-outs of the template, in pixels      find_edge(picture, plane, name)

The table's brightness is a smooth surface over the picture (uneven light), fitted to what lies along the frame. What
differs from it is parted into blobs; the largest one beside the sheet is the template. Its edge is the line where the
light is half-way between the template's and the table's, both taken close by. All of it in linear light: half-way in
the stored numbers of a picture lies to one side of a blurred edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.photo_plane import Floats, Plane, shoelace
from layup.files.photo_sheet import HIGH, WIDE, opencv

Image = NDArray[np.float32]

SEGMENTED = 1.0e6
"""The template is looked for in a picture of this many pixels, its edge in the full one. [px]"""
STANDS_OUT = 4.0
"""What differs from the table by more than this many deviations of the table is not table. [-]"""
CLEAR = 4.0
"""The template is clear of the table when they are this many deviations apart. [-]"""
SMALLEST = 5e-4
"""A blob below this share of the picture is no template. [-]"""
PAPER = (0.027, 0.040)
"""Paper beside and above the pattern, on the wider and the higher of the two papers, and 3 mm more. [m]"""
UNLIKE = 0.25
"""A step whose height is off by this share of the usual step, both as logarithms, is not from table to template. [-]"""
FAINT = 0.12
"""... and by no less than this: grain of table and paper. [-]"""
UNLIKE_SHARE = 0.015
"""So much of the edge may be unlike: corners, specks. [-]"""
CONFUSED = 1.0
"""Tones that differ by a smaller logarithm can be those of one thing in light and in shadow. [-]"""
_RIM = 0.06  # of the picture, along its frame, where the table is looked for
_SMOOTH = 0.7  # deviation of the blur against noise [px]


@dataclass(frozen=True)
class Edge:
    """The lines round the template in the picture.

    Attributes:
        outline: Shape (n, 2). [px]
        holes: The same for each closed line inside it. [px]
        blur: How many pixels the step from table to template takes. [px]
        contrast: Template and table apart, in deviations. [-]
        others: Other things on the table, areas as shares of the template's. [-]
    """

    outline: Floats
    holes: tuple[Floats, ...]
    blur: float
    contrast: float
    others: tuple[float, ...]


def find_edge(picture: NDArray[np.uint8], plane: Plane, name: str) -> Edge:
    """The template's edge and cut-outs.

    Args:
        picture: Shape (height, width, 3). [0..255]
        plane: Of the sheet in it.
        name: What errors call it.

    Raises:
        SurfaceError: nothing stands out, the template is cut by the frame or touches the sheet, it hardly differs from
            the table.
    """
    opencv()
    import cv2

    light = np.asarray(cv2.LUT(picture, _linear()), dtype=np.float32)
    tall, wide = picture.shape[:2]
    shrink = min(1.0, (SEGMENTED / (tall * wide)) ** 0.5)
    few = (round(wide * shrink), round(tall * shrink))
    less = cv2.resize(light, few, interpolation=cv2.INTER_AREA) if shrink < 1.0 else light
    small = np.asarray(cv2.GaussianBlur(less, (0, 0), 1.0), dtype=np.float32)
    sheet = _sheet_mask(plane, small.shape[:2], shrink)
    table, spread = _table(small, sheet)
    longest = max(small.shape[:2])
    ratio = small / _even(table, _along(0, small.shape[1], longest), _along(0, small.shape[0], longest)) - 1.0
    apart = np.sqrt(np.mean((ratio / spread) ** 2, axis=2))
    labels, own, others = _blob(apart, sheet, name)
    x, y, w, h = cv2.boundingRect((labels == own).astype(np.uint8))
    around = cv2.erode((labels == own).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    mean = np.median(ratio[around] if around.any() else ratio[labels == own], axis=0)
    weight = mean / spread**2
    weight = weight / float((weight * mean).sum())

    rim = 14
    left, top = max(int(x / shrink) - rim, 0), max(int(y / shrink) - rim, 0)
    right, low = min(int((x + w) / shrink) + rim, wide), min(int((y + h) / shrink) + rim, tall)
    near = light[top:low, left:right]
    longest = max(tall, wide)
    even = _even(table, _along(left, right, longest), _along(top, low, longest))
    step = (near / even - 1.0) @ weight.astype(np.float32)
    step = cv2.GaussianBlur(step.astype(np.float32), (0, 0), _SMOOTH)
    reach = (labels == own).astype(np.uint8)
    size = (near.shape[1], near.shape[0])
    back = np.array([[shrink, 0.0, (left + 0.5) * shrink - 0.5], [0.0, shrink, (top + 0.5) * shrink - 0.5]])
    reach = cv2.warpAffine(reach, back, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    allowed = cv2.dilate(reach, np.ones((3, 3), np.uint8), iterations=int(np.ceil(2.0 / shrink)) + 4) > 0
    level, contrast = _level(step, allowed)
    if contrast < CLEAR:
        raise _no_contrast(name)
    outline, holes = _lines(np.where(allowed, level, np.float32(-0.5)), name)
    blur = _blur(level, outline)
    _even_light(near, even, (outline, holes), blur, name)
    shift = np.array([left, top], dtype=np.float64)
    return Edge(outline + shift, tuple(hole + shift for hole in holes), blur, contrast, others)


def _linear() -> Image:
    """Linear light of a stored number. Source: IEC 61966-2-1 (sRGB), from memory."""
    v = np.arange(256) / 255.0
    made = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return made.astype(np.float32)


def _sheet_mask(plane: Plane, shape: tuple[int, ...], shrink: float) -> NDArray[np.bool_]:
    """Where the paper of the sheets lies."""
    import cv2

    mask = np.zeros(shape, np.uint8)
    a, b = PAPER
    ring = np.array([(-a, -b), (WIDE + a, -b), (WIDE + a, HIGH + b), (-a, HIGH + b)])
    share = np.linspace(0.0, 1.0, 9)[:-1, None]
    line = np.concatenate([ring[n - 1] * (1.0 - share) + ring[n] * share for n in range(4)])
    for n in range(len(plane.sheets)):
        seen = (plane.to_picture(plane.on_sheet(n, line)) + 0.5) * shrink - 0.5
        cv2.fillPoly(mask, [np.clip(np.round(seen), -30000, 30000).astype(np.int32)], 1)
    return mask > 0


def _along(start: int, end: int, longest: int) -> Floats:
    """Pixels start to end as shares of the picture's longer side, the same at any size of the picture."""
    made: Floats = (np.arange(start, end) + 0.5) / longest - 0.5
    return made


def _terms(x: Floats, y: Floats) -> Floats:
    """The six terms of a smooth brightness at columns x and rows y, shape (rows, columns, 6)."""
    a, b = np.broadcast_arrays(x[None, :], y[:, None])
    return np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], axis=-1)


def _even(figures: Floats, x: Floats, y: Floats) -> Image:
    """The table's brightness at columns x and rows y, shape (rows, columns, 3)."""
    made = np.empty((len(y), len(x), 3), np.float32)
    for colour in range(3):
        c = figures[:, colour]
        flat = (c[0] + c[2] * y + c[5] * y * y)[:, None] + (c[1] * x + c[3] * x * x)[None, :] + c[4] * y[:, None] * x
        made[:, :, colour] = np.exp(flat.astype(np.float32))
    return made


def _table(small: Image, sheet: NDArray[np.bool_]) -> tuple[Floats, Image]:
    """The table's brightness as six figures a colour, of its logarithm, and its spread. [-]"""
    tall, wide = small.shape[:2]
    longest = max(tall, wide)
    every = max(1, int((tall * wide / 15_000) ** 0.5))
    rows, columns = np.arange(0, tall, every), np.arange(0, wide, every)
    here = np.ix_(rows, columns)
    terms = _terms((columns + 0.5) / longest - 0.5, (rows + 0.5) / longest - 0.5)
    logs = np.log(np.maximum(small[here], 1e-4).astype(np.float64))
    edge = max(2, round(_RIM * min(tall, wide)))
    rim = np.ones((tall, wide), bool)
    rim[edge:-edge, edge:-edge] = False
    free = ~sheet[here]
    frame = free & rim[here]
    used = frame if frame.sum() >= 50 else free
    figures: Floats = np.zeros((6, 3))
    spread: Floats = np.ones(3)
    for turn in range(6):
        a = terms[used]
        figures = np.asarray(np.linalg.solve(a.T @ a, a.T @ logs[used]), dtype=np.float64)
        off = logs - terms @ figures
        off_by = np.median(np.abs(off[used]), axis=0)
        spread = np.maximum(1.4826 * off_by, 0.01).astype(np.float64)
        inside = np.sqrt(np.mean((off / spread) ** 2, axis=2)) < 3.0
        better = free & inside & (rim[here] | (turn > 1))
        if better.sum() < 50:
            break
        used = better
    return figures, spread.astype(np.float32)


def _blob(apart: Image, sheet: NDArray[np.bool_], name: str) -> tuple[NDArray[np.int32], int, tuple[float, ...]]:
    """The blobs, the number of the template among them, and the areas of the others over its own."""
    import cv2

    tall, wide = apart.shape
    free = apart[~sheet]
    most = float(np.quantile(free, 0.995))
    if most < STANDS_OUT:
        raise _no_contrast(name)
    counts, edges = np.histogram(np.minimum(free, most), 256)
    border = max(STANDS_OUT, _parting(counts, (edges[1:] + edges[:-1]) / 2.0))
    apart_from_it = ((apart > border) & ~sheet).astype(np.uint8)
    mask = cv2.morphologyEx(apart_from_it, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    if count < 2 or areas.max() < SMALLEST * tall * wide:
        raise _no_contrast(name)
    own = int(np.argmax(areas)) + 1
    x, y, w, h = (int(v) for v in stats[own, :4])
    if x <= 1 or y <= 1 or x + w >= wide - 1 or y + h >= tall - 1:
        sides = [word for word, cut in (("left", x <= 1), ("top", y <= 1), ("right", x + w >= wide - 1),
                                        ("bottom", y + h >= tall - 1)) if cut]  # fmt: skip
        raise SurfaceError(
            f"{name}: the template is cut by the frame of the picture ({' and '.join(sides)})",
            "Step back so that table shows all round; if it is something else that stands out there, clear it away",
        )
    beside = cv2.dilate(sheet.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=2) > 0
    if (beside & (labels == own)).any():
        raise SurfaceError(
            f"{name}: the template touches the sheet or lies on it",
            "Lay them two fingers apart, so that table shows between them",
        )
    others = sorted((float(a) / float(areas[own - 1]) for n, a in enumerate(areas, 1) if n != own), reverse=True)
    return np.asarray(labels, dtype=np.int32), own, tuple(a for a in others if a > 0.02)


def _parting(counts: NDArray[np.integer], values: Floats) -> float:
    """The value that parts a histogram in two with the least spread within both. Source: Otsu 1979, from memory."""
    below = np.cumsum(counts)
    above = below[-1] - below
    total = np.cumsum(counts * values)
    with np.errstate(invalid="ignore", divide="ignore"):
        between = below * above * (total / below - (total[-1] - total) / above) ** 2
    return float(values[int(np.nanargmax(np.where(above > 0, between, np.nan)))])


def _level(step: Image, allowed: NDArray[np.bool_]) -> tuple[Image, float]:
    """The step with both sides evened out, the edge at 0; and how clear it is, in deviations.

    Template and table are averaged over a window round each pixel, away from the edge.
    """
    import cv2

    size = max(31, 2 * (max(step.shape) // 40) + 1)
    made = []
    quiet = []
    kernel = np.ones((7, 7), np.uint8)
    for usual, own in ((1.0, (step > 0.5) & allowed), (0.0, (step < 0.5) & allowed)):
        inner = cv2.erode(own.astype(np.uint8), kernel).astype(np.float32)
        inner *= np.abs(step - usual) < 0.6
        weight = cv2.boxFilter(inner, -1, (size, size))
        total = cv2.boxFilter(inner * (step - usual), -1, (size, size))
        made.append(usual + total / (weight + 0.02))
        quiet.append((step - made[-1])[inner > 0])
    inside, outside = made
    level = (step - outside) / np.maximum(inside - outside, 0.2) - 0.5
    noise = float(np.sqrt(np.mean([float(np.mean(q**2)) if len(q) else 1.0 for q in quiet])))
    apart = float(np.median((inside - outside)[allowed]))
    return level.astype(np.float32), apart / max(noise, 1e-6)


def _lines(level: Image, name: str) -> tuple[Floats, tuple[Floats, ...]]:
    """The closed lines at level 0: the longest way round, and those in it that turn the other way."""
    import shapely
    from contourpy import contour_generator

    level[[0, -1]] = level[:, [0, -1]] = -0.5
    lines = [np.asarray(line, dtype=np.float64)[:-1] for line in contour_generator(z=level).lines(0.0) if len(line) > 8]
    if not lines:
        raise _no_contrast(name)
    areas = [shoelace(line) for line in lines]
    own = int(np.argmax(np.abs(areas)))
    whole = shapely.Polygon(lines[own])
    shapely.prepare(whole)
    holes = [
        line
        for line, area in zip(lines, areas, strict=True)
        if area * areas[own] < 0.0 and abs(area) > 9.0 and shapely.contains_xy(whole, *line[0])
    ]
    return lines[own], tuple(holes)


def _blur(level: Image, line: Floats) -> float:
    """Width of the step along a line, the middle of all. [px]"""
    import cv2

    slope = np.hypot(cv2.Sobel(level, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(level, cv2.CV_32F, 0, 1, scale=0.125))
    at = np.round(line).astype(np.int64)
    return 1.0 / max(float(np.median(slope[at[:, 1], at[:, 0]])), 1e-3)


def _even_light(near: Image, even: Image, lines: tuple[Floats, tuple[Floats, ...]], blur: float, name: str) -> None:
    """Is the line an edge of the template all round, not that of a shadow, a hand or a stain?

    Across the true edge the light changes by the same factor everywhere, in light and in shadow, because both sides lie
    in the same light. Across the border of a shadow it changes by how deep the shadow is; across a hand's, by its tone.

    Args:
        near: The picture round the template in linear light.
        even: The table's brightness there.
        lines: Outline and cut-outs. [px]
        blur: Width of the edge. [px]
        name: What errors call the picture.

    Raises:
        SurfaceError: part of the line is no edge of the template.
    """
    import cv2

    light = cv2.boxFilter(np.maximum(near.mean(axis=2), 1e-4), -1, (5, 5))
    away = max(4.0, 2.0 * blur) + 2.0
    outline, holes = lines
    step = _step(light, outline, away)
    usual = float(np.median(step))
    bound = max(UNLIKE * abs(usual), FAINT)
    unlike = float(np.mean(np.abs(step - usual) > bound))
    if unlike > UNLIKE_SHARE:
        raise _shadow(name, f"along {unlike:.0%} of its edge")
    for hole in holes:
        if np.sqrt(abs(shoelace(hole)) / np.pi) < 2.0 * away:
            continue  # too narrow to be looked into
        if abs(float(np.median(_step(light, hole, -away))) - usual) > bound:
            raise _shadow(name, "round what looks like a cut-out")
    if abs(usual) > CONFUSED:
        return
    inside = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(outline).astype(np.int32)], 1)
    for hole in holes:
        cv2.fillPoly(inside, [np.round(hole).astype(np.int32)], 0)
    rim = int(np.ceil(away))
    inside = cv2.erode(inside, np.ones((2 * rim + 1, 2 * rim + 1), np.uint8))
    seen = np.log(light / np.maximum(even.mean(axis=2), 1e-4))[inside > 0]
    if len(seen) and float(np.mean(np.abs(seen - np.median(seen)) > 0.5 * abs(usual))) > 2.0 * UNLIKE_SHARE:
        raise _shadow(name, "within it, by as much as table and template differ,")


def _step(light: Image, line: Floats, away: float) -> Floats:
    """Logarithm of the light inside a closed line over that outside it, at each of its points."""
    import cv2

    along = np.roll(line, -4, axis=0) - np.roll(line, 4, axis=0)
    along = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    inward = np.column_stack([-along[:, 1], along[:, 0]]) * (away if shoelace(line) > 0 else -away)
    seen = []
    for at in (line + inward, line - inward):
        x, y = np.ascontiguousarray(at.T.astype(np.float32))
        seen.append(cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).ravel())
    made: Floats = np.log(seen[0].astype(np.float64) / seen[1].astype(np.float64))
    return made


def _shadow(name: str, where: str) -> SurfaceError:
    return SurfaceError(
        f"{name}: {where} the light does not change as it does from table to template: a shadow, a hand, a stain or "
        "something else lies there, and the line can't be trusted",
        "Take another picture: daylight from all sides or a lamp high over the table, no shadow of phone or hand on "
        "template and table, nothing on the template",
    )


def _no_contrast(name: str) -> SurfaceError:
    return SurfaceError(
        f"{name}: nothing beside the sheet stands out clearly from the table",
        "Lay the template on something plain of quite another tone: white paper on a dark board, brown card on white",
    )
