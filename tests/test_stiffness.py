"""Laminate theory: invariants, symmetry, energy, reversal. Figures from books are in tests/published."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles import stiffness as book

from layup.errors import RangeError
from layup.laminate import stiffness as lt

ANGLE = st.floats(-np.pi, np.pi)


@st.composite
def plies(draw, most=8):
    """A stack of unlike plies: their Q, angles and thicknesses."""
    n = draw(st.integers(1, most))
    figures = st.tuples(st.floats(5e9, 3e11), st.floats(1e9, 5e9), st.floats(0.0, 0.45), st.floats(1e9, 6e9))
    q = np.stack([lt.reduced_stiffness(*draw(figures)) for _ in range(n)])
    angles = np.array([draw(ANGLE) for _ in range(n)])
    t = np.array([draw(st.floats(0.05e-3, 1e-3)) for _ in range(n)])
    return q, angles, t


def built(parts):
    q, angles, t = parts
    return lt.stack_stiffness(lt.rotated_stiffness(q, angles), t)


def near(x, scale):
    return pytest.approx(x, rel=1e-9, abs=1e-9 * float(np.abs(scale).max()))


@given(parts=plies(1), angle=ANGLE)
def test_invariants_of_rotation(parts, angle):
    q = parts[0][0]
    turned = lt.rotated_stiffness(q, angle)
    trace = [m[0, 0] + m[1, 1] + 2 * m[0, 1] for m in (q, turned)]
    shear = [m[2, 2] - m[0, 1] for m in (q, turned)]
    assert trace[1] == near(trace[0], q)
    assert shear[1] == near(shear[0], q)
    assert np.linalg.det(turned) > 0
    assert lt.rotated_stiffness(q, angle + np.pi) == near(turned, q)


@given(parts=plies(1), angle=ANGLE)
def test_rotation_is_that_of_stress_and_strain(parts, angle):
    # the long way: turn the strain into the ply, multiply, turn the stress back
    q = parts[0][0]
    strain = np.array([1e-3, -4e-4, 7e-4])
    local = q @ book.strain_in_material_axes(strain, angle)
    stress = book.stress_in_material_axes(local, -angle)
    assert lt.rotated_stiffness(q, angle) @ strain == near(stress, stress)


@given(parts=plies(1), angle=ANGLE)
def test_rotation_by_invariants(parts, angle):
    q = parts[0][0]
    u1, u2, u3, u4, u5 = book.invariants(q)
    c2, s2, c4, s4 = np.cos(2 * angle), np.sin(2 * angle), np.cos(4 * angle), np.sin(4 * angle)
    want = [u1 + u2 * c2 + u3 * c4, u4 - u3 * c4, u1 - u2 * c2 + u3 * c4, u2 * s2 / 2 + u3 * s4, u2 * s2 / 2 - u3 * s4]
    got = lt.rotated_stiffness(q, angle)
    assert [got[0, 0], got[0, 1], got[1, 1], got[0, 2], got[1, 2]] == near(want, q)
    assert got[2, 2] == near(u5 - u3 * c4, q)


@given(parts=plies())
def test_energy_is_positive(parts):
    stack = built(parts)
    h = stack.thickness
    s = np.array([1, 1, 1, h, h, h])
    assert np.linalg.eigvalsh(stack.matrix / np.outer(s, s)).min() > 0
    assert np.linalg.eigvalsh(stack.reduced_bending).min() > 0
    # bending with a mid-plane free to slide is never stiffer
    assert np.linalg.eigvalsh(stack.d - stack.reduced_bending).min() > -1e-9 * np.abs(stack.d).max()


@given(parts=plies())
def test_reversal_flips_b(parts):
    one, other = built(parts), built(tuple(p[::-1] for p in parts))
    assert other.a == near(one.a, one.a)
    assert other.b == near(-one.b, one.a * one.thickness)
    assert other.d == near(one.d, one.d)


@given(parts=plies(5))
def test_mirror_has_no_coupling(parts):
    stack = built(tuple(np.concatenate([p, p[::-1]]) for p in parts))
    assert book.is_symmetric(stack)
    assert book.in_plane_constants(stack).ex == pytest.approx(book.in_plane_constants(stack, free_to_warp=False).ex)


@given(parts=plies(4))
def test_plus_and_minus_do_not_shear(parts):
    q, angles, t = parts
    stack = built((np.concatenate([q, q]), np.concatenate([angles, -angles]), np.concatenate([t, t])))
    assert book.is_balanced(stack)


def test_unbalanced_and_unsymmetric_are_found():
    q = np.stack([lt.reduced_stiffness(130e9, 9e9, 0.3, 4e9)] * 2)
    assert not book.is_symmetric(built((q, np.radians([0, 90]), np.full(2, 2e-4))))
    assert book.is_balanced(built((q, np.radians([0, 90]), np.full(2, 2e-4))))
    assert not book.is_balanced(built((q, np.radians([30, 30]), np.full(2, 2e-4))))


@given(parts=plies(4), cut=st.floats(0.01, 0.99))
def test_a_ply_cut_in_two_is_the_same_stack(parts, cut):
    q, angles, t = parts
    split = np.concatenate([[t[0] * cut, t[0] * (1 - cut)], t[1:]])
    one = built(parts)
    other = built((np.concatenate([q[:1], q]), np.concatenate([angles[:1], angles]), split))
    for name in "abd":
        scale = one.a * one.thickness ** "abd".index(name)
        assert getattr(other, name) == near(getattr(one, name), scale)


@given(parts=plies(), force=st.tuples(*[st.floats(-1e5, 1e5)] * 3), moment=st.tuples(*[st.floats(-10, 10)] * 3))
def test_stresses_add_up_to_the_load(parts, force, moment):
    q, angles, t = parts
    qbars = lt.rotated_stiffness(q, angles)
    strain, curvature = lt.midplane_response(built(parts), force, moment)
    z = lt.interfaces(t)
    got_n, got_m = np.zeros(3), np.zeros(3)
    for k in range(len(t)):  # Simpson over each ply is exact for stress times z
        for weight, at in ((1, z[k]), (4, (z[k] + z[k + 1]) / 2), (1, z[k + 1])):
            stress = book.ply_stress(qbars[k], strain, curvature, at)
            got_n += stress * weight * t[k] / 6
            got_m += stress * at * weight * t[k] / 6
    h = t.sum()
    size = np.abs(force).max() + np.abs(moment).max() / h + 1e-6
    assert got_n == pytest.approx(force, abs=1e-8 * size)
    assert got_m == pytest.approx(moment, abs=1e-8 * size * h)


@given(parts=plies(), change=st.floats(-150, 150))
def test_a_stack_that_expands_alike_stays_flat_and_free_of_stress(parts, change):
    q, angles, t = parts
    qbars = lt.rotated_stiffness(q, angles)
    alpha = lt.rotated_expansion(3e-5, 3e-5, angles)
    strain, curvature = lt.stack_expansion(qbars, alpha, t)
    assert strain == pytest.approx([3e-5, 3e-5, 0], rel=1e-7, abs=1e-12)
    assert curvature * t.sum() == pytest.approx(0, abs=1e-11)
    stress = book.ply_stress(qbars[0], strain * change, curvature * change, 0.0, alpha[0] * change)
    assert stress == pytest.approx(0, abs=1e-6 * np.abs(qbars).max() * 3e-5 * 150)


@given(a1=st.floats(-1e-6, 1e-5), a2=st.floats(0, 6e-5), angle=ANGLE)
def test_expansion_turns_as_a_strain(a1, a2, angle):
    turned = lt.rotated_expansion(a1, a2, angle)
    assert book.strain_in_material_axes(turned, angle) == pytest.approx([a1, a2, 0], abs=1e-18)


def test_one_sided_panel_curls():
    # one carbon ply on one glass ply, cooled by 60 K: a bow the shop can see; sign follows the order
    q = np.stack([lt.reduced_stiffness(60e9, 60e9, 0.05, 4e9), lt.reduced_stiffness(20e9, 20e9, 0.12, 4e9)])
    alpha = np.stack([lt.rotated_expansion(3e-6, 3e-6, 0.0), lt.rotated_expansion(15e-6, 15e-6, 0.0)])
    t = np.full(2, 0.25e-3)
    _, curvature = lt.stack_expansion(q, alpha, t)
    _, turned = lt.stack_expansion(q[::-1], alpha[::-1], t)
    assert turned == pytest.approx(-curvature)
    # Timoshenko's strip of two metals with biaxial moduli E/(1 - nu): closed form for equal thickness
    e1, e2, h = 60e9 / 0.95, 20e9 / 0.88, 0.5e-3
    n = e1 / e2
    strip = 24 * (15e-6 - 3e-6) / (h * (14 + n + 1 / n))
    assert curvature[0] == pytest.approx(strip, rel=1e-9)
    assert lt.bow(abs(curvature[0]) * 60, 0.5) > 5e-3


def test_single_ply_gives_back_its_constants():
    q = lt.reduced_stiffness(130e9, 9e9, 0.3, 4e9)
    stack = lt.stack_stiffness(q[None], [2e-4])
    for c in (book.ply_constants(q), book.in_plane_constants(stack), book.flexural_constants(stack)):
        assert (c.ex, c.ey, c.gxy) == (pytest.approx(130e9), pytest.approx(9e9), pytest.approx(4e9))
        assert (c.nuxy, c.nuyx) == (pytest.approx(0.3), pytest.approx(0.3 * 9 / 130))


def test_many_stacks_in_one_call():
    rng = np.random.default_rng(1)
    q = lt.reduced_stiffness(130e9, 9e9, 0.3, 4e9)
    angles = rng.choice(np.radians([0, 45, -45, 90]), size=(5, 3, 6))
    t = rng.uniform(1e-4, 3e-4, size=(5, 3, 6))
    many = lt.stack_stiffness(lt.rotated_stiffness(q, angles), t)
    assert many.d.shape == (5, 3, 3, 3)
    constants = book.flexural_constants(many)
    for i, j in ((0, 0), (4, 2), (2, 1)):
        one = lt.stack_stiffness(lt.rotated_stiffness(q, angles[i, j]), t[i, j])
        assert many.d[i, j] == pytest.approx(one.d)
        assert constants.ex[i, j] == pytest.approx(book.flexural_constants(one).ex)
    # plies of no thickness count for nothing, so stacks of unlike counts can share one array
    padded = lt.stack_stiffness(lt.rotated_stiffness(q, np.append(angles[0, 0], 0.3)), np.append(t[0, 0], 0.0))
    assert padded.d == pytest.approx(many.d[0, 0])


def test_kernels_compile_under_numba():
    numba = pytest.importorskip("numba")
    rotate, fill = numba.njit(lt.rotate_terms), numba.njit(book.fill_stack_terms)
    q = lt.reduced_stiffness(130e9, 9e9, 0.3, 4e9)
    angles, t = np.radians([0.0, 30, -60, 90]), np.array([1e-4, 2e-4, 3e-4, 1e-4])
    terms = np.array([rotate(q[0, 0], q[0, 1], q[1, 1], q[2, 2], np.cos(a), np.sin(a)) for a in angles])
    out = np.empty((3, 6))
    fill(terms, t, out)
    want = lt.stack_stiffness(lt.rotated_stiffness(q, angles), t)
    for row, matrix in zip(out, (want.a, want.b, want.d), strict=True):
        picked = [matrix[i, j] for i, j in ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))]
        assert row == pytest.approx(picked, rel=1e-9, abs=1e-9 * np.abs(matrix).max())


@settings(max_examples=50)
@given(keys=st.lists(st.sampled_from("abc"), min_size=1, max_size=7))
def test_unpaired_plies(keys):
    assert book.unpaired_plies(keys + keys[::-1]) == []
    assert (book.unpaired_plies(keys) == []) == (keys == keys[::-1])


@pytest.mark.parametrize(
    ("call", "say"),
    [
        (lambda: lt.reduced_stiffness(-1e9, 9e9, 0.3, 4e9), "E1"),
        (lambda: lt.reduced_stiffness(9e9, 130e9, 0.3, 4e9), "nu12"),
        (lambda: lt.interfaces([]), "at least one ply"),
        (lambda: lt.interfaces([1e-4, -1e-4]), "positive"),
        (lambda: lt.stack_stiffness(np.ones((2, 3, 3)), [1e-4]), "one of each per ply"),
    ],
)
def test_errors_say_what_is_wrong(call, say):
    with pytest.raises(RangeError, match=say):
        call()
