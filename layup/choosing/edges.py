"""What pushes, pulls and shears on the edges come to: forces per width, in every combination that can act together.

- Which combinations are checked for strength?   `edge_cases`
- Which can buckle the panel?                     `buckling_cases`

The forces are spread evenly along their edges, as a frame or a spar cap brings them in; round a cut-out they are not,
and the answer says so. Each load acts alone and with every other, a shear both ways.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from layup.laminate.panel_model import Edge
from layup.partfile.needs import Needs


@dataclass(frozen=True, slots=True)
class EdgeCase:
    """One combination: forces per width, a pull positive. [N/m]"""

    name: str
    nx: float
    ny: float
    nxy: float

    @property
    def pressed(self) -> Edge:
        """The same as compression along x, along y, and shear. [N/m]"""
        return -self.nx, -self.ny, -self.nxy


def _axis(push: float | None, pull: float | None, width: float, way: str) -> list[tuple[str, float]]:
    out = [("", 0.0)]
    if push:
        out.append((f"push along {way}", -push / width))
    if pull:
        out.append((f"pull along {way}", pull / width))
    return out


def edge_cases(needs: Needs, widths: tuple[float, float]) -> list[EdgeCase]:
    """Every combination of the edge loads that are asked, at the bare loads.

    Args:
        needs: What the part has to do.
        widths: Of the panel across a push along x, and across one along y. [m]

    Returns:
        Combinations; empty where nothing is asked of the edges.
    """
    shear = (needs.shear_y or 0.0) / widths[0] + (needs.shear_x or 0.0) / widths[1]
    xs = _axis(needs.push_x, needs.pull_x, widths[0], "x")
    ys = _axis(needs.push_y, needs.pull_y, widths[1], "y")
    sides = [("", 0.0)] + ([("shear", shear), ("shear the other way", -shear)] if shear else [])
    out = []
    for (in_x, nx), (in_y, ny), (in_xy, nxy) in product(xs, ys, sides):
        if nx or ny or nxy:
            out.append(EdgeCase(" and ".join(n for n in (in_x, in_y, in_xy) if n), nx, ny, nxy))
    return out


def buckling_cases(needs: Needs, widths: tuple[float, float]) -> list[EdgeCase]:
    """The combinations that can buckle the panel: pulls, which only help, are left out.

    Each push alone, and all pushes with the shear; a shear is taken both ways.
    """
    pushed = needs.model_copy(update={"pull_x": None, "pull_y": None})
    cases = edge_cases(pushed, widths)
    loads = sum(bool(v) for v in (needs.push_x, needs.push_y, needs.shear_x or needs.shear_y))

    def many(case: EdgeCase) -> int:
        return sum(bool(v) for v in (case.nx, case.ny, case.nxy))

    return [case for case in cases if many(case) in (1, loads)]
