"""The front of weight against cost against stiffness: the lightest under each restriction, and the stiffer ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from layup.choosing.checks import Checker
from layup.choosing.layups import Layup, Tell, layup_of
from layup.choosing.seek import Search, Tick, frames_of
from layup.choosing.shelf import Bench
from layup.laminate.panel_model import Limit
from layup.laminate.search import Frame
from layup.partfile.job import Job
from layup.partfile.needs import Needs

Seek = Callable[[Checker, Sequence[Frame], Tick, Sequence[Limit]], Search]
"""Finds the lightest of some frames; told limits that are known already."""
STIFFER = (1.5, 2.0, 3.0)
"""How many times stiffer than asked the front looks."""


def others(
    job: Job,
    checker: Checker,
    frames: Sequence[Frame],
    benches: Sequence[Bench],
    best: Layup,
    search: Search,
    told: Tell,
    seek: Seek,
) -> list[Layup]:
    """The lightest under one restriction each, as `seek` finds it; and the lightest that are so many times stiffer."""
    found: list[Layup] = []
    seen = {(best.process, best.found.stack, _core_key(best))}

    def look(label: str, chosen: Sequence[Frame], own: Checker, known: Sequence[Limit] = ()) -> None:
        if not chosen:
            return
        result = seek(own, chosen, lambda looked, w: told(label, looked, w), known)
        if not result.ended:  # stopped: a guess is no lightest
            raise KeyboardInterrupt
        if result.found is not None:
            layup = layup_of(job, own, result.found, label)
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
            chosen = [
                f for f in frames if f.key.core is not None and (f.key.core.name, f.key.core.thickness) == (name, thick)
            ]
            look(f"{name} {thick * 1e3:g} mm", chosen, checker, limits)
        for fabric in dict.fromkeys(p.fabric for b in benches for k, p in enumerate(b.plies) if b.options.inside[k]):
            narrowed = [b for b in (_only(b, fabric) for b in benches) if b is not None]
            if len({p.fabric for b in benches for p in b.plies}) > 1 and narrowed:
                solid = any(f.key.core is None for f in frames)
                look(f"{fabric} alone", frames_of(narrowed, checker.needs, solid), checker, limits)
        for times in STIFFER:
            look(f"{times:g} x the stiffness asked", frames, replace(checker, needs=_stiffer(checker.needs, times)))
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
    """The same needs with stiffness in bending and deflections so many times as hard to meet."""
    change: dict[str, float] = {"stiffness": needs.stiffness * times, "in_plane_stiffness": needs.in_plane}
    for key in ("deflection", "hand_deflection"):
        value = getattr(needs, key)
        if value is not None:
            change[key] = value / times
    if needs.frequency is not None:
        change["frequency"] = needs.frequency * times**0.5
    return needs.model_copy(update=change)


def front(layups: Sequence[Layup], by_panel: bool) -> tuple[Layup, ...]:
    """Those that no other beats in weight, cost and stiffness together, lightest first.

    Cost counts only where every layup has a full price in one currency; else weight and stiffness alone decide.

    Args:
        layups: All that pass.
        by_panel: Whether their stiffness is a deflection (less is stiffer).
    """
    prices = [y.cost.single for y in layups]
    priced = all(p is not None for p in prices) and len({p[1] for p in prices if p is not None}) == 1

    def figures(y: Layup) -> tuple[float, float, float]:
        single = y.cost.single
        cost = single[0] if priced and single is not None else 0.0
        return y.mass.mean, cost, y.stiffness if by_panel else 1 / y.stiffness

    def beats(x: Layup, y: Layup) -> bool:
        pairs = list(zip(figures(x), figures(y), strict=True))
        return all(a <= b * (1 + 1e-9) for a, b in pairs) and any(a < b * (1 - 1e-9) for a, b in pairs)

    kept = [one for one in layups if not any(beats(other, one) for other in layups)]
    return tuple(sorted(kept, key=lambda y: y.mass.mean))
