"""A surface file becomes one surface in metres, with its unit and its side settled.

    Read any of the kinds in existing.READABLE      read_surface("door.stl", unit="mm", side="outer")

Each format has a reader of our own but GLB, which is read through trimesh, and STEP, through the CAD kernel; each is
loaded only when it is asked for. A closed solid is never taken as it stands: its two skins would count twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError, UnitError
from layup.files.read_scene import Grouped
from layup.files.reading import existing
from layup.files.stl import corners_of, read_stl
from layup.shape.measure import FARTHEST, Box, Measured, measure_triangles
from layup.shape.progress import Told, nobody, stretch
from layup.shape.scan import Scan, scan_triangles
from layup.shape.surface import AS_DRAWN, Finding, Mesh, Surface
from layup.sides.side import CHOICES, Side, parse_side
from layup.units import parse
from layup.words import plain

if TYPE_CHECKING:
    from layup.files.read_scene import Scene
    from layup.sides.two_skins import Twins
    from layup.sides.welded import Welded

_SMALL = 200_000  # up to this many triangles the free edge is worked out at once
_SCANNED = 4_000_000  # up to this many noise is looked for
_PATCH = 20_000
_CLOSED = 0.05  # a free edge shorter than this share of the root of the area is a crack, not an edge


@dataclass
class _Raw:
    """What a reader gives: the scan, the mesh on demand, the unit the format itself carries. [m]"""

    scan: Scan
    triangles: NDArray[np.generic] | None = None
    mesh: Mesh | None = None
    groups: Grouped | None = None
    unit: float | None = None
    unit_reason: str = ""
    findings: tuple[Finding, ...] = ()

    def load(self, factor: float) -> Mesh:
        from layup.shape.topology import reweld, weld

        if self.mesh is None:
            assert self.triangles is not None
            points, faces = weld(corners_of(self.triangles))
        else:
            points, faces = reweld(*self.mesh)
        return points * factor, faces

    def joined(self, factor: float) -> Welded:
        """The mesh with its points and edges matched."""
        from layup.sides.welded import Welded

        if self.mesh is None:
            assert self.triangles is not None
            return Welded.of_triangles(corners_of(self.triangles), factor)
        return Welded.of_mesh(*self.mesh, factor)


def read_surface(
    path: str | Path,
    *,
    unit: str | None = None,
    side: str | None = None,
    body: str | int | None = None,
    fill: float | None = None,
    thorough: bool = False,
    told: Told = nobody,
) -> Surface:
    """Read a surface file.

    Args:
        path: STL, OBJ, PLY, OFF, GLB, GLTF, 3MF or STEP; errors show it as given.
        unit: Unit of the numbers in the file, `"mm"`, `"in"`; needed by every format but GLB (metres), 3MF and STEP.
        side: Side of a closed solid: "outer", "inner", "facing (0, 0, 1)", "touching (120 mm, 0 mm, 30 mm)";
            "all" for every face (a float laid up over a plug). An open shell stays whole.
        body: Which body, where the file holds several: its name, or its number with the largest as 1.
        fill: How wide a cut-out of an open shell may be to be closed, as a drop-out of a scan; None for none. [m]
        thorough: Look for everything that is odd, also what does not change the area, whatever the size.
        told: Is told how far it is.

    Returns:
        The surface in metres. Of a large binary STL nothing is kept in memory; its mesh is read when it is
        asked for.

    Raises:
        SurfaceError: file missing or unreadable, unit missing or not a length, nothing in it, a closed solid without
            `side`, a side the shape doesn't have. Always says what to write instead.
    """
    name = str(path)
    file = existing(Path(path), name)
    wanted = parse_side(side) if side is not None else None
    factor = None if unit is None else _factor(unit, name)
    told("reading", 0.0)
    raw = _read(file, name, stretch(told, 0.0, 0.4))
    if body is not None:
        raw = _one_body(raw, str(body), name)
    scale = _scale(raw, factor, unit, name)
    scan = raw.scan.scaled(scale)
    box = scan.measured.box
    far = max((abs(v) for corner in box or () for v in corner), default=0.0)
    if not far < FARTHEST:
        raise SurfaceError(
            f"{name}: a corner lies {plain(far / 1e3, 3)} km from the origin: a damaged number, or a wrong unit",
            "Check the unit, or export it again near the origin",
        )
    if not scan.measured.area > 0.0:
        raise SurfaceError(f"{name}: the mesh has no area", "Export it again with the part selected")
    shown = unit or raw.unit_reason.split(",")[0]
    findings = [*raw.findings, *([_no_area(scan)] if scan.degenerate else [])]
    if thorough or scan.even_edges or scan.measured.triangles <= _SMALL or _evens_out(scan):
        shell = _look(
            raw=raw,
            scan=scan,
            scale=scale,
            unit=shown,
            findings=findings,
            thorough=thorough,
            told=stretch(told, 0.4, 0.7),
        )
    else:
        shell = _Shell(scan.measured, lambda: raw.load(scale), raw.groups or Grouped(scan.measured.triangles))
    shell = _filled(shell, fill, findings)
    _judge(shell, thorough, findings)
    shell = _without_noise(shell, raw, scale, findings)
    if (not shell.closed and shell.twins is None) or (wanted is not None and wanted.kind == "all"):
        if shell.closed or shell.twins is not None:
            findings.append(Finding("closed", 1, "a closed surface, taken with all its faces as asked", 0.0))
        elif wanted is not None:
            either = "either of outer and inner would do" if wanted.kind in ("outer", "inner") else "it changes nothing"
            text = f'an open shell has one side and stays whole: side = "{wanted.text}" was given, and {either}'
            findings.append(Finding("open shell", 1, text, 0.0))
        return Surface(
            file.name,
            shell.whole,
            shell.mesh,
            side="all" if shell.closed or shell.twins is not None else AS_DRAWN,
            unit=shown,
            findings=tuple(findings),
            groups=lambda: shell.groups,
            laminate="round" if shell.closed else "",
        )
    if wanted is None:
        raise _closed_without_side(shell, name, findings)
    return _side_of(
        shell=shell,
        side=wanted,
        name=name,
        unit=shown,
        findings=findings,
        thorough=thorough,
        told=stretch(told, 0.7, 1.0),
    )


@dataclass
class _Shell:
    """A whole mesh that was looked at: its measures, and whether it is one surface or the two skins of a solid."""

    whole: Measured
    mesh: Callable[[], Mesh]
    groups: Grouped
    closed: bool = False
    twins: Twins | None = None
    joined: Welded | None = None


def _look(
    raw: _Raw, scan: Scan, scale: float, unit: str, findings: list[Finding], thorough: bool, told: Told
) -> _Shell:
    """Weld the mesh, count what is double once, and find out whether it is closed."""
    from layup.sides.findings import odd_size
    from layup.sides.two_skins import twin_skins

    count = scan.measured.triangles
    told("joining the corners", 0.0)
    if count <= _SMALL and not thorough:
        plain = _plain_shell(raw, scan, scale, unit, findings)
        if plain is not None:
            return plain
    joined = raw.joined(scale)
    told("looking for double faces", 0.3)
    keep, double = joined.drop_doubles()
    if double is not None and scan.even_edges and len(joined.mates.odd) and not joined.has_free:
        # closed with both copies, and what is left has walls inside: they are faces on which bodies touch
        joined, double, keep = raw.joined(scale), None, np.ones(count, dtype=bool)
    groups = raw.groups or Grouped(count)
    whole, closed = scan.measured, scan.even_edges
    if double is not None:
        findings.append(double)
        whole, groups = joined.measured(), groups.kept(keep)
    told("looking for free edges", 0.5)
    if double is not None or not closed:
        whole = replace(whole, perimeter=joined.free_length())
        closed = whole.perimeter == 0.0
        if not closed:
            joined, groups, whole = _join_near(joined, groups, whole, findings)
            closed = whole.perimeter == 0.0
    else:
        whole = replace(whole, perimeter=0.0)
    if not closed and (whole.perimeter or 0.0) < _CLOSED * whole.area**0.5:
        closed = True
        findings.append(_cracks(whole))
    twins = None if closed else twin_skins(*joined.mesh())
    if twins is not None:
        joined.turn(twins.turned)
        text = f"two skins about {twins.thickness * 1e3:.3g} mm apart, open round their rim; taken as a closed solid"
        findings.append(Finding("two skins", 1, text))
    size = odd_size(whole.box, unit)
    findings += [size] if size is not None else []
    told("looking for what is odd", 0.7)
    findings += joined.odd(closed or twins is not None, thorough)
    return _Shell(whole, joined.mesh, groups, closed, twins, joined)


def _plain_shell(raw: _Raw, scan: Scan, scale: float, unit: str, findings: list[Finding]) -> _Shell | None:
    """A small open shell with nothing to join or pick: read without the compiled passes, which take time to load."""
    from layup.shape.topology import free_edges, length_of
    from layup.sides.findings import duplicates, odd_size, of_open_shell
    from layup.sides.near_weld import beside
    from layup.sides.two_skins import twin_skins

    points, faces = raw.load(scale)
    keep, double = duplicates(points, faces)
    faces = faces[keep]
    rim = free_edges(faces)
    perimeter = length_of(points, rim)
    if perimeter < _CLOSED * scan.measured.area**0.5 or beside(points, rim) or twin_skins(points, faces) is not None:
        return None
    whole, groups = scan.measured, raw.groups or Grouped(len(keep))
    if double is not None:
        findings.append(double)
        whole, groups = measure_triangles(points[faces]), groups.kept(keep)
    whole = replace(whole, perimeter=perimeter)
    size = odd_size(whole.box, unit)
    findings += [size] if size is not None else []
    findings += of_open_shell(points, faces)
    return _Shell(whole, lambda: (points, faces), groups)


def _join_near(
    joined: Welded, groups: Grouped, whole: Measured, findings: list[Finding]
) -> tuple[Welded, Grouped, Measured]:
    """Join what meets within the file's precision, and say what still lies side by side unjoined."""
    from layup.sides.near_weld import SLITS, join_near, slits

    made = join_near(joined)
    if made.finding is not None:
        findings.append(made.finding)
        joined, groups = made.mesh, groups.kept(made.source)
        whole = replace(joined.measured(), triangles=len(joined.faces))
    share = slits(*joined.mesh()) if whole.perimeter else 0.0
    if share > SLITS:
        text = (
            f"{share:.0%} of the free edge has another free edge right beside it: faces that meet there are not "
            "joined. The area is right, but distances along the surface, zones and patterns are not to be trusted"
        )
        findings.append(Finding("not welded", 1, text, 0.0))
    return joined, groups, whole


def _filled(shell: _Shell, widest: float | None, findings: list[Finding]) -> _Shell:
    """Cut-outs up to a width closed, as the builder says that they are drop-outs."""
    if widest is None:
        return shell
    from layup.shape.polygons import lids

    if shell.closed or shell.twins is not None:
        findings.append(Finding("filled", 0, "a closed solid has no gaps to fill", 0.0))
        return shell
    points, faces = shell.mesh()
    made, beside, left = lids(points, faces, widest)
    lid = measure_triangles(points[made]).area if len(made) else 0.0
    more = f"; {left} more, drawn across themselves, were left open" if left else ""
    text = f"gaps up to {plain(widest * 1e3, 4)} mm wide were filled as asked, {len(made):,} faces{more}"
    findings.append(Finding("filled", len(made), text, lid))
    if not len(made):
        return shell
    every = np.concatenate([faces, made])
    groups = shell.groups.kept(np.concatenate([np.arange(len(faces)), beside]))
    return _Shell(replace(measure_triangles(points[every]), perimeter=None), lambda: (points, every), groups)


def _judge(shell: _Shell, thorough: bool, findings: list[Finding]) -> None:
    """Say of an open shell that is a wreck how much of it is in doubt."""
    from layup.sides.findings import in_doubt

    if shell.closed or shell.twins is not None or shell.whole.triangles > (_SCANNED if thorough else _SMALL):
        return
    doubt = in_doubt(*shell.mesh())
    if doubt is not None:
        findings.append(doubt)


def _without_noise(shell: _Shell, raw: _Raw, scale: float, findings: list[Finding]) -> _Shell:
    """A scan's noise is taken out of an open shell; of a solid it is only said."""
    from layup.sides.noise import is_clean, roughness, smoothed

    count = shell.whole.triangles
    if count > _SMALL and shell.joined is None:
        if count > _SCANNED or roughness(*_patch(raw, scale)) is None:
            return shell
    elif count > _SCANNED or (shell.joined is not None and is_clean(shell.joined.points, shell.joined.faces)):
        return shell
    points, faces = shell.mesh()
    rough = roughness(points, faces)
    if rough is None:
        return shell
    words = f"rough as a scan is: noise of about {rough.noise * 1e3:.2g} mm on edges of {rough.edge * 1e3:.2g} mm"
    if shell.closed or shell.twins is not None:
        text = (
            f"{words} adds about {rough.adds:.1%} to the area of its sides, and is not taken out of a solid; smooth it "
            "where it was scanned, or mesh it coarser"
        )
        findings.append(Finding("noise", 1, text))
        return shell
    made = smoothed(points, faces, rough)
    whole = replace(measure_triangles(made[faces]), perimeter=None)
    effect = whole.area - shell.whole.area
    text = f"{words} was smoothed out; what is left of it is within about 0.5 % of the area"
    findings.append(Finding("noise", 1, text, effect))
    return _Shell(whole, lambda: (made, faces), shell.groups)


def _patch(raw: _Raw, scale: float) -> Mesh:
    """Some ten thousand faces that lie together, welded."""
    from layup.shape.topology import weld

    if raw.mesh is None:
        assert raw.triangles is not None
        corners: NDArray[np.floating] = corners_of(raw.triangles)
        first = np.asarray(corners[:, 0], dtype=np.float64)
    else:
        first = raw.mesh[0][raw.mesh[1][:, 0]]
    away = np.abs(first - first[len(first) // 2]).max(axis=1)
    rows = np.argpartition(away, min(_PATCH, len(away) - 1))[:_PATCH]
    triangles = corners[rows] if raw.mesh is None else raw.mesh[0][raw.mesh[1][rows]]
    points, faces = weld(triangles)
    return points * scale, faces


def _side_of(
    shell: _Shell, side: Side, name: str, unit: str, findings: list[Finding], thorough: bool, told: Told
) -> Surface:
    assert shell.joined is not None
    told("picking the side", 0.0)
    from layup.sides.bodies import pick

    picked = pick(shell.joined, side, name)
    effect = None if picked.other is None else -(picked.other + (picked.strip or 0.0))
    findings.append(Finding("closed", 1, picked.text, effect))
    if side.kind in ("outer", "inner") and picked.flat:
        text = f"the sheet is flat: its two sides are alike, and either would do; {side.text} was asked for"
        findings.append(Finding("flat sheet", 1, text, 0.0))
    if thorough:
        from layup.sides.findings import edges_found

        findings += edges_found(picked.loops())
    kept = shell.groups.kept(picked.faces)
    return Surface(
        Path(name).name,
        picked.whole,
        picked.mesh,
        side=side.text,
        unit=unit,
        findings=tuple(findings),
        groups=lambda: kept,
        left_out=picked.rest,
        laminate="before" if picked.thickness is None else "behind",
    )


def _closed_without_side(shell: _Shell, name: str, findings: list[Finding]) -> SurfaceError:
    """What the solid is, how large, what each of its sides would be, and what to write."""
    from layup.sides.bodies import bodies_of, clashes, remedy, said
    from layup.sides.solid import Solid

    mesh, whole = shell.joined, shell.whole
    assert mesh is not None
    size = " x ".join(f"{plain((high - low) * 1e3, 4)}" for low, high in zip(*(whole.box or ()), strict=True))
    rest = (
        f"; its box is {size} mm, all its faces together are {whole.area:.4g} m^2, and only one side of it is laid up"
    )
    for finding in findings:
        if finding.kind != "two skins":
            rest += f"; {finding.text}"
    bodies = bodies_of(mesh)
    if len(bodies) > 1:
        found = clashes(mesh, bodies)
        if found:
            return SurfaceError(f"{name}: {said(bodies, found)}{rest}", remedy(bodies))
        sizes = ", ".join(f"{plain(area, 4)}" for area in bodies.area[:6]) + (", ..." if len(bodies) > 6 else "")
        what = f"{len(bodies)} closed bodies that don't touch ({sizes} m^2)"
        return SurfaceError(f"{name}: {what}{rest}", f"Say which side: {CHOICES}; or body = 1 for the largest alone")
    solid = Solid(mesh)
    kind = solid.kind
    wall = "" if kind.thickness is None else f"{plain(kind.thickness * 1e3, 3)} mm"
    if kind.word != "sheet":
        what = "a closed solid" + (f" block, {wall} through" if kind.word == "block" and wall else "")
        if kind.word == "either":
            what = f"a closed solid, but no plain sheet: {'; '.join(kind.doubts[0])}"
        return SurfaceError(f"{name}: {what}{rest}", f'{solid.remedy()}; or side = "all" where every face is laid up')
    if shell.twins is not None:
        what = f"two skins about {plain(shell.twins.thickness * 1e3, 3)} mm apart, open round their rim"
    else:
        what = f"a closed solid with two skins, its wall {wall} thick"
    if solid.flat:
        line = f'the sheet is flat, either side is {plain(max(kind.sizes), 4)} m^2: side = "outer" would do'
    else:
        outer, inner = (kind.sizes[n] for n in solid.outer_first())
        line = f'most likely side = "outer" ({plain(outer, 4)} m^2); "inner" is {plain(inner, 4)} m^2'
    return SurfaceError(f"{name}: {what}{rest}", f"Say which: {CHOICES}. Here {line}")


def _evens_out(scan: Scan) -> bool:
    """Whether the faces face all ways in balance, as those of a solid do even with cracks in it."""
    return bool(np.linalg.norm(scan.vector_area) < 0.05 * scan.measured.area)


def _no_area(scan: Scan) -> Finding:
    count = scan.degenerate
    return Finding("no area", count, f"{count:,} triangles without area; they change nothing", 0.0)


def _cracks(whole: Measured) -> Finding:
    length = whole.perimeter or 0.0
    return Finding("cracks", 1, f"closed but for cracks with {plain(length * 1e3, 3)} mm of edge; taken as closed")


def _factor(unit: str, name: str) -> float:
    try:
        return parse(f"1 {unit.strip()}", "length")
    except UnitError:
        raise SurfaceError(
            f'{name}: unit "{unit}" is not a unit of length', 'Write unit = "mm", "cm", "m", "in" or "ft"'
        ) from None


def _scale(raw: _Raw, factor: float | None, unit: str | None, name: str) -> float:
    if raw.unit is None:
        if factor is None:
            raise _unit_missing(raw.scan.measured.box, name)
        return factor
    if factor is not None and abs(factor / raw.unit - 1.0) > 1e-9:
        raise SurfaceError(
            f'{name}: the part file says unit = "{unit}", but {raw.unit_reason.partition(", ")[2]}',
            'Take "unit" out of the part file, or export the file again in the right unit',
        )
    return raw.unit


def _unit_missing(box: Box | None, name: str) -> SurfaceError:
    assert box is not None
    size = [high - low for low, high in zip(*box, strict=True)]
    shown = " x ".join(plain(s, 4) for s in size)
    largest = max(size)
    readings = f"in mm that is {_metric(largest * 1e-3)} at most, in inches {_metric(largest * 0.0254)}"
    return SurfaceError(
        f"{name}: no unit. The box of {name} measures {shown}: {readings} "
        f"({_feet(largest * 0.0254)}), in m {_metric(largest)} ({_feet(largest)})",
        'Add unit = "mm", or "in", or "m"',
    )


def _metric(length: float) -> str:
    return f"{_plain(length * 1e3)} mm" if length < 1.0 else f"{_plain(length)} m"


def _plain(value: float) -> str:
    """Four digits, and never a power of ten."""
    return f"{value:,.0f}" if value >= 1000.0 else f"{plain(value, 4)}"


def _feet(length: float) -> str:
    return f"{_plain(float(f'{length / 0.3048:.3g}'))} ft" if length >= 0.3048 else f"{length / 0.0254:.3g} in"


def _read(path: Path, name: str, told: Told) -> _Raw:
    kind = path.suffix.lower().lstrip(".")
    if kind == "stl":
        scan, triangles = read_stl(path, name)
        return _Raw(scan, triangles=triangles)
    scene = _scene(path, kind, name, stretch(told, 0.0, 0.8))
    told("measuring", 0.8)
    raw = _of_mesh(scene.points, scene.faces, scene.groups, name)
    raw.unit, raw.unit_reason, raw.findings = scene.unit, scene.unit_reason, scene.findings
    return raw


def _scene(path: Path, kind: str, name: str, told: Told) -> Scene:
    """A file of any kind but STL; its reader is loaded only now."""
    if kind == "obj":
        from layup.files.read_obj import read_obj

        return read_obj(path, name, told)
    if kind == "ply":
        from layup.files.read_ply import read_ply

        return read_ply(path, name, told)
    if kind == "off":
        from layup.files.read_off import read_off

        return read_off(path, name)
    if kind == "3mf":
        from layup.files.read_3mf import read_3mf

        return read_3mf(path, name, told)
    if kind in ("step", "stp"):
        from layup.files.read_step import read_step

        return read_step(path, name)
    from layup.files.read_scene import read_scene

    return read_scene(path, name)


def _one_body(raw: _Raw, body: str, name: str) -> _Raw:
    """One body of a file: a named one, or the n-th largest of the pieces that hang together."""
    from layup.shape.topology import normals

    points, faces = raw.load(1.0)
    groups = raw.groups or Grouped(len(faces))
    if body in groups:
        mask = groups[body]
        taken = f'body "{body}" taken'
    else:
        number = _numbered(points, faces)
        counted = number >= 0
        areas = np.bincount(number[counted], normals(points, faces)[1][counted])
        sizes = sorted(
            ((float(areas[n]), int(n)) for n in np.unique(number[counted])), key=lambda pair: (-pair[0], pair[1])
        )
        if not body.isdigit() or not 1 <= int(body) <= len(sizes):
            known = ", ".join(f'"{word}"' for word in list(groups)[:12])
            listed = f"It holds {len(sizes)} bodies, numbered from the largest" + (f", and {known}" if known else "")
            raise SurfaceError(f'{name}: there is no body "{body}"', listed)
        mask = number == sizes[int(body) - 1][1]
        taken = f"body {body} of {len(sizes)} taken, counted from the largest"
    one = _of_mesh(points, faces[mask], groups.kept(mask), name)
    one.unit, one.unit_reason = raw.unit, raw.unit_reason
    one.findings = (*raw.findings, Finding("body", 1, taken))
    return one


def _numbered(points: NDArray[np.float64], faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """A number for the body each face is of: closed bodies with their hollows, else pieces that hang together."""
    from layup.shape.topology import edges_of, pieces
    from layup.sides.bodies import bodies_of
    from layup.sides.welded import Welded

    mesh = Welded.of_mesh(points, faces, 1.0)
    if mesh.has_free:
        return pieces(len(points), edges_of(faces)[0])[1][faces[:, 0]]
    return mesh.in_order(bodies_of(mesh).number)


def _of_mesh(points: NDArray[np.float64], faces: NDArray[np.int64], groups: Grouped, name: str) -> _Raw:
    if not len(faces):
        what = f"{len(points):,} points without faces" if len(points) else "nothing"
        raise SurfaceError(
            f"{name}: it holds {what}, so there is no surface to measure",
            "Export a mesh with faces; a scan needs meshing first",
        )
    try:
        scan = scan_triangles(points[faces])
    except SurfaceError as problem:
        raise SurfaceError(f"{name}: {problem.wrong}", problem.remedy) from None
    return _Raw(scan, mesh=(points, faces), groups=groups)
