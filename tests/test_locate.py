"""Lines of keys in a TOML text, against what the standard reader finds there."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from layup.partfile.lines import key_lines, line_of

TEXT = '''\
# a comment with = and [brackets]
title = "a # not a comment"
"quoted key" = 1
dotted.key.here = 2

[surface]   # comment
outline = [
    [0, 0],   # first
    # between
    [1, 0],
    [1, 1],
]
note = """
fake = 1
[[fake]]
"""
other = \'\'\'
fake = 2\'\'\'
after = 3

[[ply]]
fabric = "one"
[[ply]]
fabric = "two"
inline = { a = 1, b = [1, 2] }
[[ply.sub]]
x = 1
[[ply.sub]]
x = 2
'''


def test_keys_stand_on_their_lines() -> None:
    lines = key_lines(TEXT)
    assert lines[("title",)] == 2
    assert lines[("quoted key",)] == 3
    assert lines[("dotted", "key", "here")] == 4
    assert lines[("surface",)] == 6
    assert lines[("surface", "outline")] == 7
    assert [lines[("surface", "outline", n)] for n in range(3)] == [8, 10, 11]
    assert lines[("surface", "note")] == 13
    assert lines[("surface", "other")] == 17
    assert lines[("surface", "after")] == 19
    assert lines[("ply", 0, "fabric")] == 22
    assert lines[("ply", 1, "fabric")] == 24
    assert lines[("ply", 1, "sub", 1, "x")] == 29
    assert ("fake",) not in lines
    assert ("surface", "fake") not in lines


def test_a_missing_key_gets_the_line_of_its_table() -> None:
    lines = key_lines(TEXT)
    assert line_of(("ply", 1, "angle"), lines) == 23
    assert line_of(("ply", 1, "inline", "a"), lines) == 25
    assert line_of(("nothing",), lines) is None


def paths(data: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found = []
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        found += [(*path, key), *paths(value, (*path, key))]
    return found


def test_every_key_the_reader_finds_has_a_line() -> None:
    lines = key_lines(TEXT)
    for path in paths(tomllib.loads(TEXT)):
        assert line_of(path, lines) is not None, path


@given(st.text(alphabet="ab=[]{}\"'\\\n#., 1", max_size=120))
def test_any_text_is_walked_without_a_fault(text: str) -> None:
    assert all(1 <= line <= text.count("\n") + 1 for line in key_lines(text).values())
