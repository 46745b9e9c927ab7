"""Read a part file and find every fault in it at once.

`read_part` gives a `Job`: the part as written, the materials with the shop's tables laid over them, and the surface,
read and measured. Faults of syntax, of keys and values, of names that exist nowhere and of the surface come together
in one `FaultsError`, each with its file, line and remedy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from pydantic import ValidationError

from layup.errors import Fault, FaultsError, SurfaceError, UnitError, VacuumError, nearest
from layup.laminate.process import settle
from layup.materials import HANDS, Library, Material, load_library, row_words
from layup.partfile.clashes import clash
from layup.partfile.holes import Opened, check_hole_names, cut_holes, layers_of, old_patterns
from layup.partfile.job import Job
from layup.partfile.lines import Path as KeyPath
from layup.partfile.model import OPENINGS, WHOLE, Part, SurfaceEntry, ZoneEntry
from layup.partfile.opened import open_surface
from layup.partfile.toml_file import Form, Report, Tells, read_toml, without
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

    Returns:
        The job.

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
    faults, fault = report.faults, report.fault

    library, tables_hold = _load_tables(data, folder, faults, fault)
    part: Part | None = None
    try:
        part = Part.model_validate(_named_as_in_the_tables(data, library) if tables_hold else data)
    except ValidationError as error:
        _FORM.tell(error, fault)
        data = without(data, error)
    _check_names(data, library, tables_hold, fault)
    surface, zones, opened = _check_surface(data, folder, fault, opener)
    fasteners = old_patterns(data, folder, surface, fault)
    _check_pressure(data, part, library, fault)
    if part is not None and surface is not None:
        _check_sizes(part, surface, fault)
    if (
        part is not None
        and part.trim
        and surface is not None
        and part.surface.edge is None
        and surface.perimeter is None
    ):
        fault(("trim",), "the length of the edge is not known", 'Add edge = "3.1 m" to [surface].')
    report.check()
    assert part is not None
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


_NAMED = {
    **{kind: kind for kind in ("process", "resin", "fabric", "core", "sheet", "covering", "finish")},
    "filler": "finish",
}
"""Keys that name a material, at the top of a part file and in its tables, and of which kind."""


def _named_as_in_the_tables(data: dict[str, object], library: Library) -> dict[str, object]:
    """The same with every material under its own name, where a word of the trade has one meaning."""
    found: dict[str, object] = {}
    for key, value in data.items():
        if key in _NAMED and isinstance(value, str):
            known = library.find(_NAMED[key], value)
            found[key] = known.name if known is not None else value
        elif key in ("ply", "finish", "extra", "replaces", "made") and isinstance(value, list):
            found[key] = [_named_as_in_the_tables(e, library) if isinstance(e, dict) else e for e in value]
        elif key in ("shelf", "needs") and isinstance(value, dict):
            found[key] = _shelf_named(value, library)
        else:
            found[key] = value
    return found


def _shelf_named(table: dict[str, object], library: Library) -> dict[str, object]:
    """The same for the lists of `[shelf]` and the plies that `[needs]` names."""

    def named(kind: str, name: object) -> object:
        known = library.find(kind, name) if isinstance(name, str) else None
        return known.name if known is not None else name

    found = dict(table)
    for key, kind in (("fabrics", "fabric"), ("processes", "process")):
        if isinstance(names := table.get(key), list):
            found[key] = [named(kind, name) for name in names]
    if isinstance(cores := table.get("cores"), list):
        found["cores"] = [
            {**core, "core": named("core", core.get("core"))} if isinstance(core, dict) and "core" in core else core
            for core in cores
        ]
    if "surface_ply" in table:
        found["surface_ply"] = named("fabric", table["surface_ply"])
    return found


def _load_tables(data: dict[str, object], folder: Path, faults: list[Fault], fault: Tells) -> tuple[Library, bool]:
    names = data.get("materials", [])
    if not isinstance(names, list):
        return load_library(), False  # the model reports it
    paths = []
    for number, name in enumerate(names):
        if not isinstance(name, str):
            continue
        path = folder / name
        if path.is_file():
            paths.append(path)
        else:
            remedy = nearest(name, [p.name for p in folder.glob("*.csv")]) or "It is looked for beside the part file."
            fault(("materials", number), f'no such table "{name}"', remedy)
    try:
        return load_library(paths), len(paths) == len(names)
    except FaultsError as error:
        faults.extend(error.faults)
        return load_library(), False


_FORM = Form(
    Part,
    tables=("surface", "holes", "fasteners", "zone", "ply", "finish", "extra", "replaces", "made", "needs", "shelf"),
    lists=("ply", "holes", "fasteners", "zone", "extra", "finish", "replaces", "made"),
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


def _check_names(data: dict[str, object], library: Library, tables_hold: bool, fault: Tells) -> None:
    """Check that every named material, process and zone exists; works on the raw data, so that all faults show."""

    def known(path: KeyPath, name: object, kind: str) -> None:
        if isinstance(name, str) and tables_hold and library.find(kind, name) is None:
            fault(path, f"no such {kind}", library.hint(kind, name))

    def entries(table: str) -> list[tuple[int, dict[str, object]]]:
        listed = data.get(table, [])
        return [(i, e) for i, e in enumerate(listed) if isinstance(e, dict)] if isinstance(listed, list) else []

    known(("process",), data.get("process"), "process")
    known(("resin",), data.get("resin"), "resin")
    known(("fabric",), data.get("fabric"), "fabric")
    zones = [WHOLE]
    for number, zone in entries("zone"):
        name = zone.get("name")
        if isinstance(name, str) and name != WHOLE:
            if name in zones:
                fault(("zone", number, "name"), "another zone has this name", "Give each zone its own name.")
            zones.append(name)
    for number, zone in entries("zone"):
        for key in ("or", "and", "not"):
            named = zone.get(key, [])
            for one in [named] if isinstance(named, str) else named if isinstance(named, list) else []:
                if isinstance(one, str) and one not in zones:
                    hint = nearest(one, zones[1:]) or "Name another [[zone]] of this file."
                    fault(("zone", number, key), f'no such zone "{one}"', hint)
    holes = check_hole_names(entries, fault)
    for number, entry in entries("ply"):
        covers = entry.get("covers")
        for one in [covers] if isinstance(covers, str) else covers if isinstance(covers, list) else []:
            if isinstance(one, str) and one != OPENINGS and one not in holes:
                hint = nearest(one, [*holes, OPENINGS]) or 'Name a [[holes]] of this file, or "openings" for every one.'
                fault(("ply", number, "covers"), f'no such holes "{one}"', hint)
    for table in ("ply", "finish", "replaces"):
        for number, entry in entries(table):
            for kind in ("fabric", "core", "resin", "sheet", "covering", "finish", "process"):
                known((table, number, kind), entry.get(kind), kind)
            named = entry.get("zone")
            if isinstance(named, str) and named not in zones:
                hint = nearest(named, zones) or "Zones of this file: " + ", ".join(f'"{z}"' for z in zones) + "."
                fault((table, number, "zone"), "no such zone", hint)
    for number, entry in entries("extra"):
        known(("extra", number, "filler"), entry.get("filler"), "finish")
    for number, entry in entries("made"):
        known(("made", number, "process"), entry.get("process"), "process")
    if tables_hold:
        _check_figures(data, library, fault, entries("ply"))
    _check_shelf(data, library, known, zones, fault)
    _check_resins(data, library, tables_hold, fault, entries("ply"))


def _check_shelf(
    data: dict[str, object],
    library: Library,
    known: Callable[[KeyPath, object, str], None],
    zones: list[str],
    fault: Tells,
) -> None:
    """Names in `[needs]` and `[shelf]`; what is not of the right shape is left to the model."""
    needs, shelf = data.get("needs"), data.get("shelf")
    if isinstance(needs, dict):
        known(("needs", "surface_ply"), needs.get("surface_ply"), "fabric")
        local = needs.get("local")
        for number, place in enumerate(local if isinstance(local, list) else []):
            if not isinstance(place, dict):
                continue
            if isinstance(place.get("zone"), str) and place["zone"] not in zones[1:]:
                hint = nearest(place["zone"], zones[1:]) or "Add a [[zone]] of that name."
                fault(("needs", "local", number, "zone"), "no such zone", hint)
            fabrics = place.get("fabrics")
            for at, name in enumerate(fabrics if isinstance(fabrics, list) else []):
                known(("needs", "local", number, "fabrics", at), name, "fabric")
    if isinstance(shelf, dict):
        for key, kind in (("fabrics", "fabric"), ("processes", "process")):
            listed = shelf.get(key)
            for at, name in enumerate([listed] if isinstance(listed, str) else listed or []):
                known(("shelf", key, at), name, kind)
        cores = shelf.get("cores")
        for at, entry in enumerate(cores if isinstance(cores, list) else []):
            if isinstance(entry, dict):
                known(("shelf", "cores", at, "core"), entry.get("core"), "core")
                core = library.find("core", entry["core"]) if isinstance(entry.get("core"), str) else None
                if core is not None:
                    _check_bond(core, ("shelf", "cores", at, "core"), fault)


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


def _check_figures(
    data: dict[str, object], library: Library, fault: Tells, plies: list[tuple[int, dict[str, object]]]
) -> None:
    """A fabric needs its weight and fibre, a core its thickness, and a prepreg is not laid up with mixed resin."""
    process = _process(data, library)
    mixes = process is not None and process.word("mixed") != "no"
    listed: list[tuple[KeyPath, object]] = [(("ply", n, "fabric"), entry.get("fabric")) for n, entry in plies]
    for path, name in [*listed, (("fabric",), data.get("fabric"))]:
        fabric = library.find("fabric", name) if isinstance(name, str) else None
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
    for number, entry in plies:
        core = library.find("core", name) if isinstance(name := entry.get("core"), str) else None
        if core is not None and entry.get("thickness") is None and not core.rows_of("thickness"):
            fault(("ply", number, "core"), "it needs its thickness", 'Add a line to this [[ply]]: thickness = "6 mm".')
        if core is not None:
            _check_bond(core, ("ply", number, "core"), fault)


def _process(data: dict[str, object], library: Library) -> Material | None:
    name = data.get("process")
    return library.find("process", name) if isinstance(name, str) else None


def _check_bond(core: Material, path: KeyPath, fault: Tells) -> None:
    """A core whose bond is in no table would weigh as if it were glued on with nothing."""
    if not core.rows_of("bond_resin") and not core.rows_of("soak"):
        row = row_words(core.name, "bond_resin", "150 g/m^2", "assumed", "per face")
        wrong = "the tables don't say how much resin bonds it to the skins, and 0 g would be taken"
        fault(path, wrong, f"Weigh a bonded sample, or add a row to your table with what you expect: {row}")


def _check_pressure(data: dict[str, object], part: Part | None, library: Library, fault: Tells) -> None:
    """The vacuum must be one that the process has and the air at that altitude can give; then what must not meet."""
    material = _process(data, library)
    if material is None:
        return
    pressure = None
    if part is not None:
        unknown = [word for word in part.hand if material.optional(word) is None]
        if unknown:
            known = [f'"{word}"' for word in HANDS if material.optional(word) is not None]
            remedy = f"It knows {', '.join(known)}." if known else "Leave hand out."
            fault(("hand",), f'{material.name} has no figure for "{unknown[0]}"', remedy)
        try:
            pressure = settle(material, part.vacuum, part.altitude).pressure
        except VacuumError as error:
            fault(("vacuum",), error.wrong, error.remedy + ".")
    _check_clashes(data, material, pressure, library, fault)


def _check_clashes(
    data: dict[str, object], process: Material, pressure: float | None, library: Library, fault: Tells
) -> None:
    """What melts, floods or is crushed in this process with this resin."""
    plies = data.get("ply", [])
    listed = plies if isinstance(plies, list) else []
    for number, entry in enumerate(listed):
        name = entry.get("core") if isinstance(entry, dict) else None
        core = library.find("core", name) if isinstance(name, str) else None
        if core is None:
            continue
        wets = [e.get("resin") for e in listed if isinstance(e, dict)]
        named = [one for one in [*wets, data.get("resin") or process.word("resin")] if isinstance(one, str)]
        resins = [library.find("resin", one) for one in dict.fromkeys(named)] or [None]
        found = next(filter(None, (clash(process, pressure, core, resin) for resin in resins)), None)
        if found is not None:
            fault(("ply", number, "core"), found.wrong, found.remedy)


def _check_resins(
    data: dict[str, object],
    library: Library,
    tables_hold: bool,
    fault: Tells,
    plies: list[tuple[int, dict[str, object]]],
) -> None:
    """A fabric that is not a prepreg with its own resin needs the part's resin."""
    if data.get("resin") is not None or not tables_hold:
        return
    process = _process(data, library)
    if process is not None and process.word("resin") is not None:
        return
    named = [(("ply", i), e.get("fabric"), e.get("resin")) for i, e in plies]
    if isinstance(data.get("fabric"), str):
        named.append((("fabric", 0), data["fabric"], None))
    for _, fabric, own in named:
        material = library.find("fabric", fabric) if isinstance(fabric, str) else None
        if material is not None and own is None and material.word("prepreg_resin") is None:
            fault(("resin",), "it is missing", 'Add a line at the top: resin = "epoxy, laminating".')
            return


def _check_surface(
    data: dict[str, object], folder: Path, fault: Tells, opener: Opener
) -> tuple[Surface | None, dict[str, Measured], Opened | None]:
    """Read the surface and measure its zones, where their entries hold."""
    measured: dict[str, Measured] = {}
    surface: Surface | None = None
    opened: Opened | None = None
    whole = True
    try:
        entry = layers_of(data, SurfaceEntry.model_validate(data.get("surface")))
    except ValidationError:
        pass  # already reported
    else:
        try:
            surface = opener(entry, folder, _groups(data))
        except (SurfaceError, UnitError) as error:
            fault(("surface", entry.form), str(error))
        if surface is not None:
            surface, opened = cut_holes(data, entry, surface, folder, fault)
            holes = data.get("holes", ())
            whole = isinstance(holes, list | tuple) and len(opened.holes) == len(holes)
    listed = data.get("zone", [])
    zones: dict[str, tuple[int, ZoneEntry]] = {}
    for number, raw in enumerate(listed if isinstance(listed, list) else []):
        try:
            zone = ZoneEntry.model_validate(raw)
        except ValidationError:
            continue  # already reported
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


def _groups(data: dict[str, object]) -> set[str]:
    """Groups, bodies or layers that zones name."""
    listed = data.get("zone", [])
    named = (zone.get("group") for zone in (listed if isinstance(listed, list) else []) if isinstance(zone, dict))
    return {name for name in named if isinstance(name, str)}


LARGEST = 2000.0
"""Area of a surface beyond which its unit is taken to be wrong. [m^2]"""
