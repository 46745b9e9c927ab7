"""A bar while a part file's surface is read for over a second: on a terminal only, and gone afterwards."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import time
from pathlib import Path

SLOW = """
import sys, time
import layup.partfile.opened as opened
before = opened.open_surface
def slow(entry, folder, areas=(), told=lambda words, share: None):
    told("reading the file", 0.4)
    time.sleep(1.6)
    return before(entry, folder, areas)
opened.open_surface = slow
from layup.commands.cli import main
main(sys.argv[1:])
"""
PART = """\
title = "Floor"
process = "wet"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
"""


def run(folder: Path, *words: str, terminal: bool) -> tuple[str, str]:
    """What stands on the two outputs; standard error is a terminal or a pipe."""
    (folder / "floor.toml").write_text(PART, encoding="utf-8")
    command = [sys.executable, "-c", SLOW, "predict", str(folder / "floor.toml"), *words]
    if not terminal:
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return done.stdout, done.stderr
    lead, follow = pty.openpty()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=follow, text=True)
    os.close(follow)
    seen = b""
    while True:
        try:
            piece = os.read(lead, 4096)
        except OSError:
            break
        if not piece:
            break
        seen += piece
    os.close(lead)
    out, _ = process.communicate()
    assert process.returncode == 0
    return out, seen.decode("utf-8", "replace")


def test_a_bar_on_a_terminal(tmp_path: Path) -> None:
    begun = time.monotonic()
    out, error = run(tmp_path, terminal=True)
    assert time.monotonic() - begun > 1.5
    assert "reading the file" in error
    assert "40%" in error
    assert "will weigh" in out


def test_no_bar_in_a_pipe_and_none_for_another_program(tmp_path: Path) -> None:
    assert run(tmp_path, terminal=False)[1] == ""
    assert "reading" not in run(tmp_path, "--json", terminal=True)[1]
