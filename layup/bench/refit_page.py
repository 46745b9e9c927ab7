"""The refit: what is out, where it balances, what to do next, and the papers for it."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from layup.bench import refit_acts
from layup.bench.refit_acts import WHEELS
from layup.bench.refit_desk import opened, refit_sheet
from layup.bench.refit_view import page
from layup.bench.request import Asked, Handler, go, picture, show
from layup.errors import LayupError

if TYPE_CHECKING:
    from starlette.responses import Response

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
    name, faults = refit_acts.begin(asked)
    if faults:
        return _begin(asked, faults, 422)
    kept = asked.file or "refit.toml"
    for field in asked.desk.journal.typed(kept):
        if field.startswith("f-refit-new-"):
            asked.desk.journal.type(kept, field, None)
    return go("/refit", file=name, said="the refit file is written; now enter its first weighing in the ledger")


def envelope(asked: Asked) -> Response:
    """The load cases against the limits, drawn."""
    from layup.refit.envelope_picture import envelope_image

    sheet = refit_sheet(asked, asked.file)
    form = "png" if asked.path.endswith(".png") else "svg"
    with opened(asked, sheet, asked.query.get("as_of", "")) as (_, ledger, loading, _):
        if loading is None:
            raise LayupError("there is no load case to draw: add a [[load]] table to the refit file")
        with _drawing:
            data = envelope_image(ledger, loading, sheet.kept, form)
    return picture(data, "image/png" if form == "png" else "image/svg+xml")


def paper(asked: Asked) -> Response:
    """The papers as a file, as `layup ledger paper` writes it."""
    from starlette.responses import Response as Plain

    from layup.learn.moments import day_of
    from layup.refit.papers import What, papers
    from layup.refit.screen import alarms
    from layup.refit.write_papers import paper_bytes

    query = asked.query
    form, what = query.get("form", "pdf"), query.get("what", "both")
    kinds: dict[str, tuple[What, ...]] = {"both": ("change", "balance"), "change": ("change",), "balance": ("balance",)}
    if form not in KINDS or what not in kinds:
        raise LayupError("a paper is written as PDF, HTML, CSV or spreadsheet")
    sheet = refit_sheet(asked, asked.file)
    kept = sheet.kept
    with opened(asked, sheet, query.get("as_of", "")) as (job, ledger, loading, _):
        made = papers(job, ledger, loading, alarms(loading, kept), kept, kinds[what], by=query.get("by", "")[:200],
                      method=query.get("method", "")[:200], date=day_of(query.get("date", "")))  # fmt: skip
        with _drawing:
            data = paper_bytes(made, ledger, loading, kept, "." + form)
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
    ("/refit/enter", "POST", refit_acts.enter),
    ("/refit/weigh", "POST", refit_acts.weigh),
    ("/refit/take-back", "POST", refit_acts.take_back),
    ("/refit/edit", "POST", refit_acts.edit),
    ("/refit/undo", "POST", refit_acts.undo),
    ("/refit/redo", "POST", refit_acts.redo),
    ("/refit/next", "POST", refit_acts.find_next),
    ("/refit/next/stop", "POST", refit_acts.stop_next),
    ("/refit/envelope.svg", "GET", envelope),
    ("/refit/envelope.png", "GET", envelope),
    ("/refit/paper", "GET", paper),
    ("/refit/json", "GET", as_json),
)
