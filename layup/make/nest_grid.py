"""Bottom-left nesting on a grid: each piece, the largest first, goes as near the end of the roll as it fits.

The same input gives the same layout, every time and on every machine. A cell counts as taken when the piece, grown by
half the gap, touches it, so that pieces on different cells keep the gap; where a piece fits is found for all places at
once by a fast Fourier transform. Defects and what was cut before are cells taken from the start.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.make.pieces import Piece, Placed, Roll

CELL = 0.010
"""Size of a cell, or a little less so that the width of the roll is a whole number of them. [m]"""
MANY = 80
"""From this many pieces on, one order is tried instead of four."""

Mask = NDArray[np.bool_]
_Way = tuple[bool, bool, Mask, tuple[float, float]]


def bottom_left(
    pieces: tuple[Piece, ...], roll: Roll, gap: float, *, thorough: bool, until: float = 0.0
) -> Iterator[tuple[Placed, ...]]:
    """Bottom-left layouts, one for each order in which the pieces are taken.

    Args:
        pieces: What to place; each fits across the roll.
        roll: Where.
        gap: [m]
        thorough: Try four orders instead of one.
        until: Go on with other orders up to this time of the monotonic clock. [s]

    Yields:
        A layout for each order: by area, by length along the warp, by width, by outline; then the one by area with some
        pieces changed about, the same ones every time.
    """
    span = roll.usable + gap
    cell = span / math.ceil(span / CELL)
    ways = [_ways(piece, gap, cell) for piece in pieces]
    measures: list[Callable[[Polygon], float]] = [
        lambda s: s.area,
        lambda s: s.bounds[2] - s.bounds[0],
        lambda s: s.bounds[3] - s.bounds[1],
        lambda s: s.length,
    ]
    for measure in measures if thorough and len(pieces) <= MANY else measures[:1]:
        order = sorted(range(len(pieces)), key=lambda i: (-round(measure(pieces[i].shape), 9), i))
        yield _place(order, ways, roll, gap, cell)
    orders = np.random.default_rng(1)
    largest = sorted(range(len(pieces)), key=lambda i: (-round(pieces[i].shape.area, 9), i))
    while len(pieces) > 1 and time.monotonic() < until:
        order = list(largest)
        for _ in range(int(orders.integers(1, len(order) + 1))):
            one, other = orders.integers(0, len(order), 2)
            order[one], order[other] = order[other], order[one]
        # of two ways to lie that reach as far, the other one is taken now and then
        yield _place(order, [[way[k] for k in orders.permutation(len(way))] for way in ways], roll, gap, cell)


def _ways(piece: Piece, gap: float, cell: float) -> list[_Way]:
    """How a piece may lie: turned, flipped, the cells it takes, and its origin from the corner of those cells."""
    from layup.make.pieces import Placed, lay

    found = []
    for flipped in (False, True) if piece.flips else (False,):
        for turned in (False, True) if piece.turns else (False,):
            shape = lay(piece.shape, Placed(0, 0.0, 0.0, turned, flipped))
            grown = shape.buffer(gap / 2, quad_segs=4) if gap else shape
            # a buffer of straight pieces falls short of the circle by up to 1 - cos(pi/16) of its radius
            grown = shape.buffer(gap / 2 / math.cos(math.pi / 16), quad_segs=4) if gap else grown
            low_x, low_y = shape.bounds[0] - gap / 2, shape.bounds[1] - gap / 2
            wide = max(1, math.ceil((shape.bounds[2] - shape.bounds[0] + gap) / cell - 1e-9))
            high = max(1, math.ceil((shape.bounds[3] - shape.bounds[1] + gap) / cell - 1e-9))
            mask = cells_taken(grown, low_x, low_y, wide, high, cell)
            found.append((turned, flipped, mask, (-low_x, -low_y)))
    return found


def cells_taken(shape: Polygon, low_x: float, low_y: float, wide: int, high: int, cell: float) -> Mask:
    """Cells of a grid that a shape touches: (wide, high)."""
    import shapely

    xs = low_x + cell * np.arange(wide)[:, None]
    ys = low_y + cell * np.arange(high)[None, :]
    tiny = cell * 1e-6
    boxes = shapely.box(*np.broadcast_arrays(xs + tiny, ys + tiny, xs + cell - tiny, ys + cell - tiny))
    shapely.prepare(shape)
    taken: Mask = shapely.intersects(shape, boxes)
    return taken


def _place(order: list[int], ways: Sequence[list[_Way]], roll: Roll, gap: float, cell: float) -> tuple[Placed, ...]:
    from scipy import fft

    from layup.make.pieces import Placed

    rows = round((roll.usable + gap) / cell)
    start_x, start_y = -gap / 2, roll.edge - gap / 2
    blocked_end = max((b.bounds[2] for b in roll.blocked), default=0.0)
    cells = sum(int(way[0][2].sum()) for way in ways)
    longest = max(way[2].shape[0] for one in ways for way in one)
    columns = math.ceil(1.6 * cells / rows) + 2 * longest + math.ceil(blocked_end / cell)
    taken: Mask = np.zeros((columns, rows), dtype=np.bool_)
    for shape in roll.blocked:
        taken |= cells_taken(shape.buffer(gap / 2 * 1.02), start_x, start_y, columns, rows, cell)
    placed: dict[int, Placed] = {}
    front = columns if roll.blocked else 0
    for index in order:
        while True:
            # beyond the front everything is free, so only the stretch up to it is searched
            end = min(columns, front + max(way[2].shape[0] for way in ways[index]) + 1)
            size = (fft.next_fast_len(end, real=True), fft.next_fast_len(rows, real=True))
            field = fft.rfft2(taken[:end].astype(np.float32), size)
            found: list[tuple[int, int, int, int]] = []
            for number, (_, _, mask, _) in enumerate(ways[index]):
                high, wide = mask.shape
                if high > end or wide > rows:
                    continue
                turned = fft.rfft2(mask[::-1, ::-1].astype(np.float32), size)
                hits = fft.irfft2(field * turned, size)[high - 1 : end, wide - 1 : rows]
                free = hits < 0.5
                column = int(np.argmax(free.any(axis=1)))
                if free[column].any():
                    found.append((column + high, column, int(np.argmax(free[column])), number))
            if found:
                break
            columns += columns // 2 + longest
            front = columns
            taken = np.concatenate([taken, np.zeros((columns - len(taken), rows), dtype=np.bool_)])
        _, column, row, number = min(found)
        turned_way, flipped, mask, origin = ways[index][number]
        high, wide = mask.shape
        taken[column : column + high, row : row + wide] |= mask
        front = max(front, column + high)
        x, y = start_x + column * cell + origin[0], start_y + row * cell + origin[1]
        placed[index] = Placed(index, x, y, turned_way, flipped)
    return tuple(placed[i] for i in sorted(placed))
