"""A choice as JSON: SI units, keys only ever added."""

from __future__ import annotations

import json
import math

from layup.choosing.choice import Choice
from layup.choosing.layups import Layup
from layup.choosing.words import asked_words
from layup.weight.prediction import source_record


def json_text(choice: Choice) -> str:
    """The choice as JSON text."""
    return json.dumps(as_json(choice), indent=2, ensure_ascii=False, allow_nan=False)


def as_json(choice: Choice) -> dict[str, object]:
    """The stable form of a choice for scripts."""
    search = choice.searches
    return {
        "part": choice.job.part.title,
        "passes": choice.best is not None,
        "proven_lightest": choice.proven,
        "searched_to_the_end": choice.ended,
        "stacks": search.size,
        "looked_at": search.looked_at,
        "checked": search.checked,
        "seconds": choice.seconds,
        "stiffness_is": "mean deflection under an even 1 kPa, m" if choice.by_panel else "strip stiffness, N m",
        "best": _layup(choice.best),
        "nearest": _layup(choice.nearest),
        "others": [_layup(y) for y in choice.others],
        "front": [y.label for y in choice.front],
        "steps": [
            {"change": s.change, "mass_kg": s.mass, "times_as_stiff": s.stiffness, "passes": s.passed,
             "governs": s.governs, "reserve": _number(s.reserve), "breaks": s.breaks or None}
            for s in choice.steps
        ],
        "rules_of_the_trade": None
        if choice.rules is None
        else [{"rule": rule, "saves_kg": saved} for rule, saved in choice.rules.items()],
        "not_checked": list(choice.blocked),
        "not_tried": list(choice.left_out),
        "asked": asked_words(choice),
        "conditions": choice.conditions,
        "replaced_kg": None if choice.replaced is None else choice.replaced.as_dict(),
        "notes": list(choice.notes),
        "cautions": list(choice.cautions),
        "sources": [source_record(c) for c in choice.citations],
    }  # fmt: skip


def _layup(layup: Layup | None) -> dict[str, object] | None:
    if layup is None:
        return None
    result = layup.found.assessment
    return {
        "why": layup.label,
        "process": layup.process,
        "plies": [
            {"material": name, "angle_deg": angle, "count": count}
            if count
            else {"material": name, "thickness_m": thick}
            for name, angle, count, thick in layup.lines
        ],
        "local": [
            {"zone": zone, "plies": [{"material": n, "angle_deg": a, "count": c} for n, a, c, _ in lines]}
            for zone, lines in layup.local
        ],
        "mass_kg": layup.mass.as_dict(),
        "areal_kg_m2": layup.found.areal_weight,
        "thickness_m": layup.thickness,
        "cost": dict(layup.cost.amounts),
        "unpriced": list(layup.cost.unpriced),
        "stiffness": layup.stiffness,
        "passes": layup.passed,
        "checks": [
            {"check": k.name, "formula": k.formula, "source": k.source, "unit": k.unit, "value": _number(float(v)),
             "limit": _number(float(u)), "at_least": k.at_least, "reserve": _number(float(r))}
            for k, v, u, r in zip(result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True)
        ],
    }  # fmt: skip


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
