"""Nesting: whatever comes in, what comes out lies on the roll, keeps the gap, and keeps the warp."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest import approx
from shapely import Polygon, affinity, box

from layup.cloth.splice import splice
from layup.errors import NestError, TooWideError
from layup.make import nest_search
from layup.make.nest import Nest, faults, nest
from layup.make.nest_file import stored, used
from layup.make.pieces import Cloth, Piece, Placed, Roll, lay

ROOT = Path(__file__).parents[1]


def star(radii: list[float], size: float) -> Polygon:
    """An outline that never crosses itself, as ragged as its radii."""
    count = len(radii)
    angles = [2 * math.pi * i / count for i in range(count)]
    return Polygon([(size * r * math.cos(a), size * r * math.sin(a)) for r, a in zip(radii, angles, strict=True)])


shapes = st.builds(
    star, st.lists(st.floats(0.35, 1.0), min_size=3, max_size=11), st.floats(0.04, 0.30)
).filter(lambda s: s.is_valid and s.area > 1e-5)  # fmt: skip
pieces = st.lists(
    st.builds(Piece, st.just("ply"), shapes, st.booleans(), st.booleans()), min_size=1, max_size=9
)  # fmt: skip


def by_hand(layout: Nest) -> None:
    """The same demands as `faults`, pair by pair, with no tree and no tolerance but rounding."""
    laid = layout.laid()
    for shape in laid:
        x0, y0, x1, y1 = shape.bounds
        assert x0 >= -1e-9
        assert x1 <= layout.length + 1e-9
        assert y0 >= layout.roll.edge - 1e-9
        assert y1 <= layout.roll.width - layout.roll.edge + 1e-9
    others = [*laid, *layout.roll.blocked]
    for i, one in enumerate(laid):
        for other in others[i + 1 :]:
            assert one.distance(other) >= layout.gap - 1e-9
            assert one.intersection(other).area < 1e-12
    for place, shape in zip(layout.placed, laid, strict=True):
        piece = layout.pieces[place.piece]
        assert shape.area == approx(piece.shape.area, rel=1e-9)
        assert piece.turns or not place.turned
        assert piece.flips or not place.flipped


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(pieces, st.floats(0.62, 1.5), st.floats(0.0, 0.012), st.floats(0.0, 0.01))
def test_every_plain_layout_is_sound(listed: list[Piece], width: float, gap: float, edge: float) -> None:
    layout = nest(listed, Roll(width, edge), gap=gap, seconds=0)
    assert faults(layout) == []
    by_hand(layout)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    pieces,
    st.lists(st.tuples(st.floats(0, 1.5), st.floats(0, 0.9), st.floats(0.02, 0.3), st.floats(0.02, 0.3)), max_size=4),
)
def test_defects_are_left_out(listed: list[Piece], bad: list[tuple[float, float, float, float]]) -> None:
    blocked = tuple(box(x, y, x + a, y + b) for x, y, a, b in bad)
    layout = nest(listed, Roll(1.0, blocked=blocked), gap=0.004, seconds=0)
    assert faults(layout) == []
    by_hand(layout)


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.builds(Piece, st.just("ply"), shapes, st.booleans(), st.booleans()), min_size=4, max_size=12))
def test_every_searched_layout_is_sound(listed: list[Piece]) -> None:
    layout = nest(listed, Roll(1.0, 0.005), gap=0.004, seconds=1)
    assert faults(layout) == []
    by_hand(layout)


def test_the_plain_layout_is_always_the_same() -> None:
    listed = [Piece(f"{i}", star([0.5, 1, 0.7, 0.9, 0.6 + i / 40], 0.2), True, i % 2 == 0) for i in range(12)]
    first, second = (nest(listed, Roll(1.27), seconds=0) for _ in range(2))
    assert first.placed == second.placed


def test_the_warp_stays_along_the_roll() -> None:
    arrow = Polygon([(0, 0), (0.3, 0), (0.3, 0.02), (0, 0.1)])
    for turned in (False, True):
        for flipped in (False, True):
            laid = lay(arrow, Placed(0, 0.0, 0.0, turned, flipped))
            assert laid.bounds[2] - laid.bounds[0] == approx(0.3)
            assert laid.bounds[3] - laid.bounds[1] == approx(0.1)
            assert laid.exterior.is_ccw == (arrow.exterior.is_ccw != flipped)  # face down is a mirror image


def test_a_faulty_layout_is_seen() -> None:
    square = box(0, 0, 0.2, 0.2)
    one, two = Piece("1", square, turns=False), Piece("2", square, turns=False)

    def layout(*placed: Placed, gap: float = 0.003, roll: Roll = Roll(1.0)) -> Nest:  # noqa: B008 (frozen)
        return Nest((one, two), roll, gap, placed, "search")

    assert faults(layout(Placed(0, 0, 0), Placed(1, 0.203, 0))) == []
    assert "nearer than the gap" in faults(layout(Placed(0, 0, 0), Placed(1, 0.202, 0)))[0]
    assert "nearer than the gap" in faults(layout(Placed(0, 0, 0), Placed(1, 0.1, 0.1), gap=0.0))[0]
    assert faults(layout(Placed(0, 0, 0), Placed(1, 0.2, 0), gap=0.0)) == []
    assert "off the roll" in faults(layout(Placed(0, 0, 0), Placed(1, 0.3, 0.81)))[0]
    assert "off the roll" in faults(layout(Placed(0, -0.01, 0), Placed(1, 0.3, 0)))[0]
    assert "exactly once" in faults(layout(Placed(0, 0, 0), Placed(0, 0.3, 0)))[0]
    assert "direction" in faults(layout(Placed(0, 0.2, 0.2, True), Placed(1, 0.3, 0)))[0]
    assert "face" in faults(layout(Placed(0, 0, 0.2, False, True), Placed(1, 0.3, 0)))[0]
    bad = Roll(1.0, blocked=(box(0.1, 0.1, 0.15, 0.15),))
    assert "blocked" in faults(layout(Placed(0, 0, 0), Placed(1, 0.3, 0), roll=bad))[0]


def test_a_piece_wider_than_the_roll_is_refused_with_a_way_out() -> None:
    with pytest.raises(TooWideError, match="Splice it") as caught:
        nest([Piece("small", box(0, 0, 0.1, 0.1)), Piece("ply 2", box(0, 0, 0.3, 1.3))], Roll(1.27))
    assert caught.value.piece == 1
    assert "ply 2" in str(caught.value)


def test_what_cannot_be_nested_is_said_before_anything_is_started() -> None:
    bow_tie = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(NestError, match="cross itself"):
        nest([Piece("tie", bow_tie)], Roll(1.27))
    with pytest.raises(NestError, match="cross itself"):
        nest([Piece("line", Polygon([(0, 0), (1, 0), (1, 1e-12)]))], Roll(1.27))
    with pytest.raises(NestError, match="no cloth"):
        nest([Piece("a", box(0, 0, 0.1, 0.1))], Roll(0.01, 0.005))
    with pytest.raises(NestError, match="gap"):
        nest([Piece("a", box(0, 0, 0.1, 0.1))], Roll(1.0), gap=0.5)
    with pytest.raises(NestError, match="left"):
        nest([Piece("a", box(0, 0, 0.5, 0.9))] * 3, Roll(1.0, length=1.2), seconds=0)
    assert nest([], Roll(1.0)).length == 0.0


def test_a_piece_as_wide_as_the_roll_fits() -> None:
    layout = nest(
        [Piece("a", box(0, 0, 0.5, 1.27)), Piece("b", box(0, 0, 0.5, 1.27))], Roll(1.27), gap=0.003, seconds=1
    )
    assert faults(layout) == []
    assert layout.length == approx(1.003, abs=0.011)


def test_a_search_that_breaks_leaves_the_plain_layout(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The library behind the search stops its whole program on bad input; here it always does."""
    listed = [Piece(f"{i}", star([0.5, 1, 0.7], 0.2)) for i in range(5)]
    plain = nest(listed, Roll(1.0), seconds=0)
    for body in ("raise SystemExit(101)", "print('nonsense'); print('{\"placed\": [[0, 0, 0, 0]]}')", "1/0"):
        program = tmp_path / "breaks.py"
        program.write_text(body)
        monkeypatch.setattr(nest_search, "__file__", str(program))
        layout = nest(listed, Roll(1.0), seconds=1)
        assert layout.how == "bottom-left"
        assert faults(layout) == []
        assert layout.length <= plain.length * 1.3


def test_a_search_that_lies_is_not_believed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    program = tmp_path / "lies.py"
    program.write_text('print(\'{"placed": [["0", 0, 100, 300], ["1", 0, 100, 300]]}\')')
    monkeypatch.setattr(nest_search, "__file__", str(program))
    square = box(0, 0, 0.2, 0.2)
    layout = nest([Piece("0", square), Piece("1", square)], Roll(1.0), seconds=1)
    assert layout.how == "bottom-left"
    by_hand(layout)


def test_a_search_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    program, ended = tmp_path / "hangs.py", tmp_path / "ended"
    program.write_text(f"import time; time.sleep(600); open({str(ended)!r}, 'w')")
    monkeypatch.setattr(nest_search, "__file__", str(program))
    layout = nest([Piece("0", star([0.5, 1, 0.7], 0.2))] * 2, Roll(1.0), seconds=1)
    assert layout.how == "bottom-left"
    assert not ended.exists()  # it was not waited for


@pytest.mark.skipif(not Path("/proc/self/stat").is_file(), reason="looks in /proc whether the search still runs")
def test_a_search_whose_parent_is_killed_ends(tmp_path: Path) -> None:
    """The parent is killed outright, and the search finds nothing shorter that it could fail to hand over."""
    said = tmp_path / "child"
    parent = tmp_path / "parent.py"
    parent.write_text(
        "import subprocess, sys\n"
        "from shapely import box\n"
        "from layup.make import nest_search\n"
        "from layup.make.nest import nest\n"
        "from layup.make.pieces import Piece, Roll\n"
        "begin = subprocess.Popen\n"
        "def told(*args, **more):\n"
        "    child = begin(*args, **more)\n"
        f"    open({str(said)!r}, 'w').write(str(child.pid))\n"
        "    return child\n"
        "nest_search.subprocess.Popen = told\n"
        "nest([Piece(str(i), box(0, 0, 0.3, 0.3)) for i in range(3)], Roll(1.0), seconds=60)\n"
    )
    program = subprocess.Popen([sys.executable, str(parent)], env=os.environ | {"PYTHONPATH": str(ROOT)})
    try:
        child = _until(lambda: int(said.read_text()) if said.is_file() and said.read_text() else None)
        _until(lambda: "nest_search" in _command(child) or None)
        time.sleep(2.0)
        assert _command(child)
    finally:
        program.kill()
        program.wait()
    assert _until(lambda: _command(child) == "" or None)


def test_a_search_that_never_reads_does_not_hold_us_up() -> None:
    program = subprocess.Popen(
        [sys.executable, "-c", "import time; time.sleep(600)"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:  # more than a pipe holds
        assert list(nest_search._lines(program, "7" * 1_000_000, time.monotonic() + 1.0)) == []
        assert program.poll() is None  # it was not waited for
    finally:
        program.kill()
        program.wait()


def _command(pid: int) -> str:
    """What a process was started with; "" where it is no more, or only its name is left."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        return "" if state == "Z" else Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " ").strip()
    except (FileNotFoundError, ProcessLookupError):
        return ""


def _until(found: Callable[[], Any], seconds: float = 120.0) -> Any:
    """What is found, waited for."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if (value := found()) is not None:
            return value
        time.sleep(0.1)
    raise AssertionError("it did not come")


def test_progress_only_gets_shorter() -> None:
    seen: list[float] = []
    listed = [Piece(f"{i}", star([0.5, 1, 0.7, 0.9], 0.1 + 0.02 * i), True) for i in range(8)]
    layout = nest(listed, Roll(0.8), seconds=1, progress=lambda n, _: seen.append(n.length))
    assert seen
    assert seen == sorted(seen, reverse=True)
    assert layout.length == seen[-1]


def test_a_keyboard_interrupt_gives_the_best_so_far() -> None:
    """A real interrupt, sent to a program of its own while it searches."""
    code = (
        "from shapely import box\n"
        "from layup.make.nest import Piece, Roll, nest, faults\n"
        "p = [Piece(str(i), box(0, 0, 0.1 + 0.03 * i, 0.2)) for i in range(9)]\n"
        "print('go', flush=True)\n"
        "n = nest(p, Roll(0.7), seconds=40)\n"
        "print(n.stopped, len(n.placed), faults(n), flush=True)\n"
    )
    program = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert program.stdout is not None
    assert program.stdout.readline().strip() == "go"
    threading.Timer(2.0, lambda: os.kill(program.pid, signal.SIGINT)).start()
    out, _ = program.communicate()
    assert out.strip() == "True 9 []"
    assert program.returncode == 0


def test_a_remnant_is_what_an_earlier_cut_left() -> None:
    listed = [Piece(f"{i}", star([0.5, 1, 0.7, 0.9], 0.2)) for i in range(3)]
    first = nest(listed, Roll(1.0), seconds=0)
    second = nest([Piece("late", box(0, 0, 0.1, 0.1))], Roll(1.0).after(first.laid()), seconds=0)
    assert faults(second) == []
    laid = second.laid()[0]
    assert all(laid.distance(shape) >= 0.003 - 1e-9 for shape in first.laid())
    assert laid.bounds[0] < first.length  # it went into the rest of the cloth, not behind it


@settings(max_examples=60, deadline=None)
@given(shapes, st.floats(0.06, 0.3), st.floats(0.0, 0.05))
def test_strips_cover_the_ply_and_fit_the_roll(shape: Polygon, usable: float, overlap: float) -> None:
    strips = splice(shape, usable, overlap)
    covered = Polygon()
    for strip in strips.shapes:
        assert strip.bounds[3] - strip.bounds[1] <= usable + 1e-9
        covered = covered.union(strip)
    assert covered.area == approx(shape.area, rel=1e-5, abs=1e-6)
    assert sum(s.area for s in strips.shapes) == approx(shape.area + strips.doubled, rel=1e-9)
    if shape.bounds[3] - shape.bounds[1] <= usable:
        assert strips.seam == 0.0


def test_a_splice_by_hand() -> None:
    strips = splice(box(0, 0, 2.0, 1.5), 1.27, 0.025)
    assert [s.bounds[3] - s.bounds[1] for s in strips.shapes] == approx([0.7625, 0.7625])  # (1.5 + 0.025) / 2
    assert strips.seam == approx(2.0)
    assert strips.doubled == approx(2.0 * 0.025)


def test_turning_keeps_the_middle() -> None:
    shape = box(0.1, 0.2, 0.5, 0.4)
    turned = lay(shape, Placed(0, 1.0, 1.0, True))
    assert turned.equals_exact(affinity.translate(affinity.rotate(shape, 180, origin=(0, 0)), 1.0, 1.0), 1e-12)


def test_a_file_that_is_no_cut_is_refused(tmp_path: Path) -> None:
    from layup.errors import LayupError

    path = tmp_path / "door.cut.json"
    with pytest.raises(LayupError, match="no such file"):
        stored(path)
    path.write_text("[1, 2]")
    with pytest.raises(LayupError, match="no layouts"):
        used(path)


def test_a_remnant_of_any_outline_is_searched() -> None:
    """Four pieces that none of the plain orders gets onto a remnant with a corner gone, and another order does."""
    outline = Polygon([(0, 0), (1.0, 0), (1.0, 0.5), (0.6, 0.9), (0, 0.9)])
    roll = Cloth("rem", "", False, 0.9, 1.0, outline).as_roll()
    shapes = [Polygon([(0, 0), (0.53, 0), (0.53, 0.33), (0.212, 0.55)]), box(0, 0, 0.54, 0.2)]
    shapes += [Polygon([(0, 0), (0.58, 0), (0.58, 0.198), (0.232, 0.33)]), box(0, 0, 0.21, 0.47)]
    pieces = [Piece(str(n), shape) for n, shape in enumerate(shapes)]
    with pytest.raises(NestError):
        nest(pieces, roll, seconds=0)
    found = nest(pieces, roll, seconds=60, fits=True)  # it ends with the first that fits
    assert faults(found) == []
    assert all(outline.buffer(1e-6).contains(shape) for shape in found.laid())


def test_joins_are_moved_where_that_leaves_fewer_pieces() -> None:
    """A plate with two ears that equal strips would cut off: the roll has room to take them whole."""
    ears = Polygon([(0, 0), (2, 0), (2, 0.66), (1.8, 0.66), (1.8, 0.6), (0.2, 0.6), (0.2, 0.66), (0, 0.66)])
    body = Polygon([*ears.exterior.coords[:-1]][::-1]).union(box(0.9, 0.6, 1.1, 1.2))
    joined = splice(body, 0.9, 0.025)
    assert joined.count == 2
    assert len(joined.shapes) == 2
    assert max(s.bounds[3] - s.bounds[1] for s in joined.shapes) <= 0.9 + 1e-9
    assert joined.doubled == approx(0.2 * 0.025)  # joined across the narrow part alone
    assert joined.edges[0][1] - joined.edges[0][0] == approx(0.025)
