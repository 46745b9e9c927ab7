r"""A flat panel whose core gives in shear, by finite elements: unlike skins, clamped edges, patches, any outline.

- Set up the outline and how it is held?                              `build_panel`
- Deflect it, one layup at a time?                                    `Panel.solve`
- Answer that, frequency and buckling for thousands of layups?        `layup.laminate.panel_model.PanelModel`

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
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError, RangeError
from layup.laminate.panel_mesh import PanelMesh, edge_sides, triangulate

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import SuperLU
    from shapely import Polygon
    from skfem import Basis

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Edge = tuple[float, float, float]
"""Compression along x, along y, and shear, each a force per width. [N/m]"""

SUPPORTS = ("free", "simple", "clamped")
SIDES = ("left", "right", "bottom", "top")
TERMS = ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))
"""Order of the six numbers of a bending stiffness: D11, D12, D22, D16, D26, D66."""
STIFFEST = 45.0
"""A solid laminate, or a very stiff core, is given a shear stiffness of so much times its mean D over the square of the
mesh's step: more would lock the elements, less would let it give in shear. What that leaves was measured against Ritz
and Navier, square and 3.2 to 1, clamped and simple: tests/published/test_sandwich_panel.py. [-]"""
ACROSS_SPAN = 14
"""Triangles across the panel's shorter span. [-]"""
_SMOOTH = 30.0
"""Edges that meet at less than this follow one curve, whose middle way they take. [deg]"""


@dataclass(frozen=True, slots=True)
class PanelLoad:
    """One load on the panel.

    Attributes:
        name: For a person.
        pressure: Even over the panel. [Pa]
        force: On a patch. [N]
        at: Middle of the patch; the panel's own middle if None. [m]
        size: Sides of the patch along x and y. [m]
    """

    name: str
    pressure: float = 0.0
    force: float = 0.0
    at: tuple[float, float] | None = None
    size: tuple[float, float] = (0.05, 0.05)


def sharp_corners(ring: Floats) -> Floats:
    """Corners of a closed ring (n, 2) at which it turns by more than what follows a curve, (k, 2). [m]"""
    there, back = np.roll(ring, -1, axis=0) - ring, ring - np.roll(ring, 1, axis=0)
    turn = np.arctan2(back[:, 0] * there[:, 1] - back[:, 1] * there[:, 0], (back * there).sum(axis=1))
    return np.asarray(ring[np.abs(turn) > np.radians(_SMOOTH)])


def matrix_of(terms: Floats) -> Floats:
    """D as 3 by 3 matrices from its six numbers, shape (..., 6) to (..., 3, 3)."""
    terms = np.asarray(terms, dtype=float)
    out = np.empty((*terms.shape[:-1], 3, 3))
    for k, (i, j) in enumerate(TERMS):
        out[..., i, j] = out[..., j, i] = terms[..., k]
    return out


def terms_of(matrix: Floats) -> Floats:
    """The six numbers of D, shape (..., 3, 3) to (..., 6)."""
    return np.stack([np.asarray(matrix)[..., i, j] for i, j in TERMS], axis=-1)


def patch_points(shape: Polygon, load: PanelLoad) -> Floats:
    """Places of a panel that lie under a patch, evenly spread, (p, 2). [m]

    Raises:
        RangeError: more than half of the patch lies off the panel.
    """
    import shapely

    middle = shape.representative_point() if load.at is None else shapely.Point(load.at)
    if load.at is None and shape.contains(shape.centroid):
        middle = shape.centroid
    at = (np.arange(10) + 0.5) / 10 - 0.5
    x, y = np.meshgrid(middle.x + at * load.size[0], middle.y + at * load.size[1], indexing="ij")
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    on = shapely.contains_xy(shape.buffer(-1e-6), points[:, 0], points[:, 1])
    if on.mean() < 0.5:
        raise RangeError(
            f'The patch of "{load.name}" at ({middle.x * 1e3:.0f}, {middle.y * 1e3:.0f}) mm does not lie on the panel.'
        )
    return np.asarray(points[on])


@dataclass(frozen=True)
class Panel:
    """A panel ready to be loaded; make it with `build_panel`.

    Attributes:
        shape: Outline with cut-outs. [m]
        mesh: Its triangles.
        bends: Curvature of each triangle at its points from its twelve turns, (m, 3, 12, q). [1/m]
        shears: Shear angle at its points from its eighteen unknowns, (m, 2, 18, q). [1/m, -]
        weights: Of the points, for bending and for shear, (m, q) each. [m^2]
        unknowns: Numbers of the unknowns of each triangle: six w, six turns x, six turns y, (m, 18).
        count: Unknowns in all.
        spread: From what may move, each held node's turn taken across its edge, to all unknowns: columns of unit
            length at right angles, (count, free).
        basis: The elements, for sampling.
    """

    shape: Polygon
    mesh: PanelMesh
    bends: Floats = field(repr=False)
    shears: Floats = field(repr=False)
    weights: tuple[Floats, Floats] = field(repr=False)
    unknowns: Ints = field(repr=False)
    count: int
    spread: csc_matrix = field(repr=False)
    basis: Basis = field(repr=False)

    @property
    def nodes(self) -> int:
        """Corners and mid-sides."""
        return self.count // 3

    def _assembled(self, blocks: Floats, numbers: Ints) -> csc_matrix:
        from scipy.sparse import coo_matrix

        k = numbers.shape[1]
        rows, columns = np.repeat(numbers, k, axis=1).ravel(), np.tile(numbers, (1, k)).ravel()
        whole = coo_matrix((blocks.ravel(), (rows, columns)), shape=(self.count, self.count)).tocsc()
        found: csc_matrix = (self.spread.T @ whole @ self.spread).tocsc()
        return found

    def stiffness(self, terms: Floats) -> csc_matrix:
        """The sparse stiffness of what may move.

        Args:
            terms: D and S, (7,), or of each triangle, (m, 7). [N m, N/m]
        Returns:
            Matrix. [N/m and its like]
        """
        every = np.broadcast_to(terms, (len(self.unknowns), 7))
        d, s = matrix_of(every[:, :6]), every[:, 6, None, None]
        bent = np.einsum("miaq,mij,mjbq,mq->mab", self.bends, d, self.bends, self.weights[0], optimize=True)
        sheared = s * np.einsum("miaq,mibq,mq->mab", self.shears, self.shears, self.weights[1], optimize=True)
        sheared[:, 6:, 6:] += bent
        return self._assembled(sheared, self.unknowns)

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
        return np.asarray(self.spread @ self.factor(terms).solve(np.ascontiguousarray(self.spread.T @ loads)))

    def shapes_of(self, terms: Floats, vectors: Floats, pushed: Sequence[Edge]) -> Floats:
        """Its shapes under load vectors, in its lowest mode, and as it buckles under edge loads, (count, shapes)."""
        from scipy.sparse.linalg import LinearOperator, eigsh

        lu, stiff, size = self.factor(terms), self.stiffness(terms), self.spread.shape[1]
        found: list[Floats] = [lu.solve(np.ascontiguousarray(self.spread.T @ vectors))]
        inverse = LinearOperator((size, size), matvec=lu.solve, dtype=float)
        start = np.random.default_rng(7).standard_normal(size)  # the same shapes in every run
        for work in (self.mass, *(self.push(*edge) for edge in pushed)):
            value, vector = eigsh(work, k=1, M=stiff, Minv=inverse, which="LA", tol=1e-7, v0=start)
            if value[0] > 0:
                found.append(vector)
        return np.asarray(self.spread @ np.concatenate(found, axis=1))

    def curvature_at_places(self, unknowns: Floats) -> Floats:
        """Where stress is read, from the mean of the triangles that meet at each corner, (places, 3, cases). [1/m]"""
        from skfem import Basis

        corners = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
        basis = Basis(self.basis.mesh, self.basis.elem, quadrature=(corners, np.full(3, 1 / 6)))
        slopes = np.stack([np.asarray(basis.basis[i][0].grad) for i in range(6)]).transpose(2, 0, 1, 3)
        u = unknowns[self.unknowns[:, 6:]]
        at = np.einsum("miaq,mic->mqac", slopes, u[:, :6]), np.einsum("miaq,mic->mqac", slopes, u[:, 6:])
        bent = -np.stack([at[0][:, :, 0], at[1][:, :, 1], at[0][:, :, 1] + at[1][:, :, 0]], axis=2)
        return self._at_places(bent)

    @cached_property
    def unread(self) -> float:
        """How near to a sharp corner of the outline or of a cut-out stress is not read. [m]

        There thin-plate stresses have no end (at a held corner where the laminate twists as it bends, D16, D26; at the
        corner of a cut-out always), so that a finer mesh would read more and more; a real corner rounds it off.
        """
        left, low, right, high = self.shape.bounds
        return float(min(right - left, high - low) / ACROSS_SPAN)

    @cached_property
    def reading(self) -> csc_matrix:
        """Places at which stress is read, from the corners of the mesh, (places, corners).

        The corners themselves but for those within `unread` of a sharp one, round which it is read on an arc at just
        that distance, or a finer mesh would come nearer.
        """
        import shapely
        from scipy.sparse import coo_matrix, identity, vstack

        points, grid = self.mesh.points, self.basis.mesh
        rings = [self.shape.exterior, *self.shape.interiors]
        sharp = np.concatenate([sharp_corners(np.asarray(ring.coords)[:-1, :2]) for ring in rings])
        if not len(sharp):
            return identity(len(points), format="csc")
        round_it = np.radians(np.arange(0, 360, 10))
        arc = (sharp[:, None] + self.unread * np.stack([np.cos(round_it), np.sin(round_it)], axis=1)).reshape(-1, 2)
        far = [np.hypot(*(at[:, None] - sharp).transpose(2, 0, 1)).min(axis=1) / self.unread for at in (points, arc)]
        kept = np.flatnonzero(far[0] >= 1)
        on = shapely.contains_xy(self.shape.buffer(-0.05 * self.mesh.step), arc[:, 0], arc[:, 1])
        arc = arc[on & (far[1] > 1 - 1e-9)]
        cell = np.asarray(grid.t.T)[grid.element_finder()(*arc.T)]
        a, b, c = (points[cell[:, k]] for k in range(3))
        share = np.linalg.solve(np.stack([b - a, c - a], axis=2), (arc - a)[:, :, None])[:, :, 0]
        values = np.concatenate([1 - share.sum(axis=1, keepdims=True), share], axis=1)
        rows = np.repeat(np.arange(len(arc)), 3)
        between = coo_matrix((values.ravel(), (rows, cell.ravel())), shape=(len(arc), len(points)))
        found: csc_matrix = vstack([identity(len(points), format="csr")[kept], between], format="csc")
        return found if found.shape[0] else identity(len(points), format="csc")

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

    def reading_of(self, places: Ints) -> Floats:
        """What each unknown adds to the curvature at some of the places, (places, 3, count). [1/m]"""
        near = np.isin(np.arange(len(self.mesh.points)), self.reading[places].nonzero()[1])
        turns = np.unique(self.unknowns[near[np.asarray(self.basis.mesh.t.T)].any(axis=1), 6:])
        out = np.zeros((len(places), 3, self.count))
        for start in range(0, len(turns), 256):
            some = turns[start : start + 256]
            unit = np.zeros((self.count, len(some)))
            unit[some, np.arange(len(some))] = 1.0
            out[:, :, some] = self.curvature_at_places(unit)[places]
        return out

    def angles_at_places(self, unknowns: Floats) -> Floats:
        """Shear angle where stress is read, carried on from the points of each triangle, (places, 2, cases). [-]"""
        carry = np.array([[5.0, -1.0, -1.0], [-1.0, 5.0, -1.0], [-1.0, -1.0, 5.0]]) / 3
        own = np.einsum("miaq,mac,kq->mkic", self.shears, unknowns[self.unknowns], carry, optimize=True)
        return self._at_places(own)

    def _at_places(self, own: Floats) -> Floats:
        """What triangles read at corners, (m, 3, k, cases), as the mean of those that meet, (places, k, cases)."""
        order = np.asarray(self.basis.mesh.t.T)
        out = np.zeros((len(self.mesh.points), *own.shape[2:]))
        np.add.at(out, order, own)
        mean = (out / np.bincount(order.ravel())[:, None, None]).reshape(len(out), -1)
        return np.asarray(self.reading @ mean).reshape(-1, *own.shape[2:])


def build_panel(
    shape: Polygon,
    supports: str | Mapping[str, str] = "simple",
    held_at: Sequence[tuple[float, float]] = (),
    count: int | None = None,
    finest: float | None = None,
) -> Panel:
    """Set up a panel: triangles, elements, and what is held.

    Args:
        shape: Outline with cut-outs. [m]
        supports: "free", "simple" or "clamped" for the whole outside, or by side: {"left": "clamped", ...}; a side that
            is not named is free, and so is every cut-out. A side is the part of the outside that faces that way. [-]
        held_at: Points held in place besides. [m]
        count: Triangles to aim at; so many that `ACROSS_SPAN` lie across the shorter span if None. [-]
        finest: Step to use where a patch is small. [m]
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
    fixed, ways = _held(mesh, basis, by_side)
    if held_at:
        near = [int(np.argmin(np.hypot(*(mesh.points - np.asarray(p)).T))) for p in held_at]
        fixed = np.concatenate([fixed, np.asarray(basis.nodal_dofs[0])[near]])
    check_held(mesh.points, np.asarray(basis.nodal_dofs[0]), fixed, bool((fixed >= n).any()), shape)
    return Panel(
        shape=shape,
        mesh=mesh,
        bends=bends,
        shears=shears,
        weights=(dx, dx),
        unknowns=np.concatenate([cells, cells + n, cells + 2 * n], axis=1),
        count=3 * n,
        spread=_spread(3 * n, fixed, ways),
        basis=basis,
    )


def _held(mesh: PanelMesh, basis: Basis, by_side: Mapping[str, str]) -> tuple[Ints, dict[int, Floats]]:
    """Unknowns that the supports hold; of nodes that may turn across their edge alone, the way along it."""
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
    curved, single = set(), {}
    for k, found in ways.items():
        if len(found) == 2 and np.dot(*found) <= np.cos(np.radians(_SMOOTH)):
            fixed += [n + k, 2 * n + k]  # a corner turns neither along the one edge nor along the other
            continue
        if len(found) == 2 and np.dot(*found) < np.cos(np.radians(0.5)):
            curved.add(k)
        mean = np.sum(found, axis=0)
        single[k] = mean / np.hypot(*mean)
    # a chord of a curve may bulge between its ends, or it would keep them from turning at all
    fixed += [mid for first, last, mid in held if not curved & {first, last}]
    return np.unique(np.array(fixed, dtype=np.int64)), single


def _spread(count: int, fixed: Ints, ways: Mapping[int, Floats]) -> csc_matrix:
    """What may move to all unknowns: those held left out, a turn along its edge too."""
    from scipy.sparse import coo_matrix

    n = count // 3
    nodes = np.array([k for k in ways if not np.isin([n + k, 2 * n + k], fixed).any()], dtype=np.int64)
    along = np.array([ways[int(k)] for k in nodes]).reshape(-1, 2)
    free = np.setdiff1d(np.arange(count), np.concatenate([fixed, n + nodes, 2 * n + nodes]))
    turn = len(free) + np.arange(len(nodes))
    rows = np.concatenate([free, n + nodes, 2 * n + nodes])
    columns = np.concatenate([np.arange(len(free)), turn, turn])
    values = np.concatenate([np.ones(len(free)), -along[:, 1], along[:, 0]])
    return coo_matrix((values, (rows, columns)), shape=(count, len(free) + len(nodes))).tocsc()


def check_supports(by_side: Mapping[str, str]) -> None:
    """Refuse a side or a support that is none."""
    for side, how in by_side.items():
        if side not in SIDES or how not in SUPPORTS:
            raise LayupError(
                f'support "{how}" of the side "{side}": sides are {", ".join(SIDES)}; each is one of '
                + ", ".join(SUPPORTS)
            )


def check_held(points: Floats, corners: Ints, fixed: Ints, turns: bool, shape: Polygon) -> None:
    """Refuse a panel that can still move as a whole; `turns` where its turning is held anywhere."""
    held = points[np.isin(corners, fixed)]
    spread = held - held.mean(axis=0) if len(held) else held
    thin = len(held) < 3 or np.linalg.svd(spread, compute_uv=False)[-1] < 1e-6 * np.sqrt(shape.area)
    if not len(held) or (thin and not turns):
        raise LayupError(
            "nothing holds the panel. Support at least two sides, clamp one, or hold three points that are not in line"
        )
