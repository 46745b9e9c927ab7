"""The first page: the parts of the folder, and the ways to begin a new one."""

from __future__ import annotations

import os
import re
import shutil
import threading
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from layup.bench.desk import Kept, Sheet
from layup.bench.folder import DRAWINGS, PHOTOS, SURFACES
from layup.bench.journal import read
from layup.bench.rendering import span
from layup.bench.request import Asked, Handler, go, show
from layup.errors import LayupError
from layup.files.reading import Json
from layup.files.writing import SCRATCH, place, write_file
from layup.partfile.edit import new_part, put
from layup.words import mass_both

if TYPE_CHECKING:
    from starlette.responses import Response

NUMBER = r"-?[0-9]{1,9}(?:\.[0-9]{1,9})?"
_TITLE = re.compile(r'^\s*title\s*=\s*"((?:[^"\\]|\\.)*)"', re.MULTILINE)
_CARDS: Kept[Json] = Kept(600)
_PICTURES: Kept[bytes] = Kept(300)
_DRAWING = threading.Lock()


def ready() -> None:
    """What the first visit would pay for otherwise: the tables read, the templates of the shelf made."""
    from layup.bench.rendering import environment
    from layup.materials import load_library

    load_library()
    for name in ("home.html", "home_card.html"):
        environment().get_template(name)


def home(asked: Asked) -> Response:
    """The shelf: every part at once by its name; what each weighs is filled in afterwards."""
    return _page(asked)


def _page(asked: Asked, wrong: str = "") -> Response:
    """The first page; where something is wrong, with what was typed still in its fields."""
    from layup.materials import load_library

    if not wrong and not asked.folder.root.is_dir():
        wrong = (
            f'the folder "{asked.folder.root.name}" is not where it was: it was moved or renamed. Put it back, '
            "or end this page in the terminal and start it on the new one"
        )
    library = load_library()
    names = asked.folder.parts()
    weighed = [_card(asked, name) for name in names] if asked.query.get("weigh") else []
    rows = weighed or [{"name": name, "title": _title(asked, name)} for name in names]
    endings = ",".join(SURFACES + DRAWINGS + PHOTOS)
    return show(
        asked, "home.html", 422 if wrong else 200, rows=rows, endings=endings, wrong=wrong, filled=bool(weighed),
        total=_total(weighed), processes=library.names("process"), resins=library.names("resin"), given=asked.form,
    )  # fmt: skip


def _title(asked: Asked, name: str) -> str:
    """What the file calls the part, without working anything out."""
    try:
        found = _TITLE.search(read(asked.folder.path(name))[:4000])
    except LayupError:
        return name
    return found[1].replace('\\"', '"') if found else name


def card(asked: Asked) -> Response:
    """One card, filled in, and the saving of all that were filled in so far: a piece of the page."""
    from starlette.responses import HTMLResponse

    from layup.bench.rendering import environment
    from layup.bench.request import link

    names = asked.folder.parts()
    if asked.file not in names:
        raise LayupError("there is no such part in this folder any more")
    row = _card(asked, asked.file)
    known = [held for name in names if (held := _CARDS.get((asked.folder.root, name))) is not None]
    text = environment().get_template("home_card.html").render(row=row, total=_total(known), link=link, alone=True)
    return HTMLResponse(text)


def _card(asked: Asked, name: str) -> Json:
    """What a card says: weight and saving with their limits, bars, and what is to do next."""
    row: Json = {"name": name, "title": name, "mass": "", "limits": "", "saving": "", "next": "",
                           "bars": None, "saved": None, "system": "both", "state": "", "picture": False}  # fmt: skip
    try:
        sheet = asked.desk.sheet(name)
    except LayupError as error:
        return row | {"next": str(error)}
    held = _CARDS.get((asked.folder.root, name))
    if held is not None and held["state"] == sheet.state:
        return held
    row |= {"title": sheet.value("title") or name, "state": sheet.state}
    surface = sheet.prediction.job.surface if sheet.prediction is not None else sheet.surface
    row["picture"] = surface is not None and surface.has_mesh
    row["next"] = _next(asked, sheet)
    if sheet.prediction is not None:
        mass, old, system = sheet.prediction.mass, sheet.prediction.replaced, sheet.prediction.job.part.units
        row |= {"mass": mass_both(mass.mean, system), "limits": span(mass, system), "system": system}
        most = max(mass.p95, old.mass.mean if old else 0.0) / 100.0
        row["bars"] = {
            "low": mass.p05 / most,
            "high": mass.p95 / most,
            "mean": mass.mean / most,
            "old": old.mass.mean / most if old else None,
        }
        if sheet.prediction.saving is not None:
            gain = sheet.prediction.saving.mass.mean
            row["saving"] = ("saves " if gain >= 0 else "adds ") + mass_both(abs(gain), system)
            row["saved"] = gain
    return _CARDS.put((asked.folder.root, name), row)


def _next(asked: Asked, sheet: Sheet) -> str:
    """What is to be done next with a part."""
    if sheet.data and not sheet.entries("ply") and not sheet.value("stack"):
        return "Next: lay the first ply"
    if sheet.prediction is None:
        return f"Next: put {len(sheet.faults)} thing{'s' if len(sheet.faults) != 1 else ''} right"
    if sheet.prediction.replaced is None:
        return "Next: say what comes off"
    return "Next: prepare, lay up, weigh" if not _weighed(asked, sheet) else "Weighed"


def _weighed(asked: Asked, sheet: Sheet) -> bool:
    """Whether the shop's record holds a weight of the part."""
    from layup.learn.store import find_store
    from layup.learn.weighins import of_piece

    home = asked.folder.shop(sheet.path)
    store = find_store(home) if home is not None else None
    if store is None:
        return False
    with store:
        return bool(of_piece(store, sheet.value("title")))


def _total(rows: list[Json]) -> str:
    """What all parts together save."""
    gains = [row["saved"] for row in rows if row["saved"] is not None]
    if not gains:
        return ""
    systems = {row["system"] for row in rows if row["saved"] is not None}
    total = sum(gains)
    words = mass_both(abs(total), systems.pop() if len(systems) == 1 else "both")
    if len(gains) == 1:
        return f"1 part {'saves' if total >= 0 else 'adds'} {words}"
    return f"{len(gains)} parts together {'save' if total >= 0 else 'add'} {words}"


def drawn(asked: Asked) -> Response:
    """The small picture on a card."""
    from layup.bench.request import picture
    from layup.bench.thumbnail import thumbnail

    early = asked.desk.opened(asked.file)  # its weight is still being worked out
    if early is not None:
        return picture(thumbnail(early), "image/png")
    sheet = asked.desk.sheet(asked.file)
    surface = sheet.prediction.job.surface if sheet.prediction is not None else sheet.surface
    if surface is None or not surface.has_mesh:
        raise LayupError("there is no shape to draw yet")
    key = (asked.folder.root, asked.file, sheet.state)
    with _DRAWING:
        return picture(_PICTURES.get(key) or _PICTURES.put(key, thumbnail(surface)), "image/png")


def _kept(handler: Handler) -> Handler:
    """A way to begin a part: what can't be taken is said on the first page, and what was typed stays."""

    def held(asked: Asked) -> Response:
        try:
            return handler(asked)
        except LayupError as error:
            return _page(asked, asked.folder.plain(str(error)))

    return held


def begun(asked: Asked) -> Response:
    """A new part: from a file that was sent, a size that was typed, or widths or girths at stations."""
    form, sent = asked.form, asked.sent.get("surface")
    size, stations = " ".join(form.get("size", "").split()), form.get("stations", "").strip()
    if sum(bool(given) for given in (sent, size, stations)) != 1:
        one = "More than one was given" if sent or size or stations else "Nothing was given yet"
        raise LayupError(f"{one}. Drop a file, or type a size such as 24 x 36 in, or write the stations: one of them")
    if sent:
        name = str(sent.filename)
        kind = surface_form(name)
        surface = {kind: take_in(asked, "", name, sent.file).name}
        named = " ".join(re.split(r"[\W_]+", Path(name).stem)).strip().capitalize()
    elif size:
        surface = _sized(size)
        named = " x ".join(_sides(size)) if "rectangle" in surface else size
    else:
        kind = "girths" if form.get("form") == "girths" else "stations"
        surface = {kind: _stations(stations), "unit": form.get("unit", "mm")}
        named = f"Part by its {'girths' if kind == 'girths' else 'widths'}"
    return _begin(asked, surface, named)


def surface_form(name: str) -> str:
    """The key of `[surface]` that a file of this name stands under.

    Raises:
        LayupError: No such file is read.
    """
    ending = Path(name).suffix.casefold()
    if ending in (".step", ".stp"):
        return "step"
    if ending in SURFACES:
        return "mesh"
    if ending in DRAWINGS:
        return "outline"
    if ending in PHOTOS:
        return "photo"
    known = ", ".join(e.lstrip(".").upper() for e in SURFACES + DRAWINGS + PHOTOS)
    raise LayupError(f'a surface can\'t be read from "{Path(name).name}". Save it as one of {known}')


def take_in(asked: Asked, folder: str, name: str, stream: BinaryIO) -> Path:
    """Keep a file that was sent, under a free name; whole or not at all."""
    path = asked.folder.free(folder, name)
    scratch = path.with_name(f"{SCRATCH}{uuid.uuid4().hex[:12]}")
    try:
        with scratch.open("xb") as out:
            shutil.copyfileobj(stream, out, 1 << 20)
            out.flush()
            os.fsync(out.fileno())
        place(scratch, path, new=True)
    except FileExistsError:
        raise LayupError(f"another file was just kept as {path.name}. Send it again") from None
    except OSError as error:
        raise LayupError(f"{path.name} could not be kept ({error.strerror})") from None
    finally:
        scratch.unlink(missing_ok=True)
    return path


def _sized(text: str) -> dict[str, str]:
    """A size as a table of the part file: two sides, or an area."""
    if len(_parts(text)) == 1 and re.search(r"\^|²|\bsq|[a-z]2\b", text):
        _check(text, "area")
        return {"area": text}
    sides = _sides(text)
    for side in sides:
        _check(side, "side")
    return {"rectangle": f'["{sides[0]}", "{sides[1]}"]'}


def _check(text: str, kind: str) -> None:
    """The part file's own rule for a side or an area, before a part begins.

    Raises:
        LayupError: The quantity can't be read, or is out of range.
    """
    from pydantic import TypeAdapter, ValidationError

    from layup.partfile.model import Area, Side

    types: dict[str, TypeAdapter[float]] = {"side": TypeAdapter(Side), "area": TypeAdapter(Area)}
    try:
        types[kind].validate_python(text)
    except ValidationError as error:
        found = error.errors()[0]
        raise LayupError(str(found.get("ctx", {}).get("error", "")) or found["msg"]) from None


def _sides(text: str) -> tuple[str, str]:
    """What stands on both sides of an x or a "by"; a first side without a unit has that of the second.

    >>> _sides("24 x 36 in"), _sides("1 m BY 600 mm")
    (('24 in', '36 in'), ('1 m', '600 mm'))
    """
    sides = _parts(text)
    if len(sides) != 2:
        raise LayupError(f'"{text}" is no size. Write two sides with their units, 24 x 36 in, or an area, 6 ft^2')
    first, second = (side.replace('"', " in").replace("\\", "") for side in sides)
    unit = re.fullmatch(r"[\d.,/ ]*\d\s*([A-Za-z]+)", second)
    if unit and re.fullmatch(r"[\d.,/ ]*\d", first):
        first = f"{first} {unit[1]}"
    return first, second


def _parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"\bby\b|[x×*]", text, flags=re.IGNORECASE) if part.strip()]


def _stations(text: str) -> str:
    r"""Lines of two numbers as the list of a part file.

    >>> _stations("0, 200\n500; 340.5")
    '[[0, 200], [500, 340.5]]'
    """
    pairs = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        found = re.fullmatch(rf"\s*({NUMBER})(?:\s*[,;]\s*|\s+)({NUMBER})\s*", line)
        if found is None:
            raise LayupError(
                f'line {number}, "{line.strip()[:40]}", is not two plain numbers. Write the place and the measure '
                'there, both in the unit chosen below: "500, 340"'
            )
        pairs.append(f"[{found[1]}, {found[2]}]")
    if len(pairs) < 2:
        raise LayupError("at least two stations are needed, one a line")
    return "[" + ", ".join(pairs) + "]"


def _begin(asked: Asked, surface: dict[str, str], named: str) -> Response:
    """Write the part's file. Without a name of its own it is called after its file or size, a second one "... 2"."""
    title = asked.form.get("title", "").strip()
    called = slug(title or named)
    path = asked.folder.free("", f"{called}.toml")
    title = title or named + path.stem.removeprefix(called).replace("-", " ")
    write_file(path, new_part(title, asked.form.get("process", ""), asked.form.get("resin", ""), surface), new=True)
    return go("/part", file=asked.folder.name(path))


def copied(asked: Asked) -> Response:
    """A new part like another one."""
    source = asked.desk.path(asked.form.get("from", ""))
    title = asked.form.get("title", "").strip()
    if not title:
        raise LayupError("the part needs a name")
    text = put(read(source).removeprefix("\ufeff").replace("\r\n", "\n"), ("title",), title)
    folder = source.parent.relative_to(asked.folder.root).as_posix()
    path = asked.folder.free("" if folder == "." else folder, f"{slug(title)}.toml")
    write_file(path, text, new=True)
    return go("/part", file=asked.folder.name(path))


def slug(title: str) -> str:
    """A title as the name of a file.

    >>> slug("Engine-bay door, left")
    'engine-bay-door-left'
    """
    return re.sub(r"[^\w]+", "-", title.casefold()).strip("-")[:60] or "part"


def pair(asked: Asked) -> Response:
    """Let one device of the shop's own network in."""
    asked.bench.pairing.begin(asked.form.get("mode", ""))
    return go("/")


def unpair(asked: Asked) -> Response:
    """Let it in no more."""
    asked.bench.pairing.end()
    return go("/", said="nobody else is let in any more")


def paired(asked: Asked) -> Response:
    """Who is let in, for the page's own script: the code until it was typed, then the device."""
    from starlette.responses import PlainTextResponse

    state = asked.bench.pairing.state
    return PlainTextResponse(state.get("device") or state.get("code", ""))


ROUTES = (
    ("/pair/begin", "POST", _kept(pair)),
    ("/pair/end", "POST", unpair),
    ("/pair/state", "GET", paired),
    ("/", "GET", home),
    ("/card", "GET", card),
    ("/card/picture", "GET", drawn),
    ("/new", "POST", _kept(begun)),
    ("/new/copy", "POST", _kept(copied)),
)
