"""What can be done with a refit: enter, weigh, take back, change its file, begin one, look for the next parts."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from layup.bench.desk import decimal_point
from layup.bench.home import slug
from layup.bench.part_page import whole
from layup.bench.refit_desk import RefitSheet, faults_words, opened, refit_sheet, try_text
from layup.bench.refit_view import (
    LEAST,
    NEW,
    ROWS,
    SETUP,
    WEIGH,
    Said,
    about_next,
    item_id,
    page,
    plainly,
    row_fields,
    row_id,
)
from layup.bench.request import Asked, Handler, go, record_home, show
from layup.errors import LayupError, StaleError
from layup.files.writing import write_file
from layup.partfile import edit as parttext
from layup.refit.balance import Balance
from layup.refit.candidates import Candidate
from layup.refit.envelope import Envelope
from layup.refit.next_parts import Choice, Objective, choose

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from starlette.responses import Response

WHEELS = ("left main wheel", "right main wheel", "tail or nose wheel")
"""Scales that a new refit file asks for."""

FIELDS = ("item.", "new.", "start.", "final.", "target.", "row.")
"""What is kept while it is typed begins so."""
WEIGHED = re.compile(
    r"(start|final)\.((date|by|method|record|weight|cg)|scale\.[0-9]{1,3}\.(at|reading|tare|arm))", re.ASCII
)
"""Keys of the first and the final weighing that the page changes."""


def answer(asked: Asked, act: Callable[[Asked, RefitSheet], Said]) -> Response:
    """Keep what was typed, do it, and give the page: what is wrong with it stands at its head, and the words stay."""
    sheet = refit_sheet(asked, asked.file)
    _keep(asked)
    try:
        said = act(asked, sheet)
    except StaleError:
        raise
    except LayupError as error:
        return page(asked, Said(wrong=plainly(asked.folder.plain(str(error))), status=422))
    if asked.form.get("script") or said.question:
        return page(asked, said)
    return go("/refit", file=asked.file, said=said.good)


def _keep(asked: Asked) -> None:
    held = asked.desk.journal.typed(asked.file)
    for field, text in asked.form.items():
        name = _field(field, asked.form)
        if field.startswith(FIELDS) and text != held.get(name, ""):
            asked.desk.journal.type(asked.file, name, text[:2000] or None)


def _forget(asked: Asked, start: str) -> None:
    for field in asked.form:
        if field.startswith(start):
            asked.desk.journal.type(asked.file, _field(field, asked.form), None)


def _field(name: str, form: Mapping[str, str]) -> str:
    """The id of a field of the page; a weight's fields are those of its item."""
    if name.startswith("item."):
        name = f"item.{item_id(form.get('item', ''))}.{name.removeprefix('item.')}"
    if name.startswith("row."):
        return row_id(form.get("table", ""), form.get("number", ""), name.removeprefix("row."))
    return "f-refit-" + name.replace(".", "-")


def enter(asked: Asked) -> Response:
    """Enter what the file says and the ledger does not."""
    return answer(asked, _enter)


def _enter(asked: Asked, sheet: RefitSheet) -> Said:
    from layup.learn.store import open_store
    from layup.refit.ledger import enter as enter_all

    if sheet.job is None:
        raise LayupError(faults_words(sheet.faults))
    with open_store(record_home(asked, sheet.path)) as store:
        made = enter_all(sheet.job, store, asked.form.get("why", "").strip())
    if not made:
        return Said(good="the file and the ledger agree: nothing to enter")
    numbers = f"entry {made[0].number}" if len(made) == 1 else f"entries {made[0].number} to {made[-1].number}"
    return Said(good=f"{len(made)} entered: {numbers}")


def weigh(asked: Asked) -> Response:
    """Note what the scale says of an item."""
    return answer(asked, _weigh)


def _weigh(asked: Asked, sheet: RefitSheet) -> Said:
    from layup.learn.moments import day_of
    from layup.learn.scale import echo
    from layup.learn.store import open_store
    from layup.refit.record_words import change_kept
    from layup.refit.weigh_item import item_on_scale

    if sheet.job is None:
        raise LayupError(faults_words(sheet.faults))
    form = asked.form
    action, _, name = form.get("item", "").partition("|")
    typed = " ".join(form.get("item.weight", "").split())
    over = form.get("do") == "over"
    if not over and not typed:
        raise LayupError("there is no weight yet. Write what the scale shows, with its unit: 2 lb 13 oz, or 870 g")
    heard = None if over else echo(typed)
    day = day_of(form.get("item.date", "").strip())
    why = form.get("item.why", "").strip()
    with open_store(record_home(asked, sheet.path)) as store:
        on_scale = item_on_scale(sheet.job, store, name, None if over else typed, action or None, why)
        asks = on_scale.questions + (
            (heard.warning + ". Is that what the scale shows?",) if heard and heard.warning else ()
        )
        sure = f"{action}|{name}: {on_scale.said}"
        if asks and form.get("sure") != sure:
            return Said(question=asks[0], sure=sure, item=form.get("item", ""))
        by, method = (form.get(f"item.{key}", "").strip() for key in ("by", "method"))
        entry, change = on_scale.enter(store, by, method, day)
    for key, _, _ in WEIGH:
        asked.desk.journal.type(asked.file, _field(f"item.{key}", form), None)
    again = f" (corrects entry {entry.payload['corrects']})" if entry.payload.get("corrects") else ""
    said = f"entry {entry.number}{again}: {name} weighs {on_scale.said}"
    said += f", that is {heard.imperial} or {heard.metric}" if heard else ""
    return Said(good=f"{said}. The running weight changes by {change_kept(change, sheet.kept)}")


def take_back(asked: Asked) -> Response:
    """Take an entry of the ledger back, or bring it back."""
    return answer(asked, _take_back)


def _take_back(asked: Asked, sheet: RefitSheet) -> Said:
    from layup.learn.store import find_store
    from layup.learn.weigh_part import take_back as back
    from layup.refit.ledger import KIND

    number = asked.form.get("number", "")
    home = asked.folder.shop(sheet.path)
    store = find_store(home) if home is not None else None
    if store is None or not (number.isascii() and number.isdigit()) or len(number) > 12:
        raise LayupError("there is no such entry in this shop's record")
    with store:
        back(store, int(number), KIND)
    if asked.form.get("again"):
        return Said(good="the entry counts again")
    return Said(good=f"entry {number} is taken back, by an entry; nothing is deleted")


def edit(asked: Asked) -> Response:
    """Change the refit file, its other lines and remarks kept."""
    return answer(asked, _edit)


def _edit(asked: Asked, sheet: RefitSheet) -> Said:
    form, words = asked.form, ""

    def change(text: str) -> str:
        nonlocal words
        what = form.get("op", "")
        words, new = {"add": _added, "weighing": _weighing, "target": _targeted, "row": _rowed}.get(what, _unknown)(
            text, form, sheet
        )
        _job, faults = try_text(asked, sheet.path, new)
        if len(faults) > len(sheet.faults):
            raise LayupError("nothing was changed. " + faults_words(faults))
        return new

    asked.desk.edit_text(asked.file, form.get("base", ""), lambda: words, change)
    for start in FIELDS[1:]:
        _forget(asked, start)
    return Said(good=f"{words}: it stands in the file, and is not entered in the ledger yet")


def _unknown(text: str, form: Mapping[str, str], sheet: RefitSheet) -> tuple[str, str]:
    raise LayupError("that is no change this page knows")


def _added(text: str, form: Mapping[str, str], sheet: RefitSheet) -> tuple[str, str]:
    """A new item."""
    given = {key.removeprefix("new."): value.strip() for key, value in form.items() if key.startswith("new.")}
    table, how = given.get("table", ""), form.get("form", "weighed")
    if table not in ("removed", "added", "moved") or how not in ("weighed", "listed", "predicted"):
        raise LayupError("say whether it is taken out, put in or moved, and how its weight is known")
    name = given.get("name", "")
    if not name:
        raise LayupError("the item needs a name")
    values = {"name": name, "date": given.get("date", "")}
    values[how] = given.get("part", "") if how == "predicted" else given.get("weight", "")
    if not values[how]:
        raise LayupError("its weight is missing. Write it with its unit: 2 lb 13 oz")
    if how == "listed":
        values["give_or_take"] = given.get("give", "")
    if table == "moved":
        values |= {"from": given.get("arm", ""), "to": given.get("to", "")}
    else:
        values["arm"] = given.get("arm", "")
    values["note"] = given.get("note", "")
    done = {"removed": "taken out", "added": "put in", "moved": "moved"}[table]
    return f"{name} {done}", parttext.add(text, table, values)


def _rowed(text: str, form: Mapping[str, str], sheet: RefitSheet) -> tuple[str, str]:
    """One table of the file by its own form: begun, changed key by key, or taken out."""
    table, number = form.get("table", ""), whole(form.get("number", ""), -1)
    if table not in SETUP:
        raise LayupError("that is no table this page knows")
    title, one, _, _ = SETUP[table]
    steps: parttext.Key = tuple(table.split(".")) if table else ()
    many = bool(one) or table in ("removed", "added", "moved")
    if form.get("do") == "drop" and many:
        return f"{one or 'item'} {number + 1} taken out", parttext.drop(text, table, number)
    given = {
        key.removeprefix("row."): decimal_point(value.strip()) for key, value in form.items() if key.startswith("row.")
    }
    now = {key: shown for key, _, shown, _ in row_fields(sheet, table, written(sheet, table, max(number, 0)))}
    if number < 0:
        now = dict.fromkeys(given, "")
    changed = {key: value for key, value in given.items() if value != now.get(key, "").strip()}
    aboard = {key: value for key, value in given.items() if key.startswith("aboard.") and value}
    values = {key: _row_value(table, key, value) for key, value in changed.items() if not key.startswith("aboard.")}
    if any(key.startswith("aboard.") for key in changed) or (table == "load" and number < 0):
        pairs = (f"{json.dumps(key.removeprefix('aboard.'))} = {json.dumps(v)}" for key, v in aboard.items())
        values["aboard"] = "{ " + ", ".join(pairs) + " }"
    if not values:
        raise LayupError("nothing was changed there")
    name = given.get("name") or given.get("at") or ""
    if many and number < 0:
        if not name:
            raise LayupError(f"the {one} needs a name")
        behind = None if number == NEW else NEW - number - 1  # of a piece: in which consolidation
        return f"{one} {name} added", parttext.add(text, table, values, behind)
    for key, value in values.items():
        text = parttext.put(text, (*steps, *((number,) if many else ()), key), value)
    return f"{title.lower()}{' ' + name if name else ''}: {', '.join(key.replace('_', ' ') for key in values)}"[
        :160
    ], text


def written(sheet: RefitSheet, table: str, number: int) -> dict[str, object]:
    """A table as it stands; of several, one of them."""
    held = sheet.data if not table else sheet.data.get(table)
    listed = [held] if isinstance(held, dict) else sheet.entries(table)
    return listed[number] if number < len(listed) else {}


def _row_value(table: str, key: str, text: str) -> str:
    r"""What a field says, as the file has it: rows and lists in brackets.

    >>> _row_value("limits", "aft", "1150 lb at 83 in\n1450 lb: 85 in"), _row_value("candidate", "needs", "a, b")
    ('[["1150 lb", "83 in"], ["1450 lb", "85 in"]]', '["a", "b"]')
    """
    if (table, key) in ROWS and (rows := [line for line in text.splitlines() if line.strip()]):
        pairs = [re.split(r"\s+at\s+|\s*:\s*", row.strip()) for row in rows]
        if len(pairs) > 1 or len(pairs[0]) > 1:
            return json.dumps(pairs, ensure_ascii=False)
    if key in ("needs", "instead_of"):
        names = [name.strip() for name in text.split(",") if name.strip()]
        return json.dumps(names, ensure_ascii=False) if names else ""
    return text


def _weighing(text: str, form: Mapping[str, str], sheet: RefitSheet) -> tuple[str, str]:
    """The first or the final weighing, key by key; what was not changed stays as it is written."""
    given = {field: value.strip() for field, value in form.items() if WEIGHED.fullmatch(field)}
    tables = {field.split(".")[0] for field in given}
    if len(tables) != 1:
        raise LayupError("that is no weighing this page knows")
    name = {"start": "first weighing", "final": "final weighing"}[next(iter(tables))]
    if tables == {"final"} and "final" not in sheet.data:
        return _last_weighing(text, given)
    said = []
    for field, value in given.items():
        key = tuple(int(step) if step.isdigit() else step for step in field.split("."))
        if value != sheet.value(*key):
            text = parttext.put(text, key, value)
            said.append(f"{key[-1]} {value or 'taken out'}")
    if not said:
        raise LayupError(f"nothing of the {name} was changed")
    return (f"{name}: " + ", ".join(said))[:160], text


def _last_weighing(text: str, given: Mapping[str, str]) -> tuple[str, str]:
    """A final weighing that was not in the file, scale by scale."""
    text = parttext.add(text, "final", {key: given.get(f"final.{key}", "") for key in ("date", "by", "method")})
    rows = 0
    while f"final.scale.{rows}.reading" in given:
        wheel = {key: given.get(f"final.scale.{rows}.{key}", "") for key in ("at", "reading", "tare", "arm")}
        if not wheel["reading"]:
            raise LayupError(f"the reading of scale {rows + 1} is missing. Write what it shows, with its unit")
        text = parttext.add(text, "final.scale", wheel)
        rows += 1
    return f"final weighing on {rows} scales", text


def _targeted(text: str, form: Mapping[str, str], sheet: RefitSheet) -> tuple[str, str]:
    """What is to come out in all."""
    saving = form.get("target.saving", "").strip()
    if not saving:
        raise LayupError("write how much is to come out: 24 lb")
    if sheet.value("target", "empty"):
        text = parttext.put(text, ("target", "empty"), "")
    return f"target {saving}", parttext.put(text, ("target", "saving"), saving)


def undo(asked: Asked) -> Response:
    """Take the last change of the file back."""
    return go("/refit", file=asked.file, said=f"taken back: {asked.desk.undo(asked.file)}")


def redo(asked: Asked) -> Response:
    """Make it again."""
    return go("/refit", file=asked.file, said=f"made again: {asked.desk.undo(asked.file, again=True)}")


def find_next(asked: Asked) -> Response:
    """Look for the set of parts that reaches the target, beside the page."""
    return answer(asked, _find_next)


def _find_next(asked: Asked, sheet: RefitSheet) -> Said:
    from layup.refit.envelope import envelope_of
    from layup.refit.screen import need_of

    least = asked.form.get("least", "cost")
    if least not in dict(LEAST):
        raise LayupError("say what is to be least: money or hours")
    with opened(asked, sheet) as (job, ledger, _, _):
        need = need_of(job.refit, ledger)
        if need is None or not job.candidates:
            raise LayupError("it takes a target, and candidates in the refit file")
        loads = [case.sum for case in job.loads]
        within = {"loads": loads, "envelope": envelope_of(job.refit.limits)}
        about = about_next(sheet, job, ledger, least)
        asked.bench.works.start(about, find_set, job.candidates, ledger.empty, **within, need=need, objective=least)
    asked.desk.journal.type(asked.file, "refit-least", least)
    return Said()


def stop_next(asked: Asked) -> Response:
    """Stop looking."""
    asked.bench.works.stop(asked.form.get("work", ""))
    return answer(asked, lambda _asked, _sheet: Said())


def begin(asked: Asked) -> tuple[str, tuple[str, ...]]:
    """A new refit file from its first weighing.

    Returns:
        Its name; or "" and what is wrong.
    """
    given = {key.removeprefix("new."): value.strip() for key, value in asked.form.items() if key.startswith("new.")}
    title = given.get("title", "")
    if not title:
        return "", ("the refit needs a name",)
    head = {key: given.get(key, "") for key in ("title", "aircraft", "datum", "units", "by")}
    text = parttext.new_part(title, "", "", {}).split("[surface]")[0].rstrip("\n") + "\n"
    for key in ("aircraft", "datum", "units", "by"):
        text = parttext.put(text, (key,), head[key])
    start = {key: given.get(f"start.{key}", "") for key in ("date", "method", "record", "weight", "cg")}
    wheels = [
        {"at": given.get(f"scale.{n}.at", "") or name}
        | {key: given.get(f"scale.{n}.{key}", "") for key in ("reading", "tare", "arm")}
        for n, name in enumerate(WHEELS)
    ]
    wheels = [wheel for wheel in wheels if wheel["reading"]]
    text = parttext.add(text, "start", start)
    for wheel in wheels:
        text = parttext.add(text, "start.scale", wheel)
    text = parttext.add(text, "limits", {key: given.get(f"limits.{key}", "") for key in ("most", "forward", "aft")})
    if given.get("target"):
        text = parttext.add(text, "target", {"saving": given["target"]})
    path = asked.folder.free(
        "", "refit.toml" if not asked.folder.path("refit.toml").exists() else f"{slug(title)}.toml"
    )
    _job, faults = try_text(asked, path, text)
    if faults:
        return "", tuple(plainly(f"{f.place}: {f.wrong}. {f.remedy}".strip()) for f in faults)
    write_file(path, text)
    return asked.folder.name(path), ()


def find_set(
    candidates: Sequence[Candidate],
    empty: Balance,
    loads: Sequence[Balance],
    envelope: Envelope,
    need: float,
    objective: Objective,
    *,
    tell: Callable[[str], None],
) -> Choice:
    """`layup.refit.next_parts.choose`, in a process of its own."""
    tell(f"looks through every set of {len(candidates)} candidates")
    return choose(candidates, empty, loads, envelope, need, objective)


KINDS = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""Forms of a paper, and what a browser calls each."""

_drawing = threading.Lock()
"""The drawing library's settings are one for the whole program."""


def refit(asked: Asked) -> Response:
    """The page of the refit file; else of the folder's only one; else those there are, or how to begin one."""
    refits = asked.folder.refits()
    if asked.file in refits:
        return page(asked)
    if len(refits) == 1 and not asked.query.get("new"):
        return go("/refit", file=refits[0], part=asked.file, said=asked.query.get("said", ""))
    return _begin(asked)


def _begin(asked: Asked, faults: tuple[str, ...] = (), status: int = 200) -> Response:
    name = asked.file or "refit.toml"
    typed = asked.desk.journal.typed(name)
    given = {key: value for key, value in asked.form.items() if key.startswith("new.")}
    typed |= {"f-refit-" + key.replace(".", "-"): value for key, value in given.items()}
    wrong = "the refit file was not written: see below" if faults else ""
    return show(asked, "refit_new.html", status, flow="refit", faults=faults, typed=typed, keeping=name,
                wheels=WHEELS, wrong=wrong)  # fmt: skip


def new(asked: Asked) -> Response:
    """Begin a refit file."""
    name, faults = begin(asked)
    if faults:
        return _begin(asked, faults, 422)
    kept = asked.file or "refit.toml"
    for field in asked.desk.journal.typed(kept):
        if field.startswith("f-refit-new-"):
            asked.desk.journal.type(kept, field, None)
    return go("/refit", file=name, said="the refit file is written; now enter its first weighing in the ledger")


def paper(asked: Asked) -> Response:
    """The papers as a file, as `layup ledger paper` writes it."""
    from starlette.responses import Response as Plain

    from layup.learn.moments import day_of
    from layup.refit.papers import What, papers
    from layup.refit.screen import alarms
    from layup.report.document_file import document_bytes

    query = asked.query
    form, what = query.get("form", "pdf"), query.get("what", "both")
    kinds: dict[str, tuple[What, ...]] = {"both": ("change", "balance"), "change": ("change",), "balance": ("balance",)}
    if form not in KINDS or what not in kinds:
        raise LayupError("a paper is written as PDF, HTML, CSV or spreadsheet")
    sheet = refit_sheet(asked, asked.file)
    kept = sheet.kept
    with opened(asked, sheet, query.get("as_of", "")) as (job, ledger, loading, _), _drawing:
        made = papers(job, ledger, loading, alarms(loading, kept), kept, kinds[what], by=query.get("by", "")[:200],
                      method=query.get("method", "")[:200], date=day_of(query.get("date", "")),
                      drawn=form != "csv")  # fmt: skip
        data = document_bytes(made, "." + form, "Letter" if query.get("paper") == "letter" else "A4")
    name = f"{sheet.path.stem}.{form}".encode("ascii", "replace").decode().replace('"', "").replace("?", "-")
    return Plain(data, media_type=KINDS[form], headers={"content-disposition": f'attachment; filename="{name}"'})


def as_json(asked: Asked) -> Response:
    """What `layup ledger --json` gives."""
    from starlette.responses import Response as Plain

    from layup.refit.as_json import ledger_json

    with opened(asked, refit_sheet(asked, asked.file), asked.query.get("as_of", "")) as (job, ledger, loading, _):
        return Plain(ledger_json(job, ledger, loading), media_type="application/json")


ROUTES: tuple[tuple[str, str, Handler], ...] = (
    ("/refit", "GET", refit),
    ("/refit/new", "POST", new),
    ("/refit/enter", "POST", enter),
    ("/refit/weigh", "POST", weigh),
    ("/refit/take-back", "POST", take_back),
    ("/refit/edit", "POST", edit),
    ("/refit/undo", "POST", undo),
    ("/refit/redo", "POST", redo),
    ("/refit/next", "POST", find_next),
    ("/refit/next/stop", "POST", stop_next),
    ("/refit/paper", "GET", paper),
    ("/refit/json", "GET", as_json),
)
