"""The bar while a file is read: on a terminal, after a second, nowhere else; a real terminal is played by a pty."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from layup.partfile.opened import look_at
from layup.report.work_bar import WorkBar

ROOT = Path(__file__).parent.parent
SLOW = """
import sys, time
import layup.report.work_bar as bar
import layup.partfile.opened as opened
bar.WorkBar.__init__.__kwdefaults__["patience"] = {patience}
real = opened.look_at
def slow(*given, told, **more):
    told("reading the drawing", 0.25)
    time.sleep({wait})
    return real(*given, told=told, **more)
opened.look_at = slow
from layup.commands.cli import main
main(sys.argv[1:])
"""


class Clock:
    """A timer that goes off when the test says so."""

    def __init__(self, after: float, call) -> None:
        self.after, self.call, self.running = after, call, False

    def start(self) -> None:
        self.running = True

    def cancel(self) -> None:
        self.running = False


@pytest.fixture
def rib(tmp_path):
    (tmp_path / "rib.csv").write_text("x [mm],y [mm]\n0,0\n400,0\n400,300\n")
    return tmp_path / "rib.csv"


def test_it_waits_a_second_and_shows_nothing_where_nobody_looks(monkeypatch):
    for on_terminal, shown, draws in ((True, True, True), (True, False, False), (False, True, False)):
        monkeypatch.setattr("sys.stderr.isatty", lambda on=on_terminal: on, raising=False)
        bar = WorkBar(shown=shown, timer=Clock)
        with bar:
            clock = bar._timer
            assert clock.after == 1.0
            assert clock.running is draws
            bar.told("reading", 0.3)
            assert not bar.drawn
            if draws:
                clock.call()
                bar.told("picking the side", 0.8)
        assert bar.drawn is draws
        assert not clock.running
    clock.call()  # a timer that goes off when all is over draws nothing
    assert not bar.drawn


def test_what_is_told_rises_and_ends_within_the_whole(rib, tmp_path):
    import trimesh

    solid = trimesh.creation.box((0.5, 0.3, 0.002))
    for kind in ("stl", "obj", "ply", "3mf", "off"):
        solid.export(str(tmp_path / f"s.{kind}"))
        told: list[tuple[str, float]] = []
        unit = None if kind == "3mf" else "m"
        look_at(tmp_path / f"s.{kind}", unit=unit, side="outer", told=lambda w, s, to=told: to.append((w, s)))
        shares = [share for _, share in told]
        assert shares == sorted(shares), kind
        assert 0.0 <= shares[0] <= shares[-1] <= 1.0
        assert {"reading", "joining the corners", "picking the side"} <= {words for words, _ in told}
    drawn: list[str] = []
    look_at(rib, told=lambda words, share: drawn.append(words))
    assert drawn == ["reading the drawing", "sorting outlines and cut-outs"]


def in_terminal(arguments, wait, interrupt=False, piped_out=False, patience=0.05):
    """What a command shows on a terminal of its own, what goes down the pipe, and how it ends."""
    master, slave = pty.openpty()
    out = subprocess.PIPE if piped_out else slave
    child = subprocess.Popen(
        [sys.executable, "-c", SLOW.format(wait=wait, patience=patience), *arguments],
        stdin=slave, stdout=out, stderr=slave, cwd=ROOT, start_new_session=True, env={**os.environ, "TERM": "xterm"},
    )  # fmt: skip
    os.close(slave)
    shown, end, sent = b"", time.monotonic() + 300.0, False
    while time.monotonic() < end:
        if select.select([master], [], [], 0.05)[0]:
            try:
                part = os.read(master, 4096)
            except OSError:
                break
            if not part:
                break
            shown += part
        elif child.poll() is not None:
            break
        if interrupt and not sent and b"reading the drawing" in shown:
            os.kill(child.pid, signal.SIGINT)
            sent = True
    piped = child.communicate(timeout=300)[0] if piped_out else b""
    os.close(master)
    return shown.decode("utf-8", "replace"), piped, child.wait(timeout=300)


def plain(text):
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text)


def test_on_a_terminal_it_is_drawn_and_wiped_away(rib):
    shown, _, status = in_terminal(["surface", str(rib)], wait=1.2)
    assert status == 0
    assert "reading the drawing" in shown
    assert "25%" in plain(shown)
    assert "\x1b[2K" in shown  # the line is wiped
    assert "area" in plain(shown).split("reading the drawing")[-1]


def test_json_and_quick_reads_show_no_bar(rib):
    shown, piped, status = in_terminal(["surface", str(rib), "--json"], wait=1.0, piped_out=True)
    assert (status, shown) == (0, "")
    assert json.loads(piped)["area_m2"] == pytest.approx(0.06)
    shown, _, status = in_terminal(["surface", str(rib)], wait=0.0, piped_out=True, patience=60.0)
    assert status == 0
    assert "reading the drawing" not in shown


def test_piped_it_says_nothing(rib):
    ran = subprocess.run(
        [sys.executable, "-c", SLOW.format(wait=0.5, patience=0.05), "surface", str(rib)],
        capture_output=True,
        cwd=ROOT,
        check=True,
    )
    assert ran.stderr == b""
    assert b"reading" not in ran.stdout


def test_ctrl_c_ends_in_a_sentence(rib):
    shown, _, status = in_terminal(["surface", str(rib)], wait=20.0, interrupt=True)
    assert status == 130
    assert "Stopped before there was an answer. No file was left half written." in plain(shown)
    assert "Traceback" not in shown
    assert "\x1b[?25h" in shown  # the cursor is back
