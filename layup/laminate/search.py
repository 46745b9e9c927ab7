r"""The lightest of all stacks that keep to linear limits on their bending stiffness: exact, halves against halves.

- What may the half of a symmetric stack be made of?     `Options`
- Which stacks belong together?                          `Frame` (one process, one core, one number of plies)
- The next lightest stack that keeps to the limits?      `Queue.next_weight`, then `Queue.collect`
- How many stacks are there, how many were looked at?    `Queue.size`, `Queue.looked_at`

A stack is symmetric about its middle: a core, a single ply or nothing, and the same plies outwards on either side. With
the inner plies of one half reaching up to H, the stiffness of the whole is D_inner + 2 (C + H B + H^2 A), where A, B, C
belong to the outer plies alone. So every inner half is met with every outer half by a few multiplications, without the
stack being written out. A limit is g . (D, A) >= r + s m (m the areal weight); deflection, frequency, buckling and the
stiffness of a strip, bent or pulled, are all bounded by such limits (see `layup.laminate.panel_model`).

Why the answer is exact: outer halves are sorted by weight, so the first that keeps to all limits is the lightest for
that inner half. An inner half is passed over only where even the best outer half left, limit by limit, falls short.
Frames wait in order of a weight that none of their stacks can be under.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_HALVES = 600_000
"""Half-stacks of one table; more would not fit in a small machine's memory."""
SAME = 1e-9
"""Areal weights nearer than this are one. [kg/m^2]"""


@dataclass(frozen=True)
class Options:
    """What a ply may be, in one process.

    Attributes:
        weight: Areal weight of each, (o,). [kg/m^2]
        thickness: (o,). [m]
        terms: Qbar 11, 12, 22, 16, 26, 66 of each, (o, 6). [Pa]
        surface: Which may lie outermost, (o,); which may lie anywhere else follows from `inside`.
        inside: Which may lie below the surface, (o,).
        most_alike: Greatest run of equal plies; 0 for no limit. [-]
        counted: Which of them the run is asked of, (o,); all if left out.
        film: What each carries more where it lies outermost, on that face: a film of resin, (o,); none if left out.
            [kg/m^2]
    """

    weight: Floats
    thickness: Floats
    terms: Floats
    surface: NDArray[np.bool_]
    inside: NDArray[np.bool_]
    most_alike: int = 0
    film: Floats | None = None
    counted: NDArray[np.bool_] | None = None

    @cached_property
    def in_runs(self) -> NDArray[np.bool_]:
        """Which options a run is asked of, the core at the end not, (o + 1,)."""
        own = np.ones(len(self.weight), dtype=bool) if self.counted is None else self.counted
        return np.append(own, False)

    @cached_property
    def on_face(self) -> Floats:
        """Areal weight of each with the film on one face, (o,). [kg/m^2]"""
        return self.weight if self.film is None else self.weight + self.film

    def stack_weight(self, stacks: Ints) -> Floats:
        """Areal weight of the plies of whole stacks with the films on their two faces.

        Args:
            stacks: Option numbers from the mould up, -1 for a core, never outermost, (n, k).

        Returns:
            (n,). [kg/m^2]
        """
        carried: Floats = np.append(self.weight, 0.0)[stacks].sum(axis=1)
        if self.film is not None:
            carried = carried + self.film[stacks[:, 0]] + self.film[stacks[:, -1]]
        return carried

    @cached_property
    def _halves(self) -> dict[tuple[int, bool], _Half]:
        return {}

    def half(self, plies: int, outermost: bool) -> _Half:
        """All sequences of so many plies; the last one may be the surface."""
        key = (plies, outermost)
        if key not in self._halves:
            self._halves[key] = _Half.of(self, plies, outermost)
        return self._halves[key]

    def count(self, plies: int) -> int:
        """How many half-stacks of so many plies there are."""
        return 1 if plies == 0 else int(self.surface.sum()) * int(self.inside.sum()) ** (plies - 1)


@dataclass(frozen=True)
class _Half:
    """Sequences of plies, from the middle outwards, sorted by weight."""

    plies: NDArray[np.int16]
    weight: Floats
    thickness: Floats
    a: Floats
    b: Floats
    c: Floats
    first: Ints
    first_run: Ints
    last: Ints
    last_run: Ints

    @classmethod
    def of(cls, options: Options, plies: int, outermost: bool) -> _Half:
        inside, surface = np.flatnonzero(options.inside), np.flatnonzero(options.surface)
        choices = [inside] * (plies - 1) + [surface if outermost else inside] if plies else []
        count = int(np.prod([len(c) for c in choices])) if choices else 1
        if count > MOST_HALVES:
            raise RangeError(
                f"{count:,} half-stacks of {plies} plies are too many to list. Allow fewer angles, fabrics or plies."
            )
        grid = np.meshgrid(*choices, indexing="ij") if choices else []
        rows = np.stack([g.ravel() for g in grid], axis=1) if choices else np.zeros((1, 0), dtype=np.int64)
        plies_of = np.asarray(rows, dtype=np.int16)
        allowed, first_run, last_run = _runs(plies_of, options.most_alike, options.in_runs)
        listed, first_run, last_run = plies_of[allowed], first_run[allowed], last_run[allowed]
        weight = options.weight[listed].sum(axis=1)
        if outermost and plies and options.film is not None:
            weight = weight + options.film[listed[:, -1]]
        order = np.argsort(weight, kind="stable")
        listed, first_run, last_run, weight = listed[order], first_run[order], last_run[order], weight[order]
        t = options.thickness[listed]
        top = np.cumsum(t, axis=1)
        low = top - t
        q = options.terms[listed]
        none = np.full(len(listed), -1)
        first, last = (np.where(options.in_runs[listed[:, k]], listed[:, k], k - 2) if plies else none for k in (0, -1))
        return cls(
            plies=listed,
            weight=weight,
            thickness=t.sum(axis=1),
            a=np.einsum("nkj,nk->nj", q, t),
            b=np.einsum("nkj,nk->nj", q, top**2 - low**2),
            c=np.einsum("nkj,nk->nj", q, (top**3 - low**3) / 3),
            first=first.astype(np.int64),
            first_run=first_run,
            last=last.astype(np.int64),
            last_run=last_run,
        )


def _runs(rows: NDArray[np.int16], most: int, counted: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], Ints, Ints]:
    """Which sequences hold no longer run of equal plies than allowed; the runs at their start and at their end."""
    n, k = rows.shape
    if k == 0:
        return np.ones(n, dtype=bool), np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    run = np.ones(n, dtype=np.int64)
    longest, first = run.copy(), run.copy()
    whole = np.ones(n, dtype=bool)
    for j in range(1, k):
        same = (rows[:, j] == rows[:, j - 1]) & counted[rows[:, j]]
        run = np.where(same, run + 1, 1)
        longest = np.maximum(longest, run)
        whole &= same
        first = np.where(whole, j + 1, first)
    allowed = longest <= most if most else np.ones(n, dtype=bool)
    return allowed, first, run


@dataclass(frozen=True)
class Limits:
    """Linear limits on D and A: g . (D, A) >= r + s m for each row.

    Attributes:
        g: (j, 12), D and then A, each in the order 11, 12, 22, 16, 26, 66.
        r: (j,).
        s: (j,), per areal weight.
    """

    g: Floats
    r: Floats
    s: Floats

    @classmethod
    def none(cls) -> Limits:
        """No limit at all."""
        return cls(np.empty((0, 12)), np.empty(0), np.empty(0))

    def more(self, g: Floats, r: float, s: float = 0.0) -> Limits:
        """One more limit, in a scale of its own; six numbers are of D alone."""
        scale = float(np.abs(g).max()) or 1.0
        row = np.concatenate([np.asarray(g) / scale, np.zeros(12 - len(g))])
        return Limits(np.concatenate([self.g, row[None]]), np.append(self.r, r / scale), np.append(self.s, s / scale))

    def kept(self, d: Floats, areal_weight: Floats, a: Floats | None = None) -> NDArray[np.bool_]:
        """Which stacks keep to all of them; one part in 1e9 is given for rounding. A only where it is asked."""
        value = d @ self.g[:, :6].T
        if a is not None:
            value = value + a @ self.g[:, 6:].T
        elif self.g[:, 6:].any():
            raise RangeError("a limit on A can't be held against D alone")
        due = self.r + self.s * np.asarray(areal_weight)[:, None]
        return np.asarray((value >= due - 1e-9 * np.abs(due)).all(axis=1))


@dataclass
class Frame:
    """All symmetric stacks of one process, one core and one number of plies.

    Attributes:
        key: What the caller knows it by.
        options: What a ply may be.
        plies: On either side of the middle. [-]
        middle: The single ply in the middle, an option's number; -1 for none.
        base: Areal weight of all but the plies and the films on them: core and bond. [kg/m^2]
        core: Half the core's thickness. [m]
    """

    key: Any
    options: Options
    plies: int
    middle: int = -1
    base: float = 0.0
    core: float = 0.0

    @cached_property
    def _split(self) -> tuple[_Half, _Half]:
        outer = (self.plies + 1) // 2
        inner = self.plies - outer
        return self.options.half(inner, False), self.options.half(outer, outer > 0)

    @property
    def _fixed(self) -> float:
        if self.middle < 0:
            return self.base
        options = self.options  # a single ply is outermost on both its faces
        both = 2 * options.film[self.middle] if self.plies == 0 and options.film is not None else 0.0
        return float(self.base + options.weight[self.middle] + both)

    @property
    def least_weight(self) -> float:
        """No stack of this frame is lighter. [kg/m^2]"""
        w, options = self.options.weight, self.options
        if self.plies == 0:
            return float(self._fixed)
        below = (self.plies - 1) * float(w[options.inside].min()) if self.plies > 1 else 0.0
        return float(self._fixed + 2 * (options.on_face[options.surface].min() + below))

    @property
    def count(self) -> int:
        """How many stacks it holds, before the limit on equal plies."""
        return self.options.count(self.plies)

    @cached_property
    def _inner(self) -> tuple[Floats, Floats, Floats]:
        """D of the inner plies with the middle, how high they reach, and their A."""
        half, h0, middle, flat = self._split[0], self.core, np.zeros(6), np.zeros(6)
        if self.middle >= 0:
            t = float(self.options.thickness[self.middle])
            h0 = t / 2
            middle = self.options.terms[self.middle] * t**3 / 12
            flat = self.options.terms[self.middle] * t
        return 2 * (half.c + h0 * half.b + h0 * h0 * half.a) + middle, h0 + half.thickness, 2 * half.a + flat

    def stacks(self, pairs: Ints) -> tuple[NDArray[np.int16], Floats, Floats]:
        """Plies of one side from the middle outwards, D and areal weight of pairs of halves. [-, N m, kg/m^2]"""
        inner, outer = self._split
        d_in, high, _ = self._inner
        i, o = pairs[:, 0], pairs[:, 1]
        h = high[i][:, None]
        d = d_in[i] + 2 * (outer.c[o] + h * outer.b[o] + h * h * outer.a[o])
        rows = np.concatenate([inner.plies[i], outer.plies[o]], axis=1)
        return rows, d, self._fixed + 2 * (inner.weight[i] + outer.weight[o])

    def everything(self) -> Ints:
        """All pairs of halves."""
        inner, outer = self._split
        i, o = np.meshgrid(np.arange(len(inner.weight)), np.arange(len(outer.weight)), indexing="ij")
        return np.stack([i.ravel(), o.ravel()], axis=1)

    def _tables(self, limits: Limits) -> tuple[Any, ...]:
        inner, outer = self._split
        d_in, high, a_in = self._inner
        g, flat = (np.ascontiguousarray(part.T) for part in (limits.g[:, :6], limits.g[:, 6:]))
        parts = [np.ascontiguousarray(2 * (m @ g)) for m in (outer.a, outer.b, outer.c)]
        parts[2] += 2 * (outer.a @ flat)  # A of the outer plies is the same at any height
        best = [np.maximum.accumulate(p, axis=0) for p in parts]
        fixed = float(self._fixed)
        own = np.ascontiguousarray(d_in @ g + a_in @ flat)
        return (inner.weight, high, own, outer.weight, *parts, *best, limits.r, limits.s, fixed,
                inner.last, inner.last_run, outer.first, outer.first_run, self.options.most_alike)  # fmt: skip

    def keeps_run(self, rows: NDArray[np.int16]) -> NDArray[np.bool_]:
        """Whether the run of equal plies about the middle is short enough; the halves are checked already."""
        most = self.options.most_alike
        if not most or self.plies == 0:
            return np.ones(len(rows), dtype=bool)
        run = np.ones(len(rows), dtype=np.int64)
        longest = run.copy()
        start = run.copy()
        whole = np.ones(len(rows), dtype=bool)
        for j in range(1, rows.shape[1]):
            same = (rows[:, j] == rows[:, j - 1]) & self.options.in_runs[rows[:, j]]
            run = np.where(same, run + 1, 1)
            longest = np.maximum(longest, run)
            whole &= same
            start = np.where(whole, j + 1, start)
        middle = 2 * start
        if self.middle >= 0:
            middle = np.where(rows[:, 0] == self.middle, middle + 1, 1)
        middle = np.where(self.options.in_runs[rows[:, 0]] & (self.core == 0), middle, 0)
        return np.asarray((longest <= most) & (middle <= most))


class Queue:
    """Frames waiting in order of the lightest stack they may still hold."""

    def __init__(self, frames: Sequence[Frame]) -> None:
        self.frames = list(frames)
        self.limits = Limits.none()
        self.done = -np.inf
        self.looked_at = 0
        self._version = 0
        self._known: dict[int, int] = {}  # frame: version of the limits at which its weight in `_heap` is exact
        self._under = [frame.least_weight for frame in self.frames]  # no stack of the frame that keeps is lighter
        self._heap = [(weight, number) for number, weight in enumerate(self._under)]
        heapq.heapify(self._heap)

    @property
    def size(self) -> int:
        """Stacks in all frames."""
        return sum(frame.count for frame in self.frames)

    def limit(self, g: Floats, r: float, s: float = 0.0) -> None:
        """Add a limit that every stack must keep to."""
        self.limits = self.limits.more(g, r, s)
        self._version += 1

    def next_weight(self) -> float:
        """Lightest areal weight above those done at which a stack keeps to all limits; infinite if none. [kg/m^2]"""
        from layup.laminate.search_kernel import lightest

        while self._heap:
            weight, number = self._heap[0]
            if not np.isfinite(weight):
                return float("inf")
            if self._known.get(number) == self._version and weight > self.done + SAME:
                return weight
            heapq.heappop(self._heap)
            ceiling = min(
                (w for w, k in self._heap if self._known.get(k) == self._version and w > self.done + SAME),
                default=np.inf,
            )
            above = max(self.done, weight - 2 * SAME) + SAME
            found, looked = lightest(*self.frames[number]._tables(self.limits), above, ceiling)
            self.looked_at += looked
            under = min(found, ceiling)
            if np.isfinite(found) or not np.isfinite(ceiling):
                self._known[number] = self._version
            else:  # nothing lighter than another frame's stack: look again only when that is done with
                self._known.pop(number, None)
                under = ceiling + SAME / 4
            self._under[number] = under
            heapq.heappush(self._heap, (under, number))
        return float("inf")

    def collect(self, weight: float, most: int = 200_000) -> Iterator[tuple[Frame, Ints]]:
        """The stacks of one areal weight that keep to all limits, as pairs of halves of their frames.

        Args:
            weight: From `next_weight`. [kg/m^2]
            most: Pairs to bring back at a time: one weight may have more than fit in memory. [-]
        Yields:
            Frames and pairs, until there are no more.
        """
        from layup.laminate.search_kernel import gather

        for number, frame in enumerate(self.frames):
            if self._under[number] > weight + SAME:
                continue
            for pairs in gather(*frame._tables(self.limits), weight - SAME, weight + SAME, most):
                yield frame, pairs

    def pass_over(self, weight: float) -> None:
        """All stacks up to this weight are done with."""
        self.done = max(self.done, weight)


@dataclass
class ListedFrame(Frame):
    """Stacks written out one by one, symmetric or not; where they are not, D is D - B A^-1 B and A is A - B D^-1 B.

    Each stands as an inner half with nothing outside it, so that the same search takes it.
    """

    rows: NDArray[np.int16] | None = None
    d: Floats | None = None
    own_weight: Floats | None = None
    a: Floats | None = None

    @classmethod
    def of(cls, key: Any, options: Options, stacks: Ints, base: float, core: float) -> ListedFrame:
        """List stacks.

        Args:
            key: What the caller knows the frame by. [-]
            options: What a ply may be. [-]
            stacks: Option numbers from the mould up, -1 for the core, (n, k). [-]
            base: Areal weight of all but the plies. [kg/m^2]
            core: Thickness of the core. [m]
        """
        from layup.laminate.panel import matrix_of, terms_of

        if options.most_alike:
            stacks = stacks[_runs(np.asarray(stacks, dtype=np.int16), options.most_alike, options.in_runs)[0]]
        q = np.concatenate([options.terms, np.zeros((1, 6))])
        t = np.append(options.thickness, core)
        weight = base + options.stack_weight(stacks)
        order = np.argsort(weight, kind="stable")
        stacks, weight = stacks[order], weight[order]
        found, flat = np.empty((len(stacks), 6)), np.empty((len(stacks), 6))
        for start in range(0, len(stacks), 50_000):
            part = stacks[start : start + 50_000]
            high = np.cumsum(t[part], axis=1)
            z = np.concatenate([np.zeros((len(part), 1)), high], axis=1) - high[:, -1:] / 2
            a, b, d = (matrix_of(np.einsum("nkj,nk->nj", q[part], np.diff(z**p, axis=1) / p)) for p in (1, 2, 3))
            for whole, out in ((d - b @ np.linalg.solve(a, b), found), (a - b @ np.linalg.solve(d, b), flat)):
                out[start : start + 50_000] = terms_of((whole + whole.transpose(0, 2, 1)) / 2)
        rows = np.asarray(stacks, dtype=np.int16)
        return cls(key, options, plies=stacks.shape[1], base=base, rows=rows, d=found, own_weight=weight, a=flat)

    @property
    def least_weight(self) -> float:
        """No stack of this frame is lighter. [kg/m^2]"""
        return float(self.own_weight[0]) if self.own_weight is not None and len(self.own_weight) else float("inf")

    @property
    def count(self) -> int:
        """How many stacks it holds."""
        return 0 if self.rows is None else len(self.rows)

    @cached_property
    def _split(self) -> tuple[_Half, _Half]:
        assert self.rows is not None
        assert self.own_weight is not None
        n = len(self.rows)
        none, zero, flat = np.full(n, -1), np.zeros(n, dtype=np.int64), np.zeros((n, 6))
        inner = _Half(
            plies=self.rows,
            weight=(self.own_weight - self.base) / 2,
            thickness=np.zeros(n),
            a=flat,
            b=flat,
            c=flat,
            first=none,
            first_run=zero,
            last=none,
            last_run=zero,
        )
        return inner, self.options.half(0, False)

    @cached_property
    def _inner(self) -> tuple[Floats, Floats, Floats]:
        assert self.d is not None
        assert self.a is not None
        return self.d, np.zeros(len(self.d)), self.a

    def keeps_run(self, rows: NDArray[np.int16]) -> NDArray[np.bool_]:
        """All do: the others were left out of the list."""
        return np.ones(len(rows), dtype=bool)
