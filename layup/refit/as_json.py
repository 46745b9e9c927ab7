"""The ledger for another program: JSON, SI units, keys that are only ever added."""

from __future__ import annotations

import json

from layup.refit.balance import Balance
from layup.refit.job import RefitJob
from layup.refit.ledger import Ledger, Row
from layup.refit.loading import Loading


def ledger_json(job: RefitJob, ledger: Ledger, loading: Loading | None) -> str:
    """The ledger as JSON."""
    found: dict[str, object] = {
        "refit": ledger.title,
        "as_of": ledger.as_of or None,
        "datum": job.refit.datum,
        "start": _balance(ledger.start.empty),
        "now": _balance(ledger.now),
        "final": _balance(ledger.final.empty) if ledger.final else None,
        "mass_kg": ledger.mass.as_dict(),
        "cg_m": ledger.cg.as_dict(),
        "saving_kg": ledger.saving.as_dict(),
        "items": [_row(row) for row in ledger.rows],
        "all_inside": loading.all_inside if loading else None,
        "load_cases": _cases(loading) if loading else [],
        "ballast": [
            {"place": w.name, "arm_m": w.arm, "aboard_kg": w.aboard, "needed_kg": w.needed, "free_kg": w.free}
            for w in (loading.ballast if loading else ())
        ],
    }
    return json.dumps(found, indent=2, ensure_ascii=False, allow_nan=False)


def _balance(sums: Balance) -> dict[str, float]:
    return {"mass_kg": sums.mass, "moment_kg_m": sums.moment, "cg_m": sums.cg}


def _row(row: Row) -> dict[str, object]:
    item = row.item
    return {
        "action": item.action,
        "name": item.name,
        "known_by": item.how,
        "mass_kg": item.spread.as_dict(),
        "change_kg": item.change,
        "arm_m": item.arm,
        "arm_to_m": item.arm_to,
        "arm_known_by": item.arm_how,
        "side_m": item.side,
        "height_m": item.height,
        "moment_kg_m": item.moment,
        "as_written": item.mass_text,
        "standing": row.standing,
        "entry": row.number,
        "corrects": row.corrects,
    }


def _cases(loading: Loading) -> list[dict[str, object]]:
    checked = loading.checked
    return [
        {
            "name": name,
            "mass_kg": float(checked.mass[case]),
            "cg_m": loading.cg[case].as_dict(),
            "from_forward_limit_m": float(checked.forward[case]),
            "from_aft_limit_m": float(checked.aft[case]),
            "over_most_kg": float(checked.over[case]),
            "inside": bool(checked.inside[case]),
            "breaks": list(checked.faults_of(case)),
            "surely": case not in loading.unsure,
        }
        for case, name in enumerate(loading.names)
    ]
