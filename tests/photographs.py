"""Photographs made from known truth: a template and the printed sheet on a table, through a camera that is not ours.

The sheet is drawn from the path in the PDF itself. The camera has two radial terms and an axis beside the middle of the
picture (the reader fits one term about the middle), light that falls off to one side, paper grain, a table with grain,
blur, sensor noise, and the brightness curve of a camera.
"""

import re
from dataclasses import dataclass
from functools import cache

import numpy as np
import shapely
from scipy.sparse import csr_array

from layup.files.photo_sheet import PAPERS, sheet_pdf

MM = 72.0 / 25.4
FINE = 0.0005  # one point of the scene [m]


def page_path(pdf: bytes, page: int = 0):
    """Corner points of the filled path of one page of a sheet, in points of 1/72 in from the lower left corner."""
    streams = [s for s in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.S) if b" m " in s and b"f*" in s]
    text = streams[page].decode("latin-1").split("f*")[0]
    rings = []
    for x, y, way in re.findall(r"(-?[\d.]+) (-?[\d.]+) ([ml])\b", text):
        if way == "m":
            rings.append([])
        rings[-1].append((float(x), float(y)))
    return [np.array(ring) for ring in rings]


@cache
def sheet_picture(number: int = 1, paper: str = "a4"):
    """One printed sheet, white paper 1, black 0, top row first, at FINE metres a point; printed in exact size."""
    wide, high = (round(v / FINE) for v in PAPERS[paper])
    odd = np.zeros((high + 1, wide + 1), bool)
    for ring in page_path(sheet_pdf(paper, number), number - 1):
        line = ring / MM * 1e-3 / FINE
        for (x0, y0), (x1, y1) in zip(line, np.roll(line, -1, axis=0), strict=True):
            if abs(x0 - x1) < 1e-3:  # an upright side turns everything right of it over
                a, b = sorted((high - y0, high - y1))
                odd[round(a) : round(b), round(x0) :] ^= True
    return 1.0 - odd[:high, :wide].astype(np.float32)


@dataclass(frozen=True)
class Shape:
    """A template: a rectangle with round corners, less discs and one slot; all in metres, y up."""

    wide: float = 0.32
    high: float = 0.23
    corner: float = 0.03
    discs: tuple[tuple[float, float, float], ...] = ((0.08, 0.07, 0.03), (0.25, 0.16, 0.012), (0.32, 0.06, 0.04))
    slot: tuple[float, float, float, float, float] | None = (0.12, 0.17, 0.20, 0.15, 0.01)

    def inside(self, x, y):
        """Distance to the edge, greater than 0 inside. [m]"""
        r = self.corner
        dx = np.abs(x - self.wide / 2) - (self.wide / 2 - r)
        dy = np.abs(y - self.high / 2) - (self.high / 2 - r)
        made = r - np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) - np.minimum(np.maximum(dx, dy), 0)
        for cx, cy, radius in self.discs:
            made = np.minimum(made, np.hypot(x - cx, y - cy) - radius)
        if self.slot:
            x0, y0, x1, y1, radius = self.slot
            along = np.array([x1 - x0, y1 - y0])
            share = np.clip(((x - x0) * along[0] + (y - y0) * along[1]) / (along @ along), 0, 1)
            made = np.minimum(made, np.hypot(x - x0 - share * along[0], y - y0 - share * along[1]) - radius)
        return made

    @property
    def polygon(self):
        r, many = self.corner, 200
        made = shapely.box(r, r, self.wide - r, self.high - r).buffer(r, quad_segs=many)
        for cx, cy, radius in self.discs:
            made = made.difference(shapely.Point(cx, cy).buffer(radius, quad_segs=many))
        if self.slot:
            x0, y0, x1, y1, radius = self.slot
            made = made.difference(shapely.LineString([(x0, y0), (x1, y1)]).buffer(radius, quad_segs=many))
        return made

    @property
    def area(self) -> float:
        return float(self.polygon.area)


SCENE = (1.25, 1.05)  # the table [m]


@cache
def table(
    shape: Shape,
    tone: float = 0.75,
    ground: float = 0.09,
    places: tuple = ((1, 0.31, 0.36, 0.0),),
    at: tuple = (0.56, 0.40),
    stray: float = 0.00005,
    printed: tuple[int, int] | None = None,
    grain: int = 1,
):
    """The table from above, in linear light, top row first. Places are number, x, y of the sheet's lower left corner
    and its turn in degrees; `at` is the template's lower left corner; `stray` is how far the print strays [m]."""
    import cv2

    draw = np.random.default_rng(grain)
    wide, high = (round(v / FINE) for v in SCENE)
    x = (np.arange(wide) + 0.5) * FINE
    y = SCENE[1] - (np.arange(high) + 0.5) * FINE
    streaks = cv2.GaussianBlur(draw.standard_normal((high // 3, wide // 3), np.float32), (0, 0), 5, sigmaY=0.7)
    streaks = cv2.resize(streaks / streaks.std(), (wide, high))
    made = np.float32(ground) * (1 + np.float32(0.06) * streaks)
    for number, left, low, turn in places:
        paper = sheet_picture(number)
        ink = _strayed(0.04 + 0.78 * paper, stray, draw)
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        if printed:  # points across and along, where the printer prints larger or smaller
            ink = cv2.resize(ink, printed, interpolation=cv2.INTER_LINEAR)
        tall = ink.shape[0]
        # scene point of paper point (i, j): lower left corner plus the turned offset
        u = np.array([[c, s], [-s, c]])  # offsets (right, down) in the picture
        corner = np.array([left / FINE, (SCENE[1] - low) / FINE])
        shift = corner + u @ np.array([0.5, 0.5 - tall]) - 0.5
        move = np.column_stack([u, shift])
        over = cv2.warpAffine(ink, move, (wide, high), flags=cv2.INTER_LINEAR)
        mask = cv2.warpAffine(np.ones_like(ink), move, (wide, high), flags=cv2.INTER_LINEAR)
        made = made * (1 - mask) + over * mask
    columns = slice(round((at[0] - 0.005) / FINE), round((at[0] + shape.wide + 0.005) / FINE))
    rows = slice(round((SCENE[1] - at[1] - shape.high - 0.005) / FINE), round((SCENE[1] - at[1] + 0.005) / FINE))
    d = shape.inside(x[None, columns] - at[0], y[rows, None] - at[1])
    cover = np.clip(0.5 + d / FINE, 0, 1)
    paper = tone * (1.0 + 0.03 * draw.standard_normal(d.shape, np.float32))
    made[rows, columns] = made[rows, columns] * (1 - cover) + paper * cover
    return cv2.GaussianBlur(made, (0, 0), 0.8)


def _strayed(ink, stray: float, draw):
    """Print that strays in waves some 60 to 200 mm long, each way by `stray` (root mean square)."""
    import cv2

    tall, wide = ink.shape
    x, y = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(tall, dtype=np.float32))
    maps = []
    for start in (x, y):
        off = np.zeros_like(x)
        for _ in range(4):
            turn, phase = draw.uniform(0, 2 * np.pi, 2)
            wave = 2 * np.pi * FINE / draw.uniform(0.06, 0.2)
            off += np.sin(np.float32(wave * np.cos(turn)) * x + np.float32(wave * np.sin(turn)) * y + np.float32(phase))
        maps.append(start + off * np.float32(stray / FINE / np.sqrt(2)))
    return cv2.remap(ink, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


@dataclass(frozen=True)
class Camera:
    """Where the camera is and what its lens does."""

    tilt: float = 20.0  # [degree]
    swing: float = 30.0  # from which side it looks, round the upright [degree]
    roll: float = 5.0  # [degree]
    size: tuple[int, int] = (1000, 750)  # [px]
    focal: float = 0.78  # over the width
    k1: float = -0.06
    k2: float = 0.01
    axis: tuple[float, float] = (0.01, -0.008)  # lens axis beside the middle, over the width
    middle: tuple[float, float] = (0.61, 0.51)  # the point it looks at [m]
    sees: float = 0.74  # how wide a piece of the table it sees at the middle [m]
    noise: float = 0.006  # of full white
    slope: tuple[float, float] = (0.25, -0.15)  # light across the picture and down it
    falloff: float = 0.25  # darker in the corners
    blur: float = 0.6  # [px]
    seed: int = 0


def _between(knots, at):
    """The matrix that puts values at evenly spaced knots on a line through them."""
    place = (at - knots[0]) / (knots[1] - knots[0])
    left = np.floor(place).astype(int)
    rows = np.arange(len(at))
    share = np.concatenate([1 - (place - left), place - left])
    return csr_array(
        (share.astype(np.float32), (np.r_[rows, rows], np.r_[left, left + 1])), shape=(len(at), len(knots))
    )


def photograph(scene, camera: Camera):
    """The picture, (height, width, 3) in 0..255."""
    import cv2

    wide, high = camera.size
    f = camera.focal * wide
    half = np.array([(wide - 1) / 2, (high - 1) / 2])
    axis = half + np.array(camera.axis) * wide
    t, s, r = np.radians([camera.tilt, camera.swing, camera.roll])
    look = np.array([np.sin(t) * np.cos(s), np.sin(t) * np.sin(s), -np.cos(t)])  # from the camera, z up
    right = np.cross(look, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(look, right)
    right, down = np.cos(r) * right + np.sin(r) * down, -np.sin(r) * right + np.cos(r) * down
    away = camera.focal * camera.sees
    centre = np.array([*camera.middle, 0.0]) - look * away

    many = 2  # samples a side of each pixel
    step = 4
    gx = np.arange(-step, wide + 2 * step, step, dtype=np.float64)
    gy = np.arange(-step, high + 2 * step, step, dtype=np.float64)
    seen_at = (np.stack(np.meshgrid(gx, gy), axis=-1) - axis) / f
    straight = seen_at.copy()
    for _ in range(40):  # the published lens model (Brown 1966), turned round by repetition
        square = (straight**2).sum(axis=-1, keepdims=True)
        straight = seen_at / (1 + camera.k1 * square + camera.k2 * square**2)
    across = _between(gx, (np.arange(wide * many) + 0.5) / many - 0.5)
    downward = _between(gy, (np.arange(high * many) + 0.5) / many - 0.5)
    n = [(across @ (downward @ straight[..., i]).astype(np.float32).T).T for i in (0, 1)]
    axes = np.stack([right, down, look]).astype(np.float32)
    ray = [n[0] * axes[0, i] + n[1] * axes[1, i] + axes[2, i] for i in range(3)]
    far = np.float32(-centre[2]) / ray[2]
    x = np.float32(centre[0]) + far * ray[0]
    y = np.float32(centre[1]) + far * ray[1]
    seen = cv2.remap(
        scene, x / np.float32(FINE) - 0.5, np.float32(SCENE[1] / FINE) - y / np.float32(FINE) - 0.5,
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    seen = cv2.resize(seen, (wide, high), interpolation=cv2.INTER_AREA)
    if camera.blur:
        seen = cv2.GaussianBlur(seen, (0, 0), camera.blur)
    u = (np.arange(wide) - half[0]) / wide
    v = (np.arange(high) - half[1])[:, None] / wide
    light = (1 + 2 * camera.slope[0] * u + 2 * camera.slope[1] * v) * (1 - camera.falloff * (u * u + v * v) / 0.39)
    seen = seen * light
    draw = np.random.default_rng(camera.seed)
    seen = seen.astype(np.float32)
    made = np.stack([seen * np.float32(tint) for tint in (0.90, 0.97, 1.0)], axis=-1)
    made += np.float32(camera.noise) * draw.standard_normal(made.shape, np.float32)
    at = np.linspace(0, 1, 8192)
    curve = np.where(at <= 0.0031308, 12.92 * at, 1.055 * at ** (1 / 2.4) - 0.055)
    np.clip(made * 8191, 0, 8191, out=made)
    return np.round(curve * 255).astype(np.uint8)[made.astype(np.int16)]
