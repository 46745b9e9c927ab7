"""Two hundred photographs of templates, by two makers that share no code: does what is stated hold the truth?

Run it from anywhere, and it writes its table into docs/template-by-photo.md: python tests/oracles/two_hundred.py

`photographs.py` lays a drawing on a map and looks at it through a camera; `polar_photographs.py` works every pixel out
from formulas, with shadows, texture, lens, tilt, light and print scale drawn at random. tests/test_photo.py draws the
first few of each.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

TESTS = Path(__file__).parents[1]
sys.path.insert(0, str(TESTS))

from photographs import Camera, Shape, photograph, table  # noqa: E402
from polar_photographs import Made  # noqa: E402
from polar_photographs import photograph as polar  # noqa: E402

from layup.errors import SurfaceError  # noqa: E402

SHADES = ("edge", "phone", "hand")
BARS = {"bar": "100 mm", "bar_along": "200 mm"}
BOTH_SIDES = ((1, 0.31, 0.36, 0.0), (2, 1.2, 0.70, 170.0))
PAGE = TESTS.parent / "docs" / "template-by-photo.md"
START, END = "<!-- table: written by tests/oracles/two_hundred.py -->", "<!-- end of table -->"


@dataclass(frozen=True)
class Answer:
    """What one photograph gave; `off` and `stated` are None where another photograph was asked for."""

    group: str
    off: float | None = None
    stated: float | None = None

    @property
    def holds(self) -> bool | None:
        return None if self.off is None else abs(self.off) <= self.stated * (1.0 + self.off)


def answers(count: int) -> Iterator[Answer]:
    """So many photographs of each maker, by turns; half of those of the second have a shadow."""
    draw, other = np.random.default_rng(11), np.random.default_rng(12)
    shape = Shape()
    scene = table(shape, places=BOTH_SIDES)
    for number in range(count):
        made = Made(
            500 + number,
            shadow="" if number % 2 else SHADES[number // 2 % 3],
            depth=draw.uniform(0.2, 0.6),
            soft=float(np.exp(draw.uniform(np.log(0.002), np.log(0.06)))),
            two=bool(draw.random() < 0.7),
        )
        light = f"a shadow, {made.shadow}" if made.shadow else f"{'two sheets' if made.two else 'one sheet'}, no shadow"
        yield _read(f"second maker: {light}", polar(made), made.area, made.bars)
        camera = Camera(
            tilt=other.uniform(0, 40), swing=other.uniform(0, 360), roll=other.uniform(-25, 25),
            k1=other.uniform(-0.1, 0.05), k2=other.uniform(-0.02, 0.03), axis=tuple(other.uniform(-0.01, 0.01, 2)),
            focal=other.uniform(0.7, 0.9), sees=other.uniform(1.15, 1.3), middle=(0.74, 0.51),
            slope=tuple(other.uniform(-0.3, 0.3, 2)), blur=other.uniform(0.3, 1.0), seed=number, size=(1100, 825),
        )  # fmt: skip
        yield _read("first maker: two sheets, no shadow", photograph(scene, camera), shape.area, BARS)


def _read(group: str, picture: np.ndarray, truth: float, bars: dict[str, str]) -> Answer:
    import cv2

    from layup.files.read_photo import read_photo

    with TemporaryDirectory() as folder:
        path = Path(folder) / "photo.png"
        cv2.imwrite(str(path), picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
        try:
            photo = read_photo(path, **bars)
        except SurfaceError:
            return Answer(group)
    return Answer(group, photo.area / truth - 1.0, photo.area_tolerance)


def told(found: list[Answer]) -> str:
    """The table, a line a group."""
    head = ["maker and light", "drawn", "another asked for", "hold the truth", "root mean square", "largest", "stated"]
    rows = [head, ["---"] * len(head)]
    for group in [*sorted({one.group for one in found}), "all"]:
        mine = [one for one in found if group in (one.group, "all")]
        read = [one for one in mine if one.off is not None]
        row = [
            group,
            str(len(mine)),
            str(len(mine) - len(read)),
            f"{sum(map(bool, (o.holds for o in read)))} of {len(read)}",
        ]
        off = np.abs([one.off for one in read])
        row += (
            [f"{np.sqrt(np.mean(off**2)):.2%}", f"{off.max():.2%}", f"{np.median([o.stated for o in read]):.1%}"]
            if read
            else ["-"] * 3
        )
        rows.append(row)
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    found: list[Answer] = []
    for one in answers(count):
        found.append(one)
        if len(found) % 20 == 0:
            print(f"\n{len(found)} photographs\n{told(found)}", flush=True)
    page = PAGE.read_text()
    start, end = page.index(START) + len(START), page.index(END)
    PAGE.write_text(f"{page[:start]}\n\n{told(found)}\n\n{page[end:]}")
