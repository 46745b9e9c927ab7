"""The papers: what stands in them, in every form, and that a broken limit cannot be missed in print."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import pytest

from layup.errors import LayupError
from layup.refit.consolidate import consolidate
from layup.refit.job import RefitJob
from layup.refit.ledger import read_ledger
from layup.refit.loading import load_cases
from layup.refit.papers import papers
from layup.refit.refitfile import read_refit
from layup.refit.screen import alarms
from layup.report import palette
from layup.report.document import WRITE, Document, Facts, Grid, Words
from layup.report.document_file import document_bytes, write_document
from layup.units import LB


def job(most: str = "1600 lb", **changes: Any) -> RefitJob:
    data: dict[str, Any] = {
        "title": "Refit <1> & 2",
        "aircraft": "glider",
        "datum": "firewall",
        "by": "workshop",
        "index": {"per": 1000, "decimals": 1},
        "start": {"weight": "1200 lb", "cg": "78 in", "date": "2025-11-08", "method": "scales"},
        "limits": {"most": most, "forward": "70 in", "aft": "86 in"},
        "place": [{"name": "pilot", "arm": "76 in"}],
        "load": [{"name": "one", "aboard": {"pilot": "180 lb"}}],
        "removed": [
            {"name": "=SUM(A1)", "weighed": "3 lb 7 oz", "arm": "-20 in", "date": "2025-12-01"},
            {"name": "Größe µ", "listed": "1 lb", "give_or_take": "2 oz", "arm": "30 in"},
        ],
        "moved": [{"name": "battery", "weighed": "10 lb", "from": "100 in", "to": "60 in"}],
    }
    data.update(changes)
    return read_refit(data)


def made(one: RefitJob, kept: Any = "lb", drawn: bool = False) -> list[Document]:
    ledger = read_ledger(one, None)
    loading = load_cases(one, ledger)
    loud = alarms(loading, kept)
    return papers(one, ledger, loading, loud, kept, ("change", "balance"), date="2026-03-01", drawn=drawn)


def write(one: RefitJob, out: Path, kept: Any = "lb") -> Path:
    return write_document(made(one, kept, drawn=out.suffix != ".csv"), out)


def grids(paper: Document, title: str = "") -> list[Grid]:
    """The tables of a paper, or of one of its sections."""
    return [b for s in paper.sections if title in ("", s.title) for b in s.blocks if isinstance(b, Grid)]


def words(path: Path) -> str:
    """The text of a PDF, by its own tool where there is one."""
    import shutil
    import subprocess

    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not here")
    return subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout


def test_what_stands_in_the_change_sheet() -> None:
    sheet = made(job())[0]
    assert sheet.kind == "Equipment-change sheet"
    assert dict(sheet.plate)["date"] == "2026-03-01"
    facts = [block for block in sheet.sections[-2].blocks if isinstance(block, Facts)]
    assert dict(facts[0].pairs)["prepared by"] == "workshop"
    out = grids(sheet, "Taken out")[0]
    first = dict(zip(out.head, out.rows[0], strict=True))
    assert list(first.values())[:6] == ["=SUM(A1)", "−3 lb 7 oz", "−3.44", "−20.00 in", "+68.8 lb-in", "+0.1"]
    assert first["known by"] == "scale: 3 lb 7 oz"
    assert out.rows[-1][:3] == ("together", "−4 lb 7 oz", "−4.44")
    notes = [line for block in sheet.sections[-1].blocks if isinstance(block, Words) for line in block.lines]
    assert any("rounding may put a line up to 50 lb-in off" in note for note in notes)


def test_the_signature_stands_under_the_figures_that_are_signed_for(tmp_path: Path) -> None:
    for paper in made(job()):
        signed = next(s for s in paper.sections if ("Signature", WRITE) in pairs(s.blocks))
        assert signed.title == "Empty weight and centre of gravity"
        assert signed.together
    pages = words(write(job(), tmp_path / "p.pdf")).split("\f")[:-1]
    assert sum("Signature" in page for page in pages) == 2
    assert all("after these changes" in page for page in pages if "Signature" in page)
    numbers = [re.findall(r"(\d) of (\d)", page)[-1] for page in pages]
    count = str(len(pages) - 1)
    assert numbers == [("1", "1"), *((str(n), count) for n in range(1, len(pages)))]  # each paper by itself


def pairs(blocks: Any) -> list[tuple[str, str]]:
    return [pair for block in blocks if isinstance(block, Facts) for pair in block.pairs]


def test_what_an_inspector_asks_of_the_report(tmp_path: Path) -> None:
    one = job(
        serial="S/N 0123", supersedes="report of 2021-05-04",
        tank=[{"name": "fuel", "holds": "20 gal", "density": "6.0 lb/gal",
               "arm": [["0 %", "88 in"], ["100 %", "90 in"]]}],
        place=[{"name": "pilot", "arm": "76 in", "holds": "220 lb"}],
        load=[{"name": "one", "aboard": {"pilot": "180 lb", "fuel": "50 %"}}],
    )  # fmt: skip
    report = made(one)[1]
    assert dict(report.plate) | {} == {"aircraft": "glider", "serial number": "S/N 0123", "date": "2026-03-01",
                                       "supersedes": "report of 2021-05-04"}  # fmt: skip
    limits = next(g for g in grids(report) if g.head[0] == "limit")
    rows = {row[0]: row[1:] for row in limits.rows}
    assert rows["maximum weight"][:2] == ("1600 lb", "1,600.00")
    assert rows["forward limit of CG"][2] == "+70.00 in"
    useful = 1600.0 - (1200.0 - 3.4375 - 1.0)
    assert rows["useful load: maximum less empty weight"][1] == f"{useful:,.2f}"
    where = grids(report, "Seats, tanks, baggage and ballast")[0]
    assert [row[0] for row in where.rows] == ["pilot", "fuel", "fuel"]
    items = grids(report, "Load cases, item by item")[0]
    assert [row[1] for row in items.rows] == ["", "180 lb", "50 %", ""]
    masses = items.numbers[items.head.index("weight") + 1].values
    moments = items.numbers[items.head.index("moment")].values
    assert sum(m for m in masses[:3] if m) == pytest.approx(masses[3])  # item by item, and together
    assert sum(m for m in moments[:3] if m) == pytest.approx(moments[3])
    blank = made(job())[1]
    assert dict(blank.plate)["serial number"] == dict(blank.plate)["supersedes"] == WRITE  # asked for, not made up


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_either_paper_with_its_title_subject_and_author(paper: str, size: tuple[float, float]) -> None:
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(document_bytes(made(job()), ".pdf", paper)))
    assert reader.metadata is not None
    assert reader.metadata.title == "Refit <1> & 2: Equipment-change sheet, Weight-and-balance report"
    assert (reader.metadata.author, reader.metadata.subject) == (
        "layup",
        "Equipment-change sheet, Weight-and-balance report",
    )
    for page in reader.pages:
        assert [float(v) for v in page.mediabox[2:]] == pytest.approx(size, abs=0.01)


def test_units_of_the_record_and_the_other() -> None:
    metric = made(job(), "metric")[1]
    rows = [cell for grid in grids(metric) for row in grid.rows for cell in row]
    assert "542.3 kg" in rows
    assert not any("decimal" in name for grid in grids(metric) for name in grid.head)
    assert not any(re.search(r"\blb\b", cell) for cell in rows if cell not in ("1200 lb", "180 lb"))


def test_pdf(tmp_path: Path) -> None:
    path = write(job(), tmp_path / "p.pdf")
    assert path.read_bytes()[:5] == b"%PDF-"
    text = words(path)
    for expected in ("Equipment-change sheet", "Weight-and-balance report", "Refit <1> & 2", "Größe µ", "Signature",
                     "−3 lb 7 oz", "−3.44", "1 of 1", "1 of 2", "not an approval"):  # fmt: skip
        assert expected in text
    assert "OUTSIDE" not in text
    assert path.read_bytes() == write(job(), tmp_path / "q.pdf").read_bytes()


def test_a_broken_limit_is_on_every_page_first_and_last(tmp_path: Path) -> None:
    text = words(write(job("1370 lb"), tmp_path / "p.pdf"))
    pages = text.split("\f")[:-1]
    assert len(pages) >= 2
    for page in pages:
        assert "OUTSIDE LIMITS: NOT TO BE FLOWN LOADED LIKE THIS" in page
    assert text.count("OUTSIDE LIMITS: one: 5 lb 9 oz TOO HEAVY") == 4  # first and last of each paper
    html = write(job("1370 lb"), tmp_path / "p.html").read_text()
    assert html.count('role="alert"') == 4
    assert html.count('class="bad"') == 1
    table = write(job("1370 lb"), tmp_path / "p.csv").read_text("utf-8-sig")
    assert table.count("OUTSIDE LIMITS: one") == 4


def test_html_is_whole_and_escaped(tmp_path: Path) -> None:
    from html.parser import HTMLParser

    html = write(job(), tmp_path / "p.html").read_text()
    assert "Refit &lt;1&gt; &amp; 2" in html
    assert "<svg" in html
    assert "http://" not in re.sub(r'(xmlns(:\w+)?|rdf:resource)="[^"]*"', "", html.split("<svg")[0])
    opened: list[str] = []

    class Check(HTMLParser):
        def handle_starttag(self, tag: str, attrs: Any) -> None:
            if tag not in ("meta", "br", "input"):
                opened.append(tag)

        def handle_startendtag(self, tag: str, attrs: Any) -> None:
            pass

        def handle_endtag(self, tag: str) -> None:
            assert opened.pop() == tag

    Check().feed(html)
    assert opened == []


def test_csv_numbers_add_up_and_nothing_is_a_formula(tmp_path: Path) -> None:
    rows = list(csv.reader(io.StringIO(write(job(), tmp_path / "p.csv").read_text("utf-8-sig"))))
    at = rows.index(["Taken out"])
    heads = rows[at + 1]
    assert heads[:5] == ["item", "change", "change, decimal lb", "arm", "arm, in"]
    figures = [dict(zip(heads, row, strict=True)) for row in rows[at + 2 : at + 5]]
    assert float(figures[0]["change, decimal lb"]) == pytest.approx(-3.4375)
    for line in figures[:2]:
        product = float(line["change, decimal lb"]) * float(line["arm, in"])
        assert float(line["moment, lb in"]) == pytest.approx(product, rel=1e-5)
    assert float(figures[2]["change, decimal lb"]) == pytest.approx(-4.4375)
    assert not any(cell[:1] in "=+@" for row in rows for cell in row if cell)


def test_the_workbook_holds_numbers_and_no_formula(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    book = load_workbook(write(job("1370 lb"), tmp_path / "p.xlsx"))
    assert book.sheetnames == ["Equipment-change sheet", "Weight-and-balance report"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert "=SUM(A1)" in [cell.value for cell in cells]
    assert -3.4375 in [cell.value for cell in cells]
    loud = [cell for cell in cells if str(cell.value).startswith("OUTSIDE LIMITS")]
    assert len(loud) == 4
    assert all(cell.font.bold and cell.fill.fgColor.rgb.upper().endswith(palette.OLD[1:].upper()) for cell in loud)
    assert len(book["Weight-and-balance report"]._images) == 1


def test_no_changes_and_no_load_cases(tmp_path: Path) -> None:
    bare = job(removed=[], moved=[], load=[])
    for form in ("pdf", "html", "csv", "xlsx"):
        assert write(bare, tmp_path / f"p.{form}").stat().st_size > 500
    assert made(bare)[0].sections[0].title == "No change"


def test_two_hundred_items_run_over_pages(tmp_path: Path) -> None:
    many = [{"name": f"item {n}, with a long name that must wrap in its column", "weighed": "1 lb", "arm": "50 in"}
            for n in range(200)]  # fmt: skip
    text = words(write(job(removed=many), tmp_path / "p.pdf"))
    assert all(f"item {n}," in text for n in range(200))
    assert "of 10" in text or text.count("\f") > 6


def test_many_cases_and_one_long_word(tmp_path: Path) -> None:
    load = [{"name": f"case {n}", "aboard": {"pilot": f"{120 + n} lb"}} for n in range(120)]
    one = job(load=load, removed=[{"name": "x" * 180, "weighed": "1 lb", "arm": "50 in"}])
    for form in ("pdf", "html", "csv", "xlsx"):
        assert write(one, tmp_path / f"p.{form}").stat().st_size > 500
    assert "case 119" in words(tmp_path / "p.pdf")


def test_where_a_paper_cannot_go(tmp_path: Path) -> None:
    with pytest.raises(LayupError, match="End its name in"):
        write(job(), tmp_path / "p.doc")
    with pytest.raises(LayupError, match="can't be written"):
        write(job(), tmp_path / "nowhere" / "p.csv")


def test_consolidation_by_hand() -> None:
    joined = {
        "name": "cowl",
        "old": [
            {"name": "halves", "weighed": "2 lb"},
            {"name": "screws", "kind": "fasteners", "each": "0.1 oz", "count": 40},
            {"name": "sealant", "kind": "sealant", "per_length": "10 g/m", "length": "2 m"},
            {"name": "lap", "kind": "lap", "sheet": "aluminium 2024-T3", "thickness": "1 mm", "width": "20 mm",
             "length": "1 m"},
        ],
        "new": [{"name": "one piece", "listed": "1 lb 8 oz"}],
    }  # fmt: skip
    one = job(consolidation=[joined])
    found = consolidate(one.refit.consolidation[0], one.predictions)
    density = found.old[3].mass / (0.001 * 0.02 * 1.0)
    assert 2700 < density < 2850  # aluminium, whatever the table says exactly
    assert found.joints("old") == pytest.approx(0.25 * LB + 0.020 + found.old[3].mass)
    assert found.saving.mean == pytest.approx(2 * LB + found.joints("old") - 1.5 * LB)
    assert {piece.kind for piece in (*found.old, *found.new)} == {"part", "lap", "fasteners", "sealant"}
