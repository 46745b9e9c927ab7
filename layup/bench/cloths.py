"""Cloths, cores and resins as the page offers them: one list to search, what is typed as a name, the shop's own rows.

The list stands once in the page, behind every field that takes a cloth. A browser searches it by the name and by the
words beside it: weight both ways, price, and what the trade calls the form.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from layup.bench.desk import Sheet
from layup.errors import LayupError

if TYPE_CHECKING:
    from layup.materials import Library, Material

TRADE = {
    "mat": "chopped strand mat CSM",
    "roving": "woven roving WR",
    "cloth": "cloth BID",
    "spread tow": "spread tow",
    "unidirectional": "UNI UD tape",
    "biaxial": "biax DB stitched",
    "veil": "tissue surfacing veil",
}
"""What shops call a form besides; common practice, no source."""
MINE = {
    "fabric": ("fibre", "form", "areal_weight", "width", "price"),
    "resin": ("density", "mix_ratio_by_weight", "pot_life", "price"),
}
"""What a cloth or a resin of the shop's own is asked for."""
NEEDED = {"fabric": ("fibre", "form", "areal_weight"), "resin": ("density",)}
"""Of these, what it can't do without."""
HINTS = {
    "areal_weight": "200 g/m^2 or 5.9 oz/yd^2",
    "width": "1.27 m",
    "price": "38 EUR/m^2",
    "density": "1.15 g/cm^3",
    "mix_ratio_by_weight": "100:30",
    "pot_life": "30 min at 25 degC for 100 g",
}
LABELS = {
    "fibre": "Fibre",
    "form": "Form",
    "areal_weight": "Weight by the area",
    "width": "Width of the roll",
    "price": "Price",
    "density": "Density, cured",
    "mix_ratio_by_weight": "Resin to hardener by weight, from the can",
    "pot_life": "Pot life, from its sheet",
}
_TONES = ("carbon", "glass", "aramid")


def offered(library: Library, sheet: Sheet) -> list[tuple[str, str]]:
    """Every cloth and core, and the words beside it: of this part first, then the shop's own, then all others."""
    laid = [str(e.get("fabric") or e.get("core")) for e in sheet.entries("ply")]
    recent = list(dict.fromkeys(reversed(laid)))
    found = [(name, "fabric") for name in library.names("fabric")] + [(name, "core") for name in library.names("core")]
    order = {name: number for number, name in enumerate(recent)}

    def rank(one: tuple[str, str]) -> tuple[int, int]:
        name, kind = one
        if name in order:
            return 0, order[name]
        return (1 if _own(library.get(kind, name)) else 2 if kind == "fabric" else 3), 0

    return [(name, _words(library.get(kind, name), kind)) for name, kind in sorted(found, key=rank)]


def _own(material: Material) -> bool:
    return any(row.shop for row in material.rows if row.property != "price")


def _words(material: Material, kind: str) -> str:
    from layup.words import areal_weight_words

    words = ["yours" if _own(material) else "", "core" if kind == "core" else ""]
    weight = material.optional("areal_weight")
    if kind == "fabric" and weight is not None:
        words.append(areal_weight_words(weight.value, "both"))
        words.append(TRADE.get(material.word("form") or "", material.word("form") or ""))
    price = material.optional("price")
    return ", ".join(word for word in (*words, price.printed if price else "") if word)


def resolved(library: Library, typed: str) -> tuple[str, str]:
    """What was typed into a field for a cloth: its kind, "fabric" or "core", and its name in the tables.

    Raises:
        LayupError: Nothing, or several things, are called so; the nearest are named.
    """
    name = " ".join(typed.split())
    for kind in ("fabric", "core"):
        found = library.find(kind, name)
        if found is not None:
            return kind, found.name
    plain = name.casefold()
    hits = [
        (kind, one)
        for kind in ("fabric", "core")
        for one in library.names(kind)
        if all(word in f"{one} {_words(library.get(kind, one), kind)}".casefold() for word in plain.split())
    ]
    if name and len(hits) == 1:
        return hits[0]
    if name and hits:
        raise LayupError(
            f'"{name}" can be {", ".join(one for _, one in hits[:6])}{" ..." if len(hits) > 6 else ""}. Choose one'
        )
    if not name:
        raise LayupError("say which cloth: type a part of its name, its weight or its trade name, and choose it")
    library.get("fabric", name)  # says what is nearest
    raise LayupError(f'no cloth or core is called "{name}"')


@dataclass(frozen=True)
class Sign:
    """How a ply is drawn in the section.

    Attributes:
        form: Of the cloth, or "core".
        tone: carbon, glass, aramid, core or other.
        angle: Of its warp; None where it has none or it can't be read. [deg]
        high: Of its bar. [px]
        wide: Share of the surface it covers, 0 to 1. [-]
    """

    form: str
    tone: str
    angle: float | None
    high: float
    wide: float


def signs_of(sheet: Sheet, library: Library, layers: list[tuple[object, int]]) -> list[Sign]:
    """The section through the layup, entry by entry.

    Args:
        sheet: The part.
        library: Of its materials.
        layers: For each entry the first layer it makes, and how many, as the page has them.
    """
    whole = sheet.prediction.area if sheet.prediction is not None else 0.0
    made = []
    for number, entry in enumerate(sheet.entries("ply")):
        layer, count = layers[number] if number < len(layers) else (None, 1)
        thick = float(getattr(layer, "thickness", 0.0)) * count
        wide = min(float(getattr(layer, "area", whole)) / whole, 1.0) if whole else 1.0
        core = "core" in entry
        material = library.find("core" if core else "fabric", str(entry.get("core") or entry.get("fabric") or ""))
        form = "core" if core else (material.word("form") or "cloth") if material is not None else "?"
        fibre = (material.word("fibre") or "") if material is not None and not core else ""
        tone = "core" if core else next((name for name in _TONES if name in fibre), "other")
        angle = None if core or form in ("mat", "veil") else _angle(entry.get("angle", 0))
        made.append(Sign(form, tone, angle, min(max(thick * 1e3 * 9.0, 4.0), 34.0), max(wide, 0.08)))
    return made


def _angle(value: object) -> float | None:
    text = str(value).strip().removesuffix("deg").strip()
    return float(text) if re.fullmatch(r"[-+]?[0-9]{1,3}(\.[0-9]{1,6})?", text) else None


def own_rows(kind: str, name: str, given: dict[str, str]) -> list[tuple[str, str, str, str, str, str]]:
    """Rows of a shop's table for a cloth or a resin of its own.

    Args:
        kind: "fabric" or "resin".
        name: As it will be called.
        given: Its properties as typed.

    Raises:
        LayupError: Something that is needed is missing, all of it named.
    """
    lacking = [*([] if name else ["Name"]), *(LABELS[key] for key in NEEDED[kind] if not given.get(key))]
    if lacking:
        raise LayupError(f"nothing was written yet. Still needed: {', '.join(lacking)}")
    told = [("type", kind), *((key, given[key]) for key in MINE[kind] if given.get(key))]
    return [(name, key, value, "measured", "shop", "typed on the bench page") for key, value in told]


def with_rows(text: str, rows: list[tuple[str, str, str, str, str, str]]) -> str:
    """A shop's table with rows added at its end; a new table begins with its head."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    if not text.strip():
        writer.writerow(("material", "property", "value", "kind", "source", "at"))
        text = ""
    for row in rows:
        writer.writerow(row)
    return text + ("" if not text or text.endswith("\n") else "\n") + out.getvalue()


def table_of(sheet: Sheet) -> Path:
    """The shop's table that the part names first; shop.csv beside it where it names none."""
    named = sheet.data.get("materials")
    first = named[0] if isinstance(named, list) and named and isinstance(named[0], str) else "shop.csv"
    return sheet.path.parent / first
