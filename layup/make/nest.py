"""Plies nested on the roll: the warp runs along the cloth, nothing overlaps, the cutter has its gap.

What length of cloth do these plies need?           nest(pieces, roll, gap=..., seconds=...).length
Where does each ply lie?                            Nest.laid(), Nest.placed
Is that true?                                       faults(nest), by geometry alone; every result has passed it
What of a roll that was cut before?                 Roll.after(nest.laid()): what was cut is no longer there

The search for a short layout runs in a process of its own (`layup.make.nest_search`) and is never trusted: a layout
that fails `faults` is thrown away. A bottom-left layout on a grid (`layup.make.nest_grid`) is made first; it needs no
luck, gives the same answer every time, and is what remains if the search finds nothing shorter. The search depends on
the clock, so a layout that is to be cut is stored, not computed again: see `layup.make.nest_file`.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from layup.errors import NestError, TooWideError
from layup.make.pieces import SLACK, Piece, Placed, Roll, lay
from layup.words import length_words

if TYPE_CHECKING:
    from shapely import Polygon


_TOUCH = 1e-9
"""A gap this small is none: pieces may touch, with no more in common than rounding leaves. [m]"""


@dataclass(frozen=True, eq=False)
class Nest:
    """A layout of pieces on a roll.

    Attributes:
        pieces: In the order given.
        roll: What they are cut from.
        gap: Kept between any two, and to what is blocked. [m]
        placed: One for each piece, in the same order.
        how: "search" or "bottom-left".
        stopped: Whether it was stopped before its time: the best so far.
    """

    pieces: tuple[Piece, ...]
    roll: Roll
    gap: float
    placed: tuple[Placed, ...]
    how: str
    stopped: bool = False

    def laid(self) -> tuple[Polygon, ...]:
        """The outlines where they lie on the roll. [m]"""
        return tuple(lay(self.pieces[p.piece].shape, p) for p in self.placed)

    @property
    def length(self) -> float:
        """From the end of the roll to the last point of a piece. [m]"""
        return max((shape.bounds[2] for shape in self.laid()), default=0.0)

    @property
    def area(self) -> float:
        """Of the pieces. [m^2]"""
        return float(sum(piece.shape.area for piece in self.pieces))

    @property
    def use(self) -> float:
        """Area of the pieces over that of the cloth cut off. [-]"""
        return self.area / (self.length * self.roll.width) if self.pieces else 0.0


Progress = Callable[[Nest, float], None]
"""Called with the best layout so far and the seconds since the start."""


def nest(
    pieces: Sequence[Piece],
    roll: Roll,
    *,
    gap: float = 0.003,
    seconds: float = 3.0,
    progress: Progress | None = None,
    fits: bool = False,
) -> Nest:
    """Nest pieces on a roll.

    Args:
        pieces: What to cut.
        roll: What to cut it from.
        gap: For the cutter. [m]
        seconds: How long to search; 0 for the bottom-left layout alone, which is always the same. [s]
        progress: Called whenever a shorter layout is found.
        fits: Whether the first layout that is no longer than the roll will do.

    Returns:
        The shortest layout found, checked. A keyboard interrupt ends the search and gives the best so far.

    Raises:
        TooWideError: A piece is wider than the roll.
        NestError: A piece is no simple outline, or the roll is too short for all pieces.
    """
    from layup.make.nest_grid import bottom_left
    from layup.make.nest_search import search

    start = time.monotonic()
    listed = tuple(pieces)
    _validate(listed, roll, gap)
    if not listed:
        return Nest((), roll, gap, (), "bottom-left")
    # the library behind `search` knows no holes: round defects and on remnants the orders of the plain layout are tried
    searched = seconds >= 1.0 and not roll.blocked
    until = start + seconds if roll.blocked and seconds > 0.0 else 0.0
    best: Nest | None = None
    stopped = False

    def offer(candidate: Nest) -> None:
        nonlocal best
        if (best is None or candidate.length < best.length - 1e-6) and not faults(candidate):
            best = candidate
            if progress is not None:
                progress(candidate, time.monotonic() - start)

    try:
        for placed in bottom_left(listed, roll, gap + SLACK, thorough=not searched, until=until):
            offer(Nest(listed, roll, gap, placed, "bottom-left"))
            if fits and best is not None and best.length <= (roll.length or math.inf):
                break
        if searched:
            flips = [p.flipped for p in sorted(best.placed, key=lambda p: p.piece)] if best else [False] * len(listed)
            for placed in search(listed, flips, roll, gap + 2 * SLACK, start + seconds):
                offer(Nest(listed, roll, gap, placed, "search"))
    except KeyboardInterrupt:
        stopped = True
        if best is None:
            raise
    if best is None:
        raise NestError("no layout was found in which all pieces keep their gap", "Take a wider roll or a smaller gap")
    if roll.length is not None and best.length > roll.length:
        raise NestError(
            f"the pieces take {length_words(best.length, 'both')} of cloth and the roll has "
            f"{length_words(roll.length, 'both')} left",
            "Cut some plies from another roll, or search longer",
        )
    return replace(best, stopped=stopped)


def _validate(pieces: tuple[Piece, ...], roll: Roll, gap: float) -> None:
    """Refuse what cannot be nested before anything else sees it."""
    if not (math.isfinite(roll.usable) and roll.usable > 0):
        raise NestError(f"a roll {roll.width * 1e3:g} mm wide leaves no cloth between its edges", "Check its width")
    if not 0.0 <= gap <= 0.2:
        raise NestError(f"a gap of {gap * 1e3:g} mm", "Write one from 0 to 200 mm; a rotary cutter needs about 3 mm")
    for number, piece in enumerate(pieces):
        shape = piece.shape
        if shape.geom_type != "Polygon" or shape.is_empty or not shape.is_valid or not shape.area > 1e-8:
            raise NestError(f"{piece.name} is not one closed outline that doesn't cross itself", "Check its pattern")
        low, high = shape.bounds[1], shape.bounds[3]
        if high - low > roll.usable + 1e-9:
            raise TooWideError(
                number,
                f"{piece.name} is {length_words(high - low, 'both')} across the warp and the roll has "
                f"{length_words(roll.usable, 'both')} to use",
                "Splice it: cut it in strips along the warp with an overlap; or take a wider roll",
            )


def faults(nest: Nest) -> list[str]:
    """What is wrong with a layout, by geometry alone; empty if nothing is.

    Each piece is there once, turned and flipped only where it may be, on the roll between its edges, and no nearer
    than the gap to any other piece or to anything blocked.

    Args:
        nest: Any layout, from wherever it comes.

    Returns:
        A sentence for each fault.
    """
    import shapely

    found: list[str] = []
    if sorted(p.piece for p in nest.placed) != list(range(len(nest.pieces))):
        return ["not every piece is there exactly once"]
    for place in nest.placed:
        piece = nest.pieces[place.piece]
        if place.turned and not piece.turns:
            found.append(f"{piece.name} is turned, and its cloth has a direction")
        if place.flipped and not piece.flips:
            found.append(f"{piece.name} is face down, and its cloth has a face")
    shapes = nest.laid()
    names = [nest.pieces[p.piece].name for p in nest.placed]
    roll = nest.roll
    for name, shape in zip(names, shapes, strict=True):
        x0, y0, _, y1 = shape.bounds
        if x0 < -1e-9 or y0 < roll.edge - 1e-9 or y1 > roll.width - roll.edge + 1e-9:
            found.append(f"{name} reaches off the roll")
    near = nest.gap - 1e-9
    tree = shapely.STRtree([*shapes, *roll.blocked])
    first, second = tree.query(list(shapes), predicate="dwithin", distance=max(near, 0.0))
    for one, other in zip(first.tolist(), second.tolist(), strict=True):
        if other <= one:
            continue
        whole = (*shapes, *roll.blocked)
        if nest.gap <= _TOUCH and shapely.intersection(shapes[one], whole[other]).area < 1e-12:
            continue  # no gap is asked for, and they touch
        what = names[other] if other < len(names) else "a blocked place"
        found.append(f"{names[one]} is nearer than the gap to {what}")
    return found
