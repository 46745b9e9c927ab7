"""What a part file may ask for, in words, and what is said where it asks wrongly."""

from __future__ import annotations

import pytest

from layup.errors import FaultsError
from layup.partfile.needs import Needs
from layup.partfile.read import read_part


@pytest.mark.parametrize(
    ("words", "times"),
    [
        ("as what it replaces", 1.0),
        ("As stiff as what it replaces", 1.0),
        ("1.5 times what it replaces", 1.5),
        ("2 x what it replaces", 2.0),
        ("not asked", 0.0),
        (1.2, 1.2),
    ],
)
def test_stiffness_in_words(words, times):
    assert Needs(stiffness=words).stiffness == times


def test_quantities_are_read_with_their_units():
    needs = Needs(
        speed="100 kt", hand_load="45 lbf", hand_patch=("2 in", "50 mm"), deflection="1/8 in", frequency="40 Hz"
    )
    assert needs.speed == pytest.approx(51.444, rel=1e-4)
    assert needs.hand_load == pytest.approx(200.17, rel=1e-3)
    assert needs.hand_patch == pytest.approx((0.0508, 0.05))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"deflection": "3 mm"}, "deflection needs what presses"),
        ({"hand_deflection": "3 mm"}, "hand_deflection needs its load"),
        ({"stiffness": "very"}, "as what it replaces"),
        ({"hand_load": "200"}, "needs its unit"),
        ({"speed": "900 m/s"}, "faster than sound"),
        ({"criterion": "best"}, "max stress"),
        ({"least_plies": 4, "most_plies": 2}, "less than least_plies"),
        ({"suports": "simple"}, "supports"),
        ({"supports": "glued"}, "clamped"),
        ({"local": [{"zone": "nowhere"}]}, "no such zone"),
        ({"surface_ply": "glass plane 25"}, "glass plain 25"),
        ({"hand_load": "-5 N"}, "negative"),
    ],
)
def test_wrong_needs_are_told_with_their_place(hatch, asked, said):
    with pytest.raises(FaultsError, match=said) as error:
        read_part(hatch(needs=asked))
    assert "needs" in str(error.value)


def test_a_wrong_shelf_is_told(hatch):
    with pytest.raises(FaultsError) as error:
        read_part(
            hatch(shelf={"fabrics": ["carbon plane 200"], "cores": [{"core": "PVC foam 61"}], "processes": "wett"})
        )
    text = str(error.value)
    assert 'Nearest: "carbon plain 200"' in text
    assert "PVC foam 60" in text
    assert "wet" in text
    assert len(error.value.faults) == 3


def test_a_part_may_have_a_shelf_instead_of_plies(hatch):
    job = read_part(hatch(ply=None, shelf={"fabrics": ["carbon plain 200"]}))
    assert job.part.plies() == ()
    with pytest.raises(FaultsError, match="there is no ply"):
        read_part(hatch(ply=None))


def test_words_of_the_trade_for_keys() -> None:
    from layup.partfile.needs import TRADE_KEYS, Needs

    numbers = {"minimum_plies": 3, "maximum_plies": 9, "minimum_skin_plies": 2}
    loads = {"compression_x": "800 N", "compression_y": "1 N", "tension_x": "2 N", "tension_y": "1 kN"}
    said = {**numbers, **loads, "maximum_thickness": "4 mm"}
    assert set(said) == set(TRADE_KEYS)
    assert Needs.model_validate(said) == Needs.model_validate({TRADE_KEYS[key]: value for key, value in said.items()})
    with pytest.raises(ValueError, match="say the same thing"):
        Needs.model_validate({"minimum_plies": 3, "least_plies": 3})
