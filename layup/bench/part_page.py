"""The part: its surface, its plies, what it weighs, and what the last change cost or saved."""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import TYPE_CHECKING

from markupsafe import Markup

from layup.bench import labels
from layup.bench.choose_needs import kept_whole
from layup.bench.cloths import HINTS as MINE_HINTS
from layup.bench.cloths import LABELS, MINE, TRADE, offered, own_rows, resolved, signs_of, table_of, with_rows
from layup.bench.desk import Sheet, as_typed, decimal_point, tables_of
from layup.bench.home import surface_form, take_in
from layup.bench.journal import read
from layup.bench.request import Asked, go, picture, show
from layup.errors import LayupError
from layup.materials import FORMS, HANDS
from layup.partfile import edit as parttext
from layup.weight.bars_svg import bars_svg
from layup.weight.plies import Layer
from layup.weight.screen import made_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.responses import Response

    from layup.materials import Library

HEAD = (
    ("title", "Name"),
    ("process", "Process"),
    ("resin", "Resin"),
    ("units", "Weights in"),
    ("vacuum", "Vacuum"),
    ("altitude", "Shop's altitude"),
    ("trim", "Laid up beyond the edge"),
    ("stages", "Wet plies laid in so many goes"),
    ("arm", "Arm from the datum"),
    ("mirror", "Other hand: mirrored across"),
    ("control_surface", "A control surface"),
    ("holds_person", "Holds a person"),
    ("near", "What it stands beside"),
    ("hand", "How the resin is worked"),
)
"""Keys at the top of the file, and their labels."""
HEAD_FIRST = ("process", "resin", "vacuum")
"""Of these, what stands open: it moves the weight most."""
HINTS = {
    "vacuum": "25 inHg", "altitude": "1500 ft", "trim": "25 mm", "arm": "62 in", "thickness": "6 mm",
    "weighed": "9 1/4 oz", "mass": "40 g", "each": "3.2 g", "per_length": "12 g/m", "length": "1.4 m",
    "area": "0.5 m^2", "within": "60 mm of the edge",
    "between": "x 100 mm 350 mm", "areal_weight": "80 g/m^2", "side": "outer", "unit": "mm", "warp": "1, 0, 0",
    "forward": "1, 0, 0", "up": "0, 0, 1",
    "start": "310 mm, 205 mm, 22 mm", "inside": "0, 0; 80, 0; 80, 50", "along": "0, 0, 1",
    "mould": "female", "drawn": "tool side", "covers": "openings", "diameter": "40 mm", "pitch": "80 mm",
    "first": "60 mm, 60 mm", "centre": "150 mm, 150 mm", "ring": "120 mm",
    "filler": "flox", "radius": "6 mm", "depth": "10 mm",
    "stages": "1", "gores": "8", "match": "A1: 45 mm, 17 mm",
    "bevel": "30", "resin_content": "38 %", "overlap": "25 mm", "seam": "1.4 m", "at": "120 mm, 0 mm, 0 mm",
}  # fmt: skip
"""What a field might hold."""
HINTS_LB = {
    "trim": "1 in",
    "thickness": "1/4 in",
    "mass": "1 1/2 oz",
    "each": "1/8 oz",
    "per_length": "1/8 oz/ft",
    "length": "4 ft 6 in",
    "area": "5 ft^2",
    "within": "2 1/2 in of the edge",
    "between": "x 4 in 14 in",
    "areal_weight": "2.4 oz/yd^2",
    "unit": "in",
    "start": "12 in, 8 in, 1 in",
    "diameter": "1 1/2 in",
    "pitch": "3 in",
    "first": "2 1/2 in, 2 1/2 in",
    "centre": "6 in, 6 in",
    "ring": "5 in",
    "radius": "1/4 in",
    "depth": "3/8 in",
    "overlap": "1 in",
    "seam": "4 ft 6 in",
    "at": "5 in, 0 in, 0 in",
    "match": "A1: 1 3/4 in, 5/8 in",
}
"""The same where a shop keeps pounds and inches."""
HINTS_METRIC = {"vacuum": "80 kPa", "altitude": "450 m", "arm": "1575 mm", "weighed": "262 g"}
"""The same where it keeps grams and millimetres."""
MORE = {
    "surface": ("unit", "side", "body", "fill", "face", "warp", "drape", "start", "pick", "cut", "gap", "bar",
                "bar_along", "turn", "along", "rule", "edge", "area_tolerance", "mould", "drawn", "forward", "up"),
    "holes": ("name", "diameter", "first", "pitch", "count", "columns", "rows", "staggered", "centre", "ring", "angle",
              "layer", "file", "unit", "along"),
    "fasteners": ("name", "file", "unit", "layer", "largest", "diameter", "match", "within", "rule", "edge", "pitch",
                  "margin", "along"),
    "zone": ("name", "within", "between", "inside", "along", "unit", "group", "area", "or", "and", "not"),
    "ply": ("angle", "count", "zone", "thickness", "bevel", "area", "overlap", "seam", "resin", "fibre_volume_fraction",
            "resin_content", "start", "gores", "covers"),
    "finish": ("finish", "name", "coats", "sides", "zone", "thickness", "areal_weight"),
    "extra": ("name", "weighed", "mass", "each", "count", "per_length", "length", "filler", "radius", "depth",
              "thickness", "at"),
    "replaces": ("name", "sheet", "thickness", "fabric", "resin", "process", "core", "covering", "finish", "coats",
                 "areal_weight", "weighed", "mass", "each", "count", "per_length", "length", "area", "times", "arm"),
    "made": ("process", "weighed", "name"),
}  # fmt: skip
"""Keys an entry of each table may have."""
CHOICES = {
    "process": "process",
    "resin": "resin",
    "sheet": "sheet",
    "fabric": "fabric",
    "core": "core",
    "covering": "covering",
    "finish": "finish",
    "filler": "finish",
}
"""Keys that name a material, and its kind."""
KINDS = {
    "replaces": (("sheet", "Sheet metal or plastic"), ("weighed", "Weighed on the scale"),
                 ("fabric", "An old laminate"), ("covering", "Fabric covering"), ("finish", "Paint, dope, filler"),
                 ("core", "A core"), ("each", "So many pieces"), ("per_length", "By the length"),
                 ("mass", "A known weight")),
    "extra": (("weighed", "Weighed on the scale"), ("mass", "A known weight"), ("each", "So many pieces"),
              ("per_length", "By the length"), ("fillet", "A fillet in a corner"),
              ("filled", "A core's edge, dug out and filled")),
    "finish": (("finish", "From the tables"), ("areal_weight", "By its measured weight")),
    "holes": (("grid", "Rows and columns"), ("row", "One row"), ("circle", "A ring of holes"),
              ("file", "A file of points or circles"), ("layer", "Circles of the drawing, on a layer"),
              ("number", "How many, where only the area is known")),
    "fasteners": (("file", "A file of measured points or circles"),),
    "zone": (("within", "Within some distance"), ("between", "A band across"), ("group", "A group of the file"),
             ("area", "Its area alone"), ("not", "All but another zone")),
    "made": (("weighed", "On the scale"),),
}  # fmt: skip
"""Ways to give an item, and what a person calls each."""
QUANTITIES = frozenset((
    "angle", "bevel", "thickness", "weighed", "mass", "each", "per_length", "length", "area", "areal_weight", "vacuum",
    "altitude", "trim", "arm", "diameter", "ring", "overlap", "seam", "resin_content", "fibre_volume_fraction",
    "gap", "fill", "edge", "within", "margin", "largest", "area_tolerance",
))  # fmt: skip
"""Keys whose value is one quantity: a comma in it can only be a decimal one."""
SELECTED = Markup(" selected")
ASKED: dict[str, dict[str, tuple[str, ...]]] = {
    "replaces": {
        "sheet": ("sheet", "thickness"), "weighed": ("weighed",), "fabric": ("fabric", "resin", "process"),
        "covering": ("covering",), "finish": ("finish", "coats"), "core": ("core", "thickness"),
        "each": ("each", "count"), "per_length": ("per_length", "length"), "mass": ("mass",),
    },
    "extra": {"weighed": ("weighed",), "mass": ("mass",), "each": ("each", "count"),
              "per_length": ("per_length", "length"), "fillet": ("filler", "radius", "length"),
              "filled": ("filler", "depth", "thickness", "length")},
    "finish": {"finish": ("finish",), "areal_weight": ("areal_weight",)},
    "holes": {"grid": ("diameter", "first", "pitch", "columns", "rows"), "row": ("diameter", "first", "pitch", "count"),
              "circle": ("diameter", "centre", "ring", "count"), "file": ("file", "unit"), "layer": ("layer",),
              "number": ("diameter", "count")},
    "fasteners": {"file": ("file", "unit")},
    "zone": {key: (key,) for key, _ in KINDS["zone"]},
    "made": {"weighed": ("process", "weighed")},
}  # fmt: skip
"""What an item of each kind is asked when it is added: a person types every figure, none is written for them."""
MAY_LACK = ("coats", "unit")
"""Of these, what may stay empty."""
TICKED: dict[str, tuple[str, ...]] = {"near": ("engine", "aerial", "fuel", "dark in the sun", "nothing"), "hand": HANDS}
"""Keys that hold any of a few words: each is a box to tick."""
STIFFENED = (("pitch", "from one to the next"), ("height", "high"), ("thickness", "thick"), ("flange", "flange"))
"""Measures of what stiffens an old sheet along x or y."""


def part(asked: Asked) -> Response:
    """The page of one part."""
    if not asked.file:
        return go("/", said="take a part first, or begin one")
    return _page(asked, asked.desk.sheet(asked.file))


def edit(asked: Asked) -> Response:
    """One edit of the part file."""
    form = asked.form
    operation, table = form.get("op", "save"), form.get("table", "")
    number = whole(form.get("number", ""), 0)
    values = {name.removeprefix("set."): value for name, value in form.items() if name.startswith("set.")}
    before = asked.desk.sheet(asked.file)
    library = asked.desk.library(before)
    values |= _gathered(form, _entry(before.data, table, number))
    if "match" in values:
        values |= _matched(values.pop("match"), _entry(before.data, table, number).get("match"))
    if "cloth" in values:  # as typed into a field that searches
        values["material"] = "|".join(resolved(library, values.pop("cloth")))
    values = {key: decimal_point(value) if key in QUANTITIES else value for key, value in values.items()}
    values = _material(values)
    patch = _patch(form, library, values.get("name", "").strip()) if (operation, table) == ("add", "zone") else None
    words = ""

    def change(text: str) -> str:
        nonlocal words
        words, new = _changed(text, operation, table, number, values, form)
        if patch:
            words, new = f"patch {values['name']} of {patch['fabric']}", parttext.add(new, "ply", patch)
        return new

    sheet = asked.desk.edit(asked.file, form.get("base", ""), lambda: words, change)
    for field in [name for name in form if name.startswith("set.")]:
        asked.desk.journal.type(asked.file, _field(table, number, field.removeprefix("set.")), None)
    return _after(asked, sheet)


def _gathered(form: Mapping[str, str], entry: Mapping[str, object]) -> dict[str, str]:
    """Keys that a form asks in several fields, with their new value: boxes to tick, and what stiffens an old sheet.

    Args:
        form: "ticks.near" and a "tick.near.WORD" for each that is ticked; "stiff.x.pitch" and so on.
        entry: The table as written; a key that stays as it is, is left out.
    """
    found: dict[str, str] = {}
    for key, words in TICKED.items():
        now = entry.get(key) or []
        ticked = [word for word in words if f"tick.{key}.{word}" in form]
        if f"ticks.{key}" in form and set(ticked) != set(now if isinstance(now, list) else [now]):
            found[key] = ", ".join(ticked)
    ribs = {way: {key: form.get(f"stiff.{way}.{key}", "").strip() for key, _ in STIFFENED} for way in "xy"}
    before = stiffeners(entry)
    if "stiff.x.pitch" in form and before is not None and ribs != before:
        used = {
            way: {k: decimal_point(v) for k, v in held.items() if v} for way, held in ribs.items() if any(held.values())
        }
        found["stiffeners"] = _lined([{"along": way, **held} for way, held in used.items()])
    return found


def stiffeners(entry: Mapping[str, object]) -> dict[str, dict[str, str]] | None:
    """What stiffens an old sheet along x and along y, field by field; None where two run the same way."""
    held = entry.get("stiffeners")
    listed = [one for one in (held if isinstance(held, list) else [held]) if isinstance(one, dict)]
    by = {str(one.get("along")): one for one in listed}
    if len(by) != len(listed):
        return None
    return {way: {key: as_typed(by.get(way, {}).get(key, "")) for key, _ in STIFFENED} for way in "xy"}


def _lined(tables: list[dict[str, str]]) -> str:
    """Tables as the file has them in one line; "" for none."""
    pairs = [", ".join(f"{key} = {json.dumps(v, ensure_ascii=False)}" for key, v in held.items()) for held in tables]
    written = [f"{{ {said} }}" for said in pairs]
    return written[0] if len(written) == 1 else f"[{', '.join(written)}]" if written else ""


def shown_match(value: object) -> str:
    r"""Points that go with others, a line each.

    >>> shown_match({"A1": ["45 mm", "17 mm"], "A2": ["45 mm", "99 mm"]}), shown_match(None)
    ('A1: 45 mm, 17 mm\nA2: 45 mm, 99 mm', '')
    """
    if not isinstance(value, dict):
        return "" if value is None else as_typed(value)
    return "\n".join(f"{name}: {as_typed(place)}" for name, place in value.items())


def _matched(text: str, now: object) -> dict[str, str]:
    r"""The same as the file has it, under its key; what can't be read stays as typed. Nothing where it is as before.

    >>> _matched("A1: 45 mm, 17 mm\nA2 at 45,5 mm, 9 mm", None)
    {'match': '{ "A1" = ["45 mm", "17 mm"], "A2" = ["45.5 mm", "9 mm"] }'}
    """
    text = "\n".join(line.strip() for line in text.splitlines() if line.strip())
    if text == shown_match(now):
        return {}
    lines = [re.fullmatch(r"(.+?)\s*(?::|=|\bat\b)\s*(.+)", line) for line in text.splitlines()]
    if not text or not all(lines):
        return {"match": text}
    places = {one[1]: [part.strip() for part in decimal_point(one[2]).split(", ")] for one in lines if one}
    pairs = (f"{json.dumps(name)} = {json.dumps(place, ensure_ascii=False)}" for name, place in places.items())
    return {"match": "{ " + ", ".join(pairs) + " }"}


def _patch(form: Mapping[str, str], library: Library, zone: str) -> dict[str, str] | None:
    """The ply that is laid on a new zone in the same step; None where none is asked for."""
    typed = form.get("patch.cloth", "").strip()
    if not typed:
        return None
    kind, name = resolved(library, typed)
    if kind != "fabric":
        raise LayupError(f"{name} is a core: make the zone, then lay the core on it, with its thickness")
    count = form.get("patch.count", "").strip()
    return {
        "fabric": name,
        "angle": form.get("patch.angle", "").strip() or "0",
        "count": "" if count == "1" else count,
        "zone": zone,
    }


def mine(asked: Asked) -> Response:
    """A cloth or a resin of the shop's own, written into its table."""
    import tempfile
    from pathlib import Path

    from layup.files.writing import replace_text, write_file
    from layup.materials import load_library

    kind, name = asked.form.get("kind", ""), " ".join(asked.form.get("name", "").split())
    if kind not in MINE:
        raise LayupError("that is nothing this page knows")
    sheet = asked.desk.sheet(asked.file)
    rows = own_rows(kind, name, {key: asked.form.get(f"own.{key}", "").strip() for key in MINE[kind]})
    if asked.desk.library(sheet).find(kind, name) is not None:
        raise LayupError(
            f'there is a {"cloth" if kind == "fabric" else kind} "{name}" already: give yours another name'
        )
    path = asked.folder.path(asked.folder.name(table_of(sheet)))
    before = read(path) if path.is_file() else ""
    after = with_rows(before, rows)
    with tempfile.TemporaryDirectory() as scratch:
        tried = Path(scratch) / path.name
        tried.write_text(after, encoding="utf-8")
        load_library([tried])  # says what is wrong with what was typed, before anything is written
    if before:
        replace_text(path, before, after)
    else:
        write_file(path, after, new=not path.exists())
    if not sheet.data.get("materials"):
        sheet = asked.desk.edit(
            asked.file,
            asked.form.get("base", ""),
            f"{path.name} named",
            lambda text: parttext.put(text, ("materials",), path.name),
        )
    return _after(asked, asked.desk.sheet(asked.file))


def whole(text: str, usual: int) -> int:
    """A number of a form; the usual one where it is none, or none that counts tables.

    >>> whole("3", 0), whole("-1", 0), whole("²", 7), whole("9" * 5000, 7)
    (3, -1, 7, 7)
    """
    return int(text) if re.fullmatch(r"-?[0-9]{1,6}", text) else usual


def _material(values: dict[str, str]) -> dict[str, str]:
    """A choice "fabric|NAME" as the two keys it sets."""
    chosen = values.pop("material", None)
    if chosen:
        kind, _, name = chosen.partition("|")
        if kind in ("fabric", "core"):
            values = {"fabric": "", "core": "", **values, kind: name}
            values |= {"angle": "", "overlap": "", "seam": ""} if kind == "core" else {"thickness": "", "bevel": ""}
    return values


def _changed(
    text: str, operation: str, table: str, number: int, values: dict[str, str], form: Mapping[str, str]
) -> tuple[str, str]:
    """The words for an edit, and the text after it."""
    name = f"{table} {number + 1}" if table and table not in ("surface", "needs", "shelf") else table
    if operation == "save":
        words, there = [], _entry(tables_of(text), table, number)
        for key, value in values.items():
            if not value.strip() and key not in there:
                continue
            new = kept_whole(text, parttext.put(text, _path(table, number, key), value))
            if new != text:
                if (table, key) == ("zone", "name"):
                    new = _renamed(text, new, number, value.strip())
                words.append(f"{labels.label(key, table).lower()} {in_words(value)}")
                text = new
        return (f"{name}: " if name else "") + ", ".join(words)[:160], text
    if operation == "add":
        what = next((v for k, v in values.items() if k in ("fabric", "core", "name") and v), "")
        after = number if form.get("number") else None
        return f"added {table} {what}".strip(), parttext.add(text, table, values, after)
    if operation == "copy":
        return f"{name} a second time", parttext.copy(text, table, number)
    if operation == "drop":
        return f"{name} taken out", parttext.drop(text, table, number)
    if operation in ("up", "down", "move"):
        wanted = form.get("to", "")
        to = number - 1 if operation == "up" else number + 1 if operation == "down" else whole(wanted, number)
        return f"{name} moved to place {max(to, 0) + 1}", parttext.move(text, table, number, to)
    raise LayupError("that is no change this page knows")


def in_words(value: str) -> str:
    """A changed value for the list of changes."""
    return value.strip("[]{} ").replace('"', "") or "taken out"


def _entry(data: dict[str, object], table: str, number: int) -> dict[str, object]:
    """One table as written."""
    held: object = data
    for step in table.split(".") if table else ():
        held = held.get(step) if isinstance(held, dict) else None
    held = held[number] if isinstance(held, list) and number < len(held) else held
    return held if isinstance(held, dict) else {}


def _renamed(before: str, after: str, number: int, name: str) -> str:
    """The text after a zone's new name, with that name where plies, finishes and other zones speak of it too."""
    tables = tables_of(before)
    zones = [z.get("name") for z in tables.get("zone", []) if isinstance(z, dict)]
    old = zones[number] if number < len(zones) else None
    if not old or not name or zones.count(old) > 1 or name in zones:
        return after
    for table, keys in (("ply", ("zone",)), ("finish", ("zone",)), ("zone", ("or", "and", "not"))):
        for at, entry in enumerate(tables.get(table, [])):
            for key in keys:
                if isinstance(entry, dict) and entry.get(key) == old:
                    after = parttext.put(after, (table, at, key), name)
    return after


def _path(table: str, number: int, key: str) -> parttext.Key:
    if not table:
        return (key,)
    steps = tuple(table.split("."))
    if table in ("surface", "needs", "shelf"):
        return (*steps, key)
    return (*steps, number, key)


def add_item(asked: Asked) -> Response:
    """A new item of the old part, a fitting or a finish, with what its kind needs to be counted."""
    table, kind = asked.form.get("table", ""), asked.form.get("kind", "")
    if table not in KINDS or kind not in dict(KINDS[table]):
        raise LayupError("that is no item this page knows")
    name = asked.form.get("name", "").strip()
    given = {key: asked.form.get(f"set.{kind}.{key}", "").strip() for key in ASKED[table][kind]}
    given = {key: decimal_point(value) if key in QUANTITIES else value for key, value in given.items()}
    if given.get("fabric"):  # as typed into a field that searches
        given["fabric"] = resolved(asked.desk.library(asked.desk.sheet(asked.file)), given["fabric"])[1]
    lacking = [key for key, value in given.items() if not value and key not in MAY_LACK]
    if not name or lacking:
        wanted = [*([] if name else ["Name"]), *(labels.label(key, table) for key in lacking)]
        raise LayupError(f"nothing was added yet. Still needed: {', '.join(wanted)}")
    values = {"name": name, **given}
    sheet = asked.desk.edit(
        asked.file, asked.form.get("base", ""), f"added {name}", lambda text: parttext.add(text, table, values)
    )
    return _after(asked, sheet)


def process(asked: Asked) -> Response:
    """Another process, by its button. A vacuum goes out with a process that has no bag, as the comparison has it."""
    name = asked.form.get("process", "")
    library = asked.desk.library(asked.desk.sheet(asked.file))
    if name not in library.names("process"):
        raise LayupError("that is no process of the tables")
    bagged = library.get("process", name).word("bag") is not None
    words = f"process {name}"

    def change(text: str) -> str:
        nonlocal words
        new = parttext.put(text, ("process",), name)
        if not bagged and "vacuum" in tables_of(text):
            words += ", without its vacuum"
            new = parttext.put(new, ("vacuum",), "")
        return new

    return _after(asked, asked.desk.edit(asked.file, asked.form.get("base", ""), lambda: words, change))


def write_out(asked: Asked) -> Response:
    """The stack at the top of the file as one table a ply."""
    sheet = asked.desk.sheet(asked.file)
    if sheet.prediction is None:
        raise LayupError("put right what is wrong first; then the stack can be written out")
    plies = [(str(e.fabric), e.angle) for e in sheet.prediction.job.part.plies()]
    sheet = asked.desk.edit(
        asked.file,
        asked.form.get("base", ""),
        "stack written out as plies",
        lambda text: parttext.write_out(text, plies),
    )
    return _after(asked, sheet)


def undo(asked: Asked) -> Response:
    """Take the last change back."""
    done = asked.desk.undo(asked.file)
    return go(_flow(asked), file=asked.file, said=f"undone: {done}")


def _flow(asked: Asked) -> str:
    """The page of the part that a form stood on."""
    flow = asked.form.get("flow", "")
    return f"/{flow}" if flow in ("choose", "prepare", "weigh") else "/part"


def redo(asked: Asked) -> Response:
    """Make it again."""
    done = asked.desk.undo(asked.file, again=True)
    return go(_flow(asked), file=asked.file, said=f"made again: {done}")


def typed(asked: Asked) -> Response:
    """Keep what is being typed, so that a crash does not lose it."""
    from starlette.responses import Response as Plain

    asked.folder.path(asked.file)
    field, text = asked.form.get("field", "")[:120], asked.form.get("text", "")[:4000]
    asked.desk.journal.type(asked.file, field, text if asked.form.get("keep") else None)
    return Plain(status_code=204)


def version(asked: Asked) -> Response:
    """Version of the part file, and of all its weight rests on: a page sees what another window or program did."""
    from starlette.responses import PlainTextResponse

    sheet = asked.desk.sheet(asked.file)
    return PlainTextResponse(f"{sheet.version} {sheet.state}")


def reading(asked: Asked) -> Response:
    """How far the first reading of a large surface is, for the page that waits for it."""
    from starlette.responses import JSONResponse

    words = asked.desk.reading(asked.file)
    opened = asked.desk.opened(asked.file) is not None
    return JSONResponse({"state": "running" if words else "done", "words": words, "picture": opened})


def new_surface(asked: Asked) -> Response:
    """Another surface for the part, from a file that was sent."""
    sent = asked.sent.get("surface")
    if sent is None:
        raise LayupError("no file came with it. Choose the file, and send it again")
    form = surface_form(str(sent.filename))
    folder = asked.folder.path(asked.file).parent.relative_to(asked.folder.root).as_posix()
    taken = take_in(asked, "" if folder == "." else folder, str(sent.filename), sent.file)

    def change(text: str) -> str:
        if parttext.count(text, "surface"):
            text = parttext.drop(text, "surface", 0)
        return parttext.add(text, "surface", {form: taken.name})

    asked.desk.edit(asked.file, asked.form.get("base", ""), f"surface from {taken.name}", change)
    return go("/part", file=asked.file)


def plan(asked: Asked) -> Response:
    """The plan with its holes, and old fasteners over it, as `layup holes --picture` draws it."""
    import tempfile
    from pathlib import Path

    from layup.report.holes import draw_holes

    sheet = asked.desk.sheet(asked.file)
    if sheet.prediction is None:
        raise LayupError("the part has something to put right first")
    with tempfile.TemporaryDirectory() as scratch:
        drawn = Path(scratch) / "plan.svg"
        draw_holes(sheet.prediction.job, drawn)
        return picture(drawn.read_bytes(), "image/svg+xml")


def as_json(asked: Asked) -> Response:
    """What `layup predict --json` gives."""
    from starlette.responses import Response as Plain

    from layup.weight.as_json import json_text

    sheet = asked.desk.sheet(asked.file)
    if sheet.prediction is None:
        raise LayupError("; ".join(str(f) for f in sheet.faults))
    return Plain(json_text(sheet.prediction), media_type="application/json")


def _after(asked: Asked, sheet: Sheet) -> Response:
    """The page again: at once for the page's own script, by way of a redirect for a plain form."""
    if asked.form.get("script"):
        return _page(asked, sheet)
    return go("/part", file=asked.file)


def _page(asked: Asked, sheet: Sheet) -> Response:

    prediction = sheet.prediction
    library = asked.desk.library(sheet)
    layers = _layers(sheet)
    system = sheet.system
    return show(
        asked, "part.html", sheet=sheet, prediction=prediction, system=system, head=HEAD,
        head_first=HEAD_FIRST, where_rows=made_of, more=MORE, kinds=KINDS, asked_of=ASKED, may_lack=MAY_LACK,
        bars=bars_svg(prediction, system) if prediction else "", names=_names(library, sheet),
        choices=CHOICES, hints=HINTS | {"lb": HINTS_LB, "metric": HINTS_METRIC}.get(system, {}), layers=layers,
        ticked=TICKED, stiffened=STIFFENED, stiffeners=stiffeners, shown_match=shown_match,
        signs=signs_of(sheet, library, list(layers)),
        cloths=offered(library, sheet), angle_words=_angle_words(sheet),
        mould_asked=_mould_asked(sheet), mine=MINE, mine_labels=LABELS,
        mine_hints=MINE_HINTS, forms=FORMS, trade=TRADE, own_table=table_of(sheet).name,
        typed=asked.desk.journal.typed(asked.file), field=_field,
        as_typed=as_typed, options=options, open_faults=_open_faults(sheet), surface=sheet.surface, asks=_asks(sheet),
        zones=[str(e.get("name", "")) for e in sheet.entries("zone")], label=labels.label, plain=labels.plain,
    )  # fmt: skip


def _names(library: Library, sheet: Sheet) -> dict[str, tuple[str, ...]]:
    """Materials by kind; "near" are the cloths laid in this part, which lists begin with, "far" all others."""
    kinds = ("process", "resin", "fabric", "core", "sheet", "covering", "finish", "fibre")
    names = {kind: library.names(kind) for kind in kinds}
    laid = {str(e.get("fabric")) for e in sheet.entries("ply")}
    near = tuple(name for name in names["fabric"] if name in laid)
    return {**names, "near": near, "far": tuple(name for name in names["fabric"] if name not in laid)}


@lru_cache(512)
def options(names: tuple[str, ...], chosen: str = "", kind: str = "") -> Markup:
    """The options of a choice; with a kind, each value is "kind|name"."""
    head = f"{kind}|" if kind else ""
    made = (
        Markup('<option value="{}"{}>{}</option>').format(head + n, SELECTED if n == chosen else "", n) for n in names
    )
    return Markup("").join(made)


def _field(table: str, number: int, key: str) -> str:
    """The id of a field of the page."""
    return f"f-{table.replace('.', '-') or 'head'}-{number}-{key}"


def _layers(sheet: Sheet) -> list[tuple[Layer, int]]:
    """For each ply of the file, the first layer it makes, and how many of it."""
    if sheet.prediction is None:
        return []
    layers = {layer.number: layer for layer in sheet.prediction.weighed.layers}
    found: list[tuple[Layer, int]] = []
    number = 1
    for entry in sheet.prediction.job.part.plies():
        if number in layers:
            found.append((layers[number], entry.count))
        number += entry.count
    return found


def _angle_words(sheet: Sheet) -> tuple[str, ...]:
    """From which side + is seen; where the mould side is not said, the question."""
    from layup.sides.mould import seen

    surface = sheet.prediction.job.surface if sheet.prediction is not None else sheet.surface
    if surface is None or not surface.has_mesh:
        return ()
    try:
        return seen(surface, sheet.value("surface", "mould") or None).sentences
    except LayupError:
        return ()


def _mould_asked(sheet: Sheet) -> tuple[tuple[str, str], ...]:
    """Where the mould side is not said, the ways to say it: what goes under `mould`, and the words of its button."""
    from layup.sides.mould import seen, ways

    surface = sheet.prediction.job.surface if sheet.prediction is not None else sheet.surface
    if surface is None or not surface.has_mesh or sheet.value("surface", "mould") or seen(surface, None).known:
        return ()
    return ways(surface)


def _open_faults(sheet: Sheet) -> list[tuple[str, str]]:
    """Faults as a page says them: where, and what to do."""
    return [
        (labels.place(f.place) or (f"line {f.line}" if f.line else ""), labels.plain(f"{f.wrong}. {f.remedy}".strip()))
        for f in sheet.faults
    ]


def _asks(sheet: Sheet) -> str:
    """What the surface waits for: its "unit", its "side", or "" for nothing."""
    if sheet.surface is not None:
        return ""
    for fault in sheet.faults:
        if fault.place.startswith(("surface", "mesh", "step", "outline")):
            if "no unit" in fault.wrong:
                return "unit"
            if 'side = "' in f"{fault.wrong} {fault.remedy}":
                return "side"
    return ""


ROUTES = (
    ("/part", "GET", part),
    ("/part/edit", "POST", edit),
    ("/part/add-item", "POST", add_item),
    ("/part/process", "POST", process),
    ("/part/mine", "POST", mine),
    ("/part/write-out", "POST", write_out),
    ("/part/undo", "POST", undo),
    ("/part/redo", "POST", redo),
    ("/part/typed", "POST", typed),
    ("/part/version", "GET", version),
    ("/part/reading", "GET", reading),
    ("/part/file", "POST", new_surface),
    ("/part/plan", "GET", plan),
    ("/part/json", "GET", as_json),
)
