"""The material library: the tables in `materials/`, with the shop's own tables laid over them.

A table is tidy: one row is one printed figure (`material, property, value, kind, source, at`). Where several rows give
one property, the first row is the one used and the others stand beside it as what else is published; a shop's rows
come before the library's. Rows are read when the library is loaded; a number is parsed when it is asked for.
"""

from __future__ import annotations

import csv
import errno
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

from layup.errors import Fault, FaultsError, LayupError, MissingFigureError, UnitError, nearest
from layup.sources import Figure, Source, read_sources
from layup.units import parse, parse_price, parse_ratio

if TYPE_CHECKING:
    import pandas as pd

LARGEST = 50_000_000
"""A table with more is not one a person wrote. [bytes]"""
LONGEST = 100_000
"""A line of a table; the reader of tables itself fails at a cell of 131,072. [-]"""
COLUMNS = ("material", "property", "value", "kind", "source", "at")
_RANGE = re.compile(r"^\s*([-+0-9.,eE]+)\s+to\s+([-+0-9.,eE]+)(.*)$")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table; `property` carries its form in brackets where it has one."""

    material: str
    property: str
    value: str
    kind: str
    source: str
    at: str
    file: str
    line: int
    shop: bool = False


@dataclass(frozen=True, slots=True)
class Material:
    """One material: its name, its kind (fibre, fabric, resin, ...) and its rows, the first of a property being used."""

    name: str
    kind: str
    rows: tuple[Row, ...]

    def rows_of(self, name: str, form: str | None = None) -> tuple[Row, ...]:
        """All rows that give a property, the one used first; absent figures are left out."""
        wanted = property_name(name, form)
        return tuple(row for row in self.rows if row.property == wanted and row.kind != "absent")

    def optional(self, name: str, form: str | None = None) -> Figure | None:
        """The figure used for a property, or None where no table gives one."""
        rows = self.rows_of(name, form)
        return read_figure(rows[0], self.kind) if rows else None

    def figure(self, name: str, form: str | None = None) -> Figure:
        """The figure used for a property.

        Raises:
            MissingFigureError: No table gives it; the message says what to add.
        """
        found = self.optional(name, form)
        if found is None:
            wanted, why = property_name(name, form), self.why_absent(name, form)
            raise MissingFigureError(
                f'{self.kind} "{self.name}" has no {wanted}'
                + (f" ({why})" if why else "")
                + f". Add a row to a table of your own: {row_words(self.name, wanted, '...')}"
            )
        return found

    def why_absent(self, name: str, form: str | None = None) -> str:
        """Why the tables give no such figure; empty where they don't say."""
        wanted = property_name(name, form)
        return next((row.at for row in self.rows if row.property == wanted and row.kind == "absent"), "")

    def word(self, name: str) -> str | None:
        """A property that is a name (`fibre`, `form`), or None."""
        rows = self.rows_of(name)
        return rows[0].value if rows else None

    def also(self) -> tuple[str, ...]:
        """What the trade also calls it: its search words, and its style number."""
        words = [word for row in self.rows_of("also") for word in row.value.split(";")]
        return tuple(_same(word) for word in (*words, *(row.value for row in self.rows_of("style"))))

    def properties(self) -> tuple[str, ...]:
        """Names of its properties, in the order of the tables."""
        return tuple(dict.fromkeys(row.property for row in self.rows))


def row_words(material: str, name: str, value: str, kind: str = "measured", at: str = "") -> str:
    """A row for a shop's own table, as it is typed: cells that hold a comma in quotes.

    >>> row_words("epoxy, laminating", "mix_ratio_by_weight", "100:30")
    '"epoxy, laminating",mix_ratio_by_weight,100:30,measured,shop,'
    """
    return ",".join(f'"{cell}"' if "," in cell else cell for cell in (material, name, value, kind, "shop", at))


@lru_cache(maxsize=8192)  # a prediction asks for a few figures a hundred times
def read_figure(row: Row, material_kind: str) -> Figure:
    """Read the number of one row.

    Args:
        row: The row.
        material_kind: Kind of the material, which says what the property is measured in.

    Returns:
        The figure in SI units; the middle of a printed range.

    Raises:
        UnitError: The value does not read, or is measured in something else.
    """
    plain, _ = split_form(row.property)
    dimension = KINDS_OF_MATERIAL[material_kind][plain]
    span = _RANGE.match(row.value) if dimension not in ("word", "price", "ratio") else None
    if span:
        low = parse(span[1] + span[3], dimension)
        high = parse(span[2] + span[3], dimension)
        value = (low + high) / 2
    else:
        if dimension == "price":
            value = parse_price(row.value).amount
        elif dimension == "ratio":
            value = parse_ratio(row.value)
        elif dimension == "factor":
            value = _factor(row.value)
        else:
            value = parse(row.value, dimension)
        low = high = value
    return Figure(
        material=row.material,
        property=row.property,
        value=value,
        printed=row.value,
        kind=row.kind,
        source=row.source,
        at=row.at,
        low=low,
        high=high,
    )


def _factor(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UnitError(f'"{text}" is not a bare number such as 0.8') from None


_SPELLINGS = (
    (re.compile(r"\baluminum\b"), "aluminium"),
    (re.compile(r"\bfiber"), "fibre"),
    (re.compile(r"\bmold"), "mould"),
    (re.compile(r"\bdemold"), "demould"),
    (re.compile(r"\bgray\b"), "grey"),
    (re.compile(r"\blay-?ups?\b"), "layup"),
)
"""American spellings, and the hyphen of lay-up, as one."""
_OUNCES = re.compile(r"(?P<number>[0-9]+(?: [0-9]+/[0-9]+|/[0-9]+|\.[0-9]+)?) ?oz(?:/yd\^?2)?\b")
"""Ounces a square yard; of a chopped mat they are ounces a square foot, which stand in its own search words."""


@lru_cache(maxsize=8192)  # a name is compared with hundreds of others, each time a shop's table is read
def _same(name: str) -> str:
    text = " ".join(name.casefold().split())
    for pattern, word in _SPELLINGS:
        text = pattern.sub(word, text)
    return text


@dataclass(frozen=True, slots=True)
class Library:
    """All materials at hand, by kind and name, and the sources their rows cite."""

    materials: dict[str, dict[str, Material]]
    sources: dict[str, Source]
    _by_folded: dict[tuple[str, str], str] = field(default_factory=dict)
    _by_also: dict[tuple[str, str], list[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for kind, named in self.materials.items():
            for name, material in named.items():
                self._by_folded[kind, _same(name)] = name
                for word in dict.fromkeys(material.also()):
                    self._by_also.setdefault((kind, word), []).append(name)

    def __iter__(self) -> Iterator[Material]:
        for named in self.materials.values():
            yield from named.values()

    def names(self, kind: str) -> tuple[str, ...]:
        """Names of all materials of a kind."""
        return tuple(self.materials.get(kind, {}))

    def find(self, kind: str, name: str) -> Material | None:
        """The material of a kind by its name, or by what the trade calls it where that has one meaning; or None.

        Capitals, extra spaces and American spellings don't matter.
        """
        known = self._by_folded.get((kind, _same(name)))
        if known is None:
            called = self._by_also.get((kind, _same(name)), [])
            known = called[0] if len(called) == 1 else None
        return self.materials[kind][known] if known is not None else None

    def get(self, kind: str, name: str) -> Material:
        """The material of a kind by its name.

        Raises:
            LayupError: There is none; the message names the nearest.
        """
        found = self.find(kind, name)
        if found is None:
            raise LayupError(f'no {kind} "{name}". {self.hint(kind, name)}')
        return found

    def hint(self, kind: str, name: str) -> str:
        """What to write instead of an unknown name: what it may mean, the nearest names, or where to look."""
        meant = self._by_also.get((kind, _same(name)), [])
        if not meant:
            meant = [m.name for m in self.matching(name) if m.kind == kind][:5] if _OUNCES.search(name) else []
        if meant:
            return "It can mean " + " or ".join(f'"{one}"' for one in meant) + ": write which."
        for other in self.materials:
            there = self.find(other, name) if other != kind else None
            if there is not None:
                return f'"{name}" is in the tables, but as a {other}.' + self._as_core(there, kind)
        found = nearest(name, self.names(kind))
        return found or f"`layup materials {kind}` lists what there is."

    def _as_core(self, sheet: Material, kind: str) -> str:
        """The rows by which a sheet, such as plywood, is laid up as a core."""
        rows = sheet.rows_of("density")
        if (kind, sheet.kind) != ("core", "sheet") or not rows:
            return ""
        name = f"{sheet.name} core"
        density = row_words(name, "density", rows[0].value, rows[0].kind)
        return (
            f" As a core it takes a name of its own, in your table: {row_words(name, 'type', 'core')} and "
            f"{density} and {name},bond_resin, with the resin that a face of it takes, weighed or guessed, in g/m^2."
        )

    def matching(self, word: str) -> tuple[Material, ...]:
        """Materials that a word or several mean, the best match of each kind first; all for an empty text.

        They are looked for in name, kind, form, style, fibre and what the trade also calls it; `8.8 oz` and `200 gsm`
        find the cloth of that weight.
        """
        wanted = _same(word)
        scored = [(self._fits(material, wanted), place, material) for place, material in enumerate(self)]
        best = max((score for score, _, _ in scored), default=0.0)
        least = 0.0 if best < 1.0 else 1.0  # what only holds the letters is left out where something fits
        found = [one for one in scored if one[0] > 0.0 and one[0] >= least]
        first = {kind: max(score for score, _, m in found if m.kind == kind) for kind in {m.kind for _, _, m in found}}
        kinds = list(KINDS_OF_MATERIAL)
        found.sort(key=lambda one: (-first[one[2].kind], kinds.index(one[2].kind), -one[0], one[1]))
        return tuple(material for _, _, material in found)

    def _fits(self, material: Material, wanted: str) -> float:
        """How well a material fits: 4 its name, 3 what it is called, 2 its weight, 1 its words, under 1 letters."""
        if not wanted:
            return 1.0
        if wanted == _same(material.name):
            return 4.0
        also = material.also()
        if wanted in also:  # the dry cloth before the prepreg of its style
            return 3.0 - 0.001 * also.index(wanted) - 0.1 * (material.word("prepreg_resin") is not None)
        described = [material.word(p) or "" for p in ("form", "weave", "style", "fibre", "tow")]
        text = _same(" ".join([material.name, material.kind, PLURAL[material.kind], *described, *also]))
        weighs = _OUNCES.search(wanted)
        if weighs is not None and material.kind == "fabric":
            rest = (wanted[: weighs.start()] + wanted[weighs.end() :]).split()
            if not all(re.search(rf"(?<![a-z0-9]){re.escape(one)}", text) for one in rest):
                return 0.0
            printed = material.optional("areal_weight")
            asked = parse(f"{weighs['number']} oz/yd^2", "areal_weight")
            off = abs(printed.value / asked - 1.0) if printed is not None else 1.0
            return 2.0 - off if off <= 0.04 else 0.0
        words = wanted.split()
        if all(re.search(rf"(?<![a-z0-9]){re.escape(one)}", text) for one in words):
            return 1.0 + 0.5 * _same(material.name).startswith(wanted)
        return 0.5 if all(one in text for one in words) else 0.0

    def frame(self) -> pd.DataFrame:
        """Every row as a table: material, kind of material, property, value, kind of figure, source, at, file."""
        import pandas as pd

        records = [(m.name, m.kind, r.property, r.value, r.kind, r.source, r.at, r.file) for m in self for r in m.rows]
        names = ["material", "kind_of_material", "property", "value", "kind", "source", "at", "file"]
        return pd.DataFrame.from_records(records, columns=names)


def library_folder() -> Path:
    """Where the tables lie: in the installed package, or beside it in a checkout."""
    here = Path(__file__).parent
    for folder in (here / "library", here.parent / "materials"):
        if (folder / "sources.toml").is_file():
            return folder
    raise LayupError("the material tables are missing. Install it again from where you got it")


def load_library(shop_tables: Sequence[Path] = ()) -> Library:
    """Load the library with a shop's own tables laid over it.

    Args:
        shop_tables: CSV files in the columns of `materials/`; a later file lies over an earlier one.

    Raises:
        FaultsError: A shop's table has faults; all of them are named.
    """
    base = _base_library()
    if not shop_tables:
        return base
    faults: list[Fault] = []
    merged = {kind: dict(named) for kind, named in base.materials.items()}
    for path in shop_tables:
        rows = read_table(path, faults, shop=True)
        for name, own in _grouped(rows).items():
            kind = _kind_of(name, own, merged, faults)
            if kind is None:
                continue
            own = [row for row in own if row.property != "type"]
            good = [row for row in own if _check_row(row, kind, faults)]
            known = next((n for n in merged[kind] if _same(n) == _same(name)), name)
            if known in merged[kind] and not any(row.property == "like" for row in good):
                under = merged[kind][known].rows
            else:  # a shop may say that its process of a known name works like another one
                under = _rows_alike(good, kind, merged, faults)
            merged[kind][known] = Material(known, kind, (*good, *under))
    if faults:
        raise FaultsError(faults)
    return Library(merged, base.sources)


@lru_cache(maxsize=1)
def _base_library() -> Library:
    folder = library_folder()
    materials: dict[str, dict[str, Material]] = {}
    for file, kind in TABLE_FILES.items():
        faults: list[Fault] = []
        rows = read_table(folder / file, faults)
        if faults:
            raise FaultsError(faults)
        materials[kind] = {name: Material(name, kind, tuple(own)) for name, own in _grouped(rows).items()}
    return Library(materials, read_sources(folder / "sources.toml"))


def _grouped(rows: Iterable[Row]) -> dict[str, list[Row]]:
    grouped: dict[str, list[Row]] = {}
    for row in rows:
        grouped.setdefault(row.material, []).append(row)
    return grouped


def read_table(path: Path, faults: list[Fault], *, shop: bool = False) -> list[Row]:
    """Read one table's rows; what is wrong with its shape is added to `faults`, good rows are returned.

    Args:
        path: The CSV file.
        faults: Faults found are appended here.
        shop: True for a table of the shop's own.
    """
    name = path.name
    try:
        if path.exists() and not path.is_file():
            raise OSError(errno.EINVAL, "it is not a plain file")
        if path.stat().st_size > LARGEST:
            raise OSError(errno.EFBIG, f"it has more than {LARGEST / 1e6:.0f} MB")
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        there = nearest(name, [p.name for p in path.parent.glob("*.csv")]) if path.parent.is_dir() else ""
        faults.append(Fault(name, None, "", "no such file", there or "Check the name and the folder."))
        return []
    except UnicodeDecodeError:
        remedy = "Save it from the spreadsheet as CSV in UTF-8."
        faults.append(Fault(name, None, "", "it holds letters that are not in UTF-8", remedy))
        return []
    except OSError as error:
        faults.append(Fault(name, None, "", f"it can't be opened ({error.strerror})"))
        return []
    if long := next((n for n, line in enumerate(text.splitlines(), 1) if len(line) > LONGEST), 0):
        faults.append(Fault(name, long, "", f"this line has more than {LONGEST:,} letters", "Check the quotes in it."))
        return []
    reader = csv.reader(text.splitlines(), skipinitialspace=True)
    header = [cell.strip().casefold() for cell in next(reader, [])]
    if header[: len(COLUMNS)] != list(COLUMNS):
        remedy = "Its first line is: " + ",".join(COLUMNS)
        for mark, word in ((";", "semicolons"), ("\t", "tabs")):
            if len(header) == 1 and mark in header[0]:
                remedy += f". Separate with commas, not {word}"
        faults.append(Fault(name, 1, "", "the columns are not those of a material table", remedy + "."))
        return []
    rows = []
    for cells in reader:
        if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
            continue
        while len(cells) > len(COLUMNS) and not cells[-1].strip():
            cells.pop()  # a spreadsheet fills short rows with empty cells
        if len(cells) != len(COLUMNS):
            faults.append(
                Fault(
                    name,
                    reader.line_num,
                    cells[0].strip(),
                    f"{len(cells)} cells where {len(COLUMNS)} are due",
                    'Put a value that holds a comma in quotes: "12,5 mm".',
                )
            )
            continue
        material, prop, value, kind, source, at = (cell.strip() for cell in cells)
        plain, form = split_form(prop)
        rows.append(
            Row(
                material=material,
                property=property_name(plain, form),
                value=value,
                kind=kind,
                source=source,
                at=at,
                file=name,
                line=reader.line_num,
                shop=shop,
            )
        )
    return rows


def _rows_alike(
    rows: list[Row], kind: str, merged: dict[str, dict[str, Material]], faults: list[Fault]
) -> tuple[Row, ...]:
    """Rows of the material that a new one is `like`; a new process is like "vacuum bag" or "wet" unless it says."""
    said = next((row for row in rows if row.property == "like"), None)
    if said is not None:
        like = next((m for n, m in merged[kind].items() if _same(n) == _same(said.value)), None)
        if like is None:
            hint = nearest(said.value, merged[kind])
            faults.append(Fault(said.file, said.line, said.material, f'like "{said.value}": no such {kind}', hint))
            return ()
        return like.rows
    if kind != "process":
        return ()
    bagged = {"bag", "pressure", "loss_to_bag"} & {row.property for row in rows}
    return merged[kind]["vacuum bag" if bagged else "wet"].rows


def _kind_of(name: str, rows: list[Row], merged: dict[str, dict[str, Material]], faults: list[Fault]) -> str | None:
    """Kind of a material in a shop's table: what it says itself, else the library's, else what its properties tell."""
    said = next((row for row in rows if row.property == "type"), None)
    if said is not None:
        if said.value in KINDS_OF_MATERIAL:
            return said.value
        wrong, remedy = f'type "{said.value}" is no kind of material', f"Write one of: {', '.join(KINDS_OF_MATERIAL)}."
        faults.append(Fault(said.file, said.line, name, wrong, remedy))
        return None
    known = [kind for kind, named in merged.items() if any(_same(n) == _same(name) for n in named)]
    if len(known) == 1:
        return known[0]
    told = kind_from_properties({row.property for row in rows})
    if told is not None:
        return told
    remedy = f"Add a row: {name},type,fabric,measured,shop, (or {', '.join(list(KINDS_OF_MATERIAL)[2:])})."
    faults.append(Fault(rows[0].file, rows[0].line, name, "cannot tell what kind of material this is", remedy))
    return None


def _check_row(row: Row, kind: str, faults: list[Fault]) -> bool:
    """Check one row of a shop's table; a fault is added and False returned where it can't be used."""
    plain, _ = split_form(row.property)
    known = KINDS_OF_MATERIAL[kind]

    def refused(wrong: str, remedy: str = "") -> bool:
        faults.append(Fault(row.file, row.line, f"{row.material}, {row.property}", wrong, remedy))
        return False

    if plain not in known:
        return refused(f"a {kind} has no such property", nearest(plain, known) or f"Known: {', '.join(known)}.")
    if row.kind not in ROW_KINDS:
        return refused(f'kind "{row.kind}" is not known', f"Write one of: {', '.join(ROW_KINDS)}.")
    if row.kind == "absent":
        return True
    if plain == "form" and kind == "fabric" and row.value not in FORMS:
        return refused(f'"{row.value}" is no form of reinforcement', f"Write one of: {', '.join(FORMS)}.")
    if known[plain] == "word":
        return True
    try:
        figure = read_figure(row, kind)
    except UnitError as error:
        return refused(str(error).rstrip("."))
    wrong = _absurd(kind, plain, known[plain], figure, row.property)
    return refused(wrong, "Check the figure and its unit.") if wrong else True


_SANE = {
    "density": (5.0, 25_000.0, "kg/m3"),
    "areal_weight": (0.003, 60.0, "kg/m2"),
    "length": (1e-7, 200.0, "m"),
    "pressure": (0.0, 5e6, "Pa"),
    "stress": (1e2, 2e12, "Pa"),
    "time": (1.0, 1e7, "s"),
}


def _absurd(kind: str, plain: str, dimension: str, figure: Figure, shown: str) -> str:
    """Say what is absurd about a figure; empty where it can be true."""
    low, high, words = LIKELY.get((kind, plain), (-math.inf, math.inf, ""))
    if not low <= figure.value <= high:
        return f"{figure.printed} can't be: it lies between {words}"
    if dimension == "fraction":
        return "" if 0.0 <= figure.value <= 1.0 else f"{figure.printed} is outside 0 to 1"
    if dimension == "factor":
        return "" if 0.0 <= figure.value <= 20.0 else f"{figure.printed} is outside 0 to 20"
    if dimension in ("price", "ratio"):
        return f"{figure.printed} is negative" if figure.value < 0 else ""
    low, high, unit = _SANE.get(dimension, (float("-inf"), float("inf"), ""))
    if plain in ("surface_resin", "bond_resin", "loss_to_bag", "resin_uptake", "soak"):
        low = 0.0
    if figure.value < 0 and dimension in _SANE:
        return f"{figure.printed} is negative"
    if not low <= figure.value <= high:
        return f"{figure.printed} is {figure.value:.3g} {unit}, which no {shown.replace('_', ' ')} is"
    return ""


FORMS = ("mat", "roving", "cloth", "spread tow", "unidirectional", "biaxial", "veil")
"""The forms of reinforcement the resin model tells apart."""

Hand = Literal[
    "squeegeed",
    "rolled",
    "brushed",
    "bled",
    "heavy bleeder",
    "not bled",
    "debulked",
    "double bagged",
    "warm resin",
    "cold resin",
]
"""How a builder says the resin is worked: on a process, each is a factor on the resin its plies hold."""
HANDS: tuple[Hand, ...] = get_args(Hand)

ROW_KINDS = ("measured", "typical", "nominal", "derived", "assumed", "absent")
"""What a printed figure is: see docs/materials.md."""

LIKELY: dict[tuple[str, str], tuple[float, float, str]] = {
    ("resin", "density"): (800.0, 2500.0, "0.8 to 2.5 g/cm^3"),
    ("fibre", "density"): (600.0, 5000.0, "0.6 to 5 g/cm^3"),
    ("core", "density"): (5.0, 1500.0, "5 to 1500 kg/m^3"),
    ("sheet", "density"): (50.0, 20_000.0, "0.05 to 20 g/cm^3"),
    ("fabric", "areal_weight"): (0.003, 6.0, "3 to 6000 g/m^2"),
    ("process", "fibre_volume_fraction"): (0.05, 0.80, "0.05 to 0.80"),
    ("process", "surface_resin"): (0.0, 1.0, "0 to 1 kg/m^2"),
    ("core", "bond_resin"): (0.0, 3.0, "0 to 3 kg/m^2"),
    ("process", "void_content"): (0.0, 0.3, "0 to 30 %"),
    ("process", "loss"): (0.0, 0.8, "0 to 80 %"),
    ("process", "pressure"): (1000.0, 5e6, "1 to 5000 kPa"),
}
"""Where a figure can lie that a shop writes, in SI, and in words: beyond, a unit or a point is wrong. By kind of
material and property. Common practice, no source; wide of everything in `materials/`."""

_ELASTIC = {
    "tensile_modulus": "stress",
    "transverse_modulus": "stress",
    "shear_modulus": "stress",
    "compressive_modulus": "stress",
    "poisson_ratio": "fraction",
    "tensile_strength": "stress",
    "compressive_strength": "stress",
    "shear_strength": "stress",
    "yield_strength": "stress",
    "thermal_expansion": "thermal_expansion",
    "transverse_thermal_expansion": "thermal_expansion",
    "glass_transition": "temperature",
    "elongation": "fraction",
}

_PLY = {
    "ply_modulus": "stress",
    "ply_transverse_modulus": "stress",
    "ply_shear_modulus": "stress",
    "ply_poisson_ratio": "fraction",
    "ply_tensile_strength": "stress",
    "ply_compressive_strength": "stress",
    "ply_transverse_tensile_strength": "stress",
    "ply_transverse_compressive_strength": "stress",
    "ply_shear_strength": "stress",
    "ply_fibre_fraction": "fraction",
}
"""What a coupon of cured plies shows: on a fabric, or on a fibre with the form in brackets."""

KINDS_OF_MATERIAL: dict[str, dict[str, str]] = {
    "fibre": {"density": "density", **_ELASTIC, **_PLY},
    "fabric": {
        "fibre": "word",
        "second_fibre": "word",
        "second_share": "fraction",
        "form": "word",
        "weave": "word",
        "style": "word",
        "tow": "word",
        "areal_weight": "areal_weight",
        "areal_weight_tolerance": "fraction",
        "thickness": "length",
        "width": "length",
        "price": "price",
        "mat_share": "fraction",
        "resin_content": "fraction",
        "prepreg_resin": "word",
        "bleeds": "word",
        "warp_share": "fraction",
        "locking_angle": "angle",
        "yarn_pitch": "length",
        **_PLY,
        "same_turned": "word",
        "same_flipped": "word",
    },
    "resin": {
        "density": "density",
        "density_resin": "density",
        "density_hardener": "density",
        "cured_by": "word",
        "mix_ratio_by_weight": "ratio",
        "least_hardener": "ratio",
        "most_hardener": "ratio",
        "mix_ratio_by_volume": "ratio",
        "pot_life": "time",
        "price": "price",
        "shrinkage": "fraction",
        **_ELASTIC,
    },
    "core": {
        "density": "density",
        "form": "word",
        "thickness": "length",
        "length": "length",
        "width": "length",
        "cell_size": "length",
        "bond_resin": "areal_weight",
        "soak": "density",
        "dissolved_by": "word",
        "price": "price",
        **_ELASTIC,
    },
    "sheet": {"density": "density", "thickness_tolerance": "fraction", "price": "price", **_ELASTIC},
    "covering": {"areal_weight": "areal_weight", "fibre": "word", "price": "price", "width": "length"},
    "finish": {
        "areal_weight": "areal_weight",
        "density": "density",
        "thickness": "length",
        "price": "price",
    },
    "consumable": {
        "areal_weight": "areal_weight",
        "mass_per_length": "mass_per_length",
        "resin_uptake": "areal_weight",
        "thickness": "length",
        "width": "length",
        "price": "price",
    },
    "process": {
        "fibre_volume_fraction": "fraction",
        "surface_resin": "areal_weight",
        "void_content": "fraction",
        "pressure": "pressure",
        "pressure_exponent": "factor",
        "pressure_exponent_spread": "factor",
        "hand_pressure": "pressure",
        "areal_weight_exponent": "factor",
        "bled_away": "fraction",
        "mat_backing": "factor",
        **dict.fromkeys(HANDS, "factor"),
        "core_bond": "factor",
        "strength_left": "fraction",
        "loss": "fraction",
        "loss_to_bag": "areal_weight",
        "spread_between_shops": "fraction",
        "spread_of_one_hand": "fraction",
        "spread_between_fabrics": "fraction",
        "spread_between_parts": "fraction",
        "spread_as_bought": "fraction",
        "bag": "word",
        "infused": "word",
        "mixed": "word",
        "resin": "word",
    },
}

for _known in KINDS_OF_MATERIAL.values():
    _known["like"] = "word"  # "as that one, but for the rows given here"
    _known["also"] = "word"  # what the trade also calls it, one after another behind semicolons

TABLE_FILES = {
    "fibres.csv": "fibre",
    "fabrics.csv": "fabric",
    "resins.csv": "resin",
    "cores.csv": "core",
    "sheets.csv": "sheet",
    "coverings.csv": "covering",
    "finishes.csv": "finish",
    "consumables.csv": "consumable",
    "processes.csv": "process",
}
"""The library's tables and the kind of material each holds."""

PLURAL = {
    "fibre": "fibres",
    "fabric": "fabrics",
    "resin": "resins",
    "core": "cores",
    "sheet": "sheet stock",
    "covering": "coverings",
    "finish": "finishes",
    "consumable": "bagging and consumables",
    "process": "processes",
}


@lru_cache(maxsize=4096)
def split_form(name: str) -> tuple[str, str | None]:
    """Split `fibre_volume_fraction (cloth)` into the property and the form; the form is None where none is written.

    A dot, a comma or plain space between the two is read as well.

    >>> split_form("fibre_volume_fraction (spread tow)")
    ('fibre_volume_fraction', 'spread tow')
    >>> split_form("density")
    ('density', None)
    """
    text = " ".join(name.replace("(", " ").replace(")", " ").replace("[", " ").replace("]", " ").split())
    for form in sorted(FORMS, key=len, reverse=True):
        for mark in (" ", ".", ", ", ","):
            if text.endswith(mark + form):
                return text[: -len(mark + form)].rstrip(), form
    return text, None


def property_name(name: str, form: str | None) -> str:
    """The one spelling that tables and screens use for a property, with its form if it has one."""
    return f"{name} ({form})" if form else name


def kind_from_properties(properties: set[str]) -> str | None:
    """Tell from its properties what kind of material a shop's table describes; None where they don't decide.

    >>> kind_from_properties({"fibre", "form", "areal_weight"})
    'fabric'
    """
    plain = {split_form(p)[0] for p in properties}
    if "fibre_volume_fraction" in plain or {"spread_between_shops", "surface_resin"} & plain:
        return "process"
    if {"mix_ratio_by_weight", "mix_ratio_by_volume", "pot_life"} & plain:
        return "resin"
    if {"bond_resin", "soak", "cell_size"} & plain:
        return "core"
    if "form" in plain or "weave" in plain or ("fibre" in plain and "areal_weight" in plain):
        return "fabric"
    if "resin_uptake" in plain:
        return "consumable"
    return None
