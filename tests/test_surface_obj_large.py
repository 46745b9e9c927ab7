"""The compiled pass over an OBJ file reads what the reader of single words reads, or leaves the file to it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layup.errors import SurfaceError
from layup.files import obj_fast, read_obj
from layup.files.obj_fast import quick_obj

TRIANGLE = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"


def by_words(tmp_path, data):
    path = tmp_path / "words.obj"
    path.write_bytes(data)
    return read_obj.read_obj(path, "words.obj")


def same(tmp_path, data, monkeypatch=None):
    clean = quick_obj(data)
    assert clean is not None
    slow = read_obj._by_words(data, "a.obj", lambda *_: None)
    assert np.array_equal(clean.points, slow.points)
    assert np.array_equal(clean.corners, slow.corners)
    assert np.array_equal(clean.counts, slow.counts)
    for (one, words), (two, others) in zip(clean.names, slow.names, strict=True):
        assert one.tolist() == two.tolist()
        assert words == others
    return clean


numbers = st.one_of(
    st.floats(-1e6, 1e6).map(repr),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.floats(-1e4, 1e4).map(lambda v: f"{v:.6f}"),
    st.integers(-(10**20), 10**20).map(str),
    st.sampled_from(["0", "-0", "+1.5", ".5", "5.", "1E5", "1e-22", "1e+23", "9007199254740993", "0.1", "000.100"]),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(numbers, numbers, numbers), min_size=3, max_size=12))
def test_numbers_are_those_of_python_to_the_last_bit(tmp_path, rows):
    text = "".join(f"v {a} {b}\t{c}\n" for a, b, c in rows) + "f 1 2 3\n"
    clean = same(tmp_path, text.encode())
    right = np.array([[float(word) for word in row] for row in rows])
    assert np.array_equal(clean.points, right)
    assert np.array_equal(np.signbit(clean.points), np.signbit(right))


def test_everything_a_clean_file_may_hold(tmp_path):
    data = (
        b"# a comment\r\nmtllib a.mtl\no lid \nv 0 0 0 0.1 0.2 0.3\nv 4 0 0\nv 4 4 0\nv 0 4 0  \nvt 0 0\nvn 0 0 1\n"
        b"vp 1\ng left\nusemtl x\ns off\nf 1/1/1 2//1 3/1 4\nl 1 2\ng right side\nf 1 2 3\no rib\nf\t-4 -3 -2\n"
        b"v 9 9 9\nf 5 -1 1"
    )
    clean = same(tmp_path, data)
    assert clean.counts.tolist() == [4, 3, 3, 3]
    assert clean.corners[-3:].tolist() == [4, 4, 0]
    assert clean.names[1][1] == [b"left", b"right side"]


@pytest.mark.parametrize(
    "data",
    [
        b"v 0 0\n" + TRIANGLE, b"v 0 0 zero\n" + TRIANGLE, b"v 0 0 nan\n" + TRIANGLE, b"v 0 0 1_0\n" + TRIANGLE,
        b"v 0 0 1e\n" + TRIANGLE, b"v 0 0 -\n" + TRIANGLE, b"v\n" + TRIANGLE, TRIANGLE + b"f 1 2\n",
        TRIANGLE + b"f 1 2 4\n", TRIANGLE + b"f 1 2 0\n", TRIANGLE + b"f 1 2 -9\n", TRIANGLE + b"f 1 2 c\n",
        TRIANGLE + b"f 1 2 \\\n3\n", b" " + TRIANGLE, TRIANGLE.replace(b"\n", b"\r"), b"", b"o x\n", b"v 1 2 3\n",
        TRIANGLE + b"g\n", TRIANGLE + b"f 1 2 3.0\n", TRIANGLE + b"# more \\\r\nf 1 2 3\n", b"v\x0b1 2 3\n" + TRIANGLE,
        TRIANGLE + b"f 1 2 99999999999999999999999\n", TRIANGLE + b"v", TRIANGLE + b"f 1 2 3\x00\n",
    ],
)  # fmt: skip
def test_anything_else_is_left_to_the_reader_of_words(data):
    assert quick_obj(data) is None


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, 150), drop=st.integers(0, 30), patch=st.text("vfog 0123456789.-+eE/\\\r\n\t#", max_size=8))
def test_damaged_files_are_read_alike_or_left(tmp_path, at, drop, patch):
    whole = (
        b"o a\nv 0 0 0\nv 1.5 0 0\nv 1.5 2e0 0\nv 0 2 -0.5\ng b\nf 1/1 2/2 3/3 4/4\nf -4 -3 -2\no c\nf 1 3 4\nv 1 2 3\n"
    )
    data = whole[:at] + patch.encode() + whole[at + drop :]
    clean = quick_obj(data)
    try:
        slow = read_obj._by_words(data, "a.obj", lambda *_: None)
    except SurfaceError:
        assert clean is None
        return
    if clean is not None:
        same(tmp_path, data)
        assert len(slow.points) == len(clean.points)


def test_a_file_in_two_stretches(tmp_path, monkeypatch):
    monkeypatch.setattr(obj_fast, "_LEAST", 100)
    rng = np.random.default_rng(4)
    rows = [f"v {x:.17g} {y:.6g} {z:.3f}\n" for x, y, z in rng.normal(size=(300, 3))]
    faces = [f"{'g part ' + str(i) + chr(10) if i % 50 == 0 else ''}f {i + 1} {i + 2} {i + 3}\n" for i in range(297)]
    same(tmp_path, "".join(rows + faces).encode())
    same(tmp_path, "".join(faces + rows).encode())  # points may come after the faces that name them
    mixed = [line for pair in zip(rows[3:], faces, strict=True) for line in pair]
    back = ["f -1 -2 -3\n" if i % 7 == 0 and line[0] == "f" else line for i, line in enumerate(mixed)]
    same(tmp_path, "".join(rows[:3] + back).encode())


def test_a_large_file_takes_the_compiled_pass(tmp_path, monkeypatch):
    data = b"o lid\n" + TRIANGLE + b"g flange\nf 3 2 1\n"
    slow = by_words(tmp_path, data)
    monkeypatch.setattr(read_obj, "LARGE", 10)
    fast = by_words(tmp_path, data)
    assert np.array_equal(fast.points, slow.points)
    assert np.array_equal(fast.faces, slow.faces)
    assert list(fast.groups) == list(slow.groups) == ["lid", "flange"]
    assert fast.groups["flange"].tolist() == slow.groups["flange"].tolist() == [False, True]
    with pytest.raises(SurfaceError, match='line 8: "f 1 2 9" names point 9'):
        by_words(tmp_path, data + b"f 1 2 9\n")
