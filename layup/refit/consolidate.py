"""Several old parts become one: both assemblies side by side, item by item, with what the joints weighed.

What is not a part is a joint: seams, laps, fasteners, nut plates, sealant. It is what a one-piece part does without,
and what a list of the parts alone leaves out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from layup.errors import LayupError
from layup.refit.items import Causes, How, around, causes_of
from layup.refit.model import ConsolidationEntry, PieceEntry
from layup.spread import Interval
from layup.weight.prediction import Prediction

JOINTS = ("seam", "lap", "fasteners", "nut plates", "sealant")
"""Kinds that only hold parts together."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing of an assembly.

    Attributes:
        name: For a person.
        kind: One of `layup.refit.model.KINDS`.
        mass: [kg]
        how: "weighed", "predicted" or "listed".
        words: How the mass comes about: "96 of 1.1 g".
        causes: What makes it stray. [kg]
    """

    name: str
    kind: str
    mass: float
    how: How
    words: str
    causes: Causes = ()


@dataclass(frozen=True)
class Consolidation:
    """Old against new.

    Attributes:
        name: Of the job.
        old: Pieces that come off.
        new: Pieces that go on.
    """

    name: str
    old: tuple[Piece, ...]
    new: tuple[Piece, ...]

    @property
    def old_mass(self) -> float:
        """[kg]"""
        return math.fsum(piece.mass for piece in self.old)

    @property
    def new_mass(self) -> float:
        """[kg]"""
        return math.fsum(piece.mass for piece in self.new)

    @property
    def saving(self) -> Interval:
        """Old less new, 90 %. [kg]"""
        causes = [*(c for p in self.old for c in p.causes), *((n, -v) for p in self.new for n, v in p.causes)]
        return around(self.old_mass - self.new_mass, causes)

    def joints(self, side: str) -> float:
        """What the joints of one side weigh: "old" or "new". [kg]"""
        pieces = self.old if side == "old" else self.new
        return math.fsum(piece.mass for piece in pieces if piece.kind in JOINTS)


def consolidate(entry: ConsolidationEntry, predictions: Mapping[str, Prediction]) -> Consolidation:
    """Weigh both assemblies of a `[[consolidation]]`.

    Returns:
        Both, piece by piece.

    Raises:
        LayupError: A sheet is in no table.
    """
    return Consolidation(
        entry.name,
        tuple(_piece(piece, predictions, "old") for piece in entry.old),
        tuple(_piece(piece, predictions, "new") for piece in entry.new),
    )


def _piece(entry: PieceEntry, predictions: Mapping[str, Prediction], side: str) -> Piece:
    if entry.predicted is not None:
        prediction = predictions[entry.predicted]
        if side == "new":
            mass, causes = prediction.mass.mean, causes_of(prediction, "new")
        else:
            if prediction.replaced is None:
                raise LayupError(f"{entry.predicted} names nothing that it replaces: add [[replaces]] to it")
            mass, causes = prediction.replaced.mass.mean, causes_of(prediction, "old")
        return Piece(entry.name, entry.kind, mass, "predicted", entry.predicted, causes)
    if entry.weighed is not None:
        return Piece(entry.name, entry.kind, entry.weighed.si, "weighed", entry.weighed.text)
    if entry.listed is not None:
        return Piece(entry.name, entry.kind, entry.listed.si, "listed", entry.listed.text)
    if entry.each is not None:
        count = entry.count or 1
        return Piece(entry.name, entry.kind, entry.each.si * count, "listed", f"{count} of {entry.each.text}")
    if entry.per_length is not None:
        return Piece(entry.name, entry.kind, entry.per_length * (entry.length or 0.0), "listed", "by its length")
    return _lap(entry)


def _lap(entry: PieceEntry) -> Piece:
    """Sheet that lies double: density, thickness, width of the lap and its length."""
    from layup.materials import load_library

    density = load_library().get("sheet", entry.sheet or "").figure("density").value
    mass = density * (entry.thickness or 0.0) * (entry.width or 0.0) * (entry.length or 0.0)
    return Piece(entry.name, entry.kind, mass, "listed", f"{entry.sheet}, by its size")
