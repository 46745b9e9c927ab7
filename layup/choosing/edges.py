"""What pushes, pulls and shears on the edges come to: forces per width, in every combination that can act together.

- Which combinations are checked for strength?   `edge_cases`
- Which can buckle the panel?                     `buckling_cases`

The forces are spread evenly along their edges, as a frame or a spar cap brings them in; round a cut-out they are not,
and the answer says so. Each load acts alone and with every other, a shear both ways.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from layup.laminate.panel import Edge
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


def _shear(needs: Needs, widths: tuple[float, float]) -> tuple[float, str]:
    """Shear on the edges and from a torque together, per width [N/m], and its name."""
    flow = needs.section.shear_flow if needs.section else 0.0
    own = (needs.shear_y or 0.0) / widths[0] + (needs.shear_x or 0.0) / widths[1]
    return own + flow, " and ".join(word for word, size in (("shear", own), ("torque", flow)) if size)


def edge_cases(needs: Needs, widths: tuple[float, float]) -> list[EdgeCase]:
    """Every combination of the edge loads that are asked, at the bare loads.

    Args:
        needs: What the part has to do.
        widths: Of the panel across a push along x, and across one along y. [m]

    Returns:
        Combinations; empty where nothing is asked of the edges.
    """
    xs = _axis(needs.push_x, needs.pull_x, widths[0], "x")
    ys = _axis(needs.push_y, needs.pull_y, widths[1], "y")
    bent = needs.section.bent if needs.section else 0.0
    if bent:  # the moment acts either way up
        ways = [("", 0.0), ("moment, pressed side", -bent), ("moment, pulled side", bent)]
        xs = [(" and ".join(n for n in (one, other) if n), f + g) for (one, f), (other, g) in product(xs, ways)]
    shear, word = _shear(needs, widths)
    sides = [("", 0.0)] + ([(word, shear), (f"{word} the other way", -shear)] if shear else [])
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
    cases = [case for case in edge_cases(pushed, widths) if case.nx <= 0 and case.ny <= 0]
    most = min((case.nx for case in cases), default=0.0)  # push and moment together: less along x buckles it no sooner
    loads = sum(bool(v) for v in (most, needs.push_y, _shear(needs, widths)[0]))

    def many(case: EdgeCase) -> int:
        return sum(bool(v) for v in (case.nx, case.ny, case.nxy))

    return [case for case in cases if many(case) in (1, loads) and case.nx in (0.0, most)]
