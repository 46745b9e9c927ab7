"""The record out and in: JSON and CSV, with nothing lost on the way.

Both hold every entry, those taken back and the undos among them, and every text that an entry keeps. The CSV has
columns for a spreadsheet beside the exact payload; what is read back is the payload.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

from layup.errors import LayupError, StoreError
from layup.files.reading import TABLE, read_file
from layup.files.writing import write_file
from layup.learn.payloads import odd
from layup.learn.schema import as_text, digest_of
from layup.learn.store import Store
from layup.learn.weighins import KIND, from_entry
from layup.report.document import Grid, Numbers
from layup.units import OZ
from layup.words import System, no_formula

_FORM = "layup record 1"
_COLUMNS = ("key", "at", "kind", "part", "piece", "stage", "mass_kg", "said", "payload", "digest")
_OLD = _COLUMNS[:-1]  # of exports without checksums
TEXT = "text"
"""Kind of the CSV rows that hold a kept text."""


def to_json(store: Store) -> str:
    """The whole record as JSON."""
    entries = [
        {"key": k, "at": at, "kind": kind, "payload": json.loads(p), "digest": digest_of(k, at, kind, p)}
        for k, at, kind, p in _entries(store)
    ]
    texts = {str(row[0]): row[1] for row in store.query("SELECT digest, body FROM texts ORDER BY digest")}
    return json.dumps({"form": _FORM, "entries": entries, "texts": texts}, ensure_ascii=False, indent=1) + "\n"


def to_csv(store: Store) -> str:
    """The whole record as CSV: a row an entry, then a row a text."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for key, at, kind, payload in _entries(store):
        told = json.loads(payload)
        shown = [told.get(name, "") for name in ("part", "piece", "stage", "mass", "said")]
        writer.writerow(
            [
                key,
                at,
                kind,
                *(no_formula(v) if isinstance(v, str | int | float) else "" for v in shown),
                payload,
                digest_of(key, at, kind, payload),
            ]
        )
    for digest, body in store.query("SELECT digest, body FROM texts ORDER BY digest"):
        writer.writerow([digest, "", TEXT, "", "", "", "", "", json.dumps(body, ensure_ascii=True), ""])
    return out.getvalue()


def history_table(store: Store, system: System) -> Grid:
    """Every weigh-in as one plain table, a row each, in the shop's units; those taken back are marked.

    Args:
        store: The record; its lossless copy is `write_export`.
        system: "lb" for decimal ounces, else grams.
    """
    gone = store.undone()
    unit, name = (OZ, "oz") if system == "lb" else (1e-3, "g")
    rows: list[tuple[str, ...]] = []
    weighed: list[float | None] = []
    expected: list[tuple[float | None, ...]] = []
    for number, key in store.query("SELECT number, key FROM entries WHERE kind = ? ORDER BY number", (KIND,)):
        one = from_entry(store.entry(number))
        around, due = one.circumstances, one.expected or {}
        off = f"{(one.mass / due['mean'] - 1) * 100:+.1f} %" if due.get("mean") else ""
        rows.append((
            str(one.entry.number), one.entry.at[:16].replace("T", " "), one.part, around.piece, one.stage, one.said,
            "", "", "", "", off, around.lot, around.person, around.notes, "taken back" if key in gone else "",
        ))  # fmt: skip
        weighed.append(one.mass / unit)
        expected.append(tuple(due[k] / unit if k in due else None for k in ("mean", "p05", "p95")))
    head = ("entry", "when", "part", "piece", "stage", "as typed", f"weighed, {name}", f"expected, {name}", "from",
            "to", "seen over expected", "lot", "who", "notes", "stands")  # fmt: skip
    columns: list[tuple[float | None, ...]] = [tuple(weighed), *(tuple(row[n] for row in expected) for n in range(3))]
    numbers = {6 + n: Numbers(head[6 + n], values, alone=True) for n, values in enumerate(columns)}
    return Grid(head, tuple(rows), numbers=numbers)


def _entries(store: Store) -> list[tuple[str, str, str, str]]:
    rows = store.query("SELECT key, at, kind, payload FROM entries ORDER BY number")
    return [(str(a), str(b), str(c), str(d)) for a, b, c, d in rows]


def write_export(store: Store, path: str | Path) -> Path:
    """Write the whole record to a file; its ending (.json, .csv) says the form.

    Raises:
        LayupError: Another ending, or the file can't be written.
    """
    target = Path(path)
    makers = {".json": to_json, ".csv": to_csv}
    if target.suffix not in makers:
        raise LayupError(f'"{target.name}" says no form. End its name in .json or .csv')
    if target.is_file() and not _exported(target):
        raise LayupError(
            f'"{target.name}" is no record that layup exported, and is not written over. Name another file'
        )
    write_file(target, makers[target.suffix](store))
    return target


def _exported(path: Path) -> bool:
    """Whether a file begins as an export does."""
    with path.open("rb") as file:
        begin = file.read(200)
    return begin.startswith(",".join(_OLD).encode()) or _FORM.encode() in begin


def read_export(store: Store, path: str | Path) -> int:
    """Copy an export into a record; entries that are here already are left as they are.

    Args:
        store: Where to.
        path: A .json or .csv written by `write_export`.

    Returns:
        How many entries were new.

    Raises:
        LayupError: The file is not an export, or contradicts itself or what is here; nothing was copied then.
    """
    source = Path(path)
    try:
        text = read_file(source, 20 * TABLE).decode("utf-8-sig")
    except OSError as error:
        raise LayupError(f'"{source}" can\'t be read ({error.strerror})') from None
    except UnicodeDecodeError:
        raise LayupError(f'"{source.name}" is not text in UTF-8. Save it as CSV UTF-8') from None
    entries, texts = (_from_json if source.suffix == ".json" else _from_csv)(text, source.name)
    with store.writing():
        for digest, body in texts:
            if store.keep_text(body) != digest:
                raise StoreError(f"a text in {source.name} has been changed since it was written. Nothing was copied")
        for number, entry in enumerate(entries, 1):
            wrong = _wrong(store, *entry)
            if wrong:
                raise StoreError(f"{source.name}: entry {number}: {wrong}. Nothing was copied: export it again")
        return store.admit(entry[:4] for entry in entries)


def _wrong(store: Store, key: str, at: str, kind: str, payload: Any, digest: str | None) -> str:
    """What is wrong with an entry, in words; empty where it holds."""
    try:
        text = as_text(payload)
        if digest is not None and digest != digest_of(key, at, kind, text):
            return "it has been changed since it was written"
        moment = dt.datetime.fromisoformat(at)
    except ValueError as error:
        return str(error)
    if not key or moment.tzinfo is None:
        return "it has no key" if not key else "its time says no zone"
    wrong = odd(kind, payload)
    if wrong or kind != "weigh-in":
        return wrong
    for text in (payload["part_text"], payload["prediction"], *payload["tables"].values()):
        if not store.query("SELECT 1 FROM texts WHERE digest = ?", (text,)):
            return f"the text {text[:12]} that it names is not in the file"
    return ""


_Entries = list[tuple[str, str, str, dict[str, object], str | None]]
_Texts = list[tuple[str, str]]


def _from_json(text: str, name: str) -> tuple[_Entries, _Texts]:
    try:
        data = json.loads(text)
        if data["form"] != _FORM:
            raise KeyError("form")
        checked = any("digest" in e for e in data["entries"])
        entries = [
            (str(e["key"]), str(e["at"]), str(e["kind"]), dict(e["payload"]), str(e["digest"]) if checked else None)
            for e in data["entries"]
        ]
        return entries, [(str(digest), str(body)) for digest, body in data["texts"].items()]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise LayupError(f'"{name}" is not a record that layup exported ({error})') from None


def _from_csv(text: str, name: str) -> tuple[_Entries, _Texts]:
    csv.field_size_limit(2**31 - 1)
    reader = csv.DictReader(io.StringIO(text, newline=""))
    try:
        columns = tuple(reader.fieldnames or ())
        rows = list(reader)
    except csv.Error as error:
        raise LayupError(f"{name}: row {reader.line_num} can't be read ({error}). Export the record again") from None
    if columns not in (_COLUMNS, _OLD):
        raise LayupError(f'"{name}" is not a record that layup exported: its columns are {", ".join(_COLUMNS)}')
    entries: _Entries = []
    texts: _Texts = []
    for line, row in enumerate(rows, start=2):
        try:
            if None in row or None in row.values():
                raise ValueError
            payload = json.loads(row["payload"])
            mass = float(row["mass_kg"]) if row["mass_kg"] else None
        except (ValueError, RecursionError):
            raise LayupError(f"{name}: row {line}: the payload has been changed and can't be read") from None
        if row["kind"] == TEXT:
            texts.append((row["key"], str(payload)))
            continue
        if not isinstance(payload, dict) or _text(payload) != row["payload"]:
            raise LayupError(f"{name}: row {line}: the payload has been changed")
        if mass is not None and mass != payload.get("mass"):
            raise LayupError(
                f"{name}: row {line}: mass_kg says {row['mass_kg']}, the payload {payload.get('mass')}. "
                "A record is not edited in a spreadsheet: undo the entry and note it again"
            )
        entries.append((row["key"], row["at"], row["kind"], payload, row["digest"] if columns == _COLUMNS else None))
    return entries, texts


def _text(payload: object) -> str:
    """As it is stored; empty where it can't be, as a number that is none."""
    try:
        return as_text(payload)
    except ValueError:
        return ""
