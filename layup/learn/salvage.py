"""Save what is whole from a damaged record.

The file is kept under another name. Its pages, and those of its write-ahead log, are read one by one as the file
format of SQLite lays them down (sqlite.org, "Database File Format": sections 1.6, 2 and 4.1), so that entries are found
even where the header or the tree above them is gone. Only what matches its checksum is taken: no entry is ever half
saved, and none is invented.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from layup.errors import DamageError, StoreError
from layup.files.writing import SCRATCH
from layup.learn.schema import digest_of
from layup.learn.store import BUILT, FILE, finish_recovery, open_store

Value = int | float | str | bytes | None


@dataclass(frozen=True, slots=True)
class Saved:
    """What was saved.

    Attributes:
        kept: Where the damaged file is now.
        entries: How many entries were whole.
        last: The highest number among them; gaps below it are lost entries.
        texts: How many texts were whole.
    """

    kept: Path
    entries: int
    last: int
    texts: int

    @property
    def words(self) -> str:
        """For a person."""
        lost = self.last - self.entries
        gone = (
            f"{lost} before the last of them could not be read" if lost else "none before the last of them is missing"
        )
        whole = f"{_many(self.entries, 'entry', 'entries')} and {_many(self.texts, 'text', 'texts')}"
        return f"Saved in {FILE}: {whole}; {gone}. The damaged file is kept as {self.kept.name}."


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def recover(folder: str | Path) -> Saved:
    """Put the damaged record aside and build a new one from all entries and texts that are whole.

    Raises:
        StoreError: There is no record, or no entry in it is whole; the file is then left where it is.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        raise StoreError(f"there is no {FILE} in {path.parent}")
    if not _damage(path.parent):
        raise StoreError(f"{FILE} is sound: there is nothing to recover")
    log = path.with_name(FILE + "-wal")
    entries: dict[str, tuple[int, str, str, str]] = {}
    texts: dict[str, str] = {}
    for pages in _files(path.read_bytes(), log.read_bytes() if log.is_file() else b""):
        for rowid, row in _rows(pages):
            _take(rowid, row, entries, texts)
    if not entries:
        raise StoreError(f"no entry in {FILE} is whole. The file is left as it is: copy it before anything else")
    whole = sorted((number, key, at, kind, payload) for key, (number, at, kind, payload) in entries.items())
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=SCRATCH) as scratch:  # whole before anything is moved
        with open_store(scratch) as store, store.writing():
            for body in texts.values():
                store.keep_text(body)
            store.admit((key, at, kind, json.loads(payload)) for _, key, at, kind, payload in whole)
        os.replace(Path(scratch) / FILE, path.with_name(BUILT))
    kept = finish_recovery(path.parent)
    return Saved(kept, len(entries), max(number for number, *_ in entries.values()), len(texts))


def _damage(folder: Path) -> tuple[str, ...]:
    try:
        with open_store(folder) as store:
            return store.check()
    except DamageError as error:
        return error.findings


def _take(rowid: int, row: list[Value], entries: dict[str, tuple[int, str, str, str]], texts: dict[str, str]) -> None:
    """Take a row if it is an entry or a text and matches its checksum."""
    words = [value for value in row if isinstance(value, str)]
    if len(row) == 6 and len(words) == 5:
        key, at, kind, payload, digest = words
        if digest == digest_of(key, at, kind, payload):
            entries[key] = (rowid, at, kind, payload)
    elif len(row) == 2 and len(words) == 2 and hashlib.sha256(words[1].encode()).hexdigest() == words[0]:
        texts[words[0]] = words[1]


class _Pages:
    """Pages of one state of the file: those of the log lie over those of the file."""

    def __init__(self, data: bytes, size: int, over: dict[int, bytes]) -> None:
        self.data, self.size, self.over = data, size, over

    def page(self, number: int) -> bytes:
        """Page from 1; empty where there is none."""
        if number in self.over:
            return self.over[number]
        return self.data[(number - 1) * self.size : number * self.size] if number > 0 else b""

    @property
    def count(self) -> int:
        """How many pages."""
        return max(-(-len(self.data) // self.size), *self.over, 0) if self.over else -(-len(self.data) // self.size)


def _files(data: bytes, log: bytes) -> Iterator[_Pages]:
    """The file without its log, then with it: what one has lost the other may hold."""
    size = int.from_bytes(data[16:18], "big") if data[:15] == b"SQLite format 3" else 0
    size = 65536 if size == 1 else size
    if size < 512 or size & (size - 1):
        size = 4096  # the header is gone: the size that this program writes
    yield _Pages(data, size, {})
    over: dict[int, bytes] = {}
    at = 32
    salt = log[16:24]
    while at + 24 + size <= len(log):
        frame = log[at : at + 24]
        if frame[8:16] == salt:
            over[int.from_bytes(frame[0:4], "big")] = log[at + 24 : at + 24 + size]
        at += 24 + size
    if over:
        yield _Pages(data, size, over)


def _rows(pages: _Pages) -> Iterator[tuple[int, list[Value]]]:
    """Every row of every leaf of a table, wherever it lies."""
    for number in range(1, pages.count + 1):
        page = pages.page(number)
        start = 100 if number == 1 else 0
        if len(page) < start + 8 or page[start] != 0x0D:
            continue
        cells = int.from_bytes(page[start + 3 : start + 5], "big")
        for cell in range(cells):
            at = start + 8 + 2 * cell
            place = int.from_bytes(page[at : at + 2], "big")
            try:
                yield _cell(pages, page, place)
            except (IndexError, ValueError, UnicodeDecodeError):
                continue  # this cell is damaged; the next may not be


def _cell(pages: _Pages, page: bytes, at: int) -> tuple[int, list[Value]]:
    length, at = _varint(page, at)
    rowid, at = _varint(page, at)
    if not 0 < length < 2**31:
        raise ValueError("length")
    usable = pages.size  # this program reserves no bytes at the end of a page
    most = usable - 35
    if length <= most:
        payload = page[at : at + length]
    else:
        least = (usable - 12) * 32 // 255 - 23
        local = least + (length - least) % (usable - 4)
        local = local if local <= most else least
        payload = page[at : at + local]
        following = int.from_bytes(page[at + local : at + local + 4], "big")
        parts, left, hops = [payload], length - local, 0
        while left > 0 and following and hops <= length // (usable - 4) + 1:
            more = pages.page(following)
            following = int.from_bytes(more[0:4], "big")
            parts.append(more[4 : 4 + min(left, usable - 4)])
            left -= len(parts[-1])
            hops += 1
            if not parts[-1]:
                raise ValueError("chain")
        payload = b"".join(parts)
    if len(payload) != length:
        raise ValueError("short")
    return rowid, _record(payload)


def _record(payload: bytes) -> list[Value]:
    head, at = _varint(payload, 0)
    if not 0 < head <= len(payload):
        raise ValueError("head")
    kinds = []
    while at < head:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[Value] = []
    at = head
    for kind in kinds:
        size = _size(kind)
        piece = payload[at : at + size]
        if len(piece) != size:
            raise ValueError("value")
        at += size
        if kind >= 13 and kind % 2:
            values.append(piece.decode("utf-8"))
        elif kind >= 12:
            values.append(piece)
        elif kind == 0:
            values.append(None)
        elif kind in (8, 9):
            values.append(kind - 8)
        else:
            values.append(int.from_bytes(piece, "big", signed=True))
    return values


def _size(kind: int) -> int:
    if kind >= 12:
        return (kind - 12) // 2
    if kind in (10, 11):
        raise ValueError("kind")
    return (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)[kind]


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for count in range(9):
        byte = data[at + count]
        if count == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + count + 1
    raise ValueError("varint")
