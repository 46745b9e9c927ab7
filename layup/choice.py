"""Which layup: the lightest that is stiff and strong enough, what else passes, and what one ply more or less buys.

`choose` runs the job from a part file with `[needs]` to a `Choice`; `as_json` gives it in a stable SI form.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layup.atmosphere import density_at
from layup.checks import CAUTIONS, CORE, Batch, Checker, d_of
from layup.compare import process_for
from layup.cost import Cost, material_cost
from layup.errors import LayupError
from layup.laminate.panel import Panel, PanelLoad, build_panel
from layup.laminate.panel_model import PanelModel, strip_stiffness
from layup.needs import Needs
from layup.part import PlyEntry
from layup.partfile import Job, read_part
from layup.seek import Found, Search, frames_of, lightest, nearest_miss
from layup.shelf import Bench, Flat, OldPart, old_stiffness, panel_shape, shelf_of, stock, with_layup, zone_shape
from layup.sources import Citation, cite
from layup.spread import Interval
from layup.weight import weigh_layup

Floats = NDArray[np.float64]
EVEN = 1000.0
"""The even pressure by which panels are compared. [Pa]"""
STIFFER = (1.5, 2.0, 3.0)
"""How many times stiffer than asked the front looks."""

Tell = Callable[[str, int, float], None]
"""Told what is being done, how many stacks were looked at, and the areal weight reached."""


@dataclass(frozen=True)
class Layup:
    """A layup that was looked for, with what it weighs and costs.

    Attributes:
        label: Why it is listed.
        found: The stack and its checks.
        process: Name.
        lines: Fabric or core, angle and count, from the mould up.
        mass: Of the whole part. [kg]
        thickness: With the films on its faces. [m]
        cost: Of the material.
        stiffness: Mean deflection of the panel under an even kilopascal [m], or the lesser strip stiffness [N m].
        plies: Number of plies, the core not counted.
        entries: As the part file writes them.
    """

    label: str
    found: Found = field(repr=False)
    process: str
    lines: tuple[tuple[str, float, int, float], ...]
    mass: Interval
    thickness: float
    cost: Cost
    stiffness: float
    plies: int
    entries: tuple[PlyEntry, ...] = field(repr=False)

    @property
    def words(self) -> str:
        """The stack in one line."""
        return " / ".join(_line_words(line) for line in self.lines)

    @property
    def passed(self) -> bool:
        """Whether it passes every check."""
        return bool(self.found.assessment.passed[0])

    @property
    def governs(self) -> tuple[str, float]:
        """The check with the smallest reserve, and that reserve."""
        reserves = self.found.assessment.reserves[0]
        if not len(reserves):
            return "nothing", float("inf")
        at = int(np.argmin(reserves))
        return self.found.assessment.kinds[at].name, float(reserves[at])


@dataclass(frozen=True)
class Step:
    """One change to the chosen layup, and what it buys.

    Attributes:
        change: In words.
        mass: More or less. [kg]
        stiffness: Times as stiff. [-]
        passed: Whether it still passes.
        governs: The check with the smallest reserve.
        reserve: That reserve. [-]
    """

    change: str
    mass: float
    stiffness: float
    passed: bool
    governs: str
    reserve: float


@dataclass(frozen=True)
class Choice:
    """The answer of `choose`.

    Attributes:
        job: The part file.
        needs: What was asked.
        best: The lightest that passes; None where none does.
        nearest: Where none passes, the one nearest to it.
        others: The lightest under one restriction each, and stiffer ones.
        front: Of all these, those that no other beats in weight, cost and stiffness together.
        steps: What one ply more or less buys.
        blocked: Checks that could not be made, with the figure they lack.
        searches: How many stacks there were, were looked at, were checked.
        proven: Whether the best is proven to be the lightest.
        old: What it is compared with.
        flat: The panel it was taken as.
        by_panel: Whether `Layup.stiffness` is a deflection.
        notes: What was assumed.
        cautions: What a reader must know before acting on it.
        citations: Every figure used, with its source.
        seconds: Of the search.
    """

    job: Job = field(repr=False)
    needs: Needs
    best: Layup | None
    nearest: Layup | None
    others: tuple[Layup, ...] = field(repr=False)
    front: tuple[Layup, ...] = field(repr=False)
    steps: tuple[Step, ...] = field(repr=False)
    blocked: tuple[str, ...]
    searches: Search = field(repr=False)
    proven: bool
    old: OldPart | None
    flat: Flat | None = field(repr=False)
    by_panel: bool
    notes: tuple[str, ...] = field(repr=False)
    cautions: tuple[str, ...] = field(repr=False)
    citations: tuple[Citation, ...] = field(repr=False)
    seconds: float


def choose(
    source: str | Path | Mapping[str, Any] | Job, folder: str | Path | None = None, tell: Tell | None = None,
    wide: bool = True,
) -> Choice:
    """Find the lightest layup that does what the part has to do.

    Args:
        source: A part file's path, its content as a mapping, or a job already read.
        folder: Where the files it names lie.
        tell: Told how the search goes on.
        wide: Whether to look for the lightest under each restriction as well, for the front.

    Returns:
        The choice; `best` is None where nothing on the shelf passes.

    Raises:
        FaultsError: The part file has faults.
        LayupError: A figure is missing, or nothing can be tried.
    """
    begin = time.perf_counter()
    told = tell or (lambda what, looked, weight: None)
    job = source if isinstance(source, Job) else read_part(source, folder)
    needs = job.part.needs or Needs()
    shelf = shelf_of(job)
    benches = stock(job, needs, shelf)
    old = old_stiffness(job) if needs.stiffness else None
    flat, notes = _panel_of(job, needs)
    told("setting up the panel", 0, 0.0)
    loads = _loads(job, needs, flat)
    if old is None and not needs.loaded and needs.frequency is None:
        raise LayupError(
            "nothing is asked of the part: it replaces no sheet or laminate whose stiffness is known, and [needs] names "
            'no load. Add a [[replaces]] with a sheet, or write under [needs]: hand_load = "200 N", pressure = "500 Pa"'
        )
    model = _model(flat, needs, loads, benches)
    checker = Checker.of(needs, old, model)
    frames = frames_of(benches, needs, shelf.solid)
    search = lightest(checker, frames, lambda looked, w: told("looking for the lightest", looked, w))
    checker = search.checker
    figures = [f for bench in benches for f in bench.figures] + list(old.figures if old else ())
    notes += [note for bench in benches for note in bench.notes]
    if old is not None:
        notes += old.notes
    best = None if search.found is None else _layup(job, checker, search.found, "the lightest")
    nearest, others, steps = None, [], []
    if best is None and search.proven:
        miss = nearest_miss(checker, frames, search.nearest)
        nearest = None if miss is None else _layup(job, checker, miss, "the nearest")
    if best is not None:
        steps = _steps(job, checker, best, benches)
        if wide:
            others = _others(job, checker, frames, benches, best, search, told)
    shown = best or nearest
    blocked = () if shown is None else checker.blocked(shown.found.batch)
    return Choice(
        job, needs, best, nearest, tuple(others), _front([*([best] if best else []), *others], model is not None),
        tuple(steps), blocked, search, search.proven and search.found is not None, old if checker.old else None, flat,
        model is not None, tuple(dict.fromkeys(notes)), _cautions(job, needs, flat, old, shown),
        cite(figures, job.library.sources), time.perf_counter() - begin,
    )  # fmt: skip


def _panel_of(job: Job, needs: Needs) -> tuple[Flat | None, list[str]]:
    flat = panel_shape(job)
    notes = []
    if flat is None:
        if needs.loaded or needs.frequency is not None:
            raise LayupError(
                "the surface is only an area, so loads and frequency can't be checked on it. Give its outline, two sides "
                'or a mesh: rectangle = ["1 m", "600 mm"]'
            )
        notes.append("Only the area is known: stiffness is compared on strips cut both ways, not on the panel.")
    return flat, notes


def _loads(job: Job, needs: Needs, flat: Flat | None) -> list[PanelLoad]:
    loads = [PanelLoad("even pressure", pressure=EVEN)]
    if needs.pressure:
        loads.append(PanelLoad("pressure", pressure=needs.pressure))
    if needs.speed:
        dynamic = 0.5 * density_at(needs.at_altitude) * needs.speed**2 * needs.of_dynamic_pressure
        loads.append(PanelLoad("air at speed", pressure=dynamic))
    if needs.hand_load:
        loads.append(PanelLoad("hand load", force=needs.hand_load, at=needs.hand_at, size=needs.hand_patch))
    for place in needs.local:
        if place.hand_load and flat is not None:
            middle = zone_shape(job, flat, place.zone).centroid
            loads.append(PanelLoad(f"hand load on {place.zone}", force=place.hand_load, at=(middle.x, middle.y),
                                   size=place.hand_patch))  # fmt: skip
    return loads


def _model(flat: Flat | None, needs: Needs, loads: Sequence[PanelLoad], benches: Sequence[Bench]) -> PanelModel | None:
    if flat is None:
        return None
    patches = [min(load.size) / 2.5 for load in loads if load.force]
    supports = needs.supports if isinstance(needs.supports, str) else dict(needs.supports)
    panel: Panel = build_panel(flat.shape, supports, needs.held_at, finest=min(patches, default=None))
    return PanelModel.of(panel, loads, _samples(benches), bool(needs.push_x or needs.push_y))


def _samples(benches: Sequence[Bench]) -> Floats:
    """Layups that lie far apart in how they bend, at most a dozen."""
    terms = np.concatenate([bench.options.terms for bench in benches])
    terms = terms / np.abs(terms).max(axis=1, keepdims=True)
    kept = [terms[0], terms.mean(axis=0)]
    while len(kept) < 12:
        apart = np.min([np.linalg.norm(terms - k, axis=1) for k in kept], axis=0)
        if apart.max() < 0.02:
            break
        kept.append(terms[int(np.argmax(apart))])
    return np.array(kept)


def _layup(job: Job, checker: Checker, found: Found, label: str) -> Layup:
    bench, core = found.batch.bench, found.batch.core
    entries: list[PlyEntry] = []
    lines: list[tuple[str, float, int, float]] = []
    for index in found.stack:
        if index == CORE:
            assert core is not None
            entries.append(PlyEntry.model_construct(core=core.name, thickness=core.thickness))
            lines.append((core.name, 0.0, 0, core.thickness))
            continue
        choice = bench.plies[index]
        if lines and lines[-1][:2] == (choice.fabric, choice.angle) and lines[-1][2]:
            lines[-1] = (*lines[-1][:2], lines[-1][2] + 1, 0.0)
            entries[-1] = PlyEntry.model_construct(fabric=choice.fabric, angle=choice.angle, count=lines[-1][2])
        else:
            lines.append((choice.fabric, choice.angle, 1, 0.0))
            entries.append(PlyEntry.model_construct(fabric=choice.fabric, angle=choice.angle))
    local = [p for p in job.part.plies() if p.zone is not None or p.area is not None]
    made = with_layup(job, bench.process.name, [*entries, *local])
    weighed = weigh_layup(made, process_for(made, bench.process.name, own=bench.own), own_process=bench.own)
    return Layup(
        label, found, bench.process.name, tuple(lines), weighed.mass, weighed.thickness.mean,
        material_cost(made, weighed), _stiffness(checker, found.batch), sum(line[2] for line in lines), tuple(entries),
    )  # fmt: skip


def _stiffness(checker: Checker, batch: Batch) -> float:
    if checker.model is None:
        return float(strip_stiffness(batch.d).min())
    return float(checker.mean_sag(batch)[0])


def _times(checker: Checker, new: float, old: float) -> float:
    """How many times as stiff."""
    return new / old if checker.model is None else old / new


def _steps(job: Job, checker: Checker, best: Layup, benches: Sequence[Bench]) -> list[Step]:
    """One ply more, one less, the next core, the other process."""
    batch = best.found.batch
    bench, core, stack = batch.bench, batch.core, list(best.found.stack)
    area = job.surface.whole.area
    steps: list[Step] = []
    seen: set[tuple[int, ...]] = {tuple(stack)}

    def weigh(b: Bench, c: Any, s: Sequence[int]) -> float:
        core_weight = 0.0 if c is None else c.layer.areal_weight
        return float(b.films + core_weight + sum(b.options.weight[i] for i in s if i != CORE))

    def judge(b: Bench, c: Any, s: Sequence[int]) -> tuple[float, Any, Batch]:
        one = Batch(b, c, np.array([list(s)]), d_of(b, c, s)[None], np.array([weigh(b, c, s)]))
        result = checker.assess(one)
        return float(result.least[0]), result, one

    def add(change: str, b: Bench, c: Any, s: Sequence[int]) -> None:
        least, result, one = judge(b, c, s)
        at = int(np.argmin(result.reserves[0])) if result.kinds else -1
        name = result.kinds[at].name if at >= 0 else "nothing"
        steps.append(Step(change, (weigh(b, c, s) - best.found.areal_weight) * area,
                          _times(checker, _stiffness(checker, one), best.stiffness), bool(result.passed[0]), name,
                          least))  # fmt: skip

    half = len(stack) // 2
    symmetric = stack == stack[::-1]
    for index in dict.fromkeys(i for i in stack if i != CORE):
        words = _ply_words(bench, index)
        variants = []
        for at in range(len(stack)):
            if stack[at] != index:
                continue
            drop = {at, len(stack) - 1 - at} if symmetric else {at}
            less = [v for k, v in enumerate(stack) if k not in drop]
            plies_left = [k for k, v in enumerate(less) if v != CORE]
            enough = len(plies_left) >= (2 if core else 1) and (not core or (less[0] != CORE and less[-1] != CORE))
            if enough and tuple(less) not in seen:
                variants.append(less)
        if variants:
            less = max(variants, key=lambda s: judge(bench, core, s)[0])
            seen.add(tuple(less))
            gone = len(stack) - len(less)
            add(f"without {'one' if gone == 1 else 'a pair of'} {words}", bench, core, less)
    for fabric in dict.fromkeys(p.fabric for k, p in enumerate(bench.plies) if bench.options.inside[k]):
        variants = []
        for index, choice in enumerate(bench.plies):
            if choice.fabric != fabric or not bench.options.inside[index]:
                continue
            if symmetric and (core is not None or len(stack) % 2):
                spots = [[*stack[:at], index, *stack[at : len(stack) - at], index, *stack[len(stack) - at :]]
                         for at in range(half + (0 if core else 1))]  # fmt: skip
            elif symmetric:
                spots = [[*stack[:half], index, *stack[half:]]]
            else:
                spots = [[*stack[:at], index, *stack[at:]] for at in range(len(stack) + 1)]
            variants += [s for s in spots if tuple(s) not in seen]
        if variants:
            more = max(variants, key=lambda s: judge(bench, core, s)[0])
            pair = len(more) - len(stack) == 2
            where = next((k for k, (u, v) in enumerate(zip(more, stack, strict=False)) if u != v), len(stack))
            add(f"{'a pair' if pair else 'one'} more of {_ply_words(bench, more[where])}", bench, core, more)
    for other in bench.cores:
        if core is not None and other is not core:
            add(f"{other.name} of {other.thickness * 1e3:g} mm instead", bench, other, stack)
    for other_bench in benches:
        if other_bench is bench:
            continue
        names = {(p.fabric, p.angle): k for k, p in enumerate(other_bench.plies)}
        same = [CORE if i == CORE else names.get((bench.plies[i].fabric, bench.plies[i].angle), -2) for i in stack]
        alike = None if core is None else next(
            (c for c in other_bench.cores if c.name == core.name and c.thickness == core.thickness), None
        )  # fmt: skip
        if -2 not in same and (core is None or alike is not None):
            add(f"the same, {other_bench.process.name}", other_bench, alike, same)
    return steps


def _ply_words(bench: Bench, index: int) -> str:
    choice = bench.plies[index]
    return f"{choice.fabric} at {choice.angle:g}°"


def _others(
    job: Job, checker: Checker, frames: Sequence[Any], benches: Sequence[Bench], best: Layup, search: Search, told: Tell
) -> list[Layup]:
    """The lightest under one restriction each; and the lightest that are so many times stiffer."""
    found: list[Layup] = []
    seen = {(best.process, best.found.stack, _core_key(best))}

    def look(label: str, chosen: Sequence[Any], own: Checker, known: Sequence[Any] = ()) -> None:
        if not chosen:
            return
        result = lightest(own, chosen, lambda looked, w: told(label, looked, w), known)
        if not result.proven and result.found is None:
            raise KeyboardInterrupt
        if result.found is not None:
            layup = _layup(job, own, result.found, label)
            key = (layup.process, layup.found.stack, _core_key(layup))
            if key not in seen:
                seen.add(key)
                found.append(layup)

    limits = search.limits
    try:
        for bench in benches if len(benches) > 1 else ():
            look(bench.process.name, [f for f in frames if f.key.bench is bench], checker, limits)
        cores = dict.fromkeys((c.name, c.thickness) for b in benches for c in b.cores)
        if cores:
            look("no core", [f for f in frames if f.key.core is None], checker, limits)
        for name, thick in cores:
            chosen = [f for f in frames if f.key.core is not None
                      and (f.key.core.name, f.key.core.thickness) == (name, thick)]  # fmt: skip
            look(f"{name} {thick * 1e3:g} mm", chosen, checker, limits)
        for fabric in dict.fromkeys(p.fabric for b in benches for k, p in enumerate(b.plies) if b.options.inside[k]):
            narrowed = [b for b in (_only(b, fabric) for b in benches) if b is not None]
            if len({p.fabric for b in benches for p in b.plies}) > 1 and narrowed:
                solid = any(f.key.core is None for f in frames)
                look(f"{fabric} alone", frames_of(narrowed, checker.needs, solid), checker, limits)
        for times in STIFFER:
            look(f"{times:g} times as stiff", frames, replace(checker, needs=_stiffer(checker.needs, times)))
    except KeyboardInterrupt:
        told("stopped", 0, 0.0)
    return found


def _core_key(layup: Layup) -> tuple[str, float] | None:
    core = layup.found.batch.core
    return None if core is None else (core.name, core.thickness)


def _only(bench: Bench, fabric: str) -> Bench | None:
    """The bench with one fabric alone; the surface ply stays."""
    keep = np.array([p.fabric == fabric for p in bench.plies])
    if not keep.any():
        return None
    surface = bench.options.surface & keep if (bench.options.surface & keep).any() else bench.options.surface
    options = replace(bench.options, inside=bench.options.inside & keep, surface=surface)
    return replace(bench, options=options) if options.inside.any() else None


def _stiffer(needs: Needs, times: float) -> Needs:
    """The same needs with stiffness and deflections so many times as hard to meet."""
    change: dict[str, Any] = {"stiffness": needs.stiffness * times}
    for key in ("deflection", "hand_deflection"):
        value = getattr(needs, key)
        if value is not None:
            change[key] = value / times
    if needs.frequency is not None:
        change["frequency"] = needs.frequency * times**0.5
    return needs.model_copy(update=change)


def _front(layups: Sequence[Layup], by_panel: bool) -> tuple[Layup, ...]:
    """Those that no other beats in weight, cost and stiffness together, lightest first."""

    def figures(y: Layup) -> tuple[float, float, float]:
        single = y.cost.single
        return y.mass.mean, single[0] if single else 0.0, y.stiffness if by_panel else -y.stiffness

    kept = []
    for one in layups:
        own = figures(one)
        beaten = any(
            all(a <= b * (1 + 1e-9) if b >= 0 else a <= b * (1 - 1e-9) for a, b in zip(figures(x), own, strict=True))
            and figures(x) != own
            for x in layups
        )
        if not beaten:
            kept.append(one)
    return tuple(sorted(kept, key=lambda y: y.mass.mean))


def _cautions(job: Job, needs: Needs, flat: Flat | None, old: OldPart | None, shown: Layup | None) -> tuple[str, ...]:
    said: list[str] = []
    if needs.loaded:
        said += CAUTIONS
        if needs.load_factor is None:
            said.append("No load_factor is stated, so strength is checked at the bare loads. State yours under [needs].")
    if flat is not None and flat.rise > 1e-6:
        thick = shown.thickness if shown else 0.0
        said.append(
            f"The surface rises {flat.rise * 1e3:.1f} mm and was taken flat. Curvature makes it stiffer at small loads"
            + (", but a shallow curved skin can snap through under pressure: not checked." if flat.rise > thick else ".")
        )
    if flat is not None and shown is not None:
        sag = [v for k, v in zip(shown.found.assessment.kinds, shown.found.assessment.values[0], strict=True)
               if k.unit == "m" and k.name.startswith("deflection")]  # fmt: skip
        if sag and max(sag) > 0.5 * shown.thickness:
            said.append("Deflection is more than half the thickness: a real panel stiffens there, so the figure is high.")
    if any(p.zone is not None or p.area is not None for p in job.part.plies()):
        said.append("Plies laid in zones stay as they are: they are weighed, but do not count as stiffness.")
    if shown is not None and shown.found.stack != shown.found.stack[::-1]:
        said.append("The stack is not symmetric: it bows and twists as it cools after the cure.")
    said.append("An estimate: the lightest of what was modelled, not of what can be built. Try a piece first.")
    return tuple(said)


def _line_words(line: tuple[str, float, int, float]) -> str:
    name, angle, count, thick = line
    if not count:
        return f"{name} {thick * 1e3:g} mm"
    return f"{count} x {name} at {angle:g}°" if count > 1 else f"{name} at {angle:g}°"


