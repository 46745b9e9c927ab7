"""Random briefs, each searched and then brute-forced: every stack written out, through every check, one by one.

`python -m tests.oracles.every_stack FIRST LAST` runs the briefs of those numbers and prints those that disagree;
tests/test_choose.py runs a few. The checks are the product's own: what is held is that the search misses none.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import trimesh

from layup.choosing import choice as choosing
from layup.choosing.rules import broken_rule
from layup.choosing.seek import Search, batch_of
from layup.errors import LayupError
from layup.laminate.search import Frame

FABRICS = ("carbon plain 93", "carbon plain 200", "glass plain 200", "carbon unidirectional 150", "aramid plain 170")
CORES = ("PVC foam 60", "PVC foam 80", "PMI foam 51")


def brief(seed: int, folder: Path) -> dict[str, object]:
    """A part with needs and a shelf small enough to write every stack out."""
    rng = np.random.default_rng(seed)

    def any_of(names: tuple[str, ...], count: int) -> list[str]:
        return [str(name) for name in rng.permutation(np.array(names))[:count]]

    a, b = (float(v) for v in rng.uniform(0.12, 0.5, 2))
    surface: dict[str, object] = {"rectangle": [f"{a:.3f} m", f"{b:.3f} m"]}
    if rng.random() < 0.25:  # curved along y
        x, y = np.meshgrid(np.linspace(0, a, 12), np.linspace(0, b, 12), indexing="ij")
        rise = rng.uniform(0.01, 0.08) * b
        points = np.stack([x, y, rise * (1 - (2 * y / b - 1) ** 2)], axis=-1).reshape(-1, 3)
        cells = [(i * 12 + j, i * 12 + j + 12, i * 12 + j + 13, i * 12 + j + 1) for i in range(11) for j in range(11)]
        mesh = trimesh.Trimesh(points, [t for p, q, r, s in cells for t in ((p, q, r), (p, r, s))])
        mesh.export(folder / f"curved{seed}.stl")
        surface = {"mesh": str(folder / f"curved{seed}.stl"), "unit": "m"}
    needs: dict[str, object] = {"most_plies": int(rng.integers(4, 7)), "in_plane_stiffness": "not asked"}
    if rng.random() < 0.5:
        needs |= {"pressure": f"{rng.uniform(0.3, 12):.2f} kPa"}
        needs |= {"deflection": f"{1e3 * min(a, b) * rng.uniform(0.004, 0.03):.2f} mm"} if rng.random() < 0.6 else {}
    if rng.random() < 0.4:
        needs |= {"hand_load": f"{rng.uniform(50, 300):.0f} N"}
        needs |= (
            {"hand_deflection": f"{1e3 * min(a, b) * rng.uniform(0.005, 0.03):.2f} mm"} if rng.random() < 0.5 else {}
        )
    if rng.random() < 0.35:
        needs |= {str(rng.choice(["push_x", "push_y", "shear_x"])): f"{rng.uniform(0.2, 6):.2f} kN"}
    if rng.random() < 0.25:
        needs |= {"frequency": f"{rng.uniform(20, 120):.0f} Hz"}
    if rng.random() < 0.4:
        needs |= {"drop_rules": any_of(("balanced", "a tenth across", "short runs", "one cloth", "two plies"), 3)}
    if rng.random() < 0.2:
        needs |= {"criterion": "Tsai-Wu"}
    replaced = len(needs) == 2 or rng.random() < 0.4
    part: dict[str, object] = {
        "title": f"Brief {seed}",
        "process": "vacuum bag",
        "resin": "epoxy, laminating",
        "surface": surface,
        "needs": needs if replaced else needs | {"stiffness": "not asked"},
        "shelf": {
            "fabrics": any_of(FABRICS, int(rng.integers(1, 3))),
            "cores": [{"core": name, "thickness": f"{rng.integers(3, 11)} mm"} for name in any_of(CORES, 1)]
            if rng.random() < 0.6
            else [],
            "processes": any_of(("wet", "vacuum bag"), int(rng.integers(1, 3))),
        },
    }
    if replaced:
        sheet = {"name": "sheet", "sheet": "aluminium 2024-T3", "thickness": f"{rng.uniform(0.4, 0.9):.2f} mm"}
        part["replaces"] = [sheet]
    return part


class Searched(Exception):
    """Leaves `choose` behind its search: what follows is not needed here."""

    def __init__(self, frames: Sequence[Frame], search: Search) -> None:
        self.frames, self.search = frames, search


def searched(part: dict[str, object]) -> tuple[Sequence[Frame], Search]:
    """The space of a brief, and how the search of it went."""
    plain = choosing._sound_on_its_surface

    def listen(checker, frames, tick, under):  # type: ignore[no-untyped-def]
        raise Searched(frames, plain(checker, frames, tick, under))

    choosing._sound_on_its_surface = listen
    try:
        choosing.choose(part, wide=False)
    except Searched as done:
        return done.frames, done.search
    finally:
        choosing._sound_on_its_surface = plain
    raise AssertionError("choose did not search")


def compared(part: dict[str, object]) -> tuple[float, float, int]:
    """Lightest weight that the search finds, that of every stack written out, and of how many no heavier. [kg/m^2]"""
    frames, search = searched(part)
    checker, best, count = search.checker, np.inf, 0
    found = np.inf if search.found is None else search.found.areal_weight
    for frame in frames:
        batch = batch_of(frame, frame.everything())
        batch = batch.take(np.flatnonzero(batch.areal_weight <= found + 1e-9))  # a heavier one changes nothing
        for start in range(0, len(batch.stack), 512):
            some = batch.take(np.arange(start, min(start + 512, len(batch.stack))))
            count += len(some.stack)
            passed = np.flatnonzero(checker.assess(some, quick=True).passed)
            rows = [k for k in passed if not broken_rule(some.bench, some.stack[k].tolist(), checker.needs)]
            best = min([best, *some.areal_weight[rows].tolist()])
    assert search.ended
    return float(found), float(best), count


def main() -> None:
    """Briefs FIRST to LAST, a line for each that disagrees, and a count."""
    first, last = (int(v) for v in sys.argv[1:3])
    agreed, passing, stacks = 0, 0, 0
    with TemporaryDirectory() as folder:
        for seed in range(first, last):
            try:
                part = brief(seed, Path(folder))
                found, best, count = compared(part)
            except LayupError as error:
                print(seed, "refused:", str(error)[:120], flush=True)
                continue
            same = found == best or abs(found - best) < 1e-9
            agreed, stacks, passing = agreed + same, stacks + count, passing + np.isfinite(best)
            if not same:
                print(seed, "search", found, "every stack", best, flush=True)
            if seed % 10 == 9:
                print(f"to {seed}: {agreed} agree, {passing} with an answer, {stacks:,} stacks", flush=True)
    print(f"{last - first} briefs: {agreed} agree, {passing} with an answer, {stacks:,} stacks", flush=True)


if __name__ == "__main__":
    main()
