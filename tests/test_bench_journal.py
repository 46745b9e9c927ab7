"""Nothing that was answered is lost, whatever ends the program, fills the disk or breaks the list of changes."""

from __future__ import annotations

import errno
import os
import re
import sqlite3
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from bench_page import Page, open_page

from layup.bench import journal as journal_module
from layup.bench.desk import Desk, version_of
from layup.bench.folder import Folder
from layup.bench.journal import FILE, LOCK, Journal
from layup.errors import LayupError, StaleError
from layup.files import systems
from layup.files.writing import write_file

PART = (
    '# A door.\ntitle = "edit 0"\nprocess = \'wet\'\nresin = "epoxy, laminating"\n\n[surface]\narea = "0.5 '
    'm^2"  # measured\n\n[[ply]]\nfabric = "carbon plain 200"\n'
)
NAME = "door.toml"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    root = tmp_path / "shop"
    root.mkdir()
    (root / NAME).write_text(PART, encoding="utf-8")
    return root


@pytest.fixture
def page(shop: Path) -> Iterator[Page]:
    opened = open_page(shop)
    yield opened
    opened.bench.works.close()
    opened.bench.desk.journal.close()


def titled(number: int) -> str:
    return PART.replace("edit 0", f"edit {number}")


def number_in(root: Path) -> int:
    """Which edit the file holds; it must be a whole file."""
    text = (root / NAME).read_text(encoding="utf-8")
    found = re.search(r'title = "edit (\d+)"', text)
    assert found
    assert text == titled(int(found[1]))
    return int(found[1])


def litter(root: Path) -> list[str]:
    return [path.name for path in root.iterdir() if path.name.startswith(".writing")]


class Dead(BaseException):
    """The program ends here."""


def dies_at(monkeypatch: pytest.MonkeyPatch, step: int) -> list[str]:
    """From now on the program dies before the n-th thing that it does to the disk; gives what it did, in order."""
    done: list[str] = []

    def counted(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            if len(done) >= step:
                raise Dead(name)
            done.append(name)
            return real(*args, **more)

        return call

    for module, name in (
        (systems, "exchange"),
        (os, "replace"),
        (os, "fsync"),
        (os, "chmod"),
        (os, "unlink"),
        (os, "open"),
        (os, "link"),
    ):
        monkeypatch.setattr(module, name, counted(name, getattr(module, name)))
    real_write = Journal._writing

    def writing(self: Journal) -> Any:
        if len(done) >= step:
            raise Dead("note")
        done.append("note")
        return real_write(self)

    monkeypatch.setattr(Journal, "_writing", writing)
    return done


@pytest.mark.parametrize("act", ["edit", "undo", "redo"])
def test_a_death_at_any_step_leaves_the_old_file_or_the_new_one_and_the_way_back(shop: Path, act: str) -> None:
    reached = 0
    for step in range(40):
        (shop / NAME).write_text(PART, encoding="utf-8")
        (shop / FILE).unlink(missing_ok=True)
        desk = Desk(Folder(shop))
        desk.edit(NAME, "", "one", lambda text: titled(1))
        desk.edit(NAME, "", "two", lambda text: titled(2))
        if act == "redo":
            desk.undo(NAME)
        with pytest.MonkeyPatch.context() as patch:
            done = dies_at(patch, step)
            try:
                if act == "edit":
                    desk.edit(NAME, "", "three", lambda text: titled(3))
                else:
                    desk.undo(NAME, again=act == "redo")
                whole = True
            except Dead:
                whole = False
        reached = max(reached, len(done))
        desk.journal.close()
        old, new = {"edit": (2, 3), "undo": (2, 1), "redo": (1, 2)}[act]
        assert number_in(shop) in ((new,) if whole else (old, new))
        again = Desk(Folder(shop))
        now = number_in(shop)
        assert now in (old, new)
        back = now
        while back > 0:  # every state before can be had back, one by one
            again.undo(NAME)
            back -= 1
            assert number_in(shop) == back, (step, done)
        with pytest.raises(LayupError, match="nothing to take back"):
            again.undo(NAME)
        again.undo(NAME, again=True)
        assert number_in(shop) == 1
        again.journal.close()
        if whole:
            break
    assert whole
    assert reached >= 5  # it did die in between


def test_what_was_noted_and_not_made_is_made_at_the_next_start(shop: Path) -> None:
    desk = Desk(Folder(shop))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(systems, "exchange", dead)
        with pytest.raises(Dead):
            desk.edit(NAME, "", "one", lambda text: titled(1))
    desk.journal.close()
    assert number_in(shop) == 0
    again = Desk(Folder(shop))
    assert number_in(shop) == 1
    again.undo(NAME)
    assert number_in(shop) == 0
    again.journal.close()


def dead(*args: Any, **more: Any) -> Any:
    raise Dead


def test_what_a_dead_program_left_lying_about_goes_at_the_next_start(shop: Path) -> None:
    old = shop / ".writing-old.toml"
    old.write_text("half")
    os.utime(old, (time.time() - 3600,) * 2)
    (shop / ".writing-now.toml").write_text("half")  # perhaps another page is writing it
    Desk(Folder(shop)).journal.close()
    assert litter(shop) == [".writing-now.toml"]


def full(*args: Any, **more: Any) -> Any:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("what", ["open", "fsync", "replace"])
def test_on_a_full_disk_nothing_is_changed_and_it_says_so(
    page: Page, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    assert page.edit(NAME, table="", op="save", set_title="edit 1").status_code == 200
    with monkeypatch.context() as patch:
        patch.setattr(systems, "exchange", lambda *_: False)
        patch.setattr(os, what, full)
        answer = page.edit(NAME, table="", op="save", set_title="edit 2")
        assert answer.status_code == 422
        assert "the disk is full" in answer.text
        assert "Nothing was changed" in answer.text
        assert page.post("/part/undo", file=NAME).status_code == 422
    assert number_in(page.root) == 1
    assert litter(page.root) == []
    assert page.edit(NAME, table="", op="save", set_title="edit 2").status_code == 200
    assert page.post("/part/undo", file=NAME).status_code == 303
    assert number_in(page.root) == 1
    assert page.post("/part/undo", file=NAME).status_code == 303
    assert number_in(page.root) == 0


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such limit")
def test_on_a_disk_that_is_really_full_nothing_is_lost(shop: Path) -> None:
    """A process that may write files of a few kB only, as the system's own limit has it, edits until it can't."""
    program = (
        "import resource, signal, sys\nfrom pathlib import Path\nfrom layup.bench.folder import Folder\n"
        "from layup.bench.journal import Journal\nfrom layup.errors import LayupError\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "root = Path(sys.argv[1]); part = sys.argv[2]\njournal = Journal(root)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (220_000, 220_000))\n"
        "n = 0\n"
        "while True:\n"
        "    try:\n"
        "        journal.write(root / 'door.toml', 'door.toml', part.replace('edit 0', f'edit {n}'), "
        "part.replace('edit 0', f'edit {n + 1}'), 'w')\n"
        "    except LayupError as error:\n"
        "        print(n, error)\n"
        "        break\n"
        "    n += 1\n"
    )
    ran = subprocess.run([sys.executable, "-c", program, str(shop), PART], capture_output=True, text=True, timeout=60)
    assert ran.returncode == 0, ran.stderr
    number, _, said = ran.stdout.partition(" ")
    assert int(number) > 3
    assert "Nothing was changed" in said
    assert number_in(shop) == int(number)
    desk = Desk(Folder(shop))
    for back in range(int(number), 0, -1):
        assert number_in(shop) == back
        desk.undo(NAME)
    desk.journal.close()


def test_a_note_that_fails_after_the_file_was_written_is_put_right(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """The change is made, and it can be taken back."""

    def fails(*args: Any) -> None:
        raise LayupError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(Journal, "_stands", fails)
        assert page.edit(NAME, table="", op="save", set_title="edit 1").status_code == 200
    assert number_in(page.root) == 1
    assert page.post("/part/undo", file=NAME).status_code == 303
    assert number_in(page.root) == 0


def test_a_change_that_was_said_to_have_failed_is_not_made_later(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(Folder(shop))
    with monkeypatch.context() as patch:
        patch.setattr(systems, "exchange", lambda *_: False)
        patch.setattr(os, "replace", full)
        patch.setattr(Journal, "_drop", full_note)
        with pytest.raises(LayupError, match="Nothing was changed"):
            desk.edit(NAME, "", "one", lambda text: titled(1))
    desk.edit(NAME, "", "two", lambda text: titled(2))
    desk.undo(NAME)
    assert number_in(shop) == 0
    with pytest.raises(LayupError, match="nothing to take back"):
        desk.undo(NAME)
    desk.journal.close()


def full_note(*args: Any) -> None:
    raise LayupError("the disk is full")


def test_a_write_protected_file_stays_as_it_is(page: Page) -> None:
    (page.root / NAME).chmod(0o444)
    answer = page.edit(NAME, table="", op="save", set_title="edit 1")
    assert answer.status_code == 422
    assert "write-protected" in answer.text
    assert number_in(page.root) == 0
    assert (page.root / NAME).stat().st_mode & 0o777 == 0o444
    (page.root / NAME).chmod(0o640)
    assert page.edit(NAME, table="", op="save", set_title="edit 1").status_code == 200
    assert (page.root / NAME).stat().st_mode & 0o777 == 0o640


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is write-protected to root")
def test_a_write_protected_folder_is_said_at_the_start_by_the_system(shop: Path) -> None:
    shop.chmod(0o555)
    try:
        with pytest.raises(LayupError, match="can't be written to"):
            Journal(shop)
    finally:
        shop.chmod(0o755)


def test_a_write_protected_folder_is_said_at_the_start(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*args: Any, **more: Any) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refuses)
        with pytest.raises(LayupError, match=r"can't be written to.*Permission denied.*copy the folder"):
            Journal(shop)
    Journal(shop).close()


@pytest.mark.parametrize("bytes_", [b"this is no database " * 60, b"SQLite format 3\0" + b"\xff" * 5000, b"\0" * 4096])
def test_a_damaged_journal_is_said_in_plain_words_and_stays_as_it_is(shop: Path, bytes_: bytes) -> None:
    (shop / FILE).write_bytes(bytes_)
    with pytest.raises(LayupError, match=r"damaged|can't be used") as told:
        Journal(shop)
    assert "part files are whole" in str(told.value) or "can't be used" in str(told.value)
    assert (shop / FILE).read_bytes() == bytes_


def test_a_journal_damaged_in_the_middle_is_found_at_the_start(shop: Path) -> None:
    desk = Desk(Folder(shop))
    for number in range(1, 60):
        desk.edit(NAME, "", f"edit {number}" * 20, lambda text, n=number: titled(n))  # type: ignore[misc]
    desk.journal.close()
    data = bytearray((shop / FILE).read_bytes())
    data[4096 * 2 : 4096 * 5] = os.urandom(4096 * 3)
    (shop / FILE).write_bytes(data)
    with pytest.raises(LayupError, match="damaged"):
        Journal(shop)
    assert number_in(shop) == 59


def test_a_journal_that_breaks_while_the_page_runs_is_said_and_no_file_is_changed(page: Page) -> None:
    page.edit(NAME, table="", op="save", set_title="edit 1")
    page.bench.desk.journal._connection.execute("DROP TABLE changes")
    for answer in (page.edit(NAME, table="", op="save", set_title="edit 2"), page.post("/part/undo", file=NAME)):
        assert answer.status_code == 422
        assert FILE in answer.text
    assert number_in(page.root) == 1


def test_a_newer_journal_is_left_alone(shop: Path) -> None:
    Journal(shop).close()
    with sqlite3.connect(shop / FILE) as db:
        db.execute(f"PRAGMA user_version = {journal_module.VERSION + 1}")
    db.close()
    before = (shop / FILE).read_bytes()
    with pytest.raises(LayupError, match="newer layup"):
        Journal(shop)
    assert (shop / FILE).read_bytes() == before


def test_a_journal_of_before_versions_is_taken_over(shop: Path) -> None:
    desk = Desk(Folder(shop))
    desk.edit(NAME, "", "one", lambda text: titled(1))
    desk.journal._connection.execute("PRAGMA user_version = 0")
    desk.journal.close()
    again = Desk(Folder(shop))
    again.undo(NAME)
    assert number_in(shop) == 0
    again.journal.close()


def test_a_locked_journal_is_waited_for_and_then_said(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "PATIENCE", 0.2)
    desk = Desk(Folder(shop))
    other = sqlite3.connect(shop / FILE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LayupError, match=r"another program holds it.*Nothing was changed"):
        desk.edit(NAME, "", "one", lambda text: titled(1))
    assert number_in(shop) == 0
    other.execute("ROLLBACK")
    desk.edit(NAME, "", "one", lambda text: titled(1))
    assert number_in(shop) == 1
    other.close()
    desk.journal.close()


@pytest.mark.parametrize("name", [FILE, f"{FILE}-wal", f"{FILE}-journal", LOCK])
def test_a_journal_that_is_a_link_out_of_the_folder_is_not_followed(shop: Path, tmp_path: Path, name: str) -> None:
    outside = tmp_path / "outside"
    outside.write_bytes(b"")
    (shop / name).symlink_to(outside)
    with pytest.raises(LayupError, match="link"):
        Journal(shop)
    assert outside.read_bytes() == b""


def test_eight_windows_at_once_lose_nothing(page: Page) -> None:
    """Each window edits what it sees; one that saw an older text is told, looks again, and tries again."""
    told: list[int] = []
    wrong: list[object] = []

    def window(number: int) -> None:
        for turn in range(3):
            for _ in range(60):
                base = page.get("/part/version", file=NAME).text.split()[0]
                answer = page.edit(NAME, table="", op="save", base=base, **{f"set_w{number}": str(turn)})
                if answer.status_code == 200:
                    told.append(number)
                    break
                if answer.status_code != 409:
                    wrong.append(answer.text)
                    return

    windows = [threading.Thread(target=window, args=(number,)) for number in range(8)]
    for one in windows:
        one.start()
    for one in windows:
        one.join()
    assert wrong == []
    data = tomllib.loads(page.text(NAME))
    assert len(told) == 24
    assert {data[f"w{number}"] for number in range(8)} == {"2"}
    for _ in range(24):
        assert page.post("/part/undo", file=NAME).status_code == 303
    assert page.text(NAME) == PART


def test_two_new_parts_of_one_name_at_once_are_two_parts(page: Page) -> None:
    told: list[tuple[int, str]] = []

    def one(number: int) -> None:
        answer = page.post("/new", {"title": "Same", "size": f"0.{number} m^2", "process": "wet"})
        told.append((answer.status_code, answer.headers.get("location", "")))

    windows = [threading.Thread(target=one, args=(number,)) for number in range(1, 7)]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    made = [where for status, where in told if status == 303]
    assert {status for status, _ in told} <= {303, 422}
    assert len(set(made)) == len(made) >= 1
    assert len(list(page.root.glob("same*.toml"))) == len(made)
    assert litter(page.root) == []


def test_one_name_is_never_given_twice(shop: Path) -> None:
    write_file(shop / "new.toml", "a = 1\n", new=True)
    with pytest.raises(LayupError, match="already"):
        write_file(shop / "new.toml", "a = 2\n", new=True)
    assert (shop / "new.toml").read_text() == "a = 1\n"
    assert litter(shop) == []


def test_a_disk_without_second_names_still_takes_new_files(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*args: Any, **more: Any) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuses)
    write_file(shop / "new.toml", "a = 1\n", new=True)
    with pytest.raises(LayupError, match="already"):
        write_file(shop / "new.toml", "a = 2\n", new=True)
    assert (shop / "new.toml").read_text() == "a = 1\n"


def test_a_character_that_no_file_holds_is_said(shop: Path) -> None:
    desk = Desk(Folder(shop))
    with pytest.raises(LayupError, match="character"):
        desk.edit(NAME, "", "one", lambda text: text + "# \ud800\n")
    with pytest.raises(LayupError, match="character"):
        write_file(shop / NAME, "\ud800")
    with pytest.raises(LayupError, match="character"):
        desk.journal.type(NAME, "f", "\ud800")
    assert number_in(shop) == 0
    assert litter(shop) == []
    desk.journal.close()


def test_a_change_between_looking_and_writing_is_not_overwritten(shop: Path) -> None:
    """An editor saved the file while the page was working out its change."""
    desk = Desk(Folder(shop))

    def change(text: str) -> str:
        (shop / NAME).write_text(titled(7), encoding="utf-8")
        return titled(1)

    with pytest.raises(StaleError):
        desk.edit(NAME, version_of(PART), "one", change)
    assert number_in(shop) == 7
    desk.journal.close()
