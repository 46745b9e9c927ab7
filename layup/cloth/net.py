"""The pin-jointed net, compiled: links of one length laid over a mesh as straight lines of its surface.

Each node lies where two links of the same length meet, one from each of two neighbours. A link is walked straight
over the faces, each unfolded into the plane of the one before it, so that on a shape that can be unrolled the net is
exact over sharp folds too. The two directions are found by Newton's rule: turning a link by a small angle moves its
end by that angle times its length, to first order of its curvature.

The net grows from two straight lines through the start, along the warp and square to it: wherever three corners of a
cell are known the fourth follows. Where one of the lines leaves the part, the nearest yarn that is still on it goes
on straight, as a hand would lay it. A link that leaves the part goes on in the plane of its last face, so that the
outermost cells reach past the edge.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

# The mesh goes about as one tuple: normal, out, level, beyond, across, owner; so does the net: slot (numbers on a grid)
# with place, face, off, gone, ways (directions of links), ij (where in the cloth), key, held (what lies where), size.
# directions of a node's links: 0 along +i (the warp), 1 along -i, 2 along +j (the weft), 3 along -j
_TOLERANCE = 1e-6  # of a link, at which the two ends count as one
_NEAR = 2e-3  # of a link, from which on one step of the rule is as good as exact: what is left is its square
_ROUGH = 0.05  # of a link, the most they may stay apart round a sharp corner of the mesh
_ROUNDS = 14

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Numbers = NDArray[np.int64]
Truth = NDArray[np.bool_]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _turned(normal: Floats, f: int, x: float, y: float, z: float, c: float, s: float) -> tuple[float, float, float]:
    """A direction turned about the normal of its face by the angle with this cosine and sine."""
    nx, ny, nz = normal[f, 0], normal[f, 1], normal[f, 2]
    return (
        c * x + s * (ny * z - nz * y),
        c * y + s * (nz * x - nx * z),
        c * z + s * (nx * y - ny * x),
    )


@numba.njit(cache=True, nogil=True, error_model="numpy")
def walk(mesh, f, away, x, y, z, dx, dy, dz, left):
    """Straight on over the faces: the face, whether off the part, the place and the direction at the end."""
    _, out, level, beyond, across, _ = mesh
    if away:
        low, high = -np.inf, np.inf
        for k in range(3):
            s = dx * out[f, k, 0] + dy * out[f, k, 1] + dz * out[f, k, 2]
            r = level[f, k] - (x * out[f, k, 0] + y * out[f, k, 1] + z * out[f, k, 2])
            if s > 1e-14:
                high = min(high, r / s)
            elif s < -1e-14:
                low = max(low, r / s)
            elif r < 0.0:
                high = -np.inf
        if low >= high or low >= left or low < 0.0:
            return f, True, x + left * dx, y + left * dy, z + left * dz, dx, dy, dz
        x, y, z = x + low * dx, y + low * dy, z + low * dz
        left -= low
    for _ in range(100000):
        best, edge, lean = np.inf, -1, 0.0
        for k in range(3):
            s = dx * out[f, k, 0] + dy * out[f, k, 1] + dz * out[f, k, 2]
            if s > 1e-14:
                t = (level[f, k] - (x * out[f, k, 0] + y * out[f, k, 1] + z * out[f, k, 2])) / s
                if t < best:
                    best, edge, lean = t, k, s
        if best >= left or edge < 0:
            return f, False, x + left * dx, y + left * dy, z + left * dz, dx, dy, dz
        if best < 0.0:
            best = 0.0
        x, y, z = x + best * dx, y + best * dy, z + best * dz
        left -= best
        g = beyond[f, edge]
        if g < 0:
            return f, True, x + left * dx, y + left * dy, z + left * dz, dx, dy, dz
        e = across[f, edge]
        dx -= lean * (out[f, edge, 0] + out[g, e, 0])
        dy -= lean * (out[f, edge, 1] + out[g, e, 1])
        dz -= lean * (out[f, edge, 2] + out[g, e, 2])
        f = g
    return f, True, x, y, z, dx, dy, dz


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _add(mesh, net, where, i, j, f, away, x, y, z):
    slot, place, face, off, gone, ways, ij, _, _, size = net
    n = size[0]
    size[0] += 1
    slot[i + where, j + where] = n
    place[n, 0], place[n, 1], place[n, 2] = x, y, z
    face[n], gone[n], off[n] = f, away, away or mesh[5][f] == -2
    ij[n, 0], ij[n, 1] = i, j
    for k in range(4):
        ways[n, k, 0] = np.nan  # not known yet
    return n


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _taken(normal, net, link, i, j, f, x, y, z):
    """Whether another part of the cloth lies here already; if not, the next node is noted down."""
    ij, key, held, size = net[6], net[7], net[8], net[9]
    a, b, c = int(np.floor(x / link * 1.3)), int(np.floor(y / link * 1.3)), int(np.floor(z / link * 1.3))
    mine = ((a & 0x1FFFFF) << 42) | ((b & 0x1FFFFF) << 21) | (c & 0x1FFFFF)
    mixed = (mine ^ (mine >> 23)) * 0x2127599BF4325C37
    h = ((mixed ^ (mixed >> 31)) >> 7) & (len(key) - 1)
    if held[h, 0] >= 0 and key[h] == mine:
        n, g = held[h, 0], held[h, 1]
        level = normal[f, 0] * normal[g, 0] + normal[f, 1] * normal[g, 1] + normal[f, 2] * normal[g, 2]
        if level > 0.5 and abs(ij[n, 0] - i) + abs(ij[n, 1] - j) > 6:
            return True
    key[h], held[h, 0], held[h, 1] = mine, size[0], f
    return False


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve(mesh, net, c, a, b, ci, cj, link, least):
    """The fourth corner of a cell from the corner c and its neighbours a (along i) and b (along j).

    `ci`, `cj` are the directions of the links from c. Gives 1 for good, 2 for roughly, 0 for none.
    """
    normal, out, level = mesh[0], mesh[1], mesh[2]
    place, face, gone, ways = net[1], net[2], net[4], net[5]
    back_i, back_j = ci ^ 1, cj ^ 1
    fa, fb, fc = face[a], face[b], face[c]
    ux, uy, uz = ways[c, ci, 0], ways[c, ci, 1], ways[c, ci, 2]
    vx, vy, vz = ways[c, cj, 0], ways[c, cj, 1], ways[c, cj, 2]
    nx, ny, nz = normal[fc, 0], normal[fc, 1], normal[fc, 2]
    cosine = ux * vx + uy * vy + uz * vz
    sine = nx * (uy * vz - uz * vy) + ny * (uz * vx - ux * vz) + nz * (ux * vy - uy * vx)
    size = np.sqrt(cosine * cosine + sine * sine)
    cosine, sine = cosine / size, sine / size
    ax, ay, az = _turned(normal, fa, -ways[a, back_i, 0], -ways[a, back_i, 1], -ways[a, back_i, 2], cosine, sine)
    bx, by, bz = _turned(normal, fb, -ways[b, back_j, 0], -ways[b, back_j, 1], -ways[b, back_j, 2], cosine, -sine)
    best = np.inf
    turn_a, turn_b = 0.0, 0.0
    kept = (fa, True, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, fb, True, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, ax, ay, az, bx, by, bz)
    for _ in range(_ROUNDS):
        ga, wa, px, py, pz, ex, ey, ez = walk(
            mesh, fa, gone[a], place[a, 0], place[a, 1], place[a, 2], ax, ay, az, link
        )
        gb, wb, qx, qy, qz, hx, hy, hz = walk(
            mesh, fb, gone[b], place[b, 0], place[b, 1], place[b, 2], bx, by, bz, link
        )
        sx, sy, sz = _turned(normal, ga, ex, ey, ez, 0.0, 1.0)
        tx, ty, tz = _turned(normal, gb, hx, hy, hz, 0.0, 1.0)
        gx, gy, gz = qx - px, qy - py, qz - pz
        ge, gs = gx * ex + gy * ey + gz * ez, gx * sx + gy * sy + gz * sz
        gap = np.sqrt(ge * ge + gs * gs)
        if gap < best:
            best = gap
            kept = (ga, wa, px, py, pz, ex, ey, ez, gb, wb, qx, qy, qz, hx, hy, hz, ax, ay, az, bx, by, bz)
        if gap <= _TOLERANCE * link:
            break
        te, ts = tx * ex + ty * ey + tz * ez, tx * sx + ty * sy + tz * sz
        if abs(te) < 0.02:
            break
        turn_b = min(max(-ge / (link * te), -0.3), 0.3)
        turn_a = min(max(gs / link + turn_b * ts, -0.3), 0.3)
        ca, cb = 1.0 / np.sqrt(1.0 + turn_a * turn_a), 1.0 / np.sqrt(1.0 + turn_b * turn_b)
        ax, ay, az = _turned(normal, fa, ax, ay, az, ca, turn_a * ca)
        bx, by, bz = _turned(normal, fb, bx, by, bz, cb, turn_b * cb)
        if gap < _NEAR * link and ga == gb and not wa and not wb:
            # so near, in one face: the ends move on circles, and there is no need to walk again
            rx, ry, rz = px + link * turn_a * sx, py + link * turn_a * sy, pz + link * turn_a * sz
            inside = True
            for k in range(3):
                inside = inside and rx * out[ga, k, 0] + ry * out[ga, k, 1] + rz * out[ga, k, 2] < level[ga, k]
            if inside:
                ex, ey, ez = _turned(normal, ga, ex, ey, ez, ca, turn_a * ca)
                hx, hy, hz = _turned(normal, gb, hx, hy, hz, cb, turn_b * cb)
                kept = (ga, wa, rx, ry, rz, ex, ey, ez, gb, wb, rx, ry, rz, hx, hy, hz, ax, ay, az, bx, by, bz)
                best = 0.0
                break
    if best > _ROUGH * link:
        return 0, kept
    # the angle of the cell at its new corner, the way it is at c
    ga = kept[0]
    ex, ey, ez, hx, hy, hz = kept[5], kept[6], kept[7], kept[13], kept[14], kept[15]
    nx, ny, nz = normal[ga, 0], normal[ga, 1], normal[ga, 2]
    end = nx * (hy * ez - hz * ey) + ny * (hz * ex - hx * ez) + nz * (hx * ey - hy * ex)
    if end * sine <= 0.0 or abs(end) < least:
        return 0, kept
    return (1 if best <= _TOLERANCE * link else 2), kept


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _push(slot, where, queue, tail, i, j):
    """List the cells round a new node that have three known corners."""
    for a in (-1, 0):
        for b in (-1, 0):
            count = 0
            for p in (0, 1):
                for q in (0, 1):
                    if slot[i + a + p + where, j + b + q + where] >= 0:
                        count += 1
            if count == 3 and tail < len(queue):
                queue[tail, 0], queue[tail, 1] = i + a, j + b
                tail += 1
    return tail


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _onward(mesh, net, where, link, n, k, past):
    """The yarn at a node goes straight on by a link in direction k: the new node, or -1 where it must not lie.

    It must not where other cloth lies already; off the part it may only where `past` says so.
    """
    _, place, face, _, gone, ways, ij, _, _, _ = net
    dx, dy, dz = -ways[n, k ^ 1, 0], -ways[n, k ^ 1, 1], -ways[n, k ^ 1, 2]
    i, j = ij[n, 0], ij[n, 1]
    if k < 2:
        i += 1 - 2 * (k & 1)
    else:
        j += 1 - 2 * (k & 1)
    g, w, x, y, z, ex, ey, ez = walk(mesh, face[n], gone[n], place[n, 0], place[n, 1], place[n, 2], dx, dy, dz, link)
    outside = w or mesh[5][g] == -2
    if outside and not past:
        return -1
    if not outside and _taken(mesh[0], net, link, i, j, g, x, y, z):
        return -1
    new = _add(mesh, net, where, i, j, g, w, x, y, z)
    ways[n, k, 0], ways[n, k, 1], ways[n, k, 2] = dx, dy, dz
    ways[new, k, 0], ways[new, k, 1], ways[new, k, 2] = ex, ey, ez
    ways[new, k ^ 1, 0], ways[new, k ^ 1, 1], ways[new, k ^ 1, 2] = -ex, -ey, -ez
    return new


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _fill(mesh, net, where, queue, f0, start, warp, link, least, said):
    """Lay the net from a place and a direction in face f0: `said` counts roughly joined, failed, no room."""
    normal, owner = mesh[0], mesh[5]
    slot, place, face, off, _, ways, ij, _, _, size = net
    most, rim = len(place), where - 2
    none = size[0]  # 0; written out, 0 and True would be types of their own, compiled for themselves
    yes = most > none
    _add(mesh, net, where, none, none, f0, not yes, start[0], start[1], start[2])
    x, y, z = _turned(normal, f0, warp[0], warp[1], warp[2], 0.0, 1.0)
    for c in range(3):
        ways[0, 0, c], ways[0, 1, c] = warp[c], -warp[c]
    ways[0, 2, 0], ways[0, 2, 1], ways[0, 2, 2] = x, y, z
    ways[0, 3, 0], ways[0, 3, 1], ways[0, 3, 2] = -x, -y, -z
    for k in range(4):  # the two straight lines through the start
        n = none
        for _ in range(1, rim):
            if size[0] >= most - 4:
                said[2] = 1
                break
            n = _onward(mesh, net, where, link, n, k, yes)
            if n < 0 or off[n]:
                break
    head, tail = none, none
    for n in range(size[0]):
        tail = _push(slot, where, queue, tail, ij[n, 0], ij[n, 1])
    looked = 0
    while not said[2]:
        while head < tail:  # the fourth corner of every cell that has three
            i, j = queue[head, 0], queue[head, 1]
            head += 1
            di, dj = -1, -1
            count = 0
            for p in (0, 1):
                for q in (0, 1):
                    if slot[i + p + where, j + q + where] < 0:
                        di, dj = p, q
                        count += 1
            if count != 1 or slot[i + di + where, j + dj + where] != -1:
                continue
            c = slot[i + 1 - di + where, j + 1 - dj + where]
            a = slot[i + di + where, j + 1 - dj + where]
            b = slot[i + 1 - di + where, j + dj + where]
            if off[a] and off[b] and off[c]:
                continue
            if abs(i + di) >= rim or abs(j + dj) >= rim or size[0] >= most - 4:
                said[2] = 1
                break
            ci, cj = 1 - di, 3 - dj
            if np.isnan(ways[c, ci, 0]) or np.isnan(ways[c, cj, 0]):
                continue
            if np.isnan(ways[a, ci ^ 1, 0]) or np.isnan(ways[b, cj ^ 1, 0]):
                continue
            good, kept = _solve(mesh, net, c, a, b, ci, cj, link, least)
            if good == 0:
                slot[i + di + where, j + dj + where] = -2
                said[1] += 1
                continue
            f, w, x, y, z = kept[0], kept[1], kept[2], kept[3], kept[4]
            if w and not kept[9]:
                f, w, x, y, z = kept[8], kept[9], kept[10], kept[11], kept[12]
            if not w and owner[f] != -2 and _taken(normal, net, link, i + di, j + dj, f, x, y, z):
                slot[i + di + where, j + dj + where] = -3
                continue
            if good == 2:
                said[0] += 1
            ways[a, cj, 0], ways[a, cj, 1], ways[a, cj, 2] = kept[16], kept[17], kept[18]
            ways[b, ci, 0], ways[b, ci, 1], ways[b, ci, 2] = kept[19], kept[20], kept[21]
            new = _add(mesh, net, where, i + di, j + dj, f, w, x, y, z)
            for way, x, y, z in ((cj, kept[5], kept[6], kept[7]), (ci, kept[13], kept[14], kept[15])):
                lift = x * normal[f, 0] + y * normal[f, 1] + z * normal[f, 2]
                x, y, z = x - lift * normal[f, 0], y - lift * normal[f, 1], z - lift * normal[f, 2]
                long = np.sqrt(x * x + y * y + z * z)
                ways[new, way ^ 1, 0], ways[new, way ^ 1, 1], ways[new, way ^ 1, 2] = -x / long, -y / long, -z / long
            tail = _push(slot, where, queue, tail, i + di, j + dj)
        if said[2] or looked >= size[0]:
            break
        # no cell has three corners left: the yarn at the next node in line goes on straight, if it stays on the part
        n = looked
        looked += 1
        if off[n] or owner[face[n]] < 0:
            continue
        i, j = ij[n, 0], ij[n, 1]
        for k in range(4):
            si, sj = (1 - 2 * (k & 1), 0) if k < 2 else (0, 1 - 2 * (k & 1))
            if slot[i + si + where, j + sj + where] != -1 or np.isnan(ways[n, k ^ 1, 0]):
                continue
            if abs(i + si) >= rim or abs(j + sj) >= rim or size[0] >= most - 4:
                said[2] = 1
                break
            near = False
            for p in (-1, 0, 1):
                for q in (-1, 0, 1):
                    near = near or slot[i + si + p + where, j + sj + q + where] == -2
            if near:
                continue
            new = _onward(mesh, net, where, link, n, k, not yes)
            if new >= 0:
                tail = _push(slot, where, queue, tail, i + si, j + sj)


def grow(
    mesh: tuple[Floats, Floats, Floats, Numbers, Numbers, Numbers],
    *,
    f0: int,
    start: Floats,
    warp: Floats,
    link: float,
    least: float,
    where: int,
    most: int,
) -> tuple[Whole, Floats, Truth, Floats, Numbers, NDArray[np.int64]]:
    """Lay the net from a place and a direction in face f0.

    Gives the grid of node numbers, the nodes, which are off the part, the directions of their links, their places in
    the cloth; and how many were joined roughly, failed, or found no room.
    """
    slot = np.full((2 * where + 1, 2 * where + 1), -1, dtype=np.int32)
    place, ways = np.empty((most, 3)), np.empty((most, 4, 3))
    face, off, gone = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.bool_), np.empty(most, dtype=np.bool_)
    ij, queue = np.empty((most, 2), dtype=np.int64), np.empty((4 * most, 2), dtype=np.int64)
    buckets = 1024
    while buckets < most // 2:  # a bucket that is written over forgets; enough of them remember
        buckets *= 2
    key, held = np.zeros(buckets, dtype=np.int64), np.full((buckets, 2), -1, dtype=np.int32)
    size, said = np.zeros(1, dtype=np.int64), np.zeros(3, dtype=np.int64)
    net = (slot, place, face, off, gone, ways, ij, key, held, size)
    _fill(mesh, net, where, queue, f0, start, warp, link, least, said)
    count = int(size[0])
    return slot, place[:count], off[:count], ways[:count], ij[:count], said


@numba.njit(cache=True, nogil=True, error_model="numpy")
def cells(slot: Whole, where: int, place: Floats, off: Truth, ways: Floats, ij: Numbers) -> tuple[Numbers, Floats]:
    """All cells with four corners: their corners round, and the sine of the shear at their middle."""
    count = len(place)
    corner = np.empty((count, 4), np.int64)
    sine = np.empty(count)
    m = 0
    for n in range(count):
        i, j = ij[n, 0] + where, ij[n, 1] + where
        a, d, b = slot[i + 1, j], slot[i + 1, j + 1], slot[i, j + 1]
        if a < 0 or b < 0 or d < 0 or (off[n] and off[a] and off[b] and off[d]):
            continue
        total, known = 0.0, 0
        for k in range(4):
            node = n if k == 0 else (np.int64(a) if k == 1 else (np.int64(d) if k == 2 else np.int64(b)))
            u, v = 1 if k == 1 or k == 2 else 0, 3 if k >= 2 else 2
            sign = 1.0 if k % 2 == 0 else -1.0
            s = (
                ways[node, u, 0] * ways[node, v, 0]
                + ways[node, u, 1] * ways[node, v, 1]
                + ways[node, u, 2] * ways[node, v, 2]
            )
            if not np.isnan(s):
                total += sign * s
                known += 1
        if known == 0:
            continue
        corner[m, 0], corner[m, 1], corner[m, 2], corner[m, 3] = n, a, d, b
        sine[m] = total / known
        m += 1
    return corner[:m], sine[:m]
