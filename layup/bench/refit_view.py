"""The page of a refit: every figure is one of the ledger's, in the units its record is kept in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from layup.bench.refit_desk import RefitSheet, on_page, opened, refit_sheet
from layup.bench.request import Asked, record_words, show
from layup.bench.running import Work
from layup.errors import LayupError

if TYPE_CHECKING:
    from starlette.responses import Response

    from layup.learn.store import Store
    from layup.refit.job import RefitJob
    from layup.refit.ledger import Ledger, Row
    from layup.refit.loading import Loading
    from layup.refit.next_parts import Rank
    from layup.refit.record_words import Kept

ACTIONS = (("removed", "Taken out"), ("added", "Put in"), ("moved", "Moved"))
LEAST = (("cost", "least money"), ("hours", "least hours"))
ORDERS = (
    ("saving", "what it saves"),
    ("cost", "money"),
    ("hours", "hours"),
    ("balance", "what it does to the balance"),
)
WEIGH = (
    ("weight", "What the scale shows, with its unit", "2 lb 13 oz, or 870 g"),
    ("by", "Who weighed", ""),
    ("method", "On which scale", ""),
    ("date", "Day, if not today", "2025-11-22"),
    ("why", "Anything to add", ""),
)
"""Fields of an item's weight. They stand in the item's own row: a weight can't land on another item."""
_SIGN = {"removed": "−", "added": "+", "moved": "→"}
_OUT = {"removed": "out", "added": "in", "moved": "moved"}

_LABELS = {
    "date": "Day", "by": "Who", "method": "How", "record": "From which record", "weight": "Empty weight",
    "cg": "Its centre of gravity", "at": "Under", "reading": "Reading", "tare": "Tare", "arm": "Arm",
}  # fmt: skip


@dataclass
class Said:
    """What the page says at its head after something was done, and what it asks, of which item."""

    wrong: str = ""
    good: str = ""
    question: str = ""
    sure: str = ""
    item: str = ""
    status: int = 200


def page(asked: Asked, said: Said | None = None, sheet: RefitSheet | None = None) -> Response:
    """The whole page of one refit file."""
    said = said or Said()
    sheet = sheet or refit_sheet(asked, asked.file)
    as_of = asked.query.get("as_of", "").strip()[:40]
    words: dict[str, Any] = {}
    if sheet.job is not None:
        try:
            words = _ledger(asked, sheet, as_of)
        except LayupError as error:
            said.wrong = said.wrong or on_page(asked.folder.plain(str(error)))
            if as_of:
                as_of, words = "", _ledger(asked, sheet, "")
    journal = asked.desk.journal
    change, again = journal.last(sheet.name), journal.next(sheet.name)
    words.setdefault("ledger", None)
    return show(
        asked, "refit.html", said.status, flow="refit", nav=_part(asked), wrong=said.wrong, good=said.good,
        question=said.question, sure=said.sure, asked_item=said.item, weigh_fields=WEIGH, sheet=sheet, kept=sheet.kept,
        as_of=as_of, actions=ACTIONS,
        orders=ORDERS, least=LEAST,
        title=sheet.value("title") or sheet.name, record=record_words(asked, sheet.path, "entry"),
        change=change if change is not None and change.after == sheet.text else None,
        again=again if again is not None and again.before == sheet.text else None,
        typed=journal.typed(sheet.name), beside=parts_beside(asked, sheet), weighings=_weighings(sheet), **words,
    )  # fmt: skip


def _part(asked: Asked) -> str:
    """The part a person came from, for the way back."""
    part = asked.query.get("part", "")
    return part if part in asked.folder.parts() else ""


def parts_beside(asked: Asked, sheet: RefitSheet) -> list[str]:
    """Part files as the refit file would name them."""
    import os

    return [
        os.path.relpath(asked.folder.path(name), sheet.path.parent).replace(os.sep, "/")
        for name in asked.folder.parts()
    ]


def _weighings(sheet: RefitSheet) -> list[dict[str, Any]]:
    """The first and the final weighing as they are written, field by field; the final one with the first's places."""
    found = []
    for table, title in (("start", "First weighing"), ("final", "Final weighing")):
        there = sheet.data.get(table)
        scales = _scales(there) or (_scales(sheet.data.get("start")) if there is None else 0)
        head = ("date", "by", "method") if scales else ("date", "by", "method", "record", "weight", "cg")
        fields = [(f"{table}.{key}", _LABELS[key], sheet.value(table, key)) for key in head]
        rows = []
        for n in range(scales):
            keys = ("at", "reading", "tare", "arm")
            held = {key: sheet.value(table, "scale", n, key) for key in keys}
            if there is None:
                held |= {key: sheet.value("start", "scale", n, key) for key in ("at", "arm")}
            rows.append([(f"{table}.scale.{n}.{key}", _LABELS[key], held[key]) for key in keys])
        if there is not None or scales:
            found.append({"table": table, "title": title, "there": there is not None, "fields": fields, "scales": rows})
    return found


def _scales(table: object) -> int:
    scales = table.get("scale", []) if isinstance(table, dict) else []
    return len(scales) if isinstance(scales, list) else 0


def _ledger(asked: Asked, sheet: RefitSheet, as_of: str) -> dict[str, Any]:
    from layup.refit import screen as words
    from layup.refit.as_json import ledger_json
    from layup.refit.ledger import on_the_scale
    from layup.refit.papers import final_text

    kept = sheet.kept
    with opened(asked, sheet, as_of) as (job, ledger, loading, store):
        scaled = on_the_scale(job, store, ledger) if not as_of else {}
        digest = hashlib.sha256(ledger_json(job, ledger, loading).encode()).hexdigest()[:12]
        return {
            "ledger": ledger, "job": job, "loading": loading, "digest": digest, "alarms": words.alarms(loading, kept),
            "heads": _heads(job, ledger, kept), "saved": _saved(ledger, kept), "items": _items(job, ledger, kept),
            "known": words.known_words(ledger, kept), "moved": words.moved_words(ledger.cg_moved, kept),
            "need": _need(job, ledger, kept), "final": final_text(ledger, kept) if ledger.final else "",
            "scaled": [(name, one) for (_, name), one in scaled.items()], "pending": len(ledger.pending()),
            "cases": _cases(loading, kept), "ballast": _ballast(loading, kept),
            "unsure": bool(loading and loading.unsure), "notes": _notes(job, kept), "joined": _joined(job, kept),
            **_next(asked, sheet, job, ledger, loading), **_history(store, ledger, kept),
        }  # fmt: skip


def _heads(job: RefitJob, ledger: Ledger, kept: Kept) -> list[tuple[str, ...]]:
    from layup.refit.record_words import arm_kept, chord_kept, mass_kept, moment_kept

    rows = [("empty at the start", ledger.start.empty), ("empty now", ledger.now)]
    if ledger.final is not None:
        rows.append(("empty, final weighing", ledger.final.empty))
    return [(name, mass_kept(sums.mass, kept), arm_kept(sums.cg, kept), moment_kept(sums.moment, kept),
             chord_kept(sums.cg, job.refit.chord)) for name, sums in rows]  # fmt: skip


def _saved(ledger: Ledger, kept: Kept) -> tuple[str, str]:
    """What is out so far, and both ends of it where some of it is not weighed."""
    from layup.refit.record_words import mass_kept
    from layup.refit.screen import span_words

    saving = ledger.saving
    return mass_kept(saving.mean, kept), span_words(saving, kept) if saving.p95 > saving.p05 else ""


def _need(job: RefitJob, ledger: Ledger, kept: Kept) -> str:
    from layup.refit.record_words import mass_kept
    from layup.refit.screen import need_of

    need = need_of(job.refit, ledger)
    if need is None:
        return ""
    if need > 0:
        return f"{mass_kept(need, kept)} more to the target"
    return "the target is reached" + (f", with {mass_kept(-need, kept)} to spare" if need < 0 else "")


def item_id(key: str) -> str:
    """A short name of an item for the ids of its fields: the same item, the same name, wherever its row stands.

    Args:
        key: "removed|vacuum pump".
    """
    return hashlib.sha256(key.encode()).hexdigest()[:10]


def _items(job: RefitJob, ledger: Ledger, kept: Kept) -> list[dict[str, Any]]:
    return [_item(row, job, kept) for row in ledger.rows]


def _item(row: Row, job: RefitJob, kept: Kept) -> dict[str, Any]:
    from layup.refit.papers import known_by
    from layup.refit.record_words import arm_kept, change_kept, index_kept, mass_kept, moment_kept

    item = row.item
    key = f"{item.action}|{item.name}"
    arm = arm_kept(item.arm, kept)
    return {
        "key": key, "id": item_id(key), "name": item.name, "sign": _SIGN[item.action], "out": _OUT[item.action],
        "how": item.how, "known": known_by(row, kept), "note": item.note, "standing": row.standing,
        "change": change_kept(item.change, kept) if item.action != "moved" else f"({mass_kept(item.mass, kept)})",
        "arm": arm if item.arm_to is None else f"{arm} to {arm_kept(item.arm_to, kept)}",
        "moment": moment_kept(item.moment, kept), "number": row.number,
        "said": ", ".join(word for word in (item.date, item.by) if word),
        "index": index_kept(item.moment, job.refit.index, kept) if job.refit.index else "",
    }  # fmt: skip


def _cases(loading: Loading | None, kept: Kept) -> list[dict[str, Any]]:
    from layup.refit.record_words import arm_kept, change_kept, mass_kept

    if loading is None:
        return []
    checked, rows = loading.checked, []
    for case, name in enumerate(loading.names):
        faults = checked.faults_of(case)
        rows.append({
            "name": name, "faults": faults, "worst": case == checked.worst, "unsure": case in loading.unsure,
            "mass": mass_kept(checked.mass[case], kept), "spare": change_kept(-checked.over[case], kept),
            "cg": arm_kept(checked.cg[case], kept), "forward": arm_kept(checked.forward[case], kept),
            "aft": arm_kept(checked.aft[case], kept),
        })  # fmt: skip
    return rows


def _ballast(loading: Loading | None, kept: Kept) -> list[str]:
    from layup.refit.papers import ballast_text

    return [ballast_text(word, kept) for word in loading.ballast] if loading else []


def _notes(job: RefitJob, kept: Kept) -> list[str]:
    from layup.refit.record_words import index_note

    notes = [f"Arms from {job.refit.datum}. A removed item ahead of the datum, at a negative arm, adds moment."]
    return notes + ([index_note(job.refit.index, kept)] if job.refit.index else [])


def _joined(job: RefitJob, kept: Kept) -> list[dict[str, Any]]:
    from layup.refit.consolidate import consolidate
    from layup.refit.record_words import mass_kept
    from layup.refit.screen import joined_words

    found = []
    for entry in job.refit.consolidation:
        joined = consolidate(entry, job.predictions)
        sides = [
            [(piece.name, piece.kind, mass_kept(piece.mass, kept)) for piece in side]
            for side in (joined.old, joined.new)
        ]
        old_mass, new_mass = (mass_kept(mass, kept) for mass in (joined.old_mass, joined.new_mass))
        found.append({"name": joined.name, "old": sides[0], "new": sides[1], "words": joined_words(joined, kept),
                      "old_mass": old_mass, "new_mass": new_mass})  # fmt: skip
    return found


def about_next(sheet: RefitSheet, job: RefitJob, ledger: Ledger, least: str) -> tuple[str, ...]:
    """What a search is about: where any of it changes, its answer is of another thing."""
    told = repr((job.candidates, ledger.empty, job.loads, job.refit.limits, job.refit.target))
    return "next", sheet.name, hashlib.sha256(told.encode()).hexdigest(), least


def _next(asked: Asked, sheet: RefitSheet, job: RefitJob, ledger: Ledger, loading: Loading | None) -> dict[str, Any]:
    from layup.refit.next_parts import rank
    from layup.refit.screen import choice_text, need_of, rank_heads, rank_words

    kept = sheet.kept
    by = asked.query.get("rank", "saving")
    by = by if by in dict(ORDERS) else "saving"
    target = job.refit.target
    least = asked.query.get("least") or asked.desk.journal.typed(sheet.name).get("refit-least", "")
    if least not in dict(LEAST):
        least = target.least if target else "cost"
    need = need_of(job.refit, ledger)
    ranks: list[Rank] = rank(job.candidates, ledger.empty, need or 0.0, by)
    work: Work | None = asked.bench.works.about(about_next(sheet, job, ledger, least)) if need is not None else None
    lines: list[str] = []
    picked: set[str] = set()
    if work is not None and work.state == "done":
        lines = choice_text(work.answer, kept).split("\n")
        picked = {one.name for one in work.answer.chosen}
    elif work is not None and work.state == "failed":
        lines = [str(work.answer)]
    return {
        "rank_by": by,
        "least_by": least,
        "rank_heads": rank_heads(kept),
        "ranks": [rank_words(row, kept) for row in ranks],
        "work": work,
        "choice": lines,
        "picked": picked,
        "targeted": need is not None,
    }


def _history(store: Store | None, ledger: Ledger, kept: Kept) -> dict[str, Any]:
    from layup.refit.ledger import all_entries
    from layup.refit.screen import entry_words

    listed = all_entries(store, ledger.title)
    rows = [{"words": entry_words(entry, kept), "number": entry.number, "undone": undone} for entry, undone in listed]
    standing = {entry.payload["does"] for entry, undone in listed if undone is None}
    missing = [] if "start" in standing else ["first weighing"]
    missing += ["final weighing"] if ledger.final is not None and "final" not in standing else []
    last = next((row["number"] for row in rows if row["undone"] is None), None)
    return {"history": rows, "last": last, "missing": missing}
