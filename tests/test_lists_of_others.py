"""Equipment lists as others save them: what is wrong is said with the row; what is right is read, to the last row."""

from __future__ import annotations

import contextlib
import io
import random
import re
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.errors import FaultsError, LayupError
from layup.refit.equipment import read_equipment
from layup.refit.refitfile import read_refit

HEAD = "item,weight [lb],arm [in]\n"


@pytest.mark.parametrize(
    "row",
    ["radio,nan,10", "radio,inf,10", "radio,-inf,10", "radio,-5,10", "radio,1e308,10", "radio,1e9,10", "radio,,10",
     "radio,5,nan", "radio,5,1e9", "radio,5,99999999", "radio,999999999,10", 'radio,"5,5,5",10', "radio,true,10",
     "radio,5 kg/m,10", "radio,5,10 lb", "radio,0x10,10", "radio,1/0,10", "radio,--5,10"],
)  # fmt: skip
def test_a_row_that_cannot_be_is_said_with_its_number(tmp_path: Path, row: str) -> None:
    (tmp_path / "list.csv").write_text(f"{HEAD}compass,1,20\n{row}\n")
    done = CliRunner().invoke(main, ["ledger", "list", str(tmp_path / "list.csv")])
    assert done.exit_code == 2, done.output
    assert "line 3: radio" in done.output
    assert "mistake of its own" not in done.output


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (f"{HEAD}Funkgerät,5,10\n".encode("cp1252"), "Funkgerät"),
        (f"{HEAD}Funkgerät,5,10\n".encode("utf-16"), "Funkgerät"),
        (f"{HEAD}Funkgerät,5,10\n".encode("utf-8-sig"), "Funkgerät"),
        (b"item;weight [lb];arm [in]\r\nradio;5;10\r\n", "radio"),
        (b"item\tweight [lb]\tarm [in]\rradio\t5\t10\r", "radio"),
    ],
)
def test_what_spreadsheets_make_of_it_is_read(tmp_path: Path, text: bytes, name: str) -> None:
    (tmp_path / "list.csv").write_bytes(text)
    (item,) = read_equipment(tmp_path / "list.csv")
    assert item.name == name
    assert item.mass == pytest.approx(5 * 0.45359237)


def test_a_comma_between_semicolons_is_the_decimal_sign(tmp_path: Path) -> None:
    """`1,234` kg was read as 1234 kg, from the list of a spreadsheet that writes 1.234 so."""
    (tmp_path / "list.csv").write_text("item;weight [kg];arm [m]\nradio 1,5;1,234;0,400\ncompass;2,5 lb;-1,25\n")
    radio, compass = read_equipment(tmp_path / "list.csv")
    assert (radio.name, radio.mass, radio.arm) == ("radio 1,5", pytest.approx(1.234), pytest.approx(0.4))
    assert (compass.mass, compass.arm) == (pytest.approx(2.5 * 0.45359237), pytest.approx(-1.25))
    (tmp_path / "list.csv").write_text('item,weight [kg],arm [m]\nengine,"1,234",0.4\n')
    with pytest.raises(FaultsError, match=r'"1\.234 kg" or "1234 kg"'):  # nothing in it says which
        read_equipment(tmp_path / "list.csv")


@pytest.mark.parametrize(
    "text", [b"", b"\n\n", b"a,b\n1,2\n", b"\0" * 300, b"a" * 200_000, b'item,weight\n"' + b"b" * 200_000 + b'",5\n']
)
def test_what_is_no_list_is_said(tmp_path: Path, text: bytes) -> None:
    (tmp_path / "list.csv").write_bytes(text)
    with pytest.raises(FaultsError):
        read_equipment(tmp_path / "list.csv")


def spreadsheet(rows: int) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["item", "weight [lb]", "arm [in]"])
    for number in range(rows):
        sheet.append([f"item {number}", 1.5, 10 + number])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def repacked(raw: bytes, change: dict[str, tuple[bytes, bytes]]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.namelist():
            data = old.read(entry)
            if entry in change:
                data = re.sub(*change[entry], data)
            new.writestr(entry, data)
    return out.getvalue()


def test_a_stale_size_in_a_spreadsheet_loses_no_row(tmp_path: Path) -> None:
    raw = repacked(spreadsheet(30), {"xl/worksheets/sheet1.xml": (rb'ref="A1:C\d+"', b'ref="A1:C6"')})
    (tmp_path / "list.xlsx").write_bytes(raw)
    assert len(read_equipment(tmp_path / "list.xlsx")) == 30


def test_a_damaged_spreadsheet_is_said(tmp_path: Path) -> None:
    """60 spreadsheets with a bite out of one of their files, and 40 with bytes changed."""
    raw = spreadsheet(8)
    dice = random.Random(9)
    names = zipfile.ZipFile(io.BytesIO(raw)).namelist()
    path = tmp_path / "list.xlsx"
    at = raw.rindex(b"PK\x01\x02") + 6  # what version of the packing is needed to open an entry
    path.write_bytes(raw[:at] + b"\xbb" + raw[at + 1 :])
    with pytest.raises(FaultsError, match="not a spreadsheet"):
        read_equipment(path)
    for number in range(100):
        if number < 60:
            name = dice.choice(names)
            broken = repacked(raw, {name: (b"(?s)^(.{%d}).{9}" % dice.randrange(60), rb"\1<&")})
        else:
            at = dice.randrange(len(raw) - 4)
            broken = raw[:at] + dice.randbytes(4) + raw[at + 4 :]
        path.write_bytes(broken)
        with contextlib.suppress(FaultsError):  # no other error
            read_equipment(path)


def test_a_spreadsheet_that_unpacks_to_gigabytes_is_refused(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/big.xml", b"\0" * 300_000_000)
    (tmp_path / "list.xlsx").write_bytes(out.getvalue())
    with pytest.raises(LayupError, match="300 MB"):
        read_equipment(tmp_path / "list.xlsx")


def test_an_item_that_stands_twice_with_other_figures_is_asked_about(examples: Path, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(examples / "motor-glider", tmp_path / "shop")
    path = tmp_path / "shop" / "equipment.csv"
    row = next(line for line in path.read_text().split("\n") if line.startswith("radio old"))
    path.write_text(path.read_text().rstrip("\n") + "\n" + row.replace(row.split(",")[1], "77 lb") + "\n")
    with pytest.raises(FaultsError, match="twice with other figures"):
        read_refit(tmp_path / "shop" / "refit.toml")
