"""A part file changed as a person would change it: what is asked changes, every other line stays."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layup.errors import EditError
from layup.partfile import edit
from layup.partfile.lines import blocks, header

DOOR = """\
# A door for the left side.
title = "Door"        # painted white
process = "vacuum bag"
resin = "epoxy, laminating"

[surface]
area = "0.54 m^2"

# From the mould up.
[[ply]]
fabric = "carbon plain 200"
angle = 45            # twist first

# the second
[[ply]]
fabric = "carbon plain 160"

[[replaces]]
name = "skin"
sheet = "aluminium 2024-T3"
thickness = "0.032 in"
"""


def lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.strip()]


def test_one_value_changes_one_line() -> None:
    new = edit.put(DOOR, ("ply", 0, "angle"), "30")
    assert [(a, b) for a, b in zip(DOOR.splitlines(), new.splitlines(), strict=True) if a != b] == [
        ("angle = 45            # twist first", "angle = 30            # twist first")
    ]


def test_a_key_of_the_head_and_a_new_one() -> None:
    new = edit.put(edit.put(DOOR, ("title",), 'Door "B"'), ("vacuum",), "24 inHg")
    assert tomllib.loads(new)["title"] == 'Door "B"'
    assert "# painted white" in new
    assert tomllib.loads(new)["vacuum"] == "24 inHg"
    assert set(lines(DOOR)) - set(lines(new)) == {'title = "Door"        # painted white'}


def test_an_empty_value_takes_the_key_out() -> None:
    new = edit.put(DOOR, ("ply", 0, "angle"), " ")
    assert "angle" not in tomllib.loads(new)["ply"][0]
    assert set(lines(DOOR)) - set(lines(new)) == {"angle = 45            # twist first"}


def test_a_new_table_goes_behind_its_kind_and_in_the_order_of_a_part_file() -> None:
    new = edit.add(DOOR, "ply", {"fabric": "carbon plain 200", "angle": "-45", "count": ""})
    assert [p.get("angle") for p in tomllib.loads(new)["ply"]] == [45, None, -45]
    new = edit.add(new, "zone", {"name": "edge", "within": "40 mm of the edge"})
    heads = [header(b) for b in blocks(new)]
    assert heads.index("[[zone]]") < heads.index("[[ply]]") < heads.index("[[replaces]]")
    assert set(lines(DOOR)) <= set(lines(new))


def test_twice_stands_behind_itself_without_its_remarks() -> None:
    new = edit.copy(DOOR, "ply", 1)
    assert [p["fabric"] for p in tomllib.loads(new)["ply"]] == [
        "carbon plain 200",
        "carbon plain 160",
        "carbon plain 160",
    ]
    assert new.count("# the second") == 1


def test_moved_with_its_own_remark_while_the_heading_stays() -> None:
    new = edit.move(DOOR, "ply", 1, 0)
    assert [p["fabric"] for p in tomllib.loads(new)["ply"]] == ["carbon plain 160", "carbon plain 200"]
    assert new.index("# From the mould up.") < new.index("# the second") < new.index("carbon plain 160")
    assert edit.move(new, "ply", 0, 1).split() == DOOR.split()


def test_taken_out_and_the_heading_stays() -> None:
    new = edit.drop(DOOR, "ply", 0)
    assert [p["fabric"] for p in tomllib.loads(new)["ply"]] == ["carbon plain 160"]
    assert "# From the mould up." in new


def test_what_is_not_there_any_more_is_said() -> None:
    for change in (
        lambda: edit.put(DOOR, ("ply", 5, "angle"), "0"),
        lambda: edit.drop(DOOR, "ply", 2),
        lambda: edit.move(DOOR, "ply", 4, 0),
        lambda: edit.copy(DOOR, "zone", 0),
    ):
        with pytest.raises(EditError, match="any more"):
            change()


def test_a_line_that_cannot_be_read_is_left_to_an_editor() -> None:
    with pytest.raises(EditError, match="editor"):
        edit.put(DOOR.replace("angle = 45", "angle = 45 deg"), ("ply", 0, "count"), "2")


def test_numbers_lists_switches_and_words() -> None:
    text = edit.add(DOOR, "zone", {"name": "both", "or": "front, rear", "inside": "[[0, 0], [80, 0], [80, 50]]"})
    text = edit.put(text, ("surface", "drape"), "true")
    text = edit.put(text, ("needs", "angles"), "0, 45, -45")
    text = edit.put(text, ("shelf", "fabrics"), "carbon plain 200")
    data = tomllib.loads(text)
    assert data["zone"][0] == {"name": "both", "or": ["front", "rear"], "inside": [[0, 0], [80, 0], [80, 50]]}
    assert data["surface"]["drape"] is True
    assert data["needs"]["angles"] == [0, 45, -45]
    assert data["shelf"]["fabrics"] == ["carbon plain 200"]


def test_directions_and_points_are_typed_without_brackets() -> None:
    text = edit.put(DOOR, ("surface", "warp"), "0, 1, 0")
    text = edit.add(text, "zone", {"name": "a", "inside": "0, 0; 80, 0; 80, 50.5", "along": "0, 0, -1", "unit": "mm"})
    data = tomllib.loads(text)
    assert data["surface"]["warp"] == [0, 1, 0]
    assert (data["zone"][-1]["inside"], data["zone"][-1]["along"]) == ([[0, 0], [80, 0], [80, 50.5]], [0, 0, -1])
    assert tomllib.loads(edit.put(DOOR, ("surface", "along"), "skin"))["surface"]["along"] == "skin"


def test_a_stack_written_out() -> None:
    short = 'title = "a"\nstack = "[0/45]"\nfabric = "carbon plain 200"\n\n[surface]\narea = "1 m^2"\n'
    data = tomllib.loads(edit.write_out(short, [("carbon plain 200", 0.0), ("carbon plain 200", 45.0)]))
    assert "stack" not in data
    assert "fabric" not in data
    assert [p["angle"] for p in data["ply"]] == [0, 45]


def test_a_heading_inside_a_text_is_no_heading() -> None:
    text = 'title = "a"\nnote = """\n[[ply]]\nx\n"""\n[[ply]]\nangle = 0\n'
    assert len(blocks(text)) == 2
    assert tomllib.loads(edit.put(text, ("ply", 0, "angle"), "9"))["ply"] == [{"angle": 9}]


IN_LINES = """\
title = "W"
limits = { most = "1653 lb", forward = "83 in" }  # of the papers
consolidation = [
  # the fairing
  { name = "fairing", old = [{ name = "halves # two", weighed = "2 lb" },  # glued
      { name = "screws", each = "1.1 g", count = 46 }], new = [{ name = "one", weighed = "1 lb" }] },
]

[[removed]]
name = "pump"
"""


def test_tables_in_one_line_become_tables_when_one_of_them_is_changed() -> None:
    before = tomllib.loads(IN_LINES)
    for table in ("limits", "consolidation", "consolidation.old", "consolidation.new"):
        spread = edit.spread(IN_LINES, table)
        assert tomllib.loads(spread) == before
        assert f"[{table}]" in spread
        assert all(remark in spread for remark in ("# of the papers", "# the fairing", "# glued", "halves # two"))
    assert edit.spread(IN_LINES, "removed") == IN_LINES
    changed = tomllib.loads(edit.put(IN_LINES, ("consolidation", "old", 1, "count"), "48"))
    before["consolidation"][0]["old"][1]["count"] = 48
    assert changed == before
    assert edit.count(IN_LINES, "consolidation.old") == 2
    dropped = tomllib.loads(edit.drop(IN_LINES, "consolidation.old", 0))
    assert [piece["name"] for piece in dropped["consolidation"][0]["old"]] == ["screws"]
    short = 'title = "a"\nply = [{ fabric = "b" }, { fabric = "c" }]\n'
    assert [p["fabric"] for p in tomllib.loads(edit.move(short, "ply", 1, 0))["ply"]] == ["c", "b"]


TYPED = st.text(min_size=1, max_size=30).filter(lambda s: s.strip())


@given(TYPED)
def test_whatever_is_typed_is_one_value_and_no_more(typed: str) -> None:
    """A text can't break out of its quotes: the file still reads, and only that key differs."""
    data = tomllib.loads(edit.put(DOOR, ("ply", 1, "resin"), typed))
    before = tomllib.loads(DOOR)
    held = data["ply"][1].pop("resin")
    assert isinstance(held, str | list)
    assert data == before


@given(st.integers(0, 1), st.integers(-2, 4))
def test_moving_keeps_every_line(number: int, to: int) -> None:
    assert sorted(lines(edit.move(DOOR, "ply", number, to))) == sorted(lines(DOOR))


@given(st.lists(st.sampled_from(["copy", "drop", "move", "add", "put"]), max_size=8), st.randoms())
def test_any_row_of_edits_leaves_a_file_that_reads(steps: list[str], random: object) -> None:
    text = DOOR
    for step in steps:
        held = edit.count(text, "ply")
        at = random.randrange(max(held, 1))  # type: ignore[attr-defined]
        if step == "add" or not held:
            text = edit.add(text, "ply", {"fabric": "carbon plain 200"})
        elif step == "put":
            text = edit.put(text, ("ply", at, "count"), "3")
        elif step == "move":
            text = edit.move(text, "ply", at, 0)
        else:
            text = getattr(edit, step)(text, "ply", at)
        assert len(tomllib.loads(text).get("ply", [])) == edit.count(text, "ply")
    assert tomllib.loads(text)["replaces"] == tomllib.loads(DOOR)["replaces"]


def test_every_example_is_the_same_after_a_change_and_its_opposite(examples: Path) -> None:
    for file in sorted(examples.rglob("*.toml")):
        text = file.read_text(encoding="utf-8")
        assert "".join(blocks(text)) == text
        if edit.count(text, "ply") < 1:
            continue
        changed = edit.put(text, ("ply", 0, "angle"), "12")
        assert tomllib.loads(changed)["ply"][0]["angle"] == 12
        assert len(set(changed.splitlines()) ^ set(text.splitlines())) <= 2, file.name
