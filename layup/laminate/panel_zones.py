"""A panel that is thicker in places: the small model of `panel_model` with a stiffness of its own in each zone.

- Which triangles and corners lie in a zone?          `ZonedModel.of`
- How does it bend, for many layups at once?          `ZonedModel.respond`
- What does a patch add to the base?                  `with_patch`
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.laminate.panel import matrix_of, terms_of
from layup.laminate.panel_model import PanelModel, seven

if TYPE_CHECKING:
    from shapely import Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class ZonedModel:
    """A small model with zones; make it with `ZonedModel.of`.

    Attributes:
        model: Shapes, loads and samples.
        zone: Of each triangle: 0 for the base, else the zone's number, (m,).
        corner: Of each place at which stress is read, the same; one on a border belongs to the base.
        energy: Of the shapes in each zone for each number of D and S alone, (zones + 1, 7, b, b).
    """

    model: PanelModel
    zone: Ints
    corner: Ints
    energy: Floats

    @classmethod
    def of(cls, model: PanelModel, zones: Sequence[Polygon], samples: Floats) -> ZonedModel:
        """Give a panel zones.

        Args:
            model: Of the panel without them. [-]
            zones: Where they lie; of two that overlap the later counts. [m]
            samples: D of layups that lie far apart, (n, 6). [N m]
        Returns:
            The model, with shapes for zones that are as stiff as the base, some times stiffer, and much stiffer.
        """
        import shapely

        mesh = model.panel.mesh
        zone = np.zeros(len(mesh.triangles), dtype=np.int64)
        for number, shape in enumerate(zones, 1):
            zone[shapely.contains_xy(shape, mesh.middles[:, 0], mesh.middles[:, 1])] = number
        corner = np.full(len(mesh.points), len(zones) + 1)
        np.minimum.at(corner, mesh.triangles, np.repeat(zone[:, None], 3, axis=1))
        rows = model.panel.reading.tocsr()
        place = np.minimum.reduceat(corner[rows.indices], rows.indptr[:-1])
        found = cls._with(model, zone, place, len(zones))
        for terms in samples[:6]:
            for times in (4.0, 30.0):
                layups = np.stack([terms, *([times * terms] * len(zones))])
                found = found.with_layup(layups)
        return found

    @classmethod
    def _with(cls, model: PanelModel, zone: Ints, corner: Ints, zones: int) -> ZonedModel:
        rows = [model.panel.energies(model.shapes, np.flatnonzero(zone == k)) for k in range(zones + 1)]
        return cls(model, zone, corner, np.array(rows))

    def with_layup(self, terms: Floats) -> ZonedModel:
        """The model with the full panel's own shapes for one more layup, D, or D and S, of base and zones."""
        grown = self.model.with_layup((seven(terms, self.model.stiffest) / np.abs(terms[0, :6]).max())[self.zone])
        return ZonedModel._with(grown, self.zone, self.corner, len(self.energy) - 1)

    def respond(self, d: Floats) -> Floats:
        """Amounts of the shapes under every load, for many layups, (n, zones + 1, 6 or 7) to (n, b, cases)."""
        if not len(d):
            return np.empty((0, *self.model.work.shape))
        stiff = np.einsum("nzk,zkbc->nbc", seven(d, self.model.stiffest), self.energy, optimize=True)
        return np.asarray(np.linalg.solve(stiff, np.broadcast_to(self.model.work, (len(d), *self.model.work.shape))))

    def limit_of_work(self, shape: Floats, case: int, most: float) -> tuple[Floats, float]:
        """Limit on the D of base and zones, as `PanelModel.limit_of_work`: g (zones + 1, 6) and r of sum(g D) >= r."""
        g = np.einsum("b,zkbc,c->zk", shape, self.energy, shape)
        g[:, [0, 2]] += g[:, 6:] * self.model.stiffest / 2  # the shear at its stiffest: so it holds for any core
        return np.asarray(g[:, :6]), float(self.model.work[:, case] @ shape) ** 2 / most


def with_patch(membrane: Floats, bending: Floats, height: Floats, patch: Floats, thicknesses: Floats) -> Floats:
    """D of symmetric stacks with plies laid on one side, edges free to slide: D - B A^-1 B, about the base's middle.

    Args:
        membrane: A of each base, six numbers, (n, 6). [N/m]
        bending: D of each base, (n, 6). [N m]
        height: Half its thickness, (n,). [m]
        patch: Qbar of each ply of the patch from the base outwards, (p, 6). [Pa]
        thicknesses: Of each, (p,). [m]
    Returns:
        D, (n, 6). [N m]
    Source: classical laminate theory; Reddy 2004 (from memory).
    """
    a, d = membrane.copy(), bending.copy()
    b = np.zeros_like(a)
    z = height.copy()
    for q, t in zip(patch, thicknesses, strict=True):
        top = z + t
        a += q * t
        b += q * ((top**2 - z**2) / 2)[:, None]
        d += q * ((top**3 - z**3) / 3)[:, None]
        z = top
    coupling = matrix_of(b)
    reduced = matrix_of(d) - coupling @ np.linalg.solve(matrix_of(a), coupling)
    return terms_of((reduced + reduced.transpose(0, 2, 1)) / 2)
