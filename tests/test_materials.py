"""The tables: the shipped library holds, a shop's table lies over it, and its faults are all named."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytest import approx

from layup.errors import Fault, FaultsError, LayupError, MissingFigureError
from layup.materials import COLUMNS, _check_row, load_library

HEAD = ",".join(COLUMNS) + "\n"


def shop(tmp_path: Path, *rows: str) -> Path:
    path = tmp_path / "shop.csv"
    path.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_the_shipped_library_has_no_faults() -> None:
    """Every row: its property, kind, value, source and the names it refers to."""
    library = load_library()
    faults: list[Fault] = []
    for material in library:
        for row in material.rows:
            assert not _check_row(row, material.kind, faults) or row.shop or row.source in library.sources, row
        for word, kind in (("fibre", "fibre"), ("second_fibre", "fibre"), ("prepreg_resin", "resin")):
            named = material.word(word)
            assert named is None or material.kind != "fabric" or library.find(kind, named), material.name
    assert [str(fault) for fault in faults] == []


def test_the_library_is_as_wide_as_the_trade_needs() -> None:
    library = load_library()
    assert len(library.names("fabric")) >= 40
    assert {"E-glass", "S-glass", "aramid", "flax", "basalt"} <= set(library.names("fibre"))
    forms = {library.get("fabric", name).word("form") for name in library.names("fabric")}
    assert forms == {"mat", "roving", "cloth", "spread tow", "unidirectional", "biaxial", "veil"}
    for kind, least in (("resin", 6), ("core", 10), ("sheet", 12), ("covering", 3), ("finish", 6), ("consumable", 6)):
        assert len(library.names(kind)) >= least, kind


def test_every_fabric_can_be_weighed_and_every_process_has_its_figures() -> None:
    library = load_library()
    for name in library.names("fabric"):
        fabric = library.get("fabric", name)
        assert 0.01 < fabric.figure("areal_weight").value < 3.0, name
        assert library.get("fibre", fabric.word("fibre") or "").figure("density").value > 1000, name
    for name in library.names("process"):
        process = library.get("process", name)
        for figure in ("surface_resin", "void_content", "loss", "spread_between_shops", "spread_between_parts"):
            process.figure(figure)


def test_the_guide_names_the_figure_that_is_used() -> None:
    guide = (Path(__file__).parent.parent / "docs" / "materials.md").read_text(encoding="utf-8")
    used = load_library().get("fibre", "E-glass").figure("density").printed.split()[0]
    assert f"both stand in the table, and {used} is used" in guide


def test_plywood_as_a_core_is_answered_with_rows_that_work(tmp_path: Path) -> None:
    said = load_library().hint("core", "okoume plywood")
    rows = [said.split("in your table: ")[1].split(" and ")[0], said.split(" and ")[1]]
    path = tmp_path / "shop.csv"
    path.write_text("\n".join([",".join(COLUMNS), *rows]) + "\n", encoding="utf-8")
    core = load_library([path]).get("core", "okoume plywood core")
    assert core.figure("density").value == load_library().get("sheet", "okoume plywood").figure("density").value


def test_no_figure_stands_without_a_source() -> None:
    library = load_library()
    for material in library:
        for row in material.rows:
            assert row.source in library.sources, f"{row.file} line {row.line}"
            assert library.sources[row.source].standing in ("read", "from memory", "common practice", "choice"), (
                row.source
            )


def test_a_shop_table_lies_over_the_library(tmp_path: Path) -> None:
    path = shop(tmp_path, "carbon plain 200,areal_weight,207 g/m^2,measured,shop,ten squares on the scale")
    fabric = load_library([path]).get("fabric", "carbon plain 200")
    assert fabric.figure("areal_weight").value == approx(0.207)
    assert fabric.figure("areal_weight").source == "shop"
    assert len(fabric.rows_of("areal_weight")) >= 2  # what the library prints still stands beside it
    assert load_library().get("fabric", "carbon plain 200").figure("areal_weight").value == approx(0.200)


def test_a_new_fabric_process_and_likeness(tmp_path: Path) -> None:
    path = shop(
        tmp_path,
        'our twill,fibre,"carbon, standard modulus",measured,shop,',
        "our twill,form,cloth,measured,shop,",
        "our twill,areal_weight,6.1 oz/yd^2,measured,shop,",
        "heated bag,like,vacuum bag,measured,shop,",
        "heated bag,fibre_volume_fraction (cloth),0.56,measured,shop,",
        "wide peel ply,type,consumable,measured,shop,",
        "wide peel ply,areal_weight,85 g/m^2,measured,shop,",
    )
    library = load_library([path])
    assert library.get("fabric", "our twill").figure("areal_weight").value == approx(6.1 * 0.0339057474748823)
    heated = library.get("process", "heated bag")
    assert heated.figure("fibre_volume_fraction", "cloth").value == approx(0.56)
    assert heated.figure("loss").value == library.get("process", "vacuum bag").figure("loss").value
    assert library.find("consumable", "wide peel ply") is not None


@pytest.mark.parametrize(
    "spelling", ["fibre_volume_fraction (cloth)", "fibre_volume_fraction cloth", "fibre_volume_fraction.cloth"]
)
def test_the_form_may_be_written_in_several_ways(tmp_path: Path, spelling: str) -> None:
    library = load_library([shop(tmp_path, f"vacuum bag,{spelling},0.51,measured,shop,")])
    assert library.get("process", "vacuum bag").figure("fibre_volume_fraction", "cloth").value == approx(0.51)


def test_a_printed_range_gives_its_middle_and_ends(tmp_path: Path) -> None:
    path = shop(tmp_path, "E-glass,density,2.54 to 2.60 g/cm^3,typical,shop,")
    figure = load_library([path]).get("fibre", "E-glass").figure("density")
    assert (figure.low, figure.value, figure.high) == approx((2540.0, 2570.0, 2600.0))


def test_all_faults_of_a_table_come_at_once(tmp_path: Path) -> None:
    path = shop(
        tmp_path,
        "carbon plain 200,areal_weight,207 mm,measured,shop,",
        "carbon plain 200,arael_weight,207 g/m^2,measured,shop,",
        "carbon plain 200,areal_weight,207 g/m^2,guessed,shop,",
        "carbon plain 200,areal_weight,-207 g/m^2,measured,shop,",
        "carbon plain 200,areal_weight,207 kg/m^2,measured,shop,",
        "carbon plain 200,form,cloths,measured,shop,",
        "mystery,colour,red,measured,shop,",
        "carbon plain 200,areal_weight,1,200 g/m^2,measured,shop,",
        "lost,like,nothing here,measured,shop,",
    )
    with pytest.raises(FaultsError) as caught:
        load_library([path])
    text = str(caught.value)
    for line in range(2, 11):
        assert f"line {line}:" in text, text
    assert '"areal_weight"' in text  # the nearest property
    assert "Traceback" not in text


def test_the_wrong_columns_are_said_with_the_right_ones(tmp_path: Path) -> None:
    path = tmp_path / "shop.csv"
    path.write_text("material;property;value;kind;source;at\n", encoding="utf-8")
    with pytest.raises(FaultsError, match="commas, not semicolons"):
        load_library([path])


def test_a_missing_figure_says_which_row_to_add() -> None:
    with pytest.raises(MissingFigureError, match="E-glass,width"):
        load_library().get("fibre", "E-glass").figure("width")


def test_an_unknown_name_gets_the_nearest() -> None:
    with pytest.raises(LayupError, match="carbon plain 200"):
        load_library().get("fabric", "carbon plane 200")
    assert "as a sheet" in load_library().hint("fabric", "aluminium 2024-T3")


def test_names_match_without_regard_to_capitals_and_spaces() -> None:
    library = load_library()
    assert library.find("fabric", " Carbon  Plain 200") is library.get("fabric", "carbon plain 200")


def test_the_frame_holds_every_row() -> None:
    library = load_library()
    assert len(library.frame()) == sum(len(material.rows) for material in library)


def test_what_a_spreadsheet_does_to_a_table_is_forgiven(tmp_path: Path) -> None:
    path = tmp_path / "shop.csv"
    rows = [
        'our cloth, fibre, "carbon, standard modulus", nominal, shop,,,',
        "our cloth, areal_weight, 200 g/m^2, measured, shop,,,",
    ]
    path.write_bytes(("\ufeff" + HEAD + "\r\n".join(rows)).encode("utf-8"))
    library = load_library([path])
    assert library.get("fabric", "our cloth").figure("areal_weight").value == approx(0.2)
    path.write_bytes((HEAD + "T\u00fcr,form,cloth,measured,shop,").encode("latin-1"))
    with pytest.raises(FaultsError, match="UTF-8"):
        load_library([path])
    path.write_text(HEAD.replace(",", "\t"), encoding="utf-8")
    with pytest.raises(FaultsError, match="not tabs"):
        load_library([path])
