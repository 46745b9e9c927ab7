"""The search itself: frames of stacks from the benches, the lightest that passes, and how far the nearest are off.

- Which stacks may be tried?                   `frames_of`
- The lightest that passes every check?        `lightest`
- How near does anything come, if none does?   `nearest_miss`

Weights are taken in rising order, and every stack of a weight either breaks a limit that holds for the whole
finite-element model, or is checked one by one on the small one. The one that is returned passes on the full model. What
is passed over is proved to fail wherever it breaks such a limit, fails a check on whose safe side the small model is
(`Assessment.disproved`) or fails by bounds on the whole panel (`Checker.disproves`). Two steps are measured instead,
and counted in `Search.measured`: stacks that none of these rules out and that fail the small model by `NEAR` or more,
and in a first search the stacks below the least ratio of greatest to mean deflection; `proved` searches again without
that ratio.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Assessment, Batch, d_of
from layup.choosing.checks import Checker
from layup.choosing.rules import balanced_enough, broken_rule, by_cloth, rule_limits
from layup.choosing.shelf import Bench, CoreChoice
from layup.errors import LayupError
from layup.laminate.panel_model import Limit
from layup.laminate.search import MOST_HALVES, Frame, ListedFrame, Options, Queue
from layup.partfile.needs import Needs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_SOLID = 16
MOST_ON_A_CORE = 12
"""Plies tried where the part file does not say: of a solid laminate, and of both skins of a sandwich together."""
MOST_LISTED = 2_000_000
MOST_LIMITS = 60
"""More would cost more to hold against every stack than they rule out."""
CHUNK = 256
AT_ONCE = 2048
"""Stacks that go through every check together, and that are held against the bounds together."""
NEAR = 0.95
"""Reserve on the small model from which a stack that is not proved to fail is checked on the full one; its work was
seen within 2 % of it (tests/test_panel.py). [-]"""
MOST_GROWN = 12
"""Stacks of one search that are checked on the full model for that: each takes as long as a thousand on the small."""
MOST_PROVED = 60_000
"""Stacks checked one by one for a proof without the measured ratio; a minute's work or so."""
ENOUGH = 2048
"""Passing stacks of one weight that are compared for the larger reserve; more make no part better."""

Tick = Callable[[int, float], None]
"""Told now and then how many stacks were looked at, and which areal weight the search has reached. [-, kg/m^2]"""


@dataclass(frozen=True)
class Kind:
    """What the stacks of a frame share."""

    bench: Bench
    core: CoreChoice | None


@dataclass(frozen=True)
class Found:
    """A stack with how it fares; `batch` and `assessment` hold this one stack alone."""

    batch: Batch
    assessment: Assessment

    @property
    def stack(self) -> tuple[int, ...]:
        """Option numbers from the mould up."""
        return tuple(int(v) for v in self.batch.stack[0])

    @property
    def areal_weight(self) -> float:
        """[kg/m^2]"""
        return float(self.batch.areal_weight[0])

    @property
    def least(self) -> float:
        """Its smallest reserve. [-]"""
        return float(self.assessment.least[0])


@dataclass
class Search:
    """How a search went.

    Attributes:
        found: The lightest that passes; None if none does.
        nearest: Of the stacks checked one by one, the one nearest to passing.
        size: Stacks in the space.
        looked_at: Stacks compared with the limits one by one.
        checked: Stacks that went through every check.
        ruled_out: Of them, those that bounds on the whole panel proved to fail, which takes a tenth of the time.
        weights: Different weights taken.
        ended: Whether the search ran to its end.
        measured: Stacks passed over by what was measured and not proved; all that were not looked at again without the
            measured ratio count as one.
        turned: Answers that failed on finer meshes or on their own surface, after which it was searched again under
            greater loads.
        grown: Stacks checked on the full model because they failed the small one by little.
        unsettled: Strengths of the answer that the finest mesh still moved by more than a hundredth, and by what share.
        limits: Limits found, for the next search of the same checks.
        checker: With the panel model as it grew.
    """

    checker: Checker
    size: int = 0
    found: Found | None = None
    nearest: Found | None = None
    looked_at: int = 0
    checked: int = 0
    ruled_out: int = 0
    weights: int = 0
    ended: bool = False
    measured: int = 0
    turned: int = 0
    grown: int = 0
    unsettled: dict[str, float] = field(default_factory=dict)
    limits: list[Limit] = field(default_factory=list)

    @property
    def proven(self) -> bool:
        """Whether nothing that it passed over can pass: it ran to its end, and on proved bounds alone."""
        return self.ended and not self.measured and not self.turned


def frames_of(benches: Sequence[Bench], needs: Needs, solid: bool) -> list[Frame]:
    """All stacks that the needs allow, as frames.

    Args:
        benches: What can be laid.
        needs: Numbers of plies, symmetry, the greatest thickness.
        solid: Whether a laminate without a core may be tried.

    Returns:
        Frames; their keys are `Kind`.

    Raises:
        LayupError: There are too many unsymmetric stacks to list, or none at all.
    """
    frames: list[Frame] = []
    for bench, options in ((b, o) for b in benches for o in by_cloth(b, needs)):
        inside = int(options.inside.sum())
        most_half = 2 * int(np.log(MOST_HALVES) / np.log(max(inside, 2)))
        for core in (None, *bench.cores):
            if core is None and not solid:
                continue
            usual = MOST_SOLID if core is None else MOST_ON_A_CORE
            most = min(needs.most_plies or max(usual, needs.fewest_plies), 2 * most_half)
            for plies in range(needs.fewest_plies, most + 1):
                frames += _frames(bench, options, core, plies, needs)
    if not frames:
        raise LayupError("the needs leave no layup to try. Allow more plies, more thickness or another core")
    return frames


def _frames(bench: Bench, options: Options, core: CoreChoice | None, plies: int, needs: Needs) -> list[Frame]:
    kind = Kind(bench, core)
    if core is not None and plies < 2 * needs.fewest_on_a_side:
        return []
    base, half = 0.0, 0.0
    if core is not None:
        base += core.layer.areal_weight
        half = core.thickness / 2
    thinnest = min(ply.layer.thickness for ply in bench.plies) * plies + 2 * half  # of the average build
    if needs.greatest_thickness is not None and thinnest > needs.greatest_thickness:
        return []
    if not needs.symmetric:
        return _listed(kind, options, plies, base, needs.fewest_on_a_side)
    if plies % 2 == 0:
        return [Frame(kind, options, plies // 2, -1, base, half)]
    if core is not None:
        return []
    middles = options.surface if plies == 1 else options.inside
    return [Frame(kind, options, plies // 2, int(m), base, 0.0) for m in np.flatnonzero(middles)]


def _listed(kind: Kind, options: Options, plies: int, base: float, skin: int) -> list[Frame]:
    """Every order of so many plies, symmetric or not, written out."""
    core = kind.core
    inside, surface = np.flatnonzero(options.inside), np.flatnonzero(options.surface)
    choices = [surface] + [inside] * (plies - 2) + [surface] if plies > 1 else [surface]
    count = int(np.prod([float(len(c)) for c in choices]))
    if count > MOST_LISTED // 8:
        if plies <= 3:
            raise LayupError("too many unsymmetric stacks to list. Allow fewer fabrics or angles, or symmetric = true")
        return []
    rows = np.stack([g.ravel() for g in np.meshgrid(*choices, indexing="ij")], axis=1)
    splits: list[int | None] = [None] if core is None else list(range(skin, plies - skin + 1))
    frames: list[Frame] = []
    for at in splits:
        stack = rows if at is None else np.insert(rows, at, CORE, axis=1)
        frames.append(ListedFrame.of(kind, options, stack, base, 0.0 if core is None else core.thickness))
    return frames


def batch_of(frame: Frame, pairs: Ints) -> Batch:
    """Stacks of a frame written out from the mould up."""
    kind: Kind = frame.key
    rows, d, weight = frame.stacks(pairs)
    kept = frame.keeps_run(rows)
    rows, d, weight = rows[kept], d[kept], weight[kept]
    if not isinstance(frame, ListedFrame):
        parts = [rows[:, ::-1], rows]
        middle = CORE if kind.core is not None else frame.middle
        if middle >= 0 or kind.core is not None:
            parts.insert(1, np.full((len(rows), 1), middle))
        rows = np.concatenate(parts, axis=1)
    return Batch(kind.bench, kind.core, rows.astype(np.int64), d, weight)


def lightest(
    checker: Checker,
    frames: Sequence[Frame],
    tick: Tick,
    known: Sequence[Limit] = (),
    under: float = np.inf,
    most: float = np.inf,
) -> Search:
    """The lightest stack that passes every check; of several as light, the one with the largest least reserve.

    Ctrl-C ends it early: what is known then comes back, not proven.

    Args:
        checker: The checks.
        frames: The space.
        tick: Told how the search goes on.
        known: Limits from an earlier search of the same or weaker checks.
        under: Nothing as heavy as this is looked for. [kg/m^2]
        most: Stacks checked one by one at which it gives up. [-]

    Returns:
        How it went.
    """
    queue = Queue(frames)
    search = Search(checker, queue.size)

    def limit(new: Sequence[Limit]) -> None:
        for one in new[: max(0, MOST_LIMITS - len(search.limits))]:
            queue.limit(*one)
            search.limits.append(one)

    for one in rule_limits(checker.needs):
        queue.limit(*one)
    limit(known or checker.limits())
    try:
        while True:
            weight = queue.next_weight()
            search.looked_at = queue.looked_at
            tick(search.looked_at + search.checked, weight)
            if not np.isfinite(weight) or weight >= under:
                search.ended = True
                return search
            if search.checked - search.ruled_out + search.ruled_out / 10 > most:
                return search
            search.weights += 1
            passing = _of_weight(search, queue, weight, limit, tick)
            if passing is not None:
                confirmed = _confirm(search, passing)
                if confirmed is not None:
                    search.found, search.ended = confirmed, True
                    return search
                continue  # the model has grown: the same weight again
            queue.pass_over(weight)
    except KeyboardInterrupt:
        search.found = first_guess(search.checker, frames)
        return search


def proved(search: Search, frames: Sequence[Frame], tick: Tick) -> Search:
    """A search that ended, gone over again without the measured ratio of greatest to mean deflection.

    The greatest deflection is never less than the mean: with that alone as a limit nothing is passed over on a
    measurement. It lets more stacks through to the checks, so it is given up after `MOST_PROVED`.

    Returns:
        The same with what was found out; another where it missed a lighter one.
    """
    if (
        search.checker.peak <= 1
        or not (search.checker.needs.pressure or search.checker.needs.speed)
        or not search.ended
    ):
        return search
    plain = replace(search.checker, peak=1.0)
    under = np.inf if search.found is None else search.found.areal_weight - 1e-9
    again = lightest(plain, frames, tick, under=under, most=MOST_PROVED)
    again.checked += search.checked
    again.ruled_out += search.ruled_out
    again.looked_at += search.looked_at
    if again.found is None:
        again.found, again.nearest, again.limits = search.found, search.nearest, search.limits
        again.measured += 0 if again.ended else 1
        again.ended = True
    again.checker = replace(again.checker, peak=search.checker.peak)
    return again


def first_guess(checker: Checker, frames: Sequence[Frame]) -> Found | None:
    """The lightest passing stack of one ply alone, or of one ply under the surface ply: quick, and not proven.

    Returns:
        The stack; None where no such stack passes.
    """
    best: Found | None = None
    seen: set[tuple[int, int, int]] = set()
    for frame in sorted(frames, key=lambda f: f.least_weight):
        kind: Kind = frame.key
        plies = 2 * frame.plies + (frame.middle >= 0) if not isinstance(frame, ListedFrame) else frame.plies
        about = (id(kind.bench), id(kind.core), plies)
        if about in seen or (best is not None and frame.least_weight > best.areal_weight):
            continue
        seen.add(about)
        batch = _plain(kind, plies)
        if not len(batch.stack):
            continue
        result = checker.assess(batch, quick=True)
        for at in np.flatnonzero(result.passed):
            if broken_rule(kind.bench, batch.stack[int(at)].tolist(), checker.needs):
                continue
            one = _one(batch, result, int(at))
            if best is None or one.areal_weight < best.areal_weight:
                best = one
    return best


def _plain(kind: Kind, plies: int) -> Batch:
    """Symmetric stacks of one ply alone, with the lightest surface ply outside where that ply may not lie there."""
    options, core = kind.bench.options, kind.core
    top = int(np.flatnonzero(options.surface)[np.argmin(options.weight[options.surface])])
    rows = []
    for ply in np.flatnonzero(options.inside):
        outer = int(ply) if options.surface[ply] else top
        side = [*[int(ply)] * (plies // 2 - 1), outer] if plies > 1 else []
        middle = [CORE] if core is not None else [outer if plies == 1 else int(ply)] * (plies % 2)
        row = [*reversed(side), *middle, *side]
        runs = max((len(list(run)) for key, run in groupby(row) if options.in_runs[key]), default=0)
        if not options.most_alike or runs <= options.most_alike:
            rows.append(row)
    stack = np.array(rows, dtype=np.int64).reshape(len(rows), plies + (core is not None))
    d = np.array([d_of(kind.bench, core, row) for row in rows]).reshape(len(rows), 6)
    weight = kind.bench.areal_weight(core, stack) if rows else np.empty(0)
    return Batch(kind.bench, core, stack, d, weight)


def _of_weight(
    search: Search, queue: Queue, weight: float, limit: Callable[[Sequence[Limit]], None], tick: Tick
) -> Found | None:
    """The best passing stack of one weight, or None; limits are added where they rule out what failed."""
    best: Found | None = None
    passed = 0
    for batch in _batches(queue, weight, search.checker.needs):
        left = np.arange(len(batch.stack))
        while len(left):
            now, left = left[:CHUNK], left[CHUNK:]
            part = batch.take(now)
            result = search.checker.assess(part, quick=True)
            search.checked += len(now)
            tick(search.looked_at + search.checked, weight)
            order = np.argsort(-np.round(result.least, 9), kind="stable")
            top = _one(part, result, int(order[0]))
            if search.nearest is None or top.least > search.nearest.least:
                search.nearest = top
            if result.passed.any():
                passed += int(result.passed.sum())
                if best is None or top.least > best.least + 1e-9:
                    best = top
                if passed >= ENOUGH:
                    return best
            else:
                near = _grown(search, part, result)
                if near is not None:
                    return near
                limit([one for one in search.checker.limits(part.d[order[0]], part.a[order[0]]) if _breaks(one, top)])
                if len(left):
                    rest = batch.take(left)
                    left = left[queue.limits.kept(rest.d, rest.areal_weight, rest.a)]
                    left = _undecided(search, batch, left, lambda: tick(search.looked_at + search.checked, weight))
    return best


def _undecided(search: Search, batch: Batch, left: Ints, tick: Callable[[], None]) -> Ints:
    """Of many stacks those that are not proved to fail on the whole panel, which is quicker than every check."""
    kept = []
    for start in range(0, len(left), AT_ONCE):
        some = left[start : start + AT_ONCE]
        fails = search.checker.disproves(batch.take(some))
        search.checked += int(fails.sum())
        search.ruled_out += int(fails.sum())
        kept.append(some[~fails])
        tick()
    return np.concatenate(kept) if kept else left


def _grown(search: Search, part: Batch, result: Assessment) -> Found | None:
    """Of stacks that all failed, one that passes on the full model after all; the others that may are counted."""
    open_ = np.flatnonzero(~result.disproved)
    open_ = open_[~search.checker.disproves(part.take(open_))]
    close = [int(k) for k in open_[np.argsort(-result.least[open_], kind="stable")] if result.least[k] >= NEAR]
    search.measured += len(open_) - len(close)
    for at in close:
        if search.grown >= MOST_GROWN:
            search.measured += 1
            continue
        search.grown += 1
        found = _confirm(search, _one(part, result, at))
        if found is not None:
            return found
    return None


def _breaks(limit: Limit, found: Found) -> bool:
    """Whether a stack breaks a limit; one that it keeps would rule out nothing like it."""
    g, r, s = limit
    due = r + s * found.areal_weight
    has = float(g[:6] @ found.batch.d[0]) + float(g[6:] @ found.batch.a[0] if len(g) > 6 else 0.0)
    return bool(has < due - 1e-9 * abs(due))


def _batches(queue: Queue, weight: float, needs: Needs) -> Iterator[Batch]:
    for frame, pairs in queue.collect(weight):
        batch = batch_of(frame, pairs)
        if not needs.symmetric:
            batch = batch.take(np.flatnonzero(balanced_enough(batch.bench, batch.stack, needs)))
        if len(batch.stack):
            yield batch


def _one(batch: Batch, result: Assessment, at: int) -> Found:
    row = np.array([at])
    return Found(
        batch.take(row),
        replace(result, values=result.values[row], limits=result.limits[row], reserves=result.reserves[row]),
    )


def _confirm(search: Search, found: Found) -> Found | None:
    """The stack on the full model: the small one gets its shapes, and the checks are made again."""
    checker = search.checker
    if checker.model is None:
        return found
    pushed = [case.pressed for case in checker.buckling]
    grown = replace(checker, model=checker.model.with_layup(checker.layups(found.batch)[0], pushed))
    result = grown.assess(found.batch)
    search.checker = grown  # exact for this stack, and nearer for those like it
    return Found(found.batch, result) if result.passed[0] else None


def nearest_miss(checker: Checker, frames: Sequence[Frame], seen: Found | None, most: int = 1500) -> Found | None:
    """Of stacks from every frame, the one whose worst check comes nearest to passing.

    Frames are sampled evenly where they hold more than a few hundred stacks, so it is near, not proven nearest.

    Args:
        checker: The checks.
        frames: The space.
        seen: The nearest so far.
        most: Stacks to check. [-]

    Returns:
        The stack, or None where there is nothing to try.
    """
    rng = np.random.default_rng(11)
    best = seen
    share = max(16, most // max(len(frames), 1))
    for frame in sorted(frames, key=lambda f: -f.least_weight)[: max(1, most // 16)]:
        inner, outer = frame._split
        total = len(inner.weight) * len(outer.weight)
        picked = np.arange(total) if total <= share else rng.integers(0, total, share)
        pairs = np.stack([picked // len(outer.weight), picked % len(outer.weight)], axis=1)
        batch = batch_of(frame, pairs)
        if not len(batch.stack):
            continue
        result = checker.assess(batch)
        for at in np.argsort(-result.least, kind="stable")[:8]:
            top = _one(batch, result, int(at))
            if best is not None and top.least <= best.least:
                break
            if not broken_rule(batch.bench, batch.stack[int(at)].tolist(), checker.needs):
                best = top
                break
    return best
