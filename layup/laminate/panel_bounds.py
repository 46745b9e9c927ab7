r"""How far a panel gives and bends at least, whatever a few shapes leave out: bounds with a proof.

- At least how far does it give somewhere?                     `PanelBounds.sag_at_least`
- How does it bend at a place, and by how much is that off?    `PanelBounds.curvature`

`layup.laminate.panel_model` answers from a few shapes and does not know how far it is from the whole finite-element
panel. Here that is known. What the shapes leave out of balance, r = f - K u, is measured in the energy of one reference
layup; a layup at least alpha times as stiff in every way has |u_whole - u| <= |r| / alpha^(1/2) in its own energy, and
any figure c . u read off it, a deflection at a place or a curvature there, is off by at most |c| |r| / alpha, |c| and
|r| those of the reference. K is linear in the seven numbers of a layup, so |r|^2 is a quadratic form, set up once for
any number of layups.
Source: Rozza, Huynh & Patera, Arch. Comput. Methods Eng. 15 (2008) 229 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import STIFFEST, Panel, matrix_of
from layup.laminate.panel_model import seven

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_SHAPES = 32
"""Shapes of one panel under one load; each costs a solution of the whole panel. [-]"""
_ROUNDED = 1e-15
"""What of the quadratic form is rounding, over its greatest. [-]"""


class PanelBounds:
    """Bounds on one panel under one load; a shape more, and they are closer."""

    def __init__(self, panel: Panel, load: Floats, reference: Floats) -> None:
        """Set them up, with the shape of the reference.

        Args:
            panel: The panel.
            load: Its work on each unknown, (count,). [N]
            reference: D and S of a layup like those asked for, (6,) or (7,). [N m, N/m]
        """
        self.panel, self.stiffest = panel, STIFFEST / panel.mesh.step**2
        self.reference = seven(reference, self.stiffest)
        self._load = np.asarray(panel.spread.T @ load)
        self._factor = panel.factor(self.reference)
        self._parts = [panel.stiffness(row) for row in np.eye(7)]
        self._root = np.linalg.inv(np.linalg.cholesky(matrix_of(self.reference[:6])))
        self._shapes = np.empty((len(self._load), 0))
        self._pieces = self._load[:, None]
        self._solved = self._factor.solve(self._pieces)
        self._corners: list[int] = []
        self._corner_norms: list[float] = []
        self._places: dict[int, Floats] = {}
        self._bend: Floats | None = None
        self.add(reference)

    @property
    def shapes(self) -> int:
        """How many there are."""
        return int(self._shapes.shape[1])

    def add(self, layup: Floats) -> None:
        """Take the shape of one more layup, (6,) or (7,), and the corner at which it gives most."""
        terms = seven(layup, self.stiffest)
        shape = np.asarray(self.panel.factor(terms / np.abs(terms[:6]).max()).solve(self._load))
        corner = int(np.argmax(np.abs((self.panel.spread @ shape)[self.panel.basis.nodal_dofs[0]])))
        for _ in range(2):
            shape = shape - self._shapes @ (self._shapes.T @ shape)
            shape = shape / np.linalg.norm(shape)
        self._shapes = np.column_stack([self._shapes, shape])
        more = np.stack([part @ shape for part in self._parts], axis=1)
        self._pieces = np.column_stack([self._pieces, more])
        self._solved = np.column_stack([self._solved, self._factor.solve(more)])
        gram = self._pieces.T @ self._solved
        values, vectors = np.linalg.eigh((gram + gram.T) / 2)
        kept = values > _ROUNDED * values[-1]
        self._unbalanced = vectors[:, kept] * np.sqrt(values[kept])
        self._stiff = np.stack([self._shapes.T @ (part @ self._shapes) for part in self._parts])
        self._work = self._shapes.T @ self._load
        self._sag = (self.panel.spread @ self._shapes)[self.panel.basis.nodal_dofs[0]]
        self._bend = None
        if corner not in self._corners:
            row = np.zeros(self.panel.count)
            row[self.panel.basis.nodal_dofs[0][corner]] = 1.0
            own = np.asarray(self.panel.spread.T @ row)
            self._corners.append(corner)
            self._corner_norms.append(float(np.sqrt(own @ self._factor.solve(own))))

    def answer(self, layups: Floats) -> tuple[Floats, Floats]:
        """Amounts of the shapes, and |r| / alpha of each layup.

        Args:
            layups: D, or D and S, (n, 6) or (n, 7). [N m, N/m]

        Returns:
            Amounts (n, b), and what a figure of unit norm is off by at most, (n,).
        """
        terms = seven(layups, self.stiffest)
        stiff = np.tensordot(terms, self._stiff, axes=1)
        amounts = np.linalg.solve(stiff, np.broadcast_to(self._work, (len(terms), self.shapes))[..., None])[..., 0]
        each = (amounts[:, :, None] * terms[:, None, :]).reshape(len(terms), -1)
        left = np.linalg.norm(self._unbalanced[0] - each @ self._unbalanced[1:], axis=1)
        turned = self._root @ matrix_of(terms[:, :6]) @ self._root.T
        alpha = np.minimum(np.linalg.eigvalsh(turned)[:, 0], terms[:, 6] / self.reference[6])
        return amounts, left / np.maximum(alpha, 1e-300)

    def sag_at_least(self, amounts: Floats, off: Floats) -> Floats:
        """What the greatest deflection of the whole panel is at least, (n,). [m]

        Args:
            amounts: From `answer`.
            off: From `answer`.
        """
        sag = np.abs(amounts @ self._sag[self._corners].T)
        return np.asarray((sag - off[:, None] * np.array(self._corner_norms)).max(axis=1))

    def curvature(self, amounts: Floats, off: Floats, places: Ints) -> tuple[Floats, Floats]:
        """Curvature at some places at which stress is read, and what each number of it is off by at most.

        Args:
            amounts: From `answer`.
            off: From `answer`.
            places: Numbers of `Panel.reading`, (p,).

        Returns:
            Two of (n, p, 3). [1/m]
        """
        new = np.array([k for k in places.tolist() if k not in self._places], dtype=np.int64)
        if len(new):
            read = np.asarray(self.panel.spread.T @ self.panel.reading_of(new).reshape(-1, self.panel.count).T)
            norms = np.sqrt(np.einsum("ip,ip->p", read, self._factor.solve(np.ascontiguousarray(read))))
            self._places |= dict(zip(new.tolist(), norms.reshape(-1, 3), strict=True))
        norm = np.array([self._places[k] for k in places.tolist()])
        if self._bend is None:
            self._bend = self.panel.curvature_at_places(np.asarray(self.panel.spread @ self._shapes))
        bent = np.tensordot(amounts, self._bend[places], axes=(1, 2))
        return np.asarray(bent), off[:, None, None] * norm
