"""How far the things around the resin stray, where neither the part file nor a table says: each with its source.

These are half-widths that about nine in ten stay within; `deviation` turns one into a standard deviation.
"""

from __future__ import annotations

from layup.sources import Figure
from layup.spread import Z90 as Z90


def _figure(material: str, name: str, value: float, source: str, at: str) -> Figure:
    printed = f"{value * 100:g} %"
    return Figure(
        material=material,
        property=name,
        value=value,
        printed=printed,
        kind="assumed",
        source=source,
        at=at,
        low=value,
        high=value,
    )


CLOTH = _figure(
    "any cloth",
    "areal_weight_tolerance",
    0.04,
    "common-practice",
    "suppliers' tolerance of woven cloth is 3 to 5 %",
)
CLOTH_OF_SHOP = 0.5
"""Share of a cloth's variance that a shop keeps from part to part: the maker's habit; the rest is the lot. The
project's choice; no source."""
SURFACE = _figure("any surface", "area_tolerance", 0.02, "layup-choice", "trimming, mould against drawing")
FILM = _figure(
    "any process",
    "surface_resin_tolerance",
    0.60,
    "layup-choice",
    "the film on a face is hardly ever weighed",
)
FILM_OF_SHOP = 0.5
"""Share of the film's variance that a shop keeps from part to part: its peel ply, its release film. The project's
choice; no source."""
CORE = _figure("any core", "density_tolerance", 0.10, "common-practice", "makers allow about 10 % on a sheet's density")
CORE_OF_SHOP = 0.5
"""Share of a core's variance that a shop keeps from part to part: the maker's sheets; the rest is the batch. The
project's choice; no source."""
BOND = _figure("any core", "bond_resin_tolerance", 0.50, "layup-choice", "the resin at a core is hardly ever weighed")
FINISH = _figure(
    "any finish", "areal_weight_tolerance", 0.35, "layup-choice", "a coat is as thick as the painter makes it"
)
SHEET = _figure("any sheet", "thickness_tolerance", 0.05, "common-practice", "mill tolerance of thin sheet")
STATED = _figure(
    "any item", "stated_mass_tolerance", 0.05, "layup-choice", "a mass from a catalogue, not from the scale"
)
WEIGHED = _figure("any item", "weighed_mass_tolerance", 0.005, "layup-choice", "a shop scale and its last digit")


def deviation(figure: Figure) -> float:
    """Standard deviation whose 90 % interval has this figure as half-width. [-]"""
    return figure.value / Z90
