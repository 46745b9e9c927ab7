"""The shop's record: one SQLite file in the shop's folder to which entries are only ever added.

- Open or make it:                 `open_store(folder)`; only if it is there: `find_store(folder)`
- Note something:                  `store.append(kind, payload)`; many at once, all or none: `store.append_all`
- Take something back:             `store.undo(entry, why)`, which is itself an entry and can be undone
- Read what stands:                `store.entries(kind, as_of=None)`
- Long texts that repeat:          `store.keep_text(text)` gives a digest, `store.text(digest)` the text
- Is the file sound?               `store.check()`; what to do when it is not: `layup.learn.salvage`

An entry is acknowledged when `append` returns: it is then on the disk (write-ahead log, synchronous FULL). A module
that wants tables of its own calls `register` once when it is imported, with its migrations and with what to write when
an entry of a kind arrives. Such tables are indexes: everything in them must follow from the entries, since only entries
and texts are recovered from a damaged file.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import time
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from layup.errors import DamageError, LayupError, StoreError
from layup.files.writing import cannot, place, sync_folder, write_file
from layup.learn.folder import FILE as FILE
from layup.learn.schema import (
    MODULES,
    PATIENCE,
    UNDO,
    as_text,
    bring_up_to_date,
    digest_of,
    explained,
    index_unseen,
    now,
)
from layup.learn.schema import Entry as Entry
from layup.learn.schema import Row as Row
from layup.learn.schema import register as register

BUILT = FILE + ".recovered"
"""A record that was built anew and has not taken the place of the damaged one yet."""


class Store:
    """The record, open. Use it in a `with` block; `open_store` makes it."""

    def __init__(
        self, path: Path, connection: sqlite3.Connection, copy: tempfile.TemporaryDirectory[str] | None = None
    ) -> None:
        """`copy` holds what is read, where the folder itself can only be read."""
        self.path = path
        self._copy = copy
        self._connection = connection
        self._inside = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was acknowledged stays."""
        self._connection.close()
        if self._copy is not None:
            self._copy.cleanup()

    @property
    def folder(self) -> Path:
        """The shop's folder."""
        return self.path.parent

    def append(self, kind: str, payload: Mapping[str, object], at: str | None = None) -> Entry:
        """Add one entry; when this returns, it is on the disk.

        Args:
            kind: Of the entry.
            payload: What JSON can hold.
            at: When, UTC, ISO 8601; now if left out.

        Returns:
            The entry with its number.

        Raises:
            StoreError: It could not be written, and nothing of it was.
        """
        return self.append_all([(kind, payload, at)])[0]

    def append_all(self, things: Iterable[tuple[str, Mapping[str, object], str | None]]) -> list[Entry]:
        """Add entries (kind, payload, at) in one transaction: all of them or none.

        Raises:
            StoreError: None was written.
        """
        made = [(uuid.uuid4().hex, at or now(), kind, payload) for kind, payload, at in things]
        with self.writing():
            return [self._insert(key, at, kind, payload) for key, at, kind, payload in made]

    def undo(self, entry: Entry | int, why: str = "") -> Entry:
        """Take an entry back, by a new entry; undoing that one brings the first back.

        Raises:
            StoreError: There is no such entry, or it has been taken back already.
        """
        target = self.entry(entry) if isinstance(entry, int) else entry
        with self.writing():
            if target.key in self.undone():
                raise StoreError(f"entry {target.number} has been taken back already")
            return self._insert(uuid.uuid4().hex, now(), UNDO, {"entry": target.key, "why": why})

    def admit(self, entries: Iterable[tuple[str, str, str, Mapping[str, object]]]) -> int:
        """Copy entries (key, at, kind, payload) from another record; those already here stay as they are.

        Returns:
            How many were new.

        Raises:
            StoreError: An entry here has the same key and another content. Nothing was copied.
        """
        count = 0
        with self.writing():
            for key, at, kind, payload in entries:
                row = self._connection.execute("SELECT digest FROM entries WHERE key = ?", (key,)).fetchone()
                if row is None:
                    self._insert(key, at, kind, payload)
                    count += 1
                elif row[0] != digest_of(key, at, kind, as_text(payload)):
                    raise StoreError(f"entry {key} is here with another content. Nothing was copied")
        return count

    def entry(self, number: int) -> Entry:
        """One entry, taken back or not.

        Raises:
            StoreError: There is none of this number.
        """
        for entry in self._read("number = ?", (number,)) if 0 < number < 2**63 else ():
            return entry
        raise StoreError(f"there is no entry {number}")

    def entries(self, kind: str | None = None, as_of: int | str | dt.datetime | None = None) -> list[Entry]:
        """The entries that stand, in the order of noting.

        Args:
            kind: Only of this kind; every kind but "undo" if left out.
            as_of: As the record stood after this entry's number, or at this time (ISO 8601; UTC unless it says).

        Returns:
            Entries that were not taken back by then.

        Raises:
            DamageError: An entry does not match its checksum.
        """
        clause, values = _until(as_of)
        gone = self.undone(as_of)
        if kind is None:
            found = self._read(f"kind <> ? AND {clause}", (UNDO, *values))
        else:
            found = self._read(f"kind = ? AND {clause}", (kind, *values))
        return [entry for entry in found if entry.key not in gone]

    def undone(self, as_of: int | str | dt.datetime | None = None) -> frozenset[str]:
        """Keys of the entries that are taken back."""
        clause, values = _until(as_of)
        undos = list(self._read(f"kind = ? AND {clause}", (UNDO, *values)))
        gone: set[str] = set()
        for entry in reversed(undos):  # a later undo decides whether an earlier one still counts
            if entry.key not in gone:
                gone.add(str(entry.payload.get("entry", "")))
        return frozenset(gone)

    def keep_text(self, text: str) -> str:
        """Keep a text once, however often it is noted; part files and predictions repeat.

        Returns:
            Its SHA-256, by which `text` finds it.
        """
        digest = hashlib.sha256(text.encode()).hexdigest()
        with self.writing():
            self._connection.execute("INSERT OR IGNORE INTO texts VALUES (?, ?)", (digest, text))
        return digest

    def text(self, digest: str) -> str:
        """A text that was kept.

        Raises:
            StoreError: It is not here.
        """
        row = self._run("SELECT body FROM texts WHERE digest = ?", (digest,)).fetchone()
        if row is None:
            raise StoreError(f"the text {digest[:12]} is not in {self.path.name}")
        return str(row[0])

    def query(self, sql: str, values: Sequence[str | int | float | None] = ()) -> list[Row]:
        """Rows of a module's own table; for reading only."""
        return self._run(sql, values).fetchall()

    def check(self) -> tuple[str, ...]:
        """Look through the whole file.

        Returns:
            What is wrong, in words; empty when it is sound.
        """
        try:
            told = [str(row[0]) for row in self._connection.execute("PRAGMA integrity_check(20)")]
            found = [] if told == ["ok"] else told
            rows = self._connection.execute("SELECT number, key, at, kind, payload, digest FROM entries")
            for number, key, at, kind, payload, digest in rows:
                if digest_of(key, at, kind, payload) != digest:
                    found.append(f"entry {number} does not match its checksum")
            for digest, body in self._connection.execute("SELECT digest, body FROM texts"):
                if hashlib.sha256(str(body).encode()).hexdigest() != digest:
                    found.append(f"text {digest[:12]} does not match its checksum")
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            return (str(error),)
        return tuple(found)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """A transaction: all that is written inside is kept together or not at all. It may be nested.

        Raises:
            StoreError: The disk is full, the file can't be written, or another program holds it too long.
        """
        if self._inside:
            yield self._connection
            return
        if self._copy is not None:
            raise StoreError(
                f"{self.path.parent} can only be read, or its disk is full: this was not noted. Make room, or copy the "
                "folder to where you may write"
            )
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._inside = True
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            finally:
                self._inside = False
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
        except sqlite3.Error as error:
            raise explained(self.path, error) from error

    def _insert(self, key: str, at: str, kind: str, payload: Mapping[str, object]) -> Entry:
        text = as_text(payload)
        cursor = self._connection.execute(
            "INSERT INTO entries (key, at, kind, payload, digest) VALUES (?, ?, ?, ?, ?)",
            (key, at, kind, text, digest_of(key, at, kind, text)),
        )
        entry = Entry(int(cursor.lastrowid or 0), key, at, kind, json.loads(text))
        for module in MODULES.values():
            index_unseen(self._connection, module)
        return entry

    def _read(self, clause: str, values: Sequence[str | int | float | None]) -> Iterator[Entry]:
        sql = f"SELECT number, key, at, kind, payload, digest FROM entries WHERE {clause} ORDER BY number"
        for number, key, at, kind, payload, digest in self._run(sql, values).fetchall():
            if digest_of(key, at, kind, payload) != digest:
                raise DamageError(self.path, [f"entry {number} does not match its checksum"])
            yield Entry(number, key, at, kind, json.loads(payload))

    def _run(self, sql: str, values: Sequence[str | int | float | None]) -> sqlite3.Cursor:
        try:
            return self._connection.execute(sql, values)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise explained(self.path, error) from error


def _until(as_of: int | str | dt.datetime | None) -> tuple[str, tuple[str | int, ...]]:
    if as_of is None:
        return "1", ()
    if isinstance(as_of, int):
        return "number <= ?", (as_of,)
    moment = moment_at(as_of) if isinstance(as_of, str) else _in_utc(as_of)
    return "at <= ?", (moment.isoformat(timespec="microseconds"),)


def _in_utc(moment: dt.datetime) -> dt.datetime:
    return moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment.astimezone(dt.UTC)


def moment_at(text: str) -> dt.datetime:
    """A time, ISO 8601; UTC unless it says, and of a day its end.

    Raises:
        StoreError: It is none.
    """
    try:
        moment = dt.datetime.fromisoformat(text)
        if len(text) <= 10:
            moment += dt.timedelta(days=1, microseconds=-1)
        return _in_utc(moment)
    except (ValueError, OverflowError):
        raise StoreError(f'"{text}" is not a time. Write year-month-day: 2026-05-31') from None


def finish_recovery(folder: Path) -> Path:
    """Put a record that was built anew in the place of the damaged one, which is kept under another name.

    A program that was killed on the way leaves `BUILT` behind, and whoever opens the record next goes on from there:
    at every moment the folder holds a record, and nothing of the damaged one is lost. The log goes before the file is
    replaced, since SQLite would write what is in it into the new one.

    Args:
        folder: The shop's; the record built anew lies in it as `BUILT`.

    Returns:
        Where the damaged file is now.
    """
    path, built = folder / FILE, folder / BUILT
    stamp = dt.datetime.fromtimestamp(built.stat().st_mtime, dt.UTC).strftime("%Y%m%d-%H%M%S")
    kept = path.with_name(f"damaged-{stamp}-{path.name}")
    number = 1
    while kept.exists() and not (path.exists() and os.path.samefile(kept, path)):
        number += 1
        kept = path.with_name(f"damaged-{stamp}-{number}-{path.name}")
    for ending in ("-wal", "-shm", ""):
        side, other = path.with_name(path.name + ending), kept.with_name(kept.name + ending)
        if side.exists() and not other.exists():
            try:
                os.link(side, other)
            except OSError:  # a disk that knows no second names, as memory sticks
                write_file(other, side.read_bytes())
    sync_folder(folder)
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    place(built, path)
    return kept


def find_store(folder: str | Path) -> Store | None:
    """The record in a folder, or None where there is none; makes nothing.

    Raises:
        StoreError: As `open_store`.
    """
    path = Path(folder) / FILE
    return open_store(folder) if path.is_file() else None


def open_store(folder: str | Path) -> Store:
    """Open the record in a folder, and make it if it is not there; older files are brought up to date.

    Raises:
        StoreError: The folder is missing or can't be written, or a newer program wrote the file.
        DamageError: The file is damaged.
    """
    home = Path(folder)
    if not home.is_dir():
        raise StoreError(f"there is no folder {home}. Make it, or name the shop's folder with --shop")
    path = home / FILE
    try:
        return _opened(home, path)
    except StoreError as error:
        if not error.unwritable or not path.is_file():
            raise
        try:
            return _opened_copy(path)
        except OSError:
            raise error from None


def _opened_copy(path: Path) -> Store:
    """A record where nothing can be written, on a memory stick with its lock set or a full disk: a copy of it is read.

    SQLite would leave what is still in the write-ahead log unread there.
    """
    scratch = tempfile.TemporaryDirectory(prefix="layup-")
    try:
        for ending in ("", "-wal"):
            side = path.with_name(path.name + ending)
            if side.is_file():
                shutil.copyfile(side, Path(scratch.name) / side.name)
        copied = _opened(Path(scratch.name), Path(scratch.name) / path.name)
    except BaseException:  # Ctrl-C too: the copy goes, whatever happened
        scratch.cleanup()
        raise
    return Store(path, copied._connection, scratch)


def _opened(home: Path, path: Path) -> Store:
    connection: sqlite3.Connection | None = None
    try:
        if (home / BUILT).is_file():
            finish_recovery(home)
        new = not path.exists()
        connection = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
        _settings(connection)
        bring_up_to_date(connection)
        small = path.stat().st_size < 20_000_000
        if small:
            told = [str(row[0]) for row in connection.execute("PRAGMA quick_check(5)")]
            if told != ["ok"]:
                raise DamageError(path, told)
    except OSError as error:
        raise StoreError(cannot(path, error)) from None
    except (sqlite3.Error, UnicodeDecodeError) as error:
        if connection is not None:
            connection.close()
        raise explained(path, error) from error
    except LayupError:
        if connection is not None:
            connection.close()
        raise
    if new:
        sync_folder(home)
    return Store(path, connection)


def _settings(connection: sqlite3.Connection) -> None:
    until = time.monotonic() + PATIENCE
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            break
        except sqlite3.OperationalError as error:  # two programs making the file at once: the wait is ours
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.01)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA cell_size_check = ON")
