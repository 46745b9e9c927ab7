"""`[[holes]]` and `[[fasteners]]` of a part file, read with every fault told.

Names: each pattern its own                        check_hole_names(entries, fault)
The surface with its holes cut                     cut_holes(data, entry, surface, folder, fault)
Existing patterns laid over the part               old_patterns(data, folder, surface, fault)
Layers of the outline that are holes               layers_of(data)
Both for scripts, and what to be warned of         hole_records, fastener_records, fastener_cautions
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from layup.errors import LayupError, SurfaceError
from layup.partfile.model import OPENINGS, SurfaceEntry
from layup.partfile.openings import FastenersEntry, HolesEntry
from layup.shape.measure import Measured
from layup.shape.surface import Surface

if TYPE_CHECKING:
    from layup.files.drawing import Drawing
    from layup.partfile.fasteners import OldPattern
    from layup.shape.perforate import HoleSet

Fault = Callable[..., None]
Entries = Callable[[str], list[tuple[int, dict[str, Any]]]]


@dataclass(frozen=True, eq=False)
class Opened:
    """What cutting the `[[holes]]` of a part did.

    Attributes:
        base: The surface before.
        holes: What each pattern took away, by name.
        covers: Surfaces under plies that run over openings, and zones measured on them, kept once worked out.
    """

    base: Surface
    holes: dict[str, HoleSet]
    covers: dict[tuple[str, ...], tuple[Surface, dict[str, Measured]]]


def check_hole_names(entries: Entries, fault: Fault) -> list[str]:
    """Tell of patterns of one name.

    Args:
        entries: Gives the tables of a name with their numbers.
        fault: Notes a fault: path, what is wrong, remedy.

    Returns:
        Names of the `[[holes]]`.
    """
    names: list[str] = []
    for table in ("holes", "fasteners"):
        seen: list[str] = []
        for number, entry in entries(table):
            name = entry.get("name")
            if not isinstance(name, str):
                continue
            if name.casefold() in (n.casefold() for n in seen):
                fault((table, number, "name"), "another pattern has this name", "Give each pattern its own name.")
            elif name.casefold() == OPENINGS:
                fault((table, number, "name"), f'the name "{OPENINGS}" is taken: it is every opening', "Take another.")
            seen.append(name)
        names += seen if table == "holes" else []
    return names


def _holding(data: Mapping[str, Any], table: str, model: Any) -> dict[int, Any]:
    """The tables of a name that hold, by number; what is wrong with the others is told with the whole file."""
    listed = data.get(table, [])
    found: dict[int, Any] = {}
    names: set[str] = set()
    for number, raw in enumerate(listed if isinstance(listed, list) else []):
        try:
            entry = model.model_validate(raw)
        except ValidationError:
            continue
        if entry.name not in names:
            found[number] = entry
        names.add(entry.name)
    return found


def layers_of(data: Mapping[str, Any], entry: SurfaceEntry) -> SurfaceEntry:
    """The surface's table with the layers that `[[holes]]` name as cut-outs: whatever else their names say."""
    layers = [h.layer for h in _holding(data, "holes", HolesEntry).values() if h.layer is not None]
    if not layers or not isinstance(entry.outline, str):
        return entry
    return entry.model_copy(update={"cut": [*(entry.cut or ()), *layers]})


def cut_holes(
    data: Mapping[str, Any], entry: SurfaceEntry, surface: Surface, folder: Path, fault: Fault
) -> tuple[Surface, Opened]:
    """Cut the holes of a part file out of its surface.

    Args:
        data: The part file.
        entry: Its surface, as `layers_of` gave it.
        surface: Read.
        folder: Where its files lie.
        fault: Notes a fault: path, what is wrong, remedy.

    Returns:
        The surface with its holes, and what they took.
    """
    entries = _holding(data, "holes", HolesEntry)
    if not entries:
        return surface, Opened(surface, {}, {})
    from layup.partfile.holes import open_holes

    faulted = 0

    def told(number: int, key: str, wrong: str, remedy: str) -> None:
        nonlocal faulted
        faulted += 1
        fault(("holes", number, key) if key else ("holes", number), wrong, remedy + "." if remedy else "")

    def drawing() -> Drawing | None:
        from layup.partfile.opened import read_drawing

        if not isinstance(entry.outline, str):
            return None
        return read_drawing(folder / entry.outline, unit=entry.unit, gap=entry.gap)

    named = [folder / e.file for e in entries.values() if e.file] + (
        [folder / entry.outline] if isinstance(entry.outline, str) else []
    )
    key = (str(folder), repr(entries), repr(entry.outline), tuple(_stamp(path) for path in named))
    held: dict[Any, tuple[Surface, Opened]] = surface.holed
    if key not in held:
        before = faulted
        made, holes = open_holes(entries, surface, folder, drawing, told)
        if faulted != before:
            return made, Opened(surface, holes, {})
        held.clear()  # one pattern at a time: a person changes one hole after another
        held[key] = (made, Opened(surface, holes, {}))
    return held[key]


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def old_patterns(
    data: Mapping[str, Any], folder: Path, surface: Surface | None, fault: Fault
) -> tuple[OldPattern, ...]:
    """Existing patterns of fasteners, brought to where the new part has them.

    Args:
        data: The part file.
        folder: Where its files lie.
        surface: The new part; None where it can't be read.
        fault: Notes a fault: path, what is wrong, remedy.
    """
    entries = _holding(data, "fasteners", FastenersEntry)
    if not entries:
        return ()
    from layup.partfile.fasteners import lay_over, trim_line
    from layup.partfile.holes import HoleError

    found = []
    for number, entry in entries.items():
        try:
            laid = lay_over(entry, folder)
            if surface is not None:
                trim_line(surface, laid.plan)
            found.append(laid)
        except HoleError as problem:
            remedy = problem.remedy.rstrip(".")
            fault(("fasteners", number, problem.key), problem.wrong, remedy + "." if remedy else "")
        except SurfaceError as problem:
            fault(("fasteners", number), problem.wrong, problem.remedy + "." if problem.remedy else "")
        except LayupError as problem:
            fault(("fasteners", number), str(problem))
    return tuple(found)


def hole_records(holes: Mapping[str, HoleSet]) -> list[dict[str, Any]]:
    """Patterns of holes as scripts get them."""
    return [
        {
            "name": one.name,
            "count": len(one.pattern.holes),
            "diameters_m": [hole.diameter for hole in one.pattern.holes],
            "removed_m2": one.area,
            "edge_m": one.rim,
            "drawn": one.drawn,
            "places_m": [[float(v) for v in place] for place in one.places],
        }
        for one in holes.values()
    ]


def fastener_records(patterns: Sequence[OldPattern], surface: Surface) -> list[dict[str, Any]]:
    """Existing patterns laid over the part as scripts get them."""
    from layup.partfile.fasteners import trim_line

    records = []
    for old in patterns:
        near = old.too_near(trim_line(surface, old.plan)) if surface.has_mesh else []
        records.append(
            {
                "name": old.name,
                "count": len(old.pattern.holes),
                "holes": [
                    {"name": h.name, "at_m": [h.x, h.y], "diameter_m": h.diameter, "countersink_m": h.countersink}
                    for h in old.pattern.holes
                ],
                "fit": None
                if old.fit is None
                else {
                    "turn_deg": math.degrees(old.fit.turn),
                    "shift_m": list(old.fit.shift),
                    "rms_m": old.fit.rms,
                    "worst_m": old.fit.worst,
                    "off_m": {
                        name: [float(v) for v in off] for name, off in zip(old.matched, old.fit.off, strict=True)
                    },
                },
                "rule": old.rule.words,
                "too_near": [
                    {
                        "hole": n.hole.name,
                        "to": n.other.name if n.other else "opening" if n.opening else "trim line",
                        "distance_m": n.distance,
                        "needed_m": n.needed,
                    }
                    for n in near
                ],
            }
        )
    return records


def fastener_cautions(patterns: Sequence[OldPattern], surface: Surface) -> list[str]:
    """One sentence for each existing pattern that does not lie well on the part."""
    from layup.partfile.fasteners import trim_line

    found = []
    for old in patterns:
        near = {n.hole.name for n in old.too_near(trim_line(surface, old.plan))} if surface.has_mesh else set()
        said = []
        if near:
            said.append(
                f"{len(near)} of {len(old.pattern.holes)} holes too near an edge or each other by the rule of thumb"
            )
        if old.strays:
            said.append(f"{len(old.strays)} matched points are more than {old.within * 1e3:.3g} mm off")
        if said:
            found.append(f'Fasteners "{old.name}": {"; ".join(said)}. `layup holes` shows them.')
    return found
