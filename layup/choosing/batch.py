"""Stacks of one kind together, and how they fare: what the checks take and give.

A stack is written as option numbers from the mould up; -1 stands for the core.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.choosing.shelf import Bench, CoreChoice
from layup.laminate.panel import terms_of
from layup.laminate.sandwich import shear_stiffness
from layup.laminate.stiffness import rotated_expansion, stack_expansion, stack_stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CORE = -1
"""Stands for the core in a stack of option numbers."""


@dataclass(frozen=True, slots=True)
class CheckKind:
    """One check: what it compares, by what formula, from where.

    Attributes:
        name: For a person.
        formula: In the letters of the trade.
        source: Where the formula comes from.
        unit: Of the value and the limit.
        limit: What the value is held against; None where the limit differs from stack to stack.
        at_least: Whether the value must be at least the limit (else at most).
        strength: Whether it is a strength check, and carries the cautions.
        measured: Whether the small model of a panel is known to be near the whole there, and not on which side: a stack
            that fails it alone is not proved to fail on the whole.
    """

    name: str
    formula: str
    source: str
    unit: str
    limit: float | None
    at_least: bool
    strength: bool = False
    measured: bool = False


@dataclass(frozen=True)
class Batch:
    """Stacks of one process, one core and one number of plies.

    Attributes:
        bench: The process.
        core: In the middle, or None.
        stack: Option numbers from the mould up, the core as -1, (n, k).
        d: Six numbers each, (n, 6). [N m]
        areal_weight: (n,). [kg/m^2]
    """

    bench: Bench
    core: CoreChoice | None
    stack: Ints
    d: Floats
    areal_weight: Floats

    @property
    def thicknesses(self) -> Floats:
        """Of each ply and the core, (n, k). [m]"""
        core = 0.0 if self.core is None else self.core.thickness
        return np.asarray(np.append(self.bench.options.thickness, core)[self.stack])

    @property
    def thickness(self) -> Floats:
        """Of the stack, without the films on its faces, (n,). [m]"""
        return np.asarray(self.thicknesses.sum(axis=1))

    @property
    def symmetric(self) -> bool:
        """Whether every stack reads the same from either side."""
        return bool(np.array_equal(self.stack, self.stack[:, ::-1]))

    @property
    def heights(self) -> Floats:
        """Of every face between plies over the middle of the stack, (n, k + 1). [m]"""
        z = np.concatenate([np.zeros((len(self.stack), 1)), np.cumsum(self.thicknesses, axis=1)], axis=1)
        return np.asarray(z - z[:, -1:] / 2)

    @property
    def qbars(self) -> Floats:
        """Stiffness of each ply in the part's axes, the core without any, (n, k, 3, 3). [Pa]"""
        q = np.concatenate([np.array([p.qbar for p in self.bench.plies]), np.zeros((1, 3, 3))])
        return np.asarray(q[self.stack])

    @cached_property
    def coupled(self) -> tuple[Floats, Floats, Floats]:
        """A, B and D about the middle of the stack, (n, 3, 3) each. [N/m, N, N m]"""
        z, q = self.heights, self.qbars
        a, b, d = (np.einsum("nkij,nk->nij", q, np.diff(z**p, axis=1) / p) for p in (1, 2, 3))
        return a, b, d

    @cached_property
    def a(self) -> Floats:
        """Six numbers of A, of A - B D^-1 B where a stack is not symmetric, (n, 6). [N/m]"""
        if self.symmetric:
            terms = np.concatenate([self.bench.options.terms, np.zeros((1, 6))])[self.stack]
            return np.asarray(np.einsum("nkj,nk->nj", terms, self.thicknesses))
        a, b, d = self.coupled
        return terms_of(a - b @ np.linalg.solve(d, b))

    def take(self, which: Ints) -> Batch:
        """Some of its stacks."""
        return replace(self, stack=self.stack[which], d=self.d[which], areal_weight=self.areal_weight[which])


@dataclass(frozen=True)
class Assessment:
    """How stacks fare.

    Attributes:
        kinds: The checks, in order.
        values: (n, checks).
        limits: (n, checks).
        reserves: (n, checks).
    """

    kinds: tuple[CheckKind, ...]
    values: Floats
    limits: Floats
    reserves: Floats

    @property
    def least(self) -> Floats:
        """Smallest reserve of each stack, (n,). [-]"""
        if not self.kinds:
            return np.full(len(self.reserves), np.inf)
        return np.asarray(self.reserves.min(axis=1))

    @property
    def disproved(self) -> NDArray[np.bool_]:
        """Which stacks fail a check that would fail on the whole panel as well, (n,).

        The small model takes fewer shapes than the whole one, so it is nowhere softer: work of a load, frequency and
        buckling are on the safe side, and what needs no panel is exact. Who fails one of these fails.
        """
        sure = np.array([not kind.measured for kind in self.kinds], dtype=bool)
        return np.asarray((self.reserves[:, sure] < 1 - 1e-9).any(axis=1))

    def beside(self, other: Assessment) -> Assessment:
        """These checks of the same stacks, and then others."""
        three = zip(
            (self.values, self.limits, self.reserves), (other.values, other.limits, other.reserves), strict=True
        )
        return Assessment(self.kinds + other.kinds, *(np.concatenate(both, axis=1) for both in three))

    @property
    def passed(self) -> NDArray[np.bool_]:
        """Which stacks pass every check."""
        return np.asarray(self.least >= 1 - 1e-9)


ACROSS_RIBBON = 0.5
"""A honeycomb's shear modulus and strength across its ribbon over those along it, which the tables give (common
practice, no source: data sheets show 0.4 to 0.65). Nothing says how the sheet will lie, so the worse counts. [-]"""


def core_shear_modulus(core: CoreChoice) -> float | None:
    """Shear modulus of a core the worse way round; None where no table gives it. [Pa]"""
    modulus = core.properties.shear_modulus
    return None if not modulus else modulus * (ACROSS_RIBBON if core.properties.honeycomb else 1.0)


def core_shear_strength(core: CoreChoice) -> float:
    """Shear strength of a core the worse way round; 0 where no table gives it. [Pa]"""
    return (core.properties.shear_strength or 0.0) * (ACROSS_RIBBON if core.properties.honeycomb else 1.0)


def core_shear_stiffness(batch: Batch) -> Floats | None:
    """Shear stiffness per width of a sandwich, cautious for a honeycomb (across its ribbon); None without a core."""
    modulus = None if batch.core is None else core_shear_modulus(batch.core)
    if batch.core is None or modulus is None:
        return None
    distance = (batch.thickness + batch.core.thickness) / 2
    return np.asarray(shear_stiffness(modulus, batch.core.thickness, distance))


def warp_of(batch: Batch) -> Floats | None:
    """Curvature per kelvin of the first stack, x, y, xy; None where an expansion is not known. [1/(m K)]"""
    plies = [None if index == CORE else batch.bench.plies[int(index)] for index in batch.stack[0]]
    rows = []
    for ply in plies:
        if ply is None:
            rows.append(np.zeros(3))  # a core of no stiffness of its own follows
            continue
        own = ply.cured.elastic
        if own.alpha1 is None or own.alpha2 is None:
            return None
        rows.append(rotated_expansion(own.alpha1, own.alpha2, ply.direction))
    return stack_expansion(batch.qbars[0], np.array(rows), batch.thicknesses[0])[1]


def d_of(bench: Bench, core: CoreChoice | None, stack: Sequence[int]) -> Floats:
    """D of one stack, D - B A^-1 B where it is not symmetric, (6,). [N m]"""
    q = np.concatenate([np.array([p.qbar for p in bench.plies]), np.zeros((1, 3, 3))])[list(stack)]
    t = np.append(bench.options.thickness, 0.0 if core is None else core.thickness)[list(stack)]
    whole = stack_stiffness(q, t)
    return terms_of(whole.d if tuple(stack) == tuple(reversed(stack)) else whole.reduced_bending)
