"""Which layup: the lightest that is stiff and strong enough, what else passes, and what one ply more or less buys.

`choose` runs the job from a part file with `[needs]` to a `Choice`; `as_json` gives it in a stable SI form.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layup.choosing import conditions
from layup.choosing.batch import Batch, core_shear_modulus, warp_of
from layup.choosing.checks import CAUTIONS, Checker, lacks_of_core, lacks_of_ply
from layup.choosing.edges import buckling_cases
from layup.choosing.front import front, others
from layup.choosing.joint_checks import with_their_holes
from layup.choosing.layups import Layup, Tell, layup_of
from layup.choosing.reinforce import lightest_with_patches
from layup.choosing.rules import against_the_trade
from layup.choosing.seek import Found, Search, Tick, frames_of, lightest, nearest_miss, proved
from layup.choosing.shelf import (
    Bench,
    Flat,
    OldPart,
    old_stiffness,
    panel_shape,
    shelf_of,
    stock,
    with_layup,
    zone_shape,
)
from layup.choosing.steps import Step, neighbours
from layup.errors import LayupError, SurfaceError
from layup.laminate.atmosphere import density_at
from layup.laminate.panel import ACROSS_SPAN, PanelLoad, build_panel, sharp_corners
from layup.laminate.panel_model import Limit, PanelModel, spread_layups
from layup.laminate.panel_zones import ZonedModel
from layup.laminate.process import Habits
from layup.laminate.search import Frame, ListedFrame
from layup.laminate.shallow_shell import ShallowShell
from layup.laminate.stiffness import bow
from layup.partfile.job import Job
from layup.partfile.model import WHOLE, PlyEntry
from layup.partfile.needs import RULES, USUAL_LOAD_FACTOR, Needs, Rule, Shelf
from layup.partfile.read import read_part
from layup.sources import Citation, cite
from layup.spread import Interval
from layup.weight.replaced import weigh_replaced
from layup.words import mass_both

Floats = NDArray[np.float64]
SPREAD = "what the spread costs"
ALL_RULES = "all together"
RULES_COST = "what the rules of the trade cost"
SAGS = ("deflection", "stays a flat panel")
"""How the names of those checks begin that say how far the panel gives under a load that was asked."""
RAMP = 3.0
"""Length over height of a core's chamfer at which skins still follow it (common practice, no source: 3 to 20). [-]"""
MAY_DECIDE = 1.1
"""Reserve under which a strength is read again on finer meshes even where only the lightest is asked for; the search's
own was seen to be 8 % off at most. [-]"""
MATTERS = 3.0
"""Reserve under which one is read on finer meshes until it moves by less than a hundredth. [-]"""
MOST_TURNS = 6
"""Searches after which a panel that keeps failing on its own surface is given up. [-]"""
EVEN = 1000.0
"""The even pressure by which panels are compared. [Pa]"""


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
        rules: Of each rule of the trade that was kept, how much lighter it would be without it; None where that was not
            asked. [kg]
        blocked: What was not checked, and why; what a reader must know before the answer.
        left_out: What was not tried for want of a figure, and of which.
        conditions: For what heat, water and knocks the strengths are, in a line; empty where no load is asked.
        replaced: What comes off; None where the part replaces nothing.
        searches: How many stacks there were, were looked at, were checked.
        proven: Whether the best is proved to be the lightest.
        ended: Whether the search ran to its end, so that nothing lighter was found.
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
    rules: dict[str, float] | None
    blocked: tuple[str, ...]
    left_out: tuple[str, ...]
    conditions: str
    replaced: Interval | None
    searches: Search = field(repr=False)
    proven: bool
    ended: bool
    old: OldPart | None
    flat: Flat | None = field(repr=False)
    by_panel: bool
    notes: tuple[str, ...] = field(repr=False)
    cautions: tuple[str, ...] = field(repr=False)
    citations: tuple[Citation, ...] = field(repr=False)
    seconds: float

    def __repr__(self) -> str:
        title = self.job.part.title
        if self.best is None:
            return f"Choice({title!r}: nothing passes of {self.searches.size} stacks)"
        sure = "the lightest that passes" if self.proven else "the best found"
        return f"Choice({title!r}: {mass_both(self.best.mass.mean, 'both')}, {self.best.words}, {sure})"


def choose(
    source: str | Path | Mapping[str, object] | Job,
    folder: str | Path | None = None,
    tell: Tell | None = None,
    wide: bool = True,
    habits: Habits | None = None,
) -> Choice:
    """Find the lightest layup that does what the part has to do.

    Args:
        source: A part file's path, its content as a mapping, or a job already read.
        folder: Where the files it names lie.
        tell: Told how the search goes on.
        wide: Whether to look for the lightest under each restriction as well, for the front.
        habits: What the shop's weigh-ins say of its resin, as for `layup.predict`; else published figures alone.

    Returns:
        The choice; `best` is None where nothing on the shelf passes.

    Raises:
        FaultsError: The part file has faults.
        LayupError: A figure is missing, or nothing can be tried.
    """
    begin = time.perf_counter()
    told = tell or (lambda what, looked, weight: None)
    job = source if isinstance(source, Job) else read_part(source, folder)
    if habits:
        job = replace(job, habits=habits)
    needs = with_their_holes(job, job.part.needs or Needs())
    shelf = shelf_of(job)
    local = [p for p in job.part.plies() if p.core and (p.area is not None or p.zone not in (None, WHOLE))]
    if local:  # under a new skin over the whole part it would lie bare on top
        job = with_layup(job, job.part.process, [p for p in job.part.plies() if p not in local])
    benches, left_out = _with_figures(stock(job, needs, shelf), needs)
    flat, notes = _panel_of(job, needs)
    old = old_stiffness(job, flat) if needs.stiffness or needs.in_plane else None
    told("setting up the panel", 0, 0.0)
    loads = _loads(job, needs, flat)
    if old is None and not (needs.loaded or needs.joined) and needs.frequency is None:
        raise LayupError(
            "nothing is asked of the part: it replaces no sheet or laminate whose stiffness is known, and [needs] "
            'names no load. Add a [[replaces]] with a sheet, or write under [needs]: hand_load = "200 N"'
        )
    if needs.edge_loaded and (needs.local or not needs.symmetric):
        raise LayupError(
            "what edge loads do to local plies, or to a stack that is not symmetric, is not modelled. Leave out "
            "[[needs.local]] and symmetric = false, or the push, pull and shear"
        )
    benches, spanless = _with_spans(benches, needs, old, flat)
    left_out += spanless
    model = _model(flat, needs, loads, benches)
    shell = None
    if flat is not None and flat.curved:
        shell = ShallowShell(*flat.sides, *flat.curvature[:2])
    checker = Checker.of(needs, old, model, _mixes(benches), shell, None if flat is None else flat.points)
    frames = frames_of(benches, needs, shelf.solid)
    notes.append(_tried(frames))
    search = _sound_on_its_surface(
        checker=checker,
        frames=frames,
        tick=lambda looked, w: told("looking for the lightest", looked, w),
        under=MATTERS if wide else MAY_DECIDE,
    )
    if search.found is None and not search.ended:
        raise KeyboardInterrupt  # stopped, and not even a first guess passes: that nothing does is not known
    checker = search.checker
    plain, curved = replace(checker, needs=needs, curve_factor=1.0), checker.shell is not None and not needs.local
    figures = [f for bench in benches for f in bench.figures] + list(old.figures if old else ())
    figures += conditions.figures(job) if needs.loaded or needs.joined else []
    notes += [note for bench in benches for note in bench.notes]
    if job.habits:
        notes.append("Weights count what this shop's scale has taught; --no-shop goes by published figures alone.")
    if old is not None:
        notes += old.notes
    best = None if search.found is None else layup_of(job, checker, search.found, "the lightest")
    nearest: Layup | None = None
    rules: dict[str, float] | None = None
    more: list[Layup] = []
    steps: list[Step] = []
    if best is None and search.ended:
        miss = nearest_miss(checker, frames, search.nearest)
        nearest = None if miss is None else layup_of(job, checker, miss, "the nearest")
    ended = search.ended
    proven = search.proven and search.found is not None
    try:
        if best is not None and wide and search.ended:
            if not needs.local:
                told(SPREAD, 0, 0.0)
                notes.insert(0, _price_of_spread(best, _in_the_average(job, needs, shelf, checker, flat, told)))
                rules = _price_of_rules(job, shelf, checker, flat, best, told)
            more = others(
                job=job,
                checker=plain if curved else checker,
                frames=frames,
                benches=benches,
                best=best,
                search=search,
                told=told,
                seek=_sound if curved else lightest,
            )
        stopped = best is not None and not search.ended  # the best so far is wanted, and nothing more
        patched = (
            None
            if stopped
            else _with_local_plies(
                job=job, checker=checker, frames=frames, benches=benches, flat=flat, best=best, told=told
            )
        )
        if patched is not None:
            if best is not None:
                more.append(replace(best, label="no local plies"))
            best, steps, ended = patched
            proven = ended and proven and not needs.loaded  # each zone's stress is the small model's alone
        elif best is not None:
            steps = neighbours(job, plain if curved else checker, best, benches)
    except KeyboardInterrupt:
        if best is None:
            raise
        notes.append("Stopped: what would have been looked at beside it is not shown.")
    shown = best or nearest
    comes_off = weigh_replaced(job)
    return Choice(
        job=job,
        needs=needs,
        best=best,
        nearest=nearest,
        others=tuple(more),
        front=front([*([best] if best else []), *more], model is not None),
        steps=tuple(steps),
        rules=rules,
        blocked=_unchecked(job, needs, flat, checker, shown),
        left_out=tuple(dict.fromkeys(left_out)),
        conditions=conditions.words(job) if needs.loaded or needs.joined else "",
        replaced=None if comes_off is None else comes_off.mass,
        searches=search,
        proven=proven,
        ended=ended and best is not None,
        old=old if checker.old else None,
        flat=flat,
        by_panel=model is not None,
        notes=tuple(dict.fromkeys(notes)),
        cautions=(*_core_gives_way(local), *_cautions(job, needs, flat, old, shown)),
        citations=cite(figures, job.library.sources),
        seconds=time.perf_counter() - begin,
    )


def _core_gives_way(local: Sequence[PlyEntry]) -> tuple[str, ...]:
    """What became of the cores that the part file lays in zones."""
    if not local:
        return ()
    names = ", ".join(f"{p.core} {f'in {p.zone}' if p.area is None else 'on a patch'}" for p in local)
    return (
        f"The part file's own core gives way: {names}. A core is looked for over the whole part or not at all; what a "
        "solid edge round it weighs and carries, ask layup predict of the part with its plies in zones.",
    )


def _sound_on_its_surface(checker: Checker, frames: Sequence[Frame], tick: Tick, under: float = MAY_DECIDE) -> Search:
    """The lightest, again until it passes on finer meshes, on its own surface and past small deflections too.

    Strengths with a reserve under `under` are read on finer meshes.
    """
    search, more, asked = Search(checker), 1.0, checker.needs
    for turn in range(MOST_TURNS):
        search = proved(lightest(checker, frames, tick), frames, tick)
        search.turned = turn
        if search.found is None or not search.ended or asked.local:
            return search
        found = search.found
        plain = replace(search.checker, needs=asked, curve_factor=1.0)
        held, _, search.unsettled = plain.refined(found.batch, plain.assess(found.batch), under)
        held = held.beside(plain.on_surface(found.batch))
        search.found = replace(found, assessment=held)
        if held.passed[0]:
            return search
        for kind, reserve in zip(held.kinds, held.reserves[0], strict=True):
            if not kind.strength and kind.at_least and reserve < 1:
                checker = replace(search.checker, curve_factor=1.001 / reserve * checker.curve_factor)
            elif reserve < 1:
                more = max(more, 1.001 * more / max(float(reserve), 0.5))
        checker = replace(checker, needs=_harder(asked, more))
    search.found, search.nearest = None, search.found
    return search


def _sound(checker: Checker, frames: Sequence[Frame], tick: Tick, known: Sequence[Limit]) -> Search:
    """The lightest of some frames that passes on its own surface too; limits that are known are found again."""
    return _sound_on_its_surface(checker, frames, tick)


def _harder(needs: Needs, times: float) -> Needs:
    """The same needs with loads so many times as great, and deflections so much less."""
    change = {"load_factor": (needs.load_factor or USUAL_LOAD_FACTOR) * times}
    change |= {
        key: value / times for key in ("deflection", "hand_deflection") if (value := getattr(needs, key)) is not None
    }
    return needs.model_copy(update=change) if times > 1 else needs


def _price_of_rules(
    job: Job, shelf: Shelf, checker: Checker, flat: Flat | None, best: Layup, told: Tell
) -> dict[str, float]:
    """How much lighter the part would be without each rule of the trade, and without any. [kg]"""
    kept = [rule for rule in RULES if checker.needs.keeps(rule)]
    weight = best.found.areal_weight

    def without(*dropped: Rule) -> float:
        needs = checker.needs.model_copy(update={"drop_rules": [*checker.needs.drop_rules, *dropped]})
        benches, _ = _with_spans(_with_figures(stock(job, needs, shelf), needs)[0], needs, checker.old, flat)
        frames = frames_of(benches, needs, shelf.solid)
        search = lightest(
            replace(checker, needs=needs), frames, lambda looked, w: told(RULES_COST, looked, w), under=weight - 1e-9
        )
        if not search.ended:  # stopped
            raise KeyboardInterrupt
        return 0.0 if search.found is None else (weight - search.found.areal_weight) * job.surface.whole.area

    together = without(*kept) if kept else 0.0
    alone: dict[str, float] = {rule: without(rule) if together else 0.0 for rule in kept}
    return {**alone, ALL_RULES: together} if together else dict(alone)


def _in_the_average(
    job: Job, needs: Needs, shelf: Shelf, checker: Checker, flat: Flat | None, told: Tell
) -> Found | None:
    """The lightest that passes where every build is the average one, which half of all builds fall short of."""
    benches, _ = _with_figures(stock(job, needs, shelf, nine_in_ten=False), needs)
    benches, _ = _with_spans(benches, needs, checker.old, flat)
    search = lightest(checker, frames_of(benches, needs, shelf.solid), lambda looked, w: told(SPREAD, looked, w))
    if not search.ended:  # stopped
        raise KeyboardInterrupt
    return search.found


def _price_of_spread(best: Layup, average: Found | None) -> str:
    """What it costs that nine builds in ten pass, for a person."""
    share = 0.0 if average is None else best.found.areal_weight / average.areal_weight - 1
    cost = (
        "That costs no weight here."
        if share < 5e-4
        else f"That costs {share:.0%} of weight against what only the average build would carry."
    )
    return (
        "Stiffness and strength are those that nine builds in ten reach (a lean build cures thin and bends more), and "
        f"cores count with four fifths of their typical figures. {cost}"
    )


def _with_figures(benches: Sequence[Bench], needs: Needs) -> tuple[tuple[Bench, ...], list[str]]:
    """The benches with only those plies and cores of which every figure is known that the checks need.

    Raises:
        LayupError: Nothing is left to lay.
    """
    out: list[Bench] = []
    said: list[str] = []
    for bench in benches:
        said += bench.lacking
        plies = []
        for ply in bench.plies:
            lacks = lacks_of_ply(ply, needs)
            plies.append(not lacks)
            if lacks and ply.cured.unfit:
                said.append(
                    f"{ply.fabric} is unfit for strength: {ply.cured.unfit}. Test a coupon, or ask for stiffness alone"
                )
            elif lacks:
                said.append(f"{ply.fabric}: no {', no '.join(words.split(' of ')[0] for words in lacks)}")
        cores = []
        for core in bench.cores:
            lacks = lacks_of_core(core, needs)
            cores += [] if lacks else [core]
            said += [f"{core.name}: no {', no '.join(words.split(' of ')[0] for words in lacks)}"] if lacks else []
        kept = bench.only(plies, cores)
        if kept.options.inside.any() and kept.options.surface.any():
            out.append(kept)
    if not out:
        raise LayupError(
            "nothing on the shelf has every figure that the checks need. Missing: "
            + "; ".join(dict.fromkeys(said))
            + ". Add them to a table of your own, with their source, or ask for no load"
        )
    return tuple(out), list(dict.fromkeys(said))


def _with_spans(
    benches: Sequence[Bench], needs: Needs, old: OldPart | None, flat: Flat | None
) -> tuple[tuple[Bench, ...], list[str]]:
    """The benches without their cores where nothing says how far a strip spans, so that its core's shear is unknown."""
    if flat is not None or needs.span is not None or old is None or not needs.stiffness:
        return tuple(benches), []
    cores = dict.fromkeys(core.name for bench in benches for core in bench.cores)
    said = [
        f'{name}: no span, which the shear of a core in a strip hangs on: write span = "300 mm" under [needs]'
        for name in cores
    ]
    return tuple(replace(bench, cores=()) for bench in benches), said


def _unchecked(job: Job, needs: Needs, flat: Flat | None, checker: Checker, shown: Layup | None) -> tuple[str, ...]:
    """What was not checked, so that the answer is not taken for more than it is."""
    times = None if shown is None else checker.times_as_stiff(shown.found.batch)
    said = conditions.too_soft(job) if needs.loaded or needs.joined else []
    if flat is not None and flat.curved:
        text = f"The surface rises {flat.rise * 1e3:.1f} mm. "
        if times is not None:
            text += f"By finite elements of that surface it is {times:.3g} times as stiff as the old part, curved alike"
            text += ", less than asked. " if times < needs.stiffness else ". "
        if needs.loaded:
            text += (
                "What loads do is checked as if it were flat alone, for it may have local plies. "
                if needs.local
                else "What loads do is checked twice, as if it were flat and on that surface, edges free to slide; so "
                "it is for the layups listed beside the answer. "
            ) + "Core shear on the surface, and dents in it, are not checked."
        said.append(text.strip())
    if flat is None and job.surface.has_mesh and needs.tube is None:
        said.append(
            "It is too curved to be taken as a panel: strips cut both ways, and the sheet in its own plane, are "
            "compared with the old part, and nothing else is."
        )
    if needs.tube is not None:
        said.append("Of the tube its flattening as it bends, crushing where it is held, holes and joints. Not checked.")
    elif needs.section is not None:
        said.append("The other walls of the box, its corners, and its ends that must keep their shape. Not checked.")
    replaced = any(entry.form in ("sheet", "fabric") for entry in job.part.replaces)
    if replaced and not needs.in_plane:
        said.append("How stiff it is in its own plane was not asked: where it braces something, the old part did more.")
    if replaced and not needs.stiffness:
        said.append("How stiff it is in bending against the old part was not asked.")
    if needs.joined:
        said.append(
            "Joints: one row of bolts each, no bolt that bends, no adherend that splits, no heat, water or fatigue of "
            "the glue."
        )
    sharp = [r for r in (flat.shape.interiors if flat else ()) if len(sharp_corners(np.asarray(r.coords)[:-1, :2]))]
    if needs.pressed and flat is not None and sharp:
        said.append(
            f"Stress at the sharp corners of a cut-out, where it has no end: read {flat.span / ACROSS_SPAN * 1e3:.0f}"
            " mm from them. Round them off, 6 mm at least (common practice, no source). Not checked."
        )
    if shown is not None and shown.found.batch.core is not None:
        said.append("Skins where the core ends: over its ramp they bend, press on it and peel off it. Not checked.")
    if needs.edge_loaded and flat is not None and flat.shape.interiors:
        said.append("Edge loads crowd round a cut-out, two to three times as high at its rim. Not checked.")
    return tuple(said)


def _tried(frames: Sequence[Frame]) -> str:
    """How many plies the space reaches to: a heavier stack may pass where none of these does."""
    most: dict[bool, int] = {}
    for frame in frames:
        plies = frame.plies if isinstance(frame, ListedFrame) else 2 * frame.plies + (frame.middle >= 0)
        cored = frame.key.core is not None
        most[cored] = max(most.get(cored, 0), plies)
    said = [f"{most[cored]} plies {'on a core' if cored else 'without a core'}" for cored in sorted(most)]
    return "Tried: up to " + " and ".join(said) + "; most_plies under [needs] changes that."


def _with_local_plies(
    job: Job,
    checker: Checker,
    frames: Sequence[Frame],
    benches: Sequence[Bench],
    flat: Flat | None,
    best: Layup | None,
    told: Tell,
) -> tuple[Layup, list[Step], bool] | None:
    """A base with plies of its own in the zones that may have them, where that is lighter than one layup all over."""
    places = checker.needs.local
    if not places or flat is None or checker.model is None or not checker.needs.symmetric:
        return None
    shapes = [zone_shape(job, flat, place.zone) for place in places]
    areas = [job.zones[place.zone].area for place in places]
    terms = np.concatenate([bench.options.terms for bench in benches])
    told("cutting the panel into its zones", 0, 0.0)
    zoned = ZonedModel.of(checker.model, shapes, spread_layups(terms))
    whole = job.surface.whole.area
    ceiling = float("inf") if best is None else best.found.areal_weight * whole
    found = lightest_with_patches(
        checker=checker,
        zoned=zoned,
        frames=frames,
        places=places,
        areas=areas,
        whole=whole,
        ceiling=ceiling,
        tick=lambda looked, w: told("trying local plies", looked, w),
    )
    if found is None:
        return None
    label = "the lightest, with local plies"
    pairs = [(place.zone, patch) for place, patch in zip(places, found.patches, strict=True)]
    layup = layup_of(job, checker, found.found, label, pairs, found.sag)
    bench = found.found.batch.bench
    steps = []
    for zone, patch, mass, times, passed, governs, reserve in found.steps:
        names = " / ".join(f"{bench.plies[k].fabric} at {bench.plies[k].angle:g}°" for k in patch) or "nothing"
        steps.append(Step(f"on {zone}: {names}", mass, times, passed, governs, reserve))
    return layup, steps, found.proven


def _panel_of(job: Job, needs: Needs) -> tuple[Flat | None, list[str]]:
    notes: list[str] = []
    try:
        flat = None if needs.tube else panel_shape(job)
    except SurfaceError:  # of one shape, what has as much A and D as the old part is as stiff
        if needs.loaded or needs.frequency is not None or not (needs.stiffness and needs.in_plane):
            raise
        return None, notes
    if flat is None:
        if (needs.loaded and needs.tube is None) or needs.frequency is not None:
            raise LayupError(
                "the surface is only an area, so loads and frequency can't be checked on it. Give its outline, two "
                'sides or a mesh: rectangle = ["1 m", "600 mm"]'
            )
        what = "It is a tube" if needs.tube else "Only the area is known"
        notes.append(f"{what}: stiffness is compared on strips cut both ways, not on the panel.")
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
            loads.append(
                PanelLoad(
                    f"hand load on {place.zone}", force=place.hand_load, at=(middle.x, middle.y), size=place.hand_patch
                )
            )
    return loads


def _model(flat: Flat | None, needs: Needs, loads: Sequence[PanelLoad], benches: Sequence[Bench]) -> PanelModel | None:
    if flat is None:
        return None
    patches = [min(load.size) / 2.5 for load in loads if load.force]
    supports = needs.supports if isinstance(needs.supports, str) else dict(needs.supports)
    held: Mapping[str, str] | str = supports  # type: ignore[assignment]  # words of a Literal are words
    finest = min(patches, default=None)
    terms = np.concatenate([bench.options.terms for bench in benches])
    pushed = dict.fromkeys(case.pressed for case in buckling_cases(needs, flat.sides[::-1]))
    stout = build_panel(flat.shape, held, needs.held_at, finest=finest)
    far = spread_layups(terms, 10)
    samples = [*far]
    for ratio in _shear_ratios(benches):
        samples += [np.append(d, ratio * (d[0] + d[2]) / 2) for d in far[:5]]
    return PanelModel.draw(stout, loads, samples, list(pushed))


def _shear_ratios(benches: Sequence[Bench]) -> list[float]:
    """Shear stiffness over mean D of the softest and the stiffest sandwich of one to six plies a side. [1/m^2]"""
    found = []
    for bench in benches:
        stretch = bench.options.thickness * (bench.options.terms[:, 0] + bench.options.terms[:, 2]) / 2
        for core in bench.cores:
            shear = core_shear_modulus(core)
            found += [2 * shear / (core.thickness * stretch * plies) for plies in (1, 6)] if shear else []
    flat = np.concatenate(found) if found else np.empty(0)
    return [float(flat.min()), float(flat.max())] if len(flat) else []


def _mixes(benches: Sequence[Bench], count: int = 2000) -> Floats:
    """D of many mixes of the plies at hand, those of few kinds among them, (n, 6)."""
    terms = np.concatenate([bench.options.terms for bench in benches])
    shares = np.random.default_rng(5).dirichlet(np.full(len(terms), 0.3), count)
    return np.concatenate([terms, shares @ terms]) * 1e-9


PER_COOLING = 10.0
"""Cooling for which warp is said: from where the resin set, which no table gives. [K]"""


def _warp_words(batch: Batch, flat: Flat | None) -> str:
    """How far a stack that is not symmetric bows as it cools from its cure."""
    said = "The stack is not symmetric: it bows and twists as it cools after the cure"
    found = warp_of(batch)
    if found is None or flat is None:
        lacks = "its size" if flat is None else "how its fibres or resin expand"
        return f"{said}; how far is not known, for want of {lacks}."
    across, along = (abs(float(bow(k, side))) for k, side in zip(found[:2], flat.sides, strict=True))
    twist = abs(float(found[2])) * flat.sides[0] * flat.sides[1] / 4
    bows = f"{PER_COOLING * max(across, along) * 1e3:.1f} mm over a side"
    return (
        f"{said}: by {bows} and {PER_COOLING * twist * 1e3:.1f} mm at a corner for every {PER_COOLING:g} °C (18 °F) "
        "between where its resin set and the room, laid free on a table (laminate theory, small bends; expansion from "
        "the tables)."
    )


def _cautions(job: Job, needs: Needs, flat: Flat | None, old: OldPart | None, shown: Layup | None) -> tuple[str, ...]:
    said: list[str] = []
    if needs.loaded or needs.joined:
        said += CAUTIONS
        if needs.load_factor is None:
            said.append(
                f"No load_factor is stated, so strength and buckling are checked at {USUAL_LOAD_FACTOR:g} times the "
                "loads, as CS-22, CS-VLA and 14 CFR 23 ask of aircraft (from memory). State yours under [needs]."
            )
    if flat is not None and shown is not None:
        result = shown.found.assessment
        sag = [v for k, v in zip(result.kinds, result.values[0], strict=True) if k.name.startswith(SAGS)]
        if sag and max(sag) > 0.5 * shown.thickness:
            ends = "on its own surface" if flat.curved else "large deflection"
            said.append(
                f"It gives {max(sag) / shown.thickness:.1f} times its thickness by the straight-line answer, which "
                f"holds to half of it. The rows that end in {ends} say what it does past that, its edges free to "
                "slide. It pulls them inwards, which nothing here asks of their fasteners."
            )
    if shown is not None and shown.local:
        said.append(
            "Local plies are not counted in frequency and buckling, nor on the skins and the core of a sandwich."
        )
    core = shown.found.batch.core if shown is not None else None
    if core is not None:
        said.append(
            "At its edges and before a joint the core ends in a ramp, at least "
            f"{RAMP * core.thickness * 1e3:.3g} mm long, {RAMP:g} times its height (common practice, no source)."
        )
    kept = {place.zone for place in needs.local}
    if any((p.zone is not None or p.area is not None) and p.zone not in kept for p in job.part.plies()):
        said.append("Plies laid in zones stay as they are: they are weighed, but do not count as stiffness.")
    if shown is not None:
        said += against_the_trade(shown.found.batch.bench, shown.found.stack)
    if shown is not None and shown.found.stack != shown.found.stack[::-1]:
        said.append(_warp_words(shown.found.batch, flat))
    said.append("An estimate: the lightest of what was modelled, not of what can be built. Try a piece first.")
    return tuple(said)
