r"""One cured ply of a named cloth: how stiff, how strong, from the tables and the fibre fraction the process gives.

- What are the moduli of this cloth in this process?       `cured_ply`
- What may it be sized with in strength?                   `CuredPly.allowables`; what is missing, `CuredPly.missing`
- How wavy are its yarns?                                  `yarn_pitch_from_tow`
- What stands in a core, and in the old sheet?             `core_properties`, `sheet_properties`

Every property goes by the same order: a tested value on the cloth's own row (`ply_modulus`, `ply_shear_strength`, ...;
a shop's table lies over the library), else the formula of `layup.laminate.micromechanics`, else, for a strength, the
published coupon of that fibre and form. Strength along the fibres follows the fibre fraction; strength across and in
shear does not. What is left of a coupon's strength after hand work is the process's `strength_left`; it is not taken
off a value tested on the cloth itself. A strength that no table gives is missing: it is never guessed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace

import numpy as np

from layup.errors import LayupError
from layup.laminate.micromechanics import (
    FibreElastic,
    PlyElastic,
    ResinElastic,
    crimp_knock_down,
    random_mat_ply,
    unidirectional_ply,
    weave_crimp,
    woven_ply,
)
from layup.laminate.process import TIGHTEST, Process
from layup.laminate.stiffness import reduced_stiffness
from layup.laminate.strength import Allowables, scaled_to_fibre_fraction
from layup.materials import Library, Material
from layup.sources import Figure

FILAMENT = 7e-6
"""Diameter of a carbon filament, from memory; a tow of 1K has a thousand of them. [m]"""
LEAST_OF_CORE = 0.8
"""What a maker vouches for of the typical stiffness and strength that his sheet prints, which is what the tables
hold: data sheets of foam and honeycomb print minima of 0.75 to 0.85 of it (from memory). [-]"""
COUPONS = Figure(
    material="coupons",
    property="strength_left",
    value=0.9,
    printed="0.9",
    kind="derived",
    source="mil-hdbk-17",
    at="nine coupons in ten: 1 - 1.28 x 8 % of scatter; tables print the mean",
    low=0.87,
    high=0.95,
)
"""What nine coupons in ten reach of the mean of a printed strength; a value of the shop's own stands as it is. [-]"""
UNKNOWN_CRIMP = 0.95
"""Share of a plain cloth's modulus left where no yarn pitch is known; common practice, no source. A yarn of a twill or
a satin crosses over less often, and loses less in proportion. [-]"""

_WEAVES = {"plain": (2, 2), "2x2 twill": (4, 2), "twill": (4, 2), "4-harness satin": (4, 2), "crowfoot": (4, 2),
           "5-harness satin": (5, 2), "8-harness satin": (8, 2)}  # fmt: skip
_ALIKE = {"spread tow": "cloth", "roving": "cloth", "biaxial": "cloth"}
"""Whose coupons a form goes by."""
_STRENGTHS = {
    "xt": ("ply_tensile_strength", "tension along the warp"),
    "xc": ("ply_compressive_strength", "compression along the warp"),
    "yt": ("ply_transverse_tensile_strength", "tension across"),
    "yc": ("ply_transverse_compressive_strength", "compression across"),
    "s": ("ply_shear_strength", "shear in the plane"),
}


@dataclass(frozen=True, slots=True)
class CuredPly:
    """One ply as it cures.

    Attributes:
        fabric: Name of the cloth.
        elastic: Moduli in its own axes. [Pa, -]
        allowables: What it may be sized with, knock-downs taken. [Pa]
        turn: From the cloth's warp to axis 1; 45 for a cloth stitched at ±45. [deg]
        fibre_fraction: [-]
        even: Whether it is alike along and across, so that 90 is 0 and -45 is 45. [-]
        missing: Strengths no table gives, in words.
        unfit: Where none of them is given, why; else empty.
        notes: What was assumed, for a person.
        figures: What it rests on.
    """

    fabric: str
    elastic: PlyElastic
    allowables: Allowables
    turn: float
    fibre_fraction: float
    even: bool
    missing: tuple[str, ...]
    unfit: str = ""
    notes: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = field(repr=False, default=())

    @property
    def moduli(self) -> tuple[float, float, float, float]:
        """E1, E2, nu12, G12. [Pa, Pa, -, Pa]"""
        e = self.elastic
        return float(e.e1), float(e.e2), float(e.nu12), float(e.g12)


@dataclass(frozen=True, slots=True)
class CoreProperties:
    """A core, None where no table gives the figure.

    Attributes:
        name: [-]
        shear_modulus: [Pa]
        shear_strength: [Pa]
        modulus: Through the thickness. [Pa]
        crushing_strength: Flatwise. [Pa]
        cell_size: Of a honeycomb. [m]
        honeycomb: [-]
        figures: What it rests on.
    """

    name: str
    shear_modulus: float | None
    shear_strength: float | None
    modulus: float | None
    crushing_strength: float | None
    cell_size: float | None
    honeycomb: bool
    figures: tuple[Figure, ...] = field(repr=False, default=())

    def at_least(self, share: float = LEAST_OF_CORE) -> CoreProperties:
        """The same with every figure that scatters at its maker's minimum."""

        def least(value: float | None) -> float | None:
            return None if value is None else share * value

        return replace(
            self,
            shear_modulus=least(self.shear_modulus),
            shear_strength=least(self.shear_strength),
            modulus=least(self.modulus),
            crushing_strength=least(self.crushing_strength),
        )


@dataclass(frozen=True, slots=True)
class SheetProperties:
    """A plain sheet, or a board with a grain. [Pa, -]

    Attributes:
        name: [-]
        modulus: Along the grain. [Pa]
        across: Across it; the same where the sheet has none. [Pa]
        nu: Strain across for a pull along. [-]
        shear: In its plane. [Pa]
        figures: What it rests on.
    """

    name: str
    modulus: float
    across: float
    nu: float
    shear: float
    figures: tuple[Figure, ...] = field(repr=False, default=())


def yarn_pitch_from_tow(tow: str, fibre_areal_weight: float, fibre_density: float, warp_share: float = 0.5) -> float:
    """Distance between neighbouring warp yarns: mass of the tow per length over areal weight of the warp.

    Args:
        tow: As the tables write it: "3K". [-]
        fibre_areal_weight: [kg/m^2]
        fibre_density: [kg/m^3]
        warp_share: Share of the fibre in the warp. [-]
    Returns:
        Pitch. [m]
    Raises:
        LayupError: the tow does not read.
    Source: mass balance; filament diameter 7 µm (from memory).

    >>> round(yarn_pitch_from_tow("3K", 0.200, 1800.0) * 1e3, 2)
    2.08
    """
    found = re.fullmatch(r"\s*(\d+)\s*[kK]\s*", tow)
    if found is None:
        raise LayupError(f'tow "{tow}" is not a count of filaments such as 3K')
    per_length = int(found[1]) * 1000 * math.pi / 4 * FILAMENT**2 * fibre_density
    return per_length / (fibre_areal_weight * warp_share)


class _Reader:
    """Reads figures of materials and keeps those that were used."""

    def __init__(self) -> None:
        self.figures: list[Figure] = []
        self.notes: list[str] = []

    def need(self, material: Material, name: str) -> float:
        """A figure that must be there."""
        found = material.figure(name)
        self.figures.append(found)
        return found.value

    def maybe(self, material: Material, name: str, form: str | None = None) -> float | None:
        """A figure that may be missing."""
        found = material.optional(name, form)
        if found is None:
            return None
        self.figures.append(found)
        return found.value


def _fibre(reader: _Reader, material: Material) -> FibreElastic:
    e1 = reader.need(material, "tensile_modulus")
    alpha = reader.maybe(material, "thermal_expansion")
    return FibreElastic(
        e1=e1,
        e2=reader.need(material, "transverse_modulus"),
        g12=reader.need(material, "shear_modulus"),
        nu12=reader.need(material, "poisson_ratio"),
        alpha1=alpha,
        alpha2=reader.maybe(material, "transverse_thermal_expansion"),
    )


def _mixed_fibre(reader: _Reader, library: Library, fabric: Material) -> tuple[FibreElastic, tuple[Material, ...]]:
    """The fibre of a cloth, and what it is spun of; a hybrid's moduli are the mean by volume."""
    name = fabric.word("fibre")
    if name is None:
        raise LayupError(f'fabric "{fabric.name}" does not say its fibre. Add a row: {fabric.name},fibre,E-glass,...')
    material = library.get("fibre", name)
    first = _fibre(reader, material)
    second, share = fabric.word("second_fibre"), fabric.optional("second_share")
    if second is None or share is None:
        return first, (material,)
    other_material = library.get("fibre", second)
    other = _fibre(reader, other_material)
    reader.figures.append(share)
    own = (1 - share.value) / reader.need(material, "density")
    by_volume = own / (own + share.value / reader.need(other_material, "density"))
    reader.notes.append(
        f"{fabric.name}: moduli of its two fibres are averaged by volume; of each strength the lesser counts."
    )
    mean = {k: by_volume * getattr(first, k) + (1 - by_volume) * getattr(other, k) for k in ("e1", "e2", "g12", "nu12")}
    return FibreElastic(**mean), (material, other_material)


def _crimp_factor(reader: _Reader, fabric: Material, straight: PlyElastic, thickness: float, density: float) -> float:
    """What is left of the modulus along a yarn that goes over and under its neighbours."""
    weave = fabric.word("weave") or "plain"
    harness, crossings = next((v for k, v in _WEAVES.items() if k == weave), (2, 2))
    share = fabric.optional("warp_share")
    pitch = reader.maybe(fabric, "yarn_pitch")
    tow = fabric.word("tow")
    if pitch is None and tow is not None:
        try:
            weight = reader.need(fabric, "areal_weight")
            pitch = yarn_pitch_from_tow(tow, weight, density, share.value if share else 0.5)
        except LayupError:
            pitch = None
    if pitch is None:
        lost = (1 - UNKNOWN_CRIMP) * crossings / harness
        reader.notes.append(
            f"{fabric.name}: no yarn pitch and no tow in the tables, so {100 * lost:.2g} % of its modulus is "
            "taken off for the waviness of its yarns (common practice, no source)."
        )
        return 1 - lost
    crimp = min(float(weave_crimp(thickness, pitch, harness, crossings)), 0.05)
    return float(crimp_knock_down(straight, crimp))


def cured_ply(
    library: Library,
    fabric: Material,
    resin: Material,
    process: Process,
    fibre_fraction: float,
    void_fraction: float,
    thickness: float,
) -> CuredPly:
    """The ply that a cloth becomes in a resin and a process.

    Args:
        library: Where its fibre is found. [-]
        fabric: The cloth. [-]
        resin: [-]
        process: Says how much of a coupon's strength hand work leaves. [-]
        fibre_fraction: What the process gives this form, or a coupon showed. [-]
        void_fraction: [-]
        thickness: Of the cured ply. [m]
    Returns:
        Its moduli and strengths. [Pa]
    Raises:
        LayupError: a modulus is in no table, and no tested value stands in for it.
    Source: `layup.laminate.micromechanics`; tested values as their rows say.
    """
    reader = _Reader()
    form = fabric.word("form") or "cloth"
    fraction = min(fibre_fraction, TIGHTEST)
    tested = {
        k: reader.maybe(fabric, k)
        for k in ("ply_modulus", "ply_transverse_modulus", "ply_shear_modulus", "ply_poisson_ratio")
    }
    fibre, spun_of = _mixed_fibre(reader, library, fabric)
    matrix = ResinElastic(
        reader.need(resin, "tensile_modulus"),
        reader.need(resin, "poisson_ratio"),
        reader.maybe(resin, "thermal_expansion"),
    )
    straight = unidirectional_ply(fibre, matrix, fraction, min(void_fraction, 1 - fraction))
    turn = 0.0
    if form in ("mat", "veil"):
        ply = random_mat_ply(straight)
        reader.notes.append(f"{fabric.name}: taken as straight fibres in all directions; short strands are softer.")
    elif form == "unidirectional":
        ply = straight
    else:
        density = reader.need(spun_of[0], "density")
        share = reader.maybe(fabric, "warp_share")
        factor = 1.0
        if form in ("cloth", "roving", "spread tow"):
            factor = _crimp_factor(reader, fabric, straight, thickness, density)
        ply = woven_ply(straight, factor, factor, 0.5 if share is None else share)
        if form == "biaxial" and "45" in (fabric.word("weave") or ""):
            turn = 45.0
    mat, bare = reader.maybe(fabric, "mat_share"), ply
    if mat is not None and tested["ply_modulus"] is None:
        ply = _beside(ply, random_mat_ply(straight), mat)
        reader.notes.append(f"{fabric.name}: its mat is counted by its share, as stiff as straight fibres every way.")
    own_fraction = reader.maybe(fabric, "ply_fibre_fraction")
    ply = _with_tested(ply, tested, own_fraction, fraction, form)
    allowables, missing = _allowables(
        reader=reader,
        fabric=fabric,
        spun_of=spun_of,
        form=form,
        process=process,
        fraction=fraction,
        own_fraction=own_fraction,
    )
    if mat is not None and tested["ply_modulus"] is None:  # it breaks at the strain at which its cloth alone does
        along, round_it = min(float(ply.e1) / float(bare.e1), 1.0), min(float(ply.g12) / float(bare.g12), 1.0)
        allowables = allowables.scaled(along, along, round_it)
    even = abs(float(ply.e1) / float(ply.e2) - 1) < 1e-9
    return CuredPly(
        fabric=fabric.name,
        elastic=ply,
        allowables=allowables,
        turn=turn,
        fibre_fraction=fraction,
        even=even,
        missing=missing,
        unfit=_why_unfit(spun_of, form) if len(missing) == len(_STRENGTHS) else "",
        notes=tuple(reader.notes),
        figures=tuple(reader.figures),
    )


def _beside(one: PlyElastic, other: PlyElastic, share: float) -> PlyElastic:
    """Two plies that stretch together, the other with this share of the thickness: their stiffnesses averaged."""
    mixed = np.zeros((3, 3))
    for ply, part in ((one, 1 - share), (other, share)):
        mixed += part * reduced_stiffness(float(ply.e1), float(ply.e2), float(ply.nu12), float(ply.g12))
    soft = np.linalg.inv(mixed)
    e1, e2, g12 = (1 / float(soft[k, k]) for k in range(3))
    return replace(one, e1=e1, e2=e2, nu12=-e1 * float(soft[0, 1]), g12=g12)


def _with_tested(
    ply: PlyElastic, tested: dict[str, float | None], own: float | None, fraction: float, form: str
) -> PlyElastic:
    """Tested moduli in place of computed ones; those that fibres carry are brought to this fibre fraction."""

    def scaled(value: float) -> float:
        return value if own is None else float(scaled_to_fibre_fraction(value, own, fraction))

    e1, e2 = tested["ply_modulus"], tested["ply_transverse_modulus"]
    along = float(ply.e1) if e1 is None else scaled(e1)
    if e2 is not None:
        across = e2 if form == "unidirectional" else scaled(e2)
    elif e1 is not None and form != "unidirectional":
        across = along * float(ply.e2) / float(ply.e1)
    else:
        across = float(ply.e2)
    g12, nu12 = tested["ply_shear_modulus"], tested["ply_poisson_ratio"]
    return PlyElastic(
        e1=along,
        e2=across,
        g12=float(ply.g12) if g12 is None else g12,
        nu12=float(ply.nu12) if nu12 is None else nu12,
        alpha1=ply.alpha1,
        alpha2=ply.alpha2,
    )


def _allowables(
    reader: _Reader,
    fabric: Material,
    spun_of: tuple[Material, ...],
    form: str,
    process: Process,
    fraction: float,
    own_fraction: float | None,
) -> tuple[Allowables, tuple[str, ...]]:
    """Strengths to size with, and those that are missing; of two fibres the lesser, which breaks first."""
    alike = _ALIKE.get(form, form)
    coupons = [(fibre, reader.maybe(fibre, "ply_fibre_fraction", alike)) for fibre in spun_of]
    left = process.material.optional("strength_left")
    values: dict[str, float | None] = {}
    missing = []
    used_left = False
    for key, (name, words) in _STRENGTHS.items():
        fibres_carry = key in ("xt", "xc") or (key in ("yt", "yc") and form != "unidirectional")
        value = reader.maybe(fabric, name)
        if value is not None:
            if fibres_carry and own_fraction is not None:
                value = float(scaled_to_fibre_fraction(value, own_fraction, fraction))
        elif left is not None:
            found = []
            for fibre, tight in coupons:
                one = reader.maybe(fibre, name, alike)
                if one is not None and fibres_carry and tight is not None:
                    one = float(scaled_to_fibre_fraction(one, tight, fraction))
                found.append(one)
            known = [one for one in found if one is not None]
            if len(known) == len(found):
                used_left, value = True, min(known) * left.value * COUPONS.value
        values[key] = value
        if value is None:
            missing.append(f'{words} of "{fabric.name}" ({name})')
    if used_left and left is not None:
        reader.figures += [left, COUPONS]
    return Allowables(**values), tuple(missing)


def _why_unfit(spun_of: tuple[Material, ...], form: str) -> str:
    """Why no strength of a cloth of these fibres is known, for a person."""
    alike = _ALIKE.get(form, form)
    said = [f.why_absent("ply_tensile_strength", alike) for f in spun_of]
    return next(filter(None, said), f"no table gives strengths of {spun_of[0].name} as {alike}")


def core_properties(core: Material) -> CoreProperties:
    """What the tables give of a core; a missing figure is None.

    Args:
        core: The core. [-]
    Returns:
        Its properties. [Pa]
    """
    reader = _Reader()
    names = ("shear_modulus", "shear_strength", "compressive_modulus", "compressive_strength", "cell_size")
    g, tau, e, crush, cell = (reader.maybe(core, name) for name in names)
    return CoreProperties(
        name=core.name,
        shear_modulus=g,
        shear_strength=tau,
        modulus=e,
        crushing_strength=crush,
        cell_size=cell,
        honeycomb="honeycomb" in core.name,
        figures=tuple(reader.figures),
    )


def sheet_properties(sheet: Material) -> SheetProperties:
    """Moduli and Poisson's ratio of a plain sheet; without rows of its own it is alike in all directions.

    Args:
        sheet: The sheet. [-]
    Returns:
        Its properties. [Pa]
    Raises:
        LayupError: a figure is in no table.
    """
    reader = _Reader()
    modulus, nu = reader.need(sheet, "tensile_modulus"), reader.need(sheet, "poisson_ratio")
    across, shear = reader.maybe(sheet, "transverse_modulus"), reader.maybe(sheet, "shear_modulus")
    return SheetProperties(
        sheet.name,
        modulus,
        modulus if across is None else across,
        nu,
        modulus / (2 * (1 + nu)) if shear is None else shear,
        tuple(reader.figures),
    )
