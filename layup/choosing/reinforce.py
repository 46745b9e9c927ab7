"""Local plies: the lightest base stack with the patches its zones need, searched together.

- What may lie on a zone?                       `patches_of`
- The lightest base with its patches?           `lightest_with_patches`

Exact over what it lists: base stacks in rising weight (those whose strips are stiff enough, a limit no patch can
change), and for each every set of patches, lightest first, as long as both weigh less than the best so far. Patches lie
on the bag side; a patched zone bends about its own neutral plane. Deflection and the first ply are checked with the
zones' own stiffness; a sandwich's core and skins are checked as if unpatched.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import Assessment, Batch, core_shear_stiffness
from layup.choosing.checks import Checker
from layup.choosing.rules import rule_limits
from layup.choosing.seek import Found, Tick, batch_of
from layup.choosing.shelf import Bench
from layup.choosing.strength_checks import ply_reserve
from layup.errors import LayupError
from layup.laminate.panel_model import in_plane_stiffness, limit_in_plane, limit_of_strip, strip_stiffness
from layup.laminate.panel_zones import ZonedModel, with_patch
from layup.laminate.search import Frame, Queue
from layup.partfile.needs import LocalNeeds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Patch = tuple[int, ...]
"""Option numbers of a patch, from the base outwards; empty for none."""

MOST_SETS = 4000
MOST_TRIED = 3_000_000


@dataclass(frozen=True)
class Reinforced:
    """A base stack with its patches.

    Attributes:
        found: The base; its assessment is of the whole panel, patches counted.
        patches: One a zone, in the order of `[[needs.local]]`.
        mass: Of the plies, core and films of base and patches. [kg]
        sag: Mean deflection under an even kilopascal. [m]
        steps: The neighbours: zone and patch, mass more or less [kg], times as stiff, whether it passes, and by what.
        tried: Bases times sets of patches that were compared with the limits.
        proven: Whether the search ran to its end.
    """

    found: Found
    patches: tuple[Patch, ...]
    mass: float
    sag: float
    steps: tuple[tuple[str, Patch, float, float, bool, str, float], ...]
    tried: int
    proven: bool


def patches_of(bench: Bench, place: LocalNeeds) -> list[Patch]:
    """Every patch a zone may get, none at all first.

    Args:
        bench: The process.
        place: The zone's needs: plies, fabrics, angles.

    Returns:
        Patches as option numbers.
    """
    allowed = [
        k
        for k, ply in enumerate(bench.plies)
        if ((not place.fabrics and bench.options.inside[k]) or ply.fabric in place.fabrics)
        and (place.angles is None or ply.angle in place.angles)
    ]
    out: list[Patch] = [()]
    for count in range(1, place.most_plies + 1):
        out += list(itertools.product(allowed, repeat=count))
    return out


def lightest_with_patches(
    checker: Checker,
    zoned: ZonedModel,
    frames: Sequence[Frame],
    places: Sequence[LocalNeeds],
    areas: Sequence[float],
    whole: float,
    ceiling: float,
    tick: Tick,
) -> Reinforced | None:
    """The lightest base with patches below a mass.

    Args:
        checker: The checks.
        zoned: The panel with its zones.
        frames: The space of bases.
        places: What each zone may get.
        areas: Of each zone. [m^2]
        whole: Area of the surface. [m^2]
        ceiling: Mass that must be beaten; infinite if nothing passes without patches. [kg]
        tick: Told how the search goes on.

    Returns:
        The best; None where nothing lighter than the ceiling passes.

    Raises:
        LayupError: There are too many patches to try.
    """
    queue = Queue(frames)
    for one in rule_limits(checker.needs):
        queue.limit(*one)
    if checker.old is not None and checker.needs.stiffness:
        wanted = checker.needs.stiffness * strip_stiffness(checker.old.terms[None])[0]
        for axis in (0, 1):
            queue.limit(*limit_of_strip(axis, float(wanted[axis])))
    if checker.old is not None and checker.needs.in_plane:
        due = checker.needs.in_plane * in_plane_stiffness(checker.old.membrane[None])[0]
        for axis in (0, 1, 2):
            queue.limit(*limit_in_plane(axis, float(due[axis])))
    sets: dict[tuple[int, int], list[tuple[float, tuple[Patch, ...]]]] = {}
    best: Reinforced | None = None
    tried = 0
    proven = True
    limits: list[tuple[Floats, float]] = []
    try:
        while True:
            weight = queue.next_weight()
            tick(tried, weight)
            if not np.isfinite(weight) or weight * whole >= ceiling:
                break
            for batch in _by_last_ply(batch_of(frame, pairs) for frame, pairs in queue.collect(weight)):
                key = (id(batch.bench), int(batch.stack[0, -1]))
                if key not in sets:
                    sets[key] = _sets(batch.bench, places, areas, key[1])
                for mass, chosen in sets[key]:
                    if weight * whole + mass >= ceiling - 1e-9:
                        break
                    tried += len(batch.stack)
                    tick(tried, weight)
                    hit = _try(checker, zoned, batch, chosen, limits)
                    if hit is not None:
                        checked, zoned, ok = _confirm(checker, zoned, hit, chosen)
                        if ok:
                            ceiling = weight * whole + mass
                            best = Reinforced(
                                found=checked,
                                patches=chosen,
                                mass=ceiling,
                                sag=_sag(zoned, checked, chosen),
                                steps=(),
                                tried=tried,
                                proven=True,
                            )
                            break
                if tried > MOST_TRIED:
                    proven = False
                    raise KeyboardInterrupt
            queue.pass_over(weight)
    except KeyboardInterrupt:
        proven = False
    if best is None:
        return None
    return replace(best, tried=tried, proven=proven, steps=_neighbours(checker, zoned, best, places, areas))


def _by_last_ply(batches: Iterable[Batch]) -> Iterator[Batch]:
    """The stacks that end in one ply on the bag side together: a patch takes the place of its film."""
    for batch in batches:
        for last in np.unique(batch.stack[:, -1]) if len(batch.stack) else ():
            yield batch.take(np.flatnonzero(batch.stack[:, -1] == last))


def patch_weight(bench: Bench, patch: Patch, under: int) -> float:
    """What a patch adds to a base that ends in `under`, films counted: for its last ply carries that film. [kg/m^2]"""
    if not patch:
        return 0.0
    own = bench.options
    film = 0.0 if own.film is None else float(own.film[patch[-1]] - own.film[under])
    return float(own.weight[list(patch)].sum()) + film


def _sag(zoned: ZonedModel, found: Found, chosen: tuple[Patch, ...]) -> float:
    amounts = zoned.respond(_with_core(found.batch, _stiffness(found.batch, chosen)))
    area = float(zoned.model.panel.shape.area) * zoned.model.loads[0].pressure
    return float(zoned.model.own_work(amounts)[0, 0]) / area


def _neighbours(
    checker: Checker, zoned: ZonedModel, best: Reinforced, places: Sequence[LocalNeeds], areas: Sequence[float]
) -> tuple[tuple[str, Patch, float, float, bool, str, float], ...]:
    """One local ply less or more in each zone."""
    out = []
    bench, under = best.found.batch.bench, best.found.stack[-1]
    for number, (place, area) in enumerate(zip(places, areas, strict=True)):
        own = best.patches[number]
        others = [own[:-1]] if own else []
        others += [p for p in patches_of(bench, place) if len(p) == len(own) + 1 and p[: len(own)] == own]
        for patch in others:
            chosen = (*best.patches[:number], patch, *best.patches[number + 1 :])
            result, _ = _assess(checker, zoned, best.found.batch, _stiffness(best.found.batch, chosen), chosen)
            at = int(np.argmin(result.reserves[0]))
            mass = area * (patch_weight(bench, patch, under) - patch_weight(bench, own, under))
            out.append((place.zone, patch, mass, best.sag / _sag(zoned, best.found, chosen), bool(result.passed[0]),
                        result.kinds[at].name, float(result.reserves[0][at])))  # fmt: skip
    return tuple(out)


def _sets(
    bench: Bench, places: Sequence[LocalNeeds], areas: Sequence[float], under: int
) -> list[tuple[float, tuple[Patch, ...]]]:
    """Sets of patches on a base that ends in the ply `under`, with their mass, lightest first."""
    choices = [patches_of(bench, place) for place in places]
    count = int(np.prod([float(len(c)) for c in choices]))
    if count > MOST_SETS:
        raise LayupError(
            f"{count:,} sets of local plies are too many to try. Under [[needs.local]] allow fewer fabrics, angles or "
            "plies, or give symmetric zones one name"
        )
    listed = []
    for chosen in itertools.product(*choices):
        mass = sum(area * patch_weight(bench, p, under) for p, area in zip(chosen, areas, strict=True))
        listed.append((float(mass), chosen))
    return sorted(listed, key=lambda row: row[0])


def _stiffness(batch: Batch, chosen: tuple[Patch, ...]) -> Floats:
    """D of base and zones, (n, zones + 1, 6)."""
    options = batch.bench.options
    terms = np.concatenate([options.terms, np.zeros((1, 6))])[batch.stack]
    membrane = np.einsum("nkj,nk->nj", terms, batch.thicknesses)
    half = batch.thickness / 2
    out = [batch.d]
    for patch in chosen:
        rows = list(patch)
        out.append(
            with_patch(membrane, batch.d, half, options.terms[rows], options.thickness[rows]) if rows else batch.d
        )
    return np.stack(out, axis=1)


def _with_core(batch: Batch, d: Floats) -> Floats:
    """The same with the shear stiffness of the core, which a patch does not change, (n, zones + 1, 7)."""
    shear = core_shear_stiffness(batch)
    if shear is None:
        return d
    return np.concatenate([d, np.broadcast_to(shear[:, None, None], (*d.shape[:2], 1))], axis=2)


def _try(
    checker: Checker,
    zoned: ZonedModel,
    batch: Batch,
    chosen: tuple[Patch, ...],
    limits: list[tuple[Floats, float]],
) -> Found | None:
    """The best base of a batch that passes with these patches, or None; a limit is added where all fail."""
    d = _stiffness(batch, chosen)
    left = np.arange(len(d))
    for g, r in limits:
        left = left[np.einsum("nzk,zk->n", d[left], g) >= r * (1 - 1e-9)]
    while len(left):
        now, left = left[:128], left[128:]
        part = batch.take(now)
        result, amounts = _assess(checker, zoned, part, d[now], chosen)
        order = int(np.argmax(result.least))
        if result.passed.any():
            row = np.array([order])
            return Found(part.take(row), _row(result, order))
        if len(limits) < 40:
            new = [one for one in _limits(checker, zoned, amounts[order]) if np.sum(one[0] * d[now[order]]) < one[1]]
            limits += new
            for g, r in new:
                left = left[np.einsum("nzk,zk->n", d[left], g) >= r * (1 - 1e-9)]
    return None


def _row(result: Assessment, at: int) -> Assessment:
    row = np.array([at])
    return replace(result, values=result.values[row], limits=result.limits[row], reserves=result.reserves[row])


def _limits(checker: Checker, zoned: ZonedModel, amounts: Floats) -> list[tuple[Floats, float]]:
    out = []
    model, needs = zoned.model, checker.needs
    if checker.old is not None and needs.stiffness:
        out.append(zoned.limit_of_work(amounts[:, 0], 0, checker.old_work / needs.stiffness))
    for case, load in enumerate(model.loads[1:], 1):
        if load.pressure and needs.deflection is not None:
            out.append(
                zoned.limit_of_work(amounts[:, case], case, needs.deflection * load.pressure * model.panel.shape.area)
            )
        most = checker.hand_limit(load.name)
        if load.force and most is not None:
            out.append(zoned.limit_of_work(amounts[:, case], case, most * load.force))
    return out


def _assess(
    checker: Checker, zoned: ZonedModel, batch: Batch, d: Floats, chosen: tuple[Patch, ...]
) -> tuple[Assessment, Floats]:
    """All checks with the zones' own stiffness; strength only of those stiff enough."""
    amounts = zoned.respond(_with_core(batch, d))
    local = replace(checker, model=zoned.model, worst=())
    table = local.start(batch)
    local.panel_checks(batch, amounts, table.add)
    alive = np.flatnonzero(table.assessment().passed)
    if not checker.needs.loaded or not len(alive):
        return table.assessment(), amounts
    some, base = batch.take(alive), np.flatnonzero(zoned.corner == 0)
    for case in range(1, len(zoned.model.loads)):
        own = amounts[alive, :, case]
        for kind, value, limit in local.strength_of_load(some, case, own, base):
            reserve = value
            for number, patch in enumerate(chosen, 1) if kind.name.startswith("first ply") else ():
                here = np.flatnonzero(zoned.corner == number)
                bent = checker.factor * np.einsum("pib,nb->npi", zoned.model.bend[here], own)
                if len(here):
                    patched = ply_reserve(_patched(some, patch), bent, checker.needs.criterion)
                    reserve = np.minimum(reserve, patched)
            table.add_some(kind, alive, reserve, limit)
    return table.assessment(), amounts


def _patched(batch: Batch, patch: Patch) -> Batch:
    """The stacks with the patch on top."""
    if not patch:
        return batch
    more = np.tile(np.array(patch, dtype=batch.stack.dtype), (len(batch.stack), 1))
    return replace(batch, stack=np.concatenate([batch.stack, more], axis=1))


def _confirm(
    checker: Checker, zoned: ZonedModel, found: Found, chosen: tuple[Patch, ...]
) -> tuple[Found, ZonedModel, bool]:
    """The stack on the full panel, whose shapes join the small model."""
    d = _stiffness(found.batch, chosen)
    grown = zoned.with_layup(_with_core(found.batch, d)[0])
    result, _ = _assess(checker, grown, found.batch, d, chosen)
    return Found(found.batch, result), grown, bool(result.passed[0])
