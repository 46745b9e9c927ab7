r"""Joints of a laminate: a bolt in its hole, a bonded lap, an insert in a core. Stresses out; limits are the caller's.

- How hard does a bolt press on its hole?            `bearing_stress`
- Does the laminate tear across the hole?            `net_section_stress`, with what the hole concentrates
- Does the bolt shear out to the edge, or through?   `shear_out_stress`, `pull_through_stress`
- How near the edge, how near each other?            `LEAST_EDGE`, `LEAST_PITCH`
- How high do shear and peel rise at a lap's ends?   `lap_stresses` (single lap), `shear_of_lap` (double, or braced)
- At what pull does an insert shear its core?        `insert_stress`

Not here: several rows of bolts, how a bolt bends and tilts, holes near each other or near a cut-out, fatigue, wear of
the hole, heat and water on the glue, adherends that split under peel, moments on inserts, impact.
Source: Hart-Smith, NASA CR-144899, 1976 (bolts); MIL-HDBK-17-3F, 2002, ch. 6; Volkersen, Luftfahrtforschung 15 (1938);
Goland & Reissner, J. Appl. Mech. 11 (1944) A17; all from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.errors import RangeError

Values = float | NDArray[np.float64]

LEAST_EDGE, LEAST_PITCH = 3.0, 4.0
"""Diameters from a hole's middle to the edge, and between holes: MIL-HDBK-17-3F ch. 6 (from memory). [-]"""
YIELDING = 0.25
"""Share of an elastic stress concentration that a laminate of several directions feels as it breaks (Hart-Smith, from
memory: carbon, a quarter of it 0 degree plies). [-]"""


def _positive(**named: Values) -> None:
    for name, value in named.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
            raise RangeError(f"{name.replace('_', ' ')} {value} must be a positive number.")


def bearing_stress(load: Values, diameter: Values, thickness: Values) -> Values:
    """Mean pressure of a bolt on its hole: P/(d t).

    Args:
        load: Of one bolt, in the plane. [N]
        diameter: [m]
        thickness: Of the laminate, without a core. [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive.
    Source: definition; ASTM D5961.
    """
    _positive(load=load, diameter=diameter, thickness=thickness)
    return load / (diameter * thickness)


def net_section_stress(load: Values, diameter: Values, thickness: Values, pitch: Values, edge: Values) -> Values:
    """Stress that tears a strip between its holes: k P/((w - d) t), k of the hole as far as a laminate feels it.

    Elastic k is 2 + (w/d - 1) - 1.5 (w/d - 1)/(w/d + 1) theta, theta = 1.5 - 0.5 w/e where e < w, else 1; a laminate
    feels 1 + 0.25 (k - 1).
    Args:
        load: Of one bolt. [N]
        diameter: [m]
        thickness: [m]
        pitch: w, between holes across the load, or the width of a strip with one. [m]
        edge: e, from the hole's middle to the edge the load pulls towards. [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive, or holes that touch.
    Source: Hart-Smith, NASA CR-144899, 1976 (from memory).
    """
    _positive(load=load, diameter=diameter, thickness=thickness, pitch=pitch, edge=edge)
    if not np.all(np.asarray(pitch) > np.asarray(diameter)):
        raise RangeError(f"pitch {pitch} m leaves nothing between holes of {diameter} m.")
    over = np.asarray(pitch) / diameter
    theta = np.where(np.asarray(edge) < pitch, 1.5 - 0.5 * np.asarray(pitch) / edge, 1.0)
    elastic = 2 + (over - 1) - 1.5 * (over - 1) / (over + 1) * theta
    return np.asarray((1 + YIELDING * (elastic - 1)) * load / ((pitch - np.asarray(diameter)) * thickness))


def shear_out_stress(load: Values, edge: Values, thickness: Values) -> Values:
    """Shear along the two lines on which a bolt tears out: P/(2 e t).

    Args:
        load: Of one bolt. [N]
        edge: From the hole's middle to the edge. [m]
        thickness: [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive.
    Source: MIL-HDBK-17-3F, 2002, ch. 6 (from memory).
    """
    _positive(load=load, edge=edge, thickness=thickness)
    return load / (2 * edge * thickness)


def pull_through_stress(pull: Values, head: Values, thickness: Values) -> Values:
    """Shear through the laminate round a head or washer: F/(pi d t).

    Args:
        pull: Along the bolt. [N]
        head: Diameter of head or washer. [m]
        thickness: [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive.
    Source: force over area; the test is ASTM D7332.
    """
    _positive(pull=pull, head=head, thickness=thickness)
    return pull / (np.pi * head * thickness)


def shear_of_lap(
    load: Values, overlap: Values, stretch: Values, other: Values, glue_shear: float, glue: float
) -> Values:
    """Greatest shear in the glue of a lap whose adherends stay straight (double lap, or braced).

    Args:
        load: Per width, on one shear plane: half of a double lap's. [N/m]
        overlap: [m]
        stretch: E t of the one adherend. [N/m]
        other: E t of the other. [N/m]
        glue_shear: Shear modulus of the glue. [Pa]
        glue: Its thickness. [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive.
    Source: Volkersen, Luftfahrtforschung 15 (1938) 41 (from memory).
    """
    _positive(load=load, overlap=overlap, stretch=stretch, other=other, glue_shear=glue_shear, glue=glue)
    wl = np.sqrt(glue_shear / glue * (1 / np.asarray(stretch) + 1 / np.asarray(other))) * overlap
    stiff, soft = np.maximum(stretch, other), np.minimum(stretch, other)
    rise = wl * (stiff / np.tanh(wl) + soft / np.sinh(wl)) / (stiff + soft)
    return np.asarray(load / overlap * rise)


def lap_stresses(
    load: Values, overlap: float, modulus: Values, thickness: Values, glue_moduli: tuple[float, float], glue: float
) -> tuple[Values, Values]:
    """Greatest shear and peel in the glue of a single lap of two alike, which bends as it is pulled.

    Peel is that of a long overlap: right where the overlap is ten adherends long or more, as laps are.
    Args:
        load: Per width. [N/m]
        overlap: [m]
        modulus: Of the adherends along the load. [Pa]
        thickness: Of one adherend. [m]
        glue_moduli: Shear modulus and Young's modulus of the glue. [Pa]
        glue: Its thickness. [m]
    Returns:
        Shear and peel. [Pa]
    Raises:
        RangeError: a value not positive.
    Source: Goland & Reissner, J. Appl. Mech. 11 (1944) A17 (from memory).
    """
    shear, stiff = glue_moduli
    _positive(load=load, overlap=overlap, modulus=modulus, thickness=thickness, glue_shear=shear, glue_modulus=stiff)
    _positive(glue_thickness=glue)
    t, c, e = np.asarray(thickness), overlap / 2, np.asarray(modulus)
    pulled = load / t
    bends = c / t * np.sqrt(3 * pulled / e)
    k = 1 / (1 + 2 * np.sqrt(2) * np.tanh(bends / np.sqrt(2)))
    beta = np.sqrt(8 * shear * t / (e * glue))
    high = pulled * t / (8 * c) * (beta * c / t * (1 + 3 * k) / np.tanh(beta * c / t) + 3 * (1 - k))
    bend = e * t**3 / 12
    lam = (stiff / (2 * bend * glue)) ** 0.25
    moment, across = k * load * t / 2, k * load * np.sqrt(3 * pulled / e)
    peel = stiff / glue * (moment / (2 * lam**2 * bend) + across / (2 * lam**3 * bend))
    return np.asarray(high), np.asarray(peel)


def insert_stress(pull: Values, diameter: Values, core_thickness: Values) -> Values:
    """Shear in the core round a potted insert that goes through it: F/(pi d c), no help from the skins counted.

    Args:
        pull: Across the panel. [N]
        diameter: Of the potting. [m]
        core_thickness: [m]
    Returns:
        [Pa]
    Raises:
        RangeError: a value not positive.
    Source: force over area; ECSS-E-HB-32-22, Insert design handbook, has it with the skins' share (from memory).
    """
    _positive(pull=pull, diameter=diameter, core_thickness=core_thickness)
    return pull / (np.pi * diameter * core_thickness)
