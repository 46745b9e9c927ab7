"""DXF drawings: lines, arcs, circles, ellipses, splines, polylines with bulges, blocks; loaded only when asked for.

    A drawing in metres     read_dxf("rib.dxf")

A block's own layer "0" stands for the layer of its insert, as the DXF reference has it. Layers that are switched
off or frozen are left out. Texts, dimensions and points enclose nothing: they are counted and left out. Hatches and
filled corners are read as fills. Regions, meshes and solids are counted and named: what they hold is
missing. A block that stands in another file is a fault. Arcs and bulges keep their exact area, splines to about 1e-5.

Sources: header variable $INSUNITS, its codes 1 (inches) to 21 (US survey feet): Autodesk DXF Reference, HEADER
section (codes from memory, checked in the tests against the table of the library that reads the file). A block with a
unit of its own is not converted but placed at the scale its insert states: documentation of ezdxf, "DXF Units".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layup.errors import SurfaceError
from layup.files.drawing import Drawing, assemble
from layup.files.reading import read_file
from layup.shape.curves import Curve, Line2, Pair, arc, bulged
from layup.shape.surface import Finding

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.entities.boundary_paths import PolylinePath
    from ezdxf.entities.circle import Circle
    from ezdxf.entities.dxfentity import DXFEntity
    from ezdxf.entities.ellipse import Ellipse
    from ezdxf.entities.insert import Insert
    from ezdxf.entities.spline import Spline
    from ezdxf.math import Vec3

UNITS = {
    1: ("in", 0.0254), 2: ("ft", 0.3048), 4: ("mm", 1e-3), 5: ("cm", 1e-2), 6: ("m", 1.0), 9: ("mil", 0.0254e-3),
    10: ("yd", 0.9144), 13: ("micron", 1e-6), 14: ("dm", 0.1), 21: ("US survey ft", 1200.0 / 3937.0),
}  # fmt: skip
LARGEST = 200_000_000
"""A file with more bytes is refused. [bytes]"""
_EXPLODE = "Explode a REGION into lines; save meshes and solids as STL or STEP"
MOST_SPLINE = 3000
"""Points of one spline: its curve is solved for at once, and memory grows with their square. [-]"""
MOST = 100_000
"""A drawing with more entities, blocks written out, is refused. [-]"""
DEEPEST = 24
"""Blocks within blocks, at most. [-]"""
TILT = 1e-3
"""A line that rises by more than this share of its size is not flat. [-]"""
_DRAWN = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}
_NOTES = {
    "TEXT", "MTEXT", "DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MLEADER", "MULTILEADER",
    "TOLERANCE", "POINT", "IMAGE", "WIPEOUT", "PDFUNDERLAY", "DWFUNDERLAY", "DGNUNDERLAY", "VIEWPORT", "XLINE", "RAY",
    "ATTDEF", "ATTRIB", "OLE2FRAME", "OLEFRAME", "SHAPE", "LIGHT", "SUN", "ACAD_TABLE",
}  # fmt: skip
"""What encloses nothing; anything else that is not read may be part of the part."""


def read_dxf(path: str | Path, *, unit: str | None = None, gap: float | None = None) -> Drawing:
    """Read a DXF drawing.

    Args:
        path: The file; errors show it as given.
        unit: Unit of its numbers, needed where the file states none ($INSUNITS missing or 0).
        gap: Ends no further apart than this are joined; None for 1e-4 of the drawing's size. [m]

    Raises:
        SurfaceError: missing, damaged or cut short, nothing drawn in its modelspace, not flat, no unit (with the
            three readings), a unit that disagrees with the file's, no line that closes.
    """
    name = str(path)
    document = _document(Path(path), name)
    try:
        found = _Found(document, name)
        curves = list(found.curves())
        drawing = assemble(
            curves, name, stated=found.unit, reason=found.reason, given=unit, gap=gap, findings=found.notes()
        )
    except SurfaceError:
        raise
    except Exception as problem:  # entities with impossible values: the library raises whatever it runs into
        raise SurfaceError(f"{name}: damaged ({_short(problem)})", "Export it again as DXF R2000 or later") from None
    return drawing


def _short(problem: BaseException) -> str:
    lines = str(problem).strip().splitlines()
    return lines[0][:80] if lines and lines[0] else type(problem).__name__


def _document(path: Path, name: str) -> Document:
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise SurfaceError(
                f"{name}: {size / 1e6:,.0f} MB, more than the {LARGEST / 1e6:,.0f} MB that are read",
                "Save only the outline and its holes",
            )
        data = read_file(path, LARGEST)
    except OSError as problem:
        raise SurfaceError(f"{name}: can't be read ({problem.strerror})", "Check the name") from None
    if not data:
        raise SurfaceError(f"{name}: the file is empty", "Export it again")
    end = data[-64:].rstrip(b"\x00\r\n\t \x1a")
    if not end.endswith(b"EOF"):
        what = "cut short: its last line is not EOF" if b"SECTION" in data[:4096] else "not a DXF file"
        raise SurfaceError(f"{name}: {what}", "Export it again as DXF")
    import logging

    from ezdxf.filemanagement import readfile

    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # what it passes over is said in findings
    try:
        return readfile(path)
    except (MemoryError, RecursionError):
        raise SurfaceError(f"{name}: too large or too deep to read", "Save only the outline") from None
    except Exception as problem:  # the library raises whatever it runs into on damaged files
        raise SurfaceError(
            f"{name}: damaged, or not a DXF file ({_short(problem)})", "Export it again as DXF R2000 or later"
        ) from None


class _Found:
    """The curves of a document's modelspace, and what was left out on the way."""

    def __init__(self, document: Document, name: str) -> None:
        self.document = document
        self.name = name
        self.left: dict[str, int] = {}
        self.unread: dict[str, int] = {}
        self.hidden: dict[str, int] = {}
        self.invisible = 0
        self.odd_blocks: dict[str, list[str]] = {}
        self.fills = 0
        self.heights: list[float] = []
        self.unit, self.reason = self._unit()

    def _unit(self) -> tuple[float | None, str]:
        code = self.document.header.get("$INSUNITS", None)
        if code is None:
            return None, "the file has no $INSUNITS"
        if code == 0:
            return None, "its $INSUNITS is 0, unitless"
        if code not in UNITS:
            return None, f"its $INSUNITS is {code}, no unit a part is drawn in"
        word, factor = UNITS[int(code)]
        return factor, f"{word}, the file's $INSUNITS says {word}"

    def curves(self) -> Iterator[Curve]:
        """Every curve in the modelspace, blocks written out."""
        space = self.document.modelspace()
        if self._written_out(space, {}, ()) > MOST:
            raise SurfaceError(
                f"{self.name}: more than {MOST:,} entities with its blocks written out", "Save only the outline"
            )
        found = False
        for entity in space:
            for curve in self._of(entity, "", ()):
                found = True
                yield curve
        if not found:
            raise self._nothing(len(space))
        low, high = min(self.heights, default=0.0), max(self.heights, default=0.0)
        if not np.isfinite(high - low):
            raise SurfaceError(f"{self.name}: a point is not a finite number", "Export it again")

    def _written_out(self, space: Any, known: dict[str, int], inside: tuple[str, ...]) -> int:
        """How many entities a space comes to; each block is counted once and remembered."""
        total = len(space)
        for insert in space.query("INSERT"):
            block = str(insert.dxf.name)
            layout = self.document.blocks.get(block)
            if layout is None or block in inside or len(inside) >= DEEPEST:
                continue  # said when it is met
            if block not in known:
                known[block] = self._written_out(layout, known, (*inside, block))
            total += max(int(insert.mcount), 1) * known[block]
        return min(total, MOST + 1)

    def _nothing(self, count: int) -> SurfaceError:
        if count:
            words = [f"{n} {kind}" for kind, n in {**self.unread, **self.left}.items()]
            words += [f"{n} on the hidden layer {layer!r}" for layer, n in self.hidden.items()]
            what = f"its modelspace holds no line that could be an edge, only {', '.join(words) or 'empty blocks'}"
        else:
            papers = [s for s in self.document.layouts if s.name != "Model" and len(s)]
            what = "its modelspace is empty"
            if papers:
                what += f"; the sheet {papers[0].name!r} holds {len(papers[0])} entities"
        remedy = _EXPLODE if self.unread else "Draw the outline in the modelspace and save it again"
        return SurfaceError(f"{self.name}: {what}", remedy)

    def notes(self) -> list[Finding]:
        """What was left out."""
        out = []
        if self.left:
            what = ", ".join(f"{n} {kind}" for kind, n in sorted(self.left.items()))
            out.append(Finding("left out", sum(self.left.values()), f"not lines, left out: {what}", 0.0))
        if self.unread:
            what = ", ".join(f"{n} {kind}" for kind, n in sorted(self.unread.items()))
            text = f"not read, and missing if they are part of the part: {what}. {_EXPLODE}"
            out.append(Finding("not read", sum(self.unread.values()), text))
        if self.hidden:
            what = ", ".join(f'{n} on "{layer}"' for layer, n in sorted(self.hidden.items()))
            out.append(
                Finding("hidden", sum(self.hidden.values()), f"on layers that are off or frozen, left out: {what}", 0.0)
            )
        if self.invisible:
            out.append(Finding("hidden", self.invisible, f"made invisible, left out: {self.invisible}", 0.0))
        for text_, blocks in self.odd_blocks.items():
            names = ", ".join(f'"{block}"' for block in dict.fromkeys(blocks))
            out.append(Finding("block units", len(blocks), f"block {names} {text_}"))
        spread = max(self.heights, default=0.0) - min(self.heights, default=0.0)
        if spread > 0.0:
            factor = self.unit
            high = f"{spread * factor * 1e3:.4g} mm" if factor else f"{spread:.4g}"
            out.append(
                Finding("not flat", 1, f"lines lie at heights z up to {high} apart; the plan view (x, y) was taken")
            )
        return out

    def _of(self, entity: Any, layer: str, inside: tuple[str, ...]) -> Iterator[Curve]:
        kind = entity.dxftype()
        own = str(entity.dxf.get("layer", "0"))
        if own == "0" and inside:
            own = layer
        if self._is_hidden(own, kind):
            self.hidden[own] = self.hidden.get(own, 0) + 1
            return
        if entity.dxf.get("invisible", 0):
            self.invisible += 1
            return
        if kind == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
            kind = "POLYFACE" if entity.is_poly_face_mesh else "POLYMESH"
        if kind == "INSERT":
            yield from self._insert(entity, own, inside)
        elif kind in _DRAWN:
            yield from self._drawn(entity, kind, own)
        elif kind == "MLINE":
            for part in entity.virtual_entities():
                if part.dxftype() in _DRAWN:
                    yield from self._drawn(part, part.dxftype(), own)
        elif kind in FILLS:
            yield from self._fill(entity, own)
        else:
            self._pass(kind)

    def _pass(self, kind: str) -> None:
        counts = self.left if kind in _NOTES else self.unread
        counts[kind] = counts.get(kind, 0) + 1

    def _is_hidden(self, layer: str, kind: str) -> bool:
        table = self.document.layers
        if not table.has_entry(layer):
            return False
        entry = table.get(layer)
        return bool(entry.is_frozen() or (entry.is_off() and kind != "INSERT"))  # a layer off hides what is on it only

    def _insert(self, entity: Insert, layer: str, inside: tuple[str, ...]) -> Iterator[Curve]:
        block = str(entity.dxf.name)
        if block in inside:
            raise SurfaceError(f"{self.name}: block {block!r} holds itself", "Explode the blocks and save it again")
        if len(inside) >= DEEPEST:
            raise SurfaceError(f"{self.name}: more than {DEEPEST} blocks within blocks", "Explode the blocks")
        layout = self.document.blocks.get(block)
        if layout is None:
            raise SurfaceError(f"{self.name}: block {block!r} is not in the file", "Explode the blocks, save again")
        head = layout.block
        if head is not None and (head.is_xref or head.is_xref_overlay):
            other = str(head.dxf.get("xref_path", "")) or "another file"
            raise SurfaceError(
                f"{self.name}: block {block!r} is a reference to {other}, whose lines are not in this file",
                "Bind the reference in the CAD program (or take it out) and save again",
            )
        self._check_units(entity, block, int(layout.units), inside)
        if entity.mcount > MOST:
            raise SurfaceError(f"{self.name}: block {block!r} comes {entity.mcount:,} times", "Save only the outline")
        copies = entity.multi_insert() if entity.mcount > 1 else [entity]
        for copy in copies:
            for part in copy.virtual_entities(skipped_entity_callback=self._skipped):
                yield from self._of(part, layer, (*inside, block))

    def _check_units(self, entity: Insert, block: str, own: int, inside: tuple[str, ...]) -> None:
        """Note a block with a unit of its own that is not placed at the scale of the two units."""
        around = self.document.blocks.get(inside[-1]) if inside else None
        outer = int(around.units) if around is not None else int(self.document.header.get("$INSUNITS", 0))
        if own == outer or own not in UNITS or outer not in UNITS:
            return
        (word, small), (other, large) = UNITS[own], UNITS[outer]
        scale = abs(float(entity.dxf.get("xscale", 1.0)))
        if abs(scale * large / small - 1.0) > 0.01:
            text = f"drawn in {word} and placed at scale {scale:.4g} in a drawing in {other}: it was taken as placed"
            self.odd_blocks.setdefault(f"{text}. Check its size", []).append(block)

    def _skipped(self, entity: DXFEntity, reason: str) -> None:
        kind = entity.dxftype()
        if kind in _DRAWN or kind in FILLS or kind == "INSERT":
            raise SurfaceError(
                f"{self.name}: a {kind} in a block can't be placed ({reason[:80]})", "Explode the blocks and save again"
            )
        self._pass(kind)

    def _fill(self, entity: Any, layer: str) -> Iterator[Curve]:
        self.fills += 1
        ocs, lift = entity.ocs(), float(entity.dxf.get("elevation", (0, 0, 0))[2])
        for edge in fill_edges(entity):
            rough = edge.points(np.inf)
            if not len(rough):
                continue
            x, y, z = (ocs.to_wcs(v) for v in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, lift)))
            turn = np.array([[x[0], x[1]], [y[0], y[1]]], dtype=np.float64)
            shift = np.array([z[0], z[1]], dtype=np.float64)
            self._stand((rough @ [x[2], y[2]] + z[2]).tolist(), float(np.ptp(rough, axis=0).max()), layer)
            made = partial(_turned, edge.points, turn, shift)
            yield Curve(layer, made, edge.closed, self.fills)

    def _drawn(self, entity: Any, kind: str, layer: str) -> Iterator[Curve]:
        if kind == "LINE":
            ends = self._flat([entity.dxf.start, entity.dxf.end], layer)
            yield Curve(layer, lambda s: ends)
        elif kind in ("ARC", "CIRCLE"):
            yield self._arc(entity, kind, layer)
        elif kind == "ELLIPSE":
            yield self._ellipse(entity, layer)
        elif kind == "SPLINE":
            yield self._spline(entity, layer)
        else:
            yield from self._polyline(entity, kind, layer)

    def _arc(self, entity: Circle, kind: str, layer: str) -> Curve:
        ocs, radius = entity.ocs(), abs(float(entity.dxf.radius))
        centre, x, y = (ocs.to_wcs(v) for v in (entity.dxf.center, (radius, 0.0, 0.0), (0.0, radius, 0.0)))
        start, end = 0.0, 2.0 * np.pi
        if kind == "ARC":
            start, end = (float(np.radians(float(a))) for a in (entity.dxf.start_angle, entity.dxf.end_angle))
            end = start + _positive(end - start)
        return self._swept(centre, x, y, start, end, layer)

    def _ellipse(self, entity: Ellipse, layer: str) -> Curve:
        start, end = float(entity.dxf.start_param), float(entity.dxf.end_param)
        span = 2.0 * np.pi if abs(end - start) >= 2.0 * np.pi - 1e-9 else _positive(end - start)
        return self._swept(entity.dxf.center, entity.dxf.major_axis, entity.minor_axis, start, start + span, layer)

    def _swept(self, centre: Vec3, u: Vec3, v: Vec3, start: float, end: float, layer: str) -> Curve:
        size = max(abs(float(w[k])) for w in (u, v) for k in (0, 1, 2))
        self._stand([float(centre[2]) + sign * float(w[2]) for w in (u, v) for sign in (-1.0, 1.0)], size, layer)
        c, a, b = ((float(w[0]), float(w[1])) for w in (centre, u, v))
        whole = end - start > 2.0 * np.pi - 1e-9
        end = start + 2.0 * np.pi if whole else end
        return Curve(layer, lambda s: arc(c, a, b, start, end, s), whole)

    def _spline(self, entity: Spline, layer: str) -> Curve:
        if len(entity.control_points) < 2 and len(entity.fit_points) < 2:
            return Curve(layer, lambda s: np.zeros((0, 2)))
        if (given := max(len(entity.control_points), len(entity.fit_points))) > MOST_SPLINE:
            raise SurfaceError(
                f"{self.name}: a spline through {given:,} points; up to {MOST_SPLINE:,} are read",
                "Save it as a polyline",
            )
        tool = entity.construction_tool()
        rough = self._flat(tool.flattening(np.inf, segments=8), layer)
        size = float(np.ptp(rough, axis=0).max()) if np.isfinite(rough).all() else 0.0

        def points(sagitta: float) -> Line2:
            if not np.isfinite(sagitta) or not size > 0.0:
                return rough
            height = max(sagitta, 1e-7 * size)
            line: Line2 = np.array([(p[0], p[1]) for p in tool.flattening(height, segments=8)], dtype=np.float64)
            return line

        return Curve(layer, points, False)

    def _polyline(self, entity: Any, kind: str, layer: str) -> Iterator[Curve]:
        if kind == "POLYLINE" and entity.is_3d_polyline:
            line = self._flat([v.dxf.location for v in entity.vertices], layer)
            yield Curve(layer, lambda s: line, bool(entity.is_closed))
            return
        ocs = entity.ocs()
        if kind == "LWPOLYLINE":
            rows = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
            height, closed = float(entity.dxf.get("elevation", 0.0)), bool(entity.closed)
        else:
            vertices = [v for v in entity.vertices if not int(v.dxf.get("flags", 0)) & 16]  # 16: frame of a spline
            at = [(v.dxf.location, v.dxf.get("bulge", 0.0)) for v in vertices]
            rows = [(float(p[0]), float(p[1]), float(b)) for p, b in at]
            height, closed = float(entity.dxf.get("elevation", (0, 0, 0))[2]), bool(entity.is_closed)
        if not rows:
            return
        x, y, lift = (ocs.to_wcs(v) for v in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, height)))
        turn = np.array([[x[0], x[1]], [y[0], y[1]]], dtype=np.float64)
        shift = np.array([lift[0], lift[1]], dtype=np.float64)
        size = max(abs(r[k] - rows[0][k]) for r in rows for k in (0, 1))
        self._stand([float(r[0] * x[2] + r[1] * y[2] + lift[2]) for r in rows], size, layer)
        corners: list[Pair] = [(r[0], r[1]) for r in rows]
        bulges = [r[2] for r in rows]
        yield Curve(layer, lambda s: bulged(corners, bulges, closed, s) @ turn + shift, closed)

    def _stand(self, heights: list[float], size: float, layer: str) -> None:
        """Keep the heights of one line; refuse a line that is not level. [unit of the file]"""
        if max(heights) - min(heights) > TILT * size:
            raise SurfaceError(
                f'{self.name}: a line on layer "{layer}" rises by {max(heights) - min(heights):.4g} in z: '
                "the drawing is not flat in x and y",
                "Lay the part flat in x and y, or export it as STEP or STL",
            )
        self.heights += [max(heights), min(heights)]

    def _flat(self, points: Iterable[Vec3], layer: str) -> Line2:
        rows = np.array([(p[0], p[1], p[2]) for p in points], dtype=np.float64).reshape(-1, 3)
        if len(rows) and np.isfinite(rows).all():
            self._stand(rows[:, 2].tolist(), float(np.ptp(rows, axis=0).max()), layer)
        flat: Line2 = rows[:, :2]
        return flat


def _turned(points: Callable[[float], Line2], turn: Line2, shift: Line2, sagitta: float) -> Line2:
    """Points in the plane of the drawing from those in a plane of their own."""
    line: Line2 = points(sagitta) @ turn + shift
    return line


def _positive(turn: float) -> float:
    """A turn counted forward, above 0 and up to a whole one. [rad]"""
    left = float(turn % (2.0 * np.pi)) if np.isfinite(turn) else turn
    return left if left > 1e-12 else 2.0 * np.pi


FILLS = {"HATCH", "MPOLYGON", "SOLID", "TRACE"}
_TEXT_BOX = 8  # flag of a boundary that goes round a text in the fill


@dataclass(frozen=True, slots=True)
class Edge:
    """One line of the border of a fill, in the entity's own plane.

    Attributes:
        points: Gives its points (n, 2) when called with the sagitta that is wanted.
        closed: It is a whole border by itself.
    """

    points: Callable[[float], Line2]
    closed: bool


def fill_edges(entity: Any) -> Iterator[Edge]:
    """Edges of a filled area, in its object coordinates."""
    if entity.dxftype() in ("SOLID", "TRACE"):
        corners = np.array([(p[0], p[1]) for p in entity.vertices()], dtype=np.float64)
        yield Edge(lambda s: corners, True)
        return
    for path in entity.paths.paths:
        if int(path.path_type_flags) & _TEXT_BOX:
            continue
        if path.type.name == "POLYLINE":
            yield _polyline(path)
        else:
            for edge in path.edges:
                made = _edge(edge)
                if made is not None:
                    yield made


def _polyline(path: PolylinePath) -> Edge:
    corners: list[Pair] = [(float(v[0]), float(v[1])) for v in path.vertices]
    bulges = [float(v[2]) for v in path.vertices]
    return Edge(lambda s: bulged(corners, bulges, True, s), True)


def _edge(edge: Any) -> Edge | None:
    kind = edge.type.name
    if kind == "LINE":
        ends = np.array([(p[0], p[1]) for p in (edge.start, edge.end)], dtype=np.float64)
        return Edge(lambda s: ends, False)
    if kind in ("ARC", "ELLIPSE"):
        centre = (float(edge.center[0]), float(edge.center[1]))
        if kind == "ARC":
            u: Pair = (float(edge.radius), 0.0)
            v: Pair = (0.0, float(edge.radius))
            start, end = (float(np.radians(a)) for a in (edge.start_angle, edge.end_angle))
        else:
            u = (float(edge.major_axis[0]), float(edge.major_axis[1]))
            v = (-u[1] * float(edge.ratio), u[0] * float(edge.ratio))
            start, end = float(edge.start_param), float(edge.end_param)
        whole = abs(end - start) >= 2.0 * np.pi - 1e-9 or abs(end - start) < 1e-12
        sweep = 2.0 * np.pi if whole else float((end - start) % (2.0 * np.pi))
        return Edge(lambda s: arc(centre, u, v, start, start + sweep, s), whole)
    if not edge.is_valid() or max(len(edge.control_points), len(edge.fit_points)) > MOST_SPLINE:
        return None
    tool = edge.construction_tool()
    rough = _flat(tool.flattening(np.inf, segments=8))
    size = float(np.ptp(rough, axis=0).max()) if np.isfinite(rough).all() else 0.0

    def points(sagitta: float) -> Line2:
        if not np.isfinite(sagitta) or not size > 0.0:
            return rough
        return _flat(tool.flattening(max(sagitta, 1e-7 * size), segments=8))

    return Edge(points, False)


def _flat(points: Iterable[Vec3]) -> Line2:
    return np.array([(p[0], p[1]) for p in points], dtype=np.float64).reshape(-1, 2)
