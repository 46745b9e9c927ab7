"""Prepare: flat patterns, plies on the roll, resin batches, the bag, and the papers to print."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, cast

from layup.bench import prepare_work
from layup.bench.desk import Sheet
from layup.bench.request import Asked, go, picture, show
from layup.bench.running import Work
from layup.errors import LayupError, OutsideError
from layup.files.writing import write_file
from layup.report.document import Block, Words

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.responses import Response

    from layup.weight.prediction import Prediction

ASKS = {"paper": "a4", "gap": "3 mm", "edge": "5 mm", "seconds": "6", "rolls": "", "face_down": "", "people": "1",
        "temperature": "", "ratio": "", "pot": ""}  # fmt: skip
"""What a person may say, and what holds otherwise. What the last press used is kept for the part."""
MIXING = ("people", "temperature", "ratio", "pot")
USES = {
    "shapes": ("paper",),
    "cloth": ("gap", "edge", "seconds", "rolls", "face_down"),
    "pots": MIXING,
    "sheet": (*MIXING, "paper"),
}
"""The cards of the page that are worked out by a button, and what each is worked out with."""
LABELS = {
    "paper": "paper", "gap": "between two pieces", "edge": "not used at each edge", "seconds": "seconds to search",
    "rolls": "rolls of another width", "face_down": "plain weaves face down", "people": "people laying up",
    "temperature": "shop and resin at", "ratio": "resin to hardener by weight", "pot": "most to mix at once",
}  # fmt: skip
"""What each is called, on its field and beside what was worked out with it."""
KINDS = {
    "dxf": "image/vnd.dxf",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "json": "application/json",
}


def prepare(asked: Asked) -> Response:
    """The page."""
    if not asked.file:
        return go("/", said="take a part first, or begin one")
    return _page(asked, asked.desk.sheet(asked.file))


def _usual(sheet: Sheet) -> dict[str, str]:
    """What the fields hold before anything is typed: the paper that lies in the printers of a shop with these units."""
    return {**ASKS, "paper": "letter" if sheet.system == "lb" else ASKS["paper"]}


def _page(asked: Asked, sheet: Sheet, refused: str = "", wrong: str = "") -> Response:
    """The page; where a press was refused, with the reason beside that button and what was typed still in its field."""
    held = asked.desk.journal.typed(asked.file)
    said = {key: asked.query.get(key, held.get(f"prepare-{key}", usual)) for key, usual in _usual(sheet).items()}
    fields = {key: held.get(f"f-prepare-{key}", value) for key, value in said.items()}
    if refused:
        fields |= {key: asked.form.get(key, "") for key in ASKS}
    status = 422 if refused else 200
    if sheet.prediction is None:
        return show(asked, "prepare.html", sheet=sheet, prediction=None, said_of=said, works={}, system="both")
    at_once, bagged, problem = _at_once(sheet.prediction, said)
    if refused == "pots":
        at_once.pop("pots", None)
    return show(
        asked, "prepare.html", status, sheet=sheet, prediction=sheet.prediction,
        system=sheet.prediction.job.part.units, said_of=said, fields=fields, at_once=at_once, bagged=bagged,
        refused=refused, reason=wrong, wrong=wrong or problem, kept=_kept(asked, sheet),
        used=lambda what: _used(what, said),
        works={what: _work_of(asked, what, sheet, said) for what in ("shapes", "cloth", "sheet")},
    )  # fmt: skip


def _work_of(asked: Asked, what: str, sheet: Sheet, said: dict[str, str]) -> dict[str, object]:
    """The newest work of a card, where it is of the part and the fields as they stand; else that it is old."""
    about = _about(what, sheet, said)
    work = asked.bench.works.about(about)
    if work is None or work.state == "failed":
        newest = asked.bench.works.newest(what, sheet.name)
        if newest is not None and newest.about != about and newest.state != "failed":
            why = "the part was changed since" if newest.about[2] != sheet.version else "other fields hold now"
            return {"now": newest if not newest.ended else None, "old": why if newest.ended else ""}
    return {"now": work, "old": ""}


def _used(what: str, said: dict[str, str]) -> str:
    """What a card was worked out with, in a line beside its result."""
    words = {"a4": "A4", "letter": "Letter", "on": "yes"}
    empty = {"temperature": "that of the printed pot life", "ratio": "none typed", "pot": "the usual"}
    return "; ".join(
        f"{LABELS[key]} {words.get(said[key], said[key]) or empty[key]}"
        for key in USES[what]
        if said[key] or key in empty
    )


def _at_once(prediction: Prediction, said: dict[str, str]) -> tuple[dict[str, tuple[Block, ...]], bool, str]:
    """Batches and bag as the papers show them, for they need no waiting; whether there is a bag; what is wrong."""
    from layup.make.bag import bag
    from layup.make.batches import mixes
    from layup.make.build_sheet_tables import bag_blocks, resin_blocks

    job, weighed, system = prediction.job, prediction.weighed, prediction.job.part.units
    wrong: list[str] = []
    found: dict[str, tuple[Block, ...]] = {}
    bagged = False
    try:
        nothing = (Words(("Nothing to mix: the resin comes in the cloth.",)),)
        found["pots"] = resin_blocks(mixes(job, weighed, **_mixing(said)), system) or nothing
    except LayupError as error:
        wrong.append(str(error))
    try:
        made = bag(job, weighed)
        bagged, found["bag"] = made.bagged, bag_blocks(made, system)
    except LayupError as error:
        wrong.append(str(error))
    return found, bagged, " ".join(wrong)


def _mixing(said: dict[str, str]) -> prepare_work.Mixing:
    """What `layup mix` is asked, read from the fields.

    Raises:
        LayupError: Fields that can't be read, each by its name.
    """
    from layup.units import parse, parse_ratio

    read = _read(
        {
            "people": lambda: _people(said["people"]),
            "temperature": lambda: parse(said["temperature"], "temperature") if said["temperature"] else None,
            "ratio": lambda: parse_ratio(said["ratio"]) if said["ratio"] else None,
            "pot": lambda: parse(said["pot"], "mass") if said["pot"] else None,
        }
    )
    return cast("prepare_work.Mixing", read)


def _read(readers: dict[str, Callable[[], object]]) -> dict[str, object]:
    """Every field read; all that can't be is said at once."""
    found, wrong = {}, []
    for key, reader in readers.items():
        try:
            found[key] = reader()
        except LayupError as error:
            wrong.append(f"{LABELS[key]}: {error}")
    if wrong:
        raise LayupError("; ".join(wrong))
    return found


def _length(text: str) -> float:
    from layup.units import parse

    length = parse(text, "length")
    if not 0.0 <= length <= 0.5:
        raise LayupError(f"{text} can't be: write 0 to 500 mm")
    return length


def _people(text: str) -> int:
    if re.fullmatch(r"[0-9]{1,2}", text) and 1 <= int(text) <= 20:
        return int(text)
    raise LayupError(f'"{text}" can\'t be: write 1 to 20')


def _kept(asked: Asked, sheet: Sheet) -> bool:
    """Whether a layout of the cloth is stored beside the part."""
    from layup.make.nest_file import path_beside

    try:
        return asked.folder.path(asked.folder.name(path_beside(sheet.path))).is_file()
    except OutsideError:  # a link out of the folder
        return False


def _about(what: str, sheet: Sheet, said: dict[str, str]) -> tuple[str, ...]:
    """What a work is about: the part as it stands, and what was asked."""
    return (what, sheet.name, sheet.version, *(said[key] for key in USES[what]))


def start(asked: Asked) -> Response:
    """A card's button: every field as it stands in the page holds from now on, and the card is worked out with them."""
    what = asked.form.get("what", "")
    sheet = asked.desk.sheet(asked.file)
    if sheet.prediction is None:
        raise LayupError("the part has something to put right first: see its page")
    if what not in USES:
        raise LayupError("that is no work this page knows")
    usual = _usual(sheet)
    said = {key: asked.form.get(key, one).strip() for key, one in usual.items()}
    try:
        _begin(asked, what, sheet, sheet.prediction, said)
    except LayupError as error:
        return _page(asked, sheet, what, asked.folder.plain(str(error)))
    journal = asked.desk.journal
    held = journal.typed(asked.file)
    for key, value in said.items():
        if value != held.get(f"prepare-{key}", usual[key]):
            journal.type(asked.file, f"prepare-{key}", value if value != usual[key] else None)
        journal.type(asked.file, f"f-prepare-{key}", None)
    return go("/prepare", file=asked.file)


def _begin(asked: Asked, what: str, sheet: Sheet, prediction: Prediction, said: dict[str, str]) -> None:
    """Read the fields a card uses, and start its work.

    Raises:
        LayupError: What is wrong with them.
    """
    from layup.make.batches import mixes
    from layup.make.rolls import check_cloths

    works, part, about = asked.bench.works, str(sheet.path), _about(what, sheet, said)
    if what == "cloth":
        rolls = tuple(r.strip() for r in said["rolls"].split(",") if r.strip())
        read = _read(
            {
                "gap": lambda: _length(said["gap"]),
                "edge": lambda: _length(said["edge"]),
                "seconds": lambda: _seconds(said["seconds"]),
                "rolls": lambda: check_cloths(rolls, [prediction.job]),
            }
        )
        asks = {"gap": said["gap"], "edge": said["edge"], "seconds": read["seconds"], "rolls": rolls}
        works.start(about, prepare_work.cloth, part, sheet.text, **asks, face_down=said["face_down"] == "on")
    elif what == "shapes":
        works.start(about, prepare_work.shapes, part, sheet.text, said["paper"])
    else:
        mixing = _mixing(said)
        mixes(prediction.job, prediction.weighed, **mixing)  # says at once what the paper would refuse
        if what == "sheet":
            home = asked.folder.shop(sheet.path)
            paper = "Letter" if said["paper"] == "letter" else "A4"
            asks = {"kept": _kept(asked, sheet), "shop": str(home) if home else None, "paper": paper}
            works.start(about, prepare_work.sheet, part, sheet.text, **asks, mixing=mixing)


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0.0 <= seconds <= 600.0:
        raise LayupError(f'"{text}" can\'t be: write 0 to 600')
    return seconds


def stop(asked: Asked) -> Response:
    """End a work with what it has."""
    asked.bench.works.stop(asked.form.get("work", ""))
    return go("/prepare", file=asked.file)


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
    if answer.get("png"):
        return picture(answer["png"], "image/png")
    raise LayupError("that work made no picture")


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
    from layup.make.nest_file import path_beside

    work = _done(asked)
    path = path_beside(asked.folder.path(asked.file))
    write_file(asked.folder.path(asked.folder.name(path)), work.answer["stored"])
    return go("/prepare", file=asked.file, said=f"kept as {path.name}; the build sheet shows it")


ROUTES = (
    ("/prepare", "GET", prepare),
    ("/prepare/start", "POST", start),
    ("/prepare/stop", "POST", stop),
    ("/prepare/progress", "GET", progress),
    ("/prepare/picture", "GET", drawn),
    ("/prepare/paper", "GET", paper),
    ("/prepare/keep", "POST", keep),
)
