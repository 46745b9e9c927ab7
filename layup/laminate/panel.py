r"""A thin flat panel of any outline, by finite elements: how far it gives, bends, shakes, and when it buckles.

- Set up the outline, its cut-outs and how it is held?   `build_panel`
- Deflect it?                                            `Panel.solve`, then `deflection`, `curvature`
- Its lowest frequency, its buckling factor?             `Panel.frequency`, `Panel.buckling`
- How much does the core of a sandwich add by shear?     `Panel.shear_solution`

Element: the triangle of Morley, with the deflection at the corners and the slope across the mid-sides; the curvature is
constant in each. General-purpose finite elements by scikit-fem, the factor by scipy's SuperLU. Small deflection,
Kirchhoff's thin plate; signs as in `layup.laminate.plate`. On a simply supported square of 1089 unknowns the middle is
1.7 % high, and the error falls with the square of the step (tests/published/test_timoshenko_fe.py shows the order).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from layup.errors import LayupError, RangeError
from layup.laminate.panel_mesh import PanelMesh, edge_sides, triangulate

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix, csr_matrix
    from scipy.sparse.linalg import SuperLU
    from shapely import Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SUPPORTS = ("free", "simple", "clamped")
SIDES = ("left", "right", "bottom", "top")
TERMS = ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))
"""Order of the six numbers of a bending stiffness: D11, D12, D22, D16, D26, D66."""


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
        bends: Curvature of each triangle from its six unknowns, (m, 3, 6). [1/m^2]
        unknowns: Numbers of the six unknowns of each triangle, (m, 6).
        count: Unknowns in all.
        fixed: Those held at nought.
        basis: The elements, for sampling.
    """

    shape: Polygon
    mesh: PanelMesh
    bends: Floats
    unknowns: Ints
    count: int
    fixed: Ints
    basis: Any = field(repr=False)

    @cached_property
    def free(self) -> Ints:
        """Unknowns that may move."""
        return np.setdiff1d(np.arange(self.count), self.fixed)

    @cached_property
    def _pattern(self) -> tuple[Ints, Ints, Ints, int]:
        """Rows and columns of the free unknowns' matrix, which entries of the triangles are kept, and its size."""
        number = np.full(self.count, -1)
        number[self.free] = np.arange(len(self.free))
        local = number[self.unknowns]
        rows = np.repeat(local, 6, axis=1).ravel()
        columns = np.tile(local, (1, 6)).ravel()
        kept = np.flatnonzero((rows >= 0) & (columns >= 0))
        return rows[kept], columns[kept], kept, len(self.free)

    def _assembled(self, blocks: Floats) -> csc_matrix:
        """A sparse matrix of the free unknowns from one 6 by 6 block a triangle."""
        from scipy.sparse import coo_matrix

        rows, columns, kept, size = self._pattern
        return coo_matrix((blocks.reshape(-1)[kept], (rows, columns)), shape=(size, size)).tocsc()

    def stiffness(self, d: Floats) -> csc_matrix:
        """The sparse stiffness matrix.

        Args:
            d: D, shape (3, 3), or one for each triangle (m, 3, 3). [N m]
        Returns:
            Matrix of the free unknowns. [N/m]
        """
        d = np.broadcast_to(np.asarray(d, dtype=float), (len(self.mesh.triangles), 3, 3))
        moments = np.matmul(d, self.bends) * self.mesh.areas[:, None, None]
        return self._assembled(np.matmul(self.bends.transpose(0, 2, 1), moments))

    def factor(self, d: Floats) -> SuperLU:
        """The factored stiffness: `solve` of it takes loads on the free unknowns.

        Raises:
            RangeError: the panel is not held, or D is not positive.
        """
        from scipy.sparse.linalg import splu

        held = len(self.fixed)
        if held < 3 or not np.all(np.linalg.eigvalsh(np.asarray(d, dtype=float)) > 0):
            raise RangeError(
                "The panel is held nowhere, or has no bending stiffness. Support one edge or hold three points."
            )
        return splu(
            self.stiffness(d), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )

    @cached_property
    def _quadrature(self) -> tuple[Floats, Floats, Floats]:
        """Weights (m, q), values (m, 6, q) and slopes (m, 6, 2, q) of the elements' functions."""
        values = np.stack([np.asarray(self.basis.basis[i][0]) for i in range(6)], axis=1)
        slopes = np.stack([np.asarray(self.basis.basis[i][0].grad) for i in range(6)], axis=0)
        return np.asarray(self.basis.dx), values, slopes.transpose(2, 0, 1, 3)

    @cached_property
    def unit_pressure(self) -> Floats:
        """Work of one pascal on each unknown, (count,). [m^2]"""
        weights, values, _ = self._quadrature
        out = np.zeros(self.count)
        np.add.at(out, self.unknowns, np.einsum("miq,mq->mi", values, weights))
        return out

    @cached_property
    def mass(self) -> csc_matrix:
        """Mass matrix for one kilogram a square metre, of the free unknowns. [m^2]"""
        weights, values, _ = self._quadrature
        return self._assembled(np.einsum("miq,mjq,mq->mij", values, values, weights))

    def _push(self, nx: float, ny: float, nxy: float) -> csc_matrix:
        weights, _, slopes = self._quadrature
        n = np.array([[nx, nxy], [nxy, ny]])
        return self._assembled(np.einsum("miaq,ab,mjbq,mq->mij", slopes, n, slopes, weights, optimize=True))

    def samples(self, points: Floats) -> csr_matrix:
        """Sparse rows that give the deflection at points on the panel, (p, count). [-]"""
        rows: csr_matrix = self.basis.probes(np.asarray(points).T).tocsr()
        return rows

    def load_vector(self, load: PanelLoad) -> Floats:
        """Work of a load on each unknown, (count,). [N]"""
        out = load.pressure * self.unit_pressure
        if load.force:
            rows = self.samples(patch_points(self.shape, load))
            out = out + load.force * np.asarray(rows.mean(axis=0)).ravel()
        return np.asarray(out)

    def solve(self, d: Floats, loads: Floats) -> Floats:
        """All unknowns under load vectors.

        Args:
            d: As in `stiffness`. [N m]
            loads: Shape (count, cases). [N]
        Returns:
            Unknowns, (count, cases). [m]
        """
        out = np.zeros_like(loads)
        out[self.free] = self.factor(d).solve(np.ascontiguousarray(loads[self.free]))
        return out

    def deflection(self, unknowns: Floats) -> Floats:
        """At every corner of the mesh, (corners, cases). [m]"""
        return np.asarray(unknowns[self.basis.nodal_dofs[0]])

    def curvature(self, unknowns: Floats) -> Floats:
        """Of every triangle: x, y, xy, shape (m, 3, cases). [1/m]"""
        return np.asarray(np.einsum("mki,mic->mkc", self.bends, unknowns[self.unknowns]))

    @cached_property
    def recovery(self) -> csr_matrix:
        """Sparse rows that carry values of triangles to the corners: a plane through the nearest, (corners, m)."""
        from scipy.sparse import coo_matrix
        from scipy.spatial import cKDTree

        corners, middles, near = self.mesh.points, self.mesh.middles, min(12, len(self.mesh.triangles))
        _, index = cKDTree(middles).query(corners, k=near)
        offset = (middles[index] - corners[:, None, :]) / self.mesh.step
        plane = np.concatenate([np.ones((*offset.shape[:2], 1)), offset], axis=2)
        normal = np.einsum("pni,pnj->pij", plane, plane) + 1e-9 * np.eye(3)
        first = np.linalg.solve(normal, np.broadcast_to(np.eye(3)[:, :1], (len(corners), 3, 1)))[..., 0]
        weights = np.einsum("pi,pni->pn", first, plane)
        rows = np.repeat(np.arange(len(corners)), near)
        return coo_matrix((weights.ravel(), (rows, index.ravel())), shape=(len(corners), len(middles))).tocsr()

    def curvature_at_corners(self, unknowns: Floats) -> Floats:
        """At every corner, carried over from the triangles, (corners, 3, cases). [1/m]"""
        flat = self.curvature(unknowns).reshape(len(self.mesh.triangles), -1)
        return np.asarray(self.recovery @ flat).reshape(len(self.mesh.points), 3, -1)

    def frequency(self, d: Floats, areal_weight: Floats | float) -> tuple[float, Floats]:
        """Lowest natural frequency and its shape, by inverse iteration.

        Args:
            d: As in `stiffness`. [N m]
            areal_weight: Mass per area. [kg/m^2]
        Returns:
            Frequency and unknowns of the shape. [Hz, m]
        """
        if not np.all(np.asarray(areal_weight) > 0):
            raise RangeError(f"A panel needs a positive areal weight, not {areal_weight} kg/m^2.")
        lu, mass = self.factor(d), self.mass
        rng = np.random.default_rng(7)
        block = np.stack([self.unit_pressure[self.free], *(rng.standard_normal((3, len(self.free))))], axis=1)
        value = 0.0
        for _ in range(40):
            block = lu.solve(np.ascontiguousarray(mass @ block))
            gram = block.T @ (mass @ block)
            stiff = block.T @ (self.stiffness(d) @ block)
            root = np.linalg.inv(np.linalg.cholesky(gram))
            values, vectors = np.linalg.eigh(root @ stiff @ root.T)
            block = block @ (root.T @ vectors)
            if abs(values[0] - value) <= 1e-9 * values[0]:
                break
            value = float(values[0])
        shape = np.zeros(self.count)
        shape[self.free] = block[:, 0]
        return float(np.sqrt(values[0] / areal_weight) / (2 * np.pi)), shape

    def buckling(self, d: Floats, nx: float = 0.0, ny: float = 0.0, nxy: float = 0.0) -> tuple[float, Floats]:
        """Factor on even edge loads at which the panel buckles, and its shape; cut-outs are not seen by the load.

        Args:
            d: As in `stiffness`. [N m]
            nx: Compression along x. [N/m]
            ny: Along y. [N/m]
            nxy: Shear. [N/m]
        Returns:
            Smallest positive factor (infinite if these loads can't buckle it), and unknowns of the shape. [-, m]
        """
        from scipy.sparse.linalg import LinearOperator, eigsh

        shape = np.zeros(self.count)
        lu, push = self.factor(d), self._push(nx, ny, nxy)
        stiff = self.stiffness(d)
        size = len(self.free)
        inverse = LinearOperator((size, size), matvec=lu.solve, dtype=float)
        start = np.random.default_rng(7).standard_normal(size)  # the same shape in every run
        value, vector = eigsh(push, k=1, M=stiff, Minv=inverse, which="LA", tol=1e-8, v0=start)
        if value[0] <= 0:
            return float("inf"), shape
        shape[self.free] = vector[:, 0]
        return float(1 / value[0]), shape

    @cached_property
    def _slopes(self) -> tuple[csc_matrix, Ints, Floats]:
        """Laplace's matrix on the corners, its free corners, and the slopes of the corner functions (m, 3, 2)."""
        from scipy.sparse import coo_matrix

        t, p = self.mesh.triangles, self.mesh.points
        a, b, c = (p[t[:, k]] for k in range(3))
        areas = self.mesh.areas[:, None]
        turned = [np.stack([(v - u)[:, 1], -(v - u)[:, 0]], axis=1) for u, v in ((b, c), (c, a), (a, b))]
        slopes = -np.stack([t_ / (2 * areas) for t_ in turned], axis=1)
        blocks = np.einsum("mia,mja->mij", slopes, slopes) * areas[:, :, None]
        rows, columns = np.repeat(t, 3, axis=1).ravel(), np.tile(t, (1, 3)).ravel()
        matrix = coo_matrix((blocks.ravel(), (rows, columns)), shape=(len(p), len(p))).tocsc()
        corners = self.basis.nodal_dofs[0]
        held = np.isin(corners, self.fixed)
        return matrix, np.flatnonzero(~held), slopes

    def shear_solution(self, load: PanelLoad) -> tuple[Floats, Floats]:
        """What a core adds: the deflection by shear for a shear stiffness of one, and the shear force per width.

        The core carries the load to the held edges as a stretched skin would: S lap(w_s) = -q. Exact for polygons on
        simple supports; beside clamped edges it is the usual split into bending and shear.

        Args:
            load: [Pa, N, m]
        Returns:
            Deflection at the corners times shear stiffness [N], and shear force of each triangle [N/m].
        Source: Allen, Analysis and Design of Structural Sandwich Panels, 1969 (from memory).
        """
        from scipy.sparse.linalg import splu

        matrix, free, slopes = self._slopes
        t = self.mesh.triangles
        right = np.zeros(len(self.mesh.points))
        np.add.at(right, t, np.repeat(load.pressure * self.mesh.areas[:, None] / 3, 3, axis=1))
        if load.force:
            points = patch_points(self.shape, load)
            cell = self.basis.mesh.element_finder()(*points.T)
            a = self.mesh.points[t[cell]]
            shares = np.einsum("pia,pa->pi", slopes[cell], points - a.mean(axis=1)) + 1 / 3
            np.add.at(right, t[cell], load.force / len(points) * shares)
        out = np.zeros(len(right))
        out[free] = splu(matrix[free][:, free].tocsc()).solve(right[free])
        force = np.einsum("mia,mi->ma", slopes, out[t])
        return out, np.asarray(np.hypot(force[:, 0], force[:, 1]))


def build_panel(
    shape: Polygon,
    supports: str | Mapping[str, str] = "simple",
    held_at: Sequence[tuple[float, float]] = (),
    count: int = 1600,
    finest: float | None = None,
) -> Panel:
    """Set up a panel: triangles, elements, and what is held.

    Args:
        shape: Outline with cut-outs. [m]
        supports: "free", "simple" or "clamped" for the whole outside, or by side: {"left": "clamped", ...}; a side that
            is not named is free, and so is every cut-out. A side is the part of the outside that faces that way. [-]
        held_at: Points held in place besides: hinges, latches, screws. [m]
        count: Triangles to aim at. [-]
        finest: Step to use where a patch is small. [m]
    Returns:
        The panel.
    Raises:
        LayupError: a support that is none, or nothing that holds the panel.
    """
    from skfem import Basis, ElementTriMorley, MeshTri

    by_side = dict.fromkeys(SIDES, supports) if isinstance(supports, str) else dict(supports)
    check_supports(by_side)
    mesh = triangulate(shape, count, finest)
    grid = MeshTri(np.ascontiguousarray(mesh.points.T), np.ascontiguousarray(mesh.triangles.T), sort_t=True)
    basis = Basis(grid, ElementTriMorley(), intorder=4)
    mesh = PanelMesh(
        mesh.points, _wound(mesh.points, np.asarray(grid.t.T, dtype=np.int64)), mesh.edge, mesh.outer, mesh.step
    )
    hess = np.stack([np.asarray(basis.basis[i][0].hess)[..., 0] for i in range(6)], axis=0)  # (6, 2, 2, m)
    bends = np.stack([-hess[:, 0, 0], -hess[:, 1, 1], -2 * hess[:, 0, 1]], axis=0).transpose(2, 0, 1)
    fixed = _held(mesh, basis, by_side)
    if held_at:
        nearest = [int(np.argmin(np.hypot(*(mesh.points - np.asarray(p)).T))) for p in held_at]
        fixed = np.concatenate([fixed, np.asarray(basis.nodal_dofs[0])[nearest]])
    panel = Panel(
        shape=shape,
        mesh=mesh,
        bends=np.ascontiguousarray(bends),
        unknowns=np.asarray(basis.element_dofs.T, dtype=np.int64),
        count=int(basis.N),
        fixed=np.unique(fixed).astype(np.int64),
        basis=basis,
    )
    turns = bool(np.isin(np.asarray(basis.facet_dofs[0]), panel.fixed).any())
    check_held(mesh.points, np.asarray(basis.nodal_dofs[0]), panel.fixed, turns, shape)
    return panel


def _wound(points: Floats, triangles: Ints) -> Ints:
    """Triangles anticlockwise."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    down = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    triangles = triangles.copy()
    triangles[down] = triangles[down][:, ::-1]
    return triangles


def _held(mesh: PanelMesh, basis: Any, by_side: dict[str, str]) -> Ints:
    """Unknowns that the supports hold."""
    sides = edge_sides(mesh)
    facets = {tuple(sorted(pair)): number for number, pair in enumerate(basis.mesh.facets.T.tolist())}
    fixed: list[int] = []
    for (a, b), side in zip(mesh.edge.tolist(), sides.tolist(), strict=True):
        how = by_side.get(side, "free")
        if how == "free":
            continue
        fixed += [int(basis.nodal_dofs[0][a]), int(basis.nodal_dofs[0][b])]
        if how == "clamped":
            fixed.append(int(basis.facet_dofs[0][facets[min(a, b), max(a, b)]]))
    return np.unique(np.array(fixed, dtype=np.int64))


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
