"""A cured ply from the tables: what overrides what, what is scaled, what is missing and named."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytest import approx

from layup.laminate.elastic import COUPONS, core_properties, cured_ply, sheet_properties, yarn_pitch_from_tow
from layup.laminate.process import settle
from layup.materials import load_library


def ply(name, process="vacuum bag", fraction=0.45, tables=(), thickness=0.25e-3):
    library = load_library(tables)
    return cured_ply(
        library, library.get("fabric", name), library.get("resin", "epoxy, laminating"),
        settle(library.get("process", process)), fraction, 0.02, thickness,
    )  # fmt: skip


def shop(tmp_path: Path, *rows: str) -> list[Path]:
    path = tmp_path / "shop.csv"
    path.write_text("material,property,value,kind,source,at\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return [path]


def test_a_unidirectional_ply_is_stiff_one_way_and_a_cloth_both():
    tape, cloth = ply("carbon unidirectional 200"), ply("carbon plain 200")
    assert not tape.even
    assert cloth.even
    assert tape.moduli[0] > 1.8 * cloth.moduli[0]
    assert tape.moduli[1] < 0.2 * cloth.moduli[1]


def test_more_fibre_is_stiffer_and_stronger_along_but_not_in_shear():
    wet, bagged = ply("carbon plain 200", "wet", 0.40), ply("carbon plain 200", "wet", 0.50)
    assert bagged.moduli[0] / wet.moduli[0] == approx(0.50 / 0.40, rel=0.06)  # the resin's share is small
    assert bagged.allowables.xt == approx(wet.allowables.xt * 0.50 / 0.40)
    assert bagged.allowables.s == wet.allowables.s


def test_hand_work_takes_its_share_of_a_coupons_strength():
    wet, bagged = ply("carbon plain 200", "wet"), ply("carbon plain 200", "vacuum bag")
    # library rows: strength_left 0.5 wet, 0.6 bagged
    assert wet.allowables.xc / bagged.allowables.xc == approx(0.5 / 0.6)


def test_nine_coupons_in_ten_reach_a_strength_and_the_table_says_so():
    """MIL-HDBK-17-1F, ch. 8 (from memory): B-basis of many coupons, 1.28 standard deviations of 8 % under the mean."""
    assert COUPONS.value == approx(1 - 1.2816 * 0.08, abs=0.003)
    own = ply("carbon plain 200")
    assert COUPONS in own.figures
    assert COUPONS.source in load_library().sources
    printed = load_library().get("fibre", "carbon, standard modulus").figure("ply_shear_strength", "cloth").value
    assert own.allowables.s == approx(0.6 * 0.9 * printed)


def test_a_satin_is_no_softer_than_a_twill_and_that_no_softer_than_a_plain():
    """Its yarns cross over less often. Where no tow is known it came out as soft as a plain cloth, or softer."""
    plain, twill, satin = (ply(f"glass {weave}") for weave in ("plain 200", "twill 200", "satin 300"))
    along = [sum(one.moduli[:2]) for one in (plain, twill, satin)]
    assert along[0] < along[1] < along[2] < along[0] / 0.95


def test_a_hybrid_has_the_lesser_strength_of_its_two_fibres():
    """Carbon and aramid stretch together; pressed, the aramid gives long before the carbon."""
    mixed, carbon, aramid = (
        ply(f"{name}") for name in ("carbon aramid plain 190", "carbon plain 200", "aramid plain 170")
    )
    for key in ("xt", "xc", "yt", "yc", "s"):
        own = [getattr(one.allowables, key) for one in (mixed, carbon, aramid)]
        assert own[0] == approx(min(own[1:]), rel=1e-9), key
    assert aramid.allowables.xc < 0.5 * carbon.allowables.xc


def test_the_mat_under_a_biaxial_softens_and_weakens_it():
    """1708: 6.75 of 23.75 oz/yd^2 are mat; stretched with the cloth, it breaks at the strain of the cloth."""
    mixed, bare = ply("glass biaxial with mat 1708"), ply("glass biaxial 600")
    assert 0.75 < mixed.moduli[0] / bare.moduli[0] < 0.98
    assert mixed.moduli[3] > bare.moduli[3]  # the mat carries shear between the yarns
    assert mixed.allowables.xt / bare.allowables.xt == approx(mixed.moduli[0] / bare.moduli[0], rel=0.03)


def test_a_tested_value_replaces_the_formula_and_keeps_its_source(tmp_path):
    tables = shop(
        tmp_path,
        "carbon plain 200,ply_modulus,52 GPa,measured,shop,our own coupon of March",
        "carbon plain 200,ply_shear_strength,61 MPa,measured,shop,our own coupon of March",
    )
    tested = ply("carbon plain 200", tables=tables)
    assert tested.moduli[0] == approx(52e9)
    assert tested.moduli[1] == approx(52e9)  # a cloth alike both ways stays alike
    assert tested.allowables.s == approx(61e6)  # a tested value is not knocked down again
    assert {"ply_modulus", "ply_shear_strength"} <= {f.property for f in tested.figures if f.source == "shop"}


def test_a_tested_value_with_its_fibre_fraction_is_brought_to_this_one(tmp_path):
    tables = shop(
        tmp_path,
        "carbon plain 200,ply_modulus,60 GPa,measured,shop,",
        "carbon plain 200,ply_fibre_fraction,0.50,measured,shop,",
        "carbon plain 200,ply_tensile_strength,500 MPa,measured,shop,",
        "carbon plain 200,ply_shear_strength,80 MPa,measured,shop,",
    )
    tested = ply("carbon plain 200", fraction=0.40, tables=tables)
    assert tested.moduli[0] == approx(60e9 * 0.8)
    assert tested.allowables.xt == approx(500e6 * 0.8)
    assert tested.allowables.s == approx(80e6)


def test_a_missing_strength_is_named_and_never_guessed():
    basalt = next(f for f in load_library().names("fabric") if "basalt" in f)
    found = ply(basalt)
    assert found.allowables.xc is None
    assert len(found.missing) == 5
    assert any("compression along the warp" in m and basalt in m for m in found.missing)


def test_a_cloth_stitched_at_45_turns_by_45():
    assert ply("carbon biaxial 200").turn == 45
    assert ply("carbon plain 200").turn == 0


def test_waviness_unknown_is_said():
    assert any("no yarn pitch" in note for note in ply("glass plain 200").notes)
    assert not ply("carbon plain 200").notes
    # a twill passes through half as often as a plain cloth of the same yarn: stiffer
    assert ply("carbon twill 200").moduli[0] > ply("carbon plain 200").moduli[0]


def test_pitch_of_a_3k_plain_200():
    # 3000 filaments of 7 um and 1.8 g/cm3 are 0.2 g/m; 100 g/m2 of warp is a yarn every 2 mm
    assert yarn_pitch_from_tow("3K", 0.2, 1800.0) == approx(2.08e-3, rel=0.01)
    with pytest.raises(Exception, match="count of filaments"):
        yarn_pitch_from_tow("heavy", 0.2, 1800.0)


def test_cores_and_sheets():
    library = load_library()
    honeycomb = core_properties(library.get("core", "aramid honeycomb 48"))
    assert honeycomb.honeycomb
    assert honeycomb.cell_size == approx(3.175e-3)
    foam = core_properties(library.get("core", "balsa, contest sheet 100"))
    assert foam.shear_strength is None
    assert sheet_properties(library.get("sheet", "aluminium 2024-T3")).nu == approx(0.33)
