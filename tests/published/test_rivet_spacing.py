# Sources:
# - US Army TM 10-5410-229-13&P (a tactical shelter's maintenance manual), 5-6 "Rivet replacement", (3)(b): for new
#   sections the edge distance from the centre of the rivet never less than two diameters of the shank, the pitch at
#   least three.
# - NAVEDTRA 14018 (US Navy training manual, aviation structural mechanic), "Spacing and edge distance": rivet spacing
#   never less than three times the rivet diameter, seldom less than four.
# Both read as excerpts of the manuals' pages. No tolerance: the rule is checked at its edge, a hair inside and outside.
# The rule for composites has no published source here and is not tested against one.

from __future__ import annotations

import pytest
import shapely

from layup.shape.holes import METAL, Hole, Pattern, Rule, check

INCH = 0.0254
SHEET = shapely.box(0.0, 0.0, 10 * INCH, 5 * INCH)
LEAST = Rule(2.0, 3.0, 0.0, "the two manuals' least figures")


@pytest.mark.parametrize("diameter", [3 / 32, 1 / 8, 5 / 32, 3 / 16])
def test_the_least_edge_distance_and_pitch_of_the_manuals(diameter: float) -> None:
    d = diameter * INCH

    def broken(edge: float, pitch: float) -> int:
        row = [Hole(2 * INCH + k * pitch * d, edge * d, d, 0.0, f"rivet {k}") for k in range(3)]
        return len(check(Pattern(tuple(row)), SHEET, LEAST))

    assert broken(2.001, 3.001) == 0
    assert broken(1.999, 3.001) == 3  # every rivet too near the edge
    assert broken(2.001, 2.999) == 2  # both gaps too narrow


def test_our_rule_for_metal_is_never_looser_than_the_manuals() -> None:
    assert METAL.edge >= LEAST.edge
    assert METAL.pitch == 4.0  # "seldom less than four"
    assert METAL.margin > 0.0
