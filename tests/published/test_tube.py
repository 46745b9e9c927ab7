"""Round tubes, and what a torque and a moment bring into a closed section, against published relations, from memory.

- Pushed: N = E t^2/(R (3 (1 - nu^2))^(1/2)), Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961, ch. 11.
- Twisted: tau = 0.747 E (t/R)^(5/4) (R/L)^(1/2), NASA SP-8007, 1968; its orthotropic form has the rounded constant
  21.75, 4 % more on a plain wall: that is the tolerance. Very long: E (t/R)^(3/2)/(3 2^(1/2) (1 - nu^2)^(3/4)),
  Timoshenko & Gere.
- Knock-downs: NASA SP-8007: 1 - 0.901 (1 - e^-phi) pushed, 1 - 0.731 (1 - e^-phi) bent, phi = (R/t)^(1/2)/16.
- Torque round a wall: T/(2 A), Bredt 1896; moment: beam theory.
- Shallow arch: Timoshenko & Gere 1961, art. 7.8.
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from layup.choosing.edges import buckling_cases, edge_cases
from layup.laminate.shallow_shell import ShallowShell, solid_as_stiff
from layup.laminate.tube import Tube
from layup.partfile.needs import Needs

E, NU, T = 70e9, 0.3, 1e-3
SHAPE = np.array([1.0, NU, 1.0, 0.0, 0.0, (1 - NU) / 2])
D = (E * T**3 / 12 / (1 - NU**2) * SHAPE)[None]
A = (E * T / (1 - NU**2) * SHAPE)[None]


def test_a_plain_wall_buckles_as_the_books_say():
    tube = Tube(0.3, 0.6)
    assert tube.pushed(D, A)[0] == approx(E * T**2 / (0.3 * np.sqrt(3 * (1 - NU**2))), rel=1e-9)
    assert tube.twisted(D, A)[0] == approx(0.747 * E * T * (T / 0.3) ** 1.25 * 0.5**0.5, rel=0.05)
    long = E * T * (T / 0.05) ** 1.5 / (3 * 2**0.5 * (1 - NU**2) ** 0.75)
    assert Tube(0.05, 20.0).twisted(D, A)[0] == approx(long, rel=1e-3)
    assert solid_as_stiff(D, A)[0] == approx(T, rel=0.05)  # (1 - nu^2)^(-1/2) apart, as SP-8007 has it


def test_knocked_down_and_together():
    tube = Tube(0.5, 1.0)
    push, twist = tube.pushed(D, A)[0], tube.twisted(D, A)[0]
    over = np.sqrt(0.5 / solid_as_stiff(D, A)[0]) / 16
    assert tube.factor(D, A, (push, 0.0, 0.0))[0] == approx(1 - 0.901 * (1 - np.exp(-over)), rel=1e-9)
    assert tube.factor(D, A, (0.0, push, 0.0))[0] == approx(1 - 0.731 * (1 - np.exp(-over)), rel=1e-9)
    assert tube.factor(D, A, (0.0, 0.0, twist))[0] == approx(0.67, rel=1e-9)
    both = tube.factor(D, A, (push, 0.0, twist))[0]
    assert both / (1 - 0.901 * (1 - np.exp(-over))) + (both / 0.67) ** 2 == approx(1.0, rel=1e-9)
    assert tube.factor(D, A, (push, 0.0, 0.0), np.array([push]))[0] == approx(
        tube.factor(D, A, (push, 0.0, 0.0))[0] / 2
    )
    assert Tube(5.0, 1.0).factor(D, A, (push, 0.0, 0.0))[0] == 0.0  # thinner than any test: never passes


def test_a_torque_and_a_moment_in_the_wall():
    box = {"shape": "box", "width": "200 mm", "height": "100 mm", "torque": "40 N m", "moment": "90 N m"}
    cases = edge_cases(Needs(section=box), (0.2, 0.5))
    flow, couple = 40 / (2 * 0.2 * 0.1), 90 / (0.2 * 0.1)
    assert {(round(c.nx), round(c.nxy)) for c in cases} == {
        (x, xy) for x in (0, -round(couple), round(couple)) for xy in (0, round(flow), -round(flow)) if x or xy
    }
    assert all(c.nx <= 0 for c in buckling_cases(Needs(section=box, push_x="1 kN"), (0.2, 0.5)))
    tube = Needs(section={"shape": "tube", "diameter": "60 mm", "length": "1 m", "torque": "40 N m"}).section
    assert tube.shear_flow == approx(40 / (2 * np.pi * 0.03**2))  # 14.1 MPa in a wall of half a millimetre
    with pytest.raises(ValueError, match="a box has width and height"):
        Needs(section={"shape": "box", "diameter": "60 mm"})


def test_a_shallow_arch_snaps_no_sooner_than_it_would_sag_by_its_rise():
    """The book's load over that load, u = 1 + (4 (1 - m)^3/(27 m^2))^(1/2), for every rise that can snap."""
    shell = ShallowShell(0.4, 4.0, 0.2, 0.0)
    assert shell.rise == approx(0.004)
    m = 4 * D[0, 0] / (A[0, 0] * shell.rise**2)
    assert m < 1
    assert shell.safe_sag(D, A)[0] == approx(0.004)
    assert 1 + np.sqrt(4 * (1 - m) ** 3 / (27 * m**2)) >= 1
    assert np.isinf(shell.safe_sag(100 * D, A)[0])  # m > 1: too flat for its thickness


def test_a_pushed_curved_panel_counts_a_share_of_its_curve():
    """Flat it is pi^2 D 4/b^2; curved more, but less than the classical load."""
    flat, curved = (ShallowShell(0.4, 0.4, 0.0, k) for k in (0.0, 1.0))
    bare, real = flat.buckling(D, A, 1.0)[0], curved.knocked_down(D, A, 1.0)[0]
    assert bare == approx(4 * np.pi**2 * D[0, 0] / 0.4**2, rel=1e-9)
    assert bare < real < curved.buckling(D, A, 1.0)[0]
    rng = np.random.default_rng(2)
    for _ in range(30):  # the limit of any layup's shape holds for every other that passes
        d, a = D * rng.uniform(0.3, 3), A * rng.uniform(0.3, 3)
        d[0, 2], a[0, 0] = d[0, 2] * rng.uniform(0.5, 2), a[0, 0] * rng.uniform(0.5, 2)
        least = curved.knocked_down(d, a, 3.0, 1.0)[0]
        g, r, _ = curved.limit_of_push(D[0], A[0], 3.0, 1.0, least)
        assert g @ np.concatenate([d[0], a[0]]) >= r * (1 - 1e-9)
