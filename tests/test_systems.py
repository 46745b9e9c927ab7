"""Other machines, by taking away what they lack: no fcntl, no msvcrt, no resource, no timer; other encodings."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from layup.bench.journal import Alone
from layup.commands.cli import main
from layup.errors import LayupError
from layup.files import systems
from layup.files.writing import replace_text, write_file

PART = """title = "Klappe \u221e \u6f22 \U0001f600"
process = "vacuum bag"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "600 mm"]
[[ply]]
fabric = "carbon plain 200"
"""


class Missing:
    """A Python without some of its modules."""

    def __init__(self, *names: str) -> None:
        self.names = names

    def __call__(self, name: str) -> Any:
        return None if name in self.names else __import__(name)


class Windows:
    """What msvcrt does with locks, as its documentation has it."""

    LK_NBLCK, LK_UNLCK = 2, 0

    def __init__(self) -> None:
        self.held: set[int] = set()

    def locking(self, handle: int, mode: int, count: int) -> None:
        node = os.fstat(handle).st_ino
        if mode == self.LK_UNLCK:
            self.held.discard(node)
        elif node in self.held:
            raise PermissionError(13, "Permission denied")
        else:
            self.held.add(node)


@pytest.mark.parametrize("way", ["fcntl", "msvcrt"])
def test_one_at_a_time_by_either_way_of_locking(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str) -> None:
    if way == "msvcrt":
        windows = Windows()
        monkeypatch.setattr(systems, "_module", lambda name: windows if name == "msvcrt" else None)
    else:
        pytest.importorskip("fcntl")
    first, second = Alone(tmp_path, 0.05), Alone(tmp_path, 0.05)
    with first.held(), pytest.raises(LayupError, match="another program"), second.held():
        pass
    with second.held():
        pass
    first.close()
    second.close()


def test_a_system_without_locks_works_unlocked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(systems, "_module", Missing("fcntl", "msvcrt"))
    alone = Alone(tmp_path, 0.05)
    with alone.held():
        pass
    alone.close()


def test_without_limits_and_timers_work_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(systems, "_module", Missing("resource"))
    systems.bound(1.0, 10_000_000_000)
    monkeypatch.delattr(systems.signal, "setitimer", raising=False)
    with systems.within(0.0001, lambda: LayupError("never")):
        sum(range(100_000))


def test_a_disk_without_second_names_and_without_synced_folders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(*_: Any, **__: Any) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", refuses)
    monkeypatch.delattr(os, "O_DIRECTORY", raising=False)
    path = tmp_path / "door.toml"
    write_file(path, "one\r\n", new=True)
    assert path.read_bytes() == b"one\r\n"  # line ends as they are
    replace_text(path, "one\r\n", "two")
    with pytest.raises(LayupError, match="another program"):
        replace_text(path, "one", "three")
    assert path.read_text() == "two"
    assert [p.name for p in tmp_path.iterdir()] == ["door.toml"]


def test_stop_reaches_a_work_where_no_signal_can_be_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on Windows: an event stands for Ctrl-C."""
    monkeypatch.setattr(systems.os, "name", "nt")
    told, pressed = threading.Event(), threading.Event()
    monkeypatch.setattr(systems._thread, "interrupt_main", pressed.set)
    systems.listen_for_stop(told)
    assert not pressed.is_set()
    systems.press_stop(0, told)
    assert pressed.wait(10.0)


ENDLESS = """
import ctypes, os
def load(*args, **options):
    open(os.environ["BEGUN"], "w").write(str(os.getpid()))
    ctypes.PyDLL(None).sleep(600)  # as a library that lets no other thread of Python run
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux ends a child whose thread can't run")
def test_the_step_kernel_ends_with_its_parent_and_leaves_nothing(tmp_path: Path) -> None:
    """It went on alone for two minutes of the processor when the program was killed, and left its folder."""
    (tmp_path / "stubs").mkdir()
    (tmp_path / "stubs" / "cascadio.py").write_text(ENDLESS, encoding="utf-8")
    (tmp_path / "room").mkdir()
    solid = tmp_path / "solid.step"
    solid.write_text("ISO-10303-21;\nEND-ISO-10303-21;\n", encoding="utf-8")
    begun, root = tmp_path / "begun", Path(systems.__file__).parents[2]
    around = {"PYTHONPATH": f"{tmp_path / 'stubs'}:{root}", "BEGUN": str(begun), "TMPDIR": str(tmp_path / "room")}
    code = "import pathlib, sys; from layup.files.read_step import read_step as r; r(pathlib.Path(sys.argv[1]), 'it')"
    parent = subprocess.Popen([sys.executable, "-c", code, str(solid)], env={**os.environ, **around})
    try:
        while not begun.exists() or not begun.read_text():
            assert parent.poll() is None
            time.sleep(0.05)
    finally:
        parent.kill()
        parent.wait()
    child = int(begun.read_text())
    state = Path(f"/proc/{child}/stat")
    for _ in range(600):
        if not state.exists() or state.read_text().rpartition(")")[2].split()[0] == "Z":
            break
        time.sleep(0.1)
    else:
        os.kill(child, 9)
        raise AssertionError("the child goes on alone")
    assert not list((tmp_path / "room").iterdir())


def test_a_child_ends_when_its_input_closes() -> None:
    """The way of every other system."""
    code = "import sys, threading; from layup.files import systems; sys.platform = 'other'; systems.end_with_parent(); "
    code += "threading.Event().wait()"
    child = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE)
    assert child.stdin is not None
    child.stdin.close()
    assert child.wait(120.0) == 1


def test_only_one_module_knows_of_systems() -> None:
    """fcntl, msvcrt, resource: nothing else imports them."""
    package = Path(systems.__file__).parents[1]
    for path in package.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for name in ("fcntl", "msvcrt", "resource"):
            assert f"import {name}" not in text, f"{path.name} imports {name}"


def started(*words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "layup", *words], capture_output=True, env={**os.environ, **environment}, check=False
    )


@pytest.mark.parametrize(
    "environment",
    [{"PYTHONIOENCODING": "cp1252"}, {"PYTHONIOENCODING": "ascii"},
     {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}],
    ids=["cp1252", "ascii", "C"],
)  # fmt: skip
def test_a_title_that_the_terminal_lacks_letters_for(tmp_path: Path, environment: dict[str, str]) -> None:
    (tmp_path / "u.toml").write_text(PART, encoding="utf-8")
    done = started("predict", str(tmp_path / "u.toml"), "--json", **environment)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["part"] == "Klappe \u221e \u6f22 \U0001f600"
    for more in ([], ["--csv"], ["--sources"]):
        done = started("predict", str(tmp_path / "u.toml"), *more, **environment)
        assert done.returncode == 0, done.stderr
        assert b"Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words",
    [["predict", "a\0b.toml"], ["surface", "a\0b.stl"], ["ledger", "a\0b.toml"], ["template", "read", "a\0b.jpg"],
     ["predict", "{}", "--picture", "a\0.png"], ["weigh", "a\0b.toml", "2 lb"],
     ["predict", "a" * 300 + ".toml"], ["surface", "a" * 300 + ".stl"], ["ledger", "list", "a" * 5000 + ".csv"]],
    ids=str,
)  # fmt: skip
def test_a_name_that_no_file_can_have(tmp_path: Path, words: list[str]) -> None:
    (tmp_path / "h.toml").write_text(PART, encoding="utf-8")
    done = CliRunner().invoke(main, [word.format(tmp_path / "h.toml") for word in words])
    assert done.exit_code == 2, done.output
    assert "mistake of its own" not in done.output


def test_a_mistake_of_our_own_names_the_table_behind_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "h.toml"
    path.write_text(PART + '[[ply]]\nfabric = "carbon plain 160"\n[[replaces]]\nname = "boom"\nweighed = "2 lb"\n')
    from layup.partfile import read

    real = read._check_sizes

    def broken(part: Any, *more: Any) -> None:
        if any(entry.name == "boom" for entry in part.replaces):
            raise KeyError("boom")
        real(part, *more)

    monkeypatch.setattr(read, "_check_sizes", broken)
    monkeypatch.setattr(sys, "argv", ["layup", "predict", str(path)])
    done = CliRunner().invoke(main, ["predict", str(path)])
    assert done.exit_code == 1
    assert "h.toml, line 10, replaces: " in done.output
    assert "mistake of its own" in done.output


def test_no_cell_is_taken_for_a_formula(tmp_path: Path) -> None:
    (tmp_path / "h.toml").write_text(PART.replace("Klappe \u221e \u6f22 \U0001f600", "=1+1"))
    done = CliRunner().invoke(main, ["predict", str(tmp_path / "h.toml"), "--csv"])
    assert done.exit_code == 0
    assert ",=1+1," not in done.output
    assert ",'=1+1," in done.output
