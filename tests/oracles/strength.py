"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layup.errors import RangeError
from layup.laminate.strength import MODES, Allowables, Floats, Values, _components, _fraction, _known, reserve_factor


@dataclass(frozen=True, slots=True)
class FirstFailure:
    """The first ply to go.

    Attributes:
        criterion: By which this was found. [-]
        ply: Counted from 1. [-]
        point: Index of the point in the ply at which it goes. [-]
        reserve: Factor on the load. [-]
        mode: The stress nearest its own strength there. [-]
    """

    criterion: str
    ply: int
    point: int
    reserve: float
    mode: str


def _efforts(stress: ArrayLike, allowables: Allowables) -> Floats:
    s1, s2, s12 = _components(stress)
    xt, xc, yt, yc, s = _known(
        allowables,
        "Max stress",
        (
            "xt",
            "xc",
            "yt",
            "yc",
            "s",
        ),
    )
    return np.stack([s1 / xt, -s1 / xc, s2 / yt, -s2 / yc, np.abs(s12) / s], axis=-1)


def governing_stress(stress: ArrayLike, allowables: Allowables) -> NDArray[np.intp]:
    """Which stress is nearest its own strength: an index into `MODES`.

    Args:
        stress: In ply axes, shape (..., 3). [Pa]
        allowables: [Pa]
    Returns:
        Index, shape (...). [-]
    Raises:
        RangeError: a strength is missing.
    """
    return np.asarray(np.argmax(_efforts(stress, allowables), axis=-1))


def first_ply_failure(
    criterion: str,
    stresses: ArrayLike,
    allowables: list[Allowables] | tuple[Allowables, ...],
    moduli: list[tuple[float, float, float, float]] | tuple[tuple[float, float, float, float], ...] | None = None,
) -> FirstFailure:
    """The ply that goes first, by the criterion of that name.

    Args:
        criterion: One of `CRITERIA`. [-]
        stresses: Under the load, in the axes of each ply, at top and bottom (or more points), shape (plies,
            points, 3). [Pa]
        allowables: One per ply. [Pa]
        moduli: One E1, E2, nu12, G12 per ply, for max strain. [Pa, -]
    Returns:
        Ply, point, reserve factor, mode. [-]
    Raises:
        RangeError: counts that differ, or as in `reserve_factor`.
    Source: Kaw 2006, ch. 5 (from memory).
    """
    array = np.asarray(stresses, dtype=float)
    if array.ndim != 3 or array.shape[0] == 0 or array.shape[0] != len(allowables):
        raise RangeError(f"{len(allowables)} sets of strengths for stresses of shape {array.shape}: one set per ply.")
    if moduli is not None and len(moduli) != len(allowables):
        raise RangeError(f"{len(moduli)} sets of moduli for {len(allowables)} plies: one set per ply.")
    reserves = np.stack(
        [
            reserve_factor(criterion, array[k], allowables[k], None if moduli is None else moduli[k])
            for k in range(len(allowables))
        ]
    )
    ply, point = np.unravel_index(int(np.argmin(reserves)), reserves.shape)
    try:
        mode = MODES[int(governing_stress(array[ply, point], allowables[ply]))]
    except RangeError:  # Tsai-Hill runs without the compressive strengths; then no mode can be named
        mode = ""
    return FirstFailure(criterion, int(ply) + 1, int(point), float(reserves[ply, point]), mode)


def longitudinal_tensile_strength(
    fibre_fraction: Values, fibre_strength: Values, fibre_e1: Values, resin_e: Values
) -> Values:
    """Tensile strength along straight fibres: S_f (V_f + (1 - V_f) E_m/E_f), where the fibre breaks first.

    An upper figure: hand layups reach 0.5 to 0.8 of it (common practice, no source). Compression,
    transverse and shear strength have no rule of mixtures worth using: take tested values.

    Args:
        fibre_fraction: Fibre volume over ply volume. [-]
        fibre_strength: Tensile. [Pa]
        fibre_e1: [Pa]
        resin_e: [Pa]
    Returns:
        X_t. [Pa]
    Raises:
        RangeError: fibre fraction outside 0 to 1, or a modulus not positive.
    Source: Kaw 2006, ch. 3 (from memory).
    """
    _fraction("fibre fraction", fibre_fraction)
    if not np.all((np.asarray(fibre_e1) > 0) & (np.asarray(resin_e) > 0)):
        raise RangeError(f"Fibre and resin need positive moduli, not {fibre_e1} and {resin_e}.")
    return fibre_strength * (fibre_fraction + (1 - fibre_fraction) * resin_e / fibre_e1)
