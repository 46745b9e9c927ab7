r"""Every check of a layup: its name, formula, numbers, source and reserve. At a reserve of 1 it just passes.

- What is asked of this part?                      `Checker.of`
- How do many stacks of one kind fare?             `Checker.assess`
- What must D and A keep to, for these to pass?    `Checker.limits`
- What cannot be checked, for want of a figure?    `Checker.unknown`; such a stack never passes

Deflections are small ones of a thin plate; loads across it act one at a time, each alone and with the edge loads;
a load factor, the user's own, multiplies loads for strength and buckling, never for deflection. Strengths are estimates
for sizing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Assessment, Batch, CheckKind, core_shear_stiffness
from layup.choosing.edges import EdgeCase, buckling_cases, edge_cases
from layup.choosing.joint_checks import checks_of_joints
from layup.choosing.shelf import FLAT_ENOUGH, CoreChoice, OldPart, PlyChoice
from layup.choosing.strength_checks import (
    CONVEX,
    EdgeStrains,
    checks_of_edges,
    checks_of_load,
    checks_of_strains,
    corners_that_bend_most,
    effort_at_least,
)
from layup.laminate.curved_panel import CurvedPanel, heights_over
from layup.laminate.panel import PanelLoad, build_panel, matrix_of, sharp_corners
from layup.laminate.panel_bounds import MOST_SHAPES, PanelBounds
from layup.laminate.panel_model import (
    Limit,
    PanelModel,
    in_plane_stiffness,
    limit_in_plane,
    limit_of_strip,
    strip_stiffness,
)
from layup.laminate.shallow_shell import ShallowShell
from layup.laminate.tube import Tube
from layup.partfile.needs import USUAL_LOAD_FACTOR, Needs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CAUTIONS = (
    "Strength here is an estimate for sizing. Primary structure needs test coupons and a qualified person.",
    "The load factors are yours: nothing here knows what rule your part falls under.",
)


_PLATE = "plate with core shear, finite elements on the outline (Reissner, Mindlin; small deflection; from memory)"
_STRIP = "Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. 2004 (from memory)"
_BEAM = _STRIP + "; with a core also Allen 1969 (from memory)"
_GERE = "Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory)"
_SURFACE = "shell by finite elements on its own surface (Naghdi; past half its thickness von Karman; from memory)"
_SHELL = "Donnell's shallow shell: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, ch. 11 (from memory)"
_ARCH = "Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, art. 7.8 (from memory)"
_TUBE = "NASA SP-8007, Buckling of Thin-Walled Circular Cylinders, 1968 (from memory)"
_FLAT = 1 / 20
"""Most a panel may give over its shorter span where nothing else is asked: beyond it a flat panel's figures say nothing
(common practice, no source). [-]"""
_PEAK_LEFT = 0.85
"""Of the least ratio of greatest to mean deflection found among mixes of plies: panels were found 10 % under it. [-]"""
WITHIN = 0.01
"""By how much a strength that may decide moves at most from one mesh to the next. [-]"""
MOST_TIMES = 8
"""Triangles of the finest mesh over those of the search. [-]"""
_PAST_BUCKLING = 1e3
"""Swell of a panel that a push has buckled; it fails there in any case. [-]"""


@dataclass(frozen=True)
class Checker:
    """All checks asked of one part; make it with `Checker.of`.

    Attributes:
        needs: What the part has to do.
        old: How stiff is what it replaces; None where that is not asked.
        model: The panel under its loads; None where only strips are asked.
        old_work: Work of the even pressure on the old panel. [N m]
        widths: Of the panel, across x-pushes and y-pushes. [m]
        peak: Under a pressure, greatest over mean deflection: the least among many mixes of the plies, less 15 %. [-]
        worst: Corners of the mesh that bend most under each load, looked at first.
        shell: The panel with its curve, where it is compared with an old one; None where it is flat.
        surface: The panel by finite elements on its own surface, flat or curved, for what small flat deflections leave
            out; None without a panel.
        curve_factor: How much stiffer than asked the shell has to be, so that the finite elements are as stiff. [-]
        bounds: By load and core, what proves that a stack fails; filled as it is asked for.
    """

    needs: Needs
    old: OldPart | None
    model: PanelModel | None
    old_work: float
    widths: tuple[float, float]
    peak: float = 1.0
    worst: tuple[Ints, ...] = ()
    shell: ShallowShell | None = None
    surface: CurvedPanel | None = None
    curve_factor: float = 1.0
    bounds: dict[tuple[int, str, float], PanelBounds] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def of(
        cls,
        needs: Needs,
        old: OldPart | None,
        model: PanelModel | None,
        mixes: Floats | None = None,
        shell: ShallowShell | None = None,
        points: Floats | None = None,
    ) -> Checker:
        """Set up the checks.

        Args:
            needs: What the part has to do.
            old: What comes off.
            model: The panel; its first load is an even pressure.
            mixes: D of many mixes of the plies at hand, (n, 6), to learn how deflection is spread. [N m]
            shell: The panel with its curve.
            points: Of its surface, x, y in the panel's plane and z out of it, (n, 3). [m]
        """
        if needs.stiffness == 0 and needs.in_plane == 0:
            old = None
        if model is None:
            girth = np.pi * (needs.tube.diameter or 1.0) if needs.tube else 1.0
            return cls(needs, old, None, 0.0, (girth, 1.0))
        work = 0.0
        if old is not None:
            model = model.with_layup(old.terms)
            work = float(model.own_work(model.respond(old.terms[None]))[0, 0])
        left, low, right, high = model.panel.shape.bounds
        curved = shell is not None and points is not None
        heights = heights_over(model.panel, points) if curved and points is not None else np.zeros(model.panel.nodes)
        peak, worst = (1.0, ()) if mixes is None else _spread(model, mixes)
        return cls(
            needs=needs,
            old=old,
            model=model,
            old_work=work,
            widths=(high - low, right - left),
            peak=peak,
            worst=worst,
            shell=shell,
            surface=CurvedPanel.over(model.panel, heights),
        )

    @property
    def factor(self) -> float:
        """The load factor stated, else the usual one. [-]"""
        return self.needs.load_factor or USUAL_LOAD_FACTOR

    @cached_property
    def edges(self) -> list[EdgeCase]:
        """Every combination of the edge loads."""
        return edge_cases(self.needs, self.widths)

    @cached_property
    def buckling(self) -> list[EdgeCase]:
        """Those that are asked for buckling."""
        return buckling_cases(self.needs, self.widths)

    def assess(self, batch: Batch, quick: bool = False) -> Assessment:
        """How stacks of one kind fare in every check.

        Args:
            batch: The stacks.
            quick: Leave out the panel where a strip or a sheet fails, and the strength where the panel does.

        Returns:
            Values, limits and reserves, a row a stack.
        """
        table = self.start(batch)
        if self.model is None:
            if self.needs.tube is not None and not self.unknown(batch):
                self._tube(batch, table)
            return table.assessment()
        alive = np.flatnonzero(table.assessment().passed) if quick else np.arange(len(batch.stack))
        if not len(alive):
            return table.assessment()
        some = batch if len(alive) == len(batch.stack) else batch.take(alive)
        amounts = self.model.respond(self.layups(some))
        self.panel_checks(some, amounts, lambda kind, value, limit=None: table.add_some(kind, alive, value, limit))
        if self.needs.loaded and not self.unknown(batch):
            self._strength(some, alive, amounts, table, quick)
        return table.assessment()

    def disproves(self, batch: Batch) -> NDArray[np.bool_]:
        """Which stacks are proved to fail on the whole panel, in how far it gives or in its first ply.

        Returns:
            (n,); those that are not may fail all the same.
        """
        out = np.zeros(len(batch.stack), dtype=bool)
        if self.model is None or not len(out) or self.unknown(batch):
            return out
        layups, core = self.layups(batch), batch.core
        for case in range(1, len(self.model.loads)):
            key = (case, "", 0.0) if core is None else (case, core.name, core.thickness)
            left = np.flatnonzero(~out)
            while len(left):
                bounds = self.bounds.get(key)
                if bounds is None:
                    vector = self.model.panel.load_vector(self.model.loads[case])
                    bounds = self.bounds[key] = PanelBounds(self.model.panel, vector, layups[left].mean(axis=0))
                amounts, off = bounds.answer(layups[left])
                fails, near = self._fails(batch.take(left), case, bounds, amounts, off)
                out[left[fails]] = True
                if not near.any() or bounds.shapes >= MOST_SHAPES:
                    break
                left, off = left[near], off[near]
                bounds.add(layups[left[int(np.argmax(off))]])
        return out

    def _fails(
        self, batch: Batch, case: int, bounds: PanelBounds, amounts: Floats, off: Floats
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which stacks are proved to fail under a load, and which others closer bounds would prove to."""
        exact = np.zeros(len(off))
        limit = self._greatest(case)
        fails, near = np.zeros((2, len(off)), dtype=bool)
        if limit is not None:
            fails, near = (bounds.sag_at_least(amounts, by) > limit * (1 + 1e-6) for by in (off, exact))
        some = np.flatnonzero(~fails)
        if self.worst and self.needs.criterion in CONVEX and batch.symmetric and len(some):
            bent, by = bounds.curvature(amounts[some], off[some], self.worst[case])
            for found, give in ((fails, by), (near, np.zeros_like(by))):
                effort = effort_at_least(batch.take(some), bent, give, self.needs.criterion)
                found[some] |= self.factor * effort > 1 + 1e-6
        return fails, near & ~fails

    def _greatest(self, case: int) -> float | None:
        """The greatest deflection that a load may bring anywhere; None where another is asked. [m]"""
        assert self.model is not None
        load = self.model.loads[case]
        if load.pressure and self.needs.deflection is not None:
            return self.needs.deflection
        return _FLAT * min(self.widths) if self.hand_limit(load.name) is None else None

    def _tube(self, batch: Batch, table: Table) -> None:
        """Of a tube: whether its wall buckles under push, moment and torque together, and its first ply."""
        own, factor = self.needs.tube, self.factor
        assert own is not None
        tube = Tube((own.diameter or 1.0) / 2, own.length or 1.0)
        push = (self.needs.push_x or 0.0) / self.widths[0]
        if push or own.bent or own.shear_flow:
            kind = CheckKind(
                name="buckling of the tube",
                formula="push/Np + moment/Nb + (torque/Nt)^2 = 1, knocked down, over the loads times the load factor",
                source=_TUBE,
                unit="-",
                limit=1.0,
                at_least=True,
                strength=True,
            )
            loads = (push, own.bent, own.shear_flow)
            table.add(kind, tube.factor(batch.d, batch.a, loads, core_shear_stiffness(batch)) / factor)
        cases = np.array([(c.nx, c.ny, c.nxy) for c in self.edges]) * factor
        strain = np.einsum("nij,cj->nci", np.linalg.inv(matrix_of(batch.a)), cases)
        edges = EdgeStrains(strain, np.ones(strain.shape[:2]), tuple(case.name for case in self.edges))
        for kind, value, limit in checks_of_edges(batch, self.needs.criterion, edges):
            table.add(kind, value, limit)

    def layups(self, batch: Batch) -> Floats:
        """D of stacks as the panel takes it, with the shear stiffness of their core where it counts that itself."""
        shear = core_shear_stiffness(batch)
        if shear is None:
            return batch.d
        return np.concatenate([batch.d, shear[:, None]], axis=1)

    def start(self, batch: Batch) -> Table:
        """The checks that need no panel: known figures, strips, the sheet in its own plane, thickness."""
        table = Table(len(batch.stack))
        if self.unknown(batch):
            kind = CheckKind(
                name="its figures are known",
                formula="where one is missing, nothing passes",
                source="a rule of ours",
                unit="-",
                limit=1.0,
                at_least=True,
                strength=True,
            )
            table.add(kind, np.zeros(len(batch.stack)))
        if self.old is not None and self.needs.stiffness:
            wanted = self.needs.stiffness * strip_stiffness(self.old.terms[None])[0]
            strips = strip_stiffness(batch.d)
            shear, spans = core_shear_stiffness(batch), self._spans()
            for axis, way in enumerate(("x", "y")):
                value = strips[:, axis]
                formula = f"1/(D^-1){axis + 1}{axis + 1}"
                if shear is not None and spans is not None:
                    value = 1 / (1 / value + 48 / (5 * shear * spans[axis] ** 2))
                    formula = f"1/(1/D + 48/(5 S L^2)), L = {spans[axis] * 1e3:.0f} mm"
                kind = CheckKind(
                    f"bending stiffness along {way}, against the old part",
                    formula,
                    _BEAM,
                    "N m",
                    float(wanted[axis]),
                    True,
                )
                table.add(kind, value)
        if self.old is not None and self.needs.in_plane:
            due = self.needs.in_plane * in_plane_stiffness(self.old.membrane[None])[0]
            has = in_plane_stiffness(batch.a)
            for axis, words in enumerate(("pulled along x", "pulled along y", "sheared in its plane")):
                at = (1, 2, 6)[axis]
                kind = CheckKind(
                    f"stiffness {words}, against the old part",
                    f"1/(A^-1){at}{at}",
                    _STRIP,
                    "N/m",
                    float(due[axis]),
                    True,
                )
                table.add(kind, has[:, axis])
        if self.shell is not None and self.old is not None and self.needs.stiffness:
            kind = CheckKind(
                "stiffness, curved as it is, against the old part",
                "mean deflection under an even 1 kPa; shallow shell, edges may slide",
                _SHELL,
                "m",
                self._old_sag() * 1e3,
                False,
            )
            table.add(kind, 1e3 * self.shell.mean_sag(batch.d, batch.a, core_shear_stiffness(batch)))
        if self.needs.joined and not self.unknown(batch):
            for joint, has, most in checks_of_joints(batch, self.needs, self.factor):
                table.add(joint, has, most)
        if self.needs.greatest_thickness is not None:
            kind = CheckKind(
                "no thicker than it may be",
                "cured plies, core and films of the average build",
                "volume balance",
                "m",
                self.needs.greatest_thickness,
                False,
            )
            plies = [ply.layer.thickness for ply in batch.bench.plies]
            average = np.append(plies, 0.0 if batch.core is None else batch.core.thickness)
            film = batch.bench.film_thickness
            films = film[batch.stack[:, 0]] + film[batch.stack[:, -1]]
            table.add(kind, average[batch.stack].sum(axis=1) + films)
        return table

    def _old_sag(self) -> float:
        """Mean deflection under a pascal that the curved old part allows. [m/Pa]"""
        assert self.shell is not None
        assert self.old is not None
        due = self.needs.stiffness * self.curve_factor
        return float(self.shell.mean_sag(self.old.terms[None], self.old.membrane[None])[0]) / due

    def times_as_stiff(self, batch: Batch) -> float | None:
        """How many times as stiff as the old part the first stack is on the real surface; None where that is flat."""
        if self.surface is None or self.shell is None or self.old is None or not self.needs.stiffness:
            return None
        shear = core_shear_stiffness(batch)
        own = self.surface.mean_sag(batch.d[0], batch.a[0], None if shear is None else float(shear[0]))
        return self.surface.mean_sag(self.old.terms, self.old.membrane) / own

    def finer(self, batch: Batch, times: float) -> Assessment:
        """How stacks fare on so many times as many triangles, the first of them exact there."""
        model = self.model
        assert model is not None
        panel, sides = model.panel, self.needs.supports
        held = sides if isinstance(sides, str) else {str(side): str(how) for side, how in sides.items()}
        count = int(times * len(panel.mesh.triangles))
        fine = build_panel(panel.shape, held, self.needs.held_at, count=count, finest=panel.mesh.step / times**0.5)
        pushed = [case.pressed for case in self.buckling]
        drawn = PanelModel.draw(fine, model.loads, [self.layups(batch)[0]], pushed)
        return replace(self, model=drawn, worst=()).assess(batch)

    def refined(
        self, batch: Batch, held: Assessment, under: float = np.inf
    ) -> tuple[Assessment, float, dict[str, float]]:
        """The first stack's figures read on finer meshes, until two doublings move none of those asked for by `WITHIN`.

        Args:
            batch: The stack.
            held: How it fares on the mesh it was searched on.
            under: Strengths are asked for whose reserve is under this. [-]

        Returns:
            The figures; on how many times as many triangles; and by what share those reserves moved at the last
            doubling that had not settled by then.
        """
        times, moved = 1.0, np.empty(0)
        if self.model is None or not self.needs.pressed:
            return held, times, {}
        asked = [
            k for k, kind in enumerate(held.kinds) if kind.measured and kind.strength and held.reserves[0][k] < under
        ]
        settled = 0
        while asked and times < MOST_TIMES and settled < 2:  # one step alone may stand still by chance
            times *= 2
            last, held = held, self.finer(batch, times)
            moved = held.reserves[0][asked] / last.reserves[0][asked] - 1
            settled = settled + 1 if (np.abs(moved) <= WITHIN).all() else 0
        names = [held.kinds[k].name for k in asked]
        return held, times, {n: float(v) for n, v in zip(names, moved, strict=False) if abs(v) > WITHIN}

    def on_surface(self, batch: Batch) -> Assessment:
        """What the first stack does on its own surface, and past small deflections: checks beside those of `assess`.

        A curved panel goes through all of them; a flat one through those of the loads under which the straight-line
        answer is more than half its thickness. Loads across act both ways.

        Args:
            batch: The stack, known to pass `assess`.

        Returns:
            Values, limits and reserves, one row.
        """
        surface, table = self.surface, Table(1)
        if surface is None or self.model is None or self.unknown(batch):
            return table.assessment()
        shear = core_shear_stiffness(batch)
        own = (batch.d[0], batch.a[0], None if shear is None else float(shear[0]))
        times = self.times_as_stiff(batch)
        if times is not None:
            kind = CheckKind("stiffness on its own surface, against the old part",
                             "times as stiff as the old one, curved alike, under an even pressure", _SURFACE, "-",
                             self.needs.stiffness, True)  # fmt: skip
            table.add(kind, np.array([times]))
        for load in self.model.loads[1:]:
            self._loaded_on_surface(batch, load, own, table)
        for edge in self.buckling if self.shell is not None else ():
            kind = CheckKind(f"buckling on its own surface under the {edge.name}",
                             "critical load, its stretching knocked down, over load times load factor",
                             f"{_TUBE}; {_SURFACE}", "-", 1.0, True, strength=True)  # fmt: skip
            table.add(kind, np.array([surface.knocked_down(edge.pressed, *own) / self.factor]))
        if self.shell is not None:
            loads = [surface.edge @ (self.factor * np.array(edge.pressed)) for edge in self.edges]
            states = [surface.pushed(load, *own) for load in loads]
            self._strained(batch, "edge loads on its own surface", states, table)
        return table.assessment()

    def _loaded_on_surface(
        self, batch: Batch, load: PanelLoad, own: tuple[Floats, Floats, float | None], table: Table
    ) -> None:
        """Deflection and strength of one stack under one load across the panel, both ways."""
        surface, model = self.surface, self.model
        assert surface is not None
        assert model is not None
        vector = surface.even(load.pressure)
        if load.force:
            nodes = model.panel.nodes
            vector[2 * nodes : 3 * nodes] += model.panel.load_vector(load)[:nodes]
        small = surface.moved(vector, *own)

        def sag(unknowns: Floats) -> float:
            return float(vector @ unknowns / load.force if load.force else np.abs(surface.sag(unknowns)).max())

        limit = self.needs.deflection if load.pressure else self.hand_limit(load.name)
        limit = _FLAT * min(self.widths) if limit is None else limit
        large = np.abs(surface.sag(small)).max() > float(batch.thickness[0]) / 2
        if self.shell is None and not large:
            return
        at = f"{load.name} on its own surface" if self.shell is not None else f"{load.name}, large deflection"
        states, deepest = [self.factor * small, -self.factor * small], sag(small)
        if large:
            both = (1, -1) if self.shell is not None else (1,)
            start = _stretched(np.abs(surface.sag(small)).max() / float(batch.thickness[0])) * small
            first = start if self.shell is None else None  # a curved one may snap on its way
            ways = [surface.bent(sign * vector, *own, steps=(1.0, self.factor), start=first) for sign in both]
            states = [way[1] for way in ways if len(way) == 2]
            deepest = max(abs(sag(way[0])) if len(way) == 2 else np.inf for way in ways)
        what = "von Karman's stretching of the middle counted" if large else "small deflection"
        under = "mean w under the patch" if load.force else "greatest w"
        kind = CheckKind(f"deflection, {at}", f"{under}, {what}; infinite where it snaps through", _SURFACE, "m", limit,
                         False)  # fmt: skip
        table.add(kind, np.array([deepest]))
        self._strained(batch, at, states, table, large)

    def _strained(self, batch: Batch, name: str, states: Sequence[Floats], table: Table, large: bool = False) -> None:
        """Strength of one stack where the elements read it: no nearer to a sharp corner than elsewhere."""
        surface, model = self.surface, self.model
        assert surface is not None
        assert model is not None
        if not states:
            return
        rings = [model.panel.shape.exterior, *model.panel.shape.interiors]
        sharp = np.concatenate([sharp_corners(np.asarray(ring.coords)[:-1, :2]) for ring in rings])
        near = np.hypot(*(surface.places[:, None, :2] - sharp).transpose(2, 0, 1)).min(axis=1, initial=np.inf)
        kept = near >= model.panel.unread
        read = [[part[kept] for part in surface.strains(state, large)] for state in states]
        strain, curvature = (np.concatenate(part) for part in zip(*read, strict=True))
        for kind, value, due in checks_of_strains(batch, name, strain, curvature, self.needs.criterion):
            table.add(kind, value, due)

    def _spans(self) -> tuple[float, float] | None:
        """Between the supports of a strip along x, and of one along y; None where nothing says it. [m]"""
        if self.model is not None:
            return self.widths[1], self.widths[0]
        return None if self.needs.span is None else (self.needs.span, self.needs.span)

    def panel_checks(self, batch: Batch, amounts: Floats, add: Callable[..., None]) -> None:
        """Deflection, frequency and buckling of stacks whose panel bends by these amounts of the shapes."""
        model, needs = self.model, self.needs
        assert model is not None
        work = model.own_work(amounts)
        if self.old is not None and needs.stiffness:
            area = model.panel.shape.area * model.loads[0].pressure
            add(CheckKind("stiffness of the whole panel, against the old part",
                          "mean deflection under an even 1 kPa, core shear counted", _PLATE, "m",
                          self.old_work / area / needs.stiffness, False),
                self._mean_sag(work))  # fmt: skip
        loads = {case.pressed: self._buckles(batch, case) for case in self.edges}
        swell = np.ones(len(batch.stack))
        for value in loads.values():  # a push at the bare load makes a pressed panel give more
            swell = np.maximum(swell, _swell(value))
        swollen = " and pushed" if self.buckling else ""
        sag = model.greatest_sag(amounts)
        for case, load in enumerate(model.loads[1:], 1):
            limit, due = self.hand_limit(load.name), self._greatest(case)
            if load.pressure and needs.deflection is not None:
                add(CheckKind(f"deflection, {load.name}{swollen}", "greatest w, core shear counted", _PLATE, "m",
                              needs.deflection, False, measured=True), sag[:, case] * swell)  # fmt: skip
            elif due is not None:
                add(CheckKind(f"stays a flat panel, {load.name}{swollen}", "greatest w at most a twentieth of the span",
                              "range of the theory; common practice, no source", "m", due, False, measured=True),
                    sag[:, case] * swell)  # fmt: skip
            if load.force and limit is not None:
                add(CheckKind(f"deflection under the patch, {load.name}{swollen}",
                              "mean w under the patch, core shear counted", _PLATE, "m", limit, False),
                    work[:, case] / load.force * swell)  # fmt: skip
        if self.shell is not None and needs.pressed:
            safe = self.shell.safe_sag(batch.d, batch.a)
            for case, load in enumerate(model.loads[1:], 1):
                kind = CheckKind(
                    name=f"does not snap through, {load.name}{swollen}",
                    formula="laid flat it would give less than its rise, on the load times the load factor",
                    source=_ARCH,
                    unit="m",
                    limit=None,
                    at_least=False,
                    strength=True,
                    measured=True,
                )
                add(kind, np.where(np.isinf(safe), 0.0, self.factor * sag[:, case] * swell), safe)
        if needs.frequency is not None:
            hertz = model.frequencies(self.layups(batch), batch.areal_weight)[0]
            kind = CheckKind(
                "natural frequency", "lowest mode, core shear counted", _PLATE, "Hz", needs.frequency, True
            )
            add(kind, hertz)
        for edge in self.buckling:
            add(
                CheckKind(
                    name=f"buckling under the {edge.name}",
                    formula="critical load over load times load factor, core shear counted",
                    source=f"{_GERE}; {_PLATE}",
                    unit="-",
                    limit=1.0,
                    at_least=True,
                    strength=True,
                ),
                loads[edge.pressed] / self.factor,
            )

    def _buckles(self, batch: Batch, case: EdgeCase) -> Floats:
        """Factor on edge loads at which the panel buckles, the help of pulls left out, (n,). [-]"""
        assert self.model is not None
        nx, ny, nxy = case.pressed
        nx, ny = max(nx, 0.0), max(ny, 0.0)
        if not (nx or ny or nxy):
            return np.full(len(batch.stack), np.inf)
        buckles = self.model.factors(self.layups(batch), nx, ny, nxy)[0]
        if self._curve_helps(case):
            assert self.shell is not None
            helped = self.shell.knocked_down(batch.d, batch.a, nx, ny, core_shear_stiffness(batch))
            even = np.abs(batch.d[:, 3:5]).max(axis=1) < 0.02 * (batch.d[:, 0] + batch.d[:, 2])
            buckles = np.where(even, np.maximum(buckles, helped), buckles)
        return np.asarray(buckles)

    def _curve_helps(self, case: EdgeCase) -> bool:
        """Whether the curve counts in buckling: a rectangle held all round, pushed along its straight way, not sheared.

        Pushed across it bends as an arch from the first newton on, so there it counts as flat.
        """
        if self.shell is None or self.model is None or case.nxy or self.needs.supports != "simple":
            return False
        ways = ((case.nx, self.shell.kx, self.shell.a), (case.ny, self.shell.ky, self.shell.b))
        if any(force and abs(k) * side / 8 > FLAT_ENOUGH for force, k, side in ways):
            return False
        shape = self.model.panel.shape
        return not shape.interiors and shape.area > 0.98 * self.widths[0] * self.widths[1]

    def _edge_strains(self, batch: Batch) -> EdgeStrains:
        """What the edge loads times the load factor do to the stacks, case by case, none first."""
        n = len(batch.stack)
        if not self.edges:
            return EdgeStrains.none(n)
        loads = np.array([(c.nx, c.ny, c.nxy) for c in self.edges]) * self.factor
        strain = np.einsum("nij,cj->nci", np.linalg.inv(matrix_of(batch.a)), loads)
        swell = np.stack([_swell(self._buckles(batch, case) / self.factor) for case in self.edges], axis=1)
        return EdgeStrains(
            np.concatenate([np.zeros((n, 1, 3)), strain], axis=1),
            np.concatenate([np.ones((n, 1)), swell], axis=1),
            ("", *(case.name for case in self.edges)),
        )

    def _strength(self, batch: Batch, rows: Ints, amounts: Floats, table: Table, quick: bool) -> None:
        """Strength under every load; with `quick` only of stacks that passed so far, the others count as sound.

        Args:
            batch: The stacks that are looked at.
            rows: Their places in the table.
            amounts: Of the shapes under every load, (n, b, cases).
            table: Where the checks go.
            quick: As in `assess`.
        """
        model = self.model
        assert model is not None
        sound = table.assessment().passed[rows] if quick else np.ones(len(rows), dtype=bool)
        alive = np.flatnonzero(sound)
        if not len(alive):
            return
        some = batch.take(alive)
        edges = self._edge_strains(some)
        if self.edges:
            for kind, value, limit in checks_of_edges(some, self.needs.criterion, edges):
                table.add_some(kind, rows[alive], value, limit)
        for case in range(1, len(model.loads)):
            for kind, value, limit in self.strength_of_load(some, case, amounts[alive, :, case], edges=edges):
                table.add_some(kind, rows[alive], value, limit)

    def strength_of_load(
        self, batch: Batch, case: int, amounts: Floats, corners: Ints | None = None, edges: EdgeStrains | None = None
    ) -> Iterator[tuple[CheckKind, Floats, Floats | float]]:
        """Strength checks under one load, at some corners of the mesh or at all.

        Args:
            batch: The stacks.
            case: Number of the load.
            amounts: Of the shapes under it, (n, b).
            corners: Corner numbers; all if None.
            edges: What the edge loads do; nothing if None.

        Returns:
            Kind, value and limit of each check.
        """
        assert self.model is not None
        bend = self.model.bend if corners is None else self.model.bend[corners]
        first = self.worst[case] if self.worst and corners is None else np.arange(len(bend))
        shear = core_shear_stiffness(batch)
        none = np.zeros(len(batch.stack))
        force = none if shear is None else self.model.shear_force(amounts[:, :, None], shear)[:, 0]
        for kind, value, limit in checks_of_load(
            batch=batch,
            load=self.model.loads[case],
            amounts=amounts,
            bend=bend,
            first=first,
            shear_force=force,
            factor=self.factor,
            criterion=self.needs.criterion,
            edges=edges or EdgeStrains.none(len(batch.stack)),
        ):
            yield replace(kind, measured=True), value, limit

    def hand_limit(self, name: str) -> float | None:
        """Deflection allowed under a hand load of that name. [m]"""
        for place in (self.needs, *self.needs.local):
            zone = getattr(place, "zone", None)
            if name == ("hand load" if zone is None else f"hand load on {zone}"):
                return place.hand_deflection
        return None

    def _mean_sag(self, work: Floats) -> Floats:
        """Mean deflection under the even pressure. [m]"""
        assert self.model is not None
        return np.asarray(work[:, 0] / (self.model.panel.shape.area * self.model.loads[0].pressure))

    def mean_sag(self, batch: Batch) -> Floats:
        """Mean deflection of the panel, with its curve where that counts, under an even kilopascal, (n,). [m]"""
        assert self.model is not None
        if self.shell is not None:
            return 1e3 * self.shell.mean_sag(batch.d, batch.a, core_shear_stiffness(batch))
        return self._mean_sag(self.model.own_work(self.model.respond(self.layups(batch))))

    def unknown(self, batch: Batch) -> tuple[str, ...]:
        """Figures that the checks need of these stacks and no table gives; where there is one, none of them passes."""
        used = {int(c) for c in np.unique(batch.stack) if c != CORE}
        out = [said for k in sorted(used) for said in lacks_of_ply(batch.bench.plies[k], self.needs)]
        if batch.core is not None:
            out += lacks_of_core(batch.core, self.needs)
            if self.model is None and self.needs.span is None and self.old is not None and self.needs.stiffness:
                out.append('the free span of a strip, for the shear of the core: span = "300 mm" under [needs]')
        if self.needs.edge_loaded and not batch.symmetric:
            out.append("what edge loads do to a stack that is not symmetric: they bend it, and that is not modelled")
        return tuple(dict.fromkeys(out))

    def blocked(self, batch: Batch) -> tuple[str, ...]:
        """What can't be checked of these stacks, for a person.

        Returns:
            One sentence a figure that is missing.
        """
        return tuple(f"Not checked, and so not passed, for want of {said}." for said in self.unknown(batch))

    def limits(self, d: Floats | None = None, a: Floats | None = None) -> list[Limit]:
        """Limits that every stack must keep to, sharp at one layup; without a layup, those that any check starts from.

        Args:
            d: Six numbers of the layup, (6,). [N m]
            a: Six numbers of its A, (6,). [N/m]

        Returns:
            Limits on D, and on A.
        """
        out: list[Limit] = []
        if self.old is not None and self.needs.stiffness:
            wanted = self.needs.stiffness * strip_stiffness(self.old.terms[None])[0]
            out += [limit_of_strip(axis, float(wanted[axis]), d) for axis in (0, 1)]
        if self.old is not None and self.needs.in_plane:
            due = self.needs.in_plane * in_plane_stiffness(self.old.membrane[None])[0]
            out += [limit_in_plane(axis, float(due[axis]), a) for axis in (0, 1, 2)]
        if self.shell is not None and self.old is not None and self.needs.stiffness:
            at = (self.old.terms, self.old.membrane) if d is None or a is None else (d, a)
            out.append(self.shell.limit(*at, self._old_sag()))
        model, needs = self.model, self.needs
        if model is None:
            return out
        if d is None:
            d = np.array([1.0, 0.2, 1.0, 0.0, 0.0, 0.4]) if self.old is None else self.old.terms
        amounts = model.respond(d[None])[0]
        if self.old is not None and needs.stiffness:
            out.append(model.limit_of_work(amounts[:, 0], 0, self.old_work / needs.stiffness))
        flat = _FLAT * min(self.widths)
        for case, load in enumerate(model.loads[1:], 1):
            if load.pressure:  # the mean is the greatest over `peak` or less
                sag = flat if needs.deflection is None else needs.deflection
                most = sag / self.peak * load.pressure * model.panel.shape.area
                out.append(model.limit_of_work(amounts[:, case], case, most))
            if load.force:  # and the mean under a patch is no more than the greatest
                limit = self.hand_limit(load.name)
                most = (flat if limit is None else limit) * load.force
                out.append(model.limit_of_work(amounts[:, case], case, most))
        if needs.frequency is not None:
            out.append(model.limit_of_frequency(model.frequencies(d[None], np.ones(1))[1][0], needs.frequency))
        for edge in self.buckling:
            if self._curve_helps(edge):  # the sines are a little stiffer than the elements: 3 % is given
                at = (d, _plain(d) if a is None else a)
                assert self.shell is not None
                out.append(self.shell.limit_of_push(*at, edge.pressed[0], edge.pressed[1], 0.97 * self.factor))
                continue
            shape = model.factors(d[None], *edge.pressed)[1][0]
            out.append(model.limit_of_push(shape, edge.pressed, self.factor))
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

    def add_some(self, kind: CheckKind, which: Ints, value: Floats, limit: Floats | float | None = None) -> None:
        """One more check that only some stacks went through; the others count as sound."""
        own = limit if limit is not None else kind.limit
        assert own is not None
        whole, due = np.full(self.count, np.inf if kind.at_least else 0.0), np.ones(self.count)
        whole[which], due[which] = value, own
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


def lacks_of_ply(ply: PlyChoice, needs: Needs) -> list[str]:
    """Figures of a ply that the checks need and no table gives."""
    if not (needs.loaded or needs.joined):
        return []
    wanted = ("xt", "yt", "s") if needs.criterion == "Tsai-Hill" else ("xt", "xc", "yt", "yc", "s")
    lacking = any(getattr(ply.cured.allowables, name) is None for name in wanted)
    return list(ply.cured.missing) if lacking else []


def lacks_of_core(core: CoreChoice, needs: Needs) -> list[str]:
    """Figures of a core that the checks need and no table gives."""
    own = core.properties
    wanted = [("shear_modulus", own.shear_modulus)]
    if needs.loaded:
        wanted.append(("compressive_modulus", own.modulus))
        wanted += [("cell_size", own.cell_size)] if own.honeycomb else []
    if needs.pressed or needs.inserts:
        wanted.append(("shear_strength", own.shear_strength))
    if needs.pressed:
        wanted.append(("compressive_strength", own.crushing_strength))
    return [f'{name} of core "{own.name}"' for name, value in wanted if not value]


def _plain(d: Floats) -> Floats:
    """A of a solid millimetre with the D of a layup in all proportions: a place to begin. [N/m]"""
    return 12e6 * d


def _stretched(times: float) -> float:
    """About what share of the straight-line answer a flat panel gives: c + 0.3 (c w/t)^3 t/w = 1, to begin with. [-]"""
    root = np.sqrt(0.9) * times
    return float(2 / root * np.sinh(np.arcsinh(1.5 * root) / 3))


def _swell(factor: Floats) -> Floats:
    """How much more a panel bends that a push brings so near to buckling: 1/(1 - 1/factor).

    Source: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, beam-columns (from memory).
    """
    near = factor <= 1 / (1 - 1 / _PAST_BUCKLING)
    return np.where(near, _PAST_BUCKLING, 1 / (1 - 1 / np.where(near, 2.0, factor)))


def _spread(model: PanelModel, mixes: Floats) -> tuple[float, tuple[Ints, ...]]:
    """Least ratio of greatest to mean deflection under an even pressure, less 15 %; and the corners that bend most."""
    peak = np.inf
    area = model.panel.shape.area * model.loads[0].pressure
    for start in range(0, len(mixes), 500):
        amounts = model.respond(mixes[start : start + 500])
        mean = model.own_work(amounts)[:, 0] / area
        peak = min(peak, float((model.greatest_sag(amounts)[:, 0] / mean).min()))
    return max(1.0, _PEAK_LEFT * peak), corners_that_bend_most(model.bend, model.respond(mixes[:24]))
