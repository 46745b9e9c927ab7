"""The joints that `[needs]` names, checked on every stack: bolts, bonded laps, inserts in a core.

- What does each joint ask of a stack?             `checks_of_joints`
- Where are the holes of fasteners it names?       `with_their_holes`

A bolt and a lap sit where the skins meet without the core between them; what runs across the load is not known, so the
weaker way of the laminate counts. Formulas and what they leave out: `layup.laminate.joints`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from layup.choosing.batch import CORE, Batch, CheckKind, core_shear_strength
from layup.choosing.strength_checks import EdgeStrains, ply_reserve
from layup.errors import LayupError
from layup.laminate import joints
from layup.laminate.panel import matrix_of
from layup.partfile.holes import trim_line
from layup.partfile.job import Job
from layup.partfile.needs import Bolts, Insert, Lap, Needs
from layup.shape.holes import without

Floats = NDArray[np.float64]
Check = tuple[CheckKind, Floats, Floats | float]

_SMITH = "Hart-Smith, NASA CR-144899, 1976 (from memory)"
_MIL17 = "MIL-HDBK-17-3F, 2002, ch. 6 (from memory)"


def with_their_holes(job: Job, needs: Needs) -> Needs:
    """The needs with the holes of each row of bolts that names `[[fasteners]]`: the widest, the nearest to an edge.

    Args:
        job: The part file, read. [-]
        needs: Names the joints. [-]
    Raises:
        LayupError: no fasteners of that name, or a hole that lies off the part.
    """
    import shapely

    rows = []
    for bolts in needs.bolts:
        if bolts.fasteners is None:
            rows.append(bolts)
            continue
        old = next((one for one in job.fasteners if one.name == bolts.fasteners), None)
        if old is None:
            known = ", ".join(f'"{one.name}"' for one in job.fasteners) or "none"
            raise LayupError(
                f'bolts "{bolts.name}" name fasteners "{bolts.fasteners}", and the part file has {known}. Write the '
                "name of a [[fasteners]], or diameter, edge and pitch"
            )
        part, centres = without(old.pattern, trim_line(job.surface, old.plan)), shapely.points(old.pattern.centres)
        if not shapely.contains_properly(part, centres).all():
            raise LayupError(
                f'fasteners "{old.name}" have a hole off the part: `layup holes` shows it. Mend that first'
            )
        edge = float(shapely.distance(centres, part.boundary).min())
        apart = shapely.distance(centres[:, None], centres[None]) + np.diag(np.full(len(centres), np.inf))
        pitch = float(apart.min()) if len(centres) > 1 else 2 * edge  # one alone: the strip that it stands in
        row = {"diameter": max(h.diameter for h in old.pattern.holes), "edge": edge, "pitch": pitch}
        rows.append(bolts.model_copy(update=row))
    return needs.model_copy(update={"bolts": rows})


def checks_of_joints(batch: Batch, needs: Needs, factor: float) -> Iterator[Check]:
    """Every joint on every stack.

    Args:
        batch: The stacks; every figure they need is known. [-]
        needs: Names the joints. [-]
        factor: The load factor. [-]
    Returns:
        Kind, value and limit of each check.
    """
    solid = np.where(batch.stack == CORE, 0.0, batch.thicknesses).sum(axis=1)
    for bolts in needs.bolts:
        yield from _bolts(batch, bolts, needs, factor, solid)
    for lap in needs.laps:
        yield from _lap(batch, lap, factor, solid)
    for insert in needs.inserts:
        yield from _insert(batch, insert, factor)


def _kind(name: str, formula: str, source: str, at_least: bool = False, unit: str = "Pa") -> CheckKind:
    return CheckKind(
        name=name, formula=formula, source=source, unit=unit, limit=None, at_least=at_least, strength=not at_least
    )


def _carries(batch: Batch, criterion: str) -> tuple[Floats, Floats]:
    """Pull per width at the first ply, the weaker of both ways, and shear per width, (n,) each. [N/m]"""
    n = len(batch.stack)
    soft, flat = np.asarray(np.linalg.inv(matrix_of(batch.a)), dtype=np.float64), np.zeros((n, 1, 3))

    def first(way: int) -> Floats:
        edges = EdgeStrains(soft[:, None, :, way], np.ones((n, 1)), ("",))
        return ply_reserve(batch, flat, criterion, edges)

    return np.minimum(first(0), first(1)), first(2)


def _bolts(batch: Batch, bolts: Bolts, needs: Needs, factor: float, solid: Floats) -> Iterator[Check]:
    own, name, d, edge, pitch = np.ones(len(solid)), f"bolts {bolts.name}", bolts.diameter, bolts.edge, bolts.pitch
    assert d is not None
    assert edge is not None
    assert pitch is not None  # `with_their_holes` has seen to them
    for word, has, least in (("edge", edge, joints.LEAST_EDGE), ("pitch", pitch, joints.LEAST_PITCH)):
        yield _kind(f"{name}: {word} distance", "in diameters", _MIL17, True, "-"), own * has / d, least
    if bolts.load and bolts.bearing_strength:
        load = factor * bolts.load
        pulled, sheared = _carries(batch, needs.criterion)
        pressed = np.asarray(joints.bearing_stress(load, d, solid))
        yield _kind(f"{name}: bearing", "P/(d t)", "ASTM D5961"), pressed, bolts.bearing_strength
        torn = np.asarray(joints.net_section_stress(load, d, solid, pitch, edge))
        yield _kind(f"{name}: torn across", "k P/((w - d) t) at the first ply", _SMITH), torn, pulled / solid
        out = np.asarray(joints.shear_out_stress(load, edge, solid))
        yield _kind(f"{name}: sheared out", "P/(2 e t) at the first ply", _MIL17), out, sheared / solid
    if bolts.pull and bolts.head and bolts.through_strength:
        through = np.asarray(joints.pull_through_stress(factor * bolts.pull, bolts.head, solid))
        yield _kind(f"{name}: pulled through", "F/(pi d t)", "ASTM D7332"), through, bolts.through_strength


def _lap(batch: Batch, lap: Lap, factor: float, solid: Floats) -> Iterator[Check]:
    name, load = f"lap {lap.name}", factor * lap.load / lap.width
    soft = np.linalg.inv(matrix_of(batch.a))
    stretch = 1 / np.maximum(soft[:, 0, 0], soft[:, 1, 1])
    if lap.double:
        high = joints.shear_of_lap(load / 2, lap.overlap, stretch, stretch, lap.glue_shear_modulus, lap.glue)
        source = "Volkersen 1938 (from memory)"
    else:
        moduli = (lap.glue_shear_modulus, lap.glue_modulus)
        high, peel = joints.lap_stresses(load, lap.overlap, stretch / solid, solid, moduli, lap.glue)
        source = "Goland & Reissner 1944 (from memory)"
        yield _kind(f"{name}: peel of the glue", "greatest, at its ends", source), np.asarray(peel), lap.peel_strength
    yield _kind(f"{name}: shear of the glue", "greatest, at its ends", source), np.asarray(high), lap.shear_strength


def _insert(batch: Batch, insert: Insert, factor: float) -> Iterator[Check]:
    if batch.core is None:
        return
    stress = joints.insert_stress(factor * insert.pull, insert.diameter, batch.core.thickness)
    kind = _kind(f"insert {insert.name}: shear of the core", "F/(pi d c), skins not counted", "force over area")
    yield kind, np.full(len(batch.stack), stress), core_shear_strength(batch.core)
