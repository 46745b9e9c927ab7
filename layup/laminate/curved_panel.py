r"""A curved panel by finite elements on its own surface: how far it gives, how it buckles, for any outline and edges.

- How far does it give under an even pressure, on average?        `CurvedPanel.mean_sag`
- Where does it go under a load, small or past that?              `CurvedPanel.moved`, `CurvedPanel.bent`
- How is it strained there?                                       `CurvedPanel.strains`
- At what push, pull and shear does it buckle?                    `CurvedPanel.buckling`; in real life, `knocked_down`
- The surface over the panel's plane, from its points?            `heights_over`

A shell of Naghdi's kind on quadratic triangles that follow the surface: three displacements of each node and two turns
of the fibre through it, stretching, bending and shear all taken at three points of each triangle so that they don't
lock. Good for any slope of the surface. In its plane a supported edge is held along itself, as by its screws, and may
slide across; a clamped one is held both ways.

Past small deflections the stretching that the slopes force counts (von Karman's, in the surface's own frame: turns up
to some 15 degrees), found by Newton's method in steps. A panel that snaps through on its way has no answer.

Buckling: what the edge loads do in the panel's plane, edges free to slide, as in the flat panel; then the lowest load
at which normal deflections take no energy more. Tests of cylinders never reach it, so for design only g^2 of the
stretching counts, g their share (`layup.laminate.shallow_shell.cylinder_knock_down`, NASA SP-8007), and none beyond
those tests: a wide panel, 2 (D A)^(1/2)/R, then buckles at g of the classical load, a narrow one never under the flat.
Source: Naghdi, Handbuch der Physik VIa/2, 1972; Ahmad, Irons & Zienkiewicz, Int. J. Num. Meth. Eng. 2 (1970) 419;
von Karman 1910 (all from memory). Held against published shells in tests/published/test_shell_panels.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import STIFFEST, Edge, Panel, matrix_of
from layup.laminate.panel_model import seven
from layup.laminate.shallow_shell import LARGEST_R_OVER_T, curvature_of, cylinder_knock_down, solid_as_stiff

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import SuperLU

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_LEAST_STRIDE = 1 / 64
"""Of the load: where no state is found from so near, the panel has snapped through. [-]"""
_LAST_SHARE = 1e-6
"""Of the stretching where none counts: some is left, or the panel would be loose in its plane. [-]"""


def heights_over(panel: Panel, points: Floats) -> Floats:
    """Height of a surface at the nodes of a panel, (nodes,).

    Args:
        panel: Flat, in its own plane. [m]
        points: Of the surface, x, y in the plane and z out of it, (n, 3). [m]
    Returns:
        Between the points on the triangles that join them; at an edge that of the nearest. [m]
    """
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

    at = np.asarray(panel.basis.doflocs).T
    found = LinearNDInterpolator(points[:, :2], points[:, 2])(at)
    near = NearestNDInterpolator(points[:, :2], points[:, 2])(at)
    return np.asarray(np.where(np.isnan(found), near, found))


def _quadratic() -> tuple[Floats, Floats, Floats]:
    """Of corners, then the middles of edges 01, 12, 02: values (6, q), slopes (6, 2, q) at three points; slopes at the
    six nodes (6, 2, 6).
    """

    def at(r: Floats, s: Floats) -> tuple[Floats, Floats]:
        first, one, zero = 1 - r - s, np.ones_like(r), np.zeros_like(r)
        corner, along = np.stack([first, r, s]), np.array([[-one, -one], [one, zero], [zero, one]])
        pairs = ((0, 1), (1, 2), (0, 2))
        value = [c * (2 * c - 1) for c in corner] + [4 * corner[i] * corner[j] for i, j in pairs]
        slope = [g * (4 * c - 1) for c, g in zip(corner, along, strict=True)]
        slope += [4 * (corner[i] * along[j] + corner[j] * along[i]) for i, j in pairs]
        return np.array(value), np.array(slope)

    values, slopes = at(np.array([1, 4, 1]) / 6, np.array([1, 1, 4]) / 6)
    return values, slopes, at(np.array([0, 1, 0, 0.5, 0.5, 0]), np.array([0, 0, 1, 0, 0.5, 0.5]))[1]


@dataclass(frozen=True)
class CurvedPanel:
    """A panel on its surface; make it with `CurvedPanel.of` or `CurvedPanel.over`.

    Its unknowns are x of all nodes, then y, z, and the two ways in which the fibre through a node tips, along `across`.

    Attributes:
        points: Nodes on the surface, (n, 3). [m]
        cells: Of each triangle three corners, then the middles of its edges 01, 12, 02, (m, 6).
        moves: What each node may do, a projection on it, (n, 3, 3). [-]
        tips: The same of the fibre through it, (n, 3, 3). [-]
        edge: Loads of one newton a metre of push along x, along y, and of shear, on the outer edges, (5 n, 3). [m]
    """

    points: Floats
    cells: Ints
    moves: Floats = field(repr=False)
    tips: Floats = field(repr=False)
    edge: Floats = field(repr=False)

    @classmethod
    def over(cls, panel: Panel, heights: Floats) -> CurvedPanel:
        """A panel lifted to a surface, held as it is.

        Args:
            panel: Flat, with its supports.
            heights: Of the surface at its nodes, (nodes,). [m]
        """
        n, rows = panel.nodes, panel.spread.tocsr()
        points = np.column_stack([np.asarray(panel.basis.doflocs).T, heights])
        may = (rows @ rows.T).tocsr()
        # what may turn across an edge may slide across it
        plane = np.array(
            [[may.diagonal()[n : 2 * n], may.diagonal(n)[n:]], [may.diagonal(n)[n:], may.diagonal()[2 * n :]]]
        )
        moves = np.zeros((n, 3, 3))
        moves[:, :2, :2] = plane.transpose(2, 0, 1)
        moves[:, 2, 2] = may.diagonal()[:n]
        bare = cls(points, panel.unknowns[:, :6], moves, moves, _edge_loads(panel))
        normal = bare.normals
        held = np.linalg.eigh(moves[:, :2, :2])[1][:, :, 0]  # along the edge where one way is free
        along = np.column_stack([held, -(normal[:, :2] * held).sum(axis=1) / normal[:, 2]])
        tip = np.cross(normal, along / np.linalg.norm(along, axis=1)[:, None])
        free = np.rint(plane[0, 0] + plane[1, 1])[:, None, None]
        tips = np.where(free == 1, tip[:, :, None] * tip[:, None, :], (free > 1) * np.eye(3))
        return cls(points, bare.cells, moves, tips, bare.edge)

    @cached_property
    def _geometry(self) -> tuple[Floats, Floats, Floats]:
        """Own axes (m, q, 3, 3), slopes of the functions along the first two (m, 6, 2, q), areas (m, q)."""
        slopes = _quadratic()[1]
        corner = self.points[self.cells]
        tangent = np.einsum("mix,iaq->mqax", corner, slopes)
        normal = np.cross(tangent[:, :, 0], tangent[:, :, 1])
        size = np.linalg.norm(normal, axis=-1)
        normal *= np.sign(normal[:, :1, 2:].sum(axis=1, keepdims=True)) / size[:, :, None]  # facing up
        first = np.array([1.0, 0.0, 0.0]) - normal[:, :, :1] * normal
        first /= np.linalg.norm(first, axis=-1, keepdims=True)
        axes = np.stack([first, np.cross(normal, first), normal], axis=2)
        jacobian = np.einsum("mqax,mqbx->mqab", tangent, axes[:, :, :2])
        own = np.einsum("mqba,iaq->mibq", np.linalg.inv(jacobian), slopes)
        return axes, own, size / 6

    @cached_property
    def normals(self) -> Floats:
        """Of the surface at each node, the mean of the triangles that meet there, (n, 3). [-]"""
        tangent = np.einsum("mix,iaq->mqax", self.points[self.cells], _quadratic()[2])
        normal = np.cross(tangent[:, :, 0], tangent[:, :, 1])
        normal *= np.sign(normal[:, :, 2].sum(axis=1))[:, None, None]
        out = np.zeros_like(self.points)
        np.add.at(out, self.cells, normal)
        return np.asarray(out / np.linalg.norm(out, axis=1, keepdims=True))

    @cached_property
    def across(self) -> Floats:
        """Two ways at right angles to the normal of each node, (n, 2, 3). [-]"""
        least = np.eye(3)[np.abs(self.normals).argmin(axis=1)]
        one = np.cross(self.normals, least)
        one /= np.linalg.norm(one, axis=1, keepdims=True)
        return np.stack([one, np.cross(self.normals, one)], axis=1)

    @cached_property
    def places(self) -> Floats:
        """At which strains are read, (m q, 3). [m]"""
        return np.asarray(np.einsum("iq,mix->mqx", _quadratic()[0], self.points[self.cells]).reshape(-1, 3))

    @cached_property
    def _numbers(self) -> Ints:
        n = len(self.points)
        return np.concatenate([self.cells + k * n for k in range(5)], axis=1)

    @cached_property
    def _strain(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Of each triangle's thirty numbers: stretch, curvature (m, 3, 30, q), shear, slopes of w (m, 2, 30, q)."""
        axes, slopes, _ = self._geometry
        values = _quadratic()[0]
        m, q = len(self.cells), values.shape[1]
        fibre, ways = self.normals[self.cells], self.across[self.cells]
        stretch, bend = np.zeros((2, m, 3, 30, q))
        shear, tilt = np.zeros((2, m, 2, 30, q))
        mean = np.einsum("iq,mix->mqx", values, fibre)
        turning = np.einsum("miaq,mix->mqax", slopes, fibre)
        for k in range(5):
            at = slice(6 * k, 6 * k + 6)
            if k < 3:
                own, of = axes[:, :, :2, k].transpose(0, 2, 1)[:, :, None], stretch  # (m, 2, 1, q)
                shear[:, :, at] = slopes.transpose(0, 2, 1, 3) * mean[:, None, None, :, k]
                tilt[:, :, at] = slopes.transpose(0, 2, 1, 3) * axes[:, :, 2, k][:, None, None]
                rate = turning[:, :, :, k].transpose(0, 2, 1)[:, :, None]
                bend[:, 0, at], bend[:, 1, at] = slopes[:, :, 0] * rate[:, 0], slopes[:, :, 1] * rate[:, 1]
                bend[:, 2, at] = slopes[:, :, 1] * rate[:, 0] + slopes[:, :, 0] * rate[:, 1]
            else:
                own, of = np.einsum("mqax,mix->maiq", axes[:, :, :2], ways[:, :, k - 3]), bend
                shear[:, :, at] = own * values
            of[:, 0, at] += own[:, 0] * slopes[:, :, 0]
            of[:, 1, at] += own[:, 1] * slopes[:, :, 1]
            of[:, 2, at] += own[:, 0] * slopes[:, :, 1] + own[:, 1] * slopes[:, :, 0]
        return stretch, bend, shear, tilt

    def _spread(self, moves: Floats, tips: Floats) -> csc_matrix:
        """From what may move to all unknowns."""
        from scipy.sparse import coo_matrix

        n = len(self.points)
        flat = np.einsum("nax,nxy,nby->nab", self.across, tips, self.across)
        rows, values, count = [], [], []
        for shift, part in ((0, moves), (3 * n, flat)):
            share, way = np.linalg.eigh(part)
            node, column = np.nonzero(share > 0.5)
            rows.append(shift + node[:, None] + n * np.arange(part.shape[1]))
            values.append(way[node, :, column])
            count.append(np.repeat(len(rows[-1]), 1))
        columns = [np.repeat(np.arange(len(rows[0])), 3), len(rows[0]) + np.repeat(np.arange(len(rows[1])), 2)]
        ij = (np.concatenate([r.ravel() for r in rows]), np.concatenate(columns))
        shape = (5 * n, len(rows[0]) + len(rows[1]))
        return coo_matrix((np.concatenate([v.ravel() for v in values]), ij), shape=shape).tocsc()

    @cached_property
    def _held(self) -> csc_matrix:
        return self._spread(self.moves, self.tips)

    @cached_property
    def _sliding(self) -> csc_matrix:
        """While edge loads build up: what is held out of its plane alone."""
        moves = self.moves.copy()
        moves[:, :2, :2] = np.eye(2)
        return self._spread(moves, self.tips)

    def _assembled(self, blocks: Floats, spread: csc_matrix) -> csc_matrix:
        from scipy.sparse import coo_matrix

        rows, columns = np.repeat(self._numbers, 30, axis=1).ravel(), np.tile(self._numbers, (1, 30)).ravel()
        whole = coo_matrix((blocks.ravel(), (rows, columns)), shape=(spread.shape[0],) * 2).tocsc()
        found: csc_matrix = (spread.T @ whole @ spread).tocsc()
        return found

    def _blocks(self, d: Floats, a: Floats, shear: float | None, stretch: Floats | None = None) -> Floats:
        """Stiffness of each triangle, (m, 30, 30)."""
        own, bend, slip, _ = self._strain
        area = self._geometry[2]
        stretch = own if stretch is None else stretch
        s = seven(d if shear is None else np.append(d, shear), STIFFEST / self.step**2)[6]
        out = np.einsum("miaq,ij,mjbq,mq->mab", bend, matrix_of(d), bend, area, optimize=True)
        out += np.einsum("miaq,ij,mjbq,mq->mab", stretch, matrix_of(a), stretch, area, optimize=True)
        return np.asarray(out + s * np.einsum("miaq,mibq,mq->mab", slip, slip, area, optimize=True))

    @property
    def step(self) -> float:
        """Side of a triangle, on average. [m]"""
        return float(np.sqrt(self.area / len(self.cells) * 4 / np.sqrt(3)))

    @property
    def area(self) -> float:
        """Of the surface. [m^2]"""
        return float(self._geometry[2].sum())

    def even(self, pressure: float = 0.0, weight: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Floats:
        """Work on each unknown of a pressure along the normal and of a load along x, y, z, both even, (5 n,).

        Args:
            pressure: [Pa]
            weight: [Pa]
        Returns:
            [N]
        """
        axes, _, area = self._geometry
        load = pressure * axes[:, :, 2] + np.array(weight)
        out = np.zeros(5 * len(self.points))
        for k in range(3):
            np.add.at(
                out,
                self._numbers[:, 6 * k : 6 * k + 6],
                np.einsum("iq,mq,mq->mi", _quadratic()[0], load[:, :, k], area),
            )
        return out

    def moved(self, load: Floats, d: Floats, a: Floats, shear: float | None = None) -> Floats:
        """All unknowns under a load, small deflections, (5 n,).

        Args:
            load: Work on each unknown, (5 n,). [N]
            d: Six numbers of D, (6,). [N m]
            a: Six numbers of A, (6,). [N/m]
            shear: Shear stiffness of a core; none gives if None. [N/m]
        Returns:
            [m, -]
        """
        return self._solved(load, self._blocks(d, a, shear), self._held, a)

    def _solved(self, load: Floats, blocks: Floats, spread: csc_matrix, a: Floats) -> Floats:
        return np.asarray(spread @ _factored(self._stiff(blocks, spread, a)).solve(spread.T @ load))

    def _stiff(self, blocks: Floats, spread: csc_matrix, a: Floats) -> csc_matrix:
        plane = spread[: 2 * len(self.points)]
        slack = 1e-9 * float(a[0] + a[2]) * (plane.T @ plane)  # where nothing holds it in its plane
        found: csc_matrix = (self._assembled(blocks, spread) + slack).tocsc()
        return found

    def sag(self, unknowns: Floats) -> Floats:
        """How far each node goes along z, (n,). [m]"""
        n = len(self.points)
        return unknowns[2 * n : 3 * n]

    def mean_sag(self, d: Floats, a: Floats, shear: float | None = None) -> float:
        """Mean deflection along the normal under one pascal; arguments as for `moved`. [m/Pa]"""
        load = self.even(1.0)
        return float(load @ self.moved(load, d, a, shear)) / self.area

    def strains(self, unknowns: Floats, large: bool = False) -> tuple[Floats, Floats]:
        """Of the middle, and curvature, at three points of each triangle, (m q, 3) each.

        Args:
            unknowns: (5 n,). [m, -]
            large: Whether what the slopes stretch counts.
        Returns:
            x, y, xy, along the surface's own axes. [-, 1/m]
        """
        own = unknowns[self._numbers]
        stretch, bend, _, tilt = (np.einsum("miaq,ma->mqi", part, own) for part in self._strain)
        if large:
            stretch += np.stack([tilt[..., 0] ** 2 / 2, tilt[..., 1] ** 2 / 2, tilt[..., 0] * tilt[..., 1]], axis=-1)
        return stretch.reshape(-1, 3), bend.reshape(-1, 3)

    def bent(
        self,
        load: Floats,
        d: Floats,
        a: Floats,
        shear: float | None = None,
        steps: Sequence[float] = (0.5, 1.0),
        start: Floats | None = None,
    ) -> list[Floats]:
        """All unknowns under shares of a load past small deflections, until it snaps through.

        Args:
            load: As for `moved`, as are the rest. [N]
            d: [N m]
            a: [N/m]
            shear: [N/m]
            steps: Shares of the load, rising. [-]
            start: About where the first will be, (5 n,); at rest if None. [m, -]
        Returns:
            (5 n,) for each; fewer where it snaps through on the way. [m, -]
        """
        stretch, _, _, tilt = self._strain
        area, spread, stiff_a = self._geometry[2], self._held, matrix_of(a)
        fixed = self._blocks(d, a, shear, np.zeros_like(stretch))
        due = spread.T @ load

        def balanced(found: Floats, step: float) -> Floats | None:
            """From a state near by; None where it is nowhere near, or passes one that is not stable."""
            for _ in range(12):
                own = (spread @ found)[self._numbers]
                slope = np.einsum("miaq,ma->miq", tilt, own)
                more = np.stack([slope[:, 0, None] * tilt[:, 0], slope[:, 1, None] * tilt[:, 1],
                                 slope[:, 0, None] * tilt[:, 1] + slope[:, 1, None] * tilt[:, 0]], axis=1)  # fmt: skip
                strain = np.einsum("miaq,ma->miq", stretch + more / 2, own)
                force = np.einsum("ij,mjq->miq", stiff_a, strain)
                whole = stretch + more
                inner = np.einsum("mab,mb->ma", fixed, own) + np.einsum("miaq,miq,mq->ma", whole, force, area)
                blocks = fixed + np.einsum("miaq,ij,mjbq,mq->mab", whole, stiff_a, whole, area, optimize=True)
                blocks += _pressed(tilt, force, area)
                left = np.zeros(len(load))
                np.add.at(left, self._numbers, inner)
                off = due * step - spread.T @ left
                lu = _factored(self._stiff(blocks, spread, a))
                if (lu.U.diagonal() <= 0).any():  # Sylvester: it would take no load to go on
                    return None
                change = lu.solve(off)
                found = found + change
                if np.linalg.norm(change) < 2e-3 * np.linalg.norm(found):  # the next would be its square
                    return found
            return None

        done: list[Floats] = []
        state, at = np.zeros(spread.shape[1]) if start is None else spread.T @ start, 0.0
        for step in steps:
            stride = step - at
            while at < step - 1e-9:
                found = balanced(state, min(at + stride, step))
                if found is not None:
                    state, at = found, min(at + stride, step)
                elif (stride := stride / 2) < _LEAST_STRIDE * steps[-1]:
                    return done
            done.append(np.asarray(spread @ state))
        return done

    def pushed(self, load: Floats, d: Floats, a: Floats, shear: float | None = None) -> Floats:
        """All unknowns under loads on the edges, these free to slide in their plane; arguments as for `moved`."""
        return self._solved(load, self._blocks(d, a, shear), self._sliding, a)

    def buckling(
        self, edge: Edge, d: Floats, a: Floats, shear: float | None = None, share: float = 1.0
    ) -> tuple[float, Floats]:
        """Factor on edge loads at which it buckles, and the shape, (5 n,).

        Args:
            edge: Compression along x, along y, and shear. [N/m]
            d: (6,). [N m]
            a: (6,). [N/m]
            shear: Of a core. [N/m]
            share: Of its stretching that counts as it buckles: 1 for the classical load. [-]
        Returns:
            The factor [-], infinite where it never does; the shape.
        """
        from scipy.sparse.linalg import LinearOperator, eigsh

        stretch, _, _, tilt = self._strain
        built = self.pushed(self.edge @ np.array(edge), d, a, shear)
        force = np.einsum("ij,mjaq,ma->miq", matrix_of(a), stretch, built[self._numbers], optimize=True)
        push = self._assembled(-_pressed(tilt, force, self._geometry[2]), self._held)
        stiff = self._stiff(self._blocks(d, max(share, _LAST_SHARE) * a, shear), self._held, a)
        size, lu = stiff.shape[0], _factored(stiff)
        inverse = LinearOperator((size, size), matvec=lu.solve, dtype=float)
        start = np.random.default_rng(7).standard_normal(size)  # the same shape in every run
        value, shape = eigsh(push, k=1, M=stiff, Minv=inverse, which="LA", tol=1e-6, v0=start)
        return (1 / float(value[0]) if value[0] > 0 else np.inf), np.asarray(self._held @ shape[:, 0])

    def knocked_down(self, edge: Edge, d: Floats, a: Floats, shear: float | None = None) -> float:
        """The same with what tests of cylinders left of the stretching, R that of its greater curvature. [-]

        Source: NASA SP-8007, 1968 (from memory), as `layup.laminate.shallow_shell.ShallowShell.knocked_down` has it.
        """
        kx, ky, twist = curvature_of(self.places, self._geometry[2].ravel())
        most = np.abs(np.linalg.eigvalsh(np.array([[kx, twist], [twist, ky]]))).max()
        over = 1 / (max(float(most), 1e-9) * float(solid_as_stiff(d[None], a[None])[0]))
        share = float(cylinder_knock_down(over, 1.0)) if over < LARGEST_R_OVER_T else 0.0
        return self.buckling(edge, d, a, shear, share**2)[0]


def _factored(stiff: csc_matrix) -> SuperLU:
    from scipy.sparse.linalg import splu

    return splu(stiff, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def _pressed(tilt: Floats, force: Floats, area: Floats) -> Floats:
    """Work of forces in the surface (m, 3, q) on slopes of w, (m, 30, 30)."""
    both = np.stack(
        [np.stack([force[:, 0], force[:, 2]], axis=1), np.stack([force[:, 2], force[:, 1]], axis=1)], axis=1
    )
    return np.asarray(np.einsum("miaq,mijq,mjbq,mq->mab", tilt, both, tilt, area, optimize=True))


def _edge_loads(panel: Panel) -> Floats:
    """Work of a push of one newton a metre along x, along y, and of a shear, on the outer edges, (5 n, 3). [m]"""
    basis, mesh, n = panel.basis, panel.mesh, panel.nodes
    corner, middle = np.asarray(basis.nodal_dofs[0]), np.asarray(basis.facet_dofs[0])
    facets = {tuple(sorted(pair)): number for number, pair in enumerate(basis.mesh.facets.T.tolist())}
    out = np.zeros((5 * n, 3))
    for a, b in mesh.edge[mesh.outer].tolist():
        run = mesh.points[b] - mesh.points[a]
        inward = np.array([-run[1], run[0]])  # the panel lies on the left
        for node, share in ((corner[a], 1 / 6), (middle[facets[min(a, b), max(a, b)]], 2 / 3), (corner[b], 1 / 6)):
            out[node] += share * np.array([inward[0], 0.0, inward[1]])
            out[n + node] += share * np.array([0.0, inward[1], inward[0]])
    return out
