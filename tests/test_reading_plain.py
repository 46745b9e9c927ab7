"""Only plain files are read, bounded in size before and in processor time while they are read."""

from __future__ import annotations

import json
import math
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
    result = CliRunner().invoke(main, ["surface", str(tmp_path / "a.stl"), "--unit", "mm"])
    assert result.exit_code == 2
    assert "a.stl: not read within" in result.output


def spin(*_: object, **__: object) -> None:
    while True:
        pass


def test_nodes_within_nodes_without_end_are_refused(tmp_path: Path) -> None:
    corners = struct.pack("<12f", 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0)
    data = corners + struct.pack("<6H", 0, 1, 2, 0, 2, 3)
    for deep, status in ((40, 0), (100_000, 2)):
        table = json.dumps({
            "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
            "nodes": [{"children": [n + 1]} for n in range(deep)] + [{"mesh": 0}],
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
            "accessors": [
                {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3", "min": [0] * 3, "max": [1] * 3},
                {"bufferView": 1, "componentType": 5123, "count": 6, "type": "SCALAR"}],
            "bufferViews": [{"buffer": 0, "byteLength": 48}, {"buffer": 0, "byteOffset": 48, "byteLength": 12}],
            "buffers": [{"byteLength": 60}],
        }).encode()  # fmt: skip
        table += b" " * (-len(table) % 4)
        path = tmp_path / f"{deep}.glb"
        path.write_bytes(
            b"glTF" + struct.pack("<III", 2, 28 + len(table) + len(data), len(table)) + b"JSON" + table
            + struct.pack("<I", len(data)) + b"BIN\0" + data
        )  # fmt: skip
        done = CliRunner().invoke(main, ["surface", str(path), "--json"])
        assert done.exit_code == status, done.output


def test_a_spline_through_very_many_points_is_refused(tmp_path: Path) -> None:
    import ezdxf

    document = ezdxf.new("R2000", units=4)
    turns = [n * 2 * math.pi / 20_000 for n in range(20_001)]
    document.modelspace().add_spline(fit_points=[(100 * math.cos(t), 100 * math.sin(t)) for t in turns])
    document.saveas(tmp_path / "a.dxf")
    done = CliRunner().invoke(main, ["surface", str(tmp_path / "a.dxf")])
    assert done.exit_code == 2
    assert "20,001 points" in done.output
