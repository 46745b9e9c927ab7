"""The points, faces and names of a large clean OBJ file in one compiled pass.

    quick_obj(data)

Only what is certain is read here: lines that begin with `v`, `f`, `o` or `g`, numbers in decimal form, whole numbers
of points. At anything else that could carry a meaning (a line that goes on after a backslash, a line that begins with a
space, a word where a number is due) the answer is None; `read_obj.py` then reads the file word by word and names the
fault.

A decimal number of up to 15 digits with a power of ten up to 22 is one multiplication or division of two exact numbers,
so it comes out right to the last bit (Clinger, "How to read floating point numbers accurately", 1990, from memory). All
others go through Python's own reading.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from layup.files.read_scene import Clean
from layup.sides.spread_out import over_blocks

_POWERS = 10.0 ** np.arange(23)
_LEAST = 1 << 20  # bytes, below which a file is not worth parting

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
Bytes = NDArray[np.uint8]


@numba.njit(cache=True, nogil=True)
def _decimal(data: Bytes, at: int, stop: int, powers: Floats) -> tuple[float, int, int]:
    """A number from `at`: its value, where it ends, and whether it is right (0), to be read by others (1), none (2)."""
    negative = data[at] == 45
    if data[at] == 45 or data[at] == 43:
        at += 1
    whole = np.int64(0)
    digits, places, power = np.int64(0), np.int64(0), np.int64(0)
    point, any_digit = False, False
    while at < stop:
        c = data[at]
        if 48 <= c <= 57:
            any_digit = True
            if digits < 18:
                whole = whole * 10 + (np.int64(c) - 48)
                digits += whole > 0
                places += point
            else:
                digits += 1
                places += 1 if point else 0
        elif c == 46 and not point:
            point = True
        else:
            break
        at += 1
    if not any_digit:
        return 0.0, at, 2
    if at < stop and (data[at] == 101 or data[at] == 69):
        at += 1
        down = at < stop and data[at] == 45
        if at < stop and (data[at] == 45 or data[at] == 43):
            at += 1
        begun = at
        while at < stop and 48 <= data[at] <= 57:
            power = min(power * 10 + (np.int64(data[at]) - 48), np.int64(9999))
            at += 1
        if at == begun:
            return 0.0, at, 2
        power = -power if down else power
    if at < stop and data[at] != 32 and data[at] != 9 and data[at] != 10 and data[at] != 13:
        return 0.0, at, 2
    power -= places
    if digits > 17 or whole > 9007199254740992 or power > 22 or power < -22:
        return 0.0, at, 1
    value = np.float64(whole)
    value = value * powers[power] if power >= 0 else value / powers[-power]
    return -value if negative else value, at, 0


@numba.njit(cache=True, nogil=True)
def _line_end(data: Bytes, at: int, stop: int) -> int:
    """Where the line ends; -1 for a line that goes on, or a lone carriage return."""
    while at < stop and data[at] != 10:
        if data[at] == 13 and (at + 1 == stop or data[at + 1] != 10):
            return -1
        at += 1
    last = at - 1
    if last >= 0 and data[last] == 13:
        last -= 1
    return -1 if last >= 0 and data[last] == 92 else at


@numba.njit(cache=True, nogil=True)
def _scan(data, at, stop, powers, points, hard, corners, counts, named):
    """Read the lines of a stretch: how many points, hard numbers, corners, faces, names, and what it is.

    That is 1 for a clean stretch, 2 where a face counts points backward, 0 for anything else.
    """
    p = h = c = f = g = 0
    state = 1
    while at < stop:
        begun = at
        letter = data[at]
        second = data[at + 1] if at + 1 < stop else 10
        apart = second == 32 or second == 9
        if letter == 32 or letter == 9:
            return p, h, c, f, g, 0
        if letter == 118 and apart:
            at += 1
            for k in range(3):
                while at < stop and (data[at] == 32 or data[at] == 9):
                    at += 1
                if at >= stop:
                    return p, h, c, f, g, 0
                first = at
                value, at, kind = _decimal(data, at, stop, powers)
                if kind == 2:
                    return p, h, c, f, g, 0
                if kind == 1:
                    hard[h, 0], hard[h, 1], hard[h, 2] = 3 * p + k, first, at
                    h += 1
                points[p, k] = value
            p += 1
        elif letter == 102 and apart:
            at += 1
            own = 0
            while True:
                while at < stop and (data[at] == 32 or data[at] == 9):
                    at += 1
                if at >= stop or data[at] == 10 or data[at] == 13:
                    break
                back = data[at] == 45
                if back:
                    at += 1
                    state = 2
                number, first = np.int64(0), at
                while at < stop and 48 <= data[at] <= 57:
                    number = min(number * 10 + (np.int64(data[at]) - 48), np.int64(1 << 40))
                    at += 1
                if at == first or number == 0:
                    return p, h, c, f, g, 0
                if at < stop and data[at] == 47:
                    while at < stop and data[at] != 32 and data[at] != 9 and data[at] != 10 and data[at] != 13:
                        at += 1
                if at < stop and data[at] != 32 and data[at] != 9 and data[at] != 10 and data[at] != 13:
                    return p, h, c, f, g, 0
                corners[c] = p - number if back else number - 1
                c += 1
                own += 1
            if own < 3:
                return p, h, c, f, g, 0
            counts[f] = own
            f += 1
        elif (letter == 111 or letter == 103) and apart:
            end = _line_end(data, at, stop)
            if end < 0:
                return p, h, c, f, g, 0
            named[g, 0], named[g, 1], named[g, 2], named[g, 3] = letter, f, at + 1, end
            g += 1
        elif (letter == 118 or letter == 102 or letter == 111 or letter == 103) and second <= 32:
            return p, h, c, f, g, 0
        at = _line_end(data, max(at, begun), stop)
        if at < 0:
            return p, h, c, f, g, 0
        at += 1
    return p, h, c, f, g, state


def quick_obj(data: bytes) -> Clean | None:
    """Points, faces and names of a clean OBJ file; None where it has to be read word by word."""
    text = np.frombuffer(data, dtype=np.uint8)
    middle = data.find(b"\n", len(data) // 2) + 1
    parts = [0, middle, len(data)] if len(data) > _LEAST and 0 < middle < len(data) else [0, len(data)]
    found = over_blocks(lambda i, _: _stretch(text, parts[i], parts[i + 1]), len(parts) - 1, 1)
    if len(found) > 1 and any(state == 2 for *_, state in found):
        found = [_stretch(text, 0, len(data))]  # to count backward, all that stands before has to be known
    if not all(state for *_, state in found):
        return None
    points = np.concatenate([part[0] for part in found])
    start = 0
    for own, hard, *_ in found:
        for place, first, last in hard.tolist():
            points[start + place // 3, place % 3] = float(data[first:last])
        start += len(own)
    corners = np.concatenate([part[2] for part in found])
    if not len(points) or not len(corners) or corners.min() < 0 or corners.max() >= len(points):
        return None
    before = np.cumsum([0, *(len(part[3]) for part in found)])
    named = np.concatenate([part[4] + [0, n, 0, 0] for part, n in zip(found, before[:-1], strict=True)])
    o, g = (_names(data, named[named[:, 0] == ord(letter)]) for letter in "og")
    return Clean(points, corners, np.concatenate([part[3] for part in found]), (o, g))


def _names(data: bytes, rows: Numbers) -> tuple[Numbers, list[bytes]]:
    return rows[:, 1], [data[first:last].strip() for _, _, first, last in rows.tolist()]


def _stretch(
    text: NDArray[np.uint8], start: int, stop: int
) -> tuple[NDArray[np.float64], Numbers, Numbers, Numbers, Numbers, int]:
    own = text[start:stop]
    lines, words = int(np.count_nonzero(own == 10)) + 1, int(np.count_nonzero(own <= 32)) + 1
    points, hard = np.empty((lines, 3)), np.empty((3 * lines, 3), dtype=np.int64)  # what is not used takes no memory
    corners, counts = np.empty(words, dtype=np.int64), np.empty(lines, dtype=np.int64)
    named = np.empty((lines, 4), dtype=np.int64)
    p, h, c, f, g, state = _scan(
        data=text,
        at=start,
        stop=stop,
        powers=_POWERS,
        points=points,
        hard=hard,
        corners=corners,
        counts=counts,
        named=named,
    )
    return points[:p], hard[:h], corners[:c], counts[:f], named[:g], int(state)
