"""The record: only ever added to, whole after kill -9, honest about damage and a full disk."""

from __future__ import annotations

import json
import os
import random
import re
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layup.commands.cli import main
from layup.errors import DamageError, LayupError, StoreError
from layup.learn import schema
from layup.learn import store as store_module
from layup.learn.exchange import read_export, to_csv, to_json, write_export
from layup.learn.salvage import recover
from layup.learn.store import FILE, Store, find_store, open_store

REPO = Path(__file__).parent.parent

# What the first three schema versions of the program left on a disk, written out by hand from their migrations.
OLD_SCHEMAS = {
    1: ["CREATE TABLE entries (number INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, at TEXT NOT NULL, "
        "kind TEXT NOT NULL, payload TEXT NOT NULL)"],
    2: ["ALTER TABLE entries ADD COLUMN digest TEXT"],
    3: ["CREATE INDEX entries_by_kind ON entries (kind, number)"],
    4: ["CREATE TABLE texts (digest TEXT PRIMARY KEY, body TEXT NOT NULL)"],
}  # fmt: skip


def test_what_is_noted_is_read_back(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        noted = store.append("note", {"text": "squeegee", "mass": 0.1 + 0.2})
        assert store.entries("note") == [noted]
        assert noted.payload["mass"] == 0.1 + 0.2
    with open_store(tmp_path) as store:
        assert store.entries() == [noted]
        assert store.query("PRAGMA journal_mode") == [("wal",)]
        assert store.query("PRAGMA synchronous") == [(2,)], "2 is FULL"


def test_undo_is_an_entry_and_can_be_undone(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        first = store.append("note", {"n": 1})
        second = store.append("note", {"n": 2})
        undo = store.undo(first, "wrong part")
        assert store.entries("note") == [second]
        assert store.entries("note", as_of=second.number) == [first, second]
        with pytest.raises(StoreError, match="already"):
            store.undo(first)
        store.undo(undo)
        assert store.entries("note") == [first, second]
        third = store.undo(first)
        assert store.entries("note") == [second]
        assert len(store.query("SELECT 1 FROM entries")) == 5
        assert third.number == 5
        with pytest.raises(StoreError, match="no entry 99"):
            store.undo(99)


def test_nothing_is_ever_overwritten(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        entry = store.append("note", {"n": 1})
        before = store.query("SELECT * FROM entries")
        store.undo(entry)
        store.append("note", {"n": 1})
        assert store.query("SELECT * FROM entries")[: len(before)] == before


def test_as_of_a_day_means_its_end(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.append("note", {"n": 1}, at="2026-05-30T23:00:00.000000+00:00")
        store.append("note", {"n": 2}, at="2026-05-31T12:00:00.000000+00:00")
        store.append("note", {"n": 3}, at="2026-06-01T00:00:00.000000+00:00")
        assert [e.payload["n"] for e in store.entries("note", as_of="2026-05-31")] == [1, 2]
        assert [e.payload["n"] for e in store.entries("note", as_of="2026-05-31T06:00:00")] == [1]
        with pytest.raises(StoreError, match="not a time"):
            store.entries(as_of="May")


def test_a_clock_that_goes_back_loses_nothing_and_changes_no_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A machine whose battery is empty begins in another year."""
    from layup.learn import store as module

    years = iter([2030, 2026, 2001, 2031, 1999])
    monkeypatch.setattr(module, "now", lambda: f"{next(years)}-01-01T00:00:00.000000+00:00")
    with open_store(tmp_path) as store:
        first, second, third = (store.append("note", {"n": n}) for n in range(3))
        assert store.entries("note") == [first, second, third]  # as they were noted, not as they were dated
        undo = store.undo(first)
        assert store.entries("note") == [second, third]
        store.undo(undo)
        assert store.entries("note", as_of=second.number) == [first, second]
        assert store.entries("note", as_of="2026-06-01") == [second, third]
    with open_store(tmp_path) as store:
        assert store.entries("note") == [first, second, third]
        assert store.check() == ()


def test_all_or_none(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        with pytest.raises(ValueError, match=r"not JSON compliant|Out of range"):
            store.append_all([("note", {"n": 1}, None), ("note", {"n": float("nan")}, None)])
        assert store.entries() == []


payloads = st.dictionaries(
    st.text(max_size=12),
    st.one_of(st.none(), st.booleans(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False, allow_infinity=False),
              st.text(max_size=30)),
    max_size=5,
)  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(listed=st.lists(payloads, max_size=6), texts=st.lists(st.text(max_size=40), max_size=3), undo=st.booleans())
def test_export_and_import_give_the_same_record(
    tmp_path_factory: pytest.TempPathFactory, listed: list[dict[str, object]], texts: list[str], undo: bool
) -> None:
    home = tmp_path_factory.mktemp("out")
    with open_store(home) as store:
        entries = store.append_all([("note", payload, None) for payload in listed])
        for text in texts:
            store.keep_text(text)
        if undo and entries:
            store.undo(entries[0])
        as_json, as_csv = to_json(store), to_csv(store)
        for ending in ("json", "csv"):
            file = write_export(store, home / f"record.{ending}")
            with open_store(tmp_path_factory.mktemp("in")) as other:
                assert read_export(other, file) == len(store.query("SELECT 1 FROM entries"))
                assert (to_json(other), to_csv(other)) == (as_json, as_csv)
                assert read_export(other, file) == 0, "a second time nothing is new"


def test_an_edited_export_is_refused_whole(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with open_store(tmp_path / "a") as store:
        store.append("weigh", {"part": "Door", "mass": 1.25})
        store.append("weigh", {"part": "Lid", "mass": 2.5})
        text = to_csv(store)
    file = tmp_path / "edited.csv"
    with open_store(tmp_path / "b") as other:
        file.write_text(text.replace(",2.5,", ",2.6,"), encoding="utf-8")
        with pytest.raises(Exception, match=r"row 3: mass_kg says 2\.6"):
            read_export(other, file)
        assert other.entries() == []
        file.write_text("part,mass\nDoor,1\n", encoding="utf-8")
        with pytest.raises(Exception, match="not a record"):
            read_export(other, file)


@pytest.mark.parametrize("version", sorted(OLD_SCHEMAS))
def test_a_file_of_every_earlier_schema_opens(tmp_path: Path, version: int) -> None:
    old = sqlite3.connect(tmp_path / FILE)
    for step in range(1, version + 1):
        for sql in OLD_SCHEMAS[step]:
            old.execute(sql)
    old.execute(
        "CREATE TABLE versions (module TEXT PRIMARY KEY, version INTEGER NOT NULL, seen INTEGER NOT NULL DEFAULT 0)"
    )
    old.execute("INSERT INTO versions VALUES ('store', ?, 0)", (version,))
    digest = schema.digest_of("k1", "2026-01-02T03:04:05.000000+00:00", "note", '{"n":1}')
    row: tuple[object, ...] = (1, "k1", "2026-01-02T03:04:05.000000+00:00", "note", '{"n":1}')
    row = row if version == 1 else (*row, digest)
    old.execute(f"INSERT INTO entries VALUES ({', '.join('?' * len(row))})", row)
    old.commit()
    old.close()
    with open_store(tmp_path) as store:
        assert [entry.payload for entry in store.entries("note")] == [{"n": 1}]
        assert store.check() == ()
        store.append("note", {"n": 2})
        assert store.text(store.keep_text("door")) == "door"
        newest = dict(store.query("SELECT module, version FROM versions"))
        assert newest["store"] == len(OLD_SCHEMAS), "a new migration needs its schema in OLD_SCHEMAS"


def test_a_file_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    newer = sqlite3.connect(tmp_path / FILE)
    newer.execute("UPDATE versions SET version = 99 WHERE module = 'store'")
    newer.commit()
    newer.close()
    with pytest.raises(StoreError, match="newer layup"):
        open_store(tmp_path)


def test_a_module_sees_what_was_noted_without_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema, "MODULES", dict(schema.MODULES))
    with open_store(tmp_path) as store:
        store.append("count", {"n": 3})
    schema.register(
        "counts",
        ["CREATE TABLE counts (n INTEGER)"],
        {"count": lambda c, e: c.execute("INSERT INTO counts VALUES (?)", (e.payload["n"],)) and None},
    )
    monkeypatch.setattr("layup.learn.store.MODULES", schema.MODULES)
    with open_store(tmp_path) as store:
        store.append("count", {"n": 4})
        assert store.query("SELECT n FROM counts ORDER BY n") == [(3,), (4,)]


def test_no_record_is_made_by_looking(tmp_path: Path) -> None:
    assert find_store(tmp_path) is None
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(StoreError, match="no folder"):
        open_store(tmp_path / "missing")


# Damage


def _filled(folder: Path, count: int = 200) -> list[dict[str, object]]:
    with open_store(folder) as store:
        listed: list[dict[str, object]] = [{"n": n, "text": "x" * (7000 if n % 9 == 0 else 40)} for n in range(count)]
        store.append_all([("note", payload, None) for payload in listed])
        store.keep_text("part file " * 2000)
    return listed


def test_a_flipped_bit_is_seen_and_the_rest_saved(tmp_path: Path) -> None:
    _filled(tmp_path)
    path = tmp_path / FILE
    data = bytearray(path.read_bytes())
    place = data.index(b'{"n":101,')
    data[place + 6] ^= 1  # 101 becomes another number: the file's structure is sound, its content is not
    path.write_bytes(data)
    with open_store(tmp_path) as store:
        assert any("checksum" in finding for finding in store.check())
        with pytest.raises(DamageError, match="checksum"):
            store.entries("note")
    saved = recover(tmp_path)
    assert (saved.entries, saved.last) == (199, 200)
    with open_store(tmp_path) as store:
        numbers = [entry.payload["n"] for entry in store.entries("note")]
        assert numbers == [n for n in range(200) if n != 101]


def _found(folder: Path) -> tuple[str, ...]:
    """What is reported of a damaged file, on opening it or on looking through it."""
    try:
        with open_store(folder) as store:
            return store.check()
    except DamageError as error:
        return error.findings


@pytest.mark.parametrize(("first", "count"), [(0, 1), (0, 4), (3, 1), (10, 5), (-3, 3)])
def test_lost_pages_are_reported_kept_and_the_rest_saved(tmp_path: Path, first: int, count: int) -> None:
    listed = _filled(tmp_path)
    path = tmp_path / FILE
    data = bytearray(path.read_bytes())
    pages = len(data) // 4096
    start = (first % pages) * 4096
    data[start : start + count * 4096] = b"\x5a" * len(data[start : start + count * 4096])
    path.write_bytes(data)
    damaged = bytes(data)
    assert _found(tmp_path), "the damage is reported"
    assert path.read_bytes() == damaged, "looking changes nothing"
    saved = recover(tmp_path)
    assert saved.kept.read_bytes() == damaged
    assert saved.entries >= len(listed) * 0.5
    assert str(saved.entries) in saved.words
    with open_store(tmp_path) as store:
        assert store.check() == ()
        for entry in store.entries("note"):
            assert entry.payload == listed[int(entry.payload["n"])], "no entry is half saved"


def test_a_file_that_is_no_record_is_reported(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"not a database at all" * 300)
    with pytest.raises(DamageError, match="shop recover"):
        open_store(tmp_path)
    with pytest.raises(StoreError, match="no entry"):
        recover(tmp_path)
    assert (tmp_path / FILE).read_bytes().startswith(b"not a database")


# A full disk


def test_a_full_disk_is_an_error_before_acknowledgement(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.append("note", {"n": 1})
        pages = store.query("PRAGMA page_count")[0][0]
        store.query(f"PRAGMA max_page_count = {pages + 1}")
        with pytest.raises(StoreError, match="disk is full"):
            store.append("note", {"text": "x" * 100_000})
        assert [entry.payload for entry in store.entries()] == [{"n": 1}]
        store.query("PRAGMA max_page_count = 1000000")
        store.append("note", {"n": 2})
        assert store.check() == ()


def test_on_a_full_disk_the_record_can_still_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own files beside the record find no room there: `predict` was refused, which only reads."""
    with open_store(tmp_path) as store:
        store.append("note", {"n": 1})
    as_before = store_module._settings

    def full(connection: sqlite3.Connection) -> None:
        if str(tmp_path) in connection.execute("PRAGMA database_list").fetchone()[2]:
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR_SHMSIZE
            raise error
        as_before(connection)

    monkeypatch.setattr(store_module, "_settings", full)
    with open_store(tmp_path) as store:
        assert [entry.payload for entry in store.entries()] == [{"n": 1}]
        with pytest.raises(StoreError, match="disk is full: this was not noted"):
            store.append("note", {"n": 2})


def test_a_disk_that_takes_no_more_loses_nothing_acknowledged(tmp_path: Path) -> None:
    script = f"""
import resource, signal, sys
sys.path.insert(0, {str(REPO)!r})
from layup.learn.store import open_store, StoreError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = open_store({str(tmp_path)!r})
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
done = 0
try:
    for n in range(1000):
        store.append("note", {{"n": n, "text": "x" * 3000}})
        done += 1
except StoreError as error:
    print(done, "|", error)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    count, told = done.stdout.split("|")
    assert 0 < int(count) < 1000
    assert "not noted" in told
    with open_store(tmp_path) as store:
        assert [entry.payload["n"] for entry in store.entries("note")] == list(range(int(count)))
        assert store.check() == ()


# Kill -9 and two writers, on a real file

WRITER = f"""
import sys, time
sys.path.insert(0, {str(REPO)!r})
from layup.learn.store import open_store
with open_store(sys.argv[1]) as store:
    for n in range(40):
        pair = [("note", {{"who": sys.argv[2], "n": n, "half": half}}, None) for half in (0, 1)]
        store.append_all(pair)
        print(n, flush=True)
        time.sleep(0.002)
"""


def _writer(folder: Path, name: str) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-c", WRITER, str(folder), name], stdout=subprocess.PIPE, text=True)


FORKED = f"""
import os, sys, random, signal, time
sys.path.insert(0, {str(REPO)!r})
from layup.learn.store import open_store
folder, kills = sys.argv[1], int(sys.argv[2])
rng = random.Random(20260101)
acknowledged, done, start = [], 0, 0
while done < kills:
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        store = open_store(folder)
        n = start
        while True:
            store.append_all([("note", {{"n": n, "half": h, "text": "x" * (n % 7 * 600)}}, None) for h in (0, 1)])
            os.write(into, b"%d\\n" % n)
            n += 1
    os.close(into)
    # Two of three are killed after they acknowledged something, however busy the machine is; the third at any time.
    got = os.read(out, 1) if done % 3 else b""
    time.sleep(rng.uniform(0.0, 0.02) if got else rng.uniform(0.002, 0.05))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while piece := os.read(out, 65536):
        got += piece
    os.close(out)
    whole = [int(v) for v in got.split(b"\\n")[:-1]]
    acknowledged += whole
    start = 1_000_000 * (done + 1)
    done += 1
print(done, flush=True)
print(" ".join(map(str, acknowledged)))
"""


def test_kill_nine_loses_no_acknowledged_entry_and_leaves_none_half_written(tmp_path: Path) -> None:
    """Many kills on one file; each append is of two entries, which must be there together or not at all."""
    wanted = int(os.environ.get("LAYUP_KILLS", "100"))
    done = subprocess.run(
        [sys.executable, "-c", FORKED, str(tmp_path), str(wanted)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    kills, acknowledged = done.stdout.splitlines()
    told = [int(n) for n in acknowledged.split()]
    print(f"{kills} kills, {len(told)} acknowledged pairs")
    assert int(kills) == wanted
    assert len(told) > int(kills) / 2, "most children must have got to write"
    with open_store(tmp_path) as store:
        assert store.check() == ()
        seen: dict[int, set[int]] = {}
        for entry in store.entries("note"):
            seen.setdefault(entry.payload["n"], set()).add(entry.payload["half"])
            assert entry.payload["text"] == "x" * (entry.payload["n"] % 7 * 600)
        assert set(told) <= set(seen), "an acknowledged entry is lost"
        assert all(halves == {0, 1} for halves in seen.values()), "half a transaction"


def test_two_processes_write_at_once(tmp_path: Path) -> None:
    """Both open a file that does not exist yet, both write; one is killed; nothing acknowledged is lost."""
    ann, ben = _writer(tmp_path, "ann"), _writer(tmp_path, "ben")
    assert ann.stdout is not None
    told = [int(ann.stdout.readline()) for _ in range(15)]
    ann.kill()
    told += [int(line) for line in ann.communicate(timeout=300)[0].split("\n")[:-1]]
    out, _ = ben.communicate(timeout=300)
    assert ben.returncode == 0
    with open_store(tmp_path) as store:
        assert store.check() == ()
        entries = store.entries("note")
        for name, acknowledged in (("ann", told), ("ben", [int(line) for line in out.split()])):
            theirs = [e.payload["n"] for e in entries if e.payload["who"] == name]
            assert len(acknowledged) >= 15
            assert set(acknowledged) <= set(theirs)
            assert theirs == sorted([*range(max(theirs) + 1)] * 2), "both halves of each, in order, without a gap"


def test_a_writer_waits_for_another(tmp_path: Path) -> None:
    with open_store(tmp_path) as one, open_store(tmp_path) as two, one.writing():
        one.append("note", {"n": 1})
        two.query("PRAGMA busy_timeout = 50")
        with pytest.raises(StoreError, match="another program"):
            two.append("note", {"n": 2})
    with open_store(tmp_path) as store:
        assert isinstance(store, Store)
        assert [entry.payload["n"] for entry in store.entries()] == [1]


# What comes from outside

HATCH = """title = "Hatch"
process = "wet"
resin = "epoxy, laminating"
[surface]
rectangle = ["1 m", "1 m"]
[[ply]]
fabric = "carbon plain 200"
count = 2
"""
ODD = [None, True, -1, 0, 1e308, "x", "", [], {}, [1], {"a": 1}, "2026", 10**30]


@pytest.fixture
def theirs(tmp_path: Path) -> Path:
    """The folder of another shop, with three weigh-ins, an undo and a setting."""
    from layup.learn.calibrate import forget
    from layup.learn.weighins import weigh_in

    home = tmp_path / "theirs"
    home.mkdir()
    (home / "hatch.toml").write_text(HATCH)
    with open_store(home) as store:
        for mass in (0.8, 0.82, 0.79):
            last = weigh_in(store, home / "hatch.toml", mass, "trimmed", f"{mass} kg")
        store.undo(last.entry)
        forget(store, "")
    return home


def _used(folder: Path) -> None:
    """What a shop does with its record: habits, history, a picture."""
    from layup.learn.calibrate import calibrate
    from layup.learn.picture import draw_shop
    from layup.learn.weighins import newest, weigh_ins

    with open_store(folder) as store:
        newest(store, 20)
        weigh_ins(store)
        calibration = calibrate(store)
        if calibration.groups:
            draw_shop(calibration, folder / "shop.svg")


def _admitted(text: str, ending: str, folder: Path) -> bool:
    """Whether an export is taken in; where it is, the record must do."""
    folder.mkdir()
    (folder / f"export{ending}").write_text(text, encoding="utf-8")
    try:
        with open_store(folder) as store:
            read_export(store, folder / f"export{ending}")
    except LayupError:
        return False
    _used(folder)
    return True


@pytest.mark.parametrize("ending", [".json", ".csv"])
def test_a_damaged_export_is_refused(theirs: Path, tmp_path: Path, ending: str) -> None:
    """One letter changed anywhere in the entries of 125 exports of each form; whole it is taken."""
    with open_store(theirs) as store:
        text = to_json(store) if ending == ".json" else to_csv(store)
    assert _admitted(text, ending, tmp_path / "whole")
    dice = random.Random(11)
    taken = []
    for number in range(125):
        at = dice.randrange(len(text))
        letter = dice.choice('0123456789xyz{}[]",:-\n')
        if text[at] != letter and _admitted(text[:at] + letter + text[at + 1 :], ending, tmp_path / str(number)):
            taken.append((text[max(0, at - 30) : at + 30], letter))
    # What the CSV shows beside the payload, blanks between values, and a dropped part of a name that nothing reads.
    assert len(taken) <= 12, taken


def test_any_type_in_an_entry_without_a_checksum_is_refused_or_does(theirs: Path, tmp_path: Path) -> None:
    """Exports of before the checksums: each value of each entry is set to each type."""
    with open_store(theirs) as store:
        whole = json.loads(to_json(store))
    for entry in whole["entries"]:
        del entry["digest"]
    assert _admitted(json.dumps(whole), ".json", tmp_path / "whole")
    dice = random.Random(12)
    count = 0
    for number, entry in enumerate(whole["entries"]):
        places = [(key,) for key in entry["payload"]]
        places += [(a, b) for a, inner in entry["payload"].items() if isinstance(inner, dict) for b in inner]
        for place in places:
            for value in dice.sample(ODD, 2):
                odd = json.loads(json.dumps(whole))
                inside = odd["entries"][number]["payload"]
                for step in place[:-1]:
                    inside = inside[step]
                inside[place[-1]] = value
                count += 1
                _admitted(json.dumps(odd), ".json", tmp_path / f"n{count}")
    assert count > 150


def test_an_odd_entry_that_is_in_a_record_already_is_said_and_can_be_taken_out(theirs: Path) -> None:
    with open_store(theirs) as store:
        payload = dict(store.entry(1).payload)
        payload["mass"] = "two pounds"
        entry = store.append("weigh-in", payload)
        del payload["said"]
        other = store.append("weigh-in", payload)
    for number in (entry.number, other.number):
        shown = CliRunner().invoke(main, ["shop", "history", "--shop", str(theirs)])
        assert shown.exit_code == 2
        assert "shop undo" in shown.output
        said = re.search(r"shop undo (\d+)", shown.output)
        assert said is not None
        assert CliRunner().invoke(main, ["shop", "undo", said[1], "--shop", str(theirs)]).exit_code == 0
        assert number
    assert CliRunner().invoke(main, ["shop", "history", "--shop", str(theirs)]).exit_code == 0


def test_undos_in_a_ring_end(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.admit([("a", "2026-01-01T00:00:00+00:00", "undo", {"entry": "b"}),
                     ("b", "2026-01-01T00:00:00+00:00", "undo", {"entry": "a"})])  # fmt: skip
        import layup.learn.weighins  # noqa: F401  # its index follows undos

        store.undone()


def test_a_number_beyond_all_entries_is_no_entry(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for number in (10**30, -1, 0, 2**63):
            with pytest.raises(StoreError, match="there is no entry"):
                store.entry(number)


def test_a_record_in_a_folder_that_can_only_be_read_is_read(theirs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also what is still in its write-ahead log; and nothing can be noted, and no copy stays behind."""
    real = sqlite3.connect
    kept = open_store(theirs)  # holds the log open: it is not written back
    kept.append("note", {"n": 1})
    assert (theirs / f"{FILE}-wal").stat().st_size > 0

    def locked(path: Any, *args: Any, **more: Any) -> sqlite3.Connection:
        if Path(path).parent == theirs:
            error = sqlite3.OperationalError("attempt to write a readonly database")
            error.sqlite_errorcode = sqlite3.SQLITE_READONLY
            raise error
        return real(path, *args, **more)

    monkeypatch.setattr(sqlite3, "connect", locked)
    store = find_store(theirs)
    assert store is not None
    with store:
        assert store.path == theirs / FILE
        assert [entry.payload for entry in store.entries("note")] == [{"n": 1}]
        with pytest.raises(StoreError, match="can only be read"):
            store.append("note", {"n": 2})
        copy = Path(store.query("SELECT file FROM pragma_database_list")[0][0])
        assert copy.is_file()
    assert not copy.exists()
    assert CliRunner().invoke(main, ["shop", "history", "--shop", str(theirs)]).exit_code == 0
    assert CliRunner().invoke(main, ["predict", str(theirs / "hatch.toml")]).exit_code == 0
    assert CliRunner().invoke(main, ["shop", "undo", "1", "--shop", str(theirs)]).exit_code == 2
    kept.close()
