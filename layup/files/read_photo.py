"""A photograph of a paper or card template beside the printed sheet becomes its outline with cut-outs, in metres.

    The outline and how surely its area is known      read_photo("template.jpg", bar="99.6 mm")
    The flat part                                     photo.surface()
    A file that a part file can use                   write_outline(photo, "template.csv")

The sheet gives the plane and the lens (`photo_plane`), the contrast with the table gives the edge (`photo_edge`). The
area's uncertainty has five causes, taken as independent: the corners of the sheet (it grows with the distance of the
template from it), lens terms that are not fitted, the edge, the height of the template above the sheet's plane, and
the printer's scale.
"""

from __future__ import annotations

import io
import struct
import warnings
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError, SurfaceError, nearest
from layup.files.photo_edge import Edge, find_edge
from layup.files.photo_plane import FILM, UNFLAT, Floats, Plane, find_corners, fit_plane, shoelace
from layup.files.photo_sheet import opencv, print_scale
from layup.files.reading import read_file
from layup.files.writing import write_file
from layup.shape.surface import Finding, Surface

READABLE = ("jpg", "jpeg", "png", "tif", "tiff", "bmp", "webp")
LARGEST = 120_000_000
"""A picture with more pixels is refused. [px]"""
SIMPLIFIED = 0.0001
"""The outline given strays from the edge seen by no more than this, or than half a pixel if that is more. [m]"""
NARROWEST = 0.002
"""A hole nowhere wider than this is a mark of a pen or a speck, and is not cut out. [m]"""
EDGE = 0.08
"""Where in the step from table to template the edge lies, standard deviation over the step's width; no source. [-]"""
PAPER_EDGE = 0.00005
"""How a cut edge of paper differs from the line meant, standard deviation; no source. [m]"""
_CAMERA, _FOCAL_ON_FILM = 0x8769, 0xA405  # Source: the EXIF standard (CIPA DC-008), from memory
_Z90 = NormalDist().inv_cdf(0.95)


@dataclass(frozen=True)
class Photo:
    """A template as read off a photograph. x runs along the sheet's short side, y along its long side.

    Attributes:
        name: Of the picture.
        outline: Corners, turning to the left, shape (n, 2); the lowest x and y are 0. [m]
        holes: The same for each cut-out, turning to the right. [m]
        area: Less the cut-outs. [m^2]
        causes: Standard deviation of the area by cause, over the area. [-]
        within: The outline strays from the edge seen by no more than this. [m]
        plane: Of the sheet.
        edge: In the picture.
        corner: Where the plane has the outline's (0, 0). [m]
        findings: What was found and assumed.
    """

    name: str
    outline: Floats
    holes: tuple[Floats, ...]
    area: float
    causes: dict[str, float]
    within: float
    plane: Plane
    edge: Edge
    corner: Floats
    findings: tuple[Finding, ...]

    @property
    def spread(self) -> float:
        """Standard deviation of the area over the area. [-]"""
        return float(np.sqrt(sum(value**2 for value in self.causes.values())))

    @property
    def area_tolerance(self) -> float:
        """Nine times in ten the area is within this share of itself. [-]"""
        return _Z90 * self.spread

    def surface(self) -> Surface:
        """The flat part, with the findings of the photograph."""
        from layup.shape.flat import outline

        made = outline(_pairs(self.outline), [_pairs(hole) for hole in self.holes])
        made.name, made.unit, made.findings = self.name, "mm", (*made.findings, *self.findings)
        return made


def read_photo(path: str | Path, *, bar: str | None = None, bar_along: str | None = None) -> Photo:
    """Read a template off a photograph.

    Args:
        path: The picture; errors show it as given.
        bar: Bar A of the printed sheet, drawn 100 mm long, as measured: "99.6 mm".
        bar_along: Bar B, drawn 200 mm long, as measured.

    Raises:
        SurfaceError: OpenCV is not installed; no picture; no markers, too few or mirrored; the sheet was printed at the
            wrong scale; the template is cut by the frame, touches the sheet or does not stand out.
    """
    name = str(path)
    scale = print_scale(bar, bar_along)
    opencv()
    import cv2

    picture, focal = open_picture(path)
    corners = find_corners(np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), dtype=np.uint8), name)
    plane = fit_plane(corners, (picture.shape[1], picture.shape[0]), scale, name, focal)
    edge = find_edge(picture, plane, name)
    return _measured(name, plane, edge)


def _measured(name: str, plane: Plane, edge: Edge) -> Photo:
    import shapely

    findings: list[Finding] = []
    seen = plane.to_plane(edge.outline)
    pixel = float(np.median(plane.pixel(edge.outline)))
    within = max(SIMPLIFIED, 0.5 * pixel)
    outline = _simple(seen, within)
    holes: list[Floats] = []
    lines = [_turning(edge.outline, seen, left=True)]
    thin = 0
    for line in edge.holes:
        hole = plane.to_plane(line)
        shape = shapely.Polygon(hole)
        if shapely.buffer(shape, -NARROWEST / 2.0).is_empty:
            thin += 1
            continue
        holes.append(_simple(hole, min(within, 0.02 * float(np.sqrt(shape.area)))))
        lines.append(_turning(line, hole, left=False))
    if thin:
        text = f"taken for pen or dirt and not cut out: {thin} narrower than {NARROWEST * 1e3:g} mm"
        findings.append(Finding("marks", thin, text))
    whole = shapely.Polygon(outline)
    holes = [hole for hole in holes if whole.covers(shapely.Polygon(hole))]
    corner = outline.min(axis=0)
    area = abs(shoelace(outline)) - sum(abs(shoelace(hole)) for hole in holes)
    middle = np.array(whole.centroid.coords[0])
    height, tilt = plane.camera(middle)
    causes = _causes(plane, edge, lines, area, height)
    looked = (pixel, tilt, height)
    findings += _findings(plane, edge, lines[0], within, looked)
    made = outline - corner
    return Photo(
        name=name,
        outline=made if shoelace(made) > 0 else made[::-1],
        holes=tuple(h if shoelace(h) < 0 else h[::-1] for h in (hole - corner for hole in holes)),
        area=area,
        causes=causes,
        within=within,
        plane=plane,
        edge=edge,
        corner=corner,
        findings=tuple(findings),
    )


def _causes(plane: Plane, edge: Edge, lines: list[Floats], area: float, height: float) -> dict[str, float]:
    by_fit, by_lens = plane.area_spreads(lines)
    by_edge = 0.0
    for line in lines:
        flat = plane.to_plane(line)
        sides = np.hypot(*(np.roll(flat, -1, axis=0) - flat).T)
        off = np.hypot(EDGE * edge.blur * plane.pixel(line), PAPER_EDGE)
        by_edge += float((sides * off).sum())
    return {
        "corners of the sheet": by_fit / area,
        "lens": by_lens / area,
        "edge": by_edge / area,
        "height above the sheet": 2.0 * UNFLAT / height,
        "printer": plane.scale.spread,
    }


def _findings(
    plane: Plane, edge: Edge, line: Floats, within: float, looked: tuple[float, float, float]
) -> list[Finding]:
    pixel, tilt, height = looked
    found = [
        Finding(
            "photo",
            plane.corners,
            f"{plane.corners} corners of {len(plane.sheets)} sheet{'s' * (len(plane.sheets) > 1)} fit to "
            f"{plane.residual:.2g} pixels; lens term {plane.lens:+.3f}; camera about {height:.2g} m up, its "
            f"view tilted by about {tilt:.0f} deg; a pixel is about {pixel * 1e3:.2g} mm; the outline strays "
            f"from the edge seen by up to {within * 1e3:.2g} mm",
        )
    ]
    if plane.dropped:
        text = f"left out, as they fit badly: corners of the sheet, {plane.dropped}"
        found.append(Finding("corners", plane.dropped, text))
    if edge.others:
        text = f"other things on the table were left out, the largest {edge.others[0]:.0%} of the template's area"
        found.append(Finding("others", len(edge.others), text))
    beyond = _beyond(plane, line)
    if beyond > 0.5:
        text = (
            f"the template reaches {beyond:.1f} sheet lengths beyond the sheets; a further sheet at its other side "
            "would tell its area more surely"
        )
        found.append(Finding("beyond", 1, text))
    if not plane.scale.checked:
        found.append(Finding("printer", 1, "the bars of the sheet were not measured: its printer is taken at its word"))
    return found


def _beyond(plane: Plane, line: Floats) -> float:
    """How far the edge reaches beyond all sheets together, over the length of a sheet. [-]"""
    import shapely

    frames = plane.frames()
    sheets = shapely.MultiPoint(np.concatenate(frames)).convex_hull
    far = float(shapely.distance(shapely.points(plane.to_plane(line[::8])), sheets).max())
    return far / float(np.hypot(*(frames[0][2] - frames[0][1])))


def _turning(picture: Floats, flat: Floats, *, left: bool) -> Floats:
    """The line in the picture in the order that turns to the left, or right, in the plane."""
    return picture if (shoelace(flat) > 0) == left else picture[::-1]


def _simple(line: Floats, within: float) -> Floats:
    """Fewer points, straying by no more than about `within`, round the same area; never crossing itself. [m]

    Points left on a round edge cut its arcs short, by up to 1 % of a small round template; the line is let out again.
    """
    import shapely

    made = shapely.simplify(shapely.Polygon(line), within, preserve_topology=True)
    corners = np.asarray(shapely.get_coordinates(made.exterior)[:-1], dtype=np.float64)
    middle = np.array(made.centroid.coords[0])
    out: Floats = middle + (corners - middle) * float(np.sqrt(abs(shoelace(line) / shoelace(corners))))
    return out


def _pairs(line: Floats) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in line]


def open_picture(path: str | Path) -> tuple[NDArray[np.uint8], float | None]:
    """A picture, turned as the camera was held, and the focal length its file states.

    Args:
        path: The file; errors show it as given.

    Returns:
        Shape (height, width, 3), blue first [0..255], and the focal length over the picture's diagonal or None. [-]

    Raises:
        SurfaceError: no such file, or no picture that can be read.
    """
    import zlib

    from PIL import Image

    name, path = str(path), Path(path)
    if not path.is_file():
        folder = path.parent
        there = [p.name for p in folder.iterdir() if p.is_file()] if folder.is_dir() else []
        what = "a folder, not a picture" if path.is_dir() else "no such picture"
        raise SurfaceError(f"{name}: {what}", nearest(path.name, there, 2) or "Check the name")
    unread = SurfaceError(f"{name}: not a picture that can be read", "Save it as JPEG or PNG, as the camera took it")
    if path.suffix.lower().lstrip(".") not in READABLE:
        raise unread
    film: object = None
    try:
        data = read_file(path, 4 * LARGEST)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as seen:
                pixels = seen.size[0] * seen.size[1]
                if pixels > LARGEST:
                    most = f"Up to {LARGEST / 1e6:.0f} million are read"
                    raise SurfaceError(f"{name}: {pixels / 1e6:.0f} million pixels", most)
                seen.load()  # a picture cut short fails here; OpenCV would fill the rest with grey
                with suppress(Exception):  # what a camera wrote about itself is a help, not a need, and often broken
                    film = seen.getexif().get_ifd(_CAMERA).get(_FOCAL_ON_FILM)
    except SurfaceError:
        raise
    except (OSError, ValueError, SyntaxError, struct.error, IndexError, KeyError, TypeError, OverflowError):
        raise unread from None
    except (Image.DecompressionBombError, EOFError, zlib.error):
        raise unread from None
    opencv()
    import cv2

    try:
        made = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    except cv2.error:
        raise unread from None
    if made is None or min(made.shape[:2]) < 100:
        raise unread
    focal = film * 1e-3 / FILM if isinstance(film, int) and 10 <= film <= 400 else None
    return np.asarray(made, dtype=np.uint8), focal


def write_outline(photo: Photo, path: str | Path) -> Path:
    """Save the outline and its cut-outs in millimetres, as a CSV of points or as DXF.

    Args:
        photo: The template.
        path: Where; its ending, .csv or .dxf, says which.

    Raises:
        LayupError: another ending, or the file can't be written.
    """
    path = Path(path)
    kind = path.suffix.casefold()
    if kind not in (".csv", ".dxf"):
        raise LayupError(f'an outline can\'t be saved as "{path.name}". End its name in .csv or .dxf')
    loops = [("outline", photo.outline), *((f"hole {n}", hole) for n, hole in enumerate(photo.holes, 1))]
    said = f"{Path(photo.name).name}: {photo.area:.6g} m^2, nine times in ten within {photo.area_tolerance:.2%} of it"
    if kind == ".csv":
        rows = [f"{word},{x * 1e3:.3f},{y * 1e3:.3f}" for word, line in loops for x, y in line]
        write_file(path, "\n".join([f"# {said}", "loop,x [mm],y [mm]", *rows, ""]))
    else:
        write_file(path, _dxf(loops, said))
    return path


def _dxf(loops: list[tuple[str, Floats]], said: str) -> str:
    from ezdxf.filemanagement import new

    document = new("R2010", units=4)
    document.header.custom_vars.append("area", said)
    space = document.modelspace()
    for word, line in loops:
        layer = "OUTLINE" if word == "outline" else "HOLES"
        space.add_lwpolyline((line * 1e3).tolist(), close=True, dxfattribs={"layer": layer})
    out = io.StringIO()
    document.write(out)
    return out.getvalue()
