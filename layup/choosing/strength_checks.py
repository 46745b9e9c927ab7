"""Strength of plies, skins and core on a bent panel: what each stack bears, corner by corner of the mesh.

- The first ply to go?                                      `ply_reserve`
- Which checks does a stack face under one load?            `checks_of_load`
- Which corners bend most, and are looked at first?         `corners_that_bend_most`

The criterion goes by its name, and is the user's. Every figure is an estimate for sizing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Batch, CheckKind
from layup.laminate import sandwich
from layup.laminate.panel import PanelLoad
from layup.laminate.stiffness import reduced_stiffness
from layup.laminate.strength import reserve_factor

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_HOFF = "Hoff & Mautner, J. Aeronaut. Sci. 12 (1945) 285 (from memory)"
_HDBK = "MIL-HDBK-23A, 1968 (from memory)"
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


def checks_of_load(
    batch: Batch,
    load: PanelLoad,
    amounts: Floats,
    bend: Floats,
    first: Ints,
    shear_force: float,
    factor: float,
    criterion: str,
    plies_known: bool,
) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
    """The strength checks of stacks under one load.

    Args:
        batch: The stacks. [-]
        load: Its name and patch. [N, m]
        amounts: Of the shapes, (n, b). [-]
        bend: Curvature of the shapes at the corners, (corners, 3, b). [1/m]
        first: Corners looked at first; a stack that fails there is not looked at elsewhere. [-]
        shear_force: Greatest, per width, under the load. [N/m]
        factor: The user's load factor. [-]
        criterion: One of `layup.laminate.strength.CRITERIA`. [-]
        plies_known: Whether all strengths of the plies are known. [-]
    Returns:
        Kind, value and limit of each check.
    """
    n = len(batch.stack)
    if plies_known:
        reserve = ply_reserve(batch, factor * np.einsum("pib,nb->npi", bend[first], amounts), criterion)
        sound = np.flatnonzero(reserve >= 1)
        for start in range(0, len(sound), 32):
            some = sound[start : start + 32]
            curvature = factor * np.einsum("pib,nb->npi", bend, amounts[some])
            reserve[some] = np.minimum(reserve[some], ply_reserve(batch.take(some), curvature, criterion))
        kind = CheckKind(f"first ply, {load.name}", f"{criterion}, on the load times the load factor",
                         f"{criterion}: see docs/formulas-mechanics.md", "-", 1.0, True, True)  # fmt: skip
        yield kind, reserve, 1.0
    if batch.core is None:
        return
    faces = _Faces.of(batch)
    core = batch.core.properties
    stress = np.zeros(n)
    for start in range(0, n, 64):
        some = np.arange(start, min(start + 64, n))
        stress[some] = faces.stress(factor * np.einsum("pib,nb->npi", bend, amounts[some]), some)
    softer = np.minimum(faces.ex, faces.ey)
    if core.modulus and core.shear_modulus:
        kind = CheckKind(f"skin wrinkling, {load.name}", "at most 0.5 (Ef Ec Gc)^(1/3)", _HOFF, "Pa", None, False,
                         True)  # fmt: skip
        yield kind, stress, np.asarray(sandwich.wrinkling_stress(softer, core.modulus, core.shear_modulus))
    if core.honeycomb and core.cell_size:
        kind = CheckKind(f"skin dimpling in the cells, {load.name}", "stress at most 2 Ef (tf/s)^2", _HDBK, "Pa", None,
                         False, True)  # fmt: skip
        yield kind, stress, np.asarray(sandwich.dimpling_stress(softer, 0.0, faces.thickness, core.cell_size))
    if core.shear_strength:
        weak = core.shear_strength * (0.5 if core.honeycomb else 1.0)
        kind = CheckKind(f"core shear, {load.name}", "V/d; a honeycomb across its ribbon, at half", _ALLEN, "Pa", weak,
                         False, True)  # fmt: skip
        yield kind, factor * shear_force / faces.distance, weak
    if load.force and core.crushing_strength:
        pressed = factor * load.force / (load.size[0] * load.size[1])
        kind = CheckKind(f"core crushing, {load.name}", "load over patch, skin not counted", "force over area", "Pa",
                         core.crushing_strength, False, True)  # fmt: skip
        yield kind, np.full(n, pressed), core.crushing_strength


def ply_reserve(batch: Batch, curvature: Floats, criterion: str) -> Floats:
    """Least reserve of any ply at any place.

    Args:
        batch: The stacks. [-]
        curvature: x, y, xy at each place, (n, places, 3). [1/m]
        criterion: One of `layup.laminate.strength.CRITERIA`. [-]
    Returns:
        Reserve factor, (n,). [-]
    Raises:
        RangeError: a strength is missing.
    """
    n, k = batch.stack.shape
    z = np.cumsum(batch.thicknesses, axis=1)
    z = np.concatenate([np.zeros((n, 1)), z], axis=1) - z[:, -1:] / 2
    stretch = _stretch(batch, z)
    least = np.full(n, np.inf)
    for position in range(k):
        for choice in np.unique(batch.stack[:, position]):
            if choice == CORE:
                continue
            mask = np.flatnonzero(batch.stack[:, position] == choice)
            ply = batch.bench.plies[int(choice)]
            carry = reduced_stiffness(*ply.cured.moduli) @ _to_ply_axes(ply.direction)
            for height in (z[mask, position], z[mask, position + 1]):
                strain = curvature[mask] * height[:, None, None]
                if stretch is not None:
                    strain = strain + np.einsum("nij,npj->npi", stretch[mask], curvature[mask])
                own = reserve_factor(criterion, strain @ carry.T, ply.cured.allowables, ply.cured.moduli)
                least[mask] = np.minimum(least[mask], own.min(axis=1))
    return least


def _to_ply_axes(angle: float) -> Floats:
    """Turns strains x, y, xy into the axes of the ply."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])


def _stretch(batch: Batch, z: Floats) -> Floats | None:
    """Mid-plane strain for each curvature of an unsymmetric stack whose edges may slide: -A^-1 B; None if symmetric."""
    if np.array_equal(batch.stack, batch.stack[:, ::-1]):
        return None
    q = np.concatenate([np.array([p.qbar for p in batch.bench.plies]), np.zeros((1, 3, 3))])[batch.stack]
    a = np.einsum("nkij,nk->nij", q, np.diff(z, axis=1))
    b = np.einsum("nkij,nk->nij", q, np.diff(z**2, axis=1) / 2)
    return np.asarray(-np.linalg.solve(a, b))


@dataclass(frozen=True)
class _Faces:
    """The thinner skin of each sandwich: moduli, thickness, and what stress a curvature puts in it."""

    ex: Floats
    ey: Floats
    thickness: Floats
    distance: Floats
    q: Floats

    @classmethod
    def of(cls, batch: Batch) -> _Faces:
        at = int(np.flatnonzero(batch.stack[0] == CORE)[0])
        qbars = np.array([p.qbar for p in batch.bench.plies])
        sides = []
        for part in (batch.stack[:, :at], batch.stack[:, at + 1 :]):
            t = batch.bench.options.thickness[part]
            sides.append((np.einsum("nkij,nk->nij", qbars[part], t) / t.sum(axis=1)[:, None, None], t.sum(axis=1)))
        thin = sides[0][1] <= sides[1][1]
        q = np.where(thin[:, None, None], sides[0][0], sides[1][0])
        inverse = np.linalg.inv(q)
        assert batch.core is not None
        distance = batch.core.thickness + (sides[0][1] + sides[1][1]) / 2
        return cls(1 / inverse[:, 0, 0], 1 / inverse[:, 1, 1], np.minimum(sides[0][1], sides[1][1]), distance, q)

    def stress(self, curvature: Floats, which: Ints) -> Floats:
        """Greatest stress along x or y in the middle of a skin, whichever its sign, of some of the stacks. [Pa]"""
        strain = curvature * (self.distance[which] / 2)[:, None, None]
        both = np.einsum("nij,npj->npi", self.q[which], strain)[:, :, :2]
        return np.asarray(np.abs(both).max(axis=(1, 2)))
