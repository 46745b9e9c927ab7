"""Read a part file and find every fault in it at once.

`read_part` gives a `Job`: the part as written, the materials with the shop's tables laid over them, and the surface,
read and measured. Faults of syntax, of keys and values, of names that exist nowhere and of the surface come together
in one `FaultsError`, each with its file, line and remedy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from pydantic import ValidationError

from layup.errors import Fault, FaultsError, SurfaceError, UnitError, VacuumError, nearest
from layup.laminate.process import settle
from layup.materials import HANDS, Library, Material, load_library, row_words
from layup.partfile.clashes import clash
from layup.partfile.fields import E, Entry, holding, named, tables
from layup.partfile.holes import Opened, check_hole_names, cut_holes, layers_of, old_patterns
from layup.partfile.job import Job
from layup.partfile.lines import Path as KeyPath
from layup.partfile.model import OPENINGS, WHOLE, FinishEntry, Part, PlyEntry, SurfaceEntry, ZoneEntry
from layup.partfile.opened import open_surface
from layup.partfile.toml_file import Form, Report, Tells, read_toml
from layup.partfile.zones import measure_zone, zone_spec
from layup.shape.measure import Measured
from layup.shape.surface import Surface
from layup.sides.mould import parse_mould

Opener = Callable[[SurfaceEntry, Path, set[str]], Surface]
"""What opens a surface: its table, the folder of its files, and the groups that zones name."""


def read_part(
    source: str | Path | Mapping[str, object],
    folder: str | Path | None = None,
    opener: Opener = open_surface,
    text: str | None = None,
) -> Job:
    """Read a part file, or a part given as a mapping of the same keys.

    Args:
        source: Path of the part file, or its content as a mapping.
        folder: Where the files it names lie; the part file's own folder if left out.
        opener: Opens the surface; a program that reads a part again and again gives one that keeps it at hand.
        text: What stands in the part file, or shall stand in it, where that is at hand already.

    Raises:
        FaultsError: With every fault of the file, of the tables and of the surface it names.
    """
    if isinstance(source, Mapping):
        return _check(dict(source), "", {}, Path(folder or "."), opener)
    path = Path(source)
    data, lines = read_toml(path, "part file", "door.toml", text)
    if "surface" not in data and {"start", "limits"} & set(data):
        raise FaultsError(
            [Fault(path.name, None, "", "this is a refit file, not a part file", f"Run: layup ledger {path.name}")]
        )
    return _check(data, path.name, lines, Path(folder) if folder else path.parent, opener)


def _check(
    data: dict[str, object], file: str, lines: dict[KeyPath, int], folder: Path, opener: Opener = open_surface
) -> Job:
    report = Report(file or "part", data, lines)
    fault = report.fault
    try:
        part = Part.model_validate(data)
    except ValidationError as error:
        _FORM.tell(error, fault)
        part = holding(Part, data)  # what is left of it shows the faults that are no matter of shape
    library, tables_hold = _load_tables(part, folder, report)
    if tables_hold:
        part = _by_name(part, library, (), fault)
        _check_figures(part, library, fault)
        _check_resins(part, library, fault)
    _check_zones(part, fault)
    surface, zones, opened = _check_surface(part, folder, fault, opener)
    fasteners = old_patterns(part.fasteners, folder, surface, fault)
    _check_pressure(part, library, fault)
    if surface is not None:
        _check_sizes(part, surface, fault)
    report.check()
    assert surface is not None
    job = Job(file, part, library, surface, zones, opened=opened, fasteners=fasteners)
    for number, ply in enumerate(part.ply):
        if ply.over:
            try:
                job.place(ply.zone, ply.over)
            except SurfaceError as error:
                fault(("ply", number, "covers"), error.wrong, error.remedy + ".")
    report.check()
    if part.mirror is None:
        return job
    from layup.partfile.mirrored import mirrored

    return mirrored(job, part.mirror)


def _by_name(entry: E, library: Library, at: KeyPath, fault: Tells) -> E:
    """A table with every material under its own name, where a word of the trade has one meaning; tells of unknown ones.

    Args:
        entry: The table, with those inside it.
        library: The materials.
        at: Where it stands in the file.
        fault: Notes a fault.
    """

    def known(kind: str, name: str, *path: str | int) -> str:
        found = library.find(kind, name)
        if found is None:
            fault((*at, *path), f"no such {kind}", library.hint(kind, name))
        return name if found is None else found.name

    changed: dict[str, object] = {}
    for key, kind in named(type(entry)).items():
        said = getattr(entry, key)
        if isinstance(said, str):
            changed[key] = known(kind, said, key)
        elif said:
            changed[key] = [known(kind, one, key, n) for n, one in enumerate(said)]
    for key in tables(type(entry)):
        inner = getattr(entry, key)
        if isinstance(inner, Entry):
            changed[key] = _by_name(inner, library, (*at, key), fault)
        elif inner:
            changed[key] = [_by_name(one, library, (*at, key, n), fault) for n, one in enumerate(inner)]
    return entry.model_copy(update=changed) if changed else entry


def _load_tables(part: Part, folder: Path, report: Report) -> tuple[Library, bool]:
    """The library with the shop's tables over it, and whether all of them could be read: else a name may be theirs."""
    if not part.materials and "materials" in part.model_fields_set and not part.sound:
        return load_library(), False
    paths = []
    for number, name in enumerate(part.materials):
        path = folder / name
        if path.is_file():
            paths.append(path)
        else:
            remedy = nearest(name, [p.name for p in folder.glob("*.csv")]) or "It is looked for beside the part file."
            report.fault(("materials", number), f'no such table "{name}"', remedy)
    try:
        return load_library(paths), len(paths) == len(part.materials)
    except FaultsError as error:
        report.faults.extend(error.faults)
        return load_library(), False


_FORM = Form(
    Part,
    missing={
        "surface": 'Add a [surface] table: mesh = "door.stl" with unit = "mm", or area = "0.54 m^2".',
        "title": 'Add a line at the top: title = "Engine-bay door".',
        "process": 'Add a line at the top: process = "vacuum bag".',
        "name": 'Add a line: name = "...".',
        "file": 'Add a line: file = "old-holes.csv".',
        "weighed": 'Add a line: weighed = "2 lb 13 oz".',
        "finish": 'Add a line: finish = "primer, epoxy".',
    },
)


def _check_zones(part: Part, fault: Tells) -> None:
    """Zones and patterns of holes go by names of their own, and what names one names one that is there."""
    zones = [WHOLE]
    for number, zone in enumerate(part.zone):
        if zone.name in zones[1:]:
            fault(("zone", number, "name"), "another zone has this name", "Give each zone its own name.")
        zones += [zone.name] if zone.name and zone.name != WHOLE else []
    for number, zone in enumerate(part.zone):
        for key, names in zone.joined().items():
            for one in names:
                if one not in zones:
                    hint = nearest(one, zones[1:]) or "Name another [[zone]] of this file."
                    fault(("zone", number, key), f'no such zone "{one}"', hint)
    check_hole_names(part.fasteners, "fasteners", fault)
    holes = check_hole_names(part.holes, "holes", fault)
    for number, ply in enumerate(part.ply):
        for one in ply.over:
            if one != OPENINGS and one not in holes:
                hint = nearest(one, [*holes, OPENINGS]) or 'Name a [[holes]] of this file, or "openings" for every one.'
                fault(("ply", number, "covers"), f'no such holes "{one}"', hint)
    lying: dict[str, Sequence[PlyEntry | FinishEntry]] = {"ply": part.ply, "finish": part.finish}
    for table, entries in lying.items():
        for number, entry in enumerate(entries):
            if entry.zone is not None and entry.zone not in zones:
                hint = nearest(entry.zone, zones) or "Zones of this file: " + ", ".join(f'"{z}"' for z in zones) + "."
                fault((table, number, "zone"), "no such zone", hint)
    for number, place in enumerate(part.needs.local if part.needs else ()):
        if place.zone is not None and place.zone not in zones[1:]:
            hint = nearest(place.zone, zones[1:]) or "Add a [[zone]] of that name."
            fault(("needs", "local", number, "zone"), "no such zone", hint)


def _check_sizes(part: Part, surface: Surface, fault: Tells) -> None:
    """Sizes that can't be meant: a surface as large as a field, a patch larger than the part, no direction."""
    area = surface.whole.area
    if area > LARGEST:
        fault(("surface", part.surface.form), f"it measures {area:,.0f} m^2", "Check the unit.")
    for number, ply in enumerate(part.ply):
        if ply.area is not None and ply.area > 1.5 * area:
            fault(("ply", number, "area"), f"the whole part has {area:.4g} m^2", "Check the area and its unit.")
    if part.surface.mould is not None:
        try:
            parse_mould(part.surface.mould)
        except SurfaceError as error:
            fault(("surface", "mould"), error.wrong, error.remedy + ".")
    if part.surface.warp is not None and not any(part.surface.warp):
        fault(("surface", "warp"), "this is no direction", "Write warp = [1, 0, 0].")
    if part.trim and part.surface.edge is None and surface.perimeter is None:
        fault(("trim",), "the length of the edge is not known", 'Add edge = "3.1 m" to [surface].')


def _check_figures(part: Part, library: Library, fault: Tells) -> None:
    """A fabric needs its weight and fibre, a core its thickness, and a prepreg is not laid up with mixed resin."""
    process = library.find("process", part.process) if part.process else None
    mixes = process is not None and process.word("mixed") != "no"
    listed: list[tuple[KeyPath, str | None]] = [(("ply", n, "fabric"), ply.fabric) for n, ply in enumerate(part.ply)]
    for path, name in [*listed, (("fabric",), part.fabric)]:
        fabric = library.find("fabric", name) if name else None
        if fabric is None:
            continue
        if not fabric.rows_of("areal_weight"):
            row = f'{fabric.name},areal_weight,"207 g/m^2",measured,shop,'
            fault(path, "the tables give it no areal weight", f"Add a row to your table: {row}")
        fibre = fabric.word("fibre")
        if fibre is None:
            row = f'{fabric.name},fibre,"carbon, standard modulus",nominal,shop,'
            fault(path, "the tables don't say its fibre", f"Add a row to your table: {row}")
        elif library.find("fibre", fibre) is None:
            fault(path, f'its fibre "{fibre}" is in no table', library.hint("fibre", fibre))
        if mixes and fabric.rows_of("resin_content"):
            fault(path, "a prepreg brings its own resin", 'Write process = "prepreg", or name the dry cloth.')
    for number, ply in enumerate(part.ply):
        core = library.find("core", ply.core) if ply.core else None
        if core is not None and ply.thickness is None and not core.rows_of("thickness"):
            fault(("ply", number, "core"), "it needs its thickness", 'Add a line to this [[ply]]: thickness = "6 mm".')
        if core is not None:
            _check_bond(core, ("ply", number, "core"), fault)
    for number, shelved in enumerate(part.shelf.cores if part.shelf else ()):
        core = library.find("core", shelved.core) if shelved.core else None
        if core is not None:
            _check_bond(core, ("shelf", "cores", number, "core"), fault)


def _check_bond(core: Material, path: KeyPath, fault: Tells) -> None:
    """A core whose bond is in no table would weigh as if it were glued on with nothing."""
    if not core.rows_of("bond_resin") and not core.rows_of("soak"):
        row = row_words(core.name, "bond_resin", "150 g/m^2", "assumed", "per face")
        wrong = "the tables don't say how much resin bonds it to the skins, and 0 g would be taken"
        fault(path, wrong, f"Weigh a bonded sample, or add a row to your table with what you expect: {row}")


def _check_pressure(part: Part, library: Library, fault: Tells) -> None:
    """The vacuum must be one that the process has and the air at that altitude can give; then what must not meet."""
    process = library.find("process", part.process) if part.process else None
    if process is None:
        return
    pressure = None
    unknown = [word for word in part.hand if process.optional(word) is None]
    if unknown:
        known = [f'"{word}"' for word in HANDS if process.optional(word) is not None]
        remedy = f"It knows {', '.join(known)}." if known else "Leave hand out."
        fault(("hand",), f'{process.name} has no figure for "{unknown[0]}"', remedy)
    if part.sound:
        try:
            pressure = settle(process, part.vacuum, part.altitude).pressure
        except VacuumError as error:
            fault(("vacuum",), error.wrong, error.remedy + ".")
    wets = [*(ply.resin for ply in part.ply), part.resin or process.word("resin")]
    resins = [library.find("resin", one) for one in dict.fromkeys(wets) if one] or [None]
    for number, ply in enumerate(part.ply):
        core = library.find("core", ply.core) if ply.core else None
        if core is not None:
            found = next(filter(None, (clash(process, pressure, core, resin) for resin in resins)), None)
            if found is not None:
                fault(("ply", number, "core"), found.wrong, found.remedy)


def _check_resins(part: Part, library: Library, fault: Tells) -> None:
    """A fabric that is not a prepreg with its own resin needs the part's resin."""
    process = library.find("process", part.process) if part.process else None
    if "resin" in part.model_fields_set or (process is not None and process.word("resin") is not None):
        return
    for fabric, own in [*((ply.fabric, ply.resin) for ply in part.ply), (part.fabric, None)]:
        material = library.find("fabric", fabric) if fabric else None
        if material is not None and own is None and material.word("prepreg_resin") is None:
            fault(("resin",), "it is missing", 'Add a line at the top: resin = "epoxy, laminating".')
            return


def _check_surface(
    part: Part, folder: Path, fault: Tells, opener: Opener
) -> tuple[Surface | None, dict[str, Measured], Opened | None]:
    """Read the surface and measure its zones, where their entries hold."""
    measured: dict[str, Measured] = {}
    surface: Surface | None = None
    opened: Opened | None = None
    whole = True
    if part.surface.sound:
        entry = layers_of(part)
        try:
            surface = opener(entry, folder, _groups(part))
        except (SurfaceError, UnitError) as error:
            fault(("surface", entry.form), str(error))
        if surface is not None:
            surface, opened = cut_holes(part.holes, entry, surface, folder, fault)
            whole = len(opened.holes) == len(part.holes)
    zones: dict[str, tuple[int, ZoneEntry]] = {}
    for number, zone in enumerate(part.zone):
        if zone.sound:
            zones.setdefault(zone.name, (number, zone))
    entries = {name: zone for name, (_, zone) in zones.items()}
    for name, (number, zone) in zones.items():
        try:
            if surface is not None:
                measured[name] = measure_zone(zone, entries, surface)
            elif zone.area is None:
                _read_alone(zone, entries)
        except (SurfaceError, UnitError) as error:
            if whole or "hole" not in str(error):  # a pattern that could not be cut is told already
                fault(("zone", number), str(error))
    return surface, measured, opened


def _read_alone(zone: ZoneEntry, zones: dict[str, ZoneEntry]) -> None:
    """Read a zone whose surface can't be read, so that a mistake in its own words still shows.

    It is laid on a sheet of one metre; what only says that nothing of the sheet lies there is no mistake.

    Raises:
        SurfaceError: Its words can't be read.
    """
    from layup.shape.flat import rectangle

    spec = zone_spec(zone, zones)
    if zone.group is not None:
        return
    try:
        rectangle(1.0, 1.0).zone(spec)
    except SurfaceError as error:
        if "can't be read" in error.wrong or "needs its unit" in error.wrong:
            raise


def _groups(part: Part) -> set[str]:
    """Groups, bodies or layers that zones name."""
    return {name for zone in part.zone for name in zone.group or ()}


LARGEST = 2000.0
"""Area of a surface beyond which its unit is taken to be wrong. [m^2]"""
