"""The build sheet: every ply, size, pot and weigh point is on it, nothing is cut off, one family of type."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from layup.commands.cli import main
from layup.errors import LayupError
from layup.make.batches import mixes
from layup.make.build_sheet import Bench, build_sheet, prepare
from layup.make.build_sheet_tables import force_words
from layup.make.nest_file import path_beside, write_cut
from layup.partfile.read import read_part
from layup.report.document import TICK, WRITE, Document, Facts, Grid, Section, Words
from layup.report.document_file import PAPERS, write_document
from layup.report.document_html import html_text
from layup.report.document_pdf import pdf_bytes
from layup.weight.prediction import predict

Hatch = Callable[..., dict[str, Any]]


def flat_text(text: str) -> str:
    """Without breaks: a cell wraps where its column ends."""
    return re.sub(r"\s+", "", text.replace("\u00a0", " "))


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(data)).pages]


def words_of(sheet: Document) -> list[str]:
    """Every word the content holds."""
    found = [sheet.title, *(v for _, v in sheet.plate)]
    for section in sheet.sections:
        found.append(section.title)
        for block in section.blocks:
            if isinstance(block, Facts):
                found += [text for pair in block.pairs for text in pair]
            elif isinstance(block, Grid):
                found += [*block.head, *(cell for row in block.rows for cell in row)]
            elif isinstance(block, Words):
                found += block.lines
    return [text for text in found if text.strip() and text not in (TICK, WRITE)]


@pytest.fixture(scope="module")
def door() -> tuple[Bench, Document]:
    example = Path(__file__).parent.parent / "examples" / "motor-glider" / "engine-bay-door.toml"
    bench = prepare(predict(example), patterns=False, ratio=0.27)
    return bench, build_sheet(bench, "both")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_everything_is_on_the_pdf(door: tuple[Bench, Document], paper: str) -> None:
    bench, sheet = door
    listed = pages(pdf_bytes([sheet], *PAPERS[paper]))
    text = flat_text("".join(listed))
    for words in words_of(sheet):
        assert flat_text(words) in text, words
    for layer in bench.prediction.weighed.layers:
        assert flat_text(layer.name) in text
    for number, page in enumerate(listed, 1):
        assert flat_text(f"{number} of {len(listed)}") in flat_text(page)
        assert flat_text(sheet.title) in flat_text(page)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_reaches_past_the_frame(door: tuple[Bench, Document], paper: str) -> None:
    """Every piece of text, from its start to its end, and every picture lies inside the frame of its page."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    wide, high = (v * 72 / 25.4 for v in PAPERS[paper])
    edge = 9 * 72 / 25.4 - 0.6
    reader = PdfReader(BytesIO(pdf_bytes([door[1]], *PAPERS[paper])))
    seen = 0
    for page in reader.pages:
        assert [float(v) for v in page.mediabox] == pytest.approx([0, 0, wide, high], abs=0.01)

        def look(text: str, cm: list[float], tm: list[float], font: Any, size: float) -> None:
            nonlocal seen
            if not text.strip():
                return
            seen += 1
            x, y = cm[0] * tm[4] + cm[2] * tm[5] + cm[4], cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            assert edge <= x <= wide - edge, text
            assert edge <= y <= high - edge, text
            name = "Text-Bold" if "Bold" in str((font or {}).get("/BaseFont", "")) else "Text"
            longest = max(stringWidth(line, name, size) for line in text.split("\n"))
            assert x + longest * 0.98 <= wide - edge, text

        page.extract_text(visitor_text=look)
    assert seen > 200


def test_one_family_of_type_and_the_same_bytes_every_time(door: tuple[Bench, Document]) -> None:
    data = pdf_bytes([door[1]], *PAPERS["A4"])
    assert data == pdf_bytes([door[1]], *PAPERS["A4"])
    fonts = set()
    for page in PdfReader(BytesIO(data)).pages:
        for font in page["/Resources"]["/Font"].values():
            fonts.add(re.sub(r"^/?[A-Z]+\+", "", str(font.get_object()["/BaseFont"])).removeprefix("/"))
    assert fonts == {"DejaVuSans", "DejaVuSans-Bold"}


def test_the_sheet_shows_the_figures_of_its_parts(door: tuple[Bench, Document]) -> None:
    bench, sheet = door
    text = " ".join(words_of(sheet)).replace("\u00a0", " ")
    assert f"{bench.mixes[0].batches[0].resin * 1e3:.0f} g" in text
    assert f"{bench.cut.fabrics[0].length * 1e3:.0f} mm" in text  # shorter than two metres
    for point in bench.points:
        assert point.name in text
    assert text.count("9 builds in 10") >= 2
    assert "common practice, no source" in text
    assert "those of the resin's data sheet" in text
    assert "not of strength" in text
    assert "--" not in text  # no command's option on the wall
    titles = [section.title for section in sheet.sections]
    assert titles == [
        "The part", "Plies, in laying order", "Cloth to cut", "Resin", "The bag, from the tool up", "Cure",
        "On the scale", "Hold points", "Trimming, finish, fitting", "Cautions",
    ]  # fmt: skip
    boxes = [c for s in sheet.sections for b in s.blocks if isinstance(b, Grid) for r in b.rows for c in r]
    assert boxes.count(WRITE) >= len(bench.points) + 8
    assert boxes.count(TICK) >= len(bench.prediction.weighed.layers) + len(bench.cut.fabrics)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.kinds: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.kinds.append(dict(attrs).get("type") or tag)
        self.links += [v for k, v in attrs if k in ("src", "href", "xlink:href") and v]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_page_for_a_tablet(door: tuple[Bench, Document]) -> None:
    html = html_text([door[1]])
    tags = _Tags()
    tags.feed(html)
    text = flat_text("".join(tags.text))
    for words in words_of(door[1]):
        assert flat_text(words) in text, words
    assert tags.kinds.count("checkbox") >= 10
    assert tags.kinds.count("text") >= 10
    assert all(link.startswith(("data:", "#")) for link in tags.links)  # nothing comes from a network
    assert "svg" in tags.kinds
    assert "<script" not in html


@pytest.mark.parametrize(
    ("process", "resin", "fabric"),
    [
        ("wet", "polyester, laminating", "glass plain 200"),
        ("infusion", "epoxy, infusion", "carbon twill 200"),
        ("prepreg", None, "carbon plain 193 prepreg"),
    ],
)
@pytest.mark.parametrize("system", ["lb", "metric"])
def test_every_process_has_its_sheet(hatch: Hatch, process: str, resin: str | None, fabric: str, system: Any) -> None:
    part = hatch(process=process, resin=resin, surface={"rectangle": ["700 mm", "500 mm"]}, ply=[{"fabric": fabric}])
    bench = prepare(predict(part))
    sheet = build_sheet(bench, system)
    text = flat_text("".join(pages(pdf_bytes([sheet], *PAPERS["A4"]))))
    for words in words_of(sheet):
        assert flat_text(words) in text, words
    assert ("Resin" in [s.title for s in sheet.sections]) == (process != "prepreg")


def test_an_area_alone_has_a_sheet_without_a_picture(hatch: Hatch) -> None:
    sheet = build_sheet(prepare(predict(hatch(surface={"area": "0.54 m^2"}))), "both")
    assert "made up" in " ".join(words_of(sheet))


def test_long_names_and_many_plies_are_not_cut_off(hatch: Hatch) -> None:
    title = "Fairing between the outer wing and the tip, lower half, left, second try after the mould was mended <&>"
    zone = "an unreasonably long name for a doubler under the seventh bracket"
    part = hatch(
        title=title, surface={"rectangle": ["500 mm", "400 mm"]}, zone=[{"name": zone, "between": "x 0 mm 90 mm"}],
        ply=[{"fabric": "carbon plain 200", "count": 45}, {"fabric": "carbon plain 160", "zone": zone}],
    )  # fmt: skip
    sheet = build_sheet(prepare(predict(part), people=3), "both")
    listed = pages(pdf_bytes([sheet], *PAPERS["Letter"]))
    text = flat_text("".join(listed))
    for words in words_of(sheet):
        assert flat_text(words) in text, words
    html = html_text([sheet])
    assert "<&>" not in html


def test_what_adds_up_to_a_sum_stays_on_its_page() -> None:
    """Load cases item by item: wherever the page ends, no case is parted from its sum."""
    own = ("seats", "fuel", "bags", "oil", "sum")
    rows = [(f"case {case}: {what}", "1") for case in range(24) for what in own]
    grid = Grid(("aboard", "weight"), tuple(rows), totals=frozenset(range(4, 120, 5)))
    sheet = Document("Report", "Cases", (("date", "today"),), (Section("Cases", (grid,)),))
    listed = pages(pdf_bytes([sheet], *PAPERS["A4"]))
    assert len(listed) > 1
    for page in listed:
        found = re.findall(r"case (\d+): (\w+)", page)
        assert [what for _, what in found] == [*own] * (len(found) // 5)


def test_a_stored_cut_is_the_one_on_the_sheet(hatch: Hatch, examples: Path, tmp_path: Path) -> None:
    for name in ("rear-window.toml", "shop.csv"):
        shutil.copy(examples / "motor-glider" / name, tmp_path / name)
    part = tmp_path / "rear-window.toml"
    from layup.make.cut import cut

    found = cut([read_part(part)], seconds=1, gap=0.006, edge=0.01, widths={"carbon twill 200": 1.3})
    write_cut(found, path_beside(part))
    bench = prepare(predict(part), part)
    assert bench.cut.fabrics[0].nest.placed == found.fabrics[0].nest.placed
    assert bench.cut.fabrics[0].nest.roll.width == 1.3


def test_the_command(examples: Path, tmp_path: Path) -> None:
    part = str(examples / "motor-glider" / "rear-window.toml")
    out = tmp_path / "door.pdf"
    done = CliRunner().invoke(main, ["sheet", part, "--out", str(out), "--html", "--paper", "Letter"])
    assert done.exit_code == 0, done.output
    assert out.read_bytes().startswith(b"%PDF")
    assert (tmp_path / "door.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    for bad in (["--out", str(tmp_path / "door.doc")], ["--out", str(tmp_path / "no" / "door.pdf")]):
        wrong = CliRunner().invoke(main, ["sheet", part, *bad])
        assert wrong.exit_code == 2
        assert "Traceback" not in wrong.output


def test_unknown_paper_is_refused(door: tuple[Bench, Document], tmp_path: Path) -> None:
    with pytest.raises(LayupError, match="A4 or Letter"):
        write_document(door[1], tmp_path / "door.pdf", "A3")


def test_openings_are_cut_only_where_there_are_some(hatch: Hatch, door: tuple[Bench, Document]) -> None:
    def trimmed(bench: Bench) -> str:
        return next(point.how for point in bench.points if point.name == "trimmed")

    assert "openings" not in trimmed(prepare(predict(hatch()), patterns=False))
    assert "openings cut" in trimmed(door[0])  # the door has slots


def test_a_force_is_rounded_alike_in_both_units() -> None:
    assert force_words(4750 * 9.80665, "both").replace("\u00a0", " ") == "4,800 kg\n10,500 lb"  # 10,472 lb


def top_of(page: Any) -> str:
    """What stands highest on a page, without breaks."""
    found: list[tuple[float, str]] = []

    def look(text: str, cm: list[float], tm: list[float], _: Any, __: float) -> None:
        if text.strip():
            found.append((cm[1] * tm[4] + cm[3] * tm[5] + cm[5], text))

    page.extract_text(visitor_text=look)
    highest = max(y for y, _ in found)
    return flat_text(" ".join(text for y, text in found if y > highest - 6))


def test_a_page_begins_with_its_section_and_none_is_nearly_empty(hatch: Hatch, door: tuple[Bench, Document]) -> None:
    small = build_sheet(prepare(predict(hatch()), patterns=False), "both")
    carried = 0
    for sheet in (door[1], small):
        heads = [flat_text(f"{n}{section.title}") for n, section in enumerate(sheet.sections, 1)]
        listed = PdfReader(BytesIO(pdf_bytes([sheet], *PAPERS["A4"]))).pages
        for page in listed:
            top = top_of(page)
            assert any("".join(sorted(head)) == "".join(sorted(top)) for head in heads) or any(
                top.startswith(f"{head}(continued)") for head in heads
            ), top
            carried += "(continued)" in top
        for page in listed[:-1]:
            assert len(flat_text(page.extract_text())) > 350
    assert carried > 0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_four_plies_have_three_pages_at_most(hatch: Hatch, door: tuple[Bench, Document], paper: str) -> None:
    part = hatch(surface={"rectangle": ["700 mm", "500 mm"]}, ply=[{"fabric": "carbon plain 200", "count": 4}])
    four = build_sheet(prepare(predict(part), ratio=0.3), "both")
    assert len(pages(pdf_bytes([four], *PAPERS[paper]))) <= 3
    # seven layers in five places, all of it in both systems of units; with a ratio there is a table for the scale too
    bench, sheet = door
    told = replace(bench, mixes=mixes(bench.prediction.job, bench.prediction.weighed, ratio=0.3))
    for seven in (sheet, build_sheet(told, "both")):
        assert len(pages(pdf_bytes([seven], *PAPERS[paper]))) == 3


def test_the_boxes_of_the_cure_and_of_the_inspector(door: tuple[Bench, Document]) -> None:
    tables = {s.title: [b for b in s.blocks if isinstance(b, Grid)] for s in door[1].sections}
    [cure] = tables["Cure"]
    for row in cure.rows:
        boxes = dict(zip(cure.head, row, strict=True))
        assert boxes["temperature"] == boxes["from (time)"] == boxes["to (time)"] == WRITE
    [hold] = tables["Hold points"]
    stops = [cell for row in hold.rows for cell in row[::2] if cell]
    assert len(stops) == 6
    assert all(row[1] == WRITE for row in hold.rows)
    assert "leak-down" in " ".join(stops)
    assert "[[" not in " ".join(words_of(door[1]))  # the part file's own spelling is no shop talk
