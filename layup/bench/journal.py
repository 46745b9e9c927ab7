"""Every change made on the page, on the disk before it is made: each can be taken back, and none is lost.

One SQLite file, `bench.sqlite`, in the shop's folder. It holds the text of a part file before and after each change,
and what has been typed into a field and not entered yet. The part files themselves stay plain text files.
"""

from __future__ import annotations

import datetime as dt
import errno
import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from layup.bench.folder import Folder, walked
from layup.errors import ChangedError, LayupError, StaleError
from layup.files.systems import lock, unlock
from layup.files.writing import SCRATCH, replace_text

FILE = "bench.sqlite"
VERSION = 1
"""Of its tables. [-]"""
PATIENCE = 10.0
"""For another program to let go of it. [s]"""
SETTLED = 0.5
"""How long an editor may take between emptying a file and filling it. [s]"""
FRESH = 0.02
"""A file written less than this ago may not be whole yet. [s]"""
KEPT = 2000
"""Changes of one file that are kept; older ones go. [-]"""

_TABLES = """
CREATE TABLE IF NOT EXISTS changes (
    number INTEGER PRIMARY KEY AUTOINCREMENT, file TEXT NOT NULL, at TEXT NOT NULL, words TEXT NOT NULL,
    before TEXT NOT NULL, after TEXT NOT NULL, undone INTEGER NOT NULL);
CREATE INDEX IF NOT EXISTS changes_of ON changes (file, number);
CREATE TABLE IF NOT EXISTS typed (
    file TEXT NOT NULL, field TEXT NOT NULL, text TEXT NOT NULL, PRIMARY KEY (file, field));
"""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of one file: its number, the words for it, and the text before and after."""

    number: int
    words: str
    before: str
    after: str
    at: str


class Journal:
    """The changes of every file of a folder. Safe to use from several threads and from several programs."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        self._lock = threading.RLock()
        self._failed: set[int] = set()  # noted, not made, and the note could not be taken out
        for name in (FILE, f"{FILE}-wal", f"{FILE}-shm", f"{FILE}-journal"):
            if (folder / name).is_symlink():
                raise LayupError(f"{name} in this folder is a link to elsewhere. Move it away, and start again")
        self._alone = Alone(folder, PATIENCE)
        connection: sqlite3.Connection | None = None
        try:
            connection = sqlite3.connect(self.path, timeout=PATIENCE, isolation_level=None, check_same_thread=False)
            with self._alone.held():
                version = _opened(connection)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            if connection is not None:
                connection.close()
            self._alone.close()
            raise LayupError(_cannot(error)) from None
        if version > VERSION:
            connection.close()
            self._alone.close()
            raise LayupError(
                f"{FILE} in this folder was written by a newer layup. Start the page with that one; or move the file "
                "away: it only holds what can be taken back"
            )
        self._connection = connection

    def close(self) -> None:
        """Close the file."""
        self._connection.close()
        self._alone.close()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else changes a file meanwhile: no other thread, and no other page on this folder.

        Raises:
            LayupError: Another program does not let go.
        """
        with self._alone.held():
            yield

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                try:
                    yield self._connection
                    self._connection.execute("COMMIT")
                finally:
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
            except (sqlite3.Error, UnicodeEncodeError) as error:
                why = _why(error)
                raise LayupError(f"the change could not be kept in {FILE} ({why}). Nothing was changed") from None

    def _rows(self, question: str, *values: object) -> list[tuple[object, ...]]:
        with self._lock:
            try:
                return self._connection.execute(question, values).fetchall()
            except (sqlite3.Error, UnicodeError) as error:
                raise LayupError(_cannot(error)) from None

    @contextmanager
    def _lightly(self) -> Iterator[sqlite3.Connection]:
        """A transaction that a power cut may lose, a crash not: `finish` finds out what it would have said."""
        with self._lock:
            self._connection.execute("PRAGMA synchronous = NORMAL")
            try:
                with self._writing() as db:
                    yield db
            finally:
                self._connection.execute("PRAGMA synchronous = FULL")

    def write(self, file: Path, name: str, before: str, after: str, words: str) -> None:
        """Note a change, then make it: the file on the disk holds either the old text or the new one.

        Raises:
            LayupError: The disk is full or the file can't be written; it holds what it held.
        """
        with self.alone():
            self._settle(file, name, make=False)
            if file.is_file() and read(file) != before:
                raise StaleError(f"{file.name} was changed by another program just now; your change was not made")
            with self._writing() as db:
                number = db.execute(
                    "INSERT INTO changes (file, at, words, before, after, undone) VALUES (?, ?, ?, ?, ?, 2)",
                    (name, _now(), words, before, after),
                ).lastrowid
            assert number is not None
            try:
                replace_text(file, before, after)
            except LayupError as error:
                self._failed.add(number)
                with suppress(LayupError):
                    self._drop(number)
                if isinstance(error, ChangedError):
                    raise StaleError(str(error)) from None
                raise
            with suppress(LayupError):  # the file holds the change; the note is put right before the next one
                self._stands(name, number)

    def _drop(self, number: int) -> None:
        with self._writing() as db:
            db.execute("DELETE FROM changes WHERE number = ?", (number,))
        self._failed.discard(number)

    def _stands(self, name: str, number: int) -> None:
        with self._lightly() as db:
            db.execute("DELETE FROM changes WHERE file = ? AND undone = 1", (name,))
            db.execute("UPDATE changes SET undone = 0 WHERE number = ?", (number,))
            db.execute(
                "DELETE FROM changes WHERE file = ? AND number <= (SELECT number FROM changes WHERE file = ? "
                "ORDER BY number DESC LIMIT 1 OFFSET ?)",
                (name, name, KEPT),
            )

    def finish(self, folder: Folder) -> None:
        """Make the changes that were noted but not made, because the program was killed in between."""
        for (name,) in self._rows("SELECT DISTINCT file FROM changes WHERE undone = 2"):
            try:
                path = folder.path(str(name))
                with self.alone():
                    self._settle(path, str(name), make=True)
            except LayupError:
                continue
        for path in walked(folder.root, SCRATCH, 60.0):
            with suppress(OSError):
                path.unlink()

    def _settle(self, file: Path, name: str, make: bool) -> None:
        """Bring the notes of a file in line with what it holds, after a step that was cut off.

        Args:
            file: The part file.
            name: As requests name it.
            make: Whether to make a change that was noted and not made; else its note goes.
        """
        for number, before, after in self._rows(
            "SELECT number, before, after FROM changes WHERE file = ? AND undone = 2 ORDER BY number", name
        ):
            assert isinstance(number, int)
            text = read(file)
            if make and text == before and number not in self._failed:
                replace_text(file, text, str(after))
                text = str(after)
            if text == after:
                self._stands(name, number)
            else:
                self._drop(number)
        if not file.is_file():
            return
        last, next_, text = self.last(name), self.next(name), read(file)
        if last is not None and last.before == text != last.after:  # killed while it was taken back
            self._mark(last.number, undone=1)
        elif next_ is not None and next_.after == text != next_.before:  # killed while it was made again
            self._mark(next_.number, undone=0)

    def _mark(self, number: int, undone: int) -> None:
        with self._writing() as db:
            db.execute("UPDATE changes SET undone = ? WHERE number = ?", (undone, number))

    def last(self, name: str) -> Change | None:
        """The newest change that stands."""
        return self._one(name, "undone = 0 ORDER BY number DESC")

    def before(self, name: str, most: int) -> list[str]:
        """What the file held before each of the newest changes that stand, the newest first."""
        rows = self._rows(
            "SELECT before FROM changes WHERE file = ? AND undone = 0 ORDER BY number DESC LIMIT ?", name, most
        )
        return [str(row[0]) for row in rows]

    def next(self, name: str) -> Change | None:
        """The change taken back last, which can be made again."""
        return self._one(name, "undone = 1 ORDER BY number ASC")

    def _one(self, name: str, clause: str) -> Change | None:
        rows = self._rows(
            f"SELECT number, words, before, after, at FROM changes WHERE file = ? AND {clause} LIMIT 1", name
        )
        return Change(*rows[0]) if rows else None  # type: ignore[arg-type]  # as the table has them

    def undo(self, file: Path, name: str, text: str, again: bool = False) -> str:
        """Take the newest change back, or make the one again that was taken back last.

        Args:
            file: The part file.
            name: As requests name it.
            text: What stands in it now.
            again: Whether a change is made again.

        Returns:
            What was done, in words.

        Raises:
            LayupError: There is none, or the file was changed by another program since.
        """
        with self.alone():
            self._settle(file, name, make=False)
            change = self.next(name) if again else self.last(name)
            if change is None:
                raise LayupError(f"there is nothing to {'make again' if again else 'take back'}")
            here, there = (change.before, change.after) if again else (change.after, change.before)
            if here != text or read(file) != text:
                remedy = "it can't be made again" if again else "take that back there"
                raise LayupError(f"the file was changed by another program since: {remedy}")
            self._step(file, text, there, change.number, undone=0 if again else 1)
        return change.words

    def _step(self, file: Path, old: str, new: str, number: int, undone: int) -> None:
        """File and note together; where the note can't be kept, the file is put back."""
        saved = False
        try:
            with self._writing() as db:
                db.execute("UPDATE changes SET undone = ? WHERE number = ?", (undone, number))
                replace_text(file, old, new)
                saved = True
        except LayupError as error:
            if saved:
                replace_text(file, new, old)
            if isinstance(error, ChangedError):
                raise StaleError(str(error)) from None
            raise

    def type(self, name: str, field: str, text: str | None) -> None:
        """Keep what is being typed into a field; None when it was entered or left."""
        if text is None:
            if field in self.typed(name):
                with self._lightly() as db:
                    db.execute("DELETE FROM typed WHERE file = ? AND field = ?", (name, field))
            return
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO typed VALUES (?, ?, ?)", (name, field, text))

    def typed(self, name: str) -> dict[str, str]:
        """What was typed into the fields of a page and not entered."""
        rows = self._rows("SELECT field, text FROM typed WHERE file = ?", name)
        return {str(field): str(text) for field, text in rows}


def _opened(db: sqlite3.Connection) -> int:
    """Make the tables where they are missing; the version of what is there. [-]"""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if version > VERSION:
        return version
    _patiently(db, "PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.executescript(_TABLES)
    if version < VERSION:
        db.execute(f"PRAGMA user_version = {VERSION}")
    told = [str(row[0]) for row in db.execute("PRAGMA quick_check(1)")]
    if told != ["ok"]:
        raise sqlite3.DatabaseError("it is damaged")
    return version


def _patiently(db: sqlite3.Connection, order: str) -> None:
    """An order that does not wait by itself while another program opens the file."""
    until = time.monotonic() + PATIENCE
    while True:
        try:
            db.execute(order)
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _why(error: Exception) -> str:
    said = str(error)
    if isinstance(error, UnicodeError):
        return "it holds a character that no file can hold"
    if "locked" in said or "busy" in said:
        return "another program holds it. End that one, or wait"
    if "full" in said:
        return "the disk is full"
    if "readonly" in said or "unable to open" in said:
        return "this folder can't be written to"
    if "malformed" in said or "not a database" in said or "damaged" in said:
        return "it is damaged"
    return said


def _cannot(error: Exception) -> str:
    why = _why(error)
    if why.startswith("it is damaged"):
        return (
            f"the list of changes, {FILE} in this folder, is damaged. It only holds what can be taken back; your part "
            "files are whole: move it away, and start again"
        )
    return f"the list of changes, {FILE} in this folder, can't be used: {why}"


def read(path: Path) -> str:
    """The text of a file, its line ends as they are.

    An editor empties a file before it fills it: a file that is empty, or was written just now, is read again until
    it says the same twice.

    Raises:
        LayupError: It is not there or is no text.
    """
    try:
        raw = path.read_bytes()
        until = time.monotonic() + SETTLED
        while time.monotonic() < until and (not raw or abs(time.time() - path.stat().st_mtime) < FRESH):
            time.sleep(FRESH / 2)
            raw, before = path.read_bytes(), raw
            if raw and raw == before:
                break
        return raw.decode("utf-8")
    except FileNotFoundError:
        raise LayupError(f"{path.name} is not in this folder any more") from None
    except UnicodeDecodeError:
        raise LayupError(f"{path.name} is not a text in UTF-8. Save it as UTF-8 in an editor") from None
    except OSError as error:
        raise LayupError(f"{path.name} can't be read ({error.strerror})") from None


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


LOCK = ".bench-lock"
_NO_LOCKS = (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP)


class Alone:
    """The right to change the files of a folder, held by one at a time."""

    def __init__(self, folder: Path, patience: float) -> None:
        """Open the file that stands for it.

        Args:
            folder: The shop's.
            patience: How long to wait for another. [s]

        Raises:
            LayupError: The folder can't be written to.
        """
        path = folder / LOCK
        self._patience = patience
        self._threads = threading.RLock()
        self._depth = 0
        if path.is_symlink():
            raise LayupError(f"{LOCK} in this folder is a link to elsewhere. Move it away, and start again")
        try:
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        except OSError as error:
            raise LayupError(
                f"this folder can't be written to ({error.strerror}). The page keeps every change in it: copy the "
                "folder to where you may write, and start there"
            ) from None

    def close(self) -> None:
        """Close the file."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold it; whoever holds it may ask again.

        Raises:
            LayupError: Another does not let go.
        """
        if not self._threads.acquire(timeout=self._patience):
            raise _busy()
        try:
            if self._depth == 0:
                self._take()
            self._depth += 1
            try:
                yield
            finally:
                self._depth -= 1
                if self._depth == 0:
                    unlock(self._handle)
        finally:
            self._threads.release()

    def _take(self) -> None:
        until = time.monotonic() + self._patience
        while True:
            try:
                if lock(self._handle):
                    return
            except OSError as error:
                if error.errno in _NO_LOCKS:  # a disk on a network that knows none: the check before each change holds
                    return
                raise LayupError(f"{LOCK} in this folder can't be used ({error.strerror})") from None
            if time.monotonic() > until:
                raise _busy()
            time.sleep(0.004)


def _busy() -> LayupError:
    return LayupError("another program is changing files of this folder, and does not end. Nothing was changed")
