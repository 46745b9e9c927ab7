"""Pots: they add up to the resin to mix, each is used up while it lasts, a resin too fast is refused with a way out."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.cloth import practice
from layup.commands.cli import main
from layup.errors import RangeError, TooFastError
from layup.make.batches import Mix, mixes, scale_table
from layup.make.mixing import known_ratio, parts, ratio_by_volume, read_scale
from layup.make.potlife import pot_life_of
from layup.materials import load_library
from layup.partfile.read import read_part
from layup.units import parse, parse_ratio
from layup.weight.compare import process_for
from layup.weight.weigh import weigh_layup

Hatch = Callable[..., dict[str, Any]]


def mixed(part: dict[str, Any], folder: Path | None = None, **more: Any) -> tuple[float, tuple[Mix, ...]]:
    job = read_part(part, folder)
    weighed = weigh_layup(job, process_for(job, job.part.process, own=True))
    return weighed.resin_to_mix, mixes(job, weighed, **more)


@settings(max_examples=30, deadline=None)
@given(
    side=st.floats(0.2, 2.5), count=st.integers(1, 8), people=st.integers(1, 4), warm=st.floats(283.0, 305.0),
    process=st.sampled_from(["wet", "vacuum bag"]),
)  # fmt: skip
def test_pots_add_up_and_last(side: float, count: int, people: int, warm: float, process: str) -> None:
    part = {
        "title": "Hatch", "process": process, "resin": "epoxy, laminating",
        "surface": {"rectangle": [f"{side!r} m", "800 mm"]},
        "ply": [{"fabric": "carbon plain 200", "count": count}],
    }  # fmt: skip
    total, [mix] = mixed(part, people=people, temperature=warm, ratio=0.27)
    assert sum(b.mass for b in mix.batches) == approx(total, rel=1e-9)
    assert mix.batches[0].start == 0.0
    covered = {number for b in mix.batches for number in b.plies}
    assert covered == set(range(1, count + 1))
    for batch, after in zip(mix.batches, [*mix.batches[1:], None], strict=True):
        assert batch.start is not None
        assert batch.used is not None
        assert batch.hardener / batch.resin == approx(0.27, rel=1e-9)
        assert batch.mass <= practice.POT.value + 1e-9
        assert practice.MIXING.value + batch.used - batch.start <= batch.lasts * practice.USE.value + 1e-6
        if after is not None:
            assert after.start == approx(batch.used)
    laying = count * (practice.HANDLE.value + practice.WET_OUT.value * side * 0.8 / people)
    assert mix.batches[-1].used == approx(laying, rel=1e-6)


def test_resin_goes_where_the_prediction_puts_it(hatch: Hatch) -> None:
    """Two equal plies take half each, films and losses shared out evenly between the faces."""
    total, [mix] = mixed(hatch(ply=[{"fabric": "carbon plain 200", "count": 2}]), pot=0.3, ratio=0.27)
    if len(mix.batches) == 2:
        assert mix.batches[0].covers == "1"
        assert mix.batches[1].covers == "2"
    assert sum(b.resin for b in mix.batches) == approx(total / 1.27)


def test_two_resins_are_two_mixes(hatch: Hatch) -> None:
    plies = [{"fabric": "carbon plain 200"}, {"fabric": "glass plain 200", "resin": "epoxy, laminating fast"}]
    total, found = mixed(hatch(surface={"rectangle": ["400 mm", "300 mm"]}, ply=plies))
    assert [mix.resin for mix in found] == ["epoxy, laminating", "epoxy, laminating fast"]
    assert sum(mix.total for mix in found) == approx(total)
    assert found[0].batches[0].plies == (1,)
    assert found[1].batches[0].plies == (2,)
    # the second pot is mixed when the first ply is down
    assert found[1].batches[0].start == approx(practice.HANDLE.value + practice.WET_OUT.value * 0.12)


def test_a_prepreg_mixes_nothing(hatch: Hatch) -> None:
    part = hatch(process="prepreg", resin=None, ply=[{"fabric": "carbon plain 193 prepreg"}])
    assert mixed(part)[1] == ()


def test_an_infusion_drinks_from_a_bucket(hatch: Hatch) -> None:
    part = hatch(process="infusion", resin="epoxy, infusion", surface={"rectangle": ["3 m", "1 m"]})
    total, [mix] = mixed(part)
    assert total > 1.0
    assert mix.feed
    assert len(mix.batches) == -(-total // practice.FEED_POT.value)
    assert all(b.start is None and b.mass <= practice.FEED_POT.value for b in mix.batches)


def test_a_resin_too_fast_is_refused_with_a_way_out(hatch: Hatch) -> None:
    part = hatch(resin="epoxy, laminating fast", surface={"rectangle": ["4 m", "1.2 m"]})
    with pytest.raises(TooFastError, match="slower hardener") as caught:
        mixed(part, temperature=308.15)
    assert "--people 2" in str(caught.value)
    assert mixed(part, temperature=288.15, people=4)[1]  # doing as told helps


def test_warmer_and_larger_is_shorter() -> None:
    life = pot_life_of(load_library().get("resin", "epoxy, laminating"))
    assert life.stated
    assert (life.mass, life.temperature) == approx((0.1, 298.15))
    assert life.at(0.1) == approx(3600.0)
    assert life.at(0.05) == approx(3600.0)  # a small pot is not promised more than is printed
    assert life.at(0.1, 308.15) == approx(1800.0)  # ten degrees warmer, half: common practice, no source
    assert life.at(0.8) == approx(1800.0, rel=2e-3)  # eight times the mass, half: common practice, no source


def test_every_resin_that_is_mixed_has_a_readable_pot_life() -> None:
    for name in load_library().names("resin"):
        resin = load_library().get("resin", name)
        if resin.optional("mix_ratio_by_weight") is not None and resin.optional("pot_life") is not None:
            assert 60.0 < pot_life_of(resin).seconds < 86400.0, name


def test_the_ratio_on_the_can_counts(hatch: Hatch) -> None:
    _, [mix] = mixed(hatch(), ratio=0.38)
    assert mix.batches[0].hardener / mix.batches[0].resin == approx(0.38)
    assert mix.ratio_figure is None
    _, [mix] = mixed(hatch(), ratio=0.27)
    table = scale_table(mix.ratio, max(b.mass for b in mix.batches))
    for resin, hardener in table:
        assert hardener == approx(0.27 * resin)
    assert table[-1][0] >= max(b.resin or 0.0 for b in mix.batches)


def test_no_hardener_is_given_for_a_ratio_nobody_gave(hatch: Hatch, tmp_path: Path) -> None:
    """Its row is from memory: nothing to weigh by until the can, the shop's table or the maker's own page gives it."""
    _, [mix] = mixed(hatch())
    assert [(b.resin, b.hardener) for b in mix.batches] == [(None, None)] * len(mix.batches)
    assert (mix.ratio, mix.volume_ratio, scale_table(mix.ratio, 0.3)) == (None, None, ())
    assert "--ratio" in mix.asks
    assert "100:27 to 100:38" in mix.asks
    table = 'material,property,value,kind,source,at\n"epoxy, laminating",mix_ratio_by_weight,100:35,measured,can,\n'
    (tmp_path / "shop.csv").write_text(table, encoding="utf-8")
    _, [own] = mixed(hatch(materials=["shop.csv"]), tmp_path)
    assert own.asks == ""
    assert own.batches[0].hardener == approx(0.35 * (own.batches[0].resin or 0.0))
    _, [makers] = mixed(hatch(resin="epoxy, laminating fast"), people=4)  # its row is read at a maker's own page
    assert makers.ratio == approx(0.20)
    assert any("the ratio on your can counts" in caution for caution in makers.cautions)


@pytest.mark.parametrize("name", load_library().names("resin"))
def test_only_a_makers_row_gives_a_ratio(name: str, hatch: Hatch) -> None:
    library = load_library()
    resin = library.get("resin", name)
    rows = resin.rows_of("mix_ratio_by_weight")
    found = known_ratio(resin, library.sources)
    assert (found is not None) == bool(rows and library.sources[rows[0].source].maker)


@pytest.mark.parametrize(
    ("resin", "said", "readings"),
    [
        ("epoxy, laminating", "27:100", ("370 of hardener to 100", "27 to 100", "write 100:27")),
        ("epoxy, laminating", "100:3", ("3 of hardener to 100", "Read the can again")),
        ("epoxy, laminating", "100:65", ("65 of hardener to 100", "Read the can again")),
        ("polyester, laminating", "2:100", ("catalyst", "write 100:2")),
        ("polyester, laminating", "20 %", ("20 of catalyst to 100", "Read the can again")),
    ],
)
def test_a_ratio_upside_down_or_out_of_range_is_refused_with_both_readings(
    resin: str, said: str, readings: tuple[str, ...], hatch: Hatch
) -> None:
    with pytest.raises(RangeError) as caught:
        mixed(hatch(resin=resin), ratio=parse_ratio(said), people=8)
    for words in readings:
        assert words in str(caught.value)


def test_half_a_step_of_the_scale_is_shown_rounded_up() -> None:
    """1.5 % of 300 g on a scale of whole grams is 5 g and no 4."""
    assert [read_scale("1 g").words(resin * 0.015) for resin in (0.1, 0.3, 0.5)] == ["2 g", "5 g", "8 g"]


def test_a_ratio_upside_down_in_the_shops_table_is_refused(hatch: Hatch, tmp_path: Path) -> None:
    head = "material,property,value,kind,source,at\n"
    row = '"epoxy, laminating",mix_ratio_by_weight,27:100,measured,shop,\n'
    (tmp_path / "shop.csv").write_text(head + row, encoding="utf-8")
    with pytest.raises(RangeError, match=r"shop.csv line 2.*write 100:27"):
        mixed(hatch(materials=["shop.csv"]), tmp_path)
    odd = [f'"epoxy, laminating",{key},100:83,measured,shop,' for key in ("mix_ratio_by_weight", "most_hardener")]
    (tmp_path / "shop.csv").write_text(head + "\n".join(odd) + "\n", encoding="utf-8")
    assert mixed(hatch(materials=["shop.csv"]), tmp_path)[1][0].ratio == approx(0.83)  # a can that does say so


def test_catalyst_is_in_per_cent_and_millilitres(tmp_path: Path) -> None:
    """100 g of polyester with 2 % of a peroxide of 1.1 g/ml: 2 g, 1.8 ml, by arithmetic."""
    part = tmp_path / "hull.toml"
    part.write_text(
        'title = "Hull"\nprocess = "wet"\nresin = "polyester, laminating"\n[surface]\narea = "0.05 m^2"\n'
        '[[ply]]\nfabric = "glass chopped mat 450"\n',
        encoding="utf-8",
    )
    said = CliRunner().invoke(main, ["mix", str(part), "--ratio", "2 %"]).output
    assert re.search(r"catalyst, by weight of the resin +2 %", said)
    assert "hardener" not in said
    [mix] = json.loads(CliRunner().invoke(main, ["mix", str(part), "--ratio", "2 %", "--json"]).stdout)
    assert mix["hardens_by"] == "peroxide"
    [pot] = mix["pots"]
    assert pot["hardener_kg"] == approx(0.02 * pot["resin_kg"])
    assert f"{pot['hardener_kg'] / 1100 * 1e6:.1f} ml" in said
    asked = CliRunner().invoke(main, ["mix", str(part)]).output
    assert '--ratio "1.5 %"' in " ".join(asked.split())


@given(st.floats(0.03, 0.6), st.floats(0.15, 0.5), st.sampled_from(["1 g", "0.1 g", "2 g", "1/8 oz", "0.05 oz"]))
def test_a_kitchen_scale_shows_every_amount(total: float, ratio: float, said: str) -> None:
    """Whole steps of the scale, never less than is needed, and no further off than the error that is told."""
    scale = read_scale(said)
    resin, hardener = scale.parts(total, ratio)
    for part in (resin, hardener):
        assert part / scale.step == approx(round(part / scale.step), abs=1e-6)
    assert resin >= total / (1 + ratio) - 1e-9
    assert resin <= total / (1 + ratio) * 1.05 + scale.step
    error = scale.error(resin, hardener, ratio)
    half = scale.step / 2
    for off_resin in (-half, half):  # the worst that the readings can be off by
        for off_hardener in (-half, half):
            made = (hardener + off_hardener) / (resin + off_resin)
            assert abs(made / ratio - 1) <= error * (1 + error) + 0.01


def test_the_rounding_beats_the_nearest_gram() -> None:
    """100:27 on a scale of 1 g, 100 g of resin: 27 g is exact, by arithmetic; 41 g would be 11.07, taken as 11."""
    assert read_scale("1 g").parts(0.127, 0.27) == approx((0.100, 0.027))
    assert read_scale("1 g").error(0.100, 0.027, 0.27) == approx(0.5 / 27 + 0.5 / 100)


def _as_text(shown: Any) -> str:
    from rich.console import Console

    console = Console(width=200)
    with console.capture() as kept:
        console.print(shown)
    return kept.get()


def test_batches_in_the_shops_units(hatch: Hatch) -> None:
    from layup.make.screen import mix_screen

    _, found = mixed(hatch(units="lb"), ratio=0.30, scale=read_scale("1/8 oz"), temperature=294.15)
    said = _as_text(mix_screen("Hatch", found, "lb"))
    assert "°F" in said
    assert "°C" not in said
    assert not re.search(r"\d (g|ml|kg)\b", said)
    assert "/8 oz" in said or "/4 oz" in said
    _, found = mixed(hatch(units="metric"), ratio=0.30)
    said = _as_text(mix_screen("Hatch", found, "metric"))
    assert "°C" in said
    assert not re.search(r"°F|\d (oz|fl oz)\b", said)


def test_a_batch_fits_its_cup(hatch: Hatch) -> None:
    """Half of 250 ml of a mix of 1.1 g/ml is 0.138 kg; the mix here is a little lighter than that."""
    _, [free] = mixed(hatch(), ratio=0.30)
    _, [cup] = mixed(hatch(), ratio=0.30, cups=[250e-6, 150e-6])
    assert cup.densities is not None
    assert max(b.mass for b in free.batches) > 0.138
    assert max(b.mass for b in cup.batches) <= 125e-6 * cup.densities[2] * (1 + 1e-9)
    assert {b.cup for b in cup.batches} <= {250e-6, 150e-6}


def test_large_pots_are_warned_of(hatch: Hatch) -> None:
    _, [mix] = mixed(hatch(), people=4, pot=1.0)
    assert mix.batches[0].mass > practice.POT.value
    assert sum("Exotherm" in caution for caution in mix.cautions) == 2


@given(st.floats(0.01, 10.0), st.floats(0.005, 1.5))
def test_parts_are_a_whole(total: float, ratio: float) -> None:
    resin, hardener = parts(total, ratio)
    assert resin + hardener == approx(total, rel=1e-12)
    assert ratio_by_volume(ratio, 1000.0, 1000.0) == approx(ratio, rel=1e-14)


def test_nonsense_is_refused() -> None:
    with pytest.raises(RangeError, match="ratio"):
        parts(1.0, 0.0)


def test_the_command(examples: Path) -> None:
    part = str(examples / "motor-glider" / "belly-cover.toml")
    done = CliRunner().invoke(main, ["mix", part, "--people", "2", "--ratio", "100:30"])
    assert done.exit_code == 0, done.output
    assert re.search(r"resin : hardener by weight +100 : 30", done.output)
    data = json.loads(CliRunner().invoke(main, ["mix", part, "--json"]).stdout)
    assert {pot["hardener_kg"] for pot in data[0]["pots"]} == {None}
    assert sum(pot["total_kg"] for pot in data[0]["pots"]) == approx(data[0]["to_mix_kg"])
    for bad in (["--ratio", "100"], ["--ratio", "30:100"], ["--temperature", "20"], ["--pot", "many"]):
        wrong = CliRunner().invoke(main, ["mix", part, *bad])
        assert wrong.exit_code == 2
        assert "Traceback" not in wrong.output


@pytest.mark.parametrize("said", ["200 degC", "-40 degC"])
def test_a_temperature_no_shop_has_is_refused(hatch: Hatch, tmp_path: Path, said: str) -> None:
    with pytest.raises(RangeError, match="can't be"):
        mixed(hatch(), temperature=parse(said, "temperature"))


def test_an_infusion_is_fed_and_not_poured(hatch: Hatch) -> None:
    _, [mix] = mixed(hatch(process="infusion", resin="epoxy, laminating"))
    said = " ".join(mix.cautions)
    assert "Feed it from a wide, shallow bucket" in said
    assert "onto the cloth" not in said


@pytest.mark.parametrize("pot", [0.0, -0.005, 0.004])
def test_a_pot_of_nothing_is_refused(pot, hatch):
    from layup.weight.prediction import predict

    made = predict(hatch())
    with pytest.raises(RangeError, match="too little to mix"):
        mixes(made.job, made.weighed, pot=pot)
