"""SVG drawings: shapes and paths, transforms, `<use>`, units; loaded only when asked for.

    A drawing in metres     read_svg("rib.svg")

The unit comes from the sheet: `width="210mm" viewBox="0 0 210 297"` makes one user unit one millimetre. A sheet
without a physical width and height (pixels, per cent, or nothing) has no unit, and the user gives that of one user
unit of the viewBox. SVG counts y downward: it is turned round, so that y is up from the lower edge of the sheet.
The layer of a line is the nearest named layer or group it is in.

Source: SVG 2 (W3C), chapter 8, for viewBox and preserveAspectRatio; chapter 9 for the arc flags of paths.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np

from layup.errors import SurfaceError
from layup.files.drawing import Drawing, assemble, count_of
from layup.files.reading import read_file
from layup.shape.curves import Curve, Line2, arc, bezier
from layup.shape.surface import Finding
from layup.words import plain

if TYPE_CHECKING:
    from svgelements import PathSegment, Point, Shape, SVGElement


LARGEST = 100_000_000
"""A file with more bytes is refused. [bytes]"""
_LENGTHS = {"mm": 1e-3, "cm": 1e-2, "in": 0.0254, "pt": 0.0254 / 72.0, "pc": 0.0254 / 6.0, "q": 0.25e-3}
_LABEL = "{http://www.inkscape.org/namespaces/inkscape}label"


def read_svg(path: str | Path, *, unit: str | None = None, gap: float | None = None) -> Drawing:
    """Read an SVG drawing.

    Args:
        path: The file; errors show it as given.
        unit: Unit of one user unit, needed where the sheet has no physical width and height.
        gap: Ends no further apart than this are joined; None for 1e-4 of the drawing's size. [m]

    Raises:
        SurfaceError: missing, damaged, nothing drawn, no unit (with the three readings), a unit that disagrees with
            the file's, no line that closes, a `<use>` that uses itself.
    """
    name = str(path)
    root = _root(Path(path), name)
    sheet = _Sheet(root, name)
    try:
        uses = Uses(root, name)
        if uses.count(root) > MOST:
            raise SurfaceError(f"{name}: more than {MOST:,} elements, copies written out", "Save only the outline")
        drawn = sheet.plain(written_out(root, sheet.size, uses))
        shapes = list(_shapes(ElementTree.tostring(drawn)))
        seen = [(shape, layer) for shape, layer in shapes if _is_seen(shape)]
        if shapes and not seen:
            raise SurfaceError(
                f"{name}: all its shapes are hidden, or have neither line nor fill", "Give the outline a line"
            )
        curves = [curve for shape, layer in seen for curve in _curves(shape, layer, sheet)]
        notes = _notes(drawn, len(shapes) - len(seen))
        return assemble(curves, name, stated=sheet.unit, reason=sheet.reason, given=unit, gap=gap, findings=notes)
    except SurfaceError:
        raise
    except RecursionError:
        raise SurfaceError(f"{name}: groups too deep to read", "Ungroup the drawing and save it again") from None
    except Exception as problem:  # the library raises whatever it runs into on impossible attributes
        lines = str(problem).strip().splitlines()
        short = lines[0][:80] if lines else type(problem).__name__
        raise SurfaceError(f"{name}: damaged ({short})", "Save it again as plain SVG") from None


def _root(path: Path, name: str) -> ElementTree.Element:
    try:
        if path.stat().st_size > LARGEST:
            raise SurfaceError(f"{name}: more than {LARGEST / 1e6:.0f} MB", "Save only the outline and its holes")
        data = read_file(path, LARGEST)
    except OSError as problem:
        raise SurfaceError(f"{name}: can't be read ({problem.strerror})", "Check the name") from None
    if not data.strip():
        raise SurfaceError(f"{name}: the file is empty", "Save it again as plain SVG")
    if data[:2] == b"\x1f\x8b":
        raise SurfaceError(f"{name}: a compressed SVG", "Save it as plain SVG, not compressed")
    if b"<!ENTITY" in data:
        raise SurfaceError(f"{name}: it defines entities, which are not read", "Save it again as plain SVG")
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError, RecursionError) as problem:
        place = getattr(problem, "position", None)
        where = f" at line {place[0]}, column {place[1] + 1}" if place else ""
        raise SurfaceError(f"{name}: damaged or cut short{where}: not SVG", "Save it again as plain SVG") from None
    if tag_of(root) != "svg":
        raise SurfaceError(f"{name}: not an SVG drawing, its root is <{str(root.tag)[:40]}>", "Save it as plain SVG")
    return root


class _Sheet:
    """Size, unit and origin of the sheet: how a point of the file becomes one with y up, in user units."""

    def __init__(self, root: ElementTree.Element, name: str) -> None:
        box = re.findall(NUMBER, root.get("viewBox", ""))
        self.box = [float(v) for v in box] if len(box) == 4 else None
        if self.box is not None and not (0.0 < self.box[2] < np.inf and 0.0 < self.box[3] < np.inf):
            raise SurfaceError(f"{name}: its viewBox has no size", "Save it again as plain SVG")
        wide, high = (_length(root.get(key)) for key in ("width", "height"))
        self.unit: float | None = None
        self.stretch = 1.0  # of y against x
        self.reason = "its sheet has no width and height in mm, cm or in"
        self.wide = _pixels(root.get("width"))
        if wide is None and high is None:
            self.top = self.box[1] + self.box[3] if self.box else _pixels(root.get("height"))
            return
        if wide is None or high is None:
            ratio = self.box[2] / self.box[3] if self.box else 1.0
            wide, high = wide or (high or 0.0) * ratio, high or (wide or 0.0) / ratio
        if not (0.0 < wide < np.inf and 0.0 < high < np.inf):
            raise SurfaceError(f"{name}: its sheet has no size", "Save it again with a width and height in mm")
        sheet = f"{plain(wide * 1e3, 4)} x {plain(high * 1e3, 4)} mm"
        if self.box is None:
            self.unit = 0.0254 / 96.0  # CSS: one user unit is a pixel of 1/96 in
            self.wide, self.top = wide / self.unit, high / self.unit
            self.reason = f"px of 1/96 in, the file gives its sheet as {sheet} without a viewBox"
            return
        across, down = wide / self.box[2], high / self.box[3]
        rule = root.get("preserveAspectRatio", "").split()
        if rule and rule[0] == "none":
            self.unit, self.stretch = across, down / across
        else:
            self.unit = max(across, down) if "slice" in rule else min(across, down)
        self.top = self.box[1] + self.box[3]
        self.reason = (
            f"{plain(self.unit * 1e3, 6)} mm, the file says so: its sheet is {sheet} and "
            f"{self.box[2]:g} x {self.box[3]:g} units"
        )

    @property
    def size(self) -> tuple[float, float]:
        """Width and height for per cents. [user units]"""
        return (self.box[2], self.box[3]) if self.box else (self.wide, self.top)

    def plain(self, root: ElementTree.Element) -> ElementTree.Element:
        """The drawing with one user unit to one unit: sheet scale and origin are applied here, not by the library."""
        for key in ("viewBox", "preserveAspectRatio"):
            root.attrib.pop(key, None)
        root.set("width", "1000")
        root.set("height", "1000")
        return root

    def place(self, points: Line2) -> Line2:
        """Points with y up from the lower edge of the sheet. [user units]"""
        left = self.box[0] if self.box else 0.0
        return np.column_stack([points[:, 0] - left, (self.top - points[:, 1]) * self.stretch])


def _length(text: str | None) -> float | None:
    """A physical length, None for pixels, per cent and nothing. [m]"""
    match = re.fullmatch(rf"\s*({NUMBER})\s*([a-zA-Z]+)\s*", text or "")
    factor = _LENGTHS.get(match[2].lower()) if match else None
    return float(match[1]) * factor if match and factor else None


def _pixels(text: str | None) -> float:
    match = re.match(rf"\s*({NUMBER})\s*(?:px)?\s*$", text or "")
    return float(match[1]) if match else 0.0


def _shapes(data: bytes) -> Iterator[tuple[Shape, str]]:
    """Every shape that is shown, in the order of the file, with its layer."""
    from svgelements import SVG, Shape

    def walk(node: SVGElement, layer: str, labelled: bool) -> Iterator[tuple[Shape, str]]:
        for child in node:
            if isinstance(child, Shape):
                yield child, layer
            elif isinstance(child, list):
                values = getattr(child, "values", None)
                own = (values.get("attributes") or {}) if isinstance(values, dict) else {}
                label, word = own.get(_LABEL), own.get("id")
                if label:
                    yield from walk(child, str(label), True)
                else:
                    yield from walk(child, layer if labelled or not word else str(word), labelled)

    yield from walk(SVG.parse(io.BytesIO(data), reify=False, ppi=96.0), "", False)


def _is_seen(shape: Shape) -> bool:
    """Whether a shape is shown: neither hidden, nor without both line and fill."""
    values = shape.values
    none = ("none", "transparent")
    line, fill = (str(values.get(word) or other).strip() for word, other in (("stroke", "none"), ("fill", "black")))
    return values.get("visibility") not in ("hidden", "collapse") and not (line in none and fill in none)


def _notes(root: ElementTree.Element, unseen: int) -> list[Finding]:
    notes = []
    texts = sum(1 for e in root.iter() if tag_of(e) in ("text", "image"))
    if texts:
        notes.append(Finding("left out", texts, f"not lines, left out: {texts} texts or images", 0.0))
    if unseen:
        text = f"{count_of(unseen, 'shape')} hidden, or without line and fill, left out"
        notes.append(Finding("hidden", unseen, text, 0.0))
    clipped = sum(1 for e in root.iter() if _is_clipped(e))
    if clipped:
        text = f"{count_of(clipped, 'shape or group')} shown only in part (clipped or masked); read whole"
        notes.append(Finding("clipped", clipped, text))
    return notes


def _is_clipped(element: ElementTree.Element) -> bool:
    style = element.get("style", "").replace(" ", "")
    given = [element.get("clip-path"), element.get("mask")]
    return any(word and word != "none" for word in given) or "clip-path:url" in style or "mask:url" in style


def _curves(shape: Shape, layer: str, sheet: _Sheet) -> Iterator[Curve]:
    """One curve for each stretch of a shape between moves."""
    m = shape.transform
    turn = np.array([[m.a, m.b], [m.c, m.d]], dtype=np.float64)
    shift = np.array([m.e, m.f], dtype=np.float64)
    run: list[PathSegment] = []
    for segment in shape.segments(transformed=False):
        kind = type(segment).__name__
        if kind == "Move":
            if run:
                yield _run(run, False, layer, sheet, turn, shift)
            run = []
        elif kind == "Close":
            if run:
                yield _run(run, True, layer, sheet, turn, shift)
            run = []
        else:
            run.append(segment)
    if run:
        yield _run(run, False, layer, sheet, turn, shift)


def _run(run: list[PathSegment], closed: bool, layer: str, sheet: _Sheet, turn: Line2, shift: Line2) -> Curve:
    stretch = float(np.abs(turn).max()) or 1.0

    def points(sagitta: float) -> Line2:
        parts = [_segment(s, sagitta / stretch) for s in run]
        line = np.concatenate([*(p[:-1] for p in parts), parts[-1][-1:]])
        return sheet.place(line @ turn + shift)

    return Curve(layer, points, closed)


def _segment(segment: PathSegment, sagitta: float) -> Line2:
    """Points of one segment before its transform, both ends met."""
    kind = type(segment).__name__
    first, last = _xy(segment.start), _xy(segment.end)
    if kind in ("QuadraticBezier", "CubicBezier"):
        controls = [segment.control] if kind == "QuadraticBezier" else [segment.control1, segment.control2]
        return bezier([first, *(_xy(c) for c in controls), last], sagitta)
    if kind == "Arc":
        line = _arc(segment, sagitta)
        line[0], line[-1] = first, last
        return line
    return np.array([first, last])


def _arc(segment: PathSegment, sagitta: float) -> Line2:
    centre, p, q, first = (_xy(v) for v in (segment.center, segment.prx, segment.pry, segment.start))
    u, v = (p[0] - centre[0], p[1] - centre[1]), (q[0] - centre[0], q[1] - centre[1])
    cross = u[0] * v[1] - u[1] * v[0]
    w = (first[0] - centre[0], first[1] - centre[1])
    if cross == 0.0 or not np.isfinite(cross):
        return np.array([first, _xy(segment.end)])
    start = float(np.arctan2((u[0] * w[1] - u[1] * w[0]) / cross, (w[0] * v[1] - w[1] * v[0]) / cross))
    sweep = float(segment.sweep)
    if abs(sweep) > 2.0 * np.pi - 1e-9:
        half = start + sweep / 2.0
        there, back = ((start, half), (half, start + sweep))
        return np.concatenate([arc(centre, u, v, *there, sagitta)[:-1], arc(centre, u, v, *back, sagitta)])
    return arc(centre, u, v, start, start + sweep, sagitta)


def _xy(point: Point) -> tuple[float, float]:
    return float(point.x), float(point.y)


MOST = 200_000
"""A drawing with more elements, `<use>` written out, is refused. [-]"""
DEEPEST = 300
"""Groups within groups, at most. [-]"""
NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_HREF = "{http://www.w3.org/1999/xlink}href"
_UNSEEN = {
    "clipPath", "mask", "pattern", "marker", "metadata", "foreignObject", "defs", "symbol", "linearGradient",
    "radialGradient", "filter", "title", "desc", "script", "hatch", "cursor", "font", "glyph",
}  # fmt: skip
_PIXELS = {"px": 1.0, "in": 96.0, "cm": 96.0 / 2.54, "mm": 96.0 / 25.4, "q": 96.0 / 101.6, "pt": 96.0 / 72.0,
           "pc": 16.0, "em": 16.0, "rem": 16.0, "ex": 8.0, "ch": 8.0}  # fmt: skip
_ALONG = {"x": 0, "cx": 0, "x1": 0, "x2": 0, "width": 0, "rx": 0, "y": 1, "cy": 1, "y1": 1, "y2": 1, "height": 1,
          "ry": 1, "r": 2}  # fmt: skip
_LOST_ON_COPY = ("x", "y", "width", "height", "href", _HREF, "transform", "transform-origin")
_SHEET = ("viewBox", "preserveAspectRatio", "refX", "refY")

Size = tuple[float, float]


def tag_of(element: ElementTree.Element) -> str:
    """The tag of an element without its name space."""
    return str(element.tag).rpartition("}")[2]


class Uses:
    """How many elements a drawing has with every `<use>` written out; each is counted once and remembered."""

    def __init__(self, root: ElementTree.Element, name: str) -> None:
        self.name = name
        self.by_id = {str(e.get("id")): e for e in root.iter() if e.get("id")}
        self.known: dict[int, int] = {}
        self.open: set[int] = set()

    def count(self, element: ElementTree.Element) -> int:
        """Elements of this one and all below it.

        Raises:
            SurfaceError: a `<use>` of itself or of something that is not there; groups too deep.
        """
        key = id(element)
        if key in self.open:
            word = element.get("id", "")
            raise SurfaceError(f'{self.name}: <use> of "{word}" uses itself', "Ungroup the drawing and save it again")
        if len(self.open) > DEEPEST:
            raise SurfaceError(f"{self.name}: groups too deep to read", "Ungroup the drawing and save it again")
        if key not in self.known:
            self.open.add(key)
            total = 1 + sum(self.count(child) for child in element)
            if tag_of(element) == "use":
                total += self.count(self.target(element))
            self.open.discard(key)
            self.known[key] = min(total, MOST + 1)
        return self.known[key]

    def target(self, use: ElementTree.Element) -> ElementTree.Element:
        """What a `<use>` uses.

        Raises:
            SurfaceError: it is not in the file.
        """
        word = (use.get("href") or use.get(_HREF) or "").strip()
        target = self.by_id.get(word.removeprefix("#"))
        if target is None or not word.startswith("#"):
            raise SurfaceError(
                f'{self.name}: <use> of "{word}", which is not in the file', "Put it in the file, or take the <use> out"
            )
        return target


def written_out(root: ElementTree.Element, size: Size, uses: Uses) -> ElementTree.Element:
    """The drawing with copies and inner sheets written out; nothing of it is shared with the original.

    Args:
        root: The outermost `<svg>`.
        size: Of its viewBox, for per cents. [user units]
        uses: Of the same drawing, counted.
    """
    made = ElementTree.Element(root.tag, {k: v for k, v in root.attrib.items() if k not in ("x", "y")})
    for child in root:
        _copy(child, made, size, uses)
    return made


def _copy(element: ElementTree.Element, into: ElementTree.Element, size: Size, uses: Uses) -> None:
    tag = tag_of(element) if isinstance(element.tag, str) else ""
    if not tag or tag in _UNSEEN:
        return
    if tag == "use":
        group = _group(element, into)
        x, y = _share(element.get("x"), size[0]) or 0.0, _share(element.get("y"), size[1]) or 0.0
        target = uses.target(element)
        if tag_of(target) in ("symbol", "svg"):
            inner = _group(target, group)
            window = _window(element, target, size)
            _sheet(target, inner, (x, y), window, uses)
        else:
            group.set("transform", f"{_transform(element)} translate({x:.17g} {y:.17g})".strip())
            _copy(target, group, size, uses)
            return
        group.set("transform", _transform(element))
    elif tag == "svg":
        group = _group(element, into)
        x, y = _share(element.get("x"), size[0]) or 0.0, _share(element.get("y"), size[1]) or 0.0
        _sheet(element, group, (x, y), _window(element, element, size), uses)
    else:
        made = ElementTree.SubElement(into, element.tag, _plain(element, size))
        made.text = element.text
        for child in element:
            _copy(child, made, size, uses)


def _group(element: ElementTree.Element, into: ElementTree.Element) -> ElementTree.Element:
    space = str(element.tag).rpartition("}")[0]
    tag = f"{space}}}g" if space else "g"
    kept = {k: v for k, v in element.attrib.items() if k not in _LOST_ON_COPY and k not in _SHEET}
    return ElementTree.SubElement(into, tag, kept)


def _window(outer: ElementTree.Element, inner: ElementTree.Element, size: Size) -> Size:
    """Width and height of a sheet within the sheet. [user units]"""
    found = []
    for axis, word in enumerate(("width", "height")):
        text = outer.get(word) or inner.get(word)
        length = _share(text, size[axis])
        found.append(size[axis] if length is None else length)
    return found[0], found[1]


def _sheet(sheet: ElementTree.Element, group: ElementTree.Element, at: Size, window: Size, uses: Uses) -> None:
    """The children of a sheet within the sheet, placed as its viewBox says."""
    box = [float(v) for v in re.findall(NUMBER, sheet.get("viewBox", ""))]
    size, place = window, f"translate({at[0]:.17g} {at[1]:.17g})"
    if len(box) == 4:
        if not (box[2] > 0.0 and box[3] > 0.0 and window[0] > 0.0 and window[1] > 0.0):
            return  # by the standard such a sheet shows nothing
        sx, sy, dx, dy = fitted(box, window, sheet.get("preserveAspectRatio", ""))
        place += f" translate({dx:.17g} {dy:.17g}) scale({sx:.17g} {sy:.17g})"
        size = (box[2], box[3])
    group.set("transform", f"{_transform(sheet)} {place}".strip())
    for child in sheet:
        _copy(child, group, size, uses)


def fitted(box: list[float], window: Size, rule: str) -> tuple[float, float, float, float]:
    """Scale along x and y and shift that put a viewBox into a window.

    Args:
        box: Left, top, width, height of the viewBox.
        window: Width and height.
        rule: The text of preserveAspectRatio, "" for xMidYMid meet.
    """
    sx, sy = window[0] / box[2], window[1] / box[3]
    words = rule.split()
    align = words[0] if words else "xMidYMid"
    if align != "none":
        sx = sy = max(sx, sy) if "slice" in words else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    found = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", align)
    ax, ay = (share[found[1]], share[found[2]]) if found else (0.5, 0.5)
    if align == "none":
        ax = ay = 0.0
    return sx, sy, ax * (window[0] - sx * box[2]) - sx * box[0], ay * (window[1] - sy * box[3]) - sy * box[1]


def _plain(element: ElementTree.Element, size: Size) -> dict[str, str]:
    """The attributes of a shape or group with plain numbers for lengths."""
    out = dict(element.attrib)
    if tag_of(element) not in ("g", "a", "path", "text", "tspan", "style", "image"):
        for word, axis in _ALONG.items():
            if word in out:
                whole = size[axis] if axis < 2 else math.hypot(*size) / math.sqrt(2.0)
                length = _share(out[word], whole)
                if length is not None:
                    out[word] = f"{length:.17g}"
    if "transform-origin" in out:
        out["transform"] = _transform(element)
        del out["transform-origin"]
    return out


def _transform(element: ElementTree.Element) -> str:
    """The transform of an element, about its transform-origin."""
    text = element.get("transform", "")
    origin = re.findall(NUMBER, element.get("transform-origin", "")) if text else []
    if len(origin) == 2:
        x, y = (float(v) for v in origin)
        text = f"translate({x:.17g} {y:.17g}) {text} translate({-x:.17g} {-y:.17g})"
    return text


def _share(text: str | None, whole: float) -> float | None:
    """A length in user units, None where there is none or it can't be told."""
    match = re.fullmatch(rf"\s*({NUMBER})\s*(%|[a-zA-Z]*)\s*", text or "")
    if match is None:
        return None
    value, unit = float(match[1]), match[2].lower()
    if unit == "%":
        return value / 100.0 * whole
    return value * _PIXELS[unit] if unit in _PIXELS else value if not unit else None
