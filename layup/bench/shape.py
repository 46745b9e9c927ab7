"""The shape of a part as the page turns it about, and what a click on it means.

    The mesh, its zones and lines, as one buffer          GET /shape?file=PART&of=VERSION
    The side of a solid that was clicked, before taken    GET /shape/side?file=PART&at=x,y,z&toward=x,y,z
    The same picture standing still, without WebGL        GET /shape/still?file=PART
    A zone by clicks, before it is made                   GET /shape/zone?file=PART&tool=point&at=...&reach=60 mm

Places in an address are metres in the part's own axes. Nothing here changes a file: what was found goes to /part/edit.
"""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING

from layup.bench.desk import Kept, Sheet
from layup.bench.folder import files_of, named_files
from layup.bench.rendering import environment
from layup.bench.request import Asked, Handler
from layup.errors import LayupError

if TYPE_CHECKING:
    from starlette.responses import Response

    from layup.partfile.model import SurfaceEntry
    from layup.report.stage_buffer import Shown, Stage
    from layup.shape.measure import Vector
    from layup.shape.surface import Surface
    from layup.words import System

MOST_CORNERS = 200
"""Corners of an outline that is clicked. [-]"""
LARGEST = 6_000_000
"""Triangles of a mesh that is drawn; a larger one is computed with, but thinning it would take too much memory. [-]"""
MOST_IN_ZONES = 3_000_000
"""Triangles of all zones that are drawn. [-]"""
_TABLES = ("surface", "zone", "holes", "fasteners", "units")
_READINGS = (("mm", "millimetres"), ("in", "inches"), ("m", "metres"))

_BUFFERS: Kept[bytes] = Kept(4)
_STAGES: Kept[Stage] = Kept(4)
_RAW: Kept[Surface] = Kept(2)
_DRAWING = threading.Lock()  # the drawing library has one set of settings
_WORK = threading.Lock()  # one mesh at a time, so that two windows don't take twice the memory


@dataclass(frozen=True)
class Seen:
    """What there is to look at.

    Attributes:
        surface: None where nothing can be shown.
        asks: What has to be settled before it counts: "unit", "side", or "".
        why: Why nothing is shown.
    """

    surface: Surface | None
    asks: str = ""
    why: str = ""


def shape(asked: Asked) -> Response:
    """The mesh, the zones and the lines of a part; kept by the browser as long as they are the same."""
    sheet = asked.desk.sheet(asked.file)
    version = version_of(sheet)
    key = (asked.folder.root, asked.file, version)
    with _WORK:
        data = _BUFFERS.get(key) or _BUFFERS.put(key, _whole(asked, sheet, version))
    return _bytes(data, "private, max-age=31536000, immutable" if asked.query.get("of") == version else "no-store")


def side(asked: Asked) -> Response:
    """What the side of a solid would be on which a point lies."""
    return _tried(asked, _side)


def zone(asked: Asked) -> Response:
    """What a zone would be that was clicked."""
    return _tried(asked, _zone)


def version_of(sheet: Sheet) -> str:
    """A short name of what the picture shows: the same as long as surface and zones are the same."""
    stamps = [_stamp(sheet, file) for path, file in files_of(sheet.data) if path[0] in _TABLES and len(file) < 250]
    said = [sheet.data.get(key) for key in _TABLES]
    text = json.dumps([said, stamps, sheet.prediction is not None, sheet.surface is not None], default=str)
    return sha256(text.encode()).hexdigest()[:16]


def words(sheet: Sheet) -> dict[str, object]:
    """What a page says of the surface in plain text, and the version of its picture."""
    surface, system = _surface(sheet), sheet.system
    zones: list[tuple[str, int, str, str]] = []
    out: dict[str, object] = {"version": version_of(sheet), "facts": [], "findings": [], "zones": zones, "drawn": False}
    if surface is None:
        return out
    from layup.report.stage_words import fact_words, finding_words, letters
    from layup.words import area_words

    out["drawn"] = surface.has_mesh
    out["facts"] = fact_words(surface, system)
    out["findings"] = finding_words(surface, system)
    measured = sheet.prediction.job.zones if sheet.prediction else {}
    for number, name in enumerate(_zone_names(sheet)):
        area = area_words(measured[name].area, system) if name in measured else ""
        zones.append((letters(number), number, name, area))
    return out


def seen(asked: Asked, sheet: Sheet) -> Seen:
    """What there is to look at, also of a part whose unit or side is not settled yet."""
    surface = _surface(sheet)
    if surface is not None:
        return _shown(surface) if surface.has_mesh else Seen(None, why=_only_area(surface, sheet))
    entry = _entry(sheet)
    if entry is None or named_files(sheet.data, asked.folder, sheet.path.parent):
        return Seen(None, why="There is no surface to show yet: what is to do stands with the weight.")
    changed: dict[str, object] = {}
    if entry.unit is None and any("no unit" in f.wrong or "without a unit" in f.wrong for f in sheet.faults):
        changed["unit"] = "m"
    solid = (entry.mesh is not None or entry.step is not None) and entry.face is None
    if solid:
        changed["side"] = "all"
    try:
        surface = _opened(sheet, entry.model_copy(update=changed))
    except LayupError:
        surface = None
    if surface is None or not surface.has_mesh:
        return Seen(None, why="The surface can't be shown until what is wrong with it is put right.")
    return _shown(surface, "unit" if "unit" in changed else "side" if surface.side == "all" else "")


def _shown(surface: Surface, asks: str = "") -> Seen:
    count = surface.whole.triangles
    if count <= LARGEST:
        return Seen(surface, asks)
    return Seen(
        None, asks, f"A mesh of {count:,} triangles is too large to be drawn here. It is computed with all the same."
    )


def _surface(sheet: Sheet) -> Surface | None:
    """The surface that counts, with its holes cut where the part could be read."""
    return sheet.prediction.job.surface if sheet.prediction is not None else sheet.surface


def _only_area(surface: Surface, sheet: Sheet) -> str:
    from layup.words import area_words

    return (
        f"Only the area of this part is known, {area_words(surface.whole.area, sheet.system)}, so it has no shape "
        "to show. The weight needs no more. For zones by place and a balance, give a mesh, an outline or a rectangle."
    )


def _entry(sheet: Sheet) -> SurfaceEntry | None:
    """The `[surface]` table, where nothing in it is wrong."""
    return sheet.part.surface if sheet.part.surface.sound else None


def _zone_names(sheet: Sheet) -> list[str]:
    """Names of the zones in the order of the file, "" for one that has none yet."""
    return [entry.name or "" for entry in sheet.part.zone]


def _opened(sheet: Sheet, entry: SurfaceEntry) -> Surface:
    """A surface as a table would give it, the last few kept; `named_files` has said that its files may be read."""
    from layup.partfile.opened import open_surface

    table = entry.model_dump()
    key = (sheet.path.parent, repr(table), *(_stamp(sheet, file) for _, file in files_of(table)))
    return _RAW.get(key) or _RAW.put(key, open_surface(entry, sheet.path.parent))


def _stamp(sheet: Sheet, file: str) -> tuple[int, int, int] | None:
    try:
        found = (sheet.path.parent / file).stat()
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ctime_ns


def _stage(surface: Surface) -> Stage:
    from layup.report.stage_buffer import stage

    kept = _STAGES.get(id(surface))
    return kept if kept is not None and kept.surface is surface else _STAGES.put(id(surface), stage(surface))


def _whole(asked: Asked, sheet: Sheet, version: str) -> bytes:
    from layup.report.stage_buffer import packed, packed_head

    found = seen(asked, sheet)
    head: dict[str, object] = {"version": version, "asks": found.asks, "why": found.why, "unit": _unit(sheet)}
    if found.surface is None:
        return packed_head({**head, "asks": ""})
    if found.asks == "unit":
        head["readings"] = _readings(found.surface)
    if found.asks == "side":
        from layup.words import area_words

        head["all"] = area_words(found.surface.whole.area, sheet.system)
    shown, missing = ([], []) if found.asks else _zones(sheet, found.surface)
    made = _stage(found.surface)
    head |= {"grid": grid_step(found.surface, _unit(sheet)), "sides": ["", ""], "arrow": None}
    if not found.asks:
        head["sides"], head["arrow"] = _sides(found.surface, sheet), _arrow(found.surface, sheet, made.view)
    return packed(made, shown, {**head, "missing": missing})


def grid_step(surface: Surface, unit: str) -> float:
    """How far apart the grid lines of the picture are: 50 mm or 2 in, on a large part a round multiple. [m]"""
    import numpy as np

    base = 0.0508 if unit == "in" else 0.05
    long = float(np.ptp(surface.vertices, axis=0).max())
    return base * next(many for many in (1, 2, 5, 10, 20, 50, 100, 1000, 10_000) if long / (base * many) <= 48)


def _sides(surface: Surface, sheet: Sheet) -> list[str]:
    """What the front and the back of the faces are called: "bag side" and "mould side" where the file says it."""
    import numpy as np

    from layup.sides.mould import seen as seen_from

    try:
        looked = seen_from(surface, sheet.part.surface.mould)
    except LayupError:
        return ["", ""]
    if not looked.known:
        return ["", ""]
    turned = float(np.mean(np.any(looked.faces != surface.faces, axis=1)))
    return ["mould side", "bag side"] if turned > 0.5 else ["bag side", "mould side"]


def _arrow(surface: Surface, sheet: Sheet, view: tuple[float, float]) -> list[list[float]] | None:
    """The 0° arrow: foot, tip and both barbs, about the middle of the picture; None where the warp stands on end."""
    import numpy as np

    from layup.report.shape_drawing import zero_arrow

    entry = _entry(sheet)
    found = zero_arrow(surface, surface.faces, (entry.warp if entry else None) or (1.0, 0.0, 0.0), view)
    if found is None:
        return None
    from layup.report.stage_buffer import whole_box

    at, laid, across, long = found
    low, high = whole_box(surface)
    foot = at - 0.5 * (low + high)
    tip = foot + long * laid
    barbs = [tip + long * (-0.22 * laid + side * 0.11 * across) for side in (1.0, -1.0)]
    return [np.asarray(p).tolist() for p in (foot, tip, *barbs)]


def still(asked: Asked) -> Response:
    """The picture where the browser can't draw in space: as `layup surface --picture` draws it."""
    import tempfile
    from pathlib import Path

    from layup.bench.request import picture
    from layup.report.surface_picture import draw_surface

    sheet = asked.desk.sheet(asked.file)
    found = seen(asked, sheet)
    if found.surface is None:
        raise LayupError(found.why or "there is no surface to show yet")
    with _DRAWING, tempfile.TemporaryDirectory() as scratch:
        drawn = draw_surface(found.surface, Path(scratch) / "still.png", sheet.system)
        return picture(drawn.read_bytes(), "image/png")


def _zones(sheet: Sheet, surface: Surface) -> tuple[list[Shown], list[str]]:
    """The zones that are drawn, and names of those that aren't."""
    from layup.partfile.zones import zone_spec
    from layup.report.stage_buffer import Shown

    named = {entry.name: entry for entry in sheet.part.zone if entry.sound}
    missing = [entry.name or "" for entry in sheet.part.zone if not entry.sound]
    shown: list[Shown] = []
    room = MOST_IN_ZONES
    for number, entry in enumerate(sheet.part.zone):
        if not entry.sound:
            continue
        try:
            cut = surface.cut(zone_spec(entry, named))
        except LayupError:
            missing.append(entry.name)
            continue
        room -= len(cut.inner)
        if room >= 0:
            shown.append(Shown(entry.name, number, cut))
        else:
            missing.append(entry.name)
    return shown, missing


def _readings(surface: Surface) -> list[dict[str, str]]:
    """What the file would be in each unit; the surface was read as if in metres."""
    from layup.report.stage_words import box_words
    from layup.units import parse

    system: dict[str, System] = {"mm": "metric", "in": "lb", "m": "metric"}
    return [
        {"unit": unit, "name": name, "size": box_words(surface.whole.box, system[unit], parse(f"1 {unit}", "length"))}
        for unit, name in _READINGS
    ]


def _unit(sheet: Sheet) -> str:
    """The unit that clicked places are written in."""
    return "in" if sheet.system == "lb" else "mm"


def _tried(asked: Asked, make: Callable[[Asked, Sheet], bytes]) -> Response:
    """An answer to a click; what is wrong with it comes as words."""
    from layup.report.stage_buffer import packed_head

    sheet = asked.desk.sheet(asked.file)
    try:
        with _WORK:
            data = make(asked, sheet)
    except LayupError as error:
        data = packed_head({"wrong": asked.folder.plain(str(error))})
    return _bytes(data, "no-store")


def _side(asked: Asked, sheet: Sheet) -> bytes:
    from layup.report.pointed import seen_point, touching
    from layup.report.stage_buffer import packed_triangles, whole_box
    from layup.report.stage_words import finding_words
    from layup.report.thinned import thinned
    from layup.words import area_words

    found, entry = seen(asked, sheet), _entry(sheet)
    if found.asks != "side" or found.surface is None or entry is None:
        raise LayupError("there is no side to choose: this surface has only one")
    raw = found.surface
    at, _ = seen_point(raw.vertices, raw.faces, _points(asked, 1)[0], _vector(asked.query.get("toward", "")))
    text = touching(at)
    one = _opened(sheet, entry.model_copy(update={"side": text}))
    system = sheet.system
    thin = thinned(one.vertices, one.faces)
    low, high = whole_box(raw)
    head: dict[str, object] = {
        "side": text,
        "area": area_words(one.whole.area, system),
        "at": at,
        "words": [text for text, _ in finding_words(one, system, "closed")],
    }
    return packed_triangles(thin.points[thin.faces], 0.5 * (low + high), head)


def _zone(asked: Asked, sheet: Sheet) -> bytes:
    import numpy as np

    from layup.partfile.model import ZoneEntry
    from layup.partfile.zones import zone_spec
    from layup.report.stage_buffer import packed_triangles, whole_box
    from layup.shape.zones import cut_zone
    from layup.words import area_words, percent_words

    found = seen(asked, sheet)
    if found.surface is None or found.asks:
        raise LayupError("a zone can be made when the surface is settled")
    surface = found.surface
    values, name, more = _asked_zone(asked, sheet, surface)
    given = asked.query.get("name", "").strip() or name
    spec = ZoneEntry.model_validate(
        {"name": "zone", **{k: json.loads(v) if v[0] == "[" else v for k, v in values.items()}}
    )
    # not by way of the surface, which would keep every try
    cut = cut_zone(surface.vertices, surface.faces, zone_spec(spec, {}), surface.groups, surface.holes)
    soup, area = cut.inner, cut.inside.area
    low, high = whole_box(surface)
    head = {
        "values": values,
        "name": given,
        "proposed": name,
        "area": area_words(area, sheet.system),
        "share": percent_words(area / surface.whole.area),
        **more,
    }
    if given in _zone_names(sheet) or given.casefold() == "whole":
        head["taken"] = f'There is a zone "{given}" already. Give this one another name.'
    return packed_triangles(soup[:: 1 + len(soup) // 400_000], np.asarray(0.5 * (low + high)), head)


def _asked_zone(asked: Asked, sheet: Sheet, surface: Surface) -> tuple[dict[str, str], str, dict[str, object]]:
    """Keys of a zone as the part file has them, a name for it, and what else the page should know."""
    from layup.report import pointed
    from layup.report.pointed import seen_point

    query, unit = asked.query, _unit(sheet)
    tool, reach, axis = query.get("tool", ""), query.get("reach", ""), query.get("axis", "")
    if axis not in ("", *pointed.AXES):
        raise LayupError("an axis is x, y or z")
    if tool in ("point", "edge"):
        points, faces = surface.vertices, surface.faces
        at, _ = seen_point(points, faces, _points(asked, 1)[0], _vector(query.get("toward", "")))
        if tool == "point":
            return {"within": pointed.round_point(at, reach, unit)}, _free(sheet, "spot"), {"at": at}
        near = pointed.edge_at(points, faces, at)
        if not near:
            raise LayupError("this surface has no free edge")
        edge = query.get("edge", "") or near
        if not re.fullmatch(r"edge|outer edge|cut-out [0-9]{1,6}", edge):
            raise LayupError("there is no such edge")
        name = _free(sheet, edge, first="")
        return {"within": pointed.near_edge(reach, edge, unit)}, name, {"edge": edge, "near": near, "at": at}
    if tool == "band":
        one, two = _points(asked, 2)
        text = pointed.band(one, two, axis, unit)
        return {"between": text}, _free(sheet, "band"), {"axis": text[0]}
    if tool == "outline":
        corners = _points(asked, 3)
        return pointed.outline(corners, axis or "z", unit), _free(sheet, "patch"), {"axis": axis or "z"}
    raise LayupError("that is no way to make a zone")


def _free(sheet: Sheet, word: str, first: str = " 1") -> str:
    """A name that no zone has yet: "spot 1", "spot 2"; or the word alone first."""
    taken = _zone_names(sheet)
    choices = [word + first, *(f"{word} {number}" if first else f"{word}, {number}" for number in range(2, 1000))]
    return next((name for name in choices if name not in taken), word)


def _points(asked: Asked, least: int) -> list[Vector]:
    """The places of a request. [m]

    Raises:
        LayupError: Too few, too many, or no numbers.
    """
    words = [word for word in asked.query.get("at", "").split(";") if word]
    if not least <= len(words) <= MOST_CORNERS:
        raise LayupError(f"{least} places at least are due, and {MOST_CORNERS} at most")
    return [_vector(word) for word in words]


def _vector(text: str) -> Vector:
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError:
        raise LayupError("a place is three numbers") from None
    if not all(abs(value) < 1e6 for value in (x, y, z)):
        raise LayupError("that place is too far away")
    return (x, y, z)


def _bytes(data: bytes, kept: str) -> Response:
    from starlette.responses import Response

    return Response(data, media_type="application/octet-stream", headers={"cache-control": kept})


environment().globals["stage_words"] = words  # for stage.html: the page that includes it knows nothing of the picture

ROUTES: tuple[tuple[str, str, Handler], ...] = (
    ("/shape", "GET", shape),
    ("/shape/side", "GET", side),
    ("/shape/zone", "GET", zone),
    ("/shape/still", "GET", still),
)
