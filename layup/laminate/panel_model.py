r"""Many layups on one panel: a small model drawn from the finite elements, and the limits it sets on the stiffness.

- Answer deflection, curvature, frequency for thousands of D at once?    `PanelModel.respond`, `frequencies`, `factors`
- What must D keep to, whatever the stack, for a deflection to pass?      `PanelModel.limit_of_work` and its neighbours

The full panel is solved for a few layups that lie far apart; any other layup bends in a mix of those shapes, the
mix that takes the least energy. So the small model is a plate that can take fewer shapes than the full one:
it is never softer.

A limit: for any shape w, the work of the load on its own deflection is at least (f.w)^2 / (energy of w at D), and that
energy is linear in D. To keep the sag within c, D must hold g . D >= (f.w)^2/c with g the energies of w. The limit is
sharp where w is the panel's own shape. Frequency (Rayleigh) and buckling give limits of the same kind.
Source: least energy; Rayleigh, Theory of Sound, 1877 (from memory); the limits are our own use of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import STIFFEST, TERMS, Edge, Panel, PanelLoad, matrix_of

Floats = NDArray[np.float64]
Limit = tuple[Floats, float, float]
"""g, r, s of g . D >= r + s m; g has six numbers, or twelve where A is meant too."""


@dataclass(frozen=True)
class PanelModel:
    """A small model of one panel under its loads; make it with `PanelModel.draw`.

    Attributes:
        panel: The full panel.
        loads: In the order of the cases.
        shapes: The full unknowns of each shape, (count, b), of unit mass.
        energy: Of the shapes for each of the seven numbers alone, D then S, (7, b, b).
        work: Of each load on each shape, (b, cases).
        push: Of one newton a metre along x, along y, and in shear, (3, b, b).
        sag: Deflection of the shapes at the corners, (corners, b).
        bend: Curvature of the shapes at the places at which stress is read, (places, 3, b).
        gamma: Shear angle of the shapes there, (places, 2, b). [-]
    """

    panel: Panel
    loads: tuple[PanelLoad, ...]
    shapes: Floats
    energy: Floats
    work: Floats
    push: Floats
    sag: Floats
    bend: Floats
    gamma: Floats

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
        panel: Panel,
        loads: Sequence[PanelLoad],
        samples: Sequence[Floats] | Floats,
        pushed: Sequence[Edge] = (),
    ) -> PanelModel:
        """Draw a small model from the full panel.

        Args:
            panel: The panel. [-]
            loads: Its loads. [Pa, N]
            samples: D of layups that lie far apart, or D and S, (n, 6) or (n, 7). [N m, N/m]
            pushed: Edge loads whose buckling will be asked for. [N/m]
        """
        vectors = np.stack([panel.load_vector(load) for load in loads], axis=1)
        stiffest = STIFFEST / panel.mesh.step**2
        every = [seven(np.asarray(terms)[None], stiffest)[0] for terms in samples]
        raw = [panel.shapes_of(terms / np.abs(terms[:6]).max(), vectors, pushed) for terms in every]
        return cls._drawn(panel, tuple(loads), vectors, np.concatenate(raw, axis=1))

    @classmethod
    def _drawn(cls, panel: Panel, loads: tuple[PanelLoad, ...], vectors: Floats, raw: Floats) -> PanelModel:
        stiff = panel.stiffness(np.array([1.0, 0.3, 1.0, 0.0, 0.0, 0.35, 0.1 * STIFFEST / panel.mesh.step**2]))
        own = panel.spread.T @ raw
        size = np.sqrt(np.einsum("ic,ic->c", own, stiff @ own))
        raw, own = raw / size, own / size
        values, mix = np.linalg.eigh(own.T @ (stiff @ own))
        kept = values > 1e-9 * values[-1]
        shapes, own = (part @ (mix[:, kept] / np.sqrt(values[kept])) for part in (raw, own))
        energy = panel.energies(shapes)
        push = np.stack([own.T @ (panel.push(*n) @ own) for n in np.eye(3)])
        mass = own.T @ (panel.mass @ own)
        root = np.linalg.cholesky(mass + 1e-12 * np.trace(mass) * np.eye(len(mass)))
        turn = np.linalg.inv(root).T  # shapes of unit mass
        shapes = shapes @ turn
        energy = [turn.T @ part @ turn for part in energy]
        push = np.einsum("ba,kbc,cd->kad", turn, push, turn)
        return cls(
            panel,
            loads,
            shapes=shapes,
            energy=np.array(energy),
            work=shapes.T @ vectors,
            push=push,
            sag=shapes[np.asarray(panel.basis.nodal_dofs[0])],
            bend=panel.curvature_at_places(shapes),
            gamma=panel.angles_at_places(shapes),
        )

    def with_layup(self, terms: Floats, pushed: Sequence[Edge] = ()) -> PanelModel:
        """The model with the full panel's own shapes for one more layup, (6,) or (7,), or one of each triangle."""
        vectors = np.stack([self.panel.load_vector(load) for load in self.loads], axis=1)
        own = seven(np.asarray(terms), self.stiffest)
        more = self.panel.shapes_of(own / np.abs(own[..., :6]).max(), vectors, pushed)
        return PanelModel._drawn(self.panel, self.loads, vectors, np.concatenate([self.shapes, more], axis=1))

    def respond(self, d: Floats) -> Floats:
        """Amounts of the shapes under every load, for many layups at once.

        Args:
            d: Six numbers each, (n, 6). [N m]
        Returns:
            Amounts, (n, b, cases). [kg^0.5 m]
        """
        if not len(d):
            return np.empty((0, *self.work.shape))
        return np.asarray(np.linalg.solve(self._stiff(d), np.broadcast_to(self.work, (len(d), *self.work.shape))))

    def own_work(self, amounts: Floats) -> Floats:
        """Work of each load on its own deflection, (n, cases). [N m]"""
        return np.asarray(np.einsum("bc,nbc->nc", self.work, amounts))

    def greatest_sag(self, amounts: Floats) -> Floats:
        """Greatest deflection anywhere, (n, cases). [m]"""
        return np.asarray(
            np.stack([np.abs(amounts[:, :, c] @ self.sag.T).max(axis=1) for c in range(amounts.shape[2])], axis=1)
        )

    def frequencies(self, d: Floats, areal_weight: Floats) -> tuple[Floats, Floats]:
        """Lowest frequency of many layups (n,), and the amounts of its shape (n, b). [Hz, -]"""
        values, vectors = np.linalg.eigh(self._stiff(d))
        return np.sqrt(np.maximum(values[:, 0], 0.0) / areal_weight) / (2 * np.pi), vectors[:, :, 0]

    def factors(self, d: Floats, nx: float, ny: float = 0.0, nxy: float = 0.0) -> tuple[Floats, Floats]:
        """Buckling factor of many layups (n,) under compression and shear, and the amounts of its shape (n, b). [-]"""
        push = np.tensordot((nx, ny, nxy), self.push, axes=1)
        root = np.linalg.cholesky(self._stiff(d))
        half = np.linalg.solve(root, np.broadcast_to(push, root.shape))
        values, vectors = np.linalg.eigh(np.linalg.solve(root, half.transpose(0, 2, 1)))
        top = values[:, -1]
        amounts = np.linalg.solve(root.transpose(0, 2, 1), vectors[:, :, -1:])[:, :, 0]
        return np.where(top > 0, 1 / np.where(top > 0, top, 1.0), np.inf), amounts

    def limit_of_work(self, shape: Floats, case: int, most: float) -> Limit:
        """Limit on D that follows from: a load's work on its own deflection is at most so much [N m]."""
        return self._energies(shape), float(self.work[:, case] @ shape) ** 2 / most, 0.0

    def limit_of_frequency(self, shape: Floats, least: float) -> Limit:
        """Limit on D that follows from: the lowest frequency is at least so much [Hz]."""
        return self._energies(shape), 0.0, (2 * np.pi * least) ** 2 * float(shape @ shape)

    def limit_of_push(self, shape: Floats, edge: Edge, least: float) -> Limit:
        """Limit on D that follows from: the buckling factor is at least so much."""
        push = float(shape @ np.tensordot(edge, self.push, axes=1) @ shape)
        return self._energies(shape), least * max(push, 0.0), 0.0

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


def spread_layups(terms: Floats, most: int = 16) -> Floats:
    """Layups that lie far apart in how they bend: single plies and pairs of them.

    Args:
        terms: Qbar or D of single plies, (o, 6); only their proportions count. [Pa]
        most: How many. [-]
    Returns:
        Proportions of D, (n, 6), n at most `most`. [-]
    """
    terms = terms / np.abs(terms).max(axis=1, keepdims=True)
    first, second = np.triu_indices(len(terms), 1)
    pairs = np.concatenate(
        [
            (terms[first] + terms[second]) / 2,
            0.8 * terms[first] + 0.2 * terms[second],
            0.2 * terms[first] + 0.8 * terms[second],
        ]
    )
    pool = np.concatenate([terms, pairs])
    kept = [terms.mean(axis=0)]
    while len(kept) < most:
        apart = np.min([np.linalg.norm(pool - k, axis=1) for k in kept], axis=0)
        if apart.max() < 0.02:
            break
        kept.append(pool[int(np.argmax(apart))])
    return np.array(kept)


def strip_stiffness(d: Floats) -> Floats:
    """Bending stiffness per width of a strip cut along x, and of one cut along y: 1/(D^-1)11, 1/(D^-1)22.

    Args:
        d: Six numbers each, (n, 6). [N m]
    Returns:
        Shape (n, 2). [N m]
    Source: Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. 2004 (from memory).
    """
    inverse = np.linalg.inv(matrix_of(d))
    return 1 / np.stack([inverse[:, 0, 0], inverse[:, 1, 1]], axis=1)


def limit_of_strip(axis: int, least: float, at: Floats | None = None) -> Limit:
    """Limit on D that follows from: a strip along x (0) or y (1) has at least so much bending stiffness [N m].

    A strip free to curve sideways takes the curvature of least energy; any other curvature of the same bend gives a
    limit. `at` is the D (6,) whose own curvature is used.
    """
    curve = np.eye(3)[axis]
    if at is not None:
        inverse = np.linalg.inv(matrix_of(at))
        curve = inverse[:, axis] / inverse[axis, axis]
    g = np.array([curve[i] * curve[j] * (1 if i == j else 2) for i, j in TERMS])
    return g, least, 0.0


def in_plane_stiffness(a: Floats) -> Floats:
    """Stiffness of a sheet pulled along x, along y, and sheared, its other strains free: 1/(A^-1)11, 22, 66.

    Args:
        a: Six numbers of A each, (n, 6). [N/m]
    Returns:
        Shape (n, 3). [N/m]
    Source: Kaw, Mechanics of Composite Materials, 2nd ed. 2006, ch. 4 (from memory).
    """
    inverse = np.linalg.inv(matrix_of(a))
    return 1 / np.stack([inverse[:, k, k] for k in range(3)], axis=1)


def limit_in_plane(axis: int, least: float, at: Floats | None = None) -> Limit:
    """Limit on A that follows from: pulled along x (0), y (1) or sheared (2) it has at least so much stiffness [N/m].

    The reasoning is that of `limit_of_strip`, with stretch for curvature.
    """
    g, r, s = limit_of_strip(axis, least, at)
    return np.concatenate([np.zeros(6), g]), r, s
