"""The other hand of a part: `mirror = "y"` makes the left part of the right one's file, with everything following.

    The job of the mirrored part        mirrored(job, "y")

The file is read as it stands, zones and holes in its own coordinates, and then all of it is mirrored: the surface with
its zones and holes, warp, starts, the places of extras, and the sign of every angle, because a fibre at +30 in one
part lies at -30 in its mirror image. So a change to the file changes both hands.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.shape.measure import Box, Measured, tensor, vector
from layup.shape.surface import Finding, Surface
from layup.shape.zones import Cut

if TYPE_CHECKING:
    from collections.abc import Mapping

    from layup.partfile.holes import Opened
    from layup.partfile.job import Job
    from layup.partfile.model import Part, PlyEntry
    from layup.shape.holes import HoleSet
    from layup.shape.plan import Plan

Floats = NDArray[np.float64]

AXES = {"x": 0, "y": 1, "z": 2}
_TRIPLE = re.compile(r"\(([^(),]+),([^(),]+),([^(),]+)\)")


def mirrored(job: Job, axis: str) -> Job:
    """The mirror image of a part.

    Args:
        job: The part as its file describes it.
        axis: "x", "y" or "z": what changes its sign.

    Returns:
        The job of the mirror image; its part has no `mirror` any more.
    """
    sign = np.ones(3)
    sign[AXES[axis]] = -1.0
    surface = _Mirrored(job.surface, sign, axis)
    opened = None if job.opened is None else _opened(job.opened, job.surface, surface, sign, axis)
    return replace(
        job,
        part=_part(job.part, sign, axis),
        surface=surface,
        zones={name: _measured(one, sign) for name, one in job.zones.items()},
        opened=opened,
        fasteners=tuple(replace(old, plan=_plan(old.plan, sign)) for old in job.fasteners),
    )


class _Mirrored(Surface):
    """The mirror image of a surface; zones are cut from the original, in the coordinates they are written in."""

    def __init__(self, base: Surface, sign: Floats, axis: str) -> None:
        super().__init__(
            base.name,
            _measured(base.whole, sign),
            (lambda: _turned(base.vertices, base.faces, sign)) if base.has_mesh else None,
            side=base.side,
            unit=base.unit,
            findings=(
                *base.findings,
                Finding("mirrored", 1, f"mirrored: {axis} has the other sign; places are told as they are in the file"),
            ),
            groups=lambda: base.groups,
            left_out=lambda: _turned(*base.left_out, sign),
            laminate=base.laminate,
        )
        self._base = base
        self._sign = sign
        self.holes = {name: _hole_set(one, sign) for name, one in base.holes.items()}

    @property
    def perimeter(self) -> float | None:
        """Length of the free edges: that of the original. [m]"""
        return self._base.perimeter

    def cut(self, spec: Mapping[str, object]) -> Cut:
        """The original parted by a zone, mirrored."""
        cut = self._base.cut(spec)
        return replace(
            cut,
            inside=_measured(cut.inside, self._sign),
            inner=_soup(cut.inner, self._sign),
            rest=_soup(cut.rest, self._sign),
            points=self.vertices,
            every=self.faces,
        )


def _turned(points: Floats, faces: NDArray[np.int64], sign: Floats) -> tuple[Floats, NDArray[np.int64]]:
    return points * sign, faces[:, ::-1].copy()  # a mirrored face looks the other way, so it is drawn the other way


def _soup(triangles: Floats, sign: Floats) -> Floats:
    return np.asarray((triangles * sign)[:, ::-1])


def _measured(whole: Measured, sign: Floats) -> Measured:
    return replace(
        whole,
        centroid=None if whole.centroid is None else vector(np.array(whole.centroid) * sign),
        second_moment=None
        if whole.second_moment is None
        else tensor(np.array(whole.second_moment) * np.outer(sign, sign)),
        box=None if whole.box is None else _box(whole.box, sign),
    )


def _box(box: Box, sign: Floats) -> Box:
    corners = np.array(box) * sign
    return vector(corners.min(axis=0)), vector(corners.max(axis=0))


def _plan(plan: Plan, sign: Floats) -> Plan:
    """The same plan in the mirror: what is seen along it keeps its two coordinates."""
    way, u, v = (vector(np.array(axis) * sign) for axis in (plan.way, plan.u, plan.v))
    return replace(plan, way=way, u=u, v=v)


def _hole_set(one: HoleSet, sign: Floats) -> HoleSet:
    return replace(one, plan=_plan(one.plan, sign), places=one.places * sign)


def _opened(opened: Opened, surface: Surface, shown: Surface, sign: Floats, axis: str) -> Opened:
    base = shown if opened.base is surface else _Mirrored(opened.base, sign, axis)
    return replace(
        opened, base=base, holes={name: _hole_set(one, sign) for name, one in opened.holes.items()}, covers={}
    )


def _part(part: Part, sign: Floats, axis: str) -> Part:
    entry = part.surface
    ways = {key: _vector(getattr(entry, key), sign) for key in ("warp", "forward", "up", "start")}
    if entry.warp is None:
        ways["warp"] = _vector((1.0, 0.0, 0.0), sign)  # mirrored in x, 0 runs the other way along it
    mould = None if entry.mould is None else _TRIPLE.sub(lambda m: _triple(m, axis), entry.mould)
    return part.model_copy(
        update={
            "mirror": None,
            "surface": entry.model_copy(update={**ways, "mould": mould}),
            "ply": [_ply(ply, sign) for ply in part.plies()],
            "stack": None,
            "fabric": None,
            "extra": [one.model_copy(update={"at": _vector(one.at, sign)}) for one in part.extra],
        }
    )


def _ply(ply: PlyEntry, sign: Floats) -> PlyEntry:
    return ply.model_copy(update={"angle": -ply.angle + 0.0, "start": _vector(ply.start, sign)})


def _vector(way: tuple[float, float, float] | None, sign: Floats) -> tuple[float, float, float] | None:
    return None if way is None else vector(np.array(way, dtype=np.float64) * sign + 0.0)


def _triple(found: re.Match[str], axis: str) -> str:
    """A direction in a text, with one of its numbers the other way."""
    words = [word.strip() for word in found.groups()]
    one = words[AXES[axis]]
    if any(digit in one for digit in "123456789"):  # nought has no sign
        words[AXES[axis]] = one[1:] if one.startswith("-") else f"-{one.removeprefix('+')}"
    return f"({', '.join(words)})"
