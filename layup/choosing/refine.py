"""How far the printed figures of a panel would move on a finer mesh: the mesh's own error, as near as it can be seen.

- Every figure of the panel on finer meshes, until the strengths stay?   `Checker.refined`
- In a sentence?                                                         `refinement_words`
"""

from __future__ import annotations

from layup.choosing.checks import MOST_TIMES, WITHIN
from layup.choosing.choice import Choice
from layup.choosing.layups import Layup


def refinement_words(choice: Choice, layup: Layup) -> str:
    """How far the figures move, for a person; empty without a panel, and where zones have plies of their own."""
    checker = choice.searches.checker
    if checker.model is None or layup.local:
        return ""
    before = checker.assess(layup.found.batch)
    after, times = checker.refined(layup.found.batch, before)
    if times == 1:
        after, times = checker.finer(layup.found.batch, 2), 2.0
    pairs = zip(before.kinds, before.values[0].tolist(), after.values[0].tolist(), strict=True)
    moved = {kind.name: new / value - 1 for kind, value, new in pairs if value not in (0.0, new)}
    if not moved:
        return ""
    worst = max(moved, key=lambda name: abs(moved[name]))
    said = f"On a mesh of {times:g} times as many triangles the figures of the panel move by "
    said += f"{abs(moved[worst]):.1%} at most ({worst}: {moved[worst]:+.1%})"
    said += f"; the last doubling moved the strengths by less than {WITHIN:.0%}." if times < MOST_TIMES else "."
    over = sorted((name for name in moved if abs(moved[name]) > WITHIN), key=lambda name: -abs(moved[name]))
    if over:
        rest = f" and {len(over) - 3} more" if len(over) > 3 else ""
        said += f" More than {WITHIN:.0%}: {'; '.join(f'{n} {moved[n]:+.1%}' for n in over[:3])}{rest}."
    return said
