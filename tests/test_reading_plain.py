"""Only plain files are read, bounded in size before and in processor time while they are read."""

from __future__ import annotations

import os
import struct
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from layup.commands.cli import main
from layup.errors import LayupError, SurfaceError
from layup.files.reading import read_file
from layup.files.systems import within

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")

READERS = {
    "part": ["predict", "{}.toml"],
    "refit": ["ledger", "{}.toml"],
    **{kind: ["surface", f"{{}}.{kind}", "--unit", "mm"]
       for kind in ("stl", "obj", "ply", "off", "glb", "3mf", "step", "dxf", "svg", "csv")},
    "photo": ["template", "read", "{}.jpg"],
    "list": ["ledger", "list", "{}.csv"],
    "sheet": ["ledger", "list", "{}.xlsx"],
    "export": ["shop", ".", "--import", "{}.json"],
    "table": ["predict", "part-{}.toml"],
    "layout": ["cut", "good.toml", "--rough", "--seconds", "0", "--used", "{}.json"],
}  # fmt: skip
GOOD = """title = "x"
process = "wet"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "1 m"]
[[ply]]
fabric = "carbon plain 200"
"""


@pytest.mark.parametrize("name", READERS)
def test_no_command_waits_for_a_pipe_or_reads_a_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.toml").write_text(GOOD)
    for stem in ("pipe", "zero"):
        words = [word.format(stem) for word in READERS[name]]
        file = next(word for word in words if stem in word)
        if name == "table":
            (tmp_path / file).write_text(GOOD.replace("[surface]", f'materials = ["{stem}.csv"]\n[surface]'))
            file = f"{stem}.csv"
        if stem == "pipe":
            os.mkfifo(tmp_path / file)
        else:
            (tmp_path / file).symlink_to("/dev/zero")
        done: list[int] = []

        def ask(words: list[str] = words, done: list[int] = done) -> None:
            result = CliRunner().invoke(main, words)
            done.append(result.exit_code)
            done.append("Traceback" in result.output)

        thread = threading.Thread(target=ask, daemon=True)
        thread.start()
        thread.join(120.0)
        assert done == [2, False], f"{words} still waits, or ended otherwise"


def test_a_file_is_bounded_before_it_is_read(tmp_path: Path) -> None:
    with (tmp_path / "big.toml").open("wb") as file:
        file.truncate(3_000_000_000)  # it takes no room on the disk
    result = CliRunner().invoke(main, ["predict", str(tmp_path / "big.toml")])
    assert result.exit_code == 2
    assert "3,000 MB" in result.output
    with pytest.raises(OSError, match="up to 1 MB"):
        read_file(tmp_path / "big.toml", 1_000_000)
    with pytest.raises(OSError, match="value 0"):
        read_file(tmp_path / "a\0b", 10)


def test_a_large_mesh_file_is_refused_unread(tmp_path: Path) -> None:
    for name in ("big.obj", "big.glb", "big.off", "big.ply"):
        with (tmp_path / name).open("wb") as file:
            file.truncate(1_100_000_000)
        result = CliRunner().invoke(main, ["surface", str(tmp_path / name), "--unit", "mm"])
        assert result.exit_code == 2
        assert "1,100 MB" in result.output


@pytest.mark.skipif(not hasattr(sys.modules["signal"], "setitimer"), reason="a system without the timer")
def test_time_of_the_processor_bounds_a_reader() -> None:
    def say() -> LayupError:
        return SurfaceError("door.dxf: not read within 1 s of work")

    begun = time.process_time()
    with pytest.raises(SurfaceError, match="not read"), within(0.2, say):
        spin()
    assert time.process_time() - begun < 5.0
    with within(0.2, say):  # a wait is no work
        time.sleep(0.4)
    with within(50.0, say), within(0.01, say):
        begun = time.process_time()
        while time.process_time() - begun < 0.1:
            pass


def test_a_reader_that_takes_too_long_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layup.partfile.opened.READING", 0.05)
    count = 3000
    triangles = b"".join(struct.pack("<12fH", *range(i, i + 12), 0) for i in range(count))
    (tmp_path / "a.stl").write_bytes(b"\0" * 80 + struct.pack("<I", count) + triangles)
    monkeypatch.setattr("layup.files.read.read_surface", spin)
    monkeypatch.setattr("layup.files.thorough.report", spin)
    result = CliRunner().invoke(main, ["surface", str(tmp_path / "a.stl"), "--unit", "mm"])
    assert result.exit_code == 2
    assert "a.stl: not read within" in result.output


def spin(*_: object, **__: object) -> None:
    while True:
        pass
