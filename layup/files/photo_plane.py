"""Where each point of a photograph lies in the plane of the sheet, in metres, and how surely.

    Corners of the sheets in a picture        find_corners(grey, name)
    The plane through them, with the lens     fit_plane(corners, size, scale, name)
    How surely an area in it is known         plane.area_spreads(lines)

A picture point p becomes q = (p - middle) / half diagonal, then u = q (1 + k |q|^2), and a homography takes u to the
plane. The homography is that of a camera with square pixels, so it has seven figures: turn, place and focal length.
They, the lens term k and the place of every sheet but the first are fitted together, by least squares of the corners.
The next radial term and a lens axis beside the middle of the picture are held near 0, as surely as lenses usually are:
the sheet hardly shows them, but they widen the uncertainty of what lies far from it. So does the focal length, held
near that of a phone, or near what the picture file says of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.files.photo_sheet import COLUMNS, HIGH, ROWS, SHEETS, SQUARE, WIDE, PrintScale, board, opencv

Floats = NDArray[np.float64]

FEWEST = 12
"""Fewer corners than this do not carry a plane and a lens term. [-]"""
LENS = 0.06
"""Usual size of the lens term of a phone or a camera, standard deviation; common practice, no source. [-]"""
NEXT_TERM = 0.02
"""Usual size of the next radial term, standard deviation; common practice, no source. [-]"""
OFF_AXIS = 0.025
"""Usual distance of the lens axis from the middle of the picture; common practice, no source. [half diagonal]"""
FOCAL = 0.62
"""Focal length of a phone's main camera over the picture's diagonal, some 27 mm on 43.3 mm of film; from memory. [-]"""
FOCAL_SPREAD, FOCAL_KNOWN = 0.35, 0.08
"""Standard deviation of its logarithm, and the same when the picture file states it; no source. [-]"""
CORNER = 0.05
"""Corners are not found more surely than this, standard deviation, whatever their residuals say. [px]"""
PRINTED = 0.00004
"""Print and paper stray by this at each corner, standard deviation; no source. [m]"""
TOGETHER = 3.0
"""Neighbouring corners stray together (paper that is not quite flat): so many count as one; no source. [-]"""
UNFLAT = 0.0003
"""How far a template lies above the sheet's plane, by its thickness and its curl; common practice, no source. [m]"""
FILM = 0.04327
"""Diagonal of the film (36 by 24 mm) that picture files state a focal length for. [m]"""
_UNIT = 0.2  # the plane's figures are fitted in units of about a sheet [m]
_SMALL = 1600  # markers in a picture less wide are looked for in one twice as large [px]
_RIM = 6.0  # corners nearer the frame are not looked for [px]
_FIXED = 11  # figures before those of the further sheets
_TURN, _PLACE, _FOCAL, _LENS, _NEXT, _AXIS = slice(0, 3), slice(3, 6), 6, 7, 8, slice(9, 11)
_OF_LENS = slice(6, 11)


@dataclass(frozen=True, slots=True)
class Corners:
    """The corners of one sheet in the picture.

    Attributes:
        sheet: Its number.
        picture: Where they are, shape (n, 2). [px]
        drawn: Where they are on the sheet as drawn, x to the right and y down, shape (n, 2). [m]
    """

    sheet: int
    picture: Floats
    drawn: Floats


@dataclass(frozen=True)
class Plane:
    """The fitted plane of the sheets; its x runs to the right on the first sheet, its y up, from its lower left corner.

    Attributes:
        figures: Turn (3), place (3), logarithm of the focal length, lens term, next term, lens axis (2); then x, y and
            turn of each further sheet.
        covariance: Of the figures, shape (n, n).
        middle: Of the picture. [px]
        half: Half its diagonal. [px]
        sheets: Numbers of the sheets found.
        corners: How many corners stand behind it. [-]
        dropped: How many did not fit and were left out. [-]
        residual: Root mean square of the corners' residuals. [px]
        scale: Of the printer.
    """

    figures: Floats
    covariance: Floats
    middle: Floats
    half: float
    sheets: tuple[int, ...]
    corners: int
    dropped: int
    residual: float
    scale: PrintScale

    @property
    def lens(self) -> float:
        """The lens term: by how much a corner of the picture is moved outward, over half the diagonal. [-]"""
        return float(self.figures[_LENS])

    def to_plane(self, picture: Floats) -> Floats:
        """Points of the plane of points of the picture, shape (n, 2). [m]"""
        return _mapped((picture - self.middle) / self.half, self.figures) * _UNIT

    def to_picture(self, points: Floats) -> Floats:
        """Points of the picture of points of the plane, shape (n, 2). [px]"""
        seen = np.column_stack([points / _UNIT, np.ones(len(points))]) @ _seen(self.figures).T
        axis = self.figures[_AXIS]
        straight = seen[:, :2] / seen[:, 2:] - axis
        q = straight.copy()
        for _ in range(20):
            square = (q * q).sum(axis=1, keepdims=True)
            q = straight / (1.0 + self.lens * square + self.figures[_NEXT] * square * square)
        made: Floats = (q + axis) * self.half + self.middle
        return made

    def frames(self) -> list[Floats]:
        """Corners of each sheet's pattern in the plane, each of shape (4, 2), in the order of `sheets`. [m]"""
        ring = np.array([(0.0, 0.0), (WIDE, 0.0), (WIDE, HIGH), (0.0, HIGH)])
        return [self.on_sheet(n, ring) for n in range(len(self.sheets))]

    def on_sheet(self, place: int, drawn: Floats) -> Floats:
        """Points of the plane of points drawn on the sheet at this place of `sheets`. [m]"""
        return _laid(drawn, self.figures, place, self.scale) * _UNIT

    def pixel(self, picture: Floats) -> Floats:
        """Side of the square as large as one pixel, at points of the picture, shape (n,). [m]"""
        right, down = np.array([0.5, 0.0]), np.array([0.0, 0.5])
        a = self.to_plane(picture + right) - self.to_plane(picture - right)
        b = self.to_plane(picture + down) - self.to_plane(picture - down)
        side: Floats = np.sqrt(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
        return side

    def camera(self, at: Floats) -> tuple[float, float]:
        """About how high over the plane the camera was and how far its view of a point was tilted. [m, degree]

        Args:
            at: The point, (x, y). [m]
        """
        turn, place = _rotation(self.figures[_TURN]), self.figures[_PLACE]
        out = turn[:, 2]
        sight = turn[:, 0] * at[0] / _UNIT + turn[:, 1] * at[1] / _UNIT + place
        height = abs(float(out @ place)) * _UNIT
        tilt = np.degrees(np.arccos(min(abs(float(out @ sight)) / float(np.linalg.norm(sight)), 1.0)))
        return max(height, 0.05), float(tilt)

    def area_spreads(self, lines: Sequence[Floats]) -> tuple[float, float]:
        """Standard deviations of the area inside lines: by the corners of the sheet, and by the lens.

        Both grow with the distance from the sheet.

        Args:
            lines: Closed lines in the picture, cut-outs turning the other way than the outline, each (n, 2). [px]

        Returns:
            With the lens known, and what is added as it is not. [m^2]
        """
        scaled = [(line - self.middle) / self.half for line in lines]

        def area(figures: Floats) -> float:
            return sum(shoelace(_mapped(q, figures)) for q in scaled) * _UNIT**2

        slope = _slopes(area, self.figures)
        whole = float(slope @ self.covariance @ slope)
        known = np.linalg.inv(self.covariance)
        rest = np.r_[0:6, _FIXED : len(self.figures)]
        by_corners = float(slope[rest] @ np.linalg.inv(known[np.ix_(rest, rest)]) @ slope[rest])
        return max(by_corners, 0.0) ** 0.5, max(whole - by_corners, 0.0) ** 0.5


def find_corners(grey: NDArray[np.uint8], name: str) -> list[Corners]:
    """The corners of all sheets in a picture, the sheet with most first.

    The markers say about where each corner of the chessboard is; there it is found to a fraction of a pixel.

    Args:
        grey: The picture. [0..255]
        name: What errors call it.

    Raises:
        SurfaceError: no marker, a mirrored picture, one sheet there twice, too few corners.
    """
    opencv()

    marks, ids = _markers(grey)
    if len(ids) < 12 and len(_markers(np.ascontiguousarray(grey[:, ::-1]))[1]) > 2 * len(ids) + 2:
        raise SurfaceError(  # a few mirrored markers look like others
            f"{name}: the markers are mirrored",
            "Take the picture with the back camera, mirroring off; a sheet printed on film must lie print up",
        )
    if len(ids) < 3:
        found = f"only {len(ids)} of the sheet's 24 markers are" if len(ids) else "no marker of the sheet is"
        raise SurfaceError(
            f"{name}: {found} found in the picture",
            "Print the sheet with: layup template sheet sheet.pdf. Lay it whole in the picture, sharp, without glare",
        )
    each = COLUMNS * ROWS // 2
    made = []
    for number in range(1, SHEETS + 1):
        own = np.flatnonzero(ids // each == number - 1)
        if len(own) < 3:
            continue
        if len(own) - len(np.unique(ids[own])) > 2:
            raise SurfaceError(
                f"{name}: sheet {number} lies there twice",
                "Print sheets with different numbers: layup template sheet sheet.pdf --sheets 2",
            )
        made.append(_refined(grey, number, marks[own], ids[own] % each))
    most = max((len(c.picture) for c in made), default=0)
    if most < FEWEST:
        raise SurfaceError(
            f"{name}: only {most} corners of a sheet are found; at least {FEWEST} of its 35 are needed",
            "Lay the sheet whole in the picture, uncovered, sharp and without glare",
        )
    return sorted((c for c in made if len(c.picture) >= 6), key=lambda c: -len(c.picture))


def _markers(grey: NDArray[np.uint8]) -> tuple[Floats, NDArray[np.int64]]:
    """Corners of the markers, (n, 4, 2), and their numbers."""
    import cv2

    detector = cv2.aruco.ArucoDetector(board(1).getDictionary(), cv2.aruco.DetectorParameters())
    larger = 2 if max(grey.shape) < _SMALL else 1
    seen = cv2.resize(grey, None, fx=larger, fy=larger, interpolation=cv2.INTER_CUBIC) if larger > 1 else grey
    marks, ids, _ = detector.detectMarkers(seen)
    if ids is None:
        return np.zeros((0, 4, 2)), np.zeros(0, dtype=np.int64)
    known = np.asarray(ids, dtype=np.int64).ravel()
    good = known < SHEETS * COLUMNS * ROWS // 2
    return (np.asarray(marks, dtype=np.float64).reshape(-1, 4, 2)[good] + 0.5) / larger - 0.5, known[good]


def _refined(grey: NDArray[np.uint8], number: int, marks: Floats, places: NDArray[np.int64]) -> Corners:
    """The corners of the chessboard of one sheet that touch a marker that was found."""
    import cv2

    pattern = board(number)
    drawn_marks = np.asarray(pattern.getObjPoints(), dtype=np.float64)[:, :, :2]
    drawn = np.asarray(pattern.getChessboardCorners(), dtype=np.float64)[:, :2]
    matrix, _ = cv2.findHomography(drawn_marks[places].reshape(-1, 2), marks.reshape(-1, 2), cv2.RANSAC, 3.0)
    if matrix is None:
        return Corners(number, np.zeros((0, 2)), np.zeros((0, 2)))
    middles = drawn_marks[places].mean(axis=1)
    touches = (np.abs(drawn[:, None] - middles[None]).max(axis=2) < 0.6 * SQUARE).any(axis=1)
    drawn = drawn[touches]
    picture = np.zeros((0, 2))
    for limit in (0.15, 0.08, 0.06):  # the corners found tell better than the markers where to look
        start = np.asarray(cv2.perspectiveTransform(drawn[None], matrix)[0], dtype=np.float64)
        aside = [cv2.perspectiveTransform((drawn + way)[None], matrix)[0] for way in np.eye(2) * SQUARE]
        width = np.linalg.norm(np.array(aside) - start, axis=2).min(axis=0)
        inside = ((start > _RIM) & (start < np.array(grey.shape[::-1]) - 1.0 - _RIM)).all(axis=1)
        drawn, start, width = drawn[inside], start[inside], width[inside]
        if len(start) < 4:
            return Corners(number, np.zeros((0, 2)), np.zeros((0, 2)))
        found = start.astype(np.float32).reshape(-1, 1, 2).copy()
        half = int(np.clip(0.11 * np.median(width), 3, 12))  # markers begin an eighth of a square away
        cv2.cornerSubPix(grey, found, (half, half), (-1, -1), (3, 40, 1e-4))
        picture = found.reshape(-1, 2).astype(np.float64)
        near = np.hypot(*(picture - start).T) < np.maximum(0.7, limit * width)
        if near.sum() < 4:
            return Corners(number, np.zeros((0, 2)), np.zeros((0, 2)))
        better, _ = cv2.findHomography(drawn[near], picture[near], cv2.RANSAC, 0.5 + 0.01 * float(np.median(width)))
        matrix = matrix if better is None else better
        if limit == 0.06:
            drawn, picture = drawn[near], picture[near]
    return Corners(number, picture, drawn)


def fit_plane(
    corners: Sequence[Corners], size: tuple[int, int], scale: PrintScale, name: str, focal: float | None = None
) -> Plane:
    """The plane through the corners of the sheets.

    Args:
        corners: Of each sheet, the one with most first.
        size: Width and height of the picture. [px]
        scale: Of the printer.
        name: What errors call the picture.
        focal: Focal length over the picture's diagonal, where it is known. [-]

    Raises:
        SurfaceError: the corners lie on no plane.
    """
    from scipy.optimize import least_squares

    middle = (np.array(size, dtype=np.float64) - 1.0) / 2.0
    half = float(np.hypot(*size)) / 2.0
    q = (np.concatenate([c.picture for c in corners]) - middle) / half
    drawn = np.concatenate([c.drawn for c in corners])
    place = np.repeat(np.arange(len(corners)), [len(c.picture) for c in corners])
    usual = np.array([np.log(2.0 * (focal or FOCAL)), 0.0, 0.0, 0.0, 0.0])
    spread = np.array([FOCAL_KNOWN if focal else FOCAL_SPREAD, LENS, NEXT_TERM, OFF_AXIS, OFF_AXIS])
    starts = _starts(q, drawn, place, usual, scale, name)
    figures = starts[0]
    kept = np.ones(len(q), dtype=bool)
    noise = np.full(len(q), 0.1)
    for turn in range(6):
        to_pixels = _to_pixels(q, figures) * half
        pixel = _UNIT / np.sqrt(np.abs(np.linalg.det(to_pixels)))
        least = np.hypot(CORNER, PRINTED / pixel)

        def off(f: Floats, to_pixels: Floats = to_pixels) -> Floats:
            laid = np.concatenate([_laid(drawn[place == n], f, n, scale) for n in range(len(corners))])
            made: Floats = np.einsum("nij,nj->ni", to_pixels, _mapped(q, f) - laid)
            return made

        def rows(
            f: Floats, kept: NDArray[np.bool_] = kept, noise: Floats = noise, off: Callable[[Floats], Floats] = off
        ) -> Floats:
            seen = (off(f)[kept] / (noise[kept, None] * TOGETHER**0.5)).ravel()
            return np.concatenate([seen, (f[_OF_LENS] - usual) / spread])

        # a plane seen from afar can tilt to either side with nearly the same picture: the first turn tries both
        if turn < 2:  # corners that are far off must not pull
            tried = [
                least_squares(rows, start, loss="soft_l1", max_nfev=20) for start in (starts if not turn else [figures])
            ]
        else:
            tried = [least_squares(rows, figures, method="lm")]
        figures = np.asarray(min(tried, key=lambda t: float(t.cost)).x, dtype=np.float64)
        away = np.hypot(*off(figures).T)
        good = away <= np.maximum(5.0 * float(np.median(away[kept])), 3.0 * least)
        if good.sum() < FEWEST:
            raise SurfaceError(
                f"{name}: the corners of the sheet don't lie in one plane",
                "Lay the sheet flat, weigh its corners down, and photograph it whole",
            )
        free = max(2 * int(good.sum()) - len(figures), 1)
        seen_noise = float(np.sqrt((away[good] ** 2).sum() / free))
        settled = (good == kept).all() and turn > 1
        kept, noise = good, np.maximum(least, seen_noise)
        if settled:
            break
    slopes = _slopes(lambda f: rows(f, kept, noise), figures)
    covariance = np.asarray(np.linalg.inv(slopes.T @ slopes), dtype=np.float64)
    residual = float(np.sqrt((away[kept] ** 2).mean() / 2.0))
    numbers = tuple(c.sheet for c in corners)
    return Plane(
        figures=figures,
        covariance=covariance,
        middle=middle,
        half=half,
        sheets=numbers,
        corners=int(kept.sum()),
        dropped=int((~kept).sum()),
        residual=residual,
        scale=scale,
    )


def _starts(
    q: Floats, drawn: Floats, place: NDArray[np.int64], usual: Floats, scale: PrintScale, name: str
) -> list[Floats]:
    """First figures: a camera of the usual lens over the first sheet, the others laid as it sees them; up to two."""
    opencv()
    import cv2

    first = place == 0
    flat = _laid(drawn[first], np.zeros(_FIXED), 0, scale)
    lens = np.diag([np.exp(usual[0]), np.exp(usual[0]), 1.0])
    solid = np.column_stack([flat, np.zeros(len(flat))])
    _, turns, places, _ = cv2.solvePnPGeneric(
        solid, np.ascontiguousarray(q[first]), lens, np.zeros(4), flags=cv2.SOLVEPNP_IPPE
    )
    made = []
    for turn, at in zip(turns, places, strict=True):
        if not (np.isfinite(turn).all() and np.isfinite(at).all()):
            continue
        figures = np.concatenate([turn.ravel(), at.ravel(), usual])
        for n in range(1, int(place.max()) + 1):
            seen = _mapped(q[place == n], figures)
            laid = _laid(drawn[place == n], figures, 0, scale)
            a, b = laid - laid.mean(axis=0), seen - seen.mean(axis=0)
            angle = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
            shift = seen.mean(axis=0) - _turned(laid.mean(axis=0)[None], angle)[0]
            figures = np.concatenate([figures, shift, [angle]])
        made.append(figures)
    if not made:
        raise SurfaceError(f"{name}: the corners of the sheet lie on no plane", "Lay the sheet flat")
    return made


def _rotation(turn: Floats) -> Floats:
    """The matrix of a turn about an axis. Source: Rodrigues' formula, from memory."""
    angle = float(np.linalg.norm(turn))
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = turn / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    made: Floats = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * (cross @ cross)
    return made


def _seen(figures: Floats) -> Floats:
    """The homography from the plane, in its unit, to the picture without its lens term."""
    turn = _rotation(figures[_TURN])
    rows = np.column_stack([turn[:, 0], turn[:, 1], figures[_PLACE]])
    focal = np.exp(figures[_FOCAL])
    axis = figures[_AXIS]
    made: Floats = np.array([[focal, 0.0, axis[0]], [0.0, focal, axis[1]], [0.0, 0.0, 1.0]]) @ rows
    return made


def _mapped(q: Floats, figures: Floats) -> Floats:
    """Points of the plane, in its unit."""
    from_axis = q - figures[_AXIS]
    square = (from_axis * from_axis).sum(axis=1, keepdims=True)
    u = from_axis * (1.0 + figures[_LENS] * square + figures[_NEXT] * square * square) + figures[_AXIS]
    m = np.linalg.inv(_seen(figures))
    made: Floats = (u @ m[:2, :2].T + m[:2, 2]) / (u @ m[2, :2][:, None] + m[2, 2])
    return made


def _turned(points: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    made: Floats = points @ np.array([[c, s], [-s, c]])
    return made


def _laid(drawn: Floats, figures: Floats, place: int, scale: PrintScale) -> Floats:
    """Points of a sheet in the plane, in its unit: y up from the lower left corner of the first sheet's pattern."""
    flat = np.column_stack([drawn[:, 0] * scale.across, (HIGH - drawn[:, 1]) * scale.along]) / _UNIT
    if place == 0:
        return flat
    first = _FIXED + 3 * (place - 1)
    made: Floats = _turned(flat, float(figures[first + 2])) + figures[first : first + 2]
    return made


def _to_pixels(q: Floats, figures: Floats) -> Floats:
    """What a step in the plane is in the picture, at each point, shape (n, 2, 2)."""
    step = 1e-5
    columns = [(_mapped(q + way, figures) - _mapped(q - way, figures)) / (2.0 * step) for way in np.eye(2) * step]
    return np.linalg.inv(np.stack(columns, axis=2))


def _slopes(value: Callable[[Floats], Floats | float], at: Floats) -> Floats:
    """What a step of each figure does to a value, in the last axis."""
    made = []
    for n in range(len(at)):
        step = np.zeros(len(at))
        step[n] = 1e-5 * max(1.0, abs(float(at[n])))
        made.append((np.asarray(value(at + step)) - np.asarray(value(at - step))) / (2.0 * step[n]))
    return np.stack(made, axis=-1)


def shoelace(line: Floats) -> float:
    """Signed area inside a closed line of points, shape (n, 2); greater than zero when it turns to the left."""
    x, y = (line - line[0]).T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2.0
