"""The sheet that lies beside a template in its photograph: markers of known size, and two bars to check the printer.

    The file to print                          sheet_pdf("a4")
    Where a corner of the pattern lies         board(1) gives it to the reader of the photo
    What the two bars say about the printer    print_scale("99.6 mm", None)

The pattern is the same on both papers, 6 by 8 squares of 28 mm in the middle of the paper: a chessboard with a marker
in each white square, from the dictionary of 4 by 4 marks of the open computer-vision library OpenCV. Four sheets have
markers of their own, so that one can lie at either side of a template, or all round it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layup.errors import SurfaceError, UnitError, nearest
from layup.units import parse

if TYPE_CHECKING:
    from cv2.aruco import CharucoBoard
    from reportlab.pdfgen.canvas import Canvas

COLUMNS, ROWS = 6, 8
SQUARE = 0.028
"""Side of one square. [m]"""
MARKER = 0.021
"""Side of one marker, its black border counted: six marks of 3.5 mm. [m]"""
WIDE, HIGH = COLUMNS * SQUARE, ROWS * SQUARE
"""The pattern. [m]"""
SHEETS = 4
"""How many sheets have markers of their own. [-]"""
ACROSS, ALONG = 0.100, 0.200
"""Lengths of the two bars, across the paper and along it, as they should come off the printer. [m]"""
PAPERS = {"a4": (0.210, 0.297), "letter": (0.2159, 0.2794)}
"""Width and height: A4 of ISO 216, Letter of ANSI/ASME Y14.1 size A, 8 1/2 by 11 in. [m]"""
OFF_SCALE = 0.02
"""A bar that is off by a larger share was printed to fit the page, and the sheet is refused. [-]"""
UNCHECKED = 0.02
"""Standard deviation of a printer's scale that nobody checked: "fit to page" prints at 93 to 97 % and looks no
different. Common practice, no source. [-]"""
READING = 0.00015
"""Standard deviation of a length read off a steel rule, marked in half millimetres; common practice, no source. [m]"""
SKEW = 0.0015
"""Standard deviation between a printer's scales across and along, where only one was checked; no source. [-]"""

_POINT = 0.0254 / 72.0
_MODULE = SQUARE / 8.0


@dataclass(frozen=True, slots=True)
class PrintScale:
    """How much larger than drawn the sheet came off the printer.

    Attributes:
        across: Across the paper. [-]
        along: Along the paper. [-]
        spread: Standard deviation of an area read with them, over that area. [-]
        checked: Whether a bar was measured.
    """

    across: float
    along: float
    spread: float
    checked: bool


def opencv() -> None:
    """See that OpenCV is here, which only photographs need.

    Raises:
        SurfaceError: it is not installed, or too old; says what to type.
    """
    try:
        cv2 = import_module("cv2")
        cv2.aruco.CharucoDetector  # noqa: B018  # from release 4.7 on
    except (ImportError, AttributeError):
        raise SurfaceError(
            "photographs need OpenCV, which is not installed here", "Type: pip install opencv-python-headless"
        ) from None


def board(number: int) -> CharucoBoard:
    """The pattern of one sheet, for OpenCV: x to the right, y down, from its upper left corner. [m]

    Args:
        number: Of the sheet, 1 to SHEETS. [-]

    Raises:
        SurfaceError: no such sheet; OpenCV is not installed.
    """
    if not 1 <= number <= SHEETS:
        raise SurfaceError(f"there is no sheet {number}", f"Sheets are numbered 1 to {SHEETS}")
    opencv()
    import cv2

    each = COLUMNS * ROWS // 2
    ids = np.arange(each) + each * (number - 1)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE, MARKER, words, ids)


def print_scale(across: str | None, along: str | None) -> PrintScale:
    """The printer's scale, from the bars as measured with a rule.

    Args:
        across: Bar A, drawn 100 mm long, as measured: "99.6 mm".
        along: Bar B, drawn 200 mm long, as measured.

    Returns:
        The scales; with one bar the other way is taken to be the same, less surely; with none both are 1.

    Raises:
        SurfaceError: a bar that is no length, or so far off that the sheet was printed to fit the page.
    """
    a, b = _bar("A", ACROSS, across), _bar("B", ALONG, along)
    by_a, by_b = READING / ACROSS, READING / ALONG
    if a is not None and b is not None:
        return PrintScale(a, b, float(np.hypot(by_a, by_b)), True)
    if a is None and b is None:
        return PrintScale(1.0, 1.0, 2.0 * UNCHECKED, False)
    one, by = (a, by_a) if a is not None else (b, by_b)
    assert one is not None
    return PrintScale(one, one, float(np.hypot(2.0 * by, SKEW)), True)


def _bar(word: str, due: float, measured: str | None) -> float | None:
    if measured is None:
        return None
    shown = f"{due * 1e3:.0f} mm"
    try:
        length = parse(measured, "length")
    except UnitError as problem:
        raise SurfaceError(f"bar {word}: {problem}", f'It is drawn {shown} long; write it as "{shown}"') from None
    if abs(length / due - 1.0) > OFF_SCALE:
        raise SurfaceError(
            f"bar {word} measures {length * 1e3:.4g} mm and is drawn {shown} long: the sheet was printed at the wrong "
            f"scale, {length / due:.1%} of its size",
            'Print it again at 100 %, "actual size", not "fit to page", and measure the bar again',
        )
    return length / due


def sheet_pdf(paper: str = "a4", sheets: int = 2) -> bytes:
    """The file to print, at exact scale.

    Args:
        paper: "a4" or "letter".
        sheets: How many sheets, one a page: two, one at either side, tell far more than one. [-]

    Returns:
        The file; the same bytes for the same arguments.

    Raises:
        SurfaceError: another paper, a number of sheets there are no markers for, or no OpenCV.
    """
    word = paper.strip().casefold()
    if word not in PAPERS:
        raise SurfaceError(f'there is no paper "{paper}"', nearest(word, PAPERS) or 'Write "a4" or "letter"')
    if not 1 <= sheets <= SHEETS:
        raise SurfaceError(f"{sheets} sheets can't be printed", f"Markers there are for 1 to {SHEETS} sheets")
    from reportlab.pdfgen.canvas import Canvas

    _font()
    wide, high = PAPERS[word]
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(wide / _POINT, high / _POINT), invariant=1, pageCompression=0)
    canvas.setTitle("Sheet for photographs of templates")
    canvas.setAuthor("layup")
    canvas.setSubject("Markers of known size, to lie beside a template in its photograph")
    canvas.setViewerPreference("PrintScaling", "None")
    for number in range(1, sheets + 1):
        _page(canvas, number, wide, high)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _font() -> None:
    import matplotlib
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if "Marked" not in pdfmetrics.getRegisteredFontNames():
        font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
        pdfmetrics.registerFont(TTFont("Marked", str(font)))


def _page(canvas: Canvas, number: int, wide: float, high: float) -> None:
    """One sheet: the pattern in the middle, words above, a bar below and a bar at the right."""
    import shapely

    left, low = (wide - WIDE) / 2.0, (high - HIGH) / 2.0
    dark = board(number).generateImage((COLUMNS * 8, ROWS * 8), None, 0, 1)[::-1] < 128
    cells = [shapely.box(x, y, x + 1, y + 1) for y, x in np.argwhere(dark)]
    path = canvas.beginPath()
    for piece in shapely.get_parts(shapely.unary_union(cells)):
        for ring in (piece.exterior, *piece.interiors):
            line = shapely.get_coordinates(ring.simplify(0.0))[:-1] * _MODULE + (left, low)
            path.moveTo(*(line[0] / _POINT))
            for point in line[1:]:
                path.lineTo(*(point / _POINT))
            path.close()
    canvas.setFillGray(0.0)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

    top = low + HIGH
    _words(canvas, left, top + 0.0115, 10.5, f"Sheet {number}: lay it flat, two fingers from the template")
    _words(
        canvas,
        left,
        top + 0.0065,
        8.0,
        'Printed at 100 % ("actual size"). Keep sheets and template whole in the picture.',
    )
    middle = wide / 2.0
    y = low - 0.0085
    _ruler(canvas, (middle - ACROSS / 2.0, y), (1.0, 0.0), ACROSS)
    said = "mm between the outer marks. Measured: ............ mm"
    _words(canvas, middle - ACROSS / 2.0, y - 0.0045, 8.0, f"A: {ACROSS * 1e3:.0f} {said}")
    x = left + WIDE + 0.007
    start = low + (HIGH - ALONG) / 2.0
    _ruler(canvas, (x, start), (0.0, 1.0), ALONG)
    canvas.saveState()
    canvas.translate((x + 0.005) / _POINT, start / _POINT)
    canvas.rotate(90)
    _words(canvas, 0.0, 0.0, 8.0, f"B: {ALONG * 1e3:.0f} {said}")
    canvas.restoreState()


def _words(canvas: Canvas, x: float, y: float, size: float, text: str) -> None:
    canvas.setFont("Marked", size)
    canvas.drawString(x / _POINT, y / _POINT, text)


def _ruler(canvas: Canvas, start: tuple[float, float], way: tuple[float, float], length: float) -> None:
    """A bar with a mark every 10 mm; the first and last are `length` apart from middle to middle of their lines."""
    at, along = np.array(start), np.array(way)
    up = np.array([-along[1], along[0]])
    canvas.setLineWidth(0.0002 / _POINT)
    canvas.setLineCap(0)
    canvas.line(*(at / _POINT), *((at + along * length) / _POINT))
    count = round(length / 0.010)
    for mark in range(count + 1):
        foot = at + along * length * mark / count
        tall = 0.0045 if mark in (0, count) else 0.0028 if mark % 5 == 0 else 0.0018
        canvas.line(*(foot / _POINT), *((foot + up * tall) / _POINT))
