"""What the part must do and what is on the shelf, as fields of a page: read from a part file, and written into it.

- What a field shows:                    `shown_value`, `stiffness_of`, `supports_of`
- What a form says, as keys and values:  `needs_changes`, `local_changes`
- The shelf as the search takes it:      `shelf_of`, `with_shelf`

What a value means is judged by the part file's own reader; here it is only put into the form in which a file has it.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from layup.bench.desk import Sheet, as_typed, decimal_point
from layup.errors import EditError
from layup.partfile import edit

AS, TIMES, NOT = "as", "times", "no"
SIDES = ("left", "right", "bottom", "top")
HELD = (("simple", "simply supported (screwed, hinged)"), ("clamped", "clamped (bonded)"), ("free", "free"))
TEXTS = (
    "speed", "at_altitude", "of_dynamic_pressure", "pressure", "deflection", "hand_load", "hand_deflection",
    "load_factor", "criterion", "frequency", "push_x", "push_y", "pull_x", "pull_y", "shear_x",
    "shear_y", "drop_rules", "keep_rules", "in_plane_stiffness", "span", "least_plies", "most_plies", "least_skin",
    "run_at_most", "greatest_thickness", "surface_ply", "angles", "symmetric",
)  # fmt: skip
"""Keys of [needs] that are one field each."""
PAIRS = ("hand_patch", "hand_at")
"""Keys that hold two lengths."""
SECTION = (
    ("width", "Width"),
    ("height", "Height"),
    ("diameter", "Diameter"),
    ("length", "Free length"),
    ("torque", "Torque"),
    ("moment", "Bending moment"),
)
"""Measures and loads of a closed section that the part is a wall of, or the whole."""
LOCAL_TEXTS = ("zone", "most_plies", "angles", "hand_load", "hand_deflection")
JOINTS: dict[str, tuple[str, str, str, tuple[tuple[str, str, str, str], ...]]] = {
    "bolts": (
        "Bolts, screws and rivets", "row of bolts",
        "Its holes, or a pattern of old fasteners; and what each carries: in the plane, or along it.",
        (
            ("name", "Name", "hinge bolts", "hinge bolts"),
            ("fasteners", "Holes of the old fasteners", "", ""),
            ("diameter", "Or: hole diameter", "3/16 in", "5 mm"),
            ("edge", "Middle of a hole to the edge", "5/8 in", "15 mm"),
            ("pitch", "From hole to hole", "1 in", "25 mm"),
            ("load", "Each carries in the plane", "135 lbf", "600 N"),
            ("bearing_strength", "Bearing strength of the laminate (tested)", "36 ksi", "250 MPa"),
            ("pull", "Each is pulled with", "45 lbf", "200 N"),
            ("head", "Washer or head", "1/2 in", "12 mm"),
            ("through_strength", "Shear strength through the laminate (tested)", "5.8 ksi", "40 MPa"),
        ),
    ),
    "laps": (
        "Bonded laps", "bonded lap", "The laminate glued on one like it.",
        (
            ("name", "Name", "rear edge", "rear edge"),
            ("load", "Carries", "180 lbf", "800 N"),
            ("width", "Over a width of", "4 in", "100 mm"),
            ("overlap", "Overlap", "3/4 in", "20 mm"),
            ("glue", "Thickness of the glue", "0.01 in", "0.3 mm"),
            ("glue_shear_modulus", "Its shear modulus", "150 ksi", "1 GPa"),
            ("glue_modulus", "Its tensile modulus", "400 ksi", "2.8 GPa"),
            ("shear_strength", "Its shear strength (tested)", "2.2 ksi", "15 MPa"),
            ("peel_strength", "Peel strength of the laminate (tested)", "0.9 ksi", "6 MPa"),
            ("double", "Lapped on both sides", "", ""),
        ),
    ),
    "inserts": (
        "Potted inserts", "insert", "Potted into the core, and pulled across the panel.",
        (
            ("name", "Name", "latch insert", "latch insert"),
            ("pull", "Pulled with", "70 lbf", "300 N"),
            ("diameter", "Diameter of the potting", "3/4 in", "20 mm"),
        ),
    ),
}  # fmt: skip
"""Joints by kind: title, what one is called, a word on them, and their keys with label and example in either units."""
_TIMES_WORDS = " times what it replaces"


def shown_value(value: object) -> str:
    """A value of [needs] as its field shows it.

    >>> shown_value(["60 mm", "60 mm"]), shown_value([0, 45]), shown_value([["1 mm", "2 mm"], ["3 mm", "2 mm"]])
    ('60 mm, 60 mm', '0, 45', '1 mm, 2 mm; 3 mm, 2 mm')
    """
    if value is None:
        return ""
    if isinstance(value, list):
        return ("; " if any(isinstance(v, list) for v in value) else ", ").join(shown_value(v) for v in value)
    return as_typed(value)


def stiffness_of(value: object) -> tuple[str, str]:
    """Which of the three ways `stiffness` is stated, and how many times.

    >>> stiffness_of(None), stiffness_of("1.5 times what it replaces"), stiffness_of("not asked"), stiffness_of(2)
    (('as', ''), ('times', '1.5'), ('no', ''), ('times', '2'))
    """
    from pydantic import ValidationError

    from layup.partfile.needs import NOT_ASKED, Needs

    if value is None:
        return AS, ""
    try:
        times = Needs.model_validate({"stiffness": value}).stiffness
    except ValidationError:
        return TIMES, str(value).removesuffix(_TIMES_WORDS)
    if times in (NOT_ASKED, 1.0):
        return (NOT if times == NOT_ASKED else AS), ""
    return TIMES, f"{times:g}"


def supports_of(value: object) -> tuple[str, dict[str, str]]:
    """How the part is held all round, or "sides" and each side."""
    if isinstance(value, dict):
        return "sides", {side: str(value.get(side, "free")) for side in SIDES}
    return (str(value) if value else "simple"), dict.fromkeys(SIDES, "simple")


def by_field(now: Mapping[str, object]) -> dict[str, object]:
    """[needs] under the names of the fields, whichever of its two names the file has for a key.

    >>> by_field({"minimum_plies": 2, "span": "9 in"})
    {'least_plies': 2, 'span': '9 in'}
    """
    from layup.partfile.needs import TRADE_KEYS

    return {TRADE_KEYS.get(key, key): value for key, value in now.items()}


def _by_file(now: Mapping[str, object], changes: Mapping[str, str]) -> dict[str, str]:
    """Changes under the names that the file has for its keys; where it has none yet, the trade's."""
    from layup.partfile.needs import TRADE_KEYS

    trade = {key: name for name, key in TRADE_KEYS.items()}
    return {key if key in now else trade.get(key, key): value for key, value in changes.items()}


def needs_changes(now: Mapping[str, object], form: Mapping[str, str]) -> dict[str, str]:
    """Keys of [needs] that a form changes, with their new values as a part file takes them; "" takes a key out.

    Args:
        now: [needs] as written.
        form: The fields that were sent; one that is missing changes nothing.
    """
    written, now = now, by_field(now)
    form = {key: decimal_point(v) if key in ("times", *edit.NUMBERS) else v for key, v in form.items()}
    out = {key: form[key].strip() for key in TEXTS if key in form and form[key].strip() != shown_value(now.get(key))}
    out |= {key: _pair(form[key]) for key in PAIRS if key in form and form[key].strip() != shown_value(now.get(key))}
    if "held_at" in form and form["held_at"].strip() != shown_value(now.get("held_at")):
        places = [_pair(place) for place in re.split(r"[;\n]", form["held_at"]) if place.strip()]
        out["held_at"] = "[" + ", ".join(places) + "]" if places else ""
    if "stiffness" in form:
        wanted = (form["stiffness"], form.get("times", "").strip() if form["stiffness"] == TIMES else "")
        if wanted != stiffness_of(now.get("stiffness")):
            said = {AS: "as what it replaces", NOT: "not asked", TIMES: f"{wanted[1] or '1.5'}{_TIMES_WORDS}"}
            out["stiffness"] = said.get(wanted[0], "")
    if "section" in form:
        held = now.get("section")
        before = {str(k): shown_value(v) for k, v in held.items()} if isinstance(held, dict) else {}
        typed = {key: form.get(f"section.{key}", "").strip() for key, _ in SECTION}
        new = {"shape": form["section"], **{k: v for k, v in typed.items() if v}} if form["section"] else {}
        if new != before:
            pairs = ", ".join(f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in new.items())
            out["section"] = f"{{ {pairs} }}" if new else ""
    if "supports" in form:
        sides = {side: form.get(f"supports.{side}") or "simple" for side in SIDES}
        held_by = supports_of(now.get("supports"))
        if form["supports"] == "sides":
            if held_by != ("sides", sides):
                out["supports"] = "{ " + ", ".join(f"{k} = {json.dumps(v)}" for k, v in sides.items()) + " }"
        elif form["supports"] != held_by[0]:
            out["supports"] = form["supports"]
    return _by_file(written, out)


def local_changes(now: Mapping[str, object], form: Mapping[str, str]) -> dict[str, str]:
    """The same for one table of [[needs.local]]; its fabrics are fields `fabric.NAME` that are ticked."""
    out = {k: form[k].strip() for k in LOCAL_TEXTS if k in form and form[k].strip() != shown_value(now.get(k))}
    if "hand_patch" in form and form["hand_patch"].strip() != shown_value(now.get("hand_patch")):
        out["hand_patch"] = _pair(form["hand_patch"])
    if "fabrics" in form:
        ticked = [name.removeprefix("fabric.") for name in form if name.startswith("fabric.")]
        if ticked != _names(now.get("fabrics")):
            out["fabrics"] = listed(ticked)
    return out


def joint_changes(kind: str, now: Mapping[str, object], form: Mapping[str, str]) -> dict[str, str]:
    """The same for one table of [[needs.bolts]], [[needs.laps]] or [[needs.inserts]]."""
    keys = [key for key, *_ in JOINTS[kind][3] if key in form]
    return {key: form[key].strip() for key in keys if form[key].strip() != shown_value(now.get(key))}


def lacking(kind: str, values: Mapping[str, str]) -> str:
    """What a joint still needs before it can be counted, in the page's words; "" for nothing.

    Args:
        kind: "bolts", "laps", "inserts".
        values: As typed.
    """
    from pydantic import ValidationError

    from layup.bench.labels import plain
    from layup.partfile.fields import tables
    from layup.partfile.needs import Needs

    model, called = tables(Needs)[kind][0], {key: label for key, label, *_ in JOINTS[kind][3]}
    table = tomllib.loads(edit.add("", kind, values))[kind][0]
    try:
        model.model_validate(table)
    except ValidationError as error:
        due = [called[str(e["loc"][0])] for e in error.errors() if e["type"] == "missing"]
        said = [
            ": ".join([*(called.get(str(key), str(key)) for key in e["loc"]), plain(e["msg"])])
            for e in error.errors()
            if e["type"] != "missing"
        ]
        return ". ".join([*([f"Still needed: {', '.join(due)}"] if due else []), *said])
    return ""


def _pair(text: str) -> str:
    """Two lengths as a part file has them; what is not two stays as typed, for the reader to speak of."""
    parts = [p.strip() for p in re.split(r"[,×]|\bx\b|\bby\b", text, flags=re.IGNORECASE) if p.strip()]
    return listed(parts) if len(parts) == 2 else text.strip()


def listed(names: Sequence[str]) -> str:
    """Names as a list of a part file, commas in them and all; "" for none.

    >>> listed(["carbon satin 370, 3K"])
    '["carbon satin 370, 3K"]'
    """
    return json.dumps(list(names), ensure_ascii=False) if names else ""


@dataclass(frozen=True)
class ShelfNow:
    """What the search takes from the shelf: as written, and what is left out from the part itself.

    Attributes:
        fabrics: Names.
        cores: Name and thickness as typed.
        processes: Names.
        solid: Whether a laminate without a core may be tried.
        own: Keys that are taken from the part itself.
    """

    fabrics: tuple[str, ...]
    cores: tuple[tuple[str, str], ...]
    processes: tuple[str, ...]
    solid: bool
    own: frozenset[str]


def shelf_of(sheet: Sheet) -> ShelfNow:
    """The shelf of a part file as it stands, faults or not; `layup.choosing.shelf.shelf_of` reads it the same way."""
    table = sheet.data.get("shelf")
    written = table if isinstance(table, dict) else {}
    plies = sheet.entries("ply")
    fabrics, processes = _names(written.get("fabrics")), _names(written.get("processes"))
    cores = _cores(written.get("cores"))
    own = {key for key, held in (("fabrics", fabrics), ("processes", processes)) if not held}
    if not isinstance(table, dict):
        own.add("cores")
        cores = [(str(p["core"]), as_typed(p.get("thickness", ""))) for p in plies if p.get("core")]
    if not fabrics:
        fabrics = [str(p["fabric"]) for p in plies if p.get("fabric")] or _names(sheet.data.get("fabric"))
    return ShelfNow(
        tuple(dict.fromkeys(fabrics)),
        tuple(dict.fromkeys(cores)),
        tuple(dict.fromkeys(processes or _names(sheet.data.get("process")))),
        written.get("solid") is not False,
        frozenset(own),
    )


def with_shelf(text: str, now: ShelfNow, change: Mapping[str, str]) -> str:
    """The part file with keys of [shelf] changed; a new [shelf] first gets what was taken from the part itself.

    Args:
        text: The part file.
        now: Its shelf.
        change: Keys and values as a part file takes them.
    """
    if not edit.count(text, "shelf"):
        before = {"fabrics": listed(now.fabrics), "cores": core_list(now.cores), "processes": listed(now.processes)}
        return kept_whole(text, edit.add(text, "shelf", {**before, **change}))
    new = text
    for key, value in change.items():
        new = edit.put(new, ("shelf", key), value)
    return kept_whole(text, new)


def core_list(cores: Sequence[tuple[str, str]]) -> str:
    """Cores with their thicknesses as [shelf] has them; "" for none."""
    tables = []
    for name, thick in cores:
        more = f", thickness = {json.dumps(thick, ensure_ascii=False)}" if thick else ""
        tables.append(f"{{ core = {json.dumps(name, ensure_ascii=False)}{more} }}")
    return "[" + ", ".join(tables) + "]" if tables else ""


def kept_whole(text: str, new: str) -> str:
    """The new text, unless it can't be read where the old one could.

    Raises:
        EditError: A table is written in a way that a single key can't be changed in.
    """
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return new
    try:
        tomllib.loads(new)
    except tomllib.TOMLDecodeError:
        raise EditError(
            "this table is written over several tables of the file, which this page does not change. An editor does"
        ) from None
    return new


def _names(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    return [v for v in value if isinstance(v, str)] if isinstance(value, list) else []


def _cores(value: object) -> list[tuple[str, str]]:
    listed_cores = [value] if isinstance(value, dict) else value if isinstance(value, list) else []
    return [(str(c.get("core", "")), as_typed(c.get("thickness", ""))) for c in listed_cores if isinstance(c, dict)]
