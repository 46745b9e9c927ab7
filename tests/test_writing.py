"""Files are written whole or not at all; nothing that is there goes unasked, and what is read is never written over."""

from __future__ import annotations

import contextlib
import errno
import os
import random
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from click.testing import CliRunner, Result

from layup.commands.cli import main
from layup.errors import ChangedError, LayupError
from layup.files import systems
from layup.files.writing import SCRATCH, files_named, may_write, replace_text, write_file
from layup.learn.salvage import recover
from layup.learn.store import BUILT, FILE, open_store

PART = """title = "Hatch"
process = "vacuum bag"
resin = "epoxy, laminating"
materials = ["shop.csv"]
[surface]
outline = "line.csv"
unit = "mm"
[[ply]]
fabric = "carbon plain 200"
"""
LINE = "x [mm],y [mm],loop\n0,0,edge\n300,0,edge\n300,200,edge\n0,200,edge\n"
SHOP = "material,property,value,kind,source,at\ncarbon plain 200,price,30 EUR/m^2,nominal,shop,ours\n"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "hatch.toml").write_text(PART)
    (tmp_path / "line.csv").write_text(LINE)
    (tmp_path / "shop.csv").write_text(SHOP)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def litter(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name.startswith(SCRATCH))


# Every option that writes a file, with the name it writes to and what the command needs besides.
WRITERS = {
    "predict": (["predict", "hatch.toml", "--picture", "out.png"], "out.png"),
    "surface": (["surface", "line.csv", "--picture", "out.svg"], "out.svg"),
    "surface page": (["surface", "line.csv", "--page", "out.html"], "out.html"),
    "patterns dxf": (["patterns", "hatch.toml", "--no-splices", "--dxf", "out.dxf"], "out.dxf"),
    "patterns svg": (["patterns", "hatch.toml", "--no-splices", "--svg", "out.svg"], "out.svg"),
    "patterns pdf": (["patterns", "hatch.toml", "--no-splices", "--pdf", "out.pdf"], "out.pdf"),
    "holes": (["holes", "hatch.toml", "--picture", "out.png"], "out.png"),
    "cut": (["cut", "hatch.toml", "--seconds", "0", "--rough", "--picture", "out.png"], "out.png"),
    "cut save": (["cut", "hatch.toml", "--seconds", "0", "--rough", "--save"], "hatch.cut.json"),
    "sheet": (["sheet", "hatch.toml"], "hatch.pdf"),
    "sheet page": (["sheet", "hatch.toml", "--out", "other.pdf", "--html"], "other.html"),
    "template": (["template", "sheet", "out.pdf"], "out.pdf"),
    "choose": (["choose", "hatch.toml", "--write", "out.toml"], "out.toml"),
    "choose picture": (["choose", "hatch.toml", "--quick", "--picture", "out.png"], "out.png"),
    "export": (["shop", "--export", "out.json"], "out.json"),
    "shop picture": (["shop", "--picture", "out.png"], "out.png"),
    "template read": (["template", "read", "photo.png", "--out", "out.csv"], "out.csv"),
    "paper": (["ledger", "paper", "refit.toml", "out.pdf"], "out.pdf"),
    "ledger picture": (["ledger", "refit.toml", "--picture", "out.png"], "out.png"),
}


@pytest.mark.parametrize("name", WRITERS)
def test_no_command_writes_over_a_file_unasked(shop: Path, name: str) -> None:
    words, target = WRITERS[name]
    (shop / target).write_text("a year's work")
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert f'"{target}" is there already' in done.output
    assert "--yes" in done.output
    assert (shop / target).read_text() == "a year's work"


@pytest.mark.parametrize("name", ["predict", "patterns svg", "cut save", "sheet", "template"])
def test_asked_it_writes_over_it(shop: Path, name: str) -> None:
    words, target = WRITERS[name]
    (shop / target).write_text("a year's work")
    done = run(*words, "--yes")
    assert done.exit_code == 0, done.output
    assert b"a year's work" not in (shop / target).read_bytes()
    assert litter(shop) == []


@pytest.mark.parametrize(
    ("words", "target"),
    [
        (["predict", "hatch.toml", "--picture", "line.csv"], "line.csv"),
        (["surface", "line.csv", "--page", "line.csv"], "line.csv"),
        (["sheet", "hatch.toml", "--out", "hatch.toml"], "hatch.toml"),
        (["patterns", "hatch.toml", "--svg", "hatch.svg"], "hatch.svg"),  # a link to the part file
        (["cut", "hatch.toml", "--save", "--used", "hatch.cut.json"], "hatch.cut.json"),
        (["choose", "hatch.toml", "--write", "link.toml"], "link.toml"),  # a link to a table it reads
    ],
)
def test_what_is_read_is_never_written_over(shop: Path, words: list[str], target: str) -> None:
    (shop / "hatch.svg").symlink_to("hatch.toml")
    (shop / "link.toml").symlink_to("shop.csv")
    (shop / "hatch.cut.json").write_text("{}")
    before = {path.name: path.read_bytes() for path in shop.iterdir()}
    done = run(*words, "--yes")
    assert done.exit_code == 2, done.output
    assert f'"{target}" is read here' in done.output
    assert {path.name: path.read_bytes() for path in shop.iterdir()} == before


def test_an_export_goes_over_no_table_even_when_asked(shop: Path) -> None:
    with open_store(shop) as store:
        store.append("note", {"said": "one"})
    assert "is there already" in run("shop", "--export", "shop.csv").output
    assert "no record that layup exported" in run("shop", "--export", "shop.csv", "--yes").output
    assert (shop / "shop.csv").read_text() == SHOP
    assert run("shop", "--export", "record.csv").exit_code == 0
    assert run("shop", "--export", "record.csv", "--yes").exit_code == 0


def test_no_device_pipe_or_folder_is_written_to(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.png")
    for path, said in ((tmp_path / "pipe.png", "plain file"), (tmp_path, "folder"), (Path("/dev/null"), "plain file")):
        with pytest.raises(LayupError, match=said):
            may_write(path, over=True)
    with pytest.raises(LayupError, match="can't hold"):
        may_write(tmp_path / "a\0b")
    with pytest.raises(LayupError, match="too long"):
        write_file(tmp_path / ("a" * 300), "x")


def test_two_outputs_of_one_name(shop: Path) -> None:
    done = run("surface", "line.csv", "--picture", "a.svg", "--page", "a.svg")
    assert done.exit_code == 2
    assert "two files" in done.output


def test_files_a_part_and_a_refit_read(shop: Path) -> None:
    (shop / "refit.toml").write_text('title = "R"\n[[added]]\npart = "hatch.toml"\n')
    found = {path.name for path in files_named(shop / "refit.toml")}
    assert found == {"hatch.toml", "line.csv", "shop.csv"}


def full(*args: Any, **more: Any) -> Any:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("what", ["open", "fsync", "replace"])
def test_a_full_disk_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    path = tmp_path / "door.toml"
    path.write_text("old")
    with monkeypatch.context() as patch:
        patch.setattr(os, what, full)
        with pytest.raises(LayupError, match=r"the disk is full. Nothing was changed; make room"):
            write_file(path, "new")
    assert path.read_text() == "old"
    assert litter(tmp_path) == []


def test_a_really_full_disk(shop: Path) -> None:
    """/dev/full gives what a full disk gives, where the system has it; here through a limit on the size of a file."""
    resource = pytest.importorskip("resource")
    import signal

    (shop / "out.png").write_text("old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
    try:
        done = run("predict", "hatch.toml", "--picture", "out.png", "--yes")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)
    assert done.exit_code == 2
    assert "Nothing was changed" in done.output
    assert (shop / "out.png").read_text() == "old"
    assert litter(shop) == []


def test_rights_of_the_file_stay_and_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_text("old")
    (tmp_path / "real.toml").chmod(0o640)
    (tmp_path / "link.toml").symlink_to("real.toml")
    write_file(tmp_path / "link.toml", "new")
    assert (tmp_path / "link.toml").is_symlink()
    assert (tmp_path / "real.toml").read_text() == "new"
    assert (tmp_path / "real.toml").stat().st_mode & 0o777 == 0o640


def test_what_a_killed_program_left_is_swept(tmp_path: Path) -> None:
    old, now = tmp_path / f"{SCRATCH}old", tmp_path / f"{SCRATCH}now"
    for path in (old, now):
        path.write_text("half")
    os.utime(old, (time.time() - 7200,) * 2)
    write_file(tmp_path / "a.txt", "a")
    assert litter(tmp_path) == [now.name]


def test_a_hand_edit_between_reading_and_writing_stays(tmp_path: Path) -> None:
    path = tmp_path / "door.toml"
    path.write_text("by hand")
    with pytest.raises(ChangedError, match="another program"):
        replace_text(path, "as read", "by the page")
    assert path.read_text() == "by hand"
    assert litter(tmp_path) == []


# Where names can't be exchanged, a new file put in place between the last look and the rename would be lost.
@pytest.mark.parametrize(
    ("where", "step", "how"),
    [
        (os, "link", "in place"),
        (os, "link", "new file"),
        (os, "replace", "in place"),
        (systems, "exchange", "in place"),
        (systems, "exchange", "new file"),
    ],
)
def test_a_hand_edit_at_any_step_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: ModuleType, step: str, how: str
) -> None:
    path = tmp_path / "door.toml"
    path.write_text("as read")
    (tmp_path / "one").touch()
    (tmp_path / "two").touch()
    if where is os:
        monkeypatch.setattr(systems, "exchange", lambda *_: False)
    elif not systems.exchange(tmp_path / "one", tmp_path / "two"):
        pytest.skip("names can't be exchanged here")
    real: Callable[..., Any] = getattr(where, step)

    def editor(*args: Any, **more: Any) -> Any:
        monkeypatch.setattr(where, step, real)
        if how == "in place":
            path.write_text("by hand")
        else:
            (tmp_path / "door.tmp").write_text("by hand")
            (tmp_path / "door.tmp").rename(path)
        return real(*args, **more)

    monkeypatch.setattr(where, step, editor)
    with pytest.raises(ChangedError):
        replace_text(path, "as read", "by the page")
    assert path.read_text() == "by hand"
    assert litter(tmp_path) == []


def test_an_editor_that_saves_while_its_file_is_put_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It saves again between the two exchanges: its last file stays."""
    path, real, saves = tmp_path / "door.toml", systems.exchange, ["by hand", "again"]
    path.write_text("as read")
    (tmp_path / "one").touch()
    (tmp_path / "two").touch()
    if not real(tmp_path / "one", tmp_path / "two"):
        pytest.skip("names can't be exchanged here")

    def editor(one: Path, two: Path) -> bool:
        if saves:
            (tmp_path / "door.tmp").write_text(saves.pop(0))
            (tmp_path / "door.tmp").rename(path)
        return real(one, two)

    monkeypatch.setattr(systems, "exchange", editor)
    with pytest.raises(ChangedError):
        replace_text(path, "as read", "by the page")
    assert path.read_text() == "again"
    assert litter(tmp_path) == []


def test_500_edits_by_hand_and_by_the_page(tmp_path: Path) -> None:
    """An editor saves in place and by renaming, as it likes; what it saved last, or what was built on it, is there."""
    from layup.bench.journal import Journal, read
    from layup.errors import StaleError

    path = tmp_path / "door.toml"
    path.write_text("hand = 0\npage = 0\n")
    journal = Journal(tmp_path)
    stop = threading.Event()
    told: list[str] = []

    def page() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            try:
                text = read(path)
                lines = text.split("\n")
                new = "\n".join([lines[0], f"page = {number}", *lines[2:]])
                journal.write(path, path.name, text, new, "w")
            except StaleError:
                told.append("stale")
            except Exception as error:
                told.append(repr(error))

    thread = threading.Thread(target=page)
    thread.start()
    dice = random.Random(7)
    lost = 0
    try:
        for number in range(1, 501):
            mine = f"hand = {number}\npage = 0\n"
            if dice.random() < 0.5:
                path.write_text(mine)
            else:
                other = tmp_path / "door.swp"
                other.write_text(mine)
                other.rename(path)
            time.sleep(dice.random() * 0.02)
            for _ in range(40):  # while the page puts back what it took out of the way, its own text stands there
                if read(path).startswith(f"hand = {number}\n"):
                    break
                time.sleep(0.01)
            else:
                lost += 1
    finally:
        stop.set()
        thread.join()
        journal.close()
    assert lost == 0
    assert set(told) <= {"stale"}
    assert litter(tmp_path) == []


def damaged(folder: Path) -> None:
    """A record whose first page is spoilt and whose entries are whole."""
    with open_store(folder) as store:
        for number in range(40):
            store.append("note", {"said": f"entry {number}"})
    raw = bytearray((folder / FILE).read_bytes())
    raw[100:400] = b"\xff" * 300
    (folder / FILE).write_bytes(raw)


def test_a_recovery_killed_at_any_step_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Killed(BaseException):
        pass

    for step in range(40):
        folder = tmp_path / str(step)
        folder.mkdir()
        damaged(folder)
        calls = 0

        def counted(real: Callable[..., Any], step: int = step) -> Callable[..., Any]:
            def call(*args: Any, **more: Any) -> Any:
                nonlocal calls
                calls += 1
                if calls > step:
                    raise Killed
                return real(*args, **more)

            return call

        with monkeypatch.context() as patch:
            for name in ("replace", "link", "unlink", "open"):
                patch.setattr(os, name, counted(getattr(os, name)))
            with contextlib.suppress(Killed):
                recover(folder)
        whole = calls <= step
        assert (folder / FILE).is_file()  # at every moment there is a record
        if not whole and not (folder / BUILT).exists():
            with contextlib.suppress(LayupError):  # it may be sound already
                recover(folder)
        with open_store(folder) as store:
            entries = store.entries("note")
            assert len(entries) == 40
            assert store.append("note", {"said": "next"}).number == 41
        assert list(folder.glob("damaged-*.sqlite")), "the damaged file is kept"
        if whole:
            break
    assert whole
    assert step >= 4
