"""Prepare: plies on the roll, shear on the surface, pots, the bag, and the papers to print."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from layup.bench import prepare_work
from layup.bench.app import Asked, go, picture, show
from layup.bench.desk import Sheet
from layup.bench.folder import OutsideError
from layup.bench.running import Work
from layup.errors import LayupError
from layup.writing import write_file

if TYPE_CHECKING:
    from starlette.responses import Response

    from layup.prediction import Prediction

ASKS = {"people": "1", "temperature": "", "ratio": "", "pot": "", "gap": "3 mm", "edge": "5 mm", "seconds": "6",
        "rolls": "", "face_down": "", "paper": "a4"}  # fmt: skip
"""What a person may say, and what holds otherwise; it stands in the address of the page."""
KINDS = {"dxf": "image/vnd.dxf", "svg": "image/svg+xml", "pdf": "application/pdf", "html": "text/html; charset=utf-8",
         "json": "application/json"}  # fmt: skip


def prepare(asked: Asked) -> Response:
    """The page."""
    if not asked.file:
        return go("/", said="take a part first, or begin one")
    sheet = asked.desk.sheet(asked.file)
    said = {key: asked.query.get(key, usual) for key, usual in ASKS.items()}
    if sheet.prediction is None:
        return show(asked, "prepare.html", sheet=sheet, prediction=None, said_of=said, works={}, system="both")
    mixes, bag, wrong = _at_once(sheet.prediction, said)
    return show(
        asked, "prepare.html", sheet=sheet, prediction=sheet.prediction, system=sheet.prediction.job.part.units,
        said_of=said, mixes=mixes, bag=bag, wrong=wrong, kept=_kept(asked, sheet), words=_words(),
        works={what: asked.bench.works.about(_about(what, sheet, said)) for what in ("cloth", "shapes", "sheet")},
    )  # fmt: skip


def _words() -> dict[str, Any]:
    """Words the build sheet uses, so that page and paper say the same."""
    from layup.shop import sheet_tables

    names = ("grams", "clock", "tape", "one_of", "money_words", "force_words")
    return {name: getattr(sheet_tables, name) for name in names}


def _at_once(prediction: Prediction, said: dict[str, str]) -> tuple[Any, Any, str]:
    """Pots and bag, which need no waiting; or what is wrong with what was asked."""
    from layup.shop.bag import bag
    from layup.shop.batch import mixes
    from layup.units import parse, parse_ratio

    job, weighed = prediction.job, prediction.weighed
    wrong: list[str] = []
    found: Any = None
    try:
        found = mixes(
            job, weighed, people=_people(said["people"]),
            temperature=parse(said["temperature"], "temperature") if said["temperature"] else None,
            ratio=parse_ratio(said["ratio"]) if said["ratio"] else None,
            pot=parse(said["pot"], "mass") if said["pot"] else None,
        )  # fmt: skip
    except LayupError as error:
        wrong.append(str(error))
    try:
        return found, bag(job, weighed), " ".join(wrong)
    except LayupError as error:
        return found, None, " ".join([*wrong, str(error)])


def _people(text: str) -> int:
    if re.fullmatch(r"[0-9]{1,2}", text) and 1 <= int(text) <= 20:
        return int(text)
    raise LayupError(f'"{text}" pairs of hands at the mould can\'t be: write 1 to 20')


def _kept(asked: Asked, sheet: Sheet) -> bool:
    """Whether a layout of the cloth is stored beside the part."""
    from layup.shop.nest_file import path_beside

    try:
        return asked.folder.path(asked.folder.name(path_beside(sheet.path))).is_file()
    except OutsideError:  # a link out of the folder
        return False


def _about(what: str, sheet: Sheet, said: dict[str, str]) -> tuple[str, ...]:
    """What a work is about: the part as it stands, and what was asked."""
    keys = {
        "cloth": ("gap", "edge", "seconds", "rolls", "face_down"),
        "shapes": ("paper",),
        "sheet": ("people", "paper"),
    }
    return (what, sheet.name, sheet.version, *(said[key] for key in keys[what]))


def start(asked: Asked) -> Response:
    """Begin one of the works."""
    what = asked.form.get("what", "")
    said = {key: asked.form.get(key, usual) for key, usual in ASKS.items()}
    sheet = asked.desk.sheet(asked.file)
    if sheet.prediction is None:
        raise LayupError("the part has something to put right first: see its page")
    about = _about(what, sheet, said) if what in ("cloth", "shapes", "sheet") else ()
    works, part = asked.bench.works, str(sheet.path)
    if what == "cloth":
        rolls = tuple(r.strip() for r in said["rolls"].split(",") if r.strip())
        down = said["face_down"] == "on"
        works.start(about, prepare_work.cloth, part, sheet.text, said["gap"], said["edge"], _seconds(said["seconds"]),
                    rolls, down)  # fmt: skip
    elif what == "shapes":
        works.start(about, prepare_work.shapes, part, sheet.text, said["paper"])
    elif what == "sheet":
        home = asked.folder.shop(sheet.path)
        paper = "Letter" if said["paper"] == "letter" else "A4"
        works.start(about, prepare_work.sheet, part, sheet.text, _kept(asked, sheet), str(home) if home else None,
                    _people(said["people"]), paper, 0.0)  # fmt: skip
    else:
        raise LayupError("that is no work this page knows")
    return go("/prepare", file=asked.file, **{k: v for k, v in said.items() if v != ASKS[k]})


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0.0 <= seconds <= 600.0:
        raise LayupError(f'"{text}" seconds to search can\'t be: write 0 to 600')
    return seconds


def stop(asked: Asked) -> Response:
    """End a work with what it has."""
    asked.bench.works.stop(asked.form.get("work", ""))
    back = {k: v for k in ASKS if (v := asked.form.get(k, "")) and v != ASKS[k]}
    return go("/prepare", file=asked.file, **back)


def progress(asked: Asked) -> Response:
    """How far a work is, for the page's own script."""
    from starlette.responses import JSONResponse

    work = asked.bench.works.get(asked.query.get("work", ""))
    if work is None:
        return JSONResponse({"state": "failed", "words": "gone"})
    return JSONResponse({"state": work.state, "words": work.words})


def _done(asked: Asked) -> Work:
    work = asked.bench.works.get(asked.query.get("work", "") or asked.form.get("work", ""))
    if work is None or work.state != "done":
        raise LayupError("that is not there any more. Work it out again")
    return work


def drawn(asked: Asked) -> Response:
    """A picture a work made."""
    answer = _done(asked).answer
    if answer.get("svg"):
        return picture(answer["svg"], "image/svg+xml")
    return picture(answer["png"], "image/png")


def paper(asked: Asked) -> Response:
    """A file a work made, to keep or to print."""
    from starlette.responses import Response as Plain

    work = _done(asked)
    ending = asked.query.get("as", "")
    data = work.answer.get("files", {}).get(ending) or (
        work.answer.get("json", "").encode() if ending == "json" else b""
    )
    if not data:
        raise LayupError("there is no such file")
    stem = asked.folder.path(asked.file).stem.encode("ascii", "replace").decode().replace("?", "-").replace('"', "")
    name = f"{stem}-{'plies' if work.about[0] == 'shapes' else work.about[0]}.{ending}"
    quiet = {"content-disposition": f'attachment; filename="{name}"'}
    return Plain(data, media_type=KINDS[ending], headers=quiet)


def keep(asked: Asked) -> Response:
    """Store the layout beside the part, where the build sheet and `layup cut` look for it."""
    from layup.shop.nest_file import path_beside

    work = _done(asked)
    path = path_beside(asked.folder.path(asked.file))
    write_file(asked.folder.path(asked.folder.name(path)), work.answer["stored"])
    back = {k: v for k in ASKS if (v := asked.form.get(k, "")) and v != ASKS[k]}
    return go("/prepare", file=asked.file, said=f"kept as {path.name}; the build sheet shows it", **back)


ROUTES = (
    ("/prepare", "GET", prepare),
    ("/prepare/start", "POST", start),
    ("/prepare/stop", "POST", stop),
    ("/prepare/progress", "GET", progress),
    ("/prepare/picture", "GET", drawn),
    ("/prepare/paper", "GET", paper),
    ("/prepare/keep", "POST", keep),
)
