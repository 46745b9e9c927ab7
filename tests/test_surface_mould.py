"""Which way the layers lie: what the part file says, else what the file shows, else not known."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from oracles.offset import offset_area

from layup.errors import SurfaceError
from layup.files.read import read_surface
from layup.shape.flat import outline, rectangle
from layup.shape.measure import measure_triangles
from layup.shape.surface import Surface
from layup.sides.mould import LARGE, is_flat, lies, parse_mould


def gutter(n=24, radius=0.2, length=0.5, turned=False, height=0.0):
    """Half a pipe along x, open below, its faces looking outward unless turned."""
    turn = np.linspace(0, np.pi, n + 1)
    ring = np.stack([0 * turn, radius * np.cos(turn), radius * np.sin(turn) + height], axis=1)
    p = np.concatenate([ring, ring + np.array([length, 0.0, 0.0])])
    i = np.arange(n)
    f = np.concatenate([np.c_[i, i + n + 2, i + 1], np.c_[i, i + n + 1, i + n + 2]])
    f = f if not turned else f[:, ::-1]
    return p, f


def shell(points, faces, **more):
    return Surface("test", measure_triangles(points[faces]), lambda: (points, faces), **more)


def outward(lie):
    """1 where the layers lie outside the pipe, -1 inside, by the position of the faces alone."""
    bend = lie.bend
    middle = bend.points[bend.faces].mean(axis=1) * [0, 1, 1]
    sides = np.sign(np.einsum("ij,ij->i", bend.unit, middle) * lie.sign)
    assert len(set(sides)) == 1
    return sides[0]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(
    ("mould", "drawn", "side", "tool"),
    [
        ("female", None, -1, True),
        ("male", None, 1, True),
        ("male", "bag side", -1, False),  # the finished outside was drawn, the plug lies inside it
        ("Female", "bag side", 1, False),
        ("facing (0, 0, 1)", None, 1, True),
        ("facing (0, 0, -1)", "tool side", -1, True),
        ("facing (0, 0, 1)", "bag side", -1, False),
    ],
)
def test_what_the_part_file_says(mould, drawn, side, tool, turned):
    """Whichever way the triangles happen to run."""
    lie = lies(shell(*gutter(turned=turned)), mould, drawn)
    assert (outward(lie), lie.known, lie.tool, lie.taken, lie.doubt) == (side, True, tool, "", "")


def test_an_open_shell_says_nothing_of_itself():
    lie = lies(shell(*gutter()), None, None)
    assert not lie.known
    assert outward(lie) == 1  # the bulging side is named, so that more and less can be told


def test_two_pieces_wound_against_each_other():
    one, two = gutter(), gutter(turned=True)
    p = np.concatenate([one[0], two[0] + [2.0, 0, 0]])
    lie = lies(shell(p, np.concatenate([one[1], two[1] + len(one[0])])), "female", None)
    assert outward(lie) == -1


def test_no_word_where_nothing_can_change(tmp_path):
    assert lies(rectangle(1.0, 0.6), "female", None) is None
    assert lies(outline([(0, 0), (0.62, 0), (0.62, 0.38)]), None, None) is None
    tilted = np.array([[0, 0, 0], [1, 0, 0.3], [1, 1, 0.8], [0, 1, 0.5]]).astype(np.float32).astype(float)
    assert is_flat(shell(tilted + 3.0, np.array([[0, 1, 2], [0, 2, 3]])))
    assert not is_flat(shell(*gutter(radius=0.2)))
    p, f = gutter()
    assert lies(Surface("no mesh", measure_triangles(p[f]), None), "male", None) is None


def test_a_large_mesh_is_not_read_only_to_say_what_is_not_known():
    def never():
        raise AssertionError("read")

    p, f = gutter()
    large = Surface("scan", replace(measure_triangles(p[f]), triangles=LARGE + 1), never)
    assert lies(large, None, None) is None
    with pytest.raises(AssertionError, match="read"):
        lies(large, "female", None)


@pytest.fixture(scope="module")
def can(tmp_path_factory):
    """A cup of 3 mm wall and 160 mm outer diameter, closed below: a closed thin solid."""
    profile = np.array([[0.0, -0.06], [0.08, -0.06], [0.08, 0.06], [0.077, 0.06], [0.077, -0.057], [0.0, -0.057]])
    cup = trimesh.creation.revolve(profile, sections=96)
    path = tmp_path_factory.mktemp("can") / "cup.stl"
    cup.export(path)
    return path


@pytest.mark.parametrize(("side", "way"), [("outer", -1), ("inner", 1)])
def test_a_side_of_a_thin_solid_has_the_laminate_behind_it(can, side, way):
    """Moved by the wall's thickness into the solid, the area of one side comes to that of the other. Tolerance 2 %: the
    corner at the bottom is sharp, where turning counts pi/2 and a mitre 2."""
    picked, other = (read_surface(can, unit="m", side=s) for s in (side, "inner" if side == "outer" else "outer"))
    lie = lies(picked, None, None)
    assert (picked.laminate, lie.known, lie.tool) == ("behind", True, True)
    assert "tool side" in lie.taken
    gain = other.whole.area - picked.whole.area
    assert np.sign(gain) == way
    ours = lie.bend.place(None, lie.sign).through(0.003, 0.003)
    assert ours == pytest.approx(offset_area(picked, -0.003))
    assert ours == pytest.approx(other.whole.area, rel=0.02)


@pytest.mark.parametrize(
    ("side", "mould", "drawn", "tool", "doubt"),
    [
        ("outer", "female", None, True, False),
        ("outer", "male", None, False, False),  # laid over a plug: the outside is the bag side
        ("inner", "male", None, True, False),
        ("inner", "female", None, False, False),
        ("outer", "male", "bag side", False, False),
        ("outer", "male", "tool side", True, True),
    ],
)
def test_a_mould_tells_which_side_of_a_solid_is_the_tool_side(can, side, mould, drawn, tool, doubt):
    lie = lies(read_surface(can, unit="m", side=side), mould, drawn)
    assert (lie.known, lie.tool, bool(lie.doubt)) == (True, tool, doubt)
    assert (lie.sign == -1.0).all()  # into the solid, always


def test_a_block_is_the_tool(tmp_path):
    turn = np.linspace(0.0, np.pi / 2, 25)
    profile = np.concatenate([[[0.0, 0.0]], 0.2 * np.stack([np.cos(turn), np.sin(turn)], axis=1)])
    trimesh.creation.revolve(profile, sections=64).export(tmp_path / "plug.stl")
    plug = read_surface(tmp_path / "plug.stl", unit="m", side="facing (0, 0, 1)")
    lie = lies(plug, None, None)
    assert (plug.laminate, lie.known, lie.tool) == ("before", True, True)
    assert "block" in lie.taken
    assert lie.bend.place(None, lie.sign).turn > 0.0
    float_ = read_surface(tmp_path / "plug.stl", unit="m", side="all")
    lie = lies(float_, None, None)
    assert (float_.laminate, lie.known) == ("round", True)
    assert lie.bend.place(None, lie.sign).turn > 0.0


def test_a_shell_that_bulges_both_ways_wants_a_direction():
    """A wave of one whole length: female and male say nothing, a direction does."""
    x = np.linspace(0.0, 1.0, 81)
    line = np.stack([x, 0 * x, 0.05 * np.sin(4 * np.pi * x)], axis=1)
    p = np.concatenate([line, line + np.array([0, 0.3, 0])])
    i = np.arange(80)
    f = np.concatenate([np.c_[i, i + 1, i + 82], np.c_[i, i + 82, i + 81]])
    lie = lies(shell(p, f), "female", None)
    assert not lie.known
    assert "facing" in lie.doubt
    assert lies(shell(p, f), "facing (0, 0, 1)", None).known
    lie = lies(shell(p, f), "facing (1, 0, 0)", None)
    assert not lie.known
    assert "does not face (1, 0, 0)" in lie.doubt


@pytest.mark.parametrize("text", ["sideways", "", "facing", "facing (0, 0, 0)", "facing (0, 0)", "outer"])
def test_what_cannot_be_read(text):
    with pytest.raises(SurfaceError):
        parse_mould(text)
