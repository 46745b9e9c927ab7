"""Coupons: what the next one is worth, as the width of the big part's interval."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from pytest import approx

import layup
from layup.commands.cli import main
from layup.errors import LayupError
from layup.laminate.process import Habit
from layup.learn.coupons import WORTH, _taught, value_of_coupons
from layup.learn.posterior import value_of_more

Hatch = Callable[..., dict[str, Any]]


def test_each_coupon_narrows_and_each_less_than_the_one_before(hatch: Hatch) -> None:
    value = value_of_coupons(layup.read_part(hatch()), most=5)
    assert [step.coupons for step in value.after] == [0, 1, 2, 3, 4, 5]
    widths = [step.width for step in value.after]
    assert all(later < earlier for earlier, later in pairwise(widths))
    gains = [step.narrower for step in value.after[1:]]
    assert gains[0] == max(gains)
    assert widths[-1] > value.floor > 0
    assert value.after[value.worth].narrower >= WORTH > value.after[value.worth + 1].narrower


def test_no_coupon_is_today_s_prediction(hatch: Hatch) -> None:
    job = layup.read_part(hatch())
    assert value_of_coupons(job).after[0].mass == layup.predict(job).mass


def test_a_shop_that_knows_its_hand_needs_none(hatch: Hatch) -> None:
    job = layup.read_part(hatch())
    of = ("vacuum bag", "cloth", "carbon plain 200")
    known = {of: Habit(of, 0.1, 0.02, 0.28, 40)}
    assert value_of_coupons(job, known).worth == 0
    assert value_of_coupons(job).worth >= 1


def test_a_coupon_teaches_a_shop_whose_record_hangs_together(hatch: Hatch) -> None:
    """By Gauss's rule for one more observation: var a - cov(a, b)^2 / (var b + noise^2), for all that hangs on it."""
    cloth, film = ("vacuum bag", "cloth", "carbon plain 200"), ("film", "vacuum bag")
    known = {
        cloth: Habit(cloth, 0.1, 0.25, 0.28, 3, loads=(0.2, 0.15), open=0.0),
        film: Habit(film, 0.0, 0.2, 0.25, 3, loads=(-0.12, 0.16), open=0.1),
    }
    widths = [step.width for step in value_of_coupons(layup.read_part(hatch()), known, most=3).after]
    assert widths[1] < 0.9 * widths[0]
    for count in (1, 3):
        left = _taught(known, known[cloth], 0.1, count)
        a, b = np.array(left[film].loads), np.array(left[cloth].loads)
        due = 0.25**2 + 0.1**2 / count
        assert b @ b == approx(0.25**2 - 0.25**4 / due)
        assert a @ a == approx(0.2**2)  # its covariance with the cloth's hand is nought
        assert left[film].spread == approx(math.hypot(0.2, 0.1))
    apart = {**known, film: replace(known[film], loads=(0.16, 0.12))}
    left = _taught(apart, known[cloth], 0.1, 1)
    assert np.dot(left[film].loads, left[film].loads) == approx(0.2**2 - 0.05**2 / (0.25**2 + 0.1**2))
    new = ("vacuum bag", "cloth")  # a cloth that was not weighed has an answer of its own, which the coupon tells of
    wide = {new: Habit(new, 0.1, 0.25, 0.28, 3, loads=(0.2,), open=0.15)}
    left = _taught(wide, replace(wide[new], of=cloth), 0.1, 1)
    assert left[cloth].spread ** 2 == approx(0.25**2 - 0.25**4 / (0.25**2 + 0.1**2))
    assert left[new].open == 0.15


def test_a_practice_panel_teaches_more_than_a_coupon(hatch: Hatch) -> None:
    job = layup.read_part(hatch())
    coupon = value_of_coupons(job, resolution=0.001)
    panel = value_of_coupons(job, sides=(0.25, 0.4), resolution=0.001)
    assert panel.noise < coupon.noise, "a gram is less of a panel than of a coupon"
    assert panel.coupon.mean == approx(10 * coupon.coupon.mean)


def test_the_conjugate_rule_by_hand() -> None:
    assert value_of_more(0.04, [0.1, 0.2]) == approx([1 / (25 + 100), 1 / (25 + 100 + 25)])


def test_a_stated_resin_content_needs_no_coupon(hatch: Hatch) -> None:
    job = layup.read_part(hatch(ply=[{"fabric": "carbon plain 200", "resin_content": "40 %"}]))
    with pytest.raises(LayupError, match="teaches nothing"):
        value_of_coupons(job)


def test_the_command_says_how_many(tmp_path: Path) -> None:
    part = tmp_path / "wing.toml"
    part.write_text(
        'title = "Wing skin"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\narea = "6 m^2"\n'
        '[[ply]]\nfabric = "glass plain 200"\ncount = 3\n',
        encoding="utf-8",
    )
    done = CliRunner().invoke(main, ["coupon", str(part)])
    assert done.exit_code == 0, done.stderr
    assert "worth making before the part" in done.stdout
    assert "narrower by this one" in done.stdout
    due = re.search(r"should weigh ([0-9.]+ g)", done.stdout)
    assert due is not None
    assert f"layup weigh {part} {due[1]} --at trimmed --coupon 100 mm x 100 mm --scale 0.1 g" in done.stdout
    wide = CliRunner().invoke(main, ["coupon", str(part), "--size", "150 mm x 200 mm", "--scale", "1 g"])
    assert "--coupon 150 mm x 200 mm --scale 1 g" in wide.stdout
    assert CliRunner().invoke(main, ["coupon", str(part), "--size", "100 mm"]).exit_code == 2


def test_a_card_tells_film_and_resin_apart(tmp_path: Path) -> None:
    """Two shops weigh the same single ply, by twice the film or by so much more resin in it: four plies tell which."""
    from layup.learn.calibrate import habits_near
    from layup.learn.coupons import CARD, card_of
    from layup.learn.store import open_store
    from layup.learn.weighins import Circumstances, predict_piece, weigh_in
    from layup.partfile.read import read_part

    part = tmp_path / "skin.toml"
    part.write_text(
        'title = "Skin"\nprocess = "vacuum bag"\nresin = "epoxy, laminating"\n[surface]\narea = "1 m^2"\n'
        '[[ply]]\nfabric = "carbon plain 200"\ncount = 3\n',
        encoding="utf-8",
    )
    sides = (0.2, 0.2)
    shown = CliRunner().invoke(main, ["coupon", str(part), "--card"]).output
    assert len(re.findall(r' --piece "card, [14]" --scale 0.1 g$', shown, re.M)) == 4, "none of them is cut off"
    assert [one.plies for one in card_of(read_part(part), sides)] == list(CARD)
    found = {}
    for name in ("film", "resin"):
        folder = tmp_path / name
        folder.mkdir()
        with open_store(folder) as store:
            for plies in CARD:
                plate = (*sides, float(plies))
                weighed = predict_piece(part, None, plate).weighed
                more = weighed.film * (1 if name == "film" else plies)
                around = Circumstances(f"card, {plies}", resolution=1e-4)
                weigh_in(store, part, weighed.fibre, "dry-cloth", circumstances=around, coupon=plate)
                weigh_in(store, part, weighed.mass.mean + more, "trimmed", circumstances=around, coupon=plate)
        found[name] = habits_near(part, folder)
    film, hand = ("film", "vacuum bag"), ("vacuum bag", "cloth", "carbon plain 200")
    assert found["film"][hand].parts == 2
    assert found["film"][film].shift > found["resin"][film].shift
    assert found["resin"][hand].shift > found["film"][hand].shift + 0.05


def test_dry_cloth_weighed_first_is_no_resin(tmp_path: Path) -> None:
    """Cloth 5 % over its label: with its dry weight noted, none of that is learnt as resin."""
    from layup.learn.calibrate import habits_near
    from layup.learn.store import open_store
    from layup.learn.weighins import Circumstances, predict_piece, weigh_in

    part = tmp_path / "skin.toml"
    part.write_text(
        'title = "Skin"\nprocess = "vacuum bag"\nresin = "epoxy, laminating"\n[surface]\narea = "1 m^2"\n'
        '[[ply]]\nfabric = "carbon plain 200"\ncount = 4\n',
        encoding="utf-8",
    )
    weighed = predict_piece(part, None).weighed
    heavy = 1.05 * (weighed.mass.mean - weighed.film) + weighed.film
    with open_store(tmp_path) as store:
        for piece in range(4):
            around = Circumstances(str(piece))
            weigh_in(store, part, 1.05 * weighed.fibre, "dry-cloth", circumstances=around)
            weigh_in(store, part, heavy, "trimmed", circumstances=around)
    assert habits_near(part, tmp_path)["vacuum bag", "cloth", "carbon plain 200"].shift == approx(0.0, abs=0.02)
