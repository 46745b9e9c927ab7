"""Area of parallel surfaces against closed forms: sphere, cylinder, torus, a folded sheet; and never less than none."""

from math import pi

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.offset import offset_area
from round_shells import surface, torus, tube

from layup.shape.flat import rectangle
from layup.sides.offset import Curved, bend_of


def half_pipe(n, radius=0.2, length=0.5):
    turn = np.linspace(0, pi, n + 1)
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=1)
    p = np.concatenate([ring, ring + np.array([0.0, 0.0, length])])
    i = np.arange(n)
    return surface(p, np.concatenate([np.c_[i, i + 1, i + n + 2], np.c_[i, i + n + 2, i + n + 1]]))


@pytest.mark.parametrize("thickness", [0.002, -0.002, 0.02, -0.05])
def test_sphere(thickness):
    """Tolerance: flat faces; both areas are short by about the same share, 1e-3 at this mesh."""
    ball = trimesh.creation.icosphere(5, 0.3)
    shell = surface(np.asarray(ball.vertices), np.asarray(ball.faces))
    assert offset_area(shell, thickness) == pytest.approx(4 * pi * (0.3 + thickness) ** 2, rel=1e-3)
    grows = (offset_area(shell, thickness) - shell.whole.area) / thickness
    assert grows == pytest.approx(4 * pi * (2 * 0.3 + thickness), rel=1e-3)


@pytest.mark.parametrize("n", [16, 128])
def test_half_pipe(n):
    """The turn at the inner edges is pi (n - 1)/n: the two outermost half facets do not turn."""
    shell = half_pipe(n)
    more = offset_area(shell, 0.01) - shell.whole.area
    assert more == pytest.approx(0.01 * 0.5 * pi * (n - 1) / n, rel=1e-9)
    assert offset_area(shell, -0.01) - shell.whole.area == pytest.approx(-more, rel=1e-9)


def test_flat_sheet_keeps_its_area():
    assert offset_area(rectangle(1.0, 0.6), 0.01) == pytest.approx(0.6, rel=1e-12)


def test_folded_sheet_and_mixed_winding():
    """A right-angle fold of 1 m gains a quarter cylinder outside; a face wound against the others changes nothing."""
    p = np.array([[0, 0, 0], [1, 0, 0], [1, 0.3, 0], [0, 0.3, 0], [0, 0, -0.2], [1, 0, -0.2]])
    f = np.array([[0, 1, 2], [0, 2, 3], [0, 4, 5], [0, 5, 1]])
    sheet = surface(p, f)
    assert offset_area(sheet, 0.004) == pytest.approx(0.5 + pi / 2 * 0.004, rel=1e-12)
    f[1] = f[1, ::-1]
    assert offset_area(surface(p, f), 0.004) == pytest.approx(0.5 + pi / 2 * 0.004, rel=1e-12)


def order(make, exact, distance, sizes=(12, 24, 48)):
    """Errors of the offset area on finer and finer meshes, and how fast the last halving brought them down."""
    errors = []
    for n in sizes:
        shell = make(n)
        errors.append(abs(offset_area(shell, distance) - exact))
    return errors, np.log2(errors[-2] / errors[-1])


def patch_area(t, big=0.4, small=0.15, start=-0.7, stop=1.1):
    r = small + t
    return 2 * pi * r * (big * (stop - start) + r * (np.sin(stop) - np.sin(start)))


@pytest.mark.parametrize("t", [0.03, -0.03])
def test_finer_meshes_come_nearer(t, capsys):
    """Closed in the direction it bends, the error falls with the square of the mesh; a patch's outermost half facets do
    not turn, so its error falls with the mesh itself: the orders are asserted within a quarter."""
    rows = {
        "tube": (order(tube, 2 * pi * (0.25 + t) * 0.6, t), 2.0),
        "torus": (order(torus, 4 * pi**2 * 0.4 * (0.15 + t), t), 2.0),
        "patch of a torus": (order(lambda n: torus(n, start=-0.7, stop=1.1), patch_area(t), t), 1.0),
    }
    with capsys.disabled():
        for name, ((errors, fast), _) in rows.items():
            print(f"\n{name}, {t * 1e3:+.0f} mm: " + ", ".join(f"{e:.2e}" for e in errors) + f" m^2: order {fast:.2f}")
    for (_, fast), due in rows.values():
        assert fast == pytest.approx(due, abs=0.25)


def test_patch_of_a_torus():
    """Tolerance: the mesh; the patch bulges both ways of its axis, so M and K both count."""
    shell = torus(160, start=-0.7, stop=1.1)
    for t in (0.02, -0.02):
        gain = patch_area(t) - patch_area(0.0)
        assert offset_area(shell, t) - shell.whole.area == pytest.approx(gain, rel=0.01)


@settings(deadline=None)
@given(
    area=st.floats(1e-4, 10.0),
    turn=st.floats(-60.0, 60.0),
    round_=st.floats(-13.0, 13.0),
    steps=st.lists(st.floats(1e-4, 0.05), min_size=1, max_size=8),
)
def test_layers_fill_what_lies_between_two_offsets(area, turn, round_, steps):
    """Thickness times area, added up over layers, is the volume under the outermost, however it is shared out; no layer
    has less than no area, and on a hollow none grows again once it is past the radius."""
    place = Curved(area, turn, round_)
    low, volume, areas = 0.0, 0.0, []
    for step in steps:
        areas.append(place.through(low, low + step))
        volume += areas[-1] * step
        low += step
    assert volume == pytest.approx(place.through(0.0, low) * low, rel=1e-9, abs=1e-15)
    assert min(areas) >= 0.0
    end, least = place.limit
    if low < end:
        exact = area * low + turn * low**2 / 2 + round_ * low**3 / 3
        assert volume == pytest.approx(exact, rel=1e-9, abs=1e-12)
    else:
        assert place.through(end, end + 0.01) == pytest.approx(least, abs=1e-12)


def test_past_the_radius_nothing_is_left():
    """A ball filled from the inside: its volume and no more. A pipe the same."""
    r = 0.05
    ball = Curved(4 * pi * r**2, -8 * pi * r, 4 * pi)
    assert ball.through(0.0, 0.12) * 0.12 == pytest.approx(4 / 3 * pi * r**3, rel=1e-6)
    assert ball.through(0.06, 0.07) == pytest.approx(0.0, abs=1e-9)
    pipe = Curved(2 * pi * r, -2 * pi, 0.0)
    assert pipe.through(0.0, 0.08) * 0.08 == pytest.approx(pi * r**2, rel=1e-12)
    assert pipe.through(0.06, 0.07) == 0.0


@settings(max_examples=30, deadline=None)
@given(cut=st.floats(0.05, 0.55))
def test_a_place_and_the_rest_make_the_whole(cut):
    shell = tube(24, m=5)
    bend = bend_of(shell)
    one = shell.cut({"between": f"z -1 m {cut} m"})
    two = shell.cut({"between": f"z {cut} m 2 m"})
    ours = np.ones(len(bend.faces))
    whole = bend.place(None, ours)
    low, high = (bend.place(bend.shares(c.inner, c.faces), ours) for c in (one, two))
    assert low.area + high.area == pytest.approx(whole.area, rel=1e-9)
    assert low.turn + high.turn == pytest.approx(whole.turn, rel=1e-9)
    assert low.turn == pytest.approx(2 * pi * cut, rel=1e-9)
    assert low.round + high.round == pytest.approx(whole.round, abs=1e-9)


def test_a_tight_hollow_is_found():
    """A tube of 8 mm: tight for 12 mm of layers on its inside, not for 4 mm, and never on its outside."""
    bend = bend_of(tube(32, radius=0.008, length=0.1))
    inside, count = -np.ones(len(bend.faces)), len(bend.faces)
    for height, found in ((0.012, bend.area.sum()), (0.004, 0.0)):
        assert bend.pinched(inside, np.full(count, height)).sum() == pytest.approx(found)
        assert bend.pinched(-inside, np.full(count, height)).sum() == 0.0


def test_a_corner_without_a_radius_is_tight_for_anything():
    """A right-angle fold of 1 m: a strip as wide as the layers are thick, on its hollow side alone."""
    p = np.array([[0, 0, 0], [1, 0, 0], [1, 0.3, 0], [0, 0.3, 0], [0, 0, -0.2], [1, 0, -0.2]])
    f = np.array([[0, 1, 2], [0, 2, 3], [0, 4, 5], [0, 5, 1]])
    bend = bend_of(surface(p, f))
    ours = np.ones(4)
    assert bend.pinched(-ours, np.full(4, 0.004)).sum() == pytest.approx(0.004)
    assert bend.pinched(ours, np.full(4, 0.004)).sum() == 0.0
