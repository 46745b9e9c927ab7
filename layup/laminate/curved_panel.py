r"""A curved panel by finite elements on its own surface: how far it gives, for any outline and edges.

- How far does it give under an even pressure, on average?     `CurvedPanel.mean_sag`
- The surface over the panel's plane, from its points?         `heights_over`

Marguerre's shallow shell: a panel of `layup.laminate.panel` whose middle also stretches, u,x + z,x w,x and so on, z the
height of the real surface at each node. Five fields on quadratic triangles, stretching and shear taken at three points
of each so that they don't lock. In its own plane a supported edge is held along itself, as by its screws, and may slide
across; a clamped one is held both ways. Good while the surface stays under some 20 degrees to its plane, for small
deflections.
Source: Marguerre, Proc. 5th Int. Congr. Appl. Mech., 1938; Reissner 1945; Mindlin 1951 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import STIFFEST, Panel, PanelLoad, matrix_of
from layup.laminate.panel_model import seven

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

Floats = NDArray[np.float64]


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


@dataclass(frozen=True)
class CurvedPanel:
    """A panel with its curve.

    Attributes:
        panel: Flat, with its supports.
        heights: Of the surface at its nodes, (nodes,). [m]
    """

    panel: Panel
    heights: Floats

    def _stretch(self) -> Floats:
        """Strains x, y, xy of each triangle from its eighteen numbers u, v, w at each point, (m, 3, 18, q). [1/m]"""
        shears, cells = self.panel.shears, self.panel.unknowns[:, :6]
        slope = shears[:, :, :6]  # of w: its shear angle begins with its slope, (m, 2, 6, q)
        tilt = np.einsum("maiq,mi->maq", slope, self.heights[cells])
        out = np.zeros((len(cells), 3, 18, slope.shape[-1]))
        out[:, 0, :6], out[:, 1, 6:12] = slope[:, 0], slope[:, 1]
        out[:, 2, :6], out[:, 2, 6:12] = slope[:, 1], slope[:, 0]
        w = slice(12, 18)
        out[:, 0, w], out[:, 1, w] = tilt[:, 0, None] * slope[:, 0], tilt[:, 1, None] * slope[:, 1]
        out[:, 2, w] = tilt[:, 0, None] * slope[:, 1] + tilt[:, 1, None] * slope[:, 0]
        return out

    def mean_sag(self, d: Floats, a: Floats, shear: float | None = None) -> float:
        """Mean deflection under one pascal.

        Args:
            d: Six numbers of D, (6,). [N m]
            a: Six numbers of A, (6,). [N/m]
            shear: Shear stiffness of a core; none gives if None. [N/m]
        Returns:
            [m/Pa]
        """
        from scipy.sparse import block_diag, coo_matrix, identity
        from scipy.sparse.linalg import splu

        panel, n = self.panel, self.panel.nodes
        terms = seven(d if shear is None else np.append(d, shear), STIFFEST / panel.mesh.step**2)
        cells = panel.unknowns[:, :6]
        numbers = np.concatenate([3 * n + cells, 4 * n + cells, cells], axis=1)
        strain = self._stretch()
        blocks = np.einsum("miaq,ij,mjbq,mq->mab", strain, matrix_of(a), strain, panel.weights[1], optimize=True)
        rows, columns = np.repeat(numbers, 18, axis=1).ravel(), np.tile(numbers, (1, 18)).ravel()
        stretched: csc_matrix = coo_matrix((blocks.ravel(), (rows, columns)), shape=(5 * n, 5 * n)).tocsc()
        plane = panel.spread[n:]  # what may turn across an edge may slide across it
        plane = plane[:, np.diff(plane.indptr) > 0]
        spread = block_diag([panel.spread, plane], format="csc")
        slack = 1e-9 * float(a[0]) * identity(plane.shape[1])  # where nothing holds it in its plane
        whole = spread.T @ stretched @ spread + block_diag([panel.stiffness(terms), slack], format="csc")
        load = panel.load_vector(PanelLoad("even", pressure=1.0))
        work = spread.T @ np.concatenate([load, np.zeros(2 * n)])
        return float(work @ splu(whole.tocsc()).solve(work)) / float(panel.shape.area)
