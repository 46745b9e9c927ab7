"""Predict what a hand-made composite part will weigh before it is laid up, and what it saves.

    >>> import layup
    >>> door = layup.predict({
    ...     "title": "Hatch", "process": "vacuum bag", "resin": "epoxy, laminating",
    ...     "surface": {"area": "0.54 m^2"}, "ply": [{"fabric": "carbon plain 200", "count": 2}],
    ... })
    >>> print(f"{door.mass.mean:.2f} kg, from {door.mass.p05:.2f} to {door.mass.p95:.2f}")
    0.40 kg, from 0.34 to 0.47

The names below are the public face; everything else may move. They load when first used, so that `import layup` is
quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layup.choosing.choice import Choice, choose
    from layup.errors import Fault, FaultsError, LayupError
    from layup.files.read import read_surface
    from layup.materials import Library, Material, load_library
    from layup.partfile.job import Job
    from layup.partfile.read import read_part
    from layup.public import compare, cut, habits, kilograms, ledger, mix, patterns, pounds, shop, weigh
    from layup.shape.surface import Surface
    from layup.sources import Figure
    from layup.spread import Interval
    from layup.weight.picture import draw_prediction
    from layup.weight.prediction import Prediction, predict

__version__ = "0.1.0"

__all__ = [
    "Choice",
    "Fault",
    "FaultsError",
    "Figure",
    "Interval",
    "Job",
    "LayupError",
    "Library",
    "Material",
    "Prediction",
    "Surface",
    "choose",
    "compare",
    "cut",
    "draw_prediction",
    "habits",
    "kilograms",
    "ledger",
    "load_library",
    "mix",
    "patterns",
    "pounds",
    "predict",
    "read_part",
    "read_surface",
    "shop",
    "weigh",
]

_HOMES = {
    "Choice": "layup.choosing.choice",
    "Fault": "layup.errors",
    "FaultsError": "layup.errors",
    "Figure": "layup.sources",
    "Interval": "layup.spread",
    "Job": "layup.partfile.job",
    "LayupError": "layup.errors",
    "Library": "layup.materials",
    "Material": "layup.materials",
    "Prediction": "layup.weight.prediction",
    "Surface": "layup.shape.surface",
    "choose": "layup.choosing.choice",
    "compare": "layup.public",
    "cut": "layup.public",
    "draw_prediction": "layup.weight.picture",
    "habits": "layup.public",
    "kilograms": "layup.public",
    "ledger": "layup.public",
    "load_library": "layup.materials",
    "mix": "layup.public",
    "patterns": "layup.public",
    "pounds": "layup.public",
    "predict": "layup.weight.prediction",
    "read_part": "layup.partfile.read",
    "read_surface": "layup.files.read",
    "shop": "layup.public",
    "weigh": "layup.public",
}


def __getattr__(name: str) -> object:
    """Load a public name from its module when it is first used."""
    if name in _HOMES:
        value: object = getattr(import_module(_HOMES[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'layup' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
