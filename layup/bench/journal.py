"""Every change made on the page, on the disk before it is made: each can be taken back, and none is lost.

One SQLite file, `bench.sqlite`, in the shop's folder. It holds the text of a part file before and after each change,
and what has been typed into a field and not entered yet. The part files themselves stay plain text files.
"""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from layup.bench.folder import Folder
from layup.errors import LayupError

FILE = "bench.sqlite"
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
    """The changes of every file of a folder. Safe to use from several threads."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        self._lock = threading.RLock()
        try:
            self._connection = sqlite3.connect(self.path, timeout=10.0, isolation_level=None, check_same_thread=False)
            self._connection.execute("PRAGMA journal_mode = WAL")
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.executescript(_TABLES)
        except sqlite3.Error as error:
            raise LayupError(
                f"{FILE} in this folder can't be used ({error}). It only holds what can be taken back: move it away, "
                "and start again"
            ) from None

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

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
            except sqlite3.Error as error:
                raise LayupError(f"the change could not be kept in {FILE} ({error}). Nothing was changed") from None

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

        Args:
            file: The part file.
            name: As requests name it.
            before: What stands in it.
            after: What shall stand in it.
            words: What was done, as a person says it.

        Raises:
            LayupError: The disk is full or the file can't be written; it holds what it held.
        """
        with self._writing() as db:
            number = db.execute(
                "INSERT INTO changes (file, at, words, before, after, undone) VALUES (?, ?, ?, ?, ?, 2)",
                (name, _now(), words, before, after),
            ).lastrowid
        try:
            save(file, after)
        except LayupError:
            with self._writing() as db:
                db.execute("DELETE FROM changes WHERE number = ?", (number,))
            raise
        with self._lightly() as db:
            db.execute("DELETE FROM changes WHERE file = ? AND undone = 1", (name,))
            db.execute("UPDATE changes SET undone = 0 WHERE number = ?", (number,))
            db.execute(
                "DELETE FROM changes WHERE file = ? AND number <= (SELECT number FROM changes WHERE file = ? "
                "ORDER BY number DESC LIMIT 1 OFFSET ?)", (name, name, KEPT),
            )  # fmt: skip

    def finish(self, folder: Folder) -> None:
        """Make the changes that were noted but not made, because the program was killed in between."""
        with self._lock:
            rows = self._connection.execute(
                "SELECT number, file, before, after FROM changes WHERE undone = 2 ORDER BY number"
            ).fetchall()
        for number, name, before, after in rows:
            try:
                path = folder.path(name)
                text = read(path)
            except LayupError:
                continue
            if text == before:
                save(path, after)
            stands = text in (before, after)
            with self._writing() as db:
                if stands:
                    db.execute("UPDATE changes SET undone = 0 WHERE number = ?", (number,))
                else:
                    db.execute("DELETE FROM changes WHERE number = ?", (number,))

    def last(self, name: str) -> Change | None:
        """The newest change that stands."""
        return self._one(name, "undone = 0 ORDER BY number DESC")

    def next(self, name: str) -> Change | None:
        """The change taken back last, which can be made again."""
        return self._one(name, "undone = 1 ORDER BY number ASC")

    def _one(self, name: str, clause: str) -> Change | None:
        with self._lock:
            row = self._connection.execute(
                f"SELECT number, words, before, after, at FROM changes WHERE file = ? AND {clause} LIMIT 1", (name,)
            ).fetchone()
        return Change(*row) if row else None

    def undo(self, file: Path, name: str, text: str) -> str:
        """Take the newest change back.

        Args:
            file: The part file.
            name: As requests name it.
            text: What stands in it now.

        Returns:
            What was taken back, in words.

        Raises:
            LayupError: There is none, or the file was changed by another program since.
        """
        change = self.last(name)
        if change is not None and change.before == text != change.after:  # killed between the two steps below
            with self._writing() as db:
                db.execute("UPDATE changes SET undone = 1 WHERE number = ?", (change.number,))
            change = self.last(name)
        if change is None:
            raise LayupError("there is nothing to take back")
        if change.after != text:
            raise LayupError("the file was changed by another program since: take that back there")
        with self._writing() as db:
            db.execute("UPDATE changes SET undone = 1 WHERE number = ?", (change.number,))
            save(file, change.before)
        return change.words

    def redo(self, file: Path, name: str, text: str) -> str:
        """Make the change again that was taken back last; errors as for `undo`."""
        change = self.next(name)
        if change is None:
            raise LayupError("there is nothing to make again")
        if change.before != text:
            raise LayupError("the file was changed by another program since: it can't be made again")
        with self._writing() as db:
            db.execute("UPDATE changes SET undone = 0 WHERE number = ?", (change.number,))
            save(file, change.after)
        return change.words

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
        with self._lock:
            rows = self._connection.execute("SELECT field, text FROM typed WHERE file = ?", (name,)).fetchall()
        return dict(rows)


def read(path: Path) -> str:
    """The text of a file, its line ends as they are.

    Raises:
        LayupError: It is not there or is no text.
    """
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        raise LayupError(f"{path.name} is not in this folder any more") from None
    except UnicodeDecodeError:
        raise LayupError(f"{path.name} is not a text in UTF-8. Save it as UTF-8 in an editor") from None
    except OSError as error:
        raise LayupError(f"{path.name} can't be read ({error.strerror})") from None


def save(path: Path, text: str) -> None:
    """Write a text so that the file holds either the old one or the new one, whatever happens meanwhile.

    Raises:
        LayupError: It can't be written; the file holds what it held.
    """
    handle, scratch = -1, ""
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=".writing-", suffix=".toml")
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            handle = -1
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            os.chmod(scratch, path.stat().st_mode & 0o777)
        else:
            os.chmod(scratch, 0o644)
        os.replace(scratch, path)
    except OSError as error:
        if handle >= 0:
            os.close(handle)
        if scratch:
            Path(scratch).unlink(missing_ok=True)
        raise LayupError(f"{path.name} can't be written ({error.strerror}). Nothing was changed") from None


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
