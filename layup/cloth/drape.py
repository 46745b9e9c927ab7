"""Cloth laid on a surface: where every cell of the weave comes to lie and how far it shears there.

    Lay a cloth from a point, its warp one way        drape(points, faces, start, warp)
    Where to start, if nobody says                    middle_of(triangles, warp)
    What that means for some triangles of the part    over(net, triangles)

The cloth is a net of threads that neither stretch nor slip, jointed where they cross: the only thing that gives is
the angle between warp and weft. Sheared by gamma, a cell covers cos(gamma) of its area, so the same threads weigh
1/cos(gamma) per area. Both threads through the start run straight, so that the weave is square there.

It is geometry, not force: it says how the threads must lie if they don't slip, not whether the cloth will. Beyond the
angle at which a weave locks it wrinkles; the net goes on as if it did not.

Source: a surface whose two families of threads keep their lengths is a Chebyshev net (P. L. Chebyshev, "Sur la coupe
des vetements", 1878, from memory). The figures it is checked against stand in tests/published/test_draped_sphere.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.nearest import nearest_points
from layup.shape.topology import Faces, Points
from layup.shape.walkable import Sheet, foot, ready, with_collar

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

NODES = 10_000
"""About so many nodes are laid where nobody says how long a link is. [-]"""
LIMIT = math.radians(80.0)
"""The net stops at this shear: beyond it two threads are nearly one, and its equations have no certain answer. [rad]"""
_STEEP = math.sin(math.radians(15.0))  # least part of the warp direction that must lie in the surface
_HANG = 2.5  # links that the strip beyond the edge is wide
_OFF = 0.02  # of the size of the part, how far off it a start may lie


@dataclass(frozen=True, eq=False)
class Net:
    """A cloth laid on a surface.

    Attributes:
        sheet: What it lies on.
        link: Length of a link. [m]
        start: Where it was started, on the surface. [m]
        warp: Its direction there, in the surface (3,).
        ij: Place of each node in the cloth, in links along warp and weft from the start (n, 2).
        nodes: Where each lies (n, 3). [m]
        off: Which lie past the edge of the part (n,).
        cells: Their corners, round: start, along the warp, opposite, along the weft (m, 4).
        shear: Of each cell; positive where warp and weft come closer together between +i and +j (m,). [rad]
        rough: Nodes that were joined only roughly, round a sharp corner of the mesh.
        stopped: Places where the net could go no further: the shear limit.
        full: Whether it ran out of room, which leaves part of the surface bare.
    """

    sheet: Sheet
    link: float
    start: Floats
    warp: Floats
    ij: Whole
    nodes: Floats
    off: NDArray[np.bool_]
    cells: Whole
    shear: Floats
    rough: int
    stopped: int
    full: bool

    @cached_property
    def middles(self) -> Floats:
        """Middle of each cell (m, 3). [m]"""
        middle: Floats = self.nodes[self.cells].mean(axis=1)
        return middle

    @cached_property
    def threads(self) -> tuple[Floats, Floats]:
        """Unit directions of warp and weft in each cell, each (m, 3)."""
        c, a, d, b = (self.nodes[self.cells[:, k]] for k in range(4))
        i, j = a - c + d - b, b - c + d - a
        return i / np.linalg.norm(i, axis=1, keepdims=True), j / np.linalg.norm(j, axis=1, keepdims=True)


def drape(
    points: Points,
    faces: Faces,
    start: Floats | tuple[float, float, float] | None = None,
    warp: Floats | tuple[float, float, float] = (1.0, 0.0, 0.0),
    *,
    angle: float = 0.0,
    link: float | None = None,
    nodes: int = NODES,
    limit: float = LIMIT,
) -> Net:
    """Lay a cloth on a mesh.

    Args:
        points: Welded, shape (n, 3). [m]
        faces: Shape (m, 3).
        start: Where it is laid first; the middle of the surface if left out. [m]
        warp: Direction that angle 0 follows; laid into the surface at the start.
        angle: Of the warp from that direction, turning towards the weft about the side the faces face. [rad]
        link: Length of a link; from `nodes` if left out. [m]
        nodes: About how many nodes to lay.
        limit: Shear at which the net stops. [rad]

    Raises:
        SurfaceError: A start off the surface, a warp that stands square to it, or no surface.
    """
    return lay(ready(points, faces), start, warp, angle=angle, link=link, nodes=nodes, limit=limit)


def lay(
    sheet: Sheet,
    start: Floats | tuple[float, float, float] | None,
    warp: Floats | tuple[float, float, float],
    *,
    angle: float = 0.0,
    link: float | None = None,
    nodes: int = NODES,
    limit: float = LIMIT,
) -> Net:
    """As `drape`, on a sheet that is ready."""
    from layup.cloth.net import cells, grow

    wanted = np.asarray(warp, dtype=np.float64)
    face, place = _start(sheet, start, wanted)
    direction = _direction(sheet, face, wanted, angle)
    step = link if link is not None else math.sqrt(sheet.area / max(nodes, 16))
    used = sheet.points[np.unique(sheet.faces)]
    span = float(np.linalg.norm(np.ptp(used, axis=0)))
    reach = max(2.0 * span, 1.5 * math.sqrt(sheet.area))
    where = int(min(math.ceil(reach / step) + 8, 6000))
    filled = sheet.normal[sheet.owner < 0]
    room = int(2.5 * sheet.area / step**2 + 16.0 * where + 4 * len(filled) + 1000)
    place = place - 1e-9 * (place - sheet.points[sheet.faces[face]].mean(axis=0))  # not exactly on an edge
    hung = with_collar(sheet, _HANG * step)
    for _ in range(4):
        slot, at, off, ways, ij, said = grow(
            (hung.normal, hung.out, hung.level, hung.beyond, hung.across, hung.owner),
            f0=face,
            start=place,
            warp=direction,
            link=step,
            least=math.cos(limit),
            where=where,
            most=room,
        )
        if not said[2] or len(at) < room - 8:
            break
        room *= 2
    corner, sine = cells(slot, where, at, off, ways, ij)
    return Net(
        sheet=sheet,
        link=step,
        start=place,
        warp=direction,
        ij=ij,
        nodes=at,
        off=off,
        cells=corner,
        shear=np.arcsin(np.clip(sine, -1.0, 1.0)),
        rough=int(said[0]),
        stopped=int(said[1]),
        full=bool(said[2]),
    )


def middle_of(triangles: Floats, warp: Floats | tuple[float, float, float]) -> Floats:
    """A place near the middle of some triangles that faces as most of them do and that the warp runs along. [m]"""
    corner = np.asarray(triangles, dtype=np.float64)
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1)
    corner, normal, size = corner[size > 0], normal[size > 0] / size[size > 0, None], size[size > 0]
    middles = corner.mean(axis=1)
    middle, mean = size @ middles / size.sum(), size @ normal / size.sum()
    facing = normal @ mean / (np.linalg.norm(mean) + 1e-12)
    way = np.asarray(warp, dtype=np.float64)
    along = np.sqrt(np.maximum(1.0 - (normal @ (way / (np.linalg.norm(way) + 1e-300))) ** 2, 0.0))
    good = (along > 0.7) & (facing > 0.7)
    if not good.any():
        good = along > 0.5
    if not good.any():
        good = np.ones(len(corner), dtype=bool)
    near = corner[good]
    best = near[int(np.argmin(np.linalg.norm(near.mean(axis=1) - middle, axis=1)))]
    foot_: Floats = nearest_points(best, np.array([[0, 1, 2]]), middle)[0]
    return foot_


def _start(sheet: Sheet, start: Floats | tuple[float, float, float] | None, warp: Floats) -> tuple[int, Floats]:
    if start is None:
        face, place, _ = foot(sheet, middle_of(sheet.points[sheet.faces[sheet.owner >= 0]], warp))
        return face, place
    wanted = np.asarray(start, dtype=np.float64)
    face, place, gap = foot(sheet, wanted)
    used = sheet.points[np.unique(sheet.faces)]
    if gap > _OFF * float(np.linalg.norm(np.ptp(used, axis=0))):
        here = ", ".join(f"{v * 1e3:.0f} mm" for v in place)
        raise SurfaceError(
            f"the start of the cloth lies {gap * 1e3:.0f} mm off the surface",
            f"The nearest point of the surface is ({here}); write that, or check the unit",
        )
    return face, place


def _direction(sheet: Sheet, face: int, warp: Floats, angle: float) -> Floats:
    size = float(np.linalg.norm(warp))
    if not size > 0.0:
        raise SurfaceError("the warp direction is (0, 0, 0)", "Write a direction, such as [1, 0, 0]")
    normal = sheet.normal[face]
    laid = warp / size - (warp / size) @ normal * normal
    part = float(np.linalg.norm(laid))
    if part < _STEEP:
        best = np.eye(3)[int(np.argmin(np.abs(normal)))]
        word = ", ".join(f"{v:g}" for v in best)
        raise SurfaceError(
            f"the warp ({', '.join(f'{v:g}' for v in warp)}) stands square to the surface where the cloth starts",
            f"Give a direction that runs along the surface there, such as warp = [{word}], or another start",
        )
    laid = laid / part
    turned: Floats = math.cos(angle) * laid + math.sin(angle) * np.cross(normal, laid)
    return turned


@dataclass(frozen=True, eq=False)
class Draped:
    """What a cloth does on some part of a surface.

    Attributes:
        area: Of that part of the surface. [m^2]
        factor: Areal weight over that of the flat cloth, its mean over the area: 1/cos(shear). [-]
        shear: Mean of its size over the area. [rad]
        most: Greatest shear (all but the last 0.1 % of the area). [rad]
        locked: Share of the area past the locking angle; 0 where none was given. [-]
        bare: Share of the area that the net did not reach. [-]
        warp_angle: Mean, 5 % and 95 % over the area, of the warp to the part's own direction. [rad]
        weft_angle: The same of the weft.
        pieces: Corners (k, 3, 3), area (k,) and shear (k,) of the small pieces it was worked out on. [m, m^2, rad]
    """

    area: float
    factor: float
    shear: float
    most: float
    locked: float
    bare: float
    warp_angle: tuple[float, float, float]
    weft_angle: tuple[float, float, float]
    pieces: tuple[Floats, Floats, Floats]


def over(net: Net, triangles: Floats, *, locking: float | None = None, along: Floats | None = None) -> Draped:
    """What the cloth does on some triangles of the surface.

    Args:
        net: The cloth.
        triangles: Corners, shape (k, 3, 3). [m]
        locking: Shear at which it locks. [rad]
        along: Direction that angle 0 follows, for the angles of the threads; none of them if left out.

    Returns:
        Means over the area.
    """
    from scipy.spatial import cKDTree

    fine = small(triangles, 1.5 * net.link)
    cross = np.cross(fine[:, 1] - fine[:, 0], fine[:, 2] - fine[:, 0])
    size = np.linalg.norm(cross, axis=1)
    fine, cross, size = fine[size > 0], cross[size > 0], size[size > 0]
    middle = fine.mean(axis=1)
    area = 0.5 * size
    apart, own = cKDTree(net.middles).query(middle)
    near = np.asarray(apart < 1.5 * net.link)
    shear = net.shear[own]
    if len(net.sheet.lips) and not near.all():  # a lip gets the cloth of its neighbourhood, slit and folded over
        near = near | _on_lips(net, middle)
    whole = float(area.sum())
    reached = float(area[near].sum())
    if not reached > 0.0:
        raise SurfaceError("the cloth reaches nowhere on this part of the surface", "Give it a start of its own there")
    weight = np.where(near, area, 0.0) / reached
    bare = 1.0 - reached / whole
    steep = np.abs(shear)
    warp_angle = weft_angle = (0.0, 0.0, 0.0)
    if along is not None:
        warp, weft = net.threads
        # the side the cloth is seen from, whichever way the triangles were drawn
        facing = np.einsum("ij,ij->i", np.cross(warp, weft)[own], cross)
        normal = cross / np.where(facing < 0.0, -size, size)[:, None]
        warp_angle = _angles(warp[own], normal, along, weight)
        weft_angle = _angles(weft[own], normal, along, weight)
    return Draped(
        area=whole,
        factor=float(weight @ (1.0 / np.cos(steep))),
        shear=float(weight @ steep),
        most=_share(steep, weight, 0.999),
        locked=float(weight @ (steep > locking)) if locking is not None else 0.0,
        bare=bare if bare > 1e-9 else 0.0,
        warp_angle=warp_angle,
        weft_angle=weft_angle,
        pieces=(fine[near], area[near], shear[near]),
    )


def _on_lips(net: Net, places: Floats) -> NDArray[np.bool_]:
    """Which places lie on lips of cut-outs rather than on what the cloth was laid on."""
    from scipy.spatial import cKDTree

    sheet = net.sheet
    lips = small(sheet.points[sheet.lips], 1.5 * net.link).mean(axis=1)
    rest = small(sheet.points[sheet.faces[sheet.owner >= 0]], 1.5 * net.link).mean(axis=1)
    to_lip, _ = cKDTree(lips).query(places)
    to_rest, _ = cKDTree(rest).query(places)
    return np.asarray(to_lip < to_rest)


def without_lips(net: Net, triangles: Floats) -> Floats:
    """Triangles of the surface but for the lips of cut-outs, which no cloth is laid on. [m]"""
    if not len(net.sheet.lips):
        return triangles
    kept: Floats = triangles[~_on_lips(net, triangles.mean(axis=1))]
    return kept


def small(triangles: Floats, longest: float, most: int = 400_000) -> Floats:
    """Triangles (n, 3, 3 or more) halved until no edge is longer than this, or there are too many. [m]

    What stands behind x, y and z of a corner goes with it.
    """
    soup = np.asarray(triangles, dtype=np.float64)
    while len(soup) < most:
        edge = np.linalg.norm(np.roll(soup[..., :3], -1, axis=1) - soup[..., :3], axis=2)
        worst = edge.argmax(axis=1)
        long = edge[np.arange(len(soup)), worst] > longest
        if not long.any():
            break
        order = (worst[long][:, None] + np.arange(3)) % 3
        part = np.take_along_axis(soup[long], order[:, :, None], axis=1)
        a, b, c = part[:, 0], part[:, 1], part[:, 2]
        m = 0.5 * (a + b)
        soup = np.concatenate([soup[~long], np.stack([a, m, c], axis=1), np.stack([m, b, c], axis=1)])
    return soup


def _angles(thread: Floats, normal: Floats, along: Floats, weight: Floats) -> tuple[float, float, float]:
    """Mean, 5 % and 95 % of the angle from a direction, laid into the surface, to a thread. [rad]"""
    laid = along - np.einsum("ij,j->i", normal, along)[:, None] * normal
    size = np.linalg.norm(laid, axis=1)
    good = size > 0.2 * np.linalg.norm(along)
    laid, thread, normal, weight = laid[good], thread[good], normal[good], weight[good]
    if not weight.sum() > 0:
        return (math.nan, math.nan, math.nan)
    weight = weight / weight.sum()
    square = np.cross(normal, laid)
    double = 2.0 * np.arctan2(np.einsum("ij,ij->i", thread, square), np.einsum("ij,ij->i", thread, laid))
    # a thread has no front and back: angles are taken modulo half a turn, spread about their mean
    mean = 0.5 * math.atan2(float(weight @ np.sin(double)), float(weight @ np.cos(double)))
    away = 0.5 * np.arctan2(np.sin(double - 2 * mean), np.cos(double - 2 * mean))
    middle = mean + float(weight @ away)
    return middle, mean + _share(away, weight, 0.05), mean + _share(away, weight, 0.95)


def _share(values: Floats, weight: Floats, share: float) -> float:
    """The value that this share of the weight stays below."""
    order = np.argsort(values)
    up = np.cumsum(weight[order])
    return float(values[order][min(int(np.searchsorted(up, share * up[-1])), len(values) - 1)])
