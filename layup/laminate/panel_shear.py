r"""A flat panel whose core gives in shear, by finite elements: unlike skins, clamped edges, patches, any outline.

- Set up the outline and how it is held?                              `build_shear_panel`
- Deflect it, its frequency, its buckling factor?                     `ShearPanel.solve`, `frequency`, `buckling`
- Answer all that for thousands of sandwiches at once?                `ShearModel`

The panel carries three fields: the deflection w and the turns of its sections; bending takes its energy from how the
turns change, the core from the angle between slope and turn (the plate of Reissner and Mindlin).
Shear and bending share the load as their stiffnesses say, which no sum of a bent plate and a sheared core does where
skins are not alike both ways or edges are clamped. Elements: quadratic triangles for all three, the shear at three
points of each.

An edge that is held but free to turn keeps its sections from turning along itself, as a frame does. The energy is
linear in the six numbers of D and in S; layups are written as seven numbers, D then S.
Source: Reissner, J. Appl. Mech. 12 (1945) A69; Mindlin, J. Appl. Mech. 18 (1951) 31; Allen 1969 (all from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import SIDES, TERMS, PanelLoad, check_held, check_supports, matrix_of, patch_points
from layup.laminate.panel_mesh import PanelMesh, edge_sides, triangulate
from layup.laminate.panel_model import Edge, PanelModel

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import SuperLU
    from shapely import Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_HOLD = 1e3
"""How many times stiffer than the panel itself an edge holds its sections from turning along it. [-]"""
STIFFEST = 45.0
"""A solid laminate, or a very stiff core, is given a shear stiffness of so much times its mean D over the square of the
mesh's step: more would lock the elements, less would let it give in shear. What that leaves was measured against Ritz
and Navier, square and 3.2 to 1, clamped and simple: tests/published/test_sandwich_panel.py. [-]"""
ACROSS_SPAN = 14
"""Triangles across the panel's shorter span. [-]"""
_SMOOTH = 30.0
"""Edges that meet at less than this follow one curve, whose middle way they take. [deg]"""


@dataclass(frozen=True)
class ShearPanel:
    """A panel ready to be loaded; make it with `build_shear_panel`.

    Attributes:
        shape: Outline with cut-outs. [m]
        mesh: Its triangles.
        bends: Curvature of each triangle at its points from its twelve turns, (m, 3, 12, q). [1/m]
        shears: Shear angle at its points from its eighteen unknowns, (m, 2, 18, q). [1/m, -]
        weights: Of the points, for bending and for shear, (m, q) each. [m^2]
        unknowns: Numbers of the unknowns of each triangle: six w, six turns x, six turns y, (m, 18).
        count: Unknowns in all.
        fixed: Those held at nought.
        turned: Nodes whose turn along a direction is held, and that direction, (k,) and (k, 2).
        basis: The elements, for sampling.
    """

    shape: Polygon
    mesh: PanelMesh
    bends: Floats = field(repr=False)
    shears: Floats = field(repr=False)
    weights: tuple[Floats, Floats] = field(repr=False)
    unknowns: Ints = field(repr=False)
    count: int
    fixed: Ints = field(repr=False)
    turned: tuple[Ints, Floats] = field(repr=False)
    basis: Any = field(repr=False)

    @property
    def nodes(self) -> int:
        """Corners and mid-sides."""
        return self.count // 3

    @cached_property
    def free(self) -> Ints:
        """Unknowns that may move."""
        return np.setdiff1d(np.arange(self.count), self.fixed)

    def _assembled(self, blocks: Floats, numbers: Ints) -> csc_matrix:
        from scipy.sparse import coo_matrix

        k = numbers.shape[1]
        rows, columns = np.repeat(numbers, k, axis=1).ravel(), np.tile(numbers, (1, k)).ravel()
        whole = coo_matrix((blocks.ravel(), (rows, columns)), shape=(self.count, self.count)).tocsc()
        found: csc_matrix = whole[self.free][:, self.free]
        return found

    def stiffness(self, terms: Floats) -> csc_matrix:
        """The sparse stiffness of the free unknowns.

        Args:
            terms: D and S, (7,), or of each triangle, (m, 7). [N m, N/m]
        Returns:
            Matrix. [N/m and its like]
        """
        from scipy.sparse import coo_matrix

        every = np.broadcast_to(terms, (len(self.unknowns), 7))
        d, s = matrix_of(every[:, :6]), every[:, 6, None, None]
        bent = np.einsum("miaq,mij,mjbq,mq->mab", self.bends, d, self.bends, self.weights[0], optimize=True)
        sheared = s * np.einsum("miaq,mibq,mq->mab", self.shears, self.shears, self.weights[1], optimize=True)
        sheared[:, 6:, 6:] += bent
        nodes, ways = self.turned
        n, hold = self.nodes, _HOLD * float(np.abs(every[:, :6]).max())
        pair = np.stack([n + nodes, 2 * n + nodes], axis=1)
        rows, columns = np.repeat(pair, 2, axis=1).ravel(), np.tile(pair, (1, 2)).ravel()
        held = coo_matrix((hold * np.einsum("ki,kj->kij", ways, ways).ravel(), (rows, columns)), shape=(3 * n, 3 * n))
        whole: csc_matrix = self._assembled(sheared, self.unknowns) + held.tocsc()[self.free][:, self.free]
        return whole

    def factor(self, terms: Floats) -> SuperLU:
        """The factored stiffness."""
        from scipy.sparse.linalg import splu

        return splu(
            self.stiffness(terms).tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )

    @cached_property
    def _values(self) -> tuple[Floats, Floats, Floats]:
        """Weights (m, q), values (m, 6, q) and slopes (m, 6, 2, q) of the functions of w."""
        basis = self.basis
        values = np.stack([np.broadcast_to(np.asarray(basis.basis[i][0]), basis.dx.shape) for i in range(6)], axis=1)
        slopes = np.stack([np.asarray(basis.basis[i][0].grad) for i in range(6)], axis=0)
        return np.asarray(basis.dx), values, slopes.transpose(2, 0, 1, 3)

    @cached_property
    def unit_pressure(self) -> Floats:
        """Work of one pascal on each unknown, (count,). [m^2]"""
        weights, values, _ = self._values
        out = np.zeros(self.count)
        np.add.at(out, self.unknowns[:, :6], np.einsum("miq,mq->mi", values, weights))
        return out

    @cached_property
    def mass(self) -> csc_matrix:
        """Mass matrix for one kilogram a square metre. [m^2]"""
        weights, values, _ = self._values
        return self._assembled(np.einsum("miq,mjq,mq->mij", values, values, weights), self.unknowns[:, :6])

    def push(self, nx: float, ny: float, nxy: float) -> csc_matrix:
        """Work of edge loads on the slopes of w. [N/m]"""
        weights, _, slopes = self._values
        n = np.array([[nx, nxy], [nxy, ny]])
        blocks = np.einsum("miaq,ab,mjbq,mq->mij", slopes, n, slopes, weights, optimize=True)
        return self._assembled(blocks, self.unknowns[:, :6])

    def load_vector(self, load: PanelLoad) -> Floats:
        """Work of a load on each unknown, (count,). [N]"""
        out = load.pressure * self.unit_pressure
        if load.force:
            rows = self.basis.probes(patch_points(self.shape, load).T).tocsr()
            out[: self.nodes] += load.force * np.asarray(rows.mean(axis=0)).ravel()
        return np.asarray(out)

    def solve(self, terms: Floats, loads: Floats) -> Floats:
        """All unknowns under load vectors (count, cases); `terms` as in `stiffness`."""
        out = np.zeros_like(loads)
        out[self.free] = self.factor(terms).solve(np.ascontiguousarray(loads[self.free]))
        return out

    def shapes_of(self, terms: Floats, vectors: Floats, pushed: Sequence[Edge]) -> Floats:
        """Its shapes under load vectors, in its lowest mode, and as it buckles under edge loads, (count, shapes)."""
        from scipy.sparse.linalg import LinearOperator, eigsh

        lu, stiff, size = self.factor(terms), self.stiffness(terms), len(self.free)
        found: list[Floats] = [lu.solve(np.ascontiguousarray(vectors[self.free]))]
        inverse = LinearOperator((size, size), matvec=lu.solve, dtype=float)
        start = np.random.default_rng(7).standard_normal(size)  # the same shapes in every run
        for work in (self.mass, *(self.push(*edge) for edge in pushed)):
            value, vector = eigsh(work, k=1, M=stiff, Minv=inverse, which="LA", tol=1e-7, v0=start)
            if value[0] > 0:
                found.append(vector)
        out = np.zeros((self.count, sum(part.shape[1] for part in found)))
        out[self.free] = np.concatenate(found, axis=1)
        return out

    def curvature_at_corners(self, unknowns: Floats) -> Floats:
        """At every corner of the mesh, the mean of the triangles that meet there, (corners, 3, cases). [1/m]"""
        from skfem import Basis

        corners = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
        basis = Basis(self.basis.mesh, self.basis.elem, quadrature=(corners, np.full(3, 1 / 6)))
        slopes = np.stack([np.asarray(basis.basis[i][0].grad) for i in range(6)]).transpose(2, 0, 1, 3)
        t = self.mesh.triangles
        order = np.asarray(self.basis.mesh.t.T)
        u = unknowns[self.unknowns[:, 6:]]
        at = np.einsum("miaq,mic->mqac", slopes, u[:, :6]), np.einsum("miaq,mic->mqac", slopes, u[:, 6:])
        bent = -np.stack([at[0][:, :, 0], at[1][:, :, 1], at[0][:, :, 1] + at[1][:, :, 0]], axis=2)
        out = np.zeros((len(self.mesh.points), 3, unknowns.shape[1]))
        np.add.at(out, order, bent)
        return np.asarray(out / np.bincount(t.ravel(), minlength=len(out))[:, None, None])

    @cached_property
    def read(self) -> Ints:
        """Corners of the mesh at which stress is read: none within a fourteenth of the span of a corner of the outline.

        At a held corner thin-plate stresses have no end where the laminate twists as it bends (D16, D26), so that a
        finer mesh would read more and more there; a real corner rounds it off.
        """
        ring = np.asarray(self.shape.exterior.coords)[:-1, :2]
        there, back = np.roll(ring, -1, axis=0) - ring, ring - np.roll(ring, 1, axis=0)
        turn = np.arctan2(back[:, 0] * there[:, 1] - back[:, 1] * there[:, 0], (back * there).sum(axis=1))
        sharp = ring[np.abs(turn) > np.radians(_SMOOTH)]
        if not len(sharp):
            return np.arange(len(self.mesh.points))
        far = np.hypot(*(self.mesh.points[:, None] - sharp[None]).transpose(2, 0, 1)).min(axis=1)
        left, low, right, high = self.shape.bounds
        kept = np.flatnonzero(far >= 0.99 * min(right - left, high - low) / ACROSS_SPAN)
        return kept if len(kept) else np.arange(len(self.mesh.points))

    def energies(self, shapes: Floats, where: Ints | None = None) -> list[Floats]:
        """Energy of pairs of shapes (count, b) for each of the seven numbers alone, of some triangles or of all."""
        at = np.arange(len(self.unknowns)) if where is None else where
        numbers, weights = self.unknowns[at], self.weights
        bent = np.einsum("miaq,mac->miqc", self.bends[at], shapes[numbers[:, 6:]])
        weighted = bent * weights[0][at][:, None, :, None]
        out = []
        for i, j in TERMS:
            part = np.einsum("mqb,mqc->bc", weighted[:, i], bent[:, j], optimize=True)
            out.append(part if i == j else part + part.T)
        angle = np.einsum("miaq,mac->miqc", self.shears[at], shapes[numbers])
        return [*out, np.einsum("miqb,mq,miqc->bc", angle, weights[1][at], angle, optimize=True)]

    def angles(self, unknowns: Floats) -> Floats:
        """Mean shear angle of every triangle, (m, 2, cases). [-]"""
        share = self.weights[1] / self.weights[1].sum(axis=1, keepdims=True)
        return np.asarray(np.einsum("miaq,mac,mq->mic", self.shears, unknowns[self.unknowns], share, optimize=True))


@dataclass(frozen=True)
class ShearModel(PanelModel):
    """A small model of a sandwich panel under its loads; make it with `ShearModel.draw`.

    As `PanelModel`, with seven numbers a layup instead of six: energy is (7, b, b).

    Attributes:
        panel: The full panel.
        gamma: Shear angle of the shapes in each triangle, (m, 2, b). [-]
    """

    panel: Any
    gamma: Floats = field(default_factory=lambda: np.empty((0, 2, 0)))

    @property
    def stiffest(self) -> float:
        """Shear stiffness over mean D of what does not give in shear. [1/m^2]"""
        return float(STIFFEST / self.panel.mesh.step**2)

    def _stiff(self, d: Floats) -> Floats:
        return np.asarray(np.tensordot(seven(d, self.stiffest), self.energy, axes=(1, 0)))

    def _energies(self, shape: Floats) -> Floats:
        """Of a shape for each number of D alone, the shear taken at its stiffest: so a limit holds for any core."""
        every = np.asarray(np.einsum("b,kbc,c->k", shape, self.energy, shape))
        every[[0, 2]] += every[6] * self.stiffest / 2
        return every[:6]

    @classmethod
    def draw(
        cls,
        panel: ShearPanel,
        loads: Sequence[PanelLoad],
        samples: Sequence[Floats] | Floats,
        pushed: Sequence[Edge] = (),
    ) -> ShearModel:
        """Draw a small model from the full panel.

        Args:
            panel: The panel. [-]
            loads: Its loads. [Pa, N]
            samples: D of layups that lie far apart, or D and S, (n, 6) or (n, 7). [N m, N/m]
            pushed: Edge loads whose buckling will be asked for. [N/m]
        Returns:
            The model.
        """
        vectors = np.stack([panel.load_vector(load) for load in loads], axis=1)
        stiffest = STIFFEST / panel.mesh.step**2
        every = [seven(np.asarray(terms)[None], stiffest)[0] for terms in samples]
        raw = [panel.shapes_of(terms / np.abs(terms[:6]).max(), vectors, pushed) for terms in every]
        return cls._drawn(panel, tuple(loads), vectors, np.concatenate(raw, axis=1))

    @classmethod
    def _drawn(cls, panel: ShearPanel, loads: tuple[PanelLoad, ...], vectors: Floats, raw: Floats) -> ShearModel:
        stiff = panel.stiffness(np.array([1.0, 0.3, 1.0, 0.0, 0.0, 0.35, 0.1 * STIFFEST / panel.mesh.step**2]))
        free = panel.free
        raw = raw / np.sqrt(np.einsum("ic,ic->c", raw[free], stiff @ raw[free]))
        values, mix = np.linalg.eigh(raw[free].T @ (stiff @ raw[free]))
        kept = values > 1e-9 * values[-1]
        shapes = raw @ (mix[:, kept] / np.sqrt(values[kept]))
        energy = panel.energies(shapes)
        push = np.stack([shapes[free].T @ (panel.push(*n) @ shapes[free]) for n in np.eye(3)])
        mass = shapes[free].T @ (panel.mass @ shapes[free])
        root = np.linalg.cholesky(mass + 1e-12 * np.trace(mass) * np.eye(len(mass)))
        turn = np.linalg.inv(root).T  # shapes of unit mass, as the frequencies of a PanelModel take them
        shapes = shapes @ turn
        energy = [turn.T @ part @ turn for part in energy]
        push = np.einsum("ba,kbc,cd->kad", turn, push, turn)
        return cls(panel, loads, shapes, np.array(energy), shapes.T @ vectors, push,
                   shapes[np.asarray(panel.basis.nodal_dofs[0])], panel.curvature_at_corners(shapes)[panel.read],
                   panel.angles(shapes))  # fmt: skip

    def with_layup(self, terms: Floats, pushed: Sequence[Edge] = ()) -> ShearModel:
        """The model with the full panel's own shapes for one more layup, (6,) or (7,), or one of each triangle."""
        vectors = np.stack([self.panel.load_vector(load) for load in self.loads], axis=1)
        own = seven(np.asarray(terms), self.stiffest)
        more = self.panel.shapes_of(own / np.abs(own[..., :6]).max(), vectors, pushed)
        return ShearModel._drawn(self.panel, self.loads, vectors, np.concatenate([self.shapes, more], axis=1))

    def shear_force(self, amounts: Floats, stiffness: Floats) -> Floats:
        """Greatest shear force per width in the core under every load.

        Args:
            amounts: Of the shapes, (n, b, cases). [-]
            stiffness: S of each sandwich, (n,). [N/m]
        Returns:
            (n, cases). [N/m]
        """
        angle = np.einsum("mib,nbc->nmic", self.gamma, amounts, optimize=True)
        return np.asarray(np.hypot(angle[:, :, 0], angle[:, :, 1]).max(axis=1) * stiffness[:, None])


def seven(d: Floats, stiffest: float) -> Floats:
    """D and S of layups: what has no S, or more than `stiffest` times its mean D, is given that, (..., 7)."""
    most = stiffest * (d[..., 0] + d[..., 2]) / 2
    own = most if d.shape[-1] == 6 else np.minimum(d[..., 6], most)
    return np.concatenate([d[..., :6], own[..., None]], axis=-1)


def build_shear_panel(
    shape: Polygon,
    supports: str | Mapping[str, str] = "simple",
    held_at: Sequence[tuple[float, float]] = (),
    count: int | None = None,
    finest: float | None = None,
) -> ShearPanel:
    """Set up a panel: triangles, elements, and what is held.

    Args:
        shape: Outline with cut-outs. [m]
        supports: As for `layup.laminate.panel.build_panel`. [-]
        held_at: Points held in place besides. [m]
        count: Triangles to aim at; so many that `ACROSS_SPAN` lie across the shorter span if None. [-]
        finest: Step to use where a patch is small. [m]
    Returns:
        The panel.
    Raises:
        LayupError: a support that is none, or nothing that holds the panel.
    """
    from skfem import Basis, ElementTriP2, MeshTri

    by_side = dict.fromkeys(SIDES, supports) if isinstance(supports, str) else dict(supports)
    check_supports(by_side)
    if count is None:
        left, low, right, high = shape.bounds
        step = min(right - left, high - low) / ACROSS_SPAN
        count = int(np.clip(shape.area / (np.sqrt(3) / 4 * step**2), 300, 1200))
    mesh = triangulate(shape, count, finest)
    grid = MeshTri(np.ascontiguousarray(mesh.points.T), np.ascontiguousarray(mesh.triangles.T), sort_t=True)
    basis, coarse = Basis(grid, ElementTriP2(), intorder=4), Basis(grid, ElementTriP2(), intorder=2)
    n, cells = int(basis.N), np.asarray(basis.element_dofs.T, dtype=np.int64)
    slope = np.stack([np.asarray(coarse.basis[i][0].grad) for i in range(6)]).transpose(2, 0, 1, 3)
    value = np.stack([np.broadcast_to(np.asarray(coarse.basis[i][0]), coarse.dx.shape) for i in range(6)], axis=1)
    m, q = coarse.dx.shape
    bends = np.zeros((m, 3, 12, q))
    bends[:, 0, :6], bends[:, 1, 6:] = -slope[:, :, 0], -slope[:, :, 1]
    bends[:, 2, :6], bends[:, 2, 6:] = -slope[:, :, 1], -slope[:, :, 0]
    shears = np.zeros((m, 2, 18, q))
    for way in (0, 1):
        shears[:, way, :6] = slope[:, :, way]
        shears[:, way, 6 * (way + 1) : 6 * (way + 2)] = -value
    dx = np.asarray(coarse.dx)
    fixed, nodes, ways = _held(mesh, basis, by_side)
    if held_at:
        near = [int(np.argmin(np.hypot(*(mesh.points - np.asarray(p)).T))) for p in held_at]
        fixed = np.concatenate([fixed, np.asarray(basis.nodal_dofs[0])[near]])
    check_held(mesh.points, np.asarray(basis.nodal_dofs[0]), fixed, bool((fixed >= n).any()), shape)
    return ShearPanel(
        shape=shape,
        mesh=mesh,
        bends=bends,
        shears=shears,
        weights=(dx, dx),
        unknowns=np.concatenate([cells, cells + n, cells + 2 * n], axis=1),
        count=3 * n,
        fixed=np.unique(fixed).astype(np.int64),
        turned=(nodes, ways),
        basis=basis,
    )


def _held(mesh: PanelMesh, basis: Any, by_side: Mapping[str, str]) -> tuple[Ints, Ints, Floats]:
    """Unknowns that the supports hold; nodes whose turn along an edge is held, and which way."""
    n, corner, middle = int(basis.N), np.asarray(basis.nodal_dofs[0]), np.asarray(basis.facet_dofs[0])
    facets = {tuple(sorted(pair)): number for number, pair in enumerate(basis.mesh.facets.T.tolist())}
    ways: dict[int, list[Floats]] = {}
    fixed: list[int] = []
    held: list[tuple[int, int, int]] = []
    for (a, b), side in zip(mesh.edge.tolist(), edge_sides(mesh).tolist(), strict=True):
        how = by_side.get(side, "free")
        if how == "free":
            continue
        own = int(corner[a]), int(corner[b]), int(middle[facets[min(a, b), max(a, b)]])
        fixed += own[:2]
        if how == "clamped":
            fixed += [own[2], *(k + shift for k in own for shift in (n, 2 * n))]
            continue
        held.append(own)
        along = mesh.points[b] - mesh.points[a]
        for k in own:
            ways.setdefault(k, []).append(along / np.hypot(*along))
    nodes, directions, curved = [], [], set()
    for k, found in ways.items():
        if len(found) == 2 and np.dot(*found) > np.cos(np.radians(_SMOOTH)):
            if np.dot(*found) < np.cos(np.radians(0.5)):
                curved.add(k)
            mean = found[0] + found[1]
            found = [mean / np.hypot(*mean)]
        nodes += [k] * len(found)
        directions += found
    # a chord of a curve may bulge between its ends, or it would keep them from turning at all
    fixed += [mid for first, last, mid in held if not curved & {first, last}]
    return (
        np.unique(np.array(fixed, dtype=np.int64)),
        np.array(nodes, dtype=np.int64),
        np.array(directions, dtype=float).reshape(-1, 2),
    )
