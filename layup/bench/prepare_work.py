"""The work behind the Prepare page that takes long; each runs in a process of its own and gives back plain data."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

from layup.bench.running import Tell

if TYPE_CHECKING:
    from layup.partfile.job import Job


class Mixing(TypedDict):
    """What `layup mix` is asked, read from the fields: pairs of hands, temperature [K], ratio [-], largest pot [kg]."""

    people: int
    temperature: float | None
    ratio: float | None
    pot: float | None


def job_of(part: str, text: str) -> Job:
    """The part as it stood when the work was asked for, whatever was written since.

    Args:
        part: Path of the part file.
        text: What stood in it; the page has seen that it names no file outside its folder.
    """
    from layup.partfile.read import read_part

    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / Path(part).name
        copy.write_bytes(text.encode())
        return read_part(copy, Path(part).parent)


def cloth(
    part: str, text: str, gap: str, edge: str, seconds: float, rolls: tuple[str, ...], face_down: bool, *, tell: Tell
) -> dict[str, object]:
    """Every ply on its roll, as `layup cut` lays it.

    Args:
        part: Path of the part file.
        text: What stands in it.
        gap: Between two pieces, as written.
        edge: Not used along each edge, as written.
        seconds: How long to search. [s]
        rolls: Rolls of another width, each "CLOTH=WIDTH".
        face_down: Whether plain weaves may be cut face down.
        tell: Says how far it is.

    Returns:
        What `layup cut` shows, as blocks, the picture as SVG, its JSON and the text that `layup cut --save` stores.
    """
    from layup.make.as_json import cut_json
    from layup.make.cut import cut
    from layup.make.nest_file import write_cut
    from layup.make.nest_picture import cut_figure
    from layup.make.rolls import check_cloths, read_widths
    from layup.make.screen import cut_told
    from layup.units import parse

    job = job_of(part, text)
    check_cloths(rolls, [job])
    system = job.part.units
    result = cut(
        [job],
        gap=parse(gap, "length"),
        edge=parse(edge, "length"),
        seconds=seconds,
        widths=read_widths(rolls),
        face_down=face_down,
        told=lambda words, share: tell(words),
    )
    tell("drawing")
    with tempfile.TemporaryDirectory() as scratch:
        kept = Path(scratch) / "cut.json"
        write_cut(result, kept)
        stored = kept.read_text(encoding="utf-8")
    picture = io.BytesIO()
    if result.fabrics:
        cut_figure(result.fabrics, system).savefig(picture, format="svg")
    return {
        "blocks": cut_told(result, system),
        "svg": picture.getvalue(),
        "json": cut_json(result),
        "stored": stored,
    }


def shapes(part: str, text: str, paper: str, *, tell: Tell) -> dict[str, object]:
    """Every ply flat, its shear on the surface, splices, and the drawings to cut by, as `layup patterns` makes them.

    Returns:
        What `layup patterns` shows, as sections, the shear as PNG, its JSON, and the files by their endings.
    """
    from layup.cloth.draped import drape_ply, shears
    from layup.cloth.pattern import flat_plies
    from layup.cloth.patterns_screen import patterns_json, patterns_told
    from layup.cloth.shear_picture import shear_figure
    from layup.cloth.splice_line import splices_of
    from layup.cloth.templates import write_dxf, write_svg
    from layup.cloth.tiled_pdf import pdf_bytes

    job = job_of(part, text)
    system = job.part.units
    plies = flat_plies(job, told=lambda words, share: tell(words))
    tell("shear on the surface")
    lies = [
        (f"{e.fabric} at {e.angle:g}°, {e.zone or 'whole'}", drape_ply(job, e))
        for e in job.part.plies()
        if e.fabric is not None and e.area is None and shears(job, e)
    ]
    shear = io.BytesIO()
    if lies and job.surface.has_mesh:
        title = f"{job.part.title}: shear of the cloth"
        shear_figure(job.surface, lies, title, job.part.surface.mould).savefig(shear, format="png", dpi=110)
    splices = splices_of(job, lambda words, share: tell(words))
    tell("drawings")
    with tempfile.TemporaryDirectory() as scratch:
        dxf = write_dxf(plies, Path(scratch) / "plies.dxf", "in" if system == "lb" else "mm").read_bytes()
        svg = write_svg(plies, Path(scratch) / "plies.svg").read_bytes()
    pdf = pdf_bytes(plies, "letter" if paper == "letter" else "a4", title=job.part.title, system=job.part.units)
    return {
        "blocks": patterns_told(job, plies, splices, system),
        "png": shear.getvalue(),
        "json": patterns_json(job, plies, splices),
        "files": {"dxf": dxf, "svg": svg, "pdf": pdf},
    }


def sheet(
    part: str, text: str, kept: bool, shop: str | None, paper: str, mixing: Mixing, *, tell: Tell
) -> dict[str, object]:
    """The build sheet as PDF and as a page, as `layup sheet` writes it.

    Args:
        part: Path of the part file.
        text: What stands in it.
        kept: Whether a layout is stored beside it that may be read.
        shop: The folder of the shop's record; None for published figures alone.
        paper: "A4" or "Letter".
        mixing: What `layup mix` is asked.
        tell: Says how far it is.
    """
    from layup.learn.calibrate import habits_near
    from layup.make.build_sheet import build_sheet, prepare
    from layup.report.document_file import document_bytes
    from layup.weight.prediction import predict

    tell("working out the sheet")
    path = Path(part)
    job = job_of(part, text)
    prediction = predict(job, habits=habits_near(path, shop, job.library) if shop else None)
    bench = prepare(prediction, path if kept else None, **mixing)
    tell("writing it")
    built = build_sheet(bench, prediction.job.part.units)
    return {"files": {form: document_bytes(built, f".{form}", paper) for form in ("pdf", "html")}}
