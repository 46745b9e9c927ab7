"""A second maker of photographs, sharing no code with photographs.py: every pixel is worked out from formulas alone.

The template's edge is a radius that is a sum of waves in the angle, so that its area is exact: half the integral of
its square is pi (r0^2 + half the sum of the squares of the waves). Cut-outs are ellipses. The lens divides
(1 + l r^2), where the other maker's lens multiplies; light, shadow, texture, tilt, print scale and noise are drawn at
random. Nothing is drawn on a map first: a ray goes from each of several places in a pixel to the table, and what it
meets is looked up.
"""

from dataclasses import dataclass, field

import numpy as np

SQUARE, ACROSS, DOWN = 0.028, 6, 8


def pattern(number: int) -> np.ndarray:
    """Black (0) and white (1) of a sheet, eight by eight marks a square, top row first; the marks are OpenCV's."""
    import cv2

    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    rows = np.zeros((DOWN * 8, ACROSS * 8))
    place = 0
    for j in range(DOWN):
        for i in range(ACROSS):
            if (i + j) % 2 == 0:
                continue
            rows[j * 8 : j * 8 + 8, i * 8 : i * 8 + 8] = 1.0
            mark = words.generateImageMarker(place + ACROSS * DOWN // 2 * (number - 1), 6) > 127
            rows[j * 8 + 1 : j * 8 + 7, i * 8 + 1 : i * 8 + 7] = mark
            place += 1
    return rows


@dataclass
class Made:
    """One photograph's truth: everything that was drawn at random."""

    seed: int
    shadow: str = ""
    depth: float = 0.5
    soft: float = 0.01
    two: bool = True
    size: tuple[int, int] = (900, 675)
    waves: list = field(default_factory=list)

    def __post_init__(self):
        r = np.random.default_rng(self.seed)
        self.r0 = r.uniform(0.09, 0.14)
        self.waves = [(k, r.uniform(0, 0.05 / k) * self.r0, r.uniform(0, 2 * np.pi)) for k in range(2, 9)]
        self.holes = [
            (r.uniform(0.0, 0.45) * self.r0, r.uniform(0, 2 * np.pi), r.uniform(0.006, 0.018), r.uniform(0.006, 0.018))
            for _ in range(r.integers(0, 3))
        ]
        if len(self.holes) == 2 and np.hypot(*(self.middle_of(0) - self.middle_of(1))) < 0.045:
            self.holes.pop()
        self.scale = (r.uniform(0.99, 1.01), r.uniform(0.99, 1.01))  # how the printer prints
        dark = r.random() < 0.3
        self.tone, self.ground = (r.uniform(0.08, 0.2), r.uniform(0.5, 0.75)) if dark else (
            r.uniform(0.55, 0.85), r.uniform(0.05, 0.14))  # fmt: skip
        self.grain = (r.uniform(0.0, 0.06), r.uniform(60, 400), r.uniform(0, np.pi))
        self.lens = r.uniform(-0.05, 0.05)
        self.tilt, self.round, self.roll = np.radians([r.uniform(0, 38), r.uniform(0, 360), r.uniform(-20, 20)])
        self.focal = r.uniform(0.72, 0.9)
        self.away = r.uniform(0.95, 1.15) * (1.0 if self.two else 0.85)
        self.light = r.uniform(-0.5, 0.5, 2)
        self.noise = r.uniform(0.002, 0.01)
        self.gap = r.uniform(0.03, 0.06)
        self.turns = np.radians(r.uniform(-15, 15, 2))
        self.shade_at = (r.uniform(0, 2 * np.pi), r.uniform(-0.5, 0.5), r.uniform(0.05, 0.09))
        self.read = (1.0 + r.normal(0, 0.00015 / 0.1), 1.0 + r.normal(0, 0.00015 / 0.2))

    def middle_of(self, n):
        far, turn, *_ = self.holes[n]
        return np.array([far * np.cos(turn), far * np.sin(turn)])

    @property
    def bars(self) -> dict:
        """The bars as a person would measure them."""
        return {
            "bar": f"{100 * self.scale[0] * self.read[0]:.2f} mm",
            "bar_along": f"{200 * self.scale[1] * self.read[1]:.2f} mm",
        }

    @property
    def area(self) -> float:
        whole = np.pi * (self.r0**2 + 0.5 * sum(a * a for _, a, _ in self.waves))
        return whole - sum(np.pi * a * b for *_, a, b in self.holes)

    def cover(self, x, y, wide):
        """How much of a small place is template, 0 to 1; `wide` is the place's size."""
        turn, r = np.arctan2(y, x), np.hypot(x, y)
        edge = self.r0 + sum(a * np.cos(k * turn + p) for k, a, p in self.waves)
        slope = sum(-k * a * np.sin(k * turn + p) for k, a, p in self.waves)
        d = (edge - r) / np.sqrt(1 + (slope / np.maximum(r, 1e-6)) ** 2)
        for n, (_, _, a, b) in enumerate(self.holes):
            u, v = x - self.middle_of(n)[0], y - self.middle_of(n)[1]
            q = np.hypot(u / a, v / b)
            d = np.minimum(d, (q - 1) * q / np.maximum(np.hypot(u / a**2, v / b**2), 1e-6))
        return np.clip(0.5 + d / wide, 0, 1)

    def shade(self, x, y):
        """Light that is left, by a shadow of the kind asked for."""
        turn, off, size = self.shade_at
        u, v = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
        step = lambda d: 1 / (1 + np.exp(-np.clip(d / self.soft * 4, -60, 60)))  # noqa: E731
        if self.shadow == "edge":  # of a window frame or a building
            inside = step(u - off * self.r0)
        elif self.shadow == "phone":
            at = self.r0 * 0.7
            inside = step(size * 0.8 - np.abs(u - at)) * step(size * 1.6 - np.abs(v - off * 0.1))
        elif self.shadow == "hand":  # an arm and fingers from beyond
            arm = step(0.035 - np.abs(v - 0.02)) * step(u - self.r0 * 0.75)
            fingers = sum(step(0.008 - np.abs(v - w)) * step(u - self.r0 * 0.35) for w in (-0.02, 0.0, 0.02, 0.04))
            inside = np.clip(arm + fingers, 0, 1)
        else:
            return np.ones_like(x)
        return 1 - self.depth * inside


def photograph(made: Made) -> np.ndarray:
    """The picture, (height, width, 3) in 0..255, blue first."""
    wide, high = made.size
    r = np.random.default_rng(made.seed + 10_000)
    back = np.array([np.sin(made.tilt) * np.cos(made.round), np.sin(made.tilt) * np.sin(made.round), np.cos(made.tilt)])
    up = np.array([0.0, 1.0, 0.0])
    x_axis = np.cross(up, back)
    x_axis /= np.linalg.norm(x_axis)
    y_axis = np.cross(back, x_axis)
    c, s = np.cos(made.roll), np.sin(made.roll)
    x_axis, y_axis = c * x_axis + s * y_axis, -s * x_axis + c * y_axis
    aim = np.array([0.0 if made.two else -0.07, 0.0, 0.0])
    eye = aim + back * made.away
    total = np.zeros((high, wide))
    offsets = [(a, b) for a in (-0.27, 0.24) for b in (-0.26, 0.25)]
    left = [(-made.r0 * 1.25 - made.gap - SQUARE * ACROSS / 2, 0.0, made.turns[0], 1)]
    if made.two:
        left.append((made.r0 * 1.25 + made.gap + SQUARE * ACROSS / 2, 0.01, made.turns[1] + np.pi, 2))
    sheets = [(*one[:3], pattern(one[3])) for one in left]
    for a, b in offsets:
        px, py = np.meshgrid(np.arange(wide) + a - (wide - 1) / 2, -(np.arange(high) + b - (high - 1) / 2))
        px, py = px / (made.focal * wide), py / (made.focal * wide)
        grow = 1 / (1 + made.lens * (px * px + py * py))
        way = px[..., None] * grow[..., None] * x_axis + py[..., None] * grow[..., None] * y_axis - back
        t = -eye[2] / way[..., 2]
        x, y = eye[0] + t * way[..., 0], eye[1] + t * way[..., 1]
        weight, many, turn = made.grain
        along = x * np.cos(turn) + y * np.sin(turn)
        across = -x * np.sin(turn) + y * np.cos(turn)
        seen = made.ground * (1 + weight * np.sin(many * along + 3 * np.sin(7 * across)))
        for mx, my, angle, marks in sheets:
            u = (x - mx) * np.cos(angle) + (y - my) * np.sin(angle)
            v = -(x - mx) * np.sin(angle) + (y - my) * np.cos(angle)
            paper = (np.abs(u) < 0.105 * made.scale[0]) & (np.abs(v) < 0.1485 * made.scale[1])
            i = np.floor((u / (SQUARE * made.scale[0]) + ACROSS / 2) * 8).astype(int)
            j = np.floor((DOWN / 2 - v / (SQUARE * made.scale[1])) * 8).astype(int)
            on = (i >= 0) & (i < ACROSS * 8) & (j >= 0) & (j < DOWN * 8)
            ink = np.where(on, marks[np.clip(j, 0, DOWN * 8 - 1), np.clip(i, 0, ACROSS * 8 - 1)], 1.0)
            seen = np.where(paper, 0.05 + 0.75 * ink, seen)
        cover = made.cover(x, y, 0.5 * made.away / (made.focal * wide))
        seen = seen * (1 - cover) + made.tone * cover
        total += seen * made.shade(x, y) * (1 + made.light[0] * x + made.light[1] * y)
    linear = np.clip(total / len(offsets) + r.normal(0, made.noise, total.shape), 0, 1)
    curve = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    tint = np.array([0.93, 1.0, 0.98])
    return np.clip(np.rint(curve[..., None] * tint * 255), 0, 255).astype(np.uint8)
