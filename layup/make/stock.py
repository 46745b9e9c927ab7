"""What is on the shelf: rolls, remnants, resin and sheets of core, in a list that a builder keeps by hand.

    The list, read                              read_stock(path)
    What is left of a thing                     Stock.left(thing)
    What a cut takes, what is left, what to order      of_cut(stock, cut)
    What the resin there allows, and its age    of_mix(stock, mixes)
    Booked, and undone                          Stock.booked(takes), Stock.undone(number)

The list is a CSV, one row a thing: `label, kind, material, lot, width, length, thickness, amount, made, keeps, outline,
least, note, booking`. What was taken is a row of kind "used" under the label of what it came from, with the number of
its booking; undoing takes the rows of that booking out again. Nothing is written until it is asked for.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from layup.errors import Fault, FaultsError, LayupError, UnitError, nearest
from layup.files.reading import TABLE, read_file
from layup.make.batches import Mix
from layup.make.cut import KEPT, Cut
from layup.make.pieces import Cloth
from layup.make.plies_to_cut import extent
from layup.units import YARD, parse
from layup.words import System, length_words, mass_both, no_formula

if TYPE_CHECKING:
    from shapely import Polygon

    from layup.materials import Library

COLUMNS = (
    "label", "kind", "material", "lot", "width", "length", "thickness", "amount", "made", "keeps", "outline", "least",
    "note", "booking",
)  # fmt: skip
KINDS = {"roll": "fabric", "remnant": "fabric", "resin": "resin", "hardener": "resin", "core": "core"}
"""Kinds of things, and the kind of material that each is of."""
USED = "used"
_DAYS = {"day": 1.0, "week": 7.0, "month": 30.4375, "year": 365.25}
_KEEPS = re.compile(r"(?P<count>[0-9]+)\s*(?P<unit>day|week|month|year)s?", re.IGNORECASE)
_OUTLINE = re.compile(r"(?P<points>.+?)\s*(?P<unit>mm|cm|m|in)", re.DOTALL)
SOON = 30
"""Days before the end of its shelf life from which resin is said to be near it; common practice, no source. [-]"""


@dataclass(frozen=True, eq=False, slots=True)
class Thing:
    """One thing on the shelf.

    Attributes:
        label: What is written on it; no two things have the same.
        kind: One of `KINDS`.
        material: Name in the tables.
        lot: As its maker printed it.
        width: Of a roll or sheet; of a remnant across its warp. [m]
        length: As it came; of a remnant along its warp. [m]
        thickness: Of a core; None where it is that of the tables. [m]
        amount: Of resin or hardener. [kg]
        until: Last day of its shelf life; None where that is not known.
        outline: Of a remnant, the warp along x. [m]
        least: The shortest length that is sold; 0 for any. [m]
        booking: That left it over; 0 for what the builder wrote.
    """

    label: str
    kind: str
    material: str
    lot: str = ""
    width: float = 0.0
    length: float = 0.0
    thickness: float | None = None
    amount: float = 0.0
    until: dt.date | None = None
    outline: Polygon | None = None
    least: float = 0.0
    booking: int = 0


class Take(NamedTuple):
    """What is taken of a thing: label, length off a roll [m], mass of resin [kg], what is left over of a sheet [m]."""

    label: str
    length: float = 0.0
    amount: float = 0.0
    over: tuple[Polygon, ...] = ()


class Used(NamedTuple):
    """What a booking took: label, length [m], amount [kg], number of the booking."""

    label: str
    length: float
    amount: float
    booking: int


@dataclass(frozen=True)
class Stock:
    """A stock list.

    Attributes:
        path: The file.
        things: In its order.
        used: What was booked.
        text: Of the file, as it stands.
    """

    path: Path
    things: tuple[Thing, ...]
    used: tuple[Used, ...]
    text: str = field(repr=False)

    def left(self, thing: Thing) -> float:
        """What is left of a thing: length of a roll [m], mass of resin [kg], area of a remnant or sheet [m^2]."""
        gone = [one for one in self.used if one.label == thing.label]
        if thing.kind == "roll":
            return max(thing.length - math.fsum(one.length for one in gone), 0.0)
        if thing.kind in ("resin", "hardener"):
            return max(thing.amount - math.fsum(one.amount for one in gone), 0.0)
        return 0.0 if gone else thing.outline.area if thing.outline is not None else thing.width * thing.length

    def of(self, kind: str, material: str) -> list[Thing]:
        """Things of a kind and a material of which something is left, in the order of the list."""
        return [t for t in self.things if t.kind == kind and t.material == material and self.left(t) > 1e-9]

    def shelf(self) -> dict[str, tuple[Cloth, ...]]:
        """Rolls and remnants by cloth, as a cut takes them."""
        found: dict[str, list[Cloth]] = {}
        for thing in self.things:
            left = self.left(thing)
            if thing.kind in ("roll", "remnant") and left > 1e-9:
                long = left if thing.kind == "roll" else thing.length
                cloth = Cloth(thing.label, thing.lot, thing.kind == "roll", thing.width, long, thing.outline)
                found.setdefault(thing.material, []).append(cloth)
        return {material: tuple(listed) for material, listed in found.items()}

    @property
    def bookings(self) -> tuple[int, ...]:
        """Numbers of the bookings, rising."""
        return tuple(sorted({one.booking for one in self.used} | {t.booking for t in self.things} - {0}))

    def booked(self, takes: Iterable[Take], note: str) -> tuple[str, int]:
        """The file's text with some takes booked, and the number of the booking.

        Args:
            takes: As `of_cut` and `of_mix` give them.
            note: For what, free text.

        Raises:
            LayupError: Nothing is taken.
        """
        number = max(self.bookings, default=0) + 1
        by_label = {thing.label: thing for thing in self.things}
        rows: list[dict[str, str]] = []
        for take in takes:
            thing = by_label[take.label]
            said = {"label": take.label, "kind": USED, "material": thing.material, "lot": thing.lot}
            said |= {"length": f"{take.length:.3f} m"} if take.length else {}
            said |= {"amount": f"{take.amount * 1e3:.1f} g"} if take.amount else {}
            rows.append({**said, "note": note, "booking": str(number)})
            for place, over in enumerate(take.over, 1):
                points = ", ".join(f"{x * 1e3:.0f} {y * 1e3:.0f}" for x, y in over.exterior.coords[:-1])
                kept = {
                    "label": f"{take.label}-{place}",
                    "kind": thing.kind,
                    "material": thing.material,
                    "lot": thing.lot,
                    "outline": f"{points} mm",
                }
                if thing.thickness is not None:
                    kept["thickness"] = f"{thing.thickness * 1e3:g} mm"
                rows.append({**kept, "note": f"left of {take.label}", "booking": str(number)})
        if not rows:
            raise LayupError("nothing of what is on the shelf is taken, so there is nothing to book")
        head, *body = self.text.splitlines() or [",".join(COLUMNS)]
        names = next(csv.reader([head.removeprefix("\ufeff")]))
        missing = [c for c in COLUMNS if c not in {name.strip().casefold() for name in names}]
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([*names, *missing])
        out.writelines(f"{line}\n" for line in body)
        for row in rows:
            writer.writerow([no_formula(row.get(name.strip().casefold(), "")) for name in (*names, *missing)])
        return out.getvalue(), number

    def undone(self, number: int) -> str:
        """The file's text without a booking.

        Raises:
            LayupError: There is no such booking, or another has taken of what it left over.
        """
        if number not in self.bookings:
            there = ", ".join(map(str, self.bookings)) or "none"
            raise LayupError(f"there is no booking {number} in {self.path.name}. Bookings: {there}")
        over = {thing.label for thing in self.things if thing.booking == number}
        later = sorted({one.booking for one in self.used if one.label in over and one.booking != number})
        if later:
            raise LayupError(f"booking {later[0]} took of what booking {number} left over. Undo {later[0]} first")
        rows = csv.reader(io.StringIO(self.text))
        names = [name.strip().casefold() for name in next(rows)]
        at = names.index("booking")
        lines, kept, last = self.text.splitlines(keepends=True), [], 1
        kept.append(lines[0])
        for row in rows:
            own, last = lines[last : rows.line_num], rows.line_num
            if len(row) <= at or row[at].strip() != str(number):
                kept += own
        return "".join(kept)


def read_stock(path: Path, library: Library | None = None) -> Stock:
    """Read a stock list.

    Args:
        path: Of the CSV.
        library: Puts words of the trade under the tables' own names; None leaves them as written.

    Raises:
        FaultsError: With every fault of the list.
        LayupError: The file can't be read.
    """
    try:
        text = read_file(path, TABLE).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise LayupError(f'the stock list "{path}" can\'t be read ({error}). Save it as CSV UTF-8') from None
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")), restval="")
    faults: list[Fault] = []
    names = [name.strip().casefold() for name in reader.fieldnames or ()]
    for name in names:
        if name not in COLUMNS:
            hint = nearest(name, COLUMNS) or "Columns: " + ", ".join(COLUMNS) + "."
            faults.append(Fault(path.name, 1, "", f'there is no column "{name}"', hint))
    reader.fieldnames = names
    things: list[Thing] = []
    used: list[Used] = []
    for raw in reader:
        row = {key: (value or "").strip() for key, value in raw.items() if isinstance(key, str)}
        if not any(row.values()) or row.get("label", "").startswith("#"):
            continue
        told = _Row(path.name, reader.line_num, row, faults)
        if row.get("kind", "").casefold() == USED:
            used.append(
                Used(
                    row.get("label", ""),
                    told.amount("length", "length"),
                    told.amount("amount", "mass"),
                    told.number("booking"),
                )
            )
        else:
            thing = told.thing(library)
            if any(thing.label == other.label for other in things):
                told.fault("label", f'"{thing.label}" is there twice', "Give each thing a label of its own.")
            things.append(thing)
    known = {thing.label for thing in things}
    faults += [
        Fault(path.name, None, "", f'something is booked of "{one.label}", which is not in the list', "")
        for one in used
        if one.label not in known
    ]
    if faults:
        raise FaultsError(faults)
    return Stock(path, tuple(things), tuple(used), text)


@dataclass(frozen=True)
class _Row:
    """One row as it is read; faults are gathered."""

    file: str
    line: int
    row: dict[str, str]
    faults: list[Fault]

    def fault(self, column: str, wrong: str, remedy: str) -> None:
        self.faults.append(Fault(self.file, self.line, column, wrong, remedy))

    def amount(self, column: str, kind: str, needed: str = "") -> float:
        """A quantity; 0 where the cell is empty, which is a fault where it is needed."""
        text = self.row.get(column, "")
        if not text:
            if needed:
                self.fault(column, "it is missing", f"Write it, as in {needed}.")
            return 0.0
        try:
            value = parse(text, kind)
        except UnitError as error:
            self.fault(column, str(error).rstrip("."), "")
            return 0.0
        if value < 0:
            self.fault(column, f'"{text}" is less than nothing', "Write what there is.")
        return max(value, 0.0)

    def number(self, column: str) -> int:
        text = self.row.get(column, "")
        if text and not text.isdigit():
            self.fault(column, f'"{text}" is no number of a booking', "Leave it to the program.")
        return int(text) if text.isdigit() else 0

    def thing(self, library: Library | None) -> Thing:
        kind, label = self.row.get("kind", "").casefold(), self.row.get("label", "")
        material = self.row.get("material", "")
        if not label:
            self.fault("label", "it is missing", "Write what stands on the thing: R1, blue roll.")
        if kind not in KINDS:
            self.fault("kind", f'"{kind}" is none', "Write one of: " + ", ".join(KINDS) + ".")
            return Thing(label, kind, material)
        if not material:
            self.fault("material", "it is missing", "Write its name in the tables.")
        known = library.find(KINDS[kind], material) if library is not None else None
        liquid = kind in ("resin", "hardener")
        shape = self.outline() if self.row.get("outline") else None
        sized = not liquid and shape is None
        wide = self.amount("width", "length", '"1.27 m"' if sized else "")
        long = self.amount("length", "length", '"8.5 m"' if sized else "")
        if shape is not None:
            wide, long = shape.bounds[3], shape.bounds[2]
        elif sized and kind != "roll":
            import shapely

            shape = shapely.box(0.0, 0.0, long, wide) if wide and long else None
        return Thing(
            label=label,
            kind=kind,
            material=known.name if known is not None else material,
            lot=self.row.get("lot", ""),
            width=wide,
            length=long,
            thickness=self.amount("thickness", "length") or None,
            amount=self.amount("amount", "mass", '"1.2 kg"' if liquid else ""),
            until=self.until(),
            outline=shape,
            least=self.amount("least", "length"),
            booking=self.number("booking"),
        )

    def until(self) -> dt.date | None:
        made, keeps = self.row.get("made", ""), self.row.get("keeps", "")
        try:
            day = dt.date.fromisoformat(made) if made else None
        except ValueError:
            self.fault("made", f'"{made}" is no date', 'Write year-month-day: "2026-01-31".')
            return None
        if not keeps:
            return None
        try:
            return dt.date.fromisoformat(keeps)
        except ValueError:
            found = _KEEPS.fullmatch(keeps)
        if found is None or day is None:
            self.fault("keeps", f'"{keeps}" says no last day', 'Write "12 months" with a date in made, or a date.')
            return None
        return day + dt.timedelta(days=int(found["count"]) * _DAYS[found["unit"].casefold()])

    def outline(self) -> Polygon | None:
        """Corners, two numbers each, and their unit once at the end: "0 0, 900 0, 900 400, 0 400 mm"."""
        import shapely
        from shapely import affinity

        found = _OUTLINE.fullmatch(self.row["outline"])
        try:
            corners = (
                [
                    [parse(f"{value} {found['unit']}", "length", bare=None) for value in point.split()]
                    for point in re.split(r"[,;]", found["points"])
                ]
                if found
                else []
            )
            shape = shapely.Polygon(corners)
            if not shape.is_valid or not shape.area > 1e-6:
                raise ValueError
        except (UnitError, ValueError):
            self.fault("outline", "it is no outline", 'Write its corners in order: "0 0, 900 0, 900 400, 0 400 mm".')
            return None
        low = shape.bounds
        return affinity.translate(shape, -low[0], -low[1])


def yards(m: float, system: System) -> str:
    """A length as cloth is sold: yards or metres, up to the next tenth."""

    def up(value: float, unit: str) -> str:
        return f"{math.ceil(round(value * 10, 6)) / 10:.1f} {unit}"

    ours, metric = up(m / YARD, "yd"), up(m, "m")
    return {"lb": ours, "metric": metric}.get(system, f"{ours} ({metric})")


def of_cut(stock: Stock, cut: Cut, system: System) -> tuple[tuple[str, ...], tuple[Take, ...]]:
    """What a cut made with the stock's shelf takes, what is left, and what to order.

    Returns:
        Sentences for a person, and the takes to book.
    """
    said: list[str] = []
    takes: list[Take] = []
    for one in cut.fabrics:
        names = ", ".join(piece.name for piece in one.pieces)
        cloth = one.of
        if cloth is not None and not cloth.roll:
            rest = f"; left of it: {len(one.left)} piece{'s' if len(one.left) > 1 else ''}" if one.left else "; used up"
            said.append(f"{one.fabric}: {names} from remnant {cloth.label}{_lot(cloth.lot)}{rest}.")
            takes.append(Take(cloth.label, over=one.left))
        elif cloth is not None and one.length <= cloth.length + 1e-9:
            left = length_words(cloth.length - one.length, system)
            said.append(f"{one.fabric}: {names} from roll {cloth.label}{_lot(cloth.lot)}; {left} left on it.")
            takes.append(Take(cloth.label, one.length))
        else:
            sold = max((t.least for t in stock.things if t.material == one.fabric), default=0.0)
            there = "none is on the shelf" if cloth is None else f"roll {cloth.label} has {yards(cloth.length, system)}"
            from_ = f", the least that is sold: {yards(sold, system)}" if sold > one.length else ""
            said.append(
                f"{one.fabric}: order {yards(max(one.length, sold), system)} for {names}: it takes "
                f"{yards(one.length, system)} in one length, and {there}{from_}."
            )
    sheets = _Sheets(stock)
    for number, cores in enumerate(cut.cores):
        for core in cores:
            for name, shape in core.pieces:
                mark = f"{chr(65 + number % 26)}{name}" if len(cut.jobs) > 1 else name
                said.append(f"{core.name}, {mark}: {sheets.cut(core.name, core.thickness, extent((shape,)))}.")
    return tuple(said), (*takes, *sheets.takes())


class _Sheets:
    """Sheets of core while rectangles are cut off them, edge to edge: what is left of each is cut on."""

    def __init__(self, stock: Stock) -> None:
        self.stock = stock
        self.left: dict[str, list[tuple[float, float]]] = {}

    def cut(self, name: str, thick: float, size: tuple[float, float]) -> str:
        """Take a rectangle off the smallest piece that holds it; what was done, in words."""
        fits = []
        for sheet in self.stock.of("core", name):
            if abs((sheet.thickness or thick) - thick) > 1e-5:
                continue
            for sides in self.left.get(sheet.label, [(sheet.length, sheet.width)]):
                long, wide = max(sides), min(sides)
                if long >= size[0] - 1e-9 and wide >= size[1] - 1e-9:
                    fits.append((long * wide, sheet.label, sides, long, wide, sheet))
        if not fits:
            return "no sheet on the shelf is large enough: order one, or join two"
        _, label, sides, long, wide, sheet = min(fits, key=lambda one: one[:2])
        rest = self.left.setdefault(label, [sides])
        rest.remove(sides)
        two_ways = (
            ((long - size[0], wide), (size[0], wide - size[1])),
            ((long, wide - size[1]), (long - size[0], size[1])),
        )
        strips = max(two_ways, key=lambda way: max(a * b for a, b in way))
        rest += [strip for strip in strips if min(strip) > KEPT]
        return f"from sheet {label}{_lot(sheet.lot)}"

    def takes(self) -> list[Take]:
        """What to book: each sheet begun, with what is left of it."""
        import shapely

        return [
            Take(label, over=tuple(shapely.box(0.0, 0.0, *sides) for sides in rest))
            for label, rest in self.left.items()
        ]


def _lot(lot: str) -> str:
    return f" (lot {lot})" if lot else ""


def of_mix(
    stock: Stock, mixes: Sequence[Mix], system: System, today: dt.date | None = None
) -> tuple[tuple[str, ...], tuple[Take, ...]]:
    """What the resin on the shelf allows, how old it is, and what is taken of it: what keeps least long first, and
    nothing past its shelf life.

    Args:
        stock: The list.
        mixes: To mix.
        system: Of the words.
        today: To reckon shelf lives from; this day if None.

    Returns:
        Sentences for a person, and the takes to book.
    """
    day = today or dt.date.today()
    said: list[str] = []
    takes: list[Take] = []
    for name in dict.fromkeys(mix.resin for mix in mixes):
        own_mixes = [mix for mix in mixes if mix.resin == name]
        batches = [batch for mix in own_mixes for batch in mix.batches]
        resin = [b.resin for b in batches if b.resin is not None]
        hardener = [b.hardener for b in batches if b.hardener is not None]
        known = len(resin) == len(hardener) == len(batches)
        wants = [("resin", math.fsum(resin) if known else math.fsum(mix.total for mix in own_mixes))]
        wants += [("hardener", math.fsum(hardener))] if known else []
        for kind, needed in wants:
            listed = sorted(stock.of(kind, name), key=lambda t: t.until or dt.date.max)
            lots = [lot for lot in listed if lot.until is None or lot.until >= day]
            if kind == "hardener" and not listed:
                continue  # a builder who lists the resin alone has the hardener beside it
            there = [stock.left(lot) for lot in lots]
            have = math.fsum(there)
            what = f"{name}, {kind}" if kind == "hardener" else name
            words = f"{what}: {mass_both(needed, system)} to mix, {mass_both(have, system)} on the shelf"
            said.append(
                f"{words}; {mass_both(have - needed, system)} left."
                if have >= needed - 1e-9
                else f"{words}: ORDER {mass_both(needed - have, system)} or more before you begin."
            )
            open_ = needed
            for lot, own in zip(lots, there, strict=True):
                taken = min(own, open_)
                if taken <= 1e-9:
                    continue
                open_ -= taken
                takes.append(Take(lot.label, amount=taken))
                said += _age(lot, day)
            said += [_past(lot, stock.left(lot), day, system) for lot in listed if lot not in lots]
    return tuple(said), tuple(takes)


def _age(lot: Thing, day: dt.date) -> list[str]:
    if lot.until is None:
        return [f"{lot.label}{_lot(lot.lot)}: its shelf life is not in the list: look at the can before it is mixed."]
    more = (lot.until - day).days
    return [f"{lot.label}{_lot(lot.lot)} keeps {more} days more: use it first."] if more <= SOON else []


def _past(lot: Thing, left: float, day: dt.date, system: System) -> str:
    over = (day - lot.until).days if lot.until is not None else 0
    return (
        f"{lot.label}{_lot(lot.lot)}, {mass_both(left, system)}, is {over} day{'s' if over > 1 else ''} past its shelf "
        "life: not counted and not taken. It is not for a part that carries load, and a trial cup must harden as the "
        "maker says before any of it is used; then write its new last day under keeps."
    )
