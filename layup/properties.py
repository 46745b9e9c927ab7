"""Which properties a material table may hold, and what each one is measured in.

`KINDS_OF_MATERIAL` lists, for every kind of material, its properties with the dimension of each. A property whose
dimension is "word" holds a name (`fibre`, `form`), not a number; a "factor" is a bare number. Process figures that
depend on the form of the reinforcement are written with the form in brackets: `fibre_volume_fraction (cloth)`.
"""

from __future__ import annotations

from functools import lru_cache

FORMS = ("mat", "roving", "cloth", "spread tow", "unidirectional", "biaxial", "veil")
"""The forms of reinforcement the resin model tells apart."""

HANDS = ("squeegeed", "rolled", "brushed", "bled", "not bled", "debulked", "double bagged")
"""How a builder says the resin is worked: on a process, each is a factor on the resin its plies hold."""

ROW_KINDS = ("measured", "typical", "nominal", "derived", "assumed", "absent")
"""What a printed figure is: see docs/materials.md."""

LIKELY: dict[tuple[str, str], tuple[float, float, str]] = {
    ("resin", "density"): (800.0, 2500.0, "0.8 to 2.5 g/cm^3"),
    ("fibre", "density"): (600.0, 5000.0, "0.6 to 5 g/cm^3"),
    ("core", "density"): (5.0, 1500.0, "5 to 1500 kg/m^3"),
    ("sheet", "density"): (50.0, 20_000.0, "0.05 to 20 g/cm^3"),
    ("fabric", "areal_weight"): (0.003, 6.0, "3 to 6000 g/m^2"),
    ("process", "fibre_volume_fraction"): (0.05, 0.80, "0.05 to 0.80"),
    ("process", "surface_resin"): (0.0, 1.0, "0 to 1 kg/m^2"),
    ("core", "bond_resin"): (0.0, 3.0, "0 to 3 kg/m^2"),
    ("process", "void_content"): (0.0, 0.3, "0 to 30 %"),
    ("process", "loss"): (0.0, 0.8, "0 to 80 %"),
    ("process", "pressure"): (1000.0, 5e6, "1 to 5000 kPa"),
}
"""Where a figure can lie that a shop writes, in SI, and in words: beyond, a unit or a point is wrong. By kind of
material and property. Common practice, no source; wide of everything in `materials/`."""

_ELASTIC = {
    "tensile_modulus": "stress",
    "transverse_modulus": "stress",
    "shear_modulus": "stress",
    "compressive_modulus": "stress",
    "poisson_ratio": "fraction",
    "tensile_strength": "stress",
    "compressive_strength": "stress",
    "shear_strength": "stress",
    "yield_strength": "stress",
    "thermal_expansion": "thermal_expansion",
    "transverse_thermal_expansion": "thermal_expansion",
    "glass_transition": "temperature",
    "elongation": "fraction",
}

_PLY = {
    "ply_modulus": "stress",
    "ply_transverse_modulus": "stress",
    "ply_shear_modulus": "stress",
    "ply_poisson_ratio": "fraction",
    "ply_tensile_strength": "stress",
    "ply_compressive_strength": "stress",
    "ply_transverse_tensile_strength": "stress",
    "ply_transverse_compressive_strength": "stress",
    "ply_shear_strength": "stress",
    "ply_fibre_fraction": "fraction",
}
"""What a coupon of cured plies shows: on a fabric, or on a fibre with the form in brackets."""

KINDS_OF_MATERIAL: dict[str, dict[str, str]] = {
    "fibre": {"density": "density", **_ELASTIC, **_PLY},
    "fabric": {
        "fibre": "word",
        "second_fibre": "word",
        "second_share": "fraction",
        "form": "word",
        "weave": "word",
        "style": "word",
        "tow": "word",
        "areal_weight": "areal_weight",
        "areal_weight_tolerance": "fraction",
        "thickness": "length",
        "width": "length",
        "price": "price",
        "mat_share": "fraction",
        "resin_content": "fraction",
        "prepreg_resin": "word",
        "warp_share": "fraction",
        "locking_angle": "angle",
        "yarn_pitch": "length",
        **_PLY,
        "same_turned": "word",
        "same_flipped": "word",
    },
    "resin": {
        "density": "density",
        "density_resin": "density",
        "density_hardener": "density",
        "cured_by": "word",
        "mix_ratio_by_weight": "ratio",
        "least_hardener": "ratio",
        "most_hardener": "ratio",
        "mix_ratio_by_volume": "ratio",
        "pot_life": "time",
        "price": "price",
        "shrinkage": "fraction",
        **_ELASTIC,
    },
    "core": {
        "density": "density",
        "form": "word",
        "thickness": "length",
        "cell_size": "length",
        "bond_resin": "areal_weight",
        "soak": "density",
        "dissolved_by": "word",
        "price": "price",
        **_ELASTIC,
    },
    "sheet": {"density": "density", "thickness_tolerance": "fraction", "price": "price", **_ELASTIC},
    "covering": {"areal_weight": "areal_weight", "fibre": "word", "price": "price", "width": "length"},
    "finish": {
        "areal_weight": "areal_weight",
        "density": "density",
        "thickness": "length",
        "price": "price",
    },
    "consumable": {
        "areal_weight": "areal_weight",
        "mass_per_length": "mass_per_length",
        "resin_uptake": "areal_weight",
        "thickness": "length",
        "width": "length",
        "price": "price",
    },
    "process": {
        "fibre_volume_fraction": "fraction",
        "surface_resin": "areal_weight",
        "void_content": "fraction",
        "pressure": "pressure",
        "pressure_exponent": "factor",
        "pressure_exponent_spread": "factor",
        "hand_pressure": "pressure",
        "areal_weight_exponent": "factor",
        "bled_away": "fraction",
        "mat_backing": "factor",
        **dict.fromkeys(HANDS, "factor"),
        "core_bond": "factor",
        "strength_left": "fraction",
        "loss": "fraction",
        "loss_to_bag": "areal_weight",
        "spread_between_shops": "fraction",
        "spread_of_one_hand": "fraction",
        "spread_between_fabrics": "fraction",
        "spread_between_parts": "fraction",
        "spread_as_bought": "fraction",
        "bag": "word",
        "infused": "word",
        "mixed": "word",
        "resin": "word",
    },
}

for _known in KINDS_OF_MATERIAL.values():
    _known["like"] = "word"  # "as that one, but for the rows given here"
    _known["also"] = "word"  # what the trade also calls it, one after another behind semicolons

TABLE_FILES = {
    "fibres.csv": "fibre",
    "fabrics.csv": "fabric",
    "resins.csv": "resin",
    "cores.csv": "core",
    "sheets.csv": "sheet",
    "coverings.csv": "covering",
    "finishes.csv": "finish",
    "consumables.csv": "consumable",
    "processes.csv": "process",
}
"""The library's tables and the kind of material each holds."""

PLURAL = {
    "fibre": "fibres",
    "fabric": "fabrics",
    "resin": "resins",
    "core": "cores",
    "sheet": "sheet stock",
    "covering": "coverings",
    "finish": "finishes",
    "consumable": "bagging and consumables",
    "process": "processes",
}


@lru_cache(maxsize=4096)
def split_form(name: str) -> tuple[str, str | None]:
    """Split `fibre_volume_fraction (cloth)` into the property and the form; the form is None where none is written.

    A dot, a comma or plain space between the two is read as well.

    >>> split_form("fibre_volume_fraction (spread tow)")
    ('fibre_volume_fraction', 'spread tow')
    >>> split_form("density")
    ('density', None)
    """
    text = " ".join(name.replace("(", " ").replace(")", " ").replace("[", " ").replace("]", " ").split())
    for form in sorted(FORMS, key=len, reverse=True):
        for mark in (" ", ".", ", ", ","):
            if text.endswith(mark + form):
                return text[: -len(mark + form)].rstrip(), form
    return text, None


def property_name(name: str, form: str | None) -> str:
    """The one spelling that tables and screens use for a property, with its form if it has one."""
    return f"{name} ({form})" if form else name


def kind_from_properties(properties: set[str]) -> str | None:
    """Tell from its properties what kind of material a shop's table describes; None where they don't decide.

    >>> kind_from_properties({"fibre", "form", "areal_weight"})
    'fabric'
    """
    plain = {split_form(p)[0] for p in properties}
    if "fibre_volume_fraction" in plain or {"spread_between_shops", "surface_resin"} & plain:
        return "process"
    if {"mix_ratio_by_weight", "mix_ratio_by_volume", "pot_life"} & plain:
        return "resin"
    if {"bond_resin", "soak", "cell_size"} & plain:
        return "core"
    if "form" in plain or "weave" in plain or ("fibre" in plain and "areal_weight" in plain):
        return "fabric"
    if "resin_uptake" in plain:
        return "consumable"
    return None
