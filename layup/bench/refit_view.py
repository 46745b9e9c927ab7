"""The page of a refit: every figure is one of the ledger's, in the units its record is kept in."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.bench import labels
from layup.bench.desk import as_typed
from layup.bench.refit_desk import RefitSheet, on_page, opened, refit_sheet
from layup.bench.request import Asked, record_words, show
from layup.bench.running import Work
from layup.errors import LayupError
from layup.refit.model import KINDS

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
_OUT = {"removed": "out", "added": "in", "moved": "moved"}

_LABELS = {
    "date": "Day",
    "by": "Who",
    "method": "How",
    "record": "From which record",
    "weight": "Empty weight",
    "cg": "Its centre of gravity",
    "at": "Under",
    "reading": "Reading",
    "tare": "Tare",
    "arm": "Arm",
    "predicted": "Part file",
    "listed": "Weight from a list",
    "from_list": "Row of the equipment list",
    "give_or_take": "Give or take",
    "balance_point": "Where it balanced on a bar",
    "from": "Arm before",
    "to": "Arm now",
}
PIECE = (
    ("name", "Name", "two halves, glass"),
    ("kind", "What it is", ""),
    ("weighed", "On the scale", "1 lb 4 oz"),
    ("listed", "From a list", ""),
    ("each", "One of them weighs", "1.1 g"),
    ("count", "How many", "46"),
    ("per_length", "Weight by the length", "14 g/m"),
    ("length", "How long", "5 ft 4 in"),
    ("sheet", "A lap of which sheet", "aluminium 2024-T3"),
    ("thickness", "Thick", "0.025 in"),
    ("width", "Wide", "3/4 in"),
    ("predicted", "Part file", ""),
)
"""One thing of an assembly: its name, its kind, and one of the ways to give its weight."""
JOINED = (
    ("name", "Name", "tail fairing"),
    ("old.name", "The first old part", "two halves, glass"),
    ("old.weighed", "It weighs", "1 lb 4 oz"),
    ("new.name", "The new part", "one piece, carbon"),
    ("new.weighed", "It weighs", "14 oz"),
    ("new.predicted", "Or its part file", ""),
)
"""What begins a consolidation: it needs a piece on either side."""

SETUP = {
    "": (
        "The aircraft",
        "",
        "",
        (
            ("title", "Name of the refit", "Winter refit"),
            ("aircraft", "Aircraft", "two-seat motor glider"),
            ("datum", "Arms are measured from", "front face of the firewall; aft is plus"),
            ("units", "The record is kept in", "lb, or metric"),
            ("by", "Who keeps it", ""),
            ("equipment", "Equipment list, a file beside it", "equipment.csv"),
            ("serial", "Serial number", ""),
            ("supersedes", "The record this one takes the place of", "weighing report of 2019"),
        ),
    ),
    "limits": (
        "Limits",
        "",
        "From the aircraft's papers. A limit that changes with weight is written a row a line.",
        (
            ("most", "Maximum weight", "1653 lb"),
            ("least", "Lowest weight", "1150 lb"),
            ("forward", "Forward limit", "74.5 in\n1150 lb at 83 in"),
            ("aft", "Aft limit", "81 in"),
            ("empty_forward", "Forward limit when empty", ""),
            ("empty_aft", "Aft limit when empty", ""),
        ),
    ),
    "place": (
        "Seats and baggage",
        "place",
        "",
        (("name", "Name", "left seat"), ("arm", "Arm", "77 in"), ("holds", "Holds at most", "44 lb")),
    ),
    "tank": (
        "Tanks",
        "tank",
        "What of it can be used. An arm that changes with the level: a row a line.",
        (
            ("name", "Name", "fuel"),
            ("holds", "Holds", "21 gal"),
            ("density", "Density", "6.0 lb/gal"),
            ("arm", "Arm", "97 in\n0 % at 97 in"),
        ),
    ),
    "ballast": (
        "Ballast",
        "place for ballast",
        "",
        (
            ("name", "Name", "plates behind the spinner"),
            ("arm", "Arm", "9 in"),
            ("aboard", "Lies there now", "4 lb 8 oz"),
            ("holds", "Holds at most", "15 lb"),
        ),
    ),
    "load": (
        "Load cases",
        "load case",
        "A way the aircraft flies. Every one is held against the limits.",
        (("name", "Name", "light pilot alone, full tank"),),
    ),
    "candidate": (
        "What could be made next",
        "candidate",
        "Either a part file, or what it would save.",
        (
            ("name", "Name", "baggage floor"),
            ("predicted", "Part file", ""),
            ("saves", "Would save", "4 lb 4 oz"),
            ("removes", "Swap: comes out", "17 lb 10 oz"),
            ("adds", "Swap: goes in", "5 lb 8 oz"),
            ("old_arm", "Arm of what comes out", "112 in"),
            ("give_or_take", "Give or take", "10 oz"),
            ("arm", "Arm", "78 in"),
            ("cost", "Cost", "120 EUR"),
            ("hours", "Work", "14 h"),
            ("needs", "Only with", "another candidate"),
            ("instead_of", "Instead of", "another candidate"),
        ),
    ),
    "start.scale": (
        "Scales of the first weighing",
        "scale",
        "",
        (
            ("at", "Under", "nose wheel"),
            ("reading", "Reading", "91 lb 12 oz"),
            ("tare", "Tare", "1 lb 6 oz"),
            ("arm", "Arm", "259.6 in"),
        ),
    ),
    "start.aboard": (
        "Aboard at the first weighing, not of the empty weight",
        "thing aboard",
        "",
        (
            ("name", "Name", "drinking water"),
            ("liquid", "If a liquid, which", "potable water"),
            ("weighed", "Weight", "3 lb 5 oz"),
            ("arm", "Arm", "99 in"),
        ),
    ),
    "start.missing": (
        "Of the empty weight, not aboard then",
        "thing missing",
        "",
        (("name", "Name", "canopy"), ("weighed", "Weight", "14 lb"), ("arm", "Arm", "70 in")),
    ),
    "final.aboard": (
        "Aboard at the final weighing, not of the empty weight",
        "thing aboard",
        "",
        (
            ("name", "Name", "drinking water"),
            ("liquid", "If a liquid, which", "potable water"),
            ("weighed", "Weight", "3 lb 5 oz"),
            ("arm", "Arm", "99 in"),
        ),
    ),
    "final.missing": (
        "Of the empty weight, not aboard at the final weighing",
        "thing missing",
        "",
        (("name", "Name", "canopy"), ("weighed", "Weight", "14 lb"), ("arm", "Arm", "70 in")),
    ),
    "consolidation": (
        "Several parts that become one",
        "set of joined parts",
        "What the seams, screws and sealant between the old parts weigh is saved too.",
        (("name", "Name", "tail fairing"),),
    ),
    "consolidation.old": ("the old parts and what joins them", "old piece", "", PIECE),
    "consolidation.new": ("the new part and what still joins it", "new piece", "", PIECE),
    "chord": (
        "Mean aerodynamic chord",
        "",
        "",
        (("leading_edge", "Its leading edge", "74.2 in"), ("length", "Its length", "47.5 in")),
    ),
    "index": ("Short form of moments", "", "", (("per", "Moment divided by", "1000"), ("decimals", "Decimals", "1"))),
    "removed": ("Items taken out", "", "", ()),
    "added": ("Items put in", "", "", ()),
    "moved": ("Items moved", "", "", ()),
}
"""Tables of a refit file with a form each: title, what one is called (tables that stand once have none), a word on it,
and its keys with label and example. Items show the keys they have; they begin at "Add an item"."""
ROWS = (("limits", "forward"), ("limits", "aft"), ("tank", "arm"))
"""Keys that may be rows of a weight or a level, and the arm there."""
_ITEM_KEYS = (
    "name",
    "weighed",
    "listed",
    "each",
    "count",
    "volume",
    "density",
    "level",
    "predicted",
    "from_list",
    "give_or_take",
    "arm",
    "balance_point",
    "from",
    "to",
    "side",
    "height",
    "date",
    "by",
    "method",
    "note",
)


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
    words: dict[str, object] = {}
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
        typed=journal.typed(sheet.name), beside=parts_beside(asked, sheet), weighings=_weighings(sheet),
        setup=_setup(sheet), piece_kinds=KINDS, row_keys=ROWS, row_id=row_id, plainly=plainly, **words,
    )  # fmt: skip


def plainly(text: str) -> str:
    """A fault of a refit file in the words of its forms.

    >>> plainly('Add the aft limit: aft = "81 in".')
    'Add the aft limit: "Aft limit" 81 in.'
    """
    called = {key: words for _, _, _, keys in SETUP.values() for key, words, _ in keys}
    return labels.plain(text, {**called, **_LABELS, "arm": "Arm", "aboard": "Aboard"})


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


def _weighings(sheet: RefitSheet) -> list[dict[str, object]]:
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


def row_id(table: str, number: str | int, key: str) -> str:
    """The id of a field of a table's form, by which what is typed in it is kept before it is entered."""
    which = "new" + str(number)[2:] if str(number).startswith("-") else number
    return "f-refit-row-" + re.sub(r"[^a-z0-9_]+", "-", f"{table}__{which}__{key}".casefold())


def row_fields(sheet: RefitSheet, table: str, entry: dict[str, object]) -> list[tuple[str, str, str, str]]:
    """The fields of one table's form: key, label, what stands there, example."""
    keys: list[tuple[str, str, str]] = list(SETUP[table][3])
    if table in ("removed", "added", "moved"):
        keys = [(key, _LABELS.get(key) or labels.label(key), "") for key in _ITEM_KEYS if key in entry]
    listed = {key for key, _, _ in keys} | {"aboard", "old", "new", "scale", "missing", "placed"}
    more = [key for key in entry if table.count(".") and key not in listed]  # written in the file, in no form by itself
    keys += [(key, _LABELS.get(key) or labels.label(key), "") for key in more]
    fields = [(key, words, shown_row(entry.get(key)), hint) for key, words, hint in keys]
    if table == "load":
        held = entry.get("aboard")
        aboard = held if isinstance(held, dict) else {}
        places = [(str(e.get("name", "")), kind) for kind in ("place", "tank") for e in sheet.entries(kind)]
        places += [(name, "place") for name in aboard if name not in dict(places)]
        hints = {"place": "180 lb", "tank": "full, half, 10 % or 20 gal"}
        fields += [
            (f"aboard.{name}", f"Aboard: {name}", shown_row(aboard.get(name)), hints[kind]) for name, kind in places
        ]
    return fields


def shown_row(value: object) -> str:
    r"""A value of the file as its field shows it; rows a line each.

    >>> shown_row([["1150 lb", "83 in"], ["1450 lb", "85 in"]]), shown_row(["one", "two"]), shown_row(None)
    ('1150 lb at 83 in\n1450 lb at 85 in', 'one, two', '')
    """
    if isinstance(value, list) and value and all(isinstance(row, list) for row in value):
        return "\n".join(" at ".join(str(one) for one in row) for row in value)
    return "" if value is None else as_typed(value)


def _setup(sheet: RefitSheet) -> list[dict[str, object]]:
    """Every table of the file as forms: those there are, and one to begin another."""
    found: list[dict[str, object]] = []
    for table, (title, one, why, _) in SETUP.items():
        if table.startswith("consolidation."):
            continue  # below the consolidation each stands in
        if table.startswith("final.") and "final" not in sheet.data:
            continue
        if one or table in ("removed", "added", "moved"):
            rows = [
                (n, shown_row(e.get("name", e.get("at"))), row_fields(sheet, table, e))
                for n, e in enumerate(sheet.entries(table))
            ]
        else:
            held = sheet.data if not table else sheet.data.get(table)
            rows = [(0, "", row_fields(sheet, table, held if isinstance(held, dict) else {}))]
        begun = row_fields(sheet, table, {}) if one else []
        if table == "consolidation":
            begun = [(key, words, "", hint) for key, words, hint in JOINED]
        if rows or begun:
            found.append({"id": table, "table": table, "title": title, "one": one, "why": why, "rows": rows,
                          "begun": begun, "new": NEW})  # fmt: skip
        if table == "consolidation":
            found += _pieces(sheet)
    return found


NEW = -1
"""In place of the number of a table: one more, behind the last."""


def _pieces(sheet: RefitSheet) -> list[dict[str, object]]:
    """The pieces of each consolidation, old and new, as tables or in one line; counted through the file."""
    found: list[dict[str, object]] = []
    first = {"old": 0, "new": 0}
    for number, joined in enumerate(sheet.entries("consolidation")):
        for side, begin in first.items():
            table, listed = f"consolidation.{side}", joined.get(side)
            pieces = [e if isinstance(e, dict) else {} for e in listed] if isinstance(listed, list) else []
            first[side] = begin + len(pieces)
            rows = [
                (n, shown_row(e.get("name")), row_fields(sheet, table, e)) for n, e in enumerate(pieces, start=begin)
            ]
            title, one, why, _ = SETUP[table]
            words = {"title": f"{shown_row(joined.get('name'))}: {title}", "one": one, "why": why}
            begun = {"rows": rows, "begun": row_fields(sheet, table, {}), "new": NEW - first[side]}
            found.append({"id": f"{table}-{number}", "table": table, **words, **begun})
    return found


def _scales(table: object) -> int:
    scales = table.get("scale", []) if isinstance(table, dict) else []
    return len(scales) if isinstance(scales, list) else 0


def _ledger(asked: Asked, sheet: RefitSheet, as_of: str) -> dict[str, object]:
    from layup.refit import screen as words
    from layup.refit.as_json import ledger_json
    from layup.refit.consolidate import consolidate
    from layup.refit.ledger import on_the_scale
    from layup.refit.papers import final_text

    kept = sheet.kept
    with opened(asked, sheet, as_of) as (job, ledger, loading, store):
        scaled = on_the_scale(job, store, ledger) if not as_of else {}
        digest = hashlib.sha256(ledger_json(job, ledger, loading).encode()).hexdigest()[:12]
        return {
            "ledger": ledger,
            "job": job,
            "loading": loading,
            "digest": digest,
            "alarms": words.alarms(loading, kept),
            "balance": words.balance_grid(job.refit, ledger, kept),
            "saved": _saved(ledger, kept),
            "items": _items(job, ledger, kept),
            "known": words.known_words(ledger, kept),
            "moved": words.moved_words(ledger.cg_moved, kept),
            "need": _need(job, ledger, kept),
            "final": final_text(ledger, kept) if ledger.final else "",
            "scaled": [(name, one) for (_, name), one in scaled.items()],
            "pending": len(ledger.pending()),
            **_cases(job, ledger, loading, kept),
            "ballast": _ballast(loading, kept),
            "unsure": bool(loading and loading.unsure),
            "notes": _notes(job, kept),
            "joined": [
                (one.name, words.joined_grid(one, kept), words.joined_words(one, kept))
                for one in (consolidate(entry, job.predictions) for entry in job.refit.consolidation)
            ],
            **_next(asked, sheet, job, ledger, loading),
            **_history(store, ledger, kept),
        }


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


def _items(job: RefitJob, ledger: Ledger, kept: Kept) -> list[dict[str, object]]:
    return [_item(row, job, kept) for row in ledger.rows]


def _item(row: Row, job: RefitJob, kept: Kept) -> dict[str, object]:
    from layup.refit.papers import Record, known_by

    item = row.item
    key = f"{item.action}|{item.name}"
    return {
        **Record(kept, job.refit.index).item(item)._asdict(),
        "key": key,
        "id": item_id(key),
        "name": item.name,
        "out": _OUT[item.action],
        "how": item.how,
        "known": known_by(row, kept),
        "note": item.note,
        "standing": row.standing,
        "number": row.number,
        "said": ", ".join(word for word in (item.date, item.by) if word),
    }


def _cases(job: RefitJob, ledger: Ledger, loading: Loading | None, kept: Kept) -> dict[str, object]:
    """Each load case in words, and all of them drawn against the limits."""
    from layup.refit.envelope_picture import envelope_svg
    from layup.refit.papers import verdict_words
    from layup.refit.record_words import arm_kept, change_kept, mass_kept
    from layup.refit.screen import cases_grid

    if loading is None:
        return {"cases": [], "table": None, "drawing": ""}
    checked = loading.checked
    rows: list[dict[str, object]] = []
    said: list[str] = []
    for case, name in enumerate(loading.names):
        mass, cg = mass_kept(checked.mass[case], kept), arm_kept(checked.cg[case], kept)
        said.append(f"{case + 1} {name}: {mass} at {cg}, {verdict_words(loading, case)}")
        rows.append({
            "said": said[-1], "spare": change_kept(-checked.over[case], kept),
            "forward": arm_kept(checked.forward[case], kept), "aft": arm_kept(checked.aft[case], kept),
            "aboard": ", ".join(f"{one.name} {one.text}" for one in job.loads[case].aboard),
        })  # fmt: skip
    return {"cases": rows, "table": cases_grid(loading, kept), "drawing": envelope_svg(ledger, loading, kept, said)}


def _ballast(loading: Loading | None, kept: Kept) -> list[str]:
    from layup.refit.papers import ballast_text

    return [ballast_text(word, kept) for word in loading.ballast] if loading else []


def _notes(job: RefitJob, kept: Kept) -> list[str]:
    from layup.refit.record_words import index_note

    notes = [f"Arms from {job.refit.datum}. A removed item ahead of the datum, at a negative arm, adds moment."]
    return notes + ([index_note(job.refit.index, kept)] if job.refit.index else [])


def about_next(sheet: RefitSheet, job: RefitJob, ledger: Ledger, least: str) -> tuple[str, ...]:
    """What a search is about: where any of it changes, its answer is of another thing."""
    told = repr((job.candidates, ledger.empty, job.loads, job.refit.limits, job.refit.target))
    return "next", sheet.name, hashlib.sha256(told.encode()).hexdigest(), least


def _next(asked: Asked, sheet: RefitSheet, job: RefitJob, ledger: Ledger, loading: Loading | None) -> dict[str, object]:
    from layup.refit.next_parts import rank
    from layup.refit.screen import choice_text, need_of, rank_grid

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
        "ranks": rank_grid(ranks, picked, kept),
        "work": work,
        "choice": lines,
        "targeted": need is not None,
    }


def _history(store: Store | None, ledger: Ledger, kept: Kept) -> dict[str, object]:
    from layup.refit.ledger import all_entries
    from layup.refit.screen import entry_words

    listed = all_entries(store, ledger.title)
    rows = [{"words": entry_words(entry, kept), "number": entry.number, "undone": undone} for entry, undone in listed]
    standing = {entry.payload["does"] for entry, undone in listed if undone is None}
    missing = [] if "start" in standing else ["first weighing"]
    missing += ["final weighing"] if ledger.final is not None and "final" not in standing else []
    last = next((row["number"] for row in rows if row["undone"] is None), None)
    return {"history": rows, "last": last, "missing": missing}
