"""What the record is made of: entries, the tables of each module with their migrations, and errors in words.

A module that wants tables of its own calls `register` once; `bring_up_to_date` runs what an older file lacks. The file
itself is opened and written by `layup.learn.store`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from layup.errors import DamageError, StoreError

PATIENCE = 15.0
"""How long a writer waits for another. [s]"""

UNDO = "undo"
"""Kind of the entries that take another back."""

Step = str | Callable[[sqlite3.Connection], None]
Index = Callable[[sqlite3.Connection, "Entry"], None]


Payload = dict[str, Any]
"""What an entry notes, as JSON holds it."""
Row = tuple[Any, ...]
"""A row of a table."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing noted.

    Attributes:
        number: From 1, in the order of noting.
        key: The same in every file that the entry is copied to.
        at: When, UTC, ISO 8601.
        kind: "weigh-in", "undo", ...
        payload: What was noted, as JSON holds it.
    """

    number: int
    key: str
    at: str
    kind: str
    payload: Payload


@dataclass(frozen=True, slots=True)
class Module:
    """Tables of one module.

    Attributes:
        name: Of the module.
        steps: Migrations in order; step n (from 1) brings its tables from version n - 1 to n. Never edit a step that
            has been released: add one.
        indexes: By kind: what to write, in the same transaction, when an entry of it arrives.
    """

    name: str
    steps: tuple[Step, ...]
    indexes: Mapping[str, Index] = field(default_factory=dict)


def _to_checked_entries(connection: sqlite3.Connection) -> None:
    """Version 2: a checksum on every entry, so that a flipped bit inside a payload is seen."""
    connection.execute("ALTER TABLE entries ADD COLUMN digest TEXT")
    rows = connection.execute("SELECT number, key, at, kind, payload FROM entries").fetchall()
    for number, key, at, kind, payload in rows:
        connection.execute(
            "UPDATE entries SET digest = ? WHERE number = ?", (digest_of(key, at, kind, payload), number)
        )


_OWN = Module(
    "store",
    (
        "CREATE TABLE entries (number INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, at TEXT NOT NULL, "
        "kind TEXT NOT NULL, payload TEXT NOT NULL)",
        _to_checked_entries,
        "CREATE INDEX entries_by_kind ON entries (kind, number)",
        "CREATE TABLE texts (digest TEXT PRIMARY KEY, body TEXT NOT NULL)",
    ),
)
MODULES: dict[str, Module] = {_OWN.name: _OWN}


def register(name: str, steps: Sequence[Step], indexes: Mapping[str, Index] | None = None) -> None:
    """Give a module tables of its own in the record; call it once, when the module is imported.

    Args:
        name: Of the module: "ledger".
        steps: Migrations in order, each an SQL statement or a function of the connection (inside a transaction).
        indexes: By kind of entry: a function of the connection and the entry, called in the transaction that adds it.

    Raises:
        ValueError: Another module has the name.
    """
    module = Module(name, tuple(steps), dict(indexes or {}))
    known = MODULES.get(name)
    if known is not None and known.steps != module.steps and name == _OWN.name:
        raise ValueError(f"the name {name} is taken")
    MODULES[name] = module


def as_text(payload: object) -> str:
    """A payload as it is stored: JSON with sorted keys; a number comes back exactly as it was.

    Raises:
        ValueError: Not a number, or infinite: JSON has no word for it.
    """
    return json.dumps(payload, ensure_ascii=False, sort_keys=True, allow_nan=False, separators=(",", ":"))


def digest_of(key: str, at: str, kind: str, payload: str) -> str:
    """Checksum of an entry: SHA-256 over all of it but its number."""
    return hashlib.sha256("\x1f".join((key, at, kind, payload)).encode()).hexdigest()


def now() -> str:
    """The moment, UTC, to the microsecond."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")


# What SQLite says where there is no room for the files beside the record; a disk that fails may say it too.
_NO_ROOM = (sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMMAP)


def explained(path: Path, error: Exception) -> StoreError:
    """An error of the database as a sentence for the shop."""
    text = str(error)
    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary == sqlite3.SQLITE_FULL or code in _NO_ROOM:
        told = StoreError(f"the disk is full: this was not noted in {path.name}. Make room and note it again")
        told.unwritable = True
        return told
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or isinstance(error, UnicodeDecodeError):
        return DamageError(path, [text])
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreError(f"another program has held {path.name} for {PATIENCE:.0f} s. This was not noted: try again")
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        told = StoreError(f"{path} can't be written ({text}). Check who may write in this folder. This was not noted")
        told.unwritable = True
        return told
    if primary == sqlite3.SQLITE_IOERR:
        return StoreError(f"the disk refused to write {path.name} ({text}). This was not noted: check the disk")
    return StoreError(f"{path.name}: {text}. This was not noted")


def _versions(connection: sqlite3.Connection) -> dict[str, int]:
    if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'versions'").fetchone():
        return {}
    return dict(connection.execute("SELECT module, version FROM versions").fetchall())


def _current(connection: sqlite3.Connection) -> bool:
    have = _versions(connection)
    if any(have.get(module.name, 0) != len(module.steps) for module in MODULES.values()):
        return False
    last = connection.execute("SELECT max(number) FROM entries").fetchone()[0] or 0
    seen = dict(connection.execute("SELECT module, seen FROM versions").fetchall())
    return all(seen[module.name] >= last for module in MODULES.values() if module.indexes)


def bring_up_to_date(connection: sqlite3.Connection) -> None:
    """Bring every module's tables to its newest version and let it see what was noted without it, in one transaction.

    Raises:
        StoreError: A newer program wrote the file.
    """
    if _current(connection):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute(
            "CREATE TABLE IF NOT EXISTS versions "
            "(module TEXT PRIMARY KEY, version INTEGER NOT NULL, seen INTEGER NOT NULL DEFAULT 0)"
        )
        have = _versions(connection)  # again: another process may have come first
        for module in MODULES.values():
            done = have.get(module.name, 0)
            if done > len(module.steps):
                raise StoreError(
                    f"the record was written by a newer layup ({module.name} {done}, this one knows "
                    f"{len(module.steps)}). Update layup; nothing has been changed"
                )
            for step in module.steps[done:]:
                step(connection) if callable(step) else connection.execute(step)
            connection.execute(
                "INSERT INTO versions VALUES (?, ?, 0) ON CONFLICT (module) DO UPDATE SET version = excluded.version",
                (module.name, len(module.steps)),
            )
            index_unseen(connection, module)
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def index_unseen(connection: sqlite3.Connection, module: Module) -> None:
    """Show a module the entries it has not seen: the newest, and any that were noted by a program without it."""
    if not module.indexes:
        return
    (seen,) = connection.execute("SELECT seen FROM versions WHERE module = ?", (module.name,)).fetchone()
    rows = connection.execute(
        "SELECT number, key, at, kind, payload FROM entries WHERE number > ? ORDER BY number", (seen,)
    ).fetchall()
    for number, key, at, kind, payload in rows:
        if kind in module.indexes:
            module.indexes[kind](connection, Entry(number, key, at, kind, json.loads(payload)))
        seen = number
    connection.execute("UPDATE versions SET seen = ? WHERE module = ?", (seen, module.name))
