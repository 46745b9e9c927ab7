"""Strength of plies, skins and core on a bent panel: what each stack bears, corner by corner of the mesh.

- The first ply to go?                                      `ply_reserve`
- Which checks does a stack face under one load?            `checks_of_load`; edge loads alone: `checks_of_edges`
- Which corners bend most, and are looked at first?         `corners_that_bend_most`

The criterion goes by its name, and is the user's. Every figure is an estimate for sizing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Batch, CheckKind, core_shear_modulus, core_shear_strength
from layup.choosing.shelf import CoreChoice, PlyChoice
from layup.laminate import sandwich
from layup.laminate.panel import PanelLoad, matrix_of
from layup.laminate.stiffness import reduced_stiffness
from layup.laminate.strength import reserve_factor

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_HOFF = "Hoff & Mautner, J. Aeronaut. Sci. 12 (1945) 285 (from memory)"
_HDBK = "MIL-HDBK-23A, 1968 (from memory)"
_WRINKLING_HONEYCOMB = "at most 0.33 Ef (Ec tf/(Ef tc))^(1/2) and 0.5 (Ef Ec Gc)^(1/3), Gc across the ribbon"
_ALLEN = "Allen, Analysis and Design of Structural Sandwich Panels, 1969 (from memory)"


def corners_that_bend_most(bend: Floats, amounts: Floats, most: int = 16) -> tuple[Ints, ...]:
    """Corners with the largest curvature under each load, over some layups.

    Args:
        bend: Curvature of the shapes, (corners, 3, b). [1/m]
        amounts: Of the shapes, (n, b, cases). [-]
        most: Corners a load. [-]
    Returns:
        Corner numbers, one array a load. [-]
    """
    out = []
    for case in range(amounts.shape[2]):
        size = np.abs(np.einsum("pib,nb->npi", bend, amounts[:, :, case]))
        size = size / size.max(axis=(1, 2), keepdims=True)
        worth = size.max(axis=(0, 2))
        out.append(np.argsort(-worth, kind="stable")[:most])
    return tuple(out)


@dataclass(frozen=True)
class EdgeStrains:
    """What the edge loads do to each stack, case by case; the first case is none at all.

    Attributes:
        strain: Of the middle of the stack, x, y, xy, on the loads times the load factor, (n, cases, 3). [-]
        swell: By how much a push makes a bent panel bend more, (n, cases). [-]
        names: Of the cases, for a person.
    """

    strain: Floats
    swell: Floats
    names: tuple[str, ...]

    @classmethod
    def none(cls, count: int) -> EdgeStrains:
        """No edge loads."""
        return cls(np.zeros((count, 1, 3)), np.ones((count, 1)), ("",))

    def take(self, which: Ints) -> EdgeStrains:
        """Those of some of the stacks."""
        return EdgeStrains(self.strain[which], self.swell[which], self.names)


def checks_of_load(
    batch: Batch,
    load: PanelLoad,
    amounts: Floats,
    bend: Floats,
    first: Ints,
    shear_force: Floats,
    factor: float,
    criterion: str,
    edges: EdgeStrains,
) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
    """The strength checks of stacks under one load across the panel, alone and with every case of the edge loads.

    Args:
        batch: The stacks; every figure they need is known. [-]
        load: Its name and patch. [N, m]
        amounts: Of the shapes, (n, b). [-]
        bend: Curvature of the shapes at the corners, (corners, 3, b). [1/m]
        first: Corners looked at first; a stack that fails there is not looked at elsewhere. [-]
        shear_force: Greatest, per width, under the load, (n,). [N/m]
        factor: The load factor. [-]
        criterion: One of `layup.laminate.strength.CRITERIA`. [-]
        edges: What the edge loads do. [-]
    Returns:
        Kind, value and limit of each check.
    """
    n = len(batch.stack)

    def bent(corners: Floats, some: Ints) -> Floats:
        return np.asarray(factor * np.einsum("pib,nb->npi", corners, amounts[some]))

    reserve = ply_reserve(batch, bent(bend[first], np.arange(n)), criterion, edges)
    sound = np.flatnonzero(reserve >= 1)
    for start in range(0, len(sound), 32):
        some = sound[start : start + 32]
        reserve[some] = np.minimum(
            reserve[some], ply_reserve(batch.take(some), bent(bend, some), criterion, edges.take(some))
        )
    more = " with the edge loads" if len(edges.names) > 1 else ""
    yield _first_ply(f"{load.name}{more}", criterion), reserve, 1.0
    if batch.core is None:
        return
    yield from _skins(batch, f"{load.name}{more}", edges, lambda some: bent(bend, some))
    core = batch.core.properties
    faces = _Faces.of(batch)
    weak = core_shear_strength(batch.core)
    kind = CheckKind(
        name=f"core shear, {load.name}{more}",
        formula="V/d; a honeycomb across its ribbon, at half",
        source=_ALLEN,
        unit="Pa",
        limit=weak,
        at_least=False,
        strength=True,
    )
    yield kind, factor * shear_force * edges.swell.max(axis=1) / faces.distance, weak
    pressed = np.zeros(n)
    for start in range(0, n, 64):
        some = np.arange(start, min(start + 64, n))
        own = bent(bend, some) * edges.swell[some].max(axis=1)[:, None, None]
        work = np.einsum("npi,nij,npj->np", own, matrix_of(batch.d[some]), own).max(axis=1)
        pressed[some] = work / faces.distance[some]  # M^2/(D d), the worst of all directions
    pressed += factor * (load.pressure + (load.force / (load.size[0] * load.size[1]) if load.force else 0.0))
    crush = core.crushing_strength or 0.0
    kind = CheckKind(
        name=f"core crushing, {load.name}{more}",
        formula="load over its area, and M^2/(D d) of the bent skins",
        source="force over area; a curved skin's equilibrium",
        unit="Pa",
        limit=crush,
        at_least=False,
        strength=True,
    )
    yield kind, pressed, crush


def checks_of_edges(
    batch: Batch, criterion: str, edges: EdgeStrains
) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
    """The strength checks of stacks under the edge loads alone, the worst of their cases."""
    flat = np.zeros((len(batch.stack), 1, 3))
    yield _first_ply("edge loads", criterion), ply_reserve(batch, flat, criterion, edges), 1.0
    if batch.core is not None:
        yield from _skins(batch, "edge loads", edges, lambda some: flat[some])


def checks_of_strains(
    batch: Batch, name: str, strain: Floats, curvature: Floats, criterion: str
) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
    """First ply, wrinkling and dimpling of one stack, the worst of many places.

    Args:
        batch: One stack.
        name: Of the load, for a person.
        strain: Of the middle at each place, x, y, xy, (p, 3). [-]
        curvature: There, (p, 3). [1/m]
        criterion: One of `layup.laminate.strength.CRITERIA`. [-]
    Returns:
        Kind, value and limit of each check.
    """
    every = batch.take(np.zeros(len(strain), dtype=np.int64))
    edges = EdgeStrains(strain[:, None], np.ones((len(strain), 1)), (name,))
    least = ply_reserve(every, curvature[:, None], criterion, edges)
    yield _first_ply(name, criterion), least.min(keepdims=True), 1.0
    if batch.core is not None:
        for kind, stress, due in _skins(every, name, edges, lambda some: curvature[some, None]):
            at = int(np.argmax(stress / due))
            yield kind, stress[at : at + 1], np.broadcast_to(due, len(stress))[at : at + 1]


def _first_ply(name: str, criterion: str) -> CheckKind:
    return CheckKind(
        name=f"first ply, {name}",
        formula=f"{criterion}, on the load times the load factor",
        source=f"{criterion}: see docs/formulas-mechanics.md",
        unit="-",
        limit=1.0,
        at_least=True,
        strength=True,
    )


def _skins(
    batch: Batch, name: str, edges: EdgeStrains, bent: Callable[[Ints], Floats]
) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
    """Wrinkling into the core and dimpling into its cells, of both skins, whichever way the panel bends."""
    n, faces = len(batch.stack), _Faces.of(batch)
    assert batch.core is not None
    core = batch.core.properties
    rows = [
        (
            f"skin wrinkling, {name}",
            _WRINKLING_HONEYCOMB if core.honeycomb else "at most 0.5 (Ef Ec Gc)^(1/3)",
            f"{_HOFF}; {_HDBK}" if core.honeycomb else _HOFF,
            faces.wrinkling(batch.core),
        )
    ]
    if core.honeycomb:
        rows.append(
            (
                f"skin dimpling in the cells, {name}",
                "stress at most 2 Ef (tf/s)^2",
                _HDBK,
                faces.dimpling(core.cell_size or 1.0),
            )
        )
    for title, formula, source, limits in rows:
        stress, due = np.zeros(n), np.ones(n)
        for start in range(0, n, 64):
            some = np.arange(start, min(start + 64, n))
            stress[some], due[some] = faces.worst(bent(some), edges, some, limits)
        yield (
            CheckKind(name=title, formula=formula, source=source, unit="Pa", limit=None, at_least=False, strength=True),
            stress,
            due,
        )


def ply_reserve(batch: Batch, curvature: Floats, criterion: str, edges: EdgeStrains | None = None) -> Floats:
    """Least reserve of any ply at any place, under any case of the edge loads.

    Args:
        batch: The stacks. [-]
        curvature: x, y, xy at each place, (n, places, 3). [1/m]
        criterion: One of `layup.laminate.strength.CRITERIA`. [-]
        edges: What the edge loads add; nothing if None. [-]
    Returns:
        Reserve factor, (n,). [-]
    Raises:
        RangeError: a strength is missing.
    """
    n, k = batch.stack.shape
    edges = edges or EdgeStrains.none(n)
    z = batch.heights
    stretch = _stretch(batch)
    least = np.full(n, np.inf)
    signs = (1.0,) if stretch is None else (1.0, -1.0)  # which side is pressed matters only where the sides differ
    for case in range(len(edges.names)):
        for sign in signs:
            bent = sign * curvature * edges.swell[:, case, None, None]
            middle = edges.strain[:, None, case, :]
            if stretch is not None:
                middle = middle + np.einsum("nij,npj->npi", stretch, bent)
            for position in range(k):
                for choice in np.unique(batch.stack[:, position]):
                    if choice == CORE:
                        continue
                    mask = np.flatnonzero(batch.stack[:, position] == choice)
                    ply = batch.bench.plies[int(choice)]
                    carry = reduced_stiffness(*ply.cured.moduli) @ _to_ply_axes(ply.direction)
                    for height in (z[mask, position], z[mask, position + 1]):
                        strain = bent[mask] * height[:, None, None] + middle[mask]
                        own = reserve_factor(criterion, strain @ carry.T, ply.cured.allowables, ply.cured.moduli)
                        least[mask] = np.minimum(least[mask], own.min(axis=1))
    return least


CONVEX = ("max stress", "max strain", "Tsai-Wu")
"""Criteria whose effort, one over the reserve, is convex: that of a sum is at most the sum of the efforts."""


def effort_at_least(batch: Batch, curvature: Floats, off: Floats, criterion: str) -> Floats:
    """Effort of the worst ply, one over its reserve, that a bend known within bounds brings at least.

    Args:
        batch: Symmetric stacks. [-]
        curvature: x, y, xy at each place, (n, places, 3). [1/m]
        off: What each number of it is off by at most, (n, places, 3). [1/m]
        criterion: One of `CONVEX`. [-]
    Returns:
        (n,). [-]
    """
    z = np.abs(batch.heights)
    outer = np.maximum(z[:, :-1], z[:, 1:])
    least = np.zeros(len(batch.stack))
    for choice in np.unique(batch.stack[batch.stack != CORE]):
        ply = batch.bench.plies[int(choice)]
        carry = reduced_stiffness(*ply.cured.moduli) @ _to_ply_axes(ply.direction)
        height = np.where(batch.stack == choice, outer, 0.0).max(axis=1)
        mask = np.flatnonzero(height)

        def effort(bent: Floats, ply: PlyChoice = ply, carry: Floats = carry) -> Floats:
            both = [
                reserve_factor(criterion, sign * bent @ carry.T, ply.cured.allowables, ply.cured.moduli)
                for sign in (1, -1)
            ]
            return np.asarray(1 / np.minimum(*both))

        own = (effort(curvature[mask]) - off[mask] @ effort(np.eye(3))).max(axis=1)
        least[mask] = np.maximum(least[mask], height[mask] * own)
    return least


def _to_ply_axes(angle: float) -> Floats:
    """Turns strains x, y, xy into the axes of the ply."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])


def _stretch(batch: Batch) -> Floats | None:
    """Mid-plane strain for each curvature of an unsymmetric stack whose edges may slide: -A^-1 B; None if symmetric."""
    if batch.symmetric:
        return None
    a, b, _ = batch.coupled
    return np.asarray(-np.linalg.solve(a, b))


_TURNS = np.radians(np.arange(0, 180, 15))
_ALONG = np.stack([np.cos(_TURNS) ** 2, np.sin(_TURNS) ** 2, np.cos(_TURNS) * np.sin(_TURNS)], axis=1)
"""Directions in which a skin's compression is looked at: c^2, s^2, c s, (turns, 3)."""


@dataclass(frozen=True)
class _Faces:
    """Both skins of each sandwich, the lower first.

    Attributes:
        q: Mean stiffness of a skin, (n, 2, 3, 3). [Pa]
        middle: Height of its middle over the middle of the stack, (n, 2). [m]
        thickness: (n, 2). [m]
        modulus: Along each direction, the lesser of stretched and bent, (n, 2, turns). [Pa]
        distance: Between the middles of the skins, (n,). [m]
        stretch: Strain of the middle of the stack for each curvature, (n, 3, 3). [m]
    """

    q: Floats
    middle: Floats
    thickness: Floats
    modulus: Floats
    distance: Floats
    stretch: Floats

    @classmethod
    def of(cls, batch: Batch) -> _Faces:
        at = int(np.flatnonzero(batch.stack[0] == CORE)[0])
        z, qbars = batch.heights, batch.qbars
        q, middle, thickness, modulus = [], [], [], []
        for low, high in ((0, at), (at + 1, batch.stack.shape[1])):
            centre = (z[:, low] + z[:, high]) / 2
            own = z[:, low : high + 1] - centre[:, None]
            t = own[:, -1] - own[:, 0]
            flat, bent = (np.einsum("nkij,nk->nij", qbars[:, low:high], np.diff(own**p, axis=1) / p) for p in (1, 3))
            soft = [
                1 / np.einsum("ti,nij,tj->nt", _ALONG, np.linalg.inv(m), _ALONG)
                for m in (flat / t[:, None, None], 12 * bent / t[:, None, None] ** 3)
            ]
            q.append(flat / t[:, None, None])
            middle.append(centre)
            thickness.append(t)
            modulus.append(np.minimum(*soft))
        stretch = _stretch(batch)
        return cls(
            np.stack(q, axis=1),
            np.stack(middle, axis=1),
            np.stack(thickness, axis=1),
            np.stack(modulus, axis=1),
            middle[1] - middle[0],
            np.zeros((len(z), 3, 3)) if stretch is None else stretch,
        )

    def wrinkling(self, core: CoreChoice) -> Floats:
        """Stress at which each skin wrinkles along each direction, (n, 2, turns). [Pa]"""
        through, shear = core.properties.modulus or 0.0, core_shear_modulus(core) or 0.0
        limit = np.asarray(sandwich.wrinkling_stress(self.modulus, through, shear))
        if not core.properties.honeycomb:
            return limit
        thin = sandwich.wrinkling_stress_of_honeycomb(self.modulus, self.thickness[:, :, None], through, core.thickness)
        return np.asarray(np.minimum(limit, thin))

    def dimpling(self, cell: float) -> Floats:
        """Stress at which each skin dimples into cells of a size [m], (n, 2, turns). [Pa]"""
        return np.asarray(sandwich.dimpling_stress(self.modulus, 0.0, self.thickness[:, :, None], cell))

    def worst(self, curvature: Floats, edges: EdgeStrains, which: Ints, limits: Floats) -> tuple[Floats, Floats]:
        """Of some stacks, the compression nearest to its limit, in any skin and direction, and that limit. [Pa]"""
        m = len(which)
        effort, stress, due = np.zeros(m), np.zeros(m), limits[which].reshape(m, -1)[:, 0]
        across = _ALONG * (1.0, 1.0, 2.0)
        for case in range(len(edges.names)):
            for sign in (1.0, -1.0):
                bent = sign * curvature * edges.swell[which, case, None, None]
                middle = edges.strain[which, None, case, :] + np.einsum("nij,npj->npi", self.stretch[which], bent)
                for skin in (0, 1):
                    strain = middle + bent * self.middle[which, skin, None, None]
                    pressed = -np.einsum("nij,npj,ti->npt", self.q[which, skin], strain, across).min(
                        axis=1, initial=0.0
                    )
                    ratio = pressed / limits[which, skin]
                    at = ratio.argmax(axis=1)
                    own = ratio[np.arange(m), at]
                    worse = own > effort
                    effort = np.where(worse, own, effort)
                    stress = np.where(worse, pressed[np.arange(m), at], stress)
                    due = np.where(worse, limits[which, skin][np.arange(m), at], due)
        return stress, due
