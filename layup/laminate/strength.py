r"""When does the first ply break? Four kinds of criterion, each by its name, never "the" strength.

Index of formulas, by question:

- Which criteria are there?                        `CRITERIA`, `reserve_factor`
- Each stress against its own strength?            `reserve_max_stress`
- Each strain against its own limit?               `reserve_max_strain`
- All stresses together, one strength each?        `reserve_tsai_hill`
- The same, tension and compression apart?         `reserve_modified_tsai_hill`
- All together, with the pull-push cross term?     `reserve_tsai_wu`, `tsai_wu_interaction`
- What do hand work, damage or heat leave?         `Allowables.scaled`
- What does another fibre fraction leave?          `scaled_to_fibre_fraction`
- What do heat and water leave of the resin?       `wet_and_hot_share`, `wet_glass_transition`

A reserve factor R multiplies the load: at R times the load the criterion is just met; above 1 it holds.
Where the load brings no stress it is infinite. Stresses are in the axes of the ply: along, across, shear,
in the last axis. The criteria differ by a factor of two on one and the same state: always print the name
with the number. Every figure is an estimate for sizing. Primary structure needs test coupons and a
qualified person.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layup.errors import RangeError

Floats = NDArray[np.float64]
Values = float | Floats

CRITERIA = ("max stress", "max strain", "Tsai-Hill", "modified Tsai-Hill", "Tsai-Wu")
MODES = (
    "tension along the fibre",
    "compression along the fibre",
    "tension across the fibre",
    "compression across the fibre",
    "shear in the plane",
)


@dataclass(frozen=True, slots=True)
class Allowables:
    """Strengths of one ply, all as positive numbers; None where no figure is known.

    Attributes:
        xt: Tension along the fibre. [Pa]
        xc: Compression along the fibre. [Pa]
        yt: Tension across. [Pa]
        yc: Compression across. [Pa]
        s: Shear in the plane. [Pa]
    """

    xt: float | None
    xc: float | None
    yt: float | None
    yc: float | None
    s: float | None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise RangeError(f"Strength {field.name} = {value} must be a positive number (also in compression).")

    def scaled(self, along: float = 1.0, across: float = 1.0, shear: float = 1.0) -> Allowables:
        """The strengths times knock-down factors (workmanship, damage, heat and moisture).

        Args:
            along: On xt and xc, above 0 up to 1. [-]
            across: On yt and yc. [-]
            shear: On s. [-]
        Returns:
            The lower strengths; what is unknown stays unknown. [Pa]
        Raises:
            RangeError: a factor outside 0 to 1.
        """
        for name, factor in (("along", along), ("across", across), ("shear", shear)):
            if not 0 < factor <= 1:
                raise RangeError(f"The knock-down {name} the fibre is {factor}: write what is left, such as 0.7.")
        factors = {"xt": along, "xc": along, "yt": across, "yc": across, "s": shear}
        known = {name: getattr(self, name) for name in factors}
        return Allowables(**{n: None if v is None else v * factors[n] for n, v in known.items()})


_WORDS = dict(zip(("xt", "xc", "yt", "yc", "s"), MODES, strict=True))


def _known(allowables: Allowables, criterion: str, names: Iterable[str] = tuple(_WORDS)) -> tuple[float, ...]:
    missing = [name for name in names if getattr(allowables, name) is None]
    if missing:
        said = ", ".join(f"{name} ({_WORDS[name]})" for name in missing)
        raise RangeError(f"{criterion} cannot be checked: strength {said} is not given. Give a tested value.")
    return tuple(float(getattr(allowables, name)) for name in names)


def _components(stress: ArrayLike) -> tuple[Floats, Floats, Floats]:
    stress = np.asarray(stress, dtype=float)
    if stress.ndim == 0 or stress.shape[-1] != 3:
        raise RangeError("Ply stresses come as three numbers: along, across, shear.")
    if not np.all(np.isfinite(stress)):  # or a failed analysis would pass as a ply without stress
        raise RangeError("A ply stress is not a number: the analysis before this check has failed.")
    return stress[..., 0], stress[..., 1], stress[..., 2]


def _inverse(effort: Floats) -> Floats:
    effort = np.asarray(effort, dtype=float)
    with np.errstate(over="ignore"):  # next to no stress is an infinite reserve
        return np.asarray(np.divide(1.0, effort, out=np.full(effort.shape, np.inf), where=effort > 0))


def reserve_max_stress(stress: ArrayLike, allowables: Allowables, residual: ArrayLike = 0.0) -> Floats:
    """Each stress against its own strength, with no regard for the others.

    Args:
        stress: Under the load, in ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
        residual: Locked-in stress that does not grow with the load, such as from cure. [Pa]
    Returns:
        Reserve factor on the load; 0 where the residual stress alone breaks the ply. [-]
    Raises:
        RangeError: a strength is missing.
    Source: Kaw, Mechanics of Composite Materials, 2nd ed. 2006, ch. 2 (from memory).
    """
    stress = np.stack(_components(stress), axis=-1)
    locked = np.broadcast_to(np.asarray(residual, dtype=float), stress.shape)
    xt, xc, yt, yc, s = _known(allowables, "Max stress")
    reserve = np.full(stress.shape[:-1], np.inf)
    for i, up, down in ((0, xt, xc), (1, yt, yc), (2, s, s)):
        room = np.where(stress[..., i] >= 0, up - locked[..., i], down + locked[..., i])
        size = np.abs(stress[..., i])
        with np.errstate(over="ignore"):  # next to no stress is an infinite reserve
            own = np.divide(room, size, out=np.full(size.shape, np.inf), where=size > 0)
        broken = (locked[..., i] > up) | (locked[..., i] < -down)
        reserve = np.minimum(reserve, np.where(broken, 0.0, own))
    return reserve


def reserve_max_strain(
    stress: ArrayLike, allowables: Allowables, e1: float, e2: float, nu12: float, g12: float
) -> Floats:
    """Each strain against its own limit; the limits are strength over modulus, straight to failure.

    Args:
        stress: In ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
        e1: [Pa]
        e2: [Pa]
        nu12: [-]
        g12: [Pa]
    Returns:
        Reserve factor. [-]
    Raises:
        RangeError: a strength is missing, or a modulus not positive.
    Source: Kaw 2006, ch. 2 (from memory).
    """
    if not (e1 > 0 and e2 > 0 and g12 > 0):
        raise RangeError(f"Max strain needs positive moduli, not E1 {e1}, E2 {e2}, G12 {g12}.")
    s1, s2, s12 = _components(stress)
    xt, xc, yt, yc, s = _known(allowables, "Max strain")
    strain1 = s1 / e1 - nu12 * s2 / e1
    strain2 = s2 / e2 - nu12 * s1 / e1
    efforts = [
        strain1 * e1 / xt,
        -strain1 * e1 / xc,
        strain2 * e2 / yt,
        -strain2 * e2 / yc,
        np.abs(s12) / s,
    ]
    return _inverse(np.max(np.stack(efforts, axis=-1), axis=-1))


def reserve_tsai_hill(stress: ArrayLike, allowables: Allowables) -> Floats:
    """(s1/Xt)^2 - s1 s2/Xt^2 + (s2/Yt)^2 + (s12/S)^2 = 1, the tensile strengths whatever the sign.

    Trap: pushed across the fibre a ply is five times as strong as pulled; this criterion does not know it
    and is far too careful there. In compression along a carbon fibre (Xc below Xt) it is not careful
    enough.

    Args:
        stress: In ply axes, shape (..., 3). [Pa]
        allowables: xt, yt and s are needed. [Pa]
    Returns:
        Reserve factor. [-]
    Raises:
        RangeError: a strength is missing.
    Source: Kaw 2006, ch. 2 (from memory).
    """
    s1, s2, s12 = _components(stress)
    xt, yt, s = _known(allowables, "Tsai-Hill", ("xt", "yt", "s"))
    index = (s1 * s1 - s1 * s2) / (xt * xt) + (s2 / yt) ** 2 + (s12 / s) ** 2
    return _inverse(np.sqrt(np.maximum(index, 0.0)))


def reserve_modified_tsai_hill(stress: ArrayLike, allowables: Allowables) -> Floats:
    """(s1/X1)^2 - s1 s2/X2^2 + (s2/Y)^2 + (s12/S)^2 = 1; X1, Y by the signs of s1, s2, and X2 by the sign
    of s2.

    Trap: X2 is a strength ALONG the fibre (Xt if s2 > 0, else Xc), though it goes by the sign of s2.

    Args:
        stress: In ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
    Returns:
        Reserve factor; infinite where the index is not above 0. [-]
    Raises:
        RangeError: a strength is missing.
    Source: Kaw 2006, ch. 2 (from memory).
    """
    s1, s2, s12 = _components(stress)
    xt, xc, yt, yc, s = _known(allowables, "Modified Tsai-Hill")
    x1 = np.where(s1 > 0, xt, xc)
    x2 = np.where(s2 > 0, xt, xc)
    y = np.where(s2 > 0, yt, yc)
    index = (s1 / x1) ** 2 - s1 * s2 / (x2 * x2) + (s2 / y) ** 2 + (s12 / s) ** 2
    return _inverse(np.sqrt(np.maximum(index, 0.0)))


def tsai_wu_interaction(allowables: Allowables, rule: str = "Mises-Hencky") -> float:
    """The cross term H12 of Tsai-Wu, which needs a test under two loads at once; three usual guesses.

    "Mises-Hencky" -0.5/sqrt(Xt Xc Yt Yc), "Hoffman" -1/(2 Xt Xc), "Tsai-Hill" -1/(2 Xt^2).

    Args:
        allowables: [Pa]
        rule: One of the three names. [-]
    Returns:
        H12. [1/Pa^2]
    Raises:
        RangeError: another name, or a missing strength.
    Source: Kaw 2006, ch. 2 (from memory).
    """
    xt, xc, yt, yc = _known(allowables, "Tsai-Wu", ("xt", "xc", "yt", "yc"))
    rules = {
        "Mises-Hencky": -0.5 / np.sqrt(xt * xc * yt * yc),
        "Hoffman": -0.5 / (xt * xc),
        "Tsai-Hill": -0.5 / (xt * xt),
    }
    if rule not in rules:
        raise RangeError(f'No rule "{rule}" for the cross term of Tsai-Wu. Write one of: {", ".join(rules)}.')
    return float(rules[rule])


def reserve_tsai_wu(
    stress: ArrayLike,
    allowables: Allowables,
    interaction: float | str = "Mises-Hencky",
    residual: ArrayLike = 0.0,
) -> Floats:
    """H1 s1 + H2 s2 + H11 s1^2 + H22 s2^2 + H66 s12^2 + 2 H12 s1 s2 = 1, by the root of its quadratic in
    the load.

    H1 = 1/Xt - 1/Xc, H11 = 1/(Xt Xc), the same with Y, H66 = 1/S^2. H12^2 must stay below H11 H22 (a closed
    surface).

    Args:
        stress: Under the load, in ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
        interaction: H12 itself, or a rule of `tsai_wu_interaction`. [1/Pa^2]
        residual: Locked-in stress that does not grow with the load. [Pa]
    Returns:
        Reserve factor on the load; 0 where the residual stress alone breaks the ply. [-]
    Raises:
        RangeError: a strength is missing, or H12 opens the surface.
    Source: Tsai & Wu, J. Compos. Mater. 5 (1971) 58, as in Kaw 2006 ch. 2 (from memory).
    """
    s1, s2, s12 = _components(stress)
    r1, r2, r12 = _components(np.broadcast_to(np.asarray(residual, dtype=float), np.asarray(stress).shape))
    xt, xc, yt, yc, s = _known(allowables, "Tsai-Wu")
    h12 = tsai_wu_interaction(allowables, interaction) if isinstance(interaction, str) else interaction
    h1, h2 = 1 / xt - 1 / xc, 1 / yt - 1 / yc
    h11, h22, h66 = 1 / (xt * xc), 1 / (yt * yc), 1 / (s * s)
    if h12 * h12 >= h11 * h22:
        raise RangeError(f"Tsai-Wu with H12 = {h12:g} per Pa^2 has no closed surface: |H12| < {np.sqrt(h11 * h22):g}.")

    def product(u1: Floats, u2: Floats, u12: Floats, v1: Floats, v2: Floats, v12: Floats) -> Floats:
        return h11 * u1 * v1 + h22 * u2 * v2 + h66 * u12 * v12 + h12 * (u1 * v2 + u2 * v1)

    square = product(s1, s2, s12, s1, s2, s12)
    linear = h1 * s1 + h2 * s2 + 2 * product(s1, s2, s12, r1, r2, r12)
    rest = 1 - h1 * r1 - h2 * r2 - product(r1, r2, r12, r1, r2, r12)
    left = np.maximum(rest, 0.0)
    bottom = linear + np.sqrt(linear * linear + 4 * square * left)
    with np.errstate(over="ignore"):
        root = np.divide(2 * left, bottom, out=np.full(np.shape(bottom), np.inf), where=bottom > 0)
    return np.where(rest > 0, root, 0.0)


def reserve_factor(
    criterion: str,
    stress: ArrayLike,
    allowables: Allowables,
    moduli: tuple[float, float, float, float] | None = None,
) -> Floats:
    """Reserve factor by the criterion of that name.

    Args:
        criterion: One of `CRITERIA`. [-]
        stress: In ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
        moduli: E1, E2, nu12, G12; only max strain needs them. [Pa, -]
    Returns:
        Reserve factor, shape (...). [-]
    Raises:
        RangeError: no such criterion, or what it needs is missing.
    """
    if criterion == "max stress":
        return reserve_max_stress(stress, allowables)
    if criterion == "max strain":
        if moduli is None:
            raise RangeError("Max strain cannot be checked: the moduli E1, E2, nu12, G12 of the ply are not given.")
        return reserve_max_strain(stress, allowables, *moduli)
    if criterion == "Tsai-Hill":
        return reserve_tsai_hill(stress, allowables)
    if criterion == "modified Tsai-Hill":
        return reserve_modified_tsai_hill(stress, allowables)
    if criterion == "Tsai-Wu":
        return reserve_tsai_wu(stress, allowables)
    raise RangeError(f'No failure criterion "{criterion}". Write one of: {", ".join(CRITERIA)}.')


def _fraction(name: str, value: Values) -> None:
    if not np.all((np.asarray(value) > 0) & (np.asarray(value) <= 1)):
        raise RangeError(f"{name} {value} is outside 0 to 1: write fibre volume over ply volume, such as 0.45.")


def scaled_to_fibre_fraction(tested: Values, tested_fraction: Values, fibre_fraction: Values) -> Values:
    """A tested strength or modulus along the fibre, at another fibre fraction: in proportion to V_f.

    Never for transverse or shear strength, which do not follow the fibre fraction.

    Args:
        tested: The tested value. [Pa]
        tested_fraction: Fibre fraction of the test piece. [-]
        fibre_fraction: Fibre fraction wanted. [-]
    Returns:
        The value at the wanted fraction. [Pa]
    Raises:
        RangeError: a fraction outside 0 to 1.
    Source: normalisation of fibre-dominated data, CMH-17 vol. 1 (from memory).
    """
    _fraction("tested fibre fraction", tested_fraction)
    _fraction("fibre fraction", fibre_fraction)
    return tested * fibre_fraction / tested_fraction


ROOM = 294.15
"""At which coupons are tested: 70 degF. [K]"""
WATER = 2.0
"""Water that a cold-cured epoxy takes up in wet air for years, of its own weight (from memory: 1.5 to 3). [%]"""


def _fahrenheit(kelvin: Values) -> Values:
    return (np.asarray(kelvin) - 273.15) * 1.8 + 32


def wet_glass_transition(glass_transition: float, water: float = WATER) -> float:
    """Where a resin softens with water in it: Tw = (0.005 M^2 - 0.10 M + 1) Td, in degrees Fahrenheit.

    Args:
        glass_transition: Dry. [K]
        water: Of the resin's weight, 0 to 10. [%]
    Returns:
        [K]
    Raises:
        RangeError: more water than the curve was drawn for.
    Source: Chamis, NASA TM-83320, 1983 (from memory).

    >>> round(wet_glass_transition(353.15) - 273.15)  # 80 degC
    62
    """
    if not 0 <= water <= 10:
        raise RangeError(f"{water} % of water is outside 0 to 10, for which the curve was drawn.")
    wet = (0.005 * water**2 - 0.10 * water + 1) * float(_fahrenheit(glass_transition))
    return (wet - 32) / 1.8 + 273.15


def wet_and_hot_share(glass_transition: float, temperature: float, water: float = WATER) -> float:
    """What heat and water leave of what a resin carries: ((Tw - T)/(Td - T0))^(1/2), with T0 of the room; at most 1.

    Args:
        glass_transition: Dry. [K]
        temperature: Where the part is. [K]
        water: Of the resin's weight. [%]
    Returns:
        Share of strengths across the fibres, in shear and in compression; 0 where the resin is soft. [-]
    Raises:
        RangeError: a glass transition no higher than the room, or more water than the curve was drawn for.
    Source: Chamis, NASA TM-83320, 1983 (from memory).

    >>> round(wet_and_hot_share(353.15, 327.15), 2)  # 80 degC, used at 54 degC
    0.38
    """
    if glass_transition <= ROOM:
        raise RangeError(f"a glass transition of {glass_transition} K is no higher than the room's: it is no resin.")
    span = max(wet_glass_transition(glass_transition, water) - temperature, 0.0)
    return float(min(1.0, np.sqrt(span / (glass_transition - ROOM))))
