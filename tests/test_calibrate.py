"""The shop's hand: exact against numerical integration, robust, and obedient."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from layup.errors import LayupError
from layup.learn import posterior
from layup.learn.calibrate import Group, calibrate, drift, forget, start_from, use_lot
from layup.learn.exchange import write_export
from layup.learn.posterior import FABRIC_SHARE, FORM_SHARE, ROOT_SHARE, WRONG, WRONG_SPREAD, Parts, chance_good, learn
from layup.learn.store import Store, open_store
from layup.learn.weighins import Circumstances, _forget_cored, predict_piece, weigh_in

SPREAD = 0.28
TRIM = """\
title = "{title}"
process = "{process}"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "{fabric}"
count = 4
"""


def parts(*logs: float, noise: float = 0.08, cloth: float = 0.06) -> Parts:
    count = len(logs)
    return Parts(np.exp(np.array(logs)), np.full(count, noise), np.full(count, 0.09), cloth)


def test_the_posterior_is_the_one_that_integration_gives() -> None:
    """Two fabrics of one form and one of another, one entry wrong: five nested unknowns against scipy's integrator."""
    from scipy.integrate import quad

    groups = {
        ("cloth", "a"): parts(0.25, 0.31, 1.9),
        ("cloth", "b"): parts(0.1, cloth=0.04),
        ("biaxial", "c"): parts(-0.05, 0.2, noise=0.2),
    }
    learnt = learn(groups, SPREAD, {})

    def normal(x: float, mean: float, spread: float) -> float:
        return math.exp(-0.5 * ((x - mean) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))

    def likelihood(h: float, of: Parts) -> float:  # written again, plainly, from the model's statement
        total = 1.0
        for y, noise, own in zip(np.log(of.factor), of.noise, of.part_spread, strict=True):
            variance = own**2 + (noise * math.exp(-h)) ** 2
            good = normal(float(y), h - variance / 2, math.sqrt(variance))
            total *= (1 - WRONG) * good + WRONG * normal(float(y), 0.0, WRONG_SPREAD)
        return total

    root = SPREAD * math.sqrt(ROOT_SHARE)
    form = SPREAD * math.sqrt(FORM_SHARE)

    def fabric_message(hf: float, key: tuple[str, str], power: int) -> float:
        spread = math.hypot(SPREAD * math.sqrt(FABRIC_SHARE), groups[key].cloth_spread)
        return quad(
            lambda h: h**power * normal(h, hf - spread**2 / 2, spread) * likelihood(h, groups[key]),
            hf - 8 * spread, hf + 8 * spread, epsabs=1e-13, epsrel=1e-9, limit=200,
        )[0]  # fmt: skip

    # The messages of the fabrics, as functions of the form's hand, by integration on a fine mesh of it.
    mesh = np.linspace(-1.4, 1.4, 141)
    told = {key: np.array([fabric_message(hf, key, 0) for hf in mesh]) for key in groups}
    first = np.array([fabric_message(hf, ("cloth", "a"), 1) for hf in mesh])
    cloth, biaxial = told["cloth", "a"] * told["cloth", "b"], told["biaxial", "c"]
    between = np.array([[normal(hf, g - form**2 / 2, form) for hf in mesh] for g in mesh])
    prior = np.array([normal(g, -(root**2) / 2, root) for g in mesh])
    up_cloth, up_biaxial = between @ cloth, between @ biaxial
    shares = prior * up_cloth * up_biaxial
    assert learnt.root.mean == approx(float(shares @ mesh / shares.sum()), abs=2e-6)
    second = float(shares @ mesh**2 / shares.sum())
    assert learnt.root.variance == approx(second - float(shares @ mesh / shares.sum()) ** 2, rel=2e-5)
    down = (prior * up_biaxial) @ between
    here = down * cloth
    assert learnt.forms["cloth"].mean == approx(float(here @ mesh / here.sum()), abs=2e-6)
    cavity = down * told["cloth", "b"]
    mean = float(cavity @ first / (cavity @ told["cloth", "a"]))
    assert learnt.fabrics["cloth", "a"].mean == approx(mean, abs=2e-5)


def test_without_wrong_entries_it_is_the_conjugate_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """Normal prior, normal noise: mean and variance in closed form (any textbook of Bayesian statistics)."""
    monkeypatch.setattr(posterior, "WRONG", 1e-12)
    of = parts(0.2, 0.3, 0.25, noise=1e-9)
    belief = learn({("cloth", "a"): of}, SPREAD, {}).fabrics["cloth", "a"]
    prior = SPREAD**2 + of.cloth_spread**2
    precision = 1 / prior + 3 / 0.09**2
    mean = (-0.5 * prior / prior + sum(y + 0.09**2 / 2 for y in (0.2, 0.3, 0.25)) / 0.09**2) / precision
    assert belief.variance == approx(1 / precision, rel=1e-4)
    assert belief.mean == approx(mean, abs=1e-5)


def test_nothing_weighed_is_the_published_prior() -> None:
    learnt = learn({}, SPREAD, {"cloth": posterior.Start(0.0, 1e6)})
    assert learnt.forms["cloth"].variance == approx((ROOT_SHARE + FORM_SHARE) * SPREAD**2, rel=1e-4)
    assert learnt.forms["cloth"].log_mean_factor == approx(0.0, abs=1e-6), "the mean factor is 1"


@settings(max_examples=25, deadline=None)
@given(
    logs=st.lists(st.floats(-0.5, 0.7), min_size=3, max_size=8),
    wrong=st.sampled_from([-2.5, 1.6, 3.0, 5.0]),
)
def test_one_wrong_entry_moves_little_and_is_named(logs: list[float], wrong: float) -> None:
    centre = [0.1 + 0.1 * (y - np.mean(logs)) for y in logs]  # one shop: parts near each other
    honest, spoilt = parts(*centre), parts(*centre, wrong)
    clean = learn({("cloth", "a"): honest}, SPREAD, {}).fabrics["cloth", "a"]
    moved = learn({("cloth", "a"): spoilt}, SPREAD, {}).fabrics["cloth", "a"]
    assert abs(moved.mean - clean.mean) < 0.25 * math.sqrt(clean.variance)
    good = chance_good(moved, spoilt)
    assert good[-1] < 0.01
    assert np.all(good[:-1] > 0.9)


def test_more_parts_narrow_and_other_fabrics_narrow_less() -> None:
    widths = []
    for count in (1, 2, 4, 8):
        learnt = learn({("cloth", "a"): parts(*([0.2] * count))}, SPREAD, {})
        widths.append(learnt.fabrics["cloth", "a"].variance)
        assert learnt.fabrics["cloth", "a"].variance < learnt.forms["cloth"].variance + FABRIC_SHARE * SPREAD**2
        assert learnt.forms["cloth"].variance < learnt.root.variance + FORM_SHARE * SPREAD**2
    assert widths == sorted(widths, reverse=True)


# Through the record


def _part(folder: Path, title: str = "Hatch", process: str = "vacuum bag", fabric: str = "carbon plain 200") -> Path:
    path = folder / f"{title}.toml"
    path.write_text(TRIM.format(title=title, process=process, fabric=fabric), encoding="utf-8")
    return path


def _weigh(store: Store, part: Path, factor: float, piece: str, lot: str = "", stage: str = "trimmed") -> None:
    """Note a part whose plies hold this many times the published resin."""
    weighed = predict_piece(part, None).weighed
    mass = weighed.mass.mean + (factor - 1) * (weighed.resin - weighed.film)
    weigh_in(store, part, mass, stage, circumstances=Circumstances(piece, lot=lot))


def test_a_shop_that_leaves_more_resin_is_found_out(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        part = _part(tmp_path)
        for piece in range(12):
            _weigh(store, part, 1.30, str(piece))
        found = calibrate(store)
    habit = found.habits["vacuum bag", "cloth", "carbon plain 200"]
    assert math.exp(habit.shift) == approx(1.30, abs=0.03)
    assert habit.spread < 0.3 * habit.published_spread
    assert habit.parts == 12
    assert found.groups[0].outliers == ()
    assert 0 < float(found.groups[0].counted.min()) <= 1


def test_processes_do_not_speak_for_each_other(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        _weigh(store, _part(tmp_path, "Bagged"), 1.3, "1")
        wet = _part(tmp_path, "Wet", "wet")
        found = calibrate(store)
        assert {of[0] for of in found.habits} == {"vacuum bag"}
        assert predict_piece(wet, found.habits).published is None, "nothing is known of wet"
        # another fabric of the same form, another form: both moved, the nearer one more
        twill = predict_piece(_part(tmp_path, "Twill", fabric="carbon twill 200"), found.habits)
        other = predict_piece(_part(tmp_path, "Biax", fabric="carbon biaxial 200"), found.habits)
    assert [h.of for h in twill.habits] == [("vacuum bag", "cloth")]
    assert [h.of for h in other.habits] == [("vacuum bag",)]
    assert twill.habits[0].shift > other.habits[0].shift > 0


def test_a_piece_counts_once_at_its_best_stage(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        part = _part(tmp_path)
        for stage in ("demoulded", "trimmed", "finished", "trimmed"):
            _weigh(store, part, 1.1, "1", stage=stage)
        (group,) = calibrate(store).groups
    assert group.numbers == (4,)
    assert group.stages == ("trimmed",)


def test_forget_lot_and_undo(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        part, wet = _part(tmp_path), _part(tmp_path, "Wet", "wet")
        _weigh(store, part, 1.4, "1", "A")
        _weigh(store, part, 0.9, "2", "B")
        _weigh(store, wet, 1.2, "1", "A")
        everything = calibrate(store).habits
        entry = use_lot(store, "B")
        assert [g.pieces for g in calibrate(store).groups] == [(("Hatch", "2"),)]
        with pytest.raises(LayupError, match='Lots: "A", "B"'):
            use_lot(store, "C")
        store.undo(entry)
        assert calibrate(store).habits == everything
        with pytest.raises(LayupError, match='Nearest: "wet"'):
            forget(store, "wett")
        entry = forget(store, "wet")
        assert {of[0] for of in calibrate(store).habits} == {"vacuum bag"}
        everything_forgotten = forget(store)
        assert calibrate(store).habits == {}
        _weigh(store, part, 1.0, "3")
        assert calibrate(store).habits["vacuum bag", "cloth"].parts == 1
        store.undo(everything_forgotten)
        store.undo(entry)
        assert calibrate(store).habits["vacuum bag", "cloth"].parts == 3


@pytest.mark.parametrize("form", ["folder", "export"])
def test_a_shop_may_start_from_another(tmp_path: Path, form: str) -> None:
    theirs, ours = tmp_path / "theirs", tmp_path / "ours"
    theirs.mkdir()
    ours.mkdir()
    with open_store(theirs) as store:
        part = _part(theirs)
        for piece in range(10):
            _weigh(store, part, 1.3, str(piece))
        known = calibrate(store).habits["vacuum bag", "cloth"]
        origin = theirs if form == "folder" else write_export(store, tmp_path / "theirs.json")
    before = sorted((p.name, p.read_bytes()) for p in theirs.iterdir() if p.suffix == ".sqlite")
    with open_store(ours) as store:
        start_from(store, origin)
        habit = calibrate(store).habits["vacuum bag", "cloth"]
        assert 0.3 * known.shift < habit.shift < known.shift, "moved towards the other shop, not all the way"
        assert known.spread < habit.spread < habit.published_spread
        assert habit.parts == 10
        forget(store)
        assert calibrate(store).habits == {}
    assert sorted((p.name, p.read_bytes()) for p in theirs.iterdir() if p.suffix == ".sqlite") == before


def test_nothing_can_be_learnt_from_an_empty_shop(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    open_store(tmp_path / "empty").close()
    with open_store(tmp_path) as store:
        with pytest.raises(LayupError, match="no weigh-in"):
            start_from(store, tmp_path / "empty")
        with pytest.raises(LayupError, match="no record"):
            start_from(store, tmp_path / "nowhere")


def _drifting(per_part: float, count: int, scatter: float, number: int) -> Group:
    rng = np.random.default_rng(number)
    logs = per_part * np.arange(count) + scatter * rng.standard_normal(count)
    of = Parts(np.exp(logs), np.full(count, 0.03), np.full(count, 0.09), 0.06)
    ones = np.ones(count)
    return Group("wet", "cloth", "a", tuple(range(count)), ("",) * count, (("", ""),) * count, ("",) * count,
                 ones, ones, ones, of, ones, ones, SPREAD)  # fmt: skip


def test_drift_is_found_and_not_imagined() -> None:
    moved = drift(_drifting(0.03, 20, 0.09, 1))
    assert moved is not None
    assert moved.real
    assert moved.per_part == approx(0.03, abs=0.01)
    found = [drift(_drifting(0.0, 20, 0.09, number)) for number in range(300)]
    imagined = sum(one is not None and one.real for one in found)
    assert imagined <= 9, "1 in 100 is meant; 3 in 100 would be too many"
    assert drift(_drifting(0.0, 3, 0.09, 1)) is None


def test_a_shop_that_scatters_more_than_published_is_told() -> None:
    usual = [_drifting(0.0, 20, math.hypot(0.09, 0.03), number) for number in range(300)]
    assert sum(group.unruly for group in usual) <= 12, "about 1 in 100 is meant, 4 in 100 would be too many"
    wild = [_drifting(0.0, 20, 0.25, number) for number in range(50)]
    assert all(group.unruly for group in wild)
    assert np.median([group.scatter for group in wild]) == approx(0.25 / math.hypot(0.09, 0.03), rel=0.15)


SANDWICH = TRIM.replace(
    "count = 4", 'count = 1\n[[ply]]\ncore = "PVC foam 60"\nthickness = "6 mm"\n[[ply]]\nfabric = "{fabric}"'
)


def test_sandwiches_teach_nothing_of_the_resin_in_the_plies(tmp_path: Path) -> None:
    """Six panels at the top of their own limits: a solid part of the same cloth is predicted as before."""
    with open_store(tmp_path) as store:
        part = tmp_path / "panel.toml"
        part.write_text(SANDWICH.format(title="Panel", process="vacuum bag", fabric="carbon plain 200"), "utf-8")
        heavy = predict_piece(part, None).mass.p95
        for piece in range(6):
            weigh_in(store, part, heavy, "trimmed", circumstances=Circumstances(str(piece)))
        solid = _part(tmp_path)
        before = predict_piece(solid, None).mass
        after = predict_piece(solid, calibrate(store).habits).mass
        assert abs(after.mean - before.mean) < 0.02 * before.mean
        assert after.holds(before.mean)


def test_sandwiches_noted_before_the_mend_are_forgotten_too(tmp_path: Path) -> None:
    """Their entries don't say that there is a core; the prediction kept with them does."""
    with open_store(tmp_path) as store:
        part = tmp_path / "panel.toml"
        part.write_text(SANDWICH.format(title="Panel", process="vacuum bag", fabric="carbon plain 200"), "utf-8")
        noted = weigh_in(store, part, predict_piece(part, None).mass.p95, "trimmed")
        old = noted.entry.payload
        old["ground"].pop("cored")
        store.append("weigh-in", {**old, "piece": "old"})
        assert calibrate(store).habits == {}
        store._connection.execute("UPDATE weighins SET process = 'vacuum bag', form = 'cloth'")
        _forget_cored(store._connection)
        assert store.query("SELECT COUNT(*) FROM weighins WHERE process IS NOT NULL") == [(0,)]
