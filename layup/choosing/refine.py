"""How far the printed figures of a panel would move on a finer mesh: the mesh's own error, as near as it can be seen.

- Every figure of the panel on twice as many triangles?   `finer`
- In a sentence?                                          `refinement_words`
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from layup.choosing.choice import Choice
from layup.choosing.layups import Layup
from layup.laminate.panel import build_panel
from layup.laminate.panel_model import PanelModel

TIMES = 2.0
"""Triangles of the finer mesh over those of the one the answer was worked out on. [-]"""
WITHIN = 0.01
"""What the figures should stay within. [-]"""


def finer(choice: Choice, layup: Layup) -> dict[str, float]:
    """By what share each figure of the panel moves on the finer mesh.

    Args:
        choice: The choice.
        layup: Its best, or its nearest.

    Returns:
        Shares by the names of the checks; empty without a panel, and where zones have plies of their own.
    """
    checker, batch = choice.searches.checker, layup.found.batch
    if checker.model is None or choice.flat is None or layup.local:
        return {}
    panel, needs = checker.model.panel, choice.needs
    sides = needs.supports
    held = sides if isinstance(sides, str) else {str(side): str(how) for side, how in sides.items()}
    count = int(TIMES * len(panel.mesh.triangles))
    fine = build_panel(panel.shape, held, needs.held_at, count=count, finest=panel.mesh.step / TIMES**0.5)
    pushed = [case.pressed for case in checker.buckling]
    model = PanelModel.draw(fine, checker.model.loads, [checker.layups(batch)[0]], pushed)
    again = replace(checker, model=model, worst=()).assess(batch)
    before = layup.found.assessment
    out = {}
    for number, kind in enumerate(before.kinds):
        value, new = float(before.values[0][number]), float(again.values[0][number])
        if value != new and np.isfinite(value) and value:
            out[kind.name] = new / value - 1
    return out


def refinement_words(choice: Choice, layup: Layup) -> str:
    """How far the figures move, for a person; empty without a panel."""
    moved = finer(choice, layup)
    if not moved:
        return ""
    worst = max(moved, key=lambda name: abs(moved[name]))
    said = f"On a mesh of {TIMES:g} times as many triangles the figures of the panel move by "
    said += f"{max(abs(v) for v in moved.values()):.1%} at most ({worst}: {moved[worst]:+.1%})."
    over = sorted((name for name in moved if abs(moved[name]) > WITHIN), key=lambda name: -abs(moved[name]))
    if over:
        rest = f" and {len(over) - 3} more" if len(over) > 3 else ""
        said += f" More than {WITHIN:.0%}: {'; '.join(f'{n} {moved[n]:+.1%}' for n in over[:3])}{rest}."
    return said
