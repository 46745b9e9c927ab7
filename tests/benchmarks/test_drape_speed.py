"""Draping on a mesh against the same net on a sphere known by its formula, in one run; and flattening, printed.

The formula's loop lays 100 k nodes of the same net: each where two spheres about its neighbours meet the sphere, in
closed form, with the angle of its cell, compiled too. It knows the surface and reads nothing but two neighbours; on a
mesh both links of a node are walked over the faces. Times are those of the processor, least of several, so that other
work on the machine counts little. Only ratios are asserted: 3 times the formula's loop, once hoped for, is not reached
and is only printed, with a loose limit that would show a step back; flattening against the factorisations it is made
of.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
import pytest
from pytest import approx

from layup.cloth.drape import lay
from layup.cloth.flatten import flatten
from layup.shape.walkable import ready
from tests.shapes import hemisphere


@numba.njit(nogil=True)
def formula(n: int, step: float) -> np.ndarray:
    """Shear of one quarter of the net on the unit sphere, n by n nodes, by formula."""
    at = np.zeros((n, n, 3))
    shear = np.zeros((n, n))
    turn = 2.0 * math.asin(step / 2.0)
    for i in range(n):
        at[i, 0] = (math.sin(i * turn), 0.0, math.cos(i * turn))
        at[0, i] = (0.0, math.sin(i * turn), math.cos(i * turn))
    level = 1.0 - step * step / 2.0  # of each neighbour along the way to the new node
    for i in range(1, n):
        for j in range(1, n):
            ax, ay, az = at[i, j - 1]
            bx, by, bz = at[i - 1, j]
            dot = ax * bx + ay * by + az * bz
            share = level / (1.0 + dot)
            cx, cy, cz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
            size = cx * cx + cy * cy + cz * cz
            mx, my, mz = share * (ax + bx), share * (ay + by), share * (az + bz)
            left = 1.0 - (mx * mx + my * my + mz * mz)
            if left < 0.0 or size < 1e-30:
                at[i, j] = (np.nan, np.nan, np.nan)
                continue
            k = math.sqrt(left / size)
            one = (mx + k * cx, my + k * cy, mz + k * cz)
            two = (mx - k * cx, my - k * cy, mz - k * cz)
            px, py, pz = at[i - 1, j - 1]
            near = (one[0] - px) ** 2 + (one[1] - py) ** 2 + (one[2] - pz) ** 2
            far = (two[0] - px) ** 2 + (two[1] - py) ** 2 + (two[2] - pz) ** 2
            at[i, j] = one if near > far else two
            ux, uy, uz = ax - px, ay - py, az - pz
            vx, vy, vz = bx - px, by - py, bz - pz
            shear[i, j] = math.asin(max(-1.0, min(1.0, (ux * vx + uy * vy + uz * vz) / (step * step))))
    return shear


def least(do: Callable[[], Any], rounds: int = 7) -> tuple[float, Any]:
    best, found = math.inf, None
    for _ in range(rounds):
        begin = time.process_time()
        found = do()
        best = min(best, time.process_time() - begin)
    return best, found


def test_drape_against_the_formula(capsys: pytest.CaptureFixture[str]) -> None:
    points, faces = hemisphere(7)
    sheet = ready(points, faces)
    side = 316  # by 316: 99 856 nodes
    step = 0.98 / (side - 1)
    assert math.degrees(formula(side, step)[-1, -1]) == approx(52.4, abs=0.3)
    by_formula, _ = least(lambda: formula(side, step))
    link = math.sqrt(2 * math.pi / 91_000)
    lay(sheet, (0, 0, 1.0), (1, 0, 0), link=link)  # compiles, or loads what was compiled
    draped, net = least(lambda: lay(sheet, (0, 0, 1.0), (1, 0, 0), link=link))
    count = len(net.nodes)
    ratio = (draped / count) / (by_formula / side**2)
    with capsys.disabled():
        print(
            f"\n{count:,} nodes on {len(faces):,} triangles: {draped * 1e3:.0f} ms; "
            f"by formula {by_formula * 1e3:.1f} ms for {side**2:,}; {ratio:.1f} times as long a node"
        )
    assert count > 98_000
    assert ratio < LIMIT


LIMIT = 100.0


def test_flatten(capsys: pytest.CaptureFixture[str]) -> None:
    points, faces = hemisphere(8)
    height = points[faces][:, :, 2].min(axis=1)
    own = faces[np.argsort(-height)[:180_000]]
    took, flat = least(lambda: flatten(points, own), rounds=1)
    factored, _ = least(lambda: factor(own), rounds=3)
    with capsys.disabled():
        print(
            f"\n{len(own):,} triangles laid flat in {took:.1f} s, {took / factored:.1f} times one factorisation; "
            f"stretch {flat.worst[0]:.3f} to {flat.worst[1]:.3f}"
        )
    assert took < FLATTEN * factored


FLATTEN = 15.0
"""3.6 measured: a factorisation, a start and some tens of solutions. [-]"""


def factor(faces: np.ndarray) -> Any:
    """One factorisation of the mesh's Laplace matrix, as the flattening makes it."""
    from scipy import sparse
    from scipy.sparse.linalg import splu

    used, own = np.unique(faces, return_inverse=True)
    a, b, c = own.reshape(-1, 3).T
    i, j = np.concatenate([a, b, c]), np.concatenate([b, c, a])
    ones = np.ones(len(i))
    links = sparse.coo_matrix((ones, (i, j)), shape=(len(used), len(used))).tocsr()
    links = links + links.T
    matrix = sparse.diags(np.asarray(links.sum(axis=1)).ravel() + 1e-3) - links
    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
