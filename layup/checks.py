r"""Every check of a layup: its name, formula, numbers, source and reserve. A reserve of 1 just passes; 2 is twice enough.

- What is asked of this part?                      `Checker.of`
- How do many stacks of one kind fare?             `Checker.assess`
- What must D keep to, for these to pass?          `Checker.limits`
- What cannot be checked, for want of a figure?    `Checker.blocked`

Deflections are small ones of a thin plate; loads act one at a time; a load factor, the user's own, multiplies loads for
strength and buckling, never for deflection. Strengths are estimates for sizing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layup.laminate import sandwich
from layup.laminate.panel import terms_of
from layup.laminate.panel_model import Limit, PanelModel, limit_of_strip, strip_stiffness
from layup.laminate.stiffness import reduced_stiffness, stack_stiffness
from layup.laminate.strength import reserve_factor
from layup.needs import Needs
from layup.shelf import Bench, CoreChoice, OldPart

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CORE = -1
"""Stands for the core in a stack of option numbers."""

CAUTIONS = (
    "Strength here is an estimate for sizing. Primary structure needs test coupons and a qualified person.",
    "The load factors are yours: nothing here knows what rule your part falls under.",
)


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
    """

    name: str
    formula: str
    source: str
    unit: str
    limit: float | None
    at_least: bool
    strength: bool = False


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
    def passed(self) -> NDArray[np.bool_]:
        """Which stacks pass every check."""
        return np.asarray(self.least >= 1 - 1e-9)


_KIRCHHOFF = "thin plate, finite elements of Morley on the outline (Kirchhoff; small deflection)"
_STRIP = "Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. 2004 (from memory)"


@dataclass(frozen=True)
class Checker:
    """All checks asked of one part; make it with `Checker.of`.

    Attributes:
        needs: What the part has to do.
        old: How stiff is what it replaces; None where that is not asked.
        model: The panel under its loads; None where only strips are asked.
        old_work: Work of the even pressure on the old panel. [N m]
        shear: Of each load: greatest shear deflection times shear stiffness [N], greatest shear force [N/m].
        widths: Of the panel, across x-pushes and y-pushes. [m]
    """

    needs: Needs
    old: OldPart | None
    model: PanelModel | None
    old_work: float
    shear: tuple[tuple[float, float], ...]
    widths: tuple[float, float]

    @classmethod
    def of(cls, needs: Needs, old: OldPart | None, model: PanelModel | None) -> Checker:
        """Set up the checks.

        Args:
            needs: What the part has to do.
            old: What comes off.
            model: The panel; its first load is an even pressure.

        Returns:
            The checks.
        """
        if needs.stiffness == 0:
            old = None
        if model is None:
            return cls(needs, old, None, 0.0, (), (1.0, 1.0))
        work = 0.0
        if old is not None:
            model = model.with_layup(old.terms)
            work = float(model.own_work(model.respond(old.terms[None]))[0, 0])
        found = []
        for load in model.loads:
            sag, force = model.panel.shear_solution(load)
            found.append((float(np.abs(sag).max()), float(force.max())))
        left, low, right, high = model.panel.shape.bounds
        return cls(needs, old, model, work, tuple(found), (high - low, right - left))

    @property
    def factor(self) -> float:
        """The user's load factor; 1 if none is stated. [-]"""
        return self.needs.load_factor or 1.0

    def _pushes(self) -> list[tuple[str, float, float]]:
        out = []
        if self.needs.push_x:
            out.append(("x", self.needs.push_x / self.widths[0], 0.0))
        if self.needs.push_y:
            out.append(("y", 0.0, self.needs.push_y / self.widths[1]))
        return out

    def assess(self, batch: Batch) -> Assessment:
        """How stacks of one kind fare in every check.

        Args:
            batch: The stacks.

        Returns:
            Values, limits and reserves, a row a stack.
        """
        kinds: list[CheckKind] = []
        columns: list[tuple[Floats, Floats | float]] = []

        def add(kind: CheckKind, value: Floats, limit: Floats | float | None = None) -> None:
            kinds.append(kind)
            due = limit if limit is not None else kind.limit
            assert due is not None
            columns.append((value, due))

        n = len(batch.stack)
        if self.old is not None:
            wanted = self.needs.stiffness * strip_stiffness(self.old.terms[None])[0]
            strips = strip_stiffness(batch.d)
            for axis, way in enumerate(("x", "y")):
                add(CheckKind(f"a strip cut along {way} bends no more than the old one", f"1/(D^-1){axis + 1}{axis + 1}",
                              _STRIP, "N m", float(wanted[axis]), True), strips[:, axis])  # fmt: skip
        if self.model is not None:
            self._panel_checks(batch, add)
        if self.needs.greatest_thickness is not None:
            add(CheckKind("no thicker than it may be", "sum of cured plies and core", "volume balance", "m",
                          self.needs.greatest_thickness, False), batch.thickness)  # fmt: skip
        values = np.stack([v for v, _ in columns], axis=1) if columns else np.empty((n, 0))
        limits = np.stack([np.broadcast_to(u, n) for _, u in columns], axis=1) if columns else np.empty((n, 0))
        least = np.array([k.at_least for k in kinds], dtype=bool)
        with np.errstate(divide="ignore"):
            reserves = np.where(least, values / limits, limits / np.maximum(values, 1e-300))
        return Assessment(tuple(kinds), values, limits, reserves)

    def _panel_checks(self, batch: Batch, add: object) -> None:
        model, needs = self.model, self.needs
        assert model is not None
        assert callable(add)
        amounts = model.respond(batch.d)
        work = model.own_work(amounts)
        shear = _shear_stiffness(batch)
        if self.old is not None:
            area = model.panel.shape.area * model.loads[0].pressure
            add(CheckKind("the whole panel gives no more than the old one", "mean deflection under an even 1 kPa",
                          _KIRCHHOFF, "m", self.old_work / area / needs.stiffness, False),
                self._mean_sag(work, shear))  # fmt: skip
        sag = model.greatest_sag(amounts)
        for case, load in enumerate(model.loads[1:], 1):
            more = 0.0 if shear is None else self.shear[case][0] / shear
            if load.pressure and needs.deflection is not None:
                add(CheckKind(f"deflection, {load.name}", "greatest w; core shear added", _KIRCHHOFF, "m",
                              needs.deflection, False), sag[:, case] + more)  # fmt: skip
            limit = self.hand_limit(load.name)
            if load.force and limit is not None:
                add(CheckKind(f"deflection under the patch, {load.name}", "mean w under the patch; core shear added",
                              _KIRCHHOFF, "m", limit, False), work[:, case] / load.force + more)  # fmt: skip
        if needs.frequency is not None:
            hertz = model.frequencies(batch.d, batch.areal_weight)[0]
            if shear is not None:
                slow = np.sqrt(shear / batch.areal_weight / self._membrane()) / (2 * np.pi)
                hertz = 1 / np.sqrt(1 / hertz**2 + 1 / slow**2)
            add(CheckKind("own frequency", "lowest mode; with core shear 1/f^2 = 1/fb^2 + 1/fs^2",
                          _KIRCHHOFF + "; Dunkerley (from memory)", "Hz", needs.frequency, True), hertz)  # fmt: skip
        for way, nx, ny in self._pushes():
            buckles = model.factors(batch.d, nx, ny)[0]
            if shear is not None:
                buckles = 1 / (1 / buckles + (nx + ny) / shear)
            add(CheckKind(f"buckling under the push along {way}", "critical load over load times load factor",
                          "Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory)", "-",
                          1.0, True, True), buckles / self.factor)  # fmt: skip
        if needs.loaded:
            self._strength_checks(batch, amounts, add)

    def hand_limit(self, name: str) -> float | None:
        """Deflection allowed under a hand load of that name. [m]"""
        for place in (self.needs, *self.needs.local):
            zone = getattr(place, "zone", None)
            if name == ("hand load" if zone is None else f"hand load on {zone}"):
                return place.hand_deflection
        return None

    def _mean_sag(self, work: Floats, shear: Floats | None) -> Floats:
        """Mean deflection under the even pressure; of the core's shear the greatest, to be cautious. [m]"""
        assert self.model is not None
        mean = work[:, 0] / (self.model.panel.shape.area * self.model.loads[0].pressure)
        return np.asarray(mean if shear is None else mean + self.shear[0][0] / shear)

    def mean_sag(self, batch: Batch) -> Floats:
        """Mean deflection of the panel under an even kilopascal, (n,). [m]"""
        assert self.model is not None
        return self._mean_sag(self.model.own_work(self.model.respond(batch.d)), _shear_stiffness(batch))

    def _membrane(self) -> float:
        """1/eigenvalue of the stretched skin: deflection under its own shape, estimated by the even load's. [m^2]"""
        assert self.model is not None
        return self.shear[0][0] / self.model.loads[0].pressure * 0.95

    def _strength_checks(self, batch: Batch, amounts: Floats, add: object) -> None:
        model = self.model
        assert model is not None
        assert callable(add)
        faces = _Faces.of(batch) if batch.core is not None else None
        for case, load in enumerate(model.loads[1:], 1):
            curvature = np.einsum("pib,nb->npi", model.bend, amounts[:, :, case]) * self.factor
            if not self._blocked_plies(batch):
                add(CheckKind(f"first ply, {load.name}", f"{self.needs.criterion}, on the load times the load factor",
                              f"{self.needs.criterion} as in docs/formulas-mechanics.md", "-", 1.0, True, True),
                    self._ply_reserve(batch, curvature))  # fmt: skip
            if batch.core is None or faces is None:
                continue
            core = batch.core.properties
            stress = faces.stress(curvature)
            if core.modulus and core.shear_modulus:
                modulus = np.minimum(faces.ex, faces.ey)
                wrinkles = sandwich.wrinkling_stress(modulus, core.modulus, core.shear_modulus)
                add(CheckKind(f"skin wrinkling, {load.name}", "0.5 (Ef Ec Gc)^(1/3)",
                              "Hoff & Mautner, J. Aeronaut. Sci. 12 (1945) 285 (from memory)", "Pa", None, False, True),
                    stress, wrinkles)  # fmt: skip
            if core.honeycomb and core.cell_size:
                dimples = sandwich.dimpling_stress(np.minimum(faces.ex, faces.ey), 0.0, faces.thickness, core.cell_size)
                add(CheckKind(f"skin dimpling in the cells, {load.name}", "2 Ef (tf/s)^2", "MIL-HDBK-23A, 1968 (from "
                              "memory)", "Pa", None, False, True), stress, dimples)  # fmt: skip
            if core.shear_strength:
                weak = core.shear_strength * (0.5 if core.honeycomb else 1.0)
                add(CheckKind(f"core shear, {load.name}", "V/d; honeycomb taken across the ribbon, at half",
                              "Allen, Structural Sandwich Panels, 1969 (from memory)", "Pa", weak, False, True),
                    self.factor * self.shear[case][1] / faces.distance)  # fmt: skip
            if load.force and core.crushing_strength:
                pressed = self.factor * load.force / (load.size[0] * load.size[1])
                add(CheckKind(f"core crushing, {load.name}", "load over patch", "force over area", "Pa",
                              core.crushing_strength, False, True), np.full(len(batch.stack), pressed))  # fmt: skip

    def _ply_reserve(self, batch: Batch, curvature: Floats) -> Floats:
        """Least reserve of any ply at any corner of the mesh, (n,)."""
        n, k = batch.stack.shape
        z = np.cumsum(batch.thicknesses, axis=1)
        z = np.concatenate([np.zeros((n, 1)), z], axis=1) - z[:, -1:] / 2
        plies = batch.bench.plies
        stretch = _stretch(batch, z)
        least = np.full(n, np.inf)
        for position in range(k):
            for choice in np.unique(batch.stack[:, position]):
                if choice == CORE:
                    continue
                mask = np.flatnonzero(batch.stack[:, position] == choice)
                ply = plies[int(choice)]
                turned = _to_ply_axes(ply.direction)
                e1, e2, nu12, g12 = ply.cured.moduli
                carry = reduced_stiffness(e1, e2, nu12, g12) @ turned
                for height in (z[mask, position], z[mask, position + 1]):
                    strain = curvature[mask] * height[:, None, None]
                    if stretch is not None:
                        strain = strain + np.einsum("nij,npj->npi", stretch[mask], curvature[mask])
                    own = reserve_factor(self.needs.criterion, strain @ carry.T, ply.cured.allowables, ply.cured.moduli)
                    least[mask] = np.minimum(least[mask], own.min(axis=1))
        return least

    def _blocked_plies(self, batch: Batch) -> tuple[str, ...]:
        used = {int(c) for c in np.unique(batch.stack) if c != CORE}
        needed = ("xt", "yt", "s") if self.needs.criterion == "Tsai-Hill" else ("xt", "xc", "yt", "yc", "s")
        out: list[str] = []
        for choice in sorted(used):
            cured = batch.bench.plies[choice].cured
            if any(getattr(cured.allowables, name) is None for name in needed):
                out += [m for m in cured.missing if m not in out]
        return tuple(out)

    def blocked(self, batch: Batch) -> tuple[str, ...]:
        """Checks that were asked for but cannot be made, each with the figure it lacks.

        Args:
            batch: The stacks.

        Returns:
            One sentence a check.
        """
        if not self.needs.loaded:
            return ()
        said = []
        plies = self._blocked_plies(batch)
        if plies:
            said.append(f"First ply ({self.needs.criterion}) not checked, for want of: " + "; ".join(plies) + ".")
        core = None if batch.core is None else batch.core.properties
        if core is not None:
            lacks = [("core shear", "shear_strength", core.shear_strength),
                     ("skin wrinkling", "compressive_modulus", core.modulus),
                     ("skin wrinkling and core shear in deflection", "shear_modulus", core.shear_modulus),
                     ("core crushing", "compressive_strength", core.crushing_strength)]  # fmt: skip
            if core.honeycomb:
                lacks.append(("skin dimpling", "cell_size", core.cell_size))
            said += [f'{check[0].upper()}{check[1:]} not checked: core "{core.name}" has no {name} in the tables.'
                     for check, name, value in lacks if value is None]  # fmt: skip
        return tuple(said)

    def limits(self, d: Floats | None = None, areal_weight: float = 1.0) -> list[Limit]:
        """Limits that every stack must keep to, sharp at one layup; without a layup, those that any check starts from.

        Args:
            d: Six numbers of the layup, (6,). [N m]
            areal_weight: Its own. [kg/m^2]

        Returns:
            Limits on D.
        """
        out: list[Limit] = []
        if self.old is not None:
            wanted = self.needs.stiffness * strip_stiffness(self.old.terms[None])[0]
            out += [limit_of_strip(axis, float(wanted[axis]), d) for axis in (0, 1)]
        model, needs = self.model, self.needs
        if model is None:
            return out
        if d is None:
            d = np.array([1.0, 0.2, 1.0, 0.0, 0.0, 0.4]) if self.old is None else self.old.terms
        amounts = model.respond(d[None])[0]
        if self.old is not None:
            out.append(model.limit_of_work(amounts[:, 0], 0, self.old_work / needs.stiffness))
        for case, load in enumerate(model.loads[1:], 1):
            if load.pressure and needs.deflection is not None:  # the mean is never above the greatest
                most = needs.deflection * load.pressure * model.panel.shape.area
                out.append(model.limit_of_work(amounts[:, case], case, most))
            limit = self.hand_limit(load.name)
            if load.force and limit is not None:
                out.append(model.limit_of_work(amounts[:, case], case, limit * load.force))
        if needs.frequency is not None:
            out.append(model.limit_of_frequency(model.frequencies(d[None], np.ones(1))[1][0], needs.frequency))
        for _, nx, ny in self._pushes():
            out.append(model.limit_of_push(model.factors(d[None], nx, ny)[1][0], nx, ny, self.factor))
        return out


def _shear_stiffness(batch: Batch) -> Floats | None:
    """Shear stiffness per width of a sandwich, cautious for a honeycomb (across its ribbon); None without a core."""
    core = batch.core
    if core is None or not core.properties.shear_modulus:
        return None
    modulus = core.properties.shear_modulus * (0.5 if core.properties.honeycomb else 1.0)
    distance = (batch.thickness + core.thickness) / 2
    return np.asarray(sandwich.shear_stiffness(modulus, core.thickness, distance))


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

    def stress(self, curvature: Floats) -> Floats:
        """Greatest stress along x or y in the middle of a skin, whichever its sign, (n,). [Pa]"""
        strain = curvature * (self.distance / 2)[:, None, None]
        both = np.einsum("nij,npj->npi", self.q, strain)[:, :, :2]
        return np.asarray(np.abs(both).max(axis=(1, 2)))


def d_of(bench: Bench, core: CoreChoice | None, stack: Sequence[int]) -> Floats:
    """D of one stack, D - B A^-1 B where it is not symmetric, (6,). [N m]"""
    q = np.concatenate([np.array([p.qbar for p in bench.plies]), np.zeros((1, 3, 3))])[list(stack)]
    t = np.append(bench.options.thickness, 0.0 if core is None else core.thickness)[list(stack)]
    whole = stack_stiffness(q, t)
    return terms_of(whole.d if tuple(stack) == tuple(reversed(stack)) else whole.reduced_bending)
