"""Where each point of a photograph lies in the plane of the sheet, in metres, and how surely.

    Corners of the sheets in a picture          find_corners(grey, name)
    The plane through them, with one lens term  fit_plane(corners, size, scale, name)
    How surely an area in it is known           plane.area_spreads(lines)

A picture point p becomes q = (p - middle) / half diagonal, then u = q (1 + k |q|^2), and the plane's point is the
homography of u. Its eight figures, the lens term k and the place of every sheet but the first are fitted together, by
least squares of the corners in pixels.

What one term leaves out (the next radial term, a lens axis beside the middle of the picture) is not fitted but carried:
its effect on the area, less what the fit takes up on the sheet, counts as uncertainty, with the usual size of such terms.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.surface.photo_sheet import HIGH, SHEETS, WIDE, PrintScale, board, opencv

Floats = NDArray[np.float64]

FEWEST = 12
"""Fewer corners than this do not carry a plane and a lens term. [-]"""
LENS = 0.06
"""Usual size of the lens term of a phone or a camera, standard deviation; common practice, no source. [-]"""
NEXT_TERM = 0.02
"""Usual size of the next radial term, standard deviation; common practice, no source. [-]"""
OFF_AXIS = 0.03
"""Usual distance of the lens axis from the middle of the picture; common practice, no source. [half diagonal]"""
CORNER = 0.1
"""Corners are not found more surely than this, standard deviation, whatever their residuals say. [px]"""
TOGETHER = 4.0
"""Residuals of neighbouring corners go together (paper that is not quite flat): so many count as one. [-]"""
UNFLAT = 0.0003
"""How far a template lies above the sheet's plane, by its thickness and its curl; common practice, no source. [m]"""
FOCUS = 0.67
"""Focal length of a phone's main camera over the diagonal of the picture: about 28 mm on 43 mm of film. From memory. [-]"""
_UNIT = 0.2  # the plane's figures are fitted in units of about a sheet [m]


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
        figures: The eight of the homography, the lens term, then x, y and turn of each further sheet.
        covariance: Of the figures, shape (n, n).
        middle: Of the picture. [px]
        half: Half its diagonal. [px]
        sheets: Numbers of the sheets found.
        corners: How many corners stand behind it. [-]
        dropped: How many did not fit and were left out. [-]
        residual: Root mean square of the corners' residuals. [px]
        carried: What a unit of each term that is not fitted moves the fitted figures by, shape (3, n).
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
    carried: Floats
    scale: PrintScale

    @property
    def lens(self) -> float:
        """The lens term: by how much a corner of the picture is moved outward, over half the diagonal. [-]"""
        return float(self.figures[8])

    def to_plane(self, picture: Floats) -> Floats:
        """Points of the plane of points of the picture, shape (n, 2). [m]"""
        return _mapped((picture - self.middle) / self.half, self.figures, np.zeros(3)) * _UNIT

    def to_picture(self, points: Floats) -> Floats:
        """Points of the picture of points of the plane, shape (n, 2). [px]"""
        back = np.linalg.inv(_matrix(self.figures))
        u = np.column_stack([points / _UNIT, np.ones(len(points))]) @ back.T
        u = u[:, :2] / u[:, 2:]
        q = u.copy()
        for _ in range(20):
            q = u / (1.0 + self.lens * (q * q).sum(axis=1, keepdims=True))
        made: Floats = q * self.half + self.middle
        return made

    def frames(self) -> list[Floats]:
        """Corners of each sheet's pattern in the plane, each of shape (4, 2), in the order of `sheets`. [m]"""
        return [self.on_sheet(n, np.array([(0, 0), (WIDE, 0), (WIDE, HIGH), (0, HIGH)])) for n in range(len(self.sheets))]

    def on_sheet(self, place: int, drawn: Floats) -> Floats:
        """Points of the plane of points drawn on the sheet at this place of `sheets`. [m]"""
        return _laid(drawn, self.figures, place, self.scale) * _UNIT

    def pixel(self, picture: Floats) -> Floats:
        """Side of the square as large as one pixel, at points of the picture, shape (n,). [m]"""
        right = self.to_plane(picture + (0.5, 0.0)) - self.to_plane(picture - (0.5, 0.0))
        down = self.to_plane(picture + (0.0, 0.5)) - self.to_plane(picture - (0.0, 0.5))
        side: Floats = np.sqrt(np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0]))
        return side

    def camera(self, at: Floats) -> tuple[float, float]:
        """About how high over the plane the camera was and how far its view of a point was tilted. [m, degree]

        Args:
            at: The point, (x, y). [m]
        """
        back = np.linalg.inv(_matrix(self.figures))
        rows = np.diag([1.0, 1.0, 2.0 * FOCUS]) @ back  # the picture's half diagonal is 1: the focal length 2 FOCUS
        ray = rows / np.sqrt(np.linalg.norm(rows[:, 0]) * np.linalg.norm(rows[:, 1]))
        out = np.cross(ray[:, 0], ray[:, 1])
        out /= np.linalg.norm(out)
        height = abs(float(out @ ray[:, 2])) * _UNIT
        sight = ray @ np.array([at[0] / _UNIT, at[1] / _UNIT, 1.0])
        tilt = np.degrees(np.arccos(min(abs(float(out @ sight)) / float(np.linalg.norm(sight)), 1.0)))
        return max(height, 0.05), float(tilt)

    def area_spreads(self, lines: Sequence[Floats]) -> tuple[float, float]:
        """Standard deviations of the area inside lines: by the corners and lens term fitted, and by what is not fitted.

        Both grow with the distance from the sheet.

        Args:
            lines: Closed lines in the picture, cut-outs turning the other way than the outline, each (n, 2). [px]

        Returns:
            By the fit, by the terms left out. [m^2]
        """
        scaled = [(line - self.middle) / self.half for line in lines]

        def area(figures: Floats, left_out: Floats) -> float:
            return sum(shoelace(_mapped(q, figures, left_out)) for q in scaled) * _UNIT**2

        none = np.zeros(3)
        by_figure = _slopes(lambda f: area(f, none), self.figures)
        by_left_out = _slopes(lambda e: area(self.figures, e), none)
        by_fit = float(np.sqrt(max(by_figure @ self.covariance @ by_figure, 0.0)))
        usual = np.array([NEXT_TERM, OFF_AXIS, OFF_AXIS])
        by_lens = float(np.linalg.norm((by_left_out + self.carried @ by_figure) * usual))
        return by_fit, by_lens


def find_corners(grey: NDArray[np.uint8], name: str) -> list[Corners]:
    """The corners of all sheets in a picture.

    Args:
        grey: The picture. [0..255]
        name: What errors call it.

    Raises:
        SurfaceError: no marker, a mirrored picture, one sheet there twice, too few corners.
    """
    cv2 = opencv()
    marks, ids = _markers(cv2, grey)
    if len(ids) < 3:
        if len(_markers(cv2, np.ascontiguousarray(grey[:, ::-1]))[1]) > max(len(ids), 2):
            raise SurfaceError(
                f"{name}: the markers are mirrored",
                "Take the picture with the back camera, mirroring off; a sheet printed on film must lie print up",
            )
        found = f"only {len(ids)} of its markers" if len(ids) else "no marker of the sheet"
        raise SurfaceError(
            f"{name}: {found} found in the picture",
            "Print the sheet with: layup template sheet sheet.pdf. Lay it whole in the picture, sharp and without glare",
        )
    each = len(board(1).getIds())
    made = []
    for number in range(1, SHEETS + 1):
        own = ids // each == number - 1
        if own.sum() < 3:
            continue
        if len(np.unique(ids[own])) < 0.75 * own.sum():
            raise SurfaceError(
                f"{name}: sheet {number} lies there twice",
                "Print sheets with different numbers: layup template sheet sheet.pdf --sheets 2",
            )
        pattern = board(number)
        detector = cv2.aruco.CharucoDetector(pattern)
        kept = [mark for mark, k in zip(marks, own, strict=True) if k]
        places, numbers, _, _ = detector.detectBoard(grey, markerCorners=kept, markerIds=ids[own].reshape(-1, 1))
        if numbers is None or len(numbers) < 4:
            continue
        drawn = np.asarray(pattern.getChessboardCorners(), dtype=np.float64)[np.asarray(numbers).ravel(), :2]
        made.append(Corners(number, np.asarray(places, dtype=np.float64).reshape(-1, 2), drawn))
    most = max((len(c.picture) for c in made), default=0)
    if most < FEWEST:
        raise SurfaceError(
            f"{name}: only {most} corners of a sheet are found; at least {FEWEST} of its 35 are needed",
            "Lay the sheet whole in the picture, uncovered, sharp and without glare",
        )
    return sorted(made, key=lambda c: -len(c.picture))


def _markers(cv2: Any, grey: NDArray[np.uint8]) -> tuple[list[Any], NDArray[np.int64]]:
    detector = cv2.aruco.ArucoDetector(board(1).getDictionary(), cv2.aruco.DetectorParameters())
    marks, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return [], np.zeros(0, dtype=np.int64)
    known = np.asarray(ids).ravel()
    good = known < SHEETS * len(board(1).getIds())
    return [mark for mark, g in zip(marks, good, strict=True) if g], known[good].astype(np.int32)


def fit_plane(corners: Sequence[Corners], size: tuple[int, int], scale: PrintScale, name: str) -> Plane:
    """The plane through the corners of the sheets.

    Args:
        corners: Of each sheet, the best first.
        size: Width and height of the picture. [px]
        scale: Of the printer.
        name: What errors call the picture.

    Raises:
        SurfaceError: the corners lie on no plane.
    """
    from scipy.optimize import least_squares

    middle = (np.array(size, dtype=np.float64) - 1.0) / 2.0
    half = float(np.hypot(*size)) / 2.0
    q = np.concatenate([c.picture for c in corners])
    q = (q - middle) / half
    drawn = np.concatenate([c.drawn for c in corners])
    place = np.repeat(np.arange(len(corners)), [len(c.picture) for c in corners])
    figures = _start(q, drawn, place, scale, name)
    kept = np.ones(len(q), dtype=bool)
    none = np.zeros(3)

    def laid(f: Floats) -> Floats:
        made = np.empty_like(drawn)
        for n in range(len(corners)):
            made[place == n] = _laid(drawn[place == n], f, n, scale)
        return made

    for turn in range(4):
        to_pixels = _to_pixels(q, figures) * half

        def off(f: Floats, left_out: Floats = none, to_pixels: Floats = to_pixels) -> Floats:
            return np.einsum("nij,nj->ni", to_pixels, _mapped(q, f, left_out) - laid(f))

        def rows(f: Floats, off: Callable[..., Floats] = off) -> Floats:
            return np.concatenate([off(f)[kept].ravel() / CORNER, [f[8] / LENS]])

        figures = least_squares(rows, figures, x_scale="jac").x
        away = np.hypot(*off(figures).T)
        good = away <= max(0.5, 5.0 * float(np.median(away[kept])))
        if turn and (good == kept).all():
            break
        kept = good if turn < 3 else kept
    if kept.sum() < FEWEST or (place[kept] == 0).sum() < FEWEST:
        raise SurfaceError(
            f"{name}: the corners of the sheet don't lie in one plane: {int((~kept).sum())} of {len(kept)} are off",
            "Lay the sheet flat, weigh its corners down, and photograph it whole",
        )
    free = 2 * int(kept.sum()) + 1 - len(figures)
    squares = float((off(figures)[kept] ** 2).sum())
    noise = max(CORNER, float(np.sqrt(squares / free)))
    slopes = _slopes(rows, figures)
    slopes[:-1] *= CORNER / noise / np.sqrt(TOGETHER)
    covariance = np.linalg.inv(slopes.T @ slopes)
    step = 1e-4
    carried = []
    for term in np.eye(3):
        moved = (off(figures, term * step) - off(figures, -term * step))[kept].ravel() / (2.0 * step)
        moved = np.append(moved / noise / np.sqrt(TOGETHER), 0.0)
        carried.append(-covariance @ slopes.T @ moved)
    return Plane(
        figures, covariance, middle, half, tuple(c.sheet for c in corners), int(kept.sum()), int((~kept).sum()),
        float(np.sqrt(squares / kept.sum() / 2.0)), np.array(carried), scale,
    )  # fmt: skip


def _start(q: Floats, drawn: Floats, place: NDArray[np.int64], scale: PrintScale, name: str) -> Floats:
    """First figures: a homography on the first sheet without lens, the others laid by it."""
    cv2 = opencv()
    none = np.zeros(9)
    first = place == 0
    matrix, _ = cv2.findHomography(q[first], _laid(drawn[first], none, 0, scale), cv2.LMEDS)
    if matrix is None or not np.isfinite(matrix).all() or abs(matrix[2, 2]) < 1e-9:
        raise SurfaceError(f"{name}: the corners of the sheet lie on no plane", "Lay the sheet flat, whole in the picture")
    figures = np.append((matrix / matrix[2, 2]).ravel()[:8], 0.0)
    for n in range(1, int(place.max()) + 1):
        seen = _mapped(q[place == n], figures, np.zeros(3))
        flat = _laid(drawn[place == n], none, 0, scale)
        a, b = flat - flat.mean(axis=0), seen - seen.mean(axis=0)
        turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
        shift = seen.mean(axis=0) - _turned(flat.mean(axis=0)[None], turn)[0]
        figures = np.append(figures, [*shift, turn])
    return figures


def _matrix(figures: Floats) -> Floats:
    return np.append(figures[:8], 1.0).reshape(3, 3)


def _mapped(q: Floats, figures: Floats, left_out: Floats) -> Floats:
    """Points of the plane, in its unit; `left_out` is the next radial term and the place of the lens axis."""
    from_axis = q - left_out[1:]
    square = (from_axis * from_axis).sum(axis=1, keepdims=True)
    u = from_axis * (1.0 + figures[8] * square + left_out[0] * square * square) + left_out[1:]
    m = _matrix(figures)
    made: Floats = (u @ m[:2, :2].T + m[:2, 2]) / (u @ m[2, :2][:, None] + 1.0)
    return made


def _turned(points: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def _laid(drawn: Floats, figures: Floats, place: int, scale: PrintScale) -> Floats:
    """Points of a sheet in the plane, in its unit: y up from the lower left corner of the first sheet's pattern."""
    flat = np.column_stack([drawn[:, 0] * scale.across, (HIGH - drawn[:, 1]) * scale.along]) / _UNIT
    if place == 0:
        return flat
    x, y, turn = figures[9 + 3 * (place - 1) : 12 + 3 * (place - 1)]
    return _turned(flat, float(turn)) + (x, y)


def _to_pixels(q: Floats, figures: Floats) -> Floats:
    """What a step in the plane is in the picture, at each point, shape (n, 2, 2)."""
    step, none = 1e-5, np.zeros(3)
    columns = [
        (_mapped(q + way, figures, none) - _mapped(q - way, figures, none)) / (2.0 * step) for way in np.eye(2) * step
    ]
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
