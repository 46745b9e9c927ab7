"""An SVG drawing with every copy and every sheet within the sheet written out, so that only shapes and groups are left.

    How many elements it comes to       Uses(root, name).count(root)
    The drawing written out             written_out(root, size, uses)

A `<use>` becomes a group with a copy of what it uses. A `<svg>` within the drawing, and a `<symbol>` that is used,
become a group with the scale and place of their viewBox. Lengths become user units: per cent of the sheet they are in,
and 1/96 in to a pixel.

Source: SVG 2 (W3C), chapter 5 for `<use>` and `<symbol>`, 8 for viewBox, preserveAspectRatio and the size of per
cents; CSS Values and Units 3 (W3C), absolute lengths: 1 in = 96 px = 72 pt = 6 pc = 25.4 mm = 101.6 Q.
"""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

from layup.errors import SurfaceError

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
        x, y = _length(element.get("x"), size[0]) or 0.0, _length(element.get("y"), size[1]) or 0.0
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
        x, y = _length(element.get("x"), size[0]) or 0.0, _length(element.get("y"), size[1]) or 0.0
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
        length = _length(text, size[axis])
        found.append(size[axis] if length is None else length)
    return found[0], found[1]


def _sheet(
    sheet: ElementTree.Element, group: ElementTree.Element, at: Size, window: Size, uses: Uses
) -> None:  # fmt: skip
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
                length = _length(out[word], whole)
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


def _length(text: str | None, whole: float) -> float | None:
    """A length in user units, None where there is none or it can't be told."""
    match = re.fullmatch(rf"\s*({NUMBER})\s*(%|[a-zA-Z]*)\s*", text or "")
    if match is None:
        return None
    value, unit = float(match[1]), match[2].lower()
    if unit == "%":
        return value / 100.0 * whole
    return value * _PIXELS[unit] if unit in _PIXELS else value if not unit else None
