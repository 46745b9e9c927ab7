# Mixing arithmetic: the ratio by volume and the density of a mix follow from the definitions; their figures are
# derived, by hand, twice.

from pytest import approx

from layup.make.mixing import mixed_density, parts, ratio_by_volume


def test_a_ratio_by_weight_as_one_by_volume() -> None:
    # 100:27 by weight, 1.15 and 0.97 g/cm^3: 27 / 0.97 over 100 / 1.15
    assert 100 * ratio_by_volume(0.27, 1150.0, 970.0) == approx(32.01, abs=5e-3)
    assert mixed_density(0.27, 1150.0, 970.0) == approx(1106.353, abs=5e-4)  # no shrinkage


def test_weights_and_volumes_tell_the_same_story() -> None:
    resin, hardener = parts(0.2, 0.27)
    assert resin + hardener == approx(0.2, rel=1e-15)
    assert hardener / resin == approx(0.27, rel=1e-15)
    volume = resin / 1150.0 + hardener / 970.0
    assert 0.2 / volume == approx(mixed_density(0.27, 1150.0, 970.0), rel=1e-12)
