r"""Every check of a layup: its name, formula, numbers, source and reserve. At a reserve of 1 it just passes.

- What is asked of this part?                      `Checker.of`
- How do many stacks of one kind fare?             `Checker.assess`
- What must D keep to, for these to pass?          `Checker.limits`
- What cannot be checked, for want of a figure?    `Checker.blocked`

Deflections are small ones of a thin plate; loads act one at a time; a load factor, the user's own, multiplies loads for
strength and buckling, never for deflection. Strengths are estimates for sizing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Assessment, Batch, CheckKind, core_shear_stiffness
from layup.choosing.shelf import OldPart
from layup.choosing.strength_checks import checks_of_load, corners_that_bend_most
from layup.laminate.panel_model import Limit, PanelModel, limit_of_strip, strip_stiffness
from layup.needs import Needs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CAUTIONS = (
    "Strength here is an estimate for sizing. Primary structure needs test coupons and a qualified person.",
    "The load factors are yours: nothing here knows what rule your part falls under.",
)


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
        peak: Under a pressure, greatest over mean deflection: the least among many mixes of the plies, less 3 %. [-]
        worst: Corners of the mesh that bend most under each load, looked at first.
    """

    needs: Needs
    old: OldPart | None
    model: PanelModel | None
    old_work: float
    shear: tuple[tuple[float, float], ...]
    widths: tuple[float, float]
    peak: float = 1.0
    worst: tuple[Ints, ...] = ()

    @classmethod
    def of(cls, needs: Needs, old: OldPart | None, model: PanelModel | None, mixes: Floats | None = None) -> Checker:
        """Set up the checks.

        Args:
            needs: What the part has to do.
            old: What comes off.
            model: The panel; its first load is an even pressure.
            mixes: D of many mixes of the plies at hand, (n, 6), to learn how deflection is spread. [N m]

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
        peak, worst = (1.0, ()) if mixes is None else _spread(model, mixes)
        return cls(needs, old, model, work, tuple(found), (high - low, right - left), peak, worst)

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

    def assess(self, batch: Batch, quick: bool = False) -> Assessment:
        """How stacks of one kind fare in every check.

        Args:
            batch: The stacks.
            quick: Leave out the strength of those that are not stiff enough.

        Returns:
            Values, limits and reserves, a row a stack.
        """
        table = self.start(batch)
        if self.model is not None:
            amounts = self.model.respond(batch.d)
            self.panel_checks(batch, amounts, table.add)
            if self.needs.loaded:
                self._strength(batch, amounts, table, quick)
        return table.assessment()

    def start(self, batch: Batch) -> Table:
        """The checks that need no panel: strips and thickness."""
        table = Table(len(batch.stack))
        if self.old is not None:
            wanted = self.needs.stiffness * strip_stiffness(self.old.terms[None])[0]
            strips = strip_stiffness(batch.d)
            for axis, way in enumerate(("x", "y")):
                kind = CheckKind(f"a strip cut along {way} bends no more than the old one",
                                 f"1/(D^-1){axis + 1}{axis + 1}", _STRIP, "N m", float(wanted[axis]), True)  # fmt: skip
                table.add(kind, strips[:, axis])
        if self.needs.greatest_thickness is not None:
            kind = CheckKind("no thicker than it may be", "sum of cured plies and core", "volume balance", "m",
                             self.needs.greatest_thickness, False)  # fmt: skip
            table.add(kind, batch.thickness)
        return table

    def panel_checks(self, batch: Batch, amounts: Floats, add: Callable[..., None]) -> None:
        """Deflection, frequency and buckling of stacks whose panel bends by these amounts of the shapes."""
        model, needs = self.model, self.needs
        assert model is not None
        work = model.own_work(amounts)
        shear = core_shear_stiffness(batch)
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
            add(CheckKind("own frequency", "lowest mode; with core shear 1/f^2 = 1/fb^2 + 1/fs^2, fs on the low side",
                          _KIRCHHOFF + "; Dunkerley (from memory)", "Hz", needs.frequency, True), hertz)  # fmt: skip
        for way, nx, ny in self._pushes():
            buckles = model.factors(batch.d, nx, ny)[0]
            if shear is not None:
                buckles = 1 / (1 / buckles + (nx + ny) / shear)
            add(CheckKind(f"buckling under the push along {way}", "critical load over load times load factor",
                          "Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory)", "-",
                          1.0, True, True), buckles / self.factor)  # fmt: skip

    def _strength(self, batch: Batch, amounts: Floats, table: Table, quick: bool) -> None:
        """Strength under every load; with `quick` only of stacks that passed so far, the others count as sound."""
        model = self.model
        assert model is not None
        n = len(batch.stack)
        alive = np.flatnonzero(table.assessment().passed) if quick else np.arange(n)
        if not len(alive):
            return
        some = batch.take(alive)
        for case in range(1, len(model.loads)):
            for kind, value, limit in self.strength_of_load(some, case, amounts[alive, :, case]):
                table.add_some(kind, alive, value, limit)

    def strength_of_load(
        self, batch: Batch, case: int, amounts: Floats, corners: Ints | None = None
    ) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
        """Strength checks under one load, at some corners of the mesh or at all.

        Args:
            batch: The stacks.
            case: Number of the load.
            amounts: Of the shapes under it, (n, b).
            corners: Corner numbers; all if None.

        Returns:
            Kind, value and limit of each check.
        """
        assert self.model is not None
        bend = self.model.bend if corners is None else self.model.bend[corners]
        first = self.worst[case] if self.worst and corners is None else np.arange(len(bend))
        return checks_of_load(
            batch, self.model.loads[case], amounts, bend, first, self.shear[case][1], self.factor,
            self.needs.criterion, not self._blocked_plies(batch),
        )  # fmt: skip

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
        return self._mean_sag(self.model.own_work(self.model.respond(batch.d)), core_shear_stiffness(batch))

    def _membrane(self) -> float:
        """At least 1/eigenvalue of a stretched skin on the outline: the greatest deflection of lap(u) = -1. [m^2]"""
        assert self.model is not None
        return self.shear[0][0] / self.model.loads[0].pressure

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

    def limits(self, d: Floats | None = None) -> list[Limit]:
        """Limits that every stack must keep to, sharp at one layup; without a layup, those that any check starts from.

        Args:
            d: Six numbers of the layup, (6,). [N m]

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
            if load.pressure and needs.deflection is not None:  # the mean is the greatest over `peak` or less
                most = needs.deflection / self.peak * load.pressure * model.panel.shape.area
                out.append(model.limit_of_work(amounts[:, case], case, most))
            limit = self.hand_limit(load.name)
            if load.force and limit is not None:
                out.append(model.limit_of_work(amounts[:, case], case, limit * load.force))
        if needs.frequency is not None:
            out.append(model.limit_of_frequency(model.frequencies(d[None], np.ones(1))[1][0], needs.frequency))
        for _, nx, ny in self._pushes():
            out.append(model.limit_of_push(model.factors(d[None], nx, ny)[1][0], nx, ny, self.factor))
        return out


class Table:
    """Checks as they come in."""

    def __init__(self, count: int) -> None:
        self.count = count
        self.kinds: list[CheckKind] = []
        self.columns: list[tuple[Floats, Floats | float]] = []

    def add(self, kind: CheckKind, value: Floats, limit: Floats | float | None = None) -> None:
        """One more check."""
        due = limit if limit is not None else kind.limit
        assert due is not None
        self.kinds.append(kind)
        self.columns.append((value, due))

    def add_some(self, kind: CheckKind, which: Ints, value: Floats, limit: Floats | float) -> None:
        """One more check that only some stacks went through; the others count as sound."""
        whole, due = np.full(self.count, np.inf if kind.at_least else 0.0), np.ones(self.count)
        whole[which], due[which] = value, limit
        self.add(kind, whole, due)

    def assessment(self) -> Assessment:
        """All so far."""
        n = self.count
        empty = np.empty((n, 0))
        values = np.stack([v for v, _ in self.columns], axis=1) if self.columns else empty
        limits = np.stack([np.broadcast_to(u, n) for _, u in self.columns], axis=1) if self.columns else empty
        least = np.array([k.at_least for k in self.kinds], dtype=bool)
        with np.errstate(divide="ignore", over="ignore"):
            reserves = np.where(least, values / limits, limits / np.maximum(values, 1e-300))
        return Assessment(tuple(self.kinds), values, limits, reserves)


def _spread(model: PanelModel, mixes: Floats) -> tuple[float, tuple[Ints, ...]]:
    """Least ratio of greatest to mean deflection under an even pressure, less 3 %; and the corners that bend most."""
    peak = np.inf
    area = model.panel.shape.area * model.loads[0].pressure
    for start in range(0, len(mixes), 500):
        amounts = model.respond(mixes[start : start + 500])
        mean = model.own_work(amounts)[:, 0] / area
        peak = min(peak, float((model.greatest_sag(amounts)[:, 0] / mean).min()))
    return max(1.0, 0.97 * peak), corners_that_bend_most(model.bend, model.respond(mixes[:24]))
